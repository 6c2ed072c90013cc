//! Monotone interpolation and isotonic regression against independent libraries.
//!
//! Sources: scipy (PCHIP after Fritsch and Butland 1984) on the RPN14 data of Fritsch and Carlson 1980, the data of
//! Akima 1970 and made-up duty curves; isotonic regression by scikit-learn, scipy and a third code.

use crate::common;
use common::{Row, Tally, table};
use dutycup::door::numerics::isotonic::increasing;
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
fn pchip_values() {
    let knots = table("interp/knots.csv");
    let values = table("interp/values.csv");
    let mut tally = Tally::new("PCHIP of scipy, Fritsch-Butland 1984");
    for set in datasets(&knots) {
        let (x, y) = (column(&knots, &set, "x"), column(&knots, &set, "y"));
        let scale = y.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
        let curve = Pchip::new(&x, &y).unwrap();
        for (x, y) in x.iter().zip(&y) {
            tally.within(format!("{set} at the knot {x}"), curve.value(*x).unwrap(), *y, 1e-14 * scale);
        }
        for row in values.iter().filter(|r| r.text("dataset") == set) {
            let at = row.num("x");
            tally.within(format!("{set} at {at}"), curve.value(at).unwrap(), row.num("pchip"), 1e-13 * scale);
        }
    }
    tally.done(67 + 78);
}

#[test]
fn pchip_edges() {
    let curve = Pchip::new(&[0.0, 10.0, 20.0, 30.0], &[0.0, 0.0, 5.0, 9.0]).unwrap();
    assert_eq!(curve.value(-0.001), None);
    assert_eq!(curve.value(30.001), None);
    assert_eq!(curve.value(f64::NAN), None);
    assert!(Pchip::new(&[0.0], &[0.0]).is_err());
    assert!(Pchip::new(&[0.0, 0.0], &[0.0, 1.0]).is_err());
    assert!(Pchip::new(&[0.0, 1.0], &[0.0, f64::NAN]).is_err());
}

#[test]
fn isotonic_regression() {
    let rows = table("interp/isotonic.csv");
    let mut tally = Tally::new("isotonic regression of scikit-learn");
    for set in datasets(&rows) {
        let (y, w) = (column(&rows, &set, "y"), column(&rows, &set, "weight"));
        let (up, want) = (increasing(&y, &w).unwrap(), column(&rows, &set, "isotonic_increasing"));
        for i in 0..y.len() {
            tally.digits(format!("{set} {i}"), up[i], want[i], 12.0);
        }
    }
    tally.done(41);
    assert!(increasing(&[], &[]).is_err());
    assert!(increasing(&[1.0, 2.0], &[1.0, 0.0]).is_err());
}
