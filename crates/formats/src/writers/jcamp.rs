//! JCAMP-DX: runs as files of the open standard that any reader of it can read, without loss.
//!
//! A spectrum becomes XYDATA where its axis is evenly spaced in decimals, else XYPOINTS; repeated scans become
//! NTUPLES with the held time as the page variable, or a LINK file with one block a scan; several runs become a LINK
//! file. What the standard has no place for stands in private labels that begin with `##$CURVARY`, so that our own
//! reader gives the same run back: the same numbers and decimals, axes, held coordinates, fields and questions. What
//! cannot be carried over at all is told by a remark.
//!
//! Numbers are never converted. A unit that the standard does not name (minutes) is written as it is, with a remark.

use curvary_jcamp_dx as dx;
use curvary_record::{
    Claim, Code, Column, Coordinate, Diagnostic, Fields, Key, KnownQuantity, Origin, Place, Quantity, Run,
    Technique, Trace, Unit, Value, ValueKind, write_decimal,
};

pub use curvary_jcamp_dx::{Form, Version};

use super::digits::as_written;
use super::units::exactly;
use crate::readers::jcamp::{
    OURS, UnitMeaning, abscissa, claim, diagnostic, is_of_standard, label_of, long_date, only_concentration,
    ordinate, private_claim, text, written,
};

/// How to write.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JcampDxOptions {
    /// The form of ordinates; the plainer AFFN is written where values do not fit.
    pub form: Form,
    /// The version of the standard.
    pub version: Version,
    /// Write each of several repeated scans as a block of a LINK file, for readers that do not know NTUPLES.
    pub scans_as_blocks: bool,
    /// Replace characters outside of ASCII, as old readers need it; every one replaced is told.
    pub ascii: bool,
    /// Title of the LINK file around several blocks; that of the first block when empty.
    pub title: String,
}

/// A written file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WrittenJcampDx {
    /// The file.
    pub text: String,
    /// What could not be carried over, or not as asked.
    pub remarks: Vec<Diagnostic>,
}

/// Writes runs as one file.
///
/// # Errors
/// When there is no point to write; the diagnostic says so.
pub fn write(runs: &[Run], options: &JcampDxOptions) -> Result<WrittenJcampDx, Box<Diagnostic>> {
    let mut remarks = Vec::new();
    let sheets: Vec<dx::Sheet> = runs
        .iter()
        .flat_map(|run| sheets_of(run, options, &mut remarks))
        .collect();
    let file = dx::write(&sheets, &standard(options)).map_err(refused)?;
    remarks.extend(file.remarks.iter().map(diagnostic));
    Ok(WrittenJcampDx {
        text: file.text,
        remarks,
    })
}

pub(super) fn refused(refusal: dx::WriteRefusal) -> Box<Diagnostic> {
    Box::new(Diagnostic::error(
        Code::new("jcamp-dx-not-written"),
        refusal.to_string(),
    ))
}

/// The options as the standard's own writer takes them.
pub(super) fn standard(options: &JcampDxOptions) -> dx::WriteOptions {
    dx::WriteOptions {
        version: options.version,
        form: options.form,
        pad_decimals: false,
        non_ascii: if options.ascii {
            dx::NonAscii::Transliterate
        } else {
            dx::NonAscii::Keep
        },
        link_title: options.title.clone(),
        program: format!("curvary {}", env!("CARGO_PKG_VERSION")),
    }
}

/// The curves of a run that have points, and the scans that they are, where they are repeated scans.
fn parted<'r>(
    run: &'r Run,
    options: &JcampDxOptions,
) -> (Vec<(usize, &'r Trace)>, Option<RepeatedScans<'r>>) {
    let all = run.traces.iter().enumerate();
    let traces: Vec<(usize, &Trace)> = all.filter(|(_, trace)| !trace.is_empty()).collect();
    let scans = (!options.scans_as_blocks && options.version != Version::V4_24)
        .then(|| RepeatedScans::of(run, &traces))
        .flatten();
    (traces, scans)
}

/// How many blocks a run takes.
pub(super) fn blocks(run: &Run, options: &JcampDxOptions) -> usize {
    match parted(run, options) {
        (_, Some(_)) => 1,
        (traces, None) => traces.len(),
    }
}

/// The blocks of a run.
pub(super) fn sheets_of(
    run: &Run,
    options: &JcampDxOptions,
    remarks: &mut Vec<Diagnostic>,
) -> Vec<dx::Sheet> {
    let (traces, scans) = parted(run, options);
    if traces.len() < run.traces.len() {
        let message = format!(
            "run {}: {} curves without points are left out",
            run.id,
            run.traces.len() - traces.len()
        );
        remarks.push(note("curve-without-points", message));
    }
    if let Some(scans) = scans {
        return vec![JcampDxPage::new(run, options, remarks).scans(&scans)];
    }
    let several = traces.len() > 1;
    traces
        .iter()
        .map(|&(index, trace)| JcampDxPage::new(run, options, remarks).curve(index, trace, several))
        .collect()
}

fn note(code: &'static str, message: String) -> Diagnostic {
    Diagnostic::note(Code::new(code), message)
}

fn lost(code: &'static str, message: String) -> Diagnostic {
    Diagnostic::warning(Code::new(code), message)
}

/// Repeated scans that fit NTUPLES: one page a trace, told apart by one held coordinate.
struct RepeatedScans<'r> {
    traces: Vec<&'r Trace>,
    /// For each trace, the coordinate that tells its page.
    pages: Vec<&'r Coordinate>,
    /// What all of them hold.
    common: Vec<&'r Coordinate>,
}

impl<'r> RepeatedScans<'r> {
    fn of(run: &'r Run, traces: &[(usize, &'r Trace)]) -> Option<Self> {
        let (_, first) = traces.first()?;
        let like_first = |trace: &Trace| {
            let same =
                |a: &Column, b: &Column| a.quantity == b.quantity && a.unit == b.unit && a.name == b.name;
            same(&trace.x, &first.x)
                && same(&trace.y, &first.y)
                && trace.fields.is_empty()
                && trace.row_names.is_empty()
                && trace.saturated.is_empty()
                && trace.absent == 0
        };
        let sound = traces.len() > 1 && run.technique != Technique::PEAK_LIST;
        if !sound || !traces.iter().all(|(_, trace)| like_first(trace)) {
            return None;
        }
        let same = |a: &Coordinate, b: &Coordinate| a.quantity == b.quantity && a.unit == b.unit;
        let in_all = |coordinate: &Coordinate| {
            traces.iter().all(|(_, trace)| {
                trace
                    .held
                    .iter()
                    .any(|other| same(coordinate, other) && coordinate.value == other.value)
            })
        };
        let common: Vec<&Coordinate> = first.held.iter().filter(|held| in_all(held)).collect();
        let mut pages: Vec<&Coordinate> = Vec::with_capacity(traces.len());
        for (_, trace) in traces {
            let mut own = trace
                .held
                .iter()
                .filter(|held| !common.iter().any(|common| same(common, held)));
            let page = own.next().filter(|_| own.next().is_none())?;
            if pages.first().is_some_and(|first| !same(first, page)) {
                return None;
            }
            pages.push(page);
        }
        Some(Self {
            traces: traces.iter().map(|&(_, trace)| trace).collect(),
            pages,
            common,
        })
    }
}

/// One sheet in the making.
struct JcampDxPage<'a> {
    run: &'a Run,
    version: Version,
    ascii: bool,
    remarks: &'a mut Vec<Diagnostic>,
    records: Vec<(String, String)>,
    /// Labels whose texts we made up for other readers; ours does not take them for claims.
    made: Vec<String>,
    title: Option<String>,
    data_type: Option<String>,
    origin: Option<String>,
    owner: Option<String>,
    /// Fields that no label carries exactly.
    private: Vec<String>,
}

impl<'a> JcampDxPage<'a> {
    fn new(run: &'a Run, options: &JcampDxOptions, remarks: &'a mut Vec<Diagnostic>) -> Self {
        Self {
            run,
            version: options.version,
            ascii: options.ascii,
            remarks,
            records: Vec::new(),
            made: Vec::new(),
            title: None,
            data_type: None,
            origin: None,
            owner: None,
            private: Vec::new(),
        }
    }

    fn ours(&mut self, name: &str, value: String) {
        self.records.push((format!("{OURS} {name}"), value));
    }

    /// A label for other readers that is no claim.
    fn made(&mut self, label: &str, value: String) {
        self.made.push(label.to_owned());
        self.records.push((label.to_owned(), value));
    }

    /// Whether a text comes back as it is: it fits its line and holds nothing that means something in a record.
    fn is_plain(&self, label: &str, text: &str) -> bool {
        let fits = label.len() + 4 + text.chars().count() <= 80;
        let kept = text
            .chars()
            .all(|c| !c.is_control() && (c.is_ascii() || !self.ascii));
        fits && kept && !text.is_empty() && text.trim() == text && !text.contains("$$")
    }

    fn has(&self, label: &str) -> bool {
        let squeezed = dx::normalise_label(label);
        self.records
            .iter()
            .any(|(other, _)| dx::normalise_label(other) == squeezed)
    }

    fn curve(mut self, index: usize, trace: &Trace, one_of_several: bool) -> dx::Sheet {
        self.fields(one_of_several);
        if let Some(label) = &trace.label {
            self.ours("LABEL", quoted(label));
        }
        self.held(trace.held.iter());
        for (count, (key, claims)) in trace.fields.iter().enumerate() {
            let Some(strongest) = claims.first() else { continue };
            if let Some(line) = self.private_field(key, strongest) {
                self.ours(&format!("TRACE FIELD {}", count + 1), line);
            }
        }
        self.weaker(&trace.fields);
        if !self.has("SAMPLE DESCRIPTION")
            && let Some(sample) = trace.fields.text("sample")
        {
            self.made("SAMPLE DESCRIPTION", sample.to_owned());
        }
        if !trace.saturated.is_empty() {
            let list: Vec<String> = trace.saturated.iter().map(u32::to_string).collect();
            self.ours("SATURATED", list.join(", "));
        }
        if trace.absent > 0 {
            self.ours("ABSENT", trace.absent.to_string());
        }
        let number = self.run.trace_number(index);
        let (content, names_kept) = if self.run.technique == Technique::PEAK_LIST {
            (peaks(trace), true)
        } else {
            (dx::Content::Curve(curve(trace)), trace.row_names.is_empty())
        };
        if !names_kept {
            let message = format!(
                "run {}, curve {}: the names of the points have no place in a curve",
                self.run.id,
                number + 1
            );
            self.remarks.push(lost("point-names-lost", message));
        }
        let label = trace
            .label
            .clone()
            .unwrap_or_else(|| format!("curve {}", number + 1));
        if one_of_several {
            self.ours("CURVE", format!("{} of {}", index + 1, self.run.traces.len()));
        }
        self.sheet(trace, content, one_of_several.then_some(label))
    }

    fn scans(mut self, scans: &RepeatedScans<'_>) -> dx::Sheet {
        self.fields(false);
        let (first, page) = (scans.traces[0], scans.pages[0]);
        self.held(scans.common.iter().copied());
        if scans.traces.iter().any(|trace| trace.label.is_some()) {
            for (index, trace) in scans.traces.iter().enumerate() {
                let label = trace.label.as_deref().map_or_else(|| "null".to_owned(), quoted);
                self.ours(&format!("SCAN LABEL {}", index + 1), label);
            }
        }
        let units = written(&page.quantity, &page.unit);
        if abscissa(&units) != UnitMeaning::Sure(page.quantity.clone(), page.unit.clone()) {
            self.ours("PAGE", format!("{}, {}", page.quantity, page.unit));
        }
        let name = |quantity: &Quantity| quantity.as_str().to_uppercase().replace('-', " ");
        let pages = scans.traces.iter().zip(&scans.pages).map(|(trace, page)| {
            let text = as_written(page.value, page.raw.as_deref().unwrap_or(""));
            dx::Scan {
                held: page.value,
                held_decimals: behind_point(&text),
                curve: curve(trace),
            }
        });
        let content = dx::Scans {
            x_name: name(&first.x.quantity),
            y_name: name(&first.y.quantity),
            held_name: name(&page.quantity),
            held_symbol: if page.quantity == Quantity::TIME { "T" } else { "Z" }.to_owned(),
            held_units: units,
            scans: pages.collect(),
        };
        self.sheet(first, dx::Content::Scans(content), None)
    }

    /// The sheet, when its curve is known. `curve` tells one of several curves of a run in its title.
    fn sheet(mut self, trace: &Trace, content: dx::Content, curve: Option<String>) -> dx::Sheet {
        let x_units = self.axis("X", &trace.x, abscissa);
        let y_units = self.axis("Y", &trace.y, ordinate);
        let first_sample = trace.fields.text("sample").or(self.run.fields.text("sample"));
        let stem = self
            .run
            .source
            .path
            .rsplit(['/', '\\'])
            .next()
            .unwrap_or_default();
        let mut title = match &self.title {
            Some(title) => title.clone(),
            None => {
                self.made.push("TITLE".to_owned());
                first_sample.unwrap_or(stem).to_owned()
            }
        };
        if let Some(curve) = curve {
            title = format!("{title}, {curve}");
        }
        if title.trim().is_empty() {
            title = self.run.id.to_string();
        }
        let mut title = one_line(&title);
        if title.chars().count() > TITLE {
            // A reader looks for the labels behind it at the beginning of the file.
            self.made.push("TITLE".to_owned());
            title = title.chars().take(TITLE).collect();
        }
        let made_up = |label: &str, said: Option<String>, other: &str, made: &mut Vec<String>| {
            said.unwrap_or_else(|| {
                made.push(label.to_owned());
                other.to_owned()
            })
        };
        let data_type = made_up(
            "DATA TYPE",
            self.data_type.take(),
            &kind(self.run, trace),
            &mut self.made,
        );
        let origin = made_up("ORIGIN", self.origin.take(), "not stated", &mut self.made);
        let owner = made_up("OWNER", self.owner.take(), "not stated", &mut self.made);
        for (count, question) in self.run.questions.iter().enumerate() {
            let told = one_line(&format!("{}: {}", question.code, question.message));
            self.records
                .push((format!("{OURS} QUESTION {}", count + 1), told));
        }
        for (count, line) in std::mem::take(&mut self.private).into_iter().enumerate() {
            self.records.push((format!("{OURS} FIELD {}", count + 1), line));
        }
        self.ours("RUN", self.run.id.to_string());
        self.ours("TECHNIQUE", self.run.technique.to_string());
        self.ours("SOURCE", quoted(&self.run.source.path));
        if !self.made.is_empty() {
            let list = self.made.join(", ");
            self.ours("MADE", list);
        }
        dx::Sheet {
            title,
            data_type,
            origin,
            owner,
            x_units,
            y_units,
            records: self.records,
            content,
        }
    }

    /// The unit text of an axis; with a private label when the text alone does not say it all.
    fn axis(&mut self, name: &str, column: &Column, read: fn(&str) -> UnitMeaning) -> String {
        let text = written(&column.quantity, &column.unit);
        if read(&text) != UnitMeaning::Sure(column.quantity.clone(), column.unit.clone()) {
            self.ours(name, format!("{}, {}", column.quantity, column.unit));
        }
        if !is_of_standard(&text) {
            let message = format!(
                "run {}: the standard has no text for {} in `{}`; `{text}` was written and the numbers left as they are",
                self.run.id, column.quantity, column.unit
            );
            if !self.remarks.iter().any(|remark| remark.message == message) {
                self.remarks.push(note("unit-not-in-standard", message));
            }
        }
        if let Some(head) = &column.name {
            let label = format!("{name}LABEL");
            if self.is_plain(&label, head) {
                self.records.push((label, head.clone()));
            } else {
                let message = format!(
                    "run {}: the header {head:?} has no place in one line",
                    self.run.id
                );
                self.remarks.push(lost("head-lost", message));
            }
        }
        text
    }

    fn held<'c>(&mut self, held: impl Iterator<Item = &'c Coordinate>) {
        for (count, one) in held.enumerate() {
            let number = as_written(one.value, one.raw.as_deref().unwrap_or(""));
            self.ours(
                &format!("HELD {}", count + 1),
                format!("{}, {number}, {}", one.quantity, one.unit),
            );
            if one.quantity != Quantity::WAVELENGTH {
                continue;
            }
            let said = format!("{number} {}", one.unit);
            if !self.has("$WAVELENGTH") {
                self.made("$WAVELENGTH", said.clone());
            }
            if !self.has("INSTRUMENTAL PARAMETERS") {
                self.made("INSTRUMENTAL PARAMETERS", format!("wavelength {said}"));
            }
        }
    }

    /// The run's fields under their labels.
    fn fields(&mut self, one_of_several: bool) {
        let run = self.run;
        self.date(&run.fields);
        for (key, claims) in run.fields.iter() {
            let Some(strongest) = claims.first() else { continue };
            if matches!(key.as_str(), "date" | "time") {
                continue;
            }
            // Comments add to one another: each is kept.
            if key.as_str() == "comment" {
                for comment in claims {
                    self.comment(key, comment);
                }
                continue;
            }
            let told = text(strongest);
            if matches!(strongest.value, Value::Text(_)) && self.is_plain("DATA TYPE", &told) {
                let own = match key.as_str() {
                    "title" if !one_of_several => Some(&mut self.title),
                    "data-type" if dx::normalise_label(&told) != "LINK" => Some(&mut self.data_type),
                    "origin" => Some(&mut self.origin),
                    "owner" => Some(&mut self.owner),
                    _ => None,
                };
                if let Some(own) = own {
                    *own = Some(told);
                    continue;
                }
            }
            if key.as_str() == "title" {
                // It has to tell the curves of the run apart, or cannot stand as it is: the claim stands by itself.
                self.title = Some(told.clone());
                self.made.push("TITLE".to_owned());
            }
            if key.as_str() == "concentration" && self.concentration(strongest) {
                continue;
            }
            self.field(key, strongest, told);
        }
        self.weaker(&run.fields);
    }

    /// A comment: the first under its label where it can stand there, all others among the private fields.
    fn comment(&mut self, key: &Key, comment: &Claim) {
        let told = text(comment);
        let labelled = label_of(key.as_str()).is_some_and(|label| self.has(&label));
        if labelled {
            if let Some(line) = self.private_field(key, comment) {
                self.private.push(line);
            }
        } else {
            self.field(key, comment, told);
        }
    }

    fn field(&mut self, key: &Key, strongest: &Claim, told: String) {
        // Both are in these units by the standard.
        let told = match (key.as_str(), strongest.unit.as_ref().map(Unit::code)) {
            ("path-length", Some("cm")) => told.trim_end_matches(" cm").to_owned(),
            ("temperature", Some("Cel")) => told.trim_end_matches(" Cel").to_owned(),
            _ => told,
        };
        // Another unit has no place under a label that stands for one: a reader takes the number alone.
        let stated = match key.as_str() {
            "path-length" => Some("cm"),
            "temperature" => Some("Cel"),
            _ => None,
        };
        if let (Some(code), Some(from), Some(label)) = (stated, &strongest.unit, label_of(key.as_str()))
            && from.code() != code
        {
            if let Some(line) = self.private_field(key, strongest) {
                self.private.push(line);
            }
            let exact = match (&strongest.value, Unit::ucum(code)) {
                (Value::Number(value), Ok(to)) => exactly(*value, from, &to),
                _ => None,
            };
            if let Some(value) = exact.filter(|_| !self.has(&label)) {
                self.made(&label, write_decimal(value, None));
            }
            return;
        }
        let structure = matches!(key.as_str(), "title" | "data-type" | "origin" | "owner");
        if let Some(label) = label_of(key.as_str()).filter(|_| !structure) {
            if self.is_plain(&label, &told)
                && is_the_same(&claim(key, &told, nowhere()), &in_its_unit(key, strongest))
                && !self.has(&label)
            {
                self.records.push((label, told));
                return;
            }
            // Other readers still look for the sample under its label.
            if label == "SAMPLE DESCRIPTION" {
                self.made(&label, one_line(&told));
            }
        }
        if let Some(line) = self.private_field(key, strongest) {
            self.private.push(line);
        }
    }

    /// `"key" = text`, when our reader gives the same claim back; else a remark.
    fn private_field(&mut self, key: &Key, strongest: &Claim) -> Option<String> {
        let told = match &strongest.value {
            Value::Text(words) => quoted(words),
            _ => text(strongest),
        };
        let same = is_the_same(
            &private_claim(key, &told, nowhere()),
            &in_its_unit(key, strongest),
        );
        if !same {
            let message = format!(
                "run {}: `{key}` = {told} cannot be written so that it reads the same",
                self.run.id
            );
            self.remarks.push(lost("field-lost", message));
            return None;
        }
        Some(format!("{} = {told}", quoted(key.as_str())))
    }

    /// Day and time of day: LONGDATE from 5.01, DATE and TIME before.
    fn date(&mut self, fields: &Fields) {
        let (date, time) = (fields.text("date"), fields.text("time"));
        let slashed = date.map(|date| date.replace('-', "/"));
        let mut written = (false, false);
        if self.version == Version::V4_24 {
            let short = slashed.as_deref().and_then(|slashed| slashed.get(2..));
            if let Some(short) = short
                && matches!(claim(&Key::new("date"), short, nowhere()).value, Value::Text(back) if Some(back.as_str()) == date)
            {
                self.records.push(("DATE".to_owned(), short.to_owned()));
                written.0 = true;
            }
            if let Some(time) = time
                && matches!(claim(&Key::new("time"), time, nowhere()).value, Value::Text(back) if back == time)
            {
                self.records.push(("TIME".to_owned(), time.to_owned()));
                written.1 = true;
            }
        } else if let Some(slashed) = slashed {
            let long = time.map_or_else(|| slashed.clone(), |time| format!("{slashed} {time}"));
            let back = long_date(&long);
            if back.as_ref().map(|(d, t)| (Some(d.as_str()), t.as_deref())) == Some((date, time)) {
                self.records.push(("LONGDATE".to_owned(), long));
                written = (true, true);
            }
        }
        for (key, done) in [("date", written.0), ("time", written.1)] {
            if let Some(strongest) = fields.get(key).filter(|_| !done)
                && let Some(line) = self.private_field(&Key::new(key), strongest)
            {
                self.private.push(line);
            }
        }
    }

    /// CONCENTRATIONS is a list of `(name, concentration, units)`.
    fn concentration(&mut self, strongest: &Claim) -> bool {
        let (Value::Number(value), Some(unit)) = (&strongest.value, &strongest.unit) else {
            return false;
        };
        let sample = self.run.fields.text("sample").unwrap_or("sample");
        let list = format!("({sample}, {}, {unit})", as_written(*value, &strongest.raw));
        let same = only_concentration(&list)
            .is_some_and(|one| is_the_same(&claim(&Key::new("concentration"), &one, nowhere()), strongest));
        let fits = same && self.is_plain("CONCENTRATIONS", &list) && !sample.contains([',', '(', ')']);
        if fits {
            self.records.push(("CONCENTRATIONS".to_owned(), list));
        }
        fits
    }

    fn weaker(&mut self, fields: &Fields) {
        let count: usize = fields
            .iter()
            .filter(|(key, _)| key.as_str() != "comment")
            .map(|(_, claims)| claims.len().saturating_sub(1))
            .sum();
        if count > 0 {
            let message = format!(
                "run {}: {count} weaker claims of fields and who said them are left out; each field's strongest is written",
                self.run.id
            );
            if !self.remarks.iter().any(|remark| remark.message == message) {
                self.remarks.push(note("weaker-claims-left-out", message));
            }
        }
    }
}

/// A longer title is cut; what it said stands among the private fields.
const TITLE: usize = 250;

fn nowhere() -> Origin {
    Origin::Source(Place::default())
}

fn is_the_same(one: &Claim, other: &Claim) -> bool {
    one.value == other.value && one.unit == other.unit && one.plus_minus == other.plus_minus
}

/// A claim, a bare number of a known field in the unit that is meant by custom: pH without a unit is pH.
fn in_its_unit(key: &Key, claim: &Claim) -> Claim {
    let usual = match key.known().map(|known| known.kind) {
        Some(ValueKind::Number(usual)) => Unit::ucum(usual).ok(),
        _ => None,
    };
    let bare = claim.unit.is_none() && matches!(claim.value, Value::Number(_));
    Claim {
        unit: claim.unit.clone().or(usual.filter(|_| bare)),
        ..claim.clone()
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A JSON string of plain ASCII that survives being wrapped at single blanks.
fn quoted(text: &str) -> String {
    use std::fmt::Write as _;
    let mut quoted = String::from("\"");
    let mut units = [0; 2];
    for c in text.chars() {
        match c {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            // Blanks beside each other would fall together, two dollars begin a comment, and two hashes a record
            // where a line is wrapped in front of them.
            ' ' if !quoted.ends_with([' ', '"']) => quoted.push(' '),
            '!'..='~' if !matches!(c, '$' | '#') || !quoted.ends_with(c) => quoted.push(c),
            _ => {
                for unit in c.encode_utf16(&mut units) {
                    // Writing to a string cannot fail.
                    let _ = write!(quoted, "\\u{unit:04x}");
                }
            }
        }
    }
    if quoted.ends_with(' ') {
        quoted.pop();
        quoted.push_str("\\u0020");
    }
    quoted.push('"');
    quoted
}

/// DATA TYPE as it is generally used for UV-visible spectra; for time courses nothing is defined.
fn kind(run: &Run, trace: &Trace) -> String {
    if run.technique == Technique::PEAK_LIST {
        return "UV/VIS PEAK TABLE".to_owned();
    }
    // A technique of another kind is called what its own data type called it.
    if run.technique != Technique::UNKNOWN && !Technique::ALL.contains(&run.technique) {
        return run.technique.as_str().to_uppercase().replace('-', " ");
    }
    let kind = match trace.x.quantity.known() {
        Some(KnownQuantity::Time) => "UV/VIS TIME COURSE",
        // Below 10,000 /cm, that is beyond 1000 nm, the light is infrared.
        Some(KnownQuantity::Wavenumber) if trace.x.values.iter().all(|&x| x < 10_000.0) => {
            "INFRARED SPECTRUM"
        }
        Some(KnownQuantity::Wavelength | KnownQuantity::Wavenumber | KnownQuantity::Energy) => {
            "UV/VIS SPECTRUM"
        }
        _ => "UV/VIS SERIES",
    };
    kind.to_owned()
}

fn curve(trace: &Trace) -> dx::Curve {
    dx::Curve {
        x: trace.x.values.to_vec().into(),
        y: trace.y.values.to_vec(),
        x_decimals: decimals(&trace.x),
        y_decimals: decimals(&trace.y),
        ..dx::Curve::default()
    }
}

/// The decimals to print with; where none are known, as many as the numbers need.
fn decimals(column: &Column) -> dx::Decimals {
    if let Some(digits) = column
        .decimals
        .single()
        .filter(|_| column.decimals.len() == column.values.len())
    {
        return dx::Decimals::Same(u16::from(digits));
    }
    if column.decimals.len() == column.values.len() {
        return dx::Decimals::Each(column.decimals.iter().map(u16::from).collect());
    }
    let needed: Vec<u16> = column
        .values
        .iter()
        .map(|value| behind_point(&format!("{value}")))
        .collect();
    match needed.iter().max() {
        Some(&most) if most <= 12 => dx::Decimals::Same(most),
        // Numbers that are no short decimals: quotients, or results of arithmetic.
        _ => dx::Decimals::Unlimited,
    }
}

fn behind_point(text: &str) -> u16 {
    let digits = text.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    u16::try_from(digits).unwrap_or(u16::MAX)
}

/// A peak table, or assignments when the peaks have names.
fn peaks(trace: &Trace) -> dx::Content {
    let points = || trace.x.values.iter().zip(trace.y.values.iter());
    let (x_decimals, y_decimals) = (decimals(&trace.x), decimals(&trace.y));
    if trace.row_names.is_empty() {
        let rows = points().map(|(&x, &y)| dx::Peak {
            x,
            y: Some(y),
            ..dx::Peak::default()
        });
        return dx::Content::Peaks(dx::Peaks {
            rows: rows.collect(),
            x_decimals,
            y_decimals,
            ..dx::Peaks::default()
        });
    }
    let names = trace
        .row_names
        .iter()
        .cloned()
        .chain(std::iter::repeat(String::new()));
    let rows = points().zip(names).map(|((&x, &y), text)| dx::Assignment {
        x,
        y: Some(y),
        text,
        ..dx::Assignment::default()
    });
    dx::Content::Assignments(dx::Assignments {
        rows: rows.collect(),
        x_decimals,
        y_decimals,
        ..dx::Assignments::default()
    })
}
