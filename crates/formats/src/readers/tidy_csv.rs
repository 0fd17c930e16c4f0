//! The tidy CSV that [`crate::writers::csv`] writes, read back: what was handed to a collaborator may come home.
//!
//! The columns say everything: their names carry the units, so nothing is decided here that the writer did not say.
//! Which coordinate ran along a curve is seen from the rows; the others were held.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use curvary_record::{
    Claim, Code, Column, Coordinate, Decimals, Diagnostic, Fields, Lines, Origin, Place, Quantity, Question,
    Technique, Trace, Unit, Value, ValueKind, code, known_field,
};

use crate::sink::{CompletedRun, Sink, SourceLimits, SpanUnit};
use crate::writers::csv::{name_of_run, unguarded, unit_of};
use crate::{Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// The reader of tidy CSV.
pub struct TidyCsv {
    card: ReaderInfo,
}

impl Default for TidyCsv {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/tidy-csv".to_owned(),
                version: "1".to_owned(),
                title: "tidy CSV as curvary writes it".to_owned(),
            },
        }
    }
}

impl Reader for TidyCsv {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        let head = glimpse.head().lines().next().unwrap_or("");
        let names: Vec<&str> = head
            .trim_start_matches('\u{FEFF}')
            .split([',', ';', '\t'])
            .map(|name| name.trim_matches('"'))
            .collect();
        let has = |name: &str| names.contains(&name);
        if names.starts_with(&["run", "trace"]) && has("technique") && has("source") {
            Recognition::Yes("the headers `run,trace,…,technique,…,source` of a tidy table".to_owned())
        } else {
            Recognition::No("no headers `run,trace,…,technique,…,source` in the first line".to_owned())
        }
    }

    fn read(&self, source: &Source) -> Reading {
        read(source, &self.card)
    }
}

/// What a column is.
#[derive(Clone, Debug, PartialEq)]
enum TidyRole {
    Run,
    Trace,
    Technique,
    Label,
    Point,
    Question,
    Source,
    Saturated,
    Absent,
    /// A coordinate or a field with a number, and which of its numbers.
    Number(String, Option<Unit>, TidyPart),
    Words(String),
    /// What was measured.
    Measured(Quantity, Unit),
}

/// Which number of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum TidyPart {
    Value,
    From,
    To,
    PlusMinus,
    Stated,
    /// Of a field of the source's own that bears the name of a quantity.
    Own,
}

/// Quantities that run along curves or are held along them; other numbers are fields.
const COORDINATES: [&str; 7] = [
    "wavelength",
    "wavenumber",
    "energy",
    "time",
    "concentration",
    "inhibitor-concentration",
    "index",
];

/// The two ends of a range, as far as they have come, and their unit.
type RangeEnds = (Option<f64>, Option<f64>, Option<Unit>);

/// The rows of one curve, under the curve's number.
type CurveRows = (String, Vec<TidyRow>);

/// A row of the table with its line.
struct TidyRow {
    line: usize,
    cells: csv::StringRecord,
}

fn read(source: &Source, card: &ReaderInfo) -> Reading {
    let text = source.text().trim_start_matches('\u{FEFF}');
    if text.starts_with("run;") || text.starts_with("run\t") || text.starts_with('"') {
        return Reading::refused(
            Diagnostic::error(
                Code::new("table-saved-anew"),
                "the tidy table was saved by another program, with another separator, and perhaps with other numbers",
            )
            .at(Place::line(1), "the headers")
            .help("save it with commas between the cells and points as decimal signs, or read the table that curvary wrote"),
        );
    }
    let mut table = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut records = table.records();
    let Some(Ok(head)) = records.next() else {
        return Reading::refused(Diagnostic::error(code::NO_TABLE, "the table has no headers"));
    };
    let roles = roles(&head);
    // Rows of one run may stand anywhere, so each is whole only at the end.
    let mut sink = Sink::new(source, card, SpanUnit::Text, SourceLimits::WHOLE);
    let mut remarks = Vec::new();
    // Runs and their curves in the order in which they come.
    let mut runs: Vec<(String, Vec<CurveRows>)> = Vec::new();
    let mut run_places: BTreeMap<String, usize> = BTreeMap::new();
    let mut places: BTreeMap<(String, String), (usize, usize)> = BTreeMap::new();
    let at = |role: &TidyRole| roles.iter().position(|other| other == role);
    let (Some(run_at), Some(trace_at)) = (at(&TidyRole::Run), at(&TidyRole::Trace)) else {
        return Reading::refused(Diagnostic::error(
            code::NO_TABLE,
            "the table has no columns `run` and `trace`",
        ));
    };
    for record in records {
        let cells = match record {
            Ok(cells) => cells,
            Err(error) => {
                let line = error.position().map_or(0, |position| position.line());
                remarks.push(
                    Diagnostic::warning(
                        Code::new("row-does-not-fit"),
                        format!("a row cannot be read: {error}"),
                    )
                    .at(Place::line(usize::try_from(line).unwrap_or(0)), "this row"),
                );
                continue;
            }
        };
        let line = cells
            .position()
            .map_or(0, |position| usize::try_from(position.line()).unwrap_or(0));
        if cells.len() != roles.len() {
            remarks.push(
                Diagnostic::warning(
                    Code::new("row-does-not-fit"),
                    format!(
                        "a row of {} cells in a table of {} columns was left out",
                        cells.len(),
                        roles.len()
                    ),
                )
                .at(Place::line(line), "this row"),
            );
            continue;
        }
        if let Some(at) = (0..cells.len()).find(|&at| lacks_unit(&roles[at], &cells[at])) {
            return Reading::refused(
                Diagnostic::error(
                    Code::new("unit-form-unknown"),
                    format!("the column `{}` ends with a unit that is not known in this form", &head[at]),
                )
                .at(Place::line(1), "the headers")
                .help("the schema beside the table names the unit; the run's original, or its JSON, can be read instead"),
            );
        }
        let (run, trace) = (name_of_run(&cells[run_at]), &cells[trace_at]);
        // Somebody may have sorted the rows: they belong together by their names, wherever they stand.
        let key = (run.to_owned(), trace.to_owned());
        let (in_run, in_trace) = *places.entry(key).or_insert_with(|| {
            let in_run = *run_places.entry(run.to_owned()).or_insert_with(|| {
                runs.push((run.to_owned(), Vec::new()));
                runs.len() - 1
            });
            runs[in_run].1.push((trace.to_owned(), Vec::new()));
            (in_run, runs[in_run].1.len() - 1)
        });
        runs[in_run].1[in_trace].1.push(TidyRow { line, cells });
    }
    if runs.is_empty() {
        remarks.push(Diagnostic::error(
            code::NO_TABLE,
            "the table has headers and no rows",
        ));
    }
    let told = runs
        .into_iter()
        .try_for_each(|(name, traces)| sink.understood(run(source, &roles, &name, &traces)))
        .and_then(|()| remarks.into_iter().try_for_each(|remark| sink.add_remark(remark)));
    sink.finished(told)
}

fn roles(head: &csv::StringRecord) -> Vec<TidyRole> {
    let source_at = head
        .iter()
        .position(|name| name == "source")
        .unwrap_or(head.len());
    head.iter()
        .enumerate()
        .map(|(at, name)| (at, first_of_name(head, name)))
        .map(|(at, name)| match name {
            "run" => TidyRole::Run,
            "trace" => TidyRole::Trace,
            "technique" => TidyRole::Technique,
            "label" => TidyRole::Label,
            "point" => TidyRole::Point,
            "question" => TidyRole::Question,
            "source" => TidyRole::Source,
            "saturated" => TidyRole::Saturated,
            "absent" => TidyRole::Absent,
            _ if at > source_at => {
                let (quantity, unit) = named_with_unit(name.strip_prefix("measured_").unwrap_or(name), true);
                let unit = unit.unwrap_or(match quantity.as_str() {
                    "absorbance" => Unit::ABSORBANCE,
                    "ph" => Unit::PH,
                    _ => Unit::ONE,
                });
                TidyRole::Measured(Quantity::named(quantity), unit)
            }
            _ => field_or_coordinate(name, &|other| head.iter().any(|name| name == other)),
        })
        .collect()
}

/// Whether words under this name would be taken for a number with a unit.
pub(crate) fn reads_as_number(name: &str) -> bool {
    matches!(field_or_coordinate(name, &|_| false), TidyRole::Number(..))
}

/// Whether a number stands under the name of a coordinate with something behind it that is no known unit.
fn lacks_unit(role: &TidyRole, cell: &str) -> bool {
    let TidyRole::Words(key) = role else { return false };
    let coordinate = COORDINATES
        .iter()
        .any(|front| key.strip_prefix(front).is_some_and(|rest| rest.starts_with('-')));
    coordinate && known_field(key).is_none() && number(cell).is_some()
}

/// A name without the count that tells it from an equal one before it: `absorbance_2`.
fn first_of_name<'a>(head: &csv::StringRecord, name: &'a str) -> &'a str {
    let counted = name
        .rsplit_once('_')
        .filter(|(_, count)| count.parse::<u32>().is_ok_and(|count| count >= 2));
    match counted {
        Some((front, _)) if head.iter().any(|other| other == front) => front,
        _ => name,
    }
}

/// `temperature_Cel`, `wavelength_range_from_nm`, `time_of_day`. Whether a column stands in the table too tells the numbers
/// of one field: beside `slit_nm` stands `slit_plus_minus_nm`.
fn field_or_coordinate(name: &str, stands: &dyn Fn(&str) -> bool) -> TidyRole {
    if name == "time_of_day" {
        return TidyRole::Words("time".to_owned());
    }
    // What a source wrote in words where a number belongs.
    if let Some(own) = name.strip_suffix("_text") {
        let key = own.replace('_', "-");
        if known_field(&key).is_some() || reads_as_number(own) {
            return TidyRole::Words(key);
        }
    }
    let unitless = name
        .strip_suffix(UNITLESS)
        .and_then(|front| front.strip_suffix(PARTING));
    if let Some(front) = unitless {
        let own = front.strip_prefix("field_").unwrap_or(front);
        return TidyRole::Number(own.replace('_', "-"), None, TidyPart::Own);
    }
    if let Some(own) = name.strip_prefix("field_") {
        let (key, unit) = named_with_unit(own, false);
        return match unit {
            Some(_) => TidyRole::Number(key, unit, TidyPart::Own),
            None => TidyRole::Words(key),
        };
    }
    let (stated, rest) = match name.strip_prefix("stated_") {
        Some(rest) => (true, rest),
        None => (false, name),
    };
    let (key, unit) = named_with_unit(rest, false);
    let beside = |end: &str, other: &str| stands(&name.replacen(end, other, 1));
    for (end, part, partner) in [
        ("-from", TidyPart::From, beside("_from", "_to")),
        ("-to", TidyPart::To, beside("_to", "_from")),
        ("-plus-minus", TidyPart::PlusMinus, beside("_plus_minus", "")),
    ] {
        let whole = key.strip_suffix(end);
        if let Some(whole) = whole.filter(|whole| partner || known_field(whole).is_some()) {
            return TidyRole::Number(whole.to_owned(), unit, part);
        }
    }
    let number = COORDINATES.contains(&key.as_str())
        || unit.is_some()
        || known_field(&key)
            .is_some_and(|known| matches!(known.kind, ValueKind::Number(_) | ValueKind::Range(_)));
    if number {
        TidyRole::Number(key, unit, if stated { TidyPart::Stated } else { TidyPart::Value })
    } else {
        TidyRole::Words(key)
    }
}

/// The quantity or field that a column's name begins with, and the unit with which it ends: the longest end that is a
/// unit's form in names, in front of which a known name stands, else the longest at all.
///
/// Behind what was `measured`, and behind a known name, a unit may have any form; behind a name of the source's own only
/// a usual one, since `lamp_h` may be a lamp's name. Two underscores stand before a unit that would be mistaken otherwise.
pub(crate) fn named_with_unit(name: &str, measured: bool) -> (String, Option<Unit>) {
    let key = |name: &str| name.replace('_', "-");
    if let Some((front, form)) = name.rsplit_once(PARTING) {
        let unit = match form {
            "1" => Some(Unit::ONE),
            _ => forms().get(form).cloned().or_else(|| unit_of(form)),
        };
        if unit.is_some() {
            return (key(front), unit);
        }
    }
    let known = |name: &str| {
        let key = key(name);
        known_field(&key).is_some() || COORDINATES.contains(&key.as_str()) || MEASURED.contains(&key.as_str())
    };
    let cuts = name.char_indices().filter(|&(_, sign)| sign == '_');
    let fronts = ["_from", "_to", "_plus_minus"];
    let parted: Vec<(&str, Unit)> = cuts
        .filter_map(|(at, _)| {
            let (front, form) = (&name[..at], &name[at + 1..]);
            let unit = forms().get(form).cloned().or_else(|| {
                let part = fronts
                    .iter()
                    .find_map(|end| front.strip_suffix(end))
                    .unwrap_or(front);
                (measured || known(part)).then(|| unit_of(form)).flatten()
            });
            Some((front, unit?))
        })
        .collect();
    let best = parted.iter().find(|(front, _)| known(front)).or(parted.first());
    match best {
        Some((front, unit)) if !known(name) => (key(front), Some(unit.clone())),
        _ => (key(name), None),
    }
}

const MEASURED: [&str; 4] = ["absorbance", "transmittance", "reflectance", "rate"];

/// What parts a name from a unit where one underscore would not tell them apart: `1_s__L_mmol`, `d_abs_d_nm__1`.
pub(crate) const PARTING: &str = "__";

/// What stands behind [`PARTING`] in the name of a number of which no unit was stated: `gain__number`.
pub(crate) const UNITLESS: &str = "number";

/// The units by the form that they have in names of columns. Units of one form are of one size: `/min`, `{AU}/min`.
fn forms() -> &'static BTreeMap<String, Unit> {
    static FORMS: OnceLock<BTreeMap<String, Unit>> = OnceLock::new();
    FORMS.get_or_init(|| {
        let amounts = [
            "mol", "mmol", "umol", "nmol", "pmol", "g", "mg", "ug", "ng", "U", "{AU}",
        ];
        let volumes = ["L", "mL", "uL"];
        let times = ["s", "min", "h", "ms", "d"];
        let mut codes: Vec<String> = [
            "nm",
            "um",
            "Ao",
            "/cm",
            "/nm",
            "/nm2",
            "eV",
            "[ppm]",
            "[ppb]",
            "[ppth]",
            "[pptr]",
            "meV",
            "pm",
            "MHz",
            "GHz",
            "THz",
            "mol/kg",
            "mmol/kg",
            "g/dL",
            "mg/dL",
            "g/kg",
            "%",
            "U",
            "kat/L",
            "nkat/L",
            "ukat/L",
            "Cel",
            "K",
            "[degF]",
            "10*-3.{AU}",
            "10*-3",
            "cm",
            "mm",
            "m",
            "mL",
            "uL",
            "L",
            "g",
            "mg",
            "ug",
            "mol",
            "mmol",
            "umol",
            "nmol",
            "kat",
            "nkat",
            "ukat",
            "nm/min",
            "nm/s",
            "Hz",
            "V",
            "kU/L",
            "L/mol/cm",
            "L/(mol.cm)",
            "L.mol-1.cm-1",
            "cm2/mol",
            "L/mmol/cm",
            "mL/mg/cm",
            "L/g/cm",
            "kJ/mol",
            "J/mol/K",
        ]
        .map(str::to_owned)
        .to_vec();
        codes.extend(times.map(str::to_owned));
        for amount in amounts {
            for volume in volumes {
                codes.push(format!("{amount}/{volume}"));
                codes.extend(times.iter().map(|time| format!("{amount}/{volume}/{time}")));
            }
            codes.extend(times.iter().map(|time| format!("{amount}/{time}")));
            codes.push(format!("{amount}/mg"));
            codes.push(format!("{amount}/g"));
        }
        codes.extend(times.iter().map(|time| format!("/{time}")));
        codes.extend(times.iter().map(|time| format!("10*-3.{{AU}}/{time}")));
        let mut forms = BTreeMap::new();
        for code in codes {
            let Ok(unit) = Unit::ucum(&code) else { continue };
            let form = unit.slug();
            // The first of several of one form; annotations change no number.
            if !form.is_empty() {
                forms.entry(form).or_insert(unit);
            }
        }
        forms
    })
}

/// A number's text without the point that only tells programs that its column is not one of integers.
fn whole(text: &str) -> &str {
    text.strip_suffix('.').unwrap_or(text)
}

/// A number with its count of decimals.
fn number(text: &str) -> Option<(f64, u8)> {
    let value: f64 = text.parse().ok().filter(|value: &f64| value.is_finite())?;
    let decimals = match text.split_once('.') {
        Some((_, behind)) if behind.bytes().all(|byte| byte.is_ascii_digit()) => behind.len(),
        _ => 0,
    };
    Some((value, u8::try_from(decimals).unwrap_or(u8::MAX)))
}

fn run(source: &Source, roles: &[TidyRole], name: &str, traces: &[CurveRows]) -> CompletedRun {
    let mut fields = Fields::default();
    let mut questions = Vec::new();
    let mut remarks = Vec::new();
    let first = traces.first().and_then(|(_, rows)| rows.first());
    let line = first.map_or(0, |row| row.line);
    let origin = || Origin::Source(Place::line(line));
    fields.claim("run", Claim::text(name, origin()));
    let cell = |at: usize| first.map_or("", |row| &row.cells[at]);
    let errors: BTreeMap<&str, f64> = roles
        .iter()
        .enumerate()
        .filter_map(|(at, role)| match role {
            TidyRole::Number(key, _, TidyPart::PlusMinus) => Some((key.as_str(), number(cell(at))?.0)),
            _ => None,
        })
        .collect();
    let mut technique = Technique::UNKNOWN;
    let mut ranges: BTreeMap<&str, RangeEnds> = BTreeMap::new();
    for (at, role) in roles.iter().enumerate() {
        let text = unguarded(cell(at));
        if text.is_empty() {
            continue;
        }
        match role {
            TidyRole::Technique => {
                let known = Technique::ALL.into_iter().find(|known| known.as_str() == text);
                technique = known.unwrap_or(Technique::UNKNOWN);
            }
            TidyRole::Source => fields.claim("source-path", Claim::text(text, origin())),
            TidyRole::Words(key) if key == "comment" && same_throughout(traces, at) => {
                for line in text.split('\n').filter(|line| !line.is_empty()) {
                    fields.claim(key.as_str(), Claim::text(line, origin()));
                }
            }
            TidyRole::Words(key) if same_throughout(traces, at) => {
                fields.claim(key.as_str(), Claim::text(text, origin()))
            }
            TidyRole::Question => questions.push(Question {
                code: Code::new("exported-in-question"),
                message: format!("the run was handed on with open questions: {text}"),
                readings: Vec::new(),
                labels: Vec::new(),
            }),
            TidyRole::Number(key, unit, part)
                if !is_coordinate(key) || matches!(part, TidyPart::Stated | TidyPart::Own) =>
            {
                let Some((value, _)) = number(text).filter(|_| same_throughout(traces, at)) else {
                    continue;
                };
                match part {
                    TidyPart::Value | TidyPart::Stated | TidyPart::Own => {
                        let unit = unit.clone().or_else(|| (key == "ph").then_some(Unit::PH));
                        let mut claim = Claim::number(value, unit, whole(text), origin());
                        claim.plus_minus = errors.get(key.as_str()).copied();
                        fields.claim(key.as_str(), claim);
                    }
                    TidyPart::From => ranges.entry(key).or_default().0 = Some(value),
                    TidyPart::To => {
                        let range = ranges.entry(key).or_default();
                        (range.1, range.2) = (Some(value), unit.clone());
                    }
                    // Taken with its value.
                    TidyPart::PlusMinus => {}
                }
            }
            _ => {}
        }
    }
    for (key, range) in ranges {
        if let (Some(from), Some(to), unit) = range {
            let mut claim = Claim::text(format!("{from}–{to}"), origin());
            claim.value = Value::Range { from, to };
            claim.unit = unit;
            fields.claim(key, claim);
        }
    }
    let traces = traces
        .iter()
        .filter_map(|(_, rows)| trace(roles, rows, traces, &technique, &mut remarks))
        .collect();
    let lines = first.map(|row| row.line).zip(last_line(source));
    CompletedRun {
        technique,
        because: vec!["the columns of a tidy table say what they are".to_owned()],
        fields,
        traces,
        questions,
        remarks,
        lines: lines.map(|(from, to)| {
            (
                u32::try_from(from).unwrap_or(u32::MAX),
                u32::try_from(to).unwrap_or(u32::MAX),
            )
        }),
    }
}

fn last_line(source: &Source) -> Option<usize> {
    Some(source.lines().count()).filter(|&count| count > 0)
}

fn is_coordinate(key: &str) -> bool {
    COORDINATES.contains(&key)
}

/// Whether a column says the same in every row of a run.
fn same_throughout(traces: &[CurveRows], at: usize) -> bool {
    let mut cells = traces.iter().flat_map(|(_, rows)| rows).map(|row| &row.cells[at]);
    let first = cells.next();
    cells.all(|cell| Some(cell) == first)
}

/// One curve of a run. What differs between curves and is no coordinate is said of the curve.
fn trace(
    roles: &[TidyRole],
    rows: &[TidyRow],
    all: &[CurveRows],
    technique: &Technique,
    remarks: &mut Vec<Diagnostic>,
) -> Option<Trace> {
    let first = rows.first()?;
    let filled = |at: usize| rows.iter().any(|row| !row.cells[at].is_empty());
    let changes = |at: usize| rows.iter().any(|row| row.cells[at] != first.cells[at]);
    let numbers: Vec<(usize, &String, &Option<Unit>)> = roles
        .iter()
        .enumerate()
        .filter_map(|(at, role)| match role {
            TidyRole::Number(key, unit, TidyPart::Value) if filled(at) => Some((at, key, unit)),
            _ => None,
        })
        .collect();
    // What changes along the curve ran; of a single point, what runs in curves of this technique did.
    let usual = match technique.as_str() {
        "time-course" => "time",
        "rate-series" => "concentration",
        _ => "wavelength",
    };
    // A quantity that is none of ours stands under its own name: its column is the one that changes along the curve.
    let own_axis = roles.iter().enumerate().find_map(|(at, role)| match role {
        TidyRole::Words(key) if changes(at) && rows.iter().all(|row| number(&row.cells[at]).is_some()) => {
            Some((at, named_with_unit(&key.replace('-', "_"), true)))
        }
        _ => None,
    });
    let x = numbers
        .iter()
        .copied()
        .find(|&(at, _, _)| changes(at))
        .or_else(|| own_axis.as_ref().map(|(at, (key, unit))| (*at, key, unit)))
        // Nothing is held at an index.
        .or_else(|| numbers.iter().copied().find(|(_, key, _)| *key == "index"))
        .or_else(|| numbers.iter().copied().find(|(_, key, _)| *key == usual))
        .or_else(|| numbers.iter().copied().find(|(_, key, _)| is_coordinate(key)));
    let y = roles.iter().enumerate().find_map(|(at, role)| match role {
        TidyRole::Measured(quantity, unit) if filled(at) => Some((at, quantity, unit)),
        _ => None,
    });
    let (Some((x_at, x_key, x_unit)), Some((y_at, y_quantity, y_unit))) = (x, y) else {
        remarks.push(
            Diagnostic::warning(
                Code::new("curve-without-points"),
                "a curve has no column that runs, or none that was measured, and was left out",
            )
            .at(Place::line(first.line), "its first row")
            .help("compare the table with the one that curvary wrote"),
        );
        return None;
    };
    // A curve has one running and one measured column; what else changes along it has no place in it.
    for (at, role) in roles.iter().enumerate() {
        let other = matches!(role, TidyRole::Number(..) | TidyRole::Words(_)) && at != x_at && changes(at)
            || matches!(role, TidyRole::Measured(..)) && at != y_at && filled(at);
        if other {
            remarks.push(
                Diagnostic::warning(
                    Code::new("column-left-out"),
                    format!(
                        "column {} changes along a curve that runs over {x_key}, and was left out there",
                        at + 1
                    ),
                )
                .at(Place::line(first.line), "its first row"),
            );
        }
    }
    let x_unit = x_unit
        .clone()
        .unwrap_or_else(|| if x_key == "ph" { Unit::PH } else { Unit::ONE });
    let x = Column::new(Quantity::named(x_key.clone()), x_unit, Vec::new());
    let y = Column::new(y_quantity.clone(), y_unit.clone(), Vec::new());
    let mut trace = points((x, x_at), (y, y_at), roles, rows, remarks)?;
    describe_curve(&mut trace, x_at, roles, rows, all);
    Some(trace)
}

/// The points of a curve, by the places of its two columns.
fn points(
    (mut x, x_at): (Column, usize),
    (mut y, y_at): (Column, usize),
    roles: &[TidyRole],
    rows: &[TidyRow],
    remarks: &mut Vec<Diagnostic>,
) -> Option<Trace> {
    let filled = |at: usize| rows.iter().any(|row| !row.cells[at].is_empty());
    let (mut xs, mut ys) = (Vec::new(), Vec::new());
    let (mut x_decimals, mut y_decimals) = (Decimals::default(), Decimals::default());
    let mut lines = Lines::default();
    let mut absent = 0;
    let mut row_names = Vec::new();
    let mut saturated = Vec::new();
    let point_at = roles.iter().position(|role| *role == TidyRole::Point);
    let saturated_at = roles.iter().position(|role| *role == TidyRole::Saturated);
    for row in rows {
        match (number(&row.cells[x_at]), number(&row.cells[y_at])) {
            (Some((x, dx)), Some((y, dy))) => {
                if saturated_at.is_some_and(|at| &row.cells[at] == "true") {
                    saturated.push(u32::try_from(xs.len()).unwrap_or(u32::MAX));
                }
                xs.push(x);
                ys.push(y);
                x_decimals.push(dx);
                y_decimals.push(dy);
                lines.push(row.line);
                if let Some(at) = point_at.filter(|&at| filled(at)) {
                    row_names.push(unguarded(&row.cells[at]).to_owned());
                }
            }
            _ => {
                absent += 1;
                remarks.push(
                    Diagnostic::warning(
                        Code::new("number-not-readable"),
                        format!(
                            "`{}` over `{}` is no point: expected two numbers",
                            &row.cells[y_at], &row.cells[x_at]
                        ),
                    )
                    .at(Place::line(row.line), "left out"),
                );
            }
        }
    }
    (x.values, x.decimals) = (xs.into(), x_decimals);
    (y.values, y.decimals) = (ys.into(), y_decimals);
    let mut trace = Trace::new(x, y).ok()?;
    (trace.lines, trace.absent, trace.row_names, trace.saturated) = (lines, absent, row_names, saturated);
    Some(trace)
}

/// What the other columns say of a curve, and of no other curve of its run.
fn describe_curve(trace: &mut Trace, x_at: usize, roles: &[TidyRole], rows: &[TidyRow], all: &[CurveRows]) {
    let Some(first) = rows.first() else {
        return;
    };
    let changes = |at: usize| rows.iter().any(|row| row.cells[at] != first.cells[at]);
    let place = || Place::line(first.line);
    for (at, role) in roles.iter().enumerate() {
        let text = unguarded(&first.cells[at]);
        if text.is_empty() || at == x_at {
            continue;
        }
        match role {
            TidyRole::Label => trace.label = Some(text.to_owned()),
            TidyRole::Absent => trace.absent += text.parse::<u32>().unwrap_or(0),
            TidyRole::Number(key, unit, TidyPart::Value) if is_coordinate(key) && !changes(at) => {
                if let Some((value, _)) = number(text) {
                    let unit = unit.clone().unwrap_or(Unit::ONE);
                    let mut held = Coordinate::new(Quantity::named(key.clone()), unit, value);
                    held.raw = Some(whole(text).to_owned());
                    held.line = u32::try_from(first.line).ok();
                    trace.held.push(held);
                }
            }
            TidyRole::Number(key, unit, TidyPart::Value | TidyPart::Own)
                if !same_throughout(all, at) && !changes(at) =>
            {
                if let Some((value, _)) = number(text) {
                    let unit = unit.clone().or_else(|| (key == "ph").then_some(Unit::PH));
                    let claim = Claim::number(value, unit, whole(text), Origin::Source(place()));
                    trace.fields.claim(key.as_str(), claim);
                }
            }
            TidyRole::Words(key) if !same_throughout(all, at) && !changes(at) => {
                trace
                    .fields
                    .claim(key.as_str(), Claim::text(text, Origin::Source(place())));
            }
            _ => {}
        }
    }
}
