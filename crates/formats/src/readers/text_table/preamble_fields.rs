//! What the lines around a table say of its run: the fields, the questions, and whose they are.

use std::collections::{BTreeSet, HashSet};

use curvary_record::{Claim, Code, Diagnostic, Fields, Origin, Place, Question, Span};

use super::join::Section;
use super::scan::{TextLine, strip_remark};
use super::titles::head_of_letter;
use super::{dialect, join, pages, scan};
use crate::words::WordList;
use crate::{Source, preamble};

/// Lines of words beyond this count are not searched for keys and values.
const MAX_WORD_LINES: usize = 4000;

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
    #[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
    pub(super) fn hear(source: &Source, lines: &[TextLine]) -> Self {
        let text = source.text();
        let mut said = Self::default();
        let mut comments: Vec<(String, Span)> = Vec::new();
        let mut passing = preamble::Passing::default();
        let mut prose = Vec::new();
        let none = BTreeSet::new();
        let letter = head_of_letter(text, lines);
        // What stands on every page of a report: lines that said nothing new the first time, and the last number of a page.
        let mut heard: HashSet<&str> = HashSet::new();
        let mut page: Option<&str> = None;
        let claims = |fields: &Fields| -> usize { fields.iter().map(|(_, claims)| claims.len()).sum() };
        for line in lines.iter().take(MAX_WORD_LINES) {
            let raw = &text[line.span.range()];
            if page.is_some_and(|page| pages::same_but_for_counts(page, raw)) || heard.contains(raw) {
                continue;
            }
            if letter.as_ref().is_some_and(|head| head.contains(&line.line)) {
                if comments.len() < 24 {
                    comments.push((raw.trim().to_owned(), line.span));
                }
                continue;
            }
            let (_, bare) = strip_remark(raw);
            // `Sample: leaf      Page 1/4`: what stands before the page's number is said of the run.
            let kept = join::without_page(bare)
                .filter(|front| {
                    preamble::pairs(front)
                        .iter()
                        .any(|pair| !pair.value.is_empty() && preamble::is_known(&front[pair.key.clone()]))
                })
                .unwrap_or(bare);
            let furniture = join::is_furniture(kept, &none);
            if (kept.is_empty() || furniture || scan::is_ruler(kept))
                && letter.is_none()
                && kept.len() == bare.len()
            {
                page = Some(raw);
            }
            // Words with a page behind them are words: `Notebook 7, p. 12`.
            if kept.is_empty() || scan::is_ruler(kept) || furniture && !join::has_words_before_page(kept) {
                continue;
            }
            // `READINGS AT 630 nm      page 1`: the page is none of the words.
            let kept = if furniture {
                join::without_page(kept).unwrap_or(kept)
            } else {
                kept
            };
            let base = line.span.start as usize + raw.find(kept).unwrap_or(0);
            let mut pairs = preamble::pairs(kept);
            if pairs.is_empty() {
                pairs.extend(preamble::pair_in_blanks(kept));
            }
            if pairs.is_empty() {
                prose.push((line.line, base..base + kept.len()));
                let before = (claims(&said.fields), passing.len());
                let whole = preamble::claim_free(&mut said.fields, source, base..base + kept.len());
                passing.take(source, base..base + kept.len());
                let new = (claims(&said.fields), passing.len()) != before;
                if !whole && !new && comments.len() >= 24 && letter.is_none() {
                    heard.insert(raw);
                }
                if !whole && comments.len() < 24 {
                    let padding = |c: char| c.is_whitespace() || matches!(c, ';' | '|' | ',');
                    let bare = kept.trim_end_matches(padding);
                    let inner = bare.strip_prefix('"').and_then(|bare| bare.strip_suffix('"'));
                    let bare = inner.filter(|inner| !inner.contains('"')).unwrap_or(bare);
                    // Words of the paper are set apart by blanks that say nothing.
                    let words = if furniture {
                        bare.split_whitespace().collect::<Vec<_>>().join(" ")
                    } else {
                        bare.trim().to_owned()
                    };
                    comments.push((words, Span::new(base, base + kept.len())));
                }
                continue;
            }
            // `the next 3 values are wrong:` is a key to nothing.
            if pairs.iter().all(|pair| pair.value.is_empty()) && comments.len() < 24 {
                let bare = kept.trim_end_matches([',', ';', '|', '\t', ' ']);
                comments.push((bare.to_owned(), Span::new(base, base + bare.len())));
                continue;
            }
            // Words in front of the first key are kept.
            let lead = kept[..pairs[0].key.start].trim();
            if lead.chars().filter(|c| c.is_alphabetic()).count() >= 3 && comments.len() < 24 {
                preamble::claim_free(&mut said.fields, source, base..base + pairs[0].key.start);
                passing.take(source, base..base + pairs[0].key.start);
                let lead = lead.trim_end_matches([',', ';', '|', ' ', '-', '*']).to_owned();
                comments.push((lead, Span::new(base, base + pairs[0].key.start)));
            }
            let key = |pair: &preamble::KeyValueSpan| crate::words::field_of(&kept[pair.key.clone()]);
            let beside = pairs.len() >= 2
                && key(&pairs[0]).is_some()
                && pairs.iter().all(|pair| key(pair) == key(&pairs[0]));
            for (place, pair) in pairs.into_iter().enumerate() {
                if beside && said.beside.len() <= place {
                    said.beside.push(Fields::default());
                }
                let fields = if beside {
                    &mut said.beside[place]
                } else {
                    &mut said.fields
                };
                preamble::claim_pair(fields, &mut said.questions, source, base, &pair);
                let conditions = crate::words::field_of(&kept[pair.key.clone()]).is_some_and(|field| {
                    matches!(
                        field,
                        "title" | "comment" | "buffer" | "solvent" | "cell" | "method"
                    )
                });
                let cell = crate::words::fields_if_fitting(&kept[pair.key.clone()]).contains(&"cell");
                let told = crate::words::is(WordList::OfConditions, &kept[pair.key.clone()]);
                if conditions || cell || told {
                    let heard = passing.len();
                    passing.take(source, base + pair.value.start..base + pair.value.end);
                    if preamble::is_kept_apart(&kept[pair.key.clone()]) {
                        passing.leave_out_temperatures(heard);
                    }
                }
                // The sentence behind a value that ends with its own.
                if kept[pair.value.end..].starts_with(". ") {
                    let behind = kept[pair.value.end..].split("  ").next().map_or(0, str::len);
                    passing.take(source, base + pair.value.end + 2..base + pair.value.end + behind);
                }
            }
        }
        preamble::take_prose(&mut passing, source, prose);
        passing.settle(&mut said.fields);
        let first_is_title = comments.first().is_some_and(|(_, span)| {
            lines
                .first()
                .is_some_and(|line| line.span.start <= span.start && line.line <= 3)
                // What stands over a later column is no title.
                && !lines.first().is_some_and(|line| {
                    let raw = &text[line.span.range()];
                    raw.starts_with([',', '\t', '|']) || raw.starts_with(";;")
                })
        });
        for (index, (comment, span)) in comments.into_iter().enumerate() {
            // A lone number may be the count of the points; `1:10` and `100 %` are more.
            if comment
                .chars()
                .all(|c| c.is_ascii_digit() || !c.is_alphanumeric() && !matches!(c, ':' | '%' | '/'))
                || !comment.contains(char::is_alphanumeric)
            {
                continue;
            }
            let key = if index == 0 && first_is_title && said.fields.get("title").is_none() {
                "title"
            } else {
                "comment"
            };
            let origin = Origin::Source(source.place(span));
            said.fields.claim(key, Claim::text(comment, origin));
        }
        said
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
