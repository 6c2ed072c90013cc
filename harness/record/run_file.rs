//! `run.yaml`: what was run, with what, by whom, how it ended.
//!
//! The disk types, and nothing else: nothing at run time is kept in them. In and out: `run_start` fills them from rig
//! and plan, `run_text` writes and reads them. Never: a field that is not known.

use super::disk;
use crate::problem::fault::Fault;
use crate::uncertainty::Bound;
use crate::verdict::purpose::Purpose;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::Path;

/// Version of the format of a run folder.
///
/// * 1: first.
pub const FORMAT: u32 = 1;

/// Name of the file.
pub const RUN: &str = "run.yaml";

/// How far a run got.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// It is going on, or it was killed.
    Running,
    /// It came to its end.
    Complete,
    /// It ended early, in the safe state.
    Aborted,
}

/// The clock of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ClockKind {
    /// Virtual time.
    Virtual,
    /// Real time.
    Real,
}

/// The whole file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunFile {
    /// [`FORMAT`].
    pub format: u32,
    /// How far it got.
    pub state: State,
    /// The gravest verdict in a word, once judged.
    pub verdict: Option<String>,
    /// Exit code of the program, once known.
    pub exit_code: Option<u8>,
    /// Name of the scenario.
    pub scenario: String,
    /// What the analysis is to make of it: `pair`, `switch`, ...
    #[serde(with = "purpose_word")]
    pub purpose: Purpose,
    /// Name of the rig.
    pub rig: String,
    /// Version of the program.
    pub program: String,
    /// Seed of every random stream.
    pub seed: u64,
    /// Virtual or real time.
    pub clock: ClockKind,
    /// Who ran it, where known.
    pub operator: Option<String>,
    /// Start, RFC 3339; fixed at virtual time.
    pub started: String,
    /// End, RFC 3339.
    pub ended: Option<String>,
    /// Time from the first reading to the last, s of the bench's clock; none while it runs.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub bench_time_s: Option<f64>,
    /// When it was gone on with after ending early, oldest first.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub resumed: Vec<ResumedRecord>,
    /// Parameters of the scenario as used.
    pub parameters: BTreeMap<String, String>,
    /// Instruments.
    pub instruments: Vec<InstrumentRecord>,
    /// Channels, in rig order.
    pub channels: Vec<ChannelRecord>,
    /// Pump: type and serial number.
    pub pump: String,
    /// Nozzles.
    pub nozzles: Vec<NozzleRecord>,
    /// How the pump is driven.
    pub pwm: PwmRecord,
    /// What was sprayed.
    pub fluid: FluidRecord,
    /// The fault that ended it, where one did.
    pub fault: Option<FaultRecord>,
    /// How the safe state was verified, in words.
    pub safe_state: Option<String>,
    /// What is worth knowing about the run.
    pub warnings: Vec<String>,
    /// What the record holds.
    pub counts: Counts,
    /// Files it was run from and wrote, with their hashes; those still written to carry none until the end.
    pub files: Vec<FileRecord>,
}

/// A run that was gone on with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ResumedRecord {
    /// When, RFC 3339; fixed at virtual time.
    pub at: String,
    /// The step of the plan it went on with.
    pub from_step: u32,
    /// How the part before had ended, in words.
    pub after: String,
    /// Where that part ends on the run's time line, s.
    pub last_s: f64,
}

/// An instrument as it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InstrumentRecord {
    /// Name in the rig.
    pub name: String,
    /// Port, where it has one.
    pub port: Option<String>,
    /// What it answered when asked who it is; none where it was not asked.
    pub identity: Option<String>,
    /// Serial number from the rig.
    pub serial: Option<String>,
}

/// A channel as used. Role units.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChannelRecord {
    /// Role, as in rig files.
    pub role: String,
    /// Column of `samples.csv`.
    pub column: String,
    /// Instrument.
    pub instrument: String,
    /// Role units per instrument unit.
    pub gain: f64,
    /// Role units at an instrument reading of 0.
    pub offset: f64,
    /// Sample period, s; 0 for a channel that is set.
    pub every_s: f64,
    /// Delay behind the measured quantity, s.
    pub delay_s: f64,
    /// Zero error.
    pub u_zero: BoundRecord,
    /// Gain error, fraction.
    pub u_gain: BoundRecord,
    /// Width of one step.
    pub resolution: f64,
    /// Calibration date and certificate.
    pub calibrated: Option<String>,
}

/// A contribution to the uncertainty: `none`, limits or a standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub struct BoundRecord {
    /// Limits of plus or minus this much, rectangular.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub limits: Option<f64>,
    /// Standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub standard: Option<f64>,
    /// Degrees of freedom of the standard uncertainty; none for infinite.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub dof: Option<f64>,
}

impl From<Bound> for BoundRecord {
    fn from(bound: Bound) -> Self {
        let (limits, standard, dof) = match bound {
            Bound::None => (None, None, None),
            Bound::Limits(half) => (Some(half), None, None),
            Bound::Standard(u, dof) => (None, Some(u), dof.is_finite().then_some(dof)),
        };
        BoundRecord { limits, standard, dof }
    }
}

/// A nozzle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NozzleRecord {
    /// Short name.
    pub name: String,
    /// Serial number or marking.
    pub serial: Option<String>,
    /// Rated flow, mL/min.
    pub rated_ml_min: Option<f64>,
    /// At this pressure across it, kPa.
    pub rated_at_kpa: Option<f64>,
}

/// How the pump is driven.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PwmRecord {
    /// Frequency, Hz.
    pub hz: f64,
    /// `high` or `low`.
    pub drive_side: String,
}

/// What was sprayed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FluidRecord {
    /// Mass fraction of methanol, 0 for water.
    pub methanol_mass_fraction: f64,
    /// Temperature where no channel read it, degC.
    pub assumed_degc: f64,
}

/// A fault.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FaultRecord {
    /// Its name.
    pub code: String,
    /// Who met it.
    pub who: String,
    /// What was seen.
    pub seen: String,
    /// What to do.
    pub help: String,
}

/// Longest text of a fault in the file, characters; the whole of it stands in `events.csv`.
const FAULT_TEXT_MAX: usize = 500;

fn cut(text: &str) -> String {
    text.chars().take(FAULT_TEXT_MAX).collect()
}

impl From<&Fault> for FaultRecord {
    fn from(fault: &Fault) -> Self {
        FaultRecord {
            code: fault.code.name().to_owned(),
            who: fault.who.clone(),
            seen: cut(&fault.seen),
            help: cut(&fault.help),
        }
    }
}

/// What the record holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Counts {
    /// Rows of `samples.csv`.
    pub rows: u64,
    /// Readings in them.
    pub samples: u64,
    /// Lines of `events.csv`.
    pub events: u64,
    /// Collections made.
    pub collections: u32,
    /// Times a collection was declared void.
    pub voids: u32,
    /// Gaps in the readings.
    pub gaps: u32,
}

impl Counts {
    /// Counts an event.
    pub(super) fn event(&mut self, kind: &str) {
        self.events += 1;
        match kind {
            "collect_end" => self.collections += 1,
            "void" => self.voids += 1,
            "gap" => self.gaps += 1,
            _ => {}
        }
    }
}

/// A file of the run folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileRecord {
    /// Name in the folder.
    pub name: String,
    /// Length.
    pub bytes: u64,
    /// SHA-256 in hex; none for the large files that `sums.csv` vouches for.
    pub sha256: Option<String>,
}

impl FileRecord {
    /// The record of a text that is written to `name`.
    #[must_use]
    pub fn of_text(name: &str, text: &str) -> Self {
        FileRecord {
            name: name.to_owned(),
            bytes: text.len() as u64,
            sha256: Some(hex(&Sha256::digest(text))),
        }
    }

    /// The record of a file as it is in `dir`; hashed where `sums.csv` does not vouch for it.
    pub(super) fn of(dir: &Path, name: &str) -> Result<Self, Fault> {
        let path = dir.join(name);
        let failed = |e: std::io::Error| disk::fault(&path, "cannot read back", &e);
        let mut file = std::fs::File::open(&path).map_err(failed)?;
        let bytes = file.metadata().map_err(failed)?.len();
        let sha256 = if super::sums::FILES.contains(&name) {
            None
        } else {
            Some(sha256_of(&mut file).map_err(failed)?)
        };
        Ok(FileRecord { name: name.to_owned(), bytes, sha256 })
    }
}

/// SHA-256 of everything a reader gives, in hex, in blocks.
pub(super) fn sha256_of(file: &mut impl std::io::Read) -> std::io::Result<String> {
    let (mut hash, mut block) = (Sha256::new(), vec![0; 64 * 1024]);
    loop {
        match file.read(&mut block)? {
            0 => return Ok(hex(&hash.finalize())),
            n => hash.update(&block[..n]),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

mod purpose_word {
    use super::Purpose;
    use serde::{Deserialize as _, Deserializer, Serializer, de::Error as _};

    pub(super) fn serialize<S: Serializer>(purpose: &Purpose, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(purpose.word())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<Purpose, D::Error> {
        let word = String::deserialize(d)?;
        Purpose::parse(&word).ok_or_else(|| D::Error::custom(format!("\"{word}\" is not a purpose")))
    }
}
