//! What is judged of a pressure switch: trip, reset, differential, repeatability, chatter. Limits of trip and reset are
//! the set points with their tolerance; a switch that never closed or never opened is judged by how far the pressure went.

use crate::numerics::conformity::Zone;
use crate::reduce::switch_faults::{Condition, condition};
use crate::reduce::switch_points::{Point, SwitchPoints};
use crate::script::rig::SwitchSpec;
use crate::verdict::catalogue::{
    SWITCH_CHATTER, SWITCH_DIFFERENTIAL, SWITCH_REPEATABILITY, SWITCH_RESET, SWITCH_TRIP,
};
use crate::verdict::subject::{Effort, Found, Subject};

/// Everything of a switch, in order.
#[must_use]
pub fn items(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Vec<Subject> {
    let differential = points.differential.as_ref().map_or_else(
        || Subject::new(&SWITCH_DIFFERENTIAL, Found::Nothing("it takes both trip and reset".into())),
        |point| of_point(Subject::new(&SWITCH_DIFFERENTIAL, found(point)), point),
    );
    vec![trip(points, wanted), reset(points, wanted), differential, repeatability(points), chatter(points)]
}

/// The mean trip, with set point and tolerance as limits.
#[must_use]
pub fn trip(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Subject {
    let limits = wanted.map(|w| around(w.set_point_kpa, w));
    let subject = match &points.trip {
        Some(point) => of_point(Subject::new(&SWITCH_TRIP, found(point)), point),
        None => Subject::new(&SWITCH_TRIP, without_trip(points, condition(points))),
    };
    subject.rig(limits)
}

/// The mean reset, with the reset point, where one is given, and tolerance as limits.
#[must_use]
pub fn reset(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Subject {
    let limits = wanted.and_then(|w| Some(around(w.reset_kpa?, w)));
    let subject = match &points.reset {
        Some(point) => of_point(Subject::new(&SWITCH_RESET, found(point)), point),
        None => Subject::new(&SWITCH_RESET, without_reset(points, condition(points))),
    };
    subject.rig(limits)
}

fn around(middle: f64, wanted: &SwitchSpec) -> Zone {
    Zone { lower: Some(middle - wanted.tolerance_kpa), upper: Some(middle + wanted.tolerance_kpa) }
}

fn found(point: &Point) -> Found {
    match (&point.all, &point.random) {
        (Some(all), Some(_)) => Found::from(all),
        _ => Found::Alone(
            point.value_kpa,
            "one cycle tells nothing of scatter: run at least 2, better 12".into(),
        ),
    }
}

/// Adds what U is made of, and what would make it smaller.
fn of_point(mut subject: Subject, point: &Point) -> Subject {
    let (Some(all), Some(random)) = (&point.all, &point.random) else {
        return subject;
    };
    subject.effort = Some(Effort {
        repeats: "cycles".into(),
        done: u32::try_from(point.n).unwrap_or(u32::MAX),
        u_random: random.u,
        u_systematic: point.gauge.u.hypot(point.lag.u).hypot(point.pulsation.u),
        from: "gauge".into(),
    });
    subject.context(format!(
        "U of {:.2} kPa from scatter of {} cycles {:.2}, ramp lag {:.2}, pulsation {:.2}, gauge {:.2}",
        all.u95, point.n, random.u95, point.lag.u95, point.pulsation.u95, point.gauge.u95
    ))
}

fn beyond(points: &SwitchPoints, above: bool, end: f64, why: String) -> Found {
    Found::Beyond { above, end, u95: points.gauge.u95_at(end), why }
}

/// A trip that never came is judged by the pressures that were gone through.
fn without_trip(points: &SwitchPoints, state: Condition) -> Found {
    match state {
        Condition::NeverMade(highest) => {
            beyond(points, true, highest, format!("it never closed, up to {highest:.1} kPa"))
        }
        Condition::NeverBroke(lowest) => {
            beyond(points, false, lowest, format!("it was closed all along, down to {lowest:.1} kPa"))
        }
        _ => Found::Missing("no rise could be used: let the ramps go through the region".into()),
    }
}

fn without_reset(points: &SwitchPoints, state: Condition) -> Found {
    match state {
        Condition::StaysMade(lowest) => {
            beyond(points, false, lowest, format!("it stayed closed, down to {lowest:.1} kPa"))
        }
        Condition::NeverMade(_) => Found::Nothing("it never closed, so it could not open".into()),
        Condition::NeverBroke(_) => Found::Nothing("it never opened".into()),
        _ => Found::Nothing("no fall could be used".into()),
    }
}

/// Standard deviation of single trips, with where single trips fall.
fn repeatability(points: &SwitchPoints) -> Subject {
    let read = points.trip.as_ref().and_then(|point| {
        Some((point, point.scatter?, point.scatter_interval_kpa()?, point.tolerance_kpa()?))
    });
    let Some((point, (sd, dof), (low, high), half)) = read else {
        return Subject::new(&SWITCH_REPEATABILITY, Found::Nothing("it takes at least 2 cycles".into()));
    };
    // The interval is not symmetric: its longer side is stated.
    let found = Found::Value { value: sd, u95: (high - sd).max(sd - low), dof: Some(dof) };
    Subject::new(&SWITCH_REPEATABILITY, found).context(format!(
        "95 % interval {low:.2} to {high:.2} kPa; 95 % of single trips between {:.2} and {:.2} kPa with 95 % \
         confidence, as this gauge reads them (gauge U {:.2} kPa besides)",
        point.value_kpa - half,
        point.value_kpa + half,
        point.gauge.u95
    ))
}

/// Ramps in which the contact did not come to rest. Any is one too many where nobody states another limit.
fn chatter(points: &SwitchPoints) -> Subject {
    let n = points.ramps.iter().filter(|r| r.chatters).count();
    let count = u32::try_from(n).unwrap_or(u32::MAX);
    let subject = Subject::new(&SWITCH_CHATTER, Found::Count(count));
    let all = points.ramps.len();
    if n == 0 {
        return subject.context(format!("of {all} ramps"));
    }
    let none = Zone { lower: None, upper: Some(0.0) };
    subject.customary(none, "none").context(format!("of {all} ramps; the lamp would flicker"))
}
