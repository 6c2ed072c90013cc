//! One ramp of pressure over a switch: where the contact made or broke.
//!
//! In: a [`Ramp`], a rise or a fall, with pressure and contact as they were read, from wherever. Out: a
//! [`RampResult`]: the pressure at the edge, by interpolation between samples, the rate there, and what is to be said
//! about the ramp. Never: a direction that was only claimed, or an edge outside the pressures that were read.

use super::contact::{Contact, Edge};
use super::pulsation::{self, About};
use crate::numerics::linear::{LinearFit, polynomial};

/// Samples of one ramp that are kept; a longer one is cut and says so.
pub const SAMPLES_MAX: usize = 400_000;
/// Pressure at the edge comes from samples this far on both sides, s.
const VALUE_WINDOW_S: f64 = 0.25;
/// The rate there comes from samples this far on both sides, s.
const RATE_WINDOW_S: f64 = 1.0;
/// Samples on each side from which on a parabola is fitted through the window; from 2 on a line.
const PARABOLA_SIDE: usize = 6;
/// A ramp goes one way if its ends are apart by at least this part of its whole range.
const ONE_WAY: f64 = 0.5;
/// A burst that lasts longer is chatter, s.
const BURST_MAX_S: f64 = 0.5;

/// A rise or a fall of pressure.
#[derive(Clone, Debug, Default)]
pub struct Ramp {
    /// Its name in the record or the file.
    pub label: String,
    /// Pressure: time (s) and gauge kPa.
    pub pressure: Vec<(f64, f64)>,
    /// The contact.
    pub contact: Contact,
    /// Duty of the pump where it is known: lowest and highest, %.
    pub duty_pct: Option<(f64, f64)>,
    /// Only there to find the region; it has no part in means.
    pub coarse: bool,
    /// Why it must not be used.
    pub void: Option<String>,
    /// Samples beyond [`SAMPLES_MAX`] that were left out.
    pub cut: usize,
}

impl Ramp {
    /// Takes a pressure.
    pub fn push_pressure(&mut self, time_s: f64, kpa: f64) {
        if self.pressure.len() < SAMPLES_MAX {
            self.pressure.push((time_s, kpa));
        } else {
            self.cut += 1;
        }
    }

    /// Takes a duty.
    pub fn push_duty(&mut self, pct: f64) {
        let (low, high) = self.duty_pct.unwrap_or((pct, pct));
        self.duty_pct = Some((low.min(pct), high.max(pct)));
    }
}

/// Which way the pressure went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Up: the switch is to make.
    Rising,
    /// Down: the switch is to break.
    Falling,
}

impl Way {
    /// In words.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Way::Rising => "rising",
            Way::Falling => "falling",
        }
    }
}

/// The pressure at which the contact made (rising) or broke (falling).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Gauge kPa.
    pub pressure_kpa: f64,
    /// Rate of pressure there, kPa/s; negative where it falls.
    pub rate_kpa_s: f64,
    /// Pressure gone through between the two readings of the contact, kPa.
    pub step_kpa: f64,
    /// Changes of the contact beyond the first.
    pub bounces: u32,
    /// Pressure about the ramp there; none from too few readings.
    pub about: Option<About>,
}

/// What a ramp came to.
#[derive(Clone, Debug, PartialEq)]
pub struct RampResult {
    /// Its name.
    pub label: String,
    /// Which way it went; none where it went neither.
    pub way: Option<Way>,
    /// Lowest and highest pressure, kPa; none without readings.
    pub range_kpa: Option<(f64, f64)>,
    /// Duty, lowest and highest, %.
    pub duty_pct: Option<(f64, f64)>,
    /// State of the contact at its start and end; none without readings.
    pub states: Option<(bool, bool)>,
    /// The edge that belongs to its direction.
    pub crossing: Option<Crossing>,
    /// The contact did not come to rest, or made and broke again.
    pub chatters: bool,
    /// Only there to find the region.
    pub coarse: bool,
    /// Why it must not be used; none where it is good.
    pub void: Option<String>,
    /// What is worth knowing.
    pub note: String,
}

impl RampResult {
    /// Moves every pressure, kPa.
    pub fn shift(&mut self, kpa: f64) {
        self.range_kpa = self.range_kpa.map(|(low, high)| (low + kpa, high + kpa));
        if let Some(crossing) = &mut self.crossing {
            crossing.pressure_kpa += kpa;
        }
    }

    /// The crossing, where it takes part in means.
    #[must_use]
    pub fn used(&self) -> Option<&Crossing> {
        self.crossing.as_ref().filter(|_| self.void.is_none() && !self.coarse)
    }
}

/// Reduces a ramp.
#[must_use]
pub fn reduce(ramp: &Ramp, pressure_delay_s: f64) -> RampResult {
    let mut notes = Vec::new();
    let way = way(&ramp.pressure);
    let states = ramp.contact.first().zip(ramp.contact.last());
    let (edges, spikes) = ramp.contact.edges();
    let void = ramp.void.clone().or_else(|| unusable(ramp, way));
    let wanted = |e: &&Edge| e.made == (way == Some(Way::Rising));
    let own = way.and_then(|_| edges.iter().find(wanted));
    let crossing = own.and_then(|edge| crossing(ramp, edge, pressure_delay_s));
    if own.is_some() && crossing.is_none() {
        notes.push("the contact changed where pressure was not read on both sides".to_owned());
    }
    if let (None, Some((_, end))) = (own, states) {
        notes.push(format!("contact {} all along", if end { "made" } else { "open" }));
    }
    let again = edges.iter().filter(|e| wanted(e)).count() > 1;
    let restless = edges.iter().any(|e| e.lasted_s > BURST_MAX_S);
    if again {
        notes.push("made and broke more than once".to_owned());
    }
    if restless {
        notes.push(format!("took more than {BURST_MAX_S} s to come to rest"));
    }
    if spikes > 0 {
        notes.push(format!("{spikes} spikes of the contact left out"));
    }
    if ramp.coarse {
        notes.push("coarse, not in the means".to_owned());
    }
    if ramp.cut > 0 {
        notes.push(format!("cut after {SAMPLES_MAX} samples"));
    }
    RampResult {
        label: ramp.label.clone(),
        way,
        range_kpa: range(&ramp.pressure),
        duty_pct: ramp.duty_pct,
        states,
        crossing,
        chatters: again || restless,
        coarse: ramp.coarse,
        void,
        note: notes.join("; "),
    }
}

fn unusable(ramp: &Ramp, way: Option<Way>) -> Option<String> {
    if ramp.contact.readings() == 0 {
        return Some("the switch was not read".into());
    }
    if ramp.pressure.len() < 2 {
        return Some("the pressure was not read".into());
    }
    let neither = "it is neither a rise nor a fall: give each rise and each fall a number of its own";
    way.is_none().then(|| neither.to_owned())
}

fn range(pressure: &[(f64, f64)]) -> Option<(f64, f64)> {
    let first = pressure.first()?.1;
    Some(pressure.iter().fold((first, first), |(low, high), &(_, p)| (low.min(p), high.max(p))))
}

/// Which way a ramp goes: by the means of its first and last tenth, against its range.
fn way(pressure: &[(f64, f64)]) -> Option<Way> {
    let (low, high) = range(pressure)?;
    let tenth = (pressure.len() / 10).max(1);
    let mean = |part: &[(f64, f64)]| part.iter().map(|p| p.1).sum::<f64>() / part.len() as f64;
    let gone = mean(&pressure[pressure.len() - tenth..]) - mean(&pressure[..tenth]);
    if high <= low || gone.abs() < ONE_WAY * (high - low) {
        return None;
    }
    Some(if gone > 0.0 { Way::Rising } else { Way::Falling })
}

/// Pressure and rate at an edge. The pressure was read `delay_s` late against the contact.
fn crossing(ramp: &Ramp, edge: &Edge, delay_s: f64) -> Option<Crossing> {
    let at = edge.middle_s() + delay_s;
    let (pressure_kpa, about) = value_at(&ramp.pressure, at)?;
    let rate_kpa_s = rate_at(&ramp.pressure, at)?;
    Some(Crossing {
        pressure_kpa,
        rate_kpa_s,
        step_kpa: (rate_kpa_s * (edge.after_s - edge.before_s)).abs(),
        bounces: edge.bounces,
        about,
    })
}

/// Samples within `window_s` of `at`, and how many of them lie before it.
fn window(pressure: &[(f64, f64)], at: f64, window_s: f64) -> (&[(f64, f64)], usize) {
    let from = pressure.partition_point(|p| p.0 < at - window_s);
    let to = pressure.partition_point(|p| p.0 <= at + window_s);
    let before = pressure.partition_point(|p| p.0 <= at);
    (&pressure[from..to], before - from)
}

/// Pressure at a moment: through the samples around it, a parabola where there are enough, else a line; with fewer
/// than two on a side, straight between the sample before and the sample after. And the pressure about it.
fn value_at(pressure: &[(f64, f64)], at: f64) -> Option<(f64, Option<About>)> {
    let (near, before) = window(pressure, at, VALUE_WINDOW_S);
    let side = before.min(near.len() - before);
    if side < 2 {
        return between(pressure, at).map(|(value, _)| (value, None));
    }
    let degree = if side >= PARABOLA_SIDE { 2 } else { 1 };
    let fit = fitted(near, at, degree)?;
    Some((fit.params[0], pulsation::about(&fit.residuals, degree + 1)))
}

/// Rate at a moment, kPa/s.
fn rate_at(pressure: &[(f64, f64)], at: f64) -> Option<f64> {
    let (near, before) = window(pressure, at, RATE_WINDOW_S);
    if before.min(near.len() - before) < 2 {
        return between(pressure, at).map(|(_, rate)| rate);
    }
    fitted(near, at, 1).map(|fit| fit.params[1])
}

/// A polynomial through samples, about `at`.
fn fitted(near: &[(f64, f64)], at: f64, degree: usize) -> Option<LinearFit> {
    let t: Vec<f64> = near.iter().map(|p| p.0 - at).collect();
    let y: Vec<f64> = near.iter().map(|p| p.1).collect();
    polynomial(&t, &y, None, degree, true).ok()
}

/// Value and slope straight between the samples around `at`.
fn between(pressure: &[(f64, f64)], at: f64) -> Option<(f64, f64)> {
    let after = pressure.partition_point(|p| p.0 < at);
    let (&(t0, p0), &(t1, p1)) = (pressure.get(after.checked_sub(1)?)?, pressure.get(after)?);
    let rate = (p1 - p0) / (t1 - t0);
    (t1 > t0).then_some((p0 + rate * (at - t0), rate))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ramp sampled every `dt`, with the contact changing at `edge_s`.
    fn ramp(rate: f64, dt: f64, edge_s: f64) -> Ramp {
        let mut r = Ramp { label: "1".into(), ..Ramp::default() };
        let start = if rate > 0.0 { 100.0 } else { 300.0 };
        for i in 0..=(20.0 / dt) as u32 {
            let t = f64::from(i) * dt;
            r.push_pressure(t, start + rate * t);
            r.contact.push(t, (t >= edge_s) == (rate > 0.0));
        }
        r
    }

    #[test]
    fn straight_ramps_give_the_middle_of_the_step() {
        for (rate, dt) in [(5.0, 0.01), (-5.0, 0.01), (2.0, 0.1), (2.0, 1.0)] {
            // The contact is seen changed at the first sample at or after 10 s.
            let got = reduce(&ramp(rate, dt, 10.0 - 0.001), 0.0);
            let crossing = got.used().unwrap();
            let start = if rate > 0.0 { 100.0 } else { 300.0 };
            let want = start + rate * (10.0 - 0.5 * dt);
            assert!((crossing.pressure_kpa - want).abs() < 1e-9, "{rate} {dt}: {crossing:?}");
            assert!((crossing.rate_kpa_s - rate).abs() < 1e-9);
            assert!((crossing.step_kpa - rate.abs() * dt).abs() < 1e-9);
            let way = if rate > 0.0 { Way::Rising } else { Way::Falling };
            assert_eq!((got.way, got.chatters), (Some(way), false));
        }
    }

    #[test]
    fn a_known_delay_of_the_gauge_is_taken_out() {
        let got = reduce(&ramp(5.0, 0.01, 10.0 - 0.001), 0.2);
        assert!((got.used().unwrap().pressure_kpa - (100.0 + 5.0 * 10.195)).abs() < 1e-9);
    }

    #[test]
    fn curved_ramps_are_followed() {
        let mut r = ramp(5.0, 0.01, 10.0 - 0.001);
        r.pressure.iter_mut().for_each(|p| p.1 = 400.0 * (1.0 - (-p.0 / 8.0).exp()));
        let got = reduce(&r, 0.0);
        let want = 400.0 * (1.0 - (-9.995_f64 / 8.0).exp());
        assert!((got.used().unwrap().pressure_kpa - want).abs() < 1e-3);
    }

    #[test]
    fn what_cannot_be_used_says_why() {
        let empty = reduce(&Ramp::default(), 0.0);
        assert_eq!(empty.void.as_deref(), Some("the switch was not read"));
        let mut triangle = ramp(5.0, 0.1, 30.0);
        for i in 0..=200 {
            triangle.push_pressure(20.1 + f64::from(i) * 0.1, 200.0 - 0.5 * f64::from(i));
        }
        let got = reduce(&triangle, 0.0);
        assert!(got.way.is_none() && got.void.unwrap().contains("neither a rise nor a fall"));
        let mut still = ramp(5.0, 0.1, 30.0);
        still.pressure.iter_mut().for_each(|p| p.1 = 7.0);
        assert!(reduce(&still, 0.0).void.is_some());
        let open = reduce(&ramp(5.0, 0.1, 30.0), 0.0);
        assert!(open.used().is_none() && open.note == "contact open all along");
        let mut early = ramp(5.0, 0.1, 5.0);
        early.pressure.retain(|p| p.0 > 8.0);
        assert!(reduce(&early, 0.0).note.contains("not read on both sides"));
    }

    #[test]
    fn chatter_is_seen() {
        let mut r = ramp(5.0, 0.01, 30.0);
        r.contact = Contact::default();
        for i in 0..=2000 {
            let t = f64::from(i) * 0.01;
            r.contact.push(t, t > 10.0 && (t > 12.0 || ((t * 4.0) as u32).is_multiple_of(2)));
        }
        let got = reduce(&r, 0.0);
        assert!(got.chatters && got.crossing.is_some(), "{got:?}");
    }
}
