//! What is known of the instruments, from a rig file, or assumed in so many words.
//!
//! In: a checked rig, or nothing. Out: bounds for every error that the budget counts, each with where it comes from.
//! What a rig states counts as stated; a channel that states nothing about an error adds nothing, and a finding says
//! so. Without a rig these are assumed (common practice, no source):
//!
//! | what | assumed |
//! |---|---|
//! | scale | a kitchen scale: gain within 0.3 %, step as fine as the digits given |
//! | stopwatch | pressed by hand: start and stop within 0.2 s each; its rate within 0.02 % |
//! | pressure gauge | a dial: zero within 5 kPa, gain within 1.5 %, mean shown of ripple up to 20 % of it |
//! | back pressure gauge | the same |
//! | voltmeter | zero within 20 mV, gain within 0.5 % |
//! | duty | zero within 0.2 %, gain within 0.3 % of it |
//! | water | 20 degC within 5 K |
//! | spray lost as mist | 0 to 0.5 % |
//! | leak before the nozzle | 0 to 0.2 % |
//! | from gauge to nozzle | 0 to 1 % of pressure lost, heights equal within 0.1 m |
//! | jet into the cup | a fifth of its thrust reaches the pan |
//! | free-wheel diode | 0.7 V within 0.2 V |
//!
//! Never: a default passed off as a statement of the rig.

use crate::script::rig::{ChannelSpec, DialectSpec, Rig};
use crate::script::role::Role;
use crate::uncertainty::Bound;
use std::time::Duration;

/// Where a number comes from: the rig file.
pub const FROM_RIG: &str = "rig file";
/// Where a number comes from: nowhere, it is assumed.
pub const ASSUMED: &str = "assumed, nothing stated";

/// Sample period of a gauge that shows the ripple of a pump; a slower one is taken to show the mean.
const RIPPLE_SEEN: Duration = Duration::from_millis(50);
/// Amplitude of the ripple that a slow gauge hides, fraction of pressure.
const RIPPLE_HIDDEN: f64 = 0.2;
/// Start and stop of a collection timed by hand, limits, s.
const BY_HAND_S: f64 = 0.2;

/// An instrument's errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Instrument {
    /// Zero, role units.
    pub zero: Bound,
    /// Gain, fraction.
    pub gain: Bound,
    /// One step, role units.
    pub step: f64,
    /// Delay behind what it measures, s.
    pub delay_s: f64,
    /// Sample period.
    pub every: Duration,
    /// [`FROM_RIG`] or [`ASSUMED`].
    pub from: &'static str,
}

/// Everything known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Instruments {
    /// The scale under the cup.
    pub scale: Instrument,
    /// Line pressure.
    pub gauge: Instrument,
    /// Back pressure.
    pub back: Instrument,
    /// Supply.
    pub supply: Instrument,
    /// Duty, as measured or as commanded.
    pub duty: Instrument,
    /// Water temperature: value where no channel reads it, and the standard uncertainty of either.
    pub water_degc: (f64, f64),
    /// Ambient pressure where no channel reads it, absolute kPa.
    pub ambient_kpa: f64,
    /// Relative error of the clock.
    pub clock: Bound,
    /// Limits of start and stop of a collection together, standard uncertainty, s; 0 where the program takes the time.
    pub timing_s: f64,
    /// Lowest and highest fraction lost as mist.
    pub mist: (f64, f64),
    /// Lowest and highest fraction lost before the nozzle.
    pub leak: (f64, f64),
    /// Lowest and highest fraction of pressure lost between gauge and nozzle, ripple that the gauge hides included.
    pub tap_loss: (f64, f64),
    /// Height of the gauge above the nozzle and its standard uncertainty, m.
    pub tap_height_m: (f64, f64),
    /// Fraction of the jet's thrust that reaches the pan.
    pub jet_on_pan: f64,
    /// Whether the gauge shows the pump's ripple.
    pub ripple_seen: bool,
    /// Free-wheel diode voltage and its standard uncertainty, V.
    pub freewheel_v: (f64, f64),
    /// Mass fraction of methanol.
    pub methanol: f64,
    /// Where the terms of the method come from.
    pub from: &'static str,
}

/// An instrument nobody described.
const fn assumed(zero: f64, gain: f64) -> Instrument {
    Instrument {
        zero: Bound::Limits(zero),
        gain: Bound::Limits(gain),
        step: 0.0,
        delay_s: 0.0,
        every: Duration::from_secs(1),
        from: ASSUMED,
    }
}

impl Instruments {
    /// What is assumed of instruments that nobody described.
    #[must_use]
    pub fn assumed() -> Self {
        let third = 3.0_f64.sqrt();
        Instruments {
            scale: assumed(0.0, 0.003),
            gauge: assumed(5.0, 0.015),
            back: assumed(5.0, 0.015),
            supply: assumed(0.02, 0.005),
            duty: assumed(0.2, 0.003),
            water_degc: (20.0, 5.0 / third),
            ambient_kpa: 101.325,
            clock: Bound::Limits(0.0002),
            timing_s: by_hand_s(),
            mist: (0.0, 0.005),
            leak: (0.0, 0.002),
            tap_loss: (0.0, 0.01 + hidden_ripple(RIPPLE_HIDDEN)),
            tap_height_m: (0.0, 0.1 / third),
            jet_on_pan: 0.2,
            ripple_seen: false,
            freewheel_v: (0.7, 0.2 / third),
            methanol: 0.0,
            from: ASSUMED,
        }
    }

    /// What a rig states.
    #[must_use]
    pub fn of_rig(rig: &Rig) -> Self {
        let none = Self::assumed();
        let read = |role: Role, default: Instrument| rig.channel(&role).map_or(default, instrument);
        let by_hand = |c: &ChannelSpec| {
            rig.instruments.get(c.instrument).is_some_and(|i| i.dialect == DialectSpec::ByHand)
        };
        let gauge = read(Role::LinePressure, none.gauge);
        let ripple_seen = gauge.from == FROM_RIG
            && gauge.every <= RIPPLE_SEEN
            && !rig.channel(&Role::LinePressure).is_some_and(by_hand);
        let (low, high) = rig.method.tap_loss;
        let water = rig.channel(&Role::WaterTemperature).map(|c| c.uncertainty.zero.standard());
        let duty = rig.channel(&Role::Duty).or(rig.channel(&Role::PumpDuty));
        Instruments {
            scale: read(Role::CupMass, none.scale),
            gauge,
            back: read(Role::BackPressure, none.back),
            supply: rig
                .channel(&Role::Supply)
                .or(rig.channel(&Role::SupplySet))
                .map_or(none.supply, instrument),
            duty: duty.map_or(none.duty, instrument),
            water_degc: (rig.fluid.temperature_degc.0, water.unwrap_or(rig.fluid.temperature_degc.1)),
            ambient_kpa: rig.engine.ambient.0,
            clock: rig.method.clock_gain,
            timing_s: if rig.channel(&Role::CupMass).is_some_and(by_hand) { by_hand_s() } else { 0.0 },
            mist: rig.method.mist_lost,
            leak: rig.method.leak_lost,
            tap_loss: (low, if ripple_seen { high } else { high + hidden_ripple(RIPPLE_HIDDEN) }),
            tap_height_m: rig.method.tap_height_m,
            jet_on_pan: rig.method.jet_on_pan,
            ripple_seen,
            freewheel_v: rig.pair.freewheel_v,
            methanol: rig.fluid.methanol_mass_fraction,
            from: FROM_RIG,
        }
    }

    /// What no statement was made about, in words.
    #[must_use]
    pub fn unstated(&self) -> Vec<&'static str> {
        let all = [
            ("the gain of the scale", self.scale.from, self.scale.gain),
            ("the zero of the line pressure gauge", self.gauge.from, self.gauge.zero),
            ("the gain of the line pressure gauge", self.gauge.from, self.gauge.gain),
            ("the gain of the supply voltmeter", self.supply.from, self.supply.gain),
            ("the zero of the duty", self.duty.from, self.duty.zero),
            ("the gain of the duty", self.duty.from, self.duty.gain),
            ("the rate of the clock", self.from, self.clock),
        ];
        all.iter()
            .filter(|(_, from, bound)| *from == FROM_RIG && *bound == Bound::None)
            .map(|(what, ..)| *what)
            .collect()
    }
}

/// Standard uncertainty of a collection's time, started and stopped by hand.
fn by_hand_s() -> f64 {
    BY_HAND_S / 3.0_f64.sqrt() * 2.0_f64.sqrt()
}

/// How far the mean pressure lies above the square of the mean root, fraction, for a sine of this relative
/// amplitude: `(mean sqrt(1 + a sin))^2 = 1 - a^2/8` to second order.
#[must_use]
pub fn hidden_ripple(amplitude: f64) -> f64 {
    amplitude * amplitude / 8.0
}

fn instrument(channel: &ChannelSpec) -> Instrument {
    Instrument {
        zero: channel.uncertainty.zero,
        gain: channel.uncertainty.gain,
        step: channel.uncertainty.resolution,
        delay_s: channel.delay_s,
        every: channel.every,
        from: FROM_RIG,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: design figure of 1.7 % for a ripple of 50 %, and the integral itself.
    #[test]
    fn ripple_lowers_the_mean_root() {
        for (amplitude, tolerance) in [(0.1, 1e-5), (0.2, 1e-4), (0.5, 4e-3)] {
            let n = 100_000;
            let root = |i: i32| {
                (1.0 + amplitude * (f64::from(i) / f64::from(n) * std::f64::consts::TAU).sin()).sqrt()
            };
            let mean = (0..n).map(root).sum::<f64>() / f64::from(n);
            assert!((1.0 - mean * mean - hidden_ripple(amplitude)).abs() < tolerance);
            if amplitude > 0.4 {
                assert!((1.0 - mean - 0.017).abs() < 5e-4, "{mean}");
            }
        }
    }
}
