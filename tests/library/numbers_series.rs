//! Series, groups and slopes against certified and independent values.
//!
//! Sources: NIST StRD univariate summary statistics and one-way analysis of variance; flying and multi-duration
//! weighings by statsmodels and scipy.

use crate::common;
use common::{Row, Tally, external, nist_data, reference, table};
use dutycup::door::numerics::distribution::coverage;
use dutycup::door::numerics::gum::type_a;
use dutycup::door::numerics::linear::polynomial;
use dutycup::door::numerics::series::{autocorrelations, curvature, lag1, slope, theil_sen};
use dutycup::door::numerics::variance::{lack_of_fit, one_way};

/// Digits that double precision can give on the data as rounded when read, less half a digit.
fn ceiling(row: &Row) -> f64 {
    row.num("lre_if_data_rounded_to_f64").min(14.5) - 0.5
}

#[test]
fn nist_univariate() {
    let mut tally = Tally::new("NIST StRD univariate summary statistics");
    let rows = table("nist/univariate_certified.csv");
    for row in &rows {
        let name = row.text("dataset");
        let Some(path) = external(&format!("nist/{name}.dat")) else {
            continue;
        };
        let data: Vec<f64> = nist_data(&path).iter().map(|r| r[0]).collect();
        assert_eq!(data.len(), row.num("n_obs") as usize, "{name}");
        let a = type_a(&data).unwrap();
        let got = match row.text("quantity") {
            "mean" => a.mean,
            "sd_n_minus_1" => a.sd,
            "autocorrelation_lag1" => lag1(&data).unwrap(),
            other => panic!("{other}"),
        };
        let label = format!("{name} {}", row.text("quantity"));
        tally.digits(label, got, row.num("recomputed_value_17dig"), ceiling(row));
    }
    tally.done(if external("nist/NumAcc4.dat").is_some() { rows.len() } else { 0 });
}

#[test]
fn nist_analysis_of_variance() {
    let mut tally = Tally::new("NIST StRD one-way analysis of variance");
    for row in table("nist/anova_certified.csv") {
        let name = row.text("dataset");
        let data = nist_data(&reference(&format!("nist/{name}.dat")));
        let mut groups: Vec<(f64, Vec<f64>)> = Vec::new();
        for line in &data {
            match groups.iter_mut().find(|g| (g.0 - line[0]).abs() < 0.5) {
                Some(group) => group.1.push(line[1]),
                None => groups.push((line[0], vec![line[1]])),
            }
        }
        let slices: Vec<&[f64]> = groups.iter().map(|g| g.1.as_slice()).collect();
        let a = one_way(&slices).unwrap();
        let got = match row.text("quantity") {
            "df_between" => a.dof_between,
            "df_within" => a.dof_within,
            "ss_between" => a.ss_between,
            "ss_within" => a.ss_within,
            "ms_between" => a.ss_between / a.dof_between,
            "ms_within" => a.ss_within / a.dof_within,
            "f_statistic" => a.f(),
            "r_squared" => a.r_squared(),
            "residual_sd" => a.sd_within(),
            other => panic!("{other}"),
        };
        let label = format!("{name} {}", row.text("quantity"));
        tally.digits(label, got, row.num("certified_value"), ceiling(&row));
    }
    tally.done(54);
}

fn series(rows: &[Row], id: &str) -> (Vec<f64>, Vec<f64>) {
    let of = |name: &str| rows.iter().filter(|r| r.text("case_id") == id).map(|r| r.num(name)).collect();
    (of("time_s"), of("mass_g"))
}

#[test]
fn flying_weighing() {
    let mut tally = Tally::new("mass read while flowing, statsmodels and scipy");
    let data = table("weighing/flying_data.csv");
    for row in table("weighing/flying_expected.csv") {
        let id = row.text("case_id");
        let (t, y) = series(&data, id);
        let s = slope(&t, &y).unwrap();
        let (c2, se_c2, p_c2) = curvature(&t, &y).unwrap();
        let parabola = polynomial(&t, &y, None, 2, true).unwrap();
        let scaled = parabola.scaled().unwrap();
        let n = t.len();
        let residual_lag1 = autocorrelations(&s.residuals, 1).unwrap()[0];
        for (name, got, digits) in [
            ("intercept_g", s.intercept, 11.0),
            ("slope_g_s", s.slope, 12.0),
            ("se_intercept_g", s.se_intercept, 10.0),
            ("se_slope_g_s", s.se_independent, 10.0),
            ("residual_sd_g", s.residual_sd, 10.0),
            ("residual_lag1_autocorr", residual_lag1, 8.0),
            ("durbin_watson", s.durbin_watson, 10.0),
            ("se_slope_hac_newey_west_5lags_g_s", s.se_newey_west(5), 9.0),
            ("se_slope_hc3_g_s", s.se_hc3, 9.0),
            ("quad_c0_g", parabola.params[0], 10.0),
            ("quad_c1_g_s", parabola.params[1], 10.0),
            ("quad_c2_g_s2", c2, 8.0),
            ("se_c0_g", scaled[(0, 0)].sqrt(), 9.0),
            ("se_c1_g_s", scaled[(1, 1)].sqrt(), 9.0),
            ("se_c2_g_s2", se_c2, 9.0),
            ("p_value_c2", p_c2, 6.0),
            ("theil_sen_slope_g_s", theil_sen(&t, &y).unwrap(), 11.0),
            ("end_to_end_slope_g_s", (y[n - 1] - y[0]) / (t[n - 1] - t[0]), 12.0),
        ] {
            tally.digits(format!("{id} {name}"), got, row.num(name), digits);
        }
        // F2 comes from a scale that filters: its residuals have memory, and the honest error is larger than the
        // ordinary one; F1's have none.
        let honest = s.correlated();
        println!(
            "{id}: ordinary {:e}, with memory {:e} at {:.1} dof",
            s.se_independent, honest.u, honest.dof
        );
        tally.holds(format!("{id} memory"), (honest.u > 1.5 * s.se_independent) == (residual_lag1 > 0.5));
    }
    tally.done(38);
}

#[test]
fn several_durations() {
    let mut tally = Tally::new("standing start and finish over several durations, statsmodels");
    let data = table("weighing/multi_duration_data.csv");
    for row in table("weighing/multi_duration_expected.csv") {
        let id = row.text("case_id");
        let (t, y) = series(&data, id);
        let s = slope(&t, &y).unwrap();
        let line = polynomial(&t, &y, None, 1, true).unwrap();
        let c = line.scaled().unwrap();
        for (name, got) in [
            ("intercept_g", s.intercept),
            ("slope_g_s", s.slope),
            ("se_intercept_g", s.se_intercept),
            ("se_slope_g_s", s.se_independent),
            ("corr", c[(0, 1)] / (c[(0, 0)] * c[(1, 1)]).sqrt()),
            ("residual_sd_g", s.residual_sd),
            ("r_squared", line.r_squared()),
            ("df", s.dof),
            ("t_975", coverage(0.95, s.dof)),
            ("equivalent_timing_correction_s", s.intercept / s.slope),
        ] {
            tally.digits(format!("{id} {name}"), got, row.num(name), 9.0);
        }
    }
    tally.done(20);
}

#[test]
fn degenerate_series() {
    assert!(slope(&[1.0, 2.0], &[1.0, 2.0]).is_err());
    assert!(slope(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]).is_err());
    assert!(lag1(&[2.0, 2.0, 2.0]).is_err());
    assert!(theil_sen(&[1.0, 1.0], &[1.0, 2.0]).is_err());
    assert!(one_way(&[&[1.0, 2.0]]).is_err());
    assert!(one_way(&[&[1.0], &[2.0]]).is_err());
    assert_eq!(lack_of_fit(2.0, 3.0, 1.0, 3.0), None);
    // No excess over pure scatter: F = 0, certain to be exceeded.
    assert!((lack_of_fit(1.0, 5.0, 1.0, 3.0).unwrap() - 1.0).abs() < 1e-12);
    let exact = slope(&[0.0, 1.0, 2.0, 3.0], &[1.0, 3.0, 5.0, 7.0]).unwrap();
    assert!(exact.correlated().u < 1e-12 && exact.correlated().dof >= 1.0);
}
