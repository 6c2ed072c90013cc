//! The tables in words: lists of names, what a field wants, what a name or a date looks like.
//!
//! In: shapes and fields. Out: text for messages. Never: a check.

use super::{Field, Shape, Use};
use crate::script::role::Role;

/// What a name looks like.
pub(super) const NAME: &str = "lower case letters, digits, _ and -, beginning with a letter, at most 48";

/// The names a map may hold, in the order of the table.
pub(super) fn names(shape: &Shape) -> String {
    shape.fields.iter().map(|f| f.name).collect::<Vec<_>>().join(", ")
}

/// What a field wants: its example and what it means.
pub(super) fn wanted(field: &Field) -> String {
    format!("such as `{}: {}` ({})", field.name, field.example, field.doc)
}

/// The roles that may stand in a place, those with names of their own shown with an example.
pub(super) fn roles(usage: Use) -> Vec<&'static str> {
    let named = ["switched.NAME", "analogue.NAME", "duty_output.NAME", "sensor.NAME", "relay.NAME"];
    Role::words()
        .chain(named)
        .filter(|word| Role::parse(&word.replace("NAME", "a")).is_some_and(|role| usage.allows(&role)))
        .collect()
}

/// Whether a text is a name of our files.
pub(crate) fn is_name(text: &str) -> bool {
    let good = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_' || b == b'-';
    text.len() <= 48 && text.bytes().all(good) && text.starts_with(|c: char| c.is_ascii_lowercase())
}

/// Whether a text is a date of the Gregorian calendar.
pub(super) fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let digits = |t: &str, n: usize| t.len() == n && t.bytes().all(|b| b.is_ascii_digit());
    let [year, month, day] = parts.as_slice() else {
        return false;
    };
    if !(digits(year, 4) && digits(month, 2) && digits(day, 2)) {
        return false;
    }
    let number = |t: &str| t.parse::<u32>().unwrap_or(0);
    let (year, month, day) = (number(year), number(month), number(day));
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 => 28 + u32::from(leap),
        _ => 0,
    };
    (1..=days).contains(&day)
}
