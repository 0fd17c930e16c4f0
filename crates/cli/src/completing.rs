//! What a shell offers while a command line is typed: fields, their values, runs, models.

use std::ffi::OsStr;
use std::path::Path;

use clap_complete::engine::{CompletionCandidate, PathCompleter, ValueCompleter};
use curvary_analysis::study::FitPlan;
use curvary_archive::{Archive, FacetName, FindOptions};
use curvary_record::known_fields;

/// So many runs are offered.
const RUNS: usize = 40;
/// So many values of a field are offered.
const VALUES: usize = 60;

/// The archive that a command without `--archive` would use; a completion has no other.
fn archive() -> Option<Archive> {
    let named = std::env::var_os("CURVARY_ARCHIVE").filter(|name| !name.is_empty());
    let folder = match named {
        Some(folder) => folder.into(),
        None => Archive::nearest(&std::env::current_dir().ok()?)?,
    };
    Archive::open(Path::new(&folder)).ok()
}

/// Terms of a query.
pub(crate) fn query(current: &OsStr) -> Vec<CompletionCandidate> {
    let Some(text) = current.to_str() else {
        return Vec::new();
    };
    match text.split_once(':') {
        Some((key, value)) => values(key, value),
        None => {
            let mut all = fields(text);
            all.extend(runs(text));
            all
        }
    }
}

/// Files, runs and terms of a query.
pub(crate) fn subject(current: &OsStr) -> Vec<CompletionCandidate> {
    let mut all = query(current);
    all.extend(PathCompleter::file().complete(current));
    all
}

/// Models of fits.
pub(crate) fn models() -> Vec<CompletionCandidate> {
    let cards = FitPlan::list().into_iter();
    cards
        .map(|card| CompletionCandidate::new(card.name).help(Some(card.equation.into())))
        .collect()
}

fn fields(begin: &str) -> Vec<CompletionCandidate> {
    const SPECIAL: [&str; 8] = [
        "technique",
        "year",
        "is",
        "has",
        "path",
        "reader",
        "points",
        "result.k",
    ];
    let known = known_fields().iter().map(|field| (field.key, field.about));
    let special = SPECIAL.iter().map(|key| (*key, ""));
    known
        .chain(special)
        .filter(|(key, _)| key.starts_with(begin))
        .map(|(key, about)| {
            let candidate = CompletionCandidate::new(format!("{key}:"));
            if about.is_empty() {
                candidate
            } else {
                candidate.help(Some(about.into()))
            }
        })
        .collect()
}

fn values(key: &str, begin: &str) -> Vec<CompletionCandidate> {
    let fixed: &[&str] = match key {
        "is" => &[
            "in-question",
            "read",
            "disputed",
            "duplicate",
            "out-of-date",
            "superseded",
        ],
        "has" => &["result", "note", "question", "remark", "warning", "dispute"],
        _ => &[],
    };
    let name = match key {
        "technique" => Some(FacetName::Technique),
        "sample" => Some(FacetName::Sample),
        "year" => Some(FacetName::Year),
        "reader" => Some(FacetName::Reader),
        "tag" => Some(FacetName::Tag),
        _ => None,
    };
    let mut all: Vec<String> = fixed.iter().map(|word| (*word).to_owned()).collect();
    if let (Some(name), Some(archive)) = (name, archive())
        && let Ok(everything) = archive.query("")
        && let Ok(facets) = archive.facets(&everything, &[name], VALUES)
    {
        all.extend(facets.into_values().flatten().map(|one| one.value));
    }
    let lower = begin.to_lowercase();
    all.retain(|value| value.to_lowercase().starts_with(&lower));
    all.into_iter()
        .map(|value| CompletionCandidate::new(format!("{key}:{value}")))
        .collect()
}

/// `@last`, and runs whose names begin so.
fn runs(begin: &str) -> Vec<CompletionCandidate> {
    if crate::last::WORD.starts_with(begin) && begin.starts_with('@') {
        return vec![CompletionCandidate::new(crate::last::WORD)];
    }
    if begin.len() < 2 || !begin.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return Vec::new();
    }
    let found = archive().and_then(|archive| {
        let options = FindOptions {
            limit: RUNS,
            ..FindOptions::default()
        };
        archive
            .find(&archive.query(&format!("run:{begin}")).ok()?, &options)
            .ok()
    });
    let hits = found.map(|found| found.hits).unwrap_or_default();
    hits.into_iter()
        .map(|hit| {
            let path = hit.summary.paths.first().cloned().unwrap_or_default();
            let name = crate::commands::find::short(hit.id.as_str()).to_owned();
            CompletionCandidate::new(name).help(Some(path.into()))
        })
        .collect()
}
