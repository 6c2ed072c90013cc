//! An estimate with its budget: value, contributions, expanded uncertainty.
//!
//! In: a value and what it is uncertain by, source by source. Out: combined standard uncertainty, effective degrees of
//! freedom (Welch-Satterthwaite), and U at 95 % with t (JCGM 100:2008 G.4), or by convolution with the rectangle where
//! one stated limit outweighs the rest (JCGM 101:2008, 9.2). Never: a value without U.

use crate::numerics::distribution::{normal_cdf, normal_quantile};
use crate::numerics::gum;
use crate::reduce::collection::Source;
use std::f64::consts::PI;
use std::fmt;
use std::sync::OnceLock;

/// What makes a result uncertain.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// Scatter of the collections, and what they leave open about the law that joins them.
    Scatter,
    /// Disagreement with the curve that assumes no law.
    SecondOpinion,
    /// Scatter of a nozzle's coefficient and what its law leaves open.
    Nozzle(String),
    /// An error common to the data set.
    Common(Source),
    /// Share of the pump's slip that follows viscosity.
    LeakShare,
    /// What a warmer winding does to the motor.
    Winding,
    /// Another liquid through the nozzle: Reynolds number.
    Reynolds,
    /// Density of the liquid asked for.
    UsedDensity,
    /// Cracking pressure of the check valve.
    CheckValve,
    /// Temperature of the data, which was not measured.
    UnknownTemperature,
    /// What the pump does in what it was not measured for.
    Beyond,
    /// Drip and lag of the scale where flow stops or starts on a ramp.
    Edge,
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self {
            Cause::Scatter => "scatter of collections and form of the pump's law",
            Cause::SecondOpinion => "disagreement with a curve without a pump law",
            Cause::Nozzle(name) => return write!(f, "nozzle {name}: scatter and form of its law"),
            Cause::Common(source) => source_text(*source),
            Cause::LeakShare => "share of slip that follows viscosity",
            Cause::Winding => "temperature of the motor's winding",
            Cause::Reynolds => "discharge of another liquid (Reynolds number)",
            Cause::UsedDensity => "density of the liquid asked for",
            Cause::CheckValve => "cracking pressure of the check valve",
            Cause::UnknownTemperature => "temperature of the data, not measured",
            Cause::Beyond => "beyond what was measured",
            Cause::Edge => "drip and lag of the scale on the ramp",
        };
        f.write_str(text)
    }
}

/// A common error in words.
#[must_use]
pub const fn source_text(source: Source) -> &'static str {
    match source {
        Source::ScaleGain => "scale gain",
        Source::ClockGain => "clock",
        Source::GaugeZero => "line pressure gauge zero",
        Source::GaugeGain => "line pressure gauge gain",
        Source::BackGaugeZero => "back pressure gauge zero",
        Source::SupplyGain => "supply voltmeter gain",
        Source::SupplyZero => "supply voltmeter zero",
        Source::DutyZero => "duty zero",
        Source::DutyGain => "duty gain",
        Source::Density => "density of the bench fluid",
        Source::Capture => "mist lost and leak before the nozzle",
        Source::Freewheel => "free-wheel diode voltage",
        Source::TapLoss => "loss between gauge and nozzle",
        Source::TapHeight => "height of the gauge above the nozzle",
    }
}

/// A contribution to an estimate, in its unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// From what.
    pub cause: Cause,
    /// Standard uncertainty of the source, in the source's own unit; none where the source has no unit of its own.
    pub u_source: Option<f64>,
    /// Contribution to the estimate: sensitivity times standard uncertainty, with sign.
    pub u: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Whether the source is known by limits.
    pub rectangular: bool,
    /// Whether it was evaluated by statistics of observations.
    pub type_a: bool,
}

/// A value with everything it is uncertain by.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Combined standard uncertainty.
    pub u: f64,
    /// Expanded uncertainty at 95 %.
    pub u95: f64,
    /// Effective degrees of freedom.
    pub dof: f64,
    /// Contributions, in a fixed order.
    pub parts: Vec<Part>,
}

impl Estimate {
    /// From a value and its contributions.
    #[must_use]
    pub fn new(value: f64, parts: Vec<Part>) -> Self {
        let terms: Vec<gum::Term> = parts.iter().map(|p| gum::Term::new(p.u, p.dof)).collect();
        let combined = gum::combine(&terms);
        let u95 = expanded(&parts, combined.u, combined.dof);
        Estimate { value, u: combined.u, u95, dof: combined.dof, parts }
    }

    /// For the file: none for infinite degrees of freedom.
    #[must_use]
    pub fn measured(&self) -> crate::calibration::Measured {
        let dof = self.dof.is_finite().then_some(self.dof);
        crate::calibration::Measured { value: self.value, u95: self.u95, dof }
    }
}

/// Share of the variance from which on one rectangle decides the shape of the whole.
const RECTANGLE_RULES: f64 = 0.5;

fn expanded(parts: &[Part], u: f64, dof: f64) -> f64 {
    let widest = parts.iter().filter(|p| p.rectangular).map(|p| p.u.abs()).fold(0.0, f64::max);
    if widest * widest <= RECTANGLE_RULES * u * u {
        return if u > 0.0 { coverage95(dof) * u } else { 0.0 };
    }
    let rest: Vec<gum::Term> = {
        let mut skipped = false;
        parts
            .iter()
            .filter(|p| {
                let skip = !skipped && p.rectangular && p.u.abs() >= widest;
                skipped |= skip;
                !skip
            })
            .map(|p| gum::Term::new(p.u, p.dof))
            .collect()
    };
    let rest = gum::combine(&rest);
    rectangle_and_t(widest * 3.0_f64.sqrt(), rest.u, rest.dof)
}

/// Half-width of the interval that holds 95 % of a rectangle of half-width `a` plus `s` times Student's t.
///
/// For the normal distribution the probability within `U` is `(s/a) [G((U+a)/s) - G((U-a)/s)] - 1` with
/// `G(x) = x Phi(x) + phi(x)`; t is taken as the normal with the same 95 % interval.
fn rectangle_and_t(a: f64, s: f64, dof: f64) -> f64 {
    if s <= 1e-6 * a {
        return 0.95 * a;
    }
    let normal95 = normal_quantile(0.975);
    let s = s * coverage95(dof) / normal95;
    let g = |x: f64| x * normal_cdf(x) + (-0.5 * x * x).exp() / (2.0 * PI).sqrt();
    let inside = |u: f64| s / a * (g((u + a) / s) - g((u - a) / s)) - 1.0;
    let (mut low, mut high) = (0.0, a + normal95 * s);
    let (mut at_low, mut at_high) = (-0.95, inside(high) - 0.95);
    let mut mid = high;
    for round in 0..40 {
        let secant = low - at_low * (high - low) / (at_high - at_low);
        mid = if round % 3 == 2 || !secant.is_finite() { 0.5 * (low + high) } else { secant };
        let at = inside(mid) - 0.95;
        if at.abs() < 1e-7 {
            break;
        }
        if at < 0.0 {
            (low, at_low) = (mid, at);
        } else {
            (high, at_high) = (mid, at);
        }
    }
    mid
}

/// Steps of 1/dof in the table of coverage factors.
const COVERAGE_STEPS: usize = 400;

/// Coverage factor for 95 % at these degrees of freedom: cubic interpolation in 1/dof of the exact values, from 1 degree
/// of freedom on good to 1e-6; tables ask for thousands of it.
fn coverage95(dof: f64) -> f64 {
    static TABLE: OnceLock<Vec<f64>> = OnceLock::new();
    if dof.is_infinite() || dof.is_nan() || dof < 2.0 {
        return gum::k95(dof);
    }
    let table = TABLE.get_or_init(|| {
        (0..=COVERAGE_STEPS + 3).map(|i| gum::k95(2.0 * COVERAGE_STEPS as f64 / i as f64)).collect()
    });
    let at = 2.0 * COVERAGE_STEPS as f64 / dof;
    let i = (at.floor() as usize).clamp(1, COVERAGE_STEPS);
    let x = at - i as f64;
    let y = &table[i - 1..i + 3];
    let (c0, c1) = (y[1], 0.5 * (y[2] - y[0]));
    let c2 = y[0] - 2.5 * y[1] + 2.0 * y[2] - 0.5 * y[3];
    let c3 = 0.5 * (y[3] - y[0]) + 1.5 * (y[1] - y[2]);
    ((c3 * x + c2) * x + c1) * x + c0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(u: f64, rectangular: bool, dof: f64) -> Part {
        Part { cause: Cause::Beyond, u_source: None, u, dof, rectangular, type_a: false }
    }

    #[test]
    fn coverage_factors_are_those_of_t() {
        for dof in [2.0, 2.3, 3.0, 4.7, 9.0, 18.99, 50.0, 777.0, 1e6] {
            assert!((coverage95(dof) / gum::k95(dof) - 1.0).abs() < 2e-6, "{dof}: {}", coverage95(dof));
        }
    }

    #[test]
    fn one_wide_rectangle_decides_the_interval() {
        // JCGM 101:2008, 9.2.4: four rectangles with standard uncertainties 1, 1, 1 and 10. The law of propagation and a
        // normal distribution give 19.9; the distribution itself gives 17.0 (Monte Carlo and analytic).
        let parts = [1.0, 1.0, 1.0, 10.0].map(|u| part(u, true, f64::INFINITY)).to_vec();
        let e = Estimate::new(0.0, parts);
        assert!((e.u - 103.0_f64.sqrt()).abs() < 1e-12);
        assert!((e.u95 - 17.0).abs() < 0.05, "{}", e.u95);
        // 9.2.3: four equal rectangles, 3.88 for the distribution and 3.92 for the normal.
        let equal = Estimate::new(0.0, vec![part(1.0, true, f64::INFINITY); 4]);
        assert!((equal.u95 - 3.92).abs() < 0.005, "{}", equal.u95);
    }

    #[test]
    fn degrees_of_freedom_follow_welch_and_satterthwaite() {
        // JCGM 100:2008, G.4.1 gives the formula; two equal parts with 5 and 10 degrees: 4 / (1/5 + 1/10) = 13.33.
        let e = Estimate::new(1.0, vec![part(2.0, false, 5.0), part(-2.0, false, 10.0)]);
        assert!((e.dof - 40.0 / 3.0).abs() < 1e-9);
        assert!((e.u95 / e.u - gum::k95(40.0 / 3.0)).abs() < 1e-5);
    }
}
