//! Which lists go together as the columns of a table, and what is said around them.

use curvary_record::{Code, Diagnostic, Place, Span};

use super::syntax::{DataDocument, DataNode, Scalar, SyntaxItem};
use crate::Source;
use crate::rendering::Rendering;
use crate::words;

/// The tables of a text, each with all that is said of it, and what could not be put together.
#[derive(Default)]
pub(super) struct WrittenTables {
    pub(super) renderings: Vec<Rendering>,
    pub(super) remarks: Vec<Diagnostic>,
}

/// What is said above a table: lines of words, and keys with their values.
#[derive(Clone)]
enum PreambleItem {
    Line(Span),
    Pair(Scalar, Vec<Scalar>),
}

/// The members of a map.
type Pairs<'n> = &'n [(Scalar, DataNode)];

/// A list of words or numbers under its name.
#[derive(Clone)]
struct NamedList<'n> {
    /// Its name, with its unit where that is said apart.
    header: String,
    /// Where the name stands.
    key: &'n Scalar,
    values: Vec<&'n Scalar>,
}

impl<'n> NamedList<'n> {
    fn new(key: &'n Scalar, values: Vec<&'n Scalar>) -> Self {
        Self {
            header: key.text.clone(),
            key,
            values,
        }
    }

    fn len(&self) -> usize {
        self.values.len()
    }
}

/// A map with its members by what they are.
#[derive(Default)]
struct MapMembers<'n> {
    said: Vec<PreambleItem>,
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
const UNIT_KEYS: [&str; 4] = ["unit", "units", "einheit", "einheiten"];
/// Names of the values beside a unit.
const VALUE_KEYS: [&str; 5] = ["value", "values", "data", "wert", "werte"];
/// Names of what the values beside them are of.
const NAME_KEYS: [&str; 5] = ["quantity", "name", "label", "title", "id"];

/// Finds the tables of a document.
pub(super) fn tables(source: &Source, document: &DataDocument) -> WrittenTables {
    let mut found = WrittenTables::default();
    let mut whole = MapMembers::default();
    // Records a line each belong together while their keys are the same.
    let mut lines: Vec<&[(Scalar, DataNode)]> = Vec::new();
    for item in &document.items {
        match item {
            SyntaxItem::Line(span) => whole.said.push(PreambleItem::Line(*span)),
            SyntaxItem::Entry(key, node) => whole.add(Some(key), node),
            SyntaxItem::Node(DataNode::Map(members)) if members.iter().all(|(_, node)| is_flat(node)) => {
                lines.push(members);
            }
            SyntaxItem::Node(node) => whole.add(None, node),
        }
    }
    match lines.as_slice() {
        [] => {}
        [one] => {
            for (key, node) in *one {
                whole.add(Some(key), node);
            }
        }
        _ => {
            for (number, group) in alike(lines).into_iter().enumerate() {
                match group.as_slice() {
                    // What is said once is said of the whole.
                    [one] => {
                        let flat = one.iter().filter(|(_, node)| is_flat(node));
                        flat.for_each(|(key, node)| whole.add(Some(key), node));
                    }
                    _ => whole
                        .records
                        .insert(number.min(whole.records.len()), (None, group)),
                }
            }
        }
    }
    let text = source.text();
    let mut writer = TablesWriter {
        source,
        text,
        found: &mut found,
    };
    writer.members(&whole, &[], &[], 0);
    found
}

fn is_one_of(key: &Scalar, known: &[&str]) -> bool {
    known.contains(&key.text.to_lowercase().as_str())
}

/// `{"quantity": "wavelength", "unit": "nm", "values": […]}` under its key: a column with its own name and unit.
fn described<'n>(key: &'n Scalar, members: Pairs<'n>) -> Option<NamedList<'n>> {
    let of = |keys: &[&str]| {
        let mut all = members.iter();
        all.find(|(key, _)| is_one_of(key, keys)).map(|(_, node)| node)
    };
    let word = |keys: &[&str]| match of(keys) {
        Some(DataNode::Scalar(scalar)) => Some(scalar),
        _ => None,
    };
    let values = scalars(of(&VALUE_KEYS)?)?;
    let (name, unit) = (word(&NAME_KEYS), word(&UNIT_KEYS));
    if name.is_none() && unit.is_none() || values.len() < 2 {
        return None;
    }
    let name = name.unwrap_or(key);
    let header = match unit {
        Some(unit) => format!("{} ({})", name.text, unit.text),
        None => name.text.clone(),
    };
    Some(NamedList {
        header,
        key: name,
        values,
    })
}

/// Records in groups of the same kind, each in its order: a record goes with the first one of which it has more than
/// half of the keys.
fn alike(records: Vec<Pairs<'_>>) -> Vec<Vec<Pairs<'_>>> {
    let mut groups: Vec<Vec<Pairs<'_>>> = Vec::new();
    for record in records {
        let fits = |group: &Vec<Pairs<'_>>| {
            let widest = group.iter().max_by_key(|one| one.len());
            widest.is_some_and(|first| {
                let has = |(key, _): &&(Scalar, DataNode)| record.iter().any(|(own, _)| own.text == key.text);
                first.iter().filter(has).count() * 2 > first.len()
            })
        };
        match groups.iter_mut().find(|group| fits(group)) {
            Some(group) => group.push(record),
            None => groups.push(vec![record]),
        }
    }
    groups
}

/// Puts units into the headers of the columns that a map of units names; whether it named any.
fn add_units(columns: &mut [NamedList<'_>], units: Pairs<'_>) -> bool {
    let mut any = false;
    for (key, node) in units {
        if let DataNode::Scalar(unit) = node
            && let Some(column) = columns.iter_mut().find(|column| column.key.text == key.text)
        {
            column.header = format!("{} ({})", key.text, unit.text);
            any = true;
        }
    }
    any
}

/// `"absorbance": {"leaf 1": […], "leaf 2": […]}` beside a list as long: columns under one name. Whether it was one.
fn add_group<'n>(columns: &mut Vec<NamedList<'n>>, key: &'n Scalar, pairs: Pairs<'n>) -> bool {
    let lists: Option<Vec<(&Scalar, Vec<&Scalar>)>> = pairs
        .iter()
        .map(|(name, node)| Some((name, scalars(node)?)))
        .collect();
    let Some(lists) = lists.filter(|lists| !lists.is_empty()) else {
        return false;
    };
    let fits = |length: usize| length > 3 && columns.iter().any(|column| column.len() == length);
    if !lists.iter().all(|(_, list)| fits(list.len())) {
        return false;
    }
    for (name, values) in lists {
        columns.push(NamedList {
            header: format!("{} {}", key.text, name.text),
            key: name,
            values,
        });
    }
    true
}

/// Whether a value is a scalar, or a scalar with its unit.
fn is_flat(node: &DataNode) -> bool {
    match node {
        DataNode::Scalar(_) => true,
        DataNode::Map(_) => united(node).is_some(),
        DataNode::List(_) => false,
    }
}

/// Whether a map holds nothing but words and numbers, in maps or not, and is of no other sample.
fn is_only(key: &Scalar, members: Pairs<'_>, depth: usize) -> bool {
    let of_another = matches!(
        words::field_of(&key.text),
        Some("blank" | "reference" | "baseline")
    );
    depth < 8
        && !of_another
        && members.iter().all(|(inner, node)| match node {
            DataNode::Scalar(_) => true,
            DataNode::Map(pairs) => united(node).is_some() || is_only(inner, pairs, depth + 1),
            DataNode::List(_) => false,
        })
}

/// The scalars of a list of nothing else.
fn scalars(node: &DataNode) -> Option<Vec<&Scalar>> {
    let DataNode::List(all) = node else { return None };
    all.iter()
        .map(|node| match node {
            DataNode::Scalar(scalar) => Some(scalar),
            _ => None,
        })
        .collect()
}

/// `{value: 37, unit: °C}`: the values and the unit.
fn united(node: &DataNode) -> Option<(&DataNode, &Scalar)> {
    let DataNode::Map(members) = node else { return None };
    let of = |keys: &[&str]| {
        members
            .iter()
            .find(|(key, _)| keys.contains(&key.text.to_lowercase().as_str()))
            .map(|(_, node)| node)
    };
    match (of(&VALUE_KEYS)?, of(&UNIT_KEYS)?) {
        (values, DataNode::Scalar(unit)) => Some((values, unit)),
        _ => None,
    }
}

impl<'n> MapMembers<'n> {
    fn of(members: &'n [(Scalar, DataNode)]) -> Self {
        let mut all = Self::default();
        for (key, node) in members {
            all.add(Some(key), node);
        }
        all
    }

    fn add(&mut self, key: Option<&'n Scalar>, node: &'n DataNode) {
        match node {
            DataNode::Scalar(value) => {
                if let Some(key) = key {
                    self.said
                        .push(PreambleItem::Pair(key.clone(), vec![value.clone()]));
                }
            }
            DataNode::Map(members) => match (key, united(node)) {
                (Some(key), Some((DataNode::Scalar(value), unit))) => {
                    self.said
                        .push(PreambleItem::Pair(key.clone(), vec![value.clone(), unit.clone()]));
                }
                (Some(key), _) if let Some(column) = described(key, members) => self.columns.push(column),
                // `"sample": {"name": "leaf 3", "pH": 5}` says of the table what it would say beside it.
                (Some(key), _)
                    if !is_one_of(key, &UNIT_KEYS)
                        && !members.is_empty()
                        && (members.iter().all(|(_, node)| is_flat(node)) || is_only(key, members, 0)) =>
                {
                    for (inner, node) in members {
                        let name = if is_one_of(inner, &NAME_KEYS) { key } else { inner };
                        self.add(Some(name), node);
                    }
                }
                _ => self.inner.push((key, members)),
            },
            DataNode::List(all) => {
                let records: Option<Vec<&[(Scalar, DataNode)]>> = all
                    .iter()
                    .map(|node| match node {
                        DataNode::Map(members) => Some(members.as_slice()),
                        _ => None,
                    })
                    .collect();
                let rows: Option<Vec<Vec<&Scalar>>> = all.iter().map(scalars).collect();
                match (key, scalars(node)) {
                    (_, Some(list)) if list.is_empty() => {}
                    (Some(key), Some(list)) => self.columns.push(NamedList::new(key, list)),
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

/// The header of an axis that keys beside a list of pairs name: `"x_unit": "nm", "y": "absorbance"`; and the key that does.
fn named_axis<'n>(said: &'n [PreambleItem], axis: &str) -> Option<(String, &'n Scalar)> {
    let of = |endings: &[&str]| {
        said.iter().find_map(|said| match said {
            PreambleItem::Pair(key, values) => {
                let bare: String = key
                    .text
                    .to_lowercase()
                    .chars()
                    .filter(|c| c.is_alphanumeric())
                    .collect();
                let ending = bare.strip_prefix(axis)?;
                (endings.contains(&ending) && values.len() == 1).then_some((values[0].text.as_str(), key))
            }
            _ => None,
        })
    };
    let name = of(&["", "axis", "label", "name", "quantity", "title"]);
    let unit = of(&["unit", "units"]);
    match (name, unit) {
        (Some((name, key)), Some((unit, _))) => Some((format!("{name} ({unit})"), key)),
        (Some((only, key)), None) | (None, Some((only, key))) => Some((only.to_owned(), key)),
        (None, None) => None,
    }
}

struct TablesWriter<'a> {
    source: &'a Source,
    text: &'a str,
    found: &'a mut WrittenTables,
}

impl<'a> TablesWriter<'a> {
    fn place(&self, scalar: &Scalar) -> Place {
        self.source.place(scalar.span)
    }

    /// Writes out the tables of a map and of those inside. `above` is what the maps around it say, and `shared` are
    /// their lists, which those inside may run over. Gives the places of the lists around it that were used so.
    fn members(
        &mut self,
        members: &MapMembers<'_>,
        above: &[PreambleItem],
        shared: &[NamedList<'_>],
        depth: usize,
    ) -> Vec<Span> {
        let mut said = above.to_vec();
        said.extend(members.said.iter().cloned());
        let mut used = Vec::new();
        let mut columns = members.columns.clone();
        let mut inner = Vec::new();
        for (key, pairs) in &members.inner {
            match key {
                Some(key) if is_one_of(key, &UNIT_KEYS) && add_units(&mut columns, pairs) => {}
                Some(key) if add_group(&mut columns, key, pairs) => {}
                _ => inner.push((*key, *pairs)),
            }
        }
        for (key, rows) in &members.matrices {
            self.matrix(&said, *key, rows, &mut columns);
        }
        let lists: Vec<NamedList<'_>> = columns.iter().chain(shared).cloned().collect();
        for (key, records) in &members.records {
            if records
                .iter()
                .all(|record| record.iter().all(|(_, node)| is_flat(node)))
            {
                self.records(&said, *key, records);
            } else if let Some(column) = self.spectra(&said, records, &lists) {
                used.push(column);
            } else if depth < 8 {
                for record in records {
                    used.extend(self.members(&MapMembers::of(record), &said, &lists, depth + 1));
                }
            }
        }
        for (key, pairs) in inner {
            if depth >= 8 {
                break;
            }
            let mut inside = said.clone();
            if let Some(key) = key
                && !is_one_of(key, &VALUE_KEYS)
                && MapMembers::of(pairs).columns.len() + MapMembers::of(pairs).records.len() > 0
            {
                inside.push(PreambleItem::Line(key.span));
            }
            used.extend(self.members(&MapMembers::of(pairs), &inside, &lists, depth + 1));
        }
        let own: Vec<NamedList<'_>> = columns
            .into_iter()
            .filter(|column| !used.contains(&column.key.span))
            .collect();
        used.extend(self.columns(&said, &own, shared));
        used
    }

    /// Records that hold a number and a list each, which runs over a list beside them: rows of a matrix. Gives the place
    /// of that list.
    fn spectra(
        &mut self,
        said: &[PreambleItem],
        records: &[Pairs<'_>],
        lists: &[NamedList<'_>],
    ) -> Option<Span> {
        let row = |record: &Pairs<'_>| match *record {
            [
                (first, DataNode::Scalar(at)),
                (second, values @ DataNode::List(_)),
            ]
            | [
                (second, values @ DataNode::List(_)),
                (first, DataNode::Scalar(at)),
            ] => {
                at.text.parse::<f64>().ok()?;
                Some((
                    first.clone(),
                    at.clone(),
                    second.clone(),
                    scalars(values)?.into_iter().cloned().collect(),
                ))
            }
            _ => None,
        };
        let rows: Vec<(Scalar, Scalar, Scalar, Vec<Scalar>)> =
            records.iter().map(row).collect::<Option<_>>()?;
        let (down, _, name, first) = rows.first()?;
        let across = lists.iter().find(|list| list.len() == first.len())?;
        if rows.len() < 2
            || rows
                .iter()
                .any(|row| (&row.0.text, &row.2.text, row.3.len()) != (&down.text, &name.text, first.len()))
        {
            return None;
        }
        let mut rendering = self.begun(said);
        rendering.line([(name.text.as_str(), self.place(name))]);
        let corner = format!("{}\\{}", down.text, across.header);
        rendering.line(
            std::iter::once((corner.as_str(), self.place(across.key)))
                .chain(across.values.iter().map(|cell| self.cell(cell))),
        );
        for (_, at, _, values) in &rows {
            rendering.line(std::iter::once(self.cell(at)).chain(values.iter().map(|cell| self.cell(cell))));
        }
        self.found.renderings.push(rendering);
        Some(across.key.span)
    }

    /// A scalar as a cell; what says that there is no value is an empty one.
    fn cell<'s>(&self, scalar: &'s Scalar) -> (&'s str, Place) {
        let none = matches!(
            scalar.text.to_ascii_lowercase().as_str(),
            "null" | "none" | "nan" | "na" | "~"
        );
        (if none { "" } else { &scalar.text }, self.place(scalar))
    }

    fn begun(&self, said: &[PreambleItem]) -> Rendering {
        let mut rendering = Rendering::default();
        for said in said {
            match said {
                PreambleItem::Line(span) => {
                    let line = self.text.get(span.range()).unwrap_or("").trim();
                    let bare = line.trim_start_matches(['#', '%', '/', '!', ';']).trim();
                    if !bare.is_empty() {
                        rendering.line([(bare, self.source.place(*span))]);
                    }
                }
                PreambleItem::Pair(key, values) => {
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

    /// Lists of one length are the columns of a table; one alone may run over a list of the maps around it. Gives the
    /// places of those that were used so.
    fn columns(
        &mut self,
        said: &[PreambleItem],
        columns: &[NamedList<'_>],
        shared: &[NamedList<'_>],
    ) -> Vec<Span> {
        let mut lengths: Vec<usize> = Vec::new();
        for column in columns {
            if !lengths.contains(&column.len()) {
                lengths.push(column.len());
            }
        }
        let mut said = said.to_vec();
        let mut tables = Vec::new();
        let mut used = Vec::new();
        for length in lengths {
            let mut alike: Vec<&NamedList<'_>> =
                columns.iter().filter(|column| column.len() == length).collect();
            if alike.len() == 1
                && length > 3
                && let Some(axis) = shared.iter().find(|axis| axis.len() == length)
            {
                used.push(axis.key.span);
                alike.insert(0, axis);
            }
            if alike.len() >= 2 && length >= 2 {
                tables.push(alike);
            } else if length <= 3 {
                // A few words or numbers are a value and no curve.
                for column in alike {
                    let values = column.values.iter().map(|scalar| (*scalar).clone()).collect();
                    said.push(PreambleItem::Pair(column.key.clone(), values));
                }
            } else {
                for column in alike {
                    self.list_alone(column, columns);
                }
            }
        }
        for alike in tables {
            let mut rendering = self.begun(&said);
            rendering.line(
                alike
                    .iter()
                    .map(|column| (column.header.as_str(), self.place(column.key))),
            );
            for row in 0..alike[0].len() {
                rendering.line(alike.iter().map(|column| self.cell(column.values[row])));
            }
            self.found.renderings.push(rendering);
        }
        used
    }

    fn list_alone(&mut self, column: &NamedList<'_>, columns: &[NamedList<'_>]) {
        let others: Vec<String> = columns
            .iter()
            .filter(|other| other.key != column.key)
            .map(|other| format!("`{}` {}", other.header, other.len()))
            .collect();
        let beside = if others.is_empty() {
            "and there is no other list".to_owned()
        } else {
            format!("and no other list has as many: {}", others.join(", "))
        };
        self.found.remarks.push(
            Diagnostic::warning(
                Code::new("list-alone"),
                format!(
                    "the list `{}` has {} values, {beside}",
                    column.header,
                    column.len()
                ),
            )
            .at(self.place(column.key), "it was left out")
            .help("a curve needs as many x as y; compare the lists with the original"),
        );
    }

    /// Rows of cells. Lists beside them that have as many words or numbers as the rows have cells are their headers, one that
    /// has as many as there are rows is their first column.
    fn matrix(
        &mut self,
        said: &[PreambleItem],
        key: Option<&Scalar>,
        rows: &[Vec<&Scalar>],
        headers: &mut Vec<NamedList<'_>>,
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
            let at = headers.iter().position(|header| header.len() == length)?;
            Some(headers.remove(at))
        };
        let across = take(width);
        let down = (rows.len() != width).then(|| take(rows.len())).flatten();
        let mut rendering = self.begun(said);
        if let Some(key) = key {
            rendering.line([(key.text.as_str(), self.place(key))]);
        }
        if across.is_none() && width == 2 {
            let named = [named_axis(said, "x"), named_axis(said, "y")];
            if let [Some((x, of_x)), Some((y, of_y))] = &named {
                rendering.line([(x.as_str(), self.place(of_x)), (y.as_str(), self.place(of_y))]);
            }
        }
        if let Some(across) = &across {
            let corner = down
                .as_ref()
                .map(|down| format!("{}\\{}", down.header, across.header));
            let corner = corner
                .as_ref()
                .map(|corner| (corner.as_str(), self.place(across.key)));
            rendering.line(
                corner
                    .into_iter()
                    .chain(across.values.iter().map(|cell| self.cell(cell))),
            );
        }
        for (number, row) in rows.iter().enumerate() {
            let first = down.as_ref().map(|down| self.cell(down.values[number]));
            rendering.line(first.into_iter().chain(row.iter().map(|cell| self.cell(cell))));
        }
        self.found.renderings.push(rendering);
    }

    /// A record a row, under all keys that occur.
    fn records(&mut self, said: &[PreambleItem], key: Option<&Scalar>, records: &[&[(Scalar, DataNode)]]) {
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
                Some(DataNode::Scalar(scalar)) => self.cell(scalar),
                Some(node) => match united(node) {
                    // Another unit than in the first record must not pass as the same.
                    Some((DataNode::Scalar(value), its)) if Some(its.text.as_str()) == *unit => {
                        self.cell(value)
                    }
                    _ => ("?", here.clone()),
                },
                None => ("", here.clone()),
            }));
        }
        self.found.renderings.push(rendering);
    }
}
