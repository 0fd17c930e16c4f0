//! Spectra, repeated scans and lone readings.

use super::*;

/// Spectra of dyes, in many shapes.
pub(super) fn spectra(shelf: &mut Shelf) {
    spectra_over_wavelengths(shelf);
    spectra_in_other_units(shelf);
    spectra_of_odd_forms(shelf);
}

/// Readings of a spectrum with noise.
fn spectrum(seed: &str, x: &[f64], of: &dyn Fn(f64) -> f64) -> Vec<f64> {
    let mut dice = Dice::new(seed);
    x.iter().map(|w| of(*w) + NOISE * dice.normal()).collect()
}

fn spectra_over_wavelengths(shelf: &mut Shelf) {
    for (year, number) in [(2016, 1), (2017, 2), (2019, 3), (2022, 4)] {
        let path = format!("{year}/spectra/beet juice {number}.csv");
        let x = axis(350.0, 700.0, 2.0);
        let y = spectrum(&path, &x, &betanin);
        let text = format!(
            "invented demonstration data\nSample,beet juice {number}\nDate,{year}-09-2{number}\nPath length,10 mm\nWavelength (nm),Absorbance\n{}",
            lines(&x, &y, |x, y| format!("{},{}\n", point(x, 1), point(y, 4)))
        );
        shelf.put(
            &path,
            "spectrum, comma",
            text,
            &json!({ "maximum_nm": maximum(&betanin, 500..570) }),
        );
    }
    let path = "2017/spectra/bleu.txt";
    let x = axis(380.0, 720.0, 1.0);
    let y = spectrum(path, &x, &food_blue);
    let text = format!(
        "Données de démonstration inventées\néchantillon : bleu alimentaire\ndate : 21/09/2017\ntrajet optique : 1,0 cm\n\n\
         Longueur d'onde (nm) ; Absorbance\n{}",
        lines(&x, &y, |x, y| format!("{} ; {}\n", comma(x, 0), comma(y, 4)))
    );
    shelf.put(
        path,
        "spectrum, semicolon with blanks, French",
        text,
        &json!({ "maximum_nm": maximum(&food_blue, 600..660) }),
    );
    let path = "2018/spectra/filters as rows.csv";
    let x = axis(400.0, 700.0, 10.0);
    let head: Vec<String> = x.iter().map(|x| point(*x, 0)).collect();
    let mut text = format!(
        "# invented demonstration data: absorbance, columns are wavelengths in nm\nsample,{}\n",
        head.join(",")
    );
    for (name, of) in [
        ("beet juice", &betanin as &dyn Fn(f64) -> f64),
        ("food blue", &food_blue),
        ("product", &product),
    ] {
        let row: Vec<String> = spectrum(name, &x, of).iter().map(|y| point(*y, 4)).collect();
        let _ = writeln!(text, "{name},{}", row.join(","));
    }
    shelf.put(
        path,
        "spectra as rows",
        text,
        &json!({ "maxima_nm": [535.0, 630.0, 424.0] }),
    );
}

fn spectra_in_other_units(shelf: &mut Shelf) {
    let path = "2019/spectra/blue glass.tsv";
    let x = axis(400.0, 700.0, 5.0);
    let y = spectrum(path, &x, &food_blue);
    let text = format!(
        "invented demonstration data\nsample\tblue glass\ndate\t2019-02-11\nwavelength (nm)\ttransmittance (%)\n{}",
        lines(&x, &y, |x, y| format!(
            "{}\t{}\n",
            point(x, 0),
            point(100.0 * 10_f64.powf(-y), 2)
        ))
    );
    shelf.put(
        path,
        "spectrum in percent transmittance",
        text,
        &json!({ "minimum_nm": 630.0 }),
    );
    let path = "2020/spectra/beet juice wavenumbers.txt";
    let x = axis(14_000.0, 28_000.0, 200.0);
    let y = spectrum(path, &x, &|wavenumber| betanin(1e7 / wavenumber));
    let text = format!(
        "# invented demonstration data\n# sample: beet juice\n# date: 2020-02-19\nwavenumber (1/cm)  absorbance\n{}",
        lines(&x, &y, |x, y| format!("{:>9}  {:>9}\n", point(x, 0), point(y, 4)))
    );
    shelf.put(
        path,
        "spectrum over wavenumber",
        text,
        &json!({ "maximum_per_cm": 1e7 / 535.0 }),
    );
}

fn spectra_of_odd_forms(shelf: &mut Shelf) {
    let path = "2021/spectra/old computer.txt";
    let x = axis(700.0, 400.0, -4.0);
    let y = spectrum(path, &x, &betanin);
    let text = format!(
        "invented demonstration data\rsample: beet juice, old stock\rdate: 2021-01-26\rWavelength/nm Absorbance/AU\r{}",
        lines(&x, &y, |x, y| format!("{} {}\r", point(x, 0), point(y, 3)))
    );
    shelf.put(
        path,
        "spectrum, falling, lines end with CR",
        text,
        &json!({ "maximum_nm": maximum(&betanin, 500..570) }),
    );
    let path = "2023/spectra/notebook.md";
    let x = axis(500.0, 570.0, 5.0);
    let y = spectrum(path, &x, &betanin);
    let text = format!(
        "# Notebook, 2023-05-04 (invented demonstration data)\n\nBeet juice, diluted 1 to 50, against citrate buffer:\n\n\
         | wavelength (nm) | absorbance |\n|---|---|\n{}\nThe maximum is where we expected it.\n",
        lines(&x, &y, |x, y| format!("| {} | {} |\n", point(x, 0), point(y, 4)))
    );
    shelf.put(
        path,
        "a table with pipes in prose",
        text,
        &json!({ "maximum_nm": maximum(&betanin, 500..570) }),
    );
    let path = "2022/spectra/saturated.csv";
    let x = axis(400.0, 700.0, 5.0);
    let y = spectrum(path, &x, &|w| 4.4 * betanin(w));
    let text = format!(
        "# invented demonstration data\n# sample: beet juice, undiluted\n# date: 2022-03-08\nwavelength (nm),absorbance\n{}",
        lines(&x, &y, |x, y| {
            let y = if y > 3.0 { "OVER".to_owned() } else { point(y, 4) };
            format!("{},{y}\n", point(x, 0))
        })
    );
    shelf.put(
        path,
        "spectrum with markers of overflow",
        text,
        &json!({ "maximum_nm": null }),
    );
}

/// Spectra repeated over time, while beet red fades.
pub(super) fn repeated_scans(shelf: &mut Shelf) {
    let constant = fading_constant(60.0);
    let at = |w: f64, t: f64| {
        let left = (-constant * t).exp();
        betanin(w) * left + product(w) * (1.0 - left)
    };
    let truth =
        json!({ "model": "first-order", "k": constant, "k_unit": "/s", "half_life_s": LN_2 / constant });
    let (wavelengths, times) = (axis(380.0, 640.0, 4.0), axis(0.0, 5400.0, 600.0));
    for (year, day) in [(2018, 20), (2020, 23), (2023, 26)] {
        let path = format!("{year}/scans/fading 60C.csv");
        let mut dice = Dice::new(&path);
        let head: Vec<String> = times.iter().map(|t| format!("{} s", point(*t, 0))).collect();
        let mut text = format!(
            "# invented demonstration data\n# sample: betanin\n# temperature: 60.0 °C\n# date: {year}-06-{day}\n\
             # absorbance; columns are times\nwavelength (nm),{}\n",
            head.join(",")
        );
        for w in &wavelengths {
            let row: Vec<String> = times
                .iter()
                .map(|t| point(at(*w, *t) + NOISE * dice.normal(), 4))
                .collect();
            let _ = writeln!(text, "{},{}", point(*w, 0), row.join(","));
        }
        shelf.put(&path, "matrix, wavelength by time", text, &truth);
    }
    let path = "2021/scans/fading 60 Grad.csv";
    let mut dice = Dice::new(path);
    let head: Vec<String> = wavelengths
        .iter()
        .map(|w| format!("{} nm", comma(*w, 0)))
        .collect();
    let mut text = format!(
        "Erfundene Vorführdaten;Extinktion\nProbe;Betanin\nTemperatur;60,0 °C\nDatum;23.06.2021\n\nZeit (min);{}\n",
        head.join(";")
    );
    for t in &times {
        let row: Vec<String> = wavelengths
            .iter()
            .map(|w| comma(at(*w, *t) + NOISE * dice.normal(), 4))
            .collect();
        let _ = writeln!(text, "{};{}", comma(t / 60.0, 0), row.join(";"));
    }
    shelf.put(path, "matrix, time by wavelength, German", text, &truth);
}

/// Single readings: calibration lines and instrument checks.
pub(super) fn readings(shelf: &mut Shelf) {
    let slope = 0.0412; // per (mg/L), invented
    for (year, day) in [(2017, 11), (2020, 15), (2022, 17)] {
        let path = format!("{year}/calibration/food blue.csv");
        let mut dice = Dice::new(&path);
        let mut text = format!(
            "# invented demonstration data\n# date: {year}-01-{day}\n# wavelength: 630 nm\nsample,concentration (mg/L),absorbance\n"
        );
        for level in [0.0, 2.0, 4.0, 8.0, 12.0, 16.0] {
            let _ = writeln!(
                text,
                "standard {},{},{}",
                point(level, 0),
                point(level, 1),
                point(slope * level + NOISE * dice.normal(), 4)
            );
        }
        shelf.put(
            &path,
            "single readings",
            text,
            &json!({ "slope": slope, "slope_unit": "L/mg" }),
        );
    }
    let path = "2019/calibration/report.txt";
    let mut dice = Dice::new(path);
    let mut text = String::from(
        "                 READINGS AT 630 nm                 page 1\n        invented demonstration data\n\n\
         date: 2019-01-16     sample: food blue\n\n   no.   name            absorbance\n   ---------------------------------\n",
    );
    for number in 1..=24 {
        if number == 13 {
            text.push_str("\u{c}                 READINGS AT 630 nm                 page 2\n\n   no.   name            absorbance\n   ---------------------------------\n");
        }
        let _ = writeln!(
            text,
            "   {number:>3}   sample {number:<9}{:>10}",
            point(slope * (4.0 + 0.3 * f64::from(number)) + NOISE * dice.normal(), 4)
        );
    }
    text.push_str("   ---------------------------------\n   end of list\n");
    shelf.put(
        path,
        "a printed report of two pages",
        text,
        &json!({ "readings": 24 }),
    );
}
