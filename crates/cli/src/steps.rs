//! Steps before a measurement, as options of every command that takes spectra, and the runs that they name.

use std::collections::BTreeMap;

use clap::{Args, ValueEnum};
use curvary_analysis::spectra::{Chain, Grids, Interpolation, Step};
use curvary_analysis::study::{References, reference_of};

use crate::Environment;
use crate::ending::Failure;
use crate::subject::{ReadingDemand, Sources, Subject};

/// Which steps go before, and which absorbances are trusted.
#[derive(Debug, Args)]
pub(crate) struct StepOptions {
    /// A step that goes before, such as `smooth(window=11, order=3)`; several go in order
    #[arg(long, value_name = "STEP", help_heading = "Steps")]
    step: Vec<String>,
    /// Subtract this blank before the other steps
    #[arg(long, value_name = "RUN|FILE", help_heading = "Steps")]
    blank: Option<String>,
    /// Interpolate the blank where its points differ from those of the sample
    #[arg(long, value_name = "HOW", requires = "blank", help_heading = "Steps")]
    resample_blank: Option<How>,
    /// Absorbance above which nothing is taken; `none` for no limit [default: 3]
    #[arg(long, value_name = "A", help_heading = "Steps")]
    trust_below: Option<String>,
}

/// How values between measured points are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum How {
    /// Straight lines between the points
    Linear,
    /// A cubic spline
    Cubic,
}

impl From<How> for Interpolation {
    fn from(how: How) -> Self {
        match how {
            How::Linear => Self::Linear,
            How::Cubic => Self::Cubic,
        }
    }
}

impl StepOptions {
    /// The limit of trust in absorbance.
    pub(crate) fn trusted(&self) -> Result<Option<f64>, Failure> {
        trusted(self.trust_below.as_deref())
    }

    /// The steps, with every blank they name read; blanks stand in the steps by the names of their runs.
    pub(crate) fn steps(
        &self,
        setting: &Environment,
        references: &mut References,
    ) -> Result<Vec<Step>, Failure> {
        let mut steps = Vec::new();
        if let Some(blank) = &self.blank {
            steps.push(Step::Blank {
                reference: blank.clone(),
                grids: self
                    .resample_blank
                    .map_or(Grids::MustMatch, |how| Grids::Resample(how.into())),
            });
        }
        for text in &self.step {
            let chain: Chain = text
                .parse()
                .map_err(|error| Failure::usage(format!("`{text}` is no step: {error}")))?;
            steps.extend(chain.steps);
        }
        let mut names: BTreeMap<String, String> = BTreeMap::new();
        for step in &mut steps {
            let Step::Blank { reference, .. } = step else {
                continue;
            };
            let id = match names.get(reference) {
                Some(id) => id.clone(),
                None => {
                    let subject = one(reference, setting)?;
                    let spectrum = reference_of(&subject.run)
                        .map_err(|why| Failure::usage(format!("`{reference}` is no blank: {why}")))?;
                    let id = subject.run.id.to_string();
                    references.insert(id.clone(), spectrum);
                    names.insert(reference.clone(), id.clone());
                    id
                }
            };
            *reference = id;
        }
        Ok(steps)
    }
}

/// The one run that a word names: a file with one run in it, or a run of the archive.
pub(crate) fn one(word: &str, setting: &Environment) -> Result<Subject, Failure> {
    let mut all = Sources::of(vec![word.to_owned()])
        .asked(setting)?
        .all(ReadingDemand::Whole)?;
    match (all.pop(), all.len()) {
        (Some(one), 0) => Ok(one),
        (_, more) => Err(Failure::usage(format!(
            "`{word}` means {} runs; expected one",
            more + 1
        ))),
    }
}

/// A number of the command line.
pub(crate) fn number(text: &str) -> Result<f64, Failure> {
    text.trim()
        .parse::<f64>()
        .ok()
        .filter(|value| value.is_finite())
        .ok_or_else(|| Failure::usage(format!("`{text}` is no number")))
}

/// The limit of trust in absorbance; `none` is the largest number there is.
pub(crate) fn trusted(text: Option<&str>) -> Result<Option<f64>, Failure> {
    match text {
        None => Ok(None),
        Some("none") => Ok(Some(f64::MAX)),
        Some(text) => number(text).map(Some),
    }
}
