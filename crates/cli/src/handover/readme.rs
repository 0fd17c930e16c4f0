//! The README of a bundle, in plain words.

use curvary_formats::writers::table_schema::{ColumnType, TableField};

use crate::screen::plural;

/// How the tables are read by Python; `tests/independent/check.py` does it.
const PYTHON: &str = r#"```python
import json
import pandas as pd

package = json.load(open("datapackage.json", encoding="utf-8"))

def table(name):
    fields = next(one for one in package["resources"] if one["name"] == name)["schema"]["fields"]
    texts = {field["name"]: str for field in fields if field["type"] in ("string", "date")}
    return pd.read_csv(f"tables/{name}.csv", dtype=texts, keep_default_na=False, na_values=[""])

points, curves, runs = table("points"), table("curves"), table("runs")
everything = points.merge(curves, on=["run", "trace"], suffixes=("", "_of_curve")).merge(
    runs, on="run", suffixes=("", "_of_run"))
```
"#;

/// How the tables are read by R, behind the lists of the columns that are texts.
const R: &str = r#")
table_of <- function(name) {
  classes <- setNames(rep("character", length(texts[[name]])), texts[[name]])
  read.csv(file.path("tables", paste0(name, ".csv")), colClasses = classes, na.strings = "", check.names = FALSE)
}
points <- table_of("points"); curves <- table_of("curves"); runs <- table_of("runs")
everything <- merge(merge(points, curves, by = c("run", "trace"), suffixes = c("", "_of_curve")),
                    runs, by = "run", suffixes = c("", "_of_run"))
```
"#;

/// What the README says of one bundle.
pub(super) struct About<'a> {
    pub(super) title: &'a str,
    pub(super) runs: u64,
    pub(super) points: u64,
    pub(super) results: u64,
    pub(super) licence: Option<&'a str>,
    pub(super) left_out: Option<&'a str>,
    pub(super) originals: bool,
    /// How many runs the originals hold that are not in the tables.
    pub(super) more_runs: u64,
    /// Each table with its columns.
    pub(super) tables: &'a [(String, Vec<TableField>)],
    /// The figure and the report, where there are any.
    pub(super) pages: &'a [(&'a str, &'a str)],
}

/// The text.
pub(super) fn text(about: &About<'_>) -> String {
    let mut text = format!("# {}\n\n", about.title);
    text.push_str(&format!(
        "Measurements of a UV-visible spectrophotometer: {} with {} and {} computed from them.\n\n",
        plural(about.runs, "run"),
        plural(about.points, "point"),
        plural(about.results, "result")
    ));
    files(about, &mut text);
    opening(about, &mut text);
    columns(about, &mut text);
    text.push_str(
        "\n## How each number came about\n\n\
         Measured numbers are the decimals that stood in the sources, unchanged. Where one quantity came in several units, it \
         was brought to one where that is exact to the last digit; where it is not, each unit has its own column. Values of \
         conditions come from the sources, from names of files or from notes of people; `origins.csv` says which. Where \
         several claims disagree, the strongest stands in `runs.csv` (a person's note, then the source, then the file's name) \
         and all of them in `origins.csv` and `runs.jsonl`. Results name their model, the runs they were computed from and the \
         program that did it; their settings in `runs.jsonl` are enough to compute them again.\n",
    );
    if let Some(left_out) = about.left_out {
        text.push_str(&format!(
            "\n## What is not in here\n\nSome things were {left_out}. All files but the originals were searched for these values \
             when this was packed, as whole words, and none was found. Parts of names, other spellings, and values that are said above \
             to be like others were not looked for in that search.\n"
        ));
    }
    text.push_str(&format!(
        "\n## Licence\n\n{}\n\n## Cautions\n\n\
         The data are for research and teaching, never for diagnosis. A point whose `saturated` is true lies beyond the range of \
         the instrument and is no measurement of the sample. A run with something in the column `question` waits for a person's \
         decision. Ultraviolet lamps harm eyes and skin, and reference solutions may be corrosive, oxidising or toxic: local \
         rules and licensed practice come first where anything of this is measured again.\n\n\
         Packed by curvary {}.\n",
        about
            .licence
            .unwrap_or("None was stated. Ask whoever handed this over before you pass it on or publish from it."),
        env!("CARGO_PKG_VERSION")
    ));
    text
}

/// Which files there are.
fn files(about: &About<'_>, text: &mut String) {
    text.push_str("## What is in here\n\n| file | what it is |\n|---|---|\n");
    for (name, what) in about.pages {
        text.push_str(&format!("| `{name}` | {what} |\n"));
    }
    for (name, what) in [
        (
            "tables/runs.csv",
            "a row for each run: what is known of it (sample, conditions, date)",
        ),
        (
            "tables/curves.csv",
            "a row for each curve of a run: what was measured over what, and what was held",
        ),
        ("tables/points.csv", "a row for each point: the numbers"),
        (
            "tables/results.csv",
            "a row for each number that was computed, with its standard error and interval",
        ),
        (
            "tables/origins.csv",
            "who said what: for each value the text that stood there and its line in the source",
        ),
        (
            "runs.jsonl",
            "all of this as JSON, a line for each run, with everything that has no room in the tables",
        ),
        (
            "datapackage.json",
            "the types and units of all columns, for programs (Frictionless Data Package 2.0)",
        ),
        (
            "ro-crate-metadata.json",
            "what the files are and what made them, for programs (RO-Crate 1.1)",
        ),
    ] {
        text.push_str(&format!("| `{name}` | {what} |\n"));
    }
    if about.originals {
        text.push_str(
            "| `originals/` | the files as they came from the instrument, bit for bit |\n\
             | `notes.jsonl` | what people said of the runs, a note a line |\n\
             | `answers.jsonl` | what they answered where a file left something open, an answer a line |\n\
             | `laboratory.toml`, `layouts/` | local words, rules for names, saved sequences and layouts, where there are any: with \
             them the originals are read as where they come from |\n",
        );
    }
    if about.more_runs > 0 {
        text.push_str(&format!(
            "\nThe originals hold {} more, which {} in no table here.\n",
            plural(about.more_runs, "run"),
            if about.more_runs == 1 { "stands" } else { "stand" },
        ));
    }
    if about.originals {
        text.push_str(
            "\n`curvary add` with this bundle, as a ZIP file or a folder, keeps the originals in an archive, where the runs have \
             the same names as here, and takes the answers, notes, tags and results along.\n",
        );
    }
}

/// How they are opened.
fn opening(about: &About<'_>, text: &mut String) {
    text.push_str(
        "\nThe folder above this one is a BagIt bag: `manifest-sha512.txt` has a checksum of every file, and any BagIt \
         program says whether one was changed or lost on the way.\n\n## How to open it\n\n\
         `report.html` opens in any browser, without a network. The tables are CSV in UTF-8 with commas between cells and \
         points as decimal signs. `run` and `trace` tie them together. Names such as `007`, `1e10` or `NA` stay as they are only if the \
         columns of text are read as text:\n\n",
    );
    text.push_str(PYTHON);
    text.push_str("\n```r\ntexts <- list(");
    let tied = ["points", "curves", "runs"];
    for (place, name) in tied.iter().enumerate() {
        let fields = about
            .tables
            .iter()
            .find(|(path, _)| *path == format!("tables/{name}.csv"));
        let texts: Vec<String> = fields
            .into_iter()
            .flat_map(|(_, fields)| fields)
            .filter(|field| matches!(field.kind, ColumnType::String | ColumnType::Date))
            .map(|field| format!("\"{}\"", field.name))
            .collect();
        let front = if place > 0 { ",\n  " } else { "" };
        text.push_str(&format!("{front}{name} = c({})", texts.join(", ")));
    }
    text.push_str(R);
}

/// What the columns of the tables are.
fn columns(about: &About<'_>, text: &mut String) {
    text.push_str("\n## Columns\n\nUnits are UCUM codes. An empty cell means that there is no value.\n");
    for (name, fields) in about.tables {
        text.push_str(&format!(
            "\n### {name}\n\n| column | unit | what it is |\n|---|---|---|\n"
        ));
        for field in fields {
            let cell = |text: &str| text.replace('|', "\\|").replace('\n', " ");
            text.push_str(&format!(
                "| `{}` | {} | {} |\n",
                field.name,
                field
                    .unit
                    .as_deref()
                    .map(|unit| format!("`{unit}`"))
                    .unwrap_or_default(),
                cell(&field.description)
            ));
        }
    }
}
