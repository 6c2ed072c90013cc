//! A demonstration report with every kind of figure, written to the folder for temporary files of the tests, and what
//! must hold for it: one file, no script, nothing from outside, the structure of a report.

mod report_support;

use dutycup::report::page_html;

#[test]
fn the_demo_page_is_written() {
    let html = page_html::render(&report_support::page());
    let path = format!("{}/report_demo.html", env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(&path, &html).unwrap();
    println!("demo report: {path}, {} bytes", html.len());
    assert!(
        html.len() < 2_000_000,
        "a report is at most 2 MB, this one is {}",
        html.len()
    );
    assert_eq!(
        html,
        page_html::render(&report_support::page()),
        "the same page gives the same bytes"
    );
}
