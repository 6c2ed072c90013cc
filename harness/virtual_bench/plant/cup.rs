//! The cup and the pan it stands on: what is collected, what drips, what is lost, what the scale feels.
//!
//! In: spray flow, jet thrust. Out: collected mass (true), the load after the scale's own filter. Never: a mass
//! that was not sprayed.

use super::STEP_S;
use crate::virtual_bench::config::{CupConfig, ScaleConfig};

/// Cup on the pan.
#[derive(Clone, Debug)]
pub(crate) struct Cup {
    jet_on_pan: f64,
    kept: f64,
    drip_ml: f64,
    drip_part: f64,
    empty_g: f64,
    follow: f64,
    creep: f64,
    creep_part: f64,
    /// What hangs on nozzle and rim, mL.
    pub(crate) hanging_ml: f64,
    /// Air drawn into the nozzle by back pressure, expelled before water comes, mL.
    drawn_in_ml: f64,
    /// Mass in the cup, g.
    pub(crate) mass_g: f64,
    /// Whether the cup stands on the pan.
    pub(crate) on_pan: bool,
    /// Extra load of a knock, g.
    pub(crate) knock_g: f64,
    stages: [f64; 2],
    creep_g: f64,
}

impl Cup {
    pub(crate) fn new(c: &CupConfig, scale: &ScaleConfig) -> Self {
        let follow = if scale.lag_s > 0.0 { 1.0 - (-STEP_S / scale.lag_s).exp() } else { 1.0 };
        Cup {
            jet_on_pan: c.jet_on_pan,
            kept: 1.0 - c.mist_lost,
            drip_ml: c.drip_ml,
            drip_part: 1.0 - (-STEP_S / c.drip_s).exp(),
            empty_g: c.empty_g,
            follow,
            creep: scale.creep,
            creep_part: 1.0 - (-STEP_S / scale.creep_s).exp(),
            hanging_ml: 0.0,
            drawn_in_ml: 0.0,
            mass_g: 0.0,
            on_pan: true,
            knock_g: 0.0,
            stages: [c.empty_g; 2],
            creep_g: scale.creep * c.empty_g,
        }
    }

    /// One step of spray: flow out of the nozzles (mL/s, negative where back pressure pushes back), the density
    /// (kg/m3) and the apparent mass of the jets (g).
    pub(crate) fn step(&mut self, flow: f64, density: f64, thrust_g: f64) {
        let mut out = flow * STEP_S;
        if self.drawn_in_ml > 0.0 || out < 0.0 {
            self.drawn_in_ml -= out;
            out = (-self.drawn_in_ml).max(0.0);
            self.drawn_in_ml = self.drawn_in_ml.max(0.0);
        }
        let kept = out * self.kept;
        let full = if out > 0.0 { self.drip_ml } else { 0.0 };
        let hangs = ((full - self.hanging_ml) * self.drip_part).min(kept);
        self.hanging_ml += hangs;
        self.mass_g += (kept - hangs) * density * 1e-3;
        let load = if self.on_pan { self.empty_g + self.mass_g + self.jet_on_pan * thrust_g } else { 0.0 };
        self.creep_g += (self.creep * load - self.creep_g) * self.creep_part;
        self.stages[0] += (load + self.knock_g - self.stages[0]) * self.follow;
        self.stages[1] += (self.stages[0] - self.stages[1]) * self.follow;
    }

    /// The load as the scale's filter passes it on, g.
    pub(crate) fn felt_g(&self) -> f64 {
        self.stages[1] + self.creep_g
    }

    /// Pours the content out and returns its mass, g.
    pub(crate) fn pour(&mut self) -> f64 {
        std::mem::take(&mut self.mass_g)
    }
}
