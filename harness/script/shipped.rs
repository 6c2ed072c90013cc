//! The scenarios and rigs that come with the program, so that it works where no checkout lies beside it.
//!
//! A name that is a file in the working folder means that file. Otherwise `pump-and-nozzle`, `pump-and-nozzle.yaml` and
//! `scenarios/pump-and-nozzle.yaml` all mean the file kept here.

use super::yaml::Text;
use crate::problem::{Problem, Problems};
use std::path::{Path, PathBuf};

macro_rules! kept {
    ($($name:literal),+ $(,)?) => {
        /// Every file: its name below a checkout, and its text.
        pub const FILES: &[(&str, &str)] = &[$(($name, include_str!(concat!("../../", $name)))),+];
    };
}

kept![
    "scenarios/check-scale.yaml",
    "scenarios/controller.yaml",
    "scenarios/dead-head.yaml",
    "scenarios/duty-curve.yaml",
    "scenarios/leak-down.yaml",
    "scenarios/pressure-switch.yaml",
    "scenarios/pump-and-nozzle.yaml",
    "scenarios/road-trace.csv",
    "scenarios/road-trace.yaml",
    "scenarios/scenario.schema.json",
    "scenarios/tank-level.yaml",
    "rigs/by-hand.yaml",
    "rigs/rig.schema.json",
    "rigs/serial-bench.yaml",
    "rigs/virtual.yaml",
];

/// The rig of a run that names none.
pub const VIRTUAL_RIG: &str = "virtual";

/// Where the files that a scenario names are looked for.
#[derive(Clone, Debug)]
pub enum Beside {
    /// In a folder, and below it.
    Folder(PathBuf),
    /// Among the files kept here.
    Shipped,
}

impl From<PathBuf> for Beside {
    fn from(folder: PathBuf) -> Self {
        Beside::Folder(folder)
    }
}

/// The text of a scenario (`folder` is `scenarios`) or rig (`rigs`), and where the files it names are.
///
/// # Errors
/// It cannot be read, and none that comes with the program has this name.
pub fn find(folder: &str, asked: &Path) -> Result<(Text, Beside), Problems> {
    if !asked.exists()
        && let Some((name, text)) = named(folder, asked)
    {
        return Ok((Text::new(name, text), Beside::Shipped));
    }
    let beside = match asked.parent() {
        Some(parent) if parent != Path::new("") => parent.to_path_buf(),
        _ => PathBuf::from("."),
    };
    match Text::read(asked) {
        Ok(text) => Ok((text, beside.into())),
        Err(problems) if asked.exists() => Err(problems),
        Err(mut problems) => {
            let names: Vec<&str> = FILES.iter().filter_map(|(name, _)| short(folder, name)).collect();
            let help = format!("a file, or one that comes with the program: {}", names.join(", "));
            if let Some(first) = problems.0.first_mut() {
                *first = Problem::new(first.what.clone()).help(help);
            }
            Err(problems)
        }
    }
}

/// The text of a file that a shipped scenario names.
#[must_use]
pub fn beside_scenario(name: &str) -> Option<&'static str> {
    FILES.iter().find(|(kept, _)| kept.strip_prefix("scenarios/") == Some(name)).map(|(_, text)| *text)
}

/// `scenarios/pump-and-nozzle.yaml` as `pump-and-nozzle`.
fn short<'n>(folder: &str, name: &'n str) -> Option<&'n str> {
    name.strip_prefix(folder)?.strip_prefix('/')?.strip_suffix(".yaml")
}

/// The shipped file that a name means, with its text.
#[must_use]
pub fn named(folder: &str, asked: &Path) -> Option<(&'static str, &'static str)> {
    let asked = asked.to_str()?;
    let plain = asked.strip_prefix(folder).and_then(|rest| rest.strip_prefix('/')).unwrap_or(asked);
    let plain = plain.strip_suffix(".yaml").unwrap_or(plain);
    FILES.iter().find(|(name, _)| short(folder, name) == Some(plain)).copied()
}
