//! `events.csv`: what happened when, `time_s, kind, step, detail`.
//!
//! In: an event with a detail in words or as `name=value;name=value`; later a line of the file. Out: the line; the
//! event. A text cell that a spreadsheet would take for a formula is written with a leading `'`, which reading takes
//! away again. Never: a control character, a line break or more than [`DETAIL_MAX`] bytes in a detail.

use super::{EVENTS, decimal};
use crate::clock::Moment;
use crate::problem::{Place, Problem, Problems, safe_text};
use std::fs::File;
use std::io::{BufRead as _, BufReader, Read as _};
use std::path::Path;

/// The header line, with its end.
pub const HEADER: &str = "time_s,kind,step,detail\n";

/// Longest detail, bytes; a longer one is cut and says so.
pub const DETAIL_MAX: usize = 8 * 1024;

/// Longest line that is read, bytes.
const LINE_MAX: u64 = 64 * 1024;

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// When, s since the start of the run.
    pub time_s: f64,
    /// What kind: `step`, `set`, `settled`, `collect_start`, `void`, `fault`, ...
    pub kind: String,
    /// During which step of the plan; 0 outside of any.
    pub step: u32,
    /// What exactly.
    pub detail: String,
}

impl Event {
    /// The value of `name` in a detail of the form `name=value;name=value`.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&str> {
        self.pairs().find(|(n, _)| *n == name).map(|(_, value)| value)
    }

    /// The same as a finite number.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<f64> {
        self.get(name)?.parse().ok().filter(|v: &f64| v.is_finite())
    }

    /// Every `name=value` of the detail.
    pub fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.detail.split(';').filter_map(|pair| pair.split_once('='))
    }
}

/// Appends the line of an event.
pub(super) fn push_line(out: &mut Vec<u8>, at: Moment, kind: &str, step: u32, detail: &str) {
    push_time(out, at);
    out.push(b',');
    push_text(out, kind);
    out.push(b',');
    decimal::push_digits(out, u64::from(step), 1);
    out.push(b',');
    push_text(out, detail);
    out.push(b'\n');
}

/// Appends a moment in seconds with six decimals.
pub(super) fn push_time(out: &mut Vec<u8>, at: Moment) {
    let micros = at.as_ns() / 1000 + u64::from(at.as_ns() % 1000 >= 500);
    decimal::push_digits(out, micros / 1_000_000, 1);
    out.push(b'.');
    decimal::push_digits(out, micros % 1_000_000, 6);
}

/// Whether a spreadsheet would take a cell for a formula, or would hide what it begins with.
fn guarded(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(['=', '+', '-', '@'])
}

/// Appends a text cell (RFC 4180).
fn push_text(out: &mut Vec<u8>, text: &str) {
    let mut safe = safe_text(text);
    if safe.len() > DETAIL_MAX {
        let cut = (0..=DETAIL_MAX).rev().find(|i| safe.is_char_boundary(*i)).unwrap_or(0);
        safe.truncate(cut);
        safe.push_str(" [cut]");
    }
    if guarded(&safe) {
        safe.insert(0, '\'');
    }
    if safe.contains([',', '"']) {
        out.push(b'"');
        out.extend(safe.bytes().flat_map(|b| std::iter::repeat_n(b, if b == b'"' { 2 } else { 1 })));
        out.push(b'"');
    } else {
        out.extend_from_slice(safe.as_bytes());
    }
}

/// The events of a file, in order, read as they are asked for.
#[derive(Debug)]
pub struct EventReader {
    file: String,
    lines: std::io::Take<BufReader<File>>,
    line: Vec<u8>,
    number: u32,
    over: bool,
}

impl EventReader {
    /// The events in the first `bytes` bytes of a run folder's file.
    pub(super) fn open(dir: &Path, bytes: u64) -> Result<Self, Problems> {
        let path = dir.join(EVENTS);
        let file = path.display().to_string();
        let lines = match File::open(&path) {
            Ok(opened) => BufReader::new(opened).take(bytes),
            Err(e) => return Err(Problem::new(format!("{file}: cannot be read: {e}")).into()),
        };
        Ok(EventReader { file, lines, line: Vec::new(), number: 0, over: false })
    }

    /// The next line without its end; none at the end, and for a last line that was cut short.
    fn next_line(&mut self) -> Result<Option<&[u8]>, Problems> {
        self.line.clear();
        self.number += 1;
        let got = (&mut self.lines).take(LINE_MAX).read_until(b'\n', &mut self.line);
        let n = got.map_err(|e| self.bad(&e.to_string(), "a readable file"))?;
        if n as u64 == LINE_MAX && self.line.last() != Some(&b'\n') {
            return Err(self.bad("the line is too long", "a line of at most 65536 bytes"));
        }
        Ok(self.line.strip_suffix(b"\n"))
    }

    fn bad(&self, what: &str, expected: &str) -> Problems {
        let text = String::from_utf8_lossy(&self.line[..self.line.len().min(200)]);
        let place = Place {
            file: self.file.clone(),
            line: self.number,
            column: 1,
            width: 1,
            text: text.trim_end().to_owned(),
        };
        Problem::new(what).at(place).expected(expected).into()
    }

    fn step(&mut self) -> Result<Option<Event>, Problems> {
        if self.number == 0 {
            let header = HEADER.trim_end();
            match self.next_line()? {
                None => return Ok(None),
                Some(line) if line == header.as_bytes() => {}
                Some(_) => return Err(self.bad("is not the header of a file of events", header)),
            }
        }
        let Some(line) = self.next_line()? else {
            return Ok(None);
        };
        let event = parse_line(line);
        event.map_or_else(
            || Err(self.bad("is not an event", "time in seconds, kind, step number and detail")),
            |event| Ok(Some(event)),
        )
    }
}

impl Iterator for EventReader {
    type Item = Result<Event, Problems>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.over {
            return None;
        }
        let next = self.step().transpose();
        self.over = !matches!(next, Some(Ok(_)));
        next
    }
}

/// An event from its line; none if it is not one.
fn parse_line(line: &[u8]) -> Option<Event> {
    let mut rows =
        csv::ReaderBuilder::new().has_headers(false).buffer_capacity(line.len() + 1).from_reader(line);
    let mut record = csv::StringRecord::new();
    rows.read_record(&mut record).ok().filter(|read| *read)?;
    let event = parse(&record);
    event.filter(|_| matches!(rows.read_record(&mut record), Ok(false)))
}

/// An event from its cells.
fn parse(cells: &csv::StringRecord) -> Option<Event> {
    let cell = |i: usize| cells.get(i);
    let text = |i: usize| {
        let t = cell(i)?;
        Some(t.strip_prefix('\'').filter(|rest| guarded(rest)).unwrap_or(t).to_owned())
    };
    let (time_s, used) = decimal::read_number(cell(0)?.as_bytes())?;
    (used == cell(0)?.len() && cells.len() == 4).then_some(Event {
        time_s,
        kind: text(1)?,
        step: cell(2)?.parse().ok()?,
        detail: text(3)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &[u8]) -> Vec<Result<Event, Problems>> {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join(EVENTS), text).unwrap();
        EventReader::open(dir.path(), text.len() as u64).unwrap().collect()
    }

    fn round_trip(detail: &str) -> (String, Event) {
        let mut out = HEADER.as_bytes().to_vec();
        push_line(&mut out, Moment::from_ns(1_500_000_499), "note", 7, detail);
        let mut events = read(&out);
        assert_eq!(events.len(), 1);
        (String::from_utf8(out).unwrap(), events.remove(0).unwrap())
    }

    #[test]
    fn events_come_back_as_they_were() {
        for (detail, written) in [
            ("plain", "plain"),
            ("", ""),
            ("a,b \"c\"", "\"a,b \"\"c\"\"\""),
            ("=1+1", "'=1+1"),
            ("'=1", "''=1"),
            ("-12.3", "'-12.3"),
            ("it's", "it's"),
            ("'quoted'", "'quoted'"),
            ("duty=40.00;nozzle=A", "duty=40.00;nozzle=A"),
        ] {
            let (text, event) = round_trip(detail);
            assert_eq!(text, format!("{HEADER}1.500000,note,7,{written}\n"));
            assert_eq!(event.detail, detail);
            assert_eq!((event.step, event.kind.as_str()), (7, "note"));
        }
        let (_, event) = round_trip("role=line_pressure;value=412.5;empty=;x");
        assert_eq!(event.get("role"), Some("line_pressure"));
        assert_eq!(event.number("value"), Some(412.5));
        assert_eq!((event.get("empty"), event.get("x")), (Some(""), None));
    }

    #[test]
    fn details_stay_on_one_line_and_short() {
        let (text, _) = round_trip("a\nb\t\u{1b}[2J");
        assert_eq!(text.lines().count(), 2);
        let (_, event) = round_trip(&"\u{e9}".repeat(9000));
        assert!(event.detail.len() < DETAIL_MAX + 10 && event.detail.ends_with("[cut]"));
    }

    #[test]
    fn what_is_no_event_is_placed() {
        for (body, line) in [
            ("x,step,1,\n", 2),
            ("1.0,step,1,\n1.0,step,1\n", 3),
            ("1.0,step,-1,\n", 2),
            ("1.0,step,1,a,b\n", 2),
            ("nan,step,1,a\n", 2),
        ] {
            let text = format!("{HEADER}{body}");
            let last = read(text.as_bytes()).pop().unwrap().unwrap_err();
            assert_eq!(last.0[0].place.as_ref().unwrap().line, line, "{body}");
        }
        assert!(read(b"time,kind\n")[0].is_err());
        assert!(read(&[b"time_s,kind,step,detail\n", &vec![b'x'; 70_000][..]].concat())[0].is_err());
        let torn = format!("{HEADER}1.0,step,1,a\n2.0,st");
        assert_eq!(read(torn.as_bytes()).len(), 1);
    }
}
