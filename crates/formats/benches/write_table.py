"""How quickly tables are written, beside polars and pandas: the same rows as CSV and as Parquet.

    cargo build --release; cargo bench -p curvary-formats --bench table --no-run
    python3 crates/formats/benches/write_table.py target/release/curvary target/release/deps/table-… [RUNS]

Three jobs, each on one core. From memory: runs, and a table of polars or pandas, are in memory, and the same rows are written to
a file; for curvary by the bench `table`, the writers alone. The whole job: the program starts, asks the archive, reads every run
from it and writes them; polars and pandas read what is known from files of theirs, runs, curves and points as Parquet, put it
together and write the same table. Last, the whole job of curvary beside the writing from memory of the others, which is less.
What is compared is processor time, of all cores, so that other work on the machine changes
little; ratios are those of one run of this script: above 1.00 curvary needs less. At the end files of a list become parts, short
ones and longer ones, by 1 and by 2 workers with a core each, beside polars, which reads the same files knowing their form, and writes one Parquet file.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ["POLARS_MAX_THREADS"] = "1"
import pandas
import polars

PROGRAM = Path(sys.argv[1]).resolve()
BENCH = Path(sys.argv[2]).resolve()
RUNS = int(sys.argv[3]) if len(sys.argv) > 3 else 2000
POINTS = 200


def course(number, points=POINTS):
    rows = "".join(f"{point * 5},{0.9 - point * (number % 97 + 1) / 40000:.4f}\n" for point in range(points))
    return f"sample: invented {number}\nwavelength: 535 nm\ntemperature: 37 °C\n\ntime (s),absorbance\n{rows}"


def processor():
    """Seconds of processor time of this process, and of those that it has waited for."""
    both = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(used.ru_utime + used.ru_stime for used in both)


def timed(work):
    """The least of three runs: what comes on top of it is chance."""
    def once():
        begun = processor()
        work()
        return processor() - begun

    return min(once() for _ in range(3))


def clocked(work):
    begun, used = time.perf_counter(), processor()
    work()
    return time.perf_counter() - begun, processor() - used


def curvary(*words):
    done = subprocess.run([PROGRAM, *words], capture_output=True, text=True)
    if done.returncode > 1:
        raise SystemExit(done.stderr)


with tempfile.TemporaryDirectory() as folder:
    folder = Path(folder)
    for number in range(RUNS):
        path = folder / "in" / f"{number % 50}" / f"course {number}.csv"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(course(number))
    lab = ["--archive", folder / "lab"]
    _, used = clocked(lambda: curvary("add", folder / "in", *lab, "--quiet"))
    print(f"{RUNS} files of {POINTS} points; `add` takes {used:.2f} s of one core, {RUNS / used:.0f} files a second")
    told = subprocess.run([BENCH, folder / "in"], capture_output=True, text=True, check=True).stdout
    writers = {form: float(seconds) for form, seconds in map(str.split, told.splitlines())}
    whole = ["export", "technique:time-course", *lab]
    table = None
    for form, out, names in [("csv", "tidy.csv", ["tidy.csv"]), ("tables", "tables", ["tables/points.csv"]), ("parquet", "parquet", ["parquet/points.parquet"])]:
        own = timed(lambda: curvary(*whole, "--to", form, "--out", folder / out, "--replace"))
        written = folder / names[0]
        if form == "parquet":
            table = polars.read_parquet(written)
            frame = table.to_pandas()
            others = {
                "polars": lambda: table.write_parquet(folder / "polars.parquet", compression="gzip"),
                "pandas": lambda: frame.to_parquet(folder / "pandas.parquet", compression="gzip"),
            }
        else:
            table = polars.read_csv(written, infer_schema_length=None)
            frame = table.to_pandas()
            others = {
                "polars": lambda: table.write_csv(folder / "polars.csv"),
                "pandas": lambda: frame.to_csv(folder / "pandas.csv", index=False),
            }
        spent = {name: timed(work) for name, work in others.items()}
        told = f"the writers alone take {writers[form]:.3f} s; both from memory: " + ", ".join(
            f"{name} {other / writers[form]:.2f}" for name, other in spent.items()
        )
        if form == "csv":
            curvary(*whole, "--to", "parquet", "--out", folder / "store", "--replace")
            stored = [folder / "store" / f"{name}.parquet" for name in ("points", "curves", "runs")]
            head = polars.read_csv(written, n_rows=1).columns

            def by_polars():
                points, curves, runs = map(polars.read_parquet, stored)
                joined = points.join(curves, on=["run", "trace"], suffix="_of_curve").join(runs, on="run", suffix="_of_run")
                joined.select([name for name in head if name in joined.columns]).write_csv(folder / "polars.csv")

            def by_pandas():
                points, curves, runs = map(pandas.read_parquet, stored)
                joined = points.merge(curves, on=["run", "trace"], suffixes=("", "_of_curve")).merge(runs, on="run", suffixes=("", "_of_run"))
                joined[[name for name in head if name in joined.columns]].to_csv(folder / "pandas.csv", index=False)

            told += f"; the whole job: polars {timed(by_polars) / own:.2f}, pandas {timed(by_pandas) / own:.2f}"
        told += "; the whole job beside theirs from memory: " + ", ".join(f"{name} {other / own:.2f}" for name, other in spent.items())
        print(f"{form:8} {written.stat().st_size / 1e6:6.1f} MB by {own:5.2f} s of one core; {told}")
    def read_by_polars(paths):
        tables = []
        for path in paths:
            with open(path, encoding="utf-8") as file:
                keys = dict(next(file).strip().split(": ") for _ in range(3))
            table = polars.read_csv(path, skip_rows=4)
            tables.append(table.with_columns(**{key: polars.lit(value) for key, value in keys.items()}))
        polars.concat(tables).write_parquet(folder / "all.parquet", compression="gzip")

    for points in (40, POINTS):
        home = folder / f"small {points}"
        home.mkdir()
        paths = [home / f"course {number}.csv" for number in range(RUNS)]
        for number, path in enumerate(paths):
            path.write_text(course(number, points))
        length = sum(path.stat().st_size for path in paths) / RUNS / 1000
        for workers in (1, 2):
            tries = []
            for repetition in range(3):
                def work():
                    running = []
                    for worker in range(workers):
                        (home / f"list{worker}").write_text("\n".join(map(str, paths[worker::workers])))
                        words = ["convert", "--files-from", home / f"list{worker}", "--to", "parquet", "--quiet"]
                        words += ["--out", home / f"set {workers} {repetition}"]
                        # A worker is one core, and has no other.
                        alone = lambda core=worker: os.sched_setaffinity(0, {core}) if hasattr(os, "sched_setaffinity") else None
                        running.append(subprocess.Popen([PROGRAM, *words], stdout=subprocess.DEVNULL, preexec_fn=alone))
                    if any(process.wait() > 1 for process in running):
                        raise SystemExit("a worker failed")

                tries.append(clocked(work))
            seconds, used = (min(column) for column in zip(*tries))
            print(
                f"{RUNS} files of {length:.2f} kB into parts by {workers} worker(s), a core each: {RUNS / seconds:.0f} files a second on the "
                f"clock, {RUNS / used:.0f} a second of a core"
            )
        used = timed(lambda: read_by_polars(paths))
        print(f"the same files by polars, which is told their form: {RUNS / used:.0f} files a second of a core")
