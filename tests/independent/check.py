"""What curvary hands over, read by libraries that know nothing of it.

    python3 tests/independent/check.py PROGRAM WORKING-FOLDER

bagit (RFC 8493) checks the bag, frictionless the Data Package with every row of its tables, jsonschema all JSON by the
schemas in schemas/, pandas, polars and DuckDB read CSV and Parquet, openpyxl the workbook. What they read is compared with
the JSON, number by number. Ends with `N passed, N failed`.
"""

import csv
import hashlib
import json
import math
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import bagit
import duckdb
import frictionless
import jsonschema
import openpyxl
import pandas
import polars

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
    ("json-lines", "all.jsonl"), ("report", "report.html"),
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
errors = list(jsonschema.Draft202012Validator(schemas["export-v1.json"]).iter_errors(document))
check("JSON is valid by export-v1.json", not errors, errors[:1])
line_validator = jsonschema.Draft202012Validator(schemas["export-line-v1.json"])
lines = [json.loads(line) for line in (WORK / "all.jsonl").read_text().splitlines()]
check("JSON Lines are valid by export-line-v1.json", not [e for line in lines for e in line_validator.iter_errors(line)])
check("JSON Lines hold the same runs", [line["run"] for line in lines] == document["runs"])


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

with open(WORK / "wide.csv", encoding="utf-8-sig", newline="") as file:
    wide = list(csv.reader(file))
chosen = {run_name(line["run"]["id"]): line["run"] for line in lines}
for at, column in enumerate(wide[0][1:], start=1):
    run, trace = re.search(r"\((\S+)/(\d+)\)$", column).groups()
    trace = chosen[run]["traces"][int(trace)]
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
check("the same runs are the same bytes", hashlib.sha512((WORK / "handover.zip").read_bytes()).digest() == hashlib.sha512((WORK / "again" / "handover.zip").read_bytes()).digest())

operators = {claim["value"] for run in document["runs"] for key, claim in run["fields"].items() if key == "operator"}
paths = {run["source"]["path"] for run in document["runs"]}
text = "\n".join(path.read_text(errors="replace") for path in bag.rglob("*") if path.is_file())
left = [value for value in operators | paths if len(value) > 2 and re.search(rf"(?<!\w){re.escape(value)}(?!\w)", text)]
check("operators and paths occur nowhere in the bundle", operators and paths and not left, left[:3])

page = (WORK / "report.html").read_text()
check("the report has no script and asks nobody", not re.search(r"<script|<link|<iframe|src=|url\(|@import|javascript:", page, re.I))
check("the report names every run", all(run["id"] in page for run in document["runs"][:200]))

passed = sum(results)
print(f"\n{passed} passed, {len(results) - passed} failed")
sys.exit(0 if all(results) else 1)
