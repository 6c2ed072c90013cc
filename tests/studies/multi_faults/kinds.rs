//! Every kind of fault that is drawn, with how a run may end that meets it.
//!
//! In: nothing. Out: the table. The codes are those that the fault can honestly be seen as from the harness's side; a
//! fault that nobody has to notice may also be played through. Never: a code that stands for something else.

use super::ports::Wire;
use dutycup::door::problem::fault::FaultCode::{self, *};
use dutycup::door::virtual_bench::config::MishapKind::{self, *};

/// What a kind does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum What {
    /// On the wire of an instrument, for so long, ms; 0 for good.
    Wire(&'static str, Wire, u64),
    /// On the bench.
    Plant(MishapKind),
    /// The disk: whether it is full or broken.
    Disk { full: bool },
}

/// A kind of fault.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Kind {
    pub(crate) name: &'static str,
    pub(crate) what: What,
    /// What the run may call it.
    pub(crate) seen_as: &'static [FaultCode],
    /// Whether the run may also be played to its end.
    pub(crate) may_go_on: bool,
    /// Longest the pump may stay on after it has happened, ms; none where it shows only later or never.
    pub(crate) on_ms_max: Option<u64>,
    /// Whether it can hide the safe state from the harness.
    pub(crate) blinds: bool,
}

const fn kind(name: &'static str, what: What, seen_as: &'static [FaultCode]) -> Kind {
    Kind { name, what, seen_as, may_go_on: true, on_ms_max: None, blinds: false }
}

impl Kind {
    /// The instrument through which it is seen; none where it shows on several.
    pub(crate) fn instrument(&self) -> Option<&'static str> {
        match self.what {
            What::Wire(_, Wire::Stall(_) | Wire::Stop, _) | What::Disk { .. } => None,
            What::Wire(name, ..) => Some(name),
            What::Plant(GaugeOpen | GaugeShort | GaugeFrozen) => Some("logger"),
            What::Plant(DriverSilent) => Some("driver"),
            What::Plant(_) => None,
        }
    }

    /// It ends the run: the pump is off this long after it, ms.
    const fn ends(mut self, on_ms_max: u64) -> Kind {
        self.may_go_on = false;
        self.on_ms_max = Some(on_ms_max);
        self
    }

    /// It ends the run if the pump is on or comes on: then it is off this long after, ms.
    const fn ends_if_on(mut self, on_ms_max: u64) -> Kind {
        self.on_ms_max = Some(on_ms_max);
        self
    }

    /// The harness may not see the safe state.
    const fn blinds(mut self) -> Kind {
        self.blinds = true;
        self
    }
}

/// Longest the pump stays on after a silent or lost link, ms: the watchdog's 500 and one beat.
const WATCHDOG_MS: u64 = 600;

/// One digit of a reading may also come to pass a limit; answers torn again and again look like a second reader's work.
const UNREADABLE: &[FaultCode] =
    &[SharedPort, Limit, Frame, Garbage, Timeout, Device, Range, Units, Stale, SensorLost];
/// The same of the device that owns the output.
const DRIVER_UNREADABLE: &[FaultCode] = &[
    SharedPort,
    Frame,
    Garbage,
    Timeout,
    Device,
    Range,
    Units,
    Stale,
    SensorLost,
    ControlLost,
    Heartbeat,
    EStop,
];
const SILENT: &[FaultCode] = &[Timeout, SensorLost, Stale];
const DRIVER_SILENT: &[FaultCode] = &[Timeout, SensorLost, Stale, ControlLost, Heartbeat];

/// An identity that comes twice while the link is being brought back into step reads like a restart.
const TWICE: &[FaultCode] = &[Device, Stale, Timeout, SensorLost, DeviceRebooted];
const DRIVER_TWICE: &[FaultCode] =
    &[Device, Stale, Timeout, SensorLost, DeviceRebooted, ControlLost, Heartbeat];
/// A read-back that stands still hides that the output went off.
const DRIVER_FROZEN: &[FaultCode] = &[Timeout, SensorLost, Stale, ControlLost, Heartbeat, NoPressure, Frozen];
use What::{Disk, Plant, Wire as On};

/// Every kind.
pub(crate) const KINDS: &[Kind] = &[
    kind("logger mute", On("logger", Wire::Mute, 0), SILENT).ends(WATCHDOG_MS).blinds(),
    kind("driver mute", On("driver", Wire::Mute, 0), DRIVER_SILENT).ends(WATCHDOG_MS).blinds(),
    kind("supply mute", On("supply", Wire::Mute, 0), SILENT).ends(WATCHDOG_MS),
    kind("generator mute", On("generator", Wire::Mute, 0), SILENT).ends(WATCHDOG_MS),
    kind("scale mute", On("scale", Wire::Mute, 0), &[SensorLost, Frozen, Timeout, Unstable]),
    kind("logger gap", On("logger", Wire::Mute, 300), SILENT),
    kind("driver gap", On("driver", Wire::Mute, 300), DRIVER_SILENT),
    kind("logger deaf", On("logger", Wire::Deaf, 0), SILENT).ends(WATCHDOG_MS).blinds(),
    kind("driver deaf", On("driver", Wire::Deaf, 0), DRIVER_SILENT).ends(WATCHDOG_MS).blinds(),
    kind("logger corrupt", On("logger", Wire::Corrupt(700), 3000), UNREADABLE).blinds(),
    kind("driver corrupt", On("driver", Wire::Corrupt(200), 3000), DRIVER_UNREADABLE).blinds(),
    kind("scale corrupt", On("scale", Wire::Corrupt(100), 3000), UNREADABLE),
    kind("supply corrupt", On("supply", Wire::Corrupt(100), 3000), UNREADABLE),
    kind("logger late", On("logger", Wire::Late(45), 2000), SILENT).blinds(),
    kind("driver late", On("driver", Wire::Late(120), 2000), DRIVER_UNREADABLE).blinds(),
    kind("scale late", On("scale", Wire::Late(400), 2000), SILENT),
    kind("logger twice", On("logger", Wire::Twice, 3000), TWICE),
    kind("driver twice", On("driver", Wire::Twice, 3000), DRIVER_TWICE).blinds(),
    kind("scale twice", On("scale", Wire::Twice, 3000), &[]),
    kind("logger split", On("logger", Wire::Split, 3000), SILENT),
    kind("driver split", On("driver", Wire::Split, 3000), DRIVER_SILENT).blinds(),
    kind("scale split", On("scale", Wire::Split, 3000), &[]),
    kind("logger garbage", On("logger", Wire::Garbage(300), 1), UNREADABLE),
    kind("driver garbage", On("driver", Wire::Garbage(300), 1), DRIVER_UNREADABLE),
    kind("scale garbage", On("scale", Wire::Garbage(300), 1), UNREADABLE),
    kind("driver banner", On("driver", Wire::Banner, 1), &[DeviceRebooted]).ends(WATCHDOG_MS),
    kind("logger banner", On("logger", Wire::Banner, 1), &[DeviceRebooted]).ends(WATCHDOG_MS),
    kind("scale banner", On("scale", Wire::Banner, 1), &[DeviceRebooted]).ends(WATCHDOG_MS),
    kind("logger frozen", On("logger", Wire::Frozen, 0), &[Frozen, NoPressure, RelayStuck]).blinds(),
    kind("driver frozen", On("driver", Wire::Frozen, 0), DRIVER_FROZEN).blinds(),
    kind("scale frozen", On("scale", Wire::Frozen, 0), &[Frozen, Unstable]),
    kind("scale unit", On("scale", Wire::Unit, 0), &[Units]).ends(WATCHDOG_MS),
    kind("driver echo", On("driver", Wire::Echo, 3000), &[Echo, Timeout, Frame, Device]),
    kind("logger echo", On("logger", Wire::Echo, 3000), &[Echo, Timeout, Frame, Device]),
    kind("driver lost", On("driver", Wire::Lost, 0), &[PortGone, ControlLost]).ends(WATCHDOG_MS).blinds(),
    kind("logger lost", On("logger", Wire::Lost, 0), &[PortGone, SensorLost]).ends(WATCHDOG_MS).blinds(),
    kind("scale lost", On("scale", Wire::Lost, 0), &[PortGone, SensorLost]).ends(WATCHDOG_MS),
    kind("supply lost", On("supply", Wire::Lost, 0), &[PortGone, SensorLost]).ends(WATCHDOG_MS),
    kind("scale flood", On("scale", Wire::Flood(1_000_000), 2000), &[Overrun, Units, Frame, Range])
        .ends(WATCHDOG_MS),
    kind("short stall", On("driver", Wire::Stall(250), 1), &[]),
    kind("long stall", On("driver", Wire::Stall(800), 1), &[SensorLost, Heartbeat, Timeout, Stale])
        .ends_if_on(WATCHDOG_MS),
    kind("stop", On("driver", Wire::Stop, 1), &[]).ends(WATCHDOG_MS),
    kind("disk full", Disk { full: true }, &[DiskFull]),
    kind("disk broken", Disk { full: false }, &[Io]),
    kind("emergency stop", Plant(EmergencyStopPressed), &[EStop, Heartbeat]).ends(100),
    kind("gauge open", Plant(GaugeOpen), &[Range, SensorFault]).ends(WATCHDOG_MS).blinds(),
    kind("gauge short", Plant(GaugeShort), &[Range, SensorFault, Limit]).ends(WATCHDOG_MS).blinds(),
    kind("gauge frozen", Plant(GaugeFrozen), &[Frozen, NoPressure, RelayStuck]).blinds(),
    // Its flag may stand still on "moving".
    kind("scale stuck", Plant(ScaleFrozen), &[Frozen, Unstable]),
    kind("scale silent", Plant(ScaleSilent), &[SensorLost, Frozen, Timeout, Unstable]),
    kind("scale restless", Plant(ScaleRestless), &[Unstable]),
    kind("cup lifted", Plant(CupLifted), &[ScaleStep, Range, Frozen]),
    kind("cup bumped", Plant(CupBumped), &[]),
    kind("cup emptied", Plant(CupEmptied), &[ScaleStep, Range, Frozen]),
    kind("relay welded", Plant(RelayWelded), &[RelayStuck, Limit]).blinds(),
    kind("hose bursts", Plant(HoseBursts), &[NoPressure, Frozen]),
    kind("nozzle blocked", Plant(NozzleBlocked), &[Limit]),
    kind("tank empty", Plant(TankEmpty), &[NoPressure, Frozen]),
    kind("driver restarts", Plant(DriverRestarts), &[Heartbeat, DeviceRebooted, ControlLost]).ends_if_on(100),
    kind("driver silent", Plant(DriverSilent), DRIVER_SILENT).ends(WATCHDOG_MS).blinds(),
];
