//! Tables as files: one writer for every CSV that is not the record's own.

pub mod sheet;

pub use sheet::{Cell, Sheet};
