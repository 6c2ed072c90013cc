//! A fitted pair to a calibration file and back.
//!
//! In: a [`PairFit`], or a checked [`Calibration`]. Out: the other. What is read back answers as what was written, to
//! the digits of the file. Never: text, a folder.

use super::model::{NozzleLaw, PairModel, Reference, Shift};
use super::pair::PairFit;
use super::published::{PumpValues, highest_pressure, nozzle_exponent, nozzle_k};
use super::surface;
use super::terms::{LawTerm, Scaling};
use crate::calibration::{self as disk, Calibration, Measured};
use crate::problem::{Problem, Problems, nearest};
use crate::script::rig::DriveSide;
use crate::uncertainty::{Cause, Origin as TermOrigin, Shape, Uncertain, rounding};
use nalgebra::DMatrix;
use std::collections::BTreeMap;

/// Digits kept of numbers that only the program reads.
const DIGITS: i32 = 12;

/// Degrees of freedom from which on they are as good as infinite.
const MANY_DOF: f64 = 10_000.0;

/// Where a calibration comes from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Origin {
    /// Program and version.
    pub program: String,
    /// When, RFC 3339; `simulated` for a virtual bench.
    pub written: String,
    /// SHA-256 by file name.
    pub sources: BTreeMap<String, String>,
    /// Wiring between supply terminals and pump, in words.
    pub wiring: Option<String>,
}

/// The calibration of a fitted pair.
#[must_use]
pub fn calibration(fit: &PairFit, origin: &Origin) -> Calibration {
    let m = &fit.model;
    let r = &m.reference;
    let pump = PumpValues::new(m, &fit.blend);
    let choice = fit.choice.as_ref();
    let measured = r.pressure_measured;
    let limits = |(low, high): (f64, f64)| disk::Limits { low: kept(low), high: kept(high) };
    let bands: Vec<Option<Uncertain>> = (0..m.nozzles.len()).map(|j| fit.dead_band(j)).collect();
    Calibration {
        format: disk::FORMAT.into(),
        version: disk::VERSION,
        program: origin.program.clone(),
        written: origin.written.clone(),
        pair: disk::Pair { pump: fit.facts.pump.clone(), wiring: origin.wiring.clone() },
        pwm: fit.facts.pwm_hz.map(|frequency_hz| disk::Pwm { frequency_hz, drive_side: drive_side(fit) }),
        fluid: disk::FluidEntry { methanol_mass_fraction: r.methanol_mass_fraction },
        reference: disk::ReferenceEntry {
            supply_v: r.supply_v,
            liquid_degc: r.water_degc.map(|_| super::liquid::REFERENCE_DEGC),
            outlet_kpa: r.out_range_kpa.0,
        },
        nozzles: (0..m.nozzles.len()).map(|j| (m.nozzles[j].name.clone(), nozzle(fit, j))).collect(),
        pump: disk::Pump {
            displacement_ml_min_per_v: measured.then(|| rounded(&pump.displacement_ml_min_per_v)),
            friction_v: pump.friction_v.as_ref().map(rounded),
            slip_ml_min_per_kpa: measured.then(|| rounded(&pump.slip_ml_min_per_kpa)),
            bypass_opens_kpa: pump.bypass.as_ref().filter(|_| measured).map(|b| rounded(&b.0)),
            bypass_ml_min_per_kpa: pump.bypass.as_ref().filter(|_| measured).map(|b| rounded(&b.1)),
        },
        duty: disk::Duty {
            dead_band_pct: bands.first().and_then(|b| b.as_ref().map(rounded)),
            by_nozzle: by_nozzle(m, &bands),
            breakaway_pct: fit.breakaway().as_ref().map(rounded),
            measured: fit.points.duty_measured,
        },
        check_valve: r
            .check_valve_kpa
            .map(|value| disk::CheckValve { cracking_kpa: Measured { value, u95: 0.4 * value, dof: None } }),
        model: disk::Model {
            chosen: choice.map_or_else(|| "weighed by evidence".to_owned(), |c| c.law().name.to_owned()),
            why: choice.map(super::law::Choice::words).unwrap_or_default(),
            scatter_ml_min: kept(fit.blend.scatter_ml_min),
        },
        range: disk::RangeEntry {
            duty_pct: limits((100.0 * fit.points.duty_range.0, 100.0 * fit.points.duty_range.1)),
            supply_v: limits(r.supply_range_v),
            line_kpa: measured.then(|| limits(r.line_range_kpa)),
            outlet_kpa: limits(r.out_range_kpa),
            line_pressure_measured: measured,
            water_degc: r.water_degc,
        },
        warnings: fit.findings().iter().map(|f| f.what.clone()).collect(),
        sources: origin.sources.clone(),
        surface: surface_entry(m),
        common_errors: m.shifts.iter().map(|s| common_error(m, s)).collect(),
    }
}

/// A number to the digits kept.
fn kept(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    format!("{value:.*e}", (DIGITS - 1) as usize).parse().unwrap_or(value)
}

/// A value for people, with the digits that its U supports.
fn rounded(e: &Uncertain) -> Measured {
    let place = rounding::place(e.u95).unwrap_or(-9);
    Measured {
        value: rounding::rounded(e.value, place),
        u95: rounding::rounded(e.u95, place),
        // Beyond that, t is the normal distribution to four digits.
        dof: (e.dof < MANY_DOF).then(|| rounding::rounded(e.dof, -1)),
    }
}

fn drive_side(fit: &PairFit) -> Option<String> {
    fit.facts.drive_side.map(|side| match side {
        DriveSide::High => "high".to_owned(),
        DriveSide::Low => "low".to_owned(),
    })
}

fn by_nozzle(m: &PairModel, bands: &[Option<Uncertain>]) -> BTreeMap<String, disk::Band> {
    let named =
        m.nozzles.iter().zip(bands).filter_map(|(n, b)| {
            b.as_ref().map(|b| (n.name.clone(), disk::Band { dead_band_pct: rounded(b) }))
        });
    if m.nozzles.len() > 1 { named.collect() } else { BTreeMap::new() }
}

fn nozzle(fit: &PairFit, j: usize) -> disk::NozzleEntry {
    let m = &fit.model;
    let law = &m.nozzles[j];
    let known = fit.nozzles[j].as_ref();
    let ask = super::ask::Ask {
        nozzle: Some(law.name.clone()),
        boost_kpa: m.reference.out_range_kpa.0,
        ..Default::default()
    };
    disk::NozzleEntry {
        serial: fit.facts.nozzles.iter().find(|n| n.name == law.name).and_then(|n| n.serial.clone()),
        k_ml_min_per_sqrt_kpa: known.map(|_| rounded(&nozzle_k(m, j))),
        exponent: known.map(|n| rounded(&nozzle_exponent(n))),
        full_duty_kpa: known.and_then(|_| highest_pressure(m, j)).as_ref().map(rounded),
        full_duty_ml_min: m.flow_at(&ask, 100.0).ok().map(|a| rounded(&a.estimate)),
        duties_pct: law.duties.iter().map(|d| kept(100.0 * d)).collect(),
        flow_range_ml_min: [kept(law.flow_range.0), kept(law.flow_range.1)],
        k_used: law.k,
        widening: law
            .widening
            .iter()
            .map(|(d, u)| disk::Widening { duty_pct: kept(100.0 * d), u_ml_min: kept(*u) })
            .collect(),
    }
}

fn surface_entry(m: &PairModel) -> disk::Surface {
    let s = &m.surface;
    let terms = s.terms.iter().zip(&s.coefficients).enumerate().map(|(i, (term, c))| {
        let (name, of) = term_entry(*term);
        disk::TermEntry {
            term: name.into(),
            of,
            coefficient: kept(*c),
            covariance: (0..=i).map(|j| kept(m.covariance[(i, j)])).collect(),
        }
    });
    disk::Surface {
        scaling: disk::Scaling {
            low_v: s.scaling.effective_v.0,
            high_v: s.scaling.effective_v.1,
            pressure_kpa: s.scaling.pressure_kpa,
            flow_ml_min: s.scaling.flow_ml_min,
        },
        freewheel_v: m.freewheel_v,
        dof: m.dof.is_finite().then(|| kept(m.dof)),
        terms: terms.collect(),
    }
}

/// Terms without a number of their own, with their names on disk.
const TERMS: [(LawTerm, &str); 11] = [
    (LawTerm::Level, "level"),
    (LawTerm::Rise, "rise"),
    (LawTerm::Bend, "bend"),
    (LawTerm::Slip, "slip"),
    (LawTerm::Seep, "seep"),
    (LawTerm::SlipBend, "slip_bend"),
    (LawTerm::SlipRise, "slip_rise"),
    (LawTerm::SlipLow, "slip_low"),
    (LawTerm::Thin, "thin"),
    (LawTerm::Warm, "warm"),
    (LawTerm::WarmLevel, "warm_level"),
];

fn term_entry(term: LawTerm) -> (&'static str, Vec<f64>) {
    match term {
        LawTerm::Relief { opens_kpa, width_kpa } => ("relief", vec![opens_kpa, width_kpa]),
        LawTerm::Pulsed { still, pressed } => ("pulsed", vec![still, pressed]),
        LawTerm::PulsedMore { still, pressed } => ("pulsed_more", vec![still, pressed]),
        LawTerm::PulsedDrop { still, pressed } => ("pulsed_drop", vec![still, pressed]),
        LawTerm::Ripple(k) => ("ripple", vec![f64::from(k)]),
        LawTerm::RipplePressed(k) => ("ripple_pressed", vec![f64::from(k)]),
        plain => (TERMS.iter().find(|(t, _)| *t == plain).map_or("level", |(_, n)| n), Vec::new()),
    }
}

fn term(entry: &disk::TermEntry) -> Result<LawTerm, Problems> {
    let order = |k: f64| ((1.0..=100.0).contains(&k) && k.fract().abs() < f64::EPSILON).then_some(k as u32);
    let wrong = || {
        Problem::new(format!("term \"{}\" with numbers {:?}", entry.term, entry.of))
            .expected("two of a relief or of pulsed, an order of a ripple, none of the others")
            .into()
    };
    match (entry.term.as_str(), entry.of.as_slice()) {
        ("relief", &[opens_kpa, width_kpa]) => Ok(LawTerm::Relief { opens_kpa, width_kpa }),
        ("pulsed", &[still, pressed]) if still > 0.0 => Ok(LawTerm::Pulsed { still, pressed }),
        ("pulsed_more", &[still, pressed]) if still > 0.0 => Ok(LawTerm::PulsedMore { still, pressed }),
        ("pulsed_drop", &[still, pressed]) if still > 0.0 => Ok(LawTerm::PulsedDrop { still, pressed }),
        ("ripple", &[k]) => order(k).map(LawTerm::Ripple).ok_or_else(wrong),
        ("ripple_pressed", &[k]) => order(k).map(LawTerm::RipplePressed).ok_or_else(wrong),
        (name, []) => TERMS.iter().find(|(_, n)| *n == name).map(|(t, _)| *t).ok_or_else(|| {
            let names = TERMS.iter().map(|(_, n)| *n).chain([
                "relief",
                "pulsed",
                "pulsed_more",
                "ripple",
                "ripple_pressed",
            ]);
            let problem = Problem::new(format!("no term \"{name}\""));
            match nearest(name, names) {
                Some(near) => problem.help(format!("did you mean \"{near}\"?")).into(),
                None => problem.into(),
            }
        }),
        _ => Err(wrong()),
    }
}

const CAUSES: [(Cause, &str); 16] = [
    (Cause::ScaleGain, "scale_gain"),
    (Cause::ClockGain, "clock_gain"),
    (Cause::GaugeZero, "gauge_zero"),
    (Cause::GaugeGain, "gauge_gain"),
    (Cause::BackGaugeZero, "back_gauge_zero"),
    (Cause::SupplyGain, "supply_gain"),
    (Cause::SupplyZero, "supply_zero"),
    (Cause::DutyZero, "duty_zero"),
    (Cause::DutyGain, "duty_gain"),
    (Cause::Density, "density"),
    (Cause::Capture, "capture"),
    (Cause::Freewheel, "freewheel"),
    (Cause::TapLoss, "tap_loss"),
    (Cause::TapHeight, "tap_height"),
    (Cause::LeakShare, "leak_share"),
    (Cause::Winding, "winding"),
];

fn cause_word(cause: &Cause) -> String {
    match cause {
        Cause::Nozzle(name) => format!("nozzle {name}"),
        other => CAUSES.iter().find(|(c, _)| c == other).map_or_else(String::new, |(_, w)| (*w).to_owned()),
    }
}

fn cause(word: &str) -> Result<Cause, Problems> {
    if let Some(name) = word.strip_prefix("nozzle ") {
        return Ok(Cause::Nozzle(name.into()));
    }
    let known = CAUSES.iter().find(|(_, w)| *w == word);
    known.map(|(c, _)| c.clone()).ok_or_else(|| Problem::new(format!("no common error \"{word}\"")).into())
}

fn common_error(m: &PairModel, s: &Shift) -> disk::CommonError {
    disk::CommonError {
        source: cause_word(&s.cause),
        u: s.of_cause.map(kept),
        dof: s.shape.dof().is_finite().then(|| kept(s.shape.dof())),
        rectangular: s.shape == Shape::Rectangle,
        type_a: s.origin == TermOrigin::Random,
        freewheel_v: s.freewheel_v,
        ln_k: m.nozzles.iter().zip(&s.ln_k).map(|(n, d)| (n.name.clone(), kept(*d))).collect(),
        coefficients: s.coefficients.iter().map(|c| kept(*c)).collect(),
    }
}

/// The model of a calibration, which answers questions.
///
/// # Errors
/// A name the program does not know.
pub fn model(c: &Calibration) -> Result<PairModel, Problems> {
    let terms = c.surface.terms.iter().map(term).collect::<Result<Vec<_>, _>>()?;
    let p = terms.len();
    let lower = |i: usize, j: usize| c.surface.terms[i].covariance.get(j).copied().unwrap_or(0.0);
    let nozzles: Vec<NozzleLaw> = c.nozzles.iter().map(|(name, n)| law(name, n)).collect();
    let shifts = c.common_errors.iter().map(|e| {
        Ok(Shift {
            cause: cause(&e.source)?,
            of_cause: e.u,
            shape: if e.rectangular {
                Shape::Rectangle
            } else {
                Shape::of_dof(e.dof.unwrap_or(f64::INFINITY))
            },
            origin: if e.type_a { TermOrigin::Random } else { TermOrigin::Common },
            coefficients: e.coefficients.clone(),
            ln_k: nozzles.iter().map(|n| e.ln_k.get(&n.name).copied().unwrap_or(0.0)).collect(),
            freewheel_v: e.freewheel_v,
        })
    });
    let range = |l: disk::Limits| (l.low, l.high);
    Ok(PairModel {
        surface: surface::Surface {
            scaling: Scaling {
                effective_v: (c.surface.scaling.low_v, c.surface.scaling.high_v),
                pressure_kpa: c.surface.scaling.pressure_kpa,
                flow_ml_min: c.surface.scaling.flow_ml_min,
            },
            terms,
            coefficients: c.surface.terms.iter().map(|t| t.coefficient).collect(),
        },
        covariance: DMatrix::from_fn(p, p, |i, j| lower(i.max(j), i.min(j))),
        dof: c.surface.dof.unwrap_or(f64::INFINITY),
        freewheel_v: c.surface.freewheel_v,
        shifts: shifts.collect::<Result<Vec<_>, Problems>>()?,
        nozzles,
        reference: Reference {
            supply_v: c.reference.supply_v,
            supply_range_v: range(c.range.supply_v),
            water_degc: c.range.water_degc,
            line_range_kpa: c.range.line_kpa.map_or((0.0, c.surface.scaling.pressure_kpa), range),
            out_range_kpa: range(c.range.outlet_kpa),
            pressure_measured: c.range.line_pressure_measured,
            methanol_mass_fraction: c.fluid.methanol_mass_fraction,
            pwm_hz: c.pwm.as_ref().map(|p| p.frequency_hz),
            check_valve_kpa: c.check_valve.as_ref().map(|v| v.cracking_kpa.value),
        },
    })
}

fn law(name: &str, n: &disk::NozzleEntry) -> NozzleLaw {
    let duties: Vec<f64> = n.duties_pct.iter().map(|d| d / 100.0).collect();
    NozzleLaw {
        name: name.to_owned(),
        k: n.k_used,
        flow_range: (n.flow_range_ml_min[0], n.flow_range_ml_min[1]),
        duty_range: (duties.first().copied().unwrap_or(0.0), duties.last().copied().unwrap_or(1.0)),
        duties,
        widening: n.widening.iter().map(|w| (w.duty_pct / 100.0, w.u_ml_min)).collect(),
    }
}
