//! How fast a controller answers: from a step of its input to half the step of its output.
//!
//! In: spans marked `response` and `loop_back`. Out: response times with the latency of the generator taken out, and
//! their percentiles with U. The output passes half its step between two readings, and the middle of the two counts:
//! steps come at random phase against sampling, so the middle is right in the mean whatever the output does between
//! (a straight line is not), and a single time is known to the bracket. Never: a response where the output did not step.

use super::controller::{Response, Way};
use super::controller_run::Bench;
use super::spans::{Span, Trace};
use crate::numerics::distribution::normal_quantile;
use crate::script::role::Role;

/// A step smaller than this part of the largest step of its output is none.
const STEP_LEAST: f64 = 0.05;
/// The last part of a span that counts as settled.
const SETTLED: f64 = 0.2;
/// Latency allowed for where none was measured, s.
const LATENCY_MOST_S: f64 = 0.02;

/// A crossing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Crossing {
    /// When, s.
    pub(super) time_s: f64,
    /// Between the reading before and the reading after, s.
    pub(super) bracket_s: f64,
    /// The step, in units of the output.
    pub(super) step: f64,
}

/// From the moment a set point is written to the moment it is put out.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Latency {
    /// Mean, s.
    pub(super) mean_s: f64,
    /// Standard uncertainty, s.
    pub(super) u_s: f64,
    /// What to know about it.
    pub(super) note: Option<String>,
}

impl Latency {
    /// Out of the loop-back spans.
    pub(super) fn of(bench: &Bench<'_>, spans: &[Span]) -> Self {
        let unknown = Latency {
            mean_s: 0.5 * LATENCY_MOST_S,
            u_s: LATENCY_MOST_S / 12f64.sqrt(),
            note: Some(format!(
                "no loop-back was measured: response times allow for a latency of 0 to {:.0} ms",
                1e3 * LATENCY_MOST_S
            )),
        };
        let Some(channel) = bench.loop_back else {
            return unknown;
        };
        let spans = spans.iter().filter(|s| s.kind == "loop_back" && s.whole);
        let found: Vec<(f64, f64)> = spans
            .filter_map(|s| answer(s, &channel.role))
            .map(|(time, bracket, _)| (time - 0.5 * bracket, time + 0.5 * bracket))
            .collect();
        if found.len() < 3 {
            return unknown;
        }
        // A latency that is always the same lies in every bracket.
        let low = found.iter().map(|b| b.0).fold(f64::NEG_INFINITY, f64::max);
        let high = found.iter().map(|b| b.1).fold(f64::INFINITY, f64::min);
        if low <= high {
            return Latency { mean_s: 0.5 * (low + high), u_s: (high - low) / 12f64.sqrt(), note: None };
        }
        let n = found.len() as f64;
        let middles = || found.iter().map(|b| 0.5 * (b.0 + b.1));
        let mean_s = middles().sum::<f64>() / n;
        let variance = middles().map(|t| (t - mean_s).powi(2)).sum::<f64>() / (n - 1.0);
        Latency { mean_s, u_s: (variance / n).sqrt(), note: None }
    }
}

/// When a trace passes half of its step between `from_s` and `to_s`; none where it does not step. What was before is
/// the last reading up to `from_s`, or the first of all where that came later.
pub(super) fn half_way(trace: &Trace, from_s: f64, to_s: f64) -> Option<Crossing> {
    let points: Vec<(f64, f64)> = trace.times_s.iter().copied().zip(trace.values.iter().copied()).collect();
    let start = points.iter().rev().find(|p| p.0 <= from_s).or_else(|| points.first())?;
    let tail: Vec<f64> = (points.iter())
        .filter(|p| p.0 >= to_s - SETTLED * (to_s - from_s) && p.0 <= to_s)
        .map(|p| p.1)
        .collect();
    let end = tail.iter().sum::<f64>() / tail.len().max(1) as f64;
    let step = end - start.1;
    if tail.is_empty() || step.abs() < 1e-9 {
        return None;
    }
    let share = |v: f64| (v - start.1) / step;
    let inside = points.iter().filter(|p| p.0 >= start.0);
    let inside: Vec<&(f64, f64)> = inside.collect();
    let pair = inside.windows(2).find(|w| w[1].0 > from_s && share(w[1].1) >= 0.5)?;
    let width = pair[1].0 - pair[0].0;
    Some(Crossing { time_s: pair[0].0 + 0.5 * width, bracket_s: width, step })
}

/// From the set point of a span to the answer of a role: time, bracket, step.
fn answer(span: &Span, role: &Role) -> Option<(f64, f64, f64)> {
    let set_s = *span.traces.get(&Role::Boost)?.times_s.first()?;
    let crossing = half_way(span.traces.get(role)?, set_s, span.end_s)?;
    Some((crossing.time_s - set_s, crossing.bracket_s, crossing.step))
}

/// Response times by output and way, each with the start of its first span.
pub(super) fn responses(bench: &Bench<'_>, spans: &[Span], latency: &Latency) -> Vec<(Response, f64)> {
    let mut all = Vec::new();
    for channel in &bench.outputs {
        let of = |way: Way| -> Vec<(f64, f64, f64, f64)> {
            let mine = |s: &&Span| {
                s.kind == "response" && s.whole && s.values.get("direction").is_some_and(|d| d == way.word())
            };
            let found = spans.iter().filter(mine).filter_map(|s| {
                let (time, bracket, step) = answer(s, &channel.role)?;
                Some((time, bracket, step, s.start_s))
            });
            found.collect()
        };
        let both = [(Way::Up, of(Way::Up)), (Way::Down, of(Way::Down))];
        let largest = both.iter().flat_map(|b| &b.1).map(|r| r.2.abs()).fold(0.0, f64::max);
        let least = (STEP_LEAST * largest).max(10.0 * channel.uncertainty.resolution);
        for (way, found) in both {
            let found: Vec<_> = found.into_iter().filter(|r| r.2.abs() >= least).collect();
            let Some(first) = found.first() else { continue };
            let mut times_s: Vec<f64> = found.iter().map(|r| r.0 - latency.mean_s).collect();
            times_s.sort_by(f64::total_cmp);
            let bracket_s = found.iter().map(|r| r.1).sum::<f64>() / found.len() as f64;
            let response =
                Response { output: channel.role.word(), way, times_s, bracket_s, u_latency_s: latency.u_s };
            all.push((response, first.3));
        }
    }
    all
}

impl Response {
    /// A percentile (0 to 1) with its U at 95 %: the interval of ranks that holds it (binomial), half the bracket that
    /// a single time is known to, and the latency. None without times.
    #[must_use]
    pub fn percentile(&self, share: f64) -> Option<(f64, f64)> {
        let n = self.times_s.len();
        let at = |rank: f64| {
            let rank = rank.clamp(0.0, n.saturating_sub(1) as f64);
            let low = rank.floor() as usize;
            let next = *self.times_s.get(low + 1).or(self.times_s.last())?;
            Some(self.times_s.get(low)? + (next - self.times_s.get(low)?) * rank.fract())
        };
        let (rank, spread) = (share * (n as f64 - 1.0), (n as f64 * share * (1.0 - share)).sqrt());
        let value = at(rank)?;
        let reach = normal_quantile(0.975) * spread;
        let ranks = (at(rank + reach)? - value).max(value - at(rank - reach)?);
        // A rank beyond the largest time is not seen: the bracket bounds what can lie beyond it.
        let u = ranks.hypot(0.5 * self.bracket_s).hypot(normal_quantile(0.975) * self.u_latency_s);
        Some((value, u))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_of_a_step_is_found_between_two_readings() {
        let mut trace = Trace::default();
        for (t, v) in [(0.0, 0.0), (0.1, 0.0), (0.2, 2.0), (0.3, 9.0), (0.4, 10.0), (1.0, 10.0)] {
            trace.add(t, v);
        }
        // Half of the step, 5, is passed between the readings at 0.2 and 0.3.
        let c = half_way(&trace, 0.05, 1.0).unwrap();
        assert!((c.time_s - 0.25).abs() < 1e-12 && (c.bracket_s - 0.1).abs() < 1e-12);
        // Not read before the step: the first reading after it stands for what was.
        let c = half_way(&trace, -0.1, 1.0).unwrap();
        assert!((c.time_s - 0.25).abs() < 1e-12 && (c.step - 10.0).abs() < 1e-12);
        let mut flat = Trace::default();
        (0..10).for_each(|i| flat.add(0.1 * f64::from(i), 3.0));
        assert!(half_way(&flat, 0.0, 0.9).is_none());
        assert!(half_way(&Trace::default(), 0.0, 1.0).is_none());
    }

    #[test]
    fn percentiles_have_a_reach_in_ranks() {
        let times_s: Vec<f64> = (0..101).map(|i| 0.01 * f64::from(i)).collect();
        let r = Response { output: "o".into(), way: Way::Up, times_s, bracket_s: 0.0, u_latency_s: 0.0 };
        let (median, u) = r.percentile(0.5).unwrap();
        // Source: the 95 % interval of the median's rank of n is about 1.96 sqrt(n)/2 ranks to either side.
        assert!((median - 0.5).abs() < 1e-12 && (u - 0.01 * 1.96 * 101f64.sqrt() / 2.0).abs() < 1e-3);
    }
}
