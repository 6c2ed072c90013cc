//! Every verdict: its id, unit, meaning, and the measurements that give it. Scenario checks, schema, help, analyses,
//! report and machine-readable files all read this table; an id that is not in it cannot be given or expected.

use super::purpose::Purpose;
use crate::problem::nearest;
use crate::quantity::{Dimension, find_unit};

/// Who gives an item.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Giver {
    /// The analysis of a run with one of these purposes.
    Runs(&'static [Purpose]),
    /// A command that reads finished runs; no scenario can expect its items.
    Command(&'static str),
}

/// How many items of an id one analysis may give.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Members {
    /// One.
    One,
    /// One a nozzle; ids of all but the first nozzle end in the nozzle's name.
    Nozzles,
    /// One an output and condition, named behind the id; a limit on the id alone holds for each.
    Outputs,
}

/// What an item needs besides a run of its measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Nothing.
    Nothing,
    /// `--calibration`.
    Calibration,
    /// `--against`.
    Earlier,
    /// A rating of the nozzle in the rig.
    Rating,
    /// A solenoid in the rig.
    Solenoid,
    /// The tank's filling, stated by the scenario.
    Filling,
}

impl Need {
    /// In words, behind "no value to hold against the limit"; empty where nothing is needed.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Need::Nothing => "",
            Need::Calibration => ": it takes the pair's calibration (--calibration FILE)",
            Need::Earlier => ": it takes an earlier calibration (--against FILE)",
            Need::Rating => ": it takes a rating of the nozzle in the rig",
            Need::Solenoid => ": it takes a solenoid in the rig and steps that switch it",
            Need::Filling => ": it takes the tank's filling, stated by the scenario",
        }
    }
}

/// One row of the catalogue.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Stable id.
    pub id: &'static str,
    /// What a limit may be written in.
    pub dimension: Dimension,
    /// Unit of value, U and limits in files; of `dimension`.
    pub unit: &'static str,
    /// In words.
    pub meaning: &'static str,
    /// Who gives it.
    pub giver: Giver,
    /// How many.
    pub members: Members,
    /// What else it takes.
    pub need: Need,
    /// Names that are in use no longer.
    pub retired: &'static [&'static str],
}

const PAIR: Giver = Giver::Runs(&[Purpose::Pair, Purpose::DutyCurve]);
const SWITCH: Giver = Giver::Runs(&[Purpose::Switch]);
const LEAK: Giver = Giver::Runs(&[Purpose::LeakDown]);
const DEAD_HEAD: Giver = Giver::Runs(&[Purpose::DeadHead]);
const TANK: Giver = Giver::Runs(&[Purpose::TankLevel]);
const CONTROLLER: Giver = Giver::Runs(&[Purpose::Controller]);
const ROAD: Giver = Giver::Runs(&[Purpose::RoadTrace]);
const SCALE: Giver = Giver::Runs(&[Purpose::CheckScale]);

const fn entry(
    id: &'static str,
    (dimension, unit): (Dimension, &'static str),
    meaning: &'static str,
    giver: Giver,
    retired: &'static [&'static str],
) -> Entry {
    Entry { id, dimension, unit, meaning, giver, members: Members::One, need: Need::Nothing, retired }
}

const fn members(members: Members, entry: Entry) -> Entry {
    Entry { members, ..entry }
}

const fn needs(need: Need, entry: Entry) -> Entry {
    Entry { need, ..entry }
}

const PRESSURE: (Dimension, &str) = (Dimension::GaugePressure, "kPa");
const FLOW: (Dimension, &str) = (Dimension::Flow, "mL/min");
const PERCENT: (Dimension, &str) = (Dimension::Ratio, "%");
const SECONDS: (Dimension, &str) = (Dimension::Time, "s");
const MINUTES: (Dimension, &str) = (Dimension::Time, "min");
const VOLUME: (Dimension, &str) = (Dimension::Volume, "mL");
const NUMBER: (Dimension, &str) = (Dimension::Number, "");
const RPM: (Dimension, &str) = (Dimension::Speed, "rpm");
const VOLTS: (Dimension, &str) = (Dimension::Voltage, "V");
const COMPLIANCE: (Dimension, &str) = (Dimension::Compliance, "mL/kPa");

/// Declares each row by name and lists them all.
macro_rules! catalogue {
    ($($name:ident = $row:expr;)+) => {
        $(
            #[doc = concat!("`", stringify!($name), "`, as in the table.")]
            pub const $name: Entry = $row;
        )+
        /// Every item there is.
        pub const CATALOGUE: &[Entry] = &[$($name),+];
    };
}

#[rustfmt::skip]
catalogue! {
    NOZZLE_RATING =
        members(Members::Nozzles, needs(Need::Rating, entry("nozzle.rating", FLOW, "flow at the pressure of the nozzle's rating", PAIR, &[])));
    NOZZLE_K =
        members(Members::Nozzles, entry("nozzle.k", (Dimension::NozzleCoefficient, "mL/min/sqrt(kPa)"), "nozzle coefficient", PAIR, &[]));
    NOZZLE_EXPONENT =
        members(Members::Nozzles, entry("nozzle.exponent", NUMBER, "nozzle exponent (square root: 0.5)", PAIR, &[]));
    NOZZLE_CLOGGING =
        members(Members::Nozzles, needs(Need::Earlier, entry("nozzle.clogging", PERCENT, "area lost since the earlier calibration, part of that area", PAIR, &[])));
    DUTY_DEAD_BAND =
        members(Members::Nozzles, entry("duty.dead_band", PERCENT, "dead band: flow stops, duty falling", PAIR, &[]));
    DUTY_BREAKAWAY =
        entry("duty.breakaway", PERCENT, "breakaway: flow starts, duty rising", PAIR, &[]);
    FLOW_FULL_DUTY =
        members(Members::Nozzles, entry("flow.full_duty", FLOW, "flow at full duty", PAIR, &["pump.full_flow"]));
    LINE_FULL_DUTY =
        members(Members::Nozzles, entry("line.full_duty", PRESSURE, "line pressure at full duty", PAIR, &["line.highest"]));
    PAIR_FIT =
        entry("pair.fit", NUMBER, "whether the data carry a calibration", Giver::Command("run, analyse"), &[]);
    SWITCH_TRIP =
        entry("switch.trip", PRESSURE, "trip pressure (rising, mean)", SWITCH, &[]);
    SWITCH_RESET =
        entry("switch.reset", PRESSURE, "reset pressure (falling, mean)", SWITCH, &[]);
    SWITCH_DIFFERENTIAL =
        entry("switch.differential", PRESSURE, "differential (hysteresis): trip less reset", SWITCH, &[]);
    SWITCH_REPEATABILITY =
        entry("switch.repeatability", PRESSURE, "repeatability of trip (standard deviation)", SWITCH, &[]);
    SWITCH_CHATTER =
        entry("switch.chatter", NUMBER, "ramps with contact chatter", SWITCH, &["switch.contact"]);
    SWITCH_RELEASE_TIME =
        entry("switch.release_time", SECONDS, "release time after pump stop", SWITCH, &["switch.dark_after", "switch.decay"]);
    LINE_COMPLIANCE =
        needs(Need::Calibration, entry("line.compliance", COMPLIANCE, "compliance of the line", Giver::Runs(&[Purpose::Switch, Purpose::LeakDown]), &[]));
    SWITCH_WINDOW =
        entry("switch.window", PRESSURE, "switch margin: reset above boost and trip below the lightest spray, smaller of both", Giver::Command("window"), &[]);
    LINE_LEAK =
        entry("line.leak", (Dimension::PressureRate, "kPa/min"), "leak-down rate behind the closed outlet", LEAK, &[]);
    SOLENOID_OPENING_TIME =
        needs(Need::Solenoid, entry("solenoid.opening_time", SECONDS, "solenoid opening time (upper bound)", LEAK, &["solenoid.opens"]));
    SOLENOID_CLOSING_TIME =
        needs(Need::Solenoid, entry("solenoid.closing_time", SECONDS, "solenoid closing time (upper bound)", LEAK, &["solenoid.closes"]));
    LINE_DEAD_HEAD =
        entry("line.dead_head", PRESSURE, "dead-head pressure", DEAD_HEAD, &["pump.dead_head"]);
    TANK_DRAWN_VOLUME =
        entry("tank.drawn_volume", VOLUME, "volume drawn until the level switch changed", TANK, &["tank.drawn"]);
    TANK_REMAINING_VOLUME =
        needs(Need::Filling, entry("tank.remaining_volume", VOLUME, "volume that remains when the level switch changes", TANK, &["tank.level"]));
    TANK_REMAINING_SPRAY_TIME =
        needs(Need::Filling, entry("tank.remaining_spray_time", MINUTES, "remaining spray time when the level switch changes", TANK, &["tank.minutes"]));
    CONTROLLER_THRESHOLD_BOOST =
        members(Members::Outputs, entry("controller.threshold.boost", PRESSURE, "boost at which an output switches", CONTROLLER, &[]));
    CONTROLLER_THRESHOLD_RPM =
        members(Members::Outputs, entry("controller.threshold.rpm", RPM, "engine speed at which an output switches", CONTROLLER, &[]));
    CONTROLLER_HYSTERESIS_BOOST =
        members(Members::Outputs, entry("controller.hysteresis.boost", PRESSURE, "hysteresis over boost: threshold rising less threshold falling", CONTROLLER, &[]));
    CONTROLLER_HYSTERESIS_RPM =
        members(Members::Outputs, entry("controller.hysteresis.rpm", RPM, "hysteresis over engine speed: threshold rising less threshold falling", CONTROLLER, &[]));
    CONTROLLER_THRESHOLD_SUPPLY =
        members(Members::Outputs, entry("controller.threshold.supply", VOLTS, "supply voltage at which an output switches", CONTROLLER, &[]));
    CONTROLLER_HYSTERESIS_SUPPLY =
        members(Members::Outputs, entry("controller.hysteresis.supply", VOLTS, "hysteresis over the supply: threshold rising less threshold falling", CONTROLLER, &[]));
    CONTROLLER_THRESHOLD_SENSOR =
        members(Members::Outputs, entry("controller.threshold.sensor", VOLTS, "sensor voltage at which an output switches", CONTROLLER, &[]));
    CONTROLLER_HYSTERESIS_SENSOR =
        members(Members::Outputs, entry("controller.hysteresis.sensor", VOLTS, "hysteresis over a sensor voltage: threshold rising less threshold falling", CONTROLLER, &[]));
    CONTROLLER_RESPONSE =
        members(Members::Outputs, entry("controller.response", SECONDS, "response time to an input step, median and 95th percentile", CONTROLLER, &["response"]));
    CONTROLLER_OBSERVATION =
        members(Members::Outputs, entry("controller.observation", NUMBER, "difference from the baseline, in the unit of the observation", Giver::Command("compare"), &[]));
    ROAD_VOLUME =
        entry("road.volume", VOLUME, "volume sprayed over the trace", ROAD, &[]);
    ROAD_TANK_ENDURANCE =
        entry("road.tank_endurance", MINUTES, "tank endurance on this trace", ROAD, &["road.minutes_per_tank"]);
    SCALE_GAIN_ERROR =
        entry("scale.gain_error", PERCENT, "scale gain error", SCALE, &["scale.gain"]);
    CLOCK_RATE_ERROR =
        entry("clock.rate_error", PERCENT, "clock rate error", SCALE, &["clock.gain"]);
}

impl Entry {
    /// Whether a run of this purpose gives it.
    #[must_use]
    pub fn given_by(&self, purpose: Purpose) -> bool {
        matches!(self.giver, Giver::Runs(purposes) if purposes.contains(&purpose))
    }

    /// A limit in the internal unit of its dimension, in the unit of files.
    #[must_use]
    pub fn in_unit(&self, internal: f64) -> f64 {
        find_unit(self.unit, self.dimension).map_or(internal, |unit| unit.express(internal))
    }

    /// The measurements or the command that give it, in words.
    #[must_use]
    pub fn given_in_words(&self) -> String {
        match self.giver {
            Giver::Command(name) => format!("command {name}"),
            Giver::Runs(purposes) => purposes.iter().map(|p| p.word()).collect::<Vec<_>>().join(", "),
        }
    }

    /// One line for schema and help: meaning, unit and who gives it.
    #[must_use]
    pub fn line(&self) -> String {
        let unit = if self.unit.is_empty() { "a plain number" } else { self.unit };
        format!("{} [{unit}]; given by {}", self.meaning, self.given_in_words())
    }
}

/// Every item that a scenario may state limits for, for help and manual: id, meaning, unit and what gives it.
#[must_use]
pub fn list() -> String {
    let runs = CATALOGUE.iter().filter(|e| matches!(e.giver, Giver::Runs(_)));
    let lines: Vec<String> = runs.map(|e| format!("  {}: {}", e.id, e.line())).collect();
    format!(
        "Verdict items, for which a scenario may state limits (`expect: {{item: ..., upper: ...}}`), in their unit:\n\n{}",
        lines.join("\n")
    )
}

/// The row of an item's id, or of the id that a member's name begins with.
#[must_use]
pub fn find(id: &str) -> Option<&'static Entry> {
    let exact = CATALOGUE.iter().find(|e| e.id == id);
    exact.or_else(|| {
        let member = |e: &&Entry| e.members != Members::One && holds_for(e.id, id);
        CATALOGUE.iter().find(member)
    })
}

/// Whether `member` is `id` or a member named behind it.
#[must_use]
pub fn holds_for(id: &str, member: &str) -> bool {
    member.strip_prefix(id).is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
}

/// The ids that a run of a purpose gives.
#[must_use]
pub fn ids_of(purpose: Purpose) -> Vec<&'static str> {
    CATALOGUE.iter().filter(|e| e.given_by(purpose)).map(|e| e.id).collect()
}

/// The id that was probably meant by one that is not there.
#[must_use]
pub fn meant(id: &str) -> Option<&'static str> {
    let retired = CATALOGUE.iter().find(|e| e.retired.iter().any(|old| holds_for(old, id)));
    let expectable = CATALOGUE.iter().filter(|e| matches!(e.giver, Giver::Runs(_))).map(|e| e.id);
    retired.map(|e| e.id).or_else(|| nearest(id, expectable))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn ids_are_unique_units_belong_to_their_dimension_and_no_old_name_lives() {
        let ids: BTreeSet<&str> = CATALOGUE.iter().map(|e| e.id).collect();
        assert_eq!(ids.len(), CATALOGUE.len());
        for e in CATALOGUE {
            let plain = e.dimension == Dimension::Number && e.unit.is_empty();
            assert!(plain || find_unit(e.unit, e.dimension).is_some(), "{} in {}", e.id, e.unit);
            for old in e.retired {
                assert!(find(old).is_none(), "{old} is retired and still an id");
                assert_eq!(meant(old), Some(e.id));
            }
        }
    }

    #[test]
    fn limits_come_in_the_unit_of_files() {
        let endurance = find("road.tank_endurance").unwrap();
        assert!((endurance.in_unit(150.0) - 2.5).abs() < 1e-12);
        let trip = find("switch.trip").unwrap();
        assert!((trip.in_unit(186.0) - 186.0).abs() < 1e-12);
    }

    #[test]
    fn members_are_found_by_what_they_begin_with() {
        assert_eq!(find("nozzle.rating.B").map(|e| e.id), Some("nozzle.rating"));
        assert_eq!(find("switch.trip.B").map(|e| e.id), None);
        assert_eq!(find("nozzle.ratings").map(|e| e.id), None);
    }
}
