//! SVG bytes: elements, numbers and text, escaped and without surprises.
//!
//! In: tags, attributes and text. Out: one `<svg>` element with a view box that starts at 0 0.
//! Never: a number in a form that depends on the machine; text that could be read as markup; a style or a script.

use super::Size;
use super::measure;
use crate::report::words::Words;
use std::collections::BTreeMap;
use std::fmt::Write;

/// The font size of everything in a chart, so that it prints at 9 points or more.
pub(super) const FONT: f64 = 13.0;
/// From one line of text to the next.
pub(super) const LINE: f64 = 17.0;

/// A rectangle, edges in units of the chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rect {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

impl Rect {
    pub(super) fn width(&self) -> f64 {
        self.right - self.left
    }

    pub(super) fn height(&self) -> f64 {
        self.bottom - self.top
    }

    /// The same rectangle, `by` larger on each side.
    pub(super) fn grown(&self, by: f64) -> Rect {
        Rect { left: self.left - by, top: self.top - by, right: self.right + by, bottom: self.bottom + by }
    }

    pub(super) fn overlaps(&self, other: &Rect) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    /// How far a place is from the rectangle; 0 inside.
    pub(super) fn distance(&self, (x, y): (f64, f64)) -> f64 {
        let dx = (self.left - x).max(x - self.right).max(0.0);
        let dy = (self.top - y).max(y - self.bottom).max(0.0);
        dx.hypot(dy)
    }

    pub(super) fn holds(&self, other: &Rect) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && self.right >= other.right
            && self.bottom >= other.bottom
    }
}

/// The value of an attribute.
pub(super) enum Value<'a> {
    Number(f64),
    Text(&'a str),
    Owned(String),
}

impl From<f64> for Value<'_> {
    fn from(v: f64) -> Self {
        Value::Number(v)
    }
}

impl<'a> From<&'a str> for Value<'a> {
    fn from(v: &'a str) -> Self {
        Value::Text(v)
    }
}

impl From<String> for Value<'_> {
    fn from(v: String) -> Self {
        Value::Owned(v)
    }
}

/// Where text stands relative to its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// An SVG being drawn.
pub(super) struct Canvas {
    id: String,
    /// How wide it is laid out.
    pub(super) size: Size,
    /// The height reached so far; the finished element is this high.
    pub(super) height: f64,
    body: String,
    defs: BTreeMap<String, String>,
    notes: Vec<String>,
}

impl Canvas {
    pub(super) fn new(id: &str, size: Size) -> Self {
        Canvas {
            id: id.to_owned(),
            size,
            height: 0.0,
            body: String::new(),
            defs: BTreeMap::new(),
            notes: Vec::new(),
        }
    }

    pub(super) fn width(&self) -> f64 {
        self.size.width()
    }

    /// An element without content.
    pub(super) fn leaf(&mut self, tag: &str, attributes: &[(&str, Value)]) {
        self.start(tag, attributes);
        self.body.push_str("/>");
    }

    /// Opens an element; [`Canvas::close`] ends it.
    pub(super) fn open(&mut self, tag: &str, attributes: &[(&str, Value)]) {
        self.start(tag, attributes);
        self.body.push('>');
    }

    pub(super) fn close(&mut self, tag: &str) {
        let _ = write!(self.body, "</{tag}>");
    }

    fn start(&mut self, tag: &str, attributes: &[(&str, Value)]) {
        self.body.push('<');
        self.body.push_str(tag);
        for (name, value) in attributes {
            let text = match value {
                Value::Number(v) => number(*v),
                Value::Text(t) => escaped(t),
                Value::Owned(t) => escaped(t),
            };
            let _ = write!(self.body, " {name}=\"{text}\"");
        }
    }

    /// One line of text with its base line at `y`.
    pub(super) fn text(&mut self, class: &str, x: f64, y: f64, anchor: Anchor, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        self.open(
            "text",
            &[("class", class.into()), ("x", x.into()), ("y", y.into()), ("text-anchor", anchor.into())],
        );
        self.body.push_str(&escaped(text));
        self.close("text");
    }

    /// Lines of text below one another, the first base line at `y`. Returns the base line after the last.
    pub(super) fn lines(&mut self, class: &str, x: f64, y: f64, anchor: Anchor, lines: &[String]) -> f64 {
        let mut y = y;
        for line in lines {
            self.text(class, x, y, anchor, line);
            y += LINE;
        }
        y
    }

    /// A straight line.
    pub(super) fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        self.leaf(
            "line",
            &[
                ("class", class.into()),
                ("x1", from.0.into()),
                ("y1", from.1.into()),
                ("x2", to.0.into()),
                ("y2", to.1.into()),
            ],
        );
    }

    /// A rectangle; `fill` is a definition made by [`Canvas::define`], where the class does not say it all.
    pub(super) fn rect(&mut self, class: &str, rect: Rect, fill: Option<&str>) {
        let mut attributes: Vec<(&str, Value)> = vec![
            ("class", class.into()),
            ("x", rect.left.into()),
            ("y", rect.top.into()),
            ("width", rect.width().max(0.0).into()),
            ("height", rect.height().max(0.0).into()),
        ];
        if let Some(fill) = fill {
            attributes.push(("fill", fill.into()));
        }
        self.leaf("rect", &attributes);
    }

    /// A definition, made once a chart: `content` with `ID` replaced by its id. Returns what refers to it.
    pub(super) fn define(&mut self, name: &str, content: &str) -> String {
        let id = format!("{}-{name}", self.id);
        self.defs.entry(name.to_owned()).or_insert_with(|| content.replace("ID", &id));
        format!("url(#{id})")
    }

    /// Something the chart cannot show, said in its description and beneath it.
    pub(super) fn note(&mut self, note: String) {
        if !self.notes.contains(&note) {
            self.notes.push(note);
        }
    }

    /// The element.
    pub(super) fn finish(mut self, title: &Words, desc: &Words) -> String {
        for note in std::mem::take(&mut self.notes) {
            let lines = measure::wrap(&note, FONT, self.width() - 8.0);
            let y = self.height + LINE;
            self.height = self.lines("tx", 4.0, y, Anchor::Start, &lines) - LINE + 4.0;
        }
        let (width, height) = (number(self.width()), number(self.height.ceil()));
        let (id, title, desc) = (escaped(&self.id), escaped(title.as_str()), escaped(desc.as_str()));
        let class = match self.size {
            Size::Wide => "chart wide",
            Size::Narrow => "chart narrow",
        };
        let defs: String = self.defs.into_values().collect();
        let defs = if defs.is_empty() { defs } else { format!("<defs>{defs}</defs>") };
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"{class}\" viewBox=\"0 0 {width} {height}\" \
             width=\"{width}\" height=\"{height}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\">\
             <title id=\"{id}-title\">{title}</title><desc id=\"{id}-desc\">{desc}</desc>{defs}{}</svg>",
            self.body
        )
    }
}

/// A number with at most two decimals and no negative zero.
pub(super) fn number(v: f64) -> String {
    let text = format!("{v:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Text for an element or an attribute.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_plain() {
        for (v, text) in
            [(1.0, "1"), (-0.001, "0"), (2.5, "2.5"), (1.239, "1.24"), (-3.10, "-3.1"), (100.0, "100")]
        {
            assert_eq!(number(v), text);
        }
    }

    #[test]
    fn text_is_text() {
        let mut canvas = Canvas::new("c", Size::Wide);
        canvas.text("tx", 0.0, 10.0, Anchor::Start, "</text><script>\"&'");
        let out = canvas.finish(&Words::from("<t>"), &Words::from("d"));
        let tree = roxmltree::Document::parse(&out).unwrap();
        assert!(tree.descendants().any(|n| n.text() == Some("</text><script>\"&'")));
    }
}
