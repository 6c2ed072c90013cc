//! Linear least squares against the NIST/ITL Statistical Reference Datasets and exact rational solutions.
//!
//! Sources: NIST StRD, Linear Regression (public domain); weighted and through-origin polynomials solved in exact
//! rational arithmetic from the printed decimals.

#![expect(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use crate::common;
use common::{Row, Tally, external, matching_digits, nist_data, reference, table};
use dutycup::door::fit::bayes::{Noise, Posterior, Prior, Rows};
use dutycup::door::numerics::NumericsError;
use dutycup::door::numerics::linear::{polynomial, weighted};
use nalgebra::{DMatrix, DVector};
use std::path::PathBuf;

/// Degree (0 for many predictors), intercept, and the digits asked: what double precision can give, given that the
/// published decimals are rounded when they are read.
const SETS: [(&str, usize, bool, f64); 11] = [
    ("Norris", 1, true, 12.0),
    ("Pontius", 2, true, 11.0),
    ("NoInt1", 1, false, 14.0),
    ("NoInt2", 1, false, 14.0),
    ("Filip", 10, true, 7.0),
    ("Longley", 0, true, 11.0),
    ("Wampler1", 5, true, 9.5),
    ("Wampler2", 5, true, 9.5),
    ("Wampler3", 5, true, 9.5),
    ("Wampler4", 5, true, 9.0),
    ("Wampler5", 5, true, 8.0),
];

/// Digits asked of the columns as published; of Filip, whose columns can hardly be told apart (condition 1e10 scaled), and of
/// Wampler5, whose residuals are ten thousand times its signal, what their condition allows.
const RAW_DIGITS: f64 = 9.0;
const RAW: [(&str, f64); 2] = [("Filip", 6.0), ("Wampler5", 7.0)];

#[test]
fn nist_linear_regression() {
    let certified = table("nist/linear_certified.csv");
    let mut tally = Tally::new("NIST StRD linear regression");
    let mut sets = 0;
    for (name, degree, intercept, digits) in SETS {
        let committed = reference(&format!("nist/{name}.dat"));
        let Some(path) =
            Some(committed).filter(|p| p.exists()).or_else(|| external(&format!("nist/{name}.dat")))
        else {
            continue;
        };
        let raw = digits.min(RAW.iter().find(|r| r.0 == name).map_or(RAW_DIGITS, |r| r.1));
        for (how, digits, fit) in [
            ("centred", digits, fit_set(&path, degree, intercept)),
            ("as published", raw, posterior_of_set(&path, degree, intercept)),
        ] {
            let mut worst = (16f64, String::new());
            for row in certified.iter().filter(|r| r.text("dataset") == name) {
                for (label, got, want) in cells(&fit, row) {
                    tally.digits(format!("{name} {how} {label}"), got, want, digits);
                    let matched = matching_digits(got, want);
                    if matched < worst.0 {
                        worst = (matched, label);
                    }
                }
            }
            println!("{name} {how}: {:.1} digits ({})", worst.0, worst.1);
        }
        sets += 1;
    }
    println!("{sets} of {} sets", SETS.len());
    tally.done(if sets == SETS.len() { 200 } else { 30 });
}

/// What is checked of a fit.
struct Fit {
    params: Vec<f64>,
    /// With the scatter of the residuals as the uncertainty of the observations.
    sd: Vec<f64>,
    squares: f64,
    dof: f64,
    /// Squares of the observations, about their mean where there is an intercept.
    total: f64,
}

impl Fit {
    /// Scatter about the model.
    fn variance(&self) -> f64 {
        self.squares / self.dof
    }

    fn r_squared(&self) -> f64 {
        1.0 - self.squares / self.total
    }
}

fn total(y: &[f64], intercept: bool) -> f64 {
    let mean = if intercept { y.iter().sum::<f64>() / y.len() as f64 } else { 0.0 };
    y.iter().map(|v| (v - mean).powi(2)).sum()
}

/// The columns of a set as published: powers of x, or predictors.
fn columns(data: &[Vec<f64>], degree: usize, intercept: bool) -> DMatrix<f64> {
    let lowest = usize::from(!intercept);
    if degree > 0 {
        DMatrix::from_fn(data.len(), degree + 1 - lowest, |i, j| data[i][1].powi((j + lowest) as i32))
    } else {
        DMatrix::from_fn(data.len(), data[0].len(), |i, j| if j == 0 { 1.0 } else { data[i][j] })
    }
}

/// By the regression that switches' ramps and neighbours of collections are fitted with.
fn fit_set(path: &PathBuf, degree: usize, intercept: bool) -> Fit {
    let data = nist_data(path);
    let y: Vec<f64> = data.iter().map(|r| r[0]).collect();
    let fit = if degree > 0 {
        let x: Vec<f64> = data.iter().map(|r| r[1]).collect();
        polynomial(&x, &y, None, degree, intercept).unwrap()
    } else {
        weighted(&columns(&data, degree, intercept), &y, None).unwrap()
    };
    let variance = fit.reduced_chi2().unwrap();
    let sd = (0..fit.params.len()).map(|i| (fit.covariance[(i, i)] * variance).sqrt()).collect();
    Fit { params: fit.params, sd, squares: fit.chi2, dof: fit.dof as f64, total: total(&y, intercept) }
}

/// By the regression that pumps and nozzles are fitted with, all priors flat and the columns as published.
fn posterior_of_set(path: &PathBuf, degree: usize, intercept: bool) -> Fit {
    let data = nist_data(path);
    let y: Vec<f64> = data.iter().map(|r| r[0]).collect();
    let x = columns(&data, degree, intercept);
    let (n, p) = x.shape();
    let noise = Noise {
        shape: vec![1.0; n],
        expected: 1.0,
        prior_dof: 0.0,
        floor: 1.0,
        within: 0.0,
        log_within: 0.0,
    };
    let prior = Prior { mean: vec![0.0; p], sd: vec![f64::INFINITY; p] };
    let rows = Rows { x, y: DVector::from_column_slice(&y) };
    let found = Posterior::new(&rows, &noise, &prior).unwrap();
    let dof = (n - p) as f64;
    let sd = found.covariance().diagonal().iter().map(|v| v.sqrt()).collect();
    Fit {
        params: found.mean.iter().copied().collect(),
        sd,
        squares: found.scale * dof,
        dof,
        total: total(&y, intercept),
    }
}

/// Label, computed and certified value of what a row holds.
fn cells(fit: &Fit, row: &Row) -> Vec<(String, f64, f64)> {
    let quantity = row.text("quantity").to_owned();
    let first = usize::from(row_is_origin(row));
    let regression_dof = (fit.params.len() - usize::from(!row_is_origin(row))) as f64;
    let value = match quantity.as_str() {
        "residual_sd" => fit.variance().sqrt(),
        "r_squared" => fit.r_squared(),
        "ss_residual" => fit.squares,
        "ms_residual" => fit.variance(),
        "df_residual" => fit.dof,
        "df_regression" => regression_dof,
        "ss_regression" => fit.total - fit.squares,
        "ms_regression" => (fit.total - fit.squares) / regression_dof,
        // An exact fit has an F that is infinite, or rounding noise in its place.
        "f_statistic" if row.text("certified_value") == "Infinity" => return Vec::new(),
        "f_statistic" => (fit.total - fit.squares) / regression_dof / fit.variance(),
        b if b.starts_with('B') => fit.params[b[1..].parse::<usize>().unwrap() - first],
        other => panic!("{other}"),
    };
    let mut out = vec![(quantity.clone(), value, row.num("certified_value"))];
    if let (Some(sd), true) = (row.maybe("certified_sd"), quantity.starts_with('B')) {
        let i = quantity[1..].parse::<usize>().unwrap() - first;
        out.push((format!("{quantity} sd"), fit.sd[i], sd));
    }
    out
}

fn row_is_origin(row: &Row) -> bool {
    row.text("dataset").starts_with("NoInt")
}

/// Digits asked of the cases of the exact tables; the rest is lost to rounding the printed decimals and to
/// expanding the powers about zero.
fn digits_of(case: &str) -> f64 {
    match case {
        "CUBIC_offset" => 6.0,
        "DEG6_illconditioned" => 8.0,
        _ => 12.0,
    }
}

#[test]
fn exact_rational_solutions() {
    let data = table("linear/linear_data.csv");
    let expected = table("linear/linear_expected.csv");
    let mut tally = Tally::new("exact rational solutions of weighted polynomials");
    for case in table("linear/linear_cases.csv") {
        let id = case.text("case_id");
        let rows: Vec<&Row> = data.iter().filter(|r| r.text("case_id") == id).collect();
        let column = |name: &str| rows.iter().map(|r| r.num(name)).collect::<Vec<f64>>();
        let u = (case.text("weighted") == "yes").then(|| column("u_y"));
        let intercept = case.text("intercept") == "yes";
        let degree = case.num("degree") as usize;
        let fit = polynomial(&column("x"), &column("y"), u.as_deref(), degree, intercept).unwrap();
        let variance = fit.reduced_chi2().unwrap();
        let mut worst = 16f64;
        for row in expected.iter().filter(|r| r.text("case_id") == id) {
            let quantity = row.text("quantity");
            let want = row.num("value_17dig");
            let mut check = |label: String, got: f64, want: f64, digits: f64| {
                worst = worst.min(matching_digits(got, want));
                tally.digits(label, got, want, digits);
            };
            let digits = digits_of(id);
            if let Some(power) = quantity.strip_prefix('B') {
                let i = power.parse::<usize>().unwrap() - usize::from(!intercept);
                check(format!("{id} {quantity}"), fit.params[i], want, digits);
                check(
                    format!("{id} {quantity} se"),
                    fit.covariance[(i, i)].sqrt(),
                    row.num("se_absolute_sigma"),
                    digits,
                );
                let se = (fit.covariance[(i, i)] * variance).sqrt();
                check(format!("{id} {quantity} se scaled"), se, row.num("se_scaled"), digits);
            } else {
                let got = match quantity {
                    "chi2_or_rss" => fit.chi2,
                    "reduced" => fit.reduced_chi2().unwrap(),
                    "residual_sd" => fit.reduced_chi2().unwrap().sqrt(),
                    "r_squared" => continue,
                    "df" => fit.dof as f64,
                    other => panic!("{other}"),
                };
                check(format!("{id} {quantity}"), got, want, digits);
            }
        }
        println!("{id}: {worst:.1} digits");
    }
    tally.done(70);
}

#[test]
fn what_cannot_be_fitted_is_refused() {
    let x = [1.0, 2.0, 3.0, 4.0];
    let y = [1.0, 2.0, 3.0, 4.5];
    let twice = DMatrix::from_fn(4, 3, |i, j| [1.0, x[i], 2.0 * x[i]][j]);
    assert_eq!(weighted(&twice, &y, None), Err(NumericsError::RankDeficient { rank: 2, columns: 3 }));
    assert_eq!(
        polynomial(&[2.0; 4], &y, None, 1, true),
        Err(NumericsError::RankDeficient { rank: 1, columns: 2 })
    );
    assert_eq!(polynomial(&x, &y, None, 4, true), Err(NumericsError::TooFewPoints { found: 4, needed: 5 }));
    assert!(matches!(
        polynomial(&x, &[1.0, f64::NAN, 1.0, 1.0], None, 1, true),
        Err(NumericsError::NotFinite { .. })
    ));
    assert!(matches!(
        polynomial(&x, &y, Some(&[1.0, 0.0, 1.0, 1.0]), 1, true),
        Err(NumericsError::OutOfRange { .. })
    ));
}
