//! A collection of many blocks, run by run: no more than one block and one run are held at a time.
//!
//! What is handed out is what the reading of the whole gives. Where that would have to look back, nothing is decided here
//! and the whole is read: a block that holds others and has a curve of its own, commas that nothing decides, more remarks
//! than are kept.

use curvary_jcamp_dx as dx;
use curvary_record::{Diagnostic, Run};

use super::gathering::{Gathering, as_diagnostic};
use super::{choices, options_of, share, share_units};
use crate::sink::{ContractViolation, Sink, SourceLimits, SpanUnit};
use crate::{ReaderInfo, Source};

/// What is held while a collection is read.
struct Turn<'s, 'e> {
    gathering: Gathering<'s>,
    sink: Sink<'s>,
    each: &'e mut dyn FnMut(Run) -> bool,
    options: dx::ReadOptions,
    /// Whether the greatest values of all blocks are known.
    shares_known: bool,
    /// The end of the last block.
    end: usize,
    /// Remarks on places in no run.
    aside: Vec<dx::Remark>,
}

/// Hands out the runs of a source; gives what is said of it beside them, or nothing where it must be read as a whole.
pub(super) fn read_each(
    source: &Source,
    card: &ReaderInfo,
    each: &mut dyn FnMut(Run) -> bool,
) -> Option<Vec<Diagnostic>> {
    let options = options_of(source);
    let mut turn = Turn {
        gathering: Gathering {
            card,
            source,
            runs: Vec::new(),
            remarks: Vec::new(),
            names: Vec::new(),
            blocks: Vec::new(),
            shares: std::collections::BTreeMap::new(),
        },
        sink: Sink::new(source, card, SpanUnit::Text, SourceLimits::WHOLE),
        each,
        options,
        shares_known: false,
        end: 0,
        aside: Vec::new(),
    };
    let mut whole = true;
    let rest = dx::read_each(source.text(), &options, &mut |block, remarks| {
        whole = turn.block(block, remarks);
        whole
    });
    if !whole || rest.iter().any(|remark| remark.code == dx::Code::LimitRemarks) {
        return None;
    }
    turn.finish(rest)
}

impl Turn<'_, '_> {
    /// Takes the next block; `false` where the whole must be read.
    fn block(&mut self, block: dx::Block, remarks: Vec<dx::Remark>) -> bool {
        let has_data = !block.tables.is_empty() || !block.ntuples.is_empty();
        let holds_others = block.span.start < self.end;
        let undecided = remarks.iter().any(|r| r.code == dx::Code::CommaUndecided);
        if undecided || has_data && holds_others {
            return false;
        }
        self.end = block.span.end;
        if !self.shares_known && has_data && share_units(&block).is_some() {
            let shares = &mut self.gathering.shares;
            dx::read_each(self.gathering.source.text(), &self.options, &mut |block, _| {
                share(&block, shares);
                true
            });
            self.shares_known = true;
        }
        let asked = choices::questions(self.gathering.source, &self.options, &remarks, &block);
        let span = block.span;
        self.gathering.block(block, asked);
        let aside = self.gathering.remarks_on(span, remarks);
        self.aside.extend(aside);
        self.hand_out(false).unwrap_or(false)
    }

    /// Hands out the runs that are finished, or all; `false` where no more are wanted.
    fn hand_out(&mut self, all: bool) -> Result<bool, ContractViolation> {
        let mut finished = self.gathering.take_finished();
        if all {
            finished.append(&mut self.gathering.runs);
        }
        for run in finished {
            self.sink.understood(run)?;
        }
        Ok(self.sink.hand_out().into_iter().all(&mut *self.each))
    }

    fn finish(mut self, rest: Vec<dx::Remark>) -> Option<Vec<Diagnostic>> {
        if !self.hand_out(true).ok()? || self.sink.is_empty() {
            return None;
        }
        let mut aside = self.aside;
        aside.extend(rest);
        aside.sort_by_key(|remark| remark.place.span.start);
        let of_blocks = std::mem::take(&mut self.gathering.remarks);
        for told in of_blocks
            .into_iter()
            .chain(aside.iter().filter_map(as_diagnostic))
        {
            self.sink.add_remark(told).ok()?;
        }
        Some(self.sink.finish().ok()?.remarks)
    }
}
