//! The live screen on a pseudo-terminal: it fits, any key stops the run safely, and the terminal is given back at the
//! end of it, by a key, a signal, or a terminal that takes no more.

use dutycup::door::record::RunFile;
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{LocalModes, Winsize, tcgetattr, tcsetwinsize};
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

const COLUMNS: usize = 80;
const ROWS: usize = 24;

#[expect(clippy::disallowed_methods, reason = "a pseudo-terminal at real time is the subject")]
fn wait(ms: u64) {
    std::thread::sleep(Duration::from_millis(ms));
}

fn until(ms: u64, mut done: impl FnMut() -> bool) -> bool {
    (0..ms / 20).any(|_| {
        wait(20);
        done()
    })
}

/// A pseudo-terminal of 80 x 24 and what was written to it.
struct Screen {
    keyboard: File,
    user: File,
    seen: Arc<Mutex<Vec<u8>>>,
}

impl Screen {
    fn open(reading: bool) -> Screen {
        let main = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
        grantpt(&main).expect("granted");
        unlockpt(&main).expect("unlocked");
        let size = Winsize { ws_row: ROWS as u16, ws_col: COLUMNS as u16, ws_xpixel: 0, ws_ypixel: 0 };
        tcsetwinsize(&main, size).expect("a size");
        let name = ptsname(&main, Vec::new()).expect("a name").into_string().expect("text");
        let user = File::options().read(true).write(true).open(name).expect("the other end");
        let keyboard = File::from(main);
        let seen = Arc::new(Mutex::new(Vec::new()));
        if reading {
            let (mut from, to) = (keyboard.try_clone().expect("a copy"), seen.clone());
            std::thread::spawn(move || {
                let mut buffer = [0; 4096];
                while let Ok(n @ 1..) = from.read(&mut buffer) {
                    to.lock().expect("a lock").extend_from_slice(&buffer[..n]);
                }
            });
        }
        Screen { keyboard, user, seen }
    }

    fn text(&self) -> String {
        String::from_utf8_lossy(&self.seen.lock().expect("a lock")).into_owned()
    }

    fn modes(&self) -> LocalModes {
        tcgetattr(&self.user).expect("modes").local_modes
    }

    fn press(&mut self, keys: &[u8]) {
        self.keyboard.write_all(keys).expect("a key");
    }
}

fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join("live").join(name);
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(dir.parent().expect("a parent")).expect("scratch");
    dir
}

/// A run of the virtual bench in step with the clock, or of bench time as fast as it goes.
fn run(screen: &Screen, out: &Path, clock: &str, colour: bool) -> Child {
    let end = || Stdio::from(screen.user.try_clone().expect("a copy"));
    let mut command = Command::new(env!("CARGO_BIN_EXE_dutycup"));
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["run", "scenarios/pump-and-nozzle.yaml", "--live", "--clock", clock])
        .args(["--set", "prime=20 s", "--set", "dwell=5 s", "--out"])
        .arg(out)
        .env("TERM", "xterm")
        .env("LC_ALL", "C.UTF-8")
        .env_remove("NO_COLOR")
        .stdin(end())
        .stdout(Stdio::null())
        .stderr(end());
    if !colour {
        command.env("NO_COLOR", "1");
    }
    command.spawn().expect("run starts")
}

fn ended(child: &mut Child, ms: u64) -> Option<ExitStatus> {
    let mut status = None;
    until(ms, || {
        status = child.try_wait().expect("a child");
        status.is_some()
    });
    status
}

/// Every stretch of text between control sequences, with the row it starts in, and what follows a place outside.
fn complaints(text: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    let (mut row, mut column) = (1, 0);
    // What is written before and after the screen of our own is ordinary text.
    let own = text.split("\x1b[?1049h").nth(1).unwrap_or_default();
    let own = own.split("\x1b[?1049l").next().unwrap_or_default();
    for part in own.split('\x1b').skip(1) {
        let Some(rest) = part.strip_prefix('[') else {
            wrong.push(format!("not a control sequence: {part:?}"));
            continue;
        };
        let end = rest.find(|c: char| c.is_ascii_alphabetic()).unwrap_or(rest.len());
        let (parameters, tail) = rest.split_at(end);
        if tail.starts_with('H') {
            row = parameters.split(';').next().and_then(|r| r.parse().ok()).unwrap_or(0);
            column = 0;
        }
        column += tail.chars().skip(1).count();
        if column > COLUMNS || !(1..=ROWS).contains(&row) {
            wrong.push(format!("row {row}, {column} columns: {tail:?}"));
        }
        if tail.chars().skip(1).any(char::is_control) {
            wrong.push(format!("a control character in {tail:?}"));
        }
    }
    wrong
}

const COOKED: LocalModes = LocalModes::ICANON.union(LocalModes::ECHO);

#[test]
fn the_screen_fits_and_any_key_stops_the_run_safely() {
    let (mut screen, out) = (Screen::open(true), scratch("key"));
    let mut child = run(&screen, &out, "real", true);
    assert!(until(10_000, || screen.text().contains("RUNNING")), "{}", screen.text());
    assert!(!screen.modes().intersects(COOKED), "keys come one by one");
    assert!(until(10_000, || screen.text().contains("MADE (lamp lit)")), "the pump makes pressure");
    screen.press(b"f");
    assert!(until(2000, || screen.text().contains("VIEW HELD")), "F holds the view");
    let before = fs::metadata(out.join("samples.csv")).map_or(0, |m| m.len());
    assert!(
        until(3000, || fs::metadata(out.join("samples.csv")).is_ok_and(|m| m.len() > before)),
        "the bench goes on"
    );
    screen.press(b"z");
    let status = ended(&mut child, 10_000).expect("the run ends");
    assert_eq!(status.code(), Some(130));
    assert_eq!(screen.modes() & COOKED, COOKED, "the terminal is as before");
    wait(50);
    let text = screen.text();
    assert!(text.contains("\x1b[?25h\x1b[?1049l"), "the cursor and the screen are given back");
    assert_eq!(complaints(&text), [""; 0]);
    assert!(text.contains("\x1b[0;1;36m"), "colour where nobody minds");
    let file = RunFile::from_text(&fs::read_to_string(out.join("run.yaml")).unwrap()).unwrap();
    assert!(file.safe_state.unwrap_or_default().contains("pump off"));
}

#[test]
fn a_signal_gives_the_terminal_back_and_no_colour_means_none() {
    let (screen, out) = (Screen::open(true), scratch("signal"));
    let mut child = run(&screen, &out, "real", false);
    assert!(until(10_000, || screen.text().contains("RUNNING")), "{}", screen.text());
    kill_process(Pid::from_child(&child), Signal::TERM).expect("signal");
    assert_eq!(ended(&mut child, 10_000).and_then(|s| s.code()), Some(143));
    assert_eq!(screen.modes() & COOKED, COOKED);
    wait(50);
    let text = screen.text();
    assert!(text.contains("\x1b[?1049l"));
    for colour in 30..=49 {
        assert!(!text.contains(&format!(";{colour}m")), "NO_COLOR was set (no-color.org)");
    }
}

#[test]
fn a_terminal_that_takes_no_more_does_not_hold_up_the_run() {
    let (screen, out) = (Screen::open(false), scratch("still"));
    let mut child = run(&screen, &out, "virtual", true);
    let status = ended(&mut child, 60_000).expect("the run ends by itself");
    assert_eq!(status.code(), Some(0));
    assert!(out.join("report.html").exists());
    assert_eq!(screen.modes() & COOKED, COOKED);
}

#[test]
fn without_a_terminal_there_are_plain_lines() {
    let out = scratch("plain");
    let child = Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["run", "scenarios/check-scale.yaml", "--live", "--clock", "real", "--out"])
        .arg(&out)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("run starts");
    wait(7500);
    kill_process(Pid::from_child(&child), Signal::INT).expect("signal");
    let output = child.wait_with_output().expect("ends");
    let text = String::from_utf8(output.stderr).expect("UTF-8");
    assert_eq!(output.status.code(), Some(130));
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines[0].contains("left  step ") && lines[0].contains("cup "), "{text}");
    assert!(!text.contains('\x1b') && !text.contains('\r'), "{text:?}");
}
