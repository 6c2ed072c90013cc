//! Expanded uncertainty where limits take part: a rectangle does not have the tails of a normal distribution.
//!
//! In: contributions, each with its degrees of freedom and whether it is known by limits. Out: U at 95 %. The widest
//! rectangle is kept as a rectangle and convolved with Student's t of all the rest (JCGM 101:2008 propagates
//! distributions; here the integral is done instead of drawn); lesser rectangles go with the rest, which is careful:
//! the sum of rectangles has shorter tails than that. A lone rectangle of half-width `a` gives 0.95 `a`, where 1.96
//! standard uncertainties would give 1.13 `a`. Never: an expanded uncertainty from two standard uncertainties alone.

use crate::numerics::distribution::t_cdf;
use crate::numerics::gum::{REPORTED_PROBABILITY, Term, combine, u95};
use crate::numerics::quadrature::{integrate, root};
use crate::script::rig::Bound;

/// Ratio of the rest to the rectangle below which only the rectangle counts.
const NEGLIGIBLE: f64 = 1e-4;

/// A contribution, in the unit of the result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Standard uncertainty times sensitivity.
    pub u: f64,
    /// Degrees of freedom; infinite for limits.
    pub dof: f64,
    /// Known by limits.
    pub rectangular: bool,
}

impl Part {
    /// From readings.
    #[must_use]
    pub const fn observed(u: f64, dof: f64) -> Self {
        Part { u, dof, rectangular: false }
    }

    /// Anywhere within plus or minus `half`.
    #[must_use]
    pub fn limits(half: f64) -> Self {
        Part { u: half.abs() / 3f64.sqrt(), dof: f64::INFINITY, rectangular: true }
    }

    /// As a rig states it, times a sensitivity; none where nothing is stated.
    #[must_use]
    pub fn stated(bound: Bound, sensitivity: f64) -> Option<Self> {
        match bound {
            Bound::None => None,
            Bound::Limits(half) => Some(Part::limits(half * sensitivity)),
            Bound::Standard(u, dof) => Some(Part::observed((u * sensitivity).abs(), dof)),
        }
    }
}

/// Combined and expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expanded {
    /// Combined standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom (Welch-Satterthwaite).
    pub dof: f64,
    /// Expanded uncertainty at 95 %.
    pub u95: f64,
}

impl Expanded {
    /// Degrees of freedom as they are written to files: none for infinite.
    #[must_use]
    pub fn dof_written(&self) -> Option<f64> {
        self.dof.is_finite().then_some(self.dof)
    }
}

/// Combines independent contributions and expands them to 95 %.
#[must_use]
pub fn expand(parts: &[Part]) -> Expanded {
    let terms = |skip: Option<usize>| -> Vec<Term> {
        let kept = parts.iter().enumerate().filter(|(i, _)| Some(*i) != skip);
        kept.map(|(_, p)| Term::new(p.u, p.dof)).collect()
    };
    let all = combine(&terms(None));
    let widest = (0..parts.len())
        .filter(|&i| parts[i].rectangular && parts[i].u > 0.0)
        .max_by(|&i, &j| parts[i].u.total_cmp(&parts[j].u));
    let expanded = match widest {
        None => u95(all.u, all.dof),
        Some(i) => {
            let rest = combine(&terms(Some(i)));
            rectangle_and_t(parts[i].u * 3f64.sqrt(), rest.u, rest.dof)
        }
    };
    Expanded { u: all.u, dof: all.dof, u95: expanded }
}

/// Half-width of the interval about zero that holds 95 % of a rectangle of half-width `a` plus `s` times Student's t.
fn rectangle_and_t(a: f64, s: f64, dof: f64) -> f64 {
    if s <= NEGLIGIBLE * a {
        return REPORTED_PROBABILITY * a;
    }
    // The integrand is even in x; panels no wider than two standard uncertainties.
    let panels = (0.5 * a / s).ceil().clamp(1.0, 64.0) as usize;
    let missing = |half: f64| {
        let inside = |x: f64| t_cdf((half - x) / s, dof) - t_cdf((-half - x) / s, dof);
        integrate(0.0, a, panels, inside) / a - REPORTED_PROBABILITY
    };
    let most = a + u95(s, dof);
    root(0.0, most, missing).unwrap_or(most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::{Seed, normal, uniform};

    #[test]
    fn a_lone_rectangle_and_a_lone_t() {
        let alone = expand(&[Part::limits(0.75)]);
        assert!((alone.u95 - 0.7125).abs() < 1e-12 && alone.dof.is_infinite());
        // t for 11 degrees of freedom at 95 %: 2.201 (any table of Student's t).
        let t = expand(&[Part::observed(1.0, 11.0)]);
        assert!((t.u95 - 2.201).abs() < 5e-4);
        assert!(expand(&[]).u95.abs() < 1e-300);
    }

    #[test]
    fn two_equal_rectangles_are_a_triangle() {
        // Exact: 2a (1 - sqrt(0.05)) = 1.5528 a; the careful rule must not fall below it, nor above by 3 %.
        let two = expand(&[Part::limits(1.0), Part::limits(1.0)]).u95;
        assert!((1.5528..1.60).contains(&two), "{two}");
    }

    #[test]
    fn additive_model_of_the_supplement() {
        // JCGM 101:2008, 9.2.3: four rectangles of unit standard uncertainty, interval of 95 % is +-3.88.
        let four = expand(&[Part::limits(3f64.sqrt()); 4]).u95;
        assert!((3.88..3.92).contains(&four), "{four}");
        // 9.2.4: three of unit standard uncertainty and one of ten, interval of 95 % is +-17.0.
        let parts = [10.0, 1.0, 1.0, 1.0].map(|u| Part::limits(u * 3f64.sqrt()));
        assert!((expand(&parts).u95 - 17.0).abs() < 0.05);
    }

    #[test]
    fn the_integral_is_what_draws_say() {
        let mut stream = Seed(5).stream("draws");
        for (a, s) in [(0.75, 0.087), (0.75, 0.4), (0.2, 1.0)] {
            let u = expand(&[Part::limits(a), Part::observed(s, f64::INFINITY)]).u95;
            let inside = (0..200_000)
                .filter(|_| (uniform(&mut stream, -a, a) + normal(&mut stream, 0.0, s)).abs() <= u)
                .count();
            // Standard deviation of the count at 0.95: 0.0005.
            assert!((inside as f64 / 200_000.0 - 0.95).abs() < 0.002, "{a} {s}: {inside}");
        }
    }
}
