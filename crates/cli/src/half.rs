//! Names of files and folders that are being written: they tell by which process, so that what a killed one left is known again.
//!
//! `a.csv` begins as `a.csv.curvary-4711-0123456789ab.part`: the number of the process, and where that number is its own, which is one
//! start of one machine, and there one group of processes that are numbered together. Only with all of these the same is it
//! certain that a process is gone whose number nobody has. The folder in which a bundle is made is called alike, with
//! `.making0` at the end.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{LazyLock, Mutex, MutexGuard, OnceLock, PoisonError};

use curvary_record::Digest;

use crate::screen::Screen;

/// What all such names have before the number of the process.
const MARK: &str = ".curvary-";
/// What names of files end with.
const END: &str = ".part";
/// What names of folders end with, before a number.
const MAKING: &str = ".making";
/// How many letters tell where numbers of processes are their own.
const LETTERS: usize = 12;

/// Where the numbers of processes are their own; none where the system does not tell, and then nobody is known to be gone.
fn place() -> Option<&'static str> {
    static PLACE: OnceLock<Option<String>> = OnceLock::new();
    let told = || {
        // Where other processes are hidden, or are numbered otherwise than this one, none is seen to be gone.
        let own = fs::read_link("/proc/self").ok()?;
        if own.to_str() != Some(std::process::id().to_string().as_str()) || !Path::new("/proc/1").exists() {
            return None;
        }
        let machine = fs::read_to_string("/etc/machine-id").ok()?;
        let start = fs::read_to_string("/proc/sys/kernel/random/boot_id").ok()?;
        let numbered = fs::read_link("/proc/self/ns/pid").ok()?;
        let text = format!("{machine}\n{start}\n{}", numbered.display());
        let digest = Digest::of(text.as_bytes());
        let letters = digest.as_str().trim_start_matches("sha256:");
        letters.get(..LETTERS).map(str::to_owned)
    };
    PLACE.get_or_init(told).as_deref()
}

/// What is put behind the name of a file while this process writes it.
pub(crate) fn ending() -> String {
    match place() {
        Some(place) => format!("{MARK}{}-{place}{END}", std::process::id()),
        None => END.to_owned(),
    }
}

/// What is put behind the name of a bundle for the folder in which this process makes it.
pub(crate) fn folder_ending(number: u32) -> String {
    match place() {
        Some(place) => format!("{MARK}{}-{place}{MAKING}{number}", std::process::id()),
        None => format!("{MAKING}{number}"),
    }
}

/// Who writes a file, or wrote it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum PartWriter {
    /// A process of this program that is at work.
    AtWork,
    /// A process of this program that is gone.
    Gone,
    /// A process of this program on another machine, or before this one was started.
    Elsewhere,
}

/// Whose a file of such a name is; none where the name is no such name.
fn writer_of(name: &str) -> Option<PartWriter> {
    writer_of_stem(name.strip_suffix(END)?)
}

/// The name of a folder in which a bundle is or was made, without its ending.
fn stem_of_folder(name: &str) -> Option<&str> {
    let (stem, number) = name.rsplit_once(MAKING)?;
    let is_number = !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit());
    is_number.then_some(stem)
}

fn writer_of_stem(stem: &str) -> Option<PartWriter> {
    let (target, told) = stem.rsplit_once(MARK)?;
    let (process, where_numbered) = told.split_once('-')?;
    let is_of_ours = !target.is_empty()
        && where_numbered.len() == LETTERS
        && where_numbered.bytes().all(|byte| byte.is_ascii_hexdigit());
    let process: u32 = process.parse().ok().filter(|_| is_of_ours)?;
    Some(match place() {
        Some(place) if place == where_numbered => {
            match Path::new("/proc").join(process.to_string()).exists() {
                true => PartWriter::AtWork,
                false => PartWriter::Gone,
            }
        }
        _ => PartWriter::Elsewhere,
    })
}

/// What commands that were cut short left half written where this one writes.
#[derive(Default)]
struct Halves {
    /// The folders that were looked through.
    folders: BTreeSet<PathBuf>,
    /// What processes of this program left that are gone, and is removed.
    removed: BTreeSet<PathBuf>,
    /// What may be somebody's: of another machine, or only named so.
    left: BTreeSet<PathBuf>,
}

static HALVES: LazyLock<Mutex<Halves>> = LazyLock::new(Mutex::default);

fn halves() -> MutexGuard<'static, Halves> {
    HALVES.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Halves {
    /// Removes from a folder, once a command, what surely nobody will complete.
    fn clear(&mut self, folder: &Path) {
        if !self.folders.insert(folder.to_owned()) {
            return;
        }
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let path = entry.path();
            let name = entry.file_name();
            let name = name.to_str().unwrap_or_default();
            // A link is neither.
            let kind = entry.file_type();
            let is_file = kind.as_ref().is_ok_and(fs::FileType::is_file);
            let is_folder = kind.is_ok_and(|kind| kind.is_dir());
            let writer = match stem_of_folder(name) {
                Some(stem) if is_folder => writer_of_stem(stem),
                _ if is_file => writer_of(name),
                _ => None,
            };
            match writer {
                Some(PartWriter::Gone) => {
                    // Somebody may have put things of their own into a folder, however deep: it is named and stays.
                    let removed = is_file && fs::remove_file(&path).is_ok();
                    let list = if removed {
                        &mut self.removed
                    } else {
                        &mut self.left
                    };
                    list.insert(path);
                }
                Some(PartWriter::Elsewhere) => {
                    self.left.insert(path);
                }
                _ => {}
            }
        }
    }
}

/// Looks for halves in a folder in which a file is to be written, once a command, and for one named as an older program named it.
pub(crate) fn look_beside(folder: &Path, named_so: PathBuf) {
    let mut halves = halves();
    halves.clear(folder);
    if fs::symlink_metadata(&named_so).is_ok() {
        halves.left.insert(named_so);
    }
}

/// The same where a folder is to be made beside a bundle, and for those that an older program made for it.
pub(crate) fn look_beside_folder(target: &Path) {
    let folder = match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut halves = halves();
    halves.clear(folder);
    let Some(bundle) = target.file_name().and_then(|name| name.to_str()) else {
        return;
    };
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        let name = entry.file_name();
        if is_folder && name.to_str().and_then(stem_of_folder) == Some(bundle) {
            halves.left.insert(entry.path());
        }
    }
}

/// Tells what commands that were cut short left half written where something was written just now. It was removed where its name tells
/// that the process is gone that wrote it, and stays else.
pub(crate) fn report_left(screen: &mut Screen) {
    let Halves { removed, left, .. } = std::mem::take(&mut *halves());
    let named = |paths: &mut dyn Iterator<Item = &PathBuf>| {
        let names: Vec<String> = paths.map(|path| path.display().to_string()).collect();
        names.join(", ")
    };
    if !removed.is_empty() {
        screen.say(format_args!(
            "half written by a command that was cut short, and removed: {}",
            named(&mut removed.iter())
        ));
    }
    // Another command may have ended meanwhile.
    let left = named(&mut left.iter().filter(|path| path.exists()));
    if !left.is_empty() {
        screen.say(format_args!(
            "half written by a command that was cut short, or by one that is still at work: {left}; delete it when none is"
        ));
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use super::*;
    use crate::output::{self, ExistingFile};

    #[test]
    fn a_name_tells_whose_a_file_is() {
        for name in [
            "a.csv",
            "a.csv.part",
            "a.csv.part2",
            "curvary-4711-0123456789ab.part",
            ".curvary-4711-0123456789ab.part",
            "a.csv.curvary-4711-0123456789.part",
            "a.csv.curvary-me-0123456789ab.part",
            "a.csv.curvary-4711-0123456789ag.part",
            "a.csv.curvary-4711-0123456789ab.part.txt",
        ] {
            assert_eq!(writer_of(name), None, "{name}");
        }
        assert_eq!(
            writer_of("a.csv.curvary-4711-0123456789ab.part"),
            Some(PartWriter::Elsewhere)
        );
        let Some(place) = place() else { return };
        assert_eq!(writer_of(&format!("a.csv{}", ending())), Some(PartWriter::AtWork));
        // A process that has ended.
        let mut child = std::process::Command::new("true").spawn().expect("it starts");
        let gone = child.id();
        child.wait().expect("it ends");
        let name = format!("a.csv{MARK}{gone}-{place}{END}");
        assert_eq!(writer_of(&name), Some(PartWriter::Gone));
    }

    #[test]
    fn halves_of_processes_that_are_gone_are_removed_and_no_other_file() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut child = std::process::Command::new("true").spawn().expect("it starts");
        child.wait().expect("it ends");
        let own = ending();
        let gone = own.replace(&format!("-{}-", std::process::id()), &format!("-{}-", child.id()));
        let is_told = own != ".part";
        let abandoned = format!("z.csv{gone}");
        let at_work = format!("y.csv{own}");
        let elsewhere = "x.csv.curvary-1-0123456789ab.part";
        for name in [
            "a.csv.part",
            "b.csv",
            "b.csv.part",
            "c.zip",
            abandoned.as_str(),
            at_work.as_str(),
            elsewhere,
        ] {
            fs::write(folder.path().join(name), "x").expect("a file");
        }
        // A folder of such a name is nobody's half.
        fs::create_dir(folder.path().join(format!("w.csv{gone}"))).expect("a folder");
        // In such ones bundles were made, and somebody may have put things of their own into them: all stay.
        let folders = [
            (format!("b.zip{}0", gone.replace(END, MAKING)), "data"),
            (format!("c.zip{}1", gone.replace(END, MAKING)), "mine"),
            (format!("d.zip{}0", own.replace(END, MAKING)), "data"),
            ("e.zip.curvary-1-0123456789ab.making0".to_owned(), "data"),
            ("f.zip.making0".to_owned(), "data"),
            (format!("b.zip{}x", gone.replace(END, MAKING)), "data"),
        ];
        for (name, within) in &folders {
            fs::create_dir_all(folder.path().join(name).join(within)).expect("a folder");
        }
        look_beside_folder(&folder.path().join("f.zip"));
        for (name, _) in &folders {
            assert!(folder.path().join(name).is_dir(), "{name}");
        }
        let write = |name: &str| {
            let target = folder.path().join(name);
            output::write(&target, ExistingFile::Replaced, |file| file.write_all(b"1"))
                .expect("it is written");
        };
        write("a.csv");
        write("c.zip");
        let here = |paths: &BTreeSet<PathBuf>| -> Vec<PathBuf> {
            let own = paths.iter().filter(|path| path.starts_with(folder.path()));
            own.cloned().collect()
        };
        let halves = super::halves();
        let named = |names: &[&str]| -> BTreeSet<PathBuf> {
            names.iter().map(|name| folder.path().join(name)).collect()
        };
        let mut left = named(&["a.csv.part", elsewhere, "f.zip.making0", folders[3].0.as_str()]);
        if is_told {
            left.extend(folders[..2].iter().map(|(name, _)| folder.path().join(name)));
        }
        assert_eq!(here(&halves.left), Vec::from_iter(left.clone()));
        assert!(left.iter().all(|path| path.exists()));
        let other = ["b.csv.part", at_work.as_str()];
        assert!(other.iter().all(|name| folder.path().join(name).is_file()));
        assert!(folder.path().join(format!("w.csv{gone}")).is_dir());
        if is_told {
            let removed = named(&[abandoned.as_str()]);
            assert_eq!(here(&halves.removed), Vec::from_iter(removed));
            assert!(!folder.path().join(&abandoned).exists());
        }
    }
}
