//! From the rig to exchanges.
//!
//! In: a checked rig and the number of an instrument in it. Out: what is asked, listened for and told, or every
//! problem of it. Channels with the same query and pattern share one exchange. Never: a wait, a byte on a wire.

use super::exchange::{Dialect, Identity, Listen, Poll, Reply, Tell};
use crate::problem::{Problem, Problems};
use crate::script::rig::{ChannelSpec, DialectSpec, ExchangeSpec, InstrumentSpec, Parity, RegisterKind, Rig};
use crate::script::role::Direction;
use crate::wire::modbus;
use crate::wire::number::DecimalMark;
use crate::wire::register::Kind;
use crate::wire::template;
use crate::wire::{scpi, uart};
use std::time::Duration;

/// An instrument's exchanges.
#[derive(Clone, Debug)]
pub(super) struct Compiled {
    pub(super) dialect: Dialect,
    pub(super) identity: Option<Identity>,
    pub(super) polls: Vec<Poll>,
    pub(super) listens: Vec<Listen>,
    pub(super) tells: Vec<Tell>,
    /// Time of one character on the line.
    pub(super) character: Duration,
}

/// Compiles the exchanges of instrument `index`.
///
/// # Errors
/// Everything the dialect cannot do.
pub(super) fn compile(index: usize, rig: &Rig) -> Result<Compiled, Problems> {
    let Some(spec) = rig.instruments.get(index) else {
        return Err(Problem::new(format!("the rig has no instrument number {index}")).into());
    };
    let port = &spec.port;
    let bits = uart::bits_per_character(port.data_bits, port.parity != Parity::None, port.stop_bits);
    let mut compiler = Compiler {
        spec,
        problems: Problems::default(),
        out: Compiled {
            dialect: dialect(spec),
            identity: None,
            polls: Vec::new(),
            listens: Vec::new(),
            tells: Vec::new(),
            character: uart::character_time(port.baud, bits),
        },
    };
    compiler.instrument();
    for (channel, spec) in rig.channels.iter().enumerate() {
        if spec.instrument == index {
            compiler.channel(channel, spec);
        }
    }
    compiler.counts();
    compiler.problems.into_result()?;
    Ok(compiler.out)
}

fn dialect(spec: &InstrumentSpec) -> Dialect {
    match &spec.dialect {
        DialectSpec::Scpi { check_errors } => Dialect::Lines {
            end: scpi::MESSAGE_END.to_vec(),
            mark: DecimalMark::Point,
            check_errors: *check_errors,
        },
        DialectSpec::Text { line_end, decimal_comma } => Dialect::Lines {
            end: line_end.as_bytes().to_vec(),
            mark: if *decimal_comma { DecimalMark::Comma } else { DecimalMark::Point },
            check_errors: false,
        },
        DialectSpec::Modbus { unit } => {
            Dialect::Modbus { unit: *unit, silence: uart::modbus_t3_5(spec.port.baud) }
        }
        DialectSpec::ByHand => Dialect::ByHand,
    }
}

pub(super) struct Compiler<'r> {
    pub(super) spec: &'r InstrumentSpec,
    pub(super) problems: Problems,
    pub(super) out: Compiled,
}

impl Compiler<'_> {
    pub(super) fn problem(&mut self, what: impl std::fmt::Display) -> &mut Problem {
        self.problems.push(Problem::new(format!("instrument {}: {what}", self.spec.name)));
        let last = self.problems.0.len() - 1;
        &mut self.problems.0[last]
    }

    fn instrument(&mut self) {
        if self.spec.reply_within.is_zero() && self.spec.dialect != DialectSpec::ByHand {
            self.problem("a reply may take no time at all").help = Some("give it at least a few ms".into());
        }
        match &self.spec.dialect {
            DialectSpec::Text { line_end, .. } if !["\r\n", "\n", "\r"].contains(&line_end.as_str()) => {
                let shown = line_end.escape_default().to_string();
                self.problem(format!("\"{shown}\" is not a line end")).expected =
                    Some("CR LF, LF or CR".into());
            }
            DialectSpec::Modbus { unit } if !modbus::UNITS.contains(unit) => {
                self.problem(format!("{unit} is not a unit address")).expected = Some("1 to 247".into());
            }
            _ => {}
        }
        let Some(identity) = &self.spec.identity else {
            return;
        };
        let Dialect::Lines { end, .. } = &self.out.dialect else {
            self.problem("this dialect has no identity query").help = Some("leave `identity` out".into());
            return;
        };
        let request = [identity.ask.as_bytes(), end].concat();
        if let Err(why) = template::check_plain(&identity.ask) {
            self.problem(format!("identity query: {why}"));
        } else if identity.expect.trim().is_empty() {
            self.problem("the text expected of the identity is empty");
        } else {
            let (shown, expect) = (identity.ask.clone(), identity.expect.clone());
            self.out.identity = Some(Identity { request, shown, expect, version: identity.version.clone() });
        }
    }

    fn channel(&mut self, channel: usize, spec: &ChannelSpec) {
        let role = &spec.role;
        if matches!(spec.exchange, ExchangeSpec::Fixed { .. }) && role.direction() == Direction::Read {
            return;
        }
        let (gain, offset) = (spec.scaling.gain, spec.scaling.offset);
        if !gain.is_finite() || gain.abs() < f64::MIN_POSITIVE || !offset.is_finite() {
            self.problem(format!("{role}: scaling {gain} x + {offset} cannot be inverted"));
        }
        let (low, high) = spec.range;
        if low.partial_cmp(&high) != Some(std::cmp::Ordering::Less) {
            self.problem(format!("{role}: the range {low} to {high} is empty"));
        }
        match (&spec.exchange, &self.out.dialect, role.direction()) {
            (ExchangeSpec::Ask { query, pattern, field }, Dialect::Lines { .. }, Direction::Read) => {
                self.ask(channel, spec, query, pattern.as_deref(), *field);
            }
            (ExchangeSpec::Listen { pattern, field }, Dialect::Lines { .. }, Direction::Read) => {
                self.listen(channel, spec, pattern, *field);
            }
            (ExchangeSpec::Tell { command, reply }, Dialect::Lines { .. }, Direction::Set) => {
                self.tell(channel, spec, command, reply.as_deref());
            }
            (ExchangeSpec::Register { function, address, kind }, Dialect::Modbus { .. }, direction) => {
                self.register(channel, spec, (*function, *address, kind_of(*kind)), direction);
            }
            (ExchangeSpec::Operator { question }, Dialect::ByHand, direction) => {
                self.operator(channel, spec, question, direction);
            }
            (exchange, _, direction) => {
                let words = exchange_words(exchange);
                let doing = if direction == Direction::Read { "read" } else { "set" };
                self.problem(format!("{role} cannot be {doing} by {words} in this dialect"));
            }
        }
    }

    /// Fixes how many numbers each SCPI answer has: as many as its channel list names, or as are used.
    fn counts(&mut self) {
        let mut wrong = Vec::new();
        for poll in &mut self.out.polls {
            let Reply::Fields(count) = &mut poll.reply else {
                continue;
            };
            let used = poll.targets.iter().map(|t| t.field + 1).max().unwrap_or(0);
            if *count == 0 {
                *count = used;
            } else if used > *count {
                wrong.push(format!(
                    "`{}` asks for {count} channels, and value number {} is wanted",
                    poll.shown,
                    used - 1
                ));
            }
        }
        for what in wrong {
            self.problem(what).help = Some("values are numbered from 0".into());
        }
    }
}

fn exchange_words(exchange: &ExchangeSpec) -> &'static str {
    match exchange {
        ExchangeSpec::Ask { .. } => "a query",
        ExchangeSpec::Listen { .. } => "listening",
        ExchangeSpec::Tell { .. } => "a command",
        ExchangeSpec::Register { .. } => "a register",
        ExchangeSpec::Operator { .. } => "a question",
        ExchangeSpec::Fixed { .. } => "a constant",
    }
}

fn kind_of(kind: RegisterKind) -> Kind {
    match kind {
        RegisterKind::U16 => Kind::U16,
        RegisterKind::I16 => Kind::I16,
        RegisterKind::I32 => Kind::I32,
        RegisterKind::F32 => Kind::F32,
        RegisterKind::F32Swapped => Kind::F32Swapped,
    }
}
