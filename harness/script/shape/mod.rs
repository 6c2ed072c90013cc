//! What a rig or scenario file may hold: one table for the checks, the JSON Schema and the help.
//!
//! In: nothing; the tables are constants ([`rig::RIG`], [`scenario::SCENARIO`]). Out: for each name its kind, range,
//! default, a line of documentation and an example. Never: a rule of these files that stands somewhere else, except
//! the ones that need more than one value (they are in `rig_file`, `check` and `planner`).

pub mod check;
pub mod rig;
mod scalar;
pub mod scenario;
pub mod value;
mod words;

use super::role::{Direction, Role};
use crate::quantity::Dimension;

/// A map with named values.
#[derive(Debug)]
pub struct Shape {
    /// Name in the schema, one word.
    pub name: &'static str,
    /// What it is, in a sentence.
    pub doc: &'static str,
    /// What it may hold.
    pub fields: &'static [Field],
}

impl Shape {
    /// The field of a name.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&'static Field> {
        self.fields.iter().find(|f| f.name == name)
    }
}

/// One name of a map.
#[derive(Debug)]
pub struct Field {
    /// The name.
    pub name: &'static str,
    /// What its value is.
    pub kind: Kind,
    /// Whether it must be there.
    pub need: Need,
    /// What it means, in a sentence.
    pub doc: &'static str,
    /// An example, as YAML.
    pub example: &'static str,
}

/// Whether a value must be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// It must.
    Required,
    /// It need not, and nothing stands in for it.
    Optional,
    /// This stands in for it; `{}` is an empty map, `[a, b]` a flat list.
    Default(&'static str),
}

/// The values of a word field, each with what it means.
pub type Words = &'static [(&'static str, &'static str)];

/// What a value is. Ranges include their ends and are written as people write values.
#[derive(Debug)]
pub enum Kind {
    /// A value with a unit.
    Quantity(Dimension, &'static str, &'static str),
    /// A difference or half-width with a unit.
    Difference(Dimension, &'static str, &'static str),
    /// A plain number.
    Number(f64, f64),
    /// A whole number.
    Whole(i64, i64),
    /// One line of text of at most so many bytes, without control characters.
    Text(usize),
    /// Text that may have several lines.
    Prose,
    /// Lower case letters, digits, `_` and `-`, at most 48 of them.
    Name,
    /// A date, `2026-03-01`.
    Date,
    /// `on` or `off`.
    OnOff,
    /// One of these.
    Word(Words),
    /// A role that may be read, set, or either.
    Role(Use),
    /// The id of a verdict item, as in `verdicts.json`.
    Item,
    /// A value of the role or verdict item that the named field beside it (or further out) names.
    Of(&'static str, Measure),
    /// A map.
    Map(&'static Shape),
    /// A map that holds exactly one of its fields.
    OneOf(&'static Shape),
    /// A single value, or a map.
    Either(&'static Kind, &'static Shape),
    /// A list of so many to so many.
    List(&'static Kind, usize, usize),
    /// A map of freely chosen names.
    Named(&'static Kind),
    /// A map of roles that are set, and their values.
    Settings,
    /// A single value or a list of single values, of any kind.
    Scalars,
    /// Anything; checked by who uses it.
    Raw,
}

/// Which roles a field takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Use {
    /// Roles that are read.
    Read,
    /// Roles that are set.
    Set,
    /// Any role.
    Any,
}

impl Use {
    /// Whether a role may stand here.
    #[must_use]
    pub fn allows(self, role: &Role) -> bool {
        match self {
            Use::Any => true,
            Use::Read => role.direction() == Direction::Read,
            // The heartbeat and the safe state belong to the bench loop and the rig file, never to a scenario.
            Use::Set => {
                role.direction() == Direction::Set && !matches!(role, Role::Heartbeat | Role::SafeState)
            }
        }
    }
}

/// How a value of a role is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// A value.
    Value,
    /// A difference or half-width.
    Difference,
    /// A value as it crosses the wire: volts for the manifold sensor, the role's own unit otherwise.
    Wire,
    /// A half-width as it crosses the wire.
    WireDifference,
}

/// The widest plausible range of a dimension; what a role is set to or compared with stays inside.
#[must_use]
pub const fn plausible(dimension: Dimension) -> (&'static str, &'static str) {
    match dimension {
        Dimension::GaugePressure => ("-15 psi", "1000 psi"),
        Dimension::AbsolutePressure => ("0 psi abs", "1000 psi abs"),
        Dimension::Flow => ("0 mL/min", "20 L/min"),
        Dimension::Mass => ("-100 kg", "100 kg"),
        Dimension::Volume => ("0 mL", "1000 L"),
        Dimension::Voltage => ("-30 V", "30 V"),
        Dimension::Current => ("-200 A", "200 A"),
        Dimension::Time => ("0 s", "24 h"),
        Dimension::Speed => ("0 rpm", "20000 rpm"),
        Dimension::Frequency => ("0 Hz", "100 kHz"),
        // A read-back has noise about its ends; what is set is held to its channel and to the limits.
        Dimension::Ratio => ("-5 %", "105 %"),
        Dimension::Temperature => ("-40 degC", "150 degC"),
        Dimension::Length => ("-10 m", "10 m"),
        Dimension::PressureRate => ("-1000 psi/min", "1000 psi/min"),
        Dimension::NozzleCoefficient => ("0 mL/min/sqrt(kPa)", "10000 mL/min/sqrt(kPa)"),
        Dimension::Compliance => ("0 mL/kPa", "100 mL/kPa"),
        Dimension::Number => ("-1e6", "1e6"),
        Dimension::Switch => ("off", "on"),
    }
}
