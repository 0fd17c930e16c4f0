//! The area of a band over the background that its surroundings show.
//!
//! By definition the area of a band is what lies between its curve and a background, from one limit to the other. The
//! limits are where the band has come down to what noise hides, three half-widths from its middle at least; the
//! background is a smooth curve through the readings beyond them. Where the flanks fall as those of Lorentz's curve do, what
//! they have beyond the limits is counted in.
//!
//! Nothing says which smooth curve the background is. So several are laid through the same readings: a straight line,
//! polynomials of degree two to four, the law of scattered light `c₀ + c₂ λ⁻² + c₄ λ⁻⁴` and parts of it, each of them
//! with and without a flank `a/(1 + (2d/w)²)` at the distance `d` from the middle of a band of full width `w`. Each counts by
//! Akaike's weight `exp(-S/2σ² - p)`, S its sum of squares and p its number of coefficients (Burnham and Anderson, Model
//! Selection and Multimodel Inference, 2002, sections 2.9 and 4.3). The area is the weighted mean, and its variance the weighted
//! mean of the variance of each and of the square of what it is away from the mean.
//!
//! The limits and how far the background is followed are choices too. How far the area moves with limits farther out, and with less
//! of the background, is among the errors; so is half of what a flank has beyond the curve, where nothing was seen of it. Where all
//! these choices together leave more than a tenth of the area open, there is none.

use serde::{Deserialize, Serialize};

use crate::distribution::{chi_squared_quantile, normal_upper};

/// The background is looked at from so many halves of the full width on at least: there a Gauss band has come down to `2^-9`, two
/// thousandths of its height.
const FROM_HALF_WIDTHS: f64 = 3.0;

/// And from where a Gauss band has come down to this part of the noise, so that its own flank is not taken for one that goes on.
const OF_THE_NOISE: f64 = 0.25;

/// A curve without noise has this much of the height: an end is not asked of it more closely than a table of six figures could tell.
const LEAST_NOISE: f64 = 1e-6;

/// Where no curve follows readings with little noise, or a band is not seen to come down to it, this part of the height is what the
/// background need not be known to better, at the same size all over a width: a Gauss band has come down to it at three
/// half-widths. The area is then known to about one part in a hundred at best. A choice.
const COARSE: f64 = 2e-3;

/// Fewest points on either side by which one can tell what the background does there. A choice.
const FEWEST_BEYOND: usize = 6;

/// How much farther out limits are tried. A choice.
const FARTHER: f64 = 1.25;

/// How much shorter a stretch of background is tried where no curve follows the longer one. A choice.
const SHORTER: f64 = 0.6;

/// The largest flank, in heights of the band: that of a pure Lorentz band, and what noise adds to height and width.
const LARGEST_FLANK: f64 = 1.15;

/// How large a part of the area may hang on the choice of background and limits. A choice.
const MOST_BY_CHOICE: f64 = 0.1;

/// Most steps from the width over a background without a flank to that with one; each takes most of what is left.
const STEPS_TO_FLANK: usize = 6;

/// Limits this much farther out than the band needs are the farthest that are tried where no curve follows the background: what
/// then lies between them is no longer the band alone, and a curve that follows only what is far away says little of what lies below
/// the band. Less of the background is looked at instead.
const MOST_NEEDED: f64 = 1.3;

/// Most limits that are tried for one stretch of background: steps of [`FARTHER`] take them to ten times the first.
const MOST_LIMITS: usize = 12;

/// A band and what is known of where it lies.
pub(super) struct Surroundings<'a> {
    /// x, rising.
    pub(super) x: &'a [f64],
    /// y, turned so that the band points upwards.
    pub(super) up: &'a [f64],
    /// First and last point that may belong to this band or its background.
    pub(super) within: (usize, usize),
    /// Whether each of them is there since another band begins, and not since the curve ends.
    pub(super) beside: (bool, bool),
    /// Standard deviation of a point.
    pub(super) noise: f64,
    /// Down to what a band must have come at the limits, if not to [`OF_THE_NOISE`].
    pub(super) hidden: Option<f64>,
    /// Over how many points noise is alike.
    pub(super) together: f64,
    /// Whether the background is known to be zero.
    pub(super) from_zero: bool,
    /// Wavelength in nm of an x, on an optical axis.
    pub(super) wavelength: &'a dyn Fn(f64) -> Option<f64>,
}

/// The area of a band, and by what definition.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BandArea {
    /// The area.
    pub value: f64,
    /// Its standard error: by noise, and by the choice of background and limits.
    pub error: f64,
    /// The part of it that comes from that choice.
    pub by_choice: f64,
    /// The limits between which the readings were summed.
    pub limits: (f64, f64),
    /// From where to where readings were looked at; those beyond the limits show the background.
    pub reach: (f64, f64),
    /// The background that counts most.
    pub background: Background,
    /// What of the area are flanks beyond the limits.
    pub beyond: f64,
    /// The background below the top.
    pub below_top: f64,
    /// Full width at half of the height over the background, without an error.
    pub width: f64,
}

/// The form of a background.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Background {
    /// None: zero.
    Zero,
    /// A straight line.
    Line,
    /// A polynomial of degree two to four.
    Bent,
    /// Scattered light, by powers of the wavelength.
    Scatter,
}

/// Why a band has no area.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoArea {
    /// Another band begins before this one has ended.
    Overlaps,
    /// The curve ends, or has a gap, before the band has ended.
    CutOff,
    /// The flanks go on beyond the curve.
    GoesOn,
    /// How the background goes on below the band decides about more than a tenth of the area, or no smooth curve follows it.
    Unclear,
    /// Areas count from zero, and the readings beyond the band are not zero.
    NotZero,
}

/// Columns of the backgrounds: 1, u, u², u³, u⁴, s₂ - 1 and s₄ - 1, with `u` the distance from the top over the longest there is and
/// `sₙ = (λ₀/λ)ⁿ`; then the flank.
const COLUMNS: usize = 8;
const FLANK: usize = 7;

/// Backgrounds as lists of columns. A level is a line without a slope, and no form of its own: under a band that is seen from both
/// sides a slope costs little.
const FORMS: [(Background, &[usize]); 14] = [
    (Background::Line, &[0, 1]),
    (Background::Bent, &[0, 1, 2]),
    (Background::Bent, &[0, 1, 2, 3]),
    (Background::Bent, &[0, 1, 2, 3, 4]),
    (Background::Scatter, &[0, 5]),
    (Background::Scatter, &[0, 6]),
    (Background::Scatter, &[0, 5, 6]),
    (Background::Line, &[0, 1, FLANK]),
    (Background::Bent, &[0, 1, 2, FLANK]),
    (Background::Bent, &[0, 1, 2, 3, FLANK]),
    (Background::Bent, &[0, 1, 2, 3, 4, FLANK]),
    (Background::Scatter, &[0, 5, FLANK]),
    (Background::Scatter, &[0, 6, FLANK]),
    (Background::Scatter, &[0, 5, 6, FLANK]),
];

/// Where areas count from zero.
const FROM_ZERO: [(Background, &[usize]); 2] = [(Background::Zero, &[]), (Background::Zero, &[FLANK])];

/// Where a band is taken to lie: its middle at half height, its full width there, and its height over the background.
#[derive(Clone, Copy)]
struct Place {
    centre: f64,
    width: f64,
    height: f64,
}

/// One background through the readings beyond the limits.
struct Fitted {
    form: Background,
    columns: &'static [usize],
    coefficients: [f64; COLUMNS],
    area: f64,
    /// Of the area, for unit variance of a point.
    variance: f64,
    flank: Option<Flank>,
    rss: f64,
}

/// A background with the logarithm of its weight, where there is one.
type Ranked = Option<(f64, Fitted)>;

/// What is known of a flank that falls as Lorentz's does, for unit variance of a point.
struct Flank {
    size: f64,
    variance: f64,
    /// Covariance of its size with the area.
    by: f64,
}

/// What a background says, and the logarithm of its weight.
struct Weighed {
    log: f64,
    area: f64,
    variance: f64,
    /// Variance of the area by what is not known of the flank.
    by_flank: f64,
    flank: f64,
}

impl Fitted {
    /// The size of a flank is known beforehand to lie between none and that of a pure Lorentz band, as likely here as there.
    /// So what the readings say of it is cut off at both ends (a normal distribution between limits), and the weight is that of
    /// all sizes between them: a flank of which the readings say nothing weighs as much as none.
    fn weighed(&self, variance: f64, height: f64) -> Option<Weighed> {
        let parameters = (self.columns.len() - usize::from(self.flank.is_some())) as f64;
        let log = -0.5 * self.rss / variance - parameters;
        let Some(flank) = &self.flank else {
            return Some(Weighed {
                log,
                area: self.area,
                variance: self.variance * variance,
                by_flank: 0.0,
                flank: 0.0,
            });
        };
        let sd = (flank.variance * variance).sqrt();
        let most = LARGEST_FLANK * height;
        let (low, high) = (-flank.size / sd, (most - flank.size) / sd);
        let inside = if low > 0.0 {
            normal_upper(low) - normal_upper(high)
        } else {
            normal_upper(-high) - normal_upper(-low)
        };
        // Where nearly all lies outside, this is no flank.
        if inside.is_nan() || inside < 1e-12 {
            return None;
        }
        let density = |z: f64| (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
        let (at_low, at_high) = (density(low), density(high));
        let moved = (at_low - at_high) / inside;
        let part = 1.0 + (low * at_low - high * at_high) / inside - moved * moved;
        let slope = flank.by / flank.variance;
        Some(Weighed {
            log: log + ((2.0 * std::f64::consts::PI).sqrt() * sd / most * inside).ln(),
            area: self.area + slope * moved * sd,
            variance: (self.variance - slope * flank.by).max(0.0) * variance,
            by_flank: (slope * sd).powi(2) * part.max(0.0),
            flank: flank.size + moved * sd,
        })
    }
}

/// All backgrounds for one choice of limits and reach.
struct Tried {
    place: Place,
    /// First and last point of the band, and of all that was looked at.
    band: (usize, usize),
    all: (usize, usize),
    value: f64,
    variance: f64,
    spread: f64,
    flank: f64,
    /// The logarithm of the largest weight.
    log: f64,
    best: Fitted,
    /// The best one with a flank.
    flanked: Option<Fitted>,
    /// Whether the best one leaves no more than noise.
    fits: bool,
    /// The least variance that one of them leaves.
    least: f64,
    points: usize,
}

impl Tried {
    /// Whether the readings speak for this one rather than for another.
    fn is_better_than(&self, other: &Self) -> bool {
        // One point more or less leaves half of its variance more or less.
        let log = |own: &Self| own.log + 0.5 * own.points as f64;
        match (self.fits, other.fits) {
            (true, true) => log(self) > log(other) + 0.1,
            (false, false) => self.least < 0.98 * other.least,
            (own, _) => own,
        }
    }
}

/// What is the same for all choices.
struct Search<'a> {
    around: &'a Surroundings<'a>,
    top: f64,
    /// The columns but the flank, from `within.0` on.
    rows: Vec<[f64; FLANK]>,
    optical: bool,
}

/// What Lorentz's curve of height 1 has beyond `at`.
fn tail(place: Place, at: f64) -> f64 {
    let v = 2.0 * (at - place.centre).abs() / place.width;
    0.5 * place.width * (std::f64::consts::FRAC_PI_2 - v.atan())
}

fn flank_at(place: Place, x: f64) -> f64 {
    let v = 2.0 * (x - place.centre) / place.width;
    1.0 / (1.0 + v * v)
}

impl Surroundings<'_> {
    /// The area of the band whose top is at `top` and that is about `width` wide and `height` high.
    pub(super) fn area(&self, top: f64, width: f64, height: f64) -> Result<BandArea, NoArea> {
        let (low, high) = (self.x[self.within.0], self.x[self.within.1]);
        let longest = (top - low).max(high - top);
        let middle = (self.wavelength)(top);
        let rows = self.x[self.within.0..=self.within.1]
            .iter()
            .map(|x| {
                let u = (x - top) / longest;
                let square = middle
                    .zip((self.wavelength)(*x))
                    .map_or(1.0, |(middle, own)| (middle / own).powi(2));
                [
                    1.0,
                    u,
                    u * u,
                    u.powi(3),
                    u.powi(4),
                    square - 1.0,
                    square * square - 1.0,
                ]
            })
            .collect();
        let search = Search {
            around: self,
            top,
            rows,
            optical: middle.is_some(),
        };
        let found = search.anywhere((width, height), longest);
        let coarse = COARSE * height;
        if found.is_ok() || coarse <= self.noise {
            return found;
        }
        let across = self.x.partition_point(|x| *x < top + width) - self.x.partition_point(|x| *x < top);
        let coarser = Surroundings {
            noise: coarse,
            hidden: Some(coarse),
            together: self.together.max(across as f64),
            ..*self
        };
        let search = Search {
            around: &coarser,
            ..search
        };
        search.anywhere((width, height), longest).or(found)
    }

    /// The half of what a band at this place needs from limit to limit.
    fn half_of(&self, place: Place) -> f64 {
        let noise = self.noise.max(LEAST_NOISE * place.height);
        let hidden = self.hidden.unwrap_or(OF_THE_NOISE * noise);
        let hidden = (place.height / hidden).log2().max(0.0).sqrt();
        0.5 * place.width * hidden.max(FROM_HALF_WIDTHS)
    }
}

impl Search<'_> {
    /// The area with the longest stretch of background that a smooth curve follows.
    fn anywhere(&self, (width, height): (f64, f64), longest: f64) -> Result<BandArea, NoArea> {
        let around = self.around;
        let (low, high) = (around.x[around.within.0], around.x[around.within.1]);
        // The nearer end is the one that a band may reach over.
        let is_left = self.top - low < high - self.top;
        let short = if if is_left { around.beside.0 } else { around.beside.1 } {
            NoArea::Overlaps
        } else {
            NoArea::CutOff
        };
        let begin = Place {
            centre: self.top,
            width,
            height,
        };
        let mut seen = false;
        let mut reach = longest;
        while reach > 0.5 * FROM_HALF_WIDTHS * width {
            if let Some(choice) = self.consistent(begin, reach, &mut seen) {
                return self.settled(&choice, reach).ok_or(short)?;
            }
            reach *= SHORTER;
        }
        Err(match (seen, around.from_zero) {
            (false, _) => short,
            (true, true) => NoArea::NotZero,
            (true, false) => NoArea::Unclear,
        })
    }

    /// The choice with the nearest limits beyond which a smooth curve follows the readings, and which are far enough for the band
    /// that stands over that curve; none where there are none.
    fn consistent(&self, begin: Place, reach: f64, seen: &mut bool) -> Option<Tried> {
        let (mut place, mut half) = (begin, self.around.half_of(begin));
        for _ in 0..MOST_LIMITS {
            let mut choice = self.choose(place, half, reach)?;
            *seen = true;
            if !choice.fits {
                choice = self.with_flank(choice, half, reach);
            }
            let Some(found) = self.place_over(&choice.best, choice.place) else {
                half *= FARTHER;
                continue;
            };
            let needed = self.around.half_of(found);
            place = found;
            if !choice.fits || needed > 1.05 * half {
                if !choice.fits && half > MOST_NEEDED * needed {
                    return None;
                }
                half = if choice.fits {
                    needed
                } else {
                    needed.max(FARTHER * half)
                };
                continue;
            }
            let last_half = needed.max(half / FARTHER);
            let last = self.with_flank(self.choose(place, last_half, reach)?, last_half, reach);
            if last.fits && self.around.half_of(last.place) <= FARTHER * last_half {
                return Some(last);
            }
            half *= FARTHER;
        }
        None
    }

    /// Width and height over a background without a flank are too small for one: where one that is as the flank would have it
    /// suits the readings better, that counts.
    fn with_flank(&self, mut choice: Tried, half: f64, reach: f64) -> Tried {
        for _ in 0..STEPS_TO_FLANK {
            let flanked = choice.flanked.as_ref().unwrap_or(&choice.best);
            let other = self
                .place_over(flanked, choice.place)
                .and_then(|place| self.choose(place, half, reach));
            match other {
                Some(other) if other.is_better_than(&choice) => choice = other,
                _ => break,
            }
        }
        choice
    }

    /// The area of a choice, with what other choices make of it; none where there is no room for other limits.
    fn settled(&self, choice: &Tried, reach: f64) -> Option<Result<BandArea, NoArea>> {
        let x = self.around.x;
        let place = choice.place;
        let (from, to) = (x[choice.band.0], x[choice.band.1]);
        let half = 0.5 * (to - from);
        // Where the curve ends sooner, less must do, or limits that are nearer.
        let farther = [FARTHER, FARTHER.sqrt(), 1.0 / FARTHER.sqrt()]
            .into_iter()
            .find_map(|factor| self.choose(place, factor * half, reach))?;
        let nearer = self.choose(place, half, SHORTER.sqrt() * reach);
        let moved = [Some(farther), nearer]
            .into_iter()
            .flatten()
            .map(|other| {
                // What noise moves it by is among its errors already.
                let by_noise = (other.variance - choice.variance).max(0.0);
                ((other.value - choice.value).powi(2) - by_noise).max(0.0)
            })
            .fold(0.0, f64::max);
        let (first, last) = (x[choice.all.0], x[choice.all.1]);
        let unseen = 0.5 * choice.flank * (tail(place, first) + tail(place, last));
        let by_choice = choice.spread.max(moved).sqrt().hypot(unseen);
        if by_choice.is_nan() || by_choice > MOST_BY_CHOICE * choice.value {
            let goes_on = unseen > 0.5 * MOST_BY_CHOICE * choice.value;
            return Some(Err(if goes_on { NoArea::GoesOn } else { NoArea::Unclear }));
        }
        Some(Ok(BandArea {
            value: choice.value,
            error: choice.variance.max(moved).sqrt().hypot(unseen),
            by_choice,
            limits: (from, to),
            reach: (first, last),
            background: choice.best.form,
            beyond: choice.flank * (tail(place, from) + tail(place, to)),
            below_top: self.below(
                &choice.best,
                x.partition_point(|x| *x < self.top).min(self.around.within.1),
            ),
            width: place.width,
        }))
    }

    /// The backgrounds through the readings from `reach` to `half` on either side.
    fn choose(&self, place: Place, half: f64, reach: f64) -> Option<Tried> {
        let Surroundings { x, up, .. } = *self.around;
        let (lowest, highest) = self.around.within;
        let from = |away: f64| x.partition_point(|x| *x < place.centre - away).max(lowest);
        let to = |away: f64| x.partition_point(|x| *x <= place.centre + away).min(highest + 1);
        let ((first, after), (start, end)) = ((from(half), to(half)), (from(reach), to(reach)));
        if first < start + FEWEST_BEYOND || end < after + FEWEST_BEYOND || after < first + 2 {
            return None;
        }
        let last = after - 1;
        let row = |i: usize| -> [f64; COLUMNS] {
            let own = &self.rows[i - lowest];
            [
                own[0],
                own[1],
                own[2],
                own[3],
                own[4],
                own[5],
                own[6],
                flank_at(place, x[i]),
            ]
        };
        // Sums over the band.
        let mut inner = [0.0; COLUMNS];
        let (mut whole, mut squares) = (0.0, 0.0);
        for i in first..=last {
            let weight = (x[(i + 1).min(last)] - x[(i.max(first + 1)) - 1]) / 2.0;
            whole += weight * up[i];
            squares += weight * weight;
            for (sum, own) in inner.iter_mut().zip(row(i)) {
                *sum += weight * own;
            }
        }
        // Products over the background, from a level near it, so that no digits are lost.
        let level = 0.5 * (up[start] + up[end - 1]);
        let mut gram = [[0.0; COLUMNS]; COLUMNS];
        let mut right = [0.0; COLUMNS];
        let mut total = 0.0;
        for i in (start..first).chain(after..end) {
            let own = row(i);
            let y = if self.around.from_zero {
                up[i]
            } else {
                up[i] - level
            };
            total += y * y;
            for j in 0..COLUMNS {
                right[j] += own[j] * y;
                for k in 0..=j {
                    gram[j][k] += own[j] * own[k];
                }
            }
        }
        let points = (first - start) + (end - after);
        let tails = tail(place, x[first]) + tail(place, x[last]);
        let forms: &[(Background, &'static [usize])] =
            if self.around.from_zero { &FROM_ZERO } else { &FORMS };
        let mut all: Vec<Fitted> = Vec::with_capacity(forms.len());
        let mut least = f64::INFINITY;
        for (form, columns) in forms {
            let count = columns.len();
            if *form == Background::Scatter && !self.optical || points < count + 3 {
                continue;
            }
            let Some((mut coefficients, inverse)) = solve(&gram, &right, columns) else {
                continue;
            };
            let fitted: f64 = columns.iter().zip(coefficients).map(|(j, c)| c * right[*j]).sum();
            if !self.around.from_zero {
                coefficients[0] += level;
            }
            let rss = (total - fitted).max(0.0);
            least = least.min(rss / (points - count) as f64);
            let mut gradient = [0.0; COLUMNS];
            for (g, j) in gradient.iter_mut().zip(*columns) {
                *g = if *j == FLANK { tails } else { -inner[*j] };
            }
            let mut by = [0.0; COLUMNS];
            for (b, row) in by.iter_mut().zip(&inverse).take(count) {
                *b = row.iter().zip(&gradient).take(count).map(|(c, g)| c * g).sum();
            }
            let dot = |a: &[f64; COLUMNS]| {
                a.iter()
                    .zip(&gradient)
                    .take(count)
                    .map(|(a, g)| a * g)
                    .sum::<f64>()
            };
            all.push(Fitted {
                form: *form,
                columns,
                area: whole + dot(&coefficients),
                variance: squares + dot(&by),
                flank: (columns.last() == Some(&FLANK)).then(|| Flank {
                    size: coefficients[count - 1],
                    variance: inverse[count - 1][count - 1],
                    by: by[count - 1],
                }),
                coefficients,
                rss,
            });
        }
        let noise = self.around.noise.max(LEAST_NOISE * place.height);
        // Points that are alike tell as much as one of them.
        let freedom = (points as f64 / self.around.together).max(1.0);
        let fits = least <= chi_squared_quantile(0.995, freedom) / freedom * noise * noise;
        let variance = (noise * noise).max(least) * self.around.together;
        let mut choice = self.weigh(all, (variance, place), (first, last), (start, end - 1))?;
        choice.fits = fits;
        choice.least = least;
        choice.points = points;
        Some(choice)
    }

    fn weigh(
        &self,
        all: Vec<Fitted>,
        (variance, place): (f64, Place),
        band: (usize, usize),
        whole: (usize, usize),
    ) -> Option<Tried> {
        let pairs: Vec<(Weighed, Fitted)> = all
            .into_iter()
            .filter_map(|own| Some((own.weighed(variance, place.height)?, own)))
            .collect();
        let log = pairs
            .iter()
            .map(|(own, _)| own.log)
            .fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = pairs.iter().map(|(own, _)| (own.log - log).exp()).sum();
        let mean = |of: &dyn Fn(&Weighed) -> f64| -> f64 {
            pairs
                .iter()
                .map(|(own, _)| (own.log - log).exp() * of(own))
                .sum::<f64>()
                / sum
        };
        let value = mean(&|own| own.area);
        let spread = mean(&|own| (own.area - value).powi(2) + own.by_flank);
        let variance = mean(&|own| own.variance) + spread;
        let flank = mean(&|own| own.flank);
        let (mut best, mut flanked): (Ranked, Ranked) = (None, None);
        for (weighed, own) in pairs {
            let is_better = |than: &Ranked| than.as_ref().is_none_or(|than| weighed.log > than.0);
            if is_better(&best) {
                let before = best.replace((weighed.log, own));
                if let Some((log, before)) = before.filter(|(_, before)| before.flank.is_some()) {
                    flanked = Some((log, before));
                }
            } else if own.flank.is_some() && is_better(&flanked) {
                flanked = Some((weighed.log, own));
            }
        }
        Some(Tried {
            place,
            band,
            all: whole,
            value,
            variance,
            spread,
            flank,
            log,
            best: best?.1,
            flanked: flanked.map(|(_, own)| own),
            fits: false,
            least: f64::INFINITY,
            points: 0,
        })
    }

    /// What a background is at a point, without the flank.
    fn below(&self, of: &Fitted, i: usize) -> f64 {
        let row = &self.rows[i - self.around.within.0];
        let pairs = of.columns.iter().zip(of.coefficients);
        pairs.filter_map(|(j, c)| row.get(*j).map(|own| own * c)).sum()
    }

    /// Where the band is over a background.
    fn place_over(&self, of: &Fitted, before: Place) -> Option<Place> {
        let Surroundings { x, up, .. } = *self.around;
        let (low, high) = self.around.within;
        let over = |i: usize| up[i] - self.below(of, i);
        // The mean over a quarter of the width about the top of a Gauss band is 0.99 of it.
        let near = 0.12 * before.width;
        let first = x.partition_point(|x| *x < self.top - near).max(low);
        let after = x.partition_point(|x| *x <= self.top + near).min(high + 1);
        let height = (first..after).map(over).sum::<f64>() / after.checked_sub(first)? as f64;
        if height.is_nan() || height <= 0.0 {
            return None;
        }
        let at = x.partition_point(|x| *x < self.top).clamp(low, high);
        // Two neighbours in a row below half of it, so that one noisy point does not end the band.
        let flank = |order: &mut dyn Iterator<Item = usize>, inwards: isize| -> Option<f64> {
            let mut before = None;
            for i in order {
                match (over(i) <= 0.5 * height, before) {
                    (true, Some(first)) => {
                        let inner = usize::checked_add_signed(first, inwards)?;
                        let (upper, lower) = (over(inner), over(first));
                        let part = ((upper - 0.5 * height) / (upper - lower)).clamp(0.0, 1.0);
                        return Some(x[inner] + part * (x[first] - x[inner]));
                    }
                    (true, None) => before = Some(i),
                    (false, _) => before = None,
                }
            }
            None
        };
        let left = flank(&mut (low..at).rev(), 1)?;
        let right = flank(&mut (at + 1..=high), -1)?;
        Some(Place {
            centre: 0.5 * (left + right),
            width: right - left,
            height,
        })
    }
}

type Square = [[f64; COLUMNS]; COLUMNS];

/// Coefficients of some columns, and the inverse of their products, by Cholesky's decomposition; none where a column depends on
/// those before it.
fn solve(gram: &Square, right: &[f64; COLUMNS], columns: &[usize]) -> Option<([f64; COLUMNS], Square)> {
    let p = columns.len();
    let mut lower = [[0.0; COLUMNS]; COLUMNS];
    for j in 0..p {
        for k in 0..=j {
            let (a, b) = (columns[j].max(columns[k]), columns[j].min(columns[k]));
            let before: f64 = lower[j][..k].iter().zip(&lower[k]).map(|(a, b)| a * b).sum();
            let rest = gram[a][b] - before;
            if j > k {
                lower[j][k] = rest / lower[k][k];
            } else if rest > 1e-11 * gram[a][a] {
                lower[j][j] = rest.sqrt();
            } else {
                return None;
            }
        }
    }
    let through = |mut b: [f64; COLUMNS]| -> [f64; COLUMNS] {
        for j in 0..p {
            for k in 0..j {
                b[j] -= lower[j][k] * b[k];
            }
            b[j] /= lower[j][j];
        }
        for j in (0..p).rev() {
            for k in j + 1..p {
                b[j] -= lower[k][j] * b[k];
            }
            b[j] /= lower[j][j];
        }
        b
    };
    let mut inverse = [[0.0; COLUMNS]; COLUMNS];
    for (j, row) in inverse.iter_mut().enumerate().take(p) {
        let mut unit = [0.0; COLUMNS];
        unit[j] = 1.0;
        *row = through(unit);
    }
    let mut chosen = [0.0; COLUMNS];
    for (own, j) in chosen.iter_mut().zip(columns) {
        *own = right[*j];
    }
    Some((through(chosen), inverse))
}
