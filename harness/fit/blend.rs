//! The pump's surface from data: candidate laws, a smooth remainder, and all of them weighed by their evidence.
//!
//! Candidates are the pump without a bypass and with one that opens at any of many pressures, softly or sharply. Beside
//! each stands a smooth remainder along effective voltage, a Gaussian process of unknown amplitude and length, and
//! forms of loss that one nozzle cannot tell from slip. Candidates, amplitude, length and the shape of the noise are
//! weighed by marginal likelihood, and the blend is collapsed to one mean and one covariance of coefficients: exact in
//! its first two moments, because flow at fixed pressure is linear in them. So intervals widen between points and
//! where candidates disagree. In: [`PumpData`]. Out: [`Blend`]. Never: systematic errors.

use super::bayes::{Posterior, Sums};
use super::candidate::{Candidate, Opening, Pass, cut_negative, log_positive};
use super::prior::{AMPLITUDES, KINDS, Kind, Warmth, amplitude_prior};
use super::pump_data::PumpData;
use super::surface::Surface;
use super::terms::Term;
use nalgebra::{DMatrix, DVector};

/// Share of the evidence below which a candidate is dropped.
const NEGLIGIBLE: f64 = 1e-3;

/// A member of the blend.
#[derive(Clone, Debug, PartialEq)]
pub struct Member {
    /// Its bypass.
    pub opening: Option<Opening>,
    /// Amplitude of the remainder, fraction of full flow.
    pub amplitude: f64,
    /// Kind of the remainder.
    pub kind: Kind,
    /// Which shape of the noise.
    pub shape: usize,
    /// Share in the blend, all sum to 1.
    pub weight: f64,
}

/// The blend.
#[derive(Clone, Debug)]
pub struct Blend {
    /// The surface at the mean coefficients.
    pub surface: Surface,
    /// Covariance of the coefficients from scatter and from what is not known of the law.
    pub covariance: DMatrix<f64>,
    /// Degrees of freedom of the scatter.
    pub dof: f64,
    /// Standard deviation of one collection at full flow, mL/min.
    pub scatter_ml_min: f64,
    /// Members, heaviest first.
    pub members: Vec<Member>,
}

impl Blend {
    /// Fits; none where the data leave level and rise of the pump open.
    #[must_use]
    pub fn new(data: &PumpData) -> Option<Blend> {
        Pass::new(data, Warmth::SUPPOSED).blend()
    }

    /// Coefficient of slip, mL/min at the highest pressure.
    #[must_use]
    pub fn slip(&self) -> f64 {
        let at = self.surface.terms.iter().position(|t| *t == Term::Slip);
        at.map_or(0.0, |i| self.surface.coefficients[i])
    }

    /// Share of the evidence for a bypass, 0 to 1.
    #[must_use]
    pub fn bypass_share(&self) -> f64 {
        self.members
            .iter()
            .filter(|m| m.opening.is_some())
            .map(|m| m.weight)
            .sum()
    }

    /// Mean coefficients for changed data, with members and weights as they are: how an error common to all data
    /// passes into the coefficients. Only the heaviest members take part.
    #[must_use]
    pub fn refit(&self, data: &PumpData, warmth: Warmth) -> Option<Vec<f64>> {
        let pass = Pass::new(data, warmth);
        let mut mean = vec![0.0; self.surface.terms.len()];
        let mut total = 0.0;
        for member in self.members.iter().take(4) {
            let candidate = pass.candidate(member.opening, 1.0);
            let noise = &pass.noises[member.shape];
            let sums = Sums::new(&candidate.rows, &noise.shape);
            let prior = pass.prior(&candidate, member.amplitude, member.kind);
            let posterior = Posterior::new(&candidate.rows, &sums, noise, &prior)?;
            for (term, c) in candidate.terms.iter().zip(posterior.mean.iter()) {
                if let Some(i) = self.surface.terms.iter().position(|t| t == term) {
                    mean[i] += member.weight * c;
                }
            }
            total += member.weight;
        }
        mean.iter_mut().for_each(|m| *m /= total);
        Some(mean)
    }
}

impl Pass<'_> {
    fn blend(&self) -> Option<Blend> {
        let candidates = self.candidates();
        let mut found: Vec<(usize, Member, Posterior, f64)> = Vec::new();
        for (index, candidate) in candidates.iter().enumerate() {
            for (shape, noise) in self.noises.iter().enumerate() {
                let sums = Sums::new(&candidate.rows, &noise.shape);
                for amplitude in AMPLITUDES {
                    for kind in KINDS {
                        let prior = self.prior(candidate, amplitude, kind);
                        let Some(p) = Posterior::new(&candidate.rows, &sums, noise, &prior) else {
                            continue;
                        };
                        let log = p.log_evidence
                            + log_positive(&p, candidate)
                            + candidate.prior_weight.ln()
                            + amplitude_prior(amplitude).ln();
                        let member = Member {
                            opening: candidate.opening,
                            amplitude,
                            kind,
                            shape,
                            weight: log,
                        };
                        let dof = p.effective_dof(&sums, candidate.rows.y.len(), noise.prior_dof);
                        found.push((index, member, p, dof));
                    }
                }
            }
        }
        let top = found.iter().map(|f| f.1.weight).fold(f64::NEG_INFINITY, f64::max);
        found
            .iter_mut()
            .for_each(|f| f.1.weight = (f.1.weight - top).exp());
        found.retain(|f| f.1.weight > NEGLIGIBLE);
        let total: f64 = found.iter().map(|f| f.1.weight).sum();
        found.iter_mut().for_each(|f| f.1.weight /= total);
        found.sort_by(|a, b| b.1.weight.total_cmp(&a.1.weight));
        (!found.is_empty()).then(|| self.collapse(&candidates, found))
    }

    /// First two moments of the blend in the coefficients of every term that some member has.
    fn collapse(&self, candidates: &[Candidate], found: Vec<(usize, Member, Posterior, f64)>) -> Blend {
        let mut terms = self.base.clone();
        for (index, ..) in &found {
            if let Some(term) = candidates[*index]
                .terms
                .get(self.base.len())
                .filter(|t| !terms.contains(t))
            {
                terms.push(*term);
            }
        }
        let p = terms.len();
        let (mut mean, mut second) = (DVector::zeros(p), DMatrix::zeros(p, p));
        let (mut one_over_dof, mut variance) = (0.0, 0.0);
        for (index, member, posterior, dof) in &found {
            let at: Vec<usize> = candidates[*index]
                .terms
                .iter()
                .map(|t| terms.iter().position(|u| u == t).unwrap_or(0))
                .collect();
            let (posterior_mean, covariance) = cut_negative(posterior, candidates[*index].opening.is_some());
            for (i, &gi) in at.iter().enumerate() {
                mean[gi] += member.weight * posterior_mean[i];
                for (j, &gj) in at.iter().enumerate() {
                    second[(gi, gj)] +=
                        member.weight * (covariance[(i, j)] + posterior_mean[i] * posterior_mean[j]);
                }
            }
            one_over_dof += member.weight / dof;
            let shape = &self.noises[member.shape].shape;
            variance += member.weight * posterior.scale * self.at_full(shape);
        }
        let covariance = second - &mean * mean.transpose();
        Blend {
            surface: Surface {
                scaling: self.data.scaling,
                terms,
                coefficients: mean.iter().copied().collect(),
            },
            covariance,
            dof: 1.0 / one_over_dof,
            scatter_ml_min: variance.sqrt(),
            members: found.into_iter().map(|f| f.1).collect(),
        }
    }
}
