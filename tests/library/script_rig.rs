//! Rig files: every shipped one is good, bad ones say what is wrong, hostile ones are refused quickly.

#![expect(clippy::unwrap_used, reason = "a test ends at the first surprise")]

use dutycup::door::chance::Seed;
use dutycup::door::script::rig_file;
use dutycup::door::virtual_bench::{self, VirtualBench};
use std::path::{Path, PathBuf};

fn folder(name: &str) -> Vec<PathBuf> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    let mut files: Vec<PathBuf> = std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
    files.retain(|p| p.extension().is_some_and(|e| e == "yaml"));
    files.sort();
    files
}

#[test]
fn every_shipped_rig_is_good() {
    let files = folder("rigs");
    assert_eq!(files.len(), 3);
    for path in files {
        let rig = rig_file::load(&path).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(path.file_stem().unwrap().to_str().unwrap(), rig.name);
    }
}

/// The section is handed on as it stands, and the virtual bench takes it.
#[test]
fn the_virtual_bench_takes_its_section() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("rigs/virtual.yaml");
    let rig = rig_file::load(&path).unwrap_or_else(|e| panic!("{e}"));
    let section = rig.virtual_bench.as_ref().unwrap();
    assert_eq!(section.get("noise").and_then(serde_yaml::Value::as_str), Some("on"));
    let bench = virtual_bench::build(section, Seed(1)).unwrap_or_else(|e| panic!("{e}"));
    let names: Vec<&str> = rig.instruments.iter().map(|i| i.name.as_str()).collect();
    let mut devices: Vec<&str> = bench.devices().iter().map(String::as_str).collect();
    let mut wanted = names.clone();
    devices.sort_unstable();
    wanted.sort_unstable();
    assert_eq!(devices, wanted, "devices and instruments have the same names");
}
