//! `junit.xml`: verdicts for programs that read test results.
//!
//! In: [`Verdicts`]. Out: JUnit XML. Pass and same are passed tests; fail, changed and undecided are failures of that
//! type; a value that the bench could not deliver is an error; what was not run is skipped.
//! Never: a character that XML forbids; a verdict without its reason.

use super::figure_text::{self, Units};
use super::summary::verdict_word;
use super::words::Words;
use crate::clock::WallTime;
use crate::verdict::item::{Item, Verdict, Verdicts};
use quick_junit::{NonSuccessKind, Report, SerializeError, TestCase, TestCaseStatus, TestSuite};
use std::time::Duration;

/// The run that the verdicts belong to.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The scenario or command: the name of the suite.
    pub name: Words,
    /// When it began.
    pub at: Option<WallTime>,
    /// How long it took.
    pub took: Option<Duration>,
}

/// The verdicts as JUnit XML.
///
/// # Errors
/// Where the writer fails, which memory alone does not make it do.
pub fn xml(verdicts: &Verdicts, run: &Run) -> Result<String, SerializeError> {
    let mut suite = TestSuite::new(run.name.as_str());
    if let Some(at) = run.at {
        suite.extra.insert("timestamp".into(), at.to_rfc3339().into());
    }
    suite.add_test_cases(verdicts.items.iter().map(|item| case(item, run)));
    let mut report = Report::new("dutycup");
    if let Some(took) = run.took {
        suite.set_time(took);
        report.set_time(took);
    }
    report.add_test_suite(suite);
    report.to_string()
}

fn case(item: &Item, run: &Run) -> TestCase {
    let mut status = match item.verdict {
        Verdict::Pass | Verdict::Same => TestCaseStatus::success(),
        Verdict::Fail | Verdict::Changed | Verdict::Undecided => {
            TestCaseStatus::non_success(NonSuccessKind::Failure)
        }
        Verdict::Error => TestCaseStatus::non_success(NonSuccessKind::Error),
        Verdict::Skipped => TestCaseStatus::skipped(),
    };
    let value = value(item);
    let note = Words::from(&item.note);
    let reason = if note.is_empty() { value.clone() } else { format!("{value}; {note}") };
    status.set_message(reason);
    match item.verdict {
        Verdict::Error => status.set_type("bench fault"),
        Verdict::Skipped => &mut status,
        other => status.set_type(verdict_word(other)),
    };
    let mut case = TestCase::new(Words::from(&item.id).as_str(), status);
    case.set_classname(format!("dutycup.{}", run.name));
    case.set_system_out(value);
    case
}

/// `trip of the switch: 255.1 ± 4.2 kPa (95 %), k = 2.18, ...; limits 186.2 to 227.5 kPa`.
fn value(item: &Item) -> String {
    let unit = Words::from(&item.unit);
    let value = figure_text::figure(item.value, item.u95, unit.as_str(), Units::Metric);
    let coverage = match (item.value, item.u95) {
        (Some(_), Some(_)) => format!(", {}", figure_text::coverage(item.dof)),
        _ => String::new(),
    };
    let limits = figure_text::limits(item.lower, item.upper, unit.as_str(), Units::Metric);
    format!("{}: {value}{coverage}; limits: {limits}", Words::from(&item.quantity))
}
