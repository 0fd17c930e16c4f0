#!/usr/bin/env python3
"""Writes the corpus of odd text exports under tests/corpus/text.

Every case is built here once: its bytes and its truth come from the same
strings, so that the two cannot drift apart. All laboratories, samples, people
and numbers are invented. Python's standard library only; the same bytes on
every run and every machine.

    python3 generate_text_corpus.py            write text/ anew
    python3 generate_text_corpus.py --check    compare text/ with what would be written

README.md beside this file says what a case holds and which rules the truth follows.
"""

import json
import math
import random
import re
import shutil
import struct
import sys
from decimal import Decimal
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE / "text"
CASES = {}

VERDICTS = {"read", "in-question", "refused"}
TECHNIQUES = {
    "spectrum",
    "time-course",
    "spectral-time-course",
    "rate-series",
    "peak-list",
    "fixed-wavelength",
    None,
}
QUANTITIES = {
    "wavelength",
    "wavenumber",
    "time",
    "absorbance",
    "transmittance",
    "temperature",
    "concentration",
    "ph",
    "path-length",
    "rate",
    "index",
    None,
}


# ---------------------------------------------------------------- the truth


def num(text):
    """The number that a canonical decimal string stands for; None stays absent."""
    if text is None:
        return None
    value = float(text)
    return int(value) if re.fullmatch(r"[+-]?\d+", str(text)) else value


def axis(quantity, unit, values):
    return {"quantity": quantity, "unit": unit, "values": [num(v) for v in values]}


def W(values, unit="nm"):
    return axis("wavelength", unit, values)


def K(values):
    return axis("wavenumber", "/cm", values)


def T(values, unit="s"):
    return axis("time", unit, values)


def A(values, unit="{AU}"):
    return axis("absorbance", unit, values)


def P(values, unit="%"):
    return axis("transmittance", unit, values)


def held(quantity, unit, value):
    return {"quantity": quantity, "unit": unit, "value": num(value)}


def at_nm(value):
    return held("wavelength", "nm", value)


def at_s(value, unit="s"):
    return held("time", unit, value)


def trace(x, y, label=None, hold=(), **more):
    out = {}
    if label is not None:
        out["label"] = label
    out["x"] = x
    out["y"] = y
    if hold:
        out["held"] = list(hold)
    out.update(more)
    return out


def run(technique, traces, fields=None, **more):
    assert technique in TECHNIQUES, technique
    out = {"technique": technique, "fields": fields or {}, "traces": list(traces)}
    out.update(more)
    return out


def spectrum(xs, ys, fields=None, label=None, **more):
    return run("spectrum", [trace(W(xs), A(ys), label)], fields, **more)


def course(ts, ys, fields=None, label=None, unit="s", nm=None, **more):
    hold = [at_nm(nm)] if nm else []
    return run("time-course", [trace(T(ts, unit), A(ys), label, hold)], fields, **more)


def q(value, unit):
    """A field with a unit."""
    return {"value": num(value), "unit": unit}


# ---------------------------------------------------------------- the numbers


def steps(first, step, n):
    first, step = Decimal(first), Decimal(step)
    return [str(first + i * step) for i in range(n)]


def fixed(value, d):
    text = f"{value:.{d}f}"
    return text[1:] if re.fullmatch(r"-0(\.0*)?", text) else text


def band(xs, seed, d=4, top=1.1, base=0.02):
    """Absorbance of two broad bands over any rising or falling x."""
    r = random.Random(f"band {seed}")
    at = [float(x) for x in xs]
    lo, hi = min(at), max(at)
    span = (hi - lo) or 1.0
    c1, c2 = lo + span * r.uniform(0.2, 0.45), lo + span * r.uniform(0.6, 0.8)
    w1, w2 = span * r.uniform(0.08, 0.16), span * r.uniform(0.1, 0.2)
    h1, h2 = top * r.uniform(0.4, 0.95), top * r.uniform(0.3, 0.8)
    out = []
    for x in at:
        y = base + h1 * math.exp(-(((x - c1) / w1) ** 2)) + h2 * math.exp(-(((x - c2) / w2) ** 2))
        out.append(fixed(y + r.uniform(-0.0015, 0.0015), d))
    return out


def fade(xs, seed, n, d=4):
    """Scans of one sample whose colour fades from scan to scan."""
    first = [float(y) for y in band(xs, seed, d=5)]
    r = random.Random(f"fade {seed}")
    return [
        [fixed(0.02 + (y - 0.02) * math.exp(-0.35 * j) + r.uniform(-0.0012, 0.0012), d) for y in first]
        for j in range(n)
    ]


def percent(ys, d=2):
    return [fixed(100 * 10 ** -float(y), d) for y in ys]


def rise(ts, seed, d=4, start=0.05, size=0.8, k=None):
    r = random.Random(f"rise {seed}")
    at = [float(t) for t in ts]
    k = k if k is not None else 2.0 / (max(at) or 1.0) * r.uniform(0.7, 1.3)
    return [fixed(start + size * (1 - math.exp(-k * t)) + r.uniform(-0.001, 0.001), d) for t in at]


def decay(ts, seed, d=4, end=0.08, size=0.9, k=None):
    r = random.Random(f"decay {seed}")
    at = [float(t) for t in ts]
    k = k if k is not None else 2.2 / (max(at) or 1.0) * r.uniform(0.7, 1.3)
    return [fixed(end + size * math.exp(-k * t) + r.uniform(-0.001, 0.001), d) for t in at]


def scaled(ys, factor, d=4):
    return [fixed(float(y) * factor, d) for y in ys]


# ---------------------------------------------------------------- the text


def c(text):
    """With a decimal comma."""
    return text.replace(".", ",") if text is not None else ""


def cc(values):
    return [c(v) for v in values]


def rows(*columns, sep="\t"):
    """Columns side by side, one line a row, every line ended; shorter ones are left empty at the end."""
    n = max(len(col) for col in columns)
    lines = []
    for i in range(n):
        lines.append(sep.join(col[i] if i < len(col) and col[i] is not None else "" for col in columns))
    return "\n".join(lines) + "\n"


def wide(*columns, widths):
    """Right-aligned fixed columns."""
    return "".join("".join(f"{cell:>{w}}" for cell, w in zip(line, widths)).rstrip() + "\n" for line in zip(*columns))


def put(values, at, what):
    """A copy with other text at one or several places."""
    out = list(values)
    for i in [at] if isinstance(at, int) else at:
        out[i] = what
    return out


UNITS = {
    "10*-3.{AU}",
    "nm",
    "um",
    "Ao",
    "/cm",
    "eV",
    "s",
    "min",
    "h",
    "ms",
    "{AU}",
    "1",
    "%",
    "10*-3",
    "10*-3{AU}",
    "Cel",
    "K",
    "mmol/L",
    "umol/L",
    "{AU}/min",
    "umol/L/min",
    "mg/L",
    None,
}


# What files state beside what their case was written for. The corpus compares all fields of the names in `fields_all`
# (sample, temperature, pH, path length, date, operator, wavelength, concentration), so that an invented one fails.

# For each case, fields of all its runs.
STATED = {
    "bytes/cp437-degree": {"temperature": q(25, "Cel")},
    "bytes/double-encoded-degree": {"temperature": q(25, "Cel")},
    "bytes/mac-roman-degree": {"temperature": q(25, "Cel")},
    "bytes/micro-sign-cp1252": {"wavelength": q(405, "nm")},
    "bytes/micro-sign-cp850": {"concentration": q(50, "umol/L")},
    "bytes/micro-sign-utf8": {"wavelength": q(405, "nm")},
    "bytes/mu-letter-utf8": {"wavelength": q(405, "nm")},
    "kinetics/assay-series": {"temperature": q(30, "Cel")},
    "kinetics/date-and-clock-columns": {"date": "2020-05-04"},
    "kinetics/full-stamps": {"date": "2020-05-04"},
    "kinetics/time-unit-from-head": {"wavelength": q(412, "nm")},
    "markers/flat-top-kinetics": {"wavelength": q(340, "nm")},
    "metadata/date-decided-by-another": {"date": "2021-03-04"},
    "metadata/date-undecidable-dashes-low-day": {"sample": "crocin"},
    "metadata/date-undecidable-two-digit-year": {"sample": "crocin"},
    "metadata/date-undecidable-two-low-days": {"sample": "crocin"},
    "metadata/date-undecidable-with-clock": {"sample": "crocin"},
    "metadata/dutch": {"sample": "bietensap", "temperature": q("36.5", "Cel"), "date": "2021-03-14"},
    "metadata/italian": {"sample": "succo di barbabietola", "operator": "lr", "date": "2021-03-14"},
    "metadata/kinetics-conditions": {"wavelength": q(405, "nm")},
    "metadata/kinetics-german": {"wavelength": q(405, "nm")},
    "metadata/long-keys": {"temperature": q(37, "Cel")},
    "metadata/portuguese": {"sample": "suco de beterraba", "date": "2021-03-14"},
    "metadata/temperature-range": {"temperature": q("37.0", "Cel")},
    "metadata/title-only": {"temperature": q(25, "Cel"), "ph": 5.0},
    "metadata/unit-in-key-slash": {
        "temperature": q("37.0", "Cel"),
        "path-length": q("0.5", "cm"),
        "concentration": q("12.5", "umol/L"),
    },
    "metadata/unit-spellings": {"temperature": q(37, "Cel"), "concentration": q("12.5", "umol/L")},
    "odds/conditions-carry-over": {"temperature": q(37, "Cel")},
    "odds/metadata-as-two-rows": {
        "sample": "betanin",
        "temperature": q(37, "Cel"),
        "ph": 7.0,
        "path-length": q(1, "cm"),
    },
    "readings/percent-transmittance": {"wavelength": q(600, "nm")},
    "shapes/single-readings-head": {"wavelength": q(595, "nm")},
    "undecidable/bare-named-only-sample": {"sample": "rutin"},
    "undecidable/time-key-only": {"sample": "rutin"},
    "undecidable/wavelength-key-only": {"sample": "rutin"},
}

# What may be claimed and need not be: what stands there as it stands, where its meaning is open.
FINE = {
    "bytes/micro-as-m": {"concentration": ["50 uM"]},
    "bytes/quoted-printable-left-over": {"temperature": ["25 =C2=B0C"]},
    "bytes/replacement-characters": {"temperature": ["25 \ufffdC"]},
    "kinetics/index-and-interval": {"wavelength": [q(412, "nm")]},
    "metadata/date-decided-by-another": {"date": ["04/03/2021"]},
    "metadata/date-impossible": {"date": ["31.02.2021"]},
    "metadata/date-undecidable": {"date": ["03/04/2021"]},
    "metadata/date-undecidable-dashes-low-day": {"date": ["03-04-2021"]},
    "metadata/date-undecidable-french-low-day": {"sample": ["crocine"], "date": ["03/04/2021"]},
    "metadata/date-undecidable-short": {"date": ["03-04-05"]},
    "metadata/date-undecidable-spanish-low-day": {"sample": ["crocina"], "date": ["03/04/2021"]},
    "metadata/date-undecidable-two-digit-year": {"date": ["05/06/07"]},
    "metadata/date-undecidable-two-low-days": {"date": ["03/04/2021"]},
    "metadata/date-undecidable-with-clock": {"date": ["03/04/2021 09:12"]},
    "metadata/no-unit-temperature": {"temperature": [q(37, "Cel")]},
    "metadata/twice-same-key": {"temperature": [q(25, "Cel"), q(37, "Cel")]},
    "metadata/wavelength-contradicts": {"wavelength": [q(405, "nm"), q(340, "nm")]},
    "pages/newspaper-three": {"sample": ["betanin, one spectrum, absorbance (A) over wavelength (nm)"]},
    "shapes/pairs-unequal": {"sample": ["sample A", "sample B"]},
    "undecidable/cm-key": {"path-length": [q(1, "cm")]},
    "undecidable/wavelength-key-only": {"wavelength": [q(405, "nm")]},
}

# Cases whose curves are named by a column or row of samples: the label of a curve is its sample.
NAMED_BY_SAMPLE = {
    "odds/metadata-row-per-column",
    "shapes/long-interleaved",
    "shapes/long-sample-time",
    "shapes/long-sample-time-wavelength",
    "shapes/long-sample-wavelength",
    "shapes/spectra-as-rows-comma",
    "shapes/spectra-as-rows-units-in-cells",
}


def state(path, expect):
    """Adds what the file of a case states to its truth."""
    for alternative in [expect["runs"]] + [e["runs"] for e in expect.get("either", [])]:
        for r in alternative:
            r["fields"] = {**r["fields"], **STATED.get(path, {})}
            for t in r["traces"]:
                if path in NAMED_BY_SAMPLE and "label" in t:
                    t["fields"] = {"sample": t["label"]}
    if path in FINE:
        expect["fields_fine"] = FINE[path]


def case(
    path,
    why,
    body,
    verdict="read",
    runs=(),
    *,
    ext="txt",
    enc="utf-8",
    eol="\n",
    also=(),
    question=None,
    absent=None,
    remarks=(),
    never=(),
    either=None,
    **more,
):
    assert path not in CASES, path
    assert verdict in VERDICTS and set(also) <= VERDICTS, path
    assert verdict != "in-question" or question, path
    assert verdict != "refused" or not runs, path
    if isinstance(body, str):
        body = body.replace("\n", eol).encode(enc)
    expect = {"why": why, "verdict": verdict}
    if also:
        expect["verdicts_also_fine"] = list(also)
    expect["runs"] = list(runs)
    if either:
        expect["either"] = [{"runs": list(r)} for r in either]
    if question:
        expect["question"] = question
    if absent is not None:
        expect["absent"] = absent
    if remarks:
        expect["remarks_contain"] = list(remarks)
    if never:
        expect["never"] = [num(v) for v in never]
    expect.update(more)
    state(path, expect)
    for alternative in [expect["runs"]] + [e["runs"] for e in expect.get("either", [])]:
        for r in alternative:
            for t in r["traces"]:
                assert len(t["x"]["values"]) == len(t["y"]["values"]), (path, "lengths differ")
                assert {t["x"]["quantity"], t["y"]["quantity"]} <= QUANTITIES, path
                assert {t["x"]["unit"], t["y"]["unit"]} <= UNITS, path
                assert not set(expect.get("never", [])) & set(t["x"]["values"] + t["y"]["values"]), (path, "never")
    CASES[path] = (ext, body, expect)


def dump(expect):
    text = json.dumps(expect, ensure_ascii=False, indent=1)

    def flat(m):
        return "[" + re.sub(r"\s*\n\s*", " ", m.group(1)).strip() + "]"

    text = re.sub(r"\[([^\[\]{}\"]*)\]", flat, text)
    return (
        re.sub(
            r"\{\s*\"quantity\": (\S+),\s*\"unit\": (\S+),\s*\"value\": (\S+)\s*\}",
            r'{"quantity": \1, "unit": \2, "value": \3}',
            text,
        )
        + "\n"
    )


# ---------------------------------------------------------------- bytes


def group_bytes():
    xs = steps("400", "10", 21)
    fr = steps("400.0", "12.5", 17)

    def plain(seed, extra=""):
        ys = band(xs, seed)
        return ys, f"Sample: betanin\nTemperature: 25 °C\n{extra}\nWavelength (nm)\tAbsorbance\n" + rows(xs, ys)

    fields = {"sample": "betanin", "temperature": q("25", "Cel")}

    table = [
        ("utf8-lf", "UTF-8 without a mark, plain line feeds", "utf-8", "\n", {}),
        ("utf8-mark-crlf", "UTF-8 with a byte order mark, CR LF", "utf-8-sig", "\r\n", {}),
        ("utf8-cr", "only carriage returns end the lines", "utf-8", "\r", {}),
        ("utf8-cr-cr-lf", "every line ends CR CR LF after a wrong transfer", "utf-8", "\r\r\n", {}),
        ("utf16le-mark", "UTF-16 little endian with a mark", "utf-16-le+", "\r\n", {}),
        ("utf16be-mark", "UTF-16 big endian with a mark", "utf-16-be+", "\n", {}),
        ("utf16le-bare", "UTF-16 little endian without a mark", "utf-16-le", "\r\n", {}),
        ("utf16be-bare", "UTF-16 big endian without a mark", "utf-16-be", "\r\n", {}),
        ("utf16le-mark-cr", "UTF-16 with a mark and only carriage returns", "utf-16-le+", "\r", {}),
        ("latin1-crlf", "Latin-1: the degree sign is one byte above 127", "latin-1", "\r\n", {}),
        ("cp1252-cr", "Windows-1252 with carriage returns", "cp1252", "\r", {}),
        (
            "cp437-degree",
            "an old 8-bit code page: the degree sign is byte F8",
            "cp437",
            "\r\n",
            {"also": ["in-question"]},
        ),
        (
            "mac-roman-degree",
            "an old desktop code page: the degree sign is byte A1",
            "mac_roman",
            "\r",
            {"also": ["in-question"]},
        ),
        ("utf32le-mark", "UTF-32 with a mark, rare but legal", "utf-32-le+", "\n", {"also": ["refused"]}),
    ]
    marks = {"utf-16-le+": b"\xff\xfe", "utf-16-be+": b"\xfe\xff", "utf-32-le+": b"\xff\xfe\x00\x00"}
    for i, (name, why, enc, eol, more) in enumerate(table):
        ys, text = plain(100 + i)
        raw = marks.get(enc, b"") + text.replace("\n", eol).encode(enc.rstrip("+"))
        own = dict(fields)
        if name in ("cp437-degree", "mac-roman-degree"):
            own.pop("temperature")
        case(f"bytes/{name}", why, raw, runs=[spectrum(xs, ys, own)], **more)

    ys, text = plain(120)
    lines = text.split("\n")
    ends = ["\r\n", "\n", "\r"]
    mixed = "".join(line + ends[i % 3] for i, line in enumerate(lines[:-1]))
    # A CR followed by a line that is empty and ended by LF would read as CR LF; the blank line of this text sits
    # where the ends are LF, so the count of lines stays unambiguous.
    case("bytes/mixed-line-ends", "CR LF, LF and CR by turns", mixed, runs=[spectrum(xs, ys, fields)])

    ys, text = plain(121)
    case(
        "bytes/no-end-of-line",
        "no line end after the last number, which is complete",
        text.rstrip("\n"),
        runs=[spectrum(xs, ys, fields)],
    )
    ys, text = plain(122)
    case(
        "bytes/nul-padding",
        "padded with NUL bytes to a full block",
        text.encode().ljust(1024, b"\0"),
        runs=[spectrum(xs, ys, fields)],
    )
    ys, text = plain(123)
    case(
        "bytes/nul-in-fields",
        "each line padded with NUL bytes to 40",
        b"".join(line.encode().ljust(38, b"\0") + b"\r\n" for line in text.split("\n")[:-1]),
        runs=[spectrum(xs, ys, fields)],
    )
    ys, text = plain(124)
    case(
        "bytes/control-z",
        "ends with control-Z as old disks did",
        text.encode("latin-1") + b"\x1a",
        runs=[spectrum(xs, ys, fields)],
    )
    ys, text = plain(125)
    old = rows(steps("610", "10", 6), band(steps("610", "10", 6), 126))
    case(
        "bytes/control-z-then-old-sector",
        "after control-Z follows what an older file left in the disk block: rows that look like a continuation",
        text.encode("latin-1") + b"\x1a" + old.encode(),
        runs=[spectrum(xs, ys, fields)],
        also=["in-question"],
        remarks=["control-z|0x1a|1a|end-of-file|end of file|after the end"],
        never=["650", "660"],
    )
    ys, text = plain(127)
    case(
        "bytes/form-feed-before",
        "a form feed stands before the head of the table",
        text.replace("Wavelength", "\fWavelength"),
        runs=[spectrum(xs, ys, fields)],
    )
    ys, text = plain(128)
    body = text.split("\n")
    body.insert(14, "\f")
    case(
        "bytes/form-feed-inside",
        "a form feed on a line of its own inside the table",
        "\n".join(body),
        runs=[spectrum(xs, ys, fields)],
    )
    ys = band(xs, 129)
    case(
        "bytes/double-encoded-degree",
        "the degree sign went through UTF-8 twice",
        "Sample: betanin\nTemperature: 25 Â°C\n\nWavelength (nm)\tAbsorbance\n" + rows(xs, ys),
        runs=[spectrum(xs, ys, {"sample": "betanin"})],
        also=["in-question"],
    )
    ys = band(xs, 130)
    case(
        "bytes/broken-utf8-in-comment",
        "one comment has a stray byte, the rest is UTF-8 with umlauts",
        "Probe: Rübensaft\n".encode()
        + b"Bemerkung: K\xfcvette 2\n"
        + ("Wellenlänge (nm)\tExtinktion\n" + rows(xs, ys)).encode(),
        runs=[spectrum(xs, ys, {"sample": "Rübensaft"})],
    )
    ys = band(xs, 131)
    case(
        "bytes/replacement-characters",
        "the degree sign was lost to a replacement character in an earlier conversion",
        "Sample: betanin\nTemperature: 25 \ufffdC\n\nWavelength (nm)\tAbsorbance\n" + rows(xs, ys),
        runs=[spectrum(xs, ys, {"sample": "betanin"})],
        also=["in-question"],
    )
    y1, y2 = band(xs, 132), band(xs, 133)
    one = "Sample: batch 1\nWavelength (nm)\tAbsorbance\n" + rows(xs, y1)
    two = "Sample: batch 2\nWavelength (nm)\tAbsorbance\n" + rows(xs, y2)
    case(
        "bytes/mark-in-the-middle",
        "two marked files joined into one: a byte order mark stands in the middle",
        one.encode("utf-8-sig") + two.encode("utf-8-sig"),
        runs=[spectrum(xs, y1, {"sample": "batch 1"}), spectrum(xs, y2, {"sample": "batch 2"})],
    )
    ys = band(fr, 134)
    case(
        "bytes/nbsp-padding",
        "columns are padded with no-break spaces",
        "Wavelength (nm)\u00a0\u00a0Absorbance\n" + "".join(f"{x}\u00a0\u00a0\u00a0{y}\n" for x, y in zip(fr, ys)),
        runs=[spectrum(fr, ys)],
    )
    ys = band(fr, 135)
    case(
        "bytes/thin-spaces",
        "narrow no-break spaces between number and unit, and as padding",
        "Temperature: 37\u202f°C\nWavelength (nm)\u2009;\u2009Absorbance\n"
        + "".join(f"{x}\u2009;\u2009{y}\n" for x, y in zip(fr, ys)),
        runs=[spectrum(fr, ys, {"temperature": q("37", "Cel")})],
    )
    ys = band(fr, 136)
    case(
        "bytes/zero-width-space",
        "a zero-width space follows each separator, copied out of a web page",
        "Wavelength (nm)\tAbsorbance\n" + "".join(f"{x}\t\u200b{y}\n" for x, y in zip(fr, ys)),
        runs=[spectrum(fr, ys)],
        also=["in-question", "refused"],
    )
    ys = band(fr, 137)
    case(
        "bytes/trailing-blanks",
        "blanks and tabs trail behind every line, blank lines before and after",
        "\n" * 12
        + "Wavelength (nm)\tAbsorbance\t  \n"
        + "".join(f"{x}\t{y}\t \n" for x, y in zip(fr, ys))
        + " \n\t\n" * 8,
        runs=[spectrum(fr, ys)],
    )
    long = steps("200.0", "0.5", 401)
    yl = band(long, 138, d=5)
    case(
        "bytes/two-very-long-lines",
        "the whole spectrum stands on two lines of several thousand characters",
        "Wavelength/nm," + ",".join(long) + "\nAbsorbance," + ",".join(yl) + "\n",
        ext="csv",
        runs=[spectrum(long, yl)],
    )
    ys = band(xs, 139)
    case(
        "bytes/long-comment-line",
        "a comment of ten thousand characters, with numbers in it",
        "# " + "washed 3 times, 250 rpm 10 min; " * 330 + "\nWavelength (nm)\tAbsorbance\n" + rows(xs, ys),
        runs=[spectrum(xs, ys)],
    )
    ys, text = plain(140)
    case(
        "bytes/utf16-odd-byte",
        "UTF-16 with one byte lost at the very end (half a line feed)",
        b"\xff\xfe" + text.encode("utf-16-le")[:-1],
        runs=[spectrum(xs, ys, fields)],
        also=["in-question"],
    )
    ys = band(fr, 141)
    case(
        "bytes/utf16-decimal-comma",
        "UTF-16 with a mark, tabs and decimal commas",
        b"\xff\xfe"
        + ("Wellenlänge [nm]\tExtinktion\r\n" + rows(cc(fr), cc(ys)).replace("\n", "\r\n")).encode("utf-16-le"),
        runs=[spectrum(fr, ys)],
        ext="asc",
    )
    ys = band(fr, 142)
    case(
        "bytes/line-separator",
        "a Unicode line separator stands inside a comment, not a line end of the table",
        "Comment: cuvette 4\u2028checked\nWavelength (nm);Absorbance\n" + rows(fr, ys, sep=";"),
        runs=[spectrum(fr, ys)],
        ext="csv",
    )
    ys = band(fr, 143)
    case(
        "bytes/vertical-tabs",
        "vertical tabs separate blocks",
        "Sample: crocin\v\nWavelength (nm) Absorbance\n" + rows(fr, ys, sep=" "),
        runs=[spectrum(fr, ys, {"sample": "crocin"})],
        also=["in-question"],
    )
    ts = steps("0", "30", 11)
    ys = decay(ts, 144)
    case(
        "bytes/micro-sign-utf8",
        "micro sign U+00B5 in a unit, UTF-8",
        "Substrate: pNPP\nConcentration: 50 µmol/L\nWavelength: 405 nm\nTime (s)\tAbsorbance\n" + rows(ts, ys),
        runs=[course(ts, ys, {"concentration": q("50", "umol/L"), "substrate": "pNPP"}, nm="405")],
    )
    ys = decay(ts, 145)
    case(
        "bytes/mu-letter-utf8",
        "Greek letter mu U+03BC instead of the micro sign",
        "Substrate: pNPP\nConcentration: 50 μmol/L\nWavelength: 405 nm\nTime (s)\tAbsorbance\n" + rows(ts, ys),
        runs=[course(ts, ys, {"concentration": q("50", "umol/L")}, nm="405")],
    )
    ys = decay(ts, 146)
    case(
        "bytes/micro-sign-cp1252",
        "micro sign and umlauts in Windows-1252",
        "Substrat: pNPP\nKonzentration: 50 µmol/L\nWellenlänge: 405 nm\nTemperatur: 30 °C\nZeit (s)\tExtinktion\n"
        + rows(ts, ys),
        enc="cp1252",
        eol="\r\n",
        runs=[course(ts, ys, {"concentration": q("50", "umol/L"), "temperature": q("30", "Cel")}, nm="405")],
    )
    ys = decay(ts, 147)
    case(
        "bytes/micro-sign-cp850",
        "micro sign as byte E6 of an old code page: in Windows-1252 that is the letter ae, and no unit",
        "Substrat: pNPP\nKonzentration: 50 µmol/L\nZeit (s)\tExtinktion\n" + rows(ts, ys),
        enc="cp850",
        eol="\r\n",
        also=["in-question"],
        runs=[course(ts, ys, {"substrate": "pNPP"})],
    )
    ys = decay(ts, 148)
    case(
        "bytes/micro-as-m",
        "mM stands in the key and uM in the value: the unit beside the number holds, nothing may be scaled in silence",
        "Substrate: pNPP\nConcentration (mM): 50 uM\nTime (s)\tAbsorbance\n" + rows(ts, ys),
        "in-question",
        question="concentration-unit",
        also=["read"],
        runs=[course(ts, ys)],
    )
    ys = band(xs, 149)
    case(
        "bytes/quoted-printable-left-over",
        "an e-mail left its soft line breaks and its coded degree sign",
        "Temperature: 25 =C2=B0C\nWavelength (nm)\tAbsorbance=\n\n" + rows(xs, ys),
        runs=[spectrum(xs, ys)],
        also=["in-question", "refused"],
    )


# ---------------------------------------------------------------- numbers


def group_numbers():
    xs = steps("400", "10", 21)
    fr = steps("400.0", "7.5", 21)

    def simple(name, why, sep, ext="txt", x=fr, decimal=".", titles=("Wavelength (nm)", "Absorbance"), **more):
        ys = band(x, name)
        cols = (x, ys) if decimal == "." else (cc(x), cc(ys))
        case(
            f"numbers/{name}",
            why,
            titles[0] + sep + titles[1] + "\n" + rows(*cols, sep=sep),
            ext=ext,
            runs=[spectrum(x, ys)],
            **more,
        )

    german = ("Wellenlänge (nm)", "Extinktion")
    simple("comma-point", "comma between, decimal point", ",", "csv")
    simple("semicolon-point", "semicolon between, decimal point", ";", "csv")
    simple("tab-point", "tab between, decimal point", "\t", "tsv")
    simple("pipe-point", "pipes between, decimal point", "|", "txt")
    simple("pipe-blank-point", "pipes with blanks around", " | ", "txt")
    simple("semicolon-comma", "semicolon between, decimal comma", ";", "csv", decimal=",", titles=german)
    simple("tab-comma", "tab between, decimal comma", "\t", "txt", decimal=",", titles=german)
    simple("pipe-comma", "pipes between, decimal comma", "|", "txt", decimal=",", titles=german)
    simple(
        "semicolon-blank-comma", "semicolon and a blank between, decimal comma", "; ", "csv", decimal=",", titles=german
    )
    simple(
        "integer-x-semicolon-comma",
        "whole wavelengths, decimal comma in the absorbance",
        ";",
        "csv",
        x=xs,
        decimal=",",
        titles=german,
    )
    simple("comma-blank-point", "comma and a blank between, decimal point: the comma is no decimal mark", ", ", "csv")
    simple("tilde-separator", "an unusual separator, a tilde", "~", "dat", also=["in-question", "refused"])
    simple(
        "ampersand-separator",
        "copied from a typeset table: ampersands between",
        " & ",
        "txt",
        also=["in-question", "refused"],
    )

    ys = band(fr, 201)
    case(
        "numbers/one-blank-comma",
        "one blank between, decimal comma in both columns",
        "Wellenlänge_nm Extinktion\n" + rows(cc(fr), cc(ys), sep=" "),
        runs=[spectrum(fr, ys)],
    )
    ys = band(fr, 202)
    case(
        "numbers/many-blanks-point",
        "right-aligned in fixed columns of blanks",
        f"{'Wavelength':>12}{'Absorbance':>14}\n{'nm':>12}{'AU':>14}\n" + wide(fr, ys, widths=[12, 14]),
        ext="prn",
        runs=[spectrum(fr, ys)],
    )
    ys = band(fr, 203, d=5)
    case(
        "numbers/many-blanks-comma",
        "right-aligned in fixed columns, decimal comma, no words but the head",
        f"{'lambda/nm':>12}{'Ext.':>14}\n" + wide(cc(fr), cc(ys), widths=[12, 14]),
        ext="prn",
        runs=[spectrum(fr, ys)],
    )
    # Fixed columns that touch: 8 characters each, three digits before the point and four behind.
    x8 = steps("1000.000", "10.000", 12)
    y8 = put(band(x8, 204, d=4), 3, "-0.0012")
    case(
        "numbers/fixed-columns-touching",
        "fixed columns of eight characters that touch when a sign is present",
        "Wavelength (nm) and absorbance, format F8.3,F7.4\n" + "".join(f"{x:>8}{y:>7}\n" for x, y in zip(x8, y8)),
        also=["in-question", "refused"],
        runs=[spectrum(x8, y8)],
        ext="prn",
    )
    y2 = band(fr, 205)
    z2 = put(put(band(fr, 206), 5, "-0.0031"), 6, "-0.0007")
    case(
        "numbers/fixed-columns-sign-glued",
        "columns separated by one blank, which a minus sign fills: `0.1234-0.0031` is two numbers",
        "Wavelength (nm)  blank  sample\n"
        + "".join(
            f"{x:>8} {y:>7}{z:>8}\n" if not z.startswith("-") else f"{x:>8} {y:>7}{z:>7}\n"
            for x, y, z in zip(fr, y2, z2)
        ),
        "in-question",
        also=["read", "refused"],
        question="columns-run-together",
        # Nothing in the file says what was measured: no quantity is certain.
        runs=[
            run("spectrum", [trace(W(fr), axis(None, None, y2), "blank"), trace(W(fr), axis(None, None, z2), "sample")])
        ],
        ext="prn",
    )

    ys = band(fr, 207)
    case(
        "numbers/all-commas-two-heads",
        "comma is separator and decimal mark at once; only the head with two names tells that four pieces are two numbers",
        "Wellenlaenge nm,Extinktion\n" + rows(cc(fr), cc(ys), sep=","),
        "in-question",
        also=["read"],
        question="decimal-comma-or-separator",
        runs=[spectrum(fr, ys)],
        ext="csv",
    )
    ys = band(fr, 208)
    case(
        "numbers/all-commas-bare",
        "comma is separator and decimal mark at once, no head: 400,0,0,123",
        rows(cc(fr), cc(ys), sep=","),
        "in-question",
        question="decimal-comma-or-separator",
        ext="csv",
        also=["refused"],
    )
    ys = band(xs, 209)
    case(
        "numbers/integer-x-comma-y-bare",
        "400,0,1234 without a head: two numbers or three",
        rows(xs, cc(ys), sep=","),
        "in-question",
        question="decimal-comma-or-separator",
        ext="csv",
        also=["refused"],
    )
    ys = band(xs, 210)
    case(
        "numbers/integer-x-comma-y-head",
        "400,0,1234 under two names: 400 and 0,1234, or 400,0 and 1234",
        "nm,A\n" + rows(xs, cc(ys), sep=","),
        "in-question",
        question="decimal-comma-or-separator",
        also=["read"],
        runs=[spectrum(xs, ys)],
        ext="csv",
    )
    ys = band(xs, 211)
    case(
        "numbers/quoted-decimal-comma",
        "comma between, decimal comma inside quotes",
        '"Wellenlänge [nm]","Extinktion"\n' + "".join(f'"{x}","{c(y)}"\n' for x, y in zip(xs, ys)),
        ext="csv",
        runs=[spectrum(xs, ys)],
    )
    ys = band(xs, 212)
    case(
        "numbers/half-quoted-decimal-comma",
        "only the numbers with a decimal comma are quoted",
        "Wellenlänge [nm],Extinktion\n" + "".join(f'{x},"{c(y)}"\n' for x, y in zip(xs, ys)),
        ext="csv",
        runs=[spectrum(xs, ys)],
    )
    ys = band(fr, 213)
    case(
        "numbers/single-quotes",
        "numbers in single quotes",
        "'Wavelength (nm)';'Absorbance'\n" + "".join(f"'{x}';'{y}'\n" for x, y in zip(fr, ys)),
        ext="csv",
        runs=[spectrum(fr, ys)],
        also=["in-question"],
    )
    ys = band(fr, 214)
    case(
        "numbers/quote-in-head",
        "a quoted head with the separator and doubled quotes inside",
        '"Wavelength, in ""nm""","Absorbance, 1 cm"\n' + rows(fr, ys, sep=","),
        ext="csv",
        runs=[spectrum(fr, ys)],
    )
    ys = band(fr, 215)
    case(
        "numbers/formula-quotes",
        'each number written as ="..." to stop a spreadsheet from touching it',
        "Wavelength (nm),Absorbance\n" + "".join(f'="{x}",="{y}"\n' for x, y in zip(fr, ys)),
        ext="csv",
        runs=[spectrum(fr, ys)],
        also=["in-question", "refused"],
    )

    # Thousands marks.
    wn = steps("25000.0", "-500.0", 16)
    for name, mark, decimal, sep, title in [
        ("thousands-comma-point", ",", ".", "\t", "Wavenumber (cm-1)\tAbsorbance"),
        ("thousands-point-comma", ".", ",", ";", "Wellenzahl (cm-1);Extinktion"),
        ("thousands-blank-comma", " ", ",", "\t", "Nombre d'onde (cm-1)\tAbsorbance"),
        ("thousands-nbsp-comma", "\u00a0", ",", ";", "Nombre d'onde (cm-1);Absorbance"),
        ("thousands-apostrophe", "'", ".", ";", "Wellenzahl (cm-1);Extinktion"),
        ("thousands-typographic-apostrophe", "\u2019", ".", "\t", "Wellenzahl (cm-1)\tExtinktion"),
        ("thousands-quoted", ",", ".", ",", "Wavenumber (cm-1),Absorbance"),
    ]:
        ys = band(wn, name)
        written = [f"{x[:-5]}{mark}{x[-5:-2]}{decimal}{x[-1]}" for x in wn]
        if name == "thousands-quoted":
            written = [f'"{w}"' for w in written]
        case(
            f"numbers/{name}",
            "wavenumbers with marks between the thousands",
            title + "\n" + rows(written, ys if decimal == "." else cc(ys), sep=sep),
            ext="txt",
            runs=[run("spectrum", [trace(K(wn), A(ys))])],
        )
    wi = steps("25000", "-500", 16)
    ys = band(wi, 216)
    case(
        "numbers/thousands-comma-no-decimals",
        "25,000 beside 0.1234: the point is the decimal mark, so the comma marks thousands",
        "Wavenumber (cm-1)\tAbsorbance\n" + rows([f"{x[:-3]},{x[-3:]}" for x in wi], ys),
        also=["in-question"],
        runs=[run("spectrum", [trace(K(wi), A(ys))])],
        never=["25"],
    )
    ys = band(wi, 217)
    case(
        "numbers/thousands-point-no-decimals",
        "25.000 beside 0,1234: the comma is the decimal mark, so the point marks thousands",
        "Wellenzahl (cm-1)\tExtinktion\n" + rows([f"{x[:-3]}.{x[-3:]}" for x in wi], cc(ys)),
        also=["in-question"],
        runs=[run("spectrum", [trace(K(wi), A(ys))])],
        never=["25"],
    )
    ys = band(wi, 218, d=3)
    case(
        "numbers/thousands-comma-and-decimal-comma",
        "25,000 beside 0,123: one mark, two meanings; 25 per centimetre or 25 thousand",
        "Wavenumber (cm-1)\tAbsorbance\n" + rows([f"{x[:-3]},{x[-3:]}" for x in wi], cc(ys)),
        "in-question",
        question="decimal-comma-or-thousands",
        also=["refused"],
        either=[
            [run("spectrum", [trace(K(wi), A(ys))])],
            [run("spectrum", [trace(K([f"{x[:-3]}.{x[-3:]}" for x in wi]), A(ys))])],
        ],
    )
    tall = scaled(band(xs, 219, d=3), 1, 3)
    tall = [fixed(1.1 + float(y), 3) for y in tall]
    case(
        "numbers/three-decimals-comma",
        "400 TAB 1,234: all values have three places behind the comma, so thousands or decimals",
        "wavelength\tsignal\n" + rows(xs, cc(tall)),
        "in-question",
        question="decimal-comma-or-thousands",
        also=["refused"],
        either=[
            [run(None, [trace(W(xs), axis(None, None, tall))])],
            [run(None, [trace(W(xs), axis(None, None, [t.replace(".", "") for t in tall]))])],
        ],
    )
    case(
        "numbers/three-decimals-comma-decided",
        "the same, but a temperature of 25,5 °C in the head shows that the comma is the decimal mark",
        "Temperatur: 25,5 °C\nWellenlänge (nm)\tExtinktion\n" + rows(xs, cc(tall)),
        also=["in-question"],
        runs=[spectrum(xs, tall, {"temperature": q("25.5", "Cel")})],
        never=[tall[3].replace(".", "")],
    )
    some = put(tall, 4, "0.987")
    case(
        "numbers/three-decimals-comma-one-decides",
        "one value of 0,987 among the 1,234 shows that the comma is the decimal mark",
        "Wellenlänge (nm)\tExtinktion\n" + rows(xs, cc(some)),
        runs=[spectrum(xs, some)],
        also=["in-question"],
        never=[some[3].replace(".", "")],
    )

    # Exponents.
    small = [
        "1.2E-03",
        "3.4E-03",
        "8.1E-03",
        "2.2E-02",
        "9.9E-02",
        "1.5E-01",
        "4.0E-01",
        "8.8E-01",
        "1.1E+00",
        "7.0E-01",
    ]
    ex = steps("500", "5", 10)

    def expo(name, why, written, sep="\t", values=small, **more):
        x = more.pop("x", ex)
        head_ = more.pop("head", "Wavelength (nm){0}Absorbance\n")
        case(f"numbers/{name}", why, head_.format(sep) + rows(x, written, sep=sep), runs=[spectrum(x, values)], **more)

    expo("exponent-plain", "exponents with sign and two digits", small)
    expo(
        "exponent-lower",
        "lower-case e, one digit",
        ["1.2e-3", "3.4e-3", "8.1e-3", "2.2e-2", "9.9e-2", "1.5e-1", "4e-1", "8.8e-1", "1.1e0", "7e-1"],
    )
    expo("exponent-fortran-d", "D instead of E, as an old language wrote it", [s.replace("E", "D") for s in small])
    expo(
        "exponent-comma",
        "decimal comma and exponent",
        [c(s) for s in small],
        sep=";",
        head="Wellenlänge (nm){0}Extinktion\n",
    )
    expo("exponent-times-ten", "1.2*10^-3", [s.replace("E-0", "*10^-").replace("E+00", "*10^0") for s in small])
    expo(
        "exponent-x10",
        "1.2x10-3 without a caret",
        [s.replace("E-0", "x10-").replace("E+00", "x100") if "+" not in s else "1.1x10+0" for s in small],
        also=["in-question", "refused"],
    )
    expo(
        "exponent-times-sign",
        "1.2×10⁻³ with raised digits",
        [
            s.replace("E-03", "×10⁻³").replace("E-02", "×10⁻²").replace("E-01", "×10⁻¹").replace("E+00", "×10⁰")
            for s in small
        ],
        also=["in-question", "refused"],
    )
    expo(
        "exponent-blank",
        "a blank between number and exponent: 1.2 E-03, tab between the columns",
        [s.replace("E", " E") for s in small],
        also=["in-question", "refused"],
    )
    expo(
        "exponent-three-digits",
        "exponents of three digits without a letter: 1.2-003",
        [s.replace("E", "").replace("-0", "-00").replace("+00", "+000") for s in small],
        also=["in-question", "refused"],
    )
    expo(
        "exponent-fixed-wide",
        "mantissas below one, with exponents in both columns: 0.500E+03 0.12E-02",
        [
            "0.12E-02",
            "0.34E-02",
            "0.81E-02",
            "0.22E-01",
            "0.99E-01",
            "0.15E+00",
            "0.40E+00",
            "0.88E+00",
            "0.11E+01",
            "0.70E+00",
        ],
        sep="   ",
        x=[
            "0.500E+03",
            "0.505E+03",
            "0.510E+03",
            "0.515E+03",
            "0.520E+03",
            "0.525E+03",
            "0.530E+03",
            "0.535E+03",
            "0.540E+03",
            "0.545E+03",
        ],
    )
    ys = ["1.2", "1.3", "1.5", "1.4", "1.1", "0.9"]
    case(
        "numbers/exponent-in-unit",
        "the factor stands in the head: A x 10^3; the source's numbers must not pass as absorbance",
        "Wavelength (nm)\tA x 10^3\n" + rows(steps("500", "10", 6), ys),
        "in-question",
        question="scale-in-head",
        also=["read"],
        either=[
            [run("spectrum", [trace(W(steps("500", "10", 6)), axis(None, None, ys))])],
            [
                run(
                    "spectrum",
                    [trace(W(steps("500", "10", 6)), A(["0.0012", "0.0013", "0.0015", "0.0014", "0.0011", "0.0009"]))],
                )
            ],
        ],
    )

    # Signs and dots.
    small2 = ["-0.0012", "0.0034", "-0.0005", "0.0123", "0.0456", "0.1010", "0.2000", "0.1444", "0.0321", "-0.0020"]
    expo(
        "plus-signs",
        "every number carries its sign",
        [s if s[0] == "-" else "+" + s for s in small2],
        values=small2,
        x=["+" + x for x in ex],
    )
    expo(
        "leading-dot",
        "no zero before the point: .1234 and -.0012",
        [s.replace("0.", ".", 1) for s in small2],
        values=small2,
    )
    expo(
        "leading-comma",
        "no zero before the decimal comma: ,1234",
        [c(s.replace("0.", ".", 1)) for s in small2],
        values=small2,
        sep=";",
        head="Wellenlänge (nm){0}Extinktion\n",
        also=["in-question"],
    )
    expo("trailing-dot", "a point after whole wavelengths: 500.", small2, values=small2, x=[x + "." for x in ex])
    expo(
        "trailing-minus",
        "the minus sign stands behind the number: 0.0012-",
        [s[1:] + "-" if s[0] == "-" else s for s in small2],
        values=small2,
        also=["in-question"],
        never=["0.0012", "0.0005"],
    )
    expo("unicode-minus", "the true minus sign U+2212", [s.replace("-", "\u2212") for s in small2], values=small2)
    expo(
        "en-dash-minus",
        "an en dash where a minus belongs",
        [s.replace("-", "\u2013") for s in small2],
        values=small2,
        also=["in-question"],
        never=["0.0012", "0.0005"],
    )
    expo(
        "blank-after-minus",
        "a blank after the minus sign, tab between columns: `- 0.0012`",
        [s.replace("-", "- ") for s in small2],
        values=small2,
        also=["in-question"],
        never=["0.0012", "0.0005"],
    )
    expo(
        "parenthesised-negative",
        "negative values in parentheses as an office program shows them",
        ["(" + s[1:] + ")" if s[0] == "-" else s for s in small2],
        values=small2,
        also=["in-question"],
        never=["0.0012", "0.0005"],
    )
    expo("leading-zeros", "wavelengths with leading zeros: 0500", small2, values=small2, x=["0" + x for x in ex])
    expo(
        "many-decimals",
        "seventeen decimals as a program printed its doubles",
        [
            "0.10000000000000001",
            "0.20000000000000001",
            "0.29999999999999999",
            "0.40000000000000002",
            "0.5",
            "0.59999999999999998",
            "0.69999999999999996",
            "0.80000000000000004",
            "0.90000000000000002",
            "1",
        ],
        values=[
            "0.10000000000000001",
            "0.20000000000000001",
            "0.29999999999999999",
            "0.40000000000000002",
            "0.5",
            "0.59999999999999998",
            "0.69999999999999996",
            "0.80000000000000004",
            "0.90000000000000002",
            "1",
        ],
    )
    expo(
        "mixed-decimals",
        "trailing zeros cut off, so that the decimals differ line by line",
        ["0.1", "0.12", "0.123", "0.13", "0.2", "0.25", "0.3", "1", "0.9", "0.4"],
        values=["0.1", "0.12", "0.123", "0.13", "0.2", "0.25", "0.3", "1", "0.9", "0.4"],
    )
    expo(
        "mixed-decimals-comma",
        "trailing zeros cut off, decimal comma, so that one value is a bare 1",
        cc(["0.1", "0.12", "0.123", "0.13", "0.2", "0.25", "0.3", "1", "0.9", "0.4"]),
        sep=";",
        head="Wellenlänge (nm){0}Extinktion\n",
        values=["0.1", "0.12", "0.123", "0.13", "0.2", "0.25", "0.3", "1", "0.9", "0.4"],
    )
    expo(
        "middle-dot",
        "a raised dot as decimal mark: 0·1234",
        [s.replace(".", "\u00b7") for s in small2],
        values=small2,
        also=["in-question", "refused"],
    )
    expo(
        "arabic-decimal-digits",
        "digits of another script",
        ["".join(chr(0x660 + int(ch)) if ch.isdigit() else ch for ch in s) for s in small2],
        values=small2,
        also=["in-question", "refused"],
    )
    expo(
        "fullwidth-digits",
        "full-width digits from an East Asian keyboard",
        ["".join(chr(0xFF10 + int(ch)) if ch.isdigit() else ch for ch in s) for s in small2],
        values=small2,
        also=["in-question", "refused"],
    )
    expo(
        "letter-o-for-zero",
        "two values have the letter O typed for zero",
        put(put(small2, 3, "O.0123"), 6, "0.2O00"),
        values=put(put(small2, 3, None), 6, None),
        absent=2,
        also=["in-question", "refused"],
        never=["0.2"],
    )


# ---------------------------------------------------------------- overflow, missing, saturated


def group_markers():
    xs = steps("300", "5", 17)
    over = "overflow|over range|over-range|above range|out of range|saturat|absent|missing|marker"

    def mark(name, why, word, at=(6, 7), sep="\t", decimal=".", ext="txt", null=True, **more):
        ys = band(xs, "m" + name)
        truth = put(ys, list(at), None) if null else ys
        written = put(ys, list(at), word)
        if decimal == ",":
            written = [c(y) if i not in at else word for i, y in enumerate(ys)]
        head = ("Wellenlänge (nm)", "Extinktion") if decimal == "," else ("Wavelength (nm)", "Absorbance")
        case(
            f"markers/{name}",
            why,
            head[0] + sep + head[1] + "\n" + rows(xs, written, sep=sep),
            ext=ext,
            runs=[spectrum(xs, truth)],
            absent=len(at),
            remarks=[over],
            **more,
        )

    mark("over", "OVER in place of two values", "OVER")
    mark("over-blanks", "OVER in place of values, blanks between the columns", "OVER", sep="   ")
    mark("ovrflw", "OVRFLW in place of values", "OVRFLW", sep=",", ext="csv")
    mark("above-limit", ">3.5 in place of values: a limit, not a value", ">3.5", never=["3.5"])
    mark("above-limit-blank", "> 3.5 with a blank, in a table separated by tabs", "> 3.5", never=["3.5"])
    mark("above-limit-comma", ">3,5 among decimal commas", ">3,5", sep=";", decimal=",", never=["3.5", "35"])
    mark("below-limit", "<0.001 in place of small values", "<0.001", at=(0, 1, 16), never=["0.001"])
    mark("stars", "**** where a number did not fit its columns", "******", sep="  ")
    mark("dashes", "--- in place of values", "---")
    mark("one-dash", "a single dash in place of values", "-", sep=";", ext="csv")
    mark("nan", "NaN in place of values", "NaN", sep=",", ext="csv")
    mark("nan-old-runtime", "1.#QNAN as an old runtime wrote it", "1.#QNAN", never=["1"])
    mark("infinity-old-runtime", "1.#INF as an old runtime wrote it", "1.#INF", never=["1"])
    mark("inf", "Inf in place of values (nothing came through)", "Inf", sep=",", ext="csv")
    mark("not-available", "n/a in place of values", "n/a")
    mark("hash-na", "#N/A as an office program writes it", "#N/A", sep=",", ext="csv")
    mark("hash-only", "### where a column was too narrow; the hash is no remark here", "#####", sep=";", ext="csv")
    mark("division-error", "#DIV/0! from an office program", "#DIV/0!", sep="\t")
    mark("question-mark", "? in place of values", "?")
    mark("dot", "a single point in place of values, as statistics programs write", ".", sep="\t")
    mark("empty-cells", "empty cells, comma between", "", sep=",", ext="csv")
    ys = band(xs, "short rows")
    case(
        "markers/short-rows",
        "rows without a value end after the first number, without a separator",
        "Wavelength (nm);Absorbance\n"
        + "".join(f"{x}\n" if i in (6, 7) else f"{x};{y}\n" for i, (x, y) in enumerate(zip(xs, ys))),
        ext="csv",
        runs=[spectrum(xs, put(ys, [6, 7], None))],
        absent=2,
        also=["in-question"],
    )
    mark("german-overflow", "the word for overflow in German", "ÜBERLAUF", sep=";", decimal=",")
    mark("french-out-of-range", "hors gamme in place of values", "hors gamme", sep=";", decimal=",")
    mark("no-data-german", "k. A. (no statement) in place of values", "k. A.", sep=";", decimal=",")
    mark("first-and-last-row", "the marker stands in the first and the last row", "OVER", at=(0, 16))
    mark("null-word", "NULL from a database", "NULL", sep=",", ext="csv")
    mark("minus-nine", "-9.999 stands for no value", "-9.999", also=["in-question"], never=["-9.999"])
    mark(
        "nines",
        "9.9999 repeated stands for overflow",
        "9.9999",
        at=(5, 6, 7, 8),
        also=["in-question"],
        never=["9.9999"],
    )
    mark(
        "nines-comma",
        "9,9999 repeated stands for overflow, decimal comma",
        "9,9999",
        at=(5, 6, 7),
        sep=";",
        decimal=",",
        also=["in-question"],
        never=["9.9999", "99999"],
    )
    mark("minus-ninety-nine", "-99 stands for no value", "-99", also=["in-question"], never=["-99"])
    mark("huge", "1.0E+38 stands for no value", "1.0E+38", also=["in-question"], never=["1e38"])

    ys = band(xs, "declared")
    case(
        "markers/declared-sentinel",
        "the head declares which number means no value",
        "Sample: rutin\nMissing values are written as 8.888\n\nWavelength (nm)\tAbsorbance\n"
        + rows(xs, put(ys, [3, 9], "8.888")),
        runs=[spectrum(xs, put(ys, [3, 9], None), {"sample": "rutin"})],
        absent=2,
        also=["in-question"],
        never=["8.888"],
    )
    flat = [
        "0.512",
        "0.948",
        "1.733",
        "2.611",
        "3.000",
        "3.000",
        "3.000",
        "3.000",
        "3.000",
        "2.702",
        "1.811",
        "0.922",
        "0.410",
    ]
    x = steps("250", "4", 13)
    case(
        "markers/flat-top",
        "the curve is cut off at 3.000: the numbers are as written, but saturated",
        "Wavelength (nm)\tAbsorbance\n" + rows(x, flat),
        runs=[spectrum(x, flat)],
        remarks=["saturat|flat|clipp|cut off|plateau"],
    )
    case(
        "markers/flat-top-comma",
        "the curve is cut off at 4,000 with decimal commas",
        "Wellenlänge/nm;Extinktion\n" + rows(x, [c(v).replace("3,000", "4,000") for v in flat], sep=";"),
        ext="csv",
        runs=[spectrum(x, [v.replace("3.000", "4.000") for v in flat])],
        remarks=["saturat|flat|clipp|cut off|plateau"],
    )
    ts = steps("0", "10", 14)
    rising = [
        "0.310",
        "0.842",
        "1.390",
        "1.902",
        "2.377",
        "2.806",
        "3.184",
        "3.480",
        "3.500",
        "3.500",
        "3.500",
        "3.500",
        "3.500",
        "3.500",
    ]
    case(
        "markers/flat-top-kinetics",
        "a rising course runs into the limit of 3.500",
        "Wavelength: 340 nm\nTime (s)\tAbsorbance\n" + rows(ts, rising),
        runs=[course(ts, rising, nm="340")],
        remarks=["saturat|flat|clipp|cut off|plateau"],
    )
    ys = band(xs, "flag")
    case(
        "markers/starred-values",
        "two values carry a star, explained below the table as above the linear range",
        "Wavelength (nm)\tAbsorbance\n"
        + rows(xs, put(put(ys, 5, ys[5] + "*"), 6, ys[6] + "*"))
        + "* above linear range\n",
        also=["in-question"],
        either=[[spectrum(xs, ys)], [spectrum(xs, put(ys, [5, 6], None))]],
    )
    ys = band(xs, "flag2")
    case(
        "markers/flag-column",
        "a third column holds a letter of state behind some values",
        "Wavelength (nm)\tAbsorbance\tState\n"
        + rows(xs, ys, put(put([""] * 17, 4, "S"), 5, "S"))
        + "\nS = stray light limit exceeded\n",
        runs=[spectrum(xs, ys)],
        also=["in-question"],
    )
    y1, y2 = band(xs, "gap1"), band(xs, "gap2")
    lines = f"{'nm':>6}{'tube 1':>10}{'tube 2':>10}\n"
    for i in range(17):
        lines += f"{xs[i]:>6}{('' if i in (4, 5) else y1[i]):>10}{y2[i]:>10}\n"
    case(
        "markers/blank-cell-fixed-columns",
        "fixed columns, and a cell in the middle is just blank: the next column must not slide to the left",
        "Absorbance of two tubes\n" + lines,
        also=["in-question", "refused"],
        absent=2,
        runs=[run("spectrum", [trace(W(xs), A(put(y1, [4, 5], None)), "tube 1"), trace(W(xs), A(y2), "tube 2")])],
    )
    y1, y2 = band(xs, "gap3"), band(xs, "gap4")
    case(
        "markers/empty-middle-cells",
        "an empty cell in a middle column, tabs between",
        "Wavelength (nm)\ttube 1 (A)\ttube 2 (A)\n" + rows(xs, put(y1, [4, 5], None), y2),
        absent=2,
        runs=[run("spectrum", [trace(W(xs), A(put(y1, [4, 5], None)), "tube 1"), trace(W(xs), A(y2), "tube 2")])],
    )
    y1 = band(xs, "allover")
    case(
        "markers/whole-column-absent",
        "one column holds nothing but OVER",
        "Wavelength (nm);A cuvette 1;A cuvette 2\n" + rows(xs, y1, ["OVER"] * 17, sep=";"),
        ext="csv",
        absent=17,
        runs=[
            run(
                "spectrum", [trace(W(xs), A(y1), "cuvette 1"), trace(W(xs), A([None] * 17), "cuvette 2", optional=True)]
            )
        ],
    )
    ts = steps("0", "20", 12)
    y1 = rise(ts, "lost")
    x2 = put(ts, 5, "---")
    case(
        "markers/lost-x",
        "one time is lost, its absorbance is there: the point cannot be placed",
        "Time (s)\tAbsorbance\n" + rows(x2, y1),
        also=["in-question"],
        absent=1,
        either=[[course(put(ts, 5, None), y1)], [course(ts[:5] + ts[6:], y1[:5] + y1[6:])]],
    )
    ys = band(xs, "mixedm")
    w = list(ys)
    for i, word in [(2, "OVER"), (5, "---"), (6, ""), (9, "n.d."), (12, ">4.0")]:
        w[i] = word
    case(
        "markers/several-kinds",
        "five kinds of markers in one table",
        "Wavelength (nm)\tAbsorbance\n" + rows(xs, w),
        runs=[spectrum(xs, put(ys, [2, 5, 6, 9, 12], None))],
        absent=5,
        never=["4"],
    )
    ys = band(xs, "units in marker")
    case(
        "markers/over-with-unit",
        "OVER A, with the unit after the marker and after every value",
        "Wavelength\tAbsorbance\n" + rows([x + " nm" for x in xs], [y + " A" for y in put(ys, 4, "OVER")]),
        runs=[spectrum(xs, put(ys, 4, None))],
        absent=1,
    )


# ---------------------------------------------------------------- shapes


def group_shapes():
    xs = steps("420", "15", 13)
    ts = steps("0", "15", 13)
    n = len(xs)

    ys = band(xs, 301)
    case(
        "shapes/x-y",
        "wavelength first, absorbance second",
        "Wavelength (nm),Absorbance\n" + rows(xs, ys, sep=","),
        ext="csv",
        runs=[spectrum(xs, ys)],
    )
    ys = band(xs, 302)
    case(
        "shapes/y-before-x",
        "absorbance first, wavelength second",
        "Absorbance,Wavelength (nm)\n" + rows(ys, xs, sep=","),
        ext="csv",
        runs=[spectrum(xs, ys)],
    )
    ys = rise(ts, 303)
    case(
        "shapes/y-before-t",
        "absorbance first, time second, decimal comma",
        "Extinktion;Zeit (s)\n" + rows(cc(ys), ts, sep=";"),
        ext="csv",
        runs=[course(ts, ys)],
    )
    ys = band(xs, 304)
    idx = [str(i + 1) for i in range(n)]
    case(
        "shapes/index-column",
        "a counting column in front",
        "No.\tWavelength (nm)\tAbsorbance\n" + rows(idx, xs, ys),
        runs=[spectrum(xs, ys)],
    )
    ys = band(xs, 305)
    case(
        "shapes/index-column-unnamed",
        "a counting column without a name, from 0, as data-frame programs write it",
        ",Wavelength (nm),Absorbance\n" + rows([str(i) for i in range(n)], xs, ys, sep=","),
        ext="csv",
        runs=[spectrum(xs, ys)],
    )
    ys = band(xs, 306)
    case(
        "shapes/index-column-missing-head",
        "the counting column has no head at all: two names over three columns",
        "Wavelength(nm) Absorbance\n" + rows(idx, xs, ys, sep=" "),
        runs=[spectrum(xs, ys)],
        also=["in-question", "refused"],
    )
    labels = ["beet 1", "beet 2", "beet 3", "blank"]
    yy = [band(xs, f"307{i}") for i in range(4)]
    case(
        "shapes/one-x-many-y",
        "one wavelength column and four samples, no word tells what was measured",
        "Wavelength (nm)\t" + "\t".join(labels) + "\n" + rows(xs, *yy),
        "in-question",
        also=["read"],
        question="absorbance-or-transmittance",
        runs=[run("spectrum", [trace(W(xs), axis(None, None, y), k) for k, y in zip(labels, yy)])],
    )
    yy = [band(xs, f"308{i}") for i in range(4)]
    case(
        "shapes/one-x-many-y-words",
        "one wavelength column, four samples, absorbance told in the title",
        "Absorbance of four extracts\nWavelength (nm),beet 1,beet 2,beet 3,blank\n" + rows(xs, *yy, sep=","),
        ext="csv",
        runs=[run("spectrum", [trace(W(xs), A(y), k) for k, y in zip(labels, yy)])],
    )
    yy = [band(xs, f"309{i}") for i in range(12)]
    wells = [f"tube {i + 1}" for i in range(12)]
    case(
        "shapes/twelve-y",
        "one wavelength column and twelve tubes, decimal comma",
        "Extinktion\nWellenlänge (nm);" + ";".join(wells) + "\n" + rows(cc(xs), *[cc(y) for y in yy], sep=";"),
        ext="csv",
        runs=[run("spectrum", [trace(W(xs), A(y), k) for k, y in zip(wells, yy)])],
    )
    yy = [rise(ts, f"310{i}") for i in range(3)]
    case(
        "shapes/time-many-y",
        "three cuvettes over one time column, wavelength in the head",
        "Kinetics at 405 nm\nTime (s)\tA cuvette 1\tA cuvette 2\tA cuvette 3\n" + rows(ts, *yy),
        runs=[run("time-course", [trace(T(ts), A(y), f"cuvette {i + 1}", [at_nm("405")]) for i, y in enumerate(yy)])],
    )
    yy = [rise(ts, f"311{i}") for i in range(3)]
    case(
        "shapes/time-three-wavelengths",
        "three wavelengths over one time column: A340, A405, A600",
        "time (s),A340,A405,A600\n" + rows(ts, *yy, sep=","),
        ext="csv",
        runs=[run("time-course", [trace(T(ts), A(y), None, [at_nm(w)]) for w, y in zip(["340", "405", "600"], yy)])],
    )
    a, b = steps("420", "15", 13), steps("400", "10", 17)
    y1, y2 = band(a, 312), band(b, 313)
    case(
        "shapes/pairs-unequal",
        "two pairs of columns of unequal length",
        "Wavelength (nm)\tsample A (Abs)\tWavelength (nm)\tsample B (Abs)\n" + rows(a, y1, b, y2),
        runs=[run("spectrum", [trace(W(a), A(y1), "sample A"), trace(W(b), A(y2), "sample B")])],
        **{"runs_may_be_split": True},
    )
    y1, y2 = band(a, 314), band(b, 315)
    case(
        "shapes/pairs-unequal-ragged",
        "two pairs of columns of unequal length, short rows at the end, longer pair first, decimal comma",
        "nm;Ext.;nm;Ext.\n"
        + "".join(
            ";".join([c(b[i]), c(y2[i])] + ([c(a[i]), c(y1[i])] if i < len(a) else [])) + "\n" for i in range(len(b))
        ),
        ext="csv",
        runs=[run("spectrum", [trace(W(b), A(y2)), trace(W(a), A(y1))])],
        **{"runs_may_be_split": True},
    )
    y1, y2 = band(a, 316), band(a, 317)
    case(
        "shapes/pairs-names-above",
        "sample names stand over pairs of columns, in a row of their own",
        "crocin,,safranal,\nnm,A,nm,A\n" + rows(a, y1, a, y2, sep=","),
        ext="csv",
        runs=[run("spectrum", [trace(W(a), A(y1), "crocin"), trace(W(a), A(y2), "safranal")])],
        **{"runs_may_be_split": True},
    )
    y1, y2, y3 = band(a, 318), band(b, 319), band(xs, 320)
    case(
        "shapes/three-pairs-blank-column",
        "three pairs with an empty column between",
        "nm\tAbs\t\tnm\tAbs\t\tnm\tAbs\n" + rows(a, y1, [""] * 17, b, y2, [""] * 17, xs, y3),
        runs=[run("spectrum", [trace(W(a), A(y1)), trace(W(b), A(y2)), trace(W(xs), A(y3))])],
        **{"runs_may_be_split": True},
    )
    yy = [band(xs, f"321{i}") for i in range(3)]
    names = ["day 1", "day 2", "day 3"]
    case(
        "shapes/spectra-as-rows",
        "each spectrum is a row, the wavelengths stand in the head",
        "Wavelength (nm),"
        + ",".join(xs)
        + "\n"
        + "".join(f"{k} (Abs)," + ",".join(y) + "\n" for k, y in zip(names, yy)),
        ext="csv",
        runs=[run("spectrum", [trace(W(xs), A(y), k) for k, y in zip(names, yy)])],
    )
    yy = [band(xs, f"322{i}") for i in range(3)]
    case(
        "shapes/spectra-as-rows-units-in-cells",
        "each spectrum is a row, the heads read 420 nm, 435 nm",
        "Absorbance\nsample\t"
        + "\t".join(x + " nm" for x in xs)
        + "\n"
        + "".join(f"{k}\t" + "\t".join(y) + "\n" for k, y in zip(names, yy)),
        runs=[run("spectrum", [trace(W(xs), A(y), k) for k, y in zip(names, yy)])],
    )
    yy = [band(xs, f"323{i}") for i in range(3)]
    case(
        "shapes/spectra-as-rows-comma",
        "spectra as rows with decimal commas",
        "Extinktion;Wellenlänge in nm\nProbe;"
        + ";".join(cc(xs))
        + "\n"
        + "".join(f"P{i};" + ";".join(cc(y)) + "\n" for i, y in enumerate(yy)),
        ext="csv",
        runs=[run("spectrum", [trace(W(xs), A(y), f"P{i}") for i, y in enumerate(yy)])],
    )
    times = ["0", "30", "60", "120", "300"]
    yy = fade(xs, 324, 5)

    def scans(tt, unit, wl, mats):
        return run(
            "spectral-time-course", [trace(W(wl), A(m), None, [held("time", unit, t)]) for t, m in zip(tt, mats)]
        )

    case(
        "shapes/matrix-wavelength-down",
        "wavelength down, time across, units in the corner",
        "Absorbance of one sample\nWavelength (nm) / Time (s)\t" + "\t".join(times) + "\n" + rows(xs, *yy),
        runs=[scans(times, "s", xs, yy)],
        also=["in-question"],
    )
    yy = fade(xs, 325, 5)
    case(
        "shapes/matrix-time-down",
        "time down, wavelength across; the truth is given as traces over wavelength",
        "Absorbance\nTime (s)\\Wavelength (nm),"
        + ",".join(xs)
        + "\n"
        + rows(times, *[[m[i] for m in yy] for i in range(n)], sep=","),
        ext="csv",
        runs=[scans(times, "s", xs, yy)],
        also=["in-question"],
    )
    yy = fade(xs, 326, 5)
    case(
        "shapes/matrix-heads-with-units",
        "wavelength down, the time heads read 0 s, 30 s",
        "Absorbance\nnm;" + ";".join(t + " s" for t in times) + "\n" + rows(xs, *yy, sep=";"),
        ext="csv",
        runs=[scans(times, "s", xs, yy)],
    )
    yy = fade(xs, 327, 5)
    case(
        "shapes/matrix-comma",
        "wavelength down, minutes across with decimal commas",
        "Extinktion, Spalten: Zeit in min, Zeilen: Wellenlänge in nm\n\t"
        + "\t".join(["0,0", "0,5", "1,0", "2,5", "5,0"])
        + "\n"
        + rows(cc(steps("420.0", "15.0", 13)), *[cc(m) for m in yy]),
        runs=[scans(["0.0", "0.5", "1.0", "2.5", "5.0"], "min", xs, yy)],
        also=["in-question"],
    )
    yy = fade(xs, 328, 5)
    case(
        "shapes/matrix-no-words",
        "a matrix of numbers with a blank corner and no words at all",
        "\t" + "\t".join(times) + "\n" + rows(xs, *yy),
        "in-question",
        question="axis-unknown",
        also=["refused"],
        either=[
            [run(None, [trace(axis(None, None, xs), axis(None, None, m)) for m in yy])],
            [run(None, [trace(axis(None, None, times), axis(None, None, [m[i] for m in yy])) for i in range(n)])],
        ],
    )
    yy = fade(xs, 329, 5)
    case(
        "shapes/matrix-time-row-named",
        "the row of times has a name of its own under the sample heads",
        "scan\t1\t2\t3\t4\t5\ntime/min\t"
        + "\t".join(["0", "2", "4", "8", "16"])
        + "\nlambda/nm\tA\tA\tA\tA\tA\n"
        + rows(xs, *yy),
        runs=[scans(["0", "2", "4", "8", "16"], "min", xs, yy)],
        also=["in-question"],
    )
    # Long form.
    smp = ["leaf", "stem"]
    tl = ["0", "60", "120", "180", "240"]
    yl = [rise(tl, "330a"), rise(tl, "330b")]
    case(
        "shapes/long-sample-time",
        "long form: a row for each observation of two samples over time",
        "sample,time_s,absorbance\n" + "".join(f"{s},{t},{y}\n" for s, col in zip(smp, yl) for t, y in zip(tl, col)),
        ext="csv",
        runs=[run("time-course", [trace(T(tl), A(col), s) for s, col in zip(smp, yl)])],
        **{"runs_may_be_split": True},
    )
    yl = [rise(tl, "331a"), rise(tl, "331b")]
    case(
        "shapes/long-interleaved",
        "long form, the two samples by turns",
        "sample,time_s,absorbance\n"
        + "".join(f"{s},{t},{col[i]}\n" for i, t in enumerate(tl) for s, col in zip(smp, yl)),
        ext="csv",
        runs=[run("time-course", [trace(T(tl), A(col), s) for s, col in zip(smp, yl)])],
        **{"runs_may_be_split": True},
    )
    wl = steps("450", "25", 5)
    yl = fade(wl, 332, 5)
    case(
        "shapes/long-time-wavelength",
        "long form: time, wavelength, absorbance",
        "time (min)\twavelength (nm)\tabsorbance\n"
        + "".join(
            f"{t}\t{w}\t{col[j]}\n" for t, col in zip(["0", "5", "10", "15", "20"], yl) for j, w in enumerate(wl)
        ),
        runs=[scans(["0", "5", "10", "15", "20"], "min", wl, yl)],
    )
    yl = [band(wl, f"333{i}") for i in range(3)]
    case(
        "shapes/long-sample-wavelength",
        "long form: sample, wavelength, absorbance with decimal comma",
        "Probe;Wellenlänge (nm);Extinktion\n"
        + "".join(f"{s};{w};{c(col[j])}\n" for s, col in zip(["P1", "P2", "P3"], yl) for j, w in enumerate(wl)),
        ext="csv",
        runs=[run("spectrum", [trace(W(wl), A(col), s) for s, col in zip(["P1", "P2", "P3"], yl)])],
        **{"runs_may_be_split": True},
    )
    yl = [[rise(tl, f"334{i}{j}") for j in range(2)] for i in range(2)]
    case(
        "shapes/long-sample-time-wavelength",
        "long form with sample, wavelength and time columns: two samples at two wavelengths",
        "sample,wavelength_nm,time_s,A\n"
        + "".join(
            f"{s},{w},{t},{yl[i][j][k]}\n"
            for i, s in enumerate(smp)
            for j, w in enumerate(["340", "405"])
            for k, t in enumerate(tl)
        ),
        ext="csv",
        runs=[
            run(
                "time-course",
                [
                    trace(T(tl), A(yl[i][j]), s, [at_nm(w)])
                    for i, s in enumerate(smp)
                    for j, w in enumerate(["340", "405"])
                ],
            )
        ],
        also=["in-question"],
        **{"runs_may_be_split": True},
    )
    # Single readings.
    tubes = ["S0", "S1", "S2", "S3", "P1", "P2"]
    ra = ["0.003", "0.121", "0.242", "0.480", "0.305", "0.311"]
    rb = ["0.002", "0.061", "0.118", "0.233", "0.150", "0.149"]
    ix = [str(i + 1) for i in range(6)]

    def reading(values, nm, label=None):
        return trace(axis("index", "1", ix), A(values), label, [at_nm(nm)], row_names=tubes)

    case(
        "shapes/single-readings",
        "one reading a sample at one wavelength: sample, A405",
        "sample,A405\n" + rows(tubes, ra, sep=","),
        ext="csv",
        runs=[run("fixed-wavelength", [reading(ra, "405")])],
    )
    case(
        "shapes/single-readings-two",
        "one reading a sample at two wavelengths, decimal comma",
        "Probe;E405;E600\n" + rows(tubes, cc(ra), cc(rb), sep=";"),
        ext="csv",
        runs=[run("fixed-wavelength", [reading(ra, "405"), reading(rb, "600")])],
        also=["in-question"],
    )
    case(
        "shapes/single-readings-head",
        "one reading a sample, the wavelength stands in the head",
        "Wavelength: 595 nm\nNo.\tSample\tAbsorbance\n" + rows(ix, tubes, ra),
        runs=[run("fixed-wavelength", [reading(ra, "595")])],
    )
    # Several tables.
    y1, y2 = band(xs, 340), band(xs, 341)
    one = "Sample: fresh\nWavelength (nm)\tAbsorbance\n" + rows(xs, y1)
    two = "Sample: aged\nWavelength (nm)\tAbsorbance\n" + rows(xs, y2)
    both = [spectrum(xs, y1, {"sample": "fresh"}), spectrum(xs, y2, {"sample": "aged"})]
    case("shapes/two-tables", "two tables with heads of their own, a blank line between", one + "\n" + two, runs=both)
    case("shapes/two-tables-no-gap", "two tables with heads of their own, nothing between", one + two, runs=both)
    case("shapes/two-tables-ruler", "two tables, a line of dashes between", one + "-" * 40 + "\n" + two, runs=both)
    y1, y2 = band(xs, 342), rise(ts, 343)
    case(
        "shapes/spectrum-then-kinetics",
        "a spectrum and then a time course in one file",
        "Wavelength (nm),Absorbance\n"
        + rows(xs, y1, sep=",")
        + "\nTime (s),Absorbance at 480 nm\n"
        + rows(ts, y2, sep=","),
        ext="csv",
        runs=[spectrum(xs, y1), course(ts, y2, nm="480")],
    )
    y1, y2 = band(xs, 344), rise(ts, 345)
    case(
        "shapes/side-by-side-different",
        "a spectrum and a time course side by side, an empty column between",
        "Wavelength (nm),Absorbance,,Time (s),Absorbance\n" + rows(xs, y1, [""] * n, ts, y2, sep=","),
        ext="csv",
        runs=[spectrum(xs, y1), course(ts, y2)],
        also=["in-question"],
    )
    y1, y2 = band(xs, 346), band(xs, 347)
    left = ["Sample: left", "nm   Abs"] + [f"{x} {y}" for x, y in zip(xs, y1)]
    right = ["Sample: right", "nm   Abs"] + [f"{x} {y}" for x, y in zip(xs, y2)]
    case(
        "shapes/side-by-side-with-heads",
        "two reports printed side by side in fixed columns, each with its own head",
        "".join(f"{a_:<30}{b_}\n" for a_, b_ in zip(left, right)),
        also=["in-question", "refused"],
        ext="prn",
        runs=[spectrum(xs, y1, {"sample": "left"}), spectrum(xs, y2, {"sample": "right"})],
    )
    # Order of x.
    down = list(reversed(steps("350.0", "12.5", 17)))
    ys = band(down, 350)
    case(
        "shapes/x-falling",
        "the scan runs down",
        "Wavelength (nm)\tAbsorbance\n" + rows(down, ys),
        runs=[spectrum(down, ys)],
    )
    odd = ["400.0", "401.0", "403.5", "410.0", "411.2", "425.0", "450.0", "500.0", "501.0", "502.0"]
    ys = band(odd, 351)
    case("shapes/x-uneven", "uneven steps", "Wavelength (nm)\tAbsorbance\n" + rows(odd, ys), runs=[spectrum(odd, ys)])
    rep = ["450", "450", "450", "500", "500", "500", "550", "550", "550", "600", "600", "600"]
    ys = band(rep, 352)
    case(
        "shapes/x-repeated",
        "three readings at each wavelength",
        "Wavelength (nm)\tAbsorbance\n" + rows(rep, ys),
        runs=[spectrum(rep, ys)],
        also=["in-question"],
    )
    zig = steps("500", "10", 8) + list(reversed(steps("500", "10", 8)))
    ys = band(zig, 353)
    case(
        "shapes/x-up-and-down",
        "the scan runs up and then down again in one table",
        "Wavelength (nm)\tAbsorbance\n" + rows(zig, ys),
        also=["in-question"],
        either=[
            [spectrum(zig, ys)],
            [spectrum(zig[:8], ys[:8]), spectrum(zig[8:], ys[8:])],
            [run("spectrum", [trace(W(zig[:8]), A(ys[:8])), trace(W(zig[8:]), A(ys[8:]))])],
        ],
    )
    wn = steps("30000", "-1000", 15)
    ys = band(wn, 354)
    case(
        "shapes/wavenumber",
        "wavenumbers instead of wavelengths",
        "Wavenumber (cm^-1)\tAbsorbance\n" + rows(wn, ys),
        runs=[run("spectrum", [trace(K(wn), A(ys))])],
    )
    ys = band(xs, 355)
    pt = percent(ys)
    case(
        "shapes/percent-transmittance",
        "percent transmittance instead of absorbance",
        "Wavelength (nm)\t%T\n" + rows(xs, pt),
        runs=[run("spectrum", [trace(W(xs), P(pt))])],
    )
    tf = [fixed(float(p) / 100, 4) for p in pt]
    case(
        "shapes/fraction-transmittance",
        "transmittance as a fraction, said so in the head",
        "Wavelength (nm)\tTransmittance (fraction 0-1)\n" + rows(xs, tf),
        runs=[run("spectrum", [trace(W(xs), P(tf, "1"))])],
        also=["in-question"],
    )
    ys = band(xs, 356)
    pt = percent(ys)
    case(
        "shapes/absorbance-and-transmittance",
        "absorbance and percent transmittance side by side",
        "Wavelength (nm),Abs,%T\n" + rows(xs, ys, pt, sep=","),
        ext="csv",
        runs=[run("spectrum", [trace(W(xs), A(ys)), trace(W(xs), P(pt))])],
    )
    one_row = ["340", "0.4127"]
    case(
        "shapes/one-row",
        "a table of a single row",
        "Wavelength (nm)\tAbsorbance\n" + "\t".join(one_row) + "\n",
        also=["in-question"],
        either=[
            [run(None, [trace(W(["340"]), A(["0.4127"]))])],
            [run("fixed-wavelength", [trace(axis("index", "1", ["1"]), A(["0.4127"]), None, [at_nm("340")])])],
        ],
    )
    ys = band(xs[:3], 357)
    case(
        "shapes/three-rows",
        "a table of three rows",
        "Wavelength (nm)\tAbsorbance\n" + rows(xs[:3], ys),
        runs=[spectrum(xs[:3], ys)],
    )
    case(
        "shapes/no-rows",
        "head and metadata are there, the table is empty",
        "Sample: betanin\nWavelength (nm)\tAbsorbance\n",
        "refused",
        also=["in-question"],
    )
    e = ["1.77", "1.91", "2.07", "2.25", "2.48", "2.76", "3.10"]
    ys = band(e, 358)
    case(
        "shapes/photon-energy",
        "the x axis is photon energy in eV: not a wavelength",
        "Energy (eV)\tAbsorbance\n" + rows(e, ys),
        also=["in-question"],
        runs=[run("spectrum", [trace(axis(None, "eV", e), A(ys))])],
    )
    um = ["0.40", "0.45", "0.50", "0.55", "0.60", "0.65", "0.70"]
    ys = band(um, 359)
    case(
        "shapes/wavelength-micrometre",
        "wavelength in micrometres",
        "Wavelength (µm)\tAbsorbance\n" + rows(um, ys),
        runs=[run("spectrum", [trace(W(um, "um"), A(ys))])],
    )
    ang = steps("4000", "250", 9)
    ys = band(ang, 360)
    case(
        "shapes/wavelength-angstrom",
        "wavelength in angstrom: 4000 is not 4000 nm",
        "Wavelength (Å)\tAbsorbance\n" + rows(ang, ys),
        also=["in-question"],
        runs=[run("spectrum", [trace(W(ang, "Ao"), A(ys))])],
    )


# ---------------------------------------------------------------- heads


def group_heads():
    xs = steps("380", "20", 12)
    ts = steps("0.0", "0.5", 12)

    def head(name, why, top, sep="\t", x=xs, unit=None, decimal=".", **more):
        ys = band(x, "h" + name) if unit is None else rise(x, "h" + name)
        cols = (x, ys) if decimal == "." else (cc(x), cc(ys))
        nm = more.pop("nm", None)
        r = spectrum(x, ys) if unit is None else course(x, ys, unit=unit, nm=nm)
        case(f"heads/{name}", why, top + "\n" + rows(*cols, sep=sep), runs=[r], **more)

    head("brackets", "units in square brackets", "Wavelength [nm]\tAbsorbance [AU]")
    head("comma-unit", "units after a comma, tabs between", "Wavelength, nm\tAbsorbance, AU")
    head(
        "comma-unit-comma-table",
        "units after a comma in a table separated by commas: four pieces over two columns",
        "Wavelength, nm, Absorbance, AU",
        sep=",",
        also=["in-question"],
    )
    head("slash-unit", "units after a slash", "lambda/nm\tA/1")
    head("slash-unit-time", "minutes after a slash", "t/min\tA(405 nm)", x=ts, unit="min", nm="405")
    head("glued", "units glued to the names", "Wavelengthnm\tAbsorbanceAU", also=["in-question"])
    head(
        "glued-wavelength",
        "the wavelength is glued to the name of the value",
        "Time(s)\tAbs405nm",
        x=ts,
        unit="s",
        nm="405",
    )
    head("greek", "a Greek letter for the wavelength", "λ [nm]\tA")
    head("lambda-word", "the Greek letter as a word", "lambda [nm];Ext.", sep=";")
    head("subscript", "A with the wavelength lowered", "t [s]\tA₃₄₀", x=ts, unit="s", nm="340", also=["in-question"])
    head("underscore", "underscores as in variable names", "wavelength_nm,absorbance_au", sep=",")
    head("camel", "names as a programmer writes them", "wavelengthNm,absorbance", sep=",")
    head("upper", "all in capitals, right-aligned", "  WAVELENGTH(NM)   ABSORBANCE(ABS)", sep="     ")
    head("units-row", "units in a row of their own", "Wavelength\tAbsorbance\nnm\tAU")
    head("units-row-brackets", "units in brackets in a row of their own", "Wavelength\tAbsorbance\n[nm]\t[-]")
    head("units-row-before-names", "the units stand above the names", "nm\tAU\nWavelength\tAbsorbance")
    head("two-row-names", "the name is broken over two rows", "Wave-\tAbsor-\nlength (nm)\tbance", also=["in-question"])
    head(
        "ruler-below",
        "a line of dashes below the head",
        "Wavelength (nm)   Absorbance\n---------------   ----------",
        sep="          ",
    )
    head(
        "ruler-equals",
        "a line of equals signs below the head",
        "Wavelength (nm)\tAbsorbance\n===============\t==========",
    )
    head("head-in-remark", "the head stands in a remark", "# Wavelength (nm)\tAbsorbance")
    head(
        "head-percent-remark",
        "the head stands in a remark marked with a percent sign: no %T is meant",
        "% Wavelength (nm)  Absorbance",
        sep="  ",
    )
    head(
        "head-semicolon-remark",
        "the head stands in a remark marked with a semicolon",
        "; Wavelength (nm), Absorbance",
        sep=",",
    )
    head(
        "head-slashes-remark",
        "the head stands in a remark marked with two slashes",
        "// wavelength (nm) | absorbance",
        sep="|",
    )
    head("french", "French names, decimal comma", "Longueur d'onde (nm);Absorbance", sep=";", decimal=",")
    head("spanish", "Spanish names, decimal comma", "Longitud de onda (nm);Absorbancia", sep=";", decimal=",")
    head("italian", "Italian names, decimal comma", "Lunghezza d'onda (nm);Assorbanza", sep=";", decimal=",")
    head(
        "portuguese",
        "Portuguese names, decimal comma",
        "Comprimento de onda (nm);Absorbância",
        sep=";",
        decimal=",",
        also=["in-question"],
    )
    head("dutch", "Dutch names, decimal comma", "Golflengte (nm);Extinctie", sep=";", decimal=",", also=["in-question"])
    head(
        "german-time",
        "German names of a time course, minutes",
        "Zeit [min]\tExtinktion bei 412 nm",
        x=ts,
        unit="min",
        decimal=",",
        nm="412",
    )
    head(
        "french-time",
        "French names of a time course, seconds",
        "Temps (s);Absorbance à 412 nm",
        sep=";",
        x=ts,
        unit="s",
        decimal=",",
        nm="412",
    )
    head(
        "spanish-time",
        "Spanish names of a time course, minutes",
        "Tiempo (min);Absorbancia a 412 nm",
        sep=";",
        x=ts,
        unit="min",
        decimal=",",
        nm="412",
    )
    head("optical-density", "OD instead of absorbance", "wavelength (nm)\tOD")
    head("extinction", "extinction instead of absorbance", "Wavelength (nm)\tExtinction")
    head("hours", "time in hours", "Time (h)\tOD600", x=ts, unit="h", nm="600")
    head("milliseconds", "time in milliseconds, as in fast mixing", "Time (ms)\tAbsorbance", x=ts, unit="ms")
    head("typo-wavelength", "the name is misspelt, the unit is right", "Wavelenght (nm)\tAbsorbance")
    head("abbreviated", "abbreviated names", "WL(nm)\tAbs.")
    head("no-unit-wavelength", "no units, the words and the values decide", "Wavelength\tAbsorbance")
    head("nm-only", "only the unit over x and a letter over y", "nm\tA")
    head(
        "head-far-above",
        "a blank line and a remark between the head and the numbers",
        "Wavelength (nm)\tAbsorbance\n\n(baseline corrected)\n",
    )
    head("head-repeated-twice", "the head is printed twice", "Wavelength (nm)\tAbsorbance\nWavelength (nm)\tAbsorbance")
    ys = band(xs, 420)
    case(
        "heads/head-below",
        "the head stands below the columns",
        rows(xs, ys) + "Wavelength (nm)\tAbsorbance\n",
        "in-question",
        question="axis-unknown",
        also=["read"],
        runs=[run(None, [trace(axis(None, None, xs), axis(None, None, ys))])],
    )
    ys = band(xs, 421)
    mau = [fixed(float(y) * 1000, 1) for y in ys]
    case(
        "heads/milli-absorbance",
        "milliabsorbance: 512.3 is not 512.3 AU",
        "Wavelength (nm)\tAbsorbance (mAU)\n" + rows(xs, mau),
        also=["in-question"],
        either=[
            [run("spectrum", [trace(W(xs), A(mau, "10*-3"))])],
            [run("spectrum", [trace(W(xs), A(mau, "10*-3{AU}"))])],
            [run("spectrum", [trace(W(xs), A(mau, "10*-3.{AU}"))])],
            [run("spectrum", [trace(W(xs), A([str(Decimal(m) / 1000) for m in mau]))])],
        ],
    )
    ys = band(xs, 422)
    case(
        "heads/contradicting-unit",
        "the head says cm-1, the title and the values say wavelength in nm",
        "Wavelength scan 380-600 nm\nWavelength (cm-1)\tAbsorbance\n" + rows(xs, ys),
        "in-question",
        question="wavelength-or-wavenumber",
        runs=[run("spectrum", [trace(axis(None, None, xs), A(ys))])],
    )
    ys = band(xs, 423)
    case(
        "heads/three-row-head",
        "sample, quantity and unit in three rows",
        "\tanthocyanin\tanthocyanin\nWavelength\tAbs\tAbs\nnm\tpH 1\tpH 4.5\n" + rows(xs, ys, scaled(ys, 0.5)),
        also=["in-question"],
        runs=[run("spectrum", [trace(W(xs), A(ys)), trace(W(xs), A(scaled(ys, 0.5)))])],
    )
    ys = [band(xs, f"424{i}") for i in range(3)]
    case(
        "heads/numbers-in-names",
        "the sample names are numbers that look like a row of data",
        "Absorbance\nnm\t1001\t1002\t1003\n" + rows(xs, *ys),
        also=["in-question"],
        runs=[run("spectrum", [trace(W(xs), A(y), k) for k, y in zip(["1001", "1002", "1003"], ys)])],
    )
    ys = [band(xs, f"425{i}") for i in range(3)]
    case(
        "heads/concentrations-as-names",
        "the columns are named after concentrations",
        "Absorbance of crocin\nnm;5 µM;10 µM;20 µM\n" + rows(xs, *ys, sep=";"),
        ext="csv",
        also=["in-question"],
        either=[
            [
                run(
                    "spectrum",
                    [
                        trace(W(xs), A(y), None, [held("concentration", "umol/L", v)])
                        for v, y in zip(["5", "10", "20"], ys)
                    ],
                )
            ],
            [run("spectrum", [trace(W(xs), A(y), f"{v} µM") for v, y in zip(["5", "10", "20"], ys)])],
        ],
    )
    ys = [band(xs, f"426{i}") for i in range(2)]
    case(
        "heads/duplicate-names",
        "two columns have the same name",
        "Wavelength (nm),Abs,Abs\n" + rows(xs, *ys, sep=","),
        ext="csv",
        runs=[run("spectrum", [trace(W(xs), A(y)) for y in ys])],
        also=["in-question"],
    )
    ys = [band(xs, f"427{i}") for i in range(3)]
    case(
        "heads/quantity-prefix",
        "each head repeats the quantity: Abs. (beet), Abs. (blank)",
        "Wavelength (nm)\tAbs. (beet)\tAbs. (blank)\tAbs. (crocin)\n" + rows(xs, *ys),
        runs=[run("spectrum", [trace(W(xs), A(y)) for y in ys])],
    )


# ---------------------------------------------------------------- pages and prose


def group_pages():
    xs = steps("350", "5", 48)
    ys = band(xs, 501)

    def newspaper(k, sep, head_each, widths=None):
        per = len(xs) // k
        lines = [sep.join(["nm", "A"] * k)] if head_each else []
        for i in range(per):
            cells = []
            for j in range(k):
                cells += [xs[j * per + i], ys[j * per + i]]
            lines.append("".join(f"{v:>{w}}" for v, w in zip(cells, widths * k)) if widths else sep.join(cells))
        return "\n".join(lines) + "\n"

    # Newspaper columns: the wavelengths go on from the foot of one pair to the top of the next.
    case(
        "pages/newspaper-two",
        "one spectrum printed in two pairs of columns, read downwards",
        "Sample: betanin\nAbsorbance, continued in the next columns\n" + newspaper(2, "\t", True),
        runs=[spectrum(xs, ys, {"sample": "betanin"})],
        also=["in-question"],
    )
    case(
        "pages/newspaper-three",
        "one spectrum printed in three pairs of columns",
        "Sample: betanin, one spectrum, absorbance (A) over wavelength (nm)\n" + newspaper(3, ",", True),
        ext="csv",
        runs=[spectrum(xs, ys)],
        also=["in-question"],
    )
    case(
        "pages/newspaper-four-fixed",
        "one spectrum in four pairs of fixed columns, head only once",
        "Spectrum of one sample. Wavelength (nm) and absorbance:\n\n" + newspaper(4, "", False, [8, 9]),
        ext="prn",
        runs=[spectrum(xs, ys)],
        also=["in-question"],
    )
    part = 46
    body = ""
    for i in range(16):
        cells = []
        for j in range(3):
            if j * 16 + i < part:
                cells += [xs[j * 16 + i], ys[j * 16 + i]]
        body += "  ".join(cells) + "\n"
    case(
        "pages/newspaper-ragged",
        "three pairs of columns, the last shorter than the others",
        "nm  Abs  nm  Abs  nm  Abs   (one sample, columns continue)\n" + body,
        runs=[spectrum(xs[:part], ys[:part])],
        also=["in-question"],
    )
    y2 = band(xs, 502)
    body = ""
    for i in range(0, 48, 3):
        body += "\t".join(v for k in range(3) for v in (xs[i + k], y2[i + k])) + "\n"
    case(
        "pages/across-then-down",
        "three points a line, read across: 350, 355, 360, next line 365",
        "Wavelength (nm) and absorbance, three points a line\nnm\tA\tnm\tA\tnm\tA\n" + body,
        runs=[spectrum(xs, y2)],
        also=["in-question"],
    )
    body = "".join(f"{xs[i]:>6}" + "".join(f"{v:>9}" for v in y2[i : i + 8]) + "\n" for i in range(0, 48, 8))
    case(
        "pages/first-x-then-values",
        "each line holds the first wavelength and eight absorbances, the step is told in the head",
        "Absorbance; each line: wavelength of the first value (nm), then 8 values in steps of 5 nm\n" + body,
        "in-question",
        question="layout-unknown",
        also=["read", "refused"],
        runs=[spectrum(xs, y2)],
    )
    case(
        "pages/values-only-start-step",
        "only absorbances; start, end and step of the wavelengths stand in the head",
        "Start: 350 nm\nEnd: 585 nm\nStep: 5 nm\nAbsorbance:\n" + "\n".join(y2) + "\n",
        "in-question",
        question="axis-unknown",
        also=["read", "refused"],
        either=[
            [spectrum(xs, y2)],
            [run(None, [trace(axis(None, None, [str(i) for i in range(48)]), A(y2))])],
            [run(None, [trace(axis(None, None, [str(i + 1) for i in range(48)]), A(y2))])],
        ],
    )

    # Page cuts.
    def paged(per, page, head, sep="  "):
        out = ""
        for p, i in enumerate(range(0, 48, per)):
            out += (
                page(p + 1, (48 + per - 1) // per)
                + head
                + "".join(f"{x}{sep}{y}\n" for x, y in zip(xs[i : i + per], y2[i : i + per]))
            )
        return out

    one = [spectrum(xs, y2)]
    case(
        "pages/repeated-heads",
        "the head is repeated at every page",
        paged(12, lambda p, n: f"\nPage {p} of {n}\n", "Wavelength (nm)  Absorbance\n"),
        runs=one,
    )
    case(
        "pages/repeated-heads-form-feed",
        "form feeds, page numbers and repeated heads",
        paged(
            16,
            lambda p, n: ("\f" if p > 1 else "") + f"Teaching laboratory    betanin    page {p}\n\n",
            "Wavelength (nm)  Absorbance\n",
        ),
        runs=one,
    )
    case(
        "pages/page-number-line",
        "a bare page number stands on a line of its own between the rows",
        "Wavelength (nm)  Absorbance\n" + paged(12, lambda p, n: f"\n{'':>30}- {p} -\n\n" if p > 1 else "", ""),
        runs=one,
    )
    case(
        "pages/bare-page-number",
        "a page number without anything around it: a lone 2, a lone 3",
        "Wavelength (nm)  Absorbance\n" + paged(12, lambda p, n: f"\n{'':>20}{p}\n\n" if p > 1 else "", ""),
        runs=one,
        also=["in-question"],
        never=["2", "3", "4"],
    )
    case(
        "pages/date-footer",
        "a footer with date and page after every page",
        paged(
            12,
            lambda p, n: f"printed 12.06.2019 14:0{p}   page {p - 1}\n" if p > 1 else "",
            "Wellenlänge/nm  Extinktion\n",
        ),
        runs=one,
    )
    case(
        "pages/continued-words",
        "the words `continued` between the parts",
        "Wavelength (nm)  Absorbance\n" + paged(24, lambda p, n: "(continued)\n" if p > 1 else "", ""),
        runs=one,
    )
    case(
        "pages/blank-line-every-five",
        "a blank line after every five rows, for the eye",
        "Wavelength (nm)  Absorbance\n" + paged(5, lambda p, n: "\n" if p > 1 else "", ""),
        runs=one,
    )
    case(
        "pages/separator-line-every-ten",
        "a line of dashes after every ten rows",
        "Wavelength (nm)  Absorbance\n" + paged(10, lambda p, n: "---------------------\n" if p > 1 else "", ""),
        runs=one,
    )
    case(
        "pages/screen-dump",
        "every line is framed by bars as on an old screen",
        "+------------+------------+\n| lambda (nm)|      A     |\n+------------+------------+\n"
        + "".join(f"| {x:>10} | {y:>10} |\n" for x, y in zip(xs, y2))
        + "+------------+------------+\n",
        runs=one,
    )
    case(
        "pages/markdown",
        "a table written for a wiki page",
        "| Wavelength (nm) | Absorbance |\n|---:|---:|\n" + "".join(f"| {x} | {y} |\n" for x, y in zip(xs, y2)),
        ext="md",
        runs=one,
    )
    # Wrapped tables: the columns did not fit the page and go on below with the x column repeated.
    wl = steps("400", "20", 11)
    many = [band(wl, f"510{i}") for i in range(7)]
    labels = [f"ext{i + 1}" for i in range(7)]

    def block(js):
        return (
            "nm      "
            + "".join(f"{labels[j]:>9}" for j in js)
            + "\n"
            + "".join(f"{wl[i]:<8}" + "".join(f"{many[j][i]:>9}" for j in js) + "\n" for i in range(11))
        )

    truth = [run("spectrum", [trace(W(wl), A(m), k) for k, m in zip(labels, many)])]
    case(
        "pages/wrapped-columns",
        "seven columns wrapped at page width: the wavelength column is repeated below with the rest",
        "Absorbance\n" + block(range(4)) + "\n" + block(range(4, 7)),
        runs=truth,
        ext="prn",
        runs_may_be_split=True,
    )
    case(
        "pages/wrapped-columns-three",
        "seven columns in three parts, with page heads between",
        "Absorbance\n"
        + block(range(3))
        + "\nPage 2\nAbsorbance\n"
        + block(range(3, 6))
        + "\nPage 3\nAbsorbance\n"
        + block([6]),
        runs=truth,
        ext="prn",
        runs_may_be_split=True,
    )
    row = "".join(
        "\t".join([wl[i]] + [m[i] for m in many[:3]]) + "\n\t" + "\t".join(m[i] for m in many[3:]) + "\n"
        for i in range(11)
    )
    case(
        "pages/wrapped-rows",
        "each row is broken over two lines, the second begins with a tab",
        "Absorbance\nnm\text1\text2\text3\n\text4\text5\text6\text7\n" + row,
        "in-question",
        question="layout-unknown",
        also=["read", "refused"],
        runs=truth,
    )
    # Prose around.
    y3 = band(wl, 520)
    tab = "Wavelength (nm)    Absorbance\n" + "".join(f"   {x}              {y}\n" for x, y in zip(wl, y3))
    case(
        "pages/report-prose",
        "a report: two paragraphs, a table, a conclusion with numbers",
        "Practical course, day 3\n\nWe ground 2.5 g of beet with 20 mL of buffer and spun the extract for 10 min at 4000 rpm.\n"
        "The supernatant was diluted 1:50 and measured against buffer.\n\n"
        + tab
        + "\nThe maximum lies near 480 nm with an absorbance of about 0.9. With a molar absorption\ncoefficient of "
        "65000 L/mol/cm this gives 14 µM. The second peak at 540 nm is weaker.\n",
        runs=[spectrum(wl, y3)],
    )
    case(
        "pages/report-two-tables",
        "a report with a table of weights before the spectrum",
        "Table 1. Weights\n\nflask    mass (g)\n1        2.51\n2        2.48\n3        2.55\n\nTable 2. Spectrum of flask 1\n\n"
        + tab,
        runs=[spectrum(wl, y3)],
        also=["in-question"],
    )
    case(
        "pages/numbered-lines-of-prose",
        "numbered steps of a protocol before the table",
        "1 Switch on the lamp and wait\n2 Fill the cuvette with buffer\n3 Record the blank from 400 to 600\n4 Record the sample\n\n"
        + tab,
        runs=[spectrum(wl, y3)],
    )
    case(
        "pages/email-quoted",
        "an e-mail: every line of the table is quoted with >",
        "Hi, here are the data you asked for.\n\n> Wavelength (nm)\tAbsorbance\n"
        + "".join(f"> {x}\t{y}\n" for x, y in zip(wl, y3))
        + "\nregards, kb\n",
        runs=[spectrum(wl, y3)],
        also=["in-question", "refused"],
    )
    case(
        "pages/log-prefix",
        "each row carries the clock time at which it was sent, and the table its words",
        "09:12:01 start of scan\n09:12:01 nm\tAbs\n"
        + "".join(f"09:12:{2 + i:02d} {x}\t{y}\n" for i, (x, y) in enumerate(zip(wl, y3)))
        + "09:12:20 end of scan\n",
        also=["in-question", "refused"],
        runs=[spectrum(wl, y3)],
        ext="log",
    )
    case(
        "pages/markup-remnants",
        "tags of a web page are left around the table",
        "<pre>\nWavelength (nm)\tAbsorbance\n" + rows(wl, y3) + "</pre>\n",
        runs=[spectrum(wl, y3)],
        also=["in-question", "refused"],
    )
    case(
        "pages/equation-after",
        "after the table stands a fit equation whose numbers are no data",
        tab + "\ny = 0.0123 x + 0.0045\nR2 = 0.9987\nn = 11\n",
        runs=[spectrum(wl, y3)],
        never=["0.0123", "0.9987"],
    )
    case(
        "pages/conclusion-looks-like-rows",
        "behind the data two lines of two numbers each: integration limits, told by a word in front",
        tab + "\nIntegration limits\n400  480\n480  600\n",
        also=["in-question"],
        runs=[spectrum(wl, y3)],
        extra_runs_fine=True,
    )


# ---------------------------------------------------------------- kinetics


def group_kinetics():
    ts = steps("0", "10", 19)

    def clock(seconds, form):
        s = int(seconds)
        if form == "mm:ss":
            return f"{s // 60:02d}:{s % 60:02d}"
        if form == "m:ss":
            return f"{s // 60}:{s % 60:02d}"
        return f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"

    ys = rise(ts, 601)
    case(
        "kinetics/mm-ss",
        "elapsed time as mm:ss, said so in the head",
        "Time (mm:ss)\tA405\n" + rows([clock(t, "mm:ss") for t in ts], ys),
        runs=[course(ts, ys, nm="405")],
    )
    ys = rise(ts, 602)
    case(
        "kinetics/m-ss-comma",
        "elapsed time as m:ss with a decimal comma in the absorbance",
        "Zeit (min:s);E 405 nm\n" + rows([clock(t, "m:ss") for t in ts], cc(ys), sep=";"),
        ext="csv",
        runs=[course(ts, ys, nm="405")],
    )
    t5 = steps("0", "300", 15)
    ys = rise(t5, 603)
    case(
        "kinetics/hh-mm-ss",
        "elapsed time as hh:mm:ss",
        "Elapsed time (hh:mm:ss),Absorbance\n" + rows([clock(t, "hh:mm:ss") for t in t5], ys, sep=","),
        ext="csv",
        runs=[course(t5, ys)],
    )
    ys = rise(t5, 604)
    case(
        "kinetics/hh-mm-ss-no-word",
        "00:05:00 needs no word: three parts",
        "Time\tAbsorbance\n" + rows([clock(t, "hh:mm:ss") for t in t5], ys),
        runs=[course(t5, ys)],
        also=["in-question"],
    )
    t3 = steps("0", "30", 15)
    ys = rise(t3, 605)
    case(
        "kinetics/two-part-clock-undecided",
        "0:30, 1:00, 1:30 under a bare `Time`: minutes and seconds, or hours and minutes",
        "Time\tAbsorbance\n" + rows([clock(t, "m:ss") for t in t3], ys),
        "in-question",
        question="time-unit",
        either=[[course(t3, ys)], [course([str(int(t) * 60) for t in t3], ys)]],
    )
    ys = rise(t5, 606)
    day = [clock(int(t) + 14 * 3600 + 180, "hh:mm:ss") for t in t5]
    case(
        "kinetics/clock-of-day",
        "times of day instead of elapsed time: 14:03:00",
        "Clock time\tAbsorbance\n" + rows(day, ys),
        also=["in-question"],
        either=[[course(t5, ys)], [course([str(int(t) + 14 * 3600 + 180) for t in t5], ys)]],
    )
    late = [clock((int(t) + 23 * 3600 + 1800) % 86400, "hh:mm:ss") for t in t5]
    ys = rise(t5, 607)
    case(
        "kinetics/over-midnight",
        "times of day that pass midnight: 23:55:00, then 00:00:00",
        "Clock time\tAbsorbance\n" + rows(late, ys),
        "in-question",
        question="time-over-midnight",
        also=["read"],
        either=[
            [course(t5, ys)],
            [course([str(int(t) + 23 * 3600 + 1800) for t in t5], ys)],
            [course([str((int(t) + 23 * 3600 + 1800) % 86400) for t in t5], ys)],
        ],
    )
    stamps = [f"2020-05-04 {s}" for s in [clock(int(t) + 9 * 3600, "hh:mm:ss") for t in t5]]
    ys = rise(t5, 608)
    case(
        "kinetics/full-stamps",
        "date and time of day in one column",
        "Timestamp,Absorbance\n" + rows(stamps, ys, sep=","),
        ext="csv",
        also=["in-question"],
        either=[[course(t5, ys)], [course([str(int(t) + 9 * 3600) for t in t5], ys)]],
    )
    ys = rise(t5, 609)
    case(
        "kinetics/date-and-clock-columns",
        "the date stands in a column of its own beside the clock",
        "Date,Clock,Elapsed (s),Absorbance\n"
        + rows(["2020-05-04"] * 15, [clock(int(t) + 9 * 3600, "hh:mm:ss") for t in t5], t5, ys, sep=","),
        ext="csv",
        runs=[course(t5, ys)],
        also=["in-question"],
    )
    frac = steps("0.0", "0.5", 15)
    ys = rise(frac, 610)
    case(
        "kinetics/mm-ss-fraction",
        "mm:ss.f with fractions of a second",
        "Time (mm:ss.f)\tAbsorbance\n" + rows([f"00:{float(t):04.1f}" for t in frac], ys),
        runs=[course(frac, ys)],
    )
    ys = rise(frac, 611)
    case(
        "kinetics/mm-ss-fraction-comma",
        "mm:ss,f with a decimal comma",
        "Zeit (mm:ss,f);Extinktion\n" + rows([c(f"00:{float(t):04.1f}") for t in frac], cc(ys), sep=";"),
        ext="csv",
        runs=[course(frac, ys)],
    )
    ys = rise(ts, 612)
    case(
        "kinetics/words-in-time",
        "1 min 30 s in the cells",
        "Time\tAbsorbance\n" + rows([f"{int(t) // 60} min {int(t) % 60} s" for t in ts], ys),
        also=["in-question", "refused"],
        runs=[course(ts, ys)],
    )
    ys = rise(ts, 613)
    case(
        "kinetics/primes",
        "minutes and seconds with primes: 1' 30\"",
        "Time\tAbsorbance\n" + rows([f"{int(t) // 60}' {int(t) % 60:02d}\"" for t in ts], ys),
        also=["in-question", "refused"],
        runs=[course(ts, ys)],
    )
    ys = rise(ts, 614)
    case(
        "kinetics/index-and-interval",
        "only the reading number; the interval stands in the head",
        "Interval: 10 s\nWavelength: 412 nm\nReading\tAbsorbance\n" + rows([str(i + 1) for i in range(19)], ys),
        also=["in-question"],
        either=[
            [course(ts, ys, {"interval": q("10", "s")})],
            [
                run(
                    "time-course",
                    [trace(axis("index", "1", [str(i + 1) for i in range(19)]), A(ys))],
                    {"interval": q("10", "s")},
                )
            ],
        ],
    )
    ys = rise(ts, 615)
    case(
        "kinetics/time-unit-from-head",
        "a bare `Time` column; the head says that the unit is seconds",
        "Time unit: seconds\nWavelength: 412 nm\nTime\tAbsorbance\n" + rows(ts, ys),
        runs=[course(ts, ys, nm="412")],
        also=["in-question"],
    )
    ys = rise(ts, 616)
    case(
        "kinetics/time-unit-missing",
        "a bare `Time` column and nothing that tells its unit",
        "Time\tAbsorbance\n" + rows(ts, ys),
        "in-question",
        question="time-unit",
        runs=[run("time-course", [trace(axis("time", None, ts), A(ys))])],
    )
    ys = rise(ts, 617)
    case(
        "kinetics/minus-time",
        "readings before the start have negative times",
        "Time (s)\tA340\n" + rows(steps("-30", "10", 19), ys),
        runs=[course(steps("-30", "10", 19), ys, nm="340")],
    )
    ys = decay(["0", "1", "2", "5", "10", "30", "60", "120", "600", "1800", "3600"], 618)
    case(
        "kinetics/uneven-time",
        "times far apart, from seconds to an hour",
        "t (s);A(520)\n" + rows(["0", "1", "2", "5", "10", "30", "60", "120", "600", "1800", "3600"], ys, sep=";"),
        ext="csv",
        runs=[course(["0", "1", "2", "5", "10", "30", "60", "120", "600", "1800", "3600"], ys, nm="520")],
    )
    y1, y2 = rise(ts[:10], 619), rise(ts[:10], 620)
    case(
        "kinetics/appended-runs",
        "a second run was appended without a head: the time begins again at 0",
        "Time (s)\tA405\n" + rows(ts[:10], y1) + rows(ts[:10], y2),
        also=["in-question"],
        either=[
            [course(ts[:10], y1), course(ts[:10], y2)],
            [run("time-course", [trace(T(ts[:10]), A(y1)), trace(T(ts[:10]), A(y2))])],
            [course(ts[:10] * 2, y1 + y2)],
        ],
        remarks=["again|restart|repeat|falls|back|not rising|monoton|jump|twice|second"],
    )
    y1, y2 = rise(ts[:10], 621), rise(ts[:10], 622)
    case(
        "kinetics/appended-with-gap",
        "two runs, a blank line between, only one head",
        "Time (s)\tA405\n" + rows(ts[:10], y1) + "\n" + rows(ts[:10], y2),
        also=["in-question"],
        either=[
            [course(ts[:10], y1), course(ts[:10], y2)],
            [run("time-course", [trace(T(ts[:10]), A(y1)), trace(T(ts[:10]), A(y2))])],
        ],
    )
    y1 = rise(ts, 623)
    case(
        "kinetics/addition-remark",
        "a remark in the middle tells that substrate was added",
        "Time (s)\tA340\n" + rows(ts[:6], y1[:6]) + "# substrate added, 20 µL\n" + rows(ts[6:], y1[6:]),
        runs=[course(ts, y1, nm="340")],
    )
    case(
        "kinetics/event-column",
        "a third column holds an event word at one row",
        "Time (s),A340,Event\n" + rows(ts, y1, put([""] * 19, 6, "substrate added"), sep=","),
        ext="csv",
        runs=[course(ts, y1, nm="340")],
    )
    conc = ["0.05", "0.1", "0.2", "0.5", "1", "2", "5"]
    rate = ["0.0091", "0.0167", "0.0286", "0.0500", "0.0667", "0.0800", "0.0909"]

    def rates(x, y, xu, yu, **more):
        return run("rate-series", [trace(axis("concentration", xu, x), axis("rate", yu, y))], **more)

    case(
        "kinetics/rate-table",
        "rates over substrate concentrations",
        "[S] (mM)\tv (A/min)\n" + rows(conc, rate),
        runs=[rates(conc, rate, "mmol/L", "{AU}/min")],
        also=["in-question"],
    )
    case(
        "kinetics/rate-table-micromolar",
        "rates in µM/min over µM, decimal comma",
        "Substrat (µM);v0 (µM/min)\n" + rows(cc(scaled(conc, 1000, 1)), cc(scaled(rate, 100, 2)), sep=";"),
        ext="csv",
        runs=[rates(scaled(conc, 1000, 1), scaled(rate, 100, 2), "umol/L", "umol/L/min")],
        also=["in-question"],
    )
    case(
        "kinetics/rate-table-words",
        "rates, units with words",
        "Substrate concentration (mmol/L),Initial rate (umol/L/min)\n" + rows(conc, rate, sep=","),
        ext="csv",
        runs=[rates(conc, rate, "mmol/L", "umol/L/min")],
    )
    r2 = ["0.0089", "0.0165", "0.0288", "0.0496", "0.0671", "0.0795", "0.0912"]
    case(
        "kinetics/rate-replicates",
        "two replicates of each rate",
        "[S]/mM\tv1 (A/min)\tv2 (A/min)\n" + rows(conc, rate, r2),
        also=["in-question"],
        runs=[
            run(
                "rate-series",
                [trace(axis("concentration", "mmol/L", conc), axis("rate", "{AU}/min", y)) for y in (rate, r2)],
            )
        ],
    )
    case(
        "kinetics/rate-inhibitor",
        "rates at three inhibitor levels named in the heads",
        "Rates in A/min\n[S] (mM);I = 0 µM;I = 5 µM;I = 20 µM\n"
        + rows(conc, rate, scaled(rate, 0.7), scaled(rate, 0.4), sep=";"),
        ext="csv",
        also=["in-question"],
        runs=[
            run(
                "rate-series",
                [
                    trace(axis("concentration", "mmol/L", conc), axis("rate", "{AU}/min", y))
                    for y in (rate, scaled(rate, 0.7), scaled(rate, 0.4))
                ],
            )
        ],
    )
    case(
        "kinetics/reciprocal-table",
        "reciprocals 1/[S] and 1/v stand beside the values and must not pass as such",
        "[S] (mM)\tv (A/min)\t1/[S] (1/mM)\t1/v (min/A)\n"
        + rows(conc, rate, [fixed(1 / float(x), 3) for x in conc], [fixed(1 / float(y), 1) for y in rate]),
        also=["in-question"],
        runs=[rates(conc, rate, "mmol/L", "{AU}/min")],
        extra_traces_fine=True,
        extra_y_must_not_be="rate",
    )
    series = [rise(ts, f"63{i}") for i in range(4)]
    case(
        "kinetics/assay-series",
        "progress curves at four substrate concentrations named in the heads",
        "Absorbance at 405 nm, 30 °C\nTime (s)\t0.1 mM\t0.2 mM\t0.5 mM\t1 mM\n" + rows(ts, *series),
        also=["in-question"],
        either=[
            [
                run(
                    "time-course",
                    [
                        trace(T(ts), A(y), None, [at_nm("405"), held("concentration", "mmol/L", v)])
                        for v, y in zip(["0.1", "0.2", "0.5", "1"], series)
                    ],
                )
            ],
            [
                run(
                    "time-course",
                    [trace(T(ts), A(y), f"{v} mM", [at_nm("405")]) for v, y in zip(["0.1", "0.2", "0.5", "1"], series)],
                )
            ],
        ],
    )
    ys = rise(ts, 640)
    case(
        "kinetics/reported-result",
        "the report states its own slope under the course",
        "Time (s)\tA340\n" + rows(ts, ys) + "\nSlope: 0.0123 A/min\nr2: 0.9981\nActivity: 4.2 U/mL\n",
        runs=[course(ts, ys, nm="340")],
        never=["0.0123", "0.9981", "4.2"],
    )
    y1, y2 = rise(ts, 641), rise(ts, 642)
    case(
        "kinetics/difference-column",
        "sample, blank and their difference; the names tell them apart",
        "Time (s),A sample,A blank,A sample - A blank\n"
        + rows(
            ts, y1, scaled(y2, 0.1), [str(Decimal(a_) - Decimal(b_)) for a_, b_ in zip(y1, scaled(y2, 0.1))], sep=","
        ),
        ext="csv",
        also=["in-question"],
        runs=[
            run(
                "time-course",
                [
                    trace(T(ts), A(y1)),
                    trace(T(ts), A(scaled(y2, 0.1))),
                    trace(T(ts), A([str(Decimal(a_) - Decimal(b_)) for a_, b_ in zip(y1, scaled(y2, 0.1))])),
                ],
            )
        ],
    )
    temp = [fixed(37 + 0.1 * (i % 3), 1) for i in range(19)]
    y1 = rise(ts, 643)
    case(
        "kinetics/temperature-column",
        "the measured temperature stands beside the absorbance",
        "Time (s)\tAbsorbance\tTemperature (°C)\n" + rows(ts, y1, temp),
        runs=[run("time-course", [trace(T(ts), A(y1)), trace(T(ts), axis("temperature", "Cel", temp), optional=True)])],
    )
    case(
        "kinetics/temperature-column-first",
        "the temperature stands between time and absorbance, short names",
        "t/s\tT/°C\tA\n" + rows(ts, temp, y1),
        runs=[run("time-course", [trace(T(ts), A(y1)), trace(T(ts), axis("temperature", "Cel", temp), optional=True)])],
    )
    melt = steps("20.0", "5.0", 15)
    y1 = rise(melt, 644)
    case(
        "kinetics/melting-curve",
        "absorbance over temperature",
        "Temperature (°C)\tA260\n" + rows(melt, y1),
        also=["in-question"],
        runs=[run(None, [trace(axis("temperature", "Cel", melt), A(y1), None, [at_nm("260")])])],
    )
    two = [rise(ts, "645a"), rise(ts, "645b")]
    case(
        "kinetics/own-time-per-cuvette",
        "a changer reads cuvettes by turns, each has its own time column",
        "t1 (s);A1;t2 (s);A2\n" + rows(ts, two[0], steps("3", "10", 19), two[1], sep=";"),
        ext="csv",
        runs_may_be_split=True,
        runs=[run("time-course", [trace(T(ts), A(two[0])), trace(T(steps("3", "10", 19)), A(two[1]))])],
    )
    mins = steps("0.0", "0.5", 12)
    ys = rise(mins, 646)
    case(
        "kinetics/seconds-and-minutes",
        "two time columns, seconds and minutes; both tell the same",
        "t (s)\tt (min)\tA\n" + rows([str(int(float(m) * 60)) for m in mins], mins, ys),
        also=["in-question"],
        either=[[course([str(int(float(m) * 60)) for m in mins], ys)], [course(mins, ys, unit="min")]],
        extra_traces_fine=True,
    )
    secs = [str(int(float(m) * 60)) for m in mins]
    case(
        "kinetics/seconds-and-minutes-disagree",
        "two time columns that disagree from the middle on",
        "t (s)\tt (min)\tA\n" + rows(secs, mins[:6] + steps("3.5", "0.5", 6), ys),
        also=["in-question"],
        either=[[course(secs, ys)], [course(mins[:6] + steps("3.5", "0.5", 6), ys, unit="min")]],
        extra_traces_fine=True,
    )


# ---------------------------------------------------------------- metadata


def group_metadata():
    xs = steps("400", "12", 16)

    def meta(name, why, front, fields, behind="", decimal=".", sep="\t", enc="utf-8", head=None, **more):
        ys = band(xs, "meta" + name)
        title = head or (("Wellenlänge (nm)", "Extinktion") if decimal == "," else ("Wavelength (nm)", "Absorbance"))
        cols = (xs, cc(ys) if decimal == "," else ys)
        case(
            f"metadata/{name}",
            why,
            front + title[0] + sep + title[1] + "\n" + rows(*cols, sep=sep) + behind,
            enc=enc,
            runs=[spectrum(xs, ys, fields)],
            **more,
        )

    base = {"sample": "betanin", "temperature": q("37", "Cel"), "ph": 7.0, "operator": "kb"}
    meta(
        "colon",
        "key: value",
        "Sample: betanin\nTemperature: 37 °C\npH: 7.0\nOperator: kb\nDate: 2021-03-14\n\n",
        {**base, "date": "2021-03-14"},
    )
    meta("equals", "key = value", "sample = betanin\ntemperature = 37 °C\npH = 7.0\noperator = kb\n\n", base)
    meta(
        "equals-tight",
        "key=value without blanks",
        "sample=betanin\ntemperature=37C\nph=7.0\noperator=kb\n\n",
        base,
        also=["in-question"],
    )
    meta("tab", "key TAB value", "Sample\tbetanin\nTemperature\t37 °C\npH\t7.0\nOperator\tkb\n\n", base)
    meta(
        "comma",
        "key,value in the same commas as the table",
        "Sample,betanin\nTemperature,37 °C\npH,7.0\nOperator,kb\n\n",
        base,
        sep=",",
        ext="csv",
    )
    meta(
        "semicolon",
        "key;value in the same semicolons as the table, decimal comma",
        "Probe;betanin\nTemperatur;37,0 °C\npH;7,0\nBearbeiter;kb\n\n",
        base,
        sep=";",
        decimal=",",
        ext="csv",
    )
    meta(
        "semicolon-padded",
        "every line padded to two columns: key;value;",
        "Probe;betanin;\nTemperatur;37 °C;\npH-Wert;7,0;\n;;\n",
        {k: base[k] for k in ("sample", "temperature", "ph")},
        sep=";",
        decimal=",",
        ext="csv",
    )
    meta(
        "remarks",
        "keys in remarks with a hash",
        "# Sample: betanin\n# Temperature: 37 °C\n# pH: 7.0\n# Operator: kb\n",
        base,
    )
    meta(
        "remarks-percent",
        "keys in remarks with a percent sign",
        "% sample = betanin\n% temperature = 37 degC\n% pH = 7.0\n",
        {k: base[k] for k in ("sample", "temperature", "ph")},
    )
    meta(
        "remarks-quote",
        "keys in remarks that begin with a double quote, never closed",
        '" Sample: betanin\n" Temperature: 37 °C\n',
        {k: base[k] for k in ("sample", "temperature")},
    )
    meta(
        "behind",
        "the keys stand behind the table",
        "",
        base,
        behind="\nSample: betanin\nTemperature: 37 °C\npH: 7.0\nOperator: kb\n",
    )
    meta(
        "front-and-behind",
        "some keys in front, some behind",
        "Sample: betanin\n\n",
        base,
        behind="\nTemperature: 37 °C\npH: 7.0\nOperator: kb\n",
    )
    meta(
        "dots-leader",
        "dots lead from key to value",
        "Sample .......... betanin\nTemperature ..... 37 °C\npH .............. 7.0\n\n",
        {k: base[k] for k in ("sample", "temperature", "ph")},
        also=["in-question"],
    )
    meta(
        "aligned-colons",
        "colons aligned in a column",
        "Sample      : betanin\nTemperature : 37 °C\npH          : 7.0\nOperator    : kb\n\n",
        base,
    )
    meta(
        "two-per-line",
        "two keys a line, blanks between",
        "Sample: betanin        Temperature: 37 °C\npH: 7.0                Operator: kb\n\n",
        base,
        also=["in-question"],
    )
    meta(
        "brackets-sections",
        "sections in brackets as in a settings file",
        "[sample]\nname = betanin\n[conditions]\ntemperature = 37 °C\npH = 7.0\n[data]\n",
        {"temperature": q("37", "Cel"), "ph": 7.0},
    )
    meta(
        "value-with-colon",
        "the values hold colons and equals signs",
        "Sample: betanin: batch=4\nTime: 14:05:09\nComment: ratio 1:10 = weak\n\n",
        {"sample": "betanin: batch=4", "time": "14:05:09"},
    )
    meta(
        "key-with-number",
        "keys with numbers: only one of them is the sample",
        "Sample 1: betanin\nCuvette 3: quartz\n\n",
        {},
    )
    meta(
        "value-empty",
        "keys without a value",
        "Sample: betanin\nOperator:\nTemperature:\npH: 7.0\n\n",
        {"sample": "betanin", "ph": 7.0},
    )
    meta(
        "unknown-keys",
        "keys that nobody has heard of must be kept and must not shift the known ones",
        "Sample: betanin\nJacket: 37.2 °C\nFlask colour: brown\nMoon: waning\npH: 7.0\n\n",
        {"sample": "betanin", "ph": 7.0},
    )
    meta("title-only", "a bare title line over the table", "betanin in acetate buffer pH 5.0, 25 °C\n\n", {})
    meta(
        "german",
        "German keys and decimal commas",
        "Probe: Rote-Bete-Saft\nTemperatur: 36,5 °C\npH-Wert: 6,8\nPuffer: Phosphat 50 mM\nSchichtdicke: 1 cm\nBearbeiter: kb\nDatum: 14.03.2021\nUhrzeit: 09:12\nBemerkung: frisch gepresst\n\n",
        {
            "sample": "Rote-Bete-Saft",
            "temperature": q("36.5", "Cel"),
            "ph": 6.8,
            "path-length": q("1", "cm"),
            "operator": "kb",
            "date": "2021-03-14",
            "time": "09:12",
            "comment": "frisch gepresst",
        },
        decimal=",",
    )
    meta(
        "german-latin1",
        "German keys in Latin-1, semicolons",
        "Gerät: Raum 12\nLösungsmittel: Ethanol\nSpaltbreite: 1,0 nm\nVerdünnung: 1:50\n\n",
        {"solvent": "Ethanol", "instrument": "Raum 12"},
        decimal=",",
        enc="latin-1",
        sep=";",
    )
    meta(
        "french",
        "French keys and decimal commas",
        "Échantillon : jus de betterave\nTempérature : 36,5 °C\npH : 6,8\nTampon : phosphate\nTrajet optique : 1 cm\nOpérateur : mb\nDate : 14/03/2021\nCommentaire : frais\n\n",
        {
            "sample": "jus de betterave",
            "temperature": q("36.5", "Cel"),
            "ph": 6.8,
            "buffer": "phosphate",
            "path-length": q("1", "cm"),
            "operator": "mb",
            "date": "2021-03-14",
            "comment": "frais",
        },
        decimal=",",
        head=("Longueur d'onde (nm)", "Absorbance"),
    )
    meta(
        "spanish",
        "Spanish keys and decimal commas",
        "Muestra: jugo de remolacha\nTemperatura: 36,5 °C\npH: 6,8\nTampón: fosfato\nPaso óptico: 1 cm\nOperador: jm\nFecha: 14/03/2021\nHora: 09:12\nComentario: fresco\n\n",
        {
            "sample": "jugo de remolacha",
            "temperature": q("36.5", "Cel"),
            "ph": 6.8,
            "buffer": "fosfato",
            "path-length": q("1", "cm"),
            "operator": "jm",
            "date": "2021-03-14",
            "time": "09:12",
            "comment": "fresco",
        },
        decimal=",",
        head=("Longitud de onda (nm)", "Absorbancia"),
    )
    meta(
        "italian",
        "Italian keys",
        "Campione: succo di barbabietola\nTemperatura: 36,5 °C\npH: 6,8\nOperatore: lr\nData: 14/03/2021\n\n",
        {"ph": 6.8, "temperature": q("36.5", "Cel")},
        decimal=",",
        head=("Lunghezza d'onda (nm)", "Assorbanza"),
        also=["in-question"],
    )
    meta(
        "portuguese",
        "Portuguese keys",
        "Amostra: suco de beterraba\nTemperatura: 36,5 °C\npH: 6,8\nData: 14/03/2021\n\n",
        {"ph": 6.8, "temperature": q("36.5", "Cel")},
        decimal=",",
        head=("Comprimento de onda (nm)", "Absorbância"),
        also=["in-question"],
    )
    meta(
        "dutch",
        "Dutch keys",
        "Monster: bietensap\nTemperatuur: 36,5 °C\npH: 6,8\nDatum: 14-03-2021\n\n",
        {"ph": 6.8},
        decimal=",",
        head=("Golflengte (nm)", "Extinctie"),
        also=["in-question"],
    )
    meta(
        "conditions",
        "many conditions with units",
        "Path length: 10 mm\nScan speed: 240 nm/min\nBandwidth: 1.5 nm\nConcentration: 0.25 mmol/L\nBuffer: 50 mM phosphate\nSolvent: water\nDilution: 1:20\nReference: buffer\n\n",
        {
            "path-length": q("10", "mm"),
            "scan-speed": q("240", "nm/min"),
            "bandwidth": q("1.5", "nm"),
            "concentration": q("0.25", "mmol/L"),
            "solvent": "water",
            "buffer": "50 mM phosphate",
        },
    )
    meta(
        "kelvin",
        "the temperature is given in kelvin",
        "Sample: betanin\nTemperature: 310.15 K\n\n",
        {"sample": "betanin", "temperature": q("310.15", "K")},
    )
    meta(
        "unit-in-key",
        "the unit stands in the key",
        "Temperature (°C): 37.0\nPath length (cm): 0.5\nConcentration (µM): 12.5\n\n",
        {"temperature": q("37.0", "Cel"), "path-length": q("0.5", "cm"), "concentration": q("12.5", "umol/L")},
    )
    meta(
        "unit-in-key-slash",
        "the unit stands in the key after a slash",
        "T/°C = 37.0\nd/cm = 0.5\nc/µM = 12.5\n\n",
        {},
        also=["in-question"],
    )
    meta(
        "unit-spellings",
        "odd spellings of units",
        "Temperature: 37 deg. C\nPath length: 1.0cm\nConcentration: 12.5 umol.L-1\nScan speed: 60 nm min-1\n\n",
        {"path-length": q("1.0", "cm")},
        also=["in-question"],
    )
    meta(
        "no-unit-temperature",
        "a temperature without a unit",
        "Sample: betanin\nTemperature: 37\n\n",
        {"sample": "betanin"},
        also=["in-question"],
    )
    meta(
        "fahrenheit",
        "degrees Fahrenheit must not become degrees Celsius",
        "Sample: betanin\nTemperature: 98.6 °F\n\n",
        {"sample": "betanin", "temperature": q("98.6", "[degF]")},
        also=["in-question"],
    )
    meta(
        "temperature-range",
        "a temperature with its spread",
        "Sample: betanin\nTemperature: 37.0 ± 0.1 °C\n\n",
        {"sample": "betanin"},
        also=["in-question"],
    )
    meta(
        "twice-same-key",
        "a key stands twice with different values: a dispute",
        "Temperature: 25 °C\nSample: betanin\nTemperature: 37 °C\n\n",
        {"sample": "betanin"},
        also=["in-question"],
    )
    meta(
        "long-keys",
        "keys are whole phrases",
        "Name of the sample as written on the tube: betanin\nTemperature of the cell holder during the run: 37 °C\n\n",
        {},
        also=["in-question"],
    )
    meta(
        "capital-keys",
        "keys in capitals",
        "SAMPLE: BETANIN\nTEMPERATURE: 37 °C\nPH: 7.0\n\n",
        {"sample": "BETANIN", "temperature": q("37", "Cel"), "ph": 7.0},
    )
    meta(
        "key-in-quotes",
        "keys and values in quotes",
        '"Sample","betanin"\n"Temperature","37 °C"\n"pH","7.0"\n',
        {k: base[k] for k in ("sample", "temperature", "ph")},
        sep=",",
        ext="csv",
        head=('"Wavelength (nm)"', '"Absorbance"'),
    )
    meta(
        "multi-line-comment",
        "a comment goes on over three lines",
        "Sample: betanin\nComment: pressed on Monday,\n   kept cold,\n   filtered 0.45 µm\n\n",
        {"sample": "betanin"},
    )
    meta(
        "sample-is-number",
        "the sample's name is a number with a comma",
        "Probe: 12,5\nTemperatur: 37 °C\n\n",
        {"sample": "12,5", "temperature": q("37", "Cel")},
        decimal=",",
    )
    meta(
        "sample-with-separator",
        "the sample's name holds the separator",
        "Sample;betanin; batch 2\npH;7.0\n\n",
        {"ph": 7.0},
        sep=";",
        ext="csv",
    )
    meta(
        "negative-temperature",
        "a temperature below zero",
        "Sample: betanin\nTemperature: -5.0 °C\n\n",
        {"sample": "betanin", "temperature": q("-5.0", "Cel")},
    )
    meta(
        "enzyme-fields",
        "enzyme, substrate and inhibitor",
        "Enzyme: alkaline phosphatase\nSubstrate: pNPP\nInhibitor: phosphate\nTemperature: 30 °C\n\n",
        {
            "enzyme": "alkaline phosphatase",
            "substrate": "pNPP",
            "inhibitor": "phosphate",
            "temperature": q("30", "Cel"),
        },
    )

    # Dates.
    def dated(name, why, written, iso, **more):
        key = more.pop("key", "Date")
        meta("date-" + name, why, f"Sample: crocin\n{key}: {written}\n\n", {"sample": "crocin", "date": iso}, **more)

    dated("iso", "year, month, day with hyphens", "2021-03-14", "2021-03-14")
    dated("iso-time", "ISO date and time with T", "2021-03-14T09:12:33", "2021-03-14")
    dated("iso-zone", "ISO date and time with zone", "2021-03-14T09:12:33+01:00", "2021-03-14")
    dated("iso-utc-midnight", "UTC near midnight: the date as written holds", "2021-03-14T23:50:00Z", "2021-03-14")
    dated("german", "day.month.year", "14.03.2021", "2021-03-14", key="Datum")
    dated(
        "german-dots-low-day",
        "04.03.2021 in a German file: points stand between day, month and year",
        "04.03.2021",
        "2021-03-04",
        key="Datum",
        decimal=",",
        also=["in-question"],
    )
    dated("german-short", "day.month.two-digit year", "14.3.21", "2021-03-14", key="Datum", also=["in-question"])
    dated("slash-day-first", "day first, told by the 25", "25/03/2021", "2021-03-25")
    dated("slash-month-first", "month first, told by the 25", "03/25/2021", "2021-03-25")
    dated("slash-same", "05/05/2021 is the same either way", "05/05/2021", "2021-05-05")
    dated("year-slash", "year first with slashes", "2021/03/14", "2021-03-14")
    dated("compact", "eight digits", "20210314", "2021-03-14")
    dated("english-short", "month as three letters", "14-Mar-2021", "2021-03-14")
    dated("english-upper", "month as three capitals, two-digit year", "14MAR21", "2021-03-14", also=["in-question"])
    dated("english-long", "month in full, comma", "March 14, 2021", "2021-03-14")
    dated("english-ordinal", "weekday and ordinal", "Sunday, 14th March 2021", "2021-03-14")
    dated("german-long", "German month in full", "14. März 2021", "2021-03-14", key="Datum")
    dated("german-abbreviated", "German month abbreviated", "14. Dez. 2020", "2020-12-14", key="Datum")
    dated("french-long", "French month in full", "14 mars 2021", "2021-03-14")
    dated(
        "french-first", "French ordinal for the first of the month", "1er août 2021", "2021-08-01", also=["in-question"]
    )
    dated("spanish-long", "Spanish month in full, with de", "14 de marzo de 2021", "2021-03-14", key="Fecha")
    dated("italian-long", "Italian month in full", "14 marzo 2021", "2021-03-14", key="Data", also=["in-question"])
    dated("english-clock", "date and twelve-hour clock", "14 Mar 2021 2:05 PM", "2021-03-14")
    dated("impossible", "a date that does not exist", "31.02.2021", None, key="Datum", also=["in-question"])
    impossible = CASES["metadata/date-impossible"][2]
    del impossible["runs"][0]["fields"]["date"]
    impossible["fields_never"] = {"date": ["2021-02-28", "2021-03-01", "2021-03-03", "2021-02-31"]}
    ys = band(xs, "twodates")
    case(
        "metadata/date-undecidable",
        "03/04/2021: 3 April or 4 March",
        "Sample: crocin\nDate: 03/04/2021\n\nWavelength (nm)\tAbsorbance\n" + rows(xs, ys),
        "in-question",
        question="day-or-month",
        runs=[spectrum(xs, ys, {"sample": "crocin"})],
    )
    case(
        "metadata/date-undecidable-short",
        "03.04.05: three orders are possible",
        "Sample: crocin\nDate: 03-04-05\n\nWavelength (nm)\tAbsorbance\n" + rows(xs, ys),
        "in-question",
        question="day-or-month",
        runs=[spectrum(xs, ys, {"sample": "crocin"})],
    )
    dated(
        "weekday-decides",
        "03/04/2021 was a Saturday as 3 April and a Thursday as 4 March",
        "Saturday, 03/04/2021",
        "2021-04-03",
        also=["in-question"],
    )
    for name, why, front, title, guess in [
        (
            "french-low-day",
            "03/04/2021 in a French file: a custom of the country, no proof",
            "Échantillon : crocine\nDate : 03/04/2021\n",
            "Longueur d'onde (nm)\tAbsorbance",
            "2021-04-03",
        ),
        (
            "spanish-low-day",
            "03/04/2021 in a Spanish file: a custom of the country, no proof",
            "Muestra: crocina\nFecha: 03/04/2021\n",
            "Longitud de onda (nm)\tAbsorbancia",
            "2021-04-03",
        ),
        (
            "two-low-days",
            "two dates, 03/04/2021 and 05/04/2021: neither decides",
            "Sample: crocin\nDate: 03/04/2021\nPrinted: 05/04/2021\n",
            "Wavelength (nm)\tAbsorbance",
            None,
        ),
        (
            "dashes-low-day",
            "03-04-2021 with dashes",
            "Sample: crocin\nDate: 03-04-2021\n",
            "Wavelength (nm)\tAbsorbance",
            None,
        ),
        (
            "with-clock",
            "03/04/2021 09:12: the clock does not help",
            "Sample: crocin\nMeasured: 03/04/2021 09:12\n",
            "Wavelength (nm)\tAbsorbance",
            None,
        ),
        (
            "two-digit-year",
            "05/06/07: day, month and year in any order",
            "Sample: crocin\nDate: 05/06/07\n",
            "Wavelength (nm)\tAbsorbance",
            None,
        ),
    ]:
        own = (
            {"also": ["read"], "either": [[spectrum(xs, ys, {"date": guess})], [spectrum(xs, ys)]]}
            if guess
            else {"runs": [spectrum(xs, ys)]}
        )
        case(
            f"metadata/date-undecidable-{name}",
            why,
            front + "\n" + title + "\n" + rows(xs, ys),
            "in-question",
            question="day-or-month",
            **own,
        )
    case(
        "metadata/date-decided-by-another",
        "04/03/2021 for the run, 25/03/2021 for the printing: the second decides the order",
        "Sample: crocin\nDate: 04/03/2021\nPrinted: 25/03/2021\n\nWavelength (nm)\tAbsorbance\n" + rows(xs, ys),
        runs=[spectrum(xs, ys, {"sample": "crocin"})],
        also=["in-question"],
    )
    case(
        "metadata/date-two-different",
        "recorded and printed on different days: the date of the run is the one of recording",
        "Sample: crocin\nPrinted: 2021-03-20\nRecorded: 2021-03-14\n\nWavelength (nm)\tAbsorbance\n" + rows(xs, ys),
        runs=[spectrum(xs, ys, {"sample": "crocin"})],
        also=["in-question"],
        fields_never={"date": ["2021-03-20"]},
        fields_fine={"date": ["2021-03-14"]},
    )
    ts = steps("0", "20", 12)
    ys = rise(ts, "metak")
    case(
        "metadata/kinetics-conditions",
        "all conditions of an assay in front of a time course",
        "Enzyme: alkaline phosphatase\nSubstrate: pNPP\nSubstrate concentration: 2.5 mmol/L\nBuffer: diethanolamine\npH: 9.8\nTemperature: 30.0 °C\nWavelength: 405 nm\nInterval: 20 s\nPath length: 1 cm\n\nTime (s)\tAbsorbance\n"
        + rows(ts, ys),
        runs=[
            course(
                ts,
                ys,
                {
                    "enzyme": "alkaline phosphatase",
                    "substrate": "pNPP",
                    "ph": 9.8,
                    "temperature": q("30.0", "Cel"),
                    "interval": q("20", "s"),
                    "path-length": q("1", "cm"),
                    "buffer": "diethanolamine",
                },
                nm="405",
            )
        ],
    )
    ys = rise(ts, "metak2")
    case(
        "metadata/kinetics-german",
        "the same with German keys and decimal commas",
        "Enzym: Phosphatase\nSubstrat: pNPP\nPuffer: Diethanolamin\npH-Wert: 9,8\nTemperatur: 30,0 °C\nMesswellenlänge: 405 nm\nIntervall: 20 s\n\nZeit (s);Extinktion\n"
        + rows(ts, cc(ys), sep=";"),
        runs=[
            course(
                ts,
                ys,
                {
                    "enzyme": "Phosphatase",
                    "substrate": "pNPP",
                    "ph": 9.8,
                    "temperature": q("30.0", "Cel"),
                    "interval": q("20", "s"),
                },
                nm="405",
            )
        ],
    )
    ys = rise(ts, "metak3")
    case(
        "metadata/wavelength-contradicts",
        "the key says 405 nm, the column head says 340 nm: a dispute, not a choice",
        "Wavelength: 405 nm\nTime (s)\tA340\n" + rows(ts, ys),
        "in-question",
        question="wavelength-disputed",
        also=["read"],
        runs=[course(ts, ys)],
        remarks=["disput|disagree|conflict|contradict|two wavelengths|differ"],
    )


# ---------------------------------------------------------------- undecidable


def group_undecidable():
    xs = steps("400", "20", 16)
    ys = band(xs, 801)

    def bare(name, why, text, x, y, question="axis-unknown", yq=None, yu=None, xq=None, xu=None, **more):
        case(
            f"undecidable/{name}",
            why,
            text,
            "in-question",
            question=question,
            runs=[run(None, [trace(axis(xq, xu, x), axis(yq, yu, y))])],
            **more,
        )

    bare("bare-400-700", "two bare columns, 400 to 700: wavelength or time", rows(xs, ys), xs, ys)
    bare(
        "bare-400-700-comma",
        "two bare columns with semicolons and decimal commas",
        rows(xs, cc(ys), sep=";"),
        xs,
        ys,
        ext="csv",
    )
    ys = band(xs, 802)
    bare("bare-named-only-sample", "a sample name and two bare columns", "Sample: rutin\n" + rows(xs, ys), xs, ys)
    ts = steps("0", "30", 16)
    y2 = rise(ts, 803)
    bare(
        "bare-from-zero",
        "two bare columns from 0 in steps of 30: seconds, minutes or something else",
        rows(ts, y2),
        ts,
        y2,
    )
    y3 = band(xs, 804)
    bare("x-y-heads", "the heads are X and Y", "X,Y\n" + rows(xs, y3, sep=","), xs, y3, ext="csv")
    bare("column-heads", "the heads are Column 1 and Column 2", "Column 1\tColumn 2\n" + rows(xs, y3), xs, y3)
    bare("sample-heads", "the heads are a sample name and nothing", "\trutin\n" + rows(xs, y3), xs, y3)
    p = percent(y3)
    bare(
        "zero-to-hundred",
        "wavelengths and values between 0 and 100 without a word: percent transmittance or not",
        "Wavelength (nm)\tvalue\n" + rows(xs, p),
        xs,
        p,
        question="absorbance-or-transmittance",
        xq="wavelength",
        xu="nm",
    )
    bare(
        "zero-to-hundred-signal",
        "the head says signal",
        "wavelength_nm,signal\n" + rows(xs, p, sep=","),
        xs,
        p,
        question="absorbance-or-transmittance",
        xq="wavelength",
        xu="nm",
        ext="csv",
    )
    y4 = scaled(y3, 0.8)
    bare(
        "zero-to-one-value",
        "wavelengths and values between 0 and 1 without a word: absorbance or transmitted fraction",
        "Wavelength (nm)\tIntensity\n" + rows(xs, y4),
        xs,
        y4,
        question="absorbance-or-transmittance",
        xq="wavelength",
        xu="nm",
    )
    bare(
        "letter-t",
        "the head says T over values of 0 to 100",
        "nm\tT\n" + rows(xs, p),
        xs,
        p,
        question="absorbance-or-transmittance",
        xq="wavelength",
        xu="nm",
        also=["read"],
    )
    tf = [fixed(float(v) / 100, 4) for v in p]
    bare(
        "letter-t-fraction",
        "the head says T over values of 0 to 1",
        "nm;T\n" + rows(xs, tf, sep=";"),
        xs,
        tf,
        question="absorbance-or-transmittance",
        xq="wavelength",
        xu="nm",
        also=["read"],
    )
    bare(
        "abs-head-percent-values",
        "the head says Abs, the values run to 98: a wrong head or a wrong export",
        "nm\tAbs\n" + rows(xs, p),
        xs,
        p,
        question="absorbance-or-transmittance",
        xq="wavelength",
        xu="nm",
    )
    wn = steps("14000", "1000", 16)
    y5 = band(wn, 805)
    bare("bare-wavenumbers", "two bare columns from 14000 to 29000", rows(wn, y5), wn, y5)
    mid = steps("700", "20", 16)
    y6 = band(mid, 806)
    bare(
        "wave-head",
        "the head says `wave` over 700 to 1000: wavelength in nm or wavenumber",
        "wave\tAbs\n" + rows(mid, y6),
        mid,
        y6,
        question="wavelength-or-wavenumber",
        yq="absorbance",
        yu="{AU}",
    )
    bare(
        "wavelength-no-unit-large",
        "wavelength without a unit over 3000 to 6000: angstrom or a wrong word",
        "wavelength\tAbs\n" + rows(steps("3000", "200", 16), y6),
        steps("3000", "200", 16),
        y6,
        question="wavelength-unit",
        yq="absorbance",
        yu="{AU}",
    )
    bare(
        "time-no-unit",
        "time without a unit",
        "Time;Absorbance\n" + rows(ts, y2, sep=";"),
        ts,
        y2,
        question="time-unit",
        xq="time",
        yq="absorbance",
        yu="{AU}",
        ext="csv",
    )
    bare(
        "time-no-unit-german",
        "time without a unit under German heads",
        "Zeit\tExtinktion\n" + rows(ts, cc(y2)),
        ts,
        y2,
        question="time-unit",
        xq="time",
        yq="absorbance",
        yu="{AU}",
    )
    bare(
        "t-head",
        "t over 0 to 30 and A: the unit of the time is missing",
        "t\tA\n" + rows(steps("0", "2", 16), y2),
        steps("0", "2", 16),
        y2,
        question="time-unit",
        yq="absorbance",
        yu="{AU}",
    )
    bare(
        "m-unit",
        "time in `m`: minutes, or a slip",
        "Time (m)\tAbsorbance\n" + rows(steps("0", "2", 16), y2),
        steps("0", "2", 16),
        y2,
        question="time-unit",
        yq="absorbance",
        yu="{AU}",
        also=["read"],
    )
    conc = ["0.1", "0.2", "0.5", "1", "2", "5"]
    rate = ["0.0121", "0.0220", "0.0450", "0.0688", "0.0931", "0.1155"]
    case(
        "undecidable/rate-no-units",
        "substrate and rate without units",
        "S\tv\n" + rows(conc, rate),
        "in-question",
        question="concentration-unit",
        also=["refused"],
        runs=[run(None, [trace(axis(None, None, conc), axis(None, None, rate))])],
    )
    case(
        "undecidable/one-column",
        "a single bare column of numbers",
        "\n".join(y2) + "\n",
        "in-question",
        question="axis-unknown",
        also=["refused"],
        either=[
            [run(None, [trace(axis(None, None, [str(i) for i in range(16)]), axis(None, None, y2))])],
            [run(None, [trace(axis(None, None, [str(i + 1) for i in range(16)]), axis(None, None, y2))])],
        ],
    )
    bare(
        "cm-key",
        "two bare columns; a key says `cm` only: path length or wavenumber",
        "Cell: 1 cm\n" + rows(wn, y5),
        wn,
        y5,
    )
    bare(
        "time-key-only",
        "two bare columns; the key Time holds the clock, not the axis",
        "Time: 09:12\nSample: rutin\n" + rows(xs, y3),
        xs,
        y3,
    )
    bare(
        "wavelength-key-only",
        "two bare columns, 400 to 700; the key `Wavelength: 405 nm` speaks of a fixed one",
        "Wavelength: 405 nm\nSample: rutin\n" + rows(xs, y3),
        xs,
        y3,
        question="axis-unknown",
        also=["read"],
    )
    bare(
        "temperature-or-time",
        "the head says T over x from 20 to 95 and A over y",
        "T\tA260\n" + rows(steps("20", "5", 16), y3),
        steps("20", "5", 16),
        y3,
        yq="absorbance",
        yu="{AU}",
    )
    bare(
        "units-swapped-columns",
        "the first column is named Absorbance and runs 400 to 700, the second is named Wavelength",
        "Absorbance\tWavelength (nm)\n" + rows(xs, y3),
        xs,
        y3,
    )
    bare(
        "percent-head",
        "the head says %: of transmittance, reflectance or something else",
        "Wavelength (nm)\t%\n" + rows(xs, p),
        xs,
        p,
        question="absorbance-or-transmittance",
        xq="wavelength",
        xu="nm",
    )
    bare(
        "percent-transmittance-small",
        "the head says %T over values of 0 to 1: percent or a fraction under a wrong head",
        "Wavelength (nm)\t%T\n" + rows(xs, tf),
        xs,
        tf,
        question="percent-or-fraction",
        xq="wavelength",
        xu="nm",
        yq="transmittance",
        also=["read"],
    )
    y7, y8 = band(xs, 807), band(xs, 808)
    case(
        "undecidable/three-bare-columns",
        "three bare columns: x and two samples, or index, x and y",
        rows(xs, y7, y8, sep=" "),
        "in-question",
        question="axis-unknown",
        runs=[
            run(
                None,
                [trace(axis(None, None, xs), axis(None, None, y7)), trace(axis(None, None, xs), axis(None, None, y8))],
            )
        ],
        also=["refused"],
    )
    idx = [str(i + 1) for i in range(16)]
    case(
        "undecidable/index-and-x-bare",
        "counting column, 400 to 700, values; no words",
        rows(idx, xs, y7),
        "in-question",
        question="axis-unknown",
        also=["refused"],
    )
    case(
        "undecidable/comma-blank-mix",
        "`400, 0,1234`: separator comma blank with decimal comma, or three columns",
        rows(xs, cc(y7), sep=", "),
        "in-question",
        question="decimal-comma-or-separator",
        also=["read", "refused"],
        runs=[run(None, [trace(axis(None, None, xs), axis(None, None, y7))])],
        ext="csv",
    )
    big = ["1.234", "1.187", "2.045", "3.011", "2.871", "2.312", "1.905", "1.544", "1.321", "1.107"]
    bx = steps("1.000", "0.100", 10)
    case(
        "undecidable/both-columns-three-decimals",
        "`1,000;1,234`: thousands or decimals in both columns",
        "x;y\n" + rows(cc(bx), cc(big), sep=";"),
        "in-question",
        question="decimal-comma-or-thousands",
        ext="csv",
        also=["refused"],
    )
    case(
        "undecidable/point-three-decimals-german",
        "German words, but points before three digits: 1.234 as thousands or decimals",
        "Zeit (s);Signal\n" + rows(steps("0", "10", 10), big, sep=";"),
        "in-question",
        question="decimal-comma-or-thousands",
        ext="csv",
        also=["read"],
        either=[[run(None, [trace(T(steps("0", "10", 10)), axis(None, None, big))])]],
    )
    case(
        "undecidable/space-comma",
        "`400 ,123` with a blank before the comma: decimal without zero, or separator",
        "".join(f"{x} ,{y[2:]}\n" for x, y in zip(xs, scaled(y7, 0.8))),
        "in-question",
        question="decimal-comma-or-separator",
        also=["refused"],
    )
    case(
        "undecidable/matrix-corner-blank",
        "words for the value but not for either axis of a matrix",
        "Absorbance\n\t1\t2\t3\t4\n"
        + rows(["1", "2", "3", "4", "5"], *[band(["1", "2", "3", "4", "5"], f"809{i}") for i in range(4)]),
        "in-question",
        question="axis-unknown",
        also=["refused"],
    )
    plate = [[fixed(0.05 + 0.07 * (r * 12 + col) % 1.3, 3) for col in range(12)] for r in range(8)]
    case(
        "undecidable/plate-grid",
        "a grid of letters and numbers with readings, no wavelength",
        "Absorbance\n\t"
        + "\t".join(str(i + 1) for i in range(12))
        + "\n"
        + "".join("ABCDEFGH"[r] + "\t" + "\t".join(plate[r]) + "\n" for r in range(8)),
        "in-question",
        question="axis-unknown",
        also=["refused", "read"],
    )
    case(
        "undecidable/two-heads-one-sample-unknown-y",
        "wavelength and a column named after the sample only, values 0 to 1.2",
        "Wavelength (nm)\tbetanin\n" + rows(xs, y7),
        "in-question",
        question="absorbance-or-transmittance",
        also=["read"],
        runs=[run("spectrum", [trace(W(xs), axis(None, None, y7))])],
    )
    case(
        "undecidable/fluorescence-or-absorbance",
        "the head says `units`, the values run to 4000",
        "Wavelength (nm)\tunits\n" + rows(xs, scaled(y7, 3600, 1)),
        "in-question",
        question="absorbance-or-transmittance",
        also=["refused"],
        runs=[run(None, [trace(W(xs), axis(None, None, scaled(y7, 3600, 1)))])],
    )


# ---------------------------------------------------------------- no measurements


def group_refused():
    def no(name, why, body, **more):
        case(f"refused/{name}", why, body, "refused", **more)

    no("empty", "an empty file", "")
    no("only-blank-lines", "only blank lines", "\n\n   \n\t\n\n")
    no("only-mark", "only a byte order mark", b"\xef\xbb\xbf")
    no("only-nul", "four hundred NUL bytes", b"\0" * 400, ext="dat")
    no(
        "prose",
        "a page of prose about absorbance, with numbers in it",
        "The absorbance of the solution at 480 nm was found to be 0.62 on Monday and 0.58 on Tuesday.\nWe think that light had bleached it. "
        "At 25 °C it takes about 3 hours, at 37 °C only 1.\n\nNext week we shall repeat this in the dark, with 2 cuvettes and 1 blank.\n",
    )
    no(
        "protocol",
        "a protocol with numbered steps and amounts",
        "Protocol 7\n1. Weigh 2.5 g\n2. Add 20 mL buffer pH 7.0\n3. Spin 10 min at 4000 rpm\n4. Read at 405 nm every 30 s\n5. Wash\n",
    )
    no(
        "source-c",
        "source code with a table of numbers",
        '#include <stdio.h>\nstatic const double w[] = {\n  400.0, 0.123,\n  410.0, 0.234,\n  420.0, 0.345,\n  430.0, 0.456,\n};\nint main(void) { printf("%f\\n", w[1]); return 0; }\n',
        ext="dat",
        also=["in-question"],
    )
    no(
        "source-python",
        "a script",
        "import math\n\nfor i in range(10):\n    x = 400 + 10 * i\n    print(x, math.exp(-x / 100))\n# wavelength absorbance\n",
        ext="txt",
    )
    no(
        "web-page",
        "a web page",
        "<!DOCTYPE html>\n<html><head><title>Room 12</title></head>\n<body><h1>Opening hours</h1>\n<table><tr><td>Mon</td><td>9</td><td>17</td></tr>\n<tr><td>Tue</td><td>9</td><td>16</td></tr></table></body></html>\n",
        ext="txt",
    )
    no(
        "server-log",
        "a log of a program",
        "".join(
            f"2022-05-0{1 + i % 9} 10:0{i % 10}:12 INFO worker {i} finished in {120 + 7 * i} ms, {i * 3} items\n"
            for i in range(20)
        ),
        ext="log",
    )
    no(
        "price-list",
        "a price list",
        "item,price,quantity\n"
        + "".join(
            f"{k},{p},{n}\n"
            for k, p, n in [
                ("cuvettes", "24.50", 2),
                ("gloves", "8.90", 10),
                ("tips", "31.00", 4),
                ("filters", "55.20", 1),
                ("tape", "2.10", 6),
            ]
        ),
        ext="csv",
    )
    no("shopping-list", "a shopping list", "2 kg beet\n1 L ethanol\n500 mL buffer\n12 cuvettes\n3 lamps\n")
    no(
        "weather",
        "weather data",
        "date;temp_max;temp_min;rain_mm\n"
        + "".join(f"2020-06-{i + 1:02d};{18 + i % 7},{i % 10};{9 + i % 4},5;{i % 3},0\n" for i in range(20)),
        ext="csv",
    )
    no(
        "temperature-log",
        "a temperature log of a cold room",
        "time,temperature (°C)\n" + "".join(f"{h:02d}:00,{fixed(4 + 0.1 * (h % 5), 1)}\n" for h in range(24)),
        ext="csv",
    )
    no(
        "bath-log-seconds",
        "a water bath log over seconds: time and temperature, no absorbance",
        "Time (s)\tBath (°C)\n" + "".join(f"{i * 10}\t{fixed(25 + 0.6 * i, 1)}\n" for i in range(20)),
    )
    no(
        "humidity",
        "a humidity log",
        "hour;humidity %\n" + "".join(f"{h};{40 + (h * 7) % 13}\n" for h in range(24)),
        ext="csv",
    )
    no(
        "gradebook",
        "marks of a course",
        "name,task 1,task 2,mean\n"
        + "".join(
            f"student {i},{1 + i % 4}.{i % 3 * 3},{2 + i % 3}.0,{fixed((1 + i % 4 + 2 + i % 3) / 2, 2)}\n"
            for i in range(12)
        ),
        ext="csv",
    )
    no(
        "phone-list",
        "a phone list",
        "name\troom\tphone\n" + "".join(f"kb{i}\t{12 + i}\t0555 {1000 + 37 * i}\n" for i in range(12)),
    )
    no(
        "settings-json",
        "settings as JSON",
        json.dumps({"lamp": {"hours": 812, "on": True}, "range": [400, 700], "step": 5, "name": "room 12"}, indent=2)
        + "\n",
        ext="json",
    )
    no(
        "settings-ini",
        "settings of a program, wavelengths among them",
        "[scan]\nstart_nm=400\nend_nm=700\nstep_nm=5\n[lamp]\nhours=812\nlimit=2000\n",
        ext="txt",
    )
    no(
        "settings-xml",
        "settings as XML",
        '<?xml version="1.0"?>\n<settings><scan start="400" end="700"/><lamp hours="812"/></settings>\n',
        ext="txt",
    )
    r = random.Random("rubbish")
    no("binary-random", "random bytes", bytes(r.randrange(256) for _ in range(2048)), ext="dat")
    no(
        "binary-doubles",
        "numbers as raw doubles, not text",
        b"".join(struct.pack("<dd", 400.0 + i, 0.1 + i / 100) for i in range(60)),
        ext="dat",
    )
    no(
        "binary-picture",
        "the beginning of a picture",
        b"\x89PNG\r\n\x1a\n" + bytes(r.randrange(256) for _ in range(600)),
        ext="dat",
    )
    no(
        "stock",
        "a stock list of chemicals with concentrations",
        "chemical\tconcentration (mM)\tbottles\nNADH\t10\t3\npNPP\t50\t2\nTris\t1000\t5\nEDTA\t500\t1\n",
    )
    no(
        "timetable",
        "who has the room when",
        "hour\tMon\tTue\tWed\n" + "".join(f"{h}\tkb\tmo\t-\n" for h in range(8, 18)),
    )
    no(
        "mass-list",
        "masses of samples",
        "sample;mass (g)\n" + "".join(f"P{i};{c(fixed(2.4 + 0.013 * i, 3))}\n" for i in range(15)),
        ext="csv",
    )
    no(
        "pressure-log",
        "pressure over time",
        "time (min)\tpressure (bar)\n"
        + "".join(f"{fixed(i * 0.5, 1)}\t{fixed(120 + (i * 13) % 7, 1)}\n" for i in range(25)),
    )
    no(
        "ph-titration",
        "pH over added volume",
        "volume (mL)\tpH\n"
        + "".join(f"{fixed(i * 0.5, 1)}\t{fixed(3 + 8 / (1 + math.exp(-(i - 12) / 2)), 2)}\n" for i in range(25)),
    )
    no(
        "citation-list",
        "a list of references with years and pages",
        "1. On beets. 1998, 12, 400-412.\n2. On light. 2003, 7, 500-519.\n3. On both. 2011, 31, 600-633.\n4. On none. 2015, 2, 700-701.\n",
    )
    no(
        "patch",
        "a difference between two texts",
        "--- old\n+++ new\n@@ -1,3 +1,3 @@\n-400 0.123\n+400 0.124\n 410 0.234\n 420 0.345\n",
        also=["in-question"],
    )
    no(
        "sql-dump",
        "statements of a database",
        "".join(f"INSERT INTO booking VALUES ({i}, 'kb', {400 + i}, 0.{100 + i});\n" for i in range(12)),
        ext="txt",
    )
    no(
        "key-values-only",
        "only metadata, no table",
        "Sample: betanin\nTemperature: 37 °C\npH: 7.0\nDate: 2021-03-14\nOperator: kb\n",
    )
    no(
        "geo",
        "a track of coordinates",
        "lat,lon,alt\n" + "".join(f"48.{2000 + i * 3},11.{5000 + i * 7},{500 + i}\n" for i in range(20)),
        ext="csv",
    )
    no(
        "base64",
        "text of coded bytes",
        "\n".join(
            "".join(r.choice("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/") for _ in range(76))
            for _ in range(12)
        )
        + "\n",
    )
    no(
        "calendar",
        "a month",
        "     March 2021\nMo Tu We Th Fr Sa Su\n 1  2  3  4  5  6  7\n 8  9 10 11 12 13 14\n15 16 17 18 19 20 21\n22 23 24 25 26 27 28\n29 30 31\n",
    )
    no(
        "multiplication-table",
        "a table of products",
        "".join("\t".join(str(i * j) for j in range(1, 11)) + "\n" for i in range(1, 11)),
        also=["in-question"],
    )


# ---------------------------------------------------------------- traps


def group_traps():
    xs = steps("400", "10", 20)
    head = "Wavelength (nm)\tAbsorbance\n"
    ys = band(xs, 901)

    def trap(name, why, body, truth=None, **more):
        case(f"traps/{name}", why, body, runs=[truth] if truth else [], **more)

    trap(
        "separator-changes",
        "tabs in the first half, semicolons in the second",
        head + rows(xs[:10], ys[:10]) + rows(xs[10:], ys[10:], sep=";"),
        spectrum(xs, ys),
        also=["in-question", "refused"],
    )
    trap(
        "decimal-changes",
        "decimal points in the first half, decimal commas in the second, tabs between",
        head + rows(xs[:10], ys[:10]) + rows(xs[10:], cc(ys[10:])),
        spectrum(xs, ys),
        also=["in-question", "refused"],
    )
    trap(
        "one-comma-among-points",
        "one value is written with a comma among points",
        head + rows(xs, put(ys, 7, c(ys[7]))),
        verdict="in-question",
        question="number-damaged",
        also=["read", "refused"],
        either=[[spectrum(xs, ys)], [spectrum(xs, put(ys, 7, None))]],
        never=[ys[7].replace(".", "")],
    )
    commay = put(cc(ys), 7, ys[7])
    trap(
        "one-point-among-commas",
        "one value is written with a point among commas",
        "Wellenlänge (nm);Extinktion\n" + rows(xs, commay, sep=";"),
        verdict="in-question",
        question="number-damaged",
        also=["read", "refused"],
        either=[[spectrum(xs, ys)], [spectrum(xs, put(ys, 7, None))]],
        never=[ys[7].replace(".", "")],
    )
    lost = put(ys, 9, ys[9].replace(".", ""))
    trap(
        "lost-decimal-point",
        "one value lost its decimal point, 01318 among 0.2365 and 0.1226: absent with a remark, or asked, since nobody measured 1318",
        head + rows(xs, lost),
        also=["in-question"],
        remarks=["jump|outlier|unlikely|range|large|implausible|zero|above|decimal|damaged"],
        absent=1,
        never=["1318"],
        truth=spectrum(xs, put(ys, 9, None)),
    )
    trap(
        "two-points-in-number",
        "one value holds two points",
        head + rows(xs, put(ys, 6, "0.12.34")),
        also=["in-question"],
        absent=1,
        truth=spectrum(xs, put(ys, 6, None)),
        never=["0.12", "12.34", "34"],
    )
    trap(
        "two-numbers-fused",
        "a lost line end fused two rows",
        head + rows(xs[:9], ys[:9]) + f"{xs[9]}\t{ys[9]}{xs[10]}\t{ys[10]}\n" + rows(xs[11:], ys[11:]),
        verdict="in-question",
        question="number-damaged",
        also=["read", "refused"],
        either=[
            [spectrum(xs[:9] + xs[11:], ys[:9] + ys[11:])],
            [spectrum(xs[:9] + [xs[9]] + xs[11:], ys[:9] + [None] + ys[11:])],
            [spectrum(xs, ys)],
            [spectrum(xs, ys[:9] + [None, None] + ys[11:])],
        ],
    )
    trap(
        "row-lost-a-cell",
        "one row has only one number, without its separator",
        head + "".join(f"{x}\t{y}\n" if i != 8 else f"{y}\n" for i, (x, y) in enumerate(zip(xs, ys))),
        also=["in-question"],
        either=[[spectrum(xs[:8] + xs[9:], ys[:8] + ys[9:])], [spectrum(put(xs, 8, None), ys)]],
        remarks=["row|line|cell|column"],
    )
    trap(
        "row-with-extra-cell",
        "one row has a third number",
        head + "".join(f"{x}\t{y}\n" if i != 8 else f"{x}\t{y}\t0.999\n" for i, (x, y) in enumerate(zip(xs, ys))),
        also=["in-question"],
        truth=spectrum(xs, ys),
        extra_traces_fine=True,
        remarks=["row|line|cell|column|extra"],
    )
    trap(
        "line-numbers",
        "every line has a line number of an editor that rises like an x axis",
        "".join(
            f"{i + 1:>4} {t}\n" for i, t in enumerate(("Wavelength (nm)\tAbsorbance\n" + rows(xs, ys)).split("\n")[:-1])
        ),
        spectrum(xs, ys),
        also=["in-question", "refused"],
    )
    trap(
        "line-numbers-hundreds",
        "line numbers 100, 110, 120 in front of time and absorbance",
        "line\tt (s)\tA\n" + rows([str(100 + 10 * i) for i in range(20)], steps("0", "5", 20), rise(xs, 902)),
        course(steps("0", "5", 20), rise(xs, 902)),
    )
    y2 = band(xs, 903)
    stats = f"Mean\t{fixed(sum(map(float, y2)) / 20, 4)}\nSD\t0.2113\nMin\t{min(y2)}\nMax\t{max(y2)}\nn\t20\n"
    trap(
        "statistics-below",
        "mean, standard deviation, extremes and n stand below the column",
        head + rows(xs, y2) + stats,
        spectrum(xs, y2),
        never=["0.2113", "20"],
    )
    trap(
        "statistics-below-aligned",
        "statistics in the same two columns after a blank line, as words and numbers",
        "Wavelength (nm),Absorbance\n" + rows(xs, y2, sep=",") + "\n" + stats.replace("\t", ","),
        spectrum(xs, y2),
        ext="csv",
        never=["0.2113", "20"],
    )
    reps = [band(xs, 904), scaled(band(xs, 904), 1.01), scaled(band(xs, 904), 0.99)]
    mean = [fixed(sum(float(r[i]) for r in reps) / 3, 4) for i in range(20)]
    sd = ["0.0012"] * 20
    trap(
        "mean-column",
        "three replicates, their mean and standard deviation beside",
        "Wavelength (nm)\trep 1\trep 2\trep 3\tmean\tSD\n" + "Absorbance in all columns\n" + rows(xs, *reps, mean, sd),
        also=["in-question"],
        truth=run("spectrum", [trace(W(xs), A(y), f"rep {i + 1}") for i, y in enumerate(reps)]),
        extra_traces_fine=True,
    )
    trap(
        "total-row-without-word",
        "the last row of a spreadsheet sums the columns: 10000 nm; nothing says so",
        "Wavelength (nm);Absorbance\n" + rows(xs, y2, sep=";") + f";{fixed(sum(map(float, y2)), 4)}\n",
        also=["in-question"],
        ext="csv",
        either=[[spectrum(xs, y2)], [spectrum(xs + [None], y2 + [fixed(sum(map(float, y2)), 4)])]],
    )
    trap(
        "header-with-numbers",
        "the head over the table reads Sample 1 2 3: no row of data",
        "Absorbance\nSample 1 2 3\nnm A A A\n" + rows(xs, *reps, sep=" "),
        also=["in-question"],
        truth=run("spectrum", [trace(W(xs), A(y)) for y in reps]),
    )
    trap(
        "date-row-like-numbers",
        "a date with blanks over two columns looks like a row: 2021 03",
        "Scan of\n2021 03\nWavelength Absorbance\n" + rows(xs, ys, sep=" "),
        spectrum(xs, ys),
        never=["2021", "3"],
    )
    trap(
        "date-bare-above",
        "20210314 0912 above the head is date and clock",
        "20210314 0912\nnm A\n" + rows(xs, ys, sep=" "),
        spectrum(xs, ys),
        never=["20210314", "912"],
    )
    trap(
        "count-row-above",
        "the number of points stands alone above the rows",
        "Wavelength (nm) Absorbance\n20\n" + rows(xs, ys, sep=" "),
        spectrum(xs, ys),
        never=["20"],
    )
    trap(
        "range-row-above",
        "first and last wavelength stand in one row above the table, without words",
        "Wavelength (nm) Absorbance\n400 590\n" + rows(xs, ys, sep=" "),
        verdict="in-question",
        question="row-does-not-fit",
        also=["read", "refused"],
        either=[[spectrum(xs, ys)], [spectrum(["400"] + xs, ["590"] + ys)]],
    )
    peaks = ["430", "550"]
    pk = ["0.8123", "0.4410"]
    trap(
        "peaks-below",
        "a table of peaks follows the spectrum under its own head",
        head + rows(xs, ys) + "\nPeaks\nPosition (nm)\tAbsorbance\n" + rows(peaks, pk),
        verdict="read",
        also=["in-question"],
        either=[[spectrum(xs, ys), run("peak-list", [trace(W(peaks), A(pk))], optional=True)]],
    )
    trap(
        "peaks-below-same-head",
        "a list of peaks follows after a word only, in the same two columns",
        head + rows(xs, ys) + "Peaks:\n" + rows(peaks, pk),
        also=["in-question"],
        either=[[spectrum(xs, ys), run("peak-list", [trace(W(peaks), A(pk))], optional=True)]],
    )
    trap(
        "peaks-above",
        "the list of peaks stands before the spectrum",
        "Maxima\nNo.\tnm\tA\n1\t430\t0.8123\n2\t550\t0.4410\n\nSpectrum\n" + head + rows(xs, ys),
        also=["in-question"],
        either=[[run("peak-list", [trace(W(peaks), A(pk))], optional=True), spectrum(xs, ys)]],
    )
    case(
        "traps/peak-list-only",
        "only a list of peaks",
        "Peak list\nSample: rutin\nNo.\tWavelength (nm)\tAbsorbance\n1\t257.0\t0.712\n2\t354.5\t0.589\n",
        runs=[run("peak-list", [trace(W(["257.0", "354.5"]), A(["0.712", "0.589"]))], {"sample": "rutin"})],
        also=["in-question"],
    )
    case(
        "traps/peak-list-only-german",
        "only a list of peaks, German words, decimal comma",
        "Peakliste\nProbe: Rutin\nMaximum (nm);Extinktion\n257,0;0,712\n354,5;0,589\n411,0;0,102\n",
        runs=[
            run(
                "peak-list",
                [trace(W(["257.0", "354.5", "411.0"]), A(["0.712", "0.589", "0.102"]))],
                {"sample": "Rutin"},
            )
        ],
        also=["in-question"],
    )
    # Ends cut off.
    trap(
        "cut-mid-number",
        "the file is cut off within the last number, no line end: one of four decimals is left",
        (head + rows(xs, ys))[:-4],
        verdict="in-question",
        question="number-damaged",
        also=["read"],
        either=[
            [spectrum(xs, ys[:-1] + [ys[-1][:-3]])],
            [spectrum(xs, ys[:-1] + [None])],
            [spectrum(xs[:-1], ys[:-1])],
        ],
        last_point_uncertain=True,
        remarks=["last|cut|truncat|incomplete|end of|unfinished"],
    )
    trap(
        "cut-mid-x",
        "the file is cut off within the last wavelength: 59",
        (head + rows(xs, ys))[: -(len(ys[-1]) + 3)],
        also=["in-question"],
        either=[[spectrum(xs[:-1], ys[:-1])], [spectrum(xs[:-1] + ["59"], ys[:-1] + [None])]],
        last_point_uncertain=True,
        remarks=["last|cut|truncat|incomplete|end of|unfinished"],
    )
    trap(
        "cut-after-exponent",
        "the file is cut off behind an E",
        head + "400\t1.2E-01\n410\t2.2E-01\n420\t3.1E-01\n430\t2.9E-01\n440\t1.1E",
        also=["in-question"],
        either=[
            [spectrum(["400", "410", "420", "430"], ["0.12", "0.22", "0.31", "0.29"])],
            [spectrum(["400", "410", "420", "430", "440"], ["0.12", "0.22", "0.31", "0.29", None])],
        ],
        last_point_uncertain=True,
        remarks=["last|cut|truncat|incomplete|end of|unfinished"],
        never=["1.1"],
    )
    trap(
        "cut-decimals-comma",
        "the file is cut off within the last number of a table with decimal commas",
        ("Wellenlänge (nm);Extinktion\n" + rows(xs, cc(ys), sep=";"))[:-5],
        verdict="in-question",
        question="number-damaged",
        also=["read"],
        either=[
            [spectrum(xs, ys[:-1] + [ys[-1][:-4] + "0" if ys[-1][:-4].endswith(".") else ys[-1][:-4]])],
            [spectrum(xs, ys[:-1] + [None])],
            [spectrum(xs[:-1], ys[:-1])],
        ],
        last_point_uncertain=True,
        remarks=["last|cut|truncat|incomplete|end of|unfinished"],
        ext="csv",
    )
    trap(
        "announced-count-wrong",
        "the head announces 30 points, the table has 20",
        "Points: 30\n" + head + rows(xs, ys),
        spectrum(xs, ys),
        also=["in-question"],
    )
    # Units in cells.
    trap(
        "units-in-cells",
        "every number carries its unit: 400 nm, 0.1234 A",
        "Wavelength;Absorbance\n" + "".join(f"{x} nm;{y} A\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
        ext="csv",
    )
    trap(
        "units-in-cells-tight",
        "units glued to the numbers: 400nm 0.1234A",
        "lambda ext\n" + "".join(f"{x}nm {y}A\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
        also=["in-question"],
    )
    trap(
        "units-change-in-cells",
        "seconds in the first cells, minutes in the last: 40 s, 1 min",
        "Time\tAbsorbance\n"
        + rows(
            ["0 s", "20 s", "40 s", "1 min", "2 min", "3 min"], ["0.100", "0.201", "0.298", "0.372", "0.511", "0.583"]
        ),
        also=["in-question", "refused"],
        truth=course(["0", "20", "40", "60", "120", "180"], ["0.100", "0.201", "0.298", "0.372", "0.511", "0.583"]),
    )
    trap(
        "percent-sign-in-cells",
        "percent signs in the cells: 57.3 %",
        "Wavelength (nm)\tT\n" + "".join(f"{x}\t{p} %\n" for x, p in zip(xs, percent(ys))),
        run("spectrum", [trace(W(xs), P(percent(ys)))]),
        also=["in-question"],
    )
    # Columns that deceive.
    trap(
        "duplicated-column",
        "the same absorbance stands twice under two names",
        "nm\tA (raw)\tA (corr.)\n" + rows(xs, ys, ys),
        run("spectrum", [trace(W(xs), A(ys)), trace(W(xs), A(ys))]),
    )
    trap(
        "duplicated-x",
        "the wavelength column stands twice",
        "nm,nm,Abs\n" + rows(xs, xs, ys, sep=","),
        spectrum(xs, ys),
        ext="csv",
        also=["in-question"],
    )
    trap(
        "all-zero-column",
        "one sample reads zero everywhere",
        "Absorbance\nnm\tblank\tbeet\n" + rows(xs, ["0.0000"] * 20, ys),
        run("spectrum", [trace(W(xs), A(["0.0000"] * 20), "blank"), trace(W(xs), A(ys), "beet")]),
    )
    trap(
        "all-zero-only",
        "every reading is zero",
        head + rows(xs, ["0.000"] * 20),
        spectrum(xs, ["0.000"] * 20),
        also=["in-question"],
    )
    trap(
        "percent-and-absorbance-swapped-order",
        "the %T column stands before the absorbance column",
        "nm;%T;A\n" + rows(xs, percent(ys), ys, sep=";"),
        run("spectrum", [trace(W(xs), P(percent(ys))), trace(W(xs), A(ys))]),
        ext="csv",
    )
    trap(
        "absorbance-and-transmittance-contradict",
        "A and %T of the same row do not belong together: they are one row apart",
        "nm;A;%T\n" + rows(xs, ys, percent(ys[1:] + ["0.0500"]), sep=";"),
        also=["in-question"],
        ext="csv",
        truth=run("spectrum", [trace(W(xs), A(ys)), trace(W(xs), P(percent(ys[1:] + ["0.0500"])))]),
    )
    trap(
        "temperature-named-t",
        "t is time and T is temperature in one head",
        "t (s)\tT (°C)\tA405\n" + rows(steps("0", "10", 20), ["25.0"] * 20, rise(xs, 905)),
        run(
            "time-course",
            [
                trace(T(steps("0", "10", 20)), A(rise(xs, 905)), None, [at_nm("405")]),
                trace(T(steps("0", "10", 20)), axis("temperature", "Cel", ["25.0"] * 20), optional=True),
            ],
        ),
    )
    trap(
        "temperature-like-absorbance",
        "a temperature column with values that could be wavelengths, in kelvin",
        "Time (s),T (K),Abs\n" + rows(steps("0", "10", 20), steps("298.15", "0.50", 20), rise(xs, 906), sep=","),
        run(
            "time-course",
            [
                trace(T(steps("0", "10", 20)), A(rise(xs, 906))),
                trace(T(steps("0", "10", 20)), axis("temperature", "K", steps("298.15", "0.50", 20)), optional=True),
            ],
        ),
        ext="csv",
    )
    trap(
        "ph-column",
        "a pH column beside the absorbance",
        "Time (min)\tpH\tA520\n" + rows(steps("0", "1", 20), ["7.02"] * 20, rise(xs, 907)),
        run(
            "time-course",
            [
                trace(T(steps("0", "1", 20), "min"), A(rise(xs, 907)), None, [at_nm("520")]),
                trace(T(steps("0", "1", 20), "min"), axis("ph", None, ["7.02"] * 20), optional=True),
            ],
        ),
    )
    trap(
        "columns-change-midway",
        "from the middle on there is a second sample column, announced by a new head",
        "nm\tA one\n" + rows(xs[:10], ys[:10]) + "nm\tA one\tA two\n" + rows(xs[10:], ys[10:], band(xs[10:], 908)),
        also=["in-question"],
        either=[
            [
                run("spectrum", [trace(W(xs[:10]), A(ys[:10]))]),
                run("spectrum", [trace(W(xs[10:]), A(ys[10:])), trace(W(xs[10:]), A(band(xs[10:], 908)))]),
            ],
            [run("spectrum", [trace(W(xs), A(ys)), trace(W(xs[10:]), A(band(xs[10:], 908)))])],
        ],
        runs_may_be_split=True,
    )
    trap(
        "columns-swap-midway",
        "the second head swaps the columns: absorbance first",
        "nm\tA\n" + rows(xs[:10], ys[:10]) + "A\tnm\n" + rows(ys[10:], xs[10:]),
        also=["in-question", "refused"],
        either=[[spectrum(xs, ys)], [spectrum(xs[:10], ys[:10]), spectrum(xs[10:], ys[10:])]],
    )
    trap(
        "unit-changes-midway",
        "the second part of the table is in wavenumbers under a new head",
        "nm\tA\n" + rows(xs, ys) + "cm-1\tA\n" + rows(steps("16000", "500", 8), band(steps("16000", "500", 8), 909)),
        also=["in-question"],
        either=[
            [
                spectrum(xs, ys),
                run("spectrum", [trace(K(steps("16000", "500", 8)), A(band(steps("16000", "500", 8), 909)))]),
            ]
        ],
    )
    trap(
        "absorbance-turns-transmittance",
        "the second table is %T under a new head",
        "nm\tAbs\n" + rows(xs, ys) + "\nnm\t%T\n" + rows(xs, percent(ys)),
        also=["in-question"],
        either=[[spectrum(xs, ys), run("spectrum", [trace(W(xs), P(percent(ys)))])]],
    )
    trap(
        "outlier-x",
        "one wavelength is mistyped: 4700 among 460 and 480; as written, with a remark",
        head + rows(put(xs, 7, "4700"), ys),
        spectrum(put(xs, 7, "4700"), ys),
        also=["in-question"],
        remarks=["x|wavelength|order|step|jump|out of"],
    )
    trap(
        "repeated-row",
        "one row stands twice",
        head + rows(xs[:8] + [xs[7]] + xs[8:], ys[:8] + [ys[7]] + ys[8:]),
        spectrum(xs[:8] + [xs[7]] + xs[8:], ys[:8] + [ys[7]] + ys[8:]),
        also=["in-question"],
    )
    trap(
        "commented-out-rows",
        "two rows are put out of use with a hash",
        head + "".join(("# " if i in (4, 5) else "") + f"{x}\t{y}\n" for i, (x, y) in enumerate(zip(xs, ys))),
        spectrum(xs[:4] + xs[6:], ys[:4] + ys[6:]),
        also=["in-question"],
    )
    trap(
        "remark-behind-number",
        "remarks stand behind some numbers",
        head
        + "".join(f"{x}\t{y}" + ("  # bubble?" if i in (4, 9) else "") + "\n" for i, (x, y) in enumerate(zip(xs, ys))),
        spectrum(xs, ys),
        also=["in-question"],
    )
    trap(
        "dilution-in-head",
        "the head notes a dilution of 1:10; the numbers stay as written",
        "Wavelength (nm)\tAbsorbance (1:10)\n" + rows(xs, ys),
        spectrum(xs, ys),
        also=["in-question"],
    )
    trap(
        "gain-in-metadata",
        "a factor stands among the keys; the numbers stay as written",
        "Factor: 2.0\nDilution: 1:50\n" + head + rows(xs, ys),
        spectrum(xs, ys),
    )
    trap(
        "offset-x",
        "the second half of the wavelengths is in tenths of a nanometre, as only its own head tells",
        "nm\tA\n" + rows(xs[:10], ys[:10]) + "nm/10\tA\n" + rows([x + "0" for x in xs[10:]], ys[10:]),
        verdict="in-question",
        question="scale-in-head",
        also=["read", "refused"],
        extra_runs_fine=True,
    )
    trap(
        "logarithm",
        "log A instead of A: no absorbance",
        "Wavelength (nm)\tlog A\n" + rows(xs, [fixed(math.log10(float(y)), 4) for y in ys]),
        verdict="in-question",
        question="absorbance-or-other",
        also=["read", "refused"],
        either=[[run("spectrum", [trace(W(xs), axis(None, None, [fixed(math.log10(float(y)), 4) for y in ys]))])]],
        y_must_not_be="absorbance",
    )
    trap(
        "epsilon",
        "molar absorption coefficient instead of absorbance",
        "Wavelength (nm)\tepsilon (L/mol/cm)\n" + rows(xs, scaled(ys, 20000, 0)),
        also=["in-question", "refused"],
        either=[[run(None, [trace(W(xs), axis(None, None, scaled(ys, 20000, 0)))])]],
        y_must_not_be="absorbance",
    )
    trap(
        "derivative",
        "first derivative dA/dλ instead of absorbance",
        "Wavelength (nm)\tdA/dλ (1/nm)\n" + rows(xs, scaled(ys, 0.01, 6)),
        also=["in-question", "refused"],
        either=[[run(None, [trace(W(xs), axis(None, None, scaled(ys, 0.01, 6)))])]],
        y_must_not_be="absorbance",
    )
    trap(
        "reflectance",
        "percent reflectance is no transmittance",
        "Wavelength (nm)\t%R\n" + rows(xs, percent(ys)),
        also=["in-question", "refused"],
        either=[[run(None, [trace(W(xs), axis(None, None, percent(ys)))])]],
        y_must_not_be="transmittance",
    )
    trap(
        "fluorescence",
        "emission in counts is no absorbance",
        "Emission wavelength (nm)\tCounts\n" + rows(xs, scaled(ys, 50000, 0)),
        also=["in-question", "refused"],
        either=[[run(None, [trace(W(xs), axis(None, None, scaled(ys, 50000, 0)))])]],
        y_must_not_be="absorbance",
    )
    trap(
        "hex-like-names",
        "sample names like 1E5 and 2D3 read as numbers",
        "Absorbance\nnm\t1E5\t2D3\t12e\n" + rows(xs, *reps),
        run("spectrum", [trace(W(xs), A(y), k) for k, y in zip(["1E5", "2D3", "12e"], reps)]),
        also=["in-question"],
    )
    trap(
        "date-eaten-cells",
        "an office program turned 1.5 and 2.3 into dates: 1. May, 02.Mrz",
        "Zeit (min);Extinktion\n0.5;0.111\n1.0;0.150\n1. Mai;0.201\n2.0;0.244\n02. Mrz;0.281\n3.0;0.330\n",
        also=["in-question", "refused"],
        absent=2,
        either=[
            [
                course(
                    ["0.5", "1.0", None, "2.0", None, "3.0"],
                    ["0.111", "0.150", "0.201", "0.244", "0.281", "0.330"],
                    unit="min",
                )
            ],
            [course(["0.5", "1.0", "2.0", "3.0"], ["0.111", "0.150", "0.244", "0.330"], unit="min")],
        ],
        ext="csv",
    )
    trap(
        "rounded-by-office",
        "long numbers were shortened to 4E+02 by an office program: three rows with the same x",
        "Wavelength (nm),Absorbance\n4E+02,0.1201\n4E+02,0.1304\n4E+02,0.1411\n5E+02,0.1502\n5E+02,0.1611\n",
        ext="csv",
        also=["in-question"],
        truth=spectrum(["400", "400", "400", "500", "500"], ["0.1201", "0.1304", "0.1411", "0.1502", "0.1611"]),
    )
    trap(
        "sep-line",
        "the first line tells an office program the separator: sep=;",
        "sep=;\nWavelength (nm);Absorbance\n" + rows(xs, ys, sep=";"),
        spectrum(xs, ys),
        ext="csv",
    )
    trap(
        "wrong-extension", "tabs in a file whose name promises commas", head + rows(xs, ys), spectrum(xs, ys), ext="csv"
    )
    trap("json-extension", "a plain table in a file named .json", head + rows(xs, ys), spectrum(xs, ys), ext="json")
    trap(
        "blank-in-unit-row",
        "a unit row with a blank cell shifts the units when blanks separate",
        "Wavelength  Temp  Absorbance\nnm                AU\n"
        + "".join(f"{x}         25    {y}\n" for x, y in zip(xs, ys)),
        also=["in-question"],
        truth=spectrum(xs, ys),
        extra_traces_fine=True,
    )
    trap(
        "merged-files-different-decimals",
        "two exports joined: one with points, one with commas, each with its own head",
        "Sample: one\nWavelength (nm);Absorbance\n"
        + rows(xs, ys, sep=";")
        + "\nProbe: zwei\nWellenlänge (nm);Extinktion\n"
        + rows(xs, cc(y2), sep=";"),
        also=["in-question"],
        ext="csv",
        either=[[spectrum(xs, ys, {"sample": "one"}), spectrum(xs, y2, {"sample": "zwei"})]],
    )
    trap(
        "negative-zero",
        "minus zero among the values",
        head + rows(xs, put(ys, 3, "-0.0000")),
        spectrum(xs, put(ys, 3, "0.0000")),
    )
    trap(
        "tiny-difference",
        "neighbouring columns differ in the last digit only",
        "Absorbance\nnm\tone\ttwo\n" + rows(xs, ys, [str(Decimal(y) + Decimal("0.0001")) for y in ys]),
        run(
            "spectrum",
            [trace(W(xs), A(ys), "one"), trace(W(xs), A([str(Decimal(y) + Decimal("0.0001")) for y in ys]), "two")],
        ),
    )


# ---------------------------------------------------------------- later finds


def group_odds():
    xs = steps("400", "10", 20)
    ts = steps("0", "10", 20)
    head = "Wavelength (nm)\tAbsorbance\n"
    ys = band(xs, 1001)

    def odd(name, why, body, truth=None, **more):
        case(f"odds/{name}", why, body, runs=[truth] if truth else [], **more)

    # Thousands that appear only from 1000 on.
    tk = steps("950", "10", 12)
    yk = rise(tk, 1002)
    us = [f"{t[:-3]},{t[-3:]}" if len(t) > 3 else t for t in tk]
    de = [f"{t[:-3]}.{t[-3:]}" if len(t) > 3 else t for t in tk]
    odd(
        "thousands-begin-midway",
        "990, then 1,000: the thousands mark appears only from 1000 s on",
        "Time (s)\tAbsorbance\n" + rows(us, yk),
        course(tk, yk),
        also=["in-question"],
        never=["1"],
    )
    odd(
        "thousands-begin-midway-german",
        "990, then 1.000: a point marks the thousands beside decimal commas, only from 1000 s on",
        "Zeit (s);Extinktion\n" + rows(de, cc(yk), sep=";"),
        course(tk, yk),
        also=["in-question"],
        never=["1"],
        ext="csv",
    )
    odd(
        "thousands-unquoted-in-commas",
        "990,0.5 and then 1,000,0.5: the thousands mark is the separator, the rows grow by a cell",
        "Time (s),Absorbance\n" + rows(us, yk, sep=","),
        verdict="in-question",
        question="decimal-comma-or-separator",
        also=["read", "refused"],
        either=[[course(tk, yk)]],
        never=["1"],
        ext="csv",
    )
    wn = steps("25000", "-500", 14)
    yw = band(wn, 1003)
    odd(
        "thousands-blank-in-blanks",
        "25 000 0,1234: the thousands mark is a blank, and so is the separator",
        "Wellenzahl/cm-1 Extinktion\n" + rows([f"{x[:-3]} {x[-3:]}" for x in wn], cc(yw), sep=" "),
        verdict="in-question",
        question="layout-unknown",
        also=["read", "refused"],
        either=[[run("spectrum", [trace(K(wn), A(yw))])]],
        never=["25"],
    )
    # Things glued to numbers.
    odd(
        "plus-minus-in-cell",
        "value and its error in one cell: 0.1234 ± 0.0012",
        head + "".join(f"{x}\t{y} ± 0.0012\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
        also=["in-question", "refused"],
        extra_traces_fine=True,
    )
    odd(
        "uncertain-digits-in-cell",
        "the error in parentheses: 0.1234(12)",
        head + "".join(f"{x}\t{y}(12)\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
        also=["in-question", "refused"],
    )
    odd(
        "footnote-raised",
        "a raised 1 behind two values marks a footnote and is no digit",
        head + rows(xs, put(put(ys, 5, ys[5] + "¹"), 11, ys[11] + "¹")) + "¹ bubble in the cuvette\n",
        also=["in-question"],
        either=[[spectrum(xs, ys)], [spectrum(xs, put(ys, [5, 11], None))]],
        never=[ys[5] + "1", ys[11] + "1"],
    )
    odd(
        "footnote-in-parentheses",
        "(1) behind two values marks a footnote",
        head + rows(xs, put(put(ys, 5, ys[5] + " (1)"), 11, ys[11] + " (1)")) + "(1) bubble in the cuvette\n",
        also=["in-question"],
        either=[[spectrum(xs, ys)], [spectrum(xs, put(ys, [5, 11], None))]],
    )
    odd(
        "unit-letter-e",
        "E as the unit of extinction behind each value is no exponent",
        "Zeit (s);Extinktion\n" + "".join(f"{t};{c(y)} E\n" for t, y in zip(ts, rise(ts, 1004))),
        course(ts, rise(ts, 1004)),
        also=["in-question"],
    )
    odd(
        "approximate-sign",
        "~ before two uncertain values",
        head + rows(xs, put(put(ys, 5, "~" + ys[5]), 6, "~" + ys[6])),
        also=["in-question"],
        either=[[spectrum(xs, ys)], [spectrum(xs, put(ys, [5, 6], None))]],
    )
    odd(
        "range-in-x",
        "x is an interval: 400-410, 410-420",
        "Band (nm)\tAbsorbance\n" + rows([f"{x}-{int(x) + 10}" for x in xs], ys),
        verdict="in-question",
        question="axis-unknown",
        also=["refused", "read"],
        either=[[spectrum(xs, ys)], [spectrum(steps("405", "10", 20), ys)]],
    )
    # Separators where none is expected.
    odd(
        "separator-trails",
        "every row ends in a separator: the third column is empty, not missing",
        "Wavelength (nm);Absorbance;\n" + "".join(f"{x};{y};\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
        ext="csv",
    )
    odd(
        "separator-trails-rows-only",
        "the rows end in a separator, the head does not",
        "Wavelength (nm),Absorbance\n" + "".join(f"{x},{y},\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
        ext="csv",
    )
    odd(
        "separator-leads",
        "every row begins with a tab",
        "\tWavelength (nm)\tAbsorbance\n" + "".join(f"\t{x}\t{y}\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
    )
    odd(
        "separator-doubled",
        "two tabs between the columns",
        "Wavelength (nm)\t\tAbsorbance\n" + rows(xs, ys, sep="\t\t"),
        spectrum(xs, ys),
    )
    odd(
        "many-empty-columns",
        "a spreadsheet saved with twenty empty columns and ten empty rows",
        "Wavelength (nm),Absorbance"
        + "," * 20
        + "\n"
        + "".join(f"{x},{y}" + "," * 20 + "\n" for x, y in zip(xs, ys))
        + ("," * 21 + "\n") * 10,
        spectrum(xs, ys),
        ext="csv",
    )
    odd(
        "mixed-tabs-and-blanks",
        "sometimes a tab and sometimes blanks between the columns",
        head + "".join(f"{x}{[chr(9), '   ', ' ' + chr(9)][i % 3]}{y}\n" for i, (x, y) in enumerate(zip(xs, ys))),
        spectrum(xs, ys),
        also=["in-question"],
    )
    odd(
        "colon-separator",
        "colons between the columns: 400:0.1234 looks like keys with values",
        "Wavelength (nm):Absorbance\n" + rows(xs, ys, sep=":"),
        spectrum(xs, ys),
        also=["in-question", "refused"],
    )
    odd(
        "equals-separator",
        "A(400) = 0.1234, one line a wavelength",
        "".join(f"A({x} nm) = {y}\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
        also=["in-question", "refused"],
    )
    odd(
        "slash-separator",
        "400/0.1234 in one line, blanks between the pairs",
        "Spectrum as nm/A pairs:\n" + " ".join(f"{x}/{y}" for x, y in zip(xs, ys)) + "\n",
        spectrum(xs, ys),
        also=["in-question", "refused"],
    )
    odd(
        "brackets-list",
        "pairs in brackets as a program prints its lists",
        "wavelength_nm, absorbance\n[" + ", ".join(f"({x}, {y})" for x, y in zip(xs, ys)) + "]\n",
        spectrum(xs, ys),
        also=["in-question", "refused"],
    )
    odd(
        "rows-of-json",
        "one object a line, each with wavelength and absorbance",
        "".join(json.dumps({"wavelength_nm": int(x), "absorbance": float(y)}) + "\n" for x, y in zip(xs, ys)),
        spectrum(xs, ys),
        also=["in-question", "refused"],
        ext="jsonl",
    )
    # Heads that mislead.
    two = [band(xs, "1005a"), band(xs, "1005b")]
    odd(
        "blanks-in-names",
        "single blanks separate everything, and the names hold blanks: beet raw, beet boiled",
        "Absorbance\nnm beet raw beet boiled\n" + rows(xs, *two, sep=" "),
        also=["in-question"],
        truth=run("spectrum", [trace(W(xs), A(y)) for y in two]),
    )
    yt = [rise(ts, "1006a"), rise(ts, "1006b")]
    odd(
        "bare-wavelength-heads",
        "the heads over the absorbances are bare numbers: 405 and 620, told in the title",
        "Absorbance at two wavelengths (nm)\nTime (s)\t405\t620\n" + rows(ts, *yt),
        also=["in-question"],
        truth=run("time-course", [trace(T(ts), A(y), None, [at_nm(w)]) for y, w in zip(yt, ["405", "620"])]),
    )
    odd(
        "range-key-contradicts-x",
        "the key says 400-700 nm, the x column counts 1 to 20 under the head nm",
        "Range: 400-700 nm\nnm\tA\n" + rows([str(i + 1) for i in range(20)], ys),
        verdict="in-question",
        question="axis-unknown",
        also=["refused"],
        truth=run(None, [trace(axis(None, None, [str(i + 1) for i in range(20)]), A(ys))]),
    )
    odd(
        "interval-contradicts-time",
        "the key says an interval of 1 min, the times rise by 10 under (s)",
        "Interval: 1 min\nTime (s)\tA405\n" + rows(ts, rise(ts, 1007)),
        verdict="in-question",
        question="time-unit",
        also=["read"],
        either=[[course(ts, rise(ts, 1007))], [run("time-course", [trace(axis(None, None, ts), A(rise(ts, 1007)))])]],
        remarks=["interval|contradict|disagree|differ|conflict|disput"],
    )
    odd(
        "day-fractions",
        "an office program stored the clock as fractions of a day under the head Time (hh:mm:ss)",
        "Time (hh:mm:ss)\tAbsorbance\n" + rows([fixed(i * 30 / 86400, 9) for i in range(12)], rise(ts[:12], 1008)),
        verdict="in-question",
        question="time-unit",
        also=["refused"],
    )
    odd(
        "serial-days",
        "times as serial numbers of days: 43900.375",
        "Date and time\tAbsorbance\n" + rows([fixed(43900.375 + i / 1440, 6) for i in range(12)], rise(ts[:12], 1009)),
        verdict="in-question",
        question="time-unit",
        also=["refused"],
    )
    odd(
        "head-translated-wrong",
        "a German head over values with points, no comma anywhere",
        "Wellenlänge (nm)\tExtinktion\n" + rows(xs, ys),
        spectrum(xs, ys),
    )
    odd(
        "head-says-nm-values-in-cm",
        "the head says nm, the values run from 25000 to 18500",
        "nm\tA\n" + rows(wn, yw),
        verdict="in-question",
        question="wavelength-or-wavenumber",
        also=["refused"],
        truth=run(None, [trace(axis(None, None, wn), A(yw))]),
    )
    odd(
        "second-axis-nm-and-cm",
        "wavelength and wavenumber of each row side by side",
        "nm\tcm-1\tA\n" + rows(xs, [fixed(1e7 / float(x), 0) for x in xs], ys),
        also=["in-question"],
        extra_traces_fine=True,
        either=[[spectrum(xs, ys)], [run("spectrum", [trace(K([fixed(1e7 / float(x), 0) for x in xs]), A(ys))])]],
    )
    # Matrices that break.
    times = ["0", "30", "60", "90"]
    m = fade(xs[:10], 1010, 4)

    def scans(tt, mats, wl=xs[:10]):
        return run("spectral-time-course", [trace(W(wl), A(y), None, [at_s(t)]) for t, y in zip(tt, mats)])

    full = "Absorbance\nWavelength (nm)\t" + "\t".join(t + " s" for t in times) + "\n" + rows(xs[:10], *m)
    cut = full.rstrip("\n").rsplit("\t", 2)[0]
    short = [m[0], m[1]] + [put(y, 9, None) for y in m[2:]]
    odd(
        "matrix-last-row-short",
        "the last row of a matrix is cut off after two of four values, no line end",
        cut,
        also=["in-question"],
        absent=2,
        last_point_uncertain=True,
        truth=scans(times, short),
        remarks=["last|cut|truncat|incomplete|short|row|missing|absent|end of"],
    )
    odd(
        "matrix-clock-heads",
        "the heads of a matrix are clock readings: 0:00, 0:30, 1:00, told as min:s",
        "Absorbance, time as min:s\nnm\t0:00\t0:30\t1:00\t1:30\n" + rows(xs[:10], *m),
        scans(times, m),
        also=["in-question"],
    )
    odd(
        "matrix-times-repeat",
        "two scans have the same time",
        "Absorbance\nnm;0 s;30 s;30 s;60 s\n" + rows(xs[:10], *m, sep=";"),
        scans(["0", "30", "30", "60"], m),
        also=["in-question"],
        ext="csv",
    )
    odd(
        "matrix-mixed-time-units",
        "the heads change from seconds to minutes: 0 s, 30 s, 1 min, 2 min",
        "Absorbance\nnm;0 s;30 s;1 min;2 min\n" + rows(xs[:10], *m, sep=";"),
        also=["in-question", "refused"],
        ext="csv",
        either=[
            [scans(["0", "30", "60", "120"], m)],
            [
                run(
                    "spectral-time-course",
                    [
                        trace(W(xs[:10]), A(y), None, [held("time", u, t)])
                        for (t, u), y in zip([("0", "s"), ("30", "s"), ("1", "min"), ("2", "min")], m)
                    ],
                )
            ],
        ],
    )
    odd(
        "matrix-blocks-per-scan",
        "each scan is a block of its own, its time stands in the line above",
        "Repeated scans of betanin\n"
        + "".join(
            f"\nScan {i + 1}, t = {t} s\nWavelength (nm)\tAbsorbance\n" + rows(xs[:10], y)
            for i, (t, y) in enumerate(zip(times, m))
        ),
        also=["in-question"],
        either=[
            [scans(times, m)],
            [run("spectrum", [trace(W(xs[:10]), A(y), None, [at_s(t)])]) for t, y in zip(times, m)],
            [spectrum(xs[:10], y) for y in m],
        ],
    )
    odd(
        "matrix-sum-row",
        "the last row of a matrix is the sum of each column, named so",
        full + "Sum\t" + "\t".join(fixed(sum(map(float, y)), 4) for y in m) + "\n",
        scans(times, m),
        also=["in-question"],
    )
    # Metadata in odd places.
    odd(
        "notes-beside-table",
        "keys and values stand in columns to the right of the first rows",
        "Wavelength (nm),Absorbance,,Sample,betanin\n"
        + "".join(
            f"{x},{y}" + [",,pH,7.0", ",,Temperature,37 °C"][i] + "\n" if i < 2 else f"{x},{y},,,\n"
            for i, (x, y) in enumerate(zip(xs, ys))
        ),
        spectrum(xs, ys),
        also=["in-question"],
        ext="csv",
        never=["7", "37"],
    )
    odd(
        "metadata-as-two-rows",
        "the conditions are a table of their own: names in one row, values in the next",
        "Sample,Temperature (°C),pH,Path (cm)\nbetanin,37,7.0,1\n\nWavelength (nm),Absorbance\n"
        + rows(xs, ys, sep=","),
        spectrum(xs, ys),
        also=["in-question"],
        ext="csv",
        never=["37", "7"],
    )
    three = [band(xs, f"1011{i}") for i in range(3)]
    odd(
        "metadata-row-per-column",
        "rows for pH and temperature stand over the columns and look like data",
        "Absorbance\nSample,A1,A2,A3\npH,3.0,5.0,7.0\nTemperature (°C),25,25,25\nWavelength (nm),,,\n"
        + rows(xs, *three, sep=","),
        also=["in-question"],
        ext="csv",
        either=[[run("spectrum", [trace(W(xs), A(y), k) for k, y in zip(["A1", "A2", "A3"], three)])]],
        never=["3", "5", "7", "25"],
    )
    case(
        "odds/twenty-small-runs",
        "twenty runs of five points one after another",
        "".join(
            f"Sample: s{k + 1}\nTime (s)\tA405\n" + rows(ts[:5], rise(ts[:5], f"1012{k}")) + "\n" for k in range(20)
        ),
        runs=[course(ts[:5], rise(ts[:5], f"1012{k}"), {"sample": f"s{k + 1}"}, nm="405") for k in range(20)],
    )
    odd(
        "conditions-carry-over",
        "the temperature stands once above three runs, the samples stand with each",
        "Temperature: 37 °C\n\n"
        + "".join(
            f"Sample: {k}\nWavelength (nm)\tAbsorbance\n" + rows(xs, y) + "\n"
            for k, y in zip(["one", "two", "three"], three)
        ),
        also=["in-question"],
        either=[[spectrum(xs, y, {"sample": k}) for k, y in zip(["one", "two", "three"], three)]],
    )
    odd(
        "conditions-change-midway",
        "a key in the middle changes the temperature for the second run only",
        "Sample: one\nTemperature: 25 °C\n"
        + head
        + rows(xs, three[0])
        + "\nSample: two\nTemperature: 37 °C\n"
        + head
        + rows(xs, three[1]),
        either=[
            [
                spectrum(xs, three[0], {"sample": "one", "temperature": q("25", "Cel")}),
                spectrum(xs, three[1], {"sample": "two", "temperature": q("37", "Cel")}),
            ]
        ],
    )
    odd(
        "keys-behind-belong-to-table-above",
        "each sample name stands below its table",
        head + rows(xs, three[0]) + "Sample: one\n\n" + head + rows(xs, three[1]) + "Sample: two\n",
        also=["in-question"],
        either=[[spectrum(xs, three[0], {"sample": "one"}), spectrum(xs, three[1], {"sample": "two"})]],
    )


# ---------------------------------------------------------------- combinations


def group_combinations():
    """Everything at once, by a seeded draw: language, bytes, numbers, shape, keys and markers. All decided by words."""
    words = {
        "en": dict(
            wl="Wavelength",
            a="Absorbance",
            t="Time",
            sample="Sample",
            temp="Temperature",
            ph="pH",
            op="Operator",
            date="Date",
            d="{y}-{m}-{d}",
        ),
        "de": dict(
            wl="Wellenlänge",
            a="Extinktion",
            t="Zeit",
            sample="Probe",
            temp="Temperatur",
            ph="pH-Wert",
            op="Bearbeiter",
            date="Datum",
            d="{d}.{m}.{y}",
        ),
        "fr": dict(
            wl="Longueur d'onde",
            a="Absorbance",
            t="Temps",
            sample="Échantillon",
            temp="Température",
            ph="pH",
            op="Opérateur",
            date="Date",
            d="{d}/{m}/{y}",
        ),
        "es": dict(
            wl="Longitud de onda",
            a="Absorbancia",
            t="Tiempo",
            sample="Muestra",
            temp="Temperatura",
            ph="pH",
            op="Operador",
            date="Fecha",
            d="{d}/{m}/{y}",
        ),
    }
    names = ["betanin", "crocin", "rutin", "pNPP", "methyl orange", "beet juice 3"]
    langs, shapes = ["en", "de", "fr", "es"], ["spectrum", "course", "many", "matrix", "rows", "pairs"]
    for i in range(96):
        r = random.Random(f"combination {i}")
        lang, shape = langs[i % 4], shapes[i // 4 % 6]
        w = words[lang]
        comma = lang != "en" and r.random() < 0.8
        sep = r.choice(["\t", ";", " | ", "    "] if comma else ["\t", ";", ",", "    ", "|"])
        enc = r.choice(["utf-8", "utf-8-sig", "utf-16", "latin-1", "cp1252"])
        eol = r.choice(["\n", "\r\n", "\r"])
        style = r.choice([": ", " = ", "\t", "# "])
        units = r.choice([" (%s)", " [%s]", "/%s"])
        marker = r.choice([None, None, "OVER", "---", "NaN"])
        n = r.randrange(8, 24)
        x = steps(r.choice(["300", "420.0", "505.5"]), r.choice(["2", "5", "10.0"]), n)
        if shape != "course" and r.random() < 0.35:
            x.reverse()
        tunit = r.choice(["s", "min"])
        if shape == "course":
            x = steps("0", r.choice(["0.5", "10", "15.0"]), n)
        k = 1 if shape in ("spectrum", "course") else r.randrange(2, 5)
        columns = (
            [rise(x, f"comb{i}")]
            if shape == "course"
            else (fade(x, f"comb{i}", k) if shape == "matrix" else [band(x, f"comb{i} {j}") for j in range(k)])
        )
        places = sorted(r.sample(range(n), 2)) if marker else []
        truth = [put(col, places, None) if places and j == 0 else col for j, col in enumerate(columns)]
        cell = c if comma else (lambda v: v)
        written = [[marker if v is None else cell(v) for v in col] for col in truth]
        sample, temp, ph = (
            r.choice(names),
            fixed(r.choice([20, 25, 30, 37, 36.5]), 1),
            fixed(r.choice([4.5, 6.8, 7.0, 9.2]), 1),
        )
        year, month, day = str(r.randrange(2009, 2024)), f"{r.randrange(1, 13):02d}", f"{r.randrange(13, 29)}"
        keys = [
            (w["sample"], sample),
            (w["temp"], cell(temp) + " °C"),
            (w["ph"], cell(ph)),
            (w["op"], r.choice(["kb", "mo", "lr"])),
            (w["date"], w["d"].format(y=year, m=month, d=day)),
        ]
        r.shuffle(keys)
        lines = [f"# {key}: {value}" if style == "# " else key + style + value for key, value in keys]
        block = "\n".join(lines) + "\n"
        fields = {
            "sample": sample,
            "temperature": q(temp, "Cel"),
            "ph": float(ph),
            "operator": dict(keys)[w["op"]],
            "date": f"{year}-{month}-{day}",
        }
        xhead = (w["t"] + units % tunit) if shape == "course" else w["wl"] + units % "nm"
        if shape in ("many", "rows", "pairs"):
            heads = [f"{w['a']} {chr(65 + j)}" for j in range(k)]
            runs = [run("spectrum", [trace(W(x), A(y)) for y in truth], fields)]
        elif shape == "matrix":
            heads = [f"{30 * j} s" for j in range(k)]
            block += w["a"] + "\n"
            runs = [
                run(
                    "spectral-time-course",
                    [trace(W(x), A(y), None, [at_s(str(30 * j))]) for j, y in enumerate(truth)],
                    fields,
                )
            ]
        elif shape == "course":
            heads = [w["a"]]
            runs = [course(x, truth[0], fields, unit=tunit)]
        else:
            heads = [w["a"]]
            runs = [spectrum(x, truth[0], fields)]
        table = sep.join([xhead] + heads) + "\n" + rows([cell(v) for v in x], *written, sep=sep)
        if shape == "rows":
            table = (
                sep.join([xhead] + [cell(v) for v in x])
                + "\n"
                + "".join(sep.join([h] + col) + "\n" for h, col in zip(heads, written))
            )
        elif shape == "pairs":
            between = [h for head in heads for h in (xhead, head)]
            table = (
                sep.join(between) + "\n" + rows(*[col for y in written for col in ([cell(v) for v in x], y)], sep=sep)
            )
        behind = r.random() < 0.2
        body = table + "\n" + block if behind and shape != "matrix" else block + "\n" + table
        raw = body.replace("\n", eol)
        data = (b"\xff\xfe" + raw.encode("utf-16-le")) if enc == "utf-16" else raw.encode(enc)
        told = {" ": "blanks", "\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars"}[sep.strip(" ") or " "]
        ends = {"\n": "LF", "\r\n": "CR LF", "\r": "CR"}[eol]
        case(
            f"combinations/{i:02d}-{lang}-{shape}",
            f"{lang} words, {enc}, {ends}, {told}, decimal {'comma' if comma else 'point'}, keys {'behind' if behind and shape != 'matrix' else 'in front'}"
            + (f", {marker} twice" if marker else ""),
            data,
            runs=runs,
            absent=len(places) or None,
            ext=r.choice(["txt", "csv", "asc", "dat", "prn"]),
            **({"runs_may_be_split": True} if shape == "pairs" else {}),
        )


# ---------------------------------------------------------------- readings, rates, peaks


def group_readings():
    names = ["S0", "S1", "S2", "S3", "S4", "beet 1", "beet 2", "beet 3"]
    a = ["0.003", "0.098", "0.201", "0.402", "0.795", "0.312", "0.318", "0.297"]
    b = ["0.001", "0.051", "0.099", "0.204", "0.391", "0.160", "0.155", "0.149"]
    conc = ["0", "5", "10", "20", "40"]

    def reading(values, nm="405", label=None, rows_named=names, make=A, **more):
        index = axis("index", "1", [str(i + 1) for i in range(len(values))])
        return trace(index, make(values), label, [at_nm(nm)] if nm else [], row_names=rows_named, **more)

    def fixed_run(*traces, fields=None):
        return run("fixed-wavelength", traces, fields)

    def say(name, why, body, truth=None, **more):
        case(f"readings/{name}", why, body, runs=[truth] if truth else [], **more)

    say("tabs", "names and readings, tabs", "Sample\tA405\n" + rows(names, a), fixed_run(reading(a)))
    say(
        "comma-decimal",
        "names and readings, decimal comma",
        "Probe;E 405 nm\n" + rows(names, cc(a), sep=";"),
        fixed_run(reading(a)),
        ext="csv",
    )
    say(
        "fixed-columns",
        "names with blanks in fixed columns, one blank apart from the numbers in places",
        f"{'Sample':<8}{'A405':>7}\n" + "".join(f"{n:<8}{v:>7}\n" for n, v in zip(names, a)),
        fixed_run(reading(a)),
        ext="prn",
        also=["in-question"],
    )
    say(
        "names-are-numbers",
        "the samples are called 1, 2, 3",
        "Sample\tA405\n" + rows([str(i + 1) for i in range(8)], a),
        fixed_run(reading(a, rows_named=[str(i + 1) for i in range(8)])),
        also=["in-question"],
    )
    flasks = ["400", "410", "420", "430", "440", "450", "460", "470"]
    say(
        "names-like-wavelengths",
        "the samples are called 400, 410, 420: no spectrum",
        "Sample number,A595\n" + rows(flasks, a, sep=","),
        fixed_run(reading(a, "595", rows_named=flasks)),
        ext="csv",
        also=["in-question"],
    )
    wells = ["A1", "A2", "A3", "A4", "B1", "B2", "B3", "B4"]
    say(
        "wells",
        "the rows are named after places in a rack",
        "place,A405\n" + rows(wells, a, sep=","),
        fixed_run(reading(a, rows_named=wells)),
        ext="csv",
        also=["in-question"],
    )
    say(
        "three-wavelengths",
        "three wavelengths a sample, blanks",
        "sample  A405  A540  A620\n" + rows([n.replace(" ", "_") for n in names], a, b, scaled(b, 0.5, 3), sep="  "),
        fixed_run(
            *[
                reading(v, nm, rows_named=[n.replace(" ", "_") for n in names])
                for v, nm in zip([a, b, scaled(b, 0.5, 3)], ["405", "540", "620"])
            ]
        ),
    )
    ratio = [fixed(float(x) / float(y), 2) for x, y in zip(a, b)]
    say(
        "ratio-column",
        "two absorbances and their ratio: A260/A280 is no absorbance",
        "sample\tA260\tA280\tA260/A280\n" + rows(names, a, b, ratio),
        fixed_run(reading(a, "260"), reading(b, "280")),
        also=["in-question"],
        extra_traces_fine=True,
        extra_y_must_not_be="absorbance",
    )
    say(
        "overflow",
        "one reading is OVER",
        "Sample;A405\n" + rows(names, put(a, 4, "OVER"), sep=";"),
        fixed_run(reading(put(a, 4, None))),
        ext="csv",
        absent=1,
    )
    say(
        "percent-transmittance",
        "percent transmittance at one wavelength",
        "Wavelength: 600 nm\nSample\t%T\n" + rows(names, percent(a, 1)),
        fixed_run(reading(percent(a, 1), "600", make=P)),
    )
    say(
        "no-wavelength",
        "readings without any wavelength",
        "Sample\tAbsorbance\n" + rows(names, a),
        fixed_run(reading(a, None)),
        also=["in-question"],
    )
    say(
        "dilution-column",
        "a column of dilutions beside the readings; nothing is multiplied",
        "Sample\tDilution\tA405\n" + rows(names, ["1", "1", "1", "1", "1", "50", "50", "100"], a),
        fixed_run(reading(a)),
        also=["in-question"],
        extra_traces_fine=True,
        extra_y_must_not_be="absorbance",
        never=["15.6", "15.9", "29.7"],
    )
    say(
        "clock-column",
        "the clock time of each reading stands beside it",
        "Sample,Clock,A405\n" + rows(names, [f"09:1{i}:30" for i in range(8)], a, sep=","),
        fixed_run(reading(a)),
        ext="csv",
        also=["in-question"],
    )
    groups = "".join(
        "".join(f"{n}\t{v}\n" for n, v in zip(names[i : i + 2], a[i : i + 2]))
        + f"mean\t{fixed((float(a[i]) + float(a[i + 1])) / 2, 4)}\n"
        for i in (0, 2, 4, 6)
    )
    say(
        "means-between",
        "a row named mean follows after each pair of readings",
        "Sample\tA405\n" + groups,
        fixed_run(reading(a)),
        also=["in-question"],
        never=["0.0505", "0.3015", "0.5535", "0.3075"],
    )
    say(
        "list-of-sentences",
        "one line a sample: beet 1: 0.312 at 405 nm",
        "".join(f"{n}: {v} at 405 nm\n" for n, v in zip(names, a)),
        fixed_run(reading(a)),
        also=["in-question", "refused"],
    )
    say(
        "pairs-of-readings",
        "two readings of each sample stand in two columns",
        "Sample;A405 (1);A405 (2)\n" + rows(names, a, scaled(a, 1.01, 3), sep=";"),
        fixed_run(reading(a), reading(scaled(a, 1.01, 3))),
        ext="csv",
    )
    cal = a[:5]

    def over(x, unit, y, **more):
        return run(None, [trace(axis("concentration", unit, x), A(y), None, [at_nm("595")])], **more)

    say(
        "calibration",
        "standards: concentration against absorbance",
        "Concentration (mg/L)\tA595\n" + rows(conc, cal),
        over(conc, "mg/L", cal),
        also=["in-question"],
    )
    say(
        "calibration-comma",
        "standards with German heads and decimal commas",
        "Konzentration (mg/L);Extinktion bei 595 nm\n" + rows(cc(["0", "2.5", "5.0", "7.5", "10.0"]), cc(cal), sep=";"),
        over(["0", "2.5", "5.0", "7.5", "10.0"], "mg/L", cal),
        ext="csv",
        also=["in-question"],
    )
    say(
        "calibration-molar",
        "standards in µM, three readings each",
        "c (µM),A595 a,A595 b,A595 c\n" + rows(conc, cal, b[:5], scaled(cal, 0.99, 3), sep=","),
        ext="csv",
        also=["in-question"],
        truth=run(
            None,
            [
                trace(axis("concentration", "umol/L", conc), A(y), None, [at_nm("595")])
                for y in (cal, b[:5], scaled(cal, 0.99, 3))
            ],
        ),
    )
    say(
        "calibration-no-unit",
        "standards without a unit of the concentration",
        "Concentration\tA595\n" + rows(conc, cal),
        verdict="in-question",
        question="concentration-unit",
        also=["read"],
        truth=run(None, [trace(axis("concentration", None, conc), A(cal))]),
    )
    say(
        "calibration-and-samples",
        "standards and unknown samples in one table; the concentrations of the samples are empty",
        "Name,Concentration (mg/L),A595\n" + rows(names, conc + [""] * 3, a, sep=","),
        ext="csv",
        also=["in-question"],
        either=[[fixed_run(reading(a, "595"))], [over(conc + [None] * 3, "mg/L", a)], [over(conc, "mg/L", cal)]],
        extra_traces_fine=True,
    )

    s = ["0.05", "0.1", "0.2", "0.5", "1", "2", "5"]
    v = ["0.0091", "0.0167", "0.0286", "0.0500", "0.0667", "0.0800", "0.0909"]

    def rates(x, y, xu, yu):
        return run("rate-series", [trace(axis("concentration", xu, x), axis("rate", yu, y))])

    say(
        "rates-error-column",
        "rates with their standard errors beside",
        "[S] (mM)\tv (A/min)\tSE\n" + rows(s, v, ["0.0004"] * 7),
        rates(s, v, "mmol/L", "{AU}/min"),
        also=["in-question"],
        extra_traces_fine=True,
        extra_y_must_not_be="rate",
    )
    say(
        "rates-units-row",
        "rates, units in a row of their own",
        "Substrate concentration,Initial rate\nmmol/L,umol/L/min\n" + rows(s, v, sep=","),
        rates(s, v, "mmol/L", "umol/L/min"),
        ext="csv",
    )
    say(
        "rates-transposed",
        "rates as rows",
        "Substrate concentration (mmol/L)\t" + "\t".join(s) + "\nInitial rate (umol/L/min)\t" + "\t".join(v) + "\n",
        rates(s, v, "mmol/L", "umol/L/min"),
        also=["in-question"],
    )
    say(
        "rates-german",
        "rates with German words",
        "Substratkonzentration (mM);Anfangsgeschwindigkeit (µM/min)\n" + rows(cc(s), cc(v), sep=";"),
        rates(s, v, "mmol/L", "umol/L/min"),
        ext="csv",
        also=["in-question"],
    )
    say(
        "rates-french",
        "rates with French words",
        "Concentration en substrat (mM);Vitesse initiale (µM/min)\n" + rows(cc(s), cc(v), sep=";"),
        rates(s, v, "mmol/L", "umol/L/min"),
        ext="csv",
        also=["in-question"],
    )
    say(
        "rates-rate-first",
        "the rate stands before the concentration",
        "Initial rate (A/min)\t[S] (mM)\n" + rows(v, s),
        rates(s, v, "mmol/L", "{AU}/min"),
        also=["in-question"],
    )
    mv = [fixed(float(x) * 1000, 1) for x in v]
    say(
        "rates-milli",
        "rates in mOD/min: a thousandth must not be lost",
        "[S] (mM)\tv (mOD/min)\n" + rows(s, mv),
        also=["in-question"],
        either=[[rates(s, mv, "mmol/L", None)], [rates(s, v, "mmol/L", "{AU}/min")]],
    )
    say(
        "rates-units-in-cells",
        "the concentrations change their unit down the column: 50 µM, 0.1 mM",
        "S\tv (A/min)\n" + rows(["50 µM", "100 µM", "0.2 mM", "0.5 mM", "1 mM"], v[:5]),
        also=["in-question", "refused"],
        either=[
            [rates(["0.05", "0.1", "0.2", "0.5", "1"], v[:5], "mmol/L", "{AU}/min")],
            [rates(["50", "100", "200", "500", "1000"], v[:5], "umol/L", "{AU}/min")],
        ],
    )
    say(
        "rates-reciprocal-only",
        "only the reciprocals 1/[S] and 1/v: no concentrations and no rates",
        "1/[S] (1/mM)\t1/v (min/A)\n" + rows([fixed(1 / float(x), 2) for x in s], [fixed(1 / float(y), 1) for y in v]),
        verdict="in-question",
        question="axis-unknown",
        also=["refused", "read"],
        y_must_not_be="rate",
    )
    acid = ["4.0", "5.0", "6.0", "7.0", "8.0", "9.0", "10.0"]
    say(
        "rates-over-ph",
        "rates over pH",
        "pH\tv (A/min)\n" + rows(acid, v),
        run(None, [trace(axis("ph", None, acid), axis("rate", "{AU}/min", v))]),
        also=["in-question"],
    )
    warm = ["15.0", "20.0", "25.0", "30.0", "37.0", "45.0", "55.0"]
    say(
        "rates-over-temperature",
        "rates over temperature",
        "Temperature (°C)\tRate (A/min)\n" + rows(warm, v),
        run(None, [trace(axis("temperature", "Cel", warm), axis("rate", "{AU}/min", v))]),
        also=["in-question"],
    )
    say(
        "activities",
        "activities of samples in U/mL: results, no readings",
        "sample;activity (U/mL)\n" + rows(names, a, sep=";"),
        verdict="refused",
        ext="csv",
        also=["in-question"],
        y_must_not_be="absorbance",
    )
    say(
        "dose-response",
        "residual activity in percent over inhibitor: no transmittance",
        "Inhibitor (µM)\tactivity (%)\n" + rows(conc, ["100.0", "81.2", "66.9", "48.8", "31.0"]),
        verdict="in-question",
        question="axis-unknown",
        also=["refused", "read"],
        y_must_not_be="transmittance",
    )

    at, tall = ["262.0", "338.5", "421.0", "512.5"], ["0.912", "0.455", "0.210", "0.087"]

    def peaks(x=at, y=tall, fields=None):
        return run("peak-list", [trace(W(x), A(y))], fields)

    say(
        "peaks-width",
        "peaks with widths and areas; those are no absorbances",
        "Peaks found\nNo.\tPosition (nm)\tHeight (A)\tWidth (nm)\tArea\n"
        + rows(["1", "2", "3", "4"], at, tall, ["22.1", "31.4", "28.0", "40.2"], ["20.1", "14.3", "5.9", "3.5"]),
        peaks(),
        also=["in-question"],
        extra_traces_fine=True,
        extra_y_must_not_be="absorbance",
    )
    say(
        "peaks-valleys",
        "peaks and valleys in one list, told by a letter",
        "Extrema\nkind,nm,A\n" + rows(["P", "V", "P", "V"], at, tall, sep=","),
        ext="csv",
        also=["in-question"],
        # One list in two curves, named by their letter, loses nothing either.
        either=[
            [peaks()],
            [peaks(at[::2], tall[::2])],
            [peaks(at[::2], tall[::2]), peaks(at[1::2], tall[1::2])],
            [dict(peaks(), traces=peaks(at[::2], tall[::2])["traces"] + peaks(at[1::2], tall[1::2])["traces"])],
        ],
    )
    say(
        "peaks-falling",
        "peaks sorted by height, not by place",
        "Peak table\nlambda max (nm);A max\n" + rows(["421.0", "262.0", "512.5"], ["1.210", "0.912", "0.087"], sep=";"),
        ext="csv",
        also=["in-question"],
        truth=peaks(["421.0", "262.0", "512.5"], ["1.210", "0.912", "0.087"]),
    )
    say(
        "peaks-french",
        "a list of peaks with French words",
        "Liste des pics\nPic (nm);Absorbance\n" + rows(cc(at), cc(tall), sep=";"),
        peaks(),
        ext="csv",
        also=["in-question"],
    )
    say(
        "peaks-spanish",
        "a list of peaks with Spanish words",
        "Lista de picos\nPico (nm);Absorbancia\n" + rows(cc(at), cc(tall), sep=";"),
        peaks(),
        ext="csv",
        also=["in-question"],
    )
    say(
        "peaks-wavenumber",
        "peaks in wavenumbers",
        "Peak list\nPosition (cm-1)\tA\n38168\t0.912\n29542\t0.455\n23753\t0.210\n",
        also=["in-question"],
        truth=run("peak-list", [trace(K(["38168", "29542", "23753"]), A(["0.912", "0.455", "0.210"]))]),
    )
    say(
        "peaks-sentence",
        "peaks in sentences",
        "Sample: rutin\nMaxima at 257.0 nm (A = 0.712) and 354.5 nm (A = 0.589), shoulder near 300 nm.\n",
        verdict="refused",
        also=["in-question", "read"],
        note="a reader that takes the two peaks is welcome, the shoulder has no value",
    )
    say(
        "peaks-two-samples",
        "peak lists of two samples one after another",
        "Peak list, sample rutin\nnm\tA\n257.0\t0.712\n354.5\t0.589\n\nPeak list, sample quercetin\nnm\tA\n256.0\t0.650\n370.5\t0.688\n",
        also=["in-question"],
        either=[[peaks(["257.0", "354.5"], ["0.712", "0.589"]), peaks(["256.0", "370.5"], ["0.650", "0.688"])]],
    )


# ---------------------------------------------------------------- writing


# Groups of cases that are written by hand: they are kept beside those that are made here.
BY_HAND = {"found", "meaning", "segments"}


def build():
    for name, make in sorted(globals().items()):
        if name.startswith("group_"):
            make()
    files = {}
    for path, (ext, body, expect) in sorted(CASES.items()):
        text = dump(expect)
        assert json.loads(text) == expect, path
        files[f"{path}/input.{ext}"] = body
        files[f"{path}/expect.json"] = text.encode()
    return files


def main(arguments):
    files = build()
    if arguments == ["--check"]:
        there = {p.relative_to(ROOT).as_posix(): p.read_bytes() for p in ROOT.rglob("*") if p.is_file() and not BY_HAND.intersection(p.parts)}
        wrong = sorted(k for k in files.keys() | there.keys() if files.get(k) != there.get(k))
        for path in wrong:
            print("differs:", path)
        print(f"{len(CASES)} cases, {len(wrong)} files differ")
        return 1 if wrong else 0
    if arguments:
        print(__doc__)
        return 2
    if ROOT.exists():
        for group in ROOT.iterdir():
            if group.name not in BY_HAND:
                shutil.rmtree(group)
    for path, data in files.items():
        to = ROOT / path
        to.parent.mkdir(parents=True, exist_ok=True)
        to.write_bytes(data)
    groups = {}
    for path, (_, _, expect) in CASES.items():
        tally = groups.setdefault(path.split("/")[0], {})
        tally[expect["verdict"]] = tally.get(expect["verdict"], 0) + 1
    for name, tally in sorted(groups.items()):
        print(f"{name:12} {sum(tally.values()):4}  " + ", ".join(f"{k} {v}" for k, v in sorted(tally.items())))
    print(f"{'all':12} {len(CASES):4}  {sum(map(len, files.values())):,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
