//! The line pressure gauge: what it is known to be off by, common to every reading of a run.
//!
//! In: the rig's channel, or nothing. Out: contributions to a pressure, or to a difference of two. Never: a part that
//! shrinks with the number of cycles.

use super::expand::Part;
use crate::script::rig::{Bound, ChannelSpec, Rig};
use crate::script::role::Role;

/// Limits of zero error where nothing is stated, kPa: a 300 psi transducer of 0.25 % class (common practice, no
/// source).
pub const ASSUMED_ZERO_KPA: f64 = 0.75 * 6.894_757_293_168_361;

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
            from: "assumed, nothing stated: limits of 0.25 % of 300 psi".into(),
        }
    }

    /// The gauge of a rig; assumed where the rig has no line pressure channel or states no uncertainty for it.
    #[must_use]
    pub fn of_rig(rig: &Rig) -> Self {
        let find = |role: Role| rig.channels.iter().find(|c| c.role == role);
        let Some(line) = find(Role::LinePressure) else {
            return Self::assumed();
        };
        let contact_delay_s = find(Role::Switch).map_or(0.0, |c| c.delay_s);
        Self::of_channel(line, contact_delay_s)
    }

    fn of_channel(line: &ChannelSpec, contact_delay_s: f64) -> Self {
        let stated = line.uncertainty;
        let nothing = stated.zero == Bound::None && stated.gain == Bound::None;
        let base = if nothing {
            Self::assumed()
        } else {
            Gauge {
                zero: stated.zero,
                gain: stated.gain,
                from: "rig file".into(),
                ..Self::assumed()
            }
        };
        Gauge {
            resolution_kpa: stated.resolution,
            delay_s: line.delay_s - contact_delay_s,
            ..base
        }
    }

    /// Contributions to a pressure, kPa.
    #[must_use]
    pub fn at(&self, pressure_kpa: f64) -> Vec<Part> {
        let mut parts: Vec<Part> = Part::stated(self.zero, 1.0).into_iter().collect();
        parts.extend(self.of_difference(pressure_kpa));
        if self.resolution_kpa > 0.0 {
            parts.push(Part::limits(0.5 * self.resolution_kpa));
        }
        parts
    }

    /// Contributions to a difference of two pressures, kPa: the zero cancels.
    #[must_use]
    pub fn of_difference(&self, difference_kpa: f64) -> Vec<Part> {
        Part::stated(self.gain, difference_kpa).into_iter().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reduce::expand::expand;

    #[test]
    fn zero_cancels_in_a_difference_and_gain_does_not() {
        let gauge = Gauge {
            zero: Bound::Limits(5.0),
            gain: Bound::Limits(0.002),
            resolution_kpa: 0.1,
            delay_s: 0.0,
            from: "test".into(),
        };
        assert_eq!(gauge.at(200.0).len(), 3);
        let difference = expand(&gauge.of_difference(-30.0));
        assert!((difference.u95 - 0.95 * 0.06).abs() < 1e-12);
        // 0.75 psi as a rectangle: 0.7125 psi at 95 %.
        assert!((expand(&Gauge::assumed().at(200.0)).u95 / 6.894_757_293_168_361 - 0.7125).abs() < 1e-9);
    }
}
