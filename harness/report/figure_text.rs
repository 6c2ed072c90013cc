//! Numbers as people read them: `412.3 ± 6.2 mL/min (95 %)`.
//!
//! In: a value in internal units, its expanded uncertainty, degrees of freedom. Out: text, with U to two significant
//! digits and the value rounded to the same place (JCGM 100:2008 7.2.6), in metric or US units.
//! Never: more digits than the uncertainty supports; a number for something that is missing.

use crate::numerics::distribution;
use crate::quantity::Dimension;
pub use crate::quantity::Units;
use crate::uncertainty::rounding;

/// How an internal unit is displayed: `shown = value * factor + offset`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown<'a> {
    /// The unit as displayed.
    pub unit: &'a str,
    /// Exact factor.
    pub factor: f64,
    /// Added after the factor; it does not apply to differences and uncertainties.
    pub offset: f64,
}

/// The unit of a nozzle coefficient inside.
const COEFFICIENT: &str = "mL/min/sqrt(kPa)";

impl Units {
    /// How values of an internal unit are displayed; a unit that is not one of the internal ones stays as it is.
    #[must_use]
    pub fn shown(self, unit: &str) -> Shown<'_> {
        if unit == COEFFICIENT {
            return self.shown_coefficient();
        }
        let dimension = Dimension::ALL.iter().find(|d| d.internal_unit() == unit);
        match dimension.and_then(|d| self.of(*d)) {
            Some(to) => Shown {
                unit: symbol(to.symbol, dimension == Some(&Dimension::AbsolutePressure)),
                factor: to.difference_from_internal(1.0),
                offset: to.express(0.0),
            },
            None => Shown { unit, factor: 1.0, offset: 0.0 },
        }
    }

    /// Flow over the root of a pressure.
    fn shown_coefficient(self) -> Shown<'static> {
        let of = |dimension| self.of(dimension).map_or(1.0, |unit| unit.difference_from_internal(1.0));
        Shown {
            unit: match self {
                Units::Metric => "mL/min/√kPa",
                Units::Us => "gal/h/√psi",
            },
            factor: of(Dimension::Flow) / of(Dimension::GaugePressure).sqrt(),
            offset: 0.0,
        }
    }
}

/// A unit the way a page shows it.
fn symbol(symbol: &'static str, absolute: bool) -> &'static str {
    match symbol {
        "degC" => "°C",
        "degF" => "°F",
        "kPa" if absolute => "kPa abs",
        "psi" if absolute => "psi abs",
        other => other,
    }
}

/// The coverage factor for 95 % at `dof` degrees of freedom: the 97.5 % quantile of Student's t, 1.96 for none.
#[must_use]
pub fn coverage_factor(dof: Option<f64>) -> f64 {
    distribution::coverage(0.95, dof.unwrap_or(f64::INFINITY))
}

/// `k = 2.23` where it is known.
#[must_use]
pub fn k_text(dof: Option<f64>) -> String {
    let k = coverage_factor(dof);
    if k.is_finite() { format!("k = {k:.2}") } else { "k not known".to_owned() }
}

/// `10 degrees of freedom`; empty where they are without limit.
#[must_use]
pub fn dof_text(dof: Option<f64>) -> String {
    match dof {
        Some(v) if v < 100.0 => format!("{} degrees of freedom", trimmed(v, 1)),
        Some(v) if v < 1000.0 => format!("{v:.0} degrees of freedom"),
        _ => String::new(),
    }
}

/// `k = 2.23, 10 degrees of freedom`; `k = 1.96` where the degrees of freedom are without limit.
#[must_use]
pub fn coverage(dof: Option<f64>) -> String {
    let (k, dof) = (k_text(dof), dof_text(dof));
    if dof.is_empty() { k } else { format!("{k}, {dof}") }
}

/// A number rounded to a decimal place, with a true minus sign and without negative zero.
#[must_use]
pub fn at_place(value: f64, place: i32) -> String {
    if !value.is_finite() {
        return MISSING.to_owned();
    }
    let decimals = usize::try_from(-place).unwrap_or(0);
    let unit = 10f64.powi(place.max(0));
    let rounded = if place > 0 { (value / unit).round() * unit } else { value };
    minus(&format!("{rounded:.decimals$}"))
}

/// What stands for a number that is not there.
pub const MISSING: &str = "not measured";

/// A number to `digits` significant digits, without exponent; zero is `0`.
#[must_use]
pub fn significant(value: f64, digits: i32) -> String {
    if value.abs() < f64::MIN_POSITIVE {
        return "0".to_owned();
    }
    let text = format!("{value:.*e}", usize::try_from(digits - 1).unwrap_or(0));
    let exponent: i32 = text.rsplit('e').next().and_then(|e| e.parse().ok()).unwrap_or(0);
    at_place(value, exponent - digits + 1)
}

/// A number to at most `decimals` decimals, without trailing zeros.
#[must_use]
pub fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    minus(text)
}

/// A true minus sign, and no sign on zero.
fn minus(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text.to_owned(),
    }
}

/// A value and its uncertainty in displayed units, as text without unit: `("412.3", Some("6.2"))`.
/// Without an uncertainty the value has four significant digits.
#[must_use]
pub fn pair(value: f64, u95: Option<f64>, shown: Shown) -> (String, Option<String>) {
    let (value, u95) = (value * shown.factor + shown.offset, u95.map(|u| u * shown.factor));
    match u95.and_then(|u| rounding::place(u).map(|place| (u, place))) {
        Some((u, place)) if value.is_finite() => (at_place(value, place), Some(at_place(u, place))),
        _ => (significant(value, 4), None),
    }
}

/// `412.3 ± 6.2 mL/min (95 %)`; without an uncertainty `412.3 mL/min`; without a value `not measured`.
#[must_use]
pub fn figure(value: Option<f64>, u95: Option<f64>, unit: &str, units: Units) -> String {
    let Some(value) = value.filter(|v| v.is_finite()) else {
        return MISSING.to_owned();
    };
    let shown = units.shown(unit);
    match pair(value, u95, shown) {
        (value, Some(u)) => with_unit(&format!("{value} ± {u}"), shown.unit) + " (95 %)",
        (value, None) => with_unit(&value, shown.unit),
    }
}

/// Number and unit with a space between them; a number without unit alone.
#[must_use]
pub fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() { number.to_owned() } else { format!("{number} {unit}") }
}

/// Limits in words: `62 to 83 kPa`, `at most 83 kPa`, `at least 62 kPa`, `none`.
#[must_use]
pub fn limits(lower: Option<f64>, upper: Option<f64>, unit: &str, units: Units) -> String {
    let shown = units.shown(unit);
    let text = |v: f64| {
        let v = v * shown.factor + shown.offset;
        // Four significant digits, but never fewer than a whole number has.
        let digits = if v.abs() < 1000.0 { significant(v, 4) } else { at_place(v, 0) };
        if digits.contains('.') {
            digits.trim_end_matches('0').trim_end_matches('.').to_owned()
        } else {
            digits
        }
    };
    match (lower, upper) {
        (Some(low), Some(high)) => with_unit(&format!("{} to {}", text(low), text(high)), shown.unit),
        (None, Some(high)) => with_unit(&format!("at most {}", text(high)), shown.unit),
        (Some(low), None) => with_unit(&format!("at least {}", text(low)), shown.unit),
        (None, None) => "none".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_and_uncertainty_end_at_the_same_digit() {
        for (value, u95, text) in [
            (412.34, 6.21, "412.3 ± 6.2 mL/min (95 %)"),
            (412.34, 0.0996, "412.34 ± 0.10 mL/min (95 %)"),
            (412.34, 0.0994, "412.340 ± 0.099 mL/min (95 %)"),
            (412.34, 62.1, "412 ± 62 mL/min (95 %)"),
            (4123.4, 124.0, "4120 ± 120 mL/min (95 %)"),
            (-0.004, 0.12, "0.00 ± 0.12 mL/min (95 %)"),
            (-3.2419, 0.25, "−3.24 ± 0.25 mL/min (95 %)"),
            (99.96, 9.96, "100 ± 10 mL/min (95 %)"),
            (5.0, 0.0, "5.000 mL/min"),
            (5.0, f64::NAN, "5.000 mL/min"),
            (f64::NAN, 1.0, "not measured"),
        ] {
            assert_eq!(figure(Some(value), Some(u95), "mL/min", Units::Metric), text);
        }
        assert_eq!(figure(None, Some(1.0), "kPa", Units::Us), "not measured");
        assert_eq!(figure(Some(0.5), None, "", Units::Metric), "0.5000");
        assert_eq!(figure(Some(-0.0), None, "kPa", Units::Metric), "0 kPa");
    }

    #[test]
    fn rounds_as_the_guide_does() {
        // JCGM 100:2008 7.2.2: m_S = 100.02147 g with u_c = 0.35 mg.
        assert_eq!(
            figure(Some(100.021_47), Some(0.000_35), "g", Units::Metric),
            "100.02147 ± 0.00035 g (95 %)"
        );
        // JCGM 100:2008 7.2.4: expanded U = 0.79 mg.
        assert_eq!(
            figure(Some(100.021_47), Some(0.000_79), "g", Units::Metric),
            "100.02147 ± 0.00079 g (95 %)"
        );
        // JCGM 100:2008 7.2.6: 10.057 62 ohm with 27 milliohm becomes 10.058 ohm.
        assert_eq!(pair(10.057_62, Some(0.027), Units::Metric.shown("ohm")).0, "10.058");
    }

    #[test]
    fn coverage_factors_of_student() {
        // JCGM 100:2008 table G.2, p = 95 %: t of 1, 4, 9, 20 and infinite degrees of freedom.
        for (dof, k) in
            [(Some(1.0), 12.71), (Some(4.0), 2.78), (Some(9.0), 2.26), (Some(20.0), 2.09), (None, 1.96)]
        {
            assert!((coverage_factor(dof) - k).abs() < 0.005, "{dof:?}");
        }
        assert_eq!(coverage(Some(9.0)), "k = 2.26, 9 degrees of freedom");
        assert_eq!(coverage(Some(18.99)), "k = 2.09, 19 degrees of freedom");
        assert_eq!(coverage(None), "k = 1.96");
    }

    #[test]
    fn us_units_by_exact_factors() {
        // NIST SP 811 appendix B: psi = 6.894757 kPa; US gal/h from gal = 3.785412 L; degF.
        for (value, u95, unit, text) in [
            (68.947_57, 6.894_757, "kPa", "10.0 ± 1.0 psi (95 %)"),
            (630.902, 6.309_02, "mL/min", "10.00 ± 0.10 gal/h (95 %)"),
            (20.0, 0.5, "degC", "68.00 ± 0.90 °F (95 %)"),
            (13.8, 0.05, "V", "13.800 ± 0.050 V (95 %)"),
            (101.325, 0.689_475_7, "kPa abs", "14.70 ± 0.10 psi abs (95 %)"),
            // 1 mL/min/sqrt(kPa) is sqrt(6.894757)/63.0902 gal/h/sqrt(psi).
            (24.027_16, 0.240_271_6, "mL/min/sqrt(kPa)", "1.000 ± 0.010 gal/h/√psi (95 %)"),
        ] {
            assert_eq!(figure(Some(value), Some(u95), unit, Units::Us), text);
        }
    }

    #[test]
    fn limits_in_words() {
        let words = |low, high| limits(low, high, "kPa", Units::Metric);
        assert_eq!(words(Some(62.0), Some(82.7371)), "62 to 82.74 kPa");
        assert_eq!(words(None, Some(2068.43)), "at most 2068 kPa");
        assert_eq!(words(Some(0.0), None), "at least 0 kPa");
        assert_eq!(words(None, None), "none");
    }
}
