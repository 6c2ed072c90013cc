//! What an analysis may be given besides the run: the pair's calibration, a check of scale and clock, an earlier result
//! to compare with. Read, and checked against what the run is for, before anything is energised.

use super::{Failure, analysis, line};
use crate::fit::model::PairModel;
use crate::fit::store;
use crate::judge::clogging;
use crate::judge::line_runs::{self, Coefficient};
use crate::problem::Problem;
use crate::record::RunFolder;
use crate::reduce::check_scale::Check;
use crate::reduce::decay::DecayTime;
use crate::reduce::finding::Finding;
use crate::verdict::catalogue::{NOZZLE_CLOGGING, Need, find};
use crate::verdict::purpose::Purpose;
use crate::verdict::subject::{Found, Subject};
use clap::Args;
use std::path::{Path, PathBuf};

/// Options about an earlier result.
#[derive(Args, Clone, Debug, Default)]
pub(super) struct Against {
    /// Earlier result to compare with: the pair's calibration.yaml (gives nozzle.clogging), or the folder of an earlier
    /// switch run (release time).
    #[arg(long, value_name = "EARLIER")]
    against: Option<PathBuf>,
    /// Earlier and present result come from the same scale, gauge and clock under the same calibration, whose common
    /// errors then cancel.
    #[arg(long, requires = "against")]
    same_instruments: bool,
}

/// An earlier result.
pub(super) enum Earlier {
    /// A pair, and whether it was measured with the same instruments.
    Pair(Box<PairModel>, bool),
    /// The release time of a line.
    Release(DecayTime),
}

/// Everything given besides the run.
#[derive(Default)]
pub(super) struct Besides {
    /// A nozzle's coefficient from the pair's calibration.
    pub(super) coefficient: Option<Coefficient>,
    /// What a check of scale and clock found.
    pub(super) checked: Option<Check>,
    /// An earlier result.
    pub(super) earlier: Option<Earlier>,
}

impl Besides {
    /// Reads what the command line names.
    pub(super) fn read(
        calibration: Option<&Path>,
        checked: Option<&Path>,
        against: &Against,
    ) -> Result<Self, Failure> {
        Ok(Self {
            coefficient: calibration.map(line::coefficient).transpose()?,
            checked: checked.map(analysis::checked).transpose()?,
            earlier: against.against.as_deref().map(|p| earlier(p, against.same_instruments)).transpose()?,
        })
    }

    /// Whether an earlier result is of the kind that a run for `purpose` is compared with.
    pub(super) fn fits(&self, purpose: Purpose) -> Result<(), Failure> {
        let wanted = match purpose {
            Purpose::Pair | Purpose::DutyCurve => "the calibration.yaml of an earlier run of this pair",
            Purpose::Switch => "the folder of an earlier run over this switch",
            _ => "no --against: such a run is compared with nothing earlier",
        };
        let fits = match &self.earlier {
            None => true,
            Some(Earlier::Pair(..)) => matches!(purpose, Purpose::Pair | Purpose::DutyCurve),
            Some(Earlier::Release(_)) => purpose == Purpose::Switch,
        };
        if fits {
            return Ok(());
        }
        let what = format!("a run of purpose {} is not compared with such an earlier result", purpose.word());
        Err(Problem::new(what).expected(wanted).into())
    }

    /// Whether the command line gives what an expected item needs of it.
    pub(super) fn serves(&self, item: &str) -> Result<(), Failure> {
        let missing = match find(item).map(|e| e.need) {
            Some(Need::Calibration) if self.coefficient.is_none() => "--calibration FILE",
            Some(Need::Earlier) if self.earlier.is_none() => "--against FILE",
            _ => return Ok(()),
        };
        let what = format!("the scenario states a limit for {item}, which takes {missing}");
        Err(Problem::new(what).help(format!("add {missing}, or leave the limit out")).into())
    }

    /// The earlier release time, where one was given.
    pub(super) fn release(&self) -> Option<&DecayTime> {
        match &self.earlier {
            Some(Earlier::Release(time)) => Some(time),
            _ => None,
        }
    }

    /// What clogging of each nozzle of a pair came to, where an earlier calibration was given; with its findings.
    pub(super) fn clogging(&self, now: &PairModel) -> (Vec<Subject>, Vec<Finding>) {
        let Some(Earlier::Pair(then, same)) = &self.earlier else { return (Vec::new(), Vec::new()) };
        let mut findings = Vec::new();
        let mut of = |(index, name): (usize, &str)| {
            let subject = match clogging::compare(now, then, name, *same) {
                Ok(found) => {
                    findings.extend(found.finding());
                    found.subject()
                }
                Err(why) => Subject::new(&NOZZLE_CLOGGING, Found::Nothing(why)),
            };
            if index == 0 { subject } else { subject.member(name) }
        };
        let subjects = now.nozzles.iter().map(|n| n.name.as_str()).enumerate().map(&mut of).collect();
        (subjects, findings)
    }
}

/// Reads an earlier result: a calibration file, or a folder that holds one, or a run over a switch.
fn earlier(path: &Path, same: bool) -> Result<Earlier, Failure> {
    if !path.is_dir() {
        return Ok(Earlier::Pair(Box::new(store::model(&line::calibration(path)?)?), same));
    }
    let folder = RunFolder::open(path)?;
    match folder.run.purpose {
        Purpose::Pair | Purpose::DutyCurve => earlier(&path.join("calibration.yaml"), same),
        Purpose::Switch => match line_runs::release(&folder)? {
            Some(time) => Ok(Earlier::Release(time)),
            None => Err(Problem::new(format!("{} holds no release time", path.display())).into()),
        },
        other => Err(Problem::new(format!("{} is a run of purpose {}", path.display(), other.word()))
            .expected("a calibration.yaml, or the folder of a switch run")
            .help("controllers are compared with `dutycup compare`")
            .into()),
    }
}
