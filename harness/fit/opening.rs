//! Which opening pressures of a bypass matter.
//!
//! A bypass that opens between two points can trap a fit that starts from one guess in a wrong minimum: here evidence is
//! taken over a grid of opening pressures and widths, and the grid is made finer where the evidence lies. In: a
//! [`Pass`]. Out: the candidates that hold a share. Never: one guess.

use super::candidate::{Candidate, Opening, Pass};

/// Widths of a bypass's opening that are weighed, fraction of its opening pressure.
const WIDTHS: [f64; 3] = [0.01, 0.06, 0.15];
/// Opening pressures first tried, between the lowest and the highest line pressure.
const OPENINGS: usize = 20;
/// Rounds of halving the distance between opening pressures where the evidence lies.
const REFINEMENTS: usize = 3;
/// Share of the evidence from which on a candidate is kept.
const KEPT: f64 = 0.01;
/// Remainders at which candidates are first compared: amplitude as a fraction of full flow, and place among the kinds.
const SCORED: [(f64, usize); 2] = [(0.0005, 1), (0.003, 3)];

impl Pass<'_> {
    /// Evidence of a candidate at two middling remainders, over the shapes of the noise: enough to see which matter.
    fn score(&self, candidate: &mut Candidate) {
        let mut logs = Vec::new();
        for shape in 0..self.noises.len() {
            for (amplitude, kind) in SCORED {
                logs.extend(
                    self.solve(candidate, shape, amplitude, kind)
                        .map(|s| s.log_evidence),
                );
            }
        }
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = logs.iter().map(|l| (l - top).exp()).sum();
        candidate.log_score = top + sum.ln();
    }

    /// Candidates with a share that matters: a first grid of opening pressures, refined where the evidence lies.
    pub(super) fn candidates(&self) -> Vec<Candidate> {
        let mut all = vec![self.scored(None, 0.5)];
        let lines = self.places.iter().map(|p| p.line_kpa);
        let low = lines.clone().fold(f64::INFINITY, f64::min).max(0.0);
        let high = lines.fold(0.0, f64::max);
        for width in WIDTHS {
            let mut grid: Vec<Candidate> = (0..OPENINGS)
                .map(|i| low + (high - low) * (i as f64 + 0.5) / OPENINGS as f64)
                .map(|opens_kpa| {
                    self.scored(
                        Some(Opening {
                            opens_kpa,
                            width_kpa: width * opens_kpa,
                        }),
                        0.0,
                    )
                })
                .collect();
            for _ in 0..REFINEMENTS {
                share_prior(&mut grid, high, 0.5 / WIDTHS.len() as f64);
                self.refine(&mut grid, width);
            }
            share_prior(&mut grid, high, 0.5 / WIDTHS.len() as f64);
            all.append(&mut grid);
        }
        keep_heavy(all)
    }

    fn scored(&self, opening: Option<Opening>, prior_weight: f64) -> Candidate {
        let mut candidate = self.candidate(opening, prior_weight);
        self.score(&mut candidate);
        candidate
    }

    /// Puts an opening pressure half-way to both neighbours of each that holds a good share of the grid's evidence.
    fn refine(&self, grid: &mut Vec<Candidate>, width: f64) {
        let shares = shares(grid);
        let openings: Vec<f64> = grid
            .iter()
            .filter_map(|c| c.opening.map(|o| o.opens_kpa))
            .collect();
        let mut added = Vec::new();
        for i in 1..openings.len() {
            if shares[i] > 0.08 || shares[i - 1] > 0.08 {
                added.push(0.5 * (openings[i] + openings[i - 1]));
            }
        }
        grid.extend(added.into_iter().map(|opens_kpa| {
            self.scored(
                Some(Opening {
                    opens_kpa,
                    width_kpa: width * opens_kpa,
                }),
                0.0,
            )
        }));
        grid.sort_by(|a, b| {
            let at = |c: &Candidate| c.opening.map_or(0.0, |o| o.opens_kpa);
            at(a).total_cmp(&at(b))
        });
    }
}

/// Prior weights of a grid of opening pressures up to `highest`: to each the room half-way to its neighbours, and a
/// valve that opens early in the pump's range is unlikely, as the square of the part of it.
fn share_prior(grid: &mut [Candidate], highest: f64, total: f64) {
    let at: Vec<f64> = grid
        .iter()
        .filter_map(|c| c.opening.map(|o| o.opens_kpa))
        .collect();
    for (i, candidate) in grid.iter_mut().enumerate() {
        let low = if i == 0 { 0.0 } else { 0.5 * (at[i - 1] + at[i]) };
        let high = if i + 1 == at.len() {
            highest
        } else {
            0.5 * (at[i] + at[i + 1])
        };
        let part = |p: f64| (p / highest).clamp(0.0, 1.0).powi(3);
        candidate.prior_weight = total * (part(high) - part(low)).max(1e-12);
    }
}

fn shares(candidates: &[Candidate]) -> Vec<f64> {
    let logs: Vec<f64> = candidates
        .iter()
        .map(|c| c.log_score + c.prior_weight.max(1e-300).ln())
        .collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    logs.iter().map(|l| (l - top).exp() / sum).collect()
}

fn keep_heavy(candidates: Vec<Candidate>) -> Vec<Candidate> {
    let shares = shares(&candidates);
    candidates
        .into_iter()
        .zip(shares)
        .filter(|(_, s)| *s > KEPT)
        .map(|(c, _)| c)
        .collect()
}
