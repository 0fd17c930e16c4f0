"""Makes the EnzymeML archives of this folder with the zip file of Python's own library, and their truths from the same
numbers.

    python3 tests/corpus/documents/make_experiments.py

The laboratory, the substances and the numbers are invented. The structure follows SBML Level 3 Version 2 and the notes
of EnzymeML (its specification, versions 1 and 2 of the notes).
"""

import json
import math
import pathlib
import zipfile
from xml.sax.saxutils import quoteattr

HERE = pathlib.Path(__file__).parent / "experiments"
NOTES = "http://sbml.org/enzymeml/version2"


def unit(identifier, name, *parts):
    inner = "".join(
        f'<unit kind="{kind}" exponent="{exponent}" scale="{scale}" multiplier="{multiplier}"/>'
        for kind, exponent, scale, multiplier in parts
    )
    return f'<unitDefinition id="{identifier}" name={quoteattr(name)}><listOfUnits>{inner}</listOfUnits></unitDefinition>'


UNITS = {
    "mM": unit("u_mM", "mM", ("mole", 1, -3, 1), ("litre", -1, 0, 1)),
    "uM": unit("u_uM", "µM", ("mole", 1, -6, 1), ("litre", -1, 0, 1)),
    "s": unit("u_s", "s", ("second", 1, 0, 1)),
    "min": unit("u_min", "minutes", ("second", 1, 0, 60)),
    "K": unit("u_K", "K", ("kelvin", 1, 0, 1)),
    "mL": unit("u_mL", "ml", ("litre", 1, -3, 1)),
}
UCUM = {"mM": "mmol/L", "uM": "umol/L", "s": "s", "min": "min"}


def experiment(name, why, title, species, measurements, conditions, time, columns, header=False, old=False, **more):
    """`columns`: list of (species, replica, kind, unit); `measurements`: list of (name, starts, rows)."""
    substances = "".join(
        f'<species id="{key}" name={quoteattr(said)}>'
        + (f'<annotation><enzymeml:protein xmlns:enzymeml="{NOTES}"/></annotation>' if key.startswith("p") else "")
        + "</species>"
        for key, said in species.items()
    )
    lists = ("listOfFormats", "listOfFiles") if old else ("formats", "files")
    described = f'<enzymeml:column type="time" unit="u_{time}" index="0"/>' + "".join(
        f'<enzymeml:column replica="{replica}" species="{key}" type="{kind}" unit="u_{of}" index="{index}" isCalculated="False"/>'
        for index, (key, replica, kind, of) in enumerate(columns, 1)
    )
    noted = "".join(
        f'<enzymeml:measurement file="f{index}" id="m{index}" name={quoteattr(said)}>'
        + "".join(
            f'<enzymeml:initConc {"protein" if key.startswith("p") else "reactant"}="{key}" value="{value}" unit="u_{of}"/>'
            for key, value, of in starts
        )
        + "</enzymeml:measurement>"
        for index, (said, starts, _) in enumerate(measurements)
    )
    files = "".join(f'<enzymeml:file file="./data/m{index}.csv" format="fmt" id="f{index}"/>' for index in range(len(measurements)))
    reactions = "".join(
        f'<reaction id="r{index}" name="reaction {index}"><annotation><enzymeml:reaction xmlns:enzymeml="{NOTES}">'
        f'<enzymeml:conditions><enzymeml:temperature value="{kelvin}" unit="u_K"/><enzymeml:ph value="{ph}"/>'
        "</enzymeml:conditions></enzymeml:reaction></annotation></reaction>"
        for index, (kelvin, ph) in enumerate(conditions)
    )
    document = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<sbml xmlns="http://www.sbml.org/sbml/level3/version2/core" level="3" version="2">\n'
        f'<model id="model" name={quoteattr(title)}>\n<listOfUnitDefinitions>{"".join(UNITS.values())}</listOfUnitDefinitions>\n'
        '<listOfCompartments><compartment id="v0" name="cell" size="1" units="u_mL" constant="true"/></listOfCompartments>\n'
        f"<listOfSpecies>{substances}</listOfSpecies>\n<listOfReactions><annotation>"
        f'<enzymeml:data xmlns:enzymeml="{NOTES}"><enzymeml:{lists[0]}><enzymeml:format id="fmt">{described}</enzymeml:format>'
        f"</enzymeml:{lists[0]}><enzymeml:listOfMeasurements>{noted}</enzymeml:listOfMeasurements>"
        f"<enzymeml:{lists[1]}>{files}</enzymeml:{lists[1]}></enzymeml:data></annotation>\n{reactions}</listOfReactions>\n"
        "</model></sbml>\n"
    )
    folder = HERE / name
    folder.mkdir(parents=True, exist_ok=True)
    runs = []
    with zipfile.ZipFile(folder / "input.omex", "w", zipfile.ZIP_DEFLATED) as archive:
        def put(path, text):
            archive.writestr(zipfile.ZipInfo(path, (2020, 1, 1, 0, 0, 0)), text)

        put(
            "manifest.xml",
            '<?xml version="1.0"?><omexManifest xmlns="http://identifiers.org/combine.specifications/omex-manifest">'
            '<content location="./experiment.xml" format="http://identifiers.org/combine.specifications/sbml" master="true"/>'
            "</omexManifest>",
        )
        put("experiment.xml", document)
        for index, (said, starts, rows) in enumerate(measurements):
            lines = [",".join(row) for row in rows]
            if header:
                lines.insert(0, ",".join(["time", *(f"{key}/{replica}" for key, replica, _, _ in columns)]))
            put(f"data/m{index}.csv", "\n".join(lines) + "\n")
            fields = dict(more.get("fields", {}))
            runs.append({
                "technique": "time-course",
                "fields": fields,
                "traces": [
                    {
                        "x": {"quantity": "time", "unit": UCUM[time], "values": [float(row[0]) for row in rows]},
                        "y": {
                            "quantity": {"conc": "concentration", "abs": "absorbance"}[kind],
                            "unit": "{AU}" if kind == "abs" else UCUM[of],
                            "values": [float(row[at]) for row in rows],
                        },
                        **({"label": species[key]} if sum(k == key for k, *_ in columns) == 1 else {"label": f"{species[key]}, {replica}"}),
                    }
                    for at, (key, replica, kind, of) in enumerate(columns, 1)
                ],
            })
    truth = {"why": why, "verdict": "read", "runs": runs}
    if "fields_never" in more:
        truth["fields_never"] = more["fields_never"]
    (folder / "expect.json").write_text(json.dumps(truth, indent=1, ensure_ascii=False) + "\n")


def course(step, count, *starts_and_rates):
    return [
        [f"{step * i:g}", *(f"{low + (high - low) * (1 - math.exp(-rate * step * i)):.4f}" for low, high, rate in starts_and_rates)]
        for i in range(count)
    ]


experiment(
    "two-measurements",
    "two measurements of one substance, repeated, with the temperature and pH of the one reaction",
    "Esterase of day 3",
    {"s0": "nitrophenyl acetate", "s1": "nitrophenol", "p0": "esterase 7"},
    [
        ("low", [("p0", "0.2", "uM"), ("s0", "1", "mM")], course(0.5, 9, (0, 1, 0.4), (0.01, 1.02, 0.4))),
        ("high", [("p0", "0.2", "uM"), ("s0", "5", "mM")], course(0.5, 9, (0, 5, 0.3), (0.02, 5.05, 0.3))),
    ],
    [("310.15", "7.4")],
    "min",
    [("s1", "a", "conc", "mM"), ("s1", "b", "conc", "mM")],
    fields={"temperature": {"value": 310.15, "unit": "K"}, "ph": 7.4, "enzyme": "esterase 7", "enzyme-concentration": {"value": 0.2, "unit": "umol/L"}},
)
experiment(
    "absorbance-with-header",
    "absorbance and concentration over seconds; the table has a line of names; lists of the older notes",
    "Invented dehydrogenase",
    {"s0": "NADH", "p0": "dehydrogenase 2"},
    [("run 1", [("s0", "120", "uM")], course(10, 8, (0.7, 0.1, 0.02), (120, 12, 0.02)))],
    [("298.15", "8.0")],
    "s",
    [("s0", "x1", "abs", "uM"), ("s0", "x2", "conc", "uM")],
    header=True,
    old=True,
    fields={"temperature": {"value": 298.15, "unit": "K"}, "ph": 8.0},
)
experiment(
    "conditions-that-differ",
    "two reactions at different temperatures: neither is given to the measurement",
    "Two steps",
    {"s0": "substrate A", "s1": "product B", "p0": "lyase 1", "p1": "lyase 2"},
    [("m", [], course(30, 7, (2, 0, 0.01), (0, 2, 0.01)))],
    [("298.15", "7.0"), ("310.15", "7.5")],
    "s",
    [("s0", "r", "conc", "mM"), ("s1", "r", "conc", "mM")],
    fields_never={"temperature": ["298.15 K", "310.15 K"], "ph": ["7.0", "7.5"], "enzyme": ["lyase 1", "lyase 2"]},
)
