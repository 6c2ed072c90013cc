//! Real-time priority for the threads that keep the bench's time.
//!
//! In: nothing. Out: the calling thread under the system's first-in, first-out policy, or why it is not. Only the bench
//! loop and the reading threads of real ports are raised, never a thread that writes to a disk or computes: those wait,
//! and a thread that does not wait must not stand in front of everything else.

use thread_priority::unix::{set_thread_priority_and_policy, thread_native_id};
use thread_priority::{RealtimeThreadSchedulePolicy, ThreadPriority, ThreadSchedulePolicy};

/// Priority among real-time threads, of 1 to 99: above everything that has none, below the system's own interrupt
/// threads, which carry the bytes.
const LEVEL: u8 = 20;

/// Raises the calling thread; threads that it starts later inherit it.
///
/// # Errors
/// Why the system does not permit it, in words. Playing goes on without, some milliseconds late under load.
pub fn raise() -> Result<(), String> {
    let level = thread_priority::ThreadPriorityValue::try_from(LEVEL)?;
    set_thread_priority_and_policy(
        thread_native_id(),
        ThreadPriority::Crossplatform(level),
        ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo),
    )
    .map_err(|e| match e {
        thread_priority::Error::OS(code) => std::io::Error::from_raw_os_error(code).to_string(),
        other => format!("{other:?}"),
    })
}
