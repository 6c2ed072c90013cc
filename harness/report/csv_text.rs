//! CSV of RFC 4180 that is safe to open in a spreadsheet.
//!
//! In: column names, cells. Out: UTF-8 text with CR LF. Numbers are written so that they read back bit for bit; a cell
//! of text that a spreadsheet would take for a formula gets a leading `'`.
//! Never: NaN, infinity or a zero for what is missing; a changed number; a terminal escape.

use crate::problem::safe_text;
use std::borrow::Cow;

/// A cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Field<'a> {
    /// Empty.
    Missing,
    /// A number; one that is not finite is missing.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// Text.
    Text(&'a str),
}

impl From<Option<f64>> for Field<'_> {
    fn from(value: Option<f64>) -> Self {
        value.map_or(Field::Missing, Field::Number)
    }
}

impl Field<'_> {
    /// The cell before quoting.
    fn shown(&self) -> Cow<'_, str> {
        match self {
            Field::Missing => "".into(),
            Field::Number(v) if v.is_finite() => v.to_string().into(),
            Field::Number(_) => "".into(),
            Field::Whole(v) => v.to_string().into(),
            Field::Text(text) => guarded(text).into(),
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

/// One record with its CR LF: fields quoted where they must be, quotes doubled.
#[must_use]
pub fn record<'a>(fields: impl IntoIterator<Item = &'a str>) -> String {
    let quoted = |field: &str| {
        if field.contains([',', '"', '\r', '\n']) {
            format!("\"{}\"", field.replace('"', "\"\""))
        } else {
            field.to_owned()
        }
    };
    fields.into_iter().map(quoted).collect::<Vec<_>>().join(",") + "\r\n"
}

/// A table being written.
#[derive(Clone, Debug)]
pub struct Sheet {
    columns: usize,
    text: String,
}

impl Sheet {
    /// A table with its header.
    #[must_use]
    pub fn new(columns: &[&str]) -> Self {
        let names: Vec<String> = columns.iter().map(|c| guarded(c)).collect();
        Sheet { columns: columns.len(), text: record(names.iter().map(String::as_str)) }
    }

    /// Adds a row.
    ///
    /// # Panics
    /// Where it has not a field a column.
    pub fn row(&mut self, fields: &[Field]) {
        assert_eq!(fields.len(), self.columns, "a row has a field a column");
        let shown: Vec<Cow<str>> = fields.iter().map(Field::shown).collect();
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
            sheet.row(&[Field::Number(v)]);
            let text = sheet.finish();
            let back: f64 = text.lines().nth(1).unwrap().parse().unwrap();
            prop_assert_eq!(back.to_bits(), v.to_bits());
        }
    }

    #[test]
    fn what_is_missing_is_empty() {
        let mut sheet = Sheet::new(&["a", "b", "c", "d"]);
        sheet.row(&[Field::Missing, Field::Number(f64::NAN), Field::Number(f64::INFINITY), Field::Whole(-3)]);
        assert_eq!(sheet.finish(), "a,b,c,d\r\n,,,-3\r\n");
    }
}
