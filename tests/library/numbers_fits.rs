//! Fits linear in their parameters and their predictions, by the regression that pumps and nozzles are fitted with.
//!
//! Sources: 50-digit Gauss-Newton, agreeing with scipy and lmfit; cars (Ezekiel 1930).

use crate::common;
use common::{Row, Tally, table};
use dutycup::door::fit::bayes::{Noise, Posterior, Prior, Rows};
use dutycup::door::numerics::distribution::{chi2_survival, coverage};
use nalgebra::{DMatrix, DVector};

/// Columns of a case's model at its predictors.
fn columns(case: &str, x: &[f64; 3]) -> Vec<f64> {
    match case {
        "SQRT_1" | "SQRT_2" => vec![x[0].sqrt()],
        "PUMP_LINEAR" => vec![x[0] * x[1], -x[2], -1.0],
        "PUBLISHED_CARS_LINEAR" => vec![1.0, x[0]],
        other => panic!("no model for {other}"),
    }
}

fn predictors(row: &Row) -> [f64; 3] {
    ["x1", "x2", "x3"].map(|c| row.maybe(c).unwrap_or(0.0))
}

fn fit_case(case: &Row, data: &[Row]) -> Posterior {
    let id = case.text("case_id");
    let rows: Vec<&Row> = data.iter().filter(|r| r.text("case_id") == id).collect();
    assert_eq!(rows.len(), case.num("n") as usize, "{id}");
    let x: Vec<Vec<f64>> = rows.iter().map(|r| columns(id, &predictors(r))).collect();
    let p = x[0].len();
    let noise = Noise {
        shape: rows.iter().map(|r| r.maybe("u_y").unwrap_or(1.0).powi(2)).collect(),
        expected: 1.0,
        prior_dof: 0.0,
        floor: 1.0,
        within: 0.0,
        log_within: 0.0,
    };
    let rows = Rows {
        x: DMatrix::from_fn(rows.len(), p, |i, j| x[i][j]),
        y: DVector::from_fn(rows.len(), |i, _| rows[i].num("y")),
    };
    let prior = Prior { mean: vec![0.0; p], sd: vec![f64::INFINITY; p] };
    Posterior::new(&rows, &noise, &prior).unwrap_or_else(|| panic!("{id}"))
}

#[test]
fn fits_and_their_predictions() {
    let data = table("fits/fit_data.csv");
    let expected = table("fits/fit_expected.csv");
    let predictions = table("fits/fit_predictions.csv");
    let mut tally = Tally::new("fits of nozzle, pump and published data, 50-digit Gauss-Newton");
    for case in table("fits/fit_cases.csv") {
        let id = case.text("case_id");
        let fit = fit_case(&case, &data);
        let scaled = fit.covariance();
        let (dof, reduced) = (case.num("df"), fit.scale);
        let t = coverage(0.95, dof);
        tally.digits(format!("{id} chi2"), reduced * dof, case.num("chi2_or_rss"), 9.0);
        tally.digits(format!("{id} reduced"), reduced, case.num("reduced_chi2_or_s2"), 9.0);
        tally.digits(format!("{id} birge"), reduced.sqrt(), case.num("residual_sd_or_birge"), 9.0);
        if let Some(p) = case.maybe("p_value_chi2") {
            tally.digits(format!("{id} p"), chi2_survival(reduced * dof, dof), p, 8.0);
        }
        let names: Vec<&str> = case.text("parameters").split(';').collect();
        for row in expected.iter().filter(|r| r.text("case_id") == id) {
            let (name, label) = (row.text("parameter"), format!("{id} {}", row.text("parameter")));
            let place = |n: &str| names.iter().position(|m| *m == n).unwrap_or_else(|| panic!("{label}"));
            if let Some(pair) = name.strip_prefix("corr(").and_then(|p| p.strip_suffix(')')) {
                let (first, second) = pair.split_once(';').unwrap();
                let (i, j) = (place(first), place(second));
                let r = scaled[(i, j)] / (scaled[(i, i)] * scaled[(j, j)]).sqrt();
                tally.within(label, r, row.num("estimate"), 1e-9);
                continue;
            }
            let i = place(name);
            let se = scaled[(i, i)].sqrt();
            tally.digits(&label, fit.mean[i], row.num("estimate"), 9.0);
            tally.digits(format!("{label} se"), se / reduced.sqrt(), row.num("se_absolute_sigma"), 9.0);
            tally.digits(format!("{label} se scaled"), se, row.num("se_scaled_by_reduced_chi2"), 9.0);
            tally.digits(format!("{label} half width"), t * se, row.num("half_width_95_t_scaled"), 9.0);
        }
        for row in predictions.iter().filter(|r| r.text("case_id") == id) {
            let g = DVector::from_vec(columns(id, &predictors(row)));
            let u = (&scaled * &g).dot(&g).sqrt();
            let label = format!("{id} at {}", row.text("x1"));
            tally.digits(&label, fit.mean.dot(&g), row.num("prediction"), 9.0);
            let known = u / reduced.sqrt();
            tally.digits(format!("{label} u"), known, row.num("u_prediction_absolute_sigma"), 9.0);
            tally.digits(format!("{label} u scaled"), u, row.num("u_prediction_scaled"), 9.0);
            tally.digits(format!("{label} half width"), t * u, row.num("half_width_95_t_scaled"), 9.0);
        }
    }
    tally.done(4 * 3 + 6 * 4);
}
