//! A controller's run: from the record to its observations, verdicts and a report.

use super::Failure;
use super::analysis::{Display, show, write_verdicts};
use super::output::{write_report, write_text};
use crate::exit::Exit;
use crate::judge::controller::{csv, items};
use crate::record::RunFolder;
use crate::report::pages::compare::controller_page;
use crate::report::pages::subject::Subject;
use crate::script::rig::Rig;
use crate::verdict::expect::Expectation;
use crate::verdict::item::Verdicts;
use std::path::Path;

/// Writes everything about a run of this purpose.
pub(super) fn of_run(
    folder: &RunFolder,
    rig: &Rig,
    expected: &[Expectation],
    out: &Path,
    display: &Display,
) -> Result<Exit, Failure> {
    let observations = crate::reduce::controller_run::from_run(folder, rig)?;
    let subject = Subject::of_run("Controller", &folder.run, rig);
    let verdicts = Verdicts::judge(&items(&observations), expected);
    write_text(&out.join("observations.csv"), &csv(&observations))?;
    write_verdicts(out, &subject, &verdicts)?;
    let page = controller_page(&subject, &observations, &verdicts, display.units.into());
    let summary = page.summary.clone();
    write_report(out, page, Some(folder), display.units.into())?;
    show(&subject, &summary, &verdicts, out, display)?;
    Ok(verdicts.verdict.exit())
}
