//! Questions to a fitted pair and why they cannot be answered.
//!
//! In: what is asked, in internal units. Out: [`Ask`], [`Refusal`] with what was asked, what is known and what to do.
//! Never: an answer.

use crate::fluid::NumericsError;
use crate::uncertainty::Uncertain;
use std::fmt;

/// Conditions of a question; what is left out is taken from the calibration's reference.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ask {
    /// Nozzle, or nozzles that spray at once joined by `+`; the calibration's only or first one where left out.
    pub nozzle: Option<String>,
    /// Pressure sprayed into, gauge kPa; 0 is an open cup, negative is manifold vacuum.
    pub boost_kpa: f64,
    /// Supply at the driver's terminals, V.
    pub supply_v: Option<f64>,
    /// Mass fraction of methanol in what is sprayed.
    pub methanol_mass_fraction: Option<f64>,
    /// Temperature of what is sprayed, degC.
    pub temperature_degc: Option<f64>,
    /// PWM frequency, Hz.
    pub pwm_hz: Option<f64>,
}

/// How an answer stands to what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Basis {
    /// At a duty and conditions that were measured.
    Measured,
    /// Between what was measured.
    Interpolated,
    /// Beyond what was measured.
    Extrapolated,
}

impl Basis {
    /// The word of the tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Basis::Measured => "measured",
            Basis::Interpolated => "interpolated",
            Basis::Extrapolated => "extrapolated",
        }
    }
}

/// An answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// The value with its budget: mL/min for a flow, % for a duty.
    pub estimate: Uncertain,
    /// How it stands to what was measured.
    pub basis: Basis,
    /// What a reader should know before using it.
    pub warnings: Vec<String>,
}

/// Why a question has no answer.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// No nozzle of that name.
    NoSuchNozzle {
        /// As asked.
        asked: String,
        /// Those there are.
        known: Vec<String>,
    },
    /// Another PWM frequency: another law holds.
    OtherPwm {
        /// As asked, Hz.
        asked_hz: f64,
        /// Of the calibration, Hz; none where it was not stated.
        calibrated_hz: Option<f64>,
    },
    /// A number that cannot be.
    NotPossible {
        /// What it is.
        what: &'static str,
        /// The number.
        found: f64,
        /// What is possible.
        expected: &'static str,
    },
    /// Line pressure was not measured, so nothing is known beyond bench pressure and liquid.
    PressureNotMeasured,
    /// Liquid or temperature out of the range of the property tables.
    Property(NumericsError),
    /// The flow cannot be reached at any duty.
    Unreachable {
        /// As asked, mL/min.
        wanted_ml_min: f64,
        /// Flow at full duty there, mL/min.
        highest: Box<Uncertain>,
        /// Line pressure that the pump holds against a closed nozzle at full duty lies below boost.
        nothing_flows: bool,
    },
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::NoSuchNozzle { asked, known } => {
                write!(f, "no nozzle \"{asked}\" in this calibration; it has {}", known.join(", "))
            }
            Refusal::OtherPwm { asked_hz, calibrated_hz: Some(hz) } => write!(
                f,
                "calibrated at {hz} Hz PWM, asked for {asked_hz} Hz; at another frequency the motor's current behaves \
                 differently and this calibration does not hold; calibrate the pair at {asked_hz} Hz"
            ),
            Refusal::OtherPwm { asked_hz, calibrated_hz: None } => write!(
                f,
                "the calibration does not state its PWM frequency, so nothing can be said for {asked_hz} Hz; state \
                 the frequency in the rig file and calibrate again"
            ),
            Refusal::NotPossible { what, found, expected } => write!(f, "{what} {found}; expected {expected}"),
            Refusal::PressureNotMeasured => f.write_str(
                "line pressure was not measured, so the nozzle's coefficient is not known; answers hold only for an \
                 open cup and the bench's liquid; measure line pressure and calibrate again",
            ),
            Refusal::Property(e) => write!(f, "{e}"),
            Refusal::Unreachable { nothing_flows: true, .. } => f.write_str(
                "nothing flows even at full duty: the pump cannot lift line pressure above boost there",
            ),
            Refusal::Unreachable { wanted_ml_min, highest, .. } => write!(
                f,
                "{wanted_ml_min:.1} mL/min is out of reach: {:.1} mL/min (U {:.1}) at 100 % duty there",
                highest.value, highest.u95
            ),
        }
    }
}

impl std::error::Error for Refusal {}
