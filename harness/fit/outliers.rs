//! Collections that went wrong.
//!
//! A bumped cup or a bubble of air is told by its replicates, or, where it has none, by what all other collections say
//! of it. It is labelled and kept, with so little weight that it does no harm; nothing is dropped. In: the pump's data
//! and a first look at them. Out: places of collections to mistrust. Never: more than a few of them, for then it is the
//! law that is wrong.

use super::pump_data::PumpData;

/// Standard deviations of scatter from which on a replicate is mistrusted.
const REPLICATE_SD: f64 = 6.0;
/// Standard deviations from which on a collection without replicates is.
const SINGLE_SD: f64 = 6.0;
/// Share of the collections that may be mistrusted at most.
const SHARE_MOST: f64 = 0.12;
/// Standard deviation over the median of absolute deviations of a normal distribution.
const MAD_TO_SD: f64 = 1.4826;
/// Least scatter that is believed, fraction of full flow.
const LEAST: f64 = 2e-4;

/// Places of collections to mistrust; `left_out` holds every mean's distance from what the others say of it.
#[must_use]
pub fn outliers(data: &PumpData, left_out: &[f64]) -> Vec<usize> {
    let mut wrong = replicates(data, left_out);
    wrong.extend(singles(data, left_out));
    wrong.sort_unstable();
    if wrong.len() as f64 > SHARE_MOST * data.points.len() as f64 { Vec::new() } else { wrong }
}

/// Replicates far from the middle of their group; of two that disagree, the one that the other duties contradict.
fn replicates(data: &PumpData, left_out: &[f64]) -> Vec<usize> {
    let deviations = data.deviations();
    let members = |g: usize| (0..data.points.len()).filter(move |i| data.points[*i].group == g);
    let mut from_middle = vec![0.0; data.points.len()];
    let mut spread = Vec::new();
    for (g, count) in data.counts.iter().enumerate().filter(|(_, c)| **c > 1) {
        let middle = median(members(g).map(|i| deviations[i]).collect());
        for i in members(g) {
            from_middle[i] = deviations[i] - middle;
        }
        // The middle lies on a replicate where their number is odd, and takes a degree of freedom in any case.
        let n = *count as f64;
        spread.extend(members(g).map(|i| from_middle[i].abs() * (n / (n - 1.0)).sqrt()));
    }
    let sd = (MAD_TO_SD * median(spread)).max(LEAST * data.scaling.flow_ml_min);
    let far = |i: &usize| from_middle[*i].abs() > REPLICATE_SD * sd;
    let mut wrong = Vec::new();
    for (g, count) in data.counts.iter().enumerate() {
        let mut beyond: Vec<usize> = members(g).filter(far).collect();
        if *count == 2 && beyond.len() == 2 {
            // Positive where the mean lies above what the others say: then the higher of the two is wrong.
            beyond.retain(|i| (deviations[*i] > 0.0) == (left_out[g] > 0.0));
        }
        wrong.extend(beyond);
    }
    wrong
}

/// Collections without replicates that all others contradict.
fn singles(data: &PumpData, left_out: &[f64]) -> Vec<usize> {
    let typical = (MAD_TO_SD * median(left_out.iter().map(|t| t.abs()).collect())).max(1.0);
    let alone = |i: &usize| data.counts[data.points[*i].group] == 1;
    let far = |i: &usize| left_out[data.points[*i].group].abs() > SINGLE_SD * typical;
    (0..data.points.len()).filter(alone).filter(far).collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n == 0 { 0.0 } else { 0.5 * (values[(n - 1) / 2] + values[n / 2]) }
}
