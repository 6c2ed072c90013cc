//! A data set, reduced: what everything to the right of the record works from.

use super::budget::{self, BudgetRow};
use super::by_hand;
use super::check_scale::{self, Check, Weighing};
use super::collection::{Collection, Systematics};
use super::drift;
use super::dwell;
use super::edge_duty::{self, DutyEdge};
use super::finding::Finding;
use super::instruments::Instruments;
use super::points;
use super::series::{Series, Thinner};
use super::spans::{Span, SpanCutter};
use super::static_mass;
use super::stream::{Item, stream};
use super::table;
use super::windows::{Cut, Cutter, Rest, Window};
use super::zero::{self, Zeros};
use crate::problem::Problems;
use crate::record::{Event, RunFolder};
use crate::script::rig::Rig;

/// A stretch of time for the plots.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Start and end, s.
    pub from_to_s: (f64, f64),
    /// `dwell`, `void` or `rest`.
    pub kind: &'static str,
    /// Step of the plan.
    pub step: u32,
}

/// Everything the reduction gives.
#[derive(Clone, Debug)]
pub struct Reduced {
    /// Collections in the order they were taken, void ones with their reason.
    pub collections: Vec<Collection>,
    /// Errors common to all of them.
    pub systematics: Systematics,
    /// What was noticed.
    pub findings: Vec<Finding>,
    /// The budget of a typical flow.
    pub budget: Vec<BudgetRow>,
    /// Thinned time series; empty for points taken by hand.
    pub series: Vec<Series>,
    /// Dwells, void dwells and rests on the time line.
    pub stretches: Vec<Stretch>,
    /// Density of the liquid in the cup, kg/m3.
    pub density_kg_m3: f64,
    /// What a check of scale and clock found, where the run was one.
    pub check: Check,
    /// Where flow stopped and started on ramps of the duty, where the run had them.
    pub edges: Vec<DutyEdge>,
}

/// Reduces a run.
///
/// # Errors
/// The record was altered or cannot be read.
pub fn from_run(folder: &RunFolder, rig: &Rig) -> Result<Reduced, Problems> {
    let known = Instruments::of_rig(rig);
    let mut gathered = Gathered::new(known);
    let columns = folder.columns();
    let (mut cutter, mut thinner) = (Cutter::new(columns), Thinner::new(columns));
    let mut spans =
        SpanCutter::new(columns, &[zero::KIND, edge_duty::KIND, check_scale::WEIGH, check_scale::INTERVAL]);
    let last_s = stream(folder, &mut |item| match item {
        Item::Event(event) => {
            gathered.answered(event);
            spans.event(event);
            cutter.event(event, &mut |cut| gathered.take(cut));
        }
        Item::Row(row) => {
            cutter.row(row, &mut |cut| gathered.take(cut));
            spans.row(row, &mut |span| gathered.span(&span));
            thinner.row(row);
        }
    })?;
    cutter.finish(last_s, &mut |cut| gathered.take(cut));
    spans.finish(last_s, &mut |span| gathered.span(&span));
    let mut reduced = gathered.reduced(thinner.finish());
    let torn = |note: &String| {
        Finding::new("record.cut_short", note, "the run was killed, or the computer lost power")
    };
    reduced.findings.extend(folder.notes.iter().map(torn));
    Ok(reduced)
}

/// Reduces a table of points.
///
/// # Errors
/// As [`from_points`].
pub fn from_table(table: &table::Table, rig: Option<&Rig>) -> Result<Reduced, Problems> {
    let mut known = rig.map_or_else(Instruments::assumed, Instruments::of_rig);
    let points = points::read(table)?;
    let (collections, mut findings) = by_hand::reduce(&points, &mut known)?;
    findings.extend(by_hand::assumptions(&known));
    Ok(finish(collections, known, findings, Vec::new(), Vec::new()))
}

/// What both ways end with.
fn finish(
    collections: Vec<Collection>,
    known: Instruments,
    mut findings: Vec<Finding>,
    series: Vec<Series>,
    stretches: Vec<Stretch>,
) -> Reduced {
    let temperatures: Vec<f64> = collections.iter().filter_map(|c| c.water_degc).collect();
    let degc = if temperatures.is_empty() {
        known.water_degc.0
    } else {
        temperatures.iter().sum::<f64>() / temperatures.len() as f64
    };
    let (density, u) = budget::conversion(&known, degc, known.ambient_kpa)
        .map_or((1000.0, 0.0), |c| (c.density_kg_m3, c.density_u));
    let back = collections.iter().any(|c| c.back_pressure_kpa.abs() > 0.0);
    let systematics = budget::systematics(&known, density, u, back);
    for what in known.unstated() {
        let cause = "state it in the rig file, with the date it was checked";
        findings.push(Finding::new(
            "budget.unstated",
            format!("the rig says nothing about {what}; nothing was added for it"),
            cause,
        ));
    }
    findings.extend(drift::findings(&collections));
    findings.extend(static_mass::compare(&collections, &known));
    let budget = budget::rows(&collections, &systematics);
    Reduced {
        collections,
        systematics,
        findings,
        budget,
        series,
        stretches,
        check: Check::default(),
        edges: Vec::new(),
        density_kg_m3: density,
    }
}

/// A mass, g, with its standard uncertainty.
type Mass = (f64, f64);

/// A weighing at rest.
struct Rested {
    collection: u32,
    before: bool,
    /// Mass, g, and its standard uncertainty; none where the cup did not come to rest.
    mass_g: Option<Mass>,
    from_to_s: (f64, f64),
}

/// What a run gives, window by window.
struct Gathered {
    known: Instruments,
    dwells: Vec<Collection>,
    /// Which of them were weighed by hand.
    weighed: Vec<usize>,
    rests: Vec<Rested>,
    pump: Vec<(f64, f64)>,
    stretches: Vec<Stretch>,
    zeros: Zeros,
    weighings: Vec<Weighing>,
    /// Times of the operator's answers around an interval, s, and the seconds answered.
    answers: Vec<(f64, Option<f64>)>,
    interval: bool,
    edges: Vec<DutyEdge>,
}

impl Gathered {
    fn new(known: Instruments) -> Self {
        Gathered {
            known,
            dwells: Vec::new(),
            weighed: Vec::new(),
            rests: Vec::new(),
            pump: Vec::new(),
            stretches: Vec::new(),
            zeros: Zeros::default(),
            weighings: Vec::new(),
            answers: Vec::new(),
            interval: false,
            edges: Vec::new(),
        }
    }

    /// The operator's answers tell when a reference clock was read, and what it showed.
    fn answered(&mut self, event: &Event) {
        self.edges.extend(edge_duty::by_eye(event));
        if event.kind == "answered" {
            self.answers.push((event.time_s, event.number("seconds")));
        }
    }

    fn span(&mut self, span: &Span) {
        match span.kind.as_str() {
            zero::KIND => self.zeros.take(span, &self.known),
            edge_duty::KIND => self.edges.extend(edge_duty::read(span, &self.known)),
            check_scale::WEIGH => self.weighings.extend(check_scale::weighing(span)),
            _ => self.interval |= span.whole,
        }
    }

    fn take(&mut self, cut: Cut) {
        match cut {
            Cut::Pump(time_s, duty_pct) => self.pump.push((time_s, duty_pct)),
            Cut::Window(window) => self.dwell(&window),
            Cut::Rest(rest) => self.rest(&rest),
        }
    }

    fn dwell(&mut self, window: &Window) {
        let collection = dwell::reduce(window, &self.known);
        let kind = if collection.void.is_some() { "void" } else { "dwell" };
        self.stretches.push(Stretch { from_to_s: (window.start_s, window.end_s), kind, step: window.step });
        if window.weighed_s.is_some() {
            self.weighed.push(self.dwells.len());
        }
        self.dwells.push(collection);
    }

    fn rest(&mut self, rest: &Rest) {
        let from_to_s = (rest.start_s, rest.end_s);
        self.stretches.push(Stretch { from_to_s, kind: "rest", step: rest.collection });
        self.rests.push(Rested {
            collection: rest.collection,
            before: rest.before,
            mass_g: static_mass::at_rest(&rest.cup, self.known.scale.step),
            from_to_s,
        });
    }

    fn reduced(self, series: Vec<Series>) -> Reduced {
        let mut collections = Vec::with_capacity(self.dwells.len());
        for (i, collection) in self.dwells.iter().enumerate() {
            let mut collection = collection.clone();
            if self.weighed.contains(&i) {
                let (before, after) = self.weighings_around(&collection);
                by_hand::weigh(&mut collection, before, after, &self.known);
            } else {
                collection.static_flow_ml_min = self.static_flow(&collection);
            }
            collections.push(collection);
        }
        let check = self.check();
        let mut reduced = finish(collections, self.known, check.findings(), series, self.stretches);
        let timing =
            by_hand::settle(&mut reduced.collections, &self.weighed, &self.known, &mut reduced.systematics);
        reduced.findings.extend(timing);
        check.apply(&mut reduced.systematics);
        let height_kpa = budget::height_kpa(&self.known, reduced.density_kg_m3);
        let zeros = &self.zeros;
        let found = zeros.apply(&self.known, height_kpa, &mut reduced.collections, &mut reduced.systematics);
        reduced.findings.extend(found);
        reduced.budget = budget::rows(&reduced.collections, &reduced.systematics);
        reduced.check = check;
        reduced.edges = self.edges;
        reduced
    }

    /// The last weighing before a collection's start and the first after its end, of those that belong to it.
    fn weighings_around(&self, collection: &Collection) -> (Option<Mass>, Option<Mass>) {
        let mine = |before: bool| move |r: &&Rested| r.collection == collection.step && r.before == before;
        let before = self.rests.iter().filter(mine(true)).rfind(|r| r.from_to_s.1 <= collection.time_s);
        let after = self.rests.iter().filter(mine(false)).find(|r| r.from_to_s.0 >= collection.time_s);
        (before.and_then(|r| r.mass_g), after.and_then(|r| r.mass_g))
    }

    fn check(&self) -> Check {
        let clock = match self.answers[..] {
            [.., (from_s, _), (to_s, Some(reference_s))] if self.interval => {
                check_scale::clock(to_s - from_s, reference_s)
            }
            _ => None,
        };
        let scale = check_scale::scale(&self.weighings, &self.known);
        Check { scale, clock }
    }

    /// The flow from the weighings at rest around a collection, where the pump was set on once and off once between.
    fn static_flow(&self, collection: &Collection) -> Option<(f64, f64)> {
        let find = |before: bool| {
            let mine = |r: &&Rested| r.collection == collection.step && r.before == before;
            // A collection that was interrupted has been weighed before; the last weighings are those around it.
            self.rests.iter().rfind(mine).and_then(|r| Some((r.mass_g?, r.from_to_s)))
        };
        let ((before, before_span), (after, after_span)) = (find(true)?, find(false)?);
        let between = |(t, _): &&(f64, f64)| (before_span.1..=after_span.0).contains(t);
        let set: Vec<&(f64, f64)> = self.pump.iter().filter(between).collect();
        let [(on_s, on), (off_s, off)] = set[..] else {
            return None;
        };
        if *on <= 0.0 || *off > 0.0 || collection.mass_flow_g_s <= 0.0 {
            return None;
        }
        let factor = collection.flow_ml_min / collection.mass_flow_g_s;
        static_mass::flow(before, after, off_s - on_s, factor)
    }
}
