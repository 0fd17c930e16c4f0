//! `curvary fields`: what a query can ask for.

use std::io::Write;

use clap::Args;
use curvary_archive::{Archive, FindOptions};
use curvary_record::{Unit, ValueKind, known_fields};
use serde::Serialize;

use crate::Environment;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{FAINT, STRONG, Screen, StyledText, count};
use crate::table::{Listing, ListingColumn, Shorten, TableCell};

/// List the fields that a query can ask for, with their units and an example of each
///
/// In an archive, fields that its runs have come first, each with how many runs have it. A number without a unit is taken in
/// the unit that stands here; any other unit of the same kind may be written behind it.
#[derive(Debug, Args)]
pub(crate) struct FieldsCommand {
    /// Only fields in whose name or description this word stands
    #[arg(value_name = "WORD")]
    word: Option<String>,
    /// Print JSON: a list of objects with field, about, unit, example and runs
    #[arg(long)]
    json: bool,
}

/// One field.
#[derive(Serialize)]
struct FieldEntry {
    field: String,
    about: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    unit: Option<String>,
    example: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    runs: Option<u64>,
}

/// What can be asked for beside the fields of runs.
const SPECIAL: [(&str, &str, &str); 15] = [
    (
        "technique",
        "What was measured: spectrum, time-course, spectral-time-course, …",
        "technique:time-course",
    ),
    ("year", "Year of the measurement, or years.", "year:2019..2021"),
    (
        "is",
        "State: in-question, read, disputed, duplicate, superseded.",
        "is:in-question",
    ),
    (
        "has",
        "Runs that have a field, result, note, question, remark, warning or dispute.",
        "has:result",
    ),
    (
        "result.NAME",
        "A number of a kept result, by the parameter's name.",
        "result.k:>0.0001/s",
    ),
    (
        "result.model",
        "The model of a kept result.",
        "result.model:first-order",
    ),
    ("path", "Words of the file's path.", "path:practical"),
    (
        "label",
        "Words of the label of a curve, or of a name beside a point.",
        "label:37",
    ),
    ("reader", "What read the file.", "reader:jcamp-dx"),
    ("points", "Number of points.", "points:>=100"),
    ("traces", "Number of curves of the run.", "traces:1"),
    ("question", "Code of an open question.", "question:axis-unknown"),
    ("remark", "Code of a remark.", "remark:beyond-range"),
    (
        "dispute",
        "Field on which sources disagree.",
        "dispute:temperature",
    ),
    ("run", "Runs by name.", "run:b6570f5e"),
];

impl FieldsCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = opened(setting, screen)?;
        let mut all = entries(archive.as_ref())?;
        if let Some(word) = &self.word {
            let word = word.to_lowercase();
            all.retain(|entry| {
                entry.field.to_lowercase().contains(&word) || entry.about.to_lowercase().contains(&word)
            });
        }
        if self.json {
            screen.json(&all)?;
            return Ok(Ending::Done);
        }
        let mut table = Listing::new([
            ListingColumn::new("field"),
            ListingColumn::new("unit"),
            ListingColumn::new("example").shorten(Shorten::End).least(24),
            ListingColumn::new("runs").right().rank(1),
            ListingColumn::new("").shorten(Shorten::End).least(28),
        ]);
        for entry in &all {
            table.row([
                TableCell::styled(entry.field.as_str(), STRONG),
                entry.unit.clone().unwrap_or_default().into(),
                entry.example.as_str().into(),
                entry
                    .runs
                    .filter(|runs| *runs > 0)
                    .map(count)
                    .unwrap_or_default()
                    .into(),
                TableCell::styled(entry.about.as_str(), FAINT),
            ]);
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        writeln!(
            screen,
            "{}",
            StyledText(
                FAINT,
                "bounds: 37C, 36..38C, >=7, <50uM; words: betanin, betan*, \"beet juice\"\na leading - turns a term round"
            )
        )?;
        Ok(Ending::Done)
    }
}

/// The archive whose runs are counted. Where none is meant, or none stands at the place that is named, the fields that every archive
/// has are all there are; one that cannot be opened is told as by every other command.
fn opened(setting: &Environment, screen: &mut Screen) -> Result<Option<Archive>, Failure> {
    let Ok(folder) = setting.archive.folder() else {
        return Ok(None);
    };
    match Archive::open(&folder) {
        Ok(archive) => Ok(Some(archive)),
        Err(curvary_archive::Error::NoArchive { .. }) => {
            screen.say(format_args!(
                "no archive is in {}: only the program's own fields are listed, without counts",
                folder.display()
            ));
            Ok(None)
        }
        Err(error) => Err(error.into()),
    }
}

fn entries(archive: Option<&Archive>) -> Result<Vec<FieldEntry>, Failure> {
    let runs = |query: &str| -> Result<Option<u64>, Failure> {
        let Some(archive) = archive else { return Ok(None) };
        let options = FindOptions {
            limit: 1,
            ..FindOptions::default()
        };
        Ok(Some(archive.find(&archive.query(query)?, &options)?.total as u64))
    };
    let mut known: Vec<FieldEntry> = Vec::new();
    for field in known_fields() {
        // `points` in a query is the count of what was read.
        let name = match field.key {
            "points" => "stated-points",
            key => key,
        };
        known.push(FieldEntry {
            field: name.to_owned(),
            about: field.about.to_owned(),
            unit: unit(field.kind),
            example: example(name, field.kind),
            runs: runs(&format!("has:{}", field.key))?,
        });
    }
    if let Some(archive) = archive {
        for key in archive.house_words()? {
            let quoted = format!("\"{}\"", key.replace('"', "\"\""));
            known.push(FieldEntry {
                example: format!(
                    "has:{}",
                    if key.contains(' ') {
                        quoted.as_str()
                    } else {
                        key.as_str()
                    }
                ),
                runs: runs(&format!("has:{quoted}"))?,
                field: key,
                about: "A key that only this laboratory uses.".to_owned(),
                unit: None,
            });
        }
    }
    // The sort is stable: by name among equals.
    known.sort_by_key(|entry| entry.runs.is_none_or(|runs| runs == 0));
    let special = SPECIAL.iter().map(|(field, about, example)| FieldEntry {
        field: (*field).to_owned(),
        about: (*about).to_owned(),
        unit: None,
        example: (*example).to_owned(),
        runs: None,
    });
    known.extend(special);
    Ok(known)
}

fn unit(kind: ValueKind) -> Option<String> {
    match kind {
        ValueKind::Number(code) | ValueKind::Range(code) => {
            let shown = Unit::ucum(code).map_or_else(|_| code.to_owned(), |unit| unit.display());
            (!shown.is_empty()).then_some(shown)
        }
        _ => None,
    }
}

/// A query for a field, as one would type it.
fn example(key: &str, kind: ValueKind) -> String {
    match key {
        "sample" => return "sample:betanin".to_owned(),
        "temperature" => return "temp:36..38C".to_owned(),
        "ph" => return "ph:>=7".to_owned(),
        "wavelength" => return "wavelength:535nm".to_owned(),
        "enzyme" => return "enzyme:phosphatase".to_owned(),
        "buffer" => return "buffer:\"citrate phosphate\"".to_owned(),
        "tag" => return "tag:thesis".to_owned(),
        "operator" => return "operator:\"k. l.\"".to_owned(),
        _ => {}
    }
    match kind {
        ValueKind::Text => format!("has:{key}"),
        ValueKind::Date => format!("{key}:2019..2021-06"),
        ValueKind::TimeOfDay => format!("{key}:09:00..12:00"),
        ValueKind::Number(code) | ValueKind::Range(code) => {
            let unit = match code {
                "1" | "[pH]" | "{AU}" => "",
                "Cel" => "C",
                code => code,
            };
            format!("{key}:1..10{unit}")
        }
    }
}
