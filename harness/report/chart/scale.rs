//! From values to places on an axis, and the ticks between.
//!
//! In: how values are spaced, the range, the pixels it fills. Out: a place for each value, ticks with labels.
//! Never: a place for a value that has none (a logarithmic axis and a value that is not positive).

use super::model::{Axis, Spacing};
use crate::report::figure_text::trimmed;

/// A tick and what is written at it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Tick {
    pub(super) value: f64,
    pub(super) label: String,
}

/// An axis with its range fixed.
#[derive(Clone, Debug)]
pub(super) struct Scale {
    spacing: Spacing,
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

/// Room beyond the data, as a part of their range.
const PAD: f64 = 0.05;
/// Room beyond data that leave the range that was asked for.
const PAD_ASKED: f64 = 0.015;

impl Scale {
    /// The scale of an axis over its data, between two places in units of the chart.
    pub(super) fn over(axis: &Axis, data: impl IntoIterator<Item = f64>, from: f64, to: f64) -> Self {
        let log = axis.spacing == Spacing::Log;
        let fits = |v: &f64| v.is_finite() && (!log || *v > 0.0);
        let forward = |v: f64| if log { v.log10() } else { v };
        let span = |values: &mut dyn Iterator<Item = f64>| {
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
        };
        let (data_low, data_high) = span(&mut data.into_iter().filter(fits).map(forward));
        let asked = axis.at_least.into_iter().flat_map(|(l, h)| [l, h]).filter(fits).map(forward);
        let (asked_low, asked_high) = span(&mut { asked });
        let (mut low, mut high) = (data_low.min(asked_low), data_high.max(asked_high));
        if let Spacing::Words(words) = &axis.spacing {
            let last = words.len().max(1) as f64 - 0.5;
            (low, high) = (low.min(-0.5), high.max(last));
        } else if low > high {
            (low, high) = (0.0, 1.0);
        } else if high - low < 1e-12 * (1.0 + high.abs()) {
            let room = if log { 0.5 } else { (low.abs() * 0.1).max(0.5) };
            (low, high) = (low - room, high + room);
        } else {
            // Beyond an end that was asked for a little room is enough; zero is a good end for what is not negative.
            let room = |asked: bool| (high - low) * if asked { PAD_ASKED } else { PAD };
            let (room_low, room_high) = (room(asked_low.is_finite()), room(asked_high.is_finite()));
            if data_low < asked_low {
                low = if !log && (0.0..room_low).contains(&data_low) { 0.0 } else { low - room_low };
            }
            if data_high > asked_high {
                high += room_high;
            }
        }
        let spacing = axis.spacing.clone();
        Scale { spacing, low, high, from, to }
    }

    /// The same scale between other places.
    pub(super) fn moved(&self, from: f64, to: f64) -> Scale {
        Scale { from, to, ..self.clone() }
    }

    /// Whether it has names instead of numbers.
    pub(super) fn is_worded(&self) -> bool {
        matches!(self.spacing, Spacing::Words(_))
    }

    /// Whether a value has a place at all.
    pub(super) fn shows(&self, value: f64) -> bool {
        value.is_finite() && (self.spacing != Spacing::Log || value > 0.0)
    }

    /// The place of a value; none where it has none.
    pub(super) fn at(&self, value: f64) -> Option<f64> {
        let v = if self.spacing == Spacing::Log { value.log10() } else { value };
        self.shows(value).then(|| self.from + (v - self.low) / (self.high - self.low) * (self.to - self.from))
    }

    /// The place of a value, held within the axis; the low end for a value that has no place below it.
    pub(super) fn clamped(&self, value: f64) -> f64 {
        let (near, far) = (self.from.min(self.to), self.from.max(self.to));
        self.at(value).unwrap_or(self.from).clamp(near, far)
    }

    /// At most about `count` ticks.
    pub(super) fn ticks(&self, count: usize) -> Vec<Tick> {
        let count = count.max(2);
        match &self.spacing {
            Spacing::Linear => linear_ticks(self.low, self.high, count),
            Spacing::Log => log_ticks(self.low, self.high, count),
            Spacing::Words(words) => words
                .iter()
                .enumerate()
                .map(|(i, w)| Tick { value: i as f64, label: w.to_string() })
                .collect(),
        }
    }
}

/// Ticks at multiples of 1, 2 or 5 times a power of ten.
fn linear_ticks(low: f64, high: f64, count: usize) -> Vec<Tick> {
    let rough = (high - low) / count as f64;
    let power = rough.log10().floor();
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * 10f64.powf(power))
        .find(|s| *s >= rough * 0.999)
        .unwrap_or(10f64.powf(power + 1.0));
    let decimals = decimals_of(step);
    let slack = step * 1e-6;
    let (first, last) = (((low - slack) / step).ceil() as i64, ((high + slack) / step).floor() as i64);
    (first..=last)
        .map(|i| {
            let value = i as f64 * step;
            let label = trimmed_to(value, decimals);
            Tick { value, label }
        })
        .collect()
}

/// Decimals that show a step of 1, 2 or 5 times a power of ten.
fn decimals_of(step: f64) -> usize {
    let places = -(step.log10() + 1e-9).floor();
    if places > 0.0 { places as usize } else { 0 }
}

/// A number with exactly `decimals` decimals and a true minus sign.
fn trimmed_to(value: f64, decimals: usize) -> String {
    crate::report::figure_text::at_place(value, -i32::try_from(decimals).unwrap_or(0))
}

/// Ticks of a logarithmic axis: as many digits of each decade as fit into `count`; within less than a decade, even
/// steps.
fn log_ticks(low: f64, high: f64, count: usize) -> Vec<Tick> {
    if high - low < 0.7 {
        return linear_ticks(10f64.powf(low), 10f64.powf(high), count);
    }
    let decades = (low.floor() as i32)..=(high.ceil() as i32);
    let within = |digits: &[f64], every: i32| -> Vec<f64> {
        let kept = decades.clone().filter(|d| d % every == 0);
        let all = kept.flat_map(|d| digits.iter().map(move |m| m * 10f64.powi(d)));
        all.filter(|v| (low - 1e-9..=high + 1e-9).contains(&v.log10())).collect()
    };
    let every = (((high - low) / count as f64).ceil() as i32).max(1);
    let values = [&[1.0, 2.0, 5.0][..], &[1.0, 3.0]]
        .into_iter()
        .map(|digits| within(digits, 1))
        .find(|values| values.len() <= count)
        .unwrap_or_else(|| within(&[1.0], every));
    let label = |value: f64| {
        if (1e-4..1e6).contains(&value) { trimmed(value, 6) } else { format!("{value:.0e}") }
    };
    values.into_iter().map(|value| Tick { value, label: label(value) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis, data: &[f64], count: usize) -> String {
        let scale = Scale::over(axis, data.iter().copied(), 0.0, 100.0);
        let ticks = scale.ticks(count);
        for t in &ticks {
            let at = scale.at(t.value).unwrap();
            assert!((-0.01..=100.01).contains(&at), "{t:?} at {at}");
        }
        ticks.into_iter().map(|t| t.label).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn ticks_are_round() {
        let linear = Axis::linear("x");
        for (axis, data, count, text) in [
            (linear.clone().over(0.0, 100.0), &[][..], 5, "0 20 40 60 80 100"),
            (linear.clone(), &[0.0, 412.0], 5, "0 100 200 300 400"),
            (linear.clone(), &[-0.3, 0.3], 7, "−0.3 −0.2 −0.1 0.0 0.1 0.2 0.3"),
            (linear.clone(), &[5.0, 5.0], 5, "4.6 4.8 5.0 5.2 5.4"),
            (linear.clone(), &[f64::NAN], 4, "0.0 0.5 1.0"),
            (Axis::log("x"), &[0.0, 1.0, 1000.0], 5, "1 10 100 1000"),
            (Axis::log("x"), &[0.0, 1.0, 1000.0], 8, "1 3 10 30 100 300 1000"),
            (Axis::log("x"), &[4.0, 800.0], 9, "5 10 20 50 100 200 500 1000"),
            (Axis::log("x"), &[1e-9, 1.0], 4, "1e-9 1e-6 0.001 1"),
            (Axis::log("x"), &[30.0, 400.0], 5, "50 100 200"),
            (Axis::log("x"), &[100.0, 200.0], 4, "100 150 200"),
            (Axis::words("x", ["off", "on"]), &[], 4, "off on"),
        ] {
            assert_eq!(labels(&axis, data, count), text);
        }
    }

    #[test]
    fn what_has_no_place_gets_none() {
        let scale = Scale::over(&Axis::log("x"), [1.0, 10.0], 0.0, 100.0);
        assert_eq!(scale.at(0.0), None);
        assert_eq!(scale.at(-1.0), None);
        assert_eq!(scale.at(f64::NAN), None);
        assert!(scale.at(1.0).unwrap() < scale.at(10.0).unwrap());
    }
}
