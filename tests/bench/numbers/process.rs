//! Processes measured from outside: how long they took, and the most memory they held.
//!
//! In: a command. Out: its output, its time, its peak of resident memory. The peak is the system's own high-water mark
//! (`VmHWM`), read every half millisecond until the process ends; what it grows in its very last moment is not seen.

use dutycup::door::clock::{Moment, SystemClock};
use std::io::{Read as _, Seek as _};
use std::process::{Command, Stdio};
use std::time::Duration;

/// Longest time a process is given; one that takes longer is killed, and its line says so.
const LONGEST: Duration = Duration::from_secs(240);

/// What a process came to.
pub(crate) struct Ran {
    /// Wall time, s.
    pub(crate) s: f64,
    /// Peak of resident memory, MiB.
    pub(crate) peak_mib: f64,
    /// Exit code; none where a signal ended it.
    pub(crate) code: Option<i32>,
    /// What it wrote on stdout.
    pub(crate) out: String,
    /// What it wrote on stderr.
    pub(crate) err: String,
}

/// Runs a command to its end.
pub(crate) fn run(command: &mut Command) -> Ran {
    run_within(command, LONGEST)
}

/// Runs a command to its end, which `longest` brings about where nothing else does.
pub(crate) fn run_within(command: &mut Command, longest: Duration) -> Ran {
    let mut files = [(); 2].map(|()| tempfile::tempfile().expect("a temporary file"));
    let copy = |f: &std::fs::File| Stdio::from(f.try_clone().expect("a descriptor"));
    command.stdin(Stdio::null()).stdout(copy(&files[0])).stderr(copy(&files[1]));
    let clock = SystemClock::start();
    let mut child = command.spawn().unwrap_or_else(|e| panic!("{command:?}: {e}"));
    let status = format!("/proc/{}/status", child.id());
    let mut peak_mib = 0.0_f64;
    let ended = loop {
        peak_mib = peak_mib.max(high_water_mib(&status));
        if let Some(ended) = child.try_wait().expect("the child") {
            break ended;
        }
        if clock.now() > Moment::START + longest {
            child.kill().expect("killed");
        }
        clock.sleep_until(clock.now() + Duration::from_micros(500));
    };
    let s = clock.now().as_s();
    let [out, err] = files.each_mut().map(|file| {
        let mut bytes = Vec::new();
        file.rewind().and_then(|()| file.read_to_end(&mut bytes)).expect("its output");
        String::from_utf8_lossy(&bytes).into_owned()
    });
    Ran { s, peak_mib, code: ended.code(), out, err }
}

/// The high-water mark of a process, MiB; zero once it has ended.
fn high_water_mib(status: &str) -> f64 {
    let text = std::fs::read_to_string(status).unwrap_or_default();
    let line = text.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kib = line.and_then(|l| l.trim().strip_suffix("kB")?.trim().parse::<f64>().ok());
    kib.unwrap_or(0.0) / 1024.0
}

/// Time from the start of a process to the first byte on its stdout, s.
pub(crate) fn first_output(command: &mut Command) -> f64 {
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
    let clock = SystemClock::start();
    let mut child = command.spawn().unwrap_or_else(|e| panic!("{command:?}: {e}"));
    let mut byte = [0];
    let mut out = child.stdout.take().expect("a pipe");
    let read = out.read(&mut byte).expect("its output");
    let s = clock.now().as_s();
    assert_eq!(read, 1, "{command:?} wrote nothing");
    std::io::copy(&mut out, &mut std::io::sink()).expect("the rest of it");
    child.wait().expect("its end");
    s
}
