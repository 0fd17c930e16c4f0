//! Whether two readings say the same.

use std::collections::BTreeSet;

use curvary_formats::Reading;
use curvary_record::{Claim, Fields, Quantity, Run, Trace, Verdict};

/// A claim as it is compared: its field and its value with its unit.
pub(crate) type Said = (String, String);

/// The points of a reading as pairs of numbers.
pub(crate) type Points = BTreeSet<(u64, u64)>;

/// Free words: what nobody computes with or takes for a condition.
const FREE: [&str; 3] = ["title", "comment", "label"];

/// Everything that a reading claims, but for free words.
pub(crate) fn claims(reading: &Reading) -> BTreeSet<Said> {
    let mut said = BTreeSet::new();
    let mut of = |fields: &Fields| {
        for (key, claims) in fields.iter().filter(|(key, _)| !FREE.contains(&key.as_str())) {
            said.extend(claims.iter().map(|claim| (key.to_string(), value(claim))));
        }
    };
    for run in &reading.runs {
        of(&run.fields);
        run.traces.iter().for_each(|trace| of(&trace.fields));
    }
    said
}

fn value(claim: &Claim) -> String {
    let unit = claim.unit.as_ref().map_or("", |unit| unit.code());
    format!("{} {unit}", claim.value).trim().to_lowercase()
}

/// All points, minus zero as zero. A place in a list of single readings is a count of the reader's own, and no number.
pub(crate) fn points(reading: &Reading) -> Points {
    let traces = reading.runs.iter().flat_map(|run| &run.traces);
    let bits = |value: f64| (value + 0.0).to_bits();
    traces
        .flat_map(|trace| {
            let counted = trace.x.quantity == Quantity::INDEX;
            let pairs = trace.x.values.iter().zip(trace.y.values.iter());
            pairs
                .map(|(&x, &y)| (if counted { 0 } else { bits(x) }, bits(y)))
                .collect::<Vec<_>>()
        })
        .collect()
}

/// What is looked at beside numbers, quantities, units and the verdict.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Beside {
    /// The claims in both directions, and the labels of the curves.
    ClaimsAndLabels,
    /// The claims in both directions.
    Claims,
    /// Nothing: the numbers alone.
    Nothing,
}

/// The same verdict, runs, curves and numbers, whatever the order of the curves.
pub(crate) fn same(base: &Reading, other: &Reading, beside: Beside) -> Result<(), String> {
    if base.verdict() != other.verdict() {
        return Err(format!(
            "it was {} and is {}: {}",
            base.verdict().as_str(),
            other.verdict().as_str(),
            reasons(other)
        ));
    }
    same_runs(base, other, beside == Beside::ClaimsAndLabels)?;
    if beside == Beside::Nothing {
        return Ok(());
    }
    nothing_new(base, other, |_| false)?;
    match claims(base).difference(&claims(other)).next() {
        Some((key, value)) => Err(format!("{key} = {value} is no longer claimed")),
        None => Ok(()),
    }
}

pub(crate) fn same_runs(base: &Reading, other: &Reading, labels: bool) -> Result<(), String> {
    if base.runs.len() != other.runs.len() {
        return Err(format!(
            "there were {} runs, and are {}",
            base.runs.len(),
            other.runs.len()
        ));
    }
    for (at, (a, b)) in base.runs.iter().zip(&other.runs).enumerate() {
        if a.technique != b.technique {
            return Err(format!("run {at} was a {} and is a {}", a.technique, b.technique));
        }
        same_traces(a, b, labels).map_err(|why| format!("run {at}: {why}"))?;
    }
    Ok(())
}

fn same_traces(a: &Run, b: &Run, labels: bool) -> Result<(), String> {
    let mut left: Vec<&Trace> = b.traces.iter().collect();
    for trace in &a.traces {
        let mut nearest = String::from("it is not there");
        let met = left.iter().position(|other| match differs(trace, other, labels) {
            None => true,
            Some(why) => {
                if other.y.values == trace.y.values || nearest.starts_with("it is") {
                    nearest = why;
                }
                false
            }
        });
        let Some(met) = met else {
            let label = trace.label.as_deref().unwrap_or_default();
            return Err(format!("the curve `{label}` is another: {nearest}"));
        };
        left.remove(met);
    }
    match left.len() {
        0 => Ok(()),
        more => Err(format!("{more} curves more than before")),
    }
}

/// What makes two curves two.
fn differs(a: &Trace, b: &Trace, labels: bool) -> Option<String> {
    for (name, one, two) in [("x", &a.x, &b.x), ("y", &a.y, &b.y)] {
        if one.quantity != two.quantity && (known(&one.quantity) || known(&two.quantity)) {
            return Some(format!("{name} was {} and is {}", one.quantity, two.quantity));
        }
        if one.unit != two.unit {
            return Some(format!(
                "{name} was in {} and is in {}",
                one.unit.code(),
                two.unit.code()
            ));
        }
        // An index is a count of the reader's own.
        if one.quantity != Quantity::INDEX && *one.values != *two.values {
            return Some(format!(
                "the numbers of {name} differ ({} and {})",
                one.values.len(),
                two.values.len()
            ));
        }
    }
    let held = |trace: &Trace| -> BTreeSet<String> {
        let all = trace.held.iter();
        all.map(|held| format!("{} {} {}", held.quantity, held.value, held.unit.code()))
            .collect()
    };
    if held(a) != held(b) {
        return Some(format!("it held {:?} and holds {:?}", held(a), held(b)));
    }
    (labels && a.label != b.label).then(|| format!("its label was {:?} and is {:?}", a.label, b.label))
}

/// One of the quantities that laws and laboratories count on; others stand under a name of their own.
fn known(quantity: &Quantity) -> bool {
    [
        Quantity::WAVELENGTH,
        Quantity::WAVENUMBER,
        Quantity::ENERGY,
        Quantity::TIME,
        Quantity::ABSORBANCE,
        Quantity::TRANSMITTANCE,
        Quantity::REFLECTANCE,
        Quantity::TEMPERATURE,
        Quantity::CONCENTRATION,
        Quantity::RATE,
        Quantity::PH,
    ]
    .contains(quantity)
}

/// Nothing is claimed that was not claimed before, but for what `fine` lets pass.
pub(crate) fn nothing_new(
    base: &Reading,
    other: &Reading,
    fine: impl Fn(&Said) -> bool,
) -> Result<(), String> {
    let before = claims(base);
    match claims(other)
        .into_iter()
        .find(|said| !before.contains(said) && !fine(said))
    {
        Some((key, value)) => Err(format!("{key} = {value} is claimed now")),
        None => Ok(()),
    }
}

/// The outcome is no surer than it was, and what was read is not refused.
pub(crate) fn no_surer_and_not_refused(base: &Reading, other: &Reading) -> Result<(), String> {
    let (was, is) = (base.verdict(), other.verdict());
    let fine = match was {
        Verdict::Read => is == Verdict::Read || is == Verdict::InQuestion,
        Verdict::InQuestion => is == Verdict::InQuestion,
        _ => is != Verdict::Read,
    };
    if fine {
        Ok(())
    } else {
        Err(format!(
            "it was {} and is {}: {}",
            was.as_str(),
            is.as_str(),
            reasons(other)
        ))
    }
}

/// What a person is told about a reading, as code, message and line.
pub(crate) fn told(reading: &Reading) -> BTreeSet<String> {
    let of_runs = reading.runs.iter();
    let remarks = of_runs
        .clone()
        .flat_map(|run| &run.remarks)
        .chain(&reading.remarks);
    let questions = of_runs.flat_map(|run| &run.questions);
    remarks
        .map(|remark| format!("{} {} {:?}", remark.code, remark.message, remark.line()))
        .chain(questions.map(|question| format!("{} {}", question.code, question.message)))
        .collect()
}

fn reasons(reading: &Reading) -> String {
    let of_runs = reading.runs.iter();
    let questions = of_runs
        .flat_map(|run| &run.questions)
        .map(|question| &question.message);
    let all = questions.chain(reading.remarks.iter().map(|remark| &remark.message));
    all.take(2).cloned().collect::<Vec<_>>().join("; ")
}
