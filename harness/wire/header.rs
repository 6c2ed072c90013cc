//! SCPI headers in their long and short form.
//!
//! In: a header's definition as manuals print it (`SYSTem:ERRor[:NEXT]?`, capitals for the short form, brackets
//! for what may be left out, `[1]` for a number that may) and a header as sent. Out: whether they match. Never: a
//! match by a form that is neither the long nor the short one.

/// Whether `input` is a form of `definition`; case does not matter, a leading colon may stand before it.
#[must_use]
pub fn matches(definition: &str, input: &str) -> bool {
    let (definition, asks) = split_query(definition);
    let (input, asked) = split_query(input);
    if asks != asked || input.is_empty() {
        return false;
    }
    if definition.starts_with('*') {
        return definition.eq_ignore_ascii_case(input);
    }
    let input = input.strip_prefix(':').unwrap_or(input);
    nodes_match(definition.strip_prefix(':').unwrap_or(definition), Some(input))
}

fn split_query(header: &str) -> (&str, bool) {
    header.strip_suffix('?').map_or((header, false), |h| (h, true))
}

/// Matches node after node; `input` is none when nothing of it is left.
fn nodes_match(definition: &str, input: Option<&str>) -> bool {
    if definition.is_empty() {
        return input.is_none();
    }
    if let Some((node, rest)) = definition.strip_prefix("[:").and_then(|d| d.split_once(']')) {
        return nodes_match(rest, input) || take(node, rest, input);
    }
    let definition = definition.strip_prefix(':').unwrap_or(definition);
    let end = node_end(definition);
    take(&definition[..end], &definition[end..], input)
}

/// Where the first node of a definition ends: before a colon, or before the bracket of an optional node.
fn node_end(definition: &str) -> usize {
    let colon = definition.find(':').unwrap_or(definition.len());
    if colon > 0 && definition[..colon].ends_with('[') { colon - 1 } else { colon }
}

fn take(node: &str, rest: &str, input: Option<&str>) -> bool {
    let Some(input) = input else { return false };
    let (word, tail) = input.split_once(':').map_or((input, None), |(w, t)| (w, Some(t)));
    node_matches(node, word) && nodes_match(rest, tail)
}

fn node_matches(node: &str, word: &str) -> bool {
    let (bare, optional) = match node.split_once('[') {
        Some((name, number)) => (name, number.strip_suffix(']')),
        None => (node, None),
    };
    let (name, number) = split_number(bare);
    let (sent, sent_number) = split_number(word);
    let numbers_agree = match optional {
        Some(number) => sent_number.is_empty() || sent_number == number,
        None => sent_number == number,
    };
    let is_short = || {
        let short = name.bytes().filter(|b| !b.is_ascii_lowercase());
        short.eq(sent.bytes().map(|b| b.to_ascii_uppercase()))
    };
    numbers_agree && (sent.eq_ignore_ascii_case(name) || is_short())
}

/// A mnemonic and the digits at its end.
fn split_number(word: &str) -> (&str, &str) {
    word.split_at(word.trim_end_matches(|c: char| c.is_ascii_digit()).len())
}
