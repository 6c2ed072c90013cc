//! Files that want the memory: every command that reads a file refuses them within its own, and says so briefly.

use super::support::{ours, run, scratch, speaks_safely};
use std::fs;
use std::path::Path;

/// YAML that grows: by aliases, by depth, by names, by length.
fn yaml_bombs() -> Vec<(&'static str, String)> {
    let aliases = (1..10).fold("a0: &a0 [x, x]\n".to_owned(), |text, i| {
        text + &format!("a{i}: &a{i} [{}]\n", vec![format!("*a{}", i - 1); 9].join(", "))
    });
    let merges = (1..2000).fold("a0: &a0 {x: 1}\n".to_owned(), |text, i| {
        text + &format!("a{i}: &a{i}\n  <<: [*a{}, *a{}]\n  k{i}: 1\n", i - 1, i / 2)
    });
    vec![
        ("nine to the ninth", aliases),
        ("merges", merges),
        ("200,000 lists in a line", "[".repeat(200_000)),
        ("200,000 lists over lines", "[\n".repeat(200_000)),
        ("40,000 lists over lines", "[\n".repeat(40_000)),
        ("200,000 maps in a line", "{a: ".repeat(200_000)),
        ("20,000 maps over lines", "{a:\n ".repeat(20_000)),
        ("lists by dashes", "- ".repeat(100_000)),
        ("keys of keys", "? ".repeat(100_000)),
        ("a million names", (0..1_000_000).map(|i| format!("k{i}: 1\n")).collect()),
        ("a text of 100 MB", format!("format: {}\n", "a".repeat(100_000_000))),
        ("a million anchors", "- &a x\n".repeat(150_000)),
        ("a million documents", "---\na\n".repeat(150_000)),
        ("a quote without end", format!("a: \"{}", "b\n ".repeat(300_000))),
    ]
}

/// Every command that reads YAML, with `{}` for the file and `{out}` for a folder or file of its own.
const YAML_COMMANDS: &[&[&str]] = &[
    &["run", "{}", "--dry-run"],
    &["run", "scenarios/leak-down.yaml", "--dry-run", "--rig", "{}"],
    &["check", "{}"],
    &["emulate", "{}", "--ports", "{out}"],
    &["predict", "{}", "--duty", "30 %"],
    &["compare", "{}", "tests/fuzz/seeds/controller.csv"],
    &["accept", "{}", "--as", "{out}"],
    &["map", "{}", "results/example"],
    &[
        "window",
        "{}",
        "tests/fuzz/seeds/ramps.csv",
        "--boost",
        "20 psi",
        "--from",
        "8 psi",
        "--lightest",
        "20 %",
    ],
    &["analyse", "{}", "--out", "{out}"],
    &["analyse", "tests/data/points.csv", "--rig", "{}", "--out", "{out}"],
];

fn refused(commands: &[&[&str]], name: &str, file: &Path) {
    for command in commands {
        let dir = scratch();
        let out = dir.path().join("out").display().to_string();
        let file = file.display().to_string();
        let done = run(command.iter().map(|word| word.replace("{}", &file).replace("{out}", &out)));
        let what = format!("{} with {name}", command.join(" "));
        let said = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{what}: {} {said:.2000}", done.status);
        speaks_safely(&what, &done);
        assert!(done.stderr.len() < 64 << 10, "{what}: {} bytes said", done.stderr.len());
    }
}

#[test]
fn no_yaml_takes_the_memory() {
    let dir = scratch();
    for (name, text) in yaml_bombs() {
        let path = dir.path().join("bomb.yaml");
        fs::write(&path, text).unwrap_or_else(|e| panic!("{e}"));
        refused(YAML_COMMANDS, name, &path);
    }
    refused(YAML_COMMANDS, "zeros without end", Path::new("/dev/zero"));
}

#[test]
fn no_table_takes_the_memory() {
    let dir = scratch();
    let header = "duty_pct,supply_v,line_pressure_psi,collected_g,collect_s";
    let commands: &[&[&str]] = &[
        &["analyse", "{}", "--out", "{out}"],
        &["accept", "{}", "--as", "{out}"],
        &["predict", "results/example/calibration.yaml", "--table", "{}"],
    ];
    for (name, text) in [
        ("a line of 100 MB", "a".repeat(100_000_000)),
        ("ten million columns", ",".repeat(10_000_000)),
        ("a quote without end", format!("{header}\n\"{}", "b\n".repeat(5_000_000))),
        ("a million bad rows", format!("{header}\n{}", "x,y,z,,\n".repeat(1_000_000))),
        (
            "ramps with a long line",
            format!("ramp,time_s,line_pressure_psi,switch\n1,0,{}\n", "1".repeat(50_000_000)),
        ),
    ] {
        let path = dir.path().join("bomb.csv");
        fs::write(&path, text).unwrap_or_else(|e| panic!("{e}"));
        refused(commands, name, &path);
    }
    refused(commands, "zeros without end", Path::new("/dev/zero"));
}

/// The limit is really one: under it the ordinary commands work, and a hundredth of it is too little.
#[test]
fn the_limit_is_one() {
    let done = run(["run", "scenarios/pump-and-nozzle.yaml", "--dry-run"]);
    assert_eq!(done.status.code(), Some(0), "{}", String::from_utf8_lossy(&done.stderr));
    let done = std::process::Command::new("sh")
        .args(["-c", "ulimit -d 500 && exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_dutycup")])
        .args(["run", "scenarios/pump-and-nozzle.yaml", "--dry-run"])
        .current_dir(ours(""))
        .output()
        .unwrap_or_else(|e| panic!("{e}"));
    assert_ne!(done.status.code(), Some(0));
}
