//! `dutycup compare BASELINE RUN`: did anything move? Exit 0 same, 1 changed, 3 undecided.
//!
//! Either side may be a CSV of controller points. A run that was not measured the way the baseline was is refused,
//! with the lines that differ.

use super::accept::load;
use super::analyse::fresh_folder;
use super::analysis::{Display, show, write_verdicts};
use super::output::write_text;
use super::{Failure, Outcome};
use crate::judge::baseline::tolerance::{self, Stated};
use crate::judge::baseline::{Baseline, compare, items, text};
use crate::judge::diagnosis::diagnose;
use crate::problem::Problem;
use crate::report::page::Fact;
use crate::report::page_html;
use crate::report::pages::compare::page;
use crate::report::pages::subject::Subject;
use clap::Args;
use std::path::{Path, PathBuf};

/// Options of `compare`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Baseline that `accept` wrote, or a CSV of controller points.
    baseline: PathBuf,
    /// Run folder, or a CSV of controller points.
    run: PathBuf,
    /// Folder for the results, new or empty; only the terminal if none is given.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Allowed difference: `"2 %"` (2 points of duty) for all outputs, `duty="2 %"` for one or one kind, `edge="3 kPa"`, `response="20 ms"`.
    #[arg(long, value_name = "[NAME=]AMOUNT")]
    tolerance: Vec<String>,
    #[command(flatten)]
    display: Display,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let old = read_baseline(&options.baseline)?;
    let new = load(&options.run)?;
    let stated: Vec<Stated> = options.tolerance.iter().map(|t| tolerance::read(t)).collect();
    let comparison = compare(&old, &new, &stated)?;
    let verdicts = items::verdicts(&comparison);
    let diagnoses = diagnose(&comparison);
    let subject = subject(options, &old, &new);
    let mut page = page(&subject, &comparison, &diagnoses, &verdicts, options.display.units.into());
    let out = match &options.out {
        Some(dir) => {
            let out = fresh_folder(dir)?;
            write_verdicts(&out, &subject, &verdicts)?;
            write_text(&out.join("report.html"), &page_html::render(&page))?;
            out
        }
        None => {
            page.summary.files.clear();
            PathBuf::new()
        }
    };
    show(&subject, &page.summary, &verdicts, &out, &options.display)?;
    Ok(verdicts.verdict.exit())
}

/// A baseline, or points in place of one.
fn read_baseline(path: &Path) -> Result<Baseline, Failure> {
    let name = path.display().to_string();
    if path.is_dir() {
        return Err(Problem::new(format!("{name} is a folder"))
            .expected("a baseline")
            .help(format!("make one first: dutycup accept {name} --as baseline.yaml"))
            .into());
    }
    let bytes =
        std::fs::read(path).map_err(|e| Problem::new(format!("{name}: {e}")).expected("a baseline"))?;
    let points = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    if points || crate::reduce::controller_csv::is_points(&crate::reduce::table::header_of(&bytes)) {
        return load(path);
    }
    Ok(text::read(&name, &String::from_utf8_lossy(&bytes))?)
}

fn subject(options: &Options, old: &Baseline, new: &Baseline) -> Subject {
    let (baseline, run) = (options.baseline.display().to_string(), options.run.display().to_string());
    let mut provenance = vec![Fact::new("software", concat!("dutycup ", env!("CARGO_PKG_VERSION")))];
    for (side, b) in [("baseline", old), ("run", new)] {
        provenance.extend(b.origin.sources.iter().map(|s| Fact::new(format!("{side} from"), s)));
        provenance.extend(b.origin.hashes.iter().map(|(n, h)| Fact::new(format!("SHA-256 of {n}"), h)));
    }
    Subject {
        title: "Controller against its baseline".into(),
        items: format!("{run} against {baseline}"),
        method: "comparison with a baseline".into(),
        id: run.clone(),
        hash: new
            .origin
            .hashes
            .first()
            .map_or_else(String::new, |(_, h)| format!("sha256 {}", h.get(..16).unwrap_or(h))),
        identity: vec![
            Fact::new("baseline", baseline),
            Fact::new("firmware of the baseline", old.firmware.clone().unwrap_or_default()),
            Fact::new("run", run),
        ],
        provenance,
    }
}
