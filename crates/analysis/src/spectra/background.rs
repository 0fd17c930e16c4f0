//! The area of a band over the background that its surroundings show.
//!
//! By definition the area of a band is what lies between its curve and a background, from one limit to the other. The
//! limits are where the band has come down to what noise hides, three half-widths from its middle at least; the
//! background is a smooth curve through the readings beyond them; what a flank has that falls as Lorentz's does is counted in
//! beyond the limits too.
//!
//! Nothing says which smooth curve the background is. So several are laid through the same readings: a straight line,
//! polynomials of degree two and three, the law of scattered light `c₀ + c₂ λ⁻² + c₄ λ⁻⁴` and parts of it, each of them
//! with and without a flank `a/(1 + (2d/w)²)`. Each counts by Akaike's weight `exp(-Δ/2)`, Δ its criterion
//! `S/σ² + 2p` less the smallest (Burnham and Anderson, Model Selection and Multimodel Inference, 2002, sections 2.9 and
//! 4.3). The area is the weighted mean, and its variance the weighted mean of the variance of each and of the square of what it
//! is away from the mean. Limits farther out and a shorter stretch of background must give the same: how far the area moves
//! with them is an error too.

use crate::distribution::{chi_squared_quantile, normal_cdf};

/// A flank is looked at from so many halves of the full width on at least: there a Gauss band has come down to `2^-9`, two thousandths of
/// its height, and a Lorentz band to a tenth.
const FROM_HALF_WIDTHS: f64 = 3.0;

/// And from where a Gauss band has come down to this part of the noise, so that its own flank is not taken for one that goes on.
const OF_THE_NOISE: f64 = 0.25;

/// A curve without noise has this much of the height: an end is not asked of it more closely than a table of six figures could tell.
const LEAST_NOISE: f64 = 1e-6;

/// Fewest points on either side by which one can tell what the background does there. A choice.
const FEWEST_BEYOND: usize = 6;

/// How much farther out the limits are set, to see whether the area moves.
const FARTHER: f64 = 1.25;

/// The largest flank, in heights of the band: that of a pure Lorentz band, and what noise adds to height and width.
const LARGEST_FLANK: f64 = 1.15;

/// How large a part of the area may hang on the choice of background and limits. A choice.
const MOST_BY_CHOICE: f64 = 0.1;

/// A band and what is known of where it lies.
pub(super) struct Surroundings<'a> {
    /// x, rising.
    pub(super) x: &'a [f64],
    /// y, turned so that the band points upwards.
    pub(super) up: &'a [f64],
    /// First and last point that may belong to this band or its background.
    pub(super) within: (usize, usize),
    /// Whether each of them is there since another band begins (and not since the curve ends).
    pub(super) beside: (bool, bool),
    /// Standard deviation of a point, and over how many of them it is alike.
    pub(super) noise: (f64, f64),
    /// Wavelength in nm of an x, on an optical axis.
    pub(super) wavelength: &'a dyn Fn(f64) -> Option<f64>,
}

/// The area of a band, and how it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct BandArea {
    pub(super) value: f64,
    pub(super) error: f64,
    /// The part of the error that comes from the choice of background and limits.
    pub(super) by_choice: f64,
    /// Limits.
    pub(super) limits: (f64, f64),
    /// First and last x of the readings that show the background.
    pub(super) reach: (f64, f64),
    /// The background that counts most.
    pub(super) background: Kind,
    /// What of the area lies beyond the limits.
    pub(super) beyond: f64,
    /// How much the background rises over the full width, and what that is unsure by.
    pub(super) rise: f64,
    /// The height over the background at the middle, and the full width at half of it.
    pub(super) height: f64,
    pub(super) width: f64,
}

/// Why there is no area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum NoArea {
    /// Another band begins before this one has ended.
    Overlaps,
    /// The curve ends before the band has.
    CutOff,
    /// The flanks fall on beyond the readings.
    GoesOn,
    /// How the background goes on below the band decides about more than a tenth of the area.
    Unclear,
}

/// A background.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Line,
    Quadratic,
    Cubic,
    Scatter,
}

/// Columns: 1, u, u², u³, flank, s₂ - 1, s₄ - 1, with `u = (x - c)/reach` and `s = (λc/λ)ⁿ`.
const COLUMNS: usize = 7;
const FLANK: usize = 4;

/// Backgrounds as lists of columns. The level is a line without a slope, and no model of its own: under flanks alike on both
/// sides a slope costs nothing.
const MODELS: [(Kind, &[usize]); 12] = [
    (Kind::Line, &[0, 1]),
    (Kind::Quadratic, &[0, 1, 2]),
    (Kind::Cubic, &[0, 1, 2, 3]),
    (Kind::Scatter, &[0, 5]),
    (Kind::Scatter, &[0, 6]),
    (Kind::Scatter, &[0, 5, 6]),
    (Kind::Line, &[0, 1, FLANK]),
    (Kind::Quadratic, &[0, 1, 2, FLANK]),
    (Kind::Cubic, &[0, 1, 2, 3, FLANK]),
    (Kind::Scatter, &[0, 5, FLANK]),
    (Kind::Scatter, &[0, 6, FLANK]),
    (Kind::Scatter, &[0, 5, 6, FLANK]),
];

/// Where a band is taken to lie.
#[derive(Clone, Copy, Debug)]
struct Place {
    centre: f64,
    width: f64,
    height: f64,
}

/// One background through the readings beyond a core.
struct Fitted {
    kind: Kind,
    columns: &'static [usize],
    coefficients: Vec<f64>,
    area: f64,
    /// Of the area, for unit variance of a point.
    variance: f64,
    flank: Option<Flank>,
    rss: f64,
    freedom: usize,
}

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
    /// So what the readings say of it is cut off at both ends, and the weight is that of all sizes between them: of
    /// a flank of which the readings say nothing as much as of none.
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
        let inside = normal_cdf(high) - normal_cdf(low);
        if inside.is_nan() || inside < 1e-12 {
            return None;
        }
        let density = |z: f64| (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
        let (d, e) = (density(low), density(high));
        let moved = (d - e) / inside;
        let squeezed = (1.0 + (low * d - high * e) / inside - moved * moved).max(0.0);
        let slope = flank.by / flank.variance;
        Some(Weighed {
            log: log + ((2.0 * std::f64::consts::PI).sqrt() * sd / most * inside).ln(),
            area: self.area + slope * moved * sd,
            variance: (self.variance - slope * flank.by).max(0.0) * variance,
            by_flank: (slope * sd).powi(2) * squeezed,
            flank: flank.size + moved * sd,
        })
    }
}

/// All of them over one choice of limits and reach.
struct Choice {
    value: f64,
    variance: f64,
    spread: f64,
    /// The mean size of a flank.
    flank: f64,
    best: Fitted,
    scale: f64,
    first: usize,
    last: usize,
    from: usize,
    to: usize,
    place: Place,
    fits: bool,
}

impl Surroundings<'_> {
    fn columns(&self, place: Place, scale: f64, x: f64, with_wavelength: bool) -> [f64; COLUMNS] {
        let u = (x - place.centre) / scale;
        let v = 2.0 * (x - place.centre) / place.width;
        let (mut s2, mut s4) = (0.0, 0.0);
        if with_wavelength
            && let (Some(own), Some(at)) = ((self.wavelength)(x), (self.wavelength)(place.centre))
        {
            let square = (at / own) * (at / own);
            s2 = square - 1.0;
            s4 = square * square - 1.0;
        }
        [1.0, u, u * u, u * u * u, 1.0 / (1.0 + v * v), s2, s4]
    }

    /// The backgrounds through the readings from `reach` to the core `half` on either side of the middle.
    fn choose(&self, place: Place, half: f64, reach: f64) -> Option<Choice> {
        let x = self.x;
        let (lowest, highest) = self.within;
        let below = |at: f64| x.partition_point(|v| *v < at);
        // The core is [first, last]; what is beyond it is background.
        let first = below(place.centre - half).max(lowest);
        let last = (x.partition_point(|v| *v <= place.centre + half)).min(highest + 1) - 1;
        let from = below(place.centre - reach).max(lowest);
        let to = (x.partition_point(|v| *v <= place.centre + reach)).min(highest + 1) - 1;
        if first < from + FEWEST_BEYOND || to < last + FEWEST_BEYOND || last <= first {
            return None;
        }
        let scale = (place.centre - x[from]).max(x[to] - place.centre);
        let optical = (self.wavelength)(place.centre).is_some();
        let outside: Vec<usize> = (from..first).chain(last + 1..=to).collect();
        let rows: Vec<[f64; COLUMNS]> =
            outside.iter().map(|i| self.columns(place, scale, x[*i], optical)).collect();
        // Sums over the core.
        let mut inner = [0.0; COLUMNS];
        let (mut whole, mut squares) = (0.0, 0.0);
        for i in first..=last {
            let weight = (x[(i + 1).min(last)] - x[i.saturating_sub(1).max(first)]) / 2.0;
            whole += weight * self.up[i];
            squares += weight * weight;
            let row = self.columns(place, scale, x[i], optical);
            for (sum, own) in inner.iter_mut().zip(row) {
                *sum += weight * own;
            }
        }
        let mut gram = [[0.0; COLUMNS]; COLUMNS];
        let mut right = [0.0; COLUMNS];
        for (row, i) in rows.iter().zip(&outside) {
            for j in 0..COLUMNS {
                right[j] += row[j] * self.up[*i];
                for k in 0..=j {
                    gram[j][k] += row[j] * row[k];
                }
            }
        }
        // Beyond the limits a flank has w/2 (π/2 - atan(2d/w)) on either side.
        let tail = |at: f64| {
            let v = 2.0 * (at - place.centre).abs() / place.width;
            0.5 * place.width * (std::f64::consts::FRAC_PI_2 - v.atan())
        };
        let tails = tail(x[first]) + tail(x[last]);
        let noise = self.noise.0.max(LEAST_NOISE * place.height);
        let mut all: Vec<Fitted> = Vec::new();
        for (kind, columns) in MODELS {
            if kind == Kind::Scatter && !optical || outside.len() < columns.len() + 3 {
                continue;
            }
            let Some((coefficients, inverse)) = solve(&gram, &right, columns) else {
                continue;
            };
            let has_flank = columns.last() == Some(&FLANK);
            let gradient: Vec<f64> = columns
                .iter()
                .map(|j| if *j == FLANK { tails } else { -inner[*j] })
                .collect();
            let area = whole + gradient.iter().zip(&coefficients).map(|(g, c)| g * c).sum::<f64>();
            let by: Vec<f64> = inverse
                .iter()
                .map(|row| row.iter().zip(&gradient).map(|(c, h)| c * h).sum())
                .collect();
            let variance = squares + gradient.iter().zip(&by).map(|(g, b)| g * b).sum::<f64>();
            let rss = rows
                .iter()
                .zip(&outside)
                .map(|(row, i)| {
                    let value: f64 = columns.iter().zip(&coefficients).map(|(j, c)| row[*j] * c).sum();
                    (self.up[*i] - value).powi(2)
                })
                .sum();
            let last = columns.len() - 1;
            all.push(Fitted {
                kind,
                columns,
                freedom: outside.len() - columns.len(),
                flank: has_flank.then(|| Flank {
                    size: coefficients[last],
                    variance: inverse[last][last],
                    by: by[last],
                }),
                coefficients,
                area,
                variance,
                rss,
            });
        }
        let together = self.noise.1;
        let least = all
            .iter()
            .map(|own| own.rss / own.freedom as f64)
            .fold(f64::INFINITY, f64::min);
        let freedom = (outside.len() as f64 / together).max(1.0);
        let fits = least <= chi_squared_quantile(0.995, freedom) / freedom * noise * noise;
        let variance = (noise * noise).max(least) * together;
        let weighed: Vec<Weighed> = all
            .iter()
            .filter_map(|own| own.weighed(variance, place.height))
            .collect();
        let best = weighed.iter().map(|own| own.log).fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = weighed.iter().map(|own| (own.log - best).exp()).collect();
        let sum: f64 = weights.iter().sum();
        let mean = |of: &dyn Fn(&Weighed) -> f64| -> f64 {
            weights.iter().zip(&weighed).map(|(w, own)| w * of(own)).sum::<f64>() / sum
        };
        let value = mean(&|own| own.area);
        let spread = mean(&|own| (own.area - value).powi(2) + own.by_flank);
        let own = mean(&|own| own.variance);
        let flank = mean(&|own| own.flank);
        let best = all
            .into_iter()
            .filter_map(|own| Some((own.weighed(variance, place.height)?.log, own)))
            .max_by(|a, b| a.0.total_cmp(&b.0))?
            .1;
        Some(Choice {
            value,
            variance: own + spread,
            spread,
            flank,
            best,
            scale,
            first,
            last,
            from,
            to,
            place,
            fits,
        })
    }

    /// What the background is at `x`, without the band's flank.
    fn below(&self, choice: &Choice, x: f64) -> f64 {
        let row = self.columns(choice.place, choice.scale, x, choice.best.kind == Kind::Scatter);
        let pairs = choice.best.columns.iter().zip(&choice.best.coefficients);
        pairs.filter(|(j, _)| **j != FLANK).map(|(j, c)| row[*j] * c).sum()
    }

    /// Middle, full width at half height and height over a background.
    fn place_over(&self, choice: &Choice, top: f64) -> Option<Place> {
        let over = |i: usize| self.up[i] - self.below(choice, self.x[i]);
        let (low, high) = self.within;
        let near = |half: f64| {
            let first = self.x.partition_point(|v| *v < top - half).max(low);
            let last = self.x.partition_point(|v| *v <= top + half).min(high + 1) - 1;
            (first, last)
        };
        let (first, last) = near(0.12 * choice.place.width);
        let height = (first..=last).map(over).sum::<f64>() / (last + 1).checked_sub(first)? as f64;
        // A mean over a quarter of the width about the top of Gauss's curve is 0.987 of it.
        if height <= 0.0 {
            return None;
        }
        let at = self.x.partition_point(|v| *v < top).clamp(low, high);
        let flank = |order: &mut dyn Iterator<Item = usize>, back: isize| -> Option<f64> {
            let mut before: Option<usize> = None;
            for i in order {
                match (over(i) <= 0.5 * height, before) {
                    (true, Some(first)) => {
                        let inner = first.checked_add_signed(back)?;
                        let (a, b) = (over(inner), over(first));
                        let part = ((a - 0.5 * height) / (a - b)).clamp(0.0, 1.0);
                        return Some(self.x[inner] + part * (self.x[first] - self.x[inner]));
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

    /// The half of the core that a band at this place needs.
    fn half_of(&self, place: Place) -> f64 {
        let noise = self.noise.0.max(LEAST_NOISE * place.height);
        let hidden = (place.height / (OF_THE_NOISE * noise)).log2().max(0.0).sqrt();
        0.5 * place.width * hidden.max(FROM_HALF_WIDTHS)
    }

    /// The area of the band whose top is at `top` and that is about `width` wide and `height` high.
    pub(super) fn area(&self, top: f64, width: f64, height: f64) -> Result<BandArea, NoArea> {
        let x = self.x;
        let room = (top - x[self.within.0]).max(x[self.within.1] - top);
        let short = if self.beside.0 || self.beside.1 { NoArea::Overlaps } else { NoArea::CutOff };
        let mut best: Option<Choice> = None;
        let mut reach = room;
        let mut seen = false;
        'reach: while reach > 2.0 * width {
            let mut place = Place { centre: top, width, height };
            let mut half = self.half_of(place);
            for _ in 0..12 {
                let Some(choice) = self.choose(place, half, reach) else {
                    break;
                };
                seen = true;
                let found = self.place_over(&choice, top);
                let Some(found) = found.filter(|found| found.width < 2.0 * reach) else {
                    half *= FARTHER;
                    continue;
                };
                let needed = self.half_of(found);
                let moved = (needed - half).abs() > 0.1 * half;
                if needed > 1.05 * half || !choice.fits {
                    place = found;
                    half = if choice.fits { needed } else { needed.max(FARTHER * half) };
                    continue;
                }
                if moved && needed < half && (place.width - found.width).abs() > 0.1 * place.width {
                    place = found;
                    half = needed.max(0.8 * half);
                }
                best = self.choose(Place { ..found }, half, reach).filter(|best| best.fits);
                if best.is_some() {
                    break 'reach;
                }
                half *= FARTHER;
            }
            reach *= 0.6;
        }
        let Some(choice) = best else {
            return Err(if seen { NoArea::Unclear } else { short });
        };
        let half = 0.5 * (x[choice.last] - x[choice.first]);
        let mut moved: f64 = 0.0;
        let farther = self.choose(choice.place, FARTHER * half, reach);
        let nearer = self.choose(choice.place, half, 0.7 * reach);
        let Some(farther) = farther else { return Err(short) };
        for other in [Some(farther), nearer].into_iter().flatten() {
            // What noise alone moves it by is among its errors already.
            let own = (other.variance - choice.variance).max(0.0);
            let away = (other.value - choice.value).powi(2) - own;
            moved = moved.max(away.max(0.0).sqrt());
        }
        let place = choice.place;
        let reach = (x[choice.from], x[choice.to]);
        // Of a flank that goes on beyond the readings half is unsure.
        let out = |at: f64| 0.5 * place.width * (0.5 * std::f64::consts::PI - (2.0 * (at - place.centre).abs() / place.width).atan());
        let unseen = 0.5 * choice.flank * (out(reach.0) + out(reach.1));
        let limits = (x[choice.first], x[choice.last]);
        let by_choice = choice.spread.sqrt().max(moved).hypot(unseen);
        let error = choice.variance.sqrt().max(moved).hypot(unseen);
        if choice.value <= 0.0 || by_choice > MOST_BY_CHOICE * choice.value {
            return Err(if unseen > MOST_BY_CHOICE * choice.value { NoArea::GoesOn } else { NoArea::Unclear });
        }
        let (left, right) = (place.centre - 0.5 * place.width, place.centre + 0.5 * place.width);
        Ok(BandArea {
            value: choice.value,
            error,
            by_choice,
            limits,
            reach,
            background: choice.best.kind,
            beyond: choice.flank * (out(limits.0) + out(limits.1)),
            rise: self.below(&choice, right) - self.below(&choice, left),
            height: place.height,
            width: place.width,
        })
    }
}

/// Coefficients of some columns, and the inverse of their products, by Cholesky's decomposition; none where a column depends on the others.
fn solve(
    gram: &[[f64; COLUMNS]; COLUMNS],
    right: &[f64; COLUMNS],
    columns: &[usize],
) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
    let p = columns.len();
    let of = |j: usize, k: usize| {
        let (a, b) = (columns[j], columns[k]);
        gram[a.max(b)][a.min(b)]
    };
    let mut lower = vec![vec![0.0; p]; p];
    for j in 0..p {
        for k in 0..=j {
            let sum: f64 = (0..k).map(|m| lower[j][m] * lower[k][m]).sum();
            if j == k {
                let pivot = of(j, j) - sum;
                if pivot.is_nan() || pivot <= 1e-11 * of(j, j) {
                    return None;
                }
                lower[j][j] = pivot.sqrt();
            } else {
                lower[j][k] = (of(j, k) - sum) / lower[k][k];
            }
        }
    }
    let through = |mut b: Vec<f64>| -> Vec<f64> {
        for j in 0..p {
            let sum: f64 = (0..j).map(|k| lower[j][k] * b[k]).sum();
            b[j] = (b[j] - sum) / lower[j][j];
        }
        for j in (0..p).rev() {
            let sum: f64 = (j + 1..p).map(|k| lower[k][j] * b[k]).sum();
            b[j] = (b[j] - sum) / lower[j][j];
        }
        b
    };
    let inverse = (0..p)
        .map(|j| through((0..p).map(|k| f64::from(u8::from(j == k))).collect()))
        .collect();
    Some((through(columns.iter().map(|j| right[*j]).collect()), inverse))
}
