//! A fault in the controller's firmware: one seeded difference from the section.
//!
//! In: the controller's parameters, what is to differ. Out: the parameters with that one difference. Never: a second
//! difference, or one the section's own checks would refuse.

use super::config::{
    Config, ControllerConfig, FirmwareFault, FirmwareFaultKind, Lookup, OutputConfig, OutputKind,
    SensorFaultReaction,
};
use crate::chance::{Seed, Stream, uniform};
use crate::problem::{Problem, Problems};

/// Applies the fault that `config` asks for, if any, to its controller.
///
/// # Errors
/// An output that does not exist, or cannot show the fault; parameters that leave their range.
pub(super) fn apply(config: &mut Config, seed: Seed) -> Result<(), Problems> {
    let Some(fault) = config.firmware_fault.take() else {
        return Ok(());
    };
    let mut stream = seed.stream("firmware.fault");
    let kind = fault.kind.unwrap_or_else(|| draw_kind(&config.controller, &mut stream));
    if kind == FirmwareFaultKind::SensorFaultChanged {
        config.controller.on_sensor_fault = match config.controller.on_sensor_fault {
            SensorFaultReaction::Off => SensorFaultReaction::Hold,
            SensorFaultReaction::Hold | SensorFaultReaction::Believe => SensorFaultReaction::Off,
        };
        return config.check();
    }
    let index = choose_output(&config.controller, &fault, kind, &mut stream)?;
    change(&mut config.controller.outputs[index], kind, fault.size, &mut stream);
    config.check()
}

/// A kind that some output can show.
fn draw_kind(controller: &ControllerConfig, stream: &mut Stream) -> FirmwareFaultKind {
    let possible: Vec<_> = FirmwareFaultKind::ALL
        .into_iter()
        .filter(|kind| {
            *kind == FirmwareFaultKind::SensorFaultChanged
                || controller.outputs.iter().any(|o| can_show(o, *kind))
        })
        .collect();
    possible[pick(stream, possible.len())]
}

fn choose_output(
    controller: &ControllerConfig,
    fault: &FirmwareFault,
    kind: FirmwareFaultKind,
    stream: &mut Stream,
) -> Result<usize, Problems> {
    let possible: Vec<_> = (0..controller.outputs.len())
        .filter(|&i| fault.output.as_ref().is_none_or(|name| *name == controller.outputs[i].name))
        .filter(|&i| can_show(&controller.outputs[i], kind))
        .collect();
    if possible.is_empty() {
        let names: Vec<_> =
            controller.outputs.iter().filter(|o| can_show(o, kind)).map(|o| o.name.as_str()).collect();
        return Err(Problem::new(format!(
            "virtual_bench.firmware_fault: no output {:?} that could show {kind:?}",
            fault.output.as_deref().unwrap_or("at all")
        ))
        .expected(format!("one of: {}", names.join(", ")))
        .into());
    }
    Ok(possible[pick(stream, possible.len())])
}

/// Whether a fault of this kind changes anything an output does.
fn can_show(o: &OutputConfig, kind: FirmwareFaultKind) -> bool {
    let switched = o.kind == OutputKind::Switched;
    match kind {
        FirmwareFaultKind::AxisShifted | FirmwareFaultKind::PointChanged => true,
        FirmwareFaultKind::MapScaled | FirmwareFaultKind::Offset | FirmwareFaultKind::ClampMoved => !switched,
        FirmwareFaultKind::RowsSwapped => o.values.windows(2).any(|w| w[0] != w[1]),
        FirmwareFaultKind::ColumnsSwapped => {
            o.values.iter().any(|row| row.windows(2).any(|w| differ(w[0], w[1])))
        }
        FirmwareFaultKind::CompensationGone | FirmwareFaultKind::CompensationReversed => {
            o.compensation_v > 0.0
        }
        FirmwareFaultKind::LookupToggled => o.boost_kpa.len() > 1 && !switched,
        FirmwareFaultKind::HysteresisChanged => true,
        FirmwareFaultKind::Slower => !switched || o.delay_ms > 0,
        FirmwareFaultKind::SensorFaultChanged => false,
    }
}

fn differ(a: f64, b: f64) -> bool {
    (a - b).abs() > 1e-12
}

fn change(o: &mut OutputConfig, kind: FirmwareFaultKind, size: f64, stream: &mut Stream) {
    let sign = if uniform(stream, 0.0, 1.0) < 0.5 { -1.0 } else { 1.0 };
    match kind {
        FirmwareFaultKind::AxisShifted => {
            let shift = sign * size * uniform(stream, 6.0, 12.0);
            o.boost_kpa.iter_mut().for_each(|b| *b += shift);
        }
        FirmwareFaultKind::MapScaled => {
            let factor = 1.0 + sign * size * uniform(stream, 0.06, 0.12);
            o.values.iter_mut().flatten().for_each(|v| *v *= factor);
        }
        FirmwareFaultKind::Offset => {
            let offset = sign * size * uniform(stream, 0.04, 0.08) * largest(o);
            o.values.iter_mut().flatten().filter(|v| v.abs() > 0.0).for_each(|v| *v += offset);
        }
        FirmwareFaultKind::PointChanged => point(o, sign * size * uniform(stream, 0.15, 0.3), stream),
        FirmwareFaultKind::RowsSwapped => {
            let rows: Vec<_> = (1..o.values.len()).filter(|&i| o.values[i - 1] != o.values[i]).collect();
            let i = rows[pick(stream, rows.len())];
            o.values.swap(i - 1, i);
        }
        FirmwareFaultKind::ColumnsSwapped => {
            let columns: Vec<_> =
                (1..o.rpm.len()).filter(|&j| o.values.iter().any(|row| differ(row[j - 1], row[j]))).collect();
            let j = columns[pick(stream, columns.len())];
            o.values.iter_mut().for_each(|row| row.swap(j - 1, j));
        }
        FirmwareFaultKind::CompensationGone => o.compensation_v = 0.0,
        FirmwareFaultKind::CompensationReversed => o.compensation_power = -o.compensation_power,
        FirmwareFaultKind::ClampMoved => {
            o.clamp[1] = o.clamp[0] + (largest(o).min(o.clamp[1]) - o.clamp[0]) * (1.0 - 0.2 * size).max(0.0);
        }
        FirmwareFaultKind::LookupToggled => {
            o.lookup = match o.lookup {
                Lookup::Interpolated => Lookup::Held,
                Lookup::Held => Lookup::Interpolated,
            };
        }
        FirmwareFaultKind::HysteresisChanged => o.hysteresis_kpa += size * uniform(stream, 5.0, 9.0),
        FirmwareFaultKind::Slower => {
            let slower = size * uniform(stream, 60.0, 120.0);
            o.response_ms += slower;
            o.delay_ms += (slower * 0.3) as u32;
        }
        FirmwareFaultKind::SensorFaultChanged => {}
    }
}

/// Changes one point by a fraction of the largest value; a switched output's point is turned over.
fn point(o: &mut OutputConfig, fraction: f64, stream: &mut Stream) {
    let change = fraction * largest(o);
    let (i, j) = (pick(stream, o.boost_kpa.len()), pick(stream, o.rpm.len()));
    let (low, high) = (o.clamp[0], o.clamp[1]);
    let value = &mut o.values[i][j];
    *value = if o.kind == OutputKind::Switched {
        1.0 - *value
    } else if (low..=high).contains(&(*value + change)) {
        *value + change
    } else {
        // At the edge of what can be put out: the other way, and never onto the same value.
        (*value - change).max(low + change.abs())
    };
}

fn largest(o: &OutputConfig) -> f64 {
    o.values.iter().flatten().fold(0.0, |m: f64, v| m.max(v.abs()))
}

fn pick(stream: &mut Stream, count: usize) -> usize {
    (uniform(stream, 0.0, count as f64) as usize).min(count.saturating_sub(1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::virtual_bench::noise::Source;
    use crate::virtual_bench::plant::controller::{Controller, Signals};

    #[test]
    fn every_kind_changes_exactly_the_controller() {
        for kind in FirmwareFaultKind::ALL {
            for seed in 0..20 {
                let mut c = Config {
                    firmware_fault: Some(FirmwareFault { kind: Some(kind), ..FirmwareFault::default() }),
                    ..Config::default()
                };
                apply(&mut c, Seed(seed)).unwrap();
                assert_ne!(c.controller, Config::default().controller, "{kind:?} {seed}");
                c.controller = Config::default().controller;
                assert_eq!(c, Config::default(), "{kind:?} {seed}");
            }
        }
    }

    /// What a careful look at the controller shows, each value a fraction of its full scale: a grid of boost and speed,
    /// up and down; other supplies; a sensor fault; shortly after a step.
    fn look(config: &Config) -> Vec<f64> {
        let mut c = Controller::new(&config.controller, Source::new(Seed(1), "controller", false));
        let mut seen = Vec::new();
        let mut at = |boost_kpa: f64, rpm: f64, supply_v: f64, wait_ms: u32| {
            let sensor_v = 2.5 + (boost_kpa + 101.325 - 159.241) * 1.3 / 79.979;
            let signals = Signals { sensor_v, tach_hz: rpm / 30.0, supply_v };
            for _ in 0..wait_ms {
                c.step(signals);
            }
            for (kind, full) in
                [(OutputKind::Duty, 100.0), (OutputKind::Switched, 1.0), (OutputKind::Analogue, 5.0)]
            {
                seen.push(c.value(kind, 0).unwrap_or(0.0) / full);
            }
        };
        for rpm in [1000.0, 2000.0, 2500.0, 3000.0, 4000.0, 5000.0, 5500.0, 7000.0] {
            for k in 0..=56 {
                let k = if k <= 28 { k } else { 56 - k };
                at(f64::from(k) * 5.0, rpm, 13.8, 1500);
            }
        }
        for supply in [9.0, 12.0, 16.0] {
            at(90.0, 4200.0, supply, 1500);
        }
        at(90.0, 4200.0, 13.8, 1500);
        at(400.0, 4200.0, 13.8, 1500);
        at(90.0, 4200.0, 13.8, 1500);
        for wait in [30, 30, 30] {
            at(130.0, 4200.0, 13.8, wait);
        }
        seen
    }

    #[test]
    fn every_fault_can_be_seen() {
        let clean = look(&Config::default());
        for kind in FirmwareFaultKind::ALL {
            for seed in 0..12 {
                let mut c = Config {
                    firmware_fault: Some(FirmwareFault { kind: Some(kind), ..FirmwareFault::default() }),
                    ..Config::default()
                };
                apply(&mut c, Seed(seed)).unwrap();
                let most = look(&c).iter().zip(&clean).fold(0.0_f64, |m, (a, b)| m.max((a - b).abs()));
                assert!(most > 0.02, "{kind:?} {seed}: {most}");
            }
        }
    }

    #[test]
    fn a_fault_that_cannot_be_shown_is_refused() {
        let mut c = Config {
            firmware_fault: Some(FirmwareFault {
                kind: Some(FirmwareFaultKind::CompensationGone),
                output: Some("trim".to_owned()),
                size: 1.0,
            }),
            ..Config::default()
        };
        let text = apply(&mut c, Seed(1)).unwrap_err().to_string();
        assert!(text.contains("trim") && text.contains("pump"), "{text}");
    }
}
