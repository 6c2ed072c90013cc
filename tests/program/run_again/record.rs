//! A run played into a folder through ports of the test's own, with the run file as the program writes it.

use dutycup::door::chance::Seed;
use dutycup::door::exit::Exit;
use dutycup::door::port::Ports;
use dutycup::door::record::run_file::{ClockKind, RunFile, State};
use dutycup::door::record::write_whole;
use dutycup::door::record::writer::Recorder;
use dutycup::door::run::bench::Bench;
use dutycup::door::run::drive::drive;
use dutycup::door::run::ending::Ending;
use dutycup::door::script::plan::Plan;
use dutycup::door::script::rig::Rig;
use std::path::{Path, PathBuf};

pub(crate) fn at_home(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(file)
}

pub(crate) fn rig(file: &str) -> Rig {
    dutycup::door::script::load_rig(&at_home(file)).unwrap_or_else(|e| panic!("{e}"))
}

pub(crate) fn plan(rig: &Rig, scenario: &str, sets: &[(&str, &str)], seed: u64) -> Plan {
    let scenario = dutycup::door::script::load_scenario(&at_home(scenario)).unwrap_or_else(|e| panic!("{e}"));
    let sets: Vec<_> = sets.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
    dutycup::door::script::plan(&scenario, rig, &sets, Seed(seed)).unwrap_or_else(|e| panic!("{e}"))
}

/// Plays a plan into a new folder; `killed` leaves the run file as it is while a run is going on.
pub(crate) fn play<P: Ports>(
    dir: &Path,
    (rig, plan): (&Rig, &Plan),
    seed: u64,
    ports: &mut P,
    killed: bool,
    watch: &mut dyn FnMut(f64),
) -> Ending {
    let roles: Vec<_> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let mut recorder = Recorder::create(dir, &roles).unwrap_or_else(|e| panic!("{e}"));
    let start = "2000-01-01T00:00:00Z";
    let mut file = RunFile::new(rig, plan, seed, ClockKind::Virtual, None, start.into());
    write_whole(&dir.join("scenario.yaml"), plan.source.as_bytes()).expect("written");
    write_whole(&dir.join("rig.yaml"), rig.source.as_bytes()).expect("written");
    file.write(dir).expect("written");
    let ending = {
        let mut bench = Bench::new(rig, plan, &mut recorder).unwrap_or_else(|e| panic!("{e}"));
        drive(&mut bench, ports, 0, &mut |now, _| watch(now.as_s()))
    };
    let record = recorder.finish().unwrap_or_else(|e| panic!("{e}"));
    if !killed {
        file.finished(&record);
        file.state = if ending.exit == Exit::Pass { State::Complete } else { State::Aborted };
        file.exit_code = Some(ending.exit.code());
        file.ended = Some(start.into());
        file.write(dir).expect("written");
    }
    ending
}
