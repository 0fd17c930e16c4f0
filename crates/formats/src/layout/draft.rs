//! A first layout, written from what was understood of a file and to be corrected by hand.
//!
//! What a person has settled stands as a line; what is open stands as lines to be decided, each behind a `#`. A draft
//! whose questions are open is a layout whose example does not hold, so it is not used before it is decided.

use std::fmt::Write as _;

use curvary_record::interpret::{guess_word, interpret};
use curvary_record::{Quantity, Run, Technique, Value};

use super::description::can_settle;
use super::example::{axis_of, pair};
use crate::{Reading, Source};

/// A text up to this length, in bytes, is taken into the layout.
const LONGEST_INSIDE: usize = 64 << 10;

/// Writes a first layout. `file` is how the layout's folder names the source, for texts that are too long to be held.
#[must_use]
pub fn draft(source: &Source, reading: &Reading, file: &str) -> String {
    let mut text = String::new();
    let name = source.path().rsplit('/').next().unwrap_or("");
    let _ = write!(
        text,
        "# A layout, drafted from `{}`.\n\
         # Correct it by hand: a line behind a `#` is not used. `curvary readers check` tries it.\n\
         name = {}\n\
         title = {}\n\
         version = \"1\"\n",
        one_line(name),
        quoted(&slug(name)),
        quoted(&format!("text exports like {}", one_line(name))),
    );
    recognise(&mut text, source, reading);
    settle(&mut text, source, reading);
    keys(&mut text, reading);
    text.push_str(
        "\n# What the export never says, by known field, such as temperature = \"25 °C\".\n[fields]\n",
    );
    example(&mut text, source, reading, file);
    text
}

fn recognise(text: &mut String, source: &Source, reading: &Reading) {
    text.push_str(
        "\n# How files of this shape are recognised among all others: every line here must hold. Leave standing what all of them\n\
         # have in common, and nothing that belongs to this one file.\n[recognise]\n",
    );
    let name = source.path().rsplit('/').next().unwrap_or("");
    let heads = heads(source, reading);
    let title = title(source, reading);
    if let Some(title) = &title {
        let _ = writeln!(text, "contains = [{}]", quoted(title));
    }
    if heads.len() >= 2 {
        let heads: Vec<String> = heads.iter().map(|head| quoted(head)).collect();
        let _ = writeln!(text, "columns = [{}]", heads.join(", "));
    }
    let by_name = title.is_none() && heads.len() < 2;
    if by_name {
        text.push_str(
            "# No words in the file identify it, so its name must: `*` stands for any letters, `?` for one.\n",
        );
    }
    let _ = writeln!(
        text,
        "{}file-name = {}",
        if by_name { "" } else { "# " },
        quoted(&one_line(name))
    );
}

/// The heads of the first curves that stand together in one line.
fn heads(source: &Source, reading: &Reading) -> Vec<String> {
    let mut heads: Vec<String> = Vec::new();
    let Some(run) = reading.runs.first() else {
        return heads;
    };
    for trace in run.traces.iter().take(4) {
        for head in [&trace.x.name, &trace.y.name].into_iter().flatten() {
            if !heads.contains(head) {
                heads.push(head.clone());
            }
        }
    }
    let glimpse = source.glimpse();
    let together = |line: &str| super::recognise::has_heads(line, &heads);
    if glimpse.head().lines().any(together) {
        heads
    } else {
        Vec::new()
    }
}

/// The first line of the file, where it is of words alone: no key, no number.
fn title(source: &Source, reading: &Reading) -> Option<String> {
    let first_row = reading
        .runs
        .first()
        .and_then(|run| run.source.lines)
        .map_or(u32::MAX, |(first, _)| first);
    let line = source.text().lines().next()?.trim();
    let words = line.chars().filter(|c| c.is_alphabetic()).count() >= 6
        && !line.contains(|c: char| c.is_ascii_digit() || matches!(c, ':' | '=' | '\t' | ';'))
        && line.chars().count() <= 80
        && !line.chars().any(char::is_control);
    (words && first_row > 2).then(|| line.to_owned())
}

/// What one key of `[settle]` can answer: all questions about it, since the key stands once.
struct OpenKey<'a> {
    about: &'a str,
    messages: Vec<&'a str>,
    answers: Vec<(&'a str, &'a str)>,
}

/// At most so many keys of `[settle]` are to be decided in a draft.
const MOST_OPEN: usize = 12;

/// What is open about a reading and can be settled in a layout, by key. A question is told where its likeliest answer stands, and
/// not again where another answer of it does.
fn open(reading: &Reading) -> Vec<OpenKey<'_>> {
    let mut all: Vec<OpenKey<'_>> = Vec::new();
    for question in reading.runs.iter().flat_map(|run| &run.questions) {
        let mut told = false;
        for offered in &question.readings {
            let Some((about, answer)) = offered.assume.split_once('=') else {
                continue;
            };
            if !can_settle(about) {
                continue;
            }
            let at = all
                .iter()
                .position(|open| open.about == about)
                .unwrap_or_else(|| {
                    all.push(OpenKey {
                        about,
                        messages: Vec::new(),
                        answers: Vec::new(),
                    });
                    all.len() - 1
                });
            let open = &mut all[at];
            if !told && !open.messages.contains(&question.message.as_str()) {
                open.messages.push(&question.message);
            }
            told = true;
            if !open.answers.iter().any(|(known, _)| *known == answer) {
                open.answers.push((answer, &offered.says));
            }
        }
    }
    all.truncate(MOST_OPEN);
    all
}

fn settle(text: &mut String, source: &Source, reading: &Reading) {
    text.push_str("\n# What files of this shape leave open.\n[settle]\n");
    for (about, answer) in source.assume().iter() {
        if !can_settle(about) {
            let _ = writeln!(
                text,
                "# {} was settled too, which no table of text asks",
                one_line(about)
            );
            continue;
        }
        let _ = writeln!(
            text,
            "{} = {}",
            toml_key(about),
            quoted(&with_unit(about, answer, reading))
        );
    }
    let open = open(reading);
    for one in &open {
        for message in &one.messages {
            let _ = write!(text, "# TO BE DECIDED: {}", one_line(message));
            text.push_str(if message.ends_with(['?', '.']) {
                "\n"
            } else {
                ".\n"
            });
        }
        if one.messages.is_empty() {
            let _ = writeln!(
                text,
                "# What is asked above has an answer about `{}` too.",
                one.about
            );
        }
        text.push_str("# Take the `#` from the line that is right.\n");
        for (answer, says) in &one.answers {
            let _ = writeln!(
                text,
                "# {} = {}  # {}",
                toml_key(one.about),
                quoted(answer),
                one_line(says)
            );
        }
        if matches!(one.about, "x" | "y") {
            let _ = writeln!(
                text,
                "# If none is: write {} = \"QUANTITY:UNIT\" with another quantity and its UCUM unit.",
                one.about
            );
        }
    }
    if open.iter().any(|one| matches!(one.about, "x" | "y")) {
        columns(text, source, reading, &open);
    }
}

/// An answer about an axis with the unit that was read, where it names none: a layout says the unit always.
fn with_unit(about: &str, answer: &str, reading: &Reading) -> String {
    let trace = reading.runs.first().and_then(|run| run.traces.first());
    let column = match about {
        "x" => trace.map(|trace| &trace.x),
        "y" => trace.map(|trace| &trace.y),
        _ => None,
    };
    match column {
        Some(column) if column.quantity.as_str() == answer && answer != "index" => axis_of(column),
        _ => answer.to_owned(),
    }
}

/// What says the same for one table or one column, where an answer would not be right for all: as remarks, since the built-in
/// reader understood without it.
fn columns(text: &mut String, source: &Source, reading: &Reading, open: &[OpenKey<'_>]) {
    let tables: Vec<u32> = {
        let mut first_lines: Vec<u32> = reading
            .runs
            .iter()
            .filter_map(|run| run.source.lines.map(|(first, _)| first))
            .collect();
        first_lines.sort_unstable();
        first_lines.dedup();
        first_lines
    };
    if let [_, .., last] = tables.as_slice() {
        let of_last = |run: &&Run| run.source.lines.is_some_and(|(first, _)| first == *last);
        let heads: Vec<&str> = reading
            .runs
            .iter()
            .filter(of_last)
            .flat_map(|run| &run.traces)
            .flat_map(|trace| [trace.x.name.as_deref(), trace.y.name.as_deref()])
            .flatten()
            .filter(|head| !head.trim().is_empty())
            .collect();
        let above = source
            .text()
            .lines()
            .take((*last as usize).saturating_sub(1))
            .filter(|line| line.chars().filter(|c| c.is_alphabetic()).count() >= 3)
            // The header belongs to the table: it must not stand above what is looked at.
            .filter(|line| !heads.iter().any(|head| line.contains(head)))
            .last();
        let _ = write!(
            text,
            "\n# {} tables were read. If the readings stand only in the last one, name a line above it: nothing before it is a table then.\n\
             # [table]\n# after = {}\n",
            tables.len(),
            quoted(&one_line(above.unwrap_or("LINE ABOVE THE TABLE").trim())),
        );
    }
    let mut told: Vec<&str> = Vec::new();
    for trace in reading.runs.iter().flat_map(|run| &run.traces) {
        for (axis, column) in [("x", &trace.x), ("y", &trace.y)] {
            let Some(head) = column.name.as_deref().filter(|head| !head.trim().is_empty()) else {
                continue;
            };
            if told.contains(&head) || told.len() == MOST_OPEN || head.contains(char::is_control) {
                continue;
            }
            if told.is_empty() {
                text.push_str(
                    "\n# If an answer is not right for every column, say it column by column; what is in CAPITALS is yours to fill in. A\n\
                     # table without one of these columns is not read. `ignore = true` in place of quantity and unit leaves one out.\n",
                );
            }
            told.push(head);
            // What is in no doubt is written out already.
            let is_open = column.quantity == Quantity::UNKNOWN || open.iter().any(|one| one.about == axis);
            let (quantity, unit) = match is_open {
                true => ("QUANTITY", "UNIT"),
                false => (column.quantity.as_str(), column.unit.code()),
            };
            let _ = writeln!(
                text,
                "# [[column]]\n# head = {}\n# quantity = {}\n# unit = {}",
                quoted(head),
                quoted(quantity),
                quoted(unit)
            );
        }
    }
}

fn keys(text: &mut String, reading: &Reading) {
    let mut unknown: Vec<(&str, &str)> = Vec::new();
    for (key, claims) in reading.runs.iter().flat_map(|run| run.fields.iter()) {
        let of_layouts = |c: char| !c.is_control();
        if key.known().is_none()
            && key.as_str().chars().all(of_layouts)
            && !unknown.iter().any(|(other, _)| *other == key.as_str())
            && let Some(claim) = claims.first()
        {
            unknown.push((key.as_str(), claim.raw.as_str()));
        }
    }
    if unknown.is_empty() {
        return;
    }
    text.push_str(
        "\n# Keys that are no known field. Say what they mean; what is left here is kept under its own spelling.\n",
    );
    for (key, raw) in unknown.into_iter().take(24) {
        let guess = guess_word(key, &[raw]).map_or("", |(field, _)| field);
        let _ = writeln!(
            text,
            "# [[key]]  # here {}\n# key = {}\n# field = {}",
            quoted(&one_line(raw)),
            quoted(key),
            quoted(guess)
        );
    }
}

fn example(text: &mut String, source: &Source, reading: &Reading, file: &str) {
    text.push_str(
        "\n# The file with what was read of it. Compare the numbers with the file itself before you trust them.\n[[example]]\n",
    );
    let runs: &[Run] = &reading.runs;
    if runs.len() != 1 {
        let _ = writeln!(text, "runs = {}", runs.len());
    }
    let points: usize = runs.iter().map(Run::points).sum();
    let _ = writeln!(text, "points = {points}");
    let first = runs.first().and_then(|run| run.traces.first());
    let last = runs.last().and_then(|run| run.traces.last());
    let at = |found: Option<(f64, f64)>| found.map_or_else(|| pair(0.0, 0.0), |(x, y)| pair(x, y));
    let first_point = first.and_then(|t| Some((*t.x.values.first()?, *t.y.values.first()?)));
    let last_point = last.and_then(|t| Some((*t.x.values.last()?, *t.y.values.last()?)));
    let _ = writeln!(text, "first = {}\nlast = {}", at(first_point), at(last_point));
    let open = open(reading);
    let asked = |about: &str| open.iter().any(|one| one.about == about);
    for (axis, column) in [
        ("x", first.map(|trace| &trace.x)),
        ("y", first.map(|trace| &trace.y)),
    ] {
        match column.filter(|column| column.quantity != Quantity::UNKNOWN && !asked(axis)) {
            Some(column) => {
                let _ = writeln!(text, "{axis} = {}", quoted(&axis_of(column)));
            }
            None => {
                let _ = writeln!(text, "# {axis} = \"QUANTITY:UNIT\"  # as it is decided above");
            }
        }
    }
    if let Some(run) = runs.first() {
        if run.technique != Technique::UNKNOWN {
            let _ = writeln!(text, "technique = {}", quoted(run.technique.as_str()));
        }
        let fields: Vec<String> = run
            .fields
            .iter()
            .filter(|(key, _)| key.known().is_some())
            .filter_map(|(key, claims)| {
                let claim = claims.first()?;
                let raw = match &claim.value {
                    Value::Number(value) => {
                        let unit = claim
                            .unit
                            .as_ref()
                            .map_or(String::new(), |unit| format!(" {}", unit.display()));
                        format!("{value}{unit}")
                    }
                    Value::Text(value) if matches!(key.as_str(), "sample" | "date" | "time") => value.clone(),
                    _ => return None,
                };
                // Only what can be understood from here as it was from the file is expected.
                let again = interpret(key, &raw, None);
                let sure = again.fits && again.question.is_none();
                let agrees = again.claim(raw.as_str(), claim.origin.clone()).agrees(claim);
                (sure && agrees).then(|| format!("{key} = {}", quoted(&raw)))
            })
            .collect();
        if !fields.is_empty() {
            let _ = writeln!(text, "fields = {{ {} }}", fields.join(", "));
        }
    }
    let content = source.text();
    let inside = content.len() <= LONGEST_INSIDE
        && !content.contains("'''")
        && !content.contains(|c: char| c.is_control() && !matches!(c, '\n' | '\t' | '\r'))
        && !content.replace("\r\n", "\n").contains('\r');
    if inside {
        let _ = writeln!(text, "path = {}", quoted(&one_line(name_of(source))));
        // The first line end behind the quotes is none of the text's.
        let end = if content.ends_with('\n') {
            ""
        } else {
            "\n# the file does not end its last line\n"
        };
        let _ = write!(text, "text = '''\n{content}'''\n{}", end.trim_start());
    } else {
        let _ = writeln!(text, "file = {}", quoted(file));
    }
}

fn name_of(source: &Source) -> &str {
    source.path().rsplit('/').next().unwrap_or("")
}

/// A name of small letters, digits and hyphens.
fn slug(name: &str) -> String {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let mut slug = String::new();
    for c in stem.chars().take(40) {
        if c.is_ascii_alphanumeric() {
            slug.push(c.to_ascii_lowercase());
        } else if !slug.ends_with('-') && !slug.is_empty() {
            slug.push('-');
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() {
        "drafted".to_owned()
    } else {
        slug.to_owned()
    }
}

/// A text as a TOML string of one line.
fn quoted(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => {
                out.push('\\');
                out.push(c);
            }
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A key of TOML: bare where it can be, as most are.
fn toml_key(key: &str) -> String {
    let is_bare = !key.is_empty()
        && key
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_'));
    if is_bare { key.to_owned() } else { quoted(key) }
}

/// A text without what would end a line or a remark.
fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}
