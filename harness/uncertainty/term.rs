//! A cause's share of one value, and the shape of its distribution.

use super::Cause;

/// How an error is distributed about zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Normal, the standard uncertainty taken as exact.
    Normal,
    /// Anywhere within limits with equal probability; the limits are `sqrt(3)` standard uncertainties away.
    Rectangle,
    /// Student's t of these degrees of freedom, scaled by the standard uncertainty: from readings.
    T(f64),
}

impl Shape {
    /// Of a standard uncertainty with these degrees of freedom; without limit it is taken as exact.
    #[must_use]
    pub fn of_dof(dof: f64) -> Self {
        if dof.is_infinite() { Shape::Normal } else { Shape::T(dof) }
    }

    /// Degrees of freedom: those of t, without limit for the others.
    #[must_use]
    pub const fn dof(self) -> f64 {
        match self {
            Shape::T(dof) => dof,
            Shape::Normal | Shape::Rectangle => f64::INFINITY,
        }
    }
}

/// Where an error comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// It scatters from reading to reading and was evaluated from readings (type A).
    Random,
    /// One error for everything measured, stated or supposed (type B).
    Common,
}

/// What one cause adds to one value.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// From what.
    pub cause: Cause,
    /// Sensitivity times standard uncertainty, in the unit of the value, with sign.
    pub u: f64,
    /// Standard uncertainty of the cause in its own unit; none where it has no unit of its own.
    pub of_cause: Option<f64>,
    /// How it is distributed.
    pub shape: Shape,
    /// Random or common.
    pub origin: Origin,
}

impl Term {
    /// From readings, with degrees of freedom.
    #[must_use]
    pub fn observed(cause: Cause, u: f64, dof: f64) -> Self {
        Term { cause, u, of_cause: None, shape: Shape::of_dof(dof), origin: Origin::Random }
    }

    /// A standard uncertainty that is stated or supposed, common to everything measured.
    #[must_use]
    pub const fn known(cause: Cause, u: f64) -> Self {
        Term { cause, u, of_cause: None, shape: Shape::Normal, origin: Origin::Common }
    }

    /// Anywhere within plus or minus `half`, common to everything measured.
    #[must_use]
    pub fn limits(cause: Cause, half: f64) -> Self {
        Term { shape: Shape::Rectangle, ..Term::known(cause, half.abs() / 3f64.sqrt()) }
    }

    /// Degrees of freedom.
    #[must_use]
    pub const fn dof(&self) -> f64 {
        self.shape.dof()
    }

    /// The same cause with another share.
    #[must_use]
    pub fn at(&self, u: f64) -> Self {
        Term { u, ..self.clone() }
    }

    /// The share times a factor.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        self.at(self.u * factor)
    }

    /// Change of the value per unit of the cause, where the cause has a unit.
    #[must_use]
    pub fn sensitivity(&self) -> Option<f64> {
        self.of_cause.filter(|u| *u > 0.0).map(|u| self.u / u)
    }
}
