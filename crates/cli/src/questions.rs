//! What a person is asked: a question once for all files that are written alike, with the lines it is about and the
//! answers there are.

use curvary_archive::{Answer, Archive, Asked, AskedAbout, Example, SourceView};
use curvary_formats::{Assumptions, Source, assume::nearest};
use curvary_ingest::{Again, Desk, Filing, Keeping, Limits, NOTHING, Orders, parts};
use curvary_record::interpret::{accepts_unit, guess_word};
use curvary_record::{Code, Diagnostic, Digest, Key, Verdict, known_field, known_fields};
use serde::Serialize;

use crate::ending::Failure;
use crate::table::one_line;

/// The answer that files are no measurements.
const NONE: &str = "measurement=no";

/// One question, as `worklist --json` shows it.
#[derive(Serialize)]
pub(crate) struct Shown {
    /// Its name for `curvary answer`.
    pub(crate) id: String,
    /// The question's code, `key-unknown`, or the code of a refusal.
    pub(crate) kind: String,
    /// What is asked.
    pub(crate) asks: String,
    /// How the files are written that it is about.
    pub(crate) family: String,
    /// How many files.
    pub(crate) files: u64,
    /// How many runs of theirs.
    pub(crate) runs: u64,
    /// Lines that it is about.
    pub(crate) examples: Vec<Line>,
    /// Answers, likeliest first.
    pub(crate) choices: Vec<Choice>,
    /// The command that answers it.
    pub(crate) settle: String,
}

/// A line of a file.
#[derive(Serialize)]
pub(crate) struct Line {
    /// The file.
    pub(crate) path: String,
    /// The line, from 1.
    pub(crate) line: u32,
    /// What stands there.
    pub(crate) text: String,
}

/// One answer to a question.
#[derive(Serialize, Clone, PartialEq, Eq)]
pub(crate) struct Choice {
    /// What to give to `curvary answer`; a word in capitals stands for what a person writes out.
    pub(crate) answer: String,
    /// What the files would then say.
    pub(crate) says: String,
}

impl Choice {
    fn new(answer: impl Into<String>, says: impl Into<String>) -> Self {
        Self {
            answer: answer.into(),
            says: says.into(),
        }
    }

    /// Whether something of it must be written out.
    pub(crate) fn is_open(&self) -> bool {
        self.answer.contains("QUANTITY") || self.answer.contains("FIELD")
    }
}

/// How many lines of a file are shown.
const LINES: u32 = 3;
/// A longer line is cut.
const LONGEST: usize = 160;

/// A question with its lines and choices.
pub(crate) fn shown(archive: &Archive, asked: &Asked) -> Result<Shown, Failure> {
    let id = asked.id.clone();
    let (kind, asks) = match &asked.about {
        AskedAbout::Question { code, .. } => (code.clone(), message(asked)),
        AskedAbout::Refusal { code } => (
            code.clone(),
            format!("{}: is it a measurement after all?", message(asked)),
        ),
        AskedAbout::Key { key } => {
            let values: Vec<String> = values(asked)
                .map(|value| format!("`{}`", one_line(value)))
                .collect();
            let asks = format!(
                "what does `{}` mean? it says {}",
                one_line(key),
                values.join(", ")
            );
            ("key-unknown".to_owned(), asks)
        }
    };
    let mut examples = Vec::new();
    for example in &asked.examples {
        let wanted = if examples.is_empty() { LINES } else { 1 };
        examples.extend(lines(archive, asked, example, wanted)?);
    }
    let choices = choices(asked);
    let first = choices.iter().find(|choice| !choice.is_open());
    Ok(Shown {
        settle: match first {
            Some(choice) => format!("curvary answer {id} '{}'", choice.answer),
            None => format!("curvary answer {id} ANSWER"),
        },
        id,
        kind,
        asks,
        family: asked.family.writing.clone(),
        files: asked.sources.len() as u64,
        runs: asked.runs,
        examples,
        choices,
    })
}

fn message(asked: &Asked) -> String {
    let first = asked
        .examples
        .iter()
        .find_map(|example| example.question.as_ref());
    first.map_or_else(String::new, |question| question.message.clone())
}

fn values(asked: &Asked) -> impl Iterator<Item = &str> {
    asked
        .examples
        .iter()
        .filter_map(|example| example.value.as_deref())
}

/// The answers that there are: those that were offered, most often first; then what can be written out; then none.
pub(crate) fn choices(asked: &Asked) -> Vec<Choice> {
    let mut choices: Vec<Choice> = Vec::new();
    let mut add = |choice: Choice| {
        if !choices.iter().any(|known| known.answer == choice.answer) {
            choices.push(choice);
        }
    };
    match &asked.about {
        AskedAbout::Question { about, .. } => {
            for reading in asked
                .examples
                .iter()
                .filter_map(|example| example.question.as_ref())
                .flat_map(|question| &question.readings)
            {
                if reading.assume != NONE {
                    add(Choice::new(reading.assume.clone(), reading.says.clone()));
                }
            }
            for axis in about.split('+').filter(|about| matches!(*about, "x" | "y")) {
                add(Choice::new(
                    format!("{axis}=QUANTITY:UNIT"),
                    "another quantity or unit: write it out",
                ));
            }
            add(Choice::new(NONE, "not a measurement: these files are left out"));
        }
        AskedAbout::Refusal { .. } => {
            add(Choice::new(
                NONE,
                "not a measurement: it is right to leave these files out",
            ));
            add(Choice::new(
                "x=QUANTITY:UNIT",
                "a measurement over this: write it out",
            ));
            add(Choice::new(
                "y=QUANTITY:UNIT",
                "a measurement of this: write it out",
            ));
        }
        AskedAbout::Key { key } => {
            let all: Vec<&str> = values(asked).collect();
            if let Some((field, because)) = guess_word(key, &all) {
                add(Choice::new(format!("key:{key}={field}"), because));
            }
            add(Choice::new(
                format!("key:{key}=FIELD"),
                "a known field: write it out, as FIELD or FIELD:UNIT",
            ));
            add(Choice::new(
                format!("key:{key}={NOTHING}"),
                "no field: it stays under its own name",
            ));
        }
    }
    choices
}

/// Lines of an example about which is asked.
fn lines(archive: &Archive, asked: &Asked, example: &Example, wanted: u32) -> Result<Vec<Line>, Failure> {
    let source = Source::new(example.path.clone(), archive.original(&example.digest)?);
    let text: Vec<&str> = source.text().lines().collect();
    let at = match &asked.about {
        AskedAbout::Key { key } => text
            .iter()
            .position(|line| line.contains(key.as_str()))
            .map(|index| index + 1),
        _ => example
            .question
            .as_ref()
            .and_then(|question| question.labels.first())
            .map(|label| label.place.line as usize)
            .filter(|line| *line > 0),
    };
    // Without a place, the beginning says most.
    let first = match at {
        Some(at) if wanted > 1 => at.saturating_sub(1).max(1),
        Some(at) => at,
        None => text
            .iter()
            .position(|line| !line.trim().is_empty())
            .map_or(1, |index| index + 1),
    };
    let lines = text.iter().enumerate().skip(first - 1).take(wanted as usize);
    Ok(lines
        .map(|(index, line)| Line {
            path: example.path.clone(),
            line: u32::try_from(index + 1).unwrap_or(u32::MAX),
            text: line[..line.floor_char_boundary(LONGEST)].trim_end().to_owned(),
        })
        .collect())
}

/// The question of a name, or of a beginning of it.
pub(crate) fn named<'a>(all: &'a [Asked], name: &str) -> Result<&'a Asked, Failure> {
    let mut found = all.iter().filter(|asked| asked.id.starts_with(name));
    match (found.next(), found.next()) {
        (Some(asked), None) => Ok(asked),
        (Some(_), Some(_)) => Err(Failure::usage(format!(
            "several questions begin with `{name}`: write more of the name"
        ))),
        (None, _) => Err(Failure::wrong(
            Diagnostic::error(
                Code::new("no-question"),
                format!("no open question is called `{name}`"),
            )
            .help("`curvary worklist` lists the open questions; `curvary answer --list` the answers given"),
        )),
    }
}

/// The answer that a person's words are to a question, checked: `time:s` to a question about x is `x=time:s`.
pub(crate) fn understood(asked: &Asked, said: &str) -> Result<String, Failure> {
    let said = said.trim();
    if matches!(said, "none" | "not-a-measurement") || said == NONE {
        return match asked.about {
            AskedAbout::Key { .. } => Err(Failure::usage(format!(
                "a key is asked about: answer `{NOTHING}` when it is no field"
            ))),
            _ => Ok(NONE.to_owned()),
        };
    }
    match &asked.about {
        AskedAbout::Key { key } => {
            let meaning = said
                .strip_prefix("key:")
                .and_then(|rest| rest.strip_prefix(key.as_str()))
                .and_then(|rest| rest.strip_prefix('='))
                .unwrap_or(said);
            check_meaning(meaning)?;
            Ok(format!("key:{key}={meaning}"))
        }
        AskedAbout::Question { about, .. } => {
            let abouts: Vec<&str> = about.split('+').collect();
            let offered: Vec<Choice> = choices(asked);
            if let Some(choice) = offered.iter().find(|choice| {
                !choice.is_open()
                    && (choice.answer == said
                        || choice.answer.split_once('=').is_some_and(|(_, own)| own == said))
            }) {
                return Ok(choice.answer.clone());
            }
            let whole = match (said.split_once('='), abouts.as_slice()) {
                (Some(_), _) => said.to_owned(),
                (None, [only]) => format!("{only}={said}"),
                (None, _) => {
                    return Err(Failure::usage(format!(
                        "`{said}` does not say what it is about: expected {}=…",
                        abouts.join("=… or ")
                    )));
                }
            };
            Assumptions::none().add(&whole).map_err(Failure::usage)?;
            let own = whole.split_once('=').map_or("", |(own, _)| own);
            if !abouts.contains(&own) {
                return Err(Failure::usage(format!(
                    "`{whole}` is not what is asked: expected an answer about {}",
                    abouts.join(" or ")
                )));
            }
            if !matches!(own, "x" | "y") {
                let texts: Vec<&str> = offered.iter().map(|choice| choice.answer.as_str()).collect();
                return Err(Failure::usage(format!(
                    "`{whole}` is none of the answers to this question: expected {}",
                    texts.join(", ")
                )));
            }
            Ok(whole)
        }
        AskedAbout::Refusal { .. } => {
            Assumptions::none().add(said).map_err(Failure::usage)?;
            Ok(said.to_owned())
        }
    }
}

/// Whether a meaning of a key is one: a known field, with a unit that measures it where one is given.
pub(crate) fn check_meaning(meaning: &str) -> Result<(), Failure> {
    if meaning == NOTHING {
        return Ok(());
    }
    let (field, unit) = parts(meaning);
    let Some(known) = known_field(field) else {
        let near = nearest(field, known_fields().iter().map(|known| known.key))
            .map(|near| format!("; did you mean `{near}`?"))
            .unwrap_or_default();
        return Err(Failure::usage(format!(
            "no field is called `{field}`{near} (`{NOTHING}` when it is none)"
        )));
    };
    match (meaning.split_once(':'), unit) {
        (None, _) => Ok(()),
        (Some((_, text)), None) => Err(Failure::usage(format!(
            "`{text}` is no unit: expected a UCUM unit such as `cm`, `Cel` or `mmol/L`"
        ))),
        (Some((_, text)), Some(unit)) if !accepts_unit(&Key::new(known.key), &unit) => {
            Err(Failure::usage(format!("`{text}` does not measure {field}")))
        }
        (Some(_), Some(_)) => Ok(()),
    }
}

/// What came of answers.
#[derive(Clone, Debug, Default, Serialize)]
pub(crate) struct Effect {
    /// Files that were read again.
    pub(crate) files: u64,
    /// Those in which something changed.
    pub(crate) changed: u64,
    /// Files that are read without a question now and were not before.
    pub(crate) read: u64,
    /// Files about which something is still asked.
    pub(crate) in_question: u64,
    /// Files that are left out now.
    pub(crate) left_out: u64,
}

impl Effect {
    fn see(&mut self, again: &Again) {
        self.files += 1;
        self.changed += u64::from(again.is_changed());
        self.read += u64::from(again.fate.verdict == Verdict::Read && again.before != Verdict::Read);
        self.in_question += u64::from(again.fate.verdict == Verdict::InQuestion);
        self.left_out += u64::from(
            again
                .fate
                .remarks
                .iter()
                .any(|remark| remark.code.as_str() == "left-out"),
        );
    }
}

/// How many files an answer is tried on before it is kept.
const TRIED: usize = 8;

/// Whether some file takes an answer; else why it does not.
pub(crate) fn try_out(
    archive: &Archive,
    desk: Desk,
    answer: &Answer,
    sources: &[Digest],
) -> Result<(), Failure> {
    let mut answers: Vec<Answer> = archive.answers()?.holding().cloned().collect();
    answers.push(answer.clone());
    let desk = desk.answering(answers);
    if answer.key().is_some_and(|(_, meaning)| meaning == NOTHING) {
        return Ok(());
    }
    let mut why = None;
    for digest in sources.iter().take(TRIED) {
        let finished = desk.read("", archive.original(digest)?.into());
        if finished.met.contains(&answer.answer) {
            return Ok(());
        }
        why = why.or_else(|| {
            finished
                .reading
                .remarks
                .into_iter()
                .find(|remark| remark.code.as_str() == "answer-does-not-fit")
        });
    }
    let fallback = Diagnostic::error(
        Code::new("answer-does-not-fit"),
        format!(
            "`{}` settles nothing in the files that it is about",
            answer.answer
        ),
    );
    Err(Failure::wrong(why.unwrap_or(fallback)))
}

/// Reads sources again and files what changes.
pub(crate) fn read_again(
    archive: &Archive,
    sources: Vec<SourceView>,
    keeping: Keeping,
    command: &str,
    each: &mut dyn FnMut(&Again) -> Result<(), Failure>,
) -> Result<Effect, Failure> {
    let desk = Desk::new(Orders::default(), Some(archive.root()))?;
    let none = |_: &curvary_record::Run| Vec::new();
    let filing = Filing::begin(archive, &desk, Limits::default(), command, &none)?;
    let mut effect = Effect::default();
    let stop = std::sync::atomic::AtomicBool::new(false);
    filing.read_again(sources, keeping, &stop, |again| {
        effect.see(&again);
        each(&again)
    })?;
    filing.finish()?;
    Ok(effect)
}
