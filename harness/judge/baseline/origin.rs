//! Where observations come from: what must be alike for a comparison to mean something, and what makes errors cancel.
//!
//! In: what a run was run from, as lines. Out: whether two are alike, with the lines that differ; whether the same
//! instruments with the same calibration measured both. Never: a refusal for a comment, a date, a seed or a serial
//! number.

use crate::problem::{Problem, Problems};

/// Parameters that change how well a thing is measured and not what is measured.
const EFFORT: [&str; 2] = ["repeats", "steps"];
/// Lines shown of a difference.
const SHOWN: usize = 24;

/// Where observations come from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Origin {
    /// Run folders or files, in words, with when and what of.
    pub sources: Vec<String>,
    /// Hashes: name and SHA-256.
    pub hashes: Vec<(String, String)>,
    /// What must be alike: lines of scenario, parameters, rig and fluid. Empty for points taken elsewhere.
    pub alike: Vec<String>,
    /// Instruments with serial numbers and calibrations. Empty where they are not known.
    pub instruments: Vec<String>,
}

impl Origin {
    /// Takes another one in; errors cancel no more where its instruments are others.
    pub fn take(&mut self, other: Origin) {
        if self.instruments != other.instruments {
            self.instruments.clear();
        }
        self.sources.extend(other.sources);
        self.hashes.extend(other.hashes);
    }

    /// Whether errors common to all readings of an instrument cancel in a difference.
    #[must_use]
    pub fn cancels(&self, other: &Origin) -> bool {
        !self.instruments.is_empty() && self.instruments == other.instruments
    }
}

/// The lines of a scenario that say what is done: without comments, blank lines, `about` and cautions.
#[must_use]
pub fn lines_of_scenario(text: &str) -> Vec<String> {
    let mut lines = Vec::new();
    let mut section = "";
    for line in text.lines() {
        let code = line.split(" #").next().unwrap_or("").trim_end();
        if code.is_empty() || code.trim_start().starts_with('#') {
            continue;
        }
        if !code.starts_with([' ', '-']) {
            section = code.split(':').next().unwrap_or("");
        }
        // Parameters count with the values used, not with their defaults.
        if !matches!(section, "cautions" | "about" | "parameters") {
            lines.push(format!("scenario  {code}"));
        }
    }
    lines
}

/// The line of a parameter; none for one that only says how often.
#[must_use]
pub fn line_of_parameter(name: &str, value: &str) -> Option<String> {
    (!EFFORT.contains(&name)).then(|| format!("parameter {name}: {value}"))
}

/// Whether two measurements may be compared.
///
/// # Errors
/// They may not; with the lines that differ.
pub fn alike(old: &Origin, new: &Origin) -> Result<(), Problems> {
    if old.alike.is_empty() || new.alike.is_empty() || old.alike == new.alike {
        return Ok(());
    }
    let only = |a: &[String], b: &[String], sign: char| -> Vec<String> {
        a.iter().filter(|l| !b.contains(l)).map(|l| format!("{sign} {l}")).collect()
    };
    let mut lines = only(&old.alike, &new.alike, '-');
    lines.extend(only(&new.alike, &old.alike, '+'));
    if lines.is_empty() {
        lines.push("the same lines in another order".into());
    }
    let mut problems = Problems::default();
    problems.push(
        Problem::new("the baseline and this run were not measured the same way")
            .expected(
                "the same scenario, parameters, sensor, outputs and fluid; `-` is the baseline, `+` this run",
            )
            .help("run the baseline's scenario on this rig, or accept a new baseline"),
    );
    let more = lines.len().saturating_sub(SHOWN);
    lines.into_iter().take(SHOWN).for_each(|l| problems.push(Problem::new(l)));
    if more > 0 {
        problems.push(Problem::new(format!("and {more} lines more")));
    }
    Err(problems)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_do_not_matter_and_steps_do() {
        let lines = lines_of_scenario(
            "# a\nformat: 1\nabout: words\ncautions:\n  - one\nparameters:\n  x: {default: 1}\n\nsteps:\n  - hold: 1 s   # long\n",
        );
        assert_eq!(lines, ["scenario  format: 1", "scenario  steps:", "scenario    - hold: 1 s"]);
        let origin = |line: &str| Origin { alike: vec!["a".into(), line.into()], ..Origin::default() };
        assert!(alike(&origin("x"), &origin("x")).is_ok());
        assert!(alike(&origin("x"), &Origin::default()).is_ok());
        let text = alike(&origin("x"), &origin("y")).unwrap_err().to_string();
        assert!(text.contains("- x") && text.contains("+ y") && !text.contains("- a"), "{text}");
        assert_eq!(line_of_parameter("repeats", "3"), None);
    }

    #[test]
    fn errors_cancel_with_the_same_instruments_only() {
        let origin = |line: &str| Origin { instruments: vec![line.into()], ..Origin::default() };
        assert!(origin("logger L-1").cancels(&origin("logger L-1")));
        assert!(!origin("logger L-1").cancels(&origin("logger L-2")));
        assert!(!Origin::default().cancels(&Origin::default()));
    }
}
