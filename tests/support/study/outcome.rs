//! What a pair of the study came to, and what many came to.
//!
//! In: a pair's number. Out: errors against the truth, each with its U. Never: a figure that the fit was tuned to.

#![expect(clippy::unwrap_used, reason = "a pair that cannot be fitted must fail")]

use super::bench;
use super::truth::{Family, Pair, Plan};
use dutycup::door::chance::{Seed, Stream};
use dutycup::door::fit::ask::Ask;
use dutycup::door::fit::dead_band::dead_band;
use dutycup::door::fit::facts::PairFacts;
use dutycup::door::fit::pair::{self, PairFit};
use dutycup::door::fit::published::nozzle_k;
use dutycup::door::uncertainty::Uncertain;

/// Errors with their U, fractions of full flow (or of K, or of full duty).
type Errors = Vec<(f64, f64)>;

/// What one pair came to.
pub(crate) struct Outcome {
    pub(crate) index: u64,
    pub(crate) family: Family,
    pub(crate) two: bool,
    pub(crate) plan: Plan,
    /// Temperature of the water, degC.
    pub(crate) water_degc: f64,
    pub(crate) bench: Errors,
    pub(crate) boost100: Errors,
    pub(crate) boost140: Errors,
    pub(crate) k: Errors,
    pub(crate) dead_band: Errors,
    /// Of the duty for a flow.
    pub(crate) inverse: Errors,
    /// A nozzle's exponent was found off.
    /// Share of the evidence for a pulsing current.
    pub(crate) pulsing: f64,
    pub(crate) exponent_flagged: bool,
    /// Processor time of the fit.
    pub(crate) fit_ms: f64,
}

/// Processor time of this thread, ms: what a fit takes whatever else the machine does.
fn cpu_ms() -> f64 {
    let t = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    t.tv_sec as f64 * 1e3 + t.tv_nsec as f64 * 1e-6
}

fn ask(fit: &PairFit, nozzle: usize, boost_kpa: f64) -> Ask {
    Ask { nozzle: Some(fit.model.nozzles[nozzle].name.clone()), boost_kpa, ..Ask::default() }
}

fn flow(fit: &PairFit, nozzle: usize, duty: f64, boost_kpa: f64) -> Uncertain {
    fit.model.flow_at(&ask(fit, nozzle, boost_kpa), (100.0 * duty).min(100.0)).unwrap().estimate
}

/// The duty at which the truth stops, by halving.
fn stall(truth: &Pair, nozzle: usize, supply: f64, degc: f64) -> f64 {
    let (mut low, mut high) = (0.0, 0.3);
    for _ in 0..12 {
        let mid = 0.5 * (low + high);
        if truth.settle(nozzle, mid, supply, 0.0, degc).0 > 0.3 { high = mid } else { low = mid }
    }
    0.5 * (low + high)
}

impl Outcome {
    /// Draws pair `index`, takes its data, fits them, and compares.
    pub(crate) fn of(index: u64, families: &[Family], plan: fn(&mut Stream) -> Plan) -> Outcome {
        let many = families.len() as u64;
        let seed = Seed(20_260_101).nth(index);
        let family = families[(index % many) as usize];
        let two = (index / many) % 2 == 1;
        let truth = Pair::random(family, seed, two);
        let plan = plan(&mut seed.stream("plan"));
        let plan = if family.plant() { plan.plain() } else { plan };
        let taken = bench::take(&truth, &plan, seed);
        let before = cpu_ms();
        let fit = pair::fit(&taken.collections, &taken.systematics, &PairFacts::unknown())
            .unwrap_or_else(|e| panic!("pair {index}, {plan:?}: {e}"));
        let mut out = Outcome {
            index,
            family,
            two,
            plan,
            water_degc: taken.water_degc,
            bench: vec![],
            boost100: vec![],
            boost140: vec![],
            k: vec![],
            dead_band: vec![],
            inverse: vec![],
            pulsing: fit.blend.pulsing_share(),
            exponent_flagged: fit.findings().iter().any(|f| f.id == "nozzle.exponent"),
            fit_ms: cpu_ms() - before,
        };
        let supply = fit.model.reference.supply_v / taken.supply_gain;
        let degc = if plan.temperature_measured { 20.0 } else { taken.water_degc };
        for nozzle in 0..fit.model.nozzles.len() {
            out.compare(&truth, &fit, nozzle, supply, degc);
        }
        out.print_if_worst();
        out
    }

    fn compare(&mut self, truth: &Pair, fit: &PairFit, nozzle: usize, supply: f64, degc: f64) {
        let law = &fit.model.nozzles[nozzle];
        let full = law.flow_range.1;
        let (low, high) = (law.duty_range.0, law.duty_range.1.min(1.0));
        let true_flow = |duty: f64, boost: f64| truth.settle(nozzle, duty, supply, boost, degc).0;
        let at = |boost: f64| {
            (0..=24).map(move |i| low + (high - low) * f64::from(i) / 24.0).map(move |duty| {
                let e = flow(fit, nozzle, duty, boost);
                ((e.value - true_flow(duty, boost)) / full, e.u95 / full)
            })
        };
        self.bench.extend(at(0.0));
        self.boost100.extend(at(100.0));
        self.boost140.extend(at(140.0));
        let true_k = truth.settle(nozzle, high, supply, 0.0, degc).2;
        let k = nozzle_k(&fit.model, nozzle);
        self.k.push(((k.value / true_k).ln(), k.u95 / k.value));
        if let Some(band) = dead_band(&fit.model, nozzle) {
            let error = band.value / 100.0 - stall(truth, nozzle, supply, degc);
            self.dead_band.push((error, band.u95 / 100.0));
        }
        for duty in [0.3, 0.5, 0.7, 0.9] {
            if let Ok(answer) = fit.model.duty_for(&ask(fit, nozzle, 0.0), true_flow(duty, 0.0)) {
                self.inverse.push((answer.estimate.value / 100.0 - duty, answer.estimate.u95 / 100.0));
            }
        }
    }

    fn print_if_worst(&self) {
        let outside = |all: &Errors| 100.0 - cover_pct(all);
        let worst = |all: &Errors| 100.0 * all.iter().map(|(e, _)| e.abs()).fold(0.0, f64::max);
        let bad = outside(&self.bench) > 40.0 || outside(&self.boost140) > 40.0 || worst(&self.bench) > 1.0;
        if bad && std::env::var_os("DUTYCUP_STUDY_WORST").is_some() {
            println!(
                "pair {} {:?}: outside {:.0} % at bench, {:.0} % at 140 kPa; worst error {:.2} %, {:.2} %; {:?}",
                self.index,
                self.family,
                outside(&self.bench),
                outside(&self.boost140),
                worst(&self.bench),
                worst(&self.boost140),
                self.plan
            );
        }
    }
}

fn cover_pct(all: &[(f64, f64)]) -> f64 {
    100.0 * all.iter().filter(|(e, u)| e.abs() <= *u).count() as f64 / all.len().max(1) as f64
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// What many pairs came to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Figures {
    pub(crate) count: usize,
    /// Errors within U.
    pub(crate) cover_pct: f64,
    pub(crate) median_u_pct: f64,
    /// Root mean square of the errors.
    pub(crate) rms_pct: f64,
    /// Median U over twice the standard deviation of the errors.
    pub(crate) u_over_2sd: f64,
    /// The same with root mean square of U.
    pub(crate) rms_u_over_2sd: f64,
    /// Share outside of the median pair, of the ninth in ten, and of the 99th in a hundred.
    pub(crate) outside_pct: [f64; 3],
}

pub(crate) fn figures(outcomes: &[&Outcome], pick: impl Fn(&Outcome) -> &Errors) -> Figures {
    let all: Errors = outcomes.iter().flat_map(|o| pick(o).iter().copied()).collect();
    let rms = |values: &dyn Fn(&(f64, f64)) -> f64| {
        100.0 * (all.iter().map(|p| values(p).powi(2)).sum::<f64>() / all.len().max(1) as f64).sqrt()
    };
    let (rms_pct, rms_u) = (rms(&|p| p.0), rms(&|p| p.1));
    let median_u_pct = 100.0 * median(all.iter().map(|(_, u)| *u).collect());
    let mut outside: Vec<f64> = outcomes.iter().map(|o| 100.0 - cover_pct(pick(o))).collect();
    outside.sort_by(f64::total_cmp);
    let at = |p: f64| {
        outside.get((outside.len().saturating_sub(1) as f64 * p) as usize).copied().unwrap_or(f64::NAN)
    };
    Figures {
        count: all.len(),
        cover_pct: cover_pct(&all),
        median_u_pct,
        rms_pct,
        u_over_2sd: median_u_pct / (2.0 * rms_pct),
        rms_u_over_2sd: rms_u / (2.0 * rms_pct),
        outside_pct: [at(0.5), at(0.9), at(0.99)],
    }
}

pub(crate) fn describe(name: &str, outcomes: &[&Outcome], pick: impl Fn(&Outcome) -> &Errors) {
    let f = figures(outcomes, pick);
    if f.count > 0 {
        println!(
            "{name:32} n {:6}  cover {:5.1} %  median U {:.3} %  rms error {:.3} %  U/2sd {:.2} (rms U {:.2})  outside \
             p50/90/99 {:.0}/{:.0}/{:.0} %",
            f.count,
            f.cover_pct,
            f.median_u_pct,
            f.rms_pct,
            f.u_over_2sd,
            f.rms_u_over_2sd,
            f.outside_pct[0],
            f.outside_pct[1],
            f.outside_pct[2]
        );
    }
}
