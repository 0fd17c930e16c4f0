//! `curvary readers`: who can read what; layouts drafted and tried; plugins allowed and tried.

mod plugins;

use std::fs;
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use curvary_formats::{Layout, Reader, layout};
use curvary_ingest::{IngestLimits, LayoutSet, LayoutText, SourceBytes};
use curvary_record::{Code, Diagnostic};
use serde::Serialize;

use crate::Environment;
use crate::desk::{self, OptionScope, ReadingOptions};
use crate::ending::{CommandResult, Ending, Failure};
use crate::output;
use crate::screen::{Screen, count, plural};
use crate::table::{Listing, ListingColumn, Shorten};

/// List the readers that turn files into runs; draft a layout; try layouts and plugins; allow plugins
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(crate) struct ReadersCommand {
    #[command(subcommand)]
    what: Option<ReadersAction>,
    #[command(flatten)]
    listing: ListArgs,
}

/// List the readers: built-in ones, layouts and plugins
#[derive(Debug, Args)]
struct ListArgs {
    /// Use the layouts of this folder too
    #[arg(long, value_name = "DIR")]
    layouts: Vec<PathBuf>,
    /// Print a JSON list of objects with id, version and title
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Subcommand)]
enum ReadersAction {
    List(ListArgs),
    Draft(DraftArgs),
    Check(CheckArgs),
    Allow(plugins::Allow),
    Forget(plugins::Forget),
}

/// Write a first layout from what is understood of a file, to be corrected by hand
///
/// What is settled by --assume stands in it as a line, and what is open as lines to be decided. `docs/layouts.md` leads from
/// an odd file to a layout that is in use.
#[derive(Debug, Args)]
struct DraftArgs {
    /// A text export
    file: PathBuf,
    /// Write the layout into this file
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Take the place of a layout that is there already
    #[arg(long, requires = "out")]
    replace: bool,
    /// Settle a question, as in decimal=comma or x=wavelength:nm; may be given several times
    #[arg(long, value_name = "ABOUT=ANSWER")]
    assume: Vec<String>,
}

/// Try layouts and plugins on their examples, and on damaged copies of them
///
/// A copy that is cut off, lacks a line or has a wrong byte must never give a number in silence that the whole example
/// does not hold. A plugin is named by its folder, and is loaded for this once without being allowed.
#[derive(Debug, Args)]
struct CheckArgs {
    /// Layouts by name, or files; folders of plugins [default: all layouts of the archive and of --layouts]
    #[arg(value_name = "NAME|FILE|DIR")]
    which: Vec<String>,
    /// Try the layouts of this folder too
    #[arg(long, value_name = "DIR")]
    layouts: Vec<PathBuf>,
    /// Print a JSON list of objects with id, path, holds, copies, held, told and complaints
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct ReadersJson<'a> {
    id: &'a str,
    version: &'a str,
    title: &'a str,
}

impl ReadersCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        match &self.what {
            Some(ReadersAction::Draft(draft)) => draft.run(screen),
            Some(ReadersAction::Check(check)) => check.run(setting, screen),
            Some(ReadersAction::Allow(allow)) => allow.run(screen),
            Some(ReadersAction::Forget(forget)) => forget.run(screen),
            Some(ReadersAction::List(listing)) => listing.run(setting, screen),
            None => self.listing.run(setting, screen),
        }
    }
}

impl ListArgs {
    fn run(&self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let options = ReadingOptions {
            layouts: self.layouts.clone(),
            ..ReadingOptions::default()
        };
        let desk = options.desk(setting.archive.there().as_deref(), OptionScope::Named)?;
        desk::complain(&desk, screen);
        let cards = || desk.readers().iter().map(Reader::card);
        let unusable = plugins::report_unusable(screen)?;
        let ending = if desk.misfits().is_empty() && unusable == 0 {
            Ending::Done
        } else {
            Ending::Partly
        };
        if self.json {
            let list: Vec<ReadersJson<'_>> = cards()
                .map(|card| ReadersJson {
                    id: &card.id,
                    version: &card.version,
                    title: &card.title,
                })
                .collect();
            screen.json(&list)?;
            return Ok(ending);
        }
        let mut table = Listing::new([
            ListingColumn::new("reader"),
            ListingColumn::new("version").rank(1),
            ListingColumn::new("reads").shorten(Shorten::End),
        ]);
        for card in cards() {
            table.row([
                card.id.as_str().into(),
                card.version.as_str().into(),
                card.title.as_str().into(),
            ]);
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        Ok(ending)
    }
}

impl DraftArgs {
    fn run(&self, screen: &mut Screen) -> CommandResult {
        if let Some(out) = self.out.as_ref().filter(|out| out.exists() && !self.replace) {
            let message = format!("`{}` is there already", out.display());
            let why = Diagnostic::error(Code::new("output-there"), message);
            return Err(Failure::wrong(
                why.help("name another file, or take its place with `--replace`"),
            ));
        }
        let options = ReadingOptions {
            reader: Some("built-in/text-table".to_owned()),
            assume: self.assume.clone(),
            ..ReadingOptions::default()
        };
        let desk = options.desk(None, OptionScope::Named)?;
        let name = self.file.display().to_string();
        let taken = SourceBytes::InFile(self.file.clone())
            .bytes(&name, &IngestLimits::default())
            .map_err(|why| Failure::nothing(*why))?;
        let finished = desk.read(&name, taken);
        if finished.reading.runs.is_empty() {
            let reason = finished
                .reading
                .remarks
                .first()
                .map_or("", |remark| remark.message.as_str());
            let message =
                format!("nothing was read of `{name}`, so there is nothing to draft from: {reason}");
            let why = Diagnostic::error(Code::new("not-recognised"), message);
            return Err(Failure::nothing(why.help(
                "`--assume` settles what can be settled; plugins/layouts holds layouts to begin from",
            )));
        }
        let text = layout::draft(&finished.source, &finished.reading, &self.seen_from_out());
        let questions: usize = finished.reading.runs.iter().map(|run| run.questions.len()).sum();
        match &self.out {
            None => write!(screen, "{text}")?,
            Some(out) => {
                output::write(out, output::ExistingFile::asked(self.replace), |file| {
                    file.write_all(text.as_bytes())
                })
                .map_err(|error| Failure::file("write", out, &error))?;
                writeln!(screen, "a first layout: {}", out.display())?;
            }
        }
        if questions > 0 {
            screen.say(format_args!(
                "{} to be decided in it before it is used",
                plural(questions as u64, "question")
            ));
        }
        Ok(Ending::Done)
    }

    /// The file as the layout's folder names it.
    fn seen_from_out(&self) -> String {
        let whole = |path: &Path| fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let file = whole(&self.file);
        let folder = self.out.as_deref().and_then(Path::parent).map(|folder| {
            whole(if folder.as_os_str().is_empty() {
                Path::new(".")
            } else {
                folder
            })
        });
        let inside = folder.and_then(|folder| file.strip_prefix(folder).map(Path::to_owned).ok());
        inside.unwrap_or(file).display().to_string()
    }
}

/// What came of one layout, as `--json` shows it.
#[derive(Default, Serialize)]
struct ReaderTrial {
    id: Option<String>,
    path: String,
    holds: bool,
    examples: usize,
    copies: usize,
    held: usize,
    told: usize,
    complaints: Vec<Diagnostic>,
}

impl CheckArgs {
    fn run(&self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let mut shelf = self.chosen(setting)?;
        let mut plugins = self.plugins(screen)?;
        if shelf.layouts.is_empty() && shelf.misfits.is_empty() && plugins.is_empty() {
            let why = Diagnostic::error(Code::new("no-layout"), "there is no layout to try");
            return Err(Failure::wrong(why.help(
                "name a file or a folder with `--layouts DIR`, or put layouts into the archive's folder `layouts`",
            )));
        }
        let mut tried = Vec::new();
        for misfit in &shelf.misfits {
            let place = misfit
                .why
                .labels
                .first()
                .and_then(|label| label.place.file.clone());
            tried.push(ReaderTrial {
                path: place.unwrap_or_default(),
                complaints: vec![misfit.why.clone()],
                ..ReaderTrial::default()
            });
            if !self.json {
                screen.complain(None, &misfit.why, &misfit.text);
            }
        }
        for layout in shelf.layouts.drain(..) {
            let result = attempt(&layout);
            if !self.json {
                let text = LayoutText::of(&layout);
                for complaint in &result.complaints {
                    screen.complain(None, complaint, &text);
                }
                let verdict = if result.holds { "holds" } else { "does not hold" };
                writeln!(
                    screen,
                    "{} {verdict}: {}, {} damaged copies: {} gave fewer points or the same, {} gave a complaint",
                    layout.card().id,
                    plural(result.examples as u64, "example"),
                    count(result.copies as u64),
                    count(result.held as u64),
                    count(result.told as u64),
                )?;
            }
            tried.push(result);
        }
        tried.append(&mut plugins);
        if self.json {
            screen.json(&tried)?;
        }
        let good = tried.iter().filter(|tried| tried.holds).count() as u64;
        Ok(Ending::of(good, tried.len() as u64 - good))
    }

    /// What came of the plugins that are meant.
    fn plugins(&self, screen: &mut Screen) -> Result<Vec<ReaderTrial>, Failure> {
        let mut all = Vec::new();
        for folder in self.which.iter().map(Path::new).filter(|which| which.is_dir()) {
            let tried = plugins::attempt(folder);
            if !self.json {
                plugins::print_trial(&tried, screen)?;
            }
            all.push(tried);
        }
        Ok(all)
    }

    /// The layouts that are meant.
    fn chosen(&self, setting: &Environment) -> Result<LayoutSet, Failure> {
        let is_file = |which: &str| Path::new(which).is_file();
        let mut chosen = LayoutSet::default();
        let by_name: Vec<&str> = self
            .which
            .iter()
            .map(String::as_str)
            .filter(|which| !is_file(which) && !Path::new(which).is_dir())
            .collect();
        if !self.which.is_empty() && self.which.iter().all(|which| Path::new(which).is_dir()) {
            return Ok(chosen);
        }
        for file in self.which.iter().filter(|which| is_file(which)) {
            match curvary_ingest::understood(Path::new(file)) {
                Ok(layout) => chosen.layouts.push(layout),
                Err(misfit) => chosen.misfits.push(*misfit),
            }
        }
        if self.which.len() > by_name.len() && by_name.is_empty() {
            return Ok(chosen);
        }
        let mut all = LayoutSet::open(&self.layouts, setting.archive.there().as_deref())?;
        if by_name.is_empty() {
            return Ok(all);
        }
        for name in by_name {
            let bare = name.strip_prefix(layout::PREFIX).unwrap_or(name);
            let Some(at) = all.layouts.iter().position(|layout| layout.name() == bare) else {
                let names: Vec<&str> = all.layouts.iter().map(Layout::name).collect();
                let message = format!("`{name}` is neither a file nor the name of a layout");
                let why = Diagnostic::error(Code::new("no-layout"), message);
                return Err(Failure::wrong(if names.is_empty() {
                    why
                } else {
                    why.help(format!("there are {}", names.join(", ")))
                }));
            };
            chosen.layouts.push(all.layouts.remove(at));
        }
        Ok(chosen)
    }
}

/// Tries a layout on its examples and on damaged copies of them.
fn attempt(layout: &Layout) -> ReaderTrial {
    let mut tried = ReaderTrial {
        id: Some(layout.card().id.clone()),
        path: layout.path().to_owned(),
        examples: layout.examples().len(),
        ..ReaderTrial::default()
    };
    for example in layout.examples() {
        let bytes = match curvary_ingest::content(layout, example) {
            Ok(bytes) => bytes,
            Err(why) => {
                tried.complaints.push(*why);
                continue;
            }
        };
        let result = catch_unwind(AssertUnwindSafe(|| {
            let complaints = layout.hold(example, bytes.clone());
            // A whole that is not understood tells nothing about its damaged copies.
            let damage = complaints.is_empty().then(|| layout.damage(example, &bytes));
            (complaints, damage)
        }));
        match result {
            Ok((complaints, damage)) => {
                tried.complaints.extend(complaints);
                if let Some(damage) = damage {
                    tried.copies += damage.copies;
                    tried.held += damage.held;
                    tried.told += damage.told;
                    tried.complaints.extend(damage.complaints);
                }
            }
            Err(_) => tried.complaints.push(
                Diagnostic::error(
                    Code::new("reader-failed"),
                    "a copy of an example brought the reader to a state that it was not made for",
                )
                .help("please send the layout to those who make curvary: this is our mistake"),
            ),
        }
    }
    tried.holds = tried.complaints.is_empty();
    tried
}
