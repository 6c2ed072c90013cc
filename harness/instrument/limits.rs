//! Every limit of the exchange machines, in one place.
//!
//! In: nothing. Out: constants with their unit in the name. Never: a wait or a count that has no name.

use std::time::Duration;

/// What arrives this long after opening, before the first command, is stale and dropped.
pub const OPENING_DRAIN: Duration = Duration::from_millis(100);
/// Times the identity is asked for again.
pub const IDENTITY_RETRIES: u8 = 3;
/// Old entries of an error queue that are read away before the instrument is used.
pub const OLD_ERRORS_MAX: u8 = 32;
/// Silence that ends the wait for a late answer; half the time for a reply where that is shorter.
pub const LATE_QUIET: Duration = Duration::from_millis(50);
/// Requests used to come back into step with an instrument.
pub const RESYNC_REQUESTS_MAX: u8 = 2;
/// Times the safe state is sent until it is acknowledged.
pub const SAFE_STATE_TRIES: u8 = 3;
/// Heartbeats in a row whose acknowledgement may be missing before it is a fault.
pub const HEARTBEATS_MISSED_MAX: u8 = 2;
/// Answers given up that are still expected to come.
pub const OWED_MAX: usize = 4;
/// Longest an identity asked for in vain may still arrive without meaning that the instrument restarted.
pub const IDENTITY_LATE: Duration = Duration::from_secs(2);
/// Senseless bytes in a row that make garbage.
pub const GARBAGE_BYTES: usize = 256;
/// Time after which a few bytes that no text holds make garbage, if nothing sensible came since.
pub const GARBAGE_WITHIN: Duration = Duration::from_secs(1);
/// How many such bytes are needed for that.
pub const GARBAGE_BYTES_FEW: usize = 16;
/// Bytes that may arrive at once before they count as a flood.
pub const FLOOD_BURST_BYTES: usize = 64 * 1024;
/// A flood is what arrives faster than the line's own rate times this.
pub const FLOOD_FACTOR: u64 = 4;
/// A flood is over after this long within the allowed rate.
pub const FLOOD_OVER: Duration = Duration::from_secs(1);
/// Bytes of what was dropped that are kept in the event.
pub const DISCARDED_BYTES_SHOWN_MAX: usize = 1024;
/// A counter that goes back by no more than this is a reordered sample; further back, the counter started anew.
pub const SEQUENCE_BACK_MAX: u64 = 100;
/// Answers lost within [`LOSSES_WITHIN`], each given when asked again, that mean a second reader on the port.
pub const LOSSES_MAX: usize = 5;
/// The time over which lost answers are counted.
pub const LOSSES_WITHIN: Duration = Duration::from_secs(10);
