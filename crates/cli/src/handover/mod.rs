//! Handing over: what is left out, bundles and reports.

pub(crate) mod bundle;
mod content;
mod escapes;
pub(crate) mod home;
mod leaving;
mod page;
mod print;
mod readme;
mod search;
mod tied;

use curvary_record::{Code, Diagnostic, Run};

pub(crate) use content::ReportPage;
pub(crate) use leaving::{LeaveOut, LeftOutValues};
pub(crate) use search::found_in_file;

/// A value that was left out stands in a file of an export all the same.
pub(crate) fn still_there(value: &leaving::LeftOutValue, name: &str) -> Diagnostic {
    let why = Diagnostic::error(
        Code::new("left-out-value-found"),
        format!(
            "`{}`, {}, was to be left out and still stands in `{name}`; nothing was written",
            value.text, value.of
        ),
    );
    why.help("leave out the field that it stands in too, with `--without FIELD`")
}

/// What bundles and reports leave out unless it is asked for: they go to strangers.
pub(crate) const NOT_FOR_STRANGERS: [&str; 2] = ["operator", "path"];

/// Runs without what strangers are not told, and what was left out.
pub(crate) fn for_strangers(runs: &[Run]) -> (Vec<Run>, LeftOutValues) {
    let (leave_out, mut gone) = (LeaveOut::of(NOT_FOR_STRANGERS), LeftOutValues::default());
    for run in runs {
        leave_out.see(run, &mut gone);
    }
    let runs = runs
        .iter()
        .map(|run| leave_out.apply(run.clone(), Vec::new(), &mut gone).0)
        .collect();
    (runs, gone)
}

/// A text of the words that a bundle and a report hold whatever was measured.
fn skeleton() -> String {
    let mut text = readme::text(&readme::About {
        title: "",
        runs: 0,
        points: 0,
        results: 0,
        licence: None,
        left_out: Some(""),
        originals: true,
        more_runs: 0,
        tables: &[],
        pages: &[],
    });
    text.push_str(&ReportPage::new("").html().unwrap_or_default());
    for field in curvary_record::known_fields() {
        text.push(' ');
        text.push_str(field.about);
    }
    text.push_str(WORDS);
    text
}

/// Words of tables, descriptions and results.
const WORDS: &str = " absorbance transmittance reflectance spectrum time course scan scans curve curves field number text \
    value values string boolean integer true false null path source sample measured point points label letters resource \
    resources schema package dataset graph file format creative work software application action instrument result results \
    model parameter parameters standard error interval lower upper reason rate rates peak peaks slope height width area \
    constant offset first order order fit cell cells key keys origin origins note notes answer answers claim claims known \
    stated unit units quantity technique reader digest kind code severity message help line column remark remarks question \
    questions held lines saturated absent over range blank baseline instrument date ";
