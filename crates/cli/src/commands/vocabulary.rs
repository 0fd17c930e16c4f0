//! `curvary vocabulary`: what words mean that only one laboratory uses.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use clap::Args;
use curvary_archive::{Answer as Line, Archive, FindOptions, OpenItem, OpenItemKind};
use curvary_formats::vocabulary::{LocalWord, WordKind};
use curvary_ingest::{Ingest, IngestOptions, NamedFile, Proposal, name_rules};
use curvary_record::{Code, Diagnostic, Digest, Unit, Value, Verdict};
use serde::Serialize;

use crate::Environment;
use crate::commands::answer::{self, EXAMPLES, again, take_back};
use crate::commands::note::change_settings;
use crate::ending::{CommandResult, Ending, Failure};
use crate::questions::{self, Effect, KnownTexts};
use crate::screen::{FAINT, STRONG, Screen, StyledText, plural};
use crate::table::{Listing, ListingColumn, Shorten, one_line};

/// Say what words mean that only this laboratory uses: keys, headers of columns, units, values and marks of blocks
///
/// A word is a line such as key:Kz=operator, key:Cell=path-length:cm, header:Glimm=absorbance, unit:Grd=°C,
/// value:solvent:aq.=water, value:Mode:Kin=x=time:s or mark:Takt=time:min; `nothing` is the meaning of what is to be left
/// alone. It holds for every file, old and new, wherever a file leaves something open, and in queries; what is in no doubt
/// stays as it is, and what was answered about files written alike weighs more. Without a word, lists those that hold.
#[derive(Debug, Args)]
pub(crate) struct VocabularyCommand {
    /// A word and its meaning, or the name of a suggestion
    #[arg(value_name = "WORD=MEANING|NAME", conflicts_with_all = ["suggested", "undo"])]
    words: Vec<String>,
    /// Show what words and file names seem to mean, going by what files have in common
    #[arg(long, conflicts_with = "undo")]
    suggested: bool,
    /// Accept all that --suggested shows
    #[arg(long, requires = "suggested")]
    yes: bool,
    /// Take back a word, by its name from the list; may be given several times
    #[arg(long, value_name = "NAME")]
    undo: Vec<String>,
    /// Who says so
    #[arg(long, value_name = "NAME", env = "CURVARY_AUTHOR", hide_env_values = true)]
    author: Option<String>,
    /// Print JSON: words and rules; with --suggested what is suggested; after a change files, changed, read, in_question and
    /// left_out
    #[arg(long)]
    json: bool,
}

/// What is suggested.
#[derive(Serialize)]
struct Suggestion {
    /// Its name, to accept it by.
    id: String,
    /// The word, or the pattern of file names.
    says: String,
    /// How many files it would concern.
    files: u64,
    /// Why.
    because: String,
    /// The files it would hold for, where not for all.
    #[serde(skip_serializing_if = "Option::is_none")]
    family: Option<String>,
    #[serde(skip)]
    accepts: Accepts,
}

enum Accepts {
    Word(Box<Line>),
    Rule(Proposal),
}

impl VocabularyCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        if !self.undo.is_empty() {
            let effect = take_back(&archive, &self.undo, self.author.as_deref(), screen)?;
            return self.finish(&effect, screen);
        }
        if self.suggested {
            return self.suggest(&archive, screen);
        }
        if self.words.is_empty() {
            return self.list(&archive, screen);
        }
        let mut accepted = Vec::new();
        let mut all: Option<Vec<Suggestion>> = None;
        for word in &self.words {
            if LocalWord::read(word).is_some() {
                let word = LocalWord::parse(word).map_err(Failure::usage)?;
                accepted.push(Accepts::Word(Box::new(self.everywhere(word.line()))));
                continue;
            }
            let suggestions = match &mut all {
                Some(known) => known,
                None => all.insert(suggestions(&archive, self.author.as_deref())?),
            };
            match suggestions.iter().position(|one| one.id == *word) {
                Some(at) => accepted.push(suggestions.swap_remove(at).accepts),
                None => {
                    // The message says what a word looks like.
                    let why = LocalWord::parse(word).err().map(|fault| fault.to_string());
                    let why = why.unwrap_or_default();
                    return Err(Failure::usage(format!(
                        "{why}; no suggestion is called so either"
                    )));
                }
            }
        }
        let effect = self.accept(&archive, accepted)?;
        self.finish(&effect, screen)
    }

    fn finish(&self, effect: &Effect, screen: &mut Screen) -> CommandResult {
        if self.json {
            screen.json(effect)?;
        } else {
            answer::print_effect(effect, screen)?;
        }
        Ok(Ending::Done)
    }

    fn everywhere(&self, answer: String) -> Line {
        Line {
            by: self.author.clone(),
            question: "vocabulary".to_owned(),
            answer,
            everywhere: true,
            ..Line::default()
        }
    }

    /// Keeps words and rules, and reads the files again that they may concern.
    fn accept(&self, archive: &Archive, accepted: Vec<Accepts>) -> Result<Effect, Failure> {
        let mut lines = Vec::new();
        let mut rules = Vec::new();
        for one in accepted {
            match one {
                Accepts::Word(line) => lines.push(*line),
                Accepts::Rule(rule) => rules.push(rule),
            }
        }
        accept_rules(archive, &rules)?;
        let mut desk = Ingest::new(IngestOptions::default(), Some(archive.root()))?;
        let mut filing = questions::begin(archive, &mut desk, "curvary vocabulary")?;
        let answers = filing.answers();
        // Another meaning of the same word takes the place of the one before.
        let about = |line: &Line| LocalWord::read(&line.answer).map(|word| word.about().to_lowercase());
        // What stands already, since a command was cut short or was given twice, is not written a second time.
        let standing: BTreeSet<String> = lines
            .iter()
            .filter_map(|line| answers.standing(line, &[]))
            .map(|own| own.id.clone())
            .collect();
        let is_new = |line: &&Line| answers.standing(line, &[]).is_none();
        let fresh: Vec<Line> = lines.iter().filter(is_new).cloned().collect();
        let old: Vec<Line> = answers
            .holding()
            .filter(|own| {
                own.everywhere
                    && fresh
                        .iter()
                        .any(|line| line.everywhere && about(line) == about(own))
            })
            .map(|own| Line {
                undo: Some(own.id.clone()),
                by: self.author.clone(),
                ..Line::default()
            })
            .collect();
        let in_fields = lines.iter().any(|line| {
            LocalWord::read(&line.answer)
                .is_some_and(|word| matches!(word.kind, WordKind::Key | WordKind::Value | WordKind::Unit))
        });
        let may_change = in_fields || !old.is_empty() || !standing.is_empty();
        let sources = filing.archive().sources_that(&|source| {
            let family = source.record.family.clone().unwrap_or_default();
            (may_change || source.record.verdict != Verdict::Read)
                && lines
                    .iter()
                    .any(|line| line.is_about(&source.record.digest, &family))
        })?;
        if !fresh.is_empty() {
            filing.answer(old.into_iter().chain(fresh).collect())?;
        }
        filing.take_up(standing.iter().cloned());
        let mut effect = again(filing, sources)?;
        effect.standing.extend(standing);
        Ok(effect)
    }

    fn list(&self, archive: &Archive, screen: &mut Screen) -> CommandResult {
        let answers = archive.answers()?;
        let words: Vec<&Line> = answers
            .holding()
            .filter(|line| LocalWord::read(&line.answer).is_some())
            .collect();
        let settings = archive.settings();
        let rules: Vec<(&str, &str)> = settings
            .names
            .iter()
            .map(|rule| (rule.name.as_str(), rule.pattern.as_str()))
            .collect();
        if self.json {
            let rules: Vec<BTreeMap<&str, &str>> = rules
                .iter()
                .map(|(name, pattern)| BTreeMap::from([("name", *name), ("pattern", *pattern)]))
                .collect();
            screen.json(&serde_json::json!({ "words": words, "rules": rules }))?;
            return Ok(Ending::Done);
        }
        for line in &words {
            let reach = match (&line.family, line.everywhere) {
                (Some(family), false) => format!("in files written as {}", one_line(&family.writing)),
                _ => "in every file".to_owned(),
            };
            let who = line
                .by
                .as_deref()
                .map(|by| format!(" by {}", one_line(by)))
                .unwrap_or_default();
            writeln!(
                screen,
                "{}  {}  {}",
                StyledText(STRONG, &line.id),
                one_line(&line.answer),
                StyledText(FAINT, format!("{}{who}, {reach}", one_line(&line.at)))
            )?;
        }
        for (word, field) in &settings.words {
            writeln!(
                screen,
                "        key:{word}={field}  {}",
                StyledText(FAINT, "in archive.toml")
            )?;
        }
        for (name, pattern) in &rules {
            writeln!(
                screen,
                "{}  names like {pattern}",
                StyledText(STRONG, name.strip_prefix(ACCEPTED).unwrap_or(name))
            )?;
        }
        if words.is_empty() && rules.is_empty() && settings.words.is_empty() {
            screen
                .say("no words were accepted; `curvary vocabulary --suggested` shows what seems to be meant");
        }
        Ok(Ending::Done)
    }

    /// Shows, or accepts, what words seem to mean.
    fn suggest(&self, archive: &Archive, screen: &mut Screen) -> CommandResult {
        let all = suggestions(archive, self.author.as_deref())?;
        if !self.yes {
            if self.json {
                screen.json(&all)?;
                return Ok(Ending::Done);
            }
            let mut table = Listing::new([
                ListingColumn::new("name"),
                ListingColumn::new("files").right(),
                ListingColumn::new("word").shorten(Shorten::End),
                ListingColumn::new("because").shorten(Shorten::End),
            ]);
            for one in &all {
                table.row([
                    one.id.as_str().into(),
                    one.files.to_string().into(),
                    one_line(&one.says).into(),
                    one_line(&one.because).into(),
                ]);
            }
            if !all.is_empty() {
                write!(screen, "{}", table.draw(screen.width()))?;
            }
            let help = match all.first() {
                None => "nothing is suggested".to_owned(),
                Some(first) => format!(
                    "`curvary vocabulary {}` accepts one, `curvary vocabulary --suggested --yes` all of them",
                    first.id
                ),
            };
            writeln!(screen, "{}", StyledText(FAINT, help))?;
            return Ok(Ending::Done);
        }
        let count = all.len() as u64;
        let effect = self.accept(archive, all.into_iter().map(|one| one.accepts).collect())?;
        if !self.json {
            writeln!(screen, "{} accepted", plural(count, "suggestion"))?;
        }
        self.finish(&effect, screen)
    }
}

/// A suggestion that is chance is none: so many files must have the header.
const FEWEST: usize = 5;

/// What words and names seem to mean, most files first.
fn suggestions(archive: &Archive, author: Option<&str>) -> Result<Vec<Suggestion>, Failure> {
    let known = KnownTexts::of(archive)?;
    let open = archive.open_questions(EXAMPLES)?;
    // What each word seems to mean in each family; none where nothing tells.
    let mut words: BTreeMap<String, Vec<(&OpenItem, ProposedMeaning)>> = BTreeMap::new();
    for asked in &open {
        let (word, meaning) = match &asked.about {
            OpenItemKind::Key { key } => {
                let first = questions::choices(asked, &known).into_iter().next();
                let meant = first
                    .filter(|choice| !choice.is_open() && !choice.answer.ends_with("=nothing"))
                    .map(|choice| (choice.answer, choice.says));
                (format!("key:{}", key.to_lowercase()), meant)
            }
            OpenItemKind::Question { .. } => match header(archive, asked)? {
                Some((header, meant)) => (format!("header:{}", header.to_lowercase()), meant),
                None => continue,
            },
            OpenItemKind::Refusal { .. } => continue,
        };
        words.entry(word).or_default().push((asked, meaning));
    }
    let mut all = Vec::new();
    for families in words.into_values() {
        let meanings: BTreeSet<Option<&str>> = families
            .iter()
            .map(|(_, meaning)| meaning.as_ref().map(|(answer, _)| answer.as_str()))
            .collect();
        // One meaning wherever the word stands holds for every file; else each for its own.
        let everywhere = meanings.len() == 1;
        let files = families.iter().map(|(asked, _)| asked.sources.len() as u64).sum();
        for (asked, meaning) in families {
            let Some((answer, because)) = meaning else {
                continue;
            };
            let mut line = answer::line(asked, answer.clone(), Vec::new(), author.map(str::to_owned));
            if everywhere {
                line.family = None;
                line.ways.clear();
                line.everywhere = true;
            }
            all.push(Suggestion {
                id: short_name(&format!(
                    "{answer}{}",
                    line.family.as_ref().map_or("", |own| &own.writing)
                )),
                files: if everywhere {
                    files
                } else {
                    asked.sources.len() as u64
                },
                family: line.family.as_ref().map(|family| family.writing.clone()),
                accepts: Accepts::Word(Box::new(line)),
                says: answer,
                because,
            });
            if everywhere {
                break;
            }
        }
    }
    let total = archive.sources()?.len() as u64;
    for rule in proposals(archive)? {
        all.push(Suggestion {
            id: rule_id(&rule.pattern),
            says: format!("names like {}", rule.pattern),
            files: rule.fits,
            because: format!(
                "fits {} of {}, as in {}",
                rule.fits,
                plural(total, "file"),
                rule.examples.join(", ")
            ),
            family: None,
            accepts: Accepts::Rule(rule),
        });
    }
    all.sort_by(|a, b| b.files.cmp(&a.files).then_with(|| a.says.cmp(&b.says)));
    Ok(all)
}

/// A word with its meaning, and why; none where nothing tells.
type ProposedMeaning = Option<(String, String)>;

/// The header that a question is about, and what it means where one choice alone suits the numbers of every file.
type Header = (String, ProposedMeaning);

fn header(archive: &Archive, asked: &OpenItem) -> Result<Option<Header>, Failure> {
    let Some(example) = asked.examples.first() else {
        return Ok(None);
    };
    let Some(header) = questions::header_asked(archive, example)? else {
        return Ok(None);
    };
    let all = asked.examples.len();
    let fitting: Vec<questions::OfferedAnswer> = questions::offered(asked)
        .into_iter()
        .filter(|(_, count)| *count == all)
        .map(|(choice, _)| choice)
        .collect();
    let meant = match fitting.as_slice() {
        [only] if all >= FEWEST => only.answer.split_once('=').and_then(|(about, meaning)| {
            let line = format!("header:{header}={meaning}");
            (matches!(about, "x" | "y") && LocalWord::parse(&line).is_ok()).then(|| {
                let because = format!("no other choice suits the numbers of {all} files: {}", only.says);
                (line, because)
            })
        }),
        _ => None,
    };
    Ok(Some((header, meant)))
}

fn short_name(text: &str) -> String {
    let digest = Digest::of(text.as_bytes());
    let digits = digest.as_str().trim_start_matches("sha256:");
    digits.get(..6).unwrap_or_default().to_owned()
}

/// What the name of a rule begins with that was suggested and accepted.
const ACCEPTED: &str = "accepted-";

/// The name of a rule in `archive.toml`.
pub(crate) fn rule_name(id: &str) -> String {
    format!("{ACCEPTED}{id}")
}

/// Takes a rule for names out of `archive.toml`.
pub(crate) fn drop_rule(archive: &Archive, id: &str) -> Result<(), Failure> {
    change_settings(archive, |text| without_rule(text, id))
}

/// Rules for names that fit and are not accepted yet.
fn proposals(archive: &Archive) -> Result<Vec<Proposal>, Failure> {
    let everything = archive.query("")?;
    let found = archive.find(&everything, &FindOptions::default())?;
    let mut files: BTreeMap<String, NamedFile> = BTreeMap::new();
    for hit in found.hits {
        let says: BTreeMap<String, String> = ["sample", "date", "temperature"]
            .into_iter()
            .filter_map(|field| {
                let fact = hit.summary.fields.get(field)?;
                let text = match (&fact.value, &fact.unit) {
                    (Value::Text(text), _) => text.clone(),
                    (Value::Number(number), Some(unit)) => {
                        let celsius = Unit::ucum("Cel").ok()?;
                        unit.convert(*number, &celsius).ok()?.to_string()
                    }
                    _ => return None,
                };
                Some((field.to_owned(), text))
            })
            .collect();
        for path in hit.summary.paths {
            // Several runs of a file may be of several samples; then its name is of none of them.
            let file = files.entry(path.clone()).or_insert_with(|| NamedFile {
                path,
                says: says.clone(),
            });
            file.says.retain(|field, text| says.get(field) == Some(text));
        }
    }
    let files: Vec<NamedFile> = files.into_values().collect();
    let mut rules = name_rules(&files);
    rules.retain(|rule| {
        archive
            .settings()
            .names
            .iter()
            .all(|own| own.pattern != rule.pattern)
    });
    Ok(rules)
}

/// The short name of a rule.
fn rule_id(pattern: &str) -> String {
    short_name(pattern)
}

fn accept_rules(archive: &Archive, rules: &[Proposal]) -> Result<(), Failure> {
    if rules.is_empty() {
        return Ok(());
    }
    change_settings(archive, |text| {
        let mut settings = document(text)?;
        let names = settings
            .entry("names")
            .or_insert_with(|| toml_edit::Item::ArrayOfTables(toml_edit::ArrayOfTables::new()));
        let Some(names) = names.as_array_of_tables_mut() else {
            return Err(Failure::usage("archive.toml: `names` is no list of tables"));
        };
        for rule in rules {
            let mut table = toml_edit::Table::new();
            table.insert("name", toml_edit::value(rule_name(&rule_id(&rule.pattern))));
            table.insert("pattern", toml_edit::value(rule.pattern.as_str()));
            names.push(table);
        }
        Ok(settings.to_string())
    })
}

fn without_rule(text: &str, name: &str) -> Result<String, Failure> {
    let mut settings = document(text)?;
    if let Some(names) = settings
        .get_mut("names")
        .and_then(toml_edit::Item::as_array_of_tables_mut)
    {
        let own = rule_name(name);
        names.retain(|rule| rule.get("name").and_then(toml_edit::Item::as_str) != Some(own.as_str()));
    }
    Ok(settings.to_string())
}

fn document(text: &str) -> Result<toml_edit::DocumentMut, Failure> {
    text.parse().map_err(|error: toml_edit::TomlError| {
        Failure::nothing(Diagnostic::error(
            Code::new("settings-wrong"),
            format!("archive.toml: {error}"),
        ))
    })
}
