//! Checks of a rig that need more than one part of it.
//!
//! In: a decoded rig and its fields. Out: problems, with both ends of a bad reference named. Never: a rig that can
//! energise a pump without a way to switch it off, to see its pressure, or to keep its watchdog quiet.

use super::Tell;
use crate::problem::Problem;
use crate::quantity::PressureSensor;
use crate::script::rig::{DialectSpec, Rig, Watchdog};
use crate::script::role::Role;
use crate::script::shape::value::{Fields, Item};

/// Runs every check.
pub(super) fn check(rig: &Rig, fields: &Fields, tell: &mut Tell<'_>) {
    let instruments = fields.item("instruments").list();
    let channels = fields.item("channels").list();
    once(instruments, "name", "the instrument", tell);
    once(channels, "role", "the role", tell);
    once(fields.fields("pair").item("nozzles").list(), "name", "the nozzle", tell);
    same_port(instruments, tell);
    ports(rig, instruments, fields, tell);
    pump(rig, fields, tell);
    sensor(rig, fields, tell);
    quiet_instruments(rig, instruments, tell);
    watchdog(rig, fields, tell);
}

/// A name that stands twice.
fn once(items: &[Item], name: &str, what: &str, tell: &mut Tell<'_>) {
    for (i, item) in items.iter().enumerate() {
        let text = item.fields().text(name);
        if let Some(first) = items[..i].iter().find(|other| other.fields().text(name) == text) {
            let problem = Problem::new(format!("{what} {text} stands here a second time"));
            let at = first.fields().item(name).mark.line;
            tell(item.fields().item(name), problem.help(format!("the first is in line {at}")));
        }
    }
}

/// Two instruments on one port.
fn same_port(instruments: &[Item], tell: &mut Tell<'_>) {
    let path = |item: &Item| item.fields().item("port").value_fields().map(|f| f.text("path"));
    for (i, item) in instruments.iter().enumerate() {
        let Some(at) = path(item) else { continue };
        if let Some(other) = instruments[..i].iter().find(|other| path(other).as_ref() == Some(&at)) {
            let names = (other.fields().text("name"), item.fields().text("name"));
            let problem = Problem::new(format!("{} and {} are both on {at}", names.0, names.1));
            tell(item.fields().item("port"), problem.expected("a port for each instrument"));
        }
    }
}

/// Instruments without a port need a virtual bench, and those by hand have none.
fn ports(rig: &Rig, instruments: &[Item], fields: &Fields, tell: &mut Tell<'_>) {
    let by_hand = |i: usize| rig.instruments[i].dialect == DialectSpec::ByHand;
    for (i, item) in instruments.iter().enumerate() {
        let port = item.fields().item("port");
        let name = &rig.instruments[i].name;
        match port.text.as_str() {
            "none" if !by_hand(i) => {
                let problem = Problem::new(format!("the instrument {name} has no port"));
                tell(
                    port,
                    problem.expected("`port: {path: ...}`, or `dialect: by_hand` for what is read by hand"),
                );
            }
            "virtual" if fields.get("virtual_bench").is_none() => {
                let what = format!(
                    "the instrument {name} is inside a virtual bench, but the rig has no `virtual_bench:`"
                );
                tell(port, Problem::new(what).expected("a port, or the section `virtual_bench: {}`"));
            }
            word if word != "none" && by_hand(i) => {
                let problem = Problem::new(format!("{name} is read and set by hand, so it has no port"));
                tell(port, problem.expected("`port: none`"));
            }
            _ => {}
        }
    }
}

/// What a rig must have that can switch a pump on by wire.
fn pump(rig: &Rig, fields: &Fields, tell: &mut Tell<'_>) {
    let by_wire = rig.channels.iter().any(|c| c.role == Role::PumpDuty && !c.by_hand());
    if !by_wire {
        return;
    }
    for (role, why) in [
        (Role::SafeState, "the pump can be switched on but not off"),
        (Role::LinePressure, "the limit on line pressure cannot be kept"),
    ] {
        if !rig.plays(&role) {
            let problem = Problem::new(format!("no channel plays {role}: {why}"));
            tell(fields.item("channels"), problem.expected(format!("a channel with `role: {role}`")));
        }
    }
}

/// A boost that is set needs the sensor it is translated with.
fn sensor(rig: &Rig, fields: &Fields, tell: &mut Tell<'_>) {
    let plays = rig.plays(&Role::Boost);
    let engine = fields.item("engine");
    match rig.engine.boost_sensor {
        None if plays => {
            let problem = Problem::new(
                "a channel plays boost, but `engine` does not say what the manifold sensor does",
            );
            tell(
                engine,
                problem.expected(
                    "`boost_sensor: [{at: 2.5 V, is: 23.1 psi abs}, {at: 3.8 V, is: 34.7 psi abs}]`",
                ),
            );
        }
        Some(PressureSensor { points: [(v0, p0), (v1, p1)] })
            if v0.total_cmp(&v1).is_eq() || p0.0.total_cmp(&p1.0).is_eq() =>
        {
            let problem = Problem::new("the two points of the manifold sensor do not make a line");
            tell(engine, problem.expected("two voltages with two pressures"));
        }
        _ => {}
    }
}

/// An instrument that no channel uses.
fn quiet_instruments(rig: &Rig, instruments: &[Item], tell: &mut Tell<'_>) {
    for (i, item) in instruments.iter().enumerate() {
        if !rig.channels.iter().any(|c| c.instrument == i) {
            let problem = Problem::new(format!("no channel uses the instrument {}", rig.instruments[i].name));
            tell(item.fields().item("name"), problem.help("leave it out, or give it a channel"));
        }
    }
}

/// A watchdog needs a heartbeat, and the other way round.
fn watchdog(rig: &Rig, fields: &Fields, tell: &mut Tell<'_>) {
    let beats = rig.plays(&Role::Heartbeat);
    let item = fields.item("watchdog");
    match rig.watchdog {
        Watchdog::Device { .. } if !beats => {
            let problem = Problem::new("the device has a watchdog, but no channel plays heartbeat");
            tell(item, problem.expected("a channel with `role: heartbeat`, or `watchdog: none`"));
        }
        Watchdog::None if beats => {
            let problem = Problem::new("a channel plays heartbeat, but `watchdog` is none");
            tell(item, problem.expected("`watchdog: {trip: 500 ms}`"));
        }
        _ => {}
    }
}
