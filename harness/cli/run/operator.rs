//! The operator at the terminal: what is typed goes to the bench.
//!
//! In: lines of standard input. Out: answers for the bench; a stop where nobody will ever answer. Never: an answer made
//! up.

use super::say;
use crate::exit::Exit;
use crate::port::serial::Handle;

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
