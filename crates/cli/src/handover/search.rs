//! Looks for what was left out in files that are written, whatever their form: the last check before they get their names.
//!
//! Texts are looked through as they stand. Of a workbook the members of its ZIP file are unpacked, of Parquet the cells of
//! text, the names of columns and the descriptions in the metadata are read back, of a printed report the words of its pages.

use std::borrow::Cow;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::ops::Range;

use curvary_formats::writers::parquet;
use curvary_formats::{Source, printed_text};
use zip::ZipArchive;

use super::leaving::LeftOutValue;
use super::{LeftOutValues, escapes};

/// Blanks, line ends and underscores are one blank, however many stand there: `M._Example` is `M. Example`.
pub(super) fn is_blank(sign: char) -> bool {
    sign.is_whitespace() || sign == '_'
}

/// A text with such blanks, and where each of its bytes stood.
pub(super) struct FoldedText<'t> {
    pub(super) text: Cow<'t, str>,
    /// Empty where nothing has moved.
    places: Vec<usize>,
}

impl<'t> FoldedText<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        let mut before = false;
        let plain = text.chars().all(|sign| {
            let blank = is_blank(sign);
            let stays = !blank || sign == ' ' && !before;
            before = blank;
            stays
        });
        if plain {
            return Self {
                text: Cow::Borrowed(text),
                places: Vec::new(),
            };
        }
        let (mut folded, mut places) = (String::with_capacity(text.len()), Vec::with_capacity(text.len()));
        for (at, sign) in text.char_indices() {
            if !is_blank(sign) {
                folded.push(sign);
                places.extend(at..at + sign.len_utf8());
            } else if !folded.ends_with(' ') {
                folded.push(' ');
                places.push(at);
            }
        }
        places.push(text.len());
        Self {
            text: Cow::Owned(folded),
            places,
        }
    }

    /// Where a stretch of the folded text, which ends with no blank, stood.
    pub(super) fn stood(&self, range: &Range<usize>) -> Range<usize> {
        let place = |at: usize| self.places.get(at).copied();
        match (place(range.start), range.end.checked_sub(1).and_then(place)) {
            (Some(start), Some(last)) => start..last + 1,
            _ => range.clone(),
        }
    }
}

/// A value that was left out and stands in a finished file all the same.
///
/// # Errors
/// When the file cannot be read back.
pub(crate) fn found_in_file(gone: &LeftOutValues, mut file: File) -> io::Result<Option<LeftOutValue>> {
    if !gone.looks() {
        return Ok(None);
    }
    let mut first = Vec::new();
    file.by_ref().take(5).read_to_end(&mut first)?;
    file.seek(SeekFrom::Start(0))?;
    match first.as_slice() {
        [b'P', b'K', 3, 4, ..] => in_zip(gone, file),
        [b'P', b'A', b'R', b'1', ..] => in_parquet(gone, file),
        b"%PDF-" => {
            let mut bytes = Vec::new();
            file.read_to_end(&mut bytes)?;
            let text = printed_text(&Source::new("report.pdf", bytes)).map_err(|why| {
                io::Error::other(format!("what was printed does not read back: {}", why.message))
            })?;
            found_in(gone, text.as_bytes())
        }
        _ => found_in(gone, file),
    }
}

fn in_zip(gone: &LeftOutValues, file: File) -> io::Result<Option<LeftOutValue>> {
    let mut zip = ZipArchive::new(file)?;
    for at in 0..zip.len() {
        let member = zip.by_index(at)?;
        if let Some(value) = gone.found_in_text(&member.name()?) {
            return Ok(Some(value));
        }
        if let Some(value) = found_in(gone, member)? {
            return Ok(Some(value));
        }
    }
    Ok(None)
}

fn in_parquet(gone: &LeftOutValues, file: File) -> io::Result<Option<LeftOutValue>> {
    let mut found = None;
    parquet::each_text(file, |text| {
        if found.is_none() {
            found = gone.found_in_text(text);
        }
        found.is_none()
    })?;
    Ok(found)
}

/// Undone escapes may be blanks.
fn single_blanks(text: Cow<'_, str>) -> Cow<'_, str> {
    let folded = match FoldedText::new(&text).text {
        Cow::Owned(folded) => Some(folded),
        Cow::Borrowed(_) => None,
    };
    folded.map_or(text, Cow::Owned)
}

/// A value that was left out and stands in a text all the same. The text is looked through piece by piece.
pub(super) fn found_in(gone: &LeftOutValues, mut file: impl Read) -> io::Result<Option<LeftOutValue>> {
    const PIECE: usize = 1 << 20;
    if !gone.looks() {
        return Ok(None);
    }
    // What stands over the end of a piece stands whole in the next one, with a letter before it.
    let overlap = (gone.longest() + 4) * escapes::LONGEST_ESCAPE;
    let (mut piece, mut held, mut first) = (Vec::with_capacity(PIECE), Vec::new(), true);
    loop {
        piece.clear();
        file.by_ref().take(PIECE as u64).read_to_end(&mut piece)?;
        let last = piece.len() < PIECE;
        for &byte in &piece {
            let blank = byte == b'_' || byte.is_ascii_whitespace() || byte == 0x0b;
            if !blank {
                held.push(byte);
            } else if held.last() != Some(&b' ') {
                held.push(b' ');
            }
        }
        let text = String::from_utf8_lossy(&held);
        for (layer, text) in escapes::layers(&text).enumerate() {
            // At the ends an escape may be cut, so that what is beside a value is not known.
            let margin = if layer == 0 { 0 } else { escapes::LONGEST_ESCAPE };
            let text = if layer == 0 { text } else { single_blanks(text) };
            let within = |range: &Range<usize>| {
                (first || range.start > margin) && (last || range.end + margin < text.len())
            };
            let found = gone
                .whole_words(&text)
                .into_iter()
                .find(|(range, _)| within(range));
            if let Some((_, value)) = found {
                return Ok(Some(value.clone()));
            }
        }
        if last {
            return Ok(None);
        }
        let keep = held.len().saturating_sub(overlap);
        first &= keep == 0;
        held.drain(..keep);
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use super::*;

    fn gone(values: &[&str]) -> LeftOutValues {
        LeftOutValues::of_values(values)
    }

    #[test]
    fn values_are_found_as_words() {
        let all = gone(&["M. Example", "Größe"]);
        let found = |text: &str| found_in(&all, text.as_bytes()).unwrap().map(|value| value.text);
        assert_eq!(found("by m. example, 2019").as_deref(), Some("M. Example"));
        assert_eq!(found("counterm. example"), None);
        assert!(found("der Größe").is_some());
        // However the blank between them is written.
        for blank in ["  ", "\t", "_", " \r\n  ", "\u{a0}"] {
            let text = format!("by M.{blank}Example");
            assert!(all.found_in_text(&text).is_some(), "{text:?}");
            assert!(!blank.is_ascii() || found(&text).is_some(), "{text:?}");
        }
        // Over the end of a piece, and where a piece begins within a word.
        for front in [(1 << 20) - 5, (1 << 20) - 11, (1 << 20) - 19, 1 << 20] {
            let text = |before: &str| format!("{}{before}m. example.", "-".repeat(front));
            assert!(found(&text(" ")).is_some(), "{front}");
            assert!(found(&text("x")).is_none(), "{front}");
        }
        assert!(found(&format!("M.{}Example", " ".repeat(3 << 20))).is_some());
    }

    #[test]
    fn escaped_values_are_found() {
        let all = gone(&["M. Größe & Co", "an \"old\" hand"]);
        let found = |text: &str| found_in(&all, text.as_bytes()).unwrap().is_some();
        for text in [
            r#"{"by":"M. Gr\u00f6\u00dfe & Co"}"#,
            "<by>M. Größe &amp; Co</by>",
            "https://example.org/?by=M.%20Gr%C3%B6%C3%9Fe%20%26%20Co&on=1",
            "1,\"an \"\"old\"\" hand\",2",
            r#"{"by":"an \"old\" hand"}"#,
        ] {
            assert!(found(text), "{text}");
            assert!(all.found_in_text(text).is_some(), "{text}");
            // Over the end of a piece.
            for front in [(1 << 20) - 9, (1 << 20) - 30] {
                assert!(found(&format!("{} {text}", "-".repeat(front))), "{text}");
                assert!(
                    found(&format!("{} {text}{}", "-".repeat(front), " -".repeat(1 << 19))),
                    "{text}"
                );
            }
        }
        assert!(!found("M. Gr%C3%B6%C3%9Fe %26 Company"));
    }

    #[test]
    fn places_are_those_of_the_text_before() {
        let text = "öl\t__ M.  Example";
        let folded = FoldedText::new(text);
        assert_eq!(folded.text, "öl M. Example");
        let at = folded.text.find("M. Example").unwrap();
        assert_eq!(&text[folded.stood(&(at..at + 10))], "M.  Example");
    }

    /// Written without anything being replaced, the value must be found, whatever the form.
    #[test]
    fn a_value_that_stays_is_found_in_every_form() {
        use crate::output::{ExistingFile, Format, OutputOptions};

        let text = "Sample: dye of M. Example\nTime (s),Absorbance\n0,0.5\n1,0.4\n2,0.3\n3,0.25\n";
        let source = Source::new("a.csv", text.as_bytes().to_vec());
        let (_, reading) = curvary_formats::Readers::built_in().read(&source, None);
        let runs = reading.runs;
        assert_eq!(runs.len(), 1);
        let folder = tempfile::tempdir().unwrap();
        for (to, name) in [
            (Format::Csv, "a.csv"),
            (Format::WideCsv, "wide.csv"),
            (Format::Tables, "tables"),
            (Format::Xlsx, "a.xlsx"),
            (Format::Parquet, "parquet"),
            (Format::JcampDx, "a.jdx"),
            (Format::Animl, "a.animl"),
            (Format::Json, "a.json"),
            (Format::JsonLines, "a.jsonl"),
            (Format::Report, "a.html"),
            (Format::Report, "a.pdf"),
        ] {
            let target = folder.path().join(name);
            let written = OutputOptions::of(to)
                .prepare(&target, ExistingFile::Stays, &runs)
                .unwrap();
            let files = written.0.unwrap();
            let look = |value: &str| files.any(|file| found_in_file(&gone(&[value]), file)).unwrap();
            assert!(look("M. Example").is_some(), "{name}");
            assert!(look("M. Exampl").is_none(), "{name}");
        }
    }

    #[test]
    fn members_of_a_zip_file_are_unpacked() {
        let mut file = tempfile::tempfile().unwrap();
        let mut zip = zip::ZipWriter::new(&mut file);
        let packed =
            zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
        zip.start_file("sheet.xml", packed).unwrap();
        zip.write_all("<t>by M. Example</t>".repeat(100).as_bytes())
            .unwrap();
        zip.finish().unwrap();
        file.seek(SeekFrom::Start(0)).unwrap();
        let found = found_in_file(&gone(&["M. Example"]), file).unwrap();
        assert_eq!(found.map(|value| value.text).as_deref(), Some("M. Example"));
    }
}
