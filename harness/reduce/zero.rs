//! The gauge's zero, from spans where the line was vented.
//!
//! In: vented spans, in order. Out: how much the gauge reads too much, over time, and how well that is known; or a
//! finding where it does not fit what the rig states. Never: a trapped pressure taken for an error of the gauge.

use super::collection::{Collection, Source, Systematic, Systematics};
use super::finding::Finding;
use super::instruments::Instruments;
use super::noise::trend;
use super::spans::Span;
use crate::script::role::Role;

/// Kind of the spans.
pub const KIND: &str = "vented_zero";
/// Pressure that water hanging in the nozzle may keep, limits, kPa: 30 mm of it.
const KEPT_KPA: f64 = 0.3;
/// A pressure that still falls by more than this over the span is not zero yet, kPa.
const FALLING_KPA: f64 = 1.0;
/// Times the stated standard uncertainty within which a reading is taken for the gauge's zero.
const FITS_K: f64 = 3.0;

/// A reading of the vented gauge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vented {
    /// Middle of the reading, s.
    pub time_s: f64,
    /// What it reads, kPa.
    pub kpa: f64,
    /// Standard uncertainty, kPa.
    pub u_kpa: f64,
}

/// Reads the gauge in a vented span, over its second half; none where it was cut short or still falling.
#[must_use]
pub fn read(span: &Span, known: &Instruments) -> Option<Vented> {
    let trace = span.traces.get(&Role::LinePressure).filter(|_| span.whole)?;
    let (times, values) = trace.from(0.5 * (span.start_s + span.end_s));
    let mean = trend(times, values, 1)?;
    let line = trend(times, values, 2)?;
    let change = line.coefficients[1] * (times[times.len() - 1] - times[0]);
    let step = known.gauge.step / 12.0_f64.sqrt();
    (change.abs() <= FALLING_KPA).then(|| Vented {
        time_s: mean.centre_s,
        kpa: mean.coefficients[0],
        u_kpa: mean.u[0].hypot(step).hypot(KEPT_KPA / 3.0_f64.sqrt()),
    })
}

/// Takes the zero out of the collections and puts what is left of it into the common errors, where the readings fit
/// the gauge; says so, or says why not.
pub fn apply(
    vented: &[Vented],
    known: &Instruments,
    collections: &mut [Collection],
    systematics: &mut Systematics,
) -> Option<Finding> {
    let (first, last) = (vented.first()?, vented.last()?);
    let stated = systematics.u(Source::GaugeZero);
    let worst = vented
        .iter()
        .map(|v| v.kpa)
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let told = |id, what: String, cause: &str| {
        let finding = Finding::new(id, what, cause)
            .with("before", first.kpa, "kPa")
            .with("after", last.kpa, "kPa");
        finding.with("stated standard uncertainty", stated, "kPa")
    };
    if worst.abs() > FITS_K * stated.hypot(first.u_kpa) {
        let u = worst.abs() / 3.0_f64.sqrt();
        replace(
            systematics,
            Systematic {
                source: Source::GaugeZero,
                u: u.max(stated),
                dof: f64::INFINITY,
                rectangular: true,
                from: "vented reading that does not fit the gauge",
            },
        );
        let what = format!("the vented gauge reads {worst:+.2} kPa, more than is stated for its zero");
        let cause = "the line was not quite vented, or the gauge needs its zero set: no correction was made, and the reading was taken as limits";
        return Some(told("gauge.zero", what, cause));
    }
    for c in collections.iter_mut() {
        let part = (c.time_s - first.time_s) / (last.time_s - first.time_s);
        let zero = if part.is_finite() {
            first.kpa + part.clamp(0.0, 1.0) * (last.kpa - first.kpa)
        } else {
            first.kpa
        };
        c.line_pressure_kpa = c
            .line_pressure_kpa
            .map(|kpa| kpa - zero * (1.0 - 0.5 * (known.tap_loss.0 + known.tap_loss.1)));
    }
    // Between the two readings the zero may be anywhere between them.
    let moved = (last.kpa - first.kpa) / 12.0_f64.sqrt();
    let u = if vented.len() > 1 {
        first.u_kpa.max(last.u_kpa).hypot(moved)
    } else {
        first.u_kpa.hypot(0.5 * stated)
    };
    if u < stated {
        replace(
            systematics,
            Systematic {
                source: Source::GaugeZero,
                u,
                dof: f64::INFINITY,
                rectangular: false,
                from: "read vented, before and after",
            },
        );
    }
    let drifted = (last.kpa - first.kpa).abs() > FITS_K * first.u_kpa.hypot(last.u_kpa);
    drifted.then(|| {
        let what = format!(
            "the zero of the gauge moved from {:+.2} to {:+.2} kPa over the run",
            first.kpa, last.kpa
        );
        told(
            "gauge.zero_drift",
            what,
            "the gauge warms or was overloaded; the zero in between was interpolated",
        )
    })
}

/// Puts an error in the place of the one from the same source.
pub(super) fn replace(systematics: &mut Systematics, with: Systematic) {
    systematics.0.retain(|s| s.source != with.source);
    systematics.0.push(with);
    systematics.0.sort_by_key(|s| s.source);
}
