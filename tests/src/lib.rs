//! Black-box tests over the built program and the corpus.
//!
//! The tests know the program by its command line alone. This library finds the program, runs it, and makes the data
//! of the demonstration.

#![allow(clippy::expect_used)]

pub mod day;
pub mod laboratory;
pub mod truth;
pub mod ways;

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// The repository's root.
///
/// # Panics
/// When the tests do not stand where they should.
#[must_use]
pub fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.parent()
        .expect("tests/ lies in the repository's root")
        .to_owned()
}

/// The built program, which is built now unless it is fresh. `$CURVARY_BIN` names another one.
///
/// # Panics
/// When it cannot be built.
#[must_use]
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        if let Some(named) = std::env::var_os("CURVARY_BIN") {
            return named.into();
        }
        // target/<profile>/deps/<this test>
        let own = std::env::current_exe().expect("a test knows where it is");
        let folder = own
            .parent()
            .and_then(Path::parent)
            .expect("tests lie in target/<profile>/deps");
        let profile = match folder.file_name().and_then(OsStr::to_str) {
            Some("debug") | None => "dev",
            Some(profile) => profile,
        };
        let target = folder.parent().expect("profiles lie in target");
        let mut build = Command::new(env!("CARGO"));
        // As a test of the whole workspace, so that the dependencies that the tests were built with serve it too.
        build.args(["test", "--quiet", "--workspace", "--no-run", "--test", "version"]);
        build.args(["--profile", if profile == "dev" { "test" } else { profile }]);
        build.current_dir(root()).env("CARGO_TARGET_DIR", target);
        assert!(
            build.status().expect("cargo runs").success(),
            "the program does not build"
        );
        folder.join(format!("curvary{}", std::env::consts::EXE_SUFFIX))
    })
}

/// A call of the program in a folder, without anything of the caller's surroundings that changes its answers.
#[must_use]
pub fn call(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(program());
    command.args(arguments).current_dir(folder);
    command
        .env_remove("CURVARY_ARCHIVE")
        .env_remove("CURVARY_AUTHOR")
        .env_remove("NO_COLOR")
        .env_remove("COLUMNS")
        .env("XDG_CACHE_HOME", settings(folder).join("cache"));
    // Plugins that a person has allowed are none of a test's.
    command.env("XDG_CONFIG_HOME", settings(folder));
    command.env_remove("CLICOLOR_FORCE");
    command
}

/// The folder in which the program keeps the settings of a person, for calls in `folder`.
#[must_use]
pub fn settings(folder: &Path) -> PathBuf {
    std::path::absolute(folder)
        .unwrap_or_else(|_| folder.to_owned())
        .join(".settings")
}

/// Runs the program in a folder.
///
/// # Panics
/// When it cannot be started.
#[must_use]
pub fn run(folder: &Path, arguments: &[&str]) -> Output {
    call(folder, arguments).output().expect("the program starts")
}

/// The exit status of a run; `None` when it was killed.
#[must_use]
pub fn status(output: &Output) -> Option<i32> {
    output.status.code()
}

/// What a run wrote to standard output, as JSON.
///
/// # Panics
/// When it is none.
#[must_use]
pub fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| {
        panic!(
            "no JSON: {error}\nstdout: {}\nstderr: {}",
            String::from_utf8_lossy(&output.stdout),
            String::from_utf8_lossy(&output.stderr)
        )
    })
}

/// What a run wrote to standard error.
#[must_use]
pub fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// What a run wrote to both streams, standard output first.
#[must_use]
pub fn both_streams(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &stderr(output)
}

/// Copies a folder with all that is in it.
///
/// # Panics
/// When it cannot be read or written.
pub fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder") {
        let path = entry.expect("an entry").path();
        let target = to.join(path.file_name().expect("a name"));
        if path.is_dir() {
            copy_folder(&path, &target);
        } else {
            fs::copy(&path, &target).expect("a copy");
        }
    }
}
