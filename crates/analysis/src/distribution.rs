//! Probabilities and quantiles of the normal, Student *t*, *F* and chi-squared distributions.
//!
//! The arithmetic is that of the `statrs` library; it stays behind these functions so that no type of another
//! crate shows in our interface. Quantiles agree with published tables to 12 digits (`tests/distribution.rs`).
//! Every function gives `NaN` outside its domain (a probability outside 0 to 1, degrees of freedom not above 0).

use std::cell::Cell;

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// Probability that a standard normal variable is above `z`; keeps its digits in the far tail.
pub fn normal_upper(z: f64) -> f64 {
    Normal::standard().sf(z)
}

/// The `z` below which a standard normal variable stays with probability `p`.
pub fn normal_quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    Normal::standard().inverse_cdf(p)
}

/// Half the width of a central 95 % interval in standard errors, where these are known: [`normal_quantile`] at 0.975, to the last digit.
pub const NORMAL_95: f64 = 1.959_963_984_540_054;

/// Probability that the absolute value of Student's *t* is above `|t|`.
pub fn t_two_sided(t: f64, df: f64) -> f64 {
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| 2.0 * d.cdf(-t.abs()))
}

/// The value below which Student's *t* with `df` degrees of freedom stays with probability `p`.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    thread_local! {
        // A batch of fits asks for the same quantile again and again; finding it costs more than a small fit.
        static LAST: Cell<[(f64, f64, f64); 4]> = const { Cell::new([(f64::NAN, f64::NAN, f64::NAN); 4]) };
    }
    if !(0.0..=1.0).contains(&p) || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    let slot = (df as usize) % 4;
    LAST.with(|last| {
        let mut kept = last.get();
        let (at_p, at_df, value) = kept[slot];
        if at_p == p && at_df == df {
            return value;
        }
        let value = StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| d.inverse_cdf(p));
        kept[slot] = (p, df, value);
        last.set(kept);
        value
    })
}

/// Half the width, in standard errors, of the central interval that holds Student's *t* with probability `level`.
pub fn t_half_width(level: f64, df: f64) -> f64 {
    t_quantile(0.5 + level / 2.0, df)
}

/// Probability that *F* with `df1` and `df2` degrees of freedom is above `f`.
pub fn f_upper(f: f64, df1: f64, df2: f64) -> f64 {
    // The library's function ends the program where the product of the two leaves the range of a double.
    if f.is_nan() {
        return f64::NAN;
    }
    if !(df1 * f).is_finite() {
        return if f > 0.0 { 0.0 } else { 1.0 };
    }
    FisherSnedecor::new(df1, df2).map_or(f64::NAN, |d| d.sf(f))
}

/// The value below which *F* with `df1` and `df2` degrees of freedom stays with probability `p`.
pub fn f_quantile(p: f64, df1: f64, df2: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    FisherSnedecor::new(df1, df2).map_or(f64::NAN, |d| polished(&d, p))
}

/// Probability that chi-squared with `df` degrees of freedom is above `x`.
pub fn chi_squared_upper(x: f64, df: f64) -> f64 {
    ChiSquared::new(df).map_or(f64::NAN, |d| d.sf(x))
}

/// The value below which chi-squared with `df` degrees of freedom stays with probability `p`.
pub fn chi_squared_quantile(p: f64, df: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    ChiSquared::new(df).map_or(f64::NAN, |d| polished(&d, p))
}

/// The library's quantile with one Newton step, for it stops at ten digits in these two distributions.
fn polished<D: Continuous<f64, f64> + ContinuousCDF<f64, f64>>(distribution: &D, p: f64) -> f64 {
    let first = distribution.inverse_cdf(p);
    let step = (distribution.cdf(first) - p) / distribution.pdf(first);
    if step.is_finite() { first - step } else { first }
}
