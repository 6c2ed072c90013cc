//! `run.yaml` of a run that starts, and of one that ends: the facts taken from rig, plan and recorder.
//!
//! In: the checked rig and plan; what the recorder wrote. Out: the disk types. Never: a fact that the rig does not
//! state.

use super::run_file::{
    ChannelRecord, ClockKind, Counts, FORMAT, FileRecord, FluidRecord, InstrumentRecord, NozzleRecord,
    PwmRecord, RunFile, State,
};
use crate::script::plan::Plan;
use crate::script::rig::{ChannelSpec, DriveSide, InstrumentSpec, NozzleSpec, Rig};

impl RunFile {
    /// The file of a run that starts now.
    #[must_use]
    pub fn new(
        rig: &Rig,
        plan: &Plan,
        seed: u64,
        clock: ClockKind,
        operator: Option<String>,
        started: String,
    ) -> Self {
        RunFile {
            format: FORMAT,
            state: State::Running,
            verdict: None,
            exit_code: None,
            scenario: plan.scenario.clone(),
            purpose: plan.purpose,
            rig: rig.name.clone(),
            program: concat!("dutycup ", env!("CARGO_PKG_VERSION")).to_owned(),
            seed,
            clock,
            operator,
            started,
            ended: None,
            bench_time_s: None,
            resumed: Vec::new(),
            parameters: plan.parameters.iter().cloned().collect(),
            instruments: instruments(rig),
            channels: channels(rig),
            pump: rig.pair.pump.clone(),
            nozzles: nozzles(rig),
            pwm: PwmRecord {
                hz: rig.pair.pwm_hz,
                drive_side: match rig.pair.drive_side {
                    DriveSide::High => "high",
                    DriveSide::Low => "low",
                }
                .to_owned(),
            },
            fluid: FluidRecord {
                methanol_mass_fraction: rig.fluid.methanol_mass_fraction,
                assumed_degc: rig.fluid.temperature_degc.0,
            },
            fault: None,
            safe_state: None,
            warnings: Vec::new(),
            counts: Counts::default(),
            files: vec![
                FileRecord::of_text("scenario.yaml", &plan.source),
                FileRecord::of_text("rig.yaml", &rig.source),
            ],
        }
    }

    /// Takes over what a finished recorder says about its files and counts.
    pub fn finished(&mut self, record: &super::Finished) {
        self.counts = record.counts;
        self.files.retain(|f| record.files.iter().all(|r| r.name != f.name));
        self.files.extend(record.files.iter().cloned());
    }
}

fn instruments(rig: &Rig) -> Vec<InstrumentRecord> {
    let of = |i: &InstrumentSpec| InstrumentRecord {
        name: i.name.clone(),
        port: i.port.path.clone(),
        identity: None,
        serial: i.serial.clone(),
    };
    rig.instruments.iter().map(of).collect()
}

fn channels(rig: &Rig) -> Vec<ChannelRecord> {
    let of = |c: &ChannelSpec| ChannelRecord {
        role: c.role.word(),
        column: c.role.column(),
        instrument: rig.instruments.get(c.instrument).map_or_else(String::new, |i| i.name.clone()),
        gain: c.scaling.gain,
        offset: c.scaling.offset,
        every_s: c.every.as_secs_f64(),
        delay_s: c.delay_s,
        u_zero: c.uncertainty.zero.into(),
        u_gain: c.uncertainty.gain.into(),
        resolution: c.uncertainty.resolution,
        calibrated: c.calibrated.clone(),
    };
    rig.channels.iter().map(of).collect()
}

fn nozzles(rig: &Rig) -> Vec<NozzleRecord> {
    let of = |n: &NozzleSpec| NozzleRecord {
        name: n.name.clone(),
        serial: n.serial.clone(),
        rated_ml_min: n.rating.map(|r| r.flow_ml_min),
        rated_at_kpa: n.rating.map(|r| r.at_kpa),
    };
    rig.pair.nozzles.iter().map(of).collect()
}
