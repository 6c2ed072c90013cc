//! The equivalence decision, observation by observation.
//!
//! In: a baseline, another measurement, tolerances. Out: for each observation the difference, its U and what it comes
//! to: *same* where |difference| + U <= tolerance, *changed* where |difference| - U > tolerance, else *undecided*.
//! U of *same* is at 95 %. U of *changed* is at the level at which a run of m comparisons of an unchanged controller
//! raises any alarm in at most 1 % of runs: 1 - 0.99^(1/m) each (Sidak 1967). Repeatability is pooled; errors common
//! to both cancel only with the same instruments and calibration. Never: a decision without known scatter, or a
//! tolerance that no measurement on this bench could meet.

use super::Baseline;
use super::at_edge::lies_at_edge;
use super::origin::alike;
use super::scatter::{Key, Scatter, pooled};
use super::tolerance::{Stated, Tolerances};
use crate::numerics::distribution::t_quantile;
use crate::problem::{Problem, Problems};
use crate::reduce::controller::{Kind, Observation, Quantity};
use crate::uncertainty::{Cause, Term, Uncertain, rounding};
use crate::verdict::item::Verdict;
use std::collections::BTreeMap;

/// False alarms allowed a run.
pub const ALARMS_MOST: f64 = 0.01;
/// Equal up to the rounding of decimals.
const EQUAL: f64 = 1e-9;

/// An observation of the baseline beside that of the run.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// In the baseline; none where it has none.
    pub old: Option<Observation>,
    /// In the run; none where it has none.
    pub new: Option<Observation>,
    /// New minus old, where both have a value.
    pub difference: Option<f64>,
    /// U of the difference at 95 %, where it is known.
    pub u95: Option<f64>,
    /// U of the difference at the level of *changed*.
    pub u_changed: Option<f64>,
    /// Effective degrees of freedom; none for infinite.
    pub dof: Option<f64>,
    /// What it may differ by.
    pub tolerance: f64,
    /// Same, changed, undecided; skipped where the baseline has no such observation.
    pub verdict: Verdict,
}

impl Compared {
    /// The observation, of either side.
    #[must_use]
    pub fn subject(&self) -> Option<&Observation> {
        self.old.as_ref().or(self.new.as_ref())
    }

    /// How far beyond its tolerance, in tolerances: the order of the list. An edge come or gone is infinite.
    #[must_use]
    pub fn weight(&self) -> f64 {
        match (self.difference, &self.old, &self.new) {
            (Some(d), ..) if self.tolerance > 0.0 => d.abs() / self.tolerance,
            (Some(d), ..) => d.abs(),
            (None, Some(_), Some(_)) if self.verdict == Verdict::Changed => f64::INFINITY,
            _ => 0.0,
        }
    }
}

/// Everything compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Worst first: changed, undecided, same, extra; within each the largest against its tolerance.
    pub list: Vec<Compared>,
    /// Whether errors of the instruments cancelled.
    pub cancelled: bool,
    /// Pooled repeatability.
    pub scatter: BTreeMap<Key, Scatter>,
    /// Level of a single *changed*.
    pub level: f64,
}

impl Comparison {
    /// How many came to this.
    #[must_use]
    pub fn count(&self, verdict: Verdict) -> usize {
        self.list.iter().filter(|c| c.verdict == verdict).count()
    }

    /// Changed where anything is, undecided where anything is or nothing was compared, else same.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        if self.count(Verdict::Changed) > 0 {
            Verdict::Changed
        } else if self.count(Verdict::Undecided) > 0 || self.count(Verdict::Same) == 0 {
            Verdict::Undecided
        } else {
            Verdict::Same
        }
    }
}

/// Compares.
///
/// # Errors
/// They were not measured the same way; a tolerance is not one, or tighter than what can be told here.
pub fn compare(old: &Baseline, new: &Baseline, stated: &[Stated]) -> Result<Comparison, Problems> {
    alike(&old.origin, &new.origin)?;
    let tolerances = Tolerances::new(stated, &old.observations)?;
    let cancelled = old.origin.cancels(&new.origin);
    let scatter = pooled(old.observations.iter().chain(&new.observations));
    let pairs = pair(&old.observations, &new.observations);
    let m = pairs.iter().filter(|(a, b)| a.is_some() && b.is_some()).count().max(1);
    let level = 1.0 - (1.0 - ALARMS_MOST).powf(1.0 / m as f64);
    let rule = Rule { scatter: &scatter, cancelled, level };
    // What can be told apart is planned from the baseline alone.
    let planned = pooled(&old.observations);
    refuse_too_tight(&Rule { scatter: &planned, ..rule }, old, &tolerances)?;
    let mut list: Vec<Compared> = pairs
        .into_iter()
        .map(|(a, b)| rule.decide(a, b, a.or(b).map_or(0.0, |o| tolerances.of(o))))
        .collect();
    excuse_points_at_edges(&mut list, old, new);
    let rank = |v: Verdict| match v {
        Verdict::Changed => 0,
        Verdict::Undecided => 1,
        Verdict::Same => 2,
        _ => 3,
    };
    list.sort_by(|a, b| rank(a.verdict).cmp(&rank(b.verdict)).then(b.weight().total_cmp(&a.weight())));
    Ok(Comparison { list, cancelled, scatter, level })
}

/// A point at an edge that is the same in both may lie on either side of it: its value is not judged.
fn excuse_points_at_edges(list: &mut [Compared], old: &Baseline, new: &Baseline) {
    let is_edge = |c: &&Compared| c.subject().is_some_and(|o| matches!(o.kind, Kind::Edge(..)));
    let moved: Vec<String> = (list.iter())
        .filter(is_edge)
        .filter(|c| c.verdict != Verdict::Same)
        .filter_map(|c| c.subject().map(|o| o.output.clone()))
        .collect();
    for c in list {
        let (Some(a), Some(b)) = (&c.old, &c.new) else {
            continue;
        };
        let open = matches!(c.verdict, Verdict::Changed | Verdict::Undecided);
        let still = !moved.contains(&a.output);
        if open && still && (lies_at_edge(a, &old.observations) || lies_at_edge(b, &new.observations)) {
            c.verdict = Verdict::Skipped;
        }
    }
}

type Pair<'a> = (Option<&'a Observation>, Option<&'a Observation>);

/// Puts the observations of both sides beside each other.
fn pair<'a>(old: &'a [Observation], new: &'a [Observation]) -> Vec<Pair<'a>> {
    let mut places: BTreeMap<(&str, &Kind), Vec<usize>> = BTreeMap::new();
    for (i, o) in new.iter().enumerate() {
        places.entry((&o.output, &o.kind)).or_default().push(i);
    }
    let mut taken = vec![false; new.len()];
    let mut pairs: Vec<Pair<'a>> = Vec::new();
    for o in old {
        let kinds = kinds_for(&o.kind);
        let candidates = kinds.iter().filter_map(|k| places.get(&(o.output.as_str(), k))).flatten();
        let found = candidates.copied().find(|i| !taken[*i] && new[*i].at.same(&o.at));
        if let Some(i) = found {
            taken[i] = true;
        }
        pairs.push((Some(o), found.map(|i| &new[i])));
    }
    pairs.extend(new.iter().zip(&taken).filter(|(_, t)| !**t).map(|(o, _)| (None, Some(o))));
    pairs
}

/// Kinds that answer for a kind: points taken elsewhere do not say from where a point was come to.
fn kinds_for(kind: &Kind) -> Vec<Kind> {
    match kind {
        Kind::Steady => vec![Kind::Steady, Kind::SteadyUp, Kind::SteadyDown],
        Kind::SteadyUp | Kind::SteadyDown => vec![kind.clone(), Kind::Steady],
        other => vec![other.clone()],
    }
}

/// What a decision rests on.
#[derive(Clone, Copy)]
struct Rule<'a> {
    scatter: &'a BTreeMap<Key, Scatter>,
    cancelled: bool,
    level: f64,
}

/// What a difference is uncertain by.
#[derive(Clone, Debug)]
struct Doubt {
    all: Uncertain,
    /// Standard uncertainty of what scatters.
    random: f64,
}

impl Doubt {
    fn u_at(&self, level: f64) -> f64 {
        t_quantile(1.0 - 0.5 * level, self.all.dof) * self.all.u
    }
}

impl Rule<'_> {
    /// U of new minus old; none where nothing was repeated and nothing else bounds the scatter.
    fn doubt(&self, a: &Observation, b: &Observation) -> Option<Doubt> {
        let key = (a.output.clone(), a.kind.quantity());
        let pool = self.scatter.get(&key).copied().unwrap_or_default();
        if pool.dof < 1.0 && key.1 == Quantity::Value {
            return None;
        }
        let (of_a, of_b) = (pool.of(a), pool.of(b));
        let part = |s: Scatter, o: &Observation| s.sd / f64::from(o.repeats.max(1)).sqrt();
        let random = part(of_a, a).hypot(part(of_b, b));
        // The same pool behind both sides is one estimate; a side with its own scatter is another.
        let mut terms = if of_a == of_b {
            vec![Term::observed(Cause::Readings, random, of_a.dof)]
        } else {
            [(of_a, a), (of_b, b)].map(|(s, o)| Term::observed(Cause::Readings, part(s, o), s.dof)).to_vec()
        };
        if !self.cancelled {
            terms.extend([a.common(), b.common()]);
        }
        // Inputs that were not played alike, as far as that was read: limits of that size.
        let apart = |x: Option<f64>, y: Option<f64>| x.zip(y).map_or(0.0, |(x, y)| (x - y).abs());
        let boost = a.per_boost_v * apart(a.at.boost_v, b.at.boost_v);
        let supply = a.per_supply_v * apart(a.supply_read_v, b.supply_read_v);
        terms.extend([a.own(), b.own()]);
        terms.extend([boost, supply].map(|limits| Term::limits(Cause::Inputs, limits)));
        terms.retain(|t| t.u > 0.0);
        let difference = b.value.zip(a.value).map_or(0.0, |(new, old)| new - old);
        let random = random.hypot(a.u_own.hypot(b.u_own));
        Some(Doubt { all: Uncertain::new(difference, terms), random })
    }

    fn decide(&self, a: Option<&Observation>, b: Option<&Observation>, tolerance: f64) -> Compared {
        let mut compared = Compared {
            old: a.cloned(),
            new: b.cloned(),
            difference: None,
            u95: None,
            u_changed: None,
            dof: None,
            tolerance,
            verdict: Verdict::Undecided,
        };
        let (Some(a), Some(b)) = (a, b) else {
            if a.is_none() {
                compared.verdict = Verdict::Skipped;
            }
            return compared;
        };
        let (Some(x), Some(y)) = (a.value, b.value) else {
            let both_none = a.value.is_none() && b.value.is_none();
            compared.verdict = if both_none { Verdict::Same } else { Verdict::Changed };
            return compared;
        };
        if a.unit != b.unit {
            return compared;
        }
        compared.difference = Some(y - x);
        let Some(doubt) = self.doubt(a, b) else {
            return compared;
        };
        let (u95, u_changed) = (doubt.all.u95, doubt.u_at(self.level));
        compared.u95 = Some(u95);
        compared.u_changed = Some(u_changed);
        compared.dof = doubt.all.dof_written();
        compared.verdict = decide((y - x).abs(), u95, u_changed, tolerance);
        compared
    }
}

/// The rule itself; a number that is none decides nothing.
fn decide(difference: f64, u95: f64, u_changed: f64, tolerance: f64) -> Verdict {
    let slack = EQUAL * tolerance.max(difference);
    if difference + u95 <= tolerance + slack {
        Verdict::Same
    } else if difference - u_changed > tolerance + slack {
        Verdict::Changed
    } else {
        Verdict::Undecided
    }
}

/// What a group of observations of one output and quantity can tell apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Reach {
    /// Output and quantity.
    pub key: Key,
    /// Unit.
    pub unit: String,
    /// U of a difference at 95 % to be expected, in the middle of the group.
    pub u95: f64,
    /// The tightest tolerance at which an unchanged controller is expected to come out the same everywhere.
    pub tightest: f64,
}

/// What can be told apart, from a baseline alone: the other run is taken to be like it. `cancelled`: whether its
/// instruments are the same.
#[must_use]
pub fn reach(baseline: &Baseline, cancelled: bool) -> Vec<Reach> {
    let scatter = pooled(&baseline.observations);
    let m = baseline.observations.len().max(1) as f64;
    let rule = Rule { scatter: &scatter, cancelled, level: 1.0 - (1.0 - ALARMS_MOST).powf(1.0 / m) };
    expected(&rule, baseline)
}

fn expected(rule: &Rule<'_>, baseline: &Baseline) -> Vec<Reach> {
    let mut groups: BTreeMap<Key, (String, Vec<(f64, f64)>)> = BTreeMap::new();
    for o in &baseline.observations {
        let Some(doubt) = rule.doubt(o, o).filter(|_| o.value.is_some()) else {
            continue;
        };
        let beyond = t_quantile(1.0 - 0.5 * rule.level, doubt.all.dof) * doubt.random;
        let key = (o.output.clone(), o.kind.quantity());
        let group = groups.entry(key).or_insert_with(|| (o.unit.clone(), Vec::new()));
        group.1.push((doubt.all.u95, doubt.all.u95 + beyond));
    }
    let reach = |(key, (unit, mut found)): (Key, (String, Vec<(f64, f64)>))| {
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        let u95 = found.get(found.len() / 2).map_or(0.0, |f| f.0);
        let tightest = found.iter().map(|f| f.1).fold(0.0, f64::max);
        Reach { key, unit, u95, tightest }
    };
    groups.into_iter().map(reach).collect()
}

/// A tolerance that the expected U leaves no room in decides nothing: it is refused before anything is compared.
fn refuse_too_tight(rule: &Rule<'_>, old: &Baseline, tolerances: &Tolerances) -> Result<(), Problems> {
    let mut problems = Problems::default();
    for reach in expected(rule, old) {
        let mine = |o: &&Observation| (o.output.clone(), o.kind.quantity()) == reach.key;
        let least =
            old.observations.iter().filter(mine).map(|o| tolerances.of(o)).fold(f64::INFINITY, f64::min);
        if reach.u95 > 0.0 && least < reach.u95 {
            let (name, quantity) = (&reach.key.0, reach.key.1.word());
            problems.push(
                Problem::new(format!(
                    "a tolerance of {} {} for {name} ({quantity}) is tighter than what can be told apart here: U of a \
                     difference is {} {}",
                    rounding::raised(least),
                    reach.unit,
                    rounding::raised(reach.u95),
                    reach.unit
                ))
                .expected(format!("at least {} {}", rounding::raised(reach.tightest), reach.unit))
                .help("or repeat more often, or use better instruments"),
            );
        }
    }
    problems.into_result()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_belong_to_the_zone_they_close() {
        for (difference, u, tolerance, verdict) in [
            (0.5, 0.5, 1.0, Verdict::Same),
            (0.5, 0.51, 1.0, Verdict::Undecided),
            (1.5, 0.5, 1.0, Verdict::Undecided),
            (1.51, 0.5, 1.0, Verdict::Changed),
            (0.0, 1.1, 1.0, Verdict::Undecided),
            (f64::NAN, 0.1, 1.0, Verdict::Undecided),
            (0.1, f64::NAN, 1.0, Verdict::Undecided),
            (0.0, 0.0, 0.0, Verdict::Same),
        ] {
            assert_eq!(decide(difference, u, u, tolerance), verdict, "{difference} {u} {tolerance}");
        }
    }

    #[test]
    fn a_number_that_would_do_is_never_too_small() {
        for (value, text) in [(0.4431, "0.45"), (12.01, "13"), (0.1, "0.10"), (1234.0, "1300"), (0.0, "0")] {
            assert_eq!(rounding::raised(value), text);
        }
    }
}
