//! Every parser fed with real inputs, altered at random; and, as an example program, with whatever a fuzzer gives it.
//!
//! In: the inputs that `targets.rs` names, a number of rounds a target (`DUTYCUP_FUZZ_ROUNDS`) and a seed
//! (`DUTYCUP_FUZZ_SEED`). Out: the target, the seed and the input that broke a promise; the input is also kept under
//! `target/tmp/fuzz/`. Never: a random number without a seed, or time as a judge.
//!
//! `cargo build --example fuzz`, then `fuzz TARGET < input`: what a fuzzer that speaks over standard input calls.

mod disk;
mod lines;
mod mutate;
mod targets;

use dutycup::door::chance::*;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use targets::{TARGETS, Target};

fn variable(name: &str, otherwise: u64) -> u64 {
    let given = std::env::var(name).ok();
    given.map_or(otherwise, |text| text.parse().unwrap_or_else(|_| panic!("{name}={text} is not a number")))
}

fn play(target: &Target, seed: u64, rounds: u64) -> Result<(), String> {
    let inputs = target.inputs();
    inputs.iter().for_each(|input| (target.run)(input));
    for round in 0..rounds {
        let mut chance = Seed(seed + round).stream(target.name);
        let pick = |chance: &mut Stream| &inputs[chance.random_range(0..inputs.len())];
        let (input, other) = (pick(&mut chance), pick(&mut chance));
        let bytes = mutate::altered(&mut chance, input, other);
        if catch_unwind(AssertUnwindSafe(|| (target.run)(&bytes))).is_err() {
            let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join("fuzz");
            let name = kept.join(format!("{}-{}", target.name, seed + round));
            let _ = fs::create_dir_all(&kept).and_then(|()| fs::write(&name, &bytes));
            return Err(format!(
                "{} with DUTYCUP_FUZZ_SEED={} DUTYCUP_FUZZ_ROUNDS=1; input in {}",
                target.name,
                seed + round,
                name.display()
            ));
        }
    }
    Ok(())
}

#[test]
fn no_altered_input_breaks_a_parser() {
    let (seed, rounds) = (variable("DUTYCUP_FUZZ_SEED", 1), variable("DUTYCUP_FUZZ_ROUNDS", 150));
    let next = std::sync::atomic::AtomicUsize::new(0);
    let work = || {
        let mut broken = Vec::new();
        while let Some(target) = TARGETS.get(next.fetch_add(1, std::sync::atomic::Ordering::Relaxed)) {
            broken.extend(play(target, seed, rounds).err());
        }
        broken
    };
    let broken: Vec<String> = std::thread::scope(|scope| {
        let threads = [scope.spawn(work), scope.spawn(work)];
        threads.into_iter().flat_map(|t| t.join().unwrap_or_else(|_| panic!("a worker ended"))).collect()
    });
    assert!(broken.is_empty(), "{broken:#?}");
}

/// What the targets find wrong is really looked for.
#[test]
fn the_promises_can_be_broken() {
    for bad in ["\u{1b}[2J", "a\tb", "\u{61c}", "\u{200d}", "\u{9b}"] {
        assert!(catch_unwind(|| targets::safe(bad)).is_err(), "{bad:?}");
    }
    targets::safe("two\nlines of \u{e9}");
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(catch_unwind(|| targets::finite(&[1.0, bad])).is_err(), "{bad}");
    }
    targets::finite(&("NaN inf", "a \" inf", 1.0));
}
