//! Findings: what the reduction noticed that a person should know.

/// Something noticed.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Stable id: `static.disagrees`, `drift.over_run`, `assumed.scale`, ...
    pub id: &'static str,
    /// What was noticed, in words with its numbers.
    pub what: String,
    /// What it most likely comes from, and what to do.
    pub likely_cause: String,
    /// The numbers behind it: name, value, unit.
    pub evidence: Vec<(String, f64, &'static str)>,
}

impl Finding {
    /// A finding without numbers yet.
    pub fn new(id: &'static str, what: impl Into<String>, likely_cause: impl Into<String>) -> Self {
        Finding { id, what: what.into(), likely_cause: likely_cause.into(), evidence: Vec::new() }
    }

    /// The same with a number.
    #[must_use]
    pub fn with(mut self, name: impl Into<String>, value: f64, unit: &'static str) -> Self {
        self.evidence.push((name.into(), value, unit));
        self
    }
}
