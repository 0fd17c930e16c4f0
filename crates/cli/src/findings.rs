//! From subjects to findings that are told, drawn and kept: what the commands over spectra and readings have in common.

use std::path::PathBuf;

use clap::Args;
use curvary_analysis::study::Found;
use curvary_record::Diagnostic;
use serde_json::{Map, Value, json};

use crate::commands::find::short;
use crate::ending::{Ending, Failure, Outcome};
use crate::figure::{Figure, Kind};
use crate::screen::{Screen, plural};
use crate::subject::{Asked, Reading, Subject, Subjects};

/// Whether and where pictures are drawn.
#[derive(Debug, Args)]
pub(crate) struct Pictures {
    /// Draw pictures into a folder, one a result
    #[arg(long, value_name = "DIR", help_heading = "Pictures")]
    figures: Option<PathBuf>,
    /// Kind of picture
    #[arg(long, value_name = "KIND", default_value = "svg", help_heading = "Pictures")]
    picture: Kind,
}

impl Pictures {
    /// No pictures, for commands that have none to draw.
    pub(crate) fn none() -> Self {
        Self {
            figures: None,
            picture: Kind::Svg,
        }
    }
}

/// One finding, with what is shown of it beside the record.
pub(crate) struct Finding {
    /// What was found.
    pub(crate) found: Found,
    /// Its picture.
    pub(crate) figure: Option<Figure>,
    /// What `--json` shows beside the record.
    pub(crate) more: Map<String, Value>,
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
    pub(crate) fn words(&self, found: &Found) -> String {
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
        if let Some(folder) = &pictures.figures {
            std::fs::create_dir_all(folder).map_err(|error| Failure::file("make", folder, &error))?;
        }
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
        if found.is_result() {
            self.good += 1;
            if let (Some(folder), Some(figure)) = (&self.pictures.figures, &finding.figure) {
                let name = format!("{}.{}", found.outcome.id, self.pictures.picture.ending());
                figure.write(&folder.join(name), self.pictures.picture)?;
                self.drawn += 1;
            }
        } else {
            self.bad += 1;
        }
        if self.json {
            self.all.push(shape_with(heading, found, finding.more.clone()));
            return Ok(());
        }
        show(&heading.words(found), finding, screen)
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
    pub(crate) fn end(self, single: bool, screen: &mut Screen) -> Outcome {
        if self.json {
            match self.all.as_slice() {
                [one] if single => screen.json(one)?,
                many => screen.json(&many)?,
            }
        }
        if self.drawn > 0
            && let Some(folder) = &self.pictures.figures
        {
            screen.say(format_args!(
                "{} in {}",
                plural(self.drawn, "picture"),
                folder.display()
            ));
        }
        Ok(Ending::of(self.good, self.bad))
    }
}

/// A result as `--json` shows it: the record as it is kept, with where it is from.
pub(crate) fn shape(heading: &Heading, found: &Found) -> Value {
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
    found: &Found,
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
    (subjects, asked): (&Subjects, &Asked),
    command: &str,
    pictures: &Pictures,
    screen: &mut Screen,
    find: impl Fn(&Subject) -> Vec<Finding> + Sync,
    show: impl Fn(&str, &Finding, &mut Screen) -> Result<(), Failure>,
) -> Outcome {
    let mut teller = Teller::new(subjects.json, pictures)?;
    let compute = |subjects: &[Subject]| {
        let given: Vec<(Heading, Vec<Finding>)> = subjects
            .iter()
            .map(|subject| (Heading::of(subject), find(subject)))
            .collect();
        let outcomes = given
            .iter()
            .flat_map(|(_, findings)| findings)
            .filter(|finding| finding.found.is_result())
            .map(|finding| finding.found.outcome.clone())
            .collect();
        (given, outcomes)
    };
    let kept = subjects.each(asked, Reading::Whole, command, compute, |place, given| {
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
