//! What a fit noticed that a person should know.
//!
//! In: a fitted pair. Out: findings with their numbers and likely causes. Never: a verdict.

use super::ask::Ask;
use super::dead_band::dead_band;
use super::nozzle::NozzleFit;
use super::pair::PairFit;
use super::published::nozzle_exponent;
use crate::reduce::finding::Finding;
use crate::uncertainty::{Cause, Term, Uncertain};

/// Share of the evidence from which on a pulsing current is reported.
const PULSING_SHARE: f64 = 0.9;

/// Everything noticed, in order of weight.
#[must_use]
pub fn findings(fit: &PairFit) -> Vec<Finding> {
    let mut found = Vec::new();
    nozzles(fit, &mut found);
    sums(fit, &mut found);
    second_opinions(fit, &mut found);
    outliers(fit, &mut found);
    pulsing(fit, &mut found);
    falls(fit, &mut found);
    dry(fit, &mut found);
    missing(fit, &mut found);
    found
}

/// Exponents that a healthy nozzle does not have.
fn nozzles(fit: &PairFit, found: &mut Vec<Finding>) {
    for nozzle in fit.nozzles.iter().flatten() {
        let x = &nozzle.exponent;
        let mut terms = nozzle_exponent(nozzle).terms;
        terms.push(Term::known(Cause::HealthyExponent, x.u_healthy));
        let Uncertain { value: off, u95, .. } = Uncertain::new(x.value - 0.5, terms);
        if off.abs() > u95 {
            let cause = if off > 0.0 {
                "less flow at low pressure than the square-root law: a gauge that was not zeroed, a tap before a loss, \
                 a swirl nozzle at low Reynolds number, or a passage that is partly blocked; zero the gauge vented, \
                 look at the nozzle's bore and filter"
            } else {
                "more flow at low pressure than the square-root law: a gauge that was not zeroed, or a leak beside the \
                 nozzle; zero the gauge vented, look for drips"
            };
            found.push(
                Finding::new(
                    "nozzle.exponent",
                    format!(
                        "nozzle {} has exponent {:.4} (U {u95:.4} with what a healthy nozzle varies); expected 0.5",
                        nozzle.name, x.value,
                    ),
                    cause,
                )
                .with("exponent", x.value, "")
                .with("u95", u95, ""),
            );
        }
    }
}

/// Nozzles that sprayed at once against the sum of their coefficients.
fn sums(fit: &PairFit, found: &mut Vec<Finding>) {
    for nozzle in fit.nozzles.iter().flatten().filter(|n| n.name.contains('+')) {
        let members: Option<Vec<_>> = nozzle
            .name
            .split('+')
            .map(|name| fit.nozzles.iter().flatten().find(|n| n.name == name.trim()))
            .collect();
        let Some(members) = members else { continue };
        let sum: f64 = members.iter().map(|n| n.k).sum();
        let own =
            |n: &NozzleFit| Term::observed(Cause::Nozzle(n.name.as_str().into()), n.k * n.u_scatter, n.dof);
        let terms = members.into_iter().chain([nozzle]).map(own).collect();
        let Uncertain { value: more, u95, .. } = Uncertain::new(nozzle.k - sum, terms);
        if more.abs() > u95 {
            found.push(
                Finding::new(
                    "nozzle.sum",
                    format!(
                        "nozzles {} together have K {:.3}, their own coefficients add to {sum:.3} (U {u95:.3}) mL/min \
                         per sqrt(kPa)",
                        nozzle.name, nozzle.k
                    ),
                    "a loss in the line that both share, such as a tap before a tee",
                )
                .with("together", nozzle.k, "mL/min/sqrt(kPa)")
                .with("sum", sum, "mL/min/sqrt(kPa)"),
            );
        }
    }
}

/// Disagreement with the curve without a law, and what to measure next.
fn second_opinions(fit: &PairFit, found: &mut Vec<Finding>) {
    for (law, opinion) in fit.model.nozzles.iter().zip(&fit.second) {
        let Some(worst) = opinion.worst.filter(|w| w.difference.abs() > w.u95) else {
            continue;
        };
        found.push(
            Finding::new(
                "curve.second_opinion",
                format!(
                    "nozzle {}: the pump's law and a curve without a law differ by {:.2} mL/min (U of the difference \
                     {:.2}) at {:.1} % duty; U of the curve is widened there; measure {:.1} % duty next",
                    law.name,
                    worst.difference,
                    worst.u95,
                    100.0 * worst.duty,
                    100.0 * worst.duty
                ),
                "a bend that no law tried has, or a collection that went wrong near that duty",
            )
            .with("duty", 100.0 * worst.duty, "%")
            .with("difference", worst.difference, "mL/min")
            .with("u95", worst.u95, "mL/min"),
        );
    }
}

/// Collections that went wrong: labelled, never dropped.
fn outliers(fit: &PairFit, found: &mut Vec<Finding>) {
    for p in fit.wrong.iter().map(|i| &fit.points.flowing[*i]) {
        let group = &fit.points.groups[p.group];
        let against = if group.count > 1 { "its replicates" } else { "all other collections" };
        found.push(
            Finding::new(
                "collection.outlier",
                format!(
                    "collection {} ({:.1} % duty, repeat {}): {:.2} mL/min disagrees with {against} by far more than \
                     they scatter; it stays in the fit with a twenty-fifth of the weight",
                    p.step,
                    100.0 * p.duty,
                    p.repeat,
                    p.flow
                ),
                "air, a bumped cup, a splash, or a slip of the pen; void it only for a reason that was seen",
            )
            .with("flow", p.flow, "mL/min"),
        );
    }
}

/// A motor current that stops between pulses.
fn pulsing(fit: &PairFit, found: &mut Vec<Finding>) {
    let share = fit.blend.pulsing_share();
    if share > PULSING_SHARE {
        found.push(
            Finding::new(
                "pump.pulsing",
                format!(
                    "the motor's current seems to stop between pulses at some duties (share of the evidence {:.0} %): \
                     there flow falls more steeply with boost, and corrections to boost are less certain",
                    100.0 * share
                ),
                "a low PWM frequency for this motor; calibrate at the frequency of the car, or raise both",
            )
            .with("share", 100.0 * share, "%"),
        );
    }
}

/// Duties at which more duty gives less flow.
fn falls(fit: &PairFit, found: &mut Vec<Finding>) {
    for law in &fit.model.nozzles {
        let ask = Ask {
            nozzle: Some(law.name.clone()),
            boost_kpa: fit.model.reference.out_range_kpa.0,
            ..Ask::default()
        };
        let (low, high) = (100.0 * law.duty_range.0, (100.0 * law.duty_range.1).min(100.0));
        let steps = 40;
        let mut last = f64::NEG_INFINITY;
        for i in 0..=steps {
            let duty = low + (high - low) * f64::from(i) / f64::from(steps);
            let Ok(answer) = fit.model.flow_at(&ask, duty) else {
                continue;
            };
            if answer.estimate.value < last - answer.estimate.u95 {
                found.push(Finding::new(
                    "curve.falls",
                    format!("nozzle {}: flow falls with duty near {duty:.1} %", law.name),
                    "a bypass that sticks, a supply that gives way, or collections taken in another state of the pump",
                ));
                break;
            }
            last = last.max(answer.estimate.value);
        }
    }
}

/// Duties without flow that the fitted dead band says should flow.
fn dry(fit: &PairFit, found: &mut Vec<Finding>) {
    for (nozzle, law) in fit.model.nozzles.iter().enumerate() {
        let Some(band) = dead_band(&fit.model, nozzle) else {
            continue;
        };
        let duties = fit.points.dry.iter().filter(|(j, _)| *j == nozzle).map(|(_, d)| 100.0 * d);
        let highest = duties.fold(f64::NEG_INFINITY, f64::max);
        if highest > band.value + band.u95 {
            found.push(
                Finding::new(
                    "duty.dry",
                    format!(
                        "nozzle {}: nothing flowed at {highest:.2} % duty, the curve stops at {:.2} % (U {:.2})",
                        law.name, band.value, band.u95
                    ),
                    "a pump that had not started from rest (breakaway), was not primed, or a closed solenoid",
                )
                .with("dry duty", highest, "%")
                .with("dead band", band.value, "%"),
            );
        }
    }
}

/// What was not measured, and what that costs.
fn missing(fit: &PairFit, found: &mut Vec<Finding>) {
    let r = &fit.model.reference;
    if fit.points.replicate_dof() == 0 {
        found.push(Finding::new(
            "fit.no_replicates",
            "no duty was collected twice: scatter is taken from the residuals of the law, and 0.15 % of flow is supposed \
             from dwell to dwell",
            "repeat each duty at least once, so that scatter and lack of fit can be told apart",
        ));
    }
    if !fit.points.duty_measured {
        found.push(Finding::new(
            "duty.commanded",
            "duty was commanded, not measured: the curve is over the commanded duty",
            "read the duty at the pump to know what the driver makes of a command",
        ));
    }
    if r.water_degc.is_none() {
        found.push(Finding::new(
            "water.temperature",
            "water temperature was neither measured nor stated: tables hold at the temperature of the data",
            "slip changes by about 2.5 % of itself per kelvin; measure the water",
        ));
    }
    if !r.pressure_measured {
        found.push(Finding::new(
            "line.pressure",
            "line pressure was not measured for every nozzle: no coefficient, no correction to boost",
            "measure line pressure at the nozzle",
        ));
    }
}
