//! Sums and products carried in about twice the working precision.
//!
//! In: slices of finite numbers. Out: sums and dot products as if computed with 32 digits and rounded once (Ogita,
//! Rump and Oishi 2005, SIAM J. Sci. Comput. 26, 1955: Sum2 and Dot2). Never: a reordering of the input.

/// Rounding-free sum of two numbers: the sum as rounded, and what rounding lost (Knuth's two-sum).
fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let virtual_b = sum - a;
    (sum, (a - (sum - virtual_b)) + (b - virtual_b))
}

/// Sum of the terms.
pub(crate) fn sum(terms: impl IntoIterator<Item = f64>) -> f64 {
    let (mut high, mut low) = (0.0, 0.0);
    for term in terms {
        let (next, lost) = two_sum(high, term);
        high = next;
        low += lost;
    }
    high + low
}

/// Sum of the products of pairs.
pub(crate) fn dot(pairs: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    let (mut high, mut low) = (0.0, 0.0);
    for (a, b) in pairs {
        let product = a * b;
        let product_lost = a.mul_add(b, -product);
        let (next, lost) = two_sum(high, product);
        high = next;
        low += lost + product_lost;
    }
    high + low
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cancelled_digits_survive() {
        // Exact by hand: 1e16 + 1 - 1e16 = 1; a plain sum gives 0.
        assert!((sum([1e16, 1.0, -1e16]) - 1.0).abs() < 1e-15);
        // (1 + e)(1 - e) - 1 = -e^2 with e = 2^-30.
        let e = f64::powi(2.0, -30);
        assert!((dot([(1.0 + e, 1.0 - e), (-1.0, 1.0)]) + e * e).abs() < 1e-30);
    }
}
