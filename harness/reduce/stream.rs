//! Events and samples of a run folder, merged by time.
//!
//! In: a run folder. Out: each event and each row, an event before the rows of its moment. Never: more than one event
//! in memory.

use crate::problem::Problems;
use crate::record::{Event, RunFolder, SampleRow};

/// What a stream is made of.
#[derive(Clone, Copy, Debug)]
pub enum Item<'a> {
    /// Something happened.
    Event(&'a Event),
    /// Readings were taken.
    Row(&'a SampleRow<'a>),
}

/// Hands on everything in a folder, in order of time; the last moment, s.
///
/// # Errors
/// The record was altered or cannot be read; what was handed on then is worth nothing.
pub fn stream(folder: &RunFolder, take: &mut impl FnMut(Item<'_>)) -> Result<f64, Problems> {
    let mut events = folder.events()?;
    let mut next = events.next().transpose()?;
    let mut broken = Ok(());
    let mut last_s = 0.0_f64;
    folder.samples(&mut |row| {
        last_s = last_s.max(row.time_s);
        while let Some(event) = next.take_if(|e| e.time_s <= row.time_s) {
            take(Item::Event(&event));
            match events.next().transpose() {
                Ok(event) => next = event,
                Err(problems) => broken = Err(problems),
            }
        }
        take(Item::Row(row));
    })?;
    broken?;
    while let Some(event) = next {
        last_s = last_s.max(event.time_s);
        take(Item::Event(&event));
        next = events.next().transpose()?;
    }
    Ok(last_s)
}
