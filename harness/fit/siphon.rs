//! What manifold vacuum draws through a pump that stands still.
//!
//! Vacuum opens the check valve and draws liquid through the pump's gaps: `Q = leak (-P_line - P_crack)` until the
//! nozzle's law agrees. How much of the pump's slip is leakage is not known, nor whether vacuum turns the pump, so U is
//! wide on purpose. In: a model, a condition. Out: an estimate where this is the case. Never: an answer for a pump that
//! turns.

use super::model::{Condition, PairModel};
use super::prior::LEAK_SHARE;
use super::surface::Operating;
use crate::uncertainty::{Cause, Term, Uncertain};

/// Cracking pressure of a check valve where nothing is stated, kPa (common practice, no source), and its standard
/// uncertainty.
const CRACKING_KPA: (f64, f64) = (20.0, 10.0);

/// Flow drawn through the standing pump; none where the pump turns, or there is no vacuum.
#[must_use]
pub fn answer(model: &PairModel, c: &Condition, operating: &Operating) -> Option<Uncertain> {
    let against_nothing = model.operate(&Condition { out_kpa: 0.0, ..c.clone() });
    if c.out_kpa >= 0.0 || against_nothing.flow > 0.0 {
        return None;
    }
    let crack = model.reference.check_valve_kpa.map_or(CRACKING_KPA, |known| (known, 0.2 * known));
    let k = c.k_factor * c.nozzles.iter().map(|j| model.nozzles[*j].k).sum::<f64>();
    let leak = model.slip_per_kpa() * (1.0 + c.away.thin);
    let drawn = |share: f64, crack: f64| through(k, share * leak, -c.out_kpa - crack);
    let value = drawn(LEAK_SHARE.0, crack.0);
    let terms = vec![
        Term::known(Cause::LeakShare, drawn(LEAK_SHARE.0 + LEAK_SHARE.1, crack.0) - value),
        Term::known(Cause::CheckValve, drawn(LEAK_SHARE.0, (crack.0 - crack.1).max(0.0)) - value),
        Term::known(Cause::Beyond, 0.5 * (operating.flow - value).max(0.0)),
    ];
    Some(Uncertain::new(value, terms))
}

/// Flow where the vacuum left after the check valve is shared between leakage and nozzle: `vacuum = Q/leak + (Q/K)^2`.
fn through(k: f64, leak: f64, vacuum: f64) -> f64 {
    if vacuum <= 0.0 || leak <= 0.0 {
        return 0.0;
    }
    let b = 1.0 / leak;
    let a = 1.0 / (k * k);
    2.0 * vacuum / (b + (b * b + 4.0 * a * vacuum).sqrt())
}
