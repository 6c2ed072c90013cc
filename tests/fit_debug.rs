#[path = "study/bench.rs"]
mod bench;
#[path = "study/truth.rs"]
mod truth;
use dutycup::chance::Seed;
use dutycup::fit::estimate::Estimate;
use dutycup::fit::facts::PairFacts;
use dutycup::fit::model::Condition;
use dutycup::fit::pair;
use dutycup::fit::terms::{Away, Term};
use truth::{FAMILIES, Family, Pair, Plan};

#[test]
fn debug() {
    let index: u64 = std::env::var("PAIR").unwrap().parse().unwrap();
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
    match &truth {
        truth::Pair::Averaged(t) => println!("{t:?}"),
        truth::Pair::Plant(c, _) => {
            println!("{:?} {:?} {:?} {:?}", c.pump, c.motor, c.nozzles, c.check_valve)
        }
    }
    println!("{plan:?} water {}", taken.water_degc);
    let fit = pair::fit(&taken.collections, &taken.systematics, &PairFacts::unknown()).unwrap();
    for (i, t) in fit.blend.surface.terms.iter().enumerate() {
        if !matches!(t, Term::Ripple(_)) {
            println!(
                "{t:?} {:.2} +- {:.2}",
                fit.blend.surface.coefficients[i],
                fit.blend.covariance[(i, i)].sqrt()
            );
        }
    }
    for m in fit.blend.members.iter().take(8) {
        println!("{m:?}");
    }
    println!("scatter {} dof {}", fit.blend.scatter_ml_min, fit.blend.dof);
    let supply = fit.model.reference.supply_v / taken.supply_gain;
    let degc = if plan.temperature_measured {
        20.0
    } else {
        taken.water_degc
    };
    for nozzle in 0..truth.nozzles() {
        let (low, high) = fit.model.nozzles[nozzle].duty_range;
        println!(
            "k {} true {}",
            fit.model.nozzles[nozzle].k,
            truth.settle(nozzle, high, supply, 0.0, degc).2
        );
        println!("duties {:?}", fit.model.nozzles[nozzle].duties);
        for i in 0..=24 {
            let duty = low + (high - low) * i as f64 / 24.0;
            let c = Condition {
                nozzles: vec![nozzle],
                duty,
                supply_v: fit.model.reference.supply_v,
                out_kpa: 0.0,
                away: Away::default(),
                k_factor: 1.0,
            };
            let o = fit.model.operate(&c);
            let e = Estimate::new(o.flow, fit.model.parts(&c, &o));
            let (q, p, _) = truth.settle(nozzle, duty, supply, 0.0, degc);
            let (q2, ..) = truth.settle(nozzle, duty, supply, 0.0, taken.water_degc);
            println!(
                "{duty:.3} true {q:.2} p {p:.0} at T {q2:.2} fit {:.2} err {:.2} U {:.2} parts {:.2?}",
                e.value,
                e.value - q,
                e.u95,
                e.parts.iter().map(|p| p.u).collect::<Vec<_>>()
            );
        }
    }
}
