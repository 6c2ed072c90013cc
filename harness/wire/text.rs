//! A text line read by a [`Pattern`].
//!
//! In: a line without its end. Out: its values, each with its unit, a flag and a counter where the pattern has
//! them, or where and why the line differs. Bytes that are not UTF-8 match nothing but `{_}`. Never: an
//! allocation once the buffers have grown, or a value from a line that does not match as a whole.

use super::number::{self, DecimalMark, NumberProblem, Numeric};
use super::pattern::{Part, Pattern};
use super::word::{self, Flag};
use std::fmt;
use std::ops::Range;

/// A value of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Captured {
    /// The value.
    pub value: Numeric,
    /// Where its unit stands in the line.
    pub unit: Option<Range<usize>>,
}

/// What a line told; a buffer to be used again.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Capture {
    /// The values in order.
    pub values: Vec<Captured>,
    /// The flag.
    pub flag: Option<Flag>,
    /// The counter.
    pub sequence: Option<u64>,
}

/// Why a line does not match: what was expected at which byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mismatch {
    /// Byte in the line, from 0.
    pub at: usize,
    /// What was expected there.
    pub expected: Expected,
}

/// What was expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Expected {
    /// Text of the pattern.
    Text,
    /// A blank.
    Blank,
    /// A number; why what stands there is none.
    Number(NumberProblem),
    /// A word.
    Word,
    /// A flag word.
    Flag,
    /// A counter.
    Counter,
    /// The end of the line.
    End,
}

impl fmt::Display for Mismatch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.expected {
            Expected::Text => write!(f, "other text than the pattern has"),
            Expected::Blank => write!(f, "no blank"),
            Expected::Number(problem) => write!(f, "{problem}"),
            Expected::Word => write!(f, "a word is missing"),
            Expected::Flag => write!(f, "no flag word"),
            Expected::Counter => write!(f, "no counter"),
            Expected::End => write!(f, "more than the pattern has"),
        }?;
        write!(f, " at character {}", self.at + 1)
    }
}

impl Pattern {
    /// Reads `line` into `capture`, which is emptied first. A word that stands for no value may end the line early.
    ///
    /// # Errors
    /// The first place where the line differs.
    pub fn read(&self, line: &[u8], capture: &mut Capture) -> Result<(), Mismatch> {
        capture.values.clear();
        capture.flag = None;
        capture.sequence = None;
        let end = line.len() - line.iter().rev().take_while(|b| is_blank(**b)).count();
        let line = &line[..end];
        let mut at = blanks(line, 0);
        for (i, part) in self.parts.iter().enumerate() {
            let stop = self.parts.get(i + 1).and_then(first_byte);
            let wrong = |expected| Mismatch { at, expected };
            match part {
                Part::Literal(text) => {
                    if !line[at..].starts_with(text) {
                        return Err(wrong(Expected::Text));
                    }
                    at += text.len();
                }
                Part::Blank => {
                    let next = blanks(line, at);
                    if next == at {
                        return Err(wrong(Expected::Blank));
                    }
                    at = next;
                }
                Part::Value => {
                    at = blanks(line, at);
                    let (value, next) = value_at(line, at, self.mark, stop)
                        .map_err(|problem| Mismatch { at, expected: Expected::Number(problem) })?;
                    capture.values.push(Captured { value, unit: None });
                    at = next;
                    if at == line.len() && !matches!(value, Numeric::Finite(_)) {
                        return Ok(());
                    }
                }
                Part::Unit | Part::Any => {
                    let next = word_end(line, at, stop);
                    if next == at {
                        return Err(wrong(Expected::Word));
                    }
                    if let (Part::Unit, Some(last)) = (part, capture.values.last_mut()) {
                        last.unit = Some(at..next);
                    }
                    at = next;
                }
                Part::Stable => {
                    let next = word_end(line, at, stop);
                    capture.flag = Some(word::flag(&line[at..next]).ok_or(wrong(Expected::Flag))?);
                    at = next;
                }
                Part::Sequence => {
                    let (count, next) = counter(line, at).ok_or(wrong(Expected::Counter))?;
                    capture.sequence = Some(count);
                    at = next;
                }
            }
        }
        if at == line.len() { Ok(()) } else { Err(Mismatch { at, expected: Expected::End }) }
    }
}

const fn is_blank(b: u8) -> bool {
    matches!(b, b' ' | b'\t')
}

/// Where the blanks that start at `at` end.
fn blanks(line: &[u8], mut at: usize) -> usize {
    while at < line.len() && is_blank(line[at]) {
        at += 1;
    }
    at
}

/// Where the word that starts at `at` ends: at a blank, at `stop`, or with the line.
fn word_end(line: &[u8], at: usize, stop: Option<u8>) -> usize {
    let mut end = at;
    while end < line.len() && !is_blank(line[end]) && Some(line[end]) != stop {
        end += 1;
    }
    end
}

fn first_byte(part: &Part) -> Option<u8> {
    if let Part::Literal(text) = part { Some(text[0]) } else { None }
}

/// The number or the word for none at `at`, and where it ends. Blanks between sign and digits, as padded displays
/// have them, are allowed.
fn value_at(
    line: &[u8],
    at: usize,
    mark: DecimalMark,
    stop: Option<u8>,
) -> Result<(Numeric, usize), NumberProblem> {
    let signed = matches!(line.get(at), Some(b'+' | b'-'));
    let digits = if signed { blanks(line, at + 1) } else { at };
    let mut end = digits;
    while end < line.len() && matches!(line[end], b'0'..=b'9' | b'.' | b',') && Some(line[end]) != stop {
        end += 1;
    }
    if end == digits {
        let word = word_end(line, at, stop);
        let none = word::no_value(&line[at..word]);
        return none.map(|value| (value, word)).ok_or(if word == at {
            NumberProblem::Empty
        } else {
            NumberProblem::NotANumber
        });
    }
    end += exponent_length(&line[end..]);
    let value = number::decimal(&line[digits..end], mark)?;
    let negative = signed && line[at] == b'-';
    Ok((Numeric::Finite(if negative { -value } else { value }), end))
}

/// Length of an exponent at the start of `rest`, 0 if there is none.
fn exponent_length(rest: &[u8]) -> usize {
    let sign = usize::from(matches!(rest.get(1), Some(b'+' | b'-')));
    if !matches!(rest.first(), Some(b'e' | b'E')) {
        return 0;
    }
    match rest[1 + sign..].iter().take_while(|b| b.is_ascii_digit()).count() {
        0 => 0,
        digits => 1 + sign + digits,
    }
}

fn counter(line: &[u8], at: usize) -> Option<(u64, usize)> {
    let digits = line[at..].iter().take_while(|b| b.is_ascii_digit()).count();
    if !(1..=18).contains(&digits) {
        return None;
    }
    let end = at + digits;
    Some((line[at..end].iter().fold(0, |n, b| n * 10 + u64::from(b - b'0')), end))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(pattern: &str, mark: DecimalMark, line: &str) -> Result<String, Mismatch> {
        let mut capture = Capture::default();
        Pattern::parse(pattern, mark).unwrap().read(line.as_bytes(), &mut capture)?;
        let mut out: Vec<String> = capture
            .values
            .iter()
            .map(|c| match (c.value, &c.unit) {
                (Numeric::Finite(v), Some(unit)) => format!("{v} {}", &line[unit.clone()]),
                (Numeric::Finite(v), None) => format!("{v}"),
                (none, _) => format!("{none:?}"),
            })
            .collect();
        out.extend(capture.flag.map(|f| format!("{f:?}")));
        out.extend(capture.sequence.map(|s| format!("#{s}")));
        Ok(out.join("; "))
    }

    #[test]
    fn lines_are_read() {
        use DecimalMark::{Comma, Point};
        for (pattern, mark, line, expected) in [
            ("m {value} {unit} {stable}", Point, "m +123.4 g stable", "123.4 g; Stable"),
            ("m {value} {unit} {stable}", Point, "  m   +  123.4 g  moving ", "123.4 g; Moving"),
            ("m {value} {unit} {stable}", Point, "m over", "Over"),
            ("m {value} {unit} {stable}", Point, "m under", "Under"),
            ("m {value} {unit} {stable}", Point, "m ------ g moving", "Missing; Moving"),
            (
                "S duty={value} on={value} estop={value} tripped={value}",
                Point,
                "S duty=44.97 on=1 estop=0 tripped=0",
                "44.97; 1; 0; 0",
            ),
            ("S duty={value} {_} estop={value}", Point, "S duty=1e1 on=1 estop=0", "10; 0"),
            ("{value}{unit}", Point, "-12.5kPa", "-12.5 kPa"),
            ("{value}{unit}", Point, "3ex", "3 ex"),
            ("{value},{value}", Point, "1.234,5", "1.234; 5"),
            ("{value}", Comma, "1234,5", "1234.5"),
            ("ST,GS,{value}{unit}", Point, "ST,GS,+  0012.30 g", ""),
            ("ST,GS,{value} {unit}", Point, "ST,GS,+  0012.30 g", "12.3 g"),
            ("{_},{value}", Point, "US,-0.1", "-0.1"),
            ("n={seq} p={value}", Point, "n=0042 p=7", "7; #42"),
            ("OK", Point, "OK", ""),
        ] {
            let found = read(pattern, mark, line);
            if expected.is_empty() && pattern != "OK" {
                assert!(found.is_err(), "{pattern} on {line}");
            } else {
                assert_eq!(found.as_deref(), Ok(expected), "{pattern} on {line}");
            }
        }
    }

    #[test]
    fn differences_say_where_and_why() {
        use DecimalMark::{Comma, Point};
        for (pattern, mark, line, at, expected) in [
            ("{value}", Point, "1.234,5", 0, Expected::Number(NumberProblem::ThousandsMark)),
            ("{value}", Comma, "1.234,5", 0, Expected::Number(NumberProblem::ThousandsMark)),
            ("{value}", Point, "12,5", 0, Expected::Number(NumberProblem::WrongMark)),
            ("{value}", Point, "1.2.3", 0, Expected::Number(NumberProblem::NotANumber)),
            ("m {value}", Point, "m 12x", 4, Expected::End),
            ("m {value} g", Point, "m 0:04.2 lb:oz", 3, Expected::Blank),
            ("m {value} g", Point, "m 4.2 oz", 6, Expected::Text),
            ("m {value} {stable}", Point, "m 4.2 maybe", 6, Expected::Flag),
            ("m {value} {unit}", Point, "m 4.2", 5, Expected::Blank),
            ("m {value}", Point, "m ", 1, Expected::Blank),
            ("m {value}", Point, "m x", 2, Expected::Number(NumberProblem::NotANumber)),
            ("n{seq}", Point, "nx", 1, Expected::Counter),
            ("OK", Point, "OKAY", 2, Expected::End),
        ] {
            assert_eq!(read(pattern, mark, line), Err(Mismatch { at, expected }), "{pattern} on {line}");
        }
    }
}
