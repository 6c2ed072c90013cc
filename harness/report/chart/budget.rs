//! Horizontal bars of an uncertainty budget.
//!
//! In: a [`Budget`]. Out: a bar a contribution with its name and its words; type A hatched, type B solid.
//! Never: a length that is not shown in words too.

use super::Size;
use super::band;
use super::layer::{BandKind, Ink};
use super::measure;
use super::model::{Bar, Budget};
use super::svg::{Anchor, Canvas, FONT, LINE, Rect};

/// Height of a bar.
const BAR: f64 = 15.0;
/// From a bar to its words.
const GAP: f64 = 7.0;

/// The bars.
pub(super) fn draw(budget: &Budget, canvas: &mut Canvas) {
    let narrow = canvas.size == Size::Narrow;
    let width = canvas.width();
    let name_max = if narrow { width - 4.0 } else { 230.0 };
    let words_max = if narrow { width * 0.55 } else { 220.0 };
    let wrapped = |words: &str, max| measure::wrap(words, FONT, max);
    let widest = |lines: Vec<Vec<String>>| lines.iter().map(|l| measure::widest(l, FONT)).fold(0.0, f64::max);
    let names = widest(budget.bars.iter().map(|b| wrapped(b.name.as_str(), name_max)).collect());
    let words = widest(budget.bars.iter().map(|b| wrapped(b.words.as_str(), words_max)).collect());
    let left = if narrow { 2.0 } else { names + 14.0 };
    let full = (width - left - words - GAP - 6.0).max(40.0);
    let longest = budget.bars.iter().map(|b| b.length).filter(|l| l.is_finite()).fold(0.0, f64::max);

    let title = wrapped(budget.title.as_str(), width - 8.0);
    canvas.height = canvas.lines("tt", 2.0, FONT, Anchor::Start, &title) - FONT + 6.0;
    for bar in &budget.bars {
        let name = wrapped(bar.name.as_str(), name_max);
        let words = wrapped(bar.words.as_str(), words_max);
        let mut top = canvas.height;
        if narrow {
            top = canvas.lines("tx", left, top + FONT, Anchor::Start, &name) - FONT + 1.0;
        }
        let lines = if narrow { words.len() } else { name.len().max(words.len()) } as f64;
        let middle = top + lines * LINE / 2.0;
        let first = |count: usize| middle - count as f64 * LINE / 2.0 + FONT - 0.5;
        if !narrow {
            canvas.lines("tx", left - 10.0, first(name.len()), Anchor::End, &name);
        }
        let part = if longest > 0.0 && bar.length.is_finite() { bar.length / longest } else { 0.0 };
        let rect = Rect {
            left,
            right: left + full * part.max(0.0),
            top: middle - BAR / 2.0,
            bottom: middle + BAR / 2.0,
        };
        draw_bar(canvas, bar, rect);
        canvas.lines("tx", rect.right + GAP, first(words.len()), Anchor::Start, &words);
        canvas.height = top + lines * LINE + if narrow { 8.0 } else { 6.0 };
    }
    let bottom = canvas.height;
    if !narrow {
        canvas.line("ax", (left, title.len() as f64 * LINE + 4.0), (left, bottom));
    }
    draw_key(canvas, bottom + 6.0);
}

fn draw_bar(canvas: &mut Canvas, bar: &Bar, rect: Rect) {
    if bar.type_a {
        let fill = band::hatch(canvas, BandKind::Confidence, Ink::Blue);
        canvas.rect("bo i1", rect, Some(&fill));
    } else {
        canvas.rect("hb i1", rect, None);
    }
}

fn draw_key(canvas: &mut Canvas, top: f64) {
    let mut x = 2.0;
    let mut y = top;
    for (type_a, name) in [
        (true, "type A: from repeats and residuals"),
        (false, "type B: from calibration, data sheets and limits"),
    ] {
        let lines = measure::wrap(name, FONT, canvas.width() - 44.0);
        let across = 37.0 + measure::widest(&lines, FONT);
        if x > 2.0 && x + across > canvas.width() {
            (x, y) = (2.0, y + LINE + 4.0);
        }
        let sample = Bar { name: "".into(), length: 1.0, words: "".into(), type_a };
        let rect = Rect { left: x, right: x + 30.0, top: y, bottom: y + 14.0 };
        draw_bar(canvas, &sample, rect);
        canvas.lines("tx", x + 37.0, y + 12.0, Anchor::Start, &lines);
        canvas.height = canvas.height.max(y + lines.len() as f64 * LINE + 4.0);
        x += across + 20.0;
    }
}
