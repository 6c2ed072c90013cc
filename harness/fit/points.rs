//! The points of a fit: collections that can be used, in one order, with replicates recognised.
//!
//! In: collections. Out: flowing points grouped by nozzle and duty, and the duties at which nothing flowed. Void
//! collections are left out, outliers never.

use super::facts::{FitRefusal, NEEDED_DUTIES};
use super::terms::Away;
use crate::reduce::collection::Collection;

/// Collections of one nozzle whose duties lie this close belong together, % of duty.
const SAME_DUTY_PCT: f64 = 0.25;
/// So must their supplies, V.
const SAME_SUPPLY_V: f64 = 0.3;
/// Flow below this fraction of the highest is no steady flow.
const NO_FLOW_FRACTION: f64 = 0.002;

/// One collection as the fit uses it.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Step of the collection.
    pub step: u32,
    /// Repeat number.
    pub repeat: u32,
    /// Index of its nozzle in [`Points::nozzles`].
    pub nozzle: usize,
    /// Index of its group of replicates.
    pub group: usize,
    /// Duty, fraction.
    pub duty: f64,
    /// Supply, V.
    pub supply_v: f64,
    /// Line pressure, gauge kPa, where measured.
    pub line_kpa: Option<f64>,
    /// Pressure the nozzle sprays into, gauge kPa.
    pub out_kpa: f64,
    /// Water temperature, degC, where known.
    pub water_degc: Option<f64>,
    /// How far that is from the reference; at it where not known.
    pub away: Away,
    /// Flow, mL/min.
    pub flow: f64,
    /// Random standard uncertainty of the flow within the dwell, mL/min.
    pub u_flow: f64,
    /// Of the line pressure, kPa.
    pub u_line_kpa: f64,
    /// Of the duty, fraction.
    pub u_duty: f64,
    /// Of the supply, V.
    pub u_supply_v: f64,
}

/// Replicates: the same nozzle at the same duty.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Index of the nozzle.
    pub nozzle: usize,
    /// Mean duty, fraction.
    pub duty: f64,
    /// Mean flow, mL/min.
    pub flow: f64,
    /// How many.
    pub count: usize,
}

/// Points of a fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Points {
    /// Names of nozzles, in order of first appearance.
    pub nozzles: Vec<String>,
    /// Points with flow, in the order of the collections.
    pub flowing: Vec<Point>,
    /// Groups of flowing points, by nozzle, then by duty.
    pub groups: Vec<Group>,
    /// Duties (fraction) at which nothing flowed, with the nozzle's index.
    pub dry: Vec<(usize, f64)>,
    /// Highest flow, mL/min.
    pub highest_flow: f64,
    /// Lowest and highest duty with flow, fraction.
    pub duty_range: (f64, f64),
    /// Mean supply of the flowing points, V.
    pub mean_supply_v: f64,
    /// Mean water temperature where known, degC.
    pub mean_water_degc: Option<f64>,
    /// Whether every duty was measured; false where some were only commanded.
    pub duty_measured: bool,
}

/// Outlet pressures this near to each other are one level, kPa.
const SAME_OUTLET_KPA: f64 = 1.0;

/// The usable points of a data set.
///
/// # Errors
/// A refusal where nothing flows, flow does not depend on more than a few duties, or a value is impossible.
pub fn points(collections: &[Collection]) -> Result<Points, FitRefusal> {
    let void = collections.iter().filter(|c| c.void.is_some()).count();
    let good: Vec<&Collection> = collections.iter().filter(|c| c.void.is_none()).collect();
    let without_duty = good.iter().filter(|c| c.duty().is_none()).count();
    let mut nozzles: Vec<String> = Vec::new();
    let mut all = Vec::with_capacity(good.len());
    for collection in good {
        let Some(duty_pct) = collection.duty() else {
            continue;
        };
        check(collection, duty_pct)?;
        let nozzle = index_of(&mut nozzles, &collection.nozzle);
        all.push(point(collection, duty_pct, nozzle));
    }
    let highest = all.iter().map(|p| p.duty).fold(f64::NEG_INFINITY, f64::max);
    let highest_flow = all.iter().map(|p| p.flow).fold(0.0, f64::max);
    if all.is_empty() {
        return Err(FitRefusal::NoData { collections: collections.len(), void, without_duty });
    }
    let (flowing, dry): (Vec<Point>, Vec<Point>) =
        all.into_iter().partition(|p| p.flow > (NO_FLOW_FRACTION * highest_flow).max(3.0 * p.u_flow));
    if flowing.is_empty() {
        return Err(FitRefusal::NoFlow { highest_pct: 100.0 * highest, flow_ml_min: highest_flow });
    }
    let duty_measured = collections.iter().filter(|c| c.void.is_none()).all(|c| c.duty_pct.is_some());
    let points = assemble(nozzles, flowing, &dry, highest_flow, duty_measured);
    points.check_spread()?;
    Ok(points)
}

fn assemble(
    nozzles: Vec<String>,
    flowing: Vec<Point>,
    dry: &[Point],
    highest_flow: f64,
    duty_measured: bool,
) -> Points {
    let mut flowing = flowing;
    let groups = group(&mut flowing);
    let n = flowing.len() as f64;
    let temperatures: Vec<f64> = flowing.iter().filter_map(|p| p.water_degc).collect();
    let duty_range =
        flowing.iter().fold((f64::INFINITY, 0.0_f64), |(low, high), p| (low.min(p.duty), high.max(p.duty)));
    Points {
        nozzles,
        groups,
        dry: dry.iter().map(|p| (p.nozzle, p.duty)).collect(),
        highest_flow,
        duty_range,
        mean_supply_v: flowing.iter().map(|p| p.supply_v).sum::<f64>() / n,
        mean_water_degc: (!temperatures.is_empty())
            .then(|| temperatures.iter().sum::<f64>() / temperatures.len() as f64),
        flowing,
        duty_measured,
    }
}

fn index_of(names: &mut Vec<String>, name: &str) -> usize {
    names.iter().position(|n| n == name).unwrap_or_else(|| {
        names.push(name.to_owned());
        names.len() - 1
    })
}

fn point(c: &Collection, duty_pct: f64, nozzle: usize) -> Point {
    Point {
        step: c.step,
        repeat: c.repeat,
        nozzle,
        group: 0,
        duty: duty_pct / 100.0,
        supply_v: c.supply_v,
        line_kpa: c.line_pressure_kpa,
        out_kpa: c.back_pressure_kpa,
        water_degc: c.water_degc,
        away: Away::default(),
        flow: c.flow_ml_min,
        u_flow: c.flow_random_ml_min.max(0.0),
        u_line_kpa: c.pressure_random_kpa.max(0.0),
        u_duty: c.duty_random_pct.max(0.0) / 100.0,
        u_supply_v: c.supply_random_v.max(0.0),
    }
}

/// Values that no bench gives are refused by name, so that a unit slip is not fitted.
fn check(c: &Collection, duty_pct: f64) -> Result<(), FitRefusal> {
    let refuse = |what: String| Err(FitRefusal::Impossible { step: c.step, what });
    if !(0.0..=100.0 + SAME_DUTY_PCT).contains(&duty_pct) {
        return refuse(format!("duty {duty_pct} %, expected 0 to 100 %"));
    }
    if !(c.supply_v.is_finite() && c.supply_v > 1.0 && c.supply_v < 60.0) {
        return refuse(format!("supply {} V, expected 1 to 60 V", c.supply_v));
    }
    if !c.flow_ml_min.is_finite() {
        return refuse(format!("flow {} mL/min, expected a number", c.flow_ml_min));
    }
    let pressures = [c.line_pressure_kpa.unwrap_or(0.0), c.back_pressure_kpa];
    if let Some(bad) = pressures.iter().find(|p| !(p.is_finite() && **p > -101.0 && **p < 1e4)) {
        return refuse(format!("pressure {bad} kPa, expected -101 to 10000 kPa"));
    }
    if let Some(bad) = c.water_degc.filter(|t| !(*t > -40.0 && *t < 100.0)) {
        return refuse(format!("water temperature {bad} degC, expected -40 to 100 degC"));
    }
    Ok(())
}

/// Numbers groups of replicates into the points: same nozzle, and outlet pressure, duty and supply within what counts
/// as the same. The groups come in that order.
fn group(points: &mut [Point]) -> Vec<Group> {
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by_key(|i| points[*i].nozzle);
    let mut runs: Vec<Vec<usize>> =
        order.chunk_by(|a, b| points[*a].nozzle == points[*b].nozzle).map(<[usize]>::to_vec).collect();
    for (value, width) in SAME {
        let split = |run: Vec<usize>| levels(run, |i| value(&points[i]), width);
        runs = runs.into_iter().flat_map(split).collect();
    }
    let mut groups = Vec::with_capacity(runs.len());
    for run in runs {
        let n = run.len() as f64;
        groups.push(Group {
            nozzle: points[run[0]].nozzle,
            duty: run.iter().map(|i| points[*i].duty).sum::<f64>() / n,
            flow: run.iter().map(|i| points[*i].flow).sum::<f64>() / n,
            count: run.len(),
        });
        run.into_iter().for_each(|i| points[i].group = groups.len() - 1);
    }
    groups
}

/// What replicates have in common: a value of a point, and how far values of one level may lie above its lowest.
type Common = (fn(&Point) -> f64, f64);

/// The three.
const SAME: [Common; 3] = [
    (|p| p.out_kpa, SAME_OUTLET_KPA),
    (|p| p.duty, 2.0 * SAME_DUTY_PCT / 100.0),
    (|p| p.supply_v, SAME_SUPPLY_V),
];

/// Splits points into levels of a value, ascending: those of one level lie within `width` above its lowest.
fn levels(mut run: Vec<usize>, value: impl Fn(usize) -> f64, width: f64) -> Vec<Vec<usize>> {
    run.sort_by(|a, b| value(*a).total_cmp(&value(*b)));
    let mut split: Vec<Vec<usize>> = Vec::new();
    let mut lowest = f64::NEG_INFINITY;
    for i in run {
        if split.is_empty() || value(i) - lowest > width {
            split.push(Vec::new());
            lowest = value(i);
        }
        if let Some(level) = split.last_mut() {
            level.push(i);
        }
    }
    split
}

impl Points {
    /// Degrees of freedom of the scatter between replicates.
    #[must_use]
    pub fn replicate_dof(&self) -> usize {
        self.groups.iter().map(|g| g.count - 1).sum()
    }

    fn check_spread(&self) -> Result<(), FitRefusal> {
        let (low, high) = self.duty_range;
        let mut duties: Vec<f64> = self.groups.iter().map(|g| g.duty).collect();
        duties.sort_by(f64::total_cmp);
        let mut distinct = 0;
        let mut last = f64::NEG_INFINITY;
        for d in duties {
            if (d - last) * 100.0 > SAME_DUTY_PCT {
                distinct += 1;
                last = d;
            }
        }
        if distinct == 1 {
            return Err(FitRefusal::OneDuty { duty_pct: 100.0 * low, collections: self.flowing.len() });
        }
        let falls = self.slope_change();
        if falls < 0.0 {
            return Err(FitRefusal::FallsWithDuty {
                change_ml_min: falls,
                between_pct: (100.0 * low, 100.0 * high),
            });
        }
        if distinct < NEEDED_DUTIES {
            return Err(FitRefusal::TooFewDuties { found: distinct, needed: NEEDED_DUTIES });
        }
        Ok(())
    }

    /// Change of flow over the range of duty by a straight line through all points, mL/min.
    fn slope_change(&self) -> f64 {
        let n = self.flowing.len() as f64;
        let (d, q) = self.flowing.iter().fold((0.0, 0.0), |(d, q), p| (d + p.duty / n, q + p.flow / n));
        let (sxy, sxx) = self.flowing.iter().fold((0.0, 0.0), |(sxy, sxx), p| {
            (sxy + (p.duty - d) * (p.flow - q), sxx + (p.duty - d).powi(2))
        });
        (sxy / sxx) * (self.duty_range.1 - self.duty_range.0)
    }
}
