//! Lines of words as they are heard one after another: keys with their values, free words, and what is furniture of the paper.

use std::collections::{BTreeSet, HashSet};
use std::ops::{Range, RangeInclusive};

use curvary_record::{Claim, Fields, Origin, Span};

use super::preamble_fields::{MAX_WORD_LINES, Preamble};
use super::scan::{TextLine, is_ruler, strip_remark};
use super::titles::head_of_letter;
use super::{join, pages};
use crate::Source;
use crate::preamble::{self, KeyValueSpan, Passing};
use crate::words::{self, WordList};

/// So many lines of words are kept as comments.
const MOST_COMMENTS: usize = 24;

/// What the lines of words that were heard so far say.
pub(super) struct HeardLines<'a> {
    source: &'a Source,
    said: Preamble,
    /// What is left as comment, and where it stands.
    comments: Vec<(String, Span)>,
    /// What lines say in passing.
    passing: Passing,
    /// Lines without a key.
    prose: Vec<(u32, Range<usize>)>,
    /// The lines of the head of a letter.
    letter: Option<RangeInclusive<u32>>,
    /// What stands on every page of a report: lines that said nothing new the first time.
    heard: HashSet<&'a str>,
    /// The last number of a page.
    page: Option<&'a str>,
    /// Whether keys stand in front of dashes, line by line: one alone may be a title, `Sample - preparation at 20 °C`.
    dashed: bool,
    /// A date and time that stand alone on one of the first lines, as the head of a page has them.
    moment_in_front: Option<Range<usize>>,
}

/// What is said in a line: the words without the paper's own, and where they begin in the source.
struct LineWords<'a> {
    line: TextLine,
    raw: &'a str,
    kept: &'a str,
    base: usize,
    /// Whether the number of a page stands beside them.
    beside_page: bool,
}

impl LineWords<'_> {
    fn range(&self) -> Range<usize> {
        self.base..self.base + self.kept.len()
    }

    fn span(&self) -> Span {
        Span::new(self.base, self.base + self.kept.len())
    }
}

impl<'a> HeardLines<'a> {
    /// Hears lines. What stands in front of all others in a letter, its head, is only a comment.
    pub(super) fn of(source: &'a Source, lines: &[TextLine]) -> Self {
        let mut heard = Self {
            source,
            said: Preamble::default(),
            comments: Vec::new(),
            passing: Passing::default(),
            prose: Vec::new(),
            letter: head_of_letter(source.text(), lines),
            heard: HashSet::new(),
            page: None,
            moment_in_front: None,
            dashed: are_dashed(source.text(), &lines[..lines.len().min(MAX_WORD_LINES)]),
        };
        let lines = &lines[..lines.len().min(MAX_WORD_LINES)];
        let mut at = 0;
        while let Some(line) = lines.get(at) {
            // What stands alone on its line with its value below it are two.
            let both = heard.hear_with_the_line_below(&lines[at..]);
            if !both {
                heard.hear(*line);
            }
            at += 1 + usize::from(both);
        }
        heard
    }

    /// Hears a key that stands alone on its line and the value that is set in below it, or a row of keys over a row of their values.
    /// `lines` are those from the first of both on.
    fn hear_with_the_line_below(&mut self, lines: &[TextLine]) -> bool {
        let [first, below, rest @ ..] = lines else {
            return false;
        };
        if below.line != first.line + 1
            || self
                .letter
                .as_ref()
                .is_some_and(|head| head.contains(&first.line))
        {
            return false;
        }
        let text = self.source.text();
        let raw = |line: &TextLine| &text[line.span.range()];
        let further = rest.first().filter(|line| line.line == below.line + 1).map(raw);
        let pairs = key_over_value(raw(first), raw(below), further)
            .map(|pair| vec![pair])
            .or_else(|| keys_over_values(raw(first), raw(below), further));
        let Some(pairs) = pairs else { return false };
        for (key, value) in pairs {
            let value = crate::slice::range_in(text, value);
            preamble::claim_under(
                &mut self.said.fields,
                &mut self.said.questions,
                self.source,
                key,
                value,
            );
        }
        true
    }

    fn has_room_for_comments(&self) -> bool {
        self.comments.len() < MOST_COMMENTS
    }

    fn hear(&mut self, line: TextLine) {
        let raw = &self.source.text()[line.span.range()];
        if self
            .page
            .is_some_and(|page| pages::same_but_for_counts(page, raw))
            || self.heard.contains(raw)
        {
            return;
        }
        if self.letter.as_ref().is_some_and(|head| head.contains(&line.line)) {
            if self.has_room_for_comments() {
                self.comments.push((raw.trim().to_owned(), line.span));
            }
            return;
        }
        let Some(words) = self.without_furniture(line, raw) else {
            // `# 2017-02-08 14:31`
            let bare = strip_remark(raw).1;
            if self.moment_in_front.is_none()
                && preamble::is_moment_in_front(self.source, line.span.start as usize, bare)
            {
                self.moment_in_front = Some(crate::slice::range_in(self.source.text(), bare));
            }
            return;
        };
        let mut pairs = preamble::pairs(words.kept);
        if !self.dashed {
            pairs.retain(|pair| pair.mark != preamble::DASH);
        }
        if pairs.is_empty() {
            pairs.extend(preamble::pair_in_blanks(words.kept));
        }
        if pairs.is_empty() {
            self.hear_free_words(&words);
            return;
        }
        // `measured at 412 nm and 25 °C:` in front of what was measured.
        if let [pair] = pairs.as_slice()
            && pair.value.is_empty()
            && words.kept[pair.key.clone()].contains(|c: char| c.is_ascii_digit())
            && !preamble::is_known(&words.kept[pair.key.clone()])
        {
            self.passing.take(self.source, words.range());
            self.prose.push((words.line.line, words.range()));
        }
        // `the next 3 values are wrong:` is a key to nothing.
        if pairs.iter().all(|pair| pair.value.is_empty()) && self.has_room_for_comments() {
            let bare = words.kept.trim_end_matches([',', ';', '|', '\t', ' ']);
            let span = Span::new(words.base, words.base + bare.len());
            self.comments.push((bare.to_owned(), span));
            return;
        }
        self.hear_words_before(&words, &pairs[0]);
        self.hear_pairs(&words, pairs);
    }

    /// The words of a line without what the paper has around them, where any are left. Numbers of pages are noted.
    fn without_furniture(&mut self, line: TextLine, raw: &'a str) -> Option<LineWords<'a>> {
        let (_, bare) = strip_remark(raw);
        // `Sample: leaf      Page 1/4`: what stands before the page's number is said of the run.
        let kept = join::without_page(bare)
            .filter(|front| {
                preamble::pairs(front)
                    .iter()
                    .any(|pair| !pair.value.is_empty() && preamble::is_known(&front[pair.key.clone()]))
            })
            .unwrap_or(bare);
        let furniture = join::is_furniture(kept, &BTreeSet::new());
        if (kept.is_empty() || furniture || is_ruler(kept))
            && self.letter.is_none()
            && kept.len() == bare.len()
        {
            self.page = Some(raw);
        }
        // Words with a page behind them are words: `Notebook 7, p. 12`.
        if kept.is_empty() || is_ruler(kept) || furniture && !join::has_words_before_page(kept) {
            return None;
        }
        // `READINGS AT 630 nm      page 1`: the page is none of the words.
        let kept = if furniture {
            join::without_page(kept).unwrap_or(kept)
        } else {
            kept
        };
        Some(LineWords {
            line,
            raw,
            kept,
            base: line.span.start as usize + raw.find(kept).unwrap_or(0),
            beside_page: furniture,
        })
    }

    /// Hears a line without a key: conditions in passing, and a comment. One that said nothing new is not heard again.
    fn hear_free_words(&mut self, words: &LineWords<'a>) {
        let said_so_far = |heard: &Self| {
            let claims: usize = heard.said.fields.iter().map(|(_, claims)| claims.len()).sum();
            (claims, heard.passing.len())
        };
        self.prose.push((words.line.line, words.range()));
        let before = said_so_far(self);
        let whole = preamble::claim_free(&mut self.said.fields, self.source, words.range());
        self.passing.take(self.source, words.range());
        if whole {
            return;
        }
        if self.has_room_for_comments() {
            self.comments.push((words_of_comment(words), words.span()));
        } else if said_so_far(self) == before && self.letter.is_none() {
            self.heard.insert(words.raw);
        }
    }

    /// Hears the words in front of the first key of a line, which are kept.
    fn hear_words_before(&mut self, words: &LineWords, first: &KeyValueSpan) {
        const FEWEST_LETTERS: usize = 3;
        let lead = words.kept[..first.key.start].trim();
        if lead.chars().filter(|c| c.is_alphabetic()).count() < FEWEST_LETTERS
            || !self.has_room_for_comments()
        {
            return;
        }
        let range = words.base..words.base + first.key.start;
        preamble::claim_free(&mut self.said.fields, self.source, range.clone());
        self.passing.take(self.source, range.clone());
        let lead = lead.trim_end_matches([',', ';', '|', ' ', '-', '*']).to_owned();
        self.comments.push((lead, Span::new(range.start, range.end)));
    }

    /// Hears the keys of a line with their values. One key several times over speaks of runs side by side.
    fn hear_pairs(&mut self, words: &LineWords, pairs: Vec<KeyValueSpan>) {
        let (kept, base) = (words.kept, words.base);
        let field = |pair: &KeyValueSpan| words::field_of(&kept[pair.key.clone()]);
        let beside = pairs.len() >= 2
            && field(&pairs[0]).is_some()
            && pairs.iter().all(|pair| field(pair) == field(&pairs[0]));
        for (place, pair) in pairs.into_iter().enumerate() {
            if beside && self.said.beside.len() <= place {
                self.said.beside.push(Fields::default());
            }
            let fields = if beside {
                &mut self.said.beside[place]
            } else {
                &mut self.said.fields
            };
            preamble::claim_pair(fields, &mut self.said.questions, self.source, base, &pair);
            let key = &kept[pair.key.clone()];
            if tells_conditions(key) {
                let heard = self.passing.len();
                self.passing
                    .take(self.source, base + pair.value.start..base + pair.value.end);
                if preamble::is_kept_apart(key) {
                    self.passing.leave_out_temperatures(heard);
                }
            }
            // The sentence behind a value that ends with its own.
            let behind = &kept[pair.value.end..];
            if behind.starts_with(". ") {
                let length = behind.split("  ").next().map_or(0, str::len);
                let value_end = base + pair.value.end;
                self.passing.take(self.source, value_end + 2..value_end + length);
            }
        }
    }

    /// All that was said; `lines` are those that were heard.
    pub(super) fn finish(mut self, lines: &[TextLine]) -> Preamble {
        preamble::take_prose(&mut self.passing, self.source, self.prose);
        self.passing.settle(&mut self.said.fields);
        if let Some(range) = self
            .moment_in_front
            .filter(|_| self.said.fields.get("date").is_none())
        {
            preamble::claim_free(&mut self.said.fields, self.source, range);
        }
        preamble::take_names(&mut self.said.fields);
        let text = self.source.text();
        let first_is_title = self.comments.first().is_some_and(|(_, span)| {
            lines.first().is_some_and(|line| {
                let raw = &text[line.span.range()];
                // What stands over a later column is no title.
                let over_later_column = raw.starts_with([',', '\t', '|']) || raw.starts_with(";;");
                line.span.start <= span.start && line.line <= 3 && !over_later_column
            })
        });
        for (index, (comment, span)) in self.comments.into_iter().enumerate() {
            if is_count(&comment) {
                continue;
            }
            let key = if index == 0 && first_is_title && self.said.fields.get("title").is_none() {
                "title"
            } else {
                "comment"
            };
            let origin = Origin::Source(self.source.place(span));
            self.said.fields.claim(key, Claim::text(comment, origin));
        }
        self.said
    }
}

/// A key that is known and stands alone on its line, and the value that is set in on the line below it and goes with it. Several lines
/// that are set in are no value of it.
fn key_over_value<'t>(first: &'t str, below: &'t str, further: Option<&str>) -> Option<(&'t str, &'t str)> {
    let set_in = |line: &str| line.len() - line.trim_start_matches([' ', '\t', '\u{A0}', '\u{3000}']).len();
    let key = strip_remark(first)
        .1
        .trim()
        .trim_end_matches([':', '：'])
        .trim_end();
    let deeper = set_in(below) > set_in(first);
    if !deeper || key.contains(['\t', ';', '|', '=', ':']) || !preamble::is_known(key) {
        return None;
    }
    let ends = further.is_none_or(|line| line.trim().is_empty() || set_in(line) < set_in(below));
    let value = below.trim();
    (ends && !value.contains('\t') && preamble::pairs(value).is_empty() && preamble::goes_with(key, value))
        .then_some((key, value))
}

/// A row of keys and a row of their values below it, cell by cell: `Sample;Wavelength;Date` over `catalase;240 nm;2018-04-11`. Two
/// values at least are none that any words could be.
fn keys_over_values<'t>(
    first: &'t str,
    below: &'t str,
    further: Option<&'t str>,
) -> Option<Vec<(&'t str, &'t str)>> {
    const FEWEST: usize = 2;
    let first = strip_remark(first).1;
    let sign = ['\t', ';', '|', ',']
        .into_iter()
        .find(|sign| first.contains(*sign))?;
    let cells = |line: &'t str| -> Vec<&'t str> {
        let line = line.trim_end_matches([sign, ' ']);
        line.split(sign)
            .map(|cell| cell.trim().trim_matches('"'))
            .collect()
    };
    let (keys, values) = (cells(first), cells(strip_remark(below).1));
    let of_measured = |key: &str| {
        words::quantity_of(key).is_some_and(|of| of.is_of_light())
            || words::field_of(key).is_none() && !preamble::is_known(key)
    };
    // A second row of values makes a list of them.
    let several = further.is_some_and(|line| cells(line).len() == keys.len());
    // Beside others an unknown word in front may be a key, too: `Ensaio`, over what was done.
    let unknown =
        usize::from(keys.len() > FEWEST_BESIDE_UNKNOWN && keys.first().is_some_and(|key| of_measured(key)));
    let of_light = |key: &&str| words::quantity_of(key).is_some_and(|of| of.is_of_light());
    if several
        || keys.len() < FEWEST
        || keys.len() != values.len()
        || keys.iter().skip(unknown).any(|key| of_measured(key))
        || keys.iter().any(of_light)
    {
        return None;
    }
    let pairs: Vec<(&str, &str)> = keys.into_iter().zip(values).collect();
    let numbered = pairs
        .iter()
        .filter(|(_, value)| value.contains(|c: char| c.is_ascii_digit()));
    let fit = pairs
        .iter()
        .skip(unknown)
        .all(|(key, value)| preamble::goes_with(key, value));
    (numbered.count() >= 1 && fit).then_some(pairs)
}

/// Whether two lines at least have a known key in front of a dash.
fn are_dashed(text: &str, lines: &[TextLine]) -> bool {
    const FEWEST: usize = 2;
    let dashed = |line: &&TextLine| {
        let raw = &text[line.span.range()];
        let may_be = [" - ", " – ", " — "].iter().any(|dash| raw.contains(dash));
        may_be
            && matches!(preamble::pairs(strip_remark(raw).1).first(), Some(pair) if pair.mark == preamble::DASH)
    };
    lines.iter().filter(dashed).take(FEWEST).count() == FEWEST
}

/// So many known keys beside it make a key of an unknown word.
const FEWEST_BESIDE_UNKNOWN: usize = 3;

/// The words of a comment without separators, quotes and the blanks of the paper.
fn words_of_comment(words: &LineWords) -> String {
    let padding = |c: char| c.is_whitespace() || matches!(c, ';' | '|' | ',');
    let bare = words.kept.trim_end_matches(padding);
    let inner = bare.strip_prefix('"').and_then(|bare| bare.strip_suffix('"'));
    let bare = inner.filter(|inner| !inner.contains('"')).unwrap_or(bare);
    // Words of the paper are set apart by blanks that say nothing.
    if words.beside_page {
        bare.split_whitespace().collect::<Vec<_>>().join(" ")
    } else {
        bare.trim().to_owned()
    }
}

/// Whether the value of a key may tell conditions in passing.
fn tells_conditions(key: &str) -> bool {
    let field = words::field_of(key);
    matches!(
        field,
        Some("title" | "comment" | "buffer" | "solvent" | "cell" | "method")
    ) || words::fields_if_fitting(key).contains(&"cell")
        || words::is(WordList::OfConditions, key)
}

/// Whether a comment is a number alone, which may be the count of the points; `1:10` and `100 %` are more.
fn is_count(comment: &str) -> bool {
    let of_count = |c: char| c.is_ascii_digit() || !c.is_alphanumeric() && !matches!(c, ':' | '%' | '/');
    comment.chars().all(of_count) || !comment.contains(char::is_alphanumeric)
}
