//! The controller under test: a program that runs every few milliseconds.
//!
//! In: sensor voltage, tach frequency, supply. Out: each output in its own unit. Never: a value the program of a
//! real controller could not have: what it knows of pressure and speed it knows from volts and hertz.

use super::table::Table;
use crate::virtual_bench::config::{ControllerConfig, OutputConfig, OutputKind, SensorFaultReaction};
use crate::virtual_bench::noise::Source;
use std::collections::VecDeque;

/// Longest dead time kept, in runs of the program.
const DELAY_RUNS_MAX: usize = 4096;

/// What the controller is connected to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Signals {
    /// Manifold sensor, V.
    pub(crate) sensor_v: f64,
    /// Tach, Hz.
    pub(crate) tach_hz: f64,
    /// Supply, V.
    pub(crate) supply_v: f64,
}

#[derive(Clone, Debug)]
struct Output {
    c: OutputConfig,
    table: Table,
    /// Boost as believed with hysteresis, kPa.
    believed_kpa: f64,
    /// Targets not yet due, oldest first.
    delayed: VecDeque<f64>,
    delay_runs: usize,
    follow: f64,
    value: f64,
}

/// The controller.
#[derive(Clone, Debug)]
pub(crate) struct Controller {
    c: ControllerConfig,
    outputs: Vec<Output>,
    noise: Source,
    until_run: u32,
    until_booted: u32,
    last_good_kpa: f64,
}

impl Controller {
    pub(crate) fn new(c: &ControllerConfig, noise: Source) -> Self {
        let period_ms = f64::from(c.period_ms);
        let outputs = c
            .outputs
            .iter()
            .map(|o| Output {
                c: o.clone(),
                table: Table {
                    boost_kpa: o.boost_kpa.clone(),
                    rpm: o.rpm.clone(),
                    values: o.values.clone(),
                    lookup: o.lookup,
                },
                believed_kpa: 0.0,
                delayed: VecDeque::new(),
                delay_runs: ((f64::from(o.delay_ms) / period_ms).round() as usize).min(DELAY_RUNS_MAX),
                follow: if o.response_ms > 0.0 { 1.0 - (-period_ms / o.response_ms).exp() } else { 1.0 },
                value: 0.0,
            })
            .collect();
        Controller {
            c: c.clone(),
            outputs,
            noise,
            until_run: c.period_ms,
            until_booted: c.boot_ms,
            last_good_kpa: 0.0,
        }
    }

    /// One step (1 ms). Returns whether the program ran.
    pub(crate) fn step(&mut self, signals: Signals) -> bool {
        if self.until_run > 1 {
            self.until_run -= 1;
            return false;
        }
        self.until_run = self.c.period_ms;
        self.run(signals);
        true
    }

    fn run(&mut self, signals: Signals) {
        if signals.supply_v < self.c.runs_from_v {
            self.reset();
            return;
        }
        self.until_booted = self.until_booted.saturating_sub(self.c.period_ms);
        if self.until_booted > 0 {
            return;
        }
        let boost = self.boost(signals.sensor_v);
        let rpm = signals.tach_hz * 60.0 / self.c.pulses_per_rev;
        let turning = rpm >= self.c.lowest_rpm;
        for output in &mut self.outputs {
            let target = match boost {
                Some(kpa) if turning => output.target(kpa, rpm, signals.supply_v),
                _ => 0.0,
            };
            output.delayed.push_back(target);
            while output.delayed.len() > output.delay_runs + 1 {
                output.delayed.pop_front();
            }
            if output.delayed.len() > output.delay_runs {
                let due = output.delayed.front().copied().unwrap_or(0.0);
                output.value += (due - output.value) * output.follow;
            }
        }
    }

    fn reset(&mut self) {
        self.until_booted = self.c.boot_ms;
        for output in &mut self.outputs {
            output.value = 0.0;
            output.delayed.clear();
            output.believed_kpa = 0.0;
        }
    }

    /// Gauge boost from the sensor voltage, kPa; none where a sensor fault switches everything off.
    fn boost(&mut self, sensor_v: f64) -> Option<f64> {
        let mut volts = sensor_v + self.noise.normal(self.c.noise_v);
        if self.c.step_v > 0.0 {
            volts = (volts / self.c.step_v).round() * self.c.step_v;
        }
        let [v0, v1] = self.c.sensor_v;
        let [p0, p1] = self.c.sensor_kpa_abs;
        let kpa = p0 + (volts - v0) / (v1 - v0) * (p1 - p0) - self.c.ambient_kpa;
        if (self.c.sensor_good_v[0]..=self.c.sensor_good_v[1]).contains(&volts) {
            self.last_good_kpa = kpa;
            return Some(kpa);
        }
        match self.c.on_sensor_fault {
            SensorFaultReaction::Off => None,
            SensorFaultReaction::Hold => Some(self.last_good_kpa),
            SensorFaultReaction::Believe => Some(kpa),
        }
    }

    /// Duty of the first duty output, 0 to 1; 0 where there is none.
    pub(crate) fn pump_duty(&self) -> f64 {
        self.value(OutputKind::Duty, 0).unwrap_or(0.0) / 100.0
    }

    /// Value of the `index`-th output of a kind: %, 0 or 1, V.
    pub(crate) fn value(&self, kind: OutputKind, index: usize) -> Option<f64> {
        self.outputs.iter().filter(|o| o.c.kind == kind).nth(index).map(|o| match kind {
            OutputKind::Switched => f64::from(u8::from(o.value >= 0.5)),
            _ => o.value,
        })
    }
}

impl Output {
    fn target(&mut self, boost_kpa: f64, rpm: f64, supply_v: f64) -> f64 {
        let play = self.c.hysteresis_kpa;
        self.believed_kpa = self.believed_kpa.clamp(boost_kpa - play, boost_kpa + play);
        let mut value = self.table.value(self.believed_kpa, rpm);
        if self.c.compensation_v > 0.0 {
            value *= (self.c.compensation_v / supply_v).powf(self.c.compensation_power);
        }
        if value <= 0.0 || value < self.c.off_below {
            return 0.0;
        }
        value.clamp(self.c.clamp[0], self.c.clamp[1])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Seed;

    const CRUISE: Signals = Signals { sensor_v: 3.0, tach_hz: 140.0, supply_v: 13.8 };

    fn controller() -> Controller {
        Controller::new(&ControllerConfig::default(), Source::new(Seed(1), "controller", false))
    }

    fn run(c: &mut Controller, signals: Signals, ms: u32) -> f64 {
        for _ in 0..ms {
            c.step(signals);
        }
        c.pump_duty() * 100.0
    }

    #[test]
    fn outputs_follow_the_table() {
        let mut c = controller();
        // Common practice, no source: 2.5 V at 8.4 psi and 3.8 V at 20 psi of boost; so 3.0 V is 12.86 psi or
        // 88.68 kPa. Between the rows 80 (36) and 100 (52) kPa, at 4000 + 200 of 1500 rpm (table: 40 and 58).
        let duty = run(&mut c, CRUISE, 2000);
        let (u, v) = ((88.68 - 80.0) / 20.0, 200.0 / 1500.0);
        let expected = (36.0 + 4.0 * v) * (1.0 - u) + (52.0 + 6.0 * v) * u;
        assert!((duty - expected).abs() < 0.1, "{duty} {expected}");
        assert_eq!(c.value(OutputKind::Switched, 0), Some(1.0));
        assert_eq!(c.value(OutputKind::Switched, 1), None);
        assert!(c.value(OutputKind::Analogue, 0).unwrap() > 2.5);
    }

    #[test]
    fn compensation_holds_the_mean_voltage() {
        let mut c = controller();
        let at_13_8 = run(&mut c, CRUISE, 2000);
        let at_12 = run(&mut c, Signals { supply_v: 12.0, ..CRUISE }, 2000);
        assert!((at_12 * 12.0 - at_13_8 * 13.8).abs() < 0.1, "{at_12} {at_13_8}");
    }

    #[test]
    fn faults_and_power_switch_off() {
        for bad in [
            Signals { sensor_v: 4.98, ..CRUISE },
            Signals { sensor_v: 0.0, ..CRUISE },
            Signals { tach_hz: 0.0, ..CRUISE },
            Signals { supply_v: 5.0, ..CRUISE },
        ] {
            let mut c = controller();
            assert!(run(&mut c, CRUISE, 1000) > 30.0);
            assert!(run(&mut c, bad, 1000) < 0.01, "{bad:?}");
        }
        let mut c = controller();
        assert!(run(&mut c, CRUISE, 340) <= 0.0, "still booting");
    }

    #[test]
    fn response_is_dead_time_and_lag() {
        let mut c = controller();
        let before = run(&mut c, CRUISE, 2000);
        let step = Signals { sensor_v: 3.4, ..CRUISE };
        let after = run(&mut c.clone(), step, 2000);
        let mut at_63 = 0;
        while c.pump_duty() * 100.0 < before + (after - before) * (1.0 - (-1.0_f64).exp()) {
            c.step(step);
            at_63 += 1;
        }
        // Program period at most 10 ms, dead time 10 ms, lag 25 ms (a first-order lag reaches 1 - 1/e there).
        assert!((30..=50).contains(&at_63), "{at_63}");
    }
}
