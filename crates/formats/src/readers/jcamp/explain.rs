//! How the labelled records of a source were understood.

use std::collections::BTreeMap;

use curvary_jcamp_dx::{self as dx, LabelKind};
use curvary_record::{Claim, Fields, Origin, Run};

use super::fields::is_structure;
use crate::Source;
use crate::explanation::{ExplainedLines, TakenFor, folded};

/// The parts of a document: each labelled record with what became of it. `runs` is what reading made of it.
pub(super) fn parts(source: &Source, document: &dx::Document, runs: &[Run]) -> Vec<ExplainedLines> {
    let mut claims: BTreeMap<u32, Vec<(&str, &Claim)>> = BTreeMap::new();
    let fields = runs
        .iter()
        .flat_map(|run| std::iter::once(&run.fields).chain(run.traces.iter().map(|trace| &trace.fields)));
    for (key, said) in fields.flat_map(Fields::iter) {
        for claim in said {
            if let Origin::Source(place) = &claim.origin {
                let known = claims.entry(place.line).or_default();
                if !known.contains(&(key.as_str(), claim)) {
                    known.push((key.as_str(), claim));
                }
            }
        }
    }
    let mut parts = Vec::new();
    for block in document.all_blocks() {
        let pages = block.ntuples.iter().flat_map(|ntuples| &ntuples.pages);
        let tables: Vec<&dx::Table> = block
            .tables
            .iter()
            .chain(pages.filter_map(|page| page.table.as_deref()))
            .collect();
        for record in &block.records {
            let first = record.place.line;
            let last = last_line(source, record);
            let table = tables.iter().find(|table| table.line == first);
            let said = claims.get(&first).map_or(&[][..], Vec::as_slice);
            parts.push(match table {
                Some(table) => ExplainedLines::new(first, last, TakenFor::Rows, table_says(table)),
                None => record_part(record, first, last, said),
            });
            for left in table.into_iter().flat_map(|table| &table.left_out) {
                // Where a table breaks off, what is missing lies behind its last line.
                let start = left.first.min(last);
                let end = left.last.clamp(start, last.max(start));
                let says = format!("not read, or not wholly: {}", left.code.as_str());
                parts.push(ExplainedLines::new(start, end, TakenFor::LeftOut, says));
            }
        }
    }
    folded(parts)
}

/// The last line of a record on which something stands.
fn last_line(source: &Source, record: &dx::Record) -> u32 {
    let span = record.place.span;
    let text = source.text().get(span.start..span.end).unwrap_or("").trim_end();
    let end = span.start + text.len().saturating_sub(1);
    let line = source.lines().index_of(end) + 1;
    u32::try_from(line).unwrap_or(u32::MAX).max(record.place.line)
}

fn table_says(table: &dx::Table) -> String {
    let form = if table.form.is_empty() {
        "without a form".to_owned()
    } else {
        format!("in the form {}", table.form)
    };
    let what = match &table.data {
        dx::Data::Xy(curve) => format!("{} points evenly spaced", curve.len()),
        dx::Data::Points(curve) => format!("{} points, each with its x", curve.len()),
        dx::Data::Peaks(peaks) => format!("{} peaks", peaks.rows.len()),
        dx::Data::Assignments(list) => format!("{} assigned peaks", list.rows.len()),
        _ => "a table".to_owned(),
    };
    format!("`##{}=` {form}: {what}", table.label)
}

fn record_part(record: &dx::Record, first: u32, last: u32, said: &[(&str, &Claim)]) -> ExplainedLines {
    let spelled = record.spelled.trim();
    let label = format!("`##{spelled}=`");
    if !said.is_empty() {
        let says: Vec<String> = said
            .iter()
            .map(|(key, claim)| {
                let unit = claim
                    .unit
                    .as_ref()
                    .map_or(String::new(), |unit| format!(" {unit}"));
                let value = claim.value.to_string();
                let mut value: String = value.lines().next().unwrap_or("").chars().take(60).collect();
                if value.len() < claim.value.to_string().len() {
                    value.push('…');
                }
                format!("{key}: {value}{unit}")
            })
            .collect();
        let taken_for = match said[0].0 {
            "title" => TakenFor::Title,
            "comment" => TakenFor::Words,
            _ => TakenFor::Key,
        };
        return ExplainedLines::new(first, last, taken_for, format!("{label} is {}", says.join("; ")));
    }
    if record.value.trim().is_empty() && record.label != "END" && !record.label.starts_with("END") {
        return ExplainedLines::new(first, last, TakenFor::LeftOut, format!("{label} is empty"));
    }
    let value: String = record
        .value
        .lines()
        .next()
        .unwrap_or("")
        .chars()
        .take(60)
        .collect();
    if is_structure(&record.label) {
        let says = if value.is_empty() {
            label
        } else {
            format!("{label} is {value}")
        };
        return ExplainedLines::new(first, last, TakenFor::Structure, says);
    }
    let says = match record.kind {
        LabelKind::Comment => "a comment that belongs to no curve".to_owned(),
        _ => format!("{label}: nothing was taken from it for a field of its own"),
    };
    ExplainedLines::new(first, last, TakenFor::Structure, says)
}

#[cfg(test)]
mod tests {
    use crate::explanation::TakenFor;
    use crate::readers::JcampDx;
    use crate::{Reader, Source};

    #[test]
    fn every_record_has_its_part() {
        let text = "##TITLE=betanin\n##JCAMP-DX=4.24\n##DATA TYPE=UV-VIS SPECTRUM\n##TEMPERATURE=37\n##XUNITS=NANOMETERS\n\
                    ##YUNITS=ABSORBANCE\n##XFACTOR=1\n##YFACTOR=0.001\n##FIRSTX=400\n##LASTX=402\n##NPOINTS=3\n##FIRSTY=0.1\n\
                    ##XYDATA=(X++(Y..Y))\n400 100 120\n402 140\n##END=\n";
        let parts = JcampDx::default().explain(&Source::new("a.jdx", text.as_bytes().to_vec()));
        let find = |line: u32| parts.iter().find(|part| part.first == line).expect("a part");
        assert_eq!(find(1).taken_for, TakenFor::Title, "{parts:#?}");
        assert_eq!(find(4).says, "`##TEMPERATURE=` is temperature: 37 Cel");
        assert_eq!(find(5).taken_for, TakenFor::Structure);
        let table = find(13);
        assert_eq!((table.taken_for, table.last), (TakenFor::Rows, 15));
        assert_eq!(
            table.says,
            "`##XYDATA=` in the form (X++(Y..Y)): 3 points evenly spaced"
        );
    }
}
