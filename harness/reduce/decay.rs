//! How fast the line goes dark: from the moment the pump stops to the moment the switch breaks, and what the fall of
//! pressure says of the line.
//!
//! In: spans of kind `decay`. Out: [`Decay`]s, their mean, and the compliance of the line where the nozzle's
//! coefficient is known: with the outlet open and the pump still, `C dP/dt = -K sqrt(P)`, so the root of pressure falls
//! straight, by `K / (2 C)` a second. Air in the line makes it bend. Never: clogging proved from a time that air in the
//! line outweighs.

use super::contact::Contact;
use super::finding::Finding;
use super::noise::trend;
use super::spans::{Span, Trace};
use crate::script::role::Role;
use crate::uncertainty::{Cause, Term, Uncertain, type_a};

/// Kind of the spans.
pub const KIND: &str = "decay";
/// A duty at or below which the pump counts as stopped, %.
const STOPPED_PCT: f64 = 0.5;
/// Pressures used for compliance: from this part of the first one down to [`LEAST_KPA`]; above it the pump still turns.
const FROM_PART: f64 = 0.9;
/// Below, the nozzle drips.
const LEAST_KPA: f64 = 10.0;
/// Readings needed for compliance.
const READINGS_LEAST: usize = 6;
/// A curvature of the root of pressure this many standard uncertainties from zero is air, or a slow gauge.
const BENDS_K: f64 = 3.0;

/// One stop of the pump.
#[derive(Clone, Debug, PartialEq)]
pub struct Decay {
    /// When the pump was stopped, s of the run.
    pub stopped_s: f64,
    /// Pressure just before, gauge kPa.
    pub from_kpa: Option<f64>,
    /// Time until the switch broke, s; none where it did not.
    pub dark_after_s: Option<f64>,
    /// Half of the step between the readings around it, s.
    pub half_step_s: f64,
    /// Rate at which the root of pressure falls, sqrt(kPa)/s, and its standard uncertainty.
    pub root_rate: Option<(f64, f64)>,
    /// Whether that fall bends.
    pub bends: bool,
    /// Why there is no time.
    pub void: Option<String>,
}

/// The mean over several stops.
#[derive(Clone, Debug, PartialEq)]
pub struct DecayTime {
    /// Mean time from stop to dark, s.
    pub mean_s: f64,
    /// Stops in it.
    pub n: usize,
    /// Its uncertainty; none from one stop.
    pub all: Option<Uncertain>,
}

/// Reads a stop of the pump.
#[must_use]
pub fn read(span: &Span) -> Decay {
    let stopped_s = stopped(span);
    let empty = Trace::default();
    let of = |role: Role| span.traces.get(&role).unwrap_or(&empty);
    let line = of(Role::LinePressure);
    let before = line.times_s.partition_point(|t| *t <= stopped_s);
    let from_kpa = before.checked_sub(1).map(|i| line.values[i]).or(line.values.first().copied());
    let (dark, void) = dark(of(Role::Switch), stopped_s);
    let (root_rate, bends) = from_kpa.map_or((None, false), |from| root_rate(line, stopped_s, from));
    Decay {
        stopped_s,
        from_kpa,
        dark_after_s: dark.map(|d| d.0),
        half_step_s: dark.map_or(0.0, |d| d.1),
        root_rate,
        bends,
        void: if span.whole { void } else { Some("the run ended within it".into()) },
    }
}

/// When the pump was stopped: where the duty sent, or else measured, is first nothing; else the start of the span.
fn stopped(span: &Span) -> f64 {
    let first = |role: &Role| {
        let trace = span.traces.get(role)?;
        let at = trace.values.iter().position(|v| *v <= STOPPED_PCT)?;
        Some(trace.times_s[at])
    };
    first(&Role::PumpDuty).or_else(|| first(&Role::Duty)).unwrap_or(span.start_s)
}

/// Time until the switch broke and half its step, or why there is none.
fn dark(switch: &Trace, stopped_s: f64) -> (Option<(f64, f64)>, Option<String>) {
    let mut contact = Contact::default();
    let from = switch.times_s.partition_point(|t| *t <= stopped_s).saturating_sub(1);
    for (t, v) in switch.times_s.iter().zip(&switch.values).skip(from) {
        contact.push(*t, *v >= 0.5);
    }
    let none = |why: &str| (None, Some(why.to_owned()));
    match contact.first() {
        None => return none("the switch was not read"),
        Some(false) => return none("the switch was open before the pump stopped"),
        Some(true) => {}
    }
    let (edges, _) = contact.edges();
    let Some(edge) = edges.iter().find(|e| !e.made) else {
        return none("the switch stayed made");
    };
    let half = 0.5 * (edge.after_s - edge.before_s);
    (Some(((edge.middle_s() - stopped_s).max(0.0), half)), None)
}

/// Rate at which the root of pressure falls, and whether it bends.
fn root_rate(line: &Trace, stopped_s: f64, from_kpa: f64) -> (Option<(f64, f64)>, bool) {
    let pairs = line.times_s.iter().zip(&line.values);
    let falling: Vec<(f64, f64)> = pairs
        .filter(|(t, _)| **t > stopped_s)
        .map(|(t, p)| (*t, *p))
        .skip_while(|(_, p)| *p > FROM_PART * from_kpa)
        .take_while(|(_, p)| *p > LEAST_KPA)
        .collect();
    if falling.len() < READINGS_LEAST {
        return (None, false);
    }
    let times: Vec<f64> = falling.iter().map(|f| f.0).collect();
    let roots: Vec<f64> = falling.iter().map(|f| f.1.sqrt()).collect();
    let rate = trend(&times, &roots, 2).map(|t| (-t.coefficients[1], t.u[1]));
    let bent = trend(&times, &roots, 3);
    let bends = bent.is_some_and(|t| t.coefficients[2].abs() > BENDS_K * t.u[2]);
    (rate.filter(|r| r.0 > 0.0), bends)
}

/// Mean time from stop to dark; none where no stop has one.
#[must_use]
pub fn mean(decays: &[Decay]) -> Option<DecayTime> {
    let times: Vec<f64> = decays.iter().filter(|d| d.void.is_none()).filter_map(|d| d.dark_after_s).collect();
    let half = decays.iter().map(|d| d.half_step_s).fold(0.0, f64::max);
    let n = times.len();
    let all = type_a(Cause::Readings, &times).map(|a| {
        let mut terms = a.terms;
        terms.push(Term::limits(Cause::SamplingStep, half));
        Uncertain::new(a.value, terms)
    });
    let mean_s = all.as_ref().map_or_else(|| times.first().copied(), |a| Some(a.value))?;
    Some(DecayTime { mean_s, n, all })
}

/// Compliance of the line, mL/kPa: from falls of pressure through a nozzle of known
/// coefficient (mL/min per sqrt(kPa), relative standard uncertainty). None where no fall could be followed.
#[must_use]
pub fn compliance(decays: &[Decay], k: f64, u_k_relative: f64) -> Option<Uncertain> {
    let rates: Vec<(f64, f64)> = decays.iter().filter_map(|d| d.root_rate).collect();
    let values: Vec<f64> = rates.iter().map(|r| k / 60.0 / (2.0 * r.0)).collect();
    let one = *values.first()?;
    let mean = type_a(Cause::Readings, &values).unwrap_or_else(|| {
        Uncertain::new(one, vec![Term::known(Cause::Readings, one * rates[0].1 / rates[0].0)])
    });
    let mut terms = mean.terms;
    terms.push(Term::known(Cause::NozzleCoefficient, mean.value * u_k_relative));
    Some(Uncertain::new(mean.value, terms))
}

/// Whether the switch opens later after a stop of the pump than in an earlier run, and what that supports.
#[must_use]
pub fn compared(now: &DecayTime, then: &DecayTime, bends: bool) -> Option<Finding> {
    let (now_s, then_s) = (now.all.as_ref()?, then.all.as_ref()?);
    let Uncertain { value: later, u95: u, .. } = now_s.less(then_s);
    (later >= u).then(|| {
        let cause = if bends {
            "air in the line: the fall of pressure bends; bleed it before anything is concluded"
        } else {
            "a smaller nozzle opening, or air in the line: the fall of the nozzle's coefficient decides which"
        };
        Finding::new(
            "switch.release_longer",
            format!(
                "the switch opens {:.3} s after the pump stops, {later:.3} s later than before",
                now.mean_s
            ),
            cause,
        )
        .with("now", now.mean_s, "s")
        .with("before", then.mean_s, "s")
        .with("U of the difference", u, "s")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stop at 1 s: the root of pressure falls by `rate` a second from 20; the switch breaks at 180 kPa.
    fn span(rate: f64, air: bool, dt: f64) -> Span {
        let (mut line, mut switch, mut duty) = (Trace::default(), Trace::default(), Trace::default());
        for i in 0..(3.0 / dt) as u32 {
            let t = f64::from(i) * dt;
            let after = (t - 1.0).max(0.0);
            let root = if air { 20.0 * (-rate * after / 20.0).exp() } else { (20.0 - rate * after).max(0.0) };
            line.add(t, root * root);
            switch.add(t, f64::from(u8::from(root * root > 180.0)));
            duty.add(t, if t < 1.0 { 60.0 } else { 0.0 });
        }
        let traces = [(Role::LinePressure, line), (Role::Switch, switch), (Role::PumpDuty, duty)];
        Span {
            kind: KIND.into(),
            values: [].into(),
            step: 1,
            start_s: 0.0,
            end_s: 3.0,
            whole: true,
            traces: traces.into(),
        }
    }

    #[test]
    fn time_to_dark_and_compliance_by_hand() {
        let decay = read(&span(30.0, false, 0.002));
        // Root falls from 20 to sqrt(180) = 13.416 at 30 a second: 0.2195 s.
        assert!((decay.dark_after_s.unwrap() - 0.2195).abs() <= 0.002, "{decay:?}");
        let (rate, _) = decay.root_rate.unwrap();
        assert!((rate - 30.0).abs() < 0.01 && !decay.bends, "{decay:?}");
        // K = 24 mL/min per sqrt(kPa): 0.4 mL/s per root, over twice 30: 6.667 uL/kPa.
        let Uncertain { value: c, u, .. } = compliance(&[decay.clone(), decay], 24.0, 0.01).unwrap();
        assert!((c - 0.4 / 60.0).abs() < 1e-5 && (u - 0.01 * c).abs() < 1e-5, "{c} {u}");
    }

    #[test]
    fn air_bends_the_fall_and_longer_is_told() {
        let (now, then) = (read(&span(10.0, true, 0.002)), read(&span(30.0, false, 0.002)));
        assert!(now.bends);
        let times = |d: &Decay| mean(&[d.clone(), d.clone(), d.clone()]).unwrap();
        let found = compared(&times(&now), &times(&then), now.bends).unwrap();
        assert!(found.likely_cause.contains("air"), "{found:?}");
        assert_eq!(compared(&times(&then), &times(&then), false), None);
    }

    #[test]
    fn what_does_not_go_dark_says_why() {
        let mut stays = span(30.0, false, 0.01);
        let made = stays.traces.get_mut(&Role::Switch).unwrap();
        made.values.iter_mut().for_each(|v| *v = 1.0);
        assert_eq!(read(&stays).void.as_deref(), Some("the switch stayed made"));
        stays.traces.remove(&Role::Switch);
        assert_eq!(read(&stays).void.as_deref(), Some("the switch was not read"));
        assert_eq!(mean(&[read(&stays)]), None);
    }
}
