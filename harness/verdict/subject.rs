//! What a measurement found of one item, before it is judged, with the limits that the rig or custom brings along.

use super::catalogue::Entry;
use super::item::Verdict;
use crate::numerics::conformity::Zone;
use crate::uncertainty::Uncertain;

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// A value with U at 95 % and its effective degrees of freedom; none for infinite.
    Value {
        /// The value.
        value: f64,
        /// U.
        u95: f64,
        /// Degrees of freedom.
        dof: Option<f64>,
    },
    /// A count: without uncertainty.
    Count(u32),
    /// A value whose scatter is not known, and why.
    Alone(f64, String),
    /// The value lies above (below) the range gone through, whose end is known with U.
    Beyond {
        /// Above the range, not below.
        above: bool,
        /// The end of the range.
        end: f64,
        /// U of it.
        u95: f64,
        /// In words.
        why: String,
    },
    /// No value, yet the answer is no whatever the limit is.
    Failed(String),
    /// No value, and no fault of the bench: cannot be decided.
    Open(String),
    /// There is nothing to be had from this run.
    Nothing(String),
    /// No value because the bench failed.
    Missing(String),
}

impl From<&Uncertain> for Found {
    fn from(found: &Uncertain) -> Self {
        Found::Value { value: found.value, u95: found.u95, dof: found.dof_written() }
    }
}

/// What would make an uncertainty smaller, so that a note can say it.
#[derive(Clone, Debug, PartialEq)]
pub struct Effort {
    /// What can be repeated, in words and in the plural: `cycles`, `collections`.
    pub repeats: String,
    /// How many there were.
    pub done: u32,
    /// Standard uncertainty that falls with the square root of their number.
    pub u_random: f64,
    /// Standard uncertainty that does not.
    pub u_systematic: f64,
    /// What the systematic part comes from, in words: `gauge`, `scale`.
    pub from: String,
}

/// Limits that a measurement brings along.
#[derive(Clone, Debug, PartialEq)]
pub enum Own {
    /// None.
    None,
    /// The rig states them: they hold beside the scenario's.
    Rig(Zone),
    /// Custom, with its words: they hold where nobody states any.
    Customary(Zone, &'static str),
}

/// What a measurement found of one item.
#[derive(Clone, Debug)]
pub struct Subject {
    /// The item's row.
    pub entry: &'static Entry,
    /// Id: that of the row, or a member's.
    pub id: String,
    /// In words.
    pub quantity: String,
    /// What was found.
    pub found: Found,
    /// Limits of the rig or of custom.
    pub own: Own,
    /// How more measuring would help.
    pub effort: Option<Effort>,
    /// Words before the note, by what it came to.
    pub lead: Option<fn(Verdict) -> &'static str>,
    /// Words behind the note: conditions, parts of U.
    pub context: String,
}

impl Subject {
    /// What was found of an item.
    #[must_use]
    pub fn new(entry: &'static Entry, found: Found) -> Self {
        Self {
            entry,
            id: entry.id.to_owned(),
            quantity: entry.meaning.to_owned(),
            found,
            own: Own::None,
            effort: None,
            lead: None,
            context: String::new(),
        }
    }

    /// A member of the row: `name` goes behind its id.
    #[must_use]
    pub fn member(mut self, name: &str) -> Self {
        self.id = format!("{}.{name}", self.entry.id);
        self
    }

    /// Says the quantity more closely.
    #[must_use]
    pub fn words(mut self, quantity: impl Into<String>) -> Self {
        self.quantity = quantity.into();
        self
    }

    /// Adds limits of the rig; none where it states none.
    #[must_use]
    pub fn rig(mut self, limits: Option<Zone>) -> Self {
        self.own = limits.map_or(Own::None, Own::Rig);
        self
    }

    /// Adds a limit of custom.
    #[must_use]
    pub fn customary(mut self, limits: Zone, words: &'static str) -> Self {
        self.own = Own::Customary(limits, words);
        self
    }

    /// Adds words behind the note.
    #[must_use]
    pub fn context(mut self, words: impl Into<String>) -> Self {
        self.context = words.into();
        self
    }

    /// The zone that holds where a scenario states `stated`, and words on where it comes from.
    #[must_use]
    pub fn limits(&self, stated: Zone) -> (Zone, Option<String>) {
        let unit = self.entry.unit;
        match &self.own {
            Own::None => (stated, None),
            Own::Rig(rig) if stated == Zone::default() => (*rig, None),
            Own::Rig(rig) => {
                let said = format!(
                    "limits of the rig ({}) and of the scenario ({}): the tighter holds",
                    zone_words(*rig, unit),
                    zone_words(stated, unit)
                );
                (tighter(*rig, stated), Some(said))
            }
            Own::Customary(custom, words) if stated == Zone::default() => {
                (*custom, Some(format!("limit: {words}")))
            }
            Own::Customary(..) => (stated, None),
        }
    }
}

/// What lies in both zones.
#[must_use]
pub fn tighter(a: Zone, b: Zone) -> Zone {
    let both = |a: Option<f64>, b: Option<f64>, pick: fn(f64, f64) -> f64| match (a, b) {
        (Some(a), Some(b)) => Some(pick(a, b)),
        (one, other) => one.or(other),
    };
    Zone { lower: both(a.lower, b.lower, f64::max), upper: both(a.upper, b.upper, f64::min) }
}

/// Limits in words: `186 to 227 kPa`, `at most 3 %`.
fn zone_words(zone: Zone, unit: &str) -> String {
    use super::decide::quantity;
    match (zone.lower, zone.upper) {
        (Some(low), Some(high)) => format!("{} to {}", quantity(low, ""), quantity(high, unit)),
        (Some(low), None) => format!("at least {}", quantity(low, unit)),
        (None, Some(high)) => format!("at most {}", quantity(high, unit)),
        (None, None) => "none".into(),
    }
}
