//! Ports to a virtual bench inside this process, under the virtual clock or in step with the real one.
//!
//! In: bytes and moments. Out: bytes, at the moments the devices send them. Under the virtual clock time is whatever
//! the next thing to happen makes it, and nothing waits.

use super::{Arrival, Ports};
use crate::clock::{Moment, SystemClock};
use crate::exit::Exit;
use crate::problem::fault::Fault;
use crate::virtual_bench::{Device, VirtualBench};
use std::sync::{Arc, Mutex};

/// How fast bench time goes by.
#[derive(Clone, Copy, Debug)]
pub enum Pace {
    /// As fast as the machine goes.
    Virtual,
    /// In step with the system's clock.
    Real(SystemClock),
}

/// A wish to stop, set from another thread.
#[derive(Clone, Debug, Default)]
pub struct StopFlag(Arc<Mutex<Option<Exit>>>);

impl StopFlag {
    /// Asks the bench to end safely.
    pub fn set(&self, exit: Exit) {
        if let Ok(mut wish) = self.0.lock() {
            *wish = Some(exit);
        }
    }

    /// The wish, once.
    #[must_use]
    pub fn take(&self) -> Option<Exit> {
        self.0.lock().ok().and_then(|mut wish| wish.take())
    }
}

/// A virtual bench seen as ports; instrument `i` of the rig speaks to `links[i]`.
pub struct InProcess<B> {
    bench: B,
    /// Device behind each instrument; none for an instrument without a wire.
    links: Vec<Option<Device>>,
    /// Instrument behind each device.
    back: Vec<Option<usize>>,
    now: Moment,
    /// Questions the operator has not answered yet.
    questions: Vec<String>,
    pace: Pace,
    stop: StopFlag,
}

impl<B: VirtualBench> InProcess<B> {
    /// Connects instruments to the devices of the same name; a name without a device has no wire.
    pub fn new<'n>(
        bench: B,
        instruments: impl IntoIterator<Item = &'n str>,
        pace: Pace,
        stop: StopFlag,
    ) -> Self {
        let find = |name: &str| bench.devices().iter().position(|d| d == name).map(Device);
        let links: Vec<Option<Device>> = instruments.into_iter().map(find).collect();
        let mut back = vec![None; bench.devices().len()];
        for (instrument, device) in links.iter().enumerate() {
            if let Some(device) = device {
                back[device.0] = Some(instrument);
            }
        }
        InProcess { bench, links, back, now: Moment::START, questions: Vec::new(), pace, stop }
    }

    /// The same ports, their time beginning at `moment`: the bench has stood at rest until then, and what it said
    /// meanwhile nobody heard.
    #[must_use]
    pub fn starting_at(mut self, moment: Moment) -> Self {
        self.now = self.now.max(moment);
        self.bench.transmit(self.now, &mut |_, _| {});
        self
    }

    /// The bench behind the ports.
    #[cfg(feature = "door")]
    pub fn bench(&self) -> &B {
        &self.bench
    }
}

impl<B: VirtualBench> Ports for InProcess<B> {
    fn now(&self) -> Moment {
        self.now
    }

    fn wait(&mut self, deadline: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) -> Moment {
        let next = self.bench.next_output();
        let until = deadline.min(next).max(self.now);
        if let Pace::Real(clock) = self.pace {
            clock.sleep_until(until);
        }
        self.now = until;
        if let Some(exit) = self.stop.take() {
            take(until, Arrival::Stop(exit));
        }
        if next <= until {
            let back = &self.back;
            self.bench.transmit(until, &mut |device, bytes| {
                if let Some(instrument) = back[device.0] {
                    take(until, Arrival::Bytes(instrument, bytes));
                }
            });
        }
        // On the virtual bench the operator does what is asked, at once.
        for question in std::mem::take(&mut self.questions) {
            let answer = self.bench.operate(&question, until);
            take(until, Arrival::Answer(&answer));
        }
        until
    }

    fn send(&mut self, port: usize, bytes: &[u8]) -> Result<(), Fault> {
        if let Some(Some(device)) = self.links.get(port).copied() {
            self.bench.receive(device, bytes, self.now);
        }
        Ok(())
    }

    fn ask(&mut self, question: &str) {
        self.questions.push(question.to_owned());
    }

    fn show(&mut self, text: &str) {
        tracing::debug!(text, "shown to the operator");
    }
}
