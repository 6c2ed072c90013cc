//! The one decision rule: a value with its expanded uncertainty against limits.
//!
//! In: value, U at 95 %, limits, and what the uncertainty is made of. Out: pass, fail or undecided, with a note that
//! says on which side of the limit the value lies and what would decide it. The guard band is U; limits and guard limits
//! belong to the zone they close. Never: another rule for another quantity, or a pass where U leaves no room for one.

use super::item::{Item, Verdict};
use crate::numerics::conformity::Zone;
use crate::numerics::gum::k95;

/// Share of the numbers compared within which they count as equal: rounding of decimals.
const EQUAL: f64 = 1e-12;
/// Most repeats that a note asks for; beyond, the gauge is the problem.
const REPEATS_MOST: f64 = 10_000.0;
/// Distance from the limit, in parts of U, below which a note promises nothing.
const HOPELESS: f64 = 0.05;

/// What was measured, and what would make its uncertainty smaller.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// Stable id: `nozzle.rating`, `switch.trip`, ...
    pub id: String,
    /// In words.
    pub quantity: String,
    /// Unit of value, U and limits.
    pub unit: String,
    /// Value and U at 95 %; none where there is no value.
    pub result: Option<(f64, f64)>,
    /// Effective degrees of freedom; none for infinite.
    pub dof: Option<f64>,
    /// Limits.
    pub limits: Zone,
    /// How more measuring would help.
    pub effort: Option<Effort>,
}

/// What a standard uncertainty is made of, so that a note can say what would help.
#[derive(Clone, Debug, PartialEq)]
pub struct Effort {
    /// What can be repeated, in words and in the plural: `cycles`, `collections`.
    pub repeats: String,
    /// How many there were.
    pub done: u32,
    /// Standard uncertainty that falls with the square root of their number.
    pub u_random: f64,
    /// Standard uncertainty that does not.
    pub u_systematic: f64,
    /// What the systematic part comes from, in words: `gauge`, `scale`.
    pub from: String,
}

/// Judges a subject.
#[must_use]
pub fn judge(subject: &Subject) -> Item {
    let (verdict, note) = match subject.result {
        None => (Verdict::Error, "no value: see the events of the run".to_owned()),
        Some(_) if subject.limits == Zone::default() => {
            (Verdict::Skipped, "nothing to judge it by".to_owned())
        }
        Some((value, u95)) => {
            let verdict = decide(value, u95, &subject.limits);
            (verdict, note(subject, value, u95, verdict))
        }
    };
    Item {
        id: subject.id.clone(),
        quantity: subject.quantity.clone(),
        value: subject.result.map(|r| r.0),
        unit: subject.unit.clone(),
        u95: subject.result.map(|r| r.1),
        dof: subject.dof,
        lower: subject.limits.lower,
        upper: subject.limits.upper,
        verdict,
        note,
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

fn note(subject: &Subject, value: f64, u95: f64, verdict: Verdict) -> String {
    let Some((name, limit, margin)) = nearest(value, &subject.limits) else {
        return String::new();
    };
    let unit = &subject.unit;
    let side = if margin >= 0.0 { "inside" } else { "outside" };
    let place =
        format!("{side} the {name} limit of {} {unit} by {} {unit}", short(limit), short(margin.abs()));
    match verdict {
        Verdict::Pass | Verdict::Fail => format!("{place}, U = {} {unit}", short(u95)),
        _ if !(value.is_finite() && u95.is_finite()) => {
            "the value or its uncertainty is not a number: repeat the measurement".to_owned()
        }
        _ => format!("{place}, less than U = {} {unit}; {}", short(u95), remedy(subject, u95, margin)),
    }
}

/// What would decide it.
fn remedy(subject: &Subject, u95: f64, margin: f64) -> String {
    let unit = &subject.unit;
    if margin.abs() <= HOPELESS * u95 {
        return "so close to it that more measuring is not likely to decide".to_owned();
    }
    if let (Some(low), Some(high)) = (subject.limits.lower, subject.limits.upper)
        && margin >= 0.0
        && high - low < 2.0 * u95
    {
        let half = short(0.5 * (high - low));
        let most = short(margin);
        return format!(
            "U leaves no room to pass between the limits (half their distance is {half} {unit}); it would take U of \
             at most {most} {unit}{}",
            effort(subject, margin)
        );
    }
    format!("it would take U of at most {} {unit}{}", short(margin.abs()), effort(subject, margin.abs()))
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
        k95(dof) * variance.sqrt()
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
pub fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let magnitude = value.abs().log10().floor();
    let decimals = (2.0 - magnitude).clamp(0.0, 12.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn subject(value: f64, u95: f64, limits: Zone) -> Subject {
        Subject {
            id: "switch.trip".into(),
            quantity: "mean trip pressure".into(),
            unit: "kPa".into(),
            result: Some((value, u95)),
            dof: None,
            limits,
            effort: Some(Effort {
                repeats: "cycles".into(),
                done: 5,
                u_random: 2.0,
                u_systematic: 1.0,
                from: "gauge".into(),
            }),
        }
    }

    #[test]
    fn notes_say_the_side_and_what_would_decide() {
        let limits = Zone { lower: Some(186.0), upper: Some(227.0) };
        let tight = judge(&subject(207.0, 5.0, Zone { lower: Some(204.0), upper: Some(210.1) })).note;
        let note_of = |value: f64, u: f64| judge(&subject(value, u, limits)).note;
        insta::assert_snapshot!(note_of(207.0, 5.0), @"inside the upper limit of 227 kPa by 20 kPa, U = 5 kPa");
        insta::assert_snapshot!(note_of(223.0, 5.0), @"inside the upper limit of 227 kPa by 4 kPa, less than U = 5 kPa; it would take U of at most 4 kPa: about 9 cycles in place of 5, or a better gauge");
        insta::assert_snapshot!(note_of(228.0, 5.0), @"outside the upper limit of 227 kPa by 1 kPa, less than U = 5 kPa; it would take U of at most 1 kPa: no number of cycles would do, a better gauge would");
        insta::assert_snapshot!(tight, @"inside the lower limit of 204 kPa by 3 kPa, less than U = 5 kPa; U leaves no room to pass between the limits (half their distance is 3.05 kPa); it would take U of at most 3 kPa: about 17 cycles in place of 5, or a better gauge");
        insta::assert_snapshot!(note_of(227.1, 5.0), @"outside the upper limit of 227 kPa by 0.1 kPa, less than U = 5 kPa; so close to it that more measuring is not likely to decide");
        insta::assert_snapshot!(note_of(225.9, 5.0), @"inside the upper limit of 227 kPa by 1.1 kPa, less than U = 5 kPa; it would take U of at most 1.1 kPa: no number of cycles would do, a better gauge would");
        insta::assert_snapshot!(note_of(180.0, 5.0), @"outside the lower limit of 186 kPa by 6 kPa, U = 5 kPa");
        let open = Zone { lower: None, upper: None };
        insta::assert_snapshot!(judge(&subject(1.0, 1.0, open)).note, @"nothing to judge it by");
    }

    #[test]
    fn what_is_not_a_number_is_undecided_and_what_is_missing_is_an_error() {
        let limits = Zone { lower: Some(1.0), upper: Some(2.0) };
        assert_eq!(decide(f64::NAN, 0.1, &limits), Verdict::Undecided);
        assert_eq!(decide(1.5, f64::NAN, &limits), Verdict::Undecided);
        assert_eq!(decide(1.5, f64::INFINITY, &limits), Verdict::Undecided);
        let mut missing = subject(1.0, 1.0, limits);
        missing.result = None;
        assert_eq!(judge(&missing).verdict, Verdict::Error);
    }
}
