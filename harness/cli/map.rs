//! `dutycup map CALIBRATION RUN`: the flow that each point of a controller delivers, its boost included.
//!
//! Exit 3 where some point has no flow: the reason stands beside it in the table.

use super::accept::{load, of_folder};
use super::analyse::fresh_folder;
use super::analysis::{Display, show};
use super::output::{data, write_text};
use super::{Failure, Outcome, line};
use crate::exit::Exit;
use crate::fit::ask::Ask;
use crate::judge::map::{Row, csv, duty_outputs, rows};
use crate::problem::{Problem, nearest};
use crate::record::RunFolder;
use crate::report::page::Fact;
use crate::report::page_html;
use crate::report::pages::map::page;
use crate::report::pages::subject::Subject;
use crate::script::rig::EngineSpec;
use crate::verdict::item::{Verdict, Verdicts};
use clap::Args;
use std::path::{Path, PathBuf};

/// Options of `map`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Calibration of the pair.
    calibration: PathBuf,
    /// Run folder of the controller, or a CSV of its points.
    run: PathBuf,
    /// Folder for the results, new or empty; the table on stdout if none is given.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Which duty output drives the pump, where there are several.
    #[arg(long, value_name = "NAME")]
    output: Option<String>,
    /// Rig with the manifold sensor's data, for points that give its volts.
    #[arg(long)]
    rig: Option<PathBuf>,
    #[command(flatten)]
    display: Display,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let model = crate::fit::store::model(&line::calibration(&options.calibration)?)?;
    let mut engine: Option<EngineSpec> = match &options.rig {
        Some(path) => Some(crate::script::load_rig(path)?.engine),
        None => None,
    };
    let baseline = if options.run.is_dir() {
        let (baseline, rig) = of_folder(&RunFolder::open(&options.run)?)?;
        engine = engine.or(Some(rig.engine));
        baseline
    } else {
        load(&options.run)?
    };
    let output = choose(&duty_outputs(&baseline.observations), options.output.as_deref())?;
    let boost_of = |volts: f64| Some(engine.as_ref()?.boost(volts, None)?.0);
    let rows = rows(&model, &Ask::default(), &baseline.observations, &output, boost_of);
    let table = csv(&rows);
    let exit = exit(&rows);
    let Some(dir) = &options.out else {
        data(&table);
        return Ok(exit);
    };
    let out = fresh_folder(dir)?;
    write_text(&out.join("map.csv"), &table)?;
    let subject = subject(options, &output);
    let page = page(&subject, &rows, options.display.units.into());
    write_text(&out.join("report.html"), &page_html::render(&page))?;
    let verdicts = Verdicts { verdict: Verdict::Skipped, items: Vec::new() };
    show(&subject, &page.summary, &verdicts, &out, &options.display)?;
    Ok(exit)
}

/// The output that drives the pump: the only one, or the one that was named.
fn choose(outputs: &[String], named: Option<&str>) -> Result<String, Failure> {
    let is = |o: &&String, name: &str| **o == name || o.ends_with(&format!(".{name}"));
    let problem = match (outputs, named) {
        ([], _) => Problem::new("this run holds no steady point of a duty output"),
        (outputs, Some(name)) => match outputs.iter().find(|o| is(o, name)) {
            Some(found) => return Ok(found.clone()),
            None => {
                let problem = Problem::new(format!("\"{name}\" is no duty output of this run"))
                    .expected(outputs.join(", "));
                match nearest(name, outputs.iter().map(String::as_str)) {
                    Some(near) => problem.help(format!("did you mean \"{near}\"?")),
                    None => problem,
                }
            }
        },
        ([only], None) => return Ok(only.clone()),
        (outputs, None) => Problem::new("there are several duty outputs")
            .expected(outputs.join(", "))
            .help("say which one drives the pump with --output"),
    };
    Err(problem.into())
}

fn exit(rows: &[Row]) -> Exit {
    if rows.iter().all(|r| r.flow.is_ok()) { Exit::Pass } else { Exit::Undecided }
}

fn subject(options: &Options, output: &str) -> Subject {
    let shown = |path: &Path| path.display().to_string();
    Subject {
        title: "Delivered flow".into(),
        items: format!("{} through {output}", shown(&options.run)),
        method: "a controller's points through the calibration of the pair".into(),
        id: shown(&options.run),
        hash: String::new(),
        identity: vec![
            Fact::new("calibration", shown(&options.calibration)),
            Fact::new("controller run", shown(&options.run)),
            Fact::new("output", output),
        ],
        provenance: vec![Fact::new("software", concat!("dutycup ", env!("CARGO_PKG_VERSION")))],
    }
}
