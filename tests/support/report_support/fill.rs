//! Puts one text into every place of a page that holds text.
//!
//! In: a page, a text. Out: the page with that text everywhere. Never: a field of words left as it was.

use dutycup::door::report::chart::{Axis, Chart, Layer, Spacing};
use dutycup::door::report::page::{Block, Cell, Fact, Figure, Page, Table};
use dutycup::door::report::summary::{Finding, Summary};
use dutycup::door::report::words::Words;

/// The page with `text` everywhere.
pub(crate) fn everywhere(mut page: Page, text: &str) -> Page {
    let text = &Words::from(text);
    for words in [&mut page.id, &mut page.hash, &mut page.title, &mut page.subject] {
        words.clone_from(text);
    }
    summary(&mut page.summary, text);
    facts(&mut page.identity, text);
    facts(&mut page.provenance, text);
    for section in &mut page.sections {
        section.heading.clone_from(text);
        section.blocks.iter_mut().for_each(|b| block(b, text));
    }
    page
}

fn summary(summary: &mut Summary, text: &Words) {
    summary.verdict.clone_from(text);
    summary.headline.clone_from(text);
    for figure in &mut summary.figures {
        for words in [
            &mut figure.name,
            &mut figure.value,
            &mut figure.unit,
            &mut figure.k,
            &mut figure.dof,
            &mut figure.note,
        ] {
            words.clone_from(text);
        }
        if let Some(u) = &mut figure.u95 {
            u.clone_from(text);
        }
    }
    summary.findings.iter_mut().for_each(|f| finding(f, text));
}

fn finding(finding: &mut Finding, text: &Words) {
    finding.words.clone_from(text);
    finding.todo.clone_from(text);
}

fn facts(facts: &mut [Fact], text: &Words) {
    for fact in facts {
        fact.name.clone_from(text);
        fact.value.clone_from(text);
    }
}

fn block(block: &mut Block, text: &Words) {
    match block {
        Block::Paragraph(words) => words.clone_from(text),
        Block::Table(t) => table(t, text),
        Block::Figure(f) => figure(f, text),
        Block::Facts(f) => facts(f, text),
    }
}

fn table(table: &mut Table, text: &Words) {
    table.caption.clone_from(text);
    table.note.clone_from(text);
    table.columns.iter_mut().for_each(|c| c.name.clone_from(text));
    for cell in table.rows.iter_mut().flatten() {
        if let Cell::Text(words) = cell {
            words.clone_from(text);
        }
    }
}

fn figure(figure: &mut Figure, text: &Words) {
    figure.caption.clone_from(text);
    figure.reading.clone_from(text);
    table(&mut figure.data, text);
    match &mut figure.chart {
        Chart::Plot(plot) => {
            axis(&mut plot.x, text);
            for panel in &mut plot.panels {
                axis(&mut panel.y, text);
                panel.layers.iter_mut().for_each(|l| layer(l, text));
            }
        }
        Chart::Multiples(multiples) => {
            axis(&mut multiples.x, text);
            axis(&mut multiples.y, text);
            for plot in &mut multiples.plots {
                plot.title.clone_from(text);
                plot.layers.iter_mut().for_each(|l| layer(l, text));
            }
        }
        Chart::Budget(budget) => {
            budget.title.clone_from(text);
            for bar in &mut budget.bars {
                bar.name.clone_from(text);
                bar.words.clone_from(text);
            }
        }
        Chart::Overview(map) => {
            for words in [&mut map.x_title, &mut map.y_title, &mut map.value_title] {
                words.clone_from(text);
            }
            map.columns.iter_mut().chain(&mut map.rows).for_each(|w| w.clone_from(text));
        }
    }
}

fn axis(axis: &mut Axis, text: &Words) {
    axis.title.clone_from(text);
    if let Spacing::Words(words) = &mut axis.spacing {
        words.iter_mut().for_each(|w| w.clone_from(text));
    }
}

fn layer(layer: &mut Layer, text: &Words) {
    let words = match layer {
        Layer::Points(l) => &mut l.label,
        Layer::Line(l) => &mut l.label,
        Layer::Band(l) => &mut l.label,
        Layer::Span(l) => &mut l.label,
        Layer::Reference(l) => &mut l.label,
        Layer::Callout(l) => &mut l.words,
        Layer::Bins(l) => &mut l.label,
    };
    words.clone_from(text);
}
