//! Linear regression with Gaussian priors and an unknown noise scale.
//!
//! In: rows, their relative noise, priors for the coefficients (infinite standard deviation = flat). Out: posterior
//! mean and covariance, the noise scale with its degrees of freedom, and the marginal likelihood by which models and
//! hyper-parameters are weighed. The noise scale is integrated out under a scaled inverse chi-squared prior (conjugate
//! normal-gamma regression: Gelman et al., Bayesian Data Analysis, chapter 14, from memory). Never: physics.

use crate::numerics::linear::solve;
use nalgebra::{DMatrix, DVector};

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

/// A fitted regression.
#[derive(Clone, Debug)]
pub struct Posterior {
    /// Coefficients.
    pub mean: DVector<f64>,
    /// Noise scale `sigma^2`.
    pub scale: f64,
    /// Logarithm of the marginal likelihood, up to a constant common to models with the same flat coefficients.
    pub log_evidence: f64,
    /// Root of the coefficients' covariance against the noise scale.
    root: DMatrix<f64>,
    /// Coefficients that rows and priors determine, less what the priors do.
    used: f64,
}

impl Posterior {
    /// Fits; none where the rows leave a flat coefficient open. A prior is one more row: `c_k` was seen to be its mean,
    /// with its variance.
    #[must_use]
    pub fn new(rows: &Rows, noise: &Noise, prior: &Prior) -> Option<Self> {
        let (n, p) = rows.x.shape();
        let stated: Vec<usize> = (0..p).filter(|k| prior.sd[*k].is_finite()).collect();
        let pull = |k: usize| noise.expected.sqrt() / prior.sd[k];
        let weight: Vec<f64> = noise.shape.iter().map(|v| 1.0 / v.sqrt()).collect();
        let design = DMatrix::from_fn(n + stated.len(), p, |i, k| match i.checked_sub(n) {
            None => rows.x[(i, k)] * weight[i],
            Some(at) if stated[at] == k => pull(k),
            Some(_) => 0.0,
        });
        let data = rows.y.iter().zip(&weight).map(|(y, w)| y * w);
        let target: Vec<f64> = data.chain(stated.iter().map(|k| pull(*k) * prior.mean[*k])).collect();
        let solved = solve(&design, &target).ok().filter(|s| s.params.iter().all(|m| m.is_finite()))?;
        let nu = noise.prior_dof + (n + stated.len()) as f64 - p as f64;
        let misfit: f64 = solved.residuals.iter().map(|r| r * r).sum();
        let total = noise.prior_dof * noise.floor + misfit;
        let log_prior: f64 = stated.iter().map(|k| 2.0 * pull(*k).ln()).sum();
        let log_weights: f64 = -noise.shape.iter().map(|v| v.ln()).sum::<f64>();
        let kept: f64 = stated.iter().map(|k| pull(*k).powi(2) * solved.root.row(*k).norm_squared()).sum();
        Some(Posterior {
            mean: solved.params,
            scale: total / nu,
            log_evidence: noise.log_within
                + 0.5 * (log_weights + log_prior - solved.log_det - nu * total.ln()),
            root: solved.root,
            used: p as f64 - kept,
        })
    }

    /// Covariance of the coefficients.
    #[must_use]
    pub fn covariance(&self) -> DMatrix<f64> {
        &self.root * self.root.transpose() * self.scale
    }

    /// Degrees of freedom after the coefficients in effect used are taken off: rows less the trace of the hat matrix.
    #[must_use]
    pub fn effective_dof(&self, rows: usize, prior_dof: f64) -> f64 {
        (rows as f64 + prior_dof - self.used).max(1.0)
    }
}
