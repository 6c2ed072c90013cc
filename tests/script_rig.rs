//! Rig files: every shipped one is good, bad ones say what is wrong, hostile ones are refused quickly.

#![expect(clippy::unwrap_used, reason = "a test ends at the first surprise")]

use dutycup::script::rig_file;
use std::path::{Path, PathBuf};

fn folder(name: &str) -> Vec<PathBuf> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    let mut files: Vec<PathBuf> = std::fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
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
