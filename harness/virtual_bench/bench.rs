//! The bench: plant and devices under one clock, advanced only as far as somebody looks.
//!
//! In: bytes and moments. Out: bytes at their moments. What happens by itself (a line of the scale, the watchdog, a
//! mishap) happens in order of time between the calls. Never: a step of the plant that nobody needs.

use super::config::{Config, ErrorSet};
use super::devices::port::Port;
use super::devices::{Answer, Driver, Generator, Logger, LoggerNoise, Scale, Supply, World};
use super::noise::{self, Source};
#[cfg(feature = "door")]
use super::plant;
use super::plant::Plant;
#[cfg(feature = "door")]
use super::plant::Settled;
use super::{Device, VirtualBench, mishaps};
use crate::chance::Seed;
use crate::clock::Moment;
use crate::problem::Problems;
use std::time::Duration;

/// Names of the devices; the numbers below are places in this list.
const NAMES: [&str; 5] = ["generator", "supply", "driver", "logger", "scale"];
const GENERATOR: usize = 0;
const SUPPLY: usize = 1;
pub(super) const DRIVER: usize = 2;
const LOGGER: usize = 3;
const SCALE: usize = 4;

/// The virtual bench.
#[derive(Clone, Debug)]
pub struct Bench {
    pub(super) config: Config,
    pub(super) errors: ErrorSet,
    pub(super) plant: Plant,
    names: Vec<String>,
    ports: [Port; 5],
    generator: Generator,
    supply: Supply,
    pub(super) driver: Driver,
    pub(super) logger: Logger,
    pub(super) scale: Scale,
    pub(super) mishaps: mishaps::Mishaps,
    now: Moment,
    /// Steps of the plant per nanosecond of the harness's clock.
    /// When the operator began to look at the reference clock.
    reference_from: Option<Moment>,
    steps_per_ns: f64,
}

/// What is true on the bench; for tests of what the analysis made of the readings, which never sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg(feature = "door")]
pub struct Truth {
    /// Flow out of the nozzles, mL/min.
    pub flow_ml_min: f64,
    /// Line pressure, gauge kPa.
    pub line_pressure_kpa: f64,
    /// Mass in the cup, g.
    pub cup_g: f64,
    /// Volume in the tank, mL.
    pub tank_ml: f64,
    /// Duty at the pump, %.
    pub duty_pct: f64,
    /// Whether the solenoid is open.
    pub solenoid_open: bool,
    /// Voltage at the supply terminals, V.
    pub supply_v: f64,
    /// Winding temperature, degC.
    pub winding_degc: f64,
    /// Water temperature, degC.
    pub water_degc: f64,
    /// The instruments' systematic errors.
    pub errors: ErrorSet,
}

impl Bench {
    /// A bench as the section describes it, at rest.
    ///
    /// # Errors
    /// Whatever the section has out of range.
    pub fn new(config: Config, seed: Seed) -> Result<Bench, Problems> {
        config.check()?;
        let errors = noise::errors(&config, seed);
        let mut actual = config.clone();
        super::firmware::apply(&mut actual, seed)?;
        let on = config.noise.is_on();
        let source = |name: &str| Source::new(seed, name, on);
        let port = |baud: u32, i: usize| Port::new(baud, source(&format!("{}.thinking", NAMES[i])));
        Ok(Bench {
            plant: Plant::new(&actual, &errors, seed)?,
            names: NAMES.iter().map(|n| (*n).to_owned()).collect(),
            ports: [
                port(config.generator.baud, GENERATOR),
                port(config.supply.baud, SUPPLY),
                port(config.driver.baud, DRIVER),
                port(config.logger.baud, LOGGER),
                port(config.scale.baud, SCALE),
            ],
            generator: Generator::new(&config.generator),
            supply: Supply::new(&config.supply, source("supply.meter")),
            driver: Driver::new(&config.driver, source("driver.readback")),
            logger: Logger::new(
                &config.logger,
                &config.tank,
                config.ambient_kpa,
                LoggerNoise {
                    gauge: source("logger.gauge"),
                    back_gauge: source("logger.back_gauge"),
                    barometer: source("logger.barometer"),
                    thermometer: source("logger.thermometer"),
                    volts: source("logger.volts"),
                },
            ),
            scale: Scale::new(&config.scale, &config.cup, source("scale"), source("scale.splash")),
            mishaps: mishaps::Mishaps::new(&config.mishaps),
            now: Moment::START,
            reference_from: None,
            steps_per_ns: 1e-6 * (1.0 + errors.clock_gain),
            errors,
            config,
        })
    }

    /// What is true now; for tests, never for the analysis.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn truth(&self) -> Truth {
        Truth {
            flow_ml_min: self.plant.flow() * 60.0,
            line_pressure_kpa: self.plant.line.line_kpa,
            cup_g: self.plant.cup.mass_g,
            tank_ml: self.plant.tank_ml,
            duty_pct: self.plant.drive() * 100.0,
            solenoid_open: self.plant.inputs.solenoid,
            supply_v: self.plant.supply.volts,
            winding_degc: self.plant.motor.winding_degc,
            water_degc: self.plant.water.degc,
            errors: self.errors,
        }
    }

    /// The section the bench was made from; for tests.
    #[must_use]
    pub fn config(&self) -> &Config {
        &self.config
    }

    /// The steady state of this bench's plant without noise; see [`Settled`].
    ///
    /// # Errors
    /// Nozzles that the bench does not have; a number that is not finite.
    #[cfg(feature = "door")]
    pub fn settled_state(
        &self,
        duty_pct: f64,
        supply_v: f64,
        nozzles: &str,
        back_pressure_kpa: f64,
    ) -> Result<Settled, Problems> {
        plant::settled(&self.config, duty_pct, supply_v, nozzles, back_pressure_kpa)
    }

    /// Longest time the pump stayed on after the last heartbeat, so far.
    #[must_use]
    pub fn after_last_heartbeat(&self) -> Duration {
        self.driver.after_last_heartbeat(&self.plant, self.now)
    }

    /// Whether the pump output is on.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn pump_is_on(&self) -> bool {
        self.driver.is_on(&self.plant)
    }

    /// Whether water passes the solenoid.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn solenoid_is_open(&self) -> bool {
        self.plant.solenoid.open
    }

    /// The operator mounts other nozzles, joined by `+`.
    ///
    /// # Errors
    /// Nozzles that the bench does not have.
    pub fn mount(&mut self, nozzles: &str, now: Moment) -> Result<(), Problems> {
        self.advance(now);
        self.run_plant(now);
        self.plant.mount(&self.config, nozzles)
    }

    /// The operator pours the cup back into the tank.
    pub fn empty_cup(&mut self, now: Moment) {
        self.advance(now);
        self.run_plant(now);
        self.plant.empty_cup();
    }

    /// The operator puts a weight on the pan besides the cup, or takes it off, g. The air bears it less than the same
    /// mass of water, which is what the pan is taken to carry.
    pub(super) fn load_pan(&mut self, mass_g: f64) {
        let scale = &self.config.scale;
        let borne = |kg_m3: f64| 1.0 - scale.air_kg_m3 / kg_m3;
        self.plant.cup.mass_g += mass_g * borne(scale.weights_kg_m3) / borne(self.plant.water.density);
    }

    /// The operator notes the time on a clock that is right.
    pub(super) fn start_reference_clock(&mut self, now: Moment) {
        self.reference_from = Some(now);
    }

    /// Seconds on that clock since then: the harness counts its own, and one of them is `1 + clock_gain` true ones.
    pub(super) fn reference_clock_s(&self, now: Moment) -> Option<f64> {
        self.reference_from.map(|from| now.since(from).as_secs_f64() * self.steps_per_ns * 1e6)
    }

    /// The operator sets the pressure that the nozzle sprays into, gauge kPa; a number that is not finite is ignored.
    #[cfg(feature = "door")]
    pub fn set_back_pressure(&mut self, back_kpa: f64, now: Moment) {
        self.advance(now);
        self.run_plant(now);
        if back_kpa.is_finite() {
            self.plant.inputs.back_kpa = back_kpa.clamp(-95.0, 2000.0);
        }
    }

    /// The operator presses or releases the emergency stop.
    #[cfg(feature = "door")]
    pub fn press_emergency_stop(&mut self, pressed: bool, now: Moment) {
        self.advance(now);
        self.run_plant(now);
        self.driver.press(pressed, &mut self.plant, now);
    }

    /// Brings the plant to a moment, so that [`Bench::truth`] is of that moment.
    pub fn bring_to(&mut self, now: Moment) {
        self.advance(now);
        self.run_plant(now);
    }

    pub(super) fn port(&mut self, device: usize) -> &mut Port {
        &mut self.ports[device]
    }

    fn run_plant(&mut self, to: Moment) {
        let target = (to.as_ns() as f64 * self.steps_per_ns) as u64;
        while self.plant.steps < target {
            self.plant.step();
        }
    }

    /// Everything that happens at or before `to`, in order of time.
    fn advance(&mut self, to: Moment) {
        loop {
            let (mut next, mut what) = (self.scale.next_sample, Happening::ScaleLine);
            for (i, port) in self.ports.iter().enumerate() {
                if port.next_work() < next {
                    (next, what) = (port.next_work(), Happening::Line(i));
                }
            }
            if self.driver.next_event() < next {
                (next, what) = (self.driver.next_event(), Happening::Driver);
            }
            if self.mishaps.next() < next {
                (next, what) = (self.mishaps.next(), Happening::Mishap);
            }
            if next > to {
                break;
            }
            self.run_plant(next);
            self.now = self.now.max(next);
            match what {
                Happening::ScaleLine => self.scale_line(next),
                Happening::Line(device) => self.line(device, next),
                Happening::Driver => self.driver.event(&mut self.plant, next),
                Happening::Mishap => mishaps::happen(self, next),
            }
        }
        self.now = self.now.max(to);
    }

    fn scale_line(&mut self, now: Moment) {
        let port = &mut self.ports[SCALE];
        let world = World { plant: &mut self.plant, errors: &self.errors, now };
        let before = port.output().len();
        self.scale.sample(&world, port.output());
        let bytes = port.output().len() - before;
        if bytes > 0 {
            let at = now + port.time_of(super::devices::SCALE_LINE_BYTES);
            port.send(bytes, at);
        }
    }

    fn line(&mut self, device: usize, now: Moment) {
        let port = &mut self.ports[device];
        let Some(work) = port.take_work() else { return };
        let mut world = World { plant: &mut self.plant, errors: &self.errors, now };
        let before = port.output().len();
        if work.overrun {
            match device {
                GENERATOR => self.generator.overrun(),
                SUPPLY => self.supply.overrun(),
                LOGGER => self.logger.overrun(),
                _ => port.output().extend_from_slice(b"ERR line too long"),
            }
        } else {
            let out = port.output();
            match device {
                GENERATOR => self.generator.answer(&work.line, &mut world, out),
                SUPPLY => self.supply.answer(&work.line, &mut world, out),
                DRIVER => self.driver.answer(&work.line, &mut world, out),
                LOGGER => self.logger.answer(&work.line, &mut world, out),
                _ => self.scale.answer(&work.line, &mut world, out),
            }
        }
        let answered = port.output().len() - before;
        port.worked(work, answered);
    }
}

/// What happens next by itself.
#[derive(Clone, Copy)]
enum Happening {
    ScaleLine,
    Line(usize),
    Driver,
    Mishap,
}

impl VirtualBench for Bench {
    fn devices(&self) -> &[String] {
        &self.names
    }

    fn receive(&mut self, device: Device, bytes: &[u8], now: Moment) {
        self.advance(now);
        let Some(port) = self.ports.get_mut(device.0) else {
            return;
        };
        match device.0 {
            GENERATOR => port.receive(bytes, now, |line| self.generator.expected(line)),
            SUPPLY => port.receive(bytes, now, |line| self.supply.expected(line)),
            DRIVER => port.receive(bytes, now, |line| self.driver.expected(line)),
            LOGGER => port.receive(bytes, now, |line| self.logger.expected(line)),
            _ => port.receive(bytes, now, |line| self.scale.expected(line)),
        }
    }

    fn operate(&mut self, request: &str, now: Moment) -> String {
        self.bring_to(now);
        super::operator::act(self, request, now)
    }

    fn next_output(&mut self) -> Moment {
        let scale = self.scale.next_sample + self.ports[SCALE].time_of(super::devices::SCALE_LINE_BYTES);
        let ports = self.ports.iter().map(Port::next_output).min().unwrap_or(Moment::NEVER);
        ports.min(scale).max(self.now)
    }

    fn transmit(&mut self, now: Moment, take: &mut dyn FnMut(Device, &[u8])) {
        self.advance(now);
        loop {
            let next = self.ports.iter().enumerate().min_by_key(|(_, port)| port.next_ready());
            match next {
                Some((device, port)) if port.next_ready() <= now => {
                    self.ports[device].hand_over(|bytes| take(Device(device), bytes));
                }
                _ => break,
            }
        }
    }
}
