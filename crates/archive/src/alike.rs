//! The runs whose curves are most alike to a given one.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use curvary_record::RunId;
use serde::Serialize;

use crate::archive::{Archive, Hit};
use crate::asking::IndexReader;
use crate::index::AlikeCandidate;
use crate::likeness::{Curve, QuerySignature, SignatureBound, class, told};
use crate::{Error, Query};

/// How to look for curves that are alike.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AlikeOptions {
    /// What is less alike is left out.
    pub least: f64,
    /// How many runs to give at most; 0 for all.
    pub limit: usize,
    /// How many to leave out in front.
    pub skip: usize,
    /// A run that is left out, since the curve is its own.
    pub but: Option<RunId>,
}

/// Runs that are alike.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct AlikeFound {
    /// How many runs are alike.
    pub total: usize,
    /// How many were compared and are less alike.
    pub less: usize,
    /// How many had nothing to compare: another quantity, too little common range, or no shape there.
    pub nothing: usize,
    /// Those that were asked for, the most alike first; equals newest first.
    pub hits: Vec<AlikeHit>,
    /// How many committed bytes of records are not indexed yet, as a search says it.
    pub behind: u64,
}

/// A run that is alike.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AlikeHit {
    /// The run.
    pub hit: Hit,
    /// Pearson's correlation coefficient, to four decimals.
    pub likeness: f64,
    /// Which of its traces is the most alike, from 0.
    pub trace: usize,
    /// What that trace is called.
    pub label: Option<String>,
}

/// The best trace of a run, computed from its record.
#[derive(Clone)]
struct Best {
    likeness: f64,
    trace: usize,
    label: Option<String>,
}

/// What is known of a candidate by now.
enum CandidateState {
    /// Its likeness is no less and no more.
    Between(f64, f64),
    /// Its likeness.
    Computed(Best),
}

impl Archive {
    /// The runs that match a query, ordered by how alike they are to a curve. Of a run with several traces the most
    /// alike counts.
    ///
    /// Signatures bound the likeness of every run; a run is computed anew from its record only while its bounds leave
    /// open whether it belongs into the answer or where. What is told is always computed anew.
    ///
    /// # Errors
    /// When the index cannot be read or a record is damaged.
    pub fn alike(&self, curve: &Curve, query: &Query, options: &AlikeOptions) -> Result<AlikeFound, Error> {
        self.asked(|asking| self.alike_in(asking, curve, query, options))
    }

    fn alike_in(
        &self,
        asking: &IndexReader,
        curve: &Curve,
        query: &Query,
        options: &AlikeOptions,
    ) -> Result<AlikeFound, Error> {
        let mut sought = QuerySignature::new(curve);
        let candidates = asking.index.screen(query, &mut sought, options.but.as_ref())?;
        let mut found = AlikeFound {
            behind: asking.behind,
            ..AlikeFound::default()
        };
        // Which belong into the answer. The candidates' order is that of equals.
        let mut alike: Vec<(&AlikeCandidate, CandidateState)> = Vec::new();
        for candidate in &candidates {
            let known = match candidate.screened {
                SignatureBound::Nothing => None,
                SignatureBound::Between { low, high } if low >= options.least => {
                    Some(CandidateState::Between(low, high))
                }
                SignatureBound::Between { high, .. } if high < options.least => {
                    found.less += 1;
                    continue;
                }
                SignatureBound::Between { .. } | SignatureBound::Open => self
                    .computed(asking, candidate, curve)?
                    .map(CandidateState::Computed),
            };
            match known {
                None => found.nothing += 1,
                Some(CandidateState::Computed(best)) if best.likeness < options.least => found.less += 1,
                Some(known) => alike.push((candidate, known)),
            }
        }
        found.total = alike.len();
        // Always the one that may be the best is looked at next: where its likeness is computed it comes next in the
        // answer, else it is computed and waits for its turn again.
        let wanted = match options.limit {
            0 => usize::MAX,
            limit => limit,
        };
        let mut waiting: BinaryHeap<(i32, Reverse<usize>)> = alike
            .iter()
            .enumerate()
            .map(|(place, (_, known))| {
                let most = match known {
                    CandidateState::Between(_, high) => *high,
                    CandidateState::Computed(best) => best.likeness,
                };
                (class(most), Reverse(place))
            })
            .collect();
        let mut skipped = 0;
        while found.hits.len() < wanted
            && let Some((_, Reverse(place))) = waiting.pop()
            && let Some((candidate, known)) = alike.get_mut(place)
        {
            match known {
                CandidateState::Computed(_) if skipped < options.skip => skipped += 1,
                CandidateState::Computed(best) => found.hits.push(self.hit(asking, candidate, best)?),
                CandidateState::Between(low, high) => {
                    let best = self.computed(asking, candidate, curve)?;
                    let best = best.filter(|best| (*low..=*high).contains(&best.likeness));
                    // A signature is made from the record; one that contradicts it is another record's.
                    let best = best.ok_or_else(|| asking.index.damaged())?;
                    waiting.push((class(best.likeness), Reverse(place)));
                    *known = CandidateState::Computed(best);
                }
            }
        }
        Ok(found)
    }

    /// The most alike trace of a run; the first of equals. None where it has nothing to compare.
    fn computed(
        &self,
        asking: &IndexReader,
        candidate: &AlikeCandidate,
        curve: &Curve,
    ) -> Result<Option<Best>, Error> {
        let (id, _, places) = asking.index.shown(candidate.address)?;
        let run = self.run_at(asking, &RunId::named(id), places.run)?;
        let mut best: Option<Best> = None;
        for (number, trace) in run.traces.iter().enumerate() {
            let likeness = Curve::of(&run, trace).ok().and_then(|own| own.likeness(curve));
            if let Some(likeness) = likeness
                && best.as_ref().is_none_or(|best| best.likeness < likeness)
            {
                best = Some(Best {
                    likeness,
                    trace: number,
                    label: trace.label.clone(),
                });
            }
        }
        Ok(best)
    }

    fn hit(&self, asking: &IndexReader, candidate: &AlikeCandidate, best: &Best) -> Result<AlikeHit, Error> {
        let (id, summary, _) = asking.index.shown(candidate.address)?;
        Ok(AlikeHit {
            hit: Hit {
                id: RunId::named(id),
                summary,
                snippet: None,
            },
            likeness: told(class(best.likeness)),
            trace: best.trace,
            label: best.label.clone(),
        })
    }
}
