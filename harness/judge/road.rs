//! Verdicts on a road trace: volume sprayed, minutes a tank.
//!
//! In: a reduced trace, limits that the scenario states. Out: items. Never: minutes of a tank from a trace that did
//! not spray.

use crate::quantity::{Dimension, parse};
use crate::reduce::road::Road;
use crate::uncertainty::Uncertain;
use crate::verdict::catalogue::{Entry, ROAD_TANK_ENDURANCE, ROAD_VOLUME};
use crate::verdict::subject::{Found, Subject};

/// Tank where the scenario states none, mL: 0.75 US gal (common practice, no source).
const TANK_ML: f64 = 2839.06;

/// Volume sprayed, and how long a tank lasts.
#[must_use]
pub fn items(road: &Road) -> Vec<Subject> {
    let volume = &road.volume_ml;
    let of = |entry: &'static Entry, found: &Uncertain| Subject::new(entry, Found::from(found));
    let mut all = vec![of(&ROAD_VOLUME, volume)];
    let tank = road.tank.as_deref().and_then(|t| parse(t, Dimension::Volume).ok()).unwrap_or(TANK_ML);
    if volume.value > 2.0 * volume.u95 && volume.value > 0.0 {
        let minutes = road.seconds / 60.0 * tank / volume.value;
        let words = format!("tank endurance on this trace ({tank:.0} mL)");
        let endurance = volume.times(-minutes / volume.value).about(minutes);
        all.push(of(&ROAD_TANK_ENDURANCE, &endurance).words(words));
    }
    all
}
