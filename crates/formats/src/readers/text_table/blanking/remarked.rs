//! Remarks in brackets behind the readings of a list, `elution 1   0.090  (yellow!)`, where names of several words stand in front.

use curvary_record::{Code, Diagnostic, Place};

use super::Blanked;
use crate::slice::lines_with_ends;

/// The text with blanks in place of the remarks, and a remark on where they stand.
pub(super) fn without_remarks_behind_readings(text: &str) -> Option<Blanked> {
    /// So many lines of one form are a list.
    const FEWEST: usize = 3;
    /// Nobody types longer lists.
    const LONGEST: usize = 1 << 16;
    if text.len() > LONGEST || memchr::memchr(b'(', text.as_bytes()).is_none() {
        return None;
    }
    let rows: Vec<Option<ListRow<'_>>> = lines_with_ends(text).map(ListRow::of).collect();
    let found = || rows.iter().flatten();
    let (lines, remarked) = (
        found().count(),
        found().filter(|row| !row.remark.is_empty()).count(),
    );
    // Where every line has one, it is a column.
    if lines < FEWEST || remarked == 0 || remarked == lines || !found().any(|row| row.name.contains(' ')) {
        return None;
    }
    let mut blanked = String::with_capacity(text.len());
    let mut first = None;
    for (number, (line, row)) in lines_with_ends(text).zip(&rows).enumerate() {
        let Some(row) = row.as_ref().filter(|row| !row.remark.is_empty()) else {
            blanked.push_str(line);
            continue;
        };
        first.get_or_insert(number + 1);
        let at = crate::slice::range_in(line, row.remark);
        blanked.push_str(&line[..at.start]);
        blanked.extend(std::iter::repeat_n(' ', at.len()));
        blanked.push_str(&line[at.end..]);
    }
    let rows = if remarked == 1 { "row" } else { "rows" };
    let told = Diagnostic::note(
        Code::new("words-behind-row"),
        format!("{remarked} {rows} with words in brackets behind the last number, which were left aside"),
    )
    .at(Place::line(first?), "the first of them");
    Some((blanked, Some(told)))
}

/// A line of a name, two blanks or more, a number with decimals, and perhaps a remark in brackets.
struct ListRow<'l> {
    name: &'l str,
    remark: &'l str,
}

impl<'l> ListRow<'l> {
    fn of(line: &'l str) -> Option<Self> {
        let line = line.trim();
        if line.contains(['\t', ';', '|', '=', ':']) || !line.starts_with(char::is_alphabetic) {
            return None;
        }
        let (name, rest) = line.split_once("  ")?;
        let rest = rest.trim_start();
        let end = rest.find(' ').unwrap_or(rest.len());
        let (number, remark) = (&rest[..end], rest[end..].trim());
        let (whole, decimals) = number.trim_start_matches('-').split_once(['.', ','])?;
        let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
        let bracketed = remark.is_empty()
            || remark.starts_with('(')
                && remark.ends_with(')')
                && remark.contains(char::is_alphabetic)
                && !remark.contains(|c: char| c.is_ascii_digit());
        (digits(whole) && digits(decimals) && bracketed).then_some(Self { name, remark })
    }
}
