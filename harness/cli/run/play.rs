//! Plays a job into its folder: the record, the run file, the ports.
//!
//! In: a job, checked and armed. Out: the ending, and the folder as far as the recording goes. Never: a file of an
//! earlier part of the same run replaced by one of a later part.

use super::super::signals::with_signals;
use super::super::{Failure, say, watch};
use super::operator::read_answers;
use super::{ClockChoice, Job, Options, energises};
use crate::chance::Seed;
use crate::clock::{Moment, SystemClock, WallTime};
use crate::exit::Exit;
use crate::live::watcher::Wants;
use crate::port::in_process::{InProcess, Pace, StopFlag};
use crate::port::priority;
use crate::port::serial::SerialPorts;
use crate::problem::Problem;
use crate::record::disk::write_whole;
use crate::record::run_file::{ClockKind, FileRecord, RunFile, State};
use crate::record::writer::{self, Recorder};
use crate::run::bench::Bench;
use crate::run::drive::drive_guarded;
use crate::run::ending::Ending;
use crate::script::plan::Op;
use crate::script::rig::ChannelSpec;
use std::io::IsTerminal as _;

/// Plays a job.
pub(super) fn play(job: &Job, options: &Options, clock: ClockChoice) -> Result<Ending, Failure> {
    let started = wall(clock);
    let (mut recorder, mut file) = match &job.resumed {
        None => new_record(job, clock, started)?,
        Some(resumed) => resumed.record(job, started)?,
    };
    let from = match &job.resumed {
        None => Moment::START,
        Some(_) => super::resume::goes_on_at(recorder.last()),
    };
    recorder = recorder.at_pace(match clock {
        ClockChoice::Virtual => writer::Pace::Virtual,
        ClockChoice::Real => writer::Pace::Real,
    })?;
    if let Some(resumed) = &job.resumed {
        resumed.tell(&mut recorder, from, &started.to_rfc3339())?;
    }
    file.write(&job.dir)?;
    let (ending, timing, identities) = {
        let mut bench = Bench::new(&job.rig, &job.plan, &mut recorder)?;
        let ending = on_ports(&mut bench, job, options, clock, from)?;
        (ending, bench.timing().clone(), bench.identities().to_vec())
    };
    let lasted = recorder.last();
    let finished = recorder.finish();
    write_whole(&job.dir.join(timing_name(&file)), &timing.to_hlog())?;
    for (instrument, identity) in file.instruments.iter_mut().zip(identities) {
        instrument.identity = (!identity.is_empty()).then_some(identity);
    }
    if let Ok(record) = &finished {
        file.finished(record);
    }
    file.warnings.extend(edited(job));
    file.bench_time_s = Some(lasted.as_s());
    let ended = match clock {
        ClockChoice::Virtual => started.later_by(lasted.as_s()),
        ClockChoice::Real => WallTime::now(),
    };
    close(&mut file, &ending, ended);
    file.write(&job.dir)?;
    finished?;
    Ok(ending)
}

fn wall(clock: ClockChoice) -> WallTime {
    match clock {
        ClockChoice::Virtual => WallTime::VIRTUAL_START,
        ClockChoice::Real => WallTime::now(),
    }
}

/// `timing.hlog`, with the number of the part where a run was resumed.
fn timing_name(file: &RunFile) -> String {
    match file.resumed.len() {
        0 => String::from("timing.hlog"),
        parts => format!("timing-{}.hlog", parts + 1),
    }
}

/// The record and the run file of a run that starts now.
fn new_record(job: &Job, clock: ClockChoice, started: WallTime) -> Result<(Recorder, RunFile), Failure> {
    let Job { rig, plan, dir, .. } = job;
    let roles: Vec<_> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let recorder = Recorder::create(dir, &roles)?;
    let kind = match clock {
        ClockChoice::Virtual => ClockKind::Virtual,
        ClockChoice::Real => ClockKind::Real,
    };
    let operator = std::env::var("USER").ok().filter(|_| clock == ClockChoice::Real);
    let mut file = RunFile::new(rig, plan, job.seed, kind, operator, started.to_rfc3339());
    write_whole(&dir.join("scenario.yaml"), plan.source.as_bytes())?;
    write_whole(&dir.join("rig.yaml"), rig.source.as_bytes())?;
    keep_traces(job, &mut file)?;
    Ok((recorder, file))
}

/// Copies the traces that are replayed into the run folder, where the copy of the scenario looks for them.
fn keep_traces(job: &Job, file: &mut RunFile) -> Result<(), Failure> {
    for (name, text) in &job.traces {
        let to = job.dir.join(name);
        if let Some(folder) = to.parent() {
            std::fs::create_dir_all(folder).map_err(|e| Failure::write(folder, &e))?;
        }
        write_whole(&to, text.as_bytes())?;
        file.files.push(FileRecord::of_text(name, text));
    }
    Ok(())
}

/// What to say of files that were edited while the run was going on; it used what it had read.
fn edited(job: &Job) -> Vec<String> {
    let changed = |(path, kept): &&(std::path::PathBuf, FileRecord)| {
        std::fs::read_to_string(path)
            .map_or(true, |now| FileRecord::of_text(&kept.name, &now).sha256 != kept.sha256)
    };
    let note = |(path, kept): &(std::path::PathBuf, FileRecord)| {
        let note = format!(
            "{} was changed or removed while the run was going on; the run used what it had read before, kept as {}",
            path.display(),
            kept.name
        );
        say(&format!("\nNote: {note}"));
        note
    };
    job.read.iter().filter(changed).map(note).collect()
}

/// Writes into the run file how the run ended; the verdict comes with the analysis.
fn close(file: &mut RunFile, ending: &Ending, ended: WallTime) {
    file.state = if ending.complete() { State::Complete } else { State::Aborted };
    file.exit_code = Some(ending.exit.code());
    file.ended = Some(ended.to_rfc3339());
    file.safe_state = Some(ending.safe_state.clone());
    file.fault = ending.fault.as_ref().map(Into::into);
}

/// Whether the operator will be asked something.
fn asks(job: &Job) -> bool {
    job.rig.channels.iter().any(ChannelSpec::by_hand)
        || job.plan.steps.iter().any(|s| matches!(s.op, Op::Ask { .. }))
}

/// Chooses the ports and drives the bench on them; its time begins at `from`.
fn on_ports(
    bench: &mut Bench<'_>,
    job: &Job,
    options: &Options,
    clock: ClockChoice,
    from: Moment,
) -> Result<Ending, Failure> {
    let rig = &job.rig;
    let mut watcher = watch::watcher(options.live);
    let view = watch::view(&job.plan, rig, options.display.units, clock == ClockChoice::Virtual);
    if energises(rig) {
        let (mut ports, mut failed) =
            SerialPorts::open(rig, SystemClock::starting_at(from), watch::asker(&watcher))?;
        if !failed.is_empty() {
            failed.iter().skip(1).for_each(|(_, fault)| say(&fault.to_string()));
            return Err(failed.swap_remove(0).1.into());
        }
        let handle = ports.handle();
        if !watcher.takes_keys() && (asks(job) || std::io::stdin().is_terminal()) {
            read_answers(handle.clone(), asks(job));
        }
        let (stop, answer) = (handle.clone(), handle.clone());
        let wants = Wants {
            stop: Box::new(move || stop.stop(Exit::Interrupt)),
            answer: Box::new(move |text| answer.answer(text)),
        };
        watcher.begin(view, wants);
        return with_signals(
            move |exit| handle.stop(exit),
            || {
                keep_time();
                drive_guarded(bench, &mut ports, &mut |now, bench| watcher.look(now, bench))
            },
        );
    }
    let section = rig.virtual_bench.as_ref().ok_or_else(|| {
        Problem::new(format!("rig {} has neither port paths nor a `virtual_bench:` section", rig.name))
            .help("name the instruments' ports, or copy the section from rigs/virtual.yaml")
    })?;
    let far_end = crate::virtual_bench::build(section, Seed(job.seed))?;
    let pace = if clock == ClockChoice::Virtual {
        Pace::Virtual
    } else {
        Pace::Real(SystemClock::starting_at(from))
    };
    let stop = StopFlag::default();
    let names = rig.instruments.iter().map(|i| i.name.as_str());
    let mut ports = InProcess::new(far_end, names, pace, stop.clone()).starting_at(from);
    let wish = stop.clone();
    let wants = Wants { stop: Box::new(move || wish.set(Exit::Interrupt)), answer: Box::new(|_| {}) };
    watcher.begin(view, wants);
    with_signals(
        move |exit| stop.set(exit),
        || drive_guarded(bench, &mut ports, &mut |now, bench| watcher.look(now, bench)),
    )
}

/// Gives the bench loop's thread real-time priority, or says why it has none.
fn keep_time() {
    if let Err(why) = priority::raise() {
        say(&format!(
            "No real-time priority ({why}): under load set points may be some milliseconds late. Close other programs, \
             or give your user a limit for it (rtprio)."
        ));
    }
}
