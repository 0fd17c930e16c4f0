//! Linear least squares by Householder reflections in double-double arithmetic.
//!
//! The numbers of the data are taken as the decimals they stand for and the whole elimination carries 31 digits, so
//! that the coefficients are right to the last digits of a double even where the columns are nearly dependent
//! (polynomials of degree ten). Checked against the certified linear sets of the NIST Statistical Reference Datasets.

use serde::{Deserialize, Serialize};

use crate::double::{Double, Real};
use crate::refusal::{Refusal, require_finite, require_length};

/// Below this sine of the angle between a column and the span of those before it, the column counts as dependent.
///
/// Fifteen digits is all that a double can say about a column; the tenth power in the hardest NIST set lies at 1e-9.
const DEPENDENT: f64 = 1e-14;

/// A linear least-squares fit `y = Σ bⱼ xⱼ`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LinearFit {
    /// One coefficient for each column, in the unit of y over the unit of the column.
    pub coefficients: Vec<f64>,
    /// Standard errors of the coefficients; absent where no degree of freedom is left.
    pub standard_errors: Option<Vec<f64>>,
    /// Covariance matrix of the coefficients; absent where no degree of freedom is left.
    pub covariance: Option<Vec<Vec<f64>>>,
    /// `(XᵀWX)⁻¹`, the covariance for a residual variance of one.
    pub unscaled_covariance: Vec<Vec<f64>>,
    /// Fitted values, in the order of the data.
    pub fitted: Vec<f64>,
    /// Residuals y - fitted, in the order of the data, not weighted.
    pub residuals: Vec<f64>,
    /// Sum of the (weighted) squared residuals.
    pub residual_sum_of_squares: f64,
    /// Square root of the residual variance; absent where no degree of freedom is left.
    pub residual_sd: Option<f64>,
    /// Points less coefficients.
    pub degrees_of_freedom: usize,
    /// Number of points.
    pub points: usize,
    /// Coefficient of determination; absent where y does not vary.
    pub r_squared: Option<f64>,
    /// Whether `r_squared` compares with the mean of y (a constant column is present) or with zero.
    pub r_squared_centred: bool,
}

/// What the elimination leaves behind.
pub(crate) struct Elimination {
    pub(crate) coefficients: Vec<Double>,
    /// `(XᵀX)⁻¹`, row by row.
    pub(crate) inverse: Vec<Double>,
}

/// Householder elimination of `columns` (each as long as `y`) with right-hand side `y`.
///
/// The error is the position of the first column that depends on those before it.
pub(crate) fn solve(mut columns: Vec<Vec<Double>>, mut y: Vec<Double>) -> Result<Elimination, usize> {
    let p = columns.len();
    let n = y.len();
    let mut upper = vec![Double::ZERO; p * p];
    for j in 0..p {
        let (before, rest) = columns.split_at_mut(j);
        let Some((column, after)) = rest.split_first_mut() else {
            break;
        };
        for (i, earlier) in before.iter().enumerate() {
            debug_assert!(earlier.len() == n);
            upper[i * p + j] = column[i];
        }
        // The part above the diagonal already holds the projections, so the whole column has its first length.
        let whole = dot(column, column).value().sqrt();
        let below = column.get(j..).unwrap_or_default();
        let norm = dot(below, below).sqrt();
        if norm.value().is_nan() || norm.value() <= DEPENDENT * whole {
            return Err(j);
        }
        let diagonal = if column[j].value() > 0.0 { -norm } else { norm };
        column[j] = column[j] - diagonal;
        let length = dot(&column[j..], &column[j..]);
        for other in after.iter_mut().chain(std::iter::once(&mut y)) {
            let factor = dot(&column[j..], &other[j..]) * Double::exactly(2.0) / length;
            for (o, v) in other[j..].iter_mut().zip(&column[j..]) {
                *o = *o - factor * *v;
            }
        }
        upper[j * p + j] = diagonal;
    }
    let mut coefficients = vec![Double::ZERO; p];
    for j in (0..p).rev() {
        let mut sum = y[j];
        for k in j + 1..p {
            sum = sum - upper[j * p + k] * coefficients[k];
        }
        coefficients[j] = sum / upper[j * p + j];
    }
    Ok(Elimination {
        coefficients,
        inverse: inverse_of_gram(&upper, p),
    })
}

/// `(RᵀR)⁻¹` of an upper triangle held row by row.
fn inverse_of_gram(upper: &[Double], p: usize) -> Vec<Double> {
    let mut triangle = vec![Double::ZERO; p * p];
    for j in 0..p {
        triangle[j * p + j] = Double::ONE / upper[j * p + j];
        for i in (0..j).rev() {
            let mut sum = Double::ZERO;
            for k in i + 1..=j {
                sum = sum + upper[i * p + k] * triangle[k * p + j];
            }
            triangle[i * p + j] = -sum / upper[i * p + i];
        }
    }
    let mut inverse = vec![Double::ZERO; p * p];
    for i in 0..p {
        for j in 0..p {
            let mut sum = Double::ZERO;
            for k in i.max(j)..p {
                sum = sum + triangle[i * p + k] * triangle[j * p + k];
            }
            inverse[i * p + j] = sum;
        }
    }
    inverse
}

pub(crate) fn dot(a: &[Double], b: &[Double]) -> Double {
    a.iter().zip(b).fold(Double::ZERO, |sum, (x, y)| sum + *x * *y)
}

/// Fits `y = Σ bⱼ xⱼ` over the columns `xⱼ`.
///
/// # Errors
/// Unequal lengths, values that are not finite, fewer points than columns, or a column that depends on others.
pub fn fit(columns: &[&[f64]], y: &[f64]) -> Result<LinearFit, Refusal> {
    fit_weighted(columns, y, None)
}

/// As [`fit`], each squared residual counted with its weight (the reciprocal of a variance, up to a common factor).
///
/// # Errors
/// As [`fit`]; also a weight that is not above zero.
pub fn fit_weighted(columns: &[&[f64]], y: &[f64], weights: Option<&[f64]>) -> Result<LinearFit, Refusal> {
    for (j, column) in columns.iter().enumerate() {
        require_length(&format!("column {}", j + 1), column, y.len())?;
        require_finite(&format!("column {}", j + 1), column)?;
    }
    let exact = columns
        .iter()
        .map(|c| c.iter().map(|v| Double::decimal(*v)).collect())
        .collect();
    of_exact_columns(exact, y, weights)
}

/// Fits the straight line `y = b₀ + b₁ x`: coefficients `[b₀, b₁]`.
///
/// # Errors
/// As [`fit`]; an x that never varies is [`Refusal::ConstantAxis`].
pub fn line(x: &[f64], y: &[f64]) -> Result<LinearFit, Refusal> {
    polynomial(x, y, 1)
}

/// Fits the straight line through the origin `y = b₁ x`: coefficients `[b₁]`.
///
/// # Errors
/// As [`fit`].
pub fn proportional(x: &[f64], y: &[f64]) -> Result<LinearFit, Refusal> {
    fit(&[x], y)
}

/// Fits the polynomial `y = b₀ + b₁ x + … + b_d x^d`, the powers taken with 31 digits: coefficients `[b₀, …, b_d]`.
///
/// # Errors
/// As [`fit`]; an x that never varies is [`Refusal::ConstantAxis`].
pub fn polynomial(x: &[f64], y: &[f64], degree: usize) -> Result<LinearFit, Refusal> {
    polynomial_weighted(x, y, degree, None)
}

/// As [`polynomial`], with weights as in [`fit_weighted`].
///
/// # Errors
/// As [`polynomial`]; also a weight that is not above zero.
pub fn polynomial_weighted(
    x: &[f64],
    y: &[f64],
    degree: usize,
    weights: Option<&[f64]>,
) -> Result<LinearFit, Refusal> {
    require_length("x", x, y.len())?;
    require_finite("x", x)?;
    if y.len() <= degree {
        return Err(Refusal::TooFewPoints {
            what: "points".into(),
            found: y.len(),
            needed: degree + 1,
        });
    }
    if degree > 0 && x.iter().all(|v| *v == x[0]) {
        return Err(Refusal::ConstantAxis { value: x[0] });
    }
    let exact: Vec<Double> = x.iter().map(|v| Double::decimal(*v)).collect();
    let mut columns = vec![vec![Double::ONE; x.len()]];
    for d in 0..degree {
        columns.push(
            columns[d]
                .iter()
                .zip(&exact)
                .map(|(power, v)| *power * *v)
                .collect(),
        );
    }
    of_exact_columns(columns, y, weights)
}

fn of_exact_columns(
    columns: Vec<Vec<Double>>,
    y: &[f64],
    weights: Option<&[f64]>,
) -> Result<LinearFit, Refusal> {
    let (n, p) = (y.len(), columns.len());
    require_finite("y", y)?;
    if n < p || n == 0 {
        return Err(Refusal::TooFewPoints {
            what: "points".into(),
            found: n,
            needed: p.max(1),
        });
    }
    let weights: Option<Vec<Double>> = match weights {
        None => None,
        Some(w) => {
            require_length("weights", w, n)?;
            if let Some(index) = w.iter().position(|v| !v.is_finite() || *v <= 0.0) {
                return Err(Refusal::BadWeight {
                    index,
                    value: w[index],
                });
            }
            Some(w.iter().map(|v| Double::decimal(*v)).collect())
        }
    };
    let exact_y: Vec<Double> = y.iter().map(|v| Double::decimal(*v)).collect();
    let (design, target) = match &weights {
        None => (columns.clone(), exact_y.clone()),
        Some(w) => {
            let roots: Vec<Double> = w.iter().map(|v| v.sqrt()).collect();
            let scale = |c: &[Double]| c.iter().zip(&roots).map(|(v, r)| *v * *r).collect();
            (columns.iter().map(|c| scale(c)).collect(), scale(&exact_y))
        }
    };
    let solution = solve(design, target).map_err(|column| Refusal::Collinear { column })?;

    let weight = |i: usize| weights.as_ref().map_or(Double::ONE, |w| w[i]);
    let mut fitted = Vec::with_capacity(n);
    let mut residuals = Vec::with_capacity(n);
    let mut rss = Double::ZERO;
    for i in 0..n {
        let value = columns
            .iter()
            .zip(&solution.coefficients)
            .fold(Double::ZERO, |sum, (column, b)| sum + column[i] * *b);
        let residual = exact_y[i] - value;
        rss = rss + residual * residual * weight(i);
        fitted.push(value.value());
        residuals.push(residual.value());
    }
    let centred = columns
        .iter()
        .any(|c| c[0].value() != 0.0 && c.iter().all(|v| v == &c[0]));
    let mut mean = Double::ZERO;
    if centred {
        let mut total = Double::ZERO;
        for (i, v) in exact_y.iter().enumerate() {
            mean = mean + *v * weight(i);
            total = total + weight(i);
        }
        mean = mean / total;
    }
    let spread = exact_y.iter().enumerate().fold(Double::ZERO, |sum, (i, v)| {
        sum + (*v - mean) * (*v - mean) * weight(i)
    });
    let r_squared = (spread.value() > 0.0).then(|| (Double::ONE - rss / spread).value());

    let df = n - p;
    let variance = (df > 0).then(|| rss / Double::exactly(df as f64));
    let rows = |factor: Double| -> Vec<Vec<f64>> {
        solution
            .inverse
            .chunks(p)
            .map(|row| row.iter().map(|v| (*v * factor).value()).collect())
            .collect()
    };
    Ok(LinearFit {
        coefficients: solution.coefficients.iter().map(|b| b.value()).collect(),
        standard_errors: variance.map(|variance| {
            (0..p)
                .map(|j| (solution.inverse[j * p + j] * variance).sqrt().value())
                .collect()
        }),
        covariance: variance.map(rows),
        unscaled_covariance: rows(Double::ONE),
        fitted,
        residuals,
        residual_sum_of_squares: rss.value(),
        residual_sd: variance.map(|v| v.sqrt().value()),
        degrees_of_freedom: df,
        points: n,
        r_squared,
        r_squared_centred: centred,
    })
}

/// Singular values and vectors of a matrix of few columns.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Svd {
    /// Largest first.
    pub(crate) values: Vec<f64>,
    /// Left vectors (as long as a column) in the order of the values; zero where the value is zero.
    pub(crate) left: Vec<Vec<f64>>,
    /// Right vectors, one entry for each column, in the order of the values.
    pub(crate) right: Vec<Vec<f64>>,
}

/// Singular values by one-sided Jacobi rotations (Hestenes), which keep the small ones accurate.
pub(crate) fn singular_values(columns: &[Vec<f64>]) -> Svd {
    let m = columns.len();
    let mut a: Vec<Vec<f64>> = columns.to_vec();
    let mut v: Vec<Vec<f64>> = (0..m)
        .map(|j| (0..m).map(|i| f64::from(i == j)).collect())
        .collect();
    let rotate = |x: &mut [f64], y: &mut [f64], c: f64, s: f64| {
        for (p, q) in x.iter_mut().zip(y.iter_mut()) {
            (*p, *q) = (c * *p - s * *q, s * *p + c * *q);
        }
    };
    for _ in 0..60 {
        let mut worst = 0.0_f64;
        for j in 1..m {
            for i in 0..j {
                let (head, tail) = a.split_at_mut(j);
                let (x, y) = (&mut head[i], &mut tail[0]);
                let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
                for (p, q) in x.iter().zip(y.iter()) {
                    xx += p * p;
                    yy += q * q;
                    xy += p * q;
                }
                if xx == 0.0 || yy == 0.0 || xy.abs() <= 1e-16 * (xx * yy).sqrt() {
                    continue;
                }
                worst = worst.max(xy.abs() / (xx * yy).sqrt());
                let zeta = (yy - xx) / (2.0 * xy);
                let t = zeta.signum() / (zeta.abs() + (1.0 + zeta * zeta).sqrt());
                let c = 1.0 / (1.0 + t * t).sqrt();
                rotate(x, y, c, c * t);
                let (head, tail) = v.split_at_mut(j);
                rotate(&mut head[i], &mut tail[0], c, c * t);
            }
        }
        if worst < 1e-15 {
            break;
        }
    }
    let norms: Vec<f64> = a
        .iter()
        .map(|c| c.iter().map(|x| x * x).sum::<f64>().sqrt())
        .collect();
    let mut order: Vec<usize> = (0..m).collect();
    order.sort_by(|i, j| norms[*j].total_cmp(&norms[*i]));
    Svd {
        values: order.iter().map(|i| norms[*i]).collect(),
        left: order
            .iter()
            .map(|i| {
                a[*i]
                    .iter()
                    .map(|x| if norms[*i] > 0.0 { x / norms[*i] } else { 0.0 })
                    .collect()
            })
            .collect(),
        right: order.iter().map(|i| v[*i].clone()).collect(),
    }
}
