//! Values with units, at the edge: parsed from what people write, printed the way they do.
//!
//! Internal units: gauge kPa, absolute kPa, mL/min, g, mL, V, A, s, rpm, Hz, %, degC. A number is converted once,
//! here, with exact factors. Gauge and absolute pressure are different types.

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
    /// 0 or 1; `on`, `off` in files.
    Switch,
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

impl Absolute {
    /// The same pressure against ambient.
    #[must_use]
    pub fn to_gauge(self, ambient: Absolute) -> Gauge {
        Gauge(self.0 - ambient.0)
    }
}
