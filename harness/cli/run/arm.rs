//! Arming: what a person must know before a bench is energised, and that a person wants it.
//!
//! In: a job, and what the command line says. Out: leave to go on, or a refusal. Never: a bench of metal energised
//! without its own name; methanol without three consents (the rig's, the command line's, and the arming itself).

use super::super::{Failure, say};
use super::{Job, earlier};
use crate::problem::Problem;
use crate::quantity::{Dimension, Units, show};
use crate::record::disk;
use crate::script::plan::Plan;
use crate::script::rig::{Limits, Rig, Watchdog};
use crate::script::timeline;
use std::fmt::Write as _;
use std::io::IsTerminal as _;
use std::path::Path;

/// The cautions of a bench, common practice, no source.
const BENCH: &str = "This program is not a safety device. Relief valve set, hose rated for the pressure, fuse and hard-wired \
emergency stop in the 12 V feed, eye protection on, nobody in line with the spray, electronics and mains away from it. \
Data sheets, local codes and licensed practice come first.";
/// The cautions of methanol, common practice, no source.
const METHANOL: &str = "METHANOL is flammable, its vapour ignites far from the spray, and its flame is hardly visible by day. It is \
toxic: swallowed, breathed and through the skin, with damage to the eyes. Ventilate, keep every source of ignition away \
(brushed motors, relays, switches, phones, static), earth what holds it, wear gloves and goggles, have an extinguisher \
for alcohol and water at hand, never work alone. Data sheets, local codes and licensed practice come first.";

/// A fluid with methanol needs the rig's leave, which the rig file has been checked for, and the command line's.
///
/// # Errors
/// Methanol that the command line does not speak of.
pub(super) fn fluid(consented: bool, rig: &Rig) -> Result<(), Failure> {
    let share = rig.fluid.methanol_mass_fraction;
    if share <= 0.0 {
        return Ok(());
    }
    say(METHANOL);
    if consented && rig.fluid.methanol_permitted {
        return Ok(());
    }
    let what = format!("the fluid of rig {} is {:.0} % methanol by mass", rig.name, share * 100.0);
    Err(Problem::new(what)
        .expected("water on the bench; or `methanol_permitted: on` in a rig that is made for it, and --methanol here")
        .help(
            "bench with water, and let the mix be computed: dutycup predict calibration.yaml --fluid \"50 % by volume\" --duty \"45 %\"",
        )
        .into())
}

/// The folder of the results is new or empty, no link, and takes files.
///
/// # Errors
/// It is not.
pub(super) fn folder(dir: &Path) -> Result<(), Failure> {
    disk::usable_folder(dir)?;
    Ok(())
}

/// Says what is about to be energised, and asks for the bench's own name.
///
/// # Errors
/// The name is missing or another one.
pub(super) fn arm(given: Option<&str>, job: &Job) -> Result<(), Failure> {
    say(&words(job));
    for line in earlier::raised(job) {
        say(&line);
    }
    let name = &job.rig.name;
    let typed = match given {
        Some(given) => given.to_owned(),
        None if std::io::stdin().is_terminal() => {
            say("Type the bench's name to arm it:");
            let mut line = String::new();
            std::io::stdin().read_line(&mut line).map_err(|e| Problem::new(e.to_string()))?;
            line.trim().to_owned()
        }
        None => String::new(),
    };
    if typed == *name {
        return Ok(());
    }
    let what = if typed.is_empty() {
        "a real bench is not energised unasked".to_owned()
    } else {
        format!("\"{typed}\" is not the name of this bench")
    };
    Err(Problem::new(what).help(format!("say --arm {name}")).into())
}

/// What a person must know before the pump runs.
fn words(job: &Job) -> String {
    let Job { rig, plan, .. } = job;
    let comes_to = timeline(plan, rig);
    let mut out =
        format!("Bench `{}` is about to be energised for {}.\n\n{BENCH}\n", rig.name, plan.scenario);
    for caution in &job.cautions {
        // Writing to a String cannot fail.
        let _ = writeln!(out, "- {}", caution.trim());
    }
    let _ = writeln!(out, "\n{:<28} {:>16} {:>16}", "limit", "bench", "this run");
    for ((what, bench), (_, run)) in limits(&rig.limits).into_iter().zip(limits(&plan.limits)) {
        let mark = if bench == run { "" } else { "  lowered" };
        let _ = writeln!(out, "{what:<28} {bench:>16} {run:>16}{mark}");
    }
    let of = |value: Option<f64>, dimension| {
        value.map_or_else(|| String::from("unknown, the nozzle has no rating"), |v| us(v, dimension))
    };
    let fluid = match rig.fluid.methanol_mass_fraction {
        share if share > 0.0 => format!("{:.0} % METHANOL by mass", share * 100.0),
        _ => String::from("water"),
    };
    let _ = write!(
        out,
        "\nhighest pressure  {} possible (limit), {} expected from the nozzle's rating\n\
         fluid             {fluid}, {}\n\
         pump on           {} without a pause at most\n",
        us(comes_to.pressure_limit_kpa, Dimension::GaugePressure),
        of(comes_to.pressure_expected_kpa, Dimension::GaugePressure),
        of(comes_to.fluid_ml, Dimension::Volume),
        us(comes_to.longest_on_s, Dimension::Time),
    );
    let _ = write!(out, "\n{}", watchdog(rig));
    out
}

/// Limits in words.
fn limits(limits: &Limits) -> [(&'static str, String); 5] {
    let range =
        |(low, high): (f64, f64), dimension| format!("{} to {}", us(low, dimension), us(high, dimension));
    [
        ("line pressure, highest", us(limits.line_pressure_kpa, Dimension::GaugePressure)),
        ("cup, heaviest", us(limits.cup_mass_g, Dimension::Mass)),
        ("supply", range(limits.supply_v, Dimension::Voltage)),
        ("pump on without a pause", us(limits.on_time_s, Dimension::Time)),
        ("duty", range(limits.duty_pct, Dimension::Ratio)),
    ]
}

fn watchdog(rig: &Rig) -> String {
    match rig.watchdog {
        Watchdog::Device { trip } => format!(
            "Watchdog: the device switches the pump off {} ms after the last sign of life from here.",
            trip.as_millis()
        ),
        Watchdog::None => String::from(
            "WATCHDOG: NONE. If this computer or its cable fails, nothing but the emergency stop ends the spraying. \
             Stay at the bench with a hand on it.",
        ),
    }
}

fn us(value: f64, dimension: Dimension) -> String {
    show(value, dimension, Units::Us)
}

/// The longest time a plan keeps the pump on, s, and the highest pressure it is expected to make, gauge kPa.
pub(super) fn severity(plan: &Plan, rig: &Rig) -> [(&'static str, Option<f64>, Dimension); 4] {
    let comes_to = timeline(plan, rig);
    [
        ("highest line pressure allowed", Some(comes_to.pressure_limit_kpa), Dimension::GaugePressure),
        ("highest line pressure expected", comes_to.pressure_expected_kpa, Dimension::GaugePressure),
        ("longest time with the pump on", Some(comes_to.longest_on_s), Dimension::Time),
        ("longest time with the pump on allowed", Some(plan.limits.on_time_s), Dimension::Time),
    ]
}
