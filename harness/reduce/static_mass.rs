//! The cross-check: mass before and after at rest, against the slope.
//!
//! In: weighings of the cup at rest, and when the pump ran between them. Out: a flow with a budget of its own, and a
//! finding where it disagrees with the slope beyond both. It pays for starting and stopping, for drips and for creep,
//! which the slope does not; a jet's constant thrust it does not see at all. Never: a flow from a cup that was not at
//! rest.

use super::collection::Collection;
use super::finding::Finding;
use super::instruments::Instruments;
use super::noise::trend;
use super::spans::Trace;

/// Start and stop of the pump: the flow comes and goes within this time, limits, s.
pub(super) const TRANSIENT_S: f64 = 0.15;
/// Drops that hang on the nozzle or fall late, limits, g.
pub(super) const DRIP_G: f64 = 0.1;
/// Times the combined standard uncertainty beyond which the two disagree.
const DISAGREE_K: f64 = 2.5;

/// The mean of the cup at rest, g, with its standard uncertainty; none where there is no reading, or where it moved
/// by more than `3 steps` over the rest.
#[must_use]
pub fn at_rest(cup: &Trace, step_g: f64) -> Option<(f64, f64)> {
    let n = cup.values.len();
    // The first half is for the scale to come to rest.
    let (times, masses) = (&cup.times_s[n / 2..], &cup.values[n / 2..]);
    let last = *masses.last()?;
    let spread = |v: &[f64]| v.iter().fold(0.0_f64, |s, m| s.max((m - last).abs()));
    let step_u = step_g / 12.0_f64.sqrt();
    match trend(times, masses, 1) {
        Some(mean) if spread(masses) <= (3.0 * step_g).max(4.0 * mean.scatter) => {
            Some((mean.coefficients[0], mean.u[0].hypot(step_u)))
        }
        Some(_) => None,
        None => (spread(masses) <= step_g).then_some((last, step_u)),
    }
}

/// Flow from masses at rest before and after, over the time the pump ran: mL/min and its standard uncertainty.
/// `factor` turns g/s read into mL/min.
#[must_use]
pub fn flow(before: (f64, f64), after: (f64, f64), pump_s: f64, factor: f64) -> Option<(f64, f64)> {
    if pump_s <= 0.0 {
        return None;
    }
    let third = 3.0_f64.sqrt();
    let g_s = (after.0 - before.0) / pump_s;
    let mass_u = before.1.hypot(after.1).hypot(DRIP_G / third) / pump_s;
    let time_u = g_s * TRANSIENT_S * 2.0_f64.sqrt() / third / pump_s;
    Some((g_s * factor, mass_u.hypot(time_u) * factor))
}

/// A finding where slope and rest disagree, over all collections that have both.
#[must_use]
pub fn compare(collections: &[Collection], known: &Instruments) -> Vec<Finding> {
    let mut compared = 0;
    let mut worst: Option<(f64, &Collection, f64)> = None;
    let mut high = 0;
    let mut apart = 0;
    for c in collections.iter().filter(|c| c.void.is_none()) {
        let Some((rest, u)) = c.static_flow_ml_min else {
            continue;
        };
        compared += 1;
        let (difference, u) = (rest - c.flow_ml_min, u.hypot(c.flow_random_ml_min));
        if difference.abs() > DISAGREE_K * u {
            apart += 1;
            high += usize::from(difference > 0.0);
            if worst.is_none_or(|(d, _, _)| d.abs() < difference.abs()) {
                worst = Some((difference, c, u));
            }
        }
    }
    let Some((difference, c, u)) = worst else {
        return Vec::new();
    };
    let cause = if 2 * high > apart {
        "more came while the pump started and stopped, or drops fell after it stopped: let the line drain before the cup is weighed"
    } else if known.jet_on_pan > 0.0 {
        "the jet's thrust on the pan changed with the pressure, or water left the cup or crept off the scale: use a baffled cup, and wait for the scale"
    } else {
        "water left the cup before it was weighed, or the scale creeps: cover the cup, and wait for the scale"
    };
    vec![
        Finding::new(
            "static.disagrees",
            format!(
                "mass at rest and slope disagree in {apart} of {compared} collections; most in step {}: {:+.1} mL/min of {:.1}",
                c.step, difference, c.flow_ml_min
            ),
            cause,
        )
        .with("difference", difference, "mL/min")
        .with("standard uncertainty of the difference", u, "mL/min"),
    ]
}
