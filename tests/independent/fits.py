"""What curvary computes beside what SciPy, statsmodels and lmfit compute of the same files.

    python3 tests/independent/fits.py PROGRAM WORKING-FOLDER

Time courses and rate laws with their errors (scipy.optimize.curve_fit), profile-likelihood limits (lmfit's conf_interval),
calibration lines with what is read off them (statsmodels' OLS and WLS; the classical error of inverse prediction written out),
peaks of a noiseless band. Data are invented and drawn from a seed. Ends with `N passed, N failed`.
"""

import json
import subprocess
import sys
from pathlib import Path

import lmfit
import numpy as np
import statsmodels.api as sm
from scipy.optimize import curve_fit
from scipy.stats import t as student

PROGRAM, WORK = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
WORK.mkdir(parents=True, exist_ok=True)
results = []


def check(name, got, want, relative=1e-6):
    holds = got is not None and abs(got - want) <= relative * max(abs(want), 1e-300)
    results.append(holds)
    print(f"{'ok    ' if holds else 'FAILED'}  {name}{'' if holds else f': {got} against {want}'}")


def curvary(*words):
    done = subprocess.run([PROGRAM, *words, "--json"], capture_output=True, text=True, cwd=WORK)
    if done.returncode not in (0, 1):
        raise SystemExit(f"curvary {' '.join(map(str, words))}: {done.stderr}")
    found = json.loads(done.stdout)
    return found if isinstance(found, list) else [found]


def parameter(result, name):
    return next(p for p in result["parameters"] if p["name"] == name)


def table(name, head, *columns):
    rows = [",".join(repr(float(v)) for v in row) for row in zip(*columns)]
    (WORK / name).write_text("\n".join([head, *rows]) + "\n")
    return name


draw = np.random.default_rng(20)
time = np.arange(0, 240, 4.0)

COURSES = {
    "first-order+offset": (lambda t, A, k, offset: A * np.exp(-k * t) + offset, ["A", "k", "offset"], [0.8, 0.02, 0.1]),
    "second-order": (lambda t, A, k: A / (1 + A * k * t), ["A", "k"], [0.9, 0.03]),
    "biphasic": (
        lambda t, A1, k1, A2, k2: A1 * np.exp(-k1 * t) + A2 * np.exp(-k2 * t),
        ["A1", "k1", "A2", "k2"],
        [0.5, 0.08, 0.4, 0.006],
    ),
    "approach-to-steady-rate": (
        lambda t, y0, vs, v0, k: y0 + vs * t + (v0 - vs) * (1 - np.exp(-k * t)) / k,
        ["y0", "vs", "v0", "k"],
        [0.1, 0.001, 0.006, 0.03],
    ),
}
for model, (law, names, truth) in COURSES.items():
    # Noise whose neighbours are a little opposed, so that no correlation is allowed for and errors are the plain ones.
    noise = 0.002 * draw.normal(size=time.size + 1)
    y = np.round(law(time, *truth) + noise[1:] - 0.4 * noise[:-1], 5)
    (found,) = curvary("fit", table("course.csv", "time (s),absorbance", time, y), "--model", model)
    want, covariance = curve_fit(law, time, y, p0=truth, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    for j, name in enumerate(names):
        own = parameter(found, name)
        check(f"{model} {name}", own["value"], want[j])
        check(f"{model} {name}, error", own["standard_error"], np.sqrt(covariance[j, j]), 1e-4)

s = np.array([0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4, 12.8])
LAWS = {
    "michaelis-menten": (lambda s, Vmax, Km: Vmax * s / (Km + s), ["Vmax", "Km"], [2.0, 0.9]),
    "substrate-inhibition": (lambda s, Vmax, Km, Ksi: Vmax * s / (Km + s + s * s / Ksi), ["Vmax", "Km", "Ksi"], [2.0, 0.5, 8.0]),
    "hill": (lambda s, Vmax, K, n: Vmax * s**n / (K**n + s**n), ["Vmax", "K", "n"], [2.0, 0.9, 1.8]),
}
for model, (law, names, truth) in LAWS.items():
    v = np.round(law(s, *truth) + 0.01 * draw.normal(size=s.size), 5)
    (found,) = curvary("fit", table("rates.csv", "substrate (mM),rate (uM/s)", s, v), "--model", model, "--profile")
    want, covariance = curve_fit(law, s, v, p0=truth, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    other = lmfit.Model(law, independent_vars=["s"])
    fitted = other.fit(v, s=s, params=other.make_params(**dict(zip(names, want))))
    limits = lmfit.conf_interval(fitted, fitted, sigmas=[0.95])
    for j, name in enumerate(names):
        own = parameter(found, name)
        check(f"{model} {name}", own["value"], want[j], 1e-5)
        check(f"{model} {name}, error", own["standard_error"], np.sqrt(covariance[j, j]), 1e-3)
        profile = next(i for i in own["intervals"] if i["kind"] == "profile-likelihood")
        # lmfit interpolates its limits.
        for side, place in (("low", 0), ("high", -1)):
            check(f"{model} {name}, {side} limit of the profile", profile[side], limits[name][place][1], 2e-3)

# Relative weights, by iteration in curvary, once by the fitted values at the minimum here.
law, names, truth = LAWS["michaelis-menten"]
v = np.round(law(s, *truth) * (1 + 0.02 * draw.normal(size=s.size)), 6)
(found,) = curvary("fit", table("relative.csv", "substrate (mM),rate (uM/s)", s, v), "--model", "michaelis-menten", "--weights", "relative")
want = np.array(truth)
for _ in range(60):
    want, covariance = curve_fit(law, s, v, p0=want, sigma=law(s, *want), xtol=1e-14, ftol=1e-14, gtol=1e-14)
for j, name in enumerate(names):
    check(f"relative weights, {name}", parameter(found, name)["value"], want[j], 1e-6)

# A calibration line, and an unknown in a row of the same table, diluted tenfold.
c = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
a = np.round(0.012 + 0.0995 * c + 0.001 * draw.normal(size=c.size), 4)
rows = ["sample,concentration (mg/L),dilution,absorbance"]
rows += [f"S{i},{x},1,{y}" for i, (x, y) in enumerate(zip(c, a))] + ["U1,,10,0.2500"]
(WORK / "line.csv").write_text("\n".join(rows) + "\n")
line, unknown = curvary("quantify", "line.csv", "--line")
model = sm.OLS(a, sm.add_constant(c)).fit()
for place, name in enumerate(("intercept", "slope")):
    check(f"line, {name}", parameter(line, name)["value"], model.params[place])
    check(f"line, {name}, error", parameter(line, name)["standard_error"], model.bse[place])
slope, sd = model.params[1], np.sqrt(model.mse_resid)
x = (0.25 - model.params[0]) / slope
error = sd / slope * np.sqrt(1 + 1 / c.size + (0.25 - a.mean()) ** 2 / (slope**2 * ((c - c.mean()) ** 2).sum()))
check("unknown in the rows below", parameter(unknown, "concentration")["value"], 10 * x)
check("unknown, error", parameter(unknown, "concentration")["standard_error"], 10 * error, 1e-3)
weighted = sm.WLS(a[1:], sm.add_constant(c[1:]), weights=1 / c[1:] ** 2).fit()
table("weighted.csv", "concentration (mg/L),absorbance", c[1:], a[1:])
(line,) = curvary("quantify", "weighted.csv", "--line", "--weights", "inverse-x-squared")
check("weighted line, slope", parameter(line, "slope")["value"], weighted.params[1])
check("weighted line, slope, error", parameter(line, "slope")["standard_error"], weighted.bse[1])
bent = sm.OLS(a, np.column_stack([np.ones_like(c), c, c * c])).fit()
table("bent.csv", "concentration (mg/L),absorbance", c, a)
(line,) = curvary("quantify", "bent.csv", "--line", "--curve", "quadratic")
check("bent line, squared term", parameter(line, "squared-term")["value"], bent.params[2], 1e-5)
check("bent line, squared term, error", parameter(line, "squared-term")["standard_error"], bent.bse[2], 1e-5)
half = student.ppf(0.975, bent.df_resid) * bent.bse[2]
check("bent line, limit", parameter(line, "squared-term")["intervals"][0]["high"], bent.params[2] + half, 1e-5)

print(f"{sum(results)} passed, {len(results) - sum(results)} failed")
sys.exit(0 if all(results) else 1)
