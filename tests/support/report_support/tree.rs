//! What a browser makes of a page: elements, attributes and text, read by the tokenizer rules of the HTML standard.
//!
//! In: HTML. Out: a list of nodes; charts are taken out of it and listed beside it. Never: a page whose elements are
//! not closed in order.

use html5gum::{DefaultEmitter, Token, Tokenizer};

/// A node, in document order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Node {
    /// An element begins: name, attributes in order of their names.
    Open(String, Vec<(String, String)>),
    /// An element ends.
    Close(String),
    /// Text.
    Text(String),
    /// A comment.
    Comment(String),
    /// The document type.
    Doctype(String),
    /// A chart stands here.
    Chart,
}

/// A page: its nodes without what is in charts, and the nodes of each chart.
pub(crate) struct Tree {
    pub(crate) nodes: Vec<Node>,
    pub(crate) charts: Vec<Vec<Node>>,
}

const VOID: &[&str] = &["meta", "link", "br", "hr", "img", "input", "base"];

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("a page is UTF-8")
}

/// Reads a page.
pub(crate) fn read(html: &str) -> Tree {
    let mut emitter = DefaultEmitter::default();
    emitter.naively_switch_states(true);
    let mut tree = Tree { nodes: Vec::new(), charts: Vec::new() };
    let mut open: Vec<String> = Vec::new();
    let mut chart_depth: Option<usize> = None;
    for token in Tokenizer::new_with_emitter(html, emitter) {
        let node = match token.expect("reading from memory") {
            Token::StartTag(tag) => {
                let name = text(&tag.name);
                let attributes: Vec<(String, String)> =
                    tag.attributes.iter().map(|(k, v)| (text(k), text(v))).collect();
                let is_chart =
                    name == "svg" && attributes.iter().any(|(k, v)| k == "class" && v.starts_with("chart"));
                if is_chart {
                    assert_eq!(chart_depth, None, "a chart within a chart");
                    chart_depth = Some(open.len());
                    tree.nodes.push(Node::Chart);
                    tree.charts.push(Vec::new());
                }
                if !tag.self_closing && !VOID.contains(&name.as_str()) {
                    open.push(name.clone());
                }
                Node::Open(name, attributes)
            }
            Token::EndTag(tag) => {
                let name = text(&tag.name);
                assert_eq!(open.pop().as_ref(), Some(&name), "elements are closed in order");
                Node::Close(name)
            }
            Token::String(string) => Node::Text(text(&string)),
            Token::Comment(comment) => Node::Comment(text(&comment)),
            Token::Doctype(doctype) => Node::Doctype(text(&doctype.name)),
            Token::Error(error) => panic!("not valid HTML: {error:?}"),
        };
        match (chart_depth, tree.charts.last_mut()) {
            (Some(depth), Some(chart)) => {
                chart.push(node);
                if open.len() == depth {
                    chart_depth = None;
                }
            }
            _ => tree.nodes.push(node),
        }
    }
    assert!(open.is_empty(), "left open: {open:?}");
    tree
}

impl Tree {
    /// The text within elements of this name, one string an element.
    pub(crate) fn texts(&self, element: &str) -> Vec<String> {
        let mut out = Vec::new();
        let mut depth = 0;
        for node in &self.nodes {
            match node {
                Node::Open(name, _) if name == element => {
                    depth += 1;
                    out.push(String::new());
                }
                Node::Close(name) if name == element => depth -= 1,
                Node::Text(text) if depth > 0 => out.last_mut().expect("an open element").push_str(text),
                _ => {}
            }
        }
        out
    }

    /// The nodes with every text that a writer of a report can choose left out.
    pub(crate) fn shape(&self) -> Vec<Node> {
        let free = |name: &str| matches!(name, "aria-label" | "data-name");
        let shaped = |node: &Node| match node {
            Node::Text(_) => None,
            Node::Open(name, attributes) => {
                let kept =
                    |(k, v): &(String, String)| (k.clone(), if free(k) { String::new() } else { v.clone() });
                Some(Node::Open(name.clone(), attributes.iter().map(kept).collect()))
            }
            other => Some(other.clone()),
        };
        self.nodes.iter().filter_map(shaped).collect()
    }
}
