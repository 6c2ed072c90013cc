//! Limits, and the zone within them.

/// Limits of a zone, included in it; none where open.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Zone {
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

impl Zone {
    /// The zone narrowed by a guard band at each limit; negative widens it.
    #[must_use]
    pub fn narrowed(&self, guard: f64) -> Zone {
        Zone { lower: self.lower.map(|l| l + guard), upper: self.upper.map(|u| u - guard) }
    }
}
