//! Candidate laws of the pump and their rows.
//!
//! In: the pump's data. Out: for each bypass that may be there, the terms and rows of its regression. Never: a choice.

use super::bayes::{Noise, Posterior, Prior, Rows, Sums};
use super::noise_shape::noises;
use super::prior::{Kind, LOSS_SD, RELIEF_SD, RIPPLES, RIPPLES_PRESSED, SLIP, SLIP_AT, Warmth, prior};
use super::pump_data::PumpData;
use super::terms::{At, Term};
use crate::numerics::distribution::normal_cdf;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;

/// A candidate: no bypass, or one that opens at a pressure over a width, kPa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Opening {
    /// Opening pressure, gauge kPa of the line.
    pub opens_kpa: f64,
    /// Width, kPa.
    pub width_kpa: f64,
}

/// Everything the candidates share.
pub(super) struct Pass<'a> {
    pub(super) data: &'a PumpData,
    pub(super) flows: Vec<f64>,
    pub(super) places: Vec<At>,
    pub(super) noises: Vec<Noise>,
    warmth: Warmth,
    pub(super) base: Vec<Term>,
    /// Values of the base terms, a row a datum.
    values: DMatrix<f64>,
}

/// A candidate with its rows, and its share of the prior.
pub(super) struct Candidate {
    pub(super) opening: Option<Opening>,
    pub(super) terms: Vec<Term>,
    /// Slip by a straight fit, mL/min at the highest pressure: what the priors of its changes stand against.
    slip: f64,
    pub(super) rows: Rows,
    pub(super) prior_weight: f64,
    pub(super) log_score: f64,
}

impl<'a> Pass<'a> {
    pub(super) fn new(data: &'a PumpData, warmth: Warmth) -> Self {
        let mut base = vec![Term::Level, Term::Rise, Term::Slip];
        base.extend(LOSS_SD.iter().map(|(t, _)| *t));
        base.extend([Term::Thin, Term::Warm, Term::WarmLevel]);
        base.extend((1..=RIPPLES).map(Term::Ripple));
        let pressed = RIPPLES_PRESSED[usize::from(data.several_outlets())];
        base.extend((1..=pressed).map(Term::RipplePressed));
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
    pub(super) fn straight(&self, relief: Option<Term>) -> (f64, f64) {
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

    pub(super) fn shares(&self, relief: Option<Term>, slip: f64, slope: f64) -> Vec<f64> {
        let scaling = &self.data.scaling;
        self.data.shares(&self.flows, |i| {
            slip / scaling.pressure_kpa - relief.map_or(0.0, |r| slope * r.per_kpa(&self.places[i], scaling))
        })
    }

    pub(super) fn candidate(&self, opening: Option<Opening>, prior_weight: f64) -> Candidate {
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

    /// A noise shape at the highest flow.
    pub(super) fn at_full(&self, shape: &[f64]) -> f64 {
        (0..shape.len())
            .max_by(|a, b| self.flows[*a].total_cmp(&self.flows[*b]))
            .map_or(0.0, |top| shape[top])
    }

    pub(super) fn prior(&self, candidate: &Candidate, amplitude: f64, kind: Kind) -> Prior {
        let full = self.data.scaling.flow_ml_min;
        prior(
            &candidate.terms,
            full,
            candidate.slip,
            &self.warmth,
            self.data.tells_warmth(),
            (amplitude, kind),
        )
    }
}

/// Slip and a bypass only take flow away: the other halves of their priors are cut off.
pub(super) fn log_positive(posterior: &Posterior, candidate: &Candidate) -> f64 {
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
pub(super) fn cut_negative(posterior: &Posterior, bypass: bool) -> (DVector<f64>, DMatrix<f64>) {
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
