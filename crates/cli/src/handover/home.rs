//! The way back: answers, notes and results of a bundle into the archive that takes its originals.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Read};
use std::path::{Path, PathBuf};

use curvary_archive::{Answer, Archive, Note};
use curvary_formats::container;
use curvary_record::{Code, Diagnostic, Digest, RunId};
use serde::de::DeserializeOwned;

use super::bundle::Laboratory;
use super::tied::{RunLine, TiedRuns};
use crate::commands::note::replace;
use crate::drawing::NoTexts;
use crate::ending::Failure;
use crate::screen::{Screen, plural};

/// A bundle of ours, as a ZIP file or unpacked.
enum Bundle {
    Zip(Box<zip::ZipArchive<File>>, String),
    Folder(PathBuf),
}

impl Bundle {
    /// The bundle at a path; nothing where there is none.
    fn at(path: &Path) -> io::Result<Option<Self>> {
        if path.is_dir() {
            let info = fs::read_to_string(path.join("bag-info.txt")).unwrap_or_default();
            let ours = container::is_bag_of_ours(&info) && path.join("data/runs.jsonl").is_file();
            return Ok(ours.then(|| Self::Folder(path.to_owned())));
        }
        // Only a ZIP is opened whole, and only one that may be a bundle.
        let zipped = path
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("zip"));
        if !path.is_file() || !zipped {
            return Ok(None);
        }
        let bytes = fs::read(path)?;
        let Some(folder) = container::bundle(&bytes) else {
            // The first file of a bundle of ours; without the list at its end a ZIP was cut short.
            let first = bytes.get(..300).unwrap_or(&bytes);
            let begun =
                bytes.starts_with(b"PK\x03\x04") && first.windows(12).any(|name| name == b"bag-info.txt");
            if begun && zip::ZipArchive::new(io::Cursor::new(&bytes)).is_err() {
                return Err(io::Error::new(
                    io::ErrorKind::UnexpectedEof,
                    "a bundle that was cut short: fetch it again",
                ));
            }
            return Ok(None);
        };
        let zip = zip::ZipArchive::new(File::open(path)?).map_err(io::Error::other)?;
        Ok(Some(Self::Zip(Box::new(zip), folder)))
    }

    /// What a file of the bag holds, by its name below the folder of the bag; none where there is no such file.
    fn member(
        &mut self,
        name: &str,
        take: &mut dyn FnMut(&mut dyn Read) -> io::Result<()>,
    ) -> io::Result<bool> {
        match self {
            Self::Zip(zip, folder) => match zip.by_name(&format!("{folder}{name}")) {
                Ok(mut member) => take(&mut member).map(|()| true),
                Err(zip::result::ZipError::FileNotFound) => Ok(false),
                Err(error) => Err(io::Error::other(error)),
            },
            Self::Folder(folder) => match File::open(folder.join(name)) {
                Ok(mut file) => take(&mut file).map(|()| true),
                Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
                Err(error) => Err(error),
            },
        }
    }

    /// The names of all files of the payload.
    fn payload(&self) -> io::Result<Vec<String>> {
        match self {
            Self::Zip(zip, folder) => {
                let mut names = Vec::new();
                for name in zip.file_names() {
                    let name = name.map_err(io::Error::other)?;
                    let inside = name.strip_prefix(folder.as_str()).unwrap_or_default();
                    if inside.starts_with("data/") && !inside.ends_with('/') {
                        names.push(inside.to_owned());
                    }
                }
                Ok(names)
            }
            Self::Folder(folder) => {
                let mut names = Vec::new();
                super::bundle::walk(&folder.join("data"), "", &mut names)?;
                Ok(names.into_iter().map(|name| format!("data/{name}")).collect())
            }
        }
    }

    /// What is not as the manifest says, a few words for each file (RFC 8493: complete and valid).
    fn wrong(&mut self) -> io::Result<Vec<String>> {
        let mut manifest = String::new();
        let there = self.member("manifest-sha512.txt", &mut |file| {
            file.read_to_string(&mut manifest).map(|_| ())
        })?;
        if !there {
            return Ok(vec!["`manifest-sha512.txt` is missing".to_owned()]);
        }
        let mut listed = BTreeSet::new();
        let mut wrong = Vec::new();
        for line in manifest.lines().filter(|line| !line.trim().is_empty()) {
            let Some((digest, name)) = line.split_once(char::is_whitespace) else {
                wrong.push(format!("`{line}` of the manifest is no checksum with a name"));
                continue;
            };
            let name = name
                .trim_start()
                .replace("%0D", "\r")
                .replace("%0A", "\n")
                .replace("%25", "%");
            let mut found = String::new();
            let there = self.member(&name, &mut |file| {
                found = super::bundle::sha512_of(file)?.0;
                Ok(())
            });
            match there {
                Ok(true) if found.eq_ignore_ascii_case(digest) => {}
                Ok(true) => wrong.push(format!("`{name}` was changed")),
                Ok(false) => wrong.push(format!("`{name}` is missing")),
                Err(error) => wrong.push(format!("`{name}` cannot be read: {error}")),
            }
            listed.insert(name);
        }
        for name in self.payload()? {
            if !listed.contains(&name) {
                wrong.push(format!("`{name}` is in no manifest"));
            }
        }
        Ok(wrong)
    }

    /// Every line of a file in it; none where there is no such file.
    fn lines(&mut self, name: &str, take: &mut dyn FnMut(&str)) -> io::Result<()> {
        let mut each = |file: &mut dyn BufRead| {
            for line in file.lines() {
                take(&line?);
            }
            Ok(())
        };
        match self {
            Self::Zip(zip, folder) => match zip.by_name(&format!("{folder}data/{name}")) {
                Ok(member) => each(&mut BufReader::new(member)),
                Err(_) => Ok(()),
            },
            Self::Folder(folder) => match File::open(folder.join("data").join(name)) {
                Ok(file) => each(&mut BufReader::new(file)),
                Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
                Err(error) => Err(error),
            },
        }
    }

    /// What stands on the lines of a file; what cannot be read is told.
    fn records<T: DeserializeOwned>(
        &mut self,
        name: &str,
        wrong: &mut BTreeSet<String>,
    ) -> io::Result<Vec<T>> {
        let mut all = Vec::new();
        self.lines(name, &mut |line| match serde_json::from_str(line) {
            Ok(record) => all.push(record),
            Err(error) => {
                wrong.insert(format!("a line of `{name}` cannot be read: {error}"));
            }
        })?;
        Ok(all)
    }
}

fn unread<'p>(path: &'p Path) -> impl Fn(io::Error) -> Failure + 'p {
    move |error| Failure::file("read", path, &error)
}

fn report_wrong(path: &Path, wrong: BTreeSet<String>, screen: &mut Screen) {
    for why in wrong {
        let why = Diagnostic::warning(Code::new("bundle-not-taken-in"), why);
        screen.complain(Some(&path.display().to_string()), &why, &NoTexts);
    }
}

/// Whether a bundle stands at a path. One that is not as it was packed is refused: what changed on the way is nobody's word.
pub(crate) fn is_bundle(path: &Path) -> Result<bool, Failure> {
    let Some(mut bundle) = Bundle::at(path).map_err(unread(path))? else {
        return Ok(false);
    };
    let wrong = bundle.wrong().map_err(unread(path))?;
    if wrong.is_empty() {
        return Ok(true);
    }
    let more = wrong.len().saturating_sub(TOLD);
    let list = wrong
        .iter()
        .take(TOLD)
        .map(String::as_str)
        .collect::<Vec<_>>()
        .join(", ");
    let why = Diagnostic::error(
        Code::new("bundle-changed"),
        format!(
            "the bundle `{}` is not as it was packed, so nothing of it was added: {list}{}",
            path.display(),
            if more > 0 {
                format!(" and {more} more")
            } else {
                String::new()
            }
        ),
    );
    Err(Failure::wrong(why.help(
        "fetch it again; or unpack it and add the folder `data/originals` alone, as files of which nobody vouches for anything",
    )))
}

/// So many files that are not as they were packed are told one by one.
const TOLD: usize = 5;

/// Refuses a bundle without originals for an archive that is not there yet: its notes and results speak of files that only an archive
/// with the same originals has.
pub(crate) fn must_have_originals(path: &Path) -> Result<(), Failure> {
    let Some(bundle) = Bundle::at(path).map_err(unread(path))? else {
        return Ok(());
    };
    let names = bundle.payload().map_err(unread(path))?;
    if names.iter().any(|name| name.starts_with("data/originals/")) {
        return Ok(());
    }
    let why = Diagnostic::error(
        Code::new("bundle-without-originals"),
        format!(
            "the bundle `{}` has no originals, and no new archive can be made from it; its tables in `data/tables` can be read as they are",
            path.display()
        ),
    );
    Err(Failure::nothing(
        why.help("ask for a bundle that was packed with `--originals`"),
    ))
}

/// Takes the answers of a bundle into an archive, before the originals are read there; says how many were new.
pub(crate) fn take_answers(path: &Path, archive: &Archive, screen: &mut Screen) -> Result<(), Failure> {
    let Some(mut bundle) = Bundle::at(path).map_err(unread(path))? else {
        return Ok(());
    };
    let mut wrong = BTreeSet::new();
    let mut new: Vec<Answer> = bundle
        .records("answers.jsonl", &mut wrong)
        .map_err(unread(path))?;
    // They settle the originals of the bundle and nothing else, whatever they say: files of one's own are asked about.
    let mut originals: BTreeSet<Digest> = BTreeSet::new();
    bundle
        .lines("runs.jsonl", &mut |line| {
            if let Ok(line) = serde_json::from_str::<RunLine>(line) {
                originals.insert(line.run.source.digest);
            }
        })
        .map_err(unread(path))?;
    new.retain_mut(|answer| {
        answer.everywhere = false;
        if answer.only.is_empty() {
            answer.only = originals.iter().cloned().collect::<Vec<_>>().into();
            return true;
        }
        let own = answer.only.iter().filter(|digest| originals.contains(digest));
        answer.only = own.cloned().collect::<Vec<_>>().into();
        answer.family = None;
        answer.ways.clear();
        // One that names other files alone says nothing of these.
        !answer.only.is_empty()
    });
    if new.is_empty() {
        report_wrong(path, wrong, screen);
        return Ok(());
    }
    let writer = archive.write("curvary add")?;
    let mut answers = writer.answers()?;
    // One that was taken back here stays so: its line is there.
    let names: BTreeSet<&str> = answers.lines().iter().map(|line| line.id.as_str()).collect();
    new.retain(|answer| !names.contains(answer.id.as_str()));
    if !new.is_empty() {
        let count = writer.answer(&mut answers, new)?.len() as u64;
        screen.say(format_args!("{} of the bundle kept", plural(count, "answer")));
    }
    report_wrong(path, wrong, screen);
    Ok(())
}

/// Takes words, rules for names, saved sequences and layouts of a bundle into an archive that was begun for it: there they can
/// only be about the bundle's files. In an archive that has files of its own they would change how these are read, so that they are
/// told and left to people.
pub(crate) fn take_settings(
    path: &Path,
    archive: &Archive,
    new: bool,
    screen: &mut Screen,
) -> Result<bool, Failure> {
    let Some(mut bundle) = Bundle::at(path).map_err(unread(path))? else {
        return Ok(false);
    };
    let mut text = String::new();
    bundle
        .member("data/laboratory.toml", &mut |file| {
            file.read_to_string(&mut text).map(|_| ())
        })
        .map_err(unread(path))?;
    let theirs: Laboratory = toml_edit::de::from_str(&text).map_err(|error| {
        Failure::file(
            "read",
            &path.join("data/laboratory.toml"),
            &io::Error::other(error),
        )
    })?;
    let folder = archive.root().join("layouts");
    let mut layouts: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    for name in bundle.payload().map_err(unread(path))? {
        let Some(inside) = name.strip_prefix("data/layouts/").filter(|name| is_plain(name)) else {
            continue;
        };
        let mut bytes = Vec::new();
        bundle
            .member(&name, &mut |file| file.read_to_end(&mut bytes).map(|_| ()))
            .map_err(unread(path))?;
        let here = folder.join(inside);
        if fs::read(&here).ok().as_ref() != Some(&bytes) {
            layouts.push((here, bytes));
        }
    }
    let ours = Laboratory::of(archive);
    let missing = Laboratory {
        words: theirs
            .words
            .into_iter()
            .filter(|(word, field)| ours.words.get(word) != Some(field))
            .collect(),
        sequences: theirs
            .sequences
            .into_iter()
            .filter(|one| !ours.sequences.contains(one))
            .collect(),
        names: theirs
            .names
            .into_iter()
            .filter(|one| !ours.names.contains(one))
            .collect(),
    };
    let list: Vec<String> = [
        (missing.words.len(), "local word"),
        (missing.names.len(), "rule for names"),
        (missing.sequences.len(), "saved sequence"),
        (layouts.len(), "layout"),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, what)| match what {
        "rule for names" if count > 1 => format!("{count} rules for names"),
        what => plural(count as u64, what),
    })
    .collect();
    if list.is_empty() {
        return Ok(false);
    }
    let list = list.join(", ");
    if !new {
        screen.say(format_args!(
            "{list} of the bundle left alone, since this archive reads its own files by its own: they stand in `data/laboratory.toml` \
             and `data/layouts` of `{}`; added to a new archive, the bundle brings them along",
            path.display()
        ));
        return Ok(false);
    }
    let more = toml_edit::ser::to_string_pretty(&missing)
        .map_err(|error| Failure::file("read", path, &io::Error::other(error)))?;
    let settings = archive.root().join("archive.toml");
    let begun = fs::read_to_string(&settings).map_err(unread(&settings))?;
    replace(
        &settings,
        &format!("{begun}\n# Of the laboratory that a bundle comes from.\n{more}"),
    )?;
    for (here, bytes) in layouts {
        if let Some(folder) = here.parent() {
            fs::create_dir_all(folder).map_err(|error| Failure::file("write", &here, &error))?;
        }
        fs::write(&here, bytes).map_err(|error| Failure::file("write", &here, &error))?;
    }
    screen.say(format_args!("{list} of the bundle kept"));
    Ok(true)
}

/// Whether a name of a member leads to a place below a folder and nowhere else.
fn is_plain(name: &str) -> bool {
    name.ends_with(".toml")
        && !name.contains('\\')
        && Path::new(name)
            .components()
            .all(|part| matches!(part, std::path::Component::Normal(_)))
}

/// Takes notes and results of a bundle into an archive that has its runs; says how many were new, and which runs are not as
/// they were where the bundle comes from. What is no bundle is left alone.
pub(crate) fn take_in(path: &Path, root: &Path, screen: &mut Screen) -> Result<(), Failure> {
    let Some(mut bundle) = Bundle::at(path).map_err(unread(path))? else {
        return Ok(());
    };
    let mut wrong: BTreeSet<String> = BTreeSet::new();
    let mut notes: Vec<Note> = bundle.records("notes.jsonl", &mut wrong).map_err(unread(path))?;
    // Opened anew, since runs were added meanwhile.
    let archive = Archive::open(root)?;
    let mut tied = TiedRuns::default();
    each_run(&mut bundle, path, &mut wrong, |line| tied.see(&archive, line))?;
    let has_originals = bundle
        .payload()
        .map_err(unread(path))?
        .iter()
        .any(|name| name.starts_with("data/originals/"));
    if !tied.missing.is_empty() && has_originals {
        wrong.insert(format!(
            "{} of the bundle {} not in the archive now: the originals are read in another way here, or are not whole",
            plural(tied.missing.len() as u64, "run"),
            if tied.missing.len() == 1 { "is" } else { "are" }
        ));
    }
    if !tied.otherwise.is_empty() {
        wrong.insert(format!(
            "{} read otherwise here than where the bundle comes from, by local words, layouts or another version: {}",
            if tied.otherwise.len() == 1 { "1 run is".to_owned() } else { format!("{} runs are", tied.otherwise.len()) },
            some_of(&tied.otherwise),
        ));
    }
    let (results, apart) = tied.results();
    if apart > 0 {
        wrong.insert(format!(
            "{} of the bundle {} not kept, since the curves that {} of are not all here as they were",
            plural(apart, "result"),
            if apart == 1 { "was" } else { "were" },
            if apart == 1 { "it speaks" } else { "they speak" },
        ));
    }
    settle_notes(&mut bundle, path, &archive, &tied, &mut notes, &mut wrong)?;
    // Who says it is told apart from what is said here; a note that comes back to where it was written is the same note.
    let there: Vec<Note> = archive.notes()?.iter().map(unsigned).collect();
    notes.retain(|note| !there.contains(&unsigned(note)));
    let (mut new_notes, mut new_results) = (0, 0);
    if !notes.is_empty() || !results.is_empty() {
        let by = format!("whoever packed {}", name_of(path));
        let mut writer = archive.write("curvary add")?;
        for note in notes {
            let run = note.run.clone();
            let signed = Note {
                author: Some(note.author.clone().unwrap_or_else(|| by.clone())),
                ..note
            };
            match writer.note(signed) {
                Ok(()) => new_notes += 1,
                Err(error) => {
                    wrong.insert(format!("a note about run {run} was not kept: {error}"));
                }
            }
        }
        for result in results {
            let id = result.id.clone();
            match writer.put_outcome(result) {
                Ok(new) => new_results += u64::from(new),
                Err(error) => {
                    wrong.insert(format!("result {id} was not kept: {error}"));
                }
            }
        }
        writer.finish()?;
    }
    report_wrong(path, wrong, screen);
    if new_notes + new_results > 0 {
        screen.say(format_args!(
            "{} and {} of the bundle kept",
            plural(new_notes, "note"),
            plural(new_results, "result")
        ));
    }
    Ok(())
}

/// Every run of a bundle with what stands beside it; a line that cannot be read is told.
fn each_run(
    bundle: &mut Bundle,
    path: &Path,
    wrong: &mut BTreeSet<String>,
    mut take: impl FnMut(RunLine) -> Result<(), curvary_archive::Error>,
) -> Result<(), Failure> {
    let mut failed = None;
    bundle
        .lines("runs.jsonl", &mut |line| match serde_json::from_str(line) {
            Ok(line) if failed.is_none() => failed = take(line).err(),
            Ok(_) => {}
            Err(error) => {
                wrong.insert(format!("a line of `runs.jsonl` cannot be read: {error}"));
            }
        })
        .map_err(unread(path))?;
    failed.map_or(Ok(()), |error| Err(error.into()))
}

/// Gives notes on runs that are read otherwise here to the runs on the same lines of the source; where there is none, or more than
/// one, a note is told and not kept.
fn settle_notes(
    bundle: &mut Bundle,
    path: &Path,
    archive: &Archive,
    tied: &TiedRuns,
    notes: &mut Vec<Note>,
    wrong: &mut BTreeSet<String>,
) -> Result<(), Failure> {
    let doubted = |id: &RunId| tied.missing.contains(id) || tied.otherwise.contains(id);
    if !notes.iter().any(|note| doubted(&RunId::named(note.run.clone()))) {
        return Ok(());
    }
    let mut runs = Vec::new();
    each_run(bundle, path, wrong, |line| {
        if tied.is_troubled(&line.run) {
            runs.push(line.run);
        }
        Ok(())
    })?;
    let heirs = tied.heirs(archive, runs)?;
    notes.retain_mut(|note| match heirs.get(&RunId::named(note.run.clone())) {
        None => true,
        Some(Some(heir)) => {
            note.run = heir.as_str().to_owned();
            true
        }
        Some(None) => {
            wrong.insert(format!(
                "notes about run {} were not kept, since no run here stands on the same lines of the source",
                note.run
            ));
            false
        }
    });
    Ok(())
}

/// A note without the signature that it was given when a bundle was added.
fn unsigned(note: &Note) -> Note {
    let packed = note
        .author
        .as_deref()
        .is_some_and(|author| author.starts_with("whoever packed "));
    Note {
        author: note.author.clone().filter(|_| !packed),
        ..note.clone()
    }
}

/// The first names of a list.
fn some_of(runs: &BTreeSet<RunId>) -> String {
    let names: Vec<&str> = runs.iter().take(TOLD).map(RunId::as_str).collect();
    let more = if runs.len() > names.len() { ", …" } else { "" };
    format!("{}{more}", names.join(", "))
}

/// The last name of a path.
fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(
        || "the bundle".to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}
