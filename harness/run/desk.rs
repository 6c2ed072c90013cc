//! The desk: every instrument of the rig, and the way from a role's value to a command.
//!
//! In: set points in role units, bytes, moments. Out: commands queued at instruments, bytes to send, events.
//! Never: a value that is not finite or lies outside its channel's range.

use crate::clock::Moment;
use crate::instrument::{Instrument, InstrumentEvent};
use crate::problem::fault::{Fault, FaultCode};
use crate::problem::{Problem, Problems};
use crate::quantity::{Absolute, Gauge};
use crate::run::readings::Readings;
use crate::script::rig::{ChannelSpec, Rig};
use crate::script::role::{Direction, Role};

/// The instruments, and what each is waiting to be told.
#[derive(Debug)]
pub struct Desk<'a> {
    rig: &'a Rig,
    instruments: Vec<Instrument>,
    wakes: Vec<Moment>,
    /// Commands queued and not yet acknowledged, a channel each.
    pending: Vec<u32>,
    /// Last value told, role units (volts for boost), a channel each.
    told: Vec<Option<f64>>,
    scratch: Vec<InstrumentEvent>,
}

/// What an instrument reports, with its number.
pub type Events = Vec<(usize, InstrumentEvent)>;

impl<'a> Desk<'a> {
    /// Builds every instrument.
    ///
    /// # Errors
    /// Problems of the rig that only the dialect can see.
    pub fn new(rig: &'a Rig) -> Result<Self, Problems> {
        let mut problems = Problems::default();
        let mut instruments = Vec::new();
        for index in 0..rig.instruments.len() {
            match Instrument::new(index, rig) {
                Ok(instrument) => instruments.push(instrument),
                Err(mut found) => problems.0.append(&mut found.0),
            }
        }
        problems.into_result()?;
        Ok(Desk {
            rig,
            wakes: vec![Moment::START; instruments.len()],
            instruments,
            pending: vec![0; rig.channels.len()],
            told: vec![None; rig.channels.len()],
            scratch: Vec::new(),
        })
    }

    /// Instruments there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.instruments.len()
    }

    /// Whether there is no instrument at all.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn is_empty(&self) -> bool {
        self.instruments.is_empty()
    }

    /// The channel of a role.
    #[must_use]
    pub fn channel(&self, role: &Role) -> Option<usize> {
        self.rig.channel_index(role)
    }

    /// Whether a person plays a role.
    #[must_use]
    pub fn by_hand(&self, role: &Role) -> bool {
        self.rig.by_hand(role)
    }

    /// Roles that a person reads, in rig order.
    pub fn read_by_hand(&self) -> impl Iterator<Item = &Role> {
        let read = |c: &&ChannelSpec| c.by_hand() && c.role.direction() == Direction::Read;
        self.rig.channels.iter().filter(read).map(|c| &c.role)
    }

    /// Has roles read now that a person reads; the rest is read anyway. All of an instrument's come in one question.
    pub fn request(&mut self, roles: &[Role], now: Moment) {
        for role in roles {
            let Some(channel) = self.channel(role).filter(|_| self.by_hand(role)) else {
                continue;
            };
            let index = self.rig.channels[channel].instrument;
            self.instruments[index].request(channel, now);
            self.wakes[index] = now;
        }
    }

    /// Starts every instrument: identity first.
    pub fn start(&mut self, now: Moment) {
        for (instrument, wake) in self.instruments.iter_mut().zip(&mut self.wakes) {
            instrument.start(now);
            *wake = now;
        }
    }

    /// Bytes from an instrument.
    pub fn receive(&mut self, index: usize, now: Moment, bytes: &[u8], events: &mut Events) {
        if let Some(instrument) = self.instruments.get_mut(index) {
            instrument.receive(now, bytes, &mut self.scratch);
            events.extend(self.scratch.drain(..).map(|event| (index, event)));
            self.wakes[index] = now;
        }
    }

    /// An instrument's port is gone.
    pub fn port_lost(&mut self, index: usize, now: Moment) {
        if let Some(instrument) = self.instruments.get_mut(index) {
            instrument.port_lost(now);
            self.wakes[index] = Moment::NEVER;
        }
    }

    /// Lets instruments whose moment has come do what they have to do; `send(index, bytes)` for what goes out.
    pub fn advance(&mut self, now: Moment, out: &mut [Vec<u8>], events: &mut Events) {
        for (index, instrument) in self.instruments.iter_mut().enumerate() {
            if self.wakes[index] <= now {
                instrument.advance(now, &mut out[index], &mut self.scratch);
                events.extend(self.scratch.drain(..).map(|event| (index, event)));
                self.wakes[index] = instrument.wake();
            }
        }
    }

    /// The next moment some instrument wants to be advanced.
    #[must_use]
    pub fn wake(&self) -> Moment {
        self.wakes.iter().copied().min().unwrap_or(Moment::NEVER)
    }

    /// Sets a role, role units. Boost is turned into the sensor's volts with the ambient pressure.
    ///
    /// # Errors
    /// `CONFIG` where the role has no channel or the value may not be sent.
    pub fn set(&mut self, role: &Role, value: f64, readings: &Readings, now: Moment) -> Result<(), Fault> {
        let value = if *role == Role::Boost { self.boost_volts(value, readings)? } else { value };
        self.tell(role, value, now, false)
    }

    /// Sends a command before anything else that waits at its instrument.
    ///
    /// # Errors
    /// As [`Desk::set`].
    pub fn set_urgent(&mut self, role: &Role, value: f64, now: Moment) -> Result<(), Fault> {
        self.tell(role, value, now, true)
    }

    fn tell(&mut self, role: &Role, value: f64, now: Moment, urgent: bool) -> Result<(), Fault> {
        let refuse = |why: &str| {
            Fault::new(FaultCode::Config, role.word(), why.to_owned(), "correct the rig or scenario")
        };
        let channel = self.channel(role).ok_or_else(|| refuse("no instrument of the rig sets it"))?;
        let spec = &self.rig.channels[channel];
        let (low, high) = spec.range;
        if !value.is_finite() || value < low || value > high {
            return Err(refuse(&format!("{value} lies outside the channel's range {low} to {high}")));
        }
        let instrument = &mut self.instruments[spec.instrument];
        if urgent {
            instrument.tell_urgent(channel, value, now)?;
        } else {
            instrument.tell(channel, value, now)?;
        }
        self.wakes[spec.instrument] = now;
        self.pending[channel] = 1;
        self.told[channel] = Some(value);
        Ok(())
    }

    /// Volts that show the controller a gauge pressure (kPa): linear between the sensor's two points, at the ambient
    /// pressure that is measured or stated.
    fn boost_volts(&self, gauge_kpa: f64, readings: &Readings) -> Result<f64, Fault> {
        let ambient = readings.latest(&Role::AmbientPressure).map(|r| Absolute(r.value));
        self.rig.engine.boost_volts(Gauge(gauge_kpa), ambient).ok_or_else(|| {
            let seen = "the rig has no manifold sensor data";
            Fault::new(FaultCode::Config, "boost", seen, "add engine.boost_sensor")
        })
    }

    /// A command of a channel was acknowledged.
    pub fn acknowledged(&mut self, channel: usize) {
        if let Some(pending) = self.pending.get_mut(channel) {
            *pending = 0;
        }
    }

    /// Whether a role's last command is still on its way.
    #[must_use]
    pub fn is_pending(&self, role: &Role) -> bool {
        self.channel(role).is_some_and(|c| self.pending[c] > 0)
    }

    /// The last value told to a role, role units (volts for boost).
    #[must_use]
    pub fn told(&self, role: &Role) -> Option<f64> {
        self.channel(role).and_then(|c| self.told[c])
    }

    /// The bytes of the safe state command, for each instrument that takes it.
    #[must_use]
    pub fn off_commands(&self) -> Vec<(usize, Vec<u8>)> {
        let channel = self.channel(&Role::SafeState);
        let bytes = channel.map(|c| {
            let index = self.rig.channels[c].instrument;
            (index, self.instruments[index].command_bytes(c, 1.0))
        });
        bytes.into_iter().collect()
    }

    /// The operator's answer for a channel.
    ///
    /// # Errors
    /// What is wrong with the answer.
    pub fn answer(
        &mut self,
        channel: usize,
        text: &str,
        now: Moment,
        events: &mut Events,
    ) -> Result<(), Box<Problem>> {
        let index = self.rig.channels[channel].instrument;
        self.wakes[index] = now;
        self.instruments[index].answer(channel, text, now, &mut self.scratch)?;
        events.extend(self.scratch.drain(..).map(|event| (index, event)));
        Ok(())
    }
}
