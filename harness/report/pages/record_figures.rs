//! Figures that the record of any run gives: the run over time, and how late and slow things were.
//!
//! In: a run folder. Out: sections for the end of a page. Never: a computation of a result.

use super::timing_figure;
use crate::problem::Problems;
use crate::record::RunFolder;
use crate::record::events::Event;
use crate::reduce::series::{Series, Thinner};
use crate::report::chart::{Axis, Chart, Ink, Layer, Line, Panel, Plot, Span, SpanKind};
use crate::report::figure_text::Units;
use crate::report::page::{Block, Cell, Column, Figure, Section, Table};
use crate::report::words::FileName;
use crate::script::role::{Direction, Role};
use crate::verdict::purpose::Purpose;

/// Heading of the section with the run over time.
pub const RUN_HEADING: &str = "The run";
/// Panels above one another at most.
const PANELS_MOST: usize = 4;
/// Stretches drawn at most; more of them would hide the curves.
const STRETCHES_MOST: usize = 120;
/// Seconds below which a stretch is not worth drawing.
const SHORT_S: f64 = 0.2;

/// Sections of a run: over time, and its timing.
///
/// # Errors
/// The record was altered or cannot be read.
pub fn sections(folder: &RunFolder, units: Units) -> Result<Vec<Section>, Problems> {
    let mut found = Vec::new();
    if let Some(figure) = over_time(folder, units)? {
        found.push(Section::new(RUN_HEADING).with(Block::figure(figure)));
    }
    found.extend(timing_figure::section(&folder.dir));
    Ok(found)
}

/// A stretch of the run: what happened, from, to, s.
struct Stretch {
    kind: SpanKind,
    what: &'static str,
    from_s: f64,
    to_s: f64,
}

/// Settling, dwells and marked stretches, as the events tell.
fn stretches(folder: &RunFolder) -> Result<Vec<Stretch>, Problems> {
    let mut found = Vec::new();
    let (mut settling, mut dwell, mut marked) = (None, None, None);
    let mut void = false;
    let mut close = |open: &mut Option<f64>, to_s: f64, kind: SpanKind, what: &'static str| {
        if let Some(from_s) = open.take().filter(|from| to_s - from >= SHORT_S) {
            found.push(Stretch { kind, what, from_s, to_s });
        }
    };
    for event in folder.events()? {
        let event: Event = event?;
        let at = event.time_s;
        match event.kind.as_str() {
            "step" => {
                close(&mut settling, at, SpanKind::Settle, "settling");
                settling = event.detail.contains(": settle ").then_some(at);
            }
            "settled" => close(&mut settling, at, SpanKind::Settle, "settling"),
            "collect_start" => (dwell, void) = (Some(at), false),
            "void" => void = true,
            "collect_end" if void || event.get("reason") == Some("void") => {
                close(&mut dwell, at, SpanKind::Void, "void");
            }
            "collect_end" => close(&mut dwell, at, SpanKind::Dwell, "dwell"),
            "mark" => match event.get("kind") {
                Some("end") => close(&mut marked, at, SpanKind::Dwell, "looked at"),
                // A point holds its own settling and dwell.
                Some("point") | None => {}
                Some(_) => marked = Some(at),
            },
            _ => {}
        }
    }
    Ok(found)
}

/// Roles worth a panel, by what the run was for, in order.
fn wanted(purpose: Purpose, all: &[Role]) -> Vec<Role> {
    use Role::{
        Boost, CupMass, Duty, LinePressure, PumpDuty, Rpm, Solenoid, Supply, Switch, TankLevel, TankMass,
    };
    let outputs = || all.iter().filter(|r| matches!(r, Role::DutyOutput(_))).cloned();
    let list = match purpose {
        Purpose::Pair | Purpose::Record => vec![LinePressure, CupMass, Duty, PumpDuty],
        Purpose::DutyCurve => vec![LinePressure, CupMass, Duty, Boost],
        Purpose::Switch => vec![LinePressure, Switch, Duty],
        Purpose::LeakDown => vec![LinePressure, Solenoid, Duty],
        Purpose::DeadHead => vec![LinePressure, Duty, Supply],
        Purpose::TankLevel => vec![TankLevel, CupMass, TankMass, Duty],
        Purpose::CheckScale => vec![CupMass],
        Purpose::Controller | Purpose::RoadTrace => {
            [Boost, Rpm].into_iter().chain(outputs()).chain([LinePressure]).collect()
        }
    };
    let mut list: Vec<Role> = list.into_iter().filter(|r| all.contains(r)).collect();
    // The duty that was set stands in only where none was measured.
    if list.contains(&Duty) {
        list.retain(|r| *r != PumpDuty);
    }
    list.truncate(PANELS_MOST);
    list
}

fn over_time(folder: &RunFolder, units: Units) -> Result<Option<Figure>, Problems> {
    let wanted = wanted(folder.run.purpose, folder.columns());
    let mut thinner = Thinner::new(folder.columns());
    folder.samples(&mut |row| thinner.row(row))?;
    let series = thinner.finish();
    let stretches = stretches(folder)?;
    let drawn = if stretches.len() > STRETCHES_MOST { &[] } else { stretches.as_slice() };
    let panels: Vec<Panel> = wanted
        .iter()
        .filter_map(|role| series.iter().find(|s| s.role == *role && !s.points.is_empty()))
        .zip(Ink::ALL)
        .map(|(series, ink)| panel(series, ink, drawn, units))
        .collect();
    if panels.is_empty() {
        return Ok(None);
    }
    let settles = drawn.iter().any(|s| s.kind == SpanKind::Settle);
    let voids = drawn.iter().any(|s| s.kind == SpanKind::Void);
    let mut reading = if drawn.is_empty() {
        "The stretches that results were taken from are in the table".to_owned()
    } else {
        "Shaded stretches are those that results were taken from".to_owned()
    };
    if settles {
        reading += "; hatched ones were spent waiting for rest";
    }
    if voids {
        reading += "; crossed ones were not used";
    }
    Ok(Some(Figure {
        caption: "The run over time".into(),
        reading: (reading + ".").into(),
        chart: Chart::Plot(Plot { x: Axis::linear("time, s"), panels }),
        data: table(&stretches),
        csv: FileName::new("samples.csv"),
    }))
}

/// One quantity over time.
fn panel(series: &Series, ink: Ink, stretches: &[Stretch], units: Units) -> Panel {
    let (name, unit) = title(&series.role);
    let shown = units.shown(unit);
    let label = if unit.is_empty() { name } else { format!("{name}, {}", shown.unit) };
    let points = series.points.iter().map(|p| (p.time_s, p.mean * shown.factor + shown.offset));
    let mut line = Line::solid(label.as_str(), ink, points.collect());
    // What was set holds until it is set again.
    line.step = series.role.direction() == Direction::Set;
    let mut layers: Vec<Layer> = stretches
        .iter()
        .map(|s| {
            Layer::Span(Span {
                label: if s.kind == SpanKind::Void { "void" } else { "" }.into(),
                kind: s.kind,
                from: s.from_s,
                to: s.to_s,
            })
        })
        .collect();
    layers.push(Layer::Line(line));
    Panel {
        y: if matches!(series.role, Role::Switch | Role::TankLevel | Role::Solenoid) {
            Axis::words(
                label,
                if series.role == Role::Solenoid { ["closed", "open"] } else { ["open", "made"] },
            )
        } else {
            Axis::linear(label)
        },
        layers,
    }
}

/// Name and internal unit of a role.
fn title(role: &Role) -> (String, &'static str) {
    let plain = |name: &str, unit| (name.to_owned(), unit);
    match role {
        Role::LinePressure => plain("line", "kPa"),
        Role::CupMass => plain("cup", "g"),
        Role::TankMass => plain("tank", "g"),
        Role::Duty => plain("duty", "%"),
        Role::PumpDuty => plain("duty set", "%"),
        Role::Supply => plain("supply", "V"),
        Role::Boost => plain("manifold sensor", "V"),
        Role::Rpm => plain("engine speed", "rpm"),
        Role::DutyOutput(name) => (format!("duty of {}", name.as_str()), "%"),
        Role::Switch => plain("switch", ""),
        Role::TankLevel => plain("level switch", ""),
        Role::Solenoid => plain("solenoid", ""),
        other => (other.word().replace(['_', '.'], " "), ""),
    }
}

fn table(stretches: &[Stretch]) -> Table {
    let columns = vec![Column::words("what"), Column::number("from, s"), Column::number("to, s")];
    stretches.iter().fold(Table::new("Stretches of the run", columns), |table, s| {
        table.row(vec![Cell::words(s.what), Cell::number(Some(s.from_s), 6), Cell::number(Some(s.to_s), 6)])
    })
}
