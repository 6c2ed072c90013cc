//! The units we read and print: one table, exact factors to the internal unit.
//!
//! In: a unit word as people write it. Out: the unit, or nothing. Never: a factor rounded from a printed table.
//! Factors are whole-number fractions, exact by definition: the international yard and pound agreement (1 lb =
//! 0.45359237 kg, 1 in = 25.4 mm), standard gravity 9.80665 m/s2, 1 US gal = 231 in3; conventional inHg from
//! 13 595.1 kg/m3. See NIST SP 811, appendix B.

use super::Dimension;

/// A unit of one dimension. Absolute pressure uses the units of gauge pressure, written with `abs` behind.
#[derive(Debug)]
pub struct Unit {
    /// As we print it.
    pub symbol: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    /// Other ways people write it.
    pub also: &'static [&'static str],
    /// Internal units per unit, numerator: a whole number below 2^53.
    numerator: f64,
    /// Internal units per unit, denominator: a whole number below 2^53.
    denominator: f64,
    /// Reading in this unit at which the internal value is 0.
    zero: f64,
}

impl Unit {
    /// A value in this unit, in the internal unit.
    #[must_use]
    pub fn to_internal(&self, value: f64) -> f64 {
        self.difference_to_internal(value - self.zero)
    }

    /// An internal value, in this unit.
    #[must_use]
    pub fn express(&self, value: f64) -> f64 {
        self.difference_from_internal(value) + self.zero
    }

    /// A difference in this unit, in the internal unit (a temperature difference has no zero).
    #[must_use]
    pub fn difference_to_internal(&self, value: f64) -> f64 {
        value * self.numerator / self.denominator
    }

    /// An internal difference, in this unit.
    #[must_use]
    pub fn difference_from_internal(&self, value: f64) -> f64 {
        value * self.denominator / self.numerator
    }
}

macro_rules! units {
    ($($dimension:ident: $($symbol:literal $(| $also:literal)* = $num:literal / $den:literal $(from $zero:literal)?;)+)+) => {
        const UNITS: &[Unit] = &[$($(Unit {
            symbol: $symbol,
            dimension: Dimension::$dimension,
            also: &[$($also),*],
            numerator: $num as f64,
            denominator: $den as f64,
            zero: 0.0 $(+ $zero)?,
        },)+)+];
    };
}

units! {
    GaugePressure:
        "psi" | "lbf/in2" | "lb/in2" = 8_896_443_230_521_i64 / 1_290_320_000_000_i64;
        "kPa" = 1 / 1;
        "bar" = 100 / 1;
        "mbar" = 1 / 10;
        "MPa" = 1000 / 1;
        "hPa" = 1 / 10;
        "Pa" = 1 / 1000;
        "inHg" = 3_386_388_640_341_i64 / 1_000_000_000_000_i64;
        "kgf/cm2" | "kg/cm2" | "kgf/cm²" = 196_133 / 2000;
    Flow:
        "mL/min" | "cc/min" | "cm3/min" | "cm³/min" = 1 / 1;
        "L/min" = 1000 / 1;
        "L/h" = 1000 / 60;
        "mL/s" | "cc/s" = 60 / 1;
        "gal/h" | "US gal/h" | "gph" = 3_785_411_784_i64 / 60_000_000;
        "gal/min" | "US gal/min" | "gpm" = 3_785_411_784_i64 / 1_000_000;
    Mass:
        "g" = 1 / 1;
        "kg" = 1000 / 1;
        "mg" = 1 / 1000;
        "oz" = 45_359_237 / 1_600_000;
        "lb" | "lbs" = 45_359_237 / 100_000;
    Volume:
        "mL" | "cc" | "cm3" | "cm³" = 1 / 1;
        "L" = 1000 / 1;
        "gal" | "US gal" = 3_785_411_784_i64 / 1_000_000;
    Voltage:
        "V" = 1 / 1;
        "mV" = 1 / 1000;
    Current:
        "A" = 1 / 1;
        "mA" = 1 / 1000;
    Time:
        "s" | "sec" = 1 / 1;
        "ms" = 1 / 1000;
        "min" = 60 / 1;
        "h" = 3600 / 1;
    Speed:
        "rpm" | "1/min" | "r/min" = 1 / 1;
    Frequency:
        "Hz" = 1 / 1;
        "kHz" = 1000 / 1;
    Ratio:
        "%" | "percent" = 1 / 1;
    Temperature:
        "degC" | "°C" | "C" = 1 / 1;
        "degF" | "°F" | "F" = 5 / 9 from 32.0;
    Length:
        "m" = 1 / 1;
        "mm" = 1 / 1000;
        "cm" = 1 / 100;
        "in" = 254 / 10_000;
    PressureRate:
        "psi/min" = 8_896_443_230_521_i64 / 1_290_320_000_000_i64;
        "kPa/min" = 1 / 1;
        "kPa/s" = 60 / 1;
        "bar/min" = 100 / 1;
        "bar/h" = 100 / 60;
    NozzleCoefficient:
        "mL/min/sqrt(kPa)" = 1 / 1;
    Compliance:
        "mL/kPa" = 1 / 1;
        "mL/bar" = 1 / 100;
}

/// The units of a dimension, the most usual first; none for a switch and a plain number. Absolute pressure has those of gauge pressure.
pub fn units_of(dimension: Dimension) -> impl Iterator<Item = &'static Unit> {
    let dimension = match dimension {
        Dimension::AbsolutePressure => Dimension::GaugePressure,
        other => other,
    };
    UNITS.iter().filter(move |u| u.dimension == dimension)
}

/// The unit that `word` names: as in the table, or in another case where that cannot mean anything else. A leading
/// `m` or `M` keeps its case: milli and mega are not the same.
#[must_use]
pub fn find_unit(word: &str, dimension: Dimension) -> Option<&'static Unit> {
    let word = word.split_whitespace().collect::<Vec<_>>().join(" ");
    let named = |exact: bool| {
        units_of(dimension).find(|u| {
            std::iter::once(&u.symbol)
                .chain(u.also)
                .any(|name| if exact { **name == *word } else { same_but_case(name, &word) })
        })
    };
    named(true).or_else(|| named(false))
}

/// Whether two unit words differ in case alone, and not in an `m` or `M` before other letters.
fn same_but_case(name: &str, word: &str) -> bool {
    let prefix = |s: &str| s.chars().next().filter(|c| c.eq_ignore_ascii_case(&'m'));
    name.eq_ignore_ascii_case(word) && (prefix(name) == prefix(word) || name == "min")
}
