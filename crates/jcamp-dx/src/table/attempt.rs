//! One reading of a table, with what was told about the choices that it leaves open.

use super::decide::{CommaDecision, comma, comma_undecided, decided, settle_comma};
use super::{Data, DataStretch, Doubt, LeftOut, NumberReading, Peaks, RawTable};
use crate::axis::LabelAxis;
use crate::choice::Choice;
use crate::form::Shape;
use crate::records::RecordSource;
use crate::remark::{Code, Notes};
use crate::{groups, xydata};

/// One reading of a table. Where that leaves a choice open, it can be turned and read again.
pub(super) struct Attempt<'a, 't> {
    pub(super) source: &'a RecordSource<'t>,
    pub(super) raw: &'a RawTable,
    pub(super) shape: &'a Shape,
    pub(super) axis: LabelAxis,
    pub(super) stretch: DataStretch,
    pub(super) reading: NumberReading,
    pub(super) bound: usize,
}

impl Attempt<'_, '_> {
    /// Takes the other reading of a choice from now on.
    pub(super) fn turn(&mut self, doubt: Doubt) {
        self.stretch.told = self.stretch.told.with(doubt.choice, !doubt.standard);
        match doubt.choice {
            Choice::XFactor => {
                self.axis.x_factor = doubt.factor;
                self.axis.w_factor = doubt.factor;
            }
            Choice::YFactor => self.axis.y_factor = doubt.factor,
            Choice::Exponent | Choice::Form | Choice::Spacing | Choice::YChecks => {}
        }
    }

    pub(super) fn read(&self, notes: &mut Notes<'_>) -> (Data, Vec<LeftOut>, Vec<Doubt>) {
        let Self {
            source, axis, bound, ..
        } = *self;
        let mut stretch = self.stretch;
        match self.shape {
            Shape::Spaced { .. } => {
                let mut outcome = decided(
                    source,
                    &mut stretch,
                    &axis,
                    self.reading,
                    true,
                    notes,
                    &|stretch: &DataStretch, notes: &mut Notes<'_>| {
                        xydata::read(source, stretch, &axis, bound, notes)
                    },
                );
                if !outcome.as_pairs {
                    return (Data::Xy(outcome.curve), outcome.left_out, outcome.doubts);
                }
                let found = "unevenly spaced lines of one ordinate".into();
                let (line, head) = (self.raw.line, self.raw.head);
                notes.add(Code::FormReadAsPairs, line, head, found, "(XY..XY)");
                let pairs = groups::read_points(source, &stretch, &axis, bound, notes);
                outcome.doubts.extend(pairs.doubts);
                (Data::Points(pairs.curve), pairs.left_out, outcome.doubts)
            }
            Shape::Groups { columns } if columns.len() == 2 && self.raw.label != "PEAKTABLE" => {
                let outcome = decided(
                    source,
                    &mut stretch,
                    &axis,
                    self.reading,
                    false,
                    notes,
                    &|stretch: &DataStretch, notes: &mut Notes<'_>| {
                        groups::read_points(source, stretch, &axis, bound, notes)
                    },
                );
                (Data::Points(outcome.curve), outcome.left_out, outcome.doubts)
            }
            Shape::Groups { columns } => {
                let Some(point) = self.decimal_sign_of_peaks(columns) else {
                    let undecided = comma_undecided(&stretch, notes);
                    return (Data::Peaks(Peaks::default()), undecided.left_out, Vec::new());
                };
                settle_comma(&mut stretch, point, notes);
                let (peaks, left_out) = groups::read_peaks(source, &stretch, &axis, columns, bound, notes);
                let heights = peaks.rows.iter().filter_map(|peak| peak.y);
                let doubts = groups::factor_doubts(
                    &axis,
                    peaks.rows.iter().map(|peak| peak.x),
                    heights,
                    &peaks.y_decimals,
                );
                (Data::Peaks(peaks), left_out, doubts)
            }
            Shape::Assigned { columns } => {
                let (list, left_out) =
                    groups::read_assignments(source, &stretch, &axis, columns, bound, notes);
                let heights = list.rows.iter().filter_map(|row| row.y);
                let doubts = groups::factor_doubts(
                    &axis,
                    list.rows.iter().map(|row| row.x),
                    heights,
                    &list.y_decimals,
                );
                (Data::Assignments(list), left_out, doubts)
            }
        }
    }

    /// The decimal sign of a peak table whose commas may be either: the count of peaks and whole groups are all that
    /// tells.
    fn decimal_sign_of_peaks(&self, columns: &str) -> Option<u8> {
        match (comma(self.source, &self.stretch), self.reading.decimal_comma) {
            (CommaDecision::Separator, _) | (_, Some(false)) => return Some(b'.'),
            (CommaDecision::Either, Some(true)) => return Some(b','),
            (CommaDecision::Either, None) => {}
        }
        let read = |point: u8| {
            let stretch = DataStretch {
                point,
                ..self.stretch
            };
            let mut silent = Notes::new(self.source.text, 0);
            let (peaks, left) = groups::read_peaks(
                self.source,
                &stretch,
                &self.axis,
                columns,
                self.bound,
                &mut silent,
            );
            (self.axis.count() == Some(peaks.rows.len()), left.len())
        };
        let (decimal, separator) = (read(b','), read(b'.'));
        let fits = |one: (bool, usize), other: (bool, usize)| one.0 && !other.0 && one.1 <= other.1;
        if fits(decimal, separator) {
            Some(b',')
        } else if fits(separator, decimal) {
            Some(b'.')
        } else {
            None
        }
    }
}
