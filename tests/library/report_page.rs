//! The page: a demonstration with every kind of figure, and what must hold for every page: one file, no script, nothing
//! from outside, a structure that no text can change, a structure that assistive programs can follow.

use crate::report_support;
use crate::report_support::fill;
use crate::report_support::hostile;
use crate::report_support::tree;
use dutycup::door::report::page_html;
use dutycup::door::report::words::Words;
use tree::{Node, Tree};

fn demo() -> String {
    page_html::render(&report_support::page())
}

/// The demonstration, to look at: `target/tmp/report_demo.html`.
#[test]
fn the_demo_page_is_written() {
    let html = demo();
    let path = format!("{}/report_demo.html", env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(&path, &html).unwrap();
    println!("demonstration: {path}, {} bytes", html.len());
    assert!(html.len() < 2_000_000, "a report is at most 2 MB, this one is {}", html.len());
    assert_eq!(html, demo(), "the same page gives the same bytes");
}

/// Elements of charts, and their attributes.
const CHART_ELEMENTS: &[&str] =
    &["svg", "title", "desc", "defs", "pattern", "path", "line", "rect", "circle", "text"];
const CHART_ATTRIBUTES: &[&str] = &[
    "xmlns",
    "class",
    "viewbox",
    "width",
    "height",
    "role",
    "aria-labelledby",
    "id",
    "patternunits",
    "patterntransform",
    "x",
    "y",
    "x1",
    "y1",
    "x2",
    "y2",
    "cx",
    "cy",
    "r",
    "d",
    "fill",
    "stroke-width",
    "stroke-dasharray",
    "text-anchor",
];

fn check_charts(tree: &Tree) {
    assert!(tree.charts.len() >= 20);
    for node in tree.charts.iter().flatten() {
        match node {
            Node::Open(name, attributes) => {
                assert!(CHART_ELEMENTS.contains(&name.as_str()), "<{name}> in a chart");
                for (key, value) in attributes {
                    assert!(CHART_ATTRIBUTES.contains(&key.as_str()), "{key} in a chart");
                    let outside = value.contains("url(") && !value.starts_with("url(#f");
                    assert!(!outside, "{key}={value}");
                }
            }
            Node::Comment(_) | Node::Doctype(_) => panic!("{node:?} in a chart"),
            _ => {}
        }
    }
}

/// How often the characters that give a style sheet its structure occur.
fn style_shape(tree: &Tree) -> Vec<usize> {
    let style = tree.texts("style").concat();
    ["{", "}", ";", "\"", "@", "/*", "*/", "<"].iter().map(|c| style.matches(c).count()).collect()
}

#[test]
fn no_text_changes_the_page() {
    let page = report_support::page();
    let plain = tree::read(&page_html::render(&fill::everywhere(page.clone(), "harmless")));
    check_charts(&plain);
    let texts = hostile::texts();
    assert!(texts.len() >= 200);
    for text in texts {
        let hostile = fill::everywhere(page.clone(), &text);
        let tree = tree::read(&page_html::render(&hostile));
        let difference = tree.shape().into_iter().zip(plain.shape()).find(|(a, b)| a != b);
        assert_eq!(difference, None, "{text:?}");
        assert_eq!(tree.shape().len(), plain.shape().len(), "{text:?}");
        assert_eq!(style_shape(&tree), style_shape(&plain), "{text:?}");
        check_charts(&tree);
        // The text is there, as text.
        assert_eq!(tree.texts("h1"), [Words::from(&text).as_str()], "{text:?}");
        let in_chart = tree.charts[0].iter().any(|n| *n == Node::Text(Words::from(&text).to_string()));
        assert!(in_chart, "{text:?} is not the title of a chart");
    }
}

#[test]
fn nothing_runs_and_nothing_comes_from_outside() {
    let html = demo();
    let tree = tree::read(&html);
    let mut policy = None;
    for node in tree.nodes.iter().chain(tree.charts.iter().flatten()) {
        let Node::Open(name, attributes) = node else {
            continue;
        };
        assert!(
            !["script", "link", "iframe", "object", "embed", "base", "form", "img"].contains(&name.as_str())
        );
        for (key, value) in attributes {
            assert!(!key.starts_with("on") && key != "src" && key != "style", "{key} on <{name}>");
            if key == "href" {
                assert!(value.starts_with('#') || !value.contains([':', '/']), "{value}");
            }
            if key == "content" && value.contains("-src") {
                policy = Some(value.clone());
            }
        }
    }
    assert_eq!(policy.as_deref(), Some("default-src 'none'; style-src 'unsafe-inline'; img-src data:"));
    let outside = html.replace("http://www.w3.org/2000/svg", "");
    assert!(!outside.contains("://") && !outside.contains("@import"));
    assert!(!outside.replace("url(#", "").contains("url("));
}

#[test]
fn charts_are_well_formed_and_named() {
    let html = demo();
    let charts: Vec<&str> =
        html.split("<svg xmlns").skip(1).map(|rest| &rest[..rest.find("</svg>").unwrap() + 6]).collect();
    assert_eq!(charts.len(), 24, "twelve figures, each wide and narrow");
    for chart in charts {
        let text = format!("<svg xmlns{chart}");
        let document = roxmltree::Document::parse(&text).unwrap();
        let root = document.root_element();
        let child =
            |name: &str| root.children().find(|n| n.has_tag_name(("http://www.w3.org/2000/svg", name)));
        let labels: Vec<&str> = ["title", "desc"]
            .map(|name| {
                let node = child(name).unwrap();
                assert!(!node.text().unwrap_or_default().trim().is_empty());
                node.attribute("id").unwrap()
            })
            .to_vec();
        assert_eq!(root.attribute("aria-labelledby"), Some(labels.join(" ").as_str()));
        assert_eq!(root.attribute("role"), Some("img"));
    }
}

#[test]
fn ids_are_unique_and_references_lead_somewhere() {
    let tree = tree::read(&demo());
    let nodes = || tree.nodes.iter().chain(tree.charts.iter().flatten());
    let values = |wanted: &'static str| {
        nodes().filter_map(move |node| match node {
            Node::Open(_, attributes) => attributes.iter().find(|(k, _)| k == wanted).map(|(_, v)| v.clone()),
            _ => None,
        })
    };
    let mut ids: Vec<String> = values("id").collect();
    ids.sort();
    let before = ids.len();
    ids.dedup();
    assert_eq!(ids.len(), before, "an id occurs twice");
    let references = values("aria-labelledby")
        .flat_map(|v| v.split(' ').map(str::to_owned).collect::<Vec<_>>())
        .chain(values("href").filter_map(|v| v.strip_prefix('#').map(str::to_owned)))
        .chain(values("fill").filter_map(|v| Some(v.strip_prefix("url(#")?.strip_suffix(')')?.to_owned())));
    let mut count = 0;
    for reference in references {
        assert!(ids.binary_search(&reference).is_ok(), "#{reference} leads nowhere");
        count += 1;
    }
    assert!(count > 50);
}

/// The outline that a reader of headings, tables and figures meets.
fn outline(tree: &Tree) -> String {
    let mut out = String::new();
    let mut inside: Option<String> = None;
    for node in &tree.nodes {
        match node {
            Node::Open(name, attributes) => {
                let get =
                    |key: &str| attributes.iter().find(|(k, _)| k == key).map_or("", |(_, v)| v.as_str());
                match name.as_str() {
                    "h1" | "h2" | "caption" | "figcaption" | "summary" | "dt" => {
                        inside = Some(name.clone());
                        out += &format!("\n{name}: ");
                    }
                    "th" if get("scope") == "col" => {
                        inside = Some(name.clone());
                        out += "\n  col: ";
                    }
                    "th" => out += &format!("\n  {} {}", get("scope"), get("role")),
                    "nav" | "main" | "header" | "footer" | "figure" | "details" => {
                        out += &format!("\n{name}")
                    }
                    "a" => out += &format!("\na {}", get("href")),
                    _ => {}
                }
            }
            Node::Close(name) if inside.as_ref() == Some(name) => inside = None,
            Node::Text(text) if inside.is_some() => out += &text.replace('\u{a0}', " "),
            Node::Chart => out += "\nchart",
            _ => {}
        }
    }
    // A table's rows are told by their number.
    let mut folded: Vec<(String, usize)> = Vec::new();
    for line in out.lines().filter(|l| !l.trim().is_empty()) {
        match folded.last_mut() {
            Some((last, count)) if last == line && line.starts_with("  row") => *count += 1,
            _ => folded.push((line.trim_end().to_owned(), 1)),
        }
    }
    let lines = folded.into_iter().map(|(l, n)| if n > 1 { format!("{l} x {n}") } else { l });
    lines.collect::<Vec<_>>().join("\n")
}

#[test]
fn the_outline_of_the_demo_page() {
    insta::assert_snapshot!(outline(&tree::read(&demo())));
}
