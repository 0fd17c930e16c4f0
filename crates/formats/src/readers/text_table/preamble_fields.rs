//! What the lines around a table say of its run: the fields, the questions, and whose they are.

use curvary_record::{Claim, Code, Diagnostic, Fields, Origin, Place, Question, Span};

use super::dialect;
use super::heard_lines::HeardLines;
use super::join::Section;
use super::scan::TextLine;
use crate::{Source, preamble};

/// Lines of words beyond this count are not searched for keys and values.
pub(super) const MAX_WORD_LINES: usize = 4000;

/// What lines of words say: claims, questions about them, and what is left as comment.
#[derive(Clone, Default)]
pub(super) struct Preamble {
    pub(super) fields: Fields,
    pub(super) questions: Vec<Question>,
    /// What lines say of several runs side by side, from left to right: `Sample: left      Sample: right`.
    pub(super) beside: Vec<Fields>,
}

/// What may change from table to table.
pub(super) const OF_ONE_TABLE: [&str; 6] = [
    "sample",
    "sample-id",
    "temperature",
    "ph",
    "concentration",
    "replicate",
];

impl Preamble {
    /// What lines of words say.
    pub(super) fn hear(source: &Source, lines: &[TextLine]) -> Self {
        HeardLines::of(source, lines).finish(lines)
    }

    /// Takes a row of conditions under their names as claims.
    pub(super) fn hear_row(&mut self, source: &Source, section: &Section) {
        let text = source.text();
        let grid = &section.table.grid;
        let Some(head) = section.table.heads.last() else {
            return;
        };
        let span = source.lines().span(grid.line(0) - 1);
        let line = &text[span.range()];
        for (key, value) in head.cells.iter().zip(dialect::split(line, &grid.dialect)) {
            let Some(key) = key else { continue };
            let value = span.start as usize + value.start..span.start as usize + value.end;
            preamble::claim(&mut self.fields, &mut self.questions, source, key.range(), value);
        }
    }

    /// Takes a title of the run's own; one that speaks of the whole file becomes a comment.
    pub(super) fn title(&mut self, title: String, origin: Origin) {
        let mut own = Self::default();
        own.fields.claim("title", Claim::text(title, origin));
        for (key, claims) in self.fields.iter() {
            let key = if key.as_str() == "title" {
                "comment"
            } else {
                key.as_str()
            };
            for claim in claims {
                own.fields.claim(key, claim.clone());
            }
        }
        self.fields = own.fields;
    }

    /// Takes a title in the place of the one that stands above another table.
    pub(super) fn retitle(&mut self, title: String, origin: Origin) {
        self.fields.remove("title");
        for comment in self.fields.remove("comment") {
            if !matches!(&comment.value, curvary_record::Value::Text(said) if *said == title) {
                self.fields.claim("comment", comment);
            }
        }
        self.fields.claim("title", Claim::text(title, origin));
    }

    pub(super) fn claim_all(&mut self, fields: &Fields) {
        for (key, claims) in fields.iter() {
            for claim in claims {
                self.fields.claim(key.as_str(), claim.clone());
            }
        }
    }

    /// Takes what the lines above a later table say against the preamble: the fields that are not to be taken over from it,
    /// since the lines leave open which value holds, and remarks on them.
    pub(super) fn set_apart(
        &mut self,
        source: &Source,
        lines: &[TextLine],
        preamble: &Self,
    ) -> (Vec<&'static str>, Vec<Diagnostic>) {
        let ranges: Vec<_> = lines
            .iter()
            .take(MAX_WORD_LINES)
            .map(|line| line.span.range())
            .collect();
        let (mut open, mut remarks) = (Vec::new(), Vec::new());
        for contrast in preamble::contrasts(source, &ranges, &preamble.fields, &self.fields) {
            if let Some(own) = contrast.own {
                self.fields.claim(contrast.field, own);
                continue;
            }
            open.push(contrast.field);
            let raw = source.text().get(contrast.at.clone()).unwrap_or("");
            let stated = preamble
                .fields
                .get(contrast.field)
                .map_or("", |claim| claim.raw.as_str());
            remarks.push(
                Diagnostic::warning(
                    Code::new("condition-changes"),
                    format!(
                        "a line above a later table names `{raw}`: the {} of the first lines, `{stated}`, is not taken for that table",
                        contrast.field
                    ),
                )
                .at(Place::of(source.text(), Span::new(contrast.at.start, contrast.at.end)), "this value")
                .help("note what holds for the run"),
            );
        }
        (open, remarks)
    }

    /// Takes over what another block says, for keys of which this one says nothing.
    pub(super) fn inherit(&mut self, other: &Self) {
        self.inherit_but(other, &[]);
    }

    /// Takes over what `other` says, but for some fields.
    pub(super) fn inherit_but(&mut self, other: &Self, without: &[&str]) {
        for (key, claims) in other.fields.iter() {
            if without.contains(&key.as_str()) {
                continue;
            }
            if !self.fields.all(key.as_str()).is_empty() && key.as_str() != "comment" {
                continue;
            }
            for claim in claims {
                self.fields.claim(key.as_str(), claim.clone());
            }
        }
        for question in &other.questions {
            if !self.questions.contains(question) {
                self.questions.push(question.clone());
            }
        }
    }
}
