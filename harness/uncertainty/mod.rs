//! What a value is uncertain by: one type for a value with its terms, one rule from terms to U, one way to round.
//!
//! A [`Bound`] is what a rig file states about an instrument; a [`Term`] is what one cause adds to one value; an
//! [`Uncertain`] is a value with its terms and what they come to: combined standard uncertainty, effective degrees of
//! freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1), and U at 95 % by the convolution of the terms' own
//! distributions (JCGM 101:2008), never from two standard uncertainties alone. Numbers are shown with U to two
//! significant digits and the value to match (JCGM 100:2008, 7.2.6). Never: a value without its U, a term that is common
//! to all readings and shrinks with their number.
//!
//! | file | what it holds |
//! |---|---|
//! | [`cause`] | what makes values uncertain, in words |
//! | [`term`] | a cause's share of one value, and its shape |
//! | [`bound`] | what is stated about an error |
//! | [`value`] | a value with its terms |
//! | [`convolution`] | the rule from terms to U |
//! | [`rounding`] | the digits that are worth showing |

pub mod bound;
pub mod cause;
pub mod convolution;
pub mod rounding;
pub mod term;
pub mod value;

pub use bound::Bound;
pub use cause::Cause;
pub use term::{Origin, Shape, Term};
pub use value::{Uncertain, type_a};
