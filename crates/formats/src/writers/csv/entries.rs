//! What a run and its curves say in a row.

use curvary_record::{Claim, Fields, Run, Trace, Unit, Value, known_field};

use super::columns::{DATE_IN_WORDS, canonical};
use super::{
    CsvCell, CsvEntry, CsvOptions, CsvVariable, NumberPart, NumberRole, RowKind, is_date, run_name,
    runs_as_formula,
};
use crate::writers::digits::as_written;

/// A row, or the rows of one curve: what they say of their run, the curve, and what they say of it.
pub(super) struct EntryGroup<'r> {
    pub(super) trace: Option<&'r Trace>,
    pub(super) own: Vec<CsvEntry>,
}

/// What a run says in all its rows, and its groups of rows, as the kind of table wants them.
pub(super) fn groups(run: &Run, options: CsvOptions) -> (Vec<CsvEntry>, Vec<EntryGroup<'_>>) {
    let name = || vec![CsvEntry::text(CsvVariable::Run, &run_name(&run.id))];
    // Parts of a run and the whole of it have the same keys.
    let traces = (0..).map(|index| run.trace_number(index)).zip(&run.traces);
    match options.rows {
        RowKind::Tidy => {
            let of_run = run_entries(run, options);
            let groups = traces
                .filter(|(_, trace)| !trace.is_empty())
                .map(|(number, trace)| EntryGroup {
                    trace: Some(trace),
                    own: trace_entries(number, trace, &of_run, options),
                })
                .collect();
            (of_run, groups)
        }
        RowKind::Runs => {
            let mut of_run = run_entries(run, options);
            of_run.push(CsvEntry::text(CsvVariable::Digest, run.source.digest.as_str()));
            of_run.push(CsvEntry::text(CsvVariable::Reader, &run.source.reader));
            let one = EntryGroup {
                trace: None,
                own: Vec::new(),
            };
            (of_run, vec![one])
        }
        RowKind::Curves => {
            let groups = traces.map(|(number, trace)| {
                let mut own = trace_entries(number, trace, &[], options);
                own.retain(|entry| matches!(entry.cell, CsvCell::Text(_) | CsvCell::Number(..)));
                own.push(CsvEntry::text(CsvVariable::RunsOver, trace.x.quantity.as_str()));
                own.push(CsvEntry::text(CsvVariable::Measures, trace.y.quantity.as_str()));
                own.push(CsvEntry::text(CsvVariable::Count, &trace.len().to_string()));
                EntryGroup { trace: None, own }
            });
            (name(), groups.collect())
        }
        RowKind::Points => {
            let groups = traces
                .filter(|(_, trace)| !trace.is_empty())
                .map(|(number, trace)| {
                    let mut own = trace_entries(number, trace, &[], options);
                    own.retain(|entry| {
                        entry.variable == CsvVariable::Trace
                            || !matches!(entry.cell, CsvCell::Text(_) | CsvCell::Number(..))
                    });
                    own.push(CsvEntry {
                        cell: CsvCell::Position,
                        ..CsvEntry::text(CsvVariable::Position, "")
                    });
                    EntryGroup {
                        trace: Some(trace),
                        own,
                    }
                });
            (name(), groups.collect())
        }
    }
}

/// What a run says for all its rows.
pub(super) fn run_entries(run: &Run, options: CsvOptions) -> Vec<CsvEntry> {
    let mut entries = vec![
        CsvEntry::text(CsvVariable::Run, &run_name(&run.id)),
        CsvEntry::text(CsvVariable::Technique, run.technique.as_str()),
        CsvEntry::text(CsvVariable::Source, &run.source.path),
    ];
    if run.in_question() {
        let codes: Vec<&str> = run.questions.iter().map(|q| q.code.as_str()).collect();
        entries.push(CsvEntry::text(CsvVariable::Question, &codes.join("; ")));
    }
    field_entries(&run.fields, options, &mut entries);
    entries
}

/// What one curve says: it goes before what its run says.
pub(super) fn trace_entries(
    number: u32,
    trace: &Trace,
    of_run: &[CsvEntry],
    options: CsvOptions,
) -> Vec<CsvEntry> {
    let mut own: Vec<CsvEntry> = vec![CsvEntry::text(CsvVariable::Trace, &number.to_string())];
    if let Some(label) = trace.label.as_deref().filter(|label| !label.is_empty()) {
        own.push(CsvEntry::text(CsvVariable::Label, label));
    }
    push_quantity(
        &mut own,
        trace.x.quantity.as_str(),
        &trace.x.unit,
        CsvCell::X,
        NumberRole::Condition,
    );
    for held in &trace.held {
        let text = as_written(held.value, held.raw.as_deref().unwrap_or(""));
        let cell = CsvCell::Number(held.value, text);
        push_quantity(
            &mut own,
            held.quantity.as_str(),
            &held.unit,
            cell,
            NumberRole::Condition,
        );
    }
    push_quantity(
        &mut own,
        trace.y.quantity.as_str(),
        &trace.y.unit,
        CsvCell::Y,
        NumberRole::Measured,
    );
    if !trace.row_names.is_empty() {
        let guarded = trace.row_names.iter().any(|name| runs_as_formula(name));
        own.push(CsvEntry {
            cell: CsvCell::Name { guarded },
            ..CsvEntry::text(CsvVariable::Point, "")
        });
    }
    if !trace.saturated.is_empty() {
        own.push(CsvEntry {
            cell: CsvCell::Saturated,
            ..CsvEntry::text(CsvVariable::Saturated, "")
        });
    }
    if trace.absent > 0 {
        own.push(CsvEntry::text(CsvVariable::Absent, &trace.absent.to_string()));
    }
    let coordinates = own.len();
    let mut fields = Vec::new();
    field_entries(&trace.fields, options, &mut fields);
    for field in fields {
        match stated(&own[..coordinates], &field) {
            None => own.push(field),
            Some(stated) => own.extend(stated),
        }
    }
    let mut more = Vec::new();
    for field in of_run {
        if let Some(Some(stated)) = stated(&own[..coordinates], field)
            && !own.iter().any(|entry| entry.variable == stated.variable)
        {
            more.push(stated);
        }
    }
    own.extend(more);
    own
}

/// Where a curve has the very coordinate that a field states: the field under its second name, or nothing when both
/// say the same. `None` when there is no such coordinate.
fn stated(coordinates: &[CsvEntry], field: &CsvEntry) -> Option<Option<CsvEntry>> {
    let coordinate = coordinates
        .iter()
        .find(|entry| entry.variable == field.variable)?;
    let CsvVariable::Number { name, unit, .. } = &field.variable else {
        return Some(None);
    };
    let same =
        matches!((&coordinate.cell, &field.cell), (CsvCell::Number(a, _), CsvCell::Number(b, _)) if a == b);
    Some((!same).then(|| CsvEntry {
        variable: CsvVariable::Number {
            name: name.clone(),
            unit: unit.clone(),
            part: NumberPart::Stated,
            standing: NumberRole::Condition,
        },
        cell: field.cell.clone(),
        coordinate: false,
        unit: field.unit.clone(),
    }))
}

fn push_quantity(own: &mut Vec<CsvEntry>, name: &str, unit: &Unit, cell: CsvCell, standing: NumberRole) {
    let mut nth = 0;
    loop {
        let variable = CsvVariable::Number {
            name: name.to_owned(),
            unit: Some(canonical(unit)),
            part: NumberPart::Value(nth),
            standing,
        };
        if nth == u8::MAX || !own.iter().any(|entry| entry.variable == variable) {
            own.push(CsvEntry {
                variable,
                cell,
                coordinate: standing == NumberRole::Condition,
                unit: Some(unit.clone()),
            });
            return;
        }
        nth += 1;
    }
}

fn field_entries(fields: &Fields, options: CsvOptions, entries: &mut Vec<CsvEntry>) {
    for (key, claims) in fields.iter() {
        let Some(claim) = claims.first() else { continue };
        if options.known_fields_only && key.known().is_none() {
            continue;
        }
        let key = key.as_str();
        let number = |part, value: f64| CsvEntry {
            variable: CsvVariable::Number {
                name: key.to_owned(),
                unit: claim.unit.as_ref().map(canonical),
                part,
                standing: if known_field(key).is_some() {
                    NumberRole::Condition
                } else {
                    NumberRole::Own
                },
            },
            cell: CsvCell::Number(value, as_written(value, &claim.raw)),
            coordinate: false,
            unit: claim.unit.clone(),
        };
        match &claim.value {
            Value::Text(_) if key == "comment" && claims.len() > 1 => {
                entries.push(CsvEntry::text(
                    CsvVariable::Words(key.to_owned()),
                    &all_texts(claims),
                ));
            }
            Value::Text(text) if key == "sample" => entries.push(CsvEntry::text(CsvVariable::Sample, text)),
            Value::Text(text) => {
                let words = key == "date" && !is_date(text);
                let key = if words { DATE_IN_WORDS } else { key };
                entries.push(CsvEntry::text(CsvVariable::Words(key.to_owned()), text));
            }
            _ if key == "sample" => entries.push(CsvEntry::text(CsvVariable::Sample, &claim.raw)),
            Value::Number(value) => entries.push(number(NumberPart::Value(0), *value)),
            Value::Range { from, to } => {
                entries.extend([number(NumberPart::From, *from), number(NumberPart::To, *to)])
            }
        }
        entries.extend(claim.plus_minus.map(|value| number(NumberPart::PlusMinus, value)));
    }
}

impl CsvEntry {
    pub(super) fn text(variable: CsvVariable, text: &str) -> Self {
        Self {
            variable,
            cell: CsvCell::Text(text.to_owned()),
            coordinate: false,
            unit: None,
        }
    }
}

/// Comments add to one another: all of them, a line each.
fn all_texts(claims: &[Claim]) -> String {
    let texts: Vec<&str> = claims
        .iter()
        .filter_map(|claim| match &claim.value {
            Value::Text(text) => Some(text.as_str()),
            _ => None,
        })
        .collect();
    texts.join("\n")
}
