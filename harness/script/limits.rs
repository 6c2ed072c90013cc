//! Limits of a run: the narrower of rig and scenario, one by one.
//!
//! In: a rig's limits and what a scenario asks for. Out: the effective limits; what the scenario tries to raise.
//! Never: a limit wider than the rig's.

use super::rig::Limits;
use super::yaml::Mark;

/// A limit a scenario asks for.
#[derive(Clone, Debug)]
pub struct AskedLimit {
    /// Internal unit.
    pub value: f64,
    /// Where it stands.
    pub mark: Mark,
    /// As it was written.
    pub text: String,
}

/// A range a scenario asks for: values, place, text.
pub type AskedRange = ((f64, f64), Mark, String);

/// What a scenario asks for; none where it leaves a limit to the rig.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// Highest line pressure, gauge kPa.
    pub line_pressure_kpa: Option<AskedLimit>,
    /// Heaviest cup, g.
    pub cup_mass_g: Option<AskedLimit>,
    /// Supply, V.
    pub supply_v: Option<AskedRange>,
    /// Longest time with the pump on, s.
    pub on_time_s: Option<AskedLimit>,
    /// Duty, %.
    pub duty_pct: Option<AskedRange>,
}

/// The effective limits: the smaller of two upper limits, the larger of two lower ones.
#[must_use]
pub fn effective(rig: &Limits, asked: &Asked) -> Limits {
    let upper = |rig: f64, asked: &Option<AskedLimit>| asked.as_ref().map_or(rig, |a| rig.min(a.value));
    let range = |rig: (f64, f64), asked: &Option<AskedRange>| {
        asked.as_ref().map_or(rig, |((low, high), _, _)| (rig.0.max(*low), rig.1.min(*high)))
    };
    Limits {
        line_pressure_kpa: upper(rig.line_pressure_kpa, &asked.line_pressure_kpa),
        cup_mass_g: upper(rig.cup_mass_g, &asked.cup_mass_g),
        supply_v: range(rig.supply_v, &asked.supply_v),
        on_time_s: upper(rig.on_time_s, &asked.on_time_s),
        duty_pct: range(rig.duty_pct, &asked.duty_pct),
    }
}

/// A limit that a scenario tries to raise.
#[derive(Clone, Debug)]
pub struct Raised {
    /// Its name in both files.
    pub name: &'static str,
    /// Where the scenario says so.
    pub mark: Mark,
    /// What it says.
    pub text: String,
}

/// Every limit that a scenario tries to raise above the rig's.
#[must_use]
pub fn raised(rig: &Limits, asked: &Asked) -> Vec<Raised> {
    let upper = |name, rig: f64, asked: &Option<AskedLimit>| {
        asked.as_ref().filter(|a| a.value > rig).map(|a| Raised { name, mark: a.mark, text: a.text.clone() })
    };
    let range = |name, rig: (f64, f64), asked: &Option<AskedRange>| {
        let wider = asked.as_ref().filter(|((low, high), _, _)| *low < rig.0 || *high > rig.1);
        wider.map(|(_, mark, text)| Raised { name, mark: *mark, text: text.clone() })
    };
    [
        upper("line_pressure", rig.line_pressure_kpa, &asked.line_pressure_kpa),
        upper("cup_mass", rig.cup_mass_g, &asked.cup_mass_g),
        range("supply", rig.supply_v, &asked.supply_v),
        upper("on_time", rig.on_time_s, &asked.on_time_s),
        range("duty", rig.duty_pct, &asked.duty_pct),
    ]
    .into_iter()
    .flatten()
    .collect()
}
