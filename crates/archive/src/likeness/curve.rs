//! A trace as a curve that can be compared, and the comparison itself.

use std::fmt;

use curvary_record::{Column, Quantity, Run, Trace, Unit};

/// A curve needs so many points in the common range: fewer straight lines are hardly a shape (our own rule).
pub(crate) const FEWEST_POINTS: usize = 10;
/// The common range must be at least this part of the longer range: else two curves are called alike for a corner of
/// one of them (our own rule).
const LEAST_OVERLAP: f64 = 0.5;

/// h c / e in eV nm, from the three constants that define the SI since 2019: h = 6.62607015e-34 J s,
/// c = 299792458 m/s, e = 1.602176634e-19 C.
const EV_NM: f64 = 6.626_070_15e-34 * 299_792_458.0 / 1.602_176_634e-19 * 1e9;
/// A wavenumber in cm⁻¹ times its wavelength in nm, by definition (in vacuum).
const PER_CM_NM: f64 = 1e7;

/// What a curve runs over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum CurveAxis {
    /// Wavelength in nanometres.
    Wavelength,
    /// Time in seconds.
    Time,
}

/// Absorbance over wavelength or time, ready to be compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    pub(crate) axis: CurveAxis,
    /// Nanometres or seconds, rising.
    pub(crate) x: Vec<f64>,
    /// Absorbance from 0 (its lowest) to 1 (its highest): neither matters to r, and no sum can overflow.
    pub(crate) y: Vec<f64>,
    /// A spread in the unit of `y` that is no more than the last decimal of what was recorded.
    pub(crate) coarse: f64,
}

/// Why a trace has no likeness to any other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoLikeness {
    /// What it runs over, in words.
    Axis(String),
    /// What was measured, in words.
    Quantity(String),
    /// A transmittance that is zero or less somewhere has no absorbance there.
    NotPositive,
    /// So few points.
    TooFew(usize),
    /// Two values at one place.
    Doubled,
    /// No spread beyond the last decimal.
    Flat,
    /// A question of the run about its curves is open.
    InQuestion(String),
}

impl fmt::Display for NoLikeness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Axis(found) => write!(
                f,
                "it runs over {found}; expected a wavelength, a wavenumber, an energy of light, or a time"
            ),
            Self::Quantity(found) => write!(
                f,
                "its values are of {found}; expected an absorbance, or a transmittance that has one"
            ),
            Self::NotPositive => {
                f.write_str("its transmittance is zero or less somewhere, where there is no absorbance")
            }
            Self::TooFew(found) => write!(f, "it has {found} points; expected at least {FEWEST_POINTS}"),
            Self::Doubled => f.write_str("it has two values at one place of its axis"),
            Self::Flat => f.write_str("it is flat to its last decimal, and so has no shape"),
            Self::InQuestion(message) => write!(f, "its run is in question: {message}"),
        }
    }
}

impl std::error::Error for NoLikeness {}

impl Curve {
    /// The curve of one trace of a run.
    ///
    /// Wavenumbers and energies become wavelengths, transmittance becomes absorbance (A = -lg T). Points beyond the range
    /// of the instrument are left out, and the curve runs straight over the gap.
    ///
    /// # Errors
    /// Why it can be compared with nothing.
    pub fn of(run: &Run, trace: &Trace) -> Result<Self, NoLikeness> {
        match run.question_about_curves() {
            Some(question) => Err(NoLikeness::InQuestion(question.message.clone())),
            None => Self::of_trace(trace),
        }
    }

    pub(crate) fn of_trace(trace: &Trace) -> Result<Self, NoLikeness> {
        let (axis, x) = places(&trace.x)?;
        let (y, unit_of_last_decimal) = absorbances(&trace.y)?;
        let mut points: Vec<(f64, f64)> = x.into_iter().zip(y).collect();
        if !trace.saturated.is_empty() {
            let mut number = 0_u32;
            points.retain(|_| {
                let kept = !trace.saturated.contains(&number);
                number = number.saturating_add(1);
                kept
            });
        }
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self::new(axis, &points, unit_of_last_decimal)
    }

    /// A curve of points in rising order.
    pub(crate) fn new(
        axis: CurveAxis,
        points: &[(f64, f64)],
        unit_of_last_decimal: f64,
    ) -> Result<Self, NoLikeness> {
        if points.len() < FEWEST_POINTS {
            return Err(NoLikeness::TooFew(points.len()));
        }
        if points.windows(2).any(|two| matches!(two, [a, b] if a.0 >= b.0)) {
            return Err(NoLikeness::Doubled);
        }
        let (low, high) = ends(points.iter().map(|point| point.1));
        let spread = high - low;
        // A last decimal may print as a binary neighbour of its multiple: 0.3 - 0.2 is a little less than 0.1.
        if spread <= unit_of_last_decimal * (1.0 + 1e-9) {
            return Err(NoLikeness::Flat);
        }
        let x: Vec<f64> = points.iter().map(|point| point.0).collect();
        let y: Vec<f64> = points.iter().map(|point| (point.1 - low) / spread).collect();
        let whole = Self {
            axis,
            x,
            y,
            coarse: unit_of_last_decimal * (1.0 + 1e-9) / spread,
        };
        // Only numbers near the end of the range of binary floating point get here.
        if !spread.is_finite() || !(whole.last() - whole.first()).is_finite() {
            return Err(NoLikeness::Quantity("numbers too large to be compared".into()));
        }
        Ok(whole)
    }

    pub(crate) fn first(&self) -> f64 {
        self.x.first().copied().unwrap_or(0.0)
    }

    pub(crate) fn last(&self) -> f64 {
        self.x.last().copied().unwrap_or(0.0)
    }

    /// Whether it has enough points in a range.
    pub(crate) fn has_points_in(&self, range: (f64, f64)) -> bool {
        let from = self.x.partition_point(|&x| x < range.0);
        let to = self.x.partition_point(|&x| x <= range.1);
        to.saturating_sub(from) >= FEWEST_POINTS
    }

    /// The likeness to another curve, from -1 to 1.
    ///
    /// None where there is nothing to compare: another axis, too little common range, fewer than ten points of one of
    /// them in it, or no shape there.
    #[must_use]
    pub fn likeness(&self, other: &Self) -> Option<f64> {
        if self.axis != other.axis {
            return None;
        }
        let range = common((self.first(), self.last()), (other.first(), other.last()))?;
        if !self.has_points_in(range) || !other.has_points_in(range) {
            return None;
        }
        let both = Merged::new((&self.x, &self.y), (&other.x, &other.y), range);
        let (f, g) = (both.spread(|one| one.1), both.spread(|one| one.2));
        if f <= self.coarse || g <= other.coarse {
            return None;
        }
        let (f, g) = (both.mean(|one| one.1), both.mean(|one| one.2));
        let product = both.product((f, g), |one| (one.1, one.2));
        let own = both.product((f, f), |one| (one.1, one.1));
        let others = both.product((g, g), |one| (one.2, one.2));
        let r = product / (own.sqrt() * others.sqrt());
        r.is_finite().then(|| r.clamp(-1.0, 1.0))
    }
}

/// The range that two ranges share, where it is large enough.
pub(crate) fn common(own: (f64, f64), other: (f64, f64)) -> Option<(f64, f64)> {
    let range = (own.0.max(other.0), own.1.min(other.1));
    let longer = (own.1 - own.0).max(other.1 - other.0);
    let length = range.1 - range.0;
    (length > 0.0 && length >= LEAST_OVERLAP * longer).then_some(range)
}

/// The least and the greatest.
fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    })
}

/// The places of a column in nanometres or seconds.
fn places(x: &Column) -> Result<(CurveAxis, Vec<f64>), NoLikeness> {
    let wrong = || NoLikeness::Axis(format!("{} in {}", x.quantity, x.unit));
    let factor = |unit: &Unit| x.unit.convert(1.0, unit).map_err(|_| wrong());
    let (axis, values): (CurveAxis, Vec<f64>) = if x.quantity == Quantity::TIME {
        let factor = factor(&Unit::SECOND)?;
        (CurveAxis::Time, x.values.iter().map(|t| t * factor).collect())
    } else if x.quantity == Quantity::WAVELENGTH {
        let factor = factor(&Unit::NANOMETRE)?;
        (
            CurveAxis::Wavelength,
            x.values.iter().map(|nm| nm * factor).collect(),
        )
    } else if x.quantity == Quantity::WAVENUMBER || x.quantity == Quantity::ENERGY {
        let (factor, product) = if x.quantity == Quantity::ENERGY {
            let electronvolt = Unit::ucum("eV").map_err(|_| wrong())?;
            (factor(&electronvolt)?, EV_NM)
        } else {
            (factor(&Unit::PER_CENTIMETRE)?, PER_CM_NM)
        };
        let values = x.values.iter().map(|value| product / (value * factor));
        (CurveAxis::Wavelength, values.collect())
    } else {
        return Err(wrong());
    };
    let sound = values
        .iter()
        .all(|&value| value.is_finite() && (axis == CurveAxis::Time || value > 0.0));
    if sound { Ok((axis, values)) } else { Err(wrong()) }
}

/// The absorbances of a column, and the spread in absorbance that one unit of its last decimal is.
///
/// Where a transmittance is `T`, one unit `u` of its last decimal is lg((T + u)/T) in absorbance. It is taken where the
/// transmittance is highest and `u` weighs least, so that no shape is taken for the last decimal.
fn absorbances(y: &Column) -> Result<(Vec<f64>, f64), NoLikeness> {
    let wrong = || NoLikeness::Quantity(format!("{} in {}", y.quantity, y.unit));
    let factor = |unit: &Unit| y.unit.convert(1.0, unit).map_err(|_| wrong());
    let last = y
        .decimals
        .max()
        .map_or(0.0, |digits| 10_f64.powi(-i32::from(digits)));
    if y.quantity == Quantity::ABSORBANCE {
        let factor = factor(&Unit::ABSORBANCE)?;
        Ok((y.values.iter().map(|a| a * factor).collect(), last * factor))
    } else if y.quantity == Quantity::TRANSMITTANCE {
        let factor = factor(&Unit::ONE)?;
        let fractions: Vec<f64> = y.values.iter().map(|t| t * factor).collect();
        let (lowest, highest) = ends(fractions.iter().copied());
        if lowest <= 0.0 {
            return Err(NoLikeness::NotPositive);
        }
        let values = fractions.iter().map(|t| -t.log10()).collect();
        Ok((
            values,
            (last * factor / highest).ln_1p() / std::f64::consts::LN_10,
        ))
    } else {
        Err(wrong())
    }
}

/// Two curves at every place of either in a range, its ends among them: place and both values. Between neighbours both
/// run straight, so integrals of them and of their products are exact.
pub(crate) struct Merged(Vec<(f64, f64, f64)>);

impl Merged {
    /// Both curves (places and values) in a range that both cover.
    pub(crate) fn new(f: (&[f64], &[f64]), g: (&[f64], &[f64]), range: (f64, f64)) -> Self {
        let mut all = Vec::with_capacity(f.0.len() + g.0.len() + 2);
        together(f, g, range, |place| all.push(place));
        Self(all)
    }

    pub(crate) fn spread(&self, of: impl Fn(&(f64, f64, f64)) -> f64) -> f64 {
        let (low, high) = ends(self.0.iter().map(of));
        high - low
    }

    pub(crate) fn mean(&self, of: impl Fn(&(f64, f64, f64)) -> f64) -> f64 {
        let (mut sum, mut length) = (0.0, 0.0);
        self.each(|one, two| {
            sum += (two.0 - one.0) * (of(one) + of(two)) / 2.0;
            length += two.0 - one.0;
        });
        sum / length
    }

    /// The integral of the product of two values, each less its mean.
    pub(crate) fn product(&self, means: (f64, f64), of: impl Fn(&(f64, f64, f64)) -> (f64, f64)) -> f64 {
        let mut sum = 0.0;
        self.each(|one, two| {
            let less = |(f, g): (f64, f64)| (f - means.0, g - means.1);
            sum += (two.0 - one.0) * straight(less(of(one)), less(of(two)));
        });
        sum
    }

    /// Calls `each` for every two neighbours.
    pub(crate) fn each(&self, mut each: impl FnMut(&(f64, f64, f64), &(f64, f64, f64))) {
        for two in self.0.windows(2) {
            if let [one, two] = two {
                each(one, two);
            }
        }
    }
}

/// Walks over every place of either of two curves in a range that both cover, and gives both values there.
pub(crate) fn together(
    f: (&[f64], &[f64]),
    g: (&[f64], &[f64]),
    range: (f64, f64),
    mut each: impl FnMut((f64, f64, f64)),
) {
    let (mut f, mut g) = (CurveWalk::new(f), CurveWalk::new(g));
    let mut at = range.0;
    loop {
        each((at, f.at(at), g.at(at)));
        if at >= range.1 {
            return;
        }
        at = f.beyond().min(g.beyond()).min(range.1);
    }
}

/// The mean of the product of two straight lines between their values at both ends, by Simpson's rule, which is exact
/// for it.
#[inline]
pub(crate) fn straight(from: (f64, f64), to: (f64, f64)) -> f64 {
    (2.0 * (from.0 * from.1 + to.0 * to.1) + (from.0 * to.1 + to.0 * from.1)) / 6.0
}

/// Walks along a curve from left to right, from no further left than its first point.
pub(crate) struct CurveWalk<'a> {
    /// The points to come.
    rest: std::iter::Zip<std::slice::Iter<'a, f64>, std::slice::Iter<'a, f64>>,
    /// The last point that is not to the right of where the walk has come.
    from: (f64, f64),
    /// The point after it; at infinity behind the last one.
    to: (f64, f64),
    /// How steep the line between them is.
    slope: f64,
}

impl<'a> CurveWalk<'a> {
    pub(crate) fn new((x, y): (&'a [f64], &'a [f64])) -> Self {
        let mut walk = Self {
            rest: x.iter().zip(y),
            from: (0.0, 0.0),
            to: (0.0, 0.0),
            slope: 0.0,
        };
        walk.step();
        walk.step();
        walk
    }

    #[inline]
    fn step(&mut self) {
        self.from = self.to;
        self.to = match self.rest.next() {
            Some((&x, &y)) => (x, y),
            None => (f64::INFINITY, self.from.1),
        };
        self.slope = (self.to.1 - self.from.1) / (self.to.0 - self.from.0);
    }

    /// The value at a place that is no further left than the last one; behind the last point, the value there.
    #[inline]
    pub(crate) fn at(&mut self, place: f64) -> f64 {
        while self.to.0 <= place {
            self.step();
        }
        self.from.1 + self.slope * (place - self.from.0)
    }

    /// The place of the next point to the right of the last place.
    #[inline]
    fn beyond(&self) -> f64 {
        self.to.0
    }
}
