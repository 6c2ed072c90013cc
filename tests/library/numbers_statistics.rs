//! Outliers, tolerance factors, proportions and comparisons against published tables and independent libraries.
//!
//! Sources: Grubbs' critical values of ASTM E178 and textbooks, the uranium example of the NIST/SEMATECH e-Handbook
//! (from memory); tolerance factors of ISO 16269-6 and the e-Handbook 7.2.6.3; binomial intervals by statsmodels and
//! scipy; two samples by scipy, statsmodels and pingouin, with Student's sleep data of 1908.

use crate::common;
use common::{Row, Tally, table};
use dutycup::door::numerics::compare::{Difference, equal_scatter, paired, welch};
use dutycup::door::numerics::coverage::{
    proportion_exact, proportion_if_none, proportion_wilson, tolerance_howe, tolerance_one_sided,
    tolerance_two_sided,
};
use dutycup::door::numerics::gum::type_a;
use dutycup::door::numerics::variance::{grubbs, grubbs_critical};

#[test]
fn grubbs_test() {
    let mut tally = Tally::new("Grubbs' test, ASTM E178 and textbook tables");
    for row in table("stats/grubbs_critical.csv") {
        let (n, alpha) = (row.num("n") as usize, row.num("alpha"));
        let got = grubbs_critical(n, alpha, row.text("sided") == "two");
        let label = format!("n {n} alpha {alpha} {}", row.text("sided"));
        tally.digits(&label, got, row.num("g_critical_t_formula"), 11.0);
        tally.within(label, got, row.num("published"), 0.0016);
    }
    for row in table("stats/grubbs_examples.csv") {
        let (id, data) = (row.text("case_id"), row.list("data_semicolon"));
        let (a, g) = (type_a(&data).unwrap(), grubbs(&data, 0.05).unwrap());
        tally.digits(format!("{id} mean"), a.mean, row.num("mean"), 13.0);
        tally.digits(format!("{id} sd"), a.sd, row.num("sd"), 12.0);
        tally.digits(format!("{id} G"), g.g, row.num("G_max_two_sided"), 11.0);
        tally.digits(format!("{id} critical"), g.critical, row.num("g_crit_two_sided_0_05"), 11.0);
        let one = grubbs_critical(data.len(), 0.05, false);
        tally.digits(format!("{id} critical, one side"), one, row.num("g_crit_one_sided_0_05"), 11.0);
        tally.holds(format!("{id} outlier"), g.is_outlier() == (row.text("outlier") == "yes"));
    }
    tally.done(84);
    assert!(grubbs(&[1.0, 1.0, 1.0], 0.05).is_err());
    assert!(grubbs(&[1.0, 2.0], 0.05).is_err());
}

#[test]
fn tolerance_factors() {
    let mut tally = Tally::new("tolerance factors, noncentral t and integration; ISO 16269-6 tables");
    for row in table("stats/tolerance_factors.csv") {
        let (n, p, c) = (row.num("n") as usize, row.num("proportion"), row.num("confidence"));
        let one = tolerance_one_sided(n, p, c).unwrap();
        let two = tolerance_two_sided(n, p, c).unwrap();
        let label = format!("n {n} p {p} c {c}");
        tally.digits(format!("{label} one side"), one, row.num("k_one_sided_exact_nct"), 9.0);
        tally.digits(format!("{label} two sides"), two, row.num("k_two_sided_exact"), 8.0);
        let howe = tolerance_howe(n, p, c).unwrap();
        tally.digits(format!("{label} Howe"), howe, row.num("k_two_sided_howe"), 11.0);
        if let Some(published) = row.maybe("published_one_sided") {
            tally.within(format!("{label} one side, as printed"), one, published, 0.0006);
        }
        if let Some(published) = row.maybe("published_two_sided") {
            tally.within(format!("{label} two sides, as printed"), two, published, 0.006);
        }
    }
    tally.done(65);
    assert!(tolerance_one_sided(1, 0.9, 0.95).is_err());
    assert!(tolerance_two_sided(5, 1.0, 0.95).is_err());
}

#[test]
fn binomial_intervals() {
    let mut tally = Tally::new("binomial intervals, statsmodels and scipy");
    for row in table("stats/binomial_intervals.csv") {
        let (k, n, alpha) = (row.num("successes") as usize, row.num("n") as usize, row.num("alpha"));
        let (exact, wilson) = (proportion_exact(k, n, alpha), proportion_wilson(k, n, alpha));
        for (name, got) in [
            ("clopper_pearson_low", exact.0),
            ("clopper_pearson_high", exact.1),
            ("wilson_low", wilson.0),
            ("wilson_high", wilson.1),
        ] {
            tally.digits(format!("{k}/{n} {name}"), got, row.num(name), 11.0);
        }
        if let Some(upper) = row.maybe("one_sided_upper_if_zero") {
            tally.digits(format!("{k}/{n} none"), proportion_if_none(n, alpha), upper, 12.0);
        }
    }
    tally.done(38);
}

/// Checks a difference and its equivalence tests; `suffix` names the columns.
fn check_two(tally: &mut Tally, row: &Row, d: &Difference, suffix: &str) {
    let id = row.text("case_id");
    let e = d.equivalence(row.num("equiv_low"), row.num("equiv_high"));
    for (name, got) in [
        (format!("t_{suffix}"), d.t()),
        (format!("p_{suffix}"), d.p()),
        (format!("tost_p_{suffix}"), e.p()),
        (format!("tost_t_lower_{suffix}"), e.lower.0),
        (format!("tost_p_lower_{suffix}"), e.lower.1),
        (format!("tost_t_upper_{suffix}"), e.upper.0),
        (format!("tost_p_upper_{suffix}"), e.upper.1),
    ] {
        tally.digits(format!("{id} {name}"), got, row.num(&name), 9.0);
    }
}

#[test]
fn two_samples() {
    let mut tally = Tally::new("two samples and their equivalence; scipy, statsmodels, pingouin");
    let data = table("stats/two_sample_data.csv");
    for row in table("stats/two_sample_expected.csv") {
        let id = row.text("case_id");
        let group = |g: &str| -> Vec<f64> {
            data.iter()
                .filter(|r| r.text("case_id") == id && r.text("group") == g)
                .map(|r| r.num("value"))
                .collect()
        };
        let (a, b) = (group("a"), group("b"));
        let w = welch(&a, &b).unwrap();
        check_two(&mut tally, &row, &equal_scatter(&a, &b).unwrap(), "pooled");
        check_two(&mut tally, &row, &w, "welch");
        let (i95, i90) = (w.interval(0.95), w.interval(0.90));
        for (name, got) in [
            ("df_welch", w.dof),
            ("welch_ci95_low", i95.0),
            ("welch_ci95_high", i95.1),
            ("welch_ci90_low", i90.0),
            ("welch_ci90_high", i90.1),
        ] {
            tally.digits(format!("{id} {name}"), got, row.num(name), 9.0);
        }
    }
    tally.done(76);
}

#[test]
fn paired_samples() {
    let mut tally = Tally::new("paired samples, Student's sleep data 1908; scipy, pingouin");
    for row in table("stats/paired_tests.csv") {
        let id = row.text("case_id");
        let d = paired(&row.list("a_semicolon"), &row.list("b_semicolon")).unwrap();
        let (e, i) = (d.equivalence(row.num("equiv_low"), row.num("equiv_high")), d.interval(0.95));
        for (name, got) in [
            ("mean_diff", d.value),
            ("sd_diff", d.u * row.num("n").sqrt()),
            ("t", d.t()),
            ("p", d.p()),
            ("ci95_low", i.0),
            ("ci95_high", i.1),
            ("tost_p", e.p()),
            ("tost_t_lower", e.lower.0),
            ("tost_p_lower", e.lower.1),
            ("tost_t_upper", e.upper.0),
            ("tost_p_upper", e.upper.1),
        ] {
            tally.digits(format!("{id} {name}"), got, row.num(name), 9.0);
        }
    }
    tally.done(22);
}
