//! A study: is a nozzle that lost part of its area named, and a clean one left alone?
//!
//! Random pairs of families of physics that the fit does not share are calibrated once clean, and once more with the
//! same nozzle clean, blocked by 3 % and blocked by 10 % of its area, each time by a bench with instrument errors of its
//! own. To reach: 3 % named in at least 90 %, 10 % in at least 99 %, a clean one in at most 2.5 %.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a failure fails the test; a study prints")]

use crate::study::bench;
use crate::study::truth;
use dutycup::door::chance::Seed;
use dutycup::door::fit::facts::PairFacts;
use dutycup::door::fit::model::PairModel;
use dutycup::door::fit::pair::fit;
use dutycup::door::judge::clogging::{Clogging, compare};
use dutycup::door::verdict::item::{Verdict, Verdicts};
use truth::{Family, Pair, Plan, Truth};

const FAMILIES: [Family; 4] = [Family::Motor, Family::Saturating, Family::Plain, Family::Leaky];

fn calibrated(truth: &Truth, blocked: f64, seed: Seed) -> PairModel {
    let mut truth = truth.clone();
    truth.nozzles.iter_mut().for_each(|k| *k *= 1.0 - blocked);
    let taken = bench::take(&Pair::Averaged(truth), &Plan::THOROUGH, seed);
    fit(&taken.collections, &taken.systematics, &PairFacts::unknown()).unwrap().model
}

/// The comparisons of one pair: clean, 3 %, 10 %.
fn one(index: u64) -> [Clogging; 3] {
    let seed = Seed(31).nth(index);
    let family = FAMILIES[(index % 4) as usize];
    let truth = Truth::random(family, seed, false);
    let then = calibrated(&truth, 0.0, seed.nth(1));
    [(0.0, 2), (0.03, 3), (0.10, 4)].map(|(blocked, n)| {
        let now = calibrated(&truth, blocked, seed.nth(n));
        compare(&now, &then, "A", false).unwrap()
    })
}

#[test]
fn blocked_nozzles_are_named_and_clean_ones_are_not() {
    let half = |from: u64| (from..crate::study::rounds(80, 240)).step_by(2).map(one).collect::<Vec<_>>();
    let mut all = Vec::new();
    std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        all.extend(half(0));
        all.extend(other.join().unwrap());
    });
    let named = |which: usize| {
        let n = all.iter().filter(|c| c[which].shown()).count();
        100.0 * n as f64 / all.len() as f64
    };
    let covered = |which: usize, truth: f64| {
        let inside = |c: &&[Clogging; 3]| (c[which].lost_pct.value - truth).abs() <= c[which].lost_pct.u95;
        100.0 * all.iter().filter(inside).count() as f64 / all.len() as f64
    };
    let median = |pick: &dyn Fn(&Clogging) -> f64| {
        let mut v: Vec<f64> = all.iter().map(|c| pick(&c[0])).collect();
        v.sort_by(f64::total_cmp);
        v[v.len() / 2]
    };
    let (clean, three, ten) = (named(0), named(1), named(2));
    println!(
        "{} pairs: named as clogging: clean {clean:.1} %, blocked by 3 % {three:.1} %, by 10 % {ten:.1} %; intervals \
         hold the truth in {:.1}, {:.1} and {:.1} %; smallest loss shown at 95 %: median {:.2} % of the area, surely \
         {:.2} %",
        all.len(),
        covered(0, 0.0),
        covered(1, 3.0),
        covered(2, 10.0),
        median(&|c| c.smallest_pct),
        median(&|c| c.surely_pct),
    );
    assert!(clean <= 2.5 && three >= 90.0 && ten >= 99.0);
    assert!(median(&|c| c.surely_pct) <= 3.0);
}

#[test]
fn what_cannot_be_compared_says_why() {
    let truth = Truth::random(Family::Plain, Seed(1), false);
    let model = calibrated(&truth, 0.0, Seed(2));
    assert!(compare(&model, &model, "B", true).unwrap_err().contains("no nozzle"));
    let mut other = model.clone();
    other.reference.methanol_mass_fraction = 0.4;
    assert!(compare(&other, &model, "A", true).unwrap_err().contains("liquid"));
    other.reference.pressure_measured = false;
    assert!(compare(&model, &other, "A", true).unwrap_err().contains("not measured"));
    // The same calibration twice with the same instruments: what stays with them cancels.
    let (same, apart) =
        (compare(&model, &model, "A", true).unwrap(), compare(&model, &model, "A", false).unwrap());
    assert!(same.lost_pct.value.abs() < 1e-12 && same.lost_pct.u < apart.lost_pct.u);
    assert_eq!(Verdicts::judge(&[same.subject()], &[]).verdict, Verdict::Pass);
}
