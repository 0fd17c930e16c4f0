//! An XML document as a tree with places, within limits.
//!
//! A document type declaration is refused: it is where entities are declared, and no measurement needs one.

use curvary_record::{Code, Diagnostic, Span};
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

/// An element.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct XmlElement {
    /// Its name without a prefix.
    pub(super) name: String,
    /// Its attributes, without prefixes.
    pub(super) attributes: Vec<(String, String)>,
    /// What stands between its tags, outside other elements.
    pub(super) text: String,
    /// Where that stands; where the element begins, if there is nothing.
    pub(super) span: Span,
    pub(super) children: Vec<XmlElement>,
}

/// Elements lie no deeper in each other.
const DEEPEST: usize = 64;
/// A document has no more elements.
const MOST: usize = 2_000_000;
/// An element has no more attributes.
const MOST_ATTRIBUTES: usize = 64;

impl XmlElement {
    pub(super) fn attribute(&self, name: &str) -> Option<&str> {
        let found = self.attributes.iter().find(|(own, _)| own == name);
        found.map(|(_, value)| value.as_str())
    }

    pub(super) fn all<'n>(&'n self, name: &'n str) -> impl Iterator<Item = &'n Self> {
        self.children.iter().filter(move |child| child.name == name)
    }

    /// The elements of a name, however deep, in the order of the document.
    pub(super) fn every(&self, name: &str) -> Vec<&Self> {
        let mut found = Vec::new();
        let mut waiting: Vec<&Self> = self.children.iter().rev().collect();
        while let Some(node) = waiting.pop() {
            if node.name == name {
                found.push(node);
            }
            waiting.extend(node.children.iter().rev());
        }
        found
    }

    pub(super) fn one(&self, name: &str) -> Option<&Self> {
        self.children.iter().find(|child| child.name == name)
    }
}

/// The name of the first element of a text, without a prefix.
pub(super) fn root_name(head: &str) -> Option<&str> {
    let mut rest = head.trim_start_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}');
    loop {
        let inner = rest.strip_prefix('<')?;
        let (skipped, end) = match inner.get(..1)? {
            "?" => (inner, "?>"),
            "!" if inner.starts_with("!--") => (inner, "-->"),
            "!" => (inner, ">"),
            _ => {
                let name = inner
                    .split(|c: char| c.is_whitespace() || matches!(c, '>' | '/'))
                    .next()?;
                return Some(name.rsplit(':').next().unwrap_or(name));
            }
        };
        rest = skipped.split_once(end)?.1.trim_start();
        // The end of a document type that declares entities, each of which was skipped like it.
        if let Some(behind) = rest.strip_prefix(']') {
            rest = behind.trim_start().strip_prefix('>')?.trim_start();
        }
    }
}

/// The root element of a text.
pub(super) fn parse(text: &str) -> Result<XmlElement, Box<Diagnostic>> {
    let mut reader = Reader::from_str(text);
    reader.config_mut().check_end_names = true;
    let mut open: Vec<XmlElement> = Vec::new();
    let mut root: Option<XmlElement> = None;
    let mut elements = 0;
    loop {
        let start = position(&reader);
        let event = reader
            .read_event()
            .map_err(|error| refused(format!("the XML is damaged at byte {start}: {error}")))?;
        let end = position(&reader);
        match event {
            Event::Start(tag) => {
                elements += 1;
                if open.len() >= DEEPEST {
                    return Err(refused(format!(
                        "elements lie more than {DEEPEST} deep in each other"
                    )));
                }
                if elements > MOST {
                    return Err(refused(format!("the document has more than {MOST} elements")));
                }
                open.push(node(&tag, start)?);
            }
            Event::Empty(tag) => {
                elements += 1;
                let node = node(&tag, start)?;
                close(node, &mut open, &mut root)?;
            }
            Event::End(_) => {
                if let Some(node) = open.pop() {
                    close(node, &mut open, &mut root)?;
                }
            }
            Event::Text(words) => {
                add(&mut open, &words, Span::new(start, end));
            }
            Event::CData(words) => {
                add(&mut open, &words, Span::new(start, end));
            }
            Event::GeneralRef(name) => {
                let sign = match name.resolve_char_ref() {
                    Ok(Some(sign)) => sign,
                    Ok(None) => match &*name {
                        "lt" => '<',
                        "gt" => '>',
                        "amp" => '&',
                        "apos" => '\'',
                        "quot" => '"',
                        other => {
                            return Err(refused(format!(
                                "`&{other};` is an entity that XML does not know"
                            )));
                        }
                    },
                    Err(error) => return Err(refused(error.to_string())),
                };
                add(&mut open, sign.encode_utf8(&mut [0; 4]), Span::new(start, end));
            }
            Event::DocType(_) => {
                return Err(refused(
                    "the document declares a document type, which could name entities and other files"
                        .to_owned(),
                ));
            }
            Event::Eof => break,
            Event::Decl(_) | Event::PI(_) | Event::Comment(_) => {}
        }
    }
    match root {
        Some(root) if open.is_empty() => Ok(root),
        _ => {
            let why = Diagnostic::error(
                Code::new("xml-refused"),
                "the document ends before its last element is closed: it is cut off",
            );
            Err(Box::new(why.help(
                "compare it with the original; a document that is cut off is not read in part",
            )))
        }
    }
}

fn position(reader: &Reader<&[u8]>) -> usize {
    usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX)
}

fn refused(message: String) -> Box<Diagnostic> {
    Box::new(Diagnostic::error(Code::new("xml-refused"), message))
}

fn add(open: &mut [XmlElement], words: &str, span: Span) {
    let Some(node) = open.last_mut() else { return };
    if node.text.trim().is_empty() && !words.trim().is_empty() {
        // The place of the words themselves, without the blanks before and behind them.
        let front = words.len() - words.trim_start().len();
        let back = words.len() - words.trim_end().len();
        let (start, end) = (
            span.start as usize + front,
            (span.end as usize).saturating_sub(back),
        );
        node.span = if end > start { Span::new(start, end) } else { span };
    } else if !words.trim().is_empty() {
        node.span.end = span.end;
    }
    node.text.push_str(words);
}

fn close(
    node: XmlElement,
    open: &mut [XmlElement],
    root: &mut Option<XmlElement>,
) -> Result<(), Box<Diagnostic>> {
    match open.last_mut() {
        Some(parent) => parent.children.push(node),
        None if root.is_none() => *root = Some(node),
        None => return Err(refused("the document has two roots".to_owned())),
    }
    Ok(())
}

fn local(name: &str) -> String {
    name.rsplit(':').next().unwrap_or(name).to_owned()
}

fn node(tag: &BytesStart<'_>, start: usize) -> Result<XmlElement, Box<Diagnostic>> {
    let mut attributes = Vec::new();
    for attribute in tag.attributes() {
        let attribute = attribute.map_err(|error| refused(format!("an attribute is damaged: {error}")))?;
        if attributes.len() >= MOST_ATTRIBUTES {
            return Err(refused(format!(
                "an element has more than {MOST_ATTRIBUTES} attributes"
            )));
        }
        let value = attribute
            .normalized_value(XmlVersion::Implicit1_0)
            .map_err(|error| refused(format!("an attribute is damaged: {error}")))?;
        attributes.push((local(attribute.key.0), value.into_owned()));
    }
    Ok(XmlElement {
        name: local(tag.name().0),
        attributes,
        text: String::new(),
        span: Span::new(start, start + 1),
        children: Vec::new(),
    })
}
