//! N5: rows written a second, the stall of a hand-over in real time; and long run folders for what reads them.
//!
//! In: a folder to work in. Out: figures beside the same bytes written raw.

use super::table::{Line, Table};
use crate::record_rig;
use dutycup::door::chance::{Seed, normal};
use dutycup::door::clock::{Moment, SystemClock, WallTime};
use dutycup::door::record::run_file::{ClockKind, State};
use dutycup::door::record::{Pace, Recorder, RunFile, SAMPLES, write_whole};
use dutycup::door::script::rig::Rig;
use dutycup::door::script::role::Role;
use dutycup::door::script::{rig_file, yaml::Text};
use std::fs::{self, File};
use std::io::Write as _;
use std::path::Path;
use std::sync::{Condvar, Mutex};
use std::time::Duration;

/// The first eight columns are those of the numbers; the others show how time grows with their count.
fn columns(count: usize) -> Vec<Role> {
    let all = [
        Role::LinePressure,
        Role::CupMass,
        Role::Supply,
        Role::Duty,
        Role::Boost,
        Role::Rpm,
        Role::PumpCurrent,
        Role::WaterTemperature,
    ];
    let more = (8..count).map(|i| Role::parse(&format!("analogue.more_{i}")).unwrap());
    all.into_iter().chain(more).take(count).collect()
}

/// Typical readings with noise, drawn before the clock starts.
fn readings() -> Vec<[f64; 8]> {
    let mut rng = Seed(1).stream("bench");
    let mut row =
        || [412.0, 153.0, 13.8, 40.0, 2.5, 3200.0, 4.1, 21.3].map(|mean| normal(&mut rng, mean, mean * 1e-3));
    (0..4096).map(|_| row()).collect()
}

fn seconds<T>(what: impl FnOnce() -> T) -> (f64, T) {
    let clock = SystemClock::start();
    let out = what();
    (clock.now().as_s(), out)
}

/// Column of the scale.
const CUP: usize = 1;
/// Rows of a dwell, and of the pause after it.
const DWELL: u64 = 30_000;

fn write_rows(dir: &Path, rows: u64, pace: Pace, channels: usize) -> Recorder {
    let readings = readings();
    let mut recorder = Recorder::create(dir, &columns(channels)).unwrap().at_pace(pace).unwrap();
    for i in 0..rows {
        let (at, step) = (Moment::from_ns(i * 1_000_000), (1 + i / DWELL) as u32);
        match i % (2 * DWELL) {
            0 => recorder.event(at, "collect_start", step, "repeat=1;nozzle=A;duty_set_pct=40").unwrap(),
            DWELL => recorder.event(at, "collect_end", step, "reason=time").unwrap(),
            _ => {}
        }
        let row = &readings[i as usize % readings.len()];
        for (column, value) in row.iter().cycle().take(channels).enumerate() {
            // A scale gives ten readings a second.
            if column != CUP || i % 100 == 0 {
                recorder.sample(at, step, column, *value).unwrap();
            }
        }
    }
    recorder
}

fn throughput(table: &mut Table, dir: &Path, rows: u64) {
    let best = |measure: &dyn Fn(u32) -> f64| (0..3).map(measure).fold(f64::INFINITY, f64::min);
    let folder = |round: u32| dir.join(format!("n5-{round}"));
    let s = best(&|round| {
        let (s, mut recorder) = seconds(|| write_rows(&folder(round), rows, Pace::Real, 8));
        recorder.finish().unwrap();
        s
    });
    let bytes = fs::read(folder(0).join(SAMPLES)).unwrap();
    let raw_s = best(&|_| {
        seconds(|| {
            let mut file = File::create(dir.join("raw")).unwrap();
            bytes.chunks(64 * 1024).for_each(|b| file.write_all(b).unwrap());
        })
        .0
    });
    (0..3).for_each(|round| fs::remove_dir_all(folder(round)).unwrap());
    let million = rows as f64 / 1e6;
    table.add(Line {
        id: "N5",
        what: "recording, time stamp and 8 channels, synced each 100 ms".into(),
        ours: format!("{:.2} million rows/s", million / s),
        peer: format!("the bytes alone {:.1} million/s", million / raw_s),
        ratio: Some(s / raw_s),
        aim: ">= 2 million/s".into(),
        met: Some(million / s >= 2.0),
    });
}

fn stall(table: &mut Table, dir: &Path, turns: u64) {
    let period = Duration::from_millis(1);
    let readings = readings();
    let mut recorder =
        Recorder::create(&dir.join("stall"), &columns(8)).unwrap().at_pace(Pace::Real).unwrap();
    let (lock, bell, clock) = (Mutex::new(()), Condvar::new(), SystemClock::start());
    let mut stalls_us = Vec::new();
    for turn in 0..turns {
        let due = Moment::from_ns(turn * period.as_nanos() as u64);
        while clock.now() < due {
            drop(bell.wait_timeout(lock.lock().unwrap(), due.since(clock.now())).unwrap());
        }
        let start = clock.now();
        for (column, value) in readings[turn as usize % readings.len()].iter().enumerate() {
            recorder.sample(start, 1, column, *value).unwrap();
        }
        recorder.flush().unwrap();
        stalls_us.push(clock.now().since(start).as_nanos() as f64 / 1000.0);
    }
    recorder.finish().unwrap();
    stalls_us.sort_by(f64::total_cmp);
    let at = |p: f64| stalls_us[((stalls_us.len() - 1) as f64 * p) as usize];
    table.add(Line {
        id: "N5",
        what: "stall of a hand-over at 1,000 rows/s, p50/p99/p99.9/longest".into(),
        ours: format!("{:.1}/{:.1}/{:.1}/{:.0} us", at(0.5), at(0.99), at(0.999), at(1.0)),
        peer: String::new(),
        ratio: None,
        aim: "p99.9 < 50 us".into(),
        met: Some(at(0.999) < 50.0),
    });
}

/// N5.
pub(crate) fn measure(table: &mut Table, dir: &Path, quick: bool) {
    throughput(table, dir, if quick { 1_000_000 } else { 4_000_000 });
    stall(table, dir, if quick { 3_000 } else { 20_000 });
}

/// The shipped virtual rig.
pub(crate) fn virtual_rig() -> Rig {
    let text = include_str!("../../../rigs/virtual.yaml");
    rig_file::read(&Text::new("rigs/virtual.yaml", text)).unwrap_or_else(|e| panic!("{e}"))
}

/// Writes a whole run folder of `rows` rows.
pub(crate) fn long_run(dir: &Path, rows: u64, channels: usize) {
    let mut recorder = write_rows(dir, rows, Pace::Virtual, channels);
    let done = recorder.finish().unwrap();
    let (rig, plan) = (virtual_rig(), record_rig::rig_and_plan().1);
    write_whole(&dir.join("rig.yaml"), rig.source.as_bytes()).unwrap();
    write_whole(&dir.join("scenario.yaml"), plan.source.as_bytes()).unwrap();
    let started = WallTime::VIRTUAL_START.to_rfc3339();
    let mut run = RunFile::new(&rig, &plan, 1, ClockKind::Virtual, None, started);
    run.finished(&done);
    run.state = State::Complete;
    run.write(dir).unwrap();
}
