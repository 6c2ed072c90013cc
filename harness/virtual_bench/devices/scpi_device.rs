//! What SCPI devices have in common: message units, headers, the error queue.
//!
//! In: a program message. Out: its units one by one, and the errors of SCPI-1999 (volume 2, chapter 21). Written for
//! the devices alone.

use std::collections::VecDeque;

/// Errors kept; one more and the last becomes a queue overflow.
const QUEUE_MAX: usize = 10;

/// An error of SCPI-1999.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct ScpiError(pub(crate) i16, pub(crate) &'static str);

pub(crate) const DATA_TYPE: ScpiError = ScpiError(-104, "Data type error");
pub(crate) const PARAMETER_NOT_ALLOWED: ScpiError = ScpiError(-108, "Parameter not allowed");
pub(crate) const MISSING_PARAMETER: ScpiError = ScpiError(-109, "Missing parameter");
pub(crate) const UNDEFINED_HEADER: ScpiError = ScpiError(-113, "Undefined header");
pub(crate) const SUFFIX_OUT_OF_RANGE: ScpiError = ScpiError(-114, "Header suffix out of range");
pub(crate) const OUT_OF_RANGE: ScpiError = ScpiError(-222, "Data out of range");
pub(crate) const ILLEGAL_VALUE: ScpiError = ScpiError(-224, "Illegal parameter value");
const QUEUE_OVERFLOW: ScpiError = ScpiError(-350, "Queue overflow");
pub(crate) const INPUT_OVERRUN: ScpiError = ScpiError(-363, "Input buffer overrun");

/// The queue that `SYST:ERR?` reads.
#[derive(Clone, Debug, Default)]
pub(crate) struct ErrorQueue(VecDeque<ScpiError>);

impl ErrorQueue {
    pub(crate) fn push(&mut self, error: ScpiError) {
        if self.0.len() >= QUEUE_MAX {
            self.0.pop_back();
            self.0.push_back(QUEUE_OVERFLOW);
        } else {
            self.0.push_back(error);
        }
    }

    fn read(&mut self, out: &mut Vec<u8>) {
        let ScpiError(code, text) = self.0.pop_front().unwrap_or(ScpiError(0, "No error"));
        out.extend_from_slice(format!("{code},\"{text}\"").as_bytes());
    }
}

/// A unit of a program message: header and parameters.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Unit<'a> {
    /// The header, with its question mark where it is a query, without a leading colon.
    pub(crate) header: &'a str,
    /// The parameters, trimmed; empty where there are none.
    pub(crate) parameters: &'a str,
}

impl<'a> Unit<'a> {
    fn parse(text: &'a str) -> Self {
        let text = text.trim();
        let end = text.find([' ', '\t']).unwrap_or(text.len());
        Unit { header: text[..end].trim_start_matches(':'), parameters: text[end..].trim() }
    }

    /// Whether the header is `pattern`, such as `SOURce#:VOLTage?`: capitals are the short form, `#` a number whose
    /// value is returned (1 where it is left out; 1 also where the pattern has none).
    pub(crate) fn is(&self, pattern: &str) -> Option<u32> {
        let mut suffix = 1;
        let mut nodes = self.header.split(':');
        for wanted in pattern.split(':') {
            suffix = node(wanted, nodes.next()?, suffix)?;
        }
        nodes.next().is_none().then_some(suffix)
    }

    /// The one number of the parameters.
    pub(crate) fn number(&self) -> Result<f64, ScpiError> {
        if self.parameters.is_empty() {
            return Err(MISSING_PARAMETER);
        }
        if self.parameters.contains(',') {
            return Err(PARAMETER_NOT_ALLOWED);
        }
        super::number::parse(self.parameters).ok_or(DATA_TYPE)
    }

    /// The one Boolean of the parameters.
    pub(crate) fn boolean(&self) -> Result<bool, ScpiError> {
        match self.parameters {
            "" => Err(MISSING_PARAMETER),
            "1" => Ok(true),
            "0" => Ok(false),
            p if p.eq_ignore_ascii_case("ON") => Ok(true),
            p if p.eq_ignore_ascii_case("OFF") => Ok(false),
            _ => Err(ILLEGAL_VALUE),
        }
    }
}

/// Matches one node of a header against one of a pattern; the suffix as it is afterwards.
fn node(pattern: &str, given: &str, suffix: u32) -> Option<u32> {
    let (pattern, given) = match (pattern.strip_suffix('?'), given.strip_suffix('?')) {
        (Some(p), Some(g)) => (p, g),
        (None, None) => (pattern, given),
        _ => return None,
    };
    let (pattern, given, suffix) = match pattern.strip_suffix('#') {
        None => (pattern, given, suffix),
        Some(name) => {
            let digits = given.len() - given.bytes().rev().take_while(u8::is_ascii_digit).count();
            let number = &given[digits..];
            let value = if number.is_empty() { 1 } else { number.parse().ok()? };
            (name, &given[..digits], value)
        }
    };
    let short = pattern.bytes().take_while(|b| !b.is_ascii_lowercase()).count();
    let same = given.eq_ignore_ascii_case(pattern) || given.eq_ignore_ascii_case(&pattern[..short]);
    same.then_some(suffix)
}

/// Works through a program message. `identity` answers `*IDN?`; `own` does the units that are not common to all
/// devices; `reset` does `*RST`. Answers of several queries are joined by `;`.
pub(crate) fn message(
    line: &str,
    identity: &str,
    errors: &mut ErrorQueue,
    out: &mut Vec<u8>,
    mut own: impl FnMut(&Unit<'_>, &mut Vec<u8>) -> Result<(), ScpiError>,
) {
    let begin = out.len();
    for text in line.split(';').filter(|t| !t.trim().is_empty()) {
        let unit = Unit::parse(text);
        let before = out.len();
        if before > begin {
            out.push(b';');
        }
        let answer = out.len();
        if !common(&unit, identity, errors, out)
            && let Err(error) = own(&unit, out)
        {
            errors.push(error);
            out.truncate(answer);
        }
        if out.len() == answer {
            out.truncate(before);
        }
    }
}

fn common(unit: &Unit<'_>, identity: &str, errors: &mut ErrorQueue, out: &mut Vec<u8>) -> bool {
    let header = unit.header;
    if !(header.starts_with('*') || header.len() >= 8 && header[..4].eq_ignore_ascii_case("SYST")) {
        return false;
    }
    if unit.is("*IDN?").is_some() {
        out.extend_from_slice(identity.as_bytes());
    } else if unit.is("*OPC?").is_some() {
        out.push(b'1');
    } else if unit.is("*CLS").is_some() {
        errors.0.clear();
    } else if unit.is("SYSTem:ERRor?").is_some() || unit.is("SYSTem:ERRor:NEXT?").is_some() {
        errors.read(out);
    } else {
        return false;
    }
    true
}

/// About how many bytes the answers to `line` have, where a query of the device's own answers with `own` bytes.
pub(crate) fn expected(line: &str, own: usize) -> usize {
    line.split(';')
        .filter(|unit| unit.contains('?'))
        .map(|unit| {
            let unit = unit.trim();
            match unit.as_bytes() {
                [b'*', b'I' | b'i', ..] => 40,
                [b'*', ..] => 1,
                [b'S' | b's', b'Y' | b'y', ..] => 12,
                _ => own,
            }
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_match_short_and_long_forms() {
        // Source: SCPI-1999 volume 1, 6.2: short form or long form, in either case, nothing between.
        for (given, pattern, expected) in [
            ("SOUR1:VOLT", "SOURce#:VOLTage", Some(1)),
            ("source3:voltage", "SOURce#:VOLTage", Some(3)),
            (":SOUR:VOLT?", "SOURce#:VOLTage?", Some(1)),
            ("SOURC1:VOLT", "SOURce#:VOLTage", None),
            ("SOUR1:VOLT?", "SOURce#:VOLTage", None),
            ("SOUR1", "SOURce#:VOLTage", None),
            ("SOUR1:VOLT:DC", "SOURce#:VOLTage", None),
            ("*idn?", "*IDN?", Some(1)),
        ] {
            assert_eq!(Unit::parse(given).is(pattern), expected, "{given} {pattern}");
        }
    }

    #[test]
    fn errors_queue_and_overflow() {
        let mut errors = ErrorQueue::default();
        let mut ask = |line: &str| {
            let mut out = Vec::new();
            message(line, "id", &mut errors, &mut out, |_, _| Err(UNDEFINED_HEADER));
            String::from_utf8(out).unwrap()
        };
        assert_eq!(ask("SYST:ERR?"), "0,\"No error\"");
        assert_eq!(ask("WHAT 1"), "");
        assert_eq!(ask("*OPC?;SYST:ERR?;*IDN?"), "1;-113,\"Undefined header\";id");
        for _ in 0..20 {
            ask("WHAT");
        }
        for _ in 0..9 {
            assert_eq!(ask("SYST:ERR?"), "-113,\"Undefined header\"");
        }
        assert_eq!(ask("system:error:next?"), "-350,\"Queue overflow\"");
        assert_eq!(ask("SYST:ERR?"), "0,\"No error\"");
    }
}
