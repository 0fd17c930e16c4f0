//! `curvary answer`: one answer for all files that are written alike.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use clap::Args;
use curvary_archive::{Answer as Line, Archive, Asked, AskedAbout, FindOptions, SourceView};
use curvary_ingest::{Desk, Keeping, NamedFile, Orders, Proposal, name_rules};
use curvary_record::{Code, Diagnostic, Digest, Unit, Value};

use crate::Setting;
use crate::commands::export::chosen;
use crate::commands::note::change_settings;
use crate::ending::{Ending, Failure, Outcome};
use crate::questions::{self, Effect};
use crate::screen::{FAINT, STRONG, Screen, Styled, plural};
use crate::table::{Column, Shorten, Table, one_line};

/// Settle a question for all files that are written alike, those that are there and those that come
///
/// QUESTION is a name from `curvary worklist`, ANSWER one of its choices or one written out, such as x=time:s, or
/// key:Kz=operator. The files are read again at once; what is in no doubt stays as it is. Answers are lines of
/// `answers.jsonl` in the archive's folder; `--undo` takes one back.
#[derive(Debug, Args)]
pub(crate) struct Answer {
    /// The question's name
    #[arg(required_unless_present_any = ["list", "undo", "suggested"])]
    question: Option<String>,
    /// The answer
    #[arg(required_unless_present_any = ["list", "undo", "suggested"])]
    answer: Option<String>,
    /// Only for the files of this run, or of the runs that match a query
    #[arg(long, value_name = "RUN|QUERY")]
    only: Option<String>,
    /// List the answers that were given
    #[arg(long, conflicts_with_all = ["question", "undo", "suggested"])]
    list: bool,
    /// Take back an answer, by its name from `--list`; may be given several times
    #[arg(long, value_name = "NAME", conflicts_with = "question")]
    undo: Vec<String>,
    /// Show what local keys seem to mean, going by their values; with --yes all of it is accepted
    #[arg(long, conflicts_with = "question")]
    suggested: bool,
    /// Do it without the preview of --suggested
    #[arg(long)]
    yes: bool,
    /// Who answers
    #[arg(long, value_name = "NAME", env = "CURVARY_AUTHOR", hide_env_values = true)]
    author: Option<String>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

impl Answer {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        let archive = setting.archive.open()?;
        if self.list {
            return list(&archive, self.json, screen);
        }
        if !self.undo.is_empty() {
            return self.take_back(&archive, screen);
        }
        let all = archive.open_questions(questions_tried())?;
        if self.suggested {
            return self.suggest(&archive, &all, screen);
        }
        let (Some(question), Some(said)) = (&self.question, &self.answer) else {
            return Err(Failure::usage("expected QUESTION and ANSWER"));
        };
        if said == "yes"
            && let Some(rule) = proposals(&archive)?
                .iter()
                .find(|rule| rule_id(&rule.pattern) == *question)
        {
            accept_rules(&archive, std::slice::from_ref(rule))?;
            writeln!(screen, "accepted: {}", rule.pattern)?;
            return Ok(Ending::Done);
        }
        let asked = questions::named(&all, question)?;
        let answer = questions::understood(asked, said)?;
        let only = match &self.only {
            Some(words) => sources_of(&archive, words, asked)?,
            None => Vec::new(),
        };
        let line = line(asked, answer, only, self.author.clone());
        let effect = settle(&archive, asked, line)?;
        self.tell(&effect, screen)
    }

    fn tell(&self, effect: &Effect, screen: &mut Screen) -> Outcome {
        if self.json {
            screen.json(effect)?;
        } else {
            tell(effect, screen)?;
        }
        Ok(Ending::Done)
    }

    fn take_back(&self, archive: &Archive, screen: &mut Screen) -> Outcome {
        let accepted: Vec<&str> = archive
            .settings()
            .names
            .iter()
            .map(|rule| rule.name.as_str())
            .collect();
        if let [name] = self.undo.as_slice()
            && accepted.contains(&format!("accepted-{name}").as_str())
        {
            change_settings(archive, |text| without_rule(text, name))?;
            writeln!(screen, "rule taken back: {name}")?;
            return Ok(Ending::Done);
        }
        let mut answers = archive.answers()?;
        let mut taken: Vec<Line> = Vec::new();
        for name in &self.undo {
            let Some(found) = answers.holding().find(|line| line.id == *name) else {
                return Err(Failure::wrong(
                    Diagnostic::error(
                        Code::new("no-answer"),
                        format!("no answer that holds is called `{name}`"),
                    )
                    .help("`curvary answer --list` lists them"),
                ));
            };
            taken.push(found.clone());
        }
        let undo = |name: &String| Line {
            undo: Some(name.clone()),
            by: self.author.clone(),
            ..Line::default()
        };
        answers.append(self.undo.iter().map(undo).collect())?;
        let mut sources = archive.sources()?;
        sources.retain(|source| {
            let family = source.record.family.clone().unwrap_or_default();
            taken
                .iter()
                .any(|line| line.is_about(&source.record.digest, &family))
        });
        let effect = again(archive, sources)?;
        if !self.json {
            writeln!(screen, "{} taken back", plural(taken.len() as u64, "answer"))?;
        }
        self.tell(&effect, screen)
    }

    /// Shows, or accepts, what keys seem to mean.
    fn suggest(&self, archive: &Archive, all: &[Asked], screen: &mut Screen) -> Outcome {
        let suggested: Vec<(&Asked, String)> = all
            .iter()
            .filter(|asked| matches!(asked.about, AskedAbout::Key { .. }))
            .filter_map(|asked| {
                let first = questions::choices(asked).into_iter().next()?;
                (!first.is_open() && !first.answer.ends_with(curvary_ingest::NOTHING))
                    .then_some((asked, first.answer))
            })
            .collect();
        let mut table = Table::new([
            Column::new("question"),
            Column::new("files").right(),
            Column::new("answer").shorten(Shorten::End),
            Column::new("values").shorten(Shorten::End),
        ]);
        for (asked, answer) in &suggested {
            let values: Vec<&str> = asked
                .examples
                .iter()
                .filter_map(|example| example.value.as_deref())
                .collect();
            table.row([
                asked.id.as_str().into(),
                asked.sources.len().to_string().into(),
                one_line(answer).into(),
                one_line(&values.join(" | ")).into(),
            ]);
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        let rules = proposals(archive)?;
        let total = archive.sources()?.len();
        for rule in &rules {
            writeln!(
                screen,
                "{}  names like {}: fits {} of {}",
                rule_id(&rule.pattern),
                Styled(STRONG, &rule.pattern),
                rule.fits,
                plural(total as u64, "file")
            )?;
            let examples: Vec<String> = rule.examples.iter().map(|path| one_line(path)).collect();
            writeln!(
                screen,
                "        {}",
                Styled(FAINT, format!("as in {}", examples.join(", ")))
            )?;
        }
        if !self.yes {
            if let Some(rule) = rules.first() {
                let accept = format!(
                    "one rule is accepted with `curvary answer {} yes`",
                    rule_id(&rule.pattern)
                );
                writeln!(screen, "{}", Styled(FAINT, accept))?;
            }
            let total = format!(
                "{} and {}",
                plural(suggested.len() as u64, "key"),
                plural(rules.len() as u64, "rule")
            );
            writeln!(
                screen,
                "{}",
                Styled(
                    FAINT,
                    format!("{total} would be accepted; say it again with --yes")
                )
            )?;
            return Ok(Ending::Done);
        }
        let mut digests = BTreeSet::new();
        let mut lines = Vec::new();
        for (asked, answer) in suggested {
            digests.extend(asked.sources.iter().cloned());
            lines.push(line(asked, answer, Vec::new(), self.author.clone()));
        }
        archive.answers()?.append(lines)?;
        accept_rules(archive, &rules)?;
        let archive = &Archive::open(archive.root())?;
        let effect = again(archive, among(archive, &digests)?)?;
        self.tell(&effect, screen)
    }
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
    let digest = Digest::of(pattern.as_bytes());
    let digits = digest.as_str().trim_start_matches("sha256:");
    digits.get(..6).unwrap_or_default().to_owned()
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
            table.insert(
                "name",
                toml_edit::value(format!("accepted-{}", rule_id(&rule.pattern))),
            );
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
        let own = format!("accepted-{name}");
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

/// How many files of each question are looked at for its choices.
fn questions_tried() -> usize {
    8
}

/// The line that an answer to a question makes.
pub(crate) fn line(asked: &Asked, answer: String, only: Vec<Digest>, by: Option<String>) -> Line {
    let question = match &asked.about {
        AskedAbout::Question { code, .. } | AskedAbout::Refusal { code } => code.clone(),
        AskedAbout::Key { .. } => "key-unknown".to_owned(),
    };
    Line {
        by,
        question,
        answer,
        family: Some(asked.family.clone()),
        only,
        ..Line::default()
    }
}

/// Keeps an answer and reads the files again that it is about. An answer that no file takes is not kept.
pub(crate) fn settle(archive: &Archive, asked: &Asked, line: Line) -> Result<Effect, Failure> {
    let sources: Vec<Digest> = if line.only.is_empty() {
        asked.sources.clone()
    } else {
        line.only.clone()
    };
    let desk = Desk::new(Orders::default(), Some(archive.root()))?;
    questions::try_out(archive, desk, &line, &sources)?;
    archive.answers()?.append(vec![line])?;
    again(archive, among(archive, &sources.into_iter().collect())?)
}

fn again(archive: &Archive, sources: Vec<SourceView>) -> Result<Effect, Failure> {
    questions::read_again(archive, sources, Keeping::Changes, "curvary answer", &mut |_| {
        Ok(())
    })
}

fn among(archive: &Archive, digests: &BTreeSet<Digest>) -> Result<Vec<SourceView>, Failure> {
    let mut sources = archive.sources()?;
    sources.retain(|source| digests.contains(&source.record.digest));
    Ok(sources)
}

/// The files of a question to which a run or query narrows it.
fn sources_of(archive: &Archive, words: &str, asked: &Asked) -> Result<Vec<Digest>, Failure> {
    let mut found = BTreeSet::new();
    for run in chosen(archive, &[words.to_owned()])? {
        found.insert(archive.stored(&run)?.source.digest);
    }
    let only: Vec<Digest> = asked
        .sources
        .iter()
        .filter(|digest| found.contains(digest))
        .cloned()
        .collect();
    if only.is_empty() {
        return Err(Failure::nothing(Diagnostic::error(
            Code::new("no-run"),
            format!("no run of `{words}` asks this question"),
        )));
    }
    Ok(only)
}

/// Tells what came of answers.
pub(crate) fn tell(effect: &Effect, screen: &mut Screen) -> Result<(), Failure> {
    writeln!(
        screen,
        "{} read again, {} changed: {} settled, {} still in question, {} left out",
        plural(effect.files, "file"),
        effect.changed,
        effect.read,
        effect.in_question,
        effect.left_out,
    )?;
    Ok(())
}

fn list(archive: &Archive, json: bool, screen: &mut Screen) -> Outcome {
    let answers = archive.answers()?;
    if json {
        let lines: Vec<&Line> = answers.holding().collect();
        screen.json(&lines)?;
        return Ok(Ending::Done);
    }
    let mut none = true;
    for line in answers.holding() {
        none = false;
        let who = line
            .by
            .as_deref()
            .map(|by| format!(" by {by}"))
            .unwrap_or_default();
        writeln!(
            screen,
            "{}  {}  {}",
            Styled(STRONG, &line.id),
            one_line(&line.answer),
            Styled(FAINT, format!("{}{}", one_line(&line.at), one_line(&who)))
        )?;
        let family = line.family.as_ref().map_or("", |family| family.writing.as_str());
        let narrowed = match line.only.len() {
            0 => String::new(),
            files => format!(", only {}", plural(files as u64, "file")),
        };
        writeln!(
            screen,
            "        {}",
            Styled(
                FAINT,
                format!("{}: {}{narrowed}", line.question, one_line(family))
            )
        )?;
    }
    if none {
        screen.say("no answers were given");
    }
    Ok(Ending::Done)
}
