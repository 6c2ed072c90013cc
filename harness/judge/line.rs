//! Verdicts on the line: leak, dead-head, time to dark, level of the tank, solenoid.
//!
//! In: what [`crate::reduce`] read from a run, and limits where a scenario states them. Out: items. Never: a limit
//! passed off as the scenario's; the customary one for a leak says that it is.

use crate::numerics::conformity::Zone;
use crate::reduce::dead_head::DeadHead;
use crate::reduce::decay::{Decay, DecayTime};
use crate::reduce::expand::{Expanded, Part, expand};
use crate::reduce::leak::Leak;
use crate::reduce::level::{Level, NoLevel, remaining_ml};
use crate::reduce::solenoid::Answer;
use crate::verdict::decide::{Subject, judge};
use crate::verdict::item::{Item, Verdict};

/// A line behind a sound check valve loses at most this part of its pressure in a minute (common practice, no source).
pub const LEAK_PART_PER_MIN: f64 = 0.1;

fn subject(id: &str, quantity: &str, unit: &str, result: Option<(f64, Expanded)>, limits: Zone) -> Subject {
    Subject {
        id: id.into(),
        quantity: quantity.into(),
        unit: unit.into(),
        result: result.map(|(value, u)| (value, u.u95)),
        dof: result.and_then(|(_, u)| u.dof_written()),
        limits,
        effort: None,
    }
}

/// An item without a value that was not to be judged.
fn skipped(id: &str, quantity: &str, unit: &str, note: &str) -> Item {
    Item {
        verdict: Verdict::Skipped,
        note: note.into(),
        ..judge(&subject(id, quantity, unit, None, Zone::default()))
    }
}

/// An item without a value because the bench failed.
#[must_use]
pub fn failed(id: &str, why: &str) -> Item {
    Item { note: why.into(), ..judge(&subject(id, "not measured", "", None, Zone::default())) }
}

/// `line.leak`: the fall of the pressure shut in. `compliance`: of the line, mL/kPa and its standard uncertainty.
#[must_use]
pub fn leak(leak: &Leak, stated: Option<Zone>, compliance: Option<(f64, f64)>) -> Item {
    let customary = Zone { lower: None, upper: Some(LEAK_PART_PER_MIN * leak.start_kpa) };
    let quantity = "fall of the pressure shut in behind the closed outlet";
    let result = Some((leak.rate_kpa_min, leak.rate));
    let mut item = judge(&subject("line.leak", quantity, "kPa/min", result, stated.unwrap_or(customary)));
    if leak.findings().iter().any(|f| f.id == "line.leak_larger_than_pump") {
        item.verdict = Verdict::Fail;
        item.note = format!("only {:.1} kPa could be shut in", leak.start_kpa);
        return item;
    }
    let volume = compliance.map_or_else(String::new, |c| {
        let (ml_min, u) = leak.volume_ml_min(c);
        format!("; {ml_min:.4} mL/min with a standard uncertainty of {u:.4}")
    });
    let customary =
        if stated.is_none() { "; limit: a tenth of the pressure a minute, common practice" } else { "" };
    let valve = match item.verdict {
        Verdict::Pass => "check valve and fittings hold",
        Verdict::Fail => "check valve or fittings leak",
        _ => "watch for longer",
    };
    item.note = format!(
        "{valve}: {}; at {:.0} kPa, from {:.0} to {:.0} kPa in {:.0} s{volume}{customary}",
        item.note, leak.at_kpa, leak.start_kpa, leak.end_kpa, leak.watched_s
    );
    item
}

/// `line.compliance`: how much the line takes in for a pressure; mL/kPa and its standard uncertainty.
#[must_use]
pub fn compliance(found: Option<(f64, f64)>) -> Item {
    let quantity = "compliance of the line";
    let Some((value, u)) = found else {
        return skipped(
            "line.compliance",
            quantity,
            "mL/kPa",
            "it takes a fall of pressure through a known nozzle",
        );
    };
    let result = Some((value, expand(&[Part::observed(u, f64::INFINITY)])));
    judge(&subject("line.compliance", quantity, "mL/kPa", result, Zone::default()))
}

/// `line.dead_head`: the highest pressure against the closed outlet.
#[must_use]
pub fn dead_head(found: &DeadHead, stated: Option<Zone>) -> Item {
    let quantity = "highest pressure against the closed outlet";
    let Some(row) = found.highest() else {
        return judge(&subject("line.dead_head", quantity, "kPa", None, stated.unwrap_or_default()));
    };
    let result = Some((row.pressure_kpa, row.all));
    let mut item = judge(&subject("line.dead_head", quantity, "kPa", result, stated.unwrap_or_default()));
    let supply = row.supply_v.map_or_else(String::new, |v| format!(" and {v:.2} V"));
    let whole = if found.full() { "" } else { "; the pump was not fully driven, so it may make more" };
    item.note = format!("{}; at {:.1} % duty{supply}{whole}", item.note, row.duty_pct);
    item
}

/// `switch.dark_after`: time from pump off to the switch breaking.
#[must_use]
pub fn dark_after(decays: &[Decay], mean: Option<&DecayTime>, stated: Option<Zone>) -> Item {
    let (id, quantity, unit) = ("switch.dark_after", "time from pump off until the switch breaks", "s");
    let Some(mean) = mean else {
        let why = decays.iter().find_map(|d| d.void.clone());
        return skipped(
            id,
            quantity,
            unit,
            &why.unwrap_or_else(|| "there was no stop of the pump to read".into()),
        );
    };
    let Some(all) = mean.all else {
        return Item {
            value: Some(mean.mean_s),
            ..skipped(id, quantity, unit, "one stop tells nothing of scatter")
        };
    };
    let mut item = judge(&subject(id, quantity, unit, Some((mean.mean_s, all)), stated.unwrap_or_default()));
    item.note = format!("{}; {} stops", item.note, mean.n);
    item
}

/// `tank.level`: the volume drawn when the level switch changed, mL; with what remains where the filling (mL, standard
/// uncertainty) is stated.
#[must_use]
pub fn level(
    found: Result<&Level, NoLevel>,
    filled_ml: Option<(f64, f64)>,
    density_kg_m3: f64,
    stated: Option<Zone>,
) -> Vec<Item> {
    let (id, quantity) = ("tank.drawn", "volume drawn when the level switch changed");
    let level = match found {
        Ok(level) => level,
        Err(why) => {
            return vec![Item {
                verdict: Verdict::Error,
                note: why.to_string(),
                ..judge(&subject(id, quantity, "mL", None, Zone::default()))
            }];
        }
    };
    let per_g = 1000.0 / density_kg_m3;
    let drawn = Expanded { u: level.drawn.u * per_g, dof: level.drawn.dof, u95: level.drawn.u95 * per_g };
    let mut first =
        judge(&subject(id, quantity, "mL", Some((level.drawn_g * per_g, drawn)), Zone::default()));
    let how = if level.at_rest { "weighed at rest" } else { "weighed while it filled" };
    first.note = format!("the switch {}; {how}", if level.made { "made" } else { "broke" });
    let mut items = vec![first];
    if let Some(filled) = filled_ml {
        let (value, u) = remaining_ml(level, filled, density_kg_m3);
        let result = Some((value, expand(&[Part::observed(u, f64::INFINITY)])));
        let quantity = "volume that remains when the level switch changes";
        items.push(judge(&subject("tank.level", quantity, "mL", result, stated.unwrap_or_default())));
    }
    items
}

/// `tank.minutes`: minutes of spray that the rest of the tank gives at a flow (value and standard uncertainty).
#[must_use]
pub fn minutes(found: Option<(f64, f64)>, at: &str) -> Item {
    let quantity = format!("spray left at {at} when the level switch changes");
    let Some((value, u)) = found else {
        return skipped("tank.minutes", &quantity, "min", "it takes the remaining volume and a flow");
    };
    let result = Some((value, expand(&[Part::observed(u, f64::INFINITY)])));
    judge(&subject("tank.minutes", &quantity, "min", result, Zone::default()))
}

/// `solenoid.opens` and `solenoid.closes`: mean times until the line answers.
#[must_use]
pub fn solenoid(answers: &[Answer]) -> Vec<Item> {
    let of = |opened: bool, id: &str, quantity: &str| {
        let own: Vec<&Answer> = answers.iter().filter(|a| a.opened == opened).collect();
        let times: Vec<f64> = own.iter().map(|a| a.delay_s).collect();
        let half = own.iter().map(|a| a.half_step_s).fold(0.0, f64::max);
        match crate::numerics::gum::type_a(&times) {
            Ok(a) => {
                let mean = a.of_mean();
                let all = expand(&[Part::observed(mean.u, mean.dof), Part::limits(half)]);
                let mut item = judge(&subject(id, quantity, "s", Some((a.mean, all)), Zone::default()));
                item.note = format!("{} changes; holds the line's own answer, so an upper bound", a.n);
                item
            }
            Err(_) => skipped(id, quantity, "s", "it takes at least two changes that the line answers"),
        }
    };
    vec![
        of(true, "solenoid.opens", "time from command until the line answers, opening"),
        of(false, "solenoid.closes", "time from command until the line answers, closing"),
    ]
}
