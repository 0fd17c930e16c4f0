//! What a person is asked: a question once for all files that are written alike, with the lines it is about and the
//! answers there are.

use std::collections::{BTreeMap, BTreeSet};

use curvary_archive::{Answer, Archive, Example, OpenItem, OpenItemKind, SourceKey};
use curvary_formats::readers::StructuredText;
use curvary_formats::vocabulary::{LocalWord, WordKind, check_field, unit_of};
use curvary_formats::{Assumptions, Reader as _, Recognition, Source};
use curvary_ingest::{Filing, Ingest, IngestLimits, KeepMode, NOTHING, RereadSource};
use curvary_record::interpret::guess_word;
use curvary_record::{
    Around, Code, Diagnostic, Digest, Headers, Manner, Outcome, Question, Run, RunId, Unit, ValueKind,
    Verdict, code, known_fields,
};
use serde::Serialize;

use crate::ending::Failure;
use crate::screen::plural;
use crate::table::one_line;

/// The answer that files are no measurements.
const NONE: &str = "measurement=no";

/// One question, as `worklist --json` shows it.
#[derive(Serialize)]
pub(crate) struct ShownQuestion {
    /// Its name for `curvary answer`.
    pub(crate) id: String,
    /// The question's code, `key-unknown`, or the code of a refusal.
    pub(crate) kind: String,
    /// What is asked.
    pub(crate) asks: String,
    /// How the files are written that it is about.
    pub(crate) family: String,
    /// The same in plain words.
    #[serde(skip)]
    pub(crate) written: String,
    /// How many files.
    pub(crate) files: u64,
    /// How many runs of theirs.
    pub(crate) runs: u64,
    /// Lines that it is about.
    pub(crate) examples: Vec<FileLine>,
    /// Files of it whose originals are lost, so that they show no lines and no answer reads them again.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(crate) lost: Vec<String>,
    /// Answers, likeliest first.
    pub(crate) choices: Vec<OfferedAnswer>,
    /// The command that answers it.
    pub(crate) settle: String,
}

/// A line of a file.
#[derive(Serialize)]
pub(crate) struct FileLine {
    /// The file.
    pub(crate) path: String,
    /// The line, from 1.
    pub(crate) line: u32,
    /// What stands there.
    pub(crate) text: String,
}

/// One answer to a question.
#[derive(Serialize, Clone, PartialEq, Eq)]
pub(crate) struct OfferedAnswer {
    /// What to give to `curvary answer`; a word in capitals stands for what a person writes out.
    pub(crate) answer: String,
    /// What the files would then say.
    pub(crate) says: String,
}

impl OfferedAnswer {
    fn new(answer: impl Into<String>, says: impl Into<String>) -> Self {
        Self {
            answer: answer.into(),
            says: says.into(),
        }
    }

    /// Whether something of it must be written out.
    pub(crate) fn is_open(&self) -> bool {
        self.answer.contains("QUANTITY") || self.answer.ends_with("=FIELD")
    }
}

/// An answer as people write its unit: `y=absorbance`, `x=concentration:µmol/L`; what [`understood`] takes for the same.
pub(crate) fn plainly(answer: &str) -> String {
    let Some((about @ ("x" | "y"), meaning)) = answer.split_once('=') else {
        return answer.to_owned();
    };
    match meaning.rsplit_once(':') {
        Some(("absorbance", "{AU}")) => format!("{about}=absorbance"),
        Some((quantity, code)) => {
            let written = Unit::ucum(code)
                .ok()
                .map(|unit| (unit.display(), unit))
                .filter(|(text, unit)| {
                    unit_of(text).as_ref() == Some(unit) && !text.contains([' ', '⁻', '⁰'])
                });
            match written {
                Some((text, _)) if !text.is_empty() => format!("{about}={quantity}:{text}"),
                _ => answer.to_owned(),
            }
        }
        None => answer.to_owned(),
    }
}

/// A word of a command line, in quotes where a shell needs them.
pub(crate) fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "=:/.,%+-_µ°²³".contains(c);
    if word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

/// How the files of a question are written, in plain words; `first` is one of them.
fn written_so(first: Option<&Source>, asked: &OpenItem) -> String {
    // A family is told by lines; where brackets and marks part the text, lines have neither headers nor keys.
    if let Some(source) = first
        && let Recognition::Yes(_) = StructuredText::default().recognise(&source.glimpse())
    {
        return "names with values in brackets (JSON or the like) or a web page, not lines".to_owned();
    }
    written(&asked.family.writing)
}

/// How a family is written, in plain words.
fn written(writing: &str) -> String {
    let Some(manner) = Manner::of(writing) else {
        return writing.to_owned();
    };
    let keys = match manner.around {
        Around::Keys(form) => format!(
            "; keys written `{}`",
            form.replacen('k', "key", 1).replacen(" v", " value", 1)
        ),
        Around::Marked(sign) => format!("; lines after {sign}"),
        Around::Plain => String::new(),
    };
    let cells = manner.cells;
    match manner.headers {
        Headers::Absent(table) => format!("{cells}; no headers, {table}{keys}"),
        Headers::Present(headers) => format!("{cells}; headers {headers}{keys}"),
    }
}

/// How many lines of a file are shown.
const LINES: u32 = 3;
/// A longer line is cut.
const LONGEST: usize = 160;

/// Texts that are known under fields of this archive, so that a key with the same values may be told.
#[derive(Default)]
pub(crate) struct KnownTexts(BTreeMap<String, BTreeSet<String>>);

impl KnownTexts {
    /// Of an archive.
    pub(crate) fn of(archive: &Archive) -> Result<Self, Failure> {
        // What is a text of its own each time, or a category of many kinds, tells nothing.
        let fields: Vec<&str> = known_fields()
            .iter()
            .filter(|known| known.kind == ValueKind::Text && !matches!(known.key, "comment" | "title"))
            .map(|known| known.key)
            .collect();
        Ok(Self(archive.known_texts(&fields)?))
    }

    /// The field under which other files have the values of a key, with the reason.
    fn guess(&self, values: &[&str]) -> Option<(String, String)> {
        let all: BTreeSet<String> = values.iter().map(|value| value.trim().to_lowercase()).collect();
        let mut best: Vec<(&String, Vec<&String>)> = self
            .0
            .iter()
            .map(|(field, texts)| (field, all.iter().filter(|value| texts.contains(*value)).collect()))
            .filter(|(_, met): &(_, Vec<_>)| met.len() >= 2 && met.len() * 2 > all.len())
            .collect();
        best.sort_by_key(|(_, met)| std::cmp::Reverse(met.len()));
        let (field, met) = best.first()?;
        // Two fields with the same values tell nothing.
        if best.get(1).is_some_and(|(_, second)| second.len() == met.len()) {
            return None;
        }
        let some: Vec<String> = values
            .iter()
            .filter(|value| met.iter().any(|text| **text == value.trim().to_lowercase()))
            .take(3)
            .map(|value| format!("`{}`", value.trim()))
            .collect();
        Some((
            (*field).clone(),
            format!("other files have the same values as {field}: {}", some.join(", ")),
        ))
    }
}

/// The bytes of an original; none where it is lost, which is no reason to leave everything else.
fn original_left(archive: &Archive, digest: &Digest) -> Result<Option<Vec<u8>>, Failure> {
    match archive.original(digest) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(curvary_archive::Error::NoOriginal { .. } | curvary_archive::Error::Damaged { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// The header of the column that a question is about.
pub(crate) fn header_asked(archive: &Archive, example: &Example) -> Result<Option<String>, Failure> {
    let Some(span) = example
        .question
        .as_ref()
        .and_then(|question| question.labels.first()?.place.span)
    else {
        return Ok(None);
    };
    let Some(bytes) = original_left(archive, &example.digest)? else {
        return Ok(None);
    };
    let source = Source::new(example.path.clone(), bytes);
    let text = source.text().get(span.range()).map(str::trim);
    Ok(text
        .filter(|text| {
            text.contains(char::is_alphabetic) && text.len() < 60 && !text.contains(['\n', '\t', ';'])
        })
        .map(str::to_owned))
}

/// A question with its lines and choices. `lost` has the paths of those of its files whose originals are lost.
pub(crate) fn shown(
    archive: &Archive,
    asked: &OpenItem,
    lost: &BTreeMap<SourceKey, String>,
    known: &KnownTexts,
    files: usize,
) -> Result<ShownQuestion, Failure> {
    let id = asked.id.clone();
    let (kind, asks) = match &asked.about {
        OpenItemKind::Question { code, .. } => (code.clone(), message(asked)),
        OpenItemKind::Refusal { code } => (
            code.clone(),
            format!("not read, because {}: is it a measurement?", message(asked)),
        ),
        OpenItemKind::Key { key } => {
            let mut seen = BTreeSet::new();
            let values: Vec<String> = values(asked)
                .filter(|value| seen.insert(*value))
                .take(3)
                .map(|value| format!("`{}`", one_line(value)))
                .collect();
            let asks = format!(
                "what does `{}` mean? it says {}",
                one_line(key),
                values.join(", ")
            );
            (code::KEY_UNKNOWN.as_str().to_owned(), asks)
        }
    };
    let mut examples = Vec::new();
    let mut first_source = None;
    let mut left = files.max(1);
    // The lines of a lost original are shown nowhere; another file of the same question may show them.
    for example in &asked.examples {
        if left == 0 {
            break;
        }
        let Some(bytes) = original_left(archive, &example.digest)? else {
            continue;
        };
        left -= 1;
        let wanted = if examples.is_empty() { LINES } else { 1 };
        let source = Source::new(example.path.clone(), bytes);
        examples.extend(lines(&source, asked, example, wanted));
        first_source.get_or_insert(source);
    }
    let choices = choices(asked, known);
    let first = choices.iter().find(|choice| !choice.is_open());
    Ok(ShownQuestion {
        settle: match first {
            Some(choice) => format!("curvary answer {id} {}", quoted(&plainly(&choice.answer))),
            // Where the file contradicts itself, only the right value helps.
            None if matches!(&asked.about, OpenItemKind::Question { about, .. } if about.is_empty()) => {
                let run = asked.examples.iter().find_map(|example| example.run.as_ref());
                let run = run.map_or("RUN", |run| run.as_str());
                format!("curvary note {} FIELD=VALUE", run.get(..8).unwrap_or(run))
            }
            None => format!("curvary answer {id} ANSWER"),
        },
        id,
        kind,
        asks,
        family: asked.family.writing.clone(),
        written: written_so(first_source.as_ref(), asked),
        files: asked.sources.len() as u64,
        runs: asked.runs,
        examples,
        lost: asked
            .sources
            .iter()
            .filter_map(|source| lost.get(source).cloned())
            .collect(),
        choices,
    })
}

fn message(asked: &OpenItem) -> String {
    let first = asked
        .examples
        .iter()
        .find_map(|example| example.question.as_ref());
    first.map_or_else(String::new, |question| question.message.clone())
}

fn values(asked: &OpenItem) -> impl Iterator<Item = &str> {
    asked
        .examples
        .iter()
        .filter_map(|example| example.value.as_deref())
}

/// The answers that the examples of a question offer, those first that most of them do, each with how many.
pub(crate) fn offered(asked: &OpenItem) -> Vec<(OfferedAnswer, usize)> {
    let questions = || {
        asked
            .examples
            .iter()
            .filter_map(|example| example.question.as_ref())
    };
    let offers =
        |question: &Question, answer: &str| question.readings.iter().any(|reading| reading.assume == answer);
    let mut all: Vec<(OfferedAnswer, usize)> = Vec::new();
    for reading in questions().flat_map(|question| &question.readings) {
        if reading.assume == NONE || all.iter().any(|(known, _)| known.answer == reading.assume) {
            continue;
        }
        let count = questions()
            .filter(|question| offers(question, &reading.assume))
            .count();
        all.push((
            OfferedAnswer::new(reading.assume.clone(), reading.says.clone()),
            count,
        ));
    }
    // The sort is stable: the order of the evidence stays among equals.
    all.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    all
}

/// The answers that there are: those that were offered, that fit most files first; then what can be written out; then
/// that it is none.
pub(crate) fn choices(asked: &OpenItem, known: &KnownTexts) -> Vec<OfferedAnswer> {
    let mut choices: Vec<OfferedAnswer> = Vec::new();
    match &asked.about {
        OpenItemKind::Question { about, .. } => {
            let all = asked
                .examples
                .iter()
                .filter(|example| example.question.is_some())
                .count();
            for (mut choice, count) in offered(asked) {
                if count < all {
                    choice.says = format!("{} (does not suit the numbers of every file)", choice.says);
                }
                choices.push(choice);
            }
            for axis in about.split('+').filter(|about| matches!(*about, "x" | "y")) {
                choices.push(OfferedAnswer::new(
                    format!("{axis}=QUANTITY:UNIT"),
                    "another quantity or unit: write it out",
                ));
            }
            choices.push(OfferedAnswer::new(
                NONE,
                "not a measurement: leave these files out",
            ));
        }
        OpenItemKind::Refusal { .. } => {
            choices.push(OfferedAnswer::new(
                NONE,
                "not a measurement: leave these files out",
            ));
            choices.push(OfferedAnswer::new(
                "x=QUANTITY:UNIT",
                "a measurement; the x axis is this: write it out",
            ));
            choices.push(OfferedAnswer::new(
                "y=QUANTITY:UNIT",
                "a measurement; the y axis is this: write it out",
            ));
        }
        OpenItemKind::Key { key } => {
            let all: Vec<&str> = values(asked).collect();
            let guess = guess_word(key, &all)
                .map(|(field, because)| (field.to_owned(), because))
                .or_else(|| known.guess(&all));
            if let Some((field, because)) = guess {
                choices.push(OfferedAnswer::new(format!("key:{key}={field}"), because));
            }
            choices.push(OfferedAnswer::new(
                format!("key:{key}=FIELD"),
                "a known field, as FIELD or FIELD:UNIT: write it out",
            ));
            choices.push(OfferedAnswer::new(
                format!("key:{key}={NOTHING}"),
                "no field: it stays as it is",
            ));
        }
    }
    choices
}

/// Lines of an example about which is asked.
fn lines(source: &Source, asked: &OpenItem, example: &Example, wanted: u32) -> Vec<FileLine> {
    // A workbook and a printed report have no lines of text: the place is named, a sheet and its row.
    if !source.may_be_text() {
        let place = example
            .question
            .as_ref()
            .and_then(|question| question.labels.first())
            .map(|label| &label.place);
        return vec![FileLine {
            path: example.path.clone(),
            line: place.map_or(0, |place| place.line),
            text: place.and_then(|place| place.part.clone()).unwrap_or_default(),
        }];
    }
    let text: Vec<&str> = source.text().lines().collect();
    let at = match &asked.about {
        OpenItemKind::Key { key } => text
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
    lines
        .map(|(index, line)| FileLine {
            path: example.path.clone(),
            line: u32::try_from(index + 1).unwrap_or(u32::MAX),
            text: line[..line.floor_char_boundary(LONGEST)].trim_end().to_owned(),
        })
        .collect()
}

/// The question of a name, or of a beginning of it.
pub(crate) fn named<'a>(all: &'a [OpenItem], name: &str) -> Result<&'a OpenItem, Failure> {
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
            .help(
                "it may be answered already, or settled by another answer: `curvary worklist` lists the open questions, `curvary answer \
                 --list` the answers given, and `curvary answer --undo ANSWER` takes one back so that it can be given again",
            ),
        )),
    }
}

/// The answer that a person's words are to a question, checked: `time:s` to a question about x is `x=time:s`.
pub(crate) fn understood(asked: &OpenItem, said: &str) -> Result<String, Failure> {
    let said = said.trim();
    if matches!(said, "none" | "not-a-measurement") || said == NONE {
        return match asked.about {
            OpenItemKind::Key { .. } => Err(Failure::usage(format!(
                "a key is asked about: answer `{NOTHING}` when it is no field"
            ))),
            _ => Ok(NONE.to_owned()),
        };
    }
    match &asked.about {
        OpenItemKind::Key { key } => {
            let meaning = said
                .strip_prefix("key:")
                .and_then(|rest| rest.strip_prefix(key.as_str()))
                .and_then(|rest| rest.strip_prefix('='))
                .unwrap_or(said);
            check_field(meaning).map_err(Failure::usage)?;
            Ok(format!("key:{key}={meaning}"))
        }
        OpenItemKind::Question { about, .. } => {
            let abouts: Vec<&str> = about.split('+').collect();
            let offered: Vec<OfferedAnswer> = choices(asked, &KnownTexts::default());
            if let Some(word) = LocalWord::read(said).filter(|word| word.kind != WordKind::Key) {
                LocalWord::parse(said).map_err(Failure::usage)?;
                return Ok(word.line());
            }
            if let Some(choice) = offered.iter().find(|choice| {
                let same =
                    |text: &str| text == said || text.split_once('=').is_some_and(|(_, own)| own == said);
                !choice.is_open() && (same(&choice.answer) || same(&plainly(&choice.answer)))
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
            let mut checked = Assumptions::none();
            checked.add(&whole).map_err(Failure::usage)?;
            // With the unit's code, whatever people write.
            let whole = checked
                .iter()
                .next()
                .map_or(whole, |(about, answer)| format!("{about}={answer}"));
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
        OpenItemKind::Refusal { .. } => {
            let mut checked = Assumptions::none();
            checked.add(said).map_err(Failure::usage)?;
            let whole = checked.iter().next();
            Ok(whole.map_or_else(|| said.to_owned(), |(about, answer)| format!("{about}={answer}")))
        }
    }
}

// By reference, as serde calls it.
#[allow(clippy::trivially_copy_pass_by_ref)]
fn is_none(count: &u64) -> bool {
    *count == 0
}

/// What came of reading files again, for answers, words and notes, or with `reread`. Each file counts once for every answer, so that one
/// that asked several things may count several times; `left_behind` is of the files that were read again alone.
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
    /// Files whose originals are lost, so that their runs stay as they were.
    pub(crate) lost: u64,
    /// Files that the answer is about, did not ask, and would be read otherwise by it: they stay as they are until `curvary reread`, and
    /// the answer waits for them.
    #[serde(skip_serializing_if = "is_none")]
    pub(crate) settled_otherwise: u64,
    /// Whether there may be more of them: not all files were tried.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub(crate) settled_more: bool,
    /// The paths of the first few of them.
    #[serde(skip)]
    pub(crate) settled_examples: Vec<String>,
    /// Runs of which something was noted or found that holds for no run of the new reading.
    pub(crate) left_behind: Vec<RunId>,
    /// Answers that stood already and were not written a second time, by their names.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(crate) standing: Vec<String>,
}

impl Effect {
    /// Counts what came of another answer too.
    pub(crate) fn add(&mut self, other: &Self) {
        self.files += other.files;
        self.changed += other.changed;
        self.read += other.read;
        self.in_question += other.in_question;
        self.left_out += other.left_out;
        self.lost += other.lost;
        self.settled_otherwise += other.settled_otherwise;
        self.settled_more |= other.settled_more;
        self.settled_examples
            .extend(other.settled_examples.iter().cloned());
        self.standing.extend(other.standing.iter().cloned());
    }

    fn see(&mut self, again: &RereadSource) {
        if again.is_lost() {
            self.lost += 1;
        }
        self.files += 1;
        self.changed += u64::from(again.is_changed());
        self.read += u64::from(again.fate.verdict == Verdict::Read && again.before != Verdict::Read);
        self.in_question += u64::from(again.fate.verdict == Verdict::InQuestion);
        if again.is_changed() {
            self.left_behind.extend(again.fate.left_behind.iter().cloned());
        }
        self.left_out += u64::from(
            again
                .fate
                .remarks
                .iter()
                .any(|remark| remark.code == code::LEFT_OUT),
        );
    }
}

/// How many runs are named of which something holds no more.
const NAMED: usize = 8;

/// The runs of which something was noted or found that holds no more, for people; nothing where there are none.
pub(crate) fn left_behind<'r>(
    runs: impl IntoIterator<Item = &'r RunId, IntoIter: ExactSizeIterator>,
) -> Option<String> {
    let runs = runs.into_iter();
    let count = runs.len();
    let named: Vec<&str> = runs.take(NAMED).map(RunId::as_str).collect();
    let more = if count > NAMED { " …" } else { "" };
    (count > 0).then(|| {
        format!(
            "{}: notes or results hold for no newer run, since what is read differs: {}{more}",
            plural(count as u64, "run"),
            named.join(" ")
        )
    })
}

/// How many files an answer is tried on before it is kept.
const TRIED: usize = 8;

/// Whether some file takes an answer; else why it does not.
pub(crate) fn try_out(
    archive: &Archive,
    desk: &mut Ingest,
    answer: &Answer,
    sources: &[SourceKey],
) -> Result<(), Failure> {
    let mut answers: Vec<Answer> = archive.answers()?.holding().cloned().collect();
    answers.push(answer.clone());
    desk.answer_with(answers);
    if answer.key().is_some_and(|(_, meaning)| meaning == NOTHING) {
        return Ok(());
    }
    let mut why = None;
    let mut tried = 0;
    for source in sources {
        if tried == TRIED {
            break;
        }
        let Some(bytes) = original_left(archive, &source.digest())? else {
            continue;
        };
        tried += 1;
        let finished = desk.read("", bytes.into());
        if finished.met.contains(&answer.answer) {
            return Ok(());
        }
        why = why.or_else(|| {
            finished
                .reading
                .remarks
                .into_iter()
                .find(|remark| remark.code == code::ANSWER_DOES_NOT_FIT)
        });
    }
    if tried == 0 && !sources.is_empty() {
        let message = "the original of every file that this is about is lost, so that none can be read again";
        let why = Diagnostic::error(Code::new("original-lost"), message);
        return Err(Failure::wrong(why.help(
            "`curvary verify` names every original that is lost; add the same files again, or mend from a backup",
        )));
    }
    let fallback = Diagnostic::error(
        code::ANSWER_DOES_NOT_FIT,
        format!(
            "`{}` settles nothing in the files that it is about",
            answer.answer
        ),
    );
    Err(Failure::wrong(why.unwrap_or(fallback)))
}

/// Begins to read files of an archive again.
///
/// # Errors
/// When the archive cannot be written, or another program writes it.
pub(crate) fn begin<'a>(
    archive: &Archive,
    desk: &'a mut Ingest,
    command: &str,
) -> Result<Filing<'a>, Failure> {
    // What was asked of it so far is known; the filing looks at what is committed under its lock.
    archive.rest();
    Ok(Filing::begin(
        archive,
        desk,
        IngestLimits::default(),
        command,
        &nothing_reported,
    )?)
}

fn nothing_reported(_: &Run) -> Vec<Outcome> {
    Vec::new()
}

/// Reads sources again and files what changes.
pub(crate) fn read_again(
    filing: &Filing<'_>,
    sources: Vec<SourceKey>,
    keeping: KeepMode,
    each: &mut dyn FnMut(&RereadSource) -> Result<(), Failure>,
) -> Result<Effect, Failure> {
    let mut effect = Effect::default();
    let stop = std::sync::atomic::AtomicBool::new(false);
    filing.read_again(sources, keeping, &stop, |again| {
        effect.see(&again);
        each(&again)
    })?;
    Ok(effect)
}
