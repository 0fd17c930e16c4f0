"""The two problems of fits.rs with SciPy's curve_fit, for comparison on the same machine.

    pip install numpy scipy
    python3 scipy_curve_fit.py

curve_fit gives parameters and covariance; the residual tests and intervals that our fits include are not counted here.
"""

import time

import numpy as np
from scipy.optimize import curve_fit

rng = np.random.default_rng(7)


def decay(t, a, k, c):
    return a * np.exp(-k * t) + c


def decay_slopes(t, a, k, c):
    e = np.exp(-k * t)
    return np.column_stack([e, -a * t * e, np.ones_like(t)])


def saturation(s, v, k):
    return v * s / (k + s)


def saturation_slopes(s, v, k):
    part = s / (k + s)
    return np.column_stack([part, -v * part / (k + s)])


def measure(title, model, slopes, x, truth, start, sd, count):
    exact = model(x, *truth)
    sets = [exact + sd * rng.standard_normal(len(x)) for _ in range(count)]
    for name, jac in (("numeric derivatives", None), ("analytic derivatives", slopes)):
        times = []
        for batch in np.array_split(np.arange(count), 50):
            begin = time.perf_counter()
            for i in batch:
                curve_fit(model, x, sets[i], start, jac=jac)
            times.append((time.perf_counter() - begin) / len(batch))
        best, median = min(times), sorted(times)[len(times) // 2]
        print(f"{title}, {name}: {1 / best:.0f} fits/s ({best * 1e6:.1f} us a fit; median batch {median * 1e6:.1f} us)")


measure(
    "first order with offset, 500 points", decay, decay_slopes, np.arange(500) * 0.2, (1.05, 0.05, 0.15),
    (1.0, 0.1, 0.0), 0.003, 1000,
)
measure(
    "Michaelis-Menten, 12 points", saturation, saturation_slopes,
    np.repeat([0.02, 0.06, 0.11, 0.22, 0.56, 1.1], 2), (212.0, 0.064), (200.0, 0.1), 8.0, 2000,
)
