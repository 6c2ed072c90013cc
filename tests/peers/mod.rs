//! Our client against far ends that others wrote: a Modbus RTU server (pymodbus) and a simulator of SCPI instruments
//! (PyVISA-sim), each a process of its own behind a pseudo-terminal.
//!
//! In: an interpreter that has `requirements.txt` installed: the variable `DUTYCUP_PEERS_PYTHON`, or
//! `target/peers/bin/python` as `.ci/run` makes it. A plain `cargo test` counts these tests as ignored; with `-- --ignored`
//! they run, and fail where it is not there. Never: a network port.

mod far_end;
mod modbus;
mod scpi;
