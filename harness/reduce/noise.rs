//! A straight line or a mean through correlated readings, with an uncertainty that knows of the correlation.
//!
//! In: times and readings, and how many terms of a polynomial to fit. Out: coefficients, their standard
//! uncertainties, effective degrees of freedom. The readings of a filtered scale are taken as the sum of a slowly
//! forgetting part (Ornstein-Uhlenbeck, the continuous-time AR(1)) and white noise. Neither its time constant nor its
//! share is known, so every pair on a grid is tried: each gives a generalised least-squares fit (whitened by a Kalman
//! filter, exact for unevenly spaced times) and a restricted likelihood (Patterson and Thompson 1971: it allows for
//! the terms fitted, so that the time constant is not found too short), and the fits are averaged with those weights.
//! Never: the standard error of ordinary least squares passed off for correlated readings.

use nalgebra::{DMatrix, DVector};

/// Terms at most: constant, slope, curvature.
const TERMS_MAX: usize = 3;

/// Time constants tried lie between half a reading apart and this part of the span: slower than that, noise cannot be
/// told from a trend, and is looked for as curvature.
const SLOWEST_OF_SPAN: f64 = 0.1;

/// Shares of white noise tried beside a time constant.
const WHITE_SHARES: [f64; 5] = [0.0, 0.2, 0.5, 0.8, 0.95];

/// A polynomial through readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// Coefficients about [`Trend::centre_s`]: constant, per s, per s squared.
    pub coefficients: Vec<f64>,
    /// Their standard uncertainties.
    pub u: Vec<f64>,
    /// Effective degrees of freedom of the uncertainties.
    pub dof: f64,
    /// The middle of the times, s.
    pub centre_s: f64,
    /// Standard deviation of the readings about the polynomial.
    pub scatter: f64,
    /// Correlation time of the noise, weighted mean, s; 0 for white noise.
    pub correlation_s: f64,
    /// Readings used.
    pub n: usize,
}

impl Trend {
    /// The polynomial at a time.
    #[must_use]
    pub fn at(&self, time_s: f64) -> f64 {
        let t = time_s - self.centre_s;
        self.coefficients.iter().rev().fold(0.0, |sum, c| sum * t + c)
    }
}

/// A noise model on the grid.
#[derive(Clone, Copy)]
struct Noise {
    /// Time constant, s; none for white noise alone.
    tau_s: Option<f64>,
    /// Share of white noise in the variance.
    white: f64,
}

/// A fit under one noise model.
struct Fit {
    log_likelihood: f64,
    coefficients: DVector<f64>,
    /// Per unit of the noise's variance.
    spread: DMatrix<f64>,
    variance: f64,
}

/// Fits a polynomial of `terms` terms (1 a mean, 2 a line, 3 a parabola) to readings at increasing times; none for
/// fewer than `terms + 2` readings, times that do not increase, or anything that is not finite.
#[must_use]
pub fn trend(times_s: &[f64], readings: &[f64], terms: usize) -> Option<Trend> {
    let n = times_s.len();
    let finite = times_s.iter().chain(readings).all(|v| v.is_finite());
    let rising = times_s.windows(2).all(|w| w[1] >= w[0]);
    if !(1..=TERMS_MAX).contains(&terms) || n < terms + 2 || readings.len() != n || !finite || !rising {
        return None;
    }
    let (first, last) = (times_s[0], times_s[n - 1]);
    let (centre_s, half_s) = (0.5 * (first + last), 0.5 * (last - first));
    if half_s <= 0.0 {
        return None;
    }
    // Scaled times and centred readings keep the sums well conditioned.
    let scaled: Vec<f64> = times_s.iter().map(|t| (t - centre_s) / half_s).collect();
    let offset = readings.iter().sum::<f64>() / n as f64;
    let plain = fit(&scaled, readings, offset, &[], terms, Noise { tau_s: None, white: 1.0 })?;
    let rough = plain.coefficients.clone();
    let rest: Vec<f64> =
        scaled.iter().zip(readings).map(|(t, y)| y - offset - polynomial(&rough, *t)).collect();
    let scatter = (rest.iter().map(|e| e * e).sum::<f64>() / (n - terms) as f64).sqrt();
    let steps: Vec<f64> = times_s.windows(2).map(|w| w[1] - w[0]).collect();
    let fits: Vec<(Noise, Fit)> = grid(2.0 * half_s, n)
        .filter_map(|noise| Some((noise, fit(&scaled, &rest, 0.0, &steps, terms, noise)?)))
        .collect();
    average(&fits, n, terms).map(|(mut trend, shift)| {
        let total = rough + shift;
        for (power, c) in total.iter().enumerate() {
            trend.coefficients.push(c / half_s.powi(power as i32));
            trend.u[power] /= half_s.powi(power as i32);
        }
        trend.coefficients[0] += offset;
        Trend { centre_s, scatter, ..trend }
    })
}

fn polynomial(c: &DVector<f64>, t: f64) -> f64 {
    c.iter().rev().fold(0.0, |sum, c| sum * t + c)
}

/// Noise models to try on a span of `n` readings.
fn grid(span_s: f64, n: usize) -> impl Iterator<Item = Noise> {
    let shortest = 0.5 * span_s / (n - 1) as f64;
    let longest = SLOWEST_OF_SPAN * span_s;
    let count = if longest > shortest { (longest / shortest).ln() / 1.7_f64.ln() } else { 0.0 };
    let taus =
        (0..=count as usize).map(move |k| shortest * 1.7_f64.powi(k as i32)).filter(move |t| *t <= longest);
    let mixed = taus.flat_map(|tau| WHITE_SHARES.map(|white| Noise { tau_s: Some(tau), white }));
    std::iter::once(Noise { tau_s: None, white: 1.0 }).chain(mixed)
}

/// Generalised least squares under one noise model; `steps` are the times between readings, s.
fn fit(scaled: &[f64], y: &[f64], offset: f64, steps: &[f64], terms: usize, noise: Noise) -> Option<Fit> {
    let slow = if noise.tau_s.is_some() { 1.0 - noise.white } else { 0.0 };
    // Prediction of the slow part of the readings and of each term, its variance.
    let (mut seen, mut p) = ([0.0; TERMS_MAX + 1], slow);
    let (mut a, mut b, mut yy, mut log_det) = ([[0.0; TERMS_MAX]; TERMS_MAX], [0.0; TERMS_MAX], 0.0, 0.0);
    let mut factors = 1.0_f64;
    for i in 0..y.len() {
        if let (Some(tau), true) = (noise.tau_s, i > 0) {
            let keep = (-steps[i - 1] / tau).exp();
            seen.iter_mut().for_each(|s| *s *= keep);
            p = keep * keep * p + (1.0 - keep * keep) * slow;
        }
        let t = scaled[i];
        let row = [1.0, t, t * t, y[i] - offset];
        let f = p + noise.white.max(1e-9);
        let (gain, root) = (p / f, f.sqrt());
        let mut white = [0.0; TERMS_MAX + 1];
        for ((w, s), v) in white.iter_mut().zip(&mut seen).zip(row) {
            let surprise = v - *s;
            *w = surprise / root;
            *s += gain * surprise;
        }
        p *= 1.0 - gain;
        // One logarithm for many factors.
        factors *= f;
        if !(1e-200..1e200).contains(&factors) {
            log_det += factors.ln();
            factors = 1.0;
        }
        for j in 0..terms {
            b[j] += white[j] * white[TERMS_MAX];
            for k in 0..=j {
                a[j][k] += white[j] * white[k];
            }
        }
        yy += white[TERMS_MAX] * white[TERMS_MAX];
    }
    log_det += factors.ln();
    let a = DMatrix::from_fn(terms, terms, |j, k| a[j.max(k)][j.min(k)]);
    let b = DVector::from_fn(terms, |j, _| b[j]);
    let spread = a.clone().cholesky()?.inverse();
    let coefficients = &spread * &b;
    let free = (y.len() - terms) as f64;
    let rss = (yy - b.dot(&coefficients)).max(0.0);
    // Readings that all lie on the line have no scatter to speak of; the smallest number keeps the logarithm finite.
    let log_likelihood = -0.5 * (free * rss.max(f64::MIN_POSITIVE).ln() + log_det + a.determinant().ln());
    Some(Fit { log_likelihood, coefficients, spread, variance: rss / free })
}

/// Averages fits with the weights of their likelihoods: uncertainties and degrees of freedom (coefficients are still
/// to come), and the averaged coefficients.
fn average(fits: &[(Noise, Fit)], n: usize, terms: usize) -> Option<(Trend, DVector<f64>)> {
    let best = fits.iter().map(|(_, f)| f.log_likelihood).max_by(f64::total_cmp)?;
    // Before the readings speak, white noise is as likely as everything slower together.
    let prior = |noise: &Noise| noise.tau_s.map_or(fits.len() as f64, |_| 1.0);
    let weight = |(noise, fit): &(Noise, Fit)| prior(noise) * (fit.log_likelihood - best).exp();
    let weights: Vec<f64> = fits.iter().map(weight).collect();
    let total: f64 = weights.iter().sum();
    let mean = |of: &dyn Fn(&(Noise, Fit)) -> f64| -> f64 {
        fits.iter().zip(&weights).map(|(f, w)| w * of(f)).sum::<f64>() / total
    };
    let shift = DVector::from_fn(terms, |j, _| mean(&|(_, f)| f.coefficients[j]));
    // Variances are averaged as logarithms: their tail towards slow noise is carried by the degrees of freedom, and
    // would otherwise count twice.
    let variance = |f: &Fit, j: usize| (f.variance * f.spread[(j, j)]).max(f64::MIN_POSITIVE);
    let u: Vec<f64> = (0..terms)
        .map(|j| {
            let within = mean(&|(_, f)| variance(f, j).ln()).exp();
            (within + mean(&|(_, f)| (f.coefficients[j] - shift[j]).powi(2))).sqrt()
        })
        .collect();
    // The spread of the variance over the models limits how well it is known (JCGM 100:2008, E.4.3).
    let of = terms - 1;
    let log = mean(&|(_, f)| variance(f, of).ln());
    let relative = mean(&|(_, f)| (variance(f, of).ln() - log).powi(2));
    let free = (n - terms) as f64;
    let trend = Trend {
        coefficients: Vec::with_capacity(terms),
        u,
        dof: (2.0 / (relative + 2.0 / free)).max(1.0),
        centre_s: 0.0,
        scatter: 0.0,
        correlation_s: mean(&|(noise, _)| noise.tau_s.map_or(0.0, |t| t * (1.0 - noise.white))),
        n,
    };
    Some((trend, shift))
}
