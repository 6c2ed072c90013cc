//! The rig: what is on the bench, checked.
//!
//! Every number is in internal units: gauge kPa unless the name says absolute, mL/min, g, s, V, degC, %, rpm.

use super::role::Role;
use crate::quantity::{Absolute, Gauge, PressureSensor};
use crate::uncertainty::Bound;
use std::collections::BTreeMap;
use std::time::Duration;

/// A checked rig file.
#[derive(Clone, Debug)]
pub struct Rig {
    /// The rig's own name, to arm with.
    pub name: String,
    /// The file's text, for the copy in the record and its hash.
    pub source: String,
    /// Instruments, in file order.
    pub instruments: Vec<InstrumentSpec>,
    /// Channels, in file order; at most one per role.
    pub channels: Vec<ChannelSpec>,
    /// The pump and nozzle pair.
    pub pair: PairSpec,
    /// What is sprayed on the bench.
    pub fluid: FluidSpec,
    /// Manifold sensor and tach, where a controller is on the bench.
    pub engine: EngineSpec,
    /// Hard limits.
    pub limits: Limits,
    /// Watchdog in the device that owns the pump output.
    pub watchdog: Watchdog,
    /// Terms of the uncertainty budget that belong to the method and not to a channel.
    pub method: MethodSpec,
    /// Section `virtual_bench:` as it stands in the file; none on a bench that only exists in metal.
    pub virtual_bench: Option<serde_yaml::Value>,
}

impl Rig {
    /// Place in [`Rig::channels`] of the channel that plays a role; a checked rig has at most one.
    #[must_use]
    pub fn channel_index(&self, role: &Role) -> Option<usize> {
        self.channels.iter().position(|c| c.role == *role)
    }

    /// The channel that plays a role.
    #[must_use]
    pub fn channel(&self, role: &Role) -> Option<&ChannelSpec> {
        self.channel_index(role).map(|index| &self.channels[index])
    }

    /// Whether a channel plays a role.
    #[must_use]
    pub fn plays(&self, role: &Role) -> bool {
        self.channel(role).is_some()
    }

    /// Whether a person plays a role.
    #[must_use]
    pub fn by_hand(&self, role: &Role) -> bool {
        self.channel(role).is_some_and(ChannelSpec::by_hand)
    }
}

/// An instrument on a port.
#[derive(Clone, Debug)]
pub struct InstrumentSpec {
    /// Name in the rig, used in messages and as the link name of `emulate`.
    pub name: String,
    /// Where it is.
    pub port: PortSpec,
    /// How it speaks.
    pub dialect: DialectSpec,
    /// Query for its identity, and text the answer must contain; none where it cannot tell.
    pub identity: Option<IdentitySpec>,
    /// Time an answer may take, from the last byte sent to the last byte received.
    pub reply_within: Duration,
    /// Serial number and calibration date, for the record.
    pub serial: Option<String>,
}

/// Identity query.
#[derive(Clone, Debug)]
pub struct IdentitySpec {
    /// What to send.
    pub ask: String,
    /// What the answer must contain.
    pub expect: String,
    /// Firmware version that it must contain besides, where the rig depends on one.
    pub version: Option<String>,
}

/// A serial port and its line settings.
#[derive(Clone, Debug)]
pub struct PortSpec {
    /// Device path; none for an instrument that has no wire (by hand), or one inside the virtual bench.
    pub path: Option<String>,
    /// Bits per second.
    pub baud: u32,
    /// Data bits, 7 or 8.
    pub data_bits: u8,
    /// `none`, `even` or `odd`.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: u8,
    /// Longest wait after opening for a device that restarts when its port is opened.
    pub ready_within: Duration,
}

/// Parity of a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parity {
    /// No parity bit.
    None,
    /// Even parity.
    Even,
    /// Odd parity.
    Odd,
}

/// The dialect of an instrument.
#[derive(Clone, Debug, PartialEq)]
pub enum DialectSpec {
    /// SCPI-1999 over IEEE 488.2 message forms; `check_errors`: read `SYST:ERR?` after each setting.
    Scpi {
        /// Whether the error queue is read after each setting.
        check_errors: bool,
    },
    /// Plain text lines.
    Text {
        /// What ends a line we send: `"\r\n"`, `"\n"` or `"\r"`; any of them ends one we receive.
        line_end: String,
        /// Whether numbers use a decimal comma.
        decimal_comma: bool,
    },
    /// Modbus RTU.
    Modbus {
        /// Unit address, 1 to 247.
        unit: u8,
    },
    /// The operator is asked.
    ByHand,
}

/// A role mapped to an instrument's command.
#[derive(Clone, Debug)]
pub struct ChannelSpec {
    /// What it measures or sets.
    pub role: Role,
    /// Index into [`Rig::instruments`].
    pub instrument: usize,
    /// How the value is asked for, listened for, or told.
    pub exchange: ExchangeSpec,
    /// From the instrument's number to the role's unit: `value = offset + gain * reading`; a set channel
    /// inverts it. Identity where the instrument speaks the role's unit.
    pub scaling: Scaling,
    /// Values outside are refused (set) or [`RANGE`](crate::problem::fault::FaultCode::Range) (read); role units.
    pub range: (f64, f64),
    /// Sample period of a read channel.
    pub every: Duration,
    /// Delay of the reading behind the measured quantity, known from the data sheet, s.
    pub delay_s: f64,
    /// Uncertainty of a reading.
    pub uncertainty: ReadingUncertainty,
    /// Calibration date (ISO 8601) and certificate, for the record.
    pub calibrated: Option<String>,
}

impl ChannelSpec {
    /// Whether a person reads or sets it.
    #[must_use]
    pub fn by_hand(&self) -> bool {
        matches!(self.exchange, ExchangeSpec::Operator { .. })
    }
}

/// Linear scaling from an instrument's number to the role's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scaling {
    /// Role units per instrument unit.
    pub gain: f64,
    /// Role units at an instrument reading of 0.
    pub offset: f64,
}

/// How a channel's value crosses the wire.
#[derive(Clone, Debug, PartialEq)]
pub enum ExchangeSpec {
    /// Send `query`, take number `field` (from 0) of the answer (SCPI: comma-separated; text: `pattern`).
    /// Channels of one instrument with the same query share one exchange.
    Ask {
        /// What to send, without line end.
        query: String,
        /// Text dialect: the answer's pattern, as `wire::text` reads it.
        pattern: Option<String>,
        /// Which value of the answer, from 0.
        field: usize,
    },
    /// Lines that come unasked, text dialect only.
    Listen {
        /// The line's pattern.
        pattern: String,
        /// Which value, from 0.
        field: usize,
    },
    /// Send `command` with the value in place of `{value}` or `{value:.N}`.
    Tell {
        /// The command's template.
        command: String,
        /// Text dialect: the acknowledgement's pattern; none where the device does not answer.
        reply: Option<String>,
    },
    /// Modbus: a register or two.
    Register {
        /// Function code: 3 or 4 to read, 6 or 16 to write.
        function: u8,
        /// Register address, from 0.
        address: u16,
        /// How registers become a number.
        kind: RegisterKind,
    },
    /// Ask the operator.
    Operator {
        /// The question, in words.
        question: String,
    },
    /// A constant given in the rig (ambient pressure on a bench without a barometer), role units.
    Fixed {
        /// The value.
        value: f64,
    },
}

/// How Modbus registers become a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RegisterKind {
    /// One register, unsigned.
    U16,
    /// One register, two's complement.
    I16,
    /// Two registers, high word first, two's complement.
    I32,
    /// Two registers, high word first, IEEE 754.
    F32,
    /// Two registers, low word first, IEEE 754.
    F32Swapped,
}

/// Type B uncertainty of a reading: half-widths of limits, or standard uncertainties.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingUncertainty {
    /// Zero error, role units.
    pub zero: Bound,
    /// Gain error, fraction of the reading.
    pub gain: Bound,
    /// Resolution: width of one step, role units (rectangular over one step).
    pub resolution: f64,
}

/// The pump and nozzle pair under test.
#[derive(Clone, Debug)]
pub struct PairSpec {
    /// Pump: type and serial number.
    pub pump: String,
    /// Nozzles on the bench; the first is mounted at the start.
    pub nozzles: Vec<NozzleSpec>,
    /// PWM frequency, Hz.
    pub pwm_hz: f64,
    /// Side of the motor that is switched.
    pub drive_side: DriveSide,
    /// Wiring between supply terminals and pump, in words.
    pub wiring: Option<String>,
    /// Check valve cracking pressure where known, kPa.
    pub check_valve_kpa: Option<f64>,
    /// Set point and tolerance of the pressure switch where one is fitted, kPa.
    pub switch: Option<SwitchSpec>,
    /// Free-wheel diode forward voltage, V, and its standard uncertainty.
    pub freewheel_v: (f64, f64),
}

/// A nozzle.
#[derive(Clone, Debug)]
pub struct NozzleSpec {
    /// Short name, `A` where the file gives none.
    pub name: String,
    /// Serial number or marking.
    pub serial: Option<String>,
    /// Rated flow (mL/min) at a pressure (kPa) and tolerance as a fraction, where given.
    pub rating: Option<Rating>,
}

/// A nozzle's rating.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rating {
    /// Flow, mL/min.
    pub flow_ml_min: f64,
    /// At this pressure across the nozzle, kPa.
    pub at_kpa: f64,
    /// Tolerance, fraction of the flow.
    pub tolerance: f64,
}

/// Side of the motor that is switched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DriveSide {
    /// Positive side.
    High,
    /// Ground side.
    Low,
}

/// A pressure switch's nominal data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwitchSpec {
    /// Rising pressure where it should make, gauge kPa.
    pub set_point_kpa: f64,
    /// Allowed deviation, kPa.
    pub tolerance_kpa: f64,
    /// Falling pressure where it should break, where given.
    pub reset_kpa: Option<f64>,
}

/// What is sprayed on the bench.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FluidSpec {
    /// Mass fraction of methanol, 0 for water.
    pub methanol_mass_fraction: f64,
    /// Temperature where no channel reads it, degC, and its standard uncertainty.
    pub temperature_degc: (f64, f64),
    /// Whether this bench may be run with methanol at all.
    pub methanol_permitted: bool,
}

/// What the controller believes of the engine.
#[derive(Clone, Debug, PartialEq)]
pub struct EngineSpec {
    /// Manifold sensor; none where no sensor is played.
    pub boost_sensor: Option<PressureSensor>,
    /// Whether the sensor is ratiometric to a measured 5 V reference.
    pub ratiometric: bool,
    /// Tach pulses per revolution.
    pub pulses_per_rev: f64,
    /// Ambient pressure where no channel reads it.
    pub ambient: Absolute,
}

impl EngineSpec {
    /// The sensor's voltage, V, at a boost, with the ambient pressure measured or else stated; none without a sensor.
    #[must_use]
    pub fn boost_volts(&self, boost: Gauge, ambient: Option<Absolute>) -> Option<f64> {
        Some(self.boost_sensor?.volts(boost.to_absolute(ambient.unwrap_or(self.ambient))))
    }

    /// The boost that a voltage, V, shows the controller; none without a sensor.
    #[must_use]
    pub fn boost(&self, volts: f64, ambient: Option<Absolute>) -> Option<Gauge> {
        Some(self.boost_sensor?.pressure(volts).to_gauge(ambient.unwrap_or(self.ambient)))
    }
}

/// Hard limits. A scenario may lower them, never raise them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Highest line pressure, gauge kPa.
    pub line_pressure_kpa: f64,
    /// Heaviest cup, g.
    pub cup_mass_g: f64,
    /// Lowest and highest supply, V.
    pub supply_v: (f64, f64),
    /// Longest time with the pump on without a pause, s.
    pub on_time_s: f64,
    /// Lowest (above zero) and highest commanded duty, %.
    pub duty_pct: (f64, f64),
}

/// Watchdog in the device that owns the pump output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Watchdog {
    /// The device switches off by itself after this long without a heartbeat.
    Device {
        /// Time without a heartbeat after which it trips.
        trip: Duration,
    },
    /// None; arming says loudly what that means.
    None,
}

/// Uncertainty terms of the method.
#[derive(Clone, Debug, PartialEq)]
pub struct MethodSpec {
    /// Relative error of the clock, fraction.
    pub clock_gain: Bound,
    /// Part of the spray that leaves the cup as mist: `(lowest, highest)` fraction of the flow, one-sided.
    pub mist_lost: (f64, f64),
    /// Flow lost before the nozzle, fraction of the flow, one-sided `(lowest, highest)`.
    pub leak_lost: (f64, f64),
    /// Fraction of the ideal vertical jet thrust (mass flow times jet speed) that reaches the pan; 0 for a baffled
    /// cup. Constant thrust cancels in a slope, drift of line pressure over a dwell does not.
    pub jet_on_pan: f64,
    /// Pressure loss between gauge tap and nozzle, fraction of line pressure (one-sided limits).
    pub tap_loss: (f64, f64),
    /// Height of the gauge above the nozzle, m, and its standard uncertainty.
    pub tap_height_m: (f64, f64),
    /// Free-form notes for the report: operator's bench, place.
    pub place: Option<BTreeMap<String, String>>,
}
