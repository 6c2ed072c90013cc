//! Roles: what a channel measures or sets, independent of which instrument does it.

use crate::quantity::Dimension;
use std::fmt;
use std::sync::Arc;

/// The name of one of several alike (outputs, sensors): lower case letters, digits and `_`, at most 32 bytes.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Name(Arc<str>);

impl Name {
    /// A checked name; none if `text` is not of the allowed form.
    #[must_use]
    pub fn new(text: &str) -> Option<Self> {
        let good = (1..=32).contains(&text.len())
            && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_');
        good.then(|| Name(Arc::from(text)))
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// Whether a role is read from the bench or set by us.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Read from an instrument.
    Read,
    /// Set on an instrument.
    Set,
}

/// What a channel measures or sets.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    /// Read: gauge pressure before the nozzle, kPa.
    LinePressure,
    /// Read: gauge pressure the nozzle sprays into, kPa.
    BackPressure,
    /// Read: absolute ambient pressure, kPa.
    AmbientPressure,
    /// Read: mass of the collection cup, g.
    CupMass,
    /// Read: mass of the supply tank, g.
    TankMass,
    /// Read: pressure switch, 0 or 1 (1 = made).
    Switch,
    /// Read: level switch of the tank, 0 or 1 (1 = made).
    TankLevel,
    /// Read: duty at the pump, %.
    Duty,
    /// Read: voltage at the supply terminals of the pump driver, V.
    Supply,
    /// Read: pump current, A.
    PumpCurrent,
    /// Read: water temperature, degC.
    WaterTemperature,
    /// Read: emergency stop, 0 or 1 (1 = pressed).
    EmergencyStop,
    /// Read: whether the pump output is on, 0 or 1.
    OutputOn,
    /// Read: a controller's on-off output, 0 or 1.
    SwitchedOutput(Name),
    /// Read: a controller's analogue output, V.
    AnalogueOutput(Name),
    /// Read: a controller's duty output, %.
    DutyOutput(Name),
    /// Set: manifold pressure shown to the controller; gauge kPa in scripts, volts on the wire.
    Boost,
    /// Set: engine speed shown to the controller; rpm in scripts, hertz on the wire.
    Rpm,
    /// Set: another sensor voltage, V.
    Sensor(Name),
    /// Set: duty of the pump output, %.
    PumpDuty,
    /// Set: supply voltage, V.
    SupplySet,
    /// Set: solenoid, 0 or 1 (1 = open).
    Solenoid,
    /// Set: any other on-off function of the bench (supply output, a sensor line cut), 0 or 1.
    Relay(Name),
    /// Set: heartbeat to the device that owns the pump output.
    Heartbeat,
    /// Set: the safe state, 1 = pump off and solenoid closed, 0 = armed: the device may switch the pump on.
    SafeState,
    /// Set: who drives the pump's duty, 0 = we do, 1 = the controller under test.
    DriveSource,
}

/// The roles without a name of their own, with the word for each in files and the column in `samples.csv`.
const PLAIN: &[(Role, &str, &str)] = &[
    (Role::LinePressure, "line_pressure", "line_pressure_kpa"),
    (Role::BackPressure, "back_pressure", "back_pressure_kpa"),
    (Role::AmbientPressure, "ambient_pressure", "ambient_pressure_kpa"),
    (Role::CupMass, "cup_mass", "cup_mass_g"),
    (Role::TankMass, "tank_mass", "tank_mass_g"),
    (Role::Switch, "switch", "switch"),
    (Role::TankLevel, "tank_level", "tank_level"),
    (Role::Duty, "duty", "duty_pct"),
    (Role::Supply, "supply", "supply_v"),
    (Role::PumpCurrent, "pump_current", "pump_current_a"),
    (Role::WaterTemperature, "water_temperature", "water_degc"),
    (Role::EmergencyStop, "emergency_stop", "emergency_stop"),
    (Role::OutputOn, "output_on", "output_on"),
    (Role::Boost, "boost", "boost_v"),
    (Role::Rpm, "rpm", "rpm"),
    (Role::PumpDuty, "pump_duty", "duty_set_pct"),
    (Role::SupplySet, "supply_set", "supply_set_v"),
    (Role::Solenoid, "solenoid", "solenoid"),
    (Role::Heartbeat, "heartbeat", "heartbeat"),
    (Role::SafeState, "safe_state", "safe_state"),
    (Role::DriveSource, "drive_source", "drive_source"),
];

impl Role {
    /// Every word that names a plain role, for near-miss suggestions.
    pub fn words() -> impl Iterator<Item = &'static str> {
        PLAIN.iter().map(|(_, word, _)| *word)
    }

    /// The role a word of a rig or scenario file names: `line_pressure`, or `switched.NAME`, `analogue.NAME`,
    /// `duty_output.NAME`, `sensor.NAME`, `relay.NAME`.
    #[must_use]
    pub fn parse(word: &str) -> Option<Role> {
        if let Some((kind, name)) = word.split_once('.') {
            let name = Name::new(name)?;
            return match kind {
                "switched" => Some(Role::SwitchedOutput(name)),
                "analogue" => Some(Role::AnalogueOutput(name)),
                "duty_output" => Some(Role::DutyOutput(name)),
                "sensor" => Some(Role::Sensor(name)),
                "relay" => Some(Role::Relay(name)),
                _ => None,
            };
        }
        PLAIN.iter().find(|(_, w, _)| *w == word).map(|(role, _, _)| role.clone())
    }

    /// The word of rig and scenario files.
    #[must_use]
    pub fn word(&self) -> String {
        match self {
            Role::SwitchedOutput(n) => format!("switched.{}", n.as_str()),
            Role::AnalogueOutput(n) => format!("analogue.{}", n.as_str()),
            Role::DutyOutput(n) => format!("duty_output.{}", n.as_str()),
            Role::Sensor(n) => format!("sensor.{}", n.as_str()),
            Role::Relay(n) => format!("relay.{}", n.as_str()),
            plain => PLAIN
                .iter()
                .find(|(r, _, _)| r == plain)
                .map_or_else(String::new, |(_, w, _)| (*w).to_owned()),
        }
    }

    /// The column of `samples.csv`, with its unit.
    #[must_use]
    pub fn column(&self) -> String {
        match self {
            Role::SwitchedOutput(n) => format!("switched_{}", n.as_str()),
            Role::AnalogueOutput(n) => format!("analogue_{}_v", n.as_str()),
            Role::DutyOutput(n) => format!("duty_{}_pct", n.as_str()),
            Role::Sensor(n) => format!("sensor_{}_v", n.as_str()),
            Role::Relay(n) => format!("relay_{}", n.as_str()),
            plain => PLAIN
                .iter()
                .find(|(r, _, _)| r == plain)
                .map_or_else(String::new, |(_, _, c)| (*c).to_owned()),
        }
    }

    /// Read or set.
    #[must_use]
    pub const fn direction(&self) -> Direction {
        match self {
            Role::Boost
            | Role::Rpm
            | Role::Sensor(_)
            | Role::PumpDuty
            | Role::SupplySet
            | Role::Solenoid
            | Role::Relay(_)
            | Role::Heartbeat
            | Role::SafeState
            | Role::DriveSource => Direction::Set,
            _ => Direction::Read,
        }
    }

    /// What values of this role are, in scripts and in readings; [`Dimension::Switch`] for 0 or 1.
    #[must_use]
    pub const fn dimension(&self) -> Dimension {
        match self {
            Role::LinePressure | Role::BackPressure | Role::Boost => Dimension::GaugePressure,
            Role::AmbientPressure => Dimension::AbsolutePressure,
            Role::CupMass | Role::TankMass => Dimension::Mass,
            Role::Duty | Role::PumpDuty | Role::DutyOutput(_) => Dimension::Ratio,
            Role::Supply | Role::SupplySet | Role::AnalogueOutput(_) | Role::Sensor(_) => Dimension::Voltage,
            Role::PumpCurrent => Dimension::Current,
            Role::WaterTemperature => Dimension::Temperature,
            Role::Rpm => Dimension::Speed,
            Role::Switch
            | Role::TankLevel
            | Role::EmergencyStop
            | Role::OutputOn
            | Role::SwitchedOutput(_)
            | Role::Solenoid
            | Role::Relay(_)
            | Role::Heartbeat
            | Role::SafeState
            | Role::DriveSource => Dimension::Switch,
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.word())
    }
}
