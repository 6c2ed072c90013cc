//! The slope of cup mass: against published tables, and against what simulated scales really scatter by.

use crate::common;
use dutycup::door::chance::*;
use dutycup::door::numerics::distribution::coverage;
use dutycup::door::reduce::slope::{Slope, slope};

/// A scale that is made up: sampled, low-passed in its electronics, rounded.
#[derive(Clone, Copy, Debug)]
struct Scale {
    every_s: f64,
    /// Time constant of its filter.
    filter_s: f64,
    /// Standard deviation of the filtered noise, g.
    noise_g: f64,
    /// White noise after the filter, g.
    white_g: f64,
    step_g: f64,
}

/// Readings of a cup that fills at `flow_g_s`: the exact answer of a first-order filter to a ramp, plus noise.
fn readings(rng: &mut Stream, scale: Scale, flow_g_s: f64, span_s: f64) -> (Vec<f64>, Vec<f64>) {
    let keep = (-scale.every_s / scale.filter_s).exp();
    let (mut slow, start) = (scale.noise_g * standard_normal(rng), rng.random_range(0.0..1.0));
    let n = (span_s / scale.every_s) as usize;
    (0..n)
        .map(|i| {
            let t = i as f64 * scale.every_s;
            let noise = slow + scale.white_g * standard_normal(rng);
            slow = keep * slow + (1.0 - keep * keep).sqrt() * scale.noise_g * standard_normal(rng);
            let mass = 40.0 + start + flow_g_s * (t - scale.filter_s) + noise;
            (t, (mass / scale.step_g).round() * scale.step_g)
        })
        .unzip()
}

/// The stated uncertainty against the real scatter, over many simulated dwells.
#[test]
fn the_stated_uncertainty_is_the_real_scatter() {
    let scale =
        |every_s, filter_s, noise_g, white_g, step_g| Scale { every_s, filter_s, noise_g, white_g, step_g };
    let cases = [
        ("quiet, white", scale(0.1, 0.01, 0.0, 0.05, 0.1), 7.0, 30.0),
        ("filter 0.2 s", scale(0.1, 0.2, 0.1, 0.0, 0.1), 7.0, 30.0),
        ("filter 0.5 s", scale(0.1, 0.5, 0.1, 0.0, 0.1), 7.0, 30.0),
        ("filter 0.5 s, white as well", scale(0.1, 0.5, 0.1, 0.1, 0.1), 7.0, 30.0),
        ("filter 1 s", scale(0.1, 1.0, 0.2, 0.02, 0.1), 3.0, 30.0),
        ("filter 1 s, long", scale(0.1, 1.0, 0.2, 0.02, 0.1), 3.0, 60.0),
        ("filter 0.5 s, 5 a second", scale(0.2, 0.5, 0.1, 0.0, 0.01), 7.0, 20.0),
        ("coarse kitchen scale", scale(0.25, 0.5, 0.3, 0.0, 1.0), 8.0, 60.0),
        ("filter 0.3 s, short", scale(0.1, 0.3, 0.1, 0.0, 0.1), 7.0, 10.0),
        ("slow flow, noisy enough", scale(0.1, 0.5, 0.1, 0.0, 0.1), 0.05, 30.0),
    ];
    let repeats = 400;
    let mut failed = Vec::new();
    for (i, (name, scale, flow, span)) in cases.into_iter().enumerate() {
        let mut rng = Seed(11).nth(i as u64).stream("scale");
        let mut dwell = || {
            let (t, m) = readings(&mut rng, scale, flow, span);
            slope(&t, &m, scale.step_g).unwrap()
        };
        let slopes: Vec<Slope> = (0..repeats).map(|_| dwell()).collect();
        let square = |v: f64| v * v;
        let mean = |of: &dyn Fn(&Slope) -> f64| slopes.iter().map(of).sum::<f64>() / f64::from(repeats);
        let real = mean(&|s| square(s.g_per_s - flow)).sqrt();
        let stated = mean(&|s| square(s.u)).sqrt();
        let covered = mean(&|s| f64::from((s.g_per_s - flow).abs() <= coverage(0.95, s.dof) * s.u));
        let dof = mean(&|s| s.dof);
        println!(
            "{name:32} real {:.5} g/s, stated {:.5} g/s, ratio {:.2}; 95 % cover {:.1} %, dof {dof:.0}, {:.2} s",
            real,
            stated,
            stated / real,
            100.0 * covered,
            mean(&|s| s.correlation_s)
        );
        if !(0.8..=1.2).contains(&(stated / real)) || !(0.92..=0.99).contains(&covered) {
            failed.push(name);
        }
    }
    assert!(failed.is_empty(), "{failed:?}");
}

/// Source: weighing/flying_*.csv (statsmodels): F1 has white noise, where every estimator agrees; F2 is correlated
/// (lag-1 0.66) and bends, where the ordinary standard error is far too small.
#[test]
fn published_dwells_are_matched() {
    let data = common::table("weighing/flying_data.csv");
    let expected = common::table("weighing/flying_expected.csv");
    for row in expected {
        let mine = || data.iter().filter(|r| r.text("case_id") == row.text("case_id"));
        let times: Vec<f64> = mine().map(|r| r.num("time_s")).collect();
        let masses: Vec<f64> = mine().map(|r| r.num("mass_g")).collect();
        let s = slope(&times, &masses, 0.01).unwrap();
        let (ols, se) = (row.num("slope_g_s"), row.num("se_slope_g_s"));
        println!("{}: {:.5} +- {:.5} g/s, ordinary {ols:.5} +- {se:.5}", row.text("case_id"), s.g_per_s, s.u);
        assert_eq!((s.readings as f64, s.outliers_s.len()), (row.num("n"), 0));
        assert!((s.g_per_s - ols).abs() < 0.5 * s.u);
        let bend = 2.0 * row.num("quad_c2_g_s2") * (times[times.len() - 1] - times[0]);
        assert!(
            (s.change_g_per_s.0 - bend).abs() < 0.5 * s.change_g_per_s.1,
            "{:?} {bend}",
            s.change_g_per_s
        );
        if row.text("case_id") == "F1" {
            assert!((0.95..1.15).contains(&(s.u / se)), "{}", s.u / se);
            assert!((s.scatter_g - row.num("residual_sd_g")).abs() < 1e-3);
            assert!(s.change_p > 0.05);
        } else {
            assert!(s.u > 2.0 * se && s.u > 0.8 * row.num("se_slope_hac_newey_west_5lags_g_s"), "{}", s.u);
            assert!(s.change_p < 1e-3, "{}", s.change_p);
        }
    }
}

#[test]
fn splashes_are_labelled_and_told() {
    let mut rng = Seed(3).stream("splash");
    let scale = Scale { every_s: 0.1, filter_s: 0.3, noise_g: 0.05, white_g: 0.0, step_g: 0.1 };
    let (times, clean) = readings(&mut rng, scale, 7.0, 30.0);
    let good = slope(&times, &clean, 0.1).unwrap();
    assert!(good.outliers_s.is_empty());
    let mut splashed = clean.clone();
    for (i, grams) in [(31, 12.0), (32, 8.0), (250, -6.0)] {
        splashed[i] += grams;
    }
    let found = slope(&times, &splashed, 0.1).unwrap();
    assert_eq!(found.outliers_s, [times[31], times[32], times[250]]);
    assert!(found.left_out && (found.g_per_s - good.g_per_s).abs() < good.u);
    assert!((found.with_all_g_per_s - good.g_per_s).abs() > 3.0 * good.u);
    // A scale that jumps about all the time: what stands out is told, nothing is left out.
    let rough: Vec<f64> =
        clean.iter().enumerate().map(|(i, m)| m + if i % 8 == 0 { 9.0 } else { 0.0 }).collect();
    let kept = slope(&times, &rough, 0.1).unwrap();
    assert!(!kept.left_out && kept.outliers_s.len() > 30);
    assert!((kept.g_per_s - kept.with_all_g_per_s).abs() < f64::EPSILON);
}

/// A flow so slow that the scale shows a staircase of few steps, without noise to blur it.
#[test]
fn few_steps_of_the_scale_are_not_taken_for_certainty() {
    let mut rng = Seed(4).stream("stairs");
    let mut inside = 0;
    for _ in 0..500 {
        let (flow, start) = (rng.random_range(0.0..0.02), rng.random_range(0.0..0.1));
        let times: Vec<f64> = (0..300).map(|i| 0.1 * f64::from(i)).collect();
        let stairs: Vec<f64> = times.iter().map(|t| ((start + flow * t) / 0.1_f64).round() * 0.1).collect();
        let s = slope(&times, &stairs, 0.1).unwrap();
        inside += usize::from((s.g_per_s - flow).abs() <= coverage(0.95, s.dof) * s.u);
    }
    println!("{inside} of 500 inside");
    assert!(inside >= 470, "{inside}");
}

#[test]
fn degenerate_dwells() {
    let times: Vec<f64> = (0..20).map(f64::from).collect();
    assert_eq!(slope(&times[..7], &times[..7], 0.1), None);
    assert_eq!(slope(&[1.0; 20], &times, 0.1), None);
    assert_eq!(slope(&times, &[f64::NAN; 20], 0.1), None);
    let falling: Vec<f64> = times.iter().rev().copied().collect();
    assert_eq!(slope(&falling, &times, 0.1), None);
    let exact = slope(&times, &times, 0.0).unwrap();
    assert!((exact.g_per_s - 1.0).abs() < 1e-12 && exact.u < 1e-9 && exact.outliers_s.is_empty());
    let still = slope(&times, &[5.0; 20], 0.1).unwrap();
    assert!(still.g_per_s.abs() < 1e-12 && still.u > 0.0 && still.u.is_finite());
    let long: Vec<f64> = (0..40_000).map(|i| f64::from(i) * 0.01).collect();
    let masses: Vec<f64> = long.iter().map(|t| 3.0 + 0.25 * t).collect();
    assert!((slope(&long, &masses, 0.0).unwrap().g_per_s - 0.25).abs() < 1e-9);
}
