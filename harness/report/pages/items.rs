//! The report of values judged one by one: switch, leak, dead-head, tank level.
//!
//! In: what was tested, verdicts, what was noticed. Out: a [`Page`]. Never: a computation of a result.

use super::subject::Subject;
use crate::calibration::Measured;
use crate::reduce::finding::Finding as Noticed;
use crate::report::figure_text::Units;
use crate::report::page::{Block, DECISION_RULE, Page, Section};
use crate::report::summary::{Finding, KeyFigure, Summary, Tone, verdict_word};
use crate::report::verdict_table;
use crate::report::words::FileName;
use crate::verdict::item::{Item, Verdict, Verdicts};

/// The page; `said` is the result in plain words, `files` what was written besides the report.
#[must_use]
pub fn page(
    subject: &Subject,
    verdicts: &Verdicts,
    noticed: &[Noticed],
    said: &[String],
    files: &[&str],
    units: Units,
) -> Page {
    let mut result = Section::new("Verdicts").with(Block::Table(verdict_table::table(verdicts, units)));
    for sentence in said {
        result = result.with(Block::Paragraph(sentence.as_str().into()));
    }
    Page {
        decision_rule: DECISION_RULE.into(),
        id: subject.id.as_str().into(),
        hash: subject.hash.as_str().into(),
        title: subject.title.as_str().into(),
        subject: subject.items.as_str().into(),
        summary: summary(verdicts, noticed, said, files, units),
        identity: subject.identity.clone(),
        sections: vec![result],
        provenance: subject.provenance.clone(),
    }
}

fn summary(
    verdicts: &Verdicts,
    noticed: &[Noticed],
    said: &[String],
    files: &[&str],
    units: Units,
) -> Summary {
    let skipped = verdicts.verdict == Verdict::Skipped;
    let all = files.iter().copied().chain(["verdicts.json", "junit.xml", "report.html"]);
    Summary {
        tone: if skipped { Tone::Good } else { verdicts.verdict.into() },
        verdict: if skipped { "measured" } else { verdict_word(verdicts.verdict) }.into(),
        headline: headline(verdicts, said).into(),
        figures: verdicts.items.iter().filter_map(|item| key(item, units)).collect(),
        findings: noticed
            .iter()
            .map(|n| {
                let tone = if n.id.starts_with("assumed") { Tone::Quiet } else { Tone::Doubt };
                Finding::new(tone, n.what.as_str(), n.likely_cause.as_str())
            })
            .collect(),
        files: all.filter_map(FileName::new).collect(),
    }
}

/// The gravest item's note, or what was said first.
fn headline(verdicts: &Verdicts, said: &[String]) -> String {
    let judged = verdicts.items.iter().find(|i| i.verdict == verdicts.verdict && !i.note.is_empty());
    match (said.first(), judged) {
        (Some(first), _) => first.clone(),
        (None, Some(item)) => format!("{}: {}, {}.", item.quantity, verdict_word(item.verdict), item.note),
        (None, None) => "Nothing was to be judged.".into(),
    }
}

fn key(item: &Item, units: Units) -> Option<KeyFigure> {
    let value = Measured { value: item.value?, u95: item.u95?, dof: item.dof };
    let judged = item.lower.or(item.upper).is_some();
    let figure = KeyFigure::measured(&*item.quantity, value, &item.unit, units);
    Some(figure.noted(if judged { verdict_word(item.verdict) } else { "" }))
}
