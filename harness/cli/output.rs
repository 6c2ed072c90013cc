//! Where words go: data to stdout, messages to stderr, files whole or not at all.

use super::Failure;
use crate::problem::{safe_lines, safe_text};
use crate::record::RunFolder;
use crate::report::csv_metadata;
use crate::report::figure_text::Units;
use crate::report::page::Page;
use crate::report::page_html;
use crate::report::pages::record_figures;
use std::io::{IsTerminal as _, Write as _};
use std::path::Path;
use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::fmt::writer::BoxMakeWriter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

/// A message for the person at the terminal. Whatever a file or an instrument had a hand in is made safe here, also
/// where that was forgotten before.
pub(super) fn say(text: &str) {
    // A closed terminal must not stop a bench.
    let _ = writeln!(std::io::stderr().lock(), "{}", safe_lines(text));
}

/// Data on stdout, safe to show; ends of lines stay as they are.
pub(super) fn data(text: &str) {
    let safe = |line: &str| match line.strip_suffix('\r') {
        Some(line) => safe_text(line) + "\r",
        None => safe_text(line),
    };
    let lines: Vec<String> = text.split('\n').map(safe).collect();
    data_as_is(&lines.join("\n"));
}

/// JSON on stdout, safe to show and of the same meaning.
pub(super) fn json(value: &serde_json::Value) {
    data_as_is(&(crate::report::verdicts_json::escaped(&value.to_string()) + "\n"));
}

/// Data on stdout with nothing replaced: what is made of safe parts already and has colours or tabs of our own.
pub(super) fn data_as_is(text: &str) {
    let mut out = std::io::stdout().lock();
    // A reader that has seen enough (`| head`) is not an error.
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// A block of lines on stderr that is written over by the next; nothing where stderr is no terminal.
pub(super) struct Live {
    terminal: bool,
    lines: usize,
}

/// A block of lines to be shown while something goes on.
pub(super) fn live() -> Live {
    let plain = std::env::var_os("TERM").is_none_or(|t| t == "dumb");
    Live { terminal: std::io::stderr().is_terminal() && !plain, lines: 0 }
}

impl Live {
    /// Shows a block in place of the last one.
    pub(super) fn show(&mut self, text: &str) {
        if self.terminal {
            self.clear();
            say(text.trim_end());
            self.lines = text.trim_end().lines().count();
        }
    }

    /// Takes the block away.
    pub(super) fn clear(&mut self) {
        if self.lines > 0 {
            // Cursor to the start of the line that many lines up, then everything below cleared (ECMA-48: CPL, ED).
            let _ = write!(std::io::stderr().lock(), "\x1b[{}F\x1b[J", self.lines);
            self.lines = 0;
        }
    }
}

/// Writes a file whole or not at all.
pub(super) fn write_text(path: &Path, text: &str) -> Result<(), Failure> {
    crate::record::disk::write_whole(path, text.as_bytes()).map_err(Failure::from)
}

/// Writes `report.html`, with what the record of the run shows besides the results.
pub(super) fn write_report(
    out: &Path,
    mut page: Page,
    folder: Option<&RunFolder>,
    units: Units,
) -> Result<(), Failure> {
    if let Some(folder) = folder {
        page.sections.retain(|s| s.heading.as_str() != record_figures::RUN_HEADING);
        page.sections.extend(record_figures::sections(folder, units)?);
    }
    write_text(&out.join("report.html"), &page_html::render(&page))?;
    let tables = csv_metadata::describe(out).map_err(|e| Failure::write(out, &e))?;
    write_text(&out.join(csv_metadata::FILE), &tables)
}

/// Starts the trace of what happens: to a file, or to stderr with `-v`.
pub(super) fn start_trace(verbose: u8, log: Option<&Path>) -> Result<(), Failure> {
    let level = match (verbose, log) {
        (0, None) => return Ok(()),
        (0, Some(_)) | (1, _) => LevelFilter::DEBUG,
        _ => LevelFilter::TRACE,
    };
    let writer = match log {
        Some(path) => {
            let file = std::fs::File::create(path).map_err(|e| Failure::write(path, &e))?;
            BoxMakeWriter::new(std::sync::Mutex::new(file))
        }
        None => BoxMakeWriter::new(std::io::stderr),
    };
    let ours = Targets::new().with_target("dutycup", level);
    let everything = tracing_subscriber::fmt().with_max_level(LevelFilter::TRACE).with_ansi(false);
    everything.with_writer(writer).finish().with(ours).init();
    Ok(())
}
