//! Diagnostics as people see them: in full with the lines they speak of, one line each, or JSON lines.

use std::fmt::Write as _;
use std::ops::Range;

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};
use curvary_record::{Diagnostic, Label, Place, Question, Severity};

use crate::questions::{plainly, quoted};
use crate::screen::Errors;

/// Where the drawing finds the lines of a file.
pub(crate) trait Texts {
    /// The decoded text of the file that a place names, or of the diagnostic's own file.
    fn text(&self, file: Option<&str>) -> Option<&str>;
}

/// No file's lines are at hand: only places are shown.
pub(crate) struct NoTexts;

impl Texts for NoTexts {
    fn text(&self, _: Option<&str>) -> Option<&str> {
        None
    }
}

impl Texts for curvary_formats::Source {
    fn text(&self, file: Option<&str>) -> Option<&str> {
        // Bytes that are plainly no text are not decoded to show a line of them.
        let own = file.is_none_or(|file| file == self.path());
        (own && self.may_be_text()).then(|| self.text())
    }
}

/// The word for a weight.
pub(crate) fn weight(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Warning => "warning",
        Severity::Error => "error",
    }
}

/// One diagnostic about the file at `path`, drawn in one of three ways; ends with a line end.
pub(crate) fn draw(path: Option<&str>, diagnostic: &Diagnostic, texts: &dyn Texts, errors: Errors) -> String {
    match errors {
        Errors::Full => full(path, diagnostic, texts),
        Errors::Short => format!("{}\n", short(path, diagnostic)),
        Errors::Json => {
            let line = serde_json::json!({ "path": path, "diagnostic": diagnostic });
            format!("{line}\n")
        }
    }
}

/// `file:line:column: error[code]: message`, with as much of the place as is known.
pub(crate) fn short(path: Option<&str>, diagnostic: &Diagnostic) -> String {
    let mut text = String::new();
    let place = diagnostic.labels.first().map(|label| &label.place);
    if let Some(file) = place.and_then(|place| place.file.as_deref()).or(path) {
        text.push_str(file);
        if let Some(part) = place.and_then(|place| place.part.as_deref()) {
            let _ = write!(text, ", {part}");
        }
        if let Some(place) = place.filter(|place| place.line > 0) {
            let _ = write!(text, ":{}", place.line);
            if place.column > 0 {
                let _ = write!(text, ":{}", place.column);
            }
        }
        if let Some(bytes) = place.and_then(|place| place.bytes) {
            let _ = write!(text, ":byte {}", bytes.start);
        }
        text.push_str(": ");
    }
    let _ = write!(
        text,
        "{}[{}]: {}",
        weight(diagnostic.severity),
        diagnostic.code,
        diagnostic.message
    );
    text
}

/// A text of a source as it may be shown: a control character must not steer the terminal.
pub(crate) fn clean(text: &str) -> String {
    crate::table::one_line(text)
}

/// A question with its plausible readings, drawn like a diagnostic.
pub(crate) fn question(path: Option<&str>, question: &Question, texts: &dyn Texts, errors: Errors) -> String {
    let mut diagnostic = Diagnostic::warning(question.code.clone(), question.message.clone());
    diagnostic.labels.clone_from(&question.labels);
    diagnostic.notes = question
        .readings
        .iter()
        .map(|reading| format!("`{}` would say: {}", plainly(&reading.assume), reading.says))
        .collect();
    diagnostic.help = question.readings.first().map(|reading| {
        let answer = quoted(&plainly(&reading.assume));
        format!("settle it with `--assume {answer}` or a note")
    });
    draw(path, &diagnostic, texts, errors)
}

fn full(path: Option<&str>, diagnostic: &Diagnostic, texts: &dyn Texts) -> String {
    let level = match diagnostic.severity {
        Severity::Note => Level::NOTE,
        Severity::Warning => Level::WARNING,
        Severity::Error => Level::ERROR,
    };
    let mut group = level
        .primary_title(diagnostic.message.as_str())
        .id(diagnostic.code.as_str())
        .elements(Vec::<Snippet<'_, annotate_snippets::Annotation<'_>>>::new());
    let mut labels = diagnostic.labels.iter().enumerate().peekable();
    if labels.peek().is_none()
        && let Some(path) = path
    {
        group = group.element(Origin::path(path));
    }
    for (index, label) in labels {
        group = place(group, path, label, index == 0, texts);
    }
    for note in &diagnostic.notes {
        group = group.element(Level::NOTE.message(note.as_str()));
    }
    if let Some(help) = &diagnostic.help {
        group = group.element(Level::HELP.message(help.as_str()));
    }
    let mut text = Renderer::styled()
        .decor_style(DecorStyle::Unicode)
        .render(&[group]);
    text.push('\n');
    text
}

/// Adds one place to a drawing: the line itself where its text is at hand.
fn place<'a>(
    group: Group<'a>,
    path: Option<&'a str>,
    label: &'a Label,
    primary: bool,
    texts: &'a dyn Texts,
) -> Group<'a> {
    let file = label.place.file.as_deref();
    let shown = file.or(path);
    // The text of a part of a source is not at hand.
    let whole = label.place.part.is_none();
    let cut = texts
        .text(file)
        .filter(|_| whole)
        .and_then(|text| Some((text, cut(text, &label.place)?)));
    match (cut, shown) {
        (Some((text, cut)), _) => {
            let kind = if primary {
                AnnotationKind::Primary
            } else {
                AnnotationKind::Context
            };
            let mut mark = kind.span(cut.marked);
            if !label.text.is_empty() {
                mark = mark.label(label.text.as_str());
            }
            let mut snippet = Snippet::source(&text[cut.lines])
                .line_start(cut.first)
                .fold(false)
                .annotation(mark);
            if let Some(shown) = shown {
                snippet = snippet.path(shown);
            }
            group.element(snippet)
        }
        (None, Some(shown)) => {
            let mut origin = match &label.place.part {
                Some(part) => Origin::path(format!("{shown}, {part}")),
                None => Origin::path(shown),
            };
            if label.place.line > 0 {
                origin = origin.line(label.place.line as usize);
                if label.place.column > 0 {
                    origin = origin.char_column(label.place.column as usize);
                }
            }
            let group = group.element(origin);
            if label.text.is_empty() {
                group
            } else {
                group.element(Level::NOTE.message(label.text.as_str()))
            }
        }
        (None, None) => group,
    }
}

/// The lines of a text that a place is drawn with.
struct Cut {
    /// The bytes of these lines.
    lines: Range<usize>,
    /// What is marked, in bytes from the start of `lines`.
    marked: Range<usize>,
    /// The first line's number.
    first: usize,
}

/// The longest piece of one line that is shown: a matrix's row may have a megabyte.
const LONGEST: usize = 400;

/// The line of a place, and the line before it, cut out of the text.
fn cut(text: &str, place: &Place) -> Option<Cut> {
    let line = usize::try_from(place.line).ok().filter(|&line| line > 0)?;
    let own = match place.span {
        Some(span) => {
            let at = text.get(..span.start as usize)?.len();
            let start = text[..at].rfind(['\n', '\r']).map_or(0, |end| end + 1);
            start..start + line_length(&text[start..])
        }
        None => nth_line(text, line)?,
    };
    let mut marked = match place.span {
        Some(span) => span.start as usize..(span.end as usize).min(own.end).max(span.start as usize),
        None => own.clone(),
    };
    let mut lines = own.clone();
    // A long line is shown around its mark.
    if lines.len() > LONGEST {
        let near = |mut at: usize| {
            while !text.is_char_boundary(at) {
                at -= 1;
            }
            at
        };
        lines.start = near(marked.start.saturating_sub(LONGEST / 4).max(own.start));
        lines.end = near((lines.start + LONGEST).min(own.end));
    }
    marked.end = marked.end.min(lines.end);
    text.get(marked.clone())?;
    let offset = lines.start;
    Some(Cut {
        lines,
        marked: marked.start - offset..marked.end - offset,
        first: line,
    })
}

/// How many bytes the first line has, without its end.
fn line_length(text: &str) -> usize {
    text.find(['\n', '\r']).unwrap_or(text.len())
}

/// Line `number` (from 1) of a text, without its end; lines end at LF, CR LF or a lone CR.
fn nth_line(text: &str, number: usize) -> Option<Range<usize>> {
    let bytes = text.as_bytes();
    let mut start = 0;
    for _ in 1..number {
        start += line_length(&text[start..]);
        start += match bytes.get(start..) {
            Some([b'\r', b'\n', ..]) => 2,
            Some([_, ..]) => 1,
            _ => return None,
        };
    }
    Some(start..start + line_length(&text[start..]))
}

#[cfg(test)]
mod tests {
    use curvary_record::{Code, LineTable, Span};

    use super::*;

    struct OneText(&'static str);
    impl Texts for OneText {
        fn text(&self, file: Option<&str>) -> Option<&str> {
            file.is_none().then_some(self.0)
        }
    }

    fn plain(text: &str) -> String {
        anstream::adapter::strip_str(text).to_string()
    }

    #[test]
    fn a_drawing_shows_the_line_and_marks_the_place() {
        let text = "nm,A\r\n400,0.1\r\n401,x.2\r\n";
        let at = text.find("x.2").expect("it is there");
        let place = LineTable::new(text).place(text, Span::new(at, at + 3));
        let diagnostic = Diagnostic::warning(Code::new("no-number"), "no number")
            .at(place, "expected an absorbance")
            .help("look at the export");
        let drawn = plain(&draw(Some("a.csv"), &diagnostic, &OneText(text), Errors::Full));
        assert!(drawn.starts_with("warning[no-number]: no number\n"), "{drawn}");
        assert!(drawn.contains("a.csv:3:5"), "{drawn}");
        assert!(drawn.contains("3 │ 401,x.2\n"), "{drawn}");
        assert!(drawn.contains("━━━ expected an absorbance"), "{drawn}");
        assert!(drawn.contains("help: look at the export"), "{drawn}");
        assert!(!drawn.contains('\r'), "{drawn}");
        let line = draw(Some("a.csv"), &diagnostic, &NoTexts, Errors::Short);
        assert_eq!(line, "a.csv:3:5: warning[no-number]: no number\n");
    }

    #[test]
    fn places_beyond_the_text_are_drawn_without_it() {
        let diagnostic = Diagnostic::error(Code::new("a"), "b").at(Place::line(9), "");
        let drawn = plain(&draw(
            Some("a.csv"),
            &diagnostic,
            &OneText("one\ntwo"),
            Errors::Full,
        ));
        assert!(drawn.contains("a.csv:9"), "{drawn}");
    }

    #[test]
    fn long_lines_are_cut_around_the_mark() {
        let text: &'static str =
            Box::leak(format!("{}µ{}", "1,".repeat(40_000), "2,".repeat(40_000)).into_boxed_str());
        let at = text.find('µ').expect("it is there");
        let place = LineTable::new(text).place(text, Span::new(at, at + 'µ'.len_utf8()));
        let drawn = draw(
            None,
            &Diagnostic::note(Code::new("a"), "b").at(place, "here"),
            &OneText(text),
            Errors::Full,
        );
        assert!(drawn.len() < 4_000, "{}", drawn.len());
        assert!(drawn.contains('µ'));
    }

    #[test]
    fn lines_are_found_whatever_ends_them() {
        let text = "a\r\nb\rc\nd";
        let found: Vec<&str> = (1..=4)
            .filter_map(|n| nth_line(text, n))
            .map(|range| &text[range])
            .collect();
        assert_eq!(found, ["a", "b", "c", "d"]);
        assert_eq!(nth_line(text, 5), None);
    }
}
