//! From mass to volume flow: buoyancy, Z factors, complete weighings with their budgets, timing.
//!
//! Sources: worked examples of balance manuals; ISO 8655-6 and ISO/TR 20461 (Z factors as reprinted); GTC and
//! `uncertainties` for the complete cases; ISO 4185 Annex A (formula from memory).

#![expect(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use crate::common;
use common::{Row, Tally, table};
use dutycup::door::fluid::weighing::{WEIGHTS_KG_M3, buoyancy_factor, jet_thrust_g};
use dutycup::door::fluid::{air, water};
use dutycup::door::numerics::distribution::coverage;
use dutycup::door::uncertainty::{Cause, Term, Uncertain};

/// 1 psi in kPa, exact.
const KPA_PER_PSI: f64 = 6.894_757_293_168_361;
/// 1 US gal/h in mL/min, exact.
const ML_MIN_PER_GAL_H: f64 = 3_785.411_784 / 60.0;

#[test]
fn buoyancy() {
    let mut tally = Tally::new("buoyancy factors");
    for row in table("weighing/buoyancy_factor.csv") {
        let (a, l, w) = (row.num("rho_air_kg_m3"), row.num("rho_liquid_kg_m3"), row.num("rho_weights_kg_m3"));
        let exact = buoyancy_factor(a, l, w);
        tally.digits(format!("{a} {l} exact"), exact, row.num("factor_exact"), 14.0);
        // ISO 4185 to first order lies off by what the table says.
        let ppm = 1e6 * (row.num("factor_iso4185_first_order") - exact);
        tally.within(format!("{a} {l} first order"), ppm, row.num("difference_ppm"), 1e-8);
    }
    // Worked examples of two balance manuals, and the convention of OIML R 111-1.
    let examples = table("weighing/published_examples.csv");
    let mut published = |case: &str, got: f64| {
        let row = examples.iter().find(|r| r.text("case").starts_with(case)).unwrap();
        let tolerance = row.num("tolerance_abs").max(1e-12);
        tally.within(case, got, row.num("published_value"), tolerance);
        // The manual's own formula for air differs from CIPM-2007 by 6e-5.
        let digits = if case.starts_with("p=") { 4.0 } else { 9.0 };
        tally.digits(format!("{case}, computed"), got, row.num("computed_value"), digits);
    };
    let torr_kpa = 101.325 / 760.0;
    published("p=715 torr", air::density_kg_m3(715.0 * torr_kpa, 20.0, 70.0).unwrap().value);
    published("reading 90.00000 g", 90.0 * buoyancy_factor(1.126, 2500.0, 8000.0));
    published("reading 2000.000 mg", 2000.0 * buoyancy_factor(1.2, 2700.0, 8000.0));
    published("rho_a=1.2; rho_x=8000", buoyancy_factor(1.2, 8000.0, 8000.0));
    published("rho_a=1.2; water 998.2", 1e3 * (buoyancy_factor(1.2, 998.2, 8000.0) - 1.0));
    tally.done(32);
}

#[test]
fn z_factors() {
    let mut tally = Tally::new("Z factors of ISO 8655-6");
    for row in table("weighing/z_factor_iso8655.csv") {
        let (t, p) = (row.num("water_temp_degC"), row.num("air_pressure_hPa") / 10.0);
        let rho = water::density_kg_m3(t, 0.0).unwrap().value;
        let of_air = air::density_kg_m3(p, t, 50.0).unwrap().value;
        let z = 1e3 * buoyancy_factor(of_air, rho, WEIGHTS_KG_M3) / rho;
        tally.digits(format!("{t} degC {p} kPa"), z, row.num("z_cipm_formulas_rh50_uL_per_mg"), 10.0);
        tally.within(format!("{t} degC {p} kPa, as printed"), z, row.num("z_published_uL_per_mg"), 1.1e-4);
    }
    tally.done(192);
}

/// Volume flow in mL/s of a complete case: mass difference, time, timing correction, densities of air, weights, cup and
/// line, drip.
fn volume_flow(x: &[f64], mass: f64, compression: f64) -> f64 {
    let [m, t, dt, of_air, of_weights, rho, drip] = x[..] else {
        return f64::NAN;
    };
    let read = (mass + m + drip) * buoyancy_factor(of_air, rho, of_weights);
    read / (t + dt) / (rho * compression) * 1e3
}

#[test]
fn complete_weighings_with_their_budgets() {
    let mut tally = Tally::new("complete weighings, GTC and uncertainties");
    for row in table("weighing/static_weighing_cases.csv") {
        one_weighing(&row, &mut tally);
    }
    tally.done(95);
}

fn one_weighing(row: &Row, tally: &mut Tally) {
    let id = row.text("case_id");
    let t = row.num("water_temp_degC");
    let of_air = air::density_kg_m3(
        row.num("air_pressure_hPa") / 10.0,
        row.num("air_temp_degC"),
        row.num("rh_percent"),
    );
    let of_air = of_air.unwrap().value;
    let cup = water::density_kg_m3(t, 0.0).unwrap().value;
    let line = water::density_kg_m3(t, row.num("line_gauge_psi") * KPA_PER_PSI).unwrap().value;
    let weights = row.num("rho_weights_kg_m3");
    let (time, dt) = (row.num("time_s"), row.num("timing_correction_added_s"));
    let mass = row.num("m_end_g") - row.num("m_start_g");
    let inputs = [0.0, time, dt, of_air, weights, cup, row.num("drip_correction_g")];
    let us = [
        "u_mass_difference_g",
        "u_time_s",
        "u_timing_correction_s",
        "u_rho_air_kg_m3",
        "u_rho_weights_kg_m3",
        "u_rho_water_kg_m3",
        "u_drip_g",
    ]
    .map(|c| row.num(c));
    let dofs = ["df_mass", "", "df_timing", "", "", "", ""]
        .map(|c| if c.is_empty() { f64::INFINITY } else { row.num(c) });
    let flow = |x: &[f64]| volume_flow(x, mass, line / cup);
    let qv = flow(&inputs);
    // Central differences of one standard uncertainty.
    let moved = |i: usize| {
        let (mut low, mut high) = (inputs, inputs);
        low[i] -= us[i];
        high[i] += us[i];
        0.5 * (flow(&high) - flow(&low))
    };
    let terms = (0..7).map(|i| Term::observed(Cause::Readings, moved(i), dofs[i])).collect();
    let all = Uncertain::new(qv, terms);
    let corrected = (mass + inputs[6]) * buoyancy_factor(of_air, cup, weights);
    // The table expands by one t of the effective degrees of freedom.
    let k = coverage(0.95, all.dof);
    let mut exact = vec![
        ("rho_air_cipm2007_kg_m3", of_air, 12.0),
        ("rho_water_atm_kg_m3", cup, 13.0),
        ("rho_water_line_kg_m3", line, 13.0),
        ("mass_corrected_g", corrected, 11.0),
        ("qm_g_s", corrected / (time + dt), 11.0),
        ("qv_mL_s", qv, 11.0),
        ("qv_mL_min", 60.0 * qv, 11.0),
        ("qv_US_gal_h", 60.0 * qv / ML_MIN_PER_GAL_H, 11.0),
        // Central differences over one standard uncertainty against exact derivatives: second order.
        ("u_qv_mL_s", all.u, 5.0),
        ("u_rel_percent", 100.0 * all.u / qv, 5.0),
        ("k_95_at_real_df", k, 5.0),
        ("k_95_at_df_truncated", coverage(0.95, all.dof.floor()), 9.0),
        ("U95_qv_mL_s", k * all.u, 5.0),
    ];
    if all.dof.is_finite() {
        exact.push(("df_eff", all.dof, 4.5));
    } else {
        tally.holds(format!("{id} df_eff"), row.text("df_eff") == "inf");
    }
    let columns = [
        "c_m_mL_s",
        "c_t_mL_s",
        "c_dt_mL_s",
        "c_rho_air_mL_s",
        "c_rho_weights_mL_s",
        "c_rho_water_mL_s",
        "c_drip_mL_s",
    ];
    exact.extend(columns.iter().zip(&all.terms).map(|(name, term)| (*name, term.u.abs(), 2.0)));
    for (name, got, digits) in exact {
        tally.digits(format!("{id} {name}"), got, row.num(name), digits);
    }
}

#[test]
fn thrust_of_a_jet() {
    let mut tally = Tally::new("momentum of a jet, own derivation");
    for row in table("weighing/jet_force_offset.csv") {
        let (psi, rho) = (row.num("nozzle_dp_psi"), row.num("rho_kg_m3"));
        let got = jet_thrust_g(row.num("flow_mL_s_as_g_s"), psi * KPA_PER_PSI, rho);
        tally.digits(format!("{psi} psi"), got, row.num("apparent_mass_offset_while_flowing_g"), 12.0);
    }
    tally.done(4);
    assert!(jet_thrust_g(10.0, -5.0, 998.2) == 0.0);
}
