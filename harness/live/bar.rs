//! A bar of progress with the time left, and plain lines where nobody draws.
//!
//! In: a fraction, time. Out: text. Never: an escape sequence but the erasing of the line.

use super::view::View;
use super::words::{clock, label, span};
use crate::report::figure_text::significant;
use crate::script::role::Role;

/// Columns of the bar itself.
const BAR: usize = 24;

/// A bar `width` columns wide, filled to `part` of it.
#[must_use]
pub fn gauge(part: f64, width: usize, blocks: bool) -> String {
    let filled = (part.clamp(0.0, 1.0) * width as f64).round() as usize;
    let (full, empty) = if blocks { ('█', '░') } else { ('#', '.') };
    let mut bar = String::from("[");
    bar.extend(std::iter::repeat_n(full, filled));
    bar.extend(std::iter::repeat_n(empty, width - filled));
    bar.push(']');
    bar
}

/// Time left on the wall, s, from the time that has passed there and the fraction done; none before it can be told.
#[must_use]
pub fn left_s(passed_s: f64, part: f64) -> Option<f64> {
    (part > 0.01 && passed_s > 0.5).then(|| passed_s * (1.0 - part) / part)
}

/// The line of a bar: what, how far, how long still; at most `columns` wide.
#[must_use]
pub fn line(what: &str, part: f64, left_s: Option<f64>, columns: usize, blocks: bool) -> String {
    let left = left_s.map_or_else(String::new, |s| format!(", about {} left", span(s)));
    let text = format!("{} {:>3.0} %{left}  {what}", gauge(part, BAR, blocks), 100.0 * part);
    text.chars().take(columns.saturating_sub(1)).collect()
}

/// A line for a log: time, step, pressure, duty, cup, time left.
#[must_use]
pub fn plain(view: &View) -> String {
    let (part, left_s) = view.progress();
    let Some(s) = view.snapshot() else {
        return "waiting for the instruments".into();
    };
    let shown = |role: &Role, unit: &str| {
        let to = view.setup().units.shown(unit);
        s.value(role).map(|v| format!("{} {}", significant(v * to.factor, 4), to.unit))
    };
    let mut words = format!(
        "{}  {:.0} %, {} left  step {} of {}: {}",
        clock(s.at),
        100.0 * part,
        span(left_s),
        s.step,
        view.setup().steps.len(),
        label(view.setup(), s.step)
    );
    for (name, text) in [
        ("line", shown(&Role::LinePressure, "kPa")),
        ("duty", shown(&Role::Duty, "%")),
        ("cup", shown(&Role::CupMass, "g")),
    ] {
        words.extend(text.map(|t| format!("  {name} {t}")));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_is_as_full_as_it_says() {
        for (part, filled) in [(-1.0, 0), (0.0, 0), (0.5, 12), (1.0, 24), (7.0, 24)] {
            let bar = gauge(part, BAR, false);
            assert_eq!(bar.matches('#').count(), filled);
            assert_eq!(bar.len(), BAR + 2);
        }
        assert_eq!(left_s(10.0, 0.25), Some(30.0));
        assert_eq!(left_s(0.1, 0.5), None);
        let text = line("fitting", 0.25, Some(30.0), 60, false);
        assert_eq!(text, "[######..................]  25 %, about 30 s left  fitting");
        assert_eq!(line("fitting", 0.25, Some(30.0), 20, false).len(), 19);
    }
}
