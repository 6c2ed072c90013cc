//! What liquid and temperature do to pump and nozzle.
//!
//! In: composition and temperature of the data and of the question. Out: how far the pump is from its reference, and
//! the factor on nozzle coefficients with what it is uncertain by. Never: a property outside its range.

use super::terms::Away;
use crate::fluid::{Fluid, NumericsError};
use crate::uncertainty::{Cause, Term};

/// Reference temperature of the tables, degC.
pub const REFERENCE_DEGC: f64 = 20.0;
/// Relative standard uncertainty of K for each doubling of kinematic viscosity: discharge of small nozzles moves by
/// about a per cent over such a change (common practice, no source).
const REYNOLDS_PER_DOUBLING: f64 = 0.01;

/// How far a liquid at a temperature is from the bench's liquid at the reference temperature.
///
/// # Errors
/// Temperature or composition out of the range of the property tables.
pub fn away(bench: Fluid, used: Fluid, degc: f64) -> Result<Away, NumericsError> {
    let reference = bench.viscosity_mpa_s(REFERENCE_DEGC)?.value;
    Ok(Away { thin: reference / used.viscosity_mpa_s(degc)?.value - 1.0, warm_k: degc - REFERENCE_DEGC })
}

/// Factor on a nozzle coefficient found with one liquid and used with another: `sqrt(rho_bench / rho_used)`.
#[derive(Clone, Debug, PartialEq)]
pub struct KFactor {
    /// The factor.
    pub value: f64,
    /// What it is uncertain by, relative.
    pub terms: Vec<Term>,
}

impl KFactor {
    /// The same liquid.
    pub const SAME: KFactor = KFactor { value: 1.0, terms: Vec::new() };

    /// From the bench's liquid at its temperature to another at its own.
    ///
    /// # Errors
    /// Temperature or composition out of the range of the property tables.
    pub fn new(bench: (Fluid, f64), used: (Fluid, f64)) -> Result<Self, NumericsError> {
        if bench == used {
            return Ok(KFactor::SAME);
        }
        let (rho_bench, rho_used) =
            (bench.0.density_kg_m3(bench.1, 0.0)?, used.0.density_kg_m3(used.1, 0.0)?);
        let kinematic = |(fluid, degc): (Fluid, f64), rho: f64| -> Result<f64, NumericsError> {
            Ok(fluid.viscosity_mpa_s(degc)?.value / rho)
        };
        let doublings = (kinematic(used, rho_used.value)? / kinematic(bench, rho_bench.value)?).log2();
        Ok(KFactor {
            value: (rho_bench.value / rho_used.value).sqrt(),
            terms: vec![
                Term::known(Cause::UsedDensity, 0.5 * rho_used.u / rho_used.value),
                Term::known(Cause::Reynolds, REYNOLDS_PER_DOUBLING * doublings.abs()),
            ],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn another_liquid_scales_by_the_root_of_densities() {
        // 50/50 by volume is 926.9 kg/m3 at 20 degC (CRC Handbook, Concentrative Properties of Aqueous Solutions,
        // through volume fractions); water 998.2 kg/m3: sqrt(998.2 / 926.9) = 1.0377.
        let mix = Fluid::from_volume_fraction(0.5).unwrap();
        let factor = KFactor::new((Fluid::new(0.0).unwrap(), 20.0), (mix, 20.0)).unwrap();
        assert!((factor.value - 1.0377).abs() < 3e-4, "{}", factor.value);
        let reynolds = factor.terms.iter().find(|p| p.cause == Cause::Reynolds).unwrap();
        // Twice the viscosity of water, roughly (CRC: 1.8 mPa s).
        assert!((0.005..0.015).contains(&reynolds.u), "{}", reynolds.u);
    }

    #[test]
    fn warm_water_is_thinner() {
        // IAPWS 2008: 1.3059, 1.0016 and 0.7972 mPa s at 10, 20 and 30 degC; 64 % more slip from 10 to 30 degC.
        let at = |t| away(Fluid::new(0.0).unwrap(), Fluid::new(0.0).unwrap(), t).unwrap().thin + 1.0;
        assert!((at(30.0) / at(10.0) - 1.638).abs() < 0.01);
        assert!(at(20.0) - 1.0 < 1e-12);
    }
}
