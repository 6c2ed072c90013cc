//! Trip, reset, differential and repeatability of a switch, from its ramps.
//!
//! In: [`RampResult`]s of any number of ramps, and what is known of the gauge. Out: [`SwitchPoints`]: each mean with
//! its uncertainty in parts that are kept apart (scatter of the cycles with the sampling step; ramp lag; pulsation;
//! gauge) and expanded together, and where single trips fall. The measurand is the mean over cycles. Never: a systematic part
//! that shrinks with the number of cycles, or an uncertainty from one cycle.

use super::gauge::Gauge;
use super::pulsation::{LIMITS_PART, Pulsation, pulsation};
use super::ramp_lag::{Lag, lag};
use super::switch_ramps::{Crossing, RampResult, Way};
use crate::numerics::coverage::tolerance_two_sided;
use crate::numerics::distribution::chi2_quantile;
use crate::uncertainty::value::combined;
use crate::uncertainty::{Cause, Origin, Shape, Term, Uncertain};

/// Proportion of single trips that the tolerance interval holds, and confidence in that.
pub const TOLERANCE: (f64, f64) = (0.95, 0.95);

/// A mean pressure with its uncertainty. Gauge kPa.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Mean, lag taken out, kPa.
    pub value_kpa: f64,
    /// Cycles in it.
    pub n: usize,
    /// Standard deviation of single cycles, kPa, with its degrees of freedom; none from one cycle.
    pub scatter: Option<(f64, f64)>,
    /// Half a sampling step as a rectangle, standard uncertainty, kPa.
    pub step_u_kpa: f64,
    /// Random part: scatter of the mean and sampling step; none from one cycle.
    pub random: Option<Uncertain>,
    /// Ramp lag.
    pub lag: Uncertain,
    /// Pulsation of the pump.
    pub pulsation: Uncertain,
    /// Gauge.
    pub gauge: Uncertain,
    /// All of it; none from one cycle.
    pub all: Option<Uncertain>,
}

impl Point {
    /// Factor times standard deviation: half the width of the interval about the mean that holds 95 % of single
    /// trips with 95 % confidence, as this gauge reads them, kPa; none from one cycle.
    #[must_use]
    pub fn tolerance_kpa(&self) -> Option<f64> {
        let (sd, _) = self.scatter?;
        let k = tolerance_two_sided(self.n, TOLERANCE.0, TOLERANCE.1).ok()?;
        Some(k * sd)
    }

    /// Interval of 95 % of the standard deviation of single trips, kPa (chi-squared).
    #[must_use]
    pub fn scatter_interval_kpa(&self) -> Option<(f64, f64)> {
        let (sd, dof) = self.scatter?;
        let limit = |p: f64| sd * (dof / chi2_quantile(p, dof)).sqrt();
        Some((limit(0.975), limit(0.025)))
    }
}

/// Everything a set of ramps says about a switch.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchPoints {
    /// Ramps in order.
    pub ramps: Vec<RampResult>,
    /// What is known of the gauge.
    pub gauge: Gauge,
    /// Lag between gauge and switch.
    pub lag: Lag,
    /// Pulsation of the pump.
    pub pulsation: Pulsation,
    /// Where it makes rising.
    pub trip: Option<Point>,
    /// Where it breaks falling.
    pub reset: Option<Point>,
    /// Trip less reset; none unless both are there.
    pub differential: Option<Point>,
}

impl SwitchPoints {
    /// From ramps.
    #[must_use]
    pub fn new(ramps: Vec<RampResult>, gauge: Gauge) -> Self {
        let trips = used(&ramps, Way::Rising);
        let resets = used(&ramps, Way::Falling);
        let lag = lag(&trips, &resets);
        let edges: Vec<&Crossing> = trips.iter().chain(&resets).copied().collect();
        let pulsation = pulsation(&edges, gauge.noise_kpa);
        let common = Common { lag, amplitude_kpa: pulsation.amplitude_kpa, gauge: &gauge };
        let share = data_share(&trips, &resets);
        let trip = point(&trips, &common, share.0, 1.0);
        let reset = point(&resets, &common, share.1, -1.0);
        let differential = trip.as_ref().zip(reset.as_ref());
        let differential = differential.map(|(t, r)| difference(t, r, (&trips, &resets), &common));
        SwitchPoints { lag, pulsation, trip, reset, differential, gauge, ramps }
    }

    /// Lowest and highest pressure of all ramps, kPa.
    #[must_use]
    pub fn range_kpa(&self) -> Option<(f64, f64)> {
        let ranges = self.ramps.iter().filter_map(|r| r.range_kpa);
        ranges.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
    }
}

/// The crossings of ramps that go one way and take part in means.
#[must_use]
pub fn used(ramps: &[RampResult], way: Way) -> Vec<&Crossing> {
    let going = ramps.iter().filter(|r| r.way == Some(way));
    going.filter_map(RampResult::used).collect()
}

/// Mean of a value over crossings.
fn mean(crossings: &[&Crossing], value: impl Fn(&Crossing) -> f64) -> f64 {
    crossings.iter().map(|c| value(c)).sum::<f64>() / crossings.len() as f64
}

fn rate_squares(crossings: &[&Crossing]) -> f64 {
    let rate = mean(crossings, |c| c.rate_kpa_s);
    crossings.iter().map(|c| (c.rate_kpa_s - rate).powi(2)).sum()
}

/// How the degree of freedom that finding the lag costs is shared between trips and resets.
fn data_share(trips: &[&Crossing], resets: &[&Crossing]) -> (f64, f64) {
    let (t, r) = (rate_squares(trips), rate_squares(resets));
    let part = |x: f64| {
        if x > 0.0 { x / (t.max(0.0) + r.max(0.0)) } else { 0.0 }
    };
    (part(t), part(r))
}

/// What all points have in common.
struct Common<'a> {
    lag: Lag,
    amplitude_kpa: f64,
    gauge: &'a Gauge,
}

/// What makes a point uncertain besides scatter.
struct Besides {
    step_u_kpa: f64,
    lag: Term,
    pulsation: Term,
    gauge: Vec<Term>,
}

/// Scatter and mean of crossings of one direction; none without any. `peaks`: 1 where peaks of the pulsation reach the
/// point before the mean does, -1 where troughs do.
fn point(crossings: &[&Crossing], common: &Common<'_>, share: f64, peaks: f64) -> Option<Point> {
    if crossings.is_empty() {
        return None;
    }
    let (n, lag) = (crossings.len(), &common.lag);
    let corrected = |c: &Crossing| c.pressure_kpa - lag.value_s * c.rate_kpa_s + peaks * common.amplitude_kpa;
    let value_kpa = mean(crossings, corrected);
    let squares: f64 = crossings.iter().map(|c| (corrected(c) - value_kpa).powi(2)).sum();
    let dof = n as f64 - 1.0 - lag.from_data * share;
    let scatter = (n > 1 && dof > 0.0).then(|| ((squares / dof).sqrt(), dof));
    let besides = Besides {
        step_u_kpa: 0.5 * mean(crossings, |c| c.step_kpa) / 3f64.sqrt(),
        lag: lag_term(lag, mean(crossings, |c| c.rate_kpa_s)),
        pulsation: Term::limits(Cause::Pulsation, LIMITS_PART * common.amplitude_kpa),
        gauge: common.gauge.at(value_kpa),
    };
    Some(assemble(value_kpa, n, scatter, &besides))
}

/// What a lag leaves open at a rate; one that is only bounded is a rectangle.
fn lag_term(lag: &Lag, rate_kpa_s: f64) -> Term {
    let shape = if lag.from_data < 0.5 { Shape::Rectangle } else { Shape::of_dof(lag.dof) };
    Term { of_cause: Some(lag.u_s), shape, ..Term::known(Cause::Lag, (lag.u_s * rate_kpa_s).abs()) }
}

fn assemble(value_kpa: f64, n: usize, scatter: Option<(f64, f64)>, besides: &Besides) -> Point {
    let random = scatter.map(|(sd, dof)| {
        let scatter = Term::observed(Cause::Readings, sd / (n as f64).sqrt(), dof);
        let step = Term { origin: Origin::Random, ..Term::known(Cause::SamplingStep, besides.step_u_kpa) };
        vec![scatter, step]
    });
    let all = random.clone().map(|mut terms| {
        terms.extend([besides.lag.clone(), besides.pulsation.clone()]);
        terms.extend(besides.gauge.iter().cloned());
        Uncertain::new(value_kpa, terms)
    });
    let part = |terms: Vec<Term>| Uncertain::new(value_kpa, terms);
    Point {
        value_kpa,
        n,
        scatter,
        step_u_kpa: besides.step_u_kpa,
        random: random.map(part),
        lag: part(vec![besides.lag.clone()]),
        pulsation: part(vec![besides.pulsation.clone()]),
        gauge: part(besides.gauge.clone()),
        all,
    }
}

/// Trip less reset. Scatter adds, the gauge's zero cancels, lag and pulsation count twice.
fn difference(
    trip: &Point,
    reset: &Point,
    crossings: (&[&Crossing], &[&Crossing]),
    common: &Common<'_>,
) -> Point {
    let value_kpa = trip.value_kpa - reset.value_kpa;
    let n = trip.n.min(reset.n);
    let apart = mean(crossings.0, |c| c.rate_kpa_s) - mean(crossings.1, |c| c.rate_kpa_s);
    let of_mean = |p: &Point| p.scatter.map(|(sd, dof)| (sd / (p.n as f64).sqrt(), dof));
    let scatter = of_mean(trip).zip(of_mean(reset)).map(|(t, r)| {
        let (u, dof) = combined([t, r].into_iter());
        (u * (n as f64).sqrt(), if dof.is_finite() { dof } else { (n - 1) as f64 })
    });
    let besides = Besides {
        step_u_kpa: trip.step_u_kpa.hypot(reset.step_u_kpa),
        lag: lag_term(&common.lag, apart),
        pulsation: Term::limits(Cause::Pulsation, 2.0 * LIMITS_PART * common.amplitude_kpa),
        gauge: common.gauge.of_difference(value_kpa),
    };
    assemble(value_kpa, n, scatter, &besides)
}
