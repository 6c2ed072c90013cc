//! The demonstration page in a browser: nothing overflows, no word is cut off or over another,
//! contrasts are those of WCAG 2.2 (from memory: text 4.5, graphics 3), print is light, complete and at least 9 points.
//!
//! `DUTYCUP_BROWSER` names another browser. With `DUTYCUP_LOOK` set, pictures and PDFs are left in `target/tmp`.

use crate::report_support;
use crate::report_support::browser;
use browser::Browser;
use dutycup::door::report::page_html;
use serde_json::{Value, json};

const LOOK: &str = include_str!("../support/report_support/look.js");

/// A4 and Letter without margins of 14 mm, in pixels of 1/96 inch.
const PAPERS: [(&str, f64, f64, u32); 2] = [("a4", 8.27, 11.69, 688), ("letter", 8.5, 11.0, 710)];

fn complaints(browser: &mut Browser) -> Vec<String> {
    let found = browser.evaluate(LOOK);
    let list = found.as_array().expect("a list");
    list.iter().map(|v| v.as_str().unwrap_or_default().to_owned()).collect()
}

/// Bytes from base64 of the DevTools protocol.
fn decoded(text: &str) -> Vec<u8> {
    let value = |b: u8| match b {
        b'A'..=b'Z' => u32::from(b - b'A'),
        b'a'..=b'z' => u32::from(b - b'a') + 26,
        b'0'..=b'9' => u32::from(b - b'0') + 52,
        b'+' => 62,
        _ => 63,
    };
    let mut out = Vec::new();
    for group in text.trim_end_matches('=').as_bytes().chunks(4) {
        let bits = group.iter().enumerate().fold(0, |bits, (i, b)| bits | value(*b) << (18 - 6 * i));
        out.extend(&bits.to_be_bytes()[1..group.len()]);
    }
    out
}

fn keep(name: &str, data: &Value) {
    let path = format!("{}/report_{name}", env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(path, decoded(data["data"].as_str().expect("base64"))).expect("the folder of the tests");
}

/// Looks at a page at three widths, light and dark, and on two papers; what there is to complain about.
fn read(browser: &mut Browser, name: &str, path: &str) -> Vec<String> {
    let look = std::env::var_os("DUTYCUP_LOOK").is_some();
    let mut all = Vec::new();
    for width in [360, 768, 1280] {
        for scheme in ["light", "dark"] {
            browser.show(path, width, scheme, "");
            let found = complaints(browser);
            all.extend(found.into_iter().map(|c| format!("{name} {width} {scheme}: {c}")));
            if look {
                let data = browser.call("Page.captureScreenshot", json!({"captureBeyondViewport": true}));
                keep(&format!("{name}_{width}_{scheme}.png"), &data);
            }
        }
    }
    for (paper, across, down, width) in PAPERS {
        browser.show(path, width, "dark", "print");
        let found = complaints(browser);
        all.extend(found.into_iter().map(|c| format!("{name} {paper}: {c}")));
        let pdf = browser.call(
            "Page.printToPDF",
            json!({"paperWidth": across, "paperHeight": down, "printBackground": true}),
        );
        assert!(decoded(pdf["data"].as_str().expect("base64")).starts_with(b"%PDF"));
        if look {
            keep(&format!("{name}_{paper}.pdf"), &pdf);
        }
    }
    let outside: Vec<&String> = browser.requested.iter().filter(|u| !u.ends_with(path)).collect();
    assert!(outside.is_empty(), "{name} asks for {outside:?}");
    assert!(!browser.requested.is_empty());
    browser.requested.clear();
    all
}

fn browser() -> Browser {
    let name = browser::installed().expect("a browser: chromium, google-chrome, or DUTYCUP_BROWSER");
    Browser::start(&name)
}

#[test]
#[ignore = "a browser: chromium, or DUTYCUP_BROWSER"]
fn a_reader_has_nothing_to_complain_about() {
    let mut browser = browser();
    let path = format!("{}/report_browser.html", env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(&path, page_html::render(&report_support::page())).unwrap();
    let all = read(&mut browser, "all_figures", &path);
    assert!(all.is_empty(), "{}", all.join("\n"));
}

/// Every kind of page that a run makes, from the shipped scenarios on the virtual bench.
#[test]
#[ignore = "a browser: chromium, or DUTYCUP_BROWSER"]
fn every_kind_of_page_reads_well() {
    let mut browser = browser();
    let mut all = Vec::new();
    for scenario in [
        "pump-and-nozzle",
        "pressure-switch",
        "leak-down",
        "dead-head",
        "tank-level",
        "check-scale",
        "controller",
        "road-trace",
    ] {
        let out = format!("{}/pages/{scenario}", env!("CARGO_TARGET_TMPDIR"));
        let _ = std::fs::remove_dir_all(&out);
        let status = std::process::Command::new(env!("CARGO_BIN_EXE_dutycup"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(["run", &format!("scenarios/{scenario}.yaml"), "--out", &out])
            .output()
            .expect("a run");
        assert!(status.status.code().is_some_and(|c| c < 4), "{scenario}: {status:?}");
        all.extend(read(&mut browser, scenario, &format!("{out}/report.html")));
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
}
