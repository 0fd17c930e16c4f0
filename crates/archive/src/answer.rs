//! What people answered, a line each in `answers.jsonl`: append-only, and theirs to read, edit and delete.
//!
//! The file is no part of what is committed: like `archive.toml` it is written by people too, and an answer holds from the
//! moment its line is there. Nothing is learned that does not stand in it.

pub(crate) mod applied;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use curvary_record::{Digest, Family};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use self::applied::Unapplied;
use crate::disk::Disk;
use crate::{Error, now};

/// One line of `answers.jsonl`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Answer {
    /// Its short name, by which it is taken back.
    pub id: String,
    /// When it was given, RFC 3339.
    #[serde(default)]
    pub at: String,
    /// Who gave it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The code of the question, `key-unknown`, or the code of a refusal; for people.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub question: String,
    /// `x=time:s`, `measurement=no`, `key:Kz=operator`, `key:Cell=path-length:cm`, `key:Tw=nothing`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub answer: String,
    /// The files that it is about: all that are written like this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub family: Option<Family>,
    /// The ways in which they are written, where there are several: then `family` has the keys of all, and the line is about files that
    /// are written like one of these alone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub ways: Vec<Family>,
    /// Only these of them, by the digests of their bytes.
    #[serde(default, skip_serializing_if = "AnsweredFiles::is_empty")]
    #[schemars(with = "Vec<Digest>")]
    pub only: AnsweredFiles,
    /// Whether it is a word of the vocabulary, which holds for every file.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub everywhere: bool,
    /// The short name of an answer that is taken back by this line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub undo: Option<String>,
}

/// Files by the digests of their bytes, sorted, each once: whether one is among them is found quickly, also where there are very many.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "Vec<Digest>", into = "Vec<Digest>")]
pub struct AnsweredFiles(Vec<Digest>);

impl AnsweredFiles {
    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Whether a file is among them.
    #[must_use]
    pub fn contains(&self, digest: &Digest) -> bool {
        self.0.binary_search(digest).is_ok()
    }
}

impl From<Vec<Digest>> for AnsweredFiles {
    fn from(mut digests: Vec<Digest>) -> Self {
        digests.sort_unstable();
        digests.dedup();
        Self(digests)
    }
}

impl From<AnsweredFiles> for Vec<Digest> {
    fn from(files: AnsweredFiles) -> Self {
        files.0
    }
}

impl std::ops::Deref for AnsweredFiles {
    type Target = [Digest];

    fn deref(&self) -> &[Digest] {
        &self.0
    }
}

impl Answer {
    /// Whether it speaks of a source.
    #[must_use]
    pub fn is_about(&self, digest: &Digest, family: &Family) -> bool {
        if self.everywhere {
            return true;
        }
        let named = self.only.is_empty() || self.only.contains(digest);
        // An answer about nothing in particular would be one about everything.
        let narrow = self.family.is_some() || !self.only.is_empty();
        narrow && named && self.is_of(family)
    }

    /// Whether files written so are among those that it is about.
    fn is_of(&self, family: &Family) -> bool {
        if self.everywhere {
            return true;
        }
        // What is kin to the keys of all ways together need not be kin to any of the files that asked.
        match self.ways.as_slice() {
            [] => self.family.as_ref().is_none_or(|own| own.is_kin(family)),
            ways => ways.iter().any(|way| way.is_kin(family)),
        }
    }

    /// What it says something about, as people may write it.
    fn topic(&self) -> String {
        let topic = self.answer.split_once('=').map_or("", |(topic, _)| topic);
        topic.to_lowercase()
    }

    /// Whether it says what a word means, in every file or in some: `header:Glimm=absorbance`, `value:Mode:Kin=x=time:s`.
    fn is_word(&self) -> bool {
        let topic = self.topic();
        ["header:", "unit:", "value:", "mark:"]
            .iter()
            .any(|kind| topic.starts_with(kind))
    }

    /// Whether a file that both are about may be read otherwise by one of them than by the other. One pair too many does no harm.
    #[must_use]
    pub fn contends_with(&self, other: &Self) -> bool {
        let (own, others) = (self.topic(), other.topic());
        let of_key = own.starts_with("key:") || others.starts_with("key:");
        let of_all = [self, other].iter().any(|line| line.answer == "measurement=no");
        // A word says what an axis is, as an answer does; what is read of one column may hang on what another is.
        let of_word = self.is_word() || other.is_word();
        let alike = own == others || of_all || !of_key && (of_word || self.everywhere != other.everywhere);
        alike && self.answer != other.answer
    }

    /// Whether another line says the same under the same name. Who said it when is no matter for what is read.
    fn says_as(&self, other: &Self) -> bool {
        let Self {
            id,
            question,
            answer,
            family,
            ways,
            only,
            everywhere,
            at: _,
            by: _,
            undo: _,
        } = self;
        *id == other.id
            && *question == other.question
            && *answer == other.answer
            && *family == other.family
            && *ways == other.ways
            && *only == other.only
            && *everywhere == other.everywhere
    }

    /// How closely it is about a file: a word that holds everywhere weighs least, then files written alike, then single
    /// files.
    #[must_use]
    pub fn closeness(&self) -> u8 {
        match (self.everywhere, self.only.is_empty()) {
            (true, _) => 0,
            (false, true) => 1,
            (false, false) => 2,
        }
    }

    /// Whether two lines are about the same thing in files that are told in the same way, some of them the same.
    fn is_beside(&self, other: &Self) -> bool {
        let kin = match (&self.family, &other.family) {
            (None, None) => true,
            (Some(own), Some(others)) => own.is_kin(others),
            _ => false,
        };
        // A coarser cut than a word's own: a line more than needed is taken for another's rival, and none less.
        self.closeness() == other.closeness()
            && kin
            && self.topic() == other.topic()
            && (self.only.is_empty() || self.only.iter().any(|digest| other.only.contains(digest)))
    }

    /// The key and its meaning, for an answer about a key.
    #[must_use]
    pub fn key(&self) -> Option<(&str, &str)> {
        let (key, meaning) = self.answer.strip_prefix("key:")?.rsplit_once('=')?;
        Some((key, meaning))
    }
}

/// Every line of `answers.jsonl`, in the order in which they were written.
#[derive(Clone, Debug, Default)]
pub struct StoredAnswers {
    path: PathBuf,
    lines: Vec<Answer>,
}

impl StoredAnswers {
    /// The answers of the archive in a folder; none where there is no file.
    ///
    /// # Errors
    /// [`Error::Settings`] with the line that is no answer, or when the disk refuses.
    pub fn read(root: &Path) -> Result<Self, Error> {
        let path = root.join("answers.jsonl");
        let text = match fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => String::new(),
            Err(error) => return Err(Error::io("read", &path)(error)),
        };
        let mut lines = Vec::new();
        for (number, line) in text.lines().enumerate() {
            if line.trim().is_empty() {
                continue;
            }
            lines.push(serde_json::from_str(line).map_err(|error| Error::Settings {
                path: path.clone(),
                line: number + 1,
                column: error.column(),
                message: format!("this line is no answer: {error}"),
            })?);
        }
        Ok(Self { path, lines })
    }

    /// Every line.
    #[must_use]
    pub fn lines(&self) -> &[Answer] {
        &self.lines
    }

    /// Those that hold: neither taken back nor lines that take back.
    pub fn holding(&self) -> impl Iterator<Item = &Answer> {
        let undone: BTreeSet<&str> = self
            .lines
            .iter()
            .filter_map(|line| line.undo.as_deref())
            .collect();
        self.lines
            .iter()
            .filter(move |line| line.undo.is_none() && !undone.contains(line.id.as_str()))
    }

    /// The line that says this already and holds: to the same question, the same answer, of every file that `line` is about, which are
    /// written in one of these `ways`. None where a later line says something else of such files.
    #[must_use]
    pub fn standing(&self, line: &Answer, ways: &[Family]) -> Option<&Answer> {
        let rivals = self.holding().filter(|own| own.is_beside(line));
        let last = rivals.last()?;
        let same = last.answer == line.answer
            && last.question == line.question
            && line.only.iter().all(|digest| last.only.contains(digest))
            // Kin of kin need not be kin: what is about some of the files is not about all of them.
            && ways.iter().all(|way| last.is_of(way));
        same.then_some(last)
    }

    /// Adds lines, all or none; fills in when they were given, and gives each a short name of its own. Gives the names. The lock must
    /// have been taken before these answers were read.
    pub(crate) fn append_on(&mut self, disk: &dyn Disk, new: Vec<Answer>) -> Result<Vec<String>, Error> {
        let mut lines = self.lines.clone();
        let mut names = Vec::with_capacity(new.len());
        for mut line in new {
            if line.at.is_empty() {
                line.at = now();
            }
            if line.id.is_empty() {
                line.id = name(&lines, &line);
            }
            names.push(line.id.clone());
            lines.push(line);
        }
        // Lines that people wrote stay as they wrote them.
        let mut text = match fs::read_to_string(&self.path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => String::new(),
            Err(error) => return Err(Error::io("read", &self.path)(error)),
        };
        if !text.is_empty() && !text.ends_with('\n') {
            text.push('\n');
        }
        for line in &lines[self.lines.len()..] {
            text.push_str(&text_of(line)?);
            text.push('\n');
        }
        self.begin_applied(disk)?;
        disk.replace(&self.path, text.as_bytes())
            .map_err(Error::io("write", &self.path))?;
        self.lines = lines;
        Ok(names)
    }
}

fn text_of(line: &Answer) -> Result<String, Error> {
    serde_json::to_string(line).map_err(|error| Error::Note {
        message: format!("the answer cannot be kept: {error}"),
    })
}

/// A short name that no line has yet.
fn name(lines: &[Answer], line: &Answer) -> String {
    for turn in 0_u32.. {
        let family = line.family.as_ref().map(Family::id).unwrap_or_default();
        let text = format!("{}\n{}\n{family}\n{turn}", line.question, line.answer);
        let digest = Digest::of(text.as_bytes());
        let name = digest
            .as_str()
            .trim_start_matches("sha256:")
            .get(..6)
            .unwrap_or_default();
        if !lines.iter().any(|other| other.id == name) {
            return name.to_owned();
        }
    }
    String::new()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disk::RealDisk;

    fn append(answers: &mut StoredAnswers, new: Vec<Answer>) -> Vec<String> {
        answers.append_on(&RealDisk, new).expect("it is written")
    }

    fn answer(text: &str, writing: &str) -> Answer {
        Answer {
            answer: text.to_owned(),
            family: Some(Family {
                writing: writing.to_owned(),
                keys: Vec::new(),
            }),
            ..Answer::default()
        }
    }

    #[test]
    fn answers_are_lines_that_stay_and_can_be_taken_back() {
        let folder = std::env::temp_dir().join(format!("curvary-answers-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("a folder");
        let path = folder.join("answers.jsonl");
        let _ = fs::remove_file(&path);
        let mut answers = StoredAnswers::read(&folder).expect("none yet");
        let names = append(
            &mut answers,
            vec![answer("x=time:s", "tabs"), answer("y=absorbance", "tabs")],
        );
        assert_ne!(names[0], names[1]);
        let undo = Answer {
            undo: Some(names[0].clone()),
            ..Answer::default()
        };
        append(&mut answers, vec![undo]);
        let read = StoredAnswers::read(&folder).expect("it is there");
        assert_eq!(read.lines().len(), 3);
        let holding: Vec<&str> = read.holding().map(|one| one.answer.as_str()).collect();
        assert_eq!(holding, ["y=absorbance"]);
        fs::write(&path, "{\"id\":\"a\"}\nnonsense\n").expect("a file");
        assert!(matches!(
            StoredAnswers::read(&folder),
            Err(Error::Settings { line: 2, .. })
        ));
        let _ = fs::remove_dir_all(&folder);
    }

    #[test]
    fn what_stands_already_is_known_unless_a_later_line_says_otherwise() {
        let folder = std::env::temp_dir().join(format!("curvary-standing-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("a folder");
        let _ = fs::remove_file(folder.join("answers.jsonl"));
        let mut answers = StoredAnswers::read(&folder).expect("none yet");
        let (one, two) = (Digest::of(b"a"), Digest::of(b"b"));
        let narrowed = |text: &str, only: &[&Digest]| Answer {
            only: only
                .iter()
                .map(|digest| (*digest).clone())
                .collect::<Vec<_>>()
                .into(),
            ..answer(text, "tabs")
        };
        let given = vec![
            answer("x=time:s", "tabs"),
            narrowed("y=absorbance", &[&one, &two]),
        ];
        let names = append(&mut answers, given);
        let id =
            |answers: &StoredAnswers, line: &Answer| answers.standing(line, &[]).map(|own| own.id.clone());
        let timed = answer("x=time:s", "tabs");
        assert_eq!(id(&answers, &timed), Some(names[0].clone()));
        // Fewer of the files that were named: those that still ask after a command was cut short.
        let fewer = narrowed("y=absorbance", &[&two]);
        assert_eq!(id(&answers, &fewer), Some(names[1].clone()));
        for other in [
            answer("x=time:min", "tabs"),
            answer("x=time:s", "blanks"),
            narrowed("x=time:s", &[&one]),
            narrowed("y=absorbance", &[&one, &Digest::of(b"c")]),
            answer("y=absorbance", "tabs"),
            Answer {
                question: "axis-unknown".to_owned(),
                ..timed.clone()
            },
        ] {
            assert_eq!(id(&answers, &other), None, "{other:?}");
        }
        append(&mut answers, vec![answer("x=time:min", "tabs")]);
        assert_eq!(id(&answers, &timed), None, "a later line says otherwise");
        let _ = fs::remove_dir_all(&folder);
    }

    #[test]
    fn what_stands_is_about_every_way_in_which_the_files_are_written() {
        let written = |keys: &[&str]| Family {
            writing: "tabs".to_owned(),
            keys: keys.iter().map(|key| (*key).to_owned()).collect(),
        };
        let about = |family: Family| Answer {
            id: "a".to_owned(),
            family: Some(family),
            ..answer("x=time:s", "tabs")
        };
        let first = written(&["instrument", "operator", "sample"]);
        let ways = [
            written(&["buffer", "comment", "sample"]),
            written(&["buffer", "comment", "instrument"]),
        ];
        let all = ways[0].clone().with(&ways[1]);
        let answers = StoredAnswers {
            path: PathBuf::new(),
            lines: vec![about(first.clone())],
        };
        // Their union is kin to the first, and none of the two is.
        assert!(first.is_kin(&all) && !ways.iter().any(|way| first.is_kin(way)));
        assert_eq!(answers.standing(&about(all), &ways), None);
        let fewer = written(&["instrument", "operator"]);
        assert!(
            answers
                .standing(&about(fewer.clone()), std::slice::from_ref(&fewer))
                .is_some()
        );
    }

    #[test]
    fn an_answer_is_about_the_ways_of_its_files_and_not_their_union() {
        let written = |keys: &[&str]| Family {
            writing: "tabs".to_owned(),
            keys: keys.iter().map(|key| (*key).to_owned()).collect(),
        };
        let ways = vec![
            written(&["buffer", "comment", "sample"]),
            written(&["buffer", "comment", "instrument"]),
        ];
        let mut line = answer("x=time:s", "tabs");
        line.family = Some(ways[0].clone().with(&ways[1]));
        let (digest, other) = (Digest::of(b"a"), written(&["instrument", "operator", "sample"]));
        assert!(
            line.is_about(&digest, &other),
            "a line of an older program stays as it is"
        );
        line.ways = ways.clone();
        assert!(!line.is_about(&digest, &other));
        assert!(ways.iter().all(|way| line.is_about(&digest, way)));
    }

    #[test]
    fn words_contend_with_answers_about_axes_and_not_with_other_headers() {
        let word = |text: &str, everywhere| Answer {
            everywhere,
            ..answer(text, "tabs")
        };
        for (one, other, contends) in [
            (
                word("value:Mode:Kin=x=time:s", true),
                answer("x=time:min", "tabs"),
                true,
            ),
            (word("header:t=time:s", false), answer("x=time:min", "tabs"), true),
            (
                word("header:t=time:s", true),
                word("mark:Takt=time:min", true),
                true,
            ),
            (
                word("header:t=time:s", true),
                word("header:A=absorbance", true),
                true,
            ),
            (
                word("header:t=time:s", true),
                word("header:t=time:min", true),
                true,
            ),
            (
                word("header:t=time:s", true),
                word("key:Kz=operator", true),
                false,
            ),
            (answer("x=time:s", "tabs"), answer("decimal=comma", "tabs"), false),
            (answer("x=time:s", "tabs"), answer("measurement=no", "tabs"), true),
        ] {
            assert_eq!(one.contends_with(&other), contends, "{one:?} {other:?}");
            assert_eq!(other.contends_with(&one), contends, "{one:?} {other:?}");
        }
    }

    #[test]
    fn an_answer_about_nothing_is_about_no_file() {
        let (digest, family) = (Digest::of(b"a"), Family::default());
        assert!(!Answer::default().is_about(&digest, &family));
        assert!(answer("x=time:s", "").is_about(&digest, &family));
        assert!(!answer("x=time:s", "tabs").is_about(&digest, &family));
        let mut key = answer("key:a=b=operator", "");
        assert_eq!(key.key(), Some(("a=b", "operator")));
        key.only = vec![Digest::of(b"b")].into();
        assert!(!key.is_about(&digest, &family));
    }
}
