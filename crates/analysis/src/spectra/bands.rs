//! Bands: sums of Gauss, Lorentz or Voigt lines over a background, as a model that the fitting core takes.

use std::borrow::Cow;

use errorfunctions::ComplexErrorFunctions;
use serde::{Deserialize, Serialize};

use super::Axis;
use crate::models::grid::best;
use crate::models::{Model, Specification};
use crate::refusal::Refusal;

/// The shape of a band.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BandShape {
    /// Gauss's curve.
    Gauss,
    /// Lorentz's curve.
    Lorentz,
    /// The convolution of Gauss's curve with that of Lorentz (IUPAC Gold Book, "Voigt profile").
    Voigt,
}

impl BandShape {
    /// Parameters of one band: height, position and one or two widths.
    fn size(self) -> usize {
        match self {
            Self::Gauss | Self::Lorentz => 3,
            Self::Voigt => 4,
        }
    }
}

/// What bands stand on. All of it is linear in its coefficients, the first of which is the level at the middle of the axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BandBackground {
    /// Nothing.
    Zero,
    /// A straight line.
    Line,
    /// A parabola.
    Bent,
    /// Scattered light on this axis: `b + s₂ ((λ₀/λ)² - 1) + s₄ ((λ₀/λ)⁴ - 1)` about the middle λ₀ of the axis: Rayleigh's law of
    /// small particles and the slower one of larger ones, which together follow powers between them, and a level.
    Scatter(Axis),
}

impl BandBackground {
    /// Names of the coefficients, and their units in terms of x and y.
    fn coefficients(self) -> &'static [(&'static str, &'static str)] {
        match self {
            Self::Zero => &[],
            Self::Line => &[("baseline", "y"), ("baseline-slope", "y/x")],
            Self::Bent => &[
                ("baseline", "y"),
                ("baseline-slope", "y/x"),
                ("baseline-bend", "y/(x x)"),
            ],
            Self::Scatter(_) => &[
                ("baseline", "y"),
                ("baseline-scatter-2", "y"),
                ("baseline-scatter-4", "y"),
            ],
        }
    }

    /// What each coefficient is multiplied by.
    fn columns(self, x: f64, middle: f64) -> [f64; 3] {
        let d = x - middle;
        match self {
            Self::Zero | Self::Line | Self::Bent => [1.0, d, d * d],
            Self::Scatter(axis) => {
                let ratio = axis.to_nm(middle).zip(axis.to_nm(x)).map(|(own, at)| own / at);
                let square = ratio.map_or(1.0, |ratio| ratio * ratio);
                [1.0, square - 1.0, square * square - 1.0]
            }
        }
    }
}

/// Where a band begins its search.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandStart {
    /// Position.
    pub position: f64,
    /// Full width at half maximum.
    pub width: f64,
}

/// So many bands of one shape over a baseline.
///
/// Parameters, band after band: `height`, `position` and the full widths at half maximum `gauss-width` or `lorentz-width` (of Voigt
/// both); then what they stand on.
#[derive(Clone, Debug)]
pub struct Bands {
    shape: BandShape,
    starts: Vec<BandStart>,
    middle: f64,
    background: BandBackground,
    specifications: Vec<Specification>,
    linear: Vec<usize>,
}

/// What a band has besides its parameters, with the derivative by each of its own parameters.
#[derive(Clone, Debug, PartialEq)]
pub struct BandSize {
    /// Full width at half maximum.
    pub width: (f64, Vec<f64>),
    /// Area, in units of y times x.
    pub area: (f64, Vec<f64>),
}

const TWO_OVER_ROOT_PI: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// Real and imaginary part of the Faddeeva function at `u + iy`, y not negative.
fn faddeeva(u: f64, y: f64) -> (f64, f64) {
    let w = num_complex::Complex64::new(u, y).w();
    (w.re, w.im)
}

/// Half the Gauss part's scale: `s` of `exp(-((x - c)/s)²)` for a full width at half maximum of one.
fn scale_of(width: f64) -> f64 {
    width / (2.0 * std::f64::consts::LN_2.sqrt())
}

impl Bands {
    /// Bands that begin at `starts`, over points whose axis runs from `range.0` to `range.1`.
    pub fn new(
        shape: BandShape,
        starts: Vec<BandStart>,
        range: (f64, f64),
        background: BandBackground,
    ) -> Self {
        let size = shape.size();
        let least = 1e-9 * (range.1 - range.0).abs();
        let width = |name: &'static str, least: f64| Specification {
            lower: Some(least),
            ..Specification::positive(name, "x")
        };
        let mut specifications = Vec::new();
        for _ in &starts {
            specifications.push(Specification::any("height", "y"));
            specifications.push(Specification::any("position", "x"));
            specifications.push(match shape {
                BandShape::Lorentz => width("lorentz-width", least),
                BandShape::Gauss | BandShape::Voigt => width("gauss-width", least),
            });
            if shape == BandShape::Voigt {
                specifications.push(width("lorentz-width", 0.0));
            }
        }
        let mut linear: Vec<usize> = (0..starts.len()).map(|band| band * size).collect();
        for (name, unit) in background.coefficients() {
            linear.push(specifications.len());
            specifications.push(Specification::any(name, unit));
        }
        Self {
            shape,
            starts,
            middle: 0.5 * (range.0 + range.1),
            background,
            specifications,
            linear,
        }
    }

    /// How many parameters a band has.
    pub fn size(&self) -> usize {
        self.shape.size()
    }

    /// Value of one band at a distance `d` from its middle, and its derivatives by height, position and widths.
    fn band(&self, d: f64, p: &[f64], g: &mut [f64]) -> f64 {
        let s = scale_of(p[2]);
        let u = d / s;
        match self.shape {
            BandShape::Gauss => {
                let part = (-u * u).exp();
                let value = p[0] * part;
                g[0] = part;
                g[1] = 2.0 * u * value / s;
                g[2] = 2.0 * u * u * value / p[2];
                value
            }
            BandShape::Lorentz => {
                // h/(1 + v²) at v = 2d/w.
                let v = 2.0 * d / p[2];
                let part = 1.0 / (1.0 + v * v);
                g[0] = part;
                g[1] = 4.0 * v * p[0] * part * part / p[2];
                g[2] = 2.0 * v * v * p[0] * part * part / p[2];
                p[0] * part
            }
            BandShape::Voigt => {
                let y = p[3] / (2.0 * s);
                let (k, l) = faddeeva(u, y);
                let (top, _) = faddeeva(0.0, y);
                // w'(z) = 2i/√π - 2 z w(z).
                let by_u = -2.0 * (u * k - y * l);
                let by_y = 2.0 * (u * l + y * k) - TWO_OVER_ROOT_PI;
                let top_by_y = 2.0 * y * top - TWO_OVER_ROOT_PI;
                let part = k / top;
                let shape_by_y = (by_y - part * top_by_y) / top;
                g[0] = part;
                g[1] = -p[0] * by_u / (top * s);
                g[2] = -p[0] * (by_u / top * u + shape_by_y * y) / p[2];
                g[3] = p[0] * shape_by_y / (2.0 * s);
                p[0] * part
            }
        }
    }

    /// Full width and area of a band, from its own parameters.
    pub fn measures(&self, p: &[f64]) -> BandSize {
        let s = scale_of(p[2]);
        let root_pi = std::f64::consts::PI.sqrt();
        match self.shape {
            BandShape::Gauss => {
                let area = p[0] * s * root_pi;
                BandSize {
                    width: (p[2], vec![0.0, 0.0, 1.0]),
                    area: (area, vec![s * root_pi, 0.0, area / p[2]]),
                }
            }
            BandShape::Lorentz => {
                let by_height = std::f64::consts::FRAC_PI_2 * p[2];
                BandSize {
                    width: (p[2], vec![0.0, 0.0, 1.0]),
                    area: (
                        p[0] * by_height,
                        vec![by_height, 0.0, std::f64::consts::FRAC_PI_2 * p[0]],
                    ),
                }
            }
            BandShape::Voigt => {
                let y = p[3] / (2.0 * s);
                let (top, _) = faddeeva(0.0, y);
                let top_by_y = 2.0 * y * top - TWO_OVER_ROOT_PI;
                let area = p[0] * s * root_pi / top;
                let ratio = top_by_y / top;
                let area_by = vec![
                    s * root_pi / top,
                    0.0,
                    area * (1.0 + y * ratio) / p[2],
                    -area * ratio / (2.0 * s),
                ];
                let u = half_height(y, top);
                let (k, l) = faddeeva(u, y);
                let by_u = -2.0 * (u * k - y * l);
                let by_y = 2.0 * (u * l + y * k) - TWO_OVER_ROOT_PI;
                // K(u, y) = K(0, y)/2 holds along the curve.
                let u_by_y = (0.5 * top_by_y - by_y) / by_u;
                let width_by = vec![0.0, 0.0, 2.0 * (u - y * u_by_y) * s / p[2], u_by_y];
                BandSize {
                    width: (2.0 * s * u, width_by),
                    area: (area, area_by),
                }
            }
        }
    }

    fn each(&self, x: f64, p: &[f64], gradient: &mut [f64]) -> f64 {
        let size = self.size();
        let bands = self.starts.len() * size;
        let mut value = 0.0;
        for (own, g) in p[..bands].chunks(size).zip(gradient.chunks_mut(size)) {
            value += self.band(x - own[1], own, g);
        }
        let columns = self.background.columns(x, self.middle);
        for ((c, g), column) in p[bands..].iter().zip(&mut gradient[bands..]).zip(columns) {
            *g = column;
            value += c * column;
        }
        value
    }
}

/// The u at which the Faddeeva function's real part has come down to half of `top`.
fn half_height(y: f64, top: f64) -> f64 {
    let (mut low, mut high) = (0.0, 2.0 * (1.0 + y));
    for _ in 0..60 {
        let u = 0.5 * (low + high);
        if faddeeva(u, y).0 > 0.5 * top {
            low = u;
        } else {
            high = u;
        }
    }
    0.5 * (low + high)
}

impl Model for Bands {
    fn name(&self) -> Cow<'static, str> {
        Cow::Borrowed(match self.shape {
            BandShape::Gauss => "gauss-bands",
            BandShape::Lorentz => "lorentz-bands",
            BandShape::Voigt => "voigt-bands",
        })
    }

    fn parameters(&self) -> &[Specification] {
        &self.specifications
    }

    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        let mut gradient = vec![0.0; p.len()];
        for (x, value) in x[0].iter().zip(values) {
            *value = self.each(*x, p, &mut gradient);
        }
    }

    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        let n = values.len();
        let mut gradient = vec![0.0; p.len()];
        for (i, value) in values.iter_mut().enumerate() {
            *value = self.each(x[0][i], p, &mut gradient);
            for (j, slope) in gradient.iter().enumerate() {
                columns[j * n + i] = *slope;
            }
        }
    }

    fn start(&self, x: &[&[f64]], y: &[f64]) -> Result<Vec<f64>, Refusal> {
        let shapes: &[(f64, f64)] = match self.shape {
            BandShape::Gauss | BandShape::Lorentz => &[(1.0, 0.0)],
            BandShape::Voigt => &[(0.95, 0.1), (0.7, 0.45), (0.3, 0.8)],
        };
        let candidates = [0.5, 0.7, 0.85, 1.0, 1.2, 1.5].iter().flat_map(|factor| {
            shapes.iter().map(move |(gauss, lorentz)| {
                let mut p = Vec::new();
                for start in &self.starts {
                    p.extend([1.0, start.position, factor * gauss * start.width]);
                    if self.shape == BandShape::Voigt {
                        p.push(factor * lorentz * start.width);
                    }
                }
                p.resize(self.specifications.len(), 0.0);
                p
            })
        });
        best(self, x, y, candidates).ok_or_else(|| Refusal::NoStart {
            why: "no widths near those that the peaks show suit the points".into(),
        })
    }

    fn linear(&self) -> &[usize] {
        &self.linear
    }

    fn arrange(&self, _start: &[f64], p: &mut [f64]) {
        let size = self.size();
        let mut bands: Vec<Vec<f64>> = p[..self.starts.len() * size]
            .chunks(size)
            .map(<[f64]>::to_vec)
            .collect();
        bands.sort_by(|a, b| a[1].total_cmp(&b[1]));
        for (place, value) in p.iter_mut().zip(bands.into_iter().flatten()) {
            *place = value;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::{Data, Options, fit};

    /// Values of the Voigt profile and its width, 40 digits of mpmath 1.3: `re(exp(-z²) erfc(-iz))` at
    /// `z = (d + i fL/2)/s`, `s = fG/(2 √(ln 2))`, over that at d = 0; width by root search, area by `s √π / K(0)`.
    const VOIGT: [(f64, f64, f64, f64); 6] = [
        (0.3, 1.0, 0.5, 0.8548846716396652),
        (2.0, 1.0, 0.5, 0.0369439374530077),
        (10.0, 1.0, 0.5, 0.0012871631243884388),
        (0.7, 0.2, 1.5, 0.5442407696385686),
        (25.0, 4.0, 0.01, 1.1022161986770039e-05),
        (0.0, 3.0, 3.0, 1.0),
    ];
    const MEASURES: [(f64, f64, f64, f64); 3] = [
        (1.0, 0.5, 1.2937759881806201, 1.6097324529137846),
        (0.2, 1.5, 1.528239597910785, 2.385680733206781),
        (30.0, 12.0, 36.922477368331606, 44.82239998358032),
    ];

    #[test]
    fn the_voigt_profile_and_its_measures_have_their_values() {
        let range = (0.0, 1.0);
        for (d, gauss, lorentz, wanted) in VOIGT {
            let bands = Bands::new(
                BandShape::Voigt,
                vec![BandStart {
                    position: 0.0,
                    width: 1.0,
                }],
                range,
                BandBackground::Zero,
            );
            let mut value = [0.0];
            bands.evaluate(&[&[d]], &[1.0, 0.0, gauss, lorentz], &mut value);
            assert!(
                (value[0] - wanted).abs() < 1e-13 * wanted.max(1e-3),
                "{d}: {value:?}, {wanted}"
            );
        }
        for (gauss, lorentz, width, area) in MEASURES {
            let bands = Bands::new(
                BandShape::Voigt,
                vec![BandStart {
                    position: 0.0,
                    width: 1.0,
                }],
                range,
                BandBackground::Zero,
            );
            let found = bands.measures(&[1.0, 0.0, gauss, lorentz]);
            assert!((found.width.0 - width).abs() < 1e-12 * width, "{found:?}");
            assert!((found.area.0 - area).abs() < 1e-12 * area, "{found:?}");
        }
    }

    #[test]
    fn derivatives_are_those_of_the_values() {
        let x = [-3.0, -0.4, 0.0, 0.7, 5.0];
        let scatter = BandBackground::Scatter(Axis::ElectronVolt);
        for (shape, background, x, p) in [
            (
                BandShape::Gauss,
                BandBackground::Line,
                x,
                vec![0.8, 0.1, 1.3, 0.2, 0.01],
            ),
            (
                BandShape::Lorentz,
                BandBackground::Line,
                x,
                vec![0.8, 0.1, 1.3, 0.2, 0.01],
            ),
            (
                BandShape::Gauss,
                BandBackground::Bent,
                x,
                vec![0.8, 0.1, 1.3, 0.2, 0.01, 0.1],
            ),
            (
                BandShape::Voigt,
                scatter,
                [2.0, 3.0, 3.1, 4.0, 7.0],
                vec![0.8, 3.1, 1.3, 0.6, 0.2, 0.01, 0.02],
            ),
        ] {
            let start = BandStart {
                position: 0.0,
                width: 1.0,
            };
            let bands = Bands::new(shape, vec![start], (x[0], x[4]), background);
            let values = |p: &[f64]| {
                let mut values = vec![0.0; x.len()];
                bands.evaluate(&[&x], p, &mut values);
                let own = bands.measures(&p[..bands.size()]);
                values.extend([own.width.0, own.area.0]);
                values
            };
            let (mut found, mut columns) = (vec![0.0; x.len()], vec![0.0; x.len() * p.len()]);
            bands.differentiate(&[&x], &p, &mut found, &mut columns);
            let own = bands.measures(&p[..bands.size()]);
            for j in 0..p.len() {
                let h = 1e-5;
                let moved = |by: f64| {
                    let mut q = p.clone();
                    q[j] += by;
                    values(&q)
                };
                let (up, down) = (moved(h), moved(-h));
                for i in 0..x.len() {
                    let wanted = (up[i] - down[i]) / (2.0 * h);
                    assert!(
                        (columns[j * x.len() + i] - wanted).abs() < 1e-8,
                        "{shape:?} {j} {i}"
                    );
                }
                for (k, exact) in [&own.width.1, &own.area.1].into_iter().enumerate() {
                    let wanted = (up[x.len() + k] - down[x.len() + k]) / (2.0 * h);
                    let exact = exact.get(j).copied().unwrap_or(0.0);
                    assert!((exact - wanted).abs() < 1e-8, "{shape:?} {j}: {exact}, {wanted}");
                }
            }
        }
    }

    #[test]
    fn overlapping_bands_come_back() {
        let x: Vec<f64> = (0..201).map(|i| 400.0 + f64::from(i)).collect();
        for shape in [BandShape::Gauss, BandShape::Lorentz, BandShape::Voigt] {
            let truth: Vec<f64> = match shape {
                BandShape::Gauss | BandShape::Lorentz => vec![0.8, 460.0, 40.0, 0.4, 505.0, 35.0, 0.05, 1e-4],
                BandShape::Voigt => vec![0.8, 460.0, 30.0, 12.0, 0.4, 505.0, 20.0, 15.0, 0.05, 1e-4],
            };
            let starts =
                [(458.0, 45.0), (508.0, 30.0)].map(|(position, width)| BandStart { position, width });
            let bands = Bands::new(shape, starts.to_vec(), (400.0, 600.0), BandBackground::Line);
            let mut y = vec![0.0; x.len()];
            bands.evaluate(&[&x], &truth, &mut y);
            let found = fit(&bands, &Data::new(&[&x], &y), &Options::default()).unwrap();
            for (parameter, wanted) in found.parameters.iter().zip(&truth) {
                assert!(
                    (parameter.value - wanted).abs() < 1e-7 * wanted.abs().max(1.0),
                    "{parameter:?}, {wanted}"
                );
            }
        }
    }
}
