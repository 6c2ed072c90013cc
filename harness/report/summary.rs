//! The result in the words that every format shows first: page, terminal.
//!
//! In: a headline, key figures, findings with what to do, the files written. Out: nothing; these are plain data.
//! Never: a verdict of its own.

use super::figure_text::{self, Units};
use super::words::{FileName, Words};
use crate::calibration::Measured;
use crate::judge::item::Verdict;

/// How something is to be taken; each has a word, a sign and a colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// As wanted.
    Good,
    /// Not as wanted.
    Bad,
    /// Not decided, or to be looked at.
    Doubt,
    /// The bench failed.
    Broken,
    /// For information.
    Quiet,
}

impl From<Verdict> for Tone {
    fn from(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Pass | Verdict::Same => Tone::Good,
            Verdict::Fail | Verdict::Changed => Tone::Bad,
            Verdict::Undecided => Tone::Doubt,
            Verdict::Error => Tone::Broken,
            Verdict::Skipped => Tone::Quiet,
        }
    }
}

/// The word for a verdict.
#[must_use]
pub const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "fail",
        Verdict::Undecided => "undecided",
        Verdict::Error => "no result",
        Verdict::Skipped => "not judged",
        Verdict::Same => "same",
        Verdict::Changed => "changed",
    }
}

/// A number worth reading first.
#[derive(Clone, Debug, PartialEq)]
pub struct KeyFigure {
    /// What it is.
    pub name: Words,
    /// The value, without unit.
    pub value: Words,
    /// Its expanded uncertainty at 95 %, without unit.
    pub u95: Option<Words>,
    /// The unit of both.
    pub unit: Words,
    /// Coverage factor and degrees of freedom, or what else is worth knowing.
    pub note: Words,
}

impl KeyFigure {
    /// A measured value, with its coverage factor as the note.
    pub fn measured(name: impl Into<Words>, measured: Measured, unit: &str, units: Units) -> Self {
        let shown = units.shown(unit);
        let (value, u95) = figure_text::pair(measured.value, Some(measured.u95), shown);
        let coverage = figure_text::coverage(measured.dof);
        KeyFigure {
            name: name.into(),
            value: value.into(),
            u95: u95.map(Into::into),
            unit: shown.unit.into(),
            note: coverage.into(),
        }
    }

    /// Words or a count that has no uncertainty.
    pub fn plain(name: impl Into<Words>, value: impl Into<Words>, note: impl Into<Words>) -> Self {
        KeyFigure {
            name: name.into(),
            value: value.into(),
            u95: None,
            unit: "".into(),
            note: note.into(),
        }
    }

    /// Value, uncertainty and unit in one line: `412.3 ± 6.2 mL/min (95 %)`.
    #[must_use]
    pub fn line(&self) -> String {
        match &self.u95 {
            Some(u) => {
                figure_text::with_unit(&format!("{} ± {u}", self.value), self.unit.as_str()) + " (95 %)"
            }
            None => figure_text::with_unit(self.value.as_str(), self.unit.as_str()),
        }
    }

    /// The same figure with another note.
    #[must_use]
    pub fn noted(mut self, note: impl Into<Words>) -> Self {
        self.note = note.into();
        self
    }
}

/// Something that was found, and what to do about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// How to take it.
    pub tone: Tone,
    /// What was found.
    pub words: Words,
    /// What to do; empty where there is nothing to do.
    pub todo: Words,
}

impl Finding {
    /// A finding with what to do.
    pub fn new(tone: Tone, words: impl Into<Words>, todo: impl Into<Words>) -> Self {
        Finding {
            tone,
            words: words.into(),
            todo: todo.into(),
        }
    }
}

/// The result, first in every format.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// How the whole is to be taken.
    pub tone: Tone,
    /// One word: `pass`, `undecided`, `measured`.
    pub verdict: Words,
    /// The result in one or two plain sentences.
    pub headline: Words,
    /// The numbers that matter most.
    pub figures: Vec<KeyFigure>,
    /// What was found, gravest first.
    pub findings: Vec<Finding>,
    /// What was written into the run folder.
    pub files: Vec<FileName>,
}
