//! Variables saved as text by a matrix language: `# name:`, `# type:`, sizes, then the values.

use curvary_record::{Code, Diagnostic, Span};

use super::syntax::{DataDocument, DataNode, Scalar, SyntaxItem};
use crate::Source;

/// Whether a text holds variables saved so.
pub(super) fn is_saved(head: &str) -> bool {
    if memchr::memchr2(b'#', b'%', head.as_bytes()).is_none() {
        return false;
    }
    let mut lines = head.lines().map(str::trim_end);
    lines.any(|line| keyed(line, "name").is_some())
        && head.lines().any(|line| keyed(line.trim_end(), "type").is_some())
}

/// The value of `# key: value`.
fn keyed<'t>(line: &'t str, key: &str) -> Option<&'t str> {
    let rest = line.strip_prefix(['#', '%'])?.trim_start();
    Some(rest.strip_prefix(key)?.strip_prefix(':')?.trim())
}

/// The lines of a text with the places where they begin.
struct OctaveLines<'t> {
    text: &'t str,
    at: usize,
}

impl<'t> OctaveLines<'t> {
    fn next(&mut self) -> Option<(&'t str, usize)> {
        let rest = self.text.get(self.at..).filter(|rest| !rest.is_empty())?;
        let (start, length) = (self.at, rest.find('\n').map_or(rest.len(), |end| end + 1));
        self.at += length;
        Some((rest[..length].trim_end(), start))
    }

    /// The next line, if it is one of the variable that is open.
    fn next_value(&mut self) -> Option<(&'t str, usize)> {
        let before = self.at;
        match self.next() {
            Some((line, start)) if !line.starts_with('#') => Some((line, start)),
            _ => {
                self.at = before;
                None
            }
        }
    }

    /// The value of the next line, where that is `# key: value`.
    fn next_keyed(&mut self, key: &str) -> Option<&'t str> {
        let before = self.at;
        let value = self.next().and_then(|(line, _)| keyed(line, key));
        if value.is_none() {
            self.at = before;
        }
        value
    }
}

/// The variables of a text as lists and values under their names, and what could not be taken.
pub(super) fn parse(source: &Source) -> (DataDocument, Vec<Diagnostic>) {
    let text = source.text();
    let mut lines = OctaveLines { text, at: 0 };
    let (mut items, mut remarks) = (Vec::new(), Vec::new());
    let mut cut = None;
    while let Some((line, start)) = lines.next() {
        let Some(name) = keyed(line, "name") else {
            if !line.trim().is_empty() {
                items.push(SyntaxItem::Line(Span::new(start, start + line.len())));
            }
            continue;
        };
        let from = start + line.rfind(name).unwrap_or(0);
        let name = Scalar {
            text: name.to_owned(),
            span: Span::new(from, from + name.len()),
        };
        let kind = lines.next_keyed("type").unwrap_or("");
        match variable(&mut lines, kind) {
            Ok(value) => items.push(SyntaxItem::Entry(name, value)),
            Err(UnreadVariable::Cut) => cut = Some(name.span),
            Err(UnreadVariable::Kind(why)) => remarks.push(
                Diagnostic::warning(
                    Code::new("list-alone"),
                    format!("the variable `{}` {why}", name.text),
                )
                .at(source.place(name.span), "it was left out"),
            ),
        }
    }
    (DataDocument { items, cut }, remarks)
}

/// Why a variable was not taken.
enum UnreadVariable {
    /// The file ends inside it.
    Cut,
    Kind(String),
}

fn variable(lines: &mut OctaveLines<'_>, kind: &str) -> Result<DataNode, UnreadVariable> {
    let kind = kind.trim_start_matches("global ").trim();
    match kind {
        "scalar" | "bool" | "float scalar" => {
            let (line, start) = lines.next_value().ok_or(UnreadVariable::Cut)?;
            let mut words = words(line, start);
            Ok(DataNode::Scalar(words.pop().ok_or(UnreadVariable::Cut)?))
        }
        "string" | "sq_string" => string(lines),
        "matrix" | "float matrix" => matrix(lines),
        "range" | "double_range" => range(lines),
        other => {
            while lines.next_value().is_some() {}
            Err(UnreadVariable::Kind(format!(
                "is of the type `{other}`; scalars, strings, ranges and matrices of real numbers are read"
            )))
        }
    }
}

fn words(line: &str, start: usize) -> Vec<Scalar> {
    line.split_ascii_whitespace()
        .map(|word| {
            let from = start + crate::slice::offset_in(line, word);
            Scalar {
                text: word.to_owned(),
                span: Span::new(from, from + word.len()),
            }
        })
        .collect()
}

fn count(text: Option<&str>) -> Result<usize, UnreadVariable> {
    text.and_then(|text| text.parse().ok())
        .ok_or_else(|| UnreadVariable::Kind("does not say how many values it has".to_owned()))
}

/// Lines of text: one is a value, several are a list of words.
fn string(lines: &mut OctaveLines<'_>) -> Result<DataNode, UnreadVariable> {
    let elements = count(lines.next_keyed("elements"))?;
    let mut values = Vec::new();
    while values.len() < elements && lines.next_keyed("length").is_some() {
        let (line, start) = lines.next().ok_or(UnreadVariable::Cut)?;
        values.push(DataNode::Scalar(Scalar {
            text: line.to_owned(),
            span: Span::new(start, start + line.len()),
        }));
    }
    match values.len() {
        length if length < elements => Err(UnreadVariable::Cut),
        1 => values.pop().ok_or(UnreadVariable::Cut),
        _ => Ok(DataNode::List(values)),
    }
}

/// One row or one column is a list, more are a list of rows.
fn matrix(lines: &mut OctaveLines<'_>) -> Result<DataNode, UnreadVariable> {
    let Some(rows) = lines.next_keyed("rows") else {
        while lines.next_value().is_some() {}
        return Err(UnreadVariable::Kind(
            "has more than two dimensions; vectors and matrices are read".to_owned(),
        ));
    };
    let rows = count(Some(rows))?;
    let columns = count(lines.next_keyed("columns"))?;
    let mut read = Vec::new();
    while read.len() < rows {
        let (line, start) = lines.next_value().ok_or(UnreadVariable::Cut)?;
        let row = words(line, start);
        if row.len() != columns {
            while lines.next_value().is_some() {}
            return Err(UnreadVariable::Kind(format!(
                "says that it has {columns} columns, and its row {} has {}",
                read.len() + 1,
                row.len()
            )));
        }
        read.push(row);
    }
    let list = |row: Vec<Scalar>| DataNode::List(row.into_iter().map(DataNode::Scalar).collect());
    Ok(match (rows, columns) {
        (_, 1) => list(read.into_iter().flatten().collect()),
        (1, _) => list(read.into_iter().flatten().collect()),
        _ => DataNode::List(read.into_iter().map(list).collect()),
    })
}

/// A range holds its beginning, its end and its step; its values are whole steps from the beginning, and are written
/// out only where that is exact.
fn range(lines: &mut OctaveLines<'_>) -> Result<DataNode, UnreadVariable> {
    let _ = lines.next();
    let (line, start) = lines.next_value().ok_or(UnreadVariable::Cut)?;
    let three = words(line, start);
    let numbers: Option<Vec<i64>> = three
        .iter()
        .map(|word| word.text.parse::<i32>().ok().map(i64::from))
        .collect();
    match numbers.as_deref() {
        Some(&[base, limit, step]) if step != 0 && (limit - base) / step < 10_000_000 => {
            let span = Span::new(start, start + line.len());
            let values = (0..=(limit - base) / step).map(|at| {
                DataNode::Scalar(Scalar {
                    text: (base + at * step).to_string(),
                    span,
                })
            });
            Ok(DataNode::List(values.collect()))
        }
        _ => Err(UnreadVariable::Kind(format!(
            "is a range that was not written out (`{}`); save it as a matrix",
            line.trim()
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SAVED: &str = "# Created by a script\n# name: t\n# type: matrix\n# rows: 3\n# columns: 1\n 0\n 10\n 20\n\n\n\
        # name: T\n# type: scalar\n25\n\n\n# name: s\n# type: string\n# elements: 1\n# length: 7\nbetanin\n\n\n\
        # name: r\n# type: range\n# base, limit, increment\n0 4 2\n\n\n# name: c\n# type: complex scalar\n(1,2)\n";

    #[test]
    fn variables_are_lists_and_values() {
        assert!(is_saved(SAVED));
        let source = Source::new("a.txt", SAVED.as_bytes().to_vec());
        let (document, remarks) = parse(&source);
        let entries: Vec<String> = document
            .items
            .iter()
            .filter_map(|item| match item {
                SyntaxItem::Entry(name, DataNode::Scalar(value)) => {
                    Some(format!("{} {}", name.text, value.text))
                }
                SyntaxItem::Entry(name, DataNode::List(all)) => Some(format!("{} x{}", name.text, all.len())),
                _ => None,
            })
            .collect();
        assert_eq!(entries, ["t x3", "T 25", "s betanin", "r x3"]);
        assert_eq!(remarks.len(), 1, "{remarks:?}");
        assert!(remarks[0].message.contains("`c`"), "{remarks:?}");
    }

    #[test]
    fn a_file_that_ends_inside_a_matrix_is_cut() {
        let text = &SAVED[..SAVED.find(" 20").expect("a value")];
        let source = Source::new("a.txt", text.as_bytes().to_vec());
        assert!(parse(&source).0.cut.is_some());
    }
}
