//! Values for people, in the units they chose.
//!
//! In: a value in the internal unit. Out: text with a unit. Never: a file; files are always metric.

use super::Dimension;
use super::unit::{Unit, units_of};

/// Which units people see.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Units {
    /// psi, US gal/h, degF, in, psi/min.
    Us,
    /// kPa, mL/min, degC, m.
    #[default]
    Metric,
}

impl Units {
    /// The unit a dimension is shown in; none for a switch and a plain number.
    #[must_use]
    pub fn of(self, dimension: Dimension) -> Option<&'static Unit> {
        let us = match dimension {
            Dimension::GaugePressure | Dimension::AbsolutePressure => Some("psi"),
            Dimension::Flow => Some("gal/h"),
            Dimension::Volume => Some("gal"),
            Dimension::Temperature => Some("degF"),
            Dimension::Length => Some("in"),
            Dimension::PressureRate => Some("psi/min"),
            _ => None,
        };
        let metric = dimension.internal_unit().trim_end_matches(" abs");
        let symbol = us.filter(|_| self == Units::Us).unwrap_or(metric);
        units_of(dimension).find(|u| u.symbol == symbol)
    }
}

/// A value as people read it, four significant digits: `250 psi`, `101.3 kPa abs`, `on`.
#[must_use]
pub fn show(value: f64, dimension: Dimension, units: Units) -> String {
    let Some(unit) = units.of(dimension) else {
        if dimension == Dimension::Number {
            return rounded(value, 4);
        }
        return if value >= 0.5 { "on" } else { "off" }.to_owned();
    };
    let abs = match dimension {
        Dimension::AbsolutePressure => " abs",
        _ => "",
    };
    format!("{} {}{abs}", rounded(unit.express(value), 4), unit.symbol)
}

/// A difference as people read it, four significant digits: `0.25 psi`.
#[must_use]
pub fn show_difference(value: f64, dimension: Dimension, units: Units) -> String {
    match units.of(dimension) {
        Some(unit) => format!("{} {}", rounded(unit.difference_from_internal(value), 4), unit.symbol),
        None => rounded(value, 4),
    }
}

/// A number with that many significant digits, trailing zeros left out; whole digits are never cut.
#[must_use]
pub fn rounded(value: f64, significant: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}").replace("-0", "0");
    }
    let decimals = (significant - 1 - value.abs().log10().floor() as i32).clamp(0, 12);
    let text = format!("{value:.*}", decimals.unsigned_abs() as usize);
    let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if short == "-0" { "0" } else { short }.to_owned()
}
