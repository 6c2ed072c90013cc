//! Linear regression with Gaussian priors where rows are few and coefficients many: solved in the space of the rows.
//!
//! With rows `y = F b + X c + e`, flat `b`, prior `c ~ N(m, S)` and noise `e ~ N(0, sigma^2 D)`, the rows have
//! covariance `C = D + X S X' / sigma^2`, and everything follows from its factor: a handful of microseconds where the
//! space of the coefficients would take hundreds. The same model as [`super::bayes`], which a test compares.
//! In: C, flat columns, responses, the noise's prior. Out: evidence, coefficients, covariance. Never: physics.

use super::bayes::Noise;
use nalgebra::DMatrix;

/// Lower factor of a symmetric positive definite matrix, rows packed one after the other.
#[derive(Clone, Debug)]
struct Lower {
    n: usize,
    a: Vec<f64>,
}

impl Lower {
    const fn at(i: usize, j: usize) -> usize {
        i * (i + 1) / 2 + j
    }

    /// Factors in place; none where the matrix is not positive definite.
    fn new(mut a: Vec<f64>, n: usize) -> Option<Self> {
        for i in 0..n {
            let (before, row) = a.split_at_mut(Self::at(i, 0));
            for j in 0..=i {
                let other = if j < i { &before[Self::at(j, 0)..=Self::at(j, j)] } else { &[][..] };
                if j < i {
                    let dot: f64 = row[..j].iter().zip(&other[..j]).map(|(a, b)| a * b).sum();
                    row[j] = (row[j] - dot) / other[j];
                } else {
                    let dot: f64 = row[..i].iter().map(|a| a * a).sum();
                    let pivot = row[i] - dot;
                    if !(pivot > 0.0 && pivot.is_finite()) {
                        return None;
                    }
                    row[i] = pivot.sqrt();
                }
            }
        }
        Some(Lower { n, a })
    }

    /// Solves `L x = b` in place.
    fn forward(&self, b: &mut [f64]) {
        for i in 0..self.n {
            let row = &self.a[Self::at(i, 0)..=Self::at(i, i)];
            let dot: f64 = row[..i].iter().zip(b.iter()).map(|(a, x)| a * x).sum();
            b[i] = (b[i] - dot) / row[i];
        }
    }

    /// Solves `L' x = b` in place.
    fn backward(&self, b: &mut [f64]) {
        for i in (0..self.n).rev() {
            let row = &self.a[Self::at(i, 0)..=Self::at(i, i)];
            b[i] /= row[i];
            let x = b[i];
            b.iter_mut().zip(&row[..i]).for_each(|(b, a)| *b -= a * x);
        }
    }

    fn log_det(&self) -> f64 {
        2.0 * (0..self.n).map(|i| self.a[Self::at(i, i)].ln()).sum::<f64>()
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// A solved regression with two flat columns.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    lower: Lower,
    flats: [Vec<f64>; 2],
    /// Inverse of `F' C^-1 F`.
    inverse: [[f64; 2]; 2],
    /// The flat coefficients.
    pub(super) flat: [f64; 2],
    /// `C^-1 (y - F b)`.
    weights: Vec<f64>,
    /// Noise scale.
    pub(super) scale: f64,
    /// Logarithm of the marginal likelihood.
    pub(super) log_evidence: f64,
    prior_dof: f64,
}

/// What a coefficient came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Coefficient {
    pub(super) mean: f64,
    pub(super) sd: f64,
}

impl Solved {
    /// Solves; `covariance` is C, its rows up to the diagonal packed one after the other.
    pub(super) fn new(covariance: Vec<f64>, flats: [&[f64]; 2], y: &[f64], noise: &Noise) -> Option<Self> {
        let n = y.len();
        let lower = Lower::new(covariance, n)?;
        let flats = flats.map(|f| {
            let mut w = f.to_vec();
            lower.forward(&mut w);
            w
        });
        let mut right = y.to_vec();
        lower.forward(&mut right);
        let (a, b, c) = (dot(&flats[0], &flats[0]), dot(&flats[0], &flats[1]), dot(&flats[1], &flats[1]));
        let det = a * c - b * b;
        if det <= 1e-12 * a * c || !det.is_finite() {
            return None;
        }
        let inverse = [[c / det, -b / det], [-b / det, a / det]];
        let (p, q) = (dot(&flats[0], &right), dot(&flats[1], &right));
        let flat = [inverse[0][0] * p + inverse[0][1] * q, inverse[1][0] * p + inverse[1][1] * q];
        for (i, r) in right.iter_mut().enumerate() {
            *r -= flat[0] * flats[0][i] + flat[1] * flats[1][i];
        }
        // Rows beyond the noise's are anchors, too weak to count.
        let nu = noise.prior_dof + noise.shape.len() as f64 - 2.0;
        let total = noise.prior_dof * noise.floor + dot(&right, &right);
        let log_evidence = noise.log_within - 0.5 * (lower.log_det() + det.ln() + nu * total.ln());
        lower.backward(&mut right);
        let prior_dof = noise.prior_dof;
        log_evidence.is_finite().then_some(Solved {
            lower,
            flats,
            inverse,
            flat,
            weights: right,
            scale: total / nu,
            log_evidence,
            prior_dof,
        })
    }

    /// A coefficient with prior mean `mean` and relative prior variance `variance` (against the expected noise).
    pub(super) fn coefficient(&self, column: &[f64], mean: f64, variance: f64) -> Coefficient {
        let mut w = column.to_vec();
        self.lower.forward(&mut w);
        let f = [dot(&w, &self.flats[0]), dot(&w, &self.flats[1])];
        let left = variance - variance * variance * (dot(&w, &w) - self.between(f, f));
        Coefficient {
            mean: mean + variance * dot(column, &self.weights),
            sd: (self.scale * left.max(0.0)).sqrt(),
        }
    }

    fn between(&self, a: [f64; 2], b: [f64; 2]) -> f64 {
        let v = &self.inverse;
        a[0] * (v[0][0] * b[0] + v[0][1] * b[1]) + a[1] * (v[1][0] * b[0] + v[1][1] * b[1])
    }

    /// Means of all coefficients: the two flat ones, then those of the columns of `x` from the third on.
    pub(super) fn means(&self, x: &DMatrix<f64>, mean: &[f64], variance: &[f64]) -> Vec<f64> {
        let mut means = self.flat.to_vec();
        for k in 2..x.ncols() {
            means.push(mean[k] + variance[k] * dot(x.column(k).as_slice(), &self.weights));
        }
        means
    }

    /// Covariance of all coefficients, in the same order.
    pub(super) fn covariance(&self, x: &DMatrix<f64>, variance: &[f64]) -> DMatrix<f64> {
        let p = x.ncols();
        let mut w = x.columns(2, p - 2).clone_owned();
        for mut column in w.column_iter_mut() {
            self.lower.forward(column.as_mut_slice());
        }
        let f: Vec<[f64; 2]> = w
            .column_iter()
            .map(|c| [dot(c.as_slice(), &self.flats[0]), dot(c.as_slice(), &self.flats[1])])
            .collect();
        let inner = w.tr_mul(&w);
        let v = &self.inverse;
        let mut out = DMatrix::zeros(p, p);
        for i in 0..2 {
            for j in 0..2 {
                out[(i, j)] = v[i][j];
            }
            for k in 2..p {
                let cross = -variance[k] * (v[i][0] * f[k - 2][0] + v[i][1] * f[k - 2][1]);
                out[(i, k)] = cross;
                out[(k, i)] = cross;
            }
        }
        for k in 2..p {
            for l in 2..=k {
                let shrink = inner[(k - 2, l - 2)] - self.between(f[k - 2], f[l - 2]);
                let own = if k == l { variance[k] } else { 0.0 };
                let value = own - variance[k] * variance[l] * shrink;
                out[(k, l)] = value;
                out[(l, k)] = value;
            }
        }
        out * self.scale
    }

    /// Diagonal of `C^-1` with the flat columns taken out.
    fn precision(&self) -> Vec<f64> {
        let n = self.lower.n;
        let one = |i: usize| {
            let mut unit = vec![0.0; n];
            unit[i] = 1.0;
            self.lower.forward(&mut unit);
            let f = [dot(&unit, &self.flats[0]), dot(&unit, &self.flats[1])];
            dot(&unit, &unit) - self.between(f, f)
        };
        (0..n).map(one).collect()
    }

    /// Degrees of freedom left after the coefficients in effect used: the noise prior's, and the part of every row that
    /// its own noise explains.
    pub(super) fn effective_dof(&self, noise: &[f64]) -> f64 {
        let left: f64 = self.precision().iter().zip(noise).map(|(p, v)| p * v).sum();
        (self.prior_dof + left).max(1.0)
    }

    /// Every row's distance from what the other rows say of it, in standard deviations (leave-one-out residuals of a
    /// Gaussian process: Rasmussen and Williams, 5.4.2, from memory).
    pub(super) fn left_out(&self) -> Vec<f64> {
        let p = self.precision();
        self.weights.iter().zip(p).map(|(w, p)| w / (p * self.scale).sqrt().max(1e-300)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::bayes::{Posterior, Prior, Rows};
    use super::*;
    use crate::chance::{Seed, standard_normal};
    use nalgebra::DVector;

    /// The space of the coefficients ([`super::super::bayes`]) gives the same evidence differences, means, covariance.
    #[test]
    fn both_spaces_agree() {
        let mut s = Seed(3).stream("gauss");
        let (n, p) = (9, 14);
        let x = DMatrix::from_fn(n, p, |_, k| if k == 0 { 1.0 } else { standard_normal(&mut s) });
        let y: Vec<f64> = (0..n).map(|_| 3.0 + standard_normal(&mut s)).collect();
        let shape: Vec<f64> = (0..n).map(|i| 0.5 + i as f64 / 10.0).collect();
        let noise = Noise {
            shape: shape.clone(),
            expected: 0.8,
            prior_dof: 4.0,
            floor: 0.6,
            within: 0.0,
            log_within: 0.0,
        };
        let rows = Rows { x: x.clone(), y: DVector::from_vec(y.clone()) };
        let mut logs = Vec::new();
        for size in [0.3, 1.0] {
            let sd: Vec<f64> =
                (0..p).map(|k| if k < 2 { f64::INFINITY } else { size / (k as f64) }).collect();
            let mean: Vec<f64> = (0..p).map(|k| if k < 2 { 0.0 } else { 0.1 * k as f64 }).collect();
            let direct =
                Posterior::new(&rows, &noise, &Prior { mean: mean.clone(), sd: sd.clone() }).unwrap();
            let variance: Vec<f64> =
                sd.iter().map(|s| if s.is_finite() { s * s / noise.expected } else { 0.0 }).collect();
            let mut c = Vec::new();
            for i in 0..n {
                for j in 0..=i {
                    let k: f64 = (2..p).map(|k| variance[k] * x[(i, k)] * x[(j, k)]).sum();
                    c.push(k + if i == j { shape[i] } else { 0.0 });
                }
            }
            let left: Vec<f64> =
                (0..n).map(|i| y[i] - (2..p).map(|k| mean[k] * x[(i, k)]).sum::<f64>()).collect();
            let flats = [x.column(0).clone_owned(), x.column(1).clone_owned()];
            let solved = Solved::new(c, [flats[0].as_slice(), flats[1].as_slice()], &left, &noise).unwrap();
            let means = solved.means(&x, &mean, &variance);
            let covariance = solved.covariance(&x, &variance);
            for k in 0..p {
                assert!((means[k] - direct.mean[k]).abs() < 1e-9, "{k}: {} {}", means[k], direct.mean[k]);
                for l in 0..p {
                    assert!((covariance[(k, l)] - direct.covariance()[(k, l)]).abs() < 1e-9);
                }
            }
            let one = solved.coefficient(x.column(5).as_slice(), mean[5], variance[5]);
            assert!((one.mean - means[5]).abs() < 1e-9 && (one.sd - covariance[(5, 5)].sqrt()).abs() < 1e-9);
            assert!((solved.effective_dof(&shape) - direct.effective_dof(n, 4.0)).abs() < 1e-8);
            logs.push((solved.log_evidence, direct.log_evidence));
        }
        let difference = (logs[0].0 - logs[1].0) - (logs[0].1 - logs[1].1);
        assert!(difference.abs() < 1e-9, "{difference}");
    }

    /// Against 60-digit arithmetic (`tests/reference/fits/posteriors.csv`, by mpmath): the cases with two flat
    /// coefficients, where the conditions of the columns are up to some 10.
    #[test]
    fn coefficients_have_the_digits_of_exact_arithmetic() {
        let text = include_str!("../../tests/reference/fits/posteriors.csv");
        let list = |cell: &str| -> Vec<f64> {
            cell.split(';').map(|v| v.parse().unwrap_or(f64::INFINITY)).collect()
        };
        let mut cases = 0;
        for line in text.lines().filter(|l| l.starts_with("two flat") || l.starts_with("nearly alike")) {
            let cells: Vec<&str> = line.split(',').collect();
            let rows: Vec<Vec<f64>> = cells[2].split('|').map(list).collect();
            let (y, shape, mean, sd) = (list(cells[3]), list(cells[4]), list(cells[5]), list(cells[6]));
            let [expected, prior_dof, floor] = [7, 8, 9].map(|i| list(cells[i])[0]);
            let noise =
                Noise { shape: shape.clone(), expected, prior_dof, floor, within: 0.0, log_within: 0.0 };
            let (n, p) = (rows.len(), rows[0].len());
            let x = DMatrix::from_fn(n, p, |i, k| rows[i][k]);
            let variance: Vec<f64> =
                sd.iter().map(|s| if s.is_finite() { s * s / expected } else { 0.0 }).collect();
            let prior = |i: usize, j: usize| (2..p).map(|k| variance[k] * x[(i, k)] * x[(j, k)]).sum::<f64>();
            let c = (0..n)
                .flat_map(|i| (0..=i).map(move |j| (i, j)))
                .map(|(i, j)| prior(i, j) + if i == j { shape[i] } else { 0.0 })
                .collect();
            let left: Vec<f64> =
                (0..n).map(|i| y[i] - (2..p).map(|k| mean[k] * x[(i, k)]).sum::<f64>()).collect();
            let flats = [x.column(0).clone_owned(), x.column(1).clone_owned()];
            let solved = Solved::new(c, [flats[0].as_slice(), flats[1].as_slice()], &left, &noise).unwrap();
            let (means, covariance) = (solved.means(&x, &mean, &variance), solved.covariance(&x, &variance));
            let (want, want_sd) = (list(cells[10]), list(cells[11]));
            for k in 0..p {
                let off = (means[k] - want[k]).abs() / want[k].abs().max(want_sd[k]);
                assert!(off < 1e-9, "{} mean {k}: {off}", cells[0]);
                let off = (covariance[(k, k)].sqrt() / want_sd[k] - 1.0).abs();
                assert!(off < 1e-9, "{} sd {k}: {off}", cells[0]);
            }
            cases += 1;
        }
        assert_eq!(cases, 8);
    }
}
