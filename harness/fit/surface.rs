//! A fitted pump surface and where it meets a nozzle.
//!
//! In: terms with coefficients, an effective voltage, a nozzle and what it sprays into. Out: the operating point and
//! the sensitivity of its flow to every coefficient. Never: data, uncertainty of instruments.

use super::terms::{At, Away, Drive, LawTerm, Pressed, Scaling};

/// The surface: terms and their coefficients, mL/min.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    /// What the terms are scaled by.
    pub scaling: Scaling,
    /// The terms.
    pub terms: Vec<LawTerm>,
    /// A coefficient for each.
    pub coefficients: Vec<f64>,
}

/// Where pump and nozzle agree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Operating {
    /// Flow, mL/min; 0 where the pump cannot exceed what the nozzle sprays into.
    pub flow: f64,
    /// Line pressure, gauge kPa.
    pub line_kpa: f64,
    /// How much the flow changes for 1 mL/min more from the pump at fixed pressure, 0 to 1.
    pub share: f64,
    /// What the pump would deliver against the outlet pressure alone, mL/min; negative where nothing flows.
    pub free: f64,
}

/// A nozzle in front of something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlet {
    /// Nozzle coefficient, mL/min per sqrt(kPa).
    pub k: f64,
    /// Pressure sprayed into, gauge kPa.
    pub out_kpa: f64,
}

impl Outlet {
    /// Whether another is the same nozzle in front of the same pressure.
    #[must_use]
    pub fn like(&self, other: &Outlet) -> bool {
        (self.k / other.k - 1.0).abs() < 1e-9 && (self.out_kpa - other.out_kpa).abs() < 1.0
    }
}

/// The terms under one drive: what they come to is computed once, for many coefficients.
#[derive(Clone, Debug)]
pub struct Frame<'a> {
    surface: &'a Surface,
    drive: Drive,
    away: Away,
    pressed: Vec<Pressed>,
}

/// A frame with coefficients: flow as a function of pressure alone.
struct Cut<'a> {
    frame: &'a Frame<'a>,
    constant: f64,
    straight: f64,
    bent: Vec<(LawTerm, f64)>,
}

impl Cut<'_> {
    /// Flow and its derivative per kPa at a line pressure.
    fn at(&self, line_kpa: f64) -> (f64, f64) {
        let scaling = &self.frame.surface.scaling;
        let at = At { drive: self.frame.drive, line_kpa, away: self.frame.away };
        let slope = self.straight / scaling.pressure_kpa;
        self.bent.iter().fold((self.constant + slope * line_kpa, slope), |(f, slope), (term, c)| {
            (f + c * term.value(&at, scaling), slope + c * term.per_kpa(&at, scaling))
        })
    }
}

impl<'a> Frame<'a> {
    /// The surface's terms under a drive.
    #[must_use]
    pub fn new(surface: &'a Surface, drive: &Drive, away: Away) -> Self {
        let pressed = surface.terms.iter().map(|t| t.pressed(drive, away, &surface.scaling)).collect();
        Frame { surface, drive: *drive, away, pressed }
    }

    fn cut(&self, coefficients: impl Iterator<Item = f64>) -> Cut<'_> {
        let mut cut = Cut { frame: self, constant: 0.0, straight: 0.0, bent: Vec::new() };
        for ((term, pressed), c) in self.surface.terms.iter().zip(&self.pressed).zip(coefficients) {
            match pressed {
                Pressed::Not(value) => cut.constant += c * value,
                Pressed::Straight(value) => cut.straight += c * value,
                Pressed::Bent => cut.bent.push((*term, c)),
            }
        }
        cut
    }

    /// Where pump and nozzle agree: `Q = F(x, P_out + (Q / K)^2)`.
    #[must_use]
    pub fn operate(&self, outlet: &Outlet) -> Operating {
        self.cut(self.surface.coefficients.iter().copied()).operate(outlet, None)
    }

    /// The same with changed coefficients, found from an operating point nearby.
    #[must_use]
    pub fn operate_moved(&self, change: &[f64], outlet: &Outlet, near: &Operating) -> Operating {
        let moved = self.surface.coefficients.iter().zip(change).map(|(c, d)| c + d);
        self.cut(moved).operate(outlet, Some(near.flow))
    }

    /// Sensitivity of the flow at an operating point to every coefficient.
    #[must_use]
    pub fn gradient(&self, operating: &Operating) -> Vec<f64> {
        let scaling = &self.surface.scaling;
        let at = At { drive: self.drive, line_kpa: operating.line_kpa, away: self.away };
        let p = operating.line_kpa / scaling.pressure_kpa;
        let value = |term: &LawTerm, pressed: &Pressed| match pressed {
            Pressed::Not(value) => *value,
            Pressed::Straight(value) => p * value,
            Pressed::Bent => term.value(&at, scaling),
        };
        self.surface
            .terms
            .iter()
            .zip(&self.pressed)
            .map(|(t, pressed)| operating.share * value(t, pressed))
            .collect()
    }
}

impl Cut<'_> {
    /// Newton steps kept inside a bracket; a step that does not bring the excess down by half is followed by one that
    /// halves the bracket, so that a corner cannot make Newton's steps go in circles.
    fn operate(&self, outlet: &Outlet, near: Option<f64>) -> Operating {
        let free = self.at(outlet.out_kpa).0;
        if free <= 0.0 {
            return Operating { flow: 0.0, line_kpa: outlet.out_kpa, share: 1.0, free };
        }
        let line = |q: f64| outlet.out_kpa + (q / outlet.k).powi(2);
        let (mut low, mut high) = (0.0, 2.0 * free);
        let mut q = near.filter(|q| *q > 0.0 && *q < high).unwrap_or(0.7 * free);
        let mut last = f64::INFINITY;
        let mut share = 1.0;
        for _ in 0..80 {
            let (f, slope) = self.at(line(q));
            let excess = q - f;
            if excess > 0.0 {
                high = q;
            } else {
                low = q;
            }
            let steep = (1.0 - slope * 2.0 * q / (outlet.k * outlet.k)).max(0.1);
            share = 1.0 / steep;
            let newton = q - excess / steep;
            let slow = excess.abs() > 0.5 * last;
            last = if slow { f64::INFINITY } else { excess.abs() };
            let next = if slow || newton <= low || newton >= high { 0.5 * (low + high) } else { newton };
            if excess.abs() < 1e-11 * free || (next - q).abs() < 1e-12 * free {
                break;
            }
            q = next;
        }
        Operating { flow: q, line_kpa: line(q), share, free }
    }
}

impl Surface {
    /// Change of the pump's flow per kPa of line pressure.
    #[must_use]
    pub fn per_kpa(&self, at: &At) -> f64 {
        self.terms.iter().zip(&self.coefficients).map(|(t, c)| c * t.per_kpa(at, &self.scaling)).sum()
    }

    /// Where pump and nozzle agree; see [`Frame::operate`].
    #[must_use]
    pub fn operate(&self, drive: &Drive, outlet: &Outlet, away: Away) -> Operating {
        Frame::new(self, drive, away).operate(outlet)
    }
}
