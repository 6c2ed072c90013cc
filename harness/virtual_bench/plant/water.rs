//! The water: temperature that drifts, density and viscosity from it.
//!
//! Density by Kell 1975 (J. Chem. Eng. Data 20, 97), viscosity by a Vogel equation: other formulas than the
//! analysis uses, so that agreement means something.

use crate::virtual_bench::config::WaterConfig;

/// Density of pure water at ambient pressure, kg/m3, at a temperature in degC (ITS-90); Kell 1975, whose
/// temperatures are IPTS-68 (1.00024 times as many degrees).
pub(crate) fn density_kell(t90_degc: f64) -> f64 {
    let t = 1.000_24 * t90_degc;
    let poly = 999.839_52
        + t * (16.945_176
            + t * (-7.987_040_1e-3 + t * (-46.170_461e-6 + t * (105.563_02e-9 - t * 280.542_53e-12))));
    poly / (1.0 + 16.879_850e-3 * t)
}

/// Viscosity of water, Pa s, at a temperature in degC: the Vogel equation 2.414e-5 * 10^(247.8/(T - 140)), with
/// the widely used constants (from memory; good to 2.5 %).
pub(crate) fn viscosity_vogel(degc: f64) -> f64 {
    2.414e-5 * 10_f64.powf(247.8 / (degc + 273.15 - 140.0))
}

/// The water as it is now.
#[derive(Clone, Debug)]
pub(crate) struct Water {
    end_degc: f64,
    warming_s: f64,
    salts: f64,
    /// Temperature, degC.
    pub(crate) degc: f64,
    /// Density, kg/m3.
    pub(crate) density: f64,
    /// Viscosity, Pa s.
    pub(crate) viscosity: f64,
    /// Viscosity over that at 20 degC.
    pub(crate) viscosity_ratio: f64,
}

impl Water {
    pub(crate) fn new(c: &WaterConfig) -> Self {
        let mut water = Water {
            end_degc: c.end_degc,
            warming_s: c.warming_s,
            salts: c.salts,
            degc: c.start_degc,
            density: 0.0,
            viscosity: 0.0,
            viscosity_ratio: 1.0,
        };
        water.renew();
        water
    }

    /// Warms for a time, s.
    pub(crate) fn warm(&mut self, seconds: f64) {
        self.degc += (self.end_degc - self.degc) * (1.0 - (-seconds / self.warming_s).exp());
        self.renew();
    }

    fn renew(&mut self) {
        self.density = density_kell(self.degc) * (1.0 + self.salts);
        self.viscosity = viscosity_vogel(self.degc);
        self.viscosity_ratio = self.viscosity / viscosity_vogel(20.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn density_agrees_with_kells_table() {
        // Source: Kell 1975, table for IPTS-68 temperatures, kg/m3.
        for (t68, expected, tolerance) in
            [(20.0, 998.2041, 1e-4), (25.0, 997.0449, 1e-4), (50.0, 988.0363, 6e-4)]
        {
            let got = density_kell(t68 / 1.000_24);
            assert!((got - expected).abs() <= tolerance, "{t68}: {got}");
        }
    }

    #[test]
    fn viscosity_agrees_with_the_standard_point() {
        // Source: ISO/TR 3666, 1.0016 mPa s at 20 degC; 1.3059 at 10 and 0.6527 at 40 degC from IAPWS 2008.
        for (t, expected) in [(20.0, 1.0016e-3), (10.0, 1.3059e-3), (40.0, 0.6527e-3)] {
            assert!((viscosity_vogel(t) / expected - 1.0).abs() < 0.025, "{t}");
        }
    }
}
