//! Shared by the number checks: reading the reference tables, and a tally that counts cells and the worst deviation.
//!
//! In: tables below `tests/reference/` (CSV with a header line, empty = not applicable) and, where present, data that
//! is not part of the repository. Out: cells by name; a failed test with every cell that is off. Never: a table that
//! is missing and passes for that.

#![cfg(test)]
#![allow(dead_code, reason = "every test file uses its own part")]

pub(crate) mod guides;

use std::collections::HashMap;
use std::path::PathBuf;

/// One row of a table.
#[derive(Clone, Debug)]
pub(crate) struct Row(HashMap<String, String>);

impl Row {
    /// The text of a cell.
    pub(crate) fn text(&self, column: &str) -> &str {
        self.0.get(column).unwrap_or_else(|| panic!("no column {column}: {:?}", self.0.keys()))
    }

    /// The number in a cell; none where it is empty.
    pub(crate) fn maybe(&self, column: &str) -> Option<f64> {
        let text = self.text(column).trim();
        (!text.is_empty()).then(|| text.parse().unwrap_or_else(|e| panic!("{column} = {text}: {e}")))
    }

    /// The number in a cell.
    pub(crate) fn num(&self, column: &str) -> f64 {
        self.maybe(column).unwrap_or_else(|| panic!("{column} is empty: {:?}", self.0))
    }

    /// The numbers in a cell, separated by semicolons.
    pub(crate) fn list(&self, column: &str) -> Vec<f64> {
        self.text(column).split(';').map(|v| v.trim().parse().unwrap()).collect()
    }
}

/// Where a reference file of the repository lies.
pub(crate) fn reference(file: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(file)
}

/// Where a reference file outside the repository lies; none (with a printed word) where it is not present.
pub(crate) fn external(file: &str) -> Option<PathBuf> {
    let home = std::env::var_os("DUTYCUP_REFERENCE")
        .map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/reference"), PathBuf::from);
    let path = home.join("not-to-commit").join(file);
    let found = path.exists();
    if !found {
        println!("skipped: {file} is not part of the repository (set DUTYCUP_REFERENCE to where it is)");
    }
    found.then_some(path)
}

/// The rows of a table of the repository.
pub(crate) fn table(file: &str) -> Vec<Row> {
    rows(&reference(file))
}

/// The rows of any CSV file.
pub(crate) fn rows(path: &PathBuf) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let header = reader.headers().unwrap().clone();
    let rows: Vec<Row> = reader
        .records()
        .map(|r| {
            Row(header.iter().zip(r.unwrap().iter()).map(|(k, v)| (k.to_owned(), v.to_owned())).collect())
        })
        .collect();
    assert!(!rows.is_empty(), "{} has no rows", path.display());
    rows
}

/// The numbers of a NIST StRD file from its data lines on, one row a line.
pub(crate) fn nist_data(path: &PathBuf) -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    // The header names the data lines, "Data (lines 61 to 74)"; where it does not, they are the numbers at the end.
    let place = text.lines().take(12).find(|l| l.contains("(lines") && l.contains("Data ")).unwrap_or("");
    let named: Vec<usize> =
        place.split(|c: char| !c.is_ascii_digit()).filter_map(|w| w.parse().ok()).collect();
    let numbers = |l: &str| l.split_whitespace().map(|v| v.parse().ok()).collect::<Option<Vec<f64>>>();
    let lines: Vec<&str> = text.lines().filter(|l| named.len() == 2 || !l.trim().is_empty()).collect();
    let first = match named[..] {
        [first, _] => first - 1,
        _ => lines.len() - lines.iter().rev().take_while(|l| numbers(l).is_some()).count(),
    };
    let last = if let [_, last] = named[..] { last } else { lines.len() };
    lines[first..last]
        .iter()
        .map(|l| numbers(l).unwrap_or_else(|| panic!("{}: not a line of numbers: {l}", path.display())))
        .collect()
}

/// Counts cells, keeps the worst, and fails the test at the end if one was off.
pub(crate) struct Tally {
    source: &'static str,
    cells: usize,
    worst: f64,
    worst_label: String,
    off: Vec<String>,
}

impl Tally {
    /// A tally of cells that come from this source.
    pub(crate) fn new(source: &'static str) -> Self {
        Self { source, cells: 0, worst: 0.0, worst_label: "none".into(), off: Vec::new() }
    }

    /// Checks `got` against `want` within `tolerance`, absolute.
    pub(crate) fn within(&mut self, label: impl Into<String>, got: f64, want: f64, tolerance: f64) {
        let deviation = (got - want).abs();
        let share = if deviation == 0.0 { 0.0 } else { deviation / tolerance };
        let label = label.into();
        self.cells += 1;
        if share > self.worst || share.is_nan() {
            (self.worst, self.worst_label) = (share, label.clone());
        }
        if !matches!(share.partial_cmp(&1.0), Some(std::cmp::Ordering::Less | std::cmp::Ordering::Equal)) {
            self.off.push(format!("{label}: got {got:e}, want {want:e} within {tolerance:e}"));
        }
    }

    /// Checks that `got` has at least this many digits of `want` (absolute where `want` is zero).
    pub(crate) fn digits(&mut self, label: impl Into<String>, got: f64, want: f64, digits: f64) {
        let scale = if want == 0.0 { 1.0 } else { want.abs() };
        self.within(label, got, want, scale * 10f64.powf(-digits));
    }

    /// Checks something that is not a number.
    pub(crate) fn holds(&mut self, label: impl Into<String>, truth: bool) {
        self.cells += 1;
        if !truth {
            self.off.push(label.into());
        }
    }

    /// Prints the count and fails if a cell was off or fewer than `least` were checked.
    pub(crate) fn done(self, least: usize) {
        println!(
            "{}: {} cells, worst {:.3} of its tolerance ({})",
            self.source, self.cells, self.worst, self.worst_label
        );
        assert!(self.off.is_empty(), "{}:\n{}", self.source, self.off.join("\n"));
        assert!(self.cells >= least, "{}: only {} cells checked, expected {least}", self.source, self.cells);
    }
}

/// Matching digits of two numbers.
pub(crate) fn matching_digits(got: f64, want: f64) -> f64 {
    let scale = if want == 0.0 { 1.0 } else { want.abs() };
    let off = (got - want).abs() / scale;
    if off == 0.0 { 16.0 } else { -off.log10() }
}
