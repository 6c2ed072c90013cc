//! The record when the disk fails: every operation in turn, once and for good, and folders that must be refused.
//!
//! What the system means by its errors: errno(3), write(2), full(4).

#![expect(clippy::unwrap_used, reason = "a failure here fails the test")]

use crate::record_rig;
use dutycup::door::clock::Moment;
use dutycup::door::problem::fault::{Fault, FaultCode};
use dutycup::door::record::disk::{Gate, Op, write_whole_through};
use dutycup::door::record::{EVENTS, Pace, Recorder, RunFolder, SAMPLES, SUMS};
use record_rig::COLUMNS;
use rustix::io::Errno;
use std::fs;
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What happens at the operation that fails.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Failing {
    /// It fails once with this error.
    Once(Errno),
    /// It and everything after it fails: the machine died.
    Dead,
    /// A write takes only half, and the next one finds no room.
    Short,
}

/// A gate whose `n`-th operation (from 0) fails.
fn failing(n: usize, how: Failing) -> Gate {
    let count = Arc::new(AtomicUsize::new(0));
    Gate::new(move |op| {
        let now = count.fetch_add(1, Ordering::Relaxed);
        let all = if let Op::Write(bytes) = op { bytes } else { 0 };
        match how {
            Failing::Once(errno) if now == n => Err(errno.into()),
            Failing::Dead if now >= n => Err(Errno::IO.into()),
            Failing::Short if now == n && all > 1 => Ok(all / 2),
            Failing::Short if now == n + 1 && all > 0 => Err(Errno::NOSPC.into()),
            _ => Ok(all),
        }
    })
}

/// A short run, handed over now and then; the first fault ends it.
fn play(gate: Gate, dir: &Path) -> Result<(), Fault> {
    let mut recorder = Recorder::create_through(gate, dir, &COLUMNS)?;
    for i in 0..60_u64 {
        let at = Moment::from_ms(10 * i);
        for column in 0..COLUMNS.len() {
            recorder.sample(at, 1, column, i as f64)?;
        }
        recorder.event(at, "note", 1, "something")?;
        if i % 20 == 0 {
            recorder.flush()?;
        }
    }
    recorder.finish().map(drop)
}

/// Whether `dir` opens as a run folder, once it has the texts that a run writes beside the record.
fn opens(dir: &Path, texts: &Path) -> Result<usize, String> {
    for name in ["run.yaml", "rig.yaml", "scenario.yaml"] {
        fs::copy(texts.join(name), dir.join(name)).unwrap();
    }
    record_rig::unlist_recorded(dir, &fs::read_to_string(dir.join("run.yaml")).unwrap());
    let folder = RunFolder::open(dir).map_err(|p| p.to_string())?;
    let mut rows = 0;
    folder.samples(&mut |_| rows += 1).map_err(|p| p.to_string())?;
    for event in folder.events().map_err(|p| p.to_string())? {
        event.map_err(|p| p.to_string())?;
    }
    Ok(rows)
}

#[test]
fn whatever_operation_fails_what_was_written_before_is_kept() {
    let texts = tempfile::tempdir().unwrap();
    record_rig::finished_run(texts.path(), 1);
    let good = tempfile::tempdir().unwrap();
    play(Gate::default(), good.path()).unwrap();
    let mut provoked = 0;
    for how in [Failing::Once(Errno::NOSPC), Failing::Once(Errno::IO), Failing::Dead, Failing::Short] {
        for n in 0.. {
            let dir = tempfile::tempdir().unwrap();
            let Err(fault) = play(failing(n, how), dir.path()) else {
                if how == Failing::Short && n < 60 {
                    continue; // not a write, or one whose rest went through
                }
                break;
            };
            let full = matches!(how, Failing::Once(Errno::NOSPC) | Failing::Short);
            assert_eq!(
                fault.code,
                if full { FaultCode::DiskFull } else { FaultCode::Io },
                "{how:?} {n}: {fault}"
            );
            for name in [SAMPLES, EVENTS, SUMS] {
                let written = fs::read(dir.path().join(name)).unwrap_or_default();
                let whole = fs::read(good.path().join(name)).unwrap();
                // Sums of a run that ended early stop at other lengths; each of their lines is checked below.
                assert!(name == SUMS || whole.starts_with(&written), "{how:?} {n}: {name}");
            }
            let vouched = fs::read_to_string(dir.path().join(SUMS)).unwrap_or_default();
            if vouched.contains(SAMPLES) && vouched.contains(EVENTS) {
                let rows = opens(dir.path(), texts.path());
                assert!(rows.as_ref().is_ok_and(|r| *r <= 60), "{how:?} {n}: {rows:?}");
            }
            provoked += 1;
        }
    }
    assert!(provoked > 60, "{provoked}");
    println!("{provoked} failures provoked");
}

#[test]
fn after_a_failure_nothing_more_is_written() {
    let dir = tempfile::tempdir().unwrap();
    let writes = Arc::new(AtomicUsize::new(0));
    let seen = Arc::clone(&writes);
    let gate = Gate::new(move |op| match op {
        Op::Write(_) if seen.fetch_add(1, Ordering::Relaxed) >= 5 => Err(Errno::NOSPC.into()),
        Op::Write(bytes) => Ok(bytes),
        _ => Ok(0),
    });
    let mut recorder = Recorder::create_through(gate, dir.path(), &COLUMNS).unwrap();
    writes.store(5, Ordering::Relaxed);
    recorder.sample(Moment::START, 1, 0, 1.0).unwrap();
    let first = recorder.flush().unwrap_err();
    assert_eq!(first.code, FaultCode::DiskFull);
    let before = fs::read(dir.path().join(SAMPLES)).unwrap();
    assert_eq!(recorder.sample(Moment::from_ms(1), 1, 0, 1.0), Err(first.clone()));
    assert_eq!(recorder.event(Moment::from_ms(1), "note", 1, ""), Err(first.clone()));
    assert_eq!(recorder.flush(), Err(first.clone()));
    assert_eq!(recorder.finish(), Err(first));
    assert_eq!(fs::read(dir.path().join(SAMPLES)).unwrap(), before);
}

#[test]
fn a_sync_that_fails_in_the_background_names_the_doubtful_bytes() {
    let dir = tempfile::tempdir().unwrap();
    let syncs = Arc::new(AtomicUsize::new(usize::MAX));
    let armed = Arc::clone(&syncs);
    let gate = Gate::new(move |op| match op {
        Op::Sync if armed.load(Ordering::Relaxed) == 0 => Err(Errno::IO.into()),
        Op::Write(bytes) => Ok(bytes),
        _ => Ok(0),
    });
    let recorder = Recorder::create_through(gate, dir.path(), &COLUMNS).unwrap();
    let header = fs::metadata(dir.path().join(SAMPLES)).unwrap().len();
    syncs.store(0, Ordering::Relaxed);
    let mut recorder = recorder.at_pace(Pace::Real).unwrap();
    recorder.sample(Moment::START, 1, 0, 1.0).unwrap();
    recorder.flush().unwrap();
    let fault = recorder.finish().unwrap_err();
    assert_eq!(fault.code, FaultCode::Io);
    let length = fs::metadata(dir.path().join(SAMPLES)).unwrap().len();
    let doubtful = format!("bytes {header} to {length} may not be on the disk");
    assert!(fault.seen.contains(&doubtful), "{fault}");
}

#[test]
fn a_panic_of_the_thread_that_syncs_ends_the_run_while_it_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let armed = Arc::new(AtomicUsize::new(0));
    let seen = Arc::clone(&armed);
    let gate = Gate::new(move |op| match op {
        Op::Sync if seen.load(Ordering::Relaxed) == 1 => panic!("a bug in the thread that syncs"),
        Op::Write(bytes) => Ok(bytes),
        _ => Ok(0),
    });
    let recorder = Recorder::create_through(gate, dir.path(), &COLUMNS).unwrap();
    armed.store(1, Ordering::Relaxed);
    let mut recorder = recorder.at_pace(Pace::Real).unwrap();
    recorder.sample(Moment::START, 1, 0, 1.0).unwrap();
    // The thread syncs within 100 ms; a turn takes well under a microsecond.
    let met = (0..500_000_000_u64).find_map(|_| recorder.turn().err());
    assert!(met.is_some_and(|f| f.code == FaultCode::Io && f.seen.contains("thread that syncs")));
}

#[test]
fn files_are_replaced_whole_or_not_at_all() {
    let (old, new) = (vec![b'o'; 5000], vec![b'n'; 7000]);
    for how in [Failing::Once(Errno::NOSPC), Failing::Once(Errno::IO), Failing::Dead, Failing::Short] {
        let mut failures = 0;
        for n in 0..12 {
            let dir = tempfile::tempdir().unwrap();
            let path = dir.path().join("calibration.yaml");
            fs::write(&path, &old).unwrap();
            let done = write_whole_through(&failing(n, how), &path, &new);
            let now = fs::read(&path).unwrap();
            assert!(now == old || now == new, "{how:?} {n}: mixed");
            assert!(done.is_err() || now == new, "{how:?} {n}: said to be written");
            let left: Vec<_> = fs::read_dir(dir.path()).unwrap().collect();
            assert_eq!(left.len(), 1, "{how:?} {n}: something is left over");
            failures += usize::from(done.is_err());
        }
        assert!((1..12).contains(&failures), "{how:?}: {failures}");
    }
}

/// Source: umask(2): a new file asks for 0666 and gets what the mask leaves.
#[test]
fn files_get_the_mode_of_the_umask() {
    use std::os::unix::fs::PermissionsExt as _;
    let dir = tempfile::tempdir().unwrap();
    let (ours, plain) = (dir.path().join("a"), dir.path().join("b"));
    write_whole_through(&Gate::default(), &ours, b"x").unwrap();
    fs::write(&plain, b"x").unwrap();
    let mode = |p: &Path| fs::metadata(p).unwrap().permissions().mode();
    assert_eq!(mode(&ours), mode(&plain));
}

#[test]
fn folders_that_hold_something_or_are_links_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    fs::create_dir(at("full")).unwrap();
    fs::write(at("full").join("notes.txt"), "mine").unwrap();
    fs::create_dir(at("elsewhere")).unwrap();
    std::os::unix::fs::symlink(at("elsewhere"), at("link")).unwrap();
    std::os::unix::fs::symlink(at("nowhere"), at("dangling")).unwrap();
    fs::write(at("file"), "").unwrap();
    let refused = |name: &str| Recorder::create(&at(name), &COLUMNS).err().unwrap();
    for (name, seen) in [
        ("full", "is not empty: it holds notes.txt"),
        ("link", "is a symbolic link"),
        ("dangling", "is a symbolic link"),
        ("file", "is not a folder"),
    ] {
        let fault = refused(name);
        assert_eq!((fault.code, fault.seen.as_str()), (FaultCode::Io, seen));
    }
    assert_eq!(fs::read_dir(at("elsewhere")).unwrap().count(), 0);
    assert!(!at("nowhere").exists());
    Recorder::create(&at("new").join("below"), &COLUMNS).unwrap();
    Recorder::create(&at("elsewhere"), &COLUMNS).unwrap();
    assert!(matches!(fs::read(at("full").join("notes.txt")), Ok(t) if t == b"mine"));
}

/// An instrument that floods the record, or a run that never ends.
#[test]
fn a_record_has_a_limit_and_keeps_what_came_before() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("out");
    let mut recorder = Recorder::create(&out, &COLUMNS).unwrap().at_most(200_000);
    let flood = "x".repeat(1000);
    let mut taken = 0;
    let fault = loop {
        let at = Moment::from_ms(taken);
        let written = recorder
            .event(at, "discarded", 0, &flood)
            .and_then(|()| recorder.sample(at, 0, 0, 1.0))
            .and_then(|()| recorder.flush());
        match written {
            Ok(()) => taken += 1,
            Err(fault) => break fault,
        }
        assert!(taken < 1000, "there is no limit");
    };
    assert_eq!(fault.code, FaultCode::DiskFull, "{fault}");
    assert!((150..200).contains(&taken), "{taken} events of a thousand bytes");
    assert_eq!(recorder.event(Moment::from_ms(taken), "more", 0, ""), Err(fault.clone()));
    assert_eq!(recorder.finish().unwrap_err().code, FaultCode::DiskFull);
    let bytes = |name: &str| fs::metadata(out.join(name)).unwrap().len();
    assert!(bytes(SAMPLES) + bytes(EVENTS) <= 200_000);
    let events = fs::read_to_string(out.join(EVENTS)).unwrap();
    assert_eq!(events.lines().count() as u64, taken + 1);
    assert!(events.ends_with('\n'));
}

/// A link planted between the check of the folder and the making of a file.
#[test]
fn a_planted_link_is_not_followed() {
    for name in [SAMPLES, EVENTS, SUMS] {
        let (dir, target) = (tempfile::tempdir().unwrap(), tempfile::NamedTempFile::new().unwrap());
        let (planted, to) = (dir.path().join(name), target.path().to_owned());
        let first = AtomicUsize::new(0);
        let gate = Gate::new(move |op| {
            // The folder is opened first, then the files.
            if op == Op::Open && first.fetch_add(1, Ordering::Relaxed) == 1 {
                std::os::unix::fs::symlink(&to, &planted).or_else(|e| match e.kind() {
                    io::ErrorKind::AlreadyExists => Ok(()),
                    _ => Err(e),
                })?;
            }
            Ok(if let Op::Write(bytes) = op { bytes } else { 0 })
        });
        let fault = Recorder::create_through(gate, dir.path(), &COLUMNS).err().unwrap();
        assert_eq!(fault.code, FaultCode::Io, "{fault}");
        assert_eq!(fs::read(target.path()).unwrap(), b"");
    }
}
