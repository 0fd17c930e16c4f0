//! Vectors and matrices as the consoles of statistics and matrix languages print them.
//!
//! `> absorbance` with lines `[1] 0.25 0.33` under it, each beginning with the number of its first value; and
//! `absorbance =` with rows of numbers under it, whose columns may be broken over several blocks (`Columns 1 through 8:`).

use curvary_record::Span;

use super::syntax::{DataDocument, DataNode, Scalar, SyntaxItem, name_above};

/// Whether a text holds printed vectors: at least two with a name and three values, or a matrix under a common factor,
/// whose numbers are not what they look like.
pub(super) fn is_printed(head: &str) -> bool {
    if !head.contains("[1]") && !head.contains(" =") {
        return false;
    }
    let all = lines(head);
    if all.iter().any(|line| line.factor().is_some())
        && (0..all.len()).any(|at| assigned(head, &all, at).is_some())
    {
        return true;
    }
    let lists = parse(head)
        .items
        .into_iter()
        .filter(|item| matches!(item, SyntaxItem::Entry(_, DataNode::List(all)) if all.len() >= 3));
    lists.count() >= 2
}

struct ConsoleLine<'t> {
    text: &'t str,
    start: usize,
}

impl ConsoleLine<'_> {
    fn span(&self) -> Span {
        Span::new(self.start, self.start + self.text.len())
    }

    fn is_blank(&self) -> bool {
        self.text.trim().is_empty()
    }

    /// The words of the line behind a place in it.
    fn words(&self, from: usize) -> Vec<Scalar> {
        let rest = self.text.get(from..).unwrap_or("");
        rest.split_ascii_whitespace()
            .map(|word| {
                let at = self.start + from + crate::slice::offset_in(rest, word);
                Scalar {
                    text: word.to_owned(),
                    span: Span::new(at, at + word.len()),
                }
            })
            .collect()
    }

    /// The number in `[13]` at the beginning of a line, and where what follows begins.
    fn index(&self) -> Option<(usize, usize)> {
        let bare = self.text.trim_start();
        let inside = bare.strip_prefix('[')?;
        let (number, _) = inside.split_once(']')?;
        let from = (self.text.len() - bare.len()) + number.len() + 2;
        Some((number.parse().ok()?, from))
    }

    /// The numbers of a line that has nothing else.
    fn numbers(&self) -> Option<Vec<Scalar>> {
        let words = self.words(0);
        let is_number = |word: &Scalar| {
            word.text.parse::<f64>().is_ok() || matches!(word.text.as_str(), "NA" | "NaN" | "-")
        };
        (!words.is_empty() && words.iter().all(is_number)).then_some(words)
    }

    fn factor(&self) -> Option<i32> {
        crate::readers::common_factor(self.text)
    }

    /// The range in `Columns 9 through 16:`.
    fn columns(&self) -> Option<(usize, usize)> {
        let bare = self.text.trim().trim_end_matches(':').trim_end();
        let rest = bare
            .strip_prefix("Columns")
            .or_else(|| bare.strip_prefix("Column"))?
            .trim();
        let mut ends = rest.split_ascii_whitespace().filter_map(|word| word.parse().ok());
        let first = ends.next()?;
        Some((first, ends.next().unwrap_or(first)))
    }
}

fn lines(text: &str) -> Vec<ConsoleLine<'_>> {
    text.split_inclusive('\n')
        .map(|line| ConsoleLine {
            text: line.trim_end(),
            start: crate::slice::offset_in(text, line),
        })
        .collect()
}

/// The printed values as named lists; what is none of them stays a line. What does not add up stays lines too: an index
/// that does not go on, a block whose columns are not as many as it says.
pub(super) fn parse(text: &str) -> DataDocument {
    let all = lines(text);
    let (mut items, mut at) = (Vec::new(), 0);
    while at < all.len() {
        let found = indexed(text, &all, at).or_else(|| assigned(text, &all, at));
        match found {
            Some((name, node, next)) => {
                items.push(SyntaxItem::Entry(name, node));
                at = next;
            }
            None => {
                let echo = all[at].text.trim_start().starts_with('>');
                if !all[at].is_blank() && !echo {
                    items.push(SyntaxItem::Line(all[at].span()));
                }
                at += 1;
            }
        }
    }
    DataDocument { items, cut: None }
}

/// `> name`, then lines that begin with the number of their first value.
fn indexed(text: &str, all: &[ConsoleLine<'_>], at: usize) -> Option<(Scalar, DataNode, usize)> {
    let name = name_above(text, all[at].span())?;
    let mut values: Vec<Scalar> = Vec::new();
    let mut next = at + 1;
    while let Some((number, from)) = all.get(next).and_then(ConsoleLine::index) {
        if number != values.len() + 1 {
            break;
        }
        values.extend(all[next].words(from));
        next += 1;
    }
    if next == at + 1 || all.get(next).is_some_and(|line| line.index().is_some()) {
        return None;
    }
    if name.text.contains('(') {
        // What a call printed is a result and no column.
        return None;
    }
    Some((name, list(values), next))
}

/// `name =`, then rows of numbers; perhaps in blocks of columns.
fn assigned(text: &str, all: &[ConsoleLine<'_>], at: usize) -> Option<(Scalar, DataNode, usize)> {
    let line = &all[at];
    if !line.text.trim_end().ends_with('=') {
        return None;
    }
    let name = name_above(text, line.span())?;
    let mut rows: Vec<Vec<Scalar>> = Vec::new();
    let mut next = at + 1;
    let mut width = 0;
    // The row of the block that comes next, and how many columns the block has.
    let (mut row, mut block) = (0, None);
    let mut power = None;
    while let Some(line) = all.get(next) {
        if line.is_blank() {
        } else if let Some(factor) = line.factor() {
            // Above a later block it has to be the same.
            if power.is_some_and(|power| power != factor) || (power.is_none() && !rows.is_empty()) {
                return None;
            }
            power = Some(factor);
        } else if let Some((first, last)) = line.columns() {
            if first != width + 1 || last < first || block.is_some() && row != rows.len() {
                return None;
            }
            (row, block, width) = (0, Some(last + 1 - first), last);
        } else if let Some(numbers) = line.numbers() {
            if block.is_some_and(|block| block != numbers.len()) {
                return None;
            }
            if row == rows.len() {
                rows.push(Vec::new());
            }
            rows.get_mut(row)?.extend(numbers);
            row += 1;
        } else {
            break;
        }
        next += 1;
    }
    let width = rows.first()?.len();
    if rows.iter().any(|row| row.len() != width) {
        return None;
    }
    if let Some(power) = power {
        for cell in rows.iter_mut().flatten() {
            cell.text = multiplied(&cell.text, power);
        }
    }
    let node = if rows.len() == 1 || width == 1 {
        list(rows.into_iter().flatten().collect())
    } else {
        DataNode::List(rows.into_iter().map(list).collect())
    };
    Some((name, node, next))
}

/// A decimal number times a power of ten, digit for digit: its point is moved, or its exponent changed. What is no number
/// stays as it is.
fn multiplied(number: &str, power: i32) -> String {
    if let Some((mantissa, exponent)) = number.split_once(['e', 'E'])
        && let Ok(exponent) = exponent.parse::<i32>()
    {
        return format!("{mantissa}e{}", exponent.saturating_add(power));
    }
    let (sign, digits) = number
        .strip_prefix('-')
        .map_or(("", number), |digits| ("-", digits));
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let is_plain = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if whole.is_empty() || !is_plain(whole) || !is_plain(fraction) {
        return number.to_owned();
    }
    let all = format!("{whole}{fraction}");
    // Where the point comes to stand among all digits; it may lie outside.
    let point = i32::try_from(whole.len())
        .unwrap_or(i32::MAX)
        .saturating_add(power);
    let moved = match usize::try_from(point) {
        Ok(point) if point >= all.len() => format!("{all:0<point$}"),
        Ok(point) if point > 0 => format!("{}.{}", &all[..point], &all[point..]),
        _ => format!("0.{}{all}", "0".repeat(point.unsigned_abs() as usize)),
    };
    let (whole, fraction) = moved.split_once('.').unwrap_or((&moved, ""));
    let whole = match whole.trim_start_matches('0') {
        "" => "0",
        whole => whole,
    };
    if fraction.is_empty() {
        format!("{sign}{whole}")
    } else {
        format!("{sign}{whole}.{fraction}")
    }
}

fn list(values: Vec<Scalar>) -> DataNode {
    DataNode::List(values.into_iter().map(DataNode::Scalar).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> Vec<String> {
        let items = parse(text).items;
        items
            .iter()
            .map(|item| match item {
                SyntaxItem::Entry(name, DataNode::List(all)) => format!("{} x{}", name.text, all.len()),
                SyntaxItem::Line(span) => text[span.range()].to_owned(),
                _ => "?".to_owned(),
            })
            .collect()
    }

    #[test]
    fn indexed_lines_are_a_list() {
        let text =
            "> wl.nm\n [1] 400 405 410\n [4] 415 420\n> A\n[1] 0.1 0.2 0.3 0.4 0.5\n> mean(A)\n[1] 0.3\n";
        assert!(is_printed(text));
        assert_eq!(shown(text), ["wl.nm x5", "A x5", "[1] 0.3"]);
        // A line is missing.
        assert_eq!(shown("> a\n[1] 1 2 3\n[7] 7 8\n"), ["[1] 1 2 3", "[7] 7 8"]);
    }

    #[test]
    fn blocks_of_columns_are_joined() {
        let text = ">> x\nx =\n\n Columns 1 through 3:\n\n   350   355   360\n\n Columns 4 and 5:\n\n  365 370\n\ny =\n\n 1\n 2\n 3\n 4\n 5\n\n";
        assert_eq!(shown(text), ["x x5", "y x5"]);
        assert!(is_printed(text));
        let short = text.replace("  365 370", "  365");
        assert_eq!(shown(&short).last().map(String::as_str), Some("y x5"));
        assert_ne!(shown(&short)[0], "x x4");
    }

    #[test]
    fn common_factors_move_the_point() {
        for (number, power, wanted) in [
            ("4.100000", 2, "410.0000"),
            ("0.003197", 2, "0.3197"),
            ("-0.5000", 4, "-5000"),
            ("12", -3, "0.012"),
            ("0.0", 3, "0"),
            ("NaN", 2, "NaN"),
            ("1.25e-03", 2, "1.25e-1"),
        ] {
            assert_eq!(multiplied(number, power), wanted, "{number}");
        }
        let text = ">> M\nM =\n\n   1.0e+02 *\n\n   4.10   0.0031\n   4.20   0.0049\n   4.30   0.0073\n\n";
        assert!(is_printed(text));
        let Some(SyntaxItem::Entry(_, DataNode::List(rows))) = parse(text).items.into_iter().next() else {
            panic!("a matrix");
        };
        let DataNode::List(first) = &rows[0] else {
            panic!("a row")
        };
        let cells: Vec<&str> = first
            .iter()
            .map(|cell| match cell {
                DataNode::Scalar(scalar) => scalar.text.as_str(),
                _ => "?",
            })
            .collect();
        assert_eq!(cells, ["410", "0.31"]);
    }
}
