// What is attacked, shared by the targets of `cargo fuzz` and the bounded test on stable Rust.

use curvary_formats::layout::Layout;
use curvary_formats::{Reader, Readers, Source, column_header, container, preamble, readers};
use curvary_record::{Run, interpret, moment, unit};

/// Laws that hold for every run of every reader, whatever the bytes.
fn check(source: &Source, runs: &[Run]) {
    for run in runs {
        for trace in &run.traces {
            assert_eq!(trace.x.values.len(), trace.y.values.len());
            assert!(
                trace
                    .x
                    .values
                    .iter()
                    .chain(trace.y.values.iter())
                    .all(|value| value.is_finite())
            );
            assert!(trace.lines.is_empty() || trace.lines.len() == trace.len());
            // Memory stays a small multiple of the input: no number comes from nowhere. Compressed forms may repeat.
            assert!(trace.len() <= 64 * source.bytes().len() + 16);
        }
        let places = run.remarks.iter().flat_map(|remark| &remark.labels);
        for label in places {
            if let Some(span) = label.place.span {
                assert!(source.text().get(span.range()).is_some(), "{label:?}");
            }
        }
    }
}

/// Decoding alone.
pub(crate) fn source(bytes: &[u8]) -> Source {
    let source = Source::new("attack.txt", bytes.to_vec());
    assert_eq!(source.bytes(), bytes);
    source
}

/// The text-table reader.
pub(crate) fn text_table(bytes: &[u8]) {
    let source = source(bytes);
    let reading = readers::TextTable::default().read(&source);
    check(&source, &reading.runs);
}

/// The JCAMP-DX reader.
pub(crate) fn jcamp_dx(bytes: &[u8]) {
    let source = source(bytes);
    let reading = readers::JcampDx::default().read(&source);
    check(&source, &reading.runs);
}

/// The reader of tidy CSV.
pub(crate) fn tidy_csv(bytes: &[u8]) {
    let source = source(bytes);
    let reading = readers::TidyCsv::default().read(&source);
    check(&source, &reading.runs);
}

/// Recognition and whatever reader it chooses.
pub(crate) fn recognition(bytes: &[u8]) {
    let source = source(bytes);
    let (_, reading) = Readers::built_in().read(&source, None);
    check(&source, &reading.runs);
}

/// Containers.
pub(crate) fn containers(bytes: &[u8]) {
    if container::is_container(bytes) {
        for _ in
            container::members("attack.zip", bytes.to_vec(), container::UnpackLimits::default()).take(100)
        {
        }
    }
}

/// Lines, heads, units, dates and values.
pub(crate) fn words(bytes: &[u8]) {
    let source = source(bytes);
    for line in source.text().lines().take(40) {
        for pair in preamble::pairs(line) {
            let key = &line[pair.key];
            let value = &line[pair.value];
            let _ = interpret::interpret(&key.into(), value, None);
            let _ = moment::read(value, None);
            let _ = unit::spelled(value);
        }
        let _ = column_header::read_column_header(line.get(..line.len().min(80)).unwrap_or(""));
    }
}

/// Layout files, and what each reader says line by line.
pub(crate) fn layouts(bytes: &[u8]) {
    let source = source(bytes);
    if let Ok(layout) = Layout::parse("attack.toml", source.text()) {
        check(&source, &layout.read(&source).runs);
    }
    for reader in Readers::built_in().iter() {
        for part in reader.explain(&source) {
            assert!(part.first <= part.last, "{part:?}");
        }
    }
}

/// All of them.
#[allow(dead_code, reason = "each target of cargo fuzz attacks one part")]
pub(crate) fn all(bytes: &[u8]) {
    text_table(bytes);
    jcamp_dx(bytes);
    tidy_csv(bytes);
    recognition(bytes);
    containers(bytes);
    words(bytes);
    layouts(bytes);
}
