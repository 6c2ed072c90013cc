//! Speed of the record: rows written a second, the stall of a hand-over in real time, reading and reducing ten million
//! rows.
//!
//! Every figure stands beside a floor or a peer measured in the same run: the same bytes written or read raw, and
//! the csv crate with the standard library's float parser. `cargo bench --bench record [rows in millions]`.

#![expect(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "a bench prints, and a failure ends it"
)]

use dutycup::chance::{Seed, normal};
use dutycup::clock::{Moment, SystemClock, WallTime};
use dutycup::record::run_file::{ClockKind, State};
use dutycup::record::{Pace, Recorder, RunFile, RunFolder, SAMPLES, write_whole};
use dutycup::reduce::from_run;
use dutycup::script::role::Role;
use std::fs::{self, File};
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::sync::{Condvar, Mutex};
use std::time::Duration;

#[path = "../record_rig/mod.rs"]
mod record_rig;

fn columns() -> [Role; 8] {
    [
        Role::LinePressure,
        Role::CupMass,
        Role::Supply,
        Role::Duty,
        Role::Boost,
        Role::Rpm,
        Role::PumpCurrent,
        Role::WaterTemperature,
    ]
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

/// Processor time of this process so far, s.
fn processor_s() -> f64 {
    let spent = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
    spent.tv_sec as f64 + 1e-9 * spent.tv_nsec as f64
}

/// The same with the processor time it took.
fn seconds_spent<T>(what: impl FnOnce() -> T) -> (f64, f64, T) {
    let before = processor_s();
    let (s, out) = seconds(what);
    (s, processor_s() - before, out)
}

/// Highest memory this process held, MB.
fn peak_mb() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kb = line.and_then(|l| l.trim().strip_suffix("kB")?.trim().parse::<f64>().ok());
    kb.unwrap_or(f64::NAN) / 1000.0
}

/// Column of the scale.
const CUP: usize = 1;
/// Rows of a dwell, and of the pause after it.
const DWELL: u64 = 30_000;

fn write_rows(dir: &Path, rows: u64, pace: Pace) -> Recorder {
    let readings = readings();
    let mut recorder = Recorder::create(dir, &columns()).unwrap().at_pace(pace).unwrap();
    for i in 0..rows {
        let at = Moment::from_ns(i * 1_000_000);
        match i % (2 * DWELL) {
            0 => recorder
                .event(at, "collect_start", 1, "repeat=1;nozzle=A;duty_set_pct=40")
                .unwrap(),
            DWELL => recorder.event(at, "collect_end", 1, "reason=time").unwrap(),
            _ => {}
        }
        for (column, value) in readings[i as usize % readings.len()].iter().enumerate() {
            // A scale gives ten readings a second.
            if column != CUP || i % 100 == 0 {
                recorder.sample(at, 1, column, *value).unwrap();
            }
        }
    }
    recorder
}

fn throughput(dir: &Path) {
    let rows = 4_000_000;
    let (s, mut recorder) = seconds(|| write_rows(&dir.join("n5"), rows, Pace::Real));
    recorder.finish().unwrap();
    let bytes = fs::read(dir.join("n5").join(SAMPLES)).unwrap();
    let (raw_s, ()) = seconds(|| {
        let mut file = File::create(dir.join("raw")).unwrap();
        bytes.chunks(64 * 1024).for_each(|b| file.write_all(b).unwrap());
    });
    let million = rows as f64 / 1e6;
    println!(
        "N5 recording, 8 channels, synced each 100 ms: {:.2} million rows/s ({:.2} million/s for the bytes alone); aim 2",
        million / s,
        million / raw_s
    );
}

fn stall(dir: &Path) {
    let (turns, period) = (10_000_u64, Duration::from_millis(1));
    let readings = readings();
    let mut recorder = Recorder::create(&dir.join("stall"), &columns())
        .unwrap()
        .at_pace(Pace::Real)
        .unwrap();
    let (lock, bell, clock) = (Mutex::new(()), Condvar::new(), SystemClock::start());
    let mut stalls_us = Vec::new();
    for turn in 0..turns {
        let due = Moment::from_ns(turn * period.as_nanos() as u64);
        while clock.now() < due {
            drop(
                bell.wait_timeout(lock.lock().unwrap(), due.since(clock.now()))
                    .unwrap(),
            );
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
    println!(
        "N5 hand-over at 1,000 rows/s, us: p50 {:.1}, p99 {:.1}, p99.9 {:.1}, longest {:.0}; aim p99.9 under 50",
        at(0.5),
        at(0.99),
        at(0.999),
        at(1.0)
    );
}

/// Writes a whole run folder of `rows` rows.
fn long_run(dir: &Path, rows: u64) {
    let mut recorder = write_rows(dir, rows, Pace::Virtual);
    let done = recorder.finish().unwrap();
    let (rig, plan) = record_rig::rig_and_plan();
    write_whole(&dir.join("rig.yaml"), rig.source.as_bytes()).unwrap();
    write_whole(&dir.join("scenario.yaml"), plan.source.as_bytes()).unwrap();
    let started = WallTime::VIRTUAL_START.to_rfc3339();
    let mut run = RunFile::new(&rig, &plan, 1, ClockKind::Virtual, None, started);
    run.finished(&done);
    run.state = State::Complete;
    run.write(dir).unwrap();
}

fn read(dir: &Path, rows: u64) {
    let before_mb = peak_mb();
    let (s, spent, sum) = seconds_spent(|| {
        let folder = RunFolder::open(dir).unwrap();
        let (mut count, mut sum) = (0_u64, [0.0; 8]);
        folder
            .samples(&mut |row| {
                count += 1;
                for (s, v) in sum.iter_mut().zip(row.values) {
                    *s += if v.is_nan() { 0.0 } else { *v };
                }
            })
            .unwrap();
        assert_eq!(count, rows);
        sum[0] / count as f64
    });
    let after_mb = peak_mb();
    let (rig, _) = record_rig::rig_and_plan();
    let (reduce_s, reduce_spent, reduced) =
        seconds_spent(|| from_run(&RunFolder::open(dir).unwrap(), &rig).unwrap());
    let reduced_mb = peak_mb();
    let path = dir.join(SAMPLES);
    let (floor_s, crc) = seconds(|| {
        let (mut file, mut block, mut crc) = (File::open(&path).unwrap(), vec![0; 1 << 20], 0);
        loop {
            match file.read(&mut block).unwrap() {
                0 => break crc,
                n => crc = crc32c::crc32c_append(crc, &block[..n]),
            }
        }
    });
    let (peer_s, peer) = seconds(|| {
        let mut rows = csv::Reader::from_path(&path).unwrap();
        let (mut record, mut count, mut sum) = (csv::StringRecord::new(), 0_u64, [0.0; 8]);
        while rows.read_record(&mut record).unwrap() {
            count += 1;
            for (s, cell) in sum.iter_mut().zip(record.iter().skip(2)) {
                *s += cell.parse::<f64>().unwrap_or(0.0);
            }
        }
        sum[0] / count as f64
    });
    assert!((sum - peer).abs() < 1e-9, "{sum} {peer}");
    let mb = fs::metadata(&path).unwrap().len() as f64 / 1e6;
    println!(
        "N6 reading {:.0} million rows, {mb:.0} MB: {s:.2} s ({spent:.2} s of processor), {:.0} MB/s, {after_mb:.0} MB of memory at most \
         ({before_mb:.0} before); bytes and check sum alone {floor_s:.2} s ({crc:08x}); csv crate and standard \
         parser {peer_s:.2} s, ratio {:.2}",
        rows as f64 / 1e6,
        mb / s,
        s / peer_s
    );
    println!(
        "N6 the same reduced to {} collections: {reduce_s:.2} s ({reduce_spent:.2} s of processor), {reduced_mb:.0} MB of memory at most, ratio {:.2}",
        reduced.collections.len(),
        reduce_s / peer_s
    );
}

fn main() {
    let million = std::env::args()
        .skip(1)
        .find_map(|a| a.parse::<u64>().ok())
        .unwrap_or(10);
    let rows = million * 1_000_000;
    let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    long_run(&dir.path().join("long"), rows);
    read(&dir.path().join("long"), rows);
    throughput(dir.path());
    stall(dir.path());
}
