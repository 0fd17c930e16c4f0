//! Titles, keys and summaries around several tables of one text: to which of them each line belongs.

use std::collections::BTreeSet;

use curvary_record::{Quantity, Span};

use super::join::Section;
use super::scan::{TextLine, strip_remark};
use super::{join, scan, segments};
use crate::preamble;
use crate::words::WordList;

/// Whether a table that is no measurement was worked out from the one before it: a list of its peaks, or of its wavelengths. A
/// column of another trade, a price, tells that it was not.
pub(super) fn is_derived(text: &str, section: &Section) -> bool {
    let heads = || {
        let cells = section.table.heads.iter().flat_map(|head| &head.cells);
        cells.flatten().map(|cell| &text[cell.range()])
    };
    let titles = section
        .words
        .iter()
        .map(|line| strip_remark(&text[line.span.range()]).1);
    let titles = titles.filter(|line| preamble::pairs(line).is_empty());
    let of_peaks = |words: &str| {
        words
            .split(|c: char| !c.is_alphabetic())
            .any(|word| crate::words::begins(WordList::Peak, &word.to_lowercase()))
    };
    let of_light = |head: &str| {
        let quantity = crate::column_header::read_column_header(head).quantity;
        quantity.is_some_and(|quantity| quantity.is_of_light() || quantity == Quantity::WAVELENGTH)
    };
    let of_another_trade = |head: &str| matches!(crate::words::word(head), crate::words::HeaderWord::Other(quantity) if crate::words::is_of_another_trade(&quantity));
    !heads().any(of_another_trade)
        && (titles.into_iter().any(of_peaks) || heads().any(|head| of_peaks(head) || of_light(head)))
}

/// Of the lines between a table and the next one, the first ones that are known keys with their values, as far as no heading
/// parts them from the table before.
pub(super) fn keys_behind_table<'l>(text: &str, lines: &'l [TextLine]) -> &'l [TextLine] {
    let stated = |line: &&TextLine| {
        let kept = strip_remark(&text[line.span.range()]).1;
        let pairs = preamble::pairs(kept);
        !pairs.is_empty()
            && pairs
                .iter()
                .all(|pair| crate::words::field_of(&kept[pair.key.clone()]).is_some())
    };
    &lines[..lines.iter().take_while(stated).count()]
}

/// Takes the lines directly behind a table that sum it up, `Mean;0.45`, out of the words, and gives their numbers.
/// `summed`: its last rows do so already.
pub(super) fn take_summaries(text: &str, words: &mut Vec<TextLine>, summed: bool) -> Vec<u32> {
    let mut lines = Vec::new();
    for line in words.iter() {
        if !segments::is_summary_line(&text[line.span.range()], summed || !lines.is_empty()) {
            break;
        }
        lines.push(line.line);
    }
    words.drain(..lines.len());
    lines
}

/// Whether a table is a single row of conditions under their names: `Sample,Temperature,pH` over `betanin,37,7.0`.
pub(super) fn is_row_of_conditions(text: &str, section: &Section) -> bool {
    let table = &section.table;
    let Some(head) = table.heads.last().filter(|_| table.grid.rows == 1) else {
        return false;
    };
    if is_row_of_values(text, section) {
        return true;
    }
    let (mut fields, mut others, mut axes) = (0, 0, 0);
    for span in head.cells.iter().flatten() {
        let key = &text[span.range()];
        let bare = crate::column_header::split_unit(key).map_or(key, |(name, _)| name);
        match crate::words::field_of(bare) {
            Some("wavelength") => axes += 1,
            Some(_) => fields += 1,
            None => others += 1,
        }
        let measured = crate::column_header::read_column_header(key).quantity;
        axes += usize::from(measured.is_some_and(|q| q.is_of_light() || q == Quantity::RATE));
    }
    axes == 0 && fields > others && fields >= 2
}

/// Whether a single row holds the values of keys, the wavelength at which was measured among them, in its unit: each cell goes with
/// the key above it.
fn is_row_of_values(text: &str, section: &Section) -> bool {
    const FEWEST: usize = 3;
    let (table, grid) = (&section.table, &section.table.grid);
    let [head] = table.heads.as_slice() else {
        return false;
    };
    let known = |key: &Option<Span>| {
        key.as_ref()
            .is_some_and(|key| preamble::is_known(text[key.range()].trim()))
    };
    // In front of so many known keys an unknown word may be one, too: `Ensaio`, over what was done.
    let unknown = usize::from(head.cells.len() > FEWEST && head.cells.first().is_some_and(|key| !known(key)));
    if head.cells.len() < FEWEST || !head.cells.iter().skip(unknown).all(known) {
        return false;
    }
    // The row is looked up from its header on: a long text may hold many such tables.
    let from_header = &text[head.line.span.range().start..];
    let lines_below = grid.line(0).checked_sub(head.line.line as usize);
    let line = lines_below
        .and_then(|below| from_header.lines().nth(below))
        .unwrap_or("");
    let values = super::dialect::split(line, &grid.dialect);
    let cells = || head.cells.iter().zip(&values).skip(unknown);
    let goes_with = |(key, value): (&Option<Span>, &std::ops::Range<usize>)| {
        key.as_ref().is_some_and(|key| {
            let key = text[key.range()].trim();
            let measured = crate::column_header::read_column_header(key).quantity;
            let of_light = measured.is_some_and(|quantity| quantity.is_of_light());
            let value = line[value.clone()].trim();
            let united = crate::words::field_of(key) != Some("wavelength")
                || value.contains(char::is_alphabetic) && !value.contains(['-', '–']);
            !of_light && united && preamble::goes_with(key, value)
        })
    };
    head.cells.len() == values.len() && cells().all(goes_with)
}

/// The titles of a series, `Cycle 1 (0 min)`, `Cycle 2 (2 min)`, where the line above every table is one: each begins
/// with the same word. They are taken out of the words, since each speaks of its own table alone.
pub(super) fn titles(text: &str, sections: &mut [Section]) -> Vec<TextLine> {
    let first_word = |section: &Section| -> Option<(String, TextLine)> {
        let line = *section.words.last()?;
        let kept = strip_remark(&text[line.span.range()]).1;
        let word: String = kept.chars().take_while(|c| c.is_alphabetic()).collect();
        let title = word.chars().count() >= 3
            && kept.chars().count() <= 80
            && preamble::pairs(kept)
                .iter()
                .all(|pair| crate::words::field_of(&kept[pair.key.clone()]).is_none())
            && !join::is_furniture(kept, &BTreeSet::new());
        title.then(|| (word.to_lowercase(), line))
    };
    let found: Option<Vec<(String, TextLine)>> = sections.iter().map(first_word).collect();
    let Some(found) = found.filter(|found| found.len() >= 2) else {
        return Vec::new();
    };
    let texts: BTreeSet<&str> = found.iter().map(|(_, line)| &text[line.span.range()]).collect();
    if texts.len() < found.len() || found.iter().any(|(word, _)| *word != found[0].0) {
        return Vec::new();
    }
    for section in sections.iter_mut() {
        section.words.pop();
    }
    found.into_iter().map(|(_, line)| line).collect()
}

/// Where each table has its keys behind it and not in front, gives each table its own.
pub(super) fn keys_behind(
    text: &str,
    mut sections: Vec<Section>,
    behind: Vec<TextLine>,
) -> (Vec<Section>, Vec<TextLine>) {
    let keys = |lines: &[TextLine]| -> BTreeSet<&'static str> {
        lines
            .iter()
            .flat_map(|line| {
                let (_, kept) = strip_remark(&text[line.span.range()]);
                preamble::pairs(kept)
                    .into_iter()
                    .filter_map(|pair| crate::words::field_of(&kept[pair.key]))
                    .collect::<Vec<_>>()
            })
            .collect()
    };
    if sections.len() < 2 {
        return (sections, behind);
    }
    let last = keys(&behind);
    let in_front = sections
        .first()
        .is_some_and(|section| !keys(&section.words).is_empty());
    if in_front
        || !last.contains("sample")
        || !sections[1..].iter().all(|section| keys(&section.words) == last)
    {
        return (sections, behind);
    }
    for index in 0..sections.len() - 1 {
        let own = std::mem::take(&mut sections[index + 1].words);
        sections[index].words.extend(own);
    }
    if let Some(section) = sections.last_mut() {
        section.words.extend(behind);
    }
    (sections, Vec::new())
}

/// The lines of a letter's head, `From: …`, `Date: …`, `ExportedRun: …`: its date and its writer are not the measurement's.
pub(super) fn head_of_letter(text: &str, lines: &[TextLine]) -> Option<std::ops::RangeInclusive<u32>> {
    let key = |line: &TextLine| {
        let line = text[line.span.range()].trim_start_matches(['>', ' ']);
        let (key, _) = line.split_once(':')?;
        let key = key.trim().to_lowercase();
        [WordList::LetterFrom, WordList::LetterSubject]
            .into_iter()
            .position(|list| crate::words::words_of(list).contains(&key))
    };
    let first = lines.iter().position(|line| key(line).is_some())?;
    let block: Vec<&TextLine> = lines[first..]
        .iter()
        .zip(lines[first].line..)
        .take_while(|(line, number)| line.line == *number && text[line.span.range()].contains(':'))
        .map(|(line, _)| line)
        .collect();
    let has = |which: usize| block.iter().any(|line| key(line) == Some(which));
    // A writer and a subject; `From: 400 nm` alone is a setting.
    (has(0) && has(1)).then(|| lines[first].line..=block.last().map_or(lines[first].line, |line| line.line))
}

/// Lines behind the last table, and those among them that stand under a title of their own over a check of the instrument, as far as
/// they follow upon each other: their keys are none of the run.
pub(super) fn without_checks(text: &str, behind: Vec<TextLine>) -> (Vec<TextLine>, Vec<TextLine>) {
    let mut last: Option<u32> = None;
    behind.into_iter().partition(|line| {
        let apart =
            is_title_of_check(&text[line.span.range()]) || last.is_some_and(|last| line.line == last + 1);
        last = apart.then_some(line.line);
        !apart
    })
}

/// Whether a line is a title over what was measured to check the instrument, `QC check`: a few words that state nothing.
fn is_title_of_check(line: &str) -> bool {
    const MOST_WORDS: usize = 4;
    let (_, kept) = strip_remark(line);
    let kept = kept.trim_end_matches([':', '-', '=', ' ', ';', ',', '\t']);
    let words = || {
        kept.split(|c: char| !(c.is_alphanumeric() || c == '-'))
            .filter(|word| !word.is_empty())
    };
    kept.len() <= 60
        && words().count() <= MOST_WORDS
        && words().any(|word| crate::words::begins(WordList::OfCheck, &word.to_lowercase()))
        && !kept.contains(|c: char| c.is_ascii_digit() || matches!(c, '.' | ';' | ',' | '\t' | '(' | '|'))
        && preamble::pairs(kept).is_empty()
}

/// The line above a later table that stands where the title of the first one stands: the tables have the same headers, and the lines
/// between title and header are keys of the same names.
pub(super) fn own_title(text: &str, first: &Section, section: &Section) -> Option<TextLine> {
    let kept = |line: &TextLine| strip_remark(&text[line.span.range()]).1.trim();
    let keys = |line: &TextLine| -> Vec<String> {
        let line = kept(line);
        let pairs = preamble::pairs(line);
        pairs
            .into_iter()
            .map(|pair| line[pair.key].to_lowercase())
            .collect()
    };
    let heads = join::head_texts(text, &section.table);
    let same = !heads.is_empty() && heads == join::head_texts(text, &first.table);
    let title = first
        .words
        .iter()
        .position(|line| keys(line).is_empty() && !scan::is_ruler(kept(line)))?;
    let form = &first.words[title..];
    let own = section
        .words
        .get(section.words.len().checked_sub(form.len())?..)?;
    let alike = form.iter().zip(own).all(|(one, other)| keys(one) == keys(other));
    let line = *own.first()?;
    let said = kept(&line);
    let is_title = said != kept(&form[0])
        && said.contains(char::is_alphabetic)
        && !join::is_furniture(said, &BTreeSet::new())
        && form.iter().filter(|line| keys(line).is_empty()).count() == 1;
    (same && alike && is_title).then_some(line)
}
