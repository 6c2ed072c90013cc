//! The result on a terminal: first what it came to, then the numbers, what was found and what to do, the files.
//!
//! In: a [`Summary`]. Out: plain text within the width, coloured where the look says so; only this module writes
//! escapes. Never: a meaning by colour alone; a line wider than the terminal, except a word that is wider alone.

use super::summary::{Finding, KeyFigure, Summary, Tone};
use super::words::Words;

/// How the terminal is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Columns, 40 to 100.
    pub width: usize,
    /// Whether to use colour.
    pub colour: bool,
}

/// Columns where nothing is known about the terminal.
const WIDTH: usize = 80;

impl Look {
    /// The look for an output: colour only on a terminal, and not where `NO_COLOR` is set to anything (no-color.org) or
    /// `TERM` is `dumb`.
    #[must_use]
    pub fn of(is_terminal: bool, no_color: Option<&str>, term: Option<&str>, columns: Option<usize>) -> Self {
        let wanted = no_color.is_none_or(str::is_empty) && term != Some("dumb");
        Look { width: columns.unwrap_or(WIDTH).clamp(40, 100), colour: is_terminal && wanted }
    }

    /// Text in the colour of a tone.
    fn tinted(self, tone: Tone, text: &str) -> String {
        let code = match tone {
            Tone::Good => "1;34",
            Tone::Bad | Tone::Broken => "1;31",
            Tone::Doubt => "1;33",
            Tone::Quiet => "1",
        };
        if self.colour { format!("\x1b[{code}m{text}\x1b[0m") } else { text.to_owned() }
    }
}

/// The summary as text that ends with a line end. `folder` is where the files are; empty where none were written.
#[must_use]
pub fn summary(title: &Words, summary: &Summary, folder: &Words, look: Look) -> String {
    let mut out = String::new();
    let verdict = summary.verdict.as_str().to_uppercase();
    out += &format!("{}  {title}\n", look.tinted(summary.tone, &verdict));
    push_folded(&mut out, summary.headline.as_str(), ("", ""), look.width);
    if !summary.figures.is_empty() {
        out.push('\n');
        push_figures(&mut out, &summary.figures, look.width);
    }
    if !summary.findings.is_empty() {
        out += "\nFound\n";
        for finding in &summary.findings {
            push_finding(&mut out, finding, look);
        }
    }
    if !summary.files.is_empty() {
        out.push('\n');
        let files: Vec<&str> = summary.files.iter().map(super::words::FileName::as_str).collect();
        let words = format!("Written to {folder}: {}", files.join(", "));
        push_folded(&mut out, &words, ("", "  "), look.width);
    }
    out
}

/// Name, value, and the note where it fits beside them.
fn push_figures(out: &mut String, figures: &[KeyFigure], width: usize) {
    let plain = |text: &str| text.replace('−', "-");
    let names = figures.iter().map(|f| columns(f.name.as_str())).max().unwrap_or(0).min(width / 2);
    for figure in figures {
        let name = figure.name.as_str();
        let pad = " ".repeat(names.saturating_sub(columns(name)));
        let line = format!("  {name}{pad}  {}", plain(&figure.line()));
        let note = if figure.note.is_empty() { String::new() } else { format!("  {}", figure.note) };
        let beside = columns(&line) + columns(&note) <= width;
        push_folded(out, &if beside { line + &note } else { line }, ("", "    "), width);
        if !beside {
            let deep = " ".repeat(names + 4);
            push_folded(out, note.trim_start(), (&deep, &deep), width);
        }
    }
}

fn push_finding(out: &mut String, finding: &Finding, look: Look) {
    let sign = match finding.tone {
        Tone::Good => "good   ",
        Tone::Bad => "bad    ",
        Tone::Doubt => "unclear",
        Tone::Broken => "fault  ",
        Tone::Quiet => "note   ",
    };
    let start = out.len();
    push_folded(out, finding.words.as_str(), (&format!("  {sign}  "), "           "), look.width);
    if look.colour {
        let tinted = look.tinted(finding.tone, sign);
        out.replace_range(start + 2..start + 2 + sign.len(), &tinted);
    }
    if !finding.todo.is_empty() {
        push_folded(out, finding.todo.as_str(), ("           do: ", "               "), look.width);
    }
}

/// Adds text folded between words; `(first, later)` are what its lines begin with.
fn push_folded(out: &mut String, text: &str, (first, later): (&str, &str), width: usize) {
    let mut line = first.to_owned();
    let mut empty = true;
    for word in words_of(text) {
        if !empty && columns(&line) + columns(word.trim_end()) > width {
            out.push_str(line.trim_end());
            out.push('\n');
            line = later.to_owned();
        }
        line += word;
        empty = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
}

/// Words with the blanks that follow them; leading blanks belong to the first.
fn words_of(text: &str) -> impl Iterator<Item = &str> {
    let body = text.len() - text.trim_start_matches(' ').len();
    let mut from = 0;
    let mut ends: Vec<usize> = text
        .char_indices()
        .zip(text.chars().skip(1))
        .filter(|((i, a), b)| *i >= body && *a == ' ' && *b != ' ')
        .map(|((i, _), _)| i + 1)
        .collect();
    ends.push(text.len());
    ends.into_iter().map(move |end| {
        let word = &text[from..end];
        from = end;
        word
    })
}

/// Columns that text takes.
fn columns(text: &str) -> usize {
    text.chars().map(wide).sum()
}

/// Columns that a character takes: two for East Asian wide ones (Unicode UAX 11, main blocks).
fn wide(c: char) -> usize {
    match c as u32 {
        0x0300..=0x036f => 0,
        0x1100..=0x115f
        | 0x2e80..=0xa4cf
        | 0xac00..=0xd7a3
        | 0xf900..=0xfaff
        | 0xfe30..=0xfe6f
        | 0xff00..=0xff60
        | 0xffe0..=0xffe6
        | 0x1f300..=0x1f9ff
        | 0x20000..=0x3fffd => 2,
        _ => 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colour_only_where_it_is_wanted() {
        for (tty, no_color, term, colour) in [
            (true, None, Some("xterm"), true),
            (true, Some(""), None, true),
            (true, Some("1"), None, false),
            (true, None, Some("dumb"), false),
            (false, None, Some("xterm"), false),
        ] {
            assert_eq!(Look::of(tty, no_color, term, None).colour, colour);
        }
        assert_eq!(Look::of(false, None, None, None).width, 80);
        assert_eq!(Look::of(true, None, None, Some(7)).width, 40);
    }

    #[test]
    fn folds_between_words() {
        let mut out = String::new();
        push_folded(&mut out, "one two  three extraordinarily four", ("  - ", "    "), 16);
        assert_eq!(out, "  - one two\n    three\n    extraordinarily\n    four\n");
    }
}
