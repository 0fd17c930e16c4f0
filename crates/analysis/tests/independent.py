"""Reference values for the tests, by general-purpose libraries (mpmath, NumPy, SciPy).

Writes data/independent.json beside this file:

    pip install mpmath numpy scipy
    python3 independent.py
"""

import json
import math
import pathlib

import mpmath as mp

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


def main():
    result = {
        "title": "Reference values by general-purpose libraries",
        "source": "computed by independent.py beside the tests",
        "licence_terms": "as the program",
        "hard_polynomial": hard_polynomial(),
    }
    (HERE / "data" / "independent.json").write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
