//! Append-only files of a record: a block in memory, the system, and the disk.
//!
//! In: whole lines. Out: bytes handed to the system, how far each file reaches with its check sum, and `sums.csv`
//! lines after each sync. Never: a byte rewritten, or a sum written before what it vouches for is on the disk.

use super::disk::{self, Gate, Op};
use super::sums::{self, Extent};
use crate::problem::fault::Fault;
use std::fs::File;
use std::path::PathBuf;

/// Bytes gathered before they are handed to the system, where nothing asks for it earlier.
pub(super) const BLOCK: usize = 64 * 1024;

/// A file that only grows.
pub(super) struct Journal {
    path: PathBuf,
    file: File,
    gate: Gate,
    /// Whole lines not yet handed to the system.
    pub(super) buffer: Vec<u8>,
    /// What the system has taken.
    pub(super) extent: Extent,
}

impl Journal {
    pub(super) fn new(gate: &Gate, path: PathBuf, file: File, extent: Extent) -> Self {
        Journal { path, file, gate: gate.clone(), buffer: Vec::with_capacity(BLOCK + BLOCK / 4), extent }
    }

    /// Hands everything gathered to the system.
    pub(super) fn hand_over(&mut self) -> Result<(), Fault> {
        let mut done = 0;
        let mut result = Ok(());
        while done < self.buffer.len() && result.is_ok() {
            match disk::write_some(&self.gate, &mut self.file, &self.buffer[done..]) {
                Ok(n) => {
                    self.extent = self.extent.with(&self.buffer[done..done + n]);
                    done += n;
                }
                Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
                Err(e) => result = Err(disk::fault(&self.path, "cannot write", &e)),
            }
        }
        self.buffer.clear();
        result
    }
}

/// Brings journals to the disk and says so in `sums.csv`. It has handles of its own, so that it can live on a
/// thread beside the writer.
pub(super) struct Keeper {
    files: [(PathBuf, File); 2],
    sums: (PathBuf, File),
    gate: Gate,
    kept: [Extent; 2],
}

impl Keeper {
    /// A keeper of two journals, of which `kept` is already vouched for.
    pub(super) fn new(
        journals: [&Journal; 2],
        sums: (PathBuf, File),
        kept: [Extent; 2],
    ) -> Result<Self, Fault> {
        let again = |j: &Journal| {
            let file = j.file.try_clone().map_err(|e| disk::fault(&j.path, "cannot open again", &e))?;
            Ok((j.path.clone(), file))
        };
        Ok(Keeper {
            files: [again(journals[0])?, again(journals[1])?],
            sums,
            gate: journals[0].gate.clone(),
            kept,
        })
    }

    /// Vouches for `reached`. With `to_disk`, after bringing it there; without, only the sums are written (virtual
    /// time, where the last call brings everything to the disk).
    pub(super) fn keep(&mut self, reached: [Extent; 2], to_disk: bool) -> Result<(), Fault> {
        let mut lines = Vec::new();
        for (i, extent) in reached.into_iter().enumerate() {
            if to_disk && extent.bytes > 0 {
                self.sync_file(i, extent)?;
            }
            if extent != self.kept[i] {
                sums::push_line(&mut lines, sums::FILES[i], extent);
            }
        }
        let (path, file) = &mut self.sums;
        let mut rest = &lines[..];
        while !rest.is_empty() {
            let n = disk::write_some(&self.gate, file, rest)
                .map_err(|e| disk::fault(path, "cannot write", &e))?;
            rest = &rest[n..];
        }
        if to_disk {
            let synced = self.gate.pass(Op::Sync).and_then(|_| file.sync_data());
            synced.map_err(|e| disk::fault(path, "cannot sync", &e))?;
        }
        self.kept = reached;
        Ok(())
    }

    /// Syncs one file; a failure names the bytes that may not be on the disk, and is not tried again: the system may
    /// already have dropped them.
    fn sync_file(&self, i: usize, extent: Extent) -> Result<(), Fault> {
        let (path, file) = &self.files[i];
        let synced = self.gate.pass(Op::Sync).and_then(|_| file.sync_data());
        synced.map_err(|e| {
            let doubtful = format!("bytes {} to {} may not be on the disk", self.kept[i].bytes, extent.bytes);
            let mut fault = disk::fault(path, "cannot sync", &e);
            fault.seen = format!("{}; {doubtful}", fault.seen);
            fault
        })
    }
}
