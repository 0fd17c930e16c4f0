//! Plugins as their users meet them: built, allowed, read with; and whatever a plugin can do wrong.
//!
//! The plugins of `plugins/` are built here with the C compiler and with cargo, each into a folder of its own.
#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use curvary_tests::{call, json, root, run, settings, status, stderr};
use tempfile::TempDir;

/// A laboratory's folder with a plugin in it.
struct Bench {
    folder: TempDir,
}

const LIBRARY: &str = if cfg!(target_os = "macos") { "dylib" } else { "so" };

impl Bench {
    /// A folder with a copy of `plugins/NAME`, its library compiled with these options.
    fn c(name: &str, options: &[&str]) -> Self {
        let bench = Self::empty();
        bench.copy(name);
        let source = root().join(format!("plugins/{name}/{name}.c"));
        bench.compile(name, &source, &root().join("plugins/include"), options);
        bench
    }

    fn empty() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        fs::create_dir_all(folder.path().join("in")).expect("a folder");
        fs::create_dir_all(folder.path().join("tmp")).expect("a folder");
        Self { folder }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn copy(&self, name: &str) {
        let (from, to) = (root().join("plugins").join(name), self.path().join(name));
        fs::create_dir_all(to.join("examples")).expect("a folder");
        fs::copy(from.join("plugin.toml"), to.join("plugin.toml")).expect("a copy");
        for example in fs::read_dir(from.join("examples")).into_iter().flatten() {
            let example = example.expect("an example");
            fs::copy(example.path(), to.join("examples").join(example.file_name())).expect("a copy");
        }
    }

    fn library(&self, name: &str) -> PathBuf {
        self.path().join(name).join(format!("lib{name}.{LIBRARY}"))
    }

    fn compile(&self, name: &str, source: &Path, include: &Path, options: &[&str]) {
        let output = Command::new("cc")
            .args([
                "-std=c99", "-O1", "-Wall", "-Wextra", "-Werror", "-fPIC", "-shared", "-pthread",
            ])
            .arg(format!("-I{}", include.display()))
            .args(options)
            .arg("-o")
            .arg(self.library(name))
            .arg(source)
            .output()
            .expect("a C compiler is there");
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
    }

    fn write(&self, name: &str, text: impl AsRef<[u8]>) {
        fs::write(self.path().join("in").join(name), text).expect("a file");
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let mut command = call(self.path(), arguments);
        command.env("TMPDIR", self.path().join("tmp"));
        command.output().expect("the program starts")
    }

    fn allow(&self, name: &str) {
        let output = self.run(&["readers", "allow", name]);
        assert_eq!(status(&output), Some(0), "{}", stderr(&output));
    }

    /// What became of each file of `in`: its verdict, its points, and the codes of its remarks.
    fn convert(&self, more: &[&str]) -> (BTreeMap<String, Fate>, Output) {
        let report = self.path().join("report.jsonl");
        let out = self.path().join("out");
        let _ = fs::remove_dir_all(&out);
        let mut arguments = vec![
            "convert",
            "in",
            "--to",
            "json",
            "--out",
            "out",
            "--report",
            "report.jsonl",
        ];
        arguments.extend(more);
        let output = self.run(&arguments);
        let text = fs::read_to_string(&report).unwrap_or_default();
        let _ = fs::remove_file(&report);
        let fates = text.lines().map(|line| {
            let line: serde_json::Value = serde_json::from_str(line).expect("a line of JSON");
            let name = line["path"]
                .as_str()
                .expect("a path")
                .rsplit('/')
                .next()
                .unwrap_or("")
                .to_owned();
            let remarks = line["remarks"].as_array().cloned().unwrap_or_default();
            let fate = Fate {
                verdict: line["verdict"].as_str().unwrap_or("").to_owned(),
                points: line["points"].as_u64().unwrap_or(0),
                reader: line["reader"].as_str().unwrap_or("").to_owned(),
                codes: remarks
                    .iter()
                    .map(|one| one["code"].as_str().unwrap_or("").to_owned())
                    .collect(),
                text: line["remarks"].to_string(),
            };
            (name, fate)
        });
        (fates.collect(), output)
    }

    /// Nothing that a plugin started is left, neither a process nor a folder.
    fn is_clean(&self) {
        let tmp = fs::canonicalize(self.path().join("tmp")).expect("a folder");
        let left: Vec<_> = fs::read_dir(&tmp).expect("a folder").collect();
        assert!(left.is_empty(), "{left:?}");
        // A process that is gone has no folder to work in; one that nobody waited for is still listed.
        let deadline = Instant::now() + Duration::from_secs(5);
        loop {
            let processes: Vec<PathBuf> = fs::read_dir("/proc")
                .into_iter()
                .flatten()
                .filter_map(|entry| Some(entry.ok()?.path()))
                .filter(|path| {
                    let works_in = fs::read_link(path.join("cwd"));
                    works_in.is_ok_and(|folder| folder.starts_with(&tmp))
                })
                .collect();
            if processes.is_empty() {
                return;
            }
            assert!(Instant::now() < deadline, "{processes:?} go on");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

#[derive(Debug)]
struct Fate {
    verdict: String,
    points: u64,
    reader: String,
    codes: Vec<String>,
    text: String,
}

impl Fate {
    fn has(&self, code: &str) -> bool {
        self.codes.iter().any(|own| own == code)
    }
}

fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

const GOOD: &str = "MISBEHAVE\nnot at all\n";
const COURSE: &str = "time (s),absorbance\n0,0.9000\n10,0.8123\n20,0.7331\n30,0.6617\n";

#[test]
fn the_header_is_c99_and_has_the_sizes_of_its_twin() {
    let folder = tempfile::tempdir().expect("a folder");
    for (language, standard) in [("c", "-std=c99"), ("c++", "-std=c++11")] {
        let output = Command::new("cc")
            .args([
                "-x",
                language,
                standard,
                "-Wall",
                "-Wextra",
                "-pedantic",
                "-Werror",
                "-c",
            ])
            .arg(format!("-I{}", root().join("plugins/include").display()))
            .arg(root().join("crates/plugin-abi/tests/layout.c"))
            .arg("-o")
            .arg(folder.path().join("layout.o"))
            .output()
            .expect("a C compiler is there");
        assert!(output.status.success(), "{language}: {}", stderr(&output));
    }
}

/// The helpers for cutting texts are C99 and C++11 as the contract is, and do what they say.
#[test]
fn the_helpers_for_texts_compile_and_cut() {
    let folder = tempfile::tempdir().expect("a folder");
    let source = folder.path().join("cuts.c");
    let text = r#"
#include "curvary_text.h"

int main(void) {
    curvary_source source;
    curvary_text rest, part;
    source.body = rest = curvary_word("a=1;b=2;;c");
    part = curvary_cut(&rest, ";");
    if (!curvary_is(part, "a=1") || !curvary_take(&part, "a=") || !curvary_is(part, "1")) return 1;
    if (curvary_place(&source, part).start != 2 || curvary_place(&source, part).end != 3) return 2;
    if (!curvary_is(curvary_cut(&rest, ";"), "b=2") || !curvary_is(curvary_cut(&rest, ";"), "")) return 3;
    if (curvary_begins(rest, "cd") || curvary_take(&rest, "d") || !curvary_is(curvary_cut(&rest, ";"), "c")) return 4;
    if (rest.len != 0 || curvary_cut(&rest, ";").len != 0 || curvary_no_text().len != 0) return 5;
    return curvary_nowhere().start == curvary_nowhere().end ? 0 : 6;
}
"#;
    fs::write(&source, text).expect("a file");
    for (language, standard) in [("c", "-std=c99"), ("c++", "-std=c++11")] {
        let program = folder.path().join(format!("cuts-{language}"));
        let output = Command::new("cc")
            .args([
                "-x",
                language,
                standard,
                "-Wall",
                "-Wextra",
                "-pedantic",
                "-Werror",
            ])
            .arg(format!("-I{}", root().join("plugins/include").display()))
            .arg(&source)
            .arg("-o")
            .arg(&program)
            .output()
            .expect("a C compiler is there");
        assert!(output.status.success(), "{language}: {}", stderr(&output));
        let status = Command::new(&program).status().expect("it starts");
        assert_eq!(status.code(), Some(0), "{language}");
    }
}

#[test]
fn a_plugin_in_c_reads_its_form_and_is_an_equal() {
    let bench = Bench::c("pegboard", &["-pedantic"]);
    let example = fs::read(bench.path().join("pegboard/examples/two-boards.peg")).expect("an example");
    bench.write("a.peg", &example);
    bench.write("b.csv", COURSE);
    // Before it is allowed, nobody knows the form.
    let (fates, _) = bench.convert(&[]);
    assert_eq!(fates["a.peg"].verdict, "refused", "{fates:?}");
    bench.allow("pegboard");
    let (fates, output) = bench.convert(&[]);
    assert_eq!(status(&output), Some(0), "{}", stderr(&output));
    assert_eq!(
        (fates["a.peg"].verdict.as_str(), fates["a.peg"].points),
        ("read", 12)
    );
    assert_eq!(fates["a.peg"].reader, "plugin/pegboard");
    assert_eq!(fates["b.csv"].verdict, "read");
    let document = fs::read_to_string(bench.path().join("out/in/a.peg.json"))
        .or_else(|_| fs::read_to_string(bench.path().join("out/a.peg.json")))
        .expect("a document");
    let document: serde_json::Value = serde_json::from_str(&document).expect("JSON");
    let run = &document["runs"][0];
    assert_eq!(run["fields"]["temperature"]["value"], 37.0, "{run}");
    assert_eq!(run["fields"]["temperature"]["unit"], "Cel");
    assert_eq!(run["fields"]["temperature"]["origin"]["line"], 4);
    let trace = &run["traces"][0];
    assert_eq!(
        trace["y"]["values"],
        serde_json::json!([0.12, 0.1311, 0.1502, 0.178, 0.205, 0.221])
    );
    assert_eq!(trace["y"]["decimals"], serde_json::json!([[4, 6]]));
    // Three points a line, on lines 6 and 7.
    assert_eq!(trace["lines"], serde_json::json!([[6, 0, 3], [7, 0, 3]]));
    let listed = json(&bench.run(&["readers", "list", "--json"]));
    let ids: Vec<&str> = listed
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|one| one["id"].as_str())
        .collect();
    assert!(
        ids.contains(&"plugin/pegboard") && ids.contains(&"built-in/text-table"),
        "{ids:?}"
    );
    let explained = stdout(&bench.run(&["explain", "in/a.peg"]));
    assert!(explained.contains("plugin/pegboard"), "{explained}");
    let found = bench.run(&["add", "in", "--archive", "lab"]);
    assert_eq!(status(&found), Some(0), "{}", stderr(&found));
    let found = json(&bench.run(&["find", "reader:pegboard", "--archive", "lab", "--json"]));
    assert_eq!(found["total"], 2, "{found}");
    let checked = bench.run(&["readers", "check", "pegboard"]);
    assert_eq!(
        status(&checked),
        Some(0),
        "{}\n{}",
        stdout(&checked),
        stderr(&checked)
    );
    bench.is_clean();
}

/// The Rust example, built once.
fn ribbon() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        let target = root().join("target/plugins");
        let output = Command::new(env!("CARGO"))
            .args(["build", "--release", "--offline", "--quiet", "--manifest-path"])
            .arg(root().join("plugins/ribbon/Cargo.toml"))
            .env("CARGO_TARGET_DIR", &target)
            .output()
            .expect("cargo runs");
        assert!(output.status.success(), "{}", stderr(&output));
        target.join(format!("release/libribbon.{LIBRARY}"))
    })
}

#[test]
fn a_plugin_in_rust_reads_asks_and_is_answered() {
    let bench = Bench::empty();
    bench.copy("ribbon");
    fs::copy(ribbon(), bench.library("ribbon")).expect("a copy");
    bench.allow("ribbon");
    let example = fs::read_to_string(bench.path().join("ribbon/examples/fading.rib")).expect("an example");
    bench.write("sure.rib", &example);
    bench.write("asked.rib", example.replace("<0,0", "~blank~ ?\n<0,0"));
    bench.write("cut.rib", &example[..example.len() - 20]);
    let (fates, output) = bench.convert(&[]);
    assert_eq!(fates["sure.rib"].verdict, "read", "{}", stderr(&output));
    assert_eq!(
        (fates["sure.rib"].points, fates["sure.rib"].codes.len()),
        (8, 0),
        "{fates:?}"
    );
    assert_eq!(fates["asked.rib"].verdict, "in-question", "{fates:?}");
    assert!(fates["cut.rib"].has("moments-missing"), "{fates:?}");
    let (fates, _) = bench.convert(&["--assume", "ribbon/blank=a"]);
    assert_eq!(fates["asked.rib"].verdict, "read", "{fates:?}");
    let checked = bench.run(&["readers", "check", "ribbon"]);
    assert_eq!(
        status(&checked),
        Some(0),
        "{}\n{}",
        stdout(&checked),
        stderr(&checked)
    );
    bench.is_clean();
}

/// Each misbehaviour has its name, and costs nothing but its file.
#[test]
fn whatever_a_plugin_does_costs_one_file_and_has_a_name() {
    let expected: &[(&str, &str)] = &[
        ("crash", "plugin-crashed"),
        ("wild-pointer", "plugin-crashed"),
        ("abort", "plugin-crashed"),
        ("divide", "plugin-crashed"),
        ("stack", "plugin-crashed"),
        ("exit", "plugin-crashed"),
        ("disk", "plugin-crashed"),
        ("close-all", "plugin-crashed"),
        ("write-pipe", "plugin-crashed"),
        ("thread", "plugin-crashed"),
        ("count-too-many", "plugin-out-of-memory"),
        ("hang", "plugin-timeout"),
        ("spin", "plugin-timeout"),
        ("ignore-signals", "plugin-timeout"),
        ("fork-loop", "plugin-timeout"),
        ("memory", "plugin-out-of-memory"),
        ("bad-utf8", "plugin-misbehaved"),
        ("order", "plugin-misbehaved"),
        ("two-begins", "plugin-misbehaved"),
        ("no-end", "plugin-misbehaved"),
        ("size-small", "plugin-misbehaved"),
        ("count-huge", "plugin-misbehaved"),
        ("text-huge", "plugin-misbehaved"),
        ("text-null", "plugin-misbehaved"),
        ("place-beyond", "plugin-misbehaved"),
        ("cut-character", "plugin-misbehaved"),
        ("quantity", "plugin-misbehaved"),
        ("infinite", "plugin-misbehaved"),
        ("flood", "plugin-misbehaved"),
        ("go-on", "plugin-misbehaved"),
        ("status", "plugin-failed"),
        ("not-mine", "not-recognised"),
        ("nothing", "no-table"),
        ("print", "plugin-printed"),
        ("print-much", "plugin-printed"),
    ];
    let bench = Bench::c("misbehaving", &[]);
    bench.allow("misbehaving");
    // The group may not write what a compiler made, whatever the mask of the caller.
    let wrong: Vec<String> = std::thread::scope(|scope| {
        let bench = &bench;
        let threads: Vec<_> = (0..4)
            .map(|part| {
                scope.spawn(move || {
                    let mine = expected.iter().skip(part).step_by(4);
                    mine.filter_map(|(order, code)| misbehave(bench, order, code).err())
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        threads
            .into_iter()
            .flat_map(|thread| thread.join().expect("it ends"))
            .collect()
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
    bench.is_clean();
}

/// Lets the plugin misbehave on one of four files; what is otherwise than it should be.
fn misbehave(bench: &Bench, order: &str, code: &str) -> Result<(), String> {
    let own = Bench::empty();
    let tail = if order == "cut-character" { "\nµ\n" } else { "\n" };
    // The sign stands at the very end there, so that its second byte is the last but one.
    own.write("2-bad.mis", format!("MISBEHAVE\n{order}{tail}"));
    own.write("1-good.mis", GOOD);
    own.write("3-good.mis", GOOD);
    own.write("4-course.csv", COURSE);
    let list = settings(bench.path());
    let begun = Instant::now();
    let mut command = Command::new("sh");
    // The host may not grow, whatever the plugin does.
    command
        .args(["-c", "ulimit -v 3000000; exec \"$0\" \"$@\""])
        .arg(curvary_tests::program())
        .args([
            "convert",
            "in",
            "--to",
            "json",
            "--out",
            "out",
            "--report",
            "report.jsonl",
        ])
        .current_dir(own.path())
        .env("XDG_CONFIG_HOME", list)
        .env("TMPDIR", own.path().join("tmp"));
    let output = command.output().map_err(|error| error.to_string())?;
    let took = begun.elapsed();
    let text = fs::read_to_string(own.path().join("report.jsonl")).unwrap_or_default();
    let fates: BTreeMap<String, serde_json::Value> = text
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("a line of JSON"))
        .map(|line| {
            (
                line["path"]
                    .as_str()
                    .unwrap_or("")
                    .rsplit('/')
                    .next()
                    .unwrap_or("")
                    .to_owned(),
                line,
            )
        })
        .collect();
    let wrong = |what: &str| Err(format!("{order}: {what}\n{text}\n{}", stderr(&output)));
    let codes = |name: &str| -> Vec<String> {
        let remarks = fates.get(name).and_then(|fate| fate["remarks"].as_array());
        remarks
            .into_iter()
            .flatten()
            .map(|one| one["code"].as_str().unwrap_or("").to_owned())
            .collect()
    };
    if !codes("2-bad.mis").iter().any(|own| own == code) {
        return wrong(&format!("no `{code}`"));
    }
    let read = code == "plugin-printed";
    let failed = code.starts_with("plugin-") && !read;
    let verdict = if read {
        "read"
    } else if failed {
        "failed"
    } else {
        "refused"
    };
    if fates["2-bad.mis"]["verdict"] != verdict {
        return wrong(&format!("the file is not {verdict}"));
    }
    for other in ["1-good.mis", "3-good.mis", "4-course.csv"] {
        if fates.get(other).is_none_or(|fate| fate["verdict"] != "read") {
            return wrong(&format!("{other} was not read"));
        }
    }
    if took > Duration::from_secs(30) {
        return wrong(&format!("it took {took:?}"));
    }
    own.is_clean();
    Ok(())
}

#[test]
fn a_child_that_stays_is_ended_too() {
    let bench = Bench::c("misbehaving", &[]);
    bench.allow("misbehaving");
    bench.write("a.mis", "MISBEHAVE\nfork-once\n");
    bench.convert(&[]);
    bench.is_clean();
}

#[test]
fn a_plugin_that_changes_the_body_changes_only_its_own_copy() {
    let bench = Bench::c("misbehaving", &[]);
    bench.allow("misbehaving");
    bench.write("a.mis", "MISBEHAVE\nchange-body\n");
    bench.write("b.mis", GOOD);
    let (fates, output) = bench.convert(&[]);
    assert!(
        fates.values().all(|fate| fate.verdict == "read"),
        "{fates:?} {}",
        stderr(&output)
    );
}

#[test]
fn after_two_falls_a_plugin_is_put_aside_and_that_is_told() {
    let bench = Bench::c("misbehaving", &[]);
    bench.allow("misbehaving");
    for number in 0..30 {
        bench.write(&format!("{number:02}.mis"), "MISBEHAVE\ncrash\n");
    }
    bench.write("course.csv", COURSE);
    let begun = Instant::now();
    let (fates, output) = bench.convert(&[]);
    let crashed = fates.values().filter(|fate| fate.has("plugin-crashed")).count();
    let passed = fates.values().filter(|fate| fate.has("plugin-put-aside")).count();
    // Files that were under way on other threads may crash too.
    assert!((2..=10).contains(&crashed), "{crashed}");
    assert_eq!(crashed + passed, 30, "{fates:?}");
    assert!(fates.values().all(|fate| fate.verdict != "refused"));
    assert_eq!(fates["course.csv"].verdict, "read");
    assert!(stderr(&output).contains("was put aside"), "{}", stderr(&output));
    assert_eq!(status(&output), Some(1));
    assert!(begun.elapsed() < Duration::from_secs(20));
    bench.is_clean();
}

#[test]
fn a_panic_in_rust_is_told_with_its_message() {
    let bench = Bench::empty();
    bench.copy("ribbon");
    let source = bench.path().join("panics");
    fs::create_dir_all(source.join("src")).expect("a folder");
    let abi = root().join("crates/plugin-abi");
    let manifest = fs::read_to_string(root().join("plugins/ribbon/Cargo.toml")).expect("a manifest");
    let manifest = manifest.replace("../../crates/plugin-abi", &abi.display().to_string());
    fs::write(source.join("Cargo.toml"), manifest).expect("a file");
    fs::write(
        source.join("src/lib.rs"),
        "use curvary_plugin_abi::{Sink, Source, Stop};\n\
         fn read(source: &Source<'_>, _: &Sink<'_>) -> Result<(), Stop> {\n\
             panic!(\"no moment in {}\", source.text().len())\n\
         }\n\
         curvary_plugin_abi::reader!(name: \"ribbon\", version: \"1\", read: read);\n",
    )
    .expect("a file");
    let output = Command::new(env!("CARGO"))
        .args(["build", "--release", "--offline", "--quiet"])
        .current_dir(&source)
        .env("CARGO_TARGET_DIR", root().join("target/panics"))
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", stderr(&output));
    let built = root().join(format!("target/panics/release/libribbon.{LIBRARY}"));
    fs::copy(built, bench.library("ribbon")).expect("a copy");
    bench.allow("ribbon");
    for name in ["a.rib", "b.rib", "c.rib"] {
        bench.write(name, "~ribbon~1\n");
    }
    let (fates, _) = bench.convert(&[]);
    for fate in fates.values() {
        // A panic that was caught is no fall: the plugin goes on with the next file.
        assert!(
            fate.has("plugin-failed") && fate.text.contains("no moment in 10"),
            "{fate:?}"
        );
        assert_eq!(fate.verdict, "failed");
    }
}

#[test]
fn a_library_that_cannot_be_used_says_why() {
    for (options, wanted) in [
        (&["-DWRONG_SYMBOL"][..], "does not export `curvary_reader_v1`"),
        (&["-DREADER_CONTRACT=2"][..], "keeps version 2 of the contract"),
        (&["-DREADER_SIZE=16"][..], "says that it has 16 bytes"),
        (&["-DREADER_VERSION=\"7\""][..], "the library's version is `7`"),
        (&["-DNO_READER"][..], "returns no reader"),
        (
            &["-DHANG_AT_LOAD"][..],
            "took longer than 2 s while it was loaded",
        ),
    ] {
        let bench = Bench::c("misbehaving", options);
        bench.allow("misbehaving");
        bench.write("a.mis", GOOD);
        bench.write("course.csv", COURSE);
        let (fates, output) = bench.convert(&[]);
        let fate = &fates["a.mis"];
        assert_eq!(fate.verdict, "failed", "{options:?}");
        assert!(fate.text.contains(wanted), "{options:?}: {fate:?}");
        assert_eq!(fates["course.csv"].verdict, "read", "{}", stderr(&output));
        bench.is_clean();
    }
    // No library at all, another system's, no library inside, and a contract of the future.
    let bench = Bench::c("misbehaving", &[]);
    let described = bench.path().join("misbehaving/plugin.toml");
    let text = fs::read_to_string(&described).expect("a description");
    let output = bench.run(&["readers", "check", "misbehaving"]);
    assert_eq!(status(&output), Some(0), "{}{}", stdout(&output), stderr(&output));
    for (from, to, wanted) in [
        ("contract = 1", "contract = 2", "keeps version 2 of the contract"),
        (
            "name = \"misbehaving\"",
            "name = \"Mis\"",
            "is no name of a plugin",
        ),
        ("version = \"1\"", "version = \"2\"", "plugin.toml says `2`"),
    ] {
        fs::write(&described, text.replace(from, to)).expect("a file");
        let output = bench.run(&["readers", "check", "misbehaving"]);
        assert_eq!(status(&output), Some(3), "{}", stdout(&output));
        assert!(stderr(&output).contains(wanted), "{wanted}: {}", stderr(&output));
    }
    fs::write(&described, &text).expect("a file");
    fs::write(bench.library("misbehaving"), "no library at all").expect("a file");
    let output = bench.run(&["readers", "check", "misbehaving"]);
    assert!(
        stderr(&output).contains("cannot be loaded"),
        "{}",
        stderr(&output)
    );
    fs::remove_file(bench.library("misbehaving")).expect("it was there");
    let output = bench.run(&["readers", "check", "misbehaving"]);
    assert!(stderr(&output).contains("is missing"), "{}", stderr(&output));
}

#[test]
fn what_changed_or_others_may_write_is_not_loaded() {
    let bench = Bench::c("pegboard", &[]);
    let example = fs::read(bench.path().join("pegboard/examples/two-boards.peg")).expect("an example");
    bench.write("a.peg", &example);
    bench.allow("pegboard");
    let verdict = |wanted: &str| {
        let (fates, output) = bench.convert(&[]);
        let fate = &fates["a.peg"];
        assert!(
            fate.has(wanted) && fate.verdict == "failed",
            "{wanted}: {fate:?} {}",
            stderr(&output)
        );
        let listed = bench.run(&["readers", "list"]);
        assert!(stderr(&listed).contains(wanted), "{}", stderr(&listed));
        assert_eq!(status(&listed), Some(1));
    };
    // Another library.
    let source = root().join("plugins/pegboard/pegboard.c");
    bench.compile(
        "pegboard",
        &source,
        &root().join("plugins/include"),
        &["-DANOTHER", "-O0"],
    );
    let before = fs::read(bench.library("pegboard")).expect("a library");
    verdict("plugin-changed");
    bench.allow("pegboard");
    let (fates, _) = bench.convert(&[]);
    assert_eq!(fates["a.peg"].verdict, "read");
    // Another description.
    let described = bench.path().join("pegboard/plugin.toml");
    let text = fs::read_to_string(&described).expect("a description");
    fs::write(&described, format!("{text}\n# changed\n")).expect("a file");
    verdict("plugin-changed");
    fs::write(&described, text).expect("a file");
    // Rights of others.
    let rights = |path: &Path, mode: u32| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("rights");
    };
    for (path, bad, good) in [
        (bench.library("pegboard"), 0o777, 0o755),
        (bench.library("pegboard"), 0o775, 0o755),
        (described, 0o666, 0o644),
        (bench.path().join("pegboard"), 0o777, 0o755),
    ] {
        rights(&path, bad);
        verdict("plugin-not-safe");
        let refused = bench.run(&["readers", "allow", "pegboard"]);
        assert_eq!(status(&refused), Some(2), "{}", stderr(&refused));
        rights(&path, good);
    }
    // A folder above, in which anybody could put another folder in the plugin's place.
    let open = bench.path().join("open");
    fs::create_dir(&open).expect("a folder");
    fs::rename(bench.path().join("pegboard"), open.join("pegboard")).expect("it is moved");
    rights(&open, 0o777);
    let refused = bench.run(&["readers", "check", "open/pegboard"]);
    assert!(
        stderr(&refused).contains("plugin-not-safe"),
        "{}",
        stderr(&refused)
    );
    rights(&open, 0o755);
    fs::rename(open.join("pegboard"), bench.path().join("pegboard")).expect("it is moved back");
    // The list itself.
    let list = settings(bench.path()).join("curvary/plugins.toml");
    rights(&list, 0o666);
    let output = bench.run(&["readers", "list"]);
    assert!(stderr(&output).contains("plugin-not-safe"), "{}", stderr(&output));
    rights(&list, 0o600);
    assert_eq!(fs::read(bench.library("pegboard")).expect("a library"), before);
    let gone = bench.run(&["readers", "forget", "plugin/pegboard"]);
    assert_eq!(status(&gone), Some(0), "{}", stderr(&gone));
    let (fates, _) = bench.convert(&[]);
    assert_eq!(fates["a.peg"].verdict, "refused");
    let again = bench.run(&["readers", "forget", "pegboard"]);
    assert_eq!(status(&again), Some(2), "{}", stderr(&again));
}

/// Plugins of every frozen header are read by the present program, and one that was built with a later header, whose
/// structs are longer, too.
#[test]
fn plugins_of_other_headers_of_version_1_just_work() {
    let frozen = root().join("tests/abi");
    let mut headers: Vec<PathBuf> = fs::read_dir(&frozen)
        .expect("frozen headers")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.join("curvary_reader.h").is_file())
        .collect();
    headers.sort();
    assert!(headers.len() >= 2, "{headers:?}");
    for header in headers {
        let bench = Bench::empty();
        bench.copy("pegboard");
        let source = root().join("plugins/pegboard/pegboard.c");
        bench.compile("pegboard", &source, &header, &["-Wno-missing-field-initializers"]);
        let example = fs::read(bench.path().join("pegboard/examples/two-boards.peg")).expect("an example");
        bench.write("a.peg", &example);
        bench.allow("pegboard");
        let (fates, output) = bench.convert(&[]);
        assert_eq!(
            fates["a.peg"].points,
            12,
            "{}: {}",
            header.display(),
            stderr(&output)
        );
    }
}

#[test]
fn the_worker_is_nothing_for_people() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = call(folder.path(), &["plugin-worker"])
        .stdin(std::process::Stdio::null())
        .output()
        .expect("it starts");
    assert!(output.stdout.is_empty());
    let help = run(folder.path(), &["readers", "--help"]);
    assert!(!stdout(&help).contains("plugin-worker"));
}
