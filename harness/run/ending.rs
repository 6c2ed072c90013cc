//! How a run ended.

use crate::exit::Exit;
use crate::problem::fault::Fault;

/// How a run ended, and whether the safe state was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Ending {
    /// Exit of the run alone, before anything is judged.
    pub exit: Exit,
    /// The fault that ended it; none where the plan was played to its end or a signal ended it.
    pub fault: Option<Fault>,
    /// What was seen of the safe state, in words.
    pub safe_state: String,
    /// Whether it was verified: output read back off, and pressure gone unless trapped on purpose.
    pub verified: bool,
}

impl Ending {
    /// Whether every step was played.
    #[must_use]
    pub fn complete(&self) -> bool {
        self.exit == Exit::Pass
    }
}
