"""Half-widths that hold 95 % of sums of independent normals, rectangles and scaled t: convolutions.csv.

Needs scipy and numpy. Where rectangles alone are added, the exact piecewise polynomial (inclusion and exclusion) in
rational arithmetic; elsewhere Gil-Pelaez' integral of the characteristic function, that of t by Bessel's K (scipy), by
Gauss-Legendre panels. Every case is then tried against 2,000,000 draws. Usage: python3 convolutions.py > convolutions.csv
"""

import itertools
import math
import sys
from fractions import Fraction

import numpy as np
from scipy import optimize, special, stats

RNG = np.random.default_rng(20240611)
NODES, WEIGHTS = np.polynomial.legendre.leggauss(40)


def characteristic(terms, w):
    phi = np.ones_like(w)
    for shape, u, dof in terms:
        if shape == "normal":
            phi *= np.exp(-0.5 * (u * w) ** 2)
        elif shape == "rectangle":
            phi *= np.sinc(u * math.sqrt(3) * w / np.pi)
        else:
            phi *= student(math.sqrt(dof) * u * w, dof)
    return phi


def student(x, dof):
    """Characteristic function of t at x / sqrt(dof): Bessel's K, or its power series where K overflows."""
    half = 0.5 * dof
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        log = np.log(special.kve(half, x)) - x + half * np.log(x) - special.gammaln(half) - (half - 1) * math.log(2)
        series, term = np.ones_like(x), np.ones_like(x)
        for k in range(1, min(30, math.ceil(half))):
            term = term * -(x * x / 4) / (k * (half - k))
            series = series + term
    return np.where(np.isfinite(log), np.exp(log), series)


def envelope(terms, w):
    value = 1.0
    for shape, u, dof in terms:
        if shape == "rectangle":
            value *= min(1.0, 1.0 / (u * math.sqrt(3) * w))
        else:
            value *= characteristic([(shape, u, dof)], np.array([w]))[0]
    return value


def grid(terms, most):
    """Points and weights from 0 to where the integrand vanishes."""
    support = sum(u * math.sqrt(3) for shape, u, _ in terms if shape == "rectangle")
    end = 1.0 / math.sqrt(sum(u * u for _, u, _ in terms))
    while envelope(terms, end) > 1e-11:
        end *= 1.2
    panel = 2.0 * math.pi / (most + support)
    first = panel * 2.0 ** -np.arange(30.0, -1.0, -1.0)
    edges = np.concatenate([[0.0], first, np.arange(2.0 * panel, end + panel, panel)])
    half = 0.5 * np.diff(edges)
    middle = edges[:-1] + half
    return (middle[:, None] + half[:, None] * NODES).ravel(), (half[:, None] * WEIGHTS).ravel()


def by_integral(terms):
    most = 1.05 * sum(u * stats.t.ppf(0.975, dof) if shape == "t" else 1.96 * u for shape, u, dof in terms)
    w, weight = grid(terms, most)
    kernel = weight * characteristic(terms, w) / w * 2.0 / math.pi
    missing = lambda u: float(np.dot(kernel, np.sin(w * u))) - 0.95
    return optimize.brentq(missing, 0.01 * most, most, xtol=1e-13 * most, rtol=1e-13)


def by_polynomial(terms):
    """P(|X| <= x) of a sum of uniforms on [-a, a], exactly."""
    half = [Fraction(u * math.sqrt(3)) for _, u, _ in terms]
    n = len(half)
    scale = Fraction(math.factorial(n)) * math.prod(2 * a for a in half)

    def below(x):
        total = Fraction(0)
        for signs in itertools.product((1, -1), repeat=n):
            at = x + sum(s * a for s, a in zip(signs, half))
            if at > 0:
                total += math.prod(signs) * at**n
        return total / scale

    low, high = Fraction(0), sum(half)
    for _ in range(50):
        middle = (low + high) / 2
        if 2 * below(middle) - 1 < Fraction(95, 100):
            low = middle
        else:
            high = middle
        low, high = Fraction(float(low)), Fraction(float(high))
    return float(low)


def drawn(terms, n=2_000_000):
    x = np.zeros(n)
    for shape, u, dof in terms:
        if shape == "normal":
            x += u * RNG.standard_normal(n)
        elif shape == "rectangle":
            x += u * math.sqrt(3) * RNG.uniform(-1, 1, n)
        else:
            x += u * RNG.standard_t(dof, n)
    return np.abs(x)


def expanded(terms):
    alone = all(shape == "rectangle" for shape, _, _ in terms)
    return by_polynomial(terms) if alone and len(terms) <= 8 else by_integral(terms)


def rounded(value, digits):
    return float(f"{value:.{digits}g}")


def random_dof():
    return rounded(math.exp(RNG.uniform(0, math.log(300))), 4) if RNG.random() < 0.5 else float(RNG.integers(1, 12))


def random_budget(kind):
    shapes = ["normal", "rectangle", "t"]
    if kind == "mixed":
        n = int(RNG.integers(2, 10))
        return [(str(RNG.choice(shapes)), 10 ** RNG.uniform(-2, 0), random_dof()) for _ in range(n)]
    if kind == "limits":
        return [("rectangle", 10 ** RNG.uniform(-1.3, 0), 1.0) for _ in range(int(RNG.integers(2, 7)))]
    if kind == "one limit rules":
        rest = [(str(RNG.choice(shapes)), 10 ** RNG.uniform(-3, -0.5), random_dof()) for _ in range(int(RNG.integers(1, 5)))]
        return [("rectangle", 1.0, 1.0)] + rest
    if kind == "few readings":
        t = [("t", 10 ** RNG.uniform(-1, 0), float(RNG.integers(1, 5))) for _ in range(int(RNG.integers(1, 4)))]
        return t + [(str(RNG.choice(shapes[:2])), 10 ** RNG.uniform(-1.5, 0.5), 1.0) for _ in range(int(RNG.integers(1, 4)))]
    # A flow's budget: scatter with some degrees of freedom, limits and standard uncertainties about as large.
    t = [("t", 10 ** RNG.uniform(-0.7, 0.3), random_dof()) for _ in range(int(RNG.integers(1, 3)))]
    return t + [(str(RNG.choice(shapes[:2])), 10 ** RNG.uniform(-1.5, 0), 1.0) for _ in range(int(RNG.integers(4, 12)))]


def text(terms):
    word = lambda shape, u, dof: f"t {u} {dof}" if shape == "t" else f"{shape} {u}"
    return ";".join(word(*t) for t in terms)


def main():
    cases = [
        ("JCGM 101 9.2.2", [("normal", 1.0, 1.0)] * 4),
        ("JCGM 101 9.2.3", [("rectangle", 1.0, 1.0)] * 4),
        ("JCGM 101 9.2.4", [("rectangle", 1.0, 1.0)] * 3 + [("rectangle", 10.0, 1.0)]),
        ("JCGM 100 G.4.1", [("t", 0.25, 9.0), ("t", 0.57, 4.0), ("t", 0.82, 14.0)]),
        ("two Cauchy", [("t", 1.0, 1.0)] * 2),
        ("triangle", [("rectangle", 1.0, 1.0)] * 2),
    ]
    for kind in ["mixed", "limits", "one limit rules", "few readings", "flow"]:
        for i in range(60):
            terms = [(s, rounded(u, 4), d) for s, u, d in random_budget(kind)]
            cases.append((f"{kind} {i + 1}", terms))
    print("case,terms,u95")
    for name, terms in cases:
        u95 = expanded(terms)
        inside = float(np.mean(drawn(terms) <= u95))
        if abs(inside - 0.95) > 5 * math.sqrt(0.95 * 0.05 / 2e6):
            sys.exit(f"{name}: {inside} of the draws lie within {u95}")
        print(f"{name},{text(terms)},{u95:.10g}")


main()
