//! Instruments that want the terminal (CWE-150): whatever they answer, the program's streams and the files it leaves
//! show only themselves.

use super::support::{ours, program, run, scratch, shows_only_itself, speaks_safely};
use dutycup::door::port::pty::Pty;
use std::fs;
use std::path::Path;
use std::process::Output;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

/// Clear, move, title, link, clipboard, device string, reset, bells, 8-bit forms, overlong and broken UTF-8, overrides
/// of direction, marks that show nothing, tabs. Control functions of ECMA-48 and common practice of terminals.
const ESCAPES: &[&[u8]] = &[
    b"\x1b[2J\x1b[1A\x1b[3J",
    b"\x1b]0;owned\x07",
    b"\x1b]8;;file:///etc/passwd\x1b\\here\x1b]8;;\x1b\\",
    b"\x1b]52;c;cm0gLXJmIH4=\x07",
    b"\x1bP$q\"p\x1b\\",
    b"\x1bc\x1b(0\x0e\x0f",
    b"\x07\x07\x07\x07\x08\x08\x7f\x7f",
    b"\xc2\x9b2J\xc2\x9d0;x\xc2\x9c\xc2\x85",
    b"\x9b2J\x9d0;x\x9c\x85",
    b"\xc0\x9b\xe0\x80\x9b\xff\xfe\xf0\x28",
    "\u{202e}\u{2066}\u{61c}\u{200f}\u{2069}".as_bytes(),
    "\u{200b}\u{feff}\u{ad}\u{e0041}\u{fe0f}\u{2028}".as_bytes(),
    b"\t\x0b\x0c\0",
];

/// How the far end puts a text into its answers; `@` stands for the text.
struct Manner {
    name: &'static str,
    identity: &'static str,
    number: &'static str,
    error: &'static str,
}

#[rustfmt::skip]
const MANNERS: &[Manner] = &[
    Manner { name: "in the identity", identity: "peer @ meter", number: "1.5", error: "0,\"No error\"" },
    Manner { name: "as another identity", identity: "@ stranger", number: "1.5", error: "0,\"No error\"" },
    Manner { name: "in numbers", identity: "peer meter", number: "1.5@", error: "0,\"No error\"" },
    Manner { name: "in the error queue", identity: "peer meter", number: "1.5", error: "-113,\"@\"" },
    Manner { name: "before everything", identity: "@peer meter", number: "@ 1.5", error: "@" },
    Manner { name: "beside the answers", identity: "@\npeer meter\n@", number: "1.5\n@\n@", error: "0,\"No error\"\n@" },
];

fn answer(manner: &Manner, command: &[u8], text: &[u8]) -> Vec<u8> {
    let form = if command.contains(&b'*') || command.starts_with(b"ID") {
        manner.identity
    } else if command.starts_with(b"SYST") {
        manner.error
    } else {
        manner.number
    };
    let mut out = Vec::new();
    for byte in form.bytes() {
        if byte == b'@' { out.extend_from_slice(text) } else { out.push(byte) }
    }
    out.extend_from_slice(b"\r\n");
    out
}

/// Runs `act` while the far end of `pty` answers every line.
fn answering<T>(pty: &Pty, manner: &Manner, text: &[u8], act: impl FnOnce() -> T) -> T {
    let stop = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut kept = Vec::new();
            let mut chunk = [0; 256];
            while !stop.load(Ordering::Relaxed) {
                let Ok(n) = rustix::io::read(&pty.master, &mut chunk) else {
                    pause();
                    continue;
                };
                kept.extend_from_slice(&chunk[..n]);
                while let Some(end) = kept.iter().position(|b| *b == b'\n') {
                    let line: Vec<u8> = kept.drain(..=end).collect();
                    // A line that is not taken is lost, as on a wire.
                    let _ = rustix::io::write(&pty.master, &answer(manner, &line, text));
                }
            }
        });
        let done = act();
        stop.store(true, Ordering::Relaxed);
        done
    })
}

#[expect(clippy::disallowed_methods, reason = "a pseudo-terminal is the subject")]
fn pause() {
    std::thread::sleep(Duration::from_millis(1));
}

fn bench(dialect: &str, path: &Path) -> String {
    let exchange = if dialect == "scpi" {
        "ask: {query: \"MEAS?\"}"
    } else {
        "ask: {query: \"R?\", pattern: \"{value}\"}"
    };
    format!(
        "format: 1\nrig: hostile\ninstruments:\n  - {{name: meter, port: {{path: {}, baud: 115200}}, dialect: {dialect}, \
         identity: {{ask: \"{}\", expect: meter}}, reply_within: 50 ms}}\nchannels:\n  - {{role: supply, instrument: \
         meter, {exchange}, unit: V, range: [0 V, 20 V], every: 20 ms}}\npair: {{pump: none, nozzles: [{{name: A}}], \
         pwm: 1000 Hz, drive_side: low}}\nlimits: {{line_pressure: 250 psi, cup_mass: 1 kg, supply: [9 V, 16 V], \
         on_time: 1 min}}\nwatchdog: none\n",
        path.display(),
        if dialect == "scpi" { "*IDN?" } else { "ID?" }
    )
}

/// `check` of an instrument with these manners; whether it showed an escape written out.
fn checked(dir: &Path, number: usize, text: &[u8], dialect: &str) -> bool {
    let manner = &MANNERS[number % MANNERS.len()];
    let pty = Pty::open().unwrap_or_else(|e| panic!("{e}"));
    let at = |name: &str| dir.join(format!("{dialect}-{number}-{}-{name}", text.len()));
    let (rig, log) = (at("rig.yaml"), at("trace.log"));
    fs::write(&rig, bench(dialect, pty.path())).unwrap_or_else(|e| panic!("{e}"));
    let done: Output = answering(&pty, manner, text, || {
        let (rig, log) = (rig.display().to_string(), log.display().to_string());
        let mut words = vec!["-vv", "--log", &log, "check", &rig, "--seconds", "2"];
        words.extend((number % 2 == 1).then_some("--json"));
        run(words)
    });
    let what = format!("{dialect}, escape {number} {}", manner.name);
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(matches!(done.status.code(), Some(0 | 4)), "{what}: {} {said}", done.status);
    speaks_safely(&what, &done);
    shows_only_itself(&what, &fs::read(&log).unwrap_or_default());
    String::from_utf8_lossy(&done.stdout).contains("\\u")
}

/// Each text in one manner, and all of them together in every manner and dialect.
#[test]
fn check_shows_only_itself_whatever_an_instrument_answers() {
    let dir = scratch();
    let all = ESCAPES.concat();
    let mut cases: Vec<(usize, &[u8], &str)> = Vec::new();
    for (number, text) in ESCAPES.iter().enumerate() {
        cases.push((number, text, ["scpi", "text"][number % 2]));
    }
    for number in 0..MANNERS.len() {
        cases.extend(["scpi", "text"].map(|dialect| (number, &all[..], dialect)));
    }
    let next = AtomicUsize::new(0);
    let work = || {
        let mut shown = 0;
        while let Some((number, text, dialect)) = cases.get(next.fetch_add(1, Ordering::Relaxed)) {
            shown += usize::from(checked(dir.path(), *number, text, dialect));
        }
        shown
    };
    let shown: usize = std::thread::scope(|scope| {
        let threads = [(); 4].map(|()| scope.spawn(work));
        let joined = threads.into_iter().map(|t| t.join());
        joined.map(|shown| shown.unwrap_or_else(|e| std::panic::resume_unwind(e))).sum()
    });
    assert!(shown > 3, "escapes are shown, written out");
}

/// A run on the virtual bench over pseudo-terminals, but its scale is hostile: streams and every file left behind.
#[test]
fn a_run_and_its_files_show_only_themselves() {
    let dir = scratch();
    let ports = dir.path().join("ports");
    let mut served = program()
        .args(["emulate", "rigs/virtual.yaml", "--ports"])
        .arg(&ports)
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap_or_else(|e| panic!("{e}"));
    for _ in 0..500 {
        if ports.join("rig.yaml").exists() {
            break;
        }
        pause();
        (0..10).for_each(|_| pause());
    }
    let rig = fs::read_to_string(ports.join("rig.yaml"));
    let scale = ports.join("scale").display().to_string();
    let mut left = 0;
    let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        let rig = rig.unwrap_or_else(|e| panic!("{e}"));
        assert!(rig.contains(&scale), "the rig names its scale's port");
        for (number, text) in ESCAPES.iter().enumerate().step_by(3) {
            let manner = Manner {
                name: "scale",
                identity: "ID dutycup virtual scale 1.0 @",
                number: "m +1.0 g stable\r\n@\r\nm +1.@0 g stable\r\nm +1.0 @ stable",
                error: "",
            };
            let pty = Pty::open().unwrap_or_else(|e| panic!("{e}"));
            let path = dir.path().join("rig.yaml");
            let text_of_rig = rig.replace(&scale, &pty.path().display().to_string());
            fs::write(&path, text_of_rig).unwrap_or_else(|e| panic!("{e}"));
            let out = dir.path().join(format!("out{number}"));
            let done = answering(&pty, &manner, text, || {
                let words = ["run", "scenarios/pump-and-nozzle.yaml", "--arm", "virtual", "--rig"];
                let mut command = program();
                command.args(words).arg(&path).arg("--out").arg(&out);
                command.args(["--set", "zero=2 s", "--set", "prime=2 s"]);
                command.output().unwrap_or_else(|e| panic!("{e}"))
            });
            let what = format!("run, escape {number}");
            assert_eq!(done.status.code(), Some(4), "{what}: {}", String::from_utf8_lossy(&done.stderr));
            speaks_safely(&what, &done);
            for entry in fs::read_dir(&out).unwrap_or_else(|e| panic!("{e}")) {
                let path = entry.unwrap_or_else(|e| panic!("{e}")).path();
                let bytes = fs::read(&path).unwrap_or_else(|e| panic!("{e}"));
                let plain: Vec<u8> = bytes.into_iter().filter(|b| *b != b'\r').collect();
                shows_only_itself(&path.display().to_string(), &plain);
                left += 1;
            }
        }
    }));
    let _ = served.kill();
    let _ = served.wait();
    result.unwrap_or_else(|e| std::panic::resume_unwind(e));
    assert!(left > 20, "{left} files looked at");
}

/// Files of others with escapes in every text: what is said of them.
#[test]
fn messages_about_files_show_only_themselves() {
    let dir = scratch();
    let hidden = "\u{202e}\u{61c}\u{200b}\u{e0041}\u{ad}";
    let calibration =
        fs::read_to_string(ours("results/example/calibration.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let with_warning = calibration.replacen("warnings:", &format!("warnings:\n- 'beware {hidden}'"), 1);
    assert_ne!(with_warning, calibration, "the calibration has warnings");
    let points = format!(
        "duty_pct,supply_v,line_pressure_psi,collected_g,collect_s,nozzle,x\u{1b}[2J{hidden}\n\
        30,13.7,17,92,30,A{hidden}\u{1b}]0;x\u{7},=1\n"
    );
    for (name, text, words) in [
        ("calibration.yaml", with_warning.clone(), &["predict", "{}", "--duty", "30 %"][..]),
        ("calibration.yaml", with_warning, &["predict", "{}", "--duty", "30 %", "--json"]),
        (
            "calibration.yaml",
            calibration.replace("format:", &format!("{hidden}:")),
            &["predict", "{}", "--duty", "3 %"],
        ),
        ("points.csv", points.clone(), &["analyse", "{}", "--out", "{out}"]),
        ("points.csv", points, &["accept", "{}", "--as", "{out}"]),
        ("rig.yaml", format!("format: 1\nrig: {hidden}\n\u{7f}a: b\n"), &["check", "{}"]),
        (
            "scenario.yaml",
            format!("format: 1\nscenario: {hidden}\nx\u{9b}: b\n"),
            &["run", "{}", "--dry-run"],
        ),
        ("a\u{1b}[2J\u{202e}.yaml", "format: 9\n".into(), &["check", "{}"]),
        ("a\u{1b}[2J\u{202e}.csv", "no table".into(), &["analyse", "{}", "--out", "{out}"]),
    ] {
        let path = dir.path().join(name);
        fs::write(&path, text).unwrap_or_else(|e| panic!("{e}"));
        let out = scratch();
        let out = out.path().join(format!("out{hidden}\u{1b}[2J")).display().to_string();
        let file = path.display().to_string();
        let done = run(words.iter().map(|w| w.replace("{}", &file).replace("{out}", &out)));
        speaks_safely(&format!("{words:?}"), &done);
        assert!(!done.stdout.is_empty() || !done.stderr.is_empty());
    }
}
