//! The table of numbers: what was measured, beside what, and whether it is what was aimed at.
//!
//! In: lines as they are measured. Out: each at once, and the whole at the end. Never: a line that is missing
//! without a word: a peer that cannot be had is a line that says so, and the program then ends with 1.

/// One number.
pub(crate) struct Line {
    /// Which number.
    pub(crate) id: &'static str,
    /// What was measured.
    pub(crate) what: String,
    /// Our figure.
    pub(crate) ours: String,
    /// Floor or peer, measured in the same run.
    pub(crate) peer: String,
    /// Ours over theirs, as the aim has it.
    pub(crate) ratio: Option<f64>,
    /// What was aimed at.
    pub(crate) aim: String,
    /// Whether it was met; none where nothing was aimed at.
    pub(crate) met: Option<bool>,
}

/// All of them.
#[derive(Default)]
pub(crate) struct Table {
    lines: Vec<Line>,
    notes: Vec<String>,
    missing: Vec<String>,
}

impl Table {
    /// Adds a line and shows it.
    pub(crate) fn add(&mut self, line: Line) {
        eprintln!(
            "{} {}: {} ({}){} aim {}: {}",
            line.id,
            line.what,
            line.ours,
            line.peer,
            line.ratio.map_or(String::new(), |r| format!(", {r:.2} x;")),
            line.aim,
            verdict(line.met)
        );
        self.lines.push(line);
    }

    /// Adds a note.
    pub(crate) fn note(&mut self, text: &str) {
        eprintln!("note: {text}");
        self.notes.push(text.to_owned());
    }

    /// A peer that could not be had.
    pub(crate) fn missing(&mut self, id: &'static str, peer: &str, why: &str) {
        self.add(Line {
            id,
            what: format!("PEER MISSING: {peer}"),
            ours: String::new(),
            peer: why.to_owned(),
            ratio: None,
            aim: String::new(),
            met: None,
        });
        self.missing.push(format!("{id} {peer}"));
    }

    /// The whole, as text with aligned columns.
    pub(crate) fn text(&self) -> String {
        let mut rows = vec![["", "what", "ours", "floor or peer", "ratio", "aim", ""].map(str::to_owned)];
        rows.extend(self.lines.iter().map(|l| {
            [
                l.id.to_owned(),
                l.what.clone(),
                l.ours.clone(),
                l.peer.clone(),
                l.ratio.map_or(String::new(), |r| format!("{r:.3}")),
                l.aim.clone(),
                verdict(l.met).to_owned(),
            ]
        }));
        let width = |c: usize| rows.iter().map(|r| r[c].chars().count()).max().unwrap_or(0);
        let widths: Vec<usize> = (0..7).map(width).collect();
        let mut out = String::new();
        for row in &rows {
            let cells: Vec<String> = row.iter().zip(&widths).map(|(c, w)| format!("{c:<w$}")).collect();
            out += cells.join("  ").trim_end();
            out.push('\n');
        }
        let (met, judged) = (
            self.lines.iter().filter(|l| l.met == Some(true)).count(),
            self.lines.iter().filter(|l| l.met.is_some()).count(),
        );
        out += &format!("{met} of {judged} met\n");
        for note in &self.notes {
            out += &format!("note: {note}\n");
        }
        for peer in &self.missing {
            out += &format!("peer missing: {peer}\n");
        }
        out
    }

    /// Whether every peer was there.
    pub(crate) fn whole(&self) -> bool {
        self.missing.is_empty()
    }
}

fn verdict(met: Option<bool>) -> &'static str {
    match met {
        Some(true) => "met",
        Some(false) => "MISSED",
        None => "-",
    }
}

/// The least of a few measurements.
pub(crate) fn best(rounds: usize, mut measure: impl FnMut() -> f64) -> f64 {
    (0..rounds).map(|_| measure()).fold(f64::INFINITY, f64::min)
}
