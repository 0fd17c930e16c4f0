//! Files found under the paths that were given, in an order that depends on their names alone.

use std::ffi::OsStr;
use std::fs::{self, Metadata};
use std::io;
use std::path::{Component, Path, PathBuf};

use curvary_archive::Stat;
use curvary_formats::container;
use curvary_record::{Code, Diagnostic};
use rayon::prelude::*;
use walkdir::{DirEntry, WalkDir};

use crate::trouble::unusable;

/// A file that was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FoundFile {
    /// Where it is.
    pub place: PathBuf,
    /// Its path below the path that was given, with `/` between folders; its name when it was given itself.
    pub below: String,
    /// What the operating system says of it.
    pub stat: Stat,
}

/// A file, or something that should have been one.
#[derive(Debug)]
pub enum WalkEntry {
    /// A file.
    File(FoundFile),
    /// Something that cannot be read, and why.
    Trouble {
        /// Its path below the path that was given.
        below: String,
        /// Where it is.
        place: PathBuf,
        /// Why.
        why: Diagnostic,
    },
}

impl WalkEntry {
    /// Its path below the path that was given.
    #[must_use]
    pub fn below(&self) -> &str {
        match self {
            Self::File(found) => &found.below,
            Self::Trouble { below, .. } => below,
        }
    }
}

/// A file or folder that was given.
#[derive(Clone, Debug)]
pub struct Root {
    given: PathBuf,
    /// What it is called instead of its last name.
    called: Option<String>,
    /// The same without links and `..`, as far as it exists.
    pub real: PathBuf,
}

impl Root {
    /// The paths that were given, as they are on this disk.
    #[must_use]
    pub fn all(paths: &[PathBuf]) -> Vec<Self> {
        paths.iter().map(|path| Self::new(path)).collect()
    }

    /// The path as it was given.
    #[must_use]
    pub fn new(given: &Path) -> Self {
        let real = fs::canonicalize(given)
            .or_else(|_| std::path::absolute(given))
            .unwrap_or_else(|_| given.to_owned());
        Self {
            given: given.to_owned(),
            called: None,
            real,
        }
    }

    /// A path out of a list: it is told from all others by the whole of it.
    #[must_use]
    pub fn listed(given: &Path) -> Self {
        Self {
            called: Some(slashed(given)),
            ..Self::new(given)
        }
    }
}

/// Whether a file (`false`) or folder (`true`) below the given paths is left out; it is asked with the real path.
pub type LeaveOut<'a> = dyn Fn(&Path, bool) -> bool + Sync + 'a;

/// How many files are looked at together.
const TOGETHER: usize = 1024;

/// Walks the given paths and hands on what is found, each with the path it was found under, many at a time, until `each`
/// says `false`. Those of several paths come together: a list of files has one path for each.
///
/// Hidden files and folders are left out, and so is everything for which `leave_out` holds. Folders behind links are
/// not entered.
pub fn walk<'r>(
    roots: &'r [Root],
    leave_out: &LeaveOut<'_>,
    each: &mut dyn FnMut(Vec<(&'r Root, WalkEntry)>) -> bool,
) {
    let mut entries = Vec::with_capacity(TOGETHER);
    for root in roots {
        let hidden = |entry: &DirEntry| {
            entry.depth() > 0
                && (is_hidden(entry.file_name()) || leave_out(entry.path(), entry.file_type().is_dir()))
        };
        let tree = WalkDir::new(&root.real)
            .sort_by_file_name()
            .into_iter()
            .filter_entry(|entry| !hidden(entry));
        for entry in tree {
            if entry.as_ref().is_ok_and(|entry| entry.file_type().is_dir()) {
                continue;
            }
            entries.push((root, entry));
            if entries.len() == TOGETHER && !each(look(std::mem::take(&mut entries))) {
                return;
            }
        }
    }
    if !entries.is_empty() {
        each(look(entries));
    }
}

/// How many files [`walk`] will hand on, found as quickly as can be: no file is looked at.
#[must_use]
pub fn count(roots: &[Root], leave_out: &LeaveOut<'_>) -> u64 {
    let mut files = 0;
    for root in roots {
        let tree = WalkDir::new(&root.real).into_iter().filter_entry(|entry| {
            entry.depth() == 0
                || !(is_hidden(entry.file_name()) || leave_out(entry.path(), entry.file_type().is_dir()))
        });
        files += tree
            .filter(|entry| entry.as_ref().is_ok_and(|entry| !entry.file_type().is_dir()))
            .count() as u64;
    }
    files
}

/// A folder that is an archive of curvary: its originals were read before they came there.
#[must_use]
pub fn is_archive(path: &Path) -> bool {
    path.join("archive.toml").is_file() && path.join("manifest.json").is_file()
}

/// What stands in an unpacked bundle of curvary beside the originals, from which it was written.
#[must_use]
pub fn is_beside_originals(path: &Path) -> bool {
    let of_ours = |bundle: &Path| {
        bundle.join("data/runs.jsonl").is_file()
            && fs::read_to_string(bundle.join("bag-info.txt"))
                .is_ok_and(|info| container::is_bag_of_ours(&info))
    };
    let Some(parent) = path.parent() else { return false };
    if parent.file_name() == Some(OsStr::new("data")) {
        return path.file_name() != Some(OsStr::new("originals")) && parent.parent().is_some_and(of_ours);
    }
    // What costs nothing is asked first: this is asked of every file.
    path.extension().is_some_and(|ending| ending == "txt") && of_ours(parent) && path.is_file()
}

fn look(entries: Vec<(&Root, walkdir::Result<DirEntry>)>) -> Vec<(&Root, WalkEntry)> {
    entries
        .into_par_iter()
        .with_min_len(64)
        .map(|(root, entry)| (root, met(root, entry)))
        .collect()
}

fn met(root: &Root, entry: walkdir::Result<DirEntry>) -> WalkEntry {
    let entry = match entry {
        Ok(entry) => entry,
        Err(error) => {
            let path = error.path().unwrap_or(&root.real).to_owned();
            let below = below(root, &path);
            let error = error
                .into_io_error()
                .unwrap_or_else(|| io::Error::other("the folders run in a circle"));
            // A given path that is not there is named as it was given.
            let named = if path == root.real {
                root.given.display().to_string()
            } else {
                below.clone()
            };
            return WalkEntry::Trouble {
                why: unusable("read", &named, &error),
                place: path,
                below,
            };
        }
    };
    let below = below(root, entry.path());
    let metadata = if entry.path_is_symlink() {
        fs::metadata(entry.path())
    } else {
        entry.metadata().map_err(Into::into)
    };
    match metadata {
        Ok(metadata) if metadata.is_file() => WalkEntry::File(FoundFile {
            place: entry.into_path(),
            below,
            stat: Stat::of(&metadata),
        }),
        Ok(metadata) => WalkEntry::Trouble {
            why: no_file(&below, &metadata),
            place: entry.into_path(),
            below,
        },
        Err(error) => WalkEntry::Trouble {
            why: unusable("read", &below, &error),
            place: entry.into_path(),
            below,
        },
    }
}

/// Reading from a device or a named pipe could wait for ever, and a linked folder could be walked for ever.
fn no_file(below: &str, metadata: &Metadata) -> Diagnostic {
    let (what, help) = if metadata.is_dir() {
        (
            "a link to a folder",
            "give the folder itself to read what is in it",
        )
    } else {
        ("neither a file nor a folder", "copy what it holds into a file")
    };
    Diagnostic::warning(
        Code::new("no-file"),
        format!("`{below}` is {what} and was not read"),
    )
    .help(help)
}

fn is_hidden(name: &OsStr) -> bool {
    name.as_encoded_bytes().first() == Some(&b'.')
}

fn below(root: &Root, path: &Path) -> String {
    match path.strip_prefix(&root.real) {
        Ok(rest) if !rest.as_os_str().is_empty() => match &root.called {
            Some(called) => format!("{called}/{}", slashed(rest)),
            None => slashed(rest),
        },
        _ if root.called.is_some() => root.called.clone().unwrap_or_default(),
        _ => root.real.file_name().map_or_else(|| slashed(path), spelled),
    }
}

/// A path with `/` between its parts, without `.`; a whole path begins with `/` or with its drive.
///
/// Two paths never share a text: see [`container::spelled`].
#[must_use]
pub fn slashed(path: &Path) -> String {
    let mut text = String::new();
    for part in path.components() {
        let part = match part {
            Component::Normal(part) => spelled(part),
            Component::ParentDir => "..".into(),
            Component::Prefix(prefix) => spelled(prefix.as_os_str()).replace('\\', "/").replace('?', ""),
            Component::RootDir => {
                text.push('/');
                continue;
            }
            Component::CurDir => continue,
        };
        if !text.is_empty() && !text.ends_with('/') {
            text.push('/');
        }
        text.push_str(&part);
    }
    text
}

/// A file's name as text, as members of containers are spelled: no two names share a text.
#[must_use]
pub fn spelled(name: &OsStr) -> String {
    container::spelled(name.as_encoded_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder that goes away at the end of a test.
    struct Folder(PathBuf);
    impl Folder {
        fn new(name: &str) -> Self {
            let path = std::env::temp_dir().join(format!("curvary-walk-{name}-{}", std::process::id()));
            fs::create_dir_all(&path).expect("a folder");
            Self(fs::canonicalize(path).expect("it is there"))
        }
        fn file(&self, name: &str) {
            let path = self.0.join(name);
            fs::create_dir_all(path.parent().expect("it has one")).expect("a folder");
            fs::write(path, name).expect("a file");
        }
    }
    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    fn names(given: &[&Path], leave_out: &LeaveOut<'_>) -> Vec<String> {
        let roots: Vec<Root> = given.iter().map(|path| Root::new(path)).collect();
        let mut names = Vec::new();
        walk(&roots, leave_out, &mut |met| {
            names.extend(met.iter().map(|(_, met)| met.below().to_owned()));
            true
        });
        assert_eq!(count(&roots, leave_out), names.len() as u64);
        names
    }

    #[test]
    fn files_come_by_name_without_hidden_ones_and_what_is_left_out() {
        let folder = Folder::new("order");
        for name in [
            "b.txt",
            "a/2.txt",
            "a/10.txt",
            ".hidden",
            ".git/x",
            "archive/archive.toml",
            "c",
        ] {
            folder.file(name);
        }
        let archive = folder.0.join("archive");
        let found = names(&[&folder.0], &|path, _| path == archive);
        assert_eq!(found, ["a/10.txt", "a/2.txt", "b.txt", "c"]);
        assert_eq!(names(&[&folder.0.join("a/2.txt")], &|_, _| false), ["2.txt"]);
    }

    #[cfg(unix)]
    #[test]
    fn no_two_names_share_a_text() {
        use std::os::unix::ffi::OsStrExt;
        let names: [&[u8]; 8] = [
            b"a\xE9.csv",
            b"a\xE8.csv",
            b"a\\xE9.csv",
            b"a\\x5CxE9.csv",
            b"a\\xe9.csv",
            b"a\\\xE9.csv",
            "aé.csv".as_bytes(),
            "a\u{fffd}.csv".as_bytes(),
        ];
        let texts: Vec<String> = names
            .iter()
            .map(|name| spelled(OsStr::from_bytes(name)))
            .collect();
        assert_eq!(texts[..3], ["a\\xE9.csv", "a\\xE8.csv", "a\\x5CxE9.csv"]);
        let different: std::collections::BTreeSet<&String> = texts.iter().collect();
        assert_eq!(different.len(), names.len(), "{texts:?}");
        assert_eq!(slashed(Path::new("/b/./c")), "/b/c");
        assert_eq!(slashed(Path::new("b/../c")), "b/../c");
    }

    #[test]
    fn what_is_missing_is_told() {
        let mut troubles = Vec::new();
        let roots = [Root::new(Path::new("/no/such/folder"))];
        walk(&roots, &|_, _| false, &mut |met| {
            troubles.extend(met.into_iter().map(|(_, met)| met));
            true
        });
        assert!(
            matches!(&troubles[..], [WalkEntry::Trouble { why, .. }] if why.message.contains("`/no/such/folder`")),
            "{troubles:?}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_to_files_alone() {
        let folder = Folder::new("links");
        folder.file("deep/a.txt");
        std::os::unix::fs::symlink(&folder.0, folder.0.join("deep/round")).expect("a link");
        std::os::unix::fs::symlink(folder.0.join("deep/a.txt"), folder.0.join("link.txt")).expect("a link");
        let mut all = Vec::new();
        let roots = [Root::new(&folder.0)];
        walk(&roots, &|_, _| false, &mut |met| {
            all.extend(met.into_iter().map(|(_, met)| met));
            true
        });
        let files = all.iter().filter(|met| matches!(met, WalkEntry::File(_))).count();
        assert_eq!((files, all.len()), (2, 3), "{all:?}");
    }
}
