//! The result in the words that every format shows first: page, terminal.
//!
//! In: a headline, key figures, findings with what to do, the files written. Out: nothing; these are plain data.
//! Never: a verdict of its own.

use super::figure_text::{self, Units};
use super::words::{FileName, Words};
use crate::calibration::Measured;
use crate::verdict::item::Verdict;

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
    /// The coverage factor, `k = 2.11`; empty without an uncertainty.
    pub k: Words,
    /// Its degrees of freedom, `17.3 degrees of freedom`; empty where they are without limit.
    pub dof: Words,
    /// What else is worth knowing; empty for nothing.
    pub note: Words,
}

impl KeyFigure {
    /// A measured value.
    pub fn measured(name: impl Into<Words>, measured: Measured, unit: &str, units: Units) -> Self {
        let shown = units.shown(unit);
        let (value, u95) = figure_text::pair(measured.value, Some(measured.u95), shown);
        let known = u95.is_some();
        KeyFigure {
            name: name.into(),
            value: value.into(),
            u95: u95.map(Into::into),
            unit: shown.unit.into(),
            k: if known { figure_text::k_text(measured.dof).into() } else { "".into() },
            dof: if known { figure_text::dof_text(measured.dof).into() } else { "".into() },
            note: "".into(),
        }
    }

    /// Words or a count that has no uncertainty.
    pub fn plain(name: impl Into<Words>, value: impl Into<Words>, note: impl Into<Words>) -> Self {
        KeyFigure {
            name: name.into(),
            value: value.into(),
            u95: None,
            unit: "".into(),
            k: "".into(),
            dof: "".into(),
            note: note.into(),
        }
    }

    /// Value, uncertainty and unit in one line: `412.3 ± 6.2 mL/min (95 %, k = 2.11)`.
    #[must_use]
    pub fn line(&self) -> String {
        match &self.u95 {
            Some(u) => {
                let both = format!("{} ± {u}", self.value);
                format!("{} (95 %, {})", figure_text::with_unit(&both, self.unit.as_str()), self.k)
            }
            None => figure_text::with_unit(self.value.as_str(), self.unit.as_str()),
        }
    }

    /// The same figure with a note.
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
        Finding { tone, words: words.into(), todo: todo.into() }
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
