//! NTUPLES (5.00 and later): variables described by attribute lists, and pages of data.

use crate::axis::{LabelAxis, StatedNumber, stated};
use crate::block::{Record, finished, raw_table};
use crate::form::Shape;
use crate::number::Decimal;
use crate::records::{RawRecord, RecordSource, text_value};
use crate::remark::{Code, Notes, Span, quote};
use crate::table::{self, Data, NumberReading, Table};

/// A set of pages over common variables.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ntuples {
    /// The type, as given behind `##NTUPLES=`.
    pub name: String,
    /// The variables in the order of the attribute lists.
    pub variables: Vec<NtupleVariable>,
    /// The attribute records as they stand (also those not known here).
    pub attributes: Vec<Record>,
    /// The pages in order.
    pub pages: Vec<Page>,
}

impl Ntuples {
    /// The variable with this symbol.
    #[must_use]
    pub fn variable(&self, symbol: &str) -> Option<&NtupleVariable> {
        self.variables
            .iter()
            .find(|v| v.symbol.eq_ignore_ascii_case(symbol))
    }
}

/// One variable. Texts are empty where the list has no entry.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NtupleVariable {
    /// `VAR_NAME`.
    pub name: String,
    /// `SYMBOL`.
    pub symbol: String,
    /// `VAR_TYPE`: INDEPENDENT, DEPENDENT or PAGE.
    pub kind: String,
    /// `VAR_FORM`: AFFN or ASDF.
    pub form: String,
    /// `VAR_DIM`.
    pub dimension: String,
    /// `UNITS`.
    pub units: String,
    /// `FIRST`.
    pub first: String,
    /// `LAST`.
    pub last: String,
    /// `MIN`.
    pub min: String,
    /// `MAX`.
    pub max: String,
    /// `FACTOR`.
    pub factor: String,
}

/// One page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Page {
    /// What the page holds constant: symbol and value as spelled.
    pub held: Vec<(String, String)>,
    /// The data table; nothing if it could not be read. Of thousands of pages each may be let go by itself.
    pub table: Option<Box<Table>>,
    /// Line of `##PAGE=`, or of the table where there is none.
    pub line: u32,
}

/// A list with its place.
struct AttributeList {
    entries: Vec<String>,
    line: u32,
    span: Span,
    /// There are not as many entries as variables, so nobody knows whose they are.
    uneven: bool,
}

impl AttributeList {
    /// The entry of variable `index`; nothing where it is empty or not certainly that variable's.
    fn entry(&self, index: usize) -> Option<&str> {
        let entry = self.entries.get(index).filter(|_| !self.uneven)?;
        (!entry.is_empty()).then_some(entry.as_str())
    }

    /// Compares the count of entries with that of the variables. Commas at the end add nothing.
    fn align(&mut self, count: usize) {
        while self.entries.len() > count && self.entries.last().is_some_and(String::is_empty) {
            self.entries.pop();
        }
        self.uneven = self.entries.len() != count;
    }
}

fn list(source: &RecordSource<'_>, record: &RawRecord<'_>) -> AttributeList {
    let (value, _) = text_value(source, record.value, record.end);
    let entries = value
        .replace('\n', " ")
        .split(',')
        .map(|e| e.trim().to_owned())
        .collect();
    AttributeList {
        entries,
        line: record.line,
        span: record.head(),
        uneven: false,
    }
}

const ATTRIBUTES: [&str; 11] = [
    "VARNAME", "SYMBOL", "VARTYPE", "VARFORM", "VARDIM", "UNITS", "FIRST", "LAST", "MIN", "MAX", "FACTOR",
];

/// Reads the records from NTUPLES to its end.
pub(crate) fn read(
    source: &RecordSource<'_>,
    records: &[RawRecord<'_>],
    reading: NumberReading,
    budget: &mut usize,
    notes: &mut Notes<'_>,
) -> Ntuples {
    let first_page = records
        .iter()
        .position(|r| matches!(r.label.as_str(), "PAGE" | "DATATABLE"))
        .unwrap_or(records.len());
    let (head, rest) = records.split_at(first_page);
    let name = head
        .first()
        .map(|r| text_value(source, r.value, r.end).0)
        .unwrap_or_default();
    let mut lists: Vec<(&str, AttributeList)> = ATTRIBUTES
        .iter()
        .filter_map(|label| {
            head.iter()
                .find(|r| r.label == *label)
                .map(|r| (*label, list(source, r)))
        })
        .collect();
    let filled = |list: &AttributeList| {
        let empty = list.entries.iter().rev().take_while(|entry| entry.is_empty());
        list.entries.len() - empty.count()
    };
    let count = ["SYMBOL", "VARNAME"]
        .iter()
        .find_map(|label| lists.iter().find(|(l, _)| l == label))
        .map_or(0, |(_, list)| filled(list));
    for (label, list) in &mut lists {
        list.align(count);
        if list.uneven {
            let found = format!("{} entries in {label}", list.entries.len());
            notes.add(
                Code::NtuplesEntries,
                list.line,
                list.span,
                found,
                format!("{count}"),
            );
        }
    }
    let get = |label: &str| lists.iter().find(|(l, _)| *l == label).map(|(_, list)| list);
    let entry = |label: &str, i: usize| {
        let entry = get(label).and_then(|list| list.entry(i));
        entry.unwrap_or_default().to_owned()
    };
    let variables = (0..count)
        .map(|i| NtupleVariable {
            name: entry("VARNAME", i),
            symbol: entry("SYMBOL", i),
            kind: entry("VARTYPE", i),
            form: entry("VARFORM", i),
            dimension: entry("VARDIM", i),
            units: entry("UNITS", i),
            first: entry("FIRST", i),
            last: entry("LAST", i),
            min: entry("MIN", i),
            max: entry("MAX", i),
            factor: entry("FACTOR", i),
        })
        .collect();
    let attributes = head.iter().skip(1).map(|r| finished(source, r, notes)).collect();
    let mut out = Ntuples {
        name,
        variables,
        attributes,
        pages: Vec::new(),
    };
    let symbols: Vec<String> = out.variables.iter().map(|v| v.symbol.to_uppercase()).collect();
    let mut at = 0;
    while at < rest.len() {
        let start = at;
        at += 1;
        while at < rest.len() && rest[at].label != "PAGE" {
            // A table without a page of its own opens one, if the page before has its table.
            if rest[at].label == "DATATABLE" && rest[start..at].iter().any(|r| r.label == "DATATABLE") {
                break;
            }
            at += 1;
        }
        let group = &rest[start..at];
        let page = Pages {
            source,
            lists: &lists,
            symbols: &symbols,
            reading,
        }
        .page(group, budget, notes);
        out.pages.push(page);
        if let [.., before, page] = &mut out.pages[..]
            && let Some(before) = before.table.as_ref().and_then(|table| table.data.curve())
            && let Some(Data::Xy(curve) | Data::Points(curve)) =
                page.table.as_mut().map(|table| &mut table.data)
        {
            curve.x.share_with(&before.x);
        }
    }
    out
}

struct Pages<'a> {
    source: &'a RecordSource<'a>,
    lists: &'a [(&'a str, AttributeList)],
    symbols: &'a [String],
    reading: NumberReading,
}

impl Pages<'_> {
    fn page(&self, group: &[RawRecord<'_>], budget: &mut usize, notes: &mut Notes<'_>) -> Page {
        let source = self.source;
        let mut page = Page {
            line: group[0].line,
            ..Page::default()
        };
        if group[0].label == "PAGE" {
            let (value, _) = text_value(source, group[0].value, group[0].end);
            for part in value.split([',', '\n']) {
                match part.split_once('=') {
                    Some((symbol, value)) => page
                        .held
                        .push((symbol.trim().to_owned(), value.trim().to_owned())),
                    None if part.trim().is_empty() => {}
                    None => {
                        let span = group[0].head();
                        notes.add(
                            Code::NtuplesPage,
                            group[0].line,
                            span,
                            quote(part),
                            "SYMBOL=value",
                        );
                    }
                }
            }
            // There may be thousands of pages.
            page.held.shrink_to_fit();
        }
        let Some(record) = group.iter().find(|r| crate::label::is_table(&r.label)) else {
            return page;
        };
        let raw = raw_table(record);
        let opened = table::open(source, &raw);
        let names = match &opened.shape {
            Some(Shape::Spaced { x, y }) => vec![x.clone(), y.clone()],
            Some(Shape::Groups { columns }) => self.split_columns(columns),
            _ => vec!["X".into(), "Y".into()],
        };
        let indices: Vec<Option<usize>> = names
            .iter()
            .map(|name| self.symbols.iter().position(|s| s == name))
            .collect();
        if let Some(unknown) = indices.iter().position(Option::is_none) {
            let expected = self.symbols.join(", ");
            notes.add(
                Code::NtuplesSymbol,
                record.line,
                record.head(),
                quote(&names[unknown]),
                expected,
            );
            return page;
        }
        let indices: Vec<usize> = indices.into_iter().flatten().collect();
        let spaced = matches!(opened.shape, Some(Shape::Spaced { .. }) | None);
        let axis = self.axis(group, &indices, spaced, notes);
        // Inside, columns are X, Y and W whatever their symbols.
        let shape = match opened.shape {
            Some(Shape::Groups { .. }) if (2..=3).contains(&indices.len()) => Some(Shape::Groups {
                columns: "XYW"[..indices.len()].to_owned(),
            }),
            Some(Shape::Groups { .. }) => {
                notes.add(
                    Code::FormUnknown,
                    record.line,
                    record.head(),
                    quote(opened.form),
                    "two or three columns",
                );
                return page;
            }
            other => other,
        };
        let table = table::read(source, &raw, &axis, shape, self.reading, budget, notes);
        page.table = table.map(|table| Box::new(table.fitted()));
        page
    }

    /// Splits `XI` or `F1F2Y` into the symbols listed; single letters where none fits.
    fn split_columns(&self, columns: &str) -> Vec<String> {
        let mut rest = columns;
        let mut out = Vec::new();
        while let Some(first) = rest.chars().next() {
            let longest = self
                .symbols
                .iter()
                .filter(|s| !s.is_empty() && rest.starts_with(s.as_str()));
            let symbol = longest
                .max_by_key(|s| s.len())
                .cloned()
                .unwrap_or_else(|| first.to_string());
            rest = &rest[symbol.len()..];
            out.push(symbol);
        }
        out
    }

    fn axis(
        &self,
        group: &[RawRecord<'_>],
        indices: &[usize],
        spaced: bool,
        notes: &mut Notes<'_>,
    ) -> LabelAxis {
        let source = self.source;
        let mut comma = false;
        // Lists of the page override those of all pages.
        let own: Vec<(&str, AttributeList)> = ATTRIBUTES
            .iter()
            .filter_map(|label| {
                let mut list = list(source, group.iter().find(|r| r.label == *label)?);
                list.align(self.symbols.len());
                Some((*label, list))
            })
            .collect();
        let mut get = |label: &str, index: usize, notes: &mut Notes<'_>| -> Option<StatedNumber> {
            let find = |lists: &[(&str, AttributeList)]| {
                let list = &lists.iter().find(|(l, _)| *l == label)?.1;
                Some((list.entry(index)?.to_owned(), list.line, list.span))
            };
            let (text, line, span) = find(&own).or_else(|| find(self.lists))?;
            stated(label, &text, line, span, &mut comma, notes)
        };
        let stated_factors = own.iter().chain(self.lists).any(|(label, _)| *label == "FACTOR");
        let (x, y) = (indices[0], indices.get(1).copied().unwrap_or(indices[0]));
        // A factor that is there, but not certainly this variable's or no number, leaves no value certain.
        let listed = |index: usize| {
            let lists = own.iter().chain(self.lists);
            let list = lists
                .filter(|(label, _)| *label == "FACTOR")
                .map(|(_, list)| list)
                .next();
            list.is_some_and(|list| list.uneven || list.entry(index).is_some())
        };
        let unusable = Decimal {
            mantissa: 0,
            exponent: 0,
        };
        let mut factor = |index: usize, notes: &mut Notes<'_>| match get("FACTOR", index, notes) {
            Some(stated) => stated.decimal.stripped(),
            None if listed(index) => unusable,
            None => Decimal::ONE,
        };
        let (x_factor, y_factor) = (factor(x, notes), factor(y, notes));
        let w_factor = indices.get(2).map_or(x_factor, |w| factor(*w, notes));
        // MIN, MAX and FIRST of an ordinate hold for all pages together unless the page has its own.
        let own_y = |label: &str| own.iter().any(|(l, _)| *l == label);
        let (own_first, own_min, own_max) = (own_y("FIRST"), own_y("MIN"), own_y("MAX"));
        let npoints = group.iter().find(|r| r.label == "NPOINTS").and_then(|r| {
            let (value, _) = text_value(source, r.value, r.end);
            stated("NPOINTS", &value, r.line, r.head(), &mut false, notes)
        });
        let npoints = npoints
            .or_else(|| get("VARDIM", x, notes))
            .or_else(|| get("VARDIM", y, notes));
        LabelAxis {
            first_x: if spaced || own_first {
                get("FIRST", x, notes)
            } else {
                None
            },
            last_x: if spaced || own_y("LAST") {
                get("LAST", x, notes)
            } else {
                None
            },
            delta_x: None,
            max_x: None,
            min_x: None,
            first_y: if own_first { get("FIRST", y, notes) } else { None },
            max_y: if own_max { get("MAX", y, notes) } else { None },
            min_y: if own_min { get("MIN", y, notes) } else { None },
            npoints,
            x_factor,
            y_factor,
            w_factor,
            other_y_factor: None,
            y_factor_missing: spaced && !stated_factors,
            comma,
        }
    }
}
