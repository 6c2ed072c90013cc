//! What bad files are told, word for word; limits and references that do not fit.

use dutycup::door::chance::{Seed, uniform};
use dutycup::door::problem::Problems;
use dutycup::door::script::limits::{Asked, AskedLimit, effective, raised};
use dutycup::door::script::rig::{Limits, Rig};
use dutycup::door::script::yaml::{Mark, Text};
use dutycup::door::script::{self, rig_file, scenario};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn house(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn virtual_text() -> String {
    std::fs::read_to_string(house("rigs/virtual.yaml")).unwrap_or_else(|e| panic!("{e}"))
}

fn virtual_rig() -> Rig {
    rig_file::read(&Text::new("virtual.yaml", virtual_text())).unwrap_or_else(|e| panic!("{e}"))
}

/// Reads and plans a scenario on the virtual rig.
fn try_plan(text: &str) -> Result<(), Problems> {
    let scenario = scenario::read(Text::new("try.yaml", text), house("scenarios"))?;
    script::plan(&scenario, &virtual_rig(), &[], Seed(1)).map(|_| ())
}

/// A scenario of these steps.
fn of_steps(steps: &str) -> String {
    let steps = steps.replace('\n', "\n  ");
    format!("format: 1\nscenario: try\npurpose: record\nsteps:\n  {steps}\n")
}

fn told(cases: &[(&str, String)], read: impl Fn(&str) -> Result<(), Problems>) -> String {
    let mut out = String::new();
    for (name, text) in cases {
        match read(text) {
            Ok(()) => panic!("{name} is not refused"),
            Err(problems) => {
                let _ = writeln!(out, "--- {name}\n{problems}\n");
            }
        }
    }
    out
}

#[test]
fn bad_scenarios() {
    let steps: &[(&str, &str)] = &[
        (
            "several at once",
            "- set: {pump_dutty: 30 %, boost: 8 psii}\n- hold: 5\n- settel: {role: line_pressure}\n- collect: {for: 30 min, mass: 5 g}",
        ),
        ("no instrument plays it", "- settle: {role: tank_mass, within: 1 g}"),
        ("cannot be read", "- settle: {role: pump_duty, within: 1 %}"),
        ("cannot be set", "- set: {line_pressure: 5 psi}"),
        ("belongs to the loop", "- set: {safe_state: on}"),
        ("duty outside the limits", "- set: {solenoid: on, pump_duty: 0.5 %}\n- set: {pump_duty: 0 %}"),
        ("supply outside the limits", "- set: {supply_set: 17 V}"),
        ("boost outside the sensor", "- set: {boost: 40 psi}"),
        (
            "sweep that does not end",
            "- sweep: {over: [{role: boost, from: 0 psi, to: 20 psi, step: 0 psi}], do: [{hold: 1 s}]}",
        ),
        (
            "sweep of too many points",
            "- sweep: {over: [{role: boost, from: 0 psi, to: 20 psi, step: 0.001 psi}], do: [{hold: 1 s}]}",
        ),
        (
            "grid of too many points",
            "- sweep:\n    over:\n      - {role: boost, from: 0 psi, to: 20 psi, step: 0.1 psi}\n      - {role: rpm, from: 1000 rpm, to: 7000 rpm, step: 100 rpm}\n    do: [{hold: 1 s}]",
        ),
        (
            "sweep in three units",
            "- sweep: {over: [{role: boost, from: 0 kPa, to: 20 psi, step: 1 psi}], do: [{hold: 1 s}]}",
        ),
        ("sweep without points", "- sweep: {over: [{role: boost, from: 0 psi}], do: [{hold: 1 s}]}"),
        (
            "two axes of a role",
            "- sweep: {over: [{role: boost, values: [1 psi]}, {role: boost, values: [2 psi]}], do: [{hold: 1 s}]}",
        ),
        ("too many steps", "- cycle: {times: 10000, do: [{cycle: {times: 20, do: [{hold: 1 s}]}}]}"),
        (
            "never reached",
            "- ramp: {role: pump_duty, from: 10 %, to: 50 %, in: 10 s, until: {role: line_pressure, rises_to: 260 psi}}",
        ),
        ("ramp that does nothing", "- ramp: {role: boost, from: 10 psi, to: 10 psi, in: 10 s}"),
        (
            "until without a level",
            "- ramp: {role: boost, from: 0 psi, to: 10 psi, in: 10 s, until: {role: switch}}",
        ),
        ("against the closed solenoid", "- set: {pump_duty: 30 %}\n- hold: 1 s\n- set: {pump_duty: 0 %}"),
        (
            "on for too long",
            "- set: {solenoid: on, pump_duty: 30 %}\n- hold: 31 min\n- set: {pump_duty: 0 %}",
        ),
        ("left on", "- set: {solenoid: on, pump_duty: 30 %}\n- hold: 1 s"),
        ("unknown nozzle", "- mount: B"),
        ("unknown item", "- expect: {item: duty.deadband, upper: 10 %}"),
        ("item of another dimension", "- expect: {item: duty.dead_band, upper: 10 psi}"),
        ("item of another measurement", "- expect: {item: switch.trip, upper: 30 psi}"),
        ("item under its old name", "- expect: {item: pump.full_flow, upper: 500 mL/min}"),
        ("exponent in per cent", "- expect: {item: nozzle.exponent, upper: 52 %}"),
        ("leak-down rate as a pressure", "- expect: {item: line.leak, upper: 3 psi}"),
        ("item of a command", "- expect: {item: switch.window, lower: 0 psi}"),
        ("expect without limits", "- expect: {item: duty.dead_band}"),
        ("unknown parameter", "- hold: $dwell"),
        ("two things in a step", "- hold: 1 s\n  vent: {}"),
        ("a step that is no map", "- vent"),
        ("empty", "[]"),
        (
            "bisect that never ends",
            "- bisect: {input: boost, from: 0 psi, to: 20 psi, resolution: 0.000001 psi, output: switched.valve, level: on}",
        ),
        ("settle on nothing", "- settle: {role: line_pressure}"),
        ("file outside the folder", "- replay: {file: ../rigs/virtual.yaml}"),
        ("file that is no trace", "- replay: {file: check-scale.yaml}"),
    ];
    let cases: Vec<(&str, String)> = steps.iter().map(|(name, steps)| (*name, of_steps(steps))).collect();
    insta::assert_snapshot!(told(&cases, try_plan));
}

#[test]
fn bad_heads_of_scenarios() {
    let cases = [
        ("nothing", String::new()),
        ("a list", "- format: 1\n".to_owned()),
        ("another version", "format: 2\nscenario: try\npurpose: record\nsteps: [{hold: 1 s}]\n".to_owned()),
        ("missing and misspelt", "format: 1\nsenario: try\npurpose: pairs\n".to_owned()),
        ("raises limits", "format: 1\nscenario: try\npurpose: record\nlimits: {line_pressure: 300 psi, duty: [0.5 %, 50 %], on_time: 2 h}\nsteps: [{hold: 1 s}]\n".to_owned()),
        ("parameter of a wrong kind", "format: 1\nscenario: try\npurpose: record\nparameters: {dwell: {default: 5 psi}}\nsteps: [{hold: $dwell}]\n".to_owned()),
        ("parameter that is not used", "format: 1\nscenario: try\npurpose: record\nparameters: {dwell: {default: 5 s}}\nsteps: [{hold: 1 s}]\n".to_owned()),
        ("parameter that is a map", "format: 1\nscenario: try\npurpose: record\nparameters: {dwell: {default: {a: 1}}, Dwell: 5}\nsteps: [{hold: 1 s}]\n".to_owned()),
        ("names twice", "format: 1\nscenario: try\nscenario: again\npurpose: record\nsteps: [{hold: 1 s}]\n".to_owned()),
        ("not YAML", "format: 1\nscenario: [try\npurpose: record\n".to_owned()),
        ("tabs", "format: 1\nsteps:\n\t- hold: 1 s\n".to_owned()),
        ("alias", "format: &a 1\nscenario: *a\n".to_owned()),
        ("escape sequences in a name", "format: 1\nscenario: \"\\e[2Jx\"\npurpose: record\nsteps: [{hold: 1 s}]\n".to_owned()),
    ];
    insta::assert_snapshot!(told(&cases, try_plan));
}

/// The virtual rig with pieces of its text replaced.
fn changed(changes: &[(&str, &str)]) -> String {
    let mut text = virtual_text();
    for (from, to) in changes {
        assert!(text.contains(from), "the rig does not hold {from}");
        text = text.replacen(from, to, 1);
    }
    text
}

#[test]
fn bad_rigs() {
    let cases = [
        (
            "several at once",
            changed(&[
                ("pwm: 1000 Hz", "pwm: 1000"),
                ("drive_side: high", "drive_side: left"),
                ("watchdog: {trip: 500 ms}", "watch_dog: none"),
            ]),
        ),
        (
            "unknown instrument",
            changed(&[(
                "  - role: cup_mass\n    instrument: scale",
                "  - role: cup_mass\n    instrument: scales",
            )]),
        ),
        ("role twice", changed(&[("role: back_pressure", "role: line_pressure")])),
        ("instrument twice", changed(&[("- name: supply", "- name: generator")])),
        ("no way to switch off", changed(&[("role: safe_state  ", "role: relay.safe  ")])),
        (
            "no heartbeat",
            changed(&[
                ("role: heartbeat", "role: relay.beat"),
                ("{command: B, reply: OK}", "{command: \"B {value}\", reply: OK}"),
            ]),
        ),
        ("no sensor for boost", changed(&[("  boost_sensor:", "  # boost_sensor:")])),
        (
            "a query that sets",
            changed(&[("tell: {command: \"VOLT {value:.3}\"}", "ask: {query: \"VOLT?\"}")]),
        ),
        (
            "two ways",
            changed(&[("ask: {query: \"MEAS:CURR?\"}", "ask: {query: \"MEAS:CURR?\"}\n    fixed: 1 A")]),
        ),
        ("no way", changed(&[("    ask: {query: \"MEAS:CURR?\"}\n", "")])),
        (
            "dialect of another",
            changed(&[("ask: {query: \"MEAS:CURR?\"}", "register: {function: 3, address: 0, kind: u16}")]),
        ),
        ("setting of another dialect", changed(&[("    serial: G-0001", "    unit_address: 5")])),
        (
            "a value that is not in the pattern",
            changed(&[(
                "estop={value} tripped={value}\", field: 2",
                "estop={value} tripped={value}\", field: 4",
            )]),
        ),
        (
            "a command without its value",
            changed(&[("command: \"VOLT {value:.3}\"", "command: \"VOLT 13.8\"")]),
        ),
        ("a unit of something else", changed(&[("    unit: A\n", "    unit: kPa\n")])),
        ("neither unit nor points", changed(&[("    unit: A\n", "")])),
        ("points that are one", changed(&[("{reads: 4.5, is: 300 psi}", "{reads: 0.5, is: 300 psi}")])),
        ("no range", changed(&[("    range: [-1 A, 40 A]\n", "")])),
        ("range the wrong way round", changed(&[("range: [-1 A, 40 A]", "range: [40 A, -1 A]")])),
        ("methanol", changed(&[("methanol_by_mass: 0 %", "methanol_by_mass: 44 %")])),
        ("gauge for absolute", changed(&[("ambient: 101.325 kPa abs", "ambient: 101.325 kPa")])),
        ("a date that is none", changed(&[("calibrated: 2026-01-15", "calibrated: 2026-02-30")])),
        ("no virtual bench", changed(&[("\nvirtual_bench:", "\nvirtual_bunch:")])),
        ("a port for nobody", changed(&[("port: virtual", "port: none")])),
        (
            "line break in a command",
            changed(&[("command: \"VOLT {value:.3}\"", "command: \"VOLT {value:.3}\\r\\nOUTP ON\"")]),
        ),
        ("nozzle twice", changed(&[("    - name: A\n", "    - name: A\n    - name: A\n")])),
    ];
    let read = |text: &str| rig_file::read(&Text::new("virtual.yaml", text)).map(|_| ());
    insta::assert_snapshot!(told(&cases, read));
}

#[test]
fn bad_settings_from_the_command_line() {
    let scenario =
        script::load_scenario(&house("scenarios/pump-and-nozzle.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let rig = virtual_rig();
    let mut out = String::new();
    for (name, value) in [
        ("dwel", "30 s"),
        ("dwell", "30"),
        ("dwell", "30 psi"),
        ("duties", "10 %, 120 %"),
        ("repeats", "2.5"),
        ("nozzle", "C"),
    ] {
        let sets = [(name.to_owned(), value.to_owned())];
        let problems = script::plan(&scenario, &rig, &sets, Seed(1)).expect_err(value);
        let places: Vec<String> = problems
            .0
            .iter()
            .map(|p| match &p.place {
                Some(place) => format!(
                    "line {}: {}; {}; {}",
                    place.line,
                    p.what,
                    p.expected.as_deref().unwrap_or("-"),
                    p.help.as_deref().unwrap_or("-")
                ),
                None => p.to_string(),
            })
            .collect();
        let _ = writeln!(out, "--set {name}={value}\n{}\n", places.join("\n"));
    }
    insta::assert_snapshot!(out);
}

/// Whatever a scenario asks for, the limits are never wider than the rig's, and what it asks beyond them is told.
#[test]
fn the_narrower_limit_counts_always() {
    let mut chance = Seed(11).stream("limits");
    let mark = Mark { line: 1, column: 1, width: 1 };
    let mut raises = 0;
    for _ in 0..1_000_000 {
        let mut draw = |low, high| uniform(&mut chance, low, high);
        let (low, high) = (draw(6.0, 12.0), draw(12.0, 18.0));
        let rig = Limits {
            line_pressure_kpa: draw(50.0, 3000.0),
            cup_mass_g: draw(100.0, 10_000.0),
            supply_v: (low, high),
            on_time_s: draw(1.0, 4000.0),
            duty_pct: (draw(0.0, 20.0), draw(20.0, 100.0)),
        };
        let upper =
            |value: f64, there: f64| (there > 0.3).then(|| AskedLimit { value, mark, text: String::new() });
        let asked = Asked {
            line_pressure_kpa: upper(draw(50.0, 3000.0), draw(0.0, 1.0)),
            cup_mass_g: upper(draw(100.0, 10_000.0), draw(0.0, 1.0)),
            supply_v: Some(((draw(6.0, 12.0), draw(12.0, 18.0)), mark, String::new())),
            on_time_s: upper(draw(1.0, 4000.0), draw(0.0, 1.0)),
            duty_pct: Some(((draw(0.0, 20.0), draw(20.0, 100.0)), mark, String::new())),
        };
        let both = effective(&rig, &asked);
        assert!(
            both.line_pressure_kpa <= rig.line_pressure_kpa
                && both.cup_mass_g <= rig.cup_mass_g
                && both.on_time_s <= rig.on_time_s
        );
        assert!(both.supply_v.0 >= rig.supply_v.0 && both.supply_v.1 <= rig.supply_v.1);
        assert!(both.duty_pct.0 >= rig.duty_pct.0 && both.duty_pct.1 <= rig.duty_pct.1);
        let asks_more = |asked: &Option<AskedLimit>, rig: f64| asked.as_ref().is_some_and(|a| a.value > rig);
        let more = [
            asks_more(&asked.line_pressure_kpa, rig.line_pressure_kpa),
            asks_more(&asked.cup_mass_g, rig.cup_mass_g),
            asks_more(&asked.on_time_s, rig.on_time_s),
        ];
        let told = raised(&rig, &asked);
        let named = |name| told.iter().any(|r| r.name == name);
        assert_eq!(more, ["line_pressure", "cup_mass", "on_time"].map(named));
        raises += told.len();
    }
    assert!(raises > 1_000_000, "the draws do raise limits");
}
