//! A comparison as verdicts: one item an observation, worst first.
//!
//! In: a comparison. Out: items whose value is the difference and whose limits are the tolerance. Never: another
//! decision.

use super::compare::{Compared, Comparison};
use crate::reduce::controller::{At, Observation};
use crate::verdict::decide::short;
use crate::verdict::item::{Item, Verdict, Verdicts};

/// Everything, worst first.
#[must_use]
pub fn verdicts(comparison: &Comparison) -> Verdicts {
    Verdicts { verdict: comparison.verdict(), items: comparison.list.iter().filter_map(item).collect() }
}

fn item(c: &Compared) -> Option<Item> {
    let subject = c.subject()?;
    Some(Item {
        id: id(subject),
        quantity: subject.words(),
        value: c.difference,
        unit: subject.unit.clone(),
        u95: c.u95,
        dof: c.dof,
        lower: c.difference.map(|_| -c.tolerance),
        upper: c.difference.map(|_| c.tolerance),
        verdict: c.verdict,
        note: note(c),
    })
}

/// A stable id: `duty_output.pump.steady_up@55.16kPa_4000rpm_13.8V`.
#[must_use]
pub fn id(o: &Observation) -> String {
    format!("{}.{}{}", o.output, o.kind.word(), id_at(o))
}

/// The point of an observation, as it stands in ids; empty where nothing is known of it.
#[must_use]
pub fn id_at(o: &Observation) -> String {
    let At { boost_kpa, boost_v, rpm, supply_v } = &o.at;
    let boost = match (boost_kpa, boost_v) {
        (Some(kpa), _) => Some(format!("{kpa:.2}kPa")),
        (None, Some(v)) => Some(format!("{v:.3}Vs")),
        _ => None,
    };
    let parts = [boost, rpm.map(|r| format!("{r:.0}rpm")), supply_v.map(|v| format!("{v:.1}V"))];
    let at: Vec<String> = parts.into_iter().flatten().collect();
    if at.is_empty() { String::new() } else { format!("@{}", at.join("_")) }
}

/// What was, what is, and what would decide it.
fn note(c: &Compared) -> String {
    let shown = |o: &Observation| {
        o.value.map_or_else(|| "no edge".to_owned(), |v| format!("{} {}", short(v), unit(o)))
    };
    match (&c.old, &c.new) {
        (None, Some(new)) => {
            format!("extra: {} here, nothing in the baseline to compare it with", shown(new))
        }
        (Some(old), None) => format!("missing: {} in the baseline, not observed in this run", shown(old)),
        (Some(old), Some(new)) => {
            let both = format!("was {}, is {}", shown(old), shown(new));
            let why = match (c.verdict, c.u95) {
                (Verdict::Undecided, None) if old.unit != new.unit => "; the units are not the same".to_owned(),
                (Verdict::Undecided, None) => {
                    "; nothing of this kind was repeated, so its scatter is not known: measure each point twice".into()
                }
                (Verdict::Undecided, Some(u)) => format!(
                    "; U = {} leaves it open against {} {}: more repeats, or better instruments",
                    short(u),
                    short(c.tolerance),
                    unit(old)
                ),
                (Verdict::Skipped, _) => {
                    "; not judged: the point lies at an edge of the output, and the edge is the same".to_owned()
                }
                _ => String::new(),
            };
            format!("{both}{why}")
        }
        (None, None) => String::new(),
    }
}

fn unit(o: &Observation) -> &str {
    if o.unit == "on" { "(0 off, 1 on)" } else { &o.unit }
}
