//! Where a line of text ends.
//!
//! In: bytes in pieces of any size. Out: lines, the same ones however the bytes were cut. CR, LF, CR LF and LF CR
//! all end a line, because every CR and every LF ends one and empty lines are none. Never: more than
//! [`LINE_BYTES_MAX`] bytes kept, whatever arrives.

/// Longest line, bytes without its end. Longer ones are reported once and dropped up to their end.
pub const LINE_BYTES_MAX: usize = 4096;

/// What was found in the bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Piece<'a> {
    /// A line, never empty, without its end.
    Line(&'a [u8]),
    /// A line passed [`LINE_BYTES_MAX`]; its bytes so far. The rest of it will be dropped.
    TooLong(&'a [u8]),
}

/// Cuts a stream of bytes into lines.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    tail: Vec<u8>,
    /// `tail` was handed out with the last piece and is to be emptied.
    spent: bool,
    /// Everything up to the next line end is dropped.
    skipping: bool,
}

impl Lines {
    /// The next piece of `input`, which is shortened by what was looked at; none when `input` is used up, what is
    /// left of it being kept as the start of the next line.
    pub fn next<'s, 'i: 's>(&'s mut self, input: &mut &'i [u8]) -> Option<Piece<'s>> {
        if self.spent {
            self.tail.clear();
            self.spent = false;
        }
        while !input.is_empty() {
            let end = input.iter().position(|&b| b == b'\n' || b == b'\r');
            let (part, rest) = match end {
                Some(end) => (&input[..end], &input[end + 1..]),
                None => (*input, &input[input.len()..]),
            };
            if !self.skipping && self.tail.len() + part.len() > LINE_BYTES_MAX {
                let room = LINE_BYTES_MAX - self.tail.len();
                self.tail.extend_from_slice(&part[..room]);
                self.spent = true;
                self.skipping = true;
                *input = &input[room..];
                return Some(Piece::TooLong(&self.tail));
            }
            *input = rest;
            let Some(_) = end else {
                if !self.skipping {
                    self.tail.extend_from_slice(part);
                }
                return None;
            };
            if self.skipping {
                self.skipping = false;
            } else if !self.tail.is_empty() {
                self.tail.extend_from_slice(part);
                self.spent = true;
                return Some(Piece::Line(&self.tail));
            } else if !part.is_empty() {
                return Some(Piece::Line(part));
            }
        }
        None
    }

    /// The start of a line whose end has not come yet.
    #[must_use]
    pub fn tail(&self) -> &[u8] {
        if self.spent { &[] } else { &self.tail }
    }

    /// Forgets what was kept.
    pub fn clear(&mut self) {
        self.tail.clear();
        self.spent = false;
        self.skipping = false;
    }

    /// Forgets what was kept and drops what comes up to the next line end: the rest of a line whose start is lost.
    pub fn skip_line(&mut self) {
        self.clear();
        self.skipping = true;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lines of `bytes` fed in the given pieces, and the tail; `!` marks a line that was too long.
    fn lines<'a>(pieces: impl IntoIterator<Item = &'a [u8]>) -> (Vec<String>, String) {
        let mut splitter = Lines::default();
        let mut out = Vec::new();
        for piece in pieces {
            let mut input = piece;
            while let Some(found) = splitter.next(&mut input) {
                out.push(match found {
                    Piece::Line(l) => String::from_utf8_lossy(l).into_owned(),
                    Piece::TooLong(l) => format!("!{}", l.len()),
                });
            }
        }
        (out, String::from_utf8_lossy(splitter.tail()).into_owned())
    }

    #[test]
    fn every_line_end_and_every_cut_gives_the_same_lines() {
        for end in ["\r", "\n", "\r\n", "\n\r"] {
            let text = format!("one{end}two 2{end}{end}\u{fffd}three{end}half");
            let bytes = text.as_bytes();
            let whole = lines([bytes]);
            assert_eq!(whole.0, ["one", "two 2", "\u{fffd}three"], "{end:?}");
            assert_eq!(whole.1, "half");
            for a in 0..=bytes.len() {
                for b in a..=bytes.len() {
                    assert_eq!(
                        lines([&bytes[..a], &bytes[a..b], &bytes[b..]]),
                        whole,
                        "{end:?} cut at {a}, {b}"
                    );
                }
            }
        }
    }

    #[test]
    fn long_lines_are_reported_once_and_memory_stays_bounded() {
        let exact = [vec![b'a'; LINE_BYTES_MAX], b"\nx\n".to_vec()].concat();
        assert_eq!(lines([&exact[..]]).0[1], "x");
        assert_eq!(lines([&exact[..]]).0[0].len(), LINE_BYTES_MAX);
        let long = [vec![b'a'; 1 << 20], b"\nx\n".to_vec()].concat();
        for size in [1, 7, 4095, 4096, 4097, 70_000, long.len()] {
            assert_eq!(lines(long.chunks(size)).0, ["!4096", "x"], "pieces of {size}");
        }
        let mut splitter = Lines::default();
        let mut input = &long[..1 << 19];
        while splitter.next(&mut input).is_some() {}
        assert!(splitter.tail.capacity() <= 2 * LINE_BYTES_MAX);
    }

    #[test]
    fn a_line_whose_start_is_lost_is_skipped() {
        let mut splitter = Lines::default();
        splitter.skip_line();
        let mut input = &b"3.4 g\r\n+5.0 g\r\n"[..];
        assert_eq!(splitter.next(&mut input), Some(Piece::Line(b"+5.0 g")));
        assert_eq!(splitter.next(&mut input), None);
    }
}
