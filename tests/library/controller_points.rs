//! Controller points taken elsewhere: accepted, compared, refused with the place.
//!
//! Expected numbers are worked out by hand, or by formulas named beside them.

use dutycup::door::judge::baseline::{Baseline, Origin, compare, items, merge, text, tolerance};
use dutycup::door::numerics::distribution::t_quantile;
use dutycup::door::reduce::{controller_csv, table};
use dutycup::door::verdict::item::Verdict;

const HEADER: &str = "output,boost_v,rpm,supply_v,value,unit,repeat\n";

fn points(rows: &str) -> Baseline {
    let table = table::parse("points.csv", format!("{HEADER}{rows}").as_bytes()).expect("a table");
    let observations = controller_csv::from_table(&table).expect("points");
    Baseline { origin: Origin::default(), firmware: None, observations: observations.list }
}

/// A map of 4 by 4 points, three repeats each with a scatter of 0.1 % about the mean.
fn map(change: impl Fn(f64, f64) -> f64) -> String {
    let mut rows = String::new();
    for volts in [2.0, 2.5, 3.0, 3.5] {
        for rpm in [2000.0, 3000.0, 4000.0, 5000.0] {
            for (repeat, scatter) in [(1, -0.1), (2, 0.0), (3, 0.1)] {
                let value = 20.0 * (volts - 1.0) + rpm / 500.0 + scatter + change(volts, rpm);
                rows += &format!("duty,{volts},{rpm},13.8,{value:.2},%,{repeat}\n");
            }
        }
    }
    rows
}

fn stated(tolerances: &[&str]) -> Vec<tolerance::Stated> {
    tolerances.iter().map(|t| tolerance::read(t)).collect()
}

#[test]
fn one_point_changed_by_twice_the_tolerance_is_found_and_named() {
    let old = points(&map(|_, _| 0.0));
    let new =
        points(&map(|v, rpm| if v > 2.9 && v < 3.1 && rpm > 3900.0 && rpm < 4100.0 { 4.0 } else { 0.0 }));
    let c = compare(&old, &new, &stated(&["2 %"])).expect("comparable");
    assert_eq!((c.verdict(), c.count(Verdict::Changed), c.count(Verdict::Same)), (Verdict::Changed, 1, 15));
    let worst = &c.list[0];
    let at = &worst.old.as_ref().expect("a baseline").at;
    assert_eq!((at.boost_v, at.rpm), (Some(3.0), Some(4000.0)));
    // By hand: the pooled standard deviation of -0.1, 0, 0.1 is 0.1 with 2 degrees of freedom a point and side, 64 in
    // all; the difference of two means of three has u = 0.1 sqrt(2/3). Two decimals add 0.01/sqrt(12) a side.
    let (random, own) = (0.1 * (2.0_f64 / 3.0).sqrt(), 0.01 / 6f64.sqrt());
    let u = random.hypot(own);
    let dof = 64.0 * (u / random).powi(4);
    let close = |a: Option<f64>, b: f64| a.is_some_and(|a| (a - b).abs() < 1e-6);
    // U is the convolution of that t with the rounding of the decimals, a thousandth of it.
    let guide = t_quantile(0.975, dof) * u;
    assert!(worst.u95.is_some_and(|u95| (u95 / guide - 1.0).abs() < 2e-4), "{worst:?}");
    // Sidak 1967: 16 comparisons at 1 % together.
    let level = 1.0 - 0.99f64.powf(1.0 / 16.0);
    assert!(close(worst.u_changed, t_quantile(1.0 - level / 2.0, dof) * u));
    let item = &items::verdicts(&c).items[0];
    assert!(item.note.contains("was") && item.id.starts_with("duty.steady@"), "{item:?}");
}

#[test]
fn the_three_outcomes_lie_where_the_rule_puts_them() {
    let old = points(&map(|_, _| 0.0));
    for (shift, verdict) in [
        (0.0, Verdict::Same),
        (1.7, Verdict::Same),
        (1.95, Verdict::Undecided),
        (2.2, Verdict::Undecided),
        (2.6, Verdict::Changed),
        (-2.6, Verdict::Changed),
    ] {
        let new = points(&map(|_, _| shift));
        let c = compare(&old, &new, &stated(&["duty=2 %"])).expect("comparable");
        assert_eq!(c.verdict(), verdict, "{shift}");
    }
}

#[test]
fn missing_and_extra_points_are_named() {
    let whole = map(|_, _| 0.0);
    let less: String = whole.lines().skip(3).map(|l| format!("{l}\n")).collect();
    let c = compare(&points(&whole), &points(&less), &[]).expect("comparable");
    assert_eq!(c.verdict(), Verdict::Undecided);
    let note = |c| items::verdicts(c).items[0].note.clone();
    assert!(note(&c).starts_with("missing"), "{}", note(&c));
    let c = compare(&points(&less), &points(&whole), &[]).expect("comparable");
    assert_eq!(c.verdict(), Verdict::Same);
    let last = items::verdicts(&c).items.pop().expect("items");
    assert!(last.note.starts_with("extra") && last.verdict == Verdict::Skipped, "{last:?}");
}

#[test]
fn a_tolerance_too_tight_is_refused_with_the_number_that_would_do() {
    let old = points(&map(|_, _| 0.0));
    let refused = compare(&old, &old, &stated(&["0.05 %"])).expect_err("too tight").to_string();
    let number: f64 = (refused.split("at least ").nth(1))
        .and_then(|t| t.split(' ').next())
        .and_then(|t| t.parse().ok())
        .expect("a number");
    let c = compare(&old, &old, &stated(&[&format!("{number} %")])).expect("that would do");
    assert_eq!(c.verdict(), Verdict::Same, "{refused}");
}

#[test]
fn without_repeats_nothing_is_decided() {
    let once: String = map(|_, _| 0.0).lines().step_by(3).map(|l| format!("{l}\n")).collect();
    let c = compare(&points(&once), &points(&once), &[]).expect("comparable");
    assert_eq!(c.verdict(), Verdict::Undecided);
    assert!(items::verdicts(&c).items[0].note.contains("twice"));
}

#[test]
fn outputs_of_every_kind_are_compared_alike() {
    let rows = |valve: u8, trim: f64| {
        let mut rows = map(|_, _| 0.0);
        for repeat in 1..=3 {
            rows +=
                &format!("valve,2.5,4000,13.8,{valve},,{repeat}\ntrim,2.5,4000,13.8,{trim:.3},V,{repeat}\n");
        }
        rows
    };
    let old = points(&rows(1, 2.5));
    for (valve, trim, changed) in [(1, 2.5, 0), (0, 2.5, 1), (1, 2.62, 1), (0, 2.62, 2)] {
        let c = compare(&old, &points(&rows(valve, trim)), &[]).expect("comparable");
        assert_eq!(c.count(Verdict::Changed), changed, "{valve} {trim}");
    }
    let wrong = compare(&old, &old, &stated(&["dutty=2 %"])).expect_err("no such output").to_string();
    assert!(wrong.contains("did you mean \"duty\"?"), "{wrong}");
    let wrong = compare(&old, &old, &stated(&["duty=2 psi"])).expect_err("no such unit").to_string();
    assert!(wrong.contains("percentage"), "{wrong}");
}

#[test]
fn a_baseline_survives_its_file() {
    let mut old = merge(vec![points(&map(|_, _| 0.0)), points(&map(|_, _| 0.3))]).expect("alike");
    old.firmware = Some("1.2: \"quoted\"".into());
    let written = text::write(&old).expect("written");
    let read = text::read("b.yaml", &written).expect("read");
    assert_eq!(text::write(&read).expect("written again"), written);
    assert_eq!(read.observations.len(), 16);
    assert_eq!(read.observations[0].repeats, 6);
    for (from, to) in [
        ("format: 1", "format: 9"),
        ("repeats\":6", "repeats\":-6"),
        ("steady", "stedy"),
        ("\"unit\":", "\"x\":1,\"unit\":"),
    ] {
        assert!(text::read("b.yaml", &written.replacen(from, to, 1)).is_err(), "{from} to {to}");
    }
}

#[test]
fn wrong_cells_are_shown_where_they_stand() {
    for (rows, line, column, says) in [
        ("duty,2.5,4000,13.8,3O,%,1\n", 2, 20, "is not a number"),
        ("duty,2.5,4000,13.8,30,%,1\nduty,2.5,4000,13.8,30,%,1\n", 3, 1, "was given before"),
        ("duty,2.5,4000,13.8,30,%,0\n", 2, 25, "repeat"),
        ("duty,2.5,4000,13.8,30,percnt,1\n", 2, 23, "is not a unit"),
        ("duty,2.5,4000,13.8,30,%,1\nduty,3,4000,13.8,3,V,1\n", 3, 20, "is in V here"),
        (",2.5,4000,13.8,30,%,1\n", 2, 1, "not named"),
    ] {
        let table = table::parse("p.csv", format!("{HEADER}{rows}").as_bytes()).expect("a table");
        let problems = controller_csv::from_table(&table).expect_err(rows);
        let place = problems.0[0].place.clone().expect("a place");
        assert_eq!((place.line, place.column), (line, column), "{problems}");
        assert!(problems.to_string().contains(says), "{problems}");
    }
    let table = table::parse("p.csv", b"output,boostv,rpm,value,unit\nduty,1,2,3,%\n").expect("a table");
    let text = controller_csv::from_table(&table).expect_err("a column").to_string();
    assert!(text.contains("p.csv:1:8") && text.contains("did you mean \"boost_v\"?"), "{text}");
}
