//! The check of scale and clock: a known weight and a known interval.
//!
//! In: spans where the pan was empty or carried the weight; when the operator answered at a reference clock. Out: the
//! gain errors found, with their uncertainty, which then stand in the place of what the rig states. Never: a scale
//! corrected in silence: the error found is told and stays in the budget.

use super::collection::{Systematic, Systematics};
use super::finding::Finding;
use super::instruments::Instruments;
use super::noise::trend;
use super::spans::Span;
use crate::quantity::{self, Dimension};
use crate::script::role::Role;
use crate::uncertainty::{Bound, Cause, Term, Uncertain, type_a};

/// Kind of a span with something, or nothing, on the pan: `nominal=500 g`.
pub const WEIGH: &str = "weigh";
/// Kind of a span over a known interval: `nominal=600 s`.
pub const INTERVAL: &str = "interval";
/// Tolerance of a check weight of class M1, relative (OIML R 111-1: 500 g within 25 mg; from memory), limits.
const WEIGHT_LIMITS: f64 = 5e-5;
/// Answers by hand at a reference clock, limits, s.
const ANSWER_S: f64 = 0.3;

/// What a check found: relative errors, how much too much is shown.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Check {
    /// The scale.
    pub scale: Option<Uncertain>,
    /// The clock of the program against the reference: how much too fast it runs.
    pub clock: Option<Uncertain>,
}

/// A weighing: nominal mass, and the mean shown, g.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighing {
    /// What lies on the pan, g.
    pub nominal_g: f64,
    /// What is shown, g.
    pub shown_g: f64,
}

/// A weighing from its span, over its second half.
#[must_use]
pub fn weighing(span: &Span) -> Option<Weighing> {
    let nominal_g = quantity::parse(span.values.get("nominal")?, Dimension::Mass).ok()?;
    let trace = span.traces.get(&Role::CupMass).filter(|_| span.whole)?;
    let (times, values) = trace.from(0.5 * (span.start_s + span.end_s));
    let shown_g = match values {
        // Read once, by a person.
        [shown_g] => *shown_g,
        _ => trend(times, values, 1)?.coefficients[0],
    };
    Some(Weighing { nominal_g, shown_g })
}

/// The gain of the scale: each weighing of the weight against the empty pan before and after it.
#[must_use]
pub fn scale(weighings: &[Weighing], known: &Instruments) -> Option<Uncertain> {
    let gains: Vec<f64> = weighings
        .windows(3)
        .filter(|w| w[1].nominal_g > 0.0 && w[0].nominal_g <= 0.0 && w[2].nominal_g <= 0.0)
        .map(|w| (w[1].shown_g - 0.5 * (w[0].shown_g + w[2].shown_g)) / w[1].nominal_g - 1.0)
        .collect();
    let weight_g = weighings.iter().map(|w| w.nominal_g).fold(0.0, f64::max);
    let error = (!gains.is_empty()).then(|| gains.iter().sum::<f64>() / gains.len() as f64)?;
    let mut terms = type_a(Cause::Readings, &gains).map_or_else(Vec::new, |a| a.terms);
    // Two roundings in every difference, the same ones in every repeat where the scale does not move.
    let step = Term::limits(Cause::Resolution, 0.5 * known.scale.step / weight_g);
    terms.extend([step.clone(), step, Term::limits(Cause::CheckWeight, WEIGHT_LIMITS)]);
    terms.retain(|t| t.u != 0.0);
    Some(Uncertain::new(error, terms))
}

/// The rate of our clock: seconds between two answers by our clock, and by the reference.
#[must_use]
pub fn clock(ours_s: f64, reference_s: f64) -> Option<Uncertain> {
    (ours_s > 0.0 && reference_s > 0.0).then(|| {
        // At either end.
        let answer = Term::limits(Cause::Timing, ANSWER_S / reference_s);
        Uncertain::new(ours_s / reference_s - 1.0, vec![answer.clone(), answer])
    })
}

impl Check {
    /// Puts what was found in the place of what the rig states. An error is not corrected, so it widens its term.
    pub fn apply(&self, systematics: &mut Systematics) {
        for (cause, gain) in [(Cause::ScaleGain, &self.scale), (Cause::ClockGain, &self.clock)] {
            if let Some(g) = gain {
                let from = "checked against a known weight or interval";
                let bound = Bound::Standard(g.u.hypot(g.value), g.dof);
                systematics.replace(Systematic { cause, bound, from });
            }
        }
    }

    /// What was found, in words.
    #[must_use]
    pub fn findings(&self) -> Vec<Finding> {
        let told = |id, what: &str, g: &Uncertain, where_to: &str| {
            let found = format!("{what} {:+.3} % too much", 100.0 * g.value);
            let beyond = g.value.abs() > g.u95;
            let cause = if beyond {
                format!("adjust it, or state {:.3} % {where_to}", 100.0 * (g.value.abs() + g.u95))
            } else {
                format!(
                    "no error beyond the uncertainty of the check: {:.3} % may be stated {where_to}",
                    100.0 * g.u95
                )
            };
            Finding::new(id, found, cause).with("error", 100.0 * g.value, "%").with(
                "standard uncertainty",
                100.0 * g.u,
                "%",
            )
        };
        let scale = self
            .scale
            .as_ref()
            .map(|g| told("scale.gain_error", "the scale shows", g, "as the gain of cup_mass in the rig"));
        let clock = self
            .clock
            .as_ref()
            .map(|g| told("clock.rate_error", "the clock counts", g, "as method.clock_gain in the rig"));
        scale.into_iter().chain(clock).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gains_are_found() {
        let known = Instruments {
            scale: super::super::instruments::Instrument { step: 0.1, ..Instruments::assumed().scale },
            ..Instruments::assumed()
        };
        let shown = [0.0, 500.6, 0.1, 500.7, 0.1, 500.7, 0.2];
        let weighings: Vec<Weighing> = shown
            .iter()
            .enumerate()
            .map(|(i, s)| Weighing { nominal_g: if i % 2 == 1 { 500.0 } else { 0.0 }, shown_g: *s })
            .collect();
        let gain = scale(&weighings, &known).unwrap();
        // By hand: (500.55, 500.60, 500.55) / 500 - 1 = 0.00113; sd of the mean 0.0333 g / sqrt(3) / 500.
        assert!((gain.value - 0.001_133).abs() < 1e-6, "{gain:?}");
        let by_hand = (0.028_868_f64 / 3.0_f64.sqrt() / 500.0)
            .hypot(0.1 / 6.0_f64.sqrt() / 500.0)
            .hypot(5e-5 / 3.0_f64.sqrt());
        assert!((gain.u / by_hand - 1.0).abs() < 1e-3, "{gain:?} {by_hand}");
        assert_eq!(scale(&weighings[..2], &known), None);
        let rate = clock(600.3, 600.0).unwrap();
        assert!((rate.value - 5e-4).abs() < 1e-12 && (4e-4..4.2e-4).contains(&rate.u), "{rate:?}");
        assert_eq!(clock(600.0, 0.0), None);
        let mut systematics = Systematics::default();
        Check { scale: Some(gain.clone()), clock: Some(rate) }.apply(&mut systematics);
        assert!((systematics.u(&Cause::ScaleGain) - gain.u.hypot(gain.value)).abs() < 1e-15);
        assert!(Check { scale: Some(gain), clock: None }.findings()[0].what.contains("+0.113 % too much"));
    }
}
