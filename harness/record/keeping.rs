//! Who vouches for the record, and when: here, now and then, or on a thread of its own each 100 ms.
//!
//! In: how far the system has taken the files. Out: syncs and lines of `sums.csv`, through a [`Keeper`]; the fault of
//! a sync that failed. Never: a sync on the thread of the control loop in real time.

use super::disk;
use super::journal::Keeper;
use super::sums::Extent;
use crate::problem::fault::{Fault, FaultCode};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// Time between two syncs in real time.
pub(super) const SYNC_EVERY: Duration = Duration::from_millis(100);

/// Bytes between two lines of `sums.csv` in virtual time.
const SUM_EVERY_BYTES: u64 = 1 << 20;

/// What the writer and the keeper's thread share.
#[derive(Default)]
struct Shared {
    state: Mutex<State>,
    changed: Condvar,
    failed: AtomicBool,
}

#[derive(Default)]
struct State {
    reached: [Extent; 2],
    stop: bool,
    fault: Option<Fault>,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Where the keeper is.
enum At {
    /// With the writer; bytes at the last line of `sums.csv`.
    Here(Keeper, u64),
    Thread(JoinHandle<Keeper>),
    Over,
}

/// The keeper of a record, wherever it is.
pub(super) struct Keeping {
    at: At,
    shared: Arc<Shared>,
}

impl Keeping {
    /// A keeper that stays with the writer.
    pub(super) fn here(keeper: Keeper) -> Self {
        let shared = Arc::default();
        let at = At::Here(keeper, 0);
        Keeping { at, shared }
    }

    /// Moves the keeper to a thread of its own.
    pub(super) fn move_to_a_thread(&mut self, dir: &Path) -> Result<(), Fault> {
        self.at = match std::mem::replace(&mut self.at, At::Over) {
            At::Here(keeper, _) => {
                let shared = Arc::clone(&self.shared);
                let thread = std::thread::Builder::new().name(String::from("record-sync"));
                let handle = thread.spawn(move || keep_in_background(keeper, &shared));
                At::Thread(handle.map_err(|e| disk::fault(dir, "cannot start a thread", &e))?)
            }
            as_before => as_before,
        };
        Ok(())
    }

    /// Whether it has ended.
    pub(super) fn is_over(&self) -> bool {
        matches!(self.at, At::Over)
    }

    /// The fault the thread met, if it did.
    #[inline]
    pub(super) fn fault(&self) -> Option<Fault> {
        if self.shared.failed.load(Ordering::Relaxed) { self.shared.lock().fault.clone() } else { None }
    }

    /// Takes note of how far the system has taken the files.
    pub(super) fn reached(&mut self, reached: [Extent; 2]) -> Result<(), Fault> {
        match &mut self.at {
            At::Here(keeper, summed) => {
                let bytes = reached[0].bytes + reached[1].bytes;
                if bytes < *summed + SUM_EVERY_BYTES {
                    return Ok(());
                }
                *summed = bytes;
                keeper.keep(reached, false)
            }
            // One that ended of itself left its fault; one that panicked could not.
            At::Thread(handle) if handle.is_finished() && !self.shared.failed.load(Ordering::Relaxed) => {
                Err(thread_gone())
            }
            At::Thread(_) => {
                self.shared.lock().reached = reached;
                Ok(())
            }
            At::Over => Ok(()),
        }
    }

    /// Ends the thread, if there is one, and brings everything to the disk. A second call does nothing.
    pub(super) fn end(&mut self, reached: [Extent; 2]) -> Result<(), Fault> {
        let mut keeper = match std::mem::replace(&mut self.at, At::Over) {
            At::Over => return Ok(()),
            At::Here(keeper, _) => keeper,
            At::Thread(handle) => {
                self.shared.lock().stop = true;
                self.shared.changed.notify_all();
                handle.join().map_err(|_| thread_gone())?
            }
        };
        match self.shared.lock().fault.clone() {
            Some(fault) => Err(fault),
            None => keeper.keep(reached, true),
        }
    }
}

fn thread_gone() -> Fault {
    let seen = "the thread that syncs the record ended";
    Fault::new(FaultCode::Io, "record", seen, "what was synced before is kept and readable")
}

/// The second thread: every [`SYNC_EVERY`] it brings to the disk what the system has taken.
fn keep_in_background(mut keeper: Keeper, shared: &Shared) -> Keeper {
    let mut kept = [Extent::default(); 2];
    let mut state = shared.lock();
    while !state.stop {
        let woken = shared.changed.wait_timeout(state, SYNC_EVERY);
        state = woken.unwrap_or_else(PoisonError::into_inner).0;
        let reached = state.reached;
        if reached == kept || state.stop {
            continue;
        }
        drop(state);
        let done = keeper.keep(reached, true);
        state = shared.lock();
        kept = reached;
        if let Err(fault) = done {
            state.fault = Some(fault);
            shared.failed.store(true, Ordering::Relaxed);
            break;
        }
    }
    drop(state);
    keeper
}
