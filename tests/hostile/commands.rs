//! Names that want to become commands: whatever a rig holds, nothing goes out on a wire but what it says in plain sight.

use super::support::{run, scratch, shows_only_itself};
use dutycup::door::chance::*;
use dutycup::door::clock::Moment;
use dutycup::door::instrument::Instrument;
use dutycup::door::script::rig_file;
use dutycup::door::script::yaml::Text;
use std::fs;

/// Texts with a second command in them, as YAML in double quotes.
const SMUGGLED: &[&str] = &[
    "\\r\\nON\\r\\n",
    "\\nON",
    "\\rON\\r",
    "\\u2028ON",
    "\\u0085ON",
    "\\0ON",
    "\\x1bON",
    "\\tON",
    "\\u000BON",
    "\\u000CON",
    "\\u009dON",
    "\\u00e9ON",
    "\\uff1bON",
    "\\u202eNO",
];

/// Fields of the shipped bench that reach a wire, by their text in the file.
const FIELDS: &[&str] = &[
    "\"VOLT {value:.2}\"",
    "\"OUTP {value:ON|OFF}\"",
    "\"D {value:.1}\"",
    "\"V {value:1|0}\"",
    "\"SRC {value:CTRL|HOST}\"",
    "\"{value:OFF|ARM}\"",
    "\"SOUR1:VOLT {value:.3}\"",
    "\"MEAS:VOLT?\"",
    "\"S?\"",
    "\"*IDN?\"",
    "\"ID?\"",
];

#[test]
fn no_text_of_a_rig_smuggles_a_command() {
    let bench =
        fs::read_to_string(super::support::ours("rigs/serial-bench.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let mut tried = 0;
    for field in FIELDS {
        assert!(bench.contains(field), "{field}");
        for smuggled in SMUGGLED {
            let inner = field.trim_matches('"');
            for text in [format!("\"{inner}{smuggled}\""), format!("\"{smuggled}{inner}\"")] {
                let text = Text::new("bad.yaml", bench.replacen(field, &text, 1));
                let refused = match rig_file::read(&text) {
                    Ok(rig) => (0..rig.instruments.len()).any(|i| Instrument::new(i, &rig).is_err()),
                    Err(problems) => {
                        shows_only_itself(field, problems.to_string().as_bytes());
                        true
                    }
                };
                assert!(refused, "{}", text.text.lines().find(|l| l.contains(smuggled)).unwrap_or_default());
                tried += 1;
            }
        }
    }
    assert!(tried > 300, "{tried}");
}

/// What instruments send in a second of a bench, whatever arrives, is whole lines that the rig holds.
#[test]
fn only_what_the_rig_says_is_sent() {
    let text = Text::read(&super::support::ours("rigs/serial-bench.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let rig = rig_file::read(&text).unwrap_or_else(|e| panic!("{e}"));
    let mut chance = Seed(5).stream("arrives");
    for (index, spec) in rig.instruments.iter().enumerate().filter(|(_, i)| i.name != "transmitter") {
        let mut instrument = Instrument::new(index, &rig).unwrap_or_else(|e| panic!("{e}"));
        let (mut now, mut events, mut sent) = (Moment::START, Vec::new(), Vec::new());
        instrument.start(now);
        for turn in 0..2000 {
            instrument.advance(now, &mut sent, &mut events);
            let answer: &[u8] = match chance.random_range(0..6) {
                0 => b"maker,model\r\n",
                1 => b"driver\nOK\n",
                2 => b"ON\r\nOFF\r\n\x1b[2J\n",
                3 => b"0,\"No error\nOUTP ON\"\n",
                4 => b"S duty=1 on=1 estop=0 switch=0\n",
                _ => b"\xff\0",
            };
            if turn % 3 == 0 {
                instrument.receive(now, answer, &mut events);
            }
            now = now + std::time::Duration::from_millis(7);
        }
        let sent = String::from_utf8(sent).unwrap_or_else(|e| panic!("{e}"));
        let known = |line: &str| {
            line == "SYST:ERR?"
                || text.text.contains(&format!("\"{line}\""))
                || text.text.contains(&format!(": {line},"))
        };
        for line in sent.lines().filter(|l| !l.is_empty()) {
            assert!(known(line), "{}: {line:?}", spec.name);
        }
    }
}

/// The bench's name is typed to arm it: no other form of it arms.
#[test]
fn no_other_name_arms() {
    let dir = scratch();
    let rig =
        fs::read_to_string(super::support::ours("rigs/serial-bench.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let path = dir.path().join("rig.yaml");
    fs::write(&path, rig).unwrap_or_else(|e| panic!("{e}"));
    for name in [
        "",
        " ",
        "SERIAL-BENCH",
        "serial-bench ",
        "serial-bench\n",
        "serial\u{2010}bench",
        "*",
        "serial-benc",
    ] {
        let out = dir.path().join("out").display().to_string();
        let path = path.display().to_string();
        let done = run(["run", "scenarios/leak-down.yaml", "--rig", &path, "--out", &out, "--arm", name]);
        assert_ne!(done.status.code(), Some(0), "{name:?}");
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(!said.contains("PORT_NOT_FOUND"), "{name:?}: refused before a port is opened: {said}");
    }
}
