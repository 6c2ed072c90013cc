//! What a survey of a resting bench means, in words that lead to the cure.
//!
//! In: a rig and what a survey of it showed, pump off and line vented. Out: a remark a channel, and remarks on the
//! bench as a whole. Never: a verdict; a person decides what to do about a remark.

use super::survey::{Seen, Survey, is_read};
use crate::problem::fault::FaultCode;
use crate::quantity::{Units, show, show_difference};
use crate::script::rig::{ChannelSpec, ExchangeSpec, Rig};
use crate::script::role::Role;
use std::time::Duration;

/// Times its standard uncertainty within which a zero is taken for one.
const ZERO_K: f64 = 3.0;
/// Lowest and highest ambient pressure where people live, absolute kPa (4,500 m in the standard atmosphere of
/// ISO 2533 is 57.7 kPa; 108 kPa is the highest ever seen at sea level, from memory).
const AMBIENT_KPA: (f64, f64) = (57.0, 108.0);
/// Temperatures at which water is sprayed, degC.
const WATER_DEGC: (f64, f64) = (0.5, 60.0);
/// Readings that are all alike to the last digit, from which on a live gauge would have moved.
const ALIKE: u64 = 40;
/// Share of the readings its sample period promises, below which a channel is slow.
const PROMISED: f64 = 0.8;
/// Share of the time allowed for a reply, above which the slowest replies are close to it.
const CLOSE: f64 = 0.8;

/// A remark on each channel of the rig, in its order; none where there is nothing to say.
#[must_use]
pub fn of_channels(rig: &Rig, seen: &Survey, span: Duration, units: Units) -> Vec<Option<String>> {
    let look = |(index, channel): (usize, &ChannelSpec)| {
        let found = &seen.instruments[channel.instrument];
        if !is_read(rig, index) || !found.ready {
            return None;
        }
        let seen = &seen.channels[index];
        if seen.count == 0 {
            return Some("nothing came: check the wiring, and the channel's query and pattern".to_owned());
        }
        value(rig, channel, seen, units).or_else(|| rate(channel, seen, span))
    };
    rig.channels.iter().enumerate().map(look).collect()
}

/// What a channel reads, against what a resting bench should show.
fn value(rig: &Rig, channel: &ChannelSpec, seen: &Seen, units: Units) -> Option<String> {
    let shown = |value| show(value, channel.role.dimension(), units);
    let mean = seen.mean;
    match channel.role {
        Role::LinePressure | Role::BackPressure => {
            let stated = &channel.uncertainty;
            let scatter = seen.sd / (seen.count as f64).sqrt();
            let u = (stated.zero.standard()).hypot(stated.resolution / 12.0_f64.sqrt()).hypot(scatter);
            if mean.abs() > ZERO_K * u {
                let stated = show_difference(stated.zero.standard(), channel.role.dimension(), units);
                return Some(format!(
                    "not zero: vent the line, or its zero is off by more than the rig states ({stated} standard)"
                ));
            }
            // Readings are compared as they came.
            let frozen = seen.count >= ALIKE && seen.sd == 0.0;
            frozen.then(|| "not one digit moves: is the gauge alive?".to_owned())
        }
        Role::AmbientPressure if !(AMBIENT_KPA.0..=AMBIENT_KPA.1).contains(&mean) => {
            Some("not an ambient pressure: absolute sensor? its scaling?".to_owned())
        }
        Role::WaterTemperature if !(WATER_DEGC.0..=WATER_DEGC.1).contains(&mean) => {
            Some("not water to spray: probe connected? its scaling?".to_owned())
        }
        Role::CupMass | Role::TankMass if mean < -channel.uncertainty.resolution.max(1.0) => {
            Some("below zero: put the empty vessel on, then tare".to_owned())
        }
        Role::CupMass if mean > rig.limits.cup_mass_g => {
            Some(format!("over the limit of {}: empty the cup, or tare it", shown(rig.limits.cup_mass_g)))
        }
        Role::Supply if mean < rig.limits.supply_v.0 => {
            Some(format!("below {}: supply on? fuse? emergency stop pulled?", shown(rig.limits.supply_v.0)))
        }
        Role::Supply if mean > rig.limits.supply_v.1 => {
            Some(format!("above {}: turn it down", shown(rig.limits.supply_v.1)))
        }
        Role::OutputOn if mean > 0.0 => {
            Some("THE PUMP OUTPUT IS ON: cut the 12 V feed, then find out why".to_owned())
        }
        Role::EmergencyStop if mean > 0.0 => {
            Some("pressed: nothing can be switched on until it is released".to_owned())
        }
        Role::PumpCurrent if mean.abs() > ZERO_K * channel.uncertainty.zero.standard().max(0.05) => {
            Some("not zero with the pump off: clamp or shunt to be zeroed?".to_owned())
        }
        _ => None,
    }
}

/// How often a channel came, against its sample period.
fn rate(channel: &ChannelSpec, seen: &Seen, span: Duration) -> Option<String> {
    let sampled = !channel.by_hand() && !matches!(channel.exchange, ExchangeSpec::Fixed { .. });
    // The first second goes into opening and identifying.
    let promised = (span.as_secs_f64() - 1.0) / channel.every.as_secs_f64();
    let slow = sampled && (seen.count as f64) < PROMISED * promised;
    slow.then(|| {
        format!(
            "only {} readings where {promised:.0} were due: raise `every`, or the line's speed",
            seen.count
        )
    })
}

/// Remarks on the bench as a whole: ports that lead to each other's instruments, replies close to their deadline.
#[must_use]
pub fn of_bench(rig: &Rig, seen: &Survey) -> Vec<String> {
    let mut remarks = Vec::new();
    for (index, found) in seen.instruments.iter().enumerate() {
        let wrong = found.faults.iter().find(|f| f.code == FaultCode::WrongDevice);
        let answers = |other: &usize| {
            let identity = rig.instruments[*other].identity.as_ref();
            *other != index && identity.is_some_and(|i| wrong.is_some_and(|f| f.seen.contains(&i.expect)))
        };
        if let Some(other) = (0..rig.instruments.len()).find(answers) {
            remarks.push(format!(
                "The port given for `{}` leads to `{}`: exchange the two `port:` paths in the rig file, or the cables.",
                found.name, rig.instruments[other].name
            ));
        }
        let allowed = rig.instruments[index].reply_within;
        if let Some(slowest) = found.round_trips.last().filter(|t| **t > allowed.mul_f64(CLOSE)) {
            remarks.push(format!(
                "`{}` took up to {:.0} ms to answer and is allowed {:.0} ms: raise `reply_within`, or the line's speed.",
                found.name,
                slowest.as_secs_f64() * 1e3,
                allowed.as_secs_f64() * 1e3
            ));
        }
    }
    remarks
}
