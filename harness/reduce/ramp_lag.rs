//! The lag between gauge and switch, found from ramps of different rates, or bounded.
//!
//! In: crossings of rising and falling ramps. Out: by how many seconds the pressure that was read runs ahead of the
//! pressure at the switch, with its uncertainty. On a ramp of rate r (negative where it falls) a lag of tau shifts the
//! pressure read at the edge by tau r: up and down apart from each other, which no single rate can tell from the
//! differential of the switch. So: regression of the pressure over the rate, one lag for making and breaking. Where
//! the rates differ enough to find it more closely than the assumption of plus or minus [`LAG_MAX_S`], the data alone
//! count, and the same where they contradict the assumption; else the two are weighted, and with one rate the
//! assumption bounds the lag. Never: a lag taken for known because it was not looked for.

use super::switch_ramps::Crossing;

/// Limits of the lag where nothing is known of it, s: gauge, hose and a damped switch on a bench answer within some
/// hundredths to tenths of a second (common practice, no source).
pub const LAG_MAX_S: f64 = 0.2;

/// The data contradict the assumption where they leave its limits by this many standard uncertainties.
const CONTRADICTED: f64 = 3.5;

/// The lag of the pressure at the switch behind the pressure that was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag {
    /// Best value, s; positive where the gauge runs ahead.
    pub value_s: f64,
    /// Standard uncertainty, s.
    pub u_s: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Share of the data in it: 0 where it is only bounded, 1 where the assumption had no part.
    pub from_data: f64,
}

impl Lag {
    /// Only bounded.
    #[must_use]
    pub fn bounded() -> Self {
        Lag { value_s: 0.0, u_s: LAG_MAX_S / 3f64.sqrt(), dof: f64::INFINITY, from_data: 0.0 }
    }
}

/// Finds or bounds the lag.
#[must_use]
pub fn lag(trips: &[&Crossing], resets: &[&Crossing]) -> Lag {
    let Some((slope, u, dof)) = regression(&[trips, resets]) else {
        return Lag::bounded();
    };
    let assumed = Lag::bounded().u_s;
    if u <= assumed || slope.abs() > LAG_MAX_S + CONTRADICTED * u {
        return Lag { value_s: slope, u_s: u, dof, from_data: 1.0 };
    }
    let weight = assumed * assumed / (assumed * assumed + u * u);
    Lag {
        value_s: weight * slope,
        u_s: u * weight.sqrt(),
        // The variance is weight times the data's; the assumed part of it is taken as known.
        dof: dof / (weight * weight),
        from_data: weight,
    }
}

/// Common slope of pressure over rate within groups: value, standard uncertainty, degrees of freedom.
fn regression(groups: &[&[&Crossing]]) -> Option<(f64, f64, f64)> {
    let (mut sxx, mut sxy, mut syy, mut dof) = (0.0, 0.0, 0.0, -1.0);
    for group in groups.iter().filter(|g| !g.is_empty()) {
        let n = group.len() as f64;
        let rate = group.iter().map(|c| c.rate_kpa_s).sum::<f64>() / n;
        let pressure = group.iter().map(|c| c.pressure_kpa).sum::<f64>() / n;
        for c in *group {
            let (x, y) = (c.rate_kpa_s - rate, c.pressure_kpa - pressure);
            sxx += x * x;
            sxy += x * y;
            syy += y * y;
        }
        dof += n - 1.0;
    }
    if dof < 1.0 || sxx <= 0.0 {
        return None;
    }
    let slope = sxy / sxx;
    let variance = (syy - slope * sxy).max(0.0) / dof;
    Some((slope, (variance / sxx).sqrt(), dof))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::{Seed, Stream, normal};

    fn crossings(stream: &mut Stream, mean: f64, tau: f64, rates: &[f64], sd: f64) -> Vec<Crossing> {
        let one = |&rate_kpa_s: &f64| Crossing {
            pressure_kpa: normal(stream, mean + tau * rate_kpa_s, sd),
            rate_kpa_s,
            step_kpa: 0.0,
            bounces: 0,
            about: None,
        };
        rates.iter().map(one).collect()
    }

    fn found(tau: f64, rates: &[f64], sd: f64, seed: u64) -> Lag {
        let mut stream = Seed(seed).stream("lag");
        let down: Vec<f64> = rates.iter().map(|r| -r).collect();
        let trips = crossings(&mut stream, 207.0, tau, rates, sd);
        let resets = crossings(&mut stream, 180.0, tau, &down, sd);
        lag(&trips.iter().collect::<Vec<_>>(), &resets.iter().collect::<Vec<_>>())
    }

    #[test]
    fn one_rate_only_bounds_and_two_rates_find() {
        let one = found(0.1, &[3.0; 12], 2.0, 1);
        assert!(one.from_data < 1e-6 && one.value_s.abs() < 1e-6, "{one:?}");
        let rates: Vec<f64> = (0..12).map(|i| if i < 9 { 3.0 } else { 40.0 }).collect();
        let two = found(0.1, &rates, 2.0, 1);
        assert!(two.from_data > 0.9, "{two:?}");
        assert!((two.value_s - 0.1).abs() < 3.0 * two.u_s, "{two:?}");
    }

    #[test]
    fn a_lag_beyond_what_was_assumed_is_believed() {
        let rates: Vec<f64> = (0..12).map(|i| if i % 2 == 0 { 3.0 } else { 12.0 }).collect();
        let long = found(1.5, &rates, 2.0, 3);
        assert!(long.from_data > 0.999);
        assert!((long.value_s - 1.5).abs() < 3.0 * long.u_s, "{long:?}");
    }

    #[test]
    fn a_lag_a_little_beyond_is_not_pulled_back() {
        let rates: Vec<f64> = (0..12).map(|i| if i % 2 == 0 { 3.4 } else { 13.8 }).collect();
        let bias = (0..200).map(|seed| found(0.5, &rates, 2.0, seed).value_s - 0.5).sum::<f64>() / 200.0;
        assert!(bias.abs() < 0.02, "{bias}");
    }

    #[test]
    fn without_noise_it_is_exact_and_without_data_it_is_bounded() {
        let exact = found(0.05, &[3.0, 3.0, 9.0, 9.0], 0.0, 1);
        assert!((exact.value_s - 0.05).abs() < 1e-9 && exact.u_s < 1e-6);
        assert_eq!(lag(&[], &[]), Lag::bounded());
        assert_eq!(found(0.1, &[3.0], 1.0, 1), Lag::bounded());
    }
}
