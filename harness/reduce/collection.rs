//! Collections: what one steady dwell delivered, with random and systematic parts kept apart.

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

/// An error common to every collection of a data set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Source {
    /// Scale gain: relative error of every mass.
    ScaleGain,
    /// Clock: relative error of every time.
    ClockGain,
    /// Line pressure gauge zero, kPa.
    GaugeZero,
    /// Line pressure gauge gain, relative.
    GaugeGain,
    /// Back pressure gauge zero, kPa.
    BackGaugeZero,
    /// Supply voltmeter gain, relative.
    SupplyGain,
    /// Supply voltmeter zero, V.
    SupplyZero,
    /// Duty zero, %.
    DutyZero,
    /// Duty gain, relative.
    DutyGain,
    /// Density of the fluid, relative.
    Density,
    /// Mist lost and leak before the nozzle, relative (mean of the one-sided limits already applied).
    Capture,
    /// Free-wheel diode voltage, V.
    Freewheel,
    /// Pressure between gauge and nozzle: loss, relative.
    TapLoss,
    /// Pressure between gauge and nozzle: height, kPa.
    TapHeight,
}

/// A systematic error: its source and how large it may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Systematic {
    /// Which.
    pub source: Source,
    /// Standard uncertainty, in the unit of the source.
    pub u: f64,
    /// Degrees of freedom; infinite for stated limits.
    pub dof: f64,
    /// Whether `u` came from limits (rectangular).
    pub rectangular: bool,
    /// What can be said about it in words: `rig file`, `assumed, nothing stated`.
    pub from: &'static str,
}

/// Every systematic error of a data set; at most one per source.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Systematics(pub Vec<Systematic>);

impl Systematics {
    /// Standard uncertainty of a source, 0 where it does not occur.
    #[must_use]
    pub fn u(&self, source: Source) -> f64 {
        self.0.iter().find(|s| s.source == source).map_or(0.0, |s| s.u)
    }
}
