//! What a run raises against the last complete run of the same scenario on the same bench.
//!
//! In: a job, and the run folders beside its own. Out: a line for each of peak pressure and on-time that goes up. A
//! small edit of a plan may raise both by much; the person who arms the bench sees it. Never: a refusal.

use super::Job;
use super::arm::severity;
use crate::chance::Seed;
use crate::problem::safe_text;
use crate::quantity::{Units, show};
use crate::record::run_file::{RUN, RunFile, State};
use crate::script::plan::Plan;
use crate::script::rig::Rig;
use crate::script::yaml::Text;
use std::path::{Path, PathBuf};

/// Most folders looked at.
const FOLDERS_MAX: usize = 10_000;
/// A rise smaller than this, fraction, is none.
const RISE: f64 = 1e-3;

/// What goes up, in words; nothing where there is no earlier run.
pub(super) fn raised(job: &Job) -> Vec<String> {
    let Some((dir, run)) = latest(job) else {
        return Vec::new();
    };
    let shown = safe_text(&dir.display().to_string());
    let Some((plan, rig)) = planned(&dir, &run) else {
        return vec![format!(
            "The last run of this scenario on this bench, {shown}, cannot be read to compare with."
        )];
    };
    let pairs = severity(&plan, &rig).into_iter().zip(severity(&job.plan, &job.rig));
    let up = pairs.filter_map(|((what, then, dimension), (_, now, _))| {
        let (then, now) = (then?, now?);
        let shown = |value| show(value, dimension, Units::Us);
        (now > then * (1.0 + RISE)).then(|| format!("  {what}: {} -> {}", shown(then), shown(now)))
    });
    let up: Vec<String> = up.collect();
    if up.is_empty() {
        return up;
    }
    let head = format!("RAISED against the last complete run of this scenario on this bench ({shown}):");
    std::iter::once(head).chain(up).collect()
}

/// The latest complete run of the same scenario and rig beside this one.
fn latest(job: &Job) -> Option<(PathBuf, RunFile)> {
    let beside = [job.dir.parent(), Some(Path::new("results"))];
    let mut found: Option<(PathBuf, RunFile)> = None;
    for folder in beside.into_iter().flatten() {
        let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        for entry in std::fs::read_dir(folder).into_iter().flatten().flatten().take(FOLDERS_MAX) {
            let dir = entry.path();
            let Ok(text) = Text::read(&dir.join(RUN)) else {
                continue;
            };
            let Ok(run) = RunFile::from_text(&text.text) else {
                continue;
            };
            let same =
                run.state == State::Complete && run.scenario == job.plan.scenario && run.rig == job.rig.name;
            let later = found.as_ref().is_none_or(|(_, f)| run.started > f.started);
            if same && later && dir != job.dir {
                found = Some((dir, run));
            }
        }
    }
    found
}

/// The plan of a run, from its own copies.
fn planned(dir: &Path, run: &RunFile) -> Option<(Plan, Rig)> {
    let rig = crate::script::load_rig(&dir.join("rig.yaml")).ok()?;
    let scenario = crate::script::load_scenario(&dir.join("scenario.yaml")).ok()?;
    let sets: Vec<_> = run.parameters.clone().into_iter().collect();
    let plan = crate::script::plan(&scenario, &rig, &sets, Seed(run.seed)).ok()?;
    Some((plan, rig))
}
