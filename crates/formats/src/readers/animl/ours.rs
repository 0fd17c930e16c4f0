//! Documents that our own writer wrote: the same runs again, with what the standard has no place for.

use curvary_record::{
    Claim, Code, Column, Coordinate, Decimals, Fields, Key, Label, Origin, Place, Quantity, Question, Span,
    Technique, Trace, Unit, Value,
};

use super::AnimlSource;
use super::values::{self, SeriesCells, SeriesFault};
use crate::Source;
use crate::readers::xml::XmlElement;
use crate::sink::CompletedRun;
use crate::writers::animl::{CONDITIONS, OURS};

/// Whether our own writer wrote a step.
pub(super) fn is_ours(step: &XmlElement) -> bool {
    let method = step.one("Method");
    let name = method
        .and_then(|method| method.one("Software"))
        .and_then(|software| software.one("Name"));
    name.is_some_and(|name| name.text == OURS)
        && method.is_some_and(|method| category(method, OURS).is_some())
}

fn category<'n>(parent: &'n XmlElement, name: &str) -> Option<&'n XmlElement> {
    parent
        .children
        .iter()
        .find(|child| child.name == "Category" && child.attribute("name") == Some(name))
}

/// A parameter: its name, its words, and its unit where it is a number.
struct AnimlParameter<'n> {
    name: &'n str,
    words: &'n str,
    number: bool,
    unit: Option<&'n str>,
    span: Span,
}

fn parameters(category: &XmlElement) -> impl Iterator<Item = AnimlParameter<'_>> {
    let all = category.children.iter().filter(|child| child.name == "Parameter");
    all.filter_map(|parameter| {
        let value = parameter.children.iter().find(|child| child.name != "Unit")?;
        Some(AnimlParameter {
            name: parameter.attribute("name")?,
            words: &value.text,
            number: value.name == "D",
            unit: parameter.one("Unit").and_then(|unit| unit.attribute("label")),
            span: value.span,
        })
    })
}

/// Why a step that says that our own writer wrote it is none of its.
#[derive(Debug, thiserror::Error)]
pub(super) enum OwnStepFault {
    #[error("it has no method")]
    NoMethod,
    #[error("it has no category of our own")]
    NoCategory,
    #[error("`{0}` is no technique")]
    Technique(String),
    #[error("it has no points")]
    NoPoints,
    #[error("`{0}` is no number")]
    NoNumber(String),
    #[error("`{0}` is too great a number")]
    TooGreat(String),
    #[error("`{0}` is no unit")]
    NoUnit(String),
    #[error("`{0}` has no unit")]
    WithoutUnit(String),
    #[error("the range `{0}` has no end")]
    OpenRange(String),
    #[error("a series has no name")]
    NamelessSeries,
    #[error("`{id}`: {fault}")]
    Series { id: String, fault: SeriesFault },
    #[error("`{0}` holds what is no number")]
    NotFinite(String),
    #[error("a set of series does not say its length")]
    NoLength,
    #[error("a set of series has no axis")]
    NoAxis,
    #[error("nothing is said of `{0}`")]
    Undescribed(String),
    #[error("the {0} axis has no quantity")]
    NoQuantity(&'static str),
    #[error("`{0}` are no counts of decimals")]
    Decimals(String),
    #[error("the {0} axis has not as many counts of decimals as numbers")]
    CountOfDecimals(&'static str),
    #[error(transparent)]
    Columns(#[from] curvary_record::LengthMismatch),
    #[error("the names of the points are missing")]
    NoPointNames,
    #[error("there are not as many names as points")]
    CountOfPointNames,
    #[error("`{0}` is no point")]
    NoPoint(String),
    #[error("there is no point {0}")]
    PointBeyond(u32),
    #[error("`{0}` is no count")]
    NoCount(String),
}

impl AnimlSource<'_> {
    /// The run of a step of our own; why it is none.
    pub(super) fn own_run(&self, step: &XmlElement) -> Result<CompletedRun, OwnStepFault> {
        let source = self.sink.source();
        let method = step.one("Method").ok_or(OwnStepFault::NoMethod)?;
        let own = category(method, OURS).ok_or(OwnStepFault::NoCategory)?;
        let mut run = empty_run(source.place(step.span).line);
        for parameter in parameters(own) {
            match parameter.name {
                "technique" => {
                    if !is_name(parameter.words) {
                        return Err(OwnStepFault::Technique(parameter.words.to_owned()));
                    }
                    run.technique = Technique::ALL
                        .into_iter()
                        .find(|known| known.as_str() == parameter.words)
                        .unwrap_or_else(|| Technique::named(parameter.words));
                }
                "question" => {
                    let (code, message) = parameter.words.split_once(':').unwrap_or((parameter.words, ""));
                    run.questions.push(Question {
                        code: Code::named(code.trim()),
                        message: message.trim().to_owned(),
                        readings: Vec::new(),
                        labels: vec![Label {
                            place: source.place(parameter.span),
                            text: String::new(),
                        }],
                    });
                }
                _ => {}
            }
        }
        run.fields =
            category(method, CONDITIONS).map_or_else(|| Ok(Fields::default()), |all| fields(all, source))?;
        self.placed(step, method, &mut run.fields);
        for result in step.all("Result") {
            traces(result, source, &mut run.traces)?;
        }
        if run.traces.iter().all(Trace::is_empty) {
            return Err(OwnStepFault::NoPoints);
        }
        Ok(run)
    }

    /// The fields that stand in places of their own.
    fn placed(&self, step: &XmlElement, method: &XmlElement, fields: &mut Fields) {
        let source = self.sink.source();
        let mut claim = |key: &str, words: &str, span: Span| {
            let origin = Origin::Source(source.place(span));
            fields.claim(Key::new(key), Claim::text(words, origin));
        };
        for (outer, key) in [("Author", "operator"), ("Device", "instrument")] {
            if let Some(name) = method.one(outer).and_then(|node| node.one("Name")) {
                claim(key, &name.text, name.span);
            }
        }
        let Some(infrastructure) = step.one("Infrastructure") else {
            return;
        };
        let set = infrastructure.one("SampleReferenceSet");
        let reference = set.and_then(|set| set.one("SampleReference"));
        let sample = reference
            .and_then(|reference| reference.attribute("sampleID"))
            .and_then(|id| self.samples.get(id));
        if let Some((sample, name)) = sample.and_then(|sample| Some((sample, sample.attribute("name")?))) {
            claim("sample", name, sample.span);
        }
        if let Some(moment) = infrastructure.one("Timestamp")
            && let Some((day, time)) = moment.text.trim().split_once('T')
        {
            claim("date", day, moment.span);
            claim("time", time, moment.span);
        }
    }
}

/// A name of small letters, digits and hyphens.
fn is_name(text: &str) -> bool {
    let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    (1..=60).contains(&text.len()) && text.bytes().all(plain)
}

fn empty_run(line: u32) -> CompletedRun {
    CompletedRun {
        technique: Technique::UNKNOWN,
        because: vec!["curvary wrote the document and says what its axes are".to_owned()],
        fields: Fields::default(),
        traces: Vec::new(),
        questions: Vec::new(),
        remarks: Vec::new(),
        lines: (line > 0).then_some((line, line)),
    }
}

fn finite(words: &str) -> Result<f64, OwnStepFault> {
    let number: f64 = words
        .trim()
        .parse()
        .map_err(|_| OwnStepFault::NoNumber(words.trim().to_owned()))?;
    if number.is_finite() {
        Ok(number)
    } else {
        Err(OwnStepFault::TooGreat(words.trim().to_owned()))
    }
}

fn unit_of(label: &str) -> Result<Unit, OwnStepFault> {
    Unit::ucum(label).map_err(|_| OwnStepFault::NoUnit(label.to_owned()))
}

/// The fields of a category of parameters.
fn fields(category: &XmlElement, source: &Source) -> Result<Fields, OwnStepFault> {
    let mut fields = Fields::default();
    let mut from: Option<(String, f64, String)> = None;
    let mut last: Option<(Key, Claim)> = None;
    let mut keep = |last: &mut Option<(Key, Claim)>, next: Option<(Key, Claim)>| {
        if let Some((key, claim)) = std::mem::replace(last, next) {
            fields.claim(key, claim);
        }
    };
    for parameter in parameters(category) {
        let origin = Origin::Source(source.place(parameter.span));
        let name = parameter.name;
        if !parameter.number {
            let claim = Claim::text(parameter.words, origin);
            keep(&mut last, Some((Key::new(name), claim)));
            continue;
        }
        let value = finite(parameter.words)?;
        let unit = parameter.unit.map(unit_of).transpose()?;
        let raw = format!("{} {}", parameter.words.trim(), parameter.unit.unwrap_or(""))
            .trim_end()
            .to_owned();
        if let Some(key) = name.strip_suffix(", from") {
            from = Some((key.to_owned(), value, parameter.words.trim().to_owned()));
        } else if let (Some(key), Some((begun, low, words))) = (name.strip_suffix(", to"), &from)
            && key == begun
        {
            let mut claim = Claim::number(value, unit, format!("{words} to {raw}"), origin);
            claim.value = Value::Range {
                from: *low,
                to: value,
            };
            keep(&mut last, Some((Key::new(key), claim)));
            from = None;
        } else if let (Some(key), Some((own, claim))) = (name.strip_suffix(", plus or minus"), &mut last)
            && own.as_str() == Key::new(key).as_str()
        {
            claim.plus_minus = Some(value);
            claim.raw = format!("{} ± {}", claim.raw, parameter.words.trim());
        } else {
            keep(
                &mut last,
                Some((Key::new(name), Claim::number(value, unit, raw, origin))),
            );
        }
    }
    keep(&mut last, None);
    if let Some((key, ..)) = from {
        return Err(OwnStepFault::OpenRange(key));
    }
    Ok(fields)
}

/// A series as it stands, before it is known what it is of.
struct Raw<'n> {
    id: &'n str,
    unit: &'n str,
    values: Vec<f64>,
    decimals: Decimals,
    lines: Vec<u32>,
}

fn raw<'n>(node: &'n XmlElement, length: usize, source: &Source) -> Result<Raw<'n>, OwnStepFault> {
    let id = node.attribute("seriesID").ok_or(OwnStepFault::NamelessSeries)?;
    let unit = node
        .one("Unit")
        .and_then(|unit| unit.attribute("label"))
        .ok_or_else(|| OwnStepFault::WithoutUnit(id.to_owned()))?;
    let mut raw = Raw {
        id,
        unit,
        values: Vec::with_capacity(length.min(1 << 20)),
        decimals: Decimals::default(),
        lines: Vec::new(),
    };
    if length == 0 {
        return Ok(raw);
    }
    let series = values::series(node, Some(length)).map_err(|fault| OwnStepFault::Series {
        id: id.to_owned(),
        fault,
    })?;
    match series.values {
        SeriesCells::Numbers(numbers) => {
            if numbers.iter().any(|value| !value.is_finite()) {
                return Err(OwnStepFault::NotFinite(id.to_owned()));
            }
            raw.values = numbers;
        }
        SeriesCells::Texts(texts) => {
            for (text, span) in &texts {
                raw.values.push(finite(text)?);
                let mantissa = text.split(['e', 'E']).next().unwrap_or_default();
                let behind = mantissa.split_once('.').map_or(0, |(_, behind)| behind.len());
                raw.decimals.push(u8::try_from(behind).unwrap_or(u8::MAX));
                raw.lines.push(source.place(*span).line);
            }
        }
    }
    Ok(raw)
}

/// The curves of a result.
fn traces(result: &XmlElement, source: &Source, all: &mut Vec<Trace>) -> Result<(), OwnStepFault> {
    let Some(set) = result.one("SeriesSet") else {
        return Ok(());
    };
    let length: usize = set
        .attribute("length")
        .and_then(|length| length.trim().parse().ok())
        .ok_or(OwnStepFault::NoLength)?;
    let (words, numbers): (Vec<&XmlElement>, Vec<&XmlElement>) = set
        .all("Series")
        .partition(|series| series.attribute("seriesType") == Some("String"));
    let mut numbers = numbers.into_iter();
    let axis = numbers.next().ok_or(OwnStepFault::NoAxis)?;
    let axis = raw(axis, length, source)?;
    let shared: curvary_record::Numbers = axis.values.into();
    for node in numbers {
        let y = raw(node, length, source)?;
        let own = category(result, &format!("{OURS} {}", y.id))
            .ok_or_else(|| OwnStepFault::Undescribed(y.id.to_owned()))?;
        let said = |name: &str| parameters(own).find(|parameter| parameter.name == name);
        let column = |letter: &'static str,
                      label: &str,
                      values,
                      decimals: &Decimals|
         -> Result<Column, OwnStepFault> {
            let quantity = said(&format!("{letter} quantity")).ok_or(OwnStepFault::NoQuantity(letter))?;
            let code = match (quantity.words, label) {
                ("absorbance", "AU") => "{AU}",
                ("transmittance", "percentT") => "%",
                (_, code) => code,
            };
            let values: curvary_record::Numbers = values;
            let decimals: Decimals = match said(&format!("{letter} decimals")) {
                Some(known) => serde_json::from_str(known.words)
                    .map_err(|_| OwnStepFault::Decimals(known.words.to_owned()))?,
                None => decimals.clone(),
            };
            if !decimals.is_empty() && decimals.len() != values.len() {
                return Err(OwnStepFault::CountOfDecimals(letter));
            }
            let mut column = Column::new(Quantity::named(quantity.words), unit_of(code)?, values);
            column.name = said(&format!("{letter} head")).map(|head| head.words.to_owned());
            Ok(column.with_decimals(decimals))
        };
        let x = column("x", axis.unit, shared.clone(), &axis.decimals)?;
        let y_column = column("y", y.unit, y.values.into(), &y.decimals)?;
        let mut trace = Trace::new(x, y_column)?;
        for line in &y.lines {
            trace.lines.push(*line as usize);
        }
        curve(own, source, &mut trace)?;
        if said("names of points").is_some() {
            let names = words.first().ok_or(OwnStepFault::NoPointNames)?;
            let names = names
                .one("IndividualValueSet")
                .ok_or(OwnStepFault::NoPointNames)?;
            trace.row_names = names.children.iter().map(|name| name.text.clone()).collect();
            if trace.row_names.len() != trace.len() {
                return Err(OwnStepFault::CountOfPointNames);
            }
        }
        all.push(trace);
    }
    Ok(())
}

/// What is said of a curve.
fn curve(own: &XmlElement, source: &Source, trace: &mut Trace) -> Result<(), OwnStepFault> {
    for parameter in parameters(own) {
        match parameter.name {
            "label" => trace.label = Some(parameter.words.to_owned()),
            "points over range" => {
                for point in parameter.words.split_whitespace() {
                    let point: u32 = point
                        .parse()
                        .map_err(|_| OwnStepFault::NoPoint(point.to_owned()))?;
                    if point as usize >= trace.len() {
                        return Err(OwnStepFault::PointBeyond(point));
                    }
                    trace.saturated.push(point);
                }
            }
            "points not readable" => {
                trace.absent = parameter
                    .words
                    .trim()
                    .parse()
                    .map_err(|_| OwnStepFault::NoCount(parameter.words.to_owned()))?;
            }
            name => {
                let Some(quantity) = name.strip_prefix("held ") else {
                    continue;
                };
                let unit = unit_of(
                    parameter
                        .unit
                        .ok_or_else(|| OwnStepFault::WithoutUnit(name.to_owned()))?,
                )?;
                let place: Place = source.place(parameter.span);
                let mut held = Coordinate::new(Quantity::named(quantity), unit, finite(parameter.words)?);
                held.raw = Some(parameter.words.trim().to_owned());
                held.line = (place.line > 0).then_some(place.line);
                trace.held.push(held);
            }
        }
    }
    if let Some(conditions) = category(own, CONDITIONS) {
        trace.fields = fields(conditions, source)?;
    }
    Ok(())
}
