//! Round numbers along an axis, and where a value lies on it.

/// The ends of an axis and the numbers along it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct AxisScale {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) ticks: Vec<(f64, String)>,
    /// Whether equal ratios are equally far apart.
    pub(super) logarithmic: bool,
    /// Where a logarithmic axis is broken, from zero before it to the lowest value behind; none where zero is not on it.
    pub(super) gap: Option<f64>,
}

/// Decades from which on doses stand on a logarithmic axis.
const DECADES: f64 = 1.5;
/// Where zero stands on a broken axis, where it is broken, and where the decades begin.
const BROKEN: (f64, f64, f64) = (0.05, 0.10, 0.14);

impl AxisScale {
    /// A logarithmic scale for doses over a decade and a half or more; none for others, and where one is negative.
    pub(super) fn of_doses(values: impl Iterator<Item = f64>) -> Option<Self> {
        let values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
        let zero = values.contains(&0.0);
        let (low, high) = values
            .iter()
            .filter(|value| **value != 0.0)
            .fold((f64::INFINITY, 0.0_f64), |(low, high), value| {
                (low.min(*value), high.max(*value))
            });
        if !(low > 1e-290 && high < 1e290 && (high / low).log10() >= DECADES) {
            return None;
        }
        // Air of a twentieth, as along other axes.
        let air = (high / low).powf(0.05);
        let (low, high) = (low / air, high * air);
        let mut ticks = decades(low, high);
        if zero {
            ticks.insert(0, (0.0, "0".into()));
        }
        Some(Self {
            low,
            high,
            ticks,
            logarithmic: true,
            gap: zero.then_some(BROKEN.1),
        })
    }

    /// The scale that shows all finite values, with a little air where `air`; a single value stands in the middle.
    pub(super) fn of(values: impl Iterator<Item = f64>, air: bool) -> Self {
        // Beyond this the arithmetic of a scale overflows; nothing measured is that large.
        const LARGEST: f64 = 1e300;
        let (mut low, mut high) = values
            .filter(|value| value.is_finite())
            .map(|value| value.clamp(-LARGEST, LARGEST))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        let size = low.abs().max(high.abs());
        // Below a billionth of the values, differences drown in the digits of doubles and of labels.
        if high - low <= 1e-9 * size || high - low < 1e-300 {
            let half = if size < 1e-290 { 1.0 } else { 0.05 * size };
            (low, high) = (low - half, high + half);
        } else if air {
            // An axis that begins or ends at zero does so exactly: zero has a meaning of its own.
            let more = 0.05 * (high - low);
            low = if low == 0.0 { 0.0 } else { low - more };
            high = if high == 0.0 { 0.0 } else { high + more };
        }
        let ticks = ticks(low, high);
        Self {
            low,
            high,
            ticks,
            logarithmic: false,
            gap: None,
        }
    }

    /// Where a value lies, 0 to 1 inside the scale.
    pub(super) fn place(&self, value: f64) -> f64 {
        if !self.logarithmic {
            return (value - self.low) / (self.high - self.low);
        }
        if value <= 0.0 {
            return BROKEN.0;
        }
        let part = (value / self.low).ln() / (self.high / self.low).ln();
        let begin = if self.gap.is_some() { BROKEN.2 } else { 0.0 };
        begin + (1.0 - begin) * part
    }

    pub(super) fn holds(&self, value: f64) -> bool {
        let inside = value >= self.low && value <= self.high;
        value.is_finite() && (inside || self.gap.is_some() && value == 0.0)
    }
}

/// Powers of ten between two ends, and where these are few, twice and five times them; of many decades every second or third.
fn decades(low: f64, high: f64) -> Vec<(f64, String)> {
    let (first, last) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let factors: &[f64] = if last - first <= 4 {
        &[1.0, 2.0, 5.0]
    } else {
        &[1.0]
    };
    let every = ((last - first) / 8).max(0) + 1;
    let plain = (-4..=4).contains(&first) && (-4..=5).contains(&last);
    (first..=last)
        .filter(|power| power.rem_euclid(every) == 0)
        .flat_map(|power| factors.iter().map(move |factor| (power, *factor)))
        .map(|(power, factor)| {
            let value = factor * 10f64.powi(power);
            let text = if plain {
                format!("{value:.*}", usize::try_from(-power).unwrap_or(0))
            } else {
                format!("{factor}e{power}")
            };
            (value, text)
        })
        .filter(|(value, _)| (low..=high).contains(value))
        .collect()
}

/// Round numbers between two ends: steps of 1, 2 or 5 times a power of ten, at most about seven.
fn ticks(low: f64, high: f64) -> Vec<(f64, String)> {
    let rough = (high - low) / 6.0;
    let power = rough.log10().floor();
    let unit = 10f64.powf(power);
    let factor = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .find(|factor| factor * unit >= rough)
        .unwrap_or(10.0);
    let step = factor * unit;
    if !(step.is_finite() && step > 0.0) {
        return Vec::new();
    }
    let first = (low / step).ceil();
    let power = power as i32 + i32::from(factor == 10.0);
    let size = low.abs().max(high.abs());
    (0..12)
        .map(|i| (first + f64::from(i)) * step)
        .take_while(|value| *value <= high + 1e-9 * step)
        .map(|value| {
            (
                value,
                label(if value.abs() < 1e-9 * step { 0.0 } else { value }, power, size),
            )
        })
        .collect()
}

/// A number with as many digits as steps of this power of ten need.
fn label(value: f64, power: i32, size: f64) -> String {
    if !(1e-3..1e6).contains(&size) {
        if value == 0.0 {
            return "0".into();
        }
        let own = value.abs().log10().floor() as i32;
        let digits = usize::try_from(own - power).unwrap_or(0).min(12);
        return format!("{value:.digits$e}");
    }
    let digits = usize::try_from(-power).unwrap_or(0).min(12);
    format!("{value:.digits$}")
}

#[cfg(test)]
mod tests {
    use super::ticks;

    #[test]
    fn an_axis_from_zero_begins_there() {
        let scale = super::AxisScale::of([0.0, 10.0].into_iter(), true);
        assert_eq!((scale.low, scale.high), (0.0, 10.5));
        let scale = super::AxisScale::of([1.0, 11.0].into_iter(), true);
        assert_eq!((scale.low, scale.high), (0.5, 11.5));
    }

    #[test]
    fn doses_stand_on_decades_with_zero_before_the_break() {
        let doses = [0.0, 0.01, 0.03, 0.1, 1.0, 30.0, 100.0];
        let scale = super::AxisScale::of_doses(doses.into_iter()).expect("four decades");
        let places: Vec<f64> = doses.iter().map(|dose| scale.place(*dose)).collect();
        assert!(places.windows(2).all(|pair| pair[0] < pair[1]), "{places:?}");
        assert!(places[0] < scale.gap.expect("a break") && places[1] > scale.gap.expect("a break"));
        // Equal ratios are equally far apart.
        assert!(
            (places[3] - places[1] - (places[4] - places[3])).abs() < 1e-12
                && doses.iter().all(|dose| scale.holds(*dose))
        );
        let shown: Vec<&str> = scale.ticks.iter().map(|(_, text)| text.as_str()).collect();
        assert_eq!(shown, ["0", "0.01", "0.1", "1", "10", "100"]);
        for few in [vec![1.0, 20.0], vec![0.0, 5.0], vec![-1.0, 100.0], Vec::new()] {
            assert_eq!(super::AxisScale::of_doses(few.into_iter()), None);
        }
    }

    #[test]
    fn ticks_are_round_and_few() {
        let shown = |low: f64, high: f64| -> Vec<String> {
            ticks(low, high).into_iter().map(|(_, text)| text).collect()
        };
        assert_eq!(shown(0.0, 1.0), ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
        assert_eq!(shown(195.0, 505.0), ["200", "300", "400", "500"]);
        assert_eq!(shown(-1e-6, 1.0e-6), ["-1.0e-6", "-5e-7", "0", "5e-7", "1.0e-6"]);
    }
}
