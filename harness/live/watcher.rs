//! The thread that shows a run, and the bench's end of the line to it.
//!
//! In: snapshots, questions, keys. Out: screen, bar or plain lines; stop and answers through the callbacks given.
//! The bench makes a snapshot only where the thread asked for one, and hands it over without waiting.
//! Never: a wait on the bench's side.

use super::bar;
use super::history::Slope;
use super::keys::{Wish, wishes};
use super::terminal;
use super::view::View;
use crate::clock::{Moment, SystemClock};
use crate::run::bench::Bench;
use crate::run::snapshot::Snapshot;
use crate::script::role::Role;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TryRecvError, sync_channel};
use std::time::Duration;

/// Messages that wait for the thread at most; what comes then is dropped.
const WAITING_MOST: usize = 8;
/// Time between two looks of the screen, ms.
const SCREEN_MS: u32 = 100;
/// Time between two plain lines on the wall.
const PLAIN_EVERY: Duration = Duration::from_secs(5);
/// Time within which the bench hands over a snapshot that was asked for.
const FRESH_WITHIN: Duration = Duration::from_millis(250);
/// Time from which a bar is worth drawing, s.
const BAR_FROM_S: f64 = 1.0;
/// Time the end waits for a thread that lags.
const END_WITHIN: Duration = Duration::from_millis(500);

/// How a run is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// Not at all.
    Quiet,
    /// Lines without control characters.
    Plain,
    /// A bar of progress on one line.
    Bar,
    /// The whole screen.
    Screen {
        /// Whether colour is used.
        colour: bool,
    },
}

/// What keys may wish of the bench.
pub struct Wants {
    /// Ends the run safely.
    pub stop: Box<dyn Fn() + Send>,
    /// Answers the oldest question.
    pub answer: Box<dyn Fn(String) + Send>,
}

enum Message {
    Seen(Box<Snapshot>, Option<f64>),
    Question(String),
}

/// A run being shown.
pub struct Watcher {
    mode: Mode,
    sender: Option<SyncSender<Message>>,
    /// The other end, until the thread has it.
    receiver: Option<Receiver<Message>>,
    wanted: Arc<AtomicBool>,
    slope: Slope,
    done: Option<Receiver<()>>,
}

impl Watcher {
    /// A watcher that shows nothing yet.
    #[must_use]
    pub fn new(mode: Mode) -> Self {
        let (sender, receiver) = sync_channel(WAITING_MOST);
        Watcher {
            mode,
            sender: Some(sender),
            receiver: Some(receiver),
            wanted: Arc::new(AtomicBool::new(false)),
            slope: Slope::default(),
            done: None,
        }
    }

    /// Whether keys belong to the screen, so that nothing else may read them.
    #[must_use]
    pub fn takes_keys(&self) -> bool {
        matches!(self.mode, Mode::Screen { .. })
    }

    /// A way to show the operator a question: on the screen where there is one, otherwise by `say`.
    #[must_use]
    pub fn asker(&self, say: fn(&str)) -> Box<dyn FnMut(&str) + Send> {
        let (sender, mode) = (self.sender.clone(), self.mode);
        Box::new(move |question| {
            let sent =
                sender.as_ref().is_some_and(|s| s.try_send(Message::Question(question.to_owned())).is_ok());
            match mode {
                Mode::Screen { .. } if sent => {}
                Mode::Bar => say(&format!("\r\x1b[K{question}")),
                _ => say(question),
            }
        })
    }

    /// Begins to show a run.
    pub fn begin(&mut self, view: View, wants: Wants) {
        let (finished, done) = sync_channel(1);
        let Some(receiver) = self.receiver.take().filter(|_| self.mode != Mode::Quiet) else {
            return;
        };
        let thread =
            Thread { view, wants, receiver, wanted: self.wanted.clone(), clock: SystemClock::start() };
        if self.takes_keys() {
            let before = std::panic::take_hook();
            std::panic::set_hook(Box::new(move |info| {
                terminal::restore();
                before(info);
            }));
        }
        let mode = self.mode;
        let work = move || {
            match mode {
                Mode::Quiet => {}
                Mode::Plain => thread.plain(),
                Mode::Bar => thread.bar(),
                Mode::Screen { colour } => thread.screen(colour),
            }
            let _ = finished.send(());
        };
        // Where no thread can be had the run is not shown; it runs all the same.
        let spawned = std::thread::Builder::new().name("watch".into()).spawn(work);
        self.done = spawned.is_ok().then_some(done);
        self.wanted.store(self.done.is_some(), Ordering::Relaxed);
    }

    /// Looks at the bench between two turns.
    pub fn look(&mut self, now: Moment, bench: &Bench<'_>) {
        if self.mode == Mode::Quiet {
            return;
        }
        if let Some(mass) = bench.readings().latest(&Role::CupMass) {
            self.slope.take(mass.at.as_s(), mass.value);
        }
        let last = bench.ending().is_some();
        if (last || self.wanted.swap(false, Ordering::Relaxed))
            && let Some(sender) = &self.sender
        {
            let seen = Box::new(Snapshot::of(bench, now));
            let _ = sender.try_send(Message::Seen(seen, self.slope.g_s()));
        }
    }
}

impl Drop for Watcher {
    fn drop(&mut self) {
        self.sender = None;
        if let Some(done) = &self.done {
            let _ = done.recv_timeout(END_WITHIN);
        }
        terminal::restore();
    }
}

struct Thread {
    view: View,
    wants: Wants,
    receiver: Receiver<Message>,
    wanted: Arc<AtomicBool>,
    clock: SystemClock,
}

impl Thread {
    /// Takes a message.
    fn take(&mut self, message: Message) {
        match message {
            Message::Seen(snapshot, flow) => {
                let went_on = self.view.snapshot().is_some_and(|s| s.step != snapshot.step);
                if went_on {
                    self.view.question = None;
                }
                self.view.take(*snapshot, flow);
            }
            Message::Question(question) => self.view.question = Some((question, String::new())),
        }
    }

    /// Takes what has come; whether the run goes on.
    fn drain(&mut self) -> bool {
        loop {
            match self.receiver.try_recv() {
                Ok(message) => self.take(message),
                Err(TryRecvError::Empty) => return true,
                Err(TryRecvError::Disconnected) => return false,
            }
        }
    }

    /// Waits; whether the run goes on.
    fn wait(&mut self, span: Duration) -> bool {
        let until = self.clock.now() + span;
        loop {
            match self.receiver.recv_timeout(until.since(self.clock.now())) {
                Ok(message) => self.take(message),
                Err(RecvTimeoutError::Timeout) => return true,
                Err(RecvTimeoutError::Disconnected) => return false,
            }
        }
    }

    fn plain(mut self) {
        while self.wait(PLAIN_EVERY) {
            self.wanted.store(true, Ordering::Relaxed);
            if !self.wait(FRESH_WITHIN) {
                return;
            }
            if self.view.snapshot().is_some() {
                line(&format!("{}\n", bar::plain(&self.view)));
            }
        }
    }

    fn bar(mut self) {
        let blocks = blocks();
        let mut drawn = false;
        while self.wait(Duration::from_millis(200)) {
            let passed_s = self.clock.now().as_s();
            if passed_s > BAR_FROM_S && self.view.snapshot().is_some() && self.view.question.is_none() {
                let (part, left_s) = self.view.progress();
                let left = if self.view.setup().hurried { bar::left_s(passed_s, part) } else { Some(left_s) };
                let step = self.view.snapshot().map_or(0, |s| s.step);
                let what = format!("step {step} of {}", self.view.setup().steps.len());
                line(&format!("\r\x1b[K{}", bar::line(&what, part, left, terminal::size().0, blocks)));
                drawn = true;
            }
            self.wanted.store(true, Ordering::Relaxed);
        }
        if drawn {
            line("\r\x1b[K");
        }
    }

    fn screen(mut self, colour: bool) {
        self.view = self.view.with_blocks(blocks());
        let can_read = terminal::take();
        let mut shown = None;
        let mut goes_on = true;
        while goes_on {
            goes_on = if can_read {
                let keys = terminal::keys(SCREEN_MS);
                self.act(&keys);
                self.drain()
            } else {
                self.wait(Duration::from_millis(u64::from(SCREEN_MS)))
            };
            let (columns, rows) = terminal::size();
            let frame = self.view.draw(columns, rows);
            if !terminal::draw(&frame.change(shown.as_ref(), colour)) {
                return;
            }
            shown = Some(frame);
            self.wanted.store(true, Ordering::Relaxed);
        }
        terminal::restore();
    }

    fn act(&mut self, keys: &[u8]) {
        let typed = self.view.question.as_mut().map(|(_, typed)| typed);
        for wish in wishes(keys, typed) {
            match wish {
                Wish::Stop => (self.wants.stop)(),
                Wish::Freeze => self.view.frozen = !self.view.frozen,
                Wish::Answer(text) => {
                    self.view.question = None;
                    (self.wants.answer)(text);
                }
            }
        }
    }
}

fn blocks() -> bool {
    terminal::has_blocks(|name| std::env::var(name).ok())
}

/// Text on stderr as it is; a closed terminal must not stop anything.
pub fn line(text: &str) {
    use std::io::Write as _;
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
}
