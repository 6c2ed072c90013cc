//! Text that a reader sees, made harmless when it is made.
//!
//! In: any text, also from instruments, operators and file names. Out: [`Words`], in which nothing hidden is left:
//! line ends are spaces, and control, bidirectional and zero-width characters stand as visible escapes.
//! Never: markup. Every format escapes its own special characters on top of this.

use crate::problem::safe_text;
use std::fmt;

/// Text for a reader.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Words(String);

impl Words {
    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The text with each number kept on one line with its unit and its uncertainty, by no-break spaces.
    #[must_use]
    pub fn glued(&self) -> String {
        glue(&self.0)
    }

    /// Whether there is nothing to read.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.trim().is_empty()
    }
}

impl<T: AsRef<str>> From<T> for Words {
    fn from(text: T) -> Self {
        let one_line = text.as_ref().replace("\r\n", " ").replace(['\n', '\r'], " ");
        Words(safe_text(&one_line).replace(is_noncharacter, "\u{fffd}"))
    }
}

/// Code points that no text may hold and that XML forbids.
fn is_noncharacter(c: char) -> bool {
    matches!(c, '\u{fdd0}'..='\u{fdef}') || (c as u32) & 0xfffe == 0xfffe
}

impl fmt::Display for Words {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What stays with the number before it.
const UNITS: &[&str] =
    &["%", "±", "mL/min", "gal/h", "kPa", "psi", "V", "A", "s", "ms", "g", "mL", "rpm", "Hz", "°C", "°F"];

/// Text with no-break spaces between numbers and what belongs to them.
pub(super) fn glue(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut words = text.split(' ').peekable();
    while let Some(word) = words.next() {
        out.push_str(word);
        if let Some(next) = words.peek() {
            let number = word.ends_with(|c: char| c.is_ascii_digit());
            let unit = next.trim_end_matches(['.', ',', ';', ':', ')']);
            let together = matches!(word, "±" | "=") || *next == "=" || (number && UNITS.contains(&unit));
            out.push(if together { '\u{a0}' } else { ' ' });
        }
    }
    out
}

/// The name of a file of the same run folder, safe to link to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileName(String);

impl FileName {
    /// A name of letters, digits, `.`, `_` and `-` that does not begin with a dot; none otherwise.
    #[must_use]
    pub fn new(name: &str) -> Option<Self> {
        let good = !name.starts_with('.')
            && (1..=120).contains(&name.len())
            && name.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'_' | b'-'));
        good.then(|| FileName(name.to_owned()))
    }

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for FileName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::{FileName, Words};

    #[test]
    fn nothing_hidden_is_left() {
        for (text, words) in [
            ("plain ± µL", "plain ± µL"),
            ("two\r\nlines\nhere", "two lines here"),
            ("\u{1b}[2Jgone", "\\u{1b}[2Jgone"),
            ("nul\0", "nul\\u{0}"),
            ("\u{202e}txt", "\\u{202e}txt"),
            ("\u{ffff}", "\u{fffd}"),
        ] {
            assert_eq!(Words::from(text).as_str(), words);
        }
        assert!(Words::from(" \n").is_empty());
    }

    #[test]
    fn only_plain_names_are_linked() {
        assert!(FileName::new("duty_flow.csv").is_some());
        for bad in ["", "../x", ".hidden", "javascript:alert(1)", "a b", "a\"b", "/etc/passwd"] {
            assert!(FileName::new(bad).is_none(), "{bad}");
        }
    }

    #[test]
    fn numbers_stay_with_their_units() {
        let words = Words::from("at 30 % duty 641 ± 8 mL/min, k = 2.1 or more");
        assert_eq!(
            words.glued(),
            "at 30\u{a0}% duty 641\u{a0}±\u{a0}8\u{a0}mL/min, k\u{a0}=\u{a0}2.1 or more"
        );
    }
}
