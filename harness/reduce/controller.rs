//! What a controller was seen to do: one observation a quantity and condition.
//!
//! In: nothing; the types that runs and files of points come to. Out: [`Observation`]s, which baselines, comparison
//! and maps work from. Never: a value where none was found (no edge is no value, not 0).

use crate::uncertainty::{Cause, Term};
use std::collections::BTreeMap;

/// Boosts closer than this are the same point, kPa.
const SAME_KPA: f64 = 0.1;
/// Sensor voltages closer than this are the same point, V.
const SAME_SENSOR_V: f64 = 0.004;
/// Engine speeds closer than this are the same point, rpm.
const SAME_RPM: f64 = 5.0;
/// Supplies closer than this are the same point, V.
const SAME_SUPPLY_V: f64 = 0.1;

/// What kind of thing was observed.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Steady value, the way it was approached not stated.
    Steady,
    /// Steady value, approached from below.
    SteadyUp,
    /// Steady value, approached from above.
    SteadyDown,
    /// Steady value at another supply, on the way up or down.
    Supply(Way),
    /// Value of an input (`boost`, `rpm`) at which the output steps.
    Edge(Way, String),
    /// Time from a step of the input to half the step of the output.
    Response(Way),
    /// Steady value during a fault: `open`, `short`, `tach_lost`, `power_cycle`, ...
    Fault(String),
    /// Steady value after that fault has gone.
    After(String),
    /// Time from power to half the steady output.
    Restart,
}

/// From below or from above.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Way {
    /// Rising input.
    Up,
    /// Falling input.
    Down,
}

impl Way {
    /// `up` or `down`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Way::Up => "up",
            Way::Down => "down",
        }
    }

    /// The way that a word names.
    #[must_use]
    pub fn parse(word: &str) -> Option<Self> {
        match word {
            "up" => Some(Way::Up),
            "down" => Some(Way::Down),
            _ => None,
        }
    }
}

impl Kind {
    /// The word of files: `steady_up`, `edge_down.boost`, `fault.open`.
    #[must_use]
    pub fn word(&self) -> String {
        match self {
            Kind::Steady => "steady".into(),
            Kind::SteadyUp => "steady_up".into(),
            Kind::SteadyDown => "steady_down".into(),
            Kind::Supply(way) => format!("supply_{}", way.word()),
            Kind::Edge(way, input) => format!("edge_{}.{input}", way.word()),
            Kind::Response(way) => format!("response_{}", way.word()),
            Kind::Fault(name) => format!("fault.{name}"),
            Kind::After(name) => format!("after.{name}"),
            Kind::Restart => "restart".into(),
        }
    }

    /// The kind that a word of a file names.
    #[must_use]
    pub fn parse(word: &str) -> Option<Self> {
        let (head, name) = word.split_once('.').unwrap_or((word, ""));
        let plain = match head {
            "steady" => Kind::Steady,
            "steady_up" => Kind::SteadyUp,
            "steady_down" => Kind::SteadyDown,
            "restart" => Kind::Restart,
            "fault" if !name.is_empty() => return Some(Kind::Fault(name.to_owned())),
            "after" if !name.is_empty() => return Some(Kind::After(name.to_owned())),
            _ => {
                let (what, way) = head.split_once('_')?;
                let way = Way::parse(way)?;
                match (what, name.is_empty()) {
                    ("supply", true) => Kind::Supply(way),
                    ("response", true) => Kind::Response(way),
                    ("edge", false) => return Some(Kind::Edge(way, name.to_owned())),
                    _ => return None,
                }
            }
        };
        name.is_empty().then_some(plain)
    }

    /// What is measured: values, inputs at edges, and times scatter differently.
    #[must_use]
    pub fn quantity(&self) -> Quantity {
        match self {
            Kind::Edge(_, input) => Quantity::Edge(input.clone()),
            Kind::Response(_) | Kind::Restart => Quantity::Time,
            _ => Quantity::Value,
        }
    }

    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Kind::Steady => "steady value".into(),
            Kind::SteadyUp => "steady, from below".into(),
            Kind::SteadyDown => "steady, from above".into(),
            Kind::Supply(way) => format!("over the supply, going {}", way.word()),
            Kind::Edge(Way::Up, input) => format!("steps at this {input}, from below"),
            Kind::Edge(Way::Down, input) => format!("steps at this {input}, from above"),
            Kind::Response(Way::Up) => "response to a step up".into(),
            Kind::Response(Way::Down) => "response to a step down".into(),
            Kind::Fault(name) => format!("during {}", name.replace('_', " ")),
            Kind::After(name) => format!("after {}", name.replace('_', " ")),
            Kind::Restart => "time from power to output".into(),
        }
    }
}

/// What a number of an observation is: the groups within which repeatability is pooled.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// A value of the output, in its unit.
    Value,
    /// A value of an input, by its name.
    Edge(String),
    /// A time, s.
    Time,
}

impl Quantity {
    /// The word of files.
    #[must_use]
    pub fn word(&self) -> String {
        match self {
            Quantity::Value => "value".into(),
            Quantity::Edge(input) => format!("edge.{input}"),
            Quantity::Time => "time".into(),
        }
    }
}

/// Under what inputs. What does not apply, or is not known, is none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct At {
    /// Boost as asked for, gauge kPa.
    pub boost_kpa: Option<f64>,
    /// Manifold sensor, V.
    pub boost_v: Option<f64>,
    /// Engine speed, rpm.
    pub rpm: Option<f64>,
    /// Supply as asked for, or as read where it was not asked for, V.
    pub supply_v: Option<f64>,
}

impl At {
    /// Whether both name the same point. Boost as asked for counts where both have it, else the sensor's voltage.
    #[must_use]
    pub fn same(&self, other: &At) -> bool {
        let near = |a: Option<f64>, b: Option<f64>, within: f64| match (a, b) {
            (Some(a), Some(b)) => (a - b).abs() <= within,
            (None, None) => true,
            _ => false,
        };
        let boost = match (self.boost_kpa, other.boost_kpa) {
            (Some(_), Some(_)) => near(self.boost_kpa, other.boost_kpa, SAME_KPA),
            _ => near(self.boost_v, other.boost_v, SAME_SENSOR_V),
        };
        boost && near(self.rpm, other.rpm, SAME_RPM) && near(self.supply_v, other.supply_v, SAME_SUPPLY_V)
    }

    /// In words: `55.2 kPa, 4000 rpm, 13.8 V`.
    #[must_use]
    pub fn words(&self) -> String {
        let boost = match (self.boost_kpa, self.boost_v) {
            (Some(kpa), _) => Some(format!("{kpa:.1} kPa")),
            (None, Some(v)) => Some(format!("sensor {v:.3} V")),
            _ => None,
        };
        let rpm = self.rpm.map(|r| format!("{r:.0} rpm"));
        let supply = self.supply_v.map(|v| format!("{v:.1} V"));
        [boost, rpm, supply].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

/// The value of an output, or of what it does, under one condition.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// Output, as roles name it: `duty_output.pump`; in files of points as written there.
    pub output: String,
    /// What kind.
    pub kind: Kind,
    /// Under what inputs.
    pub at: At,
    /// Mean of the repeats; none where an edge was looked for and there is none.
    pub value: Option<f64>,
    /// Unit of the value.
    pub unit: String,
    /// Number of repeats.
    pub repeats: u32,
    /// Sum of squared deviations of the repeats from their mean.
    pub squares: f64,
    /// Standard uncertainty that a second measurement with the same instruments shares.
    pub u_common: f64,
    /// Standard uncertainty that it does not share: resolution, width of a bracket.
    pub u_own: f64,
    /// How the value moves with the sensor voltage, per V, taken from its neighbours.
    pub per_boost_v: f64,
    /// How the value moves with the supply, per V.
    pub per_supply_v: f64,
    /// Supply as read, V.
    pub supply_read_v: Option<f64>,
}

impl Observation {
    /// What a second measurement with the same instruments shares.
    #[must_use]
    pub fn common(&self) -> Term {
        Term::known(Cause::Instruments, self.u_common)
    }

    /// What it does not share.
    #[must_use]
    pub fn own(&self) -> Term {
        Term::known(Cause::Resolution, self.u_own)
    }
}

impl Observation {
    /// Its name in verdicts: `duty_output.pump: steady, from below, at 55.2 kPa, 4000 rpm, 13.8 V`.
    #[must_use]
    pub fn words(&self) -> String {
        let at = self.at.words();
        let at = if at.is_empty() { at } else { format!(", at {at}") };
        format!("{}: {}{at}", self.output, self.kind.words())
    }
}

/// A repeated response time, for percentiles.
#[derive(Clone, Debug, PartialEq)]
pub struct Response {
    /// Output.
    pub output: String,
    /// Step up or down.
    pub way: Way,
    /// Times, latency taken out, increasing, s.
    pub times_s: Vec<f64>,
    /// Mean width of the bracket between two readings, s.
    pub bracket_s: f64,
    /// Standard uncertainty of the latency taken out, s.
    pub u_latency_s: f64,
}

/// Everything observed of a controller.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Observations {
    /// Observations in a fixed order.
    pub list: Vec<Observation>,
    /// Response times one by one, where a run has them.
    pub responses: Vec<Response>,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// Values gathered under a key, on the way to observations.
#[derive(Debug, Default)]
pub(super) struct Gather {
    keys: BTreeMap<(String, Kind), Vec<usize>>,
    found: Vec<(Observation, Vec<f64>)>,
}

impl Gather {
    /// Takes a value; it is a repeat where one under the same inputs is there already.
    pub(super) fn add(&mut self, empty: Observation) {
        let places = self.keys.entry((empty.output.clone(), empty.kind.clone())).or_default();
        let known = places.iter().copied().find(|i| self.found[*i].0.at.same(&empty.at));
        let index = known.unwrap_or_else(|| {
            places.push(self.found.len());
            self.found.push((empty.clone(), Vec::new()));
            self.found.len() - 1
        });
        self.found[index].1.extend(empty.value);
    }

    /// The observations, in the order in which they were first met.
    pub(super) fn finish(self) -> Vec<Observation> {
        let close = |(mut o, values): (Observation, Vec<f64>)| {
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            o.repeats = u32::try_from(values.len()).unwrap_or(u32::MAX);
            o.value = (n > 0.0).then_some(mean);
            o.squares = values.iter().map(|v| (v - mean).powi(2)).sum();
            o
        };
        self.found.into_iter().map(close).collect()
    }
}

/// An observation before it has a value.
pub(super) fn blank(output: &str, kind: Kind, at: At, unit: &str) -> Observation {
    Observation {
        output: output.to_owned(),
        kind,
        at,
        value: None,
        unit: unit.to_owned(),
        repeats: 0,
        squares: 0.0,
        u_common: 0.0,
        u_own: 0.0,
        per_boost_v: 0.0,
        per_supply_v: 0.0,
        supply_read_v: None,
    }
}
