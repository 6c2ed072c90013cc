//! Garbage and floods.
//!
//! In: how much senseless or excess came, and when. Out: whether it is a fault now. Never: more memory than a few
//! counters.

use super::limits::{
    FLOOD_BURST_BYTES, FLOOD_FACTOR, FLOOD_OVER, GARBAGE_BYTES, GARBAGE_BYTES_FEW, GARBAGE_WITHIN,
};
use crate::clock::Moment;
use std::time::Duration;

/// Whether a byte has no place in a line of text.
pub(super) const fn is_senseless(byte: u8) -> bool {
    !matches!(byte, b' '..=b'~' | b'\t' | b'\r' | b'\n')
}

/// How many bytes have no place in a line of text.
pub(super) fn senseless(bytes: &[u8]) -> usize {
    bytes.iter().filter(|b| is_senseless(**b)).count()
}

/// Counts senseless bytes since the last sensible message.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Garbage {
    /// Bytes of lines that meant nothing.
    bytes: usize,
    /// Those among them that have no place in text.
    senseless: usize,
    /// Senseless bytes of a line that has not ended yet.
    pending: usize,
    since: Option<Moment>,
    reported: bool,
}

impl Garbage {
    /// A sensible message came.
    pub(super) fn good(&mut self) {
        if self.since.is_some() {
            *self = Garbage::default();
        }
    }

    /// `bytes` meant nothing, `senseless` of them have no place in text.
    pub(super) fn add(&mut self, bytes: usize, senseless: usize, now: Moment) {
        if bytes > 0 {
            self.bytes = self.bytes.saturating_add(bytes);
            self.senseless = self.senseless.saturating_add(senseless);
            self.since.get_or_insert(now);
        }
    }

    /// The line that has not ended yet has `pending` senseless bytes.
    pub(super) fn set_pending(&mut self, pending: usize, now: Moment) {
        self.pending = pending;
        if pending > 0 {
            self.since.get_or_insert(now);
        }
    }

    /// The line that has not ended yet will not be looked at any more.
    pub(super) fn give_up_pending(&mut self, now: Moment) {
        let pending = std::mem::take(&mut self.pending);
        self.add(pending, pending, now);
    }

    /// Whether enough of it cannot be text to say that it is none.
    pub(super) const fn is_no_text(&self) -> bool {
        self.senseless + self.pending >= GARBAGE_BYTES_FEW
    }

    /// Whether any of it cannot be text.
    pub(super) const fn has_senseless(&self) -> bool {
        self.senseless + self.pending > 0
    }

    /// The number of bytes, once, if it is garbage now.
    pub(super) fn verdict(&mut self, now: Moment) -> Option<usize> {
        let since = self.since.filter(|_| !self.reported)?;
        let much = self.bytes + self.pending >= GARBAGE_BYTES;
        let long = self.is_no_text() && now.since(since) >= GARBAGE_WITHIN;
        self.reported = much || long;
        self.reported.then_some(self.bytes + self.pending)
    }

    /// When a verdict is due at the latest, if nothing more comes.
    pub(super) fn wake(&self) -> Moment {
        match self.since {
            Some(since) if !self.reported && self.is_no_text() => since + GARBAGE_WITHIN,
            _ => Moment::NEVER,
        }
    }
}

/// Lets through what a line can carry, and a burst.
#[derive(Clone, Copy, Debug)]
pub(super) struct Flood {
    bytes_per_s: u64,
    room: usize,
    filled: Moment,
    /// When something was last refused.
    refused: Option<Moment>,
}

/// How many of the bytes that arrived may be looked at, and whether a flood begins with the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Admission {
    pub(super) taken: usize,
    pub(super) begins: bool,
}

impl Flood {
    /// A line whose characters take `character`.
    pub(super) fn new(character: Duration) -> Self {
        let character_ns = u64::try_from(character.as_nanos()).unwrap_or(u64::MAX).max(1);
        let bytes_per_s = FLOOD_FACTOR * 1_000_000_000 / character_ns;
        Flood { bytes_per_s, room: FLOOD_BURST_BYTES, filled: Moment::START, refused: None }
    }

    /// How much of `bytes` that arrived at `now` may be looked at.
    pub(super) fn admit(&mut self, bytes: usize, now: Moment) -> Admission {
        if self.room < bytes {
            self.refill(now);
        }
        let taken = bytes.min(self.room);
        self.room -= taken;
        if taken == bytes {
            return Admission { taken, begins: false };
        }
        let begins = self.refused.is_none_or(|last| now.since(last) > FLOOD_OVER);
        self.refused = Some(now);
        Admission { taken, begins }
    }

    fn refill(&mut self, now: Moment) {
        let elapsed_ns = now.as_ns().saturating_sub(self.filled.as_ns());
        let earned = u128::from(elapsed_ns) * u128::from(self.bytes_per_s) / 1_000_000_000;
        if earned > 0 {
            let earned = usize::try_from(earned).unwrap_or(usize::MAX);
            self.room = self.room.saturating_add(earned).min(FLOOD_BURST_BYTES);
            self.filled = now;
        }
    }
}
