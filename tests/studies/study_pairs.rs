//! A seeded study: do the 95 % intervals cover?
//!
//! A thousand random pairs of several families of physics that the fit does not share, the time-domain plant among
//! them, each measured by a bench whose instruments have errors drawn once and declared. Printed: coverage of the curve
//! at bench conditions, at boost, of K, of the dead band and of the duty for a flow; the size of U; how shares outside
//! are spread over pairs; and the processor time of a fit. A thousand pairs are the long form.

#![allow(clippy::print_stdout, reason = "a study is what it prints")]

use crate::study::outcome;
use crate::study::truth;
use outcome::{Outcome, describe, figures};
use truth::{FAMILIES, Family, Plan};

fn pairs() -> u64 {
    crate::study::rounds(60, 1000)
}

/// Pairs worked off by two threads.
fn study(
    pairs: u64,
    families: &'static [Family],
    plan: fn(&mut dutycup::door::chance::Stream) -> Plan,
) -> Vec<Outcome> {
    let mut outcomes: Vec<Outcome> = std::thread::scope(|s| {
        let halves: Vec<_> = (0..2)
            .map(|h| {
                s.spawn(move || {
                    (0..pairs).filter(|i| i % 2 == h).map(|i| Outcome::of(i, families, plan)).collect()
                })
            })
            .collect();
        halves.into_iter().flat_map(|h| h.join().unwrap_or_else(|_| Vec::new())).collect()
    });
    outcomes.sort_by_key(|o| (o.family, o.two, o.index));
    assert_eq!(outcomes.len() as u64, pairs, "a pair could not be fitted");
    outcomes
}

/// Ways to look at a part of the pairs.
type Split = (&'static str, fn(&Outcome) -> bool);

const SPLITS: [Split; 8] = [
    ("temperature unknown", |o| !o.plan.temperature_measured),
    ("within 2 K of 20 degC", |o| o.plan.temperature_measured && (o.water_degc - 20.0).abs() < 2.0),
    ("farther from 20 degC", |o| o.plan.temperature_measured && (o.water_degc - 20.0).abs() >= 2.0),
    ("8 or 9 duties", |o| o.plan.duties < 10),
    ("14 or 15 duties", |o| o.plan.duties > 13),
    ("2 repeats", |o| o.plan.repeats == 2),
    ("one nozzle", |o| !o.two),
    ("two nozzles", |o| o.two),
];

fn print_parts(outcomes: &[Outcome]) {
    for family in FAMILIES {
        for two in [false, true] {
            let of: Vec<&Outcome> = outcomes.iter().filter(|o| o.family == family && o.two == two).collect();
            let name = format!("{family:?}, {}", if two { "two" } else { "one" });
            describe(&format!("{name}: bench"), &of, |o| &o.bench);
            describe(&format!("{name}: 140 kPa"), &of, |o| &o.boost140);
            describe(&format!("{name}: dead band"), &of, |o| &o.dead_band);
            let pulsing = of.iter().filter(|o| o.pulsing > 0.5).count();
            println!("{name}: a pulsing current was found in {pulsing} of {}", of.len());
        }
    }
    for (name, pick) in SPLITS {
        let of: Vec<&Outcome> = outcomes.iter().filter(|o| pick(o)).collect();
        describe(&format!("{name}: bench"), &of, |o| &o.bench);
        describe(&format!("{name}: 140 kPa"), &of, |o| &o.boost140);
    }
}

fn print_whole(outcomes: &[Outcome]) {
    let all: Vec<&Outcome> = outcomes.iter().collect();
    describe("all: bench", &all, |o| &o.bench);
    describe("all: 100 kPa", &all, |o| &o.boost100);
    describe("all: 140 kPa", &all, |o| &o.boost140);
    describe("all: K", &all, |o| &o.k);
    describe("all: dead band", &all, |o| &o.dead_band);
    describe("all: duty for a flow", &all, |o| &o.inverse);
    let mut ms: Vec<f64> = outcomes.iter().map(|o| o.fit_ms).collect();
    ms.sort_by(f64::total_cmp);
    println!(
        "a whole fit with every law: processor time median {:.1} ms, longest {:.1} ms; healthy nozzles flagged: {} of {}",
        ms[ms.len() / 2],
        ms[ms.len() - 1],
        outcomes.iter().filter(|o| o.exponent_flagged).count(),
        outcomes.len()
    );
}

#[test]
fn intervals_cover_over_random_pairs() {
    let outcomes = study(pairs(), &FAMILIES[..6], Plan::random);
    print_parts(&outcomes);
    print_whole(&outcomes);
    let all: Vec<&Outcome> = outcomes.iter().collect();
    // What a thousand pairs are asked for; fewer pairs scatter more.
    let slack = if outcomes.len() >= 1000 { 0.0 } else { 4.0 };
    let bench = figures(&all, |o| &o.bench);
    assert!((92.0 - slack..=98.0 + slack).contains(&bench.cover_pct), "bench: {bench:?}");
    assert!(bench.median_u_pct <= 0.6, "bench: {bench:?}");
    assert!((0.8 - slack / 20.0..=2.0).contains(&bench.u_over_2sd), "bench: {bench:?}");
    for (name, least, found) in [
        ("100 kPa", 90.0, figures(&all, |o| &o.boost100)),
        ("140 kPa", 90.0, figures(&all, |o| &o.boost140)),
        ("K", 92.0, figures(&all, |o| &o.k)),
        ("dead band", 90.0, figures(&all, |o| &o.dead_band)),
        ("duty for a flow", 92.0, figures(&all, |o| &o.inverse)),
    ] {
        assert!(found.cover_pct >= least - slack, "{name}: {found:?}");
    }
    let flagged = outcomes.iter().filter(|o| o.exponent_flagged).count();
    assert!(flagged * 50 <= outcomes.len(), "{flagged} healthy nozzles flagged of {}", outcomes.len());
}

/// All families, also the plant whose current stops between pulses at most duties.
#[test]
fn odd_benches_are_fitted_and_still_cover() {
    let outcomes = study(pairs() / 3, &FAMILIES, Plan::odd);
    print_whole(&outcomes);
    let all: Vec<&Outcome> = outcomes.iter().collect();
    let bench = figures(&all, |o| &o.bench);
    assert!(bench.cover_pct >= 88.0, "bench: {bench:?}");
    let boost = figures(&all, |o| &o.boost140);
    assert!(boost.cover_pct >= 85.0, "140 kPa: {boost:?}");
}
