"""What curvary hands over, read by libraries that know nothing of it.

    python3 tests/independent/check.py PROGRAM WORKING-FOLDER

bagit (RFC 8493) checks the bag, frictionless the Data Package with every row of its tables, jsonschema all JSON by the
schemas in schemas/ and ajv does in its strict mode (where there is Node.js), two decoders of JCAMP-DX, of PyPI and of npm, read
its numbers back, pandas, polars and DuckDB read CSV and Parquet, openpyxl the workbook, lxml the AnIML document, html5lib
in its strict mode the report, pypdf the printed one, Chromium shows it (where there is one). What they read is compared with the JSON, number by number. Dask,
DuckDB, Spark (where there are pyspark and Java) and a batch array work on a set of parts by the examples of docs/examples.
Ends with `N passed, N failed`.
"""

import csv
import hashlib
import json
import math
import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import bagit
import duckdb
import frictionless
import html5lib
import jcamp
import jsonschema
import lxml.etree
import openpyxl
import pandas
import polars
import pypdf

ROOT = Path(__file__).resolve().parents[2]
PROGRAM, WORK = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
QUERY = ["betanin", "technique:time-course"]
results = []


def check(name, holds, told=""):
    results.append(bool(holds))
    print(f"{'ok    ' if holds else 'FAILED'}  {name}{'' if holds else f': {told}'}")


def curvary(*words, may_fail=False):
    done = subprocess.run([PROGRAM, *words, "--archive", WORK / "lab"], capture_output=True, text=True, cwd=ROOT)
    if done.returncode > 1 and not may_fail:
        raise SystemExit(f"curvary {' '.join(map(str, words))}: {done.stderr}")
    return done


def run_name(name):
    """As the tables have it: a name that reads as a number has `run-` in front."""
    return f"run-{name}" if re.fullmatch(r"[0-9.]+([eE][-+]?[0-9]+)?", name) else name


curvary("add", "demo-data")
curvary("fit", *QUERY, "--model", "first-order+offset")
what = ["date:1900..2100"]
for form, out in [
    ("csv", "tidy.csv"), ("tables", "tables"), ("parquet", "parquet"), ("xlsx", "book.xlsx"), ("json", "all.json"),
    ("json-lines", "all.jsonl"), ("report", "report.html"), ("report", "report.pdf"), ("animl", "all.animl"),
]:
    curvary("export", *what, "--to", form, "--units", "as-read", "--out", WORK / out)
curvary("export", *QUERY, "temperature:37C", "date:2016", "--to", "wide-csv", "--bom", "--out", WORK / "wide.csv")
curvary("export", *what, "--to", "bundle", "--dated", "2026-01-01", "--licence", "CC0-1.0", "--out", WORK / "handover.zip")
curvary("export", *what, "--to", "bundle", "--dated", "2026-01-01", "--licence", "CC0-1.0", "--out", WORK / "again" / "handover.zip")

# The JSON is the measure of all others.
document = json.loads((WORK / "all.json").read_text())
points = []
for run in document["runs"]:
    for index, trace in enumerate(run["traces"]):
        marks = set(trace.get("saturated", []))
        for at, (x, y) in enumerate(zip(trace["x"]["values"], trace["y"]["values"])):
            points.append((run_name(run["id"]), index, at, x, y, at in marks, trace["x"]["quantity"], trace["y"]["quantity"]))
check("there is something to compare", len(points) > 5000 and document["results"])

# JSON by its schemas, with an independent validator and in its strictest reading of formats.
schemas = {path.name: json.loads(path.read_text()) for path in (ROOT / "schemas").glob("*.json")}
for name, schema in schemas.items():
    jsonschema.Draft202012Validator.check_schema(schema)
    check(f"schema {name} names itself", schema.get("$id", "").endswith(f"/schemas/{name}"))
formats = jsonschema.Draft202012Validator.FORMAT_CHECKER
unknown = set(re.findall(r'"format": "([^"]+)"', json.dumps(list(schemas.values())))) - set(formats.checkers)
check("the schemas name no format that a strict validator does not know", not unknown, unknown)
errors = list(jsonschema.Draft202012Validator(schemas["export-v1.json"], format_checker=formats).iter_errors(document))
check("JSON is valid by export-v1.json", not errors, errors[:1])
line_validator = jsonschema.Draft202012Validator(schemas["export-line-v1.json"])
lines = [json.loads(line) for line in (WORK / "all.jsonl").read_text().splitlines()]
check("JSON Lines are valid by export-line-v1.json", not [e for line in lines for e in line_validator.iter_errors(line)])
check("JSON Lines hold the same runs", [line["run"] for line in lines] == document["runs"])


NODE = os.environ.get("INDEPENDENT_NODE", "")
STRICT = ROOT / "tests" / "independent" / "strict.cjs"
if not (NODE and shutil.which("node")):
    print("skipped ajv and the decoder of npm: no Node.js, or INDEPENDENT_NODE names no folder with their node_modules")
else:
    pairs = ["export-v1.json", WORK / "all.json", "export-line-v1.json", WORK / "all.jsonl"]
    told = subprocess.run(["node", STRICT, NODE, "schemas", ROOT / "schemas", *pairs], capture_output=True, text=True)
    told = json.loads(told.stdout) if told.returncode == 0 else {"schemas": [], "wrong": [told.stderr]}
    check("every schema compiles in ajv's strict mode, and the documents are valid", set(told["schemas"]) == set(schemas) and not told["wrong"], told["wrong"][:3])


def near(values, others):
    """Decoders count the abscissa on from its ends in binary: the last digits are theirs."""
    return len(values) == len(others) and all(math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-12) for a, b in zip(values, others))


# JCAMP-DX: a file for each curve of an evenly or unevenly spaced axis, in the default form. A block for each of several scans is the
# form for decoders that know no NTUPLES.
(WORK / "jcamp").mkdir()
wrong, decoded = [], 0
for run in document["runs"][:60]:
    out = WORK / "jcamp" / f"{run['id']}.jdx"
    curvary("export", run["id"], "--to", "jcamp-dx", "--scans-as-blocks", "--units", "as-read", "--out", out)
    curves = [(t["x"]["values"], t["y"]["values"]) for t in run["traces"] if t["y"]["values"]]
    read = jcamp.readfile(str(out))
    blocks = [block for block in read.get("children", [read]) if "x" in block]
    theirs = {"PyPI": [([float(x) for x in block["x"]], [float(y) for y in block["y"]]) for block in blocks]}
    # That of npm knows no XYPOINTS, the standard's form of an axis with gaps or of uneven steps.
    if NODE and "##XYPOINTS=" not in out.read_text():
        told = subprocess.run(["node", STRICT, NODE, "decode", out], capture_output=True, text=True)
        theirs["npm"] = [(one["x"], one["y"]) for one in json.loads(told.stdout)] if told.returncode == 0 else [told.stderr]
    for by, found in theirs.items():
        decoded += 1
        if len(found) != len(curves) or not all(near(a[0], b[0]) and near(a[1], b[1]) for a, b in zip(found, curves)):
            wrong.append((by, run["id"], run["technique"], len(found), len(curves)))
check(f"JCAMP-DX: every number is found again by independent decoders ({decoded} readings)", decoded and not wrong, wrong[:5])


def head(kind, quantity, columns):
    """The columns of a table that may hold this quantity."""
    slug = quantity.replace("-", "_")
    return [c for c in columns if c == slug or c.startswith(slug + "_") or c in (f"measured_{slug}", f"measured_{slug}_{kind}")]


def same(rows, name):
    """Every point is found again in its row, bit for bit."""
    if len(rows) != len(points):
        return check(f"{name}: all points", False, f"{len(rows)} rows for {len(points)} points")
    columns = list(rows[0])
    wrong = []
    for row, (run, trace, at, x, y, mark, xq, yq) in zip(rows, points):
        there = lambda quantity, value: any(
            row[c] is not None and float(row[c]) == value for c in head("", quantity, columns) if row[c] not in ("", None)
        )
        if row["run"] != run or int(row["trace"]) != trace or not there(xq, x) or not there(yq, y):
            wrong.append((row, run, trace, at, x, y))
        if "position" in columns and int(row["position"]) != at:
            wrong.append((row, at))
        if "saturated" in columns and str(row["saturated"]).lower() != str(mark).lower():
            wrong.append((row, mark))
    check(f"{name}: every point is found again", not wrong, wrong[:1])


def plain(frame):
    return [{k: (None if isinstance(v, float) and math.isnan(v) else v) for k, v in row.items()} for row in frame]


# The csv module takes every cell for words; pandas, polars and DuckDB guess types from what they see.
with open(WORK / "tables" / "points.csv", newline="", encoding="utf-8") as file:
    same(list(csv.DictReader(file)), "points.csv by Python's csv")
same(plain(pandas.read_csv(WORK / "tables" / "points.csv").to_dict("records")), "points.csv by pandas")
same(polars.read_csv(WORK / "tables" / "points.csv").to_dicts(), "points.csv by polars with its usual inference")
same(polars.read_csv(WORK / "tidy.csv", infer_schema_length=100).to_dicts(), "tidy.csv by polars with its usual inference")
found = duckdb.read_csv(str(WORK / "tables" / "points.csv"))
same([dict(zip(found.columns, row)) for row in found.fetchall()], "points.csv by DuckDB")
same(plain(pandas.read_parquet(WORK / "parquet" / "points.parquet").to_dict("records")), "points.parquet by pandas")
same(polars.read_parquet(WORK / "parquet" / "points.parquet").to_dicts(), "points.parquet by polars")

import pyarrow.parquet

parquet = pyarrow.parquet.read_table(WORK / "parquet" / "points.parquet")
described = json.loads(parquet.schema.metadata[b"table-schema"])
units = {field["name"]: field.get("unit") for field in described["fields"]}
check("the units stand in Parquet's schema", units.get("wavelength_nm") == "nm" and units.get("time_s") == "s", units)
counts = duckdb.sql(
    f"select count(*) from '{WORK}/parquet/points.parquet' p join '{WORK}/parquet/curves.parquet' c using (run, trace) "
    f"join '{WORK}/parquet/runs.parquet' r using (run)"
).fetchall()[0]
check("every point has its curve and its run (DuckDB over Parquet)", counts == (len(points),), counts)
kept = duckdb.sql(f"select count(distinct result) from '{WORK}/parquet/results.parquet'").fetchall()[0]
check("every result is in Parquet", kept == (len({r["id"] for r in document["results"]}),), kept)

book = openpyxl.load_workbook(WORK / "book.xlsx", read_only=True)
check("the sheets of the workbook", book.sheetnames == ["runs", "curves", "points", "results", "columns"], book.sheetnames)
rows = list(book["points"].iter_rows(values_only=True))
same([dict(zip(rows[0], row)) for row in rows[1:]], "the workbook by openpyxl")
days = list(book["runs"].iter_rows(values_only=True))
days = [row[days[0].index("date")] for row in days[1:]]
check("days are cells of days (openpyxl)", all(day is None or hasattr(day, "year") for day in days) and any(days), days[:5])

with open(WORK / "wide.csv", encoding="utf-8-sig", newline="") as file:
    wide = list(csv.reader(file))
chosen = {run_name(line["run"]["id"]): line["run"] for line in lines}
for at, column in enumerate(wide[0][1:], start=1):
    run, trace = re.search(r"\((\S+)/(\d+)\)$", column).groups()
    trace = chosen[run]["traces"][int(trace) - 1]
    values = [float(row[at]) for row in wide[1:]]
    check(f"wide CSV: {column}", values == trace["y"]["values"] and [float(r[0]) for r in wide[1:]] == trace["x"]["values"])

# The bundle.
with zipfile.ZipFile(WORK / "handover.zip") as archive:
    archive.extractall(WORK / "unpacked")
bag = WORK / "unpacked" / "handover"
try:
    check("the bag is valid (bagit)", bagit.Bag(str(bag)).validate())
except bagit.BagError as error:
    check("the bag is valid (bagit)", False, error)
report = frictionless.validate(str(bag / "data" / "datapackage.json"))
check("the Data Package is valid, with every row (frictionless)", report.valid, report.flatten(["title", "message"])[:3])
crate = json.loads((bag / "data" / "ro-crate-metadata.json").read_text())
entities = {entity["@id"]: entity for entity in crate["@graph"]}
root = entities["./"]
check("RO-Crate: a descriptor that conforms to 1.1", entities["ro-crate-metadata.json"]["conformsTo"]["@id"].endswith("/crate/1.1"))
check("RO-Crate: the root has name, description, datePublished, license", all(root.get(k) for k in ("name", "description", "datePublished", "license")))
parts = {part["@id"] for part in root["hasPart"]}
files = {str(path.relative_to(bag / "data")) for path in (bag / "data").rglob("*") if path.is_file()} - {"ro-crate-metadata.json"}
check("RO-Crate: every file is described, and no other", parts == files and all(entities[p]["@type"] == "File" for p in parts), parts ^ files)
# The README's own lines in Python, on names that look like numbers.
odd = ["007", "12345", "1e10", "NaN"]
(WORK / "odd").mkdir()
for name in odd:
    (WORK / "odd" / f"{name}.txt").write_text(f"Sample: {name}\n\nTime (s)\tAbsorbance\n0\t0.5\n1\t0.4\n2\t0.3\n3\t0.25\n")
for words in (["add", WORK / "odd"], ["export", "technique:time-course", "--to", "bundle", "--out", WORK / "odd-names"]):
    subprocess.run([PROGRAM, *words, "--archive", WORK / "odd-lab"], capture_output=True, check=True)
lines = re.search(r"```python\n(.*?)```", (WORK / "odd-names/data/README.md").read_text(), re.S).group(1)
here, read = os.getcwd(), {}
os.chdir(WORK / "odd-names/data")
exec(lines, read)
os.chdir(here)
check("the README's lines keep names", sorted(read["everything"]["sample"].unique()) == sorted(odd), read["runs"])
check("the README's lines join points, curves and runs", len(read["everything"]) == 4 * len(odd) and "measures" in read["everything"])

check("the same runs are the same bytes", hashlib.sha512((WORK / "handover.zip").read_bytes()).digest() == hashlib.sha512((WORK / "again" / "handover.zip").read_bytes()).digest())

operators = {claim["value"] for run in document["runs"] for key, claim in run["fields"].items() if key == "operator"}
paths = {run["source"]["path"] for run in document["runs"]}
text = "\n".join(path.read_text(errors="replace") for path in bag.rglob("*") if path.is_file())
left = [value for value in operators | paths if len(value) > 2 and re.search(rf"(?<!\w){re.escape(value)}(?!\w)", text)]
check("operators and paths occur nowhere in the bundle", operators and paths and not left, left[:3])

page = (WORK / "report.html").read_text()
check("the report has no script and asks nobody", not re.search(r"<script|<link|<iframe|src=|url\(|@import|javascript:", page, re.I))
check("the report names every run", all(run["id"] in page for run in document["runs"][:200]))
try:
    html5lib.HTMLParser(strict=True).parse(page)
    check("the report is HTML without an error (html5lib, strict)", True)
except html5lib.html5parser.ParseError as error:
    check("the report is HTML without an error (html5lib, strict)", False, error)
ids = re.findall(r' id="([^"]+)"', page)
links = re.findall(r'href="#([^"]+)"', page)
check("every link of the report leads to one place in it", links and set(links) <= set(ids) and len(ids) == len(set(ids)), set(links) - set(ids))

# The printed report: its text as text, the same words and numbers as on the web page.
pdf = pypdf.PdfReader(WORK / "report.pdf")
printed = "".join("".join(sheet.extract_text() for sheet in pdf.pages).split())
cells = [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", page)]
cells = [cell for cell in cells if len(cell) < 20 and "&" not in cell]
lost = [cell for cell in cells if "".join(cell.split()) not in printed]
check(f"{len(cells)} cells of the report are text of the printed one (pypdf)", len(cells) > 1000 and not lost, lost[:5])
check("the printed report says its title and its language", pdf.metadata.title == "Measurements" and pdf.root_object.get("/Lang") == "en", pdf.metadata)

# A browser shows the report without asking anybody: what it draws is not an empty page, and its words are those of the page.
browser = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
if browser is None:
    print("skipped the browser: there is no Chromium")
else:
    base = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-javascript", f"--user-data-dir={WORK / 'browser'}", "--window-size=1200,1600"]
    address = (WORK / "report.html").as_uri()
    subprocess.run([*base, f"--screenshot={WORK / 'report.png'}", address], capture_output=True, timeout=180)
    subprocess.run([*base, "--no-pdf-header-footer", f"--print-to-pdf={WORK / 'by-browser.pdf'}", address], capture_output=True, timeout=180)
    size = (WORK / "report.png").stat().st_size if (WORK / "report.png").is_file() else 0
    check("Chromium draws the report", size > 50_000, size)
    shown = pypdf.PdfReader(WORK / "by-browser.pdf") if (WORK / "by-browser.pdf").is_file() else None
    words = "".join("".join(sheet.extract_text() for sheet in shown.pages).split()) if shown else ""
    lost = [run["id"] for run in document["runs"][:200] if run["id"] not in words]
    check("every run is on the pages that Chromium prints", shown and not lost, lost[:5])

# AnIML: well-formed, its identifiers used as the core schema demands, its numbers those of the JSON.
tree = lxml.etree.parse(str(WORK / "all.animl"))
space = "{urn:org:astm:animl:schema:core:draft:0.90}"
root = tree.getroot()
check("AnIML: root, version, order of the parts", root.tag == f"{space}AnIML" and root.get("version") == "0.90"
      and [child.tag.removeprefix(space) for child in root] == ["SampleSet", "ExperimentStepSet"])
order = {
    "ExperimentStep": ["TagSet", "Technique", "Infrastructure", "Method", "Result"],
    "Infrastructure": ["SampleReferenceSet", "ParentDataPointReferenceSet", "ExperimentDataReferenceSet", "Timestamp"],
    "Method": ["Author", "Device", "Software", "Category"], "Result": ["SeriesSet", "Category", "ExperimentStepSet"],
    "Series": ["IndividualValueSet", "EncodedValueSet", "AutoIncrementedValueSet", "Unit"],
    "Category": ["Parameter", "SeriesSet", "Category"],
}
needed = {
    "Sample": ["name", "sampleID"], "ExperimentStep": ["name", "experimentStepID"], "Result": ["name"], "Category": ["name"],
    "SampleReference": ["sampleID", "role", "samplePurpose"], "SeriesSet": ["name", "length"], "Author": ["userType"],
    "Series": ["name", "seriesID", "seriesType", "dependency"], "Parameter": ["name", "parameterType"], "Unit": ["label"],
}
wrong = []
for element in root.iter():
    name = element.tag.removeprefix(space)
    wrong += [f"{name} without {key}" for key in needed.get(name, []) if not element.get(key)]
    places = [order[name].index(child.tag.removeprefix(space)) for child in element] if name in order else []
    wrong += [f"{name}: {places}"] if places != sorted(places) else []
    if name in ("Result", "Infrastructure") and len(element.findall(f"{space}SeriesSet")) > 1:
        wrong.append(f"two SeriesSet in a {name}")
check("AnIML: elements and attributes stand as the core schema has them", not wrong, wrong[:3])
samples = [sample.get("sampleID") for sample in root.iter(f"{space}Sample")]
used = {reference.get("sampleID") for reference in root.iter(f"{space}SampleReference")}
series = [one.get("seriesID") for one in root.iter(f"{space}Series")]
steps = [step.get("experimentStepID") for step in root.iter(f"{space}ExperimentStep")]
check("AnIML: identifiers are unique, and those used are there", all(len(all) == len(set(all)) for all in (samples, series, steps)) and used <= set(samples))
wrong = []
for run, step in zip(document["runs"], root.iter(f"{space}ExperimentStep")):
    curves = iter(run["traces"])
    for values in step.iter(f"{space}SeriesSet"):
        columns = [[float(d.text) for d in one.iter(f"{space}D")] for one in values.findall(f"{space}Series") if one.get("seriesType") == "Float64"]
        for y in columns[1:]:
            trace = next(curves)
            if trace["x"]["values"] != columns[0] or trace["y"]["values"] != y:
                wrong.append((run["id"], trace["label"]))
    if next(curves, None) is not None:
        wrong.append((run["id"], "a curve is missing"))
check("AnIML: every number is found again (lxml)", len(steps) == len(document["runs"]) and not wrong, wrong[:2])

# Parts: the examples of the documentation, as they stand there.
examples = ROOT / "docs" / "examples"


def example(*words, **more):
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, cwd=ROOT, env=os.environ | more)
    if done.returncode != 0:
        check(Path(words[1 if words[0] == sys.executable else 0]).name, False, done.stderr[-2000:])
    return done.stdout


example(sys.executable, examples / "convert_with_dask.py", "demo-data", WORK / "set", 2, PROGRAM)
manifests = [json.loads(path.read_text()) for path in (WORK / "set" / "manifests").glob("*.json")]
digests = [source["digest"] for manifest in manifests for source in manifest["sources"]]
check("Dask: two workers convert every file once", len(manifests) > 3 and len(digests) == len(set(digests)), len(manifests))
by_technique = {}
for run in document["runs"]:
    count, many = by_technique.get(run["technique"], (0, 0))
    by_technique[run["technique"]] = (count + 1, many + sum(len(trace["y"]["values"]) for trace in run["traces"]))


def answer(text):
    return {row[0]: (int(row[1]), int(row[2])) for row in (line.split("\t") for line in text.splitlines()) if len(row) == 4}


# The archive holds runs in question too, and exports leave them out; the parts hold both.
asked = answer(example(sys.executable, examples / "ask_with_duckdb.py", WORK / "set"))
check("DuckDB over the parts: no run of the archive is missing", all(asked.get(t, (0, 0)) >= n for t, n in by_technique.items()), (asked, by_technique))
(WORK / "list.txt").write_text("\n".join(str(path) for path in sorted((ROOT / "demo-data").rglob("*")) if path.is_file()))
for task in range(3):
    example(examples / "convert_in_array.sh", TASK=str(task), TASKS="3", LIST=str(WORK / "list.txt"), SET=str(WORK / "array"), CURVARY=str(PROGRAM))
check("a batch array of three tasks gives the same runs", answer(example(sys.executable, examples / "ask_with_duckdb.py", WORK / "array")) == asked)

# Every part has the same columns of the same types, whatever its files held: here a field is a whole number, a decimal, words, and
# absent. The set is read as one table without a word about columns that differ.
(WORK / "mixed").mkdir()
courses = ["gain: 2\nslit: 2 nm\ndate: 2021-03-04\ntemperature: 37 °C", "gain: 2.5\nslit: 1.5 nm\ntemperature: 36.5 °C", "gain: high\nslit: narrow\ndate: in spring", "lamp: D2"]
for at, above in enumerate(courses):
    rows = "".join(f"{5 * point},{0.9 - point * (at + 1) / 50:.4f}\n" for point in range(12))
    (WORK / "mixed" / f"{at}.csv").write_text(f"sample: dye {at}\n{above}\n\ntime (s),absorbance\n{rows}")
(WORK / "mixed.txt").write_text("\n".join(str(WORK / "mixed" / f"{at}.csv") for at in range(4)))
subprocess.run([PROGRAM, "convert", "--files-from", WORK / "mixed.txt", "--files-a-part", "1", "--to", "parquet", "--out", WORK / "mixed-set"], capture_output=True, cwd=ROOT)
for table in ("runs", "curves", "points"):
    parts = sorted((WORK / "mixed-set" / table).glob("*.parquet"))
    schemas_of_parts = [{field.name: str(field.type) for field in pyarrow.parquet.read_schema(part)} for part in parts]
    usual = set.intersection(*(set(schema) for schema in schemas_of_parts))
    types = {name: {schema[name] for schema in schemas_of_parts if name in schema} for schema in schemas_of_parts for name in schema}
    check(f"parts: four, and each column of {table} has one type in all of them", len(parts) == 4 and all(len(kinds) == 1 for kinds in types.values()), {n: k for n, k in types.items() if len(k) > 1})
    extra = {name for schema in schemas_of_parts for name in schema} - usual
    check(f"parts: only fields of a source's own are not in every part ({table})", extra <= {"date_text", "gain", "gain__number", "slit_nm", "slit", "slit_text", "lamp", "lamp_text"}, extra)
whole = polars.read_parquet(f"{WORK}/mixed-set/points/*.parquet")
check("parts: polars reads the points as one table without options", whole.height == 48 and whole["time_s"].null_count() == 0, whole.shape)
degrees = duckdb.sql(f"select count(*), count(temperature_Cel), sum(temperature_Cel) from '{WORK}/mixed-set/runs/*.parquet'").fetchall()[0]
check("parts: DuckDB reads whole and other numbers of one column as numbers", degrees == (4, 2, 73.5), degrees)
plain_points = duckdb.sql(f"select count(*), count(distinct run) from read_parquet('{WORK}/mixed-set/points/*.parquet')").fetchall()[0]
check("parts: DuckDB reads the points without union_by_name", plain_points == (48, 4), plain_points)
frame = pandas.concat([pandas.read_parquet(part) for part in sorted((WORK / "mixed-set" / "runs").glob("*.parquet"))])
check("parts: what was said of each run is there (pandas)", sorted(frame["sample"]) == ["dye 0", "dye 1", "dye 2", "dye 3"], list(frame["sample"]))

if not shutil.which("java"):
    print("skipped Spark: no Java")
elif subprocess.run([sys.executable, "-c", "import pyspark"], capture_output=True).returncode != 0:
    print("skipped Spark: no pyspark (`pip install pyspark`)")
else:
    spark = answer(example(sys.executable, examples / "ask_with_spark.py", WORK / "set"))
    check("Spark in local mode gives the same answer as DuckDB", spark == asked, (spark, asked))

passed = sum(results)
print(f"\n{passed} passed, {len(results) - passed} failed")
sys.exit(0 if all(results) else 1)
