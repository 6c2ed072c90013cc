//! Clogging: a nozzle's coefficient now against an earlier calibration.
//!
//! K is proportional to the open area of the nozzle, so the part of the area that is lost is one less the ratio of the
//! two. K decides; a longer release time of the switch supports it and never stands alone, because air in the line
//! outweighs it. Errors common to both calibrations cancel only where both were made with the same instruments under
//! the same calibration, and only those that stay with the instrument: a gauge's zero wanders and a density belongs to
//! its day.
//! In: two pairs. Out: [`Clogging`], its item and finding. Never: a fall of flow taken for a fall of K.

use crate::fit::model::PairModel;
use crate::numerics::conformity::Zone;
use crate::numerics::distribution::normal_quantile;
use crate::reduce::finding::Finding;
use crate::uncertainty::{Cause, Uncertain};
use crate::verdict::catalogue::NOZZLE_CLOGGING;
use crate::verdict::decide::decide;
use crate::verdict::item::Verdict;
use crate::verdict::subject::{Found, Subject};

/// A loss of area that matters, %: one this large is named where it is there, and a nozzle passes where one this large
/// can be ruled out.
pub const MATTERS_PCT: f64 = 3.0;

/// The area of a nozzle against an earlier calibration.
#[derive(Clone, Debug, PartialEq)]
pub struct Clogging {
    /// The nozzle.
    pub nozzle: String,
    /// Area lost, %, with its budget; negative where it grew.
    pub lost_pct: Uncertain,
    /// The smallest loss that is shown at 95 % confidence, %.
    pub smallest_pct: f64,
    /// The smallest loss that is shown so in 95 of 100 tries, %.
    pub surely_pct: f64,
}

/// Compares a nozzle with an earlier calibration of it. `same_instruments`: both were made with the same scale, gauge
/// and clock under the same calibration.
///
/// # Errors
/// Why they cannot be compared, in words.
pub fn compare(
    now: &PairModel,
    then: &PairModel,
    nozzle: &str,
    same_instruments: bool,
) -> Result<Clogging, String> {
    let place = |model: &PairModel, when: &str| {
        if !model.reference.pressure_measured {
            return Err(format!("line pressure was not measured {when}, so the coefficient is not known"));
        }
        let found = model.nozzles.iter().position(|n| n.name == nozzle);
        found.ok_or_else(|| format!("there is no nozzle \"{nozzle}\" {when}"))
    };
    let (i, j) = (place(now, "now")?, place(then, "in the earlier calibration")?);
    let liquids = [now, then].map(|m| m.reference.methanol_mass_fraction);
    if (liquids[0] - liquids[1]).abs() > 0.01 {
        return Err("the liquid is another one than in the earlier calibration".into());
    }
    let ratio = now.nozzles[i].k / then.nozzles[j].k;
    let mut terms = Vec::new();
    for shift in &now.shifts {
        let earlier = then.shifts.iter().find(|s| s.cause == shift.cause);
        let shared = same_instruments && stays(&shift.cause);
        match earlier {
            Some(earlier) if shared => terms.push(shift.term(shift.ln_k[i] - earlier.ln_k[j])),
            _ => terms.push(shift.term(shift.ln_k[i])),
        }
    }
    for shift in &then.shifts {
        let both = now.shifts.iter().any(|s| s.cause == shift.cause);
        if !(same_instruments && both && stays(&shift.cause)) {
            terms.push(shift.term(shift.ln_k[j]));
        }
    }
    terms.retain(|t| t.u != 0.0);
    let lost_pct = Uncertain::new(1.0 - ratio, terms).scaled(100.0 * ratio).about(100.0 * (1.0 - ratio));
    let smallest_pct = lost_pct.u95 / ratio;
    Ok(Clogging {
        nozzle: nozzle.to_owned(),
        smallest_pct,
        surely_pct: smallest_pct + normal_quantile(0.95) * lost_pct.u / ratio,
        lost_pct,
    })
}

/// Whether an error stays with the instrument from one calibration to the next.
const fn stays(cause: &Cause) -> bool {
    matches!(
        cause,
        Cause::ScaleGain
            | Cause::ClockGain
            | Cause::GaugeGain
            | Cause::Capture
            | Cause::TapLoss
            | Cause::TapHeight
    )
}

impl Clogging {
    /// Whether a loss is shown.
    #[must_use]
    pub fn shown(&self) -> bool {
        let none = Zone { lower: None, upper: Some(0.0) };
        decide(self.lost_pct.value, self.lost_pct.u95, &none) == Verdict::Fail
    }

    /// `nozzle.clogging`: where nobody states a limit, a loss that matters is one too large.
    #[must_use]
    pub fn subject(&self) -> Subject {
        let found = Found::from(&self.lost_pct);
        let seen = if self.shown() {
            "a loss is shown: partly blocked"
        } else if self.lost_pct.value <= -self.lost_pct.u95 {
            "the opening has grown: worn, or another nozzle"
        } else {
            "no loss is shown"
        };
        Subject::new(&NOZZLE_CLOGGING, found)
            .words(format!("area that nozzle {} lost since the earlier calibration", self.nozzle))
            .customary(Zone { lower: None, upper: Some(MATTERS_PCT) }, "a loss of area that matters, common practice")
            .context(format!(
                "{seen}; the smallest loss that can be shown at 95 % is {:.2} %, one of {:.2} % is shown in 95 of 100 \
                 tries",
                self.smallest_pct, self.surely_pct
            ))
    }

    /// The finding, where a loss is shown.
    #[must_use]
    pub fn finding(&self) -> Option<Finding> {
        self.shown().then(|| {
            Finding::new(
                "nozzle.clogging",
                format!(
                    "nozzle {} lost {:.2} % of its area (U {:.2} %)",
                    self.nozzle, self.lost_pct.value, self.lost_pct.u95
                ),
                "dirt or scale in the nozzle or its screen: clean it and calibrate again",
            )
            .with("area lost", self.lost_pct.value, "%")
            .with("U", self.lost_pct.u95, "%")
        })
    }
}
