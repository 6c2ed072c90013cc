//! How fast the fit is: refits of the chosen law, a whole fit with model selection, tables, a calibration read and asked.
//!
//! In: nothing. Out: figures on stdout. Run with `cargo bench --bench fit`.
#![expect(
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "a benchmark prints, and stops at the first surprise"
)]

#[path = "../study/bench.rs"]
mod bench;
#[path = "../study/truth.rs"]
mod truth;

use dutycup::calibration::Calibration;
use dutycup::chance::Seed;
use dutycup::clock::SystemClock;
use dutycup::fit::ask::Ask;
use dutycup::fit::bootstrap::Refitter;
use dutycup::fit::facts::PairFacts;
use dutycup::fit::pair::{PairFit, fit};
use dutycup::fit::store::{self, Origin};
use std::hint::black_box;
use truth::{Family, Pair, Plan};

/// Fifty collections through one nozzle, a pump with a bypass.
fn pair() -> (bench::Taken, PairFit) {
    let plan = Plan {
        duties: 10,
        repeats: 5,
        ..Plan::THOROUGH
    };
    for n in 0.. {
        let truth = Pair::random(Family::Plain, Seed(n), false);
        let taken = bench::take(&truth, &plan, Seed(n));
        let fit = fit(&taken.collections, &taken.systematics, &PairFacts::unknown()).unwrap();
        if fit.choice.as_ref().unwrap().law().opening.is_some() {
            return (taken, fit);
        }
    }
    unreachable!("half of all pumps have a bypass")
}

/// Best of a few runs, s.
fn best(runs: usize, mut run: impl FnMut()) -> f64 {
    let mut best = f64::INFINITY;
    for _ in 0..runs {
        let clock = SystemClock::start();
        run();
        best = best.min(clock.now().as_s());
    }
    best
}

fn main() {
    let (taken, found) = pair();
    let law = found.choice.as_ref().unwrap().law();
    let refitter = Refitter::new(&found.data, law).unwrap();
    let draws = 40_000;
    let parameters = refitter.terms().len();
    let points = found.data.points.len();
    let one = best(3, || {
        black_box(refitter.run(draws, Seed(1)));
    });
    let two = best(3, || {
        std::thread::scope(|s| {
            let other = s.spawn(|| black_box(refitter.run(draws, Seed(2))));
            black_box(refitter.run(draws, Seed(3)));
            other.join().unwrap();
        });
    });
    println!(
        "bootstrap refits, {parameters} parameters, {points} points: {:.0} a second on one core, {:.0} on two",
        draws as f64 / one,
        2.0 * draws as f64 / two
    );
    let whole = best(20, || {
        black_box(fit(&taken.collections, &taken.systematics, &PairFacts::unknown()).unwrap());
    });
    println!(
        "a whole fit of {points} points with model selection and common errors: {:.1} ms",
        1e3 * whole
    );
    let tables = best(5, || {
        black_box(found.tables());
    });
    println!("tables: {:.1} ms", 1e3 * tables);
    let text = found.calibration(&Origin::default()).write().unwrap();
    let answer = best(20, || {
        let model = store::model(&Calibration::read("calibration.yaml", &text).unwrap()).unwrap();
        black_box(
            model
                .flow_at(
                    &Ask {
                        boost_kpa: 100.0,
                        ..Ask::default()
                    },
                    50.0,
                )
                .unwrap(),
        );
    });
    println!(
        "a calibration of {} bytes read and asked: {:.2} ms",
        text.len(),
        1e3 * answer
    );
}
