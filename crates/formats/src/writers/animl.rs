//! AnIML, the open XML standard of ASTM (E13.15) for analytical data: core schema, draft 0.90.
//!
//! A run is an experiment step. What was measured stands in its results, one for each axis, with a series for the axis
//! and one for each curve; samples, authors, devices and times stand where the standard has a place for them, and all
//! other fields are parameters under their own names. Numbers are the decimals that were read, and units have their UCUM
//! codes as labels. What only our own reader needs (quantities, held coordinates, marks) are parameters too, in
//! categories that begin with `curvary`, so that a document that comes home gives the same run again.
//!
//! A document of very many numbers packs them in base64, as the standard allows, with their counts of decimals beside
//! them.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::io;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use curvary_record::{Claim, Code, Column, Diagnostic, Fields, Key, Quantity, Run, Trace, Unit, Value};
use quick_xml::Writer;
use quick_xml::events::attributes::Attribute;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

use super::digits::as_written;
use super::export::{ExportError, ExportPart, ExportedRun, Exporter, Files, FormatRoom, Output};

/// The namespace of the core.
const NAMESPACE: &str = "urn:org:astm:animl:schema:core:draft:0.90";
/// Our name as the software that wrote the document, and the beginning of our categories.
pub(crate) const OURS: &str = "curvary";
/// The category of a step's fields.
pub(crate) const CONDITIONS: &str = "conditions";
/// A document of more numbers packs them.
const PLAIN: u64 = 200_000;
/// The standard has no room for longer names.
const LONGEST: usize = 1024;

/// The exporter.
#[derive(Default)]
pub struct AnimlExporter {
    /// Identifiers of samples by name.
    samples: BTreeMap<String, String>,
    numbers: u64,
    page: Option<AnimlPage>,
    /// Texts in which a sign was replaced that XML cannot hold.
    replaced: u64,
    steps: u64,
}

impl Exporter for AnimlExporter {
    fn room(&self) -> FormatRoom {
        FormatRoom {
            fields: true,
            marks: true,
            ..FormatRoom::default()
        }
    }

    fn see(&mut self, subject: &ExportedRun<'_>) {
        let run = subject.run;
        if let Some(name) = sample_of(run) {
            let next = format!("sample-{}", self.samples.len() + 1);
            self.samples.entry(name.to_owned()).or_insert(next);
        }
        // An axis that curves share is written once, but this is an estimate of size alone.
        self.numbers += 2 * run.points() as u64;
    }

    fn begin(&mut self, files: &mut dyn Files) -> Result<(), ExportError> {
        let mut page = AnimlPage {
            out: Writer::new_with_indent(files.create(ExportPart::Main)?, b' ', 1),
            packed: self.numbers > PLAIN,
            series: 0,
            replaced: 0,
        };
        page.event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        page.open("AnIML", &[("xmlns", NAMESPACE), ("version", "0.90")])?;
        if !self.samples.is_empty() {
            page.open("SampleSet", &[])?;
            let mut samples: Vec<(&String, &String)> = self.samples.iter().collect();
            samples.sort_by_key(|(_, id)| (id.len(), *id));
            for (name, id) in samples {
                page.empty("Sample", &[("name", name), ("sampleID", id)])?;
            }
            page.close("SampleSet")?;
        }
        self.page = Some(page);
        Ok(())
    }

    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        let Some(page) = &mut self.page else { return Ok(()) };
        if self.steps == 0 {
            page.open("ExperimentStepSet", &[])?;
        }
        self.steps += 1;
        let sample = sample_of(subject.run).and_then(|name| self.samples.get(name));
        page.step(subject.run, sample.map(String::as_str))?;
        Ok(())
    }

    fn finish(&mut self, _files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        if let Some(mut page) = self.page.take() {
            if self.steps > 0 {
                page.close("ExperimentStepSet")?;
            }
            page.close("AnIML")?;
            self.replaced = page.replaced;
            let mut out = page.out.into_inner();
            out.write_all(b"\n")?;
            out.flush()?;
        }
        let remark = (self.replaced > 0).then(|| {
            Diagnostic::warning(
                Code::new("sign-not-in-xml"),
                format!(
                    "{} texts hold control characters, for which XML has no room; `\u{FFFD}` stands in their places",
                    self.replaced
                ),
            )
        });
        Ok(remark.into_iter().collect())
    }
}

/// The name of a run's sample, where it can be the name of a sample of the document.
fn sample_of(run: &Run) -> Option<&str> {
    run.fields.text("sample").filter(|name| is_token(name))
}

/// Whether an attribute keeps a text as it is: blanks are folded in a token, and it has an end.
fn is_token(text: &str) -> bool {
    let folded = text.split(' ').all(|word| !word.is_empty());
    folded && text.chars().count() <= LONGEST && !text.chars().any(char::is_control)
}

/// Day and time of day as one moment, where both are whole.
pub(crate) fn moment(fields: &Fields) -> Option<String> {
    let (day, time) = (fields.text("date")?, fields.text("time")?);
    let civil: jiff::civil::DateTime = format!("{day}T{time}").parse().ok()?;
    let plain = civil.date().to_string() == day && civil.time().to_string() == time;
    (plain && civil.date().year() > 0).then(|| format!("{day}T{time}"))
}

/// The fields that stand in places of their own and are no parameters.
fn is_placed(run: &Run, key: &Key) -> bool {
    match key.as_str() {
        "sample" => sample_of(run).is_some(),
        "operator" | "instrument" => run.fields.text(key.as_str()).is_some_and(is_token),
        "date" | "time" => moment(&run.fields).is_some(),
        _ => false,
    }
}

/// The label of a unit: as the technique definitions for ultraviolet and visible light call those of the ordinate, else
/// the UCUM code.
pub(crate) fn label(quantity: &Quantity, unit: &Unit) -> String {
    match (quantity.as_str(), unit.code()) {
        ("absorbance", "{AU}") => "AU",
        ("transmittance", "%") => "percentT",
        (_, code) => code,
    }
    .to_owned()
}

/// A document being written.
struct AnimlPage {
    out: Writer<Box<dyn Output>>,
    packed: bool,
    /// Series so far: the standard wants their names to be unique within all steps.
    series: u64,
    replaced: u64,
}

type Attributes<'a> = &'a [(&'a str, &'a str)];

impl AnimlPage {
    fn event(&mut self, event: Event<'_>) -> io::Result<()> {
        self.out.write_event(event)
    }

    fn tag<'t>(&mut self, name: &'t str, attributes: Attributes<'_>) -> BytesStart<'t> {
        let mut tag = BytesStart::new(name);
        for (key, value) in attributes {
            let value = self.clean(value);
            // Line ends and tabs would become blanks in an attribute.
            let escaped = quick_xml::escape::escape(value.as_ref())
                .replace('\n', "&#10;")
                .replace('\t', "&#9;");
            tag.push_attribute(Attribute {
                key: quick_xml::name::QName(key),
                value: Cow::Owned(escaped),
            });
        }
        tag
    }

    fn open(&mut self, name: &str, attributes: Attributes<'_>) -> io::Result<()> {
        let tag = self.tag(name, attributes);
        self.event(Event::Start(tag))
    }

    fn empty(&mut self, name: &str, attributes: Attributes<'_>) -> io::Result<()> {
        let tag = self.tag(name, attributes);
        self.event(Event::Empty(tag))
    }

    fn close(&mut self, name: &str) -> io::Result<()> {
        self.event(Event::End(BytesEnd::new(name)))
    }

    fn words(&mut self, name: &str, text: &str) -> io::Result<()> {
        self.open(name, &[])?;
        let text = self.clean(text).into_owned();
        let escaped = quick_xml::escape::partial_escape(text);
        self.event(Event::Text(BytesText::from_escaped(escaped)))?;
        self.close(name)
    }

    /// A text without signs that XML cannot hold, each replaced by one that says so.
    fn clean<'t>(&mut self, text: &'t str) -> Cow<'t, str> {
        let held = |sign: char| {
            matches!(sign, '\t' | '\n' | '\r') || sign >= ' ' && !matches!(sign, '\u{FFFE}' | '\u{FFFF}')
        };
        if text.chars().all(held) {
            return Cow::Borrowed(text);
        }
        self.replaced += 1;
        let replaced = |sign: char| if held(sign) { sign } else { '\u{FFFD}' };
        Cow::Owned(text.chars().map(replaced).collect())
    }

    /// A run.
    fn step(&mut self, run: &Run, sample: Option<&str>) -> io::Result<()> {
        let id = format!("run-{}", run.id);
        let name = sample_of(run).unwrap_or(id.as_str()).to_owned();
        self.open("ExperimentStep", &[("name", &name), ("experimentStepID", &id)])?;
        let moment = moment(&run.fields);
        if sample.is_some() || moment.is_some() {
            self.open("Infrastructure", &[])?;
            if let Some(sample) = sample {
                self.open("SampleReferenceSet", &[])?;
                let role = [
                    ("sampleID", sample),
                    ("role", "Test Sample"),
                    ("samplePurpose", "consumed"),
                ];
                self.empty("SampleReference", &role)?;
                self.close("SampleReferenceSet")?;
            }
            if let Some(moment) = moment {
                self.words("Timestamp", &moment)?;
            }
            self.close("Infrastructure")?;
        }
        self.method(run)?;
        let mut first = 0;
        while first < run.traces.len() {
            let alike = run.traces[first..]
                .iter()
                .take_while(|trace| share_axis(&run.traces[first], trace))
                .count()
                .max(1);
            self.result(&run.traces[first..first + alike])?;
            first += alike;
        }
        self.close("ExperimentStep")
    }

    fn method(&mut self, run: &Run) -> io::Result<()> {
        self.open("Method", &[])?;
        if let Some(operator) = run.fields.text("operator").filter(|name| is_token(name)) {
            self.open("Author", &[("userType", "human")])?;
            self.words("Name", operator)?;
            self.close("Author")?;
        }
        if let Some(instrument) = run.fields.text("instrument").filter(|name| is_token(name)) {
            self.open("Device", &[])?;
            self.words("Name", instrument)?;
            self.close("Device")?;
        }
        self.open("Software", &[])?;
        self.words("Name", OURS)?;
        self.words("Version", env!("CARGO_PKG_VERSION"))?;
        self.close("Software")?;
        self.conditions(&run.fields, |key| is_placed(run, key))?;
        self.open("Category", &[("name", OURS)])?;
        self.parameter("technique", run.technique.as_str())?;
        self.parameter("run", run.id.as_str())?;
        self.parameter("source", &run.source.path)?;
        for question in &run.questions {
            self.parameter("question", &format!("{}: {}", question.code, question.message))?;
        }
        self.close("Category")?;
        self.close("Method")
    }

    /// All fields that have no place of their own, the strongest claim of each; of comments all.
    fn conditions(&mut self, fields: &Fields, placed: impl Fn(&Key) -> bool) -> io::Result<()> {
        let mut begun = false;
        for (key, claims) in fields.iter() {
            let count = if key.as_str() == "comment" {
                claims.len()
            } else {
                1
            };
            // A weaker comment beside a placed field is none: only single fields have places.
            for claim in claims.iter().take(count).filter(|_| !placed(key)) {
                if !begun {
                    self.open("Category", &[("name", CONDITIONS)])?;
                    begun = true;
                }
                self.field(key.as_str(), claim)?;
            }
        }
        if begun {
            self.close("Category")?;
        }
        Ok(())
    }

    fn field(&mut self, key: &str, claim: &Claim) -> io::Result<()> {
        let unit = claim.unit.as_ref().map(Unit::code);
        let number = |value: f64| as_written(value, &claim.raw);
        match &claim.value {
            Value::Text(words) => self.parameter(key, words)?,
            Value::Number(value) => self.number(key, &number(*value), unit)?,
            Value::Range { from, to } => {
                self.number(&format!("{key}, from"), &number(*from), unit)?;
                self.number(&format!("{key}, to"), &number(*to), unit)?;
            }
        }
        match claim.plus_minus {
            Some(error) => self.number(&format!("{key}, plus or minus"), &number(error), unit),
            None => Ok(()),
        }
    }

    fn parameter(&mut self, name: &str, words: &str) -> io::Result<()> {
        self.open("Parameter", &[("name", name), ("parameterType", "String")])?;
        self.words("S", words)?;
        self.close("Parameter")
    }

    fn number(&mut self, name: &str, number: &str, unit: Option<&str>) -> io::Result<()> {
        self.open("Parameter", &[("name", name), ("parameterType", "Float64")])?;
        self.words("D", number)?;
        if let Some(unit) = unit {
            self.unit(unit, unit)?;
        }
        self.close("Parameter")
    }

    /// A unit; with what it is of the base units of the SI where that is one of them alone.
    fn unit(&mut self, label: &str, code: &str) -> io::Result<()> {
        let base = match code {
            "nm" => Some(("1E-9", "m")),
            "um" => Some(("1E-6", "m")),
            "mm" => Some(("1E-3", "m")),
            "cm" => Some(("1E-2", "m")),
            "m" => Some(("1", "m")),
            "ms" => Some(("1E-3", "s")),
            "s" => Some(("1", "s")),
            "min" => Some(("60", "s")),
            "h" => Some(("3600", "s")),
            "K" => Some(("1", "K")),
            "1" | "{AU}" => Some(("1", "1")),
            _ => None,
        };
        let Some((factor, name)) = base else {
            return self.empty("Unit", &[("label", label)]);
        };
        self.open("Unit", &[("label", label)])?;
        self.open("SIUnit", &[("factor", factor)])?;
        self.event(Event::Text(BytesText::from_escaped(name)))?;
        self.close("SIUnit")?;
        self.close("Unit")
    }

    /// Curves over one axis.
    fn result(&mut self, traces: &[Trace]) -> io::Result<()> {
        let Some(first) = traces.first() else {
            return Ok(());
        };
        let title = heading(&first.y);
        self.open("Result", &[("name", &title)])?;
        let length = first.len().to_string();
        self.open("SeriesSet", &[("name", &title), ("length", &length)])?;
        self.column(&first.x, "independent")?;
        let begin = self.series;
        for trace in traces {
            self.column(&trace.y, "dependent")?;
        }
        for trace in traces.iter().filter(|trace| !trace.row_names.is_empty()) {
            self.names(trace)?;
        }
        self.close("SeriesSet")?;
        for (series, trace) in (begin + 1..).zip(traces) {
            self.curve(series, trace)?;
        }
        self.close("Result")
    }

    fn column(&mut self, column: &Column, dependency: &str) -> io::Result<()> {
        self.series += 1;
        let id = format!("series-{}", self.series);
        let name = heading(column);
        let attributes = [
            ("name", name.as_str()),
            ("seriesID", &id),
            ("seriesType", "Float64"),
            ("dependency", dependency),
        ];
        self.open("Series", &attributes)?;
        if self.packed {
            let bytes: Vec<u8> = column
                .values
                .iter()
                .flat_map(|value| value.to_le_bytes())
                .collect();
            self.open("EncodedValueSet", &[])?;
            let text = STANDARD.encode(bytes);
            self.event(Event::Text(BytesText::from_escaped(text)))?;
            self.close("EncodedValueSet")?;
        } else if !column.values.is_empty() {
            self.open("IndividualValueSet", &[])?;
            for text in column.texts() {
                self.words("D", &text)?;
            }
            self.close("IndividualValueSet")?;
        }
        let label = label(&column.quantity, &column.unit);
        self.unit(&label, column.unit.code())?;
        self.close("Series")
    }

    /// The names of a curve's points, as a series of words.
    fn names(&mut self, trace: &Trace) -> io::Result<()> {
        self.series += 1;
        let id = format!("series-{}", self.series);
        let attributes = [
            ("name", "Point"),
            ("seriesID", &id),
            ("seriesType", "String"),
            ("dependency", "dependent"),
        ];
        self.open("Series", &attributes)?;
        self.open("IndividualValueSet", &[])?;
        let none = String::new();
        for at in 0..trace.len() {
            self.words("S", trace.row_names.get(at).unwrap_or(&none))?;
        }
        self.close("IndividualValueSet")?;
        self.close("Series")
    }

    /// What is said of one curve.
    fn curve(&mut self, series: u64, trace: &Trace) -> io::Result<()> {
        let name = format!("{OURS} series-{series}");
        self.open("Category", &[("name", &name)])?;
        for (axis, column) in [("x", &trace.x), ("y", &trace.y)] {
            self.parameter(&format!("{axis} quantity"), column.quantity.as_str())?;
            if let Some(head) = &column.name {
                self.parameter(&format!("{axis} head"), head)?;
            }
            if self.packed && !column.decimals.is_empty() {
                let decimals = serde_json::to_string(&column.decimals)?;
                self.parameter(&format!("{axis} decimals"), &decimals)?;
            }
        }
        if let Some(label) = &trace.label {
            self.parameter("label", label)?;
        }
        for held in &trace.held {
            let number = as_written(held.value, held.raw.as_deref().unwrap_or(""));
            let name = format!("held {}", held.quantity);
            self.number(&name, &number, Some(held.unit.code()))?;
        }
        if !trace.saturated.is_empty() {
            let points: Vec<String> = trace.saturated.iter().map(u32::to_string).collect();
            self.parameter("points over range", &points.join(" "))?;
        }
        if trace.absent > 0 {
            self.parameter("points not readable", &trace.absent.to_string())?;
        }
        if !trace.row_names.is_empty() {
            self.parameter("names of points", &trace.row_names.len().to_string())?;
        }
        self.conditions(&trace.fields, |_| false)?;
        self.close("Category")
    }
}

/// Whether two curves run over the same numbers; such with names of points stand by themselves.
fn share_axis(one: &Trace, other: &Trace) -> bool {
    std::ptr::eq(one, other)
        || one.row_names.is_empty() && other.row_names.is_empty() && !one.is_empty() && one.x == other.x
}

/// The name of a series: its quantity with a capital letter, as the technique definitions have it.
fn heading(column: &Column) -> String {
    let name = column.quantity.as_str().replace('-', " ");
    let mut signs = name.chars();
    let first = signs.next().map(|sign| sign.to_uppercase().to_string());
    format!("{}{}", first.unwrap_or_default(), signs.as_str())
}
