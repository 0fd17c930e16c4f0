//! Layouts: one shape of text export, told in TOML by those who know it.
//!
//! A layout says how its files are told from all others (`[recognise]`), what the built-in text-table reader would
//! have to ask about them (`[settle]`), what the keys of their house mean (`[[key]]`) and what the export never says
//! (`[fields]`). It carries examples with the numbers that must come out of them (`[[example]]`), and it is of no use
//! while one of them does not hold. The table itself is read by the built-in reader: a layout is no second parser.
//!
//! [`Layout::parse`] reads a layout, [`Layout::hold`] tries it on an example, [`Layout::damage`] on damaged copies of
//! one, and [`draft()`] writes a first layout from what was understood of a file.

mod damage;
mod description;
mod draft;
mod example;
mod meaning;
mod recognise;
mod table;

pub(crate) use description::LayoutFault;
pub(crate) use recognise::Recognise;

pub use damage::DamageTrial;
pub use description::{LayoutExample, schema};
pub use draft::draft;

use curvary_record::{Code, Diagnostic, Digest, LineTable, Place, Span};

use self::description::Description;
use crate::readers::{TextTable, text_table};
use crate::{Assumptions, ExplainedLines, Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// A layout that was understood: a reader like any other.
#[derive(Debug)]
pub struct Layout {
    card: ReaderInfo,
    paper: Paper,
    description: Description,
    settled: Assumptions,
}

/// The start of every layout's id.
pub const PREFIX: &str = "layout/";

impl Layout {
    /// Understands the text of a layout file. `path` is what diagnostics call the file.
    ///
    /// # Errors
    /// When the text is no TOML, or says something that no layout can; the place is in the layout.
    pub fn parse(path: &str, text: &str) -> Result<Self, Box<Diagnostic>> {
        let wrong = |span: Option<std::ops::Range<usize>>, message: String| {
            Box::new(wrong(path, text, span, message))
        };
        let description: Description =
            toml::from_str(text).map_err(|error| wrong(error.span(), error.message().trim().to_owned()))?;
        let settled = description
            .check()
            .map_err(|fault| wrong(fault.span, fault.message))?;
        // The same version with other words may read the same bytes differently.
        let digest = Digest::of(text.as_bytes());
        let short = digest
            .as_str()
            .trim_start_matches("sha256:")
            .get(..8)
            .unwrap_or("");
        Ok(Self {
            card: ReaderInfo {
                id: format!("{PREFIX}{}", description.name.get_ref()),
                version: format!("{}+{short}", description.version),
                title: description.title.clone(),
            },
            paper: Paper::new("layout", path, text),
            description,
            settled,
        })
    }

    /// Its name, without the word `layout/`.
    #[must_use]
    pub fn name(&self) -> &str {
        self.description.name.get_ref()
    }

    /// The layout's file, as it was named to [`Layout::parse`].
    #[must_use]
    pub fn path(&self) -> &str {
        &self.paper.path
    }

    /// The layout's text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.paper.text
    }

    /// Its examples; there is at least one.
    #[must_use]
    pub fn examples(&self) -> &[LayoutExample] {
        &self.description.example
    }

    /// What an example expects and reading its bytes did not give; empty when the example holds.
    #[must_use]
    pub fn hold(&self, example: &LayoutExample, bytes: Vec<u8>) -> Vec<Diagnostic> {
        self.paper.hold(self, example, bytes)
    }

    /// Reads damaged copies of an example: cut off anywhere, lines dropped, bytes flipped.
    #[must_use]
    pub fn damage(&self, example: &LayoutExample, bytes: &[u8]) -> DamageTrial {
        self.paper.damage(self, example, bytes)
    }
}

/// The file in which a layout or a plugin is described, as places name it.
#[derive(Clone, Debug)]
pub(crate) struct Paper {
    /// `layout` or `plugin`.
    kind: &'static str,
    pub(crate) path: String,
    pub(crate) text: String,
}

impl Paper {
    pub(crate) fn new(kind: &'static str, path: &str, text: &str) -> Self {
        Self {
            kind,
            path: path.to_owned(),
            text: text.to_owned(),
        }
    }

    fn place(&self, span: std::ops::Range<usize>) -> Place {
        place(&self.path, &self.text, span)
    }
}

impl Reader for Layout {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        // What is no text at all is none of a layout's either, whatever its name.
        match TextTable::default().recognise(glimpse) {
            Recognition::No(reason) => Recognition::No(reason),
            _ => self.description.recognise.ask(glimpse),
        }
    }

    fn read(&self, source: &Source) -> Reading {
        // What a person says of one file weighs more than what the layout says of all.
        let mut assume = self.settled.clone();
        assume.outweigh(source.assume());
        let told = match self.hints(source.text()) {
            Ok(told) => told,
            Err(reason) => return Reading::refused(*reason),
        };
        let source = source.under(assume, told);
        let mut reading = text_table::read(&source, &self.card);
        for run in &mut reading.runs {
            self.give_meaning(&source, run);
        }
        if let Some(remark) = self.open_end(&source, &reading) {
            reading.remarks.push(remark);
        }
        reading
    }

    fn explain(&self, source: &Source) -> Vec<ExplainedLines> {
        let mut assume = self.settled.clone();
        assume.outweigh(source.assume());
        match self.hints(source.text()) {
            Ok(told) => text_table::explain(&source.under(assume, told), &self.card),
            Err(_) => Vec::new(),
        }
    }
}

fn place(path: &str, text: &str, span: std::ops::Range<usize>) -> Place {
    let mut place = LineTable::new(text).place(text, Span::new(span.start, span.end));
    place.file = Some(path.to_owned());
    place
}

fn wrong(path: &str, text: &str, span: Option<std::ops::Range<usize>>, message: String) -> Diagnostic {
    let why = Diagnostic::error(Code::new("layout-wrong"), message);
    why.at(place_or_file(path, text, span), "")
        .help("the layout is not used until this is put right; other readers are not concerned")
}

/// A place in a file, or the file as a whole.
pub(crate) fn place_or_file(path: &str, text: &str, span: Option<std::ops::Range<usize>>) -> Place {
    match span {
        Some(span) => place(path, text, span),
        None => Place {
            file: Some(path.to_owned()),
            ..Place::default()
        },
    }
}

#[cfg(test)]
mod tests;
