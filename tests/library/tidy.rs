//! Keeps the structure: arrows between modules, file headers, sizes, and what only one module may do.

use std::fs;
use std::path::{Path, PathBuf};

/// Longest file, lines.
const LINES_MOST: usize = 500;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn rust_files(dir: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> =
        fs::read_dir(dir).into_iter().flatten().map(|e| e.expect("readable folder").path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// Every file of the library, as (module, path below `harness`, text).
fn library() -> Vec<(String, String, String)> {
    let harness = root().join("harness");
    let mut paths = Vec::new();
    rust_files(&harness, &mut paths);
    assert!(paths.len() > 30, "the library is found");
    let read = |path: PathBuf| {
        let below = path.strip_prefix(&harness).expect("below harness").to_string_lossy().into_owned();
        let module = below.split(['/', '.']).next().unwrap_or_default().to_owned();
        (module, below, fs::read_to_string(path).expect("readable file"))
    };
    paths.into_iter().map(read).collect()
}

/// Modules in reading order, from `lib.rs`.
fn order() -> Vec<String> {
    let text = fs::read_to_string(root().join("harness/lib.rs")).expect("lib.rs");
    let named = |line: &str| Some(line.strip_prefix("mod ")?.strip_suffix(';')?.to_owned());
    text.lines().filter_map(named).collect()
}

/// The top-level modules that a text names, outside comments and its own tests.
fn named_modules(text: &str) -> Vec<String> {
    let code: String = text
        .split("#[cfg(test)]")
        .next()
        .unwrap_or_default()
        .lines()
        .filter(|l| !l.trim_start().starts_with("//"))
        .map(|l| format!("{l}\n"))
        .collect();
    let mut found = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        let words: Vec<&str> = match rest.strip_prefix('{') {
            Some(list) => {
                list.split(['}', ',', '\n']).map(|w| w.trim().split("::").next().unwrap_or("")).collect()
            }
            None => vec![rest.split(|c: char| !(c.is_alphanumeric() || c == '_')).next().unwrap_or("")],
        };
        found.extend(words.into_iter().map(str::to_owned));
    }
    found
}

#[test]
fn arrows_point_to_the_left() {
    let order = order();
    assert!(order.len() > 15, "lib.rs lists the modules");
    let place = |module: &str| order.iter().position(|m| m == module);
    let mut wrong = Vec::new();
    for (module, file, text) in library() {
        let Some(own) = place(&module) else { continue };
        for named in named_modules(&text) {
            if place(&named).is_some_and(|other| other > own) {
                wrong.push(format!("{file} names {named}, which stands to its right"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn parts_that_must_not_know_each_other_do_not() {
    let rules: [(&str, &[&str]); 9] = [
        ("virtual_bench", &["quantity", "clock", "chance", "problem", "virtual_bench"]),
        ("wire", &["quantity", "clock", "problem", "wire"]),
        ("instrument", &["quantity", "clock", "problem", "wire", "script", "instrument"]),
        ("numerics", &["chance", "problem", "numerics"]),
        ("fluid", &["quantity", "problem", "numerics", "fluid"]),
        ("uncertainty", &["quantity", "chance", "problem", "numerics", "uncertainty"]),
        (
            "run",
            &[
                "quantity",
                "clock",
                "chance",
                "exit",
                "problem",
                "script",
                "instrument",
                "port",
                "record",
                "run",
            ],
        ),
        (
            "fit",
            &[
                "quantity",
                "chance",
                "problem",
                "numerics",
                "fluid",
                "uncertainty",
                "table",
                "script",
                "calibration",
                "reduce",
                "fit",
            ],
        ),
        (
            "reduce",
            &[
                "quantity",
                "chance",
                "problem",
                "numerics",
                "fluid",
                "uncertainty",
                "table",
                "script",
                "record",
                "reduce",
            ],
        ),
    ];
    let mut wrong = Vec::new();
    let modules = order();
    for (module, file, text) in library() {
        let Some((_, allowed)) = rules.iter().find(|(m, _)| *m == module) else {
            continue;
        };
        for named in named_modules(&text) {
            if modules.contains(&named) && !allowed.contains(&named.as_str()) {
                wrong.push(format!("{file} names {named}"));
            }
        }
        if ["wire", "instrument", "reduce", "fit", "judge", "verdict"].contains(&module.as_str())
            && text.contains("tokio")
        {
            wrong.push(format!("{file} names tokio"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn files_say_what_they_are_and_stay_small() {
    let mut wrong = Vec::new();
    for (_, file, text) in library() {
        if !text.starts_with("//!") {
            wrong.push(format!("{file} does not open with //!"));
        }
        let lines = text.lines().count();
        if lines > LINES_MOST {
            wrong.push(format!("{file} has {lines} lines; does it hold one idea?"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn time_and_chance_come_from_one_place() {
    let only: [(&str, &[&str]); 4] = [
        ("Instant::now", &["clock"]),
        ("SystemTime::now", &["clock"]),
        ("thread::sleep", &["clock"]),
        ("rand::rng(", &[]),
    ];
    let mut wrong = Vec::new();
    for (module, file, text) in library() {
        for (call, allowed) in only {
            if text.contains(call) && !allowed.contains(&module.as_str()) {
                wrong.push(format!("{file} calls {call}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn top_level_holds_what_it_should() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE-MIT",
        "LICENSE-APACHE",
        "clippy.toml",
        "rustfmt.toml",
        "deny.toml",
        "askama.toml",
        "harness",
        "scenarios",
        "rigs",
        "tests",
        "results",
        "target",
        ".git",
        ".gitignore",
        ".gitattributes",
        ".ci",
        ".config",
        ".cargo",
    ];
    let entries = fs::read_dir(root()).expect("readable root");
    let names: Vec<String> =
        entries.map(|e| e.expect("entry").file_name().to_string_lossy().into_owned()).collect();
    let extra: Vec<&String> = names.iter().filter(|n| !allowed.contains(&n.as_str())).collect();
    assert!(extra.is_empty(), "not at home at the top level: {extra:?}");
}
