//! A road trace: from a run to the table over time, volume and minutes a tank.

use super::Failure;
use super::analysis::{Display, show, write_verdicts};
use super::output::{write_report, write_text};
use crate::exit::Exit;
use crate::record::RunFolder;
use crate::report::pages::road::page;
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
    let road = crate::reduce::road::from_run(folder, rig)?;
    let subject = Subject::of_run("Road trace", &folder.run, rig);
    let verdicts = Verdicts::judge(&crate::judge::road::items(&road), expected);
    write_text(&out.join("road.csv"), &road.csv)?;
    write_verdicts(out, &subject, &verdicts)?;
    let page = page(&subject, &road, &verdicts, display.units.into());
    let summary = page.summary.clone();
    write_report(out, page, Some(folder), display.units.into())?;
    show(&subject, &summary, &verdicts, out, display)?;
    Ok(verdicts.verdict.exit())
}
