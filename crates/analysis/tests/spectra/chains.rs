//! Steps one after another, written, read and done again.

use std::collections::BTreeMap;

use curvary_analysis::spectra::{
    Axis, Baseline, Chain, Grids, Interpolation, Ordinate, SavitzkyGolay, Spectrum, Step, Uneven, Window,
};
use proptest::prelude::*;

use super::{absorbance, curve, invented};

fn blanks() -> BTreeMap<String, Spectrum> {
    let sample = invented();
    let blank: Vec<f64> = sample.x().iter().map(|_| 0.011).collect();
    BTreeMap::from([("R 7".to_owned(), absorbance(curve(sample.x(), &blank)))])
}

#[test]
fn a_chain_is_written_read_and_redone() {
    let text = "saturation(above=3) | blank(\"R 7\") | baseline(offset, 400..420) | smooth(window=11, order=3) | axis(eV)";
    let chain: Chain = text.parse().unwrap();
    assert_eq!(chain.to_string(), text);
    let blanks = blanks();
    let spectrum = absorbance(invented());
    let first = chain.apply(&spectrum, |name| blanks.get(name).cloned()).unwrap();
    assert_eq!(first.log.len(), 5);
    assert!(first.log[1].notes[0].contains("every x of the sample"));
    assert!(first.log[2].baseline.is_some());
    assert!(first.log[4].notes[0].contains("vacuum"));
    assert_eq!(first.spectrum.axis, Axis::ElectronVolt);
    let json = serde_json::to_string(&chain).unwrap();
    let again: Chain = serde_json::from_str(&json).unwrap();
    assert_eq!(again, chain);
    assert_eq!(
        again.apply(&spectrum, |name| blanks.get(name).cloned()).unwrap(),
        first
    );
}

#[test]
fn a_chain_that_cannot_be_done_says_at_which_step() {
    let spectrum = absorbance(invented());
    let fails = |text: &str| {
        let refused = text
            .parse::<Chain>()
            .unwrap()
            .apply(&spectrum, |_| None)
            .unwrap_err();
        (refused.index, refused.refusal.code())
    };
    assert_eq!(fails("blank(R9)"), (0, "unknown-reference"));
    assert_eq!(
        fails("axis(cm-1) | smooth(window=5, order=2)"),
        (1, "uneven-steps")
    );
    assert_eq!(
        fails("ordinate(transmittance) | derivative(1, window=5, order=2) | ordinate(absorbance)"),
        (2, "wrong-ordinate")
    );
    assert_eq!(fails("saturation(above=-1)"), (0, "all-saturated"));
    assert_eq!(fails("crop(900..950)"), (0, "too-few-points"));
    assert_eq!(
        fails("resample(linear, 230..400, every=1e-9)"),
        (0, "bad-setting")
    );
    // A blank in other units is converted where that is exact, and told.
    let blank = absorbance(invented()).to_axis(Axis::ElectronVolt).unwrap().0;
    let blank = blank.to_ordinate(Ordinate::PercentTransmittance).unwrap().0;
    let chain: Chain = "blank(R)".parse().unwrap();
    let nothing = chain.apply(&spectrum, |_| Some(blank.clone())).unwrap();
    assert!(nothing.spectrum.curve.y().iter().all(|y| y.abs() < 1e-14));
    assert!(
        nothing.log[0]
            .notes
            .iter()
            .any(|n| n.starts_with("blank: ") && n.contains("vacuum"))
    );
    let transmittance = "ordinate(transmittance) | blank(R)".parse::<Chain>().unwrap();
    let refused = transmittance
        .apply(&spectrum, |_| Some(absorbance(invented())))
        .unwrap_err();
    assert_eq!(refused.refusal.code(), "wrong-ordinate");
}

#[test]
fn texts_that_are_no_chain_say_where() {
    let column = |text: &str| text.parse::<Chain>().unwrap_err().column;
    assert_eq!(column("polish(window=3)"), 1);
    assert_eq!(column("crop(220..400) crop(1..2)"), 16);
    assert_eq!(column("crop(400..220)"), 6);
    assert_eq!(column("smooth(window=5, order=2, colour=red)"), 27);
    assert_eq!(column("smooth(window=5)"), 16);
    assert_eq!(column("smooth(window=5,5, order=2)"), 17);
    assert_eq!(column("blank(\"R7"), 10);
    assert_eq!(column("saturation(above=NaN)"), 12);
    assert_eq!(column("derivative(0, window=5, order=2)"), 12);
    assert_eq!(column("crop(1..2) |"), 13);
    assert_eq!("".parse::<Chain>().unwrap(), Chain::default());
}

fn any_window() -> impl Strategy<Value = Window> {
    (-1e4f64..1e4, 1e-3f64..1e4).prop_map(|(from, length)| Window {
        from,
        to: from + length,
    })
}

fn any_step() -> impl Strategy<Value = Step> {
    let interpolation = prop_oneof![Just(Interpolation::Linear), Just(Interpolation::Cubic)];
    let grids = prop_oneof![
        Just(Grids::MustMatch),
        interpolation.clone().prop_map(Grids::Resample)
    ];
    prop_oneof![
        any::<f64>()
            .prop_filter("finite", |v| v.is_finite())
            .prop_map(|above| Step::Saturation { above }),
        any_window().prop_map(|to| Step::Crop { to }),
        prop_oneof![
            Just(Ordinate::Absorbance),
            Just(Ordinate::Transmittance),
            Just(Ordinate::PercentTransmittance)
        ]
        .prop_map(|to| Step::Ordinate { to }),
        prop_oneof![
            Just(Axis::Nanometre),
            Just(Axis::PerCentimetre),
            Just(Axis::ElectronVolt)
        ]
        .prop_map(|to| Step::Axis { to }),
        (".*", grids).prop_map(|(reference, grids)| Step::Blank { reference, grids }),
        any_window().prop_map(|over| Step::Baseline {
            baseline: Baseline::Offset { over }
        }),
        (any_window(), any_window()).prop_map(|(left, right)| Step::Baseline {
            baseline: Baseline::Line { left, right }
        }),
        (any_window(), prop::option::of(-20.0f64..20.0)).prop_map(|(over, exponent)| Step::Baseline {
            baseline: Baseline::Scatter { over, exponent }
        }),
        (0usize..100, 0usize..12, 0usize..12, any::<bool>()).prop_map(|(window, order, derivative, fit)| {
            let uneven = if fit { Uneven::Fit } else { Uneven::Refuse };
            Step::Filter {
                filter: SavitzkyGolay {
                    window,
                    order,
                    derivative,
                    uneven,
                },
            }
        }),
        (interpolation, any_window(), 1e-6f64..1e3).prop_map(|(how, over, every)| Step::Resample {
            how,
            over,
            every
        }),
    ]
}

proptest! {
    #[test]
    fn every_chain_reads_back_as_itself(steps in prop::collection::vec(any_step(), 0..6)) {
        let chain = Chain { steps };
        let text = chain.to_string();
        prop_assert_eq!(text.parse::<Chain>().unwrap(), chain.clone(), "{}", text);
        let json = serde_json::to_string(&chain).unwrap();
        prop_assert_eq!(serde_json::from_str::<Chain>(&json).unwrap(), chain);
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in ".{0,60}") {
        let _ = text.parse::<Chain>();
    }

    #[test]
    fn no_chain_makes_the_spectrum_panic(steps in prop::collection::vec(any_step(), 0..4)) {
        let spectrum = absorbance(invented());
        let _ = Chain { steps }.apply(&spectrum, |_| Some(spectrum.clone()));
    }
}
