//! AnIML, the Analytical Information Markup Language (ASTM E13.15): samples, experiment steps, series of values.
//!
//! What is read was written against the structure of the core (draft 0.90, and the earlier drafts, whose names are the
//! same): each `SeriesSet` is a run, its independent series the axis, each dependent series a curve. Names with and
//! without a namespace are taken alike. Numbers that stand as text are read as they are written; base64 holds binary
//! numbers, and these are taken exactly as they are.

mod tree;
mod values;

use std::collections::BTreeMap;

use curvary_record::{Code, Diagnostic, Severity, Span, Unit};

use self::tree::Node;
use self::values::Series;
use crate::sink::{Breach, ColumnSaid, Counting, CurveSaid, Limits, Said, Sink, Values};
use crate::{Card, Glimpse, Reader, Reading, Recognition, Source};

/// The reader of AnIML documents.
pub struct Animl {
    card: Card,
}

impl Default for Animl {
    fn default() -> Self {
        Self {
            card: Card {
                id: "built-in/animl".to_owned(),
                version: "1".to_owned(),
                title: "AnIML, the open XML standard of ASTM for analytical data".to_owned(),
            },
        }
    }
}

impl Reader for Animl {
    fn card(&self) -> &Card {
        &self.card
    }

    fn recognise(&self, glimpse: &Glimpse<'_>) -> Recognition {
        match root_name(glimpse.head) {
            Some("AnIML") => Recognition::Yes("its root element is `AnIML`".to_owned()),
            Some(other) => Recognition::No(format!("its root element is `{other}`")),
            None => Recognition::No("no XML document".to_owned()),
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let root = match tree::parse(source.text()) {
            Ok(root) => root,
            Err(why) => return Reading::refused(*why),
        };
        let mut document = Document {
            sink: Sink::new(source, &self.card, Counting::Text, Limits::USUAL),
            samples: samples(&root),
        };
        let read = document.steps(&root);
        match read.and_then(|()| document.sink.finish()) {
            Ok(reading) => reading,
            Err(breach) => Reading::refused(Diagnostic::error(
                Code::new("xml-refused"),
                format!("the document says what cannot be: {breach}"),
            )),
        }
    }
}

/// The name of the first element of a text, without a prefix.
fn root_name(head: &str) -> Option<&str> {
    let mut rest = head.trim_start_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}');
    loop {
        let inner = rest.strip_prefix('<')?;
        let (skipped, end) = match inner.get(..1)? {
            "?" => (inner, "?>"),
            "!" if inner.starts_with("!--") => (inner, "-->"),
            "!" => (inner, ">"),
            _ => {
                let name = inner
                    .split(|c: char| c.is_whitespace() || matches!(c, '>' | '/'))
                    .next()?;
                return Some(name.rsplit(':').next().unwrap_or(name));
            }
        };
        rest = skipped.split_once(end)?.1.trim_start();
    }
}

/// Samples by their identifiers.
fn samples(root: &Node) -> BTreeMap<String, Node> {
    let sets = root.all("SampleSet");
    let samples = sets.flat_map(|set| set.all("Sample"));
    samples
        .filter_map(|sample| Some((sample.attribute("sampleID")?.to_owned(), sample.clone())))
        .collect()
}

struct Document<'a> {
    sink: Sink<'a>,
    samples: BTreeMap<String, Node>,
}

/// The parts of a step that are said of all its runs.
struct Step<'n> {
    step: &'n Node,
    samples: Vec<&'n Node>,
}

impl Document<'_> {
    /// The steps of an element, and those inside their results.
    fn steps(&mut self, parent: &Node) -> Result<(), Breach> {
        let sets = parent.all("ExperimentStepSet");
        for step in sets.flat_map(|set| set.all("ExperimentStep")) {
            let references = step
                .one("Infrastructure")
                .and_then(|all| all.one("SampleReferenceSet"));
            let of_step = Step {
                step,
                samples: references
                    .into_iter()
                    .flat_map(|set| set.all("SampleReference"))
                    .collect(),
            };
            for result in step.all("Result") {
                for set in result.all("SeriesSet") {
                    self.run(&of_step, result, set)?;
                }
                self.steps(result)?;
            }
        }
        Ok(())
    }

    /// A series set as a run.
    fn run(&mut self, of_step: &Step<'_>, result: &Node, set: &Node) -> Result<(), Breach> {
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
        self.claims(of_step)?;
        with_column(axis, |column| self.sink.axis(column))?;
        for curve in &curves {
            with_column(curve, |column| {
                self.sink.curve(&CurveSaid {
                    label: if curves.len() > 1 { curve.name } else { "" },
                    column: *column,
                    ..CurveSaid::default()
                })
            })?;
        }
        self.sink.end_run()
    }

    /// What is said of a step, as claims on its run.
    fn claims(&mut self, of_step: &Step<'_>) -> Result<(), Breach> {
        let step = of_step.step;
        for reference in &of_step.samples {
            let Some(id) = reference.attribute("sampleID") else {
                continue;
            };
            let role = reference.attribute("role").unwrap_or("");
            let own = role.is_empty() || role.contains("Test") || of_step.samples.len() == 1;
            let sample = self.samples.get(id).cloned();
            let said = sample
                .as_ref()
                .and_then(|sample| sample.attribute("name"))
                .unwrap_or(id)
                .to_owned();
            let key = if own { "sample" } else { role };
            let span = sample.as_ref().map_or(reference.span, |sample| sample.span);
            self.sink.claim(Said::of(key), Said { text: &said, span })?;
            for category in sample
                .iter()
                .filter(|_| own)
                .flat_map(|sample| sample.all("Category"))
            {
                self.parameters(category, 0)?;
            }
        }
        if let Some(time) = step.one("Infrastructure").and_then(|all| all.one("Timestamp")) {
            self.sink.claim(Said::of("date"), of(time))?;
        }
        let Some(method) = step.one("Method") else {
            return Ok(());
        };
        for (path, key) in [
            (["Author", "Name"], "operator"),
            (["Device", "Name"], "instrument"),
        ] {
            if let Some(node) = path.iter().try_fold(method, |node, name| node.one(name)) {
                self.sink.claim(Said::of(key), of(node))?;
            }
        }
        for category in method.all("Category") {
            self.parameters(category, 0)?;
        }
        Ok(())
    }

    /// The parameters of a category, each with its unit.
    fn parameters(&mut self, category: &Node, depth: usize) -> Result<(), Breach> {
        if depth > 8 {
            return Ok(());
        }
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
            let text = format!("{} {}", value.text.trim(), plain_unit(unit));
            let text = text.trim();
            self.sink.claim(
                Said::of(key),
                Said {
                    text,
                    span: value.span,
                },
            )?;
        }
        for inner in category.all("Category") {
            self.parameters(inner, depth + 1)?;
        }
        Ok(())
    }
}

fn of(node: &Node) -> Said<'_> {
    Said {
        text: node.text.trim(),
        span: node.span,
    }
}

/// A label of a unit as people write it.
fn plain_unit(label: &str) -> &str {
    match label.trim() {
        "percentT" | "percent" => "%",
        "reciprocal_cm" => "1/cm",
        "degC" => "°C",
        "mol_per_L" => "mol/L",
        other => other,
    }
}

/// What a series is of, and its unit, by its name and its unit's label; nothing where that is not sure.
fn meaning(series: &Series<'_>) -> (&'static str, String) {
    let label = series.unit.trim();
    let light = |quantity, unit: &Unit| (quantity, unit.code().to_owned());
    // The labels of the technique definitions for ultraviolet and visible light.
    match (series.name.trim(), label) {
        ("Absorbance", _) | ("Intensity", "AU" | "A") => return light("absorbance", &Unit::ABSORBANCE),
        ("Transmittance" | "Intensity", "percentT") => return light("transmittance", &Unit::PERCENT),
        ("Transmittance" | "Intensity", "T") => return light("transmittance", &Unit::ONE),
        ("Radiant Energy", "eV") => return ("energy", "eV".to_owned()),
        _ => {}
    }
    ("", plain_unit(label).to_owned())
}

fn with_column(
    series: &Series<'_>,
    call: impl FnOnce(&ColumnSaid<'_>) -> Result<(), Breach>,
) -> Result<(), Breach> {
    let (quantity, unit) = meaning(series);
    let texts: Vec<Said<'_>> = match &series.values {
        values::Given::Texts(texts) => texts
            .iter()
            .map(|(text, span)| Said { text, span: *span })
            .collect(),
        values::Given::Numbers(_) => Vec::new(),
    };
    call(&ColumnSaid {
        header: Said {
            text: series.name,
            span: series.span,
        },
        quantity,
        unit: &unit,
        comma: false,
        values: match &series.values {
            values::Given::Texts(_) => Values::Texts(&texts),
            values::Given::Numbers(numbers) => Values::Numbers(numbers, &[]),
        },
    })
}

#[cfg(test)]
mod tests;
