//! Real serial ports, and pseudo-terminals that look like them, on the real clock.
//!
//! In: port settings of the rig. Out: bytes with the moment they were read. Each port has a reading thread that
//! blocks in the driver and stamps what it reads; the bench loop waits on one queue with an absolute deadline, so no
//! async timer stands between a set point and its moment. Never: a guess at what bytes mean.

use super::{Arrival, Ports, WRITE_WITHIN_MS};
use crate::clock::{Moment, SystemClock};
use crate::exit::Exit;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::rig::{Parity, PortSpec, Rig};
use serialport::{ClearBuffer, SerialPort as _, TTYPort};
use std::io::{ErrorKind, Read, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// Most chunks that may wait for the bench loop before bytes are dropped and counted.
const QUEUE_CHUNKS: usize = 256;
/// Largest chunk read at once.
const CHUNK_BYTES: usize = 1024;
/// Longest a reading thread sleeps in the driver, and so the longest it takes to notice that it should end.
const READ_WITHIN: Duration = Duration::from_millis(50);

/// What reading threads, signals and the operator put in the queue.
#[derive(Debug)]
enum Item {
    Bytes(usize, Vec<u8>),
    Lost(usize, Fault),
    Answer(String),
    Stop(Exit),
}

/// A way into the queue for signals and the operator.
#[derive(Clone, Debug)]
pub struct Handle {
    queue: SyncSender<(Moment, Item)>,
    clock: SystemClock,
}

impl Handle {
    /// Asks the bench to end safely.
    pub fn stop(&self, exit: Exit) {
        // A full or closed queue means that the loop is being stopped already or is gone.
        let _ = self.queue.try_send((self.clock.now(), Item::Stop(exit)));
    }

    /// Hands over the operator's answer.
    pub fn answer(&self, text: String) {
        let _ = self.queue.send((self.clock.now(), Item::Answer(text)));
    }
}

/// The open ports of a rig.
pub struct SerialPorts {
    clock: SystemClock,
    writers: Vec<Option<TTYPort>>,
    names: Vec<String>,
    readers: Vec<JoinHandle<()>>,
    queue: Receiver<(Moment, Item)>,
    handle: Handle,
    closing: Arc<AtomicBool>,
    dropped: Arc<AtomicU64>,
    ask: Box<dyn FnMut(&str) + Send>,
}

impl std::fmt::Debug for SerialPorts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SerialPorts")
            .field("names", &self.names)
            .finish_non_exhaustive()
    }
}

impl SerialPorts {
    /// Opens every port of `rig`; `ask` shows the operator a question. What could not be opened comes back beside
    /// the ports, with the instrument's index: `PORT_NOT_FOUND`, `PORT_DENIED`, `PORT_BUSY`, or `PORT_GONE` where the
    /// driver says something else.
    pub fn open(
        rig: &Rig,
        clock: SystemClock,
        ask: Box<dyn FnMut(&str) + Send>,
    ) -> (Self, Vec<(usize, Fault)>) {
        let (sender, queue) = sync_channel(QUEUE_CHUNKS);
        let handle = Handle { queue: sender, clock };
        let mut ports = SerialPorts {
            clock,
            writers: Vec::new(),
            names: rig.instruments.iter().map(|i| i.name.clone()).collect(),
            readers: Vec::new(),
            queue,
            handle,
            closing: Arc::new(AtomicBool::new(false)),
            dropped: Arc::new(AtomicU64::new(0)),
            ask,
        };
        let mut failed = Vec::new();
        for (index, instrument) in rig.instruments.iter().enumerate() {
            let opened = instrument
                .port
                .path
                .as_ref()
                .map(|path| ports.open_one(index, path, &instrument.port));
            ports.writers.push(match opened {
                Some(Ok(writer)) => Some(writer),
                Some(Err(fault)) => {
                    failed.push((index, fault));
                    None
                }
                None => None,
            });
        }
        (ports, failed)
    }

    /// A way into the queue for signals and the operator.
    #[must_use]
    pub fn handle(&self) -> Handle {
        self.handle.clone()
    }

    fn open_one(&mut self, index: usize, path: &str, spec: &PortSpec) -> Result<TTYPort, Fault> {
        let writer = open_tty(path, spec)?;
        let clone = |e: serialport::Error| Fault::new(FaultCode::PortGone, path, e.to_string(), "");
        let mut reader = writer.try_clone_native().map_err(clone)?;
        reader.set_timeout(READ_WITHIN).map_err(clone)?;
        let (handle, closing, dropped) = (self.handle.clone(), self.closing.clone(), self.dropped.clone());
        let name = self.names[index].clone();
        let spawned = std::thread::Builder::new()
            .name(format!("read {name}"))
            .spawn(move || read_port(index, &name, reader, &handle, &closing, &dropped));
        match spawned {
            Ok(thread) => self.readers.push(thread),
            Err(e) => return Err(Fault::new(FaultCode::PortGone, path, e.to_string(), "")),
        }
        Ok(writer)
    }
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
    let data_bits = if spec.data_bits == 7 {
        serialport::DataBits::Seven
    } else {
        serialport::DataBits::Eight
    };
    let stop_bits = if spec.stop_bits == 2 {
        serialport::StopBits::Two
    } else {
        serialport::StopBits::One
    };
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
            format!(
                "ask for membership of the group that owns the device ({})",
                owner_group(path)
            ),
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
    let named = groups
        .lines()
        .find(|line| line.split(':').nth(2) == Some(gid.as_str()));
    named
        .and_then(|line| line.split(':').next())
        .map_or(gid.clone(), str::to_owned)
}

/// Serial devices found on this machine, for messages.
#[must_use]
pub fn candidates() -> String {
    if !Path::new("/sys/class/tty").exists() {
        return "(this machine lists no serial devices)".into();
    }
    let found: Vec<String> = serialport::available_ports()
        .unwrap_or_default()
        .into_iter()
        .map(|p| p.port_name)
        .collect();
    if found.is_empty() {
        "(none found on this machine)".into()
    } else {
        found.join(", ")
    }
}

/// The reading thread of one port.
fn read_port(
    index: usize,
    name: &str,
    mut port: TTYPort,
    handle: &Handle,
    closing: &AtomicBool,
    dropped: &AtomicU64,
) {
    let mut chunk = [0_u8; CHUNK_BYTES];
    while !closing.load(Ordering::Relaxed) {
        let seen = match port.read(&mut chunk) {
            Ok(0) => "the device hung up".to_owned(),
            Ok(n) => {
                let item = (handle.clock.now(), Item::Bytes(index, chunk[..n].to_vec()));
                match handle.queue.try_send(item) {
                    Ok(()) => {}
                    Err(TrySendError::Full(_)) => {
                        dropped.fetch_add(n as u64, Ordering::Relaxed);
                    }
                    Err(TrySendError::Disconnected(_)) => return,
                }
                continue;
            }
            Err(e) if matches!(e.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) => continue,
            Err(e) => e.to_string(),
        };
        let help = "check plug and cable; if it vanished seconds after plugging in, a braille-display daemon (brltty) \
                    may have claimed it";
        let fault = Fault::new(FaultCode::PortGone, name, seen, help);
        let _ = handle.queue.send((handle.clock.now(), Item::Lost(index, fault)));
        return;
    }
}

impl Ports for SerialPorts {
    fn now(&self) -> Moment {
        self.clock.now()
    }

    fn wait(&mut self, deadline: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) -> Moment {
        let span = deadline.since(self.clock.now()).min(Duration::from_secs(3600));
        let mut next = self.queue.recv_timeout(span).ok();
        for _ in 0..QUEUE_CHUNKS {
            let Some((at, item)) = next else { break };
            match &item {
                Item::Bytes(port, bytes) => take(at, Arrival::Bytes(*port, bytes)),
                Item::Lost(port, fault) => take(at, Arrival::Lost(*port, fault.clone())),
                Item::Answer(text) => take(at, Arrival::Answer(text)),
                Item::Stop(exit) => take(at, Arrival::Stop(*exit)),
            }
            next = self.queue.try_recv().ok();
        }
        let lost = self.dropped.swap(0, Ordering::Relaxed);
        if lost > 0 {
            let seen = format!("{lost} bytes came faster than they could be taken");
            let fault = Fault::new(
                FaultCode::Overrun,
                "serial ports",
                seen,
                "lower the device's output rate",
            );
            take(self.clock.now(), Arrival::Lost(usize::MAX, fault));
        }
        self.clock.now()
    }

    fn send(&mut self, port: usize, bytes: &[u8]) -> Result<(), Fault> {
        let Some(Some(tty)) = self.writers.get_mut(port) else {
            return Ok(());
        };
        let mut rest = bytes;
        while !rest.is_empty() {
            match tty.write(rest) {
                Ok(0) => {
                    return Err(write_fault(
                        &self.names[port],
                        FaultCode::PortGone,
                        "no byte was taken",
                    ));
                }
                Ok(n) => rest = &rest[n..],
                Err(e) if e.kind() == ErrorKind::Interrupted => {}
                Err(e) if e.kind() == ErrorKind::TimedOut => {
                    let seen = format!("{} of {} bytes not taken in time", rest.len(), bytes.len());
                    return Err(write_fault(&self.names[port], FaultCode::WriteStall, &seen));
                }
                Err(e) => {
                    return Err(write_fault(
                        &self.names[port],
                        FaultCode::PortGone,
                        &e.to_string(),
                    ));
                }
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
    Fault::new(
        code,
        name,
        format!("while writing: {seen}"),
        "check plug and cable",
    )
}

impl Drop for SerialPorts {
    fn drop(&mut self) {
        self.closing.store(true, Ordering::Relaxed);
        for tty in self.writers.iter().flatten() {
            // What a stalled device has not taken must not hold up closing.
            let _ = tty.clear(ClearBuffer::Output);
        }
        for reader in self.readers.drain(..) {
            let _ = reader.join();
        }
    }
}
