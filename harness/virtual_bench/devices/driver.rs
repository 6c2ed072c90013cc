//! The driver: owns the pump output and the solenoid, and the watchdog over both.
//!
//! Lines: `ID?`; `D 45.00` duty; `S?` state; `V 1`, `V 0` solenoid; `B` heartbeat; `ARM`; `OFF`; `SRC HOST`,
//! `SRC CTRL`. After `OFF`, a trip of the watchdog, an emergency stop or a restart the output stays off until `ARM`;
//! a duty told while it is off is taken but `ARM` begins at 0. `ARM` opens the solenoid, `V` moves it; after the
//! output went off it closes by itself a little later, so that the line empties first.

use super::{Answer, World, number};
use crate::clock::Moment;
use crate::virtual_bench::config::DriverConfig;
use crate::virtual_bench::noise::Source;
use crate::virtual_bench::plant::Plant;
use std::time::Duration;

const IDENTITY: &str = "ID dutycup virtual driver 1.0";

/// Driver.
#[derive(Clone, Debug)]
pub(crate) struct Driver {
    c: DriverConfig,
    noise: Source,
    duty_pct: f64,
    armed: bool,
    tripped: bool,
    estop: bool,
    from_controller: bool,
    solenoid: bool,
    last_beat: Moment,
    /// When the solenoid closes by itself.
    closes_at: Moment,
    /// Longest time the pump stayed on after the last heartbeat.
    longest: Duration,
}

impl Driver {
    pub(crate) fn new(c: &DriverConfig, noise: Source) -> Self {
        Driver {
            c: c.clone(),
            noise,
            duty_pct: 0.0,
            armed: false,
            tripped: false,
            estop: false,
            from_controller: false,
            solenoid: false,
            last_beat: Moment::START,
            closes_at: Moment::NEVER,
            longest: Duration::ZERO,
        }
    }

    /// When something happens by itself: the watchdog, or the solenoid closing.
    pub(crate) fn next_event(&self) -> Moment {
        let trip = if self.armed { self.last_beat + self.trip() } else { Moment::NEVER };
        trip.min(self.closes_at)
    }

    /// What happens by itself at `now`, the plant brought there.
    pub(crate) fn event(&mut self, plant: &mut Plant, now: Moment) {
        if self.armed && now >= self.last_beat + self.trip() {
            self.tripped = true;
            self.off(plant, now);
        }
        if now >= self.closes_at {
            self.closes_at = Moment::NEVER;
            self.solenoid = false;
            self.apply(plant);
        }
    }

    fn trip(&self) -> Duration {
        Duration::from_millis(u64::from(self.c.watchdog_ms))
    }

    /// The emergency stop is pressed or released; releasing it switches nothing on.
    pub(crate) fn press(&mut self, pressed: bool, plant: &mut Plant, now: Moment) {
        self.estop = pressed;
        if pressed {
            self.off(plant, now);
        }
    }

    /// The firmware starts anew.
    pub(crate) fn restart(&mut self, plant: &mut Plant, now: Moment) {
        self.off(plant, now);
        self.tripped = false;
        self.from_controller = false;
        self.apply(plant);
    }

    /// Whether the pump output is on: armed, and driven by the host with a duty above 0, or by the controller, which
    /// may raise its duty at any time.
    pub(crate) fn is_on(&self, plant: &Plant) -> bool {
        self.armed && (self.from_controller || plant.drive() > 0.0)
    }

    /// Longest time the pump stayed on after the last heartbeat, as of `now`.
    pub(crate) fn after_last_heartbeat(&self, plant: &Plant, now: Moment) -> Duration {
        if self.is_on(plant) { self.longest.max(now.since(self.last_beat)) } else { self.longest }
    }

    /// Notes how long the pump has been on since the last heartbeat; called before either changes.
    fn note(&mut self, plant: &Plant, now: Moment) {
        self.longest = self.after_last_heartbeat(plant, now);
    }

    fn off(&mut self, plant: &mut Plant, now: Moment) {
        self.note(plant, now);
        self.armed = false;
        self.duty_pct = 0.0;
        if self.solenoid {
            self.closes_at = now + Duration::from_millis(u64::from(self.c.solenoid_delay_ms));
        }
        self.apply(plant);
    }

    fn arm(&mut self, plant: &mut Plant, now: Moment) {
        self.note(plant, now);
        if !self.armed {
            self.duty_pct = 0.0;
        }
        self.armed = true;
        self.tripped = false;
        self.last_beat = now;
        self.solenoid = true;
        self.closes_at = Moment::NEVER;
        self.apply(plant);
    }

    fn apply(&self, plant: &mut Plant) {
        let step = self.c.duty_step_pct;
        let duty = if step > 0.0 { (self.duty_pct / step).round() * step } else { self.duty_pct };
        plant.inputs.enabled = self.armed;
        plant.inputs.from_controller = self.from_controller;
        plant.inputs.solenoid = self.solenoid;
        plant.set_duty(duty / 100.0);
    }

    fn state(&mut self, world: &World<'_>, out: &mut Vec<u8>) {
        let on = self.is_on(world.plant);
        let mut duty = if on { world.plant.drive() * 100.0 } else { 0.0 };
        if duty > 0.0 {
            duty = duty * (1.0 + world.errors.duty_gain)
                + world.errors.duty_zero_pct
                + self.noise.normal(self.c.readback_noise_pct);
        }
        out.extend_from_slice(b"S duty=");
        number::fixed(out, duty.clamp(0.0, 100.0), 2, false);
        for (name, value) in [(" on=", on), (" estop=", self.estop), (" tripped=", self.tripped)] {
            out.extend_from_slice(name.as_bytes());
            out.push(b'0' + u8::from(value));
        }
    }

    /// Does a line that changes something; what is wrong with it otherwise.
    fn command(&mut self, line: &str, world: &mut World<'_>) -> Result<(), &'static str> {
        let now = world.now;
        let (word, value) = line.split_once(' ').map_or((line, ""), |(w, v)| (w, v.trim()));
        match (word, value) {
            ("B", "") => {
                self.note(world.plant, now);
                self.last_beat = now;
            }
            ("D", value) => {
                let duty = number::parse(value).ok_or("duty is not a number")?;
                if !(0.0..=100.0).contains(&duty) {
                    return Err("duty is not within 0 to 100");
                }
                self.note(world.plant, now);
                self.duty_pct = duty;
                self.apply(world.plant);
            }
            ("V", "0" | "1") => {
                self.solenoid = value == "1";
                self.closes_at = Moment::NEVER;
                self.apply(world.plant);
            }
            ("OFF", "") => self.off(world.plant, now),
            ("ARM", "") if self.estop => return Err("emergency stop is pressed"),
            ("ARM", "") => self.arm(world.plant, now),
            ("SRC", "HOST" | "CTRL") => {
                self.note(world.plant, now);
                self.from_controller = value == "CTRL";
                self.apply(world.plant);
            }
            _ => return Err("unknown command"),
        }
        Ok(())
    }
}

impl Answer for Driver {
    fn expected(&self, line: &str) -> usize {
        match line.trim() {
            "" => 0,
            "S?" => 37,
            "ID?" => IDENTITY.len(),
            _ => 2,
        }
    }

    fn answer(&mut self, line: &str, world: &mut World<'_>, out: &mut Vec<u8>) {
        match line.trim() {
            "" => {}
            "S?" => self.state(world, out),
            "ID?" => out.extend_from_slice(IDENTITY.as_bytes()),
            line => match self.command(line, world) {
                Ok(()) => out.extend_from_slice(b"OK"),
                Err(what) => {
                    out.extend_from_slice(b"ERR ");
                    out.extend_from_slice(what.as_bytes());
                }
            },
        }
    }
}
