//! N7: a whole fit with model selection, tables, a calibration read and asked.
//!
//! In: nothing. Out: figures of the fit that commands run, beside general-purpose optimisers that refit one law once.

use super::peers;
use super::process::run;
use super::table::{Line, Table};
use crate::bench;
use crate::truth::{Family, Pair, Plan};
use dutycup::door::calibration::Calibration;
use dutycup::door::chance::Seed;
use dutycup::door::clock::SystemClock;
use dutycup::door::fit::ask::Ask;
use dutycup::door::fit::facts::PairFacts;
use dutycup::door::fit::pair::{PairFit, fit};
use dutycup::door::fit::store::{self, Origin};
use std::hint::black_box;
use std::process::Command;

/// Fifty collections through one nozzle, a pump with a bypass.
fn pair() -> (bench::Taken, PairFit) {
    let plan = Plan { duties: 10, repeats: 5, ..Plan::THOROUGH };
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

/// N7.
pub(crate) fn measure(table: &mut Table, quick: bool) {
    let (taken, found) = pair();
    whole(table, &taken);
    theirs(table, if quick { "2" } else { "5" });
    let tables = best(5, || {
        black_box(found.tables());
    });
    figure(table, "tables of a fit", tables);
    let text = found.calibration(&Origin::default()).write().unwrap();
    let answer = best(20, || {
        let model = store::model(&Calibration::read("calibration.yaml", &text).unwrap()).unwrap();
        let ask = Ask { boost_kpa: 100.0, ..Ask::default() };
        black_box(model.flow_at(&ask, 50.0).unwrap());
    });
    figure(table, "a calibration read and asked", answer);
}

/// A whole fit, the points of one nozzle.
fn whole(table: &mut Table, taken: &bench::Taken) {
    let s = best(20, || {
        black_box(fit(&taken.collections, &taken.systematics, &PairFacts::unknown()).unwrap());
    });
    table.add(Line {
        id: "N7",
        what: "a whole fit with model selection".into(),
        ours: format!("{:.1} ms", 1e3 * s),
        peer: String::new(),
        ratio: None,
        aim: "< 15 ms".into(),
        met: Some(s < 0.015),
    });
}

/// The peers, one core each: one law of four parameters, fitted once.
fn theirs(table: &mut Table, seconds: &str) {
    let python = match peers::python() {
        Ok(python) => python,
        Err(why) => return table.missing("N7", "scipy, numba", &why),
    };
    for peer in ["scipy", "numba"] {
        let script = peers::script("refits.py");
        let ran = run(Command::new(&python).arg(script).args([peer, seconds]));
        let Ok(rate) = ran.out.trim().parse::<f64>() else {
            table.missing("N7", peer, ran.err.lines().last().unwrap_or("no word"));
            continue;
        };
        table.add(Line {
            id: "N7",
            what: "one law of four parameters fitted once".into(),
            ours: String::new(),
            peer: format!("{peer} {:.2} ms", 1e3 / rate),
            ratio: None,
            aim: String::new(),
            met: None,
        });
    }
}

fn figure(table: &mut Table, what: &str, s: f64) {
    table.add(Line {
        id: "N7",
        what: what.into(),
        ours: format!("{:.2} ms", 1e3 * s),
        peer: String::new(),
        ratio: None,
        aim: String::new(),
        met: None,
    });
}
