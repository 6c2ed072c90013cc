//! One channel: role, exchange, scaling, range, uncertainty.
//!
//! In: checked fields. Out: a [`ChannelSpec`], or problems. Never: an exchange that the instrument's dialect does not
//! have, a scaling of zero gain, or a role set by a query.

use super::Tell;
use super::sections::{bound, duration, pair_of};
use crate::problem::{Problem, nearest};
use crate::quantity::{Dimension, find_unit, units_of};
use crate::script::rig::{
    ChannelSpec, DialectSpec, EngineSpec, ExchangeSpec, InstrumentSpec, ReadingUncertainty, RegisterKind,
    Scaling,
};
use crate::script::role::{Direction, Role};
use crate::script::shape::value::{Fields, Item};

/// The ways a value crosses the wire; a channel has exactly one.
const EXCHANGES: &[&str] = &["ask", "listen", "tell", "register", "operator", "fixed"];

/// Decodes a channel; none where something is wrong that has been told.
pub(super) fn channel(
    item: &Item,
    instruments: &[InstrumentSpec],
    engine: &EngineSpec,
    tell: &mut Tell<'_>,
) -> Option<ChannelSpec> {
    let fields = item.fields();
    let role = fields.item("role").role().clone();
    let instrument = instrument(fields, instruments, tell)?;
    let way = way(item, tell)?;
    fits(fields, way, &role, &instruments[instrument], tell);
    let scaling = scaling(item, &role, way, engine, tell)?;
    Some(ChannelSpec {
        exchange: exchange(fields, way),
        instrument,
        scaling,
        range: range(item, &role, tell)?,
        every: duration(fields, "every"),
        delay_s: fields.number("delay"),
        uncertainty: uncertainty(fields.fields("uncertainty")),
        calibrated: calibrated(fields),
        role,
    })
}

fn instrument(fields: &Fields, instruments: &[InstrumentSpec], tell: &mut Tell<'_>) -> Option<usize> {
    let name = fields.text("instrument");
    let found = instruments.iter().position(|i| i.name == name);
    if found.is_none() {
        let names: Vec<&str> = instruments.iter().map(|i| i.name.as_str()).collect();
        let what = format!(
            "the channel {} names the instrument \"{name}\", which this rig does not have",
            fields.text("role")
        );
        let mut problem =
            Problem::new(what).expected(format!("one of its instruments: {}", names.join(", ")));
        problem.help = nearest(&name, names).map(|near| format!("did you mean \"{near}\"?"));
        tell(fields.item("instrument"), problem);
    }
    found
}

/// The one way the channel has.
fn way(item: &Item, tell: &mut Tell<'_>) -> Option<&'static str> {
    let fields = item.fields();
    let ways: Vec<&'static str> = EXCHANGES.iter().copied().filter(|w| fields.get(w).is_some()).collect();
    if let [way] = ways.as_slice() {
        return Some(way);
    }
    let role = fields.text("role");
    let what = match ways.as_slice() {
        [] => format!("the channel {role} does not say how its value is had"),
        several => format!("the channel {role} has {}", several.join(" and ")),
    };
    tell(item, Problem::new(what).expected(format!("exactly one of {}", EXCHANGES.join(", "))));
    None
}

/// Whether the way fits the role's direction and the instrument's dialect.
fn fits(fields: &Fields, way: &'static str, role: &Role, on: &InstrumentSpec, tell: &mut Tell<'_>) {
    let item = fields.item(way);
    let dialect = match on.dialect {
        DialectSpec::Scpi { .. } => "scpi",
        DialectSpec::Text { .. } => "text",
        DialectSpec::Modbus { .. } => "modbus",
        DialectSpec::ByHand => "by_hand",
    };
    let dialects: &[&str] = match way {
        "ask" | "tell" => &["scpi", "text"],
        "listen" => &["text"],
        "register" => &["modbus"],
        "operator" => &["by_hand"],
        _ => &["scpi", "text", "modbus", "by_hand"],
    };
    if !dialects.contains(&dialect) {
        let what = format!("`{way}` does not go with the instrument {}, whose dialect is {dialect}", on.name);
        tell(
            item,
            Problem::new(what).expected(format!("an instrument that speaks {}", dialects.join(" or "))),
        );
    }
    let write = way == "register" && matches!(item.fields().whole("function"), 6 | 16);
    let sets = write || way == "tell";
    let either = way == "operator";
    if !either && sets != (role.direction() == Direction::Set) {
        let (is, by) = match role.direction() {
            Direction::Set => ("set", "tell, a register with function 6 or 16, or operator"),
            Direction::Read => ("read", "ask, listen, a register with function 3 or 4, operator or fixed"),
        };
        let problem = Problem::new(format!("{role} is {is}; `{way}` does not do that"));
        tell(item, problem.expected(by));
    }
    match way {
        "register" if !matches!(item.fields().whole("function"), 3 | 4 | 6 | 16) => tell(
            item.fields().item("function"),
            Problem::new("a function code we do not have").expected("3 or 4 to read, 6 or 16 to write"),
        ),
        "ask" => ask(item.fields(), dialect, tell),
        "listen" => pattern(item.fields(), "pattern", tell),
        "tell" => command(item.fields(), role, dialect, tell),
        _ => {}
    }
}

fn ask(fields: &Fields, dialect: &str, tell: &mut Tell<'_>) {
    match (fields.get("pattern"), dialect) {
        (None, "text") => tell(
            fields.item("query"),
            Problem::new("`pattern` is missing: plain text needs the form of the answer")
                .expected("such as `pattern: \"S duty={value} on={value}\"`"),
        ),
        (Some(item), "scpi") => tell(
            item,
            Problem::new("a SCPI answer has no pattern").help("leave it out; `field` picks a value"),
        ),
        (Some(_), _) => pattern(fields, "pattern", tell),
        _ => {}
    }
}

/// A pattern must hold the value that is taken from it.
fn pattern(fields: &Fields, name: &str, tell: &mut Tell<'_>) {
    let item = fields.item(name);
    let values = item.text.matches("{value}").count();
    let field = fields.whole("field");
    if field >= values {
        let what = format!("value {field} is taken from a pattern with {values} of them");
        tell(item, Problem::new(what).expected("{value} for each value, counted from 0"));
    }
}

/// A command must hold the value it sets; the heartbeat has none.
fn command(fields: &Fields, role: &Role, dialect: &str, tell: &mut Tell<'_>) {
    let item = fields.item("command");
    let holds = item.text.contains("{value");
    if holds == (*role == Role::Heartbeat) {
        let what = if holds { "a heartbeat has no value" } else { "the command does not say what it sets" };
        let expected =
            if holds { "the command alone" } else { "{value}, {value:.N} or {value:ON|OFF} in it" };
        tell(item, Problem::new(what).expected(expected));
    }
    if let Some(reply) = fields.get("reply").filter(|_| dialect == "scpi") {
        let problem = Problem::new("a SCPI command is not answered");
        tell(
            reply,
            problem.help("leave `reply` out; `check_errors` of the instrument reads the error queue"),
        );
    }
}

fn exchange(fields: &Fields, way: &str) -> ExchangeSpec {
    let item = fields.item(way);
    match way {
        "ask" => ExchangeSpec::Ask {
            query: item.fields().text("query"),
            pattern: item.fields().maybe_text("pattern"),
            field: item.fields().whole("field"),
        },
        "listen" => ExchangeSpec::Listen {
            pattern: item.fields().text("pattern"),
            field: item.fields().whole("field"),
        },
        "tell" => ExchangeSpec::Tell {
            command: item.fields().text("command"),
            reply: item.fields().maybe_text("reply"),
        },
        "register" => ExchangeSpec::Register {
            function: item.fields().number("function") as u8,
            address: item.fields().number("address") as u16,
            kind: match item.fields().word("kind") {
                "u16" => RegisterKind::U16,
                "i16" => RegisterKind::I16,
                "i32" => RegisterKind::I32,
                "f32" => RegisterKind::F32,
                _ => RegisterKind::F32Swapped,
            },
        },
        "operator" => ExchangeSpec::Operator { question: item.text.clone() },
        _ => ExchangeSpec::Fixed { value: item.number() },
    }
}

/// Scaling from the instrument's number to the role's unit (volts for boost).
fn scaling(item: &Item, role: &Role, way: &str, engine: &EngineSpec, tell: &mut Tell<'_>) -> Option<Scaling> {
    let fields = item.fields();
    let identity = Scaling { gain: 1.0, offset: 0.0 };
    let dimension = wire_dimension(role);
    match (fields.get("unit"), fields.get("points")) {
        (Some(unit), None) => by_unit(unit, role, dimension, engine, tell),
        (None, Some(points)) => by_points(points, tell),
        (None, None) if dimension == Dimension::Switch || way == "fixed" || way == "operator" => {
            Some(identity)
        }
        (unit, _) => {
            let what = match unit {
                None => format!("the channel {role} does not say what its numbers are"),
                Some(_) => format!("the channel {role} has a unit and a scaling by points"),
            };
            let example = dimension.internal_unit().trim_end_matches(" abs");
            let expected =
                format!("either `unit: {example}` or `points: [{{reads: 0.5, is: ...}}, {{...}}]`");
            tell(item, Problem::new(what).expected(expected));
            None
        }
    }
}

/// What crosses the wire for a role.
fn wire_dimension(role: &Role) -> Dimension {
    match role {
        Role::Boost => Dimension::Voltage,
        role => role.dimension(),
    }
}

fn by_unit(
    item: &Item,
    role: &Role,
    dimension: Dimension,
    engine: &EngineSpec,
    tell: &mut Tell<'_>,
) -> Option<Scaling> {
    if *role == Role::Rpm && find_unit(&item.text, Dimension::Frequency).is_some_and(|u| u.symbol == "Hz") {
        // Pulses per second to revolutions per minute.
        return Some(Scaling { gain: 60.0 / engine.pulses_per_rev, offset: 0.0 });
    }
    let Some(unit) = find_unit(item.text.trim_end_matches(" abs"), dimension) else {
        let units: Vec<&str> = units_of(dimension).map(|u| u.symbol).collect();
        let problem = Problem::new(format!("\"{}\" is not a unit of {role}", item.text));
        tell(item, problem.expected(format!("one of {}", units.join(", "))));
        return None;
    };
    let offset = unit.to_internal(0.0);
    Some(Scaling { gain: unit.difference_to_internal(1.0), offset })
}

fn by_points(item: &Item, tell: &mut Tell<'_>) -> Option<Scaling> {
    let point = |i: usize| {
        let fields = item.list()[i].fields();
        (fields.number("reads"), fields.number("is"))
    };
    let ((x0, y0), (x1, y1)) = (point(0), point(1));
    let gain = (y1 - y0) / (x1 - x0);
    if !gain.is_finite() || gain == 0.0 {
        let problem = Problem::new("the two points do not make a scaling");
        tell(item, problem.expected("two different readings with two different meanings"));
        return None;
    }
    Some(Scaling { gain, offset: y0 - gain * x0 })
}

fn range(item: &Item, role: &Role, tell: &mut Tell<'_>) -> Option<(f64, f64)> {
    let fields = item.fields();
    if fields.get("range").is_some() {
        return Some(pair_of(fields, "range", tell));
    }
    if role.dimension() == Dimension::Switch {
        return Some((0.0, 1.0));
    }
    if let Some(value) = fields.maybe("fixed") {
        return Some((value, value));
    }
    let example = wire_dimension(role).example();
    let problem = Problem::new(format!("`range` is missing for the channel {role}"));
    tell(item, problem.expected(format!("what it may read or be set to, such as `[..., {example}]`")));
    None
}

fn uncertainty(fields: &Fields) -> ReadingUncertainty {
    ReadingUncertainty {
        zero: bound(fields.get("zero"), 1.0),
        gain: bound(fields.get("gain"), 0.01),
        resolution: fields.maybe("resolution").unwrap_or(0.0),
    }
}

/// Calibration date and certificate in one line.
fn calibrated(fields: &Fields) -> Option<String> {
    let date = fields.maybe_text("calibrated")?;
    Some(match fields.maybe_text("certificate") {
        Some(certificate) => format!("{date}, {certificate}"),
        None => date,
    })
}
