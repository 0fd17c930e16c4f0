//! `curvary worklist`: what needs a person, most frequent cause first.

use std::io::{BufRead, Write};

use clap::Args;
use curvary_archive::{Archive, Asked, AskedAbout};
use curvary_record::{Code, Diagnostic};
use serde::Serialize;

use crate::Setting;
use crate::commands::answer;
use crate::commands::find::short;
use crate::ending::{Ending, Failure, Outcome};
use crate::questions::{self, Choice, Shown};
use crate::screen::{FAINT, STRONG, Screen, Styled, count, plural};
use crate::table::one_line;

/// List what needs a person, most frequent cause first
///
/// Questions with their choices, once for all files that are written alike, files that were not read, fields on which
/// the sources do not agree, runs without a sample name, and keys that only this laboratory uses.
#[derive(Debug, Args)]
pub(crate) struct Worklist {
    /// Print JSON: unread, questions, disputes, replaced, nameless and words
    #[arg(long, conflicts_with = "ask")]
    json: bool,
    /// List the words of the house alone: keys that no field is known for
    #[arg(long, conflicts_with = "ask")]
    words: bool,
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
struct Shape<'a> {
    unread: &'a [curvary_archive::UnreadGroup],
    questions: &'a [Shown],
    disputes: &'a [curvary_archive::DisputeGroup],
    replaced: &'a curvary_archive::Replaced,
    nameless: u64,
    nameless_examples: &'a [curvary_record::RunId],
    words: &'a [curvary_archive::HouseWord],
}

impl Worklist {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        let archive = setting.archive.open()?;
        if self.ask {
            return ask(&archive, self.author, screen);
        }
        if !self.strike.is_empty() {
            return strike(&archive, &self.strike, screen);
        }
        let mut list = archive.worklist(self.examples)?;
        // What a person answered to be no measurement needs nobody any more.
        list.unread.retain(|group| group.code != "left-out");
        if self.words {
            if self.json {
                screen.json(&list.words)?;
            } else {
                words(&list, screen)?;
            }
            return Ok(Ending::Done);
        }
        let questions = open(&archive, self.examples)?
            .iter()
            .map(|asked| questions::shown(&archive, asked))
            .collect::<Result<Vec<Shown>, Failure>>()?;
        if self.json {
            screen.json(&Shape {
                unread: &list.unread,
                questions: &questions,
                disputes: &list.disputes,
                replaced: &list.replaced,
                nameless: list.nameless,
                nameless_examples: &list.nameless_examples,
                words: &list.words,
            })?;
        } else {
            all(&list, &questions, screen)?;
        }
        Ok(Ending::Done)
    }
}

/// What is open: questions of readers first, refusals next, keys last, most files first in each; what was answered is
/// open no more, though its files may stay as they are.
fn open(archive: &Archive, examples: usize) -> Result<Vec<Asked>, Failure> {
    let answers = archive.answers()?;
    let mut all = archive.open_questions(examples)?;
    all.retain(|asked| {
        let closed = answers.holding().any(|line| {
            let about = match &asked.about {
                AskedAbout::Key { key } => line
                    .key()
                    .is_some_and(|(own, meaning)| own == key && meaning == curvary_ingest::NOTHING),
                AskedAbout::Question { .. } => false,
                AskedAbout::Refusal { code } => code == "left-out" || line.question == *code,
            };
            let kin = line
                .family
                .as_ref()
                .is_some_and(|family| family.is_kin(&asked.family));
            about && kin && line.only.is_empty()
        });
        let left_out = matches!(&asked.about, AskedAbout::Refusal { code } if code == "left-out");
        !closed && !left_out
    });
    all.sort_by_key(|asked| match asked.about {
        AskedAbout::Question { .. } => 0,
        AskedAbout::Refusal { .. } => 1,
        AskedAbout::Key { .. } => 2,
    });
    Ok(all)
}

fn heading(screen: &mut Screen, text: &str) -> Result<(), Failure> {
    Ok(writeln!(screen, "{}", Styled(STRONG, text))?)
}

/// One question: how many files, what is asked, its lines, its choices.
fn question(shown: &Shown, keys: bool, screen: &mut Screen) -> Result<(), Failure> {
    writeln!(
        screen,
        "{:>8}  {}  {}: {}",
        count(shown.files),
        Styled(STRONG, &shown.id),
        shown.kind,
        one_line(&shown.asks)
    )?;
    writeln!(
        screen,
        "          {}",
        Styled(FAINT, format!("written as {}", one_line(&shown.family)))
    )?;
    for line in &shown.examples {
        let place = format!("{}:{}:", one_line(&line.path), line.line);
        writeln!(
            screen,
            "          {} {}",
            Styled(FAINT, place),
            one_line(&line.text)
        )?;
    }
    for (number, choice) in (1..).zip(&shown.choices) {
        let key = if keys {
            format!("{}  ", key_of(number, choice))
        } else {
            String::new()
        };
        writeln!(
            screen,
            "          {key}{}  {}",
            one_line(&choice.answer),
            Styled(FAINT, one_line(&choice.says))
        )?;
    }
    Ok(())
}

/// The key that chooses: `n` where the files are no measurement, a number for all others.
fn key_of(number: usize, choice: &Choice) -> String {
    if choice.answer == "measurement=no" {
        "n".to_owned()
    } else {
        number.to_string()
    }
}

/// What a person typed.
enum Typed {
    Answer(String),
    Skip,
    Back,
    Quit,
    Unclear,
}

/// Goes through the questions one by one.
fn ask(archive: &Archive, author: Option<String>, screen: &mut Screen) -> Outcome {
    let root = archive.root().to_owned();
    let mut archive = Archive::open(&root)?;
    let mut list = open(&archive, 3)?;
    let (mut at, mut settled) = (0, 0_u64);
    let mut lines = std::io::stdin().lock().lines();
    while let Some(asked) = list.get(at) {
        let shown = questions::shown(&archive, asked)?;
        writeln!(
            screen,
            "{}",
            Styled(FAINT, format!("question {} of {}", at + 1, list.len()))
        )?;
        question(&shown, true, screen)?;
        writeln!(
            screen,
            "          {}",
            Styled(
                FAINT,
                "a key of these, an answer written out, s skip, b back, q quit"
            )
        )?;
        screen.flush()?;
        let Some(line) = lines.next().transpose()? else {
            break;
        };
        let answer = match typed(line.trim(), &shown.choices) {
            Typed::Quit => break,
            Typed::Back => {
                at = at.saturating_sub(1);
                continue;
            }
            Typed::Skip => {
                at += 1;
                continue;
            }
            Typed::Unclear => {
                writeln!(
                    screen,
                    "          write it out: the words in capitals stand for your own"
                )?;
                continue;
            }
            Typed::Answer(answer) => answer,
        };
        let effect = questions::understood(asked, &answer).and_then(|answer| {
            let line = answer::line(asked, answer, Vec::new(), author.clone());
            answer::settle(&archive, asked, line)
        });
        match effect {
            Ok(effect) => {
                settled += 1;
                answer::tell(&effect, screen)?;
                archive = Archive::open(&root)?;
                list = open(&archive, 3)?;
                // What was skipped stays in front; what is open now may have moved up.
                at = at.min(list.len());
            }
            Err(Failure::Told { why, text, .. }) if text.is_none() => {
                writeln!(screen, "          {}", one_line(&why.message))?;
                if let Some(help) = &why.help {
                    writeln!(screen, "          {}", Styled(FAINT, one_line(help)))?;
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

fn typed(line: &str, choices: &[Choice]) -> Typed {
    match line {
        "q" | "quit" => return Typed::Quit,
        "s" | "skip" | "" => return Typed::Skip,
        "b" | "back" => return Typed::Back,
        _ => {}
    }
    let chosen = (1..)
        .zip(choices)
        .find(|(number, choice)| key_of(*number, choice) == line);
    match chosen {
        Some((_, choice)) if choice.is_open() => Typed::Unclear,
        Some((_, choice)) => Typed::Answer(choice.answer.clone()),
        None => Typed::Answer(line.to_owned()),
    }
}

fn all(list: &curvary_archive::Worklist, questions: &[Shown], screen: &mut Screen) -> Result<(), Failure> {
    let (keys, others): (Vec<&Shown>, Vec<&Shown>) =
        questions.iter().partition(|shown| shown.kind == "key-unknown");
    if !others.is_empty() {
        heading(screen, "open questions")?;
        for shown in others {
            question(shown, false, screen)?;
            writeln!(
                screen,
                "          {}",
                Styled(FAINT, format!("settle with `{}`", shown.settle))
            )?;
        }
    }
    let unread: Vec<_> = list
        .unread
        .iter()
        .filter(|group| !questions.iter().any(|shown| shown.kind == group.code))
        .collect();
    if !unread.is_empty() {
        heading(screen, "files that were not read")?;
        for group in unread {
            writeln!(
                screen,
                "{:>8}  {}: {}",
                count(group.count),
                group.code,
                one_line(&group.message)
            )?;
            for path in &group.examples {
                writeln!(screen, "          {}", Styled(FAINT, one_line(path)))?;
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
                    Styled(FAINT, claims.join(" | "))
                )?;
            }
        }
    }
    replaced(&list.replaced, screen)?;
    if list.nameless > 0 {
        heading(screen, "runs without a sample name")?;
        let runs: Vec<&str> = list
            .nameless_examples
            .iter()
            .map(|run| short(run.as_str()))
            .collect();
        writeln!(
            screen,
            "{:>8}  {}",
            count(list.nameless),
            Styled(FAINT, format!("as {}", runs.join(", ")))
        )?;
    }
    if !keys.is_empty() {
        heading(screen, "local keys")?;
    }
    for shown in keys {
        writeln!(
            screen,
            "{:>8}  {}  {}",
            count(shown.files),
            Styled(STRONG, &shown.id),
            one_line(&shown.asks)
        )?;
        let first = shown.choices.first().filter(|choice| !choice.is_open());
        let settle = match first {
            Some(choice) => format!(
                "{}: settle with `{}`",
                one_line(&choice.says),
                one_line(&shown.settle)
            ),
            None => format!("settle with `curvary answer {} FIELD`", shown.id),
        };
        writeln!(screen, "          {}", Styled(FAINT, settle))?;
    }
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

/// Strikes files that could not be kept from the list.
fn strike(archive: &Archive, paths: &[String], screen: &mut Screen) -> Outcome {
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
        writeln!(screen, "          {}", Styled(FAINT, one_line(path)))?;
    }
    let advice = "if these were no versions of each other: `curvary add --beside PATH`";
    writeln!(screen, "          {}", Styled(FAINT, advice))?;
    if !replaced.left_behind.is_empty() {
        let runs = replaced.left_behind.iter().map(|run| short(run.as_str()));
        writeln!(
            screen,
            "{:>8}  runs among them whose notes or results hold for no newer run, since what was read differs",
            count(replaced.left_behind.len() as u64)
        )?;
        let runs: Vec<&str> = runs.take(8).collect();
        writeln!(
            screen,
            "          {}",
            Styled(
                FAINT,
                format!("`curvary show RUN` shows them: {}", runs.join(", "))
            )
        )?;
    }
    Ok(())
}

fn words(list: &curvary_archive::Worklist, screen: &mut Screen) -> Result<(), Failure> {
    if list.words.is_empty() {
        return Ok(());
    }
    writeln!(screen, "{}", Styled(STRONG, "words of the house"))?;
    for word in &list.words {
        let values: Vec<String> = word.values.iter().map(|value| one_line(value)).collect();
        writeln!(
            screen,
            "{:>8}  {}: {}",
            count(word.count),
            one_line(&word.key),
            Styled(FAINT, values.join(" | "))
        )?;
        if let Some(field) = &word.suggests {
            let because = word
                .because
                .as_deref()
                .map(|because| format!(": {because}"))
                .unwrap_or_default();
            writeln!(screen, "          looks like {field}{because}")?;
            let accept = format!(
                "accept with `curvary note --word '{}={field}'`",
                one_line(&word.key)
            );
            writeln!(screen, "          {}", Styled(FAINT, accept))?;
        }
    }
    Ok(())
}
