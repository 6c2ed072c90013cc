//! The one decision rule: a value with its expanded uncertainty against limits.
//!
//! The guard band is U; limits and guard limits belong to the zone they close. The note says on which side of the limit
//! the value lies, and what would decide it.

use super::item::{Item, Verdict};
use super::subject::{Found, Subject};
use crate::numerics::conformity::Zone;
use crate::numerics::distribution::coverage;
use crate::quantity::rounded;

/// The note where nothing is judged.
const NO_LIMIT: &str = "no limit given";
/// Share of the numbers compared within which they count as equal: rounding of decimals.
const EQUAL: f64 = 1e-12;
/// Most repeats that a note asks for; beyond, the gauge is the problem.
const REPEATS_MOST: f64 = 10_000.0;
/// Distance from the limit, in parts of U, below which a note promises nothing.
const HOPELESS: f64 = 0.05;

/// Judges what was found against the limits that a scenario states and those it brings along.
#[must_use]
pub fn judge(subject: &Subject, stated: Zone) -> Item {
    let (limits, whence) = subject.limits(stated);
    let free = limits == Zone::default();
    let (verdict, said) = match &subject.found {
        Found::Value { .. } | Found::Count(_) if free => (Verdict::Skipped, NO_LIMIT.to_owned()),
        Found::Value { value, u95, .. } => {
            let verdict = decide(*value, *u95, &limits);
            (verdict, note(subject, &limits, *value, Some(*u95), verdict))
        }
        Found::Count(n) => {
            let verdict = decide(f64::from(*n), 0.0, &limits);
            (verdict, note(subject, &limits, f64::from(*n), None, verdict))
        }
        Found::Alone(_, why) => (if free { Verdict::Skipped } else { Verdict::Undecided }, why.clone()),
        Found::Beyond { above, end, u95, why } => beyond(*above, *end, *u95, &limits, why),
        Found::Failed(why) => (Verdict::Fail, why.clone()),
        Found::Open(why) => (Verdict::Undecided, why.clone()),
        Found::Nothing(why) if free => (Verdict::Skipped, why.clone()),
        Found::Nothing(why) => (Verdict::Undecided, format!("no value to hold against the limit: {why}")),
        Found::Missing(why) => (Verdict::Error, why.clone()),
    };
    let (value, u95, dof) = match subject.found {
        Found::Value { value, u95, dof } => (Some(value), Some(u95), dof),
        Found::Count(n) => (Some(f64::from(n)), None, None),
        Found::Alone(value, _) => (Some(value), None, None),
        _ => (None, None, None),
    };
    let lead = subject.lead.map_or("", |lead| lead(verdict));
    let said = if lead.is_empty() { said } else { format!("{lead}: {said}") };
    let parts = [said, subject.context.clone(), whence.unwrap_or_default()];
    Item {
        id: subject.id.clone(),
        quantity: subject.quantity.clone(),
        value,
        unit: subject.entry.unit.to_owned(),
        u95,
        dof,
        lower: limits.lower,
        upper: limits.upper,
        verdict,
        note: parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join("; "),
    }
}

/// A value known only to lie beyond the range gone through.
fn beyond(above: bool, end: f64, u95: f64, limits: &Zone, why: &str) -> (Verdict, String) {
    let at_least_above = |limit: Option<f64>| limit.is_some_and(|l| end - u95 >= l);
    let at_least_below = |limit: Option<f64>| limit.is_some_and(|l| end + u95 <= l);
    let (out, inside) = if above {
        (at_least_above(limits.upper), limits.upper.is_none() && at_least_above(limits.lower))
    } else {
        (at_least_below(limits.lower), limits.lower.is_none() && at_least_below(limits.upper))
    };
    if out {
        (Verdict::Fail, format!("{why}: outside the limits by more than the gauge's U"))
    } else if inside {
        (Verdict::Pass, format!("{why}: inside the limit by more than the gauge's U"))
    } else {
        (Verdict::Error, format!("{why}: that tells nothing on a limit; let the ramps go through the region"))
    }
}

/// Pass inside the limits by at least the guard band, fail outside by at least the guard band, undecided between. A
/// value or guard band that is not a number is undecided.
#[must_use]
pub fn decide(value: f64, guard: f64, limits: &Zone) -> Verdict {
    if !(value.is_finite() && guard.is_finite()) {
        return Verdict::Undecided;
    }
    let acceptance = limits.narrowed(guard);
    if not_below(Some(value), acceptance.lower) && not_below(acceptance.upper, Some(value)) {
        return Verdict::Pass;
    }
    let outside = limits.narrowed(-guard);
    let below = outside.lower.is_some() && not_below(outside.lower, Some(value));
    let above = outside.upper.is_some() && not_below(Some(value), outside.upper);
    if below || above { Verdict::Fail } else { Verdict::Undecided }
}

/// Whether `a` is at least `b`, up to rounding; true where either is open.
fn not_below(a: Option<f64>, b: Option<f64>) -> bool {
    let (Some(a), Some(b)) = (a, b) else { return true };
    a >= b - EQUAL * a.abs().max(b.abs())
}

/// The limit closest to the value, with its name and how far inside it the value lies (negative outside).
fn nearest(value: f64, limits: &Zone) -> Option<(&'static str, f64, f64)> {
    let lower = limits.lower.map(|l| ("lower", l, value - l));
    let upper = limits.upper.map(|u| ("upper", u, u - value));
    match (lower, upper) {
        (Some(l), Some(u)) => Some(if l.2 < u.2 { l } else { u }),
        (one, other) => one.or(other),
    }
}

fn note(subject: &Subject, limits: &Zone, value: f64, u95: Option<f64>, verdict: Verdict) -> String {
    let Some((name, limit, margin)) = nearest(value, limits) else {
        return String::new();
    };
    let unit = subject.entry.unit;
    let side = if (margin >= 0.0) == (name == "lower") { "above" } else { "below" };
    let limit = quantity(limit, unit);
    let place = if margin == 0.0 {
        format!("{} is on the {name} limit", quantity(value, unit))
    } else {
        let by = quantity(margin.abs(), unit);
        format!("{} is {by} {side} the {name} limit ({limit})", quantity(value, unit))
    };
    let Some(u95) = u95 else { return place };
    match verdict {
        Verdict::Pass | Verdict::Fail => format!("{place}, U = {}", quantity(u95, unit)),
        _ if !(value.is_finite() && u95.is_finite()) => {
            "the value or its uncertainty is not a number: repeat the measurement".to_owned()
        }
        _ => format!(
            "{place}, less than U = {}; {}",
            quantity(u95, unit),
            remedy(subject, limits, u95, margin)
        ),
    }
}

/// What would decide it.
fn remedy(subject: &Subject, limits: &Zone, u95: f64, margin: f64) -> String {
    let unit = subject.entry.unit;
    if margin.abs() <= HOPELESS * u95 {
        return "so close to it that more measuring is not likely to decide".to_owned();
    }
    if let (Some(low), Some(high)) = (limits.lower, limits.upper)
        && margin >= 0.0
        && high - low < 2.0 * u95
    {
        let half = quantity(0.5 * (high - low), unit);
        let most = quantity(margin, unit);
        return format!(
            "U leaves no room to pass between the limits (half their distance is {half}); it would take U of \
             at most {most}{}",
            effort(subject, margin)
        );
    }
    let most = quantity(margin.abs(), unit);
    format!("it would take U of at most {most}{}", effort(subject, margin.abs()))
}

/// How many repeats would bring U down to `wanted`, or that no number would.
fn effort(subject: &Subject, wanted: f64) -> String {
    let Some(e) = &subject.effort else {
        return String::new();
    };
    // At the number of repeats sought, the random part has one degree of freedom less than that.
    let u95_at = |n: f64| {
        let random = e.u_random * (f64::from(e.done) / n).sqrt();
        let variance = random * random + e.u_systematic * e.u_systematic;
        let dof = if random > 0.0 { (n - 1.0) * variance * variance / random.powi(4) } else { f64::INFINITY };
        coverage(0.95, dof) * variance.sqrt()
    };
    if u95_at(REPEATS_MOST) > wanted {
        return format!(": no number of {} would do, a better {} would", e.repeats, e.from);
    }
    let (mut low, mut high) = (f64::from(e.done.max(2)), REPEATS_MOST);
    while high - low > 0.5 {
        let middle = 0.5 * (low + high);
        if u95_at(middle) > wanted { low = middle } else { high = middle }
    }
    format!(": about {} {} in place of {}, or a better {}", high.ceil(), e.repeats, e.done, e.from)
}

/// A number as it is read in a sentence: three significant digits.
#[must_use]
pub fn short(value: f64) -> String {
    rounded(value, 3)
}

/// The same with its unit, where it has one.
#[must_use]
pub fn quantity(value: f64, unit: &str) -> String {
    if unit.is_empty() { short(value) } else { format!("{} {unit}", short(value)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verdict::catalogue;
    use crate::verdict::subject::Effort;

    fn judged(value: f64, u95: f64, limits: Zone) -> Item {
        let mut subject = Subject::new(&catalogue::SWITCH_TRIP, Found::Value { value, u95, dof: None });
        subject.effort = Some(Effort {
            repeats: "cycles".into(),
            done: 5,
            u_random: 2.0,
            u_systematic: 1.0,
            from: "gauge".into(),
        });
        judge(&subject, limits)
    }

    #[test]
    fn notes_say_the_side_and_what_would_decide() {
        let limits = Zone { lower: Some(186.0), upper: Some(227.0) };
        let near = Zone { lower: Some(204.0), upper: Some(210.1) };
        let free = Zone::default();
        let cases = [
            (207.0, 5.0, limits),
            (223.0, 5.0, limits),
            (228.0, 5.0, limits),
            (207.0, 5.0, near),
            (227.1, 5.0, limits),
            (225.9, 5.0, limits),
            (180.0, 5.0, limits),
            (1.0, 1.0, free),
        ];
        let notes: Vec<String> = cases.map(|(value, u, zone)| judged(value, u, zone).note).into();
        insta::assert_snapshot!(notes.join("\n"), @"
        207 kPa is 20 kPa below the upper limit (227 kPa), U = 5 kPa
        223 kPa is 4 kPa below the upper limit (227 kPa), less than U = 5 kPa; it would take U of at most 4 kPa: about 9 cycles in place of 5, or a better gauge
        228 kPa is 1 kPa above the upper limit (227 kPa), less than U = 5 kPa; it would take U of at most 1 kPa: no number of cycles would do, a better gauge would
        207 kPa is 3 kPa above the lower limit (204 kPa), less than U = 5 kPa; U leaves no room to pass between the limits (half their distance is 3.05 kPa); it would take U of at most 3 kPa: about 17 cycles in place of 5, or a better gauge
        227 kPa is 0.1 kPa above the upper limit (227 kPa), less than U = 5 kPa; so close to it that more measuring is not likely to decide
        226 kPa is 1.1 kPa below the upper limit (227 kPa), less than U = 5 kPa; it would take U of at most 1.1 kPa: no number of cycles would do, a better gauge would
        180 kPa is 6 kPa below the lower limit (186 kPa), U = 5 kPa
        no limit given
        ");
    }

    #[test]
    fn what_is_not_a_number_is_undecided_and_what_is_missing_is_an_error() {
        let limits = Zone { lower: Some(1.0), upper: Some(2.0) };
        assert_eq!(decide(f64::NAN, 0.1, &limits), Verdict::Undecided);
        assert_eq!(decide(1.5, f64::NAN, &limits), Verdict::Undecided);
        assert_eq!(decide(1.5, f64::INFINITY, &limits), Verdict::Undecided);
        let of =
            |found: Found, stated: Zone| judge(&Subject::new(&catalogue::SWITCH_TRIP, found), stated).verdict;
        assert_eq!(of(Found::Missing(String::new()), limits), Verdict::Error);
        assert_eq!(of(Found::Nothing(String::new()), Zone::default()), Verdict::Skipped);
        assert_eq!(of(Found::Nothing(String::new()), limits), Verdict::Undecided);
        assert_eq!(of(Found::Alone(1.5, String::new()), limits), Verdict::Undecided);
    }

    #[test]
    fn where_rig_and_scenario_state_limits_the_tighter_holds_and_the_note_says_so() {
        let found = Found::Value { value: 205.0, u95: 1.0, dof: None };
        let rig = Zone { lower: Some(186.0), upper: Some(227.0) };
        let subject = Subject::new(&catalogue::SWITCH_TRIP, found).rig(Some(rig));
        assert_eq!(judge(&subject, Zone::default()).verdict, Verdict::Pass);
        let item = judge(&subject, Zone { lower: None, upper: Some(200.0) });
        assert_eq!((item.verdict, item.lower, item.upper), (Verdict::Fail, Some(186.0), Some(200.0)));
        insta::assert_snapshot!(item.note, @"205 kPa is 5 kPa above the upper limit (200 kPa), U = 1 kPa; limits of the rig (186 to 227 kPa) and of the scenario (at most 200 kPa): the tighter holds");
        // A wider limit of the scenario loosens nothing.
        let item = judge(&subject, Zone { lower: Some(100.0), upper: Some(300.0) });
        assert_eq!((item.verdict, item.lower, item.upper), (Verdict::Pass, Some(186.0), Some(227.0)));
    }
}
