//! The page as one HTML file: no script, nothing from the network, light and dark, screen and paper.
//!
//! In: a [`Page`]. Out: HTML text; the same page gives the same bytes. The template escapes every text; only charts
//! and the style sheet, which this crate makes itself, are put in as they are.
//! Never: an external address, a script, a text that is not escaped.

use super::chart::{self, Size, palette};
use super::page::{self, Block, Cell, Fact, Page, Table};
use super::summary::{Tone, verdict_word};
use super::words::{FileName, Words};
use crate::verdict::item::Verdict;
use askama::Template;
use std::fmt::Write;

/// Rows of a data table behind a figure that are shown; all of them are in the file that is linked.
pub const DATA_ROWS_MAX: usize = 200;

/// The page's style sheet without colours and page margins.
const STYLE: &str = include_str!("templates/page.css");

/// The page as HTML.
///
/// # Panics
/// Never: the template writes into memory only.
#[must_use]
pub fn render(page: &Page) -> String {
    let template = PageTemplate {
        page,
        style: style(page),
        sections: sections(page),
        relates_only: page::RELATES_ONLY,
        caution: page::CAUTION,
    };
    match template.render() {
        Ok(html) => html,
        Err(error) => unreachable!("writing into memory cannot fail: {error}"),
    }
}

#[derive(Template)]
#[template(path = "page.html", config = "harness/report/templates/askama.toml")]
struct PageTemplate<'a> {
    page: &'a Page,
    style: String,
    sections: Vec<SectionView<'a>>,
    relates_only: &'static str,
    caution: &'static str,
}

struct SectionView<'a> {
    number: usize,
    heading: &'a Words,
    blocks: Vec<View<'a>>,
}

/// A block, ready for the template.
enum View<'a> {
    Paragraph(&'a Words),
    Table(TableView<'a>),
    Figure(FigureView<'a>),
    Facts(&'a [Fact]),
}

struct FigureView<'a> {
    number: usize,
    caption: &'a Words,
    reading: &'a Words,
    wide: String,
    narrow: String,
    data: TableView<'a>,
    csv: &'a Option<FileName>,
}

struct TableView<'a> {
    name: String,
    table: &'a Table,
    rows: &'a [Vec<Cell>],
    left_out: usize,
}

impl TableView<'_> {
    /// `stack` where a narrow screen shows each row as a list of names and values, `many` where columns stand close.
    fn class(&self) -> Option<&'static str> {
        let columns = &self.table.columns;
        let words = columns.iter().skip(1).filter(|c| !c.number).count();
        match columns.len() {
            7.. => Some("many"),
            4.. if words > 1 => Some("stack"),
            _ => None,
        }
    }
}

fn sections(page: &Page) -> Vec<SectionView<'_>> {
    let (mut figures, mut tables) = (0, 0);
    page.sections
        .iter()
        .enumerate()
        .map(|(i, section)| SectionView {
            number: i + 1,
            heading: &section.heading,
            blocks: section.blocks.iter().map(|block| view(block, &mut figures, &mut tables)).collect(),
        })
        .collect()
}

fn view<'a>(block: &'a Block, figures: &mut usize, tables: &mut usize) -> View<'a> {
    match block {
        Block::Paragraph(words) => View::Paragraph(words),
        Block::Facts(facts) => View::Facts(facts),
        Block::Table(table) => {
            *tables += 1;
            View::Table(TableView { name: format!("Table {tables}"), table, rows: &table.rows, left_out: 0 })
        }
        Block::Figure(figure) => {
            *figures += 1;
            let shown = figure.data.rows.len().min(DATA_ROWS_MAX);
            let draw = |size, letter| {
                chart::svg(
                    &figure.chart,
                    size,
                    &format!("f{figures}{letter}"),
                    &figure.caption,
                    &figure.reading,
                )
            };
            View::Figure(FigureView {
                number: *figures,
                caption: &figure.caption,
                reading: &figure.reading,
                wide: draw(Size::Wide, 'w'),
                narrow: draw(Size::Narrow, 'n'),
                data: TableView {
                    name: format!("Data of figure {figures}"),
                    table: &figure.data,
                    rows: &figure.data.rows[..shown],
                    left_out: figure.data.rows.len() - shown,
                },
                csv: &figure.csv,
            })
        }
    }
}

/// How the page shows a tone.
trait ToneLook {
    /// Its class.
    fn class(&self) -> &'static str;
    /// Its sign, drawn in the colour of the text around it.
    fn sign(&self) -> &'static str;
}

impl ToneLook for Tone {
    fn class(&self) -> &'static str {
        match self {
            Tone::Good => "good",
            Tone::Bad => "bad",
            Tone::Doubt => "doubt",
            Tone::Broken => "broken",
            Tone::Quiet => "quiet",
        }
    }

    fn sign(&self) -> &'static str {
        match self {
            Tone::Good => "M3 8.5 6.5 12 13 4.5",
            Tone::Bad => "M4 4 12 12M12 4 4 12",
            Tone::Doubt => "M5.2 5.6C5.2 2.2 10.8 2.2 10.8 5.6 10.8 8 8 7.6 8 10M8 12.4V13.2",
            Tone::Broken => "M8 2.5V9.5M8 12.4V13.2",
            Tone::Quiet => "M8 6.8V13.2M8 3V3.8",
        }
    }
}

/// How the page shows a verdict.
trait VerdictLook {
    /// Its tone.
    fn tone(&self) -> Tone;
    /// Its word.
    fn word(&self) -> &'static str;
}

impl VerdictLook for Verdict {
    fn tone(&self) -> Tone {
        (*self).into()
    }

    fn word(&self) -> &'static str {
        verdict_word(*self)
    }
}

/// Colours, the style sheet, and the footer of printed pages.
fn style(page: &Page) -> String {
    let mut style = format!(
        ":root{{{}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{}}}}}\n{STYLE}",
        palette::declarations(false),
        palette::declarations(true)
    );
    let id = css_string(page.id.as_str());
    let hash = css_string(page.hash.as_str());
    let _ = write!(
        style,
        "@page{{margin:14mm 14mm 18mm;@bottom-left{{content:\"report {id} \\B7  {hash}\";\
         font:9pt system-ui,sans-serif;color:#4d5660}}@bottom-right{{content:\"page \" counter(page) \" of \" \
         counter(pages);font:9pt system-ui,sans-serif;color:#4d5660}}}}"
    );
    style
}

/// Text for a string of a style sheet: whatever is not a plain letter or digit as an escape.
fn css_string(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        if c.is_ascii_alphanumeric() || matches!(c, ' ' | '.' | '_' | '-') {
            out.push(c);
        } else {
            let _ = write!(out, "\\{:X} ", c as u32);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::css_string;

    #[test]
    fn nothing_leaves_a_style_string() {
        assert_eq!(css_string("run-7.a b"), "run-7.a b");
        assert_eq!(css_string("\"}</style>\\"), "\\22 \\7D \\3C \\2F style\\3E \\5C ");
    }
}
