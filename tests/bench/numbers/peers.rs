//! Peers: general-purpose tools of Python with pinned versions, in an environment of their own below `target/`.
//!
//! In: `tests/bench/peers/requirements.txt`. Out: the interpreter that has them, or why there is none. Never: another
//! version than the pinned one.

use super::process::run;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Where the scripts lie.
pub(crate) fn script(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/peers").join(name)
}

/// The interpreter that has every peer; installs them where they are not there yet.
pub(crate) fn python() -> Result<PathBuf, String> {
    let home = Path::new(env!("CARGO_TARGET_TMPDIR")).join("../bench-peers");
    let (python, wanted) = (home.join("bin/python"), script("requirements.txt"));
    let pip = |args: &[&str]| {
        let mut command = Command::new(&python);
        command.args(["-m", "pip", "--disable-pip-version-check"]).args(args);
        command
    };
    let pins = std::fs::read_to_string(&wanted).map_err(|e| e.to_string())?;
    let has_all = || {
        let have = run(&mut pip(&["freeze"])).out;
        pins.lines().all(|pin| have.lines().any(|h| h == pin))
    };
    if python.exists() && has_all() {
        return Ok(python);
    }
    let made = Command::new("python3").args(["-m", "venv"]).arg(&home).output();
    match made {
        Ok(done) if done.status.success() => {}
        Ok(done) => return Err(String::from_utf8_lossy(&done.stderr).into_owned()),
        Err(e) => return Err(format!("python3: {e}")),
    }
    let done = run(pip(&["install", "-q", "-r"]).arg(&wanted));
    if has_all() { Ok(python) } else { Err(done.err) }
}
