//! Monotone interpolation and isotonic regression against independent libraries.
//!
//! Sources: scipy (PCHIP after Fritsch and Butland 1984) on the RPN14 data of Fritsch and Carlson 1980, the data of
//! Akima 1970 and made-up duty curves; isotonic regression by scikit-learn, scipy and a third code.

use crate::common;
use common::{Row, Tally, table};
use dutycup::door::numerics::isotonic::{decreasing, increasing};
use dutycup::door::numerics::monotone::Pchip;

fn datasets(rows: &[Row]) -> Vec<String> {
    let mut names: Vec<String> = rows.iter().map(|r| r.text("dataset").to_owned()).collect();
    names.dedup();
    names
}

fn column(rows: &[Row], dataset: &str, name: &str) -> Vec<f64> {
    rows.iter().filter(|r| r.text("dataset") == dataset).map(|r| r.num(name)).collect()
}

#[test]
fn pchip_slopes_values_derivatives_integrals_inverses() {
    let knots = table("interp/knots.csv");
    let values = table("interp/values.csv");
    let inverses = table("interp/inverse_pchip.csv");
    let mut tally = Tally::new("PCHIP of scipy, Fritsch-Butland 1984");
    for set in datasets(&knots) {
        let (x, y) = (column(&knots, &set, "x"), column(&knots, &set, "y"));
        let scale = y.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
        let curve = Pchip::new(&x, &y).unwrap();
        let slopes = column(&knots, &set, "slope_pchip_fritsch_butland");
        let integrals = column(&knots, &set, "pchip_integral_from_x0");
        for i in 0..x.len() {
            let steep = scale / (x[x.len() - 1] - x[0]);
            tally.within(format!("{set} slope {i}"), curve.slopes()[i], slopes[i], 1e-12 * steep);
            tally.within(format!("{set} value at knot {i}"), curve.value(x[i]).unwrap(), y[i], 1e-14 * scale);
            let area = scale * (x[x.len() - 1] - x[0]);
            tally.within(
                format!("{set} integral {i}"),
                curve.integral(x[i]).unwrap(),
                integrals[i],
                1e-13 * area,
            );
        }
        for row in values.iter().filter(|r| r.text("dataset") == set) {
            let at = row.num("x");
            tally.within(format!("{set} at {at}"), curve.value(at).unwrap(), row.num("pchip"), 1e-13 * scale);
            let steep = scale / (x[1] - x[0]);
            let slope = curve.derivative(at).unwrap();
            tally.within(format!("{set} slope at {at}"), slope, row.num("pchip_derivative"), 1e-12 * steep);
        }
        for row in inverses.iter().filter(|r| r.text("dataset") == set) {
            let at = curve.inverse(row.num("y")).unwrap();
            tally.digits(format!("{set} inverse of {}", row.text("y")), at, row.num("x"), 11.0);
        }
    }
    tally.done(3 * 67 + 2 * 78 + 42);
}

#[test]
fn pchip_edges() {
    let curve = Pchip::new(&[0.0, 10.0, 20.0, 30.0], &[0.0, 0.0, 5.0, 9.0]).unwrap();
    assert_eq!(curve.value(-0.001), None);
    assert_eq!(curve.value(30.001), None);
    assert_eq!(curve.value(f64::NAN), None);
    assert_eq!(curve.inverse(9.1), None);
    assert_eq!(curve.inverse(-0.1), None);
    assert_eq!(curve.inverse(0.0), Some(0.0), "a plateau begins at its left end");
    assert!((curve.inverse(9.0).unwrap() - 30.0).abs() < 1e-12);
    assert!(Pchip::new(&[0.0], &[0.0]).is_err());
    assert!(Pchip::new(&[0.0, 0.0], &[0.0, 1.0]).is_err());
    assert!(Pchip::new(&[0.0, 1.0], &[0.0, f64::NAN]).is_err());
    let falling = Pchip::new(&[0.0, 1.0, 2.0], &[0.0, 2.0, 1.0]).unwrap();
    assert_eq!(falling.inverse(1.5), None, "no inverse where the points fall");
}

#[test]
fn isotonic_regression() {
    let rows = table("interp/isotonic.csv");
    let mut tally = Tally::new("isotonic regression of scikit-learn");
    for set in datasets(&rows) {
        let (y, w) = (column(&rows, &set, "y"), column(&rows, &set, "weight"));
        let (up, down) = (increasing(&y, &w).unwrap(), decreasing(&y, &w).unwrap());
        let (want_up, want_down) =
            (column(&rows, &set, "isotonic_increasing"), column(&rows, &set, "isotonic_decreasing"));
        for i in 0..y.len() {
            tally.digits(format!("{set} {i} rising"), up[i], want_up[i], 12.0);
            tally.digits(format!("{set} {i} falling"), down[i], want_down[i], 12.0);
        }
    }
    tally.done(82);
    assert!(increasing(&[], &[]).is_err());
    assert!(increasing(&[1.0, 2.0], &[1.0, 0.0]).is_err());
}
