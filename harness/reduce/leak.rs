//! Pressure shut in behind the closed outlet: how fast it falls.
//!
//! In: a span of kind `leak`, what is known of the gauge. Out: [`Leak`]: the rate of fall with U, and the volume it
//! stands for where the line's compliance is known. The rate is the slope of a line through the readings under
//! correlated noise; where the fall bends (hose that settles, air that dissolves), of the second half alone. The
//! gauge's zero cancels in a slope, its gain does not. Never: a leak called none because it was not looked for long
//! enough: U says how small a leak could be seen.

use super::finding::Finding;
use super::gauge::Gauge;
use super::noise::{Trend, trend};
use super::spans::Span;
use crate::script::role::Role;
use crate::uncertainty::{Cause, Term, Uncertain};

/// Kind of the spans.
pub const KIND: &str = "leak";
/// A curvature this many standard uncertainties from zero bends the fall.
const BENDS_K: f64 = 4.0;
/// Readings that a slope takes at most; more are averaged in groups.
const READINGS_MOST: usize = 2000;
/// The line counts as empty below this part of the pressure at the start.
const EMPTY_PART: f64 = 0.1;
/// A pressure at the start below which nothing was shut in, kPa.
const NOTHING_KPA: f64 = 20.0;

/// A leak-down.
#[derive(Clone, Debug, PartialEq)]
pub struct Leak {
    /// Pressure at the start, gauge kPa.
    pub start_kpa: f64,
    /// Pressure at the end, gauge kPa.
    pub end_kpa: f64,
    /// Time watched, s.
    pub watched_s: f64,
    /// Rate of fall at [`Leak::at_kpa`], kPa/min; negative where it rises.
    pub rate_kpa_min: Uncertain,
    /// Mean pressure the rate holds at, kPa.
    pub at_kpa: f64,
    /// Whether the fall bends, so that the second half alone was taken.
    pub bends: bool,
    /// After how long the line was empty, s; none where it was not.
    pub empty_after_s: Option<f64>,
}

/// Reads a leak-down; none without enough readings.
#[must_use]
pub fn read(span: &Span, gauge: &Gauge) -> Option<Leak> {
    let trace = span.traces.get(&Role::LinePressure)?;
    let (times, values) = thinned(&trace.times_s, &trace.values);
    let (start_kpa, end_kpa) = (*values.first()?, *values.last()?);
    let (start_s, end_s) = (*times.first()?, *times.last()?);
    let empty = values.iter().position(|p| *p < EMPTY_PART * start_kpa);
    // What comes after the line is empty says nothing of the leak.
    let until = empty.unwrap_or(values.len()).max(4).min(values.len());
    let (times, values) = (&times[..until], &values[..until]);
    let bent = trend(times, values, 3).is_some_and(|t| t.coefficients[2].abs() > BENDS_K * t.u[2]);
    let bends = bent && empty.is_none();
    let from = if bends { values.len() / 2 } else { 0 };
    let line = trend(&times[from..], &values[from..], 2)?;
    Some(Leak {
        start_kpa,
        end_kpa,
        watched_s: end_s - start_s,
        rate_kpa_min: rate(&line, gauge),
        at_kpa: line.coefficients[0],
        bends,
        empty_after_s: empty.map(|_| emptied(&trace.times_s, &trace.values, start_kpa) - start_s),
    })
}

/// When the readings first fell below the empty part, s.
fn emptied(times: &[f64], values: &[f64], start_kpa: f64) -> f64 {
    let at = values.iter().position(|p| *p < EMPTY_PART * start_kpa);
    at.map_or(f64::NAN, |i| times[i])
}

fn rate(line: &Trend, gauge: &Gauge) -> Uncertain {
    let falls = -60.0 * line.coefficients[1];
    let mut terms = vec![Term::observed(Cause::Readings, 60.0 * line.u[1], line.dof)];
    terms.extend(gauge.of_difference(falls));
    Uncertain::new(falls, terms)
}

/// Readings averaged in groups, so that there are at most [`READINGS_MOST`].
fn thinned(times: &[f64], values: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let group = times.len().div_ceil(READINGS_MOST).max(1);
    let means = |v: &[f64]| v.chunks_exact(group).map(|c| c.iter().sum::<f64>() / group as f64).collect();
    (means(times), means(values))
}

impl Leak {
    /// Volume that leaves the line, mL/min, from its compliance, mL/kPa.
    #[must_use]
    pub fn volume_ml_min(&self, compliance: &Uncertain) -> Uncertain {
        let volume = self.rate_kpa_min.times(compliance.value);
        let mut terms = volume.terms;
        terms.push(compliance.term(Cause::Compliance, self.rate_kpa_min.value));
        Uncertain::new(volume.value, terms)
    }

    /// What is to be said about it.
    #[must_use]
    pub fn findings(&self) -> Vec<Finding> {
        let mut found = Vec::new();
        if self.start_kpa < NOTHING_KPA {
            found.push(
                Finding::new(
                    "line.leak_larger_than_pump",
                    format!("only {:.1} kPa were shut in", self.start_kpa),
                    "a leak that takes all the pump delivers, an outlet that did not close, or a pump that did not run",
                )
                .with("pressure at the start", self.start_kpa, "kPa"),
            );
        } else if let Some(after_s) = self.empty_after_s {
            found.push(
                Finding::new(
                    "line.leaks_empty",
                    format!("the line was empty {after_s:.1} s after the outlet closed"),
                    "check valve stuck open or dirty, a loose fitting, or an outlet that does not close",
                )
                .with("time to empty", after_s, "s"),
            );
        }
        if self.bends {
            found.push(Finding::new(
                "line.settles",
                "the fall of pressure slows down; the second half of the time was taken",
                "hose that settles, or air in the line that dissolves: bleed the line, and watch for longer",
            ));
        }
        let rate = &self.rate_kpa_min;
        if -rate.value >= rate.u95 && rate.u95 > 0.0 {
            found.push(Finding::new(
                "line.pressure_rises",
                format!("the pressure shut in rises by {:.2} kPa/min", -rate.value),
                "the water warms, the gauge drifts, or the pump still turns",
            ));
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::{Seed, normal};
    use crate::reduce::spans::Trace;

    fn span(pressure: impl Fn(f64) -> f64, noise: f64) -> Span {
        let (mut line, mut stream) = (Trace::default(), Seed(4).stream("leak"));
        for i in 0..6000 {
            let t = 0.02 * f64::from(i);
            line.add(t, pressure(t) + normal(&mut stream, 0.0, noise));
        }
        Span {
            kind: KIND.into(),
            values: [].into(),
            step: 1,
            start_s: 0.0,
            end_s: 120.0,
            whole: true,
            traces: [(Role::LinePressure, line)].into(),
        }
    }

    #[test]
    fn a_leak_of_known_size_is_found_within_its_u() {
        // 800 kPa that fall by 12 kPa/min; compliance 5 uL/kPa: 0.06 mL/min.
        let leak = read(&span(|t| 800.0 - 0.2 * t, 1.0), &Gauge::assumed()).unwrap();
        assert!((leak.rate_kpa_min.value - 12.0).abs() < leak.rate_kpa_min.u95, "{leak:?}");
        assert!(leak.rate_kpa_min.u95 < 0.2 && !leak.bends && leak.empty_after_s.is_none());
        let compliance = Uncertain::new(0.005, vec![Term::known(Cause::Compliance, 0.0005)]);
        let volume = leak.volume_ml_min(&compliance);
        assert!((volume.value - 0.06).abs() < volume.u95 && (0.005..0.008).contains(&volume.u), "{volume:?}");
        assert!(leak.findings().is_empty());
        let tight = read(&span(|_| 800.0, 1.0), &Gauge::assumed()).unwrap();
        assert!(tight.rate_kpa_min.value.abs() < tight.rate_kpa_min.u95);
    }

    #[test]
    fn settling_is_not_taken_for_a_leak() {
        let settles =
            read(&span(|t| 800.0 + 30.0 * (-t / 20.0).exp() - 0.05 * t, 0.5), &Gauge::assumed()).unwrap();
        assert!(settles.bends, "{settles:?}");
        // By hand: at 60 to 120 s the exponential still adds 60 * 30 (e^-3 - e^-6) / 60 = 1.4 kPa/min to 3 kPa/min.
        assert!((settles.rate_kpa_min.value - 4.4).abs() < 0.4, "{settles:?}");
    }

    #[test]
    fn gross_leaks_are_named() {
        let ids = |leak: &Leak| leak.findings().iter().map(|f| f.id).collect::<Vec<_>>();
        let empty = read(&span(|t| 800.0 * (-t / 5.0).exp(), 0.5), &Gauge::assumed()).unwrap();
        assert!((empty.empty_after_s.unwrap() - 11.5).abs() < 0.3, "{empty:?}");
        assert_eq!(ids(&empty), ["line.leaks_empty"]);
        let none = read(&span(|_| 3.0, 0.5), &Gauge::assumed()).unwrap();
        assert_eq!(ids(&none), ["line.leak_larger_than_pump"]);
        let rises = read(&span(|t| 800.0 + 0.1 * t, 0.5), &Gauge::assumed()).unwrap();
        assert_eq!(ids(&rises), ["line.pressure_rises"]);
    }
}
