"""Reference values for the tests of spectra, quantities and checks, by NumPy and SciPy.

Writes data/independent-spectra.json beside this file:

    pip install numpy scipy
    python3 independent_spectra.py

All inputs are invented and are written out rounded, so that the tests start from the same decimals.
"""

import json
import math
import pathlib
import warnings

import numpy as np
import scipy
from scipy import constants, interpolate, optimize, signal, stats

HERE = pathlib.Path(__file__).parent


def gauss(x, at, height, fwhm):
    return height * np.exp(-4 * math.log(2) * ((x - at) / fwhm) ** 2)


def invented_spectrum():
    """Three bands, one of them weak, with a small repeatable ripple in place of noise."""
    x = np.round(np.arange(220.0, 420.5, 0.5), 1)
    ripple = 2e-4 * np.sin(12.9898 * np.arange(x.size) ** 1.3) + 1e-4 * np.cos(78.233 * np.arange(x.size))
    y = gauss(x, 260.3, 0.82, 28) + gauss(x, 318.7, 0.35, 22) + gauss(x, 371.2, 0.06, 15) + 0.011 + ripple
    return x, np.round(y, 5)


def savitzky_golay(x, y):
    step = x[1] - x[0]
    cases = []
    for window, order, derivative in [(5, 2, 0), (11, 3, 0), (11, 4, 1), (15, 4, 2), (21, 5, 3), (7, 0, 0)]:
        out = signal.savgol_filter(y, window, order, deriv=derivative, delta=step, mode="interp")
        weights = signal.savgol_coeffs(window, order, deriv=derivative, delta=step)
        cases.append(
            {
                "window": window,
                "order": order,
                "derivative": derivative,
                "values": out.tolist(),
                "noise_gain": float(np.sqrt((weights**2).sum())),
            }
        )
    return cases


def uneven_polynomial():
    """A local polynomial on uneven steps, window by window."""
    i = np.arange(25)
    x = np.round(300 + i + 0.3 * np.sin(2.1 * i), 3)
    y = np.round(0.4 + 0.2 * np.sin(0.35 * i) + 0.01 * np.cos(5.0 * i), 5)
    window, order, half = 7, 3, 3
    smooth, first = [], []
    for k in range(x.size):
        start = min(max(k - half, 0), x.size - window)
        part = slice(start, start + window)
        p = np.polynomial.Polynomial.fit(x[part], y[part], order)
        smooth.append(float(p(x[k])))
        first.append(float(p.deriv()(x[k])))
    return {"x": x.tolist(), "y": y.tolist(), "window": window, "order": order, "smooth": smooth, "first": first}


def peaks(y):
    sets = {}
    stairs = np.array([0, 1, 3, 3, 3, 1, 0, 2, 2, 0, 5, 4, 4.5, 1, 1, 6, 6], dtype=float)
    for name, values, prominence in [("spectrum", y, 0.01), ("stairs", stairs, 0.0)]:
        index, found = signal.find_peaks(values, prominence=prominence)
        widths = signal.peak_widths(values, index, rel_height=0.5)
        sets[name] = {
            "y": values.tolist(),
            "min_prominence": prominence,
            "index": index.tolist(),
            "prominence": found["prominences"].tolist(),
            "left_base": found["left_bases"].tolist(),
            "right_base": found["right_bases"].tolist(),
            "width": widths[0].tolist(),
            "width_height": widths[1].tolist(),
            "left": widths[2].tolist(),
            "right": widths[3].tolist(),
        }
    return sets


def local_quadratic(x, y):
    """Vertex of the least-squares parabola over 9 points, with its error by the delta method."""
    index = int(signal.find_peaks(y, prominence=0.2)[0][0])
    part = slice(index - 4, index + 5)
    centre = x[index]
    p, cov = np.polyfit(x[part] - centre, y[part], 2, cov="unscaled")
    residuals = y[part] - np.polyval(p, x[part] - centre)
    cov = cov * (residuals @ residuals) / 6
    vertex = -p[1] / (2 * p[0])
    gradient = np.array([p[1] / (2 * p[0] ** 2), -1 / (2 * p[0]), 0])
    at_top = np.array([vertex**2, vertex, 1])
    return {
        "index": index,
        "points": 9,
        "x": float(centre + vertex),
        "x_error": float(np.sqrt(gradient @ cov @ gradient)),
        "height": float(np.polyval(p, vertex)),
        "height_error": float(np.sqrt(at_top @ cov @ at_top)),
    }


def spline():
    x = np.array([0.0, 0.7, 1.9, 2.5, 4.1, 5.0, 6.2])
    y = np.array([0.11, 0.35, 0.29, 0.52, 0.9, 0.71, 0.74])
    at = np.round(np.linspace(0, 6.2, 32), 3)
    linear = np.interp(at, x, y)
    cubic = interpolate.CubicSpline(x, y, bc_type="not-a-knot")(at)
    return {"x": x.tolist(), "y": y.tolist(), "at": at.tolist(), "linear": linear.tolist(), "cubic": cubic.tolist()}


def noise():
    rng = np.random.default_rng(20240501)
    t = np.arange(0.0, 600.0, 5.0)
    y = np.round(0.1 + 4e-7 * t + 3e-4 * rng.standard_normal(t.size), 5)
    line = stats.linregress(t, y)
    rest = signal.detrend(y, type="linear")
    quadratic = y - np.polynomial.Polynomial.fit(t, y, 2)(t)
    return {
        "t": t.tolist(),
        "y": y.tolist(),
        "rms_0": float(y.std(ddof=1)),
        "rms_1": float(np.sqrt(rest @ rest / (t.size - 2))),
        "rms_2": float(np.sqrt(quadratic @ quadratic / (t.size - 3))),
        "peak_to_peak_1": float(np.ptp(rest)),
        "drift": float(line.slope),
        "drift_error": float(line.stderr),
        "p": float(line.pvalue),
        "point_noise": float(np.median(np.abs(np.diff(y, 2))) / (stats.norm.ppf(0.75) * math.sqrt(6))),
    }


def scatter():
    x = np.round(np.arange(350.0, 500.0, 2.5), 1)
    y = np.round(0.12 * (x / 420.0) ** -3.3 + 5e-4 * np.sin(3.7 * np.arange(x.size)), 5)
    reference = float(np.exp(np.log(x).mean()))
    model = lambda x, a, n: a * (x / reference) ** -n  # noqa: E731
    p, cov = optimize.curve_fit(model, x, y, p0=[0.1, 4], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    return {
        "x": x.tolist(),
        "y": y.tolist(),
        "reference_nm": reference,
        "amplitude": float(p[0]),
        "amplitude_error": float(np.sqrt(cov[0, 0])),
        "exponent": float(p[1]),
        "exponent_error": float(np.sqrt(cov[1, 1])),
    }


def weighted_line(x, y, w):
    design = np.column_stack([np.ones_like(x), x])
    inverse = np.linalg.inv(design.T @ (w[:, None] * design))
    b = inverse @ (design.T @ (w * y))
    rest = y - design @ b
    return b, inverse, float((w * rest**2).sum())


def limits_by_roots(inside, start, low, high):
    """Edges of the set {x: inside(x) <= 0} beside `start`, by bracketing."""
    found = []
    for end in (low, high):
        grid = np.linspace(start, end, 20001)
        values = np.array([inside(v) for v in grid])
        change = np.nonzero(np.sign(values[:-1]) != np.sign(values[1:]))[0]
        found.append([float(optimize.brentq(inside, grid[c], grid[c + 1], xtol=1e-14, rtol=1e-14)) for c in change])
    return found


def calibrations():
    x = np.array([0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 0.5, 5.0, 20.0])
    y = np.array([0.021, 0.043, 0.081, 0.209, 0.405, 0.817, 0.022, 0.203, 0.801])
    out = {"x": x.tolist(), "y": y.tolist(), "reading": 0.15, "level": 0.95, "lines": []}
    for kind, w in [("inverse-x", 1 / x), ("inverse-x-squared", 1 / x**2)]:
        b, inverse, rss = weighted_line(x, y, w)
        s = math.sqrt(rss / (x.size - 2))
        x0 = (0.15 - b[0]) / b[1]
        w0 = {"inverse-x": 1 / x0, "inverse-x-squared": 1 / x0**2}[kind]
        t = stats.t.ppf(0.975, x.size - 2)

        def inside(v):
            at = np.array([1.0, v])
            return (0.15 - b @ at) ** 2 - t**2 * s**2 * (1 / w0 + at @ inverse @ at)

        roots = limits_by_roots(inside, x0, x0 - 5, x0 + 5)
        out["lines"].append(
            {
                "kind": kind,
                "intercept": float(b[0]),
                "slope": float(b[1]),
                "intercept_error": float(s * math.sqrt(inverse[0, 0])),
                "slope_error": float(s * math.sqrt(inverse[1, 1])),
                "residual_sd": s,
                "x0": float(x0),
                "limits": [roots[0][0], roots[1][0]],
            }
        )
    # Lack of fit of the equally weighted line, from means by level.
    b, _, rss = weighted_line(x, y, np.ones_like(x))
    pure = sum(((y[x == v] - y[x == v].mean()) ** 2).sum() for v in np.unique(x))
    levels = np.unique(x).size
    f = ((rss - pure) / (levels - 2)) / (pure / (x.size - levels))
    out["lack_of_fit"] = {"f": float(f), "p": float(stats.f.sf(f, levels - 2, x.size - levels))}
    # Known errors: normal quantiles.
    sd = np.round(0.002 + 0.01 * y, 5)
    b, inverse, rss = weighted_line(x, y, 1 / sd**2)
    out["known"] = {
        "errors": sd.tolist(),
        "slope": float(b[1]),
        "slope_error": float(math.sqrt(inverse[1, 1])),
        "intercept_error": float(math.sqrt(inverse[0, 0])),
        "chi_squared": rss,
        "slope_interval": [float(b[1] + q * math.sqrt(inverse[1, 1])) for q in stats.norm.ppf([0.025, 0.975])],
    }
    return out


def unbounded():
    """A line whose slope is not told from zero: the set is the outside of an interval, or everything."""
    x = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    y = np.array([0.30, 0.21, 0.35, 0.28, 0.41, 0.30])
    b, inverse, rss = weighted_line(x, y, np.ones_like(x))
    s = math.sqrt(rss / 4)
    out = {"x": x.tolist(), "y": y.tolist(), "slope": float(b[1]), "cases": []}
    for reading, level in [(0.75, 0.95), (0.31, 0.95)]:
        t = stats.t.ppf(0.5 + level / 2, 4)

        def inside(v):
            at = np.array([1.0, v])
            return (reading - b @ at) ** 2 - t**2 * s**2 * (1 + at @ inverse @ at)

        grid = np.linspace(-400, 400, 800001)
        values = (reading - b[0] - b[1] * grid) ** 2 - t**2 * s**2 * (
            1 + inverse[0, 0] + 2 * inverse[0, 1] * grid + inverse[1, 1] * grid**2
        )
        change = np.nonzero(np.sign(values[:-1]) != np.sign(values[1:]))[0]
        roots = [float(optimize.brentq(inside, grid[c], grid[c + 1], xtol=1e-14)) for c in change]
        out["cases"].append(
            {"reading": reading, "level": level, "edges": roots, "far_is_inside": bool(values[0] <= 0 and values[-1] <= 0)}
        )
    return out


def addition():
    x = np.array([0.0, 2.0, 4.0, 6.0, 8.0])
    y = np.array([0.151, 0.246, 0.353, 0.448, 0.551])
    line = stats.linregress(x, y)
    rest = y - line.intercept - line.slope * x
    s = math.sqrt(rest @ rest / 3)
    sxx = ((x - x.mean()) ** 2).sum()
    error = s / abs(line.slope) * math.sqrt(1 / 5 + (y.mean() / line.slope) ** 2 / sxx)
    t = stats.t.ppf(0.975, 3)
    inside = lambda v: (line.intercept + line.slope * v) ** 2 - t**2 * s**2 * (0.2 + (v - x.mean()) ** 2 / sxx)  # noqa: E731
    zero = -line.intercept / line.slope
    roots = limits_by_roots(inside, zero, zero - 3, zero + 3)
    return {
        "x": x.tolist(),
        "y": y.tolist(),
        "value": float(-zero),
        "standard_error": float(error),
        "limits": [-roots[1][0], -roots[0][0]],
    }


def mixture():
    nm = np.arange(240.0, 321.0, 2.0)
    a = np.round(gauss(nm, 260, 12.0, 30) + gauss(nm, 300, 1.5, 20), 4)
    b = np.round(gauss(nm, 275, 8.0, 34), 4)
    c = np.round(gauss(nm, 290, 6.0, 25), 4)
    y = np.round(0.031 * a + 0.052 * b + 0.011 * c + 0.004 + 8e-4 * np.sin(2.9 * np.arange(nm.size) ** 1.2), 5)
    design = np.column_stack([a, b, c, np.ones_like(a)])
    p, rss, _, _ = np.linalg.lstsq(design, y, rcond=None)
    inverse = np.linalg.inv(design.T @ design)
    variance = float(rss[0]) / (nm.size - 4)
    return {
        "references": [a.tolist(), b.tolist(), c.tolist()],
        "y": y.tolist(),
        "values": p.tolist(),
        "errors": np.sqrt(np.diag(inverse) * variance).tolist(),
        "inflation": np.sqrt(np.diag(inverse) * (design**2).sum(axis=0)).tolist(),
        "residual_sd": math.sqrt(variance),
    }


def main():
    warnings.simplefilter("error")
    x, y = invented_spectrum()
    result = {
        "source": "independent_spectra.py; invented data",
        "versions": {"numpy": np.__version__, "scipy": scipy.__version__},
        "spectrum": {"x": x.tolist(), "y": y.tolist()},
        "savitzky_golay": savitzky_golay(x, y),
        "uneven": uneven_polynomial(),
        "peaks": peaks(y),
        "local_quadratic": local_quadratic(x, y),
        "trapezoid_240_300": float(np.trapezoid(y[(x >= 240) & (x <= 300)], x[(x >= 240) & (x <= 300)])),
        "spline": spline(),
        "noise": noise(),
        "scatter": scatter(),
        "calibrations": calibrations(),
        "unbounded": unbounded(),
        "addition": addition(),
        "mixture": mixture(),
        "constants": {
            "codata": "SciPy names its CODATA release in scipy.constants",
            "h": constants.h,
            "c": constants.c,
            "e": constants.e,
            "hc_over_e_ev_nm": constants.h * constants.c / constants.e * 1e9,
        },
    }
    text = json.dumps(result, indent=None, separators=(",", ":"))
    text = text.replace('],"', '],\n"').replace('},"', '},\n"').replace("},{", "},\n{")
    (HERE / "data" / "independent-spectra.json").write_text(text + "\n")


if __name__ == "__main__":
    main()
