"""What smoothing takes from a band, and what a second smoothing takes, by SciPy, for `MOST_FLATTENED` of `study/peaks.rs`: Gauss and
Lorentz bands without noise, so wide beside the window, smoothed once and twice.

    python independent_smoothing.py
"""

import numpy as np
from scipy.signal import savgol_filter

X = np.arange(0, 4001.0)
CENTRE = 2000.37


def measured(y):
    """Height by a parabola through the highest point and two on each side of it, and the full width at half of it."""
    i = y.argmax()
    bend, slope, top = np.polyfit(X[i - 2 : i + 3] - X[i], y[i - 2 : i + 3], 2)
    height = top - slope**2 / 4 / bend
    left, right = i, i
    while y[left] > height / 2:
        left -= 1
    while y[right] > height / 2:
        right += 1
    low = X[left] + (height / 2 - y[left]) / (y[left + 1] - y[left])
    high = X[right] - (height / 2 - y[right]) / (y[right - 1] - y[right])
    return height, high - low


for order in (0, 2, 4):
    rows = []
    for shape in "GL":
        for window in (25, 51):
            for ratio in (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1, 1.2, 1.5, 2, 3, 4, 6):
                width = ratio * window
                u = (X - CENTRE) / width
                band = np.exp(-4 * np.log(2) * u**2) if shape == "G" else 1 / (1 + 4 * u**2)
                once = savgol_filter(band, window, order)
                (height, wide), (again, wider) = measured(once), measured(savgol_filter(once, window, order))
                lower, more = (height - again) / height, (wider - wide) / wide
                factor = max(1, 1 / (1 - lower))
                seen = max(lower, more)
                true_height = (1 - height) / ((height - again) * factor) if height > again else np.nan
                true_width = (wide - width) / ((wider - wide) * factor) if wider > wide else np.nan
                rows.append((seen, shape, window, ratio, true_height, true_width))
    rows.sort()
    print("order", order)
    for row in rows:
        print("  lost again %.4f  %s window %d, width %.1f of it: height %.2f, width %.2f times what is seen" % row)
