//! SCPI-1999 over IEEE 488.2 message forms.
//!
//! In: the bytes of a response message without its end. Out: its fields and entries of the error queue; the number
//! of channels a query asks for. Never: a value taken from a response with another number of fields.

use super::Decoded;
use super::block;
use super::number::{self, NumberProblem, Numeric};
use std::borrow::Cow;

/// What ends a program message.
pub const MESSAGE_END: &[u8] = b"\n";
/// The query that reads and removes the oldest entry of the error queue.
pub const ERROR_QUERY: &str = "SYST:ERR?";
/// Most channels a channel list may ask for.
pub const CHANNELS_MAX: usize = 1000;

/// A response that does not have the expected fields.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FieldsProblem {
    /// Another number of fields than expected; how many there are.
    Count(usize),
    /// A field (from 0) that is no number, and why.
    Number(usize, NumberProblem),
}

/// The fields of a response: parts between commas and semicolons that stand outside quotes and blocks, without the
/// blanks around them.
#[derive(Clone, Debug)]
pub struct Fields<'a> {
    rest: Option<&'a [u8]>,
}

impl<'a> Fields<'a> {
    /// The fields of `response`.
    #[must_use]
    pub const fn of(response: &'a [u8]) -> Self {
        Fields { rest: Some(response) }
    }
}

impl<'a> Iterator for Fields<'a> {
    type Item = &'a [u8];

    fn next(&mut self) -> Option<&'a [u8]> {
        let rest = self.rest?;
        let end = field_end(rest);
        self.rest = rest.get(end + 1..);
        Some(rest[..end].trim_ascii())
    }
}

/// Where the first field of `rest` ends.
fn field_end(rest: &[u8]) -> usize {
    let mut i = 0;
    while i < rest.len() {
        match rest[i] {
            b',' | b';' => return i,
            quote @ (b'"' | b'\'') => {
                // A doubled quote inside a string closes and opens it again, which comes to the same.
                let length = rest[i + 1..].iter().position(|&b| b == quote);
                i += length.map_or(rest.len(), |n| n + 2);
            }
            b'#' if rest[..i].trim_ascii().is_empty() => match block::decode(&rest[i..]) {
                Decoded::Message { used, .. } => i += used,
                _ => i += 1,
            },
            _ => i += 1,
        }
    }
    rest.len()
}

/// Reads exactly `count` numbers from a response into `values`, which is emptied first.
///
/// # Errors
/// Another number of fields, or a field that is no number. A decimal comma shows as a field too many.
pub fn numbers(response: &[u8], count: usize, values: &mut Vec<Numeric>) -> Result<(), FieldsProblem> {
    values.clear();
    let mut bad = None;
    for (i, field) in Fields::of(response).enumerate() {
        match number::scpi(field) {
            Ok(value) => values.push(value),
            Err(problem) => {
                bad.get_or_insert(FieldsProblem::Number(i, problem));
                values.push(Numeric::Missing);
            }
        }
    }
    if values.len() != count {
        return Err(FieldsProblem::Count(values.len()));
    }
    bad.map_or(Ok(()), Err)
}

/// One entry of the error queue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ErrorEntry<'a> {
    /// 0 for an empty queue, negative for the errors SCPI defines, positive for the device's own.
    pub code: i32,
    /// Its text.
    pub text: Cow<'a, str>,
}

/// An entry `code,"text"`; none if `response` is not of that form.
#[must_use]
pub fn error_entry(response: &[u8]) -> Option<ErrorEntry<'_>> {
    let mut fields = Fields::of(response);
    let code: i32 = std::str::from_utf8(fields.next()?).ok()?.parse().ok()?;
    let text = fields.next()?;
    let [b'"', inner @ .., b'"'] = text else {
        return None;
    };
    if fields.next().is_some() || !(-32768..=32767).contains(&code) {
        return None;
    }
    let text = String::from_utf8_lossy(inner);
    let text = if text.contains("\"\"") { Cow::Owned(text.replace("\"\"", "\"")) } else { text };
    Some(ErrorEntry { code, text })
}

/// How many channels the channel list of a query names: 4 in `MEAS? (@101,105:107)`; none without a list, or with
/// one that is wrong or names more than [`CHANNELS_MAX`].
#[must_use]
pub fn channel_count(query: &str) -> Option<usize> {
    let (_, list) = query.split_once("(@")?;
    let (list, _) = list.split_once(')')?;
    let mut count = 0_usize;
    for part in list.split(',') {
        let (first, last) = part.split_once(':').unwrap_or((part, part));
        let (first, last): (usize, usize) = (first.trim().parse().ok()?, last.trim().parse().ok()?);
        count = count.checked_add(last.checked_sub(first)?.checked_add(1)?)?;
    }
    (count <= CHANNELS_MAX).then_some(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_stand_between_commas_outside_quotes_and_blocks() {
        for (response, expected) in [
            ("1,2", vec!["1", "2"]),
            (" 1 , 2 ", vec!["1", "2"]),
            ("1;2", vec!["1", "2"]),
            ("", vec![""]),
            ("1,", vec!["1", ""]),
            ("-113,\"Undefined header, see \"\"x\"\"\"", vec!["-113", "\"Undefined header, see \"\"x\"\"\""]),
            ("'a,b',c", vec!["'a,b'", "c"]),
            ("#13a,b,2", vec!["#13a,b", "2"]),
            ("\"open,", vec!["\"open,"]),
        ] {
            let fields: Vec<_> =
                Fields::of(response.as_bytes()).map(|f| String::from_utf8_lossy(f)).collect();
            assert_eq!(fields, expected, "{response}");
        }
    }

    #[test]
    fn numbers_are_exactly_as_many_as_asked_for() {
        let mut values = Vec::new();
        let mut read =
            |response: &str, count| numbers(response.as_bytes(), count, &mut values).map(|()| values.clone());
        assert_eq!(read("+1.5E+00,9.91E37", 2), Ok(vec![Numeric::Finite(1.5), Numeric::Missing]));
        assert_eq!(read("1.234,5", 1), Err(FieldsProblem::Count(2)));
        assert_eq!(read("1", 2), Err(FieldsProblem::Count(1)));
        assert_eq!(read("1,x", 2), Err(FieldsProblem::Number(1, NumberProblem::NotANumber)));
        assert_eq!(read("1,", 2), Err(FieldsProblem::Number(1, NumberProblem::Empty)));
    }

    #[test]
    fn channel_lists_are_counted() {
        for (query, expected) in [
            ("MEAS? (@101,102,103)", Some(3)),
            ("MEAS? (@101,105:107)", Some(4)),
            ("MEAS:VOLT?", None),
            ("MEAS? (@107:105)", None),
            ("MEAS? (@1:999999999)", None),
            ("MEAS? (@x)", None),
        ] {
            assert_eq!(channel_count(query), expected, "{query}");
        }
    }

    #[test]
    fn error_entries_have_code_and_text() {
        let entry = error_entry(b"-222, \"Data out of range; SOUR1:VOLT \"\"99\"\"\"").unwrap();
        assert_eq!((entry.code, &*entry.text), (-222, "Data out of range; SOUR1:VOLT \"99\""));
        for bad in ["", "0", "0,", "0,No error", "x,\"No error\"", "0,\"a\",1", "99999,\"a\"", "0,\"open"] {
            assert_eq!(error_entry(bad.as_bytes()), None, "{bad}");
        }
    }
}
