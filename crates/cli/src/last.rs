//! `@last`: the runs that the last `find` listed, kept in the user's own cache for each archive.

use std::fs;
use std::path::PathBuf;

use curvary_archive::{Archive, user_cache};
use curvary_record::{Code, Diagnostic, Digest, RunId};

use crate::ending::Failure;

/// The word for them.
pub(crate) const WORD: &str = "@last";
/// What stands before the query in what is kept.
const ASKED: &str = "? ";
/// More runs than this are kept as the first so many.
pub(crate) const MOST: usize = 10_000;

fn place(archive: &Archive) -> Option<PathBuf> {
    let root = fs::canonicalize(archive.root()).unwrap_or_else(|_| archive.root().to_owned());
    let name = Digest::of(root.as_os_str().as_encoded_bytes());
    let name = name.as_str().trim_start_matches("sha256:").get(..32)?.to_owned();
    Some(user_cache()?.join("curvary").join("last").join(name))
}

/// Keeps what a `find` listed. What cannot be kept is no harm: `@last` says so when it is asked for.
pub(crate) fn keep<'a>(archive: &Archive, query: &str, runs: impl Iterator<Item = &'a str>) {
    let Some(path) = place(archive) else { return };
    let mut text = format!("{ASKED}{}\n", query.replace(['\n', '\r'], " "));
    text.extend(runs.take(MOST).map(|run| format!("{run}\n")));
    if let Some(folder) = path.parent() {
        let _ = fs::create_dir_all(folder);
    }
    let _ = fs::write(path, text);
}

/// What the last `find` asked: of the runs that it listed, those traces are meant that answer it.
pub(crate) fn query(archive: &Archive) -> Option<String> {
    let text = fs::read_to_string(place(archive)?).ok()?;
    Some(text.lines().next()?.strip_prefix(ASKED)?.to_owned())
}

/// The runs that the last `find` listed.
pub(crate) fn runs(archive: &Archive) -> Result<Vec<RunId>, Failure> {
    let kept = place(archive).and_then(|path| fs::read_to_string(path).ok());
    let runs: Vec<RunId> = kept
        .iter()
        .flat_map(|text| text.lines())
        .filter(|line| !line.starts_with(ASKED))
        .map(RunId::named)
        .collect();
    if runs.is_empty() {
        return Err(Failure::wrong(
            Diagnostic::error(
                Code::new("no-run"),
                format!(
                    "`{WORD}` stands for the runs that the last `curvary find` listed, and there are none"
                ),
            )
            .help("list some first, as in `curvary find temp:37C`"),
        ));
    }
    Ok(runs)
}

/// A query with the runs in the place of `@last`.
pub(crate) fn put_in(archive: &Archive, query: &str) -> Result<String, Failure> {
    let is_end = |sign: Option<char>| sign.is_none_or(|sign| sign.is_whitespace() || "()-".contains(sign));
    let mut text = String::new();
    let mut rest = query;
    while let Some(at) = rest.find(WORD) {
        let (before, behind) = (&rest[..at], &rest[at + WORD.len()..]);
        text.push_str(before);
        if is_end(before.chars().last().or(text.chars().last())) && is_end(behind.chars().next()) {
            let names: Vec<String> = runs(archive)?.iter().map(ToString::to_string).collect();
            text.push_str(&format!("run:{}", names.join(",")));
        } else {
            text.push_str(WORD);
        }
        rest = behind;
    }
    text.push_str(rest);
    Ok(text)
}
