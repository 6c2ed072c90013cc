//! Faults of a bench that must end safe, one by one and several at once, on the virtual bench with its wires, disk and
//! clock in the hands of the test; and the list of all faults with the tests that provoke them.
//!
//! What is true of pump and solenoid comes from the plant, not from what the program believes.

mod bench;

mod list;
mod ports;
mod rows;
