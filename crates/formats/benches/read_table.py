"""One table of 100 MB, read by polars and by pandas with options by hand, and by curvary with none.

    python3 crates/formats/benches/read_table.py

Needs Python with polars and pandas (pip install polars pandas). The table is invented: absorbance over wavelength for
400 times. All three read the file from the disk, best of seven; two threads each (pandas' quickest parser has one).
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from math import exp, sin

THREADS = "2"
os.environ["POLARS_MAX_THREADS"] = THREADS


def table(path):
    """Writes the table; returns how many bytes it has."""
    columns = 400
    with open(path, "w") as out:
        out.write("Absorbance\nWavelength (nm)," + ",".join(f"{10 * c} s" for c in range(columns)) + "\n")
        decay = [exp(-0.01 * c) for c in range(columns)]
        for row in range(36_000):
            height = abs(sin(0.01 * row))
            out.write(f"{300 + row * 0.05:.2f}," + ",".join(f"{height * d:.4f}" for d in decay) + "\n")
    return os.path.getsize(path)


def best(work, rounds=7):
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)


def main():
    import pandas
    import polars

    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "table.csv")
        size = table(path)
        took = {
            "polars": best(lambda: polars.read_csv(path, skip_rows=1, infer_schema_length=100)),
            "pandas": best(lambda: pandas.read_csv(path, skiprows=1, engine="c", float_precision="round_trip")),
        }
        told = subprocess.run(
            ["cargo", "bench", "--quiet", "-p", "curvary-formats", "--bench", "reading"],
            env={**os.environ, "TABLE": path, "RAYON_NUM_THREADS": THREADS},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        found = re.search(r"(\d+) points in ([0-9.]+) ms", told)
        if not found:
            sys.exit(f"the bench said: {told}")
        took["curvary"] = float(found[2]) / 1e3
        print(f"{size / 1e6:.0f} MB, {int(found[1]):,} points")
        for name, seconds in took.items():
            print(f"{name:<8} {seconds * 1e3:8.0f} ms {size / seconds / 1e6:8.0f} MB/s {seconds / took['curvary']:6.2f} times curvary's")


if __name__ == "__main__":
    main()
