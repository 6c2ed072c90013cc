//! How late the loop was and how long instruments took to answer, from `timing.hlog`.
//!
//! In: the HdrHistogram interval log of a run. Out: a section with histograms and percentiles. Never: a result.

use crate::report::chart::{Axis, Bins, Chart, Ink, Layer, Panel, Plot};
use crate::report::page::{Block, Cell, Column, Figure, Section, Table};
use crate::report::words::FileName;
use base64::Engine as _;
use hdrhistogram::Histogram;
use hdrhistogram::serialization::Deserializer;
use hdrhistogram::serialization::interval_log::{IntervalLogIterator, LogEntry};
use std::path::Path;

/// Bars a decade.
const BARS_A_DECADE: i32 = 20;
/// Microseconds in a millisecond.
const US: f64 = 1000.0;

/// The histograms of a log by their names, microseconds. What cannot be read is left out.
#[must_use]
pub fn histograms(log: &[u8]) -> Vec<(String, Histogram<u64>)> {
    let mut reader = Deserializer::new();
    let one = |entry| {
        let Ok(LogEntry::Interval(interval)) = entry else {
            return None;
        };
        let name = interval.tag()?.as_str().replace('_', " ");
        let bytes = base64::engine::general_purpose::STANDARD.decode(interval.encoded_histogram()).ok()?;
        Some((name, reader.deserialize(&mut bytes.as_slice()).ok()?))
    };
    IntervalLogIterator::new(log).filter_map(one).collect()
}

/// The section; none where the run left no log, or one without a count.
#[must_use]
pub fn section(dir: &Path) -> Option<Section> {
    // A run that was killed leaves no log, and its report says nothing about timing.
    let log = std::fs::read(dir.join("timing.hlog")).ok()?;
    let found: Vec<_> = histograms(&log).into_iter().filter(|(_, h)| !h.is_empty()).collect();
    if found.is_empty() {
        return None;
    }
    let section = Section::new("Timing");
    // A virtual clock is never late: one bar says nothing.
    let spread: Vec<_> = found.iter().filter(|(_, h)| h.max() > h.min()).collect();
    Some(if spread.is_empty() {
        section.with(Block::Table(table(&found)))
    } else {
        let panels = spread
            .iter()
            .enumerate()
            .map(|(i, (name, h))| Panel {
                y: Axis::linear(format!("{name}, count")).over(0.0, 1.0),
                layers: vec![Layer::Bins(Bins {
                    label: name.as_str().into(),
                    ink: Ink::ALL[i % Ink::ALL.len()],
                    bins: bins(h),
                })],
            })
            .collect();
        section.with(Block::figure(Figure {
            caption: "How long instruments took to answer, and how late the loop was".into(),
            reading: "Each answer is counted once, from the command that left to its last byte; the loop's lateness is \
                      from the moment it wanted to be woken."
                .into(),
            chart: Chart::Plot(Plot {
                x: Axis::log("time, ms"),
                panels,
            }),
            data: table(&found),
            csv: FileName::new("timing.hlog"),
        }))
    })
}

/// Bars of equal ratio, ms.
fn bins(histogram: &Histogram<u64>) -> Vec<(f64, f64, f64)> {
    let place = |us: f64| (us.max(1.0).log10() * f64::from(BARS_A_DECADE)).floor() as i32;
    let edge = |i: i32| 10_f64.powf(f64::from(i) / f64::from(BARS_A_DECADE)) / US;
    let mut bars: Vec<(i32, u64)> = Vec::new();
    for value in histogram.iter_recorded() {
        let at = place(value.value_iterated_to() as f64);
        match bars.last_mut() {
            Some((last, count)) if *last == at => *count += value.count_at_value(),
            _ => bars.push((at, value.count_at_value())),
        }
    }
    bars.iter().map(|(i, count)| (edge(*i), edge(i + 1), *count as f64)).collect()
}

fn table(found: &[(String, Histogram<u64>)]) -> Table {
    let columns = ["what", "count", "median, ms", "99 %, ms", "99.9 %, ms", "longest, ms"];
    let columns = columns
        .iter()
        .enumerate()
        .map(|(i, name)| if i == 0 { Column::words(*name) } else { Column::number(*name) });
    found.iter().fold(Table::new("Times in milliseconds", columns.collect()), |table, (name, h)| {
        let at = |q: f64| Cell::number(Some(h.value_at_quantile(q) as f64 / US), 3);
        table.row(vec![
            Cell::words(name),
            Cell::words(h.len().to_string()),
            at(0.5),
            at(0.99),
            at(0.999),
            Cell::number(Some(h.max() as f64 / US), 3),
        ])
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::timing::Timing;
    use std::time::Duration;

    #[test]
    fn a_log_is_read_back_and_every_count_has_a_bar() {
        let mut timing = Timing::default();
        for ms in 1..=100 {
            timing.count("scale", Duration::from_millis(ms));
        }
        let found = histograms(&timing.to_hlog());
        assert_eq!(found[0].0, "scale");
        let bars = bins(&found[0].1);
        assert!((bars.iter().map(|b| b.2).sum::<f64>() - 100.0).abs() < 1e-9);
        assert!(bars.windows(2).all(|w| w[0].1 <= w[1].0 + 1e-9), "in order, side by side");
        assert!(bars[0].0 <= 1.01 && bars.last().unwrap().1 >= 100.0);
        assert!(histograms(b"#not a log\nnonsense").is_empty());
    }
}
