//! A run that is killed: the record must be readable up to its last sync, every time.
//!
//! The test starts itself as the writer, waits until the writer has come some way, and kills it (SIGKILL). Nothing
//! waits for a clock: how far it comes is read from the length of its files.

use crate::record_rig;
use dutycup::door::chance::*;
use dutycup::door::clock::Moment;
use dutycup::door::record::{Pace, RunFolder, SAMPLES, SUMS};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

const FOLDER: &str = "DUTYCUP_TEST_KILL_FOLDER";
const REAL: &str = "DUTYCUP_TEST_KILL_REAL";
const KILLS: u64 = 30;

/// The writer, when it is started as one: writes until it is killed.
#[test]
fn writer() {
    let Some(dir) = std::env::var_os(FOLDER) else {
        return;
    };
    let pace = if std::env::var_os(REAL).is_some() { Pace::Real } else { Pace::Virtual };
    let mut recorder = record_rig::begin(Path::new(&dir)).at_pace(pace).unwrap();
    for i in 0.. {
        for column in 0..4 {
            recorder.sample(Moment::from_ms(i), 1, column, i as f64).unwrap();
        }
        if i % 10 == 0 {
            recorder.event(Moment::from_ms(i), "note", 1, "going on").unwrap();
        }
        if pace == Pace::Real {
            recorder.flush().unwrap();
        }
    }
}

fn length(path: &Path) -> u64 {
    fs::metadata(path).map_or(0, |m| m.len())
}

#[test]
fn whenever_it_is_killed_the_record_reads_to_its_last_sync() {
    let mut rng = Seed(31).stream("kills");
    let mut rows_read = 0;
    for kill in 0..KILLS {
        let dir = tempfile::tempdir().unwrap();
        let real = kill % 2 == 0;
        let mut writer = Command::new(std::env::current_exe().unwrap());
        writer
            .args(["--exact", "record_kill::writer", "--nocapture"])
            .env(FOLDER, dir.path())
            .stdout(Stdio::null());
        if real {
            writer.env(REAL, "1");
        }
        let mut writer = writer.stderr(Stdio::null()).spawn().unwrap();
        // In real time: some bytes after the second sync. In virtual time: up to some blocks.
        let (syncs, bytes) =
            if real { (120, rng.random_range(0..20_000)) } else { (0, rng.random_range(0..3_000_000)) };
        let samples = dir.path().join(SAMPLES);
        while length(&dir.path().join(SUMS)) < syncs || length(&samples) < bytes {
            assert!(writer.try_wait().unwrap().is_none(), "the writer ended by itself");
            std::thread::yield_now();
        }
        writer.kill().unwrap();
        writer.wait().unwrap();
        if !dir.path().join("run.yaml").exists() {
            continue; // killed before the run began
        }
        let folder = RunFolder::open(dir.path()).unwrap();
        let (mut rows, mut next) = (0, 0.0);
        folder
            .samples(&mut |row| {
                assert!((row.time_s - next).abs() < 1e-9 && row.values.iter().all(|v| !v.is_nan()));
                next += 0.001;
                rows += 1;
            })
            .unwrap();
        let events = folder.events().unwrap().map(Result::unwrap).count();
        assert!(!real || (rows > 0 && events > 0), "kill {kill}: nothing was kept");
        let sums = fs::read_to_string(dir.path().join(SUMS)).unwrap();
        let whole = sums.rsplit_once('\n').map_or("", |(whole, _)| whole);
        let last =
            whole.lines().rev().find_map(|l| l.strip_prefix("samples.csv,")?.split(',').next()?.parse().ok());
        let torn = length(&samples) > last.unwrap_or(0);
        let told = folder.notes.iter().any(|n| n.starts_with(SAMPLES) && n.contains("after the last sync"));
        assert_eq!(torn, told, "{:?}", folder.notes);
        rows_read += rows;
    }
    println!("{KILLS} kills, {rows_read} rows read back");
}
