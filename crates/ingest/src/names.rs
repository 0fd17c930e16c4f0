//! What files are called in an archive.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::walk::{self, Root};

/// Whether a path is one of the archive's own files.
pub(crate) fn belongs_to(path: &Path, archive: &Path) -> bool {
    let name = path
        .file_name()
        .and_then(|name| name.to_str())
        .unwrap_or_default();
    // What is being written has its last name later.
    let name = name.strip_suffix(".new").unwrap_or(name);
    path.parent() == Some(archive) && curvary_archive::OWN.contains(&name)
}

/// What files are called in the archive.
///
/// The name must be the same each time the same file is added, wherever the command was given, and no two files may
/// share one. So it is the path from the folder that holds the archive, for files below it; for others the whole path,
/// which begins with `/` or a drive, so that it is told from one that does not.
pub(crate) struct FileNames {
    fronts: BTreeMap<PathBuf, Name>,
}

/// The beginning of the names of everything below one given path.
struct Name {
    front: String,
    is_file: bool,
}

impl FileNames {
    pub(crate) fn new(archive: &Path, roots: &[Root]) -> Self {
        let archive = Root::new(archive).real;
        let base = archive.parent();
        let front = |root: &Root| {
            let below = base.and_then(|base| root.real.strip_prefix(base).ok());
            Name {
                front: walk::slashed(below.unwrap_or(&root.real)),
                is_file: !root.real.is_dir(),
            }
        };
        let fronts = roots
            .iter()
            .map(|root| (root.real.clone(), front(root)))
            .collect();
        Self { fronts }
    }

    /// The name of what was met below a given path.
    pub(crate) fn of(&self, root: &Root, below: &str) -> String {
        match self.fronts.get(&root.real) {
            Some(Name { front, is_file: true }) => front.clone(),
            Some(Name { front, .. }) if !front.is_empty() => {
                let mut name = String::with_capacity(front.len() + 1 + below.len());
                name.push_str(front);
                name.push('/');
                name.push_str(below);
                name
            }
            _ => below.to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_the_same_wherever_the_command_is_given() {
        let here = std::env::current_dir().expect("a folder");
        let base = here.parent().expect("it has one").to_owned();
        let root = Root::new(&here);
        let names = FileNames::new(&base.join("archive"), std::slice::from_ref(&root));
        let own = here
            .file_name()
            .expect("it has one")
            .to_string_lossy()
            .into_owned();
        assert_eq!(names.of(&root, "a/b.txt"), format!("{own}/a/b.txt"));
        let far = FileNames::new(Path::new("/elsewhere/archive"), std::slice::from_ref(&root));
        assert_eq!(far.of(&root, "a.txt"), format!("{}/a.txt", walk::slashed(&here)));
    }

    #[test]
    fn the_archives_own_files_are_told_from_others() {
        let archive = Path::new("/data/archive");
        assert!(belongs_to(Path::new("/data/archive/records"), archive));
        assert!(!belongs_to(Path::new("/data/archive/exports"), archive));
        assert!(!belongs_to(Path::new("/data/records"), archive));
    }
}
