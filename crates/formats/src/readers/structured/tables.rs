//! Which lists go together as the columns of a table, and what is said around them.

use curvary_record::{Code, Diagnostic, Place, Span};

use super::syntax::{Document, Item, Node, Scalar};
use crate::Source;
use crate::rendering::Rendering;

/// The tables of a text, each with all that is said of it, and what could not be put together.
#[derive(Default)]
pub(super) struct Tables {
    pub(super) renderings: Vec<Rendering>,
    pub(super) remarks: Vec<Diagnostic>,
}

/// What is said above a table: lines of words, and keys with their values.
#[derive(Clone)]
enum Said {
    Line(Span),
    Pair(Scalar, Vec<Scalar>),
}

/// The members of a map.
type Pairs<'n> = &'n [(Scalar, Node)];
/// A list of words or numbers under its name.
type NamedList<'n> = (&'n Scalar, Vec<&'n Scalar>);

/// A map with its members by what they are.
#[derive(Default)]
struct Members<'n> {
    said: Vec<Said>,
    /// Lists of words or numbers: columns, perhaps.
    columns: Vec<NamedList<'n>>,
    /// Lists of lists: rows of cells.
    matrices: Vec<(Option<&'n Scalar>, Vec<Vec<&'n Scalar>>)>,
    /// Lists of maps: a record a row.
    records: Vec<(Option<&'n Scalar>, Vec<Pairs<'n>>)>,
    /// Maps inside.
    inner: Vec<(Option<&'n Scalar>, Pairs<'n>)>,
}

/// Names that say that the scalar beside them is the unit of the values.
const UNIT_KEYS: [&str; 3] = ["unit", "units", "einheit"];
/// Names of the values beside a unit.
const VALUE_KEYS: [&str; 4] = ["value", "values", "data", "wert"];

/// Finds the tables of a document.
pub(super) fn tables(source: &Source, document: &Document) -> Tables {
    let mut found = Tables::default();
    let mut whole = Members::default();
    // Records a line each belong together while their keys are the same.
    let mut lines: Vec<&[(Scalar, Node)]> = Vec::new();
    for item in &document.items {
        match item {
            Item::Line(span) => whole.said.push(Said::Line(*span)),
            Item::Entry(key, node) => whole.add(Some(key), node),
            Item::Node(Node::Map(members)) if members.iter().all(|(_, node)| is_flat(node)) => {
                lines.push(members);
            }
            Item::Node(node) => whole.add(None, node),
        }
    }
    match lines.as_slice() {
        [] => {}
        [one] => {
            for (key, node) in *one {
                whole.add(Some(key), node);
            }
        }
        _ => whole.records.insert(0, (None, lines)),
    }
    let text = source.text();
    let mut writer = Writer {
        source,
        text,
        found: &mut found,
    };
    writer.members(&whole, &[], 0);
    found
}

/// Whether a value is a scalar, or a scalar with its unit.
fn is_flat(node: &Node) -> bool {
    match node {
        Node::Scalar(_) => true,
        Node::Map(_) => united(node).is_some(),
        Node::List(_) => false,
    }
}

/// The scalars of a list of nothing else.
fn scalars(node: &Node) -> Option<Vec<&Scalar>> {
    let Node::List(all) = node else { return None };
    all.iter()
        .map(|node| match node {
            Node::Scalar(scalar) => Some(scalar),
            _ => None,
        })
        .collect()
}

/// `{value: 37, unit: °C}`: the values and the unit.
fn united(node: &Node) -> Option<(&Node, &Scalar)> {
    let Node::Map(members) = node else { return None };
    let of = |keys: &[&str]| {
        members
            .iter()
            .find(|(key, _)| keys.contains(&key.text.to_lowercase().as_str()))
            .map(|(_, node)| node)
    };
    match (of(&VALUE_KEYS)?, of(&UNIT_KEYS)?) {
        (values, Node::Scalar(unit)) => Some((values, unit)),
        _ => None,
    }
}

impl<'n> Members<'n> {
    fn of(members: &'n [(Scalar, Node)]) -> Self {
        let mut all = Self::default();
        for (key, node) in members {
            all.add(Some(key), node);
        }
        all
    }

    fn add(&mut self, key: Option<&'n Scalar>, node: &'n Node) {
        match node {
            Node::Scalar(value) => {
                if let Some(key) = key {
                    self.said.push(Said::Pair(key.clone(), vec![value.clone()]));
                }
            }
            Node::Map(members) => match (key, united(node)) {
                (Some(key), Some((Node::Scalar(value), unit))) => {
                    self.said
                        .push(Said::Pair(key.clone(), vec![value.clone(), unit.clone()]));
                }
                _ => self.inner.push((key, members)),
            },
            Node::List(all) => {
                let records: Option<Vec<&[(Scalar, Node)]>> = all
                    .iter()
                    .map(|node| match node {
                        Node::Map(members) => Some(members.as_slice()),
                        _ => None,
                    })
                    .collect();
                let rows: Option<Vec<Vec<&Scalar>>> = all.iter().map(scalars).collect();
                match (key, scalars(node)) {
                    (_, Some(list)) if list.is_empty() => {}
                    (Some(key), Some(list)) => self.columns.push((key, list)),
                    (None, Some(_)) => {}
                    _ => {
                        if let Some(records) = records {
                            self.records.push((key, records));
                        } else if let Some(rows) = rows {
                            self.matrices.push((key, rows));
                        }
                    }
                }
            }
        }
    }
}

struct Writer<'a> {
    source: &'a Source,
    text: &'a str,
    found: &'a mut Tables,
}

impl<'a> Writer<'a> {
    fn place(&self, scalar: &Scalar) -> Place {
        self.source.place(scalar.span)
    }

    /// Writes out the tables of a map and of those inside. `above` is what the maps around it say.
    fn members(&mut self, members: &Members<'_>, above: &[Said], depth: usize) {
        let mut said = above.to_vec();
        said.extend(members.said.iter().cloned());
        let mut headers: Vec<&NamedList<'_>> = members.columns.iter().collect();
        for (key, rows) in &members.matrices {
            self.matrix(&said, *key, rows, &mut headers);
        }
        self.columns(&said, &headers);
        for (key, records) in &members.records {
            if records
                .iter()
                .all(|record| record.iter().all(|(_, node)| is_flat(node)))
            {
                self.records(&said, *key, records);
            } else if depth < 8 {
                for record in records {
                    self.members(&Members::of(record), &said, depth + 1);
                }
            }
        }
        for (key, inner) in &members.inner {
            if depth >= 8 {
                return;
            }
            // `{"unit": "nm", "values": […]}` is a column with its unit in the header.
            let mut inside = said.clone();
            if let Some(key) = key
                && Members::of(inner).columns.len() + Members::of(inner).records.len() > 0
            {
                inside.push(Said::Line(key.span));
            }
            self.members(&Members::of(inner), &inside, depth + 1);
        }
        self.united_columns(&said, members);
    }

    /// Columns that are maps of values and a unit each.
    fn united_columns(&mut self, said: &[Said], members: &Members<'_>) {
        let columns: Vec<(&Scalar, Vec<&Scalar>, &Scalar)> = members
            .inner
            .iter()
            .filter_map(|(key, inner)| {
                let of = |keys: &[&str]| {
                    inner
                        .iter()
                        .find(|(key, _)| keys.contains(&key.text.to_lowercase().as_str()))
                };
                let values = scalars(&of(&VALUE_KEYS)?.1)?;
                match &of(&UNIT_KEYS)?.1 {
                    Node::Scalar(unit) => Some(((*key)?, values, unit)),
                    _ => None,
                }
            })
            .collect();
        let Some(length) = columns.first().map(|column| column.1.len()) else {
            return;
        };
        if columns.len() < 2 || columns.iter().any(|column| column.1.len() != length) {
            return;
        }
        let mut rendering = self.begun(said);
        let headers: Vec<(String, Place)> = columns
            .iter()
            .map(|(key, _, unit)| (format!("{} ({})", key.text, unit.text), self.place(key)))
            .collect();
        rendering.line(headers.iter().map(|(text, place)| (text.as_str(), place.clone())));
        for row in 0..length {
            rendering.line(columns.iter().map(|column| self.cell(column.1[row])));
        }
        self.found.renderings.push(rendering);
    }

    /// A scalar as a cell; what says that there is no value is an empty one.
    fn cell<'s>(&self, scalar: &'s Scalar) -> (&'s str, Place) {
        let none = matches!(
            scalar.text.to_ascii_lowercase().as_str(),
            "null" | "none" | "nan" | "na" | "~"
        );
        (if none { "" } else { &scalar.text }, self.place(scalar))
    }

    fn begun(&self, said: &[Said]) -> Rendering {
        let mut rendering = Rendering::default();
        for said in said {
            match said {
                Said::Line(span) => {
                    let line = self.text.get(span.range()).unwrap_or("").trim();
                    let bare = line.trim_start_matches(['#', '%', '/', '!', ';']).trim();
                    if !bare.is_empty() {
                        rendering.line([(bare, self.source.place(*span))]);
                    }
                }
                Said::Pair(key, values) => {
                    let value: Vec<&str> = values.iter().map(|value| value.text.as_str()).collect();
                    let place = values
                        .first()
                        .map_or_else(Place::default, |value| self.place(value));
                    rendering.pair((&key.text, self.place(key)), (&value.join(" "), place));
                }
            }
        }
        if !rendering.is_empty() {
            rendering.blank();
        }
        rendering
    }

    /// Lists of one length are the columns of a table.
    fn columns(&mut self, said: &[Said], columns: &[&NamedList<'_>]) {
        let mut lengths: Vec<usize> = Vec::new();
        for (_, column) in columns {
            if !lengths.contains(&column.len()) {
                lengths.push(column.len());
            }
        }
        let mut said = said.to_vec();
        let mut tables = Vec::new();
        for length in lengths {
            let alike: Vec<_> = columns.iter().filter(|column| column.1.len() == length).collect();
            if alike.len() >= 2 && length >= 2 {
                tables.push(alike);
            } else if length <= 3 {
                // A few words or numbers are a value and no curve.
                for (key, list) in alike {
                    let values = list.iter().map(|scalar| (*scalar).clone()).collect();
                    said.push(Said::Pair((*key).clone(), values));
                }
            } else {
                for (key, list) in alike {
                    let others: Vec<String> = columns
                        .iter()
                        .filter(|other| other.0 != *key)
                        .map(|other| format!("`{}` {}", other.0.text, other.1.len()))
                        .collect();
                    let beside = if others.is_empty() {
                        "and there is no other list".to_owned()
                    } else {
                        format!("and no other list has as many: {}", others.join(", "))
                    };
                    self.found.remarks.push(
                        Diagnostic::warning(
                            Code::new("list-alone"),
                            format!("the list `{}` has {} values, {beside}", key.text, list.len()),
                        )
                        .at(self.place(key), "it was left out")
                        .help("a curve needs as many x as y; compare the lists with the original"),
                    );
                }
            }
        }
        for alike in tables {
            let mut rendering = self.begun(&said);
            rendering.line(alike.iter().map(|(key, _)| (key.text.as_str(), self.place(key))));
            for row in 0..alike[0].1.len() {
                rendering.line(alike.iter().map(|column| self.cell(column.1[row])));
            }
            self.found.renderings.push(rendering);
        }
    }

    /// Rows of cells. Lists beside them that have as many words or numbers as the rows have cells are their headers, one that
    /// has as many as there are rows is their first column.
    fn matrix<'n>(
        &mut self,
        said: &[Said],
        key: Option<&Scalar>,
        rows: &[Vec<&Scalar>],
        headers: &mut Vec<&'n NamedList<'n>>,
    ) {
        let Some(width) = rows.first().map(Vec::len).filter(|&width| width > 0) else {
            return;
        };
        if rows.iter().any(|row| row.len() != width) {
            let place = key.map_or_else(Place::default, |key| self.place(key));
            self.found.remarks.push(
                Diagnostic::warning(
                    Code::new("list-alone"),
                    "the rows of a list of lists have different lengths",
                )
                .at(place, "it was left out"),
            );
            return;
        }
        let mut take = |length: usize| {
            let at = headers.iter().position(|header| header.1.len() == length)?;
            Some(headers.remove(at))
        };
        let across = take(width);
        let down = (rows.len() != width).then(|| take(rows.len())).flatten();
        let mut rendering = self.begun(said);
        if let Some(key) = key {
            rendering.line([(key.text.as_str(), self.place(key))]);
        }
        if let Some((across_key, across)) = across {
            let corner = down.map(|(down_key, _)| format!("{}\\{}", down_key.text, across_key.text));
            let corner = corner
                .as_ref()
                .map(|corner| (corner.as_str(), self.place(across_key)));
            rendering.line(
                corner
                    .into_iter()
                    .chain(across.iter().map(|cell| self.cell(cell))),
            );
        }
        for (number, row) in rows.iter().enumerate() {
            let first = down.map(|(_, down)| self.cell(down[number]));
            rendering.line(first.into_iter().chain(row.iter().map(|cell| self.cell(cell))));
        }
        self.found.renderings.push(rendering);
    }

    /// A record a row, under all keys that occur.
    fn records(&mut self, said: &[Said], key: Option<&Scalar>, records: &[&[(Scalar, Node)]]) {
        let mut keys: Vec<(&str, Place, Option<&str>)> = Vec::new();
        for (name, node) in records.iter().flat_map(|record| record.iter()) {
            if !keys.iter().any(|known| known.0 == name.text) {
                let unit = united(node).map(|(_, unit)| unit.text.as_str());
                keys.push((&name.text, self.place(name), unit));
            }
        }
        if keys.len() < 2 || records.len() < 2 {
            return;
        }
        let mut rendering = self.begun(said);
        if let Some(key) = key {
            rendering.line([(key.text.as_str(), self.place(key))]);
        }
        let headers: Vec<String> = keys
            .iter()
            .map(|(key, _, unit)| unit.map_or_else(|| (*key).to_owned(), |unit| format!("{key} ({unit})")))
            .collect();
        rendering.line(
            headers
                .iter()
                .map(String::as_str)
                .zip(keys.iter().map(|key| key.1.clone())),
        );
        for record in records {
            let of = |name: &str| {
                record
                    .iter()
                    .find(|(key, _)| key.text == name)
                    .map(|(_, node)| node)
            };
            let here = record
                .first()
                .map_or_else(Place::default, |(key, _)| self.place(key));
            rendering.line(keys.iter().map(|(name, _, unit)| match of(name) {
                Some(Node::Scalar(scalar)) => self.cell(scalar),
                Some(node) => match united(node) {
                    // Another unit than in the first record must not pass as the same.
                    Some((Node::Scalar(value), its)) if Some(its.text.as_str()) == *unit => self.cell(value),
                    _ => ("?", here.clone()),
                },
                None => ("", here.clone()),
            }));
        }
        self.found.renderings.push(rendering);
    }
}
