//! Limits that a scenario states.

use super::catalogue::{Entry, Members, find, holds_for, meant};
use super::subject::tighter;
use crate::numerics::conformity::Zone;
use crate::problem::Problem;

/// Limits that a scenario states for an item, in the item's unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Expectation {
    /// The item's row.
    pub entry: &'static Entry,
    /// Id of the item, or of a member.
    pub item: String,
    /// Limits.
    pub limits: Zone,
}

impl Expectation {
    /// Limits in internal units, as scenario and record have them.
    ///
    /// # Errors
    /// There is no such item.
    pub fn new(item: &str, lower: Option<f64>, upper: Option<f64>) -> Result<Self, Problem> {
        let Some(entry) = find(item) else {
            let mut problem = Problem::new(format!("\"{item}\" is not a verdict item"));
            problem.help = meant(item).map(|id| format!("did you mean \"{id}\"?"));
            return Err(problem);
        };
        let limits = Zone { lower: lower.map(|l| entry.in_unit(l)), upper: upper.map(|u| entry.in_unit(u)) };
        Ok(Self { entry, item: item.to_owned(), limits })
    }

    /// Whether it is about the item `id`. A limit on an id with members an output holds for each of them.
    #[must_use]
    pub fn is_about(&self, id: &str) -> bool {
        self.item == id || (self.entry.members == Members::Outputs && holds_for(&self.item, id))
    }
}

/// What a scenario states for an item: the tightest of its limits.
#[must_use]
pub fn stated(expected: &[Expectation], id: &str) -> Zone {
    let own = expected.iter().filter(|e| e.is_about(id));
    own.fold(Zone::default(), |zone, e| tighter(zone, e.limits))
}
