//! Whether the labels speak for the factors or against them.
//!
//! FIRSTX, LASTX, FIRSTY and their kin hold true values by the standard, so they tell whether a factor is meant. Real
//! files have them scaled, too. Where one label holds the true value, the factor is certain and the other labels are
//! merely wrong. Where all of them ask for another factor, either they are wrong or the factor is.

use crate::axis::{LabelAxis, StatedNumber};
use crate::choice::Choice;
use crate::number::{Decimal, unit};
use crate::table::Doubt;

/// The abscissas as they were read with the factor.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Abscissas {
    pub(crate) first: f64,
    pub(crate) last: f64,
    pub(crate) least: f64,
    pub(crate) greatest: f64,
    /// The spacing; nothing for points that are not evenly spaced.
    pub(crate) step: Option<f64>,
}

impl Abscissas {
    /// Those of listed points; nothing if there is none.
    pub(crate) fn of(values: impl Iterator<Item = f64>) -> Option<Self> {
        let mut all: Option<Self> = None;
        for x in values {
            let so_far = all.get_or_insert(Self {
                first: x,
                last: x,
                least: x,
                greatest: x,
                step: None,
            });
            so_far.last = x;
            so_far.least = so_far.least.min(x);
            so_far.greatest = so_far.greatest.max(x);
        }
        all
    }
}

/// Whether XFACTOR is in doubt: some label holds an abscissa as printed, and none a true one.
pub(crate) fn doubt_of_x(axis: &LabelAxis, read: &Abscissas) -> Option<Doubt> {
    let factor = axis.x_factor.value();
    if axis.x_factor == Decimal::ONE {
        return None;
    }
    let facts = [
        (axis.first_x, Some(read.first)),
        (axis.last_x, Some(read.last)),
        (axis.min_x, Some(read.least)),
        (axis.max_x, Some(read.greatest)),
        // DELTAX may have the wrong sign; that is told elsewhere.
        (axis.delta_x, read.step),
    ];
    let (mut true_ones, mut printed_ones) = (0, 0);
    for (stated, value) in facts {
        let (Some(stated), Some(value)) = (stated, value) else {
            continue;
        };
        // A tenth of the spacing, as for the X at the line starts; the spacing itself within its last digit.
        let is_step = axis.delta_x.is_some_and(|delta| delta.span == stated.span);
        let near = |value: f64| {
            let coarse = read
                .step
                .filter(|_| !is_step)
                .map_or(0.0, |step| 0.1 * step.abs());
            let slack = stated.decimal.half_unit().max(value.abs() * 1e-9).max(coarse);
            let away = if is_step {
                stated.value().abs() - value.abs()
            } else {
                stated.value() - value
            };
            away.abs() <= slack * 1.000_001
        };
        match (near(value), near(value / factor)) {
            (true, false) => true_ones += 1,
            (false, true) => printed_ones += 1,
            _ => {}
        }
    }
    (printed_ones > 0 && true_ones == 0).then(|| Doubt::factor(Choice::XFactor, Decimal::ONE))
}

/// What a label of ordinates says about YFACTOR.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Agreement {
    /// It holds the true value.
    True,
    /// It holds the value as printed, without the factor.
    Printed,
    /// Neither.
    Other,
}

/// The last printed digits of the ordinates.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Digits {
    /// The power of ten of the last digit that labels are compared within.
    pub(crate) exponent: i32,
    /// All ordinates are printed as integers.
    pub(crate) integers: bool,
}

/// What `stated` says of the ordinate that was read as `value`: each is right within half a unit of its last digit.
pub(crate) fn agreement_of(axis: &LabelAxis, digits: Digits, stated: &StatedNumber, value: f64) -> Agreement {
    let factor = axis.y_factor.value();
    let half = 0.5 * unit(digits.exponent);
    let near = |value: f64, half: f64| {
        (stated.value() - value).abs() <= (half + stated.decimal.half_unit()) * 1.000_001
    };
    if near(value, (half * factor).abs()) {
        Agreement::True
    } else if near(value / factor, half) {
        Agreement::Printed
    } else {
        Agreement::Other
    }
}

/// Whether YFACTOR is in doubt by FIRSTY, MAXY and MINY: none of them holds a true value, and they ask for a factor
/// of one, or all for the same other power of ten. If there are none, it is in doubt where YFACTOR is stated twice, or
/// not at all although the ordinates are integers.
///
/// Integers with a factor below one need that factor: it is where their decimals are kept, and labels that forgot it
/// are a common deviation. So nothing is in doubt there.
pub(crate) fn doubt_of_y(axis: &LabelAxis, digits: Digits, facts: &[(StatedNumber, f64)]) -> Option<Doubt> {
    let said: Vec<Agreement> = facts
        .iter()
        .map(|(stated, value)| agreement_of(axis, digits, stated, *value))
        .collect();
    if said.contains(&Agreement::True) {
        return None;
    }
    if said.is_empty() {
        let missing = (axis.y_factor_missing && digits.integers).then_some(Decimal::ONE);
        let other = axis.other_y_factor.or(missing)?;
        return Some(Doubt::factor(Choice::YFactor, other));
    }
    if said.contains(&Agreement::Printed) {
        let needed = digits.integers && axis.y_factor.value().abs() < 1.0;
        return (!needed).then(|| Doubt::factor(Choice::YFactor, Decimal::ONE));
    }
    let mut power = None;
    for (stated, value) in facts {
        let asked = (stated.value() / value).log10().round();
        if !asked.is_finite() || asked == 0.0 || asked.abs() > 9.0 {
            return None;
        }
        let asked = asked as i32;
        let wanted = value * unit(asked);
        let half = (0.5 * unit(digits.exponent) * axis.y_factor.value() * unit(asked)).abs();
        let slack = half + stated.decimal.half_unit();
        // A label too coarse to tell a factor from chance says nothing: within five percent.
        let tells = slack <= 0.05 * wanted.abs();
        if !tells || (stated.value() - wanted).abs() > slack * 1.000_001 || power.is_some_and(|p| p != asked)
        {
            return None;
        }
        power = Some(asked);
    }
    let factor = Decimal {
        mantissa: axis.y_factor.mantissa,
        exponent: axis.y_factor.exponent + power?,
    };
    Some(Doubt::factor(Choice::YFactor, factor))
}
