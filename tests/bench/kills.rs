//! Kills at random instants: `run` on a bench served by `emulate` on pseudo-terminals at real time, each run killed
//! once (SIGKILL, SIGSEGV, SIGABRT, or frozen by SIGSTOP), a bench of its own each.
//!
//! In: `DUTYCUP_KILLS` (how many, 1,000), `DUTYCUP_KILLS_AT_ONCE` (6), `DUTYCUP_SEED` (1). Out: records that cannot be
//! read, pumps on for more than 500 ms after the last heartbeat as `emulate` saw it, largest memory; an exit code of 1
//! where one of the first two is not zero. Aim: 0 and 0, and under 64 MiB.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

use dutycup::door::chance::Seed;
use dutycup::door::record::RunFolder;
use rand::RngExt as _;
use rustix::process::{Pid, Signal, kill_process};
use std::fs;
use std::io::Read as _;
use std::path::Path;
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// Latest instant of a kill after the start of the run, ms: the pump is first switched on about a second in.
const LATEST_MS: u64 = 5_000;
/// Longest time the pump may stay on after the last heartbeat, ms.
const OFF_WITHIN_MS: f64 = 500.0;
/// Wait after a kill until the bench is asked what it saw, ms.
const AFTERWARDS_MS: u64 = 800;
/// Memory of a run, MiB.
const MEMORY_MIB: f64 = 64.0;
/// The scenario, shortened so that the pump runs soon.
const SHORT: [&str; 12] = [
    "--set",
    "prime=3 s",
    "--set",
    "dwell=5 s",
    "--set",
    "repeats=1",
    "--set",
    "zero=1 s",
    "--set",
    "ramp=4 s",
    "--set",
    "rest=1 s",
];

/// What became of one killed run.
#[derive(Debug, Default)]
struct Found {
    /// Time the pump was on after the last heartbeat, ms; none where it was never on.
    on_ms: Option<f64>,
    /// Why the record cannot be read.
    unreadable: Option<String>,
    /// Whether the run was killed before it had begun to record.
    before_record: bool,
    /// Whether something after the last sync was left out.
    torn: bool,
    memory_mib: f64,
}

#[expect(clippy::disallowed_methods, reason = "pseudo-terminals and signals are the subject")]
fn wait(ms: u64) {
    std::thread::sleep(Duration::from_millis(ms));
}

fn number(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

/// The program in a process of its own, killed when dropped.
struct Process(Child);

impl Process {
    fn start(arguments: &[&str], more: &[&str]) -> Process {
        let child = Command::new(env!("CARGO_BIN_EXE_dutycup"))
            .args(arguments)
            .args(more)
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        Process(child.expect("the program starts"))
    }

    fn signal(&self, signal: Signal) {
        // One that is over already has nothing to be told.
        let _ = kill_process(Pid::from_child(&self.0), signal);
    }

    /// Largest memory so far, MiB.
    fn memory_mib(&self) -> f64 {
        let status = fs::read_to_string(format!("/proc/{}/status", self.0.id())).unwrap_or_default();
        let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
        let kib = line.and_then(|l| l.split_whitespace().next()?.parse::<f64>().ok());
        kib.unwrap_or(0.0) / 1024.0
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn main() -> ExitCode {
    let (kills, at_once) = (number("DUTYCUP_KILLS", 1_000), number("DUTYCUP_KILLS_AT_ONCE", 6));
    let seed = Seed(number("DUTYCUP_SEED", 1));
    let scratch = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kills");
    let next = AtomicU64::new(0);
    let found = Mutex::new(Vec::new());
    println!("{kills} kills, {at_once} at once, seed {}", seed.0);
    std::thread::scope(|scope| {
        for _ in 0..at_once.max(1) {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= kills {
                        return;
                    }
                    let one = kill_one(seed.nth(index), &scratch.join(index.to_string()));
                    if let Some(why) = &one.unreadable {
                        println!("kill {index}: record not readable: {why}");
                    }
                    if let Some(ms) = one.on_ms.filter(|ms| *ms > OFF_WITHIN_MS) {
                        println!("kill {index}: pump on for {ms} ms after the last heartbeat");
                    }
                    let mut all = found.lock().expect("no thread panicked");
                    all.push(one);
                    if all.len() % 100 == 0 {
                        println!("{} done", all.len());
                    }
                }
            });
        }
    });
    report(&found.into_inner().expect("no thread panicked"))
}

/// One run, killed.
fn kill_one(seed: Seed, dir: &Path) -> Found {
    let _ = fs::remove_dir_all(dir);
    fs::create_dir_all(dir).expect("a scratch folder");
    let (ports, out) = (dir.join("ports"), dir.join("out"));
    let mut bench =
        Process::start(&["emulate", "rigs/virtual.yaml", "--ports", &ports.display().to_string()], &[]);
    let rig = ports.join("rig.yaml");
    for _ in 0..500 {
        if rig.exists() {
            break;
        }
        wait(10);
    }
    let mut rng = seed.stream("kill");
    let run = Process::start(
        &[
            "run",
            "scenarios/pump-and-nozzle.yaml",
            "--rig",
            &rig.display().to_string(),
            "--arm",
            "virtual",
            "--out",
            &out.display().to_string(),
        ],
        &SHORT,
    );
    let signal = match rng.random_range(0..10_u32) {
        0 => Signal::SEGV,
        1 => Signal::ABORT,
        2 => Signal::STOP,
        _ => Signal::KILL,
    };
    wait(rng.random_range(0..LATEST_MS));
    let memory_mib = run.memory_mib();
    run.signal(signal);
    if signal == Signal::SEGV {
        // The first only takes the standard library's own handler away.
        run.signal(signal);
    }
    wait(AFTERWARDS_MS);
    let on_ms = end(&mut bench);
    drop(run);
    let mut one = Found { on_ms: Some(on_ms).filter(|ms| *ms > 0.0), memory_mib, ..Found::default() };
    read(&out, &mut one);
    let _ = fs::remove_dir_all(dir);
    one
}

/// Ends a bench; how long its pump stayed on after the last heartbeat, ms.
fn end(bench: &mut Process) -> f64 {
    bench.signal(Signal::INT);
    let mut line = String::new();
    let mut out = bench.0.stdout.take().expect("stdout is piped");
    out.read_to_string(&mut line).expect("text");
    let value: serde_json::Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
    value["longest_on_after_last_heartbeat_ms"].as_f64().expect("a time")
}

/// Reads the record a killed run left.
fn read(out: &Path, one: &mut Found) {
    if !out.join("run.yaml").exists() {
        // Not one reading is written before run.yaml is.
        let rows = fs::read_to_string(out.join("samples.csv")).map_or(0, |text| text.lines().count());
        one.before_record = rows <= 1;
        one.unreadable = (rows > 1).then(|| String::from("readings but no run.yaml"));
        return;
    }
    let read = RunFolder::open(out).and_then(|folder| {
        folder.samples(&mut |_| {})?;
        Ok(folder.notes)
    });
    match read {
        Ok(notes) => one.torn = !notes.is_empty(),
        Err(problems) => one.unreadable = Some(problems.to_string()),
    }
}

fn report(all: &[Found]) -> ExitCode {
    let count = |is: &dyn Fn(&Found) -> bool| all.iter().filter(|f| is(f)).count();
    let unreadable = count(&|f| f.unreadable.is_some());
    let late = count(&|f| f.on_ms.is_some_and(|ms| ms > OFF_WITHIN_MS));
    let longest = all.iter().filter_map(|f| f.on_ms).fold(0.0, f64::max);
    let memory = all.iter().map(|f| f.memory_mib).fold(0.0, f64::max);
    println!("killed                                  {}", all.len());
    println!("  with the pump on                      {}", count(&|f| f.on_ms.is_some()));
    println!("  before the record had begun           {}", count(&|f| f.before_record));
    println!("records not readable                    {unreadable} (aim 0)");
    println!("records with something after the last sync, left out: {}", count(&|f| f.torn));
    println!("pump on for more than {OFF_WITHIN_MS} ms             {late} (aim 0)");
    println!("longest after the last heartbeat        {longest:.1} ms");
    println!("largest memory of a run                 {memory:.1} MiB (aim under {MEMORY_MIB})");
    if unreadable + late > 0 || memory >= MEMORY_MIB { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
