//! Real ports that are busy or stalled, on pseudo-terminals.

use dutycup::door::clock::SystemClock;
use dutycup::door::port::Ports as _;
use dutycup::door::port::pty::Pty;
use dutycup::door::port::serial::SerialPorts;
use dutycup::door::problem::fault::FaultCode;
use dutycup::door::script::rig::Rig;
use rustix::fs::{FlockOperation, Mode, OFlags};

/// The virtual rig with the scale alone, on this pseudo-terminal.
fn rig_on(pty: &Pty) -> Rig {
    let mut rig = super::bench::rig(&[]);
    rig.instruments.retain(|i| i.name == "scale");
    rig.channels.retain(|c| c.role.word() == "cup_mass");
    rig.channels.iter_mut().for_each(|c| c.instrument = 0);
    rig.instruments[0].port.path = Some(pty.path().display().to_string());
    rig
}

#[test]
fn port_busy_is_not_written_to() {
    let pty = Pty::open().expect("a pseudo-terminal");
    let other = rustix::fs::open(pty.path(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).expect("its end");
    rustix::fs::flock(&other, FlockOperation::NonBlockingLockExclusive).expect("a lock");
    let (ports, failed) =
        SerialPorts::open(&rig_on(&pty), SystemClock::start(), Box::new(|_| {})).expect("ports");
    drop(ports);
    let codes: Vec<FaultCode> = failed.iter().map(|(_, fault)| fault.code).collect();
    assert_eq!(codes, [FaultCode::PortBusy], "{failed:?}");
    let mut seen = [0_u8; 8];
    let read = rustix::io::read(&pty.master, &mut seen);
    assert_eq!(read, Err(rustix::io::Errno::AGAIN), "nothing was sent");
}

#[test]
fn write_stall_a_peer_that_does_not_read() {
    let pty = Pty::open().expect("a pseudo-terminal");
    let (mut ports, failed) =
        SerialPorts::open(&rig_on(&pty), SystemClock::start(), Box::new(|_| {})).expect("ports");
    assert!(failed.is_empty(), "{failed:?}");
    let before = ports.now();
    let fault = (0..100)
        .find_map(|_| ports.send(0, &[b'B'; 1024]).err())
        .expect("100 KiB are more than a pseudo-terminal holds");
    assert_eq!(fault.code, FaultCode::WriteStall, "{fault}");
    println!("stalled after {:?}", ports.now().since(before));
}
