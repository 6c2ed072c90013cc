//! Where bytes go: the one interface the bench loop has to the outside, and what stands behind it.
//!
//! In: bytes to send, and a moment to wait for. Out: what arrived, and the time. The bench loop cannot tell which
//! implementation it was given; only the command line chooses one.

pub mod in_process;
pub mod lock;
pub mod power;
pub mod priority;
pub mod pty;
pub mod serial;

use crate::clock::Moment;
use crate::exit::Exit;
use crate::problem::fault::Fault;

/// What came in while waiting.
#[derive(Debug)]
pub enum Arrival<'a> {
    /// Bytes at a port (the index of the rig's instrument).
    Bytes(usize, &'a [u8]),
    /// A port is gone.
    Lost(usize, Fault),
    /// The operator's answer to the last question.
    Answer(&'a str),
    /// Stop: a signal, or the stop key.
    Stop(Exit),
}

/// Every port of a bench, with its clock.
pub trait Ports {
    /// The time now.
    fn now(&self) -> Moment;

    /// Waits until `deadline` or until something arrives, hands over what arrived, and returns the time then.
    fn wait(&mut self, deadline: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) -> Moment;

    /// Sends bytes to a port, without waiting longer than [`WRITE_WITHIN_MS`].
    ///
    /// # Errors
    /// `PORT_GONE` where the port is gone, `WRITE_STALL` where the other side does not take the bytes.
    fn send(&mut self, port: usize, bytes: &[u8]) -> Result<(), Fault>;

    /// Shows the operator a question; the answer comes as [`Arrival::Answer`].
    fn ask(&mut self, question: &str);

    /// Shows the operator something that wants no answer.
    fn show(&mut self, text: &str);
}

/// Longest wait for the other side to take bytes, ms.
pub const WRITE_WITHIN_MS: u64 = 200;
