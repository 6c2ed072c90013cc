//! `verdicts.json`: verdicts for programs.
//!
//! In: [`Verdicts`]. Out: JSON text; a number that is not finite is `null`. Every hidden character is written as an
//! escape, so that the file is safe to show on a terminal and reads back unchanged.
//! Never: a raw control, bidirectional or zero-width character.

use crate::problem::is_hidden;
use crate::verdict::item::Verdicts;
use std::fmt::Write;

/// The verdicts as indented JSON with a line end.
///
/// # Errors
/// Where the writer fails, which memory alone does not make it do.
pub fn text(verdicts: &Verdicts) -> Result<String, serde_json::Error> {
    Ok(escaped(&serde_json::to_string_pretty(verdicts)?) + "\n")
}

/// JSON text with an escape for every hidden character, which can only stand in its strings.
#[must_use]
pub fn escaped(plain: &str) -> String {
    let mut out = String::with_capacity(plain.len() + 1);
    for c in plain.chars() {
        // The writer itself makes only spaces and line feeds; everything else that hides comes from a string.
        if c != '\n' && is_hidden(c) {
            // RFC 8259, section 7: outside the basic plane a character is two escapes.
            for unit in c.encode_utf16(&mut [0; 2]) {
                let _ = write!(out, "\\u{unit:04x}");
            }
        } else {
            out.push(c);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::text;
    use crate::verdict::item::{Item, Verdict, Verdicts};

    fn verdicts(note: &str, value: f64) -> Verdicts {
        Verdicts {
            verdict: Verdict::Undecided,
            items: vec![Item {
                id: "switch.trip".into(),
                quantity: "trip".into(),
                value: Some(value),
                unit: "kPa".into(),
                u95: None,
                dof: None,
                lower: Some(1.0),
                upper: None,
                verdict: Verdict::Undecided,
                note: note.into(),
            }],
        }
    }

    #[test]
    fn reads_back_unchanged_and_hides_nothing() {
        let hostile = "a\u{1b}[2J\u{7f}\u{85}\u{202e}\u{200b}\u{feff}\u{61c}\u{e0041}\"\\\n± 漢 \u{1f600}";
        let before = verdicts(hostile, 0.1 + 0.2);
        let json = text(&before).unwrap();
        assert!(json.chars().all(|c| c == '\n' || !c.is_control()));
        assert!(!json.contains(['\u{202e}', '\u{200b}', '\u{feff}', '\u{61c}', '\u{e0041}']));
        let after: Verdicts = serde_json::from_str(&json).unwrap();
        assert_eq!(after, before);
    }

    #[test]
    fn what_is_no_number_is_null() {
        let json = text(&verdicts("", f64::NAN)).unwrap();
        assert!(json.contains("\"value\": null"));
        assert!(json.contains("\"verdict\": \"undecided\""));
    }
}
