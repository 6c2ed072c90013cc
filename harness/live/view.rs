//! The screen of a running bench.
//!
//! In: setup, snapshots, flow, a question. Out: a [`Frame`] of any size. Never: a reading shown as new that is not;
//! what was not measured is shown as dashes.

use super::bar::gauge;
use super::digits;
use super::frame::{Frame, Style};
use super::history::{Trend, rows as trend_rows};
use super::setup::Setup;
use super::words;
use crate::clock::Moment;
use crate::report::figure_text::significant;
use crate::run::snapshot::{Snapshot, Stage};
use crate::script::role::Role;

/// Columns and rows of the full view; below them the small one is drawn.
const FULL: (usize, usize) = (80, 24);
/// Fraction of a limit from which its nearness is said.
const NEAR: f64 = 0.9;
/// Age from which a reading is called old, s.
const OLD_S: f64 = 1.5;
/// Stretch of the trends, s: at the clock's pace, and where bench time is hurried through.
const TREND_S: (f64, f64) = (60.0, 600.0);

/// What the screen knows.
#[derive(Clone, Debug)]
pub struct View {
    setup: Setup,
    /// Whether block characters may be used.
    blocks: bool,
    latest: Option<(Snapshot, Option<f64>)>,
    step_began: (usize, Moment),
    on_since: Option<Moment>,
    pressure: Trend,
    flow: Trend,
    /// Question for the operator, and the answer so far.
    pub question: Option<(String, String)>,
    /// Whether the view is held.
    pub frozen: bool,
}

impl View {
    /// A view before the first snapshot.
    #[must_use]
    pub fn new(setup: Setup) -> Self {
        let over_s = if setup.hurried { TREND_S.1 } else { TREND_S.0 };
        View {
            setup,
            blocks: false,
            latest: None,
            step_began: (0, Moment::START),
            on_since: None,
            pressure: Trend::new(over_s),
            flow: Trend::new(over_s),
            question: None,
            frozen: false,
        }
    }

    /// The view, with block characters or without.
    #[must_use]
    pub fn with_blocks(mut self, blocks: bool) -> Self {
        self.blocks = blocks;
        self
    }

    /// Takes a snapshot with the slope of cup mass (g/s) then; a held view stays as it is.
    pub fn take(&mut self, snapshot: Snapshot, mass_flow_g_s: Option<f64>) {
        if self.frozen {
            return;
        }
        if self.step_began.0 != snapshot.step {
            self.step_began = (snapshot.step, snapshot.at);
        }
        let on = snapshot.told(&Role::PumpDuty).is_some_and(|d| d > 0.0);
        self.on_since = on.then(|| self.on_since.unwrap_or(snapshot.at));
        let flow = mass_flow_g_s.map(|g| g * 60.0 / self.setup.density_g_ml);
        let time_s = snapshot.at.as_s();
        self.pressure.take(time_s, snapshot.value(&Role::LinePressure));
        self.flow.take(time_s, flow);
        self.latest = Some((snapshot, flow));
    }

    /// Fraction of the run and bench time left, s.
    #[must_use]
    pub fn progress(&self) -> (f64, f64) {
        self.latest.as_ref().map_or((0.0, self.setup.seconds_from(1)), |(s, _)| {
            words::progress(&self.setup, s, s.at.since(self.step_began.1).as_secs_f64())
        })
    }

    /// What is known so far.
    #[must_use]
    pub fn snapshot(&self) -> Option<&Snapshot> {
        self.latest.as_ref().map(|(s, _)| s)
    }

    /// What was known before the run.
    #[must_use]
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// The screen.
    #[must_use]
    pub fn draw(&self, columns: usize, rows: usize) -> Frame {
        let mut frame = Frame::new(columns, rows);
        self.head(&mut frame);
        match &self.latest {
            None => frame.put(2, 1, "Waiting for the first readings.", Style::Plain),
            Some((snapshot, flow)) if columns >= FULL.0 && rows >= FULL.1 => {
                self.figures(&mut frame, snapshot, *flow);
                self.readings(&mut frame, snapshot);
                self.trends(&mut frame, snapshot);
                self.step(&mut frame, snapshot, 18);
            }
            Some((snapshot, flow)) => {
                self.small(&mut frame, snapshot, *flow);
                self.step(&mut frame, snapshot, 6);
            }
        }
        self.foot(&mut frame);
        frame
    }

    fn head(&self, frame: &mut Frame) {
        frame.bar(0, Style::Bar);
        let title = format!(" {} on {}", self.setup.scenario, self.setup.bench);
        frame.put(0, 0, &title, Style::Bar);
        let state = match self.snapshot() {
            Some(s) if self.frozen => format!("VIEW HELD at {} - bench goes on ", words::clock(s.at)),
            Some(s) => {
                let unit = if self.setup.hurried { " bench time" } else { "" };
                format!("{}  {}{unit} ", words::stage(s.stage), words::clock(s.at))
            }
            None => "OPENING ".into(),
        };
        frame.put_right(0, 0, &state, Style::Bar);
    }

    /// Pressure and flow in large digits, each with its name and unit.
    fn figures(&self, frame: &mut Frame, snapshot: &Snapshot, flow: Option<f64>) {
        let (ink, half) = (if self.blocks { '█' } else { '#' }, frame.columns() / 2);
        let pressure = snapshot.value(&Role::LinePressure);
        let old = snapshot
            .reading(&Role::LinePressure)
            .is_some_and(|r| snapshot.at.since(r.at).as_secs_f64() > OLD_S);
        let (kpa, ml_min) = (self.setup.units.shown("kPa"), self.setup.units.shown("mL/min"));
        let name = format!("line pressure, {}{}", kpa.unit, if old { " (old reading)" } else { "" });
        let columns = [
            (1, name, pressure.map(|p| p * kpa.factor), Style::First),
            (
                half + 1,
                format!("flow, {} (cup, last 3 s)", ml_min.unit),
                flow.map(|q| q * ml_min.factor),
                Style::Second,
            ),
        ];
        for (column, name, value, style) in columns {
            frame.put(2, column, &name, Style::Plain);
            let text = value.map_or_else(|| "--".to_owned(), large);
            for (i, row) in digits::block(&text, ink).iter().enumerate() {
                frame.put(3 + i, column, row, style);
            }
        }
    }

    /// Duty, boost, speed, supply, switch, cup, limits.
    fn readings(&self, frame: &mut Frame, s: &Snapshot) {
        let limits = self.setup.limits;
        let kpa = self.setup.units.shown("kPa");
        let value = |role: &Role| s.value(role);
        let text = |v: Option<f64>, decimals: usize, unit: &str| {
            v.map_or_else(|| "--".to_owned(), |v| format!("{v:.decimals$} {unit}"))
        };
        let boost = s.told(&Role::Boost).and_then(|v| self.setup.boost_kpa(v, value(&Role::AmbientPressure)));
        let duty = format!(
            "duty    {} set, {} read",
            text(s.told(&Role::PumpDuty), 1, "%"),
            text(value(&Role::Duty), 1, "%")
        );
        let car = format!(
            "boost {}   speed {}",
            text(boost.map(|p| p * kpa.factor), 1, kpa.unit),
            text(s.told(&Role::Rpm), 0, "rpm")
        );
        let state = |v: Option<f64>, on: &'static str, off: &'static str| {
            v.map_or("not read", |v| if v > 0.5 { on } else { off })
        };
        let switch =
            format!("switch  {}", state(value(&Role::Switch), "MADE (lamp lit)", "OPEN (lamp dark)"));
        let on = self.on_since.map_or_else(String::new, |since| {
            format!(" {:.0} of {:.0} s", s.at.since(since).as_secs_f64(), limits.on_time_s)
        });
        let pump = format!(
            "pump {}{on}   stop {}",
            state(value(&Role::OutputOn), "ON", "off"),
            state(value(&Role::EmergencyStop), "PRESSED", "released")
        );
        let half = frame.columns() / 2 + 1;
        frame.put(9, 1, &duty, Style::Plain);
        frame.put(9, half, &car, Style::Plain);
        frame.put(10, 1, &switch, Style::Strong);
        frame.put(10, half, &pump, Style::Plain);
        let width = frame.columns().saturating_sub(58).max(4);
        let bars = [
            (
                "line",
                value(&Role::LinePressure).map(|p| p * kpa.factor),
                limits.line_pressure_kpa * kpa.factor,
                kpa.unit,
            ),
            ("cup", value(&Role::CupMass), limits.cup_mass_g, "g"),
            ("supply", value(&Role::Supply), limits.supply_v.1, "V"),
        ];
        for (i, (name, value, limit, unit)) in bars.into_iter().enumerate() {
            let part = value.filter(|_| limit > 0.0).map(|v| v / limit);
            let near = part.is_some_and(|p| p >= NEAR) && name != "supply";
            let style = if near { Style::Warning } else { Style::Plain };
            let share = part.map_or_else(|| "  --".to_owned(), |p| format!("{:>3.0} %", 100.0 * p));
            let told = text(value, 1, unit);
            let line = format!(
                "{name:<7} {} {share} of limit  {told} of {} {unit}{}",
                gauge(part.unwrap_or(0.0), width, self.blocks),
                significant(limit, 4),
                if near { "  NEAR" } else { "" }
            );
            frame.put(11 + i, 1, &line, style);
        }
    }

    fn trends(&self, frame: &mut Frame, snapshot: &Snapshot) {
        let width = frame.columns().saturating_sub(37).max(4);
        let (kpa, ml_min) = (self.setup.units.shown("kPa"), self.setup.units.shown("mL/min"));
        let trends =
            [(&self.pressure, "pressure", kpa, Style::First), (&self.flow, "flow", ml_min, Style::Second)];
        for (i, (trend, name, shown, style)) in trends.into_iter().enumerate() {
            let row = 14 + 2 * i;
            let Some((low, high)) = trend.span() else {
                frame.put(row + 1, 1, name, Style::Plain);
                continue;
            };
            // A steady value is drawn as a steady line, not as its last digit.
            let span = (low, high.max(low + 0.02 * high.abs()));
            let columns = trend.columns(width, snapshot.at.as_s());
            let [upper, lower] = trend_rows(&columns, span, self.blocks);
            frame.put(row, 1, name, Style::Plain);
            frame.put(row, 11, &upper, style);
            frame.put(row + 1, 11, &lower, style);
            let figure = |v: f64| significant(v * shown.factor, 4);
            frame.put(row, 12 + width, &format!("{} {}", figure(high), shown.unit), Style::Plain);
            let since = words::span(trend.over_s);
            frame.put(row + 1, 12 + width, &format!("{} in {since}", figure(low)), Style::Plain);
        }
    }

    fn step(&self, frame: &mut Frame, snapshot: &Snapshot, row: usize) {
        let (part, left_s) = self.progress();
        let width = frame.columns().saturating_sub(42).min(60);
        let rest = if matches!(snapshot.stage, Stage::Ending | Stage::Ended) {
            String::new()
        } else {
            let unit = if self.setup.hurried { " of bench time" } else { "" };
            format!("about {}{unit} left", words::span(left_s))
        };
        let bar = gauge(part, width, self.blocks);
        frame.put(row, 1, &format!("{bar} {:>3.0} %  {rest}", 100.0 * part), Style::Plain);
        let label = format!(
            "step {} of {}: {}",
            snapshot.step,
            self.setup.steps.len(),
            words::label(&self.setup, snapshot.step)
        );
        frame.put(row + 1, 1, &label, Style::Plain);
        if let Some(next) = words::next(&self.setup, snapshot.step) {
            frame.put(row + 2, 1, &format!("then: {next}"), Style::Plain);
        }
        let columns = frame.columns();
        match &self.question {
            Some((question, typed)) => {
                put_folded(frame, row + 3, question, columns, Style::Strong);
                let cursor = if self.blocks { '▏' } else { '_' };
                let prompt = format!("> {typed}{cursor}");
                frame.put(frame.rows().saturating_sub(2), 1, &prompt, Style::Strong);
            }
            None => put_folded(frame, row + 3, &words::now(&self.setup, snapshot), columns, Style::Strong),
        }
    }

    fn small(&self, frame: &mut Frame, s: &Snapshot, flow: Option<f64>) {
        let (kpa, ml_min) = (self.setup.units.shown("kPa"), self.setup.units.shown("mL/min"));
        let line = |v: Option<f64>, factor: f64, unit: &str| {
            v.map_or_else(|| "--".to_owned(), |v| format!("{} {unit}", significant(v * factor, 4)))
        };
        let rows = [
            format!(
                "line {} of {:.0}",
                line(s.value(&Role::LinePressure), kpa.factor, kpa.unit),
                self.setup.limits.line_pressure_kpa * kpa.factor
            ),
            format!("flow {}", line(flow, ml_min.factor, ml_min.unit)),
            format!("duty {}", line(s.told(&Role::PumpDuty), 1.0, "% set")),
            format!(
                "cup  {} of {:.0}",
                line(s.value(&Role::CupMass), 1.0, "g"),
                self.setup.limits.cup_mass_g
            ),
        ];
        for (i, text) in rows.iter().enumerate() {
            frame.put(1 + i, 1, text, Style::Strong);
        }
    }

    fn foot(&self, frame: &mut Frame) {
        let row = frame.rows().saturating_sub(1);
        frame.bar(row, Style::Bar);
        let keys = if self.question.is_some() {
            " Enter answers   Esc STOPS the pump"
        } else {
            " ANY KEY STOPS the pump   F holds the view"
        };
        frame.put(row, 0, keys, Style::Bar);
        if frame.columns() >= FULL.0 {
            frame.put_right(row, 1, "in danger: emergency stop first", Style::Bar);
        }
    }
}

/// A value for large digits: five characters at most.
fn large(value: f64) -> String {
    if value.abs() < 999.95 { format!("{value:.1}") } else { format!("{value:.0}") }
}

/// Text over at most two rows, folded at blanks.
fn put_folded(frame: &mut Frame, row: usize, text: &str, columns: usize, style: Style) {
    let room = columns.saturating_sub(2);
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.len() - 1;
        if !lines[last].is_empty() && lines[last].chars().count() + 1 + word.chars().count() > room {
            lines.push(word.to_owned());
        } else {
            if !lines[last].is_empty() {
                lines[last].push(' ');
            }
            lines[last] += word;
        }
    }
    for (i, line) in lines.iter().take(2).enumerate() {
        frame.put(row + i, 1, line, style);
    }
}
