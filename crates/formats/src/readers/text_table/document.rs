//! A text parted into its tables and the words around them, and what these words say of each table.

use std::collections::BTreeSet;

use curvary_record::{Claim, Code, Diagnostic, Origin, Place};

use super::context::Context;
use super::explain::ReadTrace;
use super::grid::{MAX_COLUMNS, Noted};
use super::join::{Section, sections};
use super::marks::{self, BlockMark};
use super::preamble_fields::{OF_ONE_TABLE, Preamble};
use super::scan::{TextLine, TextPiece, scan_within, strip_remark};
use super::titles::{
    is_row_of_conditions, keys_behind, keys_behind_table, own_title, take_summaries, titles, without_checks,
};
use super::wells::{self, WellNames};
use super::{axis_lines, damaged, legend};
use crate::explanation::TakenFor;
use crate::{Source, preamble};

/// The pieces of a text, its tables among them, and remarks on lines in which no table was sought. For those who ask, each page of
/// a report is told for itself, `by_page`.
pub(super) fn pieces(source: &Source, by_page: bool) -> (Vec<TextPiece>, Vec<Diagnostic>) {
    let text = source.text();
    let mut scanned = scan_within(text, source, 2, by_page);
    if !scanned
        .pieces
        .iter()
        .any(|piece| matches!(piece, TextPiece::Table(_)))
    {
        // Where no table stands, a single column whose axis is only told may.
        scanned = scan_within(text, source, 1, by_page);
    }
    let unsought = scanned.unsought.map(|line| {
        Diagnostic::warning(
            Code::new("tables-not-sought"),
            "too many lines with figures are rows of no table: from here on no more were looked for one",
        )
        .at(Place::line(line as usize), "from this line on")
        .help("cut the file before its tables, or let a layout say where they begin (`after`)")
    });
    let too_wide = scanned.too_wide.map(|(line, columns)| {
        Diagnostic::warning(
            Code::new("table-too-wide"),
            format!("a line has {columns} cells, and no table of more than {MAX_COLUMNS} columns is read: it was left out"),
        )
        .at(Place::line(line as usize), "this line")
    });
    (scanned.pieces, unsought.into_iter().chain(too_wide).collect())
}

/// The tables of a text, and every line of words with the table to which it belongs.
pub(super) struct TextDocument {
    /// The tables, each with the words above it.
    pub(super) sections: Vec<Section>,
    /// For each table, what stands in the wells of a plate.
    wells: Vec<WellNames>,
    /// The words behind the last table.
    pub(super) behind: Vec<TextLine>,
    /// Rows of conditions under their names, which are no tables, each with the table below it.
    pub(super) conditions: Vec<ConditionRow>,
    /// The lines in front of blocks that say what is held along each.
    pub(super) marks: Vec<BlockMark>,
    /// The title of each table, where all have one of the same kind.
    titles: Vec<TextLine>,
    /// The lines that sum up the tables above them.
    pub(super) summaries: Vec<u32>,
}

/// Fills cells of the first column that were merged with the one above them, and tells it.
fn fill_merged(text: &str, section: &mut Section) {
    let filled = section.table.grid.fill_merged(text);
    if filled > 0 {
        let message = format!(
            "{filled} empty cells of the first column hold the number above them: each group of rows is numbered in the same way"
        );
        let place = Place::line(section.table.grid.line(0));
        section
            .remarks
            .push(Diagnostic::note(Code::new("merged-cells"), message).at(place, "the table begins here"));
    }
}

/// A row of conditions under their names.
pub(super) struct ConditionRow {
    pub(super) section: Section,
    /// The table below it, counted from 0; what stands above the first one speaks of all.
    of: usize,
}

impl TextDocument {
    /// Parts a text; `None` where no table stands in it.
    pub(super) fn of(source: &Source, pieces: Vec<TextPiece>, told: Option<&mut ReadTrace>) -> Option<Self> {
        let text = source.text();
        let (mut sections, mut behind) = sections(text, pieces);
        if sections.is_empty() {
            return None;
        }
        let summaries = take_all_summaries(text, &mut sections, &mut behind);
        damaged::take_beside_tables(source, &mut sections, &mut behind);
        let mut legends = legend::take(text, &mut sections, &mut behind);
        legends.extend(axis_lines::take(text, &mut sections, &mut behind));
        for section in &mut sections {
            fill_merged(text, section);
        }
        let added = damaged::add_rows(text, &mut sections);
        let (wells, of_wells) = wells::take(text, &mut sections, &mut behind);
        if let Some(told) = told {
            told.take(&legends, TakenFor::Heads, "says what a column holds");
            told.take(
                &added,
                TakenFor::Rows,
                "1 row that was said to belong to the table",
            );
            told.take(&of_wells, TakenFor::Key, "says what stands in the wells");
        }
        let (mut sections, behind) = keys_behind(text, sections, behind);
        let marks = marks::marks(text, &mut sections, source.assume());
        let titles = if marks.is_empty() {
            titles(text, &mut sections)
        } else {
            marks.iter().map(|mark| mark.line).collect()
        };
        Some(Self {
            sections,
            wells,
            behind,
            conditions: Vec::new(),
            marks,
            titles,
            summaries,
        })
    }

    /// Takes the lines on checks of the instrument away from behind the tables.
    fn take_checks(&mut self, text: &str) -> Vec<TextLine> {
        let (behind, checks) = without_checks(text, std::mem::take(&mut self.behind));
        self.behind = behind;
        checks
    }

    /// Sets rows of conditions apart from the tables. The words above them are words of the table below.
    fn set_conditions_apart(&mut self, text: &str) {
        let wells = std::mem::take(&mut self.wells);
        let sections = std::mem::take(&mut self.sections);
        let mut waiting: Vec<Section> = Vec::new();
        for (mut section, wells) in sections.into_iter().zip(wells) {
            if is_row_of_conditions(text, &section) {
                waiting.push(section);
                continue;
            }
            let above = waiting.iter_mut().flat_map(|row| std::mem::take(&mut row.words));
            section.words = above.chain(section.words).collect();
            let of = self.sections.len();
            let rows = waiting.drain(..).map(|section| ConditionRow { section, of });
            self.conditions.extend(rows);
            self.sections.push(section);
            self.wells.push(wells);
        }
        // Behind the last table they speak of all, as other lines there do.
        let above = waiting.iter_mut().flat_map(|row| std::mem::take(&mut row.words));
        self.behind = above.chain(std::mem::take(&mut self.behind)).collect();
        let rows = waiting.into_iter().map(|section| ConditionRow { section, of: 0 });
        self.conditions.extend(rows);
        self.conditions.sort_by_key(|row| row.of);
    }

    /// What is known of a table before it is shaped, where `said` is what the words say of it.
    pub(super) fn context_of(&self, source: &Source, index: usize, said: &TableStatements) -> Context {
        let (words, title) = (&self.sections[index].words, self.titles.get(index));
        let mut lines = words.clone();
        if index > 0 {
            lines.extend(&self.sections[0].words);
        }
        lines.extend(&self.behind);
        lines.extend(title);
        // What the lines of a later table say of the wavelength outweighs what the first lines say.
        let own_lines: Vec<TextLine> = words.iter().chain(title).copied().collect();
        let own_lines = if index > 0 { own_lines.as_slice() } else { &[] };
        let mut context = Context::gather(source.text(), &lines, own_lines, &said.all.fields);
        if said.set_aside.contains(&"wavelength") {
            context.wavelength = None;
            context.disputed = None;
        }
        context.sentinels.extend(&source.hints().missing);
        context.beside.clone_from(&said.all.beside);
        context.wells.clone_from(&self.wells[index]);
        context
    }

    /// Takes the rows of conditions of a table as claims.
    fn hear_conditions(&self, source: &Source, index: usize, said: &mut Preamble) {
        let from = self.conditions.partition_point(|row| row.of < index);
        for row in self.conditions[from..].iter().take_while(|row| row.of == index) {
            said.hear_row(source, &row.section);
        }
    }

    /// The keys between a table and the one before it that are said of the latter.
    pub(super) fn keys_before(&self, text: &str, index: usize) -> &[TextLine] {
        if index > 0 {
            keys_behind_table(text, &self.sections[index].words)
        } else {
            &[]
        }
    }
}

/// Takes the lines that sum up a table away from behind it.
fn take_all_summaries(text: &str, sections: &mut [Section], behind: &mut Vec<TextLine>) -> Vec<u32> {
    let sums = |section: &Section| {
        let mut notes = section.table.grid.notes.iter();
        notes.any(|note| matches!(note.what, Noted::Summary))
    };
    let summed: Vec<bool> = sections.iter().map(sums).collect();
    let mut summaries = take_summaries(text, behind, summed.last() == Some(&true));
    for (section, before) in sections.iter_mut().skip(1).zip(&summed) {
        summaries.extend(take_summaries(text, &mut section.words, *before));
    }
    summaries
}

/// What the words of a document say: what stands in front of the first table and behind the last speaks of all; what stands above a
/// later one, of that one.
pub(super) struct Statements {
    /// What the lines in front of the first table say.
    pub(super) first: Preamble,
    /// What the lines behind the last table say.
    pub(super) trailer: Preamble,
    /// What later tables say otherwise than the first lines holds for these tables, and nothing is known of the others.
    changed: BTreeSet<&'static str>,
}

/// What is said of one table.
pub(super) struct TableStatements {
    /// What its own lines say, where it is not the first.
    pub(super) own: Option<Preamble>,
    /// The same with what is said of all tables.
    pub(super) all: Preamble,
    /// Fields of which it is open whether what the first lines say holds for it.
    set_aside: Vec<&'static str>,
}

impl Statements {
    /// Hears the words around all tables of a document, and sets rows of conditions apart from its tables.
    pub(super) fn hear(source: &Source, document: &mut TextDocument) -> Self {
        let text = source.text();
        document.set_conditions_apart(text);
        let words = document
            .sections
            .first()
            .map_or(&[][..], |section| &section.words);
        let mut first = Preamble::hear(source, words);
        document.hear_conditions(source, 0, &mut first);
        let checks = document.take_checks(text);
        let mut trailer = Preamble::hear(source, &document.behind);
        for line in &checks {
            let said = strip_remark(&text[line.span.range()]).1.trim().to_owned();
            trailer.fields.claim(
                "comment",
                Claim::text(said, Origin::Source(source.place(line.span))),
            );
        }
        Self {
            first,
            trailer,
            changed: BTreeSet::new(),
        }
    }

    /// What is said of a table, those before it having been heard, and remarks on what later lines say otherwise.
    pub(super) fn of_table(
        &mut self,
        source: &Source,
        document: &TextDocument,
        index: usize,
    ) -> (TableStatements, Vec<Diagnostic>) {
        let words = &document.sections[index].words;
        let own = (index > 0).then(|| {
            let mut own = Preamble::hear(source, words);
            document.hear_conditions(source, index, &mut own);
            own
        });
        let mut all = own.clone().unwrap_or_else(|| self.first.clone());
        let (mut set_aside, mut remarks) = (Vec::new(), Vec::new());
        if index > 0 {
            (set_aside, remarks) = all.set_apart(source, words, &self.first);
            set_aside.extend(self.changed_by(&all));
            all.inherit_but(&self.first, &set_aside);
        }
        all.inherit(&self.trailer);
        let mut said = TableStatements { own, all, set_aside };
        said.hear_titles(source, document, index);
        (said, remarks)
    }

    /// Fields that an earlier table changed, and of which a later one says nothing. What that one changes itself is noted.
    fn changed_by(&mut self, later: &Preamble) -> Vec<&'static str> {
        let mut open = Vec::new();
        for field in OF_ONE_TABLE {
            let (own, first) = (later.fields.get(field), self.first.fields.get(field));
            match own {
                Some(own) if first.is_some_and(|first| first.value != own.value) => {
                    self.changed.insert(field);
                }
                None if self.changed.contains(field) => open.push(field),
                _ => {}
            }
        }
        open
    }

    /// What is said of all tables alike.
    pub(super) fn of_all(&self) -> Preamble {
        let mut all = self.first.clone();
        all.inherit(&self.trailer);
        all
    }
}

impl TableStatements {
    /// Takes the title of a table: keys with their values outweigh what else is said, a line of words names the run.
    fn hear_titles(&mut self, source: &Source, document: &TextDocument, index: usize) {
        let text = source.text();
        let bare = |title: &TextLine| strip_remark(&text[title.span.range()]).1;
        let title = document.titles.get(index);
        let keyed =
            title.is_some_and(|title| document.marks.is_empty() && !preamble::pairs(bare(title)).is_empty());
        let titled = title.is_some() && !keyed;
        if let Some(title) = title {
            if keyed {
                let mut own = Preamble::hear(source, std::slice::from_ref(title));
                own.inherit(&self.all);
                self.all = own;
            } else {
                self.all
                    .title(bare(title).to_owned(), Origin::Source(source.place(title.span)));
            }
        }
        let nameless = self
            .own
            .as_ref()
            .is_some_and(|own| own.fields.get("title").is_none());
        if titled || !nameless {
            return;
        }
        let (first, section) = (&document.sections[0], &document.sections[index]);
        if let Some(title) = own_title(text, first, section) {
            let place = Origin::Source(source.place(title.span));
            self.all.retitle(bare(&title).trim().to_owned(), place);
        }
    }
}
