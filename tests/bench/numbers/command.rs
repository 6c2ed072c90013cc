//! N8, N9 and N10: the program itself, from outside: how soon it answers, how long the main job takes, how much memory
//! any command holds on large and hostile input.
//!
//! In: the built program. Out: times beside a Python interpreter's start, and a table of peaks. Never: a command that
//! is killed by a signal or ends with a bug of ours and counts.

use super::process::{Ran, first_output, run};
use super::record::long_run;
use super::table::{Line, Table};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Most memory a command may hold, MiB.
const PEAK_MAX_MIB: f64 = 64.0;
/// Exit code of a bug of ours.
const BUG: i32 = 70;

/// The program, in the repository's folder.
fn program(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_dutycup"));
    command.current_dir(env!("CARGO_MANIFEST_DIR")).args(args);
    command
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a path that is text")
}

/// The main job, once; where its results are.
fn main_job(dir: &Path, name: &str) -> (Ran, PathBuf) {
    let out = dir.join(name);
    let ran = run(&mut program(&["run", "scenarios/pump-and-nozzle.yaml", "--out", text(&out)]));
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    (ran, out)
}

/// Least and middle of a few measurements.
fn least_and_middle(rounds: usize, mut measure: impl FnMut() -> f64) -> (f64, f64) {
    let mut all: Vec<f64> = (0..rounds).map(|_| measure()).collect();
    all.sort_by(f64::total_cmp);
    (all[0], all[rounds / 2])
}

/// N8.
pub(crate) fn start(table: &mut Table, dir: &Path, quick: bool) {
    let rounds = if quick { 10 } else { 40 };
    let (_, out) = main_job(dir, "n8");
    let calibration = out.join("calibration.yaml");
    let python =
        least_and_middle(rounds, || first_output(Command::new("python3").args(["-I", "-c", "print(1)"])));
    let ours = least_and_middle(rounds, || first_output(&mut program(&["--version"])));
    let ask = ["predict", text(&calibration), "--duty", "50 %", "--boost", "10 psi"];
    let predict = least_and_middle(rounds, || first_output(&mut program(&ask)));
    for (what, (least, middle), aim_ms) in [("start to first output", ours, 20.0), ("predict", predict, 30.0)]
    {
        table.add(Line {
            id: "N8",
            what: format!("{what}, least/middle of {rounds}"),
            ours: format!("{:.1}/{:.1} ms", 1e3 * least, 1e3 * middle),
            peer: format!("Python's start {:.1}/{:.1} ms", 1e3 * python.0, 1e3 * python.1),
            ratio: Some(middle / python.1),
            aim: format!("< {aim_ms:.0} ms"),
            met: Some(1e3 * middle < aim_ms),
        });
    }
}

/// N9.
pub(crate) fn job(table: &mut Table, dir: &Path, quick: bool) {
    let mut round = 0;
    let (least, middle) = least_and_middle(if quick { 2 } else { 5 }, || {
        round += 1;
        main_job(dir, &format!("n9-{round}")).0.s
    });
    table.add(Line {
        id: "N9",
        what: "run scenarios/pump-and-nozzle.yaml, everything written, least/middle".into(),
        ours: format!("{least:.2}/{middle:.2} s"),
        peer: String::new(),
        ratio: None,
        aim: "< 3 s".into(),
        met: Some(middle < 3.0),
    });
}

/// N10.
pub(crate) fn memory(table: &mut Table, dir: &Path, quick: bool) {
    scenarios(table, dir);
    let (_, pair) = main_job(dir, "n10-pair");
    let calibration = pair.join("calibration.yaml");
    let million = if quick { 1 } else { 10 };
    let long = dir.join("n10-long");
    long_run(&long, million * 1_000_000, 8);
    let wanted = dir.join("wanted.csv");
    let grid = wanted_grid(if quick { 10_000 } else { 200_000 });
    write(&wanted, grid.as_bytes());
    let cases: Vec<(String, Vec<String>)> = vec![
        (format!("analyse a record of {million} million rows"), vec!["analyse".into(), text(&long).into()]),
        ("analyse the main job again".into(), vec!["analyse".into(), text(&pair).into()]),
        ("report of the main job".into(), vec!["report".into(), text(&pair).into()]),
        (
            format!("predict a table of {} kB", grid.len() / 1000),
            ["predict", text(&calibration), "--table", text(&wanted)].map(Into::into).into(),
        ),
    ];
    let hostile = hostile_files(dir, quick).into_iter().flat_map(|(name, path)| {
        let path = text(&path).to_owned();
        [
            (format!("analyse {name}"), vec!["analyse".into(), path.clone()]),
            (format!("run {name}"), vec!["run".into(), path.clone()]),
            (format!("predict from {name}"), vec!["predict".into(), path, "--duty".into(), "50 %".into()]),
        ]
    });
    for (i, (what, mut args)) in cases.into_iter().chain(hostile).enumerate() {
        if matches!(args[0].as_str(), "analyse" | "run") {
            args.extend(["--out".into(), text(&dir.join(format!("n10-out-{i}"))).into()]);
        }
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        peak(table, &what, &run(&mut program(&args)));
    }
}

/// Every scenario that is shipped, on the virtual bench.
fn scenarios(table: &mut Table, dir: &Path) {
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let entries = std::fs::read_dir(home).expect("the scenarios");
    let mut paths: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    paths.retain(|p| p.extension().is_some_and(|e| e == "yaml"));
    paths.sort();
    for path in paths {
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        let out = dir.join(format!("n10-{name}"));
        peak(table, &format!("run {name}"), &run(&mut program(&["run", text(&path), "--out", text(&out)])));
    }
}

fn peak(table: &mut Table, what: &str, ran: &Ran) {
    let sound = ran.code.is_some_and(|code| code != BUG);
    table.add(Line {
        id: "N10",
        what: what.into(),
        ours: format!("{:.1} MiB", ran.peak_mib),
        peer: match ran.code {
            Some(code) => format!("exit {code} after {:.2} s", ran.s),
            None => format!("ended by a signal after {:.2} s", ran.s),
        },
        ratio: None,
        aim: "< 64 MiB".into(),
        met: Some(sound && ran.peak_mib < PEAK_MAX_MIB),
    });
}

fn wanted_grid(rows: usize) -> String {
    let mut grid = String::from("boost_kpa,flow_ml_min\n");
    for k in 0..rows {
        writeln!(grid, "{},{}", k % 150, 50 + k % 300).expect("written");
    }
    grid
}

fn write(path: &Path, bytes: &[u8]) {
    std::fs::write(path, bytes).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
}

/// Files that mean harm.
fn hostile_files(dir: &Path, quick: bool) -> Vec<(&'static str, PathBuf)> {
    let big = if quick { 20 } else { 200 } * 1_000_000;
    let mut points = b"duty_pct,supply_v,line_pressure_kpa,collected_g,collect_s\n".to_vec();
    for k in 0..big / 100 {
        points.extend_from_slice(format!("{},13.8,{},100.0,30.0\n", 10 + k % 90, 100 + k % 700).as_bytes());
    }
    let mut ramps = b"ramp,time_s,line_pressure_kpa,switch\n".to_vec();
    for k in 0..big / 100 {
        let (ramp, at) = (k / 20_000, k % 20_000);
        let p = if ramp % 2 == 0 { at } else { 20_000 - at } as f64 * 0.02;
        ramps.extend_from_slice(
            format!("{},{},{p:.3},{}\n", ramp + 1, at as f64 * 0.01, u8::from(p > 200.0)).as_bytes(),
        );
    }
    let header = b"duty_pct,supply_v,line_pressure_kpa,collected_g,collect_s\n";
    let bomb: String = (0..9).fold("a: &a [x, x]\n".to_owned(), |mut text, k| {
        let (last, next) = ((b'a' + k) as char, (b'b' + k) as char);
        let many = [format!("*{last}").as_str(); 9].join(", ");
        writeln!(text, "{next}: &{next} [{many}]").expect("written");
        text
    });
    [
        (
            "90,000 points",
            points[..points
                .iter()
                .enumerate()
                .filter(|(_, b)| **b == b'\n')
                .nth(if quick { 5_000 } else { 90_000 })
                .map_or(points.len(), |(i, _)| i + 1)]
                .to_vec(),
        ),
        ("points without end", points),
        ("ramps without end", ramps),
        ("a CSV line without end", [&header[..], &vec![b'7'; big]].concat()),
        ("zeros", vec![0; big]),
        ("nested brackets", vec![b'['; big / 20]),
        ("nested maps", "{a: ".repeat(60_000).into_bytes()),
        ("aliases of aliases", bomb.into_bytes()),
        ("a YAML scalar without end", [&b"format: 1\nscenario: "[..], &vec![b'x'; big]].concat()),
        ("bytes that are no text", (0..big).map(|k| (k * 7 % 251) as u8).collect()),
    ]
    .into_iter()
    .enumerate()
    .map(|(i, (name, bytes))| {
        let path = dir.join(format!("hostile-{i}.csv"));
        write(&path, &bytes);
        (name, path)
    })
    .collect()
}
