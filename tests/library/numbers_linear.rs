//! Linear least squares against the NIST/ITL Statistical Reference Datasets and exact rational solutions.
//!
//! Sources: NIST StRD, Linear Regression (public domain); weighted and through-origin polynomials solved in exact
//! rational arithmetic from the printed decimals.

#![expect(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use crate::common;
use common::{Row, Tally, external, matching_digits, nist_data, reference, table};
use dutycup::door::numerics::linear::{LinearFit, generalised, polynomial, weighted};
use dutycup::door::numerics::{DMatrix, NumericsError};
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
        let fit = fit_set(&path, degree, intercept);
        let mut worst = (16f64, String::new());
        for row in certified.iter().filter(|r| r.text("dataset") == name) {
            for (label, got, want) in cells(&fit, row) {
                tally.digits(format!("{name} {label}"), got, want, digits);
                let matched = matching_digits(got, want);
                if matched < worst.0 {
                    worst = (matched, label);
                }
            }
        }
        println!("{name}: {:.1} digits ({})", worst.0, worst.1);
        sets += 1;
    }
    println!("{sets} of {} sets", SETS.len());
    tally.done(if sets == SETS.len() { 100 } else { 15 });
}

fn fit_set(path: &PathBuf, degree: usize, intercept: bool) -> LinearFit {
    let data = nist_data(path);
    let y: Vec<f64> = data.iter().map(|r| r[0]).collect();
    if degree > 0 {
        let x: Vec<f64> = data.iter().map(|r| r[1]).collect();
        polynomial(&x, &y, None, degree, intercept).unwrap()
    } else {
        let design =
            DMatrix::from_fn(data.len(), data[0].len(), |i, j| if j == 0 { 1.0 } else { data[i][j] });
        weighted(&design, &y, None).unwrap()
    }
}

/// Label, computed and certified value of what a row holds.
fn cells(fit: &LinearFit, row: &Row) -> Vec<(String, f64, f64)> {
    let quantity = row.text("quantity").to_owned();
    let first = usize::from(row_is_origin(row));
    let regression_dof = (fit.params.len() - usize::from(!row_is_origin(row))) as f64;
    let value = match quantity.as_str() {
        "residual_sd" => fit.reduced_chi2().unwrap().sqrt(),
        "r_squared" => fit.r_squared(),
        "ss_residual" => fit.chi2,
        "ms_residual" => fit.reduced_chi2().unwrap(),
        "df_residual" => fit.dof as f64,
        "df_regression" => regression_dof,
        "ss_regression" => fit.ss_total - fit.chi2,
        "ms_regression" => (fit.ss_total - fit.chi2) / regression_dof,
        // An exact fit has an F that is infinite, or rounding noise in its place.
        "f_statistic" if row.text("certified_value") == "Infinity" => return Vec::new(),
        "f_statistic" => (fit.ss_total - fit.chi2) / regression_dof / fit.reduced_chi2().unwrap(),
        b if b.starts_with('B') => fit.params[b[1..].parse::<usize>().unwrap() - first],
        other => panic!("{other}"),
    };
    let mut out = vec![(quantity.clone(), value, row.num("certified_value"))];
    if let (Some(sd), true) = (row.maybe("certified_sd"), quantity.starts_with('B')) {
        let i = quantity[1..].parse::<usize>().unwrap() - first;
        out.push((format!("{quantity} sd"), fit.scaled().unwrap()[(i, i)].sqrt(), sd));
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
        let scaled = fit.scaled().unwrap();
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
                check(format!("{id} {quantity} se"), fit.sd(i), row.num("se_absolute_sigma"), digits);
                let se = scaled[(i, i)].sqrt();
                check(format!("{id} {quantity} se scaled"), se, row.num("se_scaled"), digits);
            } else {
                let got = match quantity {
                    "chi2_or_rss" => fit.chi2,
                    "reduced" => fit.reduced_chi2().unwrap(),
                    "residual_sd" => fit.reduced_chi2().unwrap().sqrt(),
                    "r_squared" => fit.r_squared(),
                    "df" => fit.dof as f64,
                    other => panic!("{other}"),
                };
                check(format!("{id} {quantity}"), got, want, digits);
            }
        }
        println!("{id}: {worst:.1} digits");
    }
    tally.done(80);
}

/// A covariance matrix that is diagonal must give the weighted fit; a shared offset must not touch the slope.
/// Source: JCGM 102:2011 style argument, own algebra: an offset common to all observations adds its variance to the
/// intercept and nothing else.
#[test]
fn generalised_agrees_with_weighted_and_keeps_a_common_error_common() {
    let x = [0.0, 1.0, 2.0, 3.0, 5.0];
    let y = [0.1, 1.9, 4.2, 5.8, 10.1];
    let u = [0.1, 0.2, 0.1, 0.3, 0.2];
    let design = DMatrix::from_fn(5, 2, |i, j| if j == 0 { 1.0 } else { x[i] });
    let plain = weighted(&design, &y, Some(&u)).unwrap();
    let common = 0.25;
    let covariance = DMatrix::from_fn(5, 5, |i, j| common * common + if i == j { u[i] * u[i] } else { 0.0 });
    let full = generalised(&design, &y, &covariance).unwrap();
    let mut tally = Tally::new("common offset in a generalised fit, own algebra");
    for i in 0..2 {
        tally.digits(format!("parameter {i}"), full.params[i], plain.params[i], 12.0);
    }
    tally.digits("slope sd", full.sd(1), plain.sd(1), 12.0);
    tally.digits("intercept sd", full.sd(0), plain.sd(0).hypot(common), 12.0);
    tally.digits("covariance", full.covariance[(0, 1)], plain.covariance[(0, 1)], 12.0);
    tally.done(5);
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
    let singular = DMatrix::from_element(4, 4, 1.0);
    let line = DMatrix::from_fn(4, 2, |i, j| [1.0, x[i]][j]);
    assert_eq!(generalised(&line, &y, &singular), Err(NumericsError::NotPositiveDefinite));
}
