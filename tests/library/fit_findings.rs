//! What a fit notices: outliers, missing replicates, laws that do not fit, nozzles that do not add up.

#![expect(clippy::unwrap_used, reason = "a failure here fails the test")]

use crate::study::bench;
use crate::study::truth;
use dutycup::door::chance::Seed;
use dutycup::door::fit::facts::PairFacts;
use dutycup::door::fit::pair::{PairFit, fit};
use dutycup::door::reduce::collection::{Collection, Systematics};
use truth::{Family, Pair, Plan};

fn taken(seed: u64, family: Family, plan: &Plan) -> (Vec<Collection>, Systematics) {
    let truth = Pair::random(family, Seed(seed), false);
    let taken = bench::take(&truth, plan, Seed(seed));
    (taken.collections, taken.systematics)
}

fn fitted((collections, systematics): &(Vec<Collection>, Systematics)) -> PairFit {
    fit(collections, systematics, &PairFacts::unknown()).unwrap()
}

fn ids(fit: &PairFit) -> Vec<&'static str> {
    fit.findings().iter().map(|f| f.id).collect()
}

/// A family member with a bypass that opens within the measured pressures.
fn seed_with_bypass() -> u64 {
    let opens = |seed: &u64| {
        let fit = fitted(&taken(*seed, Family::Plain, &Plan::THOROUGH));
        fit.choice.as_ref().unwrap().law().opening.is_some()
    };
    (0..40).find(opens).unwrap()
}

#[test]
fn a_bumped_cup_is_named_and_does_no_harm() {
    let clean = taken(8, Family::Motor, &Plan::THOROUGH);
    let mut bumped = clean.clone();
    bumped.0[17].flow_ml_min *= 1.03;
    let (a, b) = (fitted(&clean), fitted(&bumped));
    let named = |fit: &PairFit| fit.findings().iter().any(|f| f.what.starts_with("collection 18 "));
    assert!(!named(&a), "{:?}", a.findings());
    assert!(named(&b), "{:?}", b.findings());
    let at = |fit: &PairFit| {
        let ask = dutycup::door::fit::ask::Ask::default();
        fit.model.flow_at(&ask, clean.0[17].duty_pct.unwrap()).unwrap().estimate
    };
    assert!((at(&a).value - at(&b).value).abs() < at(&a).u95, "{:?} {:?}", at(&a).value, at(&b).value);
}

#[test]
fn the_law_is_chosen_by_lack_of_fit() {
    let with = fitted(&taken(seed_with_bypass(), Family::Plain, &Plan::THOROUGH));
    let choice = with.choice.as_ref().unwrap();
    let plain = choice.laws.iter().find(|l| l.name == "slip proportional to pressure").unwrap();
    assert!(plain.lack_of_fit.unwrap().3 < 0.001, "{plain:?}");
    assert!(
        choice.law().lack_of_fit.unwrap().3 > 0.05 && choice.law().opening.is_some(),
        "{:?}",
        choice.law()
    );
    assert!(choice.bypass_share > 0.99);
    assert!(choice.words().iter().any(|w| w.contains("lack of fit F(")), "{:?}", choice.words());
}

#[test]
fn what_was_not_measured_is_said() {
    let plan = Plan { repeats: 1, duty_measured: false, temperature_measured: false, ..Plan::THOROUGH };
    let found = fitted(&taken(3, Family::Motor, &plan));
    for id in ["fit.no_replicates", "duty.commanded", "water.temperature"] {
        assert!(ids(&found).contains(&id), "{id}: {:?}", ids(&found));
    }
    let words = found.choice.as_ref().unwrap().words();
    assert!(words[0].contains("no replicates"), "{words:?}");
    assert!(found.model.reference.water_degc.is_none());
    let thorough = fitted(&taken(3, Family::Motor, &Plan::THOROUGH));
    assert!(ids(&thorough).is_empty(), "{:?}", thorough.findings());
}

#[test]
fn nozzles_at_once_are_compared_with_their_sum() {
    let truth = Pair::random(Family::Plain, Seed(6), true);
    let plan = Plan { duties: 8, repeats: 2, ..Plan::THOROUGH };
    let mut all = bench::take(&truth, &plan, Seed(6)).collections;
    // Both at once: the pump's flow splits as the coefficients do; taken from the pair's own fit.
    let alone = fit(&all, &Systematics::default(), &PairFacts::unknown()).unwrap();
    let ask = dutycup::door::fit::ask::Ask { nozzle: Some("A+B".into()), ..Default::default() };
    let k: f64 = alone.model.nozzles.iter().map(|n| n.k).sum();
    let template: Vec<Collection> = all.iter().filter(|c| c.nozzle == "A").cloned().collect();
    let together = |factor: f64| template.iter().map(move |c| (c.clone(), factor)).collect::<Vec<_>>();
    let with = |factor: f64| {
        let mut more = all.clone();
        for (c, factor) in together(factor) {
            let flow = alone.model.flow_at(&ask, c.duty().unwrap().min(100.0)).unwrap().estimate.value;
            let line = (flow / (factor * k)).powi(2);
            let step = more.len() as u32 + 1;
            more.push(Collection {
                step,
                nozzle: "A+B".into(),
                flow_ml_min: flow,
                line_pressure_kpa: Some(line),
                ..c
            });
        }
        fit(&more, &Systematics::default(), &PairFacts::unknown()).unwrap()
    };
    assert!(!ids(&with(1.0)).contains(&"nozzle.sum"), "{:?}", with(1.0).findings());
    assert!(ids(&with(0.93)).contains(&"nozzle.sum"), "{:?}", with(0.93).findings());
    all.clear();
}

#[test]
fn duties_without_flow_are_kept_apart() {
    let plan = Plan { lowest: 0.03, duties: 14, ..Plan::THOROUGH };
    let found = fitted(&taken(9, Family::Motor, &plan));
    assert!(!found.points.dry.is_empty(), "the lowest duty is below the dead band");
    let band = dutycup::door::fit::dead_band::dead_band(&found.model, 0).unwrap();
    let highest_dry = found.points.dry.iter().map(|d| 100.0 * d.1).fold(0.0, f64::max);
    assert!(highest_dry < band.value + band.u95, "{highest_dry} {band:?}");
    assert!(!ids(&found).contains(&"duty.dry"), "{:?}", found.findings());
}
