//! Curves: in even steps as XYDATA, all others as XYPOINTS.

use super::{DocumentWriter, WriteRefusal};
use crate::asdf::decode::MISSING;
use crate::asdf::encode::{COLUMNS, Form, GREATEST, encode};
use crate::axis::shortest;
use crate::curve::{Curve, Decimals, Missing};
use crate::grid::{EvenGrid, line_decimals};
use crate::number::{Decimal, POWERS, integer, integer_in, print};
use crate::remark::Code;
use crate::text::remark;

/// How a curve is written.
pub(super) struct Plan {
    /// Evenly spaced: the grid.
    pub(super) grid: Option<EvenGrid>,
    /// Ordinates as integers with this power of ten, missing ones marked.
    pub(super) integers: Option<(Vec<i64>, u16)>,
}

impl DocumentWriter<'_> {
    /// Checks a curve and decides how to write it.
    pub(super) fn plan(&mut self, curve: &Curve, title: &str) -> Result<Plan, WriteRefusal> {
        check_curve(curve, title)?;
        let all_x = all_abscissas(curve);
        let grid = even_grid(&all_x, &curve.x_decimals);
        let form = self.options.form;
        let integers = if grid.is_none() || form == Form::Affn {
            None
        } else {
            self.integers(curve)
        };
        if grid.is_none() && form != Form::Affn {
            let found = format!("uneven or unrepresentable spacing in {title:?}");
            self.remarks.push(remark(
                Code::FormNotPossible,
                found,
                "even spacing for XYDATA; XYPOINTS was written",
            ));
        } else if integers.is_none() && form != Form::Affn {
            let found =
                format!("ordinates of {title:?} that are no integers of 31 bits times a power of ten");
            self.remarks.push(remark(
                Code::FormNotPossible,
                found,
                format!("values for {form:?}; AFFN was written"),
            ));
        }
        Ok(Plan { grid, integers })
    }

    /// The ordinates as integers, if that loses nothing.
    pub(super) fn integers(&self, curve: &Curve) -> Option<(Vec<i64>, u16)> {
        let decimals = match &curve.y_decimals {
            Decimals::Same(d) => *d,
            Decimals::Each(_) if self.options.pad_decimals => curve.y_decimals.greatest()?,
            _ => return None,
        };
        // The factor is printed and read as a decimal; its power is exact up to 22.
        let power = *POWERS.get(decimals as usize)?;
        let mut values = Vec::with_capacity(curve.y.len() + curve.missing.len());
        let mut missing = curve.missing.iter().peekable();
        let fits = |y: f64| integer_in(y, power).filter(|m| m.abs() <= GREATEST);
        if curve.missing.is_empty() {
            // One loop without branches; whether all values fit is asked once. Adding and taking away 1.5 * 2^52
            // rounds to a whole number; where the product is too great for that, the limit refuses it.
            const ROUND: f64 = 6_755_399_441_055_744.0;
            let mut all = true;
            values.extend(curve.y.iter().map(|y| {
                let m = (y * power + ROUND) - ROUND + 0.0;
                all &= (m.abs() <= GREATEST as f64) & ((m / power).to_bits() == y.to_bits());
                m as i64
            }));
            return all.then_some((values, decimals));
        }
        for index in 0..=curve.y.len() {
            while missing.next_if(|m| m.before == index).is_some() {
                values.push(MISSING);
            }
            if let Some(y) = curve.y.get(index) {
                values.push(fits(*y)?);
            }
        }
        Some((values, decimals))
    }

    pub(super) fn curve(&mut self, curve: &Curve, plan: &Plan) {
        let all_x = all_abscissas(curve);
        let decimals = plan.integers.as_ref().map_or(0, |i| i.1);
        self.plain("XFACTOR", "1");
        self.plain("YFACTOR", &power_text(decimals));
        self.range_labels(curve, &all_x);
        self.plain("NPOINTS", &all_x.len().to_string());
        match &plan.grid {
            Some(grid) => {
                if all_x.len() > 1 {
                    let step = grid.step();
                    self.number("DELTAX", step, step_decimals(grid, step));
                }
                self.plain("XYDATA", "(X++(Y..Y))");
                self.xydata(curve, plan, grid);
            }
            None => {
                self.plain("XYPOINTS", "(XY..XY)");
                self.xypoints(curve);
            }
        }
    }

    fn range_labels(&mut self, curve: &Curve, all_x: &[f64]) {
        let x = |index: usize| curve.x_decimals.of(index);
        let last = all_x.len() - 1;
        self.number("FIRSTX", all_x[0], x(0));
        self.number("LASTX", all_x[last], x(curve.x.len() - 1));
        self.number("FIRSTY", curve.y[0], curve.y_decimals.of(0));
        let (min, max) = extremes(&curve.x);
        self.number("MAXX", curve.x[max], x(max));
        self.number("MINX", curve.x[min], x(min));
        let (min, max) = extremes(&curve.y);
        self.number("MAXY", curve.y[max], curve.y_decimals.of(max));
        self.number("MINY", curve.y[min], curve.y_decimals.of(min));
    }

    /// The lines of an evenly spaced table.
    pub(super) fn xydata(&mut self, curve: &Curve, plan: &Plan, grid: &EvenGrid) {
        let x_decimals = curve
            .x_decimals
            .greatest()
            .unwrap_or_else(|| line_decimals(grid.step()));
        let unlimited = curve.x_decimals.greatest().is_none();
        let print_x = |index: usize, text: &mut String| {
            let x = grid.at(index);
            if unlimited {
                // A quotient without end: enough digits to tell the point.
                text.push_str(&format!("{x:.*}", x_decimals as usize));
            } else {
                print(x, Some(x_decimals), text);
            }
        };
        if let Some((values, _)) = &plan.integers {
            let mut text = String::new();
            let mut bytes = std::mem::take(&mut self.out).into_bytes();
            bytes.reserve(values.len() * 2);
            let mut x = |index: usize, out: &mut Vec<u8>| {
                text.clear();
                print_x(index, &mut text);
                out.extend_from_slice(text.as_bytes());
            };
            encode(values, self.options.form, &mut x, &mut bytes);
            // Only whole strings and ASCII went in, so this cannot fail.
            self.out = String::from_utf8(bytes).unwrap_or_default();
            return;
        }
        let (mut line, mut field) = (String::new(), String::new());
        let mut more = 0usize;
        let mut point = 0;
        let mut missing = curve.missing.iter().peekable();
        let mut add = |index: usize, field: &str, out: &mut String| {
            if line.is_empty() {
                print_x(index, &mut line);
            } else if line.len() + 1 + field.len() > COLUMNS {
                out.push_str(&line);
                out.push_str("\r\n");
                line.clear();
                print_x(index, &mut line);
            }
            line.push(' ');
            line.push_str(field);
        };
        for index in 0..=curve.y.len() {
            while missing.next_if(|m| m.before == index).is_some() {
                add(point, "?", &mut self.out);
                point += 1;
            }
            if let Some(y) = curve.y.get(index) {
                field.clear();
                more += usize::from(print(*y, curve.y_decimals.of(index), &mut field));
                add(point, &field, &mut self.out);
                point += 1;
            }
        }
        self.out.push_str(&line);
        self.out.push_str("\r\n");
        self.more_decimals(more);
    }

    pub(super) fn more_decimals(&mut self, count: usize) {
        if count > 0 {
            let found = format!("{count} values with more decimals than stated");
            self.remarks.push(remark(
                Code::MoreDecimals,
                found,
                "the count of decimals of the column",
            ));
        }
    }

    pub(super) fn xypoints(&mut self, curve: &Curve) {
        let mut more = 0usize;
        let mut missing = curve.missing.iter().peekable();
        for index in 0..=curve.y.len() {
            while let Some(m) = missing.next_if(|m| m.before == index) {
                let near = index.min(curve.x.len() - 1);
                print(m.x, curve.x_decimals.of(near), &mut self.out);
                self.out.push_str(",?\r\n");
            }
            let (Some(x), Some(y)) = (curve.x.get(index), curve.y.get(index)) else {
                continue;
            };
            let odd_x = print(*x, curve.x_decimals.of(index), &mut self.out);
            self.out.push(',');
            let odd_y = print(*y, curve.y_decimals.of(index), &mut self.out);
            more += usize::from(odd_x && curve.x_decimals.greatest().is_some()) + usize::from(odd_y);
            self.out.push_str("\r\n");
        }
        self.more_decimals(more);
    }
}

pub(super) fn bits_equal(a: &[f64], b: &[f64]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.to_bits() == b.to_bits())
}

pub(super) fn check_curve(curve: &Curve, title: &str) -> Result<(), WriteRefusal> {
    let inconsistent = |what| {
        Err(WriteRefusal::Inconsistent {
            title: title.to_owned(),
            what,
        })
    };
    if curve.x.len() != curve.y.len() {
        return inconsistent("x and y must be of equal length");
    }
    if curve.is_empty() {
        return Err(WriteRefusal::Empty {
            title: title.to_owned(),
        });
    }
    for (decimals, values) in [
        (&curve.x_decimals, &curve.x[..]),
        (&curve.y_decimals, &curve.y[..]),
    ] {
        if matches!(decimals, Decimals::Each(counts) if counts.len() != values.len()) {
            return inconsistent("a list of decimals must have one entry for each value");
        }
    }
    // A sum of finite numbers can overflow, so each is looked at.
    let odd = curve
        .x
        .iter()
        .zip(&curve.y)
        .position(|(x, y)| !(x.is_finite() && y.is_finite()));
    if let Some(index) = odd {
        return Err(WriteRefusal::NotFinite {
            title: title.to_owned(),
            index,
        });
    }
    let in_order = curve.missing.windows(2).all(|w| w[0].before <= w[1].before);
    if !in_order || curve.missing.last().is_some_and(|m| m.before > curve.len()) {
        return inconsistent("missing points must be in order and within the curve");
    }
    match curve.missing.iter().position(|m| !m.x.is_finite()) {
        Some(index) => Err(WriteRefusal::NotFinite {
            title: title.to_owned(),
            index,
        }),
        None => Ok(()),
    }
}

/// The abscissas of all points, missing ones in their places.
pub(super) fn all_abscissas(curve: &Curve) -> std::borrow::Cow<'_, [f64]> {
    if curve.missing.is_empty() {
        return std::borrow::Cow::Borrowed(&curve.x);
    }
    let mut all = Vec::with_capacity(curve.x.len() + curve.missing.len());
    let mut from = 0;
    for Missing { x, before, .. } in &curve.missing {
        all.extend_from_slice(&curve.x[from..*before]);
        all.push(*x);
        from = *before;
    }
    all.extend_from_slice(&curve.x[from..]);
    std::borrow::Cow::Owned(all)
}

/// The grid that gives exactly these abscissas and decimals back, if there is one.
pub(super) fn even_grid(x: &[f64], decimals: &Decimals) -> Option<EvenGrid> {
    let end = |value: f64| match decimals {
        Decimals::Same(d) => Some(Decimal {
            mantissa: integer(value, *d)?,
            exponent: -i32::from(*d),
        }),
        Decimals::Unlimited => shortest(value),
        Decimals::Each(_) => None,
    };
    let (first, last) = (end(x[0])?, end(x[x.len() - 1])?);
    let grid = EvenGrid::between(first, last, x.len() - 1)?;
    // Steps below the last printed digit cannot be told at the start of a line.
    if grid.decimals() != *decimals
        || (x.len() > 1 && (grid.step() == 0.0 || line_decimals(grid.step()) > 15))
    {
        return None;
    }
    let mut computed = Vec::with_capacity(1024);
    for (chunk, values) in x.chunks(1024).enumerate() {
        computed.clear();
        grid.extend(chunk * 1024, values.len(), &mut computed);
        if !bits_equal(&computed, values) {
            return None;
        }
    }
    Some(grid)
}

/// The decimals with which a step is exact: those of its grid, or none for quotients without end.
fn step_decimals(grid: &EvenGrid, step: f64) -> Option<u16> {
    grid.decimals().greatest().filter(|d| integer(step, *d).is_some())
}

fn extremes(values: &[f64]) -> (usize, usize) {
    let (mut min, mut max) = (0, 0);
    for (index, value) in values.iter().enumerate() {
        if *value < values[min] {
            min = index;
        }
        if *value > values[max] {
            max = index;
        }
    }
    (min, max)
}

/// `10^-decimals` as printed.
pub(super) fn power_text(decimals: u16) -> String {
    match decimals {
        0 => "1".to_owned(),
        1..=9 => format!("0.{}1", "0".repeat(decimals as usize - 1)),
        _ => format!("1.0E-{decimals:02}"),
    }
}
