//! Runs that a reader hands over as a whole, and what may not be true of any run.

use curvary_record::{Claim, Column, Diagnostic, Fields, Numbers, Question, Run, Technique, Trace};

use super::{ContractViolation, breach};

/// A run that its reader understood as a whole, since several of a source are decided about together. Its name, its number
/// and its reader are the sink's.
#[derive(Clone, Debug, PartialEq)]
pub struct CompletedRun {
    /// What kind of measurement it is.
    pub technique: Technique,
    /// Why it was understood so, one reason a sentence.
    pub because: Vec<String>,
    /// What is known about it.
    pub fields: Fields,
    /// Its curves. Their numbers are taken over as they lie.
    pub traces: Vec<Trace>,
    /// What only a person can decide.
    pub questions: Vec<Question>,
    /// What was odd about it.
    pub remarks: Vec<Diagnostic>,
    /// First and last line of the source that belong to it, from 1.
    pub lines: Option<(u32, u32)>,
}

impl From<Run> for CompletedRun {
    fn from(run: Run) -> Self {
        Self {
            technique: run.technique,
            because: run.because,
            fields: run.fields,
            traces: run.traces,
            questions: run.questions,
            remarks: run.remarks,
            lines: run.source.lines,
        }
    }
}

impl CompletedRun {
    /// Whether there is nothing in it, neither a point nor a question.
    pub(super) fn is_empty(&self) -> bool {
        self.questions.is_empty() && self.traces.iter().all(Trace::is_empty)
    }

    /// Points of all columns; an axis that curves share counts once.
    pub(super) fn points(&self) -> usize {
        let mut before: Option<&Numbers> = None;
        let mut points = 0_usize;
        for trace in &self.traces {
            let x = &trace.x.values;
            if !before.is_some_and(|before| before.is_shared_with(x)) {
                points = points.saturating_add(x.len());
            }
            before = Some(x);
            points = points.saturating_add(trace.y.values.len());
        }
        points
    }

    /// Claims, held coordinates and questions.
    pub(super) fn statements(&self) -> usize {
        let of = |fields: &Fields| fields.iter().map(|(_, claims)| claims.len()).sum::<usize>();
        let of_traces = self
            .traces
            .iter()
            .map(|trace| trace.held.len() + of(&trace.fields));
        self.questions.len() + of(&self.fields) + of_traces.sum::<usize>()
    }

    /// What was said, as it was written.
    pub(super) fn texts(&self) -> impl Iterator<Item = &str> {
        let of_traces = self.traces.iter().flat_map(|trace| {
            let names = trace.row_names.iter().map(String::as_str);
            raw(&trace.fields).chain(trace.label.as_deref()).chain(names)
        });
        raw(&self.fields).chain(of_traces)
    }

    /// # Errors
    /// When a column is not as long as the other, or holds what no column may hold.
    pub(super) fn check(&self) -> Result<(), ContractViolation> {
        let mut before: Option<&Column> = None;
        for trace in &self.traces {
            let count = trace.x.values.len();
            if trace.y.values.len() != count {
                return breach(format!(
                    "a curve of {} values came over an axis of {count}",
                    trace.y.values.len()
                ));
            }
            // The curves of one table mostly run over the same axis.
            let known = before.is_some_and(|before| {
                before.values.is_shared_with(&trace.x.values) && before.decimals == trace.x.decimals
            });
            if !known {
                column(&trace.x)?;
            }
            before = Some(&trace.x);
            column(&trace.y)?;
            for (what, found) in [("lines", trace.lines.len()), ("names", trace.row_names.len())] {
                if found != 0 && found != count {
                    return breach(format!("a curve of {count} points came with {found} {what}"));
                }
            }
            if trace.saturated.iter().any(|&at| at as usize >= count) {
                return breach(format!(
                    "a point behind the last of {count} is said to be saturated"
                ));
            }
            if trace.held.iter().any(|held| !held.value.is_finite()) {
                return breach("what is held along a curve is no number");
            }
        }
        Ok(())
    }
}

fn raw(fields: &Fields) -> impl Iterator<Item = &str> {
    let claims = fields.iter().flat_map(|(_, claims)| claims.iter());
    claims.map(|claim: &Claim| claim.raw.as_str())
}

fn column(column: &Column) -> Result<(), ContractViolation> {
    // Without a branch for each, so that many are looked at at once.
    let finite = column
        .values
        .iter()
        .fold(true, |all, value| all & value.is_finite());
    if !finite {
        return breach("a column holds what is no finite number");
    }
    let (digits, count) = (column.decimals.len(), column.values.len());
    if digits != 0 && digits != count {
        return breach(format!(
            "a column of {count} numbers came with the decimals of {digits}"
        ));
    }
    Ok(())
}
