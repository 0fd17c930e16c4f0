//! Handing over: what is left out, bundles and reports.

pub(crate) mod bundle;
mod content;
pub(crate) mod home;
mod page;
mod print;
mod readme;

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::{Outcome, Run, Value};

pub(crate) use content::Page;

/// What is left out of what is handed over.
#[derive(Clone, Debug, Default)]
pub(crate) struct LeaveOut {
    fields: BTreeSet<String>,
    path: bool,
}

/// What was left out: how often, and the values that must occur nowhere.
#[derive(Clone, Debug, Default)]
pub(crate) struct Gone {
    /// Fields by name, with how many runs had them.
    fields: BTreeMap<String, u64>,
    /// Paths, and values of fields that are long enough to be told from other words.
    values: BTreeSet<String>,
    /// Values too short to be looked for.
    short: BTreeSet<String>,
    /// Texts elsewhere in which a value stood and was replaced.
    replaced: u64,
}

/// What stands in the place of a value that is left out.
const LEFT_OUT: &str = "[left out]";

/// The fewest signs of a value that can be looked for in other texts.
const SHORTEST: usize = 3;

impl LeaveOut {
    /// The fields named, of which `path` is that of the file a run was read from.
    pub(crate) fn of<S: AsRef<str>>(names: impl IntoIterator<Item = S>) -> Self {
        let mut all: BTreeSet<String> = names
            .into_iter()
            .map(|name| name.as_ref().trim().to_lowercase())
            .collect();
        let path = all.remove("path");
        Self { fields: all, path }
    }

    /// Whether everything is handed over.
    pub(crate) fn is_empty(&self) -> bool {
        self.fields.is_empty() && !self.path
    }

    /// The names of what is left out.
    pub(crate) fn names(&self) -> Vec<&str> {
        let path = self.path.then_some("path");
        self.fields.iter().map(String::as_str).chain(path).collect()
    }

    /// A run and its results without what is left out. Where its value stands in another text too, it is replaced there.
    pub(crate) fn apply(&self, run: Run, results: Vec<Outcome>, gone: &mut Gone) -> (Run, Vec<Outcome>) {
        if self.is_empty() {
            return (run, results);
        }
        let mut run = run;
        let mut values: BTreeSet<String> = BTreeSet::new();
        for field in &self.fields {
            let mut claims = run.fields.remove(field);
            for trace in &mut run.traces {
                claims.extend(trace.fields.remove(field));
            }
            if claims.is_empty() {
                continue;
            }
            *gone.fields.entry(field.clone()).or_default() += 1;
            for claim in claims {
                values.insert(claim.raw.trim().to_owned());
                if let Value::Text(text) = claim.value {
                    values.insert(text.trim().to_owned());
                }
            }
        }
        let (long, short): (BTreeSet<String>, BTreeSet<String>) = values
            .into_iter()
            .filter(|value| !value.is_empty())
            .partition(|value| value.chars().count() >= SHORTEST);
        gone.short.extend(short);
        let mut swaps: Vec<(String, String)> = Vec::new();
        if self.path {
            *gone.fields.entry("path".to_owned()).or_default() += 1;
            let name = anonymous(&run);
            let path = std::mem::replace(&mut run.source.path, name.clone());
            let file = path.rsplit(['/', '!']).next().unwrap_or_default().to_owned();
            for part in [path, file] {
                if part.chars().count() >= SHORTEST {
                    gone.values.insert(part.clone());
                    swaps.push((part, name.clone()));
                }
            }
        }
        gone.values.extend(long.iter().cloned());
        swaps.extend(long.into_iter().map(|value| (value, LEFT_OUT.to_owned())));
        // A long value first: it may hold a shorter one.
        swaps.sort_by_key(|(value, _)| std::cmp::Reverse(value.len()));
        let told = gone.replaced;
        let scrubbed = (
            scrubbed(&run, &swaps, &mut gone.replaced),
            scrubbed(&results, &swaps, &mut gone.replaced),
        );
        let (Some(run), Some(results)) = scrubbed else {
            // A record that does not read back cannot be: then nothing of it is handed over.
            gone.replaced = told;
            run.fields = curvary_record::Fields::default();
            run.remarks.clear();
            run.because.clear();
            return (run, Vec::new());
        };
        (run, results)
    }
}

/// A name for a source that tells nothing but its bytes.
fn anonymous(run: &Run) -> String {
    let digest = run.source.digest.as_str().trim_start_matches("sha256:");
    let digest = digest.get(..12).unwrap_or(digest);
    let ending = run
        .source
        .path
        .rsplit_once('.')
        .map(|(_, ending)| ending)
        .filter(|ending| ending.len() <= 5 && ending.bytes().all(|b| b.is_ascii_alphanumeric()));
    match ending {
        Some(ending) => format!("source-{digest}.{ending}"),
        None => format!("source-{digest}"),
    }
}

/// A record in whose texts every value is replaced.
fn scrubbed<T: serde::Serialize + serde::de::DeserializeOwned>(
    record: &T,
    swaps: &[(String, String)],
    count: &mut u64,
) -> Option<T> {
    let mut value = serde_json::to_value(record).ok()?;
    scrub(&mut value, swaps, count);
    serde_json::from_value(value).ok()
}

fn scrub(value: &mut serde_json::Value, swaps: &[(String, String)], count: &mut u64) {
    match value {
        serde_json::Value::String(text) => {
            for (from, to) in swaps {
                while let Some(at) = place_of(text, from) {
                    text.replace_range(at..at + from.len(), to);
                    *count += 1;
                }
            }
        }
        serde_json::Value::Array(all) => all.iter_mut().for_each(|value| scrub(value, swaps, count)),
        serde_json::Value::Object(map) => {
            let keys: Vec<String> = map.keys().cloned().collect();
            for key in keys {
                // A key may hold a value too, in the settings of a result.
                if swaps.iter().any(|(from, _)| place_of(&key, from).is_some())
                    && let Some(mut inner) = map.remove(&key)
                {
                    scrub(&mut inner, swaps, count);
                    let mut name = serde_json::Value::String(key);
                    scrub(&mut name, swaps, count);
                    map.insert(name.as_str().unwrap_or_default().to_owned(), inner);
                } else if let Some(inner) = map.get_mut(&key) {
                    scrub(inner, swaps, count);
                }
            }
        }
        _ => {}
    }
}

/// Where a value stands in a text as a word of its own, whatever its case in ASCII.
fn place_of(text: &str, value: &str) -> Option<usize> {
    place_in(&text.to_ascii_lowercase(), value)
}

/// The same in a text whose letters of ASCII are small.
fn place_in(small: &str, value: &str) -> Option<usize> {
    if value.is_empty() {
        return None;
    }
    let sought = value.to_ascii_lowercase();
    let mut places = small.match_indices(sought.as_str());
    places
        .find(|(at, found)| {
            let before = small[..*at].chars().next_back();
            let after = small[at + found.len()..].chars().next();
            !before.is_some_and(char::is_alphanumeric) && !after.is_some_and(char::is_alphanumeric)
        })
        .map(|(at, _)| at)
}

impl Gone {
    /// What was left out, in words; nothing where nothing was.
    pub(crate) fn words(&self) -> Option<String> {
        if self.fields.is_empty() {
            return None;
        }
        let list: Vec<String> = self
            .fields
            .iter()
            .map(|(name, runs)| format!("{name} (of {})", crate::screen::plural(*runs, "run")))
            .collect();
        let mut words = format!("left out: {}", list.join(", "));
        if self.replaced > 0 {
            words.push_str(&format!(
                "; replaced in {}",
                crate::screen::plural(self.replaced, "other place")
            ));
        }
        if !self.short.is_empty() {
            words.push_str("; values of one or two letters cannot be looked for in other texts");
        }
        Some(words)
    }

    /// A value that was left out and stands in these bytes all the same.
    pub(crate) fn found_in(&self, bytes: &[u8]) -> Option<&str> {
        let small = String::from_utf8_lossy(bytes).to_ascii_lowercase();
        self.values
            .iter()
            .find(|value| place_in(&small, value).is_some())
            .map(String::as_str)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_found_as_words() {
        assert_eq!(place_of("by M. Example, 2019", "m. example"), Some(3));
        assert_eq!(place_of("counterexample", "example"), None);
        assert_eq!(place_of("Größe", "größe"), Some(0));
        assert_eq!(place_of("", "x"), None);
        let mut value = serde_json::json!({ "a": ["by Ann Example"], "of Ann Example": 1 });
        let mut count = 0;
        scrub(
            &mut value,
            &[("ann example".to_owned(), LEFT_OUT.to_owned())],
            &mut count,
        );
        assert_eq!(
            value,
            serde_json::json!({ "a": ["by [left out]"], "of [left out]": 1 })
        );
        assert_eq!(count, 2);
    }
}
