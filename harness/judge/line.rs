//! What is judged of the line: leak, dead-head, release time, the tank's level switch, solenoid.

use crate::numerics::conformity::Zone;
use crate::reduce::dead_head::DeadHead;
use crate::reduce::decay::{Decay, DecayTime};
use crate::reduce::leak::Leak;
use crate::reduce::level::{Level, NoLevel, remaining_ml};
use crate::reduce::solenoid::Answer;
use crate::uncertainty::{Cause, Term, Uncertain, type_a};
use crate::verdict::catalogue::{
    Entry, LINE_COMPLIANCE, LINE_DEAD_HEAD, LINE_LEAK, SOLENOID_CLOSING_TIME, SOLENOID_OPENING_TIME,
    SWITCH_RELEASE_TIME, TANK_DRAWN_VOLUME, TANK_REMAINING_SPRAY_TIME, TANK_REMAINING_VOLUME,
};
use crate::verdict::item::Verdict;
use crate::verdict::subject::{Found, Subject};

/// A line behind a sound check valve loses at most this part of its pressure in a minute (common practice, no source).
pub const LEAK_PART_PER_MIN: f64 = 0.1;

/// `line.leak`: the leak-down rate. `compliance`: of the line, mL/kPa.
#[must_use]
pub fn leak(leak: &Leak, compliance: Option<&Uncertain>) -> Subject {
    if leak.findings().iter().any(|f| f.id == "line.leak_larger_than_pump") {
        let why = format!("only {:.1} kPa could be shut in", leak.start_kpa);
        return Subject::new(&LINE_LEAK, Found::Failed(why));
    }
    let volume = compliance.map_or_else(String::new, |c| {
        let volume = leak.volume_ml_min(c);
        format!("; {:.4} mL/min, U {:.4}", volume.value, volume.u95)
    });
    let customary = Zone { lower: None, upper: Some(LEAK_PART_PER_MIN * leak.start_kpa) };
    let mut subject = Subject::new(&LINE_LEAK, Found::from(&leak.rate_kpa_min))
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

/// `line.compliance`: how much the line takes in for a pressure, mL/kPa.
#[must_use]
pub fn compliance(found: Option<&Uncertain>) -> Subject {
    let found = found.map_or_else(
        || Found::Nothing("it takes a fall of pressure through a known nozzle".into()),
        Found::from,
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
    Subject::new(&LINE_DEAD_HEAD, Found::from(&row.pressure_kpa))
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
        Some(all) => Found::from(all),
        None => Found::Alone(mean.mean_s, "one stop tells nothing of scatter".into()),
    };
    Subject::new(&SWITCH_RELEASE_TIME, found).context(format!("{} stops", mean.n))
}

/// The volume drawn when the level switch changed, mL, and what remains where the filling is stated, mL.
#[must_use]
pub fn level(
    found: Result<&Level, NoLevel>,
    filled_ml: Option<&Uncertain>,
    density_kg_m3: f64,
) -> Vec<Subject> {
    let level = match found {
        Ok(level) => level,
        Err(why) => return vec![Subject::new(&TANK_DRAWN_VOLUME, Found::Missing(why.to_string()))],
    };
    let drawn = level.drawn_g.times(1000.0 / density_kg_m3);
    let how = if level.at_rest { "weighed at rest" } else { "weighed while it filled" };
    let contact = if level.made { "closed" } else { "opened" };
    let mut items = vec![
        Subject::new(&TANK_DRAWN_VOLUME, Found::from(&drawn))
            .context(format!("the level switch {contact}; {how}")),
    ];
    if let Some(filled) = filled_ml {
        let remaining = remaining_ml(level, filled, density_kg_m3);
        items.push(Subject::new(&TANK_REMAINING_VOLUME, Found::from(&remaining)));
    }
    items
}

/// `tank.remaining_spray_time`: what the rest of the tank gives at a flow, min.
#[must_use]
pub fn remaining_spray_time(found: Option<&Uncertain>, at: &str) -> Subject {
    let found =
        found.map_or_else(|| Found::Nothing("it takes the remaining volume and a flow".into()), Found::from);
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
        match type_a(Cause::Readings, &times) {
            Some(mean) => {
                let mut terms = mean.terms;
                terms.push(Term::limits(Cause::SamplingStep, half));
                let words =
                    format!("{} changes; holds the line's own answer, so an upper bound", times.len());
                Subject::new(entry, Found::from(&Uncertain::new(mean.value, terms))).context(words)
            }
            None => Subject::new(
                entry,
                Found::Nothing("it takes at least two changes that the line answers".into()),
            ),
        }
    };
    vec![of(true, &SOLENOID_OPENING_TIME), of(false, &SOLENOID_CLOSING_TIME)]
}
