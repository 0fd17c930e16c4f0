//! Which answers the records of the archive rest on: `answers.applied.jsonl`.
//!
//! A line of `answers.jsonl` holds from the moment it stands there, but runs that are stored follow it only when their files have been
//! read again. That takes a while and can be cut short; and people edit `answers.jsonl`, or put an older one back. What was in force when
//! files were last read is therefore kept beside it, line by line. Where the two differ, files are still to be read again.
//!
//! Both files are written by [`Writer`](crate::Writer) alone, under its lock and with answers that were read under it.

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use super::{Answer, StoredAnswers};
use crate::disk::Disk;
use crate::{Error, aside, lock};

/// The name of the file. It is made with the first answer; where there are answers and no such file, it is not known what is in force.
pub(crate) const NAME: &str = "answers.applied.jsonl";

/// Answers that files of the archive still have to be read again for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Unapplied {
    /// They hold, and some of the files that they are about were perhaps read before.
    pub given: Vec<Answer>,
    /// They hold no more, and some files perhaps rest on them.
    pub taken: Vec<Answer>,
    /// Nothing tells which answers files rest on, so that it may be any.
    pub is_unknown: bool,
    /// Why the file that tells it cannot be read, where it is there.
    pub unreadable: Option<String>,
    /// Whether the archive is only to be read by who asks, so that others have to read the files again.
    pub is_for_others: bool,
}

impl Unapplied {
    /// Whether everything rests on what holds.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.given.is_empty() && self.taken.is_empty() && !self.is_unknown
    }

    /// The line that stands for all answers where it is not known which are in force: one about every file.
    #[must_use]
    pub fn everything() -> Answer {
        Answer {
            everywhere: true,
            ..Answer::default()
        }
    }

    /// What is to be done, for people; nothing where everything rests on what holds.
    #[must_use]
    pub fn advice(&self) -> Option<String> {
        let rereading = match self.is_for_others {
            true => "whoever may write the archive runs `curvary reread` once, which",
            false => "`curvary reread`",
        };
        let what = match (self.given.len(), self.taken.len()) {
            _ if self.is_unknown => {
                return Some(format!(
                    "which answers the runs rest on is not known, since answers.applied.jsonl is not there, not whole or cannot be read: \
                     {rereading} reads every file with those that hold, except for those whose originals are lost, which `curvary verify` names"
                ));
            }
            (0, 0) => return None,
            (given, 0) => format!("{} given", counted(given)),
            (0, taken) => format!("{} taken back", counted(taken)),
            (given, taken) => format!("{} given and {} taken back", counted(given), counted(taken)),
        };
        Some(format!(
            "{what}, and not every file that this is about was read again since: {rereading} finishes it, except for files whose originals are \
             lost, which `curvary verify` names"
        ))
    }
}

fn counted(answers: usize) -> String {
    if answers == 1 {
        "1 answer or word was".to_owned()
    } else {
        format!("{answers} answers or words were")
    }
}

/// Lines by their names.
struct Named<'a>(HashMap<&'a str, Vec<&'a Answer>>);

impl<'a> Named<'a> {
    fn new(lines: impl Iterator<Item = &'a Answer>) -> Self {
        let mut all: HashMap<&str, Vec<&Answer>> = HashMap::new();
        for line in lines {
            all.entry(&line.id).or_default().push(line);
        }
        Self(all)
    }

    fn have(&self, line: &Answer) -> bool {
        let named = self.0.get(line.id.as_str());
        named.is_some_and(|own| own.iter().any(|own| own.says_as(line)))
    }
}

impl StoredAnswers {
    /// The answers that files still have to be read again for. Where what is kept of it cannot be read, it is not known.
    #[must_use]
    pub fn unapplied(&self) -> Unapplied {
        let path = self.path.with_file_name(NAME);
        let mut waiting = match read(&path) {
            KeptLines::Whole(before) => {
                let (held, holding) = (Named::new(before.iter()), Named::new(self.holding()));
                let given = self.holding().filter(|line| !held.have(line)).cloned();
                let taken = before.iter().filter(|line| !holding.have(line)).cloned();
                Unapplied {
                    given: given.collect(),
                    taken: taken.collect(),
                    ..Unapplied::default()
                }
            }
            KeptLines::Nowhere | KeptLines::Damaged if self.lines.is_empty() => Unapplied::default(),
            KeptLines::Nowhere | KeptLines::Damaged => Unapplied {
                is_unknown: true,
                ..Unapplied::default()
            },
            KeptLines::Unreadable(why) => Unapplied {
                is_unknown: true,
                unreadable: Some(why),
                ..Unapplied::default()
            },
        };
        let is_read_only = || path.parent().is_some_and(|root| !lock::may_be_taken(root));
        waiting.is_for_others = !waiting.is_empty() && is_read_only();
        waiting
    }

    /// Says that all files were read with these answers that one of those that were `waiting` is about. Where it was not known what
    /// files rest on, `is_done` is asked of [`Unapplied::everything`].
    pub(crate) fn applied(
        &self,
        waiting: &Unapplied,
        is_done: &dyn Fn(&Answer) -> bool,
        disk: &dyn Disk,
    ) -> Result<(), Error> {
        if waiting.is_unknown && !is_done(&Unapplied::everything()) {
            return Ok(());
        }
        let given = Named::new(waiting.given.iter());
        let still = waiting.taken.iter().filter(|line| !is_done(line));
        let in_force = self.holding().filter(|line| !given.have(line) || is_done(line));
        write(&self.path.with_file_name(NAME), still.chain(in_force), disk)
    }

    /// Keeps that nothing is in force, before the first line.
    pub(super) fn begin_applied(&self, disk: &dyn Disk) -> Result<(), Error> {
        let path = self.path.with_file_name(NAME);
        if !self.lines.is_empty() || path.exists() {
            return Ok(());
        }
        write(&path, std::iter::empty(), disk)
    }
}

/// Lets it not be known what the records rest on, until every file is read again; for who changes them by other means than a reading.
pub(crate) fn forget(root: &Path) -> Result<(), Error> {
    let path = root.join(NAME);
    make_room(&path)?;
    match fs::remove_file(&path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(Error::io("remove", &path)(error)),
        _ => Ok(()),
    }
}

/// What the file holds.
enum KeptLines {
    /// There is no file.
    Nowhere,
    /// What stands there cannot be read as a file: a folder, or a file of somebody else.
    Unreadable(String),
    /// Some of it cannot be understood: then nothing of it says what files rest on.
    Damaged,
    /// Its answers.
    Whole(Vec<Answer>),
}

fn read(path: &Path) -> KeptLines {
    let bytes = match fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return KeptLines::Nowhere,
        Err(error) => return KeptLines::Unreadable(Error::io("read", path)(error).to_string()),
    };
    let lines = bytes.split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
    let lines: Option<Vec<Answer>> = lines.map(|line| serde_json::from_slice(line).ok()).collect();
    lines.map_or(KeptLines::Damaged, KeptLines::Whole)
}

/// Moves a folder that stands in the place of the file into `aside/`: nothing that may be somebody's is deleted.
fn make_room(path: &Path) -> Result<(), Error> {
    match path.parent() {
        Some(root) if fs::symlink_metadata(path).is_ok_and(|found| found.is_dir()) => aside::put(root, path),
        _ => Ok(()),
    }
}

fn write<'a>(path: &Path, lines: impl Iterator<Item = &'a Answer>, disk: &dyn Disk) -> Result<(), Error> {
    let mut text = String::new();
    for line in lines {
        text.push_str(&super::text_of(line)?);
        text.push('\n');
    }
    if fs::read(path).is_ok_and(|there| there == text.as_bytes()) {
        return Ok(());
    }
    make_room(path)?;
    disk.replace(path, text.as_bytes())
        .map_err(Error::io("write", path))
}

#[cfg(test)]
mod tests {
    use curvary_record::Digest;

    use super::*;
    use crate::disk::RealDisk;

    fn line(text: &str) -> Answer {
        Answer {
            answer: text.to_owned(),
            only: vec![Digest::of(b"a")].into(),
            ..Answer::default()
        }
    }

    fn folder(name: &str) -> std::path::PathBuf {
        let folder = std::env::temp_dir().join(format!("curvary-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).expect("a folder");
        folder
    }

    fn append(mut answers: StoredAnswers, new: Vec<Answer>) -> Vec<String> {
        answers.append_on(&RealDisk, new).expect("it is written")
    }

    fn apply(answers: &StoredAnswers, is_done: &dyn Fn(&Answer) -> bool) {
        let waiting = answers.unapplied();
        answers.applied(&waiting, is_done, &RealDisk).expect("it is kept");
    }

    #[test]
    fn answers_wait_until_their_files_were_read() {
        let folder = folder("applied");
        let read = || StoredAnswers::read(&folder).expect("it is there");
        assert!(read().unapplied().is_empty());
        let names = append(read(), vec![line("x=time:s"), line("y=absorbance")]);
        // As after a kill behind the lines: another process sees both.
        let waiting = read().unapplied();
        assert_eq!((waiting.given.len(), waiting.taken.len()), (2, 0));
        apply(&read(), &|one| one.id == names[0]);
        assert_eq!(read().unapplied().given[0].id, names[1]);
        apply(&read(), &|_| true);
        assert!(read().unapplied().is_empty());
        assert_eq!(read().unapplied().advice(), None);
        // Who said it when is edited: no file would be read otherwise.
        let path = folder.join("answers.jsonl");
        let text = fs::read_to_string(&path).expect("it is there");
        fs::write(
            &path,
            text.replace("\"at\":\"2", "\"by\":\"somebody\",\"at\":\"3"),
        )
        .expect("it is edited");
        assert_eq!(read().lines()[0].by.as_deref(), Some("somebody"));
        assert!(read().unapplied().is_empty());
        // Taken back, and cut short.
        let undo = Answer {
            undo: Some(names[0].clone()),
            ..Answer::default()
        };
        append(read(), vec![undo]);
        let waiting = read().unapplied();
        assert_eq!(waiting.taken[0].answer, "x=time:s");
        let advice = waiting.advice().expect("something is to be done");
        assert!(advice.contains("1 answer or word was taken back"), "{advice}");
        apply(&read(), &|one| one.id == names[1]);
        assert_eq!(read().unapplied(), waiting);
        apply(&read(), &|one| one.id == names[0]);
        assert!(read().unapplied().is_empty());
        // A file that somebody put back, or edited.
        fs::write(&path, "").expect("it is emptied");
        assert_eq!(read().unapplied().taken.len(), 1);
        let _ = fs::remove_dir_all(&folder);
    }

    #[test]
    fn what_came_after_the_reading_is_not_in_force() {
        let folder = folder("later");
        let read = || StoredAnswers::read(&folder).expect("it is there");
        append(read(), vec![line("x=time:s")]);
        let (before, waiting) = (read(), read().unapplied());
        append(read(), vec![line("y=absorbance")]);
        before
            .applied(&waiting, &|_| true, &RealDisk)
            .expect("it is kept");
        let waiting = read().unapplied();
        assert_eq!((waiting.given.len(), waiting.taken.len()), (1, 0));
        assert_eq!(waiting.given[0].answer, "y=absorbance");
        let _ = fs::remove_dir_all(&folder);
    }

    #[test]
    fn where_it_is_not_known_every_file_is_to_be_read() {
        let folder = folder("unknown");
        let read = || StoredAnswers::read(&folder).expect("it is there");
        let names = append(read(), vec![line("x=time:s")]);
        apply(&read(), &|_| true);
        let path = folder.join(NAME);
        let whole = fs::read(&path).expect("it is there");
        let damages: [&dyn Fn(); 4] = [
            &|| fs::write(&path, b"{\"id\": \xff").expect("it is damaged"),
            &|| fs::write(&path, &whole[..whole.len() - 20]).expect("it is cut"),
            &|| fs::write(&path, [whole.as_slice(), b"x"].concat()).expect("one byte more"),
            &|| fs::remove_file(&path).expect("it is gone"),
        ];
        for (number, damage) in damages.iter().enumerate() {
            damage();
            apply(&read(), &|one| one.id == names[0]);
            let advice = read().unapplied().advice();
            let advice = advice.expect("something is to be done");
            assert!(advice.contains("is not known"), "{number}: {advice}");
            assert!(!advice.contains("given"), "{number}: {advice}");
            apply(&read(), &|one| one.everywhere);
            assert!(read().unapplied().is_empty());
            assert_eq!(fs::read(&path).expect("it is there"), whole);
        }
        // A folder in its place is nobody's to delete.
        fs::remove_file(&path).expect("it is gone");
        fs::create_dir_all(path.join("within")).expect("a folder");
        let waiting = read().unapplied();
        assert!(waiting.is_unknown && waiting.unreadable.is_some());
        apply(&read(), &|one| one.everywhere);
        assert!(read().unapplied().is_empty());
        assert_eq!(fs::read(&path).expect("it is there"), whole);
        let kept = fs::read_dir(folder.join("aside")).expect("a folder");
        let kept: Vec<_> = kept.flatten().map(|entry| entry.path()).collect();
        assert!(kept.len() == 1 && kept[0].join("within").is_dir(), "{kept:?}");
        // Who may only read the archive is told who can mend it.
        let lock = lock::Lock::path(&folder);
        fs::create_dir(&lock).expect("what cannot be opened for writing");
        fs::remove_file(&path).expect("it is gone");
        let advice = read().unapplied().advice().expect("something is to be done");
        assert!(
            advice.contains("whoever may write the archive runs `curvary reread` once"),
            "{advice}"
        );
        fs::remove_dir(&lock).expect("it goes");
        let advice = read().unapplied().advice().expect("something is to be done");
        assert!(!advice.contains("whoever"), "{advice}");
        apply(&read(), &|one| one.everywhere);
        // A line that a person gave no name is an answer like any other.
        fs::write(
            folder.join("answers.jsonl"),
            "{\"id\":\"\",\"answer\":\"y=absorbance\",\"everywhere\":true}\n",
        )
        .expect("it is written");
        let waiting = read().unapplied();
        assert_eq!((waiting.given.len(), waiting.is_unknown), (1, false));
        let _ = fs::remove_dir_all(&folder);
    }
}
