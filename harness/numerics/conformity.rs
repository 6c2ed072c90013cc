//! Probability that a value lies within limits, and the risks of deciding by measurement (JCGM 106:2012).
//!
//! In: a value with its standard uncertainty, limits; for risks also how the things measured are spread. Out:
//! probabilities. Never: a verdict; that is one rule, elsewhere.

use super::distribution::{normal_cdf, normal_density, t_cdf};
use super::quadrature::integrate;

/// Panels of each integral over the spread of the things measured.
const PANELS: usize = 8;
/// Standard deviations beyond which the spread is nothing.
const REACH: f64 = 9.0;

/// Limits of a zone, included in it; none where open.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Zone {
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

impl Zone {
    /// The zone narrowed by a guard band at each limit; negative widens it.
    #[must_use]
    pub fn narrowed(&self, guard: f64) -> Zone {
        Zone { lower: self.lower.map(|l| l + guard), upper: self.upper.map(|u| u - guard) }
    }

    fn ends(&self) -> (f64, f64) {
        (self.lower.unwrap_or(f64::NEG_INFINITY), self.upper.unwrap_or(f64::INFINITY))
    }

    /// Probability that a variable about `mean` with standard deviation `sd` falls into the zone; `cdf` is that of the
    /// variable in units of `sd`.
    fn probability(&self, mean: f64, sd: f64, cdf: impl Fn(f64) -> f64) -> f64 {
        let (low, high) = self.ends();
        if high < low {
            return 0.0;
        }
        let (a, b) = ((low - mean) / sd, (high - mean) / sd);
        let below = |x: f64| {
            if x.is_infinite() { f64::from(u8::from(x > 0.0)) } else { cdf(x) }
        };
        // The difference of two tails keeps its digits on the side where they are small.
        if a > 0.0 { below(-a) - below(-b) } else { below(b) - below(a) }
    }
}

/// Probability that the true value lies within the limits, for a value with standard uncertainty `u`: normal for
/// infinite degrees of freedom, scaled t otherwise (JCGM 106:2012, 7).
#[must_use]
pub fn conformance_probability(value: f64, u: f64, dof: f64, limits: &Zone) -> f64 {
    limits.probability(value, u, |x| t_cdf(x, dof))
}

/// Risks of accepting and rejecting by measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Risk {
    /// Share of things outside the limits.
    pub nonconforming: f64,
    /// Share outside the limits and accepted.
    pub consumer: f64,
    /// Share inside the limits and not accepted.
    pub producer: f64,
    /// Share accepted.
    pub accepted: f64,
}

/// Global risks for things spread normally with `mean` and `sd`, measured with standard uncertainty `u`, accepted when
/// the measured value lies in `acceptance` (JCGM 106:2012, 9).
#[must_use]
pub fn global_risk(mean: f64, sd: f64, u: f64, limits: &Zone, acceptance: &Zone) -> Risk {
    let accepted_at = |z: f64| acceptance.probability(mean + sd * z, u, normal_cdf);
    let share = |low: f64, high: f64| {
        let (low, high) = (low.clamp(-REACH, REACH), high.clamp(-REACH, REACH));
        integrate(low, high, PANELS, |z| normal_density(z) * accepted_at(z))
    };
    let (low, high) = limits.ends();
    let (low, high) = ((low - mean) / sd, (high - mean) / sd);
    let inside = share(low, high);
    let consumer = share(-REACH, low) + share(high, REACH);
    let conforming = limits.probability(mean, sd, normal_cdf);
    Risk {
        nonconforming: 1.0 - conforming,
        consumer,
        producer: conforming - inside,
        accepted: inside + consumer,
    }
}
