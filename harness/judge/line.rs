//! What is judged of the line: leak, dead-head, release time, the tank's level switch, solenoid.

use crate::numerics::conformity::Zone;
use crate::reduce::dead_head::DeadHead;
use crate::reduce::decay::{Decay, DecayTime};
use crate::reduce::expand::{Expanded, Part, expand};
use crate::reduce::leak::Leak;
use crate::reduce::level::{Level, NoLevel, remaining_ml};
use crate::reduce::solenoid::Answer;
use crate::verdict::catalogue::{
    Entry, LINE_COMPLIANCE, LINE_DEAD_HEAD, LINE_LEAK, SOLENOID_CLOSING_TIME, SOLENOID_OPENING_TIME,
    SWITCH_RELEASE_TIME, TANK_DRAWN_VOLUME, TANK_REMAINING_SPRAY_TIME, TANK_REMAINING_VOLUME,
};
use crate::verdict::item::Verdict;
use crate::verdict::subject::{Found, Subject};

/// A line behind a sound check valve loses at most this part of its pressure in a minute (common practice, no source).
pub const LEAK_PART_PER_MIN: f64 = 0.1;

/// A value with what its uncertainty came to.
pub(super) fn value(value: f64, all: &Expanded) -> Found {
    Found::Value { value, u95: all.u95, dof: all.dof_written() }
}

/// A value with a standard uncertainty that is known well.
fn known(of: f64, u: f64) -> Found {
    value(of, &expand(&[Part::observed(u, f64::INFINITY)]))
}

/// `line.leak`: the leak-down rate. `compliance`: of the line, mL/kPa and its standard uncertainty.
#[must_use]
pub fn leak(leak: &Leak, compliance: Option<(f64, f64)>) -> Subject {
    if leak.findings().iter().any(|f| f.id == "line.leak_larger_than_pump") {
        let why = format!("only {:.1} kPa could be shut in", leak.start_kpa);
        return Subject::new(&LINE_LEAK, Found::Failed(why));
    }
    let volume = compliance.map_or_else(String::new, |c| {
        let (ml_min, u) = leak.volume_ml_min(c);
        format!("; {ml_min:.4} mL/min with a standard uncertainty of {u:.4}")
    });
    let customary = Zone { lower: None, upper: Some(LEAK_PART_PER_MIN * leak.start_kpa) };
    let mut subject = Subject::new(&LINE_LEAK, value(leak.rate_kpa_min, &leak.rate))
        .customary(customary, "a tenth of the pressure a minute, common practice")
        .context(format!(
            "at {:.0} kPa, from {:.0} to {:.0} kPa in {:.0} s{volume}",
            leak.at_kpa, leak.start_kpa, leak.end_kpa, leak.watched_s
        ));
    subject.lead = Some(|verdict| match verdict {
        Verdict::Pass => "check valve and fittings hold",
        Verdict::Fail => "check valve or fittings leak",
        _ => "watch for longer",
    });
    subject
}

/// `line.compliance`: how much the line takes in for a pressure; mL/kPa and its standard uncertainty.
#[must_use]
pub fn compliance(found: Option<(f64, f64)>) -> Subject {
    let found = found.map_or_else(
        || Found::Nothing("it takes a fall of pressure through a known nozzle".into()),
        |(value, u)| known(value, u),
    );
    Subject::new(&LINE_COMPLIANCE, found)
}

/// `line.dead_head`: the highest pressure against the closed outlet.
#[must_use]
pub fn dead_head(found: &DeadHead) -> Subject {
    let Some(row) = found.highest() else {
        return Subject::new(&LINE_DEAD_HEAD, Found::Missing("no pressure was read".into()));
    };
    let supply = row.supply_v.map_or_else(String::new, |v| format!(" and {v:.2} V"));
    let whole = if found.full() { "" } else { "; the pump was not fully driven, so it may make more" };
    Subject::new(&LINE_DEAD_HEAD, value(row.pressure_kpa, &row.all))
        .context(format!("at {:.1} % duty{supply}{whole}", row.duty_pct))
}

/// `switch.release_time`: time from pump stop to the contact opening.
#[must_use]
pub fn release_time(decays: &[Decay], mean: Option<&DecayTime>) -> Subject {
    let Some(mean) = mean else {
        let why = decays.iter().find_map(|d| d.void.clone());
        let why = why.unwrap_or_else(|| "there was no stop of the pump to read".into());
        return Subject::new(&SWITCH_RELEASE_TIME, Found::Nothing(why));
    };
    let found = match &mean.all {
        Some(all) => value(mean.mean_s, all),
        None => Found::Alone(mean.mean_s, "one stop tells nothing of scatter".into()),
    };
    Subject::new(&SWITCH_RELEASE_TIME, found).context(format!("{} stops", mean.n))
}

/// The volume drawn when the level switch changed, mL, and what remains where the filling (mL, standard uncertainty) is
/// stated.
#[must_use]
pub fn level(
    found: Result<&Level, NoLevel>,
    filled_ml: Option<(f64, f64)>,
    density_kg_m3: f64,
) -> Vec<Subject> {
    let level = match found {
        Ok(level) => level,
        Err(why) => return vec![Subject::new(&TANK_DRAWN_VOLUME, Found::Missing(why.to_string()))],
    };
    let per_g = 1000.0 / density_kg_m3;
    let drawn = Expanded { u: level.drawn.u * per_g, dof: level.drawn.dof, u95: level.drawn.u95 * per_g };
    let how = if level.at_rest { "weighed at rest" } else { "weighed while it filled" };
    let contact = if level.made { "closed" } else { "opened" };
    let mut items = vec![
        Subject::new(&TANK_DRAWN_VOLUME, value(level.drawn_g * per_g, &drawn))
            .context(format!("the level switch {contact}; {how}")),
    ];
    if let Some(filled) = filled_ml {
        let (value, u) = remaining_ml(level, filled, density_kg_m3);
        items.push(Subject::new(&TANK_REMAINING_VOLUME, known(value, u)));
    }
    items
}

/// `tank.remaining_spray_time`: what the rest of the tank gives at a flow, min (value and standard uncertainty).
#[must_use]
pub fn remaining_spray_time(found: Option<(f64, f64)>, at: &str) -> Subject {
    let found = found.map_or_else(
        || Found::Nothing("it takes the remaining volume and a flow".into()),
        |(value, u)| known(value, u),
    );
    Subject::new(&TANK_REMAINING_SPRAY_TIME, found)
        .words(format!("remaining spray time at {at} when the level switch changes"))
}

/// Mean times until the line answers the solenoid.
#[must_use]
pub fn solenoid(answers: &[Answer]) -> Vec<Subject> {
    let of = |opened: bool, entry: &'static Entry| {
        let own: Vec<&Answer> = answers.iter().filter(|a| a.opened == opened).collect();
        let times: Vec<f64> = own.iter().map(|a| a.delay_s).collect();
        let half = own.iter().map(|a| a.half_step_s).fold(0.0, f64::max);
        match crate::numerics::gum::type_a(&times) {
            Ok(a) => {
                let mean = a.of_mean();
                let all = expand(&[Part::observed(mean.u, mean.dof), Part::limits(half)]);
                Subject::new(entry, value(a.mean, &all))
                    .context(format!("{} changes; holds the line's own answer, so an upper bound", a.n))
            }
            Err(_) => Subject::new(
                entry,
                Found::Nothing("it takes at least two changes that the line answers".into()),
            ),
        }
    };
    vec![of(true, &SOLENOID_OPENING_TIME), of(false, &SOLENOID_CLOSING_TIME)]
}
