//! Flows that are roughly known of any pump.
//!
//! In: the pump's data, for their supply and size. Out: two places on its surface with a flow and how well it is known.
//! They matter where data are few, and in extrapolation. Never: a measured flow.

use super::prior::{FREE_FLOW, STALL_SUPPLY_V, STALL_V};
use super::pump_data::PumpData;
use super::terms::{At, Away, Drive};

/// A flow that is roughly known of any pump, mL/min, with its standard deviation.
#[derive(Clone, Copy, Debug)]
pub(super) struct Anchor {
    pub(super) flow: f64,
    pub(super) sd: f64,
}

/// Nothing at the voltage where pumps stop, and more than full flow at full voltage without pressure; with where.
pub(super) fn anchors(data: &PumpData) -> ([At; 2], [Anchor; 2]) {
    let n = data.means.len() as f64;
    let supply_v = data.means.iter().map(|d| d.drive.supply_v).sum::<f64>() / n;
    let freewheel_v = data.means.first().map_or(0.0, |d| d.drive.freewheel_v);
    let drive = Drive { duty: 1.0, supply_v, freewheel_v };
    let at =
        |effective_v| At { drive: drive.with_effective_v(effective_v), line_kpa: 0.0, away: Away::default() };
    let full = data.scaling.flow_ml_min;
    let part = supply_v / STALL_SUPPLY_V;
    let per_v = FREE_FLOW.0 * full / data.scaling.effective_v.1;
    let places = [at(STALL_V.0 * part), at(data.scaling.effective_v.1)];
    let known = [
        Anchor { flow: 0.0, sd: STALL_V.1 * part * per_v },
        Anchor { flow: FREE_FLOW.0 * full, sd: FREE_FLOW.1 * full },
    ];
    (places, known)
}
