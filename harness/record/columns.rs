//! Columns of `samples.csv`: `time_s, step`, then one a role in rig order.
//!
//! In: roles, or a header line. Out: the header, the decimals each column is written with, and roles back from a
//! header. Never: two roles in one column.

use crate::problem::fault::{Fault, FaultCode};
use crate::quantity::Dimension;
use crate::script::role::{Name, Role};

/// Columns that a record may have at most, besides time and step.
pub const COLUMNS_MAX: usize = 1000;

/// Decimals a column is written with: finer than any instrument the role is read with resolves.
#[must_use]
pub fn decimals(role: &Role) -> u8 {
    match role {
        Role::Rpm => 2,
        Role::CupMass | Role::TankMass => 4,
        Role::Boost => 5,
        other => match other.dimension() {
            Dimension::Switch => 0,
            Dimension::GaugePressure | Dimension::AbsolutePressure => 4,
            Dimension::Ratio | Dimension::Temperature => 4,
            _ => 5,
        },
    }
}

/// The header line, without its end.
///
/// # Errors
/// `CONFIG` when two roles share a column or there are more than [`COLUMNS_MAX`].
pub fn header(roles: &[Role]) -> Result<String, Fault> {
    let refuse = |seen: String, help: &str| Err(Fault::new(FaultCode::Config, "record", seen, help));
    if roles.len() > COLUMNS_MAX {
        return refuse(format!("{} columns", roles.len()), &format!("a record holds at most {COLUMNS_MAX}"));
    }
    let mut line = String::from("time_s,step");
    let mut seen: Vec<(String, &Role)> = Vec::with_capacity(roles.len());
    for role in roles {
        let column = role.column();
        if let Some((_, other)) = seen.iter().find(|(c, _)| *c == column) {
            return refuse(
                format!("{other} and {role} would both be written to the column {column}"),
                "give one of them another name in the rig",
            );
        }
        line.push(',');
        line.push_str(&column);
        seen.push((column, role));
    }
    Ok(line)
}

/// The roles of a header line; none if it is not one of ours.
#[must_use]
pub fn roles(header: &str) -> Option<Vec<Role>> {
    let mut cells = header.split(',');
    if cells.next()? != "time_s" || cells.next()? != "step" {
        return None;
    }
    let roles: Option<Vec<Role>> = cells.take(COLUMNS_MAX + 1).map(role_of).collect();
    roles.filter(|r| r.len() <= COLUMNS_MAX)
}

/// The role that is written to a column.
fn role_of(column: &str) -> Option<Role> {
    let plain = Role::words().filter_map(Role::parse).find(|r| r.column() == column);
    plain.or_else(|| {
        let named = |prefix: &str, suffix: &str, make: fn(Name) -> Role| {
            let name = column.strip_prefix(prefix)?.strip_suffix(suffix)?;
            Name::new(name).map(make)
        };
        named("switched_", "", Role::SwitchedOutput)
            .or_else(|| named("relay_", "", Role::Relay))
            .or_else(|| named("analogue_", "_v", Role::AnalogueOutput))
            .or_else(|| named("sensor_", "_v", Role::Sensor))
            .or_else(|| named("duty_", "_pct", Role::DutyOutput))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_role_comes_back_from_its_column() {
        let named =
            ["relay.supply_output", "switched.lamp", "analogue.out_1", "duty_output.pump", "sensor.iat"];
        let all: Vec<Role> = Role::words().chain(named).filter_map(Role::parse).collect();
        assert_eq!(all.len(), Role::words().count() + named.len());
        assert_eq!(roles(&header(&all).unwrap()).unwrap(), all);
        assert_eq!(roles("time_s,step").unwrap(), []);
        for bad in ["", "time_s", "step,time_s", "time_s,step,boost_kpa", "time_s,step,"] {
            assert_eq!(roles(bad), None, "{bad}");
        }
    }

    #[test]
    fn two_roles_never_share_a_column() {
        let clash = [Role::PumpDuty, Role::parse("duty_output.set").unwrap()];
        let fault = header(&clash).unwrap_err();
        assert_eq!(fault.code, FaultCode::Config);
        assert!(fault.seen.contains("duty_set_pct"), "{fault}");
    }
}
