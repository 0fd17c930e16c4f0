//! What a report says, as blocks that are set as a web page or as a printed one.

use std::collections::BTreeMap;

use curvary_analysis::enzymes::{State, checklist};
use curvary_analysis::study::{StudyError, again, legend_of};
use curvary_record::{
    Claim, Column, Origin, Outcome, OutcomeKind, Run, RunId, Severity, Technique, Trace, Value,
};

use crate::commands::results::value_of;
use crate::ending::Failure;
use crate::figure::{Figure, FigureKind, Layer, Panel, Size, interrupted, of_fit};
use crate::telling;

/// So many runs are shown one by one; more are counted and left to the tables.
const MOST_RUNS: usize = 200;
/// So many points of them are held at most, in 16 bytes each; runs beyond that are counted too.
const MOST_HELD: usize = 8 << 20;
/// So many curves share a picture: the colours and lines that can be told apart are few.
const MOST_CURVES: usize = 7;
/// So many pictures of overlaid curves.
const MOST_PICTURES: usize = 12;
/// So many points of a curve are drawn; more cannot be seen on paper.
const MOST_POINTS: usize = 2000;
/// So many curves of a run are listed.
const MOST_LISTED: usize = 100;

/// How much a text matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TextWeight {
    Plain,
    /// In passing.
    Told,
    /// Not to be overlooked.
    Warning,
}

/// A cell of a table.
#[derive(Clone, Debug, Default)]
pub(super) struct ReportCell {
    pub(super) text: String,
    /// The anchor it leads to.
    pub(super) link: Option<String>,
    pub(super) strong: bool,
}

impl<T: Into<String>> From<T> for ReportCell {
    fn from(text: T) -> Self {
        Self {
            text: text.into(),
            ..Self::default()
        }
    }
}

/// A column of a table: its head, and whether it holds numbers.
pub(super) type ColumnHeading = (&'static str, bool);

/// A row of a table; a weak one says what something stronger overrules.
#[derive(Clone, Debug)]
pub(super) struct ReportRow {
    pub(super) cells: Vec<ReportCell>,
    pub(super) weak: bool,
}

/// A piece of a report, in its order.
pub(super) enum ReportBlock {
    /// A chapter begins; one of a run has its anchor, and begins a printed page.
    Chapter { anchor: Option<String> },
    /// A heading of the second to fourth order, with a note beside it and an anchor that it leads to.
    Heading {
        order: u8,
        words: String,
        note: String,
        link: Option<String>,
    },
    /// Words.
    Words(TextWeight, String),
    /// Words in a list.
    List(Vec<String>),
    /// A table.
    Table(&'static [ColumnHeading], Vec<ReportRow>),
    /// A picture and what it shows.
    Picture(String, Figure),
}

/// A report in the making.
pub(crate) struct ReportPage {
    pub(super) title: String,
    runs: Vec<(Run, Vec<Outcome>)>,
    more: u64,
    /// Points of the runs that are shown.
    held: usize,
    left_out: Option<String>,
}

impl ReportPage {
    /// An empty report.
    pub(crate) fn new(title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            runs: Vec::new(),
            more: 0,
            held: 0,
            left_out: None,
        }
    }

    /// Adds a run.
    pub(crate) fn add(&mut self, run: &Run, results: &[Outcome]) {
        let first = self.runs.is_empty();
        if self.runs.len() < MOST_RUNS && (first || self.held + run.points() <= MOST_HELD) {
            self.held += run.points();
            self.runs.push((run.clone(), results.to_vec()));
        } else {
            self.more += 1;
        }
    }

    /// Says what was left out.
    pub(crate) fn left_out(&mut self, words: Option<String>) {
        self.left_out = words;
    }

    /// The first picture of overlaid curves, as a file of its own.
    pub(crate) fn overlay(&self) -> Result<Option<Vec<u8>>, Failure> {
        match self.overlays().first() {
            Some((_, figure)) => figure.bytes(FigureKind::Svg, Size::Screen).map(Some),
            None => Ok(None),
        }
    }

    /// The words above the first chapter.
    pub(super) fn opening(&self) -> Vec<(TextWeight, String)> {
        let points: usize = self.runs.iter().map(|(run, _)| run.points()).sum();
        let mut all = vec![(
            TextWeight::Plain,
            format!(
                "{}, {}. Every number stands as it was read; where a value came from is said beside it.",
                crate::screen::plural(self.runs.len() as u64, "run"),
                crate::screen::plural(points as u64, "point"),
            ),
        )];
        if self.more > 0 {
            let are = if self.more == 1 { "run is" } else { "runs are" };
            all.push((
                TextWeight::Told,
                format!("{} more {are} not shown here; the tables have them.", self.more),
            ));
        }
        if let Some(words) = &self.left_out {
            all.push((TextWeight::Told, format!("{words}.")));
        }
        all
    }

    /// The words below the last chapter.
    pub(super) fn closing() -> [String; 2] {
        [
            "For research and teaching, never for diagnosis. Ultraviolet lamps harm eyes and skin; reference solutions may be \
             corrosive, oxidising or toxic; local rules come first."
                .to_owned(),
            format!("Made by curvary {}.", env!("CARGO_PKG_VERSION")),
        ]
    }

    /// Everything between.
    pub(super) fn blocks(&self) -> Vec<ReportBlock> {
        let mut blocks = Vec::new();
        self.contents(&mut blocks);
        self.curves(&mut blocks);
        for (run, results) in &self.runs {
            self.one(run, results, &mut blocks);
        }
        self.enzymes(&mut blocks);
        blocks
    }

    /// The runs at a glance.
    fn contents(&self, blocks: &mut Vec<ReportBlock>) {
        const HEADS: &[ColumnHeading] = &[
            ("run", false),
            ("sample", false),
            ("what", false),
            ("day", false),
            ("temperature", false),
            ("pH", false),
            ("points", true),
        ];
        blocks.push(ReportBlock::Chapter { anchor: None });
        blocks.push(heading(2, "Runs"));
        let rows = self.runs.iter().map(|(run, _)| {
            let field = |key: &str| ReportCell::from(run.fields.get(key).map(shown).unwrap_or_default());
            row([
                linked(run.id.as_str()),
                field("sample"),
                run.technique.as_str().into(),
                field("date"),
                of_run_or_curves(run, "temperature").into(),
                of_run_or_curves(run, "ph").into(),
                run.points().to_string().into(),
            ])
        });
        blocks.push(ReportBlock::Table(HEADS, rows.collect()));
    }

    /// Curves of one kind over each other.
    fn overlays(&self) -> Vec<(String, Figure)> {
        let mut kinds: BTreeMap<(String, String), Vec<Layer>> = BTreeMap::new();
        for (run, _) in &self.runs {
            for (index, trace) in run
                .traces
                .iter()
                .enumerate()
                .filter(|(_, trace)| !trace.is_empty())
            {
                let axis = |column: &curvary_record::Column| {
                    let unit = column.unit.display();
                    if unit.is_empty() {
                        column.quantity.to_string()
                    } else {
                        format!("{} / {unit}", column.quantity)
                    }
                };
                let step = trace.len().div_ceil(MOST_POINTS).max(1);
                let points: Vec<(f64, f64)> = trace
                    .x
                    .values
                    .iter()
                    .copied()
                    .zip(trace.y.values.iter().copied())
                    .step_by(step)
                    .collect();
                let sample = trace.fields.text("sample").or(run.fields.text("sample"));
                let mut name = sample.or(trace.label.as_deref()).unwrap_or("curve").to_owned();
                if let Some(temperature) = run.fields.get("temperature") {
                    name = format!("{name}, {}", shown(temperature));
                }
                // What tells curves of one run apart is not to be cut off.
                let own = if run.traces.len() > 1 {
                    legend_of(trace)
                } else {
                    String::new()
                };
                let own: String = own.chars().take(18).collect();
                let room = 36 - own.chars().count();
                name = name.chars().take(room).collect();
                if !own.is_empty() && !name.contains(&own) {
                    name = format!("{name}, {own}");
                }
                let id = run.id.as_str();
                let name = format!(
                    "{name} ({}/{})",
                    id.get(..8).unwrap_or(id),
                    run.trace_number(index) + 1
                );
                // Single readings and rates are points: nothing is known between them.
                let single = [Technique::RATE_SERIES, Technique::FIXED_WAVELENGTH];
                let layer = if single.contains(&run.technique) {
                    Layer::Points(points)
                } else {
                    Layer::Line(interrupted(trace, points))
                };
                kinds
                    .entry((axis(&trace.x), axis(&trace.y)))
                    .or_default()
                    .push(layer.named(name));
            }
        }
        let mut figures = Vec::new();
        for ((x, y), layers) in kinds {
            let pages = layers.len().div_ceil(MOST_CURVES);
            for (number, some) in layers.chunks(MOST_CURVES).enumerate() {
                let title = match some {
                    // One curve has no legend that says whose it is.
                    [one] => format!("{y} over {x}: {}", one.name()),
                    _ if pages > 1 => format!("{y} over {x}, {} of {pages}", number + 1),
                    _ => format!("{y} over {x}"),
                };
                let panel = Panel {
                    x: x.clone(),
                    y: y.clone(),
                    share: 1.0,
                    layers: some.to_vec(),
                };
                let figure = Figure {
                    title: title.clone(),
                    doses: false,
                    panels: vec![panel],
                };
                figures.push((title, figure));
            }
        }
        figures
    }

    fn curves(&self, blocks: &mut Vec<ReportBlock>) {
        let all = self.overlays();
        if all.is_empty() {
            return;
        }
        blocks.push(ReportBlock::Chapter { anchor: None });
        blocks.push(heading(2, "Curves"));
        let more = all.len().saturating_sub(MOST_PICTURES);
        blocks.extend(
            all.into_iter()
                .take(MOST_PICTURES)
                .map(|(title, figure)| ReportBlock::Picture(title, figure)),
        );
        if more > 0 {
            let words = format!("{more} more pictures of curves are not drawn here.");
            blocks.push(ReportBlock::Words(TextWeight::Told, words));
        }
    }

    /// One run: its conditions, its results, what was odd.
    fn one(&self, run: &Run, results: &[Outcome], blocks: &mut Vec<ReportBlock>) {
        let sample = run
            .fields
            .get("sample")
            .map(shown)
            .unwrap_or_else(|| run.technique.to_string());
        blocks.push(ReportBlock::Chapter {
            anchor: Some(format!("run-{}", run.id)),
        });
        blocks.push(ReportBlock::Heading {
            order: 2,
            words: sample,
            note: run.id.to_string(),
            link: None,
        });
        let words = format!(
            "{} of {}, read by {}.",
            run.technique, run.source.path, run.source.reader
        );
        blocks.push(ReportBlock::Words(TextWeight::Plain, words));
        if !run.questions.is_empty() {
            let asked: Vec<&str> = run
                .questions
                .iter()
                .map(|question| question.message.as_str())
                .collect();
            let words = format!("In question, and not to be relied on: {}", asked.join("; "));
            blocks.push(ReportBlock::Words(TextWeight::Warning, words));
        }
        conditions(run, blocks);
        held(run, blocks);
        self.results(run, results, blocks);
        let odd: Vec<String> = run
            .remarks
            .iter()
            .filter(|remark| remark.severity >= Severity::Warning)
            .map(|remark| remark.message.clone())
            .collect();
        if !odd.is_empty() {
            blocks.push(heading(3, "What was odd"));
            blocks.push(ReportBlock::List(odd));
        }
    }

    fn results(&self, run: &Run, results: &[Outcome], blocks: &mut Vec<ReportBlock>) {
        // Of several results of one trace by one model the last one counts; one over several runs stands with the first.
        let mut last: BTreeMap<(&str, &str, Option<u32>), &Outcome> = BTreeMap::new();
        for result in results {
            let here = result
                .runs
                .iter()
                .find(|id| self.runs.iter().any(|(own, _)| own.id == **id));
            if here == Some(&run.id) {
                last.insert((result.kind.as_str(), &result.model, result.trace), result);
            }
        }
        if last.is_empty() {
            return;
        }
        blocks.push(heading(3, "Results"));
        for result in last.into_values() {
            self.result(run, result, blocks);
        }
    }

    fn result(&self, run: &Run, result: &Outcome, blocks: &mut Vec<ReportBlock>) {
        const HEADS: &[ColumnHeading] = &[
            ("what", false),
            ("value", true),
            ("standard error", false),
            ("unit", false),
            ("interval", false),
        ];
        let curve = result
            .trace
            .and_then(|number| run.trace_numbered(number))
            .and_then(|trace| trace.label.clone());
        let mut title = format!("{}: {}", result.kind, result.model);
        if let Some(curve) = curve {
            title = format!("{title}, {curve}");
        }
        blocks.push(heading(4, &title));
        if result.kind == OutcomeKind::Comparison {
            ranking(result, blocks);
        }
        let rows = result.parameters.iter().map(|parameter| {
            let (value, error, unit) = telling::value(parameter);
            let interval = telling::interval(parameter);
            let interval = match &parameter.reason {
                Some(reason) if interval.is_empty() => reason.clone(),
                Some(reason) => format!("{interval}; {reason}"),
                None => interval,
            };
            row([
                parameter.name.as_str().into(),
                value.into(),
                error.into(),
                unit.into(),
                interval.into(),
            ])
        });
        if !result.parameters.is_empty() {
            blocks.push(ReportBlock::Table(HEADS, rows.collect()));
        }
        let words = format!(
            "{}; result {}, computed by {}.",
            telling::ended(result),
            result.id,
            result.by
        );
        blocks.push(ReportBlock::Words(TextWeight::Told, words));
        // What a number rests on is said wherever it is read.
        for remark in &result.remarks {
            let weighs = remark.severity >= Severity::Warning || remark.code.as_str() == telling::DRIFT;
            let weight = if weighs {
                TextWeight::Warning
            } else {
                TextWeight::Told
            };
            blocks.push(ReportBlock::Words(weight, remark.message.clone()));
        }
        let shelf = |id: &RunId| {
            self.runs
                .iter()
                .find(|(own, _)| own.id == *id)
                .map(|(run, results)| (by_number(run), results.clone()))
                .ok_or_else(|| StudyError::unsuitable(format!("run {id} is not here")))
        };
        let is_part = |id: &RunId| {
            let part = |run: &Run| run.traces.iter().any(|trace| trace.number.is_some());
            self.runs.iter().any(|(own, _)| own.id == *id && part(own))
        };
        if result.trace.is_none() && result.runs.iter().any(is_part) {
            let words = "No picture: it is about curves too that are not here.".to_owned();
            blocks.push(ReportBlock::Words(TextWeight::Told, words));
            return;
        }
        let redone = again(result, &shelf);
        let drawn = !redone.found.drawn.residuals.is_empty();
        if redone.reproduced && drawn {
            let figure = of_fit(&title, &redone.found);
            blocks.push(ReportBlock::Picture(title, figure));
        } else if drawn {
            let words = format!(
                "No picture: done again, something else comes out ({}).",
                redone.words
            );
            blocks.push(ReportBlock::Words(TextWeight::Warning, words));
        }
    }

    /// What a report of enzyme kinetics should state, for runs of enzymes.
    fn enzymes(&self, blocks: &mut Vec<ReportBlock>) {
        const HEADS: &[ColumnHeading] = &[("level", false), ("what", false), ("state", false)];
        let runs: Vec<&(Run, Vec<Outcome>)> = self
            .runs
            .iter()
            .filter(|(run, _)| {
                let fields =
                    || std::iter::once(&run.fields).chain(run.traces.iter().map(|trace| &trace.fields));
                fields().any(|fields| fields.get("enzyme").is_some())
            })
            .collect();
        if runs.is_empty() {
            return;
        }
        blocks.push(ReportBlock::Chapter { anchor: None });
        blocks.push(heading(2, "What a report of enzyme kinetics should state"));
        blocks.push(ReportBlock::Words(
            TextWeight::Told,
            "After the STRENDA guidelines, in our words; the guidelines come first.".to_owned(),
        ));
        for (run, results) in runs {
            let mut given: Vec<String> = run
                .fields
                .iter()
                .map(|(key, _)| key.as_str().to_owned())
                .collect();
            for trace in &run.traces {
                given.extend(trace.fields.iter().map(|(key, _)| key.as_str().to_owned()));
                given.extend(trace.held.iter().map(|held| held.quantity.as_str().to_owned()));
            }
            if results.iter().any(|result| !result.parameters.is_empty()) {
                given.extend(["result", "model", "residuals", "rate-window"].map(str::to_owned));
            }
            blocks.push(ReportBlock::Heading {
                order: 3,
                words: run.id.to_string(),
                note: String::new(),
                link: Some(format!("run-{}", run.id)),
            });
            let items = checklist(&given, &Vec::new()).into_iter().map(|item| {
                let word = match item.state {
                    State::Given => "given",
                    State::Missing => "missing",
                    State::NotApplicable => "does not apply",
                };
                let state = ReportCell {
                    strong: item.state == State::Missing,
                    ..ReportCell::from(word)
                };
                row([
                    item.level.to_string().into(),
                    item.title.to_string().into(),
                    state,
                ])
            });
            blocks.push(ReportBlock::Table(HEADS, items.collect()));
        }
    }
}

/// A run in which each trace has the place of its number, those that are not here without points: what computes speaks of
/// traces by their places.
fn by_number(run: &Run) -> Run {
    let mut whole = run.clone();
    whole.traces.clear();
    for (index, trace) in run.traces.iter().enumerate() {
        while whole.traces.len() < run.trace_number(index) as usize {
            let none =
                |column: &Column| Column::new(column.quantity.clone(), column.unit.clone(), Vec::new());
            whole
                .traces
                .extend(Trace::new(none(&trace.x), none(&trace.y)).ok());
        }
        whole.traces.push(trace.clone());
    }
    whole
}

fn heading(order: u8, words: &str) -> ReportBlock {
    ReportBlock::Heading {
        order,
        words: words.to_owned(),
        note: String::new(),
        link: None,
    }
}

fn row<const N: usize>(cells: [ReportCell; N]) -> ReportRow {
    ReportRow {
        cells: cells.into(),
        weak: false,
    }
}

/// The name of a run that leads to it.
fn linked(run: &str) -> ReportCell {
    ReportCell {
        link: Some(format!("run-{run}")),
        ..ReportCell::from(run)
    }
}

fn conditions(run: &Run, blocks: &mut Vec<ReportBlock>) {
    const HEADS: &[ColumnHeading] = &[
        ("field", false),
        ("value", false),
        ("as it stood there", false),
        ("said by", false),
    ];
    if run.fields.is_empty() {
        return;
    }
    blocks.push(heading(3, "Conditions"));
    let mut rows = Vec::new();
    for (key, claims) in run.fields.iter() {
        for (rank, claim) in claims.iter().enumerate() {
            rows.push(ReportRow {
                weak: rank > 0,
                ..row([
                    key.as_str().into(),
                    shown(claim).into(),
                    claim.raw.as_str().into(),
                    origin_words(&claim.origin).into(),
                ])
            });
        }
    }
    blocks.push(ReportBlock::Table(HEADS, rows));
}

/// What the run says of a condition, or else what its curves were taken at: each once, in their order.
fn of_run_or_curves(run: &Run, key: &str) -> String {
    if let Some(claim) = run.fields.get(key) {
        return shown(claim);
    }
    let mut all: Vec<String> = Vec::new();
    for trace in &run.traces {
        let (said, _) = value_of(run, Some(trace), key);
        if !said.is_empty() && !all.contains(&said) {
            all.push(said);
        }
    }
    match all.as_slice() {
        [first, .., last] if all.len() > 4 => format!("{first} … {last}"),
        _ => all.join(", "),
    }
}

/// The laws of a comparison, best first: AICc above the best, and the weight `exp(-Δ/2)` as a part of all (Akaike's weights; Burnham
/// and Anderson, Model Selection and Multimodel Inference, 2002, 2.9.1).
fn ranking(result: &Outcome, blocks: &mut Vec<ReportBlock>) {
    const HEADS: &[ColumnHeading] = &[("law", false), ("AICc above the best", true), ("weight", true)];
    let mut laws: Vec<(&str, f64)> = result
        .statistics
        .iter()
        .filter_map(|(name, value)| Some((name.strip_prefix("aicc_difference ")?, *value)))
        .collect();
    laws.sort_by(|one, other| one.1.total_cmp(&other.1));
    let total: f64 = laws.iter().map(|law| (-law.1 / 2.0).exp()).sum();
    let rows = laws.iter().map(|(name, difference)| {
        row([
            (*name).into(),
            format!("{difference:.1}").into(),
            format!("{:.3}", (-difference / 2.0).exp() / total).into(),
        ])
    });
    if !laws.is_empty() {
        blocks.push(ReportBlock::Table(HEADS, rows.collect()));
    }
}

/// What is held along each curve.
fn held(run: &Run, blocks: &mut Vec<ReportBlock>) {
    const HEADS: &[ColumnHeading] = &[
        ("curve", false),
        ("name", false),
        ("x from … to", false),
        ("held", false),
        ("points", true),
        ("too high", true),
        ("not readable", true),
    ];
    if run.traces.is_empty() {
        return;
    }
    blocks.push(heading(3, "Curves"));
    let rows = run
        .traces
        .iter()
        .enumerate()
        .take(MOST_LISTED)
        .map(|(index, trace)| {
            let mut all: Vec<String> = trace
                .held
                .iter()
                .map(|held| {
                    format!("{} {} {}", held.quantity, held.value, held.unit.display())
                        .trim_end()
                        .to_owned()
                })
                .collect();
            all.extend(
                trace
                    .fields
                    .iter()
                    .filter_map(|(key, claims)| Some(format!("{key} {}", shown(claims.first()?)))),
            );
            row([
                (run.trace_number(index) + 1).to_string().into(),
                trace.label.as_deref().unwrap_or("").into(),
                span_of(&trace.x).into(),
                all.join("; ").into(),
                trace.len().to_string().into(),
                trace.saturated.len().to_string().into(),
                trace.absent.to_string().into(),
            ])
        });
    blocks.push(ReportBlock::Table(HEADS, rows.collect()));
    let more = run.traces.len().saturating_sub(MOST_LISTED);
    if more > 0 {
        blocks.push(ReportBlock::Words(
            TextWeight::Told,
            format!("{more} more curves."),
        ));
    }
}

/// From where to where a column goes, with its unit: `wavelength 380 to 700 nm`.
fn span_of(column: &Column) -> String {
    let (Some(first), Some(last)) = (column.values.first(), column.values.last()) else {
        return String::new();
    };
    format!("{} {first} to {last} {}", column.quantity, column.unit.display())
        .trim_end()
        .to_owned()
}

/// A claim's value with its unit.
fn shown(claim: &Claim) -> String {
    let unit = claim.unit.as_ref().map(|unit| unit.display()).unwrap_or_default();
    let value = match &claim.value {
        Value::Range { from, to } => format!("{from} to {to}"),
        value => value.to_string(),
    };
    let plus_minus = claim
        .plus_minus
        .map(|error| format!(" ± {error}"))
        .unwrap_or_default();
    format!("{value}{plus_minus} {unit}").trim_end().to_owned()
}

fn origin_words(origin: &Origin) -> String {
    match origin {
        Origin::Note { at, author } => {
            let by: Vec<&str> = author.iter().chain(at).map(String::as_str).collect();
            if by.is_empty() {
                "a note".to_owned()
            } else {
                format!("a note, {}", by.join(", "))
            }
        }
        Origin::Source(place) if place.line > 0 => format!("the source, line {}", place.line),
        Origin::Source(_) => "the source".to_owned(),
        Origin::Name { rule, .. } => format!("the file's name, by the rule {rule}"),
        Origin::Layout { layout } => format!("the layout {layout}"),
        Origin::Derived { step, .. } => step.clone(),
    }
}
