//! What the analysis makes of a record: the measurements there are.

/// What the analysis is to make of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Fit the pump and nozzle pair, write a calibration.
    Pair,
    /// Duty curve through the controller.
    DutyCurve,
    /// Trip and reset of the pressure switch.
    Switch,
    /// Leak and compliance against the closed outlet.
    LeakDown,
    /// Highest pressure against the closed outlet.
    DeadHead,
    /// Level switch of the tank.
    TankLevel,
    /// Outputs of a controller.
    Controller,
    /// Replay of a road trace.
    RoadTrace,
    /// Check of scale and clock.
    CheckScale,
    /// Only record.
    Record,
}

impl Purpose {
    /// Every purpose, in order.
    pub const ALL: [Purpose; 10] = [
        Purpose::Pair,
        Purpose::DutyCurve,
        Purpose::Switch,
        Purpose::LeakDown,
        Purpose::DeadHead,
        Purpose::TankLevel,
        Purpose::Controller,
        Purpose::RoadTrace,
        Purpose::CheckScale,
        Purpose::Record,
    ];

    /// The word of each in files, in the same order, and what it does, for people.
    pub const WORDS: &'static [(&'static str, &'static str)] = &[
        ("pair", "fit the pump and nozzle pair, write a calibration"),
        ("duty_curve", "duty curve through the controller"),
        ("switch", "trip and reset of the pressure switch"),
        ("leak_down", "leak-down behind the closed outlet"),
        ("dead_head", "dead-head pressure"),
        ("tank_level", "level switch of the tank"),
        ("controller", "outputs of a controller"),
        ("road_trace", "replay of a road trace"),
        ("check_scale", "check of scale and clock"),
        ("record", "only record"),
    ];

    /// Its word in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        Self::WORDS[self as usize].0
    }

    /// The purpose that a word names.
    #[must_use]
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|p| p.word() == word)
    }
}
