//! What the pump's fit works on: flows at effective voltages through nozzles, and their linearised form.
//!
//! Pump and nozzle agree at `Q = F(x, P_out + (Q/K)^2)`. Measured pressure is not put into `F`: the pressure at which
//! the pump works follows from the flow through the nozzle's law, so the noise of the gauge does not masquerade as lack
//! of fit. About flows `q` near the data, `Q = q + h (F(x, P(q)) - q)` with `h = 1 / (1 - F_P P'(q))`, and `F` is linear
//! in its coefficients: `Q - q (1 - h)` is regressed on `h` times the terms at `P(q)`.
//! In: points and nozzle coefficients. Out: rows. Never: a choice of model.

use super::points::Points;
use super::surface::{Outlet, Surface};
use super::terms::{At, Away, Drive, Scaling};
use crate::numerics::linear;
use nalgebra::DMatrix;

/// Span of temperature from which on the data tell by themselves, K.
const TELLING_K: f64 = 6.0;

/// Weight of a collection that went wrong: its standard deviation counts as five times the others'.
const MISTRUSTED: f64 = 0.04;

/// One point of the pump's fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Datum {
    /// How the pump was driven.
    pub drive: Drive,
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
    /// Weight among its replicates and against other collections: 1, less for one that went wrong.
    pub weight: f64,
}

/// Points of the pump's fit.
#[derive(Clone, Debug, PartialEq)]
pub struct PumpData {
    /// Every collection.
    pub points: Vec<Datum>,
    /// Means of replicates, in the order of the groups: the rows of the fit, and the flows it is linearised about.
    pub means: Vec<Datum>,
    /// How many collections each mean is of.
    pub counts: Vec<usize>,
    /// Slope of flow over effective voltage about each mean, mL/min per V.
    pub slopes: Vec<f64>,
    /// Flows about which the means are linearised, mL/min; see [`PumpData::about`].
    pub about: Vec<f64>,
    /// Scaling of the terms.
    pub scaling: Scaling,
}

impl PumpData {
    /// Takes points, a nozzle coefficient for each nozzle, the diode's voltage and how far each point is from the
    /// reference.
    #[must_use]
    pub fn new(points: &Points, k: &[f64], freewheel_v: f64, away: &[Away]) -> Self {
        let data = data(points, k, freewheel_v, away);
        let ends = |f: &dyn Fn(&Datum) -> f64| {
            data.iter().map(f).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)))
        };
        let scaling = Scaling {
            effective_v: ends(&|d| d.drive.effective_v()),
            pressure_kpa: ends(&|d| d.outlet.out_kpa + (d.flow / d.outlet.k).powi(2)).1,
            flow_ml_min: ends(&|d| d.flow).1,
        };
        let (rough, counts) = means(&data, points.groups.len());
        let slopes = slopes(&rough);
        let carried = points
            .flowing
            .iter()
            .map(|p| slopes[p.group] * ((p.supply_v + freewheel_v) * p.u_duty).hypot(p.duty * p.u_supply_v));
        let data: Vec<Datum> =
            data.iter().zip(carried).map(|(d, u)| Datum { u_flow: d.u_flow.hypot(u), ..*d }).collect();
        let (means, _) = means(&data, points.groups.len());
        let about = smooth(&means, &counts);
        PumpData { points: data, means, counts, slopes, about, scaling }
    }

    /// Moves the linearisation of collections without replicates to where a fitted surface meets the nozzle. A flow that
    /// is linearised about itself would bring its own noise into the pressure it is explained by, and any law that is
    /// the nozzle's would fit it perfectly.
    pub fn about(&mut self, surface: &Surface) {
        for ((d, count), about) in self.means.iter().zip(&self.counts).zip(&mut self.about) {
            let o = surface.operate(&d.drive, &d.outlet, d.away);
            if *count < 2 && o.flow > 0.0 {
                *about = o.flow;
            }
        }
    }

    /// Whether some collection has no replicate.
    #[must_use]
    pub fn has_singles(&self) -> bool {
        self.counts.iter().any(|c| *c < 2)
    }

    /// Whether the data span enough temperature to tell by themselves what it does.
    #[must_use]
    pub fn tells_warmth(&self) -> bool {
        let warm = self.means.iter().map(|d| d.away.warm_k);
        warm.clone().fold(f64::NEG_INFINITY, f64::max) - warm.fold(f64::INFINITY, f64::min) >= TELLING_K
    }

    /// Whether the data hold more than one nozzle or outlet pressure.
    #[must_use]
    pub fn several_outlets(&self) -> bool {
        self.means.iter().any(|d| {
            let first = self.means[0].outlet;
            (d.outlet.k / first.k - 1.0).abs() > 0.02 || (d.outlet.out_kpa - first.out_kpa).abs() > 5.0
        })
    }

    /// Where each datum lies on the pump's surface, for the flows about which it is linearised.
    #[must_use]
    pub fn places(&self, flows: &[f64]) -> Vec<At> {
        self.means
            .iter()
            .zip(flows)
            .map(|(d, q)| At {
                drive: d.drive,
                line_kpa: d.outlet.out_kpa + (q / d.outlet.k).powi(2),
                away: d.away,
            })
            .collect()
    }

    /// Share of each datum under a loss of flow per kPa of line pressure: `h = 1 / (1 + loss P'(q))`.
    #[must_use]
    pub fn shares(&self, flows: &[f64], loss_per_kpa: impl Fn(usize) -> f64) -> Vec<f64> {
        self.means
            .iter()
            .zip(flows)
            .enumerate()
            .map(|(i, (d, q))| 1.0 / (1.0 + loss_per_kpa(i).max(0.0) * 2.0 * q / (d.outlet.k * d.outlet.k)))
            .collect()
    }

    /// Responses of the linear problem: `Q - q (1 - h)`.
    #[must_use]
    pub fn responses(&self, flows: &[f64], shares: &[f64]) -> Vec<f64> {
        self.means.iter().zip(flows).zip(shares).map(|((d, q), h)| d.flow - q * (1.0 - h)).collect()
    }

    /// Gives the collections at these places so little weight that one that went wrong does no harm.
    pub fn mistrust(&mut self, wrong: &[usize]) {
        for i in wrong {
            self.points[*i].weight = MISTRUSTED;
        }
        let groups = self.means.len();
        (self.means, self.counts) = means(&self.points, groups);
        self.about = smooth(&self.means, &self.counts);
    }

    /// Each collection's flow less its group's mean, brought to the mean's effective voltage by the slope there, mL/min.
    #[must_use]
    pub fn deviations(&self) -> Vec<f64> {
        let off = |d: &Datum| {
            let mean = &self.means[d.group];
            d.flow - mean.flow - self.slopes[d.group] * (d.drive.effective_v() - mean.drive.effective_v())
        };
        self.points.iter().map(off).collect()
    }

    /// Scatter of replicates about their means: sum of squares with weights 1/`shape` (a value per point), and its degrees
    /// of freedom. A mistrusted collection adds next to nothing to either.
    #[must_use]
    pub fn within(&self, shape: &[f64]) -> (f64, f64) {
        let deviations = self.deviations();
        let squares =
            self.points.iter().zip(deviations).zip(shape).map(|((d, r), v)| d.weight * r * r / v).sum();
        let trusted = self.points.iter().filter(|d| d.weight >= 1.0).count();
        let groups = self.means.iter().filter(|m| m.weight >= 1.0).count();
        (squares, trusted.saturating_sub(groups) as f64)
    }
}

fn data(points: &Points, k: &[f64], freewheel_v: f64, away: &[Away]) -> Vec<Datum> {
    points
        .flowing
        .iter()
        .zip(away)
        .map(|(p, away)| Datum {
            drive: Drive { duty: p.duty, supply_v: p.supply_v, freewheel_v },
            outlet: Outlet { k: k[p.nozzle], out_kpa: p.out_kpa },
            away: *away,
            flow: p.flow,
            u_flow: p.u_flow,
            group: p.group,
            weight: 1.0,
        })
        .collect()
}

/// Weighted means over groups, and how many points each is of.
fn means(data: &[Datum], groups: usize) -> (Vec<Datum>, Vec<usize>) {
    let mut counts = vec![0; groups];
    let mut means: Vec<Option<Datum>> = vec![None; groups];
    for d in data {
        counts[d.group] += 1;
        let m = means[d.group].get_or_insert(Datum { weight: 0.0, ..*d });
        m.weight += d.weight;
        let part = d.weight / m.weight;
        let step = |mean: &mut f64, value: f64| *mean += part * (value - *mean);
        step(&mut m.drive.duty, d.drive.duty);
        step(&mut m.drive.supply_v, d.drive.supply_v);
        step(&mut m.flow, d.flow);
        step(&mut m.outlet.out_kpa, d.outlet.out_kpa);
        step(&mut m.away.thin, d.away.thin);
        step(&mut m.away.warm_k, d.away.warm_k);
    }
    (means.into_iter().flatten().collect(), counts)
}

/// Least distance of means from whose flows a slope is taken, fraction of the range of effective voltage.
const SLOPE_APART: f64 = 0.01;

/// Slope of flow over effective voltage about each mean, from the nearest means of the same outlet on both sides of it;
/// of all of them where there are none.
fn slopes(means: &[Datum]) -> Vec<f64> {
    let x = |d: &Datum| d.drive.effective_v();
    let (low, high) =
        means.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| (a.min(x(d)), b.max(x(d))));
    let apart = SLOPE_APART * (high - low);
    let least = means.iter().map(|d| d.flow).fold(f64::INFINITY, f64::min);
    let most = means.iter().map(|d| d.flow).fold(0.0, f64::max);
    let overall = (most - least) / (high - low);
    let one = |d: &Datum| {
        let same = || means.iter().filter(|m| d.outlet.like(&m.outlet));
        let below = same().filter(|m| x(m) < x(d) - apart).max_by(|a, b| x(a).total_cmp(&x(b)));
        let above = same().filter(|m| x(m) > x(d) + apart).min_by(|a, b| x(a).total_cmp(&x(b)));
        let (from, to) = (below.unwrap_or(d), above.unwrap_or(d));
        let slope = (to.flow - from.flow) / (x(to) - x(from));
        if slope.is_finite() && slope >= 0.0 { slope } else { overall }
    };
    means.iter().map(one).collect()
}

/// Nearest points along effective voltage that a collection without replicates is smoothed over.
const NEIGHBOURS: usize = 7;

/// The means themselves where they are of replicates; a parabola through their neighbours, themselves left out, where
/// they are not.
fn smooth(means: &[Datum], counts: &[usize]) -> Vec<f64> {
    means
        .iter()
        .zip(counts)
        .map(|(d, count)| if *count > 1 { d.flow } else { neighbours(means, d) })
        .collect()
}

/// The parabola through the nearest points of the same outlet, at a datum; its own flow where there are too few.
fn neighbours(means: &[Datum], d: &Datum) -> f64 {
    let x = d.drive.effective_v();
    let mut near: Vec<(f64, f64)> = means
        .iter()
        .filter(|m| m.group != d.group && m.outlet.like(&d.outlet))
        .map(|m| (m.drive.effective_v() - x, m.flow))
        .collect();
    near.sort_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    near.truncate(NEIGHBOURS);
    if near.len() < NEIGHBOURS - 2 {
        return d.flow;
    }
    let rows = DMatrix::from_fn(near.len(), 3, |i, k| near[i].0.powi(k as i32));
    let flows: Vec<f64> = near.iter().map(|n| n.1).collect();
    linear::weighted(&rows, &flows, None).map_or(d.flow, |fit| fit.predict(&[1.0, 0.0, 0.0]))
}
