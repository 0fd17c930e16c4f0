//! The one-dimensional search behind the quick ways of models with a single nonlinear parameter.
//!
//! With the linear parameters solved for, the sum of squares is a function of one number, and its minimum is a zero
//! of the projected gradient. One Gauss-Newton step begins; secants through the last two slopes go on, which settles
//! fifteen digits in four or five evaluations.

/// Slope of the projected sum of squares (over -2) and its Gauss-Newton curvature at a value of the parameter.
pub(crate) struct ProjectedSlope {
    pub(crate) gradient: f64,
    pub(crate) curvature: f64,
}

/// The positive zero of the gradient near `start`, and how far it lies from the last value tried (less than a part in
/// 10⁵); none where the search does not settle.
pub(crate) fn zero(start: f64, mut slope: impl FnMut(f64) -> Option<ProjectedSlope>) -> Option<(f64, f64)> {
    let mut at = start;
    let mut here = slope(at)?;
    let mut step = (here.gradient / here.curvature).clamp(-0.7 * at, 2.0 * at);
    for _ in 0..25 {
        if !step.is_finite() {
            return None;
        }
        let next = at + step;
        let there = slope(next)?;
        let secant = (here.gradient - there.gradient) / step;
        let curvature = if secant > 0.2 * there.curvature {
            secant
        } else {
            there.curvature
        };
        let next_step = (there.gradient / curvature).clamp(-0.7 * next, 2.0 * next);
        // What the secant leaves is of the size of the product of the last two steps.
        if next_step.abs() <= 1e-5 * next && (next_step * step).abs() <= 1e-11 * next * next {
            return Some((next + next_step, next_step));
        }
        if step == 0.0 {
            return Some((next, 0.0));
        }
        at = next;
        step = next_step;
        here = there;
    }
    None
}
