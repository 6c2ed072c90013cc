//! The rest of a plan that ended early: what has to come again before the next unfinished collection.
//!
//! In: the plan, the step at which it ended, the collections that were finished. Out: a plan whose first steps, number
//! 0, bring the bench back (set-up and prime, what was set, the nozzle, the marks that are still open), and whose others
//! are those of the plan from there on. Never: a finished collection taken again; a span whose record was torn taken for
//! whole.

use crate::script::plan::{Op, Plan, Step};
use crate::script::planner::END;
use crate::script::role::Role;
use std::collections::BTreeSet;

/// The rest of `plan` that ended at step `at` (its number), with the collections of steps `collected` finished.
#[must_use]
pub fn going_on(plan: &Plan, at: u32, collected: &BTreeSet<u32>) -> Plan {
    let steps = &plan.steps;
    let ended = steps.iter().position(|s| s.id == at).unwrap_or(0);
    let from = back_to(steps, first_open(steps, ended, collected), collected);
    let mut rest = Plan { steps: Vec::new(), ..plan.clone() };
    if from == 0 {
        rest.steps.clone_from(steps);
        return rest;
    }
    let ops = lead_in(steps, from, collected);
    rest.steps = ops.into_iter().map(again).collect();
    rest.steps.extend_from_slice(&steps[from..]);
    rest
}

fn again(step: &Step) -> Step {
    Step { id: 0, label: format!("again: {}", step.label), ..step.clone() }
}

/// Whether a finished collection lies in a part of the plan.
fn holds_finished(steps: &[Step], collected: &BTreeSet<u32>) -> bool {
    steps.iter().any(|s| collected.contains(&s.id))
}

/// Where to begin: the step that was interrupted, or the beginning of what encloses it and cannot be continued: a span
/// without a finished collection in it, and what traps pressure.
fn first_open(steps: &[Step], ended: usize, collected: &BTreeSet<u32>) -> usize {
    // A collection that was finished, and whose step was only not left yet, is not repeated.
    let over = |i: usize| {
        let ends = matches!(&steps[i].op, Op::Mark { kind, .. } if kind == END);
        collected.contains(&steps[i].id) || (ends && i > ended)
    };
    let ended = (ended..steps.len()).find(|i| !over(*i)).unwrap_or(steps.len() - 1);
    let span =
        open_marks(steps, ended).into_iter().find(|mark| !holds_finished(&steps[*mark..ended], collected));
    let from = span.unwrap_or(ended);
    if !steps[from].traps_pressure {
        return from;
    }
    let before = steps[..from].iter().rposition(|s| !s.traps_pressure);
    before.map_or(0, |i| i + 1)
}

/// Marks of spans that are open just before step `at`, outermost first.
fn open_marks(steps: &[Step], at: usize) -> Vec<usize> {
    let mut open: Vec<usize> = Vec::new();
    for (i, step) in steps[..at].iter().enumerate() {
        let Op::Mark { kind, .. } = &step.op else { continue };
        if kind == END {
            open.pop();
        } else {
            open.push(i);
        }
    }
    open
}

/// Back to where the duty in force was set, so that it settles again; not past a finished collection.
fn back_to(steps: &[Step], from: usize, collected: &BTreeSet<u32>) -> usize {
    match duty_set_at(&steps[..from]) {
        Some(set) if !holds_finished(&steps[set..from], collected) && !crosses_mark(&steps[set..from]) => set,
        _ => from,
    }
}

fn crosses_mark(steps: &[Step]) -> bool {
    steps.iter().any(|s| matches!(s.op, Op::Mark { .. }))
}

/// The step that set the duty which is in force after `steps`; none where the pump is off then.
fn duty_set_at(steps: &[Step]) -> Option<usize> {
    for (i, step) in steps.iter().enumerate().rev() {
        let duty = match &step.op {
            Op::Set(values) => values.iter().find(|(r, _)| *r == Role::PumpDuty).map(|(_, v)| *v),
            Op::Ramp { role, to, .. } if *role == Role::PumpDuty => Some(*to),
            Op::Vent { .. } => Some(0.0),
            _ => None,
        };
        if let Some(duty) = duty {
            return (duty > 0.0).then_some(i);
        }
    }
    None
}

/// The steps that bring the bench back to where it was before step `from`.
fn lead_in<'s>(steps: &'s [Step], from: usize, collected: &BTreeSet<u32>) -> Vec<&'s Step> {
    let measures = |s: &Step| {
        matches!(
            s.op,
            Op::Mark { .. } | Op::Collect { .. } | Op::Ramp { .. } | Op::Replay { .. } | Op::Bisect { .. }
        )
    };
    let first = steps.iter().position(measures).unwrap_or(0).min(from);
    let done = &steps[..from];
    let mut again: Vec<&Step> = steps[..first].iter().collect();
    // The nozzle that was mounted last.
    let mounts = |s: &&Step| matches!(&s.op, Op::Ask { request } if request.contains("mount nozzle"));
    again.extend(done[first..].iter().rfind(mounts));
    let sets = done[first..]
        .iter()
        .filter(|s| matches!(&s.op, Op::Set(v) if v.iter().all(|(r, _)| *r != Role::PumpDuty)));
    again.extend(last_of_each(sets));
    again.extend(open_marks(steps, from).into_iter().map(|i| &steps[i]));
    if let Some(set) = duty_set_at(done).filter(|_| !sets_duty_first(&steps[from..])) {
        let settles = |s: &&Step| matches!(s.op, Op::Set(_) | Op::Settle { .. });
        let after = done[set..].iter().take_while(|s| !collected.contains(&s.id));
        again.extend(after.filter(settles));
    }
    again
}

/// Whether the duty is set before anything is done with the pump.
fn sets_duty_first(steps: &[Step]) -> bool {
    let mut acts =
        steps.iter().filter(|s| !matches!(s.op, Op::Mark { .. } | Op::Expect { .. } | Op::Ask { .. }));
    acts.next().is_none_or(|s| matches!(&s.op, Op::Set(v) if v.iter().any(|(r, _)| *r == Role::PumpDuty)))
}

/// Of settings in order, those that nothing later replaces.
fn last_of_each<'s>(sets: impl DoubleEndedIterator<Item = &'s Step>) -> Vec<&'s Step> {
    let mut seen: Vec<&Role> = Vec::new();
    let mut kept: Vec<&Step> = Vec::new();
    for step in sets.rev() {
        let Op::Set(values) = &step.op else { continue };
        if values.iter().any(|(role, _)| !seen.contains(&role)) {
            seen.extend(values.iter().map(|(role, _)| role));
            kept.push(step);
        }
    }
    kept.reverse();
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::script::plan::CollectStop;
    use crate::script::rig::Limits;
    use crate::verdict::purpose::Purpose;

    fn set(role: Role, value: f64) -> Op {
        Op::Set(vec![(role, value)])
    }

    fn mark(kind: &str) -> Op {
        Op::Mark { kind: kind.into(), values: Vec::new() }
    }

    fn collect() -> Op {
        Op::Collect { repeat: 1, nozzle: "A".into(), stop: CollectStop::Seconds(30.0), weigh_at_rest: false }
    }

    fn settle() -> Op {
        Op::Settle {
            role: Role::LinePressure,
            within: 1.0,
            within_fraction: 0.0,
            window_s: 2.0,
            at_most_s: 20.0,
        }
    }

    /// Set-up, prime, a gauge zero, three points, a ramp in a span.
    fn plan() -> Plan {
        let hold = || Op::Hold { seconds: 5.0 };
        let duty = |d| set(Role::PumpDuty, d);
        let ops = vec![
            duty(0.0),
            duty(60.0),
            hold(),
            duty(0.0), // 1..4
            mark("vented_zero"),
            hold(),
            mark(END), // 5..7
            mark("point"),
            duty(20.0),
            settle(),
            collect(),
            mark(END), // 8..12
            mark("point"),
            duty(40.0),
            settle(),
            collect(),
            collect(),
            mark(END), // 13..18
            duty(0.0),
            set(Role::SupplySet, 12.0), // 19, 20
            duty(25.0),
            settle(),          // 21, 22
            mark("dead_band"), // 23
            Op::Ramp { role: Role::PumpDuty, from: 25.0, to: 2.0, seconds: 60.0, until: None }, // 24
            mark(END),
            duty(0.0), // 25, 26
        ];
        let step = |(i, op)| Step { id: i as u32 + 1, label: String::new(), op, traps_pressure: false };
        Plan {
            scenario: "test".into(),
            source: String::new(),
            parameters: Vec::new(),
            steps: ops.into_iter().enumerate().map(step).collect(),
            limits: Limits {
                line_pressure_kpa: 1000.0,
                cup_mass_g: 2000.0,
                supply_v: (10.0, 15.0),
                on_time_s: 600.0,
                duty_pct: (2.0, 100.0),
            },
            purpose: Purpose::Pair,
        }
    }

    /// The lead-in as places in the plan (steps are found by their operation), and the first step after it.
    fn check(at: u32, collected: &[u32], lead_in: &[usize], first: u32) {
        let plan = plan();
        let rest = going_on(&plan, at, &collected.iter().copied().collect());
        let led: Vec<&Op> = rest.steps.iter().filter(|s| s.id == 0).map(|s| &s.op).collect();
        let wanted: Vec<&Op> = lead_in.iter().map(|id| &plan.steps[id - 1].op).collect();
        assert_eq!(led, wanted, "ended at {at}");
        let next = rest.steps.iter().find(|s| s.id != 0).map(|s| s.id);
        assert_eq!(next, Some(first), "ended at {at}");
    }

    #[test]
    fn the_rest_begins_with_what_the_next_collection_needs() {
        check(1, &[], &[], 1);
        // In the prime: the whole of it.
        check(3, &[], &[1], 2);
        // In the gauge zero: set-up and prime, then the whole span.
        check(6, &[], &[1, 2, 3, 4], 5);
        // In a collection: the whole point comes again.
        check(11, &[], &[1, 2, 3, 4], 8);
        // A collection that was finished is not taken again.
        check(11, &[11], &[1, 2, 3, 4], 13);
        // In the second of two collections of a point: its mark and its duty come again, the first collection does not.
        check(17, &[11, 16], &[1, 2, 3, 4, 13, 14, 15], 17);
        // In a ramp: the span around it, and the duty before it; the supply as it was set last.
        check(24, &[11, 16, 17], &[1, 2, 3, 4, 20], 21);
        check(22, &[11, 16, 17], &[1, 2, 3, 4, 20], 21);
    }
}
