//! `sums.csv`: how much of each file was on the disk at each sync, and the check sum of that much.
//!
//! In: lines of `file,bytes,crc32c`. Out: the last sync of each file, or what is wrong with the list. A line cut
//! short at the very end (a kill in the middle of it) is dropped; anything else out of form means the list was
//! altered. Never: bytes taken as good that no line vouches for.

use super::{EVENTS, SAMPLES};
use std::io::{BufRead, Read as _, Write as _};

/// The header line, with its end.
pub const HEADER: &str = "file,bytes,crc32c\n";

/// Longest line, bytes.
const LINE_MAX: u64 = 128;

/// The first `bytes` bytes of a file and their CRC-32C (Castagnoli, RFC 3720 appendix B.4).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Extent {
    /// How many bytes from the start.
    pub bytes: u64,
    /// Their check sum.
    pub crc32c: u32,
}

impl Extent {
    /// The extent that also covers `more`.
    #[must_use]
    pub fn with(self, more: &[u8]) -> Extent {
        Extent { bytes: self.bytes + more.len() as u64, crc32c: crc32c::crc32c_append(self.crc32c, more) }
    }
}

/// The files summed, in the order in which their extents are kept.
pub const FILES: [&str; 2] = [SAMPLES, EVENTS];

/// Appends a line.
pub fn push_line(out: &mut Vec<u8>, file: &str, extent: Extent) {
    // Writing to a vector cannot fail.
    let _ = writeln!(out, "{file},{},{:08x}", extent.bytes, extent.crc32c);
}

/// Goes through a list in order: `each(index into FILES, extent)`. How many bytes are whole lines.
///
/// # Errors
/// The line (from 1) and what is wrong with it.
pub fn read(mut list: impl BufRead, mut each: impl FnMut(usize, Extent)) -> Result<u64, (u32, &'static str)> {
    let mut last = [0; FILES.len()];
    let (mut line, mut number, mut bytes) = (Vec::new(), 0, 0);
    loop {
        line.clear();
        number += 1;
        let got = (&mut list).take(LINE_MAX).read_until(b'\n', &mut line);
        match got.map_err(|_| (number, "cannot be read"))? {
            0 => return Ok(bytes),
            _ if number == 1 && !HEADER.as_bytes().starts_with(&line) => {
                return Err((1, "is not the header"));
            }
            // Cut short by a kill, unless it is too long for a line at all.
            n if line.last() != Some(&b'\n') && (n as u64) < LINE_MAX => return Ok(bytes),
            n => bytes += n as u64,
        }
        if number == 1 {
            continue;
        }
        let body = line.strip_suffix(b"\n").unwrap_or(&line);
        let (file, extent) = parse(body).ok_or((number, "is not a line of file, bytes and crc32c"))?;
        if extent.bytes < last[file] {
            return Err((number, "goes back"));
        }
        last[file] = extent.bytes;
        each(file, extent);
    }
}

/// A line; none if it is not byte for byte what [`push_line`] writes.
fn parse(line: &[u8]) -> Option<(usize, Extent)> {
    let text = std::str::from_utf8(line).ok()?;
    let mut cells = text.split(',');
    let name = cells.next()?;
    let file = FILES.iter().position(|f| *f == name)?;
    let extent =
        Extent { bytes: cells.next()?.parse().ok()?, crc32c: u32::from_str_radix(cells.next()?, 16).ok()? };
    let mut same = Vec::with_capacity(line.len() + 1);
    push_line(&mut same, name, extent);
    (same.strip_suffix(b"\n") == Some(line)).then_some((file, extent))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_check_sum_is_crc32c() {
        // Source: RFC 3720 appendix B.4: 32 bytes of zeros, of ones, ascending; check value of "123456789".
        let ascending: Vec<u8> = (0..32).collect();
        for (bytes, crc) in [
            (&[0_u8; 32][..], 0x8a91_36aa_u32),
            (&[0xff; 32], 0x62a8_ab43),
            (&ascending, 0x46dd_794e),
            (b"123456789", 0xe306_9283),
        ] {
            assert_eq!(Extent::default().with(bytes).crc32c, crc);
            let (a, b) = bytes.split_at(3);
            assert_eq!(Extent::default().with(a).with(b).crc32c, crc);
        }
    }

    fn last(text: &[u8]) -> Result<[u64; 2], (u32, &'static str)> {
        let mut seen = [0; 2];
        read(text, |file, extent| seen[file] = extent.bytes).map(|_| seen)
    }

    #[test]
    fn every_prefix_reads_and_every_flip_is_seen() {
        let mut text = HEADER.as_bytes().to_vec();
        push_line(&mut text, SAMPLES, Extent { bytes: 10, crc32c: 1 });
        push_line(&mut text, EVENTS, Extent { bytes: 20, crc32c: 2 });
        push_line(&mut text, SAMPLES, Extent { bytes: 30, crc32c: 3 });
        assert_eq!(last(&text), Ok([30, 20]));
        for cut in 0..text.len() {
            assert!(last(&text[..cut]).is_ok(), "{cut}");
        }
        text.extend_from_slice(b"events.csv,19,00000002\n");
        assert_eq!(last(&text), Err((5, "goes back")));
        for bad in [
            "file,bytes\n",
            "file,bytes,crc32c\nother.csv,1,00000000\n",
            "file,bytes,crc32c\nevents.csv,+1,00000000\n",
            "file,bytes,crc32c\nevents.csv,1,0\n",
            "\u{ff}",
        ] {
            assert!(last(bad.as_bytes()).is_err(), "{bad}");
        }
    }
}
