//! CSV of RFC 4180 that is safe to open in a spreadsheet; lines end in LF, as those of the record do.
//!
//! A cell of text that a spreadsheet would take for a formula gets a leading `'`; numbers stay numbers. What is missing or
//! not finite is empty, never 0.

use crate::problem::safe_text;
use std::borrow::Cow;

/// A cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell<'a> {
    /// Empty.
    Missing,
    /// A number that reads back bit for bit.
    Exact(f64),
    /// A number with this many decimals; no sign before a zero.
    Fixed(f64, usize),
    /// A count.
    Whole(u64),
    /// Text.
    Text(&'a str),
}

impl Cell<'_> {
    /// A number with this many decimals, or nothing.
    #[must_use]
    pub fn fixed(value: Option<f64>, decimals: usize) -> Self {
        value.map_or(Cell::Missing, |v| Cell::Fixed(v, decimals))
    }

    /// The cell before quoting.
    fn shown(&self) -> Cow<'_, str> {
        match *self {
            Cell::Exact(v) if v.is_finite() => v.to_string().into(),
            Cell::Fixed(v, decimals) if v.is_finite() => {
                let text = format!("{v:.decimals$}");
                let zero = !text.bytes().any(|b| (b'1'..=b'9').contains(&b));
                if zero { text.replace('-', "").into() } else { text.into() }
            }
            Cell::Missing | Cell::Exact(_) | Cell::Fixed(..) => "".into(),
            Cell::Whole(v) => v.to_string().into(),
            Cell::Text(text) => guarded(text).into(),
        }
    }
}

/// Text that no spreadsheet takes for a formula and no terminal for a command. Line ends and tabs within stay.
#[must_use]
pub fn guarded(text: &str) -> String {
    let plain: String = text.split_inclusive(['\n', '\r', '\t']).fold(String::new(), |out, part| {
        let body = part.trim_end_matches(['\n', '\r', '\t']);
        out + &safe_text(body) + &part[body.len()..]
    });
    let formula = |c: char| matches!(c, '=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠');
    let risky = text.starts_with(['\t', '\r', '\n', '\0']) || text.trim_start().starts_with(formula);
    if risky { format!("'{plain}") } else { plain }
}

/// One record with its line end: fields quoted where they must be, quotes doubled.
#[must_use]
pub fn record<'a>(fields: impl IntoIterator<Item = &'a str>) -> String {
    let quoted = |field: &str| {
        if field.contains([',', '"', '\r', '\n']) {
            format!("\"{}\"", field.replace('"', "\"\""))
        } else {
            field.to_owned()
        }
    };
    fields.into_iter().map(quoted).collect::<Vec<_>>().join(",") + "\n"
}

/// A table being written.
#[derive(Clone, Debug)]
pub struct Sheet {
    columns: usize,
    text: String,
}

impl Sheet {
    /// A table with the names of its columns.
    #[must_use]
    pub fn new(columns: &[&str]) -> Self {
        Sheet { columns: columns.len(), text: record(columns.iter().copied()) }
    }

    /// Adds a row.
    ///
    /// # Panics
    /// Where it has not a cell a column.
    pub fn row(&mut self, cells: &[Cell]) {
        assert_eq!(cells.len(), self.columns, "a row has a cell a column");
        let shown: Vec<Cow<str>> = cells.iter().map(Cell::shown).collect();
        self.text += &record(shown.iter().map(AsRef::as_ref));
    }

    /// The table as text.
    #[must_use]
    pub fn finish(self) -> String {
        self.text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn numbers_come_back_bit_for_bit(v in proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL) {
            let mut sheet = Sheet::new(&["v"]);
            sheet.row(&[Cell::Exact(v)]);
            let text = sheet.finish();
            let back: f64 = text.lines().nth(1).unwrap().parse().unwrap();
            prop_assert_eq!(back.to_bits(), v.to_bits());
        }
    }

    #[test]
    fn what_is_missing_is_empty_and_nothing_is_minus_zero() {
        let mut sheet = Sheet::new(&["a", "b", "c", "d", "e"]);
        let cells = [Cell::Missing, Cell::Exact(f64::NAN), Cell::fixed(Some(f64::INFINITY), 2)];
        sheet.row(&[&cells[..], &[Cell::Fixed(-0.004, 2), Cell::Whole(3)]].concat());
        assert_eq!(sheet.finish(), "a,b,c,d,e\n,,,0.00,3\n");
    }
}
