//! Where pump and nozzle agree, and the duty for a wanted flow, against closed forms and root finders.
//!
//! Source: `P = Pb + Pc + (Q/K)^(1/n)`, `Q = a V d - b P - c`, solved independently with scipy. Cases with an exponent
//! other than 0.5 are left out: the pair's nozzle follows the square-root law.

use crate::common;
use common::{Row, Tally, table};
use dutycup::door::fit::surface::{Operating, Outlet, Surface};
use dutycup::door::fit::terms::{At, Away, Drive, LawTerm, Scaling};
use dutycup::door::numerics::quadrature::root;

/// 1 psi in kPa, exact.
const KPA_PER_PSI: f64 = 6.894_757_293_168_361;

/// A drive without a free-wheel voltage: effective voltage is duty times supply.
fn drive(duty: f64, supply_v: f64) -> Drive {
    Drive { duty, supply_v, freewheel_v: 0.0 }
}

/// The pump of a case as a surface, its nozzle, and what it sprays against.
fn pair(row: &Row) -> (Surface, Outlet) {
    let surface = Surface {
        scaling: Scaling { effective_v: (0.0, 1.0), pressure_kpa: KPA_PER_PSI, flow_ml_min: 1.0 },
        terms: vec![LawTerm::Level, LawTerm::Rise, LawTerm::Slip],
        coefficients: vec![-row.num("c_mL_min"), row.num("a_mL_min_V"), row.num("b_mL_min_psi")],
    };
    let outlet = Outlet {
        k: row.num("K_mL_min_psi_n") / KPA_PER_PSI.sqrt(),
        out_kpa: (row.num("boost_psi") + row.num("check_valve_psi")) * KPA_PER_PSI,
    };
    (surface, outlet)
}

fn operate(row: &Row, duty: f64) -> Operating {
    let (surface, outlet) = pair(row);
    surface.operate(&drive(duty, row.num("supply_V")), &outlet, Away::default())
}

fn square_root_law(row: &Row) -> bool {
    (row.num("n") - 0.5).abs() < 1e-9
}

#[test]
fn operating_points() {
    let mut tally = Tally::new("operating points of pump and nozzle, scipy");
    for row in table("fits/operating_points.csv").iter().filter(|r| square_root_law(r)) {
        let id = row.text("case_id");
        let o = operate(row, row.num("duty"));
        tally.within(format!("{id} flow"), o.flow, row.num("q_mL_min"), 1e-7);
        tally.holds(format!("{id} flows"), (o.flow > 0.0) == (row.text("flows") == "yes"));
        if let Some(line) = row.maybe("line_psi") {
            tally.within(format!("{id} line pressure"), o.line_kpa / KPA_PER_PSI, line, 1e-7);
            let per_duty = o.share * row.num("a_mL_min_V") * row.num("supply_V");
            tally.digits(format!("{id} flow per duty"), per_duty, row.num("dQ_dduty_mL_min"), 7.0);
        }
        // The dead band ends where the pump just reaches the pressure it sprays against.
        let end = row.num("dead_band_duty");
        tally.within(format!("{id} end of dead band"), operate(row, end).free, 0.0, 1e-9);
        tally.holds(format!("{id} dead below"), operate(row, end - 1e-6).flow <= 0.0);
        tally.holds(format!("{id} flows above"), operate(row, end + 1e-6).flow > 0.0);
    }
    tally.done(8 * 5 + 12);
}

#[test]
fn duty_for_a_wanted_flow() {
    let mut tally = Tally::new("duty for a wanted flow, closed form");
    for row in table("fits/inverse_duty.csv").iter().filter(|r| square_root_law(r)) {
        let id = row.text("case_id");
        let (wanted, supply) = (row.num("q_target_mL_min"), row.num("supply_V"));
        let volts = root(0.0, 2.0 * supply, |v| operate(row, v / supply).flow - wanted).unwrap();
        let duty = volts / supply;
        tally.digits(format!("{id} duty"), duty, row.num("duty"), 9.0);
        let line = operate(row, duty).line_kpa / KPA_PER_PSI;
        tally.digits(format!("{id} line pressure"), line, row.num("line_psi"), 8.0);
        tally.holds(format!("{id} reachable"), (duty <= 1.0) == (row.text("reachable") == "yes"));
    }
    tally.done(9);
}

/// A pump that holds its pressure whatever flows, so that the nozzle alone decides: mL/min per psi of sagging.
const STIFF: f64 = 1e6;

#[test]
fn nozzle_against_back_pressure() {
    let mut tally = Tally::new("nozzle against boost and check valve, arithmetic");
    let law = |row: &Row| (row.num("exponent_n") - 0.5).abs() < 1e-9;
    for row in table("nozzle/back_pressure_cases.csv").iter().filter(|r| law(r)) {
        let (id, line) = (row.text("case_id"), row.num("line_psi_gauge"));
        let surface = Surface {
            scaling: Scaling { effective_v: (0.0, 1.0), pressure_kpa: KPA_PER_PSI, flow_ml_min: 1.0 },
            terms: vec![LawTerm::Level, LawTerm::Slip],
            coefficients: vec![STIFF * line, STIFF],
        };
        let density = (row.num("rho_ref_kg_m3") / row.num("rho_kg_m3")).sqrt();
        let outlet = Outlet {
            k: density * row.num("K_mL_min_per_psi_to_n") / KPA_PER_PSI.sqrt(),
            out_kpa: (row.num("boost_psi_gauge") + row.num("check_valve_drop_psi")) * KPA_PER_PSI,
        };
        let q = surface.operate(&drive(1.0, 1.0), &outlet, Away::default()).flow;
        tally.within(format!("{id} flow"), q, row.num("q_mL_min"), 1e-2);
        let q_m = q / 60.0 * row.num("rho_kg_m3") * 1e-3;
        tally.within(format!("{id} mass flow"), q_m, row.num("qm_g_s"), 2e-4);
    }
    tally.done(14);
}

#[test]
fn pump_that_slips() {
    let mut tally = Tally::new("displacement pump with slip, arithmetic");
    for row in table("nozzle/pd_pump.csv") {
        let surface = Surface {
            scaling: Scaling { effective_v: (0.0, 1.0), pressure_kpa: KPA_PER_PSI, flow_ml_min: 1.0 },
            terms: vec![LawTerm::Rise, LawTerm::Slip],
            coefficients: vec![row.num("displacement_cm3_rev"), row.num("slip_mL_min_per_psi")],
        };
        let (rpm, line_kpa) = (row.num("speed_rpm"), row.num("pressure_psi") * KPA_PER_PSI);
        let at = At { drive: drive(1.0, rpm), line_kpa, away: Away::default() };
        let terms = surface.terms.iter().zip(&surface.coefficients);
        let q: f64 = terms.map(|(t, c)| c * t.value(&at, &surface.scaling)).sum();
        tally.digits(format!("{rpm} rpm"), q.max(0.0), row.num("q_delivered_mL_min"), 12.0);
    }
    tally.done(4);
}
