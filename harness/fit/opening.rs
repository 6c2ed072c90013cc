//! Which opening pressures of a bypass matter.
//!
//! A bypass that opens between two points can trap a fit that starts from one guess in a wrong minimum: here evidence is
//! taken over a grid of opening pressures and widths, and the grid is made finer where the evidence lies. In: a
//! [`Pass`]. Out: the candidates that hold a share. Never: one guess.

use super::candidate::{Candidate, Pass};
use super::extra::{Extra, Opening, Pulsing};
use super::prior::PULSED_SHARE;

/// Widths of a bypass's opening that are weighed, fraction of its opening pressure.
const WIDTHS: [f64; 3] = [0.01, 0.06, 0.15];
/// Share of the prior for a pump without a bypass in reach.
const NO_BYPASS: f64 = 0.5;
/// Opening pressures first tried, between the lowest and the highest line pressure.
const OPENINGS: usize = 20;
/// Rounds of halving the distance between opening pressures where the evidence lies.
const REFINEMENTS: usize = 3;
/// Pulsing currents that are weighed: `j` without pressure (0.25 and more never stops at any duty), and its growth up to
/// the highest pressure against that.
const STILL: [f64; 10] = [0.01, 0.02, 0.035, 0.055, 0.08, 0.11, 0.14, 0.17, 0.2, 0.23];
const PRESSED_TO_STILL: [f64; 4] = [0.7, 1.5, 3.0, 6.0];
const STILL_RANGE: (f64, f64) = (0.003, 0.25);
/// Rounds of the search nearer to the likeliest.
const CLOSER_ROUNDS: usize = 8;
/// Share of the evidence from which on a candidate is kept.
const KEPT: f64 = 0.01;
/// Remainders at which candidates are first compared: amplitude as a fraction of full flow, and place among the kinds.
pub(super) const SCORED: [(f64, usize); 2] = [(0.0005, 1), (0.003, 3)];
/// Logarithm of the evidence by which a shape of the noise may lag and still matter.
const SHAPE_MATTERS: f64 = 5.0;

impl Pass<'_> {
    /// Evidence of a candidate at two middling remainders, with one shape of the noise: enough to see which matter.
    fn score(&self, candidate: &mut Candidate, shape: usize) {
        let logs = SCORED.map(|(amplitude, kind)| {
            self.solve(candidate, shape, amplitude, kind).map_or(f64::NEG_INFINITY, |s| s.log_evidence)
        });
        let top = logs[0].max(logs[1]);
        candidate.log_score =
            if top.is_finite() { top + logs.iter().map(|l| (l - top).exp()).sum::<f64>().ln() } else { top };
    }

    /// Shapes of the noise by their evidence for a candidate, best first, without those that do not matter.
    pub(super) fn shapes(&self, candidate: &Candidate) -> Vec<usize> {
        let (amplitude, kind) = SCORED[1];
        let evidence = |shape| self.solve(candidate, shape, amplitude, kind).map(|s| (s.log_evidence, shape));
        let mut found: Vec<(f64, usize)> = (0..self.noises.len()).filter_map(evidence).collect();
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        let top = found.first().map_or(0.0, |f| f.0);
        found.into_iter().filter(|f| f.0 > top - SHAPE_MATTERS).map(|f| f.1).collect()
    }

    /// Candidates with a share that matters: bypasses without a pulsing current, pulsing currents, and bypasses with the
    /// likeliest of these.
    pub(super) fn candidates(&self) -> Vec<Candidate> {
        let mut all = self.bypasses(None, 1.0 - PULSED_SHARE);
        let found =
            |all: &[Candidate]| likeliest(all).map_or((Extra::default(), 0.0), |c| (c.extra, c.prior_weight));
        let (Extra { opening, .. }, mass) = found(&all);
        let mass = mass / (1.0 - PULSED_SHARE);
        let mut pulsing = self.pulsings(None, NO_BYPASS);
        if opening.is_some() {
            pulsing.extend(self.pulsings(opening, mass));
        }
        let (start, each) = found(&pulsing);
        if let Some(at) = start.pulsing {
            pulsing.extend(self.closer(start.opening, at, each));
        }
        let (Extra { opening, pulsing: likeliest }, each) = found(&pulsing);
        let of_opening = if opening.is_some() { mass } else { NO_BYPASS };
        all.append(&mut pulsing);
        if found(&all).0.pulsing.is_some() {
            all.extend(self.bypasses(likeliest, each / of_opening));
        }
        keep_heavy(all)
    }

    /// Pulsing currents with a given bypass, which has this share of the prior.
    fn pulsings(&self, opening: Option<Opening>, mass: f64) -> Vec<Candidate> {
        let each = PULSED_SHARE * mass / (STILL.len() * PRESSED_TO_STILL.len()) as f64;
        let grid =
            STILL.iter().flat_map(|still| PRESSED_TO_STILL.iter().map(move |part| (*still, part * still)));
        grid.map(|(still, pressed)| {
            self.scored(Extra { opening, pulsing: Some(Pulsing { still, pressed }) }, each)
        })
        .collect()
    }

    /// Pulsing currents nearer to the likeliest: steps in the logarithm of both numbers, halved where none helps. A
    /// smaller step stands for a smaller part of the prior.
    fn closer(&self, opening: Option<Opening>, start: Pulsing, each: f64) -> Vec<Candidate> {
        let mut visited: Vec<Candidate> = Vec::new();
        let (mut at, mut score) = (start, f64::NEG_INFINITY);
        let mut step = 0.3_f64;
        for _ in 0..CLOSER_ROUNDS {
            let mut moved = false;
            for (a, b) in [
                (step, 0.0),
                (-step, 0.0),
                (0.0, 1.5 * step),
                (0.0, -1.5 * step),
                (step, -1.5 * step),
                (-step, 1.5 * step),
            ] {
                let still = (at.still * a.exp()).clamp(STILL_RANGE.0, STILL_RANGE.1);
                let pulsing = Pulsing { still, pressed: at.pressed * (a + b).exp() };
                let candidate =
                    self.scored(Extra { opening, pulsing: Some(pulsing) }, each * (step / 0.6).powi(2));
                if candidate.log_score > score {
                    (at, score, moved) = (pulsing, candidate.log_score, true);
                }
                visited.push(candidate);
            }
            if !moved {
                step *= 0.5;
            }
        }
        visited
    }

    /// The pump without a bypass, and a grid of opening pressures, made finer where the evidence lies.
    fn bypasses(&self, pulsing: Option<Pulsing>, share: f64) -> Vec<Candidate> {
        let mut all = vec![self.scored(Extra { opening: None, pulsing }, NO_BYPASS * share)];
        // The anchors after the means lie at no pressure.
        let lines = self.places[..self.data.means.len()].iter().map(|p| p.line_kpa);
        let low = lines.clone().fold(f64::INFINITY, f64::min).max(0.0);
        let high = lines.fold(0.0, f64::max);
        for width in WIDTHS {
            let at = |opens_kpa: f64| {
                let opening = Some(Opening { opens_kpa, width_kpa: width * opens_kpa });
                self.scored(Extra { opening, pulsing }, 0.0)
            };
            let first = (0..OPENINGS).map(|i| low + (high - low) * (i as f64 + 0.5) / OPENINGS as f64);
            let mut grid: Vec<Candidate> = first.map(at).collect();
            let each = (1.0 - NO_BYPASS) * share / WIDTHS.len() as f64;
            for _ in 0..REFINEMENTS {
                share_prior(&mut grid, high, each);
                refine(&mut grid, at);
            }
            share_prior(&mut grid, high, each);
            all.append(&mut grid);
        }
        all
    }

    fn scored(&self, extra: Extra, prior_weight: f64) -> Candidate {
        let mut candidate = self.candidate(extra, prior_weight);
        self.score(&mut candidate, self.scored_shape);
        candidate
    }
}

/// Puts an opening pressure half-way to both neighbours of each that holds a good share of the grid's evidence.
fn refine(grid: &mut Vec<Candidate>, at: impl Fn(f64) -> Candidate) {
    let shares = shares(grid);
    let openings: Vec<f64> = grid.iter().filter_map(|c| c.extra.opening.map(|o| o.opens_kpa)).collect();
    let added: Vec<f64> = (1..openings.len())
        .filter(|i| shares[*i] > 0.08 || shares[i - 1] > 0.08)
        .map(|i| 0.5 * (openings[i] + openings[i - 1]))
        .collect();
    grid.extend(added.into_iter().map(at));
    let opens = |c: &Candidate| c.extra.opening.map_or(0.0, |o| o.opens_kpa);
    grid.sort_by(|a, b| opens(a).total_cmp(&opens(b)));
}

/// Prior weights of a grid of opening pressures up to `highest`: to each the room half-way to its neighbours, and a
/// valve that opens early in the pump's range is unlikely, as the square of the part of it.
fn share_prior(grid: &mut [Candidate], highest: f64, total: f64) {
    let at: Vec<f64> = grid.iter().filter_map(|c| c.extra.opening.map(|o| o.opens_kpa)).collect();
    for (i, candidate) in grid.iter_mut().enumerate() {
        let low = if i == 0 { 0.0 } else { 0.5 * (at[i - 1] + at[i]) };
        let high = if i + 1 == at.len() { highest } else { 0.5 * (at[i] + at[i + 1]) };
        let part = |p: f64| (p / highest).clamp(0.0, 1.0).powi(3);
        candidate.prior_weight = total * (part(high) - part(low)).max(1e-12);
    }
}

/// The candidate with the largest share.
pub(super) fn likeliest(candidates: &[Candidate]) -> Option<&Candidate> {
    let shares = shares(candidates);
    (0..candidates.len()).max_by(|a, b| shares[*a].total_cmp(&shares[*b])).map(|i| &candidates[i])
}

fn shares(candidates: &[Candidate]) -> Vec<f64> {
    let logs: Vec<f64> = candidates.iter().map(|c| c.log_score + c.prior_weight.max(1e-300).ln()).collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    logs.iter().map(|l| (l - top).exp() / sum).collect()
}

fn keep_heavy(candidates: Vec<Candidate>) -> Vec<Candidate> {
    let shares = shares(&candidates);
    candidates.into_iter().zip(shares).filter(|(_, s)| *s > KEPT).map(|(c, _)| c).collect()
}
