"""Reference values for the tests, by general-purpose libraries (mpmath, NumPy, SciPy).

Writes data/independent.json beside this file:

    pip install mpmath numpy scipy
    python3 independent.py
"""

import json
import math
import pathlib

import mpmath as mp
import numpy as np
from scipy import optimize, stats

HERE = pathlib.Path(__file__).parent


def hard_polynomial():
    """A degree-ten polynomial over -9 to -3, solved from the normal equations in 60 digits."""
    mp.mp.dps = 60
    x = [round(-9 + 0.15 * i, 2) for i in range(41)]
    y = [round(0.8 + 0.05 * math.sin(1.7 * i) + 0.1 * math.cos(0.3 * i), 4) for i in range(41)]
    design = mp.matrix(41, 11)
    for i, value in enumerate(x):
        for k in range(11):
            design[i, k] = mp.mpf(str(value)) ** k
    target = mp.matrix([mp.mpf(str(value)) for value in y])
    gram = design.T * design
    coefficients = mp.lu_solve(gram, design.T * target)
    residuals = target - design * coefficients
    variance = sum(r * r for r in residuals) / (41 - 11)
    inverse = gram ** -1
    return {
        "x": x,
        "y": y,
        "coefficients": [float(c) for c in coefficients],
        "standard_errors": [float(mp.sqrt(inverse[k, k] * variance)) for k in range(11)],
    }


def residual_tests():
    """Tests of the residuals of a straight line, by SciPy and by counting arrangements."""
    cases = []
    for seed, n in [(1, 5), (2, 9), (3, 12), (4, 30), (5, 49), (6, 60), (7, 200)]:
        rng = np.random.default_rng(seed)
        x = np.arange(n, dtype=float)
        y = np.round(1 + 0.3 * x + rng.standard_normal(n) + (0.3 * rng.standard_exponential(n) if seed % 2 else 0), 4)
        residuals = y - np.polyval(np.polyfit(x, y, 1), x)
        signs = residuals > 0
        runs = 1 + int(np.sum(signs[1:] != signs[:-1]))
        above, below = int(signs.sum()), int((~signs).sum())
        total = math.comb(n, above)

        def ways(r):
            k = r // 2
            if r % 2 == 0:
                return 2 * math.comb(above - 1, k - 1) * math.comb(below - 1, k - 1)
            return math.comb(above - 1, k) * math.comb(below - 1, k - 1) + math.comb(
                above - 1, k - 1
            ) * math.comb(below - 1, k)

        if n <= 40:
            low = sum(ways(r) for r in range(2, runs + 1))
            high = sum(ways(r) for r in range(runs, 2 * min(above, below) + 2))
            probability = min(1.0, 2 * min(low, high) / total)
        else:
            mean = 1 + 2 * above * below / n
            variance = (mean - 1) * (mean - 2) / (n - 1)
            probability = 2 * stats.norm.sf(abs(runs - mean) / math.sqrt(variance))
        test = stats.shapiro(residuals) if n < 50 else stats.normaltest(residuals)
        cases.append(
            {
                "x": x.tolist(),
                "y": y.tolist(),
                "durbin_watson": float(np.sum(np.diff(residuals) ** 2) / np.sum(residuals**2)),
                "runs": runs,
                "runs_probability": probability,
                "normality_statistic": float(test.statistic),
                "normality_probability": float(test.pvalue),
            }
        )
    return cases


def decay(t, a, k, c):
    return a * np.exp(-k * t) + c


def weighted_fits():
    """First order with offset under several weightings, by SciPy's curve_fit (and plain iteration around it)."""
    rng = np.random.default_rng(11)
    t = np.arange(40, dtype=float)
    sigma = np.round(0.004 + 0.012 * np.exp(-0.1 * t), 5)
    y = np.round(decay(t, 1.1, 0.12, 0.2) + sigma * rng.standard_normal(40), 5)
    y[17] += 0.15

    def fit(weights=None, absolute=False):
        s = None if weights is None else 1 / np.sqrt(weights)
        p = [1.0, 0.1, 0.2]
        for _ in range(2):
            p, c = optimize.curve_fit(
                decay, t, y, p, sigma=s, absolute_sigma=absolute, xtol=1e-15, ftol=1e-15, gtol=1e-15,
                jac=lambda t, a, k, c: np.column_stack([np.exp(-k * t), -a * t * np.exp(-k * t), np.ones_like(t)]),
                method="trf",
            )
        return p, c

    def listed(pair):
        return {"parameters": list(map(float, pair[0])), "standard_errors": list(map(float, np.sqrt(np.diag(pair[1]))))}

    def reweighted(rule):
        weights = np.ones_like(t)
        pair = fit()
        for _ in range(300):
            weights = rule(pair[0])
            pair = fit(weights)
        return listed(pair)

    def robust(weight):
        def rule(p):
            residuals = y - decay(t, *p)
            sd = np.median(np.abs(residuals)) / stats.norm.ppf(0.75)
            return weight(residuals / sd)

        return rule

    def m_estimate(weight, slope):
        """Errors of an M-estimate (Huber, Robust Statistics, 1981, sections 7.6 and 7.10), with NumPy alone."""
        found = reweighted(robust(weight))
        a, k, c = found["parameters"]
        residuals = y - decay(t, a, k, c)
        sd = np.median(np.abs(residuals)) / stats.norm.ppf(0.75)
        u = residuals / sd
        n, p = len(t), 3
        mean = slope(u).mean()
        correction = 1 + p / n * slope(u).var() / mean**2
        jacobian = np.column_stack([np.exp(-k * t), -a * t * np.exp(-k * t), np.ones_like(t)])
        square = ((u * weight(u)) ** 2).sum() / (n - p)
        covariance = (sd * correction / mean) ** 2 * square * np.linalg.inv(jacobian.T @ jacobian)
        found["standard_errors"] = list(map(float, np.sqrt(np.diag(covariance))))
        return found

    return {
        "t": t.tolist(),
        "y": y.tolist(),
        "sigma": sigma.tolist(),
        "equal": listed(fit()),
        "known_errors": listed(fit(1 / sigma**2, True)),
        "weights": listed(fit(1 / sigma**2, False)),
        "relative": reweighted(lambda p: 1 / decay(t, *p) ** 2),
        "huber": m_estimate(
            lambda u: np.minimum(1, 1.345 / np.maximum(np.abs(u), 1e-300)),
            lambda u: np.where(np.abs(u) < 1.345, 1.0, 0.0),
        ),
        "tukey": m_estimate(
            lambda u: np.where(np.abs(u) < 4.685, np.maximum((1 - (u / 4.685) ** 2) ** 2, 1e-12), 1e-12),
            lambda u: np.where(np.abs(u) < 4.685, (1 - (u / 4.685) ** 2) * (1 - 5 * (u / 4.685) ** 2), 0.0),
        ),
    }


def global_fit():
    """A->B->C over all wavelengths: NumPy's lstsq inside SciPy's least_squares."""
    rng = np.random.default_rng(21)
    t = np.arange(0, 30, 1.0)
    w = np.arange(300, 340, 2.0)

    def band(c, s, h):
        return h * np.exp(-(((w - c) / s) ** 2))

    def profiles(k):
        a = np.exp(-k[0] * t)
        b = k[0] / (k[1] - k[0]) * (np.exp(-k[0] * t) - np.exp(-k[1] * t))
        return np.column_stack([a, b, 1 - a - b])

    spectra = np.array([band(310, 8, 1.0), band(325, 9, 0.7), band(318, 12, 0.4)])
    data = np.round(profiles([0.4, 0.09]) @ spectra + 0.001 * rng.standard_normal((30, 20)), 5)

    def residuals(k):
        c = profiles(k)
        return (data - c @ np.linalg.lstsq(c, data, rcond=None)[0]).ravel()

    found = optimize.least_squares(residuals, [0.5, 0.1], xtol=1e-15, ftol=1e-15, gtol=1e-15, jac="3-point", x_scale=[0.4, 0.09])
    c = profiles(found.x)
    fitted = np.linalg.lstsq(c, data, rcond=None)[0]
    # Errors from the full Jacobian in rate constants and spectra.
    p0 = np.concatenate([found.x, fitted.ravel()])

    def full(p):
        return (profiles(p[:2]) @ p[2:].reshape(3, 20)).ravel()

    jacobian = np.empty((600, 62))
    for j in range(62):
        h = 1e-5 * max(abs(p0[j]), 1e-2)
        e = np.zeros(62)
        e[j] = h
        jacobian[:, j] = (full(p0 + e) - full(p0 - e)) / (2 * h)
    rss = float(2 * found.cost)
    covariance = np.linalg.inv(jacobian.T @ jacobian) * rss / (600 - 62)
    return {
        "times": t.tolist(),
        "wavelengths": w.tolist(),
        "absorbance": data.tolist(),
        "k": found.x.tolist(),
        "standard_errors": np.sqrt(np.diag(covariance))[:2].tolist(),
        "residual_sum_of_squares": rss,
        "spectrum_b": fitted[1].tolist(),
        "singular_values": np.linalg.svd(data, compute_uv=False).tolist(),
    }


def arrhenius():
    """ln k against 1/T, weighted by (k/sigma)^2, by NumPy's polyfit."""
    t = np.array([288.15, 293.15, 298.15, 303.15, 310.15])
    k = np.array([0.0039, 0.0072, 0.0129, 0.0221, 0.0489])
    e = np.array([0.0001, 0.0003, 0.0002, 0.0008, 0.0010])
    r = 8.31446261815324

    def line(weights):
        p, c = np.polyfit(1 / t - 1 / 298, np.log(k), 1, w=weights, cov=True)
        return {"Ea": float(-p[0] * r), "standard_error": float(math.sqrt(c[0, 0]) * r)}

    return {"T": t.tolist(), "k": k.tolist(), "errors": e.tolist(), "plain": line(None), "weighted": line(k / e)}


def correlated():
    """Errors under a first-order autoregression by restricted likelihood, with dense matrices (NumPy, SciPy)."""
    rng = np.random.default_rng(77)
    n = 60
    t = np.arange(n) * 1.0
    e = [rng.standard_normal()]
    for _ in range(n - 1):
        e.append(0.6 * e[-1] + 0.8 * rng.standard_normal())
    y = np.round(0.2 + 0.9 * np.exp(-0.06 * t) + 0.004 * np.array(e), 5)
    jacobian = lambda t, a, k, c: np.column_stack([np.exp(-k * t), -a * t * np.exp(-k * t), np.ones_like(t)])
    p = [1.0, 0.05, 0.2]
    for _ in range(3):
        p, _ = optimize.curve_fit(decay, t, y, p, jac=jacobian, xtol=1e-15, ftol=1e-15, gtol=1e-15, method="trf")
    j, r = jacobian(t, *p), y - decay(t, *p)
    lags = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    trials = []
    for rho in -0.5 + 1.49 * np.arange(97) / 96:
        v = rho**lags / (1 - rho**2)
        w = np.linalg.inv(v)
        inner = j.T @ w @ j
        step = np.linalg.solve(inner, j.T @ w @ r)
        rest = r @ w @ r - step @ inner @ step
        likelihood = (
            -0.5 * np.linalg.slogdet(v)[1] - 0.5 * np.linalg.slogdet(inner)[1] - 0.5 * (n - 3) * np.log(rest)
        )
        trials.append((rho, likelihood, np.linalg.inv(inner) * rest / (n - 3)))
    weights = np.exp(np.array([q[1] for q in trials]) - max(q[1] for q in trials))
    weights /= weights.sum()
    rho = float(sum(w * q[0] for w, q in zip(weights, trials)))
    covariance = sum(w * q[2] for w, q in zip(weights, trials))
    v = rho**lags / (1 - rho**2)
    plain = np.linalg.inv(j.T @ j)
    least = plain @ j.T @ v @ j @ plain
    best = np.linalg.inv(j.T @ np.linalg.inv(v) @ j)
    growth = np.maximum(np.diag(least) / np.diag(best), 1)
    return {
        "t": t.tolist(),
        "y": y.tolist(),
        "lag_one": rho,
        "standard_errors": np.sqrt(np.diag(covariance) * growth).tolist(),
    }


def pooled():
    """Random effects (DerSimonian and Laird) with the error of Hartung and Knapp, with NumPy and SciPy alone."""
    values = np.array([0.0312, 0.0298, 0.0335, 0.0307, 0.0321, 0.0289])
    errors = np.array([0.0006, 0.0004, 0.0011, 0.0005, 0.0008, 0.0007])
    w = errors**-2.0
    n = len(values)
    q = float((w * (values - np.average(values, weights=w)) ** 2).sum())
    tau2 = max(0.0, (q - (n - 1)) / (w.sum() - (w**2).sum() / w.sum()))
    w = 1 / (errors**2 + tau2)
    mean = float(np.average(values, weights=w))
    error = float(np.sqrt(max(1.0, (w * (values - mean) ** 2).sum() / (n - 1)) / w.sum()))
    return {
        "values": values.tolist(),
        "errors": errors.tolist(),
        "mean": mean,
        "standard_error": error,
        "between": float(np.sqrt(tau2)),
        "q": q,
        "probability": float(stats.chi2.sf(q, n - 1)),
        "half_width": float(stats.t.ppf(0.975, n - 1)) * error,
    }


def main():
    result = {
        "title": "Reference values by general-purpose libraries",
        "source": "computed by independent.py beside the tests",
        "licence_terms": "as the program",
        "hard_polynomial": hard_polynomial(),
        "residual_tests": residual_tests(),
        "weighted_fits": weighted_fits(),
        "global_fit": global_fit(),
        "arrhenius": arrhenius(),
        "correlated": correlated(),
        "pooled": pooled(),
    }
    (HERE / "data" / "independent.json").write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
