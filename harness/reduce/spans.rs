//! Marked spans of a record, with every reading in them: ramps, decays, leaks, points of a controller, weighings.
//!
//! In: events and rows; the kinds that are wanted. Out: each span of these kinds when it is over, with what encloses
//! it. A span is marked by an event `mark` (`kind=ramp;name=value`) and ends with a `mark` of kind `end`, with
//! `of=ramp`, or with `mark_end`; spans may lie within spans. In memory: the wanted spans that are open. Never: a
//! reading outside its span.

use super::stream::{Item, stream};
use crate::problem::Problems;
use crate::record::{Event, RunFolder, SampleRow};
use crate::script::role::Role;
use std::collections::BTreeMap;

/// How long a span waits for readings that are written late, s.
const LATE_S: f64 = 0.5;
/// Readings of one role kept of a span; above, neighbours are averaged.
const READINGS_MAX: usize = 200_000;
/// The kind of a mark that ends a span.
const END: &str = "end";

/// Readings of one role.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Times, s, increasing.
    pub times_s: Vec<f64>,
    /// Readings, role units.
    pub values: Vec<f64>,
}

impl Trace {
    /// Takes a reading; one that comes out of order is left out.
    pub fn add(&mut self, time_s: f64, value: f64) {
        if self.times_s.last().is_some_and(|last| time_s < *last) {
            return;
        }
        if self.times_s.len() >= READINGS_MAX {
            let thin = |v: &mut Vec<f64>| *v = v.chunks_exact(2).map(|p| 0.5 * (p[0] + p[1])).collect();
            thin(&mut self.times_s);
            thin(&mut self.values);
        }
        self.times_s.push(time_s);
        self.values.push(value);
    }

    /// The part from `from_s` on.
    #[must_use]
    pub fn from(&self, from_s: f64) -> (&[f64], &[f64]) {
        let at = self.times_s.partition_point(|t| *t < from_s);
        (&self.times_s[at..], &self.values[at..])
    }
}

/// A marked span.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// Kind: `ramp`, `decay`, `vented_zero`, ...
    pub kind: String,
    /// Values that describe it, and those of the spans around it.
    pub values: BTreeMap<String, String>,
    /// Step of the plan that marked it.
    pub step: u32,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Whether it came to its end; a run that ended early cuts it short.
    pub whole: bool,
    /// Every role with readings.
    pub traces: BTreeMap<Role, Trace>,
}

impl Span {
    /// A value as a finite number.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<f64> {
        self.values.get(name)?.parse().ok().filter(|v: &f64| v.is_finite())
    }
}

/// Cuts spans out of a record.
#[derive(Debug)]
pub struct SpanCutter {
    columns: Vec<Role>,
    wanted: Vec<String>,
    open: Vec<Span>,
}

impl SpanCutter {
    /// For a record with these columns and spans of these kinds.
    #[must_use]
    pub fn new(columns: &[Role], wanted: &[&str]) -> Self {
        SpanCutter {
            columns: columns.to_vec(),
            wanted: wanted.iter().map(|k| (*k).to_owned()).collect(),
            open: Vec::new(),
        }
    }

    /// Takes an event.
    pub fn event(&mut self, event: &Event) {
        if event.kind == "resumed" {
            // A span that the end of a run cut short comes again as a whole.
            self.open.retain(|s| s.whole);
            return;
        }
        let of = match (event.kind.as_str(), event.get("kind")) {
            ("mark", Some(END)) => event.get("of"),
            ("mark", kind) => return self.begin(event, kind.unwrap_or_default()),
            ("mark_end", kind) => kind,
            _ => return,
        };
        let mine = |s: &&mut Span| !s.whole && of.is_none_or(|kind| s.kind == kind);
        if let Some(span) = self.open.iter_mut().rev().find(mine) {
            (span.end_s, span.whole) = (event.time_s, true);
        }
    }

    fn begin(&mut self, event: &Event, kind: &str) {
        let around = self.open.iter().filter(|s| !s.whole).flat_map(|s| s.values.clone());
        let own = event.pairs().filter(|(name, _)| *name != "kind");
        let values = around.chain(own.map(|(n, v)| (n.to_owned(), v.to_owned()))).collect();
        self.open.push(Span {
            kind: kind.to_owned(),
            values,
            step: event.step,
            start_s: event.time_s,
            end_s: f64::INFINITY,
            whole: false,
            traces: BTreeMap::new(),
        });
    }

    /// Takes a row; spans that are over go to `out`.
    pub fn row(&mut self, row: &SampleRow<'_>, out: &mut impl FnMut(Span)) {
        self.close(row.time_s - LATE_S, out);
        let within = |s: &&mut Span| (s.start_s..=s.end_s).contains(&row.time_s);
        for span in self.open.iter_mut().filter(within) {
            if !self.wanted.contains(&span.kind) {
                continue;
            }
            for (role, value) in self.columns.iter().zip(row.values) {
                if value.is_nan() {
                    continue;
                }
                match span.traces.get_mut(role) {
                    Some(trace) => trace.add(row.time_s, *value),
                    None => span.traces.entry(role.clone()).or_default().add(row.time_s, *value),
                }
            }
        }
    }

    fn close(&mut self, before_s: f64, out: &mut impl FnMut(Span)) {
        if self.open.iter().all(|s| s.end_s >= before_s) {
            return;
        }
        let (over, open) = std::mem::take(&mut self.open).into_iter().partition(|s| s.end_s < before_s);
        self.open = open;
        let over: Vec<Span> = over;
        over.into_iter().filter(|s| self.wanted.contains(&s.kind)).for_each(out);
    }

    /// Ends everything, at the end of the record.
    pub fn finish(&mut self, time_s: f64, out: &mut impl FnMut(Span)) {
        for span in self.open.iter_mut().filter(|s| !s.whole) {
            span.end_s = time_s;
        }
        self.close(f64::INFINITY, out);
    }
}

/// Hands every span of the wanted kinds to `each`, in the order in which they end.
///
/// # Errors
/// The record was altered or cannot be read; what was handed on then is worth nothing.
pub fn each(folder: &RunFolder, wanted: &[&str], each: &mut impl FnMut(Span)) -> Result<(), Problems> {
    let mut cutter = SpanCutter::new(folder.columns(), wanted);
    let last_s = stream(folder, &mut |item| match item {
        Item::Event(event) => cutter.event(event),
        Item::Row(row) => cutter.row(row, each),
    })?;
    cutter.finish(last_s, each);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(time_s: f64, kind: &str, detail: &str) -> Event {
        Event { time_s, kind: kind.to_owned(), step: 1, detail: detail.to_owned() }
    }

    #[test]
    fn spans_within_spans_know_what_is_around_them() {
        let mut cutter = SpanCutter::new(&[Role::LinePressure, Role::Switch], &["ramp", "steady"]);
        let mut found = Vec::new();
        for i in 0..400 {
            let t = 0.1 * f64::from(i);
            match i {
                50 => cutter.event(&event(t, "mark", "kind=point;boost_kpa=55")),
                60 => cutter.event(&event(t, "mark", "kind=steady;cycle=2")),
                70 => cutter.event(&event(t, "mark", "kind=end;of=steady")),
                80 => cutter.event(&event(t, "mark", "kind=end;of=point")),
                100 => cutter.event(&event(t, "mark", "kind=ramp;direction=up")),
                150 => cutter.event(&event(t, "mark_end", "")),
                390 => cutter.event(&event(t, "mark", "kind=ramp;direction=down")),
                _ => {}
            }
            let values = [f64::from(i), if i % 2 == 0 { 1.0 } else { f64::NAN }];
            cutter.row(&SampleRow { time_s: t, step: 1, values: &values }, &mut |s| found.push(s));
        }
        cutter.finish(39.9, &mut |s| found.push(s));
        let brief = |s: &Span| (s.kind.clone(), s.whole, s.traces[&Role::LinePressure].values.len());
        let names: Vec<_> = found.iter().map(brief).collect();
        let expected = [("steady", true, 11), ("ramp", true, 51), ("ramp", false, 10)];
        assert_eq!(names, expected.map(|(k, w, n)| (k.to_owned(), w, n)));
        assert_eq!((found[0].number("boost_kpa"), found[0].number("cycle")), (Some(55.0), Some(2.0)));
        assert_eq!(found[1].values.len(), 1);
        assert_eq!(found[1].traces[&Role::Switch].values.len(), 26);
    }
}
