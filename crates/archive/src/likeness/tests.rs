//! Likeness against NumPy, and signatures against likeness.

use curvary_record::{Column, Decimals, Quantity, Trace, Unit};
use proptest::prelude::*;

use super::curve::CurveAxis;
use super::signature::signature;
use super::{Curve, NoLikeness, QuerySignature, SignatureBound, class};

fn band(x: f64, height: f64, middle: f64, width: f64) -> f64 {
    height * (-((x - middle) / width).powi(2)).exp()
}

/// Invented values as an export prints them.
fn printed(x: &[f64], y: impl Fn(f64) -> f64, decimals: u8) -> Vec<f64> {
    x.iter()
        .map(|&x| {
            format!("{:.*}", usize::from(decimals), y(x))
                .parse()
                .expect("a number")
        })
        .collect()
}

fn steps(from: f64, step: f64, count: u32) -> Vec<f64> {
    (0..count).map(|n| from + step * f64::from(n)).collect()
}

fn trace(x: Vec<f64>, y: Vec<f64>, decimals: u8) -> Trace {
    let decimals = Decimals::uniform(decimals, y.len());
    Trace::new(
        Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x),
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y).with_decimals(decimals),
    )
    .expect("as many y as x")
}

fn spectrum(x: Vec<f64>, y: impl Fn(f64) -> f64) -> Trace {
    let y = printed(&x, y, 4);
    trace(x, y, 4)
}

fn curve(trace: &Trace) -> Curve {
    Curve::of_trace(trace).expect("a curve that can be compared")
}

fn likeness(f: &Trace, g: &Trace) -> f64 {
    curve(f).likeness(&curve(g)).expect("something to compare")
}

fn red() -> Trace {
    spectrum(steps(400.0, 5.0, 61), |x| band(x, 0.8, 532.0, 45.0))
}

fn shifted() -> Trace {
    spectrum(steps(380.0, 3.0, 114), |x| {
        band(x, 0.4, 540.0, 50.0) + 0.05 + 1e-4 * (x - 380.0)
    })
}

fn two_bands() -> Trace {
    spectrum(steps(380.0, 3.0, 114), |x| {
        band(x, 0.3, 480.0, 20.0) + band(x, 0.5, 610.0, 35.0)
    })
}

/// Three million samples tell an integral to some 1/3,000,000.
fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() < 5e-7, "{found} is not {expected}");
}

/// The values are those of numpy.corrcoef (NumPy 2.4.6) as `tests/independent_likeness.py` prints them.
#[test]
fn likeness_is_the_coefficient_of_numpy() {
    close(likeness(&red(), &shifted()), 0.967_786_7);
    close(likeness(&red(), &two_bands()), -0.253_702_6);
    close(likeness(&shifted(), &two_bands()), -0.051_560_5);
    assert_eq!(likeness(&red(), &shifted()), likeness(&shifted(), &red()));
}

/// As above, from `tests/independent_likeness.py`.
#[test]
fn wavenumbers_and_transmittance_are_converted() {
    let wavenumbers = steps(14_000.0, 100.0, 111);
    let percent = printed(
        &wavenumbers,
        |x| 100.0 * 10_f64.powf(-band(1e7 / x, 0.8, 532.0, 45.0)),
        2,
    );
    let mut transmitted = trace(wavenumbers.clone(), percent.clone(), 2);
    transmitted.x.quantity = Quantity::WAVENUMBER;
    transmitted.x.unit = Unit::PER_CENTIMETRE;
    transmitted.y.quantity = Quantity::TRANSMITTANCE;
    transmitted.y.unit = Unit::PERCENT;
    close(likeness(&red(), &transmitted), 0.999_998_9);

    // 1 eV is 8065.543937 cm⁻¹ (from the exact constants of the SI).
    let energies: Vec<f64> = wavenumbers.iter().map(|x| x / 8_065.543_937).collect();
    let mut by_energy = trace(energies, percent.clone(), 2);
    by_energy.x.quantity = Quantity::ENERGY;
    by_energy.x.unit = Unit::ucum("eV").expect("a unit");
    by_energy.y.quantity = Quantity::TRANSMITTANCE;
    by_energy.y.unit = Unit::PERCENT;
    close(likeness(&by_energy, &transmitted), 1.0);

    let mut dark = percent;
    dark[50] = 0.0;
    transmitted.y.values = dark.into();
    assert_eq!(Curve::of_trace(&transmitted), Err(NoLikeness::NotPositive));
}

/// As above, from `tests/independent_likeness.py`.
#[test]
fn time_courses_are_compared_over_time() {
    let course = |t: Vec<f64>, unit: Unit, y: &dyn Fn(f64) -> f64| {
        let y = printed(&t, y, 4);
        let mut course = trace(t, y, 4);
        course.x.quantity = Quantity::TIME;
        course.x.unit = unit;
        course
    };
    let quick = course(steps(0.0, 10.0, 61), Unit::SECOND, &|t| 0.9 * (-t / 150.0).exp());
    let slow = course(steps(0.0, 0.5, 15), Unit::MINUTE, &|t| {
        0.5 * (-60.0 * t / 400.0).exp() + 0.1
    });
    close(likeness(&quick, &slow), 0.978_776_5);
    assert_eq!(curve(&quick).likeness(&curve(&red())), None);
}

#[test]
fn a_factor_and_an_offset_do_not_matter_and_the_direction_of_the_scan_neither() {
    let mut other = red();
    other.y.values = other
        .y
        .values
        .iter()
        .map(|y| 0.3 * y + 1.7)
        .collect::<Vec<f64>>()
        .into();
    other.y.decimals = Decimals::default();
    close(likeness(&red(), &other), 1.0);
    other.y.values = red()
        .y
        .values
        .iter()
        .map(|y| 5.0 - y)
        .collect::<Vec<f64>>()
        .into();
    close(likeness(&red(), &other), -1.0);
    let mut backward = red();
    backward.x.values.make_mut().reverse();
    backward.y.values.make_mut().reverse();
    assert_eq!(likeness(&red(), &backward), 1.0);
    let mut thousandths = red();
    thousandths.y.unit = Unit::MILLIABSORBANCE;
    close(likeness(&red(), &thousandths), 1.0);
}

#[test]
fn what_has_no_likeness_says_why() {
    let none = |trace: &Trace| Curve::of_trace(trace).expect_err("no likeness");
    let flat = |x: f64| if x > 500.0 { 0.2 } else { 0.2001 };
    assert_eq!(none(&spectrum(steps(400.0, 5.0, 61), flat)), NoLikeness::Flat);
    let barely = |x: f64| if x > 500.0 { 0.2 } else { 0.2002 };
    curve(&spectrum(steps(400.0, 5.0, 61), barely));
    assert_eq!(
        none(&spectrum(steps(400.0, 5.0, 9), |x| x / 1000.0)),
        NoLikeness::TooFew(9)
    );
    let mut doubled = red();
    doubled.x.values.make_mut()[7] = 440.0;
    assert_eq!(none(&doubled), NoLikeness::Doubled);
    let mut reflected = red();
    reflected.y.quantity = Quantity::REFLECTANCE;
    assert!(matches!(none(&reflected), NoLikeness::Quantity(_)));
    let mut numbered = red();
    numbered.x.quantity = Quantity::INDEX;
    numbered.x.unit = Unit::ONE;
    assert!(matches!(none(&numbered), NoLikeness::Axis(_)));
    let mut huge = red();
    huge.y.values.make_mut()[3] = f64::MAX;
    huge.y.values.make_mut()[4] = f64::MIN;
    assert!(matches!(none(&huge), NoLikeness::Quantity(_)));
}

#[test]
fn points_beyond_the_instrument_are_left_out() {
    let mut over = red();
    for point in 24..28 {
        over.y.values.make_mut()[point] = 9.9999;
    }
    assert!(likeness(&red(), &over) < 0.7);
    over.saturated = (24..28).collect();
    assert!(likeness(&red(), &over) > 0.99);
}

#[test]
fn half_of_the_longer_range_and_ten_points_of_each_are_needed() {
    let part = |from, step, count| spectrum(steps(from, step, count), |x| band(x, 0.8, 532.0, 45.0));
    let whole = curve(&part(400.0, 5.0, 61));
    let compared = |trace: &Trace| whole.likeness(&curve(trace)).is_some();
    assert!(compared(&part(550.0, 5.0, 31)));
    assert!(!compared(&part(555.0, 5.0, 30)));
    // 400 to 700 holds ten points at 33 nm, and nine at 34 nm.
    assert!(compared(&part(400.0, 33.0, 12)));
    assert!(!compared(&part(400.0, 34.0, 12)));
    // Flat where both are: there is no shape to compare.
    let step = spectrum(steps(300.0, 2.0, 201), |x| if x < 400.0 { 1.0 } else { 0.2 });
    assert!(!compared(&step));
}

/// Everything that can be told from a signature holds for the likeness.
fn holds(sought: &mut QuerySignature<'_>, own: &Curve, other: &Curve) -> SignatureBound {
    let screened = sought.screen(&signature(other));
    match (screened, own.likeness(other)) {
        (SignatureBound::Open, _) | (SignatureBound::Nothing, None) => {}
        (SignatureBound::Between { low, high }, Some(r)) => {
            assert!(low <= r && r <= high, "{r} is not between {low} and {high}");
        }
        (screened, r) => panic!("{screened:?} for {r:?}"),
    }
    screened
}

/// Invented curves of many kinds over many ranges.
fn invented() -> impl Strategy<Value = Curve> {
    let bands = prop::collection::vec((0.0..2.0, 200.0..900.0, 3.0..120.0), 1..5);
    let grid = (
        prop::sample::select(vec![190.0, 200.0, 350.0, 380.0, 400.0, 401.5]),
        prop::sample::select(vec![0.1, 0.5, 1.0, 2.0, 5.0, 7.3]),
        prop::sample::select(vec![10_u32, 12, 40, 71, 128, 129, 200, 351, 900]),
        prop::bool::weighted(0.2),
    );
    let noise = prop::sample::select(vec![0.0, 0.0, 1e-4, 1e-3, 0.05, 1.0]);
    let odd = prop::sample::select(vec!["", "", "", "", "step", "spike", "flat", "time"]);
    let decimals = prop::sample::select(vec![1_u8, 2, 3, 4, 6]);
    (bands, grid, noise, odd, decimals, any::<u64>()).prop_filter_map(
        "a curve",
        |(bands, (from, step, count, uneven), noise, odd, decimals, seed)| {
            let mut state = seed;
            let mut dice = move || {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                f64::from(u32::try_from(state >> 32).expect("32 bits")) / f64::from(u32::MAX)
            };
            let mut points = Vec::new();
            let mut x = from;
            for _ in 0..count {
                let mut y: f64 = bands.iter().map(|&(h, m, w)| band(x, h, m, w)).sum();
                y += noise * (dice() - 0.5);
                match odd {
                    "step" if x > from + 30.0 => y = 0.2,
                    "spike" if dice() < 0.02 => y += 50.0,
                    "flat" => y = 0.3 + 10_f64.powi(-i32::from(decimals)) * (dice() * 3.0).floor(),
                    _ => {}
                }
                let y = format!("{y:.*}", usize::from(decimals))
                    .parse()
                    .expect("a number");
                points.push((x, y));
                x += if uneven { step * (0.1 + 3.0 * dice()) } else { step };
            }
            let axis = if odd == "time" {
                CurveAxis::Time
            } else {
                CurveAxis::Wavelength
            };
            Curve::new(axis, &points, 10_f64.powi(-i32::from(decimals))).ok()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    /// Among thousands of invented curves, the ranking with signatures is the ranking without: every bound holds, so
    /// what is left out by its bounds is no better than what is told.
    #[test]
    fn signatures_lose_nothing(own in invented(), others in prop::collection::vec(invented(), 100)) {
        let mut sought = QuerySignature::new(&own);
        let mut computed = 0;
        let mut bounded: Vec<(f64, &Curve)> = Vec::new();
        for other in &others {
            match holds(&mut sought, &own, other) {
                SignatureBound::Nothing => {}
                SignatureBound::Between { high, .. } => bounded.push((high, other)),
                SignatureBound::Open => bounded.push((1.0, other)),
            }
        }
        bounded.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut best: Vec<i32> = others.iter().filter_map(|other| own.likeness(other)).map(class).collect();
        best.sort_unstable_by(|a, b| b.cmp(a));
        best.truncate(5);
        let mut found: Vec<i32> = Vec::new();
        for (high, other) in bounded {
            if found.len() >= 5 && found.get(4).is_some_and(|&fifth| class(high) <= fifth) {
                break;
            }
            computed += 1;
            found.extend(own.likeness(other).map(class));
            found.sort_unstable_by(|a, b| b.cmp(a));
        }
        found.truncate(5);
        prop_assert_eq!(found, best);
        prop_assert!(computed <= others.len());
    }

    #[test]
    fn likeness_is_symmetrical_and_within_bounds(f in invented(), g in invented()) {
        prop_assert_eq!(f.likeness(&g), g.likeness(&f));
        prop_assert!(f.likeness(&g).is_none_or(|r| (-1.0..=1.0).contains(&r)));
        prop_assert!(f.likeness(&f).is_none_or(|r| r > 1.0 - 1e-12));
    }

    #[test]
    fn no_bytes_make_a_signature_panic(
        own in invented(),
        bytes in prop::collection::vec(any::<u8>(), 0..300),
        damage in prop::collection::vec((0_usize..40, any::<u8>()), 1..9),
    ) {
        let mut sought = QuerySignature::new(&own);
        sought.screen(&bytes);
        let mut damaged = signature(&own);
        for (at, byte) in damage {
            if let Some(there) = damaged.get_mut(at) {
                *there = byte;
            }
        }
        sought.screen(&damaged);
        // The ends and the numbers that are none.
        for from in [2, 10] {
            let mut odd = signature(&own);
            for value in [f64::NAN, f64::INFINITY, f64::MIN] {
                odd[from..from + 8].copy_from_slice(&value.to_le_bytes());
                sought.screen(&odd);
            }
        }
    }
}

/// Bounds that tell nothing would pass every test of what holds. Those of smooth bands are narrower than what is told.
#[test]
fn signatures_tell_something() {
    let curves: Vec<Curve> = [red(), shifted(), two_bands()].iter().map(curve).collect();
    for own in &curves {
        for other in &curves {
            let SignatureBound::Between { low, high } = holds(&mut QuerySignature::new(own), own, other)
            else {
                panic!("open");
            };
            assert!(high - low < 1e-4, "{low} to {high}");
        }
    }
    assert!(signature(&curves[0]).len() < 31 + 61 * 2);
}
