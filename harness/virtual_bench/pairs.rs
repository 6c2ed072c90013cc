//! Random pump and nozzle pairs, for studies over many of them.
//!
//! In: a seed. Out: a whole bench around a pair that someone could have bought. Parameters are chosen backwards
//! from a working point at full duty; what the pair really does is then up to the plant. Never: a pair chosen for
//! what the analysis makes of it.

use super::config::{BypassConfig, Config, MotorConfig, NozzleConfig, PumpConfig};
use crate::chance::{Seed, Stream, uniform};
use std::f64::consts::{PI, TAU};

/// Supply at which a pair reaches its working point, V.
const SUPPLY_V: f64 = 13.8;

/// 100 psi, kPa.
const RATING_KPA: f64 = 689.476;

/// A bench around a random pair: one nozzle (`A`) or two (`A`, `B`; `A` mounted), a pump that matches or is larger
/// than it needs to be, without bypass, with one that stays closed in use, or with one that opens below full duty.
/// Systematic errors of the instruments are drawn within the default limits, noise is on.
#[must_use]
pub fn random_pair(seed: Seed) -> Config {
    let mut s = seed.stream("pair");
    let mut c = Config::default();
    let s = &mut s;

    let rated_ml_min = 250.0 * uniform(s, 0.0, 3.5_f64.ln()).exp();
    c.nozzles = vec![nozzle(s, "A", rated_ml_min)];
    if uniform(s, 0.0, 1.0) < 0.5 {
        let ratio = uniform(s, 0.7, 1.6);
        c.nozzles.push(nozzle(s, "B", rated_ml_min * ratio));
    }
    let oversized = uniform(s, 0.0, 1.0) < 0.5;
    let full_kpa = if oversized { uniform(s, 750.0, 1150.0) } else { uniform(s, 350.0, 750.0) };
    let full_ml_min = rated_ml_min * (full_kpa / RATING_KPA).sqrt();

    c.check_valve.cracking_kpa = uniform(s, 5.0, 40.0);
    c.check_valve.drop_kpa_per_ml_min = uniform(s, 0.005, 0.03);
    let head_kpa = full_kpa + c.check_valve.cracking_kpa + c.check_valve.drop_kpa_per_ml_min * full_ml_min;
    c.driver.feed_ohm = uniform(s, 0.01, 0.05);
    c.driver.lead_ohm = uniform(s, 0.02, 0.08);
    c.driver.freewheel_v = uniform(s, 0.3, 0.6);
    c.supply.source_ohm = uniform(s, 0.005, 0.04);
    let rpm = uniform(s, 2600.0, 4200.0);
    c.pump = pump(s, head_kpa, full_ml_min, rpm);
    let wiring = c.driver.feed_ohm + c.driver.lead_ohm + c.driver.switch_ohm;
    c.motor = motor(s, &c.pump, head_kpa, rpm, wiring);
    c.pump.bypass = bypass(s, head_kpa);

    // A decay time of 0.1 to 0.3 s at the working point: compliance times pressure over half the flow.
    c.line.compliance_ml_per_kpa = uniform(s, 0.1, 0.3) * full_ml_min / 60.0 / (2.0 * full_kpa);
    c.water.start_degc = uniform(s, 14.0, 26.0);
    c.water.end_degc = c.water.start_degc + uniform(s, -1.0, 3.0);
    c.motor.ambient_degc = c.water.start_degc + uniform(s, -2.0, 4.0);
    c.cup.jet_on_pan = uniform(s, 0.0, 0.08);
    c.cup.mist_lost = uniform(s, 0.0, 0.001);
    c
}

fn nozzle(s: &mut Stream, name: &str, rated_ml_min: f64) -> NozzleConfig {
    let discharge = uniform(s, 0.6, 0.85);
    // Area from the rated flow, Q = Cd A sqrt(2 dP / rho), mL/s and mm2.
    let area = rated_ml_min / 60.0 / (discharge * (2.0 * RATING_KPA * 1000.0 / 998.2).sqrt());
    NozzleConfig {
        name: name.to_owned(),
        diameter_mm: (4.0 * area / PI).sqrt(),
        discharge,
        laminar_re: uniform(s, 10.0, 60.0),
        blocked: 0.0,
    }
}

fn pump(s: &mut Stream, head_kpa: f64, full_ml_min: f64, rpm: f64) -> PumpConfig {
    let slip_ml_min = uniform(s, 0.05, 0.18) * full_ml_min;
    let filling = uniform(s, 0.0, 0.005);
    let filled = 1.0 - filling * rpm / 1000.0;
    PumpConfig {
        displacement_ml_per_rev: (full_ml_min + slip_ml_min) / (rpm * filled),
        chambers: if uniform(s, 0.0, 1.0) < 0.5 { 3 } else { 4 },
        pulsation: uniform(s, 0.1, 0.35),
        mechanical_efficiency: uniform(s, 0.4, 0.7),
        filling_loss_at_1000_rpm: filling,
        slip_ml_min_per_kpa: slip_ml_min / head_kpa,
        head_compliance_ml_per_kpa: PumpConfig::default().head_compliance_ml_per_kpa,
        bypass: None,
    }
}

/// A motor that turns `pump` at `rpm` against `head_kpa` on the full supply.
fn motor(s: &mut Stream, pump: &PumpConfig, head_kpa: f64, rpm: f64, wiring_ohm: f64) -> MotorConfig {
    let speed = rpm * TAU / 60.0;
    let load_nm = pump.displacement_ml_per_rev / TAU * head_kpa * 1e-3 / pump.mechanical_efficiency;
    let coulomb_nm = load_nm * uniform(s, 0.2, 0.45);
    let viscous_nm_s = load_nm * uniform(s, 0.02, 0.15) / speed;
    let torque_nm = load_nm + coulomb_nm + viscous_nm_s * speed;
    let brush_drop_v = uniform(s, 0.1, 0.35);
    let usable_v = SUPPLY_V - brush_drop_v;
    let ohmic_v = usable_v * uniform(s, 0.12, 0.22);
    let torque_nm_per_a = (usable_v - ohmic_v) / speed;
    let current = torque_nm / torque_nm_per_a;
    let all_ohm = ohmic_v / current;
    // Enough inductance that the current hardly stops between pulses, and sometimes does.
    let idle_current = coulomb_nm / torque_nm_per_a;
    MotorConfig {
        winding_ohm: (all_ohm - wiring_ohm).max(0.3 * all_ohm),
        inductance_mh: 0.9 / idle_current * uniform(s, 1.6, 3.0),
        torque_nm_per_a,
        brush_drop_v,
        inertia_g_cm2: 110.0 * (torque_nm / 0.07) * uniform(s, 0.6, 1.6),
        coulomb_nm,
        stiction_ratio: uniform(s, 1.2, 1.8),
        stiction_fade_rad_s: uniform(s, 0.5, 2.0),
        viscous_nm_s,
        friction_flutter: uniform(s, 0.0, 0.015),
        heating_k_per_w: uniform(s, 3.0, 12.0) / (current * ohmic_v),
        heating_s: uniform(s, 80.0, 250.0),
        ..MotorConfig::default()
    }
}

/// No bypass, one that opens well above the working point, or one that opens below it.
fn bypass(s: &mut Stream, head_kpa: f64) -> Option<BypassConfig> {
    let kind = uniform(s, 0.0, 3.0);
    let opens = if kind < 1.0 {
        return None;
    } else if kind < 2.0 {
        uniform(s, 1.15, 1.3)
    } else {
        uniform(s, 0.5, 0.9)
    };
    Some(BypassConfig {
        opens_kpa: opens * head_kpa,
        slope_ml_min_per_kpa: uniform(s, 0.5, 3.0),
        softness_kpa: uniform(s, 5.0, 40.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::virtual_bench::settled_state;

    #[test]
    fn pairs_are_such_as_people_buy() {
        for k in 0..60 {
            let c = random_pair(Seed(7).nth(k));
            c.check().unwrap();
            let full = settled_state(&c, 100.0, SUPPLY_V, "A", 0.0).unwrap();
            // Common practice, no source: pumps up to about 300 psi (2068 kPa), small nozzles up to 1 L/min.
            assert!((120.0..1300.0).contains(&full.flow_ml_min), "{k}: {full:?}");
            assert!((200.0..1400.0).contains(&full.line_pressure_kpa), "{k}: {full:?}");
            let third = settled_state(&c, 30.0, SUPPLY_V, "A", 0.0).unwrap();
            assert!((0.1..0.45).contains(&(third.flow_ml_min / full.flow_ml_min)), "{k}: {third:?}");
            assert!(settled_state(&c, 3.0, SUPPLY_V, "A", 0.0).unwrap().flow_ml_min < 0.5, "{k}");
            assert!(settled_state(&c, 20.0, SUPPLY_V, "A", 0.0).unwrap().flow_ml_min > 1.0, "{k}");
        }
    }
}
