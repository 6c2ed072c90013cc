//! A device's end of a serial line: bytes in, lines out, answers at their time.
//!
//! In: bytes with the moment they begin to arrive. Out: lines with the moment they are worked on, and answers with
//! the moment their last byte has arrived at the other side. Never: more than a bounded number of bytes or lines.

use crate::clock::Moment;
use crate::virtual_bench::noise::Source;
use std::collections::VecDeque;
use std::time::Duration;

/// Longest line taken; what is longer counts as an overrun.
pub(crate) const LINE_MAX: usize = 256;

/// Lines waiting to be worked on at most; more are lost.
const WAITING_MAX: usize = 64;

/// Shortest and longest time a device thinks about a line, ms.
const THINKING_MS: (f64, f64) = (0.5, 2.0);

/// A line waiting to be worked on.
#[derive(Clone, Debug)]
pub(crate) struct Waiting {
    /// When it is worked on.
    pub(crate) at: Moment,
    /// When its answer has arrived; never where it has none.
    pub(crate) answer_at: Moment,
    /// The line, without its end.
    pub(crate) line: String,
    /// It was longer than the input buffer.
    pub(crate) overrun: bool,
}

/// One end of a line.
#[derive(Clone, Debug)]
pub(crate) struct Port {
    byte: Duration,
    thinking: Source,
    input: Vec<u8>,
    overrun: bool,
    heard_until: Moment,
    busy_until: Moment,
    sent_until: Moment,
    waiting: VecDeque<Waiting>,
    spare: Vec<String>,
    output: Vec<u8>,
    ready: VecDeque<(Moment, usize)>,
    /// Whether the device listens at all.
    pub(crate) deaf: bool,
}

impl Port {
    pub(crate) fn new(baud: u32, thinking: Source) -> Self {
        Port {
            // 8 data bits, one start, one stop.
            byte: Duration::from_nanos(10_000_000_000 / u64::from(baud.max(1))),
            thinking,
            input: Vec::with_capacity(LINE_MAX),
            overrun: false,
            heard_until: Moment::START,
            busy_until: Moment::START,
            sent_until: Moment::START,
            waiting: VecDeque::new(),
            spare: Vec::new(),
            output: Vec::new(),
            ready: VecDeque::new(),
            deaf: false,
        }
    }

    /// Time `bytes` bytes take on the line.
    pub(crate) fn time_of(&self, bytes: u32) -> Duration {
        self.byte * bytes
    }

    /// Takes bytes that begin to arrive at `now`. `expected` tells about how long the answer to a line will be.
    pub(crate) fn receive(&mut self, bytes: &[u8], now: Moment, expected: impl Fn(&str) -> usize) {
        self.heard_until = self.heard_until.max(now);
        for &byte in bytes {
            self.heard_until = self.heard_until + self.byte;
            if self.deaf {
                continue;
            }
            match byte {
                b'\r' | b'\n' => self.end_of_line(&expected),
                _ if self.input.len() < LINE_MAX => self.input.push(byte),
                _ => self.overrun = true,
            }
        }
    }

    fn end_of_line(&mut self, expected: &impl Fn(&str) -> usize) {
        if !self.input.is_empty() && self.waiting.len() < WAITING_MAX {
            let mut line = self.spare.pop().unwrap_or_default();
            line.clear();
            line.extend(self.input.iter().map(|&b| if b.is_ascii() { b as char } else { '?' }));
            let begin = self.heard_until.max(self.busy_until);
            let (least, most) = THINKING_MS;
            let thinking = Duration::from_nanos((self.thinking.uniform(least, most) * 1e6) as u64);
            self.busy_until = begin + thinking;
            let bytes = if self.overrun { 0 } else { expected(&line) };
            let answer_at = if bytes == 0 {
                Moment::NEVER
            } else {
                self.sent_until = self.busy_until.max(self.sent_until)
                    + self.time_of(u32::try_from(bytes + 2).unwrap_or(u32::MAX));
                self.sent_until
            };
            self.waiting.push_back(Waiting {
                at: begin + thinking / 2,
                answer_at,
                line,
                overrun: self.overrun,
            });
        }
        self.input.clear();
        self.overrun = false;
    }

    /// When the next line is worked on.
    pub(crate) fn next_work(&self) -> Moment {
        self.waiting.front().map_or(Moment::NEVER, |w| w.at)
    }

    /// The next line to work on.
    pub(crate) fn take_work(&mut self) -> Option<Waiting> {
        self.waiting.pop_front()
    }

    /// Gives a worked-on line back, with where the answer was appended; see [`Port::output`].
    pub(crate) fn worked(&mut self, waiting: Waiting, answered: usize) {
        if answered > 0 {
            let at = if waiting.answer_at == Moment::NEVER { waiting.at } else { waiting.answer_at };
            self.send(answered, at);
        }
        self.spare.push(waiting.line);
    }

    /// Where a device appends what it sends.
    pub(crate) fn output(&mut self) -> &mut Vec<u8> {
        &mut self.output
    }

    /// The last `bytes` bytes of the output, completed by a line end, arrive at `at`, or after what is under way.
    pub(crate) fn send(&mut self, bytes: usize, at: Moment) {
        self.output.extend_from_slice(b"\r\n");
        let at = self.ready.back().map_or(at, |(last, _)| at.max(*last));
        self.sent_until = self.sent_until.max(at);
        self.ready.push_back((at, bytes + 2));
    }

    /// When the next bytes arrive at the other side: of an answer that is ready, or of one still to be made.
    pub(crate) fn next_output(&self) -> Moment {
        let made = self.ready.front().map_or(Moment::NEVER, |(at, _)| *at);
        let to_make = self.waiting.iter().map(|w| w.answer_at).find(|at| *at != Moment::NEVER);
        made.min(to_make.unwrap_or(Moment::NEVER))
    }

    /// When the next bytes that are ready arrive.
    pub(crate) fn next_ready(&self) -> Moment {
        self.ready.front().map_or(Moment::NEVER, |(at, _)| *at)
    }

    /// Hands over the next ready bytes.
    pub(crate) fn hand_over(&mut self, take: impl FnOnce(&[u8])) {
        if let Some((_, bytes)) = self.ready.pop_front() {
            take(&self.output[..bytes]);
            self.output.drain(..bytes);
        }
    }
}
