//! One model over several sets of points at once, some of its parameters the same in all of them.

use std::borrow::Cow;

use super::{Data, FTest, Fit, Options, Weighting, allow_for_correlation, fit};
use crate::distribution::{chi_squared_upper, f_upper};
use crate::models::{DerivedParameter, Model, Specification};
use crate::refusal::Refusal;

/// One set of points, as [`Data`].
#[derive(Clone, Copy, Debug)]
pub struct DataSet<'a> {
    /// One column for each variable of the model.
    pub x: &'a [&'a [f64]],
    /// The measured values.
    pub y: &'a [f64],
    /// Known standard deviations of them.
    pub errors: Option<&'a [f64]>,
}

/// What a fit over several sets found.
#[derive(Clone, Debug, PartialEq)]
pub struct SharedFit {
    /// The fit of all points: shared parameters first, then those of each set, named `A[1]`, `A[2]` …
    pub fit: Fit,
    /// Each set fitted by itself; the reason where it cannot be.
    pub alone: Vec<Result<Fit, Refusal>>,
    /// The shared parameters against own ones in every set; none where a set cannot be fitted by itself, or where errors
    /// are known.
    pub test: Option<FTest>,
    /// Whether the sets scatter so differently that each counts by its own scatter.
    pub weighted: bool,
    /// Where neighbours err together: the largest factor by which it makes the errors grow.
    pub correlation: Option<f64>,
}

/// Cells of the matrix of derivatives that one fit takes: 400 MB.
const MOST_CELLS: usize = 50_000_000;

/// Scatters this unlikely under equal errors are taken as different (Bartlett's test). A choice: weighting costs little where
/// they are equal, and saves the errors where they are not.
const UNEQUAL: f64 = 0.01;

/// A model over sets that stand one behind the other; a last column of x tells the set.
struct Joint<'a> {
    model: &'a dyn Model,
    /// Where each set ends.
    ends: Vec<usize>,
    /// Where each parameter of the model stands among all, set by set.
    places: Vec<Vec<usize>>,
    specifications: Vec<Specification>,
    linear: Vec<usize>,
    start: Vec<f64>,
    shared: Vec<bool>,
}

impl Joint<'_> {
    fn own(&self, set: usize, p: &[f64]) -> Vec<f64> {
        self.places[set].iter().map(|place| p[*place]).collect()
    }

    fn range(&self, set: usize) -> std::ops::Range<usize> {
        let first = if set == 0 { 0 } else { self.ends[set - 1] };
        first..self.ends[set]
    }

    fn columns<'b>(&self, x: &[&'b [f64]], set: usize) -> Vec<&'b [f64]> {
        let range = self.range(set);
        x[..self.model.variables()]
            .iter()
            .map(|column| &column[range.clone()])
            .collect()
    }
}

impl Model for Joint<'_> {
    fn name(&self) -> Cow<'static, str> {
        self.model.name()
    }

    fn parameters(&self) -> &[Specification] {
        &self.specifications
    }

    fn variables(&self) -> usize {
        self.model.variables() + 1
    }

    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        for set in 0..self.ends.len() {
            let own = self.own(set, p);
            self.model
                .evaluate(&self.columns(x, set), &own, &mut values[self.range(set)]);
        }
    }

    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        let n = values.len();
        columns.fill(0.0);
        for set in 0..self.ends.len() {
            let (own, range) = (self.own(set, p), self.range(set));
            let count = range.len();
            let mut slopes = vec![0.0; count * own.len()];
            self.model.differentiate(
                &self.columns(x, set),
                &own,
                &mut values[range.clone()],
                &mut slopes,
            );
            for (slope, place) in slopes.chunks(count).zip(&self.places[set]) {
                columns[place * n + range.start..place * n + range.end].copy_from_slice(slope);
            }
        }
    }

    fn start(&self, _x: &[&[f64]], _y: &[f64]) -> Result<Vec<f64>, Refusal> {
        Ok(self.start.clone())
    }

    fn draws_starts(&self) -> bool {
        false
    }

    // Where each set ends is counted in points.
    fn takes_any_points(&self) -> bool {
        false
    }

    fn linear(&self) -> &[usize] {
        &self.linear
    }

    fn undefined(&self, x: &[&[f64]], p: &[f64]) -> Option<(usize, String)> {
        (0..self.ends.len()).find_map(|set| {
            let own = self.own(set, p);
            let (at, what) = self.model.undefined(&self.columns(x, set), &own)?;
            Some((self.range(set).start + at, what))
        })
    }

    fn derived(&self, p: &[f64]) -> Vec<DerivedParameter> {
        // What follows from shared parameters alone is the same for every set.
        self.model
            .derived(&self.own(0, p))
            .into_iter()
            .filter(|found| (0..self.shared.len()).all(|j| self.shared[j] || found.gradient[j] == 0.0))
            .map(|found| {
                let mut gradient = vec![0.0; p.len()];
                for (place, slope) in self.places[0].iter().zip(&found.gradient) {
                    gradient[*place] += slope;
                }
                DerivedParameter { gradient, ..found }
            })
            .collect()
    }
}

/// Fits a model to several sets at once; the parameters at the positions `share` are the same in all of them.
///
/// Every set is fitted by itself first: from there the search begins, and the scatter of each set says what its points count.
/// With `serial`, points come one after another in time, and neighbours that err together make the errors grow as they do in
/// the sets by themselves. Starting values, held values and limits of `options` are meant for the parameters of the model, in
/// every set alike.
///
/// # Errors
/// Those of [`fit`]; [`Refusal::TooFewPoints`] below two sets.
pub fn fit_shared(
    model: &dyn Model,
    sets: &[DataSet<'_>],
    share: &[usize],
    serial: bool,
    options: &Options,
) -> Result<SharedFit, Refusal> {
    if sets.len() < 2 {
        return Err(Refusal::TooFewPoints {
            what: "runs to be fitted together".into(),
            found: sets.len(),
            needed: 2,
        });
    }
    let known = sets.iter().filter(|set| set.errors.is_some()).count();
    if known != 0 && known != sets.len() {
        return Err(Refusal::Unsuitable {
            why: "standard deviations are known for some of the runs only".into(),
        });
    }
    let mut alone: Vec<Result<Fit, Refusal>> = sets
        .iter()
        .map(|set| {
            let weighting = set.errors.map_or(Weighting::Equal, Weighting::KnownErrors);
            let plain = Options {
                profile: false,
                ..options.clone()
            };
            fit(
                model,
                &Data {
                    x: set.x,
                    y: set.y,
                    weighting,
                },
                &plain,
            )
        })
        .collect();
    let weights = if known == 0 { weights(sets, &alone) } else { None };
    let joint = joint(model, sets, share, &alone, options)?;
    let mut columns: Vec<Vec<f64>> = (0..model.variables())
        .map(|variable| sets.iter().flat_map(|set| set.x[variable]).copied().collect())
        .collect();
    columns.push(
        (0..sets.len())
            .flat_map(|i| std::iter::repeat_n(i as f64, sets[i].y.len()))
            .collect(),
    );
    let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    let y: Vec<f64> = sets.iter().flat_map(|set| set.y).copied().collect();
    let errors: Vec<f64> = sets
        .iter()
        .filter_map(|set| set.errors)
        .flatten()
        .copied()
        .collect();
    let weighting = match (&weights, known) {
        (_, known) if known > 0 => Weighting::KnownErrors(&errors),
        (Some(weights), _) => Weighting::Weights(weights),
        (None, _) => Weighting::Equal,
    };
    if y.len().saturating_mul(joint.specifications.len()) > MOST_CELLS {
        return Err(Refusal::Unsuitable {
            why: format!(
                "{} points with {} parameters together are more than one fit takes; fewer runs, a window or every tenth point \
                 would do",
                y.len(),
                joint.specifications.len()
            ),
        });
    }
    let everywhere = |j: usize| -> Vec<usize> {
        let mut all: Vec<usize> = joint.places.iter().map(|own| own[j]).collect();
        all.dedup();
        all
    };
    let whole = Options {
        start: Some(joint.start.clone()),
        held: options
            .held
            .iter()
            .flat_map(|(j, value)| everywhere(*j).into_iter().map(|place| (place, *value)))
            .collect(),
        bounds: options
            .bounds
            .iter()
            .flat_map(|(j, low, high)| everywhere(*j).into_iter().map(|place| (place, *low, *high)))
            .collect(),
        ..options.clone()
    };
    let mut found = fit(
        &joint,
        &Data {
            x: &columns,
            y: &y,
            weighting,
        },
        &whole,
    )?;
    let test = test(&found, &alone, weights.as_deref(), &joint).filter(|_| known == 0);
    let correlation = if serial && known == 0 {
        grown(model, sets, &mut alone)
    } else {
        None
    };
    if let Some(factor) = correlation {
        found.grow_errors(factor);
    }
    Ok(SharedFit {
        fit: found,
        alone,
        test,
        weighted: weights.is_some(),
        correlation,
    })
}

/// How all sets hang together, and where the search begins.
fn joint<'a>(
    model: &'a dyn Model,
    sets: &[DataSet<'_>],
    share: &[usize],
    alone: &[Result<Fit, Refusal>],
    options: &Options,
) -> Result<Joint<'a>, Refusal> {
    let own = model.parameters();
    let shared: Vec<bool> = (0..own.len()).map(|j| share.contains(&j)).collect();
    let from = |set: usize| -> Result<Vec<f64>, Refusal> {
        match (&alone[set], &options.start) {
            (Ok(fit), _) => Ok(fit.parameters.iter().map(|p| p.value).collect()),
            (Err(_), Some(start)) => Ok(start.clone()),
            (Err(_), None) => model.start(sets[set].x, sets[set].y),
        }
    };
    let starts: Vec<Vec<f64>> = (0..sets.len()).map(from).collect::<Result<_, _>>()?;
    let middle = |j: usize| {
        let mut values: Vec<f64> = starts.iter().map(|start| start[j]).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    let (mut specifications, mut start, mut linear) = (Vec::new(), Vec::new(), Vec::new());
    let mut places = vec![vec![0; own.len()]; sets.len()];
    for j in (0..own.len()).filter(|j| shared[*j]) {
        for own in &mut places {
            own[j] = specifications.len();
        }
        if model.linear().contains(&j) {
            linear.push(specifications.len());
        }
        start.push(middle(j));
        specifications.push(own[j].clone());
    }
    for set in 0..sets.len() {
        for j in (0..own.len()).filter(|j| !shared[*j]) {
            places[set][j] = specifications.len();
            if model.linear().contains(&j) {
                linear.push(specifications.len());
            }
            start.push(starts[set][j]);
            specifications.push(Specification {
                name: Cow::Owned(format!("{}[{}]", own[j].name, set + 1)),
                ..own[j].clone()
            });
        }
    }
    let mut ends = Vec::new();
    for set in sets {
        ends.push(ends.last().copied().unwrap_or(0) + set.y.len());
    }
    Ok(Joint {
        model,
        ends,
        places,
        specifications,
        linear,
        start,
        shared,
    })
}

/// Weights by the scatter of each set about its own curve, where the scatters differ by more than chance.
fn weights(sets: &[DataSet<'_>], alone: &[Result<Fit, Refusal>]) -> Option<Vec<f64>> {
    let scatters: Vec<(f64, f64)> = alone
        .iter()
        .map(|fit| {
            let fit = fit.as_ref().ok()?;
            Some((fit.residual_sd * fit.residual_sd, fit.degrees_of_freedom as f64))
        })
        .collect::<Option<_>>()?;
    if scatters
        .iter()
        .any(|(variance, _)| variance.is_nan() || *variance <= 0.0)
    {
        return None;
    }
    let freedom: f64 = scatters.iter().map(|(_, freedom)| freedom).sum();
    let pooled = scatters.iter().map(|(v, f)| v * f).sum::<f64>() / freedom;
    let groups = scatters.len() as f64 - 1.0;
    let plain = freedom * pooled.ln() - scatters.iter().map(|(v, f)| f * v.ln()).sum::<f64>();
    let correction =
        1.0 + (scatters.iter().map(|(_, f)| 1.0 / f).sum::<f64>() - 1.0 / freedom) / (3.0 * groups);
    if chi_squared_upper(plain / correction, groups) > UNEQUAL {
        return None;
    }
    // Around one, so that the residual standard deviation keeps the size of the readings' scatter.
    Some(
        sets.iter()
            .zip(&scatters)
            .flat_map(|(set, (variance, _))| std::iter::repeat_n(pooled / variance, set.y.len()))
            .collect(),
    )
}

/// F test of the shared parameters against own ones in every set.
fn test(
    together: &Fit,
    alone: &[Result<Fit, Refusal>],
    weights: Option<&[f64]>,
    joint: &Joint<'_>,
) -> Option<FTest> {
    let (mut squares, mut freedom) = (0.0, 0);
    for (set, fit) in alone.iter().enumerate() {
        let fit = fit.as_ref().ok()?;
        let weight = weights.map_or(1.0, |weights| weights[joint.range(set).start]);
        squares += weight * fit.residual_sum_of_squares;
        freedom += fit.degrees_of_freedom;
    }
    let more = together
        .degrees_of_freedom
        .checked_sub(freedom)
        .filter(|more| *more > 0)?;
    if freedom == 0 || squares.is_nan() || squares <= 0.0 {
        return None;
    }
    let gained = (together.residual_sum_of_squares - squares).max(0.0);
    let f = (gained / more as f64) / (squares / freedom as f64);
    Some(FTest {
        f,
        df1: more,
        df2: freedom,
        probability: f_upper(f, more as f64, freedom as f64),
    })
}

/// Lets the sets' own errors allow for neighbours that err together; gives the largest root mean square factor by which the
/// errors of a parameter grew.
fn grown(model: &dyn Model, sets: &[DataSet<'_>], alone: &mut [Result<Fit, Refusal>]) -> Option<f64> {
    let size = model.parameters().len();
    let (mut squares, mut counts) = (vec![0.0; size], vec![0.0_f64; size]);
    let mut any = false;
    for (set, fit) in sets.iter().zip(alone) {
        let Ok(fit) = fit else { continue };
        let before: Vec<Option<f64>> = fit.parameters.iter().map(|p| p.standard_error).collect();
        any |= allow_for_correlation(model, set.x, fit);
        for (j, (before, after)) in before.iter().zip(&fit.parameters).enumerate() {
            if let (Some(before), Some(after)) = (before, after.standard_error)
                && *before > 0.0
            {
                squares[j] += (after / before) * (after / before);
                counts[j] += 1.0;
            }
        }
    }
    any.then(|| {
        squares
            .iter()
            .zip(&counts)
            .map(|(square, count)| (square / count.max(1.0)).sqrt())
            .fold(1.0, f64::max)
    })
}
