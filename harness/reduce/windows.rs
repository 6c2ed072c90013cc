//! Windows of the record: collections and rests, cut out of the streams of samples and events.
//!
//! In: events and rows in the order of the files. Out: a [`Window`] for each collection, a [`Rest`] for each weighing
//! at rest. In memory: the scale's readings of what is open, bins for the rest.
//! A window stays open a moment after its end, because rows may be written a little out of order.
//! Never: a reading outside its window, or a window closed without a word about why it is void.

use super::bins::Bins;
use super::spans::Trace;
use crate::record::{Event, SampleRow};
use crate::script::role::Role;

/// How long a window waits for readings that are written late, s.
const LATE_S: f64 = 0.5;
/// Roles that a collection needs besides the scale.
const USED: [Role; 7] = [
    Role::LinePressure,
    Role::BackPressure,
    Role::AmbientPressure,
    Role::Supply,
    Role::SupplySet,
    Role::Duty,
    Role::WaterTemperature,
];
/// A gap in the readings that voids a collection, s.
const GAP_MAX_S: f64 = 0.2;

/// A collection as recorded.
#[derive(Clone, Debug)]
pub struct Window {
    /// Step of the plan.
    pub step: u32,
    /// Repeat from 1.
    pub repeat: u32,
    /// Nozzle or nozzles.
    pub nozzle: String,
    /// Commanded duty, %.
    pub duty_set_pct: Option<f64>,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// The scale.
    pub cup: Trace,
    /// The roles that a collection needs, each with its readings.
    roles: Vec<(Role, Bins)>,
    /// Square root of the pressure across the nozzle, sqrt(kPa).
    pub root: Bins,
    /// Why it is void.
    pub void: Option<String>,
    /// What is worth knowing.
    pub notes: Vec<String>,
    /// Weighed by hand before and after, with the time it took, s; none where the scale was read all the while.
    pub weighed_s: Option<f64>,
}

impl Window {
    /// The readings of a role.
    #[must_use]
    pub fn bins(&self, role: &Role) -> Option<&Bins> {
        self.roles.iter().find(|(r, _)| r == role).map(|(_, bins)| bins)
    }
}

/// The cup at rest.
#[derive(Clone, Debug)]
pub struct Rest {
    /// Before the collection, or after it.
    pub before: bool,
    /// Step of the collection it belongs to.
    pub collection: u32,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// The scale.
    pub cup: Trace,
}

/// Something cut out of the record.
#[derive(Debug)]
pub enum Cut {
    /// A collection.
    Window(Box<Window>),
    /// A weighing at rest.
    Rest(Rest),
    /// The duty of the pump was set: time, %.
    Pump(f64, f64),
}

/// What is open.
enum Open {
    Window(Box<Window>),
    Rest(Rest),
}

impl Open {
    fn end_s(&self) -> f64 {
        match self {
            Open::Window(w) => w.end_s,
            Open::Rest(r) => r.end_s,
        }
    }

    fn end_at(&mut self, time_s: f64) {
        match self {
            Open::Window(w) => w.end_s = time_s,
            Open::Rest(r) => r.end_s = time_s,
        }
    }
}

/// Cuts windows out of a record.
pub struct Cutter {
    /// Columns that a collection needs.
    used: Vec<(usize, Role)>,
    /// Columns of scale and line pressure.
    cup: Option<usize>,
    line: Option<usize>,
    open: Vec<Open>,
    /// Column of the back pressure, and its last reading, kPa.
    back: Option<usize>,
    back_kpa: f64,
    not_settled: Option<String>,
    pump: Option<(f64, f64)>,
}

impl Cutter {
    /// A cutter for a record with these columns.
    #[must_use]
    pub fn new(columns: &[Role]) -> Self {
        let column = |role: Role| columns.iter().position(|r| *r == role);
        Cutter {
            used: columns.iter().cloned().enumerate().filter(|(_, role)| USED.contains(role)).collect(),
            cup: column(Role::CupMass),
            line: column(Role::LinePressure),
            open: Vec::new(),
            back: column(Role::BackPressure),
            back_kpa: 0.0,
            not_settled: None,
            pump: None,
        }
    }

    /// Takes an event; whatever it tells of the pump goes to `out`.
    pub fn event(&mut self, event: &Event, out: &mut impl FnMut(Cut)) {
        match event.kind.as_str() {
            "set" => {
                if let Some(duty) = event.number("pump_duty") {
                    self.pump = Some((event.time_s, duty));
                    out(Cut::Pump(event.time_s, duty));
                }
            }
            "not_settled" => {
                let role = event.get("role").unwrap_or("a reading");
                self.not_settled = Some(format!("{role} had not settled"));
            }
            "settled" => self.not_settled = None,
            "collect_start" => self.start_window(event),
            "collect_end" => self.end_window(event),
            "rest_start" => self.open.push(Open::Rest(Rest {
                before: event.get("which") != Some("after"),
                collection: event.get("collection").and_then(|c| c.parse().ok()).unwrap_or(event.step),
                start_s: event.time_s,
                end_s: f64::INFINITY,
                cup: Trace::default(),
            })),
            "rest_end" => self.end(event.time_s, |o| matches!(o, Open::Rest(_))),
            "void" => self.void(event.get("reason").unwrap_or("without a reason")),
            "gap" if event.number("seconds").is_some_and(|s| s > GAP_MAX_S) => {
                self.void(&format!("a gap of {} s in the readings", event.get("seconds").unwrap_or("?")));
            }
            // What was going on when the run ended early comes again; nothing of it goes on over the pause.
            "resumed" => {
                self.void("the run was interrupted within it");
                self.end(event.time_s, |_| true);
                (self.not_settled, self.pump) = (None, None);
            }
            "fault" => self.void(&format!("a fault: {}", event.detail)),
            _ => {}
        }
    }

    fn start_window(&mut self, event: &Event) {
        let on = self.pump.filter(|(_, duty)| *duty > 0.0);
        self.open.push(Open::Window(Box::new(Window {
            step: event.step,
            repeat: event.get("repeat").and_then(|r| r.parse().ok()).unwrap_or(1),
            nozzle: event.get("nozzle").filter(|n| !n.is_empty()).unwrap_or("A").to_owned(),
            duty_set_pct: event.number("duty_set_pct").or(on.map(|(_, duty)| duty)),
            start_s: event.time_s,
            end_s: f64::INFINITY,
            cup: Trace::default(),
            roles: self.used.iter().map(|(_, role)| (role.clone(), Bins::new(event.time_s))).collect(),
            root: Bins::new(event.time_s),
            void: None,
            notes: self.not_settled.take().into_iter().collect(),
            weighed_s: (event.get("weighed") == Some("by_hand")).then_some(0.0),
        })));
    }

    fn end_window(&mut self, event: &Event) {
        if event.get("reason") == Some("void") {
            self.void(event.get("why").unwrap_or("ended void"));
        }
        for open in &mut self.open {
            if let Open::Window(w) = open
                && w.end_s == f64::INFINITY
                && let Some(seconds) = &mut w.weighed_s
            {
                *seconds = event.number("seconds").unwrap_or(event.time_s - w.start_s);
                if event.get("timed_by") == Some("stopwatch") {
                    w.notes.push(String::from("timed with a stopwatch"));
                }
            }
        }
        self.end(event.time_s, |o| matches!(o, Open::Window(_)));
    }

    /// Ends what is open and fits.
    fn end(&mut self, time_s: f64, which: impl Fn(&Open) -> bool) {
        for open in self.open.iter_mut().filter(|o| o.end_s() == f64::INFINITY && which(o)) {
            open.end_at(time_s);
        }
    }

    fn void(&mut self, reason: &str) {
        for open in &mut self.open {
            if let Open::Window(w) = open
                && w.end_s == f64::INFINITY
            {
                w.void.get_or_insert_with(|| reason.to_owned());
            }
        }
    }

    /// Takes a row; what is over goes to `out`.
    pub fn row(&mut self, row: &SampleRow<'_>, out: &mut impl FnMut(Cut)) {
        self.close(row.time_s - LATE_S, out);
        if let Some(back_kpa) = self.back.and_then(|column| row.get(column)) {
            self.back_kpa = back_kpa;
        }
        let line_kpa = self.line.and_then(|column| row.get(column));
        let root = line_kpa.map(|kpa| (kpa - self.back_kpa).max(0.0).sqrt());
        let cup_g = self.cup.and_then(|column| row.get(column));
        for open in &mut self.open {
            match open {
                Open::Window(w) if (w.start_s..=w.end_s).contains(&row.time_s) => {
                    cup_g.into_iter().for_each(|g| w.cup.add(row.time_s, g));
                    root.into_iter().for_each(|r| w.root.add(row.time_s, r));
                    for ((column, _), (_, bins)) in self.used.iter().zip(&mut w.roles) {
                        row.get(*column).into_iter().for_each(|v| bins.add(row.time_s, v));
                    }
                }
                Open::Rest(r) if (r.start_s..=r.end_s).contains(&row.time_s) => {
                    cup_g.into_iter().for_each(|g| r.cup.add(row.time_s, g));
                }
                _ => {}
            }
        }
    }

    /// Hands on what ended before `before_s`.
    fn close(&mut self, before_s: f64, out: &mut impl FnMut(Cut)) {
        let mut i = 0;
        while i < self.open.len() {
            if self.open[i].end_s() >= before_s {
                i += 1;
                continue;
            }
            out(match self.open.remove(i) {
                Open::Window(w) => Cut::Window(w),
                Open::Rest(r) => Cut::Rest(r),
            });
        }
    }

    /// Ends everything, at the end of the record: what is still open then was cut short.
    pub fn finish(&mut self, time_s: f64, out: &mut impl FnMut(Cut)) {
        self.void("the record ends within it");
        self.end(time_s, |_| true);
        self.close(f64::INFINITY, out);
    }
}
