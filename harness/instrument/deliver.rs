//! From an answer to readings.
//!
//! In: the values of an answer, with unit and flag where it has them. Out: readings in role units, flags, and
//! faults `RANGE` and `UNITS`, each once until a good reading comes. Never: a reading that is not finite, outside
//! its channel's range, or in another unit than the scaling means.

use super::event::{Flag, InstrumentEvent};
use super::exchange::Target;
use super::unit;
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode, shown_bytes};
use crate::quantity::Dimension;
use crate::wire::number::Numeric;
use std::time::Duration;

/// What is common to the values of one answer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Occasion {
    /// When the values were taken, before each channel's own delay.
    pub(super) at: Moment,
    pub(super) round_trip: Option<Duration>,
    pub(super) flag: Option<Flag>,
}

/// Hands an answer's values to their channels; `value_of` gives a target's value and its unit word.
pub(super) fn deliver<'l>(
    targets: &mut [Target],
    occasion: Occasion,
    value_of: impl Fn(&Target) -> Option<(Numeric, Option<&'l [u8]>)>,
    events: &mut Vec<InstrumentEvent>,
) {
    for target in targets {
        let Some((value, unit)) = value_of(target) else {
            continue;
        };
        let at = occasion.at - target.delay;
        let flag = occasion.flag.or(match value {
            Numeric::Over => Some(Flag::Over),
            Numeric::Under => Some(Flag::Under),
            Numeric::Finite(_) | Numeric::Missing => None,
        });
        if let Some(flag) = flag {
            events.push(InstrumentEvent::Flag { channel: target.channel, flag, at });
        }
        match judge(target, value, unit, flag) {
            Ok((value, raw)) => {
                target.latched = None;
                let (channel, round_trip) = (target.channel, occasion.round_trip);
                events.push(InstrumentEvent::Reading { channel, value, raw, at, round_trip });
            }
            Err(fault) if target.latched == Some(fault.code) => {}
            Err(fault) => {
                target.latched = Some(fault.code);
                events.push(InstrumentEvent::Fault(fault));
            }
        }
    }
}

/// The value in role units with the instrument's number, or why there is none.
fn judge(
    target: &mut Target,
    value: Numeric,
    unit: Option<&[u8]>,
    flag: Option<Flag>,
) -> Result<(f64, f64), Fault> {
    if let Some(word) = unit
        && word != target.unit
    {
        unit::check(word, target.dimension, target.gain)
            .map_err(|(seen, help)| Fault::new(FaultCode::Units, &target.who, seen, help))?;
        word.clone_into(&mut target.unit);
    }
    let range = |seen: String| {
        Fault::new(
            FaultCode::Range,
            &target.who,
            seen,
            "see whether the instrument is overloaded or its sensor open",
        )
    };
    let raw = match (value, flag) {
        (_, Some(Flag::Over)) | (Numeric::Over, _) => {
            return Err(range("the instrument shows overload".into()));
        }
        (_, Some(Flag::Under)) | (Numeric::Under, _) => {
            return Err(range("the instrument shows underload".into()));
        }
        (Numeric::Missing, _) => return Err(range("the instrument shows no value".into())),
        (Numeric::Finite(raw), _) => raw,
    };
    let value = target.offset + target.gain * raw;
    // A contact is read as a voltage with noise; what counts is on which side of the middle it lies.
    let value = if target.dimension == Dimension::Switch && (-0.5..=1.5).contains(&value) {
        f64::from(u8::from(value > 0.5))
    } else {
        value
    };
    let (low, high) = target.range;
    if (low..=high).contains(&value) {
        Ok((value, raw))
    } else {
        let mut fault = range(format!("{value} is outside the channel's range {low} to {high}"));
        if target.dimension == Dimension::GaugePressure {
            // A gauge that shows a pressure its line cannot have is open, short, or cut off.
            fault.code = FaultCode::SensorFault;
        }
        Err(fault)
    }
}

/// The fault for a line that shows another unit than the scaling means, where it holds one: `lb:oz` in place of `g`.
pub(super) fn other_unit(targets: &[Target], line: &[u8]) -> Option<Fault> {
    let target = targets.first()?;
    let (seen, help) = unit::other_in(line, target.dimension, target.gain)?;
    let seen = format!("{seen} in \"{}\"", shown_bytes(line));
    Some(Fault::new(FaultCode::Units, &target.who, seen, help))
}
