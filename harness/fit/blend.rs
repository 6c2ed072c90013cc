//! The pump's surface from data: candidate laws, a smooth remainder, and all of them weighed by their evidence.
//!
//! Candidates are the pump without a bypass and with one that opens at any of many pressures, softly or sharply. Beside
//! each stands a smooth remainder along effective voltage, a Gaussian process of unknown amplitude and length, and
//! forms of loss that one nozzle cannot tell from slip. Candidates, amplitude, length and the shape of the noise are
//! weighed by marginal likelihood, and the blend is collapsed to one mean and one covariance of coefficients: exact in
//! its first two moments, because flow at fixed pressure is linear in them. So intervals widen between points and
//! where candidates disagree. In: [`PumpData`]. Out: [`Blend`]. Never: systematic errors.

use super::candidate::{Candidate, Pass, cut_negative};
use super::extra::Extra;
use super::gauss::Solved;
use super::opening::{SCORED, likeliest};
use super::outliers::outliers;
use super::prior::{AMPLITUDES, KINDS, Kind, Warmth, amplitude_prior};
use super::pump_data::PumpData;
use super::surface::Surface;
use nalgebra::{DMatrix, DVector};

/// Weight against the heaviest below which a member is dropped.
const NEGLIGIBLE: f64 = 3e-3;
/// Members at most.
const MEMBERS_MAX: usize = 150;
/// Members that take part in carrying a common error into the fit.
const REFITTED: usize = 4;

/// A member of the blend.
#[derive(Clone, Debug, PartialEq)]
pub struct Member {
    /// Its bypass and its pulsing current.
    pub extra: Extra,
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

/// A member with what it was solved to.
struct Found {
    index: usize,
    member: Member,
    solved: Solved,
}

impl Blend {
    /// Fits, after a first look at the data has told which collections to mistrust and where to linearise those without
    /// replicates; with the places of the mistrusted. None where the data leave level and rise of the pump open.
    #[must_use]
    pub fn new(data: &mut PumpData) -> Option<(Blend, Vec<usize>)> {
        let (found, wrong) = {
            let pass = Pass::new(data, Warmth::SUPPOSED);
            let candidates = pass.candidates();
            let (surface, left_out) = pass.first_look(&candidates)?;
            let wrong = outliers(data, &left_out);
            if wrong.is_empty() && !data.has_singles() {
                return Some((pass.blend(&candidates)?, wrong));
            }
            (surface, wrong)
        };
        data.mistrust(&wrong);
        data.about(&found);
        let pass = Pass::new(data, Warmth::SUPPOSED);
        let candidates = pass.candidates();
        Some((pass.blend(&candidates)?, wrong))
    }

    /// Share of the evidence for a bypass, 0 to 1.
    #[must_use]
    pub fn bypass_share(&self) -> f64 {
        self.members.iter().filter(|m| m.extra.opening.is_some()).map(|m| m.weight).sum()
    }

    /// Share of the evidence for a current that stops between pulses, 0 to 1.
    #[must_use]
    pub fn pulsing_share(&self) -> f64 {
        self.members.iter().filter(|m| m.extra.pulsing.is_some()).map(|m| m.weight).sum()
    }

    /// Mean coefficients for changed data, with members and weights as they are: how an error common to all data
    /// passes into the coefficients. Only the heaviest members take part.
    #[must_use]
    pub fn refit(&self, data: &PumpData, warmth: Warmth) -> Option<Vec<f64>> {
        let pass = Pass::new(data, warmth);
        let mut mean = vec![0.0; self.surface.terms.len()];
        let mut total = 0.0;
        for member in self.members.iter().take(REFITTED) {
            let candidate = pass.candidate(member.extra, 1.0);
            let kind = KINDS.iter().position(|k| *k == member.kind)?;
            let solved = pass.solve(&candidate, member.shape, member.amplitude, kind)?;
            let (prior_mean, variance) = pass.relative(&candidate, member);
            let mut means = solved.means(&candidate.rows.x, &prior_mean, &variance);
            pass.to_terms(&candidate, &mut means, None);
            for (term, c) in candidate.terms.iter().zip(means) {
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
    /// A first look at the data: the surface of the likeliest candidate, and every mean's distance from what the others
    /// say of it, in standard deviations.
    fn first_look(&self, candidates: &[Candidate]) -> Option<(Surface, Vec<f64>)> {
        let candidate = likeliest(candidates)?;
        let (amplitude, kind) = SCORED[1];
        let shape = self.shapes(candidate).first().copied()?;
        let solved = self.solve(candidate, shape, amplitude, kind)?;
        let member = Member { extra: candidate.extra, amplitude, kind: KINDS[kind], shape, weight: 1.0 };
        let (prior_mean, variance) = self.relative(candidate, &member);
        let mut coefficients = solved.means(&candidate.rows.x, &prior_mean, &variance);
        self.to_terms(candidate, &mut coefficients, None);
        let surface = Surface { scaling: self.data.scaling, terms: candidate.terms.clone(), coefficients };
        Some((surface, solved.left_out()))
    }

    /// Prior means, and prior variances against the expected noise, of a member's coefficients.
    fn relative(&self, candidate: &Candidate, member: &Member) -> (Vec<f64>, Vec<f64>) {
        let prior = self.prior(candidate, member.amplitude, member.kind);
        let per = 1.0 / self.noises[member.shape].expected;
        let variance = prior.sd.iter().map(|sd| if sd.is_finite() { sd * sd * per } else { 0.0 }).collect();
        (prior.mean, variance)
    }

    fn blend(&self, candidates: &[Candidate]) -> Option<Blend> {
        let mut found: Vec<Found> = Vec::new();
        for (index, candidate) in candidates.iter().enumerate() {
            for shape in self.shapes(candidate) {
                for amplitude in AMPLITUDES {
                    for (at, kind) in KINDS.into_iter().enumerate() {
                        let Some(solved) = self.solve(candidate, shape, amplitude, at) else {
                            continue;
                        };
                        let weight = solved.log_evidence
                            + candidate.prior_weight.ln()
                            + amplitude_prior(amplitude).ln();
                        let member = Member { extra: candidate.extra, amplitude, kind, shape, weight };
                        found.push(Found { index, member, solved });
                    }
                }
            }
        }
        let top = found.iter().map(|f| f.member.weight).fold(f64::NEG_INFINITY, f64::max);
        found.iter_mut().for_each(|f| f.member.weight = (f.member.weight - top).exp());
        found.retain(|f| f.member.weight > NEGLIGIBLE);
        found.sort_by(|a, b| b.member.weight.total_cmp(&a.member.weight));
        found.truncate(MEMBERS_MAX);
        let total: f64 = found.iter().map(|f| f.member.weight).sum();
        found.iter_mut().for_each(|f| f.member.weight /= total);
        (!found.is_empty()).then(|| self.collapse(candidates, found))
    }

    /// First two moments of the blend in the coefficients of every term that some member has.
    fn collapse(&self, candidates: &[Candidate], found: Vec<Found>) -> Blend {
        let mut terms = self.base.clone();
        for f in &found {
            for term in &candidates[f.index].terms[self.base.len()..] {
                if !terms.contains(term) {
                    terms.push(*term);
                }
            }
        }
        let p = terms.len();
        let (mut mean, mut second) = (DVector::zeros(p), DMatrix::zeros(p, p));
        let (mut one_over_dof, mut variance) = (0.0, 0.0);
        for Found { index, member, solved } in &found {
            let candidate = &candidates[*index];
            let at: Vec<usize> =
                candidate.terms.iter().map(|t| terms.iter().position(|u| u == t).unwrap_or(0)).collect();
            let (prior_mean, prior_variance) = self.relative(candidate, member);
            let x = &candidate.rows.x;
            let mut own = DVector::from_vec(solved.means(x, &prior_mean, &prior_variance));
            let mut covariance = solved.covariance(x, &prior_variance);
            cut_negative(&mut own, &mut covariance, candidate.extra.opening.is_some());
            self.to_terms(candidate, own.as_mut_slice(), Some(&mut covariance));
            for (i, &gi) in at.iter().enumerate() {
                mean[gi] += member.weight * own[i];
                for (j, &gj) in at.iter().enumerate() {
                    second[(gi, gj)] += member.weight * (covariance[(i, j)] + own[i] * own[j]);
                }
            }
            let shape = &self.noises[member.shape].shape;
            one_over_dof += member.weight / solved.effective_dof(shape);
            variance += member.weight * solved.scale * self.at_full(shape);
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
            members: found.into_iter().map(|f| f.member).collect(),
        }
    }
}
