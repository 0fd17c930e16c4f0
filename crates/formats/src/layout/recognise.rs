//! How a layout tells its files from all others.

use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

use super::description::LayoutFault;
use crate::{Recognition, SourcePreview};

/// How files of a layout are told from all others. All that is given must hold.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(crate) struct Recognise {
    /// Texts that must all stand in the first 8 KiB, as they are spelled.
    #[serde(default)]
    #[schemars(with = "Vec<String>")]
    contains: Vec<Spanned<String>>,
    /// Texts of which none may stand in the first 8 KiB.
    #[serde(default)]
    lacks: Vec<String>,
    /// Heads that must all stand as cells of one line of the first 8 KiB.
    #[serde(default)]
    columns: Vec<String>,
    /// The bytes that the file begins with, in hexadecimal digits, such as `89 50 4E`; at least two, at most 64.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    begins: Option<Spanned<String>>,
    /// What the end of the path must look like; `*` stands for any letters within a name, `?` for one.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    file_name: Option<Spanned<String>>,
}

/// A text as short as this stands in files of all kinds.
const SHORTEST: usize = 4;

impl Recognise {
    pub(crate) fn check(&self) -> Result<(), LayoutFault> {
        for text in &self.contains {
            if text.get_ref().trim().chars().count() < SHORTEST {
                let message = format!(
                    "`{}` is too short to recognise a file by: expected {SHORTEST} signs or more",
                    text.get_ref()
                );
                return Err(LayoutFault::at(text, message));
            }
        }
        if let Some(begins) = &self.begins {
            let bytes = hexadecimal(begins.get_ref()).filter(|bytes| (2..=64).contains(&bytes.len()));
            if bytes.is_none() {
                let message = format!(
                    "`{}` is not what a file begins with: expected 2 to 64 bytes in hexadecimal digits, such as `89 50 4E`",
                    begins.get_ref()
                );
                return Err(LayoutFault::at(begins, message));
            }
            return Ok(());
        }
        if !self.contains.is_empty() || self.columns.len() >= 2 {
            return Ok(());
        }
        let Some(pattern) = &self.file_name else {
            return Err(LayoutFault {
                span: None,
                message: "nothing identifies its files: give `contains`, two `columns` or more, `begins` or `file-name` under `[recognise]`"
                    .to_owned(),
            });
        };
        // `*.csv` alone would take every such file, whatever is in it.
        let stem = pattern
            .get_ref()
            .rsplit_once('.')
            .map_or(pattern.get_ref().as_str(), |(stem, _)| stem);
        if stem.chars().filter(|c| c.is_alphanumeric()).count() < 3 {
            let message = format!(
                "`{}` fits files of every kind: where the name alone decides, three letters of it are needed",
                pattern.get_ref()
            );
            return Err(LayoutFault::at(pattern, message));
        }
        Ok(())
    }

    /// Whether a source is one of the layout's.
    pub(crate) fn ask(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        let mut reasons = Vec::new();
        if let Some(pattern) = &self.file_name {
            let pattern = pattern.get_ref();
            if !fits(pattern, glimpse.path) {
                return Recognition::No(format!("its name does not fit `{pattern}`"));
            }
            reasons.push(format!("its name fits `{pattern}`"));
        }
        if let Some(begins) = &self.begins {
            let begins = begins.get_ref();
            if !hexadecimal(begins).is_some_and(|bytes| glimpse.start.starts_with(&bytes)) {
                return Recognition::No(format!("it does not begin with the bytes `{begins}`"));
            }
            reasons.push(format!("it begins with the bytes `{begins}`"));
        }
        for text in &self.contains {
            let text = text.get_ref();
            if !glimpse.contains(text) {
                return Recognition::No(format!("its first lines do not contain `{text}`"));
            }
            reasons.push(format!("its first lines contain `{text}`"));
        }
        if let Some(text) = self.lacks.iter().find(|text| glimpse.contains(text)) {
            return Recognition::No(format!("its first lines contain `{text}`"));
        }
        if !self.columns.is_empty() {
            let heads = self.columns.join("`, `");
            if !glimpse.head().lines().any(|line| has_heads(line, &self.columns)) {
                return Recognition::No(format!("no line has the headers `{heads}`"));
            }
            reasons.push(format!("a line has the headers `{heads}`"));
        }
        Recognition::Yes(reasons.join(", and "))
    }
}

/// The bytes of hexadecimal digits, with or without blanks between them.
fn hexadecimal(text: &str) -> Option<Vec<u8>> {
    let digits: Vec<u32> = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| c.to_digit(16))
        .collect::<Option<_>>()?;
    let byte = |two: &[u32]| u8::try_from(two[0] * 16 + two[1]).ok();
    if digits.len() % 2 == 1 {
        return None;
    }
    digits.chunks(2).map(byte).collect()
}

/// Whether all heads are cells of a line, whatever separates them.
pub(super) fn has_heads(line: &str, heads: &[String]) -> bool {
    let bare = |cell: &str| cell.trim().trim_matches('"').trim().to_owned();
    ["\t", ";", "|", ",", "  ", " "].iter().any(|separator| {
        let cells: Vec<String> = line.split(separator).map(bare).collect();
        heads
            .iter()
            .all(|head| cells.iter().any(|cell| cell == head.trim()))
    })
}

/// Whether the end of a path fits a pattern, name by name and without regard to capitals.
fn fits(pattern: &str, path: &str) -> bool {
    let mut names = path.rsplit('/');
    pattern.rsplit('/').all(|part| {
        names
            .next()
            .is_some_and(|name| name_fits(&part.to_lowercase(), &name.to_lowercase()))
    })
}

/// One name against one pattern: the way back goes to the last star only, so it takes no longer than their product.
fn name_fits(pattern: &str, name: &str) -> bool {
    let (pattern, name): (Vec<char>, Vec<char>) = (pattern.chars().collect(), name.chars().collect());
    let (mut p, mut n) = (0, 0);
    let mut star: Option<(usize, usize)> = None;
    while n < name.len() {
        match pattern.get(p) {
            Some('*') => {
                star = Some((p, n));
                p += 1;
            }
            Some(&c) if c == '?' || c == name[n] => {
                p += 1;
                n += 1;
            }
            _ => {
                let Some((at, from)) = star else { return false };
                star = Some((at, from + 1));
                p = at + 1;
                n = from + 1;
            }
        }
    }
    pattern[p..].iter().all(|c| *c == '*')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_fit_patterns() {
        for (pattern, path, wanted) in [
            ("*.txt", "a/b/c.TXT", true),
            ("two-*.csv", "x/two-columns.csv", true),
            ("undecided/two*", "x/undecided/two-columns.csv", true),
            ("decided/two*", "x/undecided/two-columns.csv", false),
            ("a*b*c", "aXbXbXc", true),
            ("a*b*c", "aXbXbX", false),
            ("run-??.dat", "run-07.dat", true),
            ("run-??.dat", "run-7.dat", false),
            ("*.txt", "folder.txt/a", false),
        ] {
            assert_eq!(fits(pattern, path), wanted, "{pattern} {path}");
        }
    }

    #[test]
    fn heads_are_whole_cells_of_one_line() {
        let heads = ["t/s".to_owned(), "E1".to_owned()];
        assert!(has_heads("t/s;E1;E2", &heads));
        assert!(has_heads("\"t/s\"\t\"E1\"", &heads));
        assert!(!has_heads("t/s;E12", &heads));
    }
}
