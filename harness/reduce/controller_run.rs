//! Observations out of a controller's run.
//!
//! In: a run folder, its rig. Out: every output's steady value a point and way of approach, its edges, its response
//! times, what a weak supply, a broken sensor, a lost tach and a power cycle do. A steady value is the mean of the span
//! marked `steady`; the wait before it is not in the span. Outputs are the controller's channels; what an instrument
//! tells of the sensor voltage it plays is no output, it shows latency. Never: a model of the controller.

use super::controller::{At, Gather, Kind, Observation, Observations, Quantity, Way, blank};
use super::controller_times::{self, Latency};
use super::spans::{Span, SpanCutter, Trace};
use super::stream::{Item, stream};
use crate::problem::{Problem, Problems};
use crate::record::{Event, RunFolder};
use crate::script::rig::{ChannelSpec, Rig};
use crate::script::role::{Direction, Role};

/// Kinds of spans that are looked for.
const WANTED: [&str; 7] =
    ["steady", "supply", "response", "loop_back", "sensor_fault", "tach_lost", "power_cycle"];
/// The end of a hold that counts as its tail, s.
const TAIL_S: f64 = 0.5;
/// Longest time from an event to a reading that belongs to it, s.
const LATE_S: f64 = 0.05;
/// A moment before another, s: less than any exchange takes, more than times are rounded by.
const BEFORE_S: f64 = 1e-4;

/// What was set when.
#[derive(Debug, Default)]
pub(super) struct Settings {
    set: Vec<(f64, Role, f64)>,
    boost_v: Vec<(f64, f64)>,
}

impl Settings {
    fn event(&mut self, event: &Event) {
        if event.kind == "set" {
            let pairs = event.pairs().filter_map(|(r, v)| Some((Role::parse(r)?, v.parse().ok()?)));
            self.set.extend(pairs.map(|(role, value)| (event.time_s, role, value)));
        }
    }

    fn last(&self, role: &Role, at_s: f64) -> Option<f64> {
        let before = self.set.iter().rev().filter(|(t, _, _)| *t <= at_s);
        before.into_iter().find(|(_, r, _)| r == role).map(|(_, _, v)| *v)
    }

    /// Moments between two at which anything was set.
    pub(super) fn within(&self, from_s: f64, to_s: f64) -> Vec<f64> {
        let mut times: Vec<f64> =
            self.set.iter().map(|s| s.0).filter(|t| (from_s..to_s).contains(t)).collect();
        times.dedup();
        times
    }

    /// The inputs at a moment.
    fn at(&self, at_s: f64) -> At {
        let boost_v = self.boost_v.iter().rev().find(|(t, _)| *t <= at_s + LATE_S);
        At {
            boost_kpa: self.last(&Role::Boost, at_s),
            boost_v: boost_v.map(|b| b.1),
            rpm: self.last(&Role::Rpm, at_s),
            supply_v: self.last(&Role::SupplySet, at_s),
        }
    }
}

/// What is known of the channels.
pub(super) struct Bench<'a> {
    pub(super) rig: &'a Rig,
    pub(super) outputs: Vec<&'a ChannelSpec>,
    /// Reads back what the generator plays.
    pub(super) loop_back: Option<&'a ChannelSpec>,
}

impl<'a> Bench<'a> {
    fn new(rig: &'a Rig) -> Self {
        let player = rig.channel(&Role::Boost).map(|c| c.instrument);
        let output = |c: &&ChannelSpec| {
            matches!(c.role, Role::DutyOutput(_) | Role::SwitchedOutput(_) | Role::AnalogueOutput(_))
        };
        let (back, outputs): (Vec<_>, Vec<_>) =
            rig.channels.iter().filter(output).partition(|c| player == Some(c.instrument));
        let reads = |c: &&&ChannelSpec| c.role.direction() == Direction::Read;
        let loop_back = back.iter().find(reads).copied();
        Bench { rig, outputs, loop_back }
    }

    /// kPa a volt of the manifold sensor.
    fn kpa_per_v(&self) -> f64 {
        self.rig.engine.boost_sensor.map_or(0.0, |sensor| sensor.kpa_per_v())
    }

    /// Standard uncertainty of the boost played, kPa, at a sensor voltage: generator and barometer.
    fn u_boost_kpa(&self, boost_v: Option<f64>) -> f64 {
        let of = |role: &Role| self.rig.channel(role).map(|c| c.uncertainty);
        let played = of(&Role::Boost).map_or(0.0, |u| {
            let gain = u.gain.standard() * boost_v.unwrap_or(2.5);
            u.zero.standard().hypot(gain).hypot(u.resolution / 12f64.sqrt())
        });
        let ambient = of(&Role::AmbientPressure).map_or(0.0, |u| u.zero.standard());
        (played * self.kpa_per_v()).hypot(ambient)
    }
}

/// The unit of a role's values in observations.
pub(super) fn unit_of(role: &Role) -> &'static str {
    match role {
        Role::SwitchedOutput(_) => "on",
        other => other.dimension().internal_unit(),
    }
}

/// Reduces a run.
///
/// # Errors
/// The record was altered, or holds nothing of a controller.
pub fn from_run(folder: &RunFolder, rig: &Rig) -> Result<Observations, Problems> {
    let bench = Bench::new(rig);
    if bench.outputs.is_empty() {
        let problem = Problem::new(format!("rig {} names no output of a controller", rig.name));
        return Err(problem
            .expected("channels such as `duty_output.pump`, `switched.valve` or `analogue.trim`")
            .into());
    }
    let (mut settings, mut spans, mut edges) = (Settings::default(), Vec::new(), Vec::new());
    let mut cutter = SpanCutter::new(folder.columns(), &WANTED);
    let boost = folder.column(&Role::Boost);
    let last_s = stream(folder, &mut |item| match item {
        Item::Event(event) => {
            settings.event(event);
            cutter.event(event);
            if matches!(event.kind.as_str(), "edge" | "no_edge") {
                edges.push(event.clone());
            }
        }
        Item::Row(row) => {
            let volts = boost.map(|i| row.values[i]).filter(|v| !v.is_nan());
            settings.boost_v.extend(volts.map(|v| (row.time_s, v)));
            cutter.row(row, &mut |span| spans.push(span));
        }
    })?;
    cutter.finish(last_s, &mut |span| spans.push(span));
    let latency = Latency::of(&bench, &spans);
    let mut gather = Gather::default();
    for span in spans.iter().filter(|s| s.whole) {
        steady(&bench, &settings, span, &mut gather);
        faults(&bench, &settings, span, &latency, &mut gather);
    }
    let responses = controller_times::responses(&bench, &spans, &latency);
    for (response, start_s) in &responses {
        for time in &response.times_s {
            let at = At { boost_kpa: None, boost_v: None, ..settings.at(*start_s) };
            let mut o = blank(&response.output, Kind::Response(response.way), at, "s");
            (o.value, o.u_common) = (Some(*time), response.u_latency_s);
            o.u_own = response.bracket_s / 12f64.sqrt() / 2.0;
            gather.add(o);
        }
    }
    edges.iter().for_each(|e| edge(&bench, &settings, e, &mut gather));
    let mut list = gather.finish();
    uncertainties(&bench, &mut list);
    if list.is_empty() {
        return Err(Problem::new(format!("{}: holds no observation of a controller", folder.dir.display()))
            .expected("spans marked `steady`, `supply`, `response`, or events `edge`")
            .into());
    }
    let mut notes = folder.notes.clone();
    notes.extend(latency.note);
    Ok(Observations { list, responses: responses.into_iter().map(|r| r.0).collect(), notes })
}

/// Mean of a trace between two moments.
pub(super) fn mean_of(trace: &Trace, from_s: f64, to_s: f64) -> Option<f64> {
    let values: Vec<f64> = (trace.times_s.iter().zip(&trace.values))
        .filter(|(t, _)| (from_s..=to_s).contains(*t))
        .map(|(_, v)| *v)
        .collect();
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn supply_read(span: &Span) -> Option<f64> {
    span.traces.get(&Role::Supply).and_then(|t| mean_of(t, span.start_s, span.end_s))
}

/// Steady points and points over the supply.
fn steady(bench: &Bench<'_>, settings: &Settings, span: &Span, gather: &mut Gather) {
    let way = span.values.get("direction").and_then(|d| Way::parse(d));
    let kind = match (span.kind.as_str(), way) {
        ("steady", None) => Kind::Steady,
        ("steady", Some(Way::Up)) => Kind::SteadyUp,
        ("steady", Some(Way::Down)) => Kind::SteadyDown,
        ("supply", way) => Kind::Supply(way.unwrap_or(Way::Up)),
        _ => return,
    };
    let mut at = settings.at(span.start_s);
    let read = supply_read(span);
    at.supply_v = at.supply_v.or(read);
    for channel in &bench.outputs {
        let Some(trace) = span.traces.get(&channel.role) else {
            continue;
        };
        let mut o = blank(&channel.role.word(), kind.clone(), at.clone(), unit_of(&channel.role));
        o.value = mean_of(trace, span.start_s, span.end_s);
        o.supply_read_v = read;
        gather.add(o);
    }
}

/// What a fault does, and what is left when it has gone: the tails of the two holds.
fn faults(bench: &Bench<'_>, settings: &Settings, span: &Span, latency: &Latency, gather: &mut Gather) {
    let name = match span.kind.as_str() {
        "sensor_fault" => span.values.get("fault").cloned().unwrap_or_else(|| "sensor_fault".into()),
        "tach_lost" | "power_cycle" => span.kind.clone(),
        _ => return,
    };
    let sets = settings.within(span.start_s, span.end_s);
    let [.., restored_s] = sets[..] else { return };
    if sets.len() < 2 {
        return;
    }
    let at = settings.at(span.start_s - BEFORE_S);
    for channel in &bench.outputs {
        let Some(trace) = span.traces.get(&channel.role) else {
            continue;
        };
        let mut add = |kind: Kind, unit: &str, value: Option<f64>, u_own: f64| {
            let mut o = blank(&channel.role.word(), kind, at.clone(), unit);
            (o.value, o.u_own) = (value, u_own);
            if o.value.is_some() {
                gather.add(o);
            }
        };
        let unit = unit_of(&channel.role);
        let after = mean_of(trace, span.end_s - TAIL_S, span.end_s);
        add(Kind::Fault(name.clone()), unit, mean_of(trace, restored_s - TAIL_S, restored_s), 0.0);
        add(Kind::After(name.clone()), unit, after, 0.0);
        if span.kind == "power_cycle" {
            let crossing = controller_times::half_way(trace, restored_s, span.end_s);
            let time = crossing.map(|c| c.time_s - restored_s);
            add(
                Kind::Restart,
                "s",
                time,
                crossing.map_or(0.0, |c| c.bracket_s / 12f64.sqrt()).hypot(latency.u_s),
            );
        }
    }
}

/// An edge, or that there is none.
fn edge(bench: &Bench<'_>, settings: &Settings, event: &Event, gather: &mut Gather) {
    let (Some(input), Some(output)) = (event.get("input"), event.get("output")) else {
        return;
    };
    let (Some(low), Some(high)) = (event.number("low"), event.number("high")) else {
        return;
    };
    let way = if low <= high { Way::Up } else { Way::Down };
    // What is set next carries the moment of the event.
    let mut at = settings.at(event.time_s - BEFORE_S);
    match input {
        "boost" => (at.boost_kpa, at.boost_v) = (None, None),
        "rpm" => at.rpm = None,
        "supply_set" => at.supply_v = None,
        _ => {}
    }
    let unit = Role::parse(input).map_or("", |r| r.dimension().internal_unit());
    let mut o = blank(output, Kind::Edge(way, input.to_owned()), at, unit);
    if event.kind == "edge" {
        o.value = Some(0.5 * (low + high));
        o.u_own = (high - low).abs() / 12f64.sqrt();
        if input == "boost" {
            o.u_common = bench.u_boost_kpa(None);
        }
    }
    gather.add(o);
}

/// Adds what the instruments contribute, and how values move with the inputs.
fn uncertainties(bench: &Bench<'_>, list: &mut [Observation]) {
    let all = list.to_vec();
    let supply = bench.rig.channel(&Role::Supply).map(|c| c.uncertainty);
    for o in list.iter_mut().filter(|o| o.kind.quantity() == Quantity::Value) {
        let Some(value) = o.value else { continue };
        let per_kpa = slope_over(&all, o, |at| at.boost_kpa, |a, b| a.rpm == b.rpm);
        o.per_boost_v = per_kpa * bench.kpa_per_v();
        o.per_supply_v = value.abs() * supply_share(&all, &o.output);
        let read = bench.outputs.iter().find(|c| c.role.word() == o.output).map(|c| c.uncertainty);
        let own = read.map_or(0.0, |u| u.zero.standard().hypot(u.gain.standard() * value));
        let step = read.map_or(0.0, |u| u.resolution / 12f64.sqrt());
        let volts =
            supply.map_or(0.0, |u| u.zero.standard().hypot(u.gain.standard() * o.at.supply_v.unwrap_or(0.0)));
        let boost = per_kpa * bench.u_boost_kpa(o.at.boost_v);
        // An on-off channel has no error of its value; what plays its input still moves it.
        let own = if o.unit == "on" { 0.0 } else { own };
        o.u_common = own.hypot(boost).hypot(o.per_supply_v * volts);
        o.u_own = o.u_own.hypot(step);
    }
}

/// The steeper of the slopes to the neighbours along an input, per unit of it, absolute.
pub(super) fn slope_over(
    all: &[Observation],
    o: &Observation,
    along: impl Fn(&At) -> Option<f64>,
    level: impl Fn(&At, &At) -> bool,
) -> f64 {
    let (Some(x), Some(y)) = (along(&o.at), o.value) else {
        return 0.0;
    };
    let same = all.iter().filter(|p| p.output == o.output && p.kind == o.kind && level(&p.at, &o.at));
    let points: Vec<(f64, f64)> = same.filter_map(|p| Some((along(&p.at)?, p.value?))).collect();
    let slope = |p: Option<&(f64, f64)>| p.map_or(0.0, |p| ((p.1 - y) / (p.0 - x)).abs());
    let below = points.iter().filter(|p| p.0 < x - 1e-9).max_by(|a, b| a.0.total_cmp(&b.0));
    let above = points.iter().filter(|p| p.0 > x + 1e-9).min_by(|a, b| a.0.total_cmp(&b.0));
    slope(below).max(slope(above))
}

/// The steepest relative change of an output with the supply, per V.
fn supply_share(all: &[Observation], output: &str) -> f64 {
    let mut points: Vec<(f64, f64)> = all
        .iter()
        .filter(|p| p.output == output && matches!(p.kind, Kind::Supply(_)))
        .filter_map(|p| Some((p.at.supply_v?, p.value?)))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let most = points.iter().map(|p| p.1.abs()).fold(0.0, f64::max);
    let apart = points.windows(2).filter(|w| w[1].0 - w[0].0 > 0.2);
    let steepest = apart.map(|w| ((w[1].1 - w[0].1) / (w[1].0 - w[0].0)).abs()).fold(0.0, f64::max);
    if most > 0.0 { steepest / most } else { 0.0 }
}
