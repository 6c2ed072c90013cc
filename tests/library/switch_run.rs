//! A switch, a line and a tank on the virtual bench's own file form: a recorded run gives what a file of the same ramps
//! gives, and leak, dead-head and level are read from their spans.

#![allow(clippy::unwrap_used, reason = "a failure here fails the test")]

use crate::record_rig;
use dutycup::door::clock::Moment;
use dutycup::door::judge::line_runs::{
    Outcome, dead_head, leak_down, switch_of_file, switch_of_run, tank_level,
};
use dutycup::door::record::{Recorder, RunFolder};
use dutycup::door::reduce::gauge::Gauge;
use dutycup::door::script::rig::{Rig, SwitchSpec};
use dutycup::door::verdict::item::{Item, Verdict, Verdicts};
use std::fmt::Write as _;
use std::path::Path;

const PSI: f64 = 6.894_757_293_168_361;
/// Places of the columns of [`record_rig::COLUMNS`].
const LINE: usize = 0;
const CUP: usize = 1;
const SUPPLY: usize = 2;
const SWITCH: usize = 3;

fn wanted() -> SwitchSpec {
    SwitchSpec { set_point_kpa: 30.0 * PSI, tolerance_kpa: 3.0 * PSI, reset_kpa: Some(26.0 * PSI) }
}

/// A run that a script of readings fills.
fn recorded(dir: &Path, fill: impl FnOnce(&mut Recorder)) -> (RunFolder, Rig) {
    let mut recorder = record_rig::begin(dir);
    fill(&mut recorder);
    record_rig::end(dir, recorder);
    (RunFolder::open(dir).unwrap(), record_rig::rig_and_plan().0)
}

/// A ramp at 1 psi/s, as (time, psi, made), between 20 and 40 psi; trip and reset move a little from cycle to cycle.
fn ramp(cycle: u32, up: bool) -> impl Iterator<Item = (f64, f64, bool)> {
    let shift = 0.1 * f64::from(cycle % 3);
    (0..=2000).map(move |i| {
        let t = 0.01 * f64::from(i);
        let p = if up { 20.0 + t } else { 40.0 - t };
        (t, p, p > shift + if up { 30.0 } else { 26.0 })
    })
}

fn judged(outcome: &Outcome) -> Vec<Item> {
    Verdicts::judge(&outcome.subjects, &[]).items
}

fn item(items: &[Item], id: &str) -> Item {
    items.iter().find(|i| i.id == id).cloned().unwrap_or_else(|| panic!("no {id}"))
}

#[test]
fn a_run_and_a_file_of_the_same_ramps_agree() {
    let dir = tempfile::tempdir().unwrap();
    let mut text = String::from("ramp,time_s,line_pressure_psi,switch\n");
    let (folder, rig) = recorded(dir.path(), |recorder| {
        let mut start = Moment::from_ms(1000);
        for cycle in 0..6 {
            for up in [true, false] {
                let direction = if up { "up" } else { "down" };
                recorder
                    .event(start, "mark", 1, &format!("kind=ramp;rate=slow;direction={direction}"))
                    .unwrap();
                let number = 2 * cycle + u32::from(!up) + 1;
                for (t, psi, made) in ramp(cycle, up) {
                    let at = start + std::time::Duration::from_secs_f64(t);
                    recorder.sample(at, 1, LINE, psi * PSI).unwrap();
                    recorder.sample(at, 1, SWITCH, f64::from(u8::from(made))).unwrap();
                    writeln!(text, "{number},{t:.2},{psi:.6},{}", u8::from(made)).unwrap();
                }
                let end = start + std::time::Duration::from_secs(20);
                recorder.event(end, "mark", 1, "kind=end;of=ramp").unwrap();
                start = end + std::time::Duration::from_secs(2);
            }
        }
        // Two stops of the pump: dark after 0.3 s.
        for k in 0..2 {
            recorder.event(start, "mark", 1, "kind=decay").unwrap();
            for i in 0..100 {
                let at = start + std::time::Duration::from_millis(20 * i);
                let made = 20 * i < 310 + 20 * k;
                recorder.sample(at, 1, LINE, (300.0 - 8.0 * i as f64).max(0.0)).unwrap();
                recorder.sample(at, 1, SWITCH, f64::from(u8::from(made))).unwrap();
            }
            start = start + std::time::Duration::from_secs(2);
            recorder.event(start, "mark", 1, "kind=end;of=decay").unwrap();
        }
    });
    let run = switch_of_run(&folder, &rig, Some(&wanted()), None, None).unwrap();
    let path = dir.path().join("ramps.csv");
    std::fs::write(&path, text).unwrap();
    let file = switch_of_file(&path, Gauge::assumed(), Some(&wanted())).unwrap();
    for id in ["switch.trip", "switch.reset", "switch.differential"] {
        let (a, b) = (item(&judged(&run), id), item(&judged(&file), id));
        assert!((a.value.unwrap() - b.value.unwrap()).abs() < 1e-3, "{id}: {a:?} {b:?}");
        assert!((a.u95.unwrap() - b.u95.unwrap()).abs() < 1e-3, "{id}");
        assert_eq!(a.verdict, b.verdict);
    }
    assert_eq!(item(&judged(&run), "switch.trip").verdict, Verdict::Pass);
    let dark = item(&judged(&run), "switch.release_time").value.unwrap();
    assert!((dark - 0.32).abs() < 0.021, "{dark}");
    assert_eq!(run.files[0].0, "switch_cycles.csv");
    assert_eq!(run.files[0].1.lines().count(), 13);
}

#[test]
fn a_run_without_ramps_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let (folder, rig) = recorded(dir.path(), |recorder| {
        recorder.sample(Moment::from_ms(10), 1, LINE, 1.0).unwrap();
    });
    let none = switch_of_run(&folder, &rig, None, None, None).unwrap_err();
    assert!(none.to_string().contains("no ramps"), "{none}");
    assert!(leak_down(&folder, &rig, None).unwrap_err().to_string().contains("leak"));
    assert!(tank_level(&folder, &rig).unwrap_err().to_string().contains("level"));
    assert!(dead_head(&folder, &rig).unwrap_err().to_string().contains("dead_head"));
}

#[test]
fn a_leak_down_is_judged() {
    let verdict = |per_min: f64| {
        let dir = tempfile::tempdir().unwrap();
        let (folder, rig) = recorded(dir.path(), |recorder| {
            recorder.event(Moment::from_ms(0), "mark", 1, "kind=leak").unwrap();
            for i in 0..3000_u64 {
                let t = 0.02 * i as f64;
                let noise = 0.3 * ((i * 7919) % 13) as f64 / 13.0;
                let p = 800.0 - per_min * t / 60.0 + noise;
                recorder.sample(Moment::from_ms(20 * i), 1, LINE, p).unwrap();
                recorder.sample(Moment::from_ms(20 * i), 1, SUPPLY, 13.8).unwrap();
                recorder.sample(Moment::from_ms(20 * i), 1, CUP, 0.0).unwrap();
            }
            recorder.event(Moment::from_ms(60_000), "mark", 1, "kind=end;of=leak").unwrap();
        });
        let outcome = leak_down(&folder, &rig, None).unwrap();
        let leak = item(&judged(&outcome), "line.leak");
        assert!((leak.value.unwrap() - per_min).abs() < 0.5, "{leak:?}");
        leak.verdict
    };
    // The customary limit here: a tenth of 800 kPa a minute.
    assert_eq!([12.0, 200.0].map(verdict), [Verdict::Pass, Verdict::Fail]);
}
