//! What is left out of what is handed over: fields and paths, and their values wherever else they stand.
//!
//! All runs are gone through first, since a text of one run may name the operator of another. Then the values are replaced
//! in the texts of all of them. Units, quantities and techniques are words of the program and are never touched; a value that
//! is such a word too, a number, or shorter than three letters is replaced only where people write freely.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Read};
use std::sync::{Arc, OnceLock};

use aho_corasick::AhoCorasick;
use curvary_record::{Outcome, Run, Unit, Value, known_field, unit};

/// What is left out of what is handed over.
#[derive(Clone, Debug, Default)]
pub(crate) struct LeaveOut {
    /// Names as they were asked for.
    names: BTreeSet<String>,
    path: bool,
}

/// What was left out: how often, and the values that must occur nowhere.
#[derive(Clone, Debug, Default)]
pub(crate) struct Gone {
    /// What was asked for by name, with how many runs had it.
    fields: BTreeMap<String, u64>,
    /// What to put in the place of values that are told from all other words, in small letters of ASCII.
    values: BTreeMap<String, String>,
    /// Values that are like other words too.
    weak: BTreeSet<String>,
    /// Names of fields that were met.
    met: BTreeSet<String>,
    /// Texts elsewhere in which a value stood and was replaced.
    replaced: u64,
    finder: Option<Arc<Finder>>,
}

/// Finds all values at once.
#[derive(Debug)]
struct Finder {
    automaton: AhoCorasick,
    /// Each value with what is put in its place.
    values: Vec<(String, String)>,
}

/// What stands in the place of a value that is left out.
const LEFT_OUT: &str = "[left out]";

/// The fewest letters of a value that can be looked for in all texts.
const SHORTEST: usize = 3;

/// Texts under these keys are words of the program or names of records, and tell nothing of a person.
const OURS: [&str; 13] = [
    "unit",
    "quantity",
    "technique",
    "digest",
    "id",
    "encoding",
    "reader",
    "reader_version",
    "kind",
    "code",
    "severity",
    "program",
    "schema",
];

/// Letters and digits in small letters, everything else one underscore: the column of a field and its own spelling are alike.
fn plain(name: &str) -> String {
    let mut plain = String::with_capacity(name.len());
    for c in name.chars() {
        if c.is_alphanumeric() {
            plain.extend(c.to_lowercase());
        } else if !plain.is_empty() && !plain.ends_with('_') {
            plain.push('_');
        }
    }
    plain.trim_end_matches('_').to_owned()
}

impl LeaveOut {
    /// The fields named, of which `path` is that of the file a run was read from.
    pub(crate) fn of<S: AsRef<str>>(names: impl IntoIterator<Item = S>) -> Self {
        let mut all: BTreeSet<String> = names
            .into_iter()
            .map(|name| plain(name.as_ref().split("__").next().unwrap_or_default()))
            .collect();
        let path = all.remove("path");
        Self { names: all, path }
    }

    /// Whether everything is handed over.
    pub(crate) fn is_empty(&self) -> bool {
        self.names.is_empty() && !self.path
    }

    /// The names of what is left out.
    pub(crate) fn names(&self) -> Vec<&str> {
        let path = self.path.then_some("path");
        self.names.iter().map(String::as_str).chain(path).collect()
    }

    /// Names that are no field, neither one that is known nor one that some run has.
    pub(crate) fn unknown<'n>(&'n self, gone: &'n Gone) -> impl Iterator<Item = &'n str> {
        self.names
            .iter()
            .map(String::as_str)
            .filter(|name| known_field(&name.replace('_', "-")).is_none() && !gone.fields.contains_key(*name))
    }

    /// The name by which a field is left out, if it is.
    fn leaves<'n>(&'n self, key: &str, spelled: Option<&str>) -> Option<&'n String> {
        self.names
            .get(&plain(key))
            .or_else(|| self.names.get(&plain(spelled?)))
            .or_else(|| self.names.get(plain(key).strip_prefix("field_")?))
    }

    /// Looks at a run before anything is replaced: what of it is left out?
    pub(crate) fn see(&self, run: &Run, gone: &mut Gone) {
        if self.is_empty() {
            return;
        }
        let mut here: BTreeSet<&String> = BTreeSet::new();
        for fields in std::iter::once(&run.fields).chain(run.traces.iter().map(|trace| &trace.fields)) {
            for (key, claims) in fields.iter() {
                let spelled = claims.iter().find_map(|claim| claim.spelled.as_deref());
                gone.met.insert(spelled.unwrap_or(key.as_str()).to_owned());
                let Some(name) = self.leaves(key.as_str(), spelled) else {
                    continue;
                };
                here.insert(name);
                for claim in claims {
                    gone.value(claim.raw.trim());
                    if let Value::Text(text) = &claim.value {
                        gone.value(text.trim());
                    }
                }
            }
        }
        for name in here {
            *gone.fields.entry(name.clone()).or_default() += 1;
        }
        if self.path {
            *gone.fields.entry("path".to_owned()).or_default() += 1;
            let name = anonymous(run);
            for part in parts(&run.source.path) {
                gone.values.entry(part).or_insert_with(|| name.clone());
            }
        }
    }

    /// A run and its results without what is left out. Where a value of any run stands in another text too, it is replaced
    /// there; every run must have been seen before.
    pub(crate) fn apply(&self, run: Run, results: Vec<Outcome>, gone: &mut Gone) -> (Run, Vec<Outcome>) {
        if self.is_empty() {
            return (run, results);
        }
        let mut run = run;
        for fields in
            std::iter::once(&mut run.fields).chain(run.traces.iter_mut().map(|trace| &mut trace.fields))
        {
            let out: Vec<String> = fields
                .iter()
                .filter(|(key, claims)| {
                    let spelled = claims.iter().find_map(|claim| claim.spelled.as_deref());
                    self.leaves(key.as_str(), spelled).is_some()
                })
                .map(|(key, _)| key.as_str().to_owned())
                .collect();
            for key in out {
                fields.remove(&key);
            }
        }
        let mut own = BTreeMap::new();
        if self.path {
            let name = anonymous(&run);
            let path = std::mem::replace(&mut run.source.path, name.clone());
            own.extend(parts(&path).map(|part| (part, name.clone())));
        }
        gone.prepare();
        let mut count = 0;
        let scrubbed = (
            gone.scrubbed(&run, &own, &mut count),
            gone.scrubbed(&results, &own, &mut count),
        );
        let (Some(run), Some(results)) = scrubbed else {
            // A record that does not read back cannot be: then nothing of it is handed over.
            run.fields = curvary_record::Fields::default();
            run.remarks.clear();
            run.because.clear();
            return (run, Vec::new());
        };
        gone.replaced += count;
        (run, results)
    }
}

/// A path and the name of its file, as far as they are told from other words.
fn parts(path: &str) -> impl Iterator<Item = String> {
    let file = path.rsplit(['/', '!']).next().unwrap_or_default();
    let mut parts = vec![path.to_ascii_lowercase()];
    if file != path {
        parts.push(file.to_ascii_lowercase());
    }
    parts.retain(|part| part.chars().count() >= SHORTEST && !is_ordinary(part));
    parts.into_iter()
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

/// Whether a value is a word that stands in what is handed over whoever measured: a number, a unit, a quantity, a word of
/// the README, the report or the descriptions of columns.
fn is_ordinary(value: &str) -> bool {
    static WORDS: OnceLock<BTreeSet<String>> = OnceLock::new();
    let small = value.to_lowercase();
    if small.replace(',', ".").parse::<f64>().is_ok()
        || Unit::ucum(value).is_ok()
        || !unit::spelled(value).units().is_empty()
        || !unit::spelled(&small).units().is_empty()
        || known_field(&plain(value).replace('_', "-")).is_some()
    {
        return true;
    }
    WORDS.get_or_init(super::skeleton).contains(&small)
}

impl Gone {
    fn value(&mut self, value: &str) {
        if value.is_empty() {
            return;
        }
        if value.chars().count() < SHORTEST || is_ordinary(value) {
            self.weak.insert(value.to_owned());
        } else {
            // The name of a file is replaced by another name, and this by words.
            self.values
                .insert(value.to_ascii_lowercase(), LEFT_OUT.to_owned());
        }
        self.finder = None;
    }

    /// Names of fields that runs have, in their own spelling.
    pub(crate) fn met(&self) -> impl Iterator<Item = &str> {
        self.met.iter().map(String::as_str)
    }

    /// Makes ready for looking, all runs being seen.
    pub(crate) fn prepare(&mut self) {
        if self.finder.is_some() || self.values.is_empty() {
            return;
        }
        let automaton = AhoCorasick::builder()
            .ascii_case_insensitive(true)
            .build(self.values.keys());
        let values = self.values.iter().map(|(from, to)| (from.clone(), to.clone()));
        self.finder = automaton.ok().map(|automaton| {
            Arc::new(Finder {
                automaton,
                values: values.collect(),
            })
        });
    }

    /// Where values stand in a text as words of their own, the longest first where one holds another.
    fn places(&self, text: &str) -> Vec<(std::ops::Range<usize>, &str, &str)> {
        let Some(finder) = &self.finder else {
            return Vec::new();
        };
        let mut places: Vec<_> = finder
            .automaton
            .find_overlapping_iter(text)
            .filter(|found| {
                let before = text[..found.start()].chars().next_back();
                let after = text[found.end()..].chars().next();
                !before.is_some_and(char::is_alphanumeric) && !after.is_some_and(char::is_alphanumeric)
            })
            .map(|found| (found.range(), found.pattern().as_usize()))
            .collect();
        places.sort_by_key(|(range, _)| (range.start, std::cmp::Reverse(range.end)));
        let mut end = 0;
        places
            .into_iter()
            .filter(|(range, _)| {
                let free = range.start >= end;
                if free {
                    end = range.end;
                }
                free
            })
            .filter_map(|(range, at)| {
                let (from, to) = finder.values.get(at)?;
                Some((range, from.as_str(), to.as_str()))
            })
            .collect()
    }

    /// A record in whose texts every value is replaced.
    fn scrubbed<T: serde::Serialize + serde::de::DeserializeOwned>(
        &self,
        record: &T,
        own: &BTreeMap<String, String>,
        count: &mut u64,
    ) -> Option<T> {
        let mut value = serde_json::to_value(record).ok()?;
        self.scrub(&mut value, own, count);
        serde_json::from_value(value).ok()
    }

    fn scrub(&self, value: &mut serde_json::Value, own: &BTreeMap<String, String>, count: &mut u64) {
        match value {
            serde_json::Value::String(text) => {
                let places = self.places(text);
                if places.is_empty() {
                    return;
                }
                *count += places.len() as u64;
                let mut new = String::with_capacity(text.len());
                let mut done = 0;
                for (range, from, to) in places {
                    new.push_str(&text[done..range.start]);
                    new.push_str(own.get(from).map_or(to, String::as_str));
                    done = range.end;
                }
                new.push_str(&text[done..]);
                *text = new;
            }
            serde_json::Value::Array(all) => all.iter_mut().for_each(|value| self.scrub(value, own, count)),
            serde_json::Value::Object(map) => {
                // What people wrote freely is a claim whose value is a text.
                if map.contains_key("raw") && map.get("value").is_some_and(serde_json::Value::is_string) {
                    for key in ["value", "raw"] {
                        if let Some(serde_json::Value::String(text)) = map.get_mut(key) {
                            self.scrub_weak(text, count);
                        }
                    }
                }
                let keys: Vec<String> = map.keys().cloned().collect();
                for key in keys {
                    if OURS.contains(&key.as_str()) && map.get(&key).is_some_and(serde_json::Value::is_string)
                    {
                        continue;
                    }
                    // A key may hold a value too, in the settings of a result.
                    if !self.places(&key).is_empty()
                        && let Some(mut inner) = map.remove(&key)
                    {
                        self.scrub(&mut inner, own, count);
                        let mut name = serde_json::Value::String(key);
                        self.scrub(&mut name, own, count);
                        map.insert(name.as_str().unwrap_or_default().to_owned(), inner);
                    } else if let Some(inner) = map.get_mut(&key) {
                        self.scrub(inner, own, count);
                    }
                }
            }
            _ => {}
        }
    }

    /// Replaces initials and words that are others too, written exactly so, where people write freely. Numbers stay: they
    /// may be those of a concentration.
    fn scrub_weak(&self, text: &mut String, count: &mut u64) {
        for value in &self.weak {
            if value.chars().count() < 2 || value.parse::<f64>().is_ok() {
                continue;
            }
            let mut from = 0;
            while let Some(at) = text.get(from..).and_then(|rest| rest.find(value.as_str())) {
                let (start, end) = (from + at, from + at + value.len());
                let before = text[..start].chars().next_back();
                let after = text[end..].chars().next();
                if before.is_some_and(char::is_alphanumeric) || after.is_some_and(char::is_alphanumeric) {
                    from = end;
                    continue;
                }
                text.replace_range(start..end, LEFT_OUT);
                *count += 1;
                from = start + LEFT_OUT.len();
            }
        }
    }

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
        if !self.weak.is_empty() {
            words.push_str(&format!(
                "; {} that {} numbers, units, words of these files or shorter than three letters {} looked for in fields of \
                 text alone",
                crate::screen::plural(self.weak.len() as u64, "value"),
                if self.weak.len() == 1 { "is like" } else { "are like" },
                if self.weak.len() == 1 { "was" } else { "were" },
            ));
        }
        Some(words)
    }

    /// A value that was left out and stands in a file all the same. The file is looked through piece by piece.
    pub(crate) fn found_in(&self, mut file: impl Read) -> io::Result<Option<String>> {
        const PIECE: usize = 1 << 20;
        let longest = self.values.keys().map(String::len).max().unwrap_or_default();
        if self.finder.is_none() {
            return Ok(None);
        }
        // What stands over the end of a piece stands whole in the next one, with a letter before it.
        let overlap = longest + 8;
        let (mut held, mut first) = (Vec::new(), true);
        loop {
            let before = held.len();
            let taken = file.by_ref().take(PIECE as u64).read_to_end(&mut held)?;
            let last = held.len() < before + PIECE;
            let text = String::from_utf8_lossy(&held);
            let found = self
                .places(&text)
                .into_iter()
                .find(|(range, ..)| (first || range.start > 0) && (last || range.end < text.len()));
            if let Some((_, value, _)) = found {
                return Ok(Some(value.to_owned()));
            }
            if last || taken == 0 {
                return Ok(None);
            }
            first = false;
            let keep = held.len().saturating_sub(overlap);
            held.drain(..keep);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gone(values: &[&str]) -> Gone {
        let mut gone = Gone::default();
        for value in values {
            gone.value(value);
        }
        gone.prepare();
        gone
    }

    #[test]
    fn values_are_found_as_words() {
        let all = gone(&["M. Example", "Größe"]);
        let found = |text: &str| all.found_in(text.as_bytes()).unwrap();
        assert_eq!(found("by m. example, 2019").as_deref(), Some("m. example"));
        assert_eq!(found("counterm. example").as_deref(), None);
        assert!(found("der Größe").is_some());
        // Over the end of a piece, and where a piece begins within a word.
        for front in [(1 << 20) - 5, (1 << 20) - 11, (1 << 20) - 19, 1 << 20] {
            let text = |before: &str| format!("{}{before}m. example.", " ".repeat(front));
            assert!(found(&text(" ")).is_some(), "{front}");
            assert!(found(&text("x")).is_none(), "{front}");
        }
        let mut value =
            serde_json::json!({ "a": ["by M. Example"], "of M. Example": 1, "unit": "M. Example" });
        let mut count = 0;
        all.scrub(&mut value, &BTreeMap::new(), &mut count);
        assert_eq!(
            value,
            serde_json::json!({ "a": ["by [left out]"], "of [left out]": 1, "unit": "M. Example" })
        );
        assert_eq!(count, 2);
    }

    #[test]
    fn words_of_the_trade_stay_where_they_are_words_of_the_trade() {
        for value in ["Min", "mol", "101", "0.3", "absorbance", "Max", "zq", "time"] {
            assert!(gone(&[value]).values.is_empty(), "{value}");
        }
        let all = gone(&["Min", "zq"]);
        let mut value = serde_json::json!({ "name": "Time (Min)", "claim": { "value": "by Min, zq", "raw": "by Min, zq" } });
        all.scrub(&mut value, &BTreeMap::new(), &mut 0);
        assert_eq!(value["name"], "Time (Min)");
        assert_eq!(value["claim"]["raw"], "by [left out], [left out]");
    }
}
