//! The level switch of a tank: how much was drawn when it changed.
//!
//! In: the span of kind `level`, and the cup weighed at rest before and after. Out: [`Level`]: the mass drawn up to
//! the change, from the masses at rest less what came after the change (slope of the cup's mass times the time until
//! the pump stopped); without them, from the cup's mass while it filled, whose thrust and lag are in U. Never: a
//! remaining volume for a tank whose filling nobody stated.

use super::contact::Contact;
use super::instruments::Instruments;
use super::noise::trend;
use super::spans::{Span, Trace};
use crate::script::role::Role;
use crate::uncertainty::{Cause, Term, Uncertain};

/// Kind of the spans.
pub const KIND: &str = "level";
/// Time before the change from which the flow is taken, s.
const FLOW_OVER_S: f64 = 30.0;
/// What flows on after the pump has stopped lasts at most this long, s.
const RUNS_ON_S: f64 = 0.5;
/// Lag of a scale, limits, s (common practice, no source).
const SCALE_LAG_S: f64 = 1.0;
/// Readings that a slope takes at most.
const READINGS_MOST: usize = 1000;

/// A level switch that changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Whether it made (or broke).
    pub made: bool,
    /// Mass drawn up to the change, g, as weighed.
    pub drawn_g: Uncertain,
    /// Flow then, g/s.
    pub flow_g_s: f64,
    /// Whether it was weighed at rest before and after.
    pub at_rest: bool,
}

/// Why there is no level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoLevel {
    /// The level switch was not read.
    NotRead,
    /// It did not change.
    DidNotChange,
    /// The cup was not weighed.
    NotWeighed,
}

impl std::fmt::Display for NoLevel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            NoLevel::NotRead => "the level switch was not read",
            NoLevel::DidNotChange => {
                "the level switch did not change before the time was over or the tank empty"
            }
            NoLevel::NotWeighed => "the cup was not weighed while the tank was drawn down",
        })
    }
}

/// Mass of the cup at rest: mean of a span's readings.
fn rest_g(span: &Span) -> Option<f64> {
    let cup = span.traces.get(&Role::CupMass)?;
    let from = cup.from(0.5 * (span.start_s + span.end_s)).1;
    (!from.is_empty()).then(|| from.iter().sum::<f64>() / from.len() as f64)
}

/// Reads a level; `before` and `after` are the spans in which the cup was weighed at rest.
///
/// # Errors
/// [`NoLevel`].
pub fn read(
    span: &Span,
    before: Option<&Span>,
    after: Option<&Span>,
    known: &Instruments,
) -> Result<Level, NoLevel> {
    let switch = span.traces.get(&Role::TankLevel).ok_or(NoLevel::NotRead)?;
    let mut contact = Contact::default();
    for (t, v) in switch.times_s.iter().zip(&switch.values) {
        contact.push(*t, *v >= 0.5);
    }
    // Water that moves makes a float swing: the last change is the one that stayed.
    let edge = *contact.edges().0.last().ok_or(NoLevel::DidNotChange)?;
    let cup = span.traces.get(&Role::CupMass).ok_or(NoLevel::NotWeighed)?;
    let (at_s, half_s) = (edge.middle_s(), 0.5 * (edge.after_s - edge.before_s));
    let line = near(cup, at_s).ok_or(NoLevel::NotWeighed)?;
    let flow_g_s = line.1;
    let gain = |mass: f64| known.scale.gain.term(Cause::ScaleGain, mass);
    let step = Term::limits(Cause::Resolution, 0.5 * known.scale.step);
    let timing = Term::limits(Cause::SamplingStep, flow_g_s * half_s);
    let rests = before.and_then(rest_g).zip(after.and_then(rest_g));
    let (drawn_g, mut terms) = match rests {
        Some((first, last)) => {
            let stopped_s = stopped(span).unwrap_or(span.end_s);
            let beyond = flow_g_s * (stopped_s - at_s + 0.5 * RUNS_ON_S);
            (last - first - beyond, vec![Term::limits(Cause::RunsOn, 0.5 * RUNS_ON_S * flow_g_s)])
        }
        None => {
            let first = cup.values.first().copied().unwrap_or(0.0);
            (line.0 - first, vec![Term::limits(Cause::ScaleLag, SCALE_LAG_S * flow_g_s)])
        }
    };
    terms.extend([step.clone(), step, timing, Term::observed(Cause::Readings, line.2, line.3)]);
    terms.extend(gain(drawn_g));
    terms.retain(|t| t.u != 0.0);
    Ok(Level { made: edge.made, drawn_g: Uncertain::new(drawn_g, terms), flow_g_s, at_rest: rests.is_some() })
}

/// When the pump was stopped after it ran, s.
fn stopped(span: &Span) -> Option<f64> {
    let duty = span.traces.get(&Role::PumpDuty).or_else(|| span.traces.get(&Role::Duty))?;
    let runs = duty.values.iter().position(|d| *d > 1.0)?;
    let stops = duty.values[runs..].iter().position(|d| *d <= 1.0)?;
    Some(duty.times_s[runs + stops])
}

/// Mass and slope of the cup just before a moment, and the standard uncertainty of the mass with its degrees of
/// freedom.
fn near(cup: &Trace, at_s: f64) -> Option<(f64, f64, f64, f64)> {
    let from = cup.times_s.partition_point(|t| *t < at_s - FLOW_OVER_S);
    let to = cup.times_s.partition_point(|t| *t <= at_s);
    let group = (to - from).div_ceil(READINGS_MOST).max(1);
    let means = |v: &[f64]| -> Vec<f64> {
        v.chunks_exact(group).map(|c| c.iter().sum::<f64>() / group as f64).collect()
    };
    let line = trend(&means(&cup.times_s[from..to]), &means(&cup.values[from..to]), 2)?;
    Some((line.at(at_s), line.coefficients[1], line.u[0], line.dof))
}

/// Volume that remains in the tank, mL: what was filled in less what was drawn, at a density (kg/m3).
#[must_use]
pub fn remaining_ml(level: &Level, filled_ml: &Uncertain, density_kg_m3: f64) -> Uncertain {
    filled_ml.less(&level.drawn_g.times(1000.0 / density_kg_m3))
}

/// Minutes of spray that a volume (mL) leaves at a flow (mL/min); none where nothing flows.
#[must_use]
pub fn minutes(volume_ml: &Uncertain, flow_ml_min: &Uncertain) -> Option<Uncertain> {
    if flow_ml_min.value <= 0.0 || volume_ml.value <= 0.0 {
        return None;
    }
    let minutes = volume_ml.times(1.0 / flow_ml_min.value);
    let mut terms = minutes.terms;
    terms.extend(flow_ml_min.terms.iter().map(|t| t.times(-minutes.value / flow_ml_min.value)));
    Some(Uncertain::new(minutes.value, terms))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(kind: &str, from_s: f64, to_s: f64, traces: Vec<(Role, Trace)>) -> Span {
        Span {
            kind: kind.into(),
            values: [].into(),
            step: 1,
            start_s: from_s,
            end_s: to_s,
            whole: true,
            traces: traces.into_iter().collect(),
        }
    }

    fn filled(value: f64, u: f64) -> Uncertain {
        Uncertain::new(value, vec![Term::known(Cause::Filled, u)])
    }

    /// 10 g/s from 0 to 105 s; the level switch breaks at 100 s, after swinging at 90 s.
    fn drawn() -> (Span, Span, Span) {
        let (mut cup, mut level, mut duty) = (Trace::default(), Trace::default(), Trace::default());
        for i in 0..1100 {
            let t = 0.1 * f64::from(i);
            // While it fills the jet presses on the pan: 20 g too much.
            cup.add(t, 50.0 + 10.0 * t.min(105.0) + if t < 105.0 { 20.0 } else { 0.0 });
            let swings = (90.0..90.5).contains(&t);
            level.add(t, if t < 99.95 && !swings { 1.0 } else { 0.0 });
            duty.add(t, if t < 104.75 { 60.0 } else { 0.0 });
        }
        let rest = |mass: f64| {
            let mut cup = Trace::default();
            (0..100).for_each(|i| cup.add(0.1 * f64::from(i), mass));
            span("weigh", 0.0, 10.0, vec![(Role::CupMass, cup)])
        };
        let run = vec![(Role::CupMass, cup), (Role::TankLevel, level), (Role::PumpDuty, duty)];
        (span(KIND, 0.0, 110.0, run), rest(50.0), rest(1100.0))
    }

    #[test]
    fn the_mass_drawn_is_that_at_rest_less_what_came_after() {
        let (run, before, after) = drawn();
        let known = Instruments::assumed();
        let level = read(&run, Some(&before), Some(&after), &known).unwrap();
        assert!(!level.made && level.at_rest);
        assert!((level.flow_g_s - 10.0).abs() < 1e-6);
        assert!((level.drawn_g.value - 1000.0).abs() < 2.0 && level.drawn_g.u95 > 2.0, "{level:?}");
        let ml = remaining_ml(&level, &filled(2839.06, 5.0), 998.2).value;
        assert!((ml - (2839.06 - 1001.8)).abs() < 3.0, "{ml}");
        let flying = read(&run, None, None, &known).unwrap();
        assert!((flying.drawn_g.value - 1000.0).abs() < flying.drawn_g.u95, "{flying:?}");
    }

    #[test]
    fn minutes_of_spray_of_the_customary_tank() {
        // 0.75 US gal at 10 US gal/h: 4.5 minutes (arithmetic on figures of common practice).
        let flow = |value, u| Uncertain::new(value, vec![Term::known(Cause::Drain, u)]);
        let found = minutes(&filled(2839.058838, 28.0), &flow(630.901964, 3.0)).unwrap();
        assert!((found.value - 4.5).abs() < 1e-9 && (found.u / found.value - 0.011).abs() < 1e-3);
        assert_eq!(minutes(&filled(100.0, 1.0), &flow(0.0, 1.0)), None);
    }

    #[test]
    fn what_is_missing_is_told() {
        let known = Instruments::assumed();
        let (mut run, ..) = drawn();
        run.traces.get_mut(&Role::TankLevel).unwrap().values.iter_mut().for_each(|v| *v = 1.0);
        assert_eq!(read(&run, None, None, &known), Err(NoLevel::DidNotChange));
        run.traces.remove(&Role::TankLevel);
        assert_eq!(read(&run, None, None, &known), Err(NoLevel::NotRead));
    }
}
