//! The latest reading of every role.
//!
//! In: readings as they come. Out: the latest of a role, with its age. Never: a value older than asked for.

use crate::clock::Moment;
use crate::script::rig::Rig;
use crate::script::role::{Direction, Role};
use std::time::Duration;

/// Sample periods after which a reading is too old to decide on.
const STALE_PERIODS: u32 = 3;
/// Longest age of a pressure or read-back reading to decide on, whatever its period; and the least silence, whatever the
/// period, after which a channel counts as lost: a computer or an instrument that is busy answers late and is not gone.
const LOST_AFTER: Duration = Duration::from_millis(300);
/// The same of the cup: a scale speaks by itself, and a line of it may be lost.
const CUP_LOST_AFTER: Duration = Duration::from_millis(450);
/// Least time between two standstills of the loop that excuse old readings.
const FORGIVEN_EVERY: Duration = Duration::from_secs(1);

/// A reading in role units, and when it was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When it was taken.
    pub at: Moment,
    /// Value, role units.
    pub value: f64,
}

#[derive(Clone, Debug)]
struct Slot {
    role: Role,
    latest: Option<Reading>,
    /// When a reading last came that was not used.
    heard: Moment,
    /// Oldest age at which its value may be decided on.
    stale_after: Duration,
    /// Silence after which the run ends.
    lost_after: Duration,
    /// Whether the value comes by itself (an instrument, not a person or a constant).
    sampled: bool,
}

/// The latest reading of every channel, by the rig's channel number.
#[derive(Clone, Debug)]
pub struct Readings {
    slots: Vec<Slot>,
    /// When the loop last went on after standing still.
    went_on: Moment,
}

impl Readings {
    /// An empty table for a rig; constants of the rig are there from the start.
    #[must_use]
    pub fn new(rig: &Rig) -> Self {
        use crate::script::rig::ExchangeSpec;
        let slot = |channel: &crate::script::rig::ChannelSpec| {
            let guarded = matches!(channel.role, Role::LinePressure | Role::OutputOn);
            let periods = channel.every * STALE_PERIODS;
            let latest = match channel.exchange {
                ExchangeSpec::Fixed { value } => Some(Reading { at: Moment::NEVER, value }),
                _ => None,
            };
            Slot {
                role: channel.role.clone(),
                sampled: channel.role.direction() == Direction::Read
                    && latest.is_none()
                    && !channel.by_hand(),
                latest,
                heard: Moment::START,
                stale_after: if guarded {
                    periods.min(LOST_AFTER)
                } else if channel.role == Role::CupMass {
                    periods.max(CUP_LOST_AFTER)
                } else {
                    periods
                },
                lost_after: if guarded {
                    LOST_AFTER
                } else if channel.role == Role::CupMass {
                    periods.max(CUP_LOST_AFTER)
                } else {
                    periods.max(LOST_AFTER)
                },
            }
        };
        Readings { slots: rig.channels.iter().map(slot).collect(), went_on: Moment::START }
    }

    /// Takes a reading of a channel.
    pub fn take(&mut self, channel: usize, reading: Reading) {
        if let Some(slot) = self.slots.get_mut(channel) {
            slot.latest = Some(reading);
        }
    }

    /// A reading of a channel came, but is not used: the instrument is alive.
    pub fn heard(&mut self, channel: usize, at: Moment) {
        if let Some(slot) = self.slots.get_mut(channel) {
            slot.heard = at;
        }
    }

    /// The latest reading of a role, however old.
    #[must_use]
    pub fn latest(&self, role: &Role) -> Option<Reading> {
        self.slots.iter().find(|s| s.role == *role).and_then(|s| s.latest)
    }

    /// The latest reading of every role that has one.
    pub fn each(&self) -> impl Iterator<Item = (&Role, Reading)> {
        self.slots.iter().filter_map(|s| Some((&s.role, s.latest?)))
    }

    /// The latest value of a role, if it is young enough to decide on.
    #[must_use]
    pub fn fresh(&self, role: &Role, now: Moment) -> Option<f64> {
        let slot = self.slots.iter().find(|s| s.role == *role)?;
        slot.latest.filter(|r| now.since(r.at) <= slot.stale_after).map(|r| r.value)
    }

    /// The first sampled role among `roles` that has been silent for too long, with its reading's age.
    #[must_use]
    pub fn lost<'a>(&self, roles: &'a [Role], now: Moment) -> Option<(&'a Role, Duration)> {
        roles.iter().find_map(|role| {
            let slot = self.slots.iter().find(|s| s.role == *role && s.sampled)?;
            let since = slot.latest.map_or(Moment::START, |r| r.at);
            let since = since.max(slot.heard).max(self.went_on);
            let age = now.since(since);
            (age > slot.lost_after).then_some((role, age))
        })
    }

    /// The loop stood still until `now`: nobody asked meanwhile, so what is old is given time to come. Not more often
    /// than once in [`FORGIVEN_EVERY`], so that a loop that keeps stalling hides no dead sensor.
    pub fn stood_still(&mut self, now: Moment) {
        if now.since(self.went_on) > FORGIVEN_EVERY {
            self.went_on = now;
        }
    }

    /// The first sampled role that has never been read.
    #[must_use]
    pub fn missing(&self) -> Option<&Role> {
        self.slots.iter().find(|s| s.sampled && s.latest.is_none()).map(|s| &s.role)
    }
}
