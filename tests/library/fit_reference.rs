//! The duty for a flow, as a calibration answers it, against a table computed elsewhere.
//!
//! Source: `fits/inverse_duty.csv` and `fits/operating_points.csv`, closed-form and root-found values by independent
//! libraries (grade D in the tables' README); `Q = a V d - b P - c` meets `P = P_boost + P_check + (Q/K)^2`. The unit of
//! pressure is psi there; the law does not care.

use crate::common;
use common::{Row, reference, rows};
use dutycup::door::fit::ask::{Ask, Refusal};
use dutycup::door::fit::model::{NozzleLaw, PairModel, Reference};
use dutycup::door::fit::surface::Surface;
use dutycup::door::fit::terms::{LawTerm, Scaling};
use nalgebra::DMatrix;

/// A surface that is exactly `a x - b P - c`.
fn surface(row: &Row) -> Surface {
    let (a, b, c) = (row.num("a_mL_min_V"), row.num("b_mL_min_psi"), row.num("c_mL_min"));
    let scaling = Scaling { effective_v: (0.0, 12.0), pressure_kpa: 100.0, flow_ml_min: 1000.0 };
    Surface {
        scaling,
        terms: vec![LawTerm::Level, LawTerm::Rise, LawTerm::Slip],
        coefficients: vec![-c, 12.0 * a, 100.0 * b],
    }
}

fn square_law(row: &Row) -> bool {
    (row.num("n") - 0.5).abs() < 1e-12
}

fn model(row: &Row) -> PairModel {
    PairModel {
        surface: surface(row),
        covariance: DMatrix::zeros(3, 3),
        dof: f64::INFINITY,
        freewheel_v: 0.0,
        nozzles: vec![NozzleLaw {
            name: "A".into(),
            k: row.num("K_mL_min_psi_n"),
            flow_range: (10.0, 900.0),
            duty_range: (0.1, 1.0),
            duties: vec![0.1, 1.0],
            widening: vec![],
        }],
        shifts: vec![],
        reference: Reference {
            supply_v: row.num("supply_V"),
            supply_range_v: (5.0, 15.0),
            water_degc: Some(20.0),
            line_range_kpa: (0.0, 500.0),
            out_range_kpa: (0.0, 0.0),
            pressure_measured: true,
            methanol_mass_fraction: 0.0,
            pwm_hz: None,
            check_valve_kpa: None,
        },
    }
}

#[test]
fn duties_for_flows_match() {
    for row in rows(&reference("fits/inverse_duty.csv")).iter().filter(|r| square_law(r)) {
        let boost_kpa = row.num("boost_psi") + row.num("check_valve_psi");
        let ask = Ask { boost_kpa, ..Ask::default() };
        let answer = model(row).duty_for(&ask, row.num("q_target_mL_min"));
        if row.text("reachable") == "yes" {
            let duty = answer.unwrap().estimate.value / 100.0;
            assert!((duty - row.num("duty")).abs() < 1e-8, "{}: {duty}", row.text("case_id"));
        } else {
            assert!(matches!(answer, Err(Refusal::Unreachable { nothing_flows: false, .. })), "{answer:?}");
        }
    }
}

#[test]
fn nothing_sprays_where_the_line_cannot_exceed_boost() {
    // Common practice, no source: line pressure must exceed boost or nothing sprays.
    let table = rows(&reference("fits/operating_points.csv"));
    let row = table.iter().find(|r| r.text("case_id") == "O6").unwrap();
    let ask = Ask { boost_kpa: 22.0, ..Ask::default() };
    let answer = model(row).flow_at(&ask, 6.0).unwrap();
    assert!(answer.estimate.value.abs() < 1e-12);
    assert!(answer.warnings.iter().any(|w| w.contains("nothing flows")), "{:?}", answer.warnings);
}
