//! `run --resume DIR`: goes on with a run that was killed, stopped, or ended by a fault.
//!
//! In: the run folder. Out: a job made of the folder's own copies of scenario and rig, with the rest of the plan; the
//! record opened to be appended to. Never: a folder that was edited, or a complete run; something energised by itself:
//! arming comes first, as for a new run.

use super::super::Failure;
use super::{Job, Options};
use crate::chance::Seed;
use crate::clock::{Moment, WallTime};
use crate::problem::Problem;
use crate::record::run_file::{ResumedRecord, RunFile, State};
use crate::record::sums;
use crate::record::writer::Recorder;
use crate::record::{Event, RunFolder};
use crate::run::going_on::going_on;
use crate::script::plan::Op;
use crate::script::shipped;
use crate::script::yaml::Text;
use std::collections::BTreeSet;
use std::path::Path;
use std::time::Duration;

/// Between the last line of the part before and the first of the next, on the run's time line.
const PAUSE: Duration = Duration::from_secs(1);
/// Why a collection that was going on is void.
const INTERRUPTED: &str = "the run was interrupted within it";

/// What is known of the part before.
pub(super) struct Resumed {
    run: RunFile,
    /// How it had ended, in words.
    after: String,
    /// First step of the plan that is played, lead-in aside.
    from_step: u32,
    /// A collection that was going on, by its step.
    torn: Option<u32>,
}

/// The moment at which the next part begins.
pub(super) fn goes_on_at(last: Moment) -> Moment {
    last + PAUSE
}

/// The job that goes on with the run in `dir`.
///
/// # Errors
/// The folder was altered; the run is complete; another scenario, rig or folder is named.
pub(super) fn job(options: &Options, dir: &Path) -> Result<Job, Failure> {
    let folder = RunFolder::open(dir)?;
    if folder.run.state == State::Complete {
        return Err(Problem::new(format!("the run in {} is complete", dir.display()))
            .help("there is nothing to go on with; `dutycup analyse` redoes what comes after the recording")
            .into());
    }
    let rig_name = dir.join("rig.yaml").display().to_string();
    same_files(options, dir, &folder)?;
    let rig = crate::script::rig_file::read(&Text::new(rig_name, folder.rig_text.as_str()))?;
    let scenario = crate::script::load_scenario(&dir.join("scenario.yaml"))?;
    let sets: Vec<_> = folder.run.parameters.clone().into_iter().collect();
    let plan = crate::script::plan(&scenario, &rig, &sets, Seed(folder.run.seed))?;
    let far = far(&folder)?;
    let rest = going_on(&plan, far.last_step, &far.collected);
    let first = rest.steps.iter().find(|s| s.id != 0).map_or(1, |s| s.id);
    let is_collection = |id: u32| plan.steps.iter().any(|s| s.id == id && matches!(s.op, Op::Collect { .. }));
    let torn = (is_collection(far.last_step) && far.open).then_some(far.last_step);
    let seed = folder.run.seed;
    let after = ended(&folder.run);
    Ok(Job {
        rig,
        plan: rest,
        cautions: scenario.cautions,
        dir: dir.to_owned(),
        seed,
        traces: Vec::new(),
        parameters: scenario.parameters,
        read: Vec::new(),
        resumed: Some(Resumed { run: folder.run, after, from_step: first, torn }),
    })
}

/// What is named on the command line must be what the folder holds.
fn same_files(options: &Options, dir: &Path, folder: &RunFolder) -> Result<(), Failure> {
    let named =
        [("scenario", &options.scenario, &folder.scenario_text), ("rig", &options.rig, &folder.rig_text)];
    for (what, path, kept) in named {
        let Some(path) = path else { continue };
        let (text, _) = shipped::find(&format!("{what}s"), path)?;
        if *text.text != **kept {
            let found = format!(
                "{} is not the {what} that the run in {} was made from",
                path.display(),
                dir.display()
            );
            return Err(Problem::new(found)
                .expected(format!("the same text as in {}", dir.join(format!("{what}.yaml")).display()))
                .help(
                    "leave it away: a run goes on with the copies in its folder; an edited one is a new run",
                )
                .into());
        }
    }
    let other = options.out.as_deref().filter(|out| *out != dir);
    if let Some(out) = other {
        let found = format!("--out {} is not the folder that is gone on with", out.display());
        return Err(Problem::new(found).help("leave it away").into());
    }
    // The virtual bench in this program is part of what a run came from.
    let ours = shipped::named("rigs", Path::new(shipped::VIRTUAL_RIG)).map(|(_, text)| text);
    let virtual_changed =
        options.rig.is_none() && folder.run.rig == "virtual" && ours != Some(folder.rig_text.as_str());
    if virtual_changed {
        tracing::info!("the rig in the folder is not the one in this program; the folder's is used");
    }
    Ok(())
}

/// How far a record got.
struct Far {
    /// The last step of the plan that was begun, 0 where none was.
    last_step: u32,
    /// Collections that were finished and are good, by step.
    collected: BTreeSet<u32>,
    /// Whether a collection was going on at the end.
    open: bool,
}

fn far(folder: &RunFolder) -> Result<Far, Failure> {
    let (mut far, mut void, mut rested) =
        (Far { last_step: 0, collected: BTreeSet::new(), open: false }, false, BTreeSet::new());
    for event in folder.events()? {
        let event: Event = event?;
        match event.kind.as_str() {
            "step" if event.step != 0 => far.last_step = event.step,
            "collect_start" => (far.open, void) = (true, false),
            "void" | "fault" | "resumed" => void = true,
            "collect_end" => {
                far.open = false;
                if !void {
                    far.collected.insert(event.step);
                }
            }
            "rest_end" if event.get("which") == Some("after") => {
                rested.insert(event.step);
            }
            "rest_start" if event.get("which") == Some("before") => {
                rested.remove(&event.step);
            }
            _ => {}
        }
        if event.kind == "resumed" {
            far.open = false;
        }
    }
    // A collection whose cup was to be weighed at rest afterwards is finished with that weighing.
    let unweighed = far.last_step;
    if far.collected.contains(&unweighed) && needs_rest(folder, unweighed)? && !rested.contains(&unweighed) {
        far.collected.remove(&unweighed);
    }
    Ok(far)
}

/// Whether a step's collection began with a weighing at rest.
fn needs_rest(folder: &RunFolder, step: u32) -> Result<bool, Failure> {
    for event in folder.events()? {
        let event = event?;
        if event.kind == "rest_start" && event.step == step {
            return Ok(true);
        }
    }
    Ok(false)
}

/// How a part had ended, in words.
fn ended(run: &RunFile) -> String {
    match (&run.state, &run.fault) {
        (State::Running, _) => String::from("it was killed, or the computer failed"),
        (_, Some(fault)) => format!("{} {}: {}", fault.code, fault.who, fault.seen),
        _ => format!("it was stopped (exit {})", run.exit_code.unwrap_or_default()),
    }
}

impl Resumed {
    /// The record, opened to be appended to, and the run file of a run that goes on.
    pub(super) fn record(&self, job: &Job, at: WallTime) -> Result<(Recorder, RunFile), Failure> {
        let recorder = Recorder::resume(&job.dir)?;
        let mut file = self.run.clone();
        file.resumed.push(ResumedRecord {
            at: at.to_rfc3339(),
            from_step: self.from_step,
            after: self.after.clone(),
            last_s: recorder.last().as_s(),
        });
        file.warnings.push(format!(
            "resumed on {} at step {}, {:.0} s into the record, after {}",
            at.to_rfc3339(),
            self.from_step,
            recorder.last().as_s(),
            self.after
        ));
        file.state = State::Running;
        (file.verdict, file.exit_code, file.ended, file.fault, file.safe_state) =
            (None, None, None, None, None);
        // Files that are written on carry no length until the end.
        let written_on = |name: &str| sums::FILES.contains(&name) || name == crate::record::SUMS;
        file.files.retain(|f| !written_on(&f.name));
        Ok((recorder, file))
    }

    /// Says in the record that the run goes on, and voids what was going on.
    pub(super) fn tell(&self, recorder: &mut Recorder, at: Moment, wall: &str) -> Result<(), Failure> {
        if let Some(step) = self.torn {
            recorder.event(at, "void", step, &format!("reason={INTERRUPTED}"))?;
        }
        let gap_s = at.since(recorder.last()).max(PAUSE).as_secs_f64();
        let detail = format!(
            "gap_s={gap_s};at={wall};from_step={};after={}",
            self.from_step,
            self.after.replace(';', ",")
        );
        recorder.event(at, "resumed", 0, &detail)?;
        Ok(())
    }
}
