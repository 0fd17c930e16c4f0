//! What the numbers of a column are like: how many, how far, in which steps.

/// The numbers of a column looked over.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Stats {
    pub(crate) count: usize,
    pub(crate) min: f64,
    pub(crate) max: f64,
    pub(crate) first: f64,
    pub(crate) last: f64,
    /// Rises or falls strictly all the way.
    pub(crate) rising: bool,
    pub(crate) falling: bool,
    /// Every number is whole.
    pub(crate) whole: bool,
    /// The distance of neighbours, where it is the same throughout to a thousandth.
    pub(crate) step: Option<f64>,
}

/// What is found out about so many names of a column is remembered.
pub(crate) const FEW_NAMES: usize = 256;

impl Stats {
    /// Whether at least so many numbers go on in an even step that no count has.
    pub(crate) fn goes_in_other_steps(&self, fewest: usize) -> bool {
        self.count >= fewest && self.step.is_some_and(|step| step.abs() != 1.0)
    }

    /// Of the numbers that are there; NaN stands for absent ones.
    pub(crate) fn of(values: &[f64]) -> Self {
        let lacking = values.iter().fold(false, |any, value| any | value.is_nan());
        if lacking {
            let present: Vec<f64> = values.iter().copied().filter(|value| !value.is_nan()).collect();
            return Self::of_present(&present);
        }
        Self::of_present(values)
    }

    fn of_present(values: &[f64]) -> Self {
        let [first, .., last] = *values else {
            let only = values.first().copied().unwrap_or_default();
            return Self {
                count: values.len(),
                min: only,
                max: only,
                first: only,
                last: only,
                whole: only.fract() == 0.0,
                ..Self::default()
            };
        };
        let (min, max) = extremes(values);
        let step = values[1] - first;
        let even = |pair: &[f64]| (pair[1] - pair[0] - step).abs() <= 1e-3 * step.abs().max(1e-9) + 1e-9;
        Self {
            count: values.len(),
            min,
            max,
            first,
            last,
            rising: values.windows(2).all(|pair| pair[1] > pair[0]),
            falling: values.windows(2).all(|pair| pair[1] < pair[0]),
            whole: values.iter().all(|value| value.fract() == 0.0),
            step: values.windows(2).all(even).then_some(step),
        }
    }

    /// Rises or falls all the way.
    pub(crate) fn orderly(&self) -> bool {
        self.rising || self.falling
    }

    /// 1, 2, 3, … or 0, 1, 2, …
    pub(crate) fn counts(&self) -> bool {
        self.whole && self.step == Some(1.0) && (self.first == 0.0 || self.first == 1.0)
    }

    /// 1, 2, 4, 5, …: counts rows of which a few are lost, one in four at most.
    pub(crate) fn counts_with_gaps(&self) -> bool {
        self.whole && self.rising && self.min >= 0.0 && self.max <= 1.25 * self.count as f64 + 1.0
    }

    /// Lies where the wavelengths of UV, visible and near-infrared light lie, in nanometres.
    pub(crate) fn like_nanometres(&self) -> bool {
        self.all_in(&crate::light::IN_COLUMNS)
    }

    /// Whether there are numbers and all lie in a range.
    pub(crate) fn all_in(&self, range: &std::ops::RangeInclusive<f64>) -> bool {
        self.count > 0 && self.min >= *range.start() && self.max <= *range.end()
    }
}

/// The least and the greatest of numbers, several of them compared at a time.
fn extremes(values: &[f64]) -> (f64, f64) {
    const LANES: usize = 8;
    let (mut least, mut greatest) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    let (lots, rest) = values.as_chunks::<LANES>();
    for lot in lots {
        for (lane, &value) in lot.iter().enumerate() {
            least[lane] = if value < least[lane] { value } else { least[lane] };
            greatest[lane] = if value > greatest[lane] {
                value
            } else {
                greatest[lane]
            };
        }
    }
    (
        least.iter().chain(rest).copied().fold(f64::INFINITY, f64::min),
        greatest
            .iter()
            .chain(rest)
            .copied()
            .fold(f64::NEG_INFINITY, f64::max),
    )
}
