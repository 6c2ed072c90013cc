//! A solenoid between line and nozzle: how long from the command to the answer of the line.
//!
//! In: a span in which the solenoid is switched while the pump runs, with line pressure. Out: an [`Answer`] for each
//! change: the time until the pressure has gone a tenth of the way to its new level, by interpolation. The time
//! holds the line's own answer too, so it is an upper bound of the valve's. Never: an answer told from noise.

use super::spans::{Span, Trace};
use crate::script::role::Role;
use crate::uncertainty::{Cause, type_a};

/// Time before the command from which the old level is taken, s.
const BEFORE_S: f64 = 0.5;
/// Time after the command from which on the new level is taken, s.
const SETTLED_S: f64 = 1.0;
/// The new level is taken over this long, s.
const AFTER_S: f64 = 0.5;
/// Part of the change that counts as an answer.
const PART: f64 = 0.1;
/// The change must be this many times the scatter before it.
const SEEN: f64 = 20.0;

/// The line's answer to the solenoid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// Whether it was opened (or closed).
    pub opened: bool,
    /// When it was told, s.
    pub told_s: f64,
    /// Time until the line answered, s.
    pub delay_s: f64,
    /// Half of the step between the readings around it, s.
    pub half_step_s: f64,
    /// Pressure before and after, gauge kPa.
    pub levels_kpa: (f64, f64),
}

/// Reads every change of the solenoid that the line answers.
#[must_use]
pub fn read(span: &Span) -> Vec<Answer> {
    let empty = Trace::default();
    let of = |role: Role| span.traces.get(&role).unwrap_or(&empty);
    let (valve, line) = (of(Role::Solenoid), of(Role::LinePressure));
    let changes = valve.values.windows(2).zip(&valve.times_s[valve.times_s.len().min(1)..]);
    changes
        .filter(|(pair, _)| (pair[0] >= 0.5) != (pair[1] >= 0.5))
        .filter_map(|(pair, told_s)| answer(line, *told_s, pair[1] >= 0.5))
        .collect()
}

fn answer(line: &Trace, told_s: f64, opened: bool) -> Option<Answer> {
    let between = |from: f64, to: f64| {
        let i = line.times_s.partition_point(|t| *t < from);
        let j = line.times_s.partition_point(|t| *t <= to);
        &line.values[i..j]
    };
    let still = between(told_s - BEFORE_S, told_s);
    let before = type_a(Cause::Readings, still)?;
    let after = type_a(Cause::Readings, between(told_s + SETTLED_S, told_s + SETTLED_S + AFTER_S))?;
    let (change, sd) = (after.value - before.value, before.u * (still.len() as f64).sqrt());
    if change.abs() < SEEN * sd.max(f64::MIN_POSITIVE) {
        return None;
    }
    let gone = |p: f64| (p - before.value) / change - PART;
    let first = line.times_s.partition_point(|t| *t <= told_s);
    let at = (first..line.values.len()).find(|&i| gone(line.values[i]) >= 0.0)?;
    let (t1, g1) = (line.times_s[at], gone(line.values[at]));
    let (t0, g0) = match at.checked_sub(1) {
        Some(i) => (line.times_s[i].max(told_s), gone(line.values[i]).min(0.0)),
        None => (told_s, -PART),
    };
    let share = if g1 > g0 { -g0 / (g1 - g0) } else { 1.0 };
    Some(Answer {
        opened,
        told_s,
        delay_s: t0 + share * (t1 - t0) - told_s,
        half_step_s: 0.5 * (t1 - t0),
        levels_kpa: (before.value, after.value),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delays_are_found_between_the_readings() {
        let (mut line, mut valve) = (Trace::default(), Trace::default());
        for i in 0..600 {
            let t = 0.01 * f64::from(i);
            // Opened at 2 s, answers after 30 ms, falls within 100 ms; closed at 4 s, answers after 60 ms.
            let fall = ((t - 2.03) / 0.1).clamp(0.0, 1.0) - ((t - 4.06) / 0.1).clamp(0.0, 1.0);
            line.add(t, 800.0 - 500.0 * fall + 0.2 * f64::from(i % 3));
            valve.add(t, f64::from(u8::from((2.0..4.0).contains(&t))));
        }
        let span = Span {
            kind: "response".into(),
            values: [].into(),
            step: 1,
            start_s: 0.0,
            end_s: 6.0,
            whole: true,
            traces: [(Role::LinePressure, line), (Role::Solenoid, valve)].into(),
        };
        let found = read(&span);
        assert_eq!(found.len(), 2);
        // A tenth of a fall of 100 ms comes 10 ms after its start.
        assert!(found[0].opened && (found[0].delay_s - 0.040).abs() < 0.002, "{found:?}");
        assert!(!found[1].opened && (found[1].delay_s - 0.070).abs() < 0.002, "{found:?}");
        let still = Span { traces: [].into(), ..span };
        assert!(read(&still).is_empty());
    }
}
