use curvary_record::{Origin, Quantity, Unit, Verdict};

use super::*;
use crate::{ReaderChoice, Readers};

/// A layout of an invented laboratory.
const PLAIN: &str = r#"
name = "tarn"
title = "fading rows of the Tarn bench"
version = "1"

[recognise]
contains = ["Tarn bench"]

[settle]
x = "time:min"
y = "absorbance:{AU}"
date = "day-first"

[[key]]
key = "Kuev"
field = "path-length"
unit = "mm"

[[key]]
key = "light"
field = "wavelength"

[fields]
temperature = "25 °C"

[[example]]
points = 4
first = [0, 0.812]
last = [3, 0.643]
x = "time:min"
y = "absorbance:{AU}"
technique = "time-course"
fields = { path-length = "1 cm", temperature = "25 °C", date = "2021-04-03" }
text = '''
Tarn bench
Kuev: 10
light: 535
date: 03/04/2021

0 0.812
1 0.751
2 0.695
3 0.643
'''
"#;

fn layout() -> Layout {
    Layout::parse("tarn.toml", PLAIN).expect("a layout")
}

fn example_bytes(layout: &Layout) -> Vec<u8> {
    layout.examples()[0].text().expect("a text").as_bytes().to_vec()
}

#[test]
fn a_layout_settles_what_the_built_in_reader_asks() {
    let layout = layout();
    let source = Source::new("a.txt", example_bytes(&layout));
    let built_in = Readers::built_in();
    let (card, asked) = built_in.read(&source, None);
    assert_eq!(card.map(|card| card.id.as_str()), Some("built-in/text-table"));
    assert_eq!(asked.verdict(), Verdict::InQuestion);
    let mut readers = Readers::built_in();
    readers.add(Box::new(layout));
    let (card, reading) = readers.read(&source, None);
    assert_eq!(card.map(|card| card.id.as_str()), Some("layout/tarn"));
    assert_eq!(reading.verdict(), Verdict::Read, "{:?}", reading.runs);
    let run = &reading.runs[0];
    assert_eq!(run.source.reader, "layout/tarn");
    let path = run.fields.get("path-length").expect("a path length");
    assert_eq!(path.unit.as_ref().map(Unit::code), Some("mm"));
    assert!(matches!(path.origin, Origin::Source(_)));
    let temperature = run.fields.get("temperature").expect("a temperature");
    assert_eq!(
        temperature.origin,
        Origin::Layout {
            layout: "tarn".to_owned()
        }
    );
    let held = run.traces[0].held(&Quantity::WAVELENGTH).expect("a wavelength");
    assert_eq!((held.value, held.line), (535.0, Some(3)));
}

#[test]
fn the_example_holds_and_no_damage_gives_a_number_in_silence() {
    let layout = layout();
    let example = &layout.examples()[0];
    assert_eq!(layout.hold(example, example_bytes(&layout)), []);
    let damage = layout.damage(example, &example_bytes(&layout));
    assert!(damage.complaints.is_empty(), "{:#?}", damage.complaints);
    assert!(damage.held > 0 && damage.told > 0, "{damage:?}");
}

/// In an encoding of single bytes one bit makes a degree sign of a zero: `30` and `3°` are both temperatures.
#[test]
fn a_temperature_that_ends_in_zero_is_no_damage_in_silence() {
    let with_temperature = PLAIN
        .replace(
            "\n[fields]\ntemperature = \"25 °C\"\n",
            "\n[[key]]\nkey = \"bath\"\nfield = \"temperature\"\nunit = \"Cel\"\n",
        )
        .replace("temperature = \"25 °C\"", "temperature = \"30 °C\"")
        .replace("Kuev: 10\n", "Kuev: 10\nbath: 30\n");
    let layout = Layout::parse("tarn.toml", &with_temperature).expect("a layout");
    let bytes = example_bytes(&layout);
    let held = layout.hold(&layout.examples()[0], bytes.clone());
    assert!(held.is_empty(), "{held:?}");
    let trial = layout.damage(&layout.examples()[0], &bytes);
    assert!(trial.complaints.is_empty(), "{:#?}", trial.complaints);
}

#[test]
fn an_example_that_does_not_hold_is_told_at_its_line() {
    let text = PLAIN
        .replace("points = 4", "points = 5")
        .replace("[0, 0.812]", "[0, 0.813]");
    let layout = Layout::parse("tarn.toml", &text).expect("a layout");
    let complaints = layout.hold(&layout.examples()[0], example_bytes(&layout));
    let lines: Vec<Option<u32>> = complaints.iter().map(Diagnostic::line).collect();
    assert_eq!(lines, [Some(27), Some(28)], "{complaints:#?}");
    // A question that is open is no example that holds.
    let text = PLAIN.replace("x = \"time:min\"\ny =", "y =");
    let layout = Layout::parse("tarn.toml", &text).expect("a layout");
    let complaints = layout.hold(&layout.examples()[0], example_bytes(&layout));
    assert!(
        complaints
            .iter()
            .any(|c| c.message.contains("leaves a question open")),
        "{complaints:#?}"
    );
}

#[test]
fn what_no_layout_can_say_is_refused_with_its_place() {
    for (from, to, line, words) in [
        (
            "version = \"1\"",
            "version = \"1\"\nspeed = 3",
            5,
            "unknown field",
        ),
        ("\"tarn\"", "\"Tarn bench\"", 2, "no name of a layout"),
        ("time:min", "time:fortnights", 10, "`fortnights` is none"),
        (
            "\"absorbance:{AU}\"\ndate",
            "\"absorbance\"\ndate",
            11,
            "has no unit",
        ),
        ("day-first", "sometimes", 12, "day-first"),
        ("\"path-length\"", "\"pathlength\"", 16, "no known field"),
        ("\"mm\"", "\"nmol\"", 17, "cannot be in"),
        ("\"25 °C\"\n\n", "\"warm\"\n\n", 24, "is no temperature"),
        (
            "technique = \"time-course\"",
            "technique = \"guess\"",
            32,
            "is no technique",
        ),
        ("[\"Tarn bench\"]", "[\"ab\"]", 7, "too short"),
        (
            "contains = [\"Tarn bench\"]",
            "file-name = \"*.csv\"",
            7,
            "every kind",
        ),
        ("contains = [\"Tarn bench\"]", "", 0, "nothing identifies"),
    ] {
        let text = PLAIN.replacen(from, to, 1);
        assert_ne!(text, PLAIN, "{from}");
        let why = Layout::parse("tarn.toml", &text).expect_err(words);
        assert_eq!(why.code.as_str(), "layout-wrong");
        let place = &why.labels[0].place;
        assert_eq!(place.file.as_deref(), Some("tarn.toml"));
        assert!(why.message.contains(words), "{why:?}");
        assert_eq!(place.line, line, "{why:?}");
    }
}

#[test]
fn two_layouts_that_know_a_file_are_an_open_question() {
    let mut readers = Readers::built_in();
    readers.add(Box::new(layout()));
    let other = PLAIN.replacen("\"tarn\"", "\"tarn-old\"", 1);
    readers.add(Box::new(Layout::parse("old.toml", &other).expect("a layout")));
    let source = Source::new("a.txt", example_bytes(&layout()));
    assert!(matches!(readers.choose(&source, None), ReaderChoice::Several(found) if found.len() == 2));
    let (_, reading) = readers.read(&source, Some("layout/tarn-old"));
    assert_eq!(reading.verdict(), Verdict::Read);
}

#[test]
fn what_a_person_says_weighs_more() {
    let mut assume = Assumptions::none();
    assume.add("x=time:s").expect("an assumption");
    let layout = layout();
    let source = Source::new("a.txt", example_bytes(&layout)).assuming(assume);
    let reading = layout.read(&source);
    assert_eq!(reading.runs[0].traces[0].x.unit, Unit::SECOND);
}

/// A draft parses, does not hold while a question is open, and holds once it is decided.
#[test]
fn a_draft_is_decided_by_hand() {
    let text = "0,0.8997\n10,0.8823\n20,0.8680\n30,0.8502\n40,0.8349\n";
    let source = Source::new("lab/two-columns.csv", text.as_bytes().to_vec());
    let (_, reading) = Readers::built_in().read(&source, None);
    let drafted = draft(&source, &reading, "two-columns.csv");
    let layout = Layout::parse("draft.toml", &drafted).expect("a draft is a layout");
    assert!(
        !layout
            .hold(&layout.examples()[0], text.as_bytes().to_vec())
            .is_empty()
    );
    let decided = drafted
        .replace("# x = \"time:s\"", "x = \"time:s\"")
        .replace("# y = \"absorbance:{AU}\"", "y = \"absorbance:{AU}\"");
    let layout = Layout::parse("draft.toml", &decided).expect("a layout");
    assert_eq!(
        layout.hold(&layout.examples()[0], text.as_bytes().to_vec()),
        [],
        "{decided}"
    );
}

/// Whatever is written about any text can be read back as a layout.
#[test]
fn drafts_of_odd_texts_are_layouts() {
    for text in [
        "",
        "no numbers\n",
        "a \"quoted\" head\tE\\1\n1\t2\n3\t4\n5\t6\n",
        "Wellenlänge;Ext\r\n400,0;0,1\r\n401,0;0,2\r\n402,0;0,3\r\n",
        "'''\n1 2\n3 4\n5 6\n",
        "key\u{1}: v\n1 2\n2 3\n3 4",
    ] {
        let source = Source::new("x/\"o'dd\" .t\u{7}xt", text.as_bytes().to_vec());
        let (_, reading) = Readers::built_in().read(&source, None);
        let drafted = draft(&source, &reading, "odd.txt");
        // A name may be too short to tell a file by; all else is sound.
        if let Err(why) = Layout::parse("draft.toml", &drafted) {
            assert!(why.message.contains("every kind"), "{why:?}\n{drafted}");
        }
    }
}

/// Every layout that comes with the program holds, whole and damaged.
#[test]
fn the_layouts_that_come_along_hold() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plugins/layouts");
    let mut tried = 0;
    for entry in std::fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("it can be listed").path();
        if path.extension().is_none_or(|ending| ending != "toml") {
            continue;
        }
        let text = std::fs::read_to_string(&path).expect("it can be read");
        let layout = Layout::parse(&path.display().to_string(), &text).expect("a layout");
        for example in layout.examples() {
            let bytes = example.text().expect("it holds its text").as_bytes().to_vec();
            assert_eq!(layout.hold(example, bytes.clone()), [], "{}", layout.name());
            let damage = layout.damage(example, &bytes);
            assert!(
                damage.complaints.is_empty(),
                "{}: {:#?}",
                layout.name(),
                damage.complaints
            );
        }
        tried += 1;
    }
    assert!(tried >= 3);
}

/// A table of an invented cell changer, whose heads say nothing.
const COLUMNS: &str = r#"
name = "changer"
title = "cells"
version = "1"

[recognise]
contains = ["cell changer"]

[table]
missing = [-9]

[[column]]
head = "clock"
quantity = "time"
unit = "s"

[[column]]
number = 2
quantity = "absorbance"
unit = "{AU}"
sample = "crocin"
held = { wavelength = "410 nm" }

[[column]]
head = "flag"
ignore = true

[[example]]
points = 3
first = [0, 0.1]
last = [60, 0.4]
text = """
cell changer
clock;cell;flag
0;0.1;1
20;0.2;1
40;-9;0
60;0.4;1
"""
"#;

#[test]
fn columns_are_what_the_layout_tells() {
    let layout = Layout::parse("changer.toml", COLUMNS).expect("a layout");
    let example = &layout.examples()[0];
    assert_eq!(layout.hold(example, example_bytes(&layout)), []);
    let reading = layout.read(&Source::new("a.txt", example_bytes(&layout)));
    let [trace] = reading.runs[0].traces.as_slice() else {
        panic!("one curve: {reading:?}")
    };
    assert_eq!(trace.label.as_deref(), Some("crocin"));
    assert_eq!(
        trace.held(&Quantity::WAVELENGTH).map(|held| held.value),
        Some(410.0)
    );
    assert!(
        reading.runs[0]
            .remarks
            .iter()
            .any(|remark| remark.code.as_str() == "sentinel-value"),
        "what was left out is told"
    );
    // A table without the column is not read.
    let other = "cell changer\nclock;cell\n0;0.1\n20;0.2\n40;0.3\n";
    let reading = layout.read(&Source::new("a.txt", other.as_bytes().to_vec()));
    assert!(reading.runs.is_empty());
    assert!(
        reading.remarks[0].message.contains("`flag`"),
        "{:?}",
        reading.remarks
    );
    for (from, to, words) in [
        ("number = 2", "number = 0", "counted from 1"),
        ("unit = \"s\"", "unit = \"nm\"", "cannot be in"),
        ("ignore = true", "", "needs `quantity`"),
        ("wavelength = \"410 nm\"", "speed = \"410 nm\"", "cannot be held"),
        ("\"410 nm\"", "\"410 °C\"", "is no wavelength"),
    ] {
        let text = COLUMNS.replacen(from, to, 1);
        assert_ne!(text, COLUMNS);
        let why = Layout::parse("changer.toml", &text).expect_err(words);
        assert!(why.message.contains(words) && why.line().is_some(), "{why:?}");
    }
}
