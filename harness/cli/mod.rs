//! The command line: one file a subcommand, and the only place that chooses ports.
//!
//! In: arguments. Out: an exit code; data on stdout, messages and progress on stderr. Never: logic that a test would
//! want to call without a command line.

mod accept;
mod analyse;
mod analysis;
mod besides;
mod check;
mod check_by_hand;
mod compare;
mod controller;
mod emulate;
mod examples;
mod line;
mod manual;
mod map;
mod output;
mod predict;
mod report;
mod road;
mod run;
mod schema;
mod signals;
mod watch;
mod window;

use crate::exit::Exit;
use crate::problem::fault::Fault;
use crate::problem::{Problem, Problems};
use crate::verdict::catalogue;
use clap::{Parser, Subcommand};
use output::{data, say, write_text};
use std::path::{Path, PathBuf};

/// How a command ended, or why it could not do what was asked.
type Outcome = Result<Exit, Failure>;

/// Why a command could not do what was asked.
#[derive(Debug)]
enum Failure {
    /// Something is wrong with what was given.
    Input(Problems),
    /// The bench failed.
    Bench(Fault),
    /// Results could not be written.
    Write(PathBuf, String),
}

impl Failure {
    fn write(path: &Path, error: &std::io::Error) -> Self {
        Failure::Write(path.to_owned(), error.to_string())
    }

    fn exit(&self) -> Exit {
        match self {
            Failure::Input(_) => Exit::BadInput,
            Failure::Bench(fault) => fault.code.exit(),
            Failure::Write(..) => Exit::CannotWrite,
        }
    }
}

impl std::fmt::Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Failure::Input(problems) => write!(f, "{problems}"),
            Failure::Bench(fault) => write!(f, "{fault}"),
            Failure::Write(path, why) => write!(f, "{}: {why}", path.display()),
        }
    }
}

impl From<Problems> for Failure {
    fn from(problems: Problems) -> Self {
        Failure::Input(problems)
    }
}

impl From<Problem> for Failure {
    fn from(problem: Problem) -> Self {
        Failure::Input(problem.into())
    }
}

impl From<Fault> for Failure {
    fn from(fault: Fault) -> Self {
        Failure::Bench(fault)
    }
}

/// Bench tests for water-injection pumps, nozzles, pressure switches and controllers.
///
/// This program is not a safety device. Before anything else on a bench stand the relief valve, the fuse, the hose
/// rating and a hard-wired emergency stop in the 12 V feed. Local codes, data sheets and licensed practice come first.
#[derive(Parser, Debug)]
#[command(name = "dutycup", version, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
    /// More detail in the log (-vv: all).
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    verbose: u8,
    /// Write the log to FILE.
    #[arg(long, global = true, value_name = "FILE")]
    log: Option<PathBuf>,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Run a test scenario on a bench, then analyse it and write results and report.
    #[command(after_long_help = catalogue::list())]
    Run(run::Options),
    /// Test communication with each instrument and show live readings, noise and reply times; switches nothing on.
    Check(check::Options),
    /// Analyse a recorded run again, or a CSV table measured elsewhere.
    Analyse(analyse::Options),
    /// Write `report.html` again from a run folder.
    Report(report::Options),
    /// Save controller runs as the reference (baseline) for later comparison.
    Accept(accept::Options),
    /// Compare a run of a controller with its baseline: same, changed or undecided.
    Compare(compare::Options),
    /// Compute the delivered flow at every operating point of a controller.
    Map(map::Options),
    /// Predict the flow for a duty, or the duty for a flow, from a calibration.
    Predict(predict::Options),
    /// Find the switch set points at which the spray lamp is right on the car.
    Window(window::Options),
    /// Run a simulated bench on virtual serial ports, in real time.
    Emulate(emulate::Options),
    /// Write the scenarios and rigs that come with the program into a folder, to copy from.
    Examples(examples::Options),
    /// Print the JSON Schema of a file format.
    Schema(schema::Options),
    /// Print the manual, or write manual pages into a folder.
    Manual(manual::Options),
    /// Print the completions of a shell.
    Completions(schema::Completions),
}

/// The whole program.
#[must_use]
pub fn main() -> Exit {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(e) => {
            // Nothing can be done where even the message cannot be written.
            let _ = e.print();
            return if e.use_stderr() { Exit::BadInput } else { Exit::Pass };
        }
    };
    if let Err(failure) = output::start_trace(arguments.verbose, arguments.log.as_deref()) {
        say(&failure.to_string());
        return failure.exit();
    }
    let outcome = match &arguments.command {
        Command::Run(options) => run::main(options),
        Command::Check(options) => check::main(options),
        Command::Analyse(options) => analyse::main(options),
        Command::Report(options) => report::main(options),
        Command::Accept(options) => accept::main(options),
        Command::Compare(options) => compare::main(options),
        Command::Map(options) => map::main(options),
        Command::Predict(options) => predict::main(options),
        Command::Window(options) => window::main(options),
        Command::Emulate(options) => emulate::main(options),
        Command::Examples(options) => examples::main(options),
        Command::Schema(options) => schema::main(options),
        Command::Manual(options) => manual::main(options),
        Command::Completions(options) => schema::completions(options),
    };
    outcome.unwrap_or_else(|failure| {
        say(&failure.to_string());
        failure.exit()
    })
}

/// The command line, for completions and manual pages.
fn command() -> clap::Command {
    <Arguments as clap::CommandFactory>::command()
}
