//! Lines into cells, and parts of a page that stand beside each other into the order in which they are read.

use super::words::{PrintedWord, WordLine};

/// A gap inside a line from which a cell ends, in sizes of the font: two blanks of a typewriter's font are 1.2, one is 0.6.
const CELL: f64 = 0.85;
/// How far a head may stand beside its column, in sizes of the font.
const BESIDE: f64 = 0.6;
/// The narrowest strip between parts of a page that are read one after the other.
const STRIP: f64 = 1.2;
/// Fewer lines beside each other are no columns of a page.
const FEWEST_LINES: usize = 5;

/// A line of cells.
#[derive(Clone, Debug)]
pub(super) struct PrintRow {
    /// The line of the page, from 1.
    pub(super) line: usize,
    pub(super) cells: Vec<PrintCell>,
    /// Whether more room than usual is above it.
    pub(super) apart: bool,
    pub(super) hidden: bool,
    baseline: f64,
}

/// Words that belong together.
#[derive(Clone, Debug)]
pub(super) struct PrintCell {
    pub(super) text: String,
    left: f64,
    right: f64,
    words: Vec<PrintedWord>,
}

impl PrintRow {
    /// Where the line stands on the page.
    pub(super) fn baseline(&self) -> f64 {
        self.baseline
    }

    /// The same line with other cells.
    pub(super) fn with_cells(&self, cells: Vec<PrintCell>) -> Self {
        Self {
            cells,
            ..self.clone()
        }
    }

    /// Its cells of which something is so.
    pub(super) fn cells_where(&self, flags: &[bool], wanted: bool) -> Vec<PrintCell> {
        let cells = self.cells.iter().zip(flags);
        cells
            .filter(|(cell, flag)| **flag == wanted && !cell.text.is_empty())
            .map(|(cell, _)| cell.clone())
            .collect()
    }
}

impl PrintCell {
    /// Where it begins.
    pub(super) fn left(&self) -> f64 {
        self.left
    }

    fn of(words: Vec<PrintedWord>) -> Option<Self> {
        let (first, last) = (words.first()?, words.last()?);
        let texts: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
        Some(Self {
            text: texts.join(" "),
            left: first.left,
            right: last.right,
            words,
        })
    }

    /// A cell where nothing stands.
    fn empty(at: f64) -> Self {
        Self {
            text: String::new(),
            left: at,
            right: at,
            words: Vec::new(),
        }
    }

    fn is_of_number_signs(&self) -> bool {
        is_of_number_signs(&self.text)
    }

    fn middle(&self) -> f64 {
        f64::midpoint(self.left, self.right)
    }
}

/// Whether a text is made of the signs of numbers alone.
fn is_of_number_signs(text: &str) -> bool {
    text.contains(|sign: char| sign.is_ascii_digit())
        && text.chars().all(|sign| {
            sign.is_ascii_digit()
                || matches!(
                    sign,
                    '.' | ','
                        | '-'
                        | '+'
                        | '−'
                        | '–'
                        | 'e'
                        | 'E'
                        | ' '
                        | ':'
                        | '%'
                        | '*'
                        | '<'
                        | '>'
                        | '×'
                        | '·'
                )
                || "⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺ᵃᵇᶜᵈᵉ".contains(sign)
        })
}

/// The rows of a page in the order of reading.
pub(super) fn rows(lines: Vec<WordLine>) -> Vec<PrintRow> {
    let usual = usual_step(&lines);
    let numbered: NumberedCells = lines
        .into_iter()
        .enumerate()
        .map(|(at, line)| (at + 1, line))
        .collect();
    let mut rows = Vec::new();
    for part in parts(numbered) {
        let mut before = None;
        let prose = prose(&part);
        let mut of_part: Vec<PrintRow> = part
            .into_iter()
            .zip(prose)
            .map(|((number, line), prose)| {
                let row = PrintRow {
                    line: number,
                    apart: before.is_none_or(|before| line.baseline - before > 1.7 * usual),
                    hidden: line.words.iter().any(|word| word.hidden),
                    baseline: line.baseline,
                    cells: if prose {
                        PrintCell::of(line.words).into_iter().collect()
                    } else {
                        cells(line.words)
                    },
                };
                before = Some(line.baseline);
                row
            })
            .collect();
        wrapped_values(&mut of_part);
        in_columns(&mut of_part);
        rows.append(&mut of_part);
    }
    without_letter_spacing(&mut rows);
    rows
}

/// Puts the second line of a value to the first: a line of one cell of words, close below a line of several of which one ends
/// in a comma, and under that one or under the key in front of it.
fn wrapped_values(rows: &mut Vec<PrintRow>) {
    const NEAR: f64 = 2.0;
    /// Farthest baseline of the second line, in sizes of the font.
    const BELOW: f64 = 1.8;
    let goes_on = |above: &PrintRow, row: &PrintRow| match row.cells.as_slice() {
        [cell] => {
            let size = cell.words.first().map_or(0.0, |word| word.size);
            row.baseline - above.baseline < BELOW * size
                && cell.text.starts_with(char::is_lowercase)
                && !cell.text.contains([':', '='])
                && !cell.text.ends_with(',')
        }
        _ => false,
    };
    let mut at = 1;
    while at < rows.len() {
        let above = if rows[at - 1].cells.len() >= 2 && goes_on(&rows[at - 1], &rows[at]) {
            let (above, left) = (&rows[at - 1].cells, rows[at].cells[0].left);
            let is_near = |place: usize| {
                above
                    .get(place)
                    .is_some_and(|cell| (cell.left - left).abs() < NEAR)
            };
            let open = |cell: &PrintCell| cell.text.ends_with(',') && !cell.is_of_number_signs();
            (0..above.len())
                .find(|&place| open(&above[place]) && (is_near(place) || place > 0 && is_near(place - 1)))
        } else {
            None
        };
        let Some(place) = above else {
            at += 1;
            continue;
        };
        let rest = rows.remove(at).cells.remove(0);
        let value = &mut rows[at - 1].cells[place];
        value.text = format!("{} {}", value.text, rest.text);
        value.words.extend(rest.words);
    }
}

/// Puts letters that are set apart together again, on a page where words are set so: `T I M E` is `TIME`, `0 . 1 2` is `0.12`.
fn without_letter_spacing(rows: &mut [PrintRow]) {
    /// So many letters set apart are no list of symbols.
    const FEWEST_LETTERS: usize = 4;
    let is_spaced = |cell: &PrintCell| cell.words.iter().all(|word| word.text.chars().count() == 1);
    let letters = |cell: &PrintCell| {
        let is_letter = |word: &&PrintedWord| word.text.chars().all(char::is_alphabetic);
        cell.words.iter().filter(is_letter).count()
    };
    let cells = || rows.iter().flat_map(|row| &row.cells);
    if !cells().any(|cell| is_spaced(cell) && letters(cell) >= FEWEST_LETTERS) {
        return;
    }
    for cell in rows.iter_mut().flat_map(|row| &mut row.cells) {
        if cell.words.len() >= 3 && is_spaced(cell) {
            cell.text = set_together(&cell.words);
        }
    }
}

/// Letters that are set apart as words: a word ends at a gap that is wider than the others.
fn set_together(letters: &[PrintedWord]) -> String {
    const WIDER: f64 = 1.6;
    let gap = |pair: &[PrintedWord]| pair[1].left - pair[0].right;
    let mut gaps: Vec<f64> = letters.windows(2).map(gap).collect();
    gaps.sort_by(f64::total_cmp);
    let usual = gaps.get(gaps.len() / 2).copied().unwrap_or(0.0);
    let mut text = letters
        .first()
        .map_or_else(String::new, |first| first.text.clone());
    for pair in letters.windows(2) {
        if gap(pair) > WIDER * usual {
            text.push(' ');
        }
        text.push_str(&pair[1].text);
    }
    text
}

/// How far lines usually lie apart.
fn usual_step(lines: &[WordLine]) -> f64 {
    let mut steps: Vec<f64> = lines
        .windows(2)
        .map(|pair| pair[1].baseline - pair[0].baseline)
        .collect();
    steps.sort_by(f64::total_cmp);
    let middle = steps.get(steps.len() / 2).copied();
    let size = lines.iter().map(|line| line.size).fold(0.0, f64::max);
    middle.unwrap_or(1.2 * size).max(1.0)
}

/// Whether a line has wide gaps.
fn has_gaps(line: &WordLine) -> bool {
    line.words
        .windows(2)
        .any(|pair| pair[1].left - pair[0].right >= CELL * pair[0].size.min(pair[1].size))
}

/// Which lines are lines of running words: also those with wide gaps, which come of justifying, where the line above or below
/// begins and ends at the same places, is set in the same size, and runs without.
fn prose(lines: &[(usize, WordLine)]) -> Vec<bool> {
    let words = |line: &WordLine| {
        let letters =
            |word: &&PrintedWord| word.text.chars().filter(|sign| sign.is_alphabetic()).count() >= 2;
        line.words.iter().filter(letters).count() >= 4
    };
    let sure: Vec<bool> = lines
        .iter()
        .map(|(_, line)| words(line) && !has_gaps(line))
        .collect();
    let ends = |at: usize| {
        let (_, line) = lines.get(at)?;
        let (first, last) = (line.words.first()?, line.words.last()?);
        Some((first.left, last.right, line.size))
    };
    let beside = |at: usize, other: usize| {
        let same = ends(at).zip(ends(other)).is_some_and(|(a, b)| {
            (a.0 - b.0).abs() < 2.0 && (a.1 - b.1).abs() < 3.0 && (a.2 / b.2 - 1.0).abs() < 0.1
        });
        same && sure.get(other).copied().unwrap_or(false)
    };
    (0..lines.len())
        .map(|at| {
            let near = || (at > 0 && beside(at, at - 1)) || beside(at, at + 1);
            sure[at] || (words(&lines[at].1) && near())
        })
        .collect()
}

/// The words of a line as cells, where the gaps are wide.
fn cells(words: Vec<PrintedWord>) -> Vec<PrintCell> {
    let mut cells = Vec::new();
    let mut cell: Vec<PrintedWord> = Vec::new();
    for word in words {
        let ends = cell
            .last()
            .is_some_and(|last| word.left - last.right >= CELL * last.size.min(word.size));
        if ends {
            cells.extend(PrintCell::of(std::mem::take(&mut cell)));
        }
        cell.push(word);
    }
    cells.extend(PrintCell::of(cell));
    cells
}

type NumberedCells = Vec<(usize, WordLine)>;

/// The parts of a page in the order of reading. Where lines stand beside each other on both sides of a strip that stays
/// white over many of them, and they are no rows of one table, the left side is read first.
fn parts(lines: NumberedCells) -> Vec<NumberedCells> {
    let mut parts = Vec::new();
    let mut whole: NumberedCells = Vec::new();
    let mut at = 0;
    while at < lines.len() {
        if let Some((end, strip)) = beside(&lines, at) {
            if !whole.is_empty() {
                parts.push(std::mem::take(&mut whole));
            }
            let (mut left, mut right) = (Vec::new(), Vec::new());
            for (number, line) in &lines[at..end] {
                let (l, r): (Vec<PrintedWord>, Vec<PrintedWord>) =
                    line.words.iter().cloned().partition(|word| word.right <= strip.1);
                for (words, side) in [(l, &mut left), (r, &mut right)] {
                    if !words.is_empty() {
                        let line = WordLine {
                            words,
                            ..line.clone()
                        };
                        side.push((*number, line));
                    }
                }
            }
            parts.push(left);
            parts.push(right);
            at = end;
        } else {
            whole.push(lines[at].clone());
            at += 1;
        }
    }
    if !whole.is_empty() {
        parts.push(whole);
    }
    parts
}

/// The end of the lines from `at` on that stand in two columns of the page, and the strip between them.
fn beside(lines: &[(usize, WordLine)], at: usize) -> Option<(usize, (f64, f64))> {
    let words = || lines.iter().flat_map(|(_, line)| &line.words);
    let left = words().map(|word| word.left).fold(f64::INFINITY, f64::min);
    let right = words().map(|word| word.right).fold(f64::NEG_INFINITY, f64::max);
    let width = right - left;
    // A strip that columns of a page leave lies about the middle.
    let (least, most) = (left + 0.3 * width, left + 0.7 * width);
    let size = lines.get(at)?.1.size;
    let mut open: Vec<(f64, f64)> = vec![(least, most)];
    let mut found = None;
    for (index, (_, line)) in lines.iter().enumerate().skip(at) {
        let mut next = Vec::new();
        for &strip in &open {
            next.extend(without(strip, &line.words));
        }
        next.retain(|(from, to)| to - from >= STRIP * size);
        if next.is_empty() {
            break;
        }
        open = next;
        let widest = open
            .iter()
            .copied()
            .max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)));
        found = widest.map(|strip| (index + 1, strip));
    }
    let (end, strip) = found?;
    are_columns(&lines[at..end], strip).then_some((end, strip))
}

/// What is left of a strip beside words.
fn without(strip: (f64, f64), words: &[PrintedWord]) -> Vec<(f64, f64)> {
    let mut left = Vec::new();
    let mut from = strip.0;
    for word in words {
        if word.right <= from || word.left >= strip.1 {
            continue;
        }
        if word.left > from {
            left.push((from, word.left));
        }
        from = word.right;
    }
    if from < strip.1 {
        left.push((from, strip.1));
    }
    left
}

/// Whether lines on both sides of a strip are columns of a page and no rows of one table: words run on both sides, or the
/// lines of one side stand between those of the other.
fn are_columns(lines: &[(usize, WordLine)], strip: (f64, f64)) -> bool {
    let (mut prose, mut table, mut alternating) = (0, 0, 0);
    let (mut only_left, mut only_right) = (0, 0);
    let mut before = None;
    for (_, line) in lines {
        let middle = f64::midpoint(strip.0, strip.1);
        let (left, right): (Vec<&PrintedWord>, Vec<&PrintedWord>) =
            line.words.iter().partition(|word| word.right <= middle);
        let runs = |words: &[&PrintedWord]| {
            let letters =
                |word: &&&PrintedWord| word.text.chars().filter(|sign| sign.is_alphabetic()).count() >= 2;
            words.iter().filter(letters).count() >= 4
        };
        let side = match (left.is_empty(), right.is_empty()) {
            (false, false) => {
                if runs(&left) || runs(&right) {
                    prose += 1;
                } else {
                    table += 1;
                }
                None
            }
            (false, true) => {
                only_left += 1;
                Some(true)
            }
            (true, false) => {
                only_right += 1;
                Some(false)
            }
            (true, true) => None,
        };
        if side.is_some() && before.is_some() && side != before {
            alternating += 1;
        }
        before = side.or(before);
    }
    let both = prose + table;
    (prose >= 3 && prose >= table && both + only_left.min(only_right) >= FEWEST_LINES)
        || (alternating >= FEWEST_LINES && only_left >= 3 && only_right >= 3 && alternating > both)
}

/// Puts the cells of each table of numbers under one another: what two columns share is parted, and a cell where nothing
/// stands is told as empty, so that no number moves into the place of its neighbour.
fn in_columns(rows: &mut [PrintRow]) {
    let is_data = |row: &PrintRow| {
        !row.cells.is_empty()
            && row.cells.iter().filter(|cell| cell.is_of_number_signs()).count() * 2 > row.cells.len()
    };
    let mut at = 0;
    while at < rows.len() {
        if !is_data(&rows[at]) {
            at += 1;
            continue;
        }
        let mut end = at + 1;
        // A number alone with room above it, such as that of the page, is none of the table's.
        while end < rows.len() && is_data(&rows[end]) && !(rows[end].apart && rows[end].cells.len() == 1) {
            end += 1;
        }
        if end - at >= 2 {
            table(rows, at, end);
        }
        at = end;
    }
}

/// Aligns the rows from `first` up to `end`, and the heads above them.
fn table(rows: &mut [PrintRow], first: usize, end: usize) {
    // A head with a cell for each column tells where they end.
    let above: Vec<(f64, f64)> = rows[..first]
        .last()
        .filter(|head| head.cells.len() > 1)
        .map(gaps)
        .unwrap_or_default();
    part_at_gutters(&mut rows[first..end], above);
    let columns = columns(&rows[first..end]);
    if columns.len() < 2 {
        return;
    }
    let complete = rows[first..end]
        .iter()
        .all(|row| row.cells.len() == columns.len());
    if !complete {
        for row in &mut rows[first..end] {
            align(row, &columns);
        }
    }
    let step = (rows[end - 1].baseline - rows[first].baseline) / (end - 1 - first).max(1) as f64;
    for at in (0..first).rev().take(3) {
        let (row, below) = (&rows[at], &rows[at + 1]);
        if below.baseline - row.baseline > 3.0 * step {
            break;
        }
        if row.cells.len() < columns.len()
            && let Some(cells) = heads_over(row, &columns)
        {
            rows[at].cells = cells;
        }
        if rows[at].cells.len() <= 1 {
            break;
        }
        if rows[at].cells.len() < columns.len() {
            align(&mut rows[at], &columns);
        }
    }
}

/// The gaps between the cells of a row.
fn gaps(row: &PrintRow) -> Vec<(f64, f64)> {
    row.cells
        .windows(2)
        .map(|pair| (pair[0].right, pair[1].left))
        .collect()
}

/// Parts cells at gaps that are narrow in this row, where they are wide in another row of the same table.
fn part_at_gutters(rows: &mut [PrintRow], above: Vec<(f64, f64)>) {
    let mut wide = above;
    wide.extend(rows.iter().flat_map(gaps));
    // The strips that are white in all rows.
    let mut covered: Vec<(f64, f64)> = rows
        .iter()
        .flat_map(|row| &row.cells)
        .flat_map(|cell| &cell.words)
        .map(|word| (word.left, word.right))
        .collect();
    covered.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut gutters = Vec::new();
    let mut reach = f64::NEG_INFINITY;
    for (left, right) in covered {
        if reach.is_finite() && left > reach {
            gutters.push((reach, left));
        }
        reach = reach.max(right);
    }
    gutters.retain(|gutter| {
        let middle = f64::midpoint(gutter.0, gutter.1);
        wide.iter().any(|gap| gap.0 <= middle && middle <= gap.1)
    });
    for row in rows {
        let cells = std::mem::take(&mut row.cells);
        for cell in cells {
            let mut part: Vec<PrintedWord> = Vec::new();
            for word in cell.words {
                let parts = part.last().is_some_and(|last| {
                    let between =
                        |gutter: &(f64, f64)| last.right <= gutter.0 + 0.01 && gutter.1 <= word.left + 0.01;
                    !is_group(&last.text, &word.text) && gutters.iter().any(between)
                });
                if parts {
                    row.cells.extend(PrintCell::of(std::mem::take(&mut part)));
                }
                part.push(word);
            }
            row.cells.extend(PrintCell::of(part));
        }
    }
}

/// Whether a word may be the thousands in front of the next: `1 234.5`.
fn is_group(word: &str, next: &str) -> bool {
    let figures = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    let sign = word.trim_start_matches(['-', '+', '−']);
    let whole = next.split(['.', ',']).next().unwrap_or("");
    (1..=3).contains(&sign.len()) && figures(sign) && whole.len() == 3 && figures(whole)
}

/// Where the columns of rows stand: cells that lie over one another are of one column.
fn columns(rows: &[PrintRow]) -> Vec<(f64, f64)> {
    let mut places: Vec<(f64, f64)> = rows
        .iter()
        .flat_map(|row| row.cells.iter().map(|cell| (cell.left, cell.right)))
        .collect();
    places.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut columns: Vec<(f64, f64)> = Vec::new();
    for (left, right) in places {
        match columns.last_mut() {
            Some(last) if left < last.1 => last.1 = last.1.max(right),
            _ => columns.push((left, right)),
        }
    }
    columns
}

/// Gives each column of a row one cell, empty where nothing stands. A row of which two cells would share a column stays.
fn align(row: &mut PrintRow, columns: &[(f64, f64)]) {
    let of = |cell: &PrintCell| {
        let distance = |column: &(f64, f64)| {
            let overlap = cell.right.min(column.1) - cell.left.max(column.0);
            let apart = (cell.middle() - f64::midpoint(column.0, column.1)).abs();
            if overlap > 0.0 { apart - 1e6 } else { apart }
        };
        (0..columns.len()).min_by(|&a, &b| distance(&columns[a]).total_cmp(&distance(&columns[b])))
    };
    let taken: Vec<Option<usize>> = row.cells.iter().map(of).collect();
    if !taken.windows(2).all(|pair| pair[0] < pair[1]) {
        return;
    }
    let mut aligned: Vec<PrintCell> = columns.iter().map(|column| PrintCell::empty(column.0)).collect();
    for (cell, at) in std::mem::take(&mut row.cells).into_iter().zip(taken) {
        if let Some(place) = at.and_then(|at| aligned.get_mut(at)) {
            *place = cell;
        }
    }
    row.cells = aligned;
}

/// The words of a row as one head for each column, where heads that run together can be parted so that each stands over
/// its column: at the same left or right edge, or about the same middle.
fn heads_over(row: &PrintRow, columns: &[(f64, f64)]) -> Option<Vec<PrintCell>> {
    /// Longer lines are no heads, and would take long.
    const MOST_WORDS: usize = 60;
    let words: Vec<&PrintedWord> = row.cells.iter().flat_map(|cell| &cell.words).collect();
    let key = row.cells.first().is_some_and(|cell| cell.text.contains(": "));
    if key || words.len() < columns.len() || words.len() > MOST_WORDS {
        return None;
    }
    // Words that run on far behind the last column are prose above the table.
    let letters = |word: &&&PrintedWord| word.text.chars().filter(|sign| sign.is_alphabetic()).count() >= 2;
    let (left, right) = (columns.first()?.0, columns.last()?.1);
    let runs_on = words
        .last()
        .is_some_and(|last| last.right > right + (right - left));
    if row.cells.len() == 1 && runs_on && words.iter().filter(letters).count() >= 4 {
        return None;
    }
    let size = words.iter().map(|word| word.size).fold(0.0, f64::max);
    // Cells that are apart already stay apart.
    let mut ends: Vec<usize> = Vec::new();
    for cell in &row.cells {
        ends.push(ends.last().unwrap_or(&0) + cell.words.len());
    }
    let off = |from: usize, to: usize, column: (f64, f64)| {
        let (left, right) = (words[from].left, words[to - 1].right);
        let apart = ends.iter().any(|&end| from < end && end < to);
        let middles = f64::midpoint(left, right) - f64::midpoint(column.0, column.1);
        let off = (left - column.0)
            .abs()
            .min((right - column.1).abs())
            .min(middles.abs());
        (!apart && off <= BESIDE * size && left < column.1 && column.0 < right).then_some(off)
    };
    // For each number of words, the least that the heads of the columns so far are off, and where the last begins.
    let mut best: Vec<Vec<Option<(f64, usize)>>> = vec![vec![None; words.len() + 1]; columns.len() + 1];
    best[0][0] = Some((0.0, 0));
    for (at, &column) in columns.iter().enumerate() {
        for to in 1..=words.len() {
            for from in 0..to {
                let Some((before, _)) = best[at][from] else {
                    continue;
                };
                let Some(off) = off(from, to, column) else {
                    continue;
                };
                if best[at + 1][to].is_none_or(|(known, _)| before + off < known) {
                    best[at + 1][to] = Some((before + off, from));
                }
            }
        }
    }
    let mut cells = Vec::new();
    let mut to = words.len();
    for at in (1..=columns.len()).rev() {
        let (_, from) = best[at][to]?;
        cells.extend(PrintCell::of(
            words[from..to].iter().map(|word| (*word).clone()).collect(),
        ));
        to = from;
    }
    cells.reverse();
    Some(cells)
}

#[cfg(test)]
mod tests {
    use super::super::glyphs::{Glyph, Letter, PrintedPage};
    use super::super::words::written;
    use super::*;

    /// Texts at places, with letters of half the font's size (10 points) in width.
    fn page(texts: &[(&str, f64, f64)]) -> Vec<Vec<String>> {
        let glyphs = texts.iter().flat_map(|(text, left, baseline)| {
            text.chars().enumerate().map(move |(at, sign)| {
                let start = left + at as f64 * 5.0;
                Glyph {
                    letter: match sign {
                        ' ' => Letter::Blank,
                        sign => Letter::Known(sign.to_string()),
                    },
                    start: (start, *baseline).into(),
                    end: (start + 5.0, *baseline).into(),
                    size: 10.0,
                    hidden: false,
                }
            })
        });
        let page = PrintedPage {
            glyphs: glyphs.collect(),
            ..PrintedPage::default()
        };
        let row = |row: PrintRow| row.cells.into_iter().map(|cell| cell.text).collect();
        rows(written(&page).lines).into_iter().map(row).collect()
    }

    #[test]
    fn letters_that_are_set_apart_are_words() {
        let spaced = page(&[
            ("T I M E", 0.0, 0.0),
            ("A 4 1 2", 100.0, 0.0),
            ("1 0", 0.0, 12.0),
            ("0 . 1 2", 100.0, 12.0),
        ]);
        assert_eq!(spaced, [["TIME", "A412"], ["1 0", "0.12"]]);
        // Without a word that is set so, single signs are what they are.
        let plain = page(&[("a b c", 0.0, 0.0), ("1 2 3", 100.0, 0.0)]);
        assert_eq!(plain, [["a b c", "1 2 3"]]);
    }

    #[test]
    fn a_line_with_wide_gaps_under_a_title_is_no_running_text() {
        let lines = page(&[
            ("Spectrum of the invented dye of spring", 0.0, 0.0),
            ("Date: May   Path: one  Dye: some", 0.0, 12.0),
        ]);
        assert_eq!(lines[1].len(), 3, "{lines:?}");
    }

    #[test]
    fn a_cell_where_nothing_stands_is_empty() {
        let found = page(&[
            ("nm", 0.0, 0.0),
            ("A", 50.0, 0.0),
            ("B", 100.0, 0.0),
            ("400", 0.0, 12.0),
            ("0.1", 50.0, 12.0),
            ("0.2", 100.0, 12.0),
            ("410", 0.0, 24.0),
            ("0.3", 100.0, 24.0),
        ]);
        assert_eq!(found[2], ["410", "", "0.3"]);
    }

    #[test]
    fn thousands_with_a_blank_stay_together() {
        let found = page(&[
            ("400", 0.0, 0.0),
            ("1 234", 40.0, 0.0),
            ("410", 0.0, 12.0),
            ("999", 50.0, 12.0),
            ("420", 0.0, 24.0),
            ("1 001", 40.0, 24.0),
        ]);
        assert_eq!(found, [["400", "1 234"], ["410", "999"], ["420", "1 001"]]);
    }

    #[test]
    fn heads_that_run_together_are_parted_over_their_columns() {
        let found = page(&[
            // Centred over their columns, with no more than a blank between.
            ("Absorbance 1 Absorbance 2", 45.0, 0.0),
            ("nm", 0.0, 0.0),
            ("400", 0.0, 12.0),
            ("0.123", 62.0, 12.0),
            ("0.234", 127.0, 12.0),
            ("410", 0.0, 24.0),
            ("0.133", 62.0, 24.0),
            ("0.244", 127.0, 24.0),
        ]);
        assert_eq!(found[0], ["nm", "Absorbance 1", "Absorbance 2"]);
    }

    #[test]
    fn prose_above_a_narrow_table_is_not_parted_over_its_columns() {
        let found = page(&[
            (
                "Absorbance was monitored at 30 and the cell was stirred",
                0.0,
                0.0,
            ),
            ("Time", 0.0, 12.0),
            ("A", 55.0, 12.0),
            ("10", 0.0, 24.0),
            ("0.123", 55.0, 24.0),
            ("20", 0.0, 36.0),
            ("0.133", 55.0, 36.0),
        ]);
        assert_eq!(
            found[0],
            ["Absorbance was monitored at 30 and the cell was stirred"]
        );
    }

    #[test]
    fn columns_of_a_page_are_read_one_after_the_other() {
        let words = "these words run over four";
        let mut texts = Vec::new();
        for line in 0..6 {
            texts.push((words, 0.0, 12.0 * f64::from(line)));
            texts.push((words, 150.0, 12.0 * f64::from(line)));
        }
        let found = page(&texts);
        assert_eq!(found.len(), 12);
        assert!(found.iter().all(|row| row == &[words]));
    }
}
