//! The line pressure gauge: what it is known to be off by, common to every reading of a run.
//!
//! In: the rig's channel, or nothing. Out: contributions to a pressure, or to a difference of two. Never: a part that
//! shrinks with the number of cycles.

use super::zero::Vented;
use crate::script::rig::{ChannelSpec, Rig};
use crate::script::role::Role;
use crate::uncertainty::{Bound, Cause, Term, Uncertain};

/// Limits of zero error where nothing is stated, kPa: a 300 psi transducer of 0.25 % class (common practice, no
/// source).
pub const ASSUMED_ZERO_KPA: f64 = 0.75 * 6.894_757_293_168_361;

/// Times the stated standard uncertainty within which a vented reading is taken for the gauge's zero.
const FITS_K: f64 = 3.0;

/// What is known of a gauge.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// Zero error, kPa.
    pub zero: Bound,
    /// Gain error, fraction of the reading.
    pub gain: Bound,
    /// Width of one step of the reading, kPa.
    pub resolution_kpa: f64,
    /// Delay of the pressure reading behind that of the contact, known from data sheets, s.
    pub delay_s: f64,
    /// Noise of a single reading, kPa, where it was read vented.
    pub noise_kpa: Option<f64>,
    /// Where this comes from, in words.
    pub from: String,
}

impl Gauge {
    /// Nothing is stated: limits of a common gauge are taken.
    #[must_use]
    pub fn assumed() -> Self {
        Gauge {
            zero: Bound::Limits(ASSUMED_ZERO_KPA),
            gain: Bound::None,
            resolution_kpa: 0.0,
            delay_s: 0.0,
            noise_kpa: None,
            from: "assumed, nothing stated: limits of 0.25 % of 300 psi".into(),
        }
    }

    /// The gauge of a rig; assumed where the rig has no line pressure channel or states no uncertainty for it.
    #[must_use]
    pub fn of_rig(rig: &Rig) -> Self {
        let Some(line) = rig.channel(&Role::LinePressure) else {
            return Self::assumed();
        };
        let contact_delay_s = rig.channel(&Role::Switch).map_or(0.0, |c| c.delay_s);
        Self::of_channel(line, contact_delay_s)
    }

    fn of_channel(line: &ChannelSpec, contact_delay_s: f64) -> Self {
        let stated = line.uncertainty;
        let nothing = stated.zero == Bound::None && stated.gain == Bound::None;
        let base = if nothing {
            Self::assumed()
        } else {
            Gauge { zero: stated.zero, gain: stated.gain, from: "rig file".into(), ..Self::assumed() }
        };
        Gauge { resolution_kpa: stated.resolution, delay_s: line.delay_s - contact_delay_s, ..base }
    }

    /// With its zero read vented, before and after: the gauge that is left, and how much it reads too much (kPa).
    /// Readings that do not fit what is stated of the zero are not taken for it.
    #[must_use]
    pub fn zeroed(self, vented: &[Vented]) -> (Self, f64) {
        let (Some(first), Some(last)) = (vented.first(), vented.last()) else {
            return (self, 0.0);
        };
        let stated = self.zero.standard();
        let fits = |v: &Vented| v.kpa.abs() <= FITS_K * stated.hypot(v.u_kpa);
        // In between it may be anywhere between the two; one reading leaves half of what is stated.
        let between =
            if vented.len() > 1 { (last.kpa - first.kpa).abs() / 12f64.sqrt() } else { 0.5 * stated };
        let u = first.u_kpa.max(last.u_kpa).hypot(between);
        if !vented.iter().all(fits) || u >= stated {
            return (self, 0.0);
        }
        let zeroed = Gauge {
            zero: Bound::Standard(u, f64::INFINITY),
            from: format!("{}, zero read vented", self.from),
            ..self
        };
        (zeroed, 0.5 * (first.kpa + last.kpa))
    }

    /// What a pressure is uncertain by, kPa.
    #[must_use]
    pub fn at(&self, pressure_kpa: f64) -> Vec<Term> {
        let mut terms: Vec<Term> = self.zero.term(Cause::GaugeZero, 1.0).into_iter().collect();
        terms.extend(self.of_difference(pressure_kpa));
        if self.resolution_kpa > 0.0 {
            terms.push(Term::limits(Cause::Resolution, 0.5 * self.resolution_kpa));
        }
        terms
    }

    /// U of a pressure by the gauge alone, kPa.
    #[must_use]
    pub fn u95_at(&self, pressure_kpa: f64) -> f64 {
        Uncertain::new(pressure_kpa, self.at(pressure_kpa)).u95
    }

    /// What a difference of two pressures is uncertain by, kPa: the zero cancels.
    #[must_use]
    pub fn of_difference(&self, difference_kpa: f64) -> Vec<Term> {
        self.gain.term(Cause::GaugeGain, difference_kpa).into_iter().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_vented_reading_takes_the_zero_out_where_it_fits() {
        let vented = |kpa: f64| Vented { time_s: 0.0, kpa, u_kpa: 0.2 };
        let (gauge, offset) = Gauge::assumed().zeroed(&[vented(2.0), vented(2.2)]);
        assert!((offset - 2.1).abs() < 1e-12 && gauge.zero.standard() < 0.25);
        let (gauge, offset) = Gauge::assumed().zeroed(&[vented(2.0), vented(25.0)]);
        assert!(offset.abs() < 1e-12 && gauge == Gauge::assumed());
        assert!((Gauge::assumed().zeroed(&[vented(1.0)]).0.zero.standard() - 1.506).abs() < 0.001);
    }

    #[test]
    fn zero_cancels_in_a_difference_and_gain_does_not() {
        let gauge = Gauge {
            zero: Bound::Limits(5.0),
            gain: Bound::Limits(0.002),
            resolution_kpa: 0.1,
            delay_s: 0.0,
            noise_kpa: None,
            from: "test".into(),
        };
        assert_eq!(gauge.at(200.0).len(), 3);
        let difference = Uncertain::new(-30.0, gauge.of_difference(-30.0));
        assert!((difference.u95 - 0.95 * 0.06).abs() < 1e-12);
        // 0.75 psi as a rectangle: 0.7125 psi at 95 %.
        assert!((Gauge::assumed().u95_at(200.0) / 6.894_757_293_168_361 - 0.7125).abs() < 1e-9);
    }
}
