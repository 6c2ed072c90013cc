//! Outliers and tolerance factors against published tables and independent libraries.
//!
//! Sources: Grubbs' critical values of ASTM E178 and textbooks, the uranium example of the NIST/SEMATECH e-Handbook
//! (from memory); tolerance factors of ISO 16269-6 and the e-Handbook 7.2.6.3.

use crate::common;
use common::{Tally, table};
use dutycup::door::numerics::coverage::tolerance_two_sided;
use dutycup::door::numerics::variance::grubbs;
use dutycup::door::uncertainty::{Cause, type_a};

/// `n` readings of which the last stands out: only the count matters to the critical value.
fn with_outlier(n: usize) -> Vec<f64> {
    (0..n).map(|i| if i + 1 == n { 10.0 } else { i as f64 / n as f64 }).collect()
}

#[test]
fn grubbs_test() {
    let mut tally = Tally::new("Grubbs' test, ASTM E178 and textbook tables");
    for row in table("stats/grubbs_critical.csv").iter().filter(|r| r.text("sided") == "two") {
        let (n, alpha) = (row.num("n") as usize, row.num("alpha"));
        let found = grubbs(&with_outlier(n), alpha).unwrap();
        let label = format!("n {n} alpha {alpha}");
        tally.holds(format!("{label} place"), found.index + 1 == n);
        tally.digits(&label, found.critical, row.num("g_critical_t_formula"), 11.0);
        tally.within(label, found.critical, row.num("published"), 0.0016);
    }
    for row in table("stats/grubbs_examples.csv") {
        let (id, data) = (row.text("case_id"), row.list("data_semicolon"));
        let (a, g) = (type_a(Cause::Readings, &data).unwrap(), grubbs(&data, 0.05).unwrap());
        let sd = a.u * (data.len() as f64).sqrt();
        tally.digits(format!("{id} mean"), a.value, row.num("mean"), 13.0);
        tally.digits(format!("{id} sd"), sd, row.num("sd"), 12.0);
        tally.digits(format!("{id} G"), g.g, row.num("G_max_two_sided"), 11.0);
        tally.digits(format!("{id} critical"), g.critical, row.num("g_crit_two_sided_0_05"), 11.0);
        tally.holds(format!("{id} outlier"), g.is_outlier() == (row.text("outlier") == "yes"));
    }
    tally.done(50);
    assert!(grubbs(&[1.0, 1.0, 1.0], 0.05).is_err());
    assert!(grubbs(&[1.0, 2.0], 0.05).is_err());
}

#[test]
fn tolerance_factors() {
    let mut tally = Tally::new("tolerance factors, noncentral t and integration; ISO 16269-6 tables");
    for row in table("stats/tolerance_factors.csv") {
        let (n, p, c) = (row.num("n") as usize, row.num("proportion"), row.num("confidence"));
        let two = tolerance_two_sided(n, p, c).unwrap();
        let label = format!("n {n} p {p} c {c}");
        tally.digits(&label, two, row.num("k_two_sided_exact"), 8.0);
        if let Some(published) = row.maybe("published_two_sided") {
            tally.within(format!("{label}, as printed"), two, published, 0.006);
        }
    }
    tally.done(20);
    assert!(tolerance_two_sided(1, 0.9, 0.95).is_err());
    assert!(tolerance_two_sided(5, 1.0, 0.95).is_err());
}
