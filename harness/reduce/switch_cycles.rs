//! `switch_cycles.csv`: a line a ramp.
//!
//! In: [`RampResult`]s. Out: the file's text, metric, empty = missing. Never: a ramp left out because it was not used.

use super::switch_ramps::{RampResult, Way};
use crate::table::{Cell, Sheet};

/// The columns.
const COLUMNS: [&str; 9] =
    ["ramp", "direction", "rate_kpa_s", "trip_kpa", "reset_kpa", "step_kpa", "bounces", "used", "note"];

/// The file.
#[must_use]
pub fn to_csv(ramps: &[RampResult]) -> String {
    let mut sheet = Sheet::new(&COLUMNS);
    for ramp in ramps {
        let crossing = ramp.crossing.as_ref();
        let at = |way: Way| {
            let own = crossing.filter(|_| ramp.way == Some(way));
            Cell::fixed(own.map(|c| c.pressure_kpa), 3)
        };
        let note = [ramp.void.as_deref().unwrap_or(""), &ramp.note];
        let note: Vec<&str> = note.into_iter().filter(|n| !n.is_empty()).collect();
        sheet.row(&[
            Cell::Text(&ramp.label),
            Cell::Text(ramp.way.map_or("", Way::word)),
            Cell::fixed(crossing.map(|c| c.rate_kpa_s), 4),
            at(Way::Rising),
            at(Way::Falling),
            Cell::fixed(crossing.map(|c| c.step_kpa), 4),
            crossing.map_or(Cell::Missing, |c| Cell::Whole(c.bounces as u64)),
            Cell::Whole(ramp.used().is_some().into()),
            Cell::Text(&note.join("; ")),
        ]);
    }
    sheet.finish()
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
