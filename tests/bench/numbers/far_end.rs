//! The far end of serial lines: instruments that answer at a line's own rate, on pseudo-terminals.
//!
//! In: how many lines, at what rate. Out: paths to open, and a thread that takes each request, lets the time pass that
//! request and answer need on the wire, and then answers. It runs with real-time priority where permitted, for it
//! stands for hardware. Never: an answer before its last byte could have arrived.

use dutycup::door::clock::{Moment, SystemClock};
use dutycup::door::port::priority;
use dutycup::door::port::pty::Pty;
use rustix::event::{PollFd, PollFlags, Timespec};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

/// A query of 20 bytes with its end.
pub(crate) const QUERY: &str = "MEAS:PRES? DEF,0.01";
/// An answer of 16 bytes.
pub(crate) const ANSWER: &[u8; 16] = b"+4.123450000E2\r\n";
/// Time before an answer that is not slept through.
const AWAKE_BEFORE: Duration = Duration::from_micros(60);
/// Bits of a character on the wire: start, eight of data, stop.
const CHARACTER_BITS: u32 = 10;

/// How the far end of a line behaves.
#[derive(Clone, Copy)]
pub(crate) enum Kind {
    /// Answers each request line, at this rate in bits a second.
    Answers(u32),
    /// Answers each request line at once.
    AtOnce,
    /// Takes everything and says nothing.
    Silent,
}

/// Lines that are being served.
pub(crate) struct FarEnd {
    /// Where to open each line.
    pub(crate) paths: Vec<PathBuf>,
    answered: Arc<AtomicU64>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

/// Time that a request and its answer take on the wire.
pub(crate) fn exchange_time(baud: u32) -> Duration {
    let bytes = QUERY.len() + 1 + ANSWER.len();
    Duration::from_secs_f64(bytes as f64 * f64::from(CHARACTER_BITS) / f64::from(baud))
}

impl FarEnd {
    /// Opens the lines and starts to serve them.
    pub(crate) fn start(kinds: &[Kind]) -> FarEnd {
        let ptys: Vec<Pty> = kinds.iter().map(|_| Pty::open().expect("a pseudo-terminal")).collect();
        let paths = ptys.iter().map(|p| p.path().to_owned()).collect();
        let (stop, answered) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU64::new(0)));
        let (stopped, count, kinds) = (stop.clone(), answered.clone(), kinds.to_vec());
        let thread = std::thread::spawn(move || {
            // Without the priority the lines are served later, and the table says that it was not permitted.
            let _ = priority::raise();
            serve(&ptys, &kinds, &stopped, &count);
        });
        FarEnd { paths, answered, stop, thread: Some(thread) }
    }

    /// Answers given so far.
    pub(crate) fn answered(&self) -> u64 {
        self.answered.load(Ordering::Relaxed)
    }
}

impl Drop for FarEnd {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            thread.join().expect("the far end");
        }
    }
}

fn serve(ptys: &[Pty], kinds: &[Kind], stop: &AtomicBool, answered: &AtomicU64) {
    let clock = SystemClock::start();
    let mut due = vec![Moment::NEVER; ptys.len()];
    let mut chunk = [0; 4096];
    let mut fds: Vec<PollFd<'_>> = ptys.iter().map(|p| PollFd::new(&p.master, PollFlags::IN)).collect();
    while !stop.load(Ordering::Relaxed) {
        let now = clock.now();
        for (pty, due) in ptys.iter().zip(&mut due).filter(|(_, due)| **due <= now) {
            *due = Moment::NEVER;
            rustix::io::write(&pty.master, ANSWER).expect("the answer is taken");
            answered.fetch_add(1, Ordering::Relaxed);
        }
        let next = due.iter().copied().min().unwrap_or(Moment::NEVER);
        // Close to an answer's moment this does not sleep: hardware is not late.
        let span = (next - AWAKE_BEFORE).since(clock.now()).min(Duration::from_millis(20));
        let timeout = Timespec { tv_sec: 0, tv_nsec: i64::from(span.subsec_nanos()) };
        if rustix::event::poll(&mut fds, Some(&timeout)).unwrap_or(0) == 0 {
            continue;
        }
        let now = clock.now();
        for (i, fd) in fds.iter().enumerate() {
            if !fd.revents().contains(PollFlags::IN) {
                continue;
            }
            let n = rustix::io::read(&ptys[i].master, &mut chunk).unwrap_or(0);
            if chunk[..n].contains(&b'\n') {
                match kinds[i] {
                    Kind::Answers(baud) => due[i] = now + exchange_time(baud),
                    Kind::AtOnce => due[i] = now,
                    Kind::Silent => {}
                }
            }
        }
    }
}
