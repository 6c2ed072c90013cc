//! The half-width of the interval that holds 95 % of a sum of independent errors: normals, rectangles and scaled t.
//!
//! The model. `X = sum_i u_i N_i + sum_j u_j sqrt(3) R_j + sum_k u_k T_k(v_k)`, with `N` standard normal, `R` uniform on
//! [-1, 1] and `T(v)` Student's t of `v` degrees of freedom (JCGM 101:2008, 6.4; a limit is a rectangle, an average of
//! readings a scaled t). Its characteristic function is the product
//!
//! ```text
//! phi(w) = exp(-s2 w^2 / 2)  prod_j sin(a_j w) / (a_j w)  prod_k E[exp(-u_k^2 w^2 W_k / 2)],   W_k = v_k / chi2(v_k)
//! ```
//!
//! where `s2` is the sum of the normal variances, `a_j = u_j sqrt(3)`, and t stands as a normal of random variance: its
//! expectation is a sum over `g = -ln W` in equal steps, whose density `exp(v/2 (g - e^g))` is entire, so that the sum
//! converges exponentially. With `h = 2 pi / L`,
//!
//! ```text
//! P(|X| <= U) = h U / pi + 2/pi sum_n phi(n h) sin(n h U) / n - (probability that |X - m L| <= U for some m /= 0)
//! ```
//!
//! exactly (Poisson's sum). `L` is taken so long that the last part is below some 1e-5; for few degrees of freedom,
//! whose tails are long, it is counted by the tails' density. Every step along `n` is a rotation or a product, so that a
//! budget costs about a microsecond. In: standard uncertainties with their shapes. Out: U. Never: a draw.

use super::Shape;
use crate::numerics::distribution::coverage;
use std::f64::consts::PI;

/// Probability of the intervals that are reported.
pub const REPORTED_PROBABILITY: f64 = 0.95;

/// Part of the whole below which a rectangle's own shape does not matter.
const SMALL_RECTANGLE: f64 = 0.01;
/// Part of the whole below which a contribution is left out of the integral, except for its tails.
const NEGLIGIBLE: f64 = 1e-7;
/// Least normal part, against the whole: sharper sums are smoothed by it, and the answer is corrected for it.
const SMOOTH: f64 = 0.02;
/// Where the normal part reaches no further, in its standard deviations.
const REACH: f64 = 5.0;
/// Probability that may lie in the next period where it is not counted, and where it is.
const LEFT_OVER: f64 = 3e-6;
const COUNTED: f64 = 5e-4;
/// Degrees of freedom below which the tails in the next periods are counted.
const LONG_TAILS: f64 = 5.0;
/// Size of a characteristic function from which on its series ends.
const ENDS: f64 = 3e-7;
/// Longest series; reached by none of the shapes above.
const SERIES_MAX: usize = 100_000;
/// Degrees of freedom from which on t is a normal distribution, to 3e-5 of U.
const MANY: f64 = 1e5;

/// A scaled t.
#[derive(Clone, Copy)]
struct Student {
    u: f64,
    dof: f64,
}

/// U at 95 % of the sum of independent errors, each a standard uncertainty with its shape. Without degrees of freedom
/// nothing is known: infinite.
#[must_use]
pub fn u95(errors: impl Iterator<Item = (f64, Shape)>) -> f64 {
    let mut sum = Sum::default();
    errors.for_each(|(u, shape)| sum.add(u.abs(), shape));
    sum.expanded()
}

#[derive(Default)]
struct Sum {
    normal: f64,
    rectangles: Vec<f64>,
    students: Vec<Student>,
    unknown: bool,
}

impl Sum {
    fn add(&mut self, u: f64, shape: Shape) {
        if u == 0.0 {
            return;
        }
        match shape {
            Shape::Normal => self.normal += u * u,
            Shape::Rectangle => self.rectangles.push(u),
            Shape::T(dof) if dof > MANY => self.normal += u * u,
            Shape::T(dof) if dof > 0.0 => self.students.push(Student { u, dof }),
            Shape::T(_) => self.unknown = true,
        }
        self.unknown |= !u.is_finite();
    }

    /// Sum of the squares of the standard uncertainties.
    fn squares(&self) -> f64 {
        let rectangles: f64 = self.rectangles.iter().map(|u| u * u).sum();
        let students: f64 = self.students.iter().map(|t| t.u * t.u).sum();
        self.normal + rectangles + students
    }

    fn expanded(mut self) -> f64 {
        if self.unknown {
            return f64::INFINITY;
        }
        let squares = self.squares();
        let small = SMALL_RECTANGLE * SMALL_RECTANGLE * squares;
        let smaller = |u: &f64| u * u < small;
        self.normal += self.rectangles.iter().filter(|u| smaller(u)).map(|u| u * u).sum::<f64>();
        self.rectangles.retain(|u| !smaller(u));
        let negligible = NEGLIGIBLE * NEGLIGIBLE * squares;
        self.students.retain(|t| t.u * t.u > negligible);
        let rest = |u: f64| squares - u * u <= small * SMALL_RECTANGLE;
        match (&self.rectangles[..], &self.students[..]) {
            ([], []) => coverage(REPORTED_PROBABILITY, f64::INFINITY) * self.normal.sqrt(),
            ([u], []) if rest(*u) => REPORTED_PROBABILITY * u * 3f64.sqrt(),
            ([], [t]) if rest(t.u) => coverage(REPORTED_PROBABILITY, t.dof) * t.u,
            _ => Series::new(&self, squares.sqrt()).expanded(),
        }
    }
}

/// Coverage factor of t, to a few percent: where to look first.
fn about(dof: f64) -> f64 {
    // Exact at 1, 2 and without limit; between them ln k is nearly a parabola in 1/dof.
    let i = 1.0 / dof;
    (0.673 + i * (1.123 + 0.746 * i)).exp()
}

/// The series of the characteristic function.
struct Series {
    /// Step of the series, and the length of a period.
    h: f64,
    period: f64,
    /// Characteristic function at the multiples of `h`, from 1.
    phi: Vec<f64>,
    /// Variance put on top for smoothness.
    smoothed: f64,
    /// Where to start looking.
    from: f64,
    /// Long tails: coefficient and power of `1/x`, and how they widen with the rest.
    tails: Vec<Tail>,
}

impl Series {
    fn new(sum: &Sum, whole: f64) -> Self {
        let normal = sum.normal.max((SMOOTH * whole).powi(2));
        // Where the interval may end: squares of the parts' own intervals add, for Cauchy tails the intervals themselves.
        let (long, short): (Vec<Student>, Vec<Student>) = sum.students.iter().partition(|t| t.dof < 3.0);
        let square = |t: &Student| (about(t.dof) * t.u).powi(2);
        let light: f64 = normal + sum.rectangles.iter().map(|u| u * u).sum::<f64>();
        let short: f64 = short.iter().map(square).sum();
        let squares = (3.85 * light + short).sqrt();
        let most = 1.1 * (squares + long.iter().map(|t| about(t.dof) * t.u).sum::<f64>());
        let from = (3.6 * light + short + long.iter().map(square).sum::<f64>()).sqrt();
        // How far the sum reaches.
        let support: f64 = sum.rectangles.iter().map(|u| u * 3f64.sqrt()).sum();
        let mut reach =
            (REACH * whole).min(support + REACH * (normal + whole * whole - light).max(normal).sqrt());
        for t in &sum.students {
            let left = if t.dof < LONG_TAILS { COUNTED } else { LEFT_OVER };
            reach = reach.max(t.reach(left, most) + support);
        }
        let period = most + reach;
        let h = 2.0 * PI / period;
        let phi = characteristic(sum, normal, h);
        let tails = sum.students.iter().filter(|t| t.dof < LONG_TAILS).map(|t| t.tail(whole)).collect();
        Series { h, period, phi, smoothed: normal - sum.normal, from, tails }
    }

    /// Probability within `u`, its density, and the density's slope.
    fn at(&self, u: f64) -> (f64, f64, f64) {
        let (sin1, cos1) = (self.h * u).sin_cos();
        let (mut sin, mut cos) = (sin1, cos1);
        let (mut inside, mut density, mut slope) = (0.0, 0.5, 0.0);
        for (i, phi) in self.phi.iter().enumerate() {
            let n = (i + 1) as f64;
            inside += phi * sin / n;
            density += phi * cos;
            slope -= phi * sin * n;
            (sin, cos) = (sin * cos1 + cos * sin1, cos * cos1 - sin * sin1);
        }
        let h = self.h;
        let beyond: f64 = self.tails.iter().map(|t| t.beyond(u, self.period)).sum();
        let two = 2.0 / PI;
        (h * u / PI + two * inside - beyond, two * h * density, two * h * h * slope)
    }

    fn expanded(&self) -> f64 {
        // Within a period the probability grows ever more slowly: from below, Newton's steps do not overshoot.
        let mut u = self.from;
        let mut at = self.at(u);
        for _ in 0..20 {
            let step = (REPORTED_PROBABILITY - at.0) / at.1;
            let next = if at.1 > 0.0 { (u + step).clamp(0.5 * u, 1.5 * u) } else { 0.5 * u };
            let moved = (next - u).abs();
            u = next;
            if moved < 1e-5 * u {
                break;
            }
            at = self.at(u);
        }
        // The smoothed density is the density plus half the added variance times its second derivative.
        u + 0.5 * self.smoothed * at.2 / at.1
    }
}

/// The characteristic function at the multiples of `h` until it vanishes.
fn characteristic(sum: &Sum, normal: f64, h: f64) -> Vec<f64> {
    let mut gauss = Powers::new(0.5 * normal * h * h);
    let mut rectangles: Vec<Rotation> =
        sum.rectangles.iter().map(|u| Rotation::new(u * 3f64.sqrt() * h)).collect();
    let mut students: Vec<Vec<Node>> = sum.students.iter().map(|t| t.nodes(h)).collect();
    let mut phi = Vec::with_capacity(64);
    for n in 1..SERIES_MAX {
        let n = n as f64;
        let mut value = gauss.next();
        let mut envelope = value;
        for r in &mut rectangles {
            let per = 1.0 / (n * r.angle);
            value *= r.sin * per;
            envelope *= per.min(1.0);
            r.turn();
        }
        for nodes in &mut students {
            let mut t = 0.0;
            for node in nodes.iter_mut() {
                t += node.weight * node.powers.next();
            }
            // Nodes of great variance vanish first; they stand at the end.
            while nodes.last().is_some_and(|node| node.powers.value < 1e-10) {
                nodes.pop();
            }
            value *= t;
            envelope *= t;
        }
        if envelope < ENDS {
            break;
        }
        phi.push(value);
    }
    phi
}

/// `exp(-c n^2)` for n = 1, 2, ..., by products.
struct Powers {
    value: f64,
    step: f64,
    growth: f64,
}

impl Powers {
    fn new(c: f64) -> Self {
        let q = (-c).exp();
        Powers { value: q, step: q * q * q, growth: q * q }
    }

    fn next(&mut self) -> f64 {
        let value = self.value;
        self.value *= self.step;
        self.step *= self.growth;
        value
    }
}

/// `sin(n angle)` for n = 1, 2, ..., by rotation.
struct Rotation {
    angle: f64,
    sin: f64,
    cos: f64,
    by: (f64, f64),
}

impl Rotation {
    fn new(angle: f64) -> Self {
        let (sin, cos) = angle.sin_cos();
        Rotation { angle, sin, cos, by: (sin, cos) }
    }

    fn turn(&mut self) {
        let (sin, cos) = self.by;
        (self.sin, self.cos) = (self.sin * cos + self.cos * sin, self.cos * cos - self.sin * sin);
    }
}

/// A normal that t is mixed of.
struct Node {
    weight: f64,
    powers: Powers,
}

impl Student {
    /// The normals that it is mixed of, least variance first; those that vanish at `h` already are left out.
    fn nodes(&self, h: f64) -> Vec<Node> {
        let half = 0.5 * self.dof;
        let step = (1.0 / half).sqrt().min(0.7);
        let log_density = |g: f64, e: f64| half * (g - e + 1.0);
        let c = 0.5 * (self.u * h).powi(2);
        let mut nodes = Vec::with_capacity(32);
        let mut total = 0.0;
        // Downwards from the least variance that matters, e^g = chi2 / dof.
        let top = self.top();
        let (mut g, down) = (top, (-step).exp());
        let mut e = g.exp();
        loop {
            let weight = log_density(g, e).exp();
            total += weight;
            let exponent = c / e;
            if exponent < 25.0 && weight > 1e-10 {
                nodes.push(Node { weight, powers: Powers::new(exponent) });
            }
            if g < 0.0 && weight < 1e-9 {
                break;
            }
            g -= step;
            e *= down;
        }
        nodes.iter_mut().for_each(|n| n.weight /= total);
        nodes
    }

    /// Where the density of `g` has fallen to nothing: `e^g - g - 1 = 40 / dof`.
    fn top(&self) -> f64 {
        let goal = 40.0 / self.dof;
        let mut g = (1.0 + goal + (2.0 * goal).sqrt()).ln();
        for _ in 0..3 {
            let e = g.exp();
            g -= (e - g - 1.0 - goal) / (e - 1.0);
        }
        g
    }

    /// Density at zero of the standard t, to a percent.
    fn peak(&self) -> f64 {
        0.399 * (1.0 - 0.21 / self.dof)
    }

    /// How far from the middle an interval of half-width `half` holds `left` of it, both sides together.
    fn reach(&self, left: f64, half: f64) -> f64 {
        let ratio = left * self.u / (4.0 * half * self.peak());
        if ratio >= 1.0 {
            return 0.0;
        }
        self.u * (self.dof * (ratio.powf(-2.0 / (self.dof + 1.0)) - 1.0)).sqrt()
    }

    fn tail(&self, whole: f64) -> Tail {
        let rest = (whole * whole - self.u * self.u).max(0.0);
        Tail { student: *self, rest }
    }
}

/// A long tail in the next periods.
struct Tail {
    student: Student,
    /// Squares of the other standard uncertainties.
    rest: f64,
}

impl Tail {
    /// Probability within `u` of the other multiples of the period: the density there, widened to second order by the
    /// rest of the sum and averaged over the interval, summed over the multiples (four of them, and the integral from
    /// four and a half on).
    fn beyond(&self, u: f64, period: f64) -> f64 {
        let Student { u: s, dof } = self.student;
        let power = dof + 1.0;
        let widened = 0.5 * power * (power + 1.0) * (self.rest + u * u / 3.0);
        let density = |x: f64| {
            let t = x / s;
            (1.0 + t * t / dof).powf(-0.5 * power) * (1.0 + widened / (x * x))
        };
        let near: f64 = (1..=4).map(|m| density(f64::from(m) * period)).sum();
        let from = 4.5 * period;
        let far = density(from) * 4.5 / dof;
        4.0 * u * self.student.peak() / s * (near + far)
    }
}
