//! Where flow stops on the way down (stall) and starts on the way up (breakaway), seen on slow ramps of the duty.
//!
//! In: spans of kind `dead_band` with their direction, cup mass and duty. Out: the duty at which the cup stops, or
//! begins, to gain mass. What hangs on the nozzle's rim and the scale's own lag make that moment uncertain, and both are
//! in U as limits. Never: a duty told from a ramp on which nothing started or stopped.

use super::instruments::Instruments;
use super::noise::trend;
use super::spans::{Span, Trace};
use crate::record::Event;
use crate::script::role::Role;

/// Kind of the spans; their value `direction` is `down` or `up`.
pub const KIND: &str = "dead_band";
/// Mass that must be missing, or there, beyond what drips and noise make, g.
const SEEN_G: f64 = 0.5;
/// What drips after the flow has stopped, or hangs on before it starts, limits, mL (common practice, no source).
const DRIP_ML: (f64, f64) = (0.0, 0.4);
/// Time by which a bench scale shows mass late, limits, s (common practice, no source).
const LAG_S: (f64, f64) = (0.1, 0.7);
/// Flow next to the edge, and its change, are taken over this long, s.
const NEAR_S: f64 = 8.0;
/// Readings that say what the cup weighs while nothing flows.
const REST_READINGS: usize = 20;
/// A flow below this is none, g/s.
const FLOW_LEAST_G_S: f64 = 0.02;

/// Which edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Duty falls: stall.
    Down,
    /// Duty rises: breakaway.
    Up,
}

/// A duty at which flow stops or starts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DutyEdge {
    /// Which edge.
    pub direction: Direction,
    /// Duty, %.
    pub duty_pct: f64,
    /// Half-width of the limits within which drip and lag leave it, %.
    pub limits_pct: f64,
    /// Standard uncertainty of the duty's own reading, %.
    pub u_reading_pct: f64,
}

impl DutyEdge {}

/// What a person reads of a knob or a display while watching the spray, limits, % (common practice, no source).
const BY_EYE_PCT: f64 = 1.0;

/// The edge that a person saw.
#[must_use]
pub fn by_eye(event: &Event) -> Option<DutyEdge> {
    let direction = match (event.kind.as_str(), event.get("role")?, event.get("direction")?) {
        ("seen_by_eye", "pump_duty", "down") => Direction::Down,
        ("seen_by_eye", "pump_duty", "up") => Direction::Up,
        _ => return None,
    };
    Some(DutyEdge { direction, duty_pct: event.number("value")?, limits_pct: BY_EYE_PCT, u_reading_pct: 0.0 })
}

/// Reads the edge of a span; none where nothing stopped or started on it.
#[must_use]
pub fn read(span: &Span, known: &Instruments) -> Option<DutyEdge> {
    let direction = match span.values.get("direction")?.as_str() {
        "down" => Direction::Down,
        "up" => Direction::Up,
        _ => return None,
    };
    let cup = span.traces.get(&Role::CupMass)?;
    let duty = [Role::Duty, Role::PumpDuty].iter().find_map(|role| span.traces.get(role))?;
    let (earliest_s, latest_s) = moment(cup, direction)?;
    let (a, b) = (at(duty, earliest_s)?, at(duty, latest_s)?);
    let step = known.duty.step / 12.0_f64.sqrt();
    Some(DutyEdge {
        direction,
        duty_pct: 0.5 * (a + b),
        limits_pct: 0.5 * (a - b).abs(),
        u_reading_pct: step,
    })
}

/// Between which moments the flow stopped or started, s.
fn moment(cup: &Trace, direction: Direction) -> Option<(f64, f64)> {
    let n = cup.values.len();
    if n < 3 * REST_READINGS {
        return None;
    }
    let rest = match direction {
        Direction::Down => &cup.values[n - REST_READINGS..],
        Direction::Up => &cup.values[..REST_READINGS],
    };
    let level = rest.iter().sum::<f64>() / rest.len() as f64;
    let (edge, from, to) = match direction {
        Direction::Down => {
            let i = cup.values.iter().rposition(|m| *m < level - SEEN_G)?;
            (i, cup.times_s[i] - NEAR_S, cup.times_s[i])
        }
        Direction::Up => {
            let last_at_rest = cup.values.iter().rposition(|m| *m <= level + SEEN_G)?;
            let i = (last_at_rest + 1 < n).then_some(last_at_rest + 1)?;
            (i, cup.times_s[i], cup.times_s[i] + NEAR_S)
        }
    };
    let (first, last) =
        (cup.times_s.partition_point(|t| *t < from), cup.times_s.partition_point(|t| *t <= to));
    let curve = trend(&cup.times_s[first..last], &cup.values[first..last], 3)?;
    let seen_s = cup.times_s[edge];
    // The flow at the moment of the mark, and how fast it changes on its way to the edge; a ramp brings it towards
    // nothing, never away from it.
    let flow_g_s = curve.coefficients[1] + 2.0 * curve.coefficients[2] * (seen_s - curve.centre_s);
    let fades_g_s2 = match direction {
        Direction::Down => -2.0 * curve.coefficients[2],
        Direction::Up => 2.0 * curve.coefficients[2],
    };
    if flow_g_s < FLOW_LEAST_G_S {
        return None;
    }
    // One mL of water is one gram to a fraction of a per cent.
    let span_s = |mass_g: f64| until_gone_s(mass_g, flow_g_s, fades_g_s2.max(0.0));
    let after = |drip_g: f64, lag_s: f64| match direction {
        Direction::Down => seen_s + span_s(SEEN_G - drip_g) - lag_s,
        Direction::Up => seen_s - span_s(SEEN_G + drip_g) - lag_s,
    };
    Some((after(DRIP_ML.1, LAG_S.1), after(DRIP_ML.0, LAG_S.0)))
}

/// Time in which a flow that fades at a constant rate has passed a mass, or has come to nothing.
fn until_gone_s(mass_g: f64, flow_g_s: f64, fades_g_s2: f64) -> f64 {
    let left = flow_g_s * flow_g_s - 2.0 * fades_g_s2 * mass_g;
    if fades_g_s2 < 1e-9 {
        mass_g / flow_g_s
    } else if left > 0.0 {
        (flow_g_s - left.sqrt()) / fades_g_s2
    } else {
        flow_g_s / fades_g_s2
    }
}

/// Value of a trace at a time, by interpolation; none outside it.
fn at(trace: &Trace, time_s: f64) -> Option<f64> {
    let i = trace.times_s.partition_point(|t| *t < time_s);
    let (before, after) = (i.checked_sub(1)?, i.min(trace.times_s.len().checked_sub(1)?));
    let (t0, t1) = (trace.times_s[before], trace.times_s[after]);
    let share = if t1 > t0 { ((time_s - t0) / (t1 - t0)).clamp(0.0, 1.0) } else { 0.0 };
    Some(trace.values[before] + share * (trace.values[after] - trace.values[before]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ramp of 0.25 %/s with a flow of 0.4 g/s that stops, or starts, at 60 s; the scale shows it 0.4 s late and
    /// 0.2 g drip after the end.
    fn ramp(direction: &str) -> Span {
        let (mut cup, mut duty) = (Trace::default(), Trace::default());
        for i in 0..1000 {
            let t = 0.1 * f64::from(i);
            let late = t - 0.4;
            let mass = if direction == "down" {
                0.4 * late.min(60.0) + 0.2 * f64::from(u8::from(late > 60.0)) * (1.0 - (60.0 - late).exp())
            } else {
                (0.4 * (late - 60.0) - 0.2).max(0.0)
            };
            cup.add(t, (10.0 * mass).round() / 10.0);
            duty.add(t, if direction == "down" { 25.0 - 0.25 * t } else { 0.25 * t });
        }
        Span {
            kind: KIND.into(),
            values: [("direction".to_owned(), direction.to_owned())].into(),
            step: 1,
            start_s: 0.0,
            end_s: 100.0,
            whole: true,
            traces: [(Role::CupMass, cup), (Role::Duty, duty)].into(),
        }
    }

    #[test]
    fn edges_lie_within_their_limits() {
        let known = Instruments::assumed();
        for (direction, truth) in [("down", 10.0), ("up", 15.0)] {
            let edge = read(&ramp(direction), &known).expect(direction);
            assert!((edge.duty_pct - truth).abs() <= edge.limits_pct, "{direction}: {edge:?}");
            assert!(edge.limits_pct < 0.3, "{direction}: {edge:?}");
        }
    }

    #[test]
    fn a_ramp_on_which_nothing_happens_tells_nothing() {
        let mut span = ramp("down");
        let cup = span.traces.get_mut(&Role::CupMass).expect("a cup");
        cup.values.iter_mut().for_each(|m| *m = 5.0);
        assert_eq!(read(&span, &Instruments::assumed()), None);
    }
}
