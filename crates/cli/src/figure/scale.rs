//! Round numbers along an axis, and where a value lies on it.

/// The ends of an axis and the numbers along it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) ticks: Vec<(f64, String)>,
}

impl Scale {
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
        Self { low, high, ticks }
    }

    /// Where a value lies, 0 to 1 inside the scale.
    pub(super) fn place(&self, value: f64) -> f64 {
        (value - self.low) / (self.high - self.low)
    }

    pub(super) fn holds(&self, value: f64) -> bool {
        value.is_finite() && value >= self.low && value <= self.high
    }
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
        let scale = super::Scale::of([0.0, 10.0].into_iter(), true);
        assert_eq!((scale.low, scale.high), (0.0, 10.5));
        let scale = super::Scale::of([1.0, 11.0].into_iter(), true);
        assert_eq!((scale.low, scale.high), (0.5, 11.5));
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
