"""Values of laws to 40 digits by mpmath, for tests/models.rs; written to tests/data/laws.json.

Nothing here uses the program's own way: courses of enzymes are integrals solved by root search on the rate law itself, binding
equations are solved by root search on the mass balance, melting by its equilibrium constant. Run by hand:
`python3 tests/independent_laws.py`.
"""

import json
from pathlib import Path

from mpmath import e, exp, findroot, log, mp, mpf, nstr, quad

mp.dps = 40
R = mpf("8.314462618153240")


def ic50(x, y0, c, h):
    return y0 / (1 + (x[0] / c) ** h)


def four_parameter(x, y0, yinf, c, h):
    return yinf + (y0 - yinf) / (1 + (x[0] / c) ** h)


def pka(x, acid, base, k):
    proton, constant = mpf(10) ** -x[0], mpf(10) ** -k
    return (acid * proton + base * constant) / (proton + constant)


def two_pka(x, acid, middle, base, k1, k2):
    h, a, b = mpf(10) ** -x[0], mpf(10) ** -k1, mpf(10) ** -k2
    return (acid * h * h + middle * h * a + base * a * b) / (h * h + h * a + a * b)


def quadratic(x, y0, dy, total, k):
    most = min(total, x[0])
    c = findroot(lambda c: (total - c) * (x[0] - c) - k * c, (most * mpf("1e-12"), most), solver="anderson", tol=1e-60)
    return y0 + dy * c / total


def melting(x, folded, mf, unfolded, mu, dh, tm):
    t = x[0]
    k = exp(-dh / R * (1 / t - 1 / tm))
    return ((folded + mf * (t - tm)) + (unfolded + mu * (t - tm)) * k) / (1 + k)


def slow_binding(x, y0, v0, ki, koff):
    t, i = x
    vs, k = v0 / (1 + i / ki), koff * (1 + i / ki)
    return y0 + quad(lambda s: vs + (v0 - vs) * exp(-k * s), [0, t])


def inactivation(x, y0, v0, k):
    return y0 + quad(lambda s: v0 * exp(-k * s), [0, x[0]])


def inactivation_series(x, y0, v0, kinact, ki):
    t, i = x
    return y0 + quad(lambda s: v0 * exp(-kinact * i / (ki + i) * s), [0, t])


def product_inhibited(x, y0, s0, vmax, km, kp):
    def time(p):
        return quad(lambda q: (km * (1 + q / kp) + s0 - q) / (vmax * (s0 - q)), [0, p])

    guess = s0 * (1 - exp(-vmax * x[0] / (km * (1 + s0 / kp) + s0)))
    return y0 + findroot(lambda p: time(p) - x[0], guess)


def job(x, dy, n, k):
    f = x[0]
    most = min(1 - f, f / n)
    c = findroot(
        lambda c: (1 - f - c) * (f - n * c) ** n - k * c,
        (most * mpf("1e-9"), most * (1 - mpf("1e-30"))),
        solver="anderson",
        tol=1e-60,
    )
    return dy * c


CASES = [
    ("ic50", ic50, ["1.2", "0.7", "1.3"], [["0"], ["0.05"], ["0.7"], ["20"]]),
    ("four-parameter", four_parameter, ["1.2", "0.15", "0.7", "1.3"], [["0"], ["0.05"], ["0.7"], ["20"]]),
    ("pka", pka, ["0.1", "0.9", "7.15"], [["3"], ["7"], ["7.4"], ["11"]]),
    ("two-pka", two_pka, ["0.1", "0.9", "0.4", "4.2", "8.1"], [["2"], ["4.5"], ["7.7"], ["12"]]),
    ("quadratic-binding", quadratic, ["0.05", "0.8", "1.5", "0.02"], [["0.1"], ["1.4"], ["1.6"], ["12"]]),
    ("melting", melting, ["0.3", "0.0004", "0.45", "0.0007", "412000", "331.4"], [["298.15"], ["328"], ["331.4"], ["345"]]),
    ("slow-binding", slow_binding, ["0.1", "0.03", "0.4", "0.002"], [["10", "0"], ["200", "0.5"], ["900", "3"], ["1e-4", "3"]]),
    ("inactivation", inactivation, ["0.1", "0.03", "0.004"], [["1e-3"], ["30"], ["400"], ["4000"]]),
    ("inactivation-series", inactivation_series, ["0.1", "0.03", "0.01", "2.5"], [["30", "0"], ["400", "1"], ["400", "20"]]),
    ("progress-product-inhibited", product_inhibited, ["0.1", "1.5", "0.04", "0.35", "0.9"], [["5"], ["40"], ["90"]]),
    ("progress-product-inhibited", product_inhibited, ["0.1", "1.5", "0.04", "0.35", "0.12"], [["5"], ["40"], ["300"]]),
    ("job-plot", job, ["2.5", "1", "0.03"], [["0.1"], ["0.5"], ["0.8"]]),
    ("job-plot", job, ["2.5", "2", "0.002"], [["0.2"], ["0.6667"], ["0.9"]]),
]


def main():
    out = []
    for name, law, parameters, points in CASES:
        p = [mpf(v) for v in parameters]
        rows = []
        for x in points:
            value = law([mpf(v) for v in x], *p)
            rows.append([[float(v) for v in x], float(nstr(value, 20))])
        out.append({"law": name, "parameters": [float(v) for v in parameters], "points": rows})
    path = Path(__file__).parent / "data" / "laws.json"
    note = "computed by tests/independent_laws.py, mpmath with 40 digits; mathematical facts, no rights"
    path.write_text(json.dumps({"source": note, "cases": out}, indent=1) + "\n")
    print(len(out), "cases")


if __name__ == "__main__":
    main()
