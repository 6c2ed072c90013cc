//! What is wrong with a switch, with its ramps, or with what is known of them.
//!
//! In: [`SwitchPoints`], and what the switch should do where that is known. Out: [`Finding`]s, the ones that void a
//! verdict first, and the [`Condition`] of the contact that a verdict needs. Never: a condition guessed from one ramp
//! where others contradict it.

use super::finding::Finding;
use super::pulsation::Found;
use super::switch_points::{SwitchPoints, used};
use super::switch_ramps::{RampResult, Way};
use crate::numerics::distribution::t_survival;
use crate::numerics::linear::polynomial;
use crate::numerics::variance::grubbs;
use crate::script::rig::SwitchSpec;

/// Cycles below which a finding asks for more.
pub const CYCLES_FEW: usize = 5;
/// Share of ramps with chatter from which on the switch chatters; and at least two of them.
const CHATTER_SHARE: f64 = 0.1;
/// Chance of a false alarm for a drift or an outlier.
const ALARM: f64 = 0.01;
/// A pulsation below this part of the random U is not spoken of.
const SPOKEN_PART: f64 = 0.5;
/// A duty from which on the pump gives nearly all it can, %.
const NEARLY_FULL_PCT: f64 = 90.0;

/// What the contact did over all ramps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Condition {
    /// It made and broke.
    Works,
    /// Open all along, up to this pressure (kPa).
    NeverMade(f64),
    /// Made all along, down to this pressure (kPa).
    NeverBroke(f64),
    /// It made, but did not break down to this pressure (kPa).
    StaysMade(f64),
    /// There is no good rise.
    NotTried,
}

/// The condition of the contact.
#[must_use]
pub fn condition(points: &SwitchPoints) -> Condition {
    let good = |way: Way| points.ramps.iter().filter(move |r| r.way == Some(way) && r.void.is_none());
    let (mut rises, mut falls) = (good(Way::Rising).peekable(), good(Way::Falling).peekable());
    if rises.peek().is_none() {
        return Condition::NotTried;
    }
    let end = |pick: fn(&RampResult) -> Option<f64>, better: fn(f64, f64) -> f64| {
        points.ramps.iter().filter(|r| r.void.is_none()).filter_map(pick).reduce(better)
    };
    let highest = end(|r| r.range_kpa.map(|x| x.1), f64::max).unwrap_or(0.0);
    let lowest = end(|r| r.range_kpa.map(|x| x.0), f64::min).unwrap_or(0.0);
    let all = |state: bool| points.ramps.iter().filter(|r| r.void.is_none()).all(|r| still(r, state));
    if all(false) {
        Condition::NeverMade(highest)
    } else if all(true) {
        Condition::NeverBroke(lowest)
    } else if falls.peek().is_some() && falls.all(|r| r.crossing.is_none() && r.states.is_some_and(|s| s.1)) {
        Condition::StaysMade(lowest)
    } else {
        Condition::Works
    }
}

/// Whether the contact was in one state all along.
fn still(ramp: &RampResult, state: bool) -> bool {
    ramp.crossing.is_none() && ramp.states == Some((state, state))
}

/// Whether the switch chatters.
#[must_use]
pub fn chatters(points: &SwitchPoints) -> bool {
    let n = points.ramps.iter().filter(|r| r.chatters).count();
    n >= 2 && n as f64 >= CHATTER_SHARE * points.ramps.len() as f64
}

/// Everything found.
#[must_use]
pub fn findings(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Vec<Finding> {
    let mut found: Vec<Finding> = of_condition(points, wanted).into_iter().collect();
    if chatters(points) {
        let n = points.ramps.iter().filter(|r| r.chatters).count();
        found.push(
            Finding::new(
                "switch.chatters",
                format!(
                    "the contact made and broke again, or did not come to rest, in {n} of {} ramps",
                    points.ramps.len()
                ),
                "worn contacts, a loose plug, vibration, or a differential that is smaller than the pump's pulsation",
            )
            .with("ramps with chatter", n as f64, ""),
        );
    }
    found.extend(missed(points));
    found.extend(few(points));
    for (way, name) in [(Way::Rising, "trip"), (Way::Falling, "reset")] {
        let pressures = corrected(points, way);
        found.extend(drift(&pressures, name));
        found.extend(outlier(&pressures, name));
    }
    found.extend(void(points));
    found.extend(lag(points));
    found.extend(pulsation(points));
    if points.gauge.from.starts_with("assumed") {
        found.push(Finding::new(
            "assumed.gauge",
            format!("uncertainty of the line pressure gauge: {}", points.gauge.from),
            "state zero and gain of the gauge in a rig file and analyse with it",
        ));
    }
    found
}

fn of_condition(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Option<Finding> {
    let top = wanted.map(|w| w.set_point_kpa + w.tolerance_kpa);
    let u = |p: f64| points.gauge.u95_at(p);
    Some(match condition(points) {
        Condition::Works => return zero_trip(points),
        Condition::NotTried => Finding::new(
            "switch.no_rise",
            "there is no rise of pressure that could be used",
            "see the notes of the ramps; each ramp must be one rise or one fall",
        ),
        Condition::NeverMade(highest) if top.is_none_or(|t| highest - u(highest) >= t) => Finding::new(
            "switch.never_trips",
            format!("the switch never made, up to {highest:.1} kPa"),
            "not plugged in, broken wire, contact burnt open, diaphragm torn, or set far too high",
        )
        .with("highest pressure", highest, "kPa"),
        Condition::NeverMade(highest) => not_reached(points, highest, top.unwrap_or(highest)),
        Condition::NeverBroke(lowest) => Finding::new(
            "switch.stuck_closed",
            format!("the switch was made all along, down to {lowest:.1} kPa"),
            "welded contact, short in the wiring, a normally closed contact, or a set point at or below zero",
        )
        .with("lowest pressure", lowest, "kPa"),
        Condition::StaysMade(lowest) => Finding::new(
            "switch.never_resets",
            format!("the switch made but did not break again, down to {lowest:.1} kPa"),
            "contact that sticks, or ramps that do not go down far enough",
        )
        .with("lowest pressure", lowest, "kPa"),
    })
}

/// The pressure did not get where the switch is to make.
fn not_reached(points: &SwitchPoints, highest: f64, top: f64) -> Finding {
    let duty = points.ramps.iter().filter_map(|r| r.duty_pct).map(|d| d.1);
    let duty = duty.reduce(f64::max);
    let what =
        format!("the pressure went up to {highest:.1} kPa; the switch may make as late as {top:.1} kPa");
    let finding = match duty {
        Some(full) if full >= NEARLY_FULL_PCT => Finding::new(
            "line.leak_larger_than_pump",
            format!("{what}, and the pump was driven with up to {full:.0} % duty"),
            "a leak or an open outlet that takes all the pump delivers; else no prime, air, a bypass that opens \
             early, or a nozzle too large for the pump",
        )
        .with("highest duty", full, "%"),
        _ => Finding::new(
            "line.region_not_reached",
            what,
            "let the ramps go higher: more duty, a smaller nozzle or a closed outlet; look for leaks and air",
        ),
    };
    finding.with("highest pressure", highest, "kPa").with("highest pressure needed", top, "kPa")
}

/// It makes, but with nothing to speak of on the gauge.
fn zero_trip(points: &SwitchPoints) -> Option<Finding> {
    let trip = points.trip.as_ref()?;
    let u = trip.all.as_ref().map_or(trip.gauge.u95, |a| a.u95);
    (trip.value_kpa - u <= 0.0).then(|| {
        Finding::new(
            "switch.trips_at_zero",
            format!(
                "the switch makes at {:.1} kPa, which is zero within its uncertainty of {u:.1} kPa",
                trip.value_kpa
            ),
            "spring broken or screwed out, wrong switch, or the gauge stands before the check valve",
        )
        .with("trip", trip.value_kpa, "kPa")
    })
}

/// Rises that went as high as others made, and did not.
fn missed(points: &SwitchPoints) -> Option<Finding> {
    let trip = points.trip.as_ref()?;
    let reached = |r: &&RampResult| {
        r.way == Some(Way::Rising) && r.void.is_none() && r.range_kpa.is_some_and(|x| x.1 > trip.value_kpa)
    };
    let high: Vec<&RampResult> = points.ramps.iter().filter(reached).collect();
    let missed = high.iter().filter(|r| r.crossing.is_none()).count();
    (missed > 0).then(|| {
        Finding::new(
            "switch.missed_trips",
            format!("in {missed} of {} rises past the mean trip the switch did not make", high.len()),
            "intermittent contact or wiring, or scatter of the trip beyond the end of the ramps",
        )
        .with("rises without a trip", missed as f64, "")
    })
}

fn few(points: &SwitchPoints) -> Option<Finding> {
    let n = |p: &Option<super::switch_points::Point>| p.as_ref().map_or(0, |p| p.n);
    let (trips, resets) = (n(&points.trip), n(&points.reset));
    if trips == 0 || trips.min(resets).max(1) >= CYCLES_FEW || condition(points) != Condition::Works {
        return None;
    }
    Some(
        Finding::new(
            "switch.too_few_cycles",
            format!("{trips} rises and {resets} falls can be used"),
            "at least 2 of each are needed to see scatter, 12 make its part small",
        )
        .with("trips", trips as f64, "")
        .with("resets", resets as f64, ""),
    )
}

/// Pressures of the crossings of one direction, lag taken out, in order.
fn corrected(points: &SwitchPoints, way: Way) -> Vec<f64> {
    let lag_s = points.lag.value_s;
    let crossings = used(&points.ramps, way);
    crossings.iter().map(|c| c.pressure_kpa - lag_s * c.rate_kpa_s).collect()
}

/// A trip that moves from cycle to cycle.
fn drift(pressures: &[f64], name: &'static str) -> Option<Finding> {
    if pressures.len() < CYCLES_FEW {
        return None;
    }
    let order: Vec<f64> = (0..pressures.len()).map(|i| i as f64).collect();
    let line = polynomial(&order, pressures, None, 1, true).ok()?;
    let slope = line.params[1];
    let t = slope.abs() / (line.covariance[(1, 1)] * line.reduced_chi2()?).sqrt();
    if !t.is_finite() || 2.0 * t_survival(t, line.dof as f64) > ALARM {
        return None;
    }
    let whole = slope * (pressures.len() - 1) as f64;
    Some(
        Finding::new(
            "switch.drifts",
            format!("{name} moved by {whole:.2} kPa from the first to the last cycle"),
            "running in, warming, or a set screw that is not locked; the mean holds for these cycles only",
        )
        .with("drift per cycle", slope, "kPa"),
    )
}

/// A cycle that does not belong to the others; it stays in the mean.
fn outlier(pressures: &[f64], name: &'static str) -> Option<Finding> {
    if pressures.len() < CYCLES_FEW {
        return None;
    }
    let extreme = grubbs(pressures, ALARM).ok().filter(|e| e.is_outlier())?;
    let value = pressures.get(extreme.index)?;
    Some(
        Finding::new(
            "switch.outlier",
            format!(
                "{name} number {} at {value:.2} kPa lies far from the others; it was kept",
                extreme.index + 1
            ),
            "a sticking contact, a disturbance of the ramp, or a switch that scatters more than normally",
        )
        .with(name, *value, "kPa"),
    )
}

fn void(points: &SwitchPoints) -> Option<Finding> {
    let voids: Vec<String> =
        points.ramps.iter().filter_map(|r| Some(format!("ramp {}: {}", r.label, r.void.as_ref()?))).collect();
    let shown = voids.iter().take(3).cloned().collect::<Vec<_>>().join("; ");
    (!voids.is_empty()).then(|| {
        Finding::new(
            "switch.void_ramps",
            format!("{} of {} ramps were not used: {shown}", voids.len(), points.ramps.len()),
            "see the notes of the ramps",
        )
        .with("void ramps", voids.len() as f64, "")
    })
}

/// A lag that is only bounded, and outweighs both the scatter and half of what the gauge leaves open.
fn lag(points: &SwitchPoints) -> Option<Finding> {
    let trip = points.trip.as_ref()?;
    let rest = trip.random.as_ref()?.u95.max(0.5 * trip.gauge.u95);
    (points.lag.from_data < 0.5 && trip.lag.u95 > rest).then(|| {
        Finding::new(
            "switch.lag_not_known",
            format!(
                "the lag between gauge and switch may shift the trip by {:.2} kPa at this rate",
                trip.lag.u95
            ),
            "ramp more slowly, or at two rates so that the lag can be found",
        )
        .with("shift", trip.lag.u95, "kPa")
    })
}

/// A pulsation that was taken into account.
fn pulsation(points: &SwitchPoints) -> Option<Finding> {
    let how = match points.pulsation.found {
        Found::NotSeen => return None,
        Found::AgainstVented => "scatter on the ramps less that of the vented gauge",
        Found::ByMemory => "the memory of the readings about the ramps",
    };
    let amplitude = points.pulsation.amplitude_kpa;
    let random = points.trip.as_ref()?.random.as_ref()?.u95;
    (amplitude >= SPOKEN_PART * random).then(|| {
        Finding::new(
            "switch.pulsation",
            format!(
                "the pump's pulsation has an amplitude of {amplitude:.2} kPa at the switch ({how}); it was added to the \
                 mean pressure at trips and taken off at resets"
            ),
            "the switch answers to peaks and troughs; a static pressure source would show it without",
        )
        .with("amplitude", amplitude, "kPa")
    })
}
