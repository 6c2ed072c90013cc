//! Lines of a table of any length, one at a time, each with its places.
//!
//! In: a reader. Out: the line, its cells with where they begin, and problems that point into it. Never: more than one
//! line in memory, or a line longer than [`LINE_MAX`].

use crate::problem::{Place, Problem, Problems};
use std::io::{BufRead, Read as _};

/// Longest line, bytes.
const LINE_MAX: usize = 64 * 1024;

/// Lines, one at a time.
pub(super) struct Lines<'a, R> {
    input: R,
    file: &'a str,
    bytes: Vec<u8>,
    pub(super) text: String,
    number: u32,
}

impl<'a, R: BufRead> Lines<'a, R> {
    pub(super) fn new(input: R, file: &'a str) -> Self {
        Lines { input, file, bytes: Vec::new(), text: String::new(), number: 0 }
    }

    /// Reads the next line; none at the end.
    pub(super) fn next(&mut self) -> Result<Option<()>, Problems> {
        self.bytes.clear();
        self.number += 1;
        let mut limited = (&mut self.input).take(LINE_MAX as u64);
        let got = limited.read_until(b'\n', &mut self.bytes);
        let n = got.map_err(|e| Problem::new(format!("{}: cannot be read: {e}", self.file)))?;
        self.text.clear();
        let line = self.bytes.strip_suffix(b"\n").unwrap_or(&self.bytes);
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        self.text.push_str(&String::from_utf8_lossy(line));
        if n == LINE_MAX && self.bytes.last() != Some(&b'\n') {
            self.text.truncate(0);
            let what = "the line is too long";
            return Err(self
                .problem(0, 1, what)
                .expected(format!("a line of at most {LINE_MAX} bytes"))
                .into());
        }
        Ok((n > 0).then_some(()))
    }

    /// A problem at a byte of the line.
    pub(super) fn problem(&self, offset: usize, width: usize, what: impl Into<String>) -> Problem {
        let column = self.text.get(..offset).map_or(0, |t| t.chars().count()) + 1;
        Problem::new(what).at(Place {
            file: self.file.to_owned(),
            line: self.number,
            column: u32::try_from(column).unwrap_or(u32::MAX),
            width: u32::try_from(width.max(1)).unwrap_or(1),
            text: self.text.clone(),
        })
    }

    /// Cells of the line: offset and text without blanks and quotes.
    pub(super) fn cells(&self) -> Vec<(usize, &str)> {
        let mut offset = 0;
        let mut cells = Vec::with_capacity(4);
        for raw in self.text.split(',') {
            let cell = raw.trim().trim_matches('"').trim();
            let lead = raw.len() - raw.trim_start_matches([' ', '\t', '"', '\u{feff}']).len();
            cells.push((offset + lead.min(raw.len()), cell));
            offset += raw.len() + 1;
        }
        cells
    }
}
