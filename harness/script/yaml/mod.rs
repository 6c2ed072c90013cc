//! YAML text to a tree of nodes, each with its place.
//!
//! In: a file from anywhere, also a hostile one. Out: scalars, lists and maps with line, column and width, or the
//! problem that ended the reading. Never: a type guessed for a scalar (everything is text until a shape asks for
//! it), an alias, anchor, merge key or tag, a second document, or work beyond the budget: the events are counted as
//! they come, and reading stops at the first one too many.

mod build;

pub use build::parse;

use crate::problem::{Place, Problem, Problems};
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::Arc;

/// Longest file, bytes.
pub const FILE_BYTES_MAX: usize = 1 << 20;
/// Deepest nesting of lists and maps.
pub const DEPTH_MAX: usize = 32;
/// Most scalars, lists and maps.
pub const NODES_MAX: usize = 50_000;
/// Longest scalar, bytes.
pub const SCALAR_BYTES_MAX: usize = 4096;
/// Most keys of one map.
pub const KEYS_MAX: usize = 1000;
/// Most commas, colons and opening brackets, wherever they stand: a list in brackets is held back as a whole by the
/// parser before its first event comes.
pub const PUNCTUATION_MAX: usize = 50_000;
/// Longest line, bytes.
pub const LINE_BYTES_MAX: usize = 4096;
/// Most problems told of one file; the rest is only counted.
pub const PROBLEMS_MAX: usize = 100;

/// Where a node stands: line and column from 1, width in characters at least 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Line, from 1.
    pub line: u32,
    /// Column in characters, from 1.
    pub column: u32,
    /// Characters to mark.
    pub width: u32,
}

/// A node of the tree.
#[derive(Clone, Debug)]
pub struct Node {
    /// Where it begins.
    pub mark: Mark,
    /// What it is.
    pub body: Body,
    /// The parameter it was put in for, and where that was given; none for what stands in the file itself.
    pub from: Option<Arc<str>>,
}

/// What a node is.
#[derive(Clone, Debug)]
pub enum Body {
    /// Text, and whether it stood in quotes or as a block. Empty and plain: nothing was written.
    Scalar(String, bool),
    /// A list.
    List(Vec<Node>),
    /// A map in file order; names are unique.
    Map(Vec<(Key, Node)>),
}

/// A name in a map.
#[derive(Clone, Debug)]
pub struct Key {
    /// The name.
    pub name: String,
    /// Where it stands.
    pub mark: Mark,
}

impl Node {
    /// The text of a scalar; none for lists and maps.
    #[must_use]
    pub fn text(&self) -> Option<&str> {
        match &self.body {
            Body::Scalar(text, _) => Some(text),
            _ => None,
        }
    }

    /// The value of a name; none where it is missing or this is no map.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Node> {
        match &self.body {
            Body::Map(pairs) => pairs.iter().find(|(k, _)| k.name == name).map(|(_, v)| v),
            _ => None,
        }
    }

    /// The node at a path of names.
    #[must_use]
    pub fn at(&self, path: &[&str]) -> Option<&Node> {
        path.iter().try_fold(self, |node, name| node.get(name))
    }

    /// In words, for messages.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match &self.body {
            Body::Scalar(t, false) if t.is_empty() => "nothing",
            Body::Scalar(..) => "a single value",
            Body::List(_) => "a list",
            Body::Map(_) => "a map of names and values",
        }
    }
}

/// A file and its text, to show places in.
#[derive(Clone, Debug)]
pub struct Text {
    /// As the user named it.
    pub file: String,
    /// All of it.
    pub text: Arc<str>,
}

impl Text {
    /// Reads a file, at most [`FILE_BYTES_MAX`] of it.
    ///
    /// # Errors
    /// It cannot be read, is too long, or is not UTF-8.
    pub fn read(path: &Path) -> Result<Text, Problems> {
        let file = path.display().to_string();
        let problem = |what: String| Problems::from(Problem::new(format!("{file}: {what}")));
        let cannot = |e: std::io::Error| problem(format!("cannot be read: {e}"));
        let mut bytes = Vec::new();
        let source = File::open(path).map_err(cannot)?;
        let most = FILE_BYTES_MAX as u64 + 1;
        source.take(most).read_to_end(&mut bytes).map_err(cannot)?;
        if bytes.len() > FILE_BYTES_MAX {
            return Err(problem(format!("longer than {FILE_BYTES_MAX} bytes")));
        }
        match String::from_utf8(bytes) {
            Ok(text) => Ok(Text { file, text: text.into() }),
            Err(e) => {
                let line = 1 + bytes_lines(&e.as_bytes()[..e.utf8_error().valid_up_to()]);
                Err(problem(format!("not UTF-8 text, in line {line}")))
            }
        }
    }

    /// A text that is no file, or was read elsewhere.
    pub fn new(file: impl Into<String>, text: impl Into<Arc<str>>) -> Text {
        Text { file: file.into(), text: text.into() }
    }

    /// The place of a mark, with the text of its line.
    #[must_use]
    pub fn place(&self, mark: Mark) -> Place {
        let line = self.text.lines().nth(mark.line.saturating_sub(1) as usize);
        let line = line.unwrap_or_default();
        let rest = (line.chars().count() as u32).saturating_sub(mark.column.saturating_sub(1));
        Place {
            file: self.file.clone(),
            line: mark.line,
            column: mark.column,
            width: mark.width.clamp(1, rest.max(1)),
            text: line.chars().take(LINE_BYTES_MAX).collect(),
        }
    }

    /// A problem at a mark.
    #[must_use]
    pub fn problem(&self, mark: Mark, what: impl Into<String>) -> Problem {
        Problem::new(what).at(self.place(mark))
    }
}

/// Refuses a text with more parts or deeper nesting than a parser should be given that holds all of it in memory
/// before anything can be checked. What counts: commas, colons, opening brackets, and dashes and question marks before a
/// blank, wherever they stand.
///
/// # Errors
/// More than `parts_max` parts; brackets, or dashes and question marks in a row, more than [`DEPTH_MAX`] deep.
pub fn check_parts(file: &str, text: &str, parts_max: usize) -> Result<(), Problem> {
    let (mut parts, mut brackets, mut row, mut deepest) = (0_usize, 0_usize, 0_usize, 0);
    let bytes = text.as_bytes();
    for (i, byte) in bytes.iter().enumerate() {
        match byte {
            b'[' | b'{' => brackets += 1,
            b']' | b'}' => brackets = brackets.saturating_sub(1),
            b'-' | b'?' if bytes.get(i + 1).is_none_or(u8::is_ascii_whitespace) => row += 1,
            b' ' => continue,
            b',' | b':' => row = 0,
            _ => {
                row = 0;
                continue;
            }
        }
        parts += usize::from(!matches!(byte, b']' | b'}'));
        deepest = deepest.max(brackets).max(row);
    }
    if deepest > DEPTH_MAX {
        return Err(Problem::new(format!("{file}: nested more than {DEPTH_MAX} deep")));
    }
    if parts > parts_max {
        return Err(Problem::new(format!("{file}: more than {parts_max} values")));
    }
    Ok(())
}

fn bytes_lines(bytes: &[u8]) -> usize {
    bytes.iter().filter(|b| **b == b'\n').count()
}
