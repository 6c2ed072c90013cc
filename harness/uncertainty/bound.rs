//! What is stated about an error, by a rig file or by this program where nothing is stated.

use super::{Cause, Shape, Term};

/// What is known of an error. Where one number is stated it is a limit; limits are rectangular.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Bound {
    /// Nothing stated.
    #[default]
    None,
    /// Within plus or minus this.
    Limits(f64),
    /// Standard uncertainty and degrees of freedom (infinite where none are stated).
    Standard(f64, f64),
}

impl Bound {
    /// Standard uncertainty; 0 where nothing is stated.
    #[must_use]
    pub fn standard(self) -> f64 {
        match self {
            Bound::None => 0.0,
            Bound::Limits(half) => half / 3.0_f64.sqrt(),
            Bound::Standard(u, _) => u,
        }
    }

    /// How it is distributed.
    #[must_use]
    pub fn shape(self) -> Shape {
        match self {
            Bound::None => Shape::Normal,
            Bound::Limits(_) => Shape::Rectangle,
            Bound::Standard(_, dof) => Shape::of_dof(dof),
        }
    }

    /// Its share of a value that changes by `sensitivity` for each unit of it; none where nothing is stated.
    #[must_use]
    pub fn term(self, cause: Cause, sensitivity: f64) -> Option<Term> {
        if self == Bound::None {
            return None;
        }
        let u = self.standard();
        Some(Term { of_cause: Some(u), shape: self.shape(), ..Term::known(cause, u * sensitivity) })
    }
}
