//! Parameters of the controller under test, of a fault in its firmware, and of things that go wrong on the bench.

use super::Check;
use crate::problem::Problem;
use serde::{Deserialize, Serialize};

/// Controller: outputs, each a table over manifold pressure and engine speed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ControllerConfig {
    /// Two voltages of the manifold sensor, V.
    pub sensor_v: [f64; 2],
    /// The absolute pressures it takes them for, kPa.
    pub sensor_kpa_abs: [f64; 2],
    /// The ambient pressure it takes off for its boost axis, kPa.
    pub ambient_kpa: f64,
    /// Tach pulses it expects per revolution.
    pub pulses_per_rev: f64,
    /// Step of its converter, V.
    pub step_v: f64,
    /// Noise of one conversion, V.
    pub noise_v: f64,
    /// Period of its program, ms.
    pub period_ms: u32,
    /// Sensor voltages below and above these are a fault, V.
    pub sensor_good_v: [f64; 2],
    /// Engine speed below which nothing is put out (tach lost), rpm.
    pub lowest_rpm: f64,
    /// What the outputs do on a sensor fault: `off`, `hold` the last good value, or `believe` the sensor.
    pub on_sensor_fault: SensorFaultReaction,
    /// Supply below which it does not run, V.
    pub runs_from_v: f64,
    /// Time from power to first output, ms.
    pub boot_ms: u32,
    /// Outputs, in the order of the logger's channels of each kind.
    pub outputs: Vec<OutputConfig>,
}

/// What the outputs do on a sensor fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SensorFaultReaction {
    /// Everything off.
    Off,
    /// The last good boost is kept.
    Hold,
    /// The sensor's value is believed.
    Believe,
}

/// Kind of an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OutputKind {
    /// Duty, %.
    Duty,
    /// On or off; on from half the table's unit (0.5).
    Switched,
    /// Voltage, V.
    Analogue,
}

/// How a table is read between its points.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Lookup {
    /// Bilinear.
    Interpolated,
    /// The value of the cell whose axis points lie at or below.
    Held,
}

/// One output of the controller.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutputConfig {
    /// Name of the output.
    pub name: String,
    /// Kind: `duty`, `switched` or `analogue`.
    pub kind: OutputKind,
    /// Boost axis, gauge kPa, rising.
    pub boost_kpa: Vec<f64>,
    /// Speed axis, rpm, rising.
    pub rpm: Vec<f64>,
    /// A row for each boost, a value for each speed; % or V, or 0 and 1 for a switched output.
    pub values: Vec<Vec<f64>>,
    /// Between the points: `interpolated` or `held`.
    #[serde(default = "interpolated")]
    pub lookup: Lookup,
    /// Values below this become 0.
    #[serde(default)]
    pub off_below: f64,
    /// Lowest and highest value put out when not 0.
    pub clamp: [f64; 2],
    /// The value is scaled by (this / supply) to the power below; 0 V switches compensation off.
    #[serde(default)]
    pub compensation_v: f64,
    /// Power of the supply compensation: 1 full, negative reversed.
    #[serde(default = "one")]
    pub compensation_power: f64,
    /// Boost must move this far before it is believed, kPa.
    #[serde(default)]
    pub hysteresis_kpa: f64,
    /// Dead time from input to output, ms.
    #[serde(default)]
    pub delay_ms: u32,
    /// Time constant of the output, ms.
    #[serde(default)]
    pub response_ms: f64,
}

fn interpolated() -> Lookup {
    Lookup::Interpolated
}

fn one() -> f64 {
    1.0
}

impl Default for ControllerConfig {
    fn default() -> Self {
        ControllerConfig {
            sensor_v: [2.5, 3.8],
            sensor_kpa_abs: [159.241, 239.220],
            ambient_kpa: 101.325,
            pulses_per_rev: 2.0,
            step_v: 0.00122,
            noise_v: 0.0004,
            period_ms: 10,
            sensor_good_v: [0.25, 4.75],
            lowest_rpm: 400.0,
            on_sensor_fault: SensorFaultReaction::Off,
            runs_from_v: 7.5,
            boot_ms: 350,
            outputs: default_outputs(),
        }
    }
}

fn default_outputs() -> Vec<OutputConfig> {
    let output = |name: &str, kind, clamp| OutputConfig {
        name: name.to_owned(),
        kind,
        boost_kpa: Vec::new(),
        rpm: Vec::new(),
        values: Vec::new(),
        lookup: Lookup::Interpolated,
        off_below: 0.0,
        clamp,
        compensation_v: 0.0,
        compensation_power: 1.0,
        hysteresis_kpa: 0.0,
        delay_ms: 0,
        response_ms: 0.0,
    };
    vec![
        OutputConfig {
            boost_kpa: vec![40.0, 60.0, 80.0, 100.0, 120.0, 140.0],
            rpm: vec![2000.0, 3000.0, 4000.0, 5500.0, 7000.0],
            values: vec![
                vec![0.0, 0.0, 0.0, 0.0, 0.0],
                vec![12.0, 18.0, 22.0, 24.0, 22.0],
                vec![20.0, 30.0, 36.0, 40.0, 38.0],
                vec![30.0, 44.0, 52.0, 58.0, 55.0],
                vec![42.0, 58.0, 68.0, 76.0, 72.0],
                vec![55.0, 72.0, 85.0, 95.0, 90.0],
            ],
            off_below: 10.0,
            compensation_v: 13.8,
            delay_ms: 10,
            response_ms: 25.0,
            ..output("pump", OutputKind::Duty, [10.0, 100.0])
        },
        OutputConfig {
            boost_kpa: vec![0.0, 50.0, 60.0, 140.0],
            rpm: vec![1000.0, 2500.0, 7000.0],
            values: vec![vec![0.0, 0.0, 0.0], vec![0.0, 0.0, 0.0], vec![0.0, 1.0, 1.0], vec![0.0, 1.0, 1.0]],
            lookup: Lookup::Held,
            hysteresis_kpa: 3.0,
            ..output("valve", OutputKind::Switched, [0.0, 1.0])
        },
        OutputConfig {
            boost_kpa: vec![0.0, 70.0, 140.0],
            rpm: vec![1000.0, 7000.0],
            values: vec![vec![0.5, 0.5], vec![2.5, 2.7], vec![4.4, 4.5]],
            response_ms: 40.0,
            ..output("trim", OutputKind::Analogue, [0.0, 5.0])
        },
    ]
}

impl ControllerConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "controller",
            &[
                ("sensor_v", self.sensor_v[0], 0.0, 15.0),
                ("sensor_v", self.sensor_v[1], self.sensor_v[0] + 1e-3, 15.0),
                ("sensor_kpa_abs", self.sensor_kpa_abs[0], 0.0, 2000.0),
                ("sensor_kpa_abs", self.sensor_kpa_abs[1], 0.0, 2000.0),
                ("ambient_kpa", self.ambient_kpa, 50.0, 120.0),
                ("pulses_per_rev", self.pulses_per_rev, 0.1, 100.0),
                ("step_v", self.step_v, 0.0, 1.0),
                ("noise_v", self.noise_v, 0.0, 1.0),
                ("period_ms", f64::from(self.period_ms), 1.0, 10_000.0),
                ("sensor_good_v", self.sensor_good_v[0], -1.0, 15.0),
                ("sensor_good_v", self.sensor_good_v[1], -1.0, 15.0),
                ("lowest_rpm", self.lowest_rpm, 0.0, 100_000.0),
                ("runs_from_v", self.runs_from_v, 0.0, 60.0),
                ("boot_ms", f64::from(self.boot_ms), 0.0, 60_000.0),
                ("outputs (count)", self.outputs.len() as f64, 0.0, 16.0),
            ],
        );
        for output in &self.outputs {
            output.check(c);
        }
    }
}

impl OutputConfig {
    fn check(&self, c: &mut Check) {
        let part = format!("controller.outputs.{}", self.name);
        c.ranges(
            &part,
            &[
                ("off_below", self.off_below, 0.0, 100.0),
                ("clamp", self.clamp[0], 0.0, 100.0),
                ("clamp", self.clamp[1], self.clamp[0], 100.0),
                ("compensation_v", self.compensation_v, 0.0, 60.0),
                ("compensation_power", self.compensation_power, -4.0, 4.0),
                ("hysteresis_kpa", self.hysteresis_kpa, 0.0, 500.0),
                ("delay_ms", f64::from(self.delay_ms), 0.0, 5000.0),
                ("response_ms", self.response_ms, 0.0, 60_000.0),
            ],
        );
        for (name, axis) in [("boost_kpa", &self.boost_kpa), ("rpm", &self.rpm)] {
            let rising = axis.windows(2).all(|w| w[0] < w[1]) && axis.iter().all(|v| v.is_finite());
            if axis.is_empty() || !rising {
                c.problems.push(
                    Problem::new(format!("virtual_bench.{part}.{name}: {axis:?}"))
                        .expected("one or more finite numbers, each larger than the one before"),
                );
            }
        }
        let fits = self.values.len() == self.boost_kpa.len()
            && self.values.iter().all(|row| row.len() == self.rpm.len() && row.iter().all(|v| v.is_finite()));
        if !fits {
            c.problems.push(
                Problem::new(format!("virtual_bench.{part}.values: does not fit its axes")).expected(
                    format!(
                        "{} rows (boost) of {} finite numbers (rpm)",
                        self.boost_kpa.len(),
                        self.rpm.len()
                    ),
                ),
            );
        }
    }
}

/// What is different in a firmware with a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FirmwareFaultKind {
    /// The boost axis lies elsewhere.
    AxisShifted,
    /// Every value is scaled.
    MapScaled,
    /// Every value that is not 0 is offset.
    Offset,
    /// One point of the table has another value.
    PointChanged,
    /// Two neighbouring rows (boost) have changed places.
    RowsSwapped,
    /// Two neighbouring columns (rpm) have changed places.
    ColumnsSwapped,
    /// No supply compensation.
    CompensationGone,
    /// Supply compensation the wrong way round.
    CompensationReversed,
    /// The upper clamp lies lower.
    ClampMoved,
    /// Interpolated became held, or the other way round.
    LookupToggled,
    /// Hysteresis added, or changed.
    HysteresisChanged,
    /// Slower response.
    Slower,
    /// Another reaction to a sensor fault.
    SensorFaultChanged,
}

impl FirmwareFaultKind {
    /// Every kind, in a fixed order.
    pub const ALL: [FirmwareFaultKind; 13] = [
        FirmwareFaultKind::AxisShifted,
        FirmwareFaultKind::MapScaled,
        FirmwareFaultKind::Offset,
        FirmwareFaultKind::PointChanged,
        FirmwareFaultKind::RowsSwapped,
        FirmwareFaultKind::ColumnsSwapped,
        FirmwareFaultKind::CompensationGone,
        FirmwareFaultKind::CompensationReversed,
        FirmwareFaultKind::ClampMoved,
        FirmwareFaultKind::LookupToggled,
        FirmwareFaultKind::HysteresisChanged,
        FirmwareFaultKind::Slower,
        FirmwareFaultKind::SensorFaultChanged,
    ];
}

/// One seeded difference in the firmware.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct FirmwareFault {
    /// What is different; drawn from the seed where not given.
    pub kind: Option<FirmwareFaultKind>,
    /// Which output; drawn among those that can show it where not given.
    pub output: Option<String>,
    /// Size, 1 for the usual one.
    pub size: f64,
}

impl Default for FirmwareFault {
    fn default() -> Self {
        FirmwareFault { kind: None, output: None, size: 1.0 }
    }
}

/// Something that goes wrong on the bench.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mishap {
    /// When, s of bench time.
    pub at_s: f64,
    /// What.
    pub what: MishapKind,
}

/// What can go wrong on the bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MishapKind {
    /// The emergency stop is pressed.
    EmergencyStopPressed,
    /// The emergency stop is released.
    EmergencyStopReleased,
    /// The line pressure gauge's wire breaks: its channel reads 0 V.
    GaugeOpen,
    /// The line pressure gauge's signal is shorted to its supply: 5 V.
    GaugeShort,
    /// The line pressure gauge keeps its last value.
    GaugeFrozen,
    /// The scale keeps sending its last value.
    ScaleFrozen,
    /// The scale falls silent.
    ScaleSilent,
    /// The scale never says `stable` again.
    ScaleRestless,
    /// The cup is lifted off the scale.
    CupLifted,
    /// The cup is knocked: 40 g for 0.3 s.
    CupBumped,
    /// The cup is emptied back into the tank.
    CupEmptied,
    /// The pump relay welds: the pump runs on whatever the driver says.
    RelayWelded,
    /// The hose bursts.
    HoseBursts,
    /// The first mounted nozzle is blocked by three quarters.
    NozzleBlocked,
    /// The tank is empty.
    TankEmpty,
    /// The driver's firmware restarts: output off, disarmed.
    DriverRestarts,
    /// The driver falls silent, its watchdog still runs.
    DriverSilent,
}
