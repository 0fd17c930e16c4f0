//! A second opinion about errors: the fit done again with its own residuals dealt out anew, or with normal noise of their size.

use serde::{Deserialize, Serialize};

use super::{Data, Fit, FitInterval, Options, Robust, Weighting, fit};
use crate::models::Model;
use crate::refusal::Refusal;

/// How often, and from which seed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bootstrap {
    /// Rounds.
    pub rounds: u32,
    /// Seed: the same one deals the same.
    pub seed: u64,
    /// What is laid on the curve in each round.
    #[serde(default, skip_serializing_if = "NoiseDraw::is_usual")]
    pub noise: NoiseDraw,
}

/// What is laid on the fitted curve in each round.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoiseDraw {
    /// The residuals, dealt out anew (bootstrap).
    #[default]
    Residuals,
    /// Normal noise: of the errors where they are known, else of the size of the residuals, which is itself no surer than its degrees of
    /// freedom (Monte Carlo). Among few points residuals are too few to be dealt.
    Normal,
}

impl NoiseDraw {
    fn is_usual(&self) -> bool {
        *self == Self::Residuals
    }
}

/// What the rounds gave.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BootstrapRounds {
    /// Standard deviation of each parameter over the rounds, for noise of the size that the fit found.
    pub deviations: Vec<f64>,
    /// Interval of each parameter between the quantiles of the rounds, at the level of the fit.
    pub intervals: Vec<FitInterval>,
    /// Rounds that came to a result.
    pub rounds: usize,
    /// Correlation of neighbours that was put back, where the fit found one.
    pub lag_one: Option<f64>,
}

/// Fewest rounds whose quantiles say something at 95 %.
const FEWEST: u32 = 200;
/// Most rounds.
const MOST: u32 = 100_000;

/// The generator SplitMix64 (Steele, Lea and Flood, OOPSLA 2014, 453): the same everywhere and in every version, since results
/// are kept and done again.
pub(crate) struct Dealer(u64);

impl Dealer {
    /// The same seed deals the same.
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Any of the numbers of 64 bits.
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number above 0, and 1 at most.
    fn part(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    /// A standard normal number (G. E. P. Box and M. E. Muller, Ann. Math. Stat. 29 (1958) 610).
    fn normal(&mut self) -> f64 {
        let (radius, angle) = (self.part(), self.part());
        (-2.0 * radius.ln()).sqrt() * (std::f64::consts::TAU * angle).cos()
    }

    /// A chi-squared number with so many degrees of freedom: twice a gamma number of half of them (G. Marsaglia and W. W. Tsang, ACM
    /// Transactions on Mathematical Software 26 (2000) 363; below a shape of one by that of one more, as their section 6 has it).
    fn chi_squared(&mut self, degrees_of_freedom: f64) -> f64 {
        let shape = degrees_of_freedom / 2.0;
        if shape < 1.0 {
            let less = self.part().powf(1.0 / shape);
            return less * self.chi_squared(degrees_of_freedom + 2.0);
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let normal = self.normal();
            let v = (1.0 + c * normal).powi(3);
            if v > 0.0 && self.part().ln() < 0.5 * normal * normal + d * (1.0 - v + v.ln()) {
                return 2.0 * d * v;
            }
        }
    }

    /// A number below `n`.
    fn below(&mut self, n: usize) -> usize {
        usize::try_from((u128::from(self.next()) * n as u128) >> 64).unwrap_or(0)
    }
}

/// Deals the residuals of a fit out anew, so many times, and fits again (Efron, Annals of Statistics 7, 1, 1979, for residuals:
/// Davison and Hinkley, Bootstrap Methods and their Application, 1997, chapter 6).
///
/// Residuals are made as large as the errors by the root of points over degrees of freedom. With weights they are dealt in units
/// of their errors. Where the fit found that neighbours err together, what is dealt is what of each residual does not follow from the
/// one before, and the correlation is put back (Davison and Hinkley, section 8.2.2); runs of neighbouring residuals, as are
/// usual there, lack the slow part that the fit has taken out.
///
/// With [`NoiseDraw::Normal`] normal noise takes the place of what is dealt: of one standard deviation in units of errors that are known, else
/// of the residual standard deviation s (Monte Carlo; W. H. Press and others, Numerical Recipes, 2007, section 15.6.1).
///
/// As s is known no better than its degrees of freedom ν, each round has a size of its own, s √(ν/χ²(ν)): what the noise may be, given s,
/// without other knowledge (A. Gelman and others, Bayesian Data Analysis, 2013, section 14.2). The intervals of a straight line are then
/// those of Student's t; residuals dealt in the size that they have would give too narrow ones (at 6 points they hold 87 of 100 slopes, and
/// 94 so). Deviations are of rounds brought back to the size s, since those of t have none below three degrees of freedom.
///
/// # Errors
/// [`Refusal::OutOfRange`] for fewer than 200 or more than 100,000 rounds; [`Refusal::Unsuitable`] for a robust fit or one
/// without degrees of freedom, or where fewer than nine rounds of ten come to a result.
pub fn bootstrap(
    model: &dyn Model,
    data: &Data<'_>,
    found: &Fit,
    options: &Options,
    how: Bootstrap,
) -> Result<BootstrapRounds, Refusal> {
    if !(FEWEST..=MOST).contains(&how.rounds) {
        return Err(Refusal::OutOfRange {
            what: "the number of rounds".into(),
            value: f64::from(how.rounds),
            allowed: format!("{FEWEST} to {MOST}"),
        });
    }
    let n = data.y.len();
    if options.robust != Robust::No || found.degrees_of_freedom == 0 {
        return Err(Refusal::unsuitable(match how.noise {
            NoiseDraw::Residuals => {
                "residuals are dealt out anew only for a fit by least squares with points to spare"
            }
            NoiseDraw::Normal => {
                "the errors come from normal noise only for a fit by least squares with points to spare"
            }
        }));
    }
    // What a residual is divided by to be like the others.
    let scale: Vec<f64> = match data.weighting {
        Weighting::Equal => vec![1.0; n],
        Weighting::KnownErrors(errors) => errors.to_vec(),
        Weighting::Weights(weights) => weights.iter().map(|w| 1.0 / w.sqrt()).collect(),
        Weighting::Relative => found
            .fitted
            .iter()
            .map(|v| v.abs().max(f64::MIN_POSITIVE))
            .collect(),
    };
    let grow = (n as f64 / found.degrees_of_freedom as f64).sqrt();
    let like: Vec<f64> = found
        .residuals
        .iter()
        .zip(&scale)
        .map(|(r, s)| grow * r / s)
        .collect();
    let mean = like.iter().sum::<f64>() / n as f64;
    let lag_one = found
        .correlation
        .as_ref()
        .map(|correlation| correlation.lag_one.clamp(0.0, 0.98));
    let rho = lag_one.unwrap_or(0.0);
    // What is new in each residual; the first one is new altogether.
    let news: Vec<f64> = (0..n)
        .map(|i| {
            let before = if i == 0 { 0.0 } else { rho * (like[i - 1] - mean) };
            let scale = if i == 0 { (1.0 - rho * rho).sqrt() } else { 1.0 };
            scale * (like[i] - mean) - before
        })
        .collect();
    // How large what is new in a reading is, in the units that residuals are dealt in.
    let sd = match data.weighting {
        Weighting::KnownErrors(_) => 1.0,
        _ => (like.iter().map(|r| r * r).sum::<f64>() / n as f64).sqrt(),
    };
    let again = Options {
        start: Some(found.values()),
        profile: false,
        ..options.clone()
    };
    let mut dealer = Dealer::new(how.seed);
    let freedom = match (how.noise, data.weighting) {
        (NoiseDraw::Normal, Weighting::KnownErrors(_)) => None,
        (NoiseDraw::Residuals, _) | (NoiseDraw::Normal, _) => Some(found.error_freedom()),
    };
    let mut rounds: Vec<Round> = Vec::new();
    for _ in 0..how.rounds {
        let size = freedom.map_or(1.0, |freedom| (freedom / dealer.chi_squared(freedom)).sqrt());
        let mut y = found.fitted.clone();
        let mut last = 0.0;
        for (i, value) in y.iter_mut().enumerate() {
            let new = match how.noise {
                NoiseDraw::Residuals => size * news[dealer.below(n)],
                NoiseDraw::Normal => size * sd * (1.0 - rho * rho).sqrt() * dealer.normal(),
            };
            last = if i == 0 {
                new / (1.0 - rho * rho).sqrt()
            } else {
                rho * last + new
            };
            *value += last * scale[i];
        }
        if let Ok(fit) = fit(model, &Data { y: &y, ..*data }, &again) {
            rounds.push(Round {
                values: fit.values(),
                size,
            });
        }
    }
    if rounds.len() * 10 < how.rounds as usize * 9 {
        return Err(Refusal::Unsuitable {
            why: format!(
                "only {} of {} rounds came to a result: the data hardly determine the parameters",
                rounds.len(),
                how.rounds
            ),
        });
    }
    let (deviations, intervals) = (0..found.parameters.len())
        .map(|j| spread(&rounds, j, found))
        .unzip();
    Ok(BootstrapRounds {
        deviations,
        intervals,
        rounds: rounds.len(),
        lag_one,
    })
}

/// What one round gave.
struct Round {
    /// The parameters.
    values: Vec<f64>,
    /// The size of its noise, as a part of that of the fit.
    size: f64,
}

/// Deviation and interval of a parameter over the rounds.
fn spread(rounds: &[Round], parameter: usize, found: &Fit) -> (f64, FitInterval) {
    let count = rounds.len() as f64;
    let value = found.parameters[parameter].value;
    let alike: Vec<f64> = rounds
        .iter()
        .map(|round| (round.values[parameter] - value) / round.size)
        .collect();
    let middle = alike.iter().sum::<f64>() / count;
    let square: f64 = alike.iter().map(|v| (v - middle) * (v - middle)).sum();
    let mut values: Vec<f64> = rounds.iter().map(|round| round.values[parameter]).collect();
    values.sort_by(f64::total_cmp);
    let quantile = |part: f64| {
        let at = part * (count - 1.0);
        let (low, high) = (at.floor() as usize, at.ceil() as usize);
        values[low] + (at - at.floor()) * (values[high] - values[low])
    };
    let side = 0.5 * (1.0 - found.level);
    let interval = FitInterval {
        lower: Some(quantile(side)),
        upper: Some(quantile(1.0 - side)),
    };
    ((square / (count - 1.0)).sqrt(), interval)
}
