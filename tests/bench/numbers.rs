//! Every number that the program is to reach, measured beside its floor or peer in one run.
//!
//! In: `cargo bench --bench numbers -- [--quick] [--only N3,N6] [--build]`. Out: one table on stdout; exit 1 where a
//! peer could not be had. The peers are general-purpose tools run by Python from `tests/bench/peers/`.

#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::unwrap_used,
    reason = "a benchmark prints, and stops at the first surprise"
)]

#[path = "../support/study/bench.rs"]
mod bench;
#[path = "../support/record_rig/mod.rs"]
mod record_rig;
#[path = "../support/study/truth.rs"]
mod truth;
#[path = "../support/wire_rig/mod.rs"]
mod wire_rig;

mod numbers {
    pub(crate) mod build;
    pub(crate) mod command;
    pub(crate) mod far_end;
    pub(crate) mod lateness;
    pub(crate) mod long_record;
    pub(crate) mod peers;
    pub(crate) mod plant;
    pub(crate) mod process;
    pub(crate) mod record;
    pub(crate) mod refits;
    pub(crate) mod shell;
    pub(crate) mod table;
}

use numbers::table::Table;
use numbers::{build, command, long_record, plant, record, refits, shell};
use std::path::Path;
use std::process::ExitCode;

/// What was asked for on the command line.
struct Asked {
    quick: bool,
    build: bool,
    only: Option<String>,
}

impl Asked {
    fn read() -> Asked {
        let args: Vec<String> = std::env::args().collect();
        let has = |flag: &str| args.iter().any(|a| a == flag);
        let only = args.iter().position(|a| a == "--only").and_then(|i| args.get(i + 1));
        Asked { quick: has("--quick"), build: has("--build"), only: only.cloned() }
    }

    fn wants(&self, id: &str) -> bool {
        self.only.as_ref().is_none_or(|only| only.split(',').any(|o| o == id))
    }
}

fn main() -> ExitCode {
    if let Some(done) = as_child() {
        return done;
    }
    let asked = Asked::read();
    let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder below target/");
    let mut table = Table::default();
    run(&asked, &mut table, dir.path());
    println!("{}", table.text());
    if table.whole() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// What this program does as a child of itself, measured from outside.
fn as_child() -> Option<ExitCode> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [flag, dir] = args.first_chunk()?;
    let dir = Path::new(dir);
    match flag.as_str() {
        long_record::GO_THROUGH => print!("{}", long_record::go_through(dir)),
        long_record::REDUCE => println!("{} collections", long_record::reduce(dir)),
        _ => return None,
    }
    Some(ExitCode::SUCCESS)
}

fn run(asked: &Asked, table: &mut Table, dir: &Path) {
    let quick = asked.quick;
    type Part<'a> = (&'a str, &'a dyn Fn(&mut Table));
    let parts: [Part<'_>; 11] = [
        ("N1", &|t| plant::whole_bench(t, dir, quick)),
        ("N2", &|t| plant::physics(t, quick)),
        ("N3", &|t| shell::playback(t, dir, quick)),
        ("N4", &|t| shell::round_trip(t, dir, quick)),
        ("N5", &|t| record::measure(t, dir, quick)),
        ("N6", &|t| long_record::measure(t, dir, quick)),
        ("N7", &|t| refits::measure(t, quick)),
        ("N8", &|t| command::start(t, dir, quick)),
        ("N9", &|t| command::job(t, dir, quick)),
        ("N10", &|t| command::memory(t, dir, quick)),
        ("growth", &|t| long_record::growth(t, dir, quick)),
    ];
    for (id, part) in parts {
        if asked.wants(id) {
            part(table);
        }
    }
    if asked.build {
        build::measure(table, dir);
    }
}
