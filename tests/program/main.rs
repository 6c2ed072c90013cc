//! The program from outside: commands, processes, signals, pseudo-terminals, pages in a browser, far ends that others
//! wrote.

#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a failure fails the test, a test says what it measured, and each program uses its part of the support"
)]

#[path = "../support/record_rig/mod.rs"]
mod record_rig;
#[path = "../support/report_support/mod.rs"]
mod report_support;

#[path = "../hostile/mod.rs"]
mod hostile;
#[path = "../peers/mod.rs"]
mod peers;

mod at_real_time;
mod controller_bench;
mod live_screen;
mod process_faults;
mod record_kill;
mod report_browser;
mod report_files;
mod run_again;
mod shipped;
mod switch_bench;
mod verdict_catalogue;
mod whole_path;
