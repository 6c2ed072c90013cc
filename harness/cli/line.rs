//! Switch, leak, dead-head and tank level: from a run or a file of ramps to verdicts, tables and a report.

use super::Failure;
use super::analysis::{Display, show, write_verdicts};
use super::besides::Besides;
use super::output::{data, write_report, write_text};
use crate::calibration::Calibration;
use crate::exit::Exit;
use crate::fit::published::nozzle_k;
use crate::fit::store;
use crate::judge::line_runs::{self, Coefficient, Outcome};
use crate::problem::Problem;
use crate::record::RunFolder;
use crate::report::page::{Block, Section};
use crate::report::pages::items::page;
use crate::report::pages::subject::Subject;
use crate::report::pages::switch_figures::loop_figure;
use crate::script::rig::Rig;
use crate::script::role::Role;
use crate::verdict::expect::Expectation;
use crate::verdict::item::Verdicts;
use crate::verdict::purpose::Purpose;
use std::path::Path;

/// What a run of one of these purposes came to, with its title.
pub(super) fn of_run(
    folder: &RunFolder,
    rig: &Rig,
    besides: &Besides,
) -> Result<(&'static str, Outcome), Failure> {
    Ok(match folder.run.purpose {
        Purpose::Switch => {
            let outcome =
                line_runs::switch_of_run(folder, rig, None, besides.coefficient, besides.release())?;
            ("Pressure switch", outcome)
        }
        Purpose::LeakDown => {
            let mut outcome = line_runs::leak_down(folder, rig, besides.coefficient)?;
            if folder.column(&Role::Solenoid).is_some() {
                outcome.subjects.extend(line_runs::solenoid(folder)?);
            }
            ("Leak-down", outcome)
        }
        Purpose::DeadHead => ("Dead-head pressure", line_runs::dead_head(folder, rig)?),
        Purpose::TankLevel => ("Tank level", line_runs::tank_level(folder, rig)?),
        other => return Err(Problem::new(format!("{other:?} is not about the line")).into()),
    })
}

/// Writes tables, verdicts and the report, and shows the summary. `said` is the result in plain words.
pub(super) fn write(
    subject: &Subject,
    outcome: &Outcome,
    expected: &[Expectation],
    said: &[String],
    folder: Option<&RunFolder>,
    out: &Path,
    display: &Display,
) -> Result<Exit, Failure> {
    for (name, text) in &outcome.files {
        write_text(&out.join(name), text)?;
    }
    let verdicts = Verdicts::judge(&outcome.subjects, expected);
    write_verdicts(out, subject, &verdicts)?;
    let files: Vec<&str> = outcome.files.iter().map(|(name, _)| *name).collect();
    let units = display.units.into();
    let mut page = page(subject, &verdicts, &outcome.findings, said, &files, units);
    let figure = outcome.switch.as_ref().and_then(|points| loop_figure(points, &verdicts.items, units));
    page.sections.extend(figure.map(|f| Section::new("Trip and reset").with(Block::figure(f))));
    let summary = page.summary.clone();
    write_report(out, page, folder, units)?;
    show(subject, &summary, &verdicts, out, display)?;
    Ok(verdicts.verdict.exit())
}

/// The same on the terminal alone.
pub(super) fn say(
    subject: &Subject,
    outcome: &Outcome,
    said: &[String],
    display: &Display,
) -> Result<Exit, Failure> {
    let verdicts = Verdicts::judge(&outcome.subjects, &[]);
    let mut page = page(subject, &verdicts, &outcome.findings, said, &[], display.units.into());
    page.summary.files.clear();
    show(subject, &page.summary, &verdicts, Path::new(""), display)?;
    if !display.json {
        said.iter().skip(1).for_each(|sentence| data(&format!("{sentence}\n")));
    }
    Ok(verdicts.verdict.exit())
}

/// Reads a calibration file.
pub(super) fn calibration(path: &Path) -> Result<Calibration, Failure> {
    let name = path.display().to_string();
    let text = crate::script::yaml::Text::read(path)?;
    Ok(Calibration::read(&name, &text.text)?)
}

/// The first nozzle's coefficient of a calibration, with its relative standard uncertainty.
pub(super) fn coefficient(path: &Path) -> Result<Coefficient, Failure> {
    let model = store::model(&calibration(path)?)?;
    let k = nozzle_k(&model, 0);
    Ok((k.value, k.u / k.value))
}
