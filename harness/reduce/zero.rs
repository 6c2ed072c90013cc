//! The zeros of the gauges, from spans where line and outlet were vented.
//!
//! In: vented spans, in order. Out: how much a gauge reads too much, over time, and how well that is known; or a
//! finding where it does not fit what the rig states. Never: a trapped pressure taken for an error of a gauge.

use super::collection::{Collection, Systematic, Systematics};
use super::finding::Finding;
use super::instruments::{Instrument, Instruments};
use super::noise::trend;
use super::spans::Span;
use crate::script::role::Role;
use crate::uncertainty::{Bound, Cause};

/// Kind of the spans.
pub const KIND: &str = "vented_zero";
/// Pressure that water standing in a vented line may keep, limits, kPa: 30 mm of it.
const KEPT_KPA: f64 = 0.3;
/// A pressure that still falls by more than this over the span is not zero yet, kPa.
const FALLING_KPA: f64 = 1.0;
/// Times the stated standard uncertainty within which a reading is taken for a gauge's zero.
const FITS_K: f64 = 3.0;
/// The same for a gauge about whose zero nothing is stated, kPa.
const FITS_UNSTATED_KPA: f64 = 10.0;

/// A reading of a vented gauge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vented {
    /// Middle of the reading, s.
    pub time_s: f64,
    /// What it reads, kPa.
    pub kpa: f64,
    /// Standard uncertainty, kPa.
    pub u_kpa: f64,
}

/// The vented readings of a run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Zeros {
    line: Vec<Vented>,
    back: Vec<Vented>,
}

/// A gauge, and what its zero is called.
struct Gauge {
    cause: Cause,
    instrument: Instrument,
    name: &'static str,
    /// Finding ids: does not fit, drifted.
    ids: (&'static str, &'static str),
}

/// What becomes of a zero.
enum Zero {
    /// It is taken out between the first and the last reading; what is left of it, where that is less than is stated.
    Known { from: Vented, to: Vented, left: Option<Systematic> },
    /// It does not fit the gauge.
    Strange { worst_kpa: f64, left: Systematic },
}

/// Reads the line pressure gauge in a vented span; none where it was cut short or still falling.
#[must_use]
pub fn read_line(span: &Span, known: &Instruments) -> Option<Vented> {
    read(span, &Role::LinePressure, known.gauge.step, KEPT_KPA)
}

/// Reads a gauge in a vented span, over its second half; none where it was cut short or still falling. `kept_kpa` are
/// limits of what the vented place may keep.
fn read(span: &Span, role: &Role, step_kpa: f64, kept_kpa: f64) -> Option<Vented> {
    let trace = span.traces.get(role).filter(|_| span.whole)?;
    let (times, values) = trace.from(0.5 * (span.start_s + span.end_s));
    if let ([time_s], [kpa]) = (times, values) {
        // Read once, by a person.
        let u_kpa = (step_kpa / 12.0_f64.sqrt()).hypot(kept_kpa / 3.0_f64.sqrt());
        return Some(Vented { time_s: *time_s, kpa: *kpa, u_kpa });
    }
    let mean = trend(times, values, 1)?;
    let line = trend(times, values, 2)?;
    let change = line.coefficients[1] * (times[times.len() - 1] - times[0]);
    let step = step_kpa / 12.0_f64.sqrt();
    (change.abs() <= FALLING_KPA).then(|| Vented {
        time_s: mean.centre_s,
        kpa: mean.coefficients[0],
        u_kpa: mean.u[0].hypot(step).hypot(kept_kpa / 3.0_f64.sqrt()),
    })
}

impl Zeros {
    /// Takes a vented span.
    pub fn take(&mut self, span: &Span, known: &Instruments) {
        self.line.extend(read_line(span, known));
        self.back.extend(read(span, &Role::BackPressure, known.back.step, 0.0));
    }

    /// Takes the zeros out of the collections and puts what is left of them into the common errors, where the readings
    /// fit the gauges; says where not. `height_kpa` is the water between gauge and nozzle, already in the pressures.
    pub fn apply(
        &self,
        known: &Instruments,
        height_kpa: f64,
        collections: &mut [Collection],
        systematics: &mut Systematics,
    ) -> Vec<Finding> {
        let mut findings = Vec::new();
        let lost = 1.0 - 0.5 * (known.tap_loss.0 + known.tap_loss.1);
        // A gauge above the vented nozzle reads the water between them as less than nothing.
        let seen: Vec<Vented> = self.line.iter().map(|v| Vented { kpa: v.kpa + height_kpa, ..*v }).collect();
        let gauge = Gauge {
            cause: Cause::GaugeZero,
            instrument: known.gauge,
            name: "line pressure gauge",
            ids: ("gauge.zero", "gauge.zero_drift"),
        };
        if let Some(zero) = judge(&seen, &gauge, systematics) {
            for c in collections.iter_mut() {
                let zero_kpa = zero.at(c.time_s);
                c.line_pressure_kpa = c.line_pressure_kpa.map(|kpa| kpa - zero_kpa * lost);
            }
            findings.extend(zero.settle(&gauge, systematics));
        }
        let gauge = Gauge {
            cause: Cause::BackGaugeZero,
            instrument: known.back,
            name: "back pressure gauge",
            ids: ("back_gauge.zero", "back_gauge.zero_drift"),
        };
        if let Some(zero) = judge(&self.back, &gauge, systematics) {
            collections.iter_mut().for_each(|c| c.back_pressure_kpa -= zero.at(c.time_s));
            findings.extend(zero.settle(&gauge, systematics));
        }
        findings
    }
}

/// What the vented readings of a gauge say about its zero.
fn judge(vented: &[Vented], gauge: &Gauge, systematics: &Systematics) -> Option<Zero> {
    let (from, to) = (*vented.first()?, *vented.last()?);
    let stated = systematics.u(&gauge.cause);
    let unstated = gauge.instrument.zero == Bound::None;
    let fits = if unstated { FITS_UNSTATED_KPA } else { FITS_K * stated.hypot(from.u_kpa) };
    let worst_kpa = vented.iter().map(|v| v.kpa).max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let left = |bound, from| Systematic { cause: gauge.cause.clone(), bound, from };
    if worst_kpa.abs() > fits {
        let limits = Bound::Limits((stated * 3.0_f64.sqrt()).max(worst_kpa.abs()));
        return Some(Zero::Strange {
            worst_kpa,
            left: left(limits, "vented reading that does not fit the gauge"),
        });
    }
    // Between the two readings the zero may be anywhere between them; one alone leaves room for a drift.
    let moved = if vented.len() > 1 { (to.kpa - from.kpa) / 12.0_f64.sqrt() } else { 0.5 * stated };
    let u = from.u_kpa.max(to.u_kpa).hypot(moved);
    let left = (u < stated || unstated)
        .then(|| left(Bound::Standard(u, f64::INFINITY), "read vented, before and after"));
    Some(Zero::Known { from, to, left })
}

impl Zero {
    /// The zero to be taken out at a moment, kPa.
    fn at(&self, time_s: f64) -> f64 {
        let Zero::Known { from, to, .. } = self else {
            return 0.0;
        };
        let part = (time_s - from.time_s) / (to.time_s - from.time_s);
        if part.is_finite() { from.kpa + part.clamp(0.0, 1.0) * (to.kpa - from.kpa) } else { from.kpa }
    }

    /// Puts what is left into the common errors; what a person should know.
    fn settle(self, gauge: &Gauge, systematics: &mut Systematics) -> Option<Finding> {
        let (strange, drifted) = gauge.ids;
        let stated = systematics.u(&gauge.cause);
        match self {
            Zero::Strange { worst_kpa, left } => {
                systematics.replace(left);
                let what = format!(
                    "the vented {} reads {worst_kpa:+.2} kPa, more than is stated for its zero",
                    gauge.name
                );
                let cause = "it was not quite vented, or the gauge needs its zero set: no correction was made, and the reading was taken as limits";
                Some(Finding::new(strange, what, cause).with("reading", worst_kpa, "kPa").with(
                    "stated standard uncertainty",
                    stated,
                    "kPa",
                ))
            }
            Zero::Known { from, to, left } => {
                left.into_iter().for_each(|left| systematics.replace(left));
                let moved = (to.kpa - from.kpa).abs() > FITS_K * from.u_kpa.hypot(to.u_kpa);
                let what = format!(
                    "the zero of the {} moved from {:+.2} to {:+.2} kPa over the run",
                    gauge.name, from.kpa, to.kpa
                );
                let cause = "the gauge warms or was overloaded; the zero in between was interpolated";
                moved.then(|| {
                    Finding::new(drifted, what, cause)
                        .with("before", from.kpa, "kPa")
                        .with("after", to.kpa, "kPa")
                })
            }
        }
    }
}
