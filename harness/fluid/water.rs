//! Pure water: density with compression, viscosity.
//!
//! In: temperature in degC (ITS-90), gauge pressure in kPa. Out: density and viscosity with standard uncertainty. The
//! density is that of air-free water; dissolved air lowers it by 4 ppm at most, the salts of tap water raise it by tens
//! to hundreds of ppm, and both are in the uncertainty. Never: a value outside its range.

use super::{Property, in_range};
use crate::numerics::NumericsError;

/// Temperatures that have a density and a viscosity, degC.
pub const RANGE_DEGC: (f64, f64) = (0.0, 60.0);
/// Highest gauge pressure, kPa.
pub const PRESSURE_MAX_KPA: f64 = 3000.0;
/// Standard uncertainty of the density of tap water, relative: salts and air.
pub const U_TAP_RELATIVE: f64 = 1e-4;

/// End of the range of the CIPM formula, degC.
const CIPM_MAX_DEGC: f64 = 40.0;
/// Temperature about which the viscosity is known best, degC, and how far.
const VISCOSITY_BEST_DEGC: (f64, f64) = (20.0, 5.0);

/// Density at a temperature and a gauge pressure.
///
/// # Errors
/// `OutOfRange` outside 0 to 60 degC or -100 to 3000 kPa.
pub fn density_kg_m3(degc: f64, gauge_kpa: f64) -> Result<Property, NumericsError> {
    in_range("water temperature", degc, RANGE_DEGC, "0 to 60 degC")?;
    in_range("gauge pressure of the water", gauge_kpa, (-100.0, PRESSURE_MAX_KPA), "-100 to 3000 kPa")?;
    let free = if degc <= CIPM_MAX_DEGC { cipm_2001(degc) } else { kell_1975(degc) };
    let squeezed = compression(degc, gauge_kpa);
    // Above 40 degC the compressibility is extrapolated and off by 4 % at 60 degC.
    let doubt = if degc <= CIPM_MAX_DEGC { 0.005 } else { 0.05 };
    let value = free * (1.0 + squeezed);
    Ok(Property { value, u: value * U_TAP_RELATIVE.hypot(squeezed * doubt) })
}

/// Air-free water at 101.325 kPa, 0 to 40 degC, within 1 ppm: CIPM formula (Tanaka, Girard, Davis, Peuto and Bignell
/// 2001, Metrologia 38, 301).
fn cipm_2001(t: f64) -> f64 {
    let (a1, a2, a3, a4, a5) = (-3.983_035, 301.797, 522_528.9, 69.348_81, 999.974_950);
    a5 * (1.0 - (t + a1).powi(2) * (t + a2) / (a3 * (t + a4)))
}

/// Air-free water at 101.325 kPa, to 150 degC, within 5 ppm (Kell 1975, J. Chem. Eng. Data 20, 97; his scale is
/// IPTS-68).
fn kell_1975(degc: f64) -> f64 {
    let t = 1.000_24 * degc;
    let above = [999.839_52, 16.945_176, -7.987_040_1e-3, -46.170_461e-6, 105.563_02e-9, -280.542_53e-12];
    above.iter().rev().fold(0.0, |sum, a| sum * t + a) / (1.0 + 16.879_850e-3 * t)
}

/// Relative rise of density at a gauge pressure (Tanaka et al. 2001, eq. 5).
fn compression(t: f64, gauge_kpa: f64) -> f64 {
    (50.74e-8 - 0.326e-8 * t + 0.004_16e-8 * t * t) * gauge_kpa
}

/// Dynamic viscosity at 0.1 MPa (IAPWS SR6-08(2011), after Patek, Hruby, Klomfar, Souckova and Harvey 2009, J. Phys.
/// Chem. Ref. Data 38, 21). Its accuracy is 0.2 % near 20 degC and 1 % elsewhere, taken as limits of twice the standard
/// uncertainty. Pressures up to 2 MPa change it by less than 0.1 %.
///
/// # Errors
/// `OutOfRange` outside 0 to 60 degC.
pub fn viscosity_mpa_s(degc: f64) -> Result<Property, NumericsError> {
    in_range("water temperature", degc, RANGE_DEGC, "0 to 60 degC")?;
    let reduced = (degc + 273.15) / 300.0;
    let terms = [(280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.459_03, -40.0)];
    let value = terms.iter().map(|(a, b)| a * reduced.powf(*b)).sum::<f64>() * 1e-3;
    let near = (degc - VISCOSITY_BEST_DEGC.0).abs() <= VISCOSITY_BEST_DEGC.1;
    Ok(Property { value, u: value * if near { 0.001 } else { 0.005 } })
}
