//! The report of a comparison with a baseline: what differs first, then old against new, the map last. And the report
//! of a controller on its own.
//!
//! In: a comparison with its diagnosis, or observations. Out: a [`Page`]. Never: a computation of a result.

use super::compare_figures::{baseline_side, curves, on_curve, outputs, overview, run_side};
use super::subject::Subject;
use crate::judge::baseline::{Compared, Comparison};
use crate::judge::diagnosis::Diagnosis;
use crate::reduce::controller::Observations;
use crate::report::figure_text::Units;
use crate::report::page::{Block, DECISION_RULE, Page, Section};
use crate::report::summary::{Finding, KeyFigure, Summary, Tone, verdict_word};
use crate::report::verdict_table;
use crate::report::words::FileName;
use crate::verdict::item::{Verdict, Verdicts};
use std::collections::BTreeMap;

/// Rows of the ranked list; the file holds all.
const RANKED_MOST: usize = 60;
/// Differences told on the terminal.
const TOLD_MOST: usize = 12;
/// Diagnoses told.
const DIAGNOSES_MOST: usize = 2;
/// A cause this much better than its runner-up, in shares of the differences, is called likely.
const AHEAD: f64 = 0.1;
/// Least share of the differences that a likely cause explains.
const LIKELY: f64 = 0.8;

/// The page of a comparison.
#[must_use]
pub fn page(
    subject: &Subject,
    comparison: &Comparison,
    diagnoses: &[Diagnosis],
    verdicts: &Verdicts,
    units: Units,
) -> Page {
    let open = |v: Verdict| matches!(v, Verdict::Changed | Verdict::Undecided | Verdict::Skipped);
    let ranked: Vec<_> =
        verdicts.items.iter().filter(|i| open(i.verdict)).take(RANKED_MOST).cloned().collect();
    let mut list = Section::new("What differs, worst first");
    for words in causes(diagnoses) {
        list = list.with(Block::Paragraph(words.into()));
    }
    list = if ranked.is_empty() {
        list.with(Block::Paragraph("Nothing differs by more than its tolerance.".into()))
    } else {
        let shown = Verdicts { verdict: verdicts.verdict, items: ranked };
        list.with(Block::Table(verdict_table::table(&shown, units)))
    };
    let mut weights: BTreeMap<&str, f64> = BTreeMap::new();
    let sides = |new: bool| {
        let side = move |c: &'_ Compared| if new { c.new.clone() } else { c.old.clone() };
        comparison.list.iter().filter_map(side).collect::<Vec<_>>()
    };
    let (old, new) = (sides(false), sides(true));
    for c in &comparison.list {
        if let Some(o) = c.subject().filter(|o| on_curve(o)) {
            let most = weights.entry(&o.output).or_default();
            *most = most.max(c.weight());
        }
    }
    let mut names = outputs(old.iter().chain(&new));
    names.sort_by(|a, b| weights.get(b).unwrap_or(&0.0).total_cmp(weights.get(a).unwrap_or(&0.0)));
    let mut shapes = Section::new("Old against new");
    let mut maps = Section::new("Where it changed");
    let weight_of = |o: &crate::reduce::controller::Observation| {
        let same = |c: &&Compared| {
            c.subject().is_some_and(|s| s.output == o.output && s.kind == o.kind && s.at.same(&o.at))
        };
        comparison.list.iter().find(same).map_or(0.0, Compared::weight)
    };
    for name in names {
        let both = [baseline_side(old.iter().collect()), run_side(new.iter().collect())];
        shapes = shapes.with(Block::figure(curves(name, &both, weight_of, units)));
        if let Some(figure) = overview(comparison, name, units) {
            maps = maps.with(Block::figure(figure));
        }
    }
    let sections = [list, shapes, maps].into_iter().filter(|s| !s.blocks.is_empty()).collect();
    Page {
        decision_rule: rule(comparison).into(),
        id: subject.id.as_str().into(),
        hash: subject.hash.as_str().into(),
        title: subject.title.as_str().into(),
        subject: subject.items.as_str().into(),
        summary: summary(comparison, diagnoses, verdicts),
        identity: subject.identity.clone(),
        sections,
        provenance: subject.provenance.clone(),
    }
}

/// Causes of what differs, best first: how sure each is, and what else would explain the same outputs.
fn causes(diagnoses: &[Diagnosis]) -> Vec<String> {
    let shares = |a: &Diagnosis, b: &Diagnosis| a.outputs.iter().any(|o| b.outputs.contains(o));
    let mut told: Vec<&Diagnosis> = Vec::new();
    for d in diagnoses {
        if told.len() < DIAGNOSES_MOST && !told.iter().any(|known| shares(known, d)) {
            told.push(d);
        }
    }
    let words = |d: &&Diagnosis| {
        let others = diagnoses.iter().filter(|o| o.change != d.change && shares(o, d));
        cause(d, others.max_by(|a, b| a.explains.total_cmp(&b.explains)))
    };
    told.iter().map(words).collect()
}

/// One cause with its runner-up.
fn cause(d: &Diagnosis, runner_up: Option<&Diagnosis>) -> String {
    let percent = |d: &Diagnosis| format!("{:.0} % of the differences", 100.0 * d.explains);
    let ahead = runner_up.is_none_or(|r| d.explains >= r.explains + AHEAD);
    let sure = match (ahead, d.explains >= LIKELY) {
        (true, true) => "Likely cause",
        (true, false) => "Possible cause, which leaves much unexplained",
        (false, _) => "Possible cause, not told apart from the next",
    };
    let next = runner_up.map_or_else(
        || "nothing else that was tried explains as much as a third".to_owned(),
        |r| format!("next: {}, which explains {}", r.words, percent(r)),
    );
    format!("{sure}: {}, on {} (explains {}); {next}.", d.words, d.outputs.join(", "), percent(d))
}

fn summary(comparison: &Comparison, diagnoses: &[Diagnosis], verdicts: &Verdicts) -> Summary {
    let count = |v| comparison.count(v);
    let (changed, undecided) = (count(Verdict::Changed), count(Verdict::Undecided));
    let all = changed + undecided + count(Verdict::Same);
    let headline = match comparison.verdict() {
        Verdict::Changed => format!("{changed} of {all} observations changed against the baseline."),
        Verdict::Undecided => {
            format!("No change is certain; {undecided} of {all} observations could not be decided.")
        }
        _ => format!("All {all} observations are the same as in the baseline, within their tolerances."),
    };
    let mut findings: Vec<Finding> =
        causes(diagnoses).into_iter().map(|words| Finding::new(Tone::Bad, words, "")).collect();
    let open = |v: Verdict| matches!(v, Verdict::Changed | Verdict::Undecided | Verdict::Skipped);
    let open: Vec<_> = verdicts.items.iter().filter(|i| open(i.verdict)).collect();
    for item in open.iter().take(TOLD_MOST) {
        let words = format!("{}: {}; {}", verdict_word(item.verdict), item.quantity, item.note);
        findings.push(Finding::new(item.verdict.into(), words, ""));
    }
    if open.len() > TOLD_MOST {
        let more = format!("and {} more, in verdicts.json", open.len() - TOLD_MOST);
        findings.push(Finding::new(Tone::Quiet, more, ""));
    }
    let plain = |name: &str, n: usize| KeyFigure::plain(name, n.to_string(), "");
    Summary {
        tone: comparison.verdict().into(),
        verdict: verdict_word(comparison.verdict()).into(),
        headline: headline.into(),
        figures: vec![
            plain("changed", changed),
            plain("undecided", undecided),
            plain("same", count(Verdict::Same)),
            plain("extra", count(Verdict::Skipped)),
        ],
        findings,
        files: ["verdicts.json", "junit.xml", "report.html"].into_iter().filter_map(FileName::new).collect(),
    }
}

/// The equivalence decision, in words.
fn rule(comparison: &Comparison) -> String {
    let cancel = if comparison.cancelled {
        "Both were measured with the same instruments under the same calibration: their common errors cancel in the \
         difference."
    } else {
        "They were not measured with the same instruments under the same calibration, or that is not known: the errors \
         of both count."
    };
    format!(
        "Decision rule: an observation is the same where |difference| + U <= tolerance, U at 95 %; changed where \
         |difference| - U > tolerance, with U at the level of {:.2e} each, so that at most 1 % of runs of an unchanged \
         controller raise any alarm (Sidak); undecided in between. Repeatability is pooled an output and quantity. \
         {cancel}",
        comparison.level
    )
}

/// The page of a controller on its own.
#[must_use]
pub fn controller_page(
    subject: &Subject,
    observations: &Observations,
    verdicts: &Verdicts,
    units: Units,
) -> Page {
    let mut shapes = Section::new("What it puts out");
    let all = &observations.list;
    for name in outputs(all.iter()) {
        let side = [run_side(all.iter().collect())];
        shapes = shapes.with(Block::figure(curves(name, &side, |_| 0.0, units)));
    }
    let values = Section::new("Edges and response").with(Block::Table(verdict_table::table(verdicts, units)));
    let points = all.iter().filter(|o| on_curve(o)).count();
    let judged = verdicts.verdict != Verdict::Skipped;
    Page {
        decision_rule: DECISION_RULE.into(),
        id: subject.id.as_str().into(),
        hash: subject.hash.as_str().into(),
        title: subject.title.as_str().into(),
        subject: subject.items.as_str().into(),
        summary: Summary {
            tone: if judged { verdicts.verdict.into() } else { Tone::Good },
            verdict: if judged { verdict_word(verdicts.verdict) } else { "measured" }.into(),
            headline: format!("{} observations of the controller, {points} of them on its map.", all.len())
                .into(),
            figures: Vec::new(),
            findings: observations.notes.iter().map(|n| Finding::new(Tone::Quiet, n.as_str(), "")).collect(),
            files: ["observations.csv", "verdicts.json", "junit.xml", "report.html"]
                .into_iter()
                .filter_map(FileName::new)
                .collect(),
        },
        identity: subject.identity.clone(),
        sections: [shapes, values].into_iter().filter(|s| !s.blocks.is_empty()).collect(),
        provenance: subject.provenance.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::diagnosis::Change;

    fn found(change: Change, words: &str, output: &str, explains: f64) -> Diagnosis {
        Diagnosis { change, words: words.into(), outputs: vec![output.into()], explains }
    }

    #[test]
    fn a_cause_says_how_sure_it_is_and_names_the_runner_up() {
        let shifted = found(Change::AxisShifted, "boost axis shifted by +9.7 kPa", "duty_output.pump", 0.96);
        let stepped = found(Change::LookupToggled, "table lookup now stepped", "duty_output.pump", 0.98);
        let other = found(Change::ResponseChanged, "response slower", "switched.valve", 0.5);
        insta::assert_snapshot!(causes(&[stepped.clone(), shifted.clone(), other]).join("\n"), @"
        Possible cause, not told apart from the next: table lookup now stepped, on duty_output.pump (explains 98 % of the differences); next: boost axis shifted by +9.7 kPa, which explains 96 % of the differences.
        Possible cause, which leaves much unexplained: response slower, on switched.valve (explains 50 % of the differences); nothing else that was tried explains as much as a third.
        ");
        let far = Diagnosis { explains: 0.4, ..shifted };
        insta::assert_snapshot!(causes(&[stepped, far]).join("\n"), @"Likely cause: table lookup now stepped, on duty_output.pump (explains 98 % of the differences); next: boost axis shifted by +9.7 kPa, which explains 40 % of the differences.");
    }
}
