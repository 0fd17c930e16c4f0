//! Which columns of a table a formula speaks of, by their heads.
//!
//! A table does not say which of its columns runs: the reader takes the first one. A formula does say it, as far as
//! its names are the heads of columns: `log(y) = b1 - b2*x1*exp(-b3*x2)` over a table of `y`, `x1` and `x2`, in
//! whatever order they stand. So heads come before places, and where a name may be a column or a parameter, it is asked.

use std::borrow::Cow;

use curvary_record::{Code, Column, Diagnostic, Origin, Place, Run, Trace, Value, code};

use super::curve::joined;
use crate::models::Model;
use crate::models::formula::Formula;
use crate::refusal::Refusal;
use crate::study::label_of;
use crate::study::plan::FitPlan;

/// A run whose columns stand where a formula needs them, and the plan that names them.
pub(super) struct ArrangedRun<'a> {
    pub(super) plan: FitPlan,
    pub(super) run: Cow<'a, Run>,
    pub(super) remarks: Vec<Diagnostic>,
}

/// A column of a table.
#[derive(Clone, PartialEq, Eq)]
enum FitColumn {
    /// The column that the reader took as the running one.
    Running,
    /// A measured one, by its head.
    Measured(String),
}

fn unsuitable(why: String) -> Refusal {
    Refusal::Unsuitable { why }
}

/// `x` and `y` are often written large over a table; other heads are taken as they are.
fn is_head(head: &str, name: &str) -> bool {
    head == name || matches!(name, "x" | "y") && head.eq_ignore_ascii_case(name)
}

/// The head of the running column, if all traces share one.
fn running_head(run: &Run) -> Option<&str> {
    let head = run.traces.first()?.x.name.as_deref()?;
    let shared = run
        .traces
        .iter()
        .all(|trace| trace.x.name.as_deref() == Some(head));
    (shared && !head.is_empty()).then_some(head)
}

/// Whether a variable that stands for `column` stands for the running axis.
pub(super) fn is_running(run: &Run, column: &str) -> bool {
    matches!(place(run, column), Some(FitColumn::Running))
}

fn place(run: &Run, name: &str) -> Option<FitColumn> {
    headed(run, name).or_else(|| (name == "x").then_some(FitColumn::Running))
}

fn headed(run: &Run, name: &str) -> Option<FitColumn> {
    if running_head(run).is_some_and(|head| is_head(head, name)) {
        return Some(FitColumn::Running);
    }
    let labels = run.traces.iter().map(label_of);
    let exact = labels.clone().find(|label| label == name);
    exact
        .or_else(|| labels.into_iter().find(|label| is_head(label, name)))
        .map(FitColumn::Measured)
}

/// Finds the columns that the names of a formula stand for, and brings them where the fit expects them.
pub(super) fn arrange<'a>(plan: &FitPlan, run: &'a Run) -> Result<ArrangedRun<'a>, Refusal> {
    let untouched = |plan: &FitPlan| ArrangedRun {
        plan: plan.clone(),
        run: Cow::Borrowed(run),
        remarks: Vec::new(),
    };
    let Some(formula) = &plan.formula else {
        return Ok(untouched(plan));
    };
    if plan.at.is_some() {
        return Ok(untouched(plan));
    }
    let whole = plan.name();
    let parsed = Formula::parse(&whole, &[]).map_err(|error| unsuitable(error.to_string()))?;
    let names: Vec<&str> = parsed.parameters().iter().map(|p| p.name.as_ref()).collect();
    let measured = parsed.measured();
    if let Some(Bare { run, plan, note }) = bare_columns(plan, run, &names, measured)? {
        let arranged = arrange(&plan, &run)?;
        let mut remarks = arranged.remarks;
        remarks.extend(note);
        return Ok(ArrangedRun {
            plan: arranged.plan,
            run: Cow::Owned(arranged.run.into_owned()),
            remarks,
        });
    }
    let written = plan.response.is_some() || formula.contains('=');
    let mut plan = plan.clone();
    let by_head = plan.variables.is_empty();
    if by_head {
        plan.variables = by_heads(&plan, run, &names, measured)?;
    }
    let mut places = Vec::new();
    for (_, column) in &plan.variables {
        places.push(place(run, column).ok_or_else(|| no_column(run, column))?);
    }
    let response = headed(run, measured);
    if let Some(response) = &response
        && (places.contains(response)
            || *response == FitColumn::Running && places.iter().all(|place| *place == FitColumn::Running))
    {
        return Err(unsuitable(format!(
            "`{measured}` is what the formula gives, and is the header of the x column too; name the x column: \
             its head in the formula, or as a variable"
        )));
    }
    let plain = places.iter().all(|place| *place == FitColumn::Running);
    if plain && response != Some(FitColumn::Running) {
        // The running column as the reader has it; there is nothing to move.
        if let (Some(FitColumn::Measured(label)), true, true) = (&response, written, plan.traces.is_empty())
            && run.traces.iter().any(|trace| label_of(trace) != *label)
        {
            plan.traces = vec![label.clone()];
        }
        return Ok(ArrangedRun {
            remarks: if plan.variables.is_empty() {
                running_told(run).into_iter().collect()
            } else {
                Vec::new()
            },
            ..untouched(&plan)
        });
    }
    let run = moved(run, &places, &response)?;
    match (&response, plan.traces.is_empty()) {
        (Some(FitColumn::Measured(label)), true) if written => plan.traces = vec![label.clone()],
        (Some(FitColumn::Running), true) => plan.traces = vec![measured_head(&run, measured)],
        _ => {}
    }
    let said: Vec<String> = plan
        .variables
        .iter()
        .map(|(name, column)| {
            if name == column {
                format!("`{name}`")
            } else {
                format!("`{name}` (the column `{column}`)")
            }
        })
        .collect();
    let remarks = if by_head {
        vec![Diagnostic::note(
            Code::new("columns-by-head"),
            format!(
                "columns were taken by their headers: x of the formula is {}{}",
                said.join(" and "),
                response
                    .map(|_| format!(" and gives `{measured}`"))
                    .unwrap_or_default()
            ),
        )]
    } else {
        Vec::new()
    };
    Ok(ArrangedRun {
        plan,
        run: Cow::Owned(run),
        remarks,
    })
}

/// What `x` is, where the reading left open which column runs.
fn running_told(run: &Run) -> Option<Diagnostic> {
    let open = code::AXES_LEFT_OPEN;
    if !run.remarks.iter().any(|remark| remark.code == open) {
        return None;
    }
    let x = &run.traces.first()?.x;
    let (first, last) = (x.values.first()?, x.values.last()?);
    let name = running_head(run).map_or("the first column".to_owned(), |head| {
        format!("the column `{head}`")
    });
    if running_head(run).is_some() {
        return Some(Diagnostic::note(
            open,
            format!("`x` is {name} ({first} to {last})"),
        ));
    }
    Some(Diagnostic::warning(
        open,
        format!(
            "nothing says which column is `x`: {name} was taken ({first} to {last}); if the other is meant, write their names above \
             the columns"
        ),
    ))
}

/// A table without heads whose columns have got names.
struct Bare {
    run: Run,
    plan: FitPlan,
    note: Option<Diagnostic>,
}

/// A table without heads, its columns named: by a line above it, such as `Data: y x`, or by their place where the person
/// says which of them runs.
///
/// # Errors
/// The question which column runs, where nothing says it.
fn bare_columns(plan: &FitPlan, run: &Run, names: &[&str], measured: &str) -> Result<Option<Bare>, Refusal> {
    let named = |column: &Column| column.name.as_deref().is_some_and(|name| !name.is_empty());
    let has_heads = run
        .traces
        .iter()
        .any(|trace| named(&trace.x) || named(&trace.y) || !label_of(trace).is_empty());
    let open = run
        .remarks
        .iter()
        .any(|remark| remark.code == code::AXES_LEFT_OPEN)
        || run
            .questions
            .iter()
            .any(|question| question.code == code::AXIS_UNKNOWN);
    let Some(first) = run.traces.first().filter(|_| open && !has_heads) else {
        return Ok(None);
    };
    let count = run.traces.len() + 1;
    if let Some((line, words)) = words_above(run, count)
        && words.iter().any(|word| is_head(word, measured))
        && names
            .iter()
            .any(|name| words.iter().any(|word| is_head(word, name)))
    {
        let note = Diagnostic::note(
            Code::new("columns-by-head"),
            format!(
                "line {line} above the table names its columns: {}",
                words.join(", ")
            ),
        );
        return Ok(Some(Bare {
            run: with_heads(run, &words),
            plan: plan.clone(),
            note: Some(note),
        }));
    }
    if plan.variables.is_empty() {
        let column = |place: usize, column: &Column| {
            let ends = (column.values.first(), column.values.last());
            match ends {
                (Some(first), Some(last)) => format!("column {place} ({first} to {last})"),
                _ => format!("column {place}"),
            }
        };
        let list: Vec<String> = std::iter::once(column(1, &first.x))
            .chain(
                (2..)
                    .zip(&run.traces)
                    .map(|(place, trace)| column(place, &trace.y)),
            )
            .collect();
        return Err(unsuitable(format!(
            "nothing says which column is `x`: {}? say it with --over x=1 or --over x=2, counted as here, or write the names of \
             the columns above them",
            list.join(" or ")
        )));
    }
    // A person says by its place which column runs.
    let heads: Vec<String> = (1..=count).map(|place| format!("column {place}")).collect();
    let mut plan = plan.clone();
    let mut told = false;
    for (_, column) in &mut plan.variables {
        if let Some(head) = column
            .parse::<usize>()
            .ok()
            .and_then(|place| heads.get(place.wrapping_sub(1)))
        {
            column.clone_from(head);
            told = true;
        }
    }
    if !told {
        return Ok(None);
    }
    let left: Vec<&String> = heads
        .iter()
        .filter(|head| !plan.variables.iter().any(|(_, column)| column == *head))
        .collect();
    if plan.traces.is_empty() && left.len() > 1 && plan.variables.len() == 1 {
        let names: Vec<&str> = left.iter().map(|head| head.as_str()).collect();
        return Err(unsuitable(format!(
            "nothing says which column is measured: {}? say it with --trace, such as --trace '{}'",
            names.join(" or "),
            names.last().copied().unwrap_or_default()
        )));
    }
    Ok(Some(Bare {
        run: with_heads(run, &heads),
        plan,
        note: None,
    }))
}

/// The run with names for its running column and its measured ones.
fn with_heads(run: &Run, heads: &[String]) -> Run {
    let mut run = run.clone();
    for (trace, head) in run.traces.iter_mut().zip(&heads[1..]) {
        trace.x.name = Some(heads[0].clone());
        trace.y.name = Some(head.clone());
        trace.label = Some(head.clone());
    }
    run
}

/// The words of the line nearest above the table, where there are as many as columns and each may be a name.
fn words_above(run: &Run, count: usize) -> Option<(u32, Vec<String>)> {
    let start = run.source.lines?.0;
    let mut nearest: Option<(u32, Vec<String>)> = None;
    for claim in run.fields.iter().flat_map(|(_, claims)| claims) {
        let (Origin::Source(Place { line, .. }), Value::Text(text)) = (&claim.origin, &claim.value) else {
            continue;
        };
        let words: Vec<String> = text.split_whitespace().map(str::to_owned).collect();
        let names = words.iter().all(|word| {
            word.starts_with(|c: char| c.is_alphabetic())
                && word.chars().all(|c| c.is_alphanumeric() || c == '_')
        });
        let apart = (1..words.len()).all(|i| !words[..i].contains(&words[i]));
        if *line < start
            && words.len() == count
            && names
            && apart
            && nearest.as_ref().is_none_or(|(known, _)| line > known)
        {
            nearest = Some((*line, words));
        }
    }
    nearest
}

fn measured_head(run: &Run, name: &str) -> String {
    match headed(run, name) {
        Some(FitColumn::Measured(label)) => label,
        _ => name.to_owned(),
    }
}

fn no_column(run: &Run, column: &str) -> Refusal {
    let mut heads: Vec<String> = running_head(run).map(str::to_owned).into_iter().collect();
    for trace in &run.traces {
        let label = label_of(trace);
        if !heads.contains(&label) {
            heads.push(label);
        }
    }
    unsuitable(format!(
        "no column is called `{column}`; there are {}, and `x` is the x axis",
        heads.join(", ")
    ))
}

/// The names of a formula that are heads of columns and cannot be parameters.
fn by_heads(
    plan: &FitPlan,
    run: &Run,
    names: &[&str],
    measured: &str,
) -> Result<Vec<(String, String)>, Refusal> {
    let started = plan
        .parameters
        .values()
        .any(|parameter| parameter.start.is_some());
    let mut found = Vec::new();
    let mut heads = false;
    for name in names {
        if plan.parameters.contains_key(*name) {
            continue;
        }
        match headed(run, name) {
            None if *name == "x" => found.push(("x".to_owned(), "x".to_owned())),
            None => {}
            Some(FitColumn::Measured(_)) if *name == "x" && headed(run, measured).is_none() => {
                let runs = running_head(run).unwrap_or("the first column");
                return Err(unsuitable(format!(
                    "`x` in the formula may be the column with that header or the x axis, {runs}; say which, as in \
                     `x=x` or `x={runs}` among the variables"
                )));
            }
            Some(place) => {
                // With starting values for the others, what has none is no parameter.
                if !started && *name != "x" {
                    return Err(unsuitable(format!(
                        "`{name}` in the formula may be the column with that header or a parameter; say which, by `{name}={name}` \
                         among the variables or by a starting value"
                    )));
                }
                heads = true;
                let column = match place {
                    FitColumn::Running => (*name).to_owned(),
                    FitColumn::Measured(label) => label,
                };
                found.push(((*name).to_owned(), column));
            }
        }
    }
    // The running axis alone, under its usual name, is what a plan without variables means.
    if !heads && headed(run, measured) != Some(FitColumn::Running) {
        found.clear();
    }
    Ok(found)
}

/// The table with one of the columns that the formula runs along in the place of the running one.
fn moved(run: &Run, places: &[FitColumn], response: &Option<FitColumn>) -> Result<Run, Refusal> {
    let mut columns: Vec<Trace> = Vec::new();
    for trace in &run.traces {
        let label = label_of(trace);
        match columns
            .iter_mut()
            .find(|known| label_of(known) == label && known.held == trace.held)
        {
            // A table that goes through its first column again and again is cut there by the reader.
            Some(known) => *known = joined(known, trace),
            None => columns.push(trace.clone()),
        }
    }
    if let Some(odd) = columns.iter().find(|column| {
        columns
            .first()
            .is_some_and(|first| first.x.values != column.x.values)
    }) {
        return Err(unsuitable(format!(
            "the column `{}` does not stand at the same points as the others (a number is absent in some row), so their \
             rows cannot be put together",
            label_of(odd)
        )));
    }
    let mut all = run.clone();
    let swap = *response == Some(FitColumn::Running) || !places.contains(&FitColumn::Running);
    if let (true, Some(FitColumn::Measured(runs))) = (
        swap,
        places
            .iter()
            .find(|place| matches!(place, FitColumn::Measured(_))),
    ) && let Some(at) = columns.iter().position(|column| label_of(column) == *runs)
    {
        let new = columns.remove(at);
        let x = Column {
            name: Some(label_of(&new)),
            ..new.y.clone()
        };
        let before = Trace {
            label: new.x.name.clone(),
            y: new.x.clone(),
            saturated: Vec::new(),
            ..new
        };
        columns.insert(0, before);
        for column in &mut columns {
            column.x = x.clone();
        }
    }
    all.traces = columns;
    Ok(all)
}
