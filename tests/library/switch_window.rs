//! The window of a pressure switch, on pairs that can be done by hand.
//!
//! The pair here is one line of arithmetic: flow proportional to duty, line pressure above boost by the square of flow
//! over the nozzle's coefficient.

#![allow(clippy::unwrap_used, reason = "a failure here fails the test")]

use dutycup::door::judge::window::{
    Advice, ByBoost, Cell, Edge, Lamp, LineAt, MARGIN_KPA, NoWindow, Pair, Switch, Window, cells_from,
    margin, window,
};
use dutycup::door::judge::window_pair::cells;
use dutycup::door::judge::window_text::{sentences, to_csv};
use dutycup::door::reduce::table;
use dutycup::door::verdict::item::{Item, Verdict, Verdicts};

const PSI: f64 = 6.894_757_293_168_361;

/// The window as an item.
fn judged(answer: &Result<Window, NoWindow>) -> Item {
    Verdicts::judge(&[margin(answer)], &[]).items.remove(0)
}

/// A pair that sprays `full` mL/min at 100 % duty through a nozzle of 10 US gal/h at 100 psi.
fn pair(full: f64, u_kpa: f64) -> impl Fn(f64, f64) -> Result<LineAt, String> {
    // 10 US gal/h at 100 psi: 63.09 mL/min per sqrt(psi) (common practice, no source for the nozzle itself).
    let k = 63.0901964 / PSI.sqrt();
    move |duty_pct: f64, boost_kpa: f64| {
        let flow_ml_min = full * duty_pct / 100.0;
        Ok(LineAt { flow_ml_min, line_kpa: boost_kpa + (flow_ml_min / k).powi(2), line_u95_kpa: u_kpa })
    }
}

fn switch(trip_psi: f64, reset_psi: f64, u_psi: f64) -> Switch {
    let edge = |psi: f64| Edge { mean_kpa: psi * PSI, u95_kpa: u_psi * PSI, scatter_kpa: 0.0 };
    Switch { trip: edge(trip_psi), reset: edge(reset_psi) }
}

#[test]
fn the_lowest_pressure_belongs_to_the_start_of_spraying() {
    // A pair that shows 21 psi at 15 % duty and 20 psi boost shows about 10 psi at 8.4 psi boost (design figure).
    let full = 63.0901964 / 0.15;
    let p = pair(full, 0.0);
    assert!((p.line(15.0, 20.0 * PSI).unwrap().line_kpa / PSI - 21.0).abs() < 0.01);
    let cells = cells_from(8.4 * PSI, 15.0, 20.0 * PSI);
    let w = window(&p, &switch(30.0, 26.0, 0.7), 20.0 * PSI, &cells, MARGIN_KPA).unwrap();
    assert_eq!(w.lowest, 0);
    assert!((w.cells[0].line.line_kpa / PSI - 9.4).abs() < 0.01);
    // Reset 26 psi stands above 20 psi and margin; trip 30 psi stands far above 9.4 psi: dark while spraying.
    assert_eq!(w.by_boost, ByBoost::Dark);
    assert!(w.cells.iter().all(|c| c.lamp == Lamp::Dark));
    let judged = judged(&Ok(w.clone()));
    assert_eq!((judged.id.as_str(), judged.verdict), ("switch.window", Verdict::Fail));
    // No set point is right; by hand: lowest = 20 + margin + 0.7 + 4 psi.
    let Advice::None { lowest_kpa, from } = w.advice else { panic!("{:?}", w.advice) };
    assert!((lowest_kpa - (24.7 * PSI + MARGIN_KPA)).abs() < 1e-9);
    // And the flow from which on it would be: line = lowest + margin + 0.7 psi, at the start of spraying.
    let line = lowest_kpa + MARGIN_KPA + 0.7 * PSI;
    let flow = 63.0901964 * ((line / PSI) - 8.4).sqrt();
    let from = from.unwrap();
    assert!((from.flow_ml_min - flow).abs() < 0.1 && (from.line_kpa - line).abs() < 0.1, "{from:?}");
    insta::assert_snapshot!(sentences(&w).join("\n"));
}

#[test]
fn every_lamp_by_hand() {
    let p = pair(600.0, 0.0);
    let cells =
        [Cell { boost_kpa: 8.0 * PSI, duty_pct: 60.0 }, Cell { boost_kpa: 15.0 * PSI, duty_pct: 80.0 }];
    // Flow 360 mL/min: (360 / 63.09)^2 = 32.56 psi above 8 psi boost.
    let check = |trip: f64, reset: f64, peak: f64, lamp: Lamp, by: ByBoost, verdict: Verdict| {
        let answer = window(&p, &switch(trip, reset, 0.7), peak * PSI, &cells, MARGIN_KPA);
        let w = answer.clone().unwrap();
        assert!((w.cells[w.lowest].line.line_kpa / PSI - 40.56).abs() < 0.01);
        assert_eq!((w.cells[w.lowest].lamp, w.by_boost), (lamp, by), "{trip} {reset} {peak}");
        assert_eq!(judged(&answer).verdict, verdict, "{trip} {reset} {peak}");
    };
    check(30.0, 26.0, 20.0, Lamp::Lit, ByBoost::Dark, Verdict::Pass);
    check(30.0, 26.0, 28.0, Lamp::Lit, ByBoost::StaysLit, Verdict::Fail);
    check(30.0, 26.0, 31.0, Lamp::Lit, ByBoost::LitAlone, Verdict::Fail);
    check(60.0, 50.0, 20.0, Lamp::Dark, ByBoost::Dark, Verdict::Fail);
    check(40.6, 36.0, 20.0, Lamp::Unsure, ByBoost::Dark, Verdict::Fail);
    check(39.4, 36.0, 20.0, Lamp::Lit, ByBoost::Dark, Verdict::Undecided);
    check(30.0, 26.0, 26.2, Lamp::Lit, ByBoost::Unsure, Verdict::Fail);
    check(30.0, 26.0, 24.8, Lamp::Lit, ByBoost::Dark, Verdict::Undecided);
}

#[test]
fn a_set_point_is_suggested_with_its_room() {
    let p = pair(600.0, 1.0);
    let cells = [Cell { boost_kpa: 8.0 * PSI, duty_pct: 90.0 }, Cell { boost_kpa: 8.0 * PSI, duty_pct: 0.0 }];
    let w = window(&p, &switch(30.0, 26.0, 0.7), 20.0 * PSI, &cells, MARGIN_KPA).unwrap();
    let Advice::SetPoint { low_kpa, high_kpa } = w.advice else { panic!("{:?}", w.advice) };
    assert!((low_kpa - (24.7 * PSI + MARGIN_KPA)).abs() < 1e-9);
    let line = (8.0 + (540.0_f64 / 63.0901964).powi(2)) * PSI;
    assert!((high_kpa - (line - MARGIN_KPA - (0.7 * PSI).hypot(1.0))).abs() < 1e-6);
    assert_eq!(w.silent, 1);
    insta::assert_snapshot!(format!("{}\n{}", sentences(&w).join("\n"), to_csv(&w)));
}

#[test]
fn where_nothing_is_known_nothing_is_judged() {
    let silent =
        |_: f64, boost_kpa: f64| Ok(LineAt { flow_ml_min: 0.0, line_kpa: boost_kpa, line_u95_kpa: 0.0 });
    let cells = cells_from(50.0, 10.0, 140.0);
    let answer = window(&silent, &switch(30.0, 26.0, 0.7), 140.0, &cells, MARGIN_KPA);
    assert_eq!(answer, Err(NoWindow::NothingSprays));
    let unknown = |_: f64, _: f64| -> Result<LineAt, String> { Err("line pressure was not measured".into()) };
    let answer = window(&unknown, &switch(30.0, 26.0, 0.7), 140.0, &cells, MARGIN_KPA);
    let judged = judged(&answer);
    assert_eq!(judged.verdict, Verdict::Undecided);
    assert!(judged.note.contains("not measured"), "{}", judged.note);
}

#[test]
fn cells_come_from_a_small_table() {
    let read = |text: &str| cells(&table::parse("cells.csv", text.as_bytes()).unwrap());
    let got = read("rpm,boost_psi,duty_pct\n3000,8.4,15\n5000,20,40\n").unwrap();
    assert_eq!(got.len(), 2);
    assert!((got[1].boost_kpa - 20.0 * PSI).abs() < 1e-9 && (got[1].duty_pct - 40.0).abs() < 1e-12);
    assert_eq!(read("boost_kpa,duty_pct\n50,\n60,140\n").unwrap_err().0.len(), 2);
    assert_eq!(read("boost,duty\n50,10\n").unwrap_err().0.len(), 2);
}
