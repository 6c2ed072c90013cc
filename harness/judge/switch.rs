//! Verdicts on a pressure switch: trip, reset, differential, repeatability.
//!
//! In: [`SwitchPoints`], and set point, tolerance and reset point where they are known. Out: [`Item`]s under the one
//! decision rule; a switch that never made or never broke is judged by how far the pressure went. Never: a value for a
//! switch that has none, or a verdict from one cycle.

use crate::numerics::conformity::Zone;
use crate::reduce::expand::expand;
use crate::reduce::switch_faults::{Condition, chatters, condition};
use crate::reduce::switch_points::{Point, SwitchPoints};
use crate::script::rig::SwitchSpec;
use crate::verdict::decide::{Effort, Subject, judge};
use crate::verdict::item::{Item, Verdict};

/// The items of a switch, in order: trip, reset, differential, repeatability, and the contact where it fails.
#[must_use]
pub fn items(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Vec<Item> {
    let differential =
        item("switch.differential", "trip less reset", points.differential.as_ref(), Zone::default());
    let mut items = vec![
        trip(points, wanted),
        reset(points, wanted),
        differential.unwrap_or_else(|empty| skipped(*empty, "it takes both trip and reset")),
        repeatability(points),
    ];
    if chatters(points) {
        items.push(chatter(points));
    }
    items
}

/// The mean trip against set point and tolerance.
#[must_use]
pub fn trip(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Item {
    let limits = wanted.map_or(Zone::default(), |w| around(w.set_point_kpa, w));
    let quantity = "mean pressure where the switch makes, rising";
    item("switch.trip", quantity, points.trip.as_ref(), limits)
        .unwrap_or_else(|empty| without_trip(*empty, points, condition(points)))
}

/// The mean reset against the reset point, where one is given, and tolerance.
#[must_use]
pub fn reset(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Item {
    let limits = wanted.and_then(|w| Some(around(w.reset_kpa?, w))).unwrap_or_default();
    let quantity = "mean pressure where the switch breaks, falling";
    item("switch.reset", quantity, points.reset.as_ref(), limits)
        .unwrap_or_else(|empty| without_reset(*empty, points, condition(points)))
}

fn around(middle: f64, wanted: &SwitchSpec) -> Zone {
    Zone { lower: Some(middle - wanted.tolerance_kpa), upper: Some(middle + wanted.tolerance_kpa) }
}

/// The item of a point; an item without a value where there is none.
fn item(id: &str, quantity: &str, point: Option<&Point>, limits: Zone) -> Result<Item, Box<Item>> {
    let mut subject = Subject {
        id: id.into(),
        quantity: quantity.into(),
        unit: "kPa".into(),
        result: None,
        dof: None,
        limits,
        effort: None,
    };
    let Some(point) = point else {
        return Err(Box::new(judge(&subject)));
    };
    let (Some(all), Some(random)) = (point.all, point.random) else {
        return Ok(Item {
            value: Some(point.value_kpa),
            verdict: Verdict::Undecided,
            note: "one cycle tells nothing of scatter: run at least 2, better 12".into(),
            ..judge(&subject)
        });
    };
    subject.result = Some((point.value_kpa, all.u95));
    subject.dof = all.dof_written();
    subject.effort = Some(Effort {
        repeats: "cycles".into(),
        done: u32::try_from(point.n).unwrap_or(u32::MAX),
        u_random: random.u,
        u_systematic: point.gauge.u.hypot(point.lag.u).hypot(point.pulsation.u),
        from: "gauge".into(),
    });
    let mut item = judge(&subject);
    let parts = format!(
        "U of {:.2} kPa from scatter of {} cycles {:.2}, ramp lag {:.2}, pulsation {:.2}, gauge {:.2}",
        all.u95, point.n, random.u95, point.lag.u95, point.pulsation.u95, point.gauge.u95
    );
    item.note = format!("{}; {parts}", item.note);
    Ok(item)
}

fn skipped(empty: Item, note: &str) -> Item {
    Item { verdict: Verdict::Skipped, note: note.into(), ..empty }
}

/// A trip that never came is judged by the pressures that were gone through.
fn without_trip(empty: Item, points: &SwitchPoints, state: Condition) -> Item {
    let u = |p: f64| expand(&points.gauge.at(p)).u95;
    let (outside, note) = match state {
        Condition::NeverMade(highest) => (
            empty.upper.map(|limit| highest - u(highest) >= limit),
            format!("it never made, up to {highest:.1} kPa"),
        ),
        Condition::NeverBroke(lowest) => (
            empty.lower.map(|limit| lowest + u(lowest) <= limit),
            format!("it was made all along, down to {lowest:.1} kPa"),
        ),
        _ => (None, "no rise could be used".to_owned()),
    };
    let verdict = if outside == Some(true) { Verdict::Fail } else { Verdict::Error };
    let note = match outside {
        Some(true) => format!("{note}: outside the limits by more than the gauge's U"),
        _ => format!("{note}: that tells nothing on a limit; let the ramps go through the region"),
    };
    Item { verdict, note, ..empty }
}

fn without_reset(empty: Item, points: &SwitchPoints, state: Condition) -> Item {
    if let Condition::StaysMade(lowest) = state {
        let u = expand(&points.gauge.at(lowest)).u95;
        let below = empty.lower.is_some_and(|limit| lowest + u <= limit);
        let verdict = if below { Verdict::Fail } else { Verdict::Error };
        let note = format!("it stayed made, down to {lowest:.1} kPa");
        return Item { verdict, note, ..empty };
    }
    let why = match state {
        Condition::NeverMade(_) => "it never made, so it could not break",
        Condition::NeverBroke(_) => "it never broke",
        _ => "no fall could be used",
    };
    skipped(empty, why)
}

/// Standard deviation of single trips, with where single trips fall.
fn repeatability(points: &SwitchPoints) -> Item {
    let subject = Subject {
        id: "switch.repeatability".into(),
        quantity: "standard deviation of single trips".into(),
        unit: "kPa".into(),
        result: None,
        dof: None,
        limits: Zone::default(),
        effort: None,
    };
    let empty = judge(&subject);
    let point = points.trip.as_ref();
    let Some((point, (sd, dof))) = point.and_then(|p| Some((p, p.scatter?))) else {
        return skipped(empty, "it takes at least 2 cycles");
    };
    let (Some((low, high)), Some(half)) = (point.scatter_interval_kpa(), point.tolerance_kpa()) else {
        return skipped(empty, "it takes at least 2 cycles");
    };
    let note = format!(
        "95 % interval {low:.2} to {high:.2} kPa; 95 % of single trips between {:.2} and {:.2} kPa with 95 % \
         confidence, as this gauge reads them (gauge U {:.2} kPa besides)",
        point.value_kpa - half,
        point.value_kpa + half,
        point.gauge.u95
    );
    Item {
        value: Some(sd),
        // The interval is not symmetric: its longer side is stated.
        u95: Some((high - sd).max(sd - low)),
        dof: Some(dof),
        verdict: Verdict::Skipped,
        note,
        ..empty
    }
}

fn chatter(points: &SwitchPoints) -> Item {
    let n = points.ramps.iter().filter(|r| r.chatters).count();
    Item {
        id: "switch.contact".into(),
        quantity: "ramps in which the contact did not come to rest".into(),
        value: Some(n as f64),
        unit: String::new(),
        u95: None,
        dof: None,
        lower: None,
        upper: Some(0.0),
        verdict: Verdict::Fail,
        note: format!("of {} ramps; the lamp would flicker", points.ramps.len()),
    }
}
