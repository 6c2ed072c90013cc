//! Answers from a fitted pair alone: the flow at a duty, the duty for a flow, at any boost, supply, liquid and
//! temperature.
//!
//! In: a [`PairModel`], read back from a calibration or fresh from a fit, and an [`Ask`]. Out: [`Answer`]s with U,
//! basis, warnings and budget, or a [`Refusal`]. Never: data.

use super::ask::{Answer, Ask, Basis, Refusal};
use super::liquid::{KFactor, REFERENCE_DEGC, away};
use super::model::{Condition, PairModel};
use super::siphon;
use super::surface::Operating;
use super::terms::{Away, Drive};
use crate::fluid::Fluid;
use crate::uncertainty::{Cause, Term, Uncertain};

/// Duty this near to a measured one counts as measured, fraction.
const SAME_DUTY: f64 = 0.0025;
/// Supply this near to the reference counts as the reference, V.
const SAME_SUPPLY_V: f64 = 0.05;
/// Outlet pressure this near to a measured one counts as measured, kPa.
const SAME_PRESSURE_KPA: f64 = 1.0;
/// Standard uncertainty of the temperature of data that do not state it, K.
const UNKNOWN_TEMPERATURE_K: f64 = 5.0;
/// Part of slip that the pump's law may be off by where line pressure exceeds what was measured.
const BEYOND_PART: f64 = 0.3;

/// A condition with what it is uncertain by besides the model.
pub(super) struct Place {
    pub(super) condition: Condition,
    k_factor: KFactor,
    unknown_temperature: Option<Away>,
    warnings: Vec<String>,
}

impl PairModel {
    /// Flow at a duty, mL/min.
    ///
    /// # Errors
    /// A refusal where the calibration does not carry the question.
    pub fn flow_at(&self, ask: &Ask, duty_pct: f64) -> Result<Answer, Refusal> {
        let place = self.place(ask)?;
        self.flow_answer(&place, duty_pct)
    }

    /// Duty that gives a flow, %.
    ///
    /// # Errors
    /// A refusal where the calibration does not carry the question, or the flow is out of reach.
    pub fn duty_for(&self, ask: &Ask, flow_ml_min: f64) -> Result<Answer, Refusal> {
        if !(flow_ml_min.is_finite() && flow_ml_min > 0.0) {
            let (what, expected) = ("flow", "more than 0 mL/min");
            return Err(Refusal::NotPossible { what, found: flow_ml_min, expected });
        }
        let place = self.place(ask)?;
        super::inverse::duty_answer(self, &place, flow_ml_min)
    }

    pub(super) fn flow_answer(&self, place: &Place, duty_pct: f64) -> Result<Answer, Refusal> {
        if !(0.0..=100.0).contains(&duty_pct) {
            let (what, expected) = ("duty", "0 to 100 %");
            return Err(Refusal::NotPossible { what, found: duty_pct, expected });
        }
        let condition = Condition { duty: duty_pct / 100.0, ..place.condition.clone() };
        let operating = self.operate(&condition);
        let mut warnings = place.warnings.clone();
        let siphon = siphon::answer(self, &condition, &operating);
        let basis = if siphon.is_some() { Basis::Extrapolated } else { self.basis(&condition, &operating) };
        let estimate = if let Some(estimate) = siphon {
            warnings.push("vacuum draws liquid through the standing pump".into());
            estimate
        } else {
            let terms = self.all_terms(place, &condition, &operating);
            one_sided(&operating, terms)
        };
        self.warn(&condition, &operating, basis, &mut warnings);
        Ok(Answer { estimate, basis, warnings })
    }

    /// Terms from the model, the widening, the liquid and from going beyond the data.
    pub(super) fn all_terms(&self, place: &Place, condition: &Condition, operating: &Operating) -> Vec<Term> {
        let mut terms = self.shares(condition, operating);
        let here = signed(operating);
        let moved = |c: &Condition| signed(&self.operate(c)) - here;
        let widen = condition
            .nozzles
            .iter()
            .map(|j| self.nozzles[*j].widening_at(condition.duty))
            .fold(0.0, f64::max);
        if widen > 0.0 {
            terms.push(Term::known(Cause::SecondOpinion, widen));
        }
        for term in &place.k_factor.terms {
            let k_factor = condition.k_factor * (1.0 + term.u);
            terms.push(term.at(moved(&Condition { k_factor, ..condition.clone() })));
        }
        if let Some(away) = place.unknown_temperature {
            let moved = moved(&Condition { away, ..condition.clone() });
            terms.push(Term::known(Cause::UnknownTemperature, moved));
        }
        let excess = operating.line_kpa - self.reference.line_range_kpa.1;
        if excess > 0.0 && operating.flow > 0.0 {
            let slip = self.slip_per_kpa() * BEYOND_PART * excess;
            terms.push(Term::known(Cause::Beyond, operating.share * slip));
        }
        terms.retain(|t| t.u != 0.0 || t.cause == Cause::Scatter);
        terms
    }

    /// Turns a question into a condition.
    pub(super) fn place(&self, ask: &Ask) -> Result<Place, Refusal> {
        self.check(ask)?;
        let bench = Fluid::new(self.reference.methanol_mass_fraction).map_err(Refusal::Property)?;
        let used = ask.methanol_mass_fraction.map_or(Ok(bench), Fluid::new).map_err(Refusal::Property)?;
        let mut warnings = Vec::new();
        let reference = REFERENCE_DEGC;
        let degc = ask.temperature_degc.unwrap_or(reference);
        let (mut distance, mut unknown) = (Away::default(), None);
        let mut k_factor = KFactor::SAME;
        if used != bench || ask.temperature_degc.is_some() {
            if !self.reference.pressure_measured {
                return Err(Refusal::PressureNotMeasured);
            }
            distance = away(bench, used, degc).map_err(Refusal::Property)?;
            k_factor = KFactor::new((bench, reference), (used, degc)).map_err(Refusal::Property)?;
            if self.reference.water_degc.is_none() {
                let shifted = away(bench, used, degc + UNKNOWN_TEMPERATURE_K).or(away(
                    bench,
                    used,
                    degc - UNKNOWN_TEMPERATURE_K,
                ));
                unknown = shifted.ok();
                warnings.push(format!(
                    "the data do not state their temperature; {reference} degC is supposed, with a standard \
                     uncertainty of {UNKNOWN_TEMPERATURE_K} K"
                ));
            }
        }
        Ok(Place {
            condition: Condition {
                nozzles: self.nozzle_indices(ask.nozzle.as_deref())?,
                duty: 0.0,
                supply_v: ask.supply_v.unwrap_or(self.reference.supply_v),
                out_kpa: ask.boost_kpa,
                away: distance,
                k_factor: k_factor.value,
            },
            k_factor,
            unknown_temperature: unknown,
            warnings,
        })
    }

    fn check(&self, ask: &Ask) -> Result<(), Refusal> {
        let possible = |what, found: f64, low: f64, high: f64, expected| {
            let good = found.is_finite() && found >= low && found <= high;
            if good { Ok(()) } else { Err(Refusal::NotPossible { what, found, expected }) }
        };
        possible("boost", ask.boost_kpa, -101.0, 1000.0, "-101 to 1000 kPa gauge")?;
        let supply = ask.supply_v.unwrap_or(self.reference.supply_v);
        possible("supply", supply, 3.0, 60.0, "3 to 60 V")?;
        if let Some(asked_hz) = ask.pwm_hz {
            let calibrated_hz = self.reference.pwm_hz;
            if calibrated_hz.is_none_or(|hz| (asked_hz / hz - 1.0).abs() > 0.01) {
                return Err(Refusal::OtherPwm { asked_hz, calibrated_hz });
            }
        }
        let bench_pressure = (self.reference.out_range_kpa.0 - SAME_PRESSURE_KPA)
            ..=(self.reference.out_range_kpa.1 + SAME_PRESSURE_KPA);
        if !self.reference.pressure_measured && !bench_pressure.contains(&ask.boost_kpa) {
            return Err(Refusal::PressureNotMeasured);
        }
        Ok(())
    }

    /// Indices of the nozzles a name stands for.
    fn nozzle_indices(&self, asked: Option<&str>) -> Result<Vec<usize>, Refusal> {
        let Some(asked) = asked else { return Ok(vec![0]) };
        let find = |name: &str| self.nozzles.iter().position(|n| n.name == name);
        if let Some(index) = find(asked) {
            return Ok(vec![index]);
        }
        let known = || self.nozzles.iter().map(|n| n.name.clone()).collect();
        let refuse = || Refusal::NoSuchNozzle { asked: asked.to_owned(), known: known() };
        let mut indices = Vec::new();
        for name in asked.split('+') {
            let index = find(name.trim()).ok_or_else(refuse)?;
            if indices.contains(&index) {
                return Err(refuse());
            }
            indices.push(index);
        }
        Ok(indices)
    }

    /// How a condition stands to what was measured.
    pub(super) fn basis(&self, c: &Condition, operating: &Operating) -> Basis {
        let r = &self.reference;
        let law = |j: &usize| &self.nozzles[*j];
        let inside =
            |value: f64, (low, high): (f64, f64), slack: f64| value >= low - slack && value <= high + slack;
        let duty = c.nozzles.iter().map(law).all(|n| inside(c.duty, n.duty_range, SAME_DUTY));
        let supply = inside(c.supply_v, r.supply_range_v, SAME_SUPPLY_V);
        let out = inside(c.out_kpa, r.out_range_kpa, SAME_PRESSURE_KPA);
        let bench = c.away == Away::default() && (c.k_factor - 1.0).abs() < 1e-12;
        if out && bench && c.nozzles.len() == 1 && duty && supply {
            let measured = (c.supply_v - r.supply_v).abs() <= SAME_SUPPLY_V
                && c.nozzles
                    .iter()
                    .map(law)
                    .all(|n| n.duties.iter().any(|d| (d - c.duty).abs() <= SAME_DUTY));
            return if measured { Basis::Measured } else { Basis::Interpolated };
        }
        if self.between_nozzles(c, operating) && supply && bench {
            Basis::Interpolated
        } else {
            Basis::Extrapolated
        }
    }

    /// Whether the line pressure lies between those that two measured nozzles showed at this effective voltage.
    fn between_nozzles(&self, c: &Condition, operating: &Operating) -> bool {
        if self.nozzles.len() < 2 {
            return false;
        }
        let reached: Vec<f64> = (0..self.nozzles.len())
            .filter(|j| {
                let (low, high) = self.nozzles[*j].duty_range;
                c.duty >= low - SAME_DUTY && c.duty <= high + SAME_DUTY
            })
            .map(|j| {
                self.operate(&Condition {
                    nozzles: vec![j],
                    out_kpa: self.reference.out_range_kpa.0,
                    ..c.clone()
                })
            })
            .map(|o| o.line_kpa)
            .collect();
        let ends =
            reached.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| (a.min(*p), b.max(*p)));
        operating.line_kpa >= ends.0 && operating.line_kpa <= ends.1
    }

    fn warn(&self, c: &Condition, operating: &Operating, basis: Basis, warnings: &mut Vec<String>) {
        let r = &self.reference;
        if operating.flow <= 0.0 && c.out_kpa > 0.0 {
            warnings.push("nothing flows: line pressure does not exceed boost at this duty".into());
        }
        if r.pressure_measured
            && operating.flow > 0.0
            && operating.line_kpa > r.line_range_kpa.1 + SAME_PRESSURE_KPA
        {
            warnings.push(format!(
                "line pressure {:.0} kPa lies above the {:.0} kPa measured; a bypass that opens there was not seen",
                operating.line_kpa, r.line_range_kpa.1
            ));
        }
        if c.supply_v < r.supply_range_v.0 - 1.0 || c.supply_v > r.supply_range_v.1 + 1.0 {
            warnings.push(format!(
                "supply {:.2} V lies beyond the {:.2} to {:.2} V measured",
                c.supply_v, r.supply_range_v.0, r.supply_range_v.1
            ));
        }
        if basis == Basis::Extrapolated && self.nozzles.len() < 2 && c.out_kpa.abs() > SAME_PRESSURE_KPA {
            warnings.push(
                "one nozzle in an open cup shows the pump along one line only; a second nozzle or back pressure on the \
                 bench would narrow this"
                    .into(),
            );
        }
    }

    /// Loss of flow per kPa of line pressure at half the highest pressure, mL/min per kPa.
    pub(super) fn slip_per_kpa(&self) -> f64 {
        let (low, high) = self.surface.scaling.effective_v;
        let drive = Drive { duty: 1.0, supply_v: self.reference.supply_v, freewheel_v: self.freewheel_v };
        let at = super::terms::At {
            drive: drive.with_effective_v(0.5 * (low + high)),
            line_kpa: 0.25 * self.surface.scaling.pressure_kpa,
            away: Away::default(),
        };
        (-self.surface.per_kpa(&at)).max(0.0)
    }
}

/// Flow where something flows, the pump's shortfall (negative) where nothing does.
pub(super) fn signed(operating: &Operating) -> f64 {
    if operating.flow > 0.0 { operating.flow } else { operating.free }
}

/// An estimate that is not below 0: where nothing flows, U says how much might.
fn one_sided(operating: &Operating, terms: Vec<Term>) -> Uncertain {
    if operating.flow > 0.0 {
        return Uncertain::new(operating.flow, terms);
    }
    let short = Uncertain::new(operating.free, terms);
    let u95 = (short.value + short.u95).max(0.0);
    let factor = if short.u95 > 0.0 { u95 / short.u95 } else { 0.0 };
    short.scaled(factor).about(0.0)
}
