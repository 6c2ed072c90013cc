//! Moves bytes between a bench and its ports until the run has ended.

use super::bench::Bench;
use super::ending::Ending;
use crate::clock::Moment;
use crate::exit::Exit;
use crate::port::{Arrival, Ports};
use crate::problem::fault::{Fault, FaultCode};
use std::time::Duration;

/// Longest time between two looks of the watcher, bench time.
pub const WATCH_EVERY: Duration = Duration::from_millis(100);
/// Longest time until the record of a real bench is handed to the system.
const HAND_OVER: Duration = Duration::from_millis(10);

/// Runs `bench` on `ports` from `from_step` to its end. `watch` sees the bench at least each [`WATCH_EVERY`].
pub fn drive<P: Ports>(
    bench: &mut Bench<'_>,
    ports: &mut P,
    from_step: usize,
    watch: &mut dyn FnMut(Moment, &Bench<'_>),
) -> Ending {
    let mut now = ports.now();
    let (mut next_watch, mut next_turn) = (now, now);
    bench.start(now, from_step);
    loop {
        bench.advance(now);
        send(bench, ports, now);
        if now >= next_watch {
            watch(now, bench);
            next_watch = now + WATCH_EVERY;
        }
        if now >= next_turn {
            bench.turn();
            next_turn = now + HAND_OVER;
        }
        if let Some(ending) = bench.ending() {
            return ending.clone();
        }
        now = ports.wait(bench.wake(), &mut |at, arrival| match arrival {
            Arrival::Bytes(port, bytes) => bench.receive(port, at, bytes),
            Arrival::Lost(port, fault) => bench.port_lost(port, at, fault),
            Arrival::Answer(text) => bench.answer(text, at),
            Arrival::Stop(exit) => bench.stop(exit, at),
        });
    }
}

/// Sends what the bench has to send and shows what it has to ask.
fn send<P: Ports>(bench: &mut Bench<'_>, ports: &mut P, now: Moment) {
    let mut lost: Vec<(usize, Fault)> = Vec::new();
    for (port, bytes) in bench.outgoing().iter_mut().enumerate() {
        if !bytes.is_empty() {
            if let Err(fault) = ports.send(port, bytes) {
                lost.push((port, fault));
            }
            bytes.clear();
        }
    }
    for (port, fault) in lost {
        bench.port_lost(port, now, fault);
    }
    for note in bench.take_notes() {
        ports.show(&note);
    }
    for question in bench.take_questions() {
        ports.ask(&question);
    }
}

/// Runs `bench` as [`drive`] does; a panic on the way still sends the off command.
pub fn drive_guarded<P: Ports>(
    bench: &mut Bench<'_>,
    ports: &mut P,
    watch: &mut dyn FnMut(Moment, &Bench<'_>),
) -> Ending {
    let run = std::panic::AssertUnwindSafe(|| drive(bench, ports, 0, watch));
    match std::panic::catch_unwind(run) {
        Ok(ending) => ending,
        Err(_) => {
            for (port, bytes) in bench.off_commands() {
                // The port may be the very thing that failed; every port is tried.
                let _ = ports.send(port, &bytes);
            }
            panicked("the program failed while the bench was running")
        }
    }
}

/// How a run ends that a panic stopped.
fn panicked(text: &str) -> Ending {
    let fault = Fault::new(FaultCode::Io, "dutycup", text, "please report it with the log");
    Ending {
        exit: Exit::Bug,
        fault: Some(fault),
        safe_state: "the pump's off command was sent; not verified".into(),
        verified: false,
    }
}
