//! What the computer runs on: a run that its battery cannot finish ends safe before it is cut off.
//!
//! In: the kernel's folder of power supplies (its "ABI/testing/sysfs-class-power": `type`, `online`, `capacity`). Out: a
//! warning, or the fault `POWER_LOW`. Never: anything said of a computer without a battery.

use crate::problem::fault::{Fault, FaultCode};
use std::path::Path;

/// The kernel's folder.
pub const SUPPLIES: &str = "/sys/class/power_supply";
/// Charge, %, below which a warning is given.
const WARN_BELOW_PCT: u32 = 20;
/// Charge, %, below which the run ends.
const END_BELOW_PCT: u32 = 10;

/// What was seen of the supplies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Power {
    /// Charge of the emptiest battery, %; none without a battery.
    pub charge_pct: Option<u32>,
    /// Whether a mains adapter is there and live; none where none is listed.
    pub mains: Option<bool>,
}

impl Power {
    /// Looks into `folder`; what cannot be read is as if it were not there.
    #[must_use]
    pub fn look(folder: &Path) -> Power {
        let mut power = Power::default();
        for supply in std::fs::read_dir(folder).into_iter().flatten().flatten() {
            let read = |name: &str| std::fs::read_to_string(supply.path().join(name)).ok();
            let number = |name: &str| read(name).and_then(|text| text.trim().parse::<u32>().ok());
            match read("type").as_deref().map(str::trim) {
                // `scope` marks the battery of a mouse or keyboard.
                Some("Battery") if read("scope").is_none_or(|s| s.trim() != "Device") => {
                    if let Some(charge) = number("capacity") {
                        power.charge_pct = Some(power.charge_pct.map_or(charge, |c| c.min(charge)));
                    }
                }
                Some("Mains") => {
                    let live = number("online") == Some(1);
                    power.mains = Some(power.mains.unwrap_or(false) || live);
                }
                _ => {}
            }
        }
        power
    }

    fn on_battery(self) -> bool {
        self.charge_pct.is_some() && self.mains != Some(true)
    }

    /// Why the run must end, if it must.
    #[must_use]
    pub fn fault(self) -> Option<Fault> {
        let charge = self.charge_pct.filter(|c| *c < END_BELOW_PCT && self.on_battery())?;
        let seen = format!("the computer runs on its battery, with {charge} % left");
        Some(Fault::new(FaultCode::PowerLow, "computer", seen, "plug it in, then run again"))
    }

    /// What to tell the operator, where this is worse than `before`.
    #[must_use]
    pub fn warning(self, before: Power) -> Option<String> {
        let charge = self.charge_pct.filter(|_| self.on_battery())?;
        let low = charge < WARN_BELOW_PCT && before.charge_pct.is_none_or(|c| c >= WARN_BELOW_PCT);
        let lost = !before.on_battery();
        (low || lost).then(|| {
            format!(
                "WARNING: the computer runs on its battery, {charge} % left; the run ends below {END_BELOW_PCT} %."
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(charge: &str, online: &str) -> Power {
        let folder = tempfile::tempdir().unwrap();
        for (supply, name, text) in [
            ("BAT0", "type", "Battery\n"),
            ("BAT0", "capacity", charge),
            ("AC", "type", "Mains\n"),
            ("AC", "online", online),
            ("mouse", "type", "Battery\n"),
            ("mouse", "scope", "Device\n"),
            ("mouse", "capacity", "3\n"),
        ] {
            std::fs::create_dir_all(folder.path().join(supply)).unwrap();
            std::fs::write(folder.path().join(supply).join(name), text).unwrap();
        }
        Power::look(folder.path())
    }

    #[test]
    fn power_low_ends_the_run_and_mains_lost_is_said() {
        let plugged = look("80\n", "1\n");
        assert_eq!((plugged.charge_pct, plugged.mains), (Some(80), Some(true)));
        assert_eq!((plugged.fault(), plugged.warning(Power::default())), (None, None));
        let unplugged = look("80\n", "0\n");
        assert!(unplugged.warning(plugged).unwrap().contains("80 % left"));
        assert_eq!(unplugged.warning(unplugged), None, "said once");
        let low = look("19\n", "0\n");
        assert!(low.warning(unplugged).is_some() && low.fault().is_none());
        assert_eq!(look("9\n", "0\n").fault().unwrap().code, FaultCode::PowerLow);
        assert_eq!(look("9\n", "1\n").fault(), None, "it charges");
        assert_eq!(look("none\n", "0\n"), Power { charge_pct: None, mains: Some(false) });
        assert_eq!(Power::look(Path::new("/nonexistent")), Power::default());
    }
}
