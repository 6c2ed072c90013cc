//! Points that lie at a step of their output.
//!
//! In: observations of one side. Out: whether a steady point lies so near to where its output steps that what plays the
//! input may have put it on either side. Its value says nothing there; the edge itself is compared in its place.
//! Never: an excuse by an edge that was not measured.

use crate::reduce::controller::{At, Kind, Observation, Way};

/// Standard uncertainties of an edge within which a point lies at it.
const REACH: f64 = 3.0;

/// An edge of one input at a place of the other.
struct Edge {
    other: f64,
    input: f64,
    u: f64,
}

/// Whether a steady point lies at an edge of its output, over boost or over speed.
pub(super) fn lies_at_edge(o: &Observation, side: &[Observation]) -> bool {
    let ways: &[Way] = match o.kind {
        Kind::SteadyUp => &[Way::Up],
        Kind::SteadyDown => &[Way::Down],
        Kind::Steady => &[Way::Up, Way::Down],
        _ => return false,
    };
    let (boost, rpm) = (o.at.boost_kpa, o.at.rpm);
    ways.iter().any(|way| {
        within(boost, rpm, &edges(o, side, *way, "boost", |at| at.rpm))
            || within(rpm, boost, &edges(o, side, *way, "rpm", |at| at.boost_kpa))
    })
}

fn edges(
    o: &Observation,
    side: &[Observation],
    way: Way,
    input: &str,
    other: impl Fn(&At) -> Option<f64>,
) -> Vec<Edge> {
    let kind = Kind::Edge(way, input.to_owned());
    let mine = side.iter().filter(|e| e.output == o.output && e.kind == kind);
    let edge =
        |e: &Observation| Some(Edge { other: other(&e.at)?, input: e.value?, u: e.u_common.hypot(e.u_own) });
    let mut found: Vec<Edge> = mine.filter_map(edge).collect();
    found.sort_by(|a, b| a.other.total_cmp(&b.other));
    found
}

/// Whether a place lies at an edge that was measured there, or between two that were measured on either side of it:
/// between those two it may lie anywhere.
fn within(input: Option<f64>, other: Option<f64>, edges: &[Edge]) -> bool {
    let (Some(input), Some(other)) = (input, other) else {
        return false;
    };
    let near = |e: &Edge| (e.other - other).abs() <= 1e-3 * other.abs().max(1.0);
    if let Some(e) = edges.iter().find(|e| near(e)) {
        return (e.input - input).abs() <= REACH * e.u;
    }
    edges.windows(2).any(|pair| {
        let (a, b) = (&pair[0], &pair[1]);
        let (low, high) = (a.input.min(b.input), a.input.max(b.input));
        let reach = REACH * a.u.max(b.u) + 0.5 * (high - low);
        (a.other..=b.other).contains(&other) && (low - reach..=high + reach).contains(&input)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_an_edge_and_between_two() {
        let edge = |other: f64, input: f64| Edge { other, input, u: 0.2 };
        let edges = [edge(4000.0, 49.0), edge(6000.0, 48.0)];
        for (input, other, at) in [
            (49.5, 4000.0, true),
            (50.0, 4000.0, false),
            (48.5, 5000.0, true),
            (46.8, 5000.0, false),
            (48.5, 7000.0, false),
        ] {
            assert_eq!(within(Some(input), Some(other), &edges), at, "{input} {other}");
        }
        assert!(!within(None, Some(1.0), &edges) && !within(Some(49.0), Some(4000.0), &[]));
    }
}
