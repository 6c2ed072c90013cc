//! A program for fuzzers that speak over standard input: `fuzz TARGET < input`; `fuzz corpus TARGET FOLDER` writes real
//! inputs to start from; without a target it names them all. It ends with 0 where every promise of `targets.rs` holds
//! and aborts where one is broken.

mod disk;
mod lines;
mod targets;

use std::io::{Read, Write, stderr, stdin};
use std::path::Path;
use std::process::ExitCode;
use targets::{TARGETS, Target};

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let find = |name: &String| TARGETS.iter().find(|t| t.name == name);
    let written = match arguments.as_slice() {
        [name] => {
            if let Some(target) = find(name) {
                return feed(target);
            }
            None
        }
        [word, name, folder] if word == "corpus" => find(name).map(|t| corpus(t, Path::new(folder))),
        _ => None,
    };
    match written {
        Some(Ok(())) => ExitCode::SUCCESS,
        Some(Err(e)) => said(&e.to_string()),
        None => {
            let known: Vec<&str> = TARGETS.iter().map(|t| t.name).collect();
            said(&format!("fuzz TARGET < input; fuzz corpus TARGET FOLDER; targets: {}", known.join(" ")))
        }
    }
}

fn said(text: &str) -> ExitCode {
    // Nobody is left to tell where even this fails.
    let _ = writeln!(stderr(), "{text}");
    ExitCode::from(2)
}

fn feed(target: &Target) -> ExitCode {
    let mut bytes = Vec::new();
    if let Err(e) = stdin().lock().read_to_end(&mut bytes) {
        return said(&e.to_string());
    }
    match std::panic::catch_unwind(|| (target.run)(&bytes)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => std::process::abort(),
    }
}

fn corpus(target: &Target, folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    for (number, seed) in target.inputs().into_iter().enumerate() {
        std::fs::write(folder.join(number.to_string()), seed)?;
    }
    Ok(())
}
