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
use crate::Error;
use crate::disk::Disk;

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
}

impl Unapplied {
    /// Whether everything rests on what holds.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.given.is_empty() && self.taken.is_empty() && !self.is_unknown
    }

    /// What is to be done, for people; nothing where everything rests on what holds.
    #[must_use]
    pub fn advice(&self) -> Option<String> {
        let what = match (self.given.len(), self.taken.len()) {
            _ if self.is_unknown => {
                return Some(
                    "which answers the runs rest on is not known, since answers.applied.jsonl is not there or not whole: `curvary reread` \
                     reads every file with those that hold, except for those whose originals are lost, which `curvary verify` names"
                        .to_owned(),
                );
            }
            (0, 0) => return None,
            (given, 0) => format!("{} given", counted(given)),
            (0, taken) => format!("{} taken back", counted(taken)),
            (given, taken) => format!("{} given and {} taken back", counted(given), counted(taken)),
        };
        Some(format!(
            "{what}, and not every file that this is about was read again since: `curvary reread` finishes it, except for files whose originals are \
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
    /// The answers that files still have to be read again for.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn unapplied(&self) -> Result<Unapplied, Error> {
        let before = match read(&self.path.with_file_name(NAME))? {
            Some(before) => before,
            None if self.lines.is_empty() => return Ok(Unapplied::default()),
            None => {
                return Ok(Unapplied {
                    is_unknown: true,
                    ..Unapplied::default()
                });
            }
        };
        let (held, holding) = (Named::new(before.iter()), Named::new(self.holding()));
        Ok(Unapplied {
            given: self.holding().filter(|line| !held.have(line)).cloned().collect(),
            taken: before
                .iter()
                .filter(|line| !holding.have(line))
                .cloned()
                .collect(),
            is_unknown: false,
        })
    }

    /// Says that all files were read with these answers that one of those that were `waiting` is about. Where it was not known what
    /// files rest on, `is_done` is asked of a line that is about every file.
    pub(crate) fn applied(
        &self,
        waiting: &Unapplied,
        is_done: &dyn Fn(&Answer) -> bool,
        disk: &dyn Disk,
    ) -> Result<(), Error> {
        let everything = Answer {
            everywhere: true,
            ..Answer::default()
        };
        if waiting.is_unknown && !is_done(&everything) {
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
    match fs::remove_file(&path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(Error::io("remove", &path)(error)),
        _ => Ok(()),
    }
}

/// The answers of the file. None where there is no file, and where some of it cannot be understood: then nothing of it says what files
/// rest on.
fn read(path: &Path) -> Result<Option<Vec<Answer>>, Error> {
    let bytes = match fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(Error::io("read", path)(error)),
    };
    let lines = bytes.split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
    Ok(lines.map(|line| serde_json::from_slice(line).ok()).collect())
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
            only: vec![Digest::of(b"a")],
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
        let waiting = answers.unapplied().expect("it is told");
        answers.applied(&waiting, is_done, &RealDisk).expect("it is kept");
    }

    #[test]
    fn answers_wait_until_their_files_were_read() {
        let folder = folder("applied");
        let read = || StoredAnswers::read(&folder).expect("it is there");
        assert!(read().unapplied().expect("it is told").is_empty());
        let names = append(read(), vec![line("x=time:s"), line("y=absorbance")]);
        // As after a kill behind the lines: another process sees both.
        let waiting = read().unapplied().expect("it is told");
        assert_eq!((waiting.given.len(), waiting.taken.len()), (2, 0));
        apply(&read(), &|one| one.id == names[0]);
        assert_eq!(read().unapplied().expect("it is told").given[0].id, names[1]);
        apply(&read(), &|_| true);
        assert!(read().unapplied().expect("it is told").is_empty());
        assert_eq!(read().unapplied().expect("it is told").advice(), None);
        // Who said it when is edited: no file would be read otherwise.
        let path = folder.join("answers.jsonl");
        let text = fs::read_to_string(&path).expect("it is there");
        fs::write(
            &path,
            text.replace("\"at\":\"2", "\"by\":\"somebody\",\"at\":\"3"),
        )
        .expect("it is edited");
        assert_eq!(read().lines()[0].by.as_deref(), Some("somebody"));
        assert!(read().unapplied().expect("it is told").is_empty());
        // Taken back, and cut short.
        let undo = Answer {
            undo: Some(names[0].clone()),
            ..Answer::default()
        };
        append(read(), vec![undo]);
        let waiting = read().unapplied().expect("it is told");
        assert_eq!(waiting.taken[0].answer, "x=time:s");
        let advice = waiting.advice().expect("something is to be done");
        assert!(advice.contains("1 answer or word was taken back"), "{advice}");
        apply(&read(), &|one| one.id == names[1]);
        assert_eq!(read().unapplied().expect("it is told"), waiting);
        apply(&read(), &|one| one.id == names[0]);
        assert!(read().unapplied().expect("it is told").is_empty());
        // A file that somebody put back, or edited.
        fs::write(&path, "").expect("it is emptied");
        assert_eq!(read().unapplied().expect("it is told").taken.len(), 1);
        let _ = fs::remove_dir_all(&folder);
    }

    #[test]
    fn what_came_after_the_reading_is_not_in_force() {
        let folder = folder("later");
        let read = || StoredAnswers::read(&folder).expect("it is there");
        append(read(), vec![line("x=time:s")]);
        let (before, waiting) = (read(), read().unapplied().expect("it is told"));
        append(read(), vec![line("y=absorbance")]);
        before
            .applied(&waiting, &|_| true, &RealDisk)
            .expect("it is kept");
        let waiting = read().unapplied().expect("it is told");
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
            let advice = read().unapplied().expect("it is told").advice();
            let advice = advice.expect("something is to be done");
            assert!(advice.contains("is not known"), "{number}: {advice}");
            assert!(!advice.contains("given"), "{number}: {advice}");
            apply(&read(), &|one| one.everywhere);
            assert!(read().unapplied().expect("it is told").is_empty());
            assert_eq!(fs::read(&path).expect("it is there"), whole);
        }
        // A line that a person gave no name is an answer like any other.
        fs::write(
            folder.join("answers.jsonl"),
            "{\"id\":\"\",\"answer\":\"y=absorbance\",\"everywhere\":true}\n",
        )
        .expect("it is written");
        let waiting = read().unapplied().expect("it is told");
        assert_eq!((waiting.given.len(), waiting.is_unknown), (1, false));
        let _ = fs::remove_dir_all(&folder);
    }
}
