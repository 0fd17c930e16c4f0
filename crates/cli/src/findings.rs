//! From subjects to findings that are told, drawn and kept: what the commands over spectra and readings have in common.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use curvary_analysis::study::TraceResult;
use curvary_record::Diagnostic;
use serde_json::{Map, Value, json};

use crate::commands::find::short;
use crate::ending::{CommandResult, Ending, Failure};
use crate::figure::{Figure, FigureKind, Size};
use crate::screen::{Screen, plural};
use crate::subject::{ReadingDemand, Selection, Subject, Subjects};
use crate::table::one_line;

/// Whether and where pictures are drawn.
#[derive(Debug, Args)]
pub(crate) struct Pictures {
    /// Draw pictures into a folder, one a result
    #[arg(
        long,
        value_name = "DIR",
        conflicts_with = "dry_run",
        help_heading = "Pictures"
    )]
    figures: Option<PathBuf>,
    /// Kind of picture
    #[arg(long, value_name = "KIND", default_value = "svg", help_heading = "Pictures")]
    picture: FigureKind,
    /// How large pictures are
    #[arg(
        long,
        value_name = "SIZE",
        default_value = "screen",
        help_heading = "Pictures"
    )]
    size: Size,
}

impl Pictures {
    /// No pictures, for commands that have none to draw.
    pub(crate) fn none() -> Self {
        Self {
            figures: None,
            picture: FigureKind::Svg,
            size: Size::Screen,
        }
    }

    /// Makes the folder, where there is to be one.
    pub(crate) fn make_folder(&self) -> Result<(), Failure> {
        match &self.figures {
            None => Ok(()),
            Some(folder) => {
                std::fs::create_dir_all(folder).map_err(|error| Failure::file("make", folder, &error))
            }
        }
    }

    /// Whether pictures are drawn.
    pub(crate) fn wanted(&self) -> bool {
        self.figures.is_some()
    }

    /// Draws one picture under a name, where pictures are drawn; gives how many were.
    pub(crate) fn draw(&self, name: &str, figure: &Figure) -> Result<u64, Failure> {
        let Some(folder) = &self.figures else { return Ok(0) };
        let path = folder.join(format!("{name}.{}", self.picture.ending()));
        figure.write(&path, self.picture, self.size)?;
        Ok(1)
    }

    /// Says how many were drawn, and where.
    pub(crate) fn say(&self, drawn: u64, screen: &mut Screen) {
        if let Some(folder) = self.figures.as_ref().filter(|_| drawn > 0) {
            screen.say(format_args!(
                "{} in {}",
                plural(drawn, "picture"),
                folder.display()
            ));
        }
    }
}

/// One finding, with what is shown of it beside the record.
pub(crate) struct Finding {
    /// What was found.
    pub(crate) found: TraceResult,
    /// Its picture.
    pub(crate) figure: Option<Figure>,
    /// What `--json` shows beside the record.
    pub(crate) more: Map<String, Value>,
    /// For a kept result that was done again: whether the same came out, and the same in words.
    pub(crate) again: Option<(bool, String)>,
}

impl Finding {
    /// A finding with nothing beside the record.
    pub(crate) fn of(found: TraceResult) -> Self {
        Self {
            found,
            figure: None,
            more: Map::new(),
            again: None,
        }
    }

    /// Whether there is an answer: a number, or what was kept before, which may be a ranking.
    fn is_answer(&self) -> bool {
        self.found.is_result() || matches!(self.again, Some((true, _)))
    }
}

/// The name of a result's picture: where the numbers are from, what was fitted, and enough of the result's own name that no two
/// are alike.
pub(crate) fn picture_name(heading: &Heading, found: &TraceResult) -> String {
    /// Letters of each part.
    const MOST: usize = 40;
    let file = heading.place.rsplit(['/', '\\']).next().unwrap_or_default();
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    let mut parts: Vec<String> = [stem, &found.label, &found.outcome.model]
        .into_iter()
        .map(|part| plain(part).chars().take(MOST).collect::<String>())
        .filter(|part| !part.is_empty())
        .collect();
    parts.push(found.outcome.id.chars().take(8).collect());
    parts.join("_")
}

/// Letters and digits; anything else is a hyphen, so that the name is one on any system.
fn plain(text: &str) -> String {
    let letters: String = text
        .chars()
        .map(|c| if c.is_alphanumeric() || c == '.' { c } else { '-' })
        .collect();
    let parts: Vec<&str> = letters
        .split('-')
        .map(|part| part.trim_matches('.'))
        .filter(|part| !part.is_empty())
        .collect();
    parts.join("-")
}

/// What a finding is told under.
pub(crate) struct Heading {
    place: String,
    run: Option<String>,
}

impl Heading {
    /// The heading of what is found about a subject.
    pub(crate) fn of(subject: &Subject) -> Self {
        Self {
            place: subject.place.clone(),
            run: subject.kept.then(|| subject.run.id.to_string()),
        }
    }

    /// The heading of what was found about several subjects together.
    pub(crate) fn of_several(place: String) -> Self {
        Self { place, run: None }
    }

    /// Run and place.
    pub(crate) fn title(&self) -> String {
        match &self.run {
            Some(run) => format!("{} {}", short(run), self.place),
            None => self.place.clone(),
        }
    }

    /// Run, place and what the trace is called.
    pub(crate) fn words(&self, found: &TraceResult) -> String {
        let mut text = self.title();
        if !found.label.is_empty() {
            text.push_str(&format!(", {}", found.label));
        }
        text
    }
}

/// Takes findings one after another.
pub(crate) struct Teller<'a> {
    json: bool,
    pictures: &'a Pictures,
    drawn: u64,
    good: u64,
    bad: u64,
    all: Vec<Value>,
}

impl<'a> Teller<'a> {
    /// Makes the folder of the pictures, where there are to be some.
    pub(crate) fn new(json: bool, pictures: &'a Pictures) -> Result<Self, Failure> {
        pictures.make_folder()?;
        Ok(Self {
            json,
            pictures,
            drawn: 0,
            good: 0,
            bad: 0,
            all: Vec::new(),
        })
    }

    /// Tells and draws one finding; `show` tells it to people.
    pub(crate) fn take(
        &mut self,
        heading: &Heading,
        finding: &Finding,
        screen: &mut Screen,
        show: impl FnOnce(&str, &Finding, &mut Screen) -> Result<(), Failure>,
    ) -> Result<(), Failure> {
        let found = &finding.found;
        if finding.is_answer() {
            self.good += 1;
            if let Some(figure) = &finding.figure {
                self.drawn += self.pictures.draw(&picture_name(heading, found), figure)?;
            }
        } else {
            self.bad += 1;
        }
        // A result of several runs that is done again comes along with one of them, but is of them all.
        let runs = found.outcome.runs.len() as u64;
        let several = (finding.again.is_some() && runs > 1)
            .then(|| Heading::of_several(plural(runs, "run") + " together"));
        let heading = several.as_ref().unwrap_or(heading);
        if self.json {
            self.all.push(shape_with(heading, found, finding.more.clone()));
            return Ok(());
        }
        show(&heading.words(found), finding, screen)?;
        if let Some((_, words)) = &finding.again {
            writeln!(screen, "  {}", one_line(words))?;
        }
        Ok(())
    }

    /// Tells why there is nothing.
    pub(crate) fn refuse(&mut self, place: &str, why: &Diagnostic, screen: &mut Screen) {
        self.bad += 1;
        if self.json {
            self.all.push(
                json!({ "source": place, "termination": why.message, "reason": why.message, "parameters": [] }),
            );
        }
        screen.complain(Some(place), why, &crate::drawing::NoTexts);
    }

    /// Ends the telling; `single` says that only one thing was asked about.
    pub(crate) fn end(self, single: bool, screen: &mut Screen) -> CommandResult {
        if self.json {
            match self.all.as_slice() {
                [one] if single => screen.json(one)?,
                many => screen.json(&many)?,
            }
        }
        self.pictures.say(self.drawn, screen);
        Ok(Ending::of(self.good, self.bad))
    }
}

/// A result as `--json` shows it: the record as it is kept, with where it is from.
pub(crate) fn shape(heading: &Heading, found: &TraceResult) -> Value {
    let mut all = json!({ "source": heading.place, "run": heading.run, "label": found.label });
    if let (Value::Object(all), Ok(Value::Object(outcome))) = (&mut all, serde_json::to_value(&found.outcome))
    {
        all.extend(outcome);
        if !found.is_result() {
            all.insert("reason".into(), json!(found.outcome.termination));
        }
    }
    all
}

/// The same, with more beside the record.
pub(crate) fn shape_with(
    heading: &Heading,
    found: &TraceResult,
    more: impl IntoIterator<Item = (String, Value)>,
) -> Value {
    let mut all = shape(heading, found);
    if let Value::Object(all) = &mut all {
        all.extend(more);
    }
    all
}

/// Finds something about every subject on all cores, tells it in order and keeps it.
pub(crate) fn each(
    (subjects, asked): (&Subjects, &Selection),
    command: &str,
    pictures: &Pictures,
    screen: &mut Screen,
    find: impl Fn(&Subject) -> Vec<Finding> + Sync,
    show: impl Fn(&str, &Finding, &mut Screen) -> Result<(), Failure>,
) -> CommandResult {
    let find = |subject: &Subject, _: &[Subject]| find(subject);
    each_among((subjects, asked), command, pictures, screen, find, show)
}

/// The same, where what is found may take the other runs of the same file.
pub(crate) fn each_among(
    (subjects, asked): (&Subjects, &Selection),
    command: &str,
    pictures: &Pictures,
    screen: &mut Screen,
    find: impl Fn(&Subject, &[Subject]) -> Vec<Finding> + Sync,
    show: impl Fn(&str, &Finding, &mut Screen) -> Result<(), Failure>,
) -> CommandResult {
    let mut teller = Teller::new(subjects.json, pictures)?;
    let compute = |subjects: &[Subject]| {
        let given: Vec<(Heading, Vec<Finding>)> = subjects
            .iter()
            .map(|subject| {
                let mut findings = find(subject, subjects);
                findings.retain(|finding| subject.means(finding.found.trace));
                (Heading::of(subject), findings)
            })
            .collect();
        let outcomes = given
            .iter()
            .flat_map(|(_, findings)| findings)
            .filter(|finding| finding.is_answer())
            .map(|finding| finding.found.outcome.clone())
            .collect();
        (given, outcomes)
    };
    let kept = subjects.each(asked, ReadingDemand::Whole, command, compute, |place, given| {
        match given {
            Err(why) => teller.refuse(place, &why, screen),
            Ok(given) => {
                for (heading, findings) in &given {
                    for finding in findings {
                        teller.take(heading, finding, screen, &show)?;
                    }
                }
            }
        }
        Ok(())
    })?;
    let ending = teller.end(asked.len() == 1, screen);
    kept.say(screen);
    ending
}
