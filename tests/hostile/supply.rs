//! What the program is made of: every dependency is pinned with a check sum, comes from a registry, and has a licence
//! that lets it be shipped.
//!
//! Known weaknesses of dependencies are not looked up here: the list of them is not part of the repository.

use super::support::ours;
use std::collections::BTreeSet;
use std::fs;
use std::process::Command;

/// Most packages in the lock file, our own and those of other systems included.
const PACKAGES_MAX: usize = 300;

/// Licences (SPDX) that ask for no more than their text to be passed on; MPL-2.0 also for changes of its own files.
const LICENCES: &[&str] = &[
    "MIT",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "Unicode-3.0",
    "Unlicense",
    "CC0-1.0",
    "0BSD",
    "BSL-1.0",
    "MPL-2.0",
    "MIT-0",
];

#[test]
fn every_dependency_is_pinned() {
    let lock = fs::read_to_string(ours("Cargo.lock")).unwrap_or_else(|e| panic!("{e}"));
    let packages: Vec<&str> = lock.split("[[package]]").skip(1).collect();
    assert!((50..=PACKAGES_MAX).contains(&packages.len()), "{} packages", packages.len());
    for package in packages {
        if package.contains("name = \"dutycup\"") {
            continue;
        }
        assert!(package.contains("source = \"registry+"), "not from a registry:{package}");
        assert!(package.contains("checksum = \""), "without a check sum:{package}");
    }
    let manifest = fs::read_to_string(ours("Cargo.toml")).unwrap_or_else(|e| panic!("{e}"));
    for word in ["git =", "path = \"..", "[patch"] {
        assert!(!manifest.contains(word), "{word} in Cargo.toml");
    }
}

/// Whether one of the ways to fulfil an SPDX expression is allowed: `OR` and `/` part the ways, `AND` joins.
fn allowed(expression: &str) -> bool {
    let flat = expression.replace(['(', ')'], "").replace('/', " OR ");
    let known = |word: &str| LICENCES.contains(&word.split(" WITH ").next().unwrap_or_default().trim());
    flat.split(" AND ").all(|part| part.split(" OR ").any(known))
}

#[test]
fn every_dependency_may_be_shipped() {
    // Only what a build on this machine fetched: crates of other platforms lie nowhere on a bare one.
    let rustc = Command::new("rustc").arg("-vV").output().unwrap_or_else(|e| panic!("{e}"));
    let said = String::from_utf8_lossy(&rustc.stdout).into_owned();
    let host = said.lines().find_map(|l| l.strip_prefix("host: ")).unwrap_or_else(|| panic!("{said}"));
    let done = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--locked", "--format-version", "1", "--filter-platform", host])
        .current_dir(ours(""))
        .output()
        .unwrap_or_else(|e| panic!("{e}"));
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap_or_else(|e| panic!("{e}"));
    let packages = metadata["packages"].as_array().expect("packages");
    let wrong: BTreeSet<String> = packages
        .iter()
        .filter(|p| !p["license"].as_str().is_some_and(allowed))
        .map(|p| format!("{}: {}", p["name"], p["license"]))
        .collect();
    assert!(packages.len() > 50 && wrong.is_empty(), "{wrong:#?}");
    assert!(!allowed("GPL-3.0-only") && !allowed("MIT AND GPL-2.0") && allowed("MIT OR GPL-2.0"));
}
