//! Which answers the records of the archive rest on: `answers.applied.jsonl`.
//!
//! A line of `answers.jsonl` holds from the moment it stands there, but runs that are stored follow it only when their files have been
//! read again. That takes a while and can be cut short; and people edit `answers.jsonl`, or put an older one back. What was in force when
//! files were last read is therefore kept beside it, line by line. Where the two differ, files are still to be read again.

use std::fs;
use std::path::Path;

use super::{Answer, StoredAnswers};
use crate::Error;
use crate::disk::{Disk, RealDisk};

/// The name of the file. It is made with the first answer; an archive without it is taken to rest on the answers that hold.
const NAME: &str = "answers.applied.jsonl";

/// Answers that files of the archive still have to be read again for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Unapplied {
    /// They hold, and some of the files that they are about were perhaps read before.
    pub given: Vec<Answer>,
    /// They hold no more, and some files perhaps rest on them.
    pub taken: Vec<Answer>,
}

impl Unapplied {
    /// Whether everything rests on what holds.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.given.is_empty() && self.taken.is_empty()
    }

    /// What is to be done, for people; nothing where everything rests on what holds.
    #[must_use]
    pub fn advice(&self) -> Option<String> {
        let given = self.given.len();
        let taken = self.taken.iter().filter(|line| !line.id.is_empty()).count();
        let what = match (given, taken) {
            _ if self.is_empty() => return None,
            (0, 0) => "which answers the runs rest on is not known".to_owned(),
            (given, 0) => format!("{} given", counted(given)),
            (0, taken) => format!("{} taken back", counted(taken)),
            (given, taken) => format!("{} given and {} taken back", counted(given), counted(taken)),
        };
        Some(format!(
            "{what}, and not every file that this is about was read again since: `curvary reread` finishes it"
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

impl StoredAnswers {
    /// The answers that files still have to be read again for.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn unapplied(&self) -> Result<Unapplied, Error> {
        let Some(before) = read(&self.path.with_file_name(NAME))? else {
            return Ok(Unapplied::default());
        };
        let holding: Vec<&Answer> = self.holding().collect();
        let given = holding.iter().filter(|line| !before.contains(line));
        Ok(Unapplied {
            given: given.copied().cloned().collect(),
            taken: before
                .iter()
                .filter(|line| !holding.contains(line))
                .cloned()
                .collect(),
        })
    }

    /// Says that all files were read again that one of these answers, of [`unapplied`](Self::unapplied), is about.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn applied(&self, is_done: &dyn Fn(&Answer) -> bool) -> Result<(), Error> {
        let path = self.path.with_file_name(NAME);
        let waiting = self.unapplied()?;
        // As long as it is not known what runs rest on, nothing is said of it.
        let is_unknown = |line: &Answer| line.id.is_empty();
        let still: Vec<&Answer> = waiting.taken.iter().filter(|line| !is_done(line)).collect();
        let changes = waiting.given.iter().chain(&waiting.taken).any(is_done);
        if !changes || still.iter().any(|line| is_unknown(line)) {
            return Ok(());
        }
        let in_force = self
            .holding()
            .filter(|line| !waiting.given.contains(line) || is_done(line));
        write(&path, still.iter().copied().chain(in_force), &RealDisk)
    }

    /// Keeps what is in force now, before the first line that changes it.
    pub(super) fn begin_applied(&self, disk: &dyn Disk) -> Result<(), Error> {
        let path = self.path.with_file_name(NAME);
        if path.exists() {
            return Ok(());
        }
        write(&path, self.holding(), disk)
    }
}

/// The answers of the file; none where there is no file. Of one that cannot be read it is not known what is in force: then a line
/// without a name stands for it, which is about every file.
fn read(path: &Path) -> Result<Option<Vec<Answer>>, Error> {
    let bytes = match fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(Error::io("read", path)(error)),
    };
    let lines = bytes.split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
    let all = lines
        .map(|line| serde_json::from_slice(line).ok())
        .collect::<Option<Vec<Answer>>>();
    Ok(Some(all.unwrap_or_else(|| {
        vec![Answer {
            everywhere: true,
            ..Answer::default()
        }]
    })))
}

fn write<'a>(path: &Path, lines: impl Iterator<Item = &'a Answer>, disk: &dyn Disk) -> Result<(), Error> {
    let mut text = String::new();
    for line in lines {
        text.push_str(&super::text_of(line)?);
        text.push('\n');
    }
    disk.replace(path, text.as_bytes())
        .map_err(Error::io("write", path))
}

#[cfg(test)]
mod tests {
    use curvary_record::Digest;

    use super::*;

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

    #[test]
    fn answers_wait_until_their_files_were_read() {
        let folder = folder("applied");
        let read = || StoredAnswers::read(&folder).expect("it is there");
        assert!(read().unapplied().expect("it is told").is_empty());
        let names = read()
            .append(vec![line("x=time:s"), line("y=absorbance")])
            .expect("it is written");
        // As after a kill behind the lines: another process sees both.
        let waiting = read().unapplied().expect("it is told");
        assert_eq!((waiting.given.len(), waiting.taken.len()), (2, 0));
        read().applied(&|one| one.id == names[0]).expect("it is kept");
        assert_eq!(read().unapplied().expect("it is told").given[0].id, names[1]);
        read().applied(&|_| true).expect("it is kept");
        assert!(read().unapplied().expect("it is told").is_empty());
        assert_eq!(read().unapplied().expect("it is told").advice(), None);
        // Taken back, and cut short.
        let undo = Answer {
            undo: Some(names[0].clone()),
            ..Answer::default()
        };
        read().append(vec![undo]).expect("it is written");
        let waiting = read().unapplied().expect("it is told");
        assert_eq!(waiting.taken[0].answer, "x=time:s");
        let advice = waiting.advice().expect("something is to be done");
        assert!(advice.contains("1 answer or word was taken back"), "{advice}");
        read()
            .applied(&|one| one.id == names[1])
            .expect("another is in force");
        assert_eq!(read().unapplied().expect("it is told"), waiting);
        read().applied(&|one| one.id == names[0]).expect("it is kept");
        assert!(read().unapplied().expect("it is told").is_empty());
        // A file that somebody put back, or edited.
        fs::write(folder.join("answers.jsonl"), "").expect("it is emptied");
        assert_eq!(read().unapplied().expect("it is told").taken.len(), 1);
        let _ = fs::remove_dir_all(&folder);
    }

    #[test]
    fn where_it_is_not_known_every_file_is_to_be_read() {
        let folder = folder("unknown");
        let read = || StoredAnswers::read(&folder).expect("it is there");
        let names = read().append(vec![line("x=time:s")]).expect("it is written");
        fs::write(folder.join(NAME), b"{\"id\": \xff").expect("it is damaged");
        read()
            .applied(&|one| one.id == names[0])
            .expect("nothing is said");
        let waiting = read().unapplied().expect("it is told");
        assert!(waiting.taken[0].everywhere && waiting.advice().is_some());
        read().applied(&|_| true).expect("it is kept");
        assert!(read().unapplied().expect("it is told").is_empty());
        let _ = fs::remove_dir_all(&folder);
    }
}
