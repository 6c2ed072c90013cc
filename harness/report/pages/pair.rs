//! The report of a pump and nozzle pair.
//!
//! In: what was tested, the reduced data, the fit, the verdicts. Out: a [`Page`]. Never: a computation of a result.

use super::pair_figures as figures;
use super::run_figures;
use crate::calibration::Measured;
use crate::fit::ask::Ask;
use crate::fit::pair::PairFit;
use crate::judge::item::Verdicts;
use crate::record::RunFile;
use crate::reduce::Reduced;
use crate::reduce::finding::Finding as Noticed;
use crate::report::figure_text::Units;
use crate::report::page::{Block, Cell, Column, Fact, Page, Section, Table};
use crate::report::summary::{Finding, KeyFigure, Summary, Tone, verdict_word};
use crate::report::verdict_table;
use crate::report::words::FileName;
use crate::script::rig::Rig;

/// Files that a pair's analysis writes, in the order a reader wants them.
const FILES: [&str; 9] = [
    "calibration.yaml",
    "duty_flow.csv",
    "flow_duty.csv",
    "boost_flow.csv",
    "boost_duty.csv",
    "collections.csv",
    "verdicts.json",
    "junit.xml",
    "report.html",
];
/// Duty whose flow is set against the straight line, %.
const EXAMPLE_DUTY_PCT: f64 = 30.0;

/// What was tested, by whom, with what.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// What kind of test: `Pump and nozzle`.
    pub title: String,
    /// The items tested, in words.
    pub items: String,
    /// Scenario or data file: the method.
    pub method: String,
    /// Unique id.
    pub id: String,
    /// Hash of what it was made from.
    pub hash: String,
    /// Who, where, when, with what.
    pub identity: Vec<Fact>,
    /// Software, seed, hashes, instruments.
    pub provenance: Vec<Fact>,
}

impl Subject {
    /// Of a run.
    #[must_use]
    pub fn of_run(run: &RunFile, rig: &Rig) -> Self {
        let nozzles: Vec<&str> = run.nozzles.iter().map(|n| n.name.as_str()).collect();
        let hash = run
            .files
            .iter()
            .find(|f| f.name == "samples.csv")
            .and_then(|f| f.sha256.clone());
        let hash = hash.unwrap_or_default();
        let mut provenance = vec![
            Fact::new("software", &*run.program),
            Fact::new("scenario", run.scenario.as_str()),
            Fact::new("seed", run.seed.to_string()),
        ];
        provenance.extend(
            run.parameters
                .iter()
                .map(|(name, value)| Fact::new(format!("parameter {name}"), value)),
        );
        provenance.extend(run.instruments.iter().map(|i| {
            let identity = i.identity.clone().unwrap_or_else(|| "does not tell".into());
            Fact::new(format!("instrument {}", i.name), identity)
        }));
        let dated = run
            .channels
            .iter()
            .filter_map(|c| Some((c, c.calibrated.as_ref()?)));
        provenance.extend(dated.map(|(c, date)| Fact::new(format!("calibration of {}", c.role), date)));
        let hashed = run.files.iter().filter_map(|f| Some((f, f.sha256.as_ref()?)));
        provenance.extend(hashed.map(|(f, sum)| Fact::new(format!("SHA-256 of {}", f.name), sum)));
        provenance.extend(
            run.safe_state
                .iter()
                .map(|words| Fact::new("end of the run", words)),
        );
        Subject {
            title: "Pump and nozzle".into(),
            items: format!("{}; nozzle {}", run.pump, nozzles.join(", ")),
            method: run.scenario.clone(),
            id: format!("{}-{}", run.started, run.scenario),
            hash: format!("sha256 {}", hash.get(..16).unwrap_or(&hash)),
            identity: vec![
                Fact::new("bench", &*rig.name),
                Fact::new("operator", run.operator.clone().unwrap_or_default()),
                Fact::new("begun", run.started.as_str()),
                Fact::new("ended", run.ended.clone().unwrap_or_default()),
                Fact::new("pump", &*rig.pair.pump),
                Fact::new("nozzles", nozzle_words(rig)),
                Fact::new("PWM", format!("{} Hz, {} side", run.pwm.hz, run.pwm.drive_side)),
                Fact::new("wiring", rig.pair.wiring.clone().unwrap_or_default()),
                Fact::new("liquid", liquid(run.fluid.methanol_mass_fraction)),
                Fact::new("deviations from the method", run.warnings.join("; ")),
            ],
            provenance,
        }
    }

    /// Of points taken by hand.
    #[must_use]
    pub fn of_points(file: &str, rig: Option<&Rig>) -> Self {
        let items = rig.map_or_else(
            || "pump and nozzle, not named".to_owned(),
            |r| r.pair.pump.clone(),
        );
        Subject {
            title: "Pump and nozzle".into(),
            items,
            method: "points taken by hand".into(),
            id: file.to_owned(),
            hash: String::new(),
            identity: vec![
                Fact::new("data", file.to_owned()),
                Fact::new("bench", rig.map(|r| r.name.clone()).unwrap_or_default()),
                Fact::new(
                    "liquid",
                    liquid(rig.map_or(0.0, |r| r.fluid.methanol_mass_fraction)),
                ),
            ],
            provenance: vec![Fact::new(
                "software",
                concat!("dutycup ", env!("CARGO_PKG_VERSION")),
            )],
        }
    }
}

fn nozzle_words(rig: &Rig) -> String {
    let one = |n: &crate::script::rig::NozzleSpec| match &n.serial {
        Some(serial) => format!("{} ({serial})", n.name),
        None => n.name.clone(),
    };
    rig.pair.nozzles.iter().map(one).collect::<Vec<_>>().join(", ")
}

fn liquid(methanol: f64) -> String {
    if methanol > 0.0 {
        format!("water with {:.1} % methanol by mass", 100.0 * methanol)
    } else {
        "water".into()
    }
}

/// The page.
#[must_use]
pub fn page(subject: &Subject, reduced: &Reduced, fit: &PairFit, verdicts: &Verdicts, units: Units) -> Page {
    let tables = fit.tables();
    let mut sections = vec![
        Section::new("Flow over duty").with(Block::figure(figures::duty_flow(reduced, fit, &tables, units))),
        Section::new("Verdicts").with(Block::Table(verdict_table::table(verdicts, units))),
    ];
    let mut shape =
        Section::new("How well the fit holds").with(Block::figure(figures::residuals(fit, units)));
    if fit.model.reference.pressure_measured {
        shape = shape.with(Block::figure(figures::pressure_flow(fit, units)));
    }
    sections.push(shape);
    if !tables.boost_flow.is_empty() {
        sections.push(Section::new("Against boost").with(Block::figure(figures::boost(fit, &tables, units))));
    }
    if let Some(figure) = run_figures::time_series(reduced, units) {
        sections.push(Section::new("The run").with(Block::figure(figure)));
    }
    sections.push(budget(fit, units));
    sections.push(method(fit, units));
    sections.push(Section::new("Collections").with(Block::Table(collections(reduced, units))));
    Page {
        id: subject.id.as_str().into(),
        hash: subject.hash.as_str().into(),
        title: subject.title.as_str().into(),
        subject: subject.items.as_str().into(),
        summary: summary(reduced, fit, verdicts, units),
        identity: subject.identity.clone(),
        sections,
        provenance: subject.provenance.clone(),
    }
}

fn summary(reduced: &Reduced, fit: &PairFit, verdicts: &Verdicts, units: Units) -> Summary {
    let measured = |e: &crate::fit::estimate::Estimate| e.measured();
    let law = &fit.model.nozzles[0];
    let top = (100.0 * law.duty_range.1).min(100.0);
    let ask = Ask {
        nozzle: Some(law.name.clone()),
        boost_kpa: fit.model.reference.out_range_kpa.0,
        ..Ask::default()
    };
    let flow = |duty: f64| fit.model.flow_at(&ask, duty).ok().map(|a| measured(&a.estimate));
    let (full, example) = (flow(top), flow(EXAMPLE_DUTY_PCT));
    let mut key: Vec<KeyFigure> = Vec::new();
    for (duty, value) in [(top, full), (EXAMPLE_DUTY_PCT, example)] {
        key.extend(
            value.map(|m| KeyFigure::measured(format!("flow at {duty:.0} % duty"), m, "mL/min", units)),
        );
    }
    key.extend(verdicts.items.iter().filter_map(|item| {
        let value = Measured {
            value: item.value?,
            u95: item.u95?,
            dof: item.dof,
        };
        let figure = KeyFigure::measured(&*item.quantity, value, &item.unit, units);
        Some(figure.noted(if item.lower.or(item.upper).is_some() {
            verdict_word(item.verdict)
        } else {
            ""
        }))
    }));
    let used = fit.points.flowing.len();
    let void = reduced.collections.iter().filter(|c| c.void.is_some()).count();
    key.push(KeyFigure::plain(
        "collections",
        format!("{used} used, {void} void"),
        "",
    ));
    let noticed = reduced.findings.iter().cloned().chain(fit.findings());
    Summary {
        tone: match verdicts.verdict {
            crate::judge::item::Verdict::Skipped => Tone::Good,
            verdict => verdict.into(),
        },
        verdict: match verdicts.verdict {
            crate::judge::item::Verdict::Skipped => "measured".into(),
            verdict => verdict_word(verdict).into(),
        },
        headline: headline(top, full, example, units).into(),
        figures: key,
        findings: noticed.map(|n| finding(&n)).collect(),
        files: FILES.iter().filter_map(|name| FileName::new(name)).collect(),
    }
}

fn headline(top: f64, full: Option<Measured>, example: Option<Measured>, units: Units) -> String {
    let Some(full) = full else {
        return "The flow at the highest duty is not known.".into();
    };
    let shown = KeyFigure::measured("", full, "mL/min", units);
    let start = format!(
        "At {top:.0} % duty this pair delivers {} into an open cup.",
        shown.line()
    );
    match example {
        Some(example) if full.value > 0.0 => {
            let share = 100.0 * example.value / full.value * top / 100.0;
            format!(
                "{start} At {EXAMPLE_DUTY_PCT:.0} % duty it delivers {share:.1} % of that, not {EXAMPLE_DUTY_PCT:.0} %."
            )
        }
        _ => start,
    }
}

/// Something noticed, as the report shows it: what was supposed is for information, the rest is to be looked at.
fn finding(noticed: &Noticed) -> Finding {
    let tone = if noticed.id.starts_with("assumed") {
        Tone::Quiet
    } else {
        Tone::Doubt
    };
    Finding::new(tone, noticed.what.as_str(), noticed.likely_cause.as_str())
}

fn budget(fit: &PairFit, units: Units) -> Section {
    let budgets = fit.budgets();
    let mut section = Section::new("What the uncertainty is made of");
    let flow = |b: &&crate::fit::budget::Budget| b.quantity.contains("flow at 60 % duty");
    if let Some(budget) = budgets.iter().find(flow) {
        section = section.with(Block::figure(run_figures::budget(budget, units)));
    }
    for budget in &budgets {
        section = section.with(Block::Table(run_figures::budget_table(budget, units)));
    }
    section
}

fn method(fit: &PairFit, units: Units) -> Section {
    let mut section = Section::new("Method").with(Block::Paragraph(
        "Flow is the slope of cup mass over a steady dwell, times the buoyancy factor, over the density of the liquid. \
         The pump's law and the nozzle's are fitted together; both flow and pressure carry their errors. Errors common \
         to all points (gauge, scale, clock, voltmeter) are kept apart from scatter to the end and do not shrink with \
         the number of points. Uncertainties are expanded ones at 95 % coverage with t (JCGM 100:2008)."
            .into(),
    ));
    if let Some(choice) = &fit.choice {
        section = section.with(Block::Paragraph(
            format!("Law of the pump: {}.", choice.law().name).into(),
        ));
        for line in choice.words() {
            section = section.with(Block::Paragraph(line.as_str().into()));
        }
    }
    let r = &fit.model.reference;
    let shown = units.shown("degC");
    let degc = r.water_degc.map_or_else(
        || "not measured".to_owned(),
        |t| format!("{:.1} {}", t * shown.factor + shown.offset, shown.unit),
    );
    section.with(Block::Facts(vec![
        Fact::new("reference supply", format!("{:.2} V", r.supply_v)),
        Fact::new("temperature of the data", degc),
        Fact::new(
            "scatter of one collection at full flow",
            format!("{:.2} mL/min (standard deviation)", fit.blend.scatter_ml_min),
        ),
        Fact::new(
            "duty of the curve",
            if fit.points.duty_measured {
                "measured"
            } else {
                "commanded"
            },
        ),
    ]))
}

fn collections(reduced: &Reduced, units: Units) -> Table {
    let (flow, pressure) = (units.shown("mL/min"), units.shown("kPa"));
    let columns = vec![
        Column::words("step"),
        Column::words("nozzle"),
        Column::number("duty, %"),
        Column::number("supply, V"),
        Column::number(format!("line, {}", pressure.unit)),
        Column::number("collected, g"),
        Column::number(format!("flow, {}", flow.unit)),
        Column::words("note"),
    ];
    let mut table = Table::new("Collections in the order they were taken", columns);
    for c in &reduced.collections {
        let note = c
            .void
            .as_ref()
            .map_or_else(|| c.note.clone(), |why| format!("void: {why}"));
        table = table.row(vec![
            Cell::words(c.step.to_string()),
            Cell::words(&c.nozzle),
            Cell::number(c.duty(), 4),
            Cell::number(Some(c.supply_v), 4),
            Cell::number(c.line_pressure_kpa.map(|p| p * pressure.factor), 4),
            Cell::number(Some(c.collected_g), 5),
            Cell::number(Some(c.flow_ml_min * flow.factor), 5),
            Cell::words(note),
        ]);
    }
    table
}
