//! Where `convert` writes: a folder for all sources, or one file for one source.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use clap::ValueEnum;
use curvary_ingest::Root;
use curvary_record::{Code, Diagnostic};

use crate::ending::Failure;
use crate::output::{ExistingFile, Format};

/// Where what is converted goes.
pub(super) enum OutputPlace {
    /// Below a folder, under the paths that the sources have.
    Folder(OutputFolder),
    /// Into this file, of the one source there is.
    File { target: PathBuf, existing: ExistingFile },
}

impl OutputPlace {
    /// Opens the place that `--out` names; `roots` are what is converted.
    pub(super) fn open(out: &Path, to: Format, roots: &[Root], replace: bool) -> Result<Self, Failure> {
        if let Some(target) = one_file(out, to, roots)? {
            return Ok(Self::File {
                target,
                existing: ExistingFile::asked(replace),
            });
        }
        let below = apart(roots, &Root::new(out).real)?;
        fs::create_dir_all(out).map_err(|error| Failure::file("make the folder", out, &error))?;
        OutputFolder::open(&Root::new(out).real, below, replace).map(Self::Folder)
    }

    /// The folder, where it is one.
    pub(super) fn folder(&self) -> Option<&Path> {
        match self {
            Self::Folder(folder) => Some(&folder.out),
            Self::File { .. } => None,
        }
    }

    /// The file that a source is written to.
    pub(super) fn target(&self, path: &str, ending: &str) -> PathBuf {
        match self {
            Self::Folder(folder) => target(&folder.out, path, ending),
            Self::File { target, .. } => target.clone(),
        }
    }

    /// Whether a file that is at `target` may be replaced.
    pub(super) fn claim(&self, target: &Path) -> io::Result<ExistingFile> {
        match self {
            Self::Folder(folder) => folder.claim(target),
            Self::File { existing, .. } => {
                crate::output::may_be_written(target, *existing)?;
                Ok(*existing)
            }
        }
    }
}

/// The file that `--out` names, where its name ends as those of a format do and it is no folder.
fn one_file(out: &Path, to: Format, roots: &[Root]) -> Result<Option<PathBuf>, Failure> {
    let ends_as = |format: Format| out.extension().is_some_and(|own| format.is_ending(own));
    if !Format::value_variants().iter().any(|format| ends_as(*format)) || out.is_dir() {
        return Ok(None);
    }
    let refused = |message: String, help: String| {
        Failure::wrong(Diagnostic::error(Code::new("out-is-one-file"), message).help(help))
    };
    let name = out.display();
    let folder = out.with_extension("");
    let folder = folder.display();
    if !ends_as(to) {
        return Err(if to.is_one_file() {
            refused(
                format!("`{name}` is named as a file of another format than the one that is written"),
                format!(
                    "name it `{folder}.{}`, or a folder such as `{folder}`",
                    to.ending()
                ),
            )
        } else {
            refused(
                format!("`{name}` is named as one file, and what is written is a folder of several"),
                format!("name a folder: `--out {folder}`"),
            )
        });
    }
    if roots.len() != 1 || roots.iter().any(|root| root.real.is_dir()) {
        return Err(refused(
            format!(
                "`{name}` is named as one file, and more than one file may come of what is to be converted"
            ),
            format!("name a folder: `--out {folder}`"),
        ));
    }
    if roots.iter().any(|root| root.real == Root::new(out).real) {
        return Err(refused(
            format!("`{name}` is the file that is to be read"),
            "originals are never touched: name another file".to_owned(),
        ));
    }
    Ok(Some(out.to_owned()))
}

/// Refuses an output folder in which originals could be overwritten; says whether it lies below what is read.
pub(super) fn apart(roots: &[Root], out: &Path) -> Result<bool, Failure> {
    if let Some(root) = roots
        .iter()
        .find(|root| root.real.starts_with(out) && root.real.is_dir())
    {
        let message = format!(
            "the output folder `{}` holds what is read, `{}`",
            out.display(),
            root.real.display()
        );
        let why = Diagnostic::error(Code::new("out-overlaps"), message);
        return Err(Failure::wrong(why.help(
            "name a folder of its own with `--out`; originals are never touched",
        )));
    }
    Ok(roots.iter().any(|root| out.starts_with(&root.real)))
}

/// The file that lists what in an output folder is ours.
const MARK: &str = ".written-by-curvary";

/// An output folder, and the files in it that an earlier convert wrote and a later one may write again.
pub(super) struct OutputFolder {
    out: PathBuf,
    replace: bool,
    /// Their paths below the folder, and the file in which they are listed.
    listed: Mutex<(BTreeSet<String>, File)>,
}

impl OutputFolder {
    /// Opens a folder, which below the originals must hold only what we wrote.
    fn open(out: &Path, below: bool, replace: bool) -> Result<Self, Failure> {
        let mark = out.join(MARK);
        let fail = |error: io::Error| Failure::file("use", out, &error);
        if below && !mark.exists() && fs::read_dir(out).map_err(fail)?.next().is_some() {
            let message = format!(
                "the output folder `{}` holds files that curvary did not write",
                out.display()
            );
            let why = Diagnostic::error(Code::new("out-overlaps"), message);
            return Err(Failure::wrong(
                why.help("name a new folder with `--out`; originals are never touched"),
            ));
        }
        let listed = fs::read_to_string(&mark).unwrap_or_default();
        let mut file = File::options()
            .append(true)
            .create(true)
            .open(&mark)
            .map_err(fail)?;
        if listed.is_empty() {
            writeln!(
                file,
                "Files in this folder that curvary wrote and may write again:"
            )
            .map_err(fail)?;
        }
        let listed = listed.lines().map(str::to_owned).collect();
        Ok(Self {
            out: out.to_owned(),
            replace,
            listed: Mutex::new((listed, file)),
        })
    }

    /// Whether a file that is at `target` may be replaced; from now on it is ours if none is there.
    fn claim(&self, target: &Path) -> io::Result<ExistingFile> {
        let below = target.strip_prefix(&self.out).unwrap_or(target);
        let line = curvary_ingest::slashed(below);
        let mut listed = self.listed.lock().unwrap_or_else(PoisonError::into_inner);
        let (ours, file) = &mut *listed;
        if ours.contains(&line) {
            return Ok(ExistingFile::Replaced);
        }
        let existing = ExistingFile::asked(self.replace);
        crate::output::may_be_written(target, existing)?;
        // Listed before it is written, so that one that was cut short can be written again.
        file.write_all(format!("{line}\n").as_bytes())?;
        ours.insert(line);
        Ok(existing)
    }
}

/// `OUT/<relative path>.<ending>`; the members of a container go into a folder of its name.
fn target(out: &Path, path: &str, ending: &str) -> PathBuf {
    let mut target = out.to_owned();
    for part in path
        .split('/')
        .filter(|part| !part.is_empty() && *part != "." && *part != "..")
    {
        target.push(part);
    }
    // A file that has the ending already gets no second one, and cannot meet one that has none.
    let ended = target
        .extension()
        .is_some_and(|own| own.eq_ignore_ascii_case(ending));
    if ended {
        target.set_extension("");
    }
    let mut name = target.into_os_string();
    name.push(if ended { ".curvary." } else { "." });
    name.push(ending);
    name.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn targets_stay_below_the_output_folder() {
        let out = Path::new("/out");
        assert_eq!(target(out, "a/b.txt", "json"), Path::new("/out/a/b.txt.json"));
        assert_eq!(
            target(out, "../../b.zip!/../c.txt", "csv"),
            Path::new("/out/b.zip!/c.txt.csv")
        );
        assert_eq!(
            target(out, "leaf 1.CSV", "csv"),
            Path::new("/out/leaf 1.curvary.csv")
        );
    }

    #[test]
    fn output_may_not_hold_the_originals() {
        let here = std::env::current_dir().expect("a folder");
        let roots = [Root::new(&here)];
        assert!(apart(&roots, &here).is_err());
        assert!(apart(&roots, here.parent().expect("it has one")).is_err());
        assert_eq!(apart(&roots, &here.join("out")).ok(), Some(true));
        assert_eq!(apart(&roots, Path::new("/elsewhere")).ok(), Some(false));
    }
}
