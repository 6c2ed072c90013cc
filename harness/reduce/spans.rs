//! Marked spans of a record, with the raw readings in them: ramps, decays, leak-downs, dead-heads, levels.
//!
//! In: a run folder, the kinds of span and the roles wanted. Out: one [`Trace`] after the other, in the order of their
//! ends. A span begins with a `mark` of its kind and ends with `mark_end`, with a mark of kind `end`, with the next
//! mark of its own kind, or with the record. Never: more than [`READINGS_MAX`] readings of a role in memory, or a span
//! whose readings were disturbed and that does not say so.

use crate::problem::Problems;
use crate::record::{Event, RunFolder, SampleRow};
use crate::script::role::Role;
use std::collections::BTreeMap;

/// Readings of a role that are kept of one span.
pub const READINGS_MAX: usize = 400_000;
/// How long a span waits for readings that are written late, s.
const LATE_S: f64 = 0.5;
/// A gap in the readings that voids a span, s.
const GAP_MAX_S: f64 = 0.2;

/// A marked span.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// What it is: `ramp`, `decay`, `leak`, ...
    pub kind: String,
    /// Values that describe it.
    pub values: BTreeMap<String, String>,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// What was set within it: time (s), role, value in role units.
    pub set: Vec<(f64, Role, f64)>,
    /// Why it must not be used.
    pub void: Option<String>,
}

impl Span {
    /// A value that describes it, as a number.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<f64> {
        self.values
            .get(name)?
            .parse()
            .ok()
            .filter(|v: &f64| v.is_finite())
    }

    /// When a role was first set to a value that meets a condition, s.
    #[must_use]
    pub fn first_set(&self, role: &Role, meets: impl Fn(f64) -> bool) -> Option<f64> {
        let found = self.set.iter().find(|(_, r, value)| r == role && meets(*value));
        found.map(|(time_s, _, _)| *time_s)
    }
}

/// A span with the readings in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// The span.
    pub span: Span,
    /// Readings of each role asked for, in that order: time (s) and value.
    pub readings: Vec<Vec<(f64, f64)>>,
    /// Readings left out beyond [`READINGS_MAX`].
    pub cut: usize,
}

/// Hands on each span of the kinds wanted, with the readings of `roles`.
///
/// # Errors
/// The record cannot be read.
pub fn read(
    folder: &RunFolder,
    kinds: &[&str],
    roles: &[Role],
    each: &mut impl FnMut(Trace),
) -> Result<(), Problems> {
    let spans = find(folder.events()?, kinds)?;
    let columns: Vec<Option<usize>> = roles.iter().map(|r| folder.column(r)).collect();
    let mut waiting = spans.into_iter().peekable();
    let mut open: Vec<Trace> = Vec::new();
    folder.samples(&mut |row| {
        while let Some(span) = waiting.next_if(|s| s.start_s <= row.time_s + LATE_S) {
            let readings = vec![Vec::new(); roles.len()];
            open.push(Trace {
                span,
                readings,
                cut: 0,
            });
        }
        let mut i = 0;
        while i < open.len() {
            if open[i].span.end_s + LATE_S < row.time_s {
                each(sorted(open.remove(i)));
            } else {
                take(&mut open[i], row, &columns);
                i += 1;
            }
        }
    })?;
    open.into_iter().map(sorted).for_each(&mut *each);
    for span in waiting {
        let readings = vec![Vec::new(); roles.len()];
        each(Trace {
            span,
            readings,
            cut: 0,
        });
    }
    Ok(())
}

fn take(trace: &mut Trace, row: &SampleRow<'_>, columns: &[Option<usize>]) {
    if !(trace.span.start_s..=trace.span.end_s).contains(&row.time_s) {
        return;
    }
    for (readings, column) in trace.readings.iter_mut().zip(columns) {
        let Some(value) = column.and_then(|c| row.get(c)) else {
            continue;
        };
        if readings.len() < READINGS_MAX {
            readings.push((row.time_s, value));
        } else {
            trace.cut += 1;
        }
    }
}

/// Rows may be written a little out of order.
fn sorted(mut trace: Trace) -> Trace {
    for readings in &mut trace.readings {
        readings.sort_by(|a, b| a.0.total_cmp(&b.0));
        readings.dedup_by(|later, earlier| later.0 <= earlier.0);
    }
    trace
}

/// The spans of the kinds wanted, in the order of their starts.
fn find(
    events: impl Iterator<Item = Result<Event, Problems>>,
    kinds: &[&str],
) -> Result<Vec<Span>, Problems> {
    let (mut open, mut done): (Vec<Span>, Vec<Span>) = (Vec::new(), Vec::new());
    let mut last_s = 0.0_f64;
    for event in events {
        let event = event?;
        last_s = last_s.max(event.time_s);
        match event.kind.as_str() {
            "mark" | "mark_end" => {
                let kind = event.get("kind").unwrap_or("end");
                let ends = if kind == "end" || event.kind == "mark_end" {
                    event.get("of")
                } else {
                    Some(kind)
                };
                close(&mut open, &mut done, ends, event.time_s);
                if event.kind == "mark" && kinds.contains(&kind) {
                    open.push(begun(&event, kind));
                }
            }
            "set" => open.iter_mut().for_each(|s| s.set.extend(settings(&event))),
            "void" => spoil(&mut open, event.get("reason").unwrap_or("without a reason")),
            "gap" if event.number("seconds").is_some_and(|s| s > GAP_MAX_S) => {
                spoil(&mut open, "a gap in the readings");
            }
            "fault" => spoil(&mut open, &format!("a fault: {}", event.detail)),
            _ => {}
        }
    }
    spoil(&mut open, "the record ends within it");
    // Readings may follow the last event.
    close(&mut open, &mut done, None, f64::MAX);
    done.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    Ok(done)
}

fn begun(event: &Event, kind: &str) -> Span {
    Span {
        kind: kind.to_owned(),
        values: event
            .pairs()
            .filter(|(name, _)| *name != "kind")
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .collect(),
        start_s: event.time_s,
        end_s: f64::MAX,
        set: Vec::new(),
        void: None,
    }
}

/// What a `set` event says, `role=value` by `role=value`.
fn settings(event: &Event) -> Vec<(f64, Role, f64)> {
    let one = |(name, value): (&str, &str)| Some((event.time_s, Role::parse(name)?, value.parse().ok()?));
    event.pairs().filter_map(one).collect()
}

/// Ends the open spans of a kind, or all of them.
fn close(open: &mut Vec<Span>, done: &mut Vec<Span>, kind: Option<&str>, time_s: f64) {
    for i in (0..open.len()).rev() {
        if kind.is_none_or(|k| k == open[i].kind) {
            let mut span = open.remove(i);
            span.end_s = time_s;
            done.push(span);
        }
    }
}

fn spoil(open: &mut [Span], why: &str) {
    for span in open {
        span.void.get_or_insert_with(|| why.to_owned());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn events(list: &[(f64, &str, &str)]) -> Vec<Span> {
        let events = list.iter().map(|&(time_s, kind, detail)| {
            Ok(Event {
                time_s,
                kind: kind.into(),
                step: 1,
                detail: detail.into(),
            })
        });
        find(events, &["ramp", "decay"]).unwrap()
    }

    #[test]
    fn spans_begin_and_end_where_they_are_marked() {
        let spans = events(&[
            (1.0, "mark", "kind=ramp;direction=up;rate=0.5"),
            (1.5, "set", "pump_duty=40;supply_set=13.8"),
            (2.0, "mark", "kind=end;of=ramp"),
            (3.0, "mark", "kind=ramp;direction=down"),
            (4.0, "mark", "kind=ramp;direction=up"),
            (5.0, "mark_end", ""),
            (6.0, "mark", "kind=point"),
            (7.0, "mark", "kind=decay"),
            (7.5, "mark", "kind=end;of=point"),
            (7.6, "gap", "seconds=0.9"),
            (8.0, "step", "x"),
        ]);
        let shown: Vec<(f64, f64, &str)> = spans
            .iter()
            .map(|s| (s.start_s, s.end_s, s.kind.as_str()))
            .collect();
        assert_eq!(
            shown,
            [
                (1.0, 2.0, "ramp"),
                (3.0, 4.0, "ramp"),
                (4.0, 5.0, "ramp"),
                (7.0, f64::MAX, "decay")
            ]
        );
        assert_eq!(spans[0].number("rate"), Some(0.5));
        assert_eq!(spans[0].first_set(&Role::PumpDuty, |d| d > 10.0), Some(1.5));
        assert_eq!(spans[0].void, None);
        assert_eq!(spans[3].void.as_deref(), Some("a gap in the readings"));
    }
}
