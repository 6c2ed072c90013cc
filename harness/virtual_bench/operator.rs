//! The operator of the virtual bench: does what a scenario asks a person to do.
//!
//! In: a request in words. Out: what happens on the bench, and an answer. A request that is not understood is answered
//! with an empty line, as by a person who only presses Enter. Never: a look at what is being measured.

use super::bench::Bench;
use crate::clock::Moment;

/// Does what `request` asks, and answers.
pub(super) fn act(bench: &mut Bench, request: &str, now: Moment) -> String {
    let request = request.to_ascii_lowercase();
    let has = |words: &[&str]| words.iter().all(|word| request.contains(word));
    let weight_g = bench.config().scale.check_weight_g;
    if has(&["mount nozzle "]) {
        let name = request.split("mount nozzle ").nth(1).unwrap_or_default();
        let name = name.split([',', '.', ' ']).next().unwrap_or_default().to_ascii_uppercase();
        // A nozzle that the bench does not have stays in the drawer; the old one sprays on, as on a real bench.
        let _ = bench.mount(&name, now);
    } else if has(&["empty the cup"]) {
        bench.empty_cup(now);
    } else if has(&["weight off"]) {
        bench.load_pan(-weight_g);
    } else if has(&["put the check weight"]) {
        bench.load_pan(weight_g);
    } else if has(&["reference clock", "full minute"]) {
        bench.start_reference_clock(now);
    } else if has(&["reference clock", "seconds"]) {
        return bench.reference_clock_s(now).map_or_else(String::new, |s| format!("{s:.1}"));
    }
    String::new()
}
