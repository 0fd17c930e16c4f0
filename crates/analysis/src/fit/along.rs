//! How sure a fitted curve is along its axis.

use serde::{Deserialize, Serialize};

use super::Fit;
use super::finish::half_width;
use crate::models::Model;

/// A place on a fitted curve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Along {
    /// Where.
    pub x: f64,
    /// The curve there.
    pub y: f64,
    /// Standard error of the curve there, to first order.
    pub standard_error: f64,
    /// Interval of the curve at the level of the fit.
    pub curve: (f64, f64),
    /// Interval of one more reading there; none where points count differently, so that no error of a reading is known.
    pub reading: Option<(f64, f64)>,
}

impl Fit {
    /// The curve at places of a model of one variable, with its errors by the covariance; none where the data do not determine
    /// the parameters. `alike`: all points count alike, so that the scatter about the curve is that of one more reading.
    pub fn along(&self, model: &dyn Model, x: &[f64], alike: bool) -> Option<Vec<Along>> {
        if model.variables() != 1 || x.is_empty() {
            return None;
        }
        let covariance = self.covariance.as_ref()?;
        let (n, p) = (x.len(), self.parameters.len());
        let (mut y, mut slopes) = (vec![0.0; n], vec![0.0; n * p]);
        model.differentiate(&[x], &self.values(), &mut y, &mut slopes);
        let times = half_width(self.level, self.error_freedom(), self.fit_probability.is_some());
        let all: Vec<Along> = (0..n)
            .map(|i| {
                let mut variance = 0.0;
                for a in 0..p {
                    for b in 0..p {
                        variance += slopes[a * n + i] * slopes[b * n + i] * covariance[a * p + b];
                    }
                }
                let error = variance.max(0.0).sqrt();
                let around = |half: f64| (y[i] - half, y[i] + half);
                Along {
                    x: x[i],
                    y: y[i],
                    standard_error: error,
                    curve: around(times * error),
                    reading: alike.then(|| around(times * error.hypot(self.residual_sd))),
                }
            })
            .collect();
        all.iter()
            .all(|place| place.y.is_finite() && place.standard_error.is_finite())
            .then_some(all)
    }
}
