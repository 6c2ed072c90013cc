//! What is sprayed and what it is weighed in: density, viscosity, buoyancy.
//!
//! In: temperature, pressure, composition. Out: a property with its standard uncertainty and a stated range. Never: a
//! value outside its range; that is a [`NumericsError::OutOfRange`].
//!
//! | file | what it holds |
//! |---|---|
//! | [`water`] | pure water: density, compression, viscosity |
//! | [`mix`] | methanol and water, by mass or by volume mixed |
//! | [`air`] | the air of the room |
//! | [`weighing`] | from mass read on a scale to volume: buoyancy, thrust, timing |

pub mod air;
pub mod mix;
pub mod water;
pub mod weighing;

pub use crate::numerics::NumericsError;

/// A property with its standard uncertainty, in the same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Property {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

/// A liquid: water, or methanol and water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fluid {
    methanol_mass_fraction: f64,
}

impl Fluid {
    /// A mix with this mass fraction of methanol, 0 to 1.
    ///
    /// # Errors
    /// `OutOfRange`.
    pub fn new(methanol_mass_fraction: f64) -> Result<Self, NumericsError> {
        in_range("mass fraction of methanol", methanol_mass_fraction, (0.0, 1.0), "0 to 1")?;
        Ok(Self { methanol_mass_fraction })
    }

    /// A mix of this share of methanol by volume, both measured before mixing at 20 degC.
    ///
    /// # Errors
    /// `OutOfRange`.
    pub fn from_volume_fraction(methanol_volume_fraction: f64) -> Result<Self, NumericsError> {
        in_range("volume fraction of methanol", methanol_volume_fraction, (0.0, 1.0), "0 to 1")?;
        Self::new(mix::mass_fraction(methanol_volume_fraction))
    }

    /// Mass fraction of methanol, 0 for water.
    #[must_use]
    pub fn methanol_mass_fraction(&self) -> f64 {
        self.methanol_mass_fraction
    }

    /// Whether there is no methanol in it.
    #[must_use]
    pub fn is_water(&self) -> bool {
        self.methanol_mass_fraction <= 0.0
    }

    /// Density, kg/m3 (the same number as g/L), at a temperature in degC and a gauge pressure in kPa.
    ///
    /// # Errors
    /// `OutOfRange`: water 0 to 60 degC, mixes 5 to 40 degC, pressure up to 3000 kPa.
    pub fn density_kg_m3(&self, degc: f64, gauge_kpa: f64) -> Result<Property, NumericsError> {
        if self.is_water() {
            water::density_kg_m3(degc, gauge_kpa)
        } else {
            mix::density_kg_m3(self.methanol_mass_fraction, degc, gauge_kpa)
        }
    }

    /// Dynamic viscosity, mPa s, near atmospheric pressure.
    ///
    /// # Errors
    /// `OutOfRange`: water 0 to 60 degC, mixes 5 to 40 degC.
    pub fn viscosity_mpa_s(&self, degc: f64) -> Result<Property, NumericsError> {
        if self.is_water() {
            water::viscosity_mpa_s(degc)
        } else {
            mix::viscosity_mpa_s(self.methanol_mass_fraction, degc)
        }
    }

    /// Relative change of density for one kelvin, per K, above zero where it shrinks: times the uncertainty of the
    /// temperature it is the relative uncertainty of the density.
    ///
    /// # Errors
    /// As [`Fluid::density_kg_m3`].
    pub fn expansion_per_k(&self, degc: f64) -> Result<f64, NumericsError> {
        let (low, high) = if self.is_water() { water::RANGE_DEGC } else { mix::RANGE_DEGC };
        let (below, above) = ((degc - 0.5).max(low), (degc + 0.5).min(high));
        let (cold, warm) = (self.density_kg_m3(below, 0.0)?.value, self.density_kg_m3(above, 0.0)?.value);
        Ok((cold / warm).ln() / (above - below))
    }
}

/// Errs unless `low <= found <= high`.
fn in_range(
    what: &'static str,
    found: f64,
    (low, high): (f64, f64),
    expected: &'static str,
) -> Result<(), NumericsError> {
    if found >= low && found <= high {
        Ok(())
    } else {
        Err(NumericsError::OutOfRange { what, found, expected })
    }
}
