//! `curvary worklist`: what needs a person, most frequent cause first.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, Write};

use clap::Args;
use curvary_archive::{Archive, FindOptions, OpenItem, OpenItemKind, SourceKey, UnreadGroup};
use curvary_record::{Code, Diagnostic, code};
use serde::Serialize;

use crate::Environment;
use crate::commands::answer;
use crate::commands::find::short;
use crate::ending::{CommandResult, Ending, Failure};
use crate::questions::{self, KnownTexts, OfferedAnswer, ShownQuestion};
use crate::screen::{FAINT, STRONG, Screen, StyledText, count, plural};
use crate::table::one_line;

/// List what needs a person, most frequent cause first
///
/// Questions with their choices, once for all files that are written alike, files that were not read, fields on which
/// the sources do not agree, runs without a sample name, and keys that only this laboratory uses.
#[derive(Debug, Args)]
pub(crate) struct WorklistCommand {
    /// Print JSON: unread, questions, disputes, replaced, nameless and words
    #[arg(long, conflicts_with = "ask")]
    json: bool,
    /// Go through the questions one by one and answer them: a key and Enter for each choice
    #[arg(long)]
    ask: bool,
    /// Strike a file that could not be kept from the list, by its path: it is not wanted
    #[arg(long, value_name = "PATH", conflicts_with = "ask")]
    strike: Vec<String>,
    /// Who answers, with --ask
    #[arg(long, value_name = "NAME", env = "CURVARY_AUTHOR", hide_env_values = true)]
    author: Option<String>,
    /// How many examples to give of each cause
    #[arg(long, value_name = "N", default_value_t = 3)]
    examples: usize,
}

/// The worklist as `--json` shows it.
#[derive(Serialize)]
struct WorklistJson<'a> {
    unread: &'a [UnreadGroup],
    questions: &'a [ShownQuestion],
    disputes: &'a [curvary_archive::DisputeGroup],
    replaced: &'a curvary_archive::Replaced,
    nameless: u64,
    nameless_examples: &'a [curvary_record::RunId],
    nameless_folders: &'a [Nameless],
    words: &'a [curvary_archive::HouseWord],
}

impl WorklistCommand {
    /// Whether it goes through the questions one by one.
    pub(crate) fn asks(&self) -> bool {
        self.ask
    }

    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        if self.ask {
            return ask(&archive, self.author, screen);
        }
        if !self.strike.is_empty() {
            return strike(&archive, &self.strike, screen);
        }
        let asked = open(&archive)?;
        // What is asked about stands among the questions.
        let mut list = archive.worklist(&asked, self.examples)?;
        list.unread.retain(is_wanted);
        let known = KnownTexts::of(&archive)?;
        let nameless = nameless(&archive)?;
        let of_questions: BTreeSet<SourceKey> = asked
            .iter()
            .flat_map(|asked| asked.sources.iter().copied())
            .collect();
        let lost = archive.lost_among(of_questions)?;
        let questions = asked
            .iter()
            .map(|asked| questions::shown(&archive, asked, &lost, &known, self.examples))
            .collect::<Result<Vec<ShownQuestion>, Failure>>()?;
        if self.json {
            screen.json(&WorklistJson {
                unread: &list.unread,
                questions: &questions,
                disputes: &list.disputes,
                replaced: &list.replaced,
                nameless: list.nameless,
                nameless_examples: &list.nameless_examples,
                nameless_folders: &nameless,
                words: &list.words,
            })?;
        } else {
            let shown = ShownFiles {
                nameless: &nameless,
                examples: self.examples,
            };
            all(&list, &asked, &questions, &shown, screen)?;
        }
        let is_lost = questions.iter().any(|shown| !shown.lost.is_empty());
        Ok(if is_lost { Ending::Partly } else { Ending::Done })
    }
}

/// What is open: questions of readers first, refusals next, keys last, most files first in each; what was answered is
/// open no more, though its files may stay as they are.
pub(crate) fn open(archive: &Archive) -> Result<Vec<OpenItem>, Failure> {
    let answers = archive.answers()?;
    let mut all = archive.open_questions(answer::EXAMPLES)?;
    all.retain(|asked| {
        let closed = answers.holding().any(|line| {
            let about = match &asked.about {
                OpenItemKind::Key { key } => line
                    .key()
                    .is_some_and(|(own, meaning)| own == key && meaning == curvary_ingest::NOTHING),
                OpenItemKind::Question { .. } => false,
                OpenItemKind::Refusal { code: why } => {
                    why == code::LEFT_OUT.as_str() || line.question == *why
                }
            };
            let is_of_all = line
                .family
                .as_ref()
                .is_some_and(|family| asked.ways.iter().all(|way| family.is_kin(way)));
            about && is_of_all && line.only.is_empty()
        });
        let left_out =
            matches!(&asked.about, OpenItemKind::Refusal { code: why } if why == code::LEFT_OUT.as_str());
        !closed && !left_out
    });
    all.sort_by_key(|asked| match asked.about {
        OpenItemKind::Question { .. } => 0,
        OpenItemKind::Refusal { .. } => 1,
        OpenItemKind::Key { .. } => 2,
    });
    Ok(all)
}

fn heading(screen: &mut Screen, text: &str) -> Result<(), Failure> {
    Ok(writeln!(screen, "{}", StyledText(STRONG, text))?)
}

/// One question: how many files, what is asked, its choices, the command, and then the lines it is about and why.
fn question(shown: &ShownQuestion, keys: bool, screen: &mut Screen) -> Result<(), Failure> {
    writeln!(
        screen,
        "{:>8}  {}  {}",
        count(shown.files),
        StyledText(STRONG, &shown.id),
        one_line(&shown.asks)
    )?;
    let answers: Vec<String> = shown
        .choices
        .iter()
        .map(|choice| one_line(&questions::plainly(&choice.answer)))
        .collect();
    let widest = answers
        .iter()
        .map(|answer| answer.chars().count())
        .max()
        .unwrap_or(0);
    for ((number, choice), answer) in (1..).zip(&shown.choices).zip(&answers) {
        let key = if keys {
            format!("{}  ", key_of(number, choice))
        } else {
            String::new()
        };
        writeln!(
            screen,
            "          {key}{answer:widest$}  {}",
            StyledText(FAINT, one_line(&choice.says))
        )?;
    }
    if !keys {
        writeln!(screen, "          answer with `{}`", one_line(&shown.settle))?;
    }
    let mut others: Vec<&str> = Vec::new();
    let first = shown.examples.first().map_or("", |line| line.path.as_str());
    if !first.is_empty() {
        writeln!(
            screen,
            "          {}",
            StyledText(FAINT, format!("in {}", one_line(first)))
        )?;
    }
    for line in &shown.examples {
        if line.path == first {
            let number = StyledText(FAINT, format!("{:>6}", line.line));
            writeln!(screen, "          {number}  {}", one_line(&line.text))?;
        } else if others.last() != Some(&line.path.as_str()) {
            others.push(&line.path);
        }
    }
    if !shown.lost.is_empty() {
        let lost: Vec<String> = shown.lost.iter().take(NAMED).map(|path| one_line(path)).collect();
        let more = match shown.lost.len().saturating_sub(NAMED) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let said = format!(
            "the original is lost of {}{more}: `curvary verify` says more",
            lost.join(", ")
        );
        writeln!(screen, "          {said}")?;
    }
    if !others.is_empty() {
        let others: Vec<String> = others.iter().map(|path| one_line(path)).collect();
        writeln!(
            screen,
            "          {}",
            StyledText(FAINT, format!("and in {}", others.join(", ")))
        )?;
    }
    writeln!(
        screen,
        "          {}",
        StyledText(FAINT, format!("{}; {}", shown.kind, one_line(&shown.written)))
    )?;
    Ok(())
}

/// The key that chooses: `n` where the files are no measurement, a number for all others.
fn key_of(number: usize, choice: &OfferedAnswer) -> String {
    if choice.answer == "measurement=no" {
        "n".to_owned()
    } else {
        number.to_string()
    }
}

/// What a person typed.
enum TypedChoice {
    Answer(String),
    Skip,
    Back,
    Quit,
    Unclear,
}

/// Goes through the questions one by one.
fn ask(archive: &Archive, author: Option<String>, screen: &mut Screen) -> CommandResult {
    let root = archive.root().to_owned();
    let mut archive = Archive::open(&root)?;
    let mut list = open(&archive)?;
    let known = KnownTexts::of(&archive)?;
    let (mut at, mut settled) = (0, 0_u64);
    let mut lines = std::io::stdin().lock().lines();
    while let Some(asked) = list.get(at) {
        let lost = archive.lost_among(asked.sources.iter().copied())?;
        let shown = questions::shown(&archive, asked, &lost, &known, 3)?;
        writeln!(
            screen,
            "{}",
            StyledText(FAINT, format!("question {} of {}", at + 1, list.len()))
        )?;
        question(&shown, true, screen)?;
        writeln!(
            screen,
            "          {}",
            StyledText(
                FAINT,
                "a key of these, an answer written out, s skip, b back, q quit"
            )
        )?;
        screen.flush()?;
        let Some(line) = lines.next().transpose()? else {
            break;
        };
        let answer = match typed(line.trim(), &shown.choices) {
            TypedChoice::Quit => break,
            TypedChoice::Back => {
                at = at.saturating_sub(1);
                continue;
            }
            TypedChoice::Skip => {
                at += 1;
                continue;
            }
            TypedChoice::Unclear => {
                writeln!(
                    screen,
                    "          write it out: the words in capitals stand for your own"
                )?;
                continue;
            }
            TypedChoice::Answer(answer) => answer,
        };
        let effect = questions::understood(asked, &answer).and_then(|answer| {
            let line = answer::line(asked, answer, Vec::new(), author.clone());
            answer::settle(&archive, asked, line)
        });
        match effect {
            Ok(effect) => {
                settled += 1;
                answer::print_effect(&effect, screen)?;
                archive = Archive::open(&root)?;
                list = open(&archive)?;
                // What was skipped stays in front; what is open now may have moved up.
                at = at.min(list.len());
            }
            Err(Failure::Told { why, text, .. }) if text.is_none() => {
                writeln!(screen, "          {}", one_line(&why.message))?;
                if let Some(help) = &why.help {
                    writeln!(screen, "          {}", StyledText(FAINT, one_line(help)))?;
                }
            }
            Err(failure) => return Err(failure),
        }
    }
    let left = list.len();
    writeln!(
        screen,
        "{} answered, {} left open",
        plural(settled, "question"),
        count(left as u64)
    )?;
    Ok(Ending::Done)
}

fn typed(line: &str, choices: &[OfferedAnswer]) -> TypedChoice {
    match line {
        "q" | "quit" => return TypedChoice::Quit,
        "s" | "skip" | "" => return TypedChoice::Skip,
        "b" | "back" => return TypedChoice::Back,
        _ => {}
    }
    let chosen = (1..)
        .zip(choices)
        .find(|(number, choice)| key_of(*number, choice) == line);
    match chosen {
        Some((_, choice)) if choice.is_open() => TypedChoice::Unclear,
        Some((_, choice)) => TypedChoice::Answer(choice.answer.clone()),
        None => TypedChoice::Answer(line.to_owned()),
    }
}

/// What is listed of files beside the questions.
struct ShownFiles<'a> {
    nameless: &'a [Nameless],
    /// How many folders of nameless runs.
    examples: usize,
}

/// What a person answered to be no measurement needs nobody any more.
fn is_wanted(group: &UnreadGroup) -> bool {
    group.code != code::LEFT_OUT.as_str()
}

fn all(
    list: &curvary_archive::Worklist,
    asked: &[OpenItem],
    questions: &[ShownQuestion],
    &ShownFiles { nameless, examples }: &ShownFiles<'_>,
    screen: &mut Screen,
) -> Result<(), Failure> {
    let (keys, others): (Vec<&ShownQuestion>, Vec<&ShownQuestion>) = questions
        .iter()
        .partition(|shown| shown.kind == code::KEY_UNKNOWN.as_str());
    if !others.is_empty() {
        let of_files = asked
            .iter()
            .filter(|asked| !matches!(asked.about, OpenItemKind::Key { .. }));
        let files: BTreeSet<_> = of_files.flat_map(|asked| &asked.sources).collect();
        let words = format!(
            "{} about {}",
            plural(others.len() as u64, "open question"),
            plural(files.len() as u64, "file")
        );
        heading(screen, &words)?;
        for shown in others {
            question(shown, false, screen)?;
        }
    }
    if !list.unread.is_empty() {
        heading(screen, "files that were not read")?;
        for group in &list.unread {
            writeln!(
                screen,
                "{:>8}  {}: {}",
                count(group.count),
                group.code,
                one_line(&group.message)
            )?;
            for path in &group.examples {
                writeln!(screen, "          {}", StyledText(FAINT, one_line(path)))?;
            }
        }
    }
    if !list.disputes.is_empty() {
        heading(screen, "disputes")?;
        for group in &list.disputes {
            writeln!(screen, "{:>8}  {}", count(group.count), group.field)?;
            for (run, claims) in &group.examples {
                let claims: Vec<String> = claims.iter().map(|claim| one_line(claim)).collect();
                writeln!(
                    screen,
                    "          {}  {}",
                    short(run.as_str()),
                    StyledText(FAINT, claims.join(" | "))
                )?;
            }
        }
    }
    if let Some(group) = list.disputes.first() {
        let example = group
            .examples
            .first()
            .map_or("RUN", |(run, _)| short(run.as_str()));
        let advice = format!(
            "`curvary show {example}` says who says what; `curvary note {example} {}=VALUE` says what is right",
            group.field
        );
        writeln!(screen, "          {advice}")?;
    }
    replaced(&list.replaced, screen)?;
    if list.nameless > 0 {
        let words = format!("{} without a sample name", plural(list.nameless, "run"));
        heading(screen, &words)?;
        for group in nameless.iter().take(examples) {
            let folder = if group.folder.is_empty() {
                "no folder"
            } else {
                group.folder.as_str()
            };
            let more = group.files.len().saturating_sub(NAMED);
            let mut names: Vec<String> = group
                .files
                .iter()
                .take(NAMED)
                .map(|name| one_line(name))
                .collect();
            if more > 0 {
                names.push(format!("and {more} more"));
            }
            writeln!(screen, "{:>8}  {}", count(group.runs), one_line(folder))?;
            writeln!(screen, "          {}", StyledText(FAINT, names.join(", ")))?;
            writeln!(screen, "          note it with `{}`", one_line(&group.settle))?;
        }
        if nameless.len() > examples {
            let more = plural((nameless.len() - examples) as u64, "more folder");
            writeln!(
                screen,
                "          {}",
                StyledText(
                    FAINT,
                    format!("and in {more}; `curvary find -has:sample` lists all")
                )
            )?;
        }
    }
    if !keys.is_empty() {
        heading(screen, "local keys")?;
    }
    local_keys(&keys, screen)?;
    if questions.is_empty()
        && list.unread.is_empty()
        && list.disputes.is_empty()
        && list.replaced.versions == 0
        && list.nameless == 0
        && list.words.is_empty()
    {
        screen.say("nothing needs a person");
    }
    Ok(())
}

/// Runs without a sample name that lie in one folder.
#[derive(Serialize)]
struct Nameless {
    folder: String,
    runs: u64,
    files: Vec<String>,
    /// The command that names them, with NAME for the name.
    settle: String,
}

/// What is known of so many runs is held at once: there may be very many.
const AT_ONCE: usize = 1 << 14;

/// So many files of a folder are named.
const NAMED: usize = 3;

/// Runs without a sample name, by folder, those with most runs first.
fn nameless(archive: &Archive) -> Result<Vec<Nameless>, Failure> {
    let query = archive.query("-has:sample")?;
    let mut folders: BTreeMap<String, (u64, BTreeSet<String>)> = BTreeMap::new();
    let mut options = FindOptions {
        limit: AT_ONCE,
        ..FindOptions::default()
    };
    loop {
        let found = archive.find(&query, &options)?;
        let count = found.hits.len();
        for hit in found.hits {
            let path = hit.summary.paths.into_iter().next().unwrap_or_default();
            let (folder, name) = path.rsplit_once('/').unwrap_or(("", &path));
            let group = folders.entry(folder.to_owned()).or_default();
            group.0 += 1;
            group.1.insert(name.to_owned());
        }
        if count < AT_ONCE {
            break;
        }
        options.skip += count;
    }
    let mut all: Vec<Nameless> = folders
        .into_iter()
        .map(|(folder, (runs, files))| {
            let place = match (folder.as_str(), files.first()) {
                ("", Some(name)) => name.clone(),
                _ => folder.clone(),
            };
            let of = questions::quoted(&format!("-has:sample path:\"{place}\""));
            Nameless {
                settle: format!("curvary note --where {of} sample=NAME"),
                folder,
                runs,
                files: files.into_iter().collect(),
            }
        })
        .collect();
    all.sort_by_key(|group| std::cmp::Reverse(group.runs));
    Ok(all)
}

/// Keys that no field is known for: each once, however many ways of writing have it.
fn local_keys(keys: &[&ShownQuestion], screen: &mut Screen) -> Result<(), Failure> {
    let mut done = BTreeSet::new();
    for shown in keys {
        let Some(key) = key_of_question(shown).filter(|key| done.insert(key.to_lowercase())) else {
            continue;
        };
        let same: Vec<&&ShownQuestion> = keys
            .iter()
            .filter(|other| {
                key_of_question(other).is_some_and(|own| own.to_lowercase() == key.to_lowercase())
            })
            .collect();
        let guess = |shown: &ShownQuestion| {
            let first = shown.choices.first().filter(|choice| !choice.is_open());
            first
                .filter(|choice| !choice.answer.ends_with("=nothing"))
                .cloned()
        };
        let first = guess(shown);
        // One meaning wherever it stands is said once, for every file.
        if same
            .iter()
            .all(|other| guess(other).map(|own| own.answer) == first.as_ref().map(|own| own.answer.clone()))
        {
            let files = same.iter().map(|other| other.files).sum();
            writeln!(screen, "{:>8}  {}", count(files), one_line(&shown.asks))?;
            if let Some(choice) = &first {
                writeln!(screen, "          {}", StyledText(FAINT, one_line(&choice.says)))?;
            }
            let word = first.map_or_else(|| format!("key:{key}=FIELD"), |choice| choice.answer);
            let says = format!("curvary vocabulary {}", questions::quoted(&word));
            writeln!(screen, "          say it with `{}`", one_line(&says))?;
            if same.len() > 1 {
                let names: Vec<&str> = same.iter().map(|other| other.id.as_str()).collect();
                let apart = format!(
                    "written in {} ways; if it means something else in one: `curvary answer {} FIELD`",
                    same.len(),
                    names.join("|")
                );
                writeln!(screen, "          {}", StyledText(FAINT, apart))?;
            }
            continue;
        }
        for other in same {
            writeln!(
                screen,
                "{:>8}  {}  {}",
                count(other.files),
                StyledText(STRONG, &other.id),
                one_line(&other.asks)
            )?;
            let answer = match guess(other) {
                Some(choice) => {
                    writeln!(screen, "          {}", StyledText(FAINT, one_line(&choice.says)))?;
                    one_line(&other.settle)
                }
                None => format!("curvary answer {} FIELD", other.id),
            };
            writeln!(screen, "          answer for these files with `{answer}`")?;
        }
    }
    Ok(())
}

/// Strikes files that could not be kept from the list.
fn strike(archive: &Archive, paths: &[String], screen: &mut Screen) -> CommandResult {
    let mut writer = archive.write("curvary worklist")?;
    let listed = writer.all_missed()?;
    if let Some(strange) = paths.iter().find(|path| !listed.contains(path)) {
        let message = format!("`{strange}` is not listed as a file that could not be kept");
        let why = Diagnostic::error(Code::new("command-line"), message);
        return Err(Failure::wrong(
            why.help("`curvary worklist` lists such files with their paths"),
        ));
    }
    for path in paths {
        writer.missed(path, None)?;
    }
    writer.finish()?;
    writeln!(
        screen,
        "{} struck from the list",
        plural(paths.len() as u64, "file")
    )?;
    Ok(Ending::Done)
}

/// Files that a newer version has taken the place of.
fn replaced(replaced: &curvary_archive::Replaced, screen: &mut Screen) -> Result<(), Failure> {
    if replaced.versions == 0 {
        return Ok(());
    }
    heading(screen, "earlier versions of files")?;
    writeln!(
        screen,
        "{:>8}  replaced by other content at the same path; `curvary find is:superseded` finds their runs",
        count(replaced.versions)
    )?;
    for path in &replaced.examples {
        writeln!(screen, "          {}", StyledText(FAINT, one_line(path)))?;
    }
    let advice = "if these were no versions of each other: `curvary add --beside PATH`";
    writeln!(screen, "          {}", StyledText(FAINT, advice))?;
    if !replaced.left_behind.is_empty() {
        let runs = replaced.left_behind.iter().map(|run| short(run.as_str()));
        writeln!(
            screen,
            "{:>8}  with notes or results that hold for no newer run, since what was read differs",
            count(replaced.left_behind.len() as u64)
        )?;
        let runs: Vec<&str> = runs.take(8).collect();
        writeln!(
            screen,
            "          {}",
            StyledText(
                FAINT,
                format!("`curvary show RUN` shows them: {}", runs.join(", "))
            )
        )?;
    }
    Ok(())
}

/// The key that a question asks about.
fn key_of_question(shown: &ShownQuestion) -> Option<&str> {
    let open = shown
        .choices
        .iter()
        .find_map(|choice| choice.answer.strip_suffix("=FIELD"))?;
    open.strip_prefix("key:")
}
