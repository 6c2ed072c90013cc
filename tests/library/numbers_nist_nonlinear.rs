//! Nonlinear least squares against the NIST/ITL Statistical Reference Datasets (StRD), from both published starts.
//!
//! Source: NIST StRD, Nonlinear Regression (US government, public domain): data, starts and certified values.

#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a check that cannot be set up must fail")]

use crate::common;
use common::{Row, Tally, matching_digits, nist_data, reference, table};
use dutycup::door::numerics::least_squares::{Options, from_fn, solve};
use std::f64::consts::PI;

/// Digits asked of every estimate.
const ESTIMATE_DIGITS: f64 = 6.0;
/// Digits asked of every standard deviation.
const SD_DIGITS: f64 = 4.0;
/// Lanczos1 has residuals of rounding size (sum of squares 1.4e-25): three digits of its standard deviations.
const SD_DIGITS_LANCZOS1: f64 = 3.0;
/// Sets that may fail from their first, distant start, as long as they say so.
const FAILURES_ALLOWED: usize = 1;

/// The published model of a set: value at `x` (one or two predictors) for the parameters `b`.
fn model(set: &str, b: &[f64], x: &[f64]) -> f64 {
    let x0 = x[0];
    let gauss = |height: f64, place: f64, width: f64| height * (-(x0 - place).powi(2) / width.powi(2)).exp();
    let wave = |period: f64, cosine: f64, sine: f64| {
        let angle = 2.0 * PI * x0 / period;
        cosine * angle.cos() + sine * angle.sin()
    };
    match set {
        "Chwirut1" | "Chwirut2" => (-b[0] * x0).exp() / (b[1] + b[2] * x0),
        "DanWood" => b[0] * x0.powf(b[1]),
        "ENSO" => b[0] + wave(12.0, b[1], b[2]) + wave(b[3], b[4], b[5]) + wave(b[6], b[7], b[8]),
        "Gauss1" | "Gauss2" | "Gauss3" => {
            b[0] * (-b[1] * x0).exp() + gauss(b[2], b[3], b[4]) + gauss(b[5], b[6], b[7])
        }
        "Kirby2" => (b[0] + b[1] * x0 + b[2] * x0 * x0) / (1.0 + b[3] * x0 + b[4] * x0 * x0),
        "Lanczos1" | "Lanczos2" | "Lanczos3" => {
            b[0] * (-b[1] * x0).exp() + b[2] * (-b[3] * x0).exp() + b[4] * (-b[5] * x0).exp()
        }
        "MGH09" => b[0] * (x0 * x0 + x0 * b[1]) / (x0 * x0 + x0 * b[2] + b[3]),
        "Misra1a" => b[0] * (1.0 - (-b[1] * x0).exp()),
        "Misra1b" => b[0] * (1.0 - (1.0 + b[1] * x0 / 2.0).powi(-2)),
        "Misra1c" => b[0] * (1.0 - (1.0 + 2.0 * b[1] * x0).powf(-0.5)),
        "Misra1d" => b[0] * b[1] * x0 / (1.0 + b[1] * x0),
        "Nelson" => b[0] - b[1] * x0 * (-b[2] * x[1]).exp(),
        "Rat42" => b[0] / (1.0 + (b[1] - b[2] * x0).exp()),
        "Roszman1" => b[0] - b[1] * x0 - (b[2] / (x0 - b[3])).atan() / PI,
        other => panic!("no model for {other}"),
    }
}

#[test]
fn certified_values_are_reached_from_both_starts() {
    let certified = table("nist/nonlinear_certified.csv");
    let models = table("nist/nonlinear_models.csv");
    let mut tally = Tally::new("NIST StRD nonlinear regression");
    let mut failed = Vec::new();
    for set in &models {
        let rows: Vec<&Row> = certified.iter().filter(|r| r.text("dataset") == set.text("dataset")).collect();
        for start in ["start1", "start2"] {
            failed.extend(one_set(set, &rows, start, &mut tally));
        }
    }
    println!("failed and said so: {failed:?}");
    assert!(failed.iter().all(|f| f.ends_with("start1")), "{failed:?}");
    assert!(failed.len() <= FAILURES_ALLOWED, "{failed:?}");
    tally.done(2 * 2 * 86 - 2 * 9);
}

/// Fits one set from one start; the name of the set where the fit reports a failure.
fn one_set(set: &Row, certified: &[&Row], start: &str, tally: &mut Tally) -> Option<String> {
    let name = set.text("dataset");
    let data = nist_data(&reference(&format!("nist/{name}.dat")));
    assert_eq!(data.len(), set.num("n_obs") as usize, "{name}");
    let log = set.text("response") == "log(y)";
    let problem = from_fn(data.len(), |b: &[f64], out: &mut [f64]| {
        for (o, row) in out.iter_mut().zip(&data) {
            let y = if log { row[0].ln() } else { row[0] };
            *o = y - model(name, b, &row[1..]);
        }
    });
    let begin: Vec<f64> = certified.iter().map(|r| r.num(start)).collect();
    let fit = match solve(&problem, &begin, &Options::default()) {
        Ok(fit) => fit,
        Err(error) => {
            println!("{name} {start}: {error}");
            return Some(format!("{name} {start}"));
        }
    };
    let scaled = fit.scaled().unwrap();
    let sd_digits = if name == "Lanczos1" { SD_DIGITS_LANCZOS1 } else { SD_DIGITS };
    let (mut least, mut least_sd) = (16f64, 16f64);
    for (i, row) in certified.iter().enumerate() {
        let (estimate, sd) = (row.num("certified_estimate"), row.num("certified_sd"));
        let label = format!("{name} {start} {}", row.text("parameter"));
        tally.digits(&label, fit.params[i], estimate, ESTIMATE_DIGITS);
        tally.digits(format!("{label} sd"), scaled[(i, i)].sqrt(), sd, sd_digits);
        least = least.min(matching_digits(fit.params[i], estimate));
        least_sd = least_sd.min(matching_digits(scaled[(i, i)].sqrt(), sd));
    }
    println!("{name} {start}: {least:.1} digits, sd {least_sd:.1}, {} evaluations", fit.evaluations);
    tally.digits(format!("{name} {start} dof"), fit.dof as f64, set.num("df_residual"), 12.0);
    if name != "Lanczos1" {
        tally.digits(format!("{name} {start} rss"), fit.chi2, set.num("certified_rss"), ESTIMATE_DIGITS);
    }
    None
}
