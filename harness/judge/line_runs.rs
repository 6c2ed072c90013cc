//! Whole runs over switch, line and tank: from the folder to items, findings and tables.
//!
//! In: a run folder and its rig (or a file of ramps), and the nozzle's coefficient where an earlier calibration gives
//! it. Out: an [`Outcome`]. Never: a file written, or a problem with the record passed over.

use super::line;
use super::switch;
use crate::fluid::Fluid;
use crate::problem::fault::FaultCode;
use crate::problem::{Problem, Problems};
use crate::record::RunFolder;
use crate::reduce::dead_head::{self, DeadHead};
use crate::reduce::decay::{self, Decay, DecayTime};
use crate::reduce::finding::Finding;
use crate::reduce::gauge::Gauge;
use crate::reduce::instruments::Instruments;
use crate::reduce::leak;
use crate::reduce::level;
use crate::reduce::solenoid;
use crate::reduce::spans::{self, Span};
use crate::reduce::switch_cycles;
use crate::reduce::switch_faults;
use crate::reduce::switch_points::SwitchPoints;
use crate::reduce::switch_run;
use crate::script::rig::{Rig, SwitchSpec};
use crate::uncertainty::{Cause, Term, Uncertain};
use crate::verdict::catalogue::{Entry, LINE_DEAD_HEAD, LINE_LEAK, TANK_DRAWN_VOLUME};
use crate::verdict::subject::{Found, Subject};
use std::path::Path;

/// Kind of the spans in which the cup is weighed at rest.
const WEIGH: &str = "weigh";

/// A nozzle's coefficient, mL/min per sqrt(kPa), and its relative standard uncertainty.
pub type Coefficient = (f64, f64);

/// What a run came to.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// What was found, in order.
    pub subjects: Vec<Subject>,
    /// What a person should know.
    pub findings: Vec<Finding>,
    /// Tables: file name and text.
    pub files: Vec<(&'static str, String)>,
    /// Ramps and points of the switch, where there is one, for figures.
    pub switch: Option<SwitchPoints>,
}

/// The spans of some kinds.
fn gather(folder: &RunFolder, kinds: &[&str]) -> Result<Vec<Span>, Problems> {
    let mut found = Vec::new();
    spans::each(folder, kinds, &mut |span| found.push(span))?;
    Ok(found)
}

/// A run without the span that is looked for: a finding and an item without a value where a fault ended it early, else
/// a problem.
fn without(folder: &RunFolder, kind: &str, entry: &'static Entry) -> Result<Outcome, Problems> {
    let Some(finding) = early_end(folder) else {
        return Err(Problem::new(format!("the run has no span of kind {kind}"))
            .help("the scenario marks what the analysis is to look at")
            .into());
    };
    Ok(Outcome {
        subjects: vec![Subject::new(entry, Found::Missing(finding.what.clone()))],
        findings: vec![finding],
        ..Outcome::default()
    })
}

/// What ended a run early, where a fault did.
fn early_end(folder: &RunFolder) -> Option<Finding> {
    let fault = folder.run.fault.as_ref()?;
    let what = format!("the run was ended by {}: {}", fault.code, fault.seen);
    Some(if fault.code == FaultCode::NoPressure.name() {
        let cause = "a leak larger than the pump, a burst hose, a dry pump, or an open gauge; the pump was switched off";
        Finding::new("line.leak_larger_than_pump", what, cause)
    } else {
        Finding::new("run.ended_early", what, fault.help.clone())
    })
}

/// A run over a pressure switch.
///
/// # Errors
/// The record was altered, cannot be read, or holds no ramps.
pub fn switch_of_run(
    folder: &RunFolder,
    rig: &Rig,
    wanted: Option<&SwitchSpec>,
    coefficient: Option<Coefficient>,
    earlier: Option<&DecayTime>,
) -> Result<Outcome, Problems> {
    let points = switch_run::from_run(folder, rig)?;
    let decays = decays(folder)?;
    let mut outcome = switch(&points, wanted.or(rig.pair.switch.as_ref()));
    if !decays.is_empty() {
        outcome.subjects.extend(of_decays(&decays, coefficient));
    }
    if let (Some(now), Some(then)) = (decay::mean(&decays), earlier) {
        outcome.findings.extend(decay::compared(&now, then, decays.iter().any(|d| d.bends)));
    }
    if let Some(finding) = early_end(folder) {
        outcome.findings.retain(|f| f.id != "switch.no_rise");
        outcome.findings.insert(0, finding);
    }
    Ok(outcome)
}

/// The stops of the pump in a run.
fn decays(folder: &RunFolder) -> Result<Vec<Decay>, Problems> {
    let mut found = Vec::new();
    spans::each(folder, &[decay::KIND], &mut |span| found.push(decay::read(&span)))?;
    Ok(found)
}

/// The release time of a run over a pressure switch.
///
/// # Errors
/// The record was altered or cannot be read.
pub fn release(folder: &RunFolder) -> Result<Option<DecayTime>, Problems> {
    Ok(decay::mean(&decays(folder)?))
}

/// A file of ramps recorded elsewhere.
///
/// # Errors
/// Every problem of the file.
pub fn switch_of_file(path: &Path, gauge: Gauge, wanted: Option<&SwitchSpec>) -> Result<Outcome, Problems> {
    Ok(switch(&switch_run::from_csv(path, gauge)?, wanted))
}

/// Items, findings and the table of a switch.
#[must_use]
pub fn switch(points: &SwitchPoints, wanted: Option<&SwitchSpec>) -> Outcome {
    Outcome {
        subjects: switch::items(points, wanted),
        findings: switch_faults::findings(points, wanted),
        files: vec![("switch_cycles.csv", switch_cycles::to_csv(&points.ramps))],
        switch: Some(points.clone()),
    }
}

fn of_decays(decays: &[Decay], coefficient: Option<Coefficient>) -> Vec<Subject> {
    let mean = decay::mean(decays);
    let mut items = vec![line::release_time(decays, mean.as_ref())];
    if let Some((k, u)) = coefficient {
        items.push(line::compliance(decay::compliance(decays, k, u).as_ref()));
    }
    items
}

/// A leak-down.
///
/// # Errors
/// The record was altered, cannot be read, or holds nothing to look at.
pub fn leak_down(
    folder: &RunFolder,
    rig: &Rig,
    coefficient: Option<Coefficient>,
) -> Result<Outcome, Problems> {
    let found = gather(folder, &[leak::KIND, decay::KIND])?;
    let gauge = Gauge::of_rig(rig);
    let decays: Vec<Decay> = found.iter().filter(|s| s.kind == decay::KIND).map(decay::read).collect();
    let compliance = coefficient.and_then(|(k, u)| decay::compliance(&decays, k, u));
    let mut outcome = Outcome::default();
    for span in found.iter().filter(|s| s.kind == leak::KIND) {
        let read = leak::read(span, &gauge)
            .ok_or_else(|| Problem::new("the line pressure was not read while it was shut in"))?;
        outcome.subjects.push(line::leak(&read, compliance.as_ref()));
        outcome.findings.extend(read.findings());
    }
    if outcome.subjects.is_empty() {
        return without(folder, leak::KIND, &LINE_LEAK);
    }
    if !decays.is_empty() && coefficient.is_some() {
        outcome.subjects.push(line::compliance(compliance.as_ref()));
    }
    Ok(outcome)
}

/// A dead-head.
///
/// # Errors
/// The record was altered, cannot be read, or holds nothing to look at.
pub fn dead_head(folder: &RunFolder, rig: &Rig) -> Result<Outcome, Problems> {
    let found = gather(folder, &[dead_head::KIND])?;
    if found.is_empty() {
        return without(folder, dead_head::KIND, &LINE_DEAD_HEAD);
    }
    let read: DeadHead = dead_head::read(&found, &Gauge::of_rig(rig));
    let mut findings = Vec::new();
    if let Some(row) = read.highest().filter(|r| r.pressure_kpa.value <= r.pressure_kpa.u95) {
        findings.push(
            Finding::new(
                "line.leak_larger_than_pump",
                format!("no pressure builds up against the closed outlet: {:.1} kPa", row.pressure_kpa.value),
                "a leak that takes all the pump delivers, an outlet that did not close, or a pump that did not run",
            )
            .with("highest pressure", row.pressure_kpa.value, "kPa"),
        );
    }
    Ok(Outcome {
        subjects: vec![line::dead_head(&read)],
        findings,
        files: vec![("dead_head.csv", read.to_csv())],
        switch: None,
    })
}

/// A tank drawn down to its level switch. What was filled in comes from the span's value `filled_ml`, where stated.
///
/// # Errors
/// The record was altered, cannot be read, or holds nothing to look at.
pub fn tank_level(folder: &RunFolder, rig: &Rig) -> Result<Outcome, Problems> {
    let found = gather(folder, &[level::KIND, WEIGH])?;
    let Some(at) = found.iter().position(|s| s.kind == level::KIND) else {
        return without(folder, level::KIND, &TANK_DRAWN_VOLUME);
    };
    let weigh = |list: &[Span], last: bool| {
        let mut own = list.iter().filter(|s| s.kind == WEIGH).cloned();
        if last { own.next_back() } else { own.next() }
    };
    let (before, after) = (weigh(&found[..at], true), weigh(&found[at..], false));
    let known = Instruments::of_rig(rig);
    let read = level::read(&found[at], before.as_ref(), after.as_ref(), &known);
    let density = Fluid::new(known.methanol)
        .and_then(|f| f.density_kg_m3(known.water_degc.0, 0.0))
        .map_err(|e| Problem::new(format!("the density of the liquid is not known: {e}")))?;
    let filled = found[at].number("filled_ml").map(|ml| {
        let limits = found[at].number("filled_within_ml").unwrap_or(0.0);
        Uncertain::new(ml, vec![Term::limits(Cause::Filled, limits)])
    });
    let mut subjects = line::level(read.as_ref().map_err(|e| *e), filled.as_ref(), density.value);
    if let (Ok(level), Some(filled)) = (&read, &filled) {
        let flow = level.flow_g_s * 60_000.0 / density.value;
        let rest = level::remaining_ml(level, filled, density.value);
        let at = Uncertain::new(flow, vec![Term::known(Cause::Drain, 0.01 * flow)]);
        let left = level::minutes(&rest, &at);
        subjects.push(line::remaining_spray_time(left.as_ref(), &format!("{flow:.0} mL/min")));
    }
    Ok(Outcome { subjects, ..Outcome::default() })
}

/// The answers of a solenoid, from spans of kind `response`.
///
/// # Errors
/// The record was altered or cannot be read.
pub fn solenoid(folder: &RunFolder) -> Result<Vec<Subject>, Problems> {
    let found = gather(folder, &["response"])?;
    let answers: Vec<solenoid::Answer> = found.iter().flat_map(solenoid::read).collect();
    Ok(line::solenoid(&answers))
}
