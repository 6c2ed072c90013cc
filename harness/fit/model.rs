//! A fitted pair: the pump's surface, nozzles, and how every source of uncertainty moves them.
//!
//! In: built by [`super::pair`], or read back from a calibration. Out: the flow at any condition, with contributions
//! from each source kept apart. Never: data, or an error common to all data that shrinks with their number.

use super::surface::{Frame, Operating, Outlet, Surface};
use super::terms::{Away, Drive};
use crate::uncertainty::{Cause, Origin, Shape, Term};
use nalgebra::{DMatrix, DVector};

/// One of the pair's nozzles.
#[derive(Clone, Debug, PartialEq)]
pub struct NozzleLaw {
    /// Name.
    pub name: String,
    /// Coefficient for the bench fluid, mL/min per sqrt(kPa).
    pub k: f64,
    /// Lowest and highest flow measured, mL/min.
    pub flow_range: (f64, f64),
    /// Lowest and highest duty with flow measured, fraction.
    pub duty_range: (f64, f64),
    /// Duties measured, fraction, ascending.
    pub duties: Vec<f64>,
    /// Duties (fraction, ascending) and standard uncertainty (mL/min) by which the curve is widened, because a curve
    /// without a pump law disagrees there; empty where it does not.
    pub widening: Vec<(f64, f64)>,
}

impl NozzleLaw {
    /// Widening at a duty, mL/min: straight between its nodes, and none beyond them.
    #[must_use]
    pub fn widening_at(&self, duty: f64) -> f64 {
        let between = self.widening.windows(2).find(|w| w[0].0 <= duty && duty <= w[1].0);
        between.map_or(0.0, |w| {
            let part = (duty - w[0].0) / (w[1].0 - w[0].0);
            w[0].1 + part * (w[1].1 - w[0].1)
        })
    }
}

/// How one source moves the model, for one standard uncertainty of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Shift {
    /// The source.
    pub cause: Cause,
    /// Its standard uncertainty, in its own unit; none where it has none.
    pub of_cause: Option<f64>,
    /// How it is distributed.
    pub shape: Shape,
    /// Random or common.
    pub origin: Origin,
    /// Change of each coefficient of the surface, mL/min.
    pub coefficients: Vec<f64>,
    /// Relative change of each nozzle's coefficient.
    pub ln_k: Vec<f64>,
    /// Change of the free-wheel voltage, V.
    pub freewheel_v: f64,
}

impl Shift {
    /// Its share of a value, that changes by `u` where the source is off by its standard uncertainty.
    #[must_use]
    pub fn term(&self, u: f64) -> Term {
        let (cause, of_cause) = (self.cause.clone(), self.of_cause);
        Term { cause, u, of_cause, shape: self.shape, origin: self.origin }
    }
}

/// Reference conditions and range of the data.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    /// Supply of the tables, V: the mean of the data.
    pub supply_v: f64,
    /// Lowest and highest supply of the data, V.
    pub supply_range_v: (f64, f64),
    /// Mean water temperature of the data, degC; none where not measured, and the tables then hold at that unknown
    /// temperature.
    pub water_degc: Option<f64>,
    /// Lowest and highest line pressure reached, gauge kPa.
    pub line_range_kpa: (f64, f64),
    /// Lowest and highest pressure sprayed into, gauge kPa.
    pub out_range_kpa: (f64, f64),
    /// Whether line pressure was measured; without it nothing is known of K.
    pub pressure_measured: bool,
    /// Mass fraction of methanol in what was sprayed.
    pub methanol_mass_fraction: f64,
    /// PWM frequency, Hz, where known.
    pub pwm_hz: Option<f64>,
    /// Cracking pressure of the check valve, kPa, where known.
    pub check_valve_kpa: Option<f64>,
}

/// A fitted pair.
#[derive(Clone, Debug, PartialEq)]
pub struct PairModel {
    /// The pump.
    pub surface: Surface,
    /// Covariance of its coefficients from scatter and from what the law leaves open.
    pub covariance: DMatrix<f64>,
    /// Degrees of freedom of the scatter.
    pub dof: f64,
    /// Free-wheel diode voltage, V.
    pub freewheel_v: f64,
    /// Nozzles.
    pub nozzles: Vec<NozzleLaw>,
    /// Common errors.
    pub shifts: Vec<Shift>,
    /// Reference conditions and range.
    pub reference: Reference,
}

/// A condition to answer for.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// Indices of the nozzles that spray at once.
    pub nozzles: Vec<usize>,
    /// Duty, fraction.
    pub duty: f64,
    /// Supply, V.
    pub supply_v: f64,
    /// Pressure sprayed into, gauge kPa.
    pub out_kpa: f64,
    /// How far from the reference liquid and temperature.
    pub away: Away,
    /// Factor on nozzle coefficients for another liquid.
    pub k_factor: f64,
}

impl PairModel {
    fn outlet(&self, c: &Condition, shift: Option<&Shift>) -> Outlet {
        let k = c.nozzles.iter().map(|&j| self.nozzles[j].k * shift.map_or(1.0, |s| s.ln_k[j].exp()));
        Outlet { k: c.k_factor * k.sum::<f64>(), out_kpa: c.out_kpa }
    }

    /// How the pump is driven in a condition.
    #[must_use]
    pub fn drive(&self, c: &Condition) -> Drive {
        Drive { duty: c.duty, supply_v: c.supply_v, freewheel_v: self.freewheel_v }
    }

    /// Where pump and nozzles agree.
    #[must_use]
    pub fn operate(&self, c: &Condition) -> Operating {
        self.surface.operate(&self.drive(c), &self.outlet(c, None), c.away)
    }

    /// Flow that is the operating flow where something flows, and the pump's shortfall (negative) where nothing does,
    /// with one source moved by its standard uncertainty.
    fn signed(&self, c: &Condition, shift: &Shift, frame: &Frame<'_>, near: &Operating) -> f64 {
        let outlet = self.outlet(c, Some(shift));
        let o = if shift.freewheel_v.abs() > 0.0 {
            let drive = Drive { freewheel_v: self.freewheel_v + shift.freewheel_v, ..self.drive(c) };
            Frame::new(&self.surface, &drive, c.away).operate_moved(&shift.coefficients, &outlet, near)
        } else {
            frame.operate_moved(&shift.coefficients, &outlet, near)
        };
        if o.flow > 0.0 { o.flow } else { o.free }
    }

    /// Terms of the flow at an operating point from scatter and from every common error, mL/min.
    #[must_use]
    pub fn shares(&self, c: &Condition, operating: &Operating) -> Vec<Term> {
        let frame = Frame::new(&self.surface, &self.drive(c), c.away);
        let g = DVector::from_vec(frame.gradient(operating));
        let variance = (&self.covariance * &g).dot(&g);
        let scatter = Term::observed(Cause::Scatter, variance.max(0.0).sqrt(), self.dof);
        let here = if operating.flow > 0.0 { operating.flow } else { operating.free };
        let common = self.shifts.iter().map(|s| s.term(self.signed(c, s, &frame, operating) - here));
        std::iter::once(scatter).chain(common).collect()
    }
}
