//! Verdict items, as in `verdicts.json`.

use super::decide;
use super::expect::{Expectation, stated};
use super::subject::{Found, Subject};
use crate::exit::Exit;
use serde::{Deserialize, Serialize};

/// What a value came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Inside the limits by at least U.
    Pass,
    /// Outside by at least U.
    Fail,
    /// Between, or no acceptance zone.
    Undecided,
    /// No value, because the bench failed.
    Error,
    /// Not run, or nothing to judge it by.
    Skipped,
    /// Equivalent to the baseline.
    Same,
    /// Different from the baseline.
    Changed,
}

impl Verdict {
    /// The exit code of one item.
    #[must_use]
    pub const fn exit(self) -> Exit {
        match self {
            Verdict::Pass | Verdict::Skipped | Verdict::Same => Exit::Pass,
            Verdict::Fail | Verdict::Changed => Exit::Fail,
            Verdict::Undecided => Exit::Undecided,
            Verdict::Error => Exit::BenchFault,
        }
    }
}

/// One value judged, or reported without limits. Internal units; missing is missing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// Stable id: `nozzle.rating`, `switch.trip`, ...
    pub id: String,
    /// In words.
    pub quantity: String,
    /// The value.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: String,
    /// Expanded uncertainty at 95 %.
    pub u95: Option<f64>,
    /// Effective degrees of freedom; none for infinite.
    pub dof: Option<f64>,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
    /// What it came to.
    pub verdict: Verdict,
    /// Which side, what would decide it, what it means.
    pub note: String,
}

/// `verdicts.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Verdicts {
    /// The gravest of the items.
    pub verdict: Verdict,
    /// Items in order.
    pub items: Vec<Item>,
}

impl Verdicts {
    /// Judges everything that a measurement found against what a scenario expects. What is expected and was not found
    /// at all is undecided.
    #[must_use]
    pub fn judge(subjects: &[Subject], expected: &[Expectation]) -> Self {
        let mut items: Vec<Item> =
            subjects.iter().map(|s| decide::judge(s, stated(expected, &s.id))).collect();
        let absent = expected.iter().filter(|e| !subjects.iter().any(|s| e.is_about(&s.id)));
        items.extend(absent.map(|e| {
            let why = format!("no value to hold against the limit{}", e.entry.need.words());
            let mut subject = Subject::new(e.entry, Found::Open(why));
            subject.id.clone_from(&e.item);
            decide::judge(&subject, e.limits)
        }));
        Self::of(items)
    }

    /// The gravest of the items, as the verdict of the whole; `Skipped` where nothing was to be judged.
    #[must_use]
    pub fn of(items: Vec<Item>) -> Self {
        let order = [
            Verdict::Error,
            Verdict::Fail,
            Verdict::Changed,
            Verdict::Undecided,
            Verdict::Pass,
            Verdict::Same,
        ];
        let verdict =
            order.into_iter().find(|v| items.iter().any(|i| i.verdict == *v)).unwrap_or(Verdict::Skipped);
        Self { verdict, items }
    }
}
