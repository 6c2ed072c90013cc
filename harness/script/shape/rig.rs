//! The table of the rig file.
//!
//! In: nothing. Out: [`RIG`]. Never: a check that needs two values; those are in `rig_file`.

use super::Kind::{
    Date, Difference, Either, List, Map, Name, Named, Number, Of, OnOff, Prose, Quantity, Raw, Text, Whole,
    Word,
};
use super::Need::{Default, Optional, Required};
use super::{Field, Kind, Measure, Need, Shape, Use, Words};
use crate::quantity::Dimension;

const fn field(
    name: &'static str,
    kind: Kind,
    need: Need,
    example: &'static str,
    doc: &'static str,
) -> Field {
    Field { name, kind, need, doc, example }
}

const fn ratio(high: &'static str) -> Kind {
    Quantity(Dimension::Ratio, "0 %", high)
}

const fn time(low: &'static str, high: &'static str) -> Kind {
    Quantity(Dimension::Time, low, high)
}

const LINE: Kind = Text(200);

/// A rig file.
#[rustfmt::skip]
pub static RIG: Shape = Shape {
    name: "rig",
    doc: "what is on the bench: instruments, channels, the pump and nozzle pair, hard limits",
    fields: &[
        field("format", Whole(1, 1), Required, "1", "version of this file's form"),
        field("rig", Name, Required, "garage-bench", "the rig's own name, typed to arm it"),
        field("about", Prose, Optional, "bench in the back room", "what it is, for people"),
        field("place", Named(&LINE), Optional, "{operator: K. Meier}", "lines for the report"),
        field("instruments", List(&Map(&INSTRUMENT), 1, 16), Required, "[...]", "what is connected"),
        field("channels", List(&Map(&CHANNEL), 1, 96), Required, "[...]", "which role each instrument plays"),
        field("pair", Map(&PAIR), Required, "{...}", "the pump and nozzle under test"),
        field("fluid", Map(&FLUID), Default("{}"), "{temperature: 20 degC}", "what is sprayed"),
        field("engine", Map(&ENGINE), Default("{}"), "{pulses_per_rev: 2}",
            "what the controller believes of the engine"),
        field("limits", Map(&LIMITS), Required, "{...}",
            "hard limits; a scenario may lower them, never raise them"),
        field("watchdog", Either(&Word(NO_WATCHDOG), &WATCHDOG), Required, "{trip: 500 ms}",
            "watchdog in the device that owns the pump output"),
        field("method", Map(&METHOD), Default("{}"), "{clock_gain: 0.01 %}", "uncertainty of the method"),
        field("virtual_bench", Raw, Optional, "{}", "the truth of a virtual bench"),
    ],
};

const NO_WATCHDOG: Words = &[("none", "the device has none; nothing stops the pump if this program hangs")];

#[rustfmt::skip]
static WATCHDOG: Shape = Shape {
    name: "watchdog",
    doc: "watchdog in the device that owns the pump output",
    fields: &[field(
        "trip",
        time("100 ms", "1 s"),
        Required,
        "500 ms",
        "time without a heartbeat after which the device switches off by itself",
    )],
};

#[rustfmt::skip]
static INSTRUMENT: Shape = Shape {
    name: "instrument",
    doc: "an instrument and how it is reached",
    fields: &[
        field("name", Name, Required, "scale", "its name in this file, in messages and of its port link"),
        field("port", Either(&Word(NO_PORT), &PORT), Required, "{path: /dev/ttyUSB0, baud: 9600}",
            "where it is"),
        field("dialect", Word(DIALECTS), Required, "scpi", "how it speaks"),
        field("check_errors", OnOff, Optional, "on",
            "SCPI: read the error queue after each setting; on by default"),
        field("line_end", Word(LINE_ENDS), Optional, "crlf",
            "text: what ends a line we send; crlf by default"),
        field("decimal_comma", OnOff, Optional, "off", "text: numbers have a decimal comma; off by default"),
        field("unit_address", Whole(1, 247), Optional, "17", "Modbus: unit address"),
        field("identity", Map(&IDENTITY), Optional, "{ask: \"*IDN?\", expect: \"maker,model\"}",
            "how to make sure that it is this instrument"),
        field("reply_within", time("2 ms", "10 s"), Default("200 ms"), "200 ms", "time an answer may take"),
        field("serial", Text(64), Optional, "S-0001", "serial number, for the record"),
    ],
};

const NO_PORT: Words = &[("virtual", "inside the virtual bench"), ("none", "no wire: read and set by hand")];
const DIALECTS: Words = &[
    ("scpi", "SCPI-1999 messages"),
    ("text", "plain text lines"),
    ("modbus", "Modbus RTU"),
    ("by_hand", "the operator is asked"),
];
const LINE_ENDS: Words = &[("crlf", "CR LF"), ("lf", "LF"), ("cr", "CR")];
const PARITIES: Words = &[("none", "no parity bit"), ("even", "even parity"), ("odd", "odd parity")];

#[rustfmt::skip]
static PORT: Shape = Shape {
    name: "port",
    doc: "a serial port and its line settings",
    fields: &[
        field("path", Text(255), Required, "/dev/serial/by-id/...",
            "device path; prefer one that names the adapter"),
        field("baud", Whole(300, 4_000_000), Default("9600"), "115200", "bits per second"),
        field("data_bits", Whole(7, 8), Default("8"), "8", "data bits"),
        field("parity", Word(PARITIES), Default("none"), "none", "parity"),
        field("stop_bits", Whole(1, 2), Default("1"), "1", "stop bits"),
        field("ready_within", time("0 s", "30 s"), Default("0 s"), "3 s",
            "wait for a device that restarts when its port is opened"),
    ],
};

#[rustfmt::skip]
static IDENTITY: Shape = Shape {
    name: "identity",
    doc: "identity query",
    fields: &[
        field("ask", Text(64), Required, "\"*IDN?\"", "what to send"),
        field("expect", Text(128), Required, "\"maker,model\"", "what the answer must contain"),
        field("version", Text(128), Optional, "\"1.0\"", "firmware version that the answer must contain besides"),
    ],
};

#[rustfmt::skip]
static CHANNEL: Shape = Shape {
    name: "channel",
    doc: "a role and the instrument command that plays it; exactly one of ask, listen, tell, register, operator, fixed",
    fields: &[
        field("role", Kind::Role(Use::Any), Required, "line_pressure", "what it measures or sets"),
        field("instrument", Name, Required, "logger", "name of the instrument"),
        field("ask", Map(&ASK), Optional, "{query: \"MEAS? (@101)\"}",
            "send a query, take a number of the answer"),
        field("listen", Map(&LISTEN), Optional, "{pattern: \"m {value} {unit}\"}",
            "text: take a number of lines that come unasked"),
        field("tell", Map(&TELL), Optional, "{command: \"VOLT {value:.3}\"}",
            "send a command with the value in it"),
        field("register", Map(&REGISTER), Optional, "{function: 3, address: 0, kind: u16}",
            "Modbus register"),
        field("operator", Text(200), Optional, "\"read the gauge\"", "what to ask or tell the operator"),
        field("fixed", Of("role", Measure::Value), Optional, "101.3 kPa abs",
            "a constant instead of a reading"),
        field("unit", Text(16), Optional, "g",
            "the unit the instrument speaks; Hz for rpm is counted as tach pulses"),
        field("points", List(&Map(&POINT), 2, 2), Optional,
            "[{reads: 0.5, is: 0 psi}, {reads: 4.5, is: 300 psi}]", "scaling by two points instead of a unit"),
        field("range", List(&Of("role", Measure::Wire), 2, 2), Optional, "[0 psi, 300 psi]",
            "values outside are refused; needed unless it is on or off (for boost: volts, as sent)"),
        field("every", time("1 ms", "1 h"), Default("100 ms"), "10 ms", "sample period of what is read"),
        field("delay", time("0 s", "10 s"), Default("0 s"), "20 ms",
            "delay of the reading, from the data sheet"),
        field("uncertainty", Map(&UNCERTAINTY), Default("{}"), "{zero: 0.25 psi, gain: 0.1 %}",
            "how wrong a reading may be"),
        field("calibrated", Date, Optional, "2026-03-01", "date of the last calibration"),
        field("certificate", Text(64), Optional, "C-1234", "its certificate"),
    ],
};

#[rustfmt::skip]
static ASK: Shape = Shape {
    name: "ask",
    doc: "a query and its answer",
    fields: &[
        field("query", Text(200), Required, "\"MEAS:VOLT?\"", "what to send, without line end"),
        field("pattern", Text(200), Optional, "\"S duty={value}\"", "text: form of the answer"),
        field("field", Whole(0, 63), Default("0"), "0", "which value of the answer, from 0"),
    ],
};

#[rustfmt::skip]
static LISTEN: Shape = Shape {
    name: "listen",
    doc: "lines that come unasked",
    fields: &[
        field("pattern", Text(200), Required, "\"m {value} {unit}\"", "form of the line"),
        field("field", Whole(0, 63), Default("0"), "0", "which value of the line, from 0"),
    ],
};

#[rustfmt::skip]
static TELL: Shape = Shape {
    name: "tell",
    doc: "a command that sets something",
    fields: &[
        field("command", Text(200), Required, "\"VOLT {value:.3}\"",
            "what to send: {value} or {value:.N} is the number, {value:ON|OFF} a word for on and one for off"),
        field("reply", Text(200), Optional, "OK",
            "text: form of the acknowledgement; none where the device stays silent"),
    ],
};

const REGISTERS: Words = &[
    ("u16", "one register, unsigned"),
    ("i16", "one register, two's complement"),
    ("i32", "two registers, high word first, two's complement"),
    ("f32", "two registers, high word first, IEEE 754"),
    ("f32_swapped", "two registers, low word first, IEEE 754"),
];

#[rustfmt::skip]
static REGISTER: Shape = Shape {
    name: "register",
    doc: "a Modbus register or two",
    fields: &[
        field("function", Whole(3, 16), Required, "3", "function code: 3 or 4 to read, 6 or 16 to write"),
        field("address", Whole(0, 65535), Required, "0", "register address, from 0"),
        field("kind", Word(REGISTERS), Required, "u16", "how registers become a number"),
    ],
};

#[rustfmt::skip]
static POINT: Shape = Shape {
    name: "point",
    doc: "a point of a scaling",
    fields: &[
        field("reads", Number(-1e9, 1e9), Required, "0.5", "the instrument's number"),
        field("is", Of("role", Measure::Wire), Required, "0 psi", "what it means"),
    ],
};

#[rustfmt::skip]
static UNCERTAINTY: Shape = Shape {
    name: "uncertainty",
    doc: "type B uncertainty of a reading",
    fields: &[
        field("zero", Either(&Of("role", Measure::WireDifference), &ZERO), Optional, "0.25 psi",
            "zero error: limits (rectangular), or a standard uncertainty"),
        field("gain", Either(&Difference(Dimension::Ratio, "0 %", "50 %"), &GAIN), Optional, "0.1 %",
            "gain error: limits (rectangular), or a standard uncertainty"),
        field("resolution", Of("role", Measure::WireDifference), Optional, "0.1 g", "width of one step"),
    ],
};

#[rustfmt::skip]
static ZERO: Shape = Shape {
    name: "zero error",
    doc: "a zero error as a standard uncertainty",
    fields: &[
        field("standard", Of("role", Measure::WireDifference), Required, "0.1 psi", "standard uncertainty"),
        field("dof", Number(1.0, 1e6), Optional, "9", "its degrees of freedom; infinite where not stated"),
    ],
};

#[rustfmt::skip]
static GAIN: Shape = Shape {
    name: "gain error",
    doc: "a gain error as a standard uncertainty",
    fields: &[
        field("standard", Difference(Dimension::Ratio, "0 %", "50 %"), Required, "0.05 %",
            "standard uncertainty"),
        field("dof", Number(1.0, 1e6), Optional, "9", "its degrees of freedom; infinite where not stated"),
    ],
};

const SIDES: Words = &[
    ("high", "the positive side of the motor is switched"),
    ("low", "the ground side of the motor is switched"),
];

#[rustfmt::skip]
static PAIR: Shape = Shape {
    name: "pair",
    doc: "the pump and nozzle under test",
    fields: &[
        field("pump", Text(120), Required, "\"12 V diaphragm pump, P-0001\"", "type and serial number"),
        field("nozzles", List(&Map(&NOZZLE), 1, 8), Required, "[{name: A}]",
            "nozzles; the first is mounted at the start"),
        field("pwm", Quantity(Dimension::Frequency, "1 Hz", "50 kHz"), Required, "1000 Hz", "PWM frequency"),
        field("drive_side", Word(SIDES), Required, "low", "side of the motor that is switched"),
        field("wiring", Text(200), Optional, "2 m of 2.5 mm2", "wiring between supply terminals and pump"),
        field("check_valve", Quantity(Dimension::GaugePressure, "0 psi", "60 psi"), Optional, "3 psi",
            "cracking pressure"),
        field("switch", Map(&SWITCH), Optional, "{set_point: 30 psi, tolerance: 3 psi}", "pressure switch"),
        field("freewheel", Map(&FREEWHEEL), Default("{}"), "{voltage: 0.6 V, standard: 0.1 V}",
            "free-wheel diode"),
    ],
};

#[rustfmt::skip]
static NOZZLE: Shape = Shape {
    name: "nozzle",
    doc: "a nozzle",
    fields: &[
        field("name", Text(16), Default("A"), "A", "short name"),
        field("serial", Text(64), Optional, "N-0001", "serial number or marking"),
        field("rating", Map(&RATING), Optional, "{flow: 10 gal/h, at: 100 psi, tolerance: 5 %}",
            "its rating"),
    ],
};

#[rustfmt::skip]
static RATING: Shape = Shape {
    name: "rating",
    doc: "a nozzle's rating",
    fields: &[
        field("flow", Quantity(Dimension::Flow, "1 mL/min", "20 L/min"), Required, "10 gal/h", "rated flow"),
        field("at", Quantity(Dimension::GaugePressure, "1 psi", "1000 psi"), Required, "100 psi",
            "at this pressure across it"),
        field("tolerance", ratio("50 %"), Required, "5 %", "allowed deviation of the flow"),
    ],
};

#[rustfmt::skip]
static SWITCH: Shape = Shape {
    name: "switch",
    doc: "a pressure switch's nominal data",
    fields: &[
        field("set_point", Quantity(Dimension::GaugePressure, "1 psi", "500 psi"), Required, "30 psi",
            "rising pressure where it should make"),
        field("tolerance", Difference(Dimension::GaugePressure, "0 psi", "100 psi"), Required, "3 psi",
            "allowed deviation"),
        field("reset", Quantity(Dimension::GaugePressure, "0 psi", "500 psi"), Optional, "25 psi",
            "falling pressure where it should break"),
    ],
};

#[rustfmt::skip]
static FREEWHEEL: Shape = Shape {
    name: "freewheel",
    doc: "forward voltage of the free-wheel diode",
    fields: &[
        field("voltage", Quantity(Dimension::Voltage, "0 V", "2 V"), Default("0.7 V"), "0.6 V",
            "forward voltage"),
        field("standard", Difference(Dimension::Voltage, "0 V", "1 V"), Default("0.15 V"), "0.1 V",
            "its standard uncertainty"),
    ],
};

#[rustfmt::skip]
static FLUID: Shape = Shape {
    name: "fluid",
    doc: "what is sprayed; bench with water",
    fields: &[
        field("methanol_by_mass", ratio("100 %"), Default("0 %"), "0 %", "methanol in the mix, by mass"),
        field("methanol_permitted", OnOff, Default("off"), "off",
            "whether this bench may be run with methanol at all"),
        field("temperature", Quantity(Dimension::Temperature, "0 degC", "60 degC"), Default("20 degC"),
            "20 degC", "temperature where nothing reads it"),
        field("temperature_standard", Difference(Dimension::Temperature, "0 degC",
            "20 degC"), Default("3 degC"), "2 degC", "its standard uncertainty"),
    ],
};

#[rustfmt::skip]
static ENGINE: Shape = Shape {
    name: "engine",
    doc: "manifold sensor, tach and ambient pressure",
    fields: &[
        field("boost_sensor", List(&Map(&SENSOR_POINT), 2, 2), Optional,
            "[{at: 2.5 V, is: 23.1 psi abs}, {at: 3.8 V, is: 34.7 psi abs}]", "manifold sensor by two points"),
        field("ratiometric", OnOff, Default("off"), "on",
            "whether its voltage goes with a measured 5 V reference"),
        field("pulses_per_rev", Number(0.5, 60.0), Default("2"), "2", "tach pulses per revolution"),
        field("ambient", Quantity(Dimension::AbsolutePressure, "50 kPa abs",
            "120 kPa abs"), Default("101.325 kPa abs"), "101.3 kPa abs", "ambient pressure where nothing reads it"),
    ],
};

#[rustfmt::skip]
static SENSOR_POINT: Shape = Shape {
    name: "sensor point",
    doc: "a point of the manifold sensor",
    fields: &[
        field("at", Quantity(Dimension::Voltage, "0 V", "12 V"), Required, "2.5 V", "voltage"),
        field("is", Quantity(Dimension::AbsolutePressure, "0 psi abs", "200 psi abs"), Required,
            "23.1 psi abs", "pressure"),
    ],
};

#[rustfmt::skip]
static LIMITS: Shape = Shape {
    name: "limits",
    doc: "hard limits of the bench",
    fields: &[
        field("line_pressure", Quantity(Dimension::GaugePressure, "5 psi", "1000 psi"), Required, "250 psi",
            "highest line pressure; below relief valve and hose rating"),
        field("cup_mass", Quantity(Dimension::Mass, "10 g", "50 kg"), Required, "2 kg", "heaviest cup"),
        field("supply", List(&Quantity(Dimension::Voltage, "0 V", "30 V"), 2, 2), Required, "[9 V, 16 V]",
            "lowest and highest supply"),
        field("on_time", time("1 s", "24 h"), Required, "15 min",
            "longest time with the pump on without a pause"),
        field("duty", List(&ratio("100 %"), 2, 2), Default("[1 %, 100 %]"), "[2 %, 100 %]",
            "lowest duty above zero, and highest"),
    ],
};

#[rustfmt::skip]
static METHOD: Shape = Shape {
    name: "method",
    doc: "uncertainty of the method, beside that of the channels",
    fields: &[
        field("clock_gain", Either(&Difference(Dimension::Ratio, "0 %", "5 %"), &GAIN), Default("0.01 %"),
            "0.01 %", "relative error of the clock"),
        field("mist_lost", List(&ratio("20 %"), 2, 2), Default("[0 %, 0 %]"), "[0 %, 0.2 %]",
            "spray that leaves the cup as mist, part of the flow"),
        field("leak_lost", List(&ratio("20 %"), 2, 2), Default("[0 %, 0 %]"), "[0 %, 0.05 %]",
            "flow lost before the nozzle, part of the flow"),
        field("jet_on_pan", ratio("100 %"), Default("0 %"), "20 %",
            "part of the jet's thrust that reaches the pan; 0 for a baffled cup"),
        field("tap_loss", List(&ratio("20 %"), 2, 2), Default("[0 %, 0 %]"), "[0 %, 0.3 %]",
            "pressure lost between gauge and nozzle, part of line pressure"),
        field("tap_height", Quantity(Dimension::Length, "-3 m", "3 m"), Default("0 m"), "150 mm",
            "height of the gauge above the nozzle"),
        field("tap_height_standard", Difference(Dimension::Length, "0 m", "1 m"), Default("20 mm"), "10 mm",
            "its standard uncertainty"),
    ],
};
