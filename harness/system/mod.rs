//! What only one system gives, each with a portable way beside it: a timer that is waited for with the ports, the time
//! since boot that counts sleep, and whether serial devices can be listed.
//!
//! Another system needs this room and nothing else. On Linux the timer is kept by the system as an absolute time;
//! elsewhere the time left is handed to each wait, late by what happens in between.

#[cfg(target_os = "linux")]
mod linux;
#[cfg(any(not(target_os = "linux"), test))]
mod portable;

#[cfg(target_os = "linux")]
pub use linux::{Timer, serial_devices_are_listed, since_boot};
#[cfg(not(target_os = "linux"))]
pub use portable::{Timer, serial_devices_are_listed, since_boot};

#[cfg(test)]
mod tests {
    use rustix::event::{PollFd, PollFlags};
    use std::time::Duration;

    /// The portable ways are compiled and tried here too; on Linux nothing else uses them.
    #[test]
    fn both_timers_wait_for_a_descriptor_or_the_time() {
        let (reader, writer) = rustix::pipe::pipe().unwrap();
        let (soon, hour) = (Duration::from_millis(1), Duration::from_secs(3600));
        let exact = super::Timer::new().unwrap();
        let plain = super::portable::Timer::new().unwrap();
        let ready = |portable: bool, span: Duration| {
            let mut fds = vec![PollFd::new(&reader, PollFlags::IN)];
            if portable {
                plain.set(|| span);
                plain.wait(&mut fds, span).unwrap();
            } else {
                exact.set(|| span);
                exact.wait(&mut fds, span).unwrap();
            }
            assert_eq!(fds.len(), 1);
            !fds[0].revents().is_empty()
        };
        assert!(!ready(true, soon) && !ready(false, soon), "the time comes, the descriptor has nothing");
        rustix::io::write(&writer, b"x").unwrap();
        assert!(ready(true, hour) && ready(false, hour), "the descriptor comes first");
        assert!(super::portable::since_boot().is_none() && super::portable::serial_devices_are_listed());
    }
}
