//! Random pairs with their truth, the bench that measures them, and what came of it.

pub(crate) mod bench;
pub(crate) mod outcome;
pub(crate) mod truth;
