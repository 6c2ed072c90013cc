//! Where there is room for words: a coarse picture of what is drawn, and the best free place near a point.
//!
//! In: what is drawn (paths and boxes), a point, the size of the words. Out: a box inside the frame that covers as
//! little as possible and no other words. Never: a place outside the frame.

use super::svg::Rect;

/// Edge of a square of the picture.
const SQUARE: f64 = 4.0;

/// What is drawn in a frame.
pub(super) struct Ground {
    frame: Rect,
    across: usize,
    ink: Vec<bool>,
    taken: Vec<Rect>,
}

impl Ground {
    /// An empty frame.
    pub(super) fn new(frame: Rect) -> Self {
        let across = (frame.width() / SQUARE).ceil() as usize + 1;
        let down = (frame.height() / SQUARE).ceil() as usize + 1;
        Ground { frame, across, ink: vec![false; across * down], taken: Vec::new() }
    }

    /// Something small is drawn here.
    pub(super) fn dot(&mut self, x: f64, y: f64) {
        if let Some(i) = self.square(x, y)
            && let Some(square) = self.ink.get_mut(i)
        {
            *square = true;
        }
    }

    /// A straight stroke is drawn.
    pub(super) fn stroke(&mut self, a: (f64, f64), b: (f64, f64)) {
        let far = (b.0 - a.0).hypot(b.1 - a.1);
        let steps = (far / SQUARE * 1.5).ceil().clamp(1.0, 2000.0);
        for i in 0..=(steps as usize) {
            let t = i as f64 / steps;
            self.dot(a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t);
        }
    }

    /// Words stand here.
    pub(super) fn take(&mut self, rect: Rect) {
        self.taken.push(rect);
    }

    fn square(&self, x: f64, y: f64) -> Option<usize> {
        let (i, j) = ((x - self.frame.left) / SQUARE, (y - self.frame.top) / SQUARE);
        (i >= 0.0 && j >= 0.0 && (i as usize) < self.across).then(|| j as usize * self.across + i as usize)
    }

    /// How much a box would cover: squares drawn on; none where it leaves the frame or covers words.
    fn cost(&self, rect: &Rect) -> Option<f64> {
        if !self.frame.grown(-2.0).holds(rect) || self.taken.iter().any(|t| t.grown(2.0).overlaps(rect)) {
            return None;
        }
        Some(self.count(rect))
    }

    /// How many squares of a box are drawn on.
    fn count(&self, rect: &Rect) -> f64 {
        let mut covered = 0.0;
        let mut y = rect.top;
        while y <= rect.bottom {
            let mut x = rect.left;
            while x <= rect.right {
                if self.square(x, y).and_then(|i| self.ink.get(i)).copied().unwrap_or(false) {
                    covered += 1.0;
                }
                x += SQUARE;
            }
            y += SQUARE;
        }
        covered
    }

    /// The best place for words right beside a path, clearly nearer to it than to the other paths. None where there is
    /// no such place.
    pub(super) fn place_along(
        &mut self,
        path: &[(f64, f64)],
        others: &[&Vec<(f64, f64)>],
        width: f64,
        height: f64,
    ) -> Option<Rect> {
        let others: Vec<(f64, f64)> = others.iter().flat_map(|other| along(other, 6.0)).collect();
        let mut best: Option<(f64, Rect)> = None;
        for (x, y) in along(path, 12.0) {
            for (dx, dy) in BESIDE {
                let (x, y) = (x + dx * (BESIDE_GAP + width / 2.0), y + dy * (BESIDE_GAP + height / 2.0));
                let rect = Rect {
                    left: x - width / 2.0,
                    right: x + width / 2.0,
                    top: y - height / 2.0,
                    bottom: y + height / 2.0,
                };
                let Some(covered) = self.cost(&rect.grown(1.0)) else {
                    continue;
                };
                let crowd = self.count(&rect.grown(14.0));
                let cost = covered * 8.0 + crowd;
                let clear = others.iter().all(|p| rect.distance(*p) > BESIDE_GAP * 2.0);
                if clear && covered < 3.0 && best.as_ref().is_none_or(|(least, _)| cost < *least) {
                    best = Some((cost, rect));
                }
            }
        }
        let rect = best.map(|(_, rect)| rect)?;
        self.take(rect);
        Some(rect)
    }

    /// The best place for words of `width` by `height` near a point, at least `gap` away from it; taken once found.
    /// None where every place within reach would cover other words.
    pub(super) fn place(&mut self, near: (f64, f64), width: f64, height: f64, gap: f64) -> Option<Rect> {
        let mut best: Option<(f64, Rect)> = None;
        for ring in 0..9 {
            let away = gap + 14.0 * f64::from(ring);
            for turn in 0..24 {
                let angle = f64::from(turn) * std::f64::consts::TAU / 24.0;
                // The box touches a circle of radius `away` with the side that faces the point.
                let (dx, dy) = (angle.cos(), angle.sin());
                let x = near.0 + dx * (away + width / 2.0);
                let y = near.1 + dy * (away + height / 2.0);
                let rect = Rect {
                    left: x - width / 2.0,
                    right: x + width / 2.0,
                    top: y - height / 2.0,
                    bottom: y + height / 2.0,
                };
                let Some(covered) = self.cost(&rect.grown(2.0)) else {
                    continue;
                };
                let cost = covered * 4.0 + f64::from(ring) * 3.0;
                if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                    best = Some((cost, rect));
                }
            }
        }
        let rect = best.map(|(_, rect)| rect)?;
        self.take(rect);
        Some(rect)
    }
}

/// Where words may stand beside a point: above, below, to the sides, at the corners.
const BESIDE: [(f64, f64); 8] =
    [(0.0, -1.0), (0.0, 1.0), (1.0, 0.0), (-1.0, 0.0), (1.0, -1.0), (-1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
/// From a path to the words beside it.
const BESIDE_GAP: f64 = 5.0;

/// Points along a path, about `every` apart.
fn along(path: &[(f64, f64)], every: f64) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    let mut left = 0.0;
    for pair in path.windows(2) {
        let (dx, dy) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
        let far = dx.hypot(dy);
        let mut at = left;
        while at < far {
            out.push((pair[0].0 + dx * at / far, pair[0].1 + dy * at / far));
            at += every;
        }
        left = at - far;
    }
    out.extend(path.last());
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Rect = Rect { left: 0.0, top: 0.0, right: 200.0, bottom: 100.0 };

    #[test]
    fn words_keep_off_lines_and_other_words() {
        let mut ground = Ground::new(FRAME);
        ground.stroke((0.0, 50.0), (200.0, 50.0));
        let first = ground.place((100.0, 50.0), 60.0, 14.0, 8.0).unwrap();
        let second = ground.place((100.0, 50.0), 60.0, 14.0, 8.0).unwrap();
        assert!(!first.overlaps(&second));
        for rect in [first, second] {
            assert!(FRAME.holds(&rect));
            assert!(rect.bottom < 50.0 || rect.top > 50.0);
        }
    }

    #[test]
    fn words_along_a_path_touch_neither_it_nor_its_neighbour() {
        let mut ground = Ground::new(FRAME);
        let (upper, lower) = ([(0.0, 30.0), (200.0, 30.0)], [(0.0, 44.0), (120.0, 44.0), (200.0, 90.0)]);
        for path in [&upper[..], &lower[..]] {
            path.windows(2).for_each(|p| ground.stroke(p[0], p[1]));
        }
        let rect = ground.place_along(&lower, &[&upper.to_vec()], 50.0, 14.0).unwrap();
        assert!(rect.top > 44.0, "{rect:?} stands between the two lines");
        assert!((rect.top - 44.0) < 60.0);
    }

    #[test]
    fn what_has_no_room_is_not_placed() {
        assert_eq!(Ground::new(FRAME).place((100.0, 50.0), 260.0, 14.0, 8.0), None);
    }
}
