//! Switches and ramps that are bad: each ends with a clear finding and an honest verdict.

#![allow(clippy::unwrap_used, reason = "a failure here fails the test")]

use dutycup::door::judge::switch::items;
use dutycup::door::reduce::gauge::Gauge;
use dutycup::door::reduce::switch_faults::findings;
use dutycup::door::reduce::switch_points::SwitchPoints;
use dutycup::door::reduce::switch_ramps::{Ramp, reduce};
use dutycup::door::script::rig::SwitchSpec;
use dutycup::door::verdict::item::{Verdict, Verdicts};

const PSI: f64 = 6.894_757_293_168_361;

/// Six cycles between two pressures (psi), the contact as `made` says: pressure, whether it rises, time.
fn cycles(
    n: usize,
    low: f64,
    high: f64,
    made: impl Fn(f64, bool, f64) -> bool,
    full_duty: bool,
) -> SwitchPoints {
    let mut results = Vec::new();
    for i in 0..2 * n {
        let up = i % 2 == 0;
        let mut ramp = Ramp { label: (i + 1).to_string(), ..Ramp::default() };
        for k in 0..=1000 {
            let t = 0.02 * f64::from(k);
            let share = t / 20.0;
            let p = if up { low + (high - low) * share } else { high - (high - low) * share };
            // A small shift from cycle to cycle stands for scatter.
            let shift = 0.05 * (i / 2) as f64;
            ramp.push_pressure(t, (p + shift) * PSI);
            ramp.contact.push(t, made(p, up, t));
        }
        if full_duty {
            ramp.push_duty(20.0);
            ramp.push_duty(100.0);
        }
        results.push(reduce(&ramp, 0.0));
    }
    SwitchPoints::new(results, Gauge::assumed())
}

fn wanted() -> SwitchSpec {
    SwitchSpec { set_point_kpa: 30.0 * PSI, tolerance_kpa: 3.0 * PSI, reset_kpa: Some(26.0 * PSI) }
}

/// The findings' names, without those of the way these ramps were made; and the verdicts of trip and reset.
fn outcome(points: &SwitchPoints) -> (Vec<&'static str>, Verdict, Verdict) {
    const OF_THE_RAMPS: [&str; 3] = ["assumed.gauge", "switch.drifts", "switch.lag_not_known"];
    let all = findings(points, Some(&wanted()));
    let ids = all.iter().map(|f| f.id).filter(|id| !OF_THE_RAMPS.contains(id));
    let judged = Verdicts::judge(&items(points, Some(&wanted())), &[]).items;
    (ids.collect(), judged[0].verdict, judged[1].verdict)
}

/// A sound contact: makes at 30, breaks at 26 psi.
fn sound(p: f64, up: bool, _: f64) -> bool {
    if up { p > 30.0 } else { p > 26.0 }
}

#[test]
fn every_bad_condition_is_named() {
    use Verdict::{Error, Fail, Pass, Undecided};
    let check = |name: &str, points: SwitchPoints, ids: &[&str], trip: Verdict, reset: Verdict| {
        let got = outcome(&points);
        assert_eq!((got.0.as_slice(), got.1, got.2), (ids, trip, reset), "{name}");
    };
    check("sound", cycles(6, 20.0, 40.0, sound, false), &[], Pass, Pass);
    check(
        "never trips",
        cycles(6, 20.0, 45.0, |_, _, _| false, false),
        &["switch.never_trips"],
        Fail,
        Undecided,
    );
    check(
        "stuck closed",
        cycles(6, 0.0, 45.0, |_, _, _| true, false),
        &["switch.stuck_closed"],
        Fail,
        Undecided,
    );
    check(
        "trips at zero",
        cycles(6, -0.3, 45.0, |p, _, _| p > 0.2, false),
        &["switch.trips_at_zero"],
        Fail,
        Fail,
    );
    check(
        "never resets",
        cycles(6, 10.0, 45.0, |p, up, _| !up || p > 30.0, false),
        &["switch.never_resets"],
        Pass,
        Fail,
    );
    let restless = |p: f64, up: bool, t: f64| sound(p, up, t) && !((t * 2.0) as u32).is_multiple_of(3);
    check("chatters", cycles(6, 20.0, 40.0, restless, false), &["switch.chatters"], Pass, Fail);
    check(
        "region not reached",
        cycles(6, 10.0, 25.0, |_, _, _| false, false),
        &["line.region_not_reached"],
        Error,
        Undecided,
    );
    check(
        "leak larger than the pump",
        cycles(6, 1.0, 6.0, |_, _, _| false, true),
        &["line.leak_larger_than_pump"],
        Error,
        Undecided,
    );
    check("one cycle", cycles(1, 20.0, 40.0, sound, false), &["switch.too_few_cycles"], Undecided, Undecided);
    check("no rise", SwitchPoints::new(Vec::new(), Gauge::assumed()), &["switch.no_rise"], Error, Undecided);
}

#[test]
fn chatter_fails_an_item_of_its_own() {
    let restless = |p: f64, up: bool, t: f64| sound(p, up, t) && !((t * 2.0) as u32).is_multiple_of(3);
    let points = cycles(6, 20.0, 40.0, restless, false);
    let judged = Verdicts::judge(&items(&points, None), &[]).items;
    let contact = judged.iter().find(|i| i.id == "switch.chatter").unwrap();
    assert_eq!(contact.verdict, Verdict::Fail);
}

#[test]
fn findings_say_what_was_found_and_what_to_do() {
    let shown = |points: &SwitchPoints| {
        let all = findings(points, Some(&wanted()));
        all.iter()
            .map(|f| format!("{}: {} [{}]", f.id, f.what, f.likely_cause))
            .collect::<Vec<_>>()
            .join("\n")
    };
    insta::assert_snapshot!(shown(&cycles(6, 20.0, 45.0, |_, _, _| false, false)));
    insta::assert_snapshot!(shown(&cycles(6, 1.0, 6.0, |_, _, _| false, true)));
    let judged =
        Verdicts::judge(&items(&cycles(6, 20.0, 45.0, |_, _, _| false, false), Some(&wanted())), &[]).items;
    insta::assert_snapshot!(judged[0].note);
}
