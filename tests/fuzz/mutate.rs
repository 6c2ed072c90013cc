//! Real inputs, altered.
//!
//! In: an input and seeded chance. Out: the input with some bytes flipped, lost, doubled, swapped, cut off, or replaced
//! by what parsers like least.

use dutycup::door::chance::*;

/// What parsers like least.
const WORDS: &[&str] = &[
    ".nan",
    "-.inf",
    "1e999",
    "-1e999",
    "9007199254740993",
    "1e-999",
    "0x7f",
    "-0",
    "1,5",
    "1.234,5",
    "\u{1b}[2J",
    "\u{1b}]0;x\u{7}",
    "\u{9b}1A",
    "\u{202e}",
    "\u{200b}",
    "\u{61c}",
    "\u{feff}",
    "\0",
    "\r\n",
    "\n",
    "\t",
    "[",
    "{",
    "]",
    "}",
    "[[[[[[[[",
    "{a: {a: {a: ",
    "&a",
    "*a",
    "<<: ",
    "!!binary",
    "!x",
    "- ",
    "? ",
    ": ",
    "|\n",
    ">-\n",
    "---\n",
    "...\n",
    "%YAML 9.9\n",
    "#",
    "\"",
    "'",
    "\\",
    "\"\"",
    ",",
    ",,,,",
    ";",
    "=1+1",
    "@SUM(1)",
    "  ",
    "\u{e9}",
    "\u{1f600}",
    "~",
    "null",
    "true",
    "999999999999999999999",
    "-1",
    "0",
    "9.91E37",
    "#H",
    "#9999999999",
    "{value}",
    "{",
    "(@1:99999)",
];

/// `input` altered at one to eight places; now and then with a piece of `other` in it.
pub(crate) fn altered(chance: &mut Stream, input: &[u8], other: &[u8]) -> Vec<u8> {
    let mut out = input.to_vec();
    for _ in 0..chance.random_range(1..=8) {
        let at = chance.random_range(0..=out.len());
        let end = (at + chance.random_range(0..=24_usize)).min(out.len());
        match chance.random_range(0..10) {
            0 if at < out.len() => out[at] ^= 1 << chance.random_range(0..8),
            1 if at < out.len() => out[at] = chance.random_range(0..=255),
            2 => drop(out.drain(at..end)),
            3 => {
                let piece = out[at..end].to_vec();
                out.splice(at..at, piece);
            }
            4 if chance.random_range(0..8) == 0 => out.truncate(at),
            5 => {
                let from = chance.random_range(0..=other.len());
                let to = (from + chance.random_range(0..=200_usize)).min(other.len());
                out.splice(at..end, other[from..to].iter().copied());
            }
            6 => swap_lines(chance, &mut out),
            _ => {
                let word = WORDS[chance.random_range(0..WORDS.len())];
                let end = if chance.random_range(0..2) == 0 { at } else { end };
                let times = if chance.random_range(0..50) == 0 { 300 } else { 1 };
                out.splice(at..end, word.repeat(times).into_bytes());
            }
        }
    }
    out
}

fn swap_lines(chance: &mut Stream, out: &mut Vec<u8>) {
    let mut lines: Vec<&[u8]> = out.split(|b| *b == b'\n').collect();
    let (a, b) = (chance.random_range(0..lines.len()), chance.random_range(0..lines.len()));
    lines.swap(a, b);
    *out = lines.join(&b'\n');
}
