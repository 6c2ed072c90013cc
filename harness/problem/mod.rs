//! What is wrong, and where: problems in what was given to us, and faults of the bench.
//!
//! In: a place in a file, what was found, what was expected, what to do. Out: text a person can act on.
//! Never: an error that is only a string, or one that loses its place.

pub mod fault;

use std::fmt;

/// A place in a text file, kept with the text of its line so that it can be shown later.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The file as the user named it.
    pub file: String,
    /// Line, from 1.
    pub line: u32,
    /// Column in characters, from 1.
    pub column: u32,
    /// Characters to mark, at least 1.
    pub width: u32,
    /// The line itself, without its end.
    pub text: String,
}

/// One thing that is wrong with an input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where; none for a problem of the command line.
    pub place: Option<Place>,
    /// What is wrong, with what was found: `"12 psii" is not a pressure`.
    pub what: String,
    /// What was expected, with an example: `a gauge pressure such as "8.4 psi"`.
    pub expected: Option<String>,
    /// What to do about it: `did you mean "psi"?`.
    pub help: Option<String>,
}

impl Problem {
    /// A problem without a place.
    pub fn new(what: impl Into<String>) -> Self {
        Problem { place: None, what: what.into(), expected: None, help: None }
    }

    /// The same problem at a place.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }

    /// The same problem with what was expected.
    #[must_use]
    pub fn expected(mut self, expected: impl Into<String>) -> Self {
        self.expected = Some(expected.into());
        self
    }

    /// The same problem with what to do.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(p) = &self.place {
            writeln!(f, "{}:{}:{}: {}", safe_text(&p.file), p.line, p.column, safe_text(&self.what))?;
            let number = p.line.to_string();
            writeln!(f, "  {number} | {}", safe_text(&p.text))?;
            let pad = " ".repeat(number.len());
            let lead = " ".repeat(p.column.saturating_sub(1) as usize);
            write!(f, "  {pad} | {lead}{}", "^".repeat(p.width.max(1) as usize))?;
        } else {
            write!(f, "{}", safe_text(&self.what))?;
        }
        if let Some(expected) = &self.expected {
            write!(f, "\n    expected {}", safe_text(expected))?;
        }
        if let Some(help) = &self.help {
            write!(f, "\n    {}", safe_text(help))?;
        }
        Ok(())
    }
}

/// Every problem found in one pass over an input; never empty when returned as an error.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Problems(pub Vec<Problem>);

impl Problems {
    /// Adds one.
    pub fn push(&mut self, problem: Problem) {
        self.0.push(problem);
    }

    /// `Ok` when nothing was found wrong.
    ///
    /// # Errors
    /// The problems, if there are any.
    pub fn into_result(self) -> Result<(), Problems> {
        if self.0.is_empty() { Ok(()) } else { Err(self) }
    }
}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Self {
        Problems(vec![problem])
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.0.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            writeln!(f, "{problem}")?;
        }
        let n = self.0.len();
        write!(f, "{n} problem{}", if n == 1 { "" } else { "s" })
    }
}

impl std::error::Error for Problems {}

/// Whether a character does something else than show itself: control characters (C0 with the tab, DEL, C1), line and
/// paragraph separators, bidirectional controls (UAX #9), and everything that shows nothing (the property
/// Default_Ignorable_Code_Point of the Unicode Character Database, with the interlinear marks U+FFF9 to U+FFFB).
#[must_use]
pub fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}'..='\u{1160}' | '\u{17b4}'..='\u{17b5}'
            | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{ffa0}'
            | '\u{fff0}'..='\u{fffb}' | '\u{1bca0}'..='\u{1bca3}' | '\u{1d173}'..='\u{1d17a}'
            | '\u{e0000}'..='\u{e0fff}')
}

/// Text from outside, made safe to show on a terminal: each [hidden](is_hidden) character is replaced by a visible
/// escape such as `\u{1b}`.
#[must_use]
pub fn safe_text(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if is_hidden(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    out
}

/// As [`safe_text`], for text of several lines: line feeds stay.
#[must_use]
pub fn safe_lines(text: &str) -> String {
    let lines: Vec<String> = text.split('\n').map(safe_text).collect();
    lines.join("\n")
}

/// The name in `known` nearest to `word` by edit distance, where it is near enough to be what was meant.
#[must_use]
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let limit = (word.chars().count() / 3).max(1);
    known
        .into_iter()
        .map(|k| (edit_distance(word, k), k))
        .filter(|(distance, _)| *distance <= limit)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, k)| k)
}

/// Edits (insert, delete, replace, swap of neighbours) that turn one word into the other.
fn edit_distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            rows[i][j] = if i == 0 || j == 0 {
                i + j
            } else {
                let replace = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
                let swap = if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                    rows[i - 2][j - 2] + 1
                } else {
                    usize::MAX
                };
                replace.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1).min(swap)
            };
        }
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_misses_are_found() {
        let known = ["line_pressure", "cup_mass", "pump_duty"];
        assert_eq!(nearest("line_presure", known), Some("line_pressure"));
        assert_eq!(nearest("pmup_duty", known), Some("pump_duty"));
        assert_eq!(nearest("boost", known), None);
    }

    #[test]
    fn nothing_from_outside_moves_the_cursor() {
        assert_eq!(safe_text("a\u{1b}[2J\u{9b}1A\u{202e}b\tc"), "a\\u{1b}[2J\\u{9b}1A\\u{202e}b\\u{9}c");
        for c in "\u{ad}\u{61c}\u{200d}\u{2028}\u{2069}\u{feff}\u{fe0f}\u{e0041}\u{85}\u{7f}\0".chars() {
            assert!(safe_text(&c.to_string()).starts_with("\\u{"), "{c:?}");
        }
        let plain = "psi \u{b5}V 20 \u{b0}C \u{df} \u{5d0} \u{4e2d} \u{1f4a7} \u{301}";
        assert_eq!(safe_text(plain), plain);
    }
}
