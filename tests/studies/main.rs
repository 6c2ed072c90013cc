//! Studies: many seeded benches, pairs, ramps and firmwares against their truth. The numbers of rounds are short here and
//! set by environment variables for the long run; each prints what it found.

#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a failure fails the test, a test says what it measured, and each program uses its part of the support"
)]

#[path = "../support/study/mod.rs"]
mod study;
#[path = "../support/study_controller/mod.rs"]
mod study_controller;

mod multi_faults;
mod study_benches;
mod study_clogging;
mod study_firmware;
mod study_pairs;
mod study_switch;
