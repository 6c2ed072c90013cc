//! Linear regression with Gaussian priors and an unknown noise scale.
//!
//! In: rows, their relative noise, priors for the coefficients (infinite standard deviation = flat). Out: posterior
//! mean and covariance, the noise scale with its degrees of freedom, and the marginal likelihood by which models and
//! hyper-parameters are weighed. The noise scale is integrated out under a scaled inverse chi-squared prior (conjugate
//! normal-gamma regression: Gelman et al., Bayesian Data Analysis, chapter 14, from memory). Never: physics.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Rows of a regression.
#[derive(Clone, Debug)]
pub struct Rows {
    /// Columns are terms.
    pub x: DMatrix<f64>,
    /// Responses.
    pub y: DVector<f64>,
}

/// Noise: variance of row `i` is `sigma^2 shape[i]`, with `sigma^2` expected about `expected`.
#[derive(Clone, Debug)]
pub struct Noise {
    /// Relative variances.
    pub shape: Vec<f64>,
    /// Expected scale: priors of the coefficients are stated against it.
    pub expected: f64,
    /// Degrees of freedom of a prior at [`Noise::floor`].
    pub prior_dof: f64,
    /// Scale of that prior.
    pub floor: f64,
    /// Weighted squares that rows were already reduced by, where they are means.
    pub within: f64,
    /// Logarithm of the likelihood's part that rows were already reduced by, where they are means: 0 where they are
    /// not.
    pub log_within: f64,
}

/// Prior of the coefficients: independent, Gaussian; infinite `sd` is flat.
#[derive(Clone, Debug)]
pub struct Prior {
    /// Means.
    pub mean: Vec<f64>,
    /// Standard deviations.
    pub sd: Vec<f64>,
}

/// What rows say under one noise shape, before any prior: computed once for many priors.
#[derive(Clone, Debug)]
pub struct Sums {
    xwx: DMatrix<f64>,
    xwy: DVector<f64>,
    log_weights: f64,
}

/// A fitted regression.
#[derive(Clone, Debug)]
pub struct Posterior {
    /// Coefficients.
    pub mean: DVector<f64>,
    /// Noise scale `sigma^2`.
    pub scale: f64,
    /// Its degrees of freedom: rows less the number of coefficients in effect used.
    pub dof: f64,
    /// Logarithm of the marginal likelihood, up to a constant common to models with the same flat coefficients.
    pub log_evidence: f64,
    factor: Cholesky<f64, Dyn>,
}

impl Sums {
    /// Sums of rows under a noise shape.
    #[must_use]
    pub fn new(rows: &Rows, shape: &[f64]) -> Self {
        let mut weighted = rows.x.clone();
        for (mut row, v) in weighted.row_iter_mut().zip(shape) {
            row /= *v;
        }
        Sums {
            xwx: weighted.tr_mul(&rows.x),
            xwy: weighted.tr_mul(&rows.y),
            log_weights: -shape.iter().map(|v| v.ln()).sum::<f64>(),
        }
    }
}

impl Posterior {
    /// Fits; none where the rows leave a flat coefficient open.
    #[must_use]
    pub fn new(rows: &Rows, sums: &Sums, noise: &Noise, prior: &Prior) -> Option<Self> {
        let mut precision = sums.xwx.clone();
        let mut right = sums.xwy.clone();
        let mut log_prior = 0.0;
        let mut flat = 0;
        for (k, (mean, sd)) in prior.mean.iter().zip(&prior.sd).enumerate() {
            if sd.is_infinite() {
                flat += 1;
                continue;
            }
            let lambda = noise.expected / (sd * sd);
            precision[(k, k)] += lambda;
            right[k] += lambda * mean;
            log_prior += lambda.ln();
        }
        let factor = Cholesky::new(precision)?;
        let mean = factor.solve(&right);
        if !mean.iter().all(|m| m.is_finite()) {
            return None;
        }
        let misfit = misfit(rows, noise, prior, &mean);
        let n = rows.y.len() as f64;
        let nu = noise.prior_dof + n - f64::from(flat);
        let total = noise.prior_dof * noise.floor + misfit;
        let log_det = 2.0 * factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        Some(Posterior {
            mean,
            scale: total / nu,
            dof: nu,
            log_evidence: noise.log_within + 0.5 * (sums.log_weights + log_prior - log_det - nu * total.ln()),
            factor,
        })
    }

    /// Standard deviation of a coefficient.
    #[must_use]
    pub fn sd_of(&self, k: usize) -> f64 {
        let mut unit = DVector::zeros(self.mean.len());
        unit[k] = 1.0;
        self.factor.l_dirty().solve_lower_triangular_mut(&mut unit);
        self.scale.sqrt() * unit.norm()
    }

    /// Covariance of the coefficients.
    #[must_use]
    pub fn covariance(&self) -> DMatrix<f64> {
        self.factor.inverse() * self.scale
    }

    /// Degrees of freedom after the coefficients in effect used are taken off: rows less the trace of the hat matrix.
    #[must_use]
    pub fn effective_dof(&self, sums: &Sums, rows: usize, prior_dof: f64) -> f64 {
        let used = self.factor.solve(&sums.xwx).trace();
        (rows as f64 + prior_dof - used).max(1.0)
    }
}

/// Weighted squares of residuals and of the coefficients' distances from their priors.
fn misfit(rows: &Rows, noise: &Noise, prior: &Prior, mean: &DVector<f64>) -> f64 {
    let fitted = &rows.x * mean;
    let data: f64 =
        fitted.iter().zip(rows.y.iter()).zip(&noise.shape).map(|((f, y), v)| (y - f).powi(2) / v).sum();
    let pull: f64 = prior
        .mean
        .iter()
        .zip(&prior.sd)
        .zip(mean.iter())
        .map(|((m, sd), c)| noise.expected * ((c - m) / sd).powi(2))
        .sum();
    data + pull
}
