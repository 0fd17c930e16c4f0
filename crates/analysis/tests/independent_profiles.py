"""Profile-likelihood limits of quantities that follow from several parameters, by SciPy, for tests/profiles.rs; written to
tests/data/profiles.json.

Another way than the program's: the law is written anew with the quantity as a parameter of its own, which is then held while
the others are fitted; the limit is a root of the risen sum of squares. Run by hand: `python3 tests/independent_profiles.py`.
"""

import json
from pathlib import Path

import numpy as np
from scipy.optimize import brentq, least_squares
from scipy.stats import t as student

LEVEL = 0.95


def limits(residuals, start, best_quantity, scale, count):
    """`residuals(quantity, others)`; both limits of the quantity."""
    free = least_squares(lambda p: residuals(p[0], p[1:]), [best_quantity, *start], xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac")
    least, others = 2 * free.cost, free.x[1:]
    freedom = count - len(free.x)
    target = student.ppf(0.5 + LEVEL / 2, freedom) ** 2 * least / freedom

    def risen(quantity):
        held = least_squares(lambda p: residuals(quantity, p), others, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac")
        return 2 * held.cost - least - target

    best = free.x[0]
    low, high = best, best
    while risen(low) < 0:
        low -= scale
    while risen(high) < 0:
        high += scale
    return best, brentq(risen, low, best, xtol=1e-14 * abs(best)), brentq(risen, best, high, xtol=1e-14 * abs(best))


# Rates of a Michaelis-Menten enzyme with invented scatter; r = Vmax/Km.
S = np.array([0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4])
V = np.array([0.021, 0.031, 0.062, 0.083, 0.118, 0.152, 0.157])
mm = limits(lambda r, p: V - r * S / (1 + S / p[0]), [1.0], 0.18, 0.01, len(S))

# A reversible course, A0 (kr + kf exp(-(kf + kr) t))/(kf + kr), followed for less than two half-lives; K = kf/kr, and the half-life.
T = np.arange(25) * 2.0
COURSE = np.round(0.9 * (0.02 + 0.05 * np.exp(-0.07 * T)) / 0.07 + 0.004 * np.sin(2.7 * np.arange(25) + 0.3), 5)


def reversible(a0, kf, kr):
    k = kf + kr
    return COURSE - a0 * (kr + kf * np.exp(-k * T)) / k


constant = limits(lambda K, p: reversible(p[0], K * p[1], p[1]), [0.9, 0.02], 2.5, 0.1, len(T))
half = limits(
    lambda h, p: reversible(p[0], p[1] * np.log(2) / h, (1 - p[1]) * np.log(2) / h), [0.9, 0.7], np.log(2) / 0.07, 0.3, len(T)
)

Path(__file__).with_name("data").joinpath("profiles.json").write_text(
    json.dumps(
        {
            "source": "independent_profiles.py beside this folder (SciPy)",
            "michaelis_menten": {"x": S.tolist(), "y": V.tolist(), "Vmax/Km": mm},
            "reversible": {"x": T.tolist(), "y": COURSE.tolist(), "K": constant, "half-life": half},
        },
        indent=1,
    )
    + "\n"
)
print(mm, constant, half)
