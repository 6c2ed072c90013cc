//! The pump's pulsation on a ramp: the switch answers to its peaks, the mean pressure does not show them.
//!
//! On a slow rise the contact makes when a peak first reaches the trip, while the mean still lies an amplitude below;
//! on a fall it breaks in a trough, an amplitude above. So the amplitude is added to the mean at a trip and taken off
//! at a reset. It comes from the scatter of pressure about the ramp, less the gauge's own noise. That noise is read
//! while the line is vented; without such a reading it is told from pulsation by memory: white noise has none, and the
//! squared autocorrelations of a swing that makes up the part f of the variance have the mean f^2/2, however it is
//! sampled. In: crossings, and the gauge's noise where known. Out: [`Pulsation`]. Never: noise of a gauge taken for
//! pulsation without a sign of it.

use super::switch_ramps::Crossing;

/// Lags of the autocorrelations that are looked at: far enough apart for the memory of a filtered gauge to have faded,
/// which a swing's has not.
const LAGS: std::ops::RangeInclusive<usize> = 8..=17;
/// Their number.
const LAGS_COUNT: f64 = 10.0;
/// Readings about an edge from which on memory is looked at.
const READINGS_LEAST: usize = 36;
/// Memory counts where it exceeds what white noise shows by this many standard deviations.
const SEEN: f64 = 4.0;
/// An amplitude below this is rounding of the readings, kPa.
const LEAST_KPA: f64 = 0.02;
/// Limits of what the amplitude is off by, fraction of it: form of the swing, bandwidth of the gauge, peaks missed
/// between two strokes (common practice, no source).
pub const LIMITS_PART: f64 = 0.5;

/// Pressure about the ramp near an edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct About {
    /// Standard deviation about the ramp, kPa.
    pub sd_kpa: f64,
    /// Mean of the squared autocorrelations, less what white noise shows; none from too few readings.
    pub memory: Option<f64>,
    /// Readings.
    pub n: usize,
}

/// Scatter and memory of what remains about a ramp; `terms` were fitted.
#[must_use]
pub fn about(residuals: &[f64], terms: usize) -> Option<About> {
    let n = residuals.len();
    if n <= terms + 1 {
        return None;
    }
    let squares: f64 = residuals.iter().map(|r| r * r).sum();
    let sd_kpa = (squares / (n - terms) as f64).sqrt();
    let memory = (n >= READINGS_LEAST && squares > 0.0).then(|| {
        let lag = |k: usize| residuals.iter().zip(&residuals[k..]).map(|(a, b)| a * b).sum::<f64>() / squares;
        let sum: f64 = LAGS.map(|k| lag(k).powi(2) - (n - k) as f64 / (n * n) as f64).sum();
        sum / LAGS_COUNT
    });
    Some(About { sd_kpa, memory, n })
}

/// How the amplitude was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Found {
    /// There is no sign of pulsation, or nothing to tell it from noise.
    NotSeen,
    /// Scatter on the ramp less that of the vented gauge.
    AgainstVented,
    /// By the memory of the readings.
    ByMemory,
}

/// The pump's pulsation at the edges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulsation {
    /// Amplitude, kPa; 0 where none was seen.
    pub amplitude_kpa: f64,
    /// How it was found.
    pub found: Found,
}

impl Pulsation {
    /// None seen.
    pub const NONE: Pulsation = Pulsation { amplitude_kpa: 0.0, found: Found::NotSeen };
}

/// Finds the pulsation from the readings about each edge; `noise_kpa` is that of the vented gauge.
#[must_use]
pub fn pulsation(crossings: &[&Crossing], noise_kpa: Option<f64>) -> Pulsation {
    let about: Vec<About> = crossings.iter().filter_map(|c| c.about).collect();
    let readings: f64 = about.iter().map(|a| a.n as f64).sum();
    if about.is_empty() {
        return Pulsation::NONE;
    }
    let variance = about.iter().map(|a| a.sd_kpa * a.sd_kpa * a.n as f64).sum::<f64>() / readings;
    let swing = |variance: f64, found: Found| {
        let amplitude_kpa = (2.0 * variance).sqrt();
        if amplitude_kpa < LEAST_KPA { Pulsation::NONE } else { Pulsation { amplitude_kpa, found } }
    };
    if let Some(noise) = noise_kpa {
        // Standard deviation of a variance from that many readings.
        let doubt = variance * (2.0 / readings).sqrt();
        let more = variance - noise * noise;
        return if more > SEEN * doubt { swing(more, Found::AgainstVented) } else { Pulsation::NONE };
    }
    let memories: Vec<(f64, f64)> = about.iter().filter_map(|a| Some((a.memory?, a.n as f64))).collect();
    if memories.is_empty() {
        return Pulsation::NONE;
    }
    let count = memories.len() as f64;
    let mean = memories.iter().map(|m| m.0).sum::<f64>() / count;
    // A squared autocorrelation of white noise scatters by sqrt(2)/n.
    let doubt = memories.iter().map(|m| (2.0 / (m.1 * m.1)) / LAGS_COUNT).sum::<f64>().sqrt() / count;
    if mean <= SEEN * doubt {
        return Pulsation::NONE;
    }
    swing(variance * (2.0 * mean).sqrt().min(1.0), Found::ByMemory)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::{Seed, normal, uniform};

    /// Edges with a swing of an amplitude and white noise, sampled every 10 ms.
    fn edges(amplitude: f64, noise: f64) -> Vec<Crossing> {
        let mut stream = Seed(9).stream("swing");
        let one = |_| {
            let (hz, phase) =
                (uniform(&mut stream, 30.0, 220.0), uniform(&mut stream, 0.0, std::f64::consts::TAU));
            let residuals: Vec<f64> = (0..51)
                .map(|i| {
                    let t = 0.01 * f64::from(i) + uniform(&mut stream, -2e-4, 2e-4);
                    amplitude * (std::f64::consts::TAU * hz * t + phase).sin()
                        + normal(&mut stream, 0.0, noise)
                })
                .collect();
            Crossing {
                pressure_kpa: 200.0,
                rate_kpa_s: 3.0,
                step_kpa: 0.0,
                bounces: 0,
                about: about(&residuals, 3),
            }
        };
        (0..12).map(one).collect()
    }

    fn found(amplitude: f64, noise: f64, vented: Option<f64>) -> Pulsation {
        let edges = edges(amplitude, noise);
        pulsation(&edges.iter().collect::<Vec<_>>(), vented)
    }

    #[test]
    fn white_noise_is_no_pulsation() {
        assert_eq!(found(0.0, 1.0, None), Pulsation::NONE);
        assert_eq!(found(0.0, 1.0, Some(1.0)), Pulsation::NONE);
        assert_eq!(pulsation(&[], Some(1.0)), Pulsation::NONE);
    }

    #[test]
    fn a_filtered_gauge_shows_next_to_none() {
        let mut stream = Seed(2).stream("filtered");
        let one = |_| {
            // A time constant of 20 ms at 10 ms a reading.
            let keep = (-0.5_f64).exp();
            let mut y = 0.0;
            let residuals: Vec<f64> = (0..51)
                .map(|_| {
                    y = keep * y + normal(&mut stream, 0.0, (1.0 - keep * keep).sqrt());
                    y
                })
                .collect();
            Crossing { about: about(&residuals, 3), ..edges(0.0, 1.0)[0] }
        };
        let edges: Vec<Crossing> = (0..24).map(one).collect();
        let found = pulsation(&edges.iter().collect::<Vec<_>>(), None);
        assert!(found.amplitude_kpa < 0.7, "{found:?}");
    }

    #[test]
    fn the_amplitude_of_a_swing_comes_back() {
        for vented in [None, Some(0.8)] {
            let p = found(1.5, 0.8, vented);
            // A swing of 1.5 kPa; within a fifth, well inside the limits that go with it.
            assert!((p.amplitude_kpa / 1.5 - 1.0).abs() < 0.2, "{p:?}");
        }
        assert_eq!(found(1.5, 0.8, None).found, Found::ByMemory);
    }
}
