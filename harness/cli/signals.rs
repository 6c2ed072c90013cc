//! Signals while a bench works: the work has a thread of its own, this one waits for what comes.
//!
//! In: what to do when a signal comes, and the work. Out: what the work gives. Never: an exit from inside.

use super::Failure;
use crate::exit::Exit;
use crate::problem::Problem;
use tokio::signal::unix::{SignalKind, signal};

/// Runs `work` on a thread of its own while this one waits for signals.
pub(super) fn with_signals<T: Send>(
    stop: impl Fn(Exit) + Send,
    work: impl FnOnce() -> T + Send,
) -> Result<T, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Problem::new(format!("cannot wait for signals: {e}")))?;
    let (finished, mut over) = tokio::sync::oneshot::channel();
    std::thread::scope(|scope| {
        let worker = scope.spawn(move || {
            let value = work();
            let _ = finished.send(());
            value
        });
        runtime.block_on(async {
            let hear = |kind| signal(kind).ok();
            let (mut interrupt, mut terminate, mut hang_up) =
                (hear(SignalKind::interrupt()), hear(SignalKind::terminate()), hear(SignalKind::hangup()));
            // Ctrl-Z would stop the loop with the pump on: it is refused.
            let mut suspend = hear(SignalKind::from_raw(rustix::process::Signal::TSTP.as_raw()));
            loop {
                tokio::select! {
                    biased;
                    _ = &mut over => break,
                    Some(()) = next(&mut interrupt) => stop(Exit::Interrupt),
                    Some(()) = next(&mut terminate) => stop(Exit::Terminate),
                    Some(()) = next(&mut hang_up) => stop(Exit::HangUp),
                    Some(()) = next(&mut suspend) => super::say(
                        "Ctrl-Z is refused while a bench is in use: the pump must not run on unattended. \
                         Ctrl-C switches it off and ends.",
                    ),
                }
            }
        });
        worker.join().map_err(|_| Problem::new("the bench thread failed").into())
    })
}

async fn next(heard: &mut Option<tokio::signal::unix::Signal>) -> Option<()> {
    match heard {
        Some(signal) => signal.recv().await,
        None => std::future::pending().await,
    }
}
