//! JCAMP-DX sources into runs.
//!
//! Each block with data is a run; the pages of NTUPLES are the traces of one run. Labels become claims under the
//! known fields they speak of, all others under their own spelling. Units and technique come from XUNITS, YUNITS and
//! DATA TYPE; where they leave a choice, the run is in question. What the codec found odd is told by remarks with
//! their places, and of a damaged table the points that are certain are kept.
//!
//! JCAMP-DX also carries other measurements. A block is refused, with its reason, when its axis or its data type says
//! that it is none of light absorbed over wavelength, wavenumber, energy, time or a condition: magnetic resonance,
//! mass spectra, ion mobility, diffraction, chromatograms, interferograms. Infrared and other optical spectra are
//! kept as what they say they are.

mod axis;
mod choices;
mod claim;
mod explain;
mod ours;

use std::collections::BTreeMap;
use std::sync::Arc;

use curvary_jcamp_dx::{self as dx, Kind, ReadOptions, normalise_label};
use curvary_record::interpret::{Customs, Interpretation, interpret_as};
use curvary_record::moment::Order;
use curvary_record::unit::Spelling;
use curvary_record::{
    Alternative, Claim, Code, Column, Coordinate, Decimals, Diagnostic, Fields, Key, Label, Lines, Origin,
    Place, Quantity, Question, Run, RunId, Severity, SourceRef, Span, Technique, Trace, Unit, Value,
};

pub(crate) use choices::{abouts, answers};

pub(crate) use axis::{Meaning, abscissa, is_of_standard, ordinate, written};
pub(crate) use claim::{claim, label_of, long_date, only_concentration, private_claim, text};
use claim::{key_of, page_value};
pub(crate) use ours::OURS;
use ours::Ours;

use crate::words;
use crate::{Card, Glimpse, Part, Reader, Reading, Recognition, Source};

/// Reads JCAMP-DX 4.24, 5.00 and 5.01, and 6.00 leniently.
pub struct JcampDx {
    card: Card,
}

impl Default for JcampDx {
    fn default() -> Self {
        Self {
            card: Card {
                id: "built-in/jcamp-dx".to_owned(),
                version: "1".to_owned(),
                title: "JCAMP-DX, the open standard of IUPAC for spectra".to_owned(),
            },
        }
    }
}

impl Reader for JcampDx {
    fn card(&self) -> &Card {
        &self.card
    }

    fn recognise(&self, glimpse: &Glimpse<'_>) -> Recognition {
        recognise(glimpse.head)
    }

    fn explain(&self, source: &Source) -> Vec<Part> {
        let document = dx::read(source.text(), &options_of(source));
        explain::parts(source, &document, &self.read(source).runs)
    }

    fn read(&self, source: &Source) -> Reading {
        let options = options_of(source);
        let document = dx::read(source.text(), &options);
        let undecided = document
            .remarks
            .iter()
            .any(|r| r.code == dx::Code::CommaUndecided);
        let with_comma = ReadOptions {
            decimal_comma: Some(true),
            ..options
        };
        let with_commas = undecided.then(|| dx::read(source.text(), &with_comma));
        let mut gathering = Gathering {
            card: &self.card,
            source,
            runs: Vec::new(),
            remarks: Vec::new(),
            names: Vec::new(),
            blocks: Vec::new(),
        };
        let mut remarks = document.remarks.clone();
        match &with_commas {
            None => {
                for block in document.all_blocks() {
                    let asked = choices::questions(source, &options, &document, block);
                    gathering.block(block, asked);
                }
            }
            Some(other) => {
                for (block, other_block) in document.all_blocks().zip(other.all_blocks()) {
                    let lost = points(block) < points(other_block);
                    if lost {
                        // What is odd about the block is told of the reading that is shown.
                        let inside = |remark: &dx::Remark| {
                            (block.span.start..block.span.end).contains(&remark.place.span.start)
                        };
                        remarks.retain(|remark| !inside(remark));
                        remarks.extend(other.remarks.iter().filter(|remark| inside(remark)).cloned());
                    }
                    let (shown, of, options) = if lost {
                        (other_block, other, with_comma)
                    } else {
                        (block, &document, options)
                    };
                    let mut asked = choices::questions(source, &options, of, shown);
                    if lost {
                        let table = choices::tables(shown).next();
                        asked.push(comma_question(
                            table.map(|table| source.place(span_of(table.span))),
                        ));
                    }
                    gathering.block(shown, asked);
                }
            }
        }
        gathering.finish(remarks)
    }
}

/// How a source is to be read, by what a person has settled about it.
fn options_of(source: &Source) -> ReadOptions {
    let decimal_comma = match source.assume().get("decimal") {
        Some("comma") => Some(true),
        Some("point") => Some(false),
        _ => None,
    };
    ReadOptions {
        decimal_comma,
        choices: choices::settled(source.assume()),
        ..ReadOptions::default()
    }
}

/// The points of a block's own tables.
fn points(block: &dx::Block) -> usize {
    choices::tables(block)
        .map(|table| match &table.data {
            dx::Data::Peaks(peaks) => peaks.rows.len(),
            dx::Data::Assignments(list) => list.rows.len(),
            data => data.curve().map_or(0, dx::Curve::len),
        })
        .sum()
}

/// A file of labelled records begins with one.
fn recognise(head: &str) -> Recognition {
    let first = head
        .trim_start_matches('\u{feff}')
        .lines()
        .map(str::trim)
        .find(|line| !line.is_empty() && !line.starts_with("$$"));
    let Some(first) = first else {
        return Recognition::No("it has no text".to_owned());
    };
    let Some((label, _)) = first.strip_prefix("##").and_then(|rest| rest.split_once('=')) else {
        return Recognition::No("its first line is no labelled record (`##LABEL=`)".to_owned());
    };
    // Remarks in other text files may begin with `##` too, so one such line is not enough.
    let stands = |wanted: &[&str]| {
        head.lines().any(|line| {
            let record = line
                .trim()
                .strip_prefix("##")
                .and_then(|rest| rest.split_once('='));
            record.is_some_and(|(label, _)| wanted.contains(&normalise_label(label).as_str()))
        })
    };
    let label = label.trim();
    if stands(&["JCAMPDX", "JCAMP"]) {
        Recognition::Yes("its labelled records state `##JCAMP-DX=`".to_owned())
    } else if stands(&[
        "XYDATA",
        "XYPOINTS",
        "PEAKTABLE",
        "PEAKASSIGNMENTS",
        "NTUPLES",
        "DATATYPE",
        "DATACLASS",
    ]) {
        let reason =
            format!("it begins with the labelled record `##{label}=` and others of the standard follow");
        if normalise_label(label) == "TITLE" {
            Recognition::Yes(reason)
        } else {
            Recognition::Perhaps(reason)
        }
    } else {
        Recognition::No(format!(
            "it begins with `##{label}=`, but neither the version nor a table of the standard follows"
        ))
    }
}

/// Labels that describe the table or the file, not the measurement.
fn is_structure(label: &str) -> bool {
    matches!(
        label,
        "JCAMPDX"
            | "JCAMP"
            | "DATACLASS"
            | "XUNITS"
            | "YUNITS"
            | "XFACTOR"
            | "YFACTOR"
            | "FIRSTX"
            | "LASTX"
            | "FIRSTY"
            | "LASTY"
            | "MAXX"
            | "MINX"
            | "MAXY"
            | "MINY"
            | "NPOINTS"
            | "DELTAX"
            | "BLOCKS"
            | "BLOCKID"
            | "END"
            | "NTUPLES"
            | "ENDNTUPLES"
            | "VARNAME"
            | "SYMBOL"
            | "VARTYPE"
            | "VARFORM"
            | "VARDIM"
            | "UNITS"
            | "FIRST"
            | "LAST"
            | "MIN"
            | "MAX"
            | "FACTOR"
            | "PAGE"
            | "XYDATA"
            | "XYPOINTS"
            | "PEAKTABLE"
            | "PEAKASSIGNMENTS"
            | "ASSIGNMENTS"
            | "RADATA"
            | "DATATABLE"
            | "XLABEL"
            | "YLABEL"
    )
}

/// Gathers the runs of a document.
struct Gathering<'s> {
    card: &'s Card,
    source: &'s Source,
    runs: Vec<Run>,
    remarks: Vec<Diagnostic>,
    /// For each run, its name where our own writer gave it one.
    names: Vec<Option<String>>,
    /// The span of each block that gave runs, and its first run.
    blocks: Vec<(dx::Span, usize)>,
}

/// What the axes of a block were understood to be.
struct Axes {
    x: (Quantity, Unit),
    y: (Quantity, Unit),
    x_name: Option<String>,
    y_name: Option<String>,
    questions: Vec<Question>,
    because: Vec<String>,
}

impl Gathering<'_> {
    /// Takes the runs of a block, and what has to be asked about them.
    fn block(&mut self, block: &dx::Block, asked: Vec<Question>) {
        let has_data = !block.tables.is_empty() || block.ntuples.iter().any(|n| !n.pages.is_empty());
        if !has_data {
            return;
        }
        let ours = Ours::of(block);
        if ours.technique.is_none()
            && let Some(foreign) = block
                .record("DATA TYPE")
                .filter(|record| is_foreign(&record.value))
        {
            let message = format!(
                "the data type is `{}`, which is no absorbance measurement",
                foreign.value
            );
            return self.refuse(message, &foreign.place);
        }
        let before = self.runs.len();
        for ntuples in &block.ntuples {
            self.ntuples(block, ntuples, &ours);
        }
        let curves: Vec<(&dx::Table, &dx::Curve)> = block
            .tables
            .iter()
            .filter_map(|table| Some((table, table.data.curve()?)))
            .collect();
        if !curves.is_empty() {
            self.curves(block, &curves, &ours);
        }
        for table in &block.tables {
            self.peaks(block, table, &ours);
        }
        // A block whose traces went to the run before belongs to that one.
        let first = if self.runs.len() > before {
            before
        } else {
            before.saturating_sub(1)
        };
        if self.runs.len() > before || self.goes_on(&ours) {
            self.blocks.push((block.span, first));
            for run in self.runs.iter_mut().skip(first) {
                run.questions.extend(asked.iter().cloned());
            }
        }
    }

    fn refuse(&mut self, message: String, place: &dx::Place) {
        self.remarks.push(
            Diagnostic::error(Code::new("no-absorbance-measurement"), message)
                .at(place_of(place), "")
                .help("nothing to do: curvary keeps measurements of light absorbed"),
        );
    }

    /// The axes of a block's own tables.
    fn axes(
        &mut self,
        block: &dx::Block,
        ours: &Ours,
        x_units: &str,
        y_units: &str,
        greatest: &dyn Fn() -> f64,
    ) -> Option<Axes> {
        let place = |label: &str| block.record(label).map(|record| place_of(&record.place));
        let x_place = place("XUNITS").or_else(|| place("UNITS"));
        let y_place = place("YUNITS").or_else(|| place("UNITS"));
        let mut axes = Axes {
            x: (Quantity::UNKNOWN, Unit::ONE),
            y: (Quantity::UNKNOWN, Unit::ONE),
            x_name: block
                .value("XLABEL")
                .map(str::to_owned)
                .filter(|name| !name.is_empty()),
            y_name: block
                .value("YLABEL")
                .map(str::to_owned)
                .filter(|name| !name.is_empty()),
            questions: Vec::new(),
            because: Vec::new(),
        };
        let settled = |about: &str| {
            let (quantity, unit) = self.source.assume().axis(about)?;
            let usual = match quantity.as_str() {
                "wavelength" => Unit::NANOMETRE,
                "wavenumber" => Unit::PER_CENTIMETRE,
                "time" => Unit::SECOND,
                "absorbance" => Unit::ABSORBANCE,
                _ => Unit::ONE,
            };
            Some((quantity, unit.unwrap_or(usual)))
        };
        // What our own writer said holds as long as nobody has changed the text that it wrote.
        let ours_x = ours
            .x
            .as_ref()
            .filter(|(quantity, unit)| written(quantity, unit) == x_units);
        let ours_y = ours
            .y
            .as_ref()
            .filter(|(quantity, unit)| written(quantity, unit) == y_units);
        match (ours_x, settled("x"), abscissa(x_units)) {
            (_, Some(x), _) => {
                axes.because.push("a person said what the x axis is".to_owned());
                axes.x = x;
            }
            (Some(x), ..) => axes.x = x.clone(),
            (None, None, Meaning::Sure(quantity, unit) | Meaning::Own(quantity, unit)) => {
                axes.because
                    .push(format!("XUNITS says `{x_units}`: {quantity} in {unit}"));
                axes.x = (quantity, unit);
            }
            (None, None, Meaning::Foreign) => {
                let message = format!("the x axis is in `{x_units}`, which no absorbance measurement is");
                let place = block.record("XUNITS").or_else(|| block.record("UNITS"));
                self.refuse(message, &place.map(|record| record.place).unwrap_or_default());
                return None;
            }
            (None, None, Meaning::Share(_) | Meaning::Unknown) => axes.questions.push(Question {
                code: Code::new("axis-unknown"),
                message: if x_units.is_empty() {
                    "XUNITS says nothing, so it is not known what the x axis is".to_owned()
                } else {
                    format!("XUNITS says `{x_units}`, which is not known here")
                },
                readings: alternatives(&[
                    ("x=wavelength:nm", "a wavelength in nanometres"),
                    ("x=wavenumber:/cm", "a wavenumber in reciprocal centimetres"),
                    ("x=time:s", "a time in seconds"),
                ]),
                labels: labels(x_place),
            }),
        }
        match (ours_y, settled("y"), ordinate(y_units)) {
            (_, Some(y), _) => {
                axes.because.push("a person said what the y axis is".to_owned());
                axes.y = y;
            }
            (Some(y), ..) => axes.y = y.clone(),
            (None, None, Meaning::Sure(quantity, unit)) => {
                axes.because.push(format!("YUNITS says `{y_units}`: {quantity}"));
                axes.y = (quantity, unit);
            }
            (None, None, Meaning::Own(quantity, unit)) => {
                axes.because.push(format!(
                    "YUNITS says `{y_units}`, which is kept under its own name"
                ));
                axes.y = (quantity, unit);
            }
            // A share above a few percent over one cannot be a fraction; below, the standard's meaning holds.
            (None, None, Meaning::Share(quantity)) if greatest() <= 1.5 => {
                axes.because.push(format!(
                    "YUNITS says `{y_units}` and no value is above 1.5: a fraction"
                ));
                axes.y = (quantity, Unit::ONE);
            }
            (None, None, Meaning::Share(quantity)) => {
                let greatest = greatest();
                axes.questions.push(Question {
                    code: Code::new("percent-or-fraction"),
                    message: format!(
                        "YUNITS says `{y_units}`, which the standard means as a fraction, but values reach {greatest}"
                    ),
                    readings: vec![
                        Alternative {
                            assume: format!("y={quantity}:%"),
                            says: format!("percent: the greatest value is {greatest} %"),
                        },
                        Alternative {
                            assume: format!("y={quantity}:1"),
                            says: format!("a fraction: the greatest value is {greatest}"),
                        },
                    ],
                    labels: labels(y_place),
                });
                axes.y = (quantity, Unit::PERCENT);
            }
            (None, None, Meaning::Foreign | Meaning::Unknown) => axes.questions.push(Question {
                code: Code::new("ordinate-unknown"),
                message: if y_units.is_empty() {
                    "YUNITS says nothing, so it is not known what was measured".to_owned()
                } else {
                    format!("YUNITS says `{y_units}`, which may mean absorbance or arbitrary units")
                },
                readings: alternatives(&[
                    ("y=absorbance:{AU}", "absorbance"),
                    ("y=transmittance:%", "transmittance in percent"),
                    ("y=signal:1", "a signal in arbitrary units"),
                ]),
                labels: labels(y_place),
            }),
        }
        let open = |about: &str, ours: bool| !ours && settled(about).is_none();
        if open("x", ours_x.is_some()) {
            axes.questions
                .extend(stated_twice(block, "XUNITS", "x", &abscissa));
        }
        if open("y", ours_y.is_some()) {
            axes.questions
                .extend(stated_twice(block, "YUNITS", "y", &ordinate));
        }
        Some(axes)
    }

    fn curves(&mut self, block: &dx::Block, curves: &[(&dx::Table, &dx::Curve)], ours: &Ours) {
        let x_units = block.value("XUNITS").unwrap_or("").trim().to_owned();
        let y_units = block.value("YUNITS").unwrap_or("").trim().to_owned();
        let greatest = || {
            curves
                .iter()
                .flat_map(|(_, curve)| curve.y.iter().copied())
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let Some(axes) = self.axes(block, ours, &x_units, &y_units, &greatest) else {
            return;
        };
        let mut traces: Vec<Trace> = Vec::with_capacity(curves.len());
        for (table, curve) in curves {
            let shared = traces.last().map(|trace| &trace.x);
            let Ok(mut trace) = trace(curve, &axes, shared) else {
                continue;
            };
            trace.label.clone_from(&ours.label);
            trace.held.clone_from(&ours.held);
            if table.left_out.is_empty() {
                trace.saturated.clone_from(&ours.saturated);
            } else if !ours.saturated.is_empty() {
                let message =
                    "points were lost, so it is not known which of the others are marked as saturated";
                let place = self.source.place(span_of(table.span));
                self.remarks
                    .push(Diagnostic::error(Code::new("saturation-lost"), message).at(place, ""));
            }
            trace.absent += ours.absent;
            trace_fields(&mut trace.fields, ours);
            traces.push(trace);
        }
        let technique = technique_of(&axes, &traces);
        self.run(block, ours, axes, traces, technique);
    }

    fn ntuples(&mut self, block: &dx::Block, ntuples: &dx::Ntuples, ours: &Ours) {
        let of_kind = |kind: &str| {
            ntuples
                .variables
                .iter()
                .find(|v| v.kind.eq_ignore_ascii_case(kind))
        };
        let curves: Vec<(&dx::Page, &dx::Curve, &str)> = ntuples
            .pages
            .iter()
            .filter_map(|page| {
                let table = page.table.as_ref()?;
                Some((page, table.data.curve()?, table.form.as_str()))
            })
            .collect();
        let Some((_, _, form)) = curves.first() else {
            return;
        };
        let x = of_kind("INDEPENDENT").or(ntuples.variables.first());
        // With several dependent variables the form of the page tells which one it holds.
        let dependent = |form: &str| {
            ntuples.variables.iter().find(|variable| {
                variable.kind.eq_ignore_ascii_case("DEPENDENT")
                    && !variable.symbol.is_empty()
                    && form
                        .to_uppercase()
                        .contains(&format!("({0}..{0})", variable.symbol.to_uppercase()))
            })
        };
        let y = dependent(form).or_else(|| of_kind("DEPENDENT"));
        let units = |variable: Option<&dx::Variable>| variable.map_or("", |v| v.units.trim()).to_owned();
        let greatest = || {
            curves
                .iter()
                .flat_map(|(_, curve, _)| curve.y.iter().copied())
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let Some(axes) = self.axes(block, ours, &units(x), &units(y), &greatest) else {
            return;
        };
        let mut traces: Vec<Trace> = Vec::with_capacity(curves.len());
        let held = held_by_pages(ntuples, &curves);
        let mut unread = 0_usize;
        for (index, (page, curve, form)) in curves.into_iter().enumerate() {
            if dependent(form).map(|v| &v.symbol) != y.map(|v| &v.symbol) && dependent(form).is_some() {
                unread += 1;
                continue;
            }
            let shared = traces.last().map(|trace| &trace.x);
            let Ok(mut trace) = trace(curve, &axes, shared) else {
                continue;
            };
            trace.held.clone_from(&ours.held);
            for (symbol, value) in &page.held {
                let variable = ntuples.variable(symbol);
                let factor = held.get(symbol.as_str()).copied().unwrap_or(Some(1.0));
                match (page_value(value), factor, page_unit(ours, variable)) {
                    (Some((number, _)), Some(factor), (quantity, unit)) => trace.held.push(Coordinate {
                        raw: Some(value.trim().to_owned()),
                        line: Some(page.line),
                        ..Coordinate::new(quantity, unit, times(number, factor))
                    }),
                    _ => trace.label = Some(format!("{symbol}={value}")),
                }
            }
            if let Some(label) = ours.labels.get(index) {
                trace.label.clone_from(label);
            }
            traces.push(trace);
        }
        for (symbol, _) in held.iter().filter(|(_, factor)| factor.is_none()) {
            let message = format!(
                "the FACTOR of {symbol} is not 1, and FIRST and LAST do not tell whether the pages hold {symbol} with or \
                 without it; its values were left out"
            );
            self.remarks.push(
                Diagnostic::error(Code::new("page-factor"), message)
                    .help("state FIRST and LAST in true units"),
            );
        }
        if unread > 0 {
            let message =
                format!("{unread} pages hold another variable than the first page and were left out");
            self.remarks
                .push(Diagnostic::error(Code::new("pages-of-another-variable"), message));
        }
        let technique = technique_of(&axes, &traces);
        self.run(block, ours, axes, traces, technique);
    }

    fn peaks(&mut self, block: &dx::Block, table: &dx::Table, ours: &Ours) {
        struct Row<'r> {
            x: f64,
            y: Option<f64>,
            name: &'r str,
            line: u32,
        }
        let (rows, x_decimals, y_decimals): (Vec<Row<'_>>, _, _) = match &table.data {
            dx::Data::Peaks(peaks) => (
                peaks
                    .rows
                    .iter()
                    .map(|peak| Row {
                        x: peak.x,
                        y: peak.y,
                        name: peak.multiplicity.as_deref().unwrap_or(""),
                        line: peak.line,
                    })
                    .collect(),
                &peaks.x_decimals,
                &peaks.y_decimals,
            ),
            dx::Data::Assignments(list) => (
                list.rows
                    .iter()
                    .map(|row| Row {
                        x: row.x,
                        y: row.y,
                        name: &row.text,
                        line: row.line,
                    })
                    .collect(),
                &list.x_decimals,
                &list.y_decimals,
            ),
            _ => return,
        };
        let units = |label: &str| block.value(label).unwrap_or("").trim().to_owned();
        let greatest = || {
            rows.iter()
                .filter_map(|row| row.y)
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let Some(axes) = self.axes(block, ours, &units("XUNITS"), &units("YUNITS"), &greatest) else {
            return;
        };
        let (mut x, mut y, mut names, mut lines, mut absent) = (vec![], vec![], vec![], Lines::default(), 0);
        let (mut x_digits, mut y_digits) = (Decimals::default(), Decimals::default());
        for (index, row) in rows.iter().enumerate() {
            let Some(height) = row.y else {
                absent += 1;
                continue;
            };
            x.push(row.x);
            y.push(height);
            x_digits.push(narrow(x_decimals.of(index).unwrap_or(0)));
            y_digits.push(narrow(y_decimals.of(index).unwrap_or(0)));
            names.push(row.name.to_owned());
            lines.push(row.line as usize);
        }
        let widths =
            matches!(&table.data, dx::Data::Peaks(p) if p.rows.iter().any(|row| row.width.is_some()));
        let place = self.source.place(span_of(table.span));
        if widths {
            let message = "the widths of the peaks are not kept; positions and heights are";
            self.remarks
                .push(Diagnostic::warning(Code::new("peak-widths"), message).at(place.clone(), ""));
        }
        if absent > 0 {
            let message = format!("{absent} peaks have no height and are left out");
            self.remarks
                .push(Diagnostic::warning(Code::new("peaks-without-height"), message).at(place, ""));
        }
        let x = Column::new(axes.x.0.clone(), axes.x.1.clone(), x).with_decimals(x_digits);
        let y = Column::new(axes.y.0.clone(), axes.y.1.clone(), y).with_decimals(y_digits);
        let Ok(mut trace) = Trace::new(x, y) else { return };
        trace.x.name.clone_from(&axes.x_name);
        trace.y.name.clone_from(&axes.y_name);
        if names.iter().any(|name| !name.is_empty()) {
            trace.row_names = names;
        }
        trace.lines = lines;
        trace.absent = absent;
        trace.label.clone_from(&ours.label);
        trace.held.clone_from(&ours.held);
        trace_fields(&mut trace.fields, ours);
        if !trace.is_empty() {
            self.run(block, ours, axes, vec![trace], Technique::PEAK_LIST);
        }
    }

    /// Whether a block holds a further curve of the last run.
    fn goes_on(&self, ours: &Ours) -> bool {
        ours.run.is_some()
            && ours.curve.is_some_and(|curve| curve > 1)
            && self.names.last() == Some(&ours.run)
    }

    /// Adds a run, or the traces of one that our own writer had to spread over blocks.
    fn run(
        &mut self,
        block: &dx::Block,
        ours: &Ours,
        axes: Axes,
        mut traces: Vec<Trace>,
        technique: Technique,
    ) {
        traces.retain(|trace| !trace.is_empty());
        if traces.is_empty() {
            return;
        }
        let mut fields = Fields::default();
        let of_fields = self.claims(block, ours, &mut fields);
        if technique == Technique::TIME_COURSE
            && ours.run.is_none()
            && let Some(claim) = fields.get("wavelength")
            && let (Value::Number(value), Some(unit)) = (&claim.value, &claim.unit)
        {
            for trace in traces
                .iter_mut()
                .filter(|t| t.held(&Quantity::WAVELENGTH).is_none())
            {
                trace.held.push(Coordinate {
                    raw: Some(claim.raw.clone()),
                    ..Coordinate::new(Quantity::WAVELENGTH, unit.clone(), *value)
                });
            }
        }
        let technique = ours.technique.clone().unwrap_or(technique);
        if self.goes_on(ours)
            && let Some(last) = self.runs.last_mut()
        {
            // The same axis need not be kept twice.
            for mut trace in traces {
                if let Some(before) = last.traces.last()
                    && before.x.values == trace.x.values
                {
                    trace.x.values = Arc::clone(&before.x.values);
                }
                last.traces.push(trace);
            }
            return;
        }
        let ordinal = self.runs.len();
        let end = self.source.place(span_of(dx::Span {
            start: block.span.end.saturating_sub(1).max(block.span.start),
            end: block.span.end,
        }));
        let first = self.source.place(span_of(block.span)).line;
        self.names.push(ours.run.clone());
        let mut questions = axes.questions;
        questions.extend(of_fields);
        questions.extend(ours.questions.iter().cloned());
        self.runs.push(Run {
            id: RunId::new(self.source.digest(), ordinal),
            source: SourceRef {
                path: self.source.path().to_owned(),
                digest: self.source.digest().clone(),
                reader: self.card.id.clone(),
                reader_version: self.card.version.clone(),
                encoding: Some(self.source.encoding().to_owned()),
                ordinal: u32::try_from(ordinal).unwrap_or(u32::MAX),
                lines: Some((first, end.line)),
            },
            technique,
            because: axes.because,
            fields,
            traces,
            questions,
            remarks: Vec::new(),
        });
    }

    /// The labels of a block as claims, and what a person must decide about them.
    fn claims(&mut self, block: &dx::Block, ours: &Ours, fields: &mut Fields) -> Vec<Question> {
        let prefix = normalise_label(OURS);
        let mut questions = Vec::new();
        for record in &block.records {
            let text = record.value.trim();
            let of_ours = record.label.starts_with(&prefix) || ours.made.contains(&record.label);
            if text.is_empty() || is_structure(&record.label) || of_ours {
                continue;
            }
            if ours.run.is_some() {
                own_claims(record, text, fields);
            } else {
                questions.extend(self.claims_of(record, text, fields));
            }
        }
        for (key, text, place) in &ours.fields {
            let key = Key::new(key.as_str());
            let said = private_claim(&key, text, Origin::Source(place.clone()));
            fields.claim(key, said);
        }
        questions
    }

    /// The claims of one record of another program's file.
    fn claims_of(&mut self, record: &dx::Record, text: &str, fields: &mut Fields) -> Option<Question> {
        let place = place_of(&record.place);
        let assume = self.source.assume();
        let settled = assume.get("date").and_then(Order::named);
        // DATE of 4.24 is `YY/MM/DD`; four digits tell the year in any order.
        let two_digit_years = text.split('/').map(str::len).eq([2, 2, 2]);
        let customs = Customs {
            order: settled.or((record.label == "DATE" && two_digit_years).then_some(Order::YearFirst)),
            decimal_comma: assume.get("decimal").map(|sign| sign == "comma"),
        };
        let listed = (record.label == "CONCENTRATIONS")
            .then(|| only_concentration(text))
            .flatten();
        let (key, meant) = match (&listed, record.kind, record.label.as_str()) {
            (Some(one), ..) => {
                let key = Key::new("concentration");
                let meant = interpret_as(&key, one, None, customs);
                (key, meant)
            }
            (_, Kind::Comment, _) => {
                let key = Key::new("comment");
                let meant = interpret_as(&key, text, None, customs);
                (key, meant)
            }
            (_, _, "LONGDATE") => {
                let key = Key::new("date");
                let meant = interpret_as(&key, text, None, customs);
                (key, meant)
            }
            (_, kind, label) => meaning(kind, label, record.spelled.trim(), text, customs),
        };
        let claim = meant
            .claim(text, Origin::Source(place.clone()))
            .spelled(record.spelled.trim());
        if let Some((other, value)) = &meant.aside {
            let mut aside = claim.clone();
            aside.value = value.clone();
            fields.claim(other.clone(), aside);
        }
        fields.claim(key, claim);
        if let Some(assumed) = meant.assumed {
            self.remarks
                .push(Diagnostic::note(Code::new("century-assumed"), assumed).at(place.clone(), ""));
        }
        meant.question.map(|question| Question {
            labels: labels(Some(place)),
            ..question
        })
    }

    fn finish(mut self, remarks: Vec<dx::Remark>) -> Reading {
        for remark in remarks {
            // That is asked.
            if remark.code == dx::Code::ReadingUndecided {
                continue;
            }
            let at = remark.place.span.start;
            let block = self
                .blocks
                .iter()
                .find(|(span, _)| (span.start..span.end.max(span.start + 1)).contains(&at));
            let run = block.map(|&(_, run)| run).and_then(|run| self.runs.get_mut(run));
            let told = diagnostic(&remark);
            match run {
                Some(run) => run.remarks.push(told),
                None => self.remarks.push(told),
            }
        }
        if self.runs.is_empty() && self.remarks.is_empty() {
            let message = "no block holds a table of data";
            self.remarks.push(
                Diagnostic::error(Code::new("no-data"), message)
                    .at(Place::line(1), "")
                    .help("look whether `##XYDATA=` or `##XYPOINTS=` is missing"),
            );
        }
        Reading {
            runs: self.runs,
            remarks: self.remarks,
        }
    }
}

fn comma_question(place: Option<Place>) -> Question {
    Question {
        code: Code::new("decimal-comma-or-separator"),
        message:
            "the commas of the table may be decimal signs or separators, and nothing in the block decides"
                .into(),
        readings: alternatives(&[
            ("decimal=comma", "the commas are decimal signs"),
            ("decimal=point", "the commas separate numbers"),
        ]),
        labels: labels(place),
    }
}

/// The field that a label means, and what its text says. The words of the trade help with labels that are no part of
/// the standard.
fn meaning(kind: Kind, label: &str, spelled: &str, text: &str, customs: Customs) -> (Key, Interpretation) {
    let key = key_of(label, spelled);
    // By the standard both are in these units.
    let stated = match label {
        "TEMPERATURE" => Some(Spelling::One(Unit::CELSIUS)),
        "PATHLENGTH" => Unit::ucum("cm").ok().map(Spelling::One),
        _ => None,
    };
    let understood = |key: Key| {
        let meant = interpret_as(&key, text, stated.as_ref(), customs);
        (key, meant)
    };
    if key.known().is_some() || kind == Kind::Core {
        return understood(key);
    }
    let name = spelled.trim_start_matches(['$', '.']);
    if let Some(field) = words::field_of(name) {
        return understood(Key::new(field));
    }
    let fitting = words::fields_if_fitting(name)
        .iter()
        .map(|field| understood(Key::new(*field)))
        .find(|(_, meant)| meant.fits && meant.unit_written);
    fitting.unwrap_or_else(|| understood(key))
}

/// The claims of a record that our own writer wrote: exactly what it meant.
fn own_claims(record: &dx::Record, text: &str, fields: &mut Fields) {
    let origin = || Origin::Source(place_of(&record.place));
    let spelled = record.spelled.trim();
    let as_stood = |claim: Claim| Claim {
        raw: text.to_owned(),
        ..claim.spelled(spelled)
    };
    let concentration = Key::new("concentration");
    match record.label.as_str() {
        "LONGDATE" => {
            if let Some((date, time)) = long_date(text) {
                fields.claim("date", as_stood(Claim::text(date, origin())));
                if let Some(time) = time {
                    fields.claim("time", as_stood(Claim::text(time, origin())));
                }
            }
        }
        "CONCENTRATIONS" if only_concentration(text).is_some() => {
            let one = only_concentration(text).unwrap_or_default();
            fields.claim(
                concentration.clone(),
                as_stood(claim(&concentration, &one, origin())),
            );
        }
        label => {
            let key = key_of(label, spelled);
            let said = claim(&key, text, origin());
            fields.claim(key, as_stood(said));
        }
    }
}

fn alternatives(list: &[(&str, &str)]) -> Vec<Alternative> {
    list.iter()
        .map(|&(assume, says)| Alternative {
            assume: assume.to_owned(),
            says: says.to_owned(),
        })
        .collect()
}

fn labels(place: Option<Place>) -> Vec<Label> {
    place
        .into_iter()
        .map(|place| Label {
            place,
            text: String::new(),
        })
        .collect()
}

/// Whether a data type names another kind of measurement.
pub(crate) fn is_foreign(data_type: &str) -> bool {
    let upper = data_type.to_uppercase();
    let mut words = upper.split(|c: char| !c.is_alphanumeric());
    let squeezed = normalise_label(data_type);
    words.any(|word| matches!(word, "NMR" | "EMR" | "ESR" | "EPR" | "IMS" | "MS" | "FID" | "XRD"))
        || [
            "MASSSPECTR",
            "MAGNETICRESONANCE",
            "IONMOBILITY",
            "INTERFEROGRAM",
            "CHROMATOGRAM",
            "DIFFRACT",
            "VOLTAMM",
            "THERMOGRAM",
        ]
        .iter()
        .any(|part| squeezed.contains(part))
}

fn technique_of(axes: &Axes, traces: &[Trace]) -> Technique {
    match axes.x.0.as_str() {
        "wavelength" | "wavenumber" | "energy" => {
            if traces.len() > 1 && traces.iter().all(|trace| trace.held(&Quantity::TIME).is_some()) {
                Technique::SPECTRAL_TIME_COURSE
            } else {
                Technique::SPECTRUM
            }
        }
        "time" => Technique::TIME_COURSE,
        "concentration" | "substrate-concentration" if axes.y.0 == Quantity::RATE => Technique::RATE_SERIES,
        _ => Technique::UNKNOWN,
    }
}

/// A question, if a label of units is stated more than once and means different things.
fn stated_twice(
    block: &dx::Block,
    label: &str,
    about: &str,
    meaning: &dyn Fn(&str) -> Meaning,
) -> Option<Question> {
    let records: Vec<&dx::Record> = block
        .records
        .iter()
        .filter(|record| record.label == label)
        .collect();
    let mut meanings: Vec<Meaning> = Vec::new();
    for record in &records {
        let meant = meaning(record.value.trim());
        if !meanings.contains(&meant) {
            meanings.push(meant);
        }
    }
    if meanings.len() < 2 {
        return None;
    }
    let reading = |quantity: &Quantity, unit: &Unit| Alternative {
        assume: format!("{about}={quantity}:{unit}"),
        says: format!("{quantity} in {unit}"),
    };
    Some(Question {
        code: Code::new("units-stated-twice"),
        message: format!("{label} is stated more than once, with different units"),
        readings: meanings
            .iter()
            .flat_map(|meant| match meant {
                Meaning::Sure(quantity, unit) | Meaning::Own(quantity, unit) => vec![reading(quantity, unit)],
                Meaning::Share(quantity) => {
                    vec![reading(quantity, &Unit::ONE), reading(quantity, &Unit::PERCENT)]
                }
                Meaning::Foreign | Meaning::Unknown => Vec::new(),
            })
            .collect(),
        labels: labels(records.last().map(|record| place_of(&record.place))),
    })
}

/// For each symbol that the pages hold, by what its values are to be multiplied; nothing where its FACTOR is not 1 and
/// FIRST and LAST, which are true values, do not tell whether the pages hold true values too.
fn held_by_pages<'n>(
    ntuples: &'n dx::Ntuples,
    curves: &[(&'n dx::Page, &dx::Curve, &str)],
) -> BTreeMap<&'n str, Option<f64>> {
    let mut values: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for (page, ..) in curves {
        for (symbol, value) in &page.held {
            let number = page_value(value).map(|(number, _)| number);
            values.entry(symbol).or_default().extend(number);
        }
    }
    let decided = |symbol: &str, values: &[f64]| {
        let Some(variable) = ntuples.variable(symbol) else {
            return Some(1.0);
        };
        let number = |text: &str| page_value(text).map(|(number, _)| number);
        let Some(factor) = number(&variable.factor).filter(|factor| *factor != 1.0) else {
            return Some(1.0);
        };
        let ends = [
            (number(&variable.first), values.first()),
            (number(&variable.last), values.last()),
        ];
        let ends: Vec<(f64, f64)> = ends
            .into_iter()
            .filter_map(|(stated, value)| Some((stated?, *value?)))
            .collect();
        let fits = |factor: f64| {
            ends.iter()
                .all(|(stated, value)| times(*value, factor) == *stated)
        };
        match (fits(1.0), fits(factor)) {
            (true, false) => Some(1.0),
            (false, true) => Some(factor),
            _ => None,
        }
    };
    values
        .into_iter()
        .map(|(symbol, values)| (symbol, decided(symbol, &values)))
        .collect()
}

/// The product of two printed numbers, rounded to 15 digits, which both survive.
fn times(value: f64, factor: f64) -> f64 {
    if factor == 1.0 {
        return value;
    }
    let product = value * factor;
    format!("{product:.14e}").parse().unwrap_or(product)
}

/// What the pages of NTUPLES hold.
fn page_unit(ours: &Ours, variable: Option<&dx::Variable>) -> (Quantity, Unit) {
    if let Some(page) = &ours.page {
        return page.clone();
    }
    let Some(variable) = variable else {
        return (Quantity::UNKNOWN, Unit::ONE);
    };
    match abscissa(&variable.units) {
        Meaning::Sure(quantity, unit) | Meaning::Own(quantity, unit) => (quantity, unit),
        _ => (
            Quantity::named(variable.name.trim().to_lowercase().replace(' ', "-")),
            Unit::ONE,
        ),
    }
}

fn trace(
    curve: &dx::Curve,
    axes: &Axes,
    shared: Option<&Column>,
) -> Result<Trace, curvary_record::LengthMismatch> {
    let values: Arc<[f64]> = match shared {
        Some(before) if *before.values == *curve.x => Arc::clone(&before.values),
        _ => curve.x.as_slice().into(),
    };
    let mut x = Column::new(axes.x.0.clone(), axes.x.1.clone(), values);
    x.decimals = decimals(&curve.x_decimals, curve.x.len());
    x.name.clone_from(&axes.x_name);
    let mut y = Column::new(axes.y.0.clone(), axes.y.1.clone(), curve.y.as_slice());
    y.decimals = decimals(&curve.y_decimals, curve.y.len());
    y.name.clone_from(&axes.y_name);
    let mut trace = Trace::new(x, y)?;
    trace.lines = lines(&curve.lines, curve.len());
    trace.absent = u32::try_from(curve.missing.len()).unwrap_or(u32::MAX);
    Ok(trace)
}

fn narrow(count: u16) -> u8 {
    u8::try_from(count).unwrap_or(u8::MAX)
}

fn decimals(decimals: &dx::Decimals, count: usize) -> Decimals {
    let mut all = Decimals::default();
    match decimals {
        dx::Decimals::Same(digits) => all.push_run(narrow(*digits), count),
        dx::Decimals::Each(each) => each.iter().for_each(|&digits| all.push(narrow(digits))),
        dx::Decimals::Unlimited => {}
    }
    all
}

/// The source lines of the points. Points mostly stand as many on a line as on the line before, so two look-ups a
/// line are enough.
fn lines(map: &dx::LineMap, count: usize) -> Lines {
    let mut lines = Lines::default();
    let (mut at, mut per_line) = (0, 1);
    while at < count {
        let Some(line) = map.line_of(at) else { break };
        let on_line = |index: usize| index < count && map.line_of(index) == Some(line);
        if !on_line(at + per_line - 1) || on_line(at + per_line) {
            per_line = (1..).find(|&n| !on_line(at + n)).unwrap_or(1);
        }
        if per_line == 1 {
            lines.push(line as usize);
        } else {
            lines.push_run(line as usize, 0, per_line);
        }
        at += per_line;
    }
    lines
}

fn trace_fields(fields: &mut Fields, ours: &Ours) {
    for (key, text, place) in &ours.trace_fields {
        let key = Key::new(key.as_str());
        let said = private_claim(&key, text, Origin::Source(place.clone()));
        fields.claim(key, said);
    }
}

fn span_of(span: dx::Span) -> Span {
    Span::new(span.start, span.end)
}

fn place_of(place: &dx::Place) -> Place {
    Place {
        file: None,
        line: place.line,
        column: place.column,
        span: Some(span_of(place.span)),
    }
}

/// A remark of the codec as a diagnostic; its code gets the standard's name in front.
pub(crate) fn diagnostic(remark: &dx::Remark) -> Diagnostic {
    let severity = match remark.weight() {
        dx::Weight::Note => Severity::Note,
        dx::Weight::Doubt => Severity::Warning,
        dx::Weight::Loss => Severity::Error,
    };
    let mut message = format!("found {}", remark.found);
    if !remark.expected.is_empty() {
        message.push_str(", expected ");
        message.push_str(&remark.expected);
    }
    let code = Code::named(format!("jcamp-dx-{}", remark.code.as_str()));
    let diagnostic = Diagnostic::new(code, severity, message).help(remark.code.advice());
    if remark.place.line > 0 {
        diagnostic.at(place_of(&remark.place), "")
    } else {
        diagnostic
    }
}
