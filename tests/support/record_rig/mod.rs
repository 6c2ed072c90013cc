//! A small rig, plan and run for the tests of the record.

#![allow(dead_code, reason = "every test uses its own part")]
#![allow(clippy::unwrap_used, reason = "a failure here fails the test")]

use dutycup::door::chance::*;
use dutycup::door::clock::{Moment, WallTime};
use dutycup::door::record::run_file::{ClockKind, State};
use dutycup::door::record::{Recorder, RunFile, write_whole};
use dutycup::door::script::plan::Plan;
use dutycup::door::script::rig::{
    DriveSide, EngineSpec, FluidSpec, Limits, MethodSpec, NozzleSpec, PairSpec, Rig, Watchdog,
};
use dutycup::door::script::role::Role;
use dutycup::door::uncertainty::Bound;
use dutycup::door::verdict::purpose::Purpose;
use std::path::Path;

/// The columns of the runs below.
pub(crate) const COLUMNS: [Role; 4] = [Role::LinePressure, Role::CupMass, Role::Supply, Role::Switch];

/// A rig without instruments.
fn rig() -> Rig {
    Rig {
        name: String::from("bench"),
        source: String::from("rig: bench\n"),
        instruments: Vec::new(),
        channels: Vec::new(),
        pair: PairSpec {
            pump: String::from("pump 1"),
            nozzles: vec![NozzleSpec { name: String::from("A"), serial: None, rating: None }],
            pwm_hz: 1000.0,
            drive_side: DriveSide::Low,
            wiring: None,
            check_valve_kpa: None,
            switch: None,
            freewheel_v: (0.7, 0.1),
        },
        fluid: FluidSpec {
            methanol_mass_fraction: 0.0,
            temperature_degc: (20.0, 2.0),
            methanol_permitted: false,
        },
        engine: EngineSpec {
            boost_sensor: None,
            ratiometric: false,
            pulses_per_rev: 2.0,
            ambient: dutycup::door::quantity::Absolute(101.325),
        },
        limits: Limits {
            line_pressure_kpa: 1700.0,
            cup_mass_g: 2000.0,
            supply_v: (9.0, 16.0),
            on_time_s: 600.0,
            duty_pct: (10.0, 100.0),
        },
        watchdog: Watchdog::None,
        method: MethodSpec {
            clock_gain: Bound::None,
            mist_lost: (0.0, 0.0),
            leak_lost: (0.0, 0.0),
            jet_on_pan: 0.0,
            tap_loss: (0.0, 0.0),
            tap_height_m: (0.0, 0.0),
            place: None,
        },
        virtual_bench: None,
    }
}

fn plan(rig: &Rig) -> Plan {
    Plan {
        scenario: String::from("demo"),
        source: String::from("scenario: demo\n"),
        parameters: vec![(String::from("dwell"), String::from("30 s"))],
        steps: Vec::new(),
        limits: rig.limits,
        purpose: Purpose::Pair,
    }
}

/// The rig and a plan for it.
pub(crate) fn rig_and_plan() -> (Rig, Plan) {
    let rig = rig();
    let plan = plan(&rig);
    (rig, plan)
}

/// A new record with `run.yaml` and the texts beside it, as a run begins.
pub(crate) fn begin(dir: &Path) -> Recorder {
    let recorder = Recorder::create(dir, &COLUMNS).unwrap();
    let ((rig, plan), started) = (rig_and_plan(), WallTime::VIRTUAL_START.to_rfc3339());
    write_whole(&dir.join("rig.yaml"), rig.source.as_bytes()).unwrap();
    write_whole(&dir.join("scenario.yaml"), plan.source.as_bytes()).unwrap();
    let run = RunFile::new(&rig, &plan, u64::MAX, ClockKind::Virtual, None, started);
    run.write(dir).unwrap();
    recorder
}

/// Ends a record and says so in `run.yaml`.
pub(crate) fn end(dir: &Path, mut recorder: Recorder) {
    let done = recorder.finish().unwrap();
    let text = std::fs::read_to_string(dir.join("run.yaml")).unwrap();
    let mut run = RunFile::from_text(&text).unwrap();
    run.finished(&done);
    run.state = State::Complete;
    run.write(dir).unwrap();
}

/// A finished run with seeded readings.
pub(crate) fn finished_run(dir: &Path, rows: u64) {
    let mut recorder = begin(dir);
    let mut rng = Seed(7).stream("record");
    for i in 0..rows {
        let at = Moment::from_ms(10 * i);
        for column in 0..COLUMNS.len() {
            if rng.random_range(0..4) > 0 {
                let size = 10_f64.powi(rng.random_range(-3..5));
                recorder.sample(at, (i / 100) as u32, column, rng.random_range(-size..size)).unwrap();
            }
        }
        if i % 7 == 0 {
            recorder.event(at, "note", 1, "duty, \"set\"").unwrap();
        }
    }
    end(dir, recorder);
}

/// Takes the recorded files out of the list in `run.yaml`, as in a run that was killed.
pub(crate) fn unlist_recorded(dir: &Path, run: &str) {
    let mut run = RunFile::from_text(run).unwrap();
    run.files.retain(|f| f.name.ends_with(".yaml"));
    run.write(dir).unwrap();
}
