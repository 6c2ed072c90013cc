//! From a mass read on a scale to a volume that was sprayed.
//!
//! In: readings in g, times in s, densities in kg/m3. Out: buoyancy factor, volume flow, apparent mass of a jet, timing
//! correction of a stopwatch. Never: a mass taken as true because a scale shows it.

/// Density of the weights that scales are adjusted with, kg/m3 (OIML R 111-1, conventional).
pub const WEIGHTS_KG_M3: f64 = 8000.0;
/// Standard acceleration of gravity, m/s2.
const GRAVITY_M_S2: f64 = 9.806_65;

/// What a reading is multiplied with to give the true mass of a liquid weighed in air.
#[must_use]
pub fn buoyancy_factor(air_kg_m3: f64, liquid_kg_m3: f64, weights_kg_m3: f64) -> f64 {
    (1.0 - air_kg_m3 / weights_kg_m3) / (1.0 - air_kg_m3 / liquid_kg_m3)
}

/// Apparent mass in g of a jet that falls straight into the cup: mass flow in g/s times the ideal velocity from a
/// pressure difference in kPa, over gravity (momentum, own derivation). A real jet is slower and wider: an upper limit.
#[must_use]
pub fn jet_thrust_g(mass_flow_g_s: f64, difference_kpa: f64, density_kg_m3: f64) -> f64 {
    mass_flow_g_s * (2e3 * difference_kpa.max(0.0) / density_kg_m3).sqrt() / GRAVITY_M_S2
}
