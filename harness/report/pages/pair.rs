//! The report of a pump and nozzle pair.
//!
//! In: what was tested, the reduced data, the fit, the verdicts. Out: a [`Page`]. Never: a computation of a result.

use super::pair_figures as figures;
use super::residual_figures;
use super::run_figures;
use super::subject::Subject;
use crate::calibration::Measured;
use crate::fit::ask::Ask;
use crate::fit::pair::PairFit;
use crate::judge::pair::FULL_PCT;
use crate::reduce::Reduced;
use crate::reduce::finding::Finding as Noticed;
use crate::report::figure_text::Units;
use crate::report::page::{Block, Cell, Column, DECISION_RULE, Fact, Page, Section, Table};
use crate::report::summary::{Finding, KeyFigure, Summary, Tone, verdict_word};
use crate::report::verdict_table;
use crate::report::words::FileName;
use crate::uncertainty::Uncertain;
use crate::verdict::catalogue::FLOW_FULL_DUTY;
use crate::verdict::item::{Item, Verdicts};

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

/// The page.
#[must_use]
pub fn page(
    subject: &Subject,
    reduced: &Reduced,
    fit: &PairFit,
    noticed: &[Noticed],
    verdicts: &Verdicts,
    units: Units,
) -> Page {
    let tables = fit.tables();
    let mut sections = vec![
        Section::new("Flow over duty").with(Block::figure(figures::duty_flow(reduced, fit, &tables, units))),
        Section::new("Verdicts").with(Block::Table(verdict_table::table(verdicts, units))),
    ];
    let [over_duty, over_time] = residual_figures::figures(reduced, fit, units);
    let mut shape =
        Section::new("How well the fit holds").with(Block::figure(over_duty)).with(Block::figure(over_time));
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
        decision_rule: DECISION_RULE.into(),
        id: subject.id.as_str().into(),
        hash: subject.hash.as_str().into(),
        title: subject.title.as_str().into(),
        subject: subject.items.as_str().into(),
        summary: summary(reduced, fit, noticed, verdicts, units),
        identity: subject.identity.clone(),
        sections,
        provenance: subject.provenance.clone(),
    }
}

fn summary(
    reduced: &Reduced,
    fit: &PairFit,
    noticed: &[Noticed],
    verdicts: &Verdicts,
    units: Units,
) -> Summary {
    let measured = |e: &Uncertain| Measured::from(e);
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
    // At full duty the flow stands above already.
    let shown = |item: &&Item| top < FULL_PCT || item.id != FLOW_FULL_DUTY.id;
    key.extend(verdicts.items.iter().filter(shown).filter_map(|item| {
        let value = Measured { value: item.value?, u95: item.u95?, dof: item.dof };
        let figure = KeyFigure::measured(&*item.quantity, value, &item.unit, units);
        Some(figure.noted(if item.lower.or(item.upper).is_some() { verdict_word(item.verdict) } else { "" }))
    }));
    let used = fit.points.flowing.len();
    let void = reduced.collections.iter().filter(|c| c.void.is_some()).count();
    key.push(KeyFigure::plain("collections", format!("{used} used, {void} void"), ""));
    let noticed = noticed.iter().chain(&reduced.findings).cloned().chain(fit.findings());
    Summary {
        tone: match verdicts.verdict {
            crate::verdict::item::Verdict::Skipped => Tone::Good,
            verdict => verdict.into(),
        },
        verdict: match verdicts.verdict {
            crate::verdict::item::Verdict::Skipped => "measured".into(),
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
    let start = format!("At {top:.0} % duty this pair delivers {} into an open cup.", shown.line());
    match example {
        Some(example) if full.value > 0.0 && top > EXAMPLE_DUTY_PCT => {
            let share = 100.0 * example.value / full.value;
            let straight = 100.0 * EXAMPLE_DUTY_PCT / top;
            format!(
                "{start} At {EXAMPLE_DUTY_PCT:.0} % duty it delivers {share:.1} % of that; in proportion to duty it \
                 would be {straight:.1} %."
            )
        }
        _ => start,
    }
}

/// Something noticed, as the report shows it: what was supposed is for information, the rest is to be looked at.
fn finding(noticed: &Noticed) -> Finding {
    let tone = if noticed.id.starts_with("assumed") { Tone::Quiet } else { Tone::Doubt };
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
        section = section.with(Block::Paragraph(format!("Law of the pump: {}.", choice.law().name).into()));
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
        Fact::new("duty of the curve", if fit.points.duty_measured { "measured" } else { "commanded" }),
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
        let note = c.void.as_ref().map_or_else(|| c.note.clone(), |why| format!("void: {why}"));
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

#[cfg(test)]
mod tests {
    use super::*;

    /// 178.1 of 538.2 is 33.1 %; 30 % of duty is 36.1 % of 83 %.
    #[test]
    fn the_headline_compares_with_the_highest_duty_measured() {
        let of = |value: f64| Some(Measured { value, u95: 4.0, dof: None });
        let below = headline(83.0, of(538.2), of(178.1), Units::Metric);
        assert!(below.contains("At 83 % duty") && below.contains("delivers 33.1 % of that"), "{below}");
        assert!(below.contains("in proportion to duty it would be 36.1 %"), "{below}");
        let full = headline(100.0, of(538.2), of(161.46), Units::Metric);
        assert!(full.contains("delivers 30.0 % of that") && full.contains("would be 30.0 %"), "{full}");
        assert!(!headline(25.0, of(100.0), of(130.0), Units::Metric).contains("30 %"));
    }
}
