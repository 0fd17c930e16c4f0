//! What must hold for any data: units and the order of points change nothing but units and order.

#![allow(clippy::unwrap_used)]

use curvary_analysis::courses::{Course, Order};
use curvary_analysis::enzymes::{Rates, fit_rates};
use curvary_analysis::fit::{Data, Fit, Options, fit};
use proptest::prelude::*;

fn course(t: &[f64], y: &[f64]) -> Fit {
    let course = Course::new(Order::First).with_offset().unwrap();
    fit(&course, &Data::new(&[t], y), &Options::default()).unwrap()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-7 * a.abs().max(b.abs())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn first_order_scales_with_its_units(
        k in 0.02_f64..0.2, amplitude in 0.2_f64..2.0, offset in 0.0_f64..0.5,
        noise in proptest::collection::vec(-1.0_f64..1.0, 80),
        in_t in -3_i32..4, in_y in -3_i32..4,
    ) {
        let t: Vec<f64> = (0..80).map(|i| 0.5 * f64::from(i)).collect();
        let y: Vec<f64> =
            t.iter().zip(&noise).map(|(t, e)| offset + amplitude * (-k * t).exp() + 0.003 * e).collect();
        let plain = course(&t, &y);
        let (ft, fy) = (10.0_f64.powi(in_t), 10.0_f64.powi(in_y));
        let scaled_t: Vec<f64> = t.iter().map(|t| t * ft).collect();
        let scaled_y: Vec<f64> = y.iter().map(|y| y * fy).collect();
        let scaled = course(&scaled_t, &scaled_y);
        for (a, b, factor) in [(0, 0, fy), (1, 1, 1.0 / ft), (2, 2, fy)] {
            prop_assert!(near(plain.parameters[a].value * factor, scaled.parameters[b].value));
            prop_assert!(near(
                plain.parameters[a].standard_error.unwrap() * factor,
                scaled.parameters[b].standard_error.unwrap()
            ));
        }
    }

    #[test]
    fn the_order_of_points_does_not_matter(
        seed in proptest::collection::vec(-1.0_f64..1.0, 12),
        order in Just((0..12).collect::<Vec<usize>>()).prop_shuffle(),
    ) {
        let s = [0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.1, 1.1];
        let v: Vec<f64> = s.iter().zip(&seed).map(|(s, e)| 200.0 * s / (0.06 + s) + 5.0 * e).collect();
        let (s2, v2): (Vec<f64>, Vec<f64>) = order.iter().map(|i| (s[*i], v[*i])).unzip();
        let run = |s: &[f64], v: &[f64]| {
            fit_rates("michaelis-menten", &Rates { substrate: s, inhibitor: None, rate: v }, &Options::default()).unwrap()
        };
        let (a, b) = (run(&s, &v), run(&s2, &v2));
        for (p, q) in a.parameters.iter().zip(&b.parameters) {
            prop_assert!(near(p.value, q.value));
            prop_assert!(near(p.standard_error.unwrap(), q.standard_error.unwrap()));
        }
        prop_assert!(near(a.residual_sum_of_squares, b.residual_sum_of_squares));
    }

    #[test]
    fn biphasic_rates_come_fast_one_first(
        fast in 0.3_f64..1.0, ratio in 0.02_f64..0.2, share in 0.2_f64..0.8,
        noise in proptest::collection::vec(-1.0_f64..1.0, 200),
    ) {
        let slow = fast * ratio;
        let t: Vec<f64> = (0..200).map(|i| f64::from(i) * 4.0 / (slow * 200.0)).collect();
        let y: Vec<f64> = t.iter().zip(&noise)
            .map(|(t, e)| share * (-fast * t).exp() + (1.0 - share) * (-slow * t).exp() + 1e-4 * e).collect();
        let model = Course::new(Order::Biphasic);
        let found = fit(&model, &Data::new(&[&t], &y), &Options::default()).unwrap();
        let (k1, k2) = (found.parameter("k1").unwrap(), found.parameter("k2").unwrap());
        prop_assert!(k1.value > k2.value);
        prop_assert!((k2.value / slow - 1.0).abs() < 0.01, "{} against {slow}", k2.value);
    }
}
