//! The reduction of switch ramps against tables computed elsewhere, and against ramps that can be done by hand.

#![allow(clippy::unwrap_used, reason = "a failure here fails the test")]

use crate::common;
use common::{Tally, table};
use dutycup::door::judge::switch::{items, trip};
use dutycup::door::reduce::gauge::Gauge;
use dutycup::door::reduce::switch_points::{Point, SwitchPoints};
use dutycup::door::reduce::switch_ramps::{Ramp, reduce};
use dutycup::door::reduce::switch_run::from_csv;
use dutycup::door::reduce::{ramps_csv, switch_cycles};
use dutycup::door::script::rig::SwitchSpec;
use dutycup::door::uncertainty::Bound;
use dutycup::door::verdict::item::{Verdict, Verdicts};
use std::fmt::Write as _;

const PSI: f64 = 6.894_757_293_168_361;

/// A gauge without error, so that only what the ramps say remains.
fn perfect() -> Gauge {
    Gauge { zero: Bound::None, gain: Bound::None, from: "rig file".into(), ..Gauge::assumed() }
}

/// Two readings a ramp: the last before the switch changed, and the first after.
fn pairs(case: &str, rising: bool) -> SwitchPoints {
    let rows = table("conformity/trip_ramps_data.csv");
    let mut text = String::from("ramp,time_s,line_pressure_psi,switch\n");
    for row in rows.iter().filter(|r| r.text("case_id") == case) {
        let (ramp, up) = (row.text("ramp"), u8::from(rising));
        let (before, after) = (row.num("last_pressure_before_psi"), row.num("first_pressure_after_psi"));
        // The table gives the lower pressure first, whichever way the ramp went.
        let (first, second) = if rising { (before, after) } else { (after, before) };
        writeln!(text, "{ramp},0,{first},{}\n{ramp},10,{second},{up}", 1 - up).unwrap();
    }
    let mut ramps = Vec::new();
    ramps_csv::read_from(text.as_bytes(), "table", &mut |r: Ramp| ramps.push(reduce(&r, 0.0))).unwrap();
    SwitchPoints::new(ramps, perfect())
}

#[test]
fn midpoints_scatter_and_budget_of_the_table() {
    let mut tally =
        Tally::new("conformity/trip_ramps_expected.csv (midpoint statistics, half step rectangular)");
    for row in table("conformity/trip_ramps_expected.csv") {
        let case = row.text("case_id").to_owned();
        let rising = case == "trip_up";
        let points = pairs(&case, rising);
        let point: &Point = if rising { points.trip.as_ref() } else { points.reset.as_ref() }.unwrap();
        let random = point.random.as_ref().unwrap();
        let mut cell = |name: &str, got: f64, tolerance: f64| {
            tally.within(format!("{case} {name}"), got, row.num(name), tolerance);
        };
        cell("mean_midpoint_psi", point.value_kpa / PSI, 1e-12);
        cell("sd_psi", point.scatter.unwrap().0 / PSI, 1e-12);
        cell("u_resolution_half_step_rect_psi", point.step_u_kpa / PSI, 1e-12);
        cell("u_combined_psi", random.u / PSI, 1e-12);
        cell("df_eff", random.dof, 1e-6);
        cell("n", point.n as f64, 0.0);
    }
    tally.done(12);
}

#[test]
fn tolerance_interval_of_single_trips() {
    // ISO 16269-6 type tables as collected in stats/tolerance_factors.csv: n = 10, 95 %, 95 %: 3.39.
    let points = pairs("trip_up", true);
    let point = points.trip.unwrap();
    let factor = point.tolerance_kpa().unwrap() / point.scatter.unwrap().0;
    assert!((factor - 3.39).abs() < 0.005, "{factor}");
}

/// Ramps as text: up and down at a rate, the switch making and breaking where it should, with a lag.
fn triangle(rates_psi_s: &[f64], trip: f64, reset: f64, lag_s: f64) -> String {
    let mut text = String::from("ramp,time_s,line_pressure_psi,switch\n");
    for (i, rate) in rates_psi_s.iter().enumerate() {
        for up in [true, false] {
            let edge_s = lag_s + if up { (trip - 20.0) / rate } else { (40.0 - reset) / rate };
            for k in 0..=(20.0 / rate / 0.01) as u32 {
                let t = 0.01 * f64::from(k);
                let p = if up { 20.0 + rate * t } else { 40.0 - rate * t };
                let made = u8::from((t > edge_s) == up);
                let number = 2 * i + usize::from(!up);
                writeln!(text, "{number},{t:.2},{p:.4},{made}").unwrap();
            }
        }
    }
    text
}

fn from_text(text: &str, gauge: Gauge) -> SwitchPoints {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("ramps.csv");
    std::fs::write(&path, text).unwrap();
    from_csv(&path, gauge).unwrap()
}

#[test]
fn two_rates_give_the_point_of_zero_rate() {
    // By hand: a lag of 0.4 s at 1 and 4 psi/s shifts the trip by 0.4 and 1.6 psi, and the reset by as much downward.
    let points = from_text(&triangle(&[1.0, 4.0, 1.0, 4.0], 30.0, 26.0, 0.4), perfect());
    let (trip, reset) = (points.trip.unwrap(), points.reset.unwrap());
    assert!((points.lag.value_s - 0.4).abs() < 0.01, "{:?}", points.lag);
    assert!((trip.value_kpa / PSI - 30.0).abs() < 0.03, "{}", trip.value_kpa / PSI);
    assert!((reset.value_kpa / PSI - 26.0).abs() < 0.03, "{}", reset.value_kpa / PSI);
    assert!((points.differential.unwrap().value_kpa / PSI - 4.0).abs() < 0.05);
}

#[test]
fn a_file_with_the_customary_gauge_is_judged_with_its_parts_apart() {
    let text = triangle(&[1.0; 6], 30.1, 26.2, 0.0);
    let points = from_text(&text, Gauge::assumed());
    let wanted = SwitchSpec { set_point_kpa: 30.0 * PSI, tolerance_kpa: 3.0 * PSI, reset_kpa: None };
    let judged = Verdicts::judge(&items(&points, Some(&wanted)), &[]).items;
    let verdicts: Vec<(&str, Verdict)> = judged.iter().map(|i| (i.id.as_str(), i.verdict)).collect();
    assert_eq!(
        verdicts,
        [
            ("switch.trip", Verdict::Pass),
            ("switch.reset", Verdict::Skipped),
            ("switch.differential", Verdict::Skipped),
            ("switch.repeatability", Verdict::Skipped),
            ("switch.chatter", Verdict::Skipped),
        ]
    );
    insta::assert_snapshot!(judged[0].note);
    let tight = SwitchSpec { tolerance_kpa: 0.5 * PSI, ..wanted };
    assert_eq!(Verdicts::judge(&[trip(&points, Some(&tight))], &[]).verdict, Verdict::Undecided);
    let off = SwitchSpec { set_point_kpa: 40.0 * PSI, ..wanted };
    assert_eq!(Verdicts::judge(&[trip(&points, Some(&off))], &[]).verdict, Verdict::Fail);
    let csv = switch_cycles::to_csv(&points.ramps);
    assert_eq!(csv.lines().count(), 13);
}
