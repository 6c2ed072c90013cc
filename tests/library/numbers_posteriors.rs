//! The regression that pumps and nozzles are fitted with, against 60-digit arithmetic.
//!
//! Source: `fits/posteriors.csv` by `fits/posteriors.py` (mpmath; the evidence by quadrature over the noise scale, of the
//! cases with two coefficients once more by brute force over both).

use crate::common;
use common::{Row, Tally, matching_digits, table};
use dutycup::door::fit::bayes::{Noise, Posterior, Prior, Rows};
use nalgebra::{DMatrix, DVector};

fn posterior(row: &Row) -> Posterior {
    let x: Vec<Vec<f64>> =
        row.text("x").split('|').map(|line| line.split(';').map(|v| v.parse().unwrap()).collect()).collect();
    let rows = Rows {
        x: DMatrix::from_fn(x.len(), x[0].len(), |i, k| x[i][k]),
        y: DVector::from_vec(row.list("y")),
    };
    let noise = Noise {
        shape: row.list("shape"),
        expected: row.num("expected"),
        prior_dof: row.num("prior_dof"),
        floor: row.num("floor"),
        within: 0.0,
        log_within: 0.0,
    };
    let sd = row.text("prior_sd").split(';').map(|v| v.parse().unwrap_or(f64::INFINITY)).collect();
    Posterior::new(&rows, &noise, &Prior { mean: row.list("prior_mean"), sd }).unwrap()
}

/// Digits asked: nine, or what is left where columns can hardly be told apart (condition of the columns, each of length
/// one, rows of the priors included).
fn digits(row: &Row) -> f64 {
    (15.0 - row.num("condition").log10()).min(9.0)
}

#[test]
fn coefficients_and_their_uncertainties() {
    let mut tally = Tally::new("posteriors in 60 digits");
    for row in table("fits/posteriors.csv") {
        let (case, found) = (row.text("case"), posterior(&row));
        let covariance = found.covariance();
        let (mean, sd) = (row.list("mean"), row.list("sd"));
        let mut worst = (16f64, 16f64);
        for k in 0..mean.len() {
            let own = covariance[(k, k)].sqrt();
            // A mean that happens to lie near zero has its digits against its uncertainty.
            let scale = mean[k].abs().max(sd[k]);
            let off = 10f64.powf(-digits(&row));
            tally.within(format!("{case} mean {k}"), found.mean[k], mean[k], off * scale);
            tally.within(format!("{case} sd {k}"), own, sd[k], off * sd[k]);
            worst.0 = worst.0.min(-((found.mean[k] - mean[k]).abs() / scale).max(1e-16).log10());
            worst.1 = worst.1.min(matching_digits(own, sd[k]));
        }
        tally.digits(format!("{case} scale"), found.scale, row.num("scale"), digits(&row));
        println!(
            "{case}: condition {}, {:.1} digits of means, {:.1} of uncertainties",
            row.text("condition"),
            worst.0,
            worst.1
        );
    }
    tally.done(180);
}

#[test]
fn evidence_weighs_as_quadrature_does() {
    let mut tally = Tally::new("evidence by quadrature and by brute force");
    let rows = table("fits/posteriors.csv");
    for group in ["two coefficients", "columns nearly alike"] {
        let mine: Vec<&Row> = rows.iter().filter(|r| r.text("case").starts_with(group)).collect();
        // Up to a constant common to cases of as many rows, flat coefficients and the same prior of the noise.
        let (first, known) = (posterior(mine[0]).log_evidence, mine[0].num("log_evidence"));
        for row in &mine[1..] {
            let got = posterior(row).log_evidence - first;
            tally.within(
                row.text("case"),
                got,
                row.num("log_evidence") - known,
                1e-3_f64.min(1e-15 * row.num("condition") + 1e-9),
            );
        }
    }
    tally.done(8);
}
