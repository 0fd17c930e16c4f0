//! `curvary reread`: originals read again with today's readers, layouts and answers.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use clap::Args;
use clap_complete::ArgValueCompleter;
use curvary_archive::SourceKey;
use curvary_ingest::{Ingest, IngestOptions, KeepMode, LOST};
use serde::Serialize;

use crate::Environment;
use crate::ending::{CommandResult, Ending};
use crate::questions::{self, Effect};
use crate::screen::{FAINT, Screen, StyledText, count, plural};
use crate::subject::named;
use crate::table::one_line;

/// Read the originals of the archive again with today's readers, layouts and answers
///
/// Says first what changes, by kind, and then files it. Originals are never touched, and the records before stay in the
/// archive's files.
#[derive(Debug, Args)]
pub(crate) struct RereadCommand {
    /// Only these files, or the files of these runs: names, paths, a query or `@last` [default: every file]
    #[arg(value_name = "RUN|FILE|QUERY", add = ArgValueCompleter::new(crate::completing::subject))]
    what: Vec<String>,
    /// Say what would change, and file nothing
    #[arg(long)]
    dry_run: bool,
    /// Print JSON: files, changed, read, in_question, left_out, lost (files whose originals are lost), left_behind (runs of which notes or results hold no more), kinds (what changes, in how many files, with examples), filed
    #[arg(long)]
    json: bool,
}

/// What changes in one way.
#[derive(Default, Serialize)]
struct ChangeKind {
    files: u64,
    examples: Vec<String>,
}

#[derive(Serialize)]
struct RereadJson {
    #[serde(flatten)]
    effect: Effect,
    kinds: BTreeMap<String, ChangeKind>,
    filed: bool,
}

/// How many files are named for each kind of change.
const EXAMPLES: usize = 3;

impl RereadCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        let mut desk = Ingest::new(IngestOptions::default(), Some(archive.root()))?;
        // Held until all is filed: what is told is what is filed, with the same answers.
        let mut filing = questions::begin(&archive, &mut desk, "curvary reread")?;
        filing.bring_into_force();
        let archive = filing.archive();
        let mut wanted = BTreeSet::new();
        if !self.what.is_empty() {
            for run in named(archive, &self.what)? {
                wanted.insert(SourceKey::of(&archive.stored(&run)?.source.digest));
            }
        }
        let mut sources =
            archive.sources_that(&|source| self.what.is_empty() || wanted.contains(&source.key()))?;
        let mut kinds: BTreeMap<String, ChangeKind> = BTreeMap::new();
        let mut changed = BTreeSet::new();
        let effect = questions::read_again(&filing, sources.clone(), KeepMode::Nothing, &mut |again| {
            let mut note = |kind: String| {
                let kind = kinds.entry(kind).or_default();
                kind.files += 1;
                if kind.examples.len() < EXAMPLES {
                    kind.examples.push(again.fate.path.clone());
                }
            };
            for change in &again.changes {
                note(match *change {
                    "verdict" => format!(
                        "verdict: {} → {}",
                        again.before.as_str(),
                        again.fate.verdict.as_str()
                    ),
                    other => other.to_owned(),
                });
            }
            if again.is_changed() {
                changed.extend(again.fate.digest.as_ref().map(SourceKey::of));
            }
            Ok(())
        })?;
        let filed = !self.dry_run && !changed.is_empty();
        let lost = kinds.contains_key(LOST);
        if !self.json {
            writeln!(
                screen,
                "{} read again, {} changed",
                plural(effect.files, "file"),
                count(effect.changed)
            )?;
            for (name, kind) in &kinds {
                writeln!(screen, "{:>8}  {name}", count(kind.files))?;
                let examples: Vec<String> = kind.examples.iter().map(|path| one_line(path)).collect();
                writeln!(
                    screen,
                    "          {}",
                    StyledText(FAINT, format!("as in {}", examples.join(", ")))
                )?;
            }
            if let Some(text) = questions::left_behind(&effect.left_behind) {
                writeln!(screen, "{}", StyledText(FAINT, text))?;
            }
            screen.flush()?;
        }
        if filed {
            sources.retain(|source| changed.contains(source));
            questions::read_again(&filing, sources, KeepMode::Changes, &mut |_| Ok(()))?;
        }
        if !self.dry_run {
            filing.finish()?;
        }
        if self.json {
            screen.json(&RereadJson { effect, kinds, filed })?;
        } else if self.dry_run {
            writeln!(screen, "{}", StyledText(FAINT, "nothing was filed: --dry-run"))?;
        }
        Ok(if lost { Ending::Partly } else { Ending::Done })
    }
}
