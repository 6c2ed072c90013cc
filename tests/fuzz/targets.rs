//! What any fuzzer can call: a function of bytes for each parser, and what must hold whatever the bytes are.
//!
//! In: bytes. Out: nothing; a broken promise is a panic. The promises: no panic of the parser, no number that is not
//! finite, no message with a control character or a hidden one, and no more problems than a person can read.

use super::{disk, lines};
use dutycup::door::calibration::Calibration;
use dutycup::door::chance::Seed;
use dutycup::door::fit::{store, wanted};
use dutycup::door::judge::baseline;
use dutycup::door::problem::Problems;
use dutycup::door::quantity::{self, Dimension, QuantityError};
use dutycup::door::reduce::{controller_csv, points, ramps_csv, table};
use dutycup::door::script::rig::Rig;
use dutycup::door::script::yaml::{self, Text};
use dutycup::door::script::{self, rig_file, scenario};
use std::fmt::Debug;
use std::path::{Path, PathBuf};

/// A parser under test.
pub(crate) struct Target {
    /// Its name.
    pub(crate) name: &'static str,
    /// Feeds it.
    pub(crate) run: fn(&[u8]),
    /// Real inputs, as files of the repository or as texts.
    pub(crate) seeds: &'static [&'static str],
}

impl Target {
    /// Its real inputs.
    pub(crate) fn inputs(&self) -> Vec<Vec<u8>> {
        let input = |seed: &&str| {
            if !file(seed).is_file() {
                assert!(!seed.ends_with(".yaml") && !seed.ends_with(".csv"), "{seed} is missing");
                return seed.as_bytes().to_vec();
            }
            let mut bytes = std::fs::read(file(seed)).unwrap_or_else(|e| panic!("{seed}: {e}"));
            // The first lines of a long record hold all there is to alter.
            bytes.truncate(64 << 10);
            bytes
        };
        self.seeds.iter().map(input).collect()
    }
}

const fn target(name: &'static str, run: fn(&[u8]), seeds: &'static [&'static str]) -> Target {
    Target { name, run, seeds }
}

/// Every target.
#[rustfmt::skip]
pub(crate) const TARGETS: &[Target] = &[
    target("yaml", yaml_tree, &["scenarios/controller.yaml", "tests/data/every-step.yaml"]),
    target("scenario", scenario_file, &["tests/data/every-step.yaml", "scenarios/pump-and-nozzle.yaml",
        "scenarios/road-trace.yaml", "scenarios/controller.yaml"]),
    target("rig", rig, &["tests/data/every-field.yaml", "rigs/by-hand.yaml", "rigs/serial-bench.yaml"]),
    target("virtual_bench", virtual_bench, &["rigs/virtual.yaml"]),
    target("calibration", calibration, &["results/example/calibration.yaml"]),
    target("baseline", baseline_file, &["tests/fuzz/seeds/baseline.yaml"]),
    target("run_file", disk::run_file, &["results/example/run.yaml"]),
    target("samples", disk::samples, &["results/example/samples.csv"]),
    target("events", disk::events, &["results/example/events.csv"]),
    target("sums", disk::sums, &["results/example/sums.csv"]),
    target("trace", disk::trace, &["tests/data/trace.csv", "scenarios/road-trace.csv"]),
    target("points", points_csv, &["tests/data/points.csv", "tests/fuzz/seeds/points.csv"]),
    target("ramps", ramps, &["tests/fuzz/seeds/ramps.csv"]),
    target("controller_points", controller_points, &["tests/fuzz/seeds/controller.csv"]),
    target("wanted", wanted_csv, &["boost_psi,rpm,flow_gal_h\n8.4,2000,5\n20,4000,9\n", "boost_kpa,2000,4000\n50,100,200\n"]),
    target("quantity", quantities, &["8.4 psi", "-12.5 degC", "14.7 psi abs", "10 gal/h", "1e3 mL/min", "30 %"]),
    target("number", lines::number, &["+1.5E+03", "#HFF", "9.91E37", "-12,5", "#B101", "MAX"]),
    target("text", lines::text, &["m{value} {unit} {stable}\nm+12.5 g stable", "S duty={value} on={value}\nS duty=1 on=0"]),
    target("template", lines::template, &["D {value:.2}", "OUTP {value:ON|OFF}", "{{{value}}}"]),
    target("scpi", lines::scpi, &["1,-2.5,\"a,\"\"b\",#15A,B;C", "-113,\"Undefined header\"", "MEAS? (@101,105:107)"]),
    target("block", lines::block, &["#15HELLO", "#0abc\n", "#800000003abc"]),
    target("modbus", lines::modbus, &["\u{11}\u{3}\u{4}@ \0\0\u{7f}", "\u{11}\u{6}\0\n\0\u{5}k["]),
    target("instruments", lines::instruments, &["m +123.4 g stable\r\nOK\r\nS duty=44.97 on=1 estop=0 tripped=0\r\n",
        "dutycup,virtual generator,G-0001,1.0\r\n1.0E+00,2.5,3\r\n0,\"No error\"\r\n", "\u{11}\u{3}\u{4}@ \0\0"]),
];

/// A file of the repository.
pub(crate) fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Refuses a message that could do something to a terminal, or that nobody could read to its end.
#[track_caller]
pub(crate) fn safe(message: &str) {
    let hidden = |c: &char| *c != '\n' && dutycup::door::problem::is_hidden(*c);
    if let Some(c) = message.chars().find(hidden) {
        panic!("{:?} in a message: {message:?}", c);
    }
    assert!(message.len() < 2 << 20, "a message of {} bytes", message.len());
}

/// The value, or none once its message has been looked at.
#[track_caller]
pub(crate) fn told<T>(result: Result<T, Problems>) -> Option<T> {
    match result {
        Ok(value) => Some(value),
        Err(problems) => {
            assert!(!problems.0.is_empty(), "an error without a problem");
            safe(&problems.to_string());
            None
        }
    }
}

/// Refuses a value that holds a number which is not finite; degrees of freedom may be infinite.
#[track_caller]
pub(crate) fn finite(value: &impl Debug) {
    let shown = format!("{value:?}").replace("dof: inf", "");
    let mut bare = String::with_capacity(shown.len());
    let (mut quoted, mut escaped) = (false, false);
    for c in shown.chars() {
        match c {
            _ if escaped => escaped = false,
            '\\' if quoted => escaped = true,
            '"' => quoted = !quoted,
            c if !quoted => bare.push(c),
            _ => {}
        }
    }
    let word = |w: &str| matches!(w, "NaN" | "inf");
    if let Some(bad) = bare.split(|c: char| !c.is_alphanumeric() && c != '_').find(|w| word(w)) {
        panic!("{bad} in {shown}");
    }
}

fn utf8(bytes: &[u8]) -> Option<Text> {
    let text = std::str::from_utf8(bytes).ok()?;
    Some(Text::new("input", text))
}

fn yaml_tree(bytes: &[u8]) {
    utf8(bytes).and_then(|text| told(yaml::parse(&text)));
}

/// The virtual rig, which scenarios are planned for.
fn virtual_rig() -> &'static Rig {
    static RIG: std::sync::OnceLock<Rig> = std::sync::OnceLock::new();
    RIG.get_or_init(|| script::load_rig(&file("rigs/virtual.yaml")).unwrap_or_else(|e| panic!("{e}")))
}

fn scenario_file(bytes: &[u8]) {
    let Some(text) = utf8(bytes) else { return };
    let Some(scenario) = told(scenario::read(text, file("scenarios"))) else {
        return;
    };
    if let Some(plan) = told(script::plan(&scenario, virtual_rig(), &[], Seed(1))) {
        finite(&plan);
        let (plan, rig) = (&plan.limits, &virtual_rig().limits);
        assert!(plan.line_pressure_kpa <= rig.line_pressure_kpa && plan.cup_mass_g <= rig.cup_mass_g);
        assert!(plan.on_time_s <= rig.on_time_s && plan.supply_v.1 <= rig.supply_v.1);
        assert!(plan.supply_v.0 >= rig.supply_v.0 && plan.duty_pct.1 <= rig.duty_pct.1);
    }
}

fn rig(bytes: &[u8]) {
    let Some(text) = utf8(bytes) else { return };
    if let Some(mut rig) = told(rig_file::read(&text)) {
        rig.source.clear();
        rig.virtual_bench = None;
        finite(&rig);
        for index in 0..rig.instruments.len() {
            told(dutycup::door::instrument::Instrument::new(index, &rig));
        }
    }
}

fn virtual_bench(bytes: &[u8]) {
    let Some(text) = utf8(bytes) else { return };
    let Some(rig) = told(rig_file::read(&text)) else {
        return;
    };
    if let Some(section) = &rig.virtual_bench {
        told(dutycup::door::virtual_bench::build(section, Seed(1)));
    }
}

fn calibration(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Some(calibration) = told(Calibration::read("input", text)) else {
        return;
    };
    let Some(model) = told(store::model(&calibration)) else {
        return;
    };
    for duty in [10.0, 50.0, 100.0] {
        match model.flow_at(&Default::default(), duty) {
            Ok(answer) => {
                assert!(answer.estimate.value.is_finite(), "{:?}", answer.estimate);
                let u = answer.estimate.u95;
                assert!(u.is_finite() && u >= 0.0, "U {u}");
            }
            Err(refusal) => safe(&refusal.to_string()),
        }
    }
}

fn baseline_file(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    if let Some(baseline) = told(baseline::text::read("input", text)) {
        finite(&baseline);
    }
}

/// A table, and what its header says it is.
fn table_of(bytes: &[u8]) -> Option<table::Table> {
    let _ = table::header_of(bytes);
    told(table::parse("input", bytes))
}

fn points_csv(bytes: &[u8]) {
    if let Some(points) = table_of(bytes).and_then(|t| told(points::read(&t))) {
        finite(&points);
    }
}

fn controller_points(bytes: &[u8]) {
    if let Some(points) = table_of(bytes).and_then(|t| told(controller_csv::from_table(&t))) {
        finite(&points);
    }
}

fn wanted_csv(bytes: &[u8]) {
    if let Some(wanted) = table_of(bytes).and_then(|t| told(wanted::from_table(&t))) {
        finite(&wanted);
    }
}

fn ramps(bytes: &[u8]) {
    let mut each = |ramp| finite(&ramp);
    told(ramps_csv::read_from(bytes, "input", &mut each));
}

fn quantities(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    for dimension in [
        Dimension::GaugePressure,
        Dimension::AbsolutePressure,
        Dimension::Flow,
        Dimension::Voltage,
        Dimension::Temperature,
        Dimension::Ratio,
        Dimension::Mass,
        Dimension::Time,
        Dimension::Speed,
        Dimension::Frequency,
    ] {
        for read in [quantity::parse, quantity::parse_difference] {
            match read(text, dimension) {
                Ok(value) => assert!(value.is_finite(), "{text:?} is {value}"),
                Err(e) => {
                    let help = e.help().unwrap_or_default();
                    safe(&dutycup::door::problem::safe_text(&e.what(text)));
                    safe(&dutycup::door::problem::safe_text(&help));
                    safe(&QuantityError::expected(dimension));
                }
            }
        }
    }
}
