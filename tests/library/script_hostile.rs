//! Hostile values in every numeric field, and file names that lead elsewhere.

use dutycup::door::chance::Seed;
use dutycup::door::script::shape::rig::RIG;
use dutycup::door::script::shape::scenario::SCENARIO;
use dutycup::door::script::shape::{Kind, Shape};
use dutycup::door::script::yaml::{self, Body, Mark, Node, Text};
use dutycup::door::script::{self, rig_file, scenario};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data")
}

fn text(name: &str) -> Text {
    Text::read(&data().join(name)).unwrap_or_else(|e| panic!("{e}"))
}

/// Numeric fields of the table, as `shape.field`.
fn fields(shape: &'static Shape, seen: &mut BTreeSet<String>, met: &mut BTreeSet<&'static str>) {
    if !met.insert(shape.name) {
        return;
    }
    for field in shape.fields {
        each_kind(&field.kind, &mut |kind| match kind {
            Kind::Map(inner) | Kind::OneOf(inner) | Kind::Either(_, inner) => fields(inner, seen, met),
            kind if numeric(kind) => {
                seen.insert(format!("{}.{}", shape.name, field.name));
            }
            _ => {}
        });
    }
}

/// The kind and those inside it, down to the next map.
fn each_kind(kind: &'static Kind, visit: &mut dyn FnMut(&'static Kind)) {
    visit(kind);
    match kind {
        Kind::List(inner, _, _) | Kind::Named(inner) | Kind::Either(inner, _) => each_kind(inner, visit),
        _ => {}
    }
}

fn numeric(kind: &Kind) -> bool {
    matches!(
        kind,
        Kind::Quantity(..)
            | Kind::Difference(..)
            | Kind::Number(..)
            | Kind::Whole(..)
            | Kind::Of(..)
            | Kind::Settings
    )
}

/// Numeric values of a document with the field they belong to.
fn leaves(node: &Node, kind: &'static Kind, name: &str, out: &mut Vec<(String, Mark, String)>) {
    match (kind, &node.body) {
        (Kind::Map(shape) | Kind::OneOf(shape) | Kind::Either(_, shape), Body::Map(pairs)) => {
            for (key, value) in pairs {
                if let Some(field) = shape.field(&key.name) {
                    leaves(value, &field.kind, &format!("{}.{}", shape.name, field.name), out);
                }
            }
        }
        (Kind::Either(inner, _), _) => leaves(node, inner, name, out),
        (Kind::List(inner, _, _), Body::List(items)) => {
            items.iter().for_each(|n| leaves(n, inner, name, out))
        }
        (Kind::Named(inner), Body::Map(pairs)) => pairs.iter().for_each(|(_, n)| leaves(n, inner, name, out)),
        (Kind::Settings, Body::Map(pairs)) => {
            let values =
                pairs.iter().filter_map(|(_, n)| Some((name.to_owned(), n.mark, n.text()?.to_owned())));
            out.extend(values);
        }
        (kind, Body::Scalar(text, _)) if numeric(kind) => {
            out.push((name.to_owned(), node.mark, text.clone()))
        }
        _ => {}
    }
}

/// The document with one value replaced.
fn with(text: &Text, mark: Mark, value: &str) -> Text {
    let lines: Vec<String> = text
        .text
        .lines()
        .enumerate()
        .map(|(i, line)| {
            if i + 1 != mark.line as usize {
                return line.to_owned();
            }
            let head: String = line.chars().take(mark.column as usize - 1).collect();
            let tail: String = line.chars().skip((mark.column + mark.width) as usize - 1).collect();
            format!("{head}{value}{tail}")
        })
        .collect();
    Text::new("bad.yaml", lines.join("\n"))
}

const NUMBERS: &[&str] = &[
    ".nan",
    ".NaN",
    "nan",
    ".inf",
    "-.inf",
    "inf",
    "Infinity",
    "1e999",
    "-1e999",
    "1e-999",
    "0x7f",
    "010",
    "0o14",
    "0b11",
    "1_000",
    "1:30",
    "190:20:30",
    "1,5",
    "1.234,5",
    "9007199254740993",
    "1e16",
    "\"\"",
    "~",
    "null",
    "true",
    "[]",
    "{}",
    "5e",
    "--5",
    "+-5",
    "\u{ff15}",
    "5\u{a0}5",
];

fn every_value(root: &'static Shape, text: &Text, read: &dyn Fn(Text) -> bool) -> BTreeSet<String> {
    static ROOT_RIG: Kind = Kind::Map(&RIG);
    static ROOT_SCENARIO: Kind = Kind::Map(&SCENARIO);
    let kind = if std::ptr::eq(root, &RIG) { &ROOT_RIG } else { &ROOT_SCENARIO };
    let tree = yaml::parse(text).unwrap_or_else(|e| panic!("{e}"));
    assert!(read(text.clone()), "the document itself is good");
    let (mut values, mut tried) = (Vec::new(), 0);
    leaves(&tree, kind, root.name, &mut values);
    for (name, mark, written) in &values {
        let unit = written.trim_start_matches(|c: char| !c.is_ascii_alphabetic() && c != '%');
        for number in NUMBERS {
            for bad in [(*number).to_owned(), format!("{number} {unit}")] {
                // A bare value is not a hostile one where that is what the field holds.
                assert!(!read(with(text, *mark, &bad)), "{name} at {mark:?} takes {bad}");
                tried += 1;
            }
        }
    }
    assert!(tried > 3000, "{}: {tried} hostile values tried", root.name);
    values.into_iter().map(|(name, _, _)| name).collect()
}

#[test]
fn no_numeric_field_takes_a_hostile_number() {
    check(&RIG, "every-field.yaml", &|text| rig_file::read(&text).is_ok());
    check(&SCENARIO, "every-step.yaml", &|text| scenario::read(text, data()).is_ok());
}

fn check(root: &'static Shape, name: &str, read: &dyn Fn(Text) -> bool) {
    let covered = every_value(root, &text(name), read);
    let mut all = BTreeSet::new();
    fields(root, &mut all, &mut BTreeSet::new());
    let missed: Vec<&String> = all.difference(&covered).collect();
    assert!(missed.is_empty(), "{name} does not hold {missed:?}");
    assert!(all.len() > 25, "{} numeric fields", all.len());
}

/// Every default, range and example of the tables is itself good.
#[test]
fn every_step_can_be_planned() {
    let scenario = script::load_scenario(&data().join("every-step.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let rigs = Path::new(env!("CARGO_MANIFEST_DIR")).join("rigs/virtual.yaml");
    let rig = script::load_rig(&rigs).unwrap_or_else(|e| panic!("{e}"));
    let plan = script::plan(&scenario, &rig, &[], Seed(1)).unwrap_or_else(|e| panic!("{e}"));
    assert!((plan.limits.line_pressure_kpa - 200.0 * 6.894_757_293_168_361).abs() < 1e-9);
    insta::assert_snapshot!(
        plan.steps.iter().map(|s| format!("{} {:?}", s.id, s.op)).collect::<Vec<_>>().join("\n")
    );
}

/// Whether a scenario may replay the file of this name below `folder`.
fn replays(folder: &Path, name: &str) -> Result<(), String> {
    let name = name.escape_default().to_string().replace("\\'", "'");
    let text =
        format!("format: 1\nscenario: try\npurpose: record\nsteps:\n  - replay: {{file: \"{name}\"}}\n");
    scenario::read(Text::new("try.yaml", text), folder.to_path_buf()).map(|_| ()).map_err(|e| e.to_string())
}

#[test]
fn no_file_outside_the_folder_is_opened() {
    let dir = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
    let make = || -> std::io::Result<()> {
        let trace = "time_s,boost_kpa,rpm\n0,0,1000\n1,50,3000\n";
        std::fs::create_dir_all(dir.path().join("inside/sub"))?;
        std::fs::create_dir(dir.path().join("outside"))?;
        for name in ["inside/good.csv", "inside/sub/good.csv", "inside/with blank.csv", "outside/secret.csv"]
        {
            std::fs::write(dir.path().join(name), trace)?;
        }
        let link = |to: &str, at: &str| std::os::unix::fs::symlink(to, dir.path().join("inside").join(at));
        link("../outside/secret.csv", "link.csv")?;
        link("good.csv", "near.csv")?;
        link("../outside", "linked")?;
        link("sub", "linked-sub")?;
        link("loop", "loop")?;
        rustix::fs::mknodat(
            rustix::fs::CWD,
            dir.path().join("inside/pipe.csv"),
            rustix::fs::FileType::Fifo,
            rustix::fs::Mode::RWXU,
            0,
        )?;
        Ok(())
    };
    make().unwrap_or_else(|e| panic!("{e}"));
    let inside = dir.path().join("inside");
    for good in ["good.csv", "sub/good.csv", "with blank.csv"] {
        assert_eq!(replays(&inside, good), Ok(()), "{good}");
    }
    let absolute = dir.path().join("outside/secret.csv").display().to_string();
    let long = format!("{}.csv", "x".repeat(250));
    let bad = [
        "../outside/secret.csv",
        "sub/../good.csv",
        "sub/../../outside/secret.csv",
        "./good.csv",
        "sub/./good.csv",
        "..",
        ".",
        "",
        "/etc/passwd",
        "/proc/self/fd/0",
        "/dev/zero",
        absolute.as_str(),
        "//good.csv",
        "sub//good.csv",
        "good.csv/",
        "sub/",
        "~/good.csv",
        "~",
        "link.csv",
        "near.csv",
        "linked/secret.csv",
        "linked-sub/good.csv",
        "loop",
        "loop/good.csv",
        "pipe.csv",
        "sub",
        "good.csv/x",
        "file:good.csv",
        "http://example.org/x.csv",
        "C:good.csv",
        "\\\\?\\good.csv",
        "sub\\good.csv",
        "\u{ff0e}\u{ff0e}/outside/secret.csv",
        "\u{2024}\u{2024}/outside/secret.csv",
        "good.csv\u{0}",
        "good\ncsv",
        "CON",
        "none.csv",
        "$HOME/good.csv",
        "%2e%2e/outside/secret.csv",
        "good.csv ",
        long.as_str(),
    ];
    assert!(bad.len() >= 40);
    for name in bad {
        let said = replays(&inside, name).expect_err(name);
        assert!(!said.contains("1000"), "{name}: nothing of a file is shown: {said}");
    }
}

/// A folder swapped for a link again and again never lets a reader out.
#[test]
fn a_swapped_folder_does_not_lead_outside() {
    let dir = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
    let at = |name: &str| dir.path().join(name);
    let make = || -> std::io::Result<()> {
        std::fs::create_dir_all(at("inside/sub"))?;
        std::fs::create_dir(at("outside"))?;
        std::fs::write(at("inside/sub/trace.csv"), "time_s,boost_kpa,rpm\n0,0,1000\n1,50,3000\n")?;
        std::fs::write(at("outside/trace.csv"), "nothing of a trace\n")?;
        std::os::unix::fs::symlink("../outside", at("inside/link"))
    };
    make().unwrap_or_else(|e| panic!("{e}"));
    let stop = std::sync::atomic::AtomicBool::new(false);
    let (mut read, mut refused) = (0, 0);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let swap = rustix::fs::RenameFlags::EXCHANGE;
            while !stop.load(std::sync::atomic::Ordering::Relaxed) {
                let cwd = rustix::fs::CWD;
                if rustix::fs::renameat_with(cwd, at("inside/sub"), cwd, at("inside/link"), swap).is_err() {
                    break;
                }
            }
        });
        for _ in 0..10_000 {
            match replays(&at("inside"), "sub/trace.csv") {
                Ok(()) => read += 1,
                Err(said) => {
                    assert!(!said.contains("columns"), "the file outside was read: {said}");
                    refused += 1;
                }
            }
        }
        stop.store(true, std::sync::atomic::Ordering::Relaxed);
    });
    println!("{read} times read, {refused} times refused");
    assert!(read > 0, "the file inside can be read");
}

#[test]
fn bad_traces_say_where() {
    let dir = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
    let mut told = String::new();
    for (name, text) in [
        ("no header", "0,0,1000\n1,2,3\n"),
        ("no unit", "time_s,boost,rpm\n0,0,1000\n"),
        ("one row", "time_s,boost_psi,rpm\n0,0,1000\n"),
        ("nothing", ""),
        (
            "bad numbers",
            "time_s,boost_psi,rpm\n0,0,1000\n1,.nan,1000\n2,5,1e999\n3,5\n4,\"5,5\",1000\n5,5,0x10\n",
        ),
        ("time stands still", "time_s,boost_psi,rpm\n0,0,1000\n0,1,1000\n-1,1,1000\n"),
        ("out of range", "time_s,boost_psi,rpm\n0,0,1000\n1,5000,1000\n2,5,90000\n"),
    ] {
        std::fs::write(dir.path().join("t.csv"), text).unwrap_or_else(|e| panic!("{e}"));
        let said = replays(dir.path(), "t.csv").expect_err(name);
        told += &format!("--- {name}\n{said}\n\n");
    }
    insta::assert_snapshot!(told);
}
