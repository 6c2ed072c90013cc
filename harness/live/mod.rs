//! What people see while a bench runs: a full screen, a bar of progress, or plain lines.
//!
//! In: snapshots of the bench, the plan, keys. Out: text on the terminal, and the wish to stop. The bench hands over a
//! snapshot where one is wanted and never waits; everything here may lag or fail without touching it.
//! Never: a command to an instrument, a dial.
//!
//! | file | what it holds |
//! |---|---|
//! | [`setup`] | what is known before the first reading |
//! | [`history`] | the last minute, and flow from the cup |
//! | [`frame`], [`digits`] | a grid of characters; digits to be read across a room |
//! | [`words`] | what happens now and what comes next, time left |
//! | [`view`] | the screen |
//! | [`bar`] | the bar of progress and plain lines |
//! | [`keys`] | what a key does |
//! | [`terminal`] | raw mode, and the way back |
//! | [`watcher`] | the thread that shows it all |

pub mod bar;
pub mod digits;
pub mod frame;
pub mod history;
pub mod keys;
pub mod setup;
pub mod terminal;
pub mod view;
pub mod watcher;
pub mod words;
