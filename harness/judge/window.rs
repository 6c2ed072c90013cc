//! The window a pressure switch must sit in on the car.
//!
//! The switch sits between check valve and nozzle, so boost reaches it through the nozzle. It must go dark when
//! spraying stops: reset above peak boost and a margin. It must be lit whenever the nozzle sprays: trip below the
//! lowest line pressure of all sprayed cells less a margin; that pressure belongs to the lightest spray at the boost
//! where spraying starts, not to peak boost. Single trips scatter about their mean, and every one of them counts: half
//! of their tolerance interval goes with the margin.
//! In: what the pair shows at a duty and boost, the switch, the cells. Out: [`Window`]. Never: a bench, a file.

use crate::numerics::conformity::Zone;
use crate::reduce::switch_points::SwitchPoints;
use crate::verdict::catalogue::SWITCH_WINDOW;
use crate::verdict::decide::decide;
use crate::verdict::item::Verdict;
use crate::verdict::subject::{Found, Subject};

/// Margin on both sides where nothing else is asked for, kPa: about 1 psi for what moves on a car and not on a bench
/// (common practice, no source).
pub const MARGIN_KPA: f64 = 7.0;
/// Boosts tried between the start of spraying and the peak where only those two are known.
const BOOSTS: usize = 9;
/// Steps in which a duty is looked for; halving to a thousandth of a per cent.
const HALVINGS: usize = 17;

/// What the pair shows at a duty and boost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineAt {
    /// Flow, mL/min; 0 where nothing sprays.
    pub flow_ml_min: f64,
    /// Line pressure, gauge kPa.
    pub line_kpa: f64,
    /// Its U at 95 %, kPa.
    pub line_u95_kpa: f64,
}

/// Answers for a pair: duty (%) and boost (gauge kPa) to what the line shows there, or why that is not known.
pub trait Pair {
    /// What the line shows.
    ///
    /// # Errors
    /// Why it is not known, in words.
    fn line(&self, duty_pct: f64, boost_kpa: f64) -> Result<LineAt, String>;
}

impl<F: Fn(f64, f64) -> Result<LineAt, String>> Pair for F {
    fn line(&self, duty_pct: f64, boost_kpa: f64) -> Result<LineAt, String> {
        self(duty_pct, boost_kpa)
    }
}

/// A pressure with its U at 95 %, and how far single ones fall from it. kPa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Mean, gauge kPa.
    pub mean_kpa: f64,
    /// U of the mean.
    pub u95_kpa: f64,
    /// Half of the interval that holds 95 % of single ones with 95 % confidence; 0 where not known.
    pub scatter_kpa: f64,
}

/// The switch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Switch {
    /// Where it makes, rising.
    pub trip: Edge,
    /// Where it breaks, falling.
    pub reset: Edge,
}

impl Switch {
    /// From its ramps; none where trip or reset has no value with an uncertainty.
    #[must_use]
    pub fn of(points: &SwitchPoints) -> Option<Self> {
        let edge = |point: &crate::reduce::switch_points::Point| {
            Some(Edge {
                mean_kpa: point.value_kpa,
                u95_kpa: point.all.as_ref()?.u95,
                scatter_kpa: point.tolerance_kpa().unwrap_or(0.0),
            })
        };
        Some(Switch { trip: edge(points.trip.as_ref()?)?, reset: edge(points.reset.as_ref()?)? })
    }

    /// Trip less reset, kPa.
    #[must_use]
    pub fn differential_kpa(&self) -> f64 {
        self.trip.mean_kpa - self.reset.mean_kpa
    }
}

/// A cell of a spray table: where the controller sprays, and with which duty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// Boost, gauge kPa.
    pub boost_kpa: f64,
    /// Duty, %.
    pub duty_pct: f64,
}

/// The cells to look at where only the boost at which spraying starts and the lightest duty are known.
#[must_use]
pub fn cells_from(start_kpa: f64, lightest_pct: f64, peak_kpa: f64) -> Vec<Cell> {
    let last = if peak_kpa > start_kpa { BOOSTS - 1 } else { 0 };
    let boost = |i: usize| start_kpa + (peak_kpa - start_kpa) * i as f64 / last.max(1) as f64;
    (0..=last).map(|i| Cell { boost_kpa: boost(i), duty_pct: lightest_pct }).collect()
}

/// What the lamp shows while a cell sprays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lamp {
    /// Lit, as it should be.
    Lit,
    /// Dark while it sprays.
    Dark,
    /// Within what is known, either.
    Unsure,
}

/// A sprayed cell with what the line and the lamp show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// The cell.
    pub cell: Cell,
    /// The line.
    pub line: LineAt,
    /// The lamp.
    pub lamp: Lamp,
}

/// What boost alone does to the lamp, once spraying has stopped at peak boost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ByBoost {
    /// It goes dark.
    Dark,
    /// It stays lit until boost falls: peak boost lies above reset.
    StaysLit,
    /// It is lit without any spraying: peak boost lies above trip.
    LitAlone,
    /// Within what is known, either.
    Unsure,
}

/// From where on a lamp is right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct From {
    /// At this boost, gauge kPa.
    pub boost_kpa: f64,
    /// From this duty on, %.
    pub duty_pct: f64,
    /// Which gives this flow, mL/min.
    pub flow_ml_min: f64,
    /// And this line pressure, gauge kPa.
    pub line_kpa: f64,
}

/// A set point that would be right, or from which flow on one would be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Advice {
    /// Set points (trip, gauge kPa) between these are right with this differential; the middle is suggested.
    SetPoint {
        /// Lowest.
        low_kpa: f64,
        /// Highest.
        high_kpa: f64,
    },
    /// There is none: even the lowest set point that boost allows is too high for the lightest spray.
    None {
        /// The lowest set point that boost allows, gauge kPa.
        lowest_kpa: f64,
        /// From where on a lamp with that set point is right, at the boost of the lowest line pressure; none where
        /// not even full duty gets there.
        from: Option<From>,
    },
}

/// The answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// Peak boost and margin: reset must lie above, gauge kPa.
    pub floor_kpa: f64,
    /// Lowest line pressure less margin: trip must lie below, gauge kPa.
    pub ceiling_kpa: f64,
    /// Sprayed cells.
    pub cells: Vec<Shown>,
    /// Place of the cell with the lowest line pressure in them.
    pub lowest: usize,
    /// Cells given in which nothing sprays.
    pub silent: usize,
    /// What boost alone does.
    pub by_boost: ByBoost,
    /// How far reset lies above the floor, and U, kPa; scatter of single resets taken off.
    pub above: (f64, f64),
    /// How far trip lies below the ceiling, and U, kPa; scatter of single trips taken off.
    pub below: (f64, f64),
    /// A set point, or none.
    pub advice: Advice,
    /// From where on the lamp is right as the switch is set now, at the boost of the lowest line pressure.
    pub right_from: Option<From>,
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq)]
pub enum NoWindow {
    /// The pair's calibration does not carry the question.
    Unknown(String),
    /// No cell sprays.
    NothingSprays,
}

impl std::fmt::Display for NoWindow {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            NoWindow::Unknown(why) => write!(f, "line pressure is not known: {why}"),
            NoWindow::NothingSprays => f.write_str("in none of the cells does anything spray"),
        }
    }
}

/// Finds the window.
///
/// # Errors
/// [`NoWindow`].
pub fn window(
    pair: &dyn Pair,
    switch: &Switch,
    peak_kpa: f64,
    cells: &[Cell],
    margin_kpa: f64,
) -> Result<Window, NoWindow> {
    let mut shown = Vec::with_capacity(cells.len());
    for &cell in cells.iter().filter(|c| c.duty_pct > 0.0) {
        let line = pair.line(cell.duty_pct, cell.boost_kpa).map_err(NoWindow::Unknown)?;
        if line.flow_ml_min > 0.0 {
            let lamp = lamp(&line, &switch.trip);
            shown.push(Shown { cell, line, lamp });
        }
    }
    let lowest = (0..shown.len())
        .min_by(|&a, &b| shown[a].line.line_kpa.total_cmp(&shown[b].line.line_kpa))
        .ok_or(NoWindow::NothingSprays)?;
    let at = shown[lowest];
    let (floor_kpa, ceiling_kpa) = (peak_kpa + margin_kpa, at.line.line_kpa - margin_kpa);
    let (trip, reset) = (&switch.trip, &switch.reset);
    let scatters = (trip.scatter_kpa, reset.scatter_kpa);
    let low_kpa = floor_kpa + scatters.1 + reset.u95_kpa + switch.differential_kpa();
    let high_kpa = ceiling_kpa - scatters.0 - trip.u95_kpa.hypot(at.line.line_u95_kpa);
    let from = |set_kpa: f64| {
        let needed = set_kpa + scatters.0 + margin_kpa + trip.u95_kpa.hypot(at.line.line_u95_kpa);
        right_from(pair, at.cell.boost_kpa, needed)
    };
    let advice = if low_kpa <= high_kpa {
        Advice::SetPoint { low_kpa, high_kpa }
    } else {
        Advice::None { lowest_kpa: low_kpa, from: from(low_kpa) }
    };
    Ok(Window {
        floor_kpa,
        ceiling_kpa,
        silent: cells.len() - shown.len(),
        by_boost: by_boost(switch, peak_kpa),
        above: (reset.mean_kpa - scatters.1 - floor_kpa, reset.u95_kpa),
        below: (ceiling_kpa - trip.mean_kpa - scatters.0, trip.u95_kpa.hypot(at.line.line_u95_kpa)),
        advice,
        right_from: from(trip.mean_kpa),
        lowest,
        cells: shown,
    })
}

fn lamp(line: &LineAt, trip: &Edge) -> Lamp {
    let u = trip.u95_kpa.hypot(line.line_u95_kpa) + trip.scatter_kpa;
    match line.line_kpa - trip.mean_kpa {
        above if above >= u => Lamp::Lit,
        above if above <= -u => Lamp::Dark,
        _ => Lamp::Unsure,
    }
}

fn by_boost(switch: &Switch, peak_kpa: f64) -> ByBoost {
    let beyond = |edge: &Edge| peak_kpa - edge.mean_kpa - edge.u95_kpa - edge.scatter_kpa;
    let short = |edge: &Edge| edge.mean_kpa - edge.u95_kpa - edge.scatter_kpa - peak_kpa;
    if beyond(&switch.trip) >= 0.0 {
        ByBoost::LitAlone
    } else if short(&switch.reset) >= 0.0 {
        ByBoost::Dark
    } else if beyond(&switch.reset) >= 0.0 {
        ByBoost::StaysLit
    } else {
        ByBoost::Unsure
    }
}

/// The duty from which on the line shows at least this much at a boost.
fn right_from(pair: &dyn Pair, boost_kpa: f64, needed_kpa: f64) -> Option<From> {
    let (mut low, mut high) = (0.0, 100.0);
    let enough = |duty: f64| {
        let line = pair.line(duty, boost_kpa).ok()?;
        Some((line.line_kpa >= needed_kpa && line.flow_ml_min > 0.0, line))
    };
    if !enough(high)?.0 {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        // Where the pair does not answer, the lamp cannot be called right.
        if enough(middle).is_some_and(|(good, _)| good) {
            high = middle;
        } else {
            low = middle;
        }
    }
    let (_, line) = enough(high)?;
    Some(From { boost_kpa, duty_pct: high, flow_ml_min: line.flow_ml_min, line_kpa: line.line_kpa })
}

/// `switch.window`: the smaller of the two margins, which must be above zero.
#[must_use]
pub fn margin(answer: &Result<Window, NoWindow>) -> Subject {
    let above_zero = Zone { lower: Some(0.0), upper: None };
    let of = |found: Found| Subject::new(&SWITCH_WINDOW, found).rig(Some(above_zero));
    let window = match answer {
        Ok(window) => window,
        Err(why) => return of(Found::Open(why.to_string())),
    };
    // One side that fails fails the whole; else the side with the least room in terms of its U.
    let rank = |(value, u95): (f64, f64)| match decide(value, u95, &above_zero) {
        Verdict::Fail => 0,
        Verdict::Pass => 2,
        _ => 1,
    };
    let key = |side: (f64, f64)| (rank(side), side.0 - side.1);
    let (above, below) = (key(window.above), key(window.below));
    let first = above.0.cmp(&below.0).then(above.1.total_cmp(&below.1)).is_le();
    let (value, u95) = if first { window.above } else { window.below };
    of(Found::Value { value, u95, dof: None }).context(super::window_text::sentences(window).join("; "))
}
