//! The curve that others are to be like: a trace of a run or of a file.

use clap::Args;
use curvary_analysis::study::label_of;
use curvary_archive::Curve;
use curvary_record::{Code, Diagnostic, Run, RunId, Trace};

use crate::Environment;
use crate::ending::Failure;
use crate::steps::one;

/// Which curve, and how alike.
#[derive(Debug, Args)]
pub(crate) struct LikeOptions {
    /// Order by how alike the curves are to this one, the most alike first
    #[arg(long, value_name = "RUN|FILE", help_heading = "Likeness", conflicts_with_all = ["sort", "facets", "snippets"])]
    pub(crate) like: Option<String>,
    /// Which trace of RUN or FILE, by number (from 1) or label, where it has several
    #[arg(long, value_name = "TRACE", help_heading = "Likeness", requires = "like")]
    trace: Option<String>,
    /// Leave out what is less alike than this, from -1 to 1
    #[arg(
        long,
        value_name = "R",
        help_heading = "Likeness",
        requires = "like",
        default_value_t = 0.9,
        allow_negative_numbers = true
    )]
    pub(crate) least: f64,
}

impl LikeOptions {
    /// The curve that `word` names, and the run that it is of.
    pub(crate) fn curve(&self, word: &str, setting: &Environment) -> Result<(Curve, RunId), Failure> {
        if !(-1.0..=1.0).contains(&self.least) {
            return Err(Failure::usage(format!(
                "--least is {}; expected a likeness from -1 to 1",
                self.least
            )));
        }
        let run = one(word, setting)?.run;
        let trace = self.trace_of(&run, word)?;
        match Curve::of(&run, trace) {
            Ok(curve) => Ok((curve, run.id)),
            Err(why) => Err(Failure::nothing(
                Diagnostic::error(
                    Code::new("no-likeness"),
                    format!("`{word}` can be compared with no curve: {why}"),
                )
                .help("`curvary show RUN` or `curvary explain FILE` shows its curves"),
            )),
        }
    }

    /// The trace that is meant.
    fn trace_of<'a>(&self, run: &'a Run, word: &str) -> Result<&'a Trace, Failure> {
        // A message names no more traces than fit into a few lines.
        const SHOWN: usize = 12;
        let numbered = || (1_usize..).zip(&run.traces);
        let named = |(number, trace): &(usize, &Trace)| match &self.trace {
            Some(name) => *name == label_of(trace) || name.parse() == Ok(*number),
            None => true,
        };
        let mut meant = numbered().filter(named);
        if let (Some((_, trace)), None) = (meant.next(), meant.next()) {
            return Ok(trace);
        }
        let listed: Vec<String> = numbered()
            .take(SHOWN)
            .map(|(number, trace)| format!("{number} {}", label_of(trace)).trim_end().to_owned())
            .collect();
        let more = if run.traces.len() > SHOWN { ", …" } else { "" };
        let all = format!("{}{more}", listed.join(", "));
        let found = match &self.trace {
            Some(name) => format!("no one trace of `{word}` is called `{name}`"),
            None => format!("`{word}` has {} traces", run.traces.len()),
        };
        Err(Failure::usage(format!(
            "{found}; expected --trace with one of: {all}"
        )))
    }
}
