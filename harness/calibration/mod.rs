//! The calibration file: what a pair delivers, with its uncertainty, in a form that answers later without a bench.

/// A value with its expanded uncertainty at 95 % and degrees of freedom (none = infinite).
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Measured {
    /// Best estimate.
    pub value: f64,
    /// Expanded uncertainty at 95 %.
    pub u95: f64,
    /// Effective degrees of freedom; none = infinite.
    pub dof: Option<f64>,
}
