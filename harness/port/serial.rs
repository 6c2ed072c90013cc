//! Real serial ports.
