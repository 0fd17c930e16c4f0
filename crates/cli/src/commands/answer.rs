//! `curvary answer`: one answer for all files that are written alike.

use std::collections::{BTreeSet, HashSet};
use std::io::Write;

use clap::Args;
use curvary_archive::{
    Answer as Line, Archive, OpenItem, OpenItemKind, SourceKey, SourceView, StoredAnswers,
};
use curvary_formats::vocabulary::LocalWord;
use curvary_ingest::{Bystanders, Filing, Ingest, IngestOptions, KeepMode, may_rest_on};
use curvary_record::{Code, Diagnostic, Digest, Verdict};

use crate::Environment;
use crate::commands::vocabulary;
use crate::ending::{CommandResult, Ending, Failure};
use crate::questions::{self, Effect};
use crate::screen::{FAINT, STRONG, Screen, StyledText, plural};
use crate::subject::named;
use crate::table::one_line;

/// Settle a question for all files that are written alike, those that are there and those that come
///
/// QUESTION is a name from `curvary worklist`, ANSWER one of its choices or one written out, such as x=time:s, or
/// key:jacket=temperature. In the place of QUESTION may stand a file, a run, a query or `@last`: then the answer is to what
/// those files ask, and for them alone. The files are read again at once; what is in no doubt stays as it is. Answers are lines of
/// `answers.jsonl` in the archive's folder; `--undo` takes one back. What a word means in every file is said with
/// `curvary vocabulary`.
#[derive(Debug, Args)]
pub(crate) struct AnswerCommand {
    /// The question's name; or a file, run, query or `@last`
    #[arg(value_name = "QUESTION|RUN|FILE|QUERY", required_unless_present_any = ["list", "undo"])]
    question: Option<String>,
    /// The answer
    #[arg(required_unless_present_any = ["list", "undo"])]
    answer: Option<String>,
    /// Only for the files of this run, or of the runs that match a query
    #[arg(long, value_name = "RUN|QUERY")]
    only: Option<String>,
    /// List the answers that were given
    #[arg(long, conflicts_with_all = ["question", "undo"])]
    list: bool,
    /// Take back an answer, by its name from `--list`; may be given several times
    #[arg(long, value_name = "NAME", conflicts_with = "question")]
    undo: Vec<String>,
    /// Who answers
    #[arg(long, value_name = "NAME", env = "CURVARY_AUTHOR", hide_env_values = true)]
    author: Option<String>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

impl AnswerCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        if self.list {
            return list(&archive, self.json, screen);
        }
        if !self.undo.is_empty() {
            let effect = take_back(&archive, &self.undo, self.author.as_deref(), screen)?;
            return self.finish(&effect, screen);
        }
        let all = archive.open_questions(EXAMPLES)?;
        let (Some(question), Some(said)) = (&self.question, &self.answer) else {
            return Err(Failure::usage("expected QUESTION and ANSWER"));
        };
        let asked = match questions::named(&all, question) {
            Ok(asked) => asked,
            Err(failure) => {
                let effect = self.for_files(&archive, &all, question, said, failure)?;
                return self.finish(&effect, screen);
            }
        };
        let answer = questions::understood(asked, said)?;
        let only = match &self.only {
            Some(words) => sources_of(&archive, words, asked)?,
            None => Vec::new(),
        };
        let line = line(asked, answer, only, self.author.clone());
        let effect = settle(&archive, asked, line)?;
        self.finish(&effect, screen)
    }

    /// Answers what files ask that are named in the place of a question, for them alone.
    fn for_files(
        &self,
        archive: &Archive,
        all: &[OpenItem],
        words: &str,
        said: &str,
        unknown: Failure,
    ) -> Result<Effect, Failure> {
        let mut digests = BTreeSet::new();
        // What is neither a question nor a run is told as a question that is not there.
        let Ok(runs) = named(archive, &[words.to_owned()]) else {
            return Err(unknown);
        };
        for run in runs {
            digests.insert(archive.stored(&run)?.source.digest);
        }
        let mut why = match digests.len() {
            0 => unknown,
            _ => Failure::wrong(
                Diagnostic::error(
                    Code::new("no-question"),
                    format!("`{words}` asks nothing now, so there is nothing to answer"),
                )
                .help(
                    "an answer that was given stands in `curvary answer --list`; `curvary answer --undo ANSWER` takes it back, and the \
                     file asks again",
                ),
            ),
        };
        let mut total = Effect::default();
        let mut settled = false;
        for asked in all {
            let only: Vec<Digest> = asked
                .sources
                .iter()
                .map(SourceKey::digest)
                .filter(|digest| digests.contains(digest))
                .collect();
            if only.is_empty() {
                continue;
            }
            match questions::understood(asked, said)
                .and_then(|answer| settle(archive, asked, line(asked, answer, only, self.author.clone())))
            {
                Ok(effect) => {
                    settled = true;
                    total.add(&effect);
                }
                Err(failure) => why = failure,
            }
        }
        if !settled {
            return Err(why);
        }
        // A file that asked several things is counted once.
        let open = Archive::open(archive.root())?.open_questions(1)?;
        let is_question = |asked: &&OpenItem| matches!(asked.about, OpenItemKind::Question { .. });
        let still: BTreeSet<&SourceKey> = open
            .iter()
            .filter(is_question)
            .flat_map(|asked| &asked.sources)
            .collect();
        let asks = |digest: &&Digest| still.contains(&SourceKey::of(digest));
        total.in_question = digests.iter().filter(asks).count() as u64;
        Ok(total)
    }

    fn finish(&self, effect: &Effect, screen: &mut Screen) -> CommandResult {
        if self.json {
            screen.json(effect)?;
        } else {
            print_effect(effect, screen)?;
        }
        Ok(Ending::Done)
    }
}

/// Takes back answers, words and rules by their names, and reads the files again that they were about.
pub(crate) fn take_back(
    archive: &Archive,
    names: &[String],
    author: Option<&str>,
    screen: &mut Screen,
) -> Result<Effect, Failure> {
    let is_rule = |name: &String| {
        let own = vocabulary::rule_name(name);
        archive.settings().names.iter().any(|rule| rule.name == own)
    };
    let (rules, names): (Vec<&String>, Vec<&String>) = names.iter().partition(|name| is_rule(name));
    // A name that is none changes nothing, and no rule either.
    named_answers(&archive.answers()?, &names)?;
    for name in rules {
        vocabulary::drop_rule(archive, name)?;
        writeln!(screen, "taken back: the rule {name} for names")?;
    }
    let mut desk = Ingest::new(IngestOptions::default(), Some(archive.root()))?;
    let mut filing = questions::begin(archive, &mut desk, COMMAND)?;
    let (mut taken, mut before) = named_answers(filing.answers(), &names)?;
    let undo = |line: &Line| Line {
        undo: Some(line.id.clone()),
        by: author.map(str::to_owned),
        ..Line::default()
    };
    if !taken.is_empty() {
        filing.answer(taken.iter().map(undo).collect())?;
    }
    for line in &taken {
        writeln!(screen, "taken back: {}", one_line(&line.answer))?;
    }
    for line in &before {
        writeln!(screen, "taken back before: {}", one_line(&line.answer))?;
    }
    taken.append(&mut before);
    let answers = filing.answers();
    for same in taken.iter().filter_map(|line| answers.standing(line, &[])) {
        screen.say(format_args!(
            "the same answer still stands as {same}: `curvary answer --undo {same}` takes that one back too",
            same = same.id
        ));
    }
    let rests = |source: &SourceView| taken.iter().any(|line| may_rest_on(source, line));
    let sources = filing.archive().sources_that(&rests)?;
    filing.take_up(taken.into_iter().map(|line| line.id));
    again(filing, sources)
}

/// The answers of these names that hold, and those that were taken back before, by a command that was perhaps cut short.
fn named_answers(answers: &StoredAnswers, names: &[&String]) -> Result<(Vec<Line>, Vec<Line>), Failure> {
    let mut taken: Vec<Line> = Vec::new();
    let mut before: Vec<Line> = Vec::new();
    for name in names {
        let is_named = |line: &&Line| line.id == **name && line.undo.is_none();
        if let Some(found) = answers.holding().find(is_named) {
            taken.push(found.clone());
        } else if let Some(found) = answers.lines().iter().find(is_named) {
            before.push(found.clone());
        } else {
            return Err(Failure::wrong(
                Diagnostic::error(
                    Code::new("no-answer"),
                    format!("no answer or word that holds is called `{name}`"),
                )
                .help("`curvary answer --list` lists the answers, `curvary vocabulary` the words"),
            ));
        }
    }
    Ok((taken, before))
}

/// What others are told of who holds the lock.
const COMMAND: &str = "curvary answer";

/// How many files of each question are looked at for its choices.
pub(crate) const EXAMPLES: usize = 64;

/// The line that an answer to a question makes.
pub(crate) fn line(asked: &OpenItem, answer: String, only: Vec<Digest>, by: Option<String>) -> Line {
    let question = match &asked.about {
        OpenItemKind::Question { code, .. } | OpenItemKind::Refusal { code } => code.clone(),
        OpenItemKind::Key { .. } => curvary_record::code::KEY_UNKNOWN.as_str().to_owned(),
    };
    Line {
        by,
        question,
        answer,
        family: Some(asked.family.clone()),
        // One way is the family itself.
        ways: if asked.ways.len() > 1 {
            asked.ways.clone()
        } else {
            Vec::new()
        },
        only: only.into(),
        ..Line::default()
    }
}

/// Keeps an answer and reads the files again that it is about. An answer that no file takes is not kept; one that stands
/// already, since the command that gave it was cut short, is taken up again under its name.
pub(crate) fn settle(archive: &Archive, asked: &OpenItem, line: Line) -> Result<Effect, Failure> {
    let named: Vec<SourceKey> = line.only.iter().map(SourceKey::of).collect();
    let sources = if named.is_empty() { &asked.sources } else { &named };
    let mut desk = Ingest::new(IngestOptions::default(), Some(archive.root()))?;
    questions::try_out(archive, &mut desk, &line, sources)?;
    let mut asking: HashSet<SourceKey> = sources.iter().copied().collect();
    let mut filing = questions::begin(archive, &mut desk, COMMAND)?;
    if line.only.is_empty() && filing.archive().commit() != archive.commit() {
        // Files came since the question was looked at.
        let open = filing.archive().open_questions(1)?;
        asking.extend(open.iter().flat_map(|asked| &asked.sources).copied());
    }
    let standing = filing.answers().standing(&line, &asked.ways).cloned();
    // Any of the files of one that stands may have been left when the command was cut short; those ask still. What does not ask is not
    // touched.
    let about = standing.as_ref().unwrap_or(&line);
    let asks = |source: &SourceView| {
        asking.contains(&source.key()) || standing.is_some() && source.record.verdict != Verdict::Read
    };
    let rereading = filing
        .archive()
        .sources_that(&|source| asks(source) && may_rest_on(source, about))?;
    // There may be very many.
    drop(asking);
    match &standing {
        Some(own) => filing.take_up([own.id.clone()]),
        None => {
            filing.answer(vec![line])?;
        }
    }
    let mut effect = again(filing, rereading)?;
    effect.standing.extend(standing.map(|own| own.id));
    Ok(effect)
}

/// Reads sources again, after which the answers that were given or taken up are in force.
pub(crate) fn again(filing: Filing<'_>, sources: Vec<SourceKey>) -> Result<Effect, Failure> {
    let mut effect = questions::read_again(&filing, sources, KeepMode::Changes, &mut |_| Ok(()))?;
    let Bystanders {
        files,
        is_more,
        examples,
    } = filing.finish()?;
    (effect.settled_otherwise, effect.settled_more) = (files, is_more);
    effect.settled_examples = examples;
    Ok(effect)
}

/// The files of a question to which a run or query narrows it.
fn sources_of(archive: &Archive, words: &str, asked: &OpenItem) -> Result<Vec<Digest>, Failure> {
    let mut found = BTreeSet::new();
    for run in named(archive, &[words.to_owned()])? {
        found.insert(archive.stored(&run)?.source.digest);
    }
    let only: Vec<Digest> = asked
        .sources
        .iter()
        .map(SourceKey::digest)
        .filter(|digest| found.contains(digest))
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
pub(crate) fn print_effect(effect: &Effect, screen: &mut Screen) -> Result<(), Failure> {
    for name in &effect.standing {
        writeln!(
            screen,
            "this stands already as {name}: it was not written a second time, and the files that still wait for it were read"
        )?;
    }
    writeln!(
        screen,
        "{} read again, {} changed: {} settled, {} still in question, {} left out",
        plural(effect.files, "file"),
        effect.changed,
        effect.read,
        effect.in_question,
        effect.left_out,
    )?;
    if effect.lost > 0 {
        let (are, their) = if effect.lost == 1 {
            ("is", "its")
        } else {
            ("are", "their")
        };
        writeln!(
            screen,
            "{} {are} lost, and {their} runs stay as they were: `curvary verify` names every original that is lost",
            plural(effect.lost, "original"),
        )?;
    }
    if effect.settled_otherwise > 0 {
        let examples: Vec<String> = effect
            .settled_examples
            .iter()
            .map(|path| one_line(path))
            .collect();
        let (did, stay) = if effect.settled_otherwise == 1 {
            ("it did not ask this and stays as it is", "")
        } else {
            ("they did not ask this and stay as they are", "s")
        };
        writeln!(
            screen,
            "{}{} more would be read otherwise by this, as {}: {did} until `curvary reread`; taken back with --undo before, this leaves \
             the file{stay} alone",
            if effect.settled_more { "at least " } else { "" },
            plural(effect.settled_otherwise, "file"),
            examples.join(", ")
        )?;
    }
    if let Some(text) = questions::left_behind(&effect.left_behind) {
        writeln!(screen, "{}", StyledText(FAINT, text))?;
    }
    Ok(())
}

fn list(archive: &Archive, json: bool, screen: &mut Screen) -> CommandResult {
    let answers = archive.answers()?;
    if json {
        let lines: Vec<&Line> = answers.holding().collect();
        screen.json(&lines)?;
        return Ok(Ending::Done);
    }
    let mut none = true;
    for line in answers.holding().filter(|line| !line.everywhere) {
        none = false;
        let who = line
            .by
            .as_deref()
            .map(|by| format!(" by {by}"))
            .unwrap_or_default();
        writeln!(
            screen,
            "{}  {}  {}",
            StyledText(STRONG, &line.id),
            one_line(&line.answer),
            StyledText(FAINT, format!("{}{}", one_line(&line.at), one_line(&who)))
        )?;
        let family = line.family.as_ref().map_or("", |family| family.writing.as_str());
        let narrowed = match &*line.only {
            [] => String::new(),
            [first, more @ ..] => {
                let path = match archive.runs_of(first)?.first() {
                    Some(run) => archive.run(run.as_str())?.paths.into_iter().next(),
                    None => None,
                };
                let path = path.unwrap_or_else(|| "a file without a run".to_owned());
                match more.len() {
                    0 => format!(", only {}", one_line(&path)),
                    more => format!(
                        ", only {} and {}",
                        one_line(&path),
                        plural(more as u64, "file more")
                    ),
                }
            }
        };
        writeln!(
            screen,
            "        {}",
            StyledText(
                FAINT,
                format!("{}: {}{narrowed}", line.question, one_line(family))
            )
        )?;
    }
    if none {
        screen.say("no answers were given");
    }
    let words = answers
        .holding()
        .filter(|line| line.everywhere && LocalWord::read(&line.answer).is_some())
        .count();
    if words > 0 {
        screen.say(format_args!(
            "{} besides: `curvary vocabulary` lists what words mean",
            plural(words as u64, "word")
        ));
    }
    Ok(Ending::Done)
}
