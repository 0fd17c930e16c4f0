//! Runs that say only in what they differ from one above them in the same frame.
//!
//! Runs of one instrument say much the same: their fields have the same keys, units and origins, their curves the same axes. A
//! line `{"like":{"above":3,…}}` takes the run three lines above and puts what it says itself in the place of what that one
//! says, member by member: as RFC 7396 merges JSON, where `null` takes a member away, and lists of objects of one length are
//! merged object by object. Then
//!
//! - `moved` is added to every line number: each `line`, and in `lines` each number of a pair, or the first number of each piece;
//! - `spans` is added to the spans, in the order of the names of their members: first what all starts gain, each less what the
//!   one before gains, and then the same of the lengths, in the difference form of JCAMP-DX;
//! - `id` is made of the digest and the ordinal, where it is not said.
//!
//! What is written is compared with the run that it gives, so that nothing depends on how alike two runs are.

use std::cell::RefCell;

use serde::Deserialize;
use serde_json::{Map, Value};

use super::merged::{MergedReader, MergedValue, Moves, WRONG, are_merged};
use super::{LineFault, RunShape, StoredRun};
use crate::{Digest, Run, RunId, difference};

/// Runs with more points are written as they are: their numbers are most of what they say. All else is 1.2 to 4.5 kB in the
/// demonstration data, and 4096 steps of two signs are 8 kB: what is left could not be half of the line, and only lines of half
/// the length are kept.
const MOST_POINTS: usize = 4096;

/// A run as JSON.
#[derive(Clone, Debug)]
pub struct RunTree(Value);

/// A run that others may be like: its members stand in the order of their names.
#[derive(Clone, Debug)]
pub struct ModelRun(Value);

impl RunTree {
    /// Whether others are compared with a run, and it with them.
    #[must_use]
    pub fn is_of_use(run: &Run) -> bool {
        run.points() <= MOST_POINTS
    }

    /// A run as JSON.
    ///
    /// # Errors
    /// As the serialiser.
    pub fn of(run: Run) -> serde_json::Result<Self> {
        serde_json::to_value(RunShape::from(StoredRun(run))).map(Self)
    }

    /// The run as the line that says all of it.
    #[must_use]
    pub fn whole(&self) -> &Value {
        &self.0
    }

    /// The run as one that others may be like.
    #[must_use]
    pub fn into_model(mut self) -> ModelRun {
        self.0.sort_all_objects();
        ModelRun(self.0)
    }
}

impl ModelRun {
    /// The run in a line of a record file, unless it is one that says only how it differs.
    #[must_use]
    pub fn in_line(line: &[u8]) -> Option<Self> {
        let mut value: Value = serde_json::from_slice(line).ok()?;
        value.get_mut("run").map(|run| RunTree(run.take()).into_model())
    }

    /// What a run that stands `above` lines below this one says; `None` where that cannot be said so.
    #[must_use]
    pub fn difference(&self, run: &RunTree, above: u32) -> Option<Value> {
        let moved = first_line(&run.0)?.checked_sub(first_line(&self.0)?)?;
        let mut rest = differing("", &self.0, &run.0, moved)?.unwrap_or_else(|| Map::new().into());
        let named = made_id(MergedValue::Whole(&run.0)).as_deref() == run.0.get("id").and_then(Value::as_str);
        if named && let Value::Object(rest) = &mut rest {
            rest.shift_remove("id");
        }
        rest.sort_all_objects();
        let mut pairs = Vec::new();
        let both = &mut |had, has| pairs.push((had, has));
        let is_told = MergedValue::of(&self.0, &rest).is(&run.0, named, moved, both);
        if !is_told {
            return None;
        }
        let starts = steps(pairs.iter().map(|(had, has)| has.0.checked_sub(had.0)));
        let length = |(start, end): (i64, i64)| end.checked_sub(start);
        let lengths = steps(
            pairs
                .iter()
                .map(|&(had, has)| length(has)?.checked_sub(length(had)?)),
        );
        let gains: Vec<i64> = starts.chain(lengths).collect::<Option<_>>()?;
        let mut said = Map::new();
        said.insert("above".into(), above.into());
        if moved != 0 {
            said.insert("moved".into(), moved.into());
        }
        if gains.iter().any(|gain| *gain != 0) {
            said.insert("spans".into(), difference::written(gains.into_iter()).into());
        }
        if let Value::Object(rest) = rest {
            said.extend(rest);
        }
        Some(Value::Object(said))
    }

    /// The run that says so in what it differs from this one.
    ///
    /// # Errors
    /// With what is wrong.
    pub fn differing(&self, said: Value) -> Result<Run, LineFault> {
        let Value::Object(mut said) = said else {
            return Err("expected an object".into());
        };
        said.shift_remove("above");
        let moved = match said.shift_remove("moved") {
            None => 0,
            Some(moved) => moved.as_i64().ok_or("`moved` is no whole number")?,
        };
        let gains = match said.shift_remove("spans") {
            None => None,
            Some(Value::String(gains)) => Some(gains),
            Some(_) => return Err("`spans` is no text".into()),
        };
        let has_id = said.contains_key("id");
        let mut said = Value::Object(said);
        said.sort_all_objects();
        let run = MergedValue::of(&self.0, &said);
        let moves = Moves {
            moved,
            spans: match gains {
                None => None,
                Some(gains) => Some(RefCell::new(gained(&gains, run.count_spans())?.into_iter())),
            },
            id: if has_id {
                None
            } else {
                Some(made_id(run).ok_or("no digest and ordinal")?)
            },
        };
        StoredRun::deserialize(MergedReader::new(run, &moves))
            .map(|run| run.0)
            .map_err(|error| LineFault::Json(error.to_string()))
    }
}

/// What the starts and the lengths of so many spans gain.
fn gained(text: &str, count: usize) -> Result<Vec<(i64, i64)>, LineFault> {
    let mut all = Vec::with_capacity(2 * count);
    difference::read(text, 2 * count, &mut all)?;
    if all.len() != 2 * count {
        return Err(WRONG.into());
    }
    let (starts, lengths) = all.split_at(count);
    let sum = |sum: &mut i64, step: &i64| {
        *sum = sum.saturating_add(*step);
        Some(*sum)
    };
    Ok(starts
        .iter()
        .scan(0, sum)
        .zip(lengths.iter().scan(0, sum))
        .collect())
}

/// The numbers, each less the one before.
fn steps(numbers: impl Iterator<Item = Option<i64>>) -> impl Iterator<Item = Option<i64>> {
    numbers.scan(0_i64, |before, number| {
        let step = number.and_then(|number| number.checked_sub(std::mem::replace(before, number)));
        Some(step)
    })
}

/// The name that a run's source and place give it.
fn made_id(run: MergedValue<'_>) -> Option<String> {
    let source = run.get("source")?;
    let digest = Digest::deserialize(source.get("digest")?.whole()?).ok()?;
    let ordinal = usize::try_from(source.get("ordinal")?.whole()?.as_u64()?).ok()?;
    Some(RunId::new(&digest, ordinal).as_str().to_owned())
}

/// The first of the lines on which a run stands; 0 where it has none.
fn first_line(run: &Value) -> Option<i64> {
    match run.get("source")?.get("lines") {
        None => Some(0),
        Some(lines) => lines.get(0)?.as_i64(),
    }
}

/// What `own` says otherwise than `model`, less `moved` in its lines; none where it says the same. Spans in the place of spans
/// are left to what they gain.
///
/// # Errors
/// `None` where a line cannot be moved.
fn differing(key: &str, model: &Value, own: &Value, moved: i64) -> Option<Option<Value>> {
    match (model, own) {
        (Value::Object(model), Value::Object(own)) => {
            if is_span(key, model) && is_span(key, own) {
                return Some(None);
            }
            let mut said = Map::new();
            for (key, value) in own {
                match model.get(key) {
                    Some(theirs) => {
                        if let Some(otherwise) = differing(key, theirs, value, moved)? {
                            said.insert(key.clone(), otherwise);
                        }
                    }
                    None if value.is_null() => {}
                    None => {
                        said.insert(key.clone(), moved_back(key, value, moved)?);
                    }
                }
            }
            for (key, value) in model {
                if !own.contains_key(key) && !value.is_null() {
                    said.insert(key.clone(), Value::Null);
                }
            }
            Some((!said.is_empty()).then_some(Value::Object(said)))
        }
        (Value::Array(model), Value::Array(own)) if key != "lines" && are_merged(model, own) => {
            let pairs = model.iter().zip(own);
            let all: Vec<Option<Value>> = pairs
                .map(|(model, own)| differing("", model, own, moved))
                .collect::<Option<_>>()?;
            let says = all.iter().any(Option::is_some);
            let all = all
                .into_iter()
                .map(|item| item.unwrap_or_else(|| Map::new().into()));
            Some(says.then(|| all.collect()))
        }
        _ if key != "line" && !own.is_array() && !own.is_object() => {
            Some((!is_same(model, own)).then(|| own.clone()))
        }
        _ => {
            let own = moved_back(key, own, moved)?;
            Some((!is_same(model, &own)).then_some(own))
        }
    }
}

/// Whether an object tells where a span begins and ends, and nothing else.
fn is_span(key: &str, value: &Map<String, Value>) -> bool {
    let has = |end| value.get(end).is_some_and(|end| end.as_i64().is_some());
    key == "span" && value.len() == 2 && has("start") && has("end")
}

/// Whether two values are the same to the last bit.
fn is_same(one: &Value, other: &Value) -> bool {
    let mut same = true;
    let spans = &mut |one, other| same &= one == other;
    MergedValue::Whole(one).is(other, false, 0, spans) && same
}

/// A member with its lines moved back.
fn moved_back(key: &str, value: &Value, moved: i64) -> Option<Value> {
    let mut value = value.clone();
    if moved != 0 {
        move_lines(key, &mut value, moved.checked_neg()?)?;
    }
    Some(value)
}

fn move_line(line: &mut Value, by: i64) -> Option<()> {
    let moved = line.as_i64()?.checked_add(by)?;
    *line = moved.into();
    Some(())
}

fn move_lines(key: &str, value: &mut Value, by: i64) -> Option<()> {
    match (key, value) {
        ("line", line @ Value::Number(_)) => move_line(line, by),
        ("lines", Value::Array(lines)) => lines.iter_mut().try_for_each(|line| match line {
            Value::Array(piece) => move_line(piece.first_mut()?, by),
            line => move_line(line, by),
        }),
        (_, Value::Object(members)) => members
            .iter_mut()
            .try_for_each(|(key, value)| move_lines(key, value, by)),
        (_, Value::Array(items)) => items.iter_mut().try_for_each(|item| move_lines("", item, by)),
        _ => Some(()),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde_json::json;

    use super::*;
    use crate::{
        Claim, Column, Decimals, Fields, Origin, Place, Quantity, SourceRef, Span, Technique, Trace, Unit,
    };

    fn run(digest: &Digest, ordinal: usize, sample: &str, y: &[f64], line: u32) -> Run {
        let text = |value: &str, line: u32| {
            let start = line as usize * 20;
            let place = Place {
                line,
                column: 9,
                span: Some(Span::new(start, start + value.len())),
                ..Place::default()
            };
            Claim::text(value, Origin::Source(place))
        };
        let mut fields = Fields::default();
        fields.claim("sample", text(sample, line));
        fields.claim("operator", text("nobody", line + 1));
        let x: Vec<f64> = (0..u32::try_from(y.len()).expect("few")).map(f64::from).collect();
        let x = Column::new(Quantity::TIME, Unit::ucum("s").expect("a unit"), x);
        let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y.to_vec())
            .with_decimals(Decimals::uniform(4, y.len()));
        let mut trace = Trace::new(x, y).expect("of one length");
        trace.label = sample.len().is_multiple_of(2).then(|| sample.to_owned());
        trace.lines.push_run(line as usize + 3, 1, trace.len());
        Run {
            id: RunId::new(digest, ordinal),
            source: SourceRef {
                path: "a.txt".into(),
                digest: digest.clone(),
                reader: "built-in/text-table".into(),
                reader_version: "1".into(),
                encoding: None,
                ordinal: u32::try_from(ordinal).expect("few"),
                lines: Some((line, line + 3 + u32::try_from(trace.len()).expect("few"))),
            },
            technique: Technique::TIME_COURSE,
            because: vec!["x is time".into()],
            fields,
            traces: vec![trace],
            questions: Vec::new(),
            remarks: Vec::new(),
        }
    }

    fn model(run: &Run) -> ModelRun {
        tree(run).into_model()
    }

    fn tree(run: &Run) -> RunTree {
        RunTree::of(run.clone()).expect("JSON")
    }

    #[test]
    fn a_sibling_says_little() {
        let digest = Digest::of(b"x");
        let one = run(&digest, 0, "NADH 1", &[0.1, 0.2, 0.3, 0.4], 5);
        let two = run(&digest, 1, "NADH 22", &[0.1, 0.2, 0.35, 0.4], 25);
        let (one, other) = (model(&one), tree(&two));
        let said = one.difference(&other, 3).expect("they are alike");
        assert_eq!(
            said,
            json!({
                "above": 3, "moved": 20, "spans": "M00%%J",
                "source": {"ordinal": 1},
                "fields": {"sample": {"value": "NADH 22", "raw": "NADH 22"}},
                "traces": [{"label": null, "y": {"values": {"steps": "J000%N00j000"}}}],
            })
        );
        assert_eq!(one.differing(said), Ok(two));
    }

    #[test]
    fn a_minus_zero_is_another_number() {
        let digest = Digest::of(b"x");
        let plus = run(&digest, 0, "a", &[0.0, 1.0 / 3.0, 0.5], 5);
        let minus = run(&digest, 1, "a", &[-0.0, 1.0 / 3.0, 0.5], 5);
        let said = model(&plus).difference(&tree(&minus), 1).expect("they are alike");
        let again = model(&plus).differing(said).expect("it reads");
        assert_eq!(again.traces[0].y.values[0].to_bits(), (-0.0_f64).to_bits());
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let digest = Digest::of(b"x");
        let model = model(&run(&digest, 0, "a", &[0.1, 0.2], 5));
        for wrong in [
            json!([]),
            json!({"moved": "x"}),
            json!({"moved": i64::MAX}),
            json!({"moved": -100}),
            json!({"spans": "1"}),
            json!({"spans": "J"}),
            json!({"spans": "%s99999"}),
            json!({"spans": 1}),
            json!({"source": null}),
            json!({"traces": null}),
            json!({"traces": [{"x": null}]}),
        ] {
            assert!(model.differing(wrong.clone()).is_err(), "{wrong}");
        }
    }

    proptest! {
        #[test]
        fn whatever_two_runs_say_it_comes_back(
            samples in prop::collection::vec("[a-zé ]{0,12}", 2),
            values in prop::collection::vec(prop::collection::vec(prop::num::f64::NORMAL | prop::num::f64::ZERO, 1..9), 2),
            lines in prop::collection::vec(1_u32..100_000, 2),
            same in any::<bool>(),
        ) {
            let digests = [Digest::of(b"x"), Digest::of(if same { b"x" } else { b"y" })];
            let made = |n: usize| run(&digests[n], n, &samples[n], &values[n], lines[n]);
            let (one, two) = (made(0), made(1));
            let said = model(&one).difference(&tree(&two), 1);
            if let Some(said) = said {
                let text = serde_json::to_string(&said).expect("JSON");
                let said = serde_json::from_str(&text).expect("JSON");
                let again = model(&one).differing(said);
                prop_assert_eq!(format!("{again:?}"), format!("{:?}", Ok::<_, String>(two)));
            }
        }
    }
}
