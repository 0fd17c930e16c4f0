//! Whether what was read of a case of the corpus is its truth.

use std::fs;
use std::path::Path;

use curvary_record::Unit;
use serde_json::Value;

/// Nothing, or why not.
pub type Verdict = Result<(), String>;

/// Whether a reading is what a case's truth wants, by the rules of `tests/corpus/README.md`.
///
/// # Errors
/// Why it is not.
pub fn judge(wanted: &Value, found: &Value) -> Verdict {
    let verdict = found["verdict"].as_str().unwrap_or_default();
    let runs = list(&found["runs"]);
    never(wanted, runs)?;
    let as_wanted = wanted["verdict"] == verdict;
    let fine = as_wanted
        || list(&wanted["verdicts_also_fine"])
            .iter()
            .any(|fine| *fine == *verdict);
    if !fine {
        return Err(format!(
            "the verdict is {verdict}, wanted {}: {}",
            wanted["verdict"],
            reasons(found)
        ));
    }
    match verdict {
        "refused" => {
            if runs.is_empty() {
                Ok(())
            } else {
                Err("a refused file has runs".into())
            }
        }
        // Who answers the question decides, so the values are compared only where the question was wanted.
        "in-question" if !as_wanted => Ok(()),
        _ => {
            matches(wanted, runs)?;
            if verdict == "read" {
                told(wanted, found, runs)
            } else {
                Ok(())
            }
        }
    }
}

/// The truth of the case in a folder, and what the program wrote of it into another.
///
/// # Errors
/// What of the two is missing or no JSON.
pub fn truth_and_reading(case: &Path, out: &Path) -> Result<(Value, Value), String> {
    let read = |path: &Path| -> Result<Value, String> {
        let text = fs::read_to_string(path).map_err(|error| format!("{}: {error}", path.display()))?;
        serde_json::from_str(&text).map_err(|error| format!("{}: {error}", path.display()))
    };
    let wanted = read(&case.join("expect.json"))?;
    let written = fs::read_dir(out).map_err(|error| format!("{}: {error}", out.display()))?;
    let file = written
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .find(|path| {
            path.file_name()
                .is_some_and(|name| name.to_string_lossy().starts_with("input."))
        })
        .ok_or("nothing was written for it")?;
    Ok((wanted, read(&file)?))
}

/// The entries of a list; none where the value is no list.
#[must_use]
pub fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// The first remarks and questions of a reading, in one line.
#[must_use]
pub fn reasons(found: &Value) -> String {
    let questions = list(&found["runs"])
        .iter()
        .flat_map(|run| list(&run["questions"]));
    let all = list(&found["remarks"]).iter().chain(questions);
    let texts: Vec<&str> = all
        .filter_map(|remark| remark["message"].as_str())
        .take(4)
        .collect();
    texts.join("; ")
}

/// The silent errors: numbers, fields and quantities that must not occur, whatever the verdict.
fn never(wanted: &Value, runs: &[Value]) -> Verdict {
    let traces = || runs.iter().flat_map(|run| list(&run["traces"]));
    for banned in list(&wanted["never"]).iter().filter_map(Value::as_f64) {
        // Which row it is is the reader's own count.
        let counted = |trace: &Value| trace["x"]["quantity"] == "index";
        let mut values = traces().flat_map(|trace| {
            let x = (!counted(trace)).then(|| list(&trace["x"]["values"]));
            list(&trace["y"]["values"]).iter().chain(x.into_iter().flatten())
        });
        if values.any(|value| value.as_f64() == Some(banned)) {
            return Err(format!("the number {banned} occurs, which must never be read"));
        }
    }
    if let Some(fields) = wanted["fields_never"].as_object() {
        for (key, values) in fields {
            for run in runs {
                let given = &run["fields"][key]["value"];
                if list(values)
                    .iter()
                    .any(|banned| same_value(banned, &run["fields"][key]))
                {
                    return Err(format!("the field {key} is {given}, which must never be read"));
                }
                // A wavelength at which was measured is held by the traces.
                let mut held = list(&run["traces"])
                    .iter()
                    .flat_map(|trace| list(&trace["held"]))
                    .filter(|held| held["quantity"] == **key);
                if let Some(held) =
                    held.find(|held| list(values).iter().any(|banned| same_value(banned, held)))
                {
                    return Err(format!(
                        "{key} {} is held, which must never be read",
                        held["value"]
                    ));
                }
            }
        }
    }
    for key in ["y_must_not_be", "extra_y_must_not_be"] {
        let Some(banned) = wanted[key].as_str() else {
            continue;
        };
        let expected = |truth: &Value| {
            let traces = list(&truth["runs"]).iter().flat_map(|run| list(&run["traces"]));
            traces.filter(|trace| trace["y"]["quantity"] == *banned).count()
        };
        // Of several truths the one that has most of them: which of them is met is asked later.
        let truths = list(&wanted["either"]).iter().chain([wanted]);
        let expected = truths.map(expected).max().unwrap_or(0);
        let allowed = if key == "extra_y_must_not_be" { expected } else { 0 };
        if traces().filter(|trace| trace["y"]["quantity"] == *banned).count() > allowed {
            return Err(format!("a trace is called {banned}, which it is not"));
        }
    }
    Ok(())
}

/// The fields of which a truth lists all that its file states, unless it says otherwise.
pub const FIELDS_ALL: [&str; 8] = [
    "sample",
    "temperature",
    "ph",
    "path-length",
    "date",
    "operator",
    "wavelength",
    "concentration",
];

/// No claim is invented: of the fields in `fields_all` each value is one that the truth lists, of that run where the runs
/// stand one beside the other, else of any.
///
/// # Errors
/// The claim that is invented.
pub fn nothing_invented(wanted: &Value, runs: &[Value]) -> Verdict {
    let named = wanted["fields_all"]
        .as_array()
        .map(|keys| keys.iter().filter_map(Value::as_str).collect());
    let keys: Vec<&str> = named.unwrap_or_else(|| FIELDS_ALL.to_vec());
    let mut truths: Vec<&Value> = list(&wanted["runs"]).iter().collect();
    let either = list(&wanted["either"]);
    truths.extend(either.iter().flat_map(|truth| list(&truth["runs"])));
    let beside =
        either.is_empty() && truths.len() == runs.len() && wanted["runs_may_be_split"] != Value::Bool(true);
    for (at, run) in runs.iter().enumerate() {
        let own = if beside { &truths[at..=at] } else { &truths[..] };
        for key in &keys {
            let stated: Vec<&Value> = own
                .iter()
                .flat_map(|truth| list(&truth["traces"]).iter().chain([*truth]))
                .map(|holder| &holder["fields"][key])
                .filter(|value| !value.is_null())
                .chain(list(&wanted["fields_fine"][key]))
                .collect();
            let holders = list(&run["traces"]).iter().chain([run]);
            let entries = holders.map(|holder| &holder["fields"][key]);
            let claims = entries.flat_map(|entry| list(&entry["also"]).iter().chain([entry]));
            for claim in claims.filter(|claim| !claim.is_null()) {
                if !stated.iter().any(|value| same_value(value, claim)) {
                    return Err(format!(
                        "run {at} claims {key} = {}, which its file does not say",
                        claim["value"]
                    ));
                }
            }
        }
    }
    Ok(())
}

/// What must be told: absent values, remarks, the uncertain end.
fn told(wanted: &Value, found: &Value, runs: &[Value]) -> Verdict {
    let remarks: Vec<String> = list(&found["remarks"])
        .iter()
        .chain(runs.iter().flat_map(|run| list(&run["questions"])))
        .map(|remark| remark.to_string().to_lowercase())
        .collect();
    for needed in list(&wanted["remarks_contain"]).iter().filter_map(Value::as_str) {
        let met = needed
            .to_lowercase()
            .split('|')
            .any(|part| remarks.iter().any(|remark| remark.contains(part)));
        if !met {
            return Err(format!("no remark says `{needed}`: {}", reasons(found)));
        }
    }
    let expected = wanted["absent"].as_u64().unwrap_or(0);
    let marked: u64 = runs
        .iter()
        .flat_map(|run| list(&run["traces"]))
        .map(|trace| trace["absent"].as_u64().unwrap_or(0))
        .sum();
    // Where nothing stood, or a number that is a marker, a remark counts what is absent: "2 cells of … are empty". A
    // curve of which nothing is left has no count of its own, but the remark on its cells has.
    let counted = |codes: &[&str]| -> u64 {
        list(&found["remarks"])
            .iter()
            .filter(|remark| codes.iter().any(|code| remark["code"] == *code))
            .filter_map(|remark| leading_count(remark["message"].as_str()?))
            .sum()
    };
    let absent =
        marked.max(counted(&["beyond-range", "missing-value"])) + counted(&["empty-cell", "sentinel-value"]);
    if absent < expected {
        return Err(format!(
            "{absent} values are told to be absent, wanted {expected}"
        ));
    }
    if wanted["last_point_uncertain"] == true && remarks.is_empty() {
        return Err("the last number may be incomplete, and no remark says so".into());
    }
    Ok(())
}

/// The number that a message begins with.
fn leading_count(message: &str) -> Option<u64> {
    message.split_whitespace().next()?.parse().ok()
}

/// Whether the runs are those of the truth, or of one of several truths.
///
/// # Errors
/// What differs.
pub fn matches(wanted: &Value, runs: &[Value]) -> Verdict {
    let either = list(&wanted["either"]);
    if either.is_empty() {
        return same_runs(wanted, list(&wanted["runs"]), runs);
    }
    let mut why = String::new();
    for truth in either {
        match same_runs(wanted, list(&truth["runs"]), runs) {
            Ok(()) => return Ok(()),
            Err(error) => why = format!("{why}\n  or {error}"),
        }
    }
    Err(format!("none of {} truths matches:{why}", either.len()))
}

fn same_runs(wanted: &Value, truths: &[Value], runs: &[Value]) -> Verdict {
    if truths.is_empty() {
        return Ok(());
    }
    let extra_traces = wanted["extra_traces_fine"] == true;
    if wanted["runs_may_be_split"] == true {
        let expected: Vec<&Value> = truths.iter().flat_map(|run| list(&run["traces"])).collect();
        let given: Vec<&Value> = runs.iter().flat_map(|run| list(&run["traces"])).collect();
        return same_traces(&expected, &given, extra_traces);
    }
    let mut left = runs;
    let mut why = String::new();
    for (index, truth) in truths.iter().enumerate() {
        let optional = truth["optional"] == true;
        let candidates = if wanted["extra_runs_fine"] == true {
            left.len()
        } else {
            left.len().min(1)
        };
        let mut met = false;
        for candidate in 0..candidates {
            match same_run(truth, &left[candidate], extra_traces) {
                Ok(()) => {
                    left = &left[candidate + 1..];
                    met = true;
                    break;
                }
                Err(error) if why.is_empty() => why = error,
                Err(_) => {}
            }
        }
        if !met && !optional {
            return Err(format!(
                "run {index} of {} does not match ({} found): {why}",
                truths.len(),
                runs.len()
            ));
        }
    }
    if !left.is_empty() && wanted["extra_runs_fine"] != true {
        return Err(format!("{} runs were found, wanted {}", runs.len(), truths.len()));
    }
    Ok(())
}

fn same_run(truth: &Value, run: &Value, extra_traces: bool) -> Verdict {
    if truth["technique"].is_string() && truth["technique"] != run["technique"] {
        return Err(format!(
            "the technique is {}, wanted {}",
            run["technique"], truth["technique"]
        ));
    }
    for (key, value) in truth["fields"].as_object().into_iter().flatten() {
        let given = &run["fields"][key];
        if !same_value(value, given) {
            return Err(format!("the field {key} is {}, wanted {value}", given["value"]));
        }
    }
    let expected: Vec<&Value> = list(&truth["traces"]).iter().collect();
    let given: Vec<&Value> = list(&run["traces"]).iter().collect();
    same_traces(&expected, &given, extra_traces)
}

/// Every expected trace is given once; which one stands first does not matter.
fn same_traces(expected: &[&Value], given: &[&Value], extra: bool) -> Verdict {
    let mut left: Vec<&Value> = given.to_vec();
    let mut why = String::new();
    for (index, truth) in expected.iter().enumerate() {
        let mut met = None;
        for (at, trace) in left.iter().enumerate() {
            match same_trace(truth, trace) {
                Ok(()) => {
                    met = Some(at);
                    break;
                }
                Err(error) if why.is_empty() => why = error,
                Err(_) => {}
            }
        }
        match met {
            Some(at) => drop(left.remove(at)),
            None if truth["optional"] == true => {}
            None => {
                return Err(format!(
                    "trace {index} is not there ({} found): {why}",
                    given.len()
                ));
            }
        }
        why.clear();
    }
    if left.is_empty() || extra {
        return Ok(());
    }
    Err(format!(
        "{} traces were found, wanted {}",
        given.len(),
        expected.len()
    ))
}

fn same_trace(truth: &Value, trace: &Value) -> Verdict {
    if let Some(label) = truth["label"].as_str() {
        let given = trace["label"].as_str().unwrap_or_default();
        let (a, b) = (label.trim().to_lowercase(), given.trim().to_lowercase());
        if b.is_empty() || !(a.contains(&b) || b.contains(&a)) {
            return Err(format!("the label is `{given}`, wanted `{label}`"));
        }
    }
    for axis in ["x", "y"] {
        for key in ["quantity", "unit"] {
            let (wanted, given) = (&truth[axis][key], &trace[axis][key]);
            // `06:30` is 390 min as well as 23,400 s; the values are compared in one unit.
            let times = || axis == "x" && time_scale(truth, trace).is_some();
            let alike = || key == "unit" && (is_same_unit(wanted, given) || times());
            if wanted.is_string() && wanted != given && !alike() {
                return Err(format!("the {key} of {axis} is {given}, wanted {wanted}"));
            }
        }
    }
    for (key, value) in truth["fields"].as_object().into_iter().flatten() {
        let given = &trace["fields"][key];
        if !same_value(value, given) {
            return Err(format!(
                "the field {key} of a trace is {}, wanted {value}",
                given["value"]
            ));
        }
    }
    points(truth, trace)?;
    for coordinate in list(&truth["held"]) {
        let held = list(&trace["held"]).iter().any(|given| {
            given["quantity"] == coordinate["quantity"]
                && given["unit"] == coordinate["unit"]
                && given["value"].as_f64() == coordinate["value"].as_f64()
        });
        if !held {
            return Err(format!(
                "{} {} is not held: {}",
                coordinate["quantity"], coordinate["value"], trace["held"]
            ));
        }
    }
    Ok(())
}

/// The same numbers in the same order. A point with an absent value may be missing as a whole.
fn points(truth: &Value, trace: &Value) -> Verdict {
    let numbers = |side: &Value, axis: &str| -> Vec<Option<f64>> {
        // Minus zero equals zero.
        list(&side[axis]["values"])
            .iter()
            .map(|value| value.as_f64().map(|n| n + 0.0))
            .collect()
    };
    let pairs = |side: &Value| -> Vec<(Option<f64>, Option<f64>)> {
        numbers(side, "x")
            .into_iter()
            .zip(numbers(side, "y"))
            .filter(|(x, y)| x.is_some() && y.is_some())
            .collect()
    };
    let (wanted, mut given) = (pairs(truth), pairs(trace));
    if let Some(scale) = time_scale(truth, trace).filter(|scale| *scale != 1.0) {
        // Whole in the unit of the truth but for the last digits of a double.
        let scaled = |x: f64| (x * scale * 1e6).round() / 1e6;
        given.iter_mut().for_each(|(x, _)| *x = x.map(scaled));
    }
    if wanted.len() != given.len() {
        return Err(format!(
            "{} points were found, wanted {}",
            given.len(),
            wanted.len()
        ));
    }
    // An index is the reader's own count.
    let counted = truth["x"]["quantity"] == "index";
    let differs = wanted
        .iter()
        .zip(&given)
        .position(|(a, b)| a.1 != b.1 || (!counted && a.0 != b.0));
    match differs {
        Some(at) => Err(format!("point {at} is {:?}, wanted {:?}", given[at], wanted[at])),
        None => Ok(()),
    }
}

/// How many of the truth's unit of time one of the reader's is, where both run over times in units.
fn time_scale(truth: &Value, trace: &Value) -> Option<f64> {
    let unit = |side: &Value| Unit::ucum(side["x"]["unit"].as_str()?).ok();
    let times = [truth, trace].iter().all(|side| side["x"]["quantity"] == "time");
    let (wanted, given) = (unit(truth).filter(|_| times)?, unit(trace)?);
    given
        .converts_to(&wanted)
        .then(|| given.to_si(1.0) / wanted.to_si(1.0))
}

/// Whether two codes are of one unit: `m{AU}` and `10*-3.{AU}`.
fn is_same_unit(wanted: &Value, given: &Value) -> bool {
    // A prefix stands in front of no annotation in UCUM.
    let unit = |code: &Value| {
        let code = code.as_str()?.replace("m{AU}", "10*-3.{AU}");
        Unit::ucum(&code).ok()
    };
    let (Some(wanted), Some(given)) = (unit(wanted), unit(given)) else {
        return false;
    };
    wanted.converts_to(&given) && wanted.to_si(1.0) == given.to_si(1.0)
}

/// A field's value: numbers with units after conversion, text without blanks at the ends, dates by ten characters.
pub fn same_value(wanted: &Value, field: &Value) -> bool {
    let given = &field["value"];
    let unit = |value: &Value| value["unit"].as_str().and_then(|code| Unit::ucum(code).ok());
    let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(b.abs());
    match wanted {
        Value::String(text) => {
            let Some(given) = given.as_str().map(str::trim) else {
                return false;
            };
            let text = text.trim();
            given == text || (is_date(text) && given.get(..10) == text.get(..10))
        }
        Value::Number(number) => match (number.as_f64(), given.as_f64()) {
            (Some(a), Some(b)) => close(a, b),
            _ => false,
        },
        Value::Object(object) => match (object["value"].as_f64(), given.as_f64()) {
            (Some(a), Some(b)) => match (unit(wanted), unit(field)) {
                (Some(ours), Some(theirs)) => close(ours.to_si(a), theirs.to_si(b)),
                _ => close(a, b) && wanted["unit"] == field["unit"],
            },
            _ => false,
        },
        _ => false,
    }
}

fn is_date(text: &str) -> bool {
    text.len() >= 10 && text.is_ascii() && text.as_bytes()[4] == b'-' && text.as_bytes()[7] == b'-'
}
