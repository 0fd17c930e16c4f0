//! Kept results done again: `--again` of every command that keeps results.

use curvary_analysis::study::{StudyError, TraceResult, Work, again};
use curvary_record::{Code, Diagnostic, RunId};
use serde_json::{Map, json};

use crate::ending::{CommandResult, Failure};
use crate::figure::Figure;
use crate::findings::{Finding, Pictures, each};
use crate::screen::Screen;
use crate::subject::{Selection, Subject, Subjects};

/// Does the kept results of one kind of work again, tells what comes out now and whether it is the same.
pub(crate) fn results(
    (work, command): (Work, &str),
    (subjects, asked): (&Subjects, &Selection),
    pictures: &Pictures,
    screen: &mut Screen,
    figure: impl Fn(&Subject, &TraceResult) -> Option<Figure> + Sync,
    show: impl Fn(&str, &Finding, &mut Screen) -> Result<(), Failure>,
) -> CommandResult {
    let any = std::sync::atomic::AtomicBool::new(false);
    let ending = each(
        (subjects, asked),
        command,
        pictures,
        screen,
        |subject| {
            let findings = findings(work, asked, subject, &figure);
            any.fetch_or(!findings.is_empty(), std::sync::atomic::Ordering::Relaxed);
            findings
        },
        show,
    )?;
    if any.into_inner() {
        return Ok(ending);
    }
    Err(Failure::nothing(
        Diagnostic::error(
            Code::new("no-result"),
            format!("no result of `{command}` is kept of these runs"),
        )
        .help("results of runs in the archive are kept unless `--dry-run` says otherwise"),
    ))
}

fn findings(
    work: Work,
    asked: &Selection,
    subject: &Subject,
    figure: &impl Fn(&Subject, &TraceResult) -> Option<Figure>,
) -> Vec<Finding> {
    let own = &subject.run.id;
    let shelf = |id: &RunId| {
        if id == own {
            return Ok((subject.run.clone(), subject.outcomes.clone()));
        }
        asked.look_up(id).map_err(StudyError::unsuitable)
    };
    subject
        .outcomes
        .iter()
        .filter(|kept| Work::of(kept) == Some(work))
        // A result of several runs is done again once, under the first of them that is asked about.
        .filter(|kept| kept.runs.iter().find(|run| *run == own || asked.names(run)) == Some(own))
        .map(|kept| {
            let again = again(kept, &shelf);
            let told = json!({ "result": kept.id, "reproduced": again.reproduced, "verdict": again.words });
            Finding {
                figure: figure(subject, &again.found),
                found: again.found,
                more: Map::from_iter([("again".to_owned(), told)]),
                again: Some((again.reproduced, again.words)),
            }
        })
        .collect()
}
