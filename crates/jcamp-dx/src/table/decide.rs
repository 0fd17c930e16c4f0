//! Commas that may be decimal signs, and an `E` that may be an exponent: decided over a whole table.

use super::{DataStretch, Doubt, LeftOut, NumberReading, TableOutcome};
use crate::asdf::decode::exponent_or_squeezed;
use crate::axis::LabelAxis;
use crate::choice::Choice;
use crate::number::Exponents;
use crate::records::RecordSource;
use crate::remark::{Code, Notes};

/// Reads a table whose commas may be decimal signs, or whose `E` may be exponents, both ways, and keeps the reading
/// that the labels support.
pub(super) fn decided(
    source: &RecordSource<'_>,
    stretch: &mut DataStretch,
    axis: &LabelAxis,
    reading: NumberReading,
    squeezed: bool,
    notes: &mut Notes<'_>,
    read: &dyn Fn(&DataStretch, &mut Notes<'_>) -> TableOutcome,
) -> TableOutcome {
    let silently = |stretch: DataStretch| read(&stretch, &mut Notes::new(source.text, 0));
    let choice = match (comma(source, stretch), reading.decimal_comma) {
        (CommaDecision::Separator, _) => Some(b'.'),
        (CommaDecision::Either, Some(decimal)) => Some(if decimal { b',' } else { b'.' }),
        (CommaDecision::Either, None) => {
            let with = |point: u8| silently(DataStretch { point, ..*stretch });
            let (decimal, separator) = (with(b','), with(b'.'));
            let bonus = if axis.comma { 2 } else { 0 };
            if better(&decimal, bonus, &separator, 0) {
                Some(b',')
            } else if better(&separator, 0, &decimal, bonus) {
                Some(b'.')
            } else {
                None
            }
        }
    };
    let Some(point) = choice else {
        return comma_undecided(stretch, notes);
    };
    settle_comma(stretch, point, notes);
    if !squeezed || !exponent_or_squeezed(&source.text.as_bytes()[stretch.from..stretch.to]) {
        return read(stretch, notes);
    }
    let with = |exponents: Exponents| {
        silently(DataStretch {
            exponents,
            ..*stretch
        })
    };
    let (strict, free) = (with(Exponents::Strict), with(Exponents::Free));
    let open = match stretch.told.get(Choice::Exponent) {
        Some(standard) => {
            stretch.exponents = if standard {
                Exponents::Strict
            } else {
                Exponents::Free
            };
            false
        }
        None if strict.curve == free.curve || better(&strict, 0, &free, 0) => false,
        None if better(&free, 0, &strict, 0) => {
            stretch.exponents = Exponents::Free;
            false
        }
        None => true,
    };
    stretch.doubtful_exponents = stretch.exponents == Exponents::Strict;
    let mut outcome = read(stretch, notes);
    if open {
        outcome.doubts.push(Doubt::new(Choice::Exponent, true));
    }
    outcome
}

/// Which of two silent readings the labels support: at least two of them agree, more than with the other reading,
/// and less is wrong.
fn better(one: &TableOutcome, bonus: u32, other: &TableOutcome, others: u32) -> bool {
    let (agreed, beside) = (one.agreed + bonus, other.agreed + others);
    agreed >= 2 && agreed > beside && one.flaws() < other.flaws()
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum CommaDecision {
    /// No comma, or commas that can only be separators.
    Separator,
    /// Every comma stands between digits, at most one in a word, and there is no point: either is possible.
    Either,
}

/// What the commas of a table can be, by the pattern of the whole table.
pub(super) fn comma(source: &RecordSource<'_>, stretch: &DataStretch) -> CommaDecision {
    let bytes = &source.text.as_bytes()[stretch.from..stretch.to];
    if memchr::memchr(b',', bytes).is_none() || memchr::memchr(b'.', bytes).is_some() {
        return CommaDecision::Separator;
    }
    let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let mut last = None;
    for at in memchr::memchr_iter(b',', bytes) {
        if at == 0 || !digit(at - 1) || !digit(at + 1) {
            return CommaDecision::Separator;
        }
        if last.is_some_and(|before: usize| bytes[before + 1..at].iter().all(u8::is_ascii_digit)) {
            return CommaDecision::Separator;
        }
        last = Some(at);
    }
    CommaDecision::Either
}

/// Leaves out a table whose commas nothing decides.
pub(super) fn comma_undecided(stretch: &DataStretch, notes: &mut Notes<'_>) -> TableOutcome {
    let found = "commas between digits, and labels that fit neither reading or both".into();
    notes.add(
        Code::CommaUndecided,
        stretch.line,
        stretch.head,
        found,
        "decimal points",
    );
    let left_out = vec![LeftOut {
        first: stretch.line,
        last: u32::MAX,
        code: Code::CommaUndecided,
    }];
    TableOutcome {
        left_out,
        ..TableOutcome::default()
    }
}

/// Takes `point` for the decimal sign.
pub(super) fn settle_comma(stretch: &mut DataStretch, point: u8, notes: &mut Notes<'_>) {
    stretch.point = point;
    if point == b',' {
        let found = "commas between digits".into();
        notes.add(
            Code::DecimalComma,
            stretch.line,
            stretch.head,
            found,
            "decimal points",
        );
    }
}
