//! Collections as a bench would take them from a truth, with the errors of its instruments drawn once.
//!
//! In: a truth, a plan, a seed. Out: collections, the common errors as declared, and the conditions the truth is to be
//! compared at. Never: the fit.

#![allow(dead_code, reason = "every test file uses its own part")]

use super::truth::{Pair, Plan};
use dutycup::door::chance::{Seed, normal, uniform};
use dutycup::door::reduce::collection::{Collection, Systematic, Systematics};
use dutycup::door::uncertainty::{Bound, Cause};

/// What a bench took.
pub(crate) struct Taken {
    pub collections: Vec<Collection>,
    pub systematics: Systematics,
    /// Temperature of the water while it was taken, degC.
    pub water_degc: f64,
    /// True supply over measured supply.
    pub supply_gain: f64,
}

const SCALE_GAIN_LIMIT: f64 = 0.001;
const CLOCK_U: f64 = 1e-4;
const GAUGE_ZERO_LIMIT_KPA: f64 = 1.7;
const GAUGE_GAIN_U: f64 = 0.0025;
const SUPPLY_GAIN_U: f64 = 0.0005;
const DUTY_ZERO_LIMIT_PCT: f64 = 0.1;
const COLLECT_S: f64 = 30.0;
const DENSITY: f64 = 0.9982;

fn declared() -> Systematics {
    let entry = |cause, bound| Systematic { cause, bound, from: "study" };
    let limits = |cause, half| entry(cause, Bound::Limits(half));
    let standard = |cause, u| entry(cause, Bound::Standard(u, f64::INFINITY));
    Systematics(vec![
        limits(Cause::ScaleGain, SCALE_GAIN_LIMIT),
        standard(Cause::ClockGain, CLOCK_U),
        limits(Cause::GaugeZero, GAUGE_ZERO_LIMIT_KPA),
        standard(Cause::GaugeGain, GAUGE_GAIN_U),
        standard(Cause::SupplyGain, SUPPLY_GAIN_U),
        limits(Cause::DutyZero, DUTY_ZERO_LIMIT_PCT),
        standard(Cause::Freewheel, 0.15),
    ])
}

/// Takes a data set.
pub(crate) fn take(truth: &Pair, plan: &Plan, seed: Seed) -> Taken {
    let mut e = seed.stream("instrument errors");
    let scale = 1.0 + uniform(&mut e, -SCALE_GAIN_LIMIT, SCALE_GAIN_LIMIT);
    let clock = 1.0 + normal(&mut e, 0.0, CLOCK_U);
    let zero = uniform(&mut e, -GAUGE_ZERO_LIMIT_KPA, GAUGE_ZERO_LIMIT_KPA);
    let gain = 1.0 + normal(&mut e, 0.0, GAUGE_GAIN_U);
    let supply_gain = 1.0 + normal(&mut e, 0.0, SUPPLY_GAIN_U);
    let duty_zero = uniform(&mut e, -DUTY_ZERO_LIMIT_PCT, DUTY_ZERO_LIMIT_PCT);
    let mut r = seed.stream("scatter");
    let process = uniform(&mut r, 0.0003, 0.002);
    let gauge_noise = uniform(&mut r, 0.1, 0.8);
    let water = uniform(&mut r, plan.water_degc.0, plan.water_degc.1);
    let lowest = plan.lowest;
    let mut collections = Vec::new();
    for (nozzle, name) in ["A", "B"].iter().enumerate().take(truth.nozzles()) {
        for repeat in 1..=plan.repeats {
            for i in 0..plan.duties {
                let set = lowest + (1.0 - lowest) * i as f64 / (plan.duties - 1) as f64;
                let set = (set * 200.0).round() / 200.0;
                let duty = (set + if plan.duty_measured { normal(&mut r, 0.0, 2e-4) } else { 0.0 }).min(1.0);
                let degc = if plan.temperature_measured { water + normal(&mut r, 0.0, 0.3) } else { water };
                let supply = 13.8
                    + plan.supply_step_v * (repeat - 1) as f64
                    + if plan.supply_measured { normal(&mut r, 0.0, 0.03) - 0.08 * duty } else { 0.0 };
                let back = if repeat % 2 == 0 { plan.back_kpa } else { 0.0 };
                let (flow, line, _) = truth.settle(nozzle, duty, supply, back, degc);
                let wrong =
                    if uniform(&mut r, 0.0, 1.0) < plan.wrong { normal(&mut r, 0.0, 0.015) } else { 0.0 };
                let flow = flow * (1.0 + normal(&mut r, 0.0, process) + wrong);
                let grams = flow / 60.0 * COLLECT_S * DENSITY;
                let weighed = (scale * grams + normal(&mut r, 0.0, 0.05)) / 0.1;
                let weighed = weighed.round() * 0.1;
                let per_g = 60.0 / (COLLECT_S * DENSITY) / clock;
                let supply_read = supply * supply_gain + normal(&mut r, 0.0, 0.001);
                let duty_read = 100.0 * duty + duty_zero;
                collections.push(Collection {
                    step: collections.len() as u32 + 1,
                    repeat: repeat as u32,
                    nozzle: (*name).into(),
                    time_s: 60.0 * collections.len() as f64,
                    duty_pct: plan.duty_measured.then_some(duty_read + normal(&mut r, 0.0, 0.005)),
                    duty_set_pct: Some(if plan.duty_measured { 100.0 * set } else { duty_read }),
                    supply_v: if plan.supply_measured {
                        supply_read
                    } else {
                        (13.8 + plan.supply_step_v * (repeat - 1) as f64) * supply_gain
                    },
                    line_pressure_kpa: Some(line * gain + zero + normal(&mut r, 0.0, gauge_noise)),
                    back_pressure_kpa: back,
                    water_degc: plan.temperature_measured.then_some(degc),
                    collected_g: weighed,
                    collect_s: COLLECT_S,
                    mass_flow_g_s: weighed / COLLECT_S,
                    flow_ml_min: weighed * per_g,
                    flow_random_ml_min: 0.06 * per_g,
                    flow_dof: 50.0,
                    pressure_random_kpa: 0.3,
                    duty_random_pct: 0.005,
                    supply_random_v: 0.001,
                    static_flow_ml_min: None,
                    void: None,
                    note: String::new(),
                });
            }
        }
    }
    Taken { collections, systematics: declared(), water_degc: water, supply_gain }
}
