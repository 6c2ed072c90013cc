//! Switch ramps recorded elsewhere: CSV `ramp, time_s, line_pressure_psi|_kpa|_bar, switch`.
//!
//! In: the file, read as a stream. Out: one [`Ramp`] after the other, pressures in gauge kPa; or every problem with
//! its line and column (the first [`PROBLEMS_MAX`]). A ramp is one rise or one fall, in one piece; its name is whatever
//! stands in its column. An empty cell is a missing reading. Never: more than one ramp in memory, or a reading that was
//! not understood and passes for missing.

use super::lines::Lines;
use super::switch_ramps::Ramp;
use crate::problem::{Problem, Problems, nearest};
use crate::quantity::{Dimension, QuantityError, Unit, find_unit, parse_number};
use std::collections::HashSet;
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;

/// Problems that are listed; reading stops there.
pub const PROBLEMS_MAX: usize = 20;
/// Ramps in one file.
const RAMPS_MAX: usize = 10_000;
/// The columns, as a message shows them.
const COLUMNS: &str = "ramp, time_s, line_pressure_psi (or _kpa, _bar), switch";
const NAMES: [&str; 6] =
    ["ramp", "time_s", "line_pressure_psi", "line_pressure_kpa", "line_pressure_bar", "switch"];

/// Whether a header line is that of ramps: it has a ramp, a time and a switch.
#[must_use]
pub fn is_ramps(header: &str) -> bool {
    let names: Vec<String> = header.split(',').map(name_of).collect();
    ["ramp", "time_s", "switch"].iter().all(|wanted| names.iter().any(|n| n == wanted))
}

fn name_of(cell: &str) -> String {
    let text = cell.trim_start_matches('\u{feff}').trim();
    text.trim_matches('"').trim().to_ascii_lowercase()
}

/// Reads a file and hands on each ramp.
///
/// # Errors
/// Every problem found.
pub fn read(path: &Path, each: &mut impl FnMut(Ramp)) -> Result<(), Problems> {
    let file = path.display().to_string();
    let opened = File::open(path).map_err(|e| Problem::new(format!("{file}: cannot be read: {e}")))?;
    read_from(BufReader::new(opened), &file, each)
}

/// The same from any reader; `file` is its name in messages.
///
/// # Errors
/// Every problem found.
pub fn read_from(lines: impl BufRead, file: &str, each: &mut impl FnMut(Ramp)) -> Result<(), Problems> {
    let mut lines = Lines::new(lines, file);
    let Some(()) = lines.next()? else {
        return Err(Problem::new(format!("{file}: the file is empty"))
            .expected(format!("a header line: {COLUMNS}"))
            .into());
    };
    let columns = Columns::find(&lines)?;
    let mut rows = Rows {
        columns,
        ramp: None,
        seen: HashSet::new(),
        last_s: f64::NEG_INFINITY,
        problems: Problems::default(),
    };
    while lines.next()?.is_some() {
        if lines.text.trim().is_empty() {
            continue;
        }
        if let Some(done) = rows.take(&lines) {
            each(done);
        }
        if rows.problems.0.len() >= PROBLEMS_MAX {
            return Err(rows.problems);
        }
    }
    rows.problems.into_result()?;
    match rows.ramp {
        Some(last) => each(last),
        None => {
            return Err(Problem::new(format!("{file}: there are no readings below the header"))
                .expected("a line a reading")
                .into());
        }
    }
    Ok(())
}

/// Where the columns are.
struct Columns {
    ramp: usize,
    time: usize,
    pressure: usize,
    unit: &'static Unit,
    switch: usize,
    count: usize,
}

impl Columns {
    fn find<R: BufRead>(header: &Lines<'_, R>) -> Result<Columns, Problems> {
        let cells = header.cells();
        if cells.len() == 1 && header.text.contains([';', '\t']) {
            let what = "the columns are not separated by commas";
            return Err(header
                .problem(0, header.text.chars().count(), what)
                .expected(format!("the columns {COLUMNS}"))
                .help("separate columns by commas, and write decimals with a point")
                .into());
        }
        let names: Vec<String> = cells.iter().map(|c| name_of(c.1)).collect();
        let mut problems = Problems::default();
        let mut place = |wanted: &str, shown: &str| {
            let mut found = names.iter().enumerate().filter(|(_, n)| n.starts_with(wanted));
            let exact = |n: &str| NAMES.contains(&n);
            let first = found.find(|(_, n)| exact(n)).map(|(i, _)| i);
            if let (Some(_), Some((again, name))) = (first, found.find(|(_, n)| exact(n))) {
                let (offset, text) = cells[again];
                problems.push(
                    header
                        .problem(offset, text.len(), format!("\"{name}\" is a second column for the same"))
                        .expected("one column each"),
                );
            }
            if first.is_none() {
                problems.push(missing(header, &cells, &names, wanted, shown));
            }
            first
        };
        let ramp = place("ramp", "ramp");
        let time = place("time_s", "time_s");
        let pressure = place("line_pressure_", "line_pressure_psi, line_pressure_kpa or line_pressure_bar");
        let switch = place("switch", "switch");
        let unit = pressure
            .and_then(|i| names[i].strip_prefix("line_pressure_"))
            .and_then(|word| find_unit(if word == "kpa" { "kPa" } else { word }, Dimension::GaugePressure));
        match (ramp, time, pressure, unit, switch) {
            (Some(ramp), Some(time), Some(pressure), Some(unit), Some(switch)) if problems.0.is_empty() => {
                Ok(Columns { ramp, time, pressure, unit, switch, count: cells.len() })
            }
            _ => Err(problems),
        }
    }
}

/// A column that is not there, with the name that was probably meant for it.
fn missing<R: BufRead>(
    header: &Lines<'_, R>,
    cells: &[(usize, &str)],
    names: &[String],
    wanted: &str,
    shown: &str,
) -> Problem {
    let near = (0..names.len()).find(|&i| {
        !NAMES.contains(&names[i].as_str())
            && (nearest(&names[i], NAMES).is_some_and(|n| n.starts_with(wanted))
                || names[i].starts_with(wanted.trim_end_matches('_')))
    });
    let expected = format!("the columns {COLUMNS}");
    if let Some(i) = near {
        let (offset, text) = cells[i];
        let what = format!("\"{text}\" is not a column of switch ramps");
        return header
            .problem(offset, text.len(), what)
            .expected(expected)
            .help(format!("did you mean {shown}?"));
    }
    header.problem(0, 1, format!("there is no column {shown}")).expected(expected)
}

/// Rows on their way to ramps.
struct Rows {
    columns: Columns,
    ramp: Option<Ramp>,
    seen: HashSet<String>,
    last_s: f64,
    problems: Problems,
}

impl Rows {
    /// Takes a row; the ramp that it ended, if it did.
    fn take<R: BufRead>(&mut self, line: &Lines<'_, R>) -> Option<Ramp> {
        let cells = line.cells();
        if cells.len() != self.columns.count {
            let what = format!("the line has {} cells, the header {}", cells.len(), self.columns.count);
            let problem = line.problem(0, line.text.chars().count(), what);
            self.problems.push(if cells.len() > self.columns.count {
                problem.help("write decimals with a point, not a comma")
            } else {
                problem.help("leave a missing reading empty, but keep its comma")
            });
            return None;
        }
        let done = self.label(line, cells[self.columns.ramp]);
        let time = self.number(line, cells[self.columns.time], "a time in seconds, such as 12.34");
        let pressure = self.number(line, cells[self.columns.pressure], "a pressure, such as 30.25");
        let made = self.made(line, cells[self.columns.switch]);
        self.reading(line, cells[self.columns.time], time, pressure, made);
        done
    }

    /// Takes the name of the ramp.
    fn label<R: BufRead>(&mut self, line: &Lines<'_, R>, (offset, text): (usize, &str)) -> Option<Ramp> {
        if text.is_empty() || text.len() > 64 {
            self.problems.push(
                line.problem(offset, text.chars().count(), "the ramp has no name, or a very long one")
                    .expected("a number or a short name, such as 1"),
            );
            return None;
        }
        if self.ramp.as_ref().is_some_and(|r| r.label == text) {
            return None;
        }
        if !self.seen.insert(text.to_owned()) {
            let what = format!("ramp {text} comes again after another one");
            self.problems.push(
                line.problem(offset, text.chars().count(), what)
                    .expected("each ramp in one piece: one rise or one fall"),
            );
        }
        if self.seen.len() == RAMPS_MAX {
            let what = format!("there are more than {RAMPS_MAX} ramps");
            self.problems.push(line.problem(offset, 1, what).help("split the file"));
        }
        self.last_s = f64::NEG_INFINITY;
        self.ramp.replace(Ramp { label: text.to_owned(), ..Ramp::default() })
    }

    /// A number, or a missing one.
    fn number<R: BufRead>(
        &mut self,
        line: &Lines<'_, R>,
        (offset, text): (usize, &str),
        expected: &str,
    ) -> Option<f64> {
        if text.is_empty() {
            return None;
        }
        let bad = match parse_number(text) {
            Ok(value) => return Some(value),
            Err(bad) => bad,
        };
        let what = match bad {
            QuantityError::NotANumber(_) => format!("\"{text}\" is not a number"),
            ref other => other.what(text),
        };
        let mut problem = line.problem(offset, text.chars().count(), what).expected(expected);
        problem.help = bad.help();
        self.problems.push(problem);
        None
    }

    /// A state of the contact, or a missing one.
    fn made<R: BufRead>(&mut self, line: &Lines<'_, R>, (offset, text): (usize, &str)) -> Option<bool> {
        match text {
            "" => None,
            "0" | "0.0" => Some(false),
            "1" | "1.0" => Some(true),
            other => {
                self.problems.push(
                    line.problem(
                        offset,
                        other.chars().count(),
                        format!("\"{other}\" is not a state of a switch"),
                    )
                    .expected("1 where it is made, 0 where it is open"),
                );
                None
            }
        }
    }

    fn reading<R: BufRead>(
        &mut self,
        line: &Lines<'_, R>,
        (offset, text): (usize, &str),
        time: Option<f64>,
        pressure: Option<f64>,
        made: Option<bool>,
    ) {
        let Some(time_s) = time else {
            if text.is_empty() {
                self.problems.push(
                    line.problem(offset, 1, "the reading has no time")
                        .expected("a time in seconds, such as 12.34"),
                );
            }
            return;
        };
        if time_s <= self.last_s {
            let what = format!("the time does not go on: {text} after {}", self.last_s);
            self.problems.push(
                line.problem(offset, text.chars().count(), what).expected("times that rise within a ramp"),
            );
            return;
        }
        self.last_s = time_s;
        let Some(ramp) = &mut self.ramp else { return };
        if let Some(kpa) = pressure.map(|p| self.columns.unit.to_internal(p)) {
            ramp.push_pressure(time_s, kpa);
        }
        if let Some(made) = made {
            ramp.contact.push(time_s, made);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(text: &str) -> Result<Vec<Ramp>, Problems> {
        let mut ramps = Vec::new();
        read_from(text.as_bytes(), "ramps.csv", &mut |r| ramps.push(r)).map(|()| ramps)
    }

    #[test]
    fn ramps_come_in_order_with_missing_readings_missing() {
        let text =
            "\u{feff}ramp,time_s,line_pressure_psi,switch\r\n1,0,10,0\r\n1,0.5,,0\r\n1,1,12,\r\n2,0,30,1\r\n";
        let ramps = read_text(text).unwrap();
        assert_eq!(ramps.len(), 2);
        let psi = 6.894_757_293_168_361;
        assert_eq!(ramps[0].pressure, [(0.0, 10.0 * psi), (1.0, 12.0 * psi)]);
        assert_eq!((ramps[0].contact.readings(), ramps[1].contact.first()), (2, Some(true)));
        for (unit, factor) in [("kpa", 1.0), ("bar", 100.0)] {
            let text = format!("switch, time_s ,line_pressure_{unit},ramp\n0,1.5,2,up 1\n");
            let ramps = read_text(&text).unwrap();
            assert_eq!(ramps[0].pressure, [(1.5, 2.0 * factor)]);
            assert_eq!(ramps[0].label, "up 1");
        }
        assert!(is_ramps("Ramp,time_s,line_pressure_psi,switch"));
        assert!(!is_ramps("duty_pct,supply_v,line_pressure_psi,collected_g,collect_s"));
    }

    #[test]
    fn problems_are_shown_where_they_stand() {
        let text = "ramp,time_s,line_pressure_psi,switch\n1,0,10,0\n1,0,11,0\n1,x,12,open\n,2,13,0\n1,3,\"14,5\",0\n2,1,10,1\n1,9,9,0\n";
        insta::assert_snapshot!(read_text(text).unwrap_err());
        let header = |h: &str| read_text(&format!("{h}\n1,0,1,0\n")).unwrap_err().to_string();
        insta::assert_snapshot!(header("ramp,time_s,line_presure_psi,switch"));
        insta::assert_snapshot!(header("ramp;time_s;line_pressure_psi;switch"));
        insta::assert_snapshot!(header("ramp,time_s,line_pressure_psi,line_pressure_kpa"));
        insta::assert_snapshot!(read_text("").unwrap_err());
        insta::assert_snapshot!(read_text("ramp,time_s,line_pressure_psi,switch\n").unwrap_err());
    }

    #[test]
    fn hostile_files_are_refused_in_bounded_memory() {
        let long = format!("ramp,time_s,line_pressure_psi,switch\n1,0,{},0\n", "1".repeat(100_000));
        assert!(read_text(&long).unwrap_err().0[0].what.contains("too long"));
        let mut many = String::from("ramp,time_s,line_pressure_psi,switch\n");
        (0..1000).for_each(|_| many.push_str("x,y,z,w\n"));
        assert_eq!(read_text(&many).unwrap_err().0.len(), PROBLEMS_MAX + 1);
        for number in ["nan", "inf", "1e999", "0x7f", "1_000", "1:30"] {
            let text = format!("ramp,time_s,line_pressure_psi,switch\n1,0,{number},0\n");
            assert!(read_text(&text).is_err(), "{number}");
        }
        let torn = b"ramp,time_s,line_pressure_psi,switch\n1,0,\xff\xfe,0\n";
        assert!(read_from(&torn[..], "x", &mut |_| ()).is_err());
    }
}
