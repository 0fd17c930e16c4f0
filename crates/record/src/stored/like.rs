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

use serde_json::{Map, Value};

use super::{LineFault, RunShape, StoredRun};
use crate::{Digest, Run, RunId, difference};

/// Runs with more points are written as they are: their numbers are most of what they say. All else is 1.2 to 4.5 kB in the
/// demonstration data, and 4096 steps of two signs are 8 kB: what is left could not be half of the line, and only lines of half
/// the length are kept.
const MOST_POINTS: usize = 4096;

/// A run as JSON, which others may be like.
#[derive(Clone, Debug)]
pub struct RunTree(Value);

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

    /// The run in a line of a record file, unless it is one that says only how it differs.
    #[must_use]
    pub fn in_line(line: &[u8]) -> Option<Self> {
        let mut value: Value = serde_json::from_slice(line).ok()?;
        value.get_mut("run").map(|run| Self(run.take()))
    }

    /// What a run that stands `above` lines below this one says; `None` where that cannot be said so.
    #[must_use]
    pub fn difference(&self, run: &mut Self, above: u32) -> Option<Value> {
        let moved = first_line(&run.0)? - first_line(&self.0)?;
        let (mut theirs, mut ours) = (Vec::new(), Vec::new());
        spans(&self.0, &mut theirs);
        spans(&run.0, &mut ours);
        // As many spans are told by what they gain; others as they stand.
        let pairs = theirs.len() == ours.len();
        let gains = ours.iter().zip(&theirs).filter(|_| pairs);
        let gains: Vec<i64> = steps(gains.clone().map(|(own, their)| own.0 - their.0))
            .chain(steps(
                gains.map(|(own, their)| own.1 - own.0 - (their.1 - their.0)),
            ))
            .collect();
        move_lines(&mut run.0, -moved)?;
        if pairs {
            let mut theirs = theirs.into_iter();
            set_spans(&mut run.0, &mut || theirs.next())?;
        }
        let rest = differing(&self.0, &run.0);
        move_lines(&mut run.0, moved)?;
        if pairs {
            let mut ours = ours.into_iter();
            set_spans(&mut run.0, &mut || ours.next())?;
        }
        let Value::Object(mut rest) = rest else {
            return None;
        };
        if made_id(&run.0).as_deref() == run.0.get("id").and_then(Value::as_str) {
            rest.remove("id");
        }
        let mut said = Map::new();
        said.insert("above".into(), above.into());
        if moved != 0 {
            said.insert("moved".into(), moved.into());
        }
        if gains.iter().any(|gain| *gain != 0) {
            said.insert("spans".into(), difference::written(gains.into_iter()).into());
        }
        said.extend(rest);
        let said = Value::Object(said);
        let again = self.unfolded(said.clone()).ok()?;
        same(&again, &run.0).then_some(said)
    }

    /// The run that says so in what it differs from this one.
    ///
    /// # Errors
    /// With what is wrong.
    pub fn differing(&self, said: Value) -> Result<Run, LineFault> {
        let run = self.unfolded(said)?;
        serde_json::from_value::<StoredRun>(run)
            .map(|run| run.0)
            .map_err(|error| LineFault::Json(error.to_string()))
    }

    fn unfolded(&self, said: Value) -> Result<Value, LineFault> {
        const WRONG: &str = "a line or a span that no run has";
        let Value::Object(mut said) = said else {
            return Err("expected an object".into());
        };
        said.remove("above");
        let moved = match said.remove("moved") {
            None => 0,
            Some(moved) => moved.as_i64().ok_or("`moved` is no whole number")?,
        };
        let gains = match said.remove("spans") {
            None => None,
            Some(Value::String(gains)) => Some(gains),
            Some(_) => return Err("`spans` is no text".into()),
        };
        let has_id = said.contains_key("id");
        let mut run = merged(&self.0, Value::Object(said));
        move_lines(&mut run, moved).ok_or(WRONG)?;
        if let Some(gains) = gains {
            let mut had = Vec::new();
            spans(&run, &mut had);
            let mut all = Vec::new();
            difference::read(&gains, 2 * had.len(), &mut all)?;
            let (starts, lengths) = all.split_at_checked(had.len()).ok_or(WRONG)?;
            let sum = |sum: &mut i64, step: &i64| {
                *sum = sum.saturating_add(*step);
                Some(*sum)
            };
            let gained = starts.iter().scan(0, sum).zip(lengths.iter().scan(0, sum));
            let mut spans = had.iter().zip(gained).map(|(&(start, end), (starts, lengths))| {
                let from = start.saturating_add(starts);
                (from, from.saturating_add(end - start).saturating_add(lengths))
            });
            set_spans(&mut run, &mut || spans.next()).ok_or(WRONG)?;
        }
        if !has_id {
            let id = made_id(&run).ok_or("no digest and ordinal")?;
            if let Some(run) = run.as_object_mut() {
                run.insert("id".into(), id.into());
            }
        }
        Ok(run)
    }
}

/// The numbers, each less the one before.
fn steps(numbers: impl Iterator<Item = i64>) -> impl Iterator<Item = i64> {
    numbers.scan(0, |before, number| {
        Some(number - std::mem::replace(before, number))
    })
}

/// The name that a run's source and place give it.
fn made_id(run: &Value) -> Option<String> {
    let source = run.get("source")?;
    let digest: Digest = serde_json::from_value(source.get("digest")?.clone()).ok()?;
    let ordinal = usize::try_from(source.get("ordinal")?.as_u64()?).ok()?;
    Some(RunId::new(&digest, ordinal).as_str().to_owned())
}

/// The first of the lines on which a run stands; 0 where it has none.
fn first_line(run: &Value) -> Option<i64> {
    match run.get("source")?.get("lines") {
        None => Some(0),
        Some(lines) => lines.get(0)?.as_i64(),
    }
}

/// Whether two values are the same to the last bit.
fn same(one: &Value, other: &Value) -> bool {
    match (one, other) {
        (Value::Object(one), Value::Object(other)) => {
            // What is not there is null.
            let covers = |one: &Map<String, Value>, other: &Map<String, Value>| {
                one.iter()
                    .all(|(key, value)| same(value, other.get(key).unwrap_or(&Value::Null)))
            };
            covers(one, other)
                && other
                    .iter()
                    .all(|(key, value)| one.contains_key(key) || value.is_null())
        }
        (Value::Array(one), Value::Array(other)) => {
            one.len() == other.len() && one.iter().zip(other).all(|(one, other)| same(one, other))
        }
        (Value::Number(one), Value::Number(other)) => match (one.is_f64(), other.is_f64()) {
            (true, true) => one.as_f64().map(f64::to_bits) == other.as_f64().map(f64::to_bits),
            (false, false) => one == other,
            _ => false,
        },
        _ => one == other,
    }
}

/// Whether two lists are merged object by object.
fn are_merged(one: &[Value], other: &[Value]) -> bool {
    one.len() == other.len() && one.iter().chain(other).all(Value::is_object)
}

/// What `own` says otherwise than `model`.
fn differing(model: &Value, own: &Value) -> Value {
    match (model, own) {
        (Value::Object(model), Value::Object(own)) => {
            let mut said = Map::new();
            for (key, value) in own {
                match model.get(key) {
                    Some(theirs) if same(theirs, value) => {}
                    Some(theirs) => {
                        said.insert(key.clone(), differing(theirs, value));
                    }
                    None if value.is_null() => {}
                    None => {
                        said.insert(key.clone(), value.clone());
                    }
                }
            }
            for (key, value) in model {
                if !own.contains_key(key) && !value.is_null() {
                    said.insert(key.clone(), Value::Null);
                }
            }
            Value::Object(said)
        }
        (Value::Array(model), Value::Array(own)) if are_merged(model, own) => {
            let pairs = model.iter().zip(own);
            Value::Array(pairs.map(|(model, own)| differing(model, own)).collect())
        }
        _ => own.clone(),
    }
}

/// A model with what is said otherwise in its place. Of the model only what stays is copied.
fn merged(model: &Value, said: Value) -> Value {
    match (model, said) {
        (Value::Object(model), Value::Object(mut said)) => {
            let mut all = Map::with_capacity(model.len() + said.len());
            for (key, theirs) in model {
                let value = match said.shift_remove(key) {
                    Some(Value::Null) => continue,
                    Some(own) => merged(theirs, own),
                    None => theirs.clone(),
                };
                all.insert(key.clone(), value);
            }
            all.extend(said.into_iter().filter(|(_, value)| !value.is_null()));
            Value::Object(all)
        }
        (Value::Array(model), Value::Array(said)) if are_merged(model, &said) => Value::Array(
            model
                .iter()
                .zip(said)
                .map(|(model, said)| merged(model, said))
                .collect(),
        ),
        (_, said) => said,
    }
}

fn move_line(line: &mut Value, by: i64) -> Option<()> {
    let moved = line.as_i64()?.checked_add(by)?;
    *line = moved.into();
    Some(())
}

fn move_lines(value: &mut Value, by: i64) -> Option<()> {
    match value {
        _ if by == 0 => {}
        Value::Object(members) => {
            for (key, value) in members {
                match (key.as_str(), value) {
                    ("line", line @ Value::Number(_)) => move_line(line, by)?,
                    ("lines", Value::Array(lines)) => {
                        for line in lines {
                            match line {
                                Value::Array(piece) => move_line(piece.first_mut()?, by)?,
                                line => move_line(line, by)?,
                            }
                        }
                    }
                    (_, value) => move_lines(value, by)?,
                }
            }
        }
        Value::Array(items) => {
            for item in items {
                move_lines(item, by)?;
            }
        }
        _ => {}
    }
    Some(())
}

/// Start and end of what is a span.
fn span_of(key: &str, value: &Value) -> Option<(i64, i64)> {
    if key != "span" {
        return None;
    }
    Some((value.get("start")?.as_i64()?, value.get("end")?.as_i64()?))
}

/// Every span, in the order of the names of members.
fn spans(value: &Value, all: &mut Vec<(i64, i64)>) {
    match value {
        Value::Object(members) => {
            for (key, value) in sorted(members) {
                match span_of(key, value) {
                    Some(span) => all.push(span),
                    None => spans(value, all),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| spans(item, all)),
        _ => {}
    }
}

fn sorted(members: &Map<String, Value>) -> Vec<(&String, &Value)> {
    let mut members: Vec<_> = members.iter().collect();
    members.sort_unstable_by(|one, other| one.0.cmp(other.0));
    members
}

fn set_spans(value: &mut Value, next: &mut dyn FnMut() -> Option<(i64, i64)>) -> Option<()> {
    match value {
        Value::Object(members) => {
            let mut members: Vec<_> = members.iter_mut().collect();
            members.sort_unstable_by(|one, other| one.0.cmp(other.0));
            for (key, value) in members {
                if span_of(key, value).is_some() {
                    let (start, end) = next()?;
                    let span = value.as_object_mut()?;
                    span.insert("start".into(), start.into());
                    span.insert("end".into(), end.into());
                } else {
                    set_spans(value, next)?;
                }
            }
        }
        Value::Array(items) => {
            for item in items {
                set_spans(item, next)?;
            }
        }
        _ => {}
    }
    Some(())
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

    fn tree(run: &Run) -> RunTree {
        RunTree::of(run.clone()).expect("JSON")
    }

    #[test]
    fn a_sibling_says_little() {
        let digest = Digest::of(b"x");
        let one = run(&digest, 0, "NADH 1", &[0.1, 0.2, 0.3, 0.4], 5);
        let two = run(&digest, 1, "NADH 22", &[0.1, 0.2, 0.35, 0.4], 25);
        let (one, mut other) = (tree(&one), tree(&two));
        let said = one.difference(&mut other, 3).expect("they are alike");
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
        let said = tree(&plus)
            .difference(&mut tree(&minus), 1)
            .expect("they are alike");
        let again = tree(&plus).differing(said).expect("it reads");
        assert_eq!(again.traces[0].y.values[0].to_bits(), (-0.0_f64).to_bits());
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let digest = Digest::of(b"x");
        let model = tree(&run(&digest, 0, "a", &[0.1, 0.2], 5));
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
            let mut other = tree(&two);
            let said = tree(&one).difference(&mut other, 1);
            prop_assert_eq!(&other.0, &tree(&two).0);
            if let Some(said) = said {
                let text = serde_json::to_string(&said).expect("JSON");
                let said = serde_json::from_str(&text).expect("JSON");
                let again = tree(&one).differing(said);
                prop_assert_eq!(format!("{again:?}"), format!("{:?}", Ok::<_, String>(two)));
            }
        }
    }
}
