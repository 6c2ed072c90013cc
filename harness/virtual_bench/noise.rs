//! Seeded noise: a named stream a source, and the systematic errors of a bench.
//!
//! In: a seed, a name. Out: draws. A new source moves no other. With noise off every draw is its mean.

use super::config::{Config, ErrorSet, ErrorsFrom};
use crate::chance::{self, Seed, Stream};

/// One source of noise.
#[derive(Clone, Debug)]
pub(crate) struct Source(Option<Stream>);

impl Source {
    /// The source called `name`; silent when `on` is false.
    pub(crate) fn new(seed: Seed, name: &str, on: bool) -> Self {
        Source(on.then(|| seed.stream(name)))
    }

    /// A normal draw of mean 0.
    pub(crate) fn normal(&mut self, sd: f64) -> f64 {
        match &mut self.0 {
            Some(stream) if sd > 0.0 => sd * chance::standard_normal(stream),
            _ => 0.0,
        }
    }

    /// A uniform draw.
    pub(crate) fn uniform(&mut self, low: f64, high: f64) -> f64 {
        match &mut self.0 {
            Some(stream) => chance::uniform(stream, low, high),
            None => 0.5 * (low + high),
        }
    }

    /// A fair coin; heads when silent.
    pub(crate) fn coin(&mut self) -> bool {
        self.0.as_mut().is_none_or(|stream| chance::uniform(stream, 0.0, 1.0) < 0.5)
    }

    /// Whether it makes noise at all.
    pub(crate) fn is_on(&self) -> bool {
        self.0.is_some()
    }
}

/// The systematic errors of a bench: given, none, or drawn once from the seed, each from its own stream.
pub(crate) fn errors(config: &Config, seed: Seed) -> ErrorSet {
    match config.errors.from {
        ErrorsFrom::None => ErrorSet::default(),
        ErrorsFrom::Given => config.errors.given,
        ErrorsFrom::Drawn => {
            let mut set = config.errors.limits;
            for (name, value) in set.each_mut() {
                let limit = *value;
                *value = chance::uniform(&mut seed.stream(&format!("errors.{name}")), -limit, limit);
            }
            set
        }
    }
}
