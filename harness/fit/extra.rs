//! What a candidate has besides the terms that all have: a bypass, a current that stops between pulses.
//!
//! In: their numbers. Out: their terms. Never: data.

use super::terms::LawTerm;

/// A candidate: no bypass, or one that opens at a pressure over a width, kPa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Opening {
    /// Opening pressure, gauge kPa of the line.
    pub opens_kpa: f64,
    /// Width, kPa.
    pub width_kpa: f64,
}

/// Motor current that stops between pulses: twice inductance times mean current over period and voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulsing {
    /// Without pressure.
    pub still: f64,
    /// Growth up to the highest pressure.
    pub pressed: f64,
}

/// What a candidate has besides the terms that all have.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Extra {
    /// Its bypass.
    pub opening: Option<Opening>,
    /// Its pulsing current.
    pub pulsing: Option<Pulsing>,
}

impl Extra {
    pub(super) fn relief(&self) -> Option<LawTerm> {
        self.opening.map(|o| LawTerm::Relief { opens_kpa: o.opens_kpa, width_kpa: o.width_kpa })
    }

    pub(super) fn pulsed_more(&self) -> Option<LawTerm> {
        self.pulsing.map(|p| LawTerm::PulsedMore { still: p.still, pressed: p.pressed })
    }

    pub(super) fn pulsed_drop(&self) -> Option<LawTerm> {
        self.pulsing.map(|p| LawTerm::PulsedDrop { still: p.still, pressed: p.pressed })
    }

    pub(super) fn pulsed(&self) -> Option<LawTerm> {
        self.pulsing.map(|p| LawTerm::Pulsed { still: p.still, pressed: p.pressed })
    }
}
