//! Runs the commands of the prose in `tests/cases/*.md`, of the README and of the guides in `docs`, and compares their output with what stands
//! there. `UPDATE=1` writes what they really say into the files.
//!
//! A block begins with three backticks and `console`; a line that begins with `$ ` is a command, the lines below it are
//! what it says on both streams, and `[exit 3]` tells an exit status other than 0. All commands of a file run one after another
//! in one fresh folder, in which `demo-data` lies. A block that begins with three backticks, a language and `file=NAME`
//! is written into that file. `day.md` finds the fifty files of `curvary_tests::day` in `exports` and has a terminal of 80 columns
//! and `CURVARY_ARCHIVE=lab`. `$CURVARY_SOURCE` is the repository. What changes from machine to machine is written as `[DIR]`,
//! `[VERSION]`, `[TIME]` and `[RATE]`. A line `…` stands for any number of lines.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use curvary_tests::{copy_folder, program, root};
use libtest_mimic::{Arguments, Failed, Trial};
use regex::Regex;

fn main() {
    let arguments = Arguments::from_args();
    let mut files: Vec<PathBuf> = fs::read_dir(root().join("tests/cases"))
        .expect("tests/cases is there")
        .map(|entry| entry.expect("it can be listed").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "md"))
        .collect();
    files.push(root().join("README.md"));
    files.extend(guides(&root().join("docs")));
    files.sort();
    let trial = |path: PathBuf| {
        let name = path.strip_prefix(root()).unwrap_or(&path).display().to_string();
        Trial::test(name, move || case(&path))
    };
    libtest_mimic::run(&arguments, files.into_iter().map(trial).collect()).exit();
}

/// The guides of a folder and of those in it that have commands.
fn guides(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("the guides are there") {
        let path = entry.expect("it can be listed").path();
        if path.is_dir() {
            found.extend(guides(&path));
        } else if path.extension().is_some_and(|ending| ending == "md") {
            let text = fs::read_to_string(&path).expect("it can be read");
            if text.lines().any(|line| line == "```console") {
                found.push(path);
            }
        }
    }
    found
}

fn case(path: &Path) -> Result<(), Failed> {
    let text = fs::read_to_string(path)?;
    let folder = tempfile::tempdir()?;
    // The day has fifty files of its own, and a terminal of eighty columns.
    let is_day = path.file_name().is_some_and(|name| name == "day.md");
    let around: &[(&str, &str)] = if is_day {
        for (name, bytes) in curvary_tests::day::files() {
            let path = folder.path().join("exports").join(name);
            fs::create_dir_all(path.parent().expect("it lies in a folder"))?;
            fs::write(path, bytes)?;
        }
        &[("CURVARY_ARCHIVE", "lab"), ("COLUMNS", "80")]
    } else {
        &[]
    };
    let new = play(&text, folder.path(), around)?;
    if agrees(&text, &new) {
        return Ok(());
    }
    if std::env::var_os("UPDATE").is_some() {
        fs::write(path, keep_ellipses(&text, &new))?;
        return Ok(());
    }
    Err(format!(
        "{} does not say what the commands say; now they say:\n{new}",
        path.display()
    )
    .into())
}

/// The text with the real output of every command.
fn play(text: &str, folder: &Path, around: &[(&str, &str)]) -> Result<String, Failed> {
    let folder = fs::canonicalize(folder)?;
    copy_folder(&root().join("demo-data"), &folder.join("demo-data"));
    let mut new = String::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        let _ = writeln!(new, "{line}");
        if let Some((_, name)) = line
            .strip_prefix("```")
            .and_then(|line| line.split_once(" file="))
        {
            let body: Vec<&str> = lines
                .by_ref()
                .take_while(|line| line.trim_end() != "```")
                .collect();
            let body = body.iter().map(|line| format!("{line}\n")).collect::<String>();
            let path = folder.join(name.trim());
            fs::create_dir_all(path.parent().expect("it lies in the folder"))?;
            fs::write(path, &body)?;
            let _ = writeln!(new, "{body}```");
            continue;
        }
        if line.trim_end() != "```console" {
            continue;
        }
        for line in lines.by_ref() {
            if line.trim_end() == "```" {
                let _ = writeln!(new, "{line}");
                break;
            }
            if let Some(command) = line.strip_prefix("$ ") {
                let _ = write!(new, "{line}\n{}", answer(command, &folder, around)?);
            }
        }
    }
    Ok(new)
}

fn answer(command: &str, folder: &Path, around: &[(&str, &str)]) -> Result<String, Failed> {
    let beside = program().parent().expect("it lies in a folder");
    let mut path = vec![beside.to_owned()];
    path.extend(std::env::split_paths(
        &std::env::var_os("PATH").unwrap_or_default(),
    ));
    let output = Command::new("sh")
        .args(["-c", &format!("{{ {command}\n}} 2>&1")])
        .current_dir(folder)
        .env("PATH", std::env::join_paths(path)?)
        .env_remove("CURVARY_ARCHIVE")
        .env_remove("CURVARY_AUTHOR")
        .env_remove("COLUMNS")
        .env("XDG_CONFIG_HOME", folder.join(".settings"))
        .env("XDG_CACHE_HOME", folder.join(".settings/cache"))
        .env("CURVARY_SOURCE", root())
        .envs(around.iter().copied())
        .env("NO_COLOR", "1")
        .output()?;
    let mut text = filtered(&String::from_utf8_lossy(&output.stdout), folder);
    if !text.is_empty() && !text.ends_with('\n') {
        text.push('\n');
    }
    match output.status.code() {
        Some(0) => {}
        Some(status) => {
            let _ = writeln!(text, "[exit {status}]");
        }
        None => text.push_str("[killed]\n"),
    }
    Ok(text)
}

/// What changes from machine to machine and from day to day has a name instead.
fn filtered(text: &str, folder: &Path) -> String {
    let mut text = text.replace(&folder.display().to_string(), "[DIR]");
    let inside = folder.display().to_string();
    text = text.replace(inside.trim_start_matches('/'), "[DIR]");
    let filters = [
        (r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", "[TIME]"),
        (r"curvary \d+\.\d+\.\d+", "curvary [VERSION]"),
        (r"\d+ MB/s", "[RATE]"),
    ];
    for (pattern, name) in filters {
        text = Regex::new(pattern)
            .expect("a sound pattern")
            .replace_all(&text, name)
            .into_owned();
    }
    text.lines()
        .map(|line| format!("{}\n", line.trim_end()))
        .collect()
}

/// Whether the text is as it should be; a line `…` stands for any number of lines.
fn agrees(wanted: &str, found: &str) -> bool {
    let found: Vec<&str> = found.lines().collect();
    let mut at = 0;
    let mut skipping = false;
    for line in wanted.lines() {
        if line == "…" {
            skipping = true;
            continue;
        }
        if skipping {
            match found[at..].iter().position(|other| *other == line) {
                Some(next) => at += next + 1,
                None => return false,
            }
            skipping = false;
        } else if found.get(at) == Some(&line) {
            at += 1;
        } else {
            return false;
        }
    }
    skipping || at == found.len()
}

/// The new text, with the old output of every command that still holds, so that `…` is not lost by an update.
fn keep_ellipses(old: &str, new: &str) -> String {
    let parts = |text: &str| -> Vec<String> {
        let mut parts = vec![String::new()];
        for line in text.lines() {
            if line.starts_with("$ ") || line.starts_with("```") {
                parts.push(String::new());
            }
            let last = parts.last_mut().expect("there is one");
            last.push_str(line);
            last.push('\n');
        }
        parts
    };
    let (old, new) = (parts(old), parts(new));
    if old.len() != new.len() {
        return new.concat();
    }
    old.into_iter()
        .zip(new)
        .map(|(old, new)| if agrees(&old, &new) { old } else { new })
        .collect()
}
