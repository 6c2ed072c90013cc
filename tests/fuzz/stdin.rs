//! A program for fuzzers that speak over standard input: `fuzz TARGET < input`, and the names of the targets without
//! one. It ends with 0 where every promise of `targets.rs` holds and aborts where one is broken.

mod disk;
mod lines;
mod targets;

use std::io::{Read, Write, stderr, stdin};
use std::process::ExitCode;
use targets::TARGETS;

fn main() -> ExitCode {
    let name = std::env::args().nth(1).unwrap_or_default();
    let Some(target) = TARGETS.iter().find(|t| t.name == name) else {
        let known: Vec<&str> = TARGETS.iter().map(|t| t.name).collect();
        let _ = writeln!(stderr(), "fuzz TARGET < input; targets: {}", known.join(" "));
        return ExitCode::from(2);
    };
    let mut bytes = Vec::new();
    if stdin().lock().read_to_end(&mut bytes).is_err() {
        return ExitCode::from(2);
    }
    match std::panic::catch_unwind(|| (target.run)(&bytes)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => std::process::abort(),
    }
}
