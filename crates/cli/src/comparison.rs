//! Runs side by side, what differs first.

use std::collections::BTreeSet;
use std::io::Write;

use curvary_archive::View;
use curvary_record::{Claim, Run};

use crate::commands::find::short;
use crate::commands::show::{DRAWING, axis, value};
use crate::ending::Failure;
use crate::screen::{FAINT, STRONG, Screen, StyledText, count};
use crate::sketch::{SketchAxes, SketchCurve, sketch};
use crate::table::{Listing, ListingColumn, Shorten, TableCell, one_line, shorten};
use crate::telling;

/// One thing that is known of runs: its name, and what it is in each.
struct ComparedField {
    name: String,
    values: Vec<String>,
    differs: bool,
}

/// Longer texts are shortened in the middle; numbers never are.
const LONGEST: usize = 24;

/// Sets runs side by side: what differs as a table, what is the same in one line, and their curves over each other.
pub(crate) fn side_by_side(views: &[View], screen: &mut Screen) -> Result<(), Failure> {
    let lines = lines(views);
    let differing: Vec<&ComparedField> = lines.iter().filter(|line| line.differs).collect();
    let label = differing
        .iter()
        .map(|line| line.name.chars().count())
        .max()
        .unwrap_or(0)
        .max(7);
    // As many runs stand beside each other as have room with their numbers whole.
    let cell = |line: &ComparedField, at: usize| {
        let value = one_line(&line.values[at]);
        let first = value.split_whitespace().next().unwrap_or_default();
        if first.parse::<f64>().is_ok() {
            value
        } else {
            shorten(&value, LONGEST, Shorten::Middle)
        }
    };
    let widths: Vec<usize> = (0..views.len())
        .map(|at| {
            differing
                .iter()
                .map(|line| cell(line, at).chars().count())
                .max()
                .unwrap_or(0)
                .max(8)
        })
        .collect();
    let room = screen.width().unwrap_or(usize::MAX).saturating_sub(label);
    let mut from = 0;
    while from < views.len() {
        let mut to = from;
        let mut used = 0;
        while to < views.len() && (to == from || used + widths[to] + 2 <= room) {
            used += widths[to] + 2;
            to += 1;
        }
        let heads = views[from..to]
            .iter()
            .map(|view| short(view.run.id.as_str()).to_owned());
        let mut table =
            Listing::new(std::iter::once(ListingColumn::new("differs")).chain(heads.map(ListingColumn::new)));
        for line in &differing {
            let values = (from..to).map(|at| TableCell::from(cell(line, at)));
            table.row(
                std::iter::once(TableCell::styled(format!("{:label$}", line.name), FAINT)).chain(values),
            );
        }
        write!(screen, "{}", table.draw(None))?;
        from = to;
    }
    let same: Vec<String> = lines
        .iter()
        .filter(|line| !line.differs)
        .map(|line| {
            format!(
                "{} {}",
                line.name,
                one_line(line.values.first().map_or("", String::as_str))
            )
        })
        .collect();
    if !same.is_empty() {
        writeln!(screen, "{}", StyledText(STRONG, "the same"))?;
        for line in same {
            writeln!(screen, "  {line}")?;
        }
    }
    curves(views, screen)
}

fn lines(views: &[View]) -> Vec<ComparedField> {
    let mut lines = Vec::new();
    let mut put = |name: &str, values: Vec<String>| {
        if values.iter().any(|value| !value.is_empty()) {
            let differs = values.iter().any(|value| *value != values[0]);
            lines.push(ComparedField {
                name: name.to_owned(),
                values,
                differs,
            });
        }
    };
    let of = |text: &dyn Fn(&View) -> String| views.iter().map(text).collect::<Vec<String>>();
    put(
        "path",
        of(&|view| view.paths.first().cloned().unwrap_or_default()),
    );
    put("technique", of(&|view| view.run.technique.to_string()));
    put(
        "state",
        of(&|view| {
            if view.run.in_question() {
                "in question".into()
            } else {
                "read".into()
            }
        }),
    );
    put("traces", of(&|view| count(view.run.traces.len() as u64)));
    put("points", of(&|view| count(view.run.points() as u64)));
    put("x axis", of(&|view| of_first(&view.run, true).0));
    put("x from", of(&|view| of_first(&view.run, true).1));
    put("y axis", of(&|view| of_first(&view.run, false).0));
    put("y from", of(&|view| of_first(&view.run, false).1));
    let keys: BTreeSet<&str> = views
        .iter()
        .flat_map(|view| view.run.fields.iter().map(|(key, _)| key.as_str()))
        .collect();
    for key in keys {
        let claims: Vec<Option<&Claim>> = views.iter().map(|view| view.run.fields.get(key)).collect();
        let agree = claims.iter().all(|claim| match (claims[0], claim) {
            (Some(a), Some(b)) => a.agrees(b),
            (a, b) => a.is_none() && b.is_none(),
        });
        lines.push(ComparedField {
            name: key.to_owned(),
            values: claims
                .iter()
                .map(|claim| claim.map(value).unwrap_or_default())
                .collect(),
            differs: !agree,
        });
    }
    results(views, &mut lines);
    lines
}

/// Numbers of the results that were kept last, by model and name; those of several traces are left to `results`.
fn results(views: &[View], lines: &mut Vec<ComparedField>) {
    let mut names: Vec<(String, String)> = Vec::new();
    // What was found over several runs together is the same for all of them.
    let own = views.iter().flat_map(|view| &view.outcomes);
    for outcome in own.filter(|outcome| outcome.runs.len() == 1) {
        for parameter in &outcome.parameters {
            let name = (outcome.model.clone(), parameter.name.clone());
            if !names.contains(&name) {
                names.push(name);
            }
        }
    }
    let one_model = names.iter().all(|(model, _)| *model == names[0].0);
    for (model, name) in names {
        let values: Vec<String> = views
            .iter()
            .map(|view| {
                let own = view.outcomes.iter().rev().find(|outcome| outcome.model == model);
                let parameter =
                    own.and_then(|outcome| outcome.parameters.iter().find(|one| one.name == name));
                parameter.map_or_else(String::new, |parameter| {
                    let (value, error, unit) = telling::value(parameter);
                    [value, error, unit]
                        .into_iter()
                        .filter(|part| !part.is_empty())
                        .collect::<Vec<_>>()
                        .join(" ")
                })
            })
            .collect();
        let differs = values.iter().any(|value| *value != values[0]);
        lines.push(ComparedField {
            name: if one_model {
                name
            } else {
                format!("{model}: {name}")
            },
            values,
            differs,
        });
    }
}

/// The x or y axis of the first curve, and from where to where it goes.
fn of_first(run: &Run, x: bool) -> (String, String) {
    let Some(trace) = run.traces.first() else {
        return (String::new(), String::new());
    };
    let column = if x { &trace.x } else { &trace.y };
    let ends = column
        .values
        .iter()
        .fold(None, |ends: Option<(f64, f64)>, value| {
            Some(ends.map_or((*value, *value), |(low, high)| {
                (low.min(*value), high.max(*value))
            }))
        });
    let ends = ends.map_or_else(String::new, |(low, high)| format!("{low} to {high}"));
    (axis(column), ends)
}

/// The first curves over each other, where they have the same axes.
fn curves(views: &[View], screen: &mut Screen) -> Result<(), Failure> {
    let traces: Vec<_> = views
        .iter()
        .filter_map(|view| view.run.traces.iter().find(|trace| trace.len() > 1))
        .collect();
    let Some(first) = traces.first() else {
        return Ok(());
    };
    let alike = traces
        .iter()
        .all(|trace| axis(&trace.x) == axis(&first.x) && axis(&trace.y) == axis(&first.y));
    if traces.len() < 2 || !alike {
        return Ok(());
    }
    let curves: Vec<SketchCurve<'_>> = traces
        .iter()
        .map(|trace| SketchCurve {
            x: &trace.x.values,
            y: &trace.y.values,
        })
        .collect();
    let axes = SketchAxes {
        x: axis(&first.x),
        y: axis(&first.y),
    };
    let columns = screen
        .width()
        .map_or(DRAWING.0, |width| DRAWING.0.min(width.saturating_sub(24)));
    if let Some(drawn) = sketch(&curves, &axes, columns, DRAWING.1) {
        for row in drawn.lines() {
            writeln!(screen, "  {row}")?;
        }
        let words = "the first curve of each, over each other; `curvary plot` draws them";
        writeln!(screen, "  {}", StyledText(FAINT, words))?;
    }
    Ok(())
}
