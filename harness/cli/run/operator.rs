//! The operator at the terminal: what is typed goes to the bench, and a line of progress comes back.
//!
//! In: lines of standard input. Out: answers for the bench; a stop where nobody will ever answer. Never: an answer made
//! up.

use super::{ClockChoice, say};
use crate::clock::Moment;
use crate::exit::Exit;
use crate::port::serial::Handle;
use crate::run::bench::Bench;
use std::io::{IsTerminal as _, Write as _};

/// Hands lines typed at the terminal to the bench. Where the plan asks the operator (`needed`) and the input ends, the
/// run ends: it would wait for ever.
pub(super) fn read_answers(handle: Handle, needed: bool) {
    let read = move || {
        for line in std::io::stdin().lines() {
            let Ok(line) = line else { break };
            handle.answer(line);
        }
        if needed {
            say("The input has ended, and this run needs answers: it is ended.");
            handle.stop(Exit::HangUp);
        }
    };
    // Without this thread the operator's answers do not arrive, and the run says so by waiting.
    let _ = std::thread::Builder::new().name("answers".into()).spawn(read);
}

/// A line of progress on stderr, where someone is looking.
pub(super) fn progress_line(clock: ClockChoice) -> impl FnMut(Moment, &Bench<'_>) + Send {
    let someone = std::io::stderr().is_terminal() && clock == ClockChoice::Real;
    move |now, bench| {
        if someone {
            let (step, steps) = bench.progress();
            let mut err = std::io::stderr().lock();
            let _ = write!(err, "\r{:>7.0} s  step {step} of {steps}   ", now.as_s());
        }
    }
}
