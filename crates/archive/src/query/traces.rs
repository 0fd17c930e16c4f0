//! Which traces of a run a query asks for: a field that a trace holds counts for that trace.

use curvary_record::{Run, Trace, Unit, Value};

use super::{Query, QueryNode, dimension};
use crate::summary::unit_of;
use crate::words::words;

/// What a query says of one trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Said {
    Yes,
    No,
    /// The traces of the run do not differ in what was asked.
    Nothing,
}

impl Said {
    fn of(holds: bool) -> Self {
        if holds { Self::Yes } else { Self::No }
    }

    fn not(self) -> Self {
        match self {
            Self::Yes => Self::No,
            Self::No => Self::Yes,
            Self::Nothing => Self::Nothing,
        }
    }
}

impl Query {
    /// The traces (from 0) of a run that the query asks for, where it asks for something that the traces have of their own,
    /// such as the temperatures of a cell changer. `None` where all of them answer alike.
    #[must_use]
    pub fn traces(&self, run: &Run) -> Option<Vec<u32>> {
        let said: Vec<Said> = run
            .traces
            .iter()
            .map(|trace| self.node.says_of(trace, run))
            .collect();
        if !said.contains(&Said::No) {
            return None;
        }
        let meant = (0..).zip(said).filter(|(_, said)| *said != Said::No);
        Some(meant.map(|(number, _)| number).collect())
    }
}

impl QueryNode {
    fn says_of(&self, trace: &Trace, run: &Run) -> Said {
        match self {
            Self::And(nodes) => {
                let said: Vec<Said> = nodes.iter().map(|node| node.says_of(trace, run)).collect();
                match () {
                    () if said.contains(&Said::No) => Said::No,
                    () if said.contains(&Said::Yes) => Said::Yes,
                    () => Said::Nothing,
                }
            }
            Self::Or(nodes) => {
                let said: Vec<Said> = nodes.iter().map(|node| node.says_of(trace, run)).collect();
                match () {
                    () if said.contains(&Said::Yes) => Said::Yes,
                    () if said.is_empty() || said.contains(&Said::Nothing) => Said::Nothing,
                    () => Said::No,
                }
            }
            Self::Not(node) => node.says_of(trace, run).not(),
            Self::Number {
                key,
                dimension,
                bounds,
            } => {
                if !run.traces.iter().any(|trace| own_number(trace, key).is_some()) {
                    return Said::Nothing;
                }
                let common = || number(run.fields.get(key.as_str())?);
                let Some((value, unit)) = own_number(trace, key).or_else(common) else {
                    return Said::No;
                };
                if dimension.is_empty() {
                    return Said::of(bounds.hold(value));
                }
                match unit_of(key, unit.as_ref()) {
                    Some(unit) if self::dimension(&unit) == *dimension => {
                        Said::of(bounds.hold(unit.to_si(value)))
                    }
                    _ => Said::No,
                }
            }
            Self::Words {
                key: Some(key),
                words: sought,
            } => {
                let holds = |claims: &[curvary_record::Claim]| {
                    claims.iter().any(|claim| {
                        let text: Vec<String> = words(&claim.raw)
                            .into_iter()
                            .chain(match &claim.value {
                                Value::Text(text) => words(text),
                                _ => Vec::new(),
                            })
                            .map(|word| word.0)
                            .collect();
                        !sought.is_empty() && text.windows(sought.len()).any(|part| part == sought.as_slice())
                    })
                };
                let of = |fields: &curvary_record::Fields| {
                    fields
                        .iter()
                        .any(|(own, claims)| own.as_str() == key && holds(claims))
                };
                // What the whole run says holds for each of its traces, too: texts do not exclude each other.
                if of(&run.fields) || !run.traces.iter().any(|trace| of(&trace.fields)) {
                    return Said::Nothing;
                }
                Said::of(of(&trace.fields))
            }
            _ => Said::Nothing,
        }
    }
}

/// What a trace has of its own under a field that is a number.
fn own_number(trace: &Trace, key: &str) -> Option<(f64, Option<Unit>)> {
    let held = trace.held.iter().find(|held| held.quantity.as_str() == key);
    held.map(|held| (held.value, Some(held.unit.clone())))
        .or_else(|| number(trace.fields.get(key)?))
}

fn number(claim: &curvary_record::Claim) -> Option<(f64, Option<Unit>)> {
    match claim.value {
        Value::Number(value) => Some((value, claim.unit.clone())),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use curvary_record::{Column, Coordinate, Digest, Fields, Quantity, RunId, SourceRef, Technique};

    use super::*;

    fn cell(celsius: f64) -> Trace {
        let column = |quantity, unit: Unit| Column::new(quantity, unit, vec![0.0, 1.0]);
        let mut trace = Trace::new(
            column(Quantity::TIME, Unit::SECOND),
            column(Quantity::ABSORBANCE, Unit::ABSORBANCE),
        )
        .expect("as many y as x");
        trace
            .held
            .push(Coordinate::new(Quantity::TEMPERATURE, Unit::CELSIUS, celsius));
        trace
    }

    #[test]
    fn a_field_that_a_trace_holds_counts_for_that_trace() {
        let digest = Digest::of(b"cells");
        let run = Run {
            id: RunId::new(&digest, 0),
            source: SourceRef {
                path: "cells.csv".into(),
                digest,
                reader: "built-in/text-table".into(),
                reader_version: "1".into(),
                encoding: None,
                ordinal: 0,
                lines: None,
            },
            technique: Technique::TIME_COURSE,
            because: Vec::new(),
            fields: Fields::default(),
            traces: [37.0, 45.0, 52.0, 60.0].into_iter().map(cell).collect(),
            questions: Vec::new(),
            remarks: Vec::new(),
        };
        let of = |text: &str| Query::parse(text, &[]).expect("a query").traces(&run);
        assert_eq!(of("temp:37C"), Some(vec![0]));
        assert_eq!(of("betanin temp:310.15K"), Some(vec![0]));
        assert_eq!(of("temp:40..55C"), Some(vec![1, 2]));
        assert_eq!(of("temp:37C or temp:60C"), Some(vec![0, 3]));
        assert_eq!(of("temp:37C ph:7"), Some(vec![0]));
        assert_eq!(of("betanin"), None);
        assert_eq!(of("betanin or temp:37C"), None);
        assert_eq!(of("temp:30..70C"), None);
        assert_eq!(of("temp:5C"), Some(Vec::new()));
    }
}
