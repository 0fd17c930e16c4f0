//! The changes, each with what must hold of it.

use std::collections::BTreeMap;

use curvary_formats::{Readers, Reading, Source};
use curvary_record::Verdict;

use crate::Case;
use crate::compare::{Beside, claims, no_surer_and_not_refused, nothing_new, points, same, same_runs, told};
use crate::sheet::{Table, cells};

type Holds = Result<(), String>;

/// Words and signs of units that stay when heads become nonsense, and that may change their brackets.
const UNITS: &[&str] = &[
    "nm", "µm", "μm", "um", "mm", "cm", "min", "sec", "ms", "mol", "mmol", "µmol", "umol", "nmol", "mM",
    "µM", "μM", "uM", "nM", "mL", "ml", "mg", "ug", "µg", "kg", "AU", "mAU", "s", "h", "M", "°C", "K", "%",
    "cm-1", "1/cm", "eV", "mg/L", "mmol/L", "µmol/L", "umol/L", "g/L", "AU/min", "U/mL", "kPa", "Hz",
];

/// Head words become words that nobody knows: what was read may be asked about; it is never refused, never another
/// quantity, and nothing more is claimed.
pub(crate) fn nonsense_heads(case: &Case) -> Holds {
    let mut words = BTreeMap::new();
    let mut lines = BTreeMap::new();
    for at in case.sheet.head_lines() {
        let line = nonsense(&case.sheet.lines[at], &mut words);
        if line != case.sheet.lines[at] {
            lines.insert(at, line);
        }
    }
    if lines.is_empty() {
        return Ok(());
    }
    let text = case
        .sheet
        .with(|at, line| lines.get(&at).map_or_else(|| line.to_owned(), Clone::clone));
    let other = case.read(&text);
    no_surer_and_not_refused(&case.base, &other)?;
    if other.verdict() == Verdict::Read {
        same_runs(&case.base, &other, false)?;
    }
    // A claim whose words became nonsense is the same claim.
    let mut seen = words;
    let translated: Vec<_> = claims(&case.base)
        .into_iter()
        .map(|(key, value)| {
            let value = nonsense(&value, &mut seen).to_lowercase();
            (nonsense(&key, &mut seen), value)
        })
        .collect();
    nothing_new(&case.base, &other, |(key, value)| {
        translated
            .iter()
            .any(|(was, of)| of == value && (was == key || known_key(key)))
    })
}

/// Whether a key stands as it is when words become nonsense.
fn known_key(key: &str) -> bool {
    curvary_record::known_field(key).is_some()
}

/// A text whose words of two letters and more are replaced; the same word always by the same.
fn nonsense(text: &str, words: &mut BTreeMap<String, String>) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(start) = rest.find(char::is_alphabetic) {
        out.push_str(&rest[..start]);
        rest = &rest[start..];
        let end = rest
            .find(|c: char| !c.is_alphabetic() && c != '°')
            .unwrap_or(rest.len());
        let word = &rest[..end];
        if word.chars().count() < 2 || UNITS.contains(&word) {
            out.push_str(word);
        } else {
            let count = words.len();
            let new = words
                .entry(word.to_lowercase())
                .or_insert_with(|| nonword(word.chars().count(), count));
            let upper = word.chars().next().is_some_and(char::is_uppercase);
            let mut letters = new.chars();
            match letters.next() {
                Some(first) if upper => out.extend(first.to_uppercase().chain(letters)),
                _ => out.push_str(new),
            }
        }
        rest = &rest[end..];
    }
    out + rest
}

/// A word of so many letters that is in no dictionary; another for each `seed`.
fn nonword(letters: usize, seed: usize) -> String {
    const FIRST: &[u8] = b"vzkjxgwq";
    const SECOND: &[u8] = b"uoy";
    let sign = |at: usize| {
        let turn = seed + at * (seed / FIRST.len() + 3);
        let from = if at.is_multiple_of(2) { FIRST } else { SECOND };
        char::from(from[turn % from.len()])
    };
    (0..letters).map(sign).collect()
}

/// Lines above the table are filled up with separators to its width, as spreadsheets write them.
pub(crate) fn padded_preamble(case: &Case) -> Holds {
    let Some((table, separator)) = first_parted(case) else {
        return Ok(());
    };
    let width = case.sheet.lines[table.rows.start].matches(separator).count();
    let mut padded = false;
    for line in &case.sheet.lines[..table.heads.start] {
        padded |= !line.trim().is_empty() && line.matches(separator).count() < width;
    }
    if !padded {
        return Ok(());
    }
    let text = case.sheet.with(|at, line| {
        let has = line.matches(separator).count();
        if at < table.heads.start && !line.trim().is_empty() && has < width {
            format!("{line}{}", separator.to_string().repeat(width - has))
        } else {
            line.to_owned()
        }
    });
    same(&case.base, &case.read(&text), Beside::Claims)
}

/// A line of words that nobody knows above the heads changes nothing.
pub(crate) fn foreign_line(case: &Case) -> Holds {
    with_foreign(case, "Vulquo zemmat prirost")
}

/// A key that nobody knows with a value above the heads changes nothing but that it is kept.
pub(crate) fn foreign_key(case: &Case) -> Holds {
    with_foreign(case, "Vulquo: zemmat")
}

fn with_foreign(case: &Case, line: &str) -> Holds {
    let Some(table) = case.sheet.tables.first() else {
        return Ok(());
    };
    let at = table.heads.start;
    // Not into the middle of what an open quote, a mail or a comment sign holds together.
    if case.sheet.lines[at].starts_with(['#', '>', '|', '*', '%', '!']) {
        return Ok(());
    }
    let other = case.read(&case.sheet.with_line(at, line));
    if case.base.verdict() != other.verdict() {
        return same(&case.base, &other, Beside::Nothing);
    }
    same_runs(&case.base, &other, false)?;
    nothing_new(&case.base, &other, |(key, _)| {
        key.to_lowercase().contains("vulquo")
    })
}

/// The first column becomes the last: where heads name the axis, nothing changes.
pub(crate) fn columns_rotated(case: &Case) -> Holds {
    columns_moved(case, |cells| cells.rotate_left(1))
}

/// All columns but the first in the opposite order: nothing changes but the order of the curves.
pub(crate) fn columns_reversed(case: &Case) -> Holds {
    columns_moved(case, |cells| cells[1..].reverse())
}

fn columns_moved(case: &Case, permute: impl Fn(&mut Vec<&str>)) -> Holds {
    let Some((table, separator)) = first_parted(case) else {
        return Ok(());
    };
    // One x with many y, all named by one line of heads.
    let [run] = case.base.runs.as_slice() else {
        return Ok(());
    };
    let Some(first) = run.traces.first() else {
        return Ok(());
    };
    let span = table.heads.start..table.rows.end;
    let width = case.sheet.lines[table.rows.start].matches(separator).count();
    let plain = |at: usize| {
        let line = &case.sheet.lines[at];
        line.trim().is_empty() || (line.matches(separator).count() == width && !line.contains('"'))
    };
    let filled = |at: usize| {
        cells(&case.sheet.lines[at], separator)
            .iter()
            .all(|cell| !cell.is_empty())
    };
    let one_axis = run.traces.iter().all(|trace| trace.x.values == first.x.values);
    let rows_are_points = table.rows.len() == first.len() && run.traces.len() == width;
    let named = first
        .x
        .name
        .as_ref()
        .is_some_and(|name| name.chars().any(char::is_alphabetic));
    // What stands in cells above the heads belongs to columns too.
    let nothing_above = case.sheet.lines[..table.heads.start]
        .iter()
        .all(|line| !line.contains(separator));
    let usable = nothing_above
        && case.base.verdict() == Verdict::Read
        && table.heads.len() == 1
        && table.heads.clone().all(filled)
        && span.clone().all(plain)
        && one_axis
        && rows_are_points
        && named;
    if !usable {
        return Ok(());
    }
    let text = case.sheet.with(|at, line| {
        if !span.contains(&at) || line.trim().is_empty() {
            return line.to_owned();
        }
        let mut parts: Vec<&str> = line.split(separator).collect();
        permute(&mut parts);
        parts.join(&separator.to_string())
    });
    same(&case.base, &case.read(&text), Beside::ClaimsAndLabels)
}

/// Another separator, where the file has none of it and none of the old in its words.
pub(crate) fn separator(case: &Case) -> Holds {
    let Some((_, old)) = first_parted(case) else {
        return Ok(());
    };
    let all = || case.sheet.lines.iter();
    let one_table = case.sheet.tables.iter().all(|table| table.separator == Some(old));
    let in_words = old == ',' && all().any(|line| line.contains(", ") || line.contains('"'));
    if !one_table || in_words {
        return Ok(());
    }
    for new in ['\t', ';', ','].into_iter().filter(|&sign| sign != old) {
        if all().any(|line| line.contains(new)) {
            continue;
        }
        let text = case.sheet.with(|_, line| line.replace(old, &new.to_string()));
        same(&case.base, &case.read(&text), Beside::Claims).map_err(|why| format!("with {new:?}: {why}"))?;
    }
    Ok(())
}

/// Units of heads in the other brackets.
pub(crate) fn brackets(case: &Case) -> Holds {
    let mut changed = false;
    let lines: BTreeMap<usize, String> = case
        .sheet
        .head_lines()
        .into_iter()
        .map(|at| {
            let line = &case.sheet.lines[at];
            let mut new = line.clone();
            for unit in UNITS {
                new = new.replace(&format!("({unit})"), &format!("\u{1}{unit}\u{2}"));
                new = new.replace(&format!("[{unit}]"), &format!("({unit})"));
                new = new.replace(&format!("\u{1}{unit}\u{2}"), &format!("[{unit}]"));
            }
            changed |= new != *line;
            (at, new)
        })
        .collect();
    if !changed {
        return Ok(());
    }
    let text = case
        .sheet
        .with(|at, line| lines.get(&at).map_or_else(|| line.to_owned(), Clone::clone));
    same(&case.base, &case.read(&text), Beside::Nothing)?;
    nothing_new(&case.base, &case.read(&text), |_| false)
}

/// Lines end in one of the three ways, all alike.
pub(crate) fn line_ends(case: &Case) -> Holds {
    let ends = &case.sheet.ends;
    let used = ends.iter().find(|end| !end.is_empty());
    let Some(used) = used else { return Ok(()) };
    // A file of several ways is a matter of its own; so is a page break.
    let alike = ends.iter().all(|end| end.is_empty() || end == used);
    if !alike {
        return Ok(());
    }
    for new in ["\n", "\r\n", "\r"].into_iter().filter(|new| new != used) {
        let lines = case.sheet.lines.iter().zip(ends);
        let text: String = lines
            .map(|(line, end)| format!("{line}{}", if end.is_empty() { "" } else { new }))
            .collect();
        same(&case.base, &case.read(&text), Beside::ClaimsAndLabels)
            .map_err(|why| format!("with {new:?}: {why}"))?;
    }
    Ok(())
}

/// `420,0.15` becomes `420.0.15`.
pub(crate) fn damage_separator_to_point(case: &Case) -> Holds {
    damaged(case, |row, separator| {
        separator
            .filter(|_| row.contains('.'))
            .map(|sign| row.replacen(sign, ".", 1))
    })
}

/// `420,0.15` becomes `4200.15`.
pub(crate) fn damage_separator_lost(case: &Case) -> Holds {
    damaged(case, |row, separator| {
        separator.map(|sign| row.replacen(sign, "", 1))
    })
}

/// `0.15` becomes `0..15`.
pub(crate) fn damage_point_doubled(case: &Case) -> Holds {
    damaged(case, |row, separator| {
        let sign = decimal_sign(row, separator)?;
        Some(replace_last(row, sign, &sign.to_string().repeat(2)))
    })
}

/// `0.15` becomes `015`: no number is written so.
pub(crate) fn damage_point_lost(case: &Case) -> Holds {
    damaged(case, |row, separator| {
        let sign = decimal_sign(row, separator)?;
        let (front, _) = row.rsplit_once(sign)?;
        let alone = front
            .strip_suffix('0')
            .is_some_and(|front| !front.ends_with(|c: char| c.is_ascii_digit()));
        alone.then(|| replace_last(row, sign, ""))
    })
}

/// `0.15` becomes `0.l5`.
pub(crate) fn damage_letter(case: &Case) -> Holds {
    damaged(case, |row, separator| {
        let sign = decimal_sign(row, separator)?;
        let (front, back) = row.rsplit_once(sign)?;
        let back = back.strip_prefix(|c: char| c.is_ascii_digit())?;
        Some(format!("{front}{sign}l{back}"))
    })
}

/// A row ends behind its first cell.
pub(crate) fn damage_row_cut(case: &Case) -> Holds {
    damaged(case, |row, separator| {
        let (front, _) = row.split_once(separator?)?;
        Some(front.to_owned())
    })
}

/// The decimal sign of a row whose separator is known.
fn decimal_sign(row: &str, separator: Option<char>) -> Option<char> {
    let separator = separator?;
    ['.', ',']
        .into_iter()
        .find(|&sign| sign != separator && row.contains(sign))
}

fn replace_last(row: &str, sign: char, new: &str) -> String {
    match row.rsplit_once(sign) {
        Some((front, back)) => format!("{front}{new}{back}"),
        None => row.to_owned(),
    }
}

/// One row in the middle of the first table is damaged: no number comes out that was not there, and none is missing
/// without a word.
fn damaged(case: &Case, damage: impl Fn(&str, Option<char>) -> Option<String>) -> Holds {
    let Some((table, separator)) = first_parted(case) else {
        return Ok(());
    };
    if case.base.verdict() != Verdict::Read {
        return Ok(());
    }
    let at = table.rows.start + table.rows.len() / 2;
    let Some(row) = damage(&case.sheet.lines[at], Some(separator)) else {
        return Ok(());
    };
    let text = case.sheet.with(
        |index, line| {
            if index == at { row.clone() } else { line.to_owned() }
        },
    );
    no_number_changes_in_silence(&case.base, &case.read(&text), &row)
}

fn no_number_changes_in_silence(base: &Reading, other: &Reading, row: &str) -> Holds {
    if other.verdict() != Verdict::Read {
        return Ok(());
    }
    let (before, after) = (points(base), points(other));
    // Where too few rows are left to run over anything, the readings are listed; their numbers must still be the same.
    let listed = |(x, y): &&(u64, u64)| *x == 0 && before.iter().any(|(_, other)| other == y);
    if let Some((x, y)) = after.difference(&before).find(|point| !listed(point)) {
        return Err(format!(
            "`{row}` gives the point {}, {}",
            f64::from_bits(*x),
            f64::from_bits(*y)
        ));
    }
    let missing = before.len().saturating_sub(after.len());
    if missing > 0 && told(other).is_subset(&told(base)) {
        return Err(format!("{missing} points are missing without a word for `{row}`"));
    }
    Ok(())
}

/// The order in which readers are added changes nothing.
pub(crate) fn readers_shuffled(case: &Case) -> Holds {
    let mut readers = Readers::default();
    for reader in curvary_formats::readers::all().into_iter().rev() {
        readers.add(reader);
    }
    let text: String = case.sheet.with(|_, line| line.to_owned());
    let source = Source::new(case.path.clone(), text.into_bytes());
    if readers.read(&source, None).1 == case.base {
        Ok(())
    } else {
        Err("it reads otherwise".to_owned())
    }
}

/// The first table, where its separator is known.
fn first_parted(case: &Case) -> Option<(&Table, char)> {
    let table = case.sheet.tables.first()?;
    Some((table, table.separator?))
}
