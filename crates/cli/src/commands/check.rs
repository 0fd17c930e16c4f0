//! `curvary check`: instrument checks against limits whose sources are told.

mod history;

use std::io::Write;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::Args;
use curvary_analysis::checks::CheckLimits;
use curvary_analysis::study::{CheckPlan, Work, check_run};

use crate::Environment;
use crate::again;
use crate::ending::{CommandResult, Ending, Failure};
use crate::findings::{Finding, Pictures, each};
use crate::screen::{FAINT, STRONG, Screen, StyledText};
use crate::subject::Subjects;
use crate::table::one_line;
use crate::telling;

/// Check the instrument: wavelength, absorbance, stray light, resolution, blank, zero, noise, drift and flatness
///
/// Each item passes, fails or is undetermined, with its limit and the source of the limit. Noise, drift, flatness and zero
/// have no public limits, and filters have certificates of their own: a file of one's own gives them with `--limits`.
/// The exit status is 0 where every check passes, and 1 where one fails or is undetermined.
/// Follow local rules first. Results are for research and teaching.
#[derive(Debug, Args)]
pub(crate) struct CheckCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// Which check: an entry of the limits, a word of its solution, `stability`, `flatness`, `zero` or `blank` [default: by
    /// the sample]
    #[arg(long = "as", value_name = "NAME")]
    name: Option<String>,
    /// The laboratory's own limits in place of the built-in ones
    #[arg(long, value_name = "FILE")]
    limits: Option<PathBuf>,
    /// Concentration of the dichromate solution in mg/L, where the run does not state it
    #[arg(long, value_name = "MG/L")]
    mg_per_l: Option<f64>,
    /// Concentration of the solution of a reference table in g/kg, where the run does not state it
    #[arg(long, value_name = "G/KG")]
    g_per_kg: Option<f64>,
    /// Wavelengths in nm at which `blank` and `zero` read a spectrum
    #[arg(long, value_name = "NM", value_delimiter = ',')]
    at: Vec<f64>,
    /// Path length in cm, where the run does not state it
    #[arg(long, value_name = "CM")]
    path_cm: Option<f64>,
    /// Traces by number (from 1) or label
    #[arg(long, value_name = "TRACE", value_delimiter = ',')]
    trace: Vec<String>,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, conflicts_with_all = [
        "name", "limits", "mg_per_l", "g_per_kg", "at", "path_cm", "trace", "history",
    ])]
    again: bool,
    /// Show the checks that are kept of these runs, by date, and whether their values drift towards a limit
    #[arg(long, conflicts_with_all = ["name", "limits"])]
    history: bool,
}

impl CheckCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        if self.history {
            return history::show(&self.subjects, setting, screen);
        }
        if self.again {
            let asked = self.subjects.asked(setting)?;
            return again::results(
                (Work::Check, "curvary check"),
                (&self.subjects, &asked),
                &Pictures::none(),
                screen,
                |_, _| None,
                print_check,
            );
        }
        let limits = match &self.limits {
            None => None,
            Some(path) => {
                let text =
                    std::fs::read_to_string(path).map_err(|error| Failure::file("read", path, &error))?;
                CheckLimits::parse(&text).map_err(|error| {
                    let at = match (error.line, error.column) {
                        (Some(line), Some(column)) => format!(":{line}:{column}"),
                        _ => String::new(),
                    };
                    Failure::usage(format!("{}{at} holds no limits: {}", path.display(), error.words))
                })?;
                Some(text)
            }
        };
        let plan = CheckPlan {
            name: self.name.clone(),
            limits,
            mg_per_l: self.mg_per_l,
            g_per_kg: self.g_per_kg,
            at: self.at.clone(),
            path_cm: self.path_cm,
            traces: self.trace.clone(),
        };
        let asked = self.subjects.asked(setting)?;
        let passed = AtomicBool::new(true);
        let ending = each(
            (&self.subjects, &asked),
            "curvary check",
            &Pictures::none(),
            screen,
            |subject| {
                let found = check_run(&plan, &subject.run);
                if found
                    .iter()
                    .any(|found| !found.outcome.termination.starts_with("pass"))
                {
                    passed.store(false, Ordering::Relaxed);
                }
                found.into_iter().map(Finding::of).collect()
            },
            print_check,
        )?;
        // Whoever asks the exit status asks whether the instrument passed.
        Ok(match ending {
            Ending::Done if !passed.load(Ordering::Relaxed) => Ending::Partly,
            ending => ending,
        })
    }
}

fn print_check(heading: &str, finding: &Finding, screen: &mut Screen) -> Result<(), Failure> {
    let outcome = &finding.found.outcome;
    writeln!(
        screen,
        "{}  {}",
        StyledText(STRONG, one_line(heading)),
        StyledText(FAINT, one_line(&outcome.model))
    )?;
    writeln!(screen, "  {}", StyledText(STRONG, one_line(&outcome.termination)))?;
    for reason in outcome
        .parameters
        .iter()
        .filter_map(|part| part.reason.as_deref())
    {
        writeln!(screen, "  {}", one_line(reason))?;
    }
    for remark in outcome
        .remarks
        .iter()
        .filter(|remark| !telling::is_caution(remark))
    {
        telling::remark(remark, screen)?;
    }
    screen.caution(&outcome.remarks);
    Ok(())
}
