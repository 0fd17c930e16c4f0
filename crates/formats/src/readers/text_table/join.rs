//! Tables that were one before they were printed: cut by pages, wrapped at the width of the paper, or broken by a
//! change of separator.

use std::collections::BTreeSet;

use curvary_record::moment::{self, DateReading};
use curvary_record::unit::{Spelling, spelled};
use curvary_record::{Code, Diagnostic, KnownQuantity, Place, Quantity, Span};

use super::dialect::raw_split;
use super::grid::ColumnKind;
use super::scan::{ScannedTable, TextLine, TextPiece, leading_number};
use crate::words::{self, WordList};

/// A table with the words that stand between it and the table before.
pub(super) struct Section {
    pub(super) words: Vec<TextLine>,
    pub(super) table: ScannedTable,
    pub(super) remarks: Vec<Diagnostic>,
    /// Lines that have the cells of its rows and were taken for none: what they are is asked.
    pub(super) rows_aside: Vec<u32>,
    /// Such lines of which somebody said that they belong to it.
    pub(super) rows_added: Vec<TextLine>,
    /// Whether nothing but the furniture of paper stands between it and the table before, under the same heads.
    pub(super) on_next_page: bool,
}

impl Section {
    /// Rows without words of their own.
    pub(super) const fn of_rows(table: ScannedTable) -> Self {
        Self {
            words: Vec::new(),
            table,
            remarks: Vec::new(),
            rows_aside: Vec::new(),
            rows_added: Vec::new(),
            on_next_page: false,
        }
    }
}

/// The sections of a text, and the words behind the last table.
pub(super) fn sections(text: &str, pieces: Vec<TextPiece>) -> (Vec<Section>, Vec<TextLine>) {
    let mut sections: Vec<Section> = Vec::new();
    let mut words: Vec<TextLine> = Vec::new();
    let mut seen: BTreeSet<String> = BTreeSet::new();
    let mut said = Stated::default();
    for piece in pieces {
        match piece {
            TextPiece::Blank => {}
            TextPiece::Text(line) => words.push(line),
            TextPiece::Table(table) => {
                let mut table = *table;
                // A row that was cut behind its first number is no page number.
                let cut = sections
                    .last()
                    .and_then(|last| cut_row_between(text, &last.table, &words, &table));
                if let (Some(line), Some(last)) = (cut, sections.last_mut()) {
                    words.retain(|word| word.line != line);
                    last.remarks.push(row_cut(line));
                }
                let note = sections
                    .last()
                    .and_then(|last| note_between(text, &last.table, &table));
                if let Some(note) = note {
                    words.push(note);
                    table.heads.clear();
                }
                let furniture = words
                    .iter()
                    .all(|line| is_furniture(&text[line.span.range()], &seen));
                let own_head = !table.heads.is_empty();
                let between = std::mem::take(&mut words);
                let joined = std::mem::take(&mut table.joined);
                if let Some(results) = sections
                    .last()
                    .and_then(|last| results_below(text, last, &table, &between))
                {
                    words.extend(between);
                    words.extend(joined);
                    words.extend(results);
                    continue;
                }
                let relation = sections.last().map(|last| {
                    if list_goes_on(text, &last.table, &table, &between) {
                        Relation::ListGoesOn
                    } else {
                        relation(text, &last.table, &table, between.len())
                    }
                });
                match (sections.last_mut(), relation) {
                    // A remark in the middle of a table that goes on in its very step does not end it.
                    (Some(last), Some(Relation::GoesOn { in_step }))
                        if furniture
                            || (in_step
                                && !begins_anew(text, &between, &seen, said.of(text, &last.words))) =>
                    {
                        last.remarks.extend(put_out_of_use(text, &between));
                        if !furniture {
                            last.remarks.extend(passed_over(text, &between, &last.table));
                        }
                        last.words.extend(between);
                        last.words.extend(joined);
                        extend(last, table);
                        continue;
                    }
                    (Some(last), Some(Relation::ListGoesOn)) => {
                        last.words.extend(between);
                        last.words.extend(joined);
                        extend(last, table);
                        continue;
                    }
                    (Some(last), Some(Relation::Wrapped)) if furniture => {
                        widen(last, table);
                        continue;
                    }
                    (Some(last), Some(_))
                        if (furniture || note.is_some() || goes_back_or_on(text, &last.table, &table))
                            && !between.iter().any(|line| {
                                says_something_else(text, &text[line.span.range()], &last.table)
                            })
                            && !own_head
                            && last.table.grid.columns() == table.grid.columns() =>
                    {
                        table.heads.clone_from(&last.table.heads);
                        if !furniture {
                            last.remarks.extend(passed_over(text, &between, &last.table));
                        }
                    }
                    _ => {}
                }
                let same_heads = |last: &Section| head_texts(text, &last.table) == head_texts(text, &table);
                let on_next_page = furniture && sections.last().is_some_and(same_heads);
                for line in &between {
                    seen.insert(squeeze(&text[line.span.range()]));
                }
                said = Stated::default();
                let mut words = between;
                words.extend(joined);
                sections.push(Section {
                    on_next_page,
                    words,
                    table,
                    remarks: Vec::new(),
                    rows_aside: Vec::new(),
                    rows_added: Vec::new(),
                });
            }
        }
    }
    (sections, words)
}

/// The lines of a table without a header below one whose first column are numbers, where each is a name with one number and one name is a
/// word of statistics: `slope,0.0187` and `R2,0.9994` are keys with their values.
fn results_below(
    text: &str,
    last: &Section,
    table: &ScannedTable,
    between: &[TextLine],
) -> Option<Vec<TextLine>> {
    const MOST: usize = 8;
    // Some of the lines of a name and a number were taken for no rows: what they are is asked of all of them.
    let is_part = || {
        between.iter().any(|line| {
            let line = &text[line.span.range()];
            let cells: Vec<&str> = raw_split(line, table.grid.dialect.sep)
                .into_iter()
                .map(|cell| line[cell].trim())
                .filter(|cell| !cell.is_empty())
                .collect();
            matches!(cells.as_slice(), [name, number] if name.starts_with(char::is_alphabetic)
                && leading_number(number).is_some())
        })
    };
    let grid = &table.grid;
    let is_filled = |column: usize| match grid.kinds[column] {
        ColumnKind::Figures => !grid.column(column).all(f64::is_nan),
        ColumnKind::Words => grid.words(column).iter().any(|span| span.start < span.end),
    };
    let filled: Vec<ColumnKind> = (0..grid.columns())
        .filter(|&column| is_filled(column))
        .map(|column| grid.kinds[column])
        .collect();
    let names = || grid.words(0).iter().map(|name| text[name.range()].trim());
    let results = grid.rows <= MOST
        && filled == [ColumnKind::Words, ColumnKind::Figures]
        && grid.kinds.first() == Some(&ColumnKind::Words)
        && last.table.grid.kinds.first() == Some(&ColumnKind::Figures)
        && (is_part()
            || grid.odd.len() >= grid.rows
            || table.heads.is_empty()
                && names().any(|name| name.chars().count() > 1 && words::is_statistics(name)));
    results.then(|| {
        let lines = grid.words(0).iter().enumerate().map(|(row, name)| {
            let start = text[..name.start as usize]
                .rfind(['\n', '\r'])
                .map_or(0, |end| end + 1);
            let end = text[start..]
                .find(['\n', '\r'])
                .map_or(text.len(), |end| start + end);
            TextLine {
                line: grid.line(row) as u32,
                span: Span::new(start, end),
            }
        });
        let odd = grid.odd.iter().map(|odd| TextLine {
            line: odd.line,
            span: odd.span,
        });
        let mut lines: Vec<TextLine> = lines.chain(odd).collect();
        lines.sort_by_key(|line| line.line);
        lines
    })
}

enum Relation {
    /// The running column goes on, perhaps in its very step.
    GoesOn {
        in_step: bool,
    },
    Wrapped,
    /// More named rows under the same headers: a list with empty rows or notes in it.
    ListGoesOn,
    Apart,
}

fn relation(text: &str, first: &ScannedTable, second: &ScannedTable, lines_between: usize) -> Relation {
    let (a, b) = (&first.grid, &second.grid);
    let same_heads = second.heads.is_empty() || head_texts(text, first) == head_texts(text, second);
    if a.kinds == b.kinds
        && same_heads
        && !begins_a_plate_anew(text, first, second)
        && let Some(in_step) = goes_on(first, second, lines_between)
    {
        return Relation::GoesOn { in_step };
    }
    let rows = a.rows == b.rows
        && a.rows >= 2
        && a.kinds.first() == Some(&ColumnKind::Figures)
        && b.kinds.first() == Some(&ColumnKind::Figures);
    let same_axis = rows && a.columns() >= 4 && a.column(0).zip(b.column(0)).all(|(x, y)| x == y);
    let same_first_head = match (first.heads.last(), second.heads.last()) {
        (Some(one), Some(other)) => {
            let head = |row: &super::scan::HeadRow| {
                row.cells
                    .first()
                    .copied()
                    .flatten()
                    .map(|span| squeeze(&text[span.range()]))
            };
            // `nm,A,nm,A`: pairs stand side by side, and those below are others.
            let once = one
                .cells
                .iter()
                .skip(1)
                .flatten()
                .all(|span| Some(squeeze(&text[span.range()])) != head(one));
            once && head(one) == head(other) && head_texts(text, first) != head_texts(text, second)
        }
        _ => false,
    };
    if same_axis && same_first_head {
        Relation::Wrapped
    } else {
        Relation::Apart
    }
}

/// The form of a text: its letters, and what are no figures, with every row of figures as one sign.
pub(super) fn form_of(text: &str) -> String {
    let mut form = String::new();
    for sign in text.trim().chars() {
        let sign = if sign.is_ascii_digit() { '0' } else { sign };
        if !(sign == '0' && form.ends_with('0')) {
            form.push(sign);
        }
    }
    form
}

/// The first names of a list.
fn first_names<'t>(text: &'t str, table: &ScannedTable) -> Vec<&'t str> {
    const FEW: usize = 3;
    let spans = table.grid.words(0).iter().take(FEW);
    spans.map(|span| text[span.range()].trim()).collect()
}

/// The header of a table, where it is a note between two rows of one list: a line of which only the first cell is filled,
/// above rows that are named as those of the table before it are.
fn note_between(text: &str, first: &ScannedTable, second: &ScannedTable) -> Option<TextLine> {
    let [head] = second.heads.as_slice() else {
        return None;
    };
    let [Some(_), rest @ ..] = head.cells.as_slice() else {
        return None;
    };
    let note = !rest.is_empty() && rest.iter().all(Option::is_none);
    // `new cuvette` over two columns that go on in their very step: words that name nothing, one over each column.
    let names = |span: &Span| {
        let cell = text[span.range()].trim();
        let read = crate::column_header::read_column_header(cell);
        let measured = read
            .quantity
            .as_ref()
            .is_some_and(|quantity| quantity.is_of_light() || *quantity == Quantity::RATE);
        measured || read.unit.is_some() || super::segments::is_axis(&read)
    };
    let says_nothing = || !head.cells.iter().flatten().any(names);
    let (a, b) = (&first.grid, &second.grid);
    let goes_on = || a.kinds == b.kinds && a.dialect == b.dialect && goes_on(first, second, 1) == Some(true);
    (note && are_alike_lists(text, first, second) || !first.heads.is_empty() && says_nothing() && goes_on())
        .then_some(head.line)
}

/// Whether two tables are of the same columns, names in front, and their names are of one form with figures in it.
fn are_alike_lists(text: &str, first: &ScannedTable, second: &ScannedTable) -> bool {
    let (a, b) = (&first.grid, &second.grid);
    let named = a.kinds == b.kinds && a.kinds.first() == Some(&ColumnKind::Words) && a.dialect == b.dialect;
    if !named || a.rows == 0 || b.rows == 0 {
        return false;
    }
    let (before, behind) = (first_names(text, first), first_names(text, second));
    let (Some(one), Some(other)) = (before.first(), behind.first()) else {
        return false;
    };
    form_of(one).contains('0') && form_of(one) == form_of(other)
}

/// Whether two tables are of the same three columns or more, names in front, whatever the names are.
fn are_alike_wide_lists(first: &ScannedTable, second: &ScannedTable) -> bool {
    const FEWEST: usize = 3;
    let (a, b) = (&first.grid, &second.grid);
    let rest = a.kinds.get(1..).unwrap_or_default();
    a.kinds == b.kinds
        && a.dialect == b.dialect
        && a.columns() >= FEWEST
        && a.kinds.first() == Some(&ColumnKind::Words)
        && rest.iter().all(|kind| *kind == ColumnKind::Figures)
        && a.rows > 0
        && b.rows > 0
}

/// Whether the letters in front of the rows, `A`, `B`, `C`, begin anew: another reading of a plate, however its numbers go on.
fn begins_a_plate_anew(text: &str, first: &ScannedTable, second: &ScannedTable) -> bool {
    let letter = |name: &&str| matches!(name.as_bytes(), [b'A'..=b'Z']);
    let named = |table: &ScannedTable| table.grid.kinds.first() == Some(&ColumnKind::Words);
    if !named(first) || !named(second) {
        return false;
    }
    let (before, behind) = (first_names(text, first), first_names(text, second));
    let anew = before.first() == behind.first();
    anew && before.len() >= 2 && before.iter().chain(&behind).all(letter)
}

/// Whether a list of named rows goes on behind empty rows or notes: no header between says otherwise, and no column is one that
/// runs, which would begin anew.
pub(super) fn list_goes_on(
    text: &str,
    first: &ScannedTable,
    second: &ScannedTable,
    between: &[TextLine],
) -> bool {
    let runs = |span: &Span| {
        super::segments::is_axis(&crate::column_header::read_column_header(&text[span.range()]))
    };
    // The header may stand again, as on another page.
    let headed = !first.heads.is_empty()
        && (second.heads.is_empty() || head_texts(text, first) == head_texts(text, second));
    let delimiter = first.grid.dialect.sep.byte().map(char::from);
    // A note fills one cell, and states nothing of its own.
    let is_note = |line: &TextLine| {
        let line = &text[line.span.range()];
        if says_something_else(text, line, first) {
            return false;
        }
        let Some(delimiter) = delimiter else {
            return !has_number(line, first) && stated(line).is_empty();
        };
        let (cell, rest) = line.split_once(delimiter).unwrap_or((line, ""));
        // A name of the list alone is a row that was cut.
        let cut = first_names(text, first)
            .iter()
            .any(|name| form_of(name) == form_of(cell));
        !rest.contains(char::is_alphanumeric) && !cut && stated(line).is_empty()
    };
    // Names that begin anew, `leaf 1` again, are of another group, which the note between may name.
    let anew = || {
        let before = first_names(text, first);
        let behind = first_names(text, second);
        behind.first().is_some_and(|name| before.contains(name))
    };
    headed
        && first.open.is_none()
        && (are_alike_lists(text, first, second) || are_alike_wide_lists(first, second))
        && !anew()
        && between.iter().all(is_note)
        && !first
            .heads
            .iter()
            .flat_map(|head| head.cells.iter().skip(1).flatten())
            .any(runs)
}

/// Whether named rows below a line of words are another group of the list above: the same columns, and words between that hold no
/// number of their own.
pub(super) fn is_another_group(
    text: &str,
    first: &ScannedTable,
    second: &ScannedTable,
    between: &[TextLine],
) -> bool {
    let (a, b) = (&first.grid, &second.grid);
    let rest = a.kinds.get(1..).unwrap_or_default();
    let alike = a.kinds == b.kinds
        && a.dialect == b.dialect
        && a.kinds.first() == Some(&ColumnKind::Words)
        && rest.contains(&ColumnKind::Figures);
    let is_title = |line: &TextLine| {
        let line = &text[line.span.range()];
        line.contains(char::is_alphabetic)
            && super::scan::strip_remark(line).0.is_none()
            && !has_number(line, first)
            && !says_something_else(text, line, first)
            && !(line.contains(|c: char| c.is_ascii_digit()) && is_like_row(line, first))
    };
    alike
        && first.open.is_none()
        && !first.heads.is_empty()
        && !between.is_empty()
        && between.iter().all(is_title)
}

/// Whether a line is the first cell of the numbered header above the table before, `wavelength/nm`: a header that has lost its
/// numbers, so that those of the first hold no longer.
fn is_header_cut_off(text: &str, line: &str, first: &ScannedTable) -> bool {
    let line = line.trim().trim_end_matches(['\t', ';', ',', '|']).trim_end();
    first.heads.iter().any(|head| match head.cells.as_slice() {
        [Some(corner), others @ ..] => {
            let numbered = others
                .iter()
                .flatten()
                .any(|span| leading_number(&text[span.range()]).is_some());
            numbered && text[corner.range()].trim() == line
        }
        _ => false,
    })
}

/// Whether a line between two tables says that the numbers below it are something else than the headers above the first say:
/// another quantity, another unit, or what was computed from readings: `Concentration found (mg/L)`, `Standard deviations`.
fn says_something_else(text: &str, line: &str, first: &ScannedTable) -> bool {
    if is_header_cut_off(text, line, first) {
        return true;
    }
    let heads: Vec<crate::column_header::ColumnHeader> = first
        .heads
        .iter()
        .flat_map(|head| head.cells.iter().flatten())
        .map(|span| crate::column_header::read_column_header(&text[span.range()]))
        .collect();
    let known = |quantity: &Quantity| heads.iter().any(|head| head.quantity.as_ref() == Some(quantity));
    let measured = |quantity: &Quantity| {
        quantity.is_of_light()
            || matches!(
                quantity.known(),
                Some(KnownQuantity::Concentration | KnownQuantity::Dilution | KnownQuantity::Rate)
            )
    };
    let bare = |word: &&str| {
        word.trim_matches(|c: char| !(c.is_alphanumeric() || c == '%' || c == '/'))
            .to_owned()
    };
    let words: Vec<String> = line.split_whitespace().map(|word| bare(&word)).collect();
    // `se` is a word of several languages, and the standard error in capitals or beside few other words.
    const FEW_WORDS: usize = 3;
    let in_passing = |word: &String| {
        let short = word.chars().count() <= 2 && !word.contains(char::is_uppercase);
        short && words.len() > FEW_WORDS
    };
    let sums_up = |word: &String| {
        let spread = || crate::words::is(WordList::Spread, word);
        (crate::words::is_statistics(word) || spread()) && !in_passing(word)
    };
    let says = |word: &String| {
        let quantity = (word.chars().count() >= 3)
            .then(|| crate::words::quantity_of(word))
            .flatten();
        quantity.is_some_and(|quantity| measured(&quantity) && !known(&quantity))
            || sums_up(word)
            || crate::words::is(WordList::Target, word)
            || crate::words::begins(WordList::ComputedStem, &word.to_lowercase())
    };
    // A unit of what was measured: a quotient, or a molar concentration.
    let unit = |word: &String| {
        let is_unit = word.contains('/') || word.len() == 2 && word.ends_with('M');
        let Spelling::One(unit) = (if is_unit { spelled(word) } else { Spelling::None }) else {
            return false;
        };
        heads.iter().all(|head| head.unit.as_ref() != Some(&unit))
    };
    let pair = |pair: &[String]| crate::words::is_statistics(&pair.join(" "));
    // The `min` of `t = 2 min` is no least value.
    let behind_number = |at: usize| {
        at.checked_sub(1)
            .is_some_and(|before| words[before].starts_with(|c: char| c.is_ascii_digit()))
    };
    (0..words.len()).any(|at| says(&words[at]) && !behind_number(at) || unit(&words[at]))
        || words.windows(2).any(pair)
}

/// Whether a line, cut as the rows of a table are, has a number among its cells.
fn has_number(line: &str, table: &ScannedTable) -> bool {
    let dialect = &table.grid.dialect;
    // `Series 2` among columns that wide gaps part is one cell.
    let wide = table
        .grid
        .extents()
        .windows(2)
        .all(|pair| pair[1].0 - pair[0].1 >= 2);
    if dialect.sep == super::dialect::Delimiter::Blank && wide && !line.trim().contains("  ") {
        return false;
    }
    super::dialect::split(line, dialect).iter().any(|range| {
        matches!(
            super::number::cell(&line[range.clone()], dialect.style),
            super::number::Cell::Number { .. }
        )
    })
}

/// The line between two tables that holds the next number of the first one's running column, or the one before the
/// second's, and nothing else.
fn cut_row_between(
    text: &str,
    first: &ScannedTable,
    between: &[TextLine],
    second: &ScannedTable,
) -> Option<u32> {
    let (a, b) = (&first.grid, &second.grid);
    let column = a.kinds.iter().position(|kind| *kind == ColumnKind::Figures)?;
    let hard = a.dialect.sep.byte().is_some() || a.dialect.sep == super::dialect::Delimiter::CommaBlank;
    let figures = |table: &ScannedTable| {
        table.grid.kinds.get(column) == Some(&ColumnKind::Figures) && table.grid.rows > 0
    };
    if column != 0
        || !hard
        || a.columns() < 2
        || !second.heads.is_empty()
        || !figures(first)
        || !figures(second)
    {
        return None;
    }
    let mut next = Vec::new();
    if a.rows >= 2 {
        next.push(2.0 * a.figure(a.rows - 1, 0) - a.figure(a.rows - 2, 0));
    }
    if b.rows >= 2 {
        next.push(2.0 * b.figure(0, 0) - b.figure(1, 0));
    }
    let is_next = |line: &&TextLine| {
        let line = text[line.span.range()].trim();
        match super::number::cell(line, a.dialect.style) {
            super::number::Cell::Number { value, .. } => next
                .iter()
                .any(|next| (value - next).abs() <= 1e-9 * next.abs().max(1.0)),
            _ => false,
        }
    };
    between.iter().find(is_next).map(|line| line.line)
}

/// A remark on a row that ends behind its first cell.
pub(super) fn row_cut(line: u32) -> Diagnostic {
    Diagnostic::warning(
        Code::new("row-does-not-fit"),
        "a line holds only the first cell of a row, and was left out",
    )
    .at(Place::line(line as usize), "this line")
    .help("compare it with the original")
}

/// Whether the first column of `second` goes on where that of `first` ends, and whether in its very step. Rows that
/// were put out of use by a remark sign leave a gap of as many steps.
pub(super) fn goes_on(first: &ScannedTable, second: &ScannedTable, lines_between: usize) -> Option<bool> {
    let (a, b) = (&first.grid, &second.grid);
    let column = a.kinds.iter().position(|kind| *kind == ColumnKind::Figures)?;
    if a.rows == 0 || b.rows == 0 {
        return None;
    }
    let (last, new) = (a.figure(a.rows - 1, column), b.figure(0, column));
    // Behind a single row only the rows that follow tell the step.
    let step = match a.rows {
        1 if b.rows >= 2 => b.figure(1, column) - new,
        1 => return None,
        rows => last - a.figure(rows - 2, column),
    };
    let gap = new - last;
    // Behind a change of lamp the last value stands again, and the table goes on in its step.
    if gap == 0.0 && lines_between > 0 && a.rows >= 2 && b.rows >= 2 {
        let behind = b.figure(1, column) - new;
        return ((behind - step).abs() <= 1e-6 * step.abs() && second.heads.is_empty()).then_some(true);
    }
    (step != 0.0 && gap / step > 0.0 && gap / step <= 5.0).then(|| {
        let steps = gap / step;
        (steps - 1.0).abs() < 0.02 || (lines_between > 0 && (steps - 1.0 - lines_between as f64).abs() < 0.02)
    })
}

/// Whether a table without heads runs on behind the one before it, after a pause of any length, or begins where that
/// one began: the same columns, measured on or again, under heads that are written once.
fn goes_back_or_on(text: &str, first: &ScannedTable, second: &ScannedTable) -> bool {
    let (a, b) = (&first.grid, &second.grid);
    let Some(column) = a.kinds.iter().position(|kind| *kind == ColumnKind::Figures) else {
        return false;
    };
    if a.kinds != b.kinds || b.rows < 2 || first.heads.is_empty() {
        return false;
    }
    // Times of day run as numbers do: `09:30`.
    if a.kinds.first() == Some(&ColumnKind::Words) {
        let clock = |name: &&str| name.contains(':') && form_of(name).starts_with("0:0");
        let (before, behind) = (first_names(text, first), first_names(text, second));
        return !before.is_empty() && before.iter().chain(&behind).all(clock);
    }
    let range = |grid: &super::grid::Grid| {
        let numbers = || grid.column(column).filter(|number| !number.is_nan());
        Some((numbers().reduce(f64::min)?, numbers().reduce(f64::max)?))
    };
    let (Some(one), Some(other)) = (range(a), range(b)) else {
        return false;
    };
    // The same range again, perhaps the other way round: another scan.
    if one == other {
        return true;
    }
    let step = |grid: &super::grid::Grid| grid.figure(1, column) - grid.figure(0, column);
    if a.rows < 2 {
        return (b.figure(0, column) - a.figure(0, column)) * step(b) > 0.0;
    }
    // The last value may stand again behind a change of lamp, and a scan may begin anew anywhere behind the first.
    let on = (b.figure(0, column) - a.figure(0, column)) * step(a) >= 0.0;
    step(a) * step(b) > 0.0 && on
}

/// A remark on rows of numbers that stand behind a remark sign in the middle of a table.
fn put_out_of_use(text: &str, lines: &[TextLine]) -> Option<Diagnostic> {
    let rows: Vec<&TextLine> = lines
        .iter()
        .filter(|line| {
            let (sign, kept) = super::scan::strip_remark(&text[line.span.range()]);
            sign.is_some() && kept.trim_start().starts_with(|c: char| c.is_ascii_digit())
        })
        .collect();
    let first = rows.first()?;
    let count = match rows.len() {
        1 => "1 row stands".to_owned(),
        n => format!("{n} rows stand"),
    };
    Some(
        Diagnostic::note(
            Code::new("row-out-of-use"),
            format!("{count} behind a remark sign in the table and was left out"),
        )
        .at(Place::line(first.line as usize), "the first of them"),
    )
}

/// A remark on lines between the rows that look like damaged rows.
fn passed_over(text: &str, lines: &[TextLine], table: &ScannedTable) -> Option<Diagnostic> {
    let first = lines
        .iter()
        .find(|line| is_like_row(&text[line.span.range()], table))?;
    Some(
        Diagnostic::warning(
            Code::new("row-does-not-fit"),
            "a line between the rows looks like a damaged row, and was left out",
        )
        .at(Place::line(first.line as usize), "this line")
        .help("compare it with the original"),
    )
}

/// Whether a line between the rows is nearly all figures, or has as many cells as the rows with figures among them: a
/// damaged row.
pub(super) fn is_like_row(line: &str, table: &ScannedTable) -> bool {
    if !line.bytes().any(|byte| byte.is_ascii_digit()) {
        return false;
    }
    let signs = line.chars().filter(|c| !c.is_whitespace());
    let (mut all, mut of_numbers) = (0_usize, 0_usize);
    for sign in signs {
        all += 1;
        of_numbers += usize::from(sign.is_ascii_digit() || matches!(sign, '.' | ',' | ';' | '-' | '+'));
    }
    let grid = &table.grid;
    // `- 3 -` is a page.
    all >= 4
        && (of_numbers * 4 >= all * 3 || super::dialect::split(line, &grid.dialect).len() == grid.columns())
        && super::scan::strip_remark(line).0.is_none()
        && !crate::words::is_furniture(line)
        && !is_date(line)
}

/// Whether a line is a date with its year, and nothing else.
pub(super) fn is_date(line: &str) -> bool {
    let year = line
        .split(|c: char| !c.is_ascii_digit())
        .any(|digits| digits.len() == 4);
    year && !matches!(moment::read(line, None).date, DateReading::No)
}

/// Whether a line between two pages of a table says nothing of the run, and looks like none of its rows.
pub(super) fn is_title_of_page(line: &str, table: &ScannedTable) -> bool {
    stated(line).is_empty() && !is_like_row(line, table)
}

/// What lines of a section state of known fields, gathered as they come: a report has a few on each of its pages.
#[derive(Default)]
struct Stated {
    lines: usize,
    pairs: BTreeSet<(&'static str, String)>,
}

impl Stated {
    /// What all `lines` state; those that were heard before are the first of them.
    fn of(&mut self, text: &str, lines: &[TextLine]) -> &BTreeSet<(&'static str, String)> {
        let new = lines.get(self.lines..).unwrap_or_default();
        self.pairs
            .extend(new.iter().flat_map(|line| stated(&text[line.span.range()])));
        self.lines = lines.len();
        &self.pairs
    }
}

/// The known fields that a line states, each with its text.
fn stated(line: &str) -> Vec<(&'static str, String)> {
    let (_, kept) = super::scan::strip_remark(line);
    let pairs = crate::preamble::pairs(kept).into_iter();
    pairs
        .filter_map(|pair| {
            let field = crate::words::field_of(&kept[pair.key.clone()])?;
            Some((field, kept[pair.value].to_owned()))
        })
        .collect()
}

/// Whether lines between two tables say that another measurement begins: another sample, another title.
/// What was said before, word for word, is the head of a page, and the same sample there is the same one.
fn begins_anew(
    text: &str,
    lines: &[TextLine],
    seen: &BTreeSet<String>,
    known: &BTreeSet<(&'static str, String)>,
) -> bool {
    let anew = lines
        .iter()
        .filter(|line| !seen.contains(&squeeze(&text[line.span.range()])));
    anew.flat_map(|line| stated(&text[line.span.range()]))
        .any(|pair| {
            matches!(
                pair.0,
                "sample" | "title" | "wavelength" | "replicate" | "concentration"
            ) && !known.contains(&pair)
        })
}

fn extend(section: &mut Section, table: ScannedTable) {
    let grid = &mut section.table.grid;
    if grid.dialect != table.grid.dialect {
        section.remarks.push(
            Diagnostic::warning(
                Code::new("separator-changes"),
                format!(
                    "the table goes on with another separator or decimal sign: {}",
                    table.grid.dialect.says()
                ),
            )
            .at(Place::line(table.first_line as usize), "from here"),
        );
    }
    section.table.last_line = table.last_line;
    if section.table.open.is_none() {
        section.table.open = table.open;
    }
    grid.append(table.grid);
}

fn widen(section: &mut Section, table: ScannedTable) {
    section.table.last_line = section.table.last_line.max(table.last_line);
    let width = section.table.grid.columns();
    let levels = section.table.heads.len().max(table.heads.len());
    section.table.grid.widen(&table.grid);
    let added = table.grid.columns() - 1;
    // Heads are matched from the lowest row up.
    let mut heads = Vec::with_capacity(levels);
    for level in 0..levels {
        let mine = section.table.heads.iter().rev().nth(level);
        let theirs = table.heads.iter().rev().nth(level);
        let mut cells = mine.map_or_else(|| vec![None; width], |row| row.cells.clone());
        match theirs {
            Some(row) => cells.extend(row.cells.iter().skip(1).copied()),
            None => cells.extend(std::iter::repeat_n(None, added)),
        }
        if let Some(row) = mine.or(theirs) {
            heads.push(super::scan::HeadRow {
                line: row.line,
                class: row.class,
                cells,
            });
        }
    }
    heads.reverse();
    section.table.heads = heads;
}

pub(super) fn head_texts(text: &str, table: &ScannedTable) -> Vec<String> {
    table
        .heads
        .iter()
        .flat_map(|row| {
            row.cells
                .iter()
                .map(|span| span.map_or(String::new(), |span| squeeze(&text[span.range()])))
        })
        .collect()
}

pub(super) fn squeeze(line: &str) -> String {
    crate::work::looks_at(line.len());
    let mut squeezed = String::with_capacity(line.len());
    for word in line.split_whitespace() {
        if !squeezed.is_empty() {
            squeezed.push(' ');
        }
        squeezed.push_str(word);
    }
    if squeezed.is_ascii() {
        squeezed.make_ascii_lowercase();
        squeezed
    } else {
        squeezed.to_lowercase()
    }
}

/// A line without the number of the page at its end, two blanks or more behind its words; nothing where there is none.
pub(super) fn without_page(line: &str) -> Option<&str> {
    let at = line.rfind("  ").or_else(|| line.rfind('\t'))?;
    let (front, page) = (line[..at].trim_end(), line[at..].trim_start());
    // A lone number is the value of a key.
    let worded = page.contains(char::is_alphabetic);
    (!front.is_empty() && worded && is_furniture(page, &BTreeSet::new())).then_some(front)
}

/// Whether a line that belongs to the paper has words of its own in front of its page, three letters at least.
pub(super) fn has_words_before_page(line: &str) -> bool {
    let own = |word: &&str| {
        let word = word.trim_matches(|c: char| !c.is_alphanumeric());
        word.chars().filter(|c| c.is_alphabetic()).count() >= 3 && !is_furniture(word, &BTreeSet::new())
    };
    !crate::words::is_furniture(&squeeze(line)) && line.split_whitespace().any(|word| own(&word))
}

/// Lines that belong to the paper and not to the data: page numbers, repeated titles, "continued".
pub(super) fn is_furniture(line: &str, seen: &BTreeSet<String>) -> bool {
    let line = squeeze(line);
    let bare = line.trim_matches(|c: char| !c.is_alphanumeric());
    if bare.is_empty() || seen.contains(&line) || crate::words::is_furniture(&line) {
        return true;
    }
    let words: Vec<&str> = bare
        .split(|c: char| c.is_whitespace() || matches!(c, '/' | ':' | '.'))
        .filter(|w| !w.is_empty())
        .collect();
    let page = |word: &str| {
        matches!(
            word,
            "page"
                | "seite"
                | "pagina"
                | "página"
                | "pág"
                | "pag"
                | "sheet"
                | "blatt"
                | "s"
                | "p"
                | "hoja"
                | "feuille"
                | "strona"
                | "sida"
        )
    };
    let small = |word: &str| {
        word.chars().all(|c| c.is_ascii_digit() || c == '-')
            || matches!(
                word,
                "of" | "von"
                    | "de"
                    | "sur"
                    | "continued"
                    | "cont"
                    | "contd"
                    | "cont'd"
                    | "fortsetzung"
                    | "suite"
                    | "continuación"
                    | "continuacion"
                    | "to"
                    | "be"
                    | "next"
                    | "on"
                    | "auf"
                    | "der"
                    | "nächsten"
                    | "form"
                    | "feed"
            )
    };
    // Pages are counted with a slash or a word, and never have decimals: `420.0.15` is a damaged row.
    if bare.contains('.')
        && words
            .iter()
            .all(|word| word.bytes().all(|byte| byte.is_ascii_digit()))
    {
        return false;
    }
    // A letter without a number, `s;;`, is a unit.
    let numbered = || {
        words
            .iter()
            .any(|word| word.contains(|c: char| c.is_ascii_digit()) || word.chars().count() > 1)
    };
    let paged = words.iter().any(|word| page(word))
        && words.iter().all(|word| page(word) || small(word))
        && numbered();
    // Numbers alone are a page and how many there are; more of them are cells: ` 1 2 3 4 5 6` above a plate.
    let figures = words
        .iter()
        .all(|word| word.bytes().all(|byte| byte.is_ascii_digit()));
    let most = if figures { 2 } else { 6 };
    paged || words.iter().all(|word| small(word)) && words.len() <= most
        // The title with a page number behind it, as on the first page.
        || words.iter().position(|word| page(word)).is_some_and(|at| {
            // A lone letter is a page only with its point (`S. 3`), and nobody counts pages in more than three words:
            // `nm \\ s  0  30  60` is the head of a table.
            let lettered = words[at].chars().count() == 1 && !line.contains(&format!("{}.", words[at]));
            let behind = &words[at + 1..];
            at > 0 && !lettered && (1..=3).contains(&behind.len()) && behind.iter().all(|word| small(word))
        })
}
