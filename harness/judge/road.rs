//! Verdicts on a road trace: volume sprayed, minutes a tank.
//!
//! In: a reduced trace, limits that the scenario states. Out: items. Never: minutes of a tank from a trace that did
//! not spray.

use crate::numerics::gum::u95;
use crate::quantity::{Dimension, parse};
use crate::reduce::road::Road;
use crate::verdict::catalogue::{Entry, ROAD_TANK_ENDURANCE, ROAD_VOLUME};
use crate::verdict::subject::{Found, Subject};

/// Tank where the scenario states none, mL: 0.75 US gal (common practice, no source).
const TANK_ML: f64 = 2839.06;

/// Volume sprayed, and how long a tank lasts.
#[must_use]
pub fn items(road: &Road) -> Vec<Subject> {
    let (ml, u, dof) = road.volume_ml;
    let of = |entry: &'static Entry, value: f64, u: f64| {
        let dof_written = dof.is_finite().then_some(dof);
        Subject::new(entry, Found::Value { value, u95: u95(u, dof), dof: dof_written })
    };
    let mut all = vec![of(&ROAD_VOLUME, ml, u)];
    let tank = road.tank.as_deref().and_then(|t| parse(t, Dimension::Volume).ok()).unwrap_or(TANK_ML);
    if ml > 2.0 * u95(u, dof) && ml > 0.0 {
        let minutes = road.seconds / 60.0 * tank / ml;
        let words = format!("tank endurance on this trace ({tank:.0} mL)");
        all.push(of(&ROAD_TANK_ENDURANCE, minutes, minutes * u / ml).words(words));
    }
    all
}
