//! Handing over: what is left out, bundles and reports.

pub(crate) mod bundle;
mod content;
pub(crate) mod home;
mod leaving;
mod page;
mod print;
mod readme;

use std::collections::BTreeSet;

use curvary_record::Run;

pub(crate) use content::Page;
pub(crate) use leaving::{Gone, LeaveOut};

/// What bundles and reports leave out unless it is asked for: they go to strangers.
pub(crate) const NOT_FOR_STRANGERS: [&str; 2] = ["operator", "path"];

/// Runs without what strangers are not told, and in words what was left out.
pub(crate) fn for_strangers(runs: &[Run]) -> (Vec<Run>, Option<String>) {
    let (leave_out, mut gone) = (LeaveOut::of(NOT_FOR_STRANGERS), Gone::default());
    for run in runs {
        leave_out.see(run, &mut gone);
    }
    let runs = runs
        .iter()
        .map(|run| leave_out.apply(run.clone(), Vec::new(), &mut gone).0)
        .collect();
    (runs, gone.words())
}

/// The words that a bundle and a report hold whatever was measured, in small letters.
fn skeleton() -> BTreeSet<String> {
    let mut text = readme::text(&readme::About {
        title: "",
        runs: 0,
        points: 0,
        results: 0,
        licence: None,
        left_out: Some(""),
        originals: true,
        tables: &[],
        pages: &[],
    });
    text.push_str(&Page::new("").html().unwrap_or_default());
    for field in curvary_record::known_fields() {
        text.push(' ');
        text.push_str(field.about);
    }
    text.push_str(WORDS);
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// Words of tables, descriptions and results.
const WORDS: &str = " absorbance transmittance reflectance spectrum time course scan scans curve curves field number text \
    value values string boolean integer true false null path source sample measured point points label letters resource \
    resources schema package dataset graph file format creative work software application action instrument result results \
    model parameter parameters standard error interval lower upper reason rate rates peak peaks slope height width area \
    constant offset first order order fit cell cells key keys origin origins note notes answer answers claim claims known \
    stated unit units quantity technique reader digest kind code severity message help line column remark remarks question \
    questions held lines saturated absent over range blank baseline instrument date ";
