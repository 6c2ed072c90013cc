//! Things that go wrong on the bench at a time the section gives.
//!
//! In: what and when. Out: the part concerned, changed. Never: a fault of the wire; those are wrapped around the
//! byte streams, outside.

use super::bench::Bench;
use super::config::{Mishap, MishapKind};
use super::devices::{Gauge, ScaleState};
use crate::clock::Moment;
use std::time::Duration;

/// How long a knock lasts.
const KNOCK: Duration = Duration::from_millis(300);

/// A knock, g.
const KNOCK_G: f64 = 40.0;

/// Flow out of a burst hose, mL/s per kPa.
const BURST: f64 = 5.0;

/// The list, soonest first.
#[derive(Clone, Debug)]
pub(super) struct Mishaps {
    list: Vec<(Moment, Event)>,
}

#[derive(Clone, Copy, Debug)]
enum Event {
    Begins(MishapKind),
    KnockEnds,
}

impl Mishaps {
    pub(super) fn new(mishaps: &[Mishap]) -> Self {
        let mut list: Vec<_> =
            mishaps.iter().map(|m| (Moment::from_s(m.at_s), Event::Begins(m.what))).collect();
        list.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
        Mishaps { list }
    }

    /// When the next one happens.
    pub(super) fn next(&self) -> Moment {
        self.list.last().map_or(Moment::NEVER, |(at, _)| *at)
    }

    fn add(&mut self, at: Moment, event: Event) {
        let place = self.list.partition_point(|(other, _)| *other > at);
        self.list.insert(place, (at, event));
    }
}

/// The next mishap happens, the plant brought to `now`.
pub(super) fn happen(bench: &mut Bench, now: Moment) {
    let Some((_, event)) = bench.mishaps.list.pop() else {
        return;
    };
    let kind = match event {
        Event::KnockEnds => {
            bench.plant.cup.knock_g = 0.0;
            return;
        }
        Event::Begins(kind) => kind,
    };
    match kind {
        MishapKind::EmergencyStopPressed => bench.driver.press(true, &mut bench.plant, now),
        MishapKind::EmergencyStopReleased => bench.driver.press(false, &mut bench.plant, now),
        MishapKind::GaugeOpen => bench.logger.gauge = Gauge::Stuck(0.0),
        MishapKind::GaugeShort => bench.logger.gauge = Gauge::Stuck(5.0),
        MishapKind::GaugeFrozen => bench.logger.gauge = Gauge::Stuck(bench.logger.last_gauge_v),
        MishapKind::ScaleFrozen => bench.scale.state = ScaleState::Frozen,
        MishapKind::ScaleSilent => bench.scale.state = ScaleState::Silent,
        MishapKind::ScaleRestless => bench.scale.state = ScaleState::Restless,
        MishapKind::CupLifted => bench.plant.cup.on_pan = false,
        MishapKind::CupBumped => {
            bench.plant.cup.knock_g = KNOCK_G;
            bench.mishaps.add(now + KNOCK, Event::KnockEnds);
        }
        MishapKind::CupEmptied => bench.plant.empty_cup(),
        MishapKind::RelayWelded => bench.plant.weld(),
        MishapKind::HoseBursts => bench.plant.line.set_leak(BURST),
        MishapKind::NozzleBlocked => bench.plant.block_nozzle(0.75),
        MishapKind::TankEmpty => bench.plant.tank_ml = 0.0,
        MishapKind::DriverRestarts => bench.driver.restart(&mut bench.plant, now),
        MishapKind::DriverSilent => bench.port(super::bench::DRIVER).deaf = true,
    }
}
