//! Rules for file names, proposed from the names that are there. None is applied unless a person accepts it.
//!
//! A part of a name is taken for a field only where its form says so (a date, a temperature with its unit) or where the
//! content of files named so says the same. A rule that contradicts what one file says is not proposed.

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::Value;
use curvary_record::names::{NameRule, Rules};

/// A file's path, and what its content says: texts by field.
#[derive(Clone, Debug, Default)]
pub struct NamedFile {
    /// The path.
    pub path: String,
    /// The sample, the date (ISO 8601) and the temperature (a number in °C), where the content has them.
    pub says: BTreeMap<String, String>,
}

/// A rule that could be accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proposal {
    /// The pattern, as `archive.toml` has it.
    pub pattern: String,
    /// How many files it fits.
    pub fits: u64,
    /// The first few of them.
    pub examples: Vec<String>,
}

/// A pattern that fits fewer files is chance.
const LEAST: u64 = 5;

/// The rules that names suggest, those that fit most files first.
#[must_use]
pub fn name_rules(files: &[NamedFile]) -> Vec<Proposal> {
    let mut patterns: BTreeMap<String, u64> = BTreeMap::new();
    for file in files {
        let pattern = pattern_of(file);
        if pattern.contains("{sample}") || pattern.contains("{date}") || pattern.contains("{temperature}") {
            *patterns.entry(pattern).or_default() += 1;
        }
    }
    let mut all: Vec<Proposal> = patterns
        .into_iter()
        .filter(|(_, count)| *count >= LEAST)
        .filter_map(|(pattern, _)| tried(&pattern, files))
        .collect();
    all.sort_by(|a, b| b.fits.cmp(&a.fits).then_with(|| a.pattern.cmp(&b.pattern)));
    all
}

/// A pattern tried on all names; none where it contradicts a file.
fn tried(pattern: &str, files: &[NamedFile]) -> Option<Proposal> {
    let rule = NameRule {
        name: "proposed".to_owned(),
        pattern: pattern.to_owned(),
        folder: false,
        order: None,
    };
    let rules = Rules::new(std::slice::from_ref(&rule)).ok()?;
    let mut proposal = Proposal {
        pattern: pattern.to_owned(),
        fits: 0,
        examples: Vec::new(),
    };
    // A number is taken for a field only where the content of some file says the same.
    let (mut numbers, mut confirmed) = (BTreeSet::new(), BTreeSet::new());
    for file in files {
        let claims = rules.apply(&file.path);
        if claims.is_empty() {
            continue;
        }
        for (key, claim) in &claims {
            let said = file.says.get(key.as_str());
            match (&claim.value, said) {
                (Value::Text(text), Some(said)) if plain(said) != plain(text) => return None,
                (Value::Number(number), Some(said)) => {
                    let same = said.parse().is_ok_and(|said: f64| (said - number).abs() < 1e-9);
                    if !same {
                        return None;
                    }
                    confirmed.insert(key.as_str().to_owned());
                }
                // `9c` is a sample as well as a temperature.
                (Value::Number(_), None)
                    if file.says.get("sample").is_some_and(|sample| {
                        plain(sample).split(' ').any(|part| {
                            let number = part.trim_end_matches(char::is_alphabetic);
                            number != part && number == claim.raw
                        })
                    }) =>
                {
                    return None;
                }
                (Value::Number(_), None) => {
                    numbers.insert(key.as_str().to_owned());
                }
                _ => {}
            }
        }
        proposal.fits += 1;
        if proposal.examples.len() < 3 {
            proposal.examples.push(file.path.clone());
        }
    }
    (proposal.fits >= LEAST && numbers.is_subset(&confirmed)).then_some(proposal)
}

/// A name with its blanks and underscores alike.
fn plain(text: &str) -> String {
    text.chars()
        .map(|sign| if sign == '_' { ' ' } else { sign })
        .flat_map(char::to_lowercase)
        .collect::<String>()
        .trim()
        .to_owned()
}

/// The pattern of one file's name: the sample as the content names it, and around it what tells by its form.
fn pattern_of(file: &NamedFile) -> String {
    let name = file.path.rsplit('/').next().unwrap_or(&file.path);
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let Some(range) = sample_in(stem, file) else {
        return parts_of(stem);
    };
    let (before, after) = (&stem[..range.start], &stem[range.end..]);
    let (front, back) = (
        before.chars().next_back().map_or(0, char::len_utf8),
        after.chars().next().map_or(0, char::len_utf8),
    );
    let (before, sign) = before.split_at(before.len() - front);
    let (other_sign, after) = after.split_at(back);
    format!(
        "{}{sign}{{sample}}{other_sign}{}",
        parts_of(before),
        parts_of(after)
    )
}

/// Where the sample of the content stands in a name, between separators.
fn sample_in(stem: &str, file: &NamedFile) -> Option<std::ops::Range<usize>> {
    let sample = file.says.get("sample").map(|sample| plain(sample))?;
    let folded: String = stem
        .chars()
        .map(|sign| if sign == '_' { ' ' } else { sign })
        .flat_map(char::to_lowercase)
        .collect();
    // Case may change the length of a text; then nothing is cut.
    if sample.is_empty() || folded.len() != stem.len() {
        return None;
    }
    let start = folded.find(&sample)?;
    let end = start + sample.len();
    let border = |sign: Option<char>| sign.is_none_or(|sign| sign == ' ');
    let whole = border(folded[..start].chars().next_back()) && border(folded[end..].chars().next());
    (whole && stem.is_char_boundary(start) && stem.is_char_boundary(end)).then_some(start..end)
}

/// A part of a name as a pattern: what tells by its form, and anything else as anything.
fn parts_of(text: &str) -> String {
    let mut pattern = String::new();
    let mut rest = text;
    let mut between = String::new();
    while !rest.is_empty() {
        let end = rest.find(['_', ' ']).unwrap_or(rest.len());
        let (part, after) = rest.split_at(end);
        let sign: String = after.chars().take(1).collect();
        rest = &after[sign.len()..];
        match informative(part) {
            Some(field) => {
                pattern.push_str(&between);
                pattern.push_str(&field);
            }
            // Neighbouring words are one anything.
            None if pattern.ends_with("{*}") => {}
            None => {
                pattern.push_str(&between);
                pattern.push_str("{*}");
            }
        }
        between = sign;
    }
    pattern
}

/// A part of a name whose form says what it is.
fn informative(part: &str) -> Option<String> {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let number = |text: &str| {
        let mut halves = text.splitn(2, ['.', ',', 'p']);
        halves.next().is_some_and(digits) && halves.next().is_none_or(digits)
    };
    let year = |text: &str| text.starts_with("19") || text.starts_with("20");
    let compact = part.len() == 8 && digits(part) && year(part);
    let dashed = part.len() == 10
        && year(part)
        && part.split('-').map(str::len).eq([4, 2, 2])
        && part.split('-').all(digits);
    if compact || dashed {
        return Some("{date}".to_owned());
    }
    for unit in ["°C", "degC", "Grad", "C"] {
        if part.strip_suffix(unit).is_some_and(number) {
            return Some(format!("{{temperature}}{unit}"));
        }
    }
    if part.strip_suffix("nm").is_some_and(digits) {
        return Some("{wavelength}nm".to_owned());
    }
    let ph = part.get(..2).filter(|front| front.eq_ignore_ascii_case("ph"));
    if ph.is_some() && number(&part[2..]) {
        return Some("pH{ph}".to_owned());
    }
    if part.strip_prefix("rep").is_some_and(digits) {
        return Some("rep{replicate}".to_owned());
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: &str, says: &[(&str, &str)]) -> NamedFile {
        NamedFile {
            path: path.to_owned(),
            says: says
                .iter()
                .filter(|(_, text)| !text.is_empty())
                .map(|(field, text)| ((*field).to_owned(), (*text).to_owned()))
                .collect(),
        }
    }

    fn weld() -> Vec<NamedFile> {
        let one = |n: u32| {
            let (path, sample) = (format!("a/201403{n}_Weld_{n}_25C.txt"), format!("Weld {n}"));
            file(
                &path,
                &[
                    ("sample", &sample),
                    ("temperature", if n < 20 { "25" } else { "" }),
                ],
            )
        };
        (10..30).map(one).collect()
    }

    #[test]
    fn names_that_say_what_the_files_say_make_a_rule() {
        let mut files = weld();
        files.push(file("a/20140401_Madder_30C.txt", &[]));
        files.push(file("notes.txt", &[("sample", "x")]));
        let rules = name_rules(&files);
        assert_eq!(rules[0].pattern, "{date}_{sample}_{temperature}C");
        assert_eq!(rules[0].fits, 21);
    }

    #[test]
    fn a_rule_that_contradicts_one_file_is_not_proposed() {
        for contradiction in [
            file("a/20140401_cal_30C.txt", &[("sample", "nitrite")]),
            file("a/20140401_cal_30C.txt", &[("temperature", "20")]),
        ] {
            let mut files = weld();
            files.push(contradiction);
            let rules = name_rules(&files);
            assert!(
                rules.iter().all(|rule| !rule.pattern.contains("{sample}_{temp")),
                "{rules:?}"
            );
        }
    }

    #[test]
    fn a_sample_is_no_temperature() {
        let names = ["film 1 9c", "film 2 38c", "film 3 4c", "film 4 5c", "film 5 7c"];
        let files: Vec<NamedFile> = names
            .iter()
            .map(|name| {
                let sample = name.rsplit(' ').next().unwrap_or_default();
                file(&format!("{name}.txt"), &[("sample", &format!("Madder {sample}"))])
            })
            .collect();
        assert_eq!(name_rules(&files), []);
    }

    #[test]
    fn no_name_is_too_odd() {
        for path in [
            "",
            "/",
            "_",
            " _ ",
            "a",
            "é_İ_25C.x",
            "20140101",
            "pH.txt",
            "ph7p4_é.txt",
            "C",
            "_a_",
        ] {
            for sample in ["", "é", "é_İ", "a"] {
                let _ = pattern_of(&file(path, &[("sample", sample)]));
            }
        }
    }
}
