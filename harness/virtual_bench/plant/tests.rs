//! The plant as a whole: what goes in comes out, textbook balances hold, steps of any kind stay finite.

use super::*;
use crate::chance::uniform;
use crate::virtual_bench::config::OnOff;
use crate::virtual_bench::random_pair;
use std::f64::consts::TAU;

fn quiet() -> Config {
    Config { noise: OnOff::Off, ..Config::default() }
}

fn plant(config: &Config) -> Plant {
    let mut plant = Plant::new(config, &ErrorSet::default(), Seed(1)).unwrap();
    plant.inputs.enabled = true;
    plant.inputs.solenoid = true;
    plant
}

fn run(plant: &mut Plant, seconds: f64) {
    for _ in 0..(seconds / STEP_S) as u32 {
        plant.step();
    }
}

/// Water in tank, pump head, line and cup, mL, with what left past the cup.
fn water_ml(plant: &Plant, config: &Config, past_ml: f64) -> f64 {
    plant.tank_ml
        + config.pump.head_compliance_ml_per_kpa * plant.line.head_kpa
        + plant.line.stored_ml
        + past_ml
}

#[test]
fn no_water_is_made_or_lost() {
    let mut config = quiet();
    config.line.air_ml = 3.0;
    config.line.leak_ml_min_per_kpa = 0.05;
    config.check_valve.leak_ml_min_per_kpa = 0.01;
    config.water.end_degc = config.water.start_degc;
    let mut plant = plant(&config);
    let start = water_ml(&plant, &config, 0.0);
    let (mut sprayed, mut leaked) = (0.0, 0.0);
    for k in 0..60_000_u32 {
        match k {
            0 => plant.set_duty(0.8),
            20_000 => plant.set_duty(0.15),
            30_000 => plant.inputs.solenoid = false,
            40_000 => plant.set_duty(0.0),
            50_000 => plant.inputs.solenoid = true,
            _ => {}
        }
        plant.step();
        sprayed += plant.line.flows.nozzles * STEP_S;
        leaked += plant.line.flows.leak * STEP_S;
    }
    let end = water_ml(&plant, &config, sprayed + leaked);
    assert!((end - start).abs() < 1e-6, "{start} {end}");
    assert!(sprayed > 100.0 && leaked > 1.0);
    // Into the cup goes what was sprayed, less the mist and what hangs on the rim.
    let caught = plant.cup.mass_g / (plant.water.density * 1e-3);
    let expected = sprayed * (1.0 - config.cup.mist_lost);
    assert!((caught - expected).abs() < config.cup.drip_ml + 1e-3, "{caught} {expected}");
}

#[test]
fn steady_state_balances_torque_and_voltage() {
    // Source: the textbook equations of a permanent-magnet motor (any book on electric drives, from memory):
    // torque k I carries friction and load; mean terminal voltage carries I R, back-EMF and brushes; and of a
    // displacement pump: load torque is displacement per radian times pressure over efficiency.
    let config = quiet();
    for duty in [40.0, 70.0, 100.0] {
        let s = settled(&config, duty, 13.8, "A", 0.0).unwrap();
        let (m, p, d) = (&config.motor, &config.pump, &config.driver);
        let omega = s.speed_rpm * TAU / 60.0;
        let load = p.displacement_ml_per_rev / TAU * 1e-3 * s.pump_pressure_kpa / p.mechanical_efficiency;
        let torque = m.coulomb_nm + m.viscous_nm_s * omega + load;
        assert!((m.torque_nm_per_a * s.winding_a / torque - 1.0).abs() < 2e-3, "{duty}: {s:?} {torque}");
        let ohm = m.winding_ohm * (1.0 + m.copper_per_k * (s.winding_degc - 20.0));
        let on = d.feed_ohm + d.switch_ohm + d.lead_ohm;
        let part = duty / 100.0;
        let mean_v = part * 13.8 - (1.0 - part) * d.freewheel_v;
        let drops = s.supply_a * (ohm + on)
            + (s.winding_a - s.supply_a) * (ohm + d.lead_ohm)
            + m.brush_drop_v
            + m.torque_nm_per_a * omega;
        assert!((mean_v / drops - 1.0).abs() < 2e-3, "{duty}: {mean_v} {drops}");
        // Volume: displacement times speed, less filling loss, slip and bypass, is what is sprayed.
        let water = water::Water::new(&config.water);
        let filled = 1.0 - p.filling_loss_at_1000_rpm * s.speed_rpm / 1000.0;
        let slip = p.slip_ml_min_per_kpa / water.viscosity_ratio * s.pump_pressure_kpa;
        let flow = p.displacement_ml_per_rev * s.speed_rpm * filled - slip;
        assert!((s.flow_ml_min / flow - 1.0).abs() < 1e-3, "{duty}: {s:?} {flow}");
    }
}

#[test]
fn settled_state_is_where_the_running_plant_goes() {
    let config = Config {
        supply: crate::virtual_bench::config::SupplyConfig { source_ohm: 0.0, ..Default::default() },
        ..quiet()
    };
    let config = Config {
        water: crate::virtual_bench::config::WaterConfig { end_degc: 19.0, ..Default::default() },
        ..config
    };
    for duty in [25.0, 60.0, 100.0] {
        let expected = settled(&config, duty, 13.8, "A", 0.0).unwrap();
        let mut plant = plant(&config);
        plant.set_duty(duty / 100.0);
        run(&mut plant, 8.0 * config.motor.heating_s);
        let (mut volume, steps) = (0.0, 60_000);
        for _ in 0..steps {
            plant.step();
            volume += plant.flow() * STEP_S;
        }
        let flow = volume / (f64::from(steps) * STEP_S) * 60.0;
        assert!((flow / expected.flow_ml_min - 1.0).abs() < 1e-4, "{duty}: {flow} {expected:?}");
    }
}

#[test]
fn line_empties_in_a_few_tenths_and_trapped_pressure_stays() {
    let config = quiet();
    let mut plant = plant(&config);
    plant.set_duty(1.0);
    run(&mut plant, 3.0);
    let running = plant.line.line_kpa;
    assert!((500.0..800.0).contains(&running), "{running}");
    let mut stopped = plant.clone();
    stopped.set_duty(0.0);
    let mut ms = 0;
    while stopped.line.line_kpa > 0.1 * running {
        stopped.step();
        ms += 1;
    }
    assert!((80..400).contains(&ms), "{ms}");

    // Dead-head: the bypass holds the pressure. Source: opening pressure and slope from the section, by hand.
    plant.inputs.solenoid = false;
    run(&mut plant, 5.0);
    let dead_head = plant.line.line_kpa;
    assert!((950.0..1250.0).contains(&dead_head), "{dead_head}");
    plant.set_duty(0.0);
    run(&mut plant, 20.0);
    let lost = dead_head - plant.line.line_kpa;
    assert!((0.5..40.0).contains(&lost), "{lost}");
}

#[test]
fn boost_pushes_back_and_vacuum_draws() {
    let mut config = quiet();
    let at = |config: &Config, duty: f64, back: f64| settled(config, duty, 13.8, "A", back).unwrap();
    // Flow falls with boost; below the line's reach nothing sprays (common practice, no source).
    let free = at(&config, 30.0, 0.0);
    let boosted = at(&config, 30.0, 100.0);
    assert!(boosted.flow_ml_min < free.flow_ml_min - 5.0, "{free:?} {boosted:?}");
    assert!(at(&config, 3.0, 100.0).flow_ml_min.abs() < 0.01);
    // Vacuum beyond the cracking pressure draws water through the standing pump.
    assert!(at(&config, 0.0, -60.0).flow_ml_min > 1.0);
    assert!(at(&config, 0.0, -10.0).flow_ml_min < 0.1);
    // Boost reaches the switch through the nozzle while nothing sprays.
    config.back_pressure_kpa = 230.0;
    let mut plant = plant(&config);
    run(&mut plant, 3.0);
    assert!(plant.switch.contact && (plant.line.line_kpa - 230.0).abs() < 1.0, "{}", plant.line.line_kpa);
    assert!(plant.cup.mass_g.abs() < 1e-12);
}

#[test]
fn warm_water_slips_more() {
    // Source: reference viscosities of water, 1.306 mPa s at 10 and 0.797 mPa s at 30 degC (IAPWS 2008): 64 % more.
    let ratio = water::viscosity_vogel(10.0) / water::viscosity_vogel(30.0);
    assert!((ratio / 1.64 - 1.0).abs() < 0.02, "{ratio}");
}

#[test]
fn dead_band_has_stall_below_breakaway() {
    let config = quiet();
    let flows = |duty: f64| settled(&config, duty, 13.8, "A", 0.0).unwrap().flow_ml_min > 0.5;
    let mut stall = 3.0;
    while !flows(stall) {
        stall += 0.25;
    }
    let mut breakaway = stall;
    loop {
        let mut p = plant(&config);
        p.set_duty(breakaway / 100.0);
        run(&mut p, 3.0);
        if p.flow() > 0.01 {
            break;
        }
        breakaway += 0.25;
    }
    assert!((5.0..12.0).contains(&stall), "{stall}");
    assert!(breakaway > stall + 0.4 && breakaway < stall + 6.0, "{stall} {breakaway}");
}

#[test]
fn two_nozzles_share_the_pump() {
    let mut config = quiet();
    config
        .nozzles
        .push(crate::virtual_bench::config::NozzleConfig { name: "B".to_owned(), ..Default::default() });
    let one = settled(&config, 80.0, 13.8, "A", 0.0).unwrap();
    let both = settled(&config, 80.0, 13.8, "A+B", 0.0).unwrap();
    assert!(both.flow_ml_min > 1.02 * one.flow_ml_min && both.flow_ml_min < 2.0 * one.flow_ml_min);
    let k = |s: &Settled| s.flow_ml_min / s.mean_sqrt_difference;
    assert!((k(&both) / (2.0 * k(&one)) - 1.0).abs() < 0.01, "{} {}", k(&both), k(&one));
}

#[test]
fn slow_pwm_and_the_other_side_run_too() {
    let mut config = quiet();
    let fast = settled(&config, 50.0, 13.8, "A", 0.0).unwrap();
    config.driver.side = DriveSide::Low;
    let low = settled(&config, 50.0, 13.8, "A", 0.0).unwrap();
    assert!(low.flow_ml_min < fast.flow_ml_min && low.flow_ml_min > 0.97 * fast.flow_ml_min);
    // At 50 Hz the current stops between pulses: another law, much more flow at the same duty.
    config.driver.pwm_hz = 50.0;
    let slow = settled(&config, 50.0, 13.8, "A", 0.0).unwrap();
    assert!(slow.flow_ml_min > 1.1 * fast.flow_ml_min, "{slow:?} {fast:?}");
}

#[test]
fn nothing_drives_it_out_of_bounds() {
    for k in 0..40 {
        let mut config = random_pair(Seed(11).nth(k));
        let mut s = Seed(12).nth(k).stream("abuse");
        config.line.compliance_ml_per_kpa *= 10_f64.powf(uniform(&mut s, -1.0, 1.0));
        config.line.air_ml = uniform(&mut s, 0.0, 20.0);
        let mut plant = Plant::new(&config, &ErrorSet::default(), Seed(k)).unwrap();
        plant.inputs.enabled = true;
        for step in 0..20_000 {
            if step % 37 == 0 {
                plant.set_duty(uniform(&mut s, 0.0, 1.0));
                plant.inputs.solenoid = uniform(&mut s, 0.0, 1.0) < 0.9;
                plant.inputs.back_kpa = uniform(&mut s, -60.0, 200.0);
                plant.supply.source_v = uniform(&mut s, 0.0, 16.0);
                plant.supply.on = uniform(&mut s, 0.0, 1.0) < 0.95;
            }
            plant.step();
            let (line, head, speed) = (plant.line.line_kpa, plant.line.head_kpa, plant.motor.speed);
            assert!(line.is_finite() && line > -120.0 && line < 20_000.0, "{k} {step}: {line}");
            assert!(head.is_finite() && head > -500.0 && head < 20_000.0, "{k} {step}: {head}");
            assert!((0.0..5000.0).contains(&speed), "{k} {step}: {speed}");
        }
    }
}
