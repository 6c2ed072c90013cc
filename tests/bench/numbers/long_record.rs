//! N6: a record of ten million rows gone through, mean and slope per step, beside general-purpose tools.
//!
//! In: how many rows. Out: time and memory of whole processes, ours and theirs, on the same file and with the same
//! results. Ours is this program again, as a child: it opens the run folder as `analyse` does, check sums and all.

use super::peers;
use super::process::{Ran, run};
use super::record::long_run;
use super::table::{Line, Table};
use dutycup::door::record::{RunFolder, SAMPLES};
use dutycup::door::script::role::Role;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The flag of the child: goes through a folder, and prints a line a step.
pub(crate) const GO_THROUGH: &str = "--go-through";
/// The flag of the child: reduces a folder to collections, as `analyse` does.
pub(crate) const REDUCE: &str = "--reduce";

/// What is gathered of a step.
#[derive(Default)]
struct Sums {
    readings: u64,
    pressure: f64,
    weighed: f64,
    first: Option<(f64, f64)>,
    t: f64,
    m: f64,
    tt: f64,
    tm: f64,
}

impl Sums {
    fn take(&mut self, time_s: f64, pressure: Option<f64>, mass: Option<f64>) {
        if let Some(p) = pressure {
            self.readings += 1;
            self.pressure += p;
        }
        let Some(m) = mass else { return };
        // From the step's first reading on, so that nothing cancels.
        let (t0, m0) = *self.first.get_or_insert((time_s, m));
        let (t, m) = (time_s - t0, m - m0);
        self.weighed += 1.0;
        self.t += t;
        self.m += m;
        self.tt += t * t;
        self.tm += t * m;
    }

    fn line(&self, step: u32) -> String {
        let slope = (self.tm - self.t * self.m / self.weighed) / (self.tt - self.t * self.t / self.weighed);
        format!("{step} {} {} {slope}\n", self.readings, self.pressure / self.readings as f64)
    }
}

/// The child: mean and slope of each step.
pub(crate) fn go_through(dir: &Path) -> String {
    let folder = RunFolder::open(dir).unwrap_or_else(|e| panic!("{e}"));
    let column = |name: &str| folder.columns().iter().position(|r| r.word() == name);
    let (pressure, mass) =
        (column("line_pressure").expect("a column"), column("cup_mass").expect("a column"));
    let mut steps: Vec<Sums> = Vec::new();
    folder
        .samples_of(|r| matches!(r, Role::LinePressure | Role::CupMass), &mut |row| {
            let step = row.step as usize;
            if steps.len() <= step {
                steps.resize_with(step + 1, Sums::default);
            }
            steps[step].take(row.time_s, row.get(pressure), row.get(mass));
        })
        .unwrap_or_else(|e| panic!("{e}"));
    let lines = steps.iter().enumerate().filter(|(_, s)| s.readings > 0);
    lines.map(|(step, sums)| sums.line(step as u32)).collect()
}

/// The child: a folder reduced; how many collections.
pub(crate) fn reduce(dir: &Path) -> usize {
    let rig = super::record::virtual_rig();
    let folder = RunFolder::open(dir).unwrap_or_else(|e| panic!("{e}"));
    let reduced = dutycup::door::reduce::from_run(&folder, &rig).unwrap_or_else(|e| panic!("{e}"));
    reduced.collections.len()
}

/// Numbers of an output, a row a line.
fn numbers(text: &str) -> Vec<Vec<f64>> {
    let row = |l: &str| l.split_whitespace().map(|w| w.parse().expect("a number")).collect();
    text.lines().map(row).collect()
}

/// Panics unless both came to the same.
fn assert_equal(ours: &str, theirs: &str, peer: &str) {
    let (a, b) = (numbers(ours), numbers(theirs));
    assert_eq!(a.len(), b.len(), "{peer}: steps");
    for (x, y) in a.iter().flatten().zip(b.iter().flatten()) {
        assert!((x - y).abs() <= 1e-7 * x.abs().max(1e-3), "{peer}: {x} {y}");
    }
}

fn child(flag: &str, dir: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().expect("this program"));
    command.arg(flag).arg(dir);
    command
}

/// The fastest of a few runs; the largest peak.
fn fastest(rounds: usize, mut command: impl FnMut() -> Command) -> Ran {
    let mut runs: Vec<Ran> = (0..rounds).map(|_| run(&mut command())).collect();
    let peak = runs.iter().map(|r| r.peak_mib).fold(0.0, f64::max);
    runs.sort_by(|a, b| a.s.total_cmp(&b.s));
    let mut best = runs.swap_remove(0);
    best.peak_mib = peak;
    assert_eq!(best.code, Some(0), "{}", best.err);
    best
}

/// N6.
pub(crate) fn measure(table: &mut Table, dir: &Path, quick: bool) {
    let (rows, rounds) = if quick { (2_000_000, 2) } else { (10_000_000, 3) };
    let folder = dir.join("long");
    long_run(&folder, rows, 8);
    let path = folder.join(SAMPLES);
    let mb = std::fs::metadata(&path).expect("the samples").len() as f64 / 1e6;
    let ours = fastest(rounds, || child(GO_THROUGH, &folder));
    let reduced = fastest(rounds, || child(REDUCE, &folder));
    let what = format!("{:.0} million rows, {mb:.0} MB, whole process", rows as f64 / 1e6);
    let theirs = match peers::python() {
        Ok(python) => peers_on(table, &python, &path, &ours.out),
        Err(why) => {
            table.missing("N6", "duckdb, polars, pandas", &why);
            Vec::new()
        }
    };
    let best = theirs.iter().min_by(|a, b| a.1.s.total_cmp(&b.1.s));
    for (name, ran) in [("mean and slope per step", &ours), ("reduced as `analyse` does", &reduced)] {
        let ratio = best.map(|(_, b)| ran.s / b.s);
        table.add(Line {
            id: "N6",
            what: format!("{what}: {name}"),
            ours: format!("{:.2} s, {:.1} MiB", ran.s, ran.peak_mib),
            peer: best.map_or(String::new(), |(n, b)| format!("best peer {n} {:.2} s", b.s)),
            ratio,
            aim: "<= 0.4 x, < 32 MB".into(),
            met: ratio.map(|r| r <= 0.4 && ran.peak_mib < 30.5),
        });
    }
    for (name, ran) in &theirs {
        table.add(Line {
            id: "N6",
            what: format!("the same by {name}: mean and slope per step"),
            ours: format!("{:.2} s", ours.s),
            peer: format!("{:.2} s, {:.0} MiB", ran.s, ran.peak_mib),
            ratio: Some(ours.s / ran.s),
            aim: String::new(),
            met: None,
        });
    }
}

/// How time grows with rows and with columns.
pub(crate) fn growth(table: &mut Table, dir: &Path, quick: bool) {
    let rows = if quick { 500_000 } else { 2_500_000 };
    let time = |rows, channels| {
        let folder = dir.join(format!("growth-{rows}-{channels}"));
        long_run(&folder, rows, channels);
        let ran = fastest(3, || child(GO_THROUGH, &folder));
        std::fs::remove_dir_all(&folder).expect("removed");
        ran.s
    };
    let base = time(rows, 8);
    for (what, s) in [("rows", time(2 * rows, 8)), ("channels", time(rows, 16))] {
        table.add(Line {
            id: "growth",
            what: format!("a record gone through, twice the {what}"),
            ours: format!("{s:.2} s"),
            peer: format!("{base:.2} s"),
            ratio: Some(s / base),
            aim: "<= 2.2 x".into(),
            met: Some(s / base <= 2.2),
        });
    }
}

fn peers_on(table: &mut Table, python: &PathBuf, path: &Path, ours: &str) -> Vec<(&'static str, Ran)> {
    let mut theirs = Vec::new();
    for name in ["duckdb", "polars", "pandas"] {
        let command = || {
            let mut command = Command::new(python);
            command.arg(peers::script("long_record.py")).arg(name).arg(path);
            command
        };
        let ran = if name == "pandas" { run(&mut command()) } else { fastest(2, command) };
        if ran.code == Some(0) {
            assert_equal(ours, &ran.out, name);
            theirs.push((name, ran));
        } else {
            table.missing("N6", name, ran.err.lines().last().unwrap_or("no word"));
        }
    }
    theirs
}
