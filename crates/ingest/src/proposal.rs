//! Rules for file names, proposed from the names that are there. None is applied unless a person accepts it.
//!
//! A part of a name is taken for a field only where its form says so (a date, a temperature with its unit) or where the
//! content of files named so says the same. A rule that contradicts what one file says is not proposed.

use std::collections::BTreeMap;

use curvary_record::Value;
use curvary_record::names::{NameRule, Rules};

/// A file's path, and what its content says: texts by field.
#[derive(Clone, Debug, Default)]
pub struct NamedFile {
    /// The path.
    pub path: String,
    /// The sample and the date (ISO 8601), where the content has them.
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
    for file in files {
        let claims = rules.apply(&file.path);
        if claims.is_empty() {
            continue;
        }
        for (key, claim) in &claims {
            let Value::Text(text) = &claim.value else { continue };
            if let Some(said) = file.says.get(key.as_str())
                && plain(said) != plain(text)
            {
                return None;
            }
        }
        proposal.fits += 1;
        if proposal.examples.len() < 3 {
            proposal.examples.push(file.path.clone());
        }
    }
    (proposal.fits >= LEAST).then_some(proposal)
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

/// The pattern of one file's name.
fn pattern_of(file: &NamedFile) -> String {
    let name = file.path.rsplit('/').next().unwrap_or(&file.path);
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let mut pattern = String::new();
    let mut words = String::new();
    let mut between = String::new();
    let mut rest = stem;
    while !rest.is_empty() {
        let end = rest.find(['_', ' ']).unwrap_or(rest.len());
        let (part, after) = rest.split_at(end);
        let sign: String = after.chars().take(1).collect();
        rest = &after[sign.len()..];
        match telling(part) {
            Some(field) => {
                pattern.push_str(&words_of(&words, file));
                words.clear();
                pattern.push_str(&between);
                pattern.push_str(&field);
                between = sign;
            }
            None => {
                if words.is_empty() {
                    pattern.push_str(&between);
                } else {
                    words.push_str(&between);
                }
                words.push_str(part);
                between = sign;
            }
        }
    }
    pattern.push_str(&words_of(&words, file));
    pattern
}

/// A part of a name whose form says what it is.
fn telling(part: &str) -> Option<String> {
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

/// Words of a name as a pattern: the sample where the content names it so, anything else as anything.
fn words_of(words: &str, file: &NamedFile) -> String {
    if words.is_empty() {
        return String::new();
    }
    let Some(sample) = file
        .says
        .get("sample")
        .map(|sample| plain(sample))
        .filter(|sample| !sample.is_empty())
    else {
        return "{*}".to_owned();
    };
    let folded = plain(words);
    if folded == sample {
        return "{sample}".to_owned();
    }
    // Case may change the length of a text; then nothing is cut.
    if folded.len() != words.len() {
        return "{*}".to_owned();
    }
    let sign = |at: usize| words.get(at..=at).filter(|sign| matches!(*sign, "_" | " "));
    if folded.starts_with(&sample)
        && let Some(sign) = sign(sample.len())
    {
        return format!("{{sample}}{sign}{{*}}");
    }
    if folded.ends_with(&sample)
        && let Some(sign) = (folded.len() - sample.len()).checked_sub(1).and_then(sign)
    {
        return format!("{{*}}{sign}{{sample}}");
    }
    "{*}".to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: &str, sample: &str) -> NamedFile {
        NamedFile {
            path: path.to_owned(),
            says: [("sample".to_owned(), sample.to_owned())]
                .into_iter()
                .filter(|(_, sample)| !sample.is_empty())
                .collect(),
        }
    }

    #[test]
    fn names_that_say_what_the_files_say_make_a_rule() {
        let mut files: Vec<NamedFile> = (10..30)
            .map(|n| file(&format!("a/201403{n}_Weld_{n}_25C.txt"), &format!("Weld {n}")))
            .collect();
        files.push(file("a/20140401_Madder_30C.txt", ""));
        files.push(file("notes.txt", "x"));
        let rules = name_rules(&files);
        assert_eq!(rules[0].pattern, "{date}_{sample}_{temperature}C");
        assert_eq!(rules[0].fits, 21);
    }

    #[test]
    fn a_rule_that_contradicts_one_file_is_not_proposed() {
        let mut files: Vec<NamedFile> = (10..30)
            .map(|n| file(&format!("a/201403{n}_Weld_{n}_25C.txt"), &format!("Weld {n}")))
            .collect();
        files.push(file("a/20140401_cal_30C.txt", "nitrite"));
        assert!(
            name_rules(&files)
                .iter()
                .all(|rule| !rule.pattern.contains("{sample}"))
        );
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
        ] {
            for sample in ["", "é", "é_İ", "a"] {
                let _ = pattern_of(&file(path, sample));
            }
        }
    }
}
