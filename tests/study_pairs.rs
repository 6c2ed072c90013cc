//! A seeded study: do the 95 % intervals cover?
//!
//! A thousand random pairs of several families of physics that the fit does not share, each measured by a bench whose
//! instruments have errors drawn once and declared. Printed: coverage of the curve at bench conditions, of the curve
//! at boost, and of K; the size of U; and how shares outside are spread over pairs.

#[path = "study/bench.rs"]
mod bench;
#[path = "study/truth.rs"]
mod truth;

use dutycup::chance::Seed;
use dutycup::fit::ask::Ask;
use dutycup::fit::dead_band::dead_band;
use dutycup::fit::estimate::Estimate;
use dutycup::fit::facts::PairFacts;
use dutycup::fit::pair::{self, PairFit};
use dutycup::fit::published::nozzle_k;
use truth::{FAMILIES, Family, Pair, Plan};

/// What one pair came to.
struct Outcome {
    family: Family,
    two: bool,
    /// (error, U) of the curve, fraction of full flow.
    bench: Vec<(f64, f64)>,
    boost100: Vec<(f64, f64)>,
    boost140: Vec<(f64, f64)>,
    k: Vec<(f64, f64)>,
    /// Of the dead band, % of duty over 100.
    dead_band: Vec<(f64, f64)>,
    /// Of the duty for a flow, % of duty over 100.
    inverse: Vec<(f64, f64)>,
    exponent_flagged: bool,
    /// Processor time of the fit.
    fit_ms: f64,
    plan: Plan,
    /// Temperature of the water, degC.
    water_degc: f64,
}

fn ask(fit: &PairFit, nozzle: usize, boost_kpa: f64) -> Ask {
    Ask {
        nozzle: Some(fit.model.nozzles[nozzle].name.clone()),
        boost_kpa,
        ..Ask::default()
    }
}

fn estimate(fit: &PairFit, nozzle: usize, duty: f64, boost_kpa: f64) -> Estimate {
    fit.model
        .flow_at(&ask(fit, nozzle, boost_kpa), (100.0 * duty).min(100.0))
        .unwrap()
        .estimate
}

/// The duty at which the truth stops, by halving.
fn stall(truth: &truth::Pair, nozzle: usize, supply: f64, degc: f64) -> f64 {
    let (mut low, mut high) = (0.0, 0.3);
    for _ in 0..12 {
        let mid = 0.5 * (low + high);
        if truth.settle(nozzle, mid, supply, 0.0, degc).0 > 0.3 {
            high = mid
        } else {
            low = mid
        }
    }
    0.5 * (low + high)
}

/// Processor time of this thread, ms: what a fit takes whatever else the machine does.
fn cpu_ms() -> f64 {
    let t = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    t.tv_sec as f64 * 1e3 + t.tv_nsec as f64 * 1e-6
}

fn one(index: u64) -> Outcome {
    let seed = Seed(20_260_101).nth(index);
    let family = FAMILIES[(index % 6) as usize];
    let two = (index / 6) % 2 == 1;
    let truth = Pair::random(family, seed, two);
    let plan = Plan::random(&mut seed.stream("plan"));
    let plan = if family == Family::Plant {
        plan.plain()
    } else {
        plan
    };
    let taken = bench::take(&truth, &plan, seed);
    let before = cpu_ms();
    let fit = pair::fit(&taken.collections, &taken.systematics, &PairFacts::unknown()).unwrap();
    let fit_ms = cpu_ms() - before;
    let supply = fit.model.reference.supply_v / taken.supply_gain;
    let degc = if plan.temperature_measured {
        20.0
    } else {
        taken.water_degc
    };
    let mut out = Outcome {
        family,
        two,
        bench: vec![],
        boost100: vec![],
        boost140: vec![],
        k: vec![],
        dead_band: vec![],
        inverse: vec![],
        exponent_flagged: false,
        fit_ms,
        plan,
        water_degc: taken.water_degc,
    };
    for nozzle in 0..truth.nozzles() {
        let full = fit.model.nozzles[nozzle].flow_range.1;
        let (low, high) = fit.model.nozzles[nozzle].duty_range;
        let at = |out_kpa: f64| {
            (0..=24)
                .map(|i| {
                    let duty = low + (high - low) * f64::from(i) / 24.0;
                    let (flow, ..) = truth.settle(nozzle, duty, supply, out_kpa, degc);
                    let e = estimate(&fit, nozzle, duty, out_kpa);
                    ((e.value - flow) / full, e.u95 / full)
                })
                .collect::<Vec<_>>()
        };
        out.bench.extend(at(0.0));
        out.boost100.extend(at(100.0));
        let at140 = at(140.0);
        if std::env::var("DUTYCUP_STUDY_WORST").is_ok() {
            let bench = &out.bench[out.bench.len() - 25..];
            let outside = (100.0 - coverage(bench), 100.0 - coverage(&at140));
            let worst = |all: &[(f64, f64)]| 100.0 * all.iter().map(|(e, _)| e.abs()).fold(0.0, f64::max);
            if outside.0 > 40.0 || outside.1 > 40.0 || worst(bench) > 1.0 {
                println!(
                    "pair {index} {family:?} nozzle {nozzle} outside {:.0} {:.0} % worst {:.2} {:.2} % {plan:?}",
                    outside.0,
                    outside.1,
                    worst(bench),
                    worst(&at140)
                );
            }
        }
        out.boost140.extend(at140);
        let n = fit.nozzles[nozzle].as_ref().unwrap();
        let true_k = truth.settle(nozzle, high, supply, 0.0, degc).2;
        let k = nozzle_k(&fit.model, nozzle);
        out.k.push(((k.value / true_k).ln(), k.u95 / k.value));
        if let Some(band) = dead_band(&fit.model, nozzle) {
            let true_band = 100.0 * stall(&truth, nozzle, supply, degc);
            out.dead_band
                .push(((band.value - true_band) / 100.0, band.u95 / 100.0));
        }
        for duty in [0.3, 0.5, 0.7, 0.9] {
            let (flow, ..) = truth.settle(nozzle, duty, supply, 0.0, degc);
            if let Ok(answer) = fit.model.duty_for(&ask(&fit, nozzle, 0.0), flow) {
                out.inverse
                    .push((answer.estimate.value / 100.0 - duty, answer.estimate.u95 / 100.0));
            }
        }
        let x = &n.exponent;
        out.exponent_flagged |= (x.value - 0.5).abs() > 2.0 * x.u_scatter.hypot(x.u_zero).hypot(x.u_healthy);
    }
    out
}

/// Ways to look at a part of the pairs.
type Split = (&'static str, fn(&Outcome) -> bool);
const SPLITS: [Split; 8] = [
    ("temperature unknown", |o| !o.plan.temperature_measured),
    ("within 2 K of 20 degC", |o| {
        o.plan.temperature_measured && (o.water_degc - 20.0).abs() < 2.0
    }),
    ("farther from 20 degC", |o| {
        o.plan.temperature_measured && (o.water_degc - 20.0).abs() >= 2.0
    }),
    ("8 or 9 duties", |o| o.plan.duties < 10),
    ("14 or 15 duties", |o| o.plan.duties > 13),
    ("2 repeats", |o| o.plan.repeats == 2),
    ("one nozzle", |o| !o.two),
    ("two nozzles", |o| o.two),
];

fn coverage(all: &[(f64, f64)]) -> f64 {
    100.0 * all.iter().filter(|(e, u)| e.abs() <= *u).count() as f64 / all.len() as f64
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn describe(name: &str, outcomes: &[&Outcome], pick: impl Fn(&Outcome) -> &Vec<(f64, f64)>) {
    let all: Vec<(f64, f64)> = outcomes.iter().flat_map(|o| pick(o).iter().copied()).collect();
    if all.is_empty() {
        return;
    }
    let sd = (all.iter().map(|(e, _)| e * e).sum::<f64>() / all.len() as f64).sqrt();
    let mad = 1.4826 * median(all.iter().map(|(e, _)| e.abs()).collect());
    let u = median(all.iter().map(|(_, u)| *u).collect());
    let mut outside: Vec<f64> = outcomes.iter().map(|o| 100.0 - coverage(pick(o))).collect();
    outside.sort_by(f64::total_cmp);
    let q = |p: f64| outside[((outside.len() - 1) as f64 * p) as usize];
    println!(
        "{name:28} n {:6} cover {:6.2} % median U {:.3} % rms error {:.3} % (robust {:.3} %) U/2sd {:.2} robust {:.2} outside p50/90/99 {:.0}/{:.0}/{:.0} %",
        all.len(),
        coverage(&all),
        100.0 * u,
        100.0 * sd,
        100.0 * mad,
        u / (2.0 * sd),
        u / (2.0 * mad),
        q(0.5),
        q(0.9),
        q(0.99)
    );
}

#[test]
fn intervals_cover_over_a_thousand_pairs() {
    let pairs: u64 = std::env::var("DUTYCUP_STUDY_PAIRS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(200);
    let mut outcomes: Vec<Outcome> = std::thread::scope(|s| {
        let halves: Vec<_> = (0..2)
            .map(|h| s.spawn(move || (0..pairs).filter(|i| i % 2 == h).map(one).collect::<Vec<_>>()))
            .collect();
        halves.into_iter().flat_map(|h| h.join().unwrap()).collect()
    });
    outcomes.sort_by_key(|o| (o.family, o.two));
    for family in FAMILIES {
        for two in [false, true] {
            let of: Vec<&Outcome> = outcomes
                .iter()
                .filter(|o| o.family == family && o.two == two)
                .collect();
            let name = format!("{family:?} {}", if two { "two" } else { "one" });
            describe(&format!("{name} bench"), &of, |o| &o.bench);
            describe(&format!("{name} boost 100"), &of, |o| &o.boost100);
            describe(&format!("{name} boost 140"), &of, |o| &o.boost140);
            describe(&format!("{name} K"), &of, |o| &o.k);
            describe(&format!("{name} dead band"), &of, |o| &o.dead_band);
            println!(
                "{name} exponent flagged {}/{}",
                of.iter().filter(|o| o.exponent_flagged).count(),
                of.len()
            );
        }
    }
    let all: Vec<&Outcome> = outcomes.iter().collect();
    describe("all bench", &all, |o| &o.bench);
    describe("all boost 100", &all, |o| &o.boost100);
    describe("all boost 140", &all, |o| &o.boost140);
    describe("all K", &all, |o| &o.k);
    describe("all dead band", &all, |o| &o.dead_band);
    describe("all duty for a flow", &all, |o| &o.inverse);
    for (name, pick) in SPLITS {
        let of: Vec<&Outcome> = outcomes.iter().filter(|o| pick(o)).collect();
        describe(&format!("{name}: bench"), &of, |o| &o.bench);
        describe(&format!("{name}: boost 140"), &of, |o| &o.boost140);
    }
    let mut ms: Vec<f64> = outcomes.iter().map(|o| o.fit_ms).collect();
    ms.sort_by(f64::total_cmp);
    println!(
        "one whole fit: processor time median {:.1} ms, longest {:.1} ms",
        ms[ms.len() / 2],
        ms[ms.len() - 1]
    );
}
