"""Tables of many shapes, read by polars, pandas and NumPy with options by hand, and by curvary with none.

    python3 crates/formats/benches/read_table.py [--seed 1] [--only SHAPE ...] [--keep FOLDER] [--binary PROGRAM]

Needs Python with polars, pandas and NumPy (pip install polars pandas numpy). Everything runs on one core, this process,
its threads and its children being held to it. The tables are invented; how large each is, how many files of a shape
there are and how many runs each holds is drawn anew from the seed, so that nothing can be tuned to it. Every shape comes
in three sorts: small files (1 to 5 kB), middling ones (30 to 600 kB) and large ones (3 to 10 MB). All programs read each
file from the disk, already in the system's cache; the best of several rounds counts, each sort taken in turn. Curvary
takes the SHA-256 of each file as well, as `curvary add` does.

Printed are curvary's speed and how many times its time the others take: above 1.00 curvary is the quicker. What a
library has no reader for by its options alone (-) is left out. `peak` is the greatest memory of curvary's process while
it reads the sort, as a multiple of its largest file.
"""

import argparse
import os
import random
import re
import subprocess
import sys
import tempfile
import time
from math import exp, sin

os.environ["POLARS_MAX_THREADS"] = "1"
os.environ["RAYON_NUM_THREADS"] = "1"
os.environ["OMP_NUM_THREADS"] = "1"

SORTS = {"small": (1e3, 5e3, 0.4e6), "middling": (30e3, 600e3, 4e6), "large": (3e6, 10e6, 9e6)}


def band(x, centre, height=0.9, width=40.0):
    return 0.02 + height * exp(-(((x - centre) / width) ** 2))


class Shape:
    """A way of writing tables: `write(draw, size)` gives a text of about `size` bytes, `read` the readers' options."""

    name = ""
    suffix = "csv"
    preamble = 0

    def write(self, draw, size):
        raise NotImplementedError

    def polars(self, polars, path):
        return polars.read_csv(path, skip_rows=self.preamble, infer_schema_length=100)

    def pandas(self, pandas, path):
        return pandas.read_csv(path, skiprows=self.preamble, engine="c")

    def numpy(self, numpy, path):
        return numpy.loadtxt(path, delimiter=",", skiprows=self.preamble + 1)


class TwoColumns(Shape):
    name = "bare two columns, comma"
    separator = ","

    def write(self, draw, size):
        step, centre = draw.choice([0.05, 0.1, 0.2]), draw.uniform(300, 700)
        rows = max(8, int(size / 14))
        lines = [f"Wavelength (nm){self.separator}Absorbance"]
        lines += [f"{200 + step * n:.2f}{self.separator}{band(200 + step * n, centre):.4f}" for n in range(rows)]
        return "\n".join(lines) + "\n"


class Preamble(Shape):
    name = "tabs after a preamble"
    suffix = "txt"
    preamble = 8

    def write(self, draw, size):
        centre = draw.uniform(300, 700)
        head = (
            f"Sample:\tbetanin {draw.randrange(90)}\nDate:\t2021-03-{draw.randrange(1, 29):02d}\nTemperature:\t37 °C\n"
            "pH:\t7.0\nOperator:\tinvented\nPath length:\t1 cm\nRemark:\tfreshly made up\n\nWavelength (nm)\tAbsorbance\n"
        )
        rows = max(8, int(size / 14))
        return head + "".join(f"{200 + 0.1 * n:.1f}\t{band(200 + 0.1 * n, centre):.5f}\n" for n in range(rows))

    def polars(self, polars, path):
        return polars.read_csv(path, separator="\t", skip_rows=self.preamble, infer_schema_length=100)

    def pandas(self, pandas, path):
        return pandas.read_csv(path, sep="\t", skiprows=self.preamble, engine="c")

    def numpy(self, numpy, path):
        return numpy.loadtxt(path, delimiter="\t", skiprows=self.preamble + 1, encoding="utf-8")


class DecimalComma(Shape):
    name = "decimal comma, semicolons"
    preamble = 3

    def write(self, draw, size):
        centre = draw.uniform(300, 700)
        head = f"Probe: Betanin {draw.randrange(90)}\nTemperatur: 37,0 °C\nDatum: 14.03.2021\nWellenlänge (nm);Absorbanz\n"
        rows = max(8, int(size / 13))
        table = "".join(f"{200 + 0.1 * n:.1f};{band(200 + 0.1 * n, centre):.4f}\n" for n in range(rows))
        return head + table.replace(".", ",")

    def polars(self, polars, path):
        return polars.read_csv(
            path, separator=";", decimal_comma=True, skip_rows=self.preamble, infer_schema_length=100
        )

    def pandas(self, pandas, path):
        return pandas.read_csv(path, sep=";", decimal=",", skiprows=self.preamble, engine="c")

    numpy = None


class Blanks(Shape):
    name = "single blanks"
    suffix = "dat"
    preamble = 1

    def write(self, draw, size):
        centre = draw.uniform(300, 700)
        rows = max(8, int(size / 20))
        lines = [
            f"{200 + 0.1 * n:.1f} {band(200 + 0.1 * n, centre):.4f} {band(200 + 0.1 * n, centre + 9):.4f}"
            for n in range(rows)
        ]
        return f"# betanin {draw.randrange(90)}, two cells\nnm Abs1 Abs2\n" + "\n".join(lines) + "\n"

    def polars(self, polars, path):
        return polars.read_csv(path, separator=" ", skip_rows=self.preamble, infer_schema_length=100)

    def pandas(self, pandas, path):
        return pandas.read_csv(path, sep=" ", skiprows=self.preamble, engine="c")

    def numpy(self, numpy, path):
        return numpy.loadtxt(path, skiprows=self.preamble + 1)


class Aligned(Blanks):
    name = "blanks, right-aligned"

    def write(self, draw, size):
        centre = draw.uniform(300, 700)
        rows = max(8, int(size / 33))
        lines = [
            f"{200 + 0.1 * n:10.2f}{band(200 + 0.1 * n, centre):11.5f}{band(200 + 0.1 * n, centre + 9):11.5f}"
            for n in range(rows)
        ]
        return f"# betanin {draw.randrange(90)}, two cells\n      nm       Abs1       Abs2\n" + "\n".join(lines) + "\n"

    def polars(self, polars, path):
        lines = polars.read_csv(path, separator="\x01", skip_rows=2, has_header=False, quote_char=None)
        column = polars.col("column_0")
        cells = [column.str.slice(at, length).str.strip_chars().cast(polars.Float64) for at, length in ((0, 10), (10, 11), (21, 11))]
        return lines.select(cells[0].alias("x"), cells[1].alias("a"), cells[2].alias("b"))

    def pandas(self, pandas, path):
        return pandas.read_csv(path, sep=r"\s+", skiprows=self.preamble, engine="c")


class Pairs(Shape):
    name = "pairs of columns"
    preamble = 1

    def write(self, draw, size):
        pairs = draw.randrange(3, 9)
        rows = max(8, int(size / (14 * pairs)))
        names = ",".join(f"sample {n},{''}" for n in range(1, pairs + 1))
        head = ",".join("Wavelength (nm),Abs" for _ in range(pairs))
        centre = draw.uniform(300, 700)
        lines = [
            ",".join(f"{200 + 0.5 * row:.1f},{band(200 + 0.5 * row, centre + 5 * n):.5f}" for n in range(pairs))
            for row in range(rows)
        ]
        return names + "\n" + head + "\n" + "\n".join(lines) + "\n"


class ManyCurves(Shape):
    name = "one x with 27 y"

    def write(self, draw, size):
        rows = max(8, int(size / 195))
        head = "Wavelength (nm)," + ",".join(f"sample {n}" for n in range(1, 28))
        centre = draw.uniform(300, 700)
        lines = [
            f"{200 + 0.5 * row:.1f}," + ",".join(f"{band(200 + 0.5 * row, centre + 5 * n):.4f}" for n in range(27))
            for row in range(rows)
        ]
        return "Absorbance\n" + head + "\n" + "\n".join(lines) + "\n"

    preamble = 1


class TimesDown(Shape):
    name = "times x wavelengths"
    preamble = 1
    wide = True

    def write(self, draw, size):
        """40 times by 500 wavelengths where the size allows, and as many of both more or fewer as it takes."""
        cells = size / 7
        times = max(8, int((cells * 0.08) ** 0.5))
        lights = max(6, int(cells / times))
        down, over = (times, lights) if self.wide else (lights, times)
        time_of, light_of = (lambda n: 10 * n), (lambda n: 300 + 0.5 * n)
        decay = [exp(-0.05 * n) for n in range(times)]
        height = [abs(sin(0.01 * n)) for n in range(lights)]
        if self.wide:
            head = "Time (s)," + ",".join(f"{light_of(n):.1f} nm" for n in range(over))
            rows = [
                f"{time_of(row)}," + ",".join(f"{decay[row] * height[n]:.4f}" for n in range(over)) for row in range(down)
            ]
        else:
            head = "Wavelength (nm)," + ",".join(f"{time_of(n)} s" for n in range(over))
            rows = [
                f"{light_of(row):.1f}," + ",".join(f"{decay[n] * height[row]:.4f}" for n in range(over))
                for row in range(down)
            ]
        return "Absorbance\n" + head + "\n" + "\n".join(rows) + "\n"


class TimesOver(TimesDown):
    name = "its transpose"
    wide = False


class LongWords(Shape):
    name = "long table with words"

    def write(self, draw, size):
        each = draw.randrange(20, 200)
        rows = max(20, int(size / 36))
        names = [f"betanin {n}" for n in range(1 + rows // each)]
        draw.shuffle(names)
        lines = ["Sample,Cell,Time (s),Absorbance"]
        for row in range(rows):
            name, point = names[row // each], row % each
            lines.append(f"{name},{'ABCDEFGH'[row // each % 8]}{1 + row // each // 8 % 12},{10 * point},{0.9 * exp(-0.02 * point):.4f}")
        return "\n".join(lines) + "\n"

    numpy = None


class Paged(Shape):
    name = "paged report"
    suffix = "txt"

    def write(self, draw, size):
        page = draw.randrange(40, 70)
        rows = max(8, int(size / 19))
        centre = draw.uniform(300, 700)
        pages = -(-rows // page)
        text = []
        for number in range(pages):
            text.append(f"Report of the invented laboratory      betanin {draw.randrange(9)}\n\n  Wavelength (nm)   Absorbance\n")
            for row in range(number * page, min(rows, (number + 1) * page)):
                x = 200 + 0.1 * row
                text.append(f"  {x:8.1f}  {band(x, centre):8.4f}\n")
            text.append(f"\n                    page {number + 1} of {pages}\n\f")
        return "".join(text)

    def polars(self, polars, path):
        lines = polars.read_csv(path, separator="\x01", has_header=False, quote_char=None, skip_rows=3)
        column = polars.col("column_0")
        cells = [column.str.slice(at, length).str.strip_chars().cast(polars.Float64, strict=False) for at, length in ((2, 8), (12, 8))]
        return lines.select(cells[0].alias("x"), cells[1].alias("y")).drop_nulls()

    pandas = None
    numpy = None


class Notes(Shape):
    name = "quoted notes"

    def write(self, draw, size):
        rows = max(8, int(size / 33))
        centre = draw.uniform(300, 700)
        notes = ["", "lamp warm, cell 1", "stirred; blank again", "ok", "bubble, wiped off"]
        lines = ['"Wavelength (nm)","Absorbance","Note"']
        for row in range(rows):
            x = 200 + 0.1 * row
            lines.append(f'"{x:.1f}","{band(x, centre):.4f}","{draw.choice(notes)}"')
        return "\n".join(lines) + "\n"

    def numpy(self, numpy, path):
        return numpy.loadtxt(path, delimiter=",", quotechar='"', usecols=(0, 1), skiprows=1)


class Runs(Shape):
    name = "1 to 20 runs one below another"
    suffix = "txt"

    def write(self, draw, size):
        runs = draw.randrange(1, 21)
        rows = max(6, int(size / runs / 14))
        text = []
        for run in range(runs):
            centre = draw.uniform(300, 700)
            text.append(f"Sample: betanin {run + 1}\nTemperature: {20 + run} °C\nWavelength (nm)\tAbsorbance\n")
            text.append("".join(f"{200 + 0.5 * n:.1f}\t{band(200 + 0.5 * n, centre):.5f}\n" for n in range(rows)))
            text.append("\n")
        return "".join(text)

    def polars(self, polars, path):
        return polars.read_csv(
            path,
            separator="\t",
            has_header=False,
            skip_rows=2,
            schema={"x": polars.Float64, "y": polars.Float64},
            ignore_errors=True,
            truncate_ragged_lines=True,
        ).drop_nulls()

    pandas = None
    numpy = None


class Link(Shape):
    name = "JCAMP-DX, LINK of small blocks"
    suffix = "jdx"

    def write(self, draw, size):
        points = draw.randrange(20, 200)
        block = points * 6 + 330
        blocks = max(1, int(size / block))
        text = [f"##TITLE=invented set\n##JCAMP-DX=4.24\n##DATA TYPE=LINK\n##BLOCKS={blocks + 1}\n##ORIGIN=invented\n##OWNER=invented\n"]
        for number in range(blocks):
            centre = draw.uniform(300, 700)
            values = [round(1e4 * band(400 + n, centre)) for n in range(points)]
            table = []
            for at in range(0, points, 8):
                row = values[at : at + 8]
                table.append(f"{400 + at}" + "".join(f" {value}" for value in row))
            text.append(
                f"##TITLE=betanin {number}\n##JCAMP-DX=4.24\n##DATA TYPE=UV/VIS SPECTRUM\n##BLOCK_ID={number + 1}\n"
                "##ORIGIN=invented\n##OWNER=invented\n##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n"
                f"##XFACTOR=1\n##YFACTOR=0.0001\n##FIRSTX=400\n##LASTX={399 + points}\n##DELTAX=1\n##NPOINTS={points}\n"
                f"##FIRSTY={values[0] / 1e4:.4f}\n##XYDATA=(X++(Y..Y))\n" + "\n".join(table) + "\n##END=\n"
            )
        text.append("##END=\n")
        return "".join(text)

    polars = None
    pandas = None
    numpy = None


SHAPES = [
    TwoColumns,
    Preamble,
    DecimalComma,
    Blanks,
    Aligned,
    Pairs,
    ManyCurves,
    TimesDown,
    TimesOver,
    LongWords,
    Notes,
    Paged,
    Runs,
    Link,
]


def write_all(folder, seed, shapes):
    """Writes the files; gives for each shape and sort its files."""
    sets = {}
    for index, shape in enumerate(shapes):
        for sort, (least, most, total) in SORTS.items():
            draw = random.Random(f"{seed} {shape.name} {sort}")
            place = os.path.join(folder, f"{index:02d}-{sort}")
            os.makedirs(place, exist_ok=True)
            files, written = [], 0
            while written < total:
                size = least * (most / least) ** draw.random()
                path = os.path.join(place, f"{len(files):04d}.{shape.suffix}")
                with open(path, "w", encoding="utf-8", newline="") as out:
                    out.write(shape.write(draw, size))
                written += os.path.getsize(path)
                files.append(path)
            sets[(index, sort)] = files
    return sets


def best(work, rounds):
    times = []
    for _ in range(rounds):
        begun = time.process_time()
        work()
        times.append(time.process_time() - begun)
    return min(times)


def program():
    """Builds the bench and gives its path."""
    command = ["cargo", "bench", "-p", "curvary-formats", "--bench", "reading", "--no-run", "--message-format=json"]
    built = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True).stdout
    paths = [path for path in re.findall(r'"executable":"([^"]+)"', built) if "reading" in path]
    return paths[-1]


def curvary(binary, folder, rounds):
    """What the bench says of the files in a folder: seconds, runs, points and peak memory in kilobytes."""
    environment = {**os.environ, "FOLDER": folder, "ROUNDS": str(rounds)}
    told = subprocess.run([binary, "--bench"], env=environment, stdout=subprocess.PIPE, text=True, check=True).stdout
    found = re.search(r"^(\d+) runs, (\d+) points in ([0-9.]+) ms, peak (\d+) kB$", told, re.MULTILINE)
    if not found:
        sys.exit(f"the bench said: {told}")
    return float(found[3]) / 1e3, int(found[1]), int(found[2]), int(found[4])


def main():
    wanted = argparse.ArgumentParser()
    wanted.add_argument("--seed", default="1")
    wanted.add_argument("--only", nargs="*", default=[])
    wanted.add_argument("--keep")
    wanted.add_argument("--binary")
    wanted.add_argument("--rounds", type=int, default=5)
    wanted.add_argument("--alone", action="store_true", help="curvary alone")
    wanted = wanted.parse_args()
    binary = wanted.binary or program()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    import numpy
    import pandas
    import polars

    libraries = {"polars": polars, "pandas": pandas, "numpy": numpy}
    shapes = [shape() for shape in SHAPES if not wanted.only or any(only in shape.name for only in wanted.only)]
    with tempfile.TemporaryDirectory() as scratch:
        folder = wanted.keep or scratch
        sets = write_all(folder, wanted.seed, shapes)
        print(f"{'shape':<32}{'sort':<9}{'files':>6}{'MB':>6}{'runs':>6}{'MB/s':>7}{'files/s':>9}{'peak':>6}" + "".join(f"{name:>9}" for name in libraries))
        for (index, sort), files in sets.items():
            shape = shapes[index]
            size = sum(os.path.getsize(path) for path in files)
            largest = max(os.path.getsize(path) for path in files)
            seconds, runs, _, peak = curvary(binary, os.path.dirname(files[0]), wanted.rounds)
            line = (
                f"{shape.name:<32}{sort:<9}{len(files):>6}{size / 1e6:>6.1f}{runs:>6}{size / seconds / 1e6:>7.0f}"
                f"{len(files) / seconds:>9.0f}{peak * 1024 / largest:>6.1f}"
            )
            for name, library in libraries.items():
                reader = getattr(shape, name)
                if reader is None or wanted.alone:
                    line += f"{'-':>9}"
                    continue
                try:
                    took = best(lambda: [reader(library, path) for path in files], 3 if name != "numpy" else 1)
                    line += f"{took / seconds:>9.2f}"
                except Exception as error:  # a library that cannot read it is told by name
                    line += f"{'failed':>9}"
                    print(f"{name} on {shape.name}: {type(error).__name__}: {str(error)[:200]}", file=sys.stderr)
            print(line, flush=True)


if __name__ == "__main__":
    main()
