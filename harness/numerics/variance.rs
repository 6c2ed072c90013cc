//! Comparing scatter: between groups and within them, lack of fit against replicates, outliers.
//!
//! In: readings in groups, or sums of squares. Out: F with its probability; the reading that stands out and whether it
//! stands out too far. Never: a reading dropped; that is the caller's to label.

use super::distribution::{f_survival, t_quantile};
use super::error::{NumericsError, all_finite, at_least};
use super::{gum, precise};

/// One-way analysis of variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anova {
    /// Sum of squares between the groups.
    pub ss_between: f64,
    /// Its degrees of freedom.
    pub dof_between: f64,
    /// Sum of squares within the groups.
    pub ss_within: f64,
    /// Its degrees of freedom.
    pub dof_within: f64,
}

impl Anova {
    /// Ratio of the mean squares; infinite where nothing varies within the groups.
    #[must_use]
    pub fn f(&self) -> f64 {
        (self.ss_between / self.dof_between) / (self.ss_within / self.dof_within)
    }

    /// Probability of an F at least as large if the groups had one mean.
    #[must_use]
    pub fn p(&self) -> f64 {
        f_survival(self.f(), self.dof_between, self.dof_within)
    }

    /// Share of the variation that lies between the groups.
    #[must_use]
    pub fn r_squared(&self) -> f64 {
        self.ss_between / (self.ss_between + self.ss_within)
    }

    /// Standard deviation within the groups.
    #[must_use]
    pub fn sd_within(&self) -> f64 {
        (self.ss_within / self.dof_within).sqrt()
    }
}

/// Analyses at least two groups, together with more readings than groups.
///
/// # Errors
/// `TooFewPoints`, also for an empty group; `NotFinite`.
pub fn one_way(groups: &[&[f64]]) -> Result<Anova, NumericsError> {
    at_least(groups.len(), 2)?;
    let n: usize = groups.iter().map(|g| g.len()).sum();
    at_least(n, groups.len() + 1)?;
    let all = || groups.iter().flat_map(|g| g.iter().copied());
    for group in groups {
        at_least(group.len(), 1)?;
        all_finite(group, "a reading")?;
    }
    // Deviations from a rough mean keep their digits on readings far from zero.
    let rough = precise::sum(all()) / n as f64;
    let mean_of = |g: &[f64]| precise::sum(g.iter().map(|v| v - rough)) / g.len() as f64;
    let grand = precise::sum(all().map(|v| v - rough)) / n as f64;
    let means: Vec<f64> = groups.iter().map(|g| mean_of(g)).collect();
    let between = groups.iter().zip(&means).map(|(g, m)| g.len() as f64 * (m - grand).powi(2));
    let within =
        groups.iter().zip(&means).flat_map(|(g, m)| g.iter().map(move |v| ((v - rough) - m).powi(2)));
    Ok(Anova {
        ss_between: precise::sum(between),
        dof_between: (groups.len() - 1) as f64,
        ss_within: precise::sum(within),
        dof_within: (n - groups.len()) as f64,
    })
}

/// Probability that the residuals of a model exceed the scatter of replicates this far by chance: F of the sum of
/// squares that the model leaves beyond the pure scatter. A small value is a lack of fit. None without replicates or
/// without freedom beyond them.
#[must_use]
pub fn lack_of_fit(ss_residual: f64, dof_residual: f64, ss_pure: f64, dof_pure: f64) -> Option<f64> {
    let (ss, dof) = ((ss_residual - ss_pure).max(0.0), dof_residual - dof_pure);
    (dof > 0.0 && dof_pure > 0.0).then(|| f_survival((ss / dof) / (ss_pure / dof_pure), dof, dof_pure))
}

/// The reading farthest from the mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// Its place.
    pub index: usize,
    /// Its distance from the mean in standard deviations (Grubbs' G).
    pub g: f64,
    /// Largest G to be expected.
    pub critical: f64,
}

impl Extreme {
    /// Whether it stands out too far.
    #[must_use]
    pub fn is_outlier(&self) -> bool {
        self.g > self.critical
    }
}

/// Grubbs' test of the most distant of at least three readings, both sides, false alarm `alpha`.
///
/// # Errors
/// `TooFewPoints`, `NotFinite`, `OutOfRange` where nothing varies.
pub fn grubbs(readings: &[f64], alpha: f64) -> Result<Extreme, NumericsError> {
    at_least(readings.len(), 3)?;
    let a = gum::type_a(readings)?;
    if a.sd <= 0.0 {
        return Err(NumericsError::OutOfRange {
            what: "scatter of the readings",
            found: a.sd,
            expected: "above zero",
        });
    }
    let distance = |v: f64| (v - a.mean).abs() / a.sd;
    let first = (0, distance(readings[0]));
    let (index, g) = readings
        .iter()
        .map(|v| distance(*v))
        .enumerate()
        .fold(first, |best, here| if here.1 > best.1 { here } else { best });
    Ok(Extreme { index, g, critical: grubbs_critical(readings.len(), alpha, true) })
}

/// Largest G of `n` readings with false alarm `alpha`, on both sides or one (Grubbs 1969, ASTM E178).
#[must_use]
pub fn grubbs_critical(n: usize, alpha: f64, both_sides: bool) -> f64 {
    let count = n as f64;
    let sides = if both_sides { 2.0 } else { 1.0 };
    let t2 = t_quantile(alpha / (sides * count), count - 2.0).powi(2);
    (count - 1.0) / count.sqrt() * (t2 / (count - 2.0 + t2)).sqrt()
}
