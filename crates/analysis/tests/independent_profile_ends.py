"""Ends of profile intervals by SciPy, for `study_limits.rs`: the least sum of squares at each value of a parameter from several
starting points, and by Brent's method the value at which it has risen by s^2 t^2. The data are invented.

    python independent_profile_ends.py
"""

import numpy as np
from scipy.optimize import brentq, least_squares
from scipy.stats import t as student

DOSES = np.repeat([0.0, 0.05, 0.1, 0.3, 1.0, 3.0], 2)
BY_DOSE = np.array([10.007, 10.162, 10.145, 9.4957, 9.5834, 9.668, 9.1754, 9.0217, 7.4025, 7.4896, 4.6198, 4.229])
LEVELS = np.repeat([0.01, 0.02, 0.04, 0.06, 0.08, 0.1], 2)
RATES = np.array(
    [0.065974, 0.082048, 0.141, 0.1842, 0.38154, 0.37793, 0.61783, 0.61986, 0.72936, 0.72281, 0.94543, 0.93944]
)


def four_parameter(p, x):
    y0, yinf, middle, slope = p
    return yinf + (y0 - yinf) / (1 + (x / middle) ** slope)


def michaelis_menten(p, x):
    return p[0] * x / (p[1] + x)


def least(residuals, start, lower, evaluations):
    start = np.maximum(np.array(start, float), np.array(lower) + 1e-9)
    return least_squares(
        residuals, start, bounds=(lower, np.inf), x_scale=np.abs(start) + 1e-2,
        xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=evaluations,
    )


def ends(x, y, law, starts, lower, names):
    best = min((least(lambda p: law(p, x) - y, s, lower, 20000) for s in starts), key=lambda r: r.cost)
    square, free = 2 * best.cost, len(x) - len(best.x)
    target = student.ppf(0.975, free)
    for j, name in enumerate(names):
        others = [i for i in range(len(best.x)) if i != j]
        trail = [best.x]

        def height(value):
            def residuals(q):
                p = np.empty(len(best.x))
                p[j], p[others] = value, q
                return law(p, x) - y

            low = np.array(lower)[others]
            tries = [least(residuals, np.array(s)[others], low, 5000) for s in [trail[-1], *starts, best.x]]
            found = min(tries, key=lambda r: r.cost)
            p = np.empty(len(best.x))
            p[j], p[others] = value, found.x
            trail.append(p)
            return np.sqrt(max(2 * found.cost - square, 0) / (square / free)) - target

        limits = []
        for sign in (-1, 1):
            trail[:] = [best.x]
            before, step, end = best.x[j], abs(best.x[j]) * 0.02, None
            for _ in range(60):
                value = before + sign * step
                if value <= lower[j]:
                    value = (before + lower[j]) / 2
                if height(value) > 0:
                    end = brentq(height, min(before, value), max(before, value), xtol=1e-12, rtol=1e-10)
                    break
                before, step = value, step * 1.3
            limits.append(end)
        print(name, best.x[j], *limits)


ends(
    DOSES, BY_DOSE, four_parameter,
    [(10, -13, 11, 0.85), (10, 0, 3, 1), (10, 3, 2, 1.5), (10, -100, 100, 0.7), (10, -5, 5, 1)],
    [-np.inf, -np.inf, 1e-12, 1e-6], ["y0", "yinf", "IC50", "h"],
)
ends(
    LEVELS, RATES, michaelis_menten, [(40, 4), (2, 0.2), (400, 40), (10, 1)], [1e-12, 1e-12], ["Vmax", "Km"],
)
