//! What is supposed of a pump before its data are seen.
//!
//! In: a term, full flow, a slip. Out: prior means and standard deviations of coefficients, and of hyper-parameters.
//! Every number here was chosen from the trade before any data were fitted. Never: a number tuned to data.

use super::bayes::Prior;
use super::terms::{LawTerm, ripple_frequency};
use std::f64::consts::PI;

/// Ripple terms: enough for the shortest length.
pub(super) const RIPPLES: u32 = 22;
/// Ripple terms that grow with pressure: many where the data hold several nozzles, few where only corrections need them.
pub(super) const RIPPLES_PRESSED: [u32; 2] = [6, 18];
/// How much more such a term may grow up to the highest pressure than the remainder's own amplitude: a remainder that
/// comes from the motor's current moves with pressure, so a third of the pressure's range may make it another one.
pub(super) const PRESSED: f64 = 3.0;
/// Amplitudes of the remainder that are weighed, fraction of full flow.
pub(super) const AMPLITUDES: [f64; 8] = [0.0002, 0.0005, 0.001, 0.002, 0.004, 0.008, 0.016, 0.032];
/// Amplitude from which on a remainder is thought less and less likely, fraction of full flow.
pub(super) const AMPLITUDE_SCALE: f64 = 0.003;
/// Kinds of remainder that are weighed: smooth, and with corners; lengths in units of the measured range of effective
/// voltage.
pub(super) const KINDS: [Kind; 5] =
    [Kind::Smooth(0.2), Kind::Smooth(0.5), Kind::Cornered(0.15), Kind::Cornered(0.4), Kind::Cornered(1.0)];
/// Prior standard deviations of the forms of loss, fraction of full flow: a few per cent each (common practice, no
/// source; chosen before any data were fitted).
pub(super) const LOSS_SD: [(LawTerm, f64); 5] = [
    (LawTerm::Bend, 0.04),
    (LawTerm::Seep, 0.015),
    (LawTerm::SlipBend, 0.03),
    (LawTerm::SlipRise, 0.04),
    (LawTerm::SlipLow, 0.05),
];
/// Prior of slip at the highest pressure, mean and standard deviation, fraction of full flow.
pub(super) const SLIP: (f64, f64) = (0.25, 0.2);
/// Where slip stands among the terms.
pub(super) const SLIP_AT: usize = 2;
/// Prior standard deviation of a bypass's slope, in full flows per highest pressure.
pub(super) const RELIEF_SD: f64 = 3.0;
/// Effective voltage at which an unloaded pump stops, V at 13.8 V of supply, and its standard deviation: dead bands of 5
/// to 12 % of duty (common practice, no source).
pub(super) const STALL_V: (f64, f64) = (0.6, 0.7);
/// Supply that figure belongs to, V.
pub(super) const STALL_SUPPLY_V: f64 = 13.8;
/// Flow of the pump at the highest effective voltage without pressure, in full flows, and its standard deviation: slip
/// and droop take a fifth to a half, a bypass more.
pub(super) const FREE_FLOW: (f64, f64) = (1.5, 0.6);
/// Prior standard deviation of what a pulsing current does beyond its textbook law, fraction of full flow over the
/// measured range.
pub(super) const PULSED_SD: f64 = 0.1;
/// Winding resistance over twice inductance and PWM frequency, times the rise of flow over the measured range, in full
/// flows, and its standard deviation: time constants of half a period to a few periods.
pub(super) const PULSED_DROP: (f64, f64) = (0.5, 0.3);
/// Prior standard deviation of the logarithm of the current's growth with pressure, times the rise of flow over the
/// measured range, in full flows: one nozzle tells it no better than by half.
pub(super) const PULSED_MORE_SD: f64 = 0.6;
/// Share of the prior for a current that stops between pulses somewhere in the data.
pub(super) const PULSED_SHARE: f64 = 0.3;
/// What is supposed of the pump where temperature or liquid change. Data at one temperature do not tell; data that span
/// several kelvin are left to tell by themselves, from these priors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warmth {
    /// Share of slip that is leakage through gaps, which follows viscosity; the rest is droop of the motor.
    pub leak_share: f64,
    /// Growth of slip by the motor's warmer winding per 10 K, fraction of slip.
    pub droop: f64,
    /// Loss of flow by friction in the warmer winding per 10 K, fraction of full flow.
    pub level: f64,
}

/// Supposed: slip from 0 to all of it leakage, uniformly.
pub const LEAK_SHARE: (f64, f64) = (0.5, 0.288_675_134_594_812_9);
/// Half of slip is droop, copper gains 4 % in 10 K (0.4 %/K, from memory), and the winding follows the water by some
/// half; mean and standard uncertainty.
pub const DROOP: (f64, f64) = (0.01, 0.01);
/// Friction takes a few tenths of a volt of the winding's drop, and grease loses some of its drag.
pub const LEVEL: (f64, f64) = (0.001, 0.002);

impl Warmth {
    /// The supposition.
    pub const SUPPOSED: Warmth = Warmth { leak_share: LEAK_SHARE.0, droop: DROOP.0, level: LEVEL.0 };
}

/// A kind of remainder, with its length in units of the measured range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Squared-exponential process.
    Smooth(f64),
    /// Matern process of order 3/2, once differentiable: it takes corners, such as where a current starts to stop
    /// between pulses.
    Cornered(f64),
}

impl Kind {
    /// Spectral density at ripple `k` of the process of unit variance (Rasmussen and Williams, Gaussian Processes for
    /// Machine Learning, 4.2, from memory).
    pub(super) fn density(self, k: u32) -> f64 {
        let w = ripple_frequency(k);
        match self {
            Kind::Smooth(l) => (2.0 * PI).sqrt() * l * (-0.5 * (w * l).powi(2)).exp().max(1e-12),
            Kind::Cornered(l) => {
                let a = 3.0_f64.sqrt() / l;
                4.0 * a.powi(3) / (a * a + w * w).powi(2)
            }
        }
    }
}

/// Priors of the coefficients of `terms`, in mL/min: `full` is full flow, `slip` the candidate's slip by a straight fit,
/// and `tells` whether the data tell by themselves what temperature does.
pub(super) fn prior(
    terms: &[LawTerm],
    full: f64,
    slip: f64,
    warmth: &Warmth,
    tells: bool,
    ripple: (f64, Kind),
) -> Prior {
    let tell = if tells { 1.0 } else { 1e-6 };
    let (amplitude, kind) = ripple;
    let loss = |term: &LawTerm| LOSS_SD.iter().find(|(t, _)| t == term).map_or(0.0, |(_, sd)| *sd);
    let (mean, sd) = terms
        .iter()
        .map(|term| match term {
            LawTerm::Level | LawTerm::Rise => (0.0, f64::INFINITY),
            LawTerm::Slip => (SLIP.0 * full, SLIP.1 * full),
            LawTerm::Thin => (warmth.leak_share * slip, tell * LEAK_SHARE.1 * slip),
            LawTerm::Warm => (warmth.droop * slip, tell * DROOP.1 * slip),
            LawTerm::WarmLevel => (warmth.level * full, tell * LEVEL.1 * full),
            LawTerm::Relief { .. } => (0.0, RELIEF_SD * full),
            LawTerm::Pulsed { .. } => (0.0, PULSED_SD * full),
            LawTerm::PulsedDrop { .. } => (PULSED_DROP.0 * full, PULSED_DROP.1 * full),
            LawTerm::PulsedMore { .. } => (0.0, PULSED_MORE_SD * full),
            LawTerm::Ripple(k) => (0.0, full * amplitude * kind.density(*k).sqrt()),
            LawTerm::RipplePressed(k) => (0.0, PRESSED * full * amplitude * kind.density(*k).sqrt()),
            other => (0.0, full * loss(other)),
        })
        .unzip();
    Prior { mean, sd }
}

/// Prior of an amplitude on the logarithmic grid.
pub(super) fn amplitude_prior(amplitude: f64) -> f64 {
    let a = amplitude / AMPLITUDE_SCALE;
    a / (1.0 + a * a).powf(1.5)
}
