//! The file of a baseline: text that a person can review, and that a version system shows line by line.
//!
//! In and out: YAML, one line an observation. Never: a field that is not known, or a number that is not finite.

use super::Baseline;
use super::origin::Origin;
use super::scatter::pooled;
use crate::problem::{Problem, Problems};
use crate::reduce::controller::{At, Kind, Observation};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Version of the format.
///
/// * 1: first.
pub const FORMAT: u32 = 1;
/// Longest file that is read, bytes.
pub const LENGTH_MAX: usize = 4 << 20;
/// Most names and values in it.
const PARTS_MAX: usize = 200_000;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Disk {
    format: u32,
    what: String,
    program: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    firmware: Option<String>,
    from: Vec<String>,
    #[serde(default)]
    sha256: BTreeMap<String, String>,
    #[serde(default)]
    shipped_tolerances: BTreeMap<String, String>,
    #[serde(default)]
    repeatability: Vec<PoolDisk>,
    #[serde(default)]
    instruments: Vec<String>,
    #[serde(default)]
    alike: Vec<String>,
    #[serde(skip_serializing, default)]
    observations: Vec<Line>,
}

/// Pooled repeatability, for the reader; it is worked out again from the observations.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct PoolDisk {
    output: String,
    quantity: String,
    sd: f64,
    dof: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    output: String,
    kind: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    boost_kpa: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    boost_v: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    rpm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    supply_v: Option<f64>,
    value: Option<f64>,
    unit: String,
    repeats: u32,
    squares: f64,
    u_common: f64,
    u_own: f64,
    #[serde(default, skip_serializing_if = "is_zero")]
    per_boost_v: f64,
    #[serde(default, skip_serializing_if = "is_zero")]
    per_supply_v: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    supply_read_v: Option<f64>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the form that serde asks for")]
fn is_zero(v: &f64) -> bool {
    v.abs() < f64::MIN_POSITIVE
}

/// A number as the file keeps it: seven significant digits.
fn kept(value: f64) -> f64 {
    format!("{value:.6e}").parse().unwrap_or(value)
}

fn line_of(o: &Observation) -> Line {
    Line {
        output: o.output.clone(),
        kind: o.kind.word(),
        boost_kpa: o.at.boost_kpa.map(kept),
        boost_v: o.at.boost_v.map(kept),
        rpm: o.at.rpm.map(kept),
        supply_v: o.at.supply_v.map(kept),
        value: o.value.map(kept),
        unit: o.unit.clone(),
        repeats: o.repeats,
        squares: kept(o.squares),
        u_common: kept(o.u_common),
        u_own: kept(o.u_own),
        per_boost_v: kept(o.per_boost_v),
        per_supply_v: kept(o.per_supply_v),
        supply_read_v: o.supply_read_v.map(kept),
    }
}

/// The text of a baseline.
///
/// # Errors
/// A number that is not finite.
pub fn write(baseline: &Baseline) -> Result<String, Problem> {
    let bad = |e: &dyn std::fmt::Display| Problem::new(format!("the baseline cannot be written: {e}"));
    let shipped = [
        ("duty outputs", "2 %"),
        ("on-off outputs", "any change of state"),
        ("analogue outputs", "0.1 V"),
        ("other outputs", "2 % of the largest value"),
        ("edges over boost", "2 kPa"),
        ("edges over rpm", "50 rpm"),
        ("other edges", "0.2 V"),
        ("responses", "30 ms"),
        ("power to output", "100 ms"),
    ];
    let pool = |((output, quantity), s): (super::scatter::Key, super::scatter::Scatter)| PoolDisk {
        output,
        quantity: quantity.word(),
        sd: kept(s.sd),
        dof: s.dof,
    };
    let disk = Disk {
        format: FORMAT,
        what: "controller baseline".into(),
        program: concat!("dutycup ", env!("CARGO_PKG_VERSION")).into(),
        firmware: baseline.firmware.clone(),
        from: baseline.origin.sources.clone(),
        sha256: baseline.origin.hashes.iter().cloned().collect(),
        shipped_tolerances: shipped.map(|(a, b)| (a.to_owned(), b.to_owned())).into_iter().collect(),
        repeatability: pooled(&baseline.observations).into_iter().map(pool).collect(),
        instruments: baseline.origin.instruments.clone(),
        alike: baseline.origin.alike.clone(),
        observations: Vec::new(),
    };
    let mut text = String::from(
        "# What a controller did when it was accepted. Written by `dutycup accept`, read by `dutycup compare`.\n\
         # squares: squared deviations of the repeats; u_common: standard uncertainty shared by the same instruments;\n\
         # u_own: resolution; per_boost_v, per_supply_v: how the value moves with its inputs.\n",
    );
    text += &serde_yaml::to_string(&disk).map_err(|e| bad(&e))?;
    text += "observations:\n";
    for o in &baseline.observations {
        let numbers = [o.value.unwrap_or(0.0), o.squares, o.u_common, o.u_own, o.per_boost_v, o.per_supply_v];
        if numbers.iter().any(|v| !v.is_finite()) {
            return Err(bad(&format!("{} holds a number that is not finite", o.words())));
        }
        // A JSON object is YAML in its flow form; one line each.
        let line = serde_json::to_string(&line_of(o)).map_err(|e| bad(&e))?;
        let _ = writeln!(text, "  - {line}");
    }
    Ok(text)
}

/// Reads a baseline; `name` is how messages name the file.
///
/// # Errors
/// What is wrong with it, with its place where that is known.
pub fn read(name: &str, text: &str) -> Result<Baseline, Problems> {
    if text.len() > LENGTH_MAX {
        return Err(Problem::new(format!("{name}: is longer than {} MiB", LENGTH_MAX >> 20)).into());
    }
    crate::script::yaml::check_parts(name, text, PARTS_MAX)?;
    let disk: Disk = serde_yaml::from_str(text).map_err(|e| {
        let at = e.location().map_or(String::new(), |l| format!(":{}:{}", l.line(), l.column()));
        Problem::new(format!("{name}{at}: is not a baseline: {e}"))
            .expected("a file that `dutycup accept` wrote, or a CSV of controller points")
    })?;
    if disk.format != FORMAT {
        let problem = Problem::new(format!("{name}: is of format {}", disk.format));
        return Err(problem
            .expected(format!("format {FORMAT}"))
            .help("accept the runs again with this version")
            .into());
    }
    let mut problems = Problems::default();
    let mut observations = Vec::new();
    for (i, line) in disk.observations.into_iter().enumerate() {
        let number = i + 1;
        match observation(line) {
            Ok(o) => observations.push(o),
            Err(what) => problems.push(Problem::new(format!("{name}: observation {number}: {what}"))),
        }
    }
    problems.into_result()?;
    if observations.is_empty() {
        return Err(Problem::new(format!("{name}: holds no observation")).into());
    }
    Ok(Baseline {
        origin: Origin {
            sources: disk.from,
            hashes: disk.sha256.into_iter().collect(),
            alike: disk.alike,
            instruments: disk.instruments,
        },
        firmware: disk.firmware,
        observations,
    })
}

fn observation(line: Line) -> Result<Observation, String> {
    let kind =
        Kind::parse(&line.kind).ok_or_else(|| format!("\"{}\" is not a kind of observation", line.kind))?;
    let positive = [line.squares, line.u_common, line.u_own, line.per_boost_v, line.per_supply_v];
    let given = [line.value, line.boost_kpa, line.boost_v, line.rpm, line.supply_v, line.supply_read_v];
    if positive.iter().any(|v| !(v.is_finite() && *v >= 0.0))
        || given.iter().flatten().any(|v| !v.is_finite())
    {
        return Err("holds a number that cannot be".into());
    }
    if line.value.is_some() && line.repeats == 0 {
        return Err("has a value and no repeat".into());
    }
    Ok(Observation {
        output: line.output,
        kind,
        at: At { boost_kpa: line.boost_kpa, boost_v: line.boost_v, rpm: line.rpm, supply_v: line.supply_v },
        value: line.value,
        unit: line.unit,
        repeats: line.repeats,
        squares: line.squares,
        u_common: line.u_common,
        u_own: line.u_own,
        per_boost_v: line.per_boost_v,
        per_supply_v: line.per_supply_v,
        supply_read_v: line.supply_read_v,
    })
}
