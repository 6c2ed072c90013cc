//! What the columns of a run's tables are: `csv-metadata.json`, for programs that read the CSV files.
//!
//! In: the folder. Out: table descriptions in the metadata vocabulary of the W3C (Metadata Vocabulary for Tabular Data,
//! 17 December 2015): columns, data types, units, and that an empty cell is missing. Never: a column that is not in the
//! file.

use serde_json::{Value, json};
use std::path::Path;

/// Name of the description, as the standard wants it beside the tables (Model for Tabular Data, section 5.3).
pub const FILE: &str = "csv-metadata.json";

/// Endings of column names, with the unit they stand for.
const UNITS: [(&str, &str); 16] = [
    ("_kpa_s", "kPa/s"),
    ("_ml_min", "mL/min"),
    ("_g_s", "g/s"),
    ("_kpa", "kPa"),
    ("_psi", "psi"),
    ("_bar", "bar"),
    ("_pct", "%"),
    ("_degc", "degC"),
    ("_ms", "ms"),
    ("_ml", "mL"),
    ("_hz", "Hz"),
    ("_s", "s"),
    ("_v", "V"),
    ("_a", "A"),
    ("_g", "g"),
    ("rpm", "rpm"),
];
/// Columns of words.
const WORDS: [&str; 16] = [
    "kind",
    "detail",
    "file",
    "crc32c",
    "nozzle",
    "basis",
    "void",
    "note",
    "reachable",
    "direction",
    "output",
    "unit",
    "condition",
    "ramp",
    "input",
    "what",
];
/// Columns of counts.
const COUNTS: [&str; 6] = ["step", "repeat", "bytes", "bounces", "used", "n"];

/// The description of every CSV file in a folder, as JSON.
///
/// # Errors
/// A file or the folder cannot be read.
pub fn describe(dir: &Path) -> std::io::Result<String> {
    let mut names: Vec<String> = std::fs::read_dir(dir)?
        .filter_map(|entry| Some(entry.ok()?.file_name().to_string_lossy().into_owned()))
        .filter(|name| name.ends_with(".csv"))
        .collect();
    names.sort();
    let mut tables = Vec::new();
    for name in names {
        let (columns, words) = columns(&dir.join(&name))?;
        let columns: Vec<Value> = columns.iter().zip(words).map(|(c, words)| column(c, words)).collect();
        tables.push(json!({"url": name, "tableSchema": {"columns": columns}}));
    }
    let whole = json!({
        "@context": "http://www.w3.org/ns/csvw",
        "dialect": {"encoding": "utf-8", "header": true, "delimiter": ",", "doubleQuote": true},
        "tables": tables,
    });
    Ok(format!("{whole:#}\n"))
}

/// Column names, and whether each holds a value that is not a number.
fn columns(path: &Path) -> std::io::Result<(Vec<String>, Vec<bool>)> {
    let bad = |e: csv::Error| std::io::Error::other(e.to_string());
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_path(path).map_err(bad)?;
    let names: Vec<String> = reader.headers().map_err(bad)?.iter().map(str::to_owned).collect();
    let mut words: Vec<bool> = names.iter().map(|n| WORDS.contains(&n.as_str())).collect();
    // A column that no list knows is told by what it holds.
    // The record's own samples are numbers throughout.
    let samples = path.file_name().is_some_and(|n| n == "samples.csv");
    let unknown: Vec<usize> = (0..if samples { 0 } else { names.len() })
        .filter(|i| !words[*i] && unit(&names[*i]).is_none())
        .collect();
    if !unknown.is_empty() {
        for row in reader.records() {
            let row = row.map_err(bad)?;
            for i in &unknown {
                words[*i] |= row.get(*i).is_some_and(|c| !c.is_empty() && c.parse::<f64>().is_err());
            }
        }
    }
    Ok((names, words))
}

fn unit(name: &str) -> Option<&'static str> {
    UNITS.iter().find(|(end, _)| name.ends_with(end)).map(|(_, unit)| *unit)
}

fn column(name: &str, words: bool) -> Value {
    let datatype = match (words, COUNTS.contains(&name)) {
        (true, _) => "string",
        (false, true) => "integer",
        (false, false) => "double",
    };
    let mut column = json!({"name": name, "titles": name, "datatype": datatype, "null": ""});
    if let (false, Some(unit)) = (words, unit(name)) {
        column["schema:unitText"] = unit.into();
    }
    column
}
