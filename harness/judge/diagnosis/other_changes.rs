//! Changes beside the map: supply compensation, response, reaction to bad sensors, lost tach and power cycle.
//!
//! In: evidence of one output. Out: each hypothesis with what it leaves. Never: a statement on what was not observed.

use super::evidence::{Beside, Evidence};
use super::{Change, Worked};
use crate::reduce::controller::{Kind, Quantity};

/// Exponents of the supply that count as no compensation.
const NONE: f64 = 0.05;

/// Every hypothesis of this kind.
pub(super) fn all(e: &Evidence) -> Vec<Worked> {
    let mut all = compensation(e);
    all.extend(response(e));
    all.extend(reactions(e));
    all
}

/// Value over supply, on logarithmic axes: exponent and the value at 1 V, of the points that are on.
fn power_law(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let logs: Vec<(f64, f64)> =
        points.iter().filter(|p| p.0 > 0.0 && p.1 > 1e-6).map(|p| (p.0.ln(), p.1.ln())).collect();
    let n = logs.len() as f64;
    let (mx, my) = (logs.iter().map(|p| p.0).sum::<f64>() / n, logs.iter().map(|p| p.1).sum::<f64>() / n);
    let sxx: f64 = logs.iter().map(|p| (p.0 - mx).powi(2)).sum();
    let sxy: f64 = logs.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    (logs.len() >= 3 && sxx > 1e-4).then(|| (sxy / sxx, my - sxy / sxx * mx))
}

fn compensation(e: &Evidence) -> Vec<Worked> {
    let of = |pick: fn(&Beside) -> f64| -> Vec<(f64, f64)> {
        e.supply.iter().filter_map(|b| Some((b.at.supply_v?, pick(b)))).collect()
    };
    let Some((was, _)) = power_law(&of(|b| b.old)) else {
        return Vec::new();
    };
    let new = of(|b| b.new);
    // The factor against the old values at which both agree is free; the exponent is what the hypothesis says.
    let worked = |change: Change, words: String, power: f64, free: f64| {
        let logs: Vec<f64> = new.iter().filter(|p| p.1 > 1e-6).map(|p| p.1.ln() - power * p.0.ln()).collect();
        let level = logs.iter().sum::<f64>() / logs.len().max(1) as f64;
        let left = e.left(
            |p| p.old,
            |b| {
                let supply = e.supply.iter().any(|s| std::ptr::eq(s, b));
                supply.then(|| (level + power * b.at.supply_v.unwrap_or(1.0).ln()).exp())
            },
        );
        Worked { change, words, left, free }
    };
    let mut all = Vec::new();
    if was.abs() > NONE {
        let words = format!("supply compensation no longer active (exponent was {was:.2})");
        all.push(worked(Change::CompensationGone, words, 0.0, 1.0));
        let words = format!("supply compensation reversed (exponent was {was:.2})");
        all.push(worked(Change::CompensationReversed, words, -was, 1.0));
    }
    all
}

fn response(e: &Evidence) -> Option<Worked> {
    if e.times.is_empty() {
        return None;
    }
    let n = e.times.len() as f64;
    let by = e.times.iter().map(|b| b.new - b.old).sum::<f64>() / n;
    let left = e.left(|p| p.old, |b| (b.kind.quantity() == Quantity::Time).then_some(b.old + by));
    let words =
        format!("response {} by {:.0} ms", if by > 0.0 { "slower" } else { "faster" }, 1e3 * by.abs());
    Some(Worked { change: Change::ResponseChanged, words, left, free: 1.0 })
}

fn reactions(e: &Evidence) -> Vec<Worked> {
    let elsewhere = ["tach_lost", "power_cycle"];
    let of = |sensor: bool| {
        move |b: &Beside| match &b.kind {
            Kind::Fault(name) | Kind::After(name) => {
                (elsewhere.contains(&name.as_str()) != sensor).then_some(b.new)
            }
            _ => None,
        }
    };
    let moved = |sensor: bool| {
        let mine: Vec<&Beside> = e.faults.iter().filter(|b| of(sensor)(b).is_some()).collect();
        let changed = mine.iter().filter(|b| (b.new - b.old).abs() > b.tolerance);
        let names: Vec<String> = changed.map(|b| b.kind.words()).collect();
        (!mine.is_empty()).then_some(names)
    };
    let mut all = Vec::new();
    if let Some(names) = moved(true) {
        let words = format!("different behaviour on sensor fault ({})", names.join(", "));
        all.push(Worked {
            change: Change::SensorFaultChanged,
            words,
            left: e.left(|p| p.old, of(true)),
            free: 2.0,
        });
    }
    if let Some(names) = moved(false) {
        let words = format!("different behaviour {}", names.join(", "));
        all.push(Worked {
            change: Change::RecoveryChanged,
            words,
            left: e.left(|p| p.old, of(false)),
            free: 2.0,
        });
    }
    all
}
