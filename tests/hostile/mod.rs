//! The program against what is meant to hurt it: files that want its memory, instruments that want the terminal, names
//! that want to become commands, folders prepared for it.
//!
//! In: the program itself, with files and pseudo-terminals made here. Never: a network port.

mod commands;
mod memory;
mod network;
mod planted;
mod supply;
mod support;
mod terminal;
