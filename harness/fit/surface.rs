//! A fitted pump surface and where it meets a nozzle.
//!
//! In: terms with coefficients, an effective voltage, a nozzle and what it sprays into. Out: the operating point and
//! the sensitivity of its flow to every coefficient. Never: data, uncertainty of instruments.

use super::terms::{At, Away, Drive, Scaling, Term};

/// The surface: terms and their coefficients, mL/min.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    /// What the terms are scaled by.
    pub scaling: Scaling,
    /// The terms.
    pub terms: Vec<Term>,
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

/// The surface at one effective voltage: what depends on pressure, and the sum of the rest.
struct Cut<'a> {
    surface: &'a Surface,
    at: At,
    constant: f64,
    pressed: Vec<(Term, f64)>,
}

impl Cut<'_> {
    /// Flow and its derivative per kPa at a line pressure.
    fn at(&self, line_kpa: f64) -> (f64, f64) {
        let at = At { line_kpa, ..self.at };
        self.pressed
            .iter()
            .fold((self.constant, 0.0), |(f, slope), (term, c)| {
                (
                    f + c * term.value(&at, &self.surface.scaling),
                    slope + c * term.per_kpa(&at, &self.surface.scaling),
                )
            })
    }
}

impl Surface {
    fn cut(&self, drive: &Drive, away: Away) -> Cut<'_> {
        let at = At {
            drive: *drive,
            line_kpa: 0.0,
            away,
        };
        let mut constant = 0.0;
        let mut pressed = Vec::with_capacity(self.terms.len());
        for (term, c) in self.terms.iter().zip(&self.coefficients) {
            if term.of_pressure() {
                pressed.push((*term, *c));
            } else {
                constant += c * term.value(&at, &self.scaling);
            }
        }
        Cut {
            surface: self,
            at,
            constant,
            pressed,
        }
    }

    /// Flow of the pump at a fixed line pressure, mL/min.
    #[must_use]
    pub fn flow(&self, at: &At) -> f64 {
        self.terms
            .iter()
            .zip(&self.coefficients)
            .map(|(t, c)| c * t.value(at, &self.scaling))
            .sum()
    }

    /// Change of that flow per kPa of line pressure.
    #[must_use]
    pub fn per_kpa(&self, at: &At) -> f64 {
        self.terms
            .iter()
            .zip(&self.coefficients)
            .map(|(t, c)| c * t.per_kpa(at, &self.scaling))
            .sum()
    }

    /// Where pump and nozzle agree: `Q = F(x, P_out + (Q / K)^2)`, by Newton steps kept inside a bracket.
    #[must_use]
    pub fn operate(&self, drive: &Drive, outlet: &Outlet, away: Away) -> Operating {
        let cut = self.cut(drive, away);
        let free = cut.at(outlet.out_kpa).0;
        if free <= 0.0 {
            let share = 1.0;
            return Operating {
                flow: 0.0,
                line_kpa: outlet.out_kpa,
                share,
                free,
            };
        }
        let line = |q: f64| outlet.out_kpa + (q / outlet.k).powi(2);
        let (mut low, mut high) = (0.0, 2.0 * free);
        let mut q = 0.7 * free;
        let mut share = 1.0;
        for round in 0..60 {
            let (f, slope) = cut.at(line(q));
            let excess = q - f;
            if excess > 0.0 {
                high = q;
            } else {
                low = q;
            }
            let steep = (1.0 - slope * 2.0 * q / (outlet.k * outlet.k)).max(0.1);
            share = 1.0 / steep;
            let mut next = q - excess / steep;
            // Every third step halves, so that a corner cannot make Newton's steps go in circles.
            if round % 3 == 2 || !(next > low && next < high) {
                next = 0.5 * (low + high);
            }
            let step = (next - q).abs();
            q = next;
            if step < 1e-10 * free {
                break;
            }
        }
        Operating {
            flow: q,
            line_kpa: line(q),
            share,
            free,
        }
    }

    /// Sensitivity of the flow at an operating point to every coefficient.
    #[must_use]
    pub fn gradient(&self, drive: &Drive, operating: &Operating, away: Away) -> Vec<f64> {
        let at = At {
            drive: *drive,
            line_kpa: operating.line_kpa,
            away,
        };
        self.terms
            .iter()
            .map(|t| operating.share * t.value(&at, &self.scaling))
            .collect()
    }
}
