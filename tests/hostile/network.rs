//! No network: no source of the harness names an address or a socket, and a running program has none.
//!
//! The runtime's feature `net` is there for pseudo-terminals and pipes alone.

use super::support::{ours, scratch};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

fn sources(dir: &Path, found: &mut Vec<(String, String)>) {
    for entry in fs::read_dir(dir).unwrap_or_else(|e| panic!("{e}")) {
        let path = entry.unwrap_or_else(|e| panic!("{e}")).path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{e}"));
            found.push((path.display().to_string(), text));
        }
    }
}

#[test]
fn no_source_names_a_socket() {
    let mut found = Vec::new();
    sources(&ours("harness"), &mut found);
    assert!(found.len() > 100);
    for (file, text) in found {
        for word in [
            "std::net",
            "tokio::net::",
            "TcpStream",
            "TcpListener",
            "UdpSocket",
            "UnixStream::connect",
            "UnixListener",
            "rustix::net",
            "SocketAddr",
            "ToSocketAddrs",
        ] {
            assert!(!text.contains(word), "{file} names {word}");
        }
    }
}

/// Only programs that reach the network bring these along (HTTP, TLS, DNS clients and servers in common use).
#[test]
fn no_dependency_is_there_for_the_network() {
    let lock = fs::read_to_string(ours("Cargo.lock")).unwrap_or_else(|e| panic!("{e}"));
    let names: Vec<&str> =
        lock.lines().filter_map(|l| l.strip_prefix("name = \"")?.strip_suffix('"')).collect();
    assert!(names.contains(&"tokio"), "the lock file is read");
    for name in [
        "hyper",
        "reqwest",
        "ureq",
        "curl",
        "rustls",
        "native-tls",
        "openssl",
        "hickory-resolver",
        "h2",
        "tonic",
        "axum",
        "actix-web",
        "tungstenite",
        "quinn",
        "isahc",
        "attohttpc",
        "minreq",
    ] {
        assert!(!names.contains(&name), "{name} is in the tree");
    }
}

/// What the system says of a bench that is being served: no descriptor of it is a socket, but for the pairs by which
/// threads wake each other.
#[test]
fn a_served_bench_has_no_socket_of_a_network() {
    let dir = scratch();
    let mut child = Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .args(["emulate", "rigs/virtual.yaml", "--ports"])
        .arg(dir.path().join("ports"))
        .current_dir(ours(""))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap_or_else(|e| panic!("{e}"));
    let ready = (0..500).any(|_| {
        wait();
        dir.path().join("ports/rig.yaml").exists()
    });
    let fds = format!("/proc/{}/fd", child.id());
    let links = fs::read_dir(fds).unwrap_or_else(|e| panic!("{e}"));
    let open: Vec<String> =
        links.filter_map(|l| Some(fs::read_link(l.ok()?.path()).ok()?.display().to_string())).collect();
    let table =
        |name: &str| fs::read_to_string(format!("/proc/{}/net/{name}", child.id())).unwrap_or_default();
    let network: String =
        ["tcp", "tcp6", "udp", "udp6", "raw", "raw6", "packet"].iter().map(|n| table(n)).collect();
    let _ = child.kill();
    let _ = child.wait();
    assert!(ready && open.iter().any(|l| l.contains("ptmx")), "it serves: {open:?}");
    for link in open {
        if let Some(inode) = link.strip_prefix("socket:[") {
            let inode = inode.trim_end_matches(']');
            let known = network.lines().any(|l| l.split_whitespace().any(|word| word == inode));
            assert!(!known, "socket {inode} is one of the network");
        }
    }
}

#[expect(clippy::disallowed_methods, reason = "another process is waited for")]
fn wait() {
    std::thread::sleep(Duration::from_millis(10));
}
