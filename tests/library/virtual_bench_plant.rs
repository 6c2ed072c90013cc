//! The virtual bench as a judge of the analysis: what its section may hold, and that a steady-state pump model does
//! not fit it too well.

use dutycup::door::chance::Seed;
use dutycup::door::virtual_bench::config::Config;
use dutycup::door::virtual_bench::{build, random_pair, settled_state};

#[test]
fn sections_are_checked() {
    for (section, expected) in [
        ("{motr: {}}", "unknown field `motr`"),
        ("{motor: {winding_ohms: 1}}", "unknown field `winding_ohms`"),
        ("{motor: {winding_ohm: .nan}}", "virtual_bench.motor.winding_ohm: NaN"),
        ("{pump: {pulsation: 2}, ambient_kpa: -1}", "2 problems"),
        ("{mounted: A+C}", "cannot mount nozzle \"C\""),
        ("{mounted: A+A}", "cannot mount nozzle \"A\""),
        ("{noise: loud}", "unknown variant `loud`"),
        ("{mishaps: [{at_s: 1, what: rain}]}", "unknown variant `rain`"),
        ("{firmware_fault: {kind: map_scaled, output: nose}}", "nose"),
    ] {
        let value = serde_yaml::from_str(section).unwrap();
        let text = match build(&value, Seed(1)) {
            Ok(_) => String::new(),
            Err(problems) => problems.to_string(),
        };
        assert!(text.contains(expected), "{section}: {text}");
    }
    let rows = "[{name: x, kind: duty, boost_kpa: [1, 1], rpm: [1], values: [[1]], clamp: [0, 100]}]";
    let value = serde_yaml::from_str(&format!("{{controller: {{outputs: {rows}}}}}")).unwrap();
    let text = build(&value, Seed(1)).err().map(|p| p.to_string()).unwrap_or_default();
    assert!(text.contains("boost_kpa") && text.contains("values") && text.contains("2 problems"), "{text}");
}

#[test]
fn an_empty_section_is_the_default_bench_and_sections_go_round() {
    for section in ["{}", "null"] {
        let value = serde_yaml::from_str(section).unwrap();
        assert_eq!(Config::read(&value).unwrap(), Config::default());
    }
    for k in 0..20 {
        let config = random_pair(Seed(3).nth(k));
        let text = serde_yaml::to_string(&config).unwrap();
        let back = Config::read(&serde_yaml::from_str(&text).unwrap()).unwrap();
        assert_eq!(back, config, "{text}");
    }
}

/// The names of every parameter of a section, with their parents', the members of lists left out.
fn names(value: &serde_yaml::Value, parent: &str, found: &mut Vec<String>) {
    for (key, inner) in value.as_mapping().into_iter().flatten() {
        let name = format!("{parent}.{}", key.as_str().unwrap_or_default());
        names(inner, &name, found);
        found.push(name);
    }
}

#[test]
fn the_shipped_section_shows_every_parameter() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/rigs/virtual.yaml");
    let rig: serde_yaml::Value = serde_yaml::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    build(&rig["virtual_bench"], Seed(1)).unwrap();
    let (mut shipped, mut known) = (Vec::new(), Vec::new());
    names(&rig["virtual_bench"], "", &mut shipped);
    names(&serde_yaml::to_value(Config::default()).unwrap(), "", &mut known);
    assert!(known.len() > 100);
    let missing: Vec<_> =
        known.iter().filter(|name| !shipped.contains(name) && !name.starts_with(".errors.given.")).collect();
    assert!(missing.is_empty(), "{missing:?}");
}

#[test]
fn a_whole_bench_at_full_duty_is_what_the_trade_knows() {
    // Common practice, no source: about 10 US gal/h (631 mL/min) at about 100 psi (689 kPa); 30 % duty gives a little
    // less than 30 % of full flow.
    let full = settled_state(&Config::default(), 100.0, 13.8, "A", 0.0).unwrap();
    assert!(
        (500.0..700.0).contains(&full.flow_ml_min) && (500.0..720.0).contains(&full.line_pressure_kpa),
        "{full:?}"
    );
    let third = settled_state(&Config::default(), 30.0, 13.8, "A", 0.0).unwrap();
    assert!((0.25..0.30).contains(&(third.flow_ml_min / full.flow_ml_min)), "{third:?}");
}

/// Least squares of `y` on three columns; the residuals. Normal equations, Gauss with pivoting.
fn residuals(rows: &[([f64; 3], f64)]) -> Vec<f64> {
    let mut m = [[0.0; 4]; 3];
    for (x, y) in rows {
        for i in 0..3 {
            for j in 0..3 {
                m[i][j] += x[i] * x[j];
            }
            m[i][3] += x[i] * y;
        }
    }
    for i in 0..3 {
        let pivot = (i..3).max_by(|&a, &b| m[a][i].abs().total_cmp(&m[b][i].abs())).expect("three rows");
        m.swap(i, pivot);
        let row = m[i];
        for (k, other) in m.iter_mut().enumerate() {
            if k != i {
                let f = other[i] / row[i];
                other.iter_mut().zip(row).for_each(|(o, r)| *o -= f * r);
            }
        }
    }
    let c: Vec<f64> = (0..3).map(|i| m[i][3] / m[i][i]).collect();
    rows.iter().map(|(x, y)| y - (x[0] * c[0] + x[1] * c[1] + x[2] * c[2])).collect()
}

#[test]
fn the_steady_pump_equation_leaves_a_discrepancy() {
    // The equation Q = alpha V_eff - beta P - c with V_eff = d V - (1 - d) V_f, fitted to the noise-free plant at two
    // back pressures: it must follow (else the plant is no such pump) and must not be the plant in other letters.
    let mut worst = Vec::new();
    for k in 0..40 {
        let mut config = random_pair(Seed(21).nth(k));
        config.pump.bypass = None;
        let mut rows = Vec::new();
        let mut full: f64 = 0.0;
        for back in [0.0, 100.0] {
            for tenth in 2..=10 {
                let duty = f64::from(tenth) * 0.1;
                let s = settled_state(&config, duty * 100.0, 13.8, "A", back).unwrap();
                if s.flow_ml_min > 10.0 {
                    let v_eff = duty * 13.8 - (1.0 - duty) * config.driver.freewheel_v;
                    rows.push(([v_eff, s.line_pressure_kpa, 1.0], s.flow_ml_min));
                    full = full.max(s.flow_ml_min);
                }
            }
        }
        let most = residuals(&rows).iter().fold(0.0_f64, |m, r| m.max(r.abs())) / full * 100.0;
        assert!((0.05..0.6).contains(&most), "{k}: {most} %");
        worst.push(most);
    }
    worst.sort_by(f64::total_cmp);
    let median = worst[worst.len() / 2];
    println!(
        "largest residual of a pair, % of full flow: {:.3} to {:.3}, median {median:.3}",
        worst[0], worst[39]
    );
    assert!((0.1..0.4).contains(&median), "{worst:?}");
}
