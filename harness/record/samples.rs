//! `samples.csv` read as a stream, on two threads, in bounded memory.
//!
//! In: the file, how many bytes of it are vouched for, how many columns. Out: rows in order, the check sum of all
//! bytes gone through, or the place of what is not a row. The file is cut into chunks at fixed offsets; a line belongs
//! to the chunk that holds its first byte. Never: more than a few chunks in memory, or a value that is not finite.

use super::decimal::read_number;
use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt as _;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Bytes a chunk.
const CHUNK: u64 = 512 * 1024;
/// Longest line, bytes.
const LINE_MAX: u64 = 64 * 1024;
/// Threads that parse.
const WORKERS: usize = 2;

/// A row of `samples.csv`.
#[derive(Clone, Copy, Debug)]
pub struct SampleRow<'a> {
    /// When the readings were taken, s since the start of the run.
    pub time_s: f64,
    /// During which step of the plan; the analysis goes by spans.
    #[cfg(feature = "door")]
    pub step: u32,
    /// A value a column, in column order, role units; `NaN` where nothing was read.
    pub values: &'a [f64],
}

impl SampleRow<'_> {
    /// The value in a column, where one was read.
    #[must_use]
    pub fn get(&self, column: usize) -> Option<f64> {
        self.values.get(column).copied().filter(|v| !v.is_nan())
    }
}

/// What is wrong, and at which byte.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Bad {
    pub(super) offset: u64,
    pub(super) what: String,
}

/// Why a file could not be gone through.
#[derive(Debug)]
pub(super) enum Stop {
    Io(io::Error),
    Bad(Bad),
}

/// The parsed rows of a chunk.
#[derive(Default)]
struct Batch {
    text: Vec<u8>,
    heads: Vec<Head>,
    values: Vec<f64>,
    crc32c: u32,
    bytes: u64,
    stop: Option<Stop>,
}

/// The file and its shape.
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    pub(super) file: &'a File,
    /// Bytes vouched for.
    pub(super) end: u64,
    /// For each column besides time and step, whether its values are wanted; what is not wanted is passed over.
    pub(super) wanted: &'a [bool],
}

impl Source<'_> {
    /// Goes through all rows; the CRC-32C of the bytes.
    pub(super) fn read(self, each: &mut impl FnMut(&SampleRow<'_>)) -> Result<u32, Stop> {
        let chunks = self.end.div_ceil(CHUNK);
        if chunks <= 1 {
            let mut batch = Batch::default();
            self.fill(0, &mut batch);
            return self.hand_on(batch, 0, each).map(|(crc, _)| crc);
        }
        std::thread::scope(|scope| {
            let mut lanes = Vec::with_capacity(WORKERS);
            for worker in 0..WORKERS as u64 {
                let (full, filled) = sync_channel::<Batch>(1);
                let (empty, emptied) = sync_channel::<Batch>(2);
                scope.spawn(move || self.work(worker, chunks, &full, &emptied));
                lanes.push((filled, empty));
            }
            let mut crc = 0;
            for chunk in 0..chunks {
                let (filled, empty) = &lanes[chunk as usize % WORKERS];
                let batch = filled.recv().map_err(|_| Stop::Io(io::ErrorKind::BrokenPipe.into()))?;
                let batch = self.hand_on(batch, crc, each).map(|(sum, batch)| {
                    crc = sum;
                    batch
                })?;
                // A worker that is done takes no more.
                let _ = empty.try_send(batch);
            }
            Ok(crc)
        })
    }

    /// One worker: every [`WORKERS`]-th chunk, until nobody takes them any more.
    fn work(self, worker: u64, chunks: u64, full: &SyncSender<Batch>, emptied: &Receiver<Batch>) {
        for chunk in (worker..chunks).step_by(WORKERS) {
            let mut batch = emptied.try_recv().unwrap_or_default();
            self.fill(chunk, &mut batch);
            if full.send(batch).is_err() {
                return;
            }
        }
    }

    /// Reads and parses a chunk; what stopped it is left in the batch.
    fn fill(self, chunk: u64, batch: &mut Batch) {
        let start = chunk * CHUNK;
        let end = (start + CHUNK).min(self.end);
        // From the byte before, which tells whether a line begins with the chunk, to the end of the last line.
        let from = start.saturating_sub(1);
        let to = (end + LINE_MAX).min(self.end);
        batch.text.resize((to - from) as usize, 0);
        batch.heads.clear();
        batch.values.clear();
        batch.stop = self.file.read_exact_at(&mut batch.text, from).err().map(Stop::Io);
        if batch.stop.is_some() {
            return;
        }
        let (first, last) = ((start - from) as usize, (end - from) as usize);
        batch.bytes = end - start;
        batch.crc32c = crc32c::crc32c(&batch.text[first..last]);
        // The header is skipped like the rest of a line that began before.
        let Some(skipped) = batch.text.iter().position(|b| *b == b'\n') else {
            return;
        };
        let text = &batch.text[..];
        let rows = Rows { wanted: self.wanted, to_the_end: to == self.end };
        let parsed = rows.parse(text, skipped + 1, last, &mut batch.heads, &mut batch.values);
        batch.stop = parsed.err().map(|(at, what)| Stop::Bad(Bad { offset: from + at as u64, what }));
    }

    /// Hands the rows of a batch on; the check sum so far and the batch, to be used again.
    fn hand_on(
        self,
        mut batch: Batch,
        crc: u32,
        each: &mut impl FnMut(&SampleRow<'_>),
    ) -> Result<(u32, Batch), Stop> {
        for (i, (time_s, _step)) in batch.heads.iter().enumerate() {
            let values = &batch.values[i * self.wanted.len()..(i + 1) * self.wanted.len()];
            each(&SampleRow {
                time_s: *time_s,
                #[cfg(feature = "door")]
                step: *_step,
                values,
            });
        }
        match batch.stop.take() {
            Some(stop) => Err(stop),
            None => Ok((crc32c::crc32c_combine(crc, batch.crc32c, batch.bytes as usize), batch)),
        }
    }
}

/// Time and step of a row.
type Head = (f64, u32);
/// Where a text is wrong, and how.
type Wrong<T> = (usize, T);

struct Rows<'a> {
    wanted: &'a [bool],
    /// Whether the text goes on to the end of the file; only there may a line lack its end.
    to_the_end: bool,
}

impl Rows<'_> {
    /// Parses the lines that begin in `text[at..end]`. A last line of the file without its end is left out: it was torn.
    fn parse(
        &self,
        text: &[u8],
        mut at: usize,
        end: usize,
        heads: &mut Vec<Head>,
        values: &mut Vec<f64>,
    ) -> Result<(), Wrong<String>> {
        while at < end {
            let row = values.len();
            match self.parse_line(text, at, values) {
                Ok((head, next)) => {
                    heads.push(head);
                    at = next;
                }
                Err((wrong, expected)) => {
                    values.truncate(row);
                    let ends = text[at..].contains(&b'\n');
                    return match (ends, self.to_the_end) {
                        (true, _) => Err(bad(text, wrong, expected)),
                        (false, true) => Ok(()),
                        (false, false) => Err(bad(text, at, "a line of at most 65536 bytes")),
                    };
                }
            }
        }
        Ok(())
    }

    /// Parses the line that begins at `at`: its time and step, and where the next begins; or where it is wrong and
    /// what is expected there.
    #[inline]
    fn parse_line(
        &self,
        text: &[u8],
        at: usize,
        values: &mut Vec<f64>,
    ) -> Result<(Head, usize), Wrong<&'static str>> {
        let (time_s, used) = read_number(&text[at..]).ok_or((at, "a time in seconds"))?;
        let mut next = at + used;
        if text.get(next) != Some(&b',') {
            return Err((next, "a comma"));
        }
        let (step, used) = read_step(&text[next + 1..]);
        if used == 0 {
            return Err((next + 1, "a step number"));
        }
        next += 1 + used;
        for wanted in self.wanted {
            if text.get(next) != Some(&b',') {
                return Err((next, "a comma and a value"));
            }
            next += 1;
            if !wanted {
                next += cell_length(&text[next..]);
                values.push(f64::NAN);
            } else if matches!(text.get(next), Some(b',' | b'\n')) {
                values.push(f64::NAN);
            } else {
                let (value, used) = read_number(&text[next..]).ok_or((next, "a number or nothing"))?;
                values.push(value);
                next += used;
            }
        }
        if text.get(next) == Some(&b'\n') {
            Ok(((time_s, step), next + 1))
        } else {
            Err((next, "the end of the line"))
        }
    }
}

/// Bytes of a cell, up to the comma or the end of the line; eight bytes at a time.
#[inline]
fn cell_length(text: &[u8]) -> usize {
    const ONES: u64 = 0x0101_0101_0101_0101;
    // The lowest byte that is zero gets its top bit; what a borrow does to bytes behind it does not matter.
    let zeros = |word: u64| word.wrapping_sub(ONES) & !word & (ONES << 7);
    let mut at = 0;
    while let Some(word) = text.get(at..).and_then(|rest| rest.first_chunk::<8>()) {
        let word = u64::from_le_bytes(*word);
        let ends = zeros(word ^ (ONES * b',' as u64)) | zeros(word ^ (ONES * b'\n' as u64));
        if ends != 0 {
            return at + (ends.trailing_zeros() / 8) as usize;
        }
        at += 8;
    }
    let rest = &text[at..];
    at + rest.iter().position(|b| matches!(b, b',' | b'\n')).unwrap_or(rest.len())
}

/// Digits of a step number, and how many.
fn read_step(text: &[u8]) -> (u32, usize) {
    let mut n = 0_u32;
    let digits = text.iter().take(9).take_while(|b| b.is_ascii_digit()).count();
    for b in &text[..digits] {
        n = n * 10 + u32::from(b - b'0');
    }
    (n, digits)
}

fn bad(text: &[u8], at: usize, expected: &str) -> (usize, String) {
    let rest = text.get(at..).unwrap_or(&[]);
    let cell = rest.split(|b| matches!(b, b',' | b'\n')).next().unwrap_or(&[]);
    let shown = crate::problem::fault::shown_bytes(&cell[..cell.len().min(40)]);
    (at, format!("\"{shown}\" stands where {expected} is expected"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_ends_at_the_first_comma_or_line_end() {
        for (text, length) in [
            ("", 0),
            (",1", 0),
            ("\n0.1", 0),
            ("412.3776,x", 8),
            ("12345678901234567,", 17),
            ("12345678901234\n5,6", 14),
            ("1\u{8d}\u{ac}8,77777", 6),
            ("no end at all", 13),
        ] {
            assert_eq!(cell_length(text.as_bytes()), length, "{text:?}");
        }
    }
}
