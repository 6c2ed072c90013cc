//! The air of the room: its density, for buoyancy.
//!
//! In: ambient pressure in absolute kPa, temperature in degC, relative humidity in %. Out: density with standard
//! uncertainty: CIPM-2007 (Picard, Davis, Glaeser and Fujii 2008, Metrologia 45, 149). Never: a density for air that is
//! not that of a room.

use super::{Property, in_range};
use crate::numerics::NumericsError;

/// Pressures of the formula's own range, kPa, and its temperatures, degC; somewhat beyond, its doubt is larger.
const BEST: ((f64, f64), (f64, f64)) = ((60.0, 110.0), (15.0, 27.0));
/// Relative standard uncertainty of the formula within its range, and beyond.
const U_RELATIVE: (f64, f64) = (22e-6, 1e-4);
/// Molar masses of dry air with 400 ppm of carbon dioxide and of water, kg/mol.
const AIR_MOLAR: f64 = 28.965_46e-3;
const WATER_MOLAR: f64 = 18.015_28e-3;

/// Density of moist air with 400 ppm of carbon dioxide.
///
/// # Errors
/// `OutOfRange` outside 60 to 110 kPa, 0 to 45 degC, 0 to 100 %.
pub fn density_kg_m3(ambient_kpa: f64, degc: f64, humidity_pct: f64) -> Result<Property, NumericsError> {
    in_range("ambient pressure", ambient_kpa, BEST.0, "60 to 110 kPa absolute")?;
    in_range("air temperature", degc, (0.0, 45.0), "0 to 45 degC")?;
    in_range("relative humidity", humidity_pct, (0.0, 100.0), "0 to 100 %")?;
    let (p, t, kelvin) = (ambient_kpa * 1e3, degc, degc + 273.15);
    let saturation = (1.237_884_7e-5 * kelvin * kelvin - 1.912_131_6e-2 * kelvin + 33.937_110_47
        - 6.343_164_5e3 / kelvin)
        .exp();
    let enhancement = 1.000_62 + 3.14e-8 * p + 5.6e-7 * t * t;
    let vapour = 0.01 * humidity_pct * enhancement * saturation / p;
    let first = 1.581_23e-6 - 2.933_1e-8 * t
        + 1.104_3e-10 * t * t
        + (5.707e-6 - 2.051e-8 * t) * vapour
        + (1.989_8e-4 - 2.376e-6 * t) * vapour * vapour;
    let second = 1.83e-11 - 0.765e-8 * vapour * vapour;
    let compressibility = 1.0 - p / kelvin * first + (p / kelvin).powi(2) * second;
    let value = p * AIR_MOLAR / (compressibility * 8.314_472 * kelvin)
        * (1.0 - (1.0 - WATER_MOLAR / AIR_MOLAR) * vapour);
    let best = degc >= BEST.1.0 && degc <= BEST.1.1;
    Ok(Property { value, u: value * if best { U_RELATIVE.0 } else { U_RELATIVE.1 } })
}
