//! Isotonic regression: the monotone sequence closest to the data (pool adjacent violators).
//!
//! In: observations in order, with weights. Out: fitted values that never fall, least squares among
//! all such. Never: a changed order.

use super::error::{NumericsError, all_finite, all_positive, at_least, same_length};

/// The closest sequence that never falls; `weights` are above zero (`1/u^2` of each value).
///
/// # Errors
/// `TooFewPoints` without values, `LengthMismatch`, `NotFinite`, `OutOfRange` for a weight that is not above zero.
pub fn increasing(y: &[f64], weights: &[f64]) -> Result<Vec<f64>, NumericsError> {
    same_length(y.len(), weights.len())?;
    at_least(y.len(), 1)?;
    all_finite(y, "a value")?;
    all_positive(weights, "a weight")?;
    // Blocks of equal fitted value: weighted mean, weight, members.
    let mut blocks: Vec<(f64, f64, usize)> = Vec::with_capacity(y.len());
    for (&value, &weight) in y.iter().zip(weights) {
        let mut block = (value, weight, 1);
        while let Some(&(mean, total, members)) = blocks.last() {
            if mean <= block.0 {
                break;
            }
            blocks.pop();
            let sum = total + block.1;
            block = ((mean * total + block.0 * block.1) / sum, sum, members + block.2);
        }
        blocks.push(block);
    }
    Ok(blocks.iter().flat_map(|&(mean, _, members)| std::iter::repeat_n(mean, members)).collect())
}
