//! The sections of a rig file that stand for themselves: instruments, pair, fluid, engine, limits, method.
//!
//! In: checked fields. Out: the parts of a [`Rig`](crate::script::rig::Rig). Never: a value without a range in the
//! table.

use super::Tell;
use crate::problem::Problem;
use crate::quantity::{Absolute, PressureSensor};
use crate::script::rig::{
    DialectSpec, DriveSide, EngineSpec, FluidSpec, IdentitySpec, InstrumentSpec, Limits, MethodSpec,
    NozzleSpec, PairSpec, Parity, PortSpec, Rating, SwitchSpec, Watchdog,
};
use crate::script::shape::value::{Fields, Item, Value};
use crate::uncertainty::Bound;
use std::time::Duration;

pub(super) fn duration(fields: &Fields, name: &str) -> Duration {
    Duration::from_secs_f64(fields.number(name))
}

/// Two values of which the first must not be above the second.
pub(super) fn pair_of(fields: &Fields, name: &str, tell: &mut Tell<'_>) -> (f64, f64) {
    let item = fields.item(name);
    let [low, high] = item.list() else {
        panic!("{name} is not a list of two");
    };
    if low.number() > high.number() {
        let what = format!("`{name}` runs from {} down to {}", low.text, high.text);
        tell(item, Problem::new(what).expected("the lower value first"));
    }
    (low.number(), high.number())
}

pub(super) fn instrument(fields: &Fields, tell: &mut Tell<'_>) -> InstrumentSpec {
    InstrumentSpec {
        name: fields.text("name"),
        port: port(fields.item("port")),
        dialect: dialect(fields, tell),
        identity: fields.get("identity").map(|item| IdentitySpec {
            ask: item.fields().text("ask"),
            expect: item.fields().text("expect"),
            version: item.fields().maybe_text("version"),
        }),
        reply_within: duration(fields, "reply_within"),
        serial: fields.maybe_text("serial"),
    }
}

fn port(item: &Item) -> PortSpec {
    let Value::Fields(fields) = &item.value else {
        return PortSpec {
            path: None,
            baud: 115_200,
            data_bits: 8,
            parity: Parity::None,
            stop_bits: 1,
            ready_within: Duration::ZERO,
        };
    };
    PortSpec {
        path: Some(fields.text("path")),
        baud: fields.number("baud") as u32,
        data_bits: fields.number("data_bits") as u8,
        parity: match fields.word("parity") {
            "even" => Parity::Even,
            "odd" => Parity::Odd,
            _ => Parity::None,
        },
        stop_bits: fields.number("stop_bits") as u8,
        ready_within: duration(fields, "ready_within"),
    }
}

/// Settings that belong to one dialect, and which.
const BELONGS: &[(&str, &str)] =
    &[("check_errors", "scpi"), ("line_end", "text"), ("decimal_comma", "text"), ("unit_address", "modbus")];

fn dialect(fields: &Fields, tell: &mut Tell<'_>) -> DialectSpec {
    let word = fields.word("dialect");
    for (name, belongs) in BELONGS {
        if let Some(item) = fields.get(name).filter(|_| *belongs != word) {
            let what = format!("`{name}` belongs to the dialect {belongs}; this instrument speaks {word}");
            tell(item, Problem::new(what));
        }
    }
    let flag = |name, default| fields.maybe(name).map_or(default, |n| n > 0.5);
    match word {
        "scpi" => DialectSpec::Scpi { check_errors: flag("check_errors", true) },
        "text" => DialectSpec::Text {
            line_end: match fields.get("line_end").map(|i| i.text.as_str()) {
                Some("lf") => "\n",
                Some("cr") => "\r",
                _ => "\r\n",
            }
            .to_owned(),
            decimal_comma: flag("decimal_comma", false),
        },
        "modbus" => {
            if fields.get("unit_address").is_none() {
                let what = "`unit_address` is missing for an instrument that speaks Modbus";
                tell(fields.item("dialect"), Problem::new(what).expected("`unit_address: 1` to 247"));
            }
            DialectSpec::Modbus { unit: fields.maybe("unit_address").unwrap_or(1.0) as u8 }
        }
        _ => DialectSpec::ByHand,
    }
}

pub(super) fn pair(fields: &Fields, tell: &mut Tell<'_>) -> PairSpec {
    let freewheel = fields.fields("freewheel");
    PairSpec {
        pump: fields.text("pump"),
        nozzles: fields.item("nozzles").list().iter().map(|n| nozzle(n.fields(), tell)).collect(),
        pwm_hz: fields.number("pwm"),
        drive_side: if fields.word("drive_side") == "high" { DriveSide::High } else { DriveSide::Low },
        wiring: fields.maybe_text("wiring"),
        check_valve_kpa: fields.maybe("check_valve"),
        switch: fields.get("switch").map(|item| SwitchSpec {
            set_point_kpa: item.fields().number("set_point"),
            tolerance_kpa: item.fields().number("tolerance"),
            reset_kpa: item.fields().maybe("reset"),
        }),
        freewheel_v: (freewheel.number("voltage"), freewheel.number("standard")),
    }
}

fn nozzle(fields: &Fields, tell: &mut Tell<'_>) -> NozzleSpec {
    let name = fields.text("name");
    if !name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_' || b == b'-') {
        let problem = Problem::new(format!("\"{name}\" is not a name for a nozzle"));
        tell(fields.item("name"), problem.expected("letters, digits, _ and -"));
    }
    NozzleSpec {
        name,
        serial: fields.maybe_text("serial"),
        rating: fields.get("rating").map(|item| Rating {
            flow_ml_min: item.fields().number("flow"),
            at_kpa: item.fields().number("at"),
            tolerance: item.fields().number("tolerance") / 100.0,
        }),
    }
}

pub(super) fn fluid(fields: &Fields, tell: &mut Tell<'_>) -> FluidSpec {
    let methanol = fields.number("methanol_by_mass");
    let permitted = fields.flag("methanol_permitted");
    if methanol > 0.0 && !permitted {
        let problem = Problem::new("methanol is not permitted on this bench")
            .expected("water, `methanol_by_mass: 0 %`")
            .help(
                "bench with water and let the mix be computed; where the bench really is made for it, `methanol_permitted: \
                 on` says so (flammable, toxic, its flame is hardly visible: ventilation, no ignition sources, local codes)",
            );
        tell(fields.item("methanol_by_mass"), problem);
    }
    FluidSpec {
        methanol_mass_fraction: methanol / 100.0,
        temperature_degc: (fields.number("temperature"), fields.number("temperature_standard")),
        methanol_permitted: permitted,
    }
}

pub(super) fn engine(fields: &Fields) -> EngineSpec {
    EngineSpec {
        boost_sensor: fields.get("boost_sensor").map(|item| {
            let point = |i: usize| {
                let fields = item.list()[i].fields();
                (fields.number("at"), Absolute(fields.number("is")))
            };
            PressureSensor { points: [point(0), point(1)] }
        }),
        ratiometric: fields.flag("ratiometric"),
        pulses_per_rev: fields.number("pulses_per_rev"),
        ambient: Absolute(fields.number("ambient")),
    }
}

pub(super) fn limits(fields: &Fields, tell: &mut Tell<'_>) -> Limits {
    Limits {
        line_pressure_kpa: fields.number("line_pressure"),
        cup_mass_g: fields.number("cup_mass"),
        supply_v: pair_of(fields, "supply", tell),
        on_time_s: fields.number("on_time"),
        duty_pct: pair_of(fields, "duty", tell),
    }
}

pub(super) fn watchdog(item: &Item) -> Watchdog {
    match &item.value {
        Value::Fields(fields) => Watchdog::Device { trip: duration(fields, "trip") },
        _ => Watchdog::None,
    }
}

pub(super) fn method(fields: &Fields, tell: &mut Tell<'_>) -> MethodSpec {
    let mut part = |name| {
        let (low, high) = pair_of(fields, name, tell);
        (low / 100.0, high / 100.0)
    };
    MethodSpec {
        clock_gain: bound(fields.get("clock_gain"), 0.01),
        mist_lost: part("mist_lost"),
        leak_lost: part("leak_lost"),
        tap_loss: part("tap_loss"),
        jet_on_pan: fields.number("jet_on_pan") / 100.0,
        tap_height_m: (fields.number("tap_height"), fields.number("tap_height_standard")),
        place: None,
    }
}

/// A bound as limits or as a standard uncertainty, times `scale`.
pub(super) fn bound(item: Option<&Item>, scale: f64) -> Bound {
    match item.map(|i| &i.value) {
        Some(Value::Number(half)) => Bound::Limits(half * scale),
        Some(Value::Fields(fields)) => {
            Bound::Standard(fields.number("standard") * scale, fields.maybe("dof").unwrap_or(f64::INFINITY))
        }
        _ => Bound::None,
    }
}
