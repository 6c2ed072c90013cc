//! What kind of change a comparison looks like, where that is clear.
//!
//! In: a comparison. Out: the kinds of change that explain its differences, best first. Each hypothesis predicts the
//! new observations from the old ones with as few numbers as it can; what is left is weighed in tolerances, and a
//! hypothesis with more numbers has to leave less (Schwarz 1978). Never: a diagnosis where nothing changed, or the
//! claim that it is the only one possible.
//!
//! | file | what it holds |
//! |---|---|
//! | [`evidence`] | differences of one output, by kind |
//! | [`surface`] | values over boost and speed, and between |
//! | [`map_changes`] | changes of the whole map: shift, scale, offset, clamp, hysteresis, lookup |
//! | [`local_changes`] | changes of a part: a point, rows or columns swapped |
//! | [`other_changes`] | supply compensation, response, reaction to faults |

mod evidence;
mod local_changes;
mod map_changes;
mod other_changes;
mod surface;

use super::baseline::Comparison;
use crate::verdict::item::Verdict;
use evidence::Evidence;
use std::collections::{BTreeMap, BTreeSet};

/// Kinds of change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// An axis lies elsewhere.
    AxisShifted,
    /// Every value is scaled.
    MapScaled,
    /// Every value is offset.
    Offset,
    /// Two neighbouring rows (boost) have changed places.
    RowsSwapped,
    /// Two neighbouring columns (speed) have changed places.
    ColumnsSwapped,
    /// The supply is no longer compensated.
    CompensationGone,
    /// The supply is compensated the wrong way round.
    CompensationReversed,
    /// A clamp lies elsewhere.
    ClampMoved,
    /// Between the points: interpolated became held, or the other way round.
    LookupToggled,
    /// Hysteresis changed.
    HysteresisChanged,
    /// Slower or faster response.
    ResponseChanged,
    /// Another reaction to a bad sensor.
    SensorFaultChanged,
    /// Another reaction to a lost tach or to a power cycle.
    RecoveryChanged,
    /// One point has another value.
    PointChanged,
}

/// A kind of change and how well it explains what was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Diagnosis {
    /// What kind.
    pub change: Change,
    /// In words, with its size: `boost axis shifted by 8.2 kPa`.
    pub words: String,
    /// Outputs that it concerns.
    pub outputs: Vec<String>,
    /// Share of the differences that it explains, 0 to 1.
    pub explains: f64,
}

/// A hypothesis worked out on one output.
struct Worked {
    change: Change,
    words: String,
    /// What it leaves, in squared tolerances.
    left: f64,
    /// Numbers it was free to choose.
    free: f64,
}

/// Misfit in tolerances that counts as none: interpolating between points of the grid is not exact.
const FLOOR: f64 = 0.1;
/// Least share of the differences that a diagnosis explains.
const EXPLAINS_LEAST: f64 = 0.3;

/// Kinds of change, best first; empty where nothing changed or nothing explains it.
#[must_use]
pub fn diagnose(comparison: &Comparison) -> Vec<Diagnosis> {
    let changed: BTreeSet<&str> = (comparison.list.iter())
        .filter(|c| c.verdict == Verdict::Changed)
        .filter_map(|c| c.subject())
        .map(|o| o.output.as_str())
        .collect();
    let mut sums: BTreeMap<Change, (f64, f64, Diagnosis)> = BTreeMap::new();
    let mut whole = 0.0;
    for output in changed {
        let evidence = Evidence::of(comparison, output);
        let (total, n) = (evidence.total(), evidence.count());
        whole += total;
        let mut best: BTreeMap<Change, (f64, Worked)> = BTreeMap::new();
        for worked in hypotheses(&evidence) {
            let gain = score(total, 0.0, n) - score(worked.left, worked.free, n);
            match best.get(&worked.change) {
                Some((known, _)) if *known >= gain => {}
                _ => {
                    best.insert(worked.change, (gain, worked));
                }
            }
        }
        for (change, (gain, worked)) in best.into_iter().filter(|(_, (gain, _))| *gain > 0.0) {
            let explained = (total - worked.left).max(0.0);
            let entry = sums.entry(change).or_insert_with(|| {
                let words = worked.words.clone();
                (0.0, 0.0, Diagnosis { change, words, outputs: Vec::new(), explains: 0.0 })
            });
            entry.0 += gain;
            entry.1 += explained;
            entry.2.outputs.push(output.to_owned());
        }
    }
    let mut found: Vec<(f64, Diagnosis)> = sums
        .into_values()
        .map(|(gain, explained, d)| (gain, Diagnosis { explains: explained / whole.max(1e-12), ..d }))
        .filter(|(_, d)| d.explains >= EXPLAINS_LEAST)
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().map(|f| f.1).collect()
}

/// The criterion: smaller is better.
fn score(left: f64, free: f64, n: f64) -> f64 {
    n * ((left + n * FLOOR * FLOOR) / n).ln() + free * n.ln()
}

fn hypotheses(evidence: &Evidence) -> Vec<Worked> {
    let mut all = map_changes::all(evidence);
    all.extend(local_changes::all(evidence));
    all.extend(other_changes::all(evidence));
    all
}
