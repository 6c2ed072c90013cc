//! What the pump's fit works on: flows at effective voltages through nozzles, and their linearised form.
//!
//! Pump and nozzle agree at `Q = F(x, P_out + (Q/K)^2)`. Measured pressure is not put into `F`: the pressure at which
//! the pump works follows from the flow through the nozzle's law, so the noise of the gauge does not masquerade as lack
//! of fit. About flows `q` near the data, `Q = q + h (F(x, P(q)) - q)` with `h = 1 / (1 - F_P P'(q))`, and `F` is linear
//! in its coefficients: `Q - q (1 - h)` is regressed on `h` times the terms at `P(q)`.
//! In: points and nozzle coefficients. Out: rows. Never: a choice of model.

use super::points::Points;
use super::surface::Outlet;
use super::terms::{At, Away, Scaling, effective_v};
use nalgebra::DVector;

/// Span of temperature from which on the data tell by themselves, K.
const TELLING_K: f64 = 6.0;

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

    /// Flow about which each datum is linearised, mL/min: the mean of its replicates, carried over to the datum's own
    /// effective voltage by the mean slope.
    #[must_use]
    pub fn flows(&self) -> Vec<f64> {
        let x = self.group_means(|d| d.effective_v);
        let q = self.group_means(|d| d.flow);
        let slope = self.slope();
        self.data
            .iter()
            .zip(x)
            .zip(q)
            .map(|((d, x), q)| (q + slope * (d.effective_v - x)).max(0.5 * q))
            .collect()
    }

    /// Whether the data span enough temperature to tell by themselves what it does.
    #[must_use]
    pub fn tells_warmth(&self) -> bool {
        let warm = self.data.iter().map(|d| d.away.warm_k);
        warm.clone().fold(f64::NEG_INFINITY, f64::max) - warm.fold(f64::INFINITY, f64::min) >= TELLING_K
    }

    /// Whether the data hold more than one nozzle or outlet pressure.
    #[must_use]
    pub fn several_outlets(&self) -> bool {
        self.data.iter().any(|d| {
            let first = self.data[0].outlet;
            (d.outlet.k / first.k - 1.0).abs() > 0.02 || (d.outlet.out_kpa - first.out_kpa).abs() > 5.0
        })
    }

    /// Mean slope of flow over effective voltage, mL/min per V.
    #[must_use]
    pub fn slope(&self) -> f64 {
        self.scaling.flow_ml_min / (self.scaling.effective_v.1 - self.scaling.effective_v.0)
    }

    /// Where each datum lies on the pump's surface, for the flows about which it is linearised.
    #[must_use]
    pub fn places(&self, flows: &[f64]) -> Vec<At> {
        self.data
            .iter()
            .zip(flows)
            .map(|(d, q)| At {
                effective_v: d.effective_v,
                line_kpa: d.outlet.out_kpa + (q / d.outlet.k).powi(2),
                away: d.away,
            })
            .collect()
    }

    /// Share of each datum under a loss of flow per kPa of line pressure: `h = 1 / (1 + loss P'(q))`.
    #[must_use]
    pub fn shares(&self, flows: &[f64], loss_per_kpa: impl Fn(usize) -> f64) -> Vec<f64> {
        self.data
            .iter()
            .zip(flows)
            .enumerate()
            .map(|(i, (d, q))| 1.0 / (1.0 + loss_per_kpa(i).max(0.0) * 2.0 * q / (d.outlet.k * d.outlet.k)))
            .collect()
    }

    /// Responses of the linear problem: `Q - q (1 - h)`.
    #[must_use]
    pub fn responses(&self, flows: &[f64], shares: &[f64]) -> DVector<f64> {
        DVector::from_fn(flows.len(), |i, _| {
            self.data[i].flow - flows[i] * (1.0 - shares[i])
        })
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
