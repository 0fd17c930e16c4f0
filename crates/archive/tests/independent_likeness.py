"""The likenesses of src/likeness/tests.rs, computed with NumPy: numpy.corrcoef of both curves, taken by numpy.interp at
three million evenly spaced places of the common range.

    python3 crates/archive/tests/independent_likeness.py
"""

import numpy as np


def likeness(f, g):
    low, high = max(f[0][0], g[0][0]), min(f[0][-1], g[0][-1])
    places = np.linspace(low, high, 3_000_001)
    return np.corrcoef(np.interp(places, *f), np.interp(places, *g))[0, 1]


def band(x, height, middle, width):
    return height * np.exp(-(((x - middle) / width) ** 2))


def curve(x, y, decimals=4):
    order = np.argsort(x)
    return x[order], np.round(y, decimals)[order]


print("numpy", np.__version__)
x = 400 + 5.0 * np.arange(61)
red = curve(x, band(x, 0.8, 532, 45))
x = 380 + 3.0 * np.arange(114)
shifted = curve(x, band(x, 0.4, 540, 50) + 0.05 + 1e-4 * (x - 380))
two = curve(x, band(x, 0.3, 480, 20) + band(x, 0.5, 610, 35))
print("red, shifted", f"{likeness(red, shifted):.7f}")
print("red, two", f"{likeness(red, two):.7f}")
print("shifted, two", f"{likeness(shifted, two):.7f}")

# The same band over wavenumber, in percent of transmittance.
wavenumber = 14000 + 100.0 * np.arange(111)
percent = np.round(100 * 10 ** -band(1e7 / wavenumber, 0.8, 532, 45), 2)
x = 1e7 / wavenumber
order = np.argsort(x)
transmitted = (x[order], -np.log10(percent[order] / 100))
print("red, transmitted", f"{likeness(red, transmitted):.7f}")

# Fading, once in seconds and once in minutes.
t = 10.0 * np.arange(61)
quick = curve(t, 0.9 * np.exp(-t / 150))
t = 0.5 * np.arange(15)
slow = curve(60 * t, 0.5 * np.exp(-60 * t / 400) + 0.1)
print("quick, slow", f"{likeness(quick, slow):.7f}")

# NumPy's own samples: 61 places of an even grid that both were measured at.
x = 400 + 5.0 * np.arange(61)
other = curve(x, band(x, 0.4, 540, 50) + 0.05)
print("samples of one grid: by integrals", f"{likeness(red, other):.7f}", "by points", f"{np.corrcoef(red[1], other[1])[0, 1]:.7f}")
