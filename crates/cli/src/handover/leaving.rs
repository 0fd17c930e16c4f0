//! What is left out of what is handed over: fields and paths, and their values wherever else they stand.
//!
//! All runs are gone through first, since a text of one run may name the operator of another. Then the values are replaced
//! in the texts of all of them. Units, quantities and techniques are words of the program and are never touched; a value that
//! is such a word too, a number, or shorter than three letters is replaced only where people write freely.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::{Arc, OnceLock};

use aho_corasick::AhoCorasick;
use curvary_record::{Outcome, Run, Unit, Value as Claimed, known_field, unit};

use super::search::FoldedText;

/// What is left out of what is handed over.
#[derive(Clone, Debug, Default)]
pub(crate) struct LeaveOut {
    /// Names as they were asked for.
    names: BTreeSet<String>,
    path: bool,
}

/// What was left out: how often, and the values that must occur nowhere.
#[derive(Clone, Debug, Default)]
pub(crate) struct LeftOutValues {
    /// What was asked for by name, with how many runs had it.
    fields: BTreeMap<String, u64>,
    /// The values that are told from all other words, as [`key`] writes them.
    values: BTreeMap<String, LeftOutValue>,
    /// Values that are like other words too.
    weak: BTreeSet<String>,
    /// Names of fields that were met.
    met: BTreeSet<String>,
    /// Whether comments are handed over.
    comments: bool,
    /// Texts elsewhere in which a value stood and was replaced.
    replaced: u64,
    finder: Option<Arc<Finder>>,
}

/// A value that was left out.
#[derive(Clone, Debug)]
pub(crate) struct LeftOutValue {
    /// As it stood in its source.
    pub(crate) text: String,
    /// What it was of, such as `operator of run 0c1d…`.
    pub(crate) of: String,
    /// What is put in its place.
    instead: String,
}

/// Finds all values at once.
#[derive(Debug)]
struct Finder {
    automaton: AhoCorasick,
    /// Each value under its key.
    values: Vec<(String, LeftOutValue)>,
}

/// A value as it is looked for: small letters of ASCII, single blanks.
fn key(value: &str) -> String {
    FoldedText::new(value).text.to_ascii_lowercase()
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
    pub(crate) fn unknown<'n>(&'n self, gone: &'n LeftOutValues) -> impl Iterator<Item = &'n str> {
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
    pub(crate) fn see(&self, run: &Run, gone: &mut LeftOutValues) {
        if self.is_empty() {
            return;
        }
        let mut here: BTreeSet<&String> = BTreeSet::new();
        for fields in std::iter::once(&run.fields).chain(run.traces.iter().map(|trace| &trace.fields)) {
            for (key, claims) in fields.iter() {
                let spelled = claims.iter().find_map(|claim| claim.spelled.as_deref());
                gone.met.insert(spelled.unwrap_or(key.as_str()).to_owned());
                let Some(name) = self.leaves(key.as_str(), spelled) else {
                    gone.comments |= key.as_str() == "comment";
                    continue;
                };
                here.insert(name);
                let of = || format!("the {} of run {}", spelled.unwrap_or(key.as_str()), run.id);
                for claim in claims {
                    gone.value(claim.raw.trim(), of);
                    if let Claimed::Text(text) = &claim.value {
                        gone.value(text.trim(), of);
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
                gone.values.entry(key(part)).or_insert_with(|| LeftOutValue {
                    text: part.to_owned(),
                    of: format!("the path of run {}", run.id),
                    instead: name.clone(),
                });
            }
        }
    }

    /// A run and its results without what is left out. Where a value of any run stands in another text too, it is replaced
    /// there; every run must have been seen before.
    pub(crate) fn apply(
        &self,
        run: Run,
        results: Vec<Outcome>,
        gone: &mut LeftOutValues,
    ) -> (Run, Vec<Outcome>) {
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
            own.extend(parts(&path).map(|part| (key(part), name.clone())));
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
fn parts(path: &str) -> impl Iterator<Item = &str> {
    let file = path.rsplit(['/', '!']).next().unwrap_or_default();
    let mut parts = vec![path];
    if file != path {
        parts.push(file);
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

/// Whether a value stands in what is handed over whoever measured: a number, a unit, a quantity, words of the README, the
/// report or the descriptions of columns, the name of a file of a bundle.
fn is_ordinary(value: &str) -> bool {
    static WORDS: OnceLock<String> = OnceLock::new();
    let small = value.to_lowercase();
    if small.replace(',', ".").parse::<f64>().is_ok()
        || Unit::ucum(value).is_ok()
        || !unit::spelled(value).units().is_empty()
        || !unit::spelled(&small).units().is_empty()
        || known_field(&plain(value).replace('_', "-")).is_some()
    {
        return true;
    }
    let words = WORDS.get_or_init(|| {
        FoldedText::new(&super::skeleton().to_lowercase())
            .text
            .into_owned()
    });
    let wanted = FoldedText::new(&small).text.trim().to_owned();
    words
        .match_indices(&wanted)
        .any(|(at, found)| stands_alone(words, &(at..at + found.len())))
}

/// Whether no letter and no digit stands beside a stretch of a text.
fn stands_alone(text: &str, range: &Range<usize>) -> bool {
    let before = text[..range.start].chars().next_back();
    let after = text[range.end..].chars().next();
    !before.is_some_and(char::is_alphanumeric) && !after.is_some_and(char::is_alphanumeric)
}

impl LeftOutValues {
    fn value(&mut self, value: &str, of: impl Fn() -> String) {
        if value.is_empty() {
            return;
        }
        if value.chars().count() < SHORTEST || is_ordinary(value) {
            self.weak.insert(value.to_owned());
        } else {
            // The name of a file is replaced by another name, and this by words.
            let value = LeftOutValue {
                text: value.to_owned(),
                of: of(),
                instead: LEFT_OUT.to_owned(),
            };
            self.values.insert(key(&value.text), value);
        }
        self.finder = None;
    }

    /// Whether comments are handed over although names are not: they may hold these in other spellings.
    pub(crate) fn comments_stay(&self) -> bool {
        self.values.values().any(|value| value.instead == LEFT_OUT) && self.comments
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
        let values = self
            .values
            .iter()
            .map(|(key, value)| (key.clone(), value.clone()));
        self.finder = automaton.ok().map(|automaton| {
            Arc::new(Finder {
                automaton,
                values: values.collect(),
            })
        });
    }

    /// Whether there is anything to look for.
    pub(super) fn looks(&self) -> bool {
        self.finder.is_some()
    }

    /// Bytes of the longest value.
    pub(super) fn longest(&self) -> usize {
        self.values.keys().map(String::len).max().unwrap_or_default()
    }

    /// Where values stand as words of their own in a text of single blanks, the longest first where one holds another.
    pub(super) fn whole_words(&self, text: &str) -> Vec<(Range<usize>, &LeftOutValue)> {
        let places = self.keyed(text).into_iter();
        places.map(|(range, (_, value))| (range, value)).collect()
    }

    fn keyed(&self, text: &str) -> Vec<(Range<usize>, &(String, LeftOutValue))> {
        let Some(finder) = &self.finder else {
            return Vec::new();
        };
        let mut places: Vec<_> = finder
            .automaton
            .find_overlapping_iter(text)
            .filter(|found| stands_alone(text, &found.range()))
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
            .filter_map(|(range, at)| Some((range, finder.values.get(at)?)))
            .collect()
    }

    /// Where values stand in a text, each with its key.
    fn places(&self, text: &str) -> Vec<(Range<usize>, &(String, LeftOutValue))> {
        if self.finder.is_none() {
            return Vec::new();
        }
        let folded = FoldedText::new(text);
        let mut places = self.keyed(&folded.text);
        for (range, _) in &mut places {
            *range = folded.stood(range);
        }
        places
    }

    /// A value that stands in a text.
    pub(crate) fn found_in_text(&self, text: &str) -> Option<LeftOutValue> {
        super::escapes::layers(text).find_map(|text| {
            let places = self.places(&text);
            places.first().map(|(_, (_, value))| value.clone())
        })
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
                for (range, (key, value)) in places {
                    new.push_str(&text[done..range.start]);
                    new.push_str(own.get(key).unwrap_or(&value.instead));
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

    /// Values of a field, made ready for looking.
    #[cfg(test)]
    pub(super) fn of_values(values: &[&str]) -> Self {
        let mut gone = Self::default();
        for value in values {
            gone.value(value, || "the operator".to_owned());
        }
        gone.prepare();
        gone
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gone(values: &[&str]) -> LeftOutValues {
        LeftOutValues::of_values(values)
    }

    #[test]
    fn values_are_replaced_however_their_blanks_are_written() {
        let all = gone(&["M. Example", "Größe"]);
        let mut value = serde_json::json!({ "a": ["by M. Example", "größe_m.__example"], "of M.\tExample": 1, "unit": "M. Example" });
        let mut count = 0;
        all.scrub(&mut value, &BTreeMap::new(), &mut count);
        assert_eq!(
            value,
            serde_json::json!({ "a": ["by [left out]", "[left out]_[left out]"], "of [left out]": 1, "unit": "M. Example" })
        );
        assert_eq!(count, 4);
    }

    #[test]
    fn names_of_files_of_a_bundle_are_no_secret() {
        for path in ["points.csv", "in/runs.csv", "report.html"] {
            let file = path.rsplit('/').next().unwrap();
            assert!(!parts(path).any(|part| part == file), "{path}");
        }
        assert_eq!(parts("in/mine.csv").count(), 2);
    }

    #[test]
    fn words_of_the_trade_stay_where_they_are_words_of_the_trade() {
        for value in [
            "Min",
            "mol",
            "101",
            "0.3",
            "absorbance",
            "Max",
            "zq",
            "time",
            "time course",
        ] {
            assert!(gone(&[value]).values.is_empty(), "{value}");
        }
        let all = gone(&["Min", "zq"]);
        let mut value = serde_json::json!({ "name": "Time (Min)", "claim": { "value": "by Min, zq", "raw": "by Min, zq" } });
        all.scrub(&mut value, &BTreeMap::new(), &mut 0);
        assert_eq!(value["name"], "Time (Min)");
        assert_eq!(value["claim"]["raw"], "by [left out], [left out]");
    }
}
