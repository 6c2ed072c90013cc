//! What makes values uncertain.

use std::fmt;
use std::sync::Arc;

/// A cause of uncertainty. The errors of instruments come first; their order is that of tables.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// Scale gain: relative error of every mass.
    ScaleGain,
    /// Clock: relative error of every time.
    ClockGain,
    /// Line pressure gauge zero, kPa.
    GaugeZero,
    /// Line pressure gauge gain, relative.
    GaugeGain,
    /// Back pressure gauge zero, kPa.
    BackGaugeZero,
    /// Supply voltmeter gain, relative.
    SupplyGain,
    /// Supply voltmeter zero, V.
    SupplyZero,
    /// Duty zero, %.
    DutyZero,
    /// Duty gain, relative.
    DutyGain,
    /// Density of the fluid, relative.
    Density,
    /// Mist lost and leak before the nozzle, relative (mean of the one-sided limits already applied).
    Capture,
    /// Free-wheel diode voltage, V.
    Freewheel,
    /// Pressure between gauge and nozzle: loss, relative.
    TapLoss,
    /// Pressure between gauge and nozzle: height, kPa.
    TapHeight,
    /// One step of a reading.
    Resolution,
    /// Scatter of readings.
    Readings,
    /// Half the time, or the pressure passed, between two readings around a change.
    SamplingStep,
    /// Start and stop taken by hand.
    Timing,
    /// Lag between gauge and contact on a ramp.
    Lag,
    /// Pulsation of the pump.
    Pulsation,
    /// What flows after the pump is stopped.
    RunsOn,
    /// Lag of the scale while it fills.
    ScaleLag,
    /// Scatter of the collections, and what they leave open about the law that joins them.
    Scatter,
    /// Disagreement with the curve that assumes no law.
    SecondOpinion,
    /// Scatter of a nozzle's coefficient and what its law leaves open.
    Nozzle(Arc<str>),
    /// Exponents of healthy nozzles.
    HealthyExponent,
    /// Share of the pump's slip that follows viscosity.
    LeakShare,
    /// What a warmer winding does to the motor.
    Winding,
    /// Another liquid through the nozzle: Reynolds number.
    Reynolds,
    /// Density of the liquid asked for.
    UsedDensity,
    /// Cracking pressure of the check valve.
    CheckValve,
    /// Temperature of the data, which was not measured.
    UnknownTemperature,
    /// What the pump does in what it was not measured for.
    Beyond,
    /// Drip and lag of the scale where flow stops or starts on a ramp.
    Edge,
    /// Compliance of the line.
    Compliance,
    /// A nozzle's coefficient that was stated.
    NozzleCoefficient,
    /// A check weight against its nominal mass.
    CheckWeight,
    /// Inputs of two measurements that were not played alike.
    Inputs,
    /// Instruments that a second measurement with them shares.
    Instruments,
    /// What was filled into the tank.
    Filled,
    /// The flow that drains the tank.
    Drain,
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self {
            Cause::ScaleGain => "scale gain",
            Cause::ClockGain => "clock",
            Cause::GaugeZero => "line pressure gauge zero",
            Cause::GaugeGain => "line pressure gauge gain",
            Cause::BackGaugeZero => "back pressure gauge zero",
            Cause::SupplyGain => "supply voltmeter gain",
            Cause::SupplyZero => "supply voltmeter zero",
            Cause::DutyZero => "duty zero",
            Cause::DutyGain => "duty gain",
            Cause::Density => "density of the bench fluid",
            Cause::Capture => "mist lost and leak before the nozzle",
            Cause::Freewheel => "free-wheel diode voltage",
            Cause::TapLoss => "loss between gauge and nozzle",
            Cause::TapHeight => "height of the gauge above the nozzle",
            Cause::Resolution => "resolution",
            Cause::Readings => "scatter of readings",
            Cause::SamplingStep => "sampling step",
            Cause::Timing => "start and stop by hand",
            Cause::Lag => "lag between gauge and contact",
            Cause::Pulsation => "pulsation of the pump",
            Cause::RunsOn => "flow after the pump is stopped",
            Cause::ScaleLag => "lag of the scale",
            Cause::Scatter => "scatter of collections and form of the pump's law",
            Cause::SecondOpinion => "disagreement with a curve without a pump law",
            Cause::Nozzle(name) => return write!(f, "nozzle {name}: scatter and form of its law"),
            Cause::HealthyExponent => "exponents of healthy nozzles",
            Cause::LeakShare => "share of slip that follows viscosity",
            Cause::Winding => "temperature of the motor's winding",
            Cause::Reynolds => "discharge of another liquid (Reynolds number)",
            Cause::UsedDensity => "density of the liquid asked for",
            Cause::CheckValve => "cracking pressure of the check valve",
            Cause::UnknownTemperature => "temperature of the data, not measured",
            Cause::Beyond => "beyond what was measured",
            Cause::Edge => "drip and lag of the scale on the ramp",
            Cause::Compliance => "compliance of the line",
            Cause::NozzleCoefficient => "coefficient of the nozzle",
            Cause::CheckWeight => "check weight",
            Cause::Inputs => "inputs that were not played alike",
            Cause::Instruments => "instruments, shared by a second measurement with them",
            Cause::Filled => "volume filled in",
            Cause::Drain => "flow that drains the tank",
        };
        f.write_str(text)
    }
}
