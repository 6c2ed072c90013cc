//! Exit codes, and which one wins when several apply.

/// How a command ended. The number is the process exit code and part of the outside contract.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Exit {
    /// Passed, or nothing was to be judged.
    Pass,
    /// A value lies outside its limits by at least its uncertainty.
    Fail,
    /// Bad input or usage.
    BadInput,
    /// The uncertainty does not allow a decision, or the answer is out of reach.
    Undecided,
    /// An instrument or link failed; ended safe.
    BenchFault,
    /// A safety limit tripped.
    SafetyTrip,
    /// A bug of ours.
    Bug,
    /// Results could not be written.
    CannotWrite,
    /// Ended by SIGHUP.
    HangUp,
    /// Ended by SIGINT.
    Interrupt,
    /// Ended by SIGTERM.
    Terminate,
}

impl Exit {
    /// The process exit code.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Exit::Pass => 0,
            Exit::Fail => 1,
            Exit::BadInput => 2,
            Exit::Undecided => 3,
            Exit::BenchFault => 4,
            Exit::SafetyTrip => 5,
            Exit::Bug => 70,
            Exit::CannotWrite => 74,
            Exit::HangUp => 129,
            Exit::Interrupt => 130,
            Exit::Terminate => 143,
        }
    }

    /// Gravity, larger is graver: 5, 70, 74, 4, 2, 1, 3, 0; an ending by signal lies just above 4.
    const fn gravity(self) -> u8 {
        match self {
            Exit::Pass => 0,
            Exit::Undecided => 1,
            Exit::Fail => 2,
            Exit::BadInput => 3,
            Exit::BenchFault => 4,
            Exit::HangUp | Exit::Interrupt | Exit::Terminate => 5,
            Exit::CannotWrite => 6,
            Exit::Bug => 7,
            Exit::SafetyTrip => 8,
        }
    }

    /// The graver of two endings.
    #[must_use]
    pub const fn and(self, other: Exit) -> Exit {
        if other.gravity() > self.gravity() { other } else { self }
    }
}

impl From<Exit> for std::process::ExitCode {
    fn from(exit: Exit) -> Self {
        std::process::ExitCode::from(exit.code())
    }
}

#[cfg(test)]
mod tests {
    use super::Exit;

    #[test]
    fn the_gravest_wins() {
        let order = [
            Exit::SafetyTrip,
            Exit::Bug,
            Exit::CannotWrite,
            Exit::BenchFault,
            Exit::BadInput,
            Exit::Fail,
            Exit::Undecided,
            Exit::Pass,
        ];
        for (i, graver) in order.iter().enumerate() {
            for lighter in &order[i..] {
                assert_eq!(graver.and(*lighter), *graver);
                assert_eq!(lighter.and(*graver), *graver);
            }
        }
    }
}
