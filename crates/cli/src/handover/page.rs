//! The report: one HTML file with everything in it. No scripts, no requests to anywhere, and it prints.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use curvary_analysis::enzymes::{State, checklist};
use curvary_analysis::study::again;
use curvary_record::{Claim, Origin, Outcome, Run, RunId, Severity, Value};

use crate::ending::Failure;
use crate::figure::{Figure, Kind, Layer, Panel, Size, of_fit};
use crate::telling;

/// So many runs are shown one by one; more are counted and left to the tables.
const MOST_RUNS: usize = 200;
/// So many curves share a picture: the colours and lines that can be told apart are few.
const MOST_CURVES: usize = 7;
/// So many pictures of overlaid curves.
const MOST_PICTURES: usize = 12;
/// So many points of a curve are drawn; more cannot be seen on paper.
const MOST_POINTS: usize = 2000;

/// A report in the making.
pub(crate) struct Page {
    title: String,
    runs: Vec<(Run, Vec<Outcome>)>,
    more: u64,
    left_out: Option<String>,
}

impl Page {
    /// An empty report.
    pub(crate) fn new(title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            runs: Vec::new(),
            more: 0,
            left_out: None,
        }
    }

    /// Adds a run.
    pub(crate) fn add(&mut self, run: &Run, results: &[Outcome]) {
        if self.runs.len() < MOST_RUNS {
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
            Some((_, figure)) => figure.bytes(Kind::Svg, Size::Screen).map(Some),
            None => Ok(None),
        }
    }

    /// The page.
    pub(crate) fn html(&self) -> Result<String, Failure> {
        let mut page = String::new();
        let title = escaped(&self.title);
        let _ = write!(
            page,
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
             <style>{STYLE}</style>\n</head>\n<body>\n<header>\n<h1>{title}</h1>\n"
        );
        let points: usize = self.runs.iter().map(|(run, _)| run.points()).sum();
        let _ = writeln!(
            page,
            "<p>{}, {}. Every number stands as it was read; where a value came from is said beside it.</p>",
            crate::screen::plural(self.runs.len() as u64, "run"),
            crate::screen::plural(points as u64, "point"),
        );
        if self.more > 0 {
            let _ = writeln!(
                page,
                "<p class=\"told\">{} more {} not shown here; the tables have them.</p>",
                self.more,
                if self.more == 1 { "run is" } else { "runs are" }
            );
        }
        if let Some(words) = &self.left_out {
            let _ = writeln!(page, "<p class=\"told\">{}.</p>", escaped(words));
        }
        page.push_str("</header>\n<main>\n");
        self.contents(&mut page);
        self.curves(&mut page)?;
        for (run, results) in &self.runs {
            self.one(run, results, &mut page)?;
        }
        self.enzymes(&mut page);
        let _ = write!(
            page,
            "</main>\n<footer>\n<p>For research and teaching, never for diagnosis. Ultraviolet lamps harm eyes and skin; \
             reference solutions may be corrosive, oxidising or toxic; local rules come first.</p>\n\
             <p>Made by curvary {}.</p>\n</footer>\n</body>\n</html>\n",
            env!("CARGO_PKG_VERSION")
        );
        Ok(page)
    }

    /// The runs at a glance.
    fn contents(&self, page: &mut String) {
        page.push_str(
            "<section>\n<h2>Runs</h2>\n<table>\n<thead><tr><th scope=\"col\">run</th><th scope=\"col\">sample</th>\
             <th scope=\"col\">what</th><th scope=\"col\">day</th><th scope=\"col\">temperature</th>\
             <th scope=\"col\">pH</th><th scope=\"col\" class=\"n\">points</th></tr></thead>\n<tbody>\n",
        );
        for (run, _) in &self.runs {
            let field = |key: &str| run.fields.get(key).map(shown).unwrap_or_default();
            let _ = writeln!(
                page,
                "<tr><td><a href=\"#run-{id}\">{id}</a></td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td>\
                 <td class=\"n\">{}</td></tr>",
                escaped(&field("sample")),
                escaped(run.technique.as_str()),
                escaped(&field("date")),
                escaped(&field("temperature")),
                escaped(&field("ph")),
                run.points(),
                id = escaped(run.id.as_str()),
            );
        }
        page.push_str("</tbody>\n</table>\n</section>\n");
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
                let name: String = name.chars().take(36).collect();
                let id = run.id.as_str();
                let name = format!("{name} ({}/{index})", id.get(..8).unwrap_or(id));
                kinds
                    .entry((axis(&trace.x), axis(&trace.y)))
                    .or_default()
                    .push(Layer::Line(points).named(name));
            }
        }
        let mut figures = Vec::new();
        for ((x, y), layers) in kinds {
            let pages = layers.len().div_ceil(MOST_CURVES);
            for (number, some) in layers.chunks(MOST_CURVES).enumerate() {
                let title = if pages > 1 {
                    format!("{y} over {x}, {} of {pages}", number + 1)
                } else {
                    format!("{y} over {x}")
                };
                let panel = Panel {
                    x: x.clone(),
                    y: y.clone(),
                    share: 1.0,
                    layers: some.to_vec(),
                };
                let figure = Figure {
                    title: title.clone(),
                    panels: vec![panel],
                };
                figures.push((title, figure));
            }
        }
        figures
    }

    fn curves(&self, page: &mut String) -> Result<(), Failure> {
        let all = self.overlays();
        if all.is_empty() {
            return Ok(());
        }
        page.push_str("<section>\n<h2>Curves</h2>\n");
        for (title, figure) in all.iter().take(MOST_PICTURES) {
            picture(title, figure, page)?;
        }
        if all.len() > MOST_PICTURES {
            let _ = writeln!(
                page,
                "<p class=\"told\">{} more pictures of curves are not drawn here.</p>",
                all.len() - MOST_PICTURES
            );
        }
        page.push_str("</section>\n");
        Ok(())
    }

    /// One run: its conditions, its results, what was odd.
    fn one(&self, run: &Run, results: &[Outcome], page: &mut String) -> Result<(), Failure> {
        let sample = run
            .fields
            .get("sample")
            .map(shown)
            .unwrap_or_else(|| run.technique.to_string());
        let _ = writeln!(
            page,
            "<section class=\"run\" id=\"run-{id}\">\n<h2>{} <small>{id}</small></h2>\n<p>{} of {}, read by {}.</p>",
            escaped(&sample),
            escaped(run.technique.as_str()),
            escaped(&run.source.path),
            escaped(&run.source.reader),
            id = escaped(run.id.as_str()),
        );
        if !run.questions.is_empty() {
            page.push_str("<p class=\"warn\">In question, and not to be relied on:");
            for question in &run.questions {
                let _ = write!(page, " {};", escaped(&question.message));
            }
            page.push_str("</p>\n");
        }
        conditions(run, page);
        held(run, page);
        self.results(run, results, page)?;
        let odd: Vec<&str> = run
            .remarks
            .iter()
            .filter(|remark| remark.severity >= Severity::Warning)
            .map(|remark| remark.message.as_str())
            .collect();
        if !odd.is_empty() {
            page.push_str("<h3>What was odd</h3>\n<ul>\n");
            for message in odd {
                let _ = writeln!(page, "<li>{}</li>", escaped(message));
            }
            page.push_str("</ul>\n");
        }
        page.push_str("</section>\n");
        Ok(())
    }

    fn results(&self, run: &Run, results: &[Outcome], page: &mut String) -> Result<(), Failure> {
        // Of several results of one trace by one model the last one counts; one over several runs stands with the first.
        let mut last: BTreeMap<(&str, &str, Option<u32>), &Outcome> = BTreeMap::new();
        for result in results {
            let here = result
                .runs
                .iter()
                .find(|id| self.runs.iter().any(|(own, _)| own.id == **id));
            if here == Some(&run.id) {
                last.insert((&result.kind, &result.model, result.trace), result);
            }
        }
        if last.is_empty() {
            return Ok(());
        }
        let shelf = |id: &RunId| {
            self.runs
                .iter()
                .find(|(own, _)| own.id == *id)
                .cloned()
                .ok_or_else(|| format!("run {id} is not here"))
        };
        page.push_str("<h3>Results</h3>\n");
        for result in last.into_values() {
            let curve = result
                .trace
                .and_then(|trace| run.traces.get(trace as usize))
                .and_then(|trace| trace.label.clone());
            let mut heading = format!("{}: {}", result.kind, result.model);
            if let Some(curve) = curve {
                heading = format!("{heading}, {curve}");
            }
            let _ = write!(
                page,
                "<h4>{}</h4>\n<table>\n<thead><tr><th scope=\"col\">what</th><th scope=\"col\" class=\"n\">value</th>\
                 <th scope=\"col\">standard error</th><th scope=\"col\">unit</th><th scope=\"col\">interval</th></tr></thead>\n<tbody>\n",
                escaped(&heading)
            );
            for parameter in &result.parameters {
                let (value, error, unit) = telling::value(parameter);
                let interval = parameter.intervals.first().map_or_else(String::new, |interval| {
                    let end = |end: Option<f64>| end.map_or_else(|| "open".to_owned(), telling::significant);
                    format!(
                        "{} % from {} to {}",
                        telling::significant(interval.level * 100.0),
                        end(interval.low),
                        end(interval.high)
                    )
                });
                let _ = writeln!(
                    page,
                    "<tr><td>{}</td><td class=\"n\">{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                    escaped(&parameter.name),
                    escaped(&value),
                    escaped(&error),
                    escaped(&unit),
                    escaped(&match &parameter.reason {
                        Some(reason) if interval.is_empty() => reason.clone(),
                        Some(reason) => format!("{interval}; {reason}"),
                        None => interval,
                    })
                );
            }
            let _ = writeln!(
                page,
                "</tbody>\n</table>\n<p class=\"told\">{}; result {}, computed by {}.</p>",
                escaped(&result.termination),
                escaped(&result.id),
                escaped(&result.by)
            );
            for remark in result
                .remarks
                .iter()
                .filter(|remark| remark.severity >= Severity::Warning)
            {
                let _ = writeln!(page, "<p class=\"warn\">{}</p>", escaped(&remark.message));
            }
            let redone = again(result, &shelf);
            let drawn = !redone.found.drawn.residuals.is_empty();
            if redone.reproduced && drawn {
                picture(&heading, &of_fit(&heading, &redone.found), page)?;
            } else if drawn {
                let _ = writeln!(
                    page,
                    "<p class=\"warn\">No picture: done again, something else comes out ({}).</p>",
                    escaped(&redone.words)
                );
            }
        }
        Ok(())
    }

    /// What a report of enzyme kinetics should state, for runs of enzymes.
    fn enzymes(&self, page: &mut String) {
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
        page.push_str(
            "<section>\n<h2>What a report of enzyme kinetics should state</h2>\n<p class=\"told\">After the STRENDA guidelines, in \
             our words; the guidelines come first.</p>\n",
        );
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
            let _ = write!(
                page,
                "<h3><a href=\"#run-{id}\">{id}</a></h3>\n<table>\n<thead><tr><th scope=\"col\">level</th>\
                 <th scope=\"col\">what</th><th scope=\"col\">state</th></tr></thead>\n<tbody>\n",
                id = escaped(run.id.as_str())
            );
            for item in checklist(&given, &Vec::new()) {
                let (word, class) = match item.state {
                    State::Given => ("given", "given"),
                    State::Missing => ("missing", "missing"),
                    State::NotApplicable => ("does not apply", "given"),
                };
                let _ = writeln!(
                    page,
                    "<tr><td>{}</td><td>{}</td><td class=\"{class}\">{word}</td></tr>",
                    escaped(&item.level),
                    escaped(&item.title)
                );
            }
            page.push_str("</tbody>\n</table>\n");
        }
        page.push_str("</section>\n");
    }
}

fn conditions(run: &Run, page: &mut String) {
    if run.fields.is_empty() {
        return;
    }
    page.push_str(
        "<h3>Conditions</h3>\n<table>\n<thead><tr><th scope=\"col\">field</th><th scope=\"col\">value</th>\
         <th scope=\"col\">as it stood there</th><th scope=\"col\">said by</th></tr></thead>\n<tbody>\n",
    );
    for (key, claims) in run.fields.iter() {
        for (rank, claim) in claims.iter().enumerate() {
            let _ = writeln!(
                page,
                "<tr{}><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                if rank == 0 { "" } else { " class=\"weaker\"" },
                escaped(key.as_str()),
                escaped(&shown(claim)),
                escaped(&claim.raw),
                escaped(&said_by(&claim.origin))
            );
        }
    }
    page.push_str("</tbody>\n</table>\n");
}

/// What is held along each curve.
fn held(run: &Run, page: &mut String) {
    let any = run.traces.iter().any(|trace| {
        !trace.held.is_empty() || !trace.fields.is_empty() || !trace.saturated.is_empty() || trace.absent > 0
    });
    if !any {
        return;
    }
    page.push_str(
        "<h3>Curves</h3>\n<table>\n<thead><tr><th scope=\"col\">curve</th><th scope=\"col\">name</th><th scope=\"col\">held</th>\
         <th scope=\"col\" class=\"n\">points</th><th scope=\"col\" class=\"n\">over range</th>\
         <th scope=\"col\" class=\"n\">not readable</th></tr></thead>\n<tbody>\n",
    );
    const MOST: usize = 100;
    for (index, trace) in run.traces.iter().enumerate().take(MOST) {
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
        let _ = writeln!(
            page,
            "<tr><td>{index}</td><td>{}</td><td>{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td></tr>",
            escaped(trace.label.as_deref().unwrap_or("")),
            escaped(&all.join("; ")),
            trace.len(),
            trace.saturated.len(),
            trace.absent
        );
    }
    page.push_str("</tbody>\n</table>\n");
    if run.traces.len() > MOST {
        let _ = writeln!(
            page,
            "<p class=\"told\">{} more curves.</p>",
            run.traces.len() - MOST
        );
    }
}

fn picture(title: &str, figure: &Figure, page: &mut String) -> Result<(), Failure> {
    let svg = figure.bytes(Kind::Svg, Size::Screen)?;
    let svg = String::from_utf8_lossy(&svg);
    // The declaration of a file of its own has no place inside a page.
    let svg = svg.find("<svg").map_or("", |at| &svg[at..]);
    let _ = write!(
        page,
        "<figure role=\"img\" aria-label=\"{}\">\n{}\n</figure>\n",
        escaped(title),
        svg.trim_end()
    );
    Ok(())
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

fn said_by(origin: &Origin) -> String {
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

/// A text as HTML; signs that no page may hold are replaced.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\n' | '\t' => safe.push(' '),
            sign if sign.is_control() => safe.push('\u{FFFD}'),
            sign => safe.push(sign),
        }
    }
    safe
}

/// How it looks on a screen and on paper.
const STYLE: &str = "\
body{font-family:system-ui,sans-serif;line-height:1.45;color:#1a1a1a;background:#fff;max-width:60rem;margin:0 auto;padding:1.5rem}\
h1{font-size:1.7rem;margin:0 0 .3rem}h2{font-size:1.25rem;margin:2rem 0 .5rem;border-bottom:2px solid #1a1a1a;padding-bottom:.2rem}\
h3{font-size:1.05rem;margin:1.2rem 0 .3rem}h4{font-size:.95rem;margin:.9rem 0 .2rem}small{font-weight:normal;color:#555}\
table{border-collapse:collapse;width:100%;font-size:.88rem;margin:.3rem 0}th,td{text-align:left;vertical-align:top;padding:.22rem .6rem .22rem 0;border-bottom:1px solid #ccc}\
.n{text-align:right;font-variant-numeric:tabular-nums}tr.weaker td{color:#555;font-style:italic}.told{color:#555;font-size:.88rem}\
.warn{border-left:4px solid #b35900;padding-left:.6rem}.missing{font-weight:bold}figure{margin:1rem 0}figure svg{width:100%;height:auto}\
footer{margin-top:3rem;border-top:1px solid #ccc;font-size:.85rem;color:#555}\
@media print{body{max-width:none;padding:0;font-size:10pt}a{color:inherit;text-decoration:none}figure,table,h2,h3,h4{break-inside:avoid}h2,h3,h4{break-after:avoid}.run{break-before:page}}";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_a_source_is_markup() {
        assert_eq!(
            escaped("<b onclick=\"x\">&\u{7}"),
            "&lt;b onclick=&quot;x&quot;&gt;&amp;\u{FFFD}"
        );
    }

    #[test]
    fn an_empty_report_is_a_page() {
        let page = Page::new("a <title>").html().unwrap_or_default();
        assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>\n"));
        assert!(page.contains("<title>a &lt;title&gt;</title>"));
        assert!(!page.contains("<script") && !page.contains("http"));
    }
}
