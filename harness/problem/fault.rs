//! Faults of the bench, by the name that messages, events and tests carry.

use crate::exit::Exit;
use std::fmt;

macro_rules! fault_codes {
    ($($(#[doc = $doc:literal])+ $variant:ident = $name:literal => $exit:ident;)+) => {
        /// The name of a fault.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum FaultCode {
            $($(#[doc = $doc])+ $variant,)+
        }

        impl FaultCode {
            /// Every fault there is.
            #[cfg(feature = "door")]
            pub const ALL: &[FaultCode] = &[$(FaultCode::$variant,)+];

            /// The name as written in messages and events.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(FaultCode::$variant => $name,)+ }
            }

            /// How a run ends that meets this fault.
            #[must_use]
            pub const fn exit(self) -> Exit {
                match self { $(FaultCode::$variant => Exit::$exit,)+ }
            }
        }
    };
}

fault_codes! {
    /// A port that was open is gone.
    PortGone = "PORT_GONE" => BenchFault;
    /// A port does not exist.
    PortNotFound = "PORT_NOT_FOUND" => BenchFault;
    /// A port may not be opened by this user.
    PortDenied = "PORT_DENIED" => BenchFault;
    /// Another program holds the port.
    PortBusy = "PORT_BUSY" => BenchFault;
    /// Another program reads from the port.
    SharedPort = "SHARED_PORT" => BenchFault;
    /// The port that can switch the pump off is gone.
    ControlLost = "CONTROL_LOST" => BenchFault;
    /// A sensor's port is gone or silent.
    SensorLost = "SENSOR_LOST" => BenchFault;
    /// Something else than the expected instrument answers.
    WrongDevice = "WRONG_DEVICE" => BenchFault;
    /// Two ports answer to the same description.
    Ambiguous = "AMBIGUOUS" => BenchFault;
    /// The instrument's firmware is not the one the rig names.
    Version = "VERSION" => BenchFault;
    /// The instrument restarted during the run.
    DeviceRebooted = "DEVICE_REBOOTED" => BenchFault;
    /// Bytes arrive that make no sense at all.
    Garbage = "GARBAGE" => BenchFault;
    /// What was sent comes back.
    Echo = "ECHO" => BenchFault;
    /// No answer in time.
    Timeout = "TIMEOUT" => BenchFault;
    /// A message that breaks its form or its length limit.
    Frame = "FRAME" => BenchFault;
    /// An answer that came after its request had been given up.
    Stale = "STALE" => BenchFault;
    /// The instrument reports an error of its own.
    Device = "DEVICE" => BenchFault;
    /// A reading that does not change although it must.
    Frozen = "FROZEN" => BenchFault;
    /// More arrives than can be taken.
    Overrun = "OVERRUN" => BenchFault;
    /// The other side does not take what is sent.
    WriteStall = "WRITE_STALL" => BenchFault;
    /// The scale does not come to rest.
    Unstable = "UNSTABLE" => BenchFault;
    /// A reading outside what the instrument can show.
    Range = "RANGE" => BenchFault;
    /// The instrument's unit changed during the run.
    Units = "UNITS" => BenchFault;
    /// The scale's zero jumped.
    ScaleStep = "SCALE_STEP" => BenchFault;
    /// A sensor reads one of its rails.
    SensorFault = "SENSOR_FAULT" => BenchFault;
    /// The pump runs but no pressure comes.
    NoPressure = "NO_PRESSURE" => BenchFault;
    /// A safety limit was passed.
    Limit = "LIMIT" => SafetyTrip;
    /// Pressure stays although the pump is off.
    RelayStuck = "RELAY_STUCK" => SafetyTrip;
    /// A value that may not be sent.
    Config = "CONFIG" => BadInput;
    /// The emergency stop is pressed.
    EStop = "ESTOP" => SafetyTrip;
    /// The device's watchdog tripped.
    Heartbeat = "HEARTBEAT" => BenchFault;
    /// The computer slept during the run.
    Suspended = "SUSPENDED" => BenchFault;
    /// The computer's battery is nearly empty.
    PowerLow = "POWER_LOW" => BenchFault;
    /// No room for the record.
    DiskFull = "DISK_FULL" => CannotWrite;
    /// The record could not be written.
    Io = "IO" => CannotWrite;
    /// Another run holds this bench.
    BenchLocked = "BENCH_LOCKED" => BenchFault;
}

impl fmt::Display for FaultCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A fault met: its name, who met it, what was seen and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The name.
    pub code: FaultCode,
    /// The instrument, port, channel or limit concerned.
    pub who: String,
    /// What was seen, in words; bytes from outside as escaped text or hex.
    pub seen: String,
    /// What to do.
    pub help: String,
}

impl Fault {
    /// A fault of `who`.
    pub fn new(
        code: FaultCode,
        who: impl Into<String>,
        seen: impl Into<String>,
        help: impl Into<String>,
    ) -> Self {
        Fault { code, who: who.into(), seen: seen.into(), help: help.into() }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use super::safe_text;
        write!(f, "{} ({}): {}", self.code, safe_text(&self.who), safe_text(&self.seen))?;
        if !self.help.is_empty() {
            write!(f, "; {}", safe_text(&self.help))?;
        }
        Ok(())
    }
}

impl std::error::Error for Fault {}

/// Bytes from a wire as text that shows each of them: printable ASCII as is, the rest as `\x1b`.
#[must_use]
pub fn shown_bytes(bytes: &[u8]) -> String {
    bytes.escape_ascii().to_string()
}
