//! The list of all faults: every row of the table of faults that must end safe, and every fault's name, with the tests that
//! provoke it. Fails where a row or a name has none, or where a test named here is not there.
//!
//! How: P pseudo-terminals, S scripted bytes and virtual time, X processes and signals, D disk.

use dutycup::door::problem::fault::FaultCode;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// Row, what goes wrong, how it is provoked, tests. A row that cannot be provoked here has no test and a reason.
#[rustfmt::skip]
const ROWS: &[(u8, &str, char, &[&str])] = &[
    (1, "unplugged while read", 'P', &["vanished_ports_end_the_run_by_name"]),
    (2, "unplugged, then read", 'P', &["vanished_ports_end_the_run_by_name"]),
    (3, "unplugged during a write", 'S', &["ports_that_vanish", "drawn_faults_end_safe"]),
    (4, "unplugged with bytes unread", 'P', &["vanished_ports_end_the_run_by_name"]),
    (5, "control port gone", 'S', &["ports_that_vanish"]),
    (6, "sensor port gone", 'S', &["ports_that_vanish"]),
    (7, "replugged under another name", 'S', &["ports_that_vanish", "a_run_goes_on_from_wherever_it_ended"]),
    (8, "adapters swapped or named twice", 'S', &["wrong_device_noise_before_the_identity", "ambiguous_two_instruments_on_one_port"]),
    (9, "port missing", 'P', &["a_missing_port_is_named_before_anything_is_energised"]),
    (10, "permission denied", 'P', &["port_denied_names_the_group"]),
    (11, "port busy", 'P', &["port_busy_is_not_written_to"]),
    (12, "second reader", 'S', &["shared_port_answers_that_somebody_else_reads"]),
    (13, "noise before the identity", 'S', &["wrong_device_noise_before_the_identity"]),
    (14, "port vanishes after the plug", 'P', &["vanished_ports_end_the_run_by_name"]),
    (15, "restart on opening", 'S', &["a_device_that_restarts_when_its_port_opens"]),
    (16, "reboot in mid-run", 'S', &["device_rebooted_a_banner_in_mid_run", "device_rebooted_in_mid_run"]),
    (17, "needs DTR", 'S', &["timeout_nothing_answers"]),
    (18, "wrong baud rate", 'S', &["garbage_at_a_wrong_baud_rate"]),
    (19, "digit lost", 'S', &["an_altered_digit_is_refused_or_within_the_range", "a_digit_lost_is_held_back_and_counted", "a_spike_is_held_back_and_a_new_level_is_taken"]),
    (20, "line cut anywhere", 'S', &["an_answer_cut_anywhere_is_the_same_answer"]),
    (21, "lines merged", 'S', &["merged_lines_and_a_half_one"]),
    (22, "line ends", 'S', &["every_line_end_is_understood_and_none_is_a_timeout"]),
    (23, "no terminator", 'S', &["frame_a_megabyte_without_a_line_end"]),
    (24, "echo", 'S', &["echo_of_a_cooked_line"]),
    (25, "stale data", 'S', &["stale_data_before_the_first_command"]),
    (26, "late reply", 'S', &["stale_a_late_answer_is_never_taken_for_the_next_one"]),
    (27, "drip", 'S', &["timeout_a_drip_does_not_extend_the_deadline"]),
    (28, "slow reply", 'S', &["a_slow_but_valid_answer_is_taken"]),
    (29, "frozen value", 'S', &["a_cup_that_is_lifted_bumped_or_stands_still", "gauge_open_short_frozen"]),
    (30, "duplicates", 'S', &["duplicated_and_reordered_samples_are_dropped_by_their_counter"]),
    (31, "batching jitter", '-', &[]),
    (32, "write stalls", 'S', &["write_stall"]),
    (33, "close never returns", '-', &[]),
    (34, "flood", 'S', &["overrun_a_flood", "ten_minutes_of_flood_take_no_memory", "garbage_flood_and_a_second_reader"]),
    (35, "scale never stable", 'S', &["unstable_a_scale_that_never_rests"]),
    (36, "overload", 'S', &["range_overload_and_everything_that_is_no_value"]),
    (37, "unit change", 'S', &["units_that_change_in_mid_run"]),
    (38, "decimal comma", 'S', &["frame_decimal_comma_and_thousands_mark"]),
    (39, "auto-tare, auto-off", 'S', &["a_cup_that_is_lifted_bumped_or_stands_still", "instruments_that_fall_silent"]),
    (40, "cup lifted, bumped, full", 'S', &["a_cup_that_is_lifted_bumped_or_stands_still"]),
    (41, "gauge rails, no pressure", 'S', &["gauge_open_short_frozen", "no_pressure_from_a_burst_hose_or_a_dry_tank"]),
    (42, "over-pressure", 'S', &["a_spike_over_the_limit_trips_at_once", "a_pressure_that_ramps_over_the_limit_trips", "a_limit_ends_the_run_safe"]),
    (43, "pressure stays", 'S', &["relay_stuck_pressure_that_stays"]),
    (44, "not finite", 'S', &["values_that_may_not_be_sent_are_refused"]),
    (45, "emergency stop", 'S', &["estop_and_its_release"]),
    (46, "watchdog trips", 'S', &["heartbeat_lost_on_the_way"]),
    (47, "heartbeat late", 'S', &["the_loop_stands_still"]),
    (48, "kill, abort", 'X', &["a_killed_or_frozen_run_leaves_the_pump_off_and_a_readable_record"]),
    (49, "stopped loop", 'X', &["a_killed_or_frozen_run_leaves_the_pump_off_and_a_readable_record"]),
    (50, "panic", 'S', &["a_panic_switches_off", "a_panic_of_the_thread_that_syncs_ends_the_run_while_it_goes_on"]),
    (51, "terminal gone", 'X', &["signals_end_the_run_safe_with_their_own_code"]),
    (52, "Ctrl-C, twice", 'S', &["signals_once_and_twice", "signals_end_the_run_safe_with_their_own_code"]),
    (53, "Ctrl-Z", 'X', &["ctrl_z_is_refused_with_the_pump_on"]),
    (54, "suspend", 'S', &["suspended_is_what_only_the_clock_since_boot_counts", "suspended_computer"]),
    (55, "wall clock jumps", '-', &[]),
    (56, "loop stall", 'S', &["the_loop_stands_still"]),
    (57, "disk full", 'D', &["disk_full_and_io_end_the_run", "whatever_operation_fails_what_was_written_before_is_kept", "little_room_is_refused_before_the_run"]),
    (58, "sync fails", 'D', &["a_sync_that_fails_in_the_background_names_the_doubtful_bytes"]),
    (59, "crash at every operation", 'D', &["whatever_operation_fails_what_was_written_before_is_kept", "files_are_replaced_whole_or_not_at_all"]),
    (60, "power loss", '-', &[]),
    (61, "folder not empty, a link", 'D', &["folders_that_hold_something_or_are_links_are_refused", "a_planted_link_is_not_followed"]),
    (62, "two runs", 'X', &["a_second_run_is_refused_and_the_first_goes_on", "bench_locked_a_port_is_held_once_under_all_its_names"]),
    (63, "plan edited", 'D', &["a_plan_edited_during_the_run_is_noted_and_not_used"]),
    (64, "firmware version", 'S', &["version_another_firmware_is_refused"]),
    (65, "battery", 'S', &["power_low_ends_the_run_and_mains_lost_is_said"]),
];

/// Why a row has no test.
const NOT_HERE: &[(u8, &str)] = &[
    (31, "batching by an adapter's timer needs the adapter; a pseudo-terminal hands over at once"),
    (
        33,
        "a pseudo-terminal's close always returns; output is thrown away before closing, which no test can see there",
    ),
    (
        55,
        "setting the system's clock needs privileges; every duration comes from the monotonic clock, which `clock` alone reads",
    ),
    (60, "cutting the power needs a block device that forgets; row 59 stands for what a journal may lose"),
];

/// A name's tests, where the table of rows does not already name them.
#[rustfmt::skip]
const CODES: &[(&str, &[&str])] = &[
    ("PORT_GONE", &["vanished_ports_end_the_run_by_name"]),
    ("PORT_NOT_FOUND", &["a_missing_port_is_named_before_anything_is_energised"]),
    ("PORT_DENIED", &["port_denied_names_the_group"]),
    ("PORT_BUSY", &["port_busy_is_not_written_to"]),
    ("SHARED_PORT", &["shared_port_answers_that_somebody_else_reads"]),
    ("CONTROL_LOST", &["ports_that_vanish"]),
    ("SENSOR_LOST", &["ports_that_vanish"]),
    ("WRONG_DEVICE", &["wrong_device_noise_before_the_identity"]),
    ("AMBIGUOUS", &["ambiguous_two_instruments_on_one_port"]),
    ("VERSION", &["version_another_firmware_is_refused"]),
    ("DEVICE_REBOOTED", &["device_rebooted_a_banner_in_mid_run"]),
    ("GARBAGE", &["garbage_at_a_wrong_baud_rate"]),
    ("ECHO", &["echo_of_a_cooked_line"]),
    ("TIMEOUT", &["timeout_nothing_answers"]),
    ("FRAME", &["frame_a_megabyte_without_a_line_end"]),
    ("STALE", &["resynchronising_takes_at_most_two_requests"]),
    ("DEVICE", &["device_a_refused_command"]),
    ("FROZEN", &["a_cup_that_is_lifted_bumped_or_stands_still"]),
    ("OVERRUN", &["overrun_a_flood"]),
    ("WRITE_STALL", &["write_stall_a_peer_that_does_not_read"]),
    ("UNSTABLE", &["unstable_a_scale_that_never_rests"]),
    ("RANGE", &["range_overload_and_everything_that_is_no_value"]),
    ("UNITS", &["units_that_change_in_mid_run"]),
    ("SCALE_STEP", &["a_cup_that_is_lifted_bumped_or_stands_still"]),
    ("SENSOR_FAULT", &["gauge_open_short_frozen"]),
    ("NO_PRESSURE", &["no_pressure_from_a_burst_hose_or_a_dry_tank"]),
    ("LIMIT", &["a_spike_over_the_limit_trips_at_once"]),
    ("RELAY_STUCK", &["relay_stuck_pressure_that_stays"]),
    ("CONFIG", &["values_that_may_not_be_sent_are_refused"]),
    ("ESTOP", &["estop_and_its_release"]),
    ("HEARTBEAT", &["heartbeat_lost_on_the_way"]),
    ("SUSPENDED", &["suspended_computer"]),
    ("POWER_LOW", &["power_low_ends_the_run_and_mains_lost_is_said"]),
    ("DISK_FULL", &["disk_full_and_io_end_the_run"]),
    ("IO", &["disk_full_and_io_end_the_run"]),
    ("BENCH_LOCKED", &["bench_locked_a_port_is_held_once_under_all_its_names"]),
];

/// Names of all tests: functions that follow `#[test]`.
fn tests() -> BTreeSet<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (mut folders, mut found) = (vec![root.join("tests"), root.join("harness")], BTreeSet::new());
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = fs::read_to_string(path).expect("a source");
                let after = text.split("#[test]\n").skip(1);
                let name = |rest: &str| {
                    let (_, rest) = rest.split_once("fn ")?;
                    Some(rest.split_once('(')?.0.to_owned())
                };
                found.extend(after.filter_map(name));
            }
        }
    }
    found
}

#[test]
fn every_row_and_every_name_has_a_test() {
    let there = tests();
    let missing = |what: String, named: &[&str]| {
        for name in named {
            assert!(there.contains(*name), "{what}: there is no test `{name}`");
        }
    };
    let rows: Vec<u8> = ROWS.iter().map(|(row, ..)| *row).collect();
    assert_eq!(rows, (1..=65).collect::<Vec<u8>>());
    for (row, what, how, named) in ROWS {
        let reason = NOT_HERE.iter().find(|(r, _)| r == row);
        assert_eq!(named.is_empty(), reason.is_some(), "row {row}, {what}: a test or a reason");
        assert_eq!(*how == '-', named.is_empty(), "row {row}");
        missing(format!("row {row}, {what}"), named);
    }
    let codes: Vec<&str> = CODES.iter().map(|(code, _)| *code).collect();
    let all: Vec<&str> = FaultCode::ALL.iter().map(|code| code.name()).collect();
    assert_eq!(codes, all, "every name, in the order they are declared");
    for (code, named) in CODES {
        assert!(!named.is_empty(), "{code} has no test");
        missing((*code).to_owned(), named);
    }
}
