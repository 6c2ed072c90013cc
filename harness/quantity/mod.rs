//! Values with units, at the edge: parsed from what people write, printed the way they do.
//!
//! Internal units: gauge kPa, absolute kPa, mL/min, g, mL, V, A, s, rpm, Hz, %, degC, m. A number is converted once,
//! here, with exact factors. Gauge and absolute pressure are different types. Never: a bare number taken for a
//! quantity that has a unit.

mod decimal;
mod parse;
mod show;
mod unit;

pub use decimal::{AxisError, Decimal, axis};
pub use parse::{QuantityError, parse, parse_difference, parse_number, split};
pub use show::{Units, rounded, show, show_difference};
pub use unit::{Unit, find_unit, units_of};

/// What a number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Pressure against ambient; kPa inside.
    GaugePressure,
    /// Pressure against vacuum; kPa inside.
    AbsolutePressure,
    /// Volume flow; mL/min inside.
    Flow,
    /// Mass; g inside.
    Mass,
    /// Volume; mL inside.
    Volume,
    /// Voltage; V inside.
    Voltage,
    /// Current; A inside.
    Current,
    /// Time; s inside.
    Time,
    /// Engine speed; rpm inside.
    Speed,
    /// Frequency; Hz inside.
    Frequency,
    /// Duty and other ratios; % inside.
    Ratio,
    /// Temperature; degC inside.
    Temperature,
    /// Length; m inside.
    Length,
    /// Fall or rise of pressure over time; kPa/min inside.
    PressureRate,
    /// Nozzle coefficient; mL/min/sqrt(kPa) inside.
    NozzleCoefficient,
    /// Volume taken in for a pressure; mL/kPa inside.
    Compliance,
    /// A number without a unit: an exponent, a count.
    Number,
    /// 0 or 1; `on`, `off` in files.
    Switch,
}

impl Dimension {
    /// Every dimension.
    pub const ALL: &[Dimension] = &[
        Dimension::GaugePressure,
        Dimension::AbsolutePressure,
        Dimension::Flow,
        Dimension::Mass,
        Dimension::Volume,
        Dimension::Voltage,
        Dimension::Current,
        Dimension::Time,
        Dimension::Speed,
        Dimension::Frequency,
        Dimension::Ratio,
        Dimension::Temperature,
        Dimension::Length,
        Dimension::PressureRate,
        Dimension::NozzleCoefficient,
        Dimension::Compliance,
        Dimension::Number,
        Dimension::Switch,
    ];

    /// In words with its article, an example as people write it, and the internal unit.
    const fn facts(self) -> (&'static str, &'static str, &'static str) {
        match self {
            Dimension::GaugePressure => ("a gauge pressure", "8.4 psi", "kPa"),
            Dimension::AbsolutePressure => ("an absolute pressure", "14.7 psi abs", "kPa abs"),
            Dimension::Flow => ("a volume flow", "250 mL/min", "mL/min"),
            Dimension::Mass => ("a mass", "120 g", "g"),
            Dimension::Volume => ("a volume", "500 mL", "mL"),
            Dimension::Voltage => ("a voltage", "13.8 V", "V"),
            Dimension::Current => ("a current", "4.2 A", "A"),
            Dimension::Time => ("a time", "30 s", "s"),
            Dimension::Speed => ("an engine speed", "3000 rpm", "rpm"),
            Dimension::Frequency => ("a frequency", "1000 Hz", "Hz"),
            Dimension::Ratio => ("a percentage", "30 %", "%"),
            Dimension::Temperature => ("a temperature", "20 degC", "degC"),
            Dimension::Length => ("a length", "150 mm", "m"),
            Dimension::PressureRate => ("a pressure per time", "3 psi/min", "kPa/min"),
            Dimension::NozzleCoefficient => {
                ("a nozzle coefficient", "24 mL/min/sqrt(kPa)", "mL/min/sqrt(kPa)")
            }
            Dimension::Compliance => ("a volume per pressure", "0.02 mL/kPa", "mL/kPa"),
            Dimension::Number => ("a plain number", "0.5", ""),
            Dimension::Switch => ("a switch position", "on", ""),
        }
    }

    /// In words, with its article: `a gauge pressure`.
    #[must_use]
    pub const fn noun(self) -> &'static str {
        self.facts().0
    }

    /// An example as people write it: `8.4 psi`.
    #[must_use]
    pub const fn example(self) -> &'static str {
        self.facts().1
    }

    /// The unit used inside and in files: `kPa`; empty for a switch and a plain number.
    #[must_use]
    pub const fn internal_unit(self) -> &'static str {
        self.facts().2
    }
}

/// Gauge pressure, kPa.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Gauge(pub f64);

/// Absolute pressure, kPa.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Absolute(pub f64);

impl Gauge {
    /// The same pressure against vacuum.
    #[must_use]
    pub fn to_absolute(self, ambient: Absolute) -> Absolute {
        Absolute(self.0 + ambient.0)
    }
}

/// A sensor of absolute pressure whose voltage is linear between two points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PressureSensor {
    /// Voltage, V, and the pressure it means, twice; neither twice the same.
    pub points: [(f64, Absolute); 2],
}

impl PressureSensor {
    /// Pressure a volt, kPa/V.
    #[must_use]
    pub fn kpa_per_v(&self) -> f64 {
        let [(v0, p0), (v1, p1)] = self.points;
        (p1.0 - p0.0) / (v1 - v0)
    }

    /// The voltage, V, at a pressure.
    #[must_use]
    pub fn volts(&self, pressure: Absolute) -> f64 {
        let (v0, p0) = self.points[0];
        v0 + (pressure.0 - p0.0) / self.kpa_per_v()
    }

    /// The pressure that a voltage, V, means.
    #[must_use]
    pub fn pressure(&self, volts: f64) -> Absolute {
        let (v0, p0) = self.points[0];
        Absolute(p0.0 + (volts - v0) * self.kpa_per_v())
    }
}

impl Absolute {
    /// The same pressure against ambient.
    #[must_use]
    pub fn to_gauge(self, ambient: Absolute) -> Gauge {
        Gauge(self.0 - ambient.0)
    }
}
