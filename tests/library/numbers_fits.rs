//! Fits of nozzle, pump and published data, their predictions, and lines with uncertain points.
//!
//! Sources: 50-digit Gauss-Newton, agreeing with scipy and lmfit; Puromycin and BOD (Bates and Watts 1988), cars
//! (Ezekiel 1930), DanWood (NIST StRD); Pearson's data with York's weights (York et al. 2004, Am. J. Phys. 72, 367).

use crate::common;
use common::{Row, Tally, table};
use dutycup::door::numerics::distribution::{chi2_survival, coverage};
use dutycup::door::numerics::errors_in_variables::{Point, line};
use dutycup::door::numerics::least_squares::{Fit, Options, from_fn, propagate, solve};
use dutycup::door::numerics::{DMatrix, NumericsError};

/// The nozzle of the implicit pump case, mL/min per sqrt(psi).
const K_FIXED: f64 = 63.09;

/// Flow where pump `a V d - b P - c` and nozzle `k sqrt(P - back)` agree.
fn pair(a: f64, b: f64, c: f64, k: f64, x: &[f64; 3], back: f64) -> f64 {
    let drive = a * x[0] * x[1] - c - b * back;
    2.0 * drive / (1.0 + (1.0 + 4.0 * b * drive / (k * k)).sqrt())
}

/// The model of a case.
fn model(case: &str, b: &[f64], x: &[f64; 3]) -> f64 {
    match case {
        "SQRT_1" | "SQRT_2" => b[0] * x[0].sqrt(),
        "POWER_1"
        | "POWER_2_unweighted"
        | "POWER_3_few"
        | "PUBLISHED_CARS_POWER"
        | "PUBLISHED_DANWOOD_POWER" => b[0] * x[0].powf(b[1]),
        "PUMP_LINEAR" => b[0] * x[0] * x[1] - b[1] * x[2] - b[2],
        "IMPLICIT_PUMP_NOZZLE" => pair(b[0], b[1], b[2], K_FIXED, x, x[2]),
        "JOINT_Q_AND_P" => {
            let q = pair(b[0], b[1], b[2], b[3], x, 0.0);
            if x[2] > 0.5 { q } else { (q / b[3]).powi(2) }
        }
        "DUTY_SATURATING" => b[0] * (1.0 - (-(x[0] - b[1]) / b[2]).exp()),
        "PUBLISHED_PUROMYCIN_TREATED" => b[0] * x[0] / (b[1] + x[0]),
        "PUBLISHED_BOD" => b[0] * (1.0 - (-b[1] * x[0]).exp()),
        "PUBLISHED_CARS_LINEAR" => b[0] + b[1] * x[0],
        other => panic!("no model for {other}"),
    }
}

fn predictors(row: &Row) -> [f64; 3] {
    ["x1", "x2", "x3"].map(|c| row.maybe(c).unwrap_or(0.0))
}

fn fit_case(case: &Row, data: &[Row]) -> Fit {
    let id = case.text("case_id");
    let rows: Vec<([f64; 3], f64, f64)> = data
        .iter()
        .filter(|r| r.text("case_id") == id)
        .map(|r| (predictors(r), r.num("y"), r.maybe("u_y").unwrap_or(1.0)))
        .collect();
    assert_eq!(rows.len(), case.num("n") as usize, "{id}");
    let problem = from_fn(rows.len(), |b: &[f64], out: &mut [f64]| {
        for (o, (x, y, u)) in out.iter_mut().zip(&rows) {
            *o = (y - model(id, b, x)) / u;
        }
    });
    let start = case.list("start_values");
    solve(&problem, &start, &Options::default()).unwrap_or_else(|e| panic!("{id}: {e}"))
}

/// Gradient of the model by its parameters, by central differences.
fn gradient(case: &str, b: &[f64], x: &[f64; 3]) -> Vec<f64> {
    (0..b.len())
        .map(|i| {
            let (mut low, mut high) = (b.to_vec(), b.to_vec());
            let step = 6e-6 * b[i].abs();
            low[i] -= step;
            high[i] += step;
            (model(case, &high, x) - model(case, &low, x)) / (2.0 * step)
        })
        .collect()
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
        let scaled = fit.scaled().unwrap();
        let t = coverage(0.95, fit.dof as f64);
        tally.digits(format!("{id} chi2"), fit.chi2, case.num("chi2_or_rss"), 9.0);
        tally.digits(format!("{id} dof"), fit.dof as f64, case.num("df"), 14.0);
        let reduced = fit.reduced_chi2().unwrap();
        tally.digits(format!("{id} reduced"), reduced, case.num("reduced_chi2_or_s2"), 9.0);
        tally.digits(format!("{id} birge"), reduced.sqrt(), case.num("residual_sd_or_birge"), 9.0);
        if let Some(p) = case.maybe("p_value_chi2") {
            tally.digits(format!("{id} p"), chi2_survival(fit.chi2, fit.dof as f64), p, 8.0);
        }
        let names: Vec<&str> = case.text("parameters").split(';').collect();
        for row in expected.iter().filter(|r| r.text("case_id") == id) {
            let (name, label) = (row.text("parameter"), format!("{id} {}", row.text("parameter")));
            let place = |n: &str| names.iter().position(|m| *m == n).unwrap_or_else(|| panic!("{label}"));
            if let Some(pair) = name.strip_prefix("corr(").and_then(|p| p.strip_suffix(')')) {
                let (first, second) = pair.split_once(';').unwrap();
                let (i, j) = (place(first), place(second));
                let r = fit.covariance[(i, j)] / (fit.sd(i) * fit.sd(j));
                tally.within(label, r, row.num("estimate"), 1e-8);
                continue;
            }
            let i = place(name);
            tally.digits(&label, fit.params[i], row.num("estimate"), 8.0);
            tally.digits(format!("{label} se"), fit.sd(i), row.num("se_absolute_sigma"), 6.0);
            let se = scaled[(i, i)].sqrt();
            tally.digits(format!("{label} se scaled"), se, row.num("se_scaled_by_reduced_chi2"), 6.0);
            tally.digits(format!("{label} half width"), t * se, row.num("half_width_95_t_scaled"), 6.0);
        }
        for row in predictions.iter().filter(|r| r.text("case_id") == id) {
            let x = predictors(row);
            let g = gradient(id, &fit.params, &x);
            let label = format!("{id} at {}", row.text("x1"));
            tally.digits(&label, model(id, &fit.params, &x), row.num("prediction"), 8.0);
            tally.digits(format!("{label} u"), fit.sd_of(&g), row.num("u_prediction_absolute_sigma"), 6.0);
            let u = propagate(&scaled, &g);
            tally.digits(format!("{label} u scaled"), u, row.num("u_prediction_scaled"), 6.0);
            tally.digits(format!("{label} half width"), t * u, row.num("half_width_95_t_scaled"), 6.0);
        }
    }
    tally.done(14 * 4 + 9 + 33 * 4 + 21 * 4);
}

#[test]
fn lines_with_uncertain_points() {
    let data = table("fits/errors_in_variables_data.csv");
    let mut tally = Tally::new("York et al. 2004; odrpack");
    for row in table("fits/errors_in_variables_expected.csv") {
        let id = row.text("case_id");
        let points: Vec<Point> = data
            .iter()
            .filter(|r| r.text("case_id") == id)
            .map(|r| Point { x: r.num("x"), y: r.num("y"), u_x: r.num("u_x"), u_y: r.num("u_y"), r: 0.0 })
            .collect();
        let l = line(&points).unwrap();
        let birge = (l.chi2 / l.dof as f64).sqrt();
        for (name, got) in [
            ("intercept", l.intercept),
            ("slope", l.slope),
            ("se_intercept", l.u_intercept),
            ("se_slope", l.u_slope),
            ("se_intercept_scaled", l.u_intercept * birge),
            ("se_slope_scaled", l.u_slope * birge),
            ("corr", l.correlation),
            ("chi2", l.chi2),
            ("df", l.dof as f64),
        ] {
            tally.digits(format!("{id} {name}"), got, row.num(name), 9.0);
        }
        if id == "PEARSON_YORK" {
            tally.within("Pearson intercept as printed", l.intercept, 5.479_910_22, 5.1e-9);
            tally.within("Pearson slope as printed", l.slope, -0.480_533_407, 5.1e-10);
            tally.within("Pearson S as printed", l.chi2, 11.866_353, 5.1e-7);
        }
    }
    tally.done(21);
    let flat = Point { x: 1.0, y: 1.0, u_x: 0.1, u_y: 0.1, r: 0.0 };
    assert!(line(&[flat]).is_err());
    assert!(line(&[flat, flat, flat]).is_err());
    assert!(line(&[flat, Point { u_y: 0.0, ..flat }]).is_err());
}

/// Degenerate problems, own algebra.
#[test]
fn fits_that_have_no_answer_say_so() {
    let xs = [1.0, 2.0, 3.0, 4.0];
    let flat = |f: fn(&[f64], f64) -> f64| {
        from_fn(4, move |b: &[f64], out: &mut [f64]| {
            for (o, x) in out.iter_mut().zip(xs) {
                *o = x - f(b, x);
            }
        })
    };
    let options = Options::default();
    let sum = flat(|b, x| (b[0] + b[1]) * x);
    assert_eq!(
        solve(&sum, &[0.2, 0.3], &options).unwrap_err(),
        NumericsError::RankDeficient { rank: 1, columns: 2 }
    );
    let unused = flat(|b, x| b[0] * x);
    assert_eq!(
        solve(&unused, &[0.2, 0.3], &options).unwrap_err(),
        NumericsError::RankDeficient { rank: 1, columns: 2 }
    );
    let broken = flat(|b, x| (b[0] - 5.0).sqrt() * x);
    assert!(matches!(solve(&broken, &[0.2], &options), Err(NumericsError::NotFinite { .. })));
    let five = flat(|b, x| b.iter().enumerate().map(|(i, v)| v * x.powi(i as i32)).sum());
    assert!(matches!(solve(&five, &[0.0; 5], &options), Err(NumericsError::TooFewPoints { .. })));
    let hasty = Options { evaluations_max: 3, ..Options::default() };
    let curve = flat(|b, x| b[0] * (b[1] * x).exp() + b[2]);
    assert!(matches!(solve(&curve, &[9.0, 0.7, 3.0], &hasty), Err(NumericsError::NotConverged { .. })));
    // A wall that is not the minimum: the residuals are not finite beyond it.
    let wall = flat(|b, x| if b[0] > 0.5 { f64::NAN } else { b[0] * x });
    assert!(matches!(solve(&wall, &[0.1], &options), Err(NumericsError::NotFinite { .. })));
}

#[test]
fn bounds_and_fixed_parameters_hold() {
    let xs = [1.0, 2.0, 3.0, 4.0, 5.0];
    let ys = [3.1, 4.9, 7.2, 8.8, 11.1];
    let problem = from_fn(5, |b: &[f64], out: &mut [f64]| {
        for ((o, x), y) in out.iter_mut().zip(xs).zip(ys) {
            *o = y - b[0] - b[1] * x;
        }
    });
    // Bound on the slope: the intercept is then the mean of y - 1.5 x, sd 1/sqrt(5) (own algebra).
    let fit = solve(&problem, &[0.0, 1.0], &Options::bounded(&[(-10.0, 10.0), (0.0, 1.5)])).unwrap();
    assert_eq!(fit.at_bound, [false, true]);
    assert!((fit.params[1] - 1.5).abs() < 1e-15);
    assert!((fit.params[0] - (ys.iter().sum::<f64>() - 1.5 * 15.0) / 5.0).abs() < 1e-9);
    assert!((fit.sd(0) - 1.0 / 5f64.sqrt()).abs() < 1e-9);
    assert!(fit.sd(1) == 0.0);
    let held = Options { fixed: vec![true, false], ..Options::default() };
    let fit = solve(&problem, &[1.0, 1.0], &held).unwrap();
    assert!((fit.params[0] - 1.0).abs() < 1e-15 && fit.dof == 4);
    let sum: f64 = xs.iter().zip(ys).map(|(x, y)| x * (y - 1.0)).sum();
    assert!((fit.params[1] - sum / 55.0).abs() < 1e-9);
    assert!((fit.sd(1) - 1.0 / 55f64.sqrt()).abs() < 1e-9);
    let all = Options { fixed: vec![true, true], ..Options::default() };
    let fit = solve(&problem, &[1.0, 2.0], &all).unwrap();
    assert_eq!(fit.covariance, DMatrix::zeros(2, 2));
    assert!(matches!(
        solve(&problem, &[0.0, 2.0], &Options::bounded(&[(-10.0, 10.0), (0.0, 1.5)])),
        Err(NumericsError::OutOfRange { .. })
    ));
}

/// Data without noise: the residuals are rounding, and that is a fit (own algebra).
#[test]
fn exact_data_are_fitted() {
    let xs = [1.0, 2.0, 3.0, 4.0, 5.0];
    for (truth, start) in [
        ([0.0, 2.0, 0.0], [9.0, 0.1, 3.0]),
        ([0.0, 0.0, 0.0], [1.0, 1.0, 1.0]),
        ([7.0, -3.0, 0.5], [7.0, -3.0, 0.5]),
        ([1e-6, 3e4, 1.0], [1.0, 1.0, 1.0]),
    ] {
        let value = |b: &[f64], x: f64| b[0] + b[1] * x + b[2] * x * x;
        let problem = from_fn(5, |b: &[f64], out: &mut [f64]| {
            for (o, x) in out.iter_mut().zip(xs) {
                *o = value(&truth, x) - value(b, x);
            }
        });
        let fit = solve(&problem, &start, &Options::default()).unwrap_or_else(|e| panic!("{truth:?}: {e}"));
        let scale = truth.iter().fold(1.0, |m: f64, v| m.max(v.abs()));
        for (got, want) in fit.params.iter().zip(truth) {
            assert!((got - want).abs() < 1e-9 * scale, "{truth:?}: {:?}", fit.params);
        }
    }
}
