//! Remarks on what of a text was left out, cut off or read in a way worth telling.

use curvary_record::{Code, Diagnostic, Place, Span, moment};

use super::grid::Noted;
use super::join::Section;
use super::scan::{TextLine, strip_remark};
use super::{dialect, scan};
use crate::Source;

/// Why a text is not read whose numbers stand under a common factor, as consoles print matrices: taken as they stand they
/// would be wrong by it.
pub(super) fn under_a_factor(text: &str) -> Option<Diagnostic> {
    memchr::memchr_iter(b'*', text.as_bytes()).find_map(|at| {
        if !text[at + 1..].trim_start_matches([' ', '\t', '\r']).starts_with('\n') {
            return None;
        }
        let start = text[..at].rfind('\n').map_or(0, |end| end + 1);
        let power = super::super::common_factor(&text[start..=at])?;
        let message = format!("the numbers below are to be multiplied by 10 to the power of {power}, and where that ends is not said");
        Some(
            Diagnostic::error(Code::new("common-factor"), message)
                .at(Place::of(text, Span::new(start, at + 1)), "the factor is here")
                .help("write the numbers out without a common factor, or print the matrix under its name, as `M =`"),
        )
    })
}

/// A remark on keys above a table of something else: what they say is said of that, and of no measurement.
pub(super) fn of_other_table(source: &Source, lines: &[TextLine]) -> Option<Diagnostic> {
    let first = lines.first()?;
    let said: Vec<&str> = lines
        .iter()
        .map(|line| strip_remark(&source.text()[line.span.range()]).1.trim())
        .collect();
    Some(
        Diagnostic::note(
            Code::new("keys-of-another-table"),
            format!(
                "what stands above a table that is no measurement was taken for no field of a run: {}",
                said.join("; ")
            ),
        )
        .at(source.place(first.span), "the first of these lines")
        .help("note what holds for the run"),
    )
}

/// A remark on lines around a table that sum it up.
pub(super) fn summed_up(lines: &[u32]) -> Option<Diagnostic> {
    let first = *lines.first()?;
    let rows = if lines.len() == 1 { "row" } else { "rows" };
    Some(
        Diagnostic::note(
            Code::new("statistics-row"),
            format!("{} {rows} left out as a summary of other rows", lines.len()),
        )
        .at(Place::line(first as usize), "the first of them"),
    )
}

pub(super) fn not_known(table: &scan::ScannedTable) -> Diagnostic {
    Diagnostic::warning(
        Code::new("not-a-measurement"),
        "nothing says what a few rows of numbers are: they were left out",
    )
    .at(Place::line(table.first_line as usize), "they begin here")
}

/// A remark where a table follows upon another in the very next line with other columns: mostly a damaged row.
pub(super) fn columns_change(before: &Section, section: &Section) -> Option<Diagnostic> {
    let (first, second) = (&before.table, &section.table);
    let (had, has) = (first.grid.columns(), second.grid.columns());
    let at_once =
        section.words.is_empty() && second.heads.is_empty() && second.first_line <= first.last_line + 2;
    (at_once && had != has).then(|| {
        Diagnostic::warning(
            Code::new("columns-change"),
            format!("{has} columns follow upon {had} in the next line: a damaged row, or another table"),
        )
        .at(Place::line(second.first_line as usize), "from here on")
        .help("compare these lines with the original")
    })
}

/// Whether a line is a name and readings that signs part, `A540 0,004<tab>0,154<tab>0,290`: a row that has lost the sign behind
/// its name, or of a table that has lost its header.
fn is_name_and_readings(line: &str) -> bool {
    const FEWEST: usize = 2;
    let Some(mark) = ['\t', ';', '|'].into_iter().find(|mark| line.contains(*mark)) else {
        return false;
    };
    let mut cells = line.trim_end_matches(mark).split(mark).map(str::trim);
    let named = cells
        .next()
        .is_some_and(|name| name.contains(char::is_alphabetic));
    let reading = |cell: &str| {
        cell.split_once(['.', ',']).is_some_and(|(whole, decimals)| {
            let figures = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
            figures(whole.trim_start_matches(['-', '+'])) && figures(decimals)
        })
    };
    let mut count = 0;
    named
        && cells.all(|cell| {
            count += 1;
            reading(cell)
        })
        && count >= FEWEST
}

/// A remark on lines that hold several numbers and nothing else, but belong to no table: a lone row under a title, or
/// numbers that only the program that wrote them understood.
pub(super) fn numbers_aside<'a>(text: &str, lines: impl Iterator<Item = &'a TextLine>) -> Option<Diagnostic> {
    let is_aside = |line: &&TextLine| {
        let line = text[line.span.range()].trim();
        let cells = line.split([' ', '\t', ';', '|']).filter(|cell| !cell.is_empty());
        let number = |cell: &str| {
            cell.contains(|c: char| c.is_ascii_digit())
                && cell
                    .chars()
                    .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+'))
        };
        let mut count = 0;
        for cell in cells {
            if !number(cell) {
                return is_name_and_readings(line);
            }
            count += 1;
        }
        count >= 2 && !matches!(moment::read(line, None).date, moment::DateReading::Read(_))
    };
    let aside: Vec<u32> = lines.filter(is_aside).map(|line| line.line).collect();
    let first = *aside.first()?;
    let (lines, they) = if aside.len() == 1 {
        ("1 line of numbers belongs".to_owned(), "it was")
    } else {
        (format!("{} lines of numbers belong", aside.len()), "they were")
    };
    Some(
        Diagnostic::warning(
            Code::new("numbers-aside"),
            format!("{lines} to no table: {they} left aside"),
        )
        .at(Place::line(first as usize), "the first of them"),
    )
}

/// A remark on a number that the end of the file has cut, where it looks cut.
pub(super) fn cut_off(source: &Source, section: &Section) -> Option<Diagnostic> {
    let text = source.text();
    if text.ends_with(['\n', '\r']) {
        return None;
    }
    let lines = source.lines().count();
    if !(lines..=lines + 1).contains(&(section.table.last_line as usize + 1)) {
        return None;
    }
    if section.table.last_line as usize + 1 == lines {
        // `59` behind the last row: the beginning of another one.
        let span = source.lines().span(lines - 1);
        let rest = text[span.range()].trim();
        let begun = !rest.is_empty()
            && rest.bytes().all(|b| {
                b.is_ascii_digit() || b.is_ascii_whitespace() || matches!(b, b'.' | b',' | b';' | b'-' | b'+')
            });
        return begun.then(|| {
            Diagnostic::warning(
                Code::new("cut-off"),
                format!("the file ends in the middle of its last row: `{rest}` was left out"),
            )
            .at(source.place(span), "the end of the file")
            .help("compare it with the original")
        });
    }
    let grid = &section.table.grid;
    let span = source.lines().span(section.table.last_line as usize - 1);
    let line = &text[span.range()];
    let cells = dialect::split(line, &grid.dialect);
    let last = cells.last().cloned()?;
    let digits = |line: &str, range: &std::ops::Range<usize>| {
        line[range.clone()]
            .rsplit(char::from(grid.dialect.style.decimal))
            .next()
            .filter(|_| line[range.clone()].contains(char::from(grid.dialect.style.decimal)))
            .map_or(0, |tail| tail.bytes().take_while(u8::is_ascii_digit).count())
    };
    let before = grid.rows.checked_sub(2).map(|row| grid.line(row))?;
    let above = source.lines().span(before - 1);
    let above = text[above.range()].trim_end();
    let above_cells = dialect::split(above, &grid.dialect);
    let usual = above_cells.last().map_or(0, |range| digits(above, range));
    let short = cells.len() < above_cells.len()
        || digits(line, &last) < usual
        || line.ends_with(['e', 'E', '-', '+', '.', ',']);
    short.then(|| {
        Diagnostic::warning(
            Code::new("cut-off"),
            "the file ends in the middle of a line: its last number may be incomplete",
        )
        .at(
            source.place(Span::new(
                span.start as usize + last.start,
                span.start as usize + last.end,
            )),
            "the end of the file",
        )
        .help("compare it with the original; a note can leave the point out")
    })
}

/// Remarks on the rows that were left out since they do not fit: one each, and one for the rest of many.
pub(super) fn odd_rows<'a>(
    source: &'a Source,
    section: &'a Section,
) -> impl Iterator<Item = Diagnostic> + 'a {
    /// So many are told one by one.
    const EACH: usize = 20;
    let odd = &section.table.grid.odd;
    let columns = section.table.grid.columns();
    let each = odd.iter().take(EACH).map(move |odd| {
        let message = match odd.cells {
            Some(1) => "a line holds only the first cell of a row, and was left out".to_owned(),
            Some(cells) => format!("a row of {cells} cells in a table of {columns} columns was left out"),
            None => {
                "a damaged row was left out: its cells are no numbers in the style of the table".to_owned()
            }
        };
        Diagnostic::warning(Code::new("row-does-not-fit"), message).at(source.place(odd.span), "this row")
    });
    let rest = odd.get(EACH).map(|first| {
        Diagnostic::warning(
            Code::new("row-does-not-fit"),
            format!(
                "{} more rows do not fit the table and were left out",
                odd.len() - EACH
            ),
        )
        .at(source.place(first.span), "the first of them")
    });
    each.chain(rest)
}

/// A remark on a line of nothing but figures and signs directly above a table, which is mostly its first row, damaged;
/// a date, a time and a mere count stand there too.
pub(super) fn first_row_lost(source: &Source, section: &Section) -> Option<Diagnostic> {
    let line = section.words.last()?;
    let first = section
        .table
        .heads
        .first()
        .map_or(section.table.first_line, |head| head.line.line);
    let text = source.text()[line.span.range()].trim();
    let figures = text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.'))
        && !text.contains(|c: char| c.is_alphabetic() || matches!(c, ':' | '/'))
        && text.bytes().filter(u8::is_ascii_digit).count() >= 4
        && text.bytes().any(|byte| !byte.is_ascii_digit());
    let dated = !matches!(
        curvary_record::moment::read(text, None).date,
        curvary_record::moment::DateReading::No
    );
    (line.line + 1 == first && figures && !dated).then(|| {
        Diagnostic::warning(
            Code::new("row-does-not-fit"),
            "a line directly above the table looks like its first row, damaged, and was left out",
        )
        .at(source.place(line.span), "this line")
        .help("compare it with the original")
    })
}

/// Remarks on rows that were read in a way worth telling.
pub(super) fn noted(section: &Section) -> impl Iterator<Item = Diagnostic> + '_ {
    let notes = &section.table.grid.notes;
    let of = |what: fn(&Noted) -> bool| -> Vec<u32> {
        notes
            .iter()
            .filter(|note| what(&note.what))
            .map(|note| note.line)
            .collect()
    };
    let told = [
        (
            of(|what| matches!(what, Noted::Touching)),
            "numbers-touch",
            "whose numbers touch, parted at their signs: each part stands under a column of its own",
        ),
        (
            of(|what| matches!(what, Noted::Converted)),
            "units-change",
            "with a number in another unit than the first of its column: it was converted",
        ),
        (
            of(|what| matches!(what, Noted::Aside)),
            "words-behind-row",
            "with words behind the last column, which were left aside",
        ),
        (
            of(|what| matches!(what, Noted::Marked)),
            "number-marked",
            "with a mark beside a number, such as a star or a remark in brackets: the number was kept as it stands",
        ),
        (
            of(|what| matches!(what, Noted::Summary)),
            "statistics-row",
            "left out as a summary of other rows",
        ),
        (
            of(|what| matches!(what, Noted::Uncertainty)),
            "uncertainty-aside",
            "with an uncertainty behind a number (± or in brackets), which was left aside",
        ),
    ];
    told.into_iter().filter_map(|(lines, code, what)| {
        let first = *lines.first()?;
        let count = lines.len();
        let rows = if count == 1 { "row" } else { "rows" };
        Some(
            Diagnostic::note(Code::new(code), format!("{count} {rows} {what}"))
                .at(Place::line(first as usize), "the first of them"),
        )
    })
}
