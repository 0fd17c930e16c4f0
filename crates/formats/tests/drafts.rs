//! Drafts of layouts: whatever a draft offers as a line can stand in a layout.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeSet;

use curvary_formats::{Assumptions, Layout, Readers, Source, layout};

/// Invented texts that together leave open everything that is asked about tables of text.
const TEXTS: &[&str] = &[
    // No word at all: a measurement? of what? over what?
    "0,0.8997\n10,0.8823\n20,0.8680\n30,0.8502\n40,0.8349\n",
    "Absorbance\n0,0,0,8997\n10,0,0,8801\n20,0,0,8612\n30,0,0,8430\n",
    "nm;A\n400;(0,12)\n410;(0,13)\n420;0,15\n430;0,16\n",
    "Band (nm)\tAbsorbance\n400-410\t0.029\n410-420\t0.056\n420-430\t0.134\n430-440\t0.299\n",
    "Absorbance of the dye. The wavelengths are in nm; each line goes on from its own.\n\n400 0.11 0.12 0.14 0.19\n420 0.24 0.31 0.38 0.33\n440 0.21 0.17 0.12 0.11\n",
    "sample: betanin\ndate: 03/04/2021\n\ntime\tabsorbance\n0\t0.8997\n10\t0.8823\n20\t0.8680\n30\t0.8502\n",
    "Absorbance\tWavelength (nm)\n400\t0.03\n420\t0.12\n440\t0.31\n460\t0.52\n480\t0.76\n500\t0.61\n",
    "time (min)\tabsorbance\n0.00\t0.812\n0.30\t0.751\n1.00\t0.695\n1.30\t0.643\n2.00\t0.597\n2.30\t0.551\n",
    "Prueba;A400;A500\nS1;0,312;0,212\nS2;0,298;0,189\nS3;0,331;0,240\nLímite;0,500;\n",
    "wavelength: 535 nm\n\ntime (s)\tabsorbance at 405 nm\n0\t0.812\n10\t0.751\n20\t0.695\n30\t0.643\n",
    "Absorbance, 570 nm\nWell,Content,OD570\nA1,Blank,0.0412\nA2,Blank,0.0398\nB1,Std 1,0.4110\nPage 2\nB2,Std 1,0.4087\nC1,Unk 1,0.8120\nC2,Unk 1,0.8206\n",
];

fn drafted(text: &str, assume: &Assumptions) -> String {
    let source = Source::new("bench/odd.txt", text.as_bytes().to_vec()).assuming(assume.clone());
    let readers = Readers::built_in();
    let (_, reading) = readers.read(&source, Some("built-in/text-table"));
    layout::draft(&source, &reading, "odd.txt")
}

/// The keys that `[settle]` takes, by the schema that people have.
fn keys() -> BTreeSet<String> {
    let schema: serde_json::Value = serde_json::from_str(&layout::schema()).expect("JSON");
    let properties = schema["$defs"]["Settle"]["properties"]
        .as_object()
        .expect("properties");
    assert!(
        properties.values().all(|one| one["description"].is_string()),
        "each is explained: {properties:#?}"
    );
    properties.keys().cloned().collect()
}

/// The lines of a draft that are offered behind a `#`, with the key that each settles.
fn offered(draft: &str) -> Vec<(usize, String)> {
    let lines = draft
        .lines()
        .enumerate()
        .skip_while(|(_, line)| *line != "[settle]");
    lines
        .take_while(|(_, line)| *line != "[fields]" && !line.starts_with("# ["))
        .filter_map(|(at, line)| {
            let (key, _) = line.strip_prefix("# ")?.split_once(" = ")?;
            (!key.contains(' ')).then(|| (at, key.to_owned()))
        })
        .collect()
}

#[test]
fn every_offered_line_can_stand_in_the_layout() {
    let keys = keys();
    let mut met = BTreeSet::new();
    for text in TEXTS {
        let draft = drafted(text, &Assumptions::none());
        Layout::parse("draft.toml", &draft).unwrap_or_else(|why| panic!("{why:?}\n{draft}"));
        for (at, key) in offered(&draft) {
            let decided: String = draft
                .lines()
                .enumerate()
                .map(|(other, line)| {
                    if other == at {
                        line.strip_prefix("# ").unwrap()
                    } else {
                        line
                    }
                })
                .map(|line| format!("{line}\n"))
                .collect();
            if let Err(why) = Layout::parse("draft.toml", &decided) {
                panic!(
                    "line {} of the draft is refused: {}\n{draft}",
                    at + 1,
                    why.message
                );
            }
            met.insert(key);
        }
    }
    assert_eq!(met, keys, "a text for each question");
}

#[test]
fn what_was_settled_stands_in_the_draft_and_can_be_read_back() {
    for (text, settled) in [
        (TEXTS[0], &["measurement=yes", "x=time:s", "y=absorbance"][..]),
        (
            TEXTS[2],
            &[
                "parentheses=absent",
                "unit:Grd=Cel",
                "value:Modus:Klarheit=y=transmittance:%",
            ],
        ),
        (TEXTS[8], &["wavelength=words"]),
    ] {
        let mut assume = Assumptions::none();
        for answer in settled {
            assume.add(answer).expect("an answer");
        }
        let draft = drafted(text, &assume);
        Layout::parse("draft.toml", &draft).unwrap_or_else(|why| panic!("{why:?}\n{draft}"));
        for answer in settled {
            let about = match answer.strip_prefix("value:") {
                Some(_) => "value:Modus:Klarheit",
                None => answer.split_once('=').unwrap().0,
            };
            let stands = |line: &str| {
                line.starts_with(&format!("{about} = ")) || line.starts_with(&format!("\"{about}\" = "))
            };
            assert!(draft.lines().any(stands), "{about}\n{draft}");
        }
    }
    // What no table of text asks is refused by its name.
    let draft = drafted(TEXTS[0], &Assumptions::none());
    let wrong = draft.replacen("[settle]\n", "[settle]\nparenthesis = \"negative\"\n", 1);
    let why = Layout::parse("draft.toml", &wrong).expect_err("refused");
    assert!(
        why.message.contains("did you mean `parentheses`?"),
        "{}",
        why.message
    );
}

/// A lamp's table above the readings: the key of an axis stands once, and the draft offers what keeps the two apart.
#[test]
fn a_draft_of_two_tables_can_be_decided() {
    let text = "Lamp of the pond bench\n1;0.31\n2;0.32\n3;0.35\n4;0.39\n\nReadings of the pond\nclock;glimm\n0;0.812\n10;0.751\n20;0.695\n30;0.643\n";
    let draft = drafted(text, &Assumptions::none());
    let lines: Vec<&str> = draft.lines().collect();
    let mut groups = BTreeSet::new();
    let mut last = (0, String::new());
    for (at, key) in offered(&draft) {
        if (at, &key) != (last.0 + 1, &last.1) {
            assert!(
                groups.insert(key.clone()),
                "`{key}` is offered in two places\n{draft}"
            );
        }
        last = (at, key);
    }
    assert!(lines.contains(&"# [table]"), "{draft}");
    assert!(lines.contains(&"# [[column]]"), "{draft}");
    let decided = draft
        .replace("# [table]\n# after", "[table]\nafter")
        .replace(
            "# [[column]]\n# head = \"clock\"\n# quantity = \"QUANTITY\"\n# unit = \"UNIT\"",
            "[[column]]\nhead = \"clock\"\nquantity = \"time\"\nunit = \"s\"",
        )
        .replace(
            "# [[column]]\n# head = \"glimm\"\n# quantity = \"QUANTITY\"\n# unit = \"UNIT\"",
            "[[column]]\nhead = \"glimm\"\nquantity = \"absorbance\"\nunit = \"{AU}\"",
        );
    assert_ne!(decided, draft);
    let layout = Layout::parse("draft.toml", &decided).unwrap_or_else(|why| panic!("{why:?}\n{decided}"));
    let mut readers = Readers::built_in();
    readers.add(Box::new(layout));
    let source = Source::new("bench/odd.txt", text.as_bytes().to_vec());
    let (_, reading) = readers.read(&source, Some("layout/odd"));
    assert_eq!(reading.runs.len(), 1, "{reading:#?}\n{decided}");
    assert!(
        reading.runs[0].questions.is_empty(),
        "{:?}",
        reading.runs[0].questions
    );
    assert_eq!(reading.runs[0].points(), 4);
}

/// The guide to layouts names every key and every answer.
#[test]
fn the_guide_names_all_that_can_be_settled() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/layouts.md");
    let guide = std::fs::read_to_string(path).expect("the guide");
    let schema: serde_json::Value = serde_json::from_str(&layout::schema()).expect("JSON");
    let settle = &schema["$defs"]["Settle"]["properties"];
    for (key, one) in settle.as_object().expect("properties") {
        let line = guide
            .lines()
            .find(|line| {
                line.starts_with('|')
                    && line
                        .split('|')
                        .nth(1)
                        .is_some_and(|cell| cell.contains(&format!("`{key}`")))
            })
            .unwrap_or_else(|| panic!("`{key}` stands in no row of docs/layouts.md"));
        for answer in one["enum"].as_array().into_iter().flatten() {
            let answer = answer.as_str().expect("a word");
            assert!(
                line.contains(&format!("`{answer}`")),
                "`{key}` takes `{answer}` too: {line}"
            );
        }
    }
    for key in schema["properties"].as_object().expect("properties").keys() {
        assert!(
            guide.contains(&format!("`{key}`"))
                || guide.contains(&format!("`[{key}]`"))
                || guide.contains(&format!("`[[{key}]]`")),
            "{key}"
        );
    }
}
