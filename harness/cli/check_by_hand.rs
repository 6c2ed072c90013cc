//! `dutycup check` of a rig that a person reads and sets: nothing can be opened, so it says what will be asked.
//!
//! In: a rig. Out: each question with its range and uncertainty, what goes together, and what the rig leaves open.
//! Never: a question asked.

use crate::instrument::Instrument;
use crate::problem::Problems;
use crate::quantity::{Units, show, show_difference};
use crate::script::rig::{ChannelSpec, DialectSpec, ExchangeSpec, Rig};
use crate::script::role::{Direction, Role};
use crate::uncertainty::Bound;
use serde_json::json;
use std::fmt::Write as _;

/// Whether a rig is worked by a person alone.
pub(super) fn is_by_hand(rig: &Rig) -> bool {
    rig.virtual_bench.is_none() && rig.instruments.iter().all(|i| i.dialect == DialectSpec::ByHand)
}

/// What will be asked, in words.
///
/// # Errors
/// A question that cannot be asked.
pub(super) fn words(rig: &Rig, units: Units) -> Result<String, Problems> {
    for index in 0..rig.instruments.len() {
        Instrument::new(index, rig)?;
    }
    let mut out = format!(
        "Rig {} is worked by a person: nothing is opened, and this is what will be asked.\n",
        rig.name
    );
    for (direction, head) in [(Direction::Set, "set"), (Direction::Read, "read")] {
        for (channel, question) in questions(rig, direction) {
            // Writing to a String cannot fail.
            let _ = writeln!(out, "\n{head} {}\n    {question}", channel.role);
            if channel.role.dimension() != crate::quantity::Dimension::Switch
                && channel.role != Role::SafeState
            {
                let _ = writeln!(out, "    {}", facts(channel, units));
            }
        }
    }
    for open in left_open(rig) {
        let _ = write!(out, "\n{open}");
    }
    Ok(out.trim_end().to_owned())
}

/// The same for a program.
pub(super) fn as_json(rig: &Rig) -> serde_json::Value {
    let of = |direction, word: &str| -> Vec<serde_json::Value> {
        let row = |(c, question): (&ChannelSpec, &str)| json!({"role": c.role.word(), "direction": word, "question": question});
        questions(rig, direction).map(row).collect()
    };
    let asked = [of(Direction::Set, "set"), of(Direction::Read, "read")].concat();
    json!({"rig": rig.name, "by_hand": asked, "open": left_open(rig)})
}

fn questions(rig: &Rig, direction: Direction) -> impl Iterator<Item = (&ChannelSpec, &str)> {
    let asked = rig.channels.iter().filter(move |c| c.role.direction() == direction);
    asked.filter_map(|c| match &c.exchange {
        ExchangeSpec::Operator { question } => Some((c, question.as_str())),
        _ => None,
    })
}

fn facts(channel: &ChannelSpec, units: Units) -> String {
    let dimension = channel.role.dimension();
    let (low, high) = channel.range;
    let mut facts =
        format!("answers from {} to {}", show(low, dimension, units), show(high, dimension, units));
    if channel.role.direction() == Direction::Set {
        return facts;
    }
    let u = &channel.uncertainty;
    let half = |bound: Bound, shown: &dyn Fn(f64) -> String| match bound {
        Bound::None => "not stated".to_owned(),
        Bound::Limits(half) => format!("within {}", shown(half)),
        Bound::Standard(u, _) => format!("{} standard", shown(u)),
    };
    let zero = half(u.zero, &|v| show_difference(v, dimension, units));
    let gain = half(u.gain, &|v| format!("{:.2} %", 100.0 * v));
    let step = show_difference(u.resolution, dimension, units);
    let _ = write!(facts, "; zero {zero}, gain {gain}, read to {step}");
    facts
}

/// What a calibration by hand wants and this rig does not have.
fn left_open(rig: &Rig) -> Vec<String> {
    let wanted = [
        (Role::CupMass, "no cup mass: nothing can be collected"),
        (Role::LinePressure, "no line pressure: no nozzle coefficient, and no correction to boost"),
        (Role::Supply, "no supply voltage: collections without it are void"),
        (Role::PumpDuty, "no pump duty: nothing can be set"),
        (Role::SafeState, "no safe state: nobody is asked to switch the pump off at the end"),
    ];
    let mut open: Vec<String> =
        wanted.iter().filter(|(role, _)| !rig.plays(role)).map(|(_, what)| (*what).to_owned()).collect();
    let read = questions(rig, Direction::Read);
    let unitless =
        read.filter(|(c, q)| c.role.dimension() != crate::quantity::Dimension::Switch && !q.contains('['));
    open.extend(unitless.map(|(c, _)| {
        format!("{}: the question states no unit in square brackets, so each answer needs one", c.role)
    }));
    open
}
