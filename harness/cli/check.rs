//! `dutycup check RIG`: opens and identifies each instrument, shows what every channel reads, how noisy and how fast.
//! Nothing is set and nothing is energised.

use super::{Outcome, data, say};
use crate::chance::Seed;
use crate::clock::SystemClock;
use crate::exit::Exit;
use crate::port::in_process::{InProcess, Pace, StopFlag};
use crate::port::serial::SerialPorts;
use crate::problem::Problem;
use crate::run::desk::Desk;
use crate::run::survey::{Survey, is_read, percentile, survey};
use crate::script::rig::{Rig, Watchdog};
use crate::script::role::Role;
use clap::Args;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::time::Duration;

/// Options of `check`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Rig file.
    rig: PathBuf,
    /// How long to listen, s.
    #[arg(long, value_name = "SECONDS", default_value_t = 3)]
    seconds: u16,
    /// Seed of the virtual bench, where there are no real ports.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let rig = crate::script::load_rig(&options.rig)?;
    let mut desk = Desk::new(&rig)?;
    let span = Duration::from_secs(u64::from(options.seconds));
    let seen = if rig.instruments.iter().any(|i| i.port.path.is_some()) {
        let (mut ports, failed) = SerialPorts::open(&rig, SystemClock::start(), Box::new(say));
        survey(&rig, &mut desk, &mut ports, failed, span)
    } else if let Some(section) = &rig.virtual_bench {
        let bench = crate::virtual_bench::build(section, Seed(options.seed))?;
        let names = rig.instruments.iter().map(|i| i.name.as_str());
        let mut ports = InProcess::new(bench, names, Pace::Virtual, StopFlag::default());
        survey(&rig, &mut desk, &mut ports, Vec::new(), span)
    } else {
        let what = format!("{} names no port and has no virtual bench", options.rig.display());
        return Err(Problem::new(what)
            .help("give each instrument its `port: { path: ... }`")
            .into());
    };
    data(&table(&rig, &seen));
    let faults: Vec<_> = seen.instruments.iter().flat_map(|i| &i.faults).collect();
    for fault in &faults {
        say(&fault.to_string());
    }
    say(&safety(&rig));
    Ok(faults
        .iter()
        .fold(Exit::Pass, |exit, fault| exit.and(fault.code.exit())))
}

/// What was seen, in columns.
fn table(rig: &Rig, seen: &Survey) -> String {
    let mut out = String::new();
    let ms = |d: Option<Duration>| d.map_or("-".to_owned(), |d| format!("{:.1}", d.as_secs_f64() * 1e3));
    // Writing to a String cannot fail.
    let _ = writeln!(
        out,
        "{:<12} {:<5} {:>8} {:>8} {:>8}  identity",
        "instrument", "state", "p50 ms", "p99 ms", "max ms"
    );
    for found in &seen.instruments {
        let state = if found.ready { "ok" } else { "FAULT" };
        let p = |share| ms(percentile(&found.round_trips, share));
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
    let _ = writeln!(
        out,
        "\n{:<22} {:>8} {:>12} {:>12}",
        "channel", "readings", "mean", "noise (sd)"
    );
    for (index, channel) in seen.channels.iter().enumerate().filter(|(i, _)| is_read(rig, *i)) {
        let column = rig.channels[index].role.column();
        if channel.count == 0 {
            let _ = writeln!(out, "{column:<22} {:>8} {:>12} {:>12}", 0, "-", "-");
        } else {
            let _ = writeln!(
                out,
                "{column:<22} {:>8} {:>12.4} {:>12.4}",
                channel.count, channel.mean, channel.sd
            );
        }
    }
    out
}

/// What this bench can and cannot do to stay safe, in words.
fn safety(rig: &Rig) -> String {
    let has = |role: &Role| rig.channels.iter().any(|c| c.role == *role);
    let mut words = Vec::new();
    match rig.watchdog {
        Watchdog::Device { trip } => words.push(format!("device watchdog {} ms", trip.as_millis())),
        Watchdog::None => {
            words.push("NO WATCHDOG: only the emergency stop ends the spraying if this computer fails".into())
        }
    }
    if !has(&Role::OutputOn) {
        words.push("no read-back of the pump output: \"off\" is believed from falling pressure alone".into());
    }
    if !has(&Role::Heartbeat) {
        words.push("no heartbeat".into());
    }
    if !has(&Role::EmergencyStop) {
        words.push("the emergency stop is not read".into());
    }
    format!("Safety: {}", words.join("; "))
}
