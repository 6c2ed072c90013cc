//! How late the loop is, how long instruments take to answer: histograms for `timing.hlog`.
//!
//! In: durations. Out: HdrHistogram V2 interval logs, one tagged interval a histogram.

use hdrhistogram::Histogram;
use hdrhistogram::serialization::V2Serializer;
use hdrhistogram::serialization::interval_log::{IntervalLogWriterBuilder, Tag};
use std::time::{Duration, UNIX_EPOCH};

/// Longest duration a histogram holds, us; longer ones count as this.
const LONGEST_US: u64 = 60_000_000;

/// One histogram a kind of duration, microseconds, two significant digits.
#[derive(Clone, Debug, Default)]
pub struct Timing {
    kinds: Vec<(String, Option<Histogram<u64>>)>,
}

impl Timing {
    /// Counts a duration of a kind.
    pub fn count(&mut self, kind: &str, span: Duration) {
        let us = u64::try_from(span.as_micros()).unwrap_or(LONGEST_US).clamp(1, LONGEST_US);
        let index = self.kinds.iter().position(|(name, _)| name == kind).unwrap_or_else(|| {
            self.kinds.push((kind.to_owned(), Histogram::new_with_bounds(1, LONGEST_US, 2).ok()));
            self.kinds.len() - 1
        });
        if let Some(histogram) = &mut self.kinds[index].1 {
            histogram.saturating_record(us);
        }
    }

    /// The interval log.
    #[must_use]
    pub fn to_hlog(&self) -> Vec<u8> {
        let mut out = Vec::new();
        let mut serializer = V2Serializer::new();
        let started = IntervalLogWriterBuilder::new()
            .add_comment("durations in microseconds")
            .with_start_time(UNIX_EPOCH)
            .begin_log_with(&mut out, &mut serializer);
        if let Ok(mut log) = started {
            for (name, histogram) in &self.kinds {
                let Some(histogram) = histogram else { continue };
                let name = name.replace([' ', ','], "_");
                // A Vec takes every byte.
                let _ = log.write_histogram(histogram, Duration::ZERO, Duration::ZERO, Tag::new(&name));
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn log_reads_back() {
        use hdrhistogram::serialization::interval_log::{IntervalLogIterator, LogEntry};
        let mut timing = Timing::default();
        for ms in 1..=100 {
            timing.count("round trip scale", Duration::from_millis(ms));
        }
        let log = timing.to_hlog();
        let read: Vec<(String, String)> = IntervalLogIterator::new(&log)
            .filter_map(|entry| match entry {
                Ok(LogEntry::Interval(i)) => {
                    Some((i.tag()?.as_str().to_owned(), i.encoded_histogram().to_owned()))
                }
                _ => None,
            })
            .collect();
        assert_eq!(read.len(), 1);
        assert_eq!(read[0].0, "round_trip_scale");
        let bytes =
            base64::engine::Engine::decode(&base64::engine::general_purpose::STANDARD, &read[0].1).unwrap();
        let mut reader = hdrhistogram::serialization::Deserializer::new();
        let back: Histogram<u64> = reader.deserialize(&mut bytes.as_slice()).unwrap();
        assert_eq!(back.len(), 100);
        assert!((49_000..=51_000).contains(&back.value_at_quantile(0.5)), "{back:?}");
    }
}
