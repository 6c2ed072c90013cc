//! How wide text may become, whatever font the reader has.
//!
//! In: text and a font size. Out: a width in the same unit that no usual sans-serif font exceeds. The table holds the
//! advance widths of DejaVu Sans, among the widest of the fonts in use, in thousandths of the font size.
//! Never: an estimate that could be too small for text of Latin, Greek or Cyrillic letters.

use crate::report::words::glue;

/// Advance widths of U+0020 to U+007E in thousandths of the font size.
const ASCII: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636,
    636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632, 575, 775, 752, 295,
    295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838,
    500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521,
    392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];

/// The width of one character in thousandths of the font size.
fn thousandths(c: char) -> u16 {
    match c {
        ' '..='~' => ASCII[c as usize - 0x20],
        '\u{a0}' | '·' => 318,
        '°' | '–' => 500,
        '²' | '³' => 401,
        '\u{a1}'..='\u{24f}' => 850,
        '\u{370}'..='\u{4ff}' => 950,
        '−' | '≤' | '≥' => 838,
        '√' => 637,
        _ => 1100,
    }
}

/// The greatest width of `text` in a font of `size`.
#[must_use]
pub fn width(text: &str, size: f64) -> f64 {
    text.chars().map(|c| f64::from(thousandths(c))).sum::<f64>() * size / 1000.0
}

/// `text` in lines no wider than `width_max`, broken between words (a number stays with its unit), or within a word that is too wide alone.
/// At least one line.
#[must_use]
pub fn wrap(text: &str, size: f64, width_max: f64) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in glue(text).split(' ').filter(|w| !w.is_empty()) {
        for piece in pieces(word, size, width_max) {
            let line = lines.last().cloned().unwrap_or_default();
            let longer = if line.is_empty() { piece.clone() } else { format!("{line} {piece}") };
            if line.is_empty() || width(&longer, size) <= width_max {
                lines.pop();
                lines.push(longer);
            } else {
                lines.push(piece);
            }
        }
    }
    lines
}

/// A word cut so that no piece is wider than `width_max` (a single character may be).
fn pieces(word: &str, size: f64, width_max: f64) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut across = 0.0;
    for c in word.chars() {
        let w = f64::from(thousandths(c)) * size / 1000.0;
        if across + w > width_max && across > 0.0 {
            out.push(String::new());
            across = 0.0;
        }
        across += w;
        if let Some(last) = out.last_mut() {
            last.push(c);
        }
    }
    out
}

/// `text` no wider than `width_max`, its end replaced by `…` where it does not fit.
#[must_use]
pub fn shortened(text: &str, size: f64, width_max: f64) -> String {
    if width(text, size) <= width_max {
        return text.to_owned();
    }
    let room = width_max - width("…", size);
    let mut out = String::new();
    let mut across = 0.0;
    for c in text.chars() {
        across += f64::from(thousandths(c)) * size / 1000.0;
        if across > room {
            break;
        }
        out.push(c);
    }
    out + "…"
}

/// As [`wrap`], in at most `lines_max` lines.
#[must_use]
pub fn wrap_within(text: &str, size: f64, width_max: f64, lines_max: usize) -> Vec<String> {
    let mut lines = wrap(text, size, width_max);
    if lines.len() > lines_max.max(1) {
        lines.truncate(lines_max.max(1));
        if let Some(last) = lines.last_mut() {
            *last = shortened(&format!("{last}…"), size, width_max);
        }
    }
    lines
}

/// The width of the widest line.
#[must_use]
pub fn widest(lines: &[String], size: f64) -> f64 {
    lines.iter().map(|l| width(l, size)).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_of_known_text() {
        // DejaVu Sans 2.37 advance widths, units per em 2048: "0" 1303, "m" 1995, "i" 569.
        for (text, units) in [("0", 1303.0), ("m", 1995.0), ("i", 569.0), ("0mi", 3867.0)] {
            assert!((width(text, 2048.0) - units).abs() < 3.0, "{text}");
        }
    }

    #[test]
    fn lines_are_never_wider_than_asked() {
        let text = "a line of several words and onewordthatisfartoolongforthelineitshouldstandin";
        let lines = wrap(text, 13.0, 90.0);
        assert!(lines.len() > 4);
        assert!(widest(&lines, 13.0) <= 90.0);
        let (joined, plain) = (lines.concat().replace(' ', ""), text.replace(' ', ""));
        assert_eq!(joined, plain);
        assert_eq!(wrap("", 13.0, 90.0), [""]);
        let few = wrap_within(text, 13.0, 90.0, 2);
        assert_eq!(few.len(), 2);
        assert!(few[1].ends_with('…') && widest(&few, 13.0) <= 90.0);
        assert!(width(&shortened(text, 13.0, 50.0), 13.0) <= 50.0);
    }
}
