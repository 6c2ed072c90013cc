//! What a key does.
//!
//! In: bytes from the keyboard. Out: [`Wish`]es. Any key stops the run but the one that freezes the view, so that
//! stopping needs no aim; while a question stands, keys write its answer, and Esc stops. Never: a key that switches
//! something on.

/// What the person at the keyboard wants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// End the run safely.
    Stop,
    /// Hold the view, or let it go on.
    Freeze,
    /// The answer to the question.
    Answer(String),
}

/// Longest answer kept, characters.
const ANSWER_MOST: usize = 60;

/// What keys wish; `typed` is the answer so far while a question stands, none otherwise.
#[must_use]
pub fn wishes(bytes: &[u8], mut typed: Option<&mut String>) -> Vec<Wish> {
    let mut found = Vec::new();
    for byte in bytes {
        match (typed.as_deref_mut(), byte) {
            (Some(text), b'\r' | b'\n') => {
                found.push(Wish::Answer(std::mem::take(text)));
                typed = None;
            }
            (Some(text), 0x08 | 0x7f) => {
                text.pop();
            }
            (Some(text), b' '..=b'~') if text.chars().count() < ANSWER_MOST => text.push(char::from(*byte)),
            (Some(_), b' '..=b'~' | 0x80..) => {}
            (Some(_), _) => found.push(Wish::Stop),
            (None, b'f' | b'F') => found.push(Wish::Freeze),
            (None, _) => found.push(Wish::Stop),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_stops_but_the_one_that_freezes() {
        for byte in 0..=255_u8 {
            let expected = if byte.eq_ignore_ascii_case(&b'f') { Wish::Freeze } else { Wish::Stop };
            assert_eq!(wishes(&[byte], None), [expected], "{byte}");
        }
        assert_eq!(wishes(b"\x1b[A", None)[0], Wish::Stop, "an arrow key");
    }

    #[test]
    fn while_a_question_stands_keys_write_and_escape_stops() {
        let mut typed = String::new();
        assert_eq!(wishes(b"13.6 Vx\x7f", Some(&mut typed)), []);
        assert_eq!(typed, "13.6 V");
        assert_eq!(wishes(b"\r", Some(&mut typed)), [Wish::Answer("13.6 V".into())]);
        assert_eq!(wishes(b"\x1b", Some(&mut typed)), [Wish::Stop]);
        assert_eq!(wishes(b"\x03", Some(&mut typed)), [Wish::Stop]);
    }
}
