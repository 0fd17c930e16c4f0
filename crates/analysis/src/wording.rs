//! Numbers as sentences have them.

/// A probability in words that need no small powers.
pub(crate) fn likely(chance: f64) -> String {
    if chance < 1e-4 {
        "below 0.0001".to_owned()
    } else {
        format!("{chance:.4}")
    }
}

/// A number with its error, both to the second figure of the error, for a sentence.
pub(crate) fn with_error(value: f64, error: f64) -> String {
    if !(error.is_finite() && error > 0.0 && value.is_finite()) {
        return Six(value).to_string();
    }
    let size = value.abs().max(error);
    if (1e-3..1e7).contains(&size) {
        let decimals = (1.0 - error.log10().floor()).clamp(0.0, 12.0) as usize;
        return format!("{value:.decimals$} ± {error:.decimals$}");
    }
    let power = size.log10().floor();
    let scale = 10f64.powf(power);
    let decimals = (1.0 - (error / scale).log10().floor()).clamp(0.0, 12.0) as usize;
    format!(
        "({:.decimals$} ± {:.decimals$})e{power}",
        value / scale,
        error / scale
    )
}

/// A number to six figures, whatever its size, for a sentence.
pub(crate) struct Six(pub(crate) f64);

impl std::fmt::Display for Six {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let size = self.0.abs();
        if size != 0.0 && !(1e-4..1e7).contains(&size) {
            return write!(f, "{:.5e}", self.0);
        }
        let digits = if size == 0.0 {
            1.0
        } else {
            (5.0 - size.log10().floor()).max(0.0)
        };
        write!(f, "{:.*}", digits as usize, self.0)
    }
}
