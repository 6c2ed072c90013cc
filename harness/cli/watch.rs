//! How a run is shown, by what was asked and what the terminal can do.
//!
//! In: options, environment. Out: a watcher. Never: a command to the bench but those its keys may wish.

use super::analysis::UnitChoice;
use super::say;
use crate::live::setup::Setup;
use crate::live::terminal;
use crate::live::view::View;
use crate::live::watcher::{Mode, Watcher};
use crate::script::plan::Plan;
use crate::script::rig::Rig;
use std::io::IsTerminal as _;

/// A watcher for a run: the whole screen where it was asked for and can be drawn, a bar where stderr is a terminal,
/// plain lines where a screen was asked for and there is none.
pub(super) fn watcher(live: bool) -> Watcher {
    let variable = |name: &str| std::env::var(name).ok();
    let can_draw = terminal::can_draw(variable("TERM").as_deref());
    let colour = variable("NO_COLOR").is_none_or(|v| v.is_empty());
    Watcher::new(match (live, can_draw) {
        (true, true) => Mode::Screen { colour },
        (true, false) => Mode::Plain,
        (false, true) => Mode::Bar,
        (false, false) if std::io::stderr().is_terminal() => Mode::Plain,
        (false, false) => Mode::Quiet,
    })
}

/// Shows the operator a question where no screen does.
pub(super) fn asker(watcher: &Watcher) -> Box<dyn FnMut(&str) + Send> {
    watcher.asker(say)
}

/// The view of a run before its first reading.
pub(super) fn view(plan: &Plan, rig: &Rig, units: UnitChoice, hurried: bool) -> View {
    let rows = crate::script::timeline(plan, rig).rows;
    let seconds: Vec<(u32, f64)> = rows.iter().map(|r| (r.id, r.seconds)).collect();
    View::new(Setup::new(plan, rig, &seconds, units.into(), hurried))
}
