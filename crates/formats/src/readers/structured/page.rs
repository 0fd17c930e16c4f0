//! Tables of web pages.

use curvary_record::{Place, Span};

use html5gum::{DefaultEmitter, Token, Tokenizer};

use crate::Source;
use crate::rendering::Rendering;

/// Whether a text is a web page, by its first characters.
pub(super) fn is_page(start: &str) -> bool {
    let lower = start
        .get(..start.floor_char_boundary(256))
        .unwrap_or("")
        .to_ascii_lowercase();
    ["<!doctype html", "<html", "<table", "<body", "<head>"]
        .iter()
        .any(|tag| lower.starts_with(tag))
        || lower.starts_with("<!--") && lower.contains("<html")
}

/// Cells over more columns or rows than this are a mistake of the page.
const WIDEST: usize = 1000;

/// Elements whose end ends a line of words.
const LINES: [&str; 14] = [
    "p", "div", "br", "li", "h1", "h2", "h3", "h4", "h5", "h6", "title", "caption", "pre", "tr",
];

/// A cell: its text and where it begins and ends in the page.
#[derive(Clone, Default)]
struct PageCell {
    text: String,
    span: Option<Span>,
}

impl PageCell {
    fn add(&mut self, text: &str, span: Span) {
        self.text.push_str(text);
        let start = self.span.map_or(span.start, |known| known.start);
        self.span = Some(Span { start, end: span.end });
    }

    fn is_empty(&self) -> bool {
        self.text.trim().is_empty()
    }
}

#[derive(Default)]
struct WebPage {
    /// Words outside of tables since the last one.
    words: Vec<PageCell>,
    line: PageCell,
    /// The rows of the table that is open.
    rows: Vec<Vec<PageCell>>,
    row: Option<Vec<PageCell>>,
    /// The cells of the open row that reach over several columns: the first, and how many.
    wide: Vec<(usize, usize)>,
    cell: Option<(PageCell, usize, usize)>,
    /// Cells that reach down from rows above: column, rows left.
    reaching: Vec<(usize, usize)>,
    depth: usize,
    /// Inside an element whose text is none of the page's.
    hidden: usize,
    tables: Vec<(Vec<PageCell>, Vec<Vec<PageCell>>)>,
}

/// The tables of a page, each with the words in front of it; words behind the last one go with each.
pub(super) fn tables(source: &Source) -> Vec<Rendering> {
    let mut page = WebPage::default();
    let tokens = Tokenizer::new_with_emitter(source.text(), DefaultEmitter::<usize>::new_with_span());
    for token in tokens {
        let Ok(token) = token;
        match token {
            Token::StartTag(tag) => {
                let name = String::from_utf8_lossy(&tag.name).into_owned();
                let number = |key: &str| {
                    let value = tag.attributes.get(key.as_bytes())?;
                    String::from_utf8_lossy(&value.value).trim().parse::<usize>().ok()
                };
                page.start(
                    &name,
                    number("colspan").unwrap_or(1),
                    number("rowspan").unwrap_or(1),
                );
            }
            Token::EndTag(tag) => page.end(&String::from_utf8_lossy(&tag.name)),
            Token::String(text) if page.hidden == 0 => {
                let span = Span::new(text.span.start, text.span.end);
                page.text(&String::from_utf8_lossy(&text.value), span);
            }
            _ => {}
        }
    }
    page.end("table");
    page.end_line();
    let behind = page.words;
    let place = |cell: &PageCell| cell.span.map_or_else(Place::default, |span| source.place(span));
    let measured = page.tables.iter().any(|(_, rows)| !is_said(rows));
    let mut above: Vec<CaptionPart> = Vec::new();
    let mut shared: Vec<CaptionPart> = Vec::new();
    let mut all = Vec::new();
    for (words, rows) in page.tables {
        above.extend(words.into_iter().map(CaptionPart::Line));
        if measured && is_said(&rows) {
            above.extend(rows.into_iter().filter_map(|row| {
                let mut cells = row.into_iter();
                Some(CaptionPart::Pair(cells.next()?, cells.next()?))
            }));
            continue;
        }
        let own = std::mem::take(&mut above);
        let mut rendering = Rendering::default();
        // What stands above the first table holds for those below it too, unless they say it anew.
        let known: Vec<String> = own.iter().filter_map(CaptionPart::key).collect();
        let inherited = shared
            .iter()
            .filter(|said| said.key().is_none_or(|key| !known.contains(&key)));
        for said in inherited.chain(&own) {
            said.write(&mut rendering, place);
        }
        for line in &behind {
            rendering.line([(line.text.as_str(), place(line))]);
        }
        rendering.blank();
        for row in &rows {
            rendering.line(row.iter().map(|cell| (cell.text.as_str(), place(cell))));
        }
        if rows.iter().any(|row| row.len() >= 2) {
            if shared.is_empty() {
                shared = own;
            }
            all.push(rendering);
        }
    }
    all
}

/// What is said above a table.
enum CaptionPart {
    Line(PageCell),
    /// A row of a table of keys and values.
    Pair(PageCell, PageCell),
}

impl CaptionPart {
    /// The key of a pair or of a line `key: value`.
    fn key(&self) -> Option<String> {
        let key = match self {
            Self::Line(line) => line.text.split_once(':')?.0,
            Self::Pair(key, _) => key.text.trim().trim_end_matches(':'),
        };
        Some(key.trim().to_lowercase())
    }

    fn write(&self, rendering: &mut Rendering, place: impl Fn(&PageCell) -> Place) {
        match self {
            Self::Line(line) => rendering.line([(line.text.as_str(), place(line))]),
            Self::Pair(key, value) => {
                let name = key.text.trim().trim_end_matches(':');
                rendering.pair((name, place(key)), (value.text.trim(), place(value)));
            }
        }
    }
}

/// Whether a table says things by key and value: two columns, the first of words, the second not of numbers alone.
fn is_said(rows: &[Vec<PageCell>]) -> bool {
    const LONGEST: usize = 60;
    let is_number = |cell: &PageCell| crate::readers::is_plain_number(&cell.text);
    rows.len() <= LONGEST
        && rows.iter().all(|row| row.len() == 2 && !row[0].is_empty() && !is_number(&row[0]))
        && rows.iter().any(|row| !is_number(&row[1]) && !row[1].is_empty())
        // Headers over readings of named samples are words too.
        && rows.iter().skip(1).any(|row| !is_number(&row[1]))
}

impl WebPage {
    fn start(&mut self, name: &str, columns: usize, rows: usize) {
        match name {
            "script" | "style" => self.hidden += 1,
            "table" => {
                self.end_line();
                if self.depth == 0 {
                    self.rows.clear();
                    self.reaching.clear();
                }
                self.depth += 1;
            }
            "tr" => {
                self.end_row();
                self.row = Some(Vec::new());
            }
            "td" | "th" if self.depth > 0 => {
                self.end_cell();
                self.row.get_or_insert_default();
                self.cell = Some((
                    PageCell::default(),
                    columns.clamp(1, WIDEST),
                    rows.clamp(1, WIDEST),
                ));
            }
            name if LINES.contains(&name) => self.break_line(),
            _ => {}
        }
    }

    fn end(&mut self, name: &str) {
        match name {
            "script" | "style" => self.hidden = self.hidden.saturating_sub(1),
            "table" => {
                self.end_row();
                self.depth = self.depth.saturating_sub(1);
                if self.depth == 0 && !self.rows.is_empty() {
                    let rows = std::mem::take(&mut self.rows);
                    self.tables.push((std::mem::take(&mut self.words), rows));
                }
            }
            "tr" => self.end_row(),
            "td" | "th" => self.end_cell(),
            name if LINES.contains(&name) => self.break_line(),
            _ => {}
        }
    }

    fn text(&mut self, text: &str, span: Span) {
        // In a page, white space is white space.
        let text: String = text
            .chars()
            .map(|sign| if sign.is_whitespace() { ' ' } else { sign })
            .collect();
        match &mut self.cell {
            Some((cell, _, _)) => cell.add(&text, span),
            None => self.line.add(&text, span),
        }
    }

    /// A new line inside a cell is a blank; outside of tables it ends the line.
    fn break_line(&mut self) {
        match &mut self.cell {
            Some((cell, _, _)) => cell.text.push(' '),
            None => self.end_line(),
        }
    }

    fn end_line(&mut self) {
        let line = std::mem::take(&mut self.line);
        if !line.is_empty() {
            self.words.push(line);
        }
    }

    fn end_cell(&mut self) {
        if let Some((cell, columns, rows)) = self.cell.take()
            && let Some(row) = &mut self.row
        {
            fill(row, &mut self.reaching);
            if rows > 1 {
                self.reaching
                    .extend((0..columns).map(|column| (row.len() + column, rows)));
            }
            if columns > 1 {
                self.wide.push((row.len(), columns));
            }
            row.push(cell);
            row.resize(row.len() + columns - 1, PageCell::default());
        }
    }

    fn end_row(&mut self) {
        self.end_cell();
        if let Some(mut row) = self.row.take() {
            fill(&mut row, &mut self.reaching);
            repeat_headers(&mut row, &std::mem::take(&mut self.wide));
            for (_, left) in &mut self.reaching {
                *left -= 1;
            }
            self.reaching.retain(|(_, left)| *left > 0);
            if row.iter().any(|cell| !cell.is_empty()) {
                self.rows.push(row);
            }
        }
    }
}

/// A header over several columns is the header of each, unless it is all that the row says.
fn repeat_headers(row: &mut [PageCell], wide: &[(usize, usize)]) {
    let said = row.iter().filter(|cell| !cell.is_empty()).count();
    for &(first, columns) in wide {
        let Some(cell) = row.get(first).cloned() else {
            continue;
        };
        let is_number = crate::readers::is_plain_number(&cell.text);
        if said < 2 || cell.is_empty() || is_number {
            continue;
        }
        for other in row.iter_mut().skip(first + 1).take(columns - 1) {
            *other = cell.clone();
        }
    }
}

/// Empty cells where cells of rows above reach down.
fn fill(row: &mut Vec<PageCell>, reaching: &mut [(usize, usize)]) {
    while reaching.iter().any(|(column, _)| *column == row.len()) && row.len() < WIDEST {
        row.push(PageCell::default());
    }
}
