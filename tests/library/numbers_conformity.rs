//! Decisions against the rules of conformity assessment.
//!
//! Sources: rules after JCGM 106:2012 and ILAC-G8:09/2019; z values of JCGM 106 from memory, reproduced.

use crate::common;
use common::{Row, Tally, table};
use dutycup::door::numerics::conformity::Zone;
use dutycup::door::numerics::distribution::{coverage, normal_quantile};
use dutycup::door::uncertainty::{Cause, Term, Uncertain, type_a};
use dutycup::door::verdict::decide::decide;
use dutycup::door::verdict::item::Verdict;

fn limits(row: &Row, lower: &str, upper: &str) -> Zone {
    Zone { lower: row.maybe(lower), upper: row.maybe(upper) }
}

/// Four outcomes in the table, three of ours: what is conditional is undecided, and its side is that of the value.
fn outcome(row: &Row) -> (Verdict, bool) {
    match row.text("decision_4_outcome") {
        "accept" => (Verdict::Pass, row.text("within_tolerance") == "yes"),
        "conditional_pass" => (Verdict::Undecided, true),
        "conditional_fail" => (Verdict::Undecided, false),
        "reject" => (Verdict::Fail, false),
        other => panic!("{other}"),
    }
}

#[test]
fn decisions() {
    let mut tally = Tally::new("decisions after JCGM 106:2012 and ILAC-G8:09/2019");
    for row in table("conformity/switch_decisions.csv") {
        let id = row.text("case_id");
        let zone = limits(&row, "tol_lower_psi", "tol_upper_psi");
        let (y, u, dof, guard) =
            (row.num("y_psi"), row.num("u_psi"), row.num("df"), row.num("guard_band_psi"));
        let accept = zone.narrowed(guard);
        for (name, got) in [("accept_lower_psi", accept.lower), ("accept_upper_psi", accept.upper)] {
            match (got, row.maybe(name)) {
                (Some(got), Some(want)) => tally.digits(format!("{id} {name}"), got, want, 14.0),
                (got, want) => tally.holds(format!("{id} {name} open"), got == want),
            }
        }
        let (verdict, inside) = outcome(&row);
        let got = decide(y, guard, &zone);
        tally.holds(format!("{id}: got {got:?}, want {verdict:?}"), got == verdict);
        let side = decide(y, 0.0, &zone) == Verdict::Pass;
        tally.holds(format!("{id} side"), side == inside);
        tally.holds(format!("{id} within"), side == (row.text("within_tolerance") == "yes"));
        if id == "S9_small_df" {
            // The table takes k = 2 at 4 degrees of freedom; with t the guard band is wider and the case open.
            let honest = Uncertain::new(y, vec![Term::observed(Cause::Readings, u, dof)]).u95;
            tally.holds("S9 with t", honest > guard && decide(y, honest, &zone) == Verdict::Undecided);
        }
    }
    tally.done(13 * 5 + 1);
}

#[test]
fn published_points() {
    let mut tally = Tally::new("JCGM 106:2012 (from memory), printed values");
    for row in table("conformity/published_points.csv") {
        let case = row.text("case");
        let Some(p) = case.strip_prefix("one-sided p_c=") else {
            continue;
        };
        let got = normal_quantile(p.parse().unwrap());
        tally.digits(format!("{case}, computed"), got, row.num("computed_value"), 9.0);
        tally.within(case, got, row.num("published_value"), row.num("tolerance_abs"));
    }
    tally.done(8);
}

/// The guard band U in terms of the test uncertainty ratio; the other columns of the table are rules we do not use.
#[test]
fn guard_band_is_u() {
    let mut tally = Tally::new("acceptance over tolerance with w = U");
    for row in table("conformity/guard_band_factors_vs_TUR.csv") {
        let ratio = row.num("TUR");
        let accept = Zone { lower: Some(-1.0), upper: Some(1.0) }.narrowed(1.0 / ratio).upper.unwrap();
        tally.digits(format!("TUR {ratio}"), accept, row.num("accept_over_tolerance_w_equals_U"), 14.0);
        let zone = Zone { lower: Some(-1.0), upper: Some(1.0) };
        let at_limit = decide(accept, 1.0 / ratio, &zone);
        tally.holds(format!("TUR {ratio} at the acceptance limit"), at_limit == Verdict::Pass);
        let beyond = decide(accept + 1e-6, 1.0 / ratio, &zone);
        tally.holds(format!("TUR {ratio} just beyond"), beyond == Verdict::Undecided);
    }
    tally.done(27);
}

#[test]
fn switch_ramps() {
    let mut tally = Tally::new("midpoints of switch ramps, resolution as rectangular");
    let data = table("conformity/trip_ramps_data.csv");
    for row in table("conformity/trip_ramps_expected.csv") {
        let id = row.text("case_id");
        let middles: Vec<f64> = data
            .iter()
            .filter(|r| r.text("case_id") == id)
            .map(|r| 0.5 * (r.num("last_pressure_before_psi") + r.num("first_pressure_after_psi")))
            .collect();
        let a = type_a(Cause::Readings, &middles).unwrap();
        let resolution = Term::limits(Cause::SamplingStep, 0.5 * row.num("step_psi"));
        let n = middles.len() as f64;
        let mut terms = a.terms.clone();
        terms.push(resolution.clone());
        let all = Uncertain::new(a.value, terms);
        for (name, got) in [
            ("n", n),
            ("mean_midpoint_psi", a.value),
            ("sd_psi", a.u * n.sqrt()),
            ("u_typeA_psi", a.u),
            ("u_resolution_half_step_rect_psi", resolution.u),
            ("u_combined_psi", all.u),
            ("df_eff", all.dof),
            ("t_975_n_minus_1", coverage(0.95, a.dof)),
        ] {
            tally.digits(format!("{id} {name}"), got, row.num(name), 10.0);
        }
    }
    tally.done(16);
}
