//! Digits made of blocks, to be read across a room.
//!
//! In: a number as text. Out: five rows of text of equal length. Never: a digit of seven straight segments.

/// Rows of a digit.
pub const ROWS: usize = 5;

/// Rows of a character, `#` where it is filled; none for a character without a shape.
fn shape(c: char) -> Option<[&'static str; ROWS]> {
    Some(match c {
        '0' => [" ### ", "## ##", "## ##", "## ##", " ### "],
        '1' => [" ## ", "### ", " ## ", " ## ", "####"],
        '2' => ["#### ", "   ##", " ### ", "##   ", "#####"],
        '3' => ["#### ", "   ##", " ### ", "   ##", "#### "],
        '4' => ["## ##", "## ##", "#####", "   ##", "   ##"],
        '5' => ["#####", "##   ", "#### ", "   ##", "#### "],
        '6' => [" ####", "##   ", "#### ", "## ##", " ### "],
        '7' => ["#####", "   ##", "  ## ", " ##  ", " ##  "],
        '8' => [" ### ", "## ##", " ### ", "## ##", " ### "],
        '9' => [" ### ", "## ##", " ####", "   ##", "#### "],
        '.' => ["  ", "  ", "  ", "  ", "##"],
        '-' => ["    ", "    ", "####", "    ", "    "],
        ' ' => ["  ", "  ", "  ", "  ", "  "],
        _ => return None,
    })
}

/// The text as block digits with `ink` for what is filled; characters without a shape are left out.
#[must_use]
pub fn block(text: &str, ink: char) -> [String; ROWS] {
    let mut rows = [const { String::new() }; ROWS];
    for shape in text.chars().filter_map(shape) {
        for (row, part) in rows.iter_mut().zip(shape) {
            if !row.is_empty() {
                row.push(' ');
            }
            row.extend(part.chars().map(|c| if c == '#' { ink } else { ' ' }));
        }
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_digit_differs_from_every_other_and_rows_are_even() {
        let all: Vec<_> = "0123456789.-".chars().map(|c| block(&c.to_string(), '#')).collect();
        for (i, a) in all.iter().enumerate() {
            assert!(a.iter().all(|row| row.len() == a[0].len()), "{a:?}");
            assert!(all.iter().skip(i + 1).all(|b| a != b), "{a:?}");
        }
        assert_eq!(block("x", '#'), [""; ROWS], "no shape, no room");
    }
}
