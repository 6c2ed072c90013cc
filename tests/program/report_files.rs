//! Files for others: the description of a run's tables, the report made again, manual pages.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn program(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(arguments)
        .output()
        .expect("the program starts")
}

fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join("report-files").join(name);
    let _ = std::fs::remove_dir_all(&dir);
    dir
}

/// A cell against a data type. Source: W3C, Metadata Vocabulary for Tabular Data, section 5.11; XML Schema 1.1 part 2,
/// sections 3.3.5 and 3.4.13.
fn fits(cell: &str, datatype: &str) -> bool {
    match datatype {
        _ if cell.is_empty() => true,
        "integer" => cell.parse::<i64>().is_ok(),
        "double" => cell.parse::<f64>().is_ok(),
        "string" => true,
        _ => false,
    }
}

/// Every column of every table of runs of several kinds is described, in order, and every cell is of its type.
#[test]
fn tables_are_what_their_description_says() {
    for scenario in ["pump-and-nozzle", "pressure-switch", "dead-head", "controller", "road-trace"] {
        let out = scratch(scenario);
        let run =
            program(&["run", &format!("scenarios/{scenario}.yaml"), "--out", &out.display().to_string()]);
        assert!(run.status.code().is_some_and(|c| c < 4), "{run:?}");
        let text = std::fs::read_to_string(out.join("csv-metadata.json")).expect("a description");
        let whole: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(whole["@context"], "http://www.w3.org/ns/csvw");
        let tables = whole["tables"].as_array().expect("tables");
        let files = std::fs::read_dir(&out).expect("a folder");
        let written = files
            .filter(|e| e.as_ref().is_ok_and(|e| e.path().extension().is_some_and(|x| x == "csv")))
            .count();
        assert_eq!(tables.len(), written, "{scenario}: a table a file");
        for table in tables {
            check(&out, table);
        }
    }
}

fn check(out: &Path, table: &Value) {
    let name = table["url"].as_str().expect("a name");
    let columns = table["tableSchema"]["columns"].as_array().expect("columns");
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_path(out.join(name)).expect("a table");
    let header: Vec<String> = reader.headers().expect("a header").iter().map(str::to_owned).collect();
    let told: Vec<&str> = columns.iter().filter_map(|c| c["name"].as_str()).collect();
    assert_eq!(told, header, "{name}");
    for (number, row) in reader.records().take(5000).enumerate() {
        for (cell, column) in row.expect("a row").iter().zip(columns) {
            let datatype = column["datatype"].as_str().expect("a type");
            assert!(fits(cell, datatype), "{name}, row {number}, {}: {cell:?}", column["name"]);
        }
    }
    for column in columns {
        let (name, unit) = (column["name"].as_str().expect("a name"), column["schema:unitText"].as_str());
        if name.ends_with("_kpa") {
            assert_eq!(unit, Some("kPa"));
        }
        assert_eq!(column["null"], "");
    }
}

/// `report` gives the same page from the folder alone, and touches nothing else there.
#[test]
fn a_report_is_made_again_from_the_folder_alone() {
    let out = scratch("again");
    let folder = out.display().to_string();
    let run = program(&["run", "scenarios/dead-head.yaml", "--out", &folder]);
    assert_eq!(run.status.code(), Some(0), "{run:?}");
    let read = || {
        let mut all: Vec<(PathBuf, Vec<u8>)> = std::fs::read_dir(&out)
            .expect("a folder")
            .map(|e| e.expect("an entry").path())
            .map(|p| (p.clone(), std::fs::read(p).expect("a file")))
            .collect();
        all.sort();
        all
    };
    let before = read();
    std::fs::remove_file(out.join("report.html")).expect("removed");
    let made = program(&["report", &folder]);
    assert_eq!(made.status.code(), Some(0), "{made:?}");
    assert_eq!(String::from_utf8_lossy(&made.stdout).trim(), out.join("report.html").display().to_string());
    assert!(before == read(), "byte for byte");
    let none = program(&["report", "no-such-run"]);
    assert_eq!(none.status.code(), Some(2));
    let said = String::from_utf8_lossy(&none.stderr).into_owned();
    assert!(said.contains("no-such-run is not a folder") && said.contains("a run folder"), "{said}");
}

/// Every command has a page, and `groff`, where it is installed, has nothing to complain about.
#[test]
fn manual_pages_are_sound() {
    let dir = scratch("manual");
    let made = program(&["manual", &dir.display().to_string()]);
    assert_eq!(made.status.code(), Some(0), "{made:?}");
    let pages: Vec<String> = String::from_utf8_lossy(&made.stdout).lines().map(str::to_owned).collect();
    let has = |name: &str| pages.iter().any(|p| p.ends_with(name));
    assert!(has("/dutycup.1") && has("/dutycup-run.1") && has("/dutycup-predict.1"), "{pages:?}");
    for page in pages {
        let text = std::fs::read_to_string(&page).expect("a page");
        assert!(text.contains(".TH dutycup") && text.contains(".SH NAME"), "{page}");
        if let Ok(groff) = Command::new("groff").args(["-Tutf8", "-ww", "-man", &page]).output() {
            assert!(groff.stderr.is_empty(), "{page}: {}", String::from_utf8_lossy(&groff.stderr));
        }
    }
}
