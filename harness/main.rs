//! The `dutycup` program.
fn main() {}
