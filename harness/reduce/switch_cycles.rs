//! `switch_cycles.csv`: a line a ramp.
//!
//! In: [`RampResult`]s. Out: the file's text, metric, empty = missing. Never: a ramp left out because it was not used.

use super::switch_ramps::{RampResult, Way};
use std::fmt::Write as _;

/// The header line.
pub const HEADER: &str = "ramp,direction,rate_kpa_s,trip_kpa,reset_kpa,step_kpa,bounces,used,note";

/// The file.
#[must_use]
pub fn to_csv(ramps: &[RampResult]) -> String {
    let mut out = format!("{HEADER}\n");
    for ramp in ramps {
        let at = |way: Way| {
            let own = ramp.crossing.filter(|_| ramp.way == Some(way));
            own.map_or_else(String::new, |c| format!("{:.3}", c.pressure_kpa))
        };
        let of = |show: &dyn Fn(&super::switch_ramps::Crossing) -> String| {
            ramp.crossing.as_ref().map_or_else(String::new, show)
        };
        let note = [ramp.void.as_deref().unwrap_or(""), &ramp.note];
        let note: Vec<&str> = note.into_iter().filter(|n| !n.is_empty()).collect();
        // Writing to a String cannot fail.
        let _ = writeln!(
            out,
            "{},{},{},{},{},{},{},{},{}",
            text_cell(&ramp.label),
            ramp.way.map_or("", Way::word),
            of(&|c| format!("{:.4}", c.rate_kpa_s)),
            at(Way::Rising),
            at(Way::Falling),
            of(&|c| format!("{:.4}", c.step_kpa)),
            of(&|c| c.bounces.to_string()),
            u8::from(ramp.used().is_some()),
            text_cell(&note.join("; ")),
        );
    }
    out
}

/// A text cell (RFC 4180), with a guard where a spreadsheet would take it for a formula.
fn text_cell(text: &str) -> String {
    let mut safe = crate::problem::safe_text(text);
    if safe.starts_with(['=', '+', '-', '@']) {
        safe.insert(0, '\'');
    }
    if safe.contains([',', '"']) { format!("\"{}\"", safe.replace('"', "\"\"")) } else { safe }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reduce::switch_ramps::Crossing;

    #[test]
    fn every_ramp_has_its_line() {
        let good = RampResult {
            label: "=1".into(),
            way: Some(Way::Falling),
            range_kpa: Some((0.0, 1.0)),
            duty_pct: None,
            states: Some((true, false)),
            crossing: Some(Crossing {
                pressure_kpa: 180.25,
                rate_kpa_s: -3.0,
                step_kpa: 0.03,
                bounces: 2,
                about: None,
            }),
            chatters: false,
            coarse: false,
            void: None,
            note: String::new(),
        };
        let void = RampResult {
            label: "2".into(),
            way: None,
            crossing: None,
            void: Some("the switch was not read".into()),
            note: "a, b".into(),
            ..good.clone()
        };
        insta::assert_snapshot!(to_csv(&[good, void]), @r#"
        ramp,direction,rate_kpa_s,trip_kpa,reset_kpa,step_kpa,bounces,used,note
        '=1,falling,-3.0000,,180.250,0.0300,2,1,
        2,,,,,,,0,"the switch was not read; a, b"
        "#);
    }
}
