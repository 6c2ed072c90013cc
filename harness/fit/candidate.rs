//! Candidate laws of the pump and their rows.
//!
//! In: the pump's data. Out: for each bypass that may be there, the terms and rows of its regression. Never: a choice.

use super::anchor::{Anchor, anchors};
use super::bayes::{Noise, Posterior, Prior, Rows};
use super::extra::Extra;
use super::gauss::Solved;
use super::noise_shape::noises;
use super::prior::{
    KINDS, Kind, LOSS_SD, PRESSED, RELIEF_SD, RIPPLES, RIPPLES_PRESSED, SLIP, SLIP_AT, Warmth, prior,
};
use super::pump_data::PumpData;
use super::terms::{At, LawTerm};
use crate::numerics::distribution::normal_cdf;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;

/// Everything the candidates share.
pub(super) struct Pass<'a> {
    pub(super) data: &'a PumpData,
    flows: Vec<f64>,
    /// Where the means lie, then the anchors.
    pub(super) places: Vec<At>,
    anchors: [Anchor; 2],
    pub(super) noises: Vec<Noise>,
    /// The shape with which candidates are compared.
    pub(super) scored_shape: usize,
    warmth: Warmth,
    tells: bool,
    pub(super) base: Vec<LawTerm>,
    /// Values of the base terms, a row a mean.
    values: DMatrix<f64>,
    /// Prior covariance of the rows by ripples of amplitude 1, for each kind, before shares; packed lower rows.
    ripples: Vec<Vec<f64>>,
}

/// What a straight fit finds, mL/min: rise over the range, slip and bypass per highest pressure.
#[derive(Clone, Copy, Debug)]
struct Straight {
    rise: f64,
    slip: f64,
    slope: f64,
}

/// Part of the highest pressure up to which an early bypass counts as slip where temperature is concerned.
const EARLY: f64 = 0.3;
/// Most that slip takes as far as temperature is concerned, fraction of full flow.
const LOSS_MOST: f64 = 0.9;

impl Straight {
    /// Loss of flow in the lower part of the pressures, as slip, mL/min at the highest pressure: a bypass that opens
    /// early is taken for slip, which it most likely is.
    fn loss(&self, extra: &Extra, highest_kpa: f64, full: f64) -> f64 {
        let opens = extra.opening.map_or(f64::INFINITY, |o| o.opens_kpa / highest_kpa);
        (self.slip + self.slope * (EARLY - opens).max(0.0) / EARLY).min(LOSS_MOST * full)
    }
}

/// Where rise stands among the terms.
const RISE_AT: usize = 1;

/// A candidate with its rows, and its share of the prior.
pub(super) struct Candidate {
    pub(super) extra: Extra,
    pub(super) terms: Vec<LawTerm>,
    /// Slip by a straight fit, mL/min at the highest pressure: what the priors of its changes stand against.
    slip: f64,
    shares: Vec<f64>,
    pub(super) rows: Rows,
    /// Responses less what the prior means explain.
    left: Vec<f64>,
    /// Prior covariance of the rows by all terms but ripples; packed lower rows.
    losses: Vec<f64>,
    pub(super) prior_weight: f64,
    pub(super) log_score: f64,
}

impl<'a> Pass<'a> {
    pub(super) fn new(data: &'a PumpData, warmth: Warmth) -> Self {
        let mut base = vec![LawTerm::Level, LawTerm::Rise, LawTerm::Slip];
        base.extend(LOSS_SD.iter().map(|(t, _)| *t));
        base.extend([LawTerm::Thin, LawTerm::Warm, LawTerm::WarmLevel]);
        base.extend((1..=RIPPLES).map(LawTerm::Ripple));
        let pressed = RIPPLES_PRESSED[usize::from(data.several_outlets())];
        base.extend((1..=pressed).map(LawTerm::RipplePressed));
        let flows = data.about.clone();
        let (known_at, anchors) = anchors(data);
        let mut places = data.places(&flows);
        places.extend(known_at);
        let values =
            DMatrix::from_fn(places.len(), base.len(), |i, k| base[k].value(&places[i], &data.scaling));
        let ripples = KINDS.iter().map(|kind| ripples(&base, &values, *kind)).collect();
        let tells = data.tells_warmth();
        let noises = noises(data);
        let mut pass = Pass {
            data,
            flows,
            places,
            anchors,
            noises,
            scored_shape: 1,
            warmth,
            tells,
            base,
            values,
            ripples,
        };
        let plain = pass.candidate(Extra::default(), 1.0);
        pass.scored_shape = pass.shapes(&plain).first().copied().unwrap_or(1);
        pass
    }

    /// Values of a term at every place.
    fn column(&self, term: Option<LawTerm>) -> Option<Vec<f64>> {
        term.map(|t| self.places.iter().map(|p| t.value(p, &self.data.scaling)).collect())
    }

    /// A fit of level, rise, slip and bypass alone, repeated until the shares it is weighted by are its own.
    fn straight(&self, extra: &Extra) -> Straight {
        let full = self.data.scaling.flow_ml_min;
        let (relief, pulsed) = (self.column(extra.relief()), self.column(extra.pulsed()));
        let mut found = Straight { rise: full, slip: SLIP.0 * full, slope: 0.0 };
        let columns = 3 + usize::from(relief.is_some());
        for _ in 0..3 {
            let shares = self.shares(extra, &found);
            let x = DMatrix::from_fn(shares.len(), columns, |i, k| {
                let value = match k {
                    1 => self.values[(i, 1)] + pulsed.as_ref().map_or(0.0, |p| p[i]),
                    0 | 2 => self.values[(i, k)],
                    _ => relief.as_ref().map_or(0.0, |r| r[i]),
                };
                shares[i] * value
            });
            let rows = Rows { x, y: self.responses(&shares) };
            let noise = &self.with_anchors(&self.noises[1]);
            let mut prior = Prior {
                mean: vec![0.0, 0.0, SLIP.0 * full, 0.0],
                sd: vec![f64::INFINITY, f64::INFINITY, SLIP.1 * full, RELIEF_SD * full],
            };
            prior.mean.truncate(columns);
            prior.sd.truncate(columns);
            let Some(p) = Posterior::new(&rows, noise, &prior) else {
                break;
            };
            found = Straight {
                rise: p.mean[1].clamp(0.2 * full, 5.0 * full),
                slip: p.mean[SLIP_AT].clamp(0.05 * full, full),
                slope: if columns == 4 { p.mean[3].max(0.0) } else { 0.0 },
            };
        }
        found
    }

    fn shares(&self, extra: &Extra, found: &Straight) -> Vec<f64> {
        let scaling = &self.data.scaling;
        let (relief, pulsed) = (extra.relief(), extra.pulsed());
        let mut shares = self.data.shares(&self.flows, |i| {
            let gain =
                |term: Option<LawTerm>, c: f64| term.map_or(0.0, |t| c * t.per_kpa(&self.places[i], scaling));
            found.slip / scaling.pressure_kpa - gain(relief, found.slope) - gain(pulsed, found.rise)
        });
        shares.extend([1.0; 2]);
        shares
    }

    /// Responses of means and anchors.
    fn responses(&self, shares: &[f64]) -> DVector<f64> {
        let mut y = self.data.responses(&self.flows, shares);
        y.extend(self.anchors.map(|a| a.flow));
        DVector::from_vec(y)
    }

    /// A noise whose shape goes on with the anchors.
    fn with_anchors(&self, noise: &Noise) -> Noise {
        let mut noise = noise.clone();
        let per = 1.0 / noise.expected;
        noise.shape.extend(self.anchors.map(|a| a.sd * a.sd * per));
        noise
    }

    pub(super) fn candidate(&self, extra: Extra, prior_weight: f64) -> Candidate {
        let found = self.straight(&extra);
        let shares = self.shares(&extra, &found);
        let mut terms = self.base.clone();
        terms.extend(extra.pulsed());
        terms.extend(extra.pulsed_more());
        terms.extend(extra.pulsed_drop());
        terms.extend(extra.relief());
        let own: Vec<Vec<f64>> =
            terms[self.base.len()..].iter().filter_map(|t| self.column(Some(*t))).collect();
        let columns = self.base.len();
        let pulsed = extra.pulsing.is_some();
        let x = DMatrix::from_fn(shares.len(), terms.len(), |i, k| {
            let value = if k < columns { self.values[(i, k)] } else { own[k - columns][i] };
            // The voltage gained drives the motor as any other: it goes with the rise.
            shares[i] * (value + if k == RISE_AT && pulsed { own[0][i] } else { 0.0 })
        });
        let y = self.responses(&shares);
        let mut candidate = Candidate {
            extra,
            slip: found.loss(&extra, self.data.scaling.pressure_kpa, self.data.scaling.flow_ml_min),
            terms,
            left: Vec::new(),
            losses: Vec::new(),
            shares,
            rows: Rows { x, y },
            prior_weight,
            log_score: f64::NEG_INFINITY,
        };
        let prior = self.prior(&candidate, 0.0, KINDS[0]);
        candidate.losses = losses(&candidate, &prior);
        let explained = &candidate.rows.x * DVector::from_column_slice(&prior.mean);
        candidate.left = (&candidate.rows.y - explained).iter().copied().collect();
        candidate
    }

    /// Coefficients of a candidate's terms from those of its columns: the rise's column carries the pulsing current's.
    pub(super) fn to_terms(&self, c: &Candidate, means: &mut [f64], covariance: Option<&mut DMatrix<f64>>) {
        if c.extra.pulsing.is_none() {
            return;
        }
        let at = self.base.len();
        means[at] += means[RISE_AT];
        if let Some(m) = covariance {
            let row = m.row(RISE_AT).clone_owned();
            let mut to = m.row_mut(at);
            to += row;
            let column = m.column(RISE_AT).clone_owned();
            let mut to = m.column_mut(at);
            to += column;
        }
    }

    /// A noise shape at the highest flow, as the variance of one collection.
    pub(super) fn at_full(&self, shape: &[f64]) -> f64 {
        let top = (0..shape.len()).max_by(|a, b| self.flows[*a].total_cmp(&self.flows[*b]));
        top.map_or(0.0, |top| shape[top] * self.data.counts[top] as f64)
    }

    pub(super) fn prior(&self, candidate: &Candidate, amplitude: f64, kind: Kind) -> Prior {
        let full = self.data.scaling.flow_ml_min;
        prior(&candidate.terms, full, candidate.slip, &self.warmth, self.tells, (amplitude, kind))
    }

    /// A candidate solved with a noise shape and a remainder: amplitude as a fraction of full flow, kind by its place in
    /// [`KINDS`]. Its log evidence counts slip and bypass only where they take flow away.
    pub(super) fn solve(&self, c: &Candidate, shape: usize, amplitude: f64, kind: usize) -> Option<Solved> {
        let noise = &self.noises[shape];
        let size = (amplitude * self.data.scaling.flow_ml_min).powi(2);
        let per = 1.0 / noise.expected;
        let mut covariance = Vec::with_capacity(c.losses.len());
        let mut at = 0;
        for i in 0..c.shares.len() {
            for j in 0..=i {
                let ripple = size * c.shares[i] * c.shares[j] * self.ripples[kind][at];
                covariance.push(per * (c.losses[at] + ripple));
                at += 1;
            }
            if let Some(diagonal) = covariance.last_mut() {
                *diagonal += match i.checked_sub(noise.shape.len()) {
                    None => noise.shape[i],
                    Some(anchor) => self.anchors[anchor].sd.powi(2) * per,
                };
            }
        }
        let x = &c.rows.x;
        let mut solved =
            Solved::new(covariance, [x.column(0).as_slice(), x.column(1).as_slice()], &c.left, noise)?;
        solved.log_evidence += self.log_positive(c, &solved, per);
        if self.data.has_singles() {
            solved.log_evidence += self.log_turned(c, &solved, shape, amplitude, kind);
        }
        Some(solved)
    }

    /// What a law that follows the nozzle's own loses. A flow without replicates brings its noise into the pressure it is
    /// explained by, so its likelihood carries the derivative of its residual with respect to itself,
    /// `h (1 - F_P P'(q))`: 1 where the law is the one it was linearised with, next to nothing where pump and nozzle
    /// become the same law.
    fn log_turned(&self, c: &Candidate, solved: &Solved, shape: usize, amplitude: f64, kind: usize) -> f64 {
        let per = 1.0 / self.noises[shape].expected;
        let prior = self.prior(c, amplitude, KINDS[kind]);
        let variance: Vec<f64> =
            prior.sd.iter().map(|sd| if sd.is_finite() { sd * sd * per } else { 0.0 }).collect();
        let mut means = solved.means(&c.rows.x, &prior.mean, &variance);
        self.to_terms(c, &mut means, None);
        let turned = |i: usize| {
            let slope: f64 = c
                .terms
                .iter()
                .zip(&means)
                .map(|(t, m)| m * t.per_kpa(&self.places[i], &self.data.scaling))
                .sum();
            let k = self.data.means[i].outlet.k;
            c.shares[i] * (1.0 - slope * 2.0 * self.flows[i] / (k * k))
        };
        let singles = (0..self.flows.len()).filter(|i| self.data.counts[*i] < 2);
        singles.map(|i| turned(i).max(1e-3).ln().min(0.0)).sum()
    }

    /// Slip and a bypass only take flow away: the other halves of their priors are cut off.
    fn log_positive(&self, c: &Candidate, solved: &Solved, per: f64) -> f64 {
        let full = self.data.scaling.flow_ml_min;
        let chance = |k: usize, mean: f64, sd: f64| {
            let found = solved.coefficient(c.rows.x.column(k).as_slice(), mean, sd * sd * per);
            normal_cdf(found.mean / found.sd).max(1e-300).ln()
        };
        let slip = chance(SLIP_AT, SLIP.0 * full, SLIP.1 * full);
        match c.extra.opening {
            None => slip,
            Some(_) => slip + 2.0_f64.ln() + chance(c.terms.len() - 1, 0.0, RELIEF_SD * full),
        }
    }
}

/// Prior covariance of the rows by ripples of amplitude 1.
fn ripples(base: &[LawTerm], values: &DMatrix<f64>, kind: Kind) -> Vec<f64> {
    let columns: Vec<(usize, f64)> = base
        .iter()
        .enumerate()
        .filter_map(|(k, term)| match term {
            LawTerm::Ripple(order) => Some((k, kind.density(*order))),
            LawTerm::RipplePressed(order) => Some((k, PRESSED * PRESSED * kind.density(*order))),
            _ => None,
        })
        .collect();
    packed(values.nrows(), |i, j| columns.iter().map(|(k, d)| d * values[(i, *k)] * values[(j, *k)]).sum())
}

/// Prior covariance of the rows by slip, losses, temperature and bypass.
fn losses(c: &Candidate, prior: &Prior) -> Vec<f64> {
    let columns: Vec<(usize, f64)> = c
        .terms
        .iter()
        .enumerate()
        .skip(2)
        .filter(|(_, t)| !matches!(t, LawTerm::Ripple(_) | LawTerm::RipplePressed(_)))
        .map(|(k, _)| (k, prior.sd[k] * prior.sd[k]))
        .collect();
    packed(c.rows.x.nrows(), |i, j| {
        columns.iter().map(|(k, v)| v * c.rows.x[(i, *k)] * c.rows.x[(j, *k)]).sum()
    })
}

fn packed(n: usize, value: impl Fn(usize, usize) -> f64) -> Vec<f64> {
    (0..n).flat_map(|i| (0..=i).map(move |j| (i, j))).map(|(i, j)| value(i, j)).collect()
}

/// Mean and covariance with the negative halves of slip and bypass cut off: moments of a normal distribution cut at 0
/// along one coordinate (Johnson, Kotz and Balakrishnan, chapter 13, from memory), for one after the other.
pub(super) fn cut_negative(mean: &mut DVector<f64>, covariance: &mut DMatrix<f64>, bypass: bool) {
    let last = bypass.then_some(mean.len() - 1);
    for k in std::iter::once(SLIP_AT).chain(last) {
        cut_one(mean, covariance, k);
    }
    // Cutting the bypass may have brought slip below nothing again.
    if mean[SLIP_AT] < 0.0 {
        cut_one(mean, covariance, SLIP_AT);
    }
}

fn cut_one(mean: &mut DVector<f64>, covariance: &mut DMatrix<f64>, k: usize) {
    let sd = covariance[(k, k)].max(0.0).sqrt();
    let a = mean[k] / sd;
    if a > 5.0 || !a.is_finite() {
        return;
    }
    // Far below nothing the inverse Mills ratio tends to -a, and the quotient would lose its digits.
    let pull = if a < -8.0 { -a } else { (-0.5 * a * a).exp() / (2.0 * PI).sqrt() / normal_cdf(a) };
    let along: DVector<f64> = covariance.column(k) / sd;
    *mean += &along * pull;
    *covariance -= &along * along.transpose() * (pull * (pull + a)).clamp(0.0, 1.0);
}
