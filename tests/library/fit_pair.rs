//! A pair fitted whole: a known truth comes back within its U, refusals give their reasons, what is stored answers as
//! what was fitted.

#![expect(clippy::unwrap_used, reason = "a failure here fails the test")]

use crate::study::bench;
use crate::study::truth;
use bench::Taken;
use dutycup::door::calibration::Calibration;
use dutycup::door::chance::Seed;
use dutycup::door::fit::ask::{Ask, Basis, Refusal};
use dutycup::door::fit::facts::{FitRefusal, PairFacts};
use dutycup::door::fit::pair::{PairFit, fit};
use dutycup::door::fit::store::{self, Origin};
use dutycup::door::reduce::collection::{Collection, Systematics};
use truth::{Family, Pair, Plan};

const PLAN: Plan = Plan::THOROUGH;

fn taken(two: bool) -> (Pair, Taken) {
    let seed = Seed(5);
    let pair = Pair::random(Family::Motor, seed, two);
    let taken = bench::take(&pair, &PLAN, seed);
    (pair, taken)
}

fn facts() -> PairFacts {
    PairFacts { pwm_hz: Some(1000.0), pump: "test pump".into(), ..PairFacts::unknown() }
}

fn fitted(two: bool) -> (Pair, Taken, PairFit) {
    let (pair, taken) = taken(two);
    let fit = fit(&taken.collections, &taken.systematics, &facts()).unwrap();
    (pair, taken, fit)
}

#[test]
fn stored_and_read_back_answers_the_same() {
    let (.., fit) = fitted(true);
    let origin = Origin {
        program: "dutycup test".into(),
        written: "2000-01-01T00:00:00Z".into(),
        ..Origin::default()
    };
    let text = fit.calibration(&origin).write().unwrap();
    let back = Calibration::read("calibration.yaml", &text).unwrap();
    assert_eq!(text, back.write().unwrap(), "reading and writing again changes nothing");
    let model = store::model(&back).unwrap();
    for nozzle in ["A", "B", "A+B"] {
        for boost_kpa in [0.0, 100.0, -60.0] {
            for duty in [5.0, 20.0, 55.0, 100.0] {
                let ask = Ask { nozzle: Some(nozzle.into()), boost_kpa, ..Ask::default() };
                let (a, b) = (fit.model.flow_at(&ask, duty).unwrap(), model.flow_at(&ask, duty).unwrap());
                assert!((a.estimate.value - b.estimate.value).abs() < 1e-6, "{nozzle} {boost_kpa} {duty}");
                assert!((a.estimate.u95 - b.estimate.u95).abs() < 1e-4, "{a:?}\n{b:?}");
                assert_eq!(a.basis, b.basis);
                assert_eq!(a.warnings, b.warnings);
            }
        }
    }
    println!("calibration of two nozzles: {} bytes", text.len());
}

#[test]
fn damaged_calibrations_are_refused_with_every_problem() {
    let (.., fit) = fitted(false);
    let good = fit.calibration(&Origin::default());
    let check = |damage: &dyn Fn(&mut Calibration), say: &str| {
        let mut bad = good.clone();
        damage(&mut bad);
        let problems = Calibration::read("c.yaml", &bad.write().unwrap()).unwrap_err();
        assert!(problems.to_string().contains(say), "{problems}");
    };
    check(&|c| c.version = 9, "version 9");
    check(&|c| c.format = "something else".into(), "something else");
    check(&|c| c.surface.terms[0].coefficient = f64::NAN, "level");
    check(&|c| c.surface.terms[3].covariance.truncate(2), "covariance");
    check(&|c| c.common_errors[0].coefficients.truncate(1), "coefficients");
    check(&|c| c.reference.supply_v = -3.0, "reference.supply_v");
    let unknown = good.write().unwrap().replace("format:", "colour: red\nformat:");
    assert!(Calibration::read("c.yaml", &unknown).unwrap_err().to_string().contains("colour"));
    let mut term = good.clone();
    term.surface.terms[0].term = "levle".into();
    assert!(store::model(&term).unwrap_err().to_string().contains("did you mean \"level\"?"));
}

#[test]
fn flow_and_duty_invert_each_other() {
    let (.., fit) = fitted(false);
    for boost_kpa in [0.0, 140.0] {
        let ask = Ask { boost_kpa, ..Ask::default() };
        for duty in [25.0, 50.0, 75.0, 99.0] {
            let flow = fit.model.flow_at(&ask, duty).unwrap().estimate.value;
            if flow > 0.0 {
                let back = fit.model.duty_for(&ask, flow).unwrap().estimate;
                assert!((back.value - duty).abs() < 1e-6, "{duty} -> {flow} -> {}", back.value);
                assert!(back.u95 > 0.0);
            }
        }
    }
    let ask = Ask::default();
    match fit.model.duty_for(&ask, 5000.0) {
        Err(e @ Refusal::Unreachable { .. }) => assert!(e.to_string().contains("out of reach"), "{e}"),
        other => panic!("{other:?}"),
    }
}

#[test]
fn tables_hold_what_the_contract_says() {
    let (.., fit) = fitted(true);
    let tables = fit.tables();
    let files = tables.files();
    let headers = [
        "nozzle,duty_pct,flow_ml_min,u95_ml_min,basis",
        "nozzle,flow_ml_min,duty_pct,u95_pct,basis",
        "nozzle,duty_pct,boost_kpa,flow_ml_min,u95_ml_min,basis",
        "nozzle,flow_ml_min,boost_kpa,duty_pct,u95_pct,reachable",
    ];
    for ((name, text), header) in files.iter().zip(headers) {
        assert_eq!(text.lines().next(), Some(header), "{name}");
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        for record in reader.records() {
            assert_eq!(record.unwrap().len(), header.split(',').count());
        }
    }
    // 20 duties and 14 boosts for each of two nozzles.
    assert_eq!(tables.boost_flow.len(), 2 * 20 * 14);
    assert!(tables.boost_duty.iter().any(|r| r.duty.is_none()), "some flow is out of reach at 200 kPa");
    let basis = |b| tables.duty_flow.iter().filter(|r| r.basis == b).count();
    assert!(basis(Basis::Interpolated) > basis(Basis::Measured) && basis(Basis::Measured) > 0);
    for row in &tables.duty_flow {
        assert!(row.u95_ml_min > 0.0 && row.flow_ml_min.is_finite());
    }
}

#[test]
fn a_correction_to_boost_never_has_the_narrow_u_of_a_measured_flow() {
    let (.., fit) = fitted(false);
    for duty in [40.0, 60.0, 80.0, 100.0] {
        let u = |boost_kpa| fit.model.flow_at(&Ask { boost_kpa, ..Ask::default() }, duty).unwrap();
        let (bench, boost) = (u(0.0), u(140.0));
        assert!(
            boost.estimate.u95 > 1.2 * bench.estimate.u95,
            "{duty}: {} {}",
            boost.estimate.u95,
            bench.estimate.u95
        );
        assert_eq!(boost.basis, Basis::Extrapolated);
        assert!(boost.warnings.iter().any(|w| w.contains("one nozzle")), "{:?}", boost.warnings);
    }
}

/// Collections cut to what a case needs.
fn refused(change: impl Fn(Vec<Collection>) -> Vec<Collection>) -> String {
    let (_, taken) = taken(false);
    fit(&change(taken.collections), &Systematics::default(), &facts()).unwrap_err().to_string()
}

#[test]
fn refusals_say_what_was_found_and_what_to_do() {
    let keep = |f: &dyn Fn(&Collection) -> bool| refused(|c| c.into_iter().filter(|c| f(c)).collect());
    let duty = |c: &Collection| c.duty_set_pct.unwrap();
    let full = keep(&|c| duty(c) > 99.0);
    assert!(full.contains("one duty only") && full.contains("at least 3"), "{full}");
    let few = keep(&|c| duty(c) > 90.0);
    assert!(few.contains("different duties"), "{few}");
    assert!(keep(&|_| false).contains("no collection can be used"));
    let nothing = refused(|c| c.into_iter().map(|c| Collection { flow_ml_min: 0.0, ..c }).collect());
    assert!(nothing.contains("nothing flows"), "{nothing}");
    let falling = refused(|c| {
        c.into_iter().map(|c| Collection { duty_pct: c.duty_pct.map(|d| 110.0 - d), ..c }).collect()
    });
    assert!(falling.contains("expected it to rise"), "{falling}");
    let impossible = refused(|c| c.into_iter().map(|c| Collection { supply_v: 13_800.0, ..c }).collect());
    assert!(impossible.contains("13800 V"), "{impossible}");
    let void = refused(|c| c.into_iter().map(|c| Collection { void: Some("bumped".into()), ..c }).collect());
    assert!(void.contains("33 void"), "{void}");
    assert!(matches!(fit(&[], &Systematics::default(), &facts()), Err(FitRefusal::NoData { .. })));
}

#[test]
fn another_pwm_frequency_or_nozzle_is_refused() {
    let (.., fit) = fitted(false);
    let other = fit.model.flow_at(&Ask { pwm_hz: Some(100.0), ..Ask::default() }, 50.0).unwrap_err();
    assert!(other.to_string().contains("calibrated at 1000 Hz"), "{other}");
    assert!(fit.model.flow_at(&Ask { pwm_hz: Some(1000.0), ..Ask::default() }, 50.0).is_ok());
    let nozzle = fit.model.flow_at(&Ask { nozzle: Some("Z".into()), ..Ask::default() }, 50.0).unwrap_err();
    assert!(nozzle.to_string().contains("no nozzle \"Z\""), "{nozzle}");
}

#[test]
fn without_pressure_only_the_bench_curve_is_given() {
    let (pair, taken) = taken(false);
    let blind: Vec<Collection> =
        taken.collections.iter().cloned().map(|c| Collection { line_pressure_kpa: None, ..c }).collect();
    let fit = fit(&blind, &taken.systematics, &facts()).unwrap();
    let supply = fit.model.reference.supply_v / taken.supply_gain;
    let mut outside = 0;
    for duty in [25.0, 40.0, 60.0, 80.0] {
        let answer = fit.model.flow_at(&Ask::default(), duty).unwrap();
        let (flow, ..) = pair.settle(0, duty / 100.0, supply, 0.0, 20.0);
        outside += usize::from((answer.estimate.value - flow).abs() > answer.estimate.u95);
    }
    assert!(outside <= 1, "{outside} of 4 outside");
    let boost = fit.model.flow_at(&Ask { boost_kpa: 100.0, ..Ask::default() }, 50.0);
    assert_eq!(boost.unwrap_err(), Refusal::PressureNotMeasured);
    assert!(fit.tables().boost_flow.is_empty());
    assert!(fit.findings().iter().any(|f| f.id == "line.pressure"));
}

#[test]
fn two_nozzles_at_once_share_the_pump() {
    let (.., fit) = fitted(true);
    let flow = |n: &str| {
        fit.model.flow_at(&Ask { nozzle: Some(n.into()), ..Ask::default() }, 60.0).unwrap().estimate.value
    };
    let (a, b, both) = (flow("A"), flow("B"), flow("A+B"));
    assert!(both > a.max(b) && both < a + b, "{a} {b} {both}");
}

#[test]
fn systematic_errors_do_not_shrink_with_the_number_of_points() {
    let (_, taken) = taken(false);
    let part = |collections: &[Collection], what: &str| {
        let fit = fit(collections, &taken.systematics, &facts()).unwrap();
        let e = fit.model.flow_at(&Ask::default(), 70.0).unwrap().estimate;
        let part = e.terms.iter().find(|p| p.cause.to_string() == what).unwrap().u.abs();
        (part / e.value, e.terms[0].u)
    };
    let many: Vec<Collection> = (0..6).flat_map(|_| taken.collections.clone()).collect();
    let (few_scale, few_scatter) = part(&taken.collections, "scale gain");
    let (many_scale, many_scatter) = part(&many, "scale gain");
    // 0.1 % limits are 0.0577 % as a standard uncertainty (JCGM 100:2008, 4.3.7).
    for scale in [few_scale, many_scale] {
        assert!((scale / 0.000_577_35 - 1.0).abs() < 0.02, "{scale}");
    }
    assert!(many_scatter < few_scatter, "{many_scatter} {few_scatter}");
}
