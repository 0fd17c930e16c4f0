//! Gathers the runs of a document, block by block.

use std::collections::BTreeMap;

use curvary_jcamp_dx as dx;
use curvary_record::{
    Code, Coordinate, Diagnostic, Fields, Place, Quantity, Question, Technique, Trace, Value,
};

use super::axes::Axes;
use super::ours::Ours;
use super::told::{diagnostic, span_of};

use crate::sink::{CompletedRun, Sink, SourceLimits, SpanUnit};
use crate::{ReaderInfo, Reading, Source};

/// Gathers the runs of a document.
pub(super) struct Gathering<'s> {
    pub(super) card: &'s ReaderInfo,
    pub(super) source: &'s Source,
    pub(super) runs: Vec<CompletedRun>,
    pub(super) remarks: Vec<Diagnostic>,
    /// For each run, its name where our own writer gave it one.
    pub(super) names: Vec<Option<String>>,
    /// The span of each block that gave runs, and its first run.
    pub(super) blocks: Vec<(dx::Span, usize)>,
    /// For each text of YUNITS that may mean a fraction or percent, the greatest value over all blocks that have it.
    pub(super) shares: BTreeMap<String, f64>,
}

impl Gathering<'_> {
    /// Takes the runs of a block, and what has to be asked about them.
    pub(super) fn block(&mut self, mut block: dx::Block, asked: Vec<Question>) {
        let has_data = !block.tables.is_empty() || block.ntuples.iter().any(|n| !n.pages.is_empty());
        if !has_data {
            return;
        }
        let ntuples = std::mem::take(&mut block.ntuples);
        let block = &block;
        let ours = Ours::of(block);
        let before = self.runs.len();
        for ntuples in ntuples {
            self.ntuples(block, ntuples, &ours);
        }
        let curves: Vec<(&dx::Table, &dx::Curve)> = block
            .tables
            .iter()
            .filter_map(|table| Some((table, table.data.curve()?)))
            .collect();
        if !curves.is_empty() {
            self.curves(block, &curves, &ours);
        }
        for table in &block.tables {
            self.peaks(block, table, &ours);
        }
        // A block whose traces went to the run before belongs to that one.
        let first = if self.runs.len() > before {
            before
        } else {
            before.saturating_sub(1)
        };
        if self.runs.len() > before || self.goes_on(&ours) {
            self.blocks.push((block.span, first));
            for run in self.runs.iter_mut().skip(first) {
                run.questions.extend(asked.iter().cloned());
            }
        }
    }

    /// Takes the remarks on a block that was taken last: those that its run has, and gives back the others.
    pub(super) fn remarks_on(&mut self, span: dx::Span, remarks: Vec<dx::Remark>) -> Vec<dx::Remark> {
        let own = self.blocks.last().filter(|(block, _)| *block == span);
        let Some(run) = own.and_then(|&(_, run)| self.runs.get_mut(run)) else {
            return remarks;
        };
        run.remarks.extend(remarks.iter().filter_map(as_diagnostic));
        Vec::new()
    }

    /// Takes out all runs but the last, which may go on in the next block.
    pub(super) fn take_finished(&mut self) -> Vec<CompletedRun> {
        let finished = self.runs.len().saturating_sub(1);
        self.blocks.clear();
        self.names.drain(..finished);
        self.runs.drain(..finished).collect()
    }

    /// Whether a block holds a further curve of the last run.
    fn goes_on(&self, ours: &Ours) -> bool {
        ours.run.is_some()
            && ours.curve.is_some_and(|curve| curve > 1)
            && self.names.last() == Some(&ours.run)
    }

    /// Adds a run, or the traces of one that our own writer had to spread over blocks.
    pub(super) fn run(
        &mut self,
        block: &dx::Block,
        ours: &Ours,
        axes: Axes,
        mut traces: Vec<Trace>,
        technique: Technique,
    ) {
        traces.retain(|trace| !trace.is_empty());
        if traces.is_empty() {
            return;
        }
        let mut fields = Fields::default();
        let of_fields = self.claims(block, ours, &mut fields);
        if technique == Technique::TIME_COURSE
            && ours.run.is_none()
            && let Some(claim) = fields.get("wavelength")
            && let (Value::Number(value), Some(unit)) = (&claim.value, &claim.unit)
        {
            for trace in traces
                .iter_mut()
                .filter(|t| t.held(&Quantity::WAVELENGTH).is_none())
            {
                trace.held.push(Coordinate {
                    raw: Some(claim.raw.clone()),
                    ..Coordinate::new(Quantity::WAVELENGTH, unit.clone(), *value)
                });
            }
        }
        let technique = ours.technique.clone().unwrap_or(technique);
        if self.goes_on(ours)
            && let Some(last) = self.runs.last_mut()
        {
            // The same axis need not be kept twice.
            for mut trace in traces {
                if let Some(before) = last.traces.last()
                    && before.x.values == trace.x.values
                {
                    trace.x.values = before.x.values.clone();
                }
                last.traces.push(trace);
            }
            return;
        }
        let end = self.source.place(span_of(dx::Span {
            start: block.span.end.saturating_sub(1).max(block.span.start),
            end: block.span.end,
        }));
        let first = self.source.place(span_of(block.span)).line;
        self.names.push(ours.run.clone());
        let mut questions = axes.questions;
        questions.extend(of_fields);
        questions.extend(ours.questions.iter().cloned());
        self.runs.push(CompletedRun {
            technique,
            because: axes.because,
            fields,
            traces,
            questions,
            remarks: Vec::new(),
            lines: Some((first, end.line)),
        });
    }

    pub(super) fn finish(mut self, remarks: Vec<dx::Remark>) -> Reading {
        for remark in remarks {
            let Some(told) = as_diagnostic(&remark) else {
                continue;
            };
            let at = remark.place.span.start;
            let block = self
                .blocks
                .iter()
                .find(|(span, _)| (span.start..span.end.max(span.start + 1)).contains(&at));
            let run = block.map(|&(_, run)| run).and_then(|run| self.runs.get_mut(run));
            match run {
                Some(run) => run.remarks.push(told),
                None => self.remarks.push(told),
            }
        }
        if self.runs.is_empty() && self.remarks.is_empty() {
            let message = "no block holds a table of data";
            self.remarks.push(
                Diagnostic::error(Code::new("no-data"), message)
                    .at(Place::line(1), "")
                    .help("look whether `##XYDATA=` or `##XYPOINTS=` is missing"),
            );
        }
        // A remark on one block comes after all of them, so only now each is whole.
        let mut sink = Sink::new(self.source, self.card, SpanUnit::Text, SourceLimits::WHOLE);
        let mut runs = self.runs.into_iter();
        let mut remarks = self.remarks.into_iter();
        let told = runs
            .try_for_each(|run| sink.understood(run))
            .and_then(|()| remarks.try_for_each(|remark| sink.add_remark(remark)));
        sink.finished(told)
    }
}

/// What is told of a remark; nothing of one that stands for a question.
pub(super) fn as_diagnostic(remark: &dx::Remark) -> Option<Diagnostic> {
    (remark.code != dx::Code::ReadingUndecided).then(|| diagnostic(remark))
}

pub(super) fn technique_of(axes: &Axes, traces: &[Trace]) -> Technique {
    if let Some(other) = &axes.other {
        return other.clone();
    }
    match axes.x.0.as_str() {
        "wavelength" | "wavenumber" | "energy" => {
            if traces.len() > 1 && traces.iter().all(|trace| trace.held(&Quantity::TIME).is_some()) {
                Technique::SPECTRAL_TIME_COURSE
            } else {
                Technique::SPECTRUM
            }
        }
        "time" => Technique::TIME_COURSE,
        "concentration" | "substrate-concentration" if axes.y.0 == Quantity::RATE => Technique::RATE_SERIES,
        _ => Technique::UNKNOWN,
    }
}
