//! `dutycup predict CALIBRATION`: the flow a duty gives, or the duty a flow needs, from the calibration file alone.
//!
//! With `--table WANTED` a CSV of wanted flows (`boost_kpa|boost_psi, rpm, flow_ml_min|flow_gal_h`) becomes one of
//! duties, with the reason in each cell that cannot be reached.

use super::analysis::UnitChoice;
use super::output::json;
use super::{Failure, Outcome, data, say, write_text};
use crate::calibration::Measured;
use crate::exit::Exit;
use crate::fit::ask::{Answer, Ask, Refusal};
use crate::fit::model::PairModel;
use crate::problem::Problem;
use crate::quantity::Dimension;
use crate::report::figure_text::Units;
use crate::report::summary::KeyFigure;
use clap::Args;
use std::path::{Path, PathBuf};

/// Options of `predict`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Calibration file.
    calibration: PathBuf,
    /// Duty, such as `"30 %"`.
    #[arg(long, value_name = "DUTY", group = "asked")]
    duty: Option<String>,
    /// Wanted flow, such as `"250 mL/min"` or `"4 gal/h"`.
    #[arg(long, value_name = "FLOW", group = "asked")]
    flow: Option<String>,
    /// CSV of wanted flows over boost and rpm.
    #[arg(long, value_name = "WANTED", group = "asked")]
    table: Option<PathBuf>,
    /// Where the table of duties goes; stdout if not given.
    #[arg(long, value_name = "FILE", requires = "table")]
    out: Option<PathBuf>,
    /// Boost, such as `"14 psi"`; an open cup if not given.
    #[arg(long, value_name = "PRESSURE", allow_hyphen_values = true)]
    boost: Option<String>,
    /// Supply, such as `"13.2 V"`; the calibration's reference if not given.
    #[arg(long, value_name = "VOLTS")]
    supply: Option<String>,
    /// Fluid: `water`, or methanol in water such as `"50 % by volume"` or `"44 % by mass"`.
    #[arg(long, value_name = "FLUID")]
    fluid: Option<String>,
    /// Temperature of the fluid, such as `"35 degC"`.
    #[arg(long, value_name = "TEMP")]
    temperature: Option<String>,
    /// PWM frequency, such as `"1 kHz"`; refused where it is not that of the calibration.
    #[arg(long, value_name = "FREQ")]
    pwm: Option<String>,
    /// Nozzle, or several at once joined by `+`.
    #[arg(long)]
    nozzle: Option<String>,
    /// Units shown.
    #[arg(long, value_enum, default_value_t)]
    units: UnitChoice,
    /// Answer as JSON.
    #[arg(long)]
    json: bool,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let model = crate::fit::store::model(&super::line::calibration(&options.calibration)?)?;
    let ask = ask(options)?;
    if let Some(wanted) = &options.table {
        return table(options, &model, &ask, wanted);
    }
    let (answer, unit, words) = match (&options.duty, &options.flow) {
        (Some(duty), None) => {
            (model.flow_at(&ask, value(duty, Dimension::Ratio)?), "mL/min", format!("flow at {duty} duty"))
        }
        (None, Some(flow)) => {
            (model.duty_for(&ask, value(flow, Dimension::Flow)?), "%", format!("duty for {flow}"))
        }
        _ => {
            return Err(Problem::new("nothing was asked").help("give --duty, --flow or --table").into());
        }
    };
    match answer {
        Ok(answer) => say_answer(&answer, unit, &words, options),
        Err(refusal) => return refused(&refusal, options),
    }
    Ok(Exit::Pass)
}

/// A value of a dimension from the command line, internal unit.
pub(super) fn value(text: &str, dimension: Dimension) -> Result<f64, Failure> {
    crate::quantity::parse(text, dimension).map_err(|e| {
        let problem =
            Problem::new(e.what(text)).expected(crate::quantity::QuantityError::expected(dimension));
        Failure::from(match e.help() {
            Some(help) => problem.help(help),
            None => problem,
        })
    })
}

fn ask(options: &Options) -> Result<Ask, Failure> {
    let get = |text: &Option<String>, dimension| text.as_deref().map(|t| value(t, dimension)).transpose();
    Ok(Ask {
        nozzle: options.nozzle.clone(),
        boost_kpa: get(&options.boost, Dimension::GaugePressure)?.unwrap_or(0.0),
        supply_v: get(&options.supply, Dimension::Voltage)?,
        methanol_mass_fraction: options.fluid.as_deref().map(methanol).transpose()?,
        temperature_degc: get(&options.temperature, Dimension::Temperature)?,
        pwm_hz: get(&options.pwm, Dimension::Frequency)?,
    })
}

/// Mass fraction of methanol that words stand for.
fn methanol(text: &str) -> Result<f64, Failure> {
    let unknown = || {
        Failure::from(
            Problem::new(format!("\"{text}\" is not a liquid known here"))
                .expected("`water`, or methanol in water such as \"50 % by volume\" or \"44 % by mass\""),
        )
    };
    if text.trim().eq_ignore_ascii_case("water") {
        return Ok(0.0);
    }
    let (share, basis) = text.split_once(" by ").ok_or_else(unknown)?;
    let fraction = value(share, Dimension::Ratio)? / 100.0;
    match basis.trim() {
        "mass" => Ok(fraction),
        "volume" => crate::fluid::Fluid::from_volume_fraction(fraction)
            .map(|f| f.methanol_mass_fraction())
            .map_err(|e| Problem::new(e.to_string()).into()),
        _ => Err(unknown()),
    }
}

fn say_answer(answer: &Answer, unit: &str, words: &str, options: &Options) {
    let e = &answer.estimate;
    if options.json {
        let value = serde_json::json!({
            "value": e.value, "unit": unit, "u95": e.u95, "dof": e.dof.is_finite().then_some(e.dof),
            "basis": answer.basis.word(), "warnings": answer.warnings,
        });
        json(&value);
        return;
    }
    let units: Units = options.units.into();
    let measured = Measured { value: e.value, u95: e.u95, dof: e.dof.is_finite().then_some(e.dof) };
    let figure = KeyFigure::measured("", measured, unit, units);
    data(&format!("{words}: {}, {}\n", figure.line(), answer.basis.word()));
    for warning in &answer.warnings {
        say(&format!("note: {warning}"));
    }
}

fn refused(refusal: &Refusal, options: &Options) -> Outcome {
    let bad_question = matches!(refusal, Refusal::NotPossible { .. } | Refusal::NoSuchNozzle { .. });
    if options.json {
        json(&serde_json::json!({ "value": null, "reason": refusal.to_string() }));
    } else {
        say(&refusal.to_string());
    }
    Ok(if bad_question { Exit::BadInput } else { Exit::Undecided })
}

/// A table of wanted flows to one of duties. Exit 3 where some cell cannot be reached.
fn table(options: &Options, model: &PairModel, ask: &Ask, path: &Path) -> Outcome {
    let wanted = crate::fit::wanted::read(path)?;
    let duties = wanted.duties(model, ask);
    match &options.out {
        Some(out) => write_text(out, &duties.csv())?,
        None => data(&duties.csv()),
    }
    let (reached, refused) = duties.counts();
    say(&format!("{reached} of {} cells reached", reached + refused));
    Ok(if refused > 0 { Exit::Undecided } else { Exit::Pass })
}
