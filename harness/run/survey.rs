//! A survey of a bench: who answers, what every channel reads, how noisy, how fast. Nothing is set.
//!
//! In: a rig's desk and its ports. Out: a row an instrument and a row a channel. Never: a command.

use super::desk::{Desk, Events};
use crate::instrument::InstrumentEvent;
use crate::port::{Arrival, Ports};
use crate::problem::fault::{Fault, FaultCode};
use crate::problem::safe_text;
use crate::script::rig::Rig;
use crate::script::role::Direction;
use std::time::Duration;

/// Time between two looks at what is known so far.
const LOOK: Duration = Duration::from_millis(500);

/// What one instrument showed.
#[derive(Clone, Debug, Default)]
pub struct Found {
    /// Its name in the rig.
    pub name: String,
    /// What it says it is, made safe to show.
    pub identity: String,
    /// Whether it answered as expected.
    pub ready: bool,
    /// Round trips, sorted.
    pub round_trips: Vec<Duration>,
    /// What went wrong, in order.
    pub faults: Vec<Fault>,
    /// Bytes that made no sense.
    pub discarded: usize,
}

/// What one channel read.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// Readings.
    pub count: u64,
    /// Mean, role units.
    pub mean: f64,
    /// Standard deviation, role units.
    pub sd: f64,
    /// Latest, role units.
    pub latest: f64,
    sum_squares: f64,
}

impl Seen {
    /// Takes a reading (Welford's recurrence).
    fn take(&mut self, value: f64) {
        self.count += 1;
        let before = value - self.mean;
        self.mean += before / self.count as f64;
        self.sum_squares += before * (value - self.mean);
        self.latest = value;
        if self.count > 1 {
            self.sd = (self.sum_squares / (self.count - 1) as f64).sqrt();
        }
    }
}

/// What a bench showed.
#[derive(Clone, Debug, Default)]
pub struct Survey {
    /// Instruments, in rig order.
    pub instruments: Vec<Found>,
    /// Channels, in rig order.
    pub channels: Vec<Seen>,
}

/// Listens to a bench for `span`. `failed` are the ports that could not be opened; `show` is handed what is known so
/// far, twice a second.
pub fn survey<P: Ports>(
    rig: &Rig,
    desk: &mut Desk<'_>,
    ports: &mut P,
    failed: Vec<(usize, Fault)>,
    span: Duration,
    show: &mut dyn FnMut(&Survey),
) -> Survey {
    let mut out = vec![Vec::new(); desk.len()];
    let mut events = Events::new();
    let mut survey = empty(rig);
    let mut now = ports.now();
    let end = now + span;
    let mut look = now + LOOK;
    desk.start(now);
    for (index, fault) in failed {
        desk.port_lost(index, now);
        survey.instruments[index].faults.push(fault);
    }
    while now < end {
        desk.advance(now, &mut out, &mut events);
        take(rig, &mut survey, &mut events);
        for (port, bytes) in out.iter_mut().enumerate().filter(|(_, b)| !b.is_empty()) {
            if let Err(fault) = ports.send(port, bytes) {
                desk.port_lost(port, now);
                survey.instruments[port].faults.push(fault);
            }
            bytes.clear();
        }
        let mut stopped = false;
        now = ports.wait(desk.wake().min(end).min(look), &mut |at, arrival| match arrival {
            Arrival::Bytes(port, bytes) => desk.receive(port, at, bytes, &mut events),
            Arrival::Lost(port, fault) => {
                desk.port_lost(port, at);
                if let Some(found) = survey.instruments.get_mut(port) {
                    found.faults.push(fault);
                }
            }
            Arrival::Answer(_) => {}
            Arrival::Stop(_) => stopped = true,
        });
        take(rig, &mut survey, &mut events);
        if stopped {
            break;
        }
        if now >= look {
            look = now + LOOK;
            show(&survey);
        }
    }
    for found in &mut survey.instruments {
        found.round_trips.sort_unstable();
        if !found.ready && found.faults.is_empty() {
            let help = "check its power, its cable, the port and the speed in the rig file";
            found.faults.push(Fault::new(FaultCode::Timeout, found.name.clone(), "no sign of it", help));
        }
    }
    survey
}

fn empty(rig: &Rig) -> Survey {
    let found = |name: &String| Found { name: name.clone(), ..Found::default() };
    Survey {
        instruments: rig.instruments.iter().map(|i| found(&i.name)).collect(),
        channels: rig.channels.iter().map(|_| Seen::default()).collect(),
    }
}

fn take(rig: &Rig, survey: &mut Survey, events: &mut Events) {
    for (instrument, event) in events.drain(..) {
        let found = &mut survey.instruments[instrument];
        match event {
            InstrumentEvent::Ready { identity } => {
                found.ready = true;
                found.identity = safe_text(identity.as_deref().unwrap_or_default());
            }
            InstrumentEvent::Reading { channel, value, round_trip, .. } => {
                found.round_trips.extend(round_trip);
                survey.channels[channel].take(value);
            }
            InstrumentEvent::Discarded { bytes, .. } => found.discarded += bytes.len(),
            InstrumentEvent::Fault(fault) => found.faults.push(fault),
            InstrumentEvent::Told { .. }
            | InstrumentEvent::Flag { .. }
            | InstrumentEvent::Question { .. } => {}
        }
    }
    debug_assert_eq!(rig.channels.len(), survey.channels.len());
}

/// The value below which a share of sorted round trips lies.
#[must_use]
pub fn percentile(sorted: &[Duration], share: f64) -> Option<Duration> {
    let last = sorted.len().checked_sub(1)?;
    sorted.get((share * last as f64).round() as usize).copied()
}

/// Whether a channel is read at all.
#[must_use]
pub fn is_read(rig: &Rig, channel: usize) -> bool {
    rig.channels[channel].role.direction() == Direction::Read
}
