//! The calibration file: what a pair delivers, with its uncertainty, in a form that answers later without a bench.
//!
//! In: text of a `calibration.yaml`, or the values a fit publishes. Out: a checked [`Calibration`], or every problem
//! found. The first half is for people: values with U and degrees of freedom. The second, `surface` and
//! `common_errors`, is what answers are computed from. Never: a formula of pump or nozzle.

mod check;
mod file;

pub use file::{
    Band, CheckValve, CommonError, Duty, FluidEntry, Limits, Model, NozzleEntry, Pair, Pump, Pwm, RangeEntry,
    ReferenceEntry, Scaling, Surface, TermEntry, Widening,
};

use crate::problem::{Place, Problem, Problems};
use crate::uncertainty::Uncertain;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What stands in `format`.
pub const FORMAT: &str = "dutycup calibration";

/// Version of the file. Changes:
/// 1: first.
pub const VERSION: u32 = 1;

/// A file larger than this is not a calibration, bytes.
const SIZE_MAX: usize = 1 << 20;
/// Most names and values.
const PARTS_MAX: usize = 50_000;

/// A value with its expanded uncertainty at 95 % and degrees of freedom (none = infinite).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// Best estimate.
    pub value: f64,
    /// Expanded uncertainty at 95 %.
    pub u95: f64,
    /// Effective degrees of freedom; none = infinite.
    pub dof: Option<f64>,
}

impl From<&Uncertain> for Measured {
    fn from(found: &Uncertain) -> Self {
        Measured { value: found.value, u95: found.u95, dof: found.dof_written() }
    }
}

/// A calibration file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// [`FORMAT`].
    pub format: String,
    /// [`VERSION`].
    pub version: u32,
    /// Program and version that wrote it.
    pub program: String,
    /// When the data were taken or analysed, RFC 3339; `simulated` for a virtual bench.
    pub written: String,
    /// What was measured.
    pub pair: Pair,
    /// How the pump was driven; none where it was not stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pwm: Option<Pwm>,
    /// What was sprayed.
    pub fluid: FluidEntry,
    /// Conditions of the tables.
    pub reference: ReferenceEntry,
    /// Nozzles by name.
    pub nozzles: BTreeMap<String, NozzleEntry>,
    /// The pump in a few numbers.
    pub pump: Pump,
    /// Duty at which flow stops, and starts.
    pub duty: Duty,
    /// Check valve, where it was found or stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check_valve: Option<CheckValve>,
    /// Which law, and why.
    pub model: Model,
    /// Range measured.
    pub range: RangeEntry,
    /// What a user should know.
    pub warnings: Vec<String>,
    /// SHA-256 of what it came from, by file name.
    pub sources: BTreeMap<String, String>,
    /// The pump's surface that answers are computed from.
    pub surface: Surface,
    /// How each error common to all data moves the answers, for one standard uncertainty of it.
    pub common_errors: Vec<CommonError>,
}

impl Calibration {
    /// Reads and checks; `name` is the file as the user named it.
    ///
    /// # Errors
    /// Every problem found.
    pub fn read(name: &str, text: &str) -> Result<Self, Problems> {
        if text.len() > SIZE_MAX {
            return Err(Problem::new(format!("{name} holds {} bytes", text.len()))
                .expected(format!("a calibration of at most {SIZE_MAX} bytes"))
                .into());
        }
        crate::script::yaml::check_parts(name, text, PARTS_MAX)?;
        let calibration: Calibration =
            serde_yaml::from_str(text).map_err(|e| Problems::from(yaml_problem(name, text, &e)))?;
        check::check(&calibration)?;
        Ok(calibration)
    }

    /// The file's text.
    ///
    /// # Errors
    /// A value that cannot be written, which is a bug of the caller.
    pub fn write(&self) -> Result<String, Problems> {
        serde_yaml::to_string(self)
            .map(|text| format!("{EDITORS}{text}"))
            .map_err(|e| Problem::new(format!("calibration cannot be written: {e}")).into())
    }
}

/// First line of the file: what editors with a YAML language server read; `dutycup schema calibration` makes that file.
const EDITORS: &str = "# yaml-language-server: $schema=calibration.schema.json\n";

fn yaml_problem(name: &str, text: &str, e: &serde_yaml::Error) -> Problem {
    let problem = Problem::new(e.to_string()).expected(format!("a {FORMAT}, version {VERSION}"));
    let Some(at) = e.location() else { return problem };
    let line = text.lines().nth(at.line().saturating_sub(1)).unwrap_or("");
    problem.at(Place {
        file: name.to_owned(),
        line: u32::try_from(at.line()).unwrap_or(u32::MAX),
        column: u32::try_from(at.column()).unwrap_or(u32::MAX).max(1),
        width: 1,
        text: line.chars().take(200).collect(),
    })
}

/// The JSON Schema (draft 2020-12) of the file, for editors.
#[must_use]
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(Calibration).to_value()
}
