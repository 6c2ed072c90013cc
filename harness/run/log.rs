//! What goes into the record while a bench runs: samples and events, under the step they belong to.

use crate::clock::Moment;
use crate::problem::fault::Fault;
use crate::record::writer::Recorder;
use std::fmt::Write as _;

/// The record being written, with the step it is at.
pub struct Log<'a> {
    recorder: &'a mut Recorder,
    /// Number of the step being played, 0 before the first.
    pub step: u32,
    /// The first failure to write; the run ends on it.
    pub failure: Option<Fault>,
    detail: String,
}

impl std::fmt::Debug for Log<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Log").field("step", &self.step).finish_non_exhaustive()
    }
}

impl<'a> Log<'a> {
    /// Writes into `recorder`.
    pub fn new(recorder: &'a mut Recorder) -> Self {
        Log { recorder, step: 0, failure: None, detail: String::new() }
    }

    /// A value of a column, at the moment it was taken.
    pub fn sample(&mut self, at: Moment, column: usize, value: f64) {
        let written = self.recorder.sample(at, self.step, column, value);
        self.keep(written);
    }

    /// Something that happened, with `name=value` pairs.
    pub fn event(&mut self, at: Moment, kind: &str, pairs: &[(&str, &dyn std::fmt::Display)]) {
        let mut detail = std::mem::take(&mut self.detail);
        detail.clear();
        for (i, (name, value)) in pairs.iter().enumerate() {
            let separator = if i > 0 { ";" } else { "" };
            // Writing to a String cannot fail.
            let _ = write!(detail, "{separator}{name}={value}");
        }
        let written = self.recorder.event(at, kind, self.step, &detail);
        self.keep(written);
        self.detail = detail;
    }

    /// Something that happened, in words.
    pub fn text(&mut self, at: Moment, kind: &str, text: &str) {
        let written = self.recorder.event(at, kind, self.step, text);
        self.keep(written);
    }

    /// A turn of the loop is over.
    pub fn turn(&mut self) {
        let written = self.recorder.turn();
        self.keep(written);
    }

    /// Hands everything to the system.
    pub fn flush(&mut self) {
        let written = self.recorder.flush();
        self.keep(written);
    }

    fn keep(&mut self, written: Result<(), Fault>) {
        if let (Err(fault), None) = (written, &self.failure) {
            self.failure = Some(fault);
        }
    }
}
