//! Events of the YAML parser to nodes, within the budgets.
//!
//! In: a text; events are pulled one by one. Out: the root node, or the problem that ended the reading. Never: an event
//! more than the budgets allow.

use super::{
    Body, DEPTH_MAX, FILE_BYTES_MAX, KEYS_MAX, Key, LINE_BYTES_MAX, Mark, NODES_MAX, Node, PROBLEMS_MAX,
    PUNCTUATION_MAX, SCALAR_BYTES_MAX, Text,
};
use crate::problem::{Problem, Problems};
use saphyr_parser::{Event, Parser, ScalarStyle, ScanError, Span};

/// Reads one document.
///
/// # Errors
/// The text breaks a budget or a rule of YAML; or names appear twice in a map: then every one of them.
pub fn parse(text: &Text) -> Result<Node, Problems> {
    if text.text.len() > FILE_BYTES_MAX {
        let what = format!("{}: longer than {FILE_BYTES_MAX} bytes", text.file);
        return Err(Problem::new(what).into());
    }
    let long = |(_, line): &(usize, &str)| line.len() > LINE_BYTES_MAX;
    if let Some((at, _)) = text.text.split('\n').enumerate().find(long) {
        let what = format!("{}:{}: a line longer than {LINE_BYTES_MAX} bytes", text.file, at + 1);
        return Err(Problem::new(what).into());
    }
    let marks = |b: &u8| matches!(b, b',' | b':' | b'[' | b'{');
    if text.text.as_bytes().iter().filter(|b| marks(b)).count() > PUNCTUATION_MAX {
        let what = format!("{}: more than {PUNCTUATION_MAX} commas, colons and brackets", text.file);
        return Err(Problem::new(what).into());
    }
    let mut builder = Builder::new(text);
    for event in Parser::new_from_str(&text.text) {
        let (event, span) = event.map_err(|e| builder.scan_error(&e))?;
        builder.take(event, span)?;
    }
    builder.end()
}

/// A list or map that is still open.
struct Open {
    mark: Mark,
    kind: OpenKind,
}

enum OpenKind {
    List(Vec<Node>),
    Map(Vec<(Key, Node)>, Option<Key>),
}

struct Builder<'t> {
    text: &'t Text,
    open: Vec<Open>,
    root: Option<Node>,
    nodes: usize,
    documents: usize,
    problems: Problems,
}

impl<'t> Builder<'t> {
    fn new(text: &'t Text) -> Self {
        Builder { text, open: Vec::new(), root: None, nodes: 0, documents: 0, problems: Problems::default() }
    }

    fn scan_error(&self, error: &ScanError) -> Problem {
        let marker = error.marker();
        let mark = Mark { line: marker.line() as u32, column: marker.col() as u32 + 1, width: 1 };
        let deep = error.info().contains("recursion");
        let what = if deep { too_deep() } else { format!("not YAML: {}", error.info()) };
        let problem = self.text.problem(mark, what);
        if self.line(mark).contains('\t') {
            return problem.help("indent with blanks; tabs are not allowed there");
        }
        problem
    }

    fn line(&self, mark: Mark) -> &str {
        let line = self.text.text.lines().nth(mark.line.saturating_sub(1) as usize);
        line.unwrap_or_default()
    }

    fn take(&mut self, event: Event<'_>, span: Span) -> Result<(), Problems> {
        let mark = self.mark(&event, span);
        match event {
            Event::DocumentStart(_) => self.document(mark),
            Event::Scalar(value, style, anchor, tag) => {
                self.plain(mark, anchor, tag.is_some())?;
                self.scalar(mark, value.into_owned(), style != ScalarStyle::Plain)
            }
            Event::SequenceStart(anchor, tag) => {
                self.plain(mark, anchor, tag.is_some())?;
                self.begin(mark, OpenKind::List(Vec::new()))
            }
            Event::MappingStart(anchor, tag) => {
                self.plain(mark, anchor, tag.is_some())?;
                self.begin(mark, OpenKind::Map(Vec::new(), None))
            }
            Event::SequenceEnd | Event::MappingEnd => self.close(),
            Event::Alias(_) => {
                self.stop(mark, "an alias is not allowed here", "write a text that begins with * in quotes")
            }
            _ => Ok(()),
        }
    }

    /// The mark of an event: what stands on the first line of its span.
    fn mark(&self, event: &Event<'_>, span: Span) -> Mark {
        let one_line = span.start.line() == span.end.line();
        let width = match event {
            Event::Scalar(..) if one_line => span.end.col().saturating_sub(span.start.col()),
            _ => 1,
        };
        Mark {
            line: span.start.line() as u32,
            column: span.start.col() as u32 + 1,
            width: width.max(1) as u32,
        }
    }

    /// Ends the reading with a problem, after those found on the way.
    fn stop(&mut self, mark: Mark, what: impl Into<String>, help: &str) -> Result<(), Problems> {
        let mut problem = self.text.problem(mark, what);
        if !help.is_empty() {
            problem = problem.help(help);
        }
        self.problems.push(problem);
        Err(std::mem::take(&mut self.problems))
    }

    fn document(&mut self, mark: Mark) -> Result<(), Problems> {
        self.documents += 1;
        if self.documents > 1 {
            return self.stop(mark, "a second document begins here", "a file holds one document");
        }
        Ok(())
    }

    fn plain(&mut self, mark: Mark, anchor: usize, tag: bool) -> Result<(), Problems> {
        self.nodes += 1;
        if self.nodes > NODES_MAX {
            return self.stop(mark, format!("more than {NODES_MAX} values"), "");
        }
        if anchor > 0 {
            return self.stop(
                mark,
                "an anchor (&) is not allowed here",
                "use a parameter for a value that stands in several places",
            );
        }
        if tag {
            return self.stop(mark, "a tag (!) is not allowed here", "");
        }
        Ok(())
    }

    fn begin(&mut self, mark: Mark, kind: OpenKind) -> Result<(), Problems> {
        if self.open.len() >= DEPTH_MAX {
            return self.stop(mark, too_deep(), "");
        }
        if self.awaits_key() {
            return self.stop(
                mark,
                "a list or map stands where a name is expected",
                "a text with { or [ needs quotes",
            );
        }
        self.open.push(Open { mark, kind });
        Ok(())
    }

    fn awaits_key(&self) -> bool {
        matches!(self.open.last(), Some(Open { kind: OpenKind::Map(_, None), .. }))
    }

    fn scalar(&mut self, mark: Mark, text: String, quoted: bool) -> Result<(), Problems> {
        if text.len() > SCALAR_BYTES_MAX {
            let what = format!("a text of {} bytes; at most {SCALAR_BYTES_MAX}", text.len());
            return self.stop(mark, what, "");
        }
        if self.awaits_key() {
            return self.key(mark, text);
        }
        self.put(Node { mark, body: Body::Scalar(text, quoted), from: None });
        Ok(())
    }

    fn key(&mut self, mark: Mark, name: String) -> Result<(), Problems> {
        if name == "<<" {
            return self.stop(mark, "a merge key is not allowed here", "");
        }
        let Some(Open { kind: OpenKind::Map(pairs, waiting), .. }) = self.open.last_mut() else {
            return Ok(());
        };
        if pairs.len() >= KEYS_MAX {
            return self.stop(mark, format!("more than {KEYS_MAX} names in one map"), "");
        }
        if let Some((first, _)) = pairs.iter().find(|(k, _)| k.name == name) {
            let what = format!("\"{name}\" stands here a second time");
            let help = format!("the first is in line {}", first.mark.line);
            if self.problems.0.len() < PROBLEMS_MAX {
                self.problems.push(self.text.problem(mark, what).help(help));
            }
        }
        *waiting = Some(Key { name, mark });
        Ok(())
    }

    fn close(&mut self) -> Result<(), Problems> {
        if let Some(open) = self.open.pop() {
            let body = match open.kind {
                OpenKind::List(items) => Body::List(items),
                OpenKind::Map(pairs, _) => Body::Map(pairs),
            };
            self.put(Node { mark: open.mark, body, from: None });
        }
        Ok(())
    }

    fn put(&mut self, node: Node) {
        match self.open.last_mut().map(|o| &mut o.kind) {
            Some(OpenKind::List(items)) => items.push(node),
            Some(OpenKind::Map(pairs, waiting)) => {
                if let Some(key) = waiting.take() {
                    pairs.push((key, node));
                }
            }
            None => self.root = Some(node),
        }
    }

    fn end(self) -> Result<Node, Problems> {
        self.problems.into_result()?;
        self.root.ok_or_else(|| Problem::new(format!("{}: nothing in it", self.text.file)).into())
    }
}

fn too_deep() -> String {
    format!("nested more than {DEPTH_MAX} deep")
}
