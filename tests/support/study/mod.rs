//! Random pairs with their truth, the bench that measures them, and what came of it.

pub(crate) mod bench;
pub(crate) mod outcome;
pub(crate) mod truth;

/// How many rounds a study has: few in `cargo test`, all of them with `DUTYCUP_STUDIES=long`.
pub(crate) fn rounds(short: u64, long: u64) -> u64 {
    match std::env::var("DUTYCUP_STUDIES").as_deref() {
        Ok("long") => long,
        Ok(other) => panic!("DUTYCUP_STUDIES={other}: `long`, or not set"),
        Err(_) => short,
    }
}
