//! `dutycup emulate RIG [--ports DIR]`: serves a rig's virtual bench on pseudo-terminals at real time.
//!
//! Each instrument gets a link `DIR/<instrument>`; `DIR/rig.yaml` is the rig that names those links, to run against
//! with `--arm` and its name. Ends on Ctrl-C, SIGTERM or SIGHUP, and then prints one line of JSON with the longest
//! time the pump stayed on after the last heartbeat.

use super::signals::with_signals;
use super::{Failure, Outcome, data, say, write_text};
use crate::chance::Seed;
use crate::clock::SystemClock;
use crate::exit::Exit;
use crate::port::in_process::StopFlag;
use crate::port::pty::Pty;
use crate::problem::Problem;
use crate::virtual_bench::{Bench, Device, VirtualBench, build};
use clap::Args;
use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::io::Errno;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Longest sleep between two looks at the bench.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// Largest chunk read at once.
const CHUNK_BYTES: usize = 1024;

/// Options of `emulate`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Rig file with a `virtual_bench:` section.
    rig: PathBuf,
    /// Folder for the links and `rig.yaml`; made if it is not there.
    #[arg(long, value_name = "DIR", default_value = "ports")]
    ports: PathBuf,
    /// Seed of the bench's noise and errors.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let rig = crate::script::load_rig(&options.rig)?;
    let Some(section) = &rig.virtual_bench else {
        let what = format!("{} has no `virtual_bench:` section", options.rig.display());
        return Err(Problem::new(what).help("copy the section from rigs/virtual.yaml").into());
    };
    let bench = build(section, Seed(options.seed))?;
    let ptys = open_ptys(&bench)?;
    let links = Links::make(&options.ports, &bench, &ptys)?;
    let rig_file = options.ports.join("rig.yaml");
    write_text(&rig_file, &rig_with_ports(&rig.source, &options.ports, bench.devices())?)?;
    say(&format!(
        "serving {} on {} ports; run against it with: --rig {} --arm {}",
        rig.name,
        ptys.len(),
        rig_file.display(),
        rig.name
    ));
    let stop = StopFlag::default();
    let heard = stop.clone();
    let bench = with_signals(move |exit| heard.set(exit), || serve(bench, &ptys, &stop))?;
    drop(links);
    let longest_ms = bench.after_last_heartbeat().as_secs_f64() * 1e3;
    data(&format!("{{\"longest_on_after_last_heartbeat_ms\": {longest_ms:.1}}}\n"));
    Ok(Exit::Pass)
}

fn open_ptys(bench: &Bench) -> Result<Vec<Pty>, Failure> {
    bench
        .devices()
        .iter()
        .map(|_| Pty::open().map_err(|e| Failure::write(Path::new("/dev/ptmx"), &e.into())))
        .collect()
}

/// The links in the ports folder; removed when dropped.
struct Links(Vec<PathBuf>);

impl Links {
    fn make(dir: &Path, bench: &Bench, ptys: &[Pty]) -> Result<Self, Failure> {
        std::fs::create_dir_all(dir).map_err(|e| Failure::write(dir, &e))?;
        let mut links = Links(Vec::new());
        for (name, pty) in bench.devices().iter().zip(ptys) {
            let link = dir.join(name);
            if link.symlink_metadata().is_ok_and(|m| m.file_type().is_symlink()) {
                std::fs::remove_file(&link).map_err(|e| Failure::write(&link, &e))?;
            }
            std::os::unix::fs::symlink(pty.path(), &link).map_err(|e| Failure::write(&link, &e))?;
            links.0.push(link);
        }
        Ok(links)
    }
}

impl Drop for Links {
    fn drop(&mut self) {
        for link in &self.0 {
            let _ = std::fs::remove_file(link);
        }
    }
}

/// The rig's text with the path of each device's link, and without the virtual bench's truth.
fn rig_with_ports(source: &str, dir: &Path, devices: &[String]) -> Result<String, Failure> {
    let dir = dir.canonicalize().map_err(|e| Failure::write(dir, &e))?;
    let bad = |e: serde_yaml::Error| Failure::from(Problem::new(e.to_string()));
    let mut rig: serde_yaml::Value = serde_yaml::from_str(source).map_err(bad)?;
    if let Some(top) = rig.as_mapping_mut() {
        top.remove("virtual_bench");
    }
    let instruments = rig.get_mut("instruments").and_then(|i| i.as_sequence_mut());
    for instrument in instruments.into_iter().flatten().filter_map(|i| i.as_mapping_mut()) {
        let name = instrument.get("name").and_then(|n| n.as_str()).unwrap_or_default().to_owned();
        if devices.contains(&name) {
            let mut port = serde_yaml::Mapping::new();
            port.insert("path".into(), dir.join(&name).display().to_string().into());
            instrument.insert("port".into(), port.into());
        }
    }
    serde_yaml::to_string(&rig).map_err(bad)
}

/// Serves until `stop` is set; gives the bench back.
fn serve(mut bench: Bench, ptys: &[Pty], stop: &StopFlag) -> Bench {
    let clock = SystemClock::start();
    let mut chunk = [0_u8; CHUNK_BYTES];
    while stop.take().is_none() {
        let now = clock.now();
        bench.transmit(now, &mut |device: Device, bytes: &[u8]| write_master(&ptys[device.0], bytes));
        let span = bench.next_output().since(now).min(LOOK_EVERY);
        let mut fds: Vec<PollFd<'_>> = ptys.iter().map(|p| PollFd::new(&p.master, PollFlags::IN)).collect();
        let timeout = Timespec { tv_sec: 0, tv_nsec: i64::from(span.subsec_nanos()) };
        // An interrupted wait is as good as one that is over.
        let _ = rustix::event::poll(&mut fds, Some(&timeout));
        for (index, pty) in ptys.iter().enumerate() {
            if let Ok(n @ 1..) = rustix::io::read(&pty.master, &mut chunk) {
                bench.receive(Device(index), &chunk[..n], clock.now());
            }
        }
    }
    bench.transmit(clock.now(), &mut |_, _| {});
    bench
}

/// Writes what a device sends; a client that does not read loses it, as on a real line without handshake.
fn write_master(pty: &Pty, bytes: &[u8]) {
    match rustix::io::write(&pty.master, bytes) {
        Ok(_) | Err(Errno::AGAIN | Errno::IO) => {}
        Err(e) => tracing::warn!(error = %e, "pseudo-terminal write"),
    }
}
