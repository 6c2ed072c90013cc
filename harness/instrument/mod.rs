//! Exchanges with an instrument, as state machines without IO.
//!
//! In: a rig, bytes that arrived, and the moment they did. Out: bytes to send, the moment at which the machine wants
//! to be called again, and what happened as [`InstrumentEvent`]s. Never: a port, a clock, a wait; an answer taken for
//! that to another request; a setting outside its channel's range.
//!
//! One [`Instrument`] per instrument of the rig:
//!
//! 1. [`Instrument::start`] when its port is open, [`Instrument::port_lost`] when it is gone.
//! 2. [`Instrument::receive`] with whatever arrives.
//! 3. [`Instrument::advance`] at [`Instrument::wake`] or earlier, and after anything was told.
//! 4. [`Instrument::tell`] for settings; [`Instrument::tell_urgent`] for heartbeat and safe state.
//!
//! | file | what it does |
//! |---|---|
//! | `compile`, `channels` | rig to exchanges |
//! | `exchange` | polls, listens and settings |
//! | `machine` | the states |
//! | `sending` | what is sent when |
//! | `receiving` | what is done with bytes that arrive |
//! | `opening` | draining, identity, old errors |
//! | `answering` | lines as answers |
//! | `framing` | Modbus frames as answers |
//! | `straying` | lines that nobody asked for |
//! | `recovery` | what is done when an answer does not come |
//! | `telling` | settings, heartbeat, safe state |
//! | `by_hand` | questions to the operator |
//! | `deliver`, `unit` | values to readings |
//! | `noise` | garbage and floods |
//! | `limits` | every limit |

mod answering;
mod by_hand;
mod channels;
mod compile;
mod deliver;
mod event;
mod exchange;
mod framing;
pub mod limits;
mod machine;
mod noise;
mod opening;
mod receiving;
mod recovery;
mod sending;
mod straying;
mod telling;
mod unit;

#[cfg(feature = "door")]
pub use event::{Counts, Discard};
pub use event::{Flag, InstrumentEvent};
pub use machine::Instrument;
