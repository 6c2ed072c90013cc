//! Targets that read a run folder: a folder is made whose check sums fit the bytes, so that the readers behind the
//! check sums are reached.

use super::targets::{file, finite, safe, told};
use dutycup::door::problem::Problems;
use dutycup::door::record::{RunFile, RunFolder, sums};
use dutycup::door::script::scenario;
use dutycup::door::script::yaml::Text;
use std::fs;
use std::path::Path;

/// The last line of a run file, up to the check sum.
const SEAL: &str = "# crc32c of all lines above: ";

fn put(dir: &Path, name: &str, bytes: &[u8]) {
    fs::write(dir.join(name), bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
}

fn scratch() -> tempfile::TempDir {
    tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"))
}

pub(crate) fn run_file(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    told(RunFile::from_text(text));
    let body = text.rsplit_once(SEAL).map_or(text, |(body, _)| body);
    let sealed = format!("{body}{SEAL}{:08x}\n", crc32c::crc32c(body.as_bytes()));
    told(RunFile::from_text(&sealed));
}

/// A finished run with these recorded files, and sums that fit them.
fn folder(samples: &[u8], events: &[u8]) -> (tempfile::TempDir, Result<RunFolder, Problems>) {
    let dir = scratch();
    let example = file("results/example");
    for name in ["scenario.yaml", "rig.yaml"] {
        fs::copy(example.join(name), dir.path().join(name)).unwrap_or_else(|e| panic!("{e}"));
    }
    let run = fs::read_to_string(example.join("run.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let mut run = RunFile::from_text(&run).unwrap_or_else(|e| panic!("{e}"));
    run.files.retain(|f| f.name.ends_with(".yaml"));
    run.write(dir.path()).unwrap_or_else(|e| panic!("{e}"));
    let mut list = sums::HEADER.as_bytes().to_vec();
    for (name, bytes) in [("samples.csv", samples), ("events.csv", events)] {
        put(dir.path(), name, bytes);
        sums::push_line(&mut list, name, sums::Extent::default().with(bytes));
    }
    put(dir.path(), "sums.csv", &list);
    let opened = RunFolder::open(dir.path());
    (dir, opened)
}

pub(crate) fn samples(bytes: &[u8]) {
    let (_dir, opened) = folder(bytes, b"time_s,kind,step,detail\n");
    let Some(folder) = told(opened) else { return };
    let columns = folder.columns().len();
    told(folder.samples(&mut |row| {
        assert!(row.time_s.is_finite());
        for value in (0..columns).filter_map(|c| row.get(c)) {
            assert!(value.is_finite(), "{value}");
        }
    }));
}

pub(crate) fn events(bytes: &[u8]) {
    let (_dir, opened) = folder(b"time_s,step,line_pressure_kpa\n", bytes);
    let Some(events) = told(opened).and_then(|f| told(f.events())) else {
        return;
    };
    for event in events {
        let Some(event) = told(event) else { return };
        assert!(event.time_s.is_finite());
        for (name, _) in event.pairs() {
            if let Some(number) = event.number(name) {
                assert!(number.is_finite(), "{name} {number}");
            }
        }
    }
}

pub(crate) fn sums(bytes: &[u8]) {
    match sums::read(bytes, |_, _| {}) {
        Ok(whole) => assert!(whole <= bytes.len() as u64),
        Err((line, what)) => {
            assert!(line > 0);
            safe(what);
        }
    }
}

pub(crate) fn trace(bytes: &[u8]) {
    let dir = scratch();
    put(dir.path(), "trace.csv", bytes);
    let text = "format: 1\nscenario: try\npurpose: record\nsteps:\n  - replay: {file: trace.csv}\n";
    let read = scenario::read(Text::new("try.yaml", text), dir.path().to_path_buf());
    let rig = dutycup::door::script::load_rig(&file("rigs/virtual.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let plan = |s| told(dutycup::door::script::plan(&s, &rig, &[], dutycup::door::chance::Seed(1)));
    if let Some(plan) = told(read).and_then(plan) {
        finite(&plan);
    }
}
