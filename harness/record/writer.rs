//! The recorder: samples and events of a run, written as they happen.
//!
//! In: readings with the moment they were taken, and events. Out: `samples.csv`, `events.csv` and `sums.csv` in the
//! run folder. Readings of the same moment and step share a row. In real time every turn of the loop ends with
//! [`Recorder::flush`], which hands all lines to the system, and a second thread brings them to the disk each
//! 100 ms; in virtual time blocks of 64 KiB are handed over, and everything is on the disk after
//! [`Recorder::finish`]. The first failure is kept: every later call returns it again, and nothing more is written.
//! Never: a value that is not finite, a line taken back.

use super::disk::{self, Gate, Op};
use super::journal::{BLOCK, Journal, Keeper};
use super::keeping::Keeping;
use super::run_file::{Counts, FileRecord};
use super::sums::{self, Extent};
use super::{EVENTS, SAMPLES, SUMS, columns, decimal, events, reader};
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::role::Role;
use std::path::{Path, PathBuf};

/// Most bytes of samples and events in one record.
pub const RECORD_BYTES_MAX: u64 = 1 << 30;

/// How the run's time passes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// As fast as the machine goes.
    Virtual,
    /// With the clock on the wall.
    Real,
}

/// What a finished record holds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Finished {
    /// Rows, readings and events.
    pub counts: Counts,
    /// The three files as they are on the disk, for `run.yaml`.
    pub files: Vec<FileRecord>,
}

/// The row being gathered.
struct Row {
    at: Moment,
    step: u32,
    /// Scaled values; [`MISSING`] where nothing was read.
    values: Vec<i64>,
    filled: usize,
}

const MISSING: i64 = i64::MIN;

/// Writes the record of a run.
pub struct Recorder {
    dir: PathBuf,
    columns: Vec<Role>,
    decimals: Vec<u8>,
    row: Row,
    samples: Journal,
    events: Journal,
    keeping: Keeping,
    pace: Pace,
    last: Moment,
    gate: Gate,
    failed: Option<Fault>,
    done: Finished,
    bytes_max: u64,
}

impl Recorder {
    /// A new record in `dir`, which is made, or must be an empty folder; at virtual pace until
    /// [`Recorder::at_pace`]. Call it before anything else is put into the folder and before anything is energised.
    ///
    /// # Errors
    /// `IO` where the folder is not empty, not a folder, a symbolic link, or cannot be written; `DISK_FULL` below
    /// 100 MB of room; `CONFIG` where two roles share a column.
    pub fn create(dir: &Path, columns: &[Role]) -> Result<Recorder, Fault> {
        Self::create_through(Gate::default(), dir, columns)
    }

    /// [`Recorder::create`] with a gate before every operation on the disk.
    ///
    /// # Errors
    /// As [`Recorder::create`].
    pub fn create_through(gate: Gate, dir: &Path, columns: &[Role]) -> Result<Recorder, Fault> {
        let header = columns::header(columns)?;
        disk::new_folder(&gate, dir)?;
        let journal = |name: &str, first: &[u8]| {
            let path = dir.join(name);
            let file = disk::new_file(&gate, &path)?;
            let mut journal = Journal::new(&gate, path, file, Extent::default());
            journal.buffer.extend_from_slice(first);
            Ok(journal)
        };
        let mut samples = journal(SAMPLES, format!("{header}\n").as_bytes())?;
        let mut events = journal(EVENTS, events::HEADER.as_bytes())?;
        let mut sum_list = journal(SUMS, sums::HEADER.as_bytes())?;
        for file in [&mut samples, &mut events, &mut sum_list] {
            file.hand_over()?;
        }
        let sums_path = dir.join(SUMS);
        let sums_file = disk::old_file(&gate, &sums_path)?;
        disk::sync_folder(&gate, dir)?;
        let mut keeper = Keeper::new([&samples, &events], (sums_path, sums_file), [Extent::default(); 2])?;
        keeper.keep([samples.extent, events.extent], true)?;
        Ok(Self::assemble(gate, dir, columns.to_vec(), [samples, events], keeper, Moment::START))
    }

    /// Goes on with the record in `dir` after a run that ended early: what no line of `sums.csv` vouches for is cut
    /// off, and new lines are appended. The clock goes on from [`Recorder::last`].
    ///
    /// # Errors
    /// `IO` where the record is missing or was altered; `DISK_FULL`.
    pub fn resume(dir: &Path) -> Result<Recorder, Fault> {
        Self::resume_through(Gate::default(), dir)
    }

    /// [`Recorder::resume`] with a gate before every operation on the disk.
    ///
    /// # Errors
    /// As [`Recorder::resume`].
    pub fn resume_through(gate: Gate, dir: &Path) -> Result<Recorder, Fault> {
        let old = reader::old_record(dir).map_err(|p| {
            let help = "start a new run in a new folder";
            Fault::new(FaultCode::Io, dir.display().to_string(), p.to_string(), help)
        })?;
        let reopen = |name: &str, extent: Extent| {
            let path = dir.join(name);
            let file = disk::old_file(&gate, &path)?;
            let cut = gate.pass(Op::Truncate).and_then(|_| file.set_len(extent.bytes));
            cut.map_err(|e| disk::fault(&path, "cannot cut off what was not synced", &e))?;
            Ok(Journal::new(&gate, path, file, extent))
        };
        let samples = reopen(SAMPLES, old.kept[0])?;
        let events = reopen(EVENTS, old.kept[1])?;
        let sums_path = dir.join(SUMS);
        let sums_file = disk::old_file(&gate, &sums_path)?;
        let cut = gate.pass(Op::Truncate).and_then(|_| sums_file.set_len(old.sums_bytes));
        cut.map_err(|e| disk::fault(&sums_path, "cannot cut off a torn line", &e))?;
        let keeper = Keeper::new([&samples, &events], (sums_path, sums_file), old.kept)?;
        let mut recorder = Self::assemble(gate, dir, old.columns, [samples, events], keeper, old.last);
        recorder.done.counts = old.counts;
        Ok(recorder)
    }

    fn assemble(
        gate: Gate,
        dir: &Path,
        columns: Vec<Role>,
        journals: [Journal; 2],
        keeper: Keeper,
        last: Moment,
    ) -> Self {
        let [samples, events] = journals;
        Recorder {
            dir: dir.to_owned(),
            decimals: columns.iter().map(columns::decimals).collect(),
            row: Row { at: last, step: 0, values: vec![MISSING; columns.len()], filled: 0 },
            columns,
            samples,
            events,
            keeping: Keeping::here(keeper),
            pace: Pace::Virtual,
            last,
            gate,
            failed: None,
            done: Finished::default(),
            bytes_max: RECORD_BYTES_MAX,
        }
    }

    /// The same recorder with another limit than [`RECORD_BYTES_MAX`]. A block that would pass it is not written, and
    /// that is a failure like any other of the disk: whatever floods the record ends the run, with what came before
    /// kept.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn at_most(mut self, bytes: u64) -> Recorder {
        self.bytes_max = bytes;
        self
    }

    /// The same recorder at another pace; [`Pace::Real`] starts the thread that syncs.
    ///
    /// # Errors
    /// `IO` where the thread cannot be started.
    pub fn at_pace(mut self, pace: Pace) -> Result<Recorder, Fault> {
        if pace == Pace::Real {
            self.keeping.move_to_a_thread(&self.dir)?;
        }
        self.pace = pace;
        Ok(self)
    }

    /// Roles of the columns, in order.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn columns(&self) -> &[Role] {
        &self.columns
    }

    /// The latest moment in the record.
    #[must_use]
    pub fn last(&self) -> Moment {
        self.last
    }

    /// Records a reading of the role in `column`, taken at `at` during `step`, in role units.
    ///
    /// # Errors
    /// `RANGE` for a value that is not finite or too large to be written exactly (nothing is recorded then, and the
    /// recorder goes on); `CONFIG` for a column that is not there; `DISK_FULL` or `IO` when writing fails or failed
    /// before.
    #[inline]
    pub fn sample(&mut self, at: Moment, step: u32, column: usize, value: f64) -> Result<(), Fault> {
        let Some(&decimals) = self.decimals.get(column) else {
            let seen = format!("column {column} of {}", self.columns.len());
            return Err(Fault::new(FaultCode::Config, "record", seen, ""));
        };
        let Some(scaled) = decimal::scaled(value, decimals) else {
            let who = self.columns[column].word();
            let seen = format!("a reading of {value} cannot be recorded");
            return Err(Fault::new(FaultCode::Range, who, seen, "check the instrument and its scaling"));
        };
        let row = &self.row;
        if row.filled > 0 && (row.at != at || row.step != step || row.values[column] != MISSING) {
            self.end_row()?;
        }
        self.check()?;
        (self.row.at, self.row.step) = (at, step);
        self.row.values[column] = scaled;
        self.row.filled += 1;
        Ok(())
    }

    /// Moves the gathered row into the block.
    fn end_row(&mut self) -> Result<(), Fault> {
        if self.row.filled == 0 {
            return Ok(());
        }
        let out = &mut self.samples.buffer;
        events::push_time(out, self.row.at);
        out.push(b',');
        decimal::push_digits(out, u64::from(self.row.step), 1);
        for (value, decimals) in self.row.values.iter_mut().zip(&self.decimals) {
            out.push(b',');
            if *value != MISSING {
                decimal::push_fixed(out, *value, *decimals);
                *value = MISSING;
            }
        }
        out.push(b'\n');
        self.done.counts.rows += 1;
        self.done.counts.samples += self.row.filled as u64;
        self.row.filled = 0;
        self.last = self.last.max(self.row.at);
        if self.samples.buffer.len() >= BLOCK {
            self.hand_over()?;
        }
        Ok(())
    }

    /// Records an event; `step` is 0 outside of any step. Its detail is words, or `name=value;name=value`
    /// ([`events::detail`]).
    ///
    /// # Errors
    /// `DISK_FULL` or `IO` when writing fails or failed before.
    pub fn event(&mut self, at: Moment, kind: &str, step: u32, detail: &str) -> Result<(), Fault> {
        self.check()?;
        events::push_line(&mut self.events.buffer, at, kind, step, detail);
        self.done.counts.event(kind);
        self.last = self.last.max(at);
        if self.events.buffer.len() >= BLOCK {
            self.hand_over()?;
        }
        Ok(())
    }

    /// A turn of the loop is over: in real time everything recorded so far is handed to the system; in virtual time
    /// nothing is lost by waiting until a block is full.
    ///
    /// # Errors
    /// `DISK_FULL` or `IO` when writing fails or failed before.
    pub fn turn(&mut self) -> Result<(), Fault> {
        match self.pace {
            Pace::Real => self.flush(),
            Pace::Virtual => self.check(),
        }
    }

    /// Hands everything recorded so far to the system.
    ///
    /// # Errors
    /// `DISK_FULL` or `IO` when writing fails or failed before.
    pub fn flush(&mut self) -> Result<(), Fault> {
        self.check()?;
        self.end_row()?;
        self.hand_over()
    }

    /// The first failure, if there was one.
    #[inline]
    fn check(&mut self) -> Result<(), Fault> {
        if self.failed.is_none() {
            self.failed = self.keeping.fault();
        }
        self.failed.clone().map_or(Ok(()), Err)
    }

    fn hand_over(&mut self) -> Result<(), Fault> {
        let files = [&self.samples, &self.events];
        let bytes: u64 = files.iter().map(|j| j.extent.bytes + j.buffer.len() as u64).sum();
        if bytes > self.bytes_max {
            let seen = format!("it would be longer than {} bytes", self.bytes_max);
            let help = "see in events.csv what fills it, or lower the rates of the rig";
            let fault = Fault::new(FaultCode::DiskFull, "record", seen, help);
            self.failed = Some(fault.clone());
            return Err(fault);
        }
        let done = self.samples.hand_over().and_then(|()| self.events.hand_over());
        let reached = [self.samples.extent, self.events.extent];
        let kept = done.and_then(|()| self.keeping.reached(reached));
        kept.inspect_err(|fault| self.failed = Some(fault.clone()))
    }

    /// Ends the record: everything is on the disk afterwards. A second call does nothing.
    ///
    /// # Errors
    /// `DISK_FULL` or `IO` when writing fails or failed before.
    pub fn finish(&mut self) -> Result<Finished, Fault> {
        let flushed = if self.keeping.is_over() { self.check() } else { self.flush() };
        let ended = self.end_keeping();
        flushed.and(ended).inspect_err(|fault| self.failed = Some(fault.clone()))?;
        if self.done.files.is_empty() {
            for name in [SAMPLES, EVENTS, SUMS] {
                self.done.files.push(FileRecord::of(&self.dir, name)?);
            }
        }
        Ok(self.done.clone())
    }

    /// Vouches for what the system took, whatever happened.
    fn end_keeping(&mut self) -> Result<(), Fault> {
        if self.keeping.is_over() {
            return Ok(());
        }
        self.keeping.end([self.samples.extent, self.events.extent])?;
        disk::sync_folder(&self.gate, &self.dir)
    }
}

impl Drop for Recorder {
    /// A recorder that is dropped unfinished (a panic) still hands over what it has; a failure then has nobody to be
    /// told, and the reader sees it.
    fn drop(&mut self) {
        if !self.keeping.is_over() {
            let _ = self.flush();
            let _ = self.end_keeping();
        }
    }
}
