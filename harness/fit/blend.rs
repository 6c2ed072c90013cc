//! The pump's surface from data: candidate laws, a smooth remainder, and all of them weighed by their evidence.
//!
//! Candidates are the pump without a bypass and with one that opens at any of many pressures, softly or sharply. Beside
//! each stands a smooth remainder along effective voltage, a Gaussian process of unknown amplitude and length, and
//! forms of loss that one nozzle cannot tell from slip. Candidates, amplitude, length and the shape of the noise are
//! weighed by marginal likelihood, and the blend is collapsed to one mean and one covariance of coefficients: exact in
//! its first two moments, because flow at fixed pressure is linear in them. So intervals widen between points and
//! where candidates disagree. In: [`PumpData`]. Out: [`Blend`]. Never: systematic errors.

use super::bayes::{Noise, Posterior, Prior, Rows, Sums};
use super::pump_data::PumpData;
use super::surface::Surface;
use super::terms::{At, Term, ripple_frequency};
use crate::numerics::distribution::normal_cdf;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;

/// Ripple terms: enough for the shortest length.
const RIPPLES: u32 = 22;
/// Amplitudes of the remainder that are weighed, fraction of full flow.
const AMPLITUDES: [f64; 7] = [0.0002, 0.0005, 0.001, 0.002, 0.004, 0.008, 0.016];
/// Amplitude from which on a remainder is thought less and less likely, fraction of full flow.
const AMPLITUDE_SCALE: f64 = 0.003;
/// Kinds of remainder that are weighed: smooth, and with corners; lengths in units of the measured range of effective
/// voltage.
const KINDS: [Kind; 5] = [
    Kind::Smooth(0.2),
    Kind::Smooth(0.5),
    Kind::Cornered(0.15),
    Kind::Cornered(0.4),
    Kind::Cornered(1.0),
];
/// Widths of a bypass's opening that are weighed, fraction of its opening pressure.
const WIDTHS: [f64; 3] = [0.01, 0.06, 0.15];
/// Opening pressures first tried, between the lowest and the highest line pressure.
const OPENINGS: usize = 20;
/// Rounds of halving the distance between opening pressures where the evidence lies.
const REFINEMENTS: usize = 3;
/// Share of the evidence below which a candidate is dropped.
const NEGLIGIBLE: f64 = 1e-3;
/// Prior standard deviations of the forms of loss, fraction of full flow: a few per cent each (common practice, no
/// source; chosen before any data were fitted).
const LOSS_SD: [(Term, f64); 5] = [
    (Term::Bend, 0.04),
    (Term::Seep, 0.015),
    (Term::SlipBend, 0.03),
    (Term::SlipRise, 0.04),
    (Term::SlipLow, 0.05),
];
/// Prior of slip at the highest pressure, mean and standard deviation, fraction of full flow.
const SLIP: (f64, f64) = (0.25, 0.2);
/// Where slip stands among the terms.
const SLIP_AT: usize = 2;
/// Prior standard deviation of a bypass's slope, in full flows per highest pressure.
const RELIEF_SD: f64 = 3.0;
/// What is supposed of the pump where temperature or liquid change. Data at one temperature do not tell; data that span
/// several kelvin are left to tell by themselves, from these priors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warmth {
    /// Share of slip that is leakage through gaps, which follows viscosity; the rest is droop of the motor.
    pub leak_share: f64,
    /// Growth of slip by the motor's warmer winding per 10 K, fraction of slip.
    pub droop: f64,
    /// Loss of flow by friction in the warmer winding per 10 K, fraction of full flow.
    pub level: f64,
}

/// Supposed: slip from 0 to all of it leakage, uniformly.
pub const LEAK_SHARE: (f64, f64) = (0.5, 0.288_675_134_594_812_9);
/// Half of slip is droop, copper gains 4 % in 10 K (0.4 %/K, from memory), and the winding follows the water by some
/// half; mean and standard uncertainty.
pub const DROOP: (f64, f64) = (0.01, 0.01);
/// Friction takes a few tenths of a volt of the winding's drop, and grease loses some of its drag.
pub const LEVEL: (f64, f64) = (0.001, 0.002);

impl Warmth {
    /// The supposition.
    pub const SUPPOSED: Warmth = Warmth {
        leak_share: LEAK_SHARE.0,
        droop: DROOP.0,
        level: LEVEL.0,
    };
}

/// A candidate: no bypass, or one that opens at a pressure over a width, kPa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Opening {
    /// Opening pressure, gauge kPa of the line.
    pub opens_kpa: f64,
    /// Width, kPa.
    pub width_kpa: f64,
}

/// A kind of remainder, with its length in units of the measured range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Squared-exponential process.
    Smooth(f64),
    /// Matern process of order 3/2, once differentiable: it takes corners, such as where a current starts to stop
    /// between pulses.
    Cornered(f64),
}

impl Kind {
    /// Spectral density at ripple `k` of the process of unit variance (Rasmussen and Williams, Gaussian Processes for
    /// Machine Learning, 4.2, from memory).
    fn density(self, k: u32) -> f64 {
        let w = ripple_frequency(k);
        match self {
            Kind::Smooth(l) => (2.0 * PI).sqrt() * l * (-0.5 * (w * l).powi(2)).exp().max(1e-12),
            Kind::Cornered(l) => {
                let a = 3.0_f64.sqrt() / l;
                4.0 * a.powi(3) / (a * a + w * w).powi(2)
            }
        }
    }
}

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

/// Everything the candidates share.
struct Pass<'a> {
    data: &'a PumpData,
    flows: Vec<f64>,
    places: Vec<At>,
    noises: Vec<Noise>,
    warmth: Warmth,
    base: Vec<Term>,
    /// Values of the base terms, a row a datum.
    values: DMatrix<f64>,
}

/// A candidate with its rows, and its share of the prior.
struct Candidate {
    opening: Option<Opening>,
    terms: Vec<Term>,
    /// Slip by a straight fit, mL/min at the highest pressure: what the priors of its changes stand against.
    slip: f64,
    rows: Rows,
    prior_weight: f64,
    log_score: f64,
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

impl<'a> Pass<'a> {
    fn new(data: &'a PumpData, warmth: Warmth) -> Self {
        let mut base = vec![Term::Level, Term::Rise, Term::Slip];
        base.extend(LOSS_SD.iter().map(|(t, _)| *t));
        base.extend([Term::Thin, Term::Warm, Term::WarmLevel]);
        base.extend((1..=RIPPLES).map(Term::Ripple));
        let flows = data.flows();
        let places = data.places(&flows);
        let values = DMatrix::from_fn(places.len(), base.len(), |i, k| {
            base[k].value(&places[i], &data.scaling)
        });
        Pass {
            data,
            flows,
            places,
            noises: noises(data),
            warmth,
            base,
            values,
        }
    }

    /// Slip and slope of the bypass (mL/min per `P_s`) by a fit of level, rise, slip and bypass alone, repeated until
    /// the shares it is weighted by are its own.
    fn straight(&self, relief: Option<Term>) -> (f64, f64) {
        let full = self.data.scaling.flow_ml_min;
        let (mut slip, mut slope) = (SLIP.0 * full, 0.0);
        let columns = 3 + usize::from(relief.is_some());
        for _ in 0..3 {
            let shares = self.shares(relief, slip, slope);
            let x = DMatrix::from_fn(shares.len(), columns, |i, k| {
                let value = if k < 3 {
                    self.values[(i, k)]
                } else {
                    relief.map_or(0.0, |r| r.value(&self.places[i], &self.data.scaling))
                };
                shares[i] * value
            });
            let rows = Rows {
                x,
                y: self.data.responses(&self.flows, &shares),
            };
            let noise = &self.noises[1];
            let mut prior = Prior {
                mean: vec![0.0, 0.0, SLIP.0 * full, 0.0],
                sd: vec![f64::INFINITY, f64::INFINITY, SLIP.1 * full, RELIEF_SD * full],
            };
            prior.mean.truncate(columns);
            prior.sd.truncate(columns);
            let sums = Sums::new(&rows, &noise.shape);
            let Some(p) = Posterior::new(&rows, &sums, noise, &prior) else {
                break;
            };
            slip = p.mean[SLIP_AT].clamp(0.05 * full, full);
            slope = if columns == 4 { p.mean[3].max(0.0) } else { 0.0 };
        }
        (slip, slope)
    }

    fn shares(&self, relief: Option<Term>, slip: f64, slope: f64) -> Vec<f64> {
        let scaling = &self.data.scaling;
        self.data.shares(&self.flows, |i| {
            slip / scaling.pressure_kpa - relief.map_or(0.0, |r| slope * r.per_kpa(&self.places[i], scaling))
        })
    }

    fn candidate(&self, opening: Option<Opening>, prior_weight: f64) -> Candidate {
        let relief = opening.map(|o| Term::Relief {
            opens_kpa: o.opens_kpa,
            width_kpa: o.width_kpa,
        });
        let (slip, slope) = self.straight(relief);
        let shares = self.shares(relief, slip, slope);
        let mut terms = self.base.clone();
        terms.extend(relief);
        let columns = self.base.len();
        let x = DMatrix::from_fn(shares.len(), terms.len(), |i, k| {
            let value = if k < columns {
                self.values[(i, k)]
            } else {
                terms[k].value(&self.places[i], &self.data.scaling)
            };
            shares[i] * value
        });
        let rows = Rows {
            x,
            y: self.data.responses(&self.flows, &shares),
        };
        Candidate {
            opening,
            slip,
            terms,
            rows,
            prior_weight,
            log_score: f64::NEG_INFINITY,
        }
    }

    fn prior(&self, candidate: &Candidate, amplitude: f64, kind: Kind) -> Prior {
        let slip = candidate.slip;
        let full = self.data.scaling.flow_ml_min;
        let tell = if self.data.tells_warmth() { 1.0 } else { 1e-6 };
        let (mean, sd) = candidate
            .terms
            .iter()
            .map(|term| match term {
                Term::Level | Term::Rise => (0.0, f64::INFINITY),
                Term::Slip => (SLIP.0 * full, SLIP.1 * full),
                Term::Thin => (self.warmth.leak_share * slip, tell * LEAK_SHARE.1 * slip),
                Term::Warm => (self.warmth.droop * slip, tell * DROOP.1 * slip),
                Term::WarmLevel => (self.warmth.level * full, tell * LEVEL.1 * full),
                Term::Relief { .. } => (0.0, RELIEF_SD * full),
                Term::Ripple(k) => (0.0, full * amplitude * kind.density(*k).sqrt()),
                other => (
                    0.0,
                    full * LOSS_SD
                        .iter()
                        .find(|(t, _)| t == other)
                        .map_or(0.0, |(_, sd)| *sd),
                ),
            })
            .unzip();
        Prior { mean, sd }
    }

    /// Evidence of a candidate at a middling remainder, over the shapes of the noise: enough to see which matter.
    fn score(&self, candidate: &mut Candidate) {
        let mut logs = Vec::new();
        for noise in &self.noises {
            let sums = Sums::new(&candidate.rows, &noise.shape);
            for (amplitude, kind) in [(0.0005, Kind::Smooth(0.5)), (0.003, Kind::Cornered(0.4))] {
                let prior = self.prior(candidate, amplitude, kind);
                if let Some(p) = Posterior::new(&candidate.rows, &sums, noise, &prior) {
                    logs.push(p.log_evidence + log_positive(&p, candidate));
                }
            }
        }
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = logs.iter().map(|l| (l - top).exp()).sum();
        candidate.log_score = top + sum.ln();
    }

    /// Candidates with a share that matters: a first grid of opening pressures, refined where the evidence lies.
    fn candidates(&self) -> Vec<Candidate> {
        let mut all = vec![self.scored(None, 0.5)];
        let lines = self.places.iter().map(|p| p.line_kpa);
        let low = lines.clone().fold(f64::INFINITY, f64::min).max(0.0);
        let high = lines.fold(0.0, f64::max);
        for width in WIDTHS {
            let mut grid: Vec<Candidate> = (0..OPENINGS)
                .map(|i| low + (high - low) * (i as f64 + 0.5) / OPENINGS as f64)
                .map(|opens_kpa| {
                    self.scored(
                        Some(Opening {
                            opens_kpa,
                            width_kpa: width * opens_kpa,
                        }),
                        0.0,
                    )
                })
                .collect();
            for _ in 0..REFINEMENTS {
                share_prior(&mut grid, high - low, 0.5 / WIDTHS.len() as f64);
                self.refine(&mut grid, width);
            }
            share_prior(&mut grid, high - low, 0.5 / WIDTHS.len() as f64);
            all.append(&mut grid);
        }
        keep_heavy(all)
    }

    fn scored(&self, opening: Option<Opening>, prior_weight: f64) -> Candidate {
        let mut candidate = self.candidate(opening, prior_weight);
        self.score(&mut candidate);
        candidate
    }

    /// Puts an opening pressure half-way to both neighbours of each that holds a good share of the grid's evidence.
    fn refine(&self, grid: &mut Vec<Candidate>, width: f64) {
        let shares = shares(grid);
        let openings: Vec<f64> = grid
            .iter()
            .filter_map(|c| c.opening.map(|o| o.opens_kpa))
            .collect();
        let mut added = Vec::new();
        for i in 1..openings.len() {
            if shares[i] > 0.08 || shares[i - 1] > 0.08 {
                added.push(0.5 * (openings[i] + openings[i - 1]));
            }
        }
        grid.extend(added.into_iter().map(|opens_kpa| {
            self.scored(
                Some(Opening {
                    opens_kpa,
                    width_kpa: width * opens_kpa,
                }),
                0.0,
            )
        }));
        grid.sort_by(|a, b| {
            let at = |c: &Candidate| c.opening.map_or(0.0, |o| o.opens_kpa);
            at(a).total_cmp(&at(b))
        });
    }

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

    /// A noise shape at the highest flow.
    fn at_full(&self, shape: &[f64]) -> f64 {
        (0..shape.len())
            .max_by(|a, b| self.flows[*a].total_cmp(&self.flows[*b]))
            .map_or(0.0, |top| shape[top])
    }
}

/// Shapes of the noise that are weighed: as reported with each collection, the same at all flows, and mostly
/// proportional to flow. Each expected at the scatter of replicates, or as reported where there are too few.
fn noises(data: &PumpData) -> Vec<Noise> {
    let full = data.scaling.flow_ml_min;
    let least = (1e-4 * full).powi(2);
    let reported: Vec<f64> = data
        .data
        .iter()
        .map(|d| (d.u_flow * d.u_flow).max(least))
        .collect();
    let shapes = [
        reported.clone(),
        vec![1.0; reported.len()],
        data.data
            .iter()
            .map(|d| (0.1 + 0.9 * d.flow / full).powi(2))
            .collect(),
    ];
    let residuals: Vec<f64> = replicate_residuals(data);
    shapes
        .into_iter()
        .map(|shape| {
            let (scatter, dof) = data.pure_error(&residuals, &shape);
            let claimed = reported.iter().zip(&shape).map(|(u, v)| u / v).sum::<f64>() / shape.len() as f64;
            let smallest = least / (shape.iter().sum::<f64>() / shape.len() as f64);
            let (expected, prior_dof, floor) = if dof >= 3.0 {
                (scatter.max(smallest), 0.5, smallest)
            } else {
                (claimed.max(smallest), 2.0, claimed.max(smallest))
            };
            Noise {
                shape,
                expected,
                prior_dof,
                floor,
            }
        })
        .collect()
}

/// Flow less what small differences of effective voltage within a group explain by the mean slope.
fn replicate_residuals(data: &PumpData) -> Vec<f64> {
    let x = data.group_means(|d| d.effective_v);
    let slope = data.slope();
    data.data
        .iter()
        .zip(&x)
        .map(|(d, x)| d.flow - slope * (d.effective_v - x))
        .collect()
}

/// Prior of an amplitude on the logarithmic grid.
fn amplitude_prior(amplitude: f64) -> f64 {
    let a = amplitude / AMPLITUDE_SCALE;
    a / (1.0 + a * a).powf(1.5)
}

/// Slip and a bypass only take flow away: the other halves of their priors are cut off.
fn log_positive(posterior: &Posterior, candidate: &Candidate) -> f64 {
    let positive = |mean: f64, sd: f64| normal_cdf(mean / sd).max(1e-300).ln();
    let slip = positive(posterior.mean[SLIP_AT], posterior.sd_of(SLIP_AT));
    if candidate.opening.is_none() {
        return slip;
    }
    let last = posterior.mean.len() - 1;
    slip + 2.0_f64.ln() + positive(posterior.mean[last], posterior.sd_of(last))
}

/// Mean and covariance of a posterior with the negative halves of slip and bypass cut off: moments of a normal
/// distribution cut at 0 along one coordinate (Johnson, Kotz and Balakrishnan, chapter 13, from memory), for one after
/// the other.
fn cut_negative(posterior: &Posterior, bypass: bool) -> (DVector<f64>, DMatrix<f64>) {
    let (mut mean, mut covariance) = (posterior.mean.clone(), posterior.covariance());
    let last = bypass.then_some(mean.len() - 1);
    for k in std::iter::once(SLIP_AT).chain(last) {
        let sd = covariance[(k, k)].sqrt();
        let a = mean[k] / sd;
        if a > 5.0 {
            continue;
        }
        let inside = normal_cdf(a).max(1e-12);
        let pull = (-0.5 * a * a).exp() / (2.0 * PI).sqrt() / inside;
        let along: DVector<f64> = covariance.column(k) / sd;
        mean += &along * pull;
        covariance -= &along * along.transpose() * (pull * (pull + a));
    }
    (mean, covariance)
}

/// Prior weights of a grid of opening pressures: to each the room half-way to its neighbours.
fn share_prior(grid: &mut [Candidate], span: f64, total: f64) {
    let at: Vec<f64> = grid
        .iter()
        .filter_map(|c| c.opening.map(|o| o.opens_kpa))
        .collect();
    for (i, candidate) in grid.iter_mut().enumerate() {
        let low = if i == 0 { at[0] } else { at[i - 1] };
        let high = if i + 1 == at.len() { at[i] } else { at[i + 1] };
        candidate.prior_weight = total * (0.5 * (high - low)).max(1e-9) / span.max(1e-9);
    }
}

fn shares(candidates: &[Candidate]) -> Vec<f64> {
    let logs: Vec<f64> = candidates
        .iter()
        .map(|c| c.log_score + c.prior_weight.max(1e-300).ln())
        .collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    logs.iter().map(|l| (l - top).exp() / sum).collect()
}

fn keep_heavy(candidates: Vec<Candidate>) -> Vec<Candidate> {
    let shares = shares(&candidates);
    candidates
        .into_iter()
        .zip(shares)
        .filter(|(_, s)| *s > 0.01)
        .map(|(c, _)| c)
        .collect()
}
