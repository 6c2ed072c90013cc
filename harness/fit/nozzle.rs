//! The nozzle: coefficient K of the square-root law, and a free exponent beside it to test the law.
//!
//! Fitted as `P_line - P_out = (Q/K)^2 (1 + 2 e(Q)) - zero`: pressure against flow, because gauge noise is even in
//! pressure and flow is the better known of the two; flow noise is carried over by `2 Q / K^2`. The gauge's zero is a
//! nuisance with its prior. `e(Q)`, which is 0 at the highest flow, is how far the discharge coefficient may move with
//! Reynolds number; its size is weighed by evidence, so that K (the value at the highest flow) carries what the law
//! leaves open. In: points with pressure. Out: [`NozzleFit`]. Never: the pump.

use super::bayes::{Noise, Posterior, Prior, Rows};
use super::points::Points;
use nalgebra::{DMatrix, DVector};

/// Sizes of the departure from the square-root law that are weighed, fraction of K over a factor e of flow.
const DEPARTURES: [f64; 6] = [0.0003, 0.001, 0.002, 0.005, 0.01, 0.02];
/// Size from which on a departure is thought less and less likely.
const DEPARTURE_SCALE: f64 = 0.004;
/// Standard uncertainty of the exponent of a healthy nozzle, from its Reynolds number (common practice, no source).
const HEALTHY_EXPONENT_U: f64 = 0.005;
/// Part of the spread of K over the measured flows that its one number is uncertain by.
const SPREAD_PART: f64 = 0.3;

/// A fitted nozzle.
#[derive(Clone, Debug, PartialEq)]
pub struct NozzleFit {
    /// Name.
    pub name: String,
    /// Coefficient at the highest flow measured, mL/min per sqrt(kPa).
    pub k: f64,
    /// Relative standard uncertainty of it from scatter and from what the law leaves open.
    pub u_scatter: f64,
    /// Degrees of freedom of that.
    pub dof: f64,
    /// Change of ln K per standard uncertainty of the gauge's zero.
    pub per_zero: f64,
    /// Free exponent.
    pub exponent: Exponent,
    /// Lowest and highest flow measured with pressure, mL/min.
    pub flow_range: (f64, f64),
    /// Collections with pressure.
    pub count: usize,
    /// Departure found: relative change of K from the highest flow to the lowest, and its standard uncertainty.
    pub departure: (f64, f64),
}

/// The exponent of `Q = K dP^n`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exponent {
    /// Value; 0.5 for the square-root law.
    pub value: f64,
    /// Standard uncertainty from scatter.
    pub u_scatter: f64,
    /// Degrees of freedom of that.
    pub dof: f64,
    /// Standard uncertainty from the gauge's zero.
    pub u_zero: f64,
    /// Standard uncertainty of what a healthy nozzle's exponent is.
    pub u_healthy: f64,
}

/// One nozzle's data.
struct Data {
    flow: Vec<f64>,
    drop: Vec<f64>,
    variance: Vec<f64>,
}

/// Fits every nozzle that has pressures; `None` for one that has fewer than two.
#[must_use]
pub fn fit(points: &Points, u_zero_kpa: f64) -> Vec<Option<NozzleFit>> {
    (0..points.nozzles.len()).map(|nozzle| fit_one(points, nozzle, u_zero_kpa)).collect()
}

fn fit_one(points: &Points, nozzle: usize, u_zero_kpa: f64) -> Option<NozzleFit> {
    let data = data(points, nozzle);
    if data.flow.len() < 2 {
        return None;
    }
    let top = data.flow.iter().copied().fold(0.0, f64::max);
    let low = data.flow.iter().copied().fold(f64::INFINITY, f64::min);
    let k0 = rough(&data)?;
    let law = law(&data, k0, top, low, u_zero_kpa)?;
    Some(NozzleFit {
        name: points.nozzles[nozzle].clone(),
        k: law.k,
        u_scatter: law.u_scatter,
        dof: law.dof,
        per_zero: law.per_zero,
        exponent: exponent(&data, law.k, top, u_zero_kpa, &law.noise)?,
        flow_range: (low, top),
        count: data.flow.len(),
        departure: law.departure,
    })
}

fn data(points: &Points, nozzle: usize) -> Data {
    let mut data = Data { flow: Vec::new(), drop: Vec::new(), variance: Vec::new() };
    for p in points.flowing.iter().filter(|p| p.nozzle == nozzle) {
        let Some(line) = p.line_kpa else { continue };
        data.flow.push(p.flow);
        data.drop.push(line - p.out_kpa);
        let carried = 2.0 * (line - p.out_kpa).max(0.0) / p.flow * p.u_flow;
        data.variance.push(p.u_line_kpa.powi(2) + carried.powi(2));
    }
    data
}

/// K from the sums of all pressures and squared flows.
fn rough(data: &Data) -> Option<f64> {
    let squares: f64 = data.flow.iter().map(|q| q * q).sum();
    let drops: f64 = data.drop.iter().sum();
    (drops > 0.0).then(|| (squares / drops).sqrt())
}

/// The square-root law with a departure.
struct Law {
    k: f64,
    u_scatter: f64,
    dof: f64,
    per_zero: f64,
    departure: (f64, f64),
    noise: Noise,
}

/// Noise shapes: as reported, the same at all pressures, mostly proportional to pressure.
fn noises(data: &Data) -> Vec<Noise> {
    let top = data.drop.iter().copied().fold(0.0, f64::max);
    let least = (1e-4 * top).powi(2);
    let n = data.drop.len() as f64;
    let reported: Vec<f64> = data.variance.iter().map(|v| v.max(least)).collect();
    let shapes = [
        reported.clone(),
        vec![1.0; data.drop.len()],
        data.drop.iter().map(|p| (0.05 + 0.95 * p.max(0.0) / top).powi(2)).collect(),
    ];
    shapes
        .into_iter()
        .map(|shape| {
            let claimed = reported.iter().zip(&shape).map(|(u, v)| u / v).sum::<f64>() / n;
            Noise { shape, expected: claimed, prior_dof: 1.0, floor: claimed, within: 0.0, log_within: 0.0 }
        })
        .collect()
}

/// Columns: square law, gauge zero, departure by the root and by the logarithm of flow.
fn columns(flow: f64, k: f64, top: f64) -> [f64; 4] {
    let square = (flow / k).powi(2);
    let ratio = flow / top;
    [square, -1.0, 2.0 * square * ((1.0 / ratio).sqrt() - 1.0), -2.0 * square * ratio.ln()]
}

fn law(data: &Data, k0: f64, top: f64, low: f64, u_zero: f64) -> Option<Law> {
    let n = data.flow.len();
    let zero = u_zero.max(1e-9);
    let x = DMatrix::from_fn(n, 4, |i, j| columns(data.flow[i], k0, top)[j]);
    let rows = Rows { x, y: DVector::from_column_slice(&data.drop) };
    let mut noises = noises(data);
    settle_scale(&rows, &mut noises, zero);
    let mut found = Vec::new();
    for (index, noise) in noises.iter().enumerate() {
        for size in DEPARTURES {
            let prior = prior(size, zero);
            if let Some(p) = Posterior::new(&rows, noise, &prior) {
                let a = size / DEPARTURE_SCALE;
                let log = p.log_evidence + (a / (1.0 + a * a).powf(1.5)).ln();
                let dof = p.effective_dof(n, noise.prior_dof);
                found.push((log, index, p, dof));
            }
        }
    }
    let best = found.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let (best_log, best_noise) = (best.0, best.1);
    let total: f64 = found.iter().map(|f| (f.0 - best_log).exp()).sum();
    let mut sum = Moments::default();
    for (log, _, p, dof) in &found {
        sum.add((log - best_log).exp() / total, p, *dof, low / top, u_zero > 0.0);
    }
    Some(sum.law(k0, noises.swap_remove(best_noise)))
}

fn prior(size: f64, zero: f64) -> Prior {
    Prior { mean: vec![0.0; 4], sd: vec![f64::INFINITY, zero, size, size] }
}

/// Replaces each expected scale by what the residuals show, so that the priors stand against the true noise.
fn settle_scale(rows: &Rows, noises: &mut [Noise], zero: f64) {
    for noise in noises {
        for _ in 0..2 {
            if let Some(p) = Posterior::new(rows, noise, &prior(DEPARTURE_SCALE, zero)) {
                noise.expected = p.scale.max(1e-12 * noise.expected);
            }
        }
    }
}

/// Sums over the members.
#[derive(Default)]
struct Moments {
    ln: f64,
    ln2: f64,
    variance: f64,
    zero: f64,
    departure: f64,
    departure2: f64,
    one_over_dof: f64,
}

impl Moments {
    fn add(&mut self, weight: f64, p: &Posterior, dof: f64, lowest: f64, with_zero: bool) {
        let c = p.covariance();
        let ln = -0.5 * p.mean[0].ln();
        let sensitivity = 0.5 / p.mean[0];
        // The zero's part of the uncertainty of K: what K would move if the zero were off by its posterior sd.
        let zero = if with_zero { sensitivity * c[(0, 1)] / c[(1, 1)].sqrt() } else { 0.0 };
        let variance = sensitivity * sensitivity * c[(0, 0)] - zero * zero;
        let (root, log) = ((1.0 / lowest).sqrt() - 1.0, -lowest.ln());
        let departure = -(p.mean[2] * root + p.mean[3] * log);
        let spread = c[(2, 2)] * root * root + c[(3, 3)] * log * log + 2.0 * c[(2, 3)] * root * log;
        self.ln += weight * ln;
        self.ln2 += weight * ln * ln;
        self.variance += weight * variance.max(0.0);
        self.zero -= weight * zero;
        self.departure += weight * departure;
        self.departure2 += weight * (departure * departure + spread);
        self.one_over_dof += weight / dof;
    }

    fn law(self, k0: f64, noise: Noise) -> Law {
        let between = (self.ln2 - self.ln * self.ln).max(0.0);
        let open = SPREAD_PART * self.departure;
        Law {
            k: k0 * self.ln.exp(),
            u_scatter: (self.variance + between + open * open).sqrt(),
            dof: 1.0 / self.one_over_dof,
            per_zero: self.zero,
            departure: (self.departure, (self.departure2 - self.departure.powi(2)).max(0.0).sqrt()),
            noise,
        }
    }
}

/// The exponent by Gauss-Newton steps on `dP = C (Q / Q_top)^m - zero`, n = 1/m.
fn exponent(data: &Data, k: f64, top: f64, u_zero: f64, noise: &Noise) -> Option<Exponent> {
    let n = data.flow.len();
    let (mut c, mut m) = ((top / k).powi(2), 2.0);
    let zero = u_zero.max(1e-9);
    let mut last = None;
    for _ in 0..8 {
        let x = DMatrix::from_fn(n, 3, |i, j| {
            let ratio = data.flow[i] / top;
            [ratio.powf(m), c * ratio.powf(m) * ratio.ln(), -1.0][j]
        });
        let y = DVector::from_fn(n, |i, _| {
            data.drop[i] + c * (data.flow[i] / top).powf(m) * (data.flow[i] / top).ln() * m
        });
        let rows = Rows { x, y };
        let prior = Prior { mean: vec![0.0, 2.0, 0.0], sd: vec![f64::INFINITY, 1.0, zero] };
        let p = Posterior::new(&rows, noise, &prior)?;
        let moved = (p.mean[1] - m).abs();
        (c, m) = (p.mean[0], p.mean[1].clamp(0.5, 8.0));
        let dof = p.effective_dof(n, noise.prior_dof);
        last = Some((p, dof));
        if moved < 1e-10 {
            break;
        }
    }
    let (p, dof) = last?;
    let cov = p.covariance();
    let per_m = 1.0 / (m * m);
    let u_zero = if u_zero > 0.0 { per_m * cov[(1, 2)].abs() / cov[(2, 2)].sqrt() } else { 0.0 };
    let total = per_m * cov[(1, 1)].sqrt();
    Some(Exponent {
        value: 1.0 / m,
        u_scatter: (total * total - u_zero * u_zero).max(0.0).sqrt(),
        dof,
        u_zero,
        u_healthy: HEALTHY_EXPONENT_U,
    })
}
