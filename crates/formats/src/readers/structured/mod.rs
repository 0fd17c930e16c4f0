//! Tables that programs wrote as lists and maps, and tables of web pages.
//!
//! JSON and JSON lines, printed dictionaries, vectors of scripts (`time_s = [0, 1, …]`), flow lists of YAML, HTML tables,
//! tables of TeX, variables that a matrix language saved as text, vectors as consoles print them.
//! Each is written out plainly ([`crate::rendering`]) and understood as any other table; this reader decides nothing of
//! what a column means.

mod console;
mod grid;
mod octave;
mod page;
mod syntax;
mod tables;
mod tex;

use curvary_record::{Code, Diagnostic, Span, code};

use self::syntax::SyntaxItem;
use crate::rendering::Rendering;
use crate::sink::{Sink, SourceLimits, SpanUnit};
use crate::{ExplainedLines, Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// The reader of lists, maps and web pages.
pub struct StructuredText {
    card: ReaderInfo,
}

impl Default for StructuredText {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/structured".to_owned(),
                version: "1".to_owned(),
                title: "lists and maps of programs (JSON, vectors, saved variables), tables of web pages and of TeX"
                    .to_owned(),
            },
        }
    }
}

/// A list with fewer numbers is no column that a whole file would be read for.
const SHORTEST: usize = 3;

/// So many lines beside lists and maps are remarks; more are a table.
const FEW_LINES: usize = 8;

impl Reader for StructuredText {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        let start = glimpse
            .head()
            .trim_start_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}');
        if let Some(what) = super::package::paper(glimpse.path, glimpse.head()) {
            return Recognition::No(what.to_owned());
        }
        if page::is_page(start) {
            return Recognition::Yes("a web page".to_owned());
        }
        if octave::is_saved(start) {
            return Recognition::Yes("variables saved as text, each with its name and type".to_owned());
        }
        if console::is_printed(start) {
            return Recognition::Yes("vectors as a console prints them, each under its name".to_owned());
        }
        if grid::is_drawn(start) {
            return Recognition::Yes("a table drawn with a border around every row".to_owned());
        }
        if tex::is_document(start) {
            return Recognition::Yes("a document or a table of TeX".to_owned());
        }
        // Asked of every text; bytes are looked for many at a time.
        let bytes = glimpse.head().as_bytes();
        let bracketed =
            memchr::memchr3(b'[', b'{', b'(', bytes).is_some() || memchr::memchr(b'=', bytes).is_some();
        if start.starts_with("##") || !bracketed && !glimpse.head().contains("- ") {
            return Recognition::No("no lists or maps in brackets, and no web page".to_owned());
        }
        if !syntax::may_have_lists(glimpse.head()) {
            return Recognition::No("no lists of numbers in brackets".to_owned());
        }
        let document = syntax::parse(glimpse.head());
        let lists: usize = document.items.iter().map(lists_of).sum();
        let records = document.items.iter().filter(|item| is_record(item)).count();
        let matrices = document.items.iter().filter(|item| is_matrix(item)).count();
        // `{"sample": "betanin"}` in front of a table in lines is its preamble.
        let lines = document
            .items
            .iter()
            .filter(|item| matches!(item, SyntaxItem::Line(_)))
            .count();
        let table_in_lines = lists == 0 && records < 2 && matrices == 0 && lines > FEW_LINES;
        if (start.starts_with('{') || start.starts_with("[{")) && !table_in_lines
            || lists >= 2
            || records >= 2
            || matrices > 0
        {
            Recognition::Yes(format!(
                "{lists} lists of numbers and {records} records in brackets"
            ))
        } else if lists == 1 && document.cut.is_some() {
            Recognition::Yes("a long list of numbers in brackets".to_owned())
        } else {
            Recognition::No("no lists of numbers in brackets".to_owned())
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let (renderings, remarks) = renderings(source);
        let none = renderings.is_empty().then(|| no_table(source));
        let readings = renderings
            .iter()
            .map(|rendering| rendering.read(source, &self.card));
        let mut sink = Sink::new(source, &self.card, SpanUnit::Text, SourceLimits::WHOLE);
        let told = sink.parts(readings).and_then(|()| {
            let mut remarks = remarks.into_iter().chain(none);
            remarks.try_for_each(|remark| sink.add_remark(remark))
        });
        sink.finished(told)
    }

    fn explain(&self, source: &Source) -> Vec<ExplainedLines> {
        renderings(source)
            .0
            .iter()
            .flat_map(|rendering| rendering.explain(source, &self.card))
            .collect()
    }
}

fn no_table(source: &Source) -> Diagnostic {
    let what = if page::is_page(source.text().trim_start()) {
        "the web page has no table of numbers"
    } else {
        "no lists of one length and no records with numbers were found"
    };
    Diagnostic::error(code::NO_TABLE, what)
        .help("save the numbers themselves as text, one row a line, if the page shows them as a picture")
}

fn renderings(source: &Source) -> (Vec<Rendering>, Vec<Diagnostic>) {
    if page::is_page(
        source
            .text()
            .trim_start_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}'),
    ) {
        return (page::tables(source), Vec::new());
    }
    if tex::is_document(source.text()) {
        let (renderings, cut) = tex::tables(source);
        return (
            renderings,
            cut.map(|span| cut_off(source, span)).into_iter().collect(),
        );
    }
    if grid::is_drawn(source.text()) {
        return (grid::tables(source), Vec::new());
    }
    let (document, mut remarks) = if octave::is_saved(source.text()) {
        octave::parse(source)
    } else if console::is_printed(source.text()) {
        (console::parse(source.text()), Vec::new())
    } else {
        (syntax::parse(source.text()), Vec::new())
    };
    let found = tables::tables(source, &document);
    remarks.extend(found.remarks);
    remarks.extend(document.cut.map(|span| cut_off(source, span)));
    (found.renderings, remarks)
}

fn cut_off(source: &Source, span: Span) -> Diagnostic {
    Diagnostic::warning(
        Code::new("cut-off"),
        "the file ends inside a list, map or table: its last number may be incomplete",
    )
    .at(source.place(span), "it was opened here")
    .help("compare it with the original")
}

/// Whether an item is a record of words and numbers on a line of its own.
fn is_record(item: &SyntaxItem) -> bool {
    matches!(item, SyntaxItem::Node(syntax::DataNode::Map(members))
        if members.len() >= 2 && members.iter().any(|(_, node)| is_number_node(node)))
}

/// Whether an item is a list of rows, as long as a table: `data = [400 0.314; 410 0.532; …]`, `array([[400., 0.314], …])`.
fn is_matrix(item: &SyntaxItem) -> bool {
    matches!(item, SyntaxItem::Entry(_, syntax::DataNode::List(rows)) | SyntaxItem::Node(syntax::DataNode::List(rows))
        if rows.len() >= SHORTEST && rows.iter().all(|row| matches!(row, syntax::DataNode::List(cells) if cells.len() >= 2)))
}

fn is_number_node(node: &syntax::DataNode) -> bool {
    matches!(node, syntax::DataNode::Scalar(scalar) if scalar.text.parse::<f64>().is_ok())
}

/// How many lists of numbers an item has.
fn lists_of(item: &SyntaxItem) -> usize {
    fn of(node: &syntax::DataNode, named: bool) -> usize {
        match node {
            syntax::DataNode::Scalar(_) => 0,
            syntax::DataNode::List(all) => {
                let numbers = all.iter().filter(|node| is_number_node(node)).count();
                usize::from(named && numbers >= SHORTEST)
                    + all.iter().map(|node| of(node, false)).sum::<usize>()
            }
            syntax::DataNode::Map(all) => all.iter().map(|(_, node)| of(node, true)).sum(),
        }
    }
    match item {
        SyntaxItem::Line(_) => 0,
        SyntaxItem::Entry(_, node) => of(node, true),
        SyntaxItem::Node(node) => of(node, false),
    }
}
