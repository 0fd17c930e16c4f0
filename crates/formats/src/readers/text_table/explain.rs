//! How the lines of a text were understood: told from the notes that reading took on the way.

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::{Claim, Fields, KnownQuantity, Quantity, Unit};

use super::columns::{Column, head_or_first_word};
use super::context::Context;
use super::grid::Grid;
use super::join::is_furniture;
use super::scan::{HeadRow, ScannedTable, TextLine, TextPiece, is_ruler, leading_number, strip_remark};
use super::segments::RowClass;
use super::shape::{ColumnUse, TableReading};
use crate::evidence::{Evidence, EvidenceTarget, Ledger};
use crate::explanation::{ColumnPart, ColumnRole, ExplainedLines, TakenFor, folded, folded_columns};
use crate::{Source, words};

/// What reading notes for those who ask how a source was understood.
#[derive(Default)]
pub(super) struct ReadTrace {
    /// The pieces of the text as they were scanned, before tables were joined.
    pub(super) pieces: Vec<TextPiece>,
    /// All that lines of words were taken to say.
    pub(super) fields: Vec<Fields>,
    pub(super) tables: Vec<TableTrace>,
    /// What lines were taken for that are words otherwise, by their numbers: what a column holds, what stands in a well, rows.
    pub(super) taken: BTreeMap<u32, (TakenFor, &'static str)>,
}

impl ReadTrace {
    /// Notes what lines were taken for.
    pub(super) fn take(&mut self, lines: &[u32], taken_for: TakenFor, says: &'static str) {
        self.taken
            .extend(lines.iter().map(|line| (*line, (taken_for, says))));
    }
}

/// A table, after joining, and what became of it.
pub(super) struct TableTrace {
    first_line: u32,
    last_line: u32,
    /// The lines of its heads.
    heads: BTreeSet<u32>,
    /// How its cells are separated, and its decimal sign.
    dialect: String,
    /// Whether that is open.
    open: bool,
    /// A line that names quantities and does not fit over the columns.
    unmatched: Option<u32>,
    used: Use,
    columns: Vec<ColumnPart>,
    evidence: Vec<Evidence>,
}

/// What became of a table.
pub(super) enum Use {
    /// Curves.
    Curves,
    /// A row of conditions under their names.
    Conditions,
    /// Nothing, for this reason.
    Nothing(String),
}

impl Use {
    pub(super) fn of(shaped: &TableReading) -> Self {
        match shaped {
            TableReading::Runs(_) => Self::Curves,
            TableReading::Other(reason) => Self::Nothing(reason.clone()),
        }
    }
}

impl TableTrace {
    pub(super) fn of(table: &ScannedTable, used: Use) -> Self {
        Self {
            first_line: table.first_line,
            last_line: table.last_line,
            heads: table.heads.iter().map(|head| head.line.line).collect(),
            dialect: table.grid.dialect.says(),
            open: table.open.is_some(),
            unmatched: table.unmatched_head.map(|line| line.line),
            used,
            columns: Vec::new(),
            evidence: Vec::new(),
        }
    }

    /// The same with its columns, and the evidence on the whole.
    pub(super) fn with(self, (columns, evidence): (Vec<ColumnPart>, Vec<Evidence>)) -> Self {
        Self {
            columns,
            evidence,
            ..self
        }
    }
}

/// The parts of a text, in the order of its lines.
pub(super) fn parts(source: &Source, told: ReadTrace) -> Vec<ExplainedLines> {
    if told.pieces.is_empty() {
        return Vec::new();
    }
    let text = source.text();
    let mut claims: BTreeMap<u32, Vec<(&str, &Claim)>> = BTreeMap::new();
    for (key, said) in told.fields.iter().flat_map(Fields::iter) {
        for claim in said {
            if let curvary_record::Origin::Source(place) = &claim.origin {
                claims.entry(place.line).or_default().push((key.as_str(), claim));
            }
        }
    }
    let unmatched: BTreeSet<u32> = told.tables.iter().filter_map(|table| table.unmatched).collect();
    let mut begun = vec![false; told.tables.len()];
    let mut parts = Vec::new();
    for piece in &told.pieces {
        match piece {
            TextPiece::Blank => {}
            TextPiece::Text(line) => {
                if let Some((taken_for, says)) = told.taken.get(&line.line) {
                    parts.push(ExplainedLines::new(line.line, line.line, *taken_for, *says));
                    continue;
                }
                let said = claims.get(&line.line).map_or(&[][..], Vec::as_slice);
                parts.push(words_part(text, *line, said, unmatched.contains(&line.line)));
            }
            TextPiece::Table(table) => {
                let owner = told
                    .tables
                    .iter()
                    .position(|owner| (owner.first_line..=owner.last_line).contains(&table.first_line));
                for head in &table.heads {
                    let own = owner.is_none_or(|owner| told.tables[owner].heads.contains(&head.line.line));
                    parts.push(heads_part(text, head, own));
                }
                let first = owner.is_none_or(|owner| !std::mem::replace(&mut begun[owner], true));
                let owner = owner.map(|owner| &told.tables[owner]);
                rows_parts(&table.grid, owner, first, &claims, &mut parts);
            }
        }
    }
    // Rules between heads and rows went with the heads.
    let mut known: Vec<(u32, u32)> = parts.iter().map(|part| (part.first, part.last)).collect();
    known.sort_unstable();
    let mut next = known.iter().peekable();
    let mut until = 0;
    for index in 0..source.lines().count() {
        let line = u32::try_from(index + 1).unwrap_or(u32::MAX);
        while let Some(&&(first, last)) = next.peek()
            && first <= line
        {
            until = until.max(last);
            next.next();
        }
        let raw = text[source.lines().span(index).range()].trim();
        if line > until && !raw.is_empty() {
            parts.push(if is_ruler(raw) {
                ExplainedLines::new(line, line, TakenFor::Paper, RULE)
            } else {
                ExplainedLines::new(line, line, TakenFor::LeftOut, NOTHING)
            });
        }
    }
    folded(parts)
}

const RULE: &str = "a rule";
const NOTHING: &str = "nothing was taken from it";

/// A line of words.
fn words_part(text: &str, line: TextLine, said: &[(&str, &Claim)], unmatched: bool) -> ExplainedLines {
    let part = |taken_for, says: String| ExplainedLines::new(line.line, line.line, taken_for, says);
    if unmatched {
        return part(
            TakenFor::LeftOut,
            "headers that do not fit the columns".to_owned(),
        );
    }
    let raw = &text[line.span.range()];
    let (_, kept) = strip_remark(raw);
    let named = names(text, line);
    let keys: Vec<String> = said
        .iter()
        .filter(|(key, claim)| claim.spelled.is_some() || !matches!(*key, "title" | "comment"))
        .map(|(key, claim)| key_says(key, claim))
        .collect();
    if !keys.is_empty() {
        return part(TakenFor::Key, keys.join("; "));
    }
    match said.first() {
        Some(("title", _)) => part(TakenFor::Title, format!("the title{named}")),
        Some(_) => part(TakenFor::Words, format!("kept as a comment{named}")),
        None if is_ruler(raw) => part(TakenFor::Paper, RULE.to_owned()),
        None if is_furniture(kept, &BTreeSet::new()) => part(
            TakenFor::Paper,
            "page furniture: a page number or the like".to_owned(),
        ),
        None if !named.is_empty() => part(TakenFor::Words, format!("words{named}")),
        None => part(TakenFor::LeftOut, NOTHING.to_owned()),
    }
}

/// What a line of words names that helps to understand the tables.
fn names(text: &str, line: TextLine) -> String {
    let context = Context::gather(text, &[line], &[], &Fields::default());
    let measures = |quantity: &&Quantity| !matches!(quantity.as_str(), "date" | "index" | "sample" | "flag");
    let mut named: Vec<String> = context
        .quantities
        .iter()
        .filter(measures)
        .map(Quantity::to_string)
        .collect();
    if context.spectrum {
        named.push("a spectrum".to_owned());
    }
    if context.kinetics {
        named.push("a time course".to_owned());
    }
    if context.peaks {
        named.push("peaks".to_owned());
    }
    if let Some((value, unit, _)) = &context.wavelength {
        named.push(format!("{value} {}", unit.display()));
    }
    if named.is_empty() {
        String::new()
    } else {
        format!(", naming {}", named.join(", "))
    }
}

/// `` `Temp.` is temperature: 37 Cel ``.
fn key_says(key: &str, claim: &Claim) -> String {
    let unit = claim
        .unit
        .as_ref()
        .map_or(String::new(), |unit| format!(" {unit}"));
    let value = claim.value.to_string();
    let value = match value.char_indices().nth(60) {
        Some((end, _)) => format!("{}…", &value[..end]),
        None => value,
    };
    match claim.spelled.as_deref().filter(|spelled| *spelled != key) {
        Some(spelled) => format!("`{spelled}` is {key}: {value}{unit}"),
        None if curvary_record::known_field(key).is_some() => format!("{key}: {value}{unit}"),
        None => format!("`{key}`, under its own name: {value}{unit}"),
    }
}

/// A row of heads; one that only repeats an earlier one belongs to the paper.
fn heads_part(text: &str, row: &HeadRow, own: bool) -> ExplainedLines {
    let line = row.line.line;
    if !own {
        return ExplainedLines::new(line, line, TakenFor::Paper, "the headers again");
    }
    let cells: Vec<&str> = row
        .cells
        .iter()
        .flatten()
        .map(|span| &text[span.range()])
        .collect();
    let beside = match row.class {
        RowClass::Condition => Some("a condition for each curve"),
        RowClass::Samples => Some("the samples of the curves"),
        RowClass::Names => Some("names of the curves"),
        _ => None,
    };
    if let Some(says) = beside {
        return ExplainedLines::new(line, line, TakenFor::Heads, says);
    }
    if row.class == RowClass::Summary {
        return ExplainedLines::new(line, line, TakenFor::LeftOut, "sums up the rows");
    }
    let numbers = cells.iter().filter(|cell| leading_number(cell).is_some()).count();
    let only_unit = |cell: &&&str| {
        let head = head_or_first_word(cell);
        head.unit.is_some() && head.held.is_empty() && head.label.is_none() && words::field_of(cell).is_none()
    };
    let units = cells.iter().filter(only_unit).count();
    let named = cells
        .iter()
        .filter(|cell| words::quantity_of(cell).is_some())
        .count();
    if units == cells.len() && named == 0 && cells.iter().all(|cell| !cell.contains(' ')) {
        ExplainedLines::new(line, line, TakenFor::Units, "the units of the columns")
    } else if numbers * 2 >= cells.len() && numbers > 0 {
        ExplainedLines::new(
            line,
            line,
            TakenFor::Heads,
            format!("headers of {} columns, {numbers} of them numbers", cells.len()),
        )
    } else {
        ExplainedLines::new(
            line,
            line,
            TakenFor::Heads,
            match cells.len() {
                1 => "the header of a column".to_owned(),
                n => format!("the headers of {n} columns"),
            },
        )
    }
}

/// The rows of a table as it was scanned, in stretches between rows that were left out.
fn rows_parts(
    grid: &Grid,
    owner: Option<&TableTrace>,
    first: bool,
    claims: &BTreeMap<u32, Vec<(&str, &Claim)>>,
    parts: &mut Vec<ExplainedLines>,
) {
    // First line, last line, rows.
    let mut stretches: Vec<(u32, u32, usize)> = Vec::new();
    for (_, line, rows) in grid.line_pieces().filter(|&(_, _, rows)| rows > 0) {
        let begin = u32::try_from(line).unwrap_or(u32::MAX);
        let end = u32::try_from(line + rows - 1).unwrap_or(u32::MAX);
        match stretches.last_mut() {
            Some(last) if !grid.odd.iter().any(|odd| (last.1..begin).contains(&odd.line)) => {
                last.1 = end;
                last.2 += rows;
            }
            _ => stretches.push((begin, end, rows)),
        }
    }
    for odd in &grid.odd {
        parts.push(ExplainedLines::new(
            odd.line,
            odd.line,
            TakenFor::LeftOut,
            match odd.cells {
                Some(cells) => format!("a row of {cells} cells, which does not fit the table"),
                None => "a damaged row".to_owned(),
            },
        ));
    }
    for (index, (begin, end, rows)) in stretches.into_iter().enumerate() {
        let rows = if rows == 1 {
            "1 row".to_owned()
        } else {
            format!("{rows} rows")
        };
        let Some(owner) = owner else {
            parts.push(ExplainedLines::new(begin, end, TakenFor::Rows, rows));
            continue;
        };
        let part = match &owner.used {
            Use::Conditions => {
                let keys = claims.get(&begin).into_iter().flatten();
                let keys: Vec<String> = keys.map(|(key, claim)| key_says(key, claim)).collect();
                ExplainedLines::new(begin, end, TakenFor::Key, keys.join("; "))
            }
            Use::Nothing(reason) => ExplainedLines {
                columns: owner.columns.clone(),
                evidence: owner.evidence.clone(),
                ..ExplainedLines::new(
                    begin,
                    end,
                    TakenFor::LeftOut,
                    format!("{rows} of a table that is no measurement of absorbance: {reason}"),
                )
            },
            Use::Curves if !first || index > 0 => ExplainedLines::new(
                begin,
                end,
                TakenFor::Rows,
                format!("{rows} more of the table above"),
            ),
            Use::Curves => {
                let open = if owner.open {
                    "; other readings are open"
                } else {
                    ""
                };
                let lacking = match grid.gaps.len() {
                    0 => String::new(),
                    1 => "; 1 cell has no number".to_owned(),
                    n => format!("; {n} cells have no number"),
                };
                ExplainedLines {
                    columns: owner.columns.clone(),
                    evidence: owner.evidence.clone(),
                    ..ExplainedLines::new(
                        begin,
                        end,
                        TakenFor::Rows,
                        format!(
                            "{rows} of {} columns, {}{open}{lacking}",
                            grid.columns(),
                            owner.dialect
                        ),
                    )
                }
            }
        };
        parts.push(part);
    }
}

/// What the columns of a table were taken for, and why. `uses` is what shaping noted, `otherwise` the role of a column
/// that it did not use, `because` its reasons.
pub(super) fn columns_told(
    source: &Source,
    table: &ScannedTable,
    columns: &[Column],
    uses: &[Option<ColumnUse>],
    otherwise: impl Fn(usize) -> ColumnRole,
    because: &[String],
    ledger: &Ledger,
) -> Vec<ColumnPart> {
    let mut told: Vec<ColumnPart> = Vec::with_capacity(table.grid.columns());
    let empty = |index: usize| ColumnPart {
        first: index + 1,
        last: index + 1,
        head: String::new(),
        last_head: String::new(),
        role: ColumnRole::LeftOut,
        quantity: None,
        unit: None,
        quantity_because: "nothing stands in it".to_owned(),
        unit_because: String::new(),
        evidence: Vec::new(),
    };
    for (place, column) in columns.iter().enumerate() {
        told.extend((told.len()..column.index).map(empty));
        let head = column.heads.iter().map(|(text, _)| text.trim());
        let head = head
            .filter(|text| !text.is_empty())
            .collect::<Vec<_>>()
            .join(" | ");
        let mut part = ColumnPart {
            role: otherwise(place),
            last_head: head.clone(),
            head,
            quantity_because: String::new(),
            evidence: ledger.on(EvidenceTarget::Column(column.index + 1)),
            ..empty(column.index)
        };
        if let Some((role, quantity, unit)) = uses.get(place).and_then(Option::as_ref) {
            part.role = *role;
            let known = *quantity != Quantity::UNKNOWN;
            let measures = matches!(role, ColumnRole::Axis | ColumnRole::Measured | ColumnRole::Held);
            if measures {
                (part.quantity_because, part.unit_because) =
                    reasons(source, table, column, *role, quantity, unit, because);
            }
            part.unit = Some(unit.clone()).filter(|_| known && measures);
            part.quantity = Some(quantity.clone()).filter(|_| known);
        }
        told.push(part);
    }
    told.extend((told.len()..table.grid.columns()).map(empty));
    folded_columns(told)
}

/// Why a column is of a quantity, and why in a unit.
fn reasons(
    source: &Source,
    table: &ScannedTable,
    column: &Column,
    role: ColumnRole,
    quantity: &Quantity,
    unit: &Unit,
    because: &[String],
) -> (String, String) {
    let about = match role {
        ColumnRole::Measured => "y",
        _ => "x",
    };
    if *quantity == Quantity::UNKNOWN {
        return ("open: a question asks for it".to_owned(), String::new());
    }
    let by_layout = source.told().columns.iter().any(|one| {
        one.which
            .is(column.index, column.heads.iter().map(|(text, _)| text.as_str()))
            && one
                .meaning
                .as_ref()
                .is_some_and(|told| told.quantity == *quantity)
    });
    if by_layout {
        return ("the layout says so".to_owned(), "the layout says so".to_owned());
    }
    let settled = source.assume().axis(about).filter(|(q, _)| q == quantity);
    let in_cells = table.grid.units[column.index].is_some();
    let own_name = |text: &str| text.trim().to_lowercase() == quantity.as_str();
    // `x from 300 to 700 is wavelength in nm: the words around speak of a spectrum`.
    let sentence = because
        .iter()
        .find(|reason| {
            reason
                .strip_prefix(about)
                .is_some_and(|rest| rest.starts_with(' '))
        })
        .filter(|_| column.quantity.as_ref() != Some(quantity));
    let behind = |sentence: &str| {
        sentence
            .split_once(": ")
            .map_or(sentence, |(_, reason)| reason)
            .to_owned()
    };
    let why = if settled.is_some() {
        "it was settled".to_owned()
    } else if column.clock.is_some() {
        "clock times stand in its cells".to_owned()
    } else if column.quantity.as_ref() == Some(quantity) {
        let said = column
            .heads
            .iter()
            .any(|(text, _)| head_or_first_word(text).quantity.as_ref() == Some(quantity));
        if in_cells && !said {
            "the unit in its cells says so"
        } else {
            "its header says so"
        }
        .to_owned()
    } else if column.heads.iter().any(|(text, _)| own_name(text)) {
        "kept under its own name".to_owned()
    } else if let Some(sentence) = sentence {
        behind(sentence)
    } else {
        "what stands around the table says so".to_owned()
    };
    let usual = because.iter().find(|reason| match quantity.known() {
        Some(KnownQuantity::Wavelength) => {
            reason.starts_with("wavelengths from") && reason.contains("without a unit")
        }
        Some(KnownQuantity::Time) => reason.starts_with("time is in") || reason.starts_with("the times are"),
        _ => false,
    });
    let why_unit = if settled.is_some_and(|(_, unit)| unit.is_some()) {
        "it was settled".to_owned()
    } else if column.unit.as_ref() == Some(unit) {
        if in_cells {
            "it stands in the cells"
        } else {
            "its header says so"
        }
        .to_owned()
    } else if let Some(reason) = usual {
        behind(reason)
    } else if sentence.is_some_and(|sentence| sentence.contains(&format!(" in {}", unit.display()))) {
        why.clone()
    } else if *unit == Unit::ONE {
        String::new()
    } else if column.clock.is_some() {
        "their parts add up to it".to_owned()
    } else {
        "the customary one".to_owned()
    };
    (why, why_unit)
}

#[cfg(test)]
mod tests {
    use crate::explanation::{ColumnRole, TakenFor};
    use crate::readers::TextTable;
    use crate::{ExplainedLines, Reader, Source};

    fn explained(text: &str) -> Vec<ExplainedLines> {
        TextTable::default().explain(&Source::new("a.txt", text.as_bytes().to_vec()))
    }

    fn outline(parts: &[ExplainedLines]) -> Vec<(u32, u32, TakenFor)> {
        parts
            .iter()
            .map(|part| (part.first, part.last, part.taken_for))
            .collect()
    }

    #[test]
    fn every_line_has_its_part() {
        let text = "Betanin, second batch\nTemp.: 37 °C\nmeasured after lunch\n\nWavelength (nm)\tAbsorbance\n\
                    ---------\t---------\n400\t0.1\n401\t0.2\n\n402\t0.3\nPage 1 of 2\nWavelength (nm)\tAbsorbance\n403\t0.4\n404\t0.5\nend of report\n";
        let parts = explained(text);
        assert_eq!(
            outline(&parts),
            [
                (1, 1, TakenFor::Title),
                (2, 2, TakenFor::Key),
                (3, 3, TakenFor::Words),
                (5, 5, TakenFor::Heads),
                (6, 6, TakenFor::Paper),
                (7, 10, TakenFor::Rows),
                (11, 11, TakenFor::Paper),
                (12, 12, TakenFor::Paper),
                (13, 14, TakenFor::Rows),
                (15, 15, TakenFor::Paper),
            ],
            "{parts:#?}"
        );
        assert_eq!(parts[1].says, "`Temp.` is temperature: 37 Cel");
        assert_eq!(
            parts[5].says,
            "3 rows of 2 columns, cells separated by tabs, decimal point"
        );
        let columns = &parts[5].columns;
        assert_eq!(
            [columns[0].role, columns[1].role],
            [ColumnRole::Axis, ColumnRole::Measured]
        );
        assert_eq!(columns[0].quantity_because, "its header says so");
        assert_eq!(columns[0].unit_because, "its header says so");
        assert_eq!(columns[1].unit_because, "the customary one");
        assert_eq!(parts[8].says, "2 rows more of the table above");
    }

    #[test]
    fn like_columns_are_told_once_and_odd_rows_each() {
        let mut text = "Absorbance\nWavelength (nm);0 s;10 s;20 s\n".to_owned();
        for row in 0..12 {
            text.push_str(&format!("{};0.{row};0.{row};0.{row}\n", 400 + row));
        }
        text.push_str("412;0.1;0.2;0.3;0.4\n413;0.1;0.2;0.3\n");
        let parts = explained(&text);
        let rows: Vec<&ExplainedLines> = parts
            .iter()
            .filter(|part| part.taken_for == TakenFor::Rows)
            .collect();
        assert_eq!(rows.len(), 2, "{parts:#?}");
        assert_eq!((rows[0].columns.len(), rows[0].columns[1].last), (2, 4));
        assert_eq!(rows[0].columns[1].last_head, "20 s");
        assert!(
            outline(&parts).contains(&(15, 15, TakenFor::LeftOut)),
            "{parts:#?}"
        );
    }

    #[test]
    fn what_is_no_measurement_is_left_out() {
        let parts = explained("month,rain\n1,55\n2,48\n3,60\n");
        assert_eq!(parts[1].taken_for, TakenFor::LeftOut, "{parts:#?}");
        assert!(parts[1].says.contains("columns are of other things"));
        assert!(explained("<html>405 0.1</html>").is_empty());
    }
}
