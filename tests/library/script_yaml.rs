//! Hostile YAML: refused quickly, in little memory, at a place.

use dutycup::door::script::yaml::{self, Text};
use dutycup::door::script::{rig_file, scenario};
use std::path::PathBuf;

fn refusal(text: &str) -> String {
    let text = Text::new("bad.yaml", text);
    let problems = yaml::parse(&text).err().unwrap_or_else(|| panic!("taken: {:.40}", text.text));
    let shown = problems.to_string();
    assert!(shown.len() < 64 * 1024, "a message of {} bytes", shown.len());
    assert!(rig_file::read(&text).is_err() && scenario::read(text, PathBuf::from(".")).is_err());
    problems.0.last().map_or_else(String::new, |p| p.what.clone())
}

#[test]
fn bombs_are_refused() {
    let laughs = (1..9).fold("a0: &a0 [x, x]\n".to_owned(), |text, i| {
        text + &format!("a{i}: &a{i} [{}]\n", vec![format!("*a{}", i - 1); 9].join(", "))
    });
    let lines = |n: usize, line: &str| line.repeat(n);
    let deep: String = (0..60).map(|i| format!("{}a:\n", "  ".repeat(i))).collect();
    let cases: &[(&str, String, &str)] = &[
        ("nine to the ninth", laughs, "an anchor (&) is not allowed here"),
        (
            "a list in a list, 200,000 times, in a line",
            "[".repeat(200_000),
            "bad.yaml:1: a line longer than 4096 bytes",
        ),
        ("the same over lines", lines(40_000, "[\n"), "nested more than 32 deep"),
        (
            "maps in maps, 50,000 times, in a line",
            "{a: ".repeat(50_000),
            "bad.yaml:1: a line longer than 4096 bytes",
        ),
        ("the same over lines", lines(20_000, "{a:\n "), "nested more than 32 deep"),
        ("lists by dashes", "- ".repeat(2000), "nested more than 32 deep"),
        ("complex keys", "? ".repeat(2000), "a list or map stands where a name is expected"),
        ("deep by indenting", deep, "nested more than 32 deep"),
        (
            "a million names",
            (0..1_000_000).map(|i| format!("k{i}: 1\n")).collect(),
            "bad.yaml: longer than 1048576 bytes",
        ),
        (
            "100,000 names",
            (0..100_000).map(|i| format!("k{i}: 1\n")).collect(),
            "bad.yaml: more than 50000 commas, colons and brackets",
        ),
        ("2,000 names", (0..2000).map(|i| format!("k{i}: 1\n")).collect(), "more than 1000 names in one map"),
        (
            "200,000 nested lists over lines",
            lines(200_000, "[\n"),
            "bad.yaml: more than 50000 commas, colons and brackets",
        ),
        (
            "a list in brackets of 300,000",
            "[".to_owned() + &lines(300_000, "a,\n"),
            "bad.yaml: more than 50000 commas, colons and brackets",
        ),
        (
            "49,000 in brackets",
            "[".to_owned() + &lines(49_000, "a,\n"),
            "not YAML: while parsing a node, did not find expected node content",
        ),
        ("100,000 items", lines(100_000, "- x\n"), "more than 50000 values"),
        ("a text of 100 MB", "x".repeat(100_000_000), "bad.yaml: longer than 1048576 bytes"),
        ("a text of 900 KB", lines(9_000, &("x".repeat(99) + "\n")), "a text of 899999 bytes; at most 4096"),
        ("merge keys", lines(1000, "<<: {a: 1}\n"), "a merge key is not allowed here"),
        ("an anchor on itself", "&a [*a]\n".to_owned(), "an anchor (&) is not allowed here"),
        ("aliases", lines(20_000, "- *a\n"), "not YAML: while parsing node, found unknown anchor"),
        ("a tag", "a: !!python/object:os.system x\n".to_owned(), "a tag (!) is not allowed here"),
        ("two documents", "a: 1\n---\nb: 2\n".to_owned(), "a second document begins here"),
        (
            "directives",
            lines(100_000, "%TAG ! x\n"),
            "not YAML: the TAG directive must only be given at most once per handle in the same document",
        ),
        (
            "an open quote",
            "a: \"x\n".to_owned() + &lines(100_000, " y\n"),
            "not YAML: while scanning a quoted scalar, found unexpected end of stream",
        ),
        ("nothing", String::new(), "bad.yaml: nothing in it"),
        ("only comments", lines(100_000, "# x\n"), "bad.yaml: nothing in it"),
    ];
    for (name, text, expected) in cases {
        assert_eq!(refusal(text), *expected, "{name}");
    }
}

#[test]
fn a_flood_of_problems_is_cut() {
    let twice: String = (0..400).map(|_| "a: 1\n").collect();
    let problems = yaml::parse(&Text::new("bad.yaml", twice)).expect_err("names twice");
    assert_eq!(problems.0.len(), yaml::PROBLEMS_MAX);
    let unknown: String = (0..900).map(|i| format!("k{i}: 1\n")).collect();
    let problems = rig_file::read(&Text::new("bad.yaml", unknown)).expect_err("unknown names");
    assert_eq!(problems.0.len(), yaml::PROBLEMS_MAX);
}

#[test]
fn places_count_characters_not_bytes() {
    let text = Text::new("t.yaml", "a: [\u{e9}\u{e9}\u{1f600}, {b: 8.4 psii}]\n'c': |\n  two\n  lines\n");
    let root = yaml::parse(&text).unwrap_or_else(|e| panic!("{e}"));
    let node = root.get("a").and_then(|a| match &a.body {
        yaml::Body::List(items) => items.get(1).and_then(|item| item.get("b")),
        _ => None,
    });
    let mark = node.map(|n| n.mark);
    assert_eq!(mark, Some(yaml::Mark { line: 1, column: 14, width: 8 }));
    assert_eq!(root.get("c").and_then(yaml::Node::text), Some("two\nlines\n"));
}

#[test]
fn files_are_read_within_bounds() {
    let dir = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
    let said = |name: &str, bytes: &[u8]| {
        let path = dir.path().join(name);
        std::fs::write(&path, bytes).unwrap_or_else(|e| panic!("{e}"));
        let problems = Text::read(&path).expect_err(name).to_string();
        problems.replace(&dir.path().display().to_string(), "DIR")
    };
    assert_eq!(
        said("long.yaml", &vec![b' '; (1 << 20) + 1]),
        "DIR/long.yaml: longer than 1048576 bytes\n1 problem"
    );
    assert_eq!(
        said("latin.yaml", b"a: 1\nb: \xe9\n"),
        "DIR/latin.yaml: not UTF-8 text, in line 2\n1 problem"
    );
    assert!(Text::read(&dir.path().join("none.yaml")).is_err());
    assert!(Text::read(dir.path()).is_err(), "a folder is no file");
    let endless = Text::read(std::path::Path::new("/dev/zero")).expect_err("endless").to_string();
    assert_eq!(endless, "/dev/zero: longer than 1048576 bytes\n1 problem");
}
