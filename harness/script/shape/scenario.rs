//! The table of the scenario file.
//!
//! In: nothing. Out: [`SCENARIO`]. Never: an instrument; a scenario names roles.

use super::Kind::{
    Either, List, Map, Name, Named, Of, OnOff, OneOf, Prose, Quantity, Scalars, Settings, Text, Whole, Word,
};
use super::Need::{Default, Optional, Required};
use super::{Field, Kind, Measure, Need, Shape, Use, Words};
use crate::quantity::Dimension;
use crate::verdict::purpose::Purpose;

const fn field(
    name: &'static str,
    kind: Kind,
    need: Need,
    example: &'static str,
    doc: &'static str,
) -> Field {
    Field { name, kind, need, doc, example }
}

const fn time(low: &'static str, high: &'static str) -> Kind {
    Quantity(Dimension::Time, low, high)
}

const PROSE: Kind = Prose;
const LINE: Kind = Text(64);
static STEPS: Kind = OneOf(&STEP);

/// A scenario file.
#[rustfmt::skip]
pub static SCENARIO: Shape = Shape {
    name: "scenario",
    doc: "what to play on a bench and what to make of it; it names roles, never instruments",
    fields: &[
        field("format", Whole(1, 1), Required, "1", "version of this file's form"),
        field("scenario", Name, Required, "pump-and-nozzle", "its name, part of the run folder's name"),
        field("about", Prose, Optional, "fits a pair", "what it does, for people"),
        field("purpose", Word(Purpose::WORDS), Required, "pair", "what the analysis makes of the record"),
        field("cautions", List(&PROSE, 0, 20), Default("[]"), "[Wear eye protection.]",
            "shown before the bench is armed"),
        field("parameters", Named(&Map(&PARAMETER)), Default("{}"), "{dwell: {default: 30 s}}",
            "values that may be changed from the command line; written $name where they are used"),
        field("limits", Map(&LIMITS), Default("{}"), "{line_pressure: 200 psi}",
            "limits below those of the rig"),
        field("steps", List(&STEPS, 1, 1000), Required, "[...]", "what to do, in order"),
    ],
};

#[rustfmt::skip]
static PARAMETER: Shape = Shape {
    name: "parameter",
    doc: "a value that may be changed from the command line",
    fields: &[
        field("default", Scalars, Required, "30 s",
            "its value where none is given; a list where it stands for one"),
        field("about", Text(120), Optional, "time of one collection", "what it does, for people"),
    ],
};

#[rustfmt::skip]
static LIMITS: Shape = Shape {
    name: "limits",
    doc: "limits below those of the rig",
    fields: &[
        field("line_pressure", Quantity(Dimension::GaugePressure, "5 psi", "1000 psi"), Optional, "200 psi",
            "highest line pressure"),
        field("cup_mass", Quantity(Dimension::Mass, "10 g", "50 kg"), Optional, "1 kg", "heaviest cup"),
        field("supply", List(&Quantity(Dimension::Voltage, "0 V", "30 V"), 2, 2), Optional, "[11 V, 15 V]",
            "lowest and highest supply"),
        field("on_time", time("1 s", "24 h"), Optional, "5 min",
            "longest time with the pump on without a pause"),
        field("duty", List(&Quantity(Dimension::Ratio, "0 %", "100 %"), 2, 2), Optional, "[10 %, 90 %]",
            "lowest duty above zero, and highest"),
    ],
};

/// A step: a map of exactly one of these.
#[rustfmt::skip]
pub static STEP: Shape = Shape {
    name: "step",
    doc: "one thing to do",
    fields: &[
        field("set", Settings, Required, "{pump_duty: 30 %}", "set roles at once"),
        field("set_if_fitted", Settings, Required, "{solenoid: on}",
            "set those of these roles that the bench has"),
        field("hold", Either(&HOLD_TIME, &HOLD), Required, "5 s", "wait"),
        field("ramp", Map(&RAMP), Required, "{role: pump_duty, from: 10 %, to: 60 %, in: 60 s}",
            "move a role steadily"),
        field("settle", Map(&SETTLE), Required, "{role: line_pressure, within: 0.5 psi}",
            "wait until a reading is steady"),
        field("collect", Map(&COLLECT), Required, "{for: 30 s}", "collect into the cup"),
        field("sweep", Map(&SWEEP), Required, "{over: [...], do: [...]}",
            "do something at each point of an axis or a grid"),
        field("cycle", Map(&CYCLE), Required, "{times: 12, do: [...]}", "do something many times"),
        field("span", Map(&SPAN), Required, "{kind: ramp, do: [...]}",
            "mark what the analysis is to look at"),
        field("bisect", Map(&BISECT), Required,
            "{input: boost, from: 0 psi, to: 20 psi, resolution: 0.1 psi, output: switched.lamp, level: on}", "find where an output steps, by halving"),
        field("replay", Map(&REPLAY), Required, "{file: road-trace.csv}",
            "play a recorded trace of boost and engine speed"),
        field("mount", Text(32), Required, "B",
            "have another nozzle mounted; `first` is the first of the rig"),
        field("ask", Prose, Required, "Empty the cup.",
            "ask the operator to do something, and wait for the answer"),
        field("traps_pressure", Map(&TRAP), Required, "{why: leak-down, do: [...]}",
            "do something that keeps pressure in the line on purpose; the line is vented after it"),
        field("vent", Map(&VENT), Required, "{at_most: 30 s}",
            "open the line and wait until pressure is gone"),
        field("expect", Map(&EXPECT), Required, "{item: duty.dead_band, upper: 12 %}",
            "a result that must lie within limits"),
    ],
};

const HOLD_TIME: Kind = time("0 s", "24 h");

#[rustfmt::skip]
static HOLD: Shape = Shape {
    name: "hold",
    doc: "a wait of a length drawn by chance, so that steps fall at random phase",
    fields: &[
        field("from", time("0 s", "1 h"), Required, "1 s", "shortest wait"),
        field("to", time("0 s", "1 h"), Required, "1.2 s", "longest wait"),
    ],
};

#[rustfmt::skip]
static RAMP: Shape = Shape {
    name: "ramp",
    doc: "a steady move of a role",
    fields: &[
        field("role", Kind::Role(Use::Set), Required, "pump_duty", "what moves"),
        field("from", Of("role", Measure::Value), Required, "10 %", "start"),
        field("to", Of("role", Measure::Value), Required, "60 %",
            "end; the same as the start to keep still until something happens"),
        field("in", time("10 ms", "24 h"), Required, "60 s", "time for all of it"),
        field("until", Map(&UNTIL), Optional, "{role: switch, rises_to: on}",
            "stop early when a reading passes a level"),
    ],
};

#[rustfmt::skip]
static UNTIL: Shape = Shape {
    name: "until",
    doc: "a level of a reading that ends a ramp; one of rises_to and falls_to",
    fields: &[
        field("role", Kind::Role(Use::Read), Required, "switch", "which reading"),
        field("rises_to", Of("role", Measure::Value), Optional, "on", "ends when it rises to this"),
        field("falls_to", Of("role", Measure::Value), Optional, "off", "ends when it falls to this"),
        field("then", time("0 s", "10 min"), Default("0 s"), "1 s", "goes on this long after"),
    ],
};

#[rustfmt::skip]
static SETTLE: Shape = Shape {
    name: "settle",
    doc: "when a reading counts as steady: its change between the halves of a window",
    fields: &[
        field("role", Kind::Role(Use::Read), Required, "line_pressure", "which reading"),
        field("within", Of("role", Measure::Difference), Optional, "0.5 psi", "allowed change"),
        field("within_percent", Quantity(Dimension::Ratio, "0 %", "50 %"), Optional, "0.5 %",
            "the same, as a part of the reading; the larger counts"),
        field("window", time("100 ms", "10 min"), Default("2 s"), "2 s", "window"),
        field("at_most", time("100 ms", "1 h"), Default("20 s"), "20 s",
            "goes on unsettled after this, and says so"),
    ],
};

#[rustfmt::skip]
static COLLECT: Shape = Shape {
    name: "collect",
    doc: "a collection into the cup: for a time or to a mass",
    fields: &[
        field("for", time("1 s", "1 h"), Optional, "30 s", "for this time"),
        field("mass", Quantity(Dimension::Mass, "1 g", "20 kg"), Optional, "200 g",
            "or until this much is collected"),
        field("at_most", time("1 s", "1 h"), Optional, "5 min", "longest time to collect a mass"),
        field("weigh_at_rest", OnOff, Default("off"), "on",
            "stop the pump before and after and weigh at rest, as a cross-check"),
    ],
};

const ORDERS: Words = &[
    ("up", "as listed, or from `from` to `to`"),
    ("down", "backwards"),
    ("both", "as listed, then backwards"),
    ("shuffle", "by chance, from the seed, anew in each pass"),
];

#[rustfmt::skip]
static SWEEP: Shape = Shape {
    name: "sweep",
    doc: "something at each point of an axis, or of a grid of two or three",
    fields: &[
        field("over", List(&Map(&AXIS), 1, 3), Required,
            "[{role: pump_duty, from: 10 %, to: 100 %, step: 10 %}]", "axes; the last moves fastest"),
        field("repeats", Whole(1, 1000), Default("1"), "3", "passes over all points"),
        field("order", Word(ORDERS), Default("up"), "shuffle", "order within a pass"),
        field("first_again", OnOff, Default("off"), "on",
            "after the last pass the very first point once more, to see drift"),
        field("between", List(&STEPS, 0, 100), Default("[]"), "[{hold: 60 s}]", "what to do between passes"),
        field("do", List(&STEPS, 1, 100), Required, "[{collect: {for: 30 s}}]",
            "what to do at each point, once it is set"),
    ],
};

#[rustfmt::skip]
static AXIS: Shape = Shape {
    name: "axis",
    doc: "the points of an axis: listed, or from, to and step",
    fields: &[
        field("role", Kind::Role(Use::Set), Required, "pump_duty", "what is set"),
        field("values", List(&Of("role", Measure::Value), 1, 10_000), Optional, "[15 %, 30 %, 60 %]",
            "points as listed"),
        field("from", Of("role", Measure::Value), Optional, "10 %", "first point"),
        field("to", Of("role", Measure::Value), Optional, "100 %", "last point"),
        field("step", Of("role", Measure::Difference), Optional, "7.5 %",
            "distance of points, exact in decimals"),
    ],
};

#[rustfmt::skip]
static CYCLE: Shape = Shape {
    name: "cycle",
    doc: "something many times",
    fields: &[
        field("times", Whole(1, 10_000), Required, "12", "how many times"),
        field("do", List(&STEPS, 1, 100), Required, "[...]", "what to do"),
    ],
};

/// Kinds of span, with what the analysis looks for in it.
pub const SPANS: Words = &[
    ("point", "a point of a sweep"),
    ("steady", "the part of a point over which readings are averaged"),
    ("ramp", "a pressure ramp: trip and reset; values direction and rate"),
    ("decay", "pressure falling after the pump has stopped"),
    ("dead_band", "where steady flow stops (direction=down) or starts (direction=up)"),
    ("leak", "pressure behind a closed outlet"),
    ("dead_head", "highest pressure against a closed outlet"),
    ("vented_zero", "the line open and at rest: the gauge's zero"),
    ("response", "an input step and the output's answer"),
    ("loop_back", "latency of generator and reader without a controller"),
    ("sensor_fault", "a sensor line cut, shorted or out of range"),
    ("tach_lost", "engine speed gone"),
    ("power_cycle", "supply off and on again"),
    ("supply", "another supply voltage"),
    ("weigh", "a known mass on the pan; value nominal"),
    ("interval", "a known interval; value nominal"),
    ("level", "the tank's level switch"),
    ("trace", "a replayed road trace"),
];

#[rustfmt::skip]
static SPAN: Shape = Shape {
    name: "span",
    doc: "a stretch of the record the analysis looks at",
    fields: &[
        field("kind", Word(SPANS), Required, "ramp", "what it is"),
        field("values", Named(&LINE), Default("{}"), "{direction: up, rate: slow}",
            "what describes it, for the analysis"),
        field("do", List(&STEPS, 1, 100), Required, "[...]", "what happens in it"),
    ],
};

#[rustfmt::skip]
static BISECT: Shape = Shape {
    name: "bisect",
    doc: "where an output steps between two values of an input",
    fields: &[
        field("input", Kind::Role(Use::Set), Required, "boost", "input that is moved"),
        field("from", Of("input", Measure::Value), Required, "0 psi", "one end"),
        field("to", Of("input", Measure::Value), Required, "20 psi", "other end"),
        field("resolution", Of("input", Measure::Difference), Required, "0.1 psi",
            "until the bracket is this narrow"),
        field("output", Kind::Role(Use::Read), Required, "switched.lamp", "output watched"),
        field("level", Of("output", Measure::Value), Required, "on", "level that counts as stepped"),
        field("settle", time("10 ms", "1 min"), Default("300 ms"), "300 ms", "wait at each value"),
    ],
};

#[rustfmt::skip]
static REPLAY: Shape = Shape {
    name: "replay",
    doc: "a recorded trace, as CSV: time_s, then boost_psi, boost_kpa or boost_bar, then rpm",
    fields: &[
        field("file", Text(255), Required, "road-trace.csv", "file beside or below the scenario's"),
        field("speed", Kind::Number(0.1, 10.0), Default("1"), "1", "how many times as fast as recorded"),
    ],
};

#[rustfmt::skip]
static TRAP: Shape = Shape {
    name: "traps_pressure",
    doc: "steps that keep pressure in the line on purpose",
    fields: &[
        field("why", Text(120), Required, "leak-down of the line", "reason, shown while it lasts"),
        field("vent_within", time("1 s", "10 min"), Default("30 s"), "30 s",
            "time the line may take to vent after it"),
        field("do", List(&STEPS, 1, 100), Required, "[...]", "what to do"),
    ],
};

#[rustfmt::skip]
static VENT: Shape = Shape {
    name: "vent",
    doc: "opens the line",
    fields: &[field(
        "at_most",
        time("1 s", "10 min"),
        Default("30 s"),
        "30 s",
        "gives up after this",
    )],
};

#[rustfmt::skip]
static EXPECT: Shape = Shape {
    name: "expect",
    doc: "a result that must lie within limits, by at least its uncertainty",
    fields: &[
        field("item", Kind::Item, Required, "duty.dead_band", "verdict item"),
        field("lower", Of("item", Measure::Value), Optional, "5 %", "lower limit"),
        field("upper", Of("item", Measure::Value), Optional, "12 %", "upper limit"),
    ],
};
