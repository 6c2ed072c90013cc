//! Run folders: what is written is read back, every altered byte is seen, what a kill leaves behind is readable.
//!
//! The folders are made by the recorder under a temporary folder; the check sums are those of RFC 3720 (checked in
//! the module), the numbers those of the standard library's parser.

#![expect(clippy::unwrap_used, reason = "a failure here fails the test")]

use crate::record_rig;
use dutycup::door::chance::*;
use dutycup::door::clock::Moment;
use dutycup::door::problem::fault::FaultCode;
use dutycup::door::record::{EVENTS, Event, RunFolder, SAMPLES, SUMS};
use dutycup::door::record::{Pace, Recorder};
use dutycup::door::script::role::Role;
use record_rig::{COLUMNS, begin, end, finished_run};
use std::fs;
use std::path::Path;

/// Rows of a folder, with missing values as none.
fn rows(dir: &Path) -> Vec<(f64, u32, Vec<Option<f64>>)> {
    let folder = RunFolder::open(dir).unwrap();
    let mut rows = Vec::new();
    let columns = folder.columns().len();
    folder.samples(&mut |r| rows.push((r.time_s, r.step, (0..columns).map(|c| r.get(c)).collect()))).unwrap();
    rows
}

fn events(dir: &Path) -> Vec<Event> {
    let folder = RunFolder::open(dir).unwrap();
    folder.events().unwrap().map(Result::unwrap).collect()
}

#[test]
fn readings_of_one_moment_share_a_row_and_missing_stays_missing() {
    let dir = tempfile::tempdir().unwrap();
    let mut recorder = begin(dir.path());
    let ms = Moment::from_ms;
    for (at, column, value) in [
        (ms(10), 2, 13.8),
        (ms(10), 0, 412.345_67),
        (ms(20), 1, -0.05),
        (ms(20), 1, 0.05),
        (Moment::from_ns(30_000_499), 0, 0.0),
    ] {
        recorder.sample(at, 3, column, value).unwrap();
    }
    recorder.sample(ms(30), 4, 3, 1.0).unwrap();
    recorder.event(ms(15), "set", 3, "pump_duty=40.00").unwrap();
    end(dir.path(), recorder);
    let text = fs::read_to_string(dir.path().join(SAMPLES)).unwrap();
    assert_eq!(
        text,
        "time_s,step,line_pressure_kpa,cup_mass_g,supply_v,switch\n\
         0.010000,3,412.3457,,13.80000,\n\
         0.020000,3,,-0.0500,,\n\
         0.020000,3,,0.0500,,\n\
         0.030000,3,0.0000,,,\n\
         0.030000,4,,,,1\n"
    );
    let none = None;
    assert_eq!(rows(dir.path())[0], (0.01, 3, vec![Some(412.3457), none, Some(13.8), none]));
    assert_eq!(rows(dir.path())[4], (0.03, 4, vec![none, none, none, Some(1.0)]));
    assert_eq!(events(dir.path())[0].get("pump_duty"), Some("40.00"));
    assert_eq!(RunFolder::open(dir.path()).unwrap().notes, Vec::<String>::new());
}

#[test]
fn what_is_not_finite_is_refused_and_the_record_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let mut recorder = begin(dir.path());
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300] {
        let fault = recorder.sample(Moment::START, 1, 0, bad).unwrap_err();
        assert_eq!(fault.code, FaultCode::Range, "{fault}");
    }
    assert_eq!(recorder.sample(Moment::START, 1, 4, 1.0).unwrap_err().code, FaultCode::Config);
    recorder.sample(Moment::START, 1, 0, 1.0).unwrap();
    end(dir.path(), recorder);
    assert_eq!(rows(dir.path()).len(), 1);
}

#[test]
fn equal_runs_give_equal_bytes() {
    let dirs = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    for dir in &dirs {
        finished_run(dir.path(), 40_000);
    }
    for name in [SAMPLES, EVENTS, SUMS, "run.yaml"] {
        let [a, b] = [0, 1].map(|i| fs::read(dirs[i].path().join(name)).unwrap());
        assert!(a == b, "{name}");
    }
}

/// Several chunks, read on two threads, against the standard library's line splitting and parsing.
#[test]
fn long_records_are_read_as_the_standard_library_reads_them() {
    let dir = tempfile::tempdir().unwrap();
    finished_run(dir.path(), 120_000);
    let text = fs::read_to_string(dir.path().join(SAMPLES)).unwrap();
    assert!(text.len() > 3 << 20);
    let mut lines = text.lines().skip(1);
    let mut count = 0_u32;
    for (time_s, step, values) in rows(dir.path()) {
        let mut cells = lines.next().unwrap().split(',');
        assert_eq!(cells.next().unwrap().parse::<f64>().unwrap().to_bits(), time_s.to_bits());
        assert_eq!(cells.next().unwrap().parse::<u32>().unwrap(), step);
        for value in values {
            let expected = cells.next().unwrap().parse::<f64>().ok();
            assert_eq!(expected.map(f64::to_bits), value.map(f64::to_bits));
            count += 1;
        }
    }
    assert_eq!(lines.next(), None);
    println!("{count} cells equal");
}

/// Every byte of every file of a small record, each with one bit flipped.
#[test]
fn columns_that_are_not_wanted_are_missing_and_the_rest_is_the_same() {
    let dir = tempfile::tempdir().unwrap();
    finished_run(dir.path(), 40_000);
    let all = rows(dir.path());
    let folder = RunFolder::open(dir.path()).unwrap();
    for (wanted, role) in COLUMNS.iter().enumerate() {
        let mut at = 0;
        folder
            .samples_of(|r| r == role, &mut |row| {
                let (time_s, step, values) = &all[at];
                assert_eq!((row.time_s.to_bits(), row.step), (time_s.to_bits(), *step));
                for (column, value) in values.iter().enumerate() {
                    let expected = value.filter(|_| column == wanted).map(f64::to_bits);
                    assert_eq!(row.get(column).map(f64::to_bits), expected, "row {at}, column {column}");
                }
                at += 1;
            })
            .unwrap();
        assert_eq!(at, all.len());
    }
}

#[test]
fn every_flipped_byte_is_seen() {
    let dir = tempfile::tempdir().unwrap();
    finished_run(dir.path(), 12);
    let mut flipped = 0;
    for name in [SAMPLES, EVENTS, SUMS, "run.yaml", "rig.yaml", "scenario.yaml"] {
        let path = dir.path().join(name);
        let good = fs::read(&path).unwrap();
        for (i, byte) in good.iter().enumerate() {
            let mut bad = good.clone();
            bad[i] = byte ^ (1 << (i % 8));
            fs::write(&path, &bad).unwrap();
            let seen = RunFolder::open(dir.path()).and_then(|f| f.samples(&mut |_| ()));
            let problems = seen.expect_err(&format!("{name}: byte {i} flipped and not seen"));
            assert!(problems.to_string().contains(name), "{name} byte {i}: {problems}");
            flipped += 1;
        }
        fs::write(&path, &good).unwrap();
    }
    println!("{flipped} flips, all seen and named");
}

#[test]
fn added_and_missing_bytes_are_seen() {
    let dir = tempfile::tempdir().unwrap();
    finished_run(dir.path(), 12);
    for name in [SAMPLES, EVENTS, SUMS] {
        let path = dir.path().join(name);
        let good = fs::read(&path).unwrap();
        let longer = [&good[..], b"9.9,1,,,,\n"].concat();
        for bad in [&good[..good.len() - 1], &longer, b""] {
            fs::write(&path, bad).unwrap();
            let problems = RunFolder::open(dir.path()).unwrap_err();
            assert!(problems.to_string().contains(name), "{problems}");
        }
        fs::write(&path, &good).unwrap();
    }
}

#[test]
fn the_altered_span_is_named() {
    let dir = tempfile::tempdir().unwrap();
    finished_run(dir.path(), 120_000);
    let path = dir.path().join(SAMPLES);
    let mut text = fs::read(&path).unwrap();
    let at = text.len() / 2;
    text[at] = if text[at] == b'1' { b'2' } else { b'1' };
    fs::write(&path, &text).unwrap();
    let problems = RunFolder::open(dir.path()).unwrap().samples(&mut |_| ()).unwrap_err();
    let what = &problems.0[0].what;
    let numbers: Vec<usize> = what.split(' ').filter_map(|w| w.parse().ok()).collect();
    assert!(numbers[0] <= at && at < numbers[1] && numbers[1] - numbers[0] < 3 << 20, "{what}");
}

/// A killed run: the files end anywhere after the last sync, `run.yaml` still says running.
#[test]
fn a_killed_run_reads_to_its_last_sync() {
    let mut rng = Seed(5).stream("cuts");
    for _ in 0..40 {
        let dir = tempfile::tempdir().unwrap();
        let mut recorder = begin(dir.path());
        for i in 0..200 {
            recorder.sample(Moment::from_ms(10 * i), 1, 0, i as f64).unwrap();
        }
        drop(recorder); // vouches for these 200 rows
        let path = dir.path().join(SAMPLES);
        let mut text = fs::read(&path).unwrap();
        let torn: Vec<u8> = (0..rng.random_range(0..90)).map(|_| rng.random_range(0..=255)).collect();
        text.extend_from_slice(&torn);
        fs::write(&path, &text).unwrap();
        let sums = dir.path().join(SUMS);
        let mut list = fs::read(&sums).unwrap();
        let next = b"samples.csv,99999,0badc0de\n";
        list.extend_from_slice(&next[..rng.random_range(0..next.len())]);
        fs::write(&sums, &list).unwrap();

        let folder = RunFolder::open(dir.path()).unwrap();
        assert_eq!(folder.notes.len(), usize::from(!torn.is_empty()), "{:?}", folder.notes);
        assert_eq!(rows(dir.path()).len(), 200);

        let mut recorder = Recorder::resume(dir.path()).unwrap();
        assert_eq!(recorder.last(), Moment::from_ms(1990));
        assert_eq!(recorder.columns(), COLUMNS);
        recorder.sample(Moment::from_ms(2500), 2, 1, 5.0).unwrap();
        let done = recorder.finish().unwrap();
        assert_eq!((done.counts.rows, done.counts.samples), (201, 201));
        assert_eq!(rows(dir.path()).len(), 201);
    }
}

#[test]
fn an_altered_record_is_not_resumed() {
    let dir = tempfile::tempdir().unwrap();
    finished_run(dir.path(), 50);
    let path = dir.path().join(SAMPLES);
    let text = fs::read_to_string(&path).unwrap().replace("0.0", "0.1");
    fs::write(&path, text).unwrap();
    let fault = Recorder::resume(dir.path()).err().unwrap();
    assert_eq!(fault.code, FaultCode::Io);
    assert!(fault.seen.contains("was altered"), "{fault}");
}

/// Real pace: the second thread vouches for everything handed over, without `finish`.
#[test]
fn in_real_time_everything_handed_over_is_vouched_for() {
    let dir = tempfile::tempdir().unwrap();
    let mut recorder = begin(dir.path()).at_pace(Pace::Real).unwrap();
    for turn in 0..500 {
        recorder.sample(Moment::from_ms(turn), 1, 0, turn as f64).unwrap();
        recorder.flush().unwrap();
        let on_file = fs::read_to_string(dir.path().join(SAMPLES)).unwrap();
        assert_eq!(on_file.lines().count() as u64, turn + 2);
    }
    drop(recorder);
    assert_eq!(rows(dir.path()).len(), 500);
}

#[test]
fn hostile_files_are_refused_without_harm() {
    let dir = tempfile::tempdir().unwrap();
    let sum = |text: &[u8]| {
        format!(
            "file,bytes,crc32c\nsamples.csv,{},{:08x}\nevents.csv,0,00000000\n",
            text.len(),
            crc32c::crc32c(text)
        )
    };
    let long_header = format!("time_s,step{}\n", ",rpm".repeat(5000));
    let long_line = format!("time_s,step,rpm\n1.0,1,{}\n", "1".repeat(2 << 20));
    let cases: [(&[u8], &str); 12] = [
        (b"", "not a header"),
        (b"\xff\xfe\n", "not a header"),
        (b"time_s,step,nonsense\n", "not a header"),
        (long_header.as_bytes(), "not a header"),
        (b"time_s,step,rpm\nx,1,2\n", ":2:1:"),
        (b"time_s,step,rpm\n1.0,1,2\n1.0,-1,2\n", ":3:5:"),
        (b"time_s,step,rpm\n1.0,1,nan\n", ":2:7:"),
        (b"time_s,step,rpm\n1.0,1,inf\n", ":2:7:"),
        (b"time_s,step,rpm\n1.0,1,1e999\n", ":2:7:"),
        (b"time_s,step,rpm\n1.0,1,2,3\n", ":2:8:"),
        (b"time_s,step,rpm\n1.0,1\n", ":2:6:"),
        (long_line.as_bytes(), "65536 bytes"),
    ];
    for (text, expected) in cases {
        let fresh = tempfile::tempdir_in(dir.path()).unwrap();
        finished_run(fresh.path(), 1);
        let run = fs::read_to_string(fresh.path().join("run.yaml")).unwrap();
        record_rig::unlist_recorded(fresh.path(), &run);
        fs::write(fresh.path().join(SAMPLES), text).unwrap();
        fs::write(fresh.path().join(EVENTS), b"").unwrap();
        fs::write(fresh.path().join(SUMS), sum(text)).unwrap();
        let problems = RunFolder::open(fresh.path()).and_then(|f| f.samples(&mut |_| ())).unwrap_err();
        assert!(problems.to_string().contains(expected), "{expected}: {problems}");
    }
}

#[test]
fn the_header_is_roles_in_rig_order() {
    assert_eq!(COLUMNS, [Role::LinePressure, Role::CupMass, Role::Supply, Role::Switch]);
}
