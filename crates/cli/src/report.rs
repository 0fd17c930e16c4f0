//! What became of each file: the report, a line a file, and the summary.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs::File;
use std::io::{BufRead as _, BufReader, BufWriter, Read as _, Write};
use std::path::{Path, PathBuf};

use curvary_ingest::FileReport;
use curvary_record::{Code, Diagnostic, RunId, Severity, Verdict};
use serde::Serialize;

use crate::drawing;
use crate::ending::{Ending, Failure};
use crate::questions;
use crate::screen::{ASKED, BAD, FAINT, GOOD, STRONG, StyledText, count, megabytes, plural};

/// Why nothing came of a file: the weightiest remark.
fn reason(fate: &FileReport) -> Option<&Diagnostic> {
    fate.remarks.iter().rev().max_by_key(|remark| remark.severity)
}

/// The file of `--report`: JSON Lines.
pub(crate) struct ReportFile {
    path: PathBuf,
    out: BufWriter<File>,
}

impl ReportFile {
    /// Begins the file anew. Only an earlier report is replaced: another file may be an original.
    pub(crate) fn create(path: &Path) -> Result<Self, Failure> {
        if !may_be_replaced(path) {
            let message = format!("`{}` is there already and is no report", path.display());
            let why = Diagnostic::error(Code::new("output-there"), message);
            return Err(Failure::wrong(why.help("name another file with `--report`")));
        }
        let file = crate::output::may_be_written(path, crate::output::ExistingFile::Replaced)
            .and_then(|()| File::create(path))
            .map_err(|error| Failure::file("write the report to", path, &error))?;
        Ok(Self {
            path: path.to_owned(),
            out: BufWriter::new(file),
        })
    }

    /// Adds the line of one file.
    pub(crate) fn line(&mut self, fate: &FileReport) -> Result<(), Failure> {
        serde_json::to_writer(&mut self.out, fate)
            .map_err(std::io::Error::from)
            .and_then(|()| self.out.write_all(b"\n"))
            .map_err(|error| Failure::file("write the report to", &self.path, &error))
    }

    /// Writes what is left.
    pub(crate) fn end(mut self) -> Result<(), Failure> {
        self.out
            .flush()
            .map_err(|error| Failure::file("write the report to", &self.path, &error))
    }
}

/// Whether a file is absent, empty or a report: JSON Lines that each tell of one file.
fn may_be_replaced(path: &Path) -> bool {
    // A file with thousands of remarks has some MB in its line; what has none within this is no report.
    const LONGEST_LINE: u64 = 16 << 20;
    let Ok(file) = File::open(path) else {
        // Whatever is there, creating the file tells.
        return true;
    };
    if !file.metadata().is_ok_and(|metadata| metadata.is_file()) {
        // A device such as /dev/stdout keeps nothing.
        return true;
    }
    let mut first = String::new();
    let read = BufReader::new(file.take(LONGEST_LINE)).read_line(&mut first);
    let told = |line: &serde_json::Value| {
        ["path", "digest", "verdict", "reader", "runs"]
            .iter()
            .all(|key| line.get(key).is_some())
    };
    read.is_ok_and(|bytes| bytes == 0) || serde_json::from_str(&first).is_ok_and(|line| told(&line))
}

/// Files and what they gave.
#[derive(Clone, Copy, Debug, Default, Serialize)]
struct FileTally {
    files: u64,
    runs: u64,
    points: u64,
}

/// One reason why files were not read, or are in question.
#[derive(Debug)]
struct Reason {
    files: u64,
    path: String,
    message: String,
}

/// What became of all files together.
#[derive(Debug, Default)]
pub(crate) struct ReportSummary {
    by_reader: BTreeMap<(Option<String>, Verdict), FileTally>,
    reasons: BTreeMap<(Verdict, Code), Reason>,
    /// What is missing from files that were read, or doubtful in them, by kind.
    warned: BTreeMap<Code, Reason>,
    bytes: u64,
    unchanged: u64,
    warnings: u64,
    changed: ChangedFiles,
    /// Runs of files that were read otherwise, of which notes or results hold no more.
    left_behind: Vec<RunId>,
    duplicates: DuplicateFiles,
}

/// Files that have another content than before at their path.
#[derive(Debug, Default, Serialize)]
struct ChangedFiles {
    files: u64,
    /// Runs that took over notes or results from the earlier version.
    inherited: u64,
    /// Runs of earlier versions whose notes or results hold for no run of the newer one.
    left_behind: Vec<RunId>,
    /// The first such file.
    path: Option<String>,
}

/// Files with the bytes of another.
#[derive(Debug, Default, Serialize)]
struct DuplicateFiles {
    files: u64,
    /// The first few, each with the other's path.
    examples: Vec<(String, String)>,
}

/// The summary as `--json` shows it.
#[derive(Serialize)]
pub(crate) struct SummaryShape<'a> {
    files: u64,
    read: u64,
    in_question: u64,
    refused: u64,
    failed: u64,
    /// Files that the archive had already, unchanged, duplicates among them.
    unchanged: u64,
    changed: &'a ChangedFiles,
    duplicates: &'a DuplicateFiles,
    runs: u64,
    points: u64,
    bytes: u64,
    readers: Vec<ReaderShape<'a>>,
    reasons: Vec<ReasonShape<'a>>,
    /// Warnings and errors about files that were read, by kind.
    warnings: Vec<WarningShape<'a>>,
}

#[derive(Serialize)]
struct WarningShape<'a> {
    code: &'a Code,
    files: u64,
    path: &'a str,
    message: &'a str,
}

#[derive(Serialize)]
struct ReaderShape<'a> {
    reader: Option<&'a str>,
    verdict: Verdict,
    #[serde(flatten)]
    tally: FileTally,
}

#[derive(Serialize)]
struct ReasonShape<'a> {
    verdict: Verdict,
    code: &'a Code,
    files: u64,
    path: &'a str,
    message: &'a str,
}

/// How many duplicates the summary names.
const DUPLICATES: usize = 5;

/// How many reasons the summary names.
const REASONS: usize = 8;

impl ReportSummary {
    /// Counts one file.
    pub(crate) fn add(&mut self, fate: &FileReport) {
        if fate.replaces.is_some() {
            self.changed.files += 1;
            self.changed.inherited += fate.inherited;
            self.changed.left_behind.extend(fate.left_behind.iter().cloned());
            self.changed.path.get_or_insert_with(|| fate.path.clone());
        } else {
            self.left_behind.extend(fate.left_behind.iter().cloned());
        }
        if let Some(other) = &fate.same_as {
            self.duplicates.files += 1;
            if self.duplicates.examples.len() < DUPLICATES {
                self.duplicates.examples.push((fate.path.clone(), other.clone()));
            }
        }
        if fate.known {
            self.unchanged += 1;
            return;
        }
        self.bytes += fate.bytes;
        self.warnings += u64::from(
            !fate.questions.is_empty() || fate.remarks.iter().any(|r| r.severity >= Severity::Warning),
        );
        let tally = self
            .by_reader
            .entry((fate.reader.clone(), fate.verdict))
            .or_default();
        tally.files += 1;
        tally.runs += fate.runs;
        tally.points += fate.points.unwrap_or(0);
        // A file that asks two things is counted under both, as the worklist counts it.
        let mut reasons: Vec<(&Code, &String)> = match fate.verdict {
            Verdict::Read => Vec::new(),
            Verdict::InQuestion => fate
                .questions
                .iter()
                .map(|(code, message)| (code, message))
                .collect(),
            Verdict::Refused | Verdict::Failed => reason(fate)
                .map(|remark| (&remark.code, &remark.message))
                .into_iter()
                .collect(),
        };
        let mut seen = BTreeSet::new();
        reasons.retain(|(code, _)| seen.insert((*code).clone()));
        for (code, message) in reasons {
            let reason = self
                .reasons
                .entry((fate.verdict, code.clone()))
                .or_insert_with(|| Reason {
                    files: 0,
                    path: fate.path.clone(),
                    message: message.clone(),
                });
            reason.files += 1;
        }
        if matches!(fate.verdict, Verdict::Read | Verdict::InQuestion) {
            self.warn(fate);
        }
    }

    /// Counts each kind of warning about a file once.
    fn warn(&mut self, fate: &FileReport) {
        let mut seen = BTreeSet::new();
        let weighty = fate.remarks.iter().filter(|r| r.severity >= Severity::Warning);
        for remark in weighty.filter(|remark| seen.insert(&remark.code)) {
            let reason = self.warned.entry(remark.code.clone()).or_insert_with(|| Reason {
                files: 0,
                path: fate.path.clone(),
                message: remark.message.clone(),
            });
            reason.files += 1;
        }
    }

    fn tally(&self, verdict: Option<Verdict>) -> FileTally {
        let chosen = self
            .by_reader
            .iter()
            .filter(|((_, v), _)| verdict.is_none_or(|verdict| verdict == *v));
        chosen.fold(FileTally::default(), |sum, (_, tally)| FileTally {
            files: sum.files + tally.files,
            runs: sum.runs + tally.runs,
            points: sum.points + tally.points,
        })
    }

    /// Bytes of these files.
    pub(crate) fn bytes(&self) -> u64 {
        self.bytes
    }

    /// The exit status that follows. With `strict`, warnings and questions count as errors.
    pub(crate) fn ending(&self, strict: bool) -> Ending {
        let of = |verdict| self.tally(Some(verdict)).files;
        let bad = of(Verdict::Refused) + of(Verdict::Failed);
        let good = of(Verdict::Read) + of(Verdict::InQuestion) + self.unchanged;
        match Ending::of(good, bad) {
            Ending::Done if strict && self.warnings > 0 => Ending::Partly,
            ending => ending,
        }
    }

    /// For `--json`.
    pub(crate) fn shape(&self) -> SummaryShape<'_> {
        let of = |verdict| self.tally(Some(verdict)).files;
        let all = self.tally(None);
        SummaryShape {
            files: all.files + self.unchanged,
            read: of(Verdict::Read),
            in_question: of(Verdict::InQuestion),
            refused: of(Verdict::Refused),
            failed: of(Verdict::Failed),
            unchanged: self.unchanged,
            changed: &self.changed,
            duplicates: &self.duplicates,
            runs: all.runs,
            points: all.points,
            bytes: self.bytes,
            readers: self
                .by_reader
                .iter()
                .map(|((reader, verdict), tally)| ReaderShape {
                    reader: reader.as_deref(),
                    verdict: *verdict,
                    tally: *tally,
                })
                .collect(),
            reasons: self
                .sorted_reasons()
                .map(|(verdict, code, reason)| ReasonShape {
                    verdict,
                    code,
                    files: reason.files,
                    path: &reason.path,
                    message: &reason.message,
                })
                .collect(),
            warnings: self
                .sorted_warnings()
                .into_iter()
                .map(|(code, reason)| WarningShape {
                    code,
                    files: reason.files,
                    path: &reason.path,
                    message: &reason.message,
                })
                .collect(),
        }
    }

    /// Most frequent first, equals by name.
    fn sorted_warnings(&self) -> Vec<(&Code, &Reason)> {
        let mut all: Vec<_> = self.warned.iter().collect();
        all.sort_by_key(|(_, reason)| std::cmp::Reverse(reason.files));
        all
    }

    /// Most frequent first, equals by name.
    fn sorted_reasons(&self) -> impl Iterator<Item = (Verdict, &Code, &Reason)> {
        let mut all: Vec<_> = self
            .reasons
            .iter()
            .map(|((verdict, code), reason)| (*verdict, code, reason))
            .collect();
        all.sort_by_key(|(_, _, reason)| std::cmp::Reverse(reason.files));
        all.into_iter()
    }

    fn put_duplicates(&self, text: &mut String) {
        let DuplicateFiles { files, examples } = &self.duplicates;
        if *files == 0 {
            return;
        }
        let _ = writeln!(
            text,
            "  {} {:>7}  the same bytes as another file",
            StyledText(FAINT, format!("{:<12}", "duplicate")),
            count(*files)
        );
        for (path, other) in examples {
            let line = format!("{} is {}", drawing::clean(path), drawing::clean(other));
            let _ = writeln!(text, "           {}", StyledText(FAINT, line));
        }
        if *files > examples.len() as u64 {
            let _ = writeln!(text, "           and {} more", files - examples.len() as u64);
        }
    }

    fn put_changed(&self, text: &mut String) {
        let ChangedFiles {
            files,
            inherited,
            path,
            ..
        } = &self.changed;
        if *files == 0 {
            return;
        }
        let _ = writeln!(
            text,
            "  {} {:>7}  other content than before at the same path; it takes the earlier one's place",
            StyledText(ASKED, format!("{:<12}", "changed")),
            count(*files)
        );
        let mut say = |line: String| {
            let _ = writeln!(text, "           {}", StyledText(FAINT, line));
        };
        if let Some(path) = path {
            say(format!("as in {}", drawing::clean(path)));
        }
        say(
            "`curvary find is:superseded` finds the earlier runs; `curvary add --beside` lets both stand"
                .into(),
        );
        if *inherited > 0 {
            say(format!(
                "{}: notes and results taken over, since the numbers are the same",
                plural(*inherited, "run")
            ));
        }
    }

    /// For people, with the reasons why files were not read or are in question, and with the warnings about those that were
    /// read; `shown`: whether each remark has been shown by itself.
    pub(crate) fn text(&self, shown: bool) -> String {
        let mut text = self.counts();
        self.put_reasons(&mut text);
        self.put_warnings(&mut text, shown);
        text
    }

    /// For people: how many files went which way.
    pub(crate) fn counts(&self) -> String {
        let mut text = String::new();
        let all = self.tally(None);
        if all.files + self.unchanged == 0 {
            return "no files\n".to_owned();
        }
        if all.files > 0 {
            let _ = writeln!(
                text,
                "{}, {}: {}, {}",
                StyledText(STRONG, plural(all.files, "file")),
                megabytes(self.bytes),
                plural(all.runs, "run"),
                plural(all.points, "point"),
            );
        }
        for ((reader, verdict), tally) in &self.by_reader {
            let (style, word) = verdict_word(*verdict);
            let reader = reader.as_deref().unwrap_or("no reader");
            let _ = write!(
                text,
                "  {} {:>7}  {reader}",
                StyledText(style, format!("{word:<12}")),
                count(tally.files)
            );
            if tally.runs > 0 {
                let _ = write!(text, ": {}", plural(tally.runs, "run"));
            }
            text.push('\n');
        }
        let unchanged = self.unchanged - self.duplicates.files;
        if unchanged > 0 {
            let _ = writeln!(
                text,
                "  {} {:>7}  kept already",
                StyledText(FAINT, format!("{:<12}", "unchanged")),
                count(unchanged)
            );
        }
        self.put_duplicates(&mut text);
        self.put_changed(&mut text);
        // One sentence for both reasons: another content, and another reading of the same.
        let left_behind: BTreeSet<&RunId> =
            self.changed.left_behind.iter().chain(&self.left_behind).collect();
        if let Some(line) = questions::left_behind(left_behind) {
            let _ = writeln!(text, "  {}", StyledText(FAINT, line));
        }
        text
    }

    fn put_reasons(&self, text: &mut String) {
        let all: Vec<_> = self.sorted_reasons().map(|(_, code, why)| (code, why)).collect();
        put_kinds(text, "what is open, most files first", &all, "reason");
        if self.tally(Some(Verdict::InQuestion)).files > 0 {
            let _ = writeln!(
                text,
                "{}",
                StyledText(FAINT, "`curvary worklist` shows each question with its answers")
            );
        }
    }

    /// What is missing from files that were read, or doubtful in them, and where to see each.
    fn put_warnings(&self, text: &mut String, shown: bool) {
        let all = self.sorted_warnings();
        put_kinds(text, "read with warnings, most files first", &all, "kind");
        if !all.is_empty() && !shown {
            let where_to = "`curvary explain FILE` shows them with their lines, `--errors short` lists all";
            let _ = writeln!(text, "{}", StyledText(FAINT, where_to));
        }
    }
}

/// Reasons with how many files each is about, and the first of these.
fn put_kinds(text: &mut String, heading: &str, all: &[(&Code, &Reason)], noun: &str) {
    if !all.is_empty() {
        let _ = writeln!(text, "{}", StyledText(STRONG, heading));
    }
    for (code, reason) in all.iter().take(REASONS) {
        let message = drawing::clean(&reason.message);
        let _ = writeln!(text, "  {:>7}  {code}: {message}", count(reason.files));
        let path = format!("as in {}", drawing::clean(&reason.path));
        let _ = writeln!(text, "           {}", StyledText(FAINT, path));
    }
    if all.len() > REASONS {
        let more = plural((all.len() - REASONS) as u64, noun);
        let _ = writeln!(text, "  and {more} more");
    }
}

/// The word for a verdict in listings, and its colour.
pub(crate) fn verdict_word(verdict: Verdict) -> (anstyle::Style, &'static str) {
    match verdict {
        Verdict::Read => (GOOD, "read"),
        Verdict::InQuestion => (ASKED, "in question"),
        Verdict::Refused => (BAD, "refused"),
        Verdict::Failed => (BAD, "failed"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fate(path: &str, verdict: Verdict, code: &'static str) -> FileReport {
        let why = Diagnostic::error(Code::new(code), format!("{code} it is"));
        FileReport {
            verdict,
            remarks: vec![why],
            bytes: 10,
            ..FileReport::failed(path, Diagnostic::error(Code::new("x"), "x"))
        }
    }

    #[test]
    fn the_most_frequent_reason_comes_first() {
        let mut summary = ReportSummary::default();
        summary.add(&fate("a", Verdict::Refused, "prose"));
        summary.add(&fate("b", Verdict::Refused, "web-page"));
        summary.add(&fate("c", Verdict::Refused, "web-page"));
        for _ in 0..4 {
            summary.add(&FileReport {
                known: true,
                ..fate("d", Verdict::Read, "x")
            });
        }
        let text = anstream::adapter::strip_str(&summary.text(false)).to_string();
        let at = |word: &str| text.find(word).unwrap_or(usize::MAX);
        assert!(
            at("2  web-page: web-page it is") < at("1  prose: prose it is"),
            "{text}"
        );
        assert!(text.contains("as in b"), "{text}");
        assert_eq!(summary.ending(false), Ending::Partly);
        assert_eq!(
            serde_json::to_value(summary.shape())
                .map(|v| v["files"].clone())
                .ok(),
            Some(7.into())
        );
    }

    #[test]
    fn warnings_about_files_that_were_read_are_counted_by_kind() {
        let mut summary = ReportSummary::default();
        for path in ["a", "b"] {
            let mut one = fate(path, Verdict::Read, "odd");
            one.remarks[0].severity = Severity::Warning;
            one.remarks.push(one.remarks[0].clone());
            summary.add(&one);
        }
        let text = anstream::adapter::strip_str(&summary.text(false)).to_string();
        assert!(
            text.contains("      2  odd: odd it is\n           as in a\n"),
            "{text}"
        );
        assert!(text.contains("`--errors short`"), "{text}");
        let shown = anstream::adapter::strip_str(&summary.text(true)).to_string();
        assert!(!shown.contains("`--errors short`"), "{shown}");
        assert_eq!(
            serde_json::to_value(summary.shape())
                .map(|v| v["warnings"][0]["files"].clone())
                .ok(),
            Some(2.into())
        );
    }

    #[test]
    fn warnings_count_only_when_strict() {
        let mut summary = ReportSummary::default();
        let mut one = fate("a", Verdict::Read, "odd");
        one.remarks[0].severity = Severity::Warning;
        summary.add(&one);
        assert_eq!(
            (summary.ending(false), summary.ending(true)),
            (Ending::Done, Ending::Partly)
        );
    }

    #[test]
    fn a_report_line_has_the_documented_keys() {
        let line = serde_json::to_value(fate("a", Verdict::InQuestion, "odd")).expect("it serialises");
        let keys: Vec<&str> = line
            .as_object()
            .expect("an object")
            .keys()
            .map(String::as_str)
            .collect();
        assert_eq!(
            keys,
            ["path", "digest", "verdict", "reader", "runs", "points", "remarks"]
        );
        assert_eq!(line["verdict"], "in-question");
    }
}
