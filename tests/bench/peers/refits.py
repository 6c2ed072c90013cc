"""Refits of a pump law with four parameters to 50 points with new noise each time: how many a second.

In: `scipy` or `numba`, and for how many seconds. Out: fits a second on stdout. Every fit is of the same law,
Q = a (d V - v0) - b P - 0.8 max(0, P - p0), and the mean of the refits must come back to the truth.
"""

import sys
import time

import numpy as np

kind, seconds = sys.argv[1], float(sys.argv[2])
duty = np.tile(np.linspace(0.2, 1.0, 10), 5)
volts = 13.8 * duty
pressure = 80.0 + 700.0 * duty**2
truth = np.array([95.0, 1.4, 0.35, 550.0])
BYPASS = 0.8


def flow(p):
    return p[0] * (volts - p[1]) - p[2] * pressure - BYPASS * np.maximum(0.0, pressure - p[3])


clean = flow(truth)
rng = np.random.default_rng(1)
start = truth * 1.05
fits = np.zeros(4)
count = 0

if kind == "scipy":
    from scipy.optimize import least_squares

    def refit(noisy):
        return least_squares(lambda p: flow(p) - noisy, start, method="lm").x

elif kind == "numba":
    from numba import njit

    @njit(cache=False)
    def refit(noisy):
        p = start.copy()
        lam, n = 1e-3, noisy.size
        jac, cost = np.empty((n, 4)), 0.0
        for _ in range(30):
            res = p[0] * (volts - p[1]) - p[2] * pressure - BYPASS * np.maximum(0.0, pressure - p[3]) - noisy
            cost = np.sum(res * res)
            jac[:, 0] = volts - p[1]
            jac[:, 1] = -p[0]
            jac[:, 2] = -pressure
            jac[:, 3] = BYPASS * (pressure > p[3])
            normal, slope = jac.T @ jac, jac.T @ res
            moved = False
            for _ in range(10):
                damped = normal.copy()
                for i in range(4):
                    damped[i, i] *= 1.0 + lam
                step = np.linalg.solve(damped, slope)
                q = p - step
                new = q[0] * (volts - q[1]) - q[2] * pressure - BYPASS * np.maximum(0.0, pressure - q[3]) - noisy
                better = np.sum(new * new)
                if better <= cost:
                    moved, lam = True, lam * 0.1
                    break
                lam *= 10.0
            if not moved:
                break
            p = q
            if cost - better <= 1e-12 * cost:
                break
        return p

else:
    sys.exit(f"no peer {kind}")

refit(clean + rng.normal(0.0, 2.0, clean.size))
began = time.perf_counter()
while time.perf_counter() - began < seconds:
    for _ in range(20):
        fits += refit(clean + rng.normal(0.0, 2.0, clean.size))
        count += 1
took = time.perf_counter() - began
mean = fits / count
assert np.all(np.abs(mean / truth - 1.0) < 0.1), mean
print(count / took)
