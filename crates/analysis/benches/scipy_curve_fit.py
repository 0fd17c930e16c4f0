"""The first two problems of fits.rs with SciPy's curve_fit, on the same data and, to be compared, on the same machine.

    pip install numpy scipy
    python3 crates/analysis/benches/scipy_curve_fit.py

Times and fits per second are of curve_fit with parameters and covariance; the residual tests and intervals that our fits
include are not counted here. The parameters of the first set stand beside their standard errors: fits.rs prints the same
ones, so that both are seen to have done the same work.
"""

import math
import time

import numpy as np
import scipy
from scipy.optimize import curve_fit


class Noise:
    """The generator of fits.rs: a linear congruence (Knuth's MMIX constants) and the Box-Muller cosine."""

    def __init__(self, state):
        self.state = state

    def uniform(self):
        self.state = (self.state * 6364136223846793005 + 1442695040888963407) % 2**64
        return ((self.state >> 11) + 0.5) / 9007199254740992.0

    def normal(self):
        return math.sqrt(-2.0 * math.log(self.uniform())) * math.cos(2.0 * math.pi * self.uniform())


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


def measure(title, model, slopes, x, truth, start, sd, names, count):
    noise = Noise(7)
    exact = model(x, *truth)
    sets = [exact + np.array([sd * noise.normal() for _ in x]) for _ in range(count)]
    for name, jac in (("numeric derivatives", None), ("analytic derivatives", slopes)):
        times, failed = [], 0
        # Small batches, the best of which counts: on a shared machine whole seconds are never undisturbed.
        for batch in np.array_split(np.arange(count), 50):
            begin = time.perf_counter()
            for i in batch:
                try:
                    curve_fit(model, x, sets[i], start, jac=jac)
                except RuntimeError:
                    failed += 1
            times.append((time.perf_counter() - begin) / len(batch))
        best, median = min(times), sorted(times)[len(times) // 2]
        print(
            f"{title}, {name}: {1 / best:.0f} fits/s ({best * 1e6:.2f} us a fit; "
            f"median batch {median * 1e6:.2f} us), {failed} refused"
        )
    found, covariance = curve_fit(model, x, sets[0], start, jac=slopes)
    errors = np.sqrt(np.diag(covariance))
    shown = ", ".join(f"{n} {v:.9f} ± {e:.9f}" for n, v, e in zip(names, found, errors))
    print(f"  first set: {shown}")


print(f"SciPy {scipy.__version__}, NumPy {np.__version__}")
measure(
    "first order with offset, 500 points", decay, decay_slopes, np.arange(500) * 0.2, (1.05, 0.05, 0.15),
    (1.0, 0.1, 0.0), 0.003, ("A", "k", "offset"), 1000,
)
measure(
    "Michaelis-Menten, 12 points", saturation, saturation_slopes,
    np.repeat([0.02, 0.06, 0.11, 0.22, 0.56, 1.1], 2), (212.0, 0.064), (200.0, 0.1), 8.0, ("Vmax", "Km"), 2000,
)
