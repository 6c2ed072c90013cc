//! A recorded road trace: the file below the scenario's folder, and its rows.
//!
//! In: a folder and a relative name from an untrusted scenario. Out: rows of time, boost and engine speed. Never: a
//! file outside the folder: no absolute name, no `..`, no symbolic link anywhere below the folder, no device; each
//! part of the name is opened from the folder before it, so that nothing can be swapped in between.

use super::super::shipped::{self, Beside};
use crate::problem::{Place, Problem, Problems};
use crate::quantity::{Dimension, Unit, find_unit, parse_number};
use rustix::fs::{FileType, Mode, OFlags, fstat, open, openat};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Longest trace, bytes.
const BYTES_MAX: u64 = 8 << 20;
/// Most rows.
const ROWS_MAX: usize = 100_000;

/// The text of a file beside a scenario.
///
/// # Errors
/// The name is not allowed, or the file cannot be read.
pub(super) fn text(beside: &Beside, name: &str) -> Result<String, Problems> {
    let folder = match beside {
        Beside::Folder(folder) => folder,
        Beside::Shipped => {
            let kept = shipped::beside_scenario(name).map(str::to_owned);
            return kept
                .ok_or_else(|| Problem::new(format!("{name}: does not come with the program")).into());
        }
    };
    let file = open_below(folder, name)?;
    let mut text = String::new();
    let refused = |what: String| Problems::from(Problem::new(format!("{name}: {what}")));
    let read = file.take(BYTES_MAX + 1).read_to_string(&mut text);
    read.map_err(|e| refused(format!("cannot be read: {e}")))?;
    if text.len() as u64 > BYTES_MAX {
        return Err(refused(format!("longer than {BYTES_MAX} bytes")));
    }
    Ok(text)
}

/// Rows of (time from the start, s; boost, gauge kPa; engine speed, rpm); times divided by `speed`.
///
/// # Errors
/// The name is not allowed, the file cannot be read, or its rows are wrong.
pub(super) fn read(beside: &Beside, name: &str, speed: f64) -> Result<Vec<(f64, f64, f64)>, Problems> {
    rows(name, &text(beside, name)?, speed)
}

/// Opens a file below a folder without following any link.
fn open_below(folder: &Path, name: &str) -> Result<File, Problems> {
    let refused = |what: &str| {
        let problem = Problem::new(format!("\"{name}\" {what}"));
        problem.expected("the name of a file beside or below the scenario, such as `traces/hill.csv`")
    };
    let parts: Vec<&str> = name.split('/').collect();
    let bad = |c: char| c.is_control() || matches!(c, '\\' | ':');
    if name.starts_with(['/', '~'])
        || name.contains(bad)
        || parts.iter().any(|p| matches!(*p, "" | "." | ".."))
    {
        return Err(refused("is not a plain relative name").into());
    }
    let cannot = |e: rustix::io::Errno| {
        let what = match e {
            rustix::io::Errno::LOOP | rustix::io::Errno::MLINK => {
                "is or lies behind a symbolic link".to_owned()
            }
            rustix::io::Errno::NOTDIR => {
                "lies behind a symbolic link, or behind something that is no folder".to_owned()
            }
            e => format!("cannot be opened: {e}"),
        };
        Problems::from(refused(&what))
    };
    let folder_flags = OFlags::RDONLY | OFlags::DIRECTORY | OFlags::CLOEXEC;
    let mut at = open(folder, folder_flags, Mode::empty()).map_err(cannot)?;
    let Some((last, above)) = parts.split_last() else {
        return Err(refused("is empty").into());
    };
    for part in above {
        at = openat(&at, *part, folder_flags | OFlags::NOFOLLOW, Mode::empty()).map_err(cannot)?;
    }
    let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::CLOEXEC;
    let file = openat(&at, *last, flags, Mode::empty()).map_err(cannot)?;
    let kind = fstat(&file).map_err(cannot)?.st_mode;
    if FileType::from_raw_mode(kind) != FileType::RegularFile {
        return Err(refused("is not a plain file").into());
    }
    Ok(File::from(file))
}

/// Which column is which.
struct Columns {
    time: usize,
    boost: usize,
    boost_unit: &'static Unit,
    rpm: usize,
}

fn rows(name: &str, text: &str, speed: f64) -> Result<Vec<(f64, f64, f64)>, Problems> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut columns = None;
    let mut rows: Vec<(f64, f64, f64)> = Vec::new();
    let mut problems = Problems::default();
    for record in reader.records() {
        let record = record.map_err(|e| Problem::new(format!("{name}: {e}")))?;
        let line = record.position().map_or(0, csv::Position::line);
        let Some(columns) = &columns else {
            columns = Some(header(name, &record)?);
            continue;
        };
        match row(columns, &record) {
            Ok(mut row) => {
                row.0 /= speed;
                let before = rows.last().map_or(f64::NEG_INFINITY, |r| r.0);
                if row.0 <= before || row.0 < 0.0 {
                    problems.push(
                        at(name, line, &record, "time does not go on").expected("times from 0 that rise"),
                    );
                }
                rows.push(row);
            }
            Err(what) => problems.push(at(name, line, &record, &what)),
        }
        if rows.len() > ROWS_MAX {
            problems.push(Problem::new(format!("{name}: more than {ROWS_MAX} rows")));
        }
        if problems.0.len() > 20 || rows.len() > ROWS_MAX {
            break;
        }
    }
    problems.into_result()?;
    if rows.len() < 2 {
        return Err(Problem::new(format!("{name}: fewer than two rows")).into());
    }
    Ok(rows)
}

fn header(name: &str, record: &csv::StringRecord) -> Result<Columns, Problems> {
    let column = |wanted: &str| record.iter().position(|c| c.trim_start_matches('\u{feff}') == wanted);
    let boost = ["psi", "kpa", "bar"].iter().find_map(|unit| {
        let at = column(&format!("boost_{unit}"))?;
        Some((at, find_unit(unit, Dimension::GaugePressure)?))
    });
    match (column("time_s"), boost, column("rpm")) {
        (Some(time), Some((boost, boost_unit)), Some(rpm)) => Ok(Columns { time, boost, boost_unit, rpm }),
        _ => Err(at(name, 1, record, "the first line does not name the columns we need")
            .expected("time_s, one of boost_psi, boost_kpa and boost_bar, and rpm")
            .into()),
    }
}

fn row(columns: &Columns, record: &csv::StringRecord) -> Result<(f64, f64, f64), String> {
    let number = |at: usize, what: &str| match record.get(at).map(parse_number) {
        Some(Ok(value)) => Ok(value),
        Some(Err(_)) => Err(format!("the {what} \"{}\" is not a number", &record[at])),
        None => Err(format!("the {what} is missing")),
    };
    let boost = columns.boost_unit.to_internal(number(columns.boost, "boost")?);
    let rpm = number(columns.rpm, "engine speed")?;
    if !(0.0..=20_000.0).contains(&rpm) || !(-105.0..=7000.0).contains(&boost) {
        return Err("boost or engine speed is out of range".to_owned());
    }
    Ok((number(columns.time, "time")?, boost, rpm))
}

/// A problem of a line, which is shown from its start.
fn at(name: &str, line: u64, record: &csv::StringRecord, what: &str) -> Problem {
    let text: String = record.iter().collect::<Vec<_>>().join(",").chars().take(80).collect();
    Problem::new(what).at(Place {
        file: name.to_owned(),
        line: u32::try_from(line).unwrap_or(u32::MAX),
        column: 1,
        width: text.chars().count().max(1) as u32,
        text,
    })
}
