"""Posteriors of linear regressions with Gaussian priors and an unknown noise scale, in 60-digit arithmetic: posteriors.csv.

Needs mpmath. The model: y = X c + e, e_i ~ N(0, s2 v_i), c_k ~ N(m_k, d_k^2 s2 / e) or flat, s2 ~ scaled inverse
chi-squared of nu0 degrees of freedom at f. Means, standard deviations and the mean scale come from the normal equations,
solved with 60 digits; the logarithm of the evidence from quadrature over s2 of the exact density of y, itself from the
normal equations, and for the small cases once more by brute force over the coefficients. Decimals are printed so that a
double reads back the same. Usage: python3 posteriors.py > posteriors.csv
"""

import random
import sys

from mpmath import mp, mpf, matrix, log, pi, quad, exp, sqrt, det, inverse, gamma

mp.dps = 60
RNG = random.Random(7)


def solve(x, y, v, m, d, e, nu0, f):
    n, p = len(x), len(x[0])
    a, b = matrix(p, p), matrix(p, 1)
    for i in range(n):
        for k in range(p):
            b[k] += mpf(x[i][k]) * y[i] / v[i]
            for l in range(p):
                a[k, l] += mpf(x[i][k]) * x[i][l] / v[i]
    flat = 0
    for k in range(p):
        if d[k] is None:
            flat += 1
            continue
        lam = mpf(e) / mpf(d[k]) ** 2
        a[k, k] += lam
        b[k] += lam * m[k]
    inv = inverse(a)
    c = inv * b
    misfit = mpf(0)
    for i in range(n):
        misfit += (mpf(y[i]) - sum(mpf(x[i][k]) * c[k] for k in range(p))) ** 2 / v[i]
    for k in range(p):
        if d[k] is not None:
            misfit += mpf(e) / mpf(d[k]) ** 2 * (c[k] - m[k]) ** 2
    nu = mpf(nu0) + n - flat
    scale = (mpf(nu0) * f + misfit) / nu
    sd = [sqrt(inv[k, k] * scale) for k in range(p)]
    # ln of the integral over s2 of: likelihood integrated over the coefficients (unit flat density) times the prior of s2.
    ln = -mpf(n - flat) / 2 * log(2 * pi) - sum(log(mpf(t)) for t in v) / 2 - log(det(a)) / 2
    ln += sum(log(mpf(e) / mpf(t) ** 2) for t in d if t is not None) / 2
    half0 = mpf(nu0) / 2

    def density(t):
        s2 = exp(t)
        prior = half0 * log(half0 * f) - log(gamma(half0)) - half0 * t - half0 * f / s2
        return exp(prior - mpf(n - flat) / 2 * t - misfit / (2 * s2) - top)

    top = mpf(0)
    top = log(density(log(scale)))
    middle = log(scale)
    mp.dps = 30
    mass = quad(density, [middle - 12, middle - 3, middle - 1, middle, middle + 1, middle + 3, middle + 12])
    mp.dps = 60
    return c, sd, scale, ln + top + log(mass), a


def brute(x, y, v, m, d, e, nu0, f):
    """The evidence of two coefficients by a sum over a grid of coefficients and scales: trapezoids of a smooth peak."""
    import math

    c, sd, scale, _, _ = solve(x, y, v, m, d, e, nu0, f)
    steps, total = 60, 0.0
    grid = [(-9 + 18 * i / steps) for i in range(steps + 1)]
    half0 = nu0 / 2
    for a in grid:
        t = math.log(float(scale)) + 0.6 * a
        s2 = math.exp(t)
        wide = math.sqrt(s2 / float(scale))
        prior = half0 * math.log(half0 * f) - math.lgamma(half0) - half0 * t - half0 * f / s2
        for u in grid:
            for w in grid:
                k = [float(c[0]) + u * float(sd[0]) * wide, float(c[1]) + w * float(sd[1]) * wide]
                ln = prior
                for i in range(len(y)):
                    r = y[i] - x[i][0] * k[0] - x[i][1] * k[1]
                    ln -= 0.5 * (r * r / (s2 * v[i]) + math.log(2 * math.pi * s2 * v[i]))
                for j in range(2):
                    var = d[j] ** 2 * s2 / e
                    ln -= 0.5 * ((k[j] - m[j]) ** 2 / var + math.log(2 * math.pi * var))
                total += math.exp(ln) * wide * wide
    cell = (18 / steps) ** 3 * 0.6 * float(sd[0]) * float(sd[1])
    return math.log(total * cell)


def condition(a):
    """Of the columns, each of length one."""
    p = a.rows
    s = matrix(p, p)
    for k in range(p):
        for l in range(p):
            s[k, l] = a[k, l] / sqrt(a[k, k] * a[l, l])
    values = mp.eigsy(s, eigvals_only=True)
    return sqrt(max(values) / min(values))


def number(value):
    return repr(float(value))


def case(name, n, p, flats, near, small=False):
    """`near`: how little the last column differs from a mixture of the others."""
    x = [[1.0] + [RNG.gauss(0, 1) for _ in range(p - 1)] for _ in range(n)]
    for row in x:
        if near is not None:
            row[-1] = sum(row[:-1]) / p + near * row[-1]
    y = [3.0 + RNG.gauss(0, 1) + sum(r[1:]) for r in x]
    v = [0.5 + RNG.random() for _ in range(n)]
    m = [0.0 if k < flats else RNG.gauss(0, 1) for k in range(p)]
    d = [None if k < flats else 10 ** RNG.uniform(-1, 1) for k in range(p)]
    e, nu0, f = 0.8, 4.0, 0.6
    c, sd, scale, ln, a = solve(x, y, v, m, d, e, nu0, f)
    if small:
        other = brute(x, y, v, m, d, e, nu0, f)
        if abs(other - float(ln)) > 1e-6:
            sys.exit(f"{name}: evidence {ln}, by brute force {other}")
    rows = "|".join(";".join(number(t) for t in row) for row in x)
    stated = ";".join("flat" if t is None else number(t) for t in d)
    out = [name, f"{float(condition(a)):.3g}", rows, *[";".join(number(t) for t in l) for l in (y, v, m)], stated]
    out += [number(e), number(nu0), number(f)]
    out += [";".join(number(t) for t in c), ";".join(number(t) for t in sd), number(scale), number(ln)]
    print(",".join(out))


print("case,condition,x,y,shape,prior_mean,prior_sd,expected,prior_dof,floor,mean,sd,scale,log_evidence")
for i in range(4):
    case(f"two coefficients {i + 1}", 6, 2, 0, None, small=True)
for i in range(6):
    case(f"two flat {i + 1}", 8 + i, 4 + 2 * i, 2, None)
for i, near in enumerate([1e-2, 1e-4, 1e-6, 1e-8, 1e-10, 1e-12]):
    case(f"columns nearly alike {i + 1}", 12, 4, 4, near)
for i, near in enumerate([1e-3, 1e-6]):
    case(f"nearly alike and stated {i + 1}", 12, 5, 2, near)
