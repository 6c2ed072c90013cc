//! What was tested, by whom, with what: the head of every report and its provenance.
//!
//! In: the run file and the rig, or the name of a file taken elsewhere. Out: [`Subject`]. Never: a result.

use crate::record::RunFile;
use crate::record::run_file::{ClockKind, FileRecord};
use crate::report::page::Fact;
use crate::script::rig::Rig;

/// What was tested, by whom, with what.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// What kind of test: `Pump and nozzle`.
    pub title: String,
    /// The items tested, in words.
    pub items: String,
    /// Scenario or data file: the method.
    pub method: String,
    /// Unique id.
    pub id: String,
    /// Hash of what it was made from.
    pub hash: String,
    /// Who, where, when, with what.
    pub identity: Vec<Fact>,
    /// Software, seed, hashes, instruments.
    pub provenance: Vec<Fact>,
}

impl Subject {
    /// Of a run; `title` says what kind of test.
    #[must_use]
    pub fn of_run(title: &str, run: &RunFile, rig: &Rig) -> Self {
        let nozzles: Vec<&str> = run.nozzles.iter().map(|n| n.name.as_str()).collect();
        // `sums.csv` holds the checksums of the large files of the record: its hash stands for all of them.
        let sums = run.files.iter().find(|f| f.name == "sums.csv").and_then(|f| f.sha256.as_deref());
        let hash =
            sums.map_or_else(String::new, |h| format!("sha256 {} of sums.csv", h.get(..16).unwrap_or(h)));
        let [begun, ended] = times(run);
        let mut provenance = vec![
            Fact::new("software", &*run.program),
            Fact::new("scenario", run.scenario.as_str()),
            Fact::new("seed", run.seed.to_string()),
        ];
        provenance
            .extend(run.parameters.iter().map(|(name, value)| Fact::new(format!("parameter {name}"), value)));
        provenance.extend(run.instruments.iter().map(|i| {
            let identity = i.identity.clone().unwrap_or_else(|| "does not tell".into());
            Fact::new(format!("instrument {}", i.name), identity)
        }));
        let dated = run.channels.iter().filter_map(|c| Some((c, c.calibrated.as_ref()?)));
        provenance.extend(dated.map(|(c, date)| Fact::new(format!("calibration of {}", c.role), date)));
        let hashed = run.files.iter().filter_map(|f| Some((f, f.sha256.as_ref()?)));
        provenance.extend(hashed.map(|(f, sum)| Fact::new(format!("SHA-256 of {}", f.name), sum)));
        provenance.extend(run.safe_state.iter().map(|words| Fact::new("end of the run", words)));
        Subject {
            title: title.into(),
            items: format!("{}; nozzle {}", run.pump, nozzles.join(", ")),
            method: run.scenario.clone(),
            id: id(run, sums),
            hash,
            identity: vec![
                Fact::new("bench", &*rig.name),
                Fact::new("operator", operator(run)),
                begun,
                ended,
                Fact::new("pump", &*rig.pair.pump),
                Fact::new("nozzles", nozzle_words(rig)),
                Fact::new("PWM", format!("{} Hz, {} side", run.pwm.hz, run.pwm.drive_side)),
                Fact::new("wiring", rig.pair.wiring.clone().unwrap_or_default()),
                Fact::new("liquid", liquid(run.fluid.methanol_mass_fraction)),
                Fact::new("deviations from the method", deviations(run)),
            ],
            provenance,
        }
    }

    /// Of data taken elsewhere.
    #[must_use]
    pub fn of_file(title: &str, file: &FileRecord, rig: Option<&Rig>) -> Self {
        let items = rig.map_or_else(|| "not named".to_owned(), |r| r.pair.pump.clone());
        Subject {
            title: title.into(),
            items,
            method: "data taken elsewhere".into(),
            id: file.name.clone(),
            hash: file
                .sha256
                .as_deref()
                .map_or_else(String::new, |h| format!("sha256 {}", h.get(..16).unwrap_or(h))),
            identity: vec![
                Fact::new("data", &*file.name),
                Fact::new("bench", rig.map(|r| r.name.clone()).unwrap_or_default()),
                Fact::new("liquid", liquid(rig.map_or(0.0, |r| r.fluid.methanol_mass_fraction))),
            ],
            provenance: vec![Fact::new("software", concat!("dutycup ", env!("CARGO_PKG_VERSION")))],
        }
    }
}

/// When a run began and ended. The virtual clock has no date: what such a run has is a length.
fn times(run: &RunFile) -> [Fact; 2] {
    match run.clock {
        ClockKind::Real => [
            Fact::new("begun", run.started.as_str()),
            Fact::new("ended", run.ended.clone().unwrap_or_default()),
        ],
        ClockKind::Virtual => [
            Fact::new("date", "none: simulated on the virtual clock"),
            Fact::new("bench time", run.bench_time_s.map_or_else(String::new, |s| format!("{s:.1} s"))),
        ],
    }
}

/// Unique: by its moment on a real bench, by its seed and its record on the virtual clock.
fn id(run: &RunFile, sums: Option<&str>) -> String {
    match run.clock {
        ClockKind::Real => format!("{}-{}", run.started, run.scenario),
        ClockKind::Virtual => {
            let record = sums.and_then(|h| h.get(..8)).unwrap_or("no-record");
            format!("{}-seed-{}-{record}", run.scenario, run.seed)
        }
    }
}

fn operator(run: &RunFile) -> String {
    match (&run.operator, run.clock) {
        (Some(name), _) => name.clone(),
        (None, ClockKind::Virtual) => "none: simulated".into(),
        (None, ClockKind::Real) => String::new(),
    }
}

fn deviations(run: &RunFile) -> String {
    if run.warnings.is_empty() { "none".into() } else { run.warnings.join("; ") }
}

fn nozzle_words(rig: &Rig) -> String {
    let one = |n: &crate::script::rig::NozzleSpec| match &n.serial {
        Some(serial) => format!("{} ({serial})", n.name),
        None => n.name.clone(),
    };
    rig.pair.nozzles.iter().map(one).collect::<Vec<_>>().join(", ")
}

fn liquid(methanol: f64) -> String {
    if methanol > 0.0 {
        format!("water with {:.1} % methanol by mass", 100.0 * methanol)
    } else {
        "water".into()
    }
}
