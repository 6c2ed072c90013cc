//! A terminal in raw mode, and the way back.
//!
//! In: nothing. Out: a terminal that hands over each key, with a screen of its own; [`restore`] gives it back from any
//! thread, any number of times. Signals of the terminal (Ctrl-C, Ctrl-\) stay signals. Control sequences are those of
//! ECMA-48 and the private modes that terminals have in common. Never: a terminal left raw.

use rustix::stdio::{stderr, stdin};
use rustix::termios::{
    LocalModes, OptionalActions, SpecialCodeIndex, Termios, isatty, tcgetattr, tcgetwinsize, tcsetattr,
};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

/// Modes of the keyboard before it was ours; none where stdin is no terminal.
static BEFORE: Mutex<Option<Termios>> = Mutex::new(None);
/// Whether the terminal is ours. Not a lock: a terminal that takes no more must not hold up whoever gives it back.
static OURS: AtomicBool = AtomicBool::new(false);

/// Leaves the screen of our own and shows the cursor again.
const LEAVE: &[u8] = b"\x1b[0m\x1b[?25h\x1b[?1049l";
/// A screen of our own, no cursor.
const ENTER: &[u8] = b"\x1b[?1049h\x1b[?25l\x1b[2J";

/// Whether there is a terminal on stderr that can be drawn on: not `TERM=dumb` or without a name.
#[must_use]
pub fn can_draw(term: Option<&str>) -> bool {
    isatty(stderr()) && term.is_some_and(|t| !t.is_empty() && t != "dumb")
}

/// Whether block characters may be used, by the first of `LC_ALL`, `LC_CTYPE`, `LANG` that says something (POSIX).
#[must_use]
pub fn has_blocks(variable: impl Fn(&str) -> Option<String>) -> bool {
    let said =
        ["LC_ALL", "LC_CTYPE", "LANG"].iter().find_map(|name| variable(name).filter(|v| !v.is_empty()));
    said.is_some_and(|v| {
        let v = v.to_ascii_lowercase();
        v.contains("utf-8") || v.contains("utf8")
    })
}

/// Takes the terminal; whether keys can be read.
pub fn take() -> bool {
    let keys = isatty(stdin()).then(|| tcgetattr(stdin()).ok()).flatten();
    if let Some(before) = &keys {
        let mut raw = before.clone();
        raw.local_modes -= LocalModes::ICANON | LocalModes::ECHO;
        raw.special_codes[SpecialCodeIndex::VMIN] = 0;
        raw.special_codes[SpecialCodeIndex::VTIME] = 0;
        // A terminal that refuses keeps its line mode: Enter still stops.
        let _ = tcsetattr(stdin(), OptionalActions::Now, &raw);
    }
    let can_read = keys.is_some();
    if let Ok(mut held) = BEFORE.lock() {
        *held = keys;
    }
    OURS.store(true, Ordering::SeqCst);
    write(ENTER);
    can_read
}

/// Gives the terminal back, if it is ours.
pub fn restore() {
    if !OURS.swap(false, Ordering::SeqCst) {
        return;
    }
    if let Some(modes) = BEFORE.lock().ok().and_then(|mut held| held.take()) {
        // Now, not when all output has gone: it may never go.
        let _ = tcsetattr(stdin(), OptionalActions::Now, &modes);
    }
    if takes_more() {
        write(LEAVE);
    }
}

/// Whether the terminal takes more within a short time; one that stands still must not hold up the end.
fn takes_more() -> bool {
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    let timeout = Timespec { tv_sec: 0, tv_nsec: 200_000_000 };
    let mut fds = [PollFd::from_borrowed_fd(stderr(), PollFlags::OUT)];
    poll(&mut fds, Some(&timeout)).is_ok_and(|n| n > 0)
}

/// Writes to the terminal while it is ours; whether it is.
pub fn draw(text: &str) -> bool {
    let ours = OURS.load(Ordering::SeqCst);
    if ours {
        write(text.as_bytes());
    }
    ours
}

/// Columns and rows; 80 x 24 where the terminal does not tell.
#[must_use]
pub fn size() -> (usize, usize) {
    tcgetwinsize(stderr())
        .ok()
        .filter(|s| s.ws_col > 0 && s.ws_row > 0)
        .map_or((80, 24), |s| (usize::from(s.ws_col), usize::from(s.ws_row)))
}

/// Keys that were pressed within `wait_ms`.
#[must_use]
pub fn keys(wait_ms: u32) -> Vec<u8> {
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    let timeout = Timespec { tv_sec: 0, tv_nsec: i64::from(wait_ms) * 1_000_000 };
    let mut fds = [PollFd::from_borrowed_fd(stdin(), PollFlags::IN)];
    let mut buffer = [0; 64];
    match poll(&mut fds, Some(&timeout)) {
        Ok(n) if n > 0 => {
            rustix::io::read(stdin(), &mut buffer).map_or_else(|_| Vec::new(), |n| buffer[..n].to_vec())
        }
        _ => Vec::new(),
    }
}

/// Writes all of it; a terminal that is gone is left alone.
fn write(mut bytes: &[u8]) {
    while let Ok(n @ 1..) = rustix::io::write(stderr(), bytes) {
        bytes = &bytes[n.min(bytes.len())..];
        if bytes.is_empty() {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_need_a_locale_that_has_them() {
        // Source: POSIX.1-2017 XBD 8.2: LC_ALL before LC_CTYPE before LANG, empty counts as unset.
        let of = |all: &str, ctype: &str, lang: &str| {
            let set = [("LC_ALL", all), ("LC_CTYPE", ctype), ("LANG", lang)].map(|(n, v)| (n, v.to_owned()));
            has_blocks(|name| set.iter().find(|(n, _)| *n == name).map(|(_, v)| v.clone()))
        };
        assert!(of("", "", "en_US.UTF-8"));
        assert!(of("", "C.utf8", "C"));
        assert!(!of("C", "en_US.UTF-8", "en_US.UTF-8"));
        assert!(!of("", "", ""));
    }
}
