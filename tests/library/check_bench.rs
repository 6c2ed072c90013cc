//! The survey of a resting bench: what each channel's reading is said to mean, on the virtual bench with one thing
//! wrong at a time.

use dutycup::door::chance::Seed;
use dutycup::door::port::in_process::{InProcess, Pace, StopFlag};
use dutycup::door::quantity::Units;
use dutycup::door::run::desk::Desk;
use dutycup::door::run::remarks;
use dutycup::door::run::survey::{Survey, survey};
use dutycup::door::script::rig::Rig;
use dutycup::door::script::rig_file;
use dutycup::door::script::yaml::Text;
use dutycup::door::virtual_bench;
use std::path::Path;
use std::time::Duration;

const SPAN: Duration = Duration::from_secs(3);

/// The virtual rig with pieces of its text replaced.
fn rig(changes: &[(&str, &str)]) -> Rig {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("rigs/virtual.yaml");
    let mut text = std::fs::read_to_string(path).expect("the virtual rig");
    for (old, new) in changes {
        assert!(text.contains(old), "{old}");
        text = text.replacen(old, new, 1);
    }
    rig_file::read(&Text::new("rig.yaml", text)).unwrap_or_else(|e| panic!("{e}"))
}

/// Surveys a rig whose instruments are plugged into the ports named.
fn look(rig: &Rig, plugged: &[&str]) -> Survey {
    let section = rig.virtual_bench.as_ref().expect("a virtual bench");
    let bench = virtual_bench::build(section, Seed(3)).unwrap_or_else(|e| panic!("{e}"));
    let mut ports = InProcess::new(bench, plugged.iter().copied(), Pace::Virtual, StopFlag::default());
    let mut desk = Desk::new(rig).unwrap_or_else(|e| panic!("{e}"));
    let mut looks = 0;
    let seen = survey(rig, &mut desk, &mut ports, Vec::new(), SPAN, &mut |_| looks += 1);
    assert!(looks >= 4, "what is known so far is shown while it listens");
    seen
}

fn names(rig: &Rig) -> Vec<&str> {
    rig.instruments.iter().map(|i| i.name.as_str()).collect()
}

fn remark(rig: &Rig, role: &str) -> Option<String> {
    let seen = look(rig, &names(rig));
    let words = remarks::of_channels(rig, &seen, SPAN, Units::Us);
    let at = rig.channels.iter().position(|c| c.role.word() == role);
    words[at.expect("a channel")].clone()
}

#[test]
fn a_sound_bench_gets_no_remark() {
    for changes in [&[][..], &[("from: drawn", "from: none")][..]] {
        let rig = rig(changes);
        let seen = look(&rig, &names(&rig));
        let said: Vec<_> = remarks::of_channels(&rig, &seen, SPAN, Units::Metric)
            .into_iter()
            .flatten()
            .chain(remarks::of_bench(&rig, &seen))
            .collect();
        assert!(said.is_empty(), "{said:?}");
    }
}

#[test]
fn what_is_wrong_with_a_channel_is_said() {
    /// Role, what is changed, what is said.
    type Case<'a> = (&'a str, &'a [(&'a str, &'a str)], &'a str);
    let cases: [Case<'_>; 6] = [
        // A zero off by 20 kPa where 1 kPa is stated.
        (
            "line_pressure",
            &[("from: drawn", "from: given"), ("given: {gauge_zero_kpa: 0", "given: {gauge_zero_kpa: 20")],
            "not zero: vent the line",
        ),
        // A scaling that makes half of it.
        (
            "ambient_pressure",
            &[
                ("{reads: 4.5, is: 150 kPa abs}", "{reads: 4.5, is: 80 kPa abs}"),
                ("range: [80 kPa abs", "range: [10 kPa abs"),
            ],
            "not an ambient pressure",
        ),
        ("supply", &[("start_v: 13.8", "start_v: 6")], "below 8 V: supply on? fuse?"),
        (
            "water_temperature",
            &[
                ("{reads: 1, is: 100 degC}", "{reads: 1, is: 1 degC}"),
                ("range: [0 degC, 60 degC]", "range: [-5 degC, 60 degC]"),
            ],
            "not water to spray",
        ),
        ("switch", &[("MEAS? (@101,104)", "MEAS? (@101,199)")], "readings where 100 were due: raise `every`"),
        (
            "cup_mass",
            &[("m {value} {unit} {stable}", "w {value} {unit} {stable}")],
            "nothing came: check the wiring",
        ),
    ];
    for (role, changes, wanted) in cases {
        let said = remark(&rig(changes), role);
        assert!(said.as_deref().is_some_and(|s| s.contains(wanted)), "{role}: {said:?}");
    }
}

#[test]
fn two_ports_that_lead_to_each_others_instruments_are_named() {
    let rig = rig(&[]);
    let mut plugged = names(&rig);
    let at = |name| plugged.iter().position(|n| *n == name).expect("an instrument");
    let (generator, supply) = (at("generator"), at("supply"));
    plugged.swap(generator, supply);
    let seen = look(&rig, &plugged);
    assert!(!seen.instruments[generator].ready && !seen.instruments[supply].ready);
    let said = remarks::of_bench(&rig, &seen);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].contains("`generator` leads to `supply`: exchange"), "{said:?}");
    assert!(said[1].contains("`supply` leads to `generator`: exchange"), "{said:?}");
}
