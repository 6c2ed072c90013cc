//! Readings taken one after the other, against certified values and independent libraries.
//!
//! Sources: NIST StRD, univariate summary statistics (public domain; data not in the repository); standing start and
//! finish over several durations by statsmodels.

use crate::common;
use common::{Row, Tally, external, nist_data, table};
use dutycup::door::numerics::distribution::coverage;
use dutycup::door::numerics::linear::polynomial;
use dutycup::door::uncertainty::{Cause, type_a};

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
        let a = type_a(Cause::Readings, &data).unwrap();
        let got = match row.text("quantity") {
            "mean" => a.value,
            "sd_n_minus_1" => a.u * (data.len() as f64).sqrt(),
            "autocorrelation_lag1" => continue,
            other => panic!("{other}"),
        };
        let label = format!("{name} {}", row.text("quantity"));
        tally.digits(label, got, row.num("recomputed_value_17dig"), ceiling(row));
    }
    tally.done(if external("nist/NumAcc4.dat").is_some() { 14 } else { 0 });
}

fn series(rows: &[Row], id: &str) -> (Vec<f64>, Vec<f64>) {
    let of = |name: &str| rows.iter().filter(|r| r.text("case_id") == id).map(|r| r.num(name)).collect();
    (of("time_s"), of("mass_g"))
}

#[test]
fn several_durations() {
    let mut tally = Tally::new("standing start and finish over several durations, statsmodels");
    let data = table("weighing/multi_duration_data.csv");
    for row in table("weighing/multi_duration_expected.csv") {
        let id = row.text("case_id");
        let (t, y) = series(&data, id);
        let line = polynomial(&t, &y, None, 1, true).unwrap();
        let variance = line.reduced_chi2().unwrap();
        let c = &line.covariance * variance;
        let dof = line.dof as f64;
        for (name, got) in [
            ("intercept_g", line.params[0]),
            ("slope_g_s", line.params[1]),
            ("se_intercept_g", c[(0, 0)].sqrt()),
            ("se_slope_g_s", c[(1, 1)].sqrt()),
            ("corr", c[(0, 1)] / (c[(0, 0)] * c[(1, 1)]).sqrt()),
            ("residual_sd_g", variance.sqrt()),
            ("df", dof),
            ("t_975", coverage(0.95, dof)),
            ("equivalent_timing_correction_s", line.params[0] / line.params[1]),
        ] {
            tally.digits(format!("{id} {name}"), got, row.num(name), 9.0);
        }
    }
    tally.done(18);
}
