//! Real serial ports, and pseudo-terminals that look like them, on the real clock.
//!
//! In: port settings of the rig. Out: bytes with the moment they were read. The bench loop's own thread waits for every
//! port and for its next moment at once, in one call of the system with an absolute alarm: no async timer, no second
//! thread and no queue stands between a set point and its moment, or between an answer and the next request. Never: a
//! guess at what bytes mean.

use super::lock::BenchLock;
use super::power::{Power, SUPPLIES};
use super::{Arrival, Ports, WRITE_WITHIN_MS};
use crate::clock::{Alarm, Moment, SleepWatch, SystemClock};
use crate::exit::Exit;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::rig::{Parity, PortSpec, Rig};
use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use serialport::{ClearBuffer, SerialPort as _, TTYPort};
use std::io::{ErrorKind, Read as _, Write as _};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;

/// Most wishes of signals and operator that may wait for the bench loop.
const QUEUE_ITEMS: usize = 256;
/// Largest chunk read at once; what a port has beyond that waits for the next turn of the loop.
const CHUNK_BYTES: usize = 1024;
/// Longest wait without a look, whatever the deadline.
const LOOK_WITHIN: Duration = Duration::from_secs(3600);

/// Time between looks at the computer itself: whether it slept, and what it runs on.
const LOOK_EVERY: Duration = Duration::from_secs(5);

/// What signals and the operator put in the queue.
#[derive(Debug)]
enum Item {
    Answer(String),
    Stop(Exit),
}

/// A way to the bench loop for signals and the operator.
#[derive(Clone, Debug)]
pub struct Handle {
    queue: SyncSender<(Moment, Item)>,
    bell: Arc<UnixStream>,
    clock: SystemClock,
}

impl Handle {
    /// Asks the bench to end safely.
    pub fn stop(&self, exit: Exit) {
        // A full or closed queue means that the loop is being stopped already or is gone.
        let _ = self.queue.try_send((self.clock.now(), Item::Stop(exit)));
        self.ring();
    }

    /// Hands over the operator's answer.
    pub fn answer(&self, text: String) {
        let _ = self.queue.send((self.clock.now(), Item::Answer(text)));
        self.ring();
    }

    /// Wakes the loop; a bell that is full rings already.
    fn ring(&self) {
        let _ = (&*self.bell).write(&[1]);
    }
}

/// One open port.
struct Line {
    /// Holds the port with its settings.
    settings: TTYPort,
    /// What is read and written; it never blocks.
    device: OwnedFd,
    /// Whether it is still there to be read.
    there: bool,
}

/// The open ports of a rig.
pub struct SerialPorts {
    clock: SystemClock,
    alarm: Alarm,
    lines: Vec<Option<Line>>,
    names: Vec<String>,
    queue: Receiver<(Moment, Item)>,
    heard: UnixStream,
    handle: Handle,
    ask: Box<dyn FnMut(&str) + Send>,
    sleep: SleepWatch,
    power: Power,
    next_look: Moment,
    _lock: Option<BenchLock>,
}

impl std::fmt::Debug for SerialPorts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SerialPorts").field("names", &self.names).finish_non_exhaustive()
    }
}

impl SerialPorts {
    /// Opens every port of `rig`; `ask` shows the operator a question. What could not be opened comes back beside
    /// the ports, with the instrument's index: `PORT_NOT_FOUND`, `PORT_DENIED`, `PORT_BUSY`, `BENCH_LOCKED` or
    /// `AMBIGUOUS` (no port is opened then), or `PORT_GONE` where the
    /// driver says something else.
    ///
    /// # Errors
    /// `IO` where the system has no alarm or no socket pair left.
    pub fn open(
        rig: &Rig,
        clock: SystemClock,
        ask: Box<dyn FnMut(&str) + Send>,
    ) -> Result<(Self, Vec<(usize, Fault)>), Fault> {
        let (sender, queue) = sync_channel(QUEUE_ITEMS);
        let broken = |e: std::io::Error| Fault::new(FaultCode::Io, "serial ports", e.to_string(), "");
        let (bell, heard) = UnixStream::pair().map_err(broken)?;
        for end in [&bell, &heard] {
            end.set_nonblocking(true).map_err(broken)?;
        }
        let handle = Handle { queue: sender, bell: Arc::new(bell), clock };
        let (mut lines, mut failed) = (Vec::new(), Vec::new());
        let paths = rig.instruments.iter().filter_map(|i| i.port.path.as_deref());
        let lock = BenchLock::take(&rig.name, paths).map_err(|fault| failed.push((0, fault))).ok();
        for (index, instrument) in rig.instruments.iter().enumerate() {
            if lock.is_none() {
                lines.push(None);
                continue;
            }
            let opened = instrument.port.path.as_ref().map(|path| open_line(path, &instrument.port));
            lines.push(match opened {
                Some(Ok(line)) => Some(line),
                Some(Err(fault)) => {
                    failed.push((index, fault));
                    None
                }
                None => None,
            });
        }
        let ports = SerialPorts {
            clock,
            alarm: Alarm::new(clock).map_err(broken)?,
            lines,
            names: rig.instruments.iter().map(|i| i.name.clone()).collect(),
            queue,
            heard,
            handle,
            ask,
            sleep: SleepWatch::default(),
            power: Power::default(),
            next_look: Moment::START,
            _lock: lock,
        };
        Ok((ports, failed))
    }

    /// A way to the loop for signals and the operator.
    #[must_use]
    pub fn handle(&self) -> Handle {
        self.handle.clone()
    }

    /// Whether the computer slept, and what it runs on.
    fn look_at_the_computer(&mut self) -> Option<Fault> {
        let now = self.clock.now();
        if let Some(slept) = self.sleep.look() {
            let seen = format!("the computer slept for {:.1} s during the run", slept.as_secs_f64());
            let help = "keep it awake (lid open, no suspend), look at the bench, then run again";
            return Some(Fault::new(FaultCode::Suspended, "computer", seen, help));
        }
        if now < self.next_look {
            return None;
        }
        self.next_look = now + LOOK_EVERY;
        let power = Power::look(Path::new(SUPPLIES));
        if let Some(warning) = power.warning(self.power) {
            (self.ask)(&warning);
        }
        self.power = power;
        power.fault()
    }

    /// Waits for bytes, the bell or the alarm; whether the bell rang, and which ports have something.
    fn waited(&self) -> (bool, Vec<usize>) {
        let mut fds = vec![PollFd::new(&self.heard, PollFlags::IN)];
        let mut ports = Vec::with_capacity(self.lines.len());
        for (index, line) in self.lines.iter().enumerate() {
            if let Some(line) = line.as_ref().filter(|l| l.there) {
                fds.push(PollFd::new(&line.device, PollFlags::IN));
                ports.push(index);
            }
        }
        // A wait that was interrupted is as good as one that is over: the caller looks at the time.
        if self.alarm.wait(&mut fds).is_err() {
            return (false, Vec::new());
        }
        let rang = !fds[0].revents().is_empty();
        let mut ready = fds[1..].iter().map(|fd| !fd.revents().is_empty());
        ports.retain(|_| ready.next() == Some(true));
        (rang, ports)
    }

    /// Waits until a port takes bytes again, or until `until`.
    fn until_room(&self, line: &Line, until: Moment) {
        let span = until.since(self.clock.now());
        let timeout = Timespec { tv_sec: span.as_secs() as i64, tv_nsec: i64::from(span.subsec_nanos()) };
        // Whatever it comes to, the next write tells.
        let _ = rustix::event::poll(&mut [PollFd::new(&line.device, PollFlags::OUT)], Some(&timeout));
    }

    /// Reads what a port has.
    fn read(&mut self, index: usize, at: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) {
        let Some(line) = &mut self.lines[index] else {
            return;
        };
        let mut chunk = [0_u8; CHUNK_BYTES];
        let seen = match rustix::io::read(&line.device, &mut chunk) {
            Ok(0) => "the device hung up".to_owned(),
            Ok(n) => return take(at, Arrival::Bytes(index, &chunk[..n])),
            Err(Errno::AGAIN | Errno::INTR) => return,
            Err(e) => e.to_string(),
        };
        line.there = false;
        let help = "check plug and cable; if it vanished seconds after plugging in, a braille-display daemon (brltty) \
                    may have claimed it";
        let fault = Fault::new(FaultCode::PortGone, &self.names[index], seen, help);
        take(at, Arrival::Lost(index, fault));
    }
}

/// Opens a device to write to and to read from.
fn open_line(path: &str, spec: &PortSpec) -> Result<Line, Fault> {
    // First this one: once the port is held for us alone, nobody opens it again. Why it fails the other one tells.
    let device = rustix::fs::open(
        path,
        OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC,
        Mode::empty(),
    );
    let settings = open_tty(path, spec)?;
    let device = device.map_err(|e| open_fault(path, &std::io::Error::from(e).into()))?;
    Ok(Line { settings, device, there: true })
}

/// Opens a device with the rig's line settings.
fn open_tty(path: &str, spec: &PortSpec) -> Result<TTYPort, Fault> {
    if !Path::new(path).exists() {
        return Err(Fault::new(
            FaultCode::PortNotFound,
            path,
            "there is no such device",
            format!("plug the adapter in, or name one of: {}", candidates()),
        ));
    }
    let parity = match spec.parity {
        Parity::None => serialport::Parity::None,
        Parity::Even => serialport::Parity::Even,
        Parity::Odd => serialport::Parity::Odd,
    };
    let data_bits =
        if spec.data_bits == 7 { serialport::DataBits::Seven } else { serialport::DataBits::Eight };
    let stop_bits = if spec.stop_bits == 2 { serialport::StopBits::Two } else { serialport::StopBits::One };
    let opened = serialport::new(path, spec.baud)
        .parity(parity)
        .data_bits(data_bits)
        .stop_bits(stop_bits)
        .timeout(Duration::from_millis(WRITE_WITHIN_MS))
        .open_native();
    opened.map_err(|e| open_fault(path, &e))
}

/// Why a device could not be opened, in words that lead to the cure.
fn open_fault(path: &str, error: &serialport::Error) -> Fault {
    let text = error.to_string();
    match error.kind() {
        serialport::ErrorKind::Io(ErrorKind::PermissionDenied) => Fault::new(
            FaultCode::PortDenied,
            path,
            text,
            format!("ask for membership of the group that owns the device ({})", owner_group(path)),
        ),
        serialport::ErrorKind::NoDevice if text.contains("lock") || text.contains("busy") => Fault::new(
            FaultCode::PortBusy,
            path,
            "another program holds it",
            "close that program; nothing was sent to the device",
        ),
        serialport::ErrorKind::Io(ErrorKind::ResourceBusy) => Fault::new(
            FaultCode::PortBusy,
            path,
            "another program holds it",
            "close that program; nothing was sent to the device",
        ),
        serialport::ErrorKind::Io(ErrorKind::NotFound) => Fault::new(
            FaultCode::PortNotFound,
            path,
            text,
            format!("plug the adapter in, or name one of: {}", candidates()),
        ),
        _ => Fault::new(FaultCode::PortGone, path, text, "check the adapter and its cable"),
    }
}

/// The name of the group that owns a device, or its number.
fn owner_group(path: &str) -> String {
    use std::os::unix::fs::MetadataExt;
    let Ok(meta) = std::fs::metadata(path) else {
        return "unknown".into();
    };
    let groups = std::fs::read_to_string("/etc/group").unwrap_or_default();
    let gid = meta.gid().to_string();
    let named = groups.lines().find(|line| line.split(':').nth(2) == Some(gid.as_str()));
    named.and_then(|line| line.split(':').next()).map_or(gid.clone(), str::to_owned)
}

/// Serial devices found on this machine, for messages.
#[must_use]
pub fn candidates() -> String {
    if !crate::system::serial_devices_are_listed() {
        return "(this machine lists no serial devices)".into();
    }
    let found: Vec<String> =
        serialport::available_ports().unwrap_or_default().into_iter().map(|p| p.port_name).collect();
    if found.is_empty() { "(none found on this machine)".into() } else { found.join(", ") }
}

impl Ports for SerialPorts {
    fn now(&self) -> Moment {
        self.clock.now()
    }

    fn wait(&mut self, deadline: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) -> Moment {
        let now = self.clock.now();
        self.alarm.set(deadline.min(now + LOOK_WITHIN));
        let (rang, ready) = self.waited();
        let at = self.clock.now();
        for index in ready {
            self.read(index, at, take);
        }
        if rang {
            let mut rings = [0; 64];
            while matches!(self.heard.read(&mut rings), Ok(n) if n == rings.len()) {}
            while let Ok((at, item)) = self.queue.try_recv() {
                match item {
                    Item::Answer(text) => take(at, Arrival::Answer(&text)),
                    Item::Stop(exit) => take(at, Arrival::Stop(exit)),
                }
            }
        }
        if let Some(fault) = self.look_at_the_computer() {
            take(self.clock.now(), Arrival::Lost(usize::MAX, fault));
        }
        self.clock.now()
    }

    fn send(&mut self, port: usize, bytes: &[u8]) -> Result<(), Fault> {
        let Some(Some(line)) = self.lines.get(port) else {
            return Ok(());
        };
        let fail = |code, seen: &str| Err(write_fault(&self.names[port], code, seen));
        let until = self.clock.now() + Duration::from_millis(WRITE_WITHIN_MS);
        let mut rest = bytes;
        while !rest.is_empty() {
            match rustix::io::write(&line.device, rest) {
                Ok(0) => return fail(FaultCode::PortGone, "no byte was taken"),
                Ok(n) => rest = &rest[n..],
                Err(Errno::INTR) => {}
                Err(Errno::AGAIN) if self.clock.now() < until => self.until_room(line, until),
                Err(Errno::AGAIN) => {
                    let seen = format!("{} of {} bytes not taken in time", rest.len(), bytes.len());
                    return fail(FaultCode::WriteStall, &seen);
                }
                Err(e) => return fail(FaultCode::PortGone, &e.to_string()),
            }
        }
        Ok(())
    }

    fn ask(&mut self, question: &str) {
        (self.ask)(question);
    }

    fn show(&mut self, text: &str) {
        (self.ask)(text);
    }
}

fn write_fault(name: &str, code: FaultCode, seen: &str) -> Fault {
    Fault::new(code, name, format!("while writing: {seen}"), "check plug and cable")
}

impl Drop for SerialPorts {
    fn drop(&mut self) {
        for line in self.lines.iter().flatten() {
            // What a stalled device has not taken must not hold up closing.
            let _ = line.settings.clear(ClearBuffer::Output);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn port_denied_names_the_group() {
        // Source: Linux's device list (admin-guide/devices.txt): /dev/null belongs to root; group 0 is named root.
        let denied = serialport::Error::new(
            serialport::ErrorKind::Io(ErrorKind::PermissionDenied),
            "Permission denied",
        );
        let fault = open_fault("/dev/null", &denied);
        assert_eq!(fault.code, FaultCode::PortDenied);
        assert!(fault.help.contains("(root)"), "{fault}");
        assert!(!fault.to_string().contains("sudo"));
    }
}
