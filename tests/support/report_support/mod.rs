//! An invented report that holds every kind of figure, for the tests of the report.
//!
//! In: nothing. Out: a page. Never: a measured number; every value is made up by plain formulas and seeded chance.

pub(crate) mod browser;
mod compare;
pub(crate) mod fill;
pub(crate) mod hostile;
mod pair;
mod run;
pub(crate) mod tree;

use dutycup::door::calibration::Measured;
use dutycup::door::report::figure_text::Units;
use dutycup::door::report::page::{Block, DECISION_RULE, Fact, Page, Section};
use dutycup::door::report::summary::{Finding, KeyFigure, Summary, Tone};
use dutycup::door::report::verdict_table;
use dutycup::door::report::words::FileName;
use dutycup::door::verdict::item::{Item, Verdict, Verdicts};

/// The whole page.
pub(crate) fn page() -> Page {
    Page {
        decision_rule: DECISION_RULE.into(),
        id: "20260301T093000Z-pump-and-nozzle-7f3a".into(),
        hash: "sha256 9f2c41d0a7e65b18".into(),
        title: "Pump and nozzle".into(),
        subject: "pump P-17 with nozzle A (10 gal/h), water at 20 °C".into(),
        summary: summary(),
        identity: identity(),
        sections: sections(),
        provenance: provenance(),
    }
}

fn figure(name: &str, value: f64, u95: f64, dof: f64, unit: &str) -> KeyFigure {
    let measured = Measured { value, u95, dof: Some(dof) };
    KeyFigure::measured(name, measured, unit, Units::Metric)
}

fn summary() -> Summary {
    Summary {
        tone: Tone::Doubt,
        verdict: "undecided".into(),
        headline: "At full duty this pair delivers 641 ± 8 mL/min into an open cup. At 30 % duty it delivers 23 % of \
                   that, not 30 %. Whether the nozzle meets its rating cannot be decided with this gauge."
            .into(),
        figures: vec![
            figure("flow at 100 % duty", 641.2, 8.1, 17.3, "mL/min"),
            figure("flow at 30 % duty", 147.6, 3.4, 21.0, "mL/min"),
            figure("nozzle coefficient K", 23.42, 0.31, 24.0, "mL/min/sqrt(kPa)"),
            figure("dead band, stall", 8.6, 0.7, 9.0, "%"),
            figure("highest line pressure", 752.0, 9.0, 40.0, "kPa"),
            KeyFigure::plain("collections", "33 used, 1 void", "11 duties, three repeats"),
        ],
        findings: vec![
            Finding::new(
                Tone::Bad,
                "The bypass of the pump opens at 735 ± 9 kPa, below full duty.",
                "Do not plan on more than 88 % duty: beyond it duty buys little flow.",
            ),
            Finding::new(
                Tone::Doubt,
                "Rated flow: 631 mL/min at 690 kPa lies 1.2 % above the measured 623 ± 11 mL/min; the limit of 3 % lies \
                 inside the uncertainty.",
                "Use a gauge with a gain uncertainty below 0.8 %, or collect six repeats at 690 kPa.",
            ),
            Finding::new(Tone::Quiet, "The square-root law holds: n = 0.503 ± 0.011.", ""),
        ],
        files: ["collections.csv", "duty_flow.csv", "boost_flow.csv", "calibration.yaml", "verdicts.json"]
            .iter()
            .filter_map(|n| FileName::new(n))
            .collect(),
    }
}

fn identity() -> Vec<Fact> {
    [
        ("operator", "M. Example"),
        ("bench and place", "bench 1, workshop"),
        ("customer, vehicle", ""),
        ("method", "pump-and-nozzle 1.0"),
        ("items", "pump P-17, nozzle A-0042, check valve C-3"),
        ("condition", "as received, filter cleaned"),
        ("date of test", "2026-03-01 09:30 UTC"),
        ("date of issue", "2026-03-01 10:02 UTC"),
        ("water", "19.8 to 20.6 °C, measured"),
        ("supply", "13.8 V at the driver, measured"),
        ("ambient", "99.8 kPa"),
        ("authorised by", "M. Example"),
    ]
    .map(|(name, value)| Fact::new(name, value))
    .to_vec()
}

fn provenance() -> Vec<Fact> {
    [
        ("software", "dutycup 0.1.0"),
        ("seed", "1"),
        ("scenario", "pump-and-nozzle.yaml, sha256 4e1d0c7b"),
        ("rig", "bench-1.yaml, sha256 a20b9911"),
        ("scale", "S-0031, calibrated 2025-11-20"),
        ("pressure gauge", "T-0007, calibrated 2025-09-02"),
        ("clock", "checked against 600.00 s, 2026-02-27"),
        ("heartbeat", "12 480 beats, longest gap 131 ms"),
        ("gaps", "none"),
    ]
    .map(|(name, value)| Fact::new(name, value))
    .to_vec()
}

/// Verdicts of every kind.
pub(crate) fn verdicts() -> Verdicts {
    let item = |id: &str, quantity: &str, value, u95, unit: &str, lower, upper, verdict, note: &str| Item {
        id: id.into(),
        quantity: quantity.into(),
        value,
        unit: unit.into(),
        u95,
        dof: Some(12.4),
        lower,
        upper,
        verdict,
        note: note.into(),
    };
    let items = vec![
        item(
            "nozzle.rating",
            "flow at rated pressure",
            Some(623.0),
            Some(11.0),
            "mL/min",
            Some(612.0),
            Some(650.0),
            Verdict::Undecided,
            "inside, but nearer to the limit than U; a better gauge would decide it",
        ),
        item("duty.dead_band", "dead band", Some(8.6), Some(0.7), "%", None, Some(12.0), Verdict::Pass, ""),
        item(
            "switch.trip",
            "trip of the pressure switch",
            Some(255.1),
            Some(4.2),
            "kPa",
            Some(186.2),
            Some(227.5),
            Verdict::Fail,
            "above the upper limit by more than U",
        ),
        item(
            "line.leak",
            "leak-down",
            None,
            None,
            "kPa",
            None,
            Some(10.0),
            Verdict::Error,
            "SENSOR_LOST (gauge)",
        ),
        item(
            "nozzle.clogging",
            "clogging",
            None,
            None,
            "",
            None,
            None,
            Verdict::Skipped,
            "no earlier calibration",
        ),
    ];
    Verdicts { verdict: Verdict::Error, items }
}

fn sections() -> Vec<Section> {
    vec![
        Section::new("Verdicts").with(Block::Table(verdict_table::table(&verdicts(), Units::Metric))),
        Section::new("Flow over duty")
            .with(Block::Paragraph(
                "Each point is one collection of 30 s after the flow had settled. The curve is the pump model with a \
                 bypass, chosen over the model without one (lack of fit F = 11.2, critical 3.1)."
                    .into(),
            ))
            .with(Block::figure(pair::duty_flow()))
            .with(Block::figure(pair::residuals())),
        Section::new("Nozzle and pump")
            .with(Block::figure(pair::nozzle_law()))
            .with(Block::figure(pair::pump_curves()))
            .with(Block::figure(pair::boost_curves())),
        Section::new("What happened during the run")
            .with(Block::figure(run::time_series()))
            .with(Block::figure(run::latency())),
        Section::new("Pressure switch").with(Block::figure(run::switch_loop())),
        Section::new("What changed")
            .with(Block::figure(compare::what_changed()))
            .with(Block::figure(compare::before_after()))
            .with(Block::figure(compare::overview())),
        Section::new("Uncertainty").with(Block::figure(compare::budget())),
    ]
}
