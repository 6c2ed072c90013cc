//! What the pump's fit works on: flows at effective voltages through nozzles, and their linearised form.
//!
//! Pump and nozzle agree at `Q = F(x, P_out + (Q/K)^2)`. Measured pressure is not put into `F`: the pressure at which
//! the pump works follows from the flow through the nozzle's law, so the noise of the gauge does not masquerade as lack
//! of fit. About flows `q` near the data, `Q = q + h (F(x, P(q)) - q)` with `h = 1 / (1 - F_P P'(q))`, and `F` is linear
//! in its coefficients: `z = q + (Q - q)/h` is regressed on the terms at `P(q)`.
//! In: points and nozzle coefficients. Out: rows. Never: a choice of model.

use super::bayes::Rows;
use super::points::Points;
use super::surface::{Outlet, Surface};
use super::terms::{At, Away, Scaling, Term, effective_v};
use nalgebra::{DMatrix, DVector};

/// One point of the pump's fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Datum {
    /// Effective voltage, V.
    pub effective_v: f64,
    /// What it sprays through.
    pub outlet: Outlet,
    /// How far from the reference liquid and temperature.
    pub away: Away,
    /// Measured flow, mL/min.
    pub flow: f64,
    /// Random standard uncertainty of the flow with those of duty and supply carried over, mL/min.
    pub u_flow: f64,
    /// Group of replicates.
    pub group: usize,
}

/// Points of the pump's fit.
#[derive(Clone, Debug, PartialEq)]
pub struct PumpData {
    /// The points.
    pub data: Vec<Datum>,
    /// Number of groups of replicates.
    pub groups: usize,
    /// Scaling of the terms.
    pub scaling: Scaling,
}

/// Where the problem is linearised, a value per datum.
#[derive(Clone, Debug, PartialEq)]
pub struct Linearised {
    /// Flow, mL/min.
    pub flow: Vec<f64>,
    /// Change of flow per change of the pump's flow at fixed pressure.
    pub share: Vec<f64>,
}

impl PumpData {
    /// Takes points, a nozzle coefficient for each nozzle, the diode's voltage and how far each point is from the reference.
    #[must_use]
    pub fn new(points: &Points, k: &[f64], freewheel_v: f64, away: &[Away]) -> Self {
        let mut data: Vec<Datum> = points
            .flowing
            .iter()
            .zip(away)
            .map(|(p, away)| Datum {
                effective_v: effective_v(p.duty, p.supply_v, freewheel_v),
                outlet: Outlet {
                    k: k[p.nozzle],
                    out_kpa: p.out_kpa,
                },
                away: *away,
                flow: p.flow,
                u_flow: p.u_flow,
                group: p.group,
            })
            .collect();
        let ends = |f: &dyn Fn(&Datum) -> f64| {
            data.iter()
                .map(f)
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
                    (a.min(v), b.max(v))
                })
        };
        let x = ends(&|d| d.effective_v);
        let flow = ends(&|d| d.flow).1;
        let line = ends(&|d| d.outlet.out_kpa + (d.flow / d.outlet.k).powi(2)).1;
        let scaling = Scaling {
            effective_v: x,
            pressure_kpa: line,
            flow_ml_min: flow,
        };
        let per_v = flow / (x.1 - x.0);
        for (d, p) in data.iter_mut().zip(&points.flowing) {
            let u_x = ((p.supply_v + freewheel_v) * p.u_duty).hypot(p.duty * p.u_supply_v);
            d.u_flow = d.u_flow.hypot(per_v * u_x);
        }
        PumpData {
            data,
            groups: points.groups.len(),
            scaling,
        }
    }

    /// A first linearisation: group means of flow, and slip from a straight fit.
    #[must_use]
    pub fn start(&self) -> Linearised {
        let flow = self.group_means(|d| d.flow);
        let terms = [Term::Level, Term::Rise, Term::Slip];
        let at = Linearised {
            share: vec![1.0; flow.len()],
            flow,
        };
        let rows = self.rows(&at, &terms);
        let svd = rows.x.clone().svd(true, true);
        let slip = svd.solve(&rows.y, 1e-9).map_or(0.0, |c| c[2]);
        let slip = slip.clamp(0.02 * self.scaling.flow_ml_min, self.scaling.flow_ml_min);
        let share = self
            .data
            .iter()
            .zip(&at.flow)
            .map(|(d, q)| 1.0 / (1.0 + slip / self.scaling.pressure_kpa * 2.0 * q / d.outlet.k.powi(2)));
        Linearised {
            share: share.collect(),
            flow: at.flow,
        }
    }

    /// The linearisation about a surface.
    #[must_use]
    pub fn about(&self, surface: &Surface) -> Linearised {
        let (flow, share) = self
            .data
            .iter()
            .map(|d| {
                let o = surface.operate(d.effective_v, &d.outlet, d.away);
                if o.flow > 0.0 {
                    (o.flow, o.share)
                } else {
                    (d.flow, 1.0)
                }
            })
            .unzip();
        Linearised { flow, share }
    }

    fn at(&self, datum: &Datum, flow: f64) -> At {
        At {
            effective_v: datum.effective_v,
            line_kpa: datum.outlet.out_kpa + (flow / datum.outlet.k).powi(2),
            away: datum.away,
        }
    }

    /// Rows of the linear problem for these terms.
    #[must_use]
    pub fn rows(&self, about: &Linearised, terms: &[Term]) -> Rows {
        let n = self.data.len();
        let mut x = DMatrix::zeros(n, terms.len());
        for (i, (d, q)) in self.data.iter().zip(&about.flow).enumerate() {
            let at = self.at(d, *q);
            for (k, term) in terms.iter().enumerate() {
                x[(i, k)] = term.value(&at, &self.scaling);
            }
        }
        let y = DVector::from_fn(n, |i, _| {
            about.flow[i] + (self.data[i].flow - about.flow[i]) / about.share[i]
        });
        Rows { x, y }
    }

    /// Mean over each datum's group of a value, a value per datum.
    #[must_use]
    pub fn group_means(&self, value: impl Fn(&Datum) -> f64) -> Vec<f64> {
        let mut sums = vec![(0.0, 0.0); self.groups];
        for d in &self.data {
            sums[d.group].0 += value(d);
            sums[d.group].1 += 1.0;
        }
        self.data
            .iter()
            .map(|d| sums[d.group].0 / sums[d.group].1)
            .collect()
    }

    /// Mean square of the scatter within groups of `residuals`, weighted by 1/`shape`, and its degrees of freedom.
    #[must_use]
    pub fn pure_error(&self, residuals: &[f64], shape: &[f64]) -> (f64, f64) {
        let mut weight = vec![0.0; self.groups];
        let mut sum = vec![0.0; self.groups];
        for ((d, r), v) in self.data.iter().zip(residuals).zip(shape) {
            weight[d.group] += 1.0 / v;
            sum[d.group] += r / v;
        }
        let squares: f64 = self
            .data
            .iter()
            .zip(residuals)
            .zip(shape)
            .map(|((d, r), v)| (r - sum[d.group] / weight[d.group]).powi(2) / v)
            .sum();
        let used = weight.iter().filter(|w| **w > 0.0).count();
        let dof = self.data.len().saturating_sub(used) as f64;
        (if dof > 0.0 { squares / dof } else { 0.0 }, dof)
    }
}
