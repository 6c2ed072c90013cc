//! Parts of a calibration file, as they stand on disk.
//!
//! Plain data with units in the names; percentages where people read them. In and out: YAML through serde, unknown
//! fields refused. Never: runtime types.

use super::Measured;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What was measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Pair {
    /// Pump: type and serial number.
    pub pump: String,
    /// Wiring between supply terminals and pump, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wiring: Option<String>,
}

/// How the pump was driven.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Pwm {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// `high` or `low`; none where not stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drive_side: Option<String>,
}

/// What was sprayed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FluidEntry {
    /// Mass fraction of methanol, 0 for water.
    pub methanol_mass_fraction: f64,
}

/// Conditions of the tables.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReferenceEntry {
    /// Supply at the driver's terminals, V.
    pub supply_v: f64,
    /// Temperature of the liquid, degC; none where the data do not state theirs, which the tables then hold at.
    pub liquid_degc: Option<f64>,
    /// Pressure sprayed into on the bench, gauge kPa.
    pub outlet_kpa: f64,
}

/// A nozzle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NozzleEntry {
    /// Serial number or marking.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Coefficient of `Q = K sqrt(dP)` at the highest flow; none where line pressure was not measured.
    pub k_ml_min_per_sqrt_kpa: Option<Measured>,
    /// Free exponent of `Q = K dP^n`.
    pub exponent: Option<Measured>,
    /// Line pressure at full duty and reference conditions, gauge kPa.
    pub full_duty_kpa: Option<Measured>,
    /// Flow at full duty and reference conditions, mL/min.
    pub full_duty_ml_min: Option<Measured>,
    /// Duties measured, %, ascending.
    pub duties_pct: Vec<f64>,
    /// Lowest and highest flow measured, mL/min.
    pub flow_range_ml_min: [f64; 2],
    /// Coefficient that the surface is used with, all digits.
    pub k_used: f64,
    /// Where a curve without a law disagrees, and by how much the answers are widened.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub widening: Vec<Widening>,
}

/// Widening of the curve at a duty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Widening {
    /// Duty, %.
    pub duty_pct: f64,
    /// Standard uncertainty added, mL/min.
    pub u_ml_min: f64,
}

/// The pump in a few numbers, at reference conditions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Pump {
    /// Flow per volt of effective voltage without pressure.
    pub displacement_ml_min_per_v: Option<Measured>,
    /// Effective voltage below which nothing flows.
    pub friction_v: Option<Measured>,
    /// Loss of flow per kPa of line pressure, the bypass apart.
    pub slip_ml_min_per_kpa: Option<Measured>,
    /// Line pressure at which an internal bypass opens, where one was found.
    pub bypass_opens_kpa: Option<Measured>,
    /// Flow through it per kPa beyond.
    pub bypass_ml_min_per_kpa: Option<Measured>,
}

/// Where flow stops and starts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Duty {
    /// Duty at which steady flow stops on the way down, at reference supply into the bench outlet: of the first nozzle.
    pub dead_band_pct: Option<Measured>,
    /// The same by nozzle where there are several.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub by_nozzle: BTreeMap<String, Band>,
    /// Duty at which the pump starts from rest, where it was sought.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub breakaway_pct: Option<Measured>,
    /// Whether the duty of the curve was measured, or only commanded.
    pub measured: bool,
}

/// Dead band of one nozzle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// Duty at which steady flow stops on the way down.
    pub dead_band_pct: Measured,
}

/// Check valve.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CheckValve {
    /// Cracking pressure.
    pub cracking_kpa: Measured,
}

/// Which law, and why.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Model {
    /// The law in a few parameters that the data ask for.
    pub chosen: String,
    /// The evidence, a line each.
    pub why: Vec<String>,
    /// Standard deviation of one collection at full flow, mL/min.
    pub scatter_ml_min: f64,
}

/// A lowest and a highest value.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Lowest.
    pub low: f64,
    /// Highest.
    pub high: f64,
}

/// Range measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RangeEntry {
    /// Duty with flow, %.
    pub duty_pct: Limits,
    /// Supply, V.
    pub supply_v: Limits,
    /// Line pressure, gauge kPa; null where it was not measured.
    pub line_kpa: Option<Limits>,
    /// Pressure sprayed into, gauge kPa.
    pub outlet_kpa: Limits,
    /// Whether line pressure was measured.
    pub line_pressure_measured: bool,
    /// Mean temperature of the data, degC.
    pub water_degc: Option<f64>,
}

/// What the terms of the surface are scaled by.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Scaling {
    /// Effective voltage at s = 0, V.
    pub low_v: f64,
    /// Effective voltage at s = 1, V.
    pub high_v: f64,
    /// Line pressure at p = 1, kPa.
    pub pressure_kpa: f64,
    /// Full flow, mL/min.
    pub flow_ml_min: f64,
}

/// A term of the surface with its coefficient.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TermEntry {
    /// Name: `level`, `rise`, `slip`, ..., `relief`, `pulsed`, `ripple`.
    pub term: String,
    /// Its own numbers: opening pressure and softness (kPa) of a `relief`; `j` at no pressure and its growth up to the
    /// highest of `pulsed`; the order, from 1, of a `ripple` or `ripple_pressed`; none of the others.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub of: Vec<f64>,
    /// Coefficient, mL/min.
    pub coefficient: f64,
    /// Row of the covariance of the coefficients up to the diagonal, mL2/min2.
    pub covariance: Vec<f64>,
}

/// The pump's surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Surface {
    /// Scaling of the terms.
    pub scaling: Scaling,
    /// Free-wheel diode voltage in the effective voltage, V.
    pub freewheel_v: f64,
    /// Degrees of freedom of the covariance; none = infinite.
    pub dof: Option<f64>,
    /// Terms.
    pub terms: Vec<TermEntry>,
}

/// An error common to all data: what changes for one standard uncertainty of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CommonError {
    /// Source: `scale_gain`, `gauge_zero`, ..., `nozzle A`.
    pub source: String,
    /// Its standard uncertainty, in its own unit; none where it has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// Its degrees of freedom; none = infinite.
    pub dof: Option<f64>,
    /// Whether it is known by limits.
    pub rectangular: bool,
    /// Whether it was evaluated by statistics of observations (type A).
    pub type_a: bool,
    /// Change of the free-wheel voltage, V.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub freewheel_v: f64,
    /// Relative change of each nozzle's coefficient.
    pub ln_k: BTreeMap<String, f64>,
    /// Change of each coefficient of the surface, mL/min, in the order of its terms.
    pub coefficients: Vec<f64>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands a reference")]
fn is_zero(value: &f64) -> bool {
    value.abs() < f64::MIN_POSITIVE
}
