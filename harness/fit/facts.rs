//! What is known of a pair besides its data, and why a fit is refused.
//!
//! In: the rig's section on the pair, or nothing for points taken by hand. Out: [`PairFacts`], [`FitRefusal`] with
//! what was found, what was expected and what to do. Never: a fit.

use crate::script::rig::{DriveSide, FluidSpec, NozzleSpec, PairSpec};
use std::fmt;

/// Free-wheel diode forward voltage where nothing is stated, V, and its standard uncertainty: a silicon or Schottky
/// diode at a few amperes (common practice, no source).
const FREEWHEEL_ASSUMED_V: (f64, f64) = (0.7, 0.2);

/// What is known of a pump and nozzle pair besides its data.
#[derive(Clone, Debug)]
pub struct PairFacts {
    /// Pump: type and serial number.
    pub pump: String,
    /// Nozzles that the rig names, with serial numbers and ratings; may be empty.
    pub nozzles: Vec<NozzleSpec>,
    /// PWM frequency, Hz; none where unknown.
    pub pwm_hz: Option<f64>,
    /// Side of the motor that is switched; none where unknown.
    pub drive_side: Option<DriveSide>,
    /// Check valve cracking pressure, kPa; none where unknown.
    pub check_valve_kpa: Option<f64>,
    /// Free-wheel diode forward voltage, V, and its standard uncertainty.
    pub freewheel_v: (f64, f64),
    /// Mass fraction of methanol in what was sprayed, 0 for water.
    pub methanol_mass_fraction: f64,
}

impl PairFacts {
    /// The facts a rig states.
    #[must_use]
    pub fn from_rig(pair: &PairSpec, fluid: &FluidSpec) -> Self {
        PairFacts {
            pump: pair.pump.clone(),
            nozzles: pair.nozzles.clone(),
            pwm_hz: Some(pair.pwm_hz),
            drive_side: Some(pair.drive_side),
            check_valve_kpa: pair.check_valve_kpa,
            freewheel_v: pair.freewheel_v,
            methanol_mass_fraction: fluid.methanol_mass_fraction,
        }
    }

    /// Points taken elsewhere, without a rig: water, and nothing known of pump, nozzle and drive.
    #[must_use]
    pub fn unknown() -> Self {
        PairFacts {
            pump: "not stated".into(),
            nozzles: Vec::new(),
            pwm_hz: None,
            drive_side: None,
            check_valve_kpa: None,
            freewheel_v: FREEWHEEL_ASSUMED_V,
            methanol_mass_fraction: 0.0,
        }
    }
}

/// Why data cannot be fitted.
#[derive(Clone, Debug, PartialEq)]
pub enum FitRefusal {
    /// Nothing left after void collections and those without a duty.
    NoData {
        /// Collections handed in.
        collections: usize,
        /// Of these, void.
        void: usize,
        /// Of these, without a duty, measured or commanded.
        without_duty: usize,
    },
    /// A value that no bench gives.
    Impossible {
        /// Step of the collection.
        step: u32,
        /// What was found.
        what: String,
    },
    /// Nothing flowed at any duty.
    NoFlow {
        /// Highest duty tried, %.
        highest_pct: f64,
        /// Highest flow found, mL/min.
        flow_ml_min: f64,
    },
    /// Flow at a single duty.
    OneDuty {
        /// That duty, %.
        duty_pct: f64,
        /// How many collections there.
        collections: usize,
    },
    /// Fewer different duties with flow than the pump's law needs.
    TooFewDuties {
        /// Different duties with flow.
        found: usize,
        /// Needed.
        needed: usize,
    },
    /// Flow falls as duty rises.
    FallsWithDuty {
        /// Change of flow over the range, mL/min.
        change_ml_min: f64,
        /// Lowest and highest duty, %.
        between_pct: (f64, f64),
    },
    /// The columns of the fit do not tell its parameters apart.
    Degenerate {
        /// What could not be told apart.
        what: String,
    },
}

impl fmt::Display for FitRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FitRefusal::NoData { collections, void, without_duty } => write!(
                f,
                "no collection can be used: {collections} found, {void} void, {without_duty} without a duty; expected \
                 collections at several duties; collect again, or see why they were voided"
            ),
            FitRefusal::Impossible { step, what } => {
                write!(f, "collection {step}: {what}; void it or correct the record")
            }
            FitRefusal::NoFlow { highest_pct, flow_ml_min } => write!(
                f,
                "nothing flows: at most {flow_ml_min:.2} mL/min up to {highest_pct:.1} % duty; expected flow at \
                 several duties; look for a closed solenoid, an unprimed pump or a blocked nozzle, and go to higher duty"
            ),
            FitRefusal::OneDuty { duty_pct, collections } => write!(
                f,
                "flow at one duty only ({duty_pct:.2} %, {collections} collections); expected at least {NEEDED_DUTIES} \
                 different duties; one duty says nothing about another"
            ),
            FitRefusal::TooFewDuties { found, needed } => write!(
                f,
                "flow at {found} different duties; expected at least {needed}; measure more duties between the dead \
                 band and full duty"
            ),
            FitRefusal::FallsWithDuty { change_ml_min, between_pct: (low, high) } => write!(
                f,
                "flow changes by {change_ml_min:.1} mL/min from {low:.1} % to {high:.1} % duty; expected it to rise; \
                 look for swapped columns, an inverted duty, or a drive that switches the other side"
            ),
            FitRefusal::Degenerate { what } => write!(
                f,
                "the data do not tell apart {what}; spread the duties over the range from dead band to full duty"
            ),
        }
    }
}

impl std::error::Error for FitRefusal {}

/// Different duties with flow that a curve needs: two for level and rise of the pump, which are taken from the data alone,
/// and one to see a bend.
pub const NEEDED_DUTIES: usize = 3;
