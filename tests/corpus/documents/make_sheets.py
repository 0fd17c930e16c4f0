"""Makes the workbooks of this folder with openpyxl, xlwt and odfpy, and their truths from the same numbers.

    pip install openpyxl xlwt odfpy
    python3 tests/corpus/documents/make_sheets.py

The laboratory, the samples and the numbers are invented. Made with openpyxl 3.1, xlwt 1.3 and odfpy 1.4.
"""

import datetime as dt
import json
import math
import pathlib

import openpyxl
import xlwt
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

HERE = pathlib.Path(__file__).parent / "sheets"


def band(x, at, width, height):
    return round(0.02 + height * math.exp(-(((x - at) / width) ** 2)), 4)


def axis(quantity, unit, values):
    return {"quantity": quantity, "unit": unit, "values": values}


def case(name, why, runs, **more):
    folder = HERE / name
    folder.mkdir(parents=True, exist_ok=True)
    truth = {"why": why, "verdict": "read", "runs": runs, **more}
    (folder / "expect.json").write_text(json.dumps(truth, indent=1, ensure_ascii=False) + "\n")
    return folder


def run(technique, x, y, **fields):
    return {"technique": technique, "fields": fields, "traces": [{"x": x, "y": y}]}


WAVELENGTHS = [400 + 10 * i for i in range(12)]
BAND = [band(x, 480, 30, 0.5) for x in WAVELENGTHS]

book = openpyxl.Workbook()
sheet = book.active
sheet.title = "Daten"
for row in [
    ["Probe", "Betanin A"],
    ["Datum", dt.datetime(2021, 5, 14)],
    ["Temperatur", 37, "°C"],
    ["Schichtdicke", "1 cm"],
    [],
    ["Wellenlänge (nm)", "Extinktion"],
    *zip(WAVELENGTHS, BAND),
]:
    sheet.append(row)
hidden = book.create_sheet("kinetik")
hidden.sheet_state = "hidden"
hidden.append(["t", "A 480 nm"])
COURSE = [round(0.9 * math.exp(-0.1 * i), 4) for i in range(10)]
for i, value in enumerate(COURSE):
    hidden.append([dt.time(0, i, 30), value])
folder = case(
    "keys-dates-and-clocks",
    "keys above a table, a date cell, clock cells on a hidden sheet",
    [
        run(
            "spectrum",
            axis("wavelength", "nm", WAVELENGTHS),
            axis("absorbance", "{AU}", BAND),
            sample="Betanin A",
            date="2021-05-14",
            temperature={"value": 37, "unit": "Cel"},
            **{"path-length": {"value": 1, "unit": "cm"}},
        ),
        run(
            "time-course",
            axis("time", "s", [60 * i + 30 for i in range(10)]),
            axis("absorbance", "{AU}", COURSE),
        ),
    ],
    remarks_contain=["hidden"],
)
book.save(folder / "input.xlsx")

book = openpyxl.Workbook()
sheet = book.active
sheet.title = "errors"
sheet.append(["Wavelength (nm)", "Absorbance"])
for x, value in zip(WAVELENGTHS, BAND):
    sheet.append([x, "#N/A" if x == 430 else value])
far = book.create_sheet("far apart")
far["B3"], far["C3"], far["XFD1048576"] = "wavelength (nm)", "A", "end"
for i in range(6):
    far.cell(4 + i, 2, 500 + i)
    far.cell(4 + i, 3, round(0.1 + 0.01 * i, 2))
formulas = book.create_sheet("never computed")
formulas.append(["Time (s)", "Absorbance"])
for i in range(6):
    formulas.append([i * 10, f"=0.5*EXP(-A{i + 2}/30)"])
kept = [(x, value) for x, value in zip(WAVELENGTHS, BAND) if x != 430]
folder = case(
    "errors-and-far-cells",
    "an error cell, a cell in the last row and column of the sheet, formulas without stored values",
    [
        run(
            "spectrum",
            axis("wavelength", "nm", [x for x, _ in kept]),
            axis("absorbance", "{AU}", [value for _, value in kept]),
        ),
        run(
            "spectrum",
            axis("wavelength", "nm", [500 + i for i in range(6)]),
            axis("absorbance", "{AU}", [round(0.1 + 0.01 * i, 2) for i in range(6)]),
        ),
    ],
    absent=1,
    remarks_contain=["have no stored value"],
)
book.save(folder / "input.xlsx")

book = openpyxl.Workbook()
book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
sheet = book.active
sheet.append(["sample", "dye 4"])
sheet.append(["date", dt.datetime(2012, 3, 4)])
sheet.append(["nm", "Abs"])
for x, value in zip(WAVELENGTHS, BAND):
    sheet.append([x, value])
folder = case(
    "days-from-1904",
    "a workbook that counts its days from 1904",
    [
        run(
            "spectrum",
            axis("wavelength", "nm", WAVELENGTHS),
            axis("absorbance", "{AU}", BAND),
            sample="dye 4",
            date="2012-03-04",
        )
    ],
)
book.save(folder / "input.xlsx")

old = xlwt.Workbook()
sheet = old.add_sheet("scan")
rows = [["sample", "NADH 0.1 mM"], ["nm", "Abs"], *zip(WAVELENGTHS, BAND)]
for r, row in enumerate(rows):
    for c, value in enumerate(row):
        sheet.write(r, c, value)
folder = case(
    "old-workbook",
    "a workbook of the old binary form",
    [
        run(
            "spectrum",
            axis("wavelength", "nm", WAVELENGTHS),
            axis("absorbance", "{AU}", BAND),
            sample="NADH 0.1 mM",
        )
    ],
)
old.save(str(folder / "input.xls"))

document = OpenDocumentSpreadsheet()
table = Table(name="zeit")
document.spreadsheet.addElement(table)


def add(*cells):
    row = TableRow()
    for kind, value in cells:
        if kind == "time":
            cell = TableCell(valuetype="time", timevalue=value)
        elif kind == "text":
            cell = TableCell(valuetype="string")
            cell.addElement(P(text=value))
        else:
            cell = TableCell(valuetype="float", value=str(value))
        row.addElement(cell)
    table.addElement(row)


add(("text", "Messung bei 340 nm"))
add(("text", "Zeit"), ("text", "Absorbanz"))
RISE = [round(0.1 + 0.05 * i, 4) for i in range(8)]
for i, value in enumerate(RISE):
    add(("time", f"PT0H{i}M30S"), ("number", value))
folder = case(
    "open-document",
    "an OpenDocument sheet with lengths of time",
    [
        {
            "technique": "time-course",
            "traces": [
                {
                    "x": axis("time", "s", [60 * i + 30 for i in range(8)]),
                    "y": axis("absorbance", "{AU}", RISE),
                    "held": [{"quantity": "wavelength", "unit": "nm", "value": 340}],
                }
            ],
        }
    ],
)
document.save(str(folder / "input.ods"))
