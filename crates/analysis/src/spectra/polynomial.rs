//! Least-squares polynomials in the basis that is orthogonal on the given points.
//!
//! Forsythe, J. Soc. Ind. Appl. Math. 5, 74 (1957): the three-term recurrence builds the polynomials
//! point set by point set, so even and uneven steps, the middle and the edge of a window are one case,
//! and no ill-conditioned normal equations arise. On even points these are the Gram polynomials by
//! which Gorry, Anal. Chem. 62, 570 (1990), writes the moving polynomial of Savitzky and Golay.

/// A basis on n points, with x mapped to about [-1, 1].
pub(super) struct Basis {
    centre: f64,
    scale: f64,
    alpha: Vec<f64>,
    beta: Vec<f64>,
    /// Sum of squares of each basis polynomial over the points.
    norms: Vec<f64>,
    /// Values of each basis polynomial at the points.
    values: Vec<Vec<f64>>,
}

impl Basis {
    /// Needs more points than the degree, all distinct; `None` where rounding leaves no basis.
    pub(super) fn new(x: &[f64], degree: usize) -> Option<Self> {
        let n = x.len();
        if n <= degree {
            return None;
        }
        let (low, high) = x.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(*v), h.max(*v))
        });
        let centre = low + (high - low) / 2.0;
        let scale = if high > low { (high - low) / 2.0 } else { 1.0 };
        let u: Vec<f64> = x.iter().map(|v| (v - centre) / scale).collect();
        let (mut alpha, mut beta, mut norms) = (Vec::new(), Vec::new(), Vec::new());
        let mut values: Vec<Vec<f64>> = vec![vec![1.0; n]];
        for k in 0..=degree {
            let p = &values[k];
            let norm: f64 = p.iter().map(|v| v * v).sum();
            // A basis polynomial that vanishes on the points means that two points coincide.
            if norm.is_nan() || norm <= 1e-24 * n as f64 {
                return None;
            }
            norms.push(norm);
            if k == degree {
                break;
            }
            let a = p.iter().zip(&u).map(|(p, u)| u * p * p).sum::<f64>() / norm;
            let b = if k == 0 { 0.0 } else { norm / norms[k - 1] };
            let next = (0..n)
                .map(|i| (u[i] - a) * p[i] - if k == 0 { 0.0 } else { b * values[k - 1][i] })
                .collect();
            alpha.push(a);
            beta.push(b);
            values.push(next);
        }
        Some(Self {
            centre,
            scale,
            alpha,
            beta,
            norms,
            values,
        })
    }

    /// The `order`-th derivative in x of each basis polynomial at `x`.
    pub(super) fn derivatives(&self, x: f64, order: usize) -> Vec<f64> {
        let u = (x - self.centre) / self.scale;
        let degree = self.norms.len() - 1;
        // Row d holds the d-th derivatives in u; a row needs only the one before it.
        let mut lower = vec![0.0; degree + 1];
        let mut row = vec![0.0; degree + 1];
        for d in 0..=order {
            row[0] = if d == 0 { 1.0 } else { 0.0 };
            for k in 0..degree {
                let before = if k == 0 { 0.0 } else { self.beta[k] * row[k - 1] };
                row[k + 1] = (u - self.alpha[k]) * row[k] + d as f64 * lower[k] - before;
            }
            if d < order {
                lower.copy_from_slice(&row);
            }
        }
        let factor = self.scale.powi(-(order as i32));
        row.iter().map(|v| v * factor).collect()
    }

    /// The weights by which the y values give the `order`-th derivative of the fitted polynomial at `x`.
    pub(super) fn weights(&self, x: f64, order: usize) -> Vec<f64> {
        let at = self.derivatives(x, order);
        (0..self.values[0].len())
            .map(|j| {
                at.iter()
                    .zip(&self.values)
                    .zip(&self.norms)
                    .map(|((a, p), q)| a * p[j] / q)
                    .sum()
            })
            .collect()
    }
}

/// A polynomial fitted by least squares.
pub(super) struct Polynomial {
    basis: Basis,
    coefficients: Vec<f64>,
    /// Sum of squared residuals.
    pub(super) rss: f64,
    /// Points less coefficients.
    pub(super) freedom: usize,
}

impl Polynomial {
    pub(super) fn fit(x: &[f64], y: &[f64], degree: usize) -> Option<Self> {
        let basis = Basis::new(x, degree)?;
        // Fitting what is left after each term keeps the digits that a projection of y itself loses.
        let mut rest = y.to_vec();
        let mut coefficients = Vec::with_capacity(degree + 1);
        for (p, norm) in basis.values.iter().zip(&basis.norms) {
            let c = p.iter().zip(&rest).map(|(p, r)| p * r).sum::<f64>() / norm;
            rest.iter_mut().zip(p).for_each(|(r, p)| *r -= c * p);
            coefficients.push(c);
        }
        let rss = rest.iter().map(|r| r * r).sum();
        Some(Self {
            freedom: x.len() - (degree + 1),
            basis,
            coefficients,
            rss,
        })
    }

    /// Value of the `order`-th derivative at `x`.
    pub(super) fn at(&self, x: f64, order: usize) -> f64 {
        self.basis
            .derivatives(x, order)
            .iter()
            .zip(&self.coefficients)
            .map(|(p, c)| p * c)
            .sum()
    }

    /// Variance of a function of the coefficients with this gradient, for unit variance of y.
    pub(super) fn variance(&self, gradient: &[f64]) -> f64 {
        gradient
            .iter()
            .zip(&self.basis.norms)
            .map(|(g, q)| g * g / q)
            .sum()
    }

    /// Variance of the `order`-th derivative at `x`, for unit variance of y.
    pub(super) fn variance_at(&self, x: f64, order: usize) -> f64 {
        self.variance(&self.basis.derivatives(x, order))
    }

    /// The gradient that [`Self::variance`] takes, for the `order`-th derivative at `x`.
    pub(super) fn gradient(&self, x: f64, order: usize) -> Vec<f64> {
        self.basis.derivatives(x, order)
    }

    /// Standard deviation of the residuals; `None` where the polynomial goes through every point.
    pub(super) fn residual_sd(&self) -> Option<f64> {
        (self.freedom > 0).then(|| (self.rss / self.freedom as f64).sqrt())
    }
}
