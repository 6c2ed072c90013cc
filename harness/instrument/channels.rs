//! From a channel of the rig to an exchange.
//!
//! In: one channel and the instrument that serves it. Out: a query, a pattern to listen for, or a setting; or its
//! problems. Never: two exchanges where one query serves both channels.

use super::by_hand::stated_unit;
use super::compile::Compiler;
use super::exchange::{Ack, Command, Dialect, Listen, Poll, Purpose, Reply, Target, Tell};
use crate::clock::Moment;
use crate::problem::nearest;
use crate::quantity::Dimension;
use crate::script::rig::{ChannelSpec, DialectSpec, InstrumentSpec};
use crate::script::role::{Direction, Role};
use crate::wire::modbus::Request;
use crate::wire::pattern::{Pattern, PatternProblem};
use crate::wire::register::Kind;
use crate::wire::scpi;
use crate::wire::template::{self, Template};
use std::time::Duration;

/// Longest question to the operator, bytes.
const QUESTION_BYTES_MAX: usize = 500;
/// What a command looks like, for messages.
const COMMAND_EXAMPLE: &str = "a command such as `D {value:.2}`";

impl Compiler<'_> {
    pub(super) fn ask(
        &mut self,
        channel: usize,
        spec: &ChannelSpec,
        query: &str,
        pattern: Option<&str>,
        field: usize,
    ) {
        let role = &spec.role;
        let is_scpi = matches!(self.spec.dialect, DialectSpec::Scpi { .. });
        if let Err(why) = template::check_plain(query) {
            self.problem(format!("{role}: query: {why}"));
            return;
        }
        self.check_period(spec);
        let reply = match pattern {
            Some(text) => match self.pattern(role, text, Some(field)) {
                Some(pattern) => Reply::Line(pattern),
                None => return,
            },
            None if is_scpi => Reply::Fields(scpi::channel_count(query).unwrap_or(0)),
            None => {
                self.problem(format!("{role}: the answer's pattern is missing")).expected =
                    Some("a pattern such as `P {value} {unit}`".into());
                return;
            }
        };
        let target = target(channel, field, spec, self.spec);
        let same = |p: &&mut Poll| p.shown == query && same_form(&p.reply, &reply);
        if let Some(poll) = self.out.polls.iter_mut().find(same) {
            poll.period = poll.period.min(spec.every);
            poll.targets.push(target);
            return;
        }
        let Dialect::Lines { end, .. } = &self.out.dialect else {
            return;
        };
        let request = [query.as_bytes(), end].concat();
        self.out.polls.push(poll(request, query, reply, target, spec.every));
    }

    pub(super) fn listen(&mut self, channel: usize, spec: &ChannelSpec, text: &str, field: usize) {
        if !matches!(self.spec.dialect, DialectSpec::Text { .. }) {
            self.problem(format!("{}: a SCPI instrument speaks only when asked", spec.role));
            return;
        }
        let Some(pattern) = self.pattern(&spec.role, text, Some(field)) else {
            return;
        };
        let target = target(channel, field, spec, self.spec);
        match self.out.listens.iter_mut().find(|l| l.pattern == pattern) {
            Some(listen) => listen.targets.push(target),
            None => self.out.listens.push(Listen { pattern, targets: vec![target], sequence: None }),
        }
    }

    pub(super) fn tell(&mut self, channel: usize, spec: &ChannelSpec, command: &str, reply: Option<&str>) {
        let Some(template) = self.template(spec, command) else {
            return;
        };
        let ack = match (reply, &self.out.dialect) {
            (Some(text), _) => match self.pattern(&spec.role, text, None) {
                Some(pattern) => Ack::Line(pattern),
                None => return,
            },
            (None, Dialect::Lines { check_errors: true, .. }) => Ack::ErrorQueue,
            (None, _) => Ack::None,
        };
        self.push_tell(channel, spec, Command::Line(template), ack);
    }

    pub(super) fn register(
        &mut self,
        channel: usize,
        spec: &ChannelSpec,
        (function, address, kind): (u8, u16, Kind),
        to: Direction,
    ) {
        let role = &spec.role;
        let count = kind.registers();
        if address.checked_add(count - 1).is_none() {
            self.problem(format!("{role}: register {address} is the last there is, and two are needed"));
        }
        match (function, to) {
            (3 | 4, Direction::Read) => {
                self.check_period(spec);
                let request = Request::Read { input: function == 4, address, count };
                let mut target = target(channel, 0, spec, self.spec);
                target.kind = kind;
                let same = |p: &&mut Poll| matches!(p.reply, Reply::Registers(r) if r == request);
                if let Some(poll) = self.out.polls.iter_mut().find(same) {
                    poll.period = poll.period.min(spec.every);
                    poll.targets.push(target);
                    return;
                }
                let Dialect::Modbus { unit, .. } = self.out.dialect else {
                    return;
                };
                let mut bytes = Vec::new();
                request.encode(unit, &mut bytes);
                let shown = format!("function {function}, register {address}");
                self.out.polls.push(poll(bytes, &shown, Reply::Registers(request), target, spec.every));
            }
            (6, Direction::Set) if count > 1 => {
                self.problem(format!("{role}: function 6 writes one register, the number takes two")).help =
                    Some("use function 16".into());
            }
            (6 | 16, Direction::Set) => {
                let command = Command::Register { single: function == 6, address, kind };
                let nothing = Request::Read { input: false, address, count };
                self.push_tell(channel, spec, command, Ack::Repeat(nothing));
            }
            _ => {
                let expected = if to == Direction::Read { "3 or 4 to read" } else { "6 or 16 to write" };
                self.problem(format!("{role}: function {function} does not fit")).expected =
                    Some(expected.into());
            }
        }
    }

    pub(super) fn operator(&mut self, channel: usize, spec: &ChannelSpec, question: &str, to: Direction) {
        let request = question.trim().to_owned();
        if request.is_empty() || request.len() > QUESTION_BYTES_MAX || request.contains(char::is_control) {
            self.problem(format!("{}: this is no question to ask a person", spec.role)).expected =
                Some(format!("one line of up to {QUESTION_BYTES_MAX} bytes"));
        } else if to == Direction::Set {
            // Manifold pressure is shown to the controller as a sensor's volts.
            let volts = spec.role == Role::Boost;
            let dimension = if volts { Dimension::Voltage } else { spec.role.dimension() };
            self.push_tell(channel, spec, Command::Person { request, dimension }, Ack::Person);
        } else {
            let mut target = target(channel, 0, spec, self.spec);
            match stated_unit(&request, target.dimension) {
                Ok(stated) => target.stated = stated,
                Err(word) => {
                    self.problem(format!("{}: [{word}] is no unit of it", spec.role)).expected =
                        Some(format!("the unit that the answer is in, as in [{}]", usual_unit(&target)));
                    return;
                }
            }
            // A person is asked when a step needs the reading, and only then.
            let poll = poll(Vec::new(), &request, Reply::Person, target, Duration::ZERO);
            self.out.polls.push(poll);
        }
    }

    fn push_tell(&mut self, channel: usize, spec: &ChannelSpec, command: Command, ack: Ack) {
        self.out.tells.push(Tell {
            channel,
            who: who(self.spec, spec),
            purpose: match spec.role {
                Role::Heartbeat => Purpose::Heartbeat,
                Role::SafeState => Purpose::SafeState,
                _ => Purpose::Setting,
            },
            command,
            ack,
            gain: spec.scaling.gain,
            offset: spec.scaling.offset,
            range: spec.range,
            queued: None,
            sent: 0.0,
            missed: 0,
        });
    }

    fn template(&mut self, spec: &ChannelSpec, text: &str) -> Option<Template> {
        match Template::parse(text) {
            Err(why) => {
                self.problem(format!("{}: {why}", spec.role)).expected = Some(COMMAND_EXAMPLE.into());
                None
            }
            Ok(template)
                if !template.has_value() && !matches!(spec.role, Role::Heartbeat | Role::SafeState) =>
            {
                self.problem(format!("{}: `{text}` has no place for the value", spec.role)).expected =
                    Some(COMMAND_EXAMPLE.into());
                None
            }
            Ok(template) => Some(template),
        }
    }

    fn pattern(&mut self, role: &Role, text: &str, field: Option<usize>) -> Option<Pattern> {
        let Dialect::Lines { mark, .. } = self.out.dialect else {
            return None;
        };
        match Pattern::parse(text, mark) {
            Err(why) => {
                let near = match &why {
                    PatternProblem::Field(name) => nearest(name, Pattern::fields()),
                    _ => None,
                };
                self.problem(format!("{role}: {why}")).help = near.map(|n| format!("did you mean {{{n}}}?"));
                None
            }
            Ok(pattern) if field.is_some_and(|f| f >= pattern.values()) => {
                let field = field.unwrap_or(0);
                self.problem(format!("{role}: `{text}` has no value number {field}")).help =
                    Some("values are numbered from 0".into());
                None
            }
            Ok(pattern) => Some(pattern),
        }
    }

    fn check_period(&mut self, spec: &ChannelSpec) {
        if spec.every.is_zero() {
            self.problem(format!("{}: a sample period of 0", spec.role)).expected =
                Some("a period such as \"20 ms\"".into());
        }
    }
}

fn same_form(a: &Reply, b: &Reply) -> bool {
    match (a, b) {
        (Reply::Fields(_), Reply::Fields(_)) => true,
        (Reply::Line(a), Reply::Line(b)) => a == b,
        _ => false,
    }
}

fn poll(request: Vec<u8>, shown: &str, reply: Reply, target: Target, period: Duration) -> Poll {
    let shown = shown.to_owned();
    Poll { request, shown, reply, targets: vec![target], period, due: Moment::START, sequence: None }
}

fn target(channel: usize, field: usize, spec: &ChannelSpec, instrument: &InstrumentSpec) -> Target {
    Target {
        channel,
        field,
        kind: Kind::U16,
        gain: spec.scaling.gain,
        offset: spec.scaling.offset,
        range: spec.range,
        delay: Duration::try_from_secs_f64(spec.delay_s).unwrap_or_default(),
        dimension: spec.role.dimension(),
        who: who(instrument, spec),
        unit: Vec::new(),
        stated: None,
        latched: None,
    }
}

/// The most usual unit of a target.
fn usual_unit(target: &Target) -> &'static str {
    let example = target.dimension.example();
    example.split_once(' ').map_or("", |(_, unit)| unit)
}

fn who(instrument: &InstrumentSpec, channel: &ChannelSpec) -> String {
    format!("{}, {}", instrument.name, channel.role)
}
