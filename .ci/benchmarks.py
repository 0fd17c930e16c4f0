#!/usr/bin/env python3
"""Measures what curvary costs, keeps it with the name of the machine, and compares.

    python3 .ci/benchmarks.py measure FILE [--times]     measure, and write the figures into FILE
    python3 .ci/benchmarks.py compare FILE [OTHER]       measure (or take OTHER) and compare with FILE

Two kinds of figures:

* counts: instructions of the release build over fixed work, by `valgrind --tool=callgrind`. They hardly depend on what else the
  machine does, so that they can be compared from one day to the next; `compare` ends with status 1 where one grew by more than
  LIMIT. They depend on the processor's kind and on the compiler, and both are written down.
* times: what `cargo bench` prints, line by line, each number the median of RUNS runs; with `--times` only, since they take minutes
  and say something only on a quiet machine. The load before and after is written down with them. They never fail a comparison.

The baselines of this repository are in `.ci/baselines/`, a file a machine.
"""

import json
import os
import platform
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CARGO = os.environ.get("CARGO", "cargo")
# `CURVARY_BIN` names a program that is built already, as in the tests.
NAMED = os.environ.get("CURVARY_BIN")
PROGRAM = Path(NAMED) if NAMED else ROOT / "target" / "release" / ("curvary.exe" if os.name == "nt" else "curvary")
# Counts of one build differed by up to 0.06 % between two runs beside other builds (hash seeds, threads): fifty times that is a change.
LIMIT = 1.03
RUNS = 3
# The benches whose figures are ratios or rates of one core and that end within minutes.
BENCHES = [
    ("curvary-jcamp-dx", "codec"),
    ("curvary-formats", "reading"),
    ("curvary-formats", "writers"),
    ("curvary-analysis", "fits"),
]
NUMBER = re.compile(r"(?<![\w.])\d[\d,]*(?:\.\d+)?")


def output(*words):
    return subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True).stdout.strip()


def machine():
    """What the figures depend on."""
    named = platform.processor() or platform.machine()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        found = re.search(r"^model name\s*:\s*(.+)$", cpuinfo.read_text(), re.M)
        named = found[1] if found else named
    return {
        "processor": named,
        "cores": os.cpu_count(),
        "system": f"{platform.system()} {platform.release()} {platform.machine()}",
        "rustc": output("rustc", "--version"),
        "commit": output("git", "rev-parse", "--short", "HEAD"),
        "load": list(os.getloadavg()) if hasattr(os, "getloadavg") else None,
    }


def table(path, rows):
    """Two columns, invented: a band of Gauss's shape in steps."""
    with open(path, "w", encoding="ascii") as file:
        file.write("Sample: invented\nWavelength (nm);Absorbance\n")
        for row in range(rows):
            nm = 200.0 + row * 700.0 / rows
            height = 0.9 * 2.718281828 ** (-(((nm - 520.0) / 60.0) ** 2))
            file.write(f"{nm:.4f};{height:.5f}\n")


def counts():
    """Instructions of the program over fixed work."""
    if shutil.which("valgrind") is None:
        print("counts: left out, there is no valgrind", file=sys.stderr)
        return {}
    if not NAMED:
        subprocess.run([CARGO, "build", "--release", "--locked", "--quiet"], cwd=ROOT, check=True)
    found = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # Paths are as long on every machine, and nothing of a person's settings is read.
        around = dict(os.environ, RAYON_NUM_THREADS="1", HOME=name, XDG_CONFIG_HOME=name, XDG_CACHE_HOME=name)
        around.pop("CURVARY_ARCHIVE", None)
        shutil.copytree(ROOT / "demo-data" / "2019", folder / "data")
        table(folder / "table.txt", 50_000)

        def count(what, *words):
            log = folder / "counted"
            call = ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", f"--log-file={log}", str(PROGRAM), *words]
            done = subprocess.run(call, cwd=folder, env=around, capture_output=True, check=False)
            if done.returncode > 1:
                sys.exit(f"{what}: status {done.returncode}: {done.stderr.decode()}")
            found[what] = int(re.search(r"Collected : (\d+)", log.read_text())[1])

        count("start", "--version")
        count("convert a table of 50,000 rows to CSV", "convert", "table.txt", "--to", "csv", "--out", "table.csv")
        count("convert it to JCAMP-DX", "convert", "table.txt", "--to", "jcamp-dx", "--out", "table.jdx")
        count("add a year of the demonstration", "add", "data", "--archive", "lab", "--quiet")
        count("add it again", "add", "data", "--archive", "lab", "--quiet")
        count("find", "find", "technique:spectrum", "--archive", "lab")
        count("export spectra as CSV", "export", "technique:spectrum", "--archive", "lab", "--to", "csv", "--out", "all.csv")
        count("verify", "verify", "--archive", "lab")
    return found


def times():
    """What the benches print, by line."""
    found = {}
    for package, bench in BENCHES:
        lines = {}
        for _ in range(RUNS):
            text = output(CARGO, "bench", "--quiet", "-p", package, "--bench", bench)
            for line in filter(None, map(str.strip, text.splitlines())):
                numbers = [float(number.replace(",", "")) for number in NUMBER.findall(line)]
                if numbers:
                    lines.setdefault(NUMBER.sub("#", line), []).append(numbers)
        found[f"{package} {bench}"] = {
            line: [statistics.median(column) for column in zip(*runs)] for line, runs in lines.items()
        }
    return found


def measure(with_times):
    figures = {"machine": machine(), "counts": counts()}
    if with_times:
        figures["times"] = times()
        figures["machine"]["load after"] = list(os.getloadavg()) if hasattr(os, "getloadavg") else None
    return figures


def compare(old, new):
    """Prints both beside each other; the status."""
    for key in ("processor", "rustc", "commit"):
        before, now = old["machine"].get(key), new["machine"].get(key)
        print(f"{key}: {before}" + ("" if before == now else f" -> {now}"))
    grown, missing = [], []
    print(f"\n{'instructions':<44}{'before':>16}{'now':>16}{'ratio':>9}")
    for what, before in old["counts"].items():
        now = new["counts"].get(what)
        if now is None:
            print(f"{what:<44}{before:>16,}{'not measured':>16}")
            missing.append(what)
            continue
        print(f"{what:<44}{before:>16,}{now:>16,}{now / before:>9.3f}")
        if now > LIMIT * before:
            grown.append(what)
    for bench, lines in old.get("times", {}).items():
        later = new.get("times", {}).get(bench)
        if later is None:
            continue
        print(f"\n{bench} (now / before)")
        for line, before in lines.items():
            now = later.get(line)
            if now is None or len(now) != len(before):
                continue
            ratios = " ".join(f"{b / a:.2f}" if a else "-" for a, b in zip(before, now))
            print(f"  {ratios:<32} {line}")
    if missing:
        print(f"\nnot measured: {', '.join(missing)}")
        return 2
    same = old["machine"].get("processor") == new["machine"].get("processor")
    if grown and not same:
        print("\nanother processor: more instructions there say nothing")
    elif grown:
        print(f"\nmore than {100 * (LIMIT - 1):.0f} % more instructions: {', '.join(grown)}")
        return 1
    return 0


def main():
    words = [word for word in sys.argv[1:] if word != "--times"]
    with_times = "--times" in sys.argv
    match words:
        case ["measure", file]:
            Path(file).write_text(json.dumps(measure(with_times), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        case ["compare", file]:
            old = json.loads(Path(file).read_text(encoding="utf-8"))
            sys.exit(compare(old, measure(with_times)))
        case ["compare", file, other]:
            sys.exit(compare(*(json.loads(Path(name).read_text(encoding="utf-8")) for name in (file, other))))
        case _:
            sys.exit(__doc__)


if __name__ == "__main__":
    main()
