//! Cumulative distribution functions and quantiles against 40-digit arithmetic.
//!
//! Source: mpmath at 40 digits, agreeing with scipy to 11 digits or better; t also against JCGM 100:2008, Table G.2
//! (in the uncertainty checks).

use crate::common;
use common::{Tally, table};
use dutycup::door::numerics::distribution::{
    chi2_quantile, chi2_survival, coverage, f_survival, normal_cdf, normal_quantile, t_cdf, t_quantile,
    t_survival,
};

#[test]
fn quantiles() {
    let mut tally = Tally::new("quantiles, mpmath 40 digits");
    for row in table("stats/quantiles.csv") {
        let (kind, p) = (row.text("distribution").to_owned(), row.num("probability"));
        let want = row.num("quantile_mpmath_17dig");
        let got = match kind.as_str() {
            "normal" => normal_quantile(p),
            "student_t" => t_quantile(p, row.num("df1")),
            // Only the tail of F is asked for: at its quantile it holds the rest.
            "f" => {
                let tail = f_survival(want, row.num("df1"), row.num("df2"));
                tally.digits(format!("f beyond {want}"), tail, 1.0 - p, 10.0);
                continue;
            }
            "chi2" => chi2_quantile(p, row.num("df1")),
            other => panic!("{other}"),
        };
        let label = format!("{kind} {:?} {:?} {p}", row.maybe("df1"), row.maybe("df2"));
        tally.digits(label, got, want, 12.0);
    }
    tally.done(95);
}

#[test]
fn cumulative_distributions_and_their_tails() {
    let mut tally = Tally::new("cdf and survival, mpmath 40 digits");
    for row in table("stats/cdf.csv") {
        let (kind, x) = (row.text("distribution").to_owned(), row.num("x"));
        let (cdf, tail) = match kind.as_str() {
            "normal" => (Some(normal_cdf(x)), normal_cdf(-x)),
            "student_t" => (Some(t_cdf(x, row.num("df1"))), t_survival(x, row.num("df1"))),
            "f" => (None, f_survival(x, row.num("df1"), row.num("df2"))),
            "chi2" => (None, chi2_survival(x, row.num("df1"))),
            other => panic!("{other}"),
        };
        if let Some(cdf) = cdf {
            tally.digits(format!("{kind} {x}"), cdf, row.num("cdf_17dig"), 12.0);
        }
        tally.digits(format!("{kind} {x} tail"), tail, row.num("survival_17dig"), 11.0);
    }
    tally.done(20);
}

/// Degenerate arguments, and the seam where t goes over to its expansion about the normal distribution.
#[test]
fn ends_and_seams() {
    assert!((coverage(0.95, f64::INFINITY) - 1.959_963_984_540_054).abs() < 1e-13);
    assert!(coverage(0.95, 0.0).is_infinite());
    assert!(t_quantile(0.5, -1.0).is_nan());
    assert!(normal_quantile(1.5).is_nan());
    assert!(t_quantile(0.5, 7.0).abs() < 1e-15);
    for p in [0.6, 0.975, 0.9999] {
        let (below, above) = (t_quantile(p, 99_999.9), t_quantile(p, 100_000.1));
        assert!((below - above).abs() < 1e-9, "{p}: {below} {above}");
        assert!((t_cdf(above, 100_000.1) - p).abs() < 1e-12);
        assert!((t_cdf(below, 99_999.9) - p).abs() < 1e-11);
    }
}
