//! The text of `run.yaml`: written with a check sum of itself in the last line, read back only whole.
//!
//! In: the disk types, or a text. Out: the text, or the types. Never: an edited file, or one of a newer version, read
//! by guess.

use super::disk;
use super::run_file::{FORMAT, RUN, RunFile};
use crate::problem::fault::{Fault, FaultCode};
use crate::problem::{Problem, Problems};
use crate::script::yaml;
use std::path::Path;

impl RunFile {
    /// The file's text, sealed.
    ///
    /// # Errors
    /// `CONFIG` where a value cannot be written.
    pub fn to_text(&self) -> Result<String, Fault> {
        let mut text = serde_yaml::to_string(self)
            .map_err(|e| Fault::new(FaultCode::Config, RUN, format!("cannot be written: {e}"), ""))?;
        let crc = crc32c::crc32c(text.as_bytes());
        text.push_str(&format!("{SEAL}{crc:08x}\n"));
        Ok(text)
    }

    /// Writes the file into a run folder, whole or not at all.
    ///
    /// # Errors
    /// `DISK_FULL`, `IO`, `CONFIG`.
    pub fn write(&self, dir: &Path) -> Result<(), Fault> {
        disk::write_whole(&dir.join(RUN), self.to_text()?.as_bytes())
    }

    /// The facts in a text.
    ///
    /// # Errors
    /// The text was altered after it was written, is of a newer version, or is not a run file.
    pub fn from_text(text: &str) -> Result<Self, Problems> {
        let altered = || -> Problems {
            Problem::new(
                "run.yaml was altered after it was written: its last line is not the check sum of the rest",
            )
            .help("take the folder from a copy; a record that was edited proves nothing")
            .into()
        };
        let (body, seal) = text.rsplit_once(SEAL).ok_or_else(altered)?;
        if seal != format!("{:08x}\n", crc32c::crc32c(body.as_bytes())) {
            return Err(altered());
        }
        // The budgets of every YAML file hold here too: a run folder may come from anywhere.
        yaml::parse(&yaml::Text::new(RUN, body))?;
        let newer = body.lines().find_map(|l| l.strip_prefix("format: ")?.parse::<u32>().ok());
        if let Some(version) = newer.filter(|v| !(1..=FORMAT).contains(v)) {
            let what = format!("run.yaml has format {version}; this program reads 1 to {FORMAT}");
            return Err(Problem::new(what).help("use a newer version of dutycup").into());
        }
        let run = serde_yaml::from_str(body);
        run.map_err(|e| Problem::new(format!("run.yaml is not a run file: {e}")).into())
    }
}

/// The beginning of the last line.
const SEAL: &str = "# crc32c of all lines above: ";
