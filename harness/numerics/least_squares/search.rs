//! The search for a minimum, as the `rmpfit` crate does it.
//!
//! In: a problem and its start. Out: where the search settled, and what it cost. Never: a claim that this is the minimum;
//! that is checked afterwards.

use super::place::derivatives;
use super::{NumericsError, Options, Residuals, Setup};
use rmpfit::{MPConfig, MPError, MPFitter, MPMaxFev, MPPar, MPResult, MPSide, MPSuccess};

/// Convergence is asked to the last digit; the algorithm stops by itself when it can do no more.
const TOLERANCE: f64 = 1e-15;

/// Parameters where the search settled, and evaluations spent.
pub(super) fn search<R: Residuals>(setup: &Setup<'_, R>) -> Result<(Vec<f64>, usize), NumericsError> {
    let mut params = setup.start.to_vec();
    if (0..params.len()).all(|i| setup.options.is_fixed(i)) {
        return Ok((params, 0));
    }
    let mut search = Search::new(setup);
    let status = search.mpfit(&mut params).map_err(|e| refused(&e))?;
    if matches!(status.success, MPSuccess::MaxIter | MPSuccess::NotDone) {
        return Err(NumericsError::NotConverged { evaluations: search.evaluations });
    }
    Ok((params, search.evaluations))
}

fn refused(error: &MPError) -> NumericsError {
    match error {
        MPError::Nan | MPError::Eval => {
            NumericsError::NotFinite { what: "a residual or derivative of the fit" }
        }
        MPError::DoF | MPError::Empty => NumericsError::TooFewPoints { found: 0, needed: 1 },
        MPError::Input | MPError::NoFree | MPError::InitBounds | MPError::Bounds => {
            NumericsError::NotFinite { what: "start or bound of the fit" }
        }
    }
}

/// The search as the crate wants it: derivatives always from here, evaluations counted here.
struct Search<'a, R> {
    setup: &'a Setup<'a, R>,
    config: MPConfig,
    pars: Vec<MPPar>,
    columns: Vec<Vec<f64>>,
    evaluations: usize,
}

impl<'a, R: Residuals> Search<'a, R> {
    fn new(setup: &'a Setup<'a, R>) -> Self {
        let Setup { problem, start, options } = *setup;
        let config = MPConfig {
            ftol: TOLERANCE,
            xtol: TOLERANCE,
            gtol: TOLERANCE,
            covtol: 0.0,
            step_factor: options.step_factor,
            max_iter: options.evaluations_max,
            max_fev: MPMaxFev::Limited(options.evaluations_max),
            ..MPConfig::default()
        };
        let pars = (0..start.len()).map(|i| par(options, i)).collect();
        let columns = vec![vec![0.0; problem.points()]; start.len()];
        Self { setup, config, pars, columns, evaluations: 0 }
    }
}

fn par(options: &Options, i: usize) -> MPPar {
    let (low, high) = options.bound(i);
    MPPar {
        fixed: options.is_fixed(i),
        limited_low: low.is_finite(),
        limit_low: low,
        limited_up: high.is_finite(),
        limit_up: high,
        side: MPSide::User,
        ..MPPar::default()
    }
}

impl<R: Residuals> MPFitter for Search<'_, R> {
    fn eval(&mut self, params: &[f64], deviates: &mut [f64]) -> MPResult<()> {
        self.evaluations += 1;
        self.setup.problem.residuals(params, deviates);
        Ok(())
    }

    fn number_of_points(&self) -> usize {
        self.setup.problem.points()
    }

    fn config(&self) -> &MPConfig {
        &self.config
    }

    fn parameters(&self) -> &[MPPar] {
        &self.pars
    }

    fn jacobian(
        &mut self,
        params: &[f64],
        deviates: &mut [f64],
        derivs: &mut [Option<Vec<f64>>],
    ) -> MPResult<()> {
        self.setup.problem.residuals(params, deviates);
        let exact = derivatives(self.setup, params, &mut self.columns);
        self.evaluations += if exact { 2 } else { 1 + 2 * params.len() };
        for (wanted, column) in derivs.iter_mut().zip(&self.columns) {
            if let Some(wanted) = wanted {
                wanted.copy_from_slice(column);
            }
        }
        Ok(())
    }
}
