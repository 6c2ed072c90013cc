//! A run folder, opened and checked.
//!
//! In: the folder. Out: `run.yaml`, the texts of rig and scenario, and samples and events as streams up to the last
//! sync. Altered bytes are a problem that names the file and where; what a killed run left after its last sync is
//! left out, and a note says so. Never: an altered record read as whole, or more than a few blocks of it in memory.

use super::columns;
use super::events::{self, EventReader};
use super::run_file::{Counts, FileRecord, RUN, RunFile, sha256_of};
pub use super::samples::SampleRow;
use super::samples::{Source, Stop};
use super::sums::{self, Extent};
use super::{EVENTS, SAMPLES, SUMS};
use crate::clock::Moment;
use crate::problem::{Place, Problem, Problems};
use crate::script::role::Role;
use crate::script::yaml;
use std::fs::File;
use std::io::{BufRead as _, BufReader, Read as _};
use std::os::unix::fs::FileExt as _;
use std::path::{Path, PathBuf};

/// A run folder.
#[derive(Debug)]
pub struct RunFolder {
    /// The folder.
    pub dir: PathBuf,
    /// `run.yaml`.
    pub run: RunFile,
    /// Text of `rig.yaml`.
    pub rig_text: String,
    /// Text of `scenario.yaml`.
    pub scenario_text: String,
    /// What is worth knowing about the state of the record: what was left out, and why.
    pub notes: Vec<String>,
    record: Record,
}

/// The recorded files, as far as they are vouched for.
#[derive(Debug)]
struct Record {
    dir: PathBuf,
    columns: Vec<Role>,
    samples: File,
    kept: [Extent; 2],
    sums_bytes: u64,
}

impl RunFolder {
    /// Opens a folder and checks everything but the values in `samples.csv`, which [`RunFolder::samples`] checks while
    /// it goes through them.
    ///
    /// # Errors
    /// Every file that is missing, altered or out of form.
    pub fn open(dir: &Path) -> Result<RunFolder, Problems> {
        let mut problems = Problems::default();
        let text = |name: &str, problems: &mut Problems| {
            let read = yaml::Text::read(&dir.join(name));
            read.map(|t| t.text.to_string()).map_err(|p| problems.0.extend(p.0)).ok()
        };
        let run = text(RUN, &mut problems).map(|text| RunFile::from_text(&text));
        let run = run.and_then(|r| r.map_err(|p| problems.0.extend(p.0)).ok());
        let rig_text = text("rig.yaml", &mut problems);
        let scenario_text = text("scenario.yaml", &mut problems);
        if let Some(run) = &run {
            check_hashes(dir, &run.files, &mut problems);
        }
        let record = Record::open(dir).map_err(|p| problems.0.extend(p.0)).ok();
        let (Some(run), Some(rig_text), Some(scenario_text), Some(record)) =
            (run, rig_text, scenario_text, record)
        else {
            return Err(problems);
        };
        let mut notes = Vec::new();
        record.check_lengths(&run.files, &mut notes, &mut problems);
        problems.into_result()?;
        Ok(RunFolder { dir: dir.to_owned(), run, rig_text, scenario_text, notes, record })
    }

    /// Roles of the columns of `samples.csv`, in order.
    #[must_use]
    pub fn columns(&self) -> &[Role] {
        &self.record.columns
    }

    /// The column of a role.
    #[must_use]
    pub fn column(&self, role: &Role) -> Option<usize> {
        self.record.columns.iter().position(|r| r == role)
    }

    /// Hands every row of `samples.csv` to `each`, in order. Only after `Ok` is it certain that what was handed on is
    /// what was recorded.
    ///
    /// # Errors
    /// The file was altered, cannot be read, or holds something that is not a row.
    pub fn samples(&self, each: &mut impl FnMut(&SampleRow<'_>)) -> Result<(), Problems> {
        self.samples_of(|_| true, each)
    }

    /// The same with the values of the wanted columns only. The others are passed over, which saves most of the time:
    /// their values are `NaN`, and what stands there is vouched for by the check sum alone.
    ///
    /// # Errors
    /// As [`RunFolder::samples`].
    pub fn samples_of(
        &self,
        wanted: impl Fn(&Role) -> bool,
        each: &mut impl FnMut(&SampleRow<'_>),
    ) -> Result<(), Problems> {
        let wanted: Vec<bool> = self.columns().iter().map(wanted).collect();
        self.record.samples(&wanted, each)
    }

    /// The events, in order.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn events(&self) -> Result<EventReader, Problems> {
        EventReader::open(&self.dir, self.record.kept[1].bytes)
    }
}

/// Compares files with the hashes in `run.yaml`.
fn check_hashes(dir: &Path, files: &[FileRecord], problems: &mut Problems) {
    for file in files {
        let Some(expected) = &file.sha256 else { continue };
        if !matches!(file.name.as_str(), "scenario.yaml" | "rig.yaml" | SUMS) {
            continue;
        }
        let found = File::open(dir.join(&file.name))
            .and_then(|f| sha256_of(&mut f.take(file.bytes.saturating_add(1))));
        match found {
            Ok(found) if found == *expected => {}
            Ok(_) => {
                problems.push(altered(&dir.join(&file.name), "it does not match its SHA-256 in run.yaml"))
            }
            Err(e) => problems.push(unreadable(&dir.join(&file.name), &e)),
        }
    }
}

fn altered(path: &Path, how: &str) -> Problem {
    Problem::new(format!("{} was altered after it was written: {how}", path.display()))
        .help("take the folder from a copy; a record that was edited proves nothing")
}

fn unreadable(path: &Path, error: &std::io::Error) -> Problem {
    Problem::new(format!("{}: cannot be read: {error}", path.display()))
}

impl Record {
    fn open(dir: &Path) -> Result<Self, Problems> {
        let (kept, sums_bytes) = last_sums(dir)?;
        let path = dir.join(SAMPLES);
        let samples = File::open(&path).map_err(|e| unreadable(&path, &e))?;
        let mut header = Vec::new();
        let read = BufReader::new(&samples).take(kept[0].bytes.min(64 * 1024)).read_until(b'\n', &mut header);
        read.map_err(|e| unreadable(&path, &e))?;
        let line = header.strip_suffix(b"\n").and_then(|h| std::str::from_utf8(h).ok());
        let columns = line.and_then(columns::roles).ok_or_else(|| {
            Problem::new(format!("{}: the first line is not a header of ours", path.display()))
                .expected("time_s, step and a column a role")
        })?;
        let record = Record { dir: dir.to_owned(), columns, samples, kept, sums_bytes };
        record.check_events()?;
        Ok(record)
    }

    /// Checks the bytes of `events.csv` against their sum.
    fn check_events(&self) -> Result<(), Problems> {
        let path = self.dir.join(EVENTS);
        let mut file = File::open(&path).map_err(|e| unreadable(&path, &e))?.take(self.kept[1].bytes);
        let (mut extent, mut block) = (Extent::default(), vec![0; 64 * 1024]);
        loop {
            match file.read(&mut block).map_err(|e| unreadable(&path, &e))? {
                0 => break,
                n => extent = extent.with(&block[..n]),
            }
        }
        if extent == self.kept[1] { Ok(()) } else { Err(self.damage(1, &path).into()) }
    }

    /// Compares the lengths of the recorded files with what is vouched for.
    fn check_lengths(&self, files: &[FileRecord], notes: &mut Vec<String>, problems: &mut Problems) {
        for (name, kept) in sums::FILES.into_iter().zip(self.kept) {
            let path = self.dir.join(name);
            let length = match std::fs::metadata(&path) {
                Ok(meta) => meta.len(),
                Err(e) => {
                    problems.push(unreadable(&path, &e));
                    continue;
                }
            };
            let ended = files.iter().find(|f| f.name == name);
            if let Some(file) = ended.filter(|f| f.bytes != length || f.bytes != kept.bytes) {
                let how =
                    format!("run.yaml says {} bytes, sums.csv {}, it has {length}", file.bytes, kept.bytes);
                problems.push(altered(&path, &how));
            } else if length < kept.bytes {
                problems
                    .push(altered(&path, &format!("sums.csv says {} bytes, it has {length}", kept.bytes)));
            } else if length > kept.bytes {
                let torn = length - kept.bytes;
                notes.push(format!(
                    "{name}: {torn} bytes after the last sync were left out; the run ended early"
                ));
            }
            if !ends_with_a_line(&path, kept.bytes) {
                notes.push(format!("{name}: the last line was cut short and left out"));
            }
        }
    }

    fn samples(&self, wanted: &[bool], each: &mut impl FnMut(&SampleRow<'_>)) -> Result<(), Problems> {
        let path = self.dir.join(SAMPLES);
        let source = Source { file: &self.samples, end: self.kept[0].bytes, wanted };
        match source.read(each) {
            Ok(crc) if crc == self.kept[0].crc32c => Ok(()),
            Ok(_) => Err(self.damage(0, &path).into()),
            Err(Stop::Io(e)) => Err(unreadable(&path, &e).into()),
            Err(Stop::Bad(bad)) if self.damaged_from(0, &path).is_none() => {
                let place = place_of(&path, bad.offset).map_err(|e| unreadable(&path, &e))?;
                Err(Problem::new(bad.what).at(place).into())
            }
            Err(Stop::Bad(_)) => Err(self.damage(0, &path).into()),
        }
    }

    /// The problem of a file that does not match its sums, with where it was altered.
    fn damage(&self, file: usize, path: &Path) -> Problem {
        let how = match self.damaged_from(file, path) {
            Some((from, to)) => format!("bytes {from} to {to} do not match sums.csv"),
            None => String::from("it does not match sums.csv"),
        };
        altered(path, &how)
    }

    /// The first span between two syncs that does not match; none where all do.
    fn damaged_from(&self, file: usize, path: &Path) -> Option<(u64, u64)> {
        let mut bytes = BufReader::with_capacity(64 * 1024, File::open(path).ok()?);
        let (mut so_far, mut found) = (Extent::default(), None);
        let list = BufReader::new(File::open(self.dir.join(SUMS)).ok()?);
        let walked = sums::read(list, |which, extent| {
            if which != file || found.is_some() {
                return;
            }
            let from = so_far.bytes;
            so_far = extent_to(&mut bytes, so_far, extent.bytes);
            if so_far != extent {
                found = Some((from, extent.bytes));
            }
        });
        walked.ok().and(found)
    }
}

/// The extent of a file that is being read on, up to byte `to` or its end.
fn extent_to(bytes: &mut BufReader<File>, mut so_far: Extent, to: u64) -> Extent {
    while so_far.bytes < to {
        let Ok(block) = bytes.fill_buf() else { break };
        let n = block.len().min(usize::try_from(to - so_far.bytes).unwrap_or(usize::MAX));
        if n == 0 {
            break;
        }
        so_far = so_far.with(&block[..n]);
        bytes.consume(n);
    }
    so_far
}

/// Whether the first `bytes` bytes of a file end with a whole line.
fn ends_with_a_line(path: &Path, bytes: u64) -> bool {
    let mut last = [0];
    let read = File::open(path).and_then(|f| f.read_exact_at(&mut last, bytes.saturating_sub(1)));
    bytes == 0 || (read.is_ok() && last == *b"\n")
}

/// The last sync of each file, and how many bytes of `sums.csv` are whole lines.
fn last_sums(dir: &Path) -> Result<([Extent; 2], u64), Problems> {
    let path = dir.join(SUMS);
    let list = File::open(&path).map_err(|e| unreadable(&path, &e))?;
    let mut kept = [Extent::default(); 2];
    match sums::read(BufReader::new(list), |file, extent| kept[file] = extent) {
        Ok(bytes) => Ok((kept, bytes)),
        Err((line, what)) => Err(altered(&path, &format!("line {line} {what}")).into()),
    }
}

/// The place of a byte.
fn place_of(path: &Path, offset: u64) -> std::io::Result<Place> {
    let mut bytes = BufReader::new(File::open(path)?);
    let (mut at, mut line, mut text) = (0, 0, Vec::new());
    while at <= offset {
        text.clear();
        let n = (&mut bytes).take(128 * 1024).read_until(b'\n', &mut text)?;
        if n == 0 {
            break;
        }
        at += n as u64;
        line += 1;
    }
    let begin = at - text.len() as u64;
    let column = usize::try_from(offset - begin).unwrap_or(0);
    let shown = String::from_utf8_lossy(&text[..text.len().min(200)]);
    Ok(Place {
        file: path.display().to_string(),
        line,
        column: u32::try_from(column + 1).unwrap_or(u32::MAX),
        width: 1,
        text: shown.trim_end().to_owned(),
    })
}

/// What a recorder needs to go on with a record.
pub(super) struct Old {
    pub(super) columns: Vec<Role>,
    pub(super) kept: [Extent; 2],
    pub(super) sums_bytes: u64,
    pub(super) last: Moment,
    pub(super) counts: Counts,
}

/// Goes through a record to go on with it.
pub(super) fn old_record(dir: &Path) -> Result<Old, Problems> {
    let record = Record::open(dir)?;
    let (mut counts, mut last_s) = (Counts::default(), 0.0_f64);
    record.samples(&vec![true; record.columns.len()], &mut |row| {
        counts.rows += 1;
        counts.samples += row.values.iter().filter(|v| !v.is_nan()).count() as u64;
        last_s = last_s.max(row.time_s);
    })?;
    for event in events::EventReader::open(dir, record.kept[1].bytes)? {
        let event = event?;
        counts.event(&event.kind);
        last_s = last_s.max(event.time_s);
    }
    Ok(Old {
        columns: record.columns,
        kept: record.kept,
        sums_bytes: record.sums_bytes,
        last: Moment::from_s(last_s),
        counts,
    })
}
