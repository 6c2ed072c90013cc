//! What the library does, room by room: one program, in process, under virtual time.

#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a failure fails the test, a test says what it measured, and each program uses its part of the support"
)]

#[path = "../support/reference_tables/mod.rs"]
mod common;
#[path = "../support/record_rig/mod.rs"]
mod record_rig;
#[path = "../support/reduce_bench/mod.rs"]
mod reduce_bench;
#[path = "../support/report_support/mod.rs"]
mod report_support;
#[path = "../support/study/mod.rs"]
mod study;
#[path = "../support/virtual_bench_support/mod.rs"]
mod virtual_bench_support;
#[path = "../support/wire_rig/mod.rs"]
mod wire_rig;

#[path = "../faults/mod.rs"]
mod faults;
#[path = "../fuzz/mod.rs"]
mod fuzz;

mod check_bench;
mod controller_points;
mod fit_findings;
mod fit_nozzle;
mod fit_pair;
mod fit_reference;
mod numbers_conformity;
mod numbers_distributions;
mod numbers_fits;
mod numbers_fluids;
mod numbers_interpolation;
mod numbers_linear;
mod numbers_operating_points;
mod numbers_posteriors;
mod numbers_sensor;
mod numbers_series;
mod numbers_statistics;
mod numbers_uncertainty;
mod numbers_weighing;
mod record_disk;
mod record_folder;
mod reduce_points;
mod reduce_run;
mod reduce_slope;
mod report_charts;
mod report_colours;
mod report_formats;
mod report_page;
mod run_loop;
mod script_hostile;
mod script_messages;
mod script_quantity;
mod script_rig;
mod script_scenario;
mod script_schema;
mod script_yaml;
mod switch_conditions;
mod switch_reference;
mod switch_run;
mod switch_window;
mod tidy;
mod uncertainty;
mod virtual_bench_devices;
mod virtual_bench_plant;
mod virtual_bench_timing;
mod wire_dialects;
mod wire_exchange;
mod wire_faults_content;
mod wire_faults_form;
mod wire_faults_late;
mod wire_faults_opening;
mod wire_faults_random;
mod wire_properties;
mod wire_reference;
