//! An example plugin in Rust, for an invented text form: time courses of several cuvettes, moment by moment.
//!
//! ```text
//! ~ribbon~1
//! ~light~ 480 nm
//! ~cuvette a~ betanin, first
//! ~cuvette b~ betanin, second
//! ~blank~ ?
//! <0,0 a 0,8100 b 0,7900><5,0 a 0,8000 b 0,7801>
//! ~moments~ 2
//! ```
//!
//! Build: `cargo build --release`, then copy the library from `target/release` beside plugin.toml.

use curvary_plugin_abi::{Column, Curve, Pair, Severity, Sink, Source, Span, Stop, Text};

curvary_plugin_abi::reader!(name: "ribbon", version: "1", read: read);

/// A cuvette: its letter, what is in it, its values so far.
struct Cuvette<'a> {
    letter: &'a str,
    sample: &'a str,
    cells: Vec<Text<'a>>,
}

fn read(source: &Source<'_>, sink: &Sink<'_>) -> Result<(), Stop> {
    let text = source.text();
    let warn = |code: &str, message: &str, part: &str| {
        sink.remark(Severity::Warning, code, message, place(text, part))
    };
    sink.begin_run("time-course")?;
    let mut cuvettes: Vec<Cuvette<'_>> = Vec::new();
    let mut times: Vec<Text<'_>> = Vec::new();
    let mut closed = false;
    for line in text.lines().skip(1).filter(|line| !line.trim().is_empty()) {
        if closed {
            warn("behind-the-end", "a line behind the count of moments was left out", line)?;
        } else if let Some((key, value)) = line.strip_prefix('~').and_then(|line| line.split_once('~')) {
            let value = value.trim();
            match key {
                "light" => sink.claim("wavelength", value)?,
                "warm" => sink.claim("temperature", value)?,
                "cell" => sink.claim("path length", value)?,
                "blank" if value == "?" => ask_for_blank(source, sink, &cuvettes)?,
                "blank" => sink.claim("blank", value)?,
                "moments" => {
                    closed = true;
                    if value.parse() != Ok(times.len()) {
                        warn("moments-missing", "the count of moments is another one", line)?;
                    }
                }
                key => match key.strip_prefix("cuvette ") {
                    Some(letter) => cuvettes.push(Cuvette {
                        letter,
                        sample: value,
                        cells: Vec::new(),
                    }),
                    None => warn("key-unknown", "a key that this plugin does not know was left out", line)?,
                },
            }
        } else {
            for moment in line.split_inclusive('>') {
                let inner = moment.trim().strip_prefix('<').and_then(|inner| inner.strip_suffix('>'));
                let parts: Vec<&str> = inner.unwrap_or("").split(' ').collect();
                let known = |(cuvette, pair): (&Cuvette<'_>, &[&str])| pair[0] == cuvette.letter;
                let whole = parts.len() == 1 + 2 * cuvettes.len()
                    && cuvettes.iter().zip(parts[1..].chunks(2)).all(known);
                if !whole || cuvettes.is_empty() {
                    warn("moment-unknown", "this is no moment of all cuvettes; it was left out", moment)?;
                    continue;
                }
                times.push(parts[0].into());
                for (cuvette, pair) in cuvettes.iter_mut().zip(parts[1..].chunks(2)) {
                    cuvette.cells.push(pair[1].into());
                }
            }
        }
    }
    if !closed {
        sink.remark(
            Severity::Warning,
            "moments-missing",
            "the ribbon does not end with the count of its moments: it may be cut off",
            Span::default(),
        )?;
    }
    sink.axis(&Column {
        quantity: "time",
        unit: "s",
        comma: true,
        cells: &times,
        ..Column::default()
    })?;
    for cuvette in &cuvettes {
        sink.curve(&Curve {
            label: cuvette.letter,
            column: Column {
                quantity: "absorbance",
                comma: true,
                cells: &cuvette.cells,
                ..Column::default()
            },
            claims: &[Pair::new("sample", cuvette.sample)],
            ..Curve::default()
        })?;
    }
    sink.end_run()
}

/// The file leaves open which cuvette is the blank: a person knows.
fn ask_for_blank(source: &Source<'_>, sink: &Sink<'_>, cuvettes: &[Cuvette<'_>]) -> Result<(), Stop> {
    if let Some(letter) = source.settled("blank") {
        return sink.claim("blank", letter);
    }
    let said: Vec<(String, String)> = cuvettes
        .iter()
        .map(|cuvette| (cuvette.letter.to_owned(), format!("{} is the blank", cuvette.sample)))
        .chain([("none".to_owned(), "there is no blank".to_owned())])
        .collect();
    let answers: Vec<(&str, &str)> = said.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    sink.question("blank", "the file does not say which cuvette is the blank", &answers)
}

/// Where a part of the text stands.
fn place(text: &str, part: &str) -> Span {
    let start = (part.as_ptr() as usize).wrapping_sub(text.as_ptr() as usize) as u64;
    Span {
        start,
        end: start + part.len() as u64,
    }
}
