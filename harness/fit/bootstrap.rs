//! Bootstrap of the law in a few parameters: how it would scatter if the data were taken again.
//!
//! Residuals of the chosen law (level, rise, slip and, where there is one, the bypass's slope) are dealt out again over
//! the fitted flows, and the law is refitted to each deal by Gauss-Newton steps from where the data's own fit stands:
//! the first with the normal equations at hand, the others with exact derivatives of the operating point, which has a
//! closed form for this law. In: the pump's data, the law, a seed. Out: means, standard deviations, 95 % intervals.
//! Never: the published curve.

use super::law::Law;
use super::pump_data::PumpData;
use super::terms::Term;
use crate::chance::{Seed, Stream, uniform};

/// Parameters: level, rise, slip, slope of the bypass.
const PARAMETERS: usize = 4;
/// Gauss-Newton steps at most.
const STEPS_MOST: usize = 12;
/// A step this small against full flow ends the refit.
const STEP_SMALL: f64 = 1e-9;

type Theta = [f64; PARAMETERS];

/// One collection, ready for many refits.
#[derive(Clone, Copy, Debug)]
struct Row {
    flow: f64,
    /// Effective voltage over the range.
    s: f64,
    out_kpa: f64,
    /// `1 / K^2`.
    per_k2: f64,
    /// Weight of its square.
    weight: f64,
}

/// A law with its data, fitted, ready to be refitted.
#[derive(Clone, Debug)]
pub struct Refitter {
    rows: Vec<Row>,
    used: usize,
    pressure_kpa: f64,
    opens_kpa: f64,
    full: f64,
    theta: Theta,
    fitted: Vec<f64>,
    residuals: Vec<f64>,
    /// Rows of `(J'J)^-1 J'` at the fit, one after the other.
    projection: Vec<Theta>,
}

/// What many refits came to, one entry a parameter: level, rise and slip, and the bypass's slope where there is one;
/// mL/min over the ranges that the surface's terms are scaled by.
#[derive(Clone, Debug, PartialEq)]
pub struct Bootstrap {
    /// Refits.
    pub draws: usize,
    /// The law fitted to the data.
    pub fitted: Vec<f64>,
    /// Standard deviation over the refits.
    pub sd: Vec<f64>,
    /// 2.5 and 97.5 percentile.
    pub interval: Vec<(f64, f64)>,
}

impl Refitter {
    /// A law on the data's collections; none where it cannot be fitted to them.
    #[must_use]
    pub fn new(data: &PumpData, law: &Law) -> Option<Self> {
        let scaling = &data.scaling;
        let rows: Vec<Row> = data
            .points
            .iter()
            .map(|d| Row {
                flow: d.flow,
                s: scaling.s(d.drive.effective_v()),
                out_kpa: d.outlet.out_kpa,
                per_k2: 1.0 / (d.outlet.k * d.outlet.k),
                weight: d.weight,
            })
            .collect();
        Refitter::fitted(rows, scaling.pressure_kpa, law.opening.map(|o| o.opens_kpa), scaling.flow_ml_min)
    }

    /// The law on these rows, fitted; a bypass opens at a pressure where there is one.
    fn fitted(rows: Vec<Row>, pressure_kpa: f64, opening: Option<f64>, full: f64) -> Option<Self> {
        let mut refitter = Refitter {
            used: if opening.is_some() { PARAMETERS } else { PARAMETERS - 1 },
            pressure_kpa,
            opens_kpa: opening.unwrap_or(f64::INFINITY),
            full,
            theta: [0.05 * full, 1.2 * full, 0.25 * full, 0.0],
            fitted: Vec::new(),
            residuals: Vec::new(),
            projection: Vec::new(),
            rows,
        };
        if refitter.rows.len() <= refitter.used {
            return None;
        }
        if opening.is_some() {
            refitter.theta[3] = 0.5 * refitter.full;
        }
        let flows: Vec<f64> = refitter.rows.iter().map(|r| r.flow).collect();
        refitter.theta = refitter.steps(refitter.theta, &flows, 10 * STEPS_MOST)?;
        refitter.settle();
        refitter.project()?;
        Some(refitter)
    }

    /// Refits to resampled residuals.
    #[must_use]
    pub fn run(&self, draws: usize, seed: Seed) -> Bootstrap {
        let mut stream = seed.stream("bootstrap");
        let mut flows = vec![0.0; self.rows.len()];
        let thetas: Vec<Theta> = (0..draws).filter_map(|_| self.draw(&mut stream, &mut flows)).collect();
        self.summary(&thetas)
    }

    /// One refit; `flows` is room to work in.
    pub fn draw(&self, stream: &mut Stream, flows: &mut [f64]) -> Option<[f64; 4]> {
        let mut theta = self.theta;
        let last = self.rows.len() - 1;
        let n = self.rows.len() as f64;
        for ((flow, fitted), p) in flows.iter_mut().zip(&self.fitted).zip(&self.projection) {
            let dealt = self.residuals[(uniform(stream, 0.0, n) as usize).min(last)];
            *flow = fitted + dealt;
            for (t, p) in theta.iter_mut().zip(p) {
                *t += p * dealt;
            }
        }
        self.steps(theta, flows, STEPS_MOST)
    }

    /// Operating point (closed form), share and line pressure over the opening.
    fn operate(&self, theta: &Theta, row: &Row) -> (f64, f64, f64) {
        let free = theta[0] + theta[1] * row.s;
        let root = |a: f64, b: f64| {
            // a = flow against the outlet alone, b = loss per kPa: (b/K^2) Q^2 + Q - a = 0.
            let c = b * row.per_k2;
            if c.abs() < 1e-12 { a } else { 2.0 * a / (1.0 + (1.0 + 4.0 * c * a).max(0.0).sqrt()) }
        };
        let slip = theta[2] / self.pressure_kpa;
        let mut loss = slip;
        let mut q = root(free - slip * row.out_kpa, slip);
        let mut over = row.out_kpa + q * q * row.per_k2 - self.opens_kpa;
        if over > 0.0 && self.used == PARAMETERS {
            let relief = theta[3] / self.pressure_kpa;
            loss = slip + relief;
            q = root(free - slip * row.out_kpa - relief * (row.out_kpa - self.opens_kpa), loss);
            over = (row.out_kpa + q * q * row.per_k2 - self.opens_kpa).max(0.0);
        }
        (q, 1.0 / (1.0 + loss * 2.0 * q * row.per_k2), over.max(0.0))
    }

    /// Change of the flow per parameter.
    fn gradient(&self, row: &Row, (q, share, over): (f64, f64, f64)) -> Theta {
        let line = row.out_kpa + q * q * row.per_k2;
        [share, share * row.s, -share * line / self.pressure_kpa, -share * over / self.pressure_kpa]
    }

    /// Gauss-Newton steps to the least squares for these flows.
    fn steps(&self, mut theta: Theta, flows: &[f64], most: usize) -> Option<Theta> {
        for _ in 0..most {
            let (mut normal, mut right) = ([[0.0; PARAMETERS]; PARAMETERS], [0.0; PARAMETERS]);
            for (row, flow) in self.rows.iter().zip(flows) {
                let at = self.operate(&theta, row);
                let g = self.gradient(row, at);
                let r = flow - at.0;
                for i in 0..self.used {
                    let wg = row.weight * g[i];
                    right[i] += wg * r;
                    for j in 0..=i {
                        normal[i][j] += wg * g[j];
                    }
                }
            }
            let step = solve(normal, right, self.used)?;
            theta.iter_mut().zip(step).for_each(|(t, s)| *t += s);
            if step.iter().all(|s| s.abs() < STEP_SMALL * self.full) {
                return Some(theta);
            }
        }
        theta.iter().all(|t| t.is_finite()).then_some(theta)
    }

    /// Fitted flows, and residuals widened by the degrees of freedom that the fit took.
    fn settle(&mut self) {
        let n = self.rows.len() as f64;
        let widen = (n / (n - self.used as f64)).sqrt();
        self.fitted = self.rows.iter().map(|r| self.operate(&self.theta, r).0).collect();
        let off: Vec<f64> = self.rows.iter().zip(&self.fitted).map(|(r, f)| r.flow - f).collect();
        let mean = off.iter().sum::<f64>() / n;
        self.residuals = off.iter().map(|r| (r - mean) * widen).collect();
    }

    /// The first step's projection.
    fn project(&mut self) -> Option<()> {
        let gradients: Vec<Theta> =
            self.rows.iter().map(|r| self.gradient(r, self.operate(&self.theta, r))).collect();
        let mut normal = [[0.0; PARAMETERS]; PARAMETERS];
        for (row, g) in self.rows.iter().zip(&gradients) {
            for i in 0..self.used {
                for j in 0..=i {
                    normal[i][j] += row.weight * g[i] * g[j];
                }
            }
        }
        self.projection = gradients
            .iter()
            .zip(&self.rows)
            .map(|(g, row)| solve(normal, g.map(|v| row.weight * v), self.used))
            .collect::<Option<_>>()?;
        Some(())
    }

    fn summary(&self, thetas: &[Theta]) -> Bootstrap {
        let n = thetas.len().max(1) as f64;
        let each = |k: usize| {
            let mut values: Vec<f64> = thetas.iter().map(|t| t[k]).collect();
            values.sort_by(f64::total_cmp);
            let mean = values.iter().sum::<f64>() / n;
            let sd = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0)).sqrt();
            let at = |p: f64| {
                values
                    .get(((values.len().saturating_sub(1)) as f64 * p).round() as usize)
                    .copied()
                    .unwrap_or(f64::NAN)
            };
            (sd, (at(0.025), at(0.975)))
        };
        let (sd, interval) = (0..self.used).map(each).unzip();
        Bootstrap { draws: thetas.len(), fitted: self.theta[..self.used].to_vec(), sd, interval }
    }

    /// The parameters' terms, in order.
    #[must_use]
    pub fn terms(&self) -> Vec<Term> {
        let relief = Term::Relief { opens_kpa: self.opens_kpa, width_kpa: 0.0 };
        let mut terms = vec![Term::Level, Term::Rise, Term::Slip];
        terms.extend((self.used == PARAMETERS).then_some(relief));
        terms
    }
}

/// Solves the first `n` of symmetric equations given by their lower part, by Cholesky's way.
fn solve(mut a: [[f64; PARAMETERS]; PARAMETERS], mut b: Theta, n: usize) -> Option<Theta> {
    for i in 0..n {
        for j in 0..=i {
            let before: f64 = a[i].iter().zip(&a[j]).take(j).map(|(x, y)| x * y).sum();
            let sum = a[i][j] - before;
            if i == j {
                if sum <= 1e-14 * a[i][i].abs() || !sum.is_finite() {
                    return None;
                }
                a[i][i] = sum.sqrt();
            } else {
                a[i][j] = sum / a[j][j];
            }
        }
        let mut sum = b[i];
        for k in 0..i {
            sum -= a[i][k] * b[k];
        }
        b[i] = sum / a[i][i];
    }
    for i in (0..n).rev() {
        let mut sum = b[i];
        for k in i + 1..n {
            sum -= a[k][i] * b[k];
        }
        b[i] = sum / a[i][i];
    }
    b[n..].iter_mut().for_each(|v| *v = 0.0);
    Some(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column<'a>(header: &str, line: &'a str, name: &str) -> &'a str {
        let at = header.split(',').position(|h| h == name).unwrap();
        line.split(',').nth(at).unwrap()
    }

    fn table(file: &str, case: &str) -> (String, Vec<String>) {
        let path = format!("{}/tests/reference/fits/{file}", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(path).unwrap();
        let mut lines = text.lines();
        let header = lines.next().unwrap().to_owned();
        (header, lines.filter(|l| l.starts_with(case) && !l.contains("corr(")).map(str::to_owned).collect())
    }

    /// The implicit pump and nozzle of `fits/`, K = 63.09: columns are supply, duty, boost (psi), flow.
    fn reference() -> Refitter {
        let (header, lines) = table("fit_data.csv", "IMPLICIT_PUMP_NOZZLE,");
        let rows = lines.iter().map(|line| {
            let num = |name| column(&header, line, name).parse::<f64>().unwrap();
            Row {
                flow: num("y"),
                s: num("x1") * num("x2"),
                out_kpa: num("x3"),
                per_k2: 1.0 / 63.09_f64.powi(2),
                weight: 1.0 / num("u_y").powi(2),
            }
        });
        let mut fitted = Refitter::fitted(rows.collect(), 1.0, None, 1000.0).unwrap();
        fitted.theta = fitted.steps([-30.0, 70.0, 1.0, 0.0], &flows(&fitted), 100).unwrap();
        fitted.settle();
        fitted.project().unwrap();
        fitted
    }

    fn flows(r: &Refitter) -> Vec<f64> {
        r.rows.iter().map(|row| row.flow).collect()
    }

    #[test]
    fn parameters_match_the_reference_solution() {
        // Source: fits/fit_expected.csv, 50-digit Gauss-Newton with lmfit and scipy agreeing (grade D).
        let found = reference();
        let (header, lines) = table("fit_expected.csv", "IMPLICIT_PUMP_NOZZLE,");
        for line in &lines {
            let want: f64 = column(&header, line, "estimate").parse().unwrap();
            let got = match column(&header, line, "parameter") {
                "a" => found.theta[1],
                "b" => found.theta[2],
                _ => -found.theta[0],
            };
            assert!((got / want - 1.0).abs() < 1e-8, "{line}: {got}");
        }
        assert_eq!(lines.len(), 3);
    }

    #[test]
    fn refits_scatter_as_the_reference_says() {
        // The same source's standard errors, scaled by the residuals; 4000 refits are good for about 3 %.
        let found = reference().run(4000, Seed(1));
        let (header, lines) = table("fit_expected.csv", "IMPLICIT_PUMP_NOZZLE,");
        for line in &lines {
            let want: f64 = column(&header, line, "se_scaled_by_reduced_chi2").parse().unwrap();
            let got = match column(&header, line, "parameter") {
                "a" => found.sd[1],
                "b" => found.sd[2],
                _ => found.sd[0],
            };
            assert!((got / want - 1.0).abs() < 0.06, "{line}: {got}");
        }
    }

    #[test]
    fn a_bypass_without_noise_comes_back() {
        let truth = [20.0, 700.0, 150.0, 900.0];
        let rows: Vec<Row> = (1..=12)
            .map(|i| Row {
                flow: 0.0,
                s: f64::from(i) / 12.0,
                out_kpa: 0.0,
                per_k2: 1.0 / 900.0,
                weight: 1.0,
            })
            .collect();
        let blank = Refitter {
            rows: rows.clone(),
            used: PARAMETERS,
            pressure_kpa: 300.0,
            opens_kpa: 180.0,
            full: 500.0,
            theta: truth,
            fitted: Vec::new(),
            residuals: Vec::new(),
            projection: Vec::new(),
        };
        let rows =
            rows.into_iter().map(|r| Row { flow: blank.operate(&truth, &r).0, ..r }).collect::<Vec<_>>();
        let found = Refitter::fitted(rows, 300.0, Some(180.0), 500.0).unwrap();
        for (got, want) in found.theta.iter().zip(truth) {
            assert!((got - want).abs() < 1e-5 * want, "{:?}", found.theta);
        }
        let spread = found.run(50, Seed(2));
        assert!(spread.sd.iter().all(|s| *s < 1e-5), "{spread:?}");
    }
}
