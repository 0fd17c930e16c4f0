//! AnIML, the Analytical Information Markup Language (ASTM E13.15): samples, experiment steps, series of values.
//!
//! What is read was written against the structure of the core (draft 0.90, and the earlier drafts, whose names are the
//! same): each `SeriesSet` is a run, its independent series the axis, each dependent series a curve. Names with and
//! without a namespace are taken alike. Numbers that stand as text are read as they are written; base64 holds binary
//! numbers, and these are taken exactly as they are. A step that our own writer wrote is a run with all its curves.

mod ours;
mod values;

use std::borrow::Cow;
use std::collections::BTreeMap;

use curvary_record::unit::{Spelling, spelled};
use curvary_record::{Code, Diagnostic, Quantity, Severity, Span, Unit};

use self::values::ValueSeries;
use super::xml::{self, XmlElement, root_name};
use crate::rendering::Rendering;
use crate::sink::{
    ColumnInput, CompletedRun, ContractViolation, CurveInput, LocatedText, Sink, SourceLimits, SpanUnit,
    Values,
};
use crate::{Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// The reader of AnIML documents.
pub struct Animl {
    card: ReaderInfo,
}

impl Default for Animl {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/animl".to_owned(),
                version: "1".to_owned(),
                title: "AnIML, the open XML standard of ASTM for analytical data".to_owned(),
            },
        }
    }
}

impl Reader for Animl {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        match root_name(glimpse.head()) {
            Some("AnIML") => Recognition::Yes("its root element is `AnIML`".to_owned()),
            Some(other) => Recognition::No(format!("its root element is `{other}`")),
            None => Recognition::No("no XML document".to_owned()),
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let root = match xml::parse(source.text()) {
            Ok(root) => root,
            Err(why) => return Reading::refused(*why),
        };
        let mut document = AnimlSource {
            sink: Sink::new(source, &self.card, SpanUnit::Text, SourceLimits::USUAL),
            samples: samples(&root),
            tables: Vec::new(),
            runs: 0,
        };
        let whole = || Sink::new(source, &self.card, SpanUnit::Text, SourceLimits::WHOLE);
        match document.own_runs(&root) {
            Some(Ok(runs)) => {
                let mut sink = whole();
                let told = runs.into_iter().try_for_each(|run| sink.understood(run));
                return sink.finished(told);
            }
            Some(Err(why)) => {
                let message = format!(
                    "the document says that curvary wrote it, but {why}; it is read like that of any other program"
                );
                let told = document
                    .sink
                    .remark(Severity::Warning, "not-as-written", &message, root.span);
                if let Err(breach) = told {
                    return Reading::refused(Diagnostic::error(Code::new("xml-refused"), breach.to_string()));
                }
            }
            None => {}
        }
        let read = document.steps(&root);
        let tables: Vec<Reading> = document
            .tables
            .iter()
            .map(|table| table.read(source, &self.card))
            .collect();
        let finished = read.and_then(|()| {
            if document.runs == 0 && !tables.is_empty() {
                return Ok(Reading {
                    remarks: document.sink.remarks(),
                    ..Reading::default()
                });
            }
            document.sink.finish()
        });
        match finished {
            Ok(reading) if tables.is_empty() => reading,
            Ok(reading) => {
                let mut sink = whole();
                let told = sink.parts(std::iter::once(reading).chain(tables));
                sink.finished(told)
            }
            Err(breach) => Reading::refused(Diagnostic::error(
                Code::new("xml-refused"),
                format!("the document says what cannot be: {breach}"),
            )),
        }
    }
}

/// Samples by their identifiers.
fn samples(root: &XmlElement) -> BTreeMap<String, XmlElement> {
    let sets = root.all("SampleSet");
    let samples = sets.flat_map(|set| set.all("Sample"));
    samples
        .filter_map(|sample| Some((sample.attribute("sampleID")?.to_owned(), sample.clone())))
        .collect()
}

struct AnimlSource<'a> {
    sink: Sink<'a>,
    samples: BTreeMap<String, XmlElement>,
    /// Series sets of another form than one axis and its curves, written out as plain tables.
    tables: Vec<Rendering>,
    /// How many runs the sink has.
    runs: usize,
}

/// A key and its value, as the document has them.
struct AnimlClaim {
    key: String,
    text: String,
    span: Span,
}

/// The parts of a step that are said of all its runs.
struct StepParts<'n> {
    step: &'n XmlElement,
    samples: Vec<&'n XmlElement>,
    /// The categories of the result around the series.
    categories: Vec<&'n XmlElement>,
}

impl AnimlSource<'_> {
    /// The runs of a document of which our own writer wrote every step; why they cannot be taken as they were written.
    fn own_runs(&self, root: &XmlElement) -> Option<Result<Vec<CompletedRun>, ours::OwnStepFault>> {
        let sets = root.all("ExperimentStepSet");
        let steps: Vec<&XmlElement> = sets.flat_map(|set| set.all("ExperimentStep")).collect();
        if steps.is_empty() || !steps.iter().all(|step| ours::is_ours(step)) {
            return None;
        }
        Some(steps.iter().map(|step| self.own_run(step)).collect())
    }

    /// The steps of an element, and those inside their results.
    fn steps(&mut self, parent: &XmlElement) -> Result<(), ContractViolation> {
        let sets = parent.all("ExperimentStepSet");
        for step in sets.flat_map(|set| set.all("ExperimentStep")) {
            let references = step
                .one("Infrastructure")
                .and_then(|all| all.one("SampleReferenceSet"));
            let of_step = StepParts {
                step,
                samples: references
                    .into_iter()
                    .flat_map(|set| set.all("SampleReference"))
                    .collect(),
                categories: Vec::new(),
            };
            for result in step.all("Result") {
                self.results(&of_step, result, 0)?;
                self.steps(result)?;
            }
        }
        Ok(())
    }

    /// The series sets of a result, and those in its categories.
    fn results(
        &mut self,
        of_step: &StepParts<'_>,
        parent: &XmlElement,
        depth: usize,
    ) -> Result<(), ContractViolation> {
        for set in parent.all("SeriesSet") {
            self.run(of_step, parent, set)?;
        }
        for category in parent.all("Category").filter(|_| depth < 8) {
            let mut inside = StepParts {
                step: of_step.step,
                samples: of_step.samples.clone(),
                categories: of_step.categories.clone(),
            };
            inside.categories.push(category);
            self.results(&inside, category, depth + 1)?;
        }
        Ok(())
    }

    /// A series set as a run.
    fn run(
        &mut self,
        of_step: &StepParts<'_>,
        result: &XmlElement,
        set: &XmlElement,
    ) -> Result<(), ContractViolation> {
        let name = set
            .attribute("name")
            .or_else(|| result.attribute("name"))
            .unwrap_or("without a name");
        let leave = |sink: &mut Sink<'_>, why: &str, span: Span| {
            let message = format!("the series set `{name}` was left out: {why}");
            sink.remark(Severity::Warning, "series-left-out", &message, span)
        };
        let length = set
            .attribute("length")
            .and_then(|length| length.trim().parse::<usize>().ok());
        if is_table(set) {
            return match self.table(of_step, set, length) {
                Some(table) => {
                    self.tables.push(table);
                    Ok(())
                }
                None => leave(
                    &mut self.sink,
                    "it has not one axis of numbers, and its series are not of one length",
                    set.span,
                ),
            };
        }
        let (mut axes, mut curves) = (Vec::new(), Vec::new());
        for node in set.all("Series") {
            match values::series(node, length) {
                Ok(series) if node.attribute("dependency") == Some("independent") => axes.push(series),
                Ok(series) => curves.push(series),
                Err(why) => {
                    let series = node.attribute("name").unwrap_or("");
                    let message = format!("the series `{series}` of `{name}` was left out: {why}");
                    self.sink
                        .remark(Severity::Warning, "series-left-out", &message, node.span)?;
                }
            }
        }
        let axis = match axes.as_slice() {
            [axis] => axis,
            [] => {
                return leave(
                    &mut self.sink,
                    "it has no independent series of numbers",
                    set.span,
                );
            }
            _ => return leave(&mut self.sink, "it has several independent series", set.span),
        };
        let (curves, others): (Vec<_>, Vec<_>) =
            curves.into_iter().partition(|curve| curve.len() == axis.len());
        for other in &others {
            let message = format!(
                "the series `{}` of `{name}` was left out: it has {} values, and the axis `{}` has {}",
                other.name,
                other.len(),
                axis.name,
                axis.len()
            );
            self.sink
                .remark(Severity::Warning, "series-left-out", &message, other.span)?;
        }
        if curves.is_empty() {
            return leave(
                &mut self.sink,
                "it has no dependent series as long as the axis",
                set.span,
            );
        }
        self.sink.begin_run("", set.span)?;
        self.runs += 1;
        for claimed in self.claims(of_step) {
            let said = LocatedText {
                text: &claimed.text,
                span: claimed.span,
            };
            self.sink.claim(LocatedText::of(&claimed.key), said)?;
        }
        with_column(axis, |column| self.sink.axis(column))?;
        for curve in &curves {
            with_column(curve, |column| {
                self.sink.curve(&CurveInput {
                    label: if curves.len() > 1 { curve.name } else { "" },
                    column: *column,
                    ..CurveInput::default()
                })
            })?;
        }
        self.sink.end_run()
    }

    /// What is said of a step.
    fn claims(&self, of_step: &StepParts<'_>) -> Vec<AnimlClaim> {
        let step = of_step.step;
        let mut all = Vec::new();
        for reference in &of_step.samples {
            let Some(id) = reference.attribute("sampleID") else {
                continue;
            };
            let role = reference.attribute("role").unwrap_or("");
            let of_test = role.is_empty() || role.to_lowercase().contains("test");
            let own = of_test || of_step.samples.len() == 1;
            let sample = self.samples.get(id);
            let name = sample.and_then(|sample| sample.attribute("name")).unwrap_or(id);
            all.push(AnimlClaim {
                key: if own { "sample" } else { role }.to_owned(),
                text: name.to_owned(),
                span: sample.map_or(reference.span, |sample| sample.span),
            });
            let categories = sample
                .iter()
                .filter(|_| own)
                .flat_map(|sample| sample.all("Category"));
            for category in categories {
                parameters(category, 0, &mut all);
            }
        }
        let claimed = |key: &str, node: &XmlElement| AnimlClaim {
            key: key.to_owned(),
            text: node.text.trim().to_owned(),
            span: node.span,
        };
        if let Some(time) = step.one("Infrastructure").and_then(|all| all.one("Timestamp")) {
            all.push(claimed("date", time));
        }
        if let Some(method) = step.one("Method") {
            for (path, key) in [
                (["Author", "Name"], "operator"),
                (["Device", "Name"], "instrument"),
            ] {
                let node = path.iter().try_fold(method, |node, name| node.one(name));
                all.extend(node.map(|node| claimed(key, node)));
            }
            for category in method.all("Category") {
                parameters(category, 0, &mut all);
            }
        }
        for category in &of_step.categories {
            own_parameters(category, &mut all);
        }
        all.retain(|claimed| !claimed.key.trim().is_empty());
        all
    }

    /// A series set that is no axis with its curves (names of samples, times beside wavelengths), written out as a plain
    /// table. None where its series are not of one length.
    fn table(&self, of_step: &StepParts<'_>, set: &XmlElement, length: Option<usize>) -> Option<Rendering> {
        let columns: Vec<ValueSeries<'_>> = set
            .all("Series")
            .map(|node| values::series_or_words(node, length))
            .collect::<Result<_, _>>()
            .ok()?;
        let length = columns
            .first()
            .map(ValueSeries::len)
            .filter(|length| *length > 0)?;
        if columns.len() < 2 || columns.iter().any(|column| column.len() != length) {
            return None;
        }
        let place = |span: Span| self.sink.source().place(span);
        let mut rendering = Rendering::default();
        for claimed in self.claims(of_step) {
            let at = place(claimed.span);
            rendering.pair((&claimed.key, at.clone()), (&claimed.text, at));
        }
        rendering.blank();
        let headers: Vec<String> = columns
            .iter()
            .map(|column| match plain_unit(column) {
                "" => column.name.to_owned(),
                unit => format!("{} ({unit})", column.name),
            })
            .collect();
        rendering.line(
            headers
                .iter()
                .zip(&columns)
                .map(|(header, column)| (header.as_str(), place(column.span))),
        );
        for row in 0..length {
            let cells: Vec<(Cow<'_, str>, Span)> = columns.iter().map(|column| column.cell(row)).collect();
            rendering.line(cells.iter().map(|(text, span)| (text.as_ref(), place(*span))));
        }
        Some(rendering)
    }
}

/// Whether a set runs over something else than one axis of numbers: over names, or over times and wavelengths.
fn is_table(set: &XmlElement) -> bool {
    let (independent, dependent): (Vec<&XmlElement>, Vec<&XmlElement>) = set
        .all("Series")
        .partition(|node| node.attribute("dependency") == Some("independent"));
    let several = independent.len() > 1 || independent.iter().any(|node| !values::is_of_numbers(node));
    several && !dependent.is_empty()
}

/// The parameters of a category and of those inside, each with its unit.
fn parameters(category: &XmlElement, depth: usize, all: &mut Vec<AnimlClaim>) {
    if depth > 8 {
        return;
    }
    own_parameters(category, all);
    for inner in category.all("Category") {
        parameters(inner, depth + 1, all);
    }
}

fn own_parameters(category: &XmlElement, all: &mut Vec<AnimlClaim>) {
    for parameter in category.all("Parameter") {
        let Some(key) = parameter.attribute("name") else {
            continue;
        };
        let Some(value) = parameter.children.iter().find(|child| child.name != "Unit") else {
            continue;
        };
        let unit = parameter
            .one("Unit")
            .and_then(|unit| unit.attribute("label"))
            .unwrap_or("");
        all.push(AnimlClaim {
            key: key.to_owned(),
            text: format!("{} {}", value.text.trim(), plain_label(unit))
                .trim()
                .to_owned(),
            span: value.span,
        });
    }
}

/// A label of a unit as people write it.
fn plain_label(label: &str) -> &str {
    match label.trim() {
        "percentT" | "percent" => "%",
        "reciprocal_cm" => "1/cm",
        "degC" => "°C",
        "mol_per_L" => "mol/L",
        other => other,
    }
}

/// The unit of a series as people write it. A label that names no unit gives way to the unit of the SI with its factor,
/// where those are of one of the few that an axis here has.
fn plain_unit<'s>(series: &ValueSeries<'s>) -> &'s str {
    let label = plain_label(series.unit);
    if label.is_empty() || spelled(label) != Spelling::None {
        return label;
    }
    let known = [
        ("m", 1e-9, "nm"),
        ("m", 1e-6, "µm"),
        ("m", 1e-3, "mm"),
        ("m", 1e-2, "cm"),
        ("s", 1e-3, "ms"),
        ("s", 1.0, "s"),
        ("s", 60.0, "min"),
        ("s", 3600.0, "h"),
    ];
    let Some((base, factor)) = series.base else {
        return label;
    };
    let near = |one: f64| (one - factor).abs() <= 1e-9 * factor.abs();
    let unit = known.iter().find(|(own, one, _)| *own == base && near(*one));
    unit.map_or(label, |(_, _, unit)| unit)
}

/// What a series is of, and its unit, by its name, its unit's label and what the unit is said to measure; nothing where
/// that is not sure.
fn meaning(series: &ValueSeries<'_>) -> (Cow<'static, str>, String) {
    let label = series.unit.trim();
    let light = |quantity, unit: &Unit| (Cow::Borrowed(quantity), unit.code().to_owned());
    // The labels of the technique definitions for ultraviolet and visible light.
    match (series.name.trim(), label) {
        ("Absorbance", _) | ("Intensity", "AU" | "A") => return light("absorbance", &Unit::ABSORBANCE),
        ("Transmittance" | "Intensity", "percentT") => return light("transmittance", &Unit::PERCENT),
        ("Transmittance" | "Intensity", "T") => return light("transmittance", &Unit::ONE),
        ("Radiant Energy", "eV") => return (Cow::Borrowed("energy"), "eV".to_owned()),
        _ => {}
    }
    let named = |text: &str| crate::column_header::read_column_header(text).quantity;
    let quantity = match (named(series.name), named(series.quantity)) {
        (None, Some(said)) if label != "AU" => Cow::Owned(said.as_str().to_owned()),
        (None, Some(said)) if said == Quantity::ABSORBANCE => return light("absorbance", &Unit::ABSORBANCE),
        _ => Cow::Borrowed(""),
    };
    (quantity, plain_unit(series).to_owned())
}

fn with_column(
    series: &ValueSeries<'_>,
    call: impl FnOnce(&ColumnInput<'_>) -> Result<(), ContractViolation>,
) -> Result<(), ContractViolation> {
    let (quantity, unit) = meaning(series);
    let texts: Vec<LocatedText<'_>> = match &series.values {
        values::SeriesCells::Texts(texts) => texts
            .iter()
            .map(|(text, span)| LocatedText { text, span: *span })
            .collect(),
        values::SeriesCells::Numbers(_) => Vec::new(),
    };
    call(&ColumnInput {
        header: LocatedText {
            text: series.name,
            span: series.span,
        },
        quantity: &quantity,
        unit: &unit,
        comma: false,
        values: match &series.values {
            values::SeriesCells::Texts(_) => Values::Texts(&texts),
            values::SeriesCells::Numbers(numbers) => Values::Numbers(numbers, &[]),
        },
    })
}

#[cfg(test)]
mod tests;
