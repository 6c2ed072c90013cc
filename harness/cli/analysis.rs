//! Everything after the recording: reduce, fit, judge, write, say. Shared by `run` and `analyse`.
//!
//! In: a run folder, or points taken by hand, with a rig. Out: the files of a calibration in a folder, and the summary
//! on the terminal. Never: a change of the record.

use super::besides::Besides;
use super::line;
use super::output::{data, data_as_is, write_report, write_text};
use super::{Failure, say};
use crate::exit::Exit;
use crate::fit::edges::Edges;
use crate::fit::facts::PairFacts;
use crate::fit::pair::{PairFit, fit};
use crate::fit::store::Origin;
use crate::judge::check_scale;
use crate::judge::line_runs::Outcome;
use crate::judge::pair::items;
use crate::problem::Problem;
use crate::record::RunFile;
use crate::record::run_file::{ClockKind, FileRecord};
use crate::reduce::Reduced;
use crate::reduce::check_scale::Check;
use crate::reduce::collections_csv;
use crate::reduce::finding::Finding;
use crate::report::figure_text::Units;
use crate::report::junit;
use crate::report::pages::pair::page;
use crate::report::pages::subject::Subject;
use crate::report::summary::Summary;
use crate::report::terminal::{self, Look};
use crate::report::verdicts_json;
use crate::report::words::Words;
use crate::verdict::catalogue::PAIR_FIT;
use crate::verdict::expect::Expectation;
use crate::verdict::item::Verdicts;
use crate::verdict::subject::{Found, Subject as Judged};
use clap::{Args, ValueEnum};
use std::io::IsTerminal as _;
use std::path::Path;

/// How results are shown.
#[derive(Args, Clone, Copy, Debug, Default)]
pub(super) struct Display {
    /// Units shown on the terminal and in the report; files are always metric.
    #[arg(long, value_enum, default_value_t)]
    pub(super) units: UnitChoice,
    /// Print `verdicts.json` on stdout instead of the summary.
    #[arg(long)]
    pub(super) json: bool,
    /// Print nothing; for commands that only want the files.
    #[arg(skip)]
    pub(super) quiet: bool,
}

/// Which units are displayed.
#[derive(ValueEnum, Clone, Copy, Debug, Default)]
pub(super) enum UnitChoice {
    /// psi, US gal/h, degF.
    Us,
    /// kPa, mL/min, degC.
    #[default]
    Metric,
}

impl From<UnitChoice> for Units {
    fn from(choice: UnitChoice) -> Self {
        match choice {
            UnitChoice::Us => Units::Us,
            UnitChoice::Metric => Units::Metric,
        }
    }
}

/// What a pair's analysis starts from.
pub(super) struct Source<'a> {
    /// What was tested, for report and calibration.
    pub(super) subject: Subject,
    /// The reduced data.
    pub(super) reduced: Reduced,
    /// Facts of the pair.
    pub(super) facts: PairFacts,
    /// What the scenario expects.
    pub(super) expected: Vec<Expectation>,
    /// Files it comes from, with their hashes.
    pub(super) files: Vec<FileRecord>,
    /// Wiring, in words.
    pub(super) wiring: Option<String>,
    /// When, RFC 3339.
    pub(super) written: String,
    /// The record it comes from; none for data taken elsewhere.
    pub(super) folder: Option<&'a crate::record::RunFolder>,
    /// Where results go.
    pub(super) out: &'a Path,
    /// What was given besides.
    pub(super) besides: &'a Besides,
}

/// Fits a pair and writes everything.
pub(super) fn pair(source: &Source<'_>, display: &Display) -> Result<Exit, Failure> {
    let out = source.out;
    let reduced = &source.reduced;
    write_text(
        &out.join("collections.csv"),
        &collections_csv::write(&reduced.collections, &reduced.systematics),
    )?;
    let fitted = match fit(&reduced.collections, &reduced.systematics, &source.facts) {
        Ok(fitted) => fitted.with_edges(Edges::new(&reduced.edges, &reduced.systematics)),
        Err(refusal) => return refused(source, &refusal.to_string()),
    };
    for (name, text) in fitted.tables().files() {
        write_text(&out.join(name), &text)?;
    }
    let sources = source.files.iter().filter_map(|f| Some((f.name.clone(), f.sha256.clone()?))).collect();
    let origin = Origin {
        program: concat!("dutycup ", env!("CARGO_PKG_VERSION")).into(),
        written: source.written.clone(),
        sources,
        wiring: source.wiring.clone(),
    };
    write_text(&out.join("calibration.yaml"), &fitted.calibration(&origin).write()?)?;
    write_text(&out.join("calibration.schema.json"), &format!("{:#}\n", crate::calibration::schema()))?;
    let (clogging, noticed) = source.besides.clogging(&fitted.model);
    let subjects = [items(&fitted), clogging].concat();
    let verdicts = Verdicts::judge(&subjects, &source.expected);
    write_verdicts(out, &source.subject, &verdicts)?;
    let summary = report(source, &fitted, &noticed, &verdicts, display)?;
    show(&source.subject, &summary, &verdicts, out, display)?;
    Ok(verdicts.verdict.exit())
}

/// Data that do not carry a fit are a result too: said, written, and the exit is that of bad input.
fn refused(source: &Source<'_>, why: &str) -> Result<Exit, Failure> {
    let fit = Judged::new(&PAIR_FIT, Found::Missing(why.to_owned()));
    write_verdicts(source.out, &source.subject, &Verdicts::judge(&[fit], &source.expected))?;
    Err(Problem::new(format!("these data do not carry a calibration: {why}"))
        .help(format!("the collections are in {}", source.out.join("collections.csv").display()))
        .into())
}

pub(super) fn write_verdicts(out: &Path, subject: &Subject, verdicts: &Verdicts) -> Result<(), Failure> {
    let bad = |e: &dyn std::fmt::Display| Failure::from(Problem::new(e.to_string()));
    write_text(&out.join("verdicts.json"), &verdicts_json::text(verdicts).map_err(|e| bad(&e))?)?;
    let run = junit::Run { name: Words::from(subject.method.as_str()), at: None, took: None };
    write_text(&out.join("junit.xml"), &junit::xml(verdicts, &run).map_err(|e| bad(&e))?)
}

fn report(
    source: &Source<'_>,
    fitted: &PairFit,
    noticed: &[Finding],
    verdicts: &Verdicts,
    display: &Display,
) -> Result<Summary, Failure> {
    let page = page(&source.subject, &source.reduced, fitted, noticed, verdicts, display.units.into());
    let summary = page.summary.clone();
    write_report(source.out, page, source.folder, display.units.into())?;
    Ok(summary)
}

/// The summary on stdout, or the verdicts as JSON.
pub(super) fn show(
    subject: &Subject,
    summary: &Summary,
    verdicts: &Verdicts,
    out: &Path,
    display: &Display,
) -> Result<(), Failure> {
    if display.quiet {
        return Ok(());
    }
    if display.json {
        let text = verdicts_json::text(verdicts).map_err(|e| Problem::new(e.to_string()))?;
        data(&text);
        return Ok(());
    }
    let variable = |name: &str| std::env::var(name).ok();
    let look = Look::of(
        std::io::stdout().is_terminal(),
        variable("NO_COLOR").as_deref(),
        variable("TERM").as_deref(),
        variable("COLUMNS").and_then(|c| c.parse().ok()),
    );
    let folder = Words::from(out.display().to_string());
    data_as_is(&terminal::summary(&Words::from(subject.title.as_str()), summary, &folder, look));
    Ok(())
}

/// What a check of scale and clock found, from its run folder.
pub(super) fn checked(dir: &Path) -> Result<Check, Failure> {
    let folder = crate::record::RunFolder::open(dir)?;
    let name = dir.join("rig.yaml").display().to_string();
    let rig = crate::script::rig_file::read(&crate::script::yaml::Text::new(name, folder.rig_text.as_str()))?;
    let check = crate::reduce::from_run(&folder, &rig)?.check;
    if check == Check::default() {
        let what = format!("{} holds no check of scale or clock", dir.display());
        return Err(Problem::new(what).expected("a run of scenarios/check-scale.yaml").into());
    }
    Ok(check)
}

/// Analyses a run folder into `out`, by its purpose.
pub(super) fn of_run(dir: &Path, out: &Path, besides: &Besides, display: &Display) -> Result<Exit, Failure> {
    use crate::verdict::purpose::Purpose;
    let folder = crate::record::RunFolder::open(dir)?;
    let name = dir.join("rig.yaml").display().to_string();
    let rig = crate::script::rig_file::read(&crate::script::yaml::Text::new(name, folder.rig_text.as_str()))?;
    let run = &folder.run;
    besides.fits(run.purpose)?;
    match run.purpose {
        Purpose::Pair | Purpose::DutyCurve => {
            let mut reduced = crate::reduce::from_run(&folder, &rig)?;
            if let Some(check) = &besides.checked {
                check.apply(&mut reduced.systematics);
            }
            let source = Source {
                subject: Subject::of_run("Pump and nozzle", run, &rig),
                reduced,
                facts: PairFacts::from_rig(&rig.pair, &rig.fluid),
                expected: expected(&folder)?,
                files: run.files.iter().filter(|f| f.name != "sums.csv").cloned().collect(),
                wiring: rig.pair.wiring.clone(),
                written: written(run),
                folder: Some(&folder),
                out,
                besides,
            };
            pair(&source, display)
        }
        Purpose::Switch | Purpose::LeakDown | Purpose::DeadHead | Purpose::TankLevel => {
            let (title, outcome) = line::of_run(&folder, &rig, besides)?;
            line::write(
                &Subject::of_run(title, run, &rig),
                &outcome,
                &expected(&folder)?,
                &[],
                Some(&folder),
                out,
                display,
            )
        }
        Purpose::CheckScale => {
            let reduced = crate::reduce::from_run(&folder, &rig)?;
            let outcome = Outcome {
                subjects: check_scale::items(&reduced.check),
                findings: reduced.findings,
                ..Outcome::default()
            };
            line::write(
                &Subject::of_run("Scale and clock", run, &rig),
                &outcome,
                &expected(&folder)?,
                &[],
                Some(&folder),
                out,
                display,
            )
        }
        Purpose::Controller => super::controller::of_run(&folder, &rig, &expected(&folder)?, out, display),
        Purpose::RoadTrace => super::road::of_run(&folder, &rig, &expected(&folder)?, out, display),
        Purpose::Record => {
            say(&format!("nothing was to be judged; the record is in {}", dir.display()));
            Ok(Exit::Pass)
        }
    }
}

/// The date of what is made from a run: its own, so that it can be made again; the virtual clock has none.
fn written(run: &RunFile) -> String {
    match run.clock {
        ClockKind::Virtual => "simulated".into(),
        ClockKind::Real => run.ended.clone().unwrap_or_else(|| run.started.clone()),
    }
}

/// What the run's scenario expected, as the record says.
fn expected(folder: &crate::record::RunFolder) -> Result<Vec<Expectation>, Failure> {
    let mut found = Vec::new();
    for event in folder.events()? {
        let event = event?;
        if let ("expect", Some(item)) = (event.kind.as_str(), event.get("item")) {
            found.push(Expectation::new(item, event.number("lower"), event.number("upper"))?);
        }
    }
    Ok(found)
}
