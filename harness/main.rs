//! The `dutycup` program: everything is in the library.

fn main() -> std::process::ExitCode {
    dutycup::main().into()
}
