//! An estimate with its budget: value, contributions, expanded uncertainty.
//!
//! In: a value and what it is uncertain by, source by source. Out: combined standard uncertainty, effective degrees of
//! freedom (Welch-Satterthwaite), and U at 95 % with t (JCGM 100:2008 G.4), or by convolution with the rectangle where
//! one stated limit outweighs the rest (JCGM 101:2008, 9.2). Never: a value without U.

use crate::numerics::distribution::t_cdf;
use crate::numerics::gum;
use crate::reduce::collection::Source;
use std::fmt;

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
        Estimate {
            value,
            u: combined.u,
            u95,
            dof: combined.dof,
            parts,
        }
    }

    /// For the file: none for infinite degrees of freedom.
    #[must_use]
    pub fn measured(&self) -> crate::calibration::Measured {
        let dof = self.dof.is_finite().then_some(self.dof);
        crate::calibration::Measured {
            value: self.value,
            u95: self.u95,
            dof,
        }
    }
}

/// Share of the variance from which on one rectangle decides the shape of the whole.
const RECTANGLE_RULES: f64 = 0.5;

fn expanded(parts: &[Part], u: f64, dof: f64) -> f64 {
    let widest = parts
        .iter()
        .filter(|p| p.rectangular)
        .map(|p| p.u.abs())
        .fold(0.0, f64::max);
    if widest * widest <= RECTANGLE_RULES * u * u {
        return gum::u95(u, dof);
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
fn rectangle_and_t(a: f64, s: f64, dof: f64) -> f64 {
    if s <= 1e-6 * a {
        return 0.95 * a;
    }
    let inside = |half: f64| {
        // Midpoints of the rectangle's positive half; the integrand is smooth on the scale of s.
        const STEPS: usize = 24;
        let sum: f64 = (0..STEPS)
            .map(|i| a * (i as f64 + 0.5) / STEPS as f64)
            .map(|x| t_cdf((half - x) / s, dof) - t_cdf((-half - x) / s, dof))
            .sum();
        sum / STEPS as f64
    };
    let (mut low, mut high) = (0.0, a + gum::u95(s, dof));
    for _ in 0..30 {
        let mid = 0.5 * (low + high);
        if inside(mid) < 0.95 {
            low = mid;
        } else {
            high = mid;
        }
    }
    0.5 * (low + high)
}
