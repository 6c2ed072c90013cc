//! `dutycup check RIG`: opens and identifies each instrument, shows what every channel reads, how noisy and how fast,
//! and what that means for a bench at rest. Nothing is set and nothing is energised.

use super::analysis::UnitChoice;
use super::output::{json, live};
use super::{Outcome, check_by_hand, data, say};
use crate::chance::Seed;
use crate::clock::SystemClock;
use crate::exit::Exit;
use crate::port::in_process::{InProcess, Pace, StopFlag};
use crate::port::serial::SerialPorts;
use crate::problem::Problem;
use crate::quantity::{Units, rounded};
use crate::run::desk::Desk;
use crate::run::remarks;
use crate::run::survey::{Survey, is_read, percentile, survey};
use crate::script::rig::{Rig, Watchdog};
use crate::script::role::Role;
use clap::Args;
use serde_json::json;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::time::Duration;

/// Options of `check`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Rig file.
    rig: PathBuf,
    /// Time to sample, s.
    #[arg(long, value_name = "SECONDS", default_value_t = 3, value_parser = clap::value_parser!(u16).range(2..=3600))]
    seconds: u16,
    /// Seed of the virtual bench, where there are no real ports.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Units shown.
    #[arg(long, value_enum, default_value_t)]
    units: UnitChoice,
    /// Print what was found as JSON on stdout.
    #[arg(long)]
    json: bool,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let rig = crate::script::load_rig(&options.rig)?;
    if check_by_hand::is_by_hand(&rig) {
        let words = check_by_hand::words(&rig, options.units.into())?;
        if options.json {
            json(&check_by_hand::as_json(&rig));
        } else {
            data(&words);
        }
        say(&safety(&rig));
        return Ok(Exit::Pass);
    }
    let mut desk = Desk::new(&rig)?;
    let span = Duration::from_secs(u64::from(options.seconds));
    let units = options.units.into();
    let mut screen = live();
    let mut show = |seen: &Survey| screen.show(&channels(&rig, seen, &[], units));
    let seen = if rig.instruments.iter().any(|i| i.port.path.is_some()) {
        let (mut ports, failed) = SerialPorts::open(&rig, SystemClock::start(), Box::new(say))?;
        survey(&rig, &mut desk, &mut ports, failed, span, &mut show)
    } else if let Some(section) = &rig.virtual_bench {
        let bench = crate::virtual_bench::build(section, Seed(options.seed))?;
        let names = rig.instruments.iter().map(|i| i.name.as_str());
        let mut ports = InProcess::new(bench, names, Pace::Virtual, StopFlag::default());
        survey(&rig, &mut desk, &mut ports, Vec::new(), span, &mut |_| {})
    } else {
        let what = format!("{} names no port and has no virtual bench", options.rig.display());
        return Err(Problem::new(what).help("give each instrument its `port: { path: ... }`").into());
    };
    screen.clear();
    let words = remarks::of_channels(&rig, &seen, span, units);
    if options.json {
        json(&as_json(&rig, &seen, &words));
    } else {
        data(&format!("{}\n{}", instruments(&seen), channels(&rig, &seen, &words, units)));
    }
    let faults: Vec<_> = seen.instruments.iter().flat_map(|i| &i.faults).collect();
    for fault in &faults {
        say(&fault.to_string());
    }
    for remark in remarks::of_bench(&rig, &seen) {
        say(&remark);
    }
    say(&safety(&rig));
    Ok(faults.iter().fold(Exit::Pass, |exit, fault| exit.and(fault.code.exit())))
}

/// A number of milliseconds.
fn ms(time: Option<Duration>) -> Option<f64> {
    time.map(|t| t.as_secs_f64() * 1e3)
}

/// Who answered and how fast, in columns.
fn instruments(seen: &Survey) -> String {
    let mut out = format!(
        "{:<12} {:<5} {:>8} {:>8} {:>8}  identity\n",
        "instrument", "state", "p50 ms", "p99 ms", "max ms"
    );
    for found in &seen.instruments {
        let state = if found.ready { "ok" } else { "FAULT" };
        let p =
            |share| ms(percentile(&found.round_trips, share)).map_or("-".to_owned(), |t| format!("{t:.1}"));
        // Writing to a String cannot fail.
        let _ = writeln!(
            out,
            "{:<12} {state:<5} {:>8} {:>8} {:>8}  {}",
            found.name,
            p(0.5),
            p(0.99),
            p(1.0),
            found.identity
        );
    }
    out
}

/// A mean with as many decimals as its scatter has at two digits, four at most.
fn against(mean: f64, sd: f64) -> String {
    let decimals = if sd > 0.0 { 1.0 - sd.log10().floor() } else { 1.0 };
    let text = format!("{mean:.*}", decimals.clamp(0.0, 4.0) as usize);
    // No sign before nothing.
    let zero = text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.');
    text.trim_start_matches(if zero { "-" } else { "" }).to_owned()
}

/// What every channel reads, in columns, with a remark each where there are any.
fn channels(rig: &Rig, seen: &Survey, words: &[Option<String>], units: Units) -> String {
    let mut out = format!(
        "{:<22} {:>8} {:>10} {:>10} {:<6} at rest\n",
        "channel", "readings", "mean", "noise (sd)", "unit"
    );
    for (index, channel) in seen.channels.iter().enumerate().filter(|(i, _)| is_read(rig, *i)) {
        let role = &rig.channels[index].role;
        let unit = units.of(role.dimension());
        let (mean, sd) = match unit {
            _ if channel.count == 0 => ("-".to_owned(), "-".to_owned()),
            Some(unit) => {
                let sd = unit.difference_from_internal(channel.sd);
                (against(unit.express(channel.mean), sd), rounded(sd, 2))
            }
            None => (against(channel.mean, channel.sd), rounded(channel.sd, 2)),
        };
        let remark = words.get(index).and_then(Option::as_deref).unwrap_or_default();
        let line = format!(
            "{:<22} {:>8} {mean:>10} {sd:>10} {:<6} {remark}",
            role.word(),
            channel.count,
            unit.map_or("", |u| u.symbol)
        );
        // Writing to a String cannot fail.
        let _ = writeln!(out, "{}", line.trim_end());
    }
    out
}

/// The same for a program: internal units, as in `samples.csv`.
fn as_json(rig: &Rig, seen: &Survey, words: &[Option<String>]) -> serde_json::Value {
    let p = |trips: &[Duration], share| ms(percentile(trips, share));
    let instruments: Vec<_> = seen
        .instruments
        .iter()
        .map(|i| {
            json!({
                "instrument": i.name, "ready": i.ready, "identity": i.identity,
                "round_trip_ms": {"p50": p(&i.round_trips, 0.5), "p99": p(&i.round_trips, 0.99), "max": p(&i.round_trips, 1.0)},
                "faults": i.faults.iter().map(ToString::to_string).collect::<Vec<_>>(),
            })
        })
        .collect();
    let channels: Vec<_> = (seen.channels.iter().enumerate())
        .filter(|(i, _)| is_read(rig, *i))
        .map(|(index, c)| {
            let some = |value: f64| (c.count > 0).then_some(value);
            json!({
                "channel": rig.channels[index].role.column(), "readings": c.count, "mean": some(c.mean),
                "sd": some(c.sd), "latest": some(c.latest), "remark": words.get(index).cloned().flatten(),
            })
        })
        .collect();
    json!({"instruments": instruments, "channels": channels})
}

/// What this bench can and cannot do to stay safe, in words.
fn safety(rig: &Rig) -> String {
    let mut words = Vec::new();
    match rig.watchdog {
        Watchdog::Device { trip } => words.push(format!("device watchdog {} ms", trip.as_millis())),
        Watchdog::None => {
            words.push("NO WATCHDOG: only the emergency stop ends the spraying if this computer fails".into())
        }
    }
    if !rig.plays(&Role::OutputOn) {
        words.push("no read-back of the pump output: \"off\" is believed from falling pressure alone".into());
    }
    if !rig.plays(&Role::Heartbeat) {
        words.push("no heartbeat".into());
    }
    if !rig.plays(&Role::EmergencyStop) {
        words.push("the emergency stop is not read".into());
    }
    format!("Safety: {}", words.join("; "))
}
