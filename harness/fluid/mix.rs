//! Methanol and water: density and viscosity by mass fraction and temperature, and the mass fraction of a mix made by
//! volume.
//!
//! In: mass fraction of methanol, temperature in degC, gauge pressure in kPa. Out: density and viscosity with standard
//! uncertainties that grow where the sources thin out. Methanol and water shrink when mixed: adding volumes misses the
//! density by up to 3.6 %. Never: a composition read off by volume after mixing.
//!
//! Sources of the tables: density at 20 degC along the mixing line as reprinted in handbooks; temperature dependence
//! and viscosity up to 0.6 by mass from the fit to Melinder 2010 (IIR) in CoolProp; pure methanol from the equation of
//! state of de Reuck and Craven in CoolProp. Against handbook values at 20 degC the densities agree to 0.3 kg/m3.

use super::{Property, in_range, water};
use crate::numerics::NumericsError;
use crate::numerics::monotone::Pchip;
use std::sync::LazyLock;

/// Temperatures that have a density and a viscosity, degC.
pub const RANGE_DEGC: (f64, f64) = (5.0, 40.0);
/// Up to this mass fraction the temperature dependence is measured; beyond, it is interpolated to pure methanol.
const MEASURED_TO: f64 = 0.6;
/// Standard uncertainty of the density at 20 degC, kg/m3, up to there and beyond.
const U_DENSITY_KG_M3: (f64, f64) = (0.3, 0.8);
/// And what each kelvin away from 20 degC adds, kg/m3 per K: our judgement, the sources give none.
const U_DENSITY_PER_K: (f64, f64) = (0.03, 0.06);
/// Standard uncertainty of the viscosity, relative: our judgement, generous.
const U_VISCOSITY_RELATIVE: (f64, f64) = (0.04, 0.08);
/// Compressibility of methanol, 1/kPa, from memory, and its relative doubt.
const METHANOL_COMPRESSIBILITY: (f64, f64) = (1.2e-6, 0.25);

/// Densities of the pure liquids at 20 degC, kg/m3, that volumes are mixed with.
const PURE_WATER_KG_M3: f64 = 998.2067;
const PURE_METHANOL_KG_M3: f64 = 791.0124;

/// Mass fraction and density at 20 degC, kg/m3.
const AT_20_DEGC: [(f64, f64); 11] = [
    (0.0, 998.2),
    (0.080_923_0, 984.652),
    (0.165_350_9, 971.697),
    (0.208_951_1, 965.273),
    (0.253_516_4, 958.580),
    (0.345_673_4, 944.051),
    (0.442_099_1, 926.902),
    (0.543_097_3, 906.551),
    (0.703_905_4, 870.564),
    (0.877_027_5, 826.698),
    (1.0, 791.700),
];

/// Temperatures of the tables, degC.
const TEMPERATURES: [f64; 8] = [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0];

/// Mass fractions of the tables.
const FRACTIONS: [f64; 8] = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 1.0];

/// Density, kg/m3: a row a mass fraction (water first, pure methanol last), a column a temperature.
const DENSITY: [[f64; 8]; 8] = [
    [999.967, 999.703, 999.103, 998.207, 997.047, 995.649, 994.033, 992.215],
    [984.054, 983.461, 982.619, 981.537, 980.226, 978.695, 976.955, 975.016],
    [971.352, 970.004, 968.480, 966.785, 964.923, 962.897, 960.712, 958.372],
    [958.209, 956.081, 953.837, 951.478, 949.004, 946.416, 943.714, 940.898],
    [943.045, 940.289, 937.464, 934.569, 931.603, 928.565, 925.453, 922.267],
    [925.462, 922.250, 919.002, 915.718, 912.398, 909.042, 905.649, 902.220],
    [905.318, 901.681, 898.028, 894.363, 890.690, 887.010, 883.327, 879.643],
    [805.045, 800.367, 795.691, 791.012, 786.327, 781.628, 776.911, 772.169],
];

/// Viscosity, mPa s, in the same order.
const VISCOSITY: [[f64; 8]; 8] = [
    [1.5182, 1.3059, 1.1375, 1.0016, 0.8900, 0.7972, 0.7191, 0.6527],
    [2.1026, 1.7709, 1.5122, 1.3073, 1.1426, 1.0083, 0.8969, 0.8033],
    [2.6531, 2.2115, 1.8684, 1.5979, 1.3816, 1.2063, 1.0620, 0.9418],
    [2.9861, 2.4870, 2.0973, 1.7888, 1.5412, 1.3399, 1.1740, 1.0355],
    [3.0165, 2.5306, 2.1464, 1.8385, 1.5887, 1.3834, 1.2125, 1.0684],
    [2.7967, 2.3763, 2.0378, 1.7618, 1.5339, 1.3434, 1.1821, 1.0441],
    [2.4481, 2.1108, 1.8336, 1.6028, 1.4083, 1.2423, 1.0989, 0.9737],
    [0.7410, 0.6832, 0.6316, 0.5853, 0.5437, 0.5062, 0.4723, 0.4416],
];

/// A table ready to be read: one curve over temperature for each mass fraction.
struct Surface(Vec<Pchip>);

impl Surface {
    /// Of the logarithm of each value over that of its row at 20 degC (`relative`), or of the value itself.
    fn new(rows: &[[f64; 8]; 8], relative: bool) -> Option<Self> {
        let curve = |row: &[f64; 8]| {
            let base = if relative { row[3] } else { 1.0 };
            let logs: Vec<f64> = row.iter().map(|v| (v / base).ln()).collect();
            Pchip::new(&TEMPERATURES, &logs).ok()
        };
        rows.iter().map(curve).collect::<Option<Vec<_>>>().map(Surface)
    }

    fn at(&self, fraction: f64, degc: f64) -> Option<f64> {
        let logs = self.0.iter().map(|c| c.value(degc)).collect::<Option<Vec<f64>>>()?;
        Pchip::new(&FRACTIONS, &logs).ok()?.value(fraction).map(f64::exp)
    }
}

static RELATIVE_DENSITY: LazyLock<Option<Surface>> = LazyLock::new(|| Surface::new(&DENSITY, true));
static VISCOSITIES: LazyLock<Option<Surface>> = LazyLock::new(|| Surface::new(&VISCOSITY, false));
static DENSITY_20: LazyLock<Option<Pchip>> = LazyLock::new(|| {
    let (w, rho): (Vec<f64>, Vec<f64>) = AT_20_DEGC.iter().copied().unzip();
    Pchip::new(&w, &rho).ok()
});

/// Mass fraction of methanol of a mix made from this share of methanol by volume, both at 20 degC before mixing.
#[must_use]
pub fn mass_fraction(methanol_volume_fraction: f64) -> f64 {
    let methanol = methanol_volume_fraction * PURE_METHANOL_KG_M3;
    methanol / (methanol + (1.0 - methanol_volume_fraction) * PURE_WATER_KG_M3)
}

/// Density at a temperature and a gauge pressure.
///
/// # Errors
/// `OutOfRange` outside 0 to 1 by mass, 5 to 40 degC, -100 to 3000 kPa.
pub fn density_kg_m3(fraction: f64, degc: f64, gauge_kpa: f64) -> Result<Property, NumericsError> {
    checked(fraction, degc)?;
    let plain = water::density_kg_m3(degc, gauge_kpa)?;
    let at_20 = DENSITY_20.as_ref().and_then(|c| c.value(fraction));
    let relative = RELATIVE_DENSITY.as_ref().and_then(|s| s.at(fraction, degc));
    let (Some(at_20), Some(relative)) = (at_20, relative) else {
        return Err(NumericsError::NotFinite { what: "density of the mix" });
    };
    let of_water = plain.value / water::density_kg_m3(degc, 0.0)?.value - 1.0;
    let of_methanol = METHANOL_COMPRESSIBILITY.0 * gauge_kpa;
    let squeezed = (1.0 - fraction) * of_water + fraction * of_methanol;
    let value = at_20 * relative * (1.0 + squeezed);
    let base = grade(fraction, U_DENSITY_KG_M3) + grade(fraction, U_DENSITY_PER_K) * (degc - 20.0).abs();
    let squeeze_doubt = value * fraction * of_methanol * METHANOL_COMPRESSIBILITY.1;
    Ok(Property { value, u: base.hypot(squeeze_doubt).hypot(value * water::U_TAP_RELATIVE) })
}

/// Dynamic viscosity near atmospheric pressure.
///
/// # Errors
/// `OutOfRange` outside 0 to 1 by mass, 5 to 40 degC.
pub fn viscosity_mpa_s(fraction: f64, degc: f64) -> Result<Property, NumericsError> {
    checked(fraction, degc)?;
    let value = VISCOSITIES.as_ref().and_then(|s| s.at(fraction, degc));
    let value = value.ok_or(NumericsError::NotFinite { what: "viscosity of the mix" })?;
    Ok(Property { value, u: value * grade(fraction, U_VISCOSITY_RELATIVE) })
}

fn grade(fraction: f64, (measured, beyond): (f64, f64)) -> f64 {
    if fraction <= MEASURED_TO { measured } else { beyond }
}

fn checked(fraction: f64, degc: f64) -> Result<(), NumericsError> {
    in_range("mass fraction of methanol", fraction, (0.0, 1.0), "0 to 1")?;
    in_range("temperature of the mix", degc, RANGE_DEGC, "5 to 40 degC")
}
