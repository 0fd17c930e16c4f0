//! One answer a way of writing: an invented archive of several ways, each with its truth, is wholly read after about one
//! answer each, and nothing that was in no doubt changes by any of them.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::Stdio;

use curvary_formats::{Assumptions, Readers, Source};
use curvary_tests::ways::Dice;
use curvary_tests::{call, root, truth, ways};
use serde_json::Value;

/// One way of writing: how its files are made, and what the truth answers.
struct Way {
    name: &'static str,
    make: fn(&mut Dice, u64) -> String,
    /// The answer that the truth gives; none where nothing must be asked.
    truth: Option<&'static str>,
}

fn rows(dice: &mut Dice, step: u64, count: u64, mut row: impl FnMut(u64, f64) -> String) -> String {
    let start = dice.roll(3) * step;
    let mut text = String::new();
    for n in 0..count {
        let absorbance = 0.05 + (n * 7 % 23) as f64 / 50.0 + dice.roll(9) as f64 / 1000.0;
        text += &row(start + n * step, absorbance);
    }
    text
}

/// The ways. All of it is invented.
const WAYS: &[Way] = &[
    Way {
        name: "sure-spectra",
        make: |dice, n| {
            let rows = rows(dice, 10, 12, |x, a| format!("{}\t{a:.4}\n", 400 + x));
            format!("Sample: Dyer {n}\nWavelength (nm)\tAbsorbance\n{rows}")
        },
        truth: None,
    },
    Way {
        name: "sure-courses",
        make: |dice, n| {
            let rows = rows(dice, 5, 12, |x, a| {
                format!("{x};{}\n", format!("{a:.4}").replace('.', ","))
            });
            format!("Probe: Weld {n}\nZeit (s);Absorbanz\n{rows}")
        },
        truth: None,
    },
    Way {
        name: "seconds",
        make: |dice, n| {
            let operator = if n % 3 == 0 { "operator: im\n" } else { "" };
            let rows = rows(dice, 5, 14, |x, a| format!("{x}\t{a:.4}\n"));
            format!("run: {n}\nsample: Skin {n}\n{operator}Time\tA412\n{rows}")
        },
        truth: Some("x=time:s"),
    },
    Way {
        name: "minutes",
        make: |dice, n| {
            let rows = rows(dice, 2, 14, |x, a| format!("{x},{a:.4}\n"));
            format!("run: {n}\nsample: Skin {n}\nTime,A412\n{rows}")
        },
        truth: Some("x=time:min"),
    },
    Way {
        name: "day-first",
        make: |dice, n| {
            let (day, month) = (1 + dice.roll(12), 1 + dice.roll(12));
            let rows = rows(dice, 5, 12, |x, a| format!("{}\t{a:.4}\n", 500 + x));
            format!("Sample: B{n}\nDate: {day:02}/{month:02}/2014\nWavelength (nm)\tAbsorbance\n{rows}")
        },
        truth: Some("date=day-first"),
    },
    Way {
        name: "month-first",
        make: |dice, n| {
            let (day, month) = (1 + dice.roll(12), 1 + dice.roll(12));
            let rows = rows(dice, 5, 12, |x, a| format!("{},{a:.4}\n", 500 + x));
            format!("Sample: B{n}\nDate: {month:02}/{day:02}/2014\nWavelength (nm),Absorbance\n{rows}")
        },
        truth: Some("date=month-first"),
    },
];

const FILES: u64 = 9;

/// Writes the invented archive; gives each file's way.
fn laboratory(folder: &Path) -> BTreeMap<String, &'static Way> {
    let mut ways = BTreeMap::new();
    let mut dice = Dice(20_140_311);
    for way in WAYS {
        for n in 0..FILES {
            let path = format!("in/{}/{n}.txt", 2010 + dice.roll(5));
            let path = path.replace(".txt", &format!("-{}.txt", way.name));
            fs::create_dir_all(folder.join(&path).parent().unwrap()).unwrap();
            fs::write(folder.join(&path), (way.make)(&mut dice, n + 1)).unwrap();
            ways.insert(path, way);
        }
    }
    ways
}

fn run(folder: &Path, arguments: &[&str]) -> String {
    let output = call(folder, arguments)
        .args(["--archive", "lab"])
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{arguments:?}: {}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).unwrap()
}

fn worklist(folder: &Path) -> Vec<Value> {
    let list: Value = serde_json::from_str(&run(folder, &["worklist", "--json"])).unwrap();
    let questions = list["questions"].as_array().unwrap().clone();
    questions
        .into_iter()
        .filter(|question| question["kind"] != "key-unknown")
        .collect()
}

/// Verdicts and numbers of every run, by path and run.
fn everything(folder: &Path) -> BTreeMap<String, Value> {
    let found: Value = serde_json::from_str(&run(folder, &["find", "--json", "--limit", "0"])).unwrap();
    let ids: Vec<&str> = found["runs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|hit| hit["run"].as_str().unwrap())
        .collect();
    let mut arguments = vec!["show", "--json"];
    arguments.extend(&ids);
    let shown: Value = serde_json::from_str(&run(folder, &arguments)).unwrap();
    let shown = shown.as_array().unwrap();
    assert_eq!(shown.len(), ids.len());
    shown
        .iter()
        .map(|run| (run["id"].to_string(), run.clone()))
        .collect()
}

#[test]
fn an_archive_is_wholly_read_after_one_answer_a_way() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let ways = laboratory(folder);
    let _ = call(folder, &["add", "in", "--archive", "lab", "--quiet"])
        .output()
        .unwrap();
    let mut answers = 0;
    while let Some(question) = worklist(folder).first() {
        for key in [
            "id", "kind", "asks", "family", "files", "runs", "examples", "choices", "settle",
        ] {
            assert!(!question[key].is_null(), "{key}: {question}");
        }
        // A date such as 05/05 asks nothing.
        let files = question["files"].as_u64().unwrap();
        assert!(
            (FILES - 3..=FILES).contains(&files),
            "one question for the whole way: {question}"
        );
        let lines = question["examples"].as_array().unwrap();
        assert!(lines.len() >= 3, "{question}");
        let path = lines[0]["path"].as_str().unwrap();
        let way = ways
            .iter()
            .find(|(own, _)| path.ends_with(own.as_str()))
            .unwrap()
            .1;
        let truth = way
            .truth
            .unwrap_or_else(|| panic!("nothing is to be asked: {question}"));
        let offered: Vec<&str> = question["choices"]
            .as_array()
            .unwrap()
            .iter()
            .map(|choice| choice["answer"].as_str().unwrap())
            .collect();
        assert!(offered.contains(&truth), "{truth} of {offered:?}");
        assert!(offered.contains(&"measurement=no"), "{offered:?}");
        run(
            folder,
            &[
                "answer",
                question["id"].as_str().unwrap(),
                truth,
                "--author",
                "im",
            ],
        );
        answers += 1;
        assert!(answers <= WAYS.len(), "too many answers");
    }
    let asked = WAYS.iter().filter(|way| way.truth.is_some()).count();
    assert_eq!(answers, asked);

    // Each file says what the truth says, and so do files that come later.
    let late = (WAYS[3].make)(&mut Dice(7), 99);
    fs::write(folder.join("in/late.txt"), late).unwrap();
    let _ = run(folder, &["add", "in", "--quiet"]);
    let text = run(folder, &["find", "is:in-question", "--ids"]);
    assert_eq!(text.trim(), "", "nothing is in question");
    for (unit, files) in [("min", FILES + 1), ("s", 2 * FILES)] {
        let all = everything(folder);
        let of = all
            .values()
            .filter(|run| {
                run["traces"][0]["x"]["quantity"] == "time" && run["traces"][0]["x"]["unit"] == unit
            })
            .count();
        assert_eq!(of as u64, files, "{unit}");
    }

    // An answer that is taken back is open again, and the others stay.
    let list: Value = serde_json::from_str(&run(folder, &["answer", "--list", "--json"])).unwrap();
    let line = &list.as_array().unwrap()[0];
    assert_eq!(line["by"], "im");
    run(folder, &["answer", "--undo", line["id"].as_str().unwrap()]);
    assert_eq!(worklist(folder).len(), 1);
}

/// An archive of a thousand files in thirty-one ways of writing is wholly read after at most thirty answers and words, each
/// file as its truth has it. Questions are answered in the order in which the worklist puts them, only with what the truth
/// says, and what is suggested is taken only where it is true.
#[test]
fn a_thousand_files_need_thirty_answers() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut dice = ways::Dice(20_260_314);
    let mut files: BTreeMap<String, (&ways::Way, Value)> = BTreeMap::new();
    for way in ways::WAYS {
        for n in 0..33 {
            let file = way.file(&mut dice, n);
            let path = folder.join(&file.path);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, &file.text).unwrap();
            files.insert(file.path, (way, file.truth));
        }
    }
    assert!(files.len() >= 1000, "{}", files.len());
    let _ = call(folder, &["add", "in", "--archive", "lab", "--quiet"])
        .output()
        .unwrap();
    let mut given: Vec<String> = Vec::new();
    let mut skipped: BTreeSet<String> = BTreeSet::new();
    loop {
        let list = worklist(folder);
        let Some(question) = list
            .iter()
            .find(|question| !skipped.contains(question["id"].as_str().unwrap()))
        else {
            break;
        };
        let path = question["examples"][0]["path"].as_str().unwrap();
        let (way, _) = files
            .iter()
            .find(|(own, _)| path.ends_with(own.as_str()))
            .unwrap()
            .1;
        let (id, kind) = (
            question["id"].as_str().unwrap(),
            question["kind"].as_str().unwrap(),
        );
        let Some((_, truth)) = way.answers.iter().find(|(code, _)| *code == kind) else {
            // What was refused rightly needs no answer.
            assert!(
                !way.is_measured() && question["runs"] == 0,
                "nothing is to be asked of {}: {question}",
                way.name
            );
            skipped.insert(id.to_owned());
            continue;
        };
        let choices = question["choices"].as_array().unwrap();
        let offered: Vec<&str> = choices
            .iter()
            .map(|choice| choice["answer"].as_str().unwrap())
            .collect();
        let axis = truth.split('=').next().unwrap();
        assert!(
            offered.contains(truth) || offered.contains(&format!("{axis}=QUANTITY:UNIT").as_str()),
            "{truth} of {offered:?}"
        );
        assert_eq!(offered.last(), Some(&"measurement=no"), "{question}");
        run(folder, &["answer", id, truth]);
        given.push(format!("{}: {truth}", way.name));
        assert!(given.len() <= 30, "too many answers: {given:#?}");
    }
    // Words: those that are suggested and true are accepted by their names, the others said outright.
    let words: BTreeSet<&str> = ways::WAYS.iter().flat_map(|way| way.words).copied().collect();
    let suggested: Value =
        serde_json::from_str(&run(folder, &["vocabulary", "--suggested", "--json"])).unwrap();
    let mut left = words.clone();
    for one in suggested.as_array().unwrap() {
        let says = one["says"].as_str().unwrap();
        if says.starts_with("names like ") {
            continue;
        }
        assert!(words.contains(says), "what is suggested is not so: {one}");
        run(folder, &["vocabulary", one["id"].as_str().unwrap()]);
        left.remove(says);
        given.push(says.to_owned());
    }
    assert!(
        left.len() < words.len(),
        "nothing true was suggested: {suggested}"
    );
    for word in left {
        run(folder, &["vocabulary", word]);
        given.push(word.to_owned());
    }
    assert!(given.len() <= 30, "too many answers and words: {given:#?}");
    assert_eq!(
        run(folder, &["find", "is:in-question", "--ids"]).trim(),
        "",
        "nothing is in question"
    );

    // Each file is read as its truth has it.
    let mut by_path: BTreeMap<String, Vec<Value>> = BTreeMap::new();
    for run in everything(folder).into_values() {
        let path = run["source"]["path"].as_str().unwrap().to_owned();
        by_path.entry(path).or_default().push(run);
    }
    let mut wrong = String::new();
    for (path, (way, truth)) in &files {
        let runs = by_path
            .iter()
            .find(|(own, _)| own.ends_with(path.as_str()))
            .map_or(&[][..], |(_, runs)| runs);
        let verdict = if way.is_measured() || runs.is_empty() {
            truth::matches(truth, runs)
        } else {
            Err("it is no measurement".to_owned())
        };
        let verdict = verdict.and(if way.is_measured() && runs.is_empty() {
            Err("it was not read".to_owned())
        } else {
            Ok(())
        });
        if let Err(why) = verdict {
            let _ = writeln!(wrong, "{path} ({}): {why}", way.name);
        }
    }
    assert!(wrong.is_empty(), "after {given:#?}\n{wrong}");
}

#[test]
fn answers_that_settle_nothing_are_not_kept() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let _ = call(folder, &["add", "in", "--archive", "lab", "--quiet"])
        .output()
        .unwrap();
    let before = everything(folder);
    let id = worklist(folder)[0]["id"].as_str().unwrap().to_owned();
    for wrong in ["x=absorbence", "time:nm", "decimal=comma", "nonsense", "y=new:"] {
        let output = call(folder, &["answer", &id, wrong, "--archive", "lab"])
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2), "{wrong}");
    }
    assert!(!folder.join("lab/answers.jsonl").exists());
    // A folder-wide answer changes nothing that was in no doubt.
    let _ = call(
        folder,
        &["add", "in", "--assume", "y=transmittance:%", "--archive", "lab"],
    )
    .output()
    .unwrap();
    assert_eq!(everything(folder), before);
}

#[test]
fn questions_are_gone_through_one_by_one() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let _ = call(folder, &["add", "in", "--archive", "lab", "--quiet"])
        .output()
        .unwrap();
    let open = worklist(folder).len();
    let mut child = call(folder, &["worklist", "--ask", "--archive", "lab"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(b"s\nb\n1\nzebra\nq\n")
        .unwrap();
    let output = child.wait_with_output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{text}");
    assert!(text.contains("1 question answered"), "{text}");
    assert_eq!(worklist(folder).len(), open - 1, "{text}");
}

/// Every input of the corpus.
fn inputs() -> Vec<(String, Vec<u8>)> {
    let mut all = Vec::new();
    let groups = fs::read_dir(root().join("tests/corpus/text")).unwrap();
    for group in groups.map(|group| group.unwrap().path()) {
        for case in fs::read_dir(group).unwrap().map(|case| case.unwrap().path()) {
            for file in fs::read_dir(case).unwrap().map(|file| file.unwrap().path()) {
                if file.file_stem().is_some_and(|stem| stem == "input") {
                    all.push((file.display().to_string(), fs::read(&file).unwrap()));
                }
            }
        }
    }
    all.sort();
    all
}

/// Every answer that is offered anywhere, applied to every file of the corpus, changes no file that does not offer it.
#[test]
fn no_answer_changes_a_file_that_did_not_ask() {
    let readers = Readers::built_in();
    let mut offered: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut plain = Vec::new();
    for (path, bytes) in inputs() {
        let source = Source::new(path, bytes);
        let (_, reading) = readers.read(&source, None);
        let own: BTreeSet<String> = reading
            .runs
            .iter()
            .flat_map(|run| &run.questions)
            .flat_map(|question| question.readings.iter().map(|reading| reading.assume.clone()))
            .collect();
        for answer in &own {
            let about = answer.split_once('=').expect("about=answer").0;
            offered
                .entry(about.to_owned())
                .or_default()
                .insert(answer.clone());
        }
        plain.push((source, reading, own));
    }
    assert!(
        plain.len() > 900 && offered.len() >= 5,
        "{} {offered:?}",
        plain.len()
    );
    let most = offered.values().map(BTreeSet::len).max().unwrap_or(0);
    let mut wrong = String::new();
    for (number, (source, reading, own)) in plain.iter().enumerate() {
        // A file that asks something meets every answer; one that asks nothing a few, since none is even looked at.
        let turns: Vec<usize> = if own.is_empty() {
            vec![number % most, (number / most) % most]
        } else {
            (0..most).collect()
        };
        for turn in turns {
            let mut assume = Assumptions::none();
            for answers in offered.values() {
                let answer = answers.iter().nth(turn % answers.len()).unwrap();
                // A quantity of one's own is offered too where a header names it.
                if !own.contains(answer) {
                    assume
                        .add(answer)
                        .unwrap_or_else(|why| panic!("{answer} is offered, and is none: {why}"));
                }
            }
            let text = Source::new(source.path(), source.bytes().to_vec()).assuming(assume);
            let (_, again) = readers.read(&text, None);
            if again != *reading {
                let _ = writeln!(wrong, "{} under turn {turn}", source.path());
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

/// A workbook of two columns of numbers and nothing else.
fn bare_workbook(readings: [f64; 4]) -> Vec<u8> {
    let office = "http://schemas.openxmlformats.org";
    let rows: String = readings
        .iter()
        .enumerate()
        .map(|(at, reading)| {
            let row = at + 1;
            format!(
                "<row r=\"{row}\"><c r=\"A{row}\"><v>{row}</v></c><c r=\"B{row}\"><v>{reading}</v></c></row>"
            )
        })
        .collect();
    let relation = |kind: &str, target: &str| {
        format!(
            "<Relationships xmlns=\"{office}/package/2006/relationships\"><Relationship Id=\"rId1\" \
             Type=\"{office}/officeDocument/2006/relationships/{kind}\" Target=\"{target}\"/></Relationships>"
        )
    };
    let form = "application/vnd.openxmlformats-officedocument.spreadsheetml";
    let parts = [
        (
            "[Content_Types].xml",
            format!(
                "<Types xmlns=\"{office}/package/2006/content-types\">\
                 <Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>\
                 <Default Extension=\"xml\" ContentType=\"application/xml\"/>\
                 <Override PartName=\"/xl/workbook.xml\" ContentType=\"{form}.sheet.main+xml\"/>\
                 <Override PartName=\"/xl/worksheets/sheet1.xml\" ContentType=\"{form}.worksheet+xml\"/></Types>"
            ),
        ),
        ("_rels/.rels", relation("officeDocument", "xl/workbook.xml")),
        (
            "xl/workbook.xml",
            format!(
                "<workbook xmlns=\"{office}/spreadsheetml/2006/main\" xmlns:r=\"{office}/officeDocument/2006/relationships\">\
                 <sheets><sheet name=\"Sheet1\" sheetId=\"1\" r:id=\"rId1\"/></sheets></workbook>"
            ),
        ),
        (
            "xl/_rels/workbook.xml.rels",
            relation("worksheet", "worksheets/sheet1.xml"),
        ),
        (
            "xl/worksheets/sheet1.xml",
            format!(
                "<worksheet xmlns=\"{office}/spreadsheetml/2006/main\"><sheetData>{rows}</sheetData></worksheet>"
            ),
        ),
    ];
    let mut book = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, text) in parts {
        book.start_file(name, zip::write::SimpleFileOptions::default())
            .unwrap();
        std::io::Write::write_all(&mut book, text.as_bytes()).unwrap();
    }
    book.finish().unwrap().into_inner()
}

/// What a document asks that is no text is shown and answered as that of any other file, and for all that are written alike.
#[test]
fn questions_of_workbooks_are_shown_and_answered() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::write(folder.join("a.xlsx"), bare_workbook([0.11, 0.12, 0.13, 0.15])).unwrap();
    fs::write(folder.join("b.xlsx"), bare_workbook([0.21, 0.32, 0.43, 0.55])).unwrap();
    run(folder, &["add", "a.xlsx", "b.xlsx", "--quiet"]);
    let open = worklist(folder);
    assert!(!open.is_empty());
    for question in &open {
        assert_eq!(question["files"], 2, "{question}");
        let family = question["family"].as_str().unwrap();
        assert!(family.starts_with("cells of a document"), "{family}");
    }
    for _ in 0..open.len() {
        let left = worklist(folder);
        let Some(question) = left.first() else { break };
        let id = question["id"].as_str().unwrap();
        let choice = question["choices"][0]["answer"].as_str().unwrap();
        run(folder, &["answer", id, choice]);
    }
    assert!(worklist(folder).is_empty());
    let runs = everything(folder);
    assert_eq!(runs.len(), 2);
    assert!(
        runs.values()
            .all(|run| run["questions"].as_array().is_none_or(Vec::is_empty)),
        "{runs:?}"
    );
}
