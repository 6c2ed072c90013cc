//! A grid of characters, and how it reaches a terminal.
//!
//! In: text with a place and a style. Out: plain lines, or the control sequences of ECMA-48 that turn one frame into
//! the next. Never: text outside the grid; a meaning by style alone.

use std::fmt::Write as _;

/// How a character looks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Style {
    /// As everything.
    #[default]
    Plain,
    /// Heavier.
    Strong,
    /// Light on dark turned round: headings and what must be seen.
    Bar,
    /// The first of two quantities.
    First,
    /// The second of two quantities.
    Second,
    /// Close to a limit.
    Warning,
}

impl Style {
    /// Parameters of SGR (ECMA-48 8.3.117).
    const fn sgr(self, colour: bool) -> &'static str {
        match (self, colour) {
            (Style::Plain, _) => "0",
            (Style::Strong, _) => "0;1",
            (Style::Bar, _) => "0;7",
            (Style::First, true) => "0;1;36",
            (Style::Second, true) => "0;1;35",
            (Style::First | Style::Second, false) => "0;1",
            (Style::Warning, true) => "0;1;30;43",
            (Style::Warning, false) => "0;1;7",
        }
    }
}

/// A grid of characters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    cells: Vec<Vec<(char, Style)>>,
}

impl Frame {
    /// An empty grid.
    #[must_use]
    pub fn new(columns: usize, rows: usize) -> Self {
        Frame { cells: vec![vec![(' ', Style::Plain); columns]; rows] }
    }

    /// Columns.
    #[must_use]
    pub fn columns(&self) -> usize {
        self.cells.first().map_or(0, Vec::len)
    }

    /// Rows.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.cells.len()
    }

    /// Writes text at a place; what does not fit is left out, control characters become blanks.
    pub fn put(&mut self, row: usize, column: usize, text: &str, style: Style) {
        let Some(line) = self.cells.get_mut(row) else {
            return;
        };
        for (cell, c) in line.iter_mut().skip(column).zip(text.chars()) {
            *cell = (if c.is_control() { ' ' } else { c }, style);
        }
    }

    /// Writes text that ends at the right edge, less `margin` columns.
    pub fn put_right(&mut self, row: usize, margin: usize, text: &str, style: Style) {
        let column = self.columns().saturating_sub(margin + text.chars().count());
        self.put(row, column, text, style);
    }

    /// Gives a row one style and blanks.
    pub fn bar(&mut self, row: usize, style: Style) {
        if let Some(line) = self.cells.get_mut(row) {
            line.fill((' ', style));
        }
    }

    /// The rows as text, without blanks at their ends.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn lines(&self) -> Vec<String> {
        let line = |row: &Vec<(char, Style)>| {
            let text: String = row.iter().map(|(c, _)| c).collect();
            text.trim_end().to_owned()
        };
        self.cells.iter().map(line).collect()
    }

    /// What to send to a terminal that shows `before` (nothing for an unknown screen).
    #[must_use]
    pub fn change(&self, before: Option<&Frame>, colour: bool) -> String {
        let mut out = String::new();
        let same_size = before.filter(|b| b.rows() == self.rows() && b.columns() == self.columns());
        if same_size.is_none() {
            out += "\x1b[0m\x1b[2J";
        }
        for (row, line) in self.cells.iter().enumerate() {
            if same_size.is_some_and(|b| b.cells[row] == *line) {
                continue;
            }
            // CUP (8.3.21), then the line from its first column.
            let _ = write!(out, "\x1b[{};1H", row + 1);
            let mut style = None;
            for (c, wanted) in line {
                if style != Some(*wanted) {
                    let _ = write!(out, "\x1b[{}m", wanted.sgr(colour));
                    style = Some(*wanted);
                }
                out.push(*c);
            }
            out += "\x1b[0m";
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_stays_inside_and_says_nothing_to_the_terminal() {
        let mut frame = Frame::new(10, 2);
        frame.put(0, 6, "abcdefgh", Style::Plain);
        frame.put(1, 0, "a\x1b[2Jb", Style::Strong);
        frame.put(7, 0, "below", Style::Plain);
        assert_eq!(frame.lines(), ["      abcd", "a [2Jb"]);
    }

    #[test]
    fn only_lines_that_changed_are_sent() {
        let mut a = Frame::new(10, 3);
        let first = a.change(None, false);
        assert!(first.contains("\x1b[2J"));
        let b = a.clone();
        assert_eq!(a.change(Some(&b), true), "");
        a.put(1, 0, "x", Style::Plain);
        let change = a.change(Some(&b), true);
        assert!(change.starts_with("\x1b[2;1H") && !change.contains("\x1b[1;1H"), "{change:?}");
        assert!(Frame::new(11, 3).change(Some(&b), true).contains("\x1b[2J"), "another size is drawn anew");
    }

    #[test]
    fn without_colour_no_colour_is_sent() {
        let mut frame = Frame::new(10, 1);
        frame.put(0, 0, "ab", Style::First);
        frame.put(0, 2, "cd", Style::Warning);
        let sent = frame.change(None, false);
        assert!(!sent.contains(";3") && !sent.contains(";4"), "{sent:?}");
    }
}
