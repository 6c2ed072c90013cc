//! Tables taken elsewhere: CSV with a header, every cell with its place.
//!
//! In: a file of unknown origin. Out: a header and rows of cells, each of which can be pointed at; or what is wrong
//! with the file as a whole. Limits: 16 MiB, 100,000 rows, 1,000 columns, lines of 64 KiB. Never: a cell out of its
//! column, or more problems than a person will read.

use crate::problem::{Place, Problem, Problems};
use std::fs::File;
use std::io::Read as _;
use std::path::Path;

/// Largest file, bytes.
pub const FILE_MAX: u64 = 16 << 20;
/// Most rows.
pub const ROWS_MAX: usize = 100_000;
/// Most columns.
pub const COLUMNS_MAX: usize = 1000;
/// Longest line, bytes.
pub const LINE_MAX: usize = 64 * 1024;
/// Problems that are told one by one.
pub const PROBLEMS_MAX: usize = 50;

/// A table.
#[derive(Clone, Debug)]
pub struct Table {
    /// The file as the user named it.
    pub file: String,
    /// Column names, trimmed.
    pub header: Vec<String>,
    /// Rows that hold anything.
    pub rows: Vec<Row>,
    header_line: (u32, String),
}

/// A row.
#[derive(Clone, Debug)]
pub struct Row {
    /// Line in the file, from 1.
    pub line: u32,
    /// Cells, trimmed; as many as the header has.
    pub cells: Vec<String>,
    text: String,
}

/// Reads a table.
///
/// # Errors
/// The file cannot be read, is too large, is not text, or rows do not fit the header.
pub fn read(path: &Path) -> Result<Table, Problems> {
    let file = path.display().to_string();
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|f| f.take(FILE_MAX + 1).read_to_end(&mut bytes));
    read.map_err(|e| Problem::new(format!("{file}: cannot be read: {e}")))?;
    if bytes.len() as u64 > FILE_MAX {
        return Err(Problem::new(format!("{file}: is larger than {} MiB", FILE_MAX >> 20)).into());
    }
    parse(&file, &bytes)
}

/// The header line of a text, in cells, for telling what kind of table it is.
#[must_use]
pub fn header_of(bytes: &[u8]) -> Vec<String> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let line = bytes.split(|b| *b == b'\n').find(|l| !l.trim_ascii().is_empty()).unwrap_or(&[]);
    cells(&String::from_utf8_lossy(&line[..line.len().min(LINE_MAX)])).unwrap_or_default()
}

/// Reads a table from its bytes; `file` is how messages name it.
///
/// # Errors
/// As [`read`].
pub fn parse(file: &str, bytes: &[u8]) -> Result<Table, Problems> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut problems = Problems::default();
    let mut table: Option<Table> = None;
    for (i, line) in bytes.split(|b| *b == b'\n').enumerate() {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        let number = u32::try_from(i + 1).unwrap_or(u32::MAX);
        if line.trim_ascii().is_empty() {
            continue;
        }
        let whole = |what: String| Problem::new(what).at(place(file, number, line, 0, line.len()));
        if line.len() > LINE_MAX {
            return Err(whole(format!("the line is longer than {LINE_MAX} bytes")).into());
        }
        let Ok(text) = std::str::from_utf8(line) else {
            return Err(whole(String::from("the line is not UTF-8 text"))
                .expected("a CSV file in UTF-8")
                .into());
        };
        let Some(cells) = cells(text) else {
            problems.push(whole(String::from("a quote is opened and not closed")));
            continue;
        };
        match &mut table {
            None => table = Some(begin(file, number, text, cells)?),
            Some(table) => table.push(number, text, cells, &mut problems)?,
        }
        if problems.0.len() >= PROBLEMS_MAX {
            problems.push(Problem::new("there are more problems; these come first"));
            return Err(problems);
        }
    }
    problems.into_result()?;
    table.ok_or_else(|| Problem::new(format!("{file}: is empty")).expected("a header line and rows").into())
}

fn begin(file: &str, line: u32, text: &str, header: Vec<String>) -> Result<Table, Problems> {
    let whole = |what: &str| Problem::new(what).at(place(file, line, text.as_bytes(), 0, text.len()));
    if header.len() == 1 && text.contains([';', '\t']) {
        let help = "separate columns with a comma, and write decimals with a point";
        return Err(whole("columns are separated by something else than a comma").help(help).into());
    }
    if header.len() > COLUMNS_MAX {
        return Err(whole(&format!("there are more than {COLUMNS_MAX} columns")).into());
    }
    Ok(Table { file: file.to_owned(), header, rows: Vec::new(), header_line: (line, text.to_owned()) })
}

impl Table {
    fn push(
        &mut self,
        line: u32,
        text: &str,
        cells: Vec<String>,
        problems: &mut Problems,
    ) -> Result<(), Problems> {
        if self.rows.len() >= ROWS_MAX {
            return Err(Problem::new(format!("{}: has more than {ROWS_MAX} rows", self.file)).into());
        }
        if cells.iter().all(String::is_empty) {
            return Ok(());
        }
        let (found, expected) = (cells.len(), self.header.len());
        if found == expected {
            self.rows.push(Row { line, cells, text: text.to_owned() });
            return Ok(());
        }
        let mut problem = Problem::new(format!("the line has {found} cells"))
            .at(place(&self.file, line, text.as_bytes(), 0, text.len()))
            .expected(format!("{expected}, as the header has"));
        if found > expected {
            problem = problem.help("if a decimal comma made two cells of one number, write a point");
        }
        problems.push(problem);
        Ok(())
    }

    /// The place of a cell.
    #[must_use]
    pub fn cell(&self, row: &Row, column: usize) -> Place {
        let (from, to) = span(&row.text, column);
        place(&self.file, row.line, row.text.as_bytes(), from, to)
    }

    /// The place of a column's name.
    #[must_use]
    pub fn column(&self, column: usize) -> Place {
        let (from, to) = span(&self.header_line.1, column);
        place(&self.file, self.header_line.0, self.header_line.1.as_bytes(), from, to)
    }

    /// The place of the whole header.
    #[must_use]
    pub fn whole_header(&self) -> Place {
        let text = &self.header_line.1;
        place(&self.file, self.header_line.0, text.as_bytes(), 0, text.len())
    }
}

/// A number in a cell: none where it is empty, or what is wrong with it. `unit` is what the column's name says.
///
/// # Errors
/// A problem without a place.
pub fn number(cell: &str, column: &str) -> Result<Option<f64>, Box<Problem>> {
    if cell.is_empty() {
        return Ok(None);
    }
    let refuse = |help: &str| {
        let problem = Problem::new(format!("\"{cell}\" in {column} is not a number"));
        Err(Box::new(
            problem.expected("a plain number such as 13.8, or nothing where it was not measured").help(help),
        ))
    };
    let plain = cell.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E'));
    match cell.parse::<f64>() {
        Ok(v) if plain && v.is_finite() => Ok(Some(v)),
        Ok(_) => refuse("write what was read, and leave the cell empty where nothing was"),
        Err(_) if cell.contains(',') => refuse("write decimals with a point: 13.8"),
        Err(_) if cell.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '.')) => {
            refuse("the unit stands in the column's name; write the number alone")
        }
        Err(_) => refuse("leave the cell empty where nothing was measured"),
    }
}

/// The cells of a line (RFC 4180), trimmed; none where a quote is not closed.
fn cells(line: &str) -> Option<Vec<String>> {
    let quotes = line.bytes().filter(|b| *b == b'"').count();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .buffer_capacity(line.len().clamp(64, LINE_MAX))
        .trim(csv::Trim::All)
        .from_reader(line.as_bytes());
    let mut record = csv::StringRecord::new();
    let read = reader.read_record(&mut record).unwrap_or(false);
    (read && quotes % 2 == 0).then(|| record.iter().map(str::to_owned).collect())
}

/// Where a cell stands in its line, in bytes, blanks around it left out.
fn span(line: &str, column: usize) -> (usize, usize) {
    let (mut quoted, mut at, mut from) = (false, 0, 0);
    for (i, b) in line.bytes().enumerate() {
        match b {
            b'"' => quoted = !quoted,
            b',' if !quoted => {
                if at == column {
                    return trimmed(line, from, i);
                }
                at += 1;
                from = i + 1;
            }
            _ => {}
        }
    }
    trimmed(line, if at == column { from } else { line.len() }, line.len())
}

fn trimmed(line: &str, from: usize, to: usize) -> (usize, usize) {
    let cell = &line[from..to];
    let lead = cell.len() - cell.trim_start().len();
    (from + lead, from + lead + cell.trim().len())
}

fn place(file: &str, line: u32, text: &[u8], from: usize, to: usize) -> Place {
    let shown = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let chars = |bytes: &[u8]| u32::try_from(shown(bytes).chars().count()).unwrap_or(u32::MAX);
    let mut line_text = shown(text);
    if let Some((cut, _)) = line_text.char_indices().nth(200) {
        line_text.truncate(cut);
    }
    let line_width = u32::try_from(line_text.chars().count()).unwrap_or(u32::MAX);
    let column = chars(&text[..from]) + 1;
    Place {
        file: file.to_owned(),
        line,
        column,
        width: chars(&text[from..to]).min((line_width + 1).saturating_sub(column)).max(1),
        text: line_text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_found_where_they_stand() {
        let text = "a,\"b, c\" ,d\n1,\"2, 3\" , 4\n\n\n5,,6\n";
        let table = parse("t.csv", text.as_bytes()).unwrap();
        assert_eq!(table.header, ["a", "b, c", "d"]);
        assert_eq!((table.rows[0].line, table.rows[1].line), (2, 5));
        assert_eq!(table.rows[1].cells, ["5", "", "6"]);
        for (column, at, width) in [(0, 1, 1), (1, 3, 6), (2, 12, 1)] {
            let place = table.cell(&table.rows[0], column);
            assert_eq!((place.line, place.column, place.width), (2, at, width));
        }
        assert_eq!(table.column(2).column, 11);
        assert_eq!(header_of(b"\xef\xbb\xbf\r\n x ,y\r\n"), ["x", "y"]);
    }

    #[test]
    fn numbers_are_plain_or_refused() {
        assert_eq!(number("", "supply_v").unwrap(), None);
        for (text, value) in [("13.8", 13.8), ("-0.5", -0.5), ("1e3", 1000.0), (".5", 0.5)] {
            assert_eq!(number(text, "supply_v").unwrap(), Some(value));
        }
        for bad in [
            "nan", "inf", "-inf", "1e999", "13,8", "1 000", "13.8 V", "0x7f", "1_000", "1:30", "n/a", "--1",
            "\u{0661}",
        ] {
            let problem = number(bad, "supply_v").unwrap_err();
            assert!(problem.help.is_some() && problem.what.contains(bad), "{bad}");
        }
    }
}
