//! Numbers of bands over backgrounds that are not level: how often they are stated, and how often their errors hold the truth.
//!
//! Seeded simulations; `SETS=300 cargo test --release --test coverage_backgrounds -- --nocapture` prints larger ones, `SEED=5` others.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod invented;
mod noise;

use curvary_analysis::spectra::{BandShape, Curve, PeakOptions, Threshold, Width, find_peaks};
use curvary_analysis::study::{PeaksPlan, References, peaks_run};
use curvary_record::{Column, Outcome, Parameter, Quantity, Run, Technique, Trace, Unit};
use noise::Noise;

fn asked<T: std::str::FromStr>(name: &str, usual: T) -> T {
    let text = std::env::var(name).ok();
    text.and_then(|s| s.parse().ok()).unwrap_or(usual)
}

fn sets(usual: usize) -> usize {
    asked("SETS", usual)
}

/// What lies under or beside a band.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Background {
    Level,
    /// 0.0005 to 0.004 AU/nm, up or down.
    Tilt,
    /// `a (400 nm/λ)^n`, 0.05 to 0.5 AU at 400 nm.
    Scatter(i32),
    /// A parabola that lies 0.02 to 0.2 AU higher or lower at 150 nm from its top.
    Bend,
    /// A second band that overlaps at the base.
    Neighbour,
    /// The curve ends within the band.
    CutOff,
    /// Three that are none of the curves that are tried: a decay over 30 to 120 nm,
    Decay,
    /// waves of 250 nm and up to 0.05 AU,
    Wave,
    /// and a step of up to 0.5 AU over a hundred nm.
    Step,
}

const BACKGROUNDS: [Background; 10] = [
    Background::Level,
    Background::Tilt,
    Background::Scatter(4),
    Background::Scatter(2),
    Background::Bend,
    Background::Neighbour,
    Background::CutOff,
    Background::Decay,
    Background::Wave,
    Background::Step,
];

#[derive(Clone, Copy)]
struct Band {
    gauss: bool,
    centre: f64,
    width: f64,
    height: f64,
}

impl Band {
    fn at(&self, x: f64) -> f64 {
        let u = (x - self.centre) / (self.width / 2.0);
        self.height
            * if self.gauss {
                2f64.powf(-u * u)
            } else {
                1.0 / (1.0 + u * u)
            }
    }

    fn area(&self) -> f64 {
        let part = if self.gauss {
            (std::f64::consts::PI / 2f64.ln()).sqrt() / 2.0
        } else {
            std::f64::consts::FRAC_PI_2
        };
        self.height * self.width * part
    }
}

/// A spectrum of 300 nm and what is true of it.
struct Drawn {
    band: Band,
    x: Vec<f64>,
    exact: Vec<f64>,
    y: Vec<f64>,
}

fn between(noise: &mut Noise, low: f64, high: f64) -> f64 {
    low + (high - low) * noise.uniform()
}

/// Evenly over the logarithm.
fn over_decades(noise: &mut Noise, low: f64, high: f64) -> f64 {
    low * (high / low).powf(noise.uniform())
}

fn draw(gauss: bool, background: Background, noise: &mut Noise) -> Drawn {
    let mut band = Band {
        gauss,
        centre: between(noise, 470.0, 530.0),
        width: over_decades(noise, 10.0, 60.0),
        height: over_decades(noise, 0.1, 1.5),
    };
    let sd = over_decades(noise, 0.0005, 0.01);
    let step = [0.5, 1.0, 2.0][(3.0 * noise.uniform()) as usize];
    let sign = if noise.uniform() < 0.5 { -1.0 } else { 1.0 };
    let size = noise.uniform();
    let mut beside = Band {
        height: band.height * between(noise, 0.3, 1.0),
        width: band.width * between(noise, 0.7, 1.4),
        ..band
    };
    beside.centre = band.centre + sign * between(noise, 1.3, 2.6) * 0.5 * (band.width + beside.width);
    if background == Background::CutOff {
        let past = between(noise, 0.3, 1.2) * band.width;
        band.centre = if sign < 0.0 { 350.0 + past } else { 650.0 - past };
    }
    let under = |x: f64| match background {
        Background::Level | Background::CutOff => 0.05,
        Background::Tilt => 0.7 + sign * (0.0005 + 0.0035 * size) * (x - 500.0),
        Background::Scatter(n) => 0.05 * 10f64.powf(size) * (400.0 / x).powi(n),
        Background::Bend => 0.3 + sign * 0.02 * 10f64.powf(size) * ((x - 500.0) / 150.0).powi(2),
        Background::Neighbour => 0.05 + beside.at(x),
        Background::Decay => 0.3 * (-(x - 350.0) / (30.0 + 90.0 * size)).exp(),
        Background::Wave => 0.2 + 0.05 * size * ((x - 350.0) / 40.0 + 6.0 * size).sin(),
        Background::Step => 0.1 + 0.5 * size / (1.0 + ((x - 380.0) / 25.0).exp()),
    };
    let count = (300.0 / step) as u32 + 1;
    let x: Vec<f64> = (0..count).map(|i| 350.0 + step * f64::from(i)).collect();
    let exact: Vec<f64> = x.iter().map(|x| band.at(*x) + under(*x)).collect();
    let y = exact.iter().map(|y| y + sd * noise.normal()).collect();
    Drawn { band, x, exact, y }
}

fn spectrum(x: Vec<f64>, y: Vec<f64>) -> Run {
    let trace = Trace::new(
        Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x),
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
    );
    invented::run("band", Technique::SPECTRUM, vec![trace.unwrap()])
}

/// Counts of one number of a peak.
#[derive(Clone, Copy, Default)]
struct Count {
    /// Stated with an error.
    stated: usize,
    /// Within 1.96 of its errors.
    held: usize,
    /// Stated with an error, not held, and off by more than a twentieth: what must not be.
    far_off: usize,
    /// Sum of relative errors.
    errors: f64,
}

impl Count {
    fn take(&mut self, found: Option<&Parameter>, truth: f64) {
        if let Some((value, error)) = found.and_then(|own| own.value.zip(own.standard_error)) {
            self.stated += 1;
            let held = (value - truth).abs() <= 1.96 * error;
            self.held += usize::from(held);
            self.far_off += usize::from(!held && (value - truth).abs() > 0.05 * truth.abs());
            self.errors += error / truth.abs();
        }
    }

    fn share(&self) -> f64 {
        100.0 * self.held as f64 / self.stated.max(1) as f64
    }

    fn error(&self) -> f64 {
        100.0 * self.errors / self.stated.max(1) as f64
    }
}

/// What became of the bands of one kind of background.
#[derive(Clone, Default)]
struct Tally {
    found: usize,
    area: Count,
    /// Areas without a number, with their reason.
    refused: usize,
    /// Areas with a number and no error.
    bare: usize,
    /// Results that say that the background is not level.
    remarked: usize,
    height: Count,
    /// By their definition, on the curve without noise.
    prominence: Count,
    width: Count,
    /// Prominence and width as those of the band, of results without such a remark and with an area.
    height_of_band: Count,
    width_of_band: Count,
}

fn remarked(outcome: &Outcome) -> bool {
    outcome
        .remarks
        .iter()
        .any(|remark| remark.code.as_str() == "background-not-level")
}

fn tally(gauss: bool, background: Background, sets: usize, noise: &mut Noise) -> Tally {
    let mut tally = Tally::default();
    for _ in 0..sets {
        let drawn = draw(gauss, background, noise);
        let band = drawn.band;
        let all = peaks_run(
            &PeaksPlan::default(),
            &spectrum(drawn.x.clone(), drawn.y),
            &References::new(),
        );
        let outcome = &all[0].outcome;
        let peaks = outcome
            .parameters
            .chunk_by(|_, next| next.name != "peak" && next.name != "shoulder");
        let away = |peak: &[Parameter]| (peak[0].value.unwrap_or(f64::INFINITY) - band.centre).abs();
        let nearest = peaks
            .filter(|peak| peak[0].name == "peak" && away(peak) < 0.5 * band.width)
            .max_by(|a, b| a[2].value.unwrap_or(0.0).total_cmp(&b[2].value.unwrap_or(0.0)));
        let Some([_, height, prominence, width, area]) = nearest else {
            continue;
        };
        tally.found += 1;
        tally.area.take(Some(area), band.area());
        tally.refused += usize::from(area.value.is_none() && area.reason.is_some());
        tally.bare += usize::from(area.value.is_some() && area.standard_error.is_none());
        // What the curve without noise says by the same definitions.
        let options = PeakOptions {
            min_prominence: Threshold::Absolute(1e-9),
            ..PeakOptions::default()
        };
        let exact = find_peaks(&Curve::new(drawn.x, drawn.exact).unwrap(), &options).unwrap();
        let own = exact.peaks.iter().min_by(|a, b| {
            let far = |peak: &&curvary_analysis::spectra::Peak| (peak.apex.x() - band.centre).abs();
            far(a).total_cmp(&far(b))
        });
        if let Some(own) = own {
            tally.height.take(Some(height), own.apex.height());
            tally.prominence.take(
                Some(prominence),
                own.prominence + own.apex.height() - own.sampled_y,
            );
            if let Width::Found { width: exact, .. } = own.width {
                tally.width.take(Some(width), exact);
            }
        }
        // An area without a number says why, and what is beside or below the band.
        let is_told = remarked(outcome) || area.value.is_none();
        tally.remarked += usize::from(remarked(outcome));
        if !is_told {
            tally.height_of_band.take(Some(prominence), band.height);
            tally.width_of_band.take(Some(width), band.width);
        }
    }
    tally
}

/// Aim: 93 to 99 of 100 stated areas hold that of the whole band, and hardly one is far off. Before areas counted over the background, 22
/// of 100 did (98 over a level, of bands of Gauss), and 2052 of 2963 were off by more than a twentieth with an error that said otherwise.
#[test]
fn areas_over_backgrounds_hold_the_band_or_are_not_given() {
    let sets = sets(20);
    let mut noise = Noise(asked("SEED", 20));
    println!(
        "shape background: found | area stated, held, missed by more than 5 %, mean error | refused, without error, remarked | \
         held by definition: height, prominence, width (missed by more than 5 %) | as the band's, stated without a remark: prominence, width"
    );
    let (mut all, mut others) = (Tally::default(), Tally::default());
    for gauss in [true, false] {
        for background in BACKGROUNDS {
            let own = tally(gauss, background, sets, &mut noise);
            let part = |count: usize| 100.0 * count as f64 / own.found.max(1) as f64;
            println!(
                "{} {background:?}: {} | {:.0} %, {:.1} %, {}, {:.1} % | {:.0} %, {:.0} %, {:.0} % | {:.1} ({}) {:.1} ({}) {:.1} ({}) | {} {:.1} {:.1}",
                if gauss { "Gauss" } else { "Lorentz" },
                own.found,
                part(own.area.stated),
                own.area.share(),
                own.area.far_off,
                own.area.error(),
                part(own.refused),
                part(own.bare),
                part(own.remarked),
                own.height.share(),
                own.height.far_off,
                own.prominence.share(),
                own.prominence.far_off,
                own.width.share(),
                own.width.far_off,
                own.height_of_band.stated,
                own.height_of_band.share(),
                own.width_of_band.share(),
            );
            // Bands of Gauss over smooth backgrounds have an area, mostly, as those over a level have.
            let smooth = matches!(
                background,
                Background::Level | Background::Tilt | Background::Scatter(_) | Background::Bend
            );
            assert!(
                !(gauss && smooth) || 10 * own.area.stated >= 6 * own.found,
                "{background:?}: {} of {}",
                own.area.stated,
                own.found
            );
            let unlike = matches!(
                background,
                Background::Decay | Background::Wave | Background::Step
            );
            let of = if unlike { &mut others } else { &mut all };
            of.area.stated += own.area.stated;
            of.area.held += own.area.held;
            of.area.far_off += own.area.far_off;
        }
    }
    for (of, name) in [(&all, "as those that are tried"), (&others, "unlike them")] {
        println!(
            "backgrounds {name}: {} areas stated, {:.1} % held, {} missed by more than a twentieth",
            of.area.stated,
            of.area.share(),
            of.area.far_off
        );
    }
    assert!(all.area.share() >= 93.0, "{}", all.area.share());
    assert!(others.area.share() >= 80.0, "{}", others.area.share());
    assert!(
        50 * all.area.far_off <= all.area.stated,
        "{} far off",
        all.area.far_off
    );
}

/// The same of bands that are fitted with the right shape. Over a straight line alone 49 to 57 of 100 areas of Gauss bands over scattered
/// light or a bend held the true one, and 8 to 16 of Voigt bands.
#[test]
fn fitted_bands_over_backgrounds() {
    let sets = sets(4);
    let mut noise = Noise(asked("SEED", 21));
    println!(
        "shape background: fitted | held: position, height, width, area | area missed by more than 5 %, mean error"
    );
    let (mut fits, mut all) = (0, Count::default());
    for gauss in [true, false] {
        for background in &BACKGROUNDS[..7] {
            let background = *background;
            let (mut fitted, mut held) = (0, [Count::default(); 4]);
            for _ in 0..sets {
                let drawn = draw(gauss, background, &mut noise);
                let band = drawn.band;
                let plan = PeaksPlan {
                    bands: Some(if gauss {
                        BandShape::Gauss
                    } else {
                        BandShape::Lorentz
                    }),
                    ..PeaksPlan::default()
                };
                let found = peaks_run(&plan, &spectrum(drawn.x, drawn.y), &References::new());
                let bands = found[0]
                    .outcome
                    .parameters
                    .chunk_by(|_, next| next.name != "band");
                let away = |own: &[Parameter]| (own[0].value.unwrap_or(f64::INFINITY) - band.centre).abs();
                let nearest = bands
                    .filter(|own| own[0].name == "band" && away(own) < 0.5 * band.width)
                    .min_by(|a, b| away(a).total_cmp(&away(b)));
                let Some(own) = nearest else { continue };
                fitted += 1;
                let truth = [band.centre, band.height, band.width, band.area()];
                for ((count, own), truth) in held.iter_mut().zip(own).zip(truth) {
                    count.take(Some(own), truth);
                }
            }
            println!(
                "{} {background:?}: {fitted} | {} | {}, {:.1} %",
                if gauss { "Gauss" } else { "Lorentz" },
                held.iter()
                    .map(|count| format!("{:.1} ({})", count.share(), count.stated))
                    .collect::<Vec<_>>()
                    .join(" "),
                held[3].far_off,
                held[3].error(),
            );
            fits += fitted;
            all.stated += held[3].stated;
            all.held += held[3].held;
        }
    }
    assert!(10 * fits >= 9 * 14 * sets, "{fits}");
    assert!(all.share() >= 88.0, "{}", all.share());
}
