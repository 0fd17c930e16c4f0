//! A file's bytes, decoded once, when the first reader asks for their text.

mod guess;
mod sight;
mod signs;

use std::sync::{Arc, OnceLock};

use curvary_record::{Code, Diagnostic, Digest, LineTable, Place, Span};

pub(crate) use self::sight::{frames, is_control};
use crate::container;
use crate::hints::Hints;
use crate::intake::{Intake, is_ordinary};
use crate::{Assumptions, SourcePreview};

/// The bytes of one file and the text they are, with everything that is said about the file from outside.
///
/// The bytes are decoded when their text is asked for, and only once; a reader that wants bytes costs no decoding.
pub struct Source {
    path: String,
    digest: Digest,
    /// Whether the text is known to have none of the signs that a reader looks for in all of it.
    ordinary: bool,
    /// Shared by the copies of a source.
    file: Arc<File>,
    /// A text that stands in place of the file's own.
    own: Option<String>,
    assume: Assumptions,
    told: Hints,
    /// Whether `own` is another document's tables, written out.
    rendered: bool,
    lines: OnceLock<LineTable>,
}

/// What a file holds.
enum File {
    /// Plain UTF-8 without oddities: the text is the bytes.
    Text(String),
    /// Anything else.
    Bytes(EncodedBytes),
}

/// Bytes that are decoded when somebody asks.
struct EncodedBytes {
    bytes: Vec<u8>,
    decoded: OnceLock<DecodedText>,
    /// The beginning of the text of a long file, for recognition alone.
    head: OnceLock<String>,
    /// Whether a reader has asked for the text, and not for its beginning alone.
    asked: OnceLock<()>,
}

/// What stands for an encoding where there is no text.
const BINARY: &str = "binary";

/// So much of a file's beginning is decoded for recognition: enough to tell the encoding.
const HEAD: usize = 1 << 16;

impl EncodedBytes {
    fn decoded(&self) -> &DecodedText {
        self.decoded.get_or_init(|| decode(&self.bytes))
    }

    /// At least the first 8 KiB of the text.
    fn head(&self) -> &str {
        let Some(start) = self.bytes.get(..HEAD).filter(|_| self.bytes.len() > HEAD) else {
            return &self.decoded().text;
        };
        // No character is cut where a line ends; in UTF-16 a line end is two bytes.
        let end = memchr::memrchr(b'\n', start).map_or(HEAD, |at| (at + 1).next_multiple_of(2));
        self.head
            .get_or_init(|| decode(start.get(..end).unwrap_or(start)).text)
    }
}

impl Source {
    /// The source of `bytes`, which stood at `path`.
    #[must_use]
    pub fn new(path: impl Into<String>, bytes: Vec<u8>) -> Self {
        let digest = Digest::of(&bytes);
        Self::with_digest(path, bytes, digest)
    }

    /// The same when the digest is known already.
    #[must_use]
    pub fn with_digest(path: impl Into<String>, bytes: Vec<u8>, digest: Digest) -> Self {
        Self::taken(
            path,
            Intake {
                bytes,
                digest,
                ordinary: false,
            },
        )
    }

    /// The same of a file that was taken in.
    #[must_use]
    pub fn taken(path: impl Into<String>, taken: Intake) -> Self {
        let ordinary = !sight::is_document(&taken.bytes) && (taken.ordinary || is_ordinary(&taken.bytes));
        Self {
            path: path.into(),
            digest: taken.digest,
            ordinary,
            file: Arc::new(File::of(taken.bytes, ordinary)),
            own: None,
            assume: Assumptions::none(),
            told: Hints::default(),
            rendered: false,
            lines: OnceLock::new(),
        }
    }

    /// The same source with what a person has settled about it.
    #[must_use]
    pub fn assuming(mut self, assume: Assumptions) -> Self {
        self.assume = assume;
        self
    }

    /// A copy of the source under other assumptions, and with what a layout tells of its tables.
    #[must_use]
    pub(crate) fn under(&self, assume: Assumptions, told: Hints) -> Self {
        Self {
            path: self.path.clone(),
            digest: self.digest.clone(),
            ordinary: self.ordinary,
            file: Arc::clone(&self.file),
            own: self.own.clone(),
            assume,
            told,
            rendered: self.rendered,
            lines: self.lines.clone(),
        }
    }

    /// A copy of the source whose text has blanks in some places; every line stays as long as it was.
    #[must_use]
    pub(crate) fn with_blanks(&self, text: String) -> Self {
        debug_assert_eq!(text.len(), self.text().len());
        Self {
            own: Some(text),
            ..self.under(self.assume.clone(), self.told.clone())
        }
    }

    /// Whether the text as it was written has tabs.
    pub(crate) fn has_tabs(&self) -> bool {
        match &*self.file {
            File::Text(text) => text.contains('\t'),
            File::Bytes(file) => file.decoded().text.contains('\t'),
        }
    }

    /// A copy of the source with another text, in which its tables are written out plainly.
    #[must_use]
    pub(crate) fn rendered(&self, text: String) -> Self {
        Self {
            own: Some(text),
            rendered: true,
            ordinary: false,
            lines: OnceLock::new(),
            ..self.under(self.assume.clone(), self.told.clone())
        }
    }

    /// Whether the text is that of tables of another document, written out plainly.
    pub(crate) fn is_rendered(&self) -> bool {
        self.rendered
    }

    /// Whether the text is known to be without control characters and without `=`, `|`, `*`, `>` and `+`.
    pub(crate) fn is_ordinary(&self) -> bool {
        self.ordinary
    }

    /// What a layout tells of its tables.
    pub(crate) fn hints(&self) -> &Hints {
        &self.told
    }

    /// The path, with `/` between folders.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The digest of the bytes.
    #[must_use]
    pub fn digest(&self) -> &Digest {
        &self.digest
    }

    /// The bytes as they were.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        match &*self.file {
            File::Text(text) => text.as_bytes(),
            File::Bytes(file) => &file.bytes,
        }
    }

    /// The bytes as they were, given back.
    #[must_use]
    pub fn into_bytes(self) -> Vec<u8> {
        match Arc::try_unwrap(self.file) {
            Ok(File::Text(text)) => text.into_bytes(),
            Ok(File::Bytes(file)) => file.bytes,
            Err(shared) => match &*shared {
                File::Text(text) => text.clone().into_bytes(),
                File::Bytes(file) => file.bytes.clone(),
            },
        }
    }

    /// The decoded text, without byte-order mark.
    #[must_use]
    pub fn text(&self) -> &str {
        match (&self.own, &*self.file) {
            (Some(text), _) | (None, File::Text(text)) => text,
            (None, File::Bytes(file)) => {
                file.asked.get_or_init(|| ());
                &file.decoded().text
            }
        }
    }

    /// Whether the bytes were decoded, or needed no decoding.
    #[must_use]
    pub fn is_decoded(&self) -> bool {
        match &*self.file {
            File::Text(_) => true,
            File::Bytes(file) => file.decoded.get().is_some(),
        }
    }

    /// Whether the bytes may be a text, by a look at their beginning, which decodes nothing.
    #[must_use]
    pub fn may_be_text(&self) -> bool {
        self.own.is_some()
            || match &*self.file {
                File::Text(_) => true,
                File::Bytes(file) => sight::may_be_text(&file.bytes),
            }
    }

    /// The encoding's name in the WHATWG Encoding Standard; `binary` where the bytes are a document, or plainly no text
    /// that anybody has asked for.
    #[must_use]
    pub fn encoding(&self) -> &'static str {
        match &*self.file {
            File::Text(_) => "UTF-8",
            File::Bytes(file) if file.decoded.get().is_none() && !sight::may_be_text(&file.bytes) => BINARY,
            File::Bytes(file) => file.decoded().encoding,
        }
    }

    /// What was odd about the bytes as a text; nothing where no reader has asked for it.
    #[must_use]
    pub fn remarks(&self) -> &[Diagnostic] {
        match &*self.file {
            File::Bytes(file) if file.asked.get().is_some() => &file.decoded().remarks,
            _ => &[],
        }
    }

    /// What a person has settled about the source.
    #[must_use]
    pub fn assume(&self) -> &Assumptions {
        &self.assume
    }

    /// The lines of the text.
    pub fn lines(&self) -> TextLines<'_> {
        let text = self.text();
        TextLines {
            text,
            table: self.lines.get_or_init(|| LineTable::new(text)),
        }
    }

    /// The place of a span.
    #[must_use]
    pub fn place(&self, span: Span) -> Place {
        // Most places are in the head of a file, and are found before all its lines would be.
        const NEAR: u32 = 4096;
        if self.lines.get().is_none() && span.start < NEAR {
            return Place::of(self.text(), span);
        }
        let lines = self.lines();
        lines.table.place(lines.text, span)
    }

    /// What every reader is shown first.
    #[must_use]
    pub fn glimpse(&self) -> SourcePreview<'_> {
        let bytes = self.bytes();
        SourcePreview {
            path: &self.path,
            bytes: bytes.len(),
            start: bytes.get(..64).unwrap_or(bytes),
            has_manifest: container::has_manifest(bytes),
            source: self,
        }
    }

    /// The first 8 KiB of decoded text, cut at a character. Of a long file whose bytes are not its text, its beginning
    /// alone is decoded for it.
    pub(crate) fn head(&self) -> &str {
        let text = match (&self.own, &*self.file) {
            (Some(text), _) | (None, File::Text(text)) => text,
            (None, File::Bytes(file)) => file.head(),
        };
        &text[..text.floor_char_boundary(8192)]
    }
}

/// The lines of a source's text.
#[derive(Clone, Copy, Debug)]
pub struct TextLines<'a> {
    text: &'a str,
    table: &'a LineTable,
}

impl TextLines<'_> {
    /// How many lines there are; an empty text has one.
    #[must_use]
    pub fn count(&self) -> usize {
        self.table.count()
    }

    /// The span of line `index` (from 0) with its line end.
    #[must_use]
    pub fn span(&self, index: usize) -> Span {
        self.table.span(self.text, index)
    }

    /// The index (from 0) of the line that holds byte `offset`.
    #[must_use]
    pub fn index_of(&self, offset: usize) -> usize {
        self.table.index_of(self.text, offset)
    }
}

/// A text, and what was said of it when it was decoded.
struct DecodedText {
    text: String,
    encoding: &'static str,
    remarks: Vec<Diagnostic>,
}

impl File {
    /// What the bytes of a file hold. Those that are `ordinary` need no second look.
    fn of(bytes: Vec<u8>, ordinary: bool) -> Self {
        let undecoded = |bytes| {
            Self::Bytes(EncodedBytes {
                bytes,
                decoded: OnceLock::new(),
                head: OnceLock::new(),
                asked: OnceLock::new(),
            })
        };
        if sight::is_document(&bytes) {
            return undecoded(bytes);
        }
        // The usual case first: plain UTF-8 without oddities is taken over as it is.
        match String::from_utf8(bytes) {
            Ok(text) if !ends_in_cr(&text) && (ordinary || !(is_odd(&text) || has(&text, 0x0C))) => {
                Self::Text(text)
            }
            Ok(text) => undecoded(text.into_bytes()),
            Err(error) => undecoded(error.into_bytes()),
        }
    }
}

fn has(text: &str, byte: u8) -> bool {
    memchr::memchr(byte, text.as_bytes()).is_some()
}

/// Whether a text has anything in it that is taken out or made plain, but for the ends of its pages.
fn is_odd(text: &str) -> bool {
    text.starts_with('\u{FEFF}')
        || memchr::memchr2(0, 0x1A, text.as_bytes()).is_some()
        || has(text, 0x0C) && has(text, 0x1B)
        || ends_in_cr(text)
        || signs::has_odd(text) && !is_exact(text)
}

fn decode(bytes: &[u8]) -> DecodedText {
    if sight::is_document(bytes) {
        return DecodedText {
            text: String::new(),
            encoding: BINARY,
            remarks: Vec::new(),
        };
    }
    match std::str::from_utf8(bytes) {
        Ok(text) if !is_odd(text) => DecodedText {
            text: without_form_feeds(text.to_owned()),
            encoding: "UTF-8",
            remarks: Vec::new(),
        },
        _ => decode_oddly(bytes),
    }
}

/// The text of bytes that are no plain UTF-8.
fn decode_oddly(bytes: &[u8]) -> DecodedText {
    let mut remarks = Vec::new();
    let (text, encoding) = decode_any(bytes, &mut remarks);
    let text = tidy(text, &mut remarks);
    let text = if is_exact(&text) {
        text
    } else {
        signs::plain(text, &mut remarks)
    };
    DecodedText {
        text,
        encoding,
        remarks,
    }
}

/// Whether the lines of a text all end in a carriage return alone.
fn ends_in_cr(text: &str) -> bool {
    memchr::memchr(b'\n', text.as_bytes()).is_none() && memchr::memchr(b'\r', text.as_bytes()).is_some()
}

/// Whether a text is of a form in which every sign counts as it stands, in words as well: labelled records, or a tidy
/// table of our own.
fn is_exact(text: &str) -> bool {
    let start = text.trim_start_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}');
    let labelled = || start.lines().next().is_some_and(|line| line.contains('='));
    start.starts_with("##") && labelled() || start.starts_with("$$") || start.starts_with("run,trace,")
}

/// The text of bytes in whatever encoding they are, and its name.
fn decode_any(bytes: &[u8], remarks: &mut Vec<Diagnostic>) -> (String, &'static str) {
    if let Some(rest) = bytes.strip_prefix(b"\xEF\xBB\xBF") {
        return (mostly_utf8(rest, remarks), "UTF-8");
    }
    if let Some(rest) = bytes
        .strip_prefix(b"\xFF\xFE\0\0")
        .filter(|rest| rest.len() % 4 == 0)
    {
        let signs = rest
            .as_chunks::<4>()
            .0
            .iter()
            .map(|four| char::from_u32(u32::from_le_bytes(*four)).unwrap_or('\u{FFFD}'));
        return (signs.collect(), "UTF-32LE");
    }
    if let Some(rest) = bytes.strip_prefix(b"\xFF\xFE") {
        return (utf16(rest, encoding_rs::UTF_16LE, remarks), "UTF-16LE");
    }
    if let Some(rest) = bytes.strip_prefix(b"\xFE\xFF") {
        return (utf16(rest, encoding_rs::UTF_16BE, remarks), "UTF-16BE");
    }
    if let Some(encoding) = sight::bare_utf16(bytes) {
        remarks.push(Diagnostic::note(
            Code::new("encoding-detected"),
            format!("read as {} without a byte-order mark", encoding.name()),
        ));
        return (utf16(bytes, encoding, remarks), encoding.name());
    }
    if let Some(text) = guess::iso_2022_jp(bytes) {
        return (text, "ISO-2022-JP");
    }
    if let Ok(text) = std::str::from_utf8(bytes) {
        return (text.to_owned(), "UTF-8");
    }
    // A few stray bytes in a text that is UTF-8 otherwise.
    let (good, bad) = utf8_sequences(bytes);
    if good > bad {
        return (mostly_utf8(bytes, remarks), "UTF-8");
    }
    if let Some(text) = Some(good)
        .filter(|&good| good > 0)
        .and_then(|_| by_lines(bytes, remarks))
    {
        return (text, "UTF-8");
    }
    let (encoding, text) = guess::guess(bytes);
    if text.contains('\u{FFFD}') {
        remarks.push(undecodable());
    }
    if encoding != "windows-1252" {
        remarks.push(Diagnostic::note(
            Code::new("encoding-detected"),
            format!("read as {encoding}, which suits its bytes best"),
        ));
    }
    (text, encoding)
}

fn utf16(bytes: &[u8], encoding: &'static encoding_rs::Encoding, remarks: &mut Vec<Diagnostic>) -> String {
    if bytes.len() % 2 == 1 {
        remarks.push(
            Diagnostic::warning(
                Code::new("cut-off"),
                "the file ends in the middle of a UTF-16 character: it is cut off",
            )
            .help("the last line may be incomplete"),
        );
    }
    let (text, bad) = encoding.decode_without_bom_handling(&bytes[..bytes.len() & !1]);
    if bad {
        remarks.push(undecodable());
    }
    text.into_owned()
}

fn undecodable() -> Diagnostic {
    Diagnostic::warning(
        Code::new("bytes-not-decodable"),
        "some bytes are no characters of the file's encoding; they stand as \u{FFFD}",
    )
}

/// How many good sequences of several bytes and how many stray bytes a text has, read as UTF-8.
fn utf8_sequences(bytes: &[u8]) -> (usize, usize) {
    let (mut good, mut bad) = (0, 0);
    for chunk in bytes.utf8_chunks() {
        good += chunk.valid().chars().filter(|c| !c.is_ascii()).count();
        bad += chunk.invalid().len();
    }
    (good, bad)
}

/// UTF-8 with stray bytes, each of which is read as Windows-1252, where it mostly comes from.
fn mostly_utf8(bytes: &[u8], remarks: &mut Vec<Diagnostic>) -> String {
    if let Ok(text) = std::str::from_utf8(bytes) {
        return text.to_owned();
    }
    let mut text = String::with_capacity(bytes.len() + 16);
    let mut stray = 0;
    for chunk in bytes.utf8_chunks() {
        text.push_str(chunk.valid());
        stray += chunk.invalid().len();
        text.push_str(
            &encoding_rs::WINDOWS_1252
                .decode_without_bom_handling(chunk.invalid())
                .0,
        );
    }
    remarks.push(Diagnostic::warning(
        Code::new("bytes-not-decodable"),
        format!("{stray} bytes are not UTF-8 as the rest of the file is; they were read as Windows-1252"),
    ));
    text
}

/// UTF-8 and an encoding of one byte a sign in one file: each line is read as what it is. Only where the lines that are
/// no UTF-8 are in one of the encodings of Latin letters: in those no letters follow each other as the bytes of UTF-8 do.
fn by_lines(bytes: &[u8], remarks: &mut Vec<Diagnostic>) -> Option<String> {
    let lines = || bytes.split_inclusive(|&byte| matches!(byte, b'\n' | b'\r'));
    let is_utf8 = |line: &[u8]| std::str::from_utf8(line).is_ok();
    let utf8 = lines().filter(|line| !line.is_ascii() && is_utf8(line)).count();
    let others: Vec<u8> = lines().filter(|line| !is_utf8(line)).flatten().copied().collect();
    if utf8 == 0 || others.is_empty() {
        return None;
    }
    let (name, _) = guess::guess(&others);
    let latin = [
        "windows-1252",
        "windows-1250",
        "windows-1254",
        "windows-1257",
        "ISO-8859-2",
        "macintosh",
    ];
    let encoding = encoding_rs::Encoding::for_label(name.as_bytes()).filter(|_| latin.contains(&name))?;
    let mut text = String::with_capacity(bytes.len() + others.len());
    let mut first = None;
    let mut count = 0_usize;
    for (index, line) in lines().enumerate() {
        match std::str::from_utf8(line) {
            Ok(line) => text.push_str(line),
            Err(_) => {
                first.get_or_insert(index + 1);
                count += 1;
                text.push_str(&encoding.decode_without_bom_handling(line).0);
            }
        }
    }
    let which = if count == 1 {
        "1 line is".to_owned()
    } else {
        format!("{count} lines are")
    };
    remarks.push(
        Diagnostic::warning(
            Code::new("bytes-not-decodable"),
            format!("{which} not UTF-8 as other lines of the file are; read as {name}"),
        )
        .at(Place::line(first.unwrap_or(1)), "the first of them"),
    );
    Some(text)
}

/// Takes out what old systems leave in texts: padding of zeros, an end-of-file sign, form feeds. Lines that end in a
/// carriage return alone end as others do.
fn tidy(text: String, remarks: &mut Vec<Diagnostic>) -> String {
    let mut text = text;
    if text.starts_with('\u{FEFF}') {
        text.remove(0);
    }
    if let Some(at) = text.find('\u{1A}') {
        let rest = text[at..].trim_matches(|c: char| c.is_whitespace() || matches!(c, '\u{1A}' | '\0'));
        if !rest.is_empty() {
            remarks.push(
                Diagnostic::warning(
                    Code::new("after-the-end"),
                    format!("{} characters stand behind the end-of-file sign (control-Z, 1A) and were left aside", rest.chars().count()),
                )
                .help("old systems leave remnants of other files there; cut the file at the sign if they belong to it"),
            );
        }
        text.truncate(at);
    }
    if text.contains('\0') {
        let bare = text.trim_end_matches('\0').len();
        text.truncate(bare);
        if text.contains('\0') {
            text = without_zeros(&text, remarks);
        }
    }
    if text.contains('\u{C}') {
        text = without_form_feeds(text);
    }
    if ends_in_cr(&text) {
        text = text.replace('\r', "\n");
    }
    text
}

/// A text without zero bytes: padding becomes blanks. Where zeros touch a number, something was written over it, and what is left of
/// the number would be another one: a sign that no number has keeps it from being read. Fields that are padded on most lines are
/// padded on purpose.
fn without_zeros(text: &str, remarks: &mut Vec<Diagnostic>) -> String {
    /// The picture of a zero byte (Unicode, "symbol for null").
    const DAMAGED: &str = "\u{2400}";
    let is_of_number = |sign: char| sign.is_ascii_digit() || matches!(sign, '.' | ',' | '-' | '+');
    let touches = |line: &str| {
        let signs: Vec<char> = line.chars().collect();
        signs.windows(2).any(|pair| match pair {
            ['\0', sign] | [sign, '\0'] => sign.is_ascii_digit(),
            _ => false,
        })
    };
    let mut damaged: Vec<usize> = Vec::new();
    let mut with_numbers = 0_usize;
    for (number, line) in (1..).zip(text.lines()) {
        with_numbers += usize::from(line.contains(|sign: char| sign.is_ascii_digit()));
        if line.contains('\0') && touches(line) {
            damaged.push(number);
        }
    }
    if damaged.is_empty() || 2 * damaged.len() > with_numbers {
        remarks.push(Diagnostic::note(
            Code::new("zero-bytes"),
            "zero bytes in the text were read as blanks",
        ));
        return text.replace('\0', " ");
    }
    let mut out = String::with_capacity(text.len());
    let mut signs = text.chars().peekable();
    let mut before = '\n';
    while let Some(sign) = signs.next() {
        if sign != '\0' {
            out.push(sign);
            before = sign;
            continue;
        }
        while signs.next_if_eq(&'\0').is_some() {}
        let behind = signs.peek().copied().unwrap_or('\n');
        // A delimiter beside zeros may be a comma: a number is touched only where a digit stands next to them.
        let at_number = before.is_ascii_digit()
            || behind.is_ascii_digit()
            || (is_of_number(before) && is_of_number(behind));
        out.push_str(if at_number { DAMAGED } else { " " });
        before = ' ';
    }
    let lines: Vec<String> = damaged.iter().take(8).map(usize::to_string).collect();
    let more = if damaged.len() > lines.len() { ", …" } else { "" };
    let (word, first) = (
        if damaged.len() == 1 { "line" } else { "lines" },
        damaged.first().copied().unwrap_or(1),
    );
    remarks.push(
        Diagnostic::warning(
            Code::new("zero-bytes"),
            format!(
                "zero bytes stand in the text; on {word} {}{more} they touch numbers, which were written over there and are not read",
                lines.join(", ")
            ),
        )
        .at(Place::line(first), "the first of them")
        .help("another copy of the file may be whole"),
    );
    out
}

/// A text without form feeds: one at the start or end of a line is paper and becomes a blank, in the middle of a line it
/// ends the line.
fn without_form_feeds(text: String) -> String {
    let mut bytes = text.into_bytes();
    let line_end = |byte: Option<&u8>| byte.is_none_or(|byte| matches!(byte, b'\n' | b'\r'));
    let mut from = 0;
    while let Some(found) = memchr::memchr(0x0C, &bytes[from..]) {
        let at = from + found;
        let before = at.checked_sub(1).and_then(|before| bytes.get(before));
        let paper = line_end(before) || line_end(bytes.get(at + 1));
        bytes[at] = if paper { b' ' } else { b'\n' };
        from = at + 1;
    }
    // One sign of ASCII was put in the place of another.
    String::from_utf8(bytes).unwrap_or_else(|error| String::from_utf8_lossy(error.as_bytes()).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text_of(bytes: &[u8]) -> (String, &'static str) {
        let source = Source::new("a.txt", bytes.to_vec());
        assert_eq!(source.bytes(), bytes, "the original is kept bit for bit");
        (source.text().to_owned(), source.encoding())
    }

    /// Pages are read in the quick way as they are in the other.
    #[test]
    fn form_feeds_are_paper_or_line_ends() {
        for (raw, wanted) in [
            ("a\n\u{c}b\n", "a\n b\n"),
            ("a\u{c}b\n", "a\nb\n"),
            ("a\u{c}\nb\n", "a \nb\n"),
            ("\u{c}a\u{c}\u{c}b\n\u{c}", " a\n b\n "),
            ("°C\r\n\u{c}\r\n37\n", "°C\r\n \r\n37\n"),
        ] {
            let (quick, odd) = (decode(raw.as_bytes()), decode_oddly(raw.as_bytes()));
            assert_eq!(quick.text, wanted, "{raw:?}");
            assert_eq!(quick.text, odd.text, "{raw:?}");
            assert_eq!(quick.encoding, odd.encoding, "{raw:?}");
            assert!(quick.remarks.is_empty() && odd.remarks.is_empty(), "{raw:?}");
        }
    }

    /// Files put together from two programs: each line is read as what it is, and that is told.
    #[test]
    fn two_encodings_in_one_file_are_read_line_by_line() {
        let mut bytes = "Temperatur: 37 °C\n".as_bytes().to_vec();
        for line in ["Gerät: 3\n", "Prüfer: Möller\n", "Lösung: süß, trüb\n"] {
            bytes.extend(line.chars().map(|c| c as u8));
        }
        bytes.extend("c = 5 µmol/L\n".as_bytes());
        let source = Source::new("a.txt", bytes.clone());
        assert_eq!(
            source.text(),
            "Temperatur: 37 °C\nGerät: 3\nPrüfer: Möller\nLösung: süß, trüb\nc = 5 µmol/L\n"
        );
        let told: Vec<&str> = source
            .remarks()
            .iter()
            .map(|remark| remark.code.as_str())
            .collect();
        assert_eq!(told, ["bytes-not-decodable"]);
        assert_eq!(source.bytes(), bytes);
    }

    /// Where all lines end in a carriage return alone, places stay what they are.
    #[test]
    fn carriage_returns_alone_end_lines() {
        let (text, _) = text_of(b"nm;A\r400;0.1\r410;0.2\r");
        assert_eq!(text, "nm;A\n400;0.1\n410;0.2\n");
    }

    #[test]
    fn encodings_are_found() {
        let words = "Temperatur: 37 °C\nKonzentration: 5 µmol/L\n";
        let utf16 = |order: fn(u16) -> [u8; 2]| words.encode_utf16().flat_map(order).collect::<Vec<u8>>();
        let marked = |mark: &[u8], body: Vec<u8>| [mark.to_vec(), body].concat();
        let mac: Vec<u8> = words.replace('°', "\u{1}").into_bytes();
        let mac: Vec<u8> = String::from_utf8(mac)
            .expect("text")
            .chars()
            .map(|c| match c {
                '\u{1}' => 0xA1,
                'µ' => 0xB5,
                c => c as u8,
            })
            .collect();
        let dos: Vec<u8> = words
            .chars()
            .map(|c| match c {
                '°' => 0xF8,
                'µ' => 0xE6,
                c => c as u8,
            })
            .collect();
        let latin: Vec<u8> = words.chars().map(|c| c as u8).collect();
        for (bytes, encoding) in [
            (words.as_bytes().to_vec(), "UTF-8"),
            (marked(b"\xEF\xBB\xBF", words.as_bytes().to_vec()), "UTF-8"),
            (marked(b"\xFF\xFE", utf16(u16::to_le_bytes)), "UTF-16LE"),
            (marked(b"\xFE\xFF", utf16(u16::to_be_bytes)), "UTF-16BE"),
            (utf16(u16::to_le_bytes), "UTF-16LE"),
            (utf16(u16::to_be_bytes), "UTF-16BE"),
            (latin, "windows-1252"),
            (mac, "macintosh"),
            (dos, "IBM850"),
        ] {
            assert_eq!(text_of(&bytes), (words.to_owned(), encoding));
        }
    }

    #[test]
    fn what_old_systems_leave_is_taken_out() {
        assert_eq!(text_of(b"1 2\n\x1A\0\0").0, "1 2\n");
        let source = Source::new("a.txt", b"1 2\n\x1A650 0.3\n".to_vec());
        assert!(source.remarks().is_empty(), "nobody has asked for its text");
        assert_eq!(source.text(), "1 2\n");
        assert_eq!(source.remarks().len(), 1);
        assert_eq!(text_of(b"1 2\n\x0C3 4\n").0, "1 2\n 3 4\n");
        assert_eq!(text_of(b"1 2\x0C3 4\n").0, "1 2\n3 4\n");
        assert_eq!(text_of(b"1\x002\n").0, "1 2\n");
    }
}
