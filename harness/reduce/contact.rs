//! What a contact did: its changes, told apart from bounce.
//!
//! In: readings of a contact in order of time. Out: [`Edge`]s, each with the span of time in which it happened, and how
//! often the contact bounced. Criterion: changes that follow each other within [`BOUNCE_S`] are one burst; a burst that
//! ends in another state than it began is an edge at its first change (contacts bounce after they touch or part), one
//! that ends as it began is a spike and no edge. Never: an edge between two readings that agree.

/// Changes closer than this belong to one burst, s. Contacts of pressure switches settle within some ten
/// milliseconds (common practice, no source).
pub const BOUNCE_S: f64 = 0.1;

/// Changes that are kept of one series; a contact that changes more often chatters, and more tell nothing new.
const CHANGES_MAX: usize = 10_000;

/// Between these two readings the contact changed.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Change {
    before_s: f64,
    after_s: f64,
    made: bool,
}

/// A change of state that lasted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Whether the contact made (or broke).
    pub made: bool,
    /// Last reading before it, s.
    pub before_s: f64,
    /// First reading after it, s.
    pub after_s: f64,
    /// Changes of the burst beyond the first.
    pub bounces: u32,
    /// From the first change of the burst to its last, s.
    pub lasted_s: f64,
}

impl Edge {
    /// Middle of the time in which it happened, s.
    #[must_use]
    pub fn middle_s(&self) -> f64 {
        0.5 * (self.before_s + self.after_s)
    }
}

/// A contact over a time, as read.
#[derive(Clone, Debug, Default)]
pub struct Contact {
    first: Option<bool>,
    last: Option<(f64, bool)>,
    changes: Vec<Change>,
    readings: usize,
    lost: u32,
}

impl Contact {
    /// Takes the next reading.
    pub fn push(&mut self, time_s: f64, made: bool) {
        if let Some((before_s, was)) = self.last
            && was != made
        {
            if self.changes.len() < CHANGES_MAX {
                self.changes.push(Change { before_s, after_s: time_s, made });
            } else {
                self.lost += 1;
            }
        }
        self.first.get_or_insert(made);
        self.last = Some((time_s, made));
        self.readings += 1;
    }

    /// Readings taken.
    #[must_use]
    pub const fn readings(&self) -> usize {
        self.readings
    }

    /// State at the first reading; none without readings.
    #[must_use]
    pub const fn first(&self) -> Option<bool> {
        self.first
    }

    /// State at the last reading; none without readings.
    #[must_use]
    pub fn last(&self) -> Option<bool> {
        self.last.map(|(_, made)| made)
    }

    /// Edges in order, and the number of spikes.
    #[must_use]
    pub fn edges(&self) -> (Vec<Edge>, u32) {
        let (mut edges, mut spikes, mut from) = (Vec::new(), 0, 0);
        for i in 1..=self.changes.len() {
            let goes_on = self
                .changes
                .get(i)
                .is_some_and(|next| next.after_s - self.changes[i - 1].after_s <= BOUNCE_S);
            if goes_on {
                continue;
            }
            match burst(&self.changes[from..i]) {
                Some(edge) => edges.push(edge),
                None => spikes += 1,
            }
            from = i;
        }
        (edges, spikes)
    }
}

/// The edge of a burst; none where it ends as it began.
fn burst(changes: &[Change]) -> Option<Edge> {
    let (first, last) = (changes.first()?, changes.last()?);
    (first.made == last.made).then(|| Edge {
        made: first.made,
        before_s: first.before_s,
        after_s: first.after_s,
        bounces: u32::try_from(changes.len() - 1).unwrap_or(u32::MAX),
        lasted_s: last.after_s - first.after_s,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contact(readings: &[(f64, u8)]) -> Contact {
        let mut c = Contact::default();
        readings.iter().for_each(|&(t, made)| c.push(t, made == 1));
        c
    }

    #[test]
    fn bounce_is_one_edge_at_its_first_change() {
        let clean = contact(&[(0.0, 0), (0.01, 0), (0.02, 1), (0.03, 1)]);
        let (edges, spikes) = clean.edges();
        assert_eq!((edges.len(), spikes), (1, 0));
        assert_eq!((edges[0].before_s, edges[0].after_s), (0.01, 0.02));
        let bouncing = contact(&[(0.0, 0), (0.01, 1), (0.02, 0), (0.03, 0), (0.04, 1), (0.9, 1)]);
        let (edges, spikes) = bouncing.edges();
        assert_eq!((edges.len(), spikes, edges[0].bounces), (1, 0, 2));
        assert_eq!((edges[0].before_s, edges[0].after_s), (0.0, 0.01));
        assert!((edges[0].lasted_s - 0.03).abs() < 1e-12);
        assert_eq!(bouncing.changes.len(), 3);
    }

    #[test]
    fn a_spike_is_no_edge_and_a_second_make_is_one() {
        let spike = contact(&[(0.0, 0), (0.5, 1), (0.51, 0), (3.0, 0), (3.01, 1), (4.0, 1)]);
        let (edges, spikes) = spike.edges();
        assert_eq!((edges.len(), spikes), (1, 1));
        assert_eq!((edges[0].before_s, edges[0].after_s), (3.0, 3.01));
        let chatter = contact(&[(0.0, 0), (1.0, 1), (2.0, 0), (3.0, 1)]);
        let made: Vec<bool> = chatter.edges().0.iter().map(|e| e.made).collect();
        assert_eq!(made, [true, false, true]);
    }

    #[test]
    fn nothing_happens_without_changes() {
        assert_eq!(contact(&[]).edges(), (Vec::new(), 0));
        assert_eq!(contact(&[]).first(), None);
        let still = contact(&[(0.0, 1), (1.0, 1)]);
        assert_eq!((still.first(), still.last(), still.edges().0.len()), (Some(true), Some(true), 0));
    }

    #[test]
    fn a_contact_that_never_rests_is_counted_in_bounded_memory() {
        let mut c = Contact::default();
        (0..50_000).for_each(|i| c.push(f64::from(i), i % 2 == 0));
        assert_eq!(c.lost as usize + c.changes.len(), 49_999);
        assert_eq!(c.edges().0.len(), CHANGES_MAX);
    }
}
