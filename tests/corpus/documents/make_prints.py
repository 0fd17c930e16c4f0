"""Makes the printed reports (PDF) of this folder with five general-purpose libraries, and their truths from the same
strings.

    pip install reportlab fpdf2 weasyprint typst matplotlib pikepdf
    python3 tests/corpus/documents/make_prints.py

The laboratory, the samples and the numbers are invented. Made with reportlab 5.1, fpdf2 2.8, weasyprint 70.0,
typst 0.15, matplotlib 3.11 and pikepdf 10.18. Only folders that are not there yet are written, unless `--all` is given:
the libraries write dates and names of their own into each document.
"""

import datetime as dt
import io
import json
import math
import pathlib
import sys
import tempfile

import matplotlib
import pikepdf
import typst
import weasyprint
from fpdf import FPDF
from reportlab.lib import colors, pdfencrypt
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import getSampleStyleSheet
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen import canvas
from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

matplotlib.use("Agg")
import matplotlib.pyplot as plt  # noqa: E402
from PIL import Image, ImageDraw  # noqa: E402

HERE = pathlib.Path(__file__).parent / "prints"
DEJAVU = pathlib.Path(matplotlib.get_data_path()) / "fonts/ttf/DejaVuSans.ttf"
STYLES = getSampleStyleSheet()
pdfmetrics.registerFont(TTFont("DejaVu", str(DEJAVU)))


def axis(quantity, unit, values):
    return {"quantity": quantity, "unit": unit, "values": values}


def number(text):
    """The number that a printed string says; an empty one says none."""
    text = text.replace("\u2212", "-").replace(",", ".").replace(" ", "")
    return float(text) if text else None


def numbers(texts):
    return [number(text) for text in texts]


def trace(x, y, **more):
    return {"x": x, "y": y, **more}


def nm(texts):
    return axis("wavelength", "nm", numbers(texts))


def au(texts):
    return axis("absorbance", "{AU}", numbers(texts))


def spectrum(x, y, label=None, **fields):
    more = {"label": label} if label else {}
    return {"technique": "spectrum", "fields": fields, "traces": [trace(nm(x), au(y), **more)]}


def case(name, why, make, runs=(), verdict="read", **more):
    folder = HERE / name
    if folder.exists() and "--all" not in sys.argv:
        return
    truth = {"why": why, "verdict": verdict, "runs": list(runs), **more}
    data = make()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "expect.json").write_text(json.dumps(truth, indent=1, ensure_ascii=False) + "\n")
    assert len(data) <= 40_000, f"{name}: {len(data)} bytes"
    (folder / "input.pdf").write_bytes(data)


def band(x, at, width, height):
    return 0.02 + height * math.exp(-(((x - at) / width) ** 2))


def scan(first, step, count, at=480, width=40, height=0.6, digits=4):
    x = [first + step * i for i in range(count)]
    return [str(v) for v in x], [f"{band(v, at, width, height):.{digits}f}" for v in x]


# ---------------------------------------------------------------- reportlab

GRID = TableStyle([("GRID", (0, 0), (-1, -1), 0.3, colors.grey), ("ALIGN", (0, 0), (-1, -1), "RIGHT")])
PLAIN = TableStyle([("ALIGN", (0, 0), (-1, -1), "RIGHT")])


def platypus(story, furniture=None, pagesize=A4, **options):
    buffer = io.BytesIO()
    document = SimpleDocTemplate(buffer, pagesize=pagesize, invariant=1, **options)
    if furniture:
        document.build(story, onFirstPage=furniture, onLaterPages=furniture)
    else:
        document.build(story)
    return buffer.getvalue()


def says(text):
    return Paragraph(text, STYLES["Normal"])


X, Y = scan(400, 10, 14)
case(
    "one-table",
    "a title, keys with values in a table of their own, a table with a grid; the standard fonts, which are not embedded",
    lambda: platypus(
        [
            Paragraph("Absorption spectrum", STYLES["Title"]),
            Table([["Sample:", "Betanin A"], ["Date:", "2021-05-14"], ["Temperature:", "25 °C"], ["Path length:", "1 cm"]]),
            Spacer(1, 12),
            Table([["Wavelength (nm)", "Absorbance"], *zip(X, Y)], style=GRID),
        ]
    ),
    [
        spectrum(
            X,
            Y,
            sample="Betanin A",
            date="2021-05-14",
            temperature={"value": 25, "unit": "Cel"},
            **{"path-length": {"value": 1, "unit": "cm"}},
        )
    ],
    remarks_contain=["printed report"],
)

XL, YL = scan(350, 2, 40)
case(
    "pairs-that-go-on",
    "newspaper columns: one spectrum in two pairs of columns, the second pair goes on where the first ends",
    lambda: platypus(
        [
            says("Sample: eosin 3"),
            Table(
                [
                    ["nm", "Abs", "nm", "Abs"],
                    *[[XL[i], YL[i], XL[i + 20], YL[i + 20]] for i in range(20)],
                ],
                style=PLAIN,
            ),
        ]
    ),
    [spectrum(XL, YL, sample="eosin 3")],
)

X2, Y2 = scan(400, 10, 14, at=520, height=0.3)
case(
    "pairs-of-two-samples",
    "two x-y pairs beside each other, each with its own sample named above",
    lambda: platypus(
        [
            Table(
                [
                    ["nm", "dye A", "nm", "dye B"],
                    ["", "Abs", "", "Abs"],
                    *[[X[i], Y[i], X2[i], Y2[i]] for i in range(14)],
                ],
                style=PLAIN,
                colWidths=[60, 80, 60, 80],
            ),
        ]
    ),
    [{"technique": "spectrum", "traces": [trace(nm(X), au(Y)), trace(nm(X2), au(Y2))]}],
    runs_may_be_split=True,
)

XP, YP = scan(300, 2, 110, at=400)


def three_pages(canvas, document):
    canvas.setFont("Helvetica", 9)
    canvas.drawString(60, 810, "Laboratory of plant dyes, room 12")
    canvas.drawRightString(535, 810, "Report 17")
    canvas.drawString(60, 30, "printed for teaching")
    canvas.drawRightString(535, 30, f"Page {document.page} of 3")


case(
    "three-pages",
    "a table over three pages, its head repeated on each, page heads and feet with the number of the page in one cell",
    lambda: platypus(
        [says("Sample: madder extract"), Table([["Wavelength / nm", "A"], *zip(XP, YP)], repeatRows=1, style=PLAIN)],
        three_pages,
    ),
    [spectrum(XP, YP, sample="madder extract")],
)


def bare_page(canvas, document):
    canvas.setFont("Times-Roman", 10)
    canvas.drawCentredString(300, 30, str(document.page + 4))


case(
    "bare-page-numbers",
    "a bare number, counted on from an earlier report, at the foot of each page; the table goes on without heads",
    lambda: platypus(
        [says("Sample: weld"), Table([["Wavelength (nm)", "Absorbance"], *zip(XP, YP)], style=PLAIN)], bare_page
    ),
    [spectrum(XP, YP, sample="weld")],
)


def listing(lines, font="Courier", size=10, step=12, left=60, top=780, pagesize=A4, prepare=None):
    buffer = io.BytesIO()
    sheet = canvas.Canvas(buffer, pagesize=pagesize, invariant=1)
    if prepare:
        prepare(sheet)
    y = top
    sheet.setFont(font, size)
    for line in lines:
        sheet.drawString(left, y, line)
        y -= step
        if y < 50:
            sheet.showPage()
            sheet.setFont(font, size)
            y = top
    sheet.showPage()
    sheet.save()
    return buffer.getvalue()


case(
    "typewriter",
    "a listing in a typewriter's font, whole lines with blanks between the columns",
    lambda: listing(
        ["SCAN OF RIBOFLAVIN", "", "Sample: riboflavin 20 uM", "Path length: 1 cm", "", "    nm        A"]
        + [f"{x:>6}   {y:>8}" for x, y in zip(X, Y)]
    ),
    [spectrum(X, Y, sample="riboflavin 20 uM", **{"path-length": {"value": 1, "unit": "cm"}})],
    fields_fine={"concentration": [{"value": 20, "unit": "umol/L"}]},
)

case(
    "typewriter-single-blanks",
    "a listing in which a single blank separates the columns",
    lambda: listing(["Wavelength(nm) Absorbance"] + [f"{x} {y}" for x, y in zip(X, Y)]),
    [spectrum(X, Y)],
)


def picture(lines):
    image = Image.new("1", (620, 880), 1)
    pen = ImageDraw.Draw(image)
    for i, line in enumerate(lines):
        pen.text((60, 60 + 22 * i), line, fill=0)
    return ImageReader(image)


SCANNED = ["Wavelength (nm)   Absorbance"] + [f"{x}               {y}" for x, y in zip(X, Y)]


def pictures(text_pages=0, hidden=False):
    buffer = io.BytesIO()
    sheet = canvas.Canvas(buffer, pagesize=A4, invariant=1)
    sheet.drawImage(picture(SCANNED), 0, 0, *A4)
    if hidden:
        text = sheet.beginText()
        text.setTextRenderMode(3)
        text.setFont("Courier", 10)
        text.setTextOrigin(60, 770)
        for line in SCANNED:
            text.textLine(line)
        sheet.drawText(text)
    sheet.showPage()
    for _ in range(text_pages):
        sheet.setFont("Helvetica", 10)
        sheet.drawString(60, 790, "Sample: walnut")
        sheet.drawString(60, 760, "Wavelength (nm)")
        sheet.drawString(180, 760, "Absorbance")
        for i, (x, y) in enumerate(zip(X, Y)):
            sheet.drawString(60, 740 - 14 * i, x)
            sheet.drawString(180, 740 - 14 * i, y)
        sheet.showPage()
    sheet.save()
    return buffer.getvalue()


case(
    "picture-only",
    "a scanned page: there is no text in it",
    pictures,
    verdict="refused",
    remarks_contain=["only a picture"],
)
case(
    "picture-and-text",
    "a scanned page in front of a page with text",
    lambda: pictures(1),
    [spectrum(X, Y, sample="walnut")],
    remarks_contain=["page 1 is only a picture"],
)
case(
    "recognised-text",
    "a scanned page with hidden text behind it that a machine recognised",
    lambda: pictures(hidden=True),
    [spectrum(X, Y)],
    verdict="in-question",
    question="text-recognised",
)

def report():
    return platypus([says("Sample: indigo"), Table([["Wavelength (nm)", "Absorbance"], *zip(X, Y)], style=GRID)])


case(
    "encrypted",
    "a document that asks for a password",
    lambda: platypus(
        [says("Sample: indigo"), Table([["Wavelength (nm)", "Absorbance"], *zip(X, Y)])],
        encrypt=pdfencrypt.StandardEncryption("geheim", "owner", strength=128),
    ),
    verdict="refused",
    remarks_contain=["encrypted"],
)
case(
    "encrypted-against-copying",
    "a document that opens without a password, whose owner forbids copying",
    lambda: platypus(
        [says("Sample: indigo"), Table([["Wavelength (nm)", "Absorbance"], *zip(X, Y)])],
        encrypt=pdfencrypt.StandardEncryption("", "owner", canCopy=0, strength=128),
    ),
    verdict="refused",
    remarks_contain=["encrypted"],
)
case(
    "cut-off",
    "the first third of a document: its pages are lost",
    lambda: report()[: len(report()) // 3],
    verdict="refused",
    remarks_contain=["damaged|no page"],
)


def without_directory():
    whole = report()
    return whole[: whole.rindex(b"xref\n0")]


case(
    "directory-lost",
    "a document whose directory of objects at its end is lost, all pages are there",
    without_directory,
    [spectrum(X, Y, sample="indigo")],
)


def turned_page():
    with pikepdf.open(io.BytesIO(report())) as document:
        document.pages[0].rotate(90, relative=False)
        buffer = io.BytesIO()
        document.save(buffer, deterministic_id=True)
    return buffer.getvalue()


case(
    "page-turned",
    "the page is shown turned by a quarter, so that its lines run down the paper",
    turned_page,
    [spectrum(X, Y, sample="indigo")],
)


def sideways(sheet):
    sheet.translate(0, A4[1])
    sheet.rotate(-90)


case(
    "sideways-on-the-page",
    "a wide table, written along the long edge of an upright page",
    lambda: listing(
        ["Wavelength (nm)     Absorbance"] + [f"{x}                 {y}" for x, y in zip(X, Y)],
        top=500,
        prepare=sideways,
    ),
    [spectrum(X, Y)],
)


def placed(texts, font="Helvetica", size=10, pagesize=A4):
    """Texts at places: (text, x, y from above[, size, rise])."""
    buffer = io.BytesIO()
    sheet = canvas.Canvas(buffer, pagesize=pagesize, invariant=1)
    for text, x, y, *more in texts:
        sheet.setFont(font, more[0] if more else size)
        sheet.drawString(x, pagesize[1] - y + (more[1] if len(more) > 1 else 0), text)
    sheet.showPage()
    sheet.save()
    return buffer.getvalue()


def footnotes():
    texts = [("Wavelength (nm)", 60, 80), ("Absorbance", 180, 80)]
    for i, (x, y) in enumerate(zip(X, Y)):
        texts += [(x, 60, 100 + 14 * i), (y, 180, 100 + 14 * i)]
        if i in (3, 7):
            width = pdfmetrics.stringWidth(y, "Helvetica", 10)
            texts.append(("1" if i == 3 else "2", 180.5 + width, 100 + 14 * i, 6, 4))
    texts += [("1", 60, 320, 6, 4), ("diluted twice before", 66, 320)]
    texts += [("2", 60, 334, 6, 4), ("air bubble", 66, 334)]
    return placed(texts)


case(
    "raised-footnotes",
    "raised marks of footnotes directly behind two values; the figures must not join the value",
    footnotes,
    [spectrum(X, Y)],
    never=[number(Y[3] + "1"), number(Y[7] + "2")],
)

case(
    "empty-cells",
    "two cells where nothing stands: no value may move into its neighbour's column",
    lambda: placed(
        [("nm", 60, 80), ("A sample 1", 140, 80), ("A sample 2", 240, 80)]
        + [(x, 60, 100 + 14 * i) for i, x in enumerate(X)]
        + [(y, 140, 100 + 14 * i) for i, y in enumerate(Y) if i != 4]
        + [(y, 240, 100 + 14 * i) for i, y in enumerate(Y2) if i != 9]
    ),
    [
        {
            "technique": "spectrum",
            "traces": [
                trace(nm(X), au(["" if i == 4 else y for i, y in enumerate(Y)])),
                trace(nm(X), au(["" if i == 9 else y for i, y in enumerate(Y2)])),
            ],
        }
    ],
    absent=2,
)

case(
    "bold-by-drawing-twice",
    "each text is drawn a second time a little beside itself, so that it looks bold",
    lambda: placed(
        [
            (text, x + dx, y)
            for text, x, y in [("Wavelength (nm)", 60, 80), ("Absorbance", 180, 80)]
            + [(x, 60, 100 + 14 * i) for i, x in enumerate(X)]
            + [(y, 180, 100 + 14 * i) for i, y in enumerate(Y)]
            for dx in (0, 0.3)
        ]
    ),
    [spectrum(X, Y)],
)

case(
    "overprinted",
    "two values of one row are printed over each other: neither is a number",
    lambda: placed(
        [("Wavelength (nm)", 60, 80), ("Absorbance", 180, 80)]
        + [(x, 60, 100 + 14 * i) for i, x in enumerate(X)]
        + [(y, 180, 100 + 14 * i) for i, y in enumerate(Y)]
        + [("0.9999", 184, 100 + 14 * 5)]
    ),
    [spectrum([x for i, x in enumerate(X) if i != 5], [y for i, y in enumerate(Y) if i != 5])],
    never=[0.9999],
    verdicts_also_fine=["in-question"],
)


def two_runs():
    story = []
    for name, y in (("dye A", Y), ("dye B", Y2)):
        story += [
            says(f"Sample: {name}"),
            says("Temperature: 25 °C"),
            Spacer(1, 8),
            Table([["Wavelength (nm)", "Absorbance"], *zip(X, y)], style=GRID),
            PageBreak(),
        ]
    return platypus(story)


case(
    "two-runs",
    "two samples in one report, a page each",
    two_runs,
    [
        spectrum(X, Y, sample="dye A", temperature={"value": 25, "unit": "Cel"}),
        spectrum(X, Y2, sample="dye B", temperature={"value": 25, "unit": "Cel"}),
    ],
)

PRICES = [["Article", "Price", "Pieces"]] + [[f"beaker {i}", f"{3.5 + i:.2f}", str(10 + i)] for i in range(12)]
case(
    "prices",
    "a price list is no measurement",
    lambda: platypus([Paragraph("Price list", STYLES["Title"]), Table(PRICES, style=GRID)]),
    verdict="refused",
)

# ---------------------------------------------------------------- fpdf2


def fpdf(fill, family="helvetica", size=10, orientation="portrait"):
    document = FPDF(orientation=orientation)
    document.set_creation_date(dt.datetime(2021, 5, 14, tzinfo=dt.timezone.utc))
    if family == "dejavu":
        document.add_font("dejavu", fname=str(DEJAVU))
    document.set_font(family, size=size)
    document.add_page()
    fill(document)
    return bytes(document.output())


TIMES = [str(30 * i) for i in range(16)]
COURSES = [[f"{0.05 + rate * 0.03 * i:.3f}" for i in range(16)] for rate in (0.4, 0.9, 1.3)]


def course_table(document):
    document.cell(text="Wavelength: 340 nm", new_x="LMARGIN", new_y="NEXT")
    document.ln(4)
    with document.table(text_align="RIGHT", width=120) as table:
        for row in [["Time (s)", "A sample 1", "A sample 2", "A sample 3"], *zip(TIMES, *COURSES)]:
            cells = table.row()
            for text in row:
                cells.cell(text)


case(
    "three-courses",
    "a time course of three samples, with lines around the cells",
    lambda: fpdf(course_table),
    [
        {
            "technique": "time-course",
            "fields": {"wavelength": {"value": 340, "unit": "nm"}},
            "traces": [trace(axis("time", "s", numbers(TIMES)), au(course)) for course in COURSES],
        }
    ],
)

MINUS = [f"{0.01 * math.cos(i / 2):.4f}".replace("-", "\u2212") for i in range(14)]


def minus_table(document):
    for row in [["Wavelength (nm)", "Absorbance"], *zip(X, MINUS)]:
        for text in row:
            document.cell(50, 6, text, align="R")
        document.ln()


case(
    "minus-signs",
    "values below zero with the typographic minus sign (U+2212)",
    lambda: fpdf(minus_table, "dejavu"),
    [spectrum(X, MINUS)],
)


def two_line_heads(document):
    document.cell(text="Sample: carmine", new_x="LMARGIN", new_y="NEXT")
    document.ln(2)
    for row in [["Wavelength", "Absorbance"], ["nm", "AU"], *zip(X, Y)]:
        for text in row:
            document.cell(40, 5, text, align="C")
        document.ln()


case(
    "heads-over-two-lines",
    "units in a line of their own below the heads, all centred",
    lambda: fpdf(two_line_heads),
    [spectrum(X, Y, sample="carmine")],
)


def one_row_without_letters():
    """A row is set in a font that does not say what its signs are."""

    def fill(document):
        document.add_font("other", fname=str(DEJAVU).replace("DejaVuSans.ttf", "DejaVuSansMono.ttf"))
        for i, row in enumerate([["Wavelength (nm)", "Absorbance"], *zip(X, Y)]):
            document.set_font("other" if i == 6 else "dejavu", size=10)
            for text in row:
                document.cell(50, 6, text, align="R")
            document.ln()

    with pikepdf.open(io.BytesIO(fpdf(fill, "dejavu"))) as document:
        for font in document.pages[0].Resources.Font.values():
            if "Mono" in str(font.get("/BaseFont", "")):
                del font["/ToUnicode"]
        buffer = io.BytesIO()
        document.save(buffer, deterministic_id=True)
    return buffer.getvalue()


case(
    "signs-unknown",
    "a row in a font that does not say what its signs are: its numbers are not read and told",
    one_row_without_letters,
    [spectrum([x for i, x in enumerate(X) if i != 5], [y for i, y in enumerate(Y) if i != 5])],
    remarks_contain=["does not say what they are"],
)

# ---------------------------------------------------------------- weasyprint (as a browser prints)


def html(body, style=""):
    page = f"<html><head><meta charset='utf-8'><style>body{{font-family:'DejaVu Sans';font-size:10pt}}{style}</style></head><body>{body}</body></html>"
    return weasyprint.HTML(string=page).write_pdf()


def html_table(rows, attributes=""):
    lines = ["".join(f"<{kind}>{text}</{kind}>" for text in row) for kind, row in rows]
    return f"<table {attributes}>" + "".join(f"<tr>{line}</tr>" for line in lines) + "</table>"


def head_and_rows(head, *columns):
    return [("th", head)] + [("td", row) for row in zip(*columns)]


COMMA = [y.replace(".", ",") for y in Y]
case(
    "decimal-comma",
    "a web page as printed: German, with decimal commas",
    lambda: html(
        "<h2>Messprotokoll</h2><p>Probe: Rote Bete 1<br>Datum: 14.05.2021<br>Schichtdicke: 1 cm</p>"
        + html_table(head_and_rows(["Wellenlänge (nm)", "Extinktion"], X, COMMA)),
        "td,th{padding:2px 12px;text-align:right}",
    ),
    [spectrum(X, Y, sample="Rote Bete 1", date="2021-05-14", **{"path-length": {"value": 1, "unit": "cm"}})],
)

case(
    "value-over-two-lines",
    "conditions in a box of two columns; a value that is too long goes on on the next line",
    lambda: html(
        "<h2>Decay of a dye</h2><table class='box'><tr><td>Sample</td><td class='v'>methylene blue, second extract</td>"
        "<td>Date</td><td class='v'>2016-10-04</td></tr><tr><td>Operator</td><td class='v'>N. N.</td>"
        "<td>Solvent</td><td class='v'>water</td></tr></table>"
        + html_table(head_and_rows(["Time / s", "Absorbance"], TIMES, COURSES[0])),
        "td,th{padding:2px 12px;text-align:right;vertical-align:top}.box td{text-align:left}"
        ".v{width:115pt;line-height:1.1}",
    ),
    [
        {
            "technique": "time-course",
            "fields": {
                "sample": "methylene blue, second extract",
                "date": "2016-10-04",
                "operator": "N. N.",
                "solvent": "water",
            },
            "traces": [trace(axis("time", "s", numbers(TIMES)), au(COURSES[0]))],
        }
    ],
)

case(
    "narrow-gaps",
    "a web page as printed with the usual narrow gaps between cells, hardly wider than blanks between words",
    lambda: html(html_table(head_and_rows(["Wavelength (nm)", "Absorbance", "Reference (AU)"], X, Y, Y2))),
    [{"technique": "spectrum", "traces": [trace(nm(X), au(Y)), trace(nm(X), au(Y2), optional=True)]}],
    verdicts_also_fine=["in-question"],
)

case(
    "conditions-in-prose",
    "the conditions stand in sentences around the table",
    lambda: html(
        "<h1>Oxidation of NADH</h1><p>The course was followed at 340 nm and 25 °C in a cell of 1 cm path length. "
        "The buffer was 50 mM phosphate, pH 7.4. The reaction was started by adding the enzyme, and the readings "
        "were taken every thirty seconds.</p>"
        + html_table(head_and_rows(["Time (s)", "Absorbance"], TIMES, COURSES[0]))
        + "<p>The readings fall on a straight line. No correction was made for the blank.</p>",
        "td,th{padding:2px 16px;text-align:right}",
    ),
    [{"technique": "time-course", "traces": [trace(axis("time", "s", numbers(TIMES)), au(COURSES[0]))]}],
    fields_fine={
        "temperature": [{"value": 25, "unit": "Cel"}],
        "ph": [7.4],
        "path-length": [{"value": 1, "unit": "cm"}],
        "wavelength": [{"value": 340, "unit": "nm"}],
        "concentration": [{"value": 50, "unit": "mmol/L"}],
    },
)

PROSE = (
    "The extract was prepared by stirring the dried roots in water for one hour and filtering through paper. "
    "It was kept in the dark until the measurement, since light bleaches the dye within some hours. "
)
case(
    "columns-of-the-page",
    "a report in two columns of the page: prose in both, the table at the end of the second",
    lambda: html(
        f"<div class='two'><p>{PROSE * 4}</p><p>{PROSE * 2}</p>"
        + "<p>Sample: alkanna root</p>"
        + html_table(head_and_rows(["nm", "Absorbance"], X, Y))
        + f"<p>{PROSE}</p></div>",
        ".two{column-count:2;column-gap:30pt;text-align:justify}td,th{padding:1px 14px;text-align:right}"
        "table{break-inside:avoid}",
    ),
    [spectrum(X, Y, sample="alkanna root")],
)

case(
    "page-columns-with-a-table",
    "a table that runs from the first column of the page into the second, with its head repeated",
    lambda: html(
        "<h3>Sample: saffron</h3><div class='two'>"
        + "<table><thead><tr><th>nm</th><th>Absorbance</th></tr></thead><tbody>"
        + "".join(f"<tr><td>{x}</td><td>{y}</td></tr>" for x, y in zip(XL, YL))
        + "</tbody></table></div>",
        ".two{column-count:2;height:330pt;column-fill:auto}td,th{padding:1px 14px;text-align:right}",
    ),
    [spectrum(XL, YL, sample="saffron")],
)

CLOCKS = [f"{i // 2:02}:{30 * (i % 2):02}" for i in range(16)]
case(
    "minutes-and-seconds",
    "times as minutes and seconds, with the wavelength in the title",
    lambda: html(
        "<h3>Kinetics at 340 nm</h3>" + html_table(head_and_rows(["Time (mm:ss)", "A"], CLOCKS, COURSES[1])),
        "td,th{padding:2px 20px}",
    ),
    [
        {
            "technique": "time-course",
            "traces": [trace(axis("time", "s", [30 * i for i in range(16)]), au(COURSES[1]))],
        }
    ],
    fields_fine={"wavelength": [{"value": 340, "unit": "nm"}]},
)

# ---------------------------------------------------------------- typst


def typeset(text):
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "print.typ"
        path.write_text(text)
        return typst.compile(str(path))


POWERS = [(f"{1.2 + 0.3 * i:.1f}", -3 if i < 8 else -2) for i in range(12)]
XT, _ = scan(400, 10, 12)
case(
    "powers-of-ten",
    "values with raised exponents: 1.2 × 10⁻³",
    lambda: typeset(
        "#table(columns: 2, align: right, stroke: none, [Wavelength (nm)], [Absorbance],"
        + ", ".join(f"[{x}], [${m} times 10^({e})$]" for x, (m, e) in zip(XT, POWERS))
        + ")"
    ),
    [
        {
            "technique": "spectrum",
            "traces": [trace(nm(XT), axis("absorbance", "{AU}", [float(f"{m}e{e}") for m, e in POWERS]))],
        }
    ],
)

WAVENUMBERS = [str(20000 + 500 * i) for i in range(12)]
case(
    "raised-unit",
    "the unit cm⁻¹ with a raised exponent in the head",
    lambda: typeset(
        'Sample: cobalt glass\n\n#table(columns: 2, align: right, [Wavenumber / cm#super[−1]], [_A_],'
        + ", ".join(f"[{x}], [{y}]" for x, y in zip(WAVENUMBERS, Y))
        + ")"
    ),
    [
        {
            "technique": "spectrum",
            "fields": {"sample": "cobalt glass"},
            "traces": [trace(axis("wavenumber", "/cm", numbers(WAVENUMBERS)), au(Y[:12]))],
        }
    ],
)

case(
    "numbered-pages",
    "a long table over pages, its head repeated, the page as `1 / 2` at the foot",
    lambda: typeset(
        '#set page(numbering: "1 / 1", header: [Dye laboratory #h(1fr) invented data])\nSample: woad\n\n'
        "#table(columns: 2, align: right, table.header([Wavelength (nm)], [Absorbance]),"
        + ", ".join(f"[{x}], [{y}]" for x, y in zip(XP[:56], YP))
        + ")"
    ),
    [spectrum(XP[:56], YP[:56], sample="woad")],
)

case(
    "raised-figures-of-the-font",
    "marks of footnotes behind two values as raised shapes of the font itself, on the line and of the same size",
    lambda: typeset(
        "#table(columns: 2, align: left, stroke: none, [Wavelength (nm)], [Absorbance],"
        + ", ".join(f"[{x}], [{y}{'#super[1]' if i in (2, 5) else ''}]" for i, (x, y) in enumerate(zip(X, Y)))
        + ")\n\n#super[1] diluted twice before"
    ),
    [spectrum(X, Y)],
    never=[number(Y[2] + "1"), number(Y[5] + "1")],
)

case(
    "lowered-wavelength",
    "heads with a lowered wavelength, A₂₈₀ and A₃₄₀, over time",
    lambda: typeset(
        "#table(columns: 3, align: right, stroke: none, [_t_ / min], [_A_#sub[280]], [_A_#sub[340]],"
        + ", ".join(f"[{i}], [{a}], [{b}]" for i, (a, b) in enumerate(zip(COURSES[0], COURSES[1])))
        + ")"
    ),
    [
        {
            "technique": "time-course",
            "traces": [trace(axis("time", "min", list(range(16))), au(course)) for course in COURSES[:2]],
        }
    ],
    fields_fine={"wavelength": [{"value": 280, "unit": "nm"}, {"value": 340, "unit": "nm"}]},
)

# ---------------------------------------------------------------- matplotlib


def figure(draw, fonttype):
    plt.rcParams["pdf.fonttype"] = fonttype
    shown, axes = plt.subplots(figsize=(5, 5))
    draw(axes)
    buffer = io.BytesIO()
    shown.savefig(buffer, format="pdf", metadata={"CreationDate": None})
    plt.close(shown)
    return buffer.getvalue()


def drawn_table(axes):
    axes.axis("off")
    axes.set_title("Sample: cochineal")
    axes.table(cellText=list(zip(X, Y)), colLabels=["Wavelength (nm)", "Absorbance"], loc="center")


for kind, name in ((3, "drawn-letters"), (42, "embedded-letters")):
    case(
        f"table-of-a-figure-{name}",
        f"a table drawn as a figure, its letters as fonts of type {kind}",
        lambda kind=kind: figure(drawn_table, kind),
        [spectrum(X, Y, sample="cochineal")],
    )


def curve(axes):
    axes.plot(numbers(X), numbers(Y))
    axes.set_xlabel("Wavelength (nm)")
    axes.set_ylabel("Absorbance")
    axes.set_title("Sample: cochineal")


case(
    "curve-only",
    "a drawn curve without a table: it is measured against its ticks, and marked as digitised",
    lambda: figure(curve, 42),
    [spectrum(X, Y, sample="cochineal")],
)


def two_axes(axes):
    curve(axes)
    other = axes.twinx()
    other.plot(numbers(X), [20 + number(x) / 100 for x in X])
    other.set_ylabel("Temperature (°C)")


case(
    "curve-with-two-axes",
    "curves over axes of their own on both sides: which curve goes with which axis is not known",
    lambda: figure(two_axes, 42),
    verdict="refused",
)


def steep(axes):
    axes.plot(numbers(X), [number(y) / 1e6 for y in Y])
    axes.set_xlabel("Wavelength (nm)")
    axes.set_ylabel("Absorbance")


case(
    "curve-with-a-factor",
    "the numbers at the axis are to be multiplied by what stands above it: not measured",
    lambda: figure(steep, 42),
    verdict="refused",
)


def logarithmic(axes):
    curve(axes)
    axes.set_yscale("log")


case(
    "curve-over-powers-of-ten",
    "an axis of powers of ten: not measured",
    lambda: figure(logarithmic, 42),
    verdict="refused",
)


def without_ticks(axes):
    curve(axes)
    axes.tick_params(length=0)


case(
    "curve-without-ticks",
    "numbers at the axes and no ticks: not measured",
    lambda: figure(without_ticks, 42),
    verdict="refused",
)

