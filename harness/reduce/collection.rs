//! Collections: what one steady dwell delivered, with random and systematic parts kept apart.

use crate::uncertainty::{Bound, Cause};

/// One dwell, reduced. Internal units.
#[derive(Clone, Debug, PartialEq)]
pub struct Collection {
    /// Step of the plan; row number for points taken by hand.
    pub step: u32,
    /// Repeat number from 1.
    pub repeat: u32,
    /// Nozzle, or nozzles joined by `+`.
    pub nozzle: String,
    /// When the dwell began, s on the run's time line (row order for points taken by hand).
    pub time_s: f64,
    /// Measured duty, %; none where it was not measured.
    pub duty_pct: Option<f64>,
    /// Commanded duty, %; none where unknown.
    pub duty_set_pct: Option<f64>,
    /// Mean supply voltage, V.
    pub supply_v: f64,
    /// Line pressure, gauge kPa: the square of the mean square root of the pressure difference, plus back pressure,
    /// where sampling resolves the ripple; the mean otherwise. None where not measured.
    pub line_pressure_kpa: Option<f64>,
    /// Back pressure, gauge kPa; 0 for an open cup.
    pub back_pressure_kpa: f64,
    /// Water temperature, degC; none where neither measured nor stated.
    pub water_degc: Option<f64>,
    /// Collected mass as weighed, g.
    pub collected_g: f64,
    /// Over this time, s.
    pub collect_s: f64,
    /// Mass flow, g/s: slope of cup mass, buoyancy not yet applied.
    pub mass_flow_g_s: f64,
    /// Volume flow, mL/min: slope times buoyancy factor over density.
    pub flow_ml_min: f64,
    /// Random standard uncertainty of the volume flow, mL/min, within the dwell.
    pub flow_random_ml_min: f64,
    /// Its effective degrees of freedom.
    pub flow_dof: f64,
    /// Random standard uncertainty of the mean line pressure, kPa, within the dwell.
    pub pressure_random_kpa: f64,
    /// Random standard uncertainty of the mean duty, %.
    pub duty_random_pct: f64,
    /// Random standard uncertainty of the mean supply, V.
    pub supply_random_v: f64,
    /// Flow from the mass before and after at rest, mL/min, with its standard uncertainty, where it was taken.
    pub static_flow_ml_min: Option<(f64, f64)>,
    /// Why it must not be used for fits; none where it is good.
    pub void: Option<String>,
    /// What is worth knowing about it.
    pub note: String,
}

impl Collection {
    /// The duty the curve is over: measured where it was measured, %.
    #[must_use]
    pub fn duty(&self) -> Option<f64> {
        self.duty_pct.or(self.duty_set_pct)
    }
}

/// An error common to every collection of a data set: its cause and how large it may be.
#[derive(Clone, Debug, PartialEq)]
pub struct Systematic {
    /// Which.
    pub cause: Cause,
    /// How large, in the unit of the cause.
    pub bound: Bound,
    /// What can be said about it in words: `rig file`, `assumed, nothing stated`.
    pub from: &'static str,
}

impl Systematic {
    /// Standard uncertainty, in the unit of the cause.
    #[must_use]
    pub fn u(&self) -> f64 {
        self.bound.standard()
    }
}

/// Every systematic error of a data set; at most one per cause.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Systematics(pub Vec<Systematic>);

impl Systematics {
    /// Standard uncertainty of a cause, 0 where it does not occur.
    #[must_use]
    pub fn u(&self, cause: &Cause) -> f64 {
        self.0.iter().find(|s| s.cause == *cause).map_or(0.0, Systematic::u)
    }

    /// Puts an error in the place of the one of the same cause.
    pub fn replace(&mut self, with: Systematic) {
        self.0.retain(|s| s.cause != with.cause);
        self.0.push(with);
        self.0.sort_by(|a, b| a.cause.cmp(&b.cause));
    }
}
