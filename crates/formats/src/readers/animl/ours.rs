//! Documents that our own writer wrote: the same runs again, with what the standard has no place for.

use curvary_record::{
    Claim, Code, Column, Coordinate, Decimals, Fields, Key, Label, Origin, Place, Quantity, Question, Span,
    Technique, Trace, Unit, Value,
};

use super::AnimlSource;
use super::values::{self, Given};
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

impl AnimlSource<'_> {
    /// The run of a step of our own; why it is none.
    pub(super) fn own_run(&self, step: &XmlElement) -> Result<CompletedRun, String> {
        let source = self.sink.source();
        let method = step.one("Method").ok_or("it has no method")?;
        let own = category(method, OURS).ok_or("it has no category of our own")?;
        let mut run = empty_run(source.place(step.span).line);
        for parameter in parameters(own) {
            match parameter.name {
                "technique" => {
                    if !is_name(parameter.words) {
                        return Err(format!("`{}` is no technique", parameter.words));
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
            return Err("it has no points".to_owned());
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

fn finite(words: &str) -> Result<f64, String> {
    let number: f64 = words
        .trim()
        .parse()
        .map_err(|_| format!("`{}` is no number", words.trim()))?;
    if number.is_finite() {
        Ok(number)
    } else {
        Err(format!("`{}` is too great a number", words.trim()))
    }
}

fn unit_of(label: &str) -> Result<Unit, String> {
    Unit::ucum(label).map_err(|_| format!("`{label}` is no unit"))
}

/// The fields of a category of parameters.
fn fields(category: &XmlElement, source: &Source) -> Result<Fields, String> {
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
        return Err(format!("the range `{key}` has no end"));
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

fn raw<'n>(node: &'n XmlElement, length: usize, source: &Source) -> Result<Raw<'n>, String> {
    let id = node.attribute("seriesID").ok_or("a series has no name")?;
    let unit = node
        .one("Unit")
        .and_then(|unit| unit.attribute("label"))
        .ok_or_else(|| format!("`{id}` has no unit"))?;
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
    let series = values::series(node, Some(length)).map_err(|why| format!("`{id}`: {why}"))?;
    match series.values {
        Given::Numbers(numbers) => {
            if numbers.iter().any(|value| !value.is_finite()) {
                return Err(format!("`{id}` holds what is no number"));
            }
            raw.values = numbers;
        }
        Given::Texts(texts) => {
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
fn traces(result: &XmlElement, source: &Source, all: &mut Vec<Trace>) -> Result<(), String> {
    let Some(set) = result.one("SeriesSet") else {
        return Ok(());
    };
    let length: usize = set
        .attribute("length")
        .and_then(|length| length.trim().parse().ok())
        .ok_or("a set of series does not say its length")?;
    let (words, numbers): (Vec<&XmlElement>, Vec<&XmlElement>) = set
        .all("Series")
        .partition(|series| series.attribute("seriesType") == Some("String"));
    let mut numbers = numbers.into_iter();
    let axis = numbers.next().ok_or("a set of series has no axis")?;
    let axis = raw(axis, length, source)?;
    let shared: curvary_record::Numbers = axis.values.into();
    for node in numbers {
        let y = raw(node, length, source)?;
        let own = category(result, &format!("{OURS} {}", y.id))
            .ok_or_else(|| format!("nothing is said of `{}`", y.id))?;
        let said = |name: &str| parameters(own).find(|parameter| parameter.name == name);
        let column = |letter: &str, label: &str, values, decimals: &Decimals| -> Result<Column, String> {
            let quantity = said(&format!("{letter} quantity"))
                .ok_or_else(|| format!("the {letter} axis has no quantity"))?;
            let code = match (quantity.words, label) {
                ("absorbance", "AU") => "{AU}",
                ("transmittance", "percentT") => "%",
                (_, code) => code,
            };
            let values: curvary_record::Numbers = values;
            let decimals: Decimals = match said(&format!("{letter} decimals")) {
                Some(known) => serde_json::from_str(known.words)
                    .map_err(|_| format!("`{}` are no counts of decimals", known.words))?,
                None => decimals.clone(),
            };
            if !decimals.is_empty() && decimals.len() != values.len() {
                return Err(format!(
                    "the {letter} axis has not as many counts of decimals as numbers"
                ));
            }
            let mut column = Column::new(Quantity::named(quantity.words), unit_of(code)?, values);
            column.name = said(&format!("{letter} head")).map(|head| head.words.to_owned());
            Ok(column.with_decimals(decimals))
        };
        let x = column("x", axis.unit, shared.clone(), &axis.decimals)?;
        let y_column = column("y", y.unit, y.values.into(), &y.decimals)?;
        let mut trace = Trace::new(x, y_column).map_err(|error| error.to_string())?;
        for line in &y.lines {
            trace.lines.push(*line as usize);
        }
        curve(own, source, &mut trace)?;
        if said("names of points").is_some() {
            let names = words.first().ok_or("the names of the points are missing")?;
            let names = names
                .one("IndividualValueSet")
                .ok_or("the names of the points are missing")?;
            trace.row_names = names.children.iter().map(|name| name.text.clone()).collect();
            if trace.row_names.len() != trace.len() {
                return Err("there are not as many names as points".to_owned());
            }
        }
        all.push(trace);
    }
    Ok(())
}

/// What is said of a curve.
fn curve(own: &XmlElement, source: &Source, trace: &mut Trace) -> Result<(), String> {
    for parameter in parameters(own) {
        match parameter.name {
            "label" => trace.label = Some(parameter.words.to_owned()),
            "points over range" => {
                for point in parameter.words.split_whitespace() {
                    let point: u32 = point.parse().map_err(|_| format!("`{point}` is no point"))?;
                    if point as usize >= trace.len() {
                        return Err(format!("there is no point {point}"));
                    }
                    trace.saturated.push(point);
                }
            }
            "points not readable" => {
                trace.absent = parameter
                    .words
                    .trim()
                    .parse()
                    .map_err(|_| format!("`{}` is no count", parameter.words))?;
            }
            name => {
                let Some(quantity) = name.strip_prefix("held ") else {
                    continue;
                };
                let unit = unit_of(parameter.unit.ok_or_else(|| format!("`{name}` has no unit"))?)?;
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
