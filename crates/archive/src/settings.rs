//! `archive.toml`: what people decide about an archive.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use curvary_record::names::{NameRule, Rules};
use curvary_record::{Place, known_field};
use serde::{Deserialize, Serialize};

use crate::Error;

/// The newest format of the archive's folder that this program reads and writes.
///
/// 1: as it began. 2: the manifest has a checksum of its own, the one before is kept, and a commit that is being written
/// is announced in `unfinished.json`. 3: records of what could not be kept. 4: originals in tar files under zstd, numbers of
/// records as whole numbers and steps.
pub const FORMAT: u32 = 5;

/// The content of `archive.toml`.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// The archive's name.
    pub name: String,
    /// The number of the folder's format.
    pub format: u32,
    /// Values for options of the commands, by the option's name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub defaults: BTreeMap<String, toml::Value>,
    /// Fields that are left out when runs are handed over.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub leave_out: Vec<String>,
    /// Words of the house: what a key that only this laboratory uses means, such as `jacket = "temperature"`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub words: BTreeMap<String, String>,
    /// Commands that are given again and again, by name.
    #[serde(default, rename = "sequence", skip_serializing_if = "Vec::is_empty")]
    pub sequences: Vec<Sequence>,
    /// Rules that turn file and folder names into claims.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub names: Vec<NameRule>,
    /// The same rules, ready for use.
    #[serde(skip)]
    pub(crate) rules: Rules,
}

/// Commands that are given one after another under one name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Sequence {
    /// Its name.
    pub name: String,
    /// What it is for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    /// The runs it is about; `{query}` in a step stands for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub query: Option<String>,
    /// Command lines without the name of the program.
    pub steps: Vec<String>,
}

impl Settings {
    pub(crate) fn path(root: &Path) -> PathBuf {
        root.join("archive.toml")
    }

    /// The text of a new `archive.toml`, with remarks on what can be put there.
    pub(crate) fn first(name: &str) -> String {
        let name = toml::Value::String(name.to_owned());
        format!(
            "# An archive of curvary. This file is yours to edit.\n\
             name = {name}\n\
             format = {FORMAT}\n\
             \n\
             # Fields that are left out when runs are handed over:\n\
             # leave-out = [\"operator\"]\n\
             \n\
             # Local vocabulary: what a key that only this laboratory uses means.\n\
             # [words]\n\
             # jacket = \"temperature\"\n\
             \n\
             # Commands that are given again and again: `curvary run weekly` does them.\n\
             # [[sequence]]\n\
             # name = \"weekly\"\n\
             # query = \"sample:betanin technique:time-course\"\n\
             # steps = [\"fit {{query}} --model first-order+offset\", \"export {{query}} --to report --out weekly.html --replace\"]\n\
             \n\
             # Rules that turn file and folder names into claims.\n\
             # [[names]]\n\
             # name = \"local\"\n\
             # pattern = \"{{date}}_{{sample}}_{{temperature}}C_pH{{ph}}[_rep{{replicate}}]\"\n"
        )
    }

    pub(crate) fn read(root: &Path) -> Result<Self, Error> {
        let path = Self::path(root);
        let text = match fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Err(Error::NoArchive {
                    path: root.to_owned(),
                });
            }
            Err(error) => return Err(Error::io("read", &path)(error)),
        };
        let wrong = |line, column, message: String| Error::Settings {
            path: path.clone(),
            line,
            column,
            message,
        };
        let mut settings: Self = toml::from_str(&text).map_err(|error| {
            let (line, column) = error.span().map_or((0, 0), |span| place(&text, span.start));
            wrong(line, column, error.message().to_owned())
        })?;
        if settings.format > FORMAT {
            return Err(Error::NewerFormat {
                path,
                found: settings.format,
                known: FORMAT,
            });
        }
        settings.rules = Rules::from_toml(&text, "archive.toml").map_err(|diagnostic| {
            let whole = Place::default();
            let at = diagnostic.labels.first().map_or(&whole, |label| &label.place);
            wrong(at.line as usize, at.column as usize, diagnostic.message.clone())
        })?;
        if let Some((word, field)) = settings
            .words
            .iter()
            .find(|(_, field)| known_field(field).is_none())
        {
            let line = text
                .lines()
                .position(|line| line.contains(word.as_str()))
                .map_or(0, |index| index + 1);
            return Err(wrong(
                line,
                1,
                format!("`{word}` is said to mean `{field}`, which is no known field"),
            ));
        }
        Ok(settings)
    }
}

fn place(text: &str, at: usize) -> (usize, usize) {
    let before = text.get(..at).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (line, column)
}
