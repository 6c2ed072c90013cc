//! Baselines: what a controller did when it was accepted, and whether another run still does it.
//!
//! In: observations with where they come from. Out: a text a person can review; an equivalence decision an
//! observation. Never: a port, a run; a comparison of what was not measured the same way.
//!
//! | file | what it holds |
//! |---|---|
//! | [`text`] | the file |
//! | [`origin`] | what must be alike for a comparison to mean something, what makes errors cancel |
//! | [`scatter`] | repeatability, pooled |
//! | [`tolerance`] | how much may differ |
//! | [`compare`] | the decision |
//! | `at_edge` | points that lie at a step of their output |
//! | [`items`] | the decision as verdicts |

mod at_edge;
pub mod compare;
pub mod items;
pub mod origin;
pub mod scatter;
pub mod text;
pub mod tolerance;

pub use compare::{Compared, Comparison, compare};
pub use origin::Origin;

use crate::problem::{Problem, Problems};
use crate::reduce::controller::Observation;

/// A controller as it was measured: once, or accepted.
#[derive(Clone, Debug, PartialEq)]
pub struct Baseline {
    /// Where it comes from.
    pub origin: Origin,
    /// Version of the firmware, where somebody stated it.
    pub firmware: Option<String>,
    /// What was observed.
    pub observations: Vec<Observation>,
}

/// Puts several measurements of one controller together; repeats add up.
///
/// # Errors
/// They were not measured the same way, or there is none.
pub fn merge(parts: Vec<Baseline>) -> Result<Baseline, Problems> {
    let mut parts = parts.into_iter();
    let Some(mut whole) = parts.next() else {
        return Err(Problem::new("there is nothing to accept").into());
    };
    for part in parts {
        origin::alike(&whole.origin, &part.origin)?;
        whole.origin.take(part.origin);
        for o in part.observations {
            let same = |p: &&mut Observation| p.output == o.output && p.kind == o.kind && p.at.same(&o.at);
            match whole.observations.iter_mut().find(same) {
                Some(known) => add(known, &o),
                None => whole.observations.push(o),
            }
        }
    }
    Ok(whole)
}

/// Adds repeats to an observation (Chan, Golub and LeVeque 1983: updating formulas for variances).
fn add(known: &mut Observation, more: &Observation) {
    known.u_common = known.u_common.max(more.u_common);
    known.u_own = known.u_own.max(more.u_own);
    let (Some(a), Some(b)) = (known.value, more.value) else {
        // An edge that is found once and once not is none to rely on.
        known.value = None;
        return;
    };
    let (n, m) = (f64::from(known.repeats), f64::from(more.repeats));
    known.squares += more.squares + (b - a).powi(2) * n * m / (n + m);
    known.value = Some((n * a + m * b) / (n + m));
    known.repeats += more.repeats;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reduce::controller::{At, Kind};

    #[test]
    fn repeats_of_several_runs_add_up() {
        let one = |values: &[f64]| {
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            Baseline {
                origin: Origin::default(),
                firmware: None,
                observations: vec![Observation {
                    output: "duty".into(),
                    kind: Kind::Steady,
                    at: At::default(),
                    value: Some(mean),
                    unit: "%".into(),
                    repeats: values.len() as u32,
                    squares: values.iter().map(|v| (v - mean).powi(2)).sum(),
                    u_common: 0.0,
                    u_own: 0.0,
                    per_boost_v: 0.0,
                    per_supply_v: 0.0,
                    supply_read_v: None,
                }],
            }
        };
        let whole = merge(vec![one(&[1.0, 2.0]), one(&[4.0, 5.0, 9.0])]).unwrap();
        let o = &whole.observations[0];
        // By hand: 1, 2, 4, 5, 9 have mean 4.2 and sum of squares 38.8.
        assert_eq!(o.repeats, 5);
        assert!((o.value.unwrap() - 4.2).abs() < 1e-12 && (o.squares - 38.8).abs() < 1e-12);
        assert!(merge(Vec::new()).is_err());
    }
}
