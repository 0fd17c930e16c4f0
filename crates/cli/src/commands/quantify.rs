//! `curvary quantify`: from readings to concentrations, with errors and reasons.

use std::io::Write;

use clap::{Args, ValueEnum};
use curvary_analysis::quantities::{LimitForm, NucleicAcidKind, StandardWeighting};
use curvary_analysis::study::{
    CheckedStandard, LineForm, QuantifyPlan, ReferenceSpectrum, References, TraceResult, Way, Work,
    beside_standards, path_of, quantify_run, reference_of, standards_of, stated_concentration,
};
use curvary_record::Run;
use serde_json::{Map, Value, json};

use crate::Environment;
use crate::again;
use crate::courses::{IntervalLevel, measured, measured_coefficient, unit};
use crate::ending::{CommandResult, Failure};
use crate::figure::{Figure, of_fit};
use crate::findings::{Finding, Pictures, each_among};
use crate::screen::Screen;
use crate::steps::{StepOptions, number, one};
use crate::subject::{ReadingDemand, Sources, Subject, Subjects};
use crate::table::{Listing, ListingColumn};
use crate::telling;

/// Find concentrations: by absorption coefficient, calibration line, standard addition or reference spectra
///
/// Without a choice the Beer-Lambert law is used, with the run's absorption coefficient, path length and dilution or those
/// given. Lists of readings (samples, concentrations) are taken point by point; spectra are read at --at. Nothing is read
/// above the trusted absorbance, nothing is cut off at zero, and limits that the data leave open stay open. For research
/// and teaching, never for diagnosis.
#[derive(Debug, Args)]
pub(crate) struct QuantifyCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, conflicts_with_all = [
        "standards", "line", "addition", "references", "nucleic_acid", "protein", "at", "StepOptions",
        "blank_absorbance", "reading_error", "trace", "together", "coefficient", "path", "dilution", "weights",
        "curve", "through_origin", "limits", "blank_readings", "with_offset", "level",
    ])]
    again: bool,
    /// Read the unknowns off a straight line through these standards: files, runs or a query; each needs its
    /// concentration, or is a table of concentration against absorbance
    #[arg(long, value_name = "FILE|RUN|QUERY", num_args = 1.., group = "way", help_heading = "How")]
    standards: Vec<String>,
    /// Give the calibration line of tables of concentration against absorbance, with its detection limits; rows without a
    /// concentration are unknowns and are read off it
    #[arg(long, group = "way", help_heading = "How")]
    line: bool,
    /// Take tables of added concentration against absorbance as standard additions
    #[arg(long, group = "way", help_heading = "How")]
    addition: bool,
    /// Find several components from their spectra, each `NAME=RUN` or `NAME=FILE` whose concentration is known
    #[arg(long, value_name = "NAME=RUN|FILE", num_args = 1.., group = "way", help_heading = "How")]
    references: Vec<String>,
    /// Ratios and usual factor of a nucleic acid (common practice)
    #[arg(long, value_name = "KIND", group = "way", help_heading = "How")]
    nucleic_acid: Option<Acid>,
    /// The usual formula for protein from 280 and 260 nm (common practice)
    #[arg(long, group = "way", help_heading = "How")]
    protein: bool,
    /// Where spectra are read, such as 535nm
    #[arg(long, value_name = "WAVELENGTH", help_heading = "Readings")]
    at: Option<String>,
    #[command(flatten)]
    before: StepOptions,
    /// Absorbance that is taken off readings which are no spectra
    #[arg(long, value_name = "A", help_heading = "Readings")]
    blank_absorbance: Option<f64>,
    /// Standard deviation of a single reading, if known
    #[arg(long, value_name = "A", help_heading = "Readings")]
    reading_error: Option<f64>,
    /// Traces by number (from 1) or label
    #[arg(long, value_name = "TRACE", value_delimiter = ',', help_heading = "Readings")]
    trace: Vec<String>,
    /// Take all readings of a run as repeats of one unknown
    #[arg(long, help_heading = "Readings")]
    together: bool,
    /// Molar absorption coefficient in place of the run's own, with its unit (`6.22 mM-1cm-1`), without one in L/(mol cm);
    /// `5400+-60` gives its error too
    #[arg(long, value_name = "EPSILON", help_heading = "Constants")]
    coefficient: Option<String>,
    /// Path length of the sample, cm, in place of the run's own; `1.000+-0.005` gives its error too. Standards of another path
    /// are allowed for by the Beer-Lambert law
    #[arg(long, value_name = "CM", help_heading = "Constants")]
    path: Option<String>,
    /// Total over sample volume, in place of that of the row (a column `dilution`) or the run's own; `10+-0.05` gives its error too
    #[arg(long, value_name = "TIMES", help_heading = "Constants")]
    dilution: Option<String>,
    /// How much each standard counts
    #[arg(long, value_name = "HOW", default_value = "equal", help_heading = "Line")]
    weights: StandardWeights,
    /// Whether the line through the standards may bend
    #[arg(long, value_name = "FORM", default_value = "straight", help_heading = "Line")]
    curve: CalibrationForm,
    /// Hold the line at the origin
    #[arg(long, help_heading = "Line")]
    through_origin: bool,
    /// Whose definition of detection limits
    #[arg(long, value_name = "FORM", default_value = "ich-q2", help_heading = "Line")]
    limits: Limit,
    /// Absorbances of the blank, from which detection limits take their standard deviation
    #[arg(long, value_name = "A", value_delimiter = ',', help_heading = "Line")]
    blank_readings: Vec<f64>,
    /// Fit a constant offset beside the components
    #[arg(long, requires = "references", help_heading = "Line")]
    with_offset: bool,
    #[command(flatten)]
    level: IntervalLevel,
    #[command(flatten)]
    pictures: Pictures,
}

/// A kind of nucleic acid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Acid {
    /// Double-stranded DNA
    Dsdna,
    /// Single-stranded DNA
    Ssdna,
    /// RNA
    Rna,
}

/// Weights of standards.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum StandardWeights {
    /// All alike
    Equal,
    /// The variance grows with the concentration
    InverseX,
    /// The relative error is the same everywhere
    InverseXSquared,
}

/// A form of the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum CalibrationForm {
    /// b0 + b1 c
    Straight,
    /// b0 + b1 c + b2 c²
    Quadratic,
}

/// A definition of detection limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Limit {
    /// ICH Q2: 3.3 and 10 standard deviations over the slope
    IchQ2,
    /// IUPAC 1978: three standard deviations of the blank over the slope
    Iupac1978,
    /// IUPAC 1995: errors of both kinds at 5 %
    Iupac1995,
}

impl QuantifyCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let tell = |heading: &str, finding: &Finding, screen: &mut Screen| {
            telling::print_outcome(heading, &finding.found.outcome, screen)?;
            recovered(&finding.found, screen)
        };
        if self.again {
            let asked = self.subjects.asked(setting)?;
            return again::results(
                (Work::Quantify, "curvary quantify"),
                (&self.subjects, &asked),
                &self.pictures,
                screen,
                picture,
                tell,
            );
        }
        let mut references = References::new();
        let plan = self.plan(setting, &mut references)?;
        let asked = self.subjects.asked(setting)?;
        each_among(
            (&self.subjects, &asked),
            "curvary quantify",
            &self.pictures,
            screen,
            |subject, all| find(&plan, &references, (subject, all)),
            tell,
        )
    }

    fn plan(&self, setting: &Environment, references: &mut References) -> Result<QuantifyPlan, Failure> {
        let dilution = self.dilution.as_deref().map(measured).transpose()?;
        let mut plan = QuantifyPlan {
            line_form: match self.curve {
                CalibrationForm::Straight => LineForm::Straight,
                CalibrationForm::Quadratic => LineForm::Quadratic,
            },
            at: self.at.as_deref().map(wavelength).transpose()?,
            steps: self.before.steps(setting, references)?,
            blank_absorbance: self.blank_absorbance,
            trusted_absorbance: self.before.trusted()?,
            reading_error: self.reading_error,
            coefficient: self
                .coefficient
                .as_deref()
                .map(measured_coefficient)
                .transpose()?,
            path: self.path.as_deref().map(measured).transpose()?,
            dilution: dilution.map(|dilution| dilution.value),
            dilution_error: dilution.and_then(|dilution| dilution.standard_error),
            level: self.level.checked()?,
            weighting: match self.weights {
                StandardWeights::Equal => StandardWeighting::Equal,
                StandardWeights::InverseX => StandardWeighting::InverseX,
                StandardWeights::InverseXSquared => StandardWeighting::InverseXSquared,
            },
            through_origin: self.through_origin,
            limit_form: match self.limits {
                Limit::IchQ2 => LimitForm::IchQ2,
                Limit::Iupac1978 => LimitForm::Iupac1978,
                Limit::Iupac1995 => LimitForm::Iupac1995,
            },
            blank_readings: self.blank_readings.clone(),
            together: self.together,
            with_offset: self.with_offset,
            traces: self.trace.clone(),
            ..QuantifyPlan::new(Way::BeerLambert)
        };
        plan.way = self.way(&plan, setting, references)?;
        Ok(plan)
    }

    fn way(
        &self,
        plan: &QuantifyPlan,
        setting: &Environment,
        references: &mut References,
    ) -> Result<Way, Failure> {
        if !self.standards.is_empty() {
            let runs: Vec<Run> = Sources::of(self.standards.clone())
                .asked(setting)?
                .all(ReadingDemand::Whole)?
                .into_iter()
                .map(|subject| subject.run)
                .collect();
            let standards = standards_of(plan, &runs, references)
                .map_err(|(run, why)| Failure::usage(format!("run {run} is no standard: {why}")))?;
            return Ok(Way::Calibration(standards));
        }
        if !self.references.is_empty() {
            let components = self
                .references
                .iter()
                .map(|text| component(text, setting, references));
            return Ok(Way::Mixture(components.collect::<Result<_, _>>()?));
        }
        Ok(
            match (self.line, self.addition, self.nucleic_acid, self.protein) {
                (true, ..) => Way::Line,
                (_, true, ..) => Way::StandardAddition,
                (_, _, Some(Acid::Dsdna), _) => Way::NucleicAcid(NucleicAcidKind::DoubleStrandedDna),
                (_, _, Some(Acid::Ssdna), _) => Way::NucleicAcid(NucleicAcidKind::SingleStrandedDna),
                (_, _, Some(Acid::Rna), _) => Way::NucleicAcid(NucleicAcidKind::Rna),
                (_, _, None, true) => Way::Protein,
                (_, _, None, false) => Way::BeerLambert,
            },
        )
    }
}

/// A component's spectrum, which goes among the references under the name of its run.
fn component(
    text: &str,
    setting: &Environment,
    references: &mut References,
) -> Result<ReferenceSpectrum, Failure> {
    let wrong = |why: String| Failure::usage(format!("`{text}` is no reference: {why}"));
    let (name, word) = text
        .split_once('=')
        .ok_or_else(|| wrong("expected NAME=RUN or NAME=FILE".to_owned()))?;
    let run = one(word, setting)?.run;
    let spectrum = reference_of(&run).map_err(|why| wrong(why.to_string()))?;
    let trace = run.traces.first();
    let stated = trace.map_or(Ok(None), |trace| {
        stated_concentration(&run, trace, &["concentration"])
    });
    let (concentration, unit) = stated
        .map_err(|several| {
            wrong(format!(
                "it is said to hold {several}, and not which of these is its concentration; `curvary note` can say it"
            ))
        })?
        .ok_or_else(|| wrong("its concentration is not known; `curvary note` can add it".to_owned()))?;
    references.insert(run.id.to_string(), spectrum);
    let path = path_of(&run);
    Ok(ReferenceSpectrum {
        path,
        name: name.trim().to_owned(),
        run: run.id,
        concentration,
        unit,
    })
}

fn find(
    plan: &QuantifyPlan,
    references: &References,
    (subject, all): (&Subject, &[Subject]),
) -> Vec<Finding> {
    // Unknowns in the rows below their standards.
    let others: Vec<&Run> = all
        .iter()
        .filter(|other| other.place == subject.place)
        .map(|other| &other.run)
        .collect();
    let own = match beside_standards(plan, &subject.run, &others, references) {
        Some(Ok(own)) => own,
        _ => plan.clone(),
    };
    quantify_run(&own, &subject.run, references)
        .into_iter()
        .map(|found| {
            let standards: Vec<Value> = found.drawn.recovered.iter().map(standard).collect();
            let mut more = Map::new();
            if !standards.is_empty() {
                more.insert("recovered".to_owned(), Value::Array(standards));
            }
            Finding {
                figure: picture(subject, &found),
                more,
                ..Finding::of(found)
            }
        })
        .collect()
}

/// A standard read off its own line, as `--json` shows it.
fn standard(recovered: &CheckedStandard) -> Value {
    json!({
        "concentration": recovered.given, "absorbance": recovered.absorbance,
        "found": recovered.found, "recovery_percent": recovered.percent,
    })
}

/// The standards read off their own line.
fn recovered(found: &TraceResult, screen: &mut Screen) -> Result<(), Failure> {
    if found.drawn.recovered.is_empty() {
        return Ok(());
    }
    // The line's own limits and concentrations are in the unit of its standards.
    let of = ["concentration", "detection-limit"].map(|name| found.outcome.parameter(name)?.unit.as_ref());
    let unit = of.into_iter().flatten().next();
    let unit = unit.map(curvary_record::Unit::display);
    // A bent line has neither: its drawing names the axis.
    let axis = || Some(found.drawn.x_title.split_once(" / ")?.1.to_owned());
    let unit = unit.or_else(axis).unwrap_or_default();
    let head = |name: &str| format!("{name} {unit}").trim_end().to_owned();
    let mut table = Listing::new([
        ListingColumn::new(head("  standard")).right(),
        ListingColumn::new("absorbance AU").right().rank(1),
        ListingColumn::new(head("by the line")).right(),
        ListingColumn::new("recovery").right(),
    ]);
    for standard in &found.drawn.recovered {
        table.row([
            format!("  {}", telling::significant(standard.given)).into(),
            telling::significant(standard.absorbance).into(),
            standard
                .found
                .map_or("none".to_owned(), |found| format!("{found:.4}"))
                .into(),
            standard
                .percent
                .map_or(String::new(), |percent| format!("{percent:.1} %"))
                .into(),
        ]);
    }
    write!(screen, "{}", table.draw(screen.width()))?;
    Ok(())
}

/// Standards with their line, where there is one.
fn picture(subject: &Subject, found: &TraceResult) -> Option<Figure> {
    (!found.drawn.fitted.is_empty()).then(|| of_fit(&subject.place, found))
}

/// `535nm`, `535`.
fn wavelength(text: &str) -> Result<f64, Failure> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.'))
        .unwrap_or(text.len());
    let value = number(&text[..end])?;
    match text[end..].trim() {
        "" => Ok(value),
        own => unit(own)?
            .convert(value, &curvary_record::Unit::NANOMETRE)
            .map_err(|_| Failure::usage(format!("`{text}` is no wavelength"))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use curvary_analysis::quantities::Measured;

    #[test]
    fn wavelengths_and_values_with_errors() {
        assert_eq!(wavelength("535nm").ok(), Some(535.0));
        assert_eq!(wavelength("535").ok(), Some(535.0));
        assert_eq!(wavelength("0.535 um").ok(), Some(535.0));
        assert!(wavelength("535 s").is_err());
        assert_eq!(
            measured("5400+-60").ok(),
            Some(Measured::with_error(5400.0, 60.0))
        );
        assert_eq!(measured("1").ok(), Some(Measured::bare(1.0)));
        assert!(measured("a+-b").is_err());
    }
}
