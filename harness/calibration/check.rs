//! Named checks of a calibration file, all at once.
//!
//! In: a parsed file. Out: nothing, or every problem with what was found, expected, and what to do. Never: a repair.

use super::{Calibration, FORMAT, Measured, VERSION};
use crate::problem::{Problem, Problems};

/// Terms at most; each brings a row of covariance.
const TERMS_MAX: usize = 100;

/// Checks everything.
pub(super) fn check(c: &Calibration) -> Result<(), Problems> {
    let mut problems = Problems::default();
    format_and_version(c, &mut problems);
    if problems.0.is_empty() {
        values(c, &mut problems);
        surface(c, &mut problems);
        common_errors(c, &mut problems);
    }
    problems.into_result()
}

fn format_and_version(c: &Calibration, problems: &mut Problems) {
    if c.format != FORMAT {
        problems.push(Problem::new(format!("format is \"{}\"", c.format)).expected(format!("\"{FORMAT}\"")));
    }
    if c.version != VERSION {
        problems.push(
            Problem::new(format!("version {} of the calibration file", c.version))
                .expected(format!("version {VERSION}"))
                .help("read it with the program that wrote it, or analyse its run again"),
        );
    }
}

fn number(problems: &mut Problems, what: &str, value: f64, low: f64, high: f64) {
    if !(value.is_finite() && value >= low && value <= high) {
        problems.push(
            Problem::new(format!("{what} is {value}")).expected(format!("a number from {low} to {high}")),
        );
    }
}

fn measured(problems: &mut Problems, what: &str, value: Option<&Measured>) {
    let Some(m) = value else { return };
    if !m.value.is_finite() {
        problems.push(Problem::new(format!("{what} is {}", m.value)).expected("a finite number"));
    }
    number(problems, &format!("u95 of {what}"), m.u95, 0.0, f64::MAX);
    if let Some(dof) = m.dof {
        number(problems, &format!("dof of {what}"), dof, f64::MIN_POSITIVE, f64::MAX);
    }
}

fn values(c: &Calibration, problems: &mut Problems) {
    number(problems, "reference.supply_v", c.reference.supply_v, 1.0, 60.0);
    number(problems, "fluid.methanol_mass_fraction", c.fluid.methanol_mass_fraction, 0.0, 1.0);
    if let Some(pwm) = &c.pwm {
        number(problems, "pwm.frequency_hz", pwm.frequency_hz, 1.0, 1e6);
    }
    if c.nozzles.is_empty() {
        problems.push(Problem::new("no nozzle under nozzles").expected("at least one"));
    }
    for (name, n) in &c.nozzles {
        number(problems, &format!("nozzles.{name}.k_used"), n.k_used, f64::MIN_POSITIVE, 1e6);
        measured(
            problems,
            &format!("nozzles.{name}.k_ml_min_per_sqrt_kpa"),
            n.k_ml_min_per_sqrt_kpa.as_ref(),
        );
        measured(problems, &format!("nozzles.{name}.exponent"), n.exponent.as_ref());
        for d in &n.duties_pct {
            number(problems, &format!("nozzles.{name}.duties_pct"), *d, 0.0, 101.0);
        }
        if n.duties_pct.is_empty() || n.duties_pct.windows(2).any(|w| w[0] > w[1]) {
            problems.push(Problem::new(format!("nozzles.{name}.duties_pct")).expected("duties, ascending"));
        }
        for w in &n.widening {
            number(problems, &format!("nozzles.{name}.widening"), w.u_ml_min, 0.0, f64::MAX);
        }
    }
    measured(problems, "duty.dead_band_pct", c.duty.dead_band_pct.as_ref());
    measured(problems, "pump.displacement_ml_min_per_v", c.pump.displacement_ml_min_per_v.as_ref());
    measured(problems, "pump.slip_ml_min_per_kpa", c.pump.slip_ml_min_per_kpa.as_ref());
    if let Some(valve) = &c.check_valve {
        measured(problems, "check_valve.cracking_kpa", Some(&valve.cracking_kpa));
    }
}

fn surface(c: &Calibration, problems: &mut Problems) {
    let s = &c.surface;
    number(problems, "surface.scaling.pressure_kpa", s.scaling.pressure_kpa, f64::MIN_POSITIVE, 1e5);
    number(problems, "surface.scaling.flow_ml_min", s.scaling.flow_ml_min, f64::MIN_POSITIVE, 1e7);
    number(problems, "surface.freewheel_v", s.freewheel_v, 0.0, 10.0);
    let ordered =
        s.scaling.high_v > s.scaling.low_v && s.scaling.high_v.is_finite() && s.scaling.low_v.is_finite();
    if !ordered {
        problems.push(
            Problem::new(format!("surface.scaling from {} V to {} V", s.scaling.low_v, s.scaling.high_v))
                .expected("low_v below high_v"),
        );
    }
    if s.terms.is_empty() || s.terms.len() > TERMS_MAX {
        problems.push(Problem::new(format!("{} terms", s.terms.len())).expected(format!("1 to {TERMS_MAX}")));
    }
    for (i, term) in s.terms.iter().enumerate() {
        let what = format!("surface.terms[{i}] ({})", term.term);
        number(problems, &what, term.coefficient, -1e9, 1e9);
        if term.covariance.len() != i + 1 || !term.covariance.iter().all(|v| v.is_finite()) {
            problems.push(
                Problem::new(format!("{what}: {} numbers of covariance", term.covariance.len()))
                    .expected(format!("{} finite numbers, up to the diagonal", i + 1)),
            );
        } else if term.covariance[i] < 0.0 {
            problems.push(Problem::new(format!("{what}: negative variance")).expected("0 or more"));
        }
    }
}

fn common_errors(c: &Calibration, problems: &mut Problems) {
    for e in &c.common_errors {
        if e.coefficients.len() != c.surface.terms.len() || !e.coefficients.iter().all(|v| v.is_finite()) {
            problems.push(
                Problem::new(format!("common error {}: {} coefficients", e.source, e.coefficients.len()))
                    .expected(format!("{} finite numbers, one for each term", c.surface.terms.len())),
            );
        }
        for (name, ln_k) in &e.ln_k {
            if !c.nozzles.contains_key(name) {
                let known: Vec<&str> = c.nozzles.keys().map(String::as_str).collect();
                problems.push(
                    Problem::new(format!("common error {} names nozzle \"{name}\"", e.source))
                        .expected(format!("one of {}", known.join(", "))),
                );
            }
            number(problems, &format!("common error {}, ln_k of {name}", e.source), *ln_k, -1.0, 1.0);
        }
    }
}
