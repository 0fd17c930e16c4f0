//! What only stands in the way of the tables of a text, blanked: every line stays as long as it was.

mod aligned;
mod counted;
mod listed;
mod remarked;
mod text_marks;

use curvary_record::{Code, Diagnostic, Place, Question};

use self::listed::without_marks_of_keys;
use super::columns::is_unit_of_axis;
use crate::Source;
use crate::slice::lines_with_ends;

/// A text with blanks in place of what stood in the way, and remarks on it.
pub(super) struct Cleared {
    pub(super) text: String,
    pub(super) remarks: Vec<Diagnostic>,
    /// What only a person can decide of what was blanked.
    pub(super) questions: Vec<Question>,
}

/// A text with blanks, and what is to be told of them.
type Blanked = (String, Option<Diagnostic>);

/// What is looked for in every text.
const IN_ALL: [fn(&str) -> Option<Blanked>; 11] = [
    text_marks::without_text_marks,
    with_single_strokes,
    without_tuples,
    without_thousands,
    without_clocks,
    without_statements,
    without_leaders,
    with_one_decimal_sign,
    remarked::without_remarks_behind_readings,
    aligned::with_tabs_between_columns,
    counted::with_tabs_behind_counted_names,
];

/// What has signs that an ordinary text is without.
const IN_OTHERS: [fn(&str) -> Option<Blanked>; 7] = [
    without_frames,
    without_arrows,
    without_footnotes,
    without_formulas,
    without_bars,
    without_quoting,
    without_errors,
];

/// The text of a source without what stands in the way of its tables, where something does.
pub(super) fn cleared(source: &Source) -> Option<Cleared> {
    let others = if source.is_ordinary() { &[][..] } else { &IN_OTHERS };
    let mut cleared: Option<Cleared> = None;
    for without in IN_ALL.iter().chain(others) {
        let text = cleared.as_ref().map_or(source.text(), |cleared| &cleared.text);
        if let Some((text, remark)) = without(text) {
            let remarks = cleared.map_or(Vec::new(), |cleared| cleared.remarks);
            cleared = Some(Cleared {
                text,
                remarks: remarks.into_iter().chain(remark).collect(),
                questions: Vec::new(),
            });
        }
    }
    let text = cleared.as_ref().map_or(source.text(), |cleared| &cleared.text);
    if let Some(listed) = without_marks_of_keys(text) {
        let mut remarks = cleared.map_or(Vec::new(), |cleared| cleared.remarks);
        remarks.push(listed.remark());
        cleared = Some(Cleared {
            remarks,
            questions: listed.question().into_iter().collect(),
            text: listed.text,
        });
    }
    cleared
}

/// The text with the thousands of its first column put together, `990,0.51` and then `1,000,0.52`. Only where
/// all of the column then goes on in one even step, the rows with a comma more among them: the
/// numbers themselves show that the comma parts no cells there.
fn without_thousands(text: &str) -> Option<Blanked> {
    let is_row = |line: &&str| line.starts_with(|c: char| c.is_ascii_digit());
    let commas = |line: &str| line.bytes().filter(|&byte| byte == b',').count();
    // Most texts are seen not to be such by two of their lines.
    let bytes = text.as_bytes();
    let begins_row = |at: &usize| bytes.get(*at).is_some_and(u8::is_ascii_digit);
    let line_from = |at: usize| text.get(at..).and_then(|rest| rest.lines().next());
    let behind_ends = || memchr::memchr_iter(b'\n', bytes).map(|end| end + 1);
    let first = std::iter::once(0).chain(behind_ends()).find(begins_row)?;
    let last = behind_ends().rev().chain([0]).find(begins_row)?;
    let (first, last) = (line_from(first)?, line_from(last)?);
    let least = commas(first).min(commas(last));
    if commas(first).abs_diff(commas(last)) != 1 || least == 0 {
        return None;
    }
    let figures = |cell: &str, most: usize| {
        (1..=most).contains(&cell.len()) && cell.bytes().all(|b| b.is_ascii_digit())
    };
    let mut joined = String::with_capacity(text.len());
    let (mut xs, mut long): (Vec<f64>, Vec<usize>) = (Vec::new(), Vec::new());
    for (index, line) in text.split_inclusive('\n').enumerate() {
        if !is_row(&line) {
            joined.push_str(line);
            continue;
        }
        let (front, rest) = line.split_once(',')?;
        if !figures(front, 3) {
            return None;
        }
        match commas(line).checked_sub(least)? {
            0 => {
                xs.push(front.parse().ok()?);
                joined.push_str(line);
            }
            1 => {
                let (behind, rest) = rest.split_once(',')?;
                if behind.len() != 3 || !figures(behind, 3) || front.starts_with('0') {
                    return None;
                }
                let whole = format!("{front}{behind}");
                xs.push(whole.parse().ok()?);
                long.push(index + 1);
                joined.push_str(&whole);
                joined.push_str(" ,");
                joined.push_str(rest);
            }
            _ => return None,
        }
    }
    let step = xs.get(1)? - xs.first()?;
    let even = step != 0.0 && xs.windows(2).all(|pair| pair[1] - pair[0] == step);
    (even && long.len() >= 2 && xs.len() - long.len() >= 2).then(|| {
        let message = "from here on the first numbers have a comma for the thousands, which also separates the cells: they were put together, as they go on in the same even steps";
        let remark = Diagnostic::note(Code::new("thousands-in-commas"), message)
            .at(Place::line(long[0]), "the first of them");
        (joined, Some(remark))
    })
}

/// The text with blanks in place of the numbers and words of program statements that hold its rows, `20 DATA 400,.17666`, where
/// at least three lines are so.
fn without_statements(text: &str) -> Option<Blanked> {
    const FEWEST: usize = 3;
    const WORD: &str = "DATA";
    // How long what stands in front of the numbers is.
    let lead = |line: &str| -> Option<usize> {
        let body = line.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, ' ' | '\t'));
        let rest = body.strip_prefix(WORD)?;
        let numbers = rest.trim_start();
        let begins = rest.len() > numbers.len()
            && numbers.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
        begins.then_some(line.len() - numbers.len())
    };
    memchr::memmem::find(text.as_bytes(), WORD.as_bytes())?;
    if text.lines().filter(|line| lead(line).is_some()).count() < FEWEST {
        return None;
    }
    // Remarks are statements, too.
    let remark = |line: &str| -> Option<usize> {
        let body = line.trim_start_matches(|c: char| c.is_ascii_digit() || c == ' ');
        let said = body.strip_prefix("REM ").filter(|_| body.len() < line.len())?;
        Some(line.len() - said.len())
    };
    let mut blanked = String::with_capacity(text.len());
    for line in lines_with_ends(text) {
        let lead = lead(line).or_else(|| remark(line)).unwrap_or(0);
        blanked.extend(std::iter::repeat_n(' ', lead));
        blanked.push_str(&line[lead..]);
    }
    Some((blanked, None))
}

/// The text with one stroke for two, in lines that begin with two: pages of wikis set headers off so, `|| nm || A ||`.
fn with_single_strokes(text: &str) -> Option<Blanked> {
    memchr::memmem::find(text.as_bytes(), b"||")?;
    let doubled = |line: &&str| line.trim_start().starts_with("||");
    text.lines().any(|line| doubled(&line)).then(|| {
        let single = |line: &str| match doubled(&line) {
            true => line.replace("||", " |"),
            false => line.to_owned(),
        };
        (text.split_inclusive('\n').map(single).collect(), None)
    })
}

/// The text with blanks in place of the brackets around its rows, `(300,0.019)`, ` [405.0, 0.073],`, `- [300, 0.1085]`, where at
/// least three lines that follow one another are so.
fn without_tuples(text: &str) -> Option<Blanked> {
    const FEWEST: usize = 3;
    // How long what stands in front of the numbers is, and where they end.
    let row = |line: &str| -> Option<(usize, usize)> {
        let end = line.trim_end().trim_end_matches([',', ';']).trim_end();
        let inner = end.trim_end_matches([')', ']']).trim_end();
        let body = inner.trim_start_matches([' ', '\t']);
        let body = body.strip_prefix("- ").unwrap_or(body).trim_start();
        let numbers = body.trim_start_matches(['(', '[']).trim_start();
        let plain =
            |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | ';' | ' ' | '+' | '-' | 'e' | 'E' | '\t');
        let is_number = |cell: &str| cell.trim().parse::<f64>().is_ok();
        // `[500.    0.559]`, as libraries for arrays print them.
        let parted = numbers.contains([',', ';']);
        let cells = || {
            let mark = move |c: char| {
                if parted {
                    matches!(c, ',' | ';')
                } else {
                    matches!(c, ' ' | '\t')
                }
            };
            numbers.split(mark).filter(move |cell| parted || !cell.is_empty())
        };
        (inner.len() < end.len()
            && numbers.len() < body.len()
            && numbers.chars().all(plain)
            && cells().count() >= 2
            && cells().all(is_number))
        .then_some((inner.len() - numbers.len(), inner.len()))
    };
    // Few texts have as many lines that end in a bracket, and looking at every line of a long one is dear.
    let ends_line = |at: &usize| {
        let rest = text[at + 1..].trim_start_matches([')', ']', ',', ';', ' ']);
        rest.is_empty() || rest.starts_with(['\r', '\n'])
    };
    memchr::memchr2_iter(b')', b']', text.as_bytes())
        .filter(ends_line)
        .nth(FEWEST - 1)?;
    let found: Vec<Option<(usize, usize)>> = text.split_inclusive('\n').map(row).collect();
    let longest = found.split(Option::is_none).map(<[_]>::len).max().unwrap_or(0);
    if longest < FEWEST {
        return None;
    }
    let mut blanked = String::with_capacity(text.len());
    for (line, found) in text.split_inclusive('\n').zip(found) {
        match found {
            Some((from, to)) => {
                blanked.extend(std::iter::repeat_n(' ', from));
                blanked.push_str(&line[from..to]);
                let rest = &line[to..];
                let end = rest.find(['\r', '\n']).unwrap_or(rest.len());
                blanked.extend(std::iter::repeat_n(' ', end));
                blanked.push_str(&rest[end..]);
            }
            None => blanked.push_str(line),
        }
    }
    Some((blanked, None))
}

/// The text with blanks in place of the dots that lead from a name to its reading, `tap.........0.268`, where at least four
/// lines that follow one another are so and all readings have as many decimals. Keys and their values, `Slit ..... 2`, are
/// none.
fn without_leaders(text: &str) -> Option<Blanked> {
    const FEWEST: usize = 4;
    memchr::memmem::find(text.as_bytes(), b"...")?;
    // Where the dots of a line begin and end, and how many decimals its reading has.
    let led = |line: &str| -> Option<(usize, usize, usize)> {
        let line = line.trim_end();
        let number = line.rfind(|c: char| !c.is_ascii_digit())?;
        let whole = line[..number].trim_end_matches(|c: char| c.is_ascii_digit());
        let decimals = line.len() - number - 1;
        let is_sign = line[number..].starts_with(['.', ',']);
        let signed = is_sign && whole.len() < number && decimals >= 2;
        // `Probe 1a ..... A = 0,211`
        let whole = match whole.trim_end().strip_suffix('=') {
            Some(symbol) => &whole[..symbol.trim_end().rfind([' ', '.'])? + 1],
            None => whole,
        };
        let name = whole.trim_end_matches(['.', ' ', '\u{2026}']);
        let dots = whole.len() - name.len();
        let named = name.trim_start().starts_with(char::is_alphabetic)
            && (crate::words::is_blank(name.trim())
                || !crate::preamble::is_known(name.trim())
                || name.contains(|c: char| c.is_ascii_digit()));
        (signed && named && dots >= 3).then_some((name.len(), whole.len(), decimals))
    };
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let found: Vec<Option<(usize, usize, usize)>> = lines.iter().map(|line| led(line)).collect();
    let decimals = found.iter().flatten().next()?.2;
    let alike = found.iter().flatten().all(|(.., digits)| *digits == decimals);
    let longest = found.split(Option::is_none).map(<[_]>::len).max().unwrap_or(0);
    if !alike || longest < FEWEST {
        return None;
    }
    let mut blanked = String::with_capacity(text.len());
    for (line, found) in lines.into_iter().zip(found) {
        match found {
            Some((from, to, _)) => {
                blanked.push_str(&line[..from]);
                // Before a symbol of its own the reading is named behind a mark: `Probe 1a : A = 0,211`.
                let mark = if line[to..].contains('=') { ":" } else { "" };
                blanked.push_str(mark);
                blanked.extend(std::iter::repeat_n(' ', to - from - mark.len()));
                blanked.push_str(&line[to..]);
            }
            None => blanked.push_str(line),
        }
    }
    Some((blanked, None))
}

/// The text with points for the decimal commas of its cells where some have points and others commas, as two people type, or two
/// programs: `450.0;12361;0,0201`. Only where tabs or semicolons part the cells, and each sign can be nothing but a
/// decimal sign: no number has both, and none has three digits behind it that may be thousands. Where blanks alone part them, in
/// lines of nothing but such numbers: `300.0   0,0221`.
fn with_one_decimal_sign(text: &str) -> Option<Blanked> {
    /// So many cells of either sign are the least; one or two may be slips.
    const FEWEST: usize = 3;
    /// Longer texts are written by programs, which do not change their minds.
    const LONGEST: usize = 1 << 18;
    let bytes = text.as_bytes();
    if text.len() > LONGEST {
        return None;
    }
    // Most texts have too few of one of them in front of figures, which shows at once.
    let before_figure = |sign: u8| {
        let figure = |at: &usize| bytes.get(at + 1).is_some_and(u8::is_ascii_digit);
        memchr::memchr_iter(sign, bytes).filter(figure).nth(FEWEST - 1)
    };
    before_figure(b',')?;
    before_figure(b'.')?;
    // Where neither stands anywhere, blanks part the cells of lines that are all numbers.
    let signs = memchr::memchr2(b'\t', b';', bytes).is_some();
    let parts = |c: char| matches!(c, ';' | '\t') || !signs && matches!(c, ' ' | '\n' | '\r');
    let is_row = |line: &str| {
        if signs {
            return line.contains([';', '\t']);
        }
        let mut cells = line.split_whitespace();
        cells.clone().count() >= 2 && cells.all(|cell| !matches!(decimal_in(cell), NumberSign::None))
    };
    // Whole numbers beside it have no sign, and are numbers of the row as well.
    let is_doubtful_row = |line: &str| {
        let mut cells = line.split_whitespace();
        let whole = |cell: &str| cell.bytes().all(|byte| byte.is_ascii_digit());
        cells.clone().count() >= 2
            && cells
                .clone()
                .any(|cell| matches!(decimal_in(cell), NumberSign::Doubtful))
            && cells.all(|cell| whole(cell) || !matches!(decimal_in(cell), NumberSign::None))
    };
    let (mut commas, mut points): (Vec<usize>, usize) = (Vec::new(), 0);
    let mut first = None;
    let mut start = 0;
    for (index, line) in lines_with_ends(text).enumerate() {
        // A line of one word has no cells that blanks part.
        if !signs && is_one_word(line) {
            start += line.len();
            continue;
        }
        if !signs && is_doubtful_row(line) {
            return None;
        }
        if is_row(line) {
            let mut at = start;
            for cell in line.split(parts) {
                match decimal_in(cell.trim()) {
                    NumberSign::None => {}
                    NumberSign::Doubtful => return None,
                    NumberSign::Point => points += 1,
                    NumberSign::Comma => {
                        first.get_or_insert(index + 1);
                        commas.push(at + cell.find(',').unwrap_or(0));
                    }
                }
                at += cell.len() + 1;
            }
        }
        start += line.len();
    }
    let enough = commas.len() >= FEWEST && points >= FEWEST;
    let line = first.filter(|_| enough && commas.len() * 10 >= points && points * 10 >= commas.len())?;
    let mut plain = bytes.to_vec();
    for at in &commas {
        plain[*at] = b'.';
    }
    let message = format!(
        "{} numbers have a decimal comma and {points} a decimal point: both were read as decimal signs, for no number can be \
         read otherwise",
        commas.len()
    );
    let remark = Diagnostic::note(Code::new("two-decimal-signs"), message)
        .at(Place::line(line), "the first decimal comma");
    String::from_utf8(plain).ok().map(|plain| (plain, Some(remark)))
}

/// Whether a line is plainly a single word, or none.
fn is_one_word(line: &str) -> bool {
    let bare = line.trim_ascii().as_bytes();
    // Other signs may be blanks as well.
    bare.iter().all(u8::is_ascii_graphic)
}

/// The sign in the number that a cell is.
enum NumberSign {
    /// It is no number with a sign.
    None,
    /// What the sign means may be asked.
    Doubtful,
    Comma,
    Point,
}

fn decimal_in(cell: &str) -> NumberSign {
    let digits = cell.trim_start_matches(['-', '+']);
    let figures = |c: char| c.is_ascii_digit() || matches!(c, ',' | '.');
    if digits.is_empty() || !digits.chars().all(figures) {
        return NumberSign::None;
    }
    let Some(at) = digits.find([',', '.']) else {
        return NumberSign::None;
    };
    let (whole, behind) = (&digits[..at], &digits[at + 1..]);
    // `250, 0.103`: the comma parts two cells.
    if behind.is_empty() {
        return NumberSign::None;
    }
    // `14.05.2008` is a date; `1.234,5` has its thousands marked.
    if behind.contains(['.', ',']) {
        return if digits.contains(',') {
            NumberSign::Doubtful
        } else {
            NumberSign::None
        };
    }
    let thousands = behind.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0');
    match (digits.as_bytes()[at], thousands) {
        (_, true) => NumberSign::Doubtful,
        (b',', _) => NumberSign::Comma,
        _ => NumberSign::Point,
    }
}

/// The text with blanks in place of raised digits and stars that stand directly behind numbers, `0.94²`,
/// where a line of the text begins with the sign or has it apart before words (`² diluted twice`). A sign that
/// nothing explains stays, and the number is not readable: it may be a damaged digit.
fn without_footnotes(text: &str) -> Option<Blanked> {
    const SIGNS: [char; 13] = ['¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹', '*', '†', '‡', '§'];
    /// Nobody writes footnotes to longer texts.
    const LONGEST: usize = 1 << 20;
    let sign = |c: char| SIGNS.contains(&c);
    if text.len() > LONGEST {
        return None;
    }
    // All of these signs begin with one of these bytes.
    let mut present: Vec<char> = memchr::memchr3_iter(b'*', 0xC2, 0xE2, text.as_bytes())
        .filter_map(|at| text.get(at..)?.chars().next())
        .filter(|&c| sign(c))
        .collect();
    if present.is_empty() {
        return None;
    }
    present.sort_unstable();
    present.dedup();
    let apart = |mark: char| {
        text.match_indices(mark).any(|(at, _)| {
            let before = text[..at].chars().next_back();
            let mut behind = text[at + mark.len_utf8()..].chars();
            let first = behind.next();
            before.is_none_or(char::is_whitespace)
                && (first.is_some_and(char::is_alphabetic)
                    || first == Some(' ') && behind.next().is_some_and(char::is_alphabetic))
        })
    };
    let explained: Vec<char> = present.into_iter().filter(|&mark| apart(mark)).collect();
    if explained.is_empty() {
        return None;
    }
    let mut blanked = String::with_capacity(text.len());
    let mut lines = Vec::new();
    for (index, line) in text.split_inclusive('\n').enumerate() {
        let mut rest = line;
        while let Some(at) = rest.find(|c| explained.contains(&c)) {
            let mark = rest[at..].chars().next().map_or(1, char::len_utf8);
            // Only behind a decimal: `10²` is a power.
            let number = rest[..at].rsplit(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | ','));
            let number = number.into_iter().next().unwrap_or("");
            let decimal = number.ends_with(|c: char| c.is_ascii_digit()) && number.contains(['.', ',']);
            let ends = !rest[at + mark..].starts_with(|c: char| c.is_alphanumeric() || sign(c));
            blanked.push_str(&rest[..at]);
            if decimal && ends {
                blanked.extend(std::iter::repeat_n(' ', mark));
                lines.push(index + 1);
            } else {
                blanked.push_str(&rest[at..at + mark]);
            }
            rest = &rest[at + mark..];
        }
        blanked.push_str(rest);
    }
    let first = *lines.first()?;
    let (has, was) = if lines.len() == 1 {
        ("1 number has".to_owned(), "it was")
    } else {
        (format!("{} numbers have", lines.len()), "they were")
    };
    let message = format!("{has} a sign behind that calls a footnote: {was} read without it");
    let remark = Diagnostic::note(Code::new("footnote-aside"), message)
        .at(Place::line(first), "the first of them")
        .help("what the footnotes say stands in the words of the file");
    Some((blanked, Some(remark)))
}

/// The text with blanks in place of the signs around cells that were written as formulas, so that a spreadsheet leaves
/// them as they are: `="400"`, and quoted once more `"=""400"""`.
fn without_formulas(text: &str) -> Option<Blanked> {
    const FORMS: [(&str, &str); 2] = [("\"=\"\"", "\"\"\""), ("=\"", "\"")];
    memchr::memchr(b'=', text.as_bytes())?;
    let separates = |c: char| matches!(c, ',' | ';' | '\t' | '\n' | '\r');
    let mut blanked: Option<String> = None;
    let mut done = 0;
    for (at, _) in text.match_indices('=') {
        let Some((form, start)) = FORMS.iter().find_map(|form| {
            let start = at - form.0.find('=').filter(|lead| *lead <= at)?;
            text.get(start..)?.starts_with(form.0).then_some((form, start))
        }) else {
            continue;
        };
        let inner = start + form.0.len();
        let Some(length) = text[inner..].find(form.1).filter(|_| start >= done) else {
            continue;
        };
        let end = inner + length + form.1.len();
        let alone = (start == 0 || text[..start].ends_with(separates))
            && (end == text.len() || text[end..].starts_with(separates))
            && !text[inner..inner + length].contains(['\n', '\r', ';', '\t', '"'])
            // A decimal comma stands only where the cells are parted by another sign.
            && (!text[inner..inner + length].contains(',')
                || text[..start].ends_with([';', '\t'])
                || text[end..].starts_with([';', '\t']));
        if !alone {
            continue;
        }
        let blanked = blanked.get_or_insert_with(String::new);
        blanked.push_str(&text[done..start]);
        blanked.extend(std::iter::repeat_n(' ', form.0.len()));
        blanked.push_str(&text[inner..inner + length]);
        blanked.extend(std::iter::repeat_n(' ', form.1.len()));
        done = end;
    }
    let mut blanked = blanked?;
    blanked.push_str(&text[done..]);
    Some((blanked, None))
}

/// The text with bars and rulers in ASCII in place of the signs that frames are drawn with, `║ 400 ║ 0.512 ║`: each is
/// three bytes long, as are a bar and two blanks.
fn without_frames(text: &str) -> Option<Blanked> {
    let drawn = |sign: char| matches!(sign, '\u{2500}'..='\u{257F}');
    // All of these signs begin with this byte.
    memchr::memchr(0xE2, text.as_bytes())?;
    let framed = |line: &&str| line.trim_start().starts_with(drawn) && line.trim_end().ends_with(drawn);
    if text.lines().filter(framed).count() < 3 {
        return None;
    }
    let mut plain = String::with_capacity(text.len());
    for line in lines_with_ends(text) {
        // A line of the frame parts rows, and has no cells.
        let ruler = !line.contains(char::is_alphanumeric);
        for sign in line.chars() {
            match sign {
                _ if drawn(sign) && ruler => plain.push_str("---"),
                '│' | '║' | '┃' | '┆' | '┊' => plain.push_str("|  "),
                _ if drawn(sign) => plain.push_str("   "),
                _ => plain.push(sign),
            }
        }
    }
    Some((plain, None))
}

/// The text with blanks in place of arrows between a number, perhaps with its unit, and another, `at 400 nm -> 0.024`, and
/// in place of a word in front of it, where at least three lines are so.
fn without_arrows(text: &str) -> Option<Blanked> {
    const FEWEST: usize = 3;
    const ARROWS: [&str; 6] = ["-->", "->", "==>", "=>", "→", "⇒"];
    let number = |word: &str| {
        word.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.'))
            && word.contains(|c: char| c.is_ascii_digit())
    };
    let arrow = |line: &str| -> Option<(usize, usize, usize)> {
        let (at, arrow) = ARROWS
            .iter()
            .find_map(|arrow| Some((line.find(arrow)?, *arrow)))?;
        let (front, behind) = (&line[..at], &line[at + arrow.len()..]);
        let lead = front.len() - front.trim_start().len();
        let first = front[lead..].split_whitespace().next()?;
        // `at 400 nm`
        let word = if crate::words::is(crate::words::WordList::At, first) && !number(first) {
            first.len()
        } else {
            0
        };
        let mut words = front[lead + word..].split_whitespace();
        let fits = words.next().is_some_and(number) && words.count() <= 1;
        let mut words = behind.split_whitespace();
        let fits = fits && words.next().is_some_and(number) && words.count() <= 1;
        fits.then_some((lead + word, at, at + arrow.len()))
    };
    if !text.contains('>') && !text.contains('→') && !text.contains('⇒') {
        return None;
    }
    if text.lines().filter(|line| arrow(line).is_some()).count() < FEWEST {
        return None;
    }
    // `min  ->  absorbance` above them is their header.
    let header = lines_with_ends(text)
        .take_while(|line| arrow(line).is_none())
        .filter(|line| !line.trim().is_empty())
        .last();
    let in_header = |line: &str| -> Option<(usize, usize, usize)> {
        let line = header.filter(|header| std::ptr::eq(*header, line))?;
        let (at, arrow) = ARROWS
            .iter()
            .find_map(|arrow| Some((line.find(arrow)?, *arrow)))?;
        let words = |part: &str| part.contains(char::is_alphabetic) && part.split_whitespace().count() <= 3;
        let behind = &line[at + arrow.len()..];
        (words(&line[..at]) && words(behind)).then_some((0, at, at + arrow.len()))
    };
    let mut blanked = String::with_capacity(text.len());
    for line in lines_with_ends(text) {
        match arrow(line).or_else(|| in_header(line)) {
            Some((word, from, to)) => {
                blanked.extend(std::iter::repeat_n(' ', word));
                blanked.push_str(&line[word..from]);
                blanked.push('\t');
                blanked.extend(std::iter::repeat_n(' ', to - from - 1));
                blanked.push_str(&line[to..]);
            }
            None => blanked.push_str(line),
        }
    }
    Some((blanked, None))
}

/// The text with blanks in place of the bars between tables side by side, `400  0.512 | 420  0.433`: where bars part
/// whole rows of numbers and not cells.
fn without_bars(text: &str) -> Option<Blanked> {
    memchr::memchr(b'|', text.as_bytes())?;
    let rows_side_by_side = |line: &str| {
        let mut rows = line.trim().trim_matches('|').split('|');
        let several = |row: &str| {
            let mut cells = row.split_whitespace();
            let figures =
                |cell: &str| cell.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.'));
            cells.clone().count() >= 2 && cells.all(figures)
        };
        rows.clone().count() >= 2 && rows.all(several)
    };
    if text.lines().filter(|line| rows_side_by_side(line)).count() < 3 {
        return None;
    }
    Some((text.replace('|', " "), None))
}

/// The text with blanks in place of the clock times in front of its lines, where all of them begin so, heads and words
/// as well as rows: a log. A table whose first column is of clock times has heads without them.
fn without_clocks(text: &str) -> Option<Blanked> {
    let clock = |line: &str| -> Option<usize> {
        let bytes = line.as_bytes();
        let digits = |at: usize| {
            bytes
                .get(at..at + 2)
                .is_some_and(|two| two.iter().all(u8::is_ascii_digit))
        };
        let sign = |at: usize| bytes.get(at) == Some(&b':');
        (digits(0) && sign(2) && digits(3) && sign(5) && digits(6) && bytes.get(8) == Some(&b' '))
            .then_some(8)
    };
    clock(text)?;
    let (mut lines, mut words, mut without) = (0_usize, 0, 0);
    for line in text.lines().filter(|line| !line.trim().is_empty()) {
        match clock(line) {
            Some(end) => {
                lines += 1;
                words += usize::from(line[end..].trim_start().starts_with(char::is_alphabetic));
            }
            // A line that somebody wrote into the log by hand.
            None if line.trim_start().starts_with(char::is_alphabetic) => without += 1,
            None => return None,
        }
    }
    if lines < 4 || without * 8 > lines || words == 0 || words == lines {
        return None;
    }
    let mut blanked = String::with_capacity(text.len());
    for line in lines_with_ends(text) {
        match clock(line) {
            Some(end) => {
                blanked.extend(std::iter::repeat_n(' ', end));
                blanked.push_str(&line[end..]);
            }
            None => blanked.push_str(line),
        }
    }
    let message = "every line begins with the time at which it was written, words and numbers alike: these times were left aside";
    let remark =
        Diagnostic::note(Code::new("clock-before-lines"), message).at(Place::line(1), "the first of them");
    Some((blanked, Some(remark)))
}

/// The text with blanks in place of the `>` that a mail program puts before each line of a quoted letter, once or
/// several times. Limits in a first column (`>3.5`) are no quotation: one begins all its lines so, words among them, or all numbers
/// of a paragraph, over which no line stands as their header.
fn without_quoting(text: &str) -> Option<Blanked> {
    memchr::memchr(b'>', text.as_bytes())?;
    /// Fewer lines are no quoted table.
    const FEWEST: usize = 3;
    let quoting = |line: &str| {
        line.bytes()
            .take_while(|byte| matches!(byte, b'>' | b' '))
            .collect::<Vec<u8>>()
            .iter()
            .rposition(|&byte| byte == b'>')
            .map_or(0, |last| last + 1)
    };
    let end = if text.contains('\n') { '\n' } else { '\r' };
    let lines: Vec<&str> = text.split_inclusive(end).collect();
    let mut blanked = String::with_capacity(text.len());
    let mut first = None;
    let mut at = 0;
    while at < lines.len() {
        let run = lines[at..].iter().take_while(|line| quoting(line) > 0).count();
        let quoted = &lines[at..at + run];
        let apart = |line: &&&str| {
            let rest = &line[quoting(line)..];
            rest.is_empty() || rest.starts_with(char::is_whitespace)
        };
        let worded = |line: &&str| {
            line[quoting(line)..]
                .trim_start()
                .starts_with(char::is_alphabetic)
        };
        // Behind limits in a first column, `> 3.5`, stands no second number in every line.
        let rows = |line: &&str| {
            let numbers = line[quoting(line)..].split_whitespace();
            numbers
                .filter(|word| word.starts_with(|c: char| c.is_ascii_digit()))
                .count()
                >= 2
        };
        let blank = |line: Option<&&str>| line.is_none_or(|line| line.trim().is_empty());
        let in_paragraph = || {
            let above = lines[..at].iter().rev().find(|line| !line.trim().is_empty());
            let sentence = |line: &&str| line.trim_end().ends_with([':', '.', ',', '!', '?']);
            blank(at.checked_sub(1).and_then(|above| lines.get(above)))
                && blank(lines.get(at + run))
                && above.is_none_or(sentence)
        };
        let quotes = || quoted.iter().any(worded) || quoted.iter().all(rows) && in_paragraph();
        if run >= FEWEST && quoted.iter().all(|line| apart(&line)) && quotes() {
            first = first.or(Some(at + 1));
            for line in quoted {
                let signs = quoting(line);
                blanked.extend(std::iter::repeat_n(' ', signs));
                blanked.push_str(&line[signs..]);
            }
        } else {
            quoted.iter().for_each(|line| blanked.push_str(line));
        }
        at += run;
        if let Some(line) = lines.get(at) {
            blanked.push_str(line);
            at += 1;
        }
    }
    let message =
        "these lines are quoted from a letter, each with `>` before it: they were read without that sign";
    let remark =
        Diagnostic::note(Code::new("quoted-lines"), message).at(Place::line(first?), "the first of them");
    Some((blanked, Some(remark)))
}

/// The text with blanks in place of the uncertainties beside numbers, `0.448 ± 0.006` and `0.448 +/- 0.006`, where at
/// least three numbers have one: they are no readings.
fn without_errors(text: &str) -> Option<Blanked> {
    const FEWEST: usize = 3;
    let signs = ["±", "+/-", "+-"];
    let mut found: Vec<(usize, usize)> = Vec::new();
    for sign in signs {
        for at in memchr::memmem::find_iter(text.as_bytes(), sign) {
            let before = text[..at].trim_end_matches(' ');
            let behind = &text[at + sign.len()..];
            let blanks = behind.len() - behind.trim_start_matches(' ').len();
            let digits = behind[blanks..]
                .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
                .unwrap_or(behind.len() - blanks);
            let error = behind[blanks..blanks + digits].trim_end_matches([',', '.']);
            let number = before.ends_with(|c: char| c.is_ascii_digit());
            if number && error.starts_with(|c: char| c.is_ascii_digit()) {
                found.push((before.len(), at + sign.len() + blanks + error.len()));
            }
        }
    }
    if found.len() < FEWEST {
        return None;
    }
    found.sort_unstable();
    let mut blanked = String::with_capacity(text.len());
    let mut done = 0;
    for &(from, to) in &found {
        blanked.push_str(text.get(done..from)?);
        blanked.extend(std::iter::repeat_n(' ', to - from));
        done = to;
    }
    blanked.push_str(text.get(done..)?);
    let line = text[..found.first()?.0].matches('\n').count() + 1;
    let message = format!(
        "{} numbers have an uncertainty beside them (`±`): the numbers were read, the uncertainties were left out",
        found.len()
    );
    let remark = Diagnostic::note(Code::new("uncertainty-aside"), message)
        .at(Place::line(line), "the first of them")
        .help("the original keeps them; `curvary show RUN --source` shows it");
    Some((blanked, Some(remark)))
}

/// Whether a name ends in a time or a wavelength, `Crocin after 5 min`: what was set, and no name.
fn ends_in_measure(name: &str) -> bool {
    let mut words = name.split_whitespace().rev();
    let unit = words.next().unwrap_or("");
    let number = words.next().unwrap_or("").replace(',', ".");
    number.parse::<f64>().is_ok() && is_unit_of_axis(unit)
}

#[cfg(test)]
mod tests;
