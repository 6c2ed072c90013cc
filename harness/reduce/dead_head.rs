//! Dead-head: the pressure a pump makes against the closed outlet, over duty and supply.
//!
//! In: spans of kind `dead_head`, in which duty rises slowly or stands still. Out: [`DeadHead`]: a row for each stretch
//! of duty and supply, and the highest pressure. Never: a highest pressure called the pump's where the ramp was ended
//! before full duty.

use super::gauge::Gauge;
use super::noise::trend;
use super::spans::{Span, Trace};
use crate::script::role::Role;
use crate::table::{Cell, Sheet};
use crate::uncertainty::{Cause, Term, Uncertain};
use std::collections::BTreeMap;

/// Kind of the spans.
pub const KIND: &str = "dead_head";
/// Width of a stretch of duty, %.
const STRETCH_PCT: f64 = 5.0;
/// Supplies closer than this are one, V.
const SUPPLY_STEP_V: f64 = 0.5;
/// Readings of a stretch at least.
const READINGS_LEAST: usize = 5;
/// Readings of a stretch that a mean takes at most.
const READINGS_MOST: usize = 500;
/// Duty from which on the pump counts as fully driven, %.
const FULL_PCT: f64 = 99.0;

/// A stretch of duty.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Mean duty, %.
    pub duty_pct: f64,
    /// Mean supply, V; none where it was not read.
    pub supply_v: Option<f64>,
    /// Mean pressure, gauge kPa.
    pub pressure_kpa: Uncertain,
}

/// Pressures against the closed outlet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DeadHead {
    /// Rows, by supply, then by duty.
    pub rows: Vec<Row>,
    /// Highest duty, %.
    pub duty_pct: f64,
}

impl DeadHead {
    /// The row of the highest pressure.
    #[must_use]
    pub fn highest(&self) -> Option<&Row> {
        self.rows.iter().max_by(|a, b| a.pressure_kpa.value.total_cmp(&b.pressure_kpa.value))
    }

    /// Whether the pump was fully driven; else it may make more.
    #[must_use]
    pub fn full(&self) -> bool {
        self.duty_pct >= FULL_PCT
    }

    /// `dead_head.csv`.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let mut sheet = Sheet::new(&["duty_pct", "supply_v", "line_pressure_kpa", "u95_kpa"]);
        for row in &self.rows {
            let (pressure, u95) =
                (Cell::Fixed(row.pressure_kpa.value, 2), Cell::Fixed(row.pressure_kpa.u95, 2));
            sheet.row(&[Cell::Fixed(row.duty_pct, 2), Cell::fixed(row.supply_v, 3), pressure, u95]);
        }
        sheet.finish()
    }
}

/// What falls into one stretch.
#[derive(Default)]
struct Stretch {
    times: Vec<f64>,
    pressures: Vec<f64>,
    duty: f64,
    supply: f64,
}

/// Reads spans.
#[must_use]
pub fn read<'a>(spans: impl IntoIterator<Item = &'a Span>, gauge: &Gauge) -> DeadHead {
    let mut out = DeadHead::default();
    let mut rows: Vec<Row> = Vec::new();
    for span in spans {
        let mut stretches: BTreeMap<(i64, i64), Stretch> = BTreeMap::new();
        let Some(line) = span.traces.get(&Role::LinePressure) else {
            continue;
        };
        let duty = span.traces.get(&Role::Duty).or_else(|| span.traces.get(&Role::PumpDuty));
        let (Some(duty), supply) = (duty, span.traces.get(&Role::Supply)) else {
            continue;
        };
        for (t, p) in line.times_s.iter().zip(&line.values) {
            let Some(d) = at(duty, *t) else { continue };
            let v = supply.and_then(|s| at(s, *t));
            out.duty_pct = out.duty_pct.max(d);
            let key = |x: f64, width: f64| (x / width).round() as i64;
            let place = (v.map_or(i64::MIN, |v| key(v, SUPPLY_STEP_V)), key(d, STRETCH_PCT));
            let stretch = stretches.entry(place).or_default();
            stretch.times.push(*t);
            stretch.pressures.push(*p);
            stretch.duty += d;
            stretch.supply += v.unwrap_or(f64::NAN);
        }
        rows.extend(stretches.values().filter_map(|s| row(s, gauge)));
    }
    rows.sort_by(|a, b| {
        let supply = |r: &Row| r.supply_v.unwrap_or(0.0).round();
        supply(a).total_cmp(&supply(b)).then(a.duty_pct.total_cmp(&b.duty_pct))
    });
    out.rows = rows;
    out
}

/// The last reading at or before a moment; the first where there is none.
fn at(trace: &Trace, time_s: f64) -> Option<f64> {
    let after = trace.times_s.partition_point(|t| *t <= time_s);
    trace.values.get(after.saturating_sub(1)).copied()
}

fn row(stretch: &Stretch, gauge: &Gauge) -> Option<Row> {
    let n = stretch.times.len();
    if n < READINGS_LEAST {
        return None;
    }
    let group = n.div_ceil(READINGS_MOST);
    let means = |v: &[f64]| -> Vec<f64> {
        v.chunks_exact(group).map(|c| c.iter().sum::<f64>() / group as f64).collect()
    };
    // A line takes the rise within the stretch out of the scatter of the mean.
    let line = trend(&means(&stretch.times), &means(&stretch.pressures), 2)?;
    let mut terms = vec![Term::observed(Cause::Readings, line.u[0], line.dof)];
    let pressure_kpa = stretch.pressures.iter().sum::<f64>() / n as f64;
    terms.extend(gauge.at(pressure_kpa));
    let supply = stretch.supply / n as f64;
    Some(Row {
        duty_pct: stretch.duty / n as f64,
        supply_v: supply.is_finite().then_some(supply),
        pressure_kpa: Uncertain::new(pressure_kpa, terms),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(top_pct: f64, supply_v: f64) -> Span {
        let (mut line, mut duty, mut supply) = (Trace::default(), Trace::default(), Trace::default());
        for i in 0..3000 {
            let t = 0.02 * f64::from(i);
            let d = (5.0 + (top_pct - 5.0) * t / 58.0).min(top_pct);
            line.add(t, 10.0 * d * supply_v / 13.8);
            duty.add(t, d);
            supply.add(t, supply_v);
        }
        Span {
            kind: KIND.into(),
            values: [].into(),
            step: 1,
            start_s: 0.0,
            end_s: 60.0,
            whole: true,
            traces: [(Role::LinePressure, line), (Role::Duty, duty), (Role::Supply, supply)].into(),
        }
    }

    #[test]
    fn pressure_over_duty_and_supply_and_the_highest() {
        let found = read(&[span(100.0, 13.8), span(100.0, 11.0)], &Gauge::assumed());
        for row in &found.rows {
            let want = 10.0 * row.duty_pct * row.supply_v.unwrap() / 13.8;
            assert!((row.pressure_kpa.value - want).abs() < 0.5, "{row:?}");
            assert!((4.9..5.2).contains(&row.pressure_kpa.u95), "{row:?}");
        }
        let highest = found.highest().unwrap();
        assert!(found.full() && highest.duty_pct > 98.0 && highest.supply_v.unwrap() > 13.0);
        assert_eq!(found.to_csv().lines().count(), found.rows.len() + 1);
        assert!(!read(&[span(60.0, 13.8)], &Gauge::assumed()).full());
        assert_eq!(read(&[], &Gauge::assumed()).highest(), None);
    }
}
