//! Combination of uncertainties against the worked examples of the guides.
//!
//! Sources: JCGM 100:2008 (GUM) Annex G.4.1, H.1, H.2, H.3, H.5, Tables E.1 and G.2. "Published" is the printed value
//! with half its last digit; "computed" comes from the GTC package on the same inputs.

use crate::common;
use common::guides::{constant, expect, inputs, readings};
use common::{Tally, table};
use dutycup::door::numerics::DMatrix;
use dutycup::door::numerics::distribution::{coverage, f_quantile};
use dutycup::door::numerics::gum::{
    Combined, Correlation, Term, combine, combine_correlated, correlation, dof_from_doubt, doubt_of_sd,
    sensitivities, type_a,
};
use dutycup::door::numerics::least_squares::propagate;
use dutycup::door::numerics::linear::polynomial;

#[test]
fn gum_g4_and_its_variants() {
    let mut tally = Tally::new("JCGM 100:2008 G.4.1 (Welch-Satterthwaite, degrees of freedom not truncated)");
    for case in ["GUM_G4", "WS_two_equal", "WS_dominant"] {
        let terms: Vec<Term> = inputs(case).values().map(|i| Term::new(i.u, i.dof)).collect();
        let all = combine(&terms);
        // The table's U_95 and first k use truncated degrees of freedom; ours are not, and that is checked beside.
        let truncated = coverage(0.95, (all.dof + 1e-9).floor());
        expect(
            &mut tally,
            case,
            &[
                ("u_c", all.u),
                ("df_eff", all.dof),
                ("k_95_truncated_df", truncated),
                ("U_95", truncated * all.u),
                ("k_95_real_df", all.k95()),
            ],
        );
    }
    tally.done(18);
}

#[test]
fn gum_h1_end_gauge() {
    let mut tally = Tally::new("JCGM 100:2008 H.1 (end gauge)");
    let i = inputs("GUM_H1");
    let at = |name: &str| &i[name];
    let l_s = at("l_s").value;
    let names = ["l_s", "d_bar", "d1", "d2", "alpha_s", "d_alpha", "d_theta", "theta_bar", "Delta"];
    let values: Vec<f64> = names.iter().map(|n| at(n).value).collect();
    let us: Vec<f64> = names.iter().map(|n| at(n).u).collect();
    let length = |x: &[f64]| {
        let theta = x[7] + x[8];
        x[0] + x[1] + x[2] + x[3] - x[0] * (x[5] * theta + x[4] * x[6])
    };
    let c = sensitivities(&values, &us, length);
    let terms: Vec<Term> = (0..9).map(|k| Term::new(c[k] * us[k], at(names[k]).dof)).collect();
    let all = combine(&terms);
    let d = combine(&terms[1..4]);
    // H.1.7: the two products of small quantities, second order.
    let theta = at("theta_bar").u.hypot(at("Delta").u);
    let second = l_s * (at("d_alpha").u * theta).hypot(at("alpha_s").u * at("d_theta").u);
    let k99 = coverage(0.99, all.dof.floor());
    expect(
        &mut tally,
        "GUM_H1",
        &[
            ("l", length(&values)),
            ("u_c", all.u),
            ("u_d", d.u),
            ("df_d", d.dof),
            ("df_eff", all.dof),
            ("k_99", k99),
            // H.1.8 multiplies the combined uncertainty as rounded to 32 nm.
            ("U_99", k99 * all.u.round()),
            ("u_c_second_order", all.u.hypot(second)),
        ],
    );
    tally.done(16);
}

#[test]
fn gum_h2_correlated_readings() {
    let mut tally = Tally::new("JCGM 100:2008 H.2 (resistance and reactance, correlated)");
    let sets = readings("GUM_H2", "obs");
    let column = |k: usize| sets.iter().map(|s| s[k]).collect::<Vec<f64>>();
    let (v, i, phi) = (column(0), column(1), column(2));
    let (av, ai, ap) = (type_a(&v).unwrap(), type_a(&i).unwrap(), type_a(&phi).unwrap());
    let r = [correlation(&v, &i).unwrap(), correlation(&v, &phi).unwrap(), correlation(&i, &phi).unwrap()];
    let means = [av.mean, ai.mean, ap.mean];
    let us = [av.of_mean().u, ai.of_mean().u, ap.of_mean().u];
    // mA gives kilo-ohm for volt over current.
    let resistance = |x: &[f64]| 1e3 * x[0] / x[1] * x[2].cos();
    let reactance = |x: &[f64]| 1e3 * x[0] / x[1] * x[2].sin();
    let impedance = |x: &[f64]| 1e3 * x[0] / x[1];
    let exact: [[f64; 3]; 3] = {
        let (z, c, s) = (impedance(&means), means[2].cos(), means[2].sin());
        [
            [z * c / means[0], -z * c / means[1], -z * s],
            [z * s / means[0], -z * s / means[1], z * c],
            [z / means[0], -z / means[1], 0.0],
        ]
    };
    let pairs = [
        Correlation { first: 0, second: 1, r: r[0] },
        Correlation { first: 0, second: 2, r: r[1] },
        Correlation { first: 1, second: 2, r: r[2] },
    ];
    let u_of = |c: &[f64; 3]| -> Combined {
        let terms: Vec<Term> = (0..3).map(|k| Term::new(c[k] * us[k], 4.0)).collect();
        combine_correlated(&terms, &pairs).unwrap()
    };
    let covariance = DMatrix::from_fn(3, 3, |a, b| {
        let rho = if a == b { 1.0 } else { r[a + b - 1] };
        rho * us[a] * us[b]
    });
    let between = |a: &[f64; 3], b: &[f64; 3]| {
        let cross: f64 = (0..9).map(|k| a[k / 3] * b[k % 3] * covariance[(k / 3, k % 3)]).sum();
        cross / (propagate(&covariance, a) * propagate(&covariance, b))
    };
    let [ur, ux, uz] = exact.map(|c| u_of(&c));
    assert!([ur, ux, uz].iter().all(|u| (u.dof - 4.0).abs() < 1e-12), "readings taken together keep their 4");
    let each = |f: &dyn Fn(&[f64]) -> f64| {
        let values: Vec<f64> = sets.iter().map(|s| f(s)).collect();
        let a = type_a(&values).unwrap();
        (a.mean, a.of_mean().u, values)
    };
    let (r2, x2, z2) = (each(&resistance), each(&reactance), each(&impedance));
    expect(
        &mut tally,
        "GUM_H2",
        &[
            ("V_mean", means[0]),
            ("I_mean", means[1]),
            ("phi_mean", means[2]),
            ("u_V", us[0]),
            ("u_I", us[1]),
            ("u_phi", us[2]),
            ("r_V_I", r[0]),
            ("r_V_phi", r[1]),
            ("r_I_phi", r[2]),
            ("R", resistance(&means)),
            ("X", reactance(&means)),
            ("Z", impedance(&means)),
            ("u_R", ur.u),
            ("u_X", ux.u),
            ("u_Z", uz.u),
            ("r_R_X", between(&exact[0], &exact[1])),
            ("r_R_Z", between(&exact[0], &exact[2])),
            ("r_X_Z", between(&exact[1], &exact[2])),
            ("R_approach2", r2.0),
            ("X_approach2", x2.0),
            ("Z_approach2", z2.0),
            ("u_R_approach2", r2.1),
            ("u_X_approach2", x2.1),
            ("u_Z_approach2", z2.1),
            ("r_R_X_approach2", correlation(&r2.2, &x2.2).unwrap()),
        ],
    );
    tally.done(50);
}

#[test]
fn gum_h3_thermometer_line() {
    let mut tally = Tally::new("JCGM 100:2008 H.3 (calibration line of a thermometer)");
    for case in ["GUM_H3", "GUM_H3_centred"] {
        let points = readings(case, "obs");
        let (t0, at) = (constant(case, "t0"), constant(case, "t_predict"));
        let x: Vec<f64> = points.iter().map(|p| p[0] - t0).collect();
        let y: Vec<f64> = points.iter().map(|p| p[1]).collect();
        let fit = polynomial(&x, &y, None, 1, true).unwrap();
        let c = fit.scaled().unwrap();
        let g = [1.0, at - t0];
        let u = propagate(&c, &g);
        let (u1, u2) = (c[(0, 0)].sqrt(), c[(1, 1)].sqrt());
        expect(
            &mut tally,
            case,
            &[
                ("y1", fit.params[0]),
                ("y2", fit.params[1]),
                ("u_y1", u1),
                ("u_y2", u2),
                ("r_y1_y2", c[(0, 1)] / (u1 * u2)),
                ("s_residual", fit.reduced_chi2().unwrap().sqrt()),
                ("b_predict", fit.predict(&g)),
                ("u_b_predict", u),
                ("df", fit.dof as f64),
                ("u_b_predict_if_correlation_ignored", u1.hypot(u2 * g[1])),
                ("U95_b_predict", coverage(0.95, fit.dof as f64) * u),
                ("max_abs_residual", fit.residuals.iter().fold(0.0, |m: f64, r| m.max(r.abs()))),
            ],
        );
    }
    tally.done(33);
}

#[test]
fn gum_h5_days_of_observation() {
    let mut tally = Tally::new("JCGM 100:2008 H.5 (analysis of variance)");
    let days = readings("GUM_H5", "day");
    let means: Vec<f64> = days.iter().map(|d| d[0]).collect();
    let (j, k) = (days.len() as f64, 5f64);
    let a = type_a(&means).unwrap();
    let within = (days.iter().map(|d| d[1] * d[1]).sum::<f64>() / j).sqrt();
    let between = a.sd * 1e6 * k.sqrt();
    let (nu_a, nu_b) = (j - 1.0, j * (k - 1.0));
    let pooled_variance = (nu_a * between.powi(2) + nu_b * within.powi(2)) / (nu_a + nu_b);
    expect(
        &mut tally,
        "GUM_H5",
        &[
            ("V_mean", a.mean),
            ("s_Vbar_j", a.sd * 1e6),
            ("s_a", between),
            ("s_b", within),
            ("F", (between / within).powi(2)),
            ("F_crit_95_9_40", f_quantile(0.95, nu_a, nu_b)),
            ("F_crit_975_9_40", f_quantile(0.975, nu_a, nu_b)),
            ("s_B", ((between.powi(2) - within.powi(2)) / k).sqrt()),
            ("u_Vbar_between", a.of_mean().u * 1e6),
            ("u_Vbar_pooled", (pooled_variance / (j * k)).sqrt()),
        ],
    );
    tally.done(20);
}

#[test]
fn gum_tables_g2_and_e1() {
    let mut tally = Tally::new("JCGM 100:2008 Tables G.2 and E.1");
    for row in table("gum/gum_expected.csv").iter().filter(|r| r.text("case_id") == "GUM_G2_t_table") {
        let name = row.text("quantity");
        let inner = name.trim_start_matches("t_p(df=").trim_end_matches(')');
        let (dof, p) = inner.split_once(";p=").unwrap();
        let got = coverage(p.parse().unwrap(), dof.parse().unwrap());
        tally.digits(name, got, row.num("computed_value"), 12.0);
        tally.within(name, got, row.num("published_value"), 0.006);
    }
    for row in table("gum/gum_expected.csv").iter().filter(|r| r.text("case_id") == "GUM_E1_sd_of_sd") {
        let name = row.text("quantity");
        let n = name.rsplit_once("n=").unwrap().1.parse().unwrap();
        tally.digits(name, 100.0 * doubt_of_sd(n), row.num("computed_value"), 9.0);
        tally.within(name, 100.0 * doubt_of_sd(n), row.num("published_value"), 0.6);
    }
    // G.4.2: an uncertainty believed to 25 % has 8 degrees of freedom.
    tally.digits("G.4.2", dof_from_doubt(0.25), 8.0, 14.0);
    tally.done(47);
}
