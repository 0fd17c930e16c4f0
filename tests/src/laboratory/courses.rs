//! Courses over time: fading, dyes in lye, an enzyme.

use super::*;

/// The fading of beet red at several temperatures, over the years in ever other exports.
pub(super) fn fading(shelf: &mut Shelf) {
    fading_at_two_temperatures_or_three(shelf);
    fading_under_sparse_headers(shelf);
    fading_by_the_clock(shelf);
    fading_in_four_cells(shelf);
}

fn fading_at_two_temperatures_or_three(shelf: &mut Shelf) {
    for (temperature, replicate) in [(37.0, 1), (37.0, 2), (45.0, 1), (45.0, 2), (52.0, 1), (52.0, 2)] {
        let path = format!("2016/practical-3/betanin_{temperature}C_{replicate}.csv");
        let d = decay(
            &path,
            0.92,
            0.04,
            fading_constant(temperature),
            axis(0.0, 3600.0, 60.0),
        );
        let text = format!(
            "# invented demonstration data, teaching laboratory\n# sample: betanin\n# temperature: {temperature} degC\n\
             # wavelength: 535 nm\n# buffer: citrate phosphate, pH 5.0\n# date: 2016-04-{:02}\n# replicate: {replicate}\n\
             time (s),absorbance\n{}",
            10 + replicate,
            lines(&d.times, &d.values, |t, a| format!(
                "{},{}\n",
                point(t, 0),
                point(a, 4)
            ))
        );
        shelf.put(&path, "comma, remarks in front", text, &d.truth);
    }
    for (temperature, day) in [(37.0, 3), (52.0, 4), (60.0, 5)] {
        let path = format!("2017/Praktikum/Betanin {temperature} Grad.txt");
        let d = decay(
            &path,
            0.88,
            0.05,
            fading_constant(temperature),
            axis(0.0, 2400.0, 60.0),
        );
        let text = format!(
            "Erfundene Vorführdaten\r\nProbe: Betanin aus Roter Bete\r\nTemperatur: {} °C\r\nWellenlänge: 535 nm\r\n\
             Schichtdicke: 1,00 cm\r\nDatum: {day:02}.05.2017\r\nBearbeiter: k. l.\r\n\r\nZeit (s);Extinktion\r\n{}",
            comma(temperature, 1),
            lines(&d.times, &d.values, |t, a| format!(
                "{};{}\r\n",
                comma(t, 1),
                comma(a, 4)
            ))
        );
        shelf.put(
            &path,
            "semicolon, decimal comma, Windows-1252, German",
            windows_1252(&text),
            &d.truth,
        );
    }
}

fn fading_under_sparse_headers(shelf: &mut Shelf) {
    for replicate in [1, 2] {
        let path = format!("2018/kinetics/2018-05-16_betanin_45C_pH5_rep{replicate}.txt");
        let d = decay(&path, 0.90, 0.04, fading_constant(45.0), axis(0.0, 5400.0, 90.0));
        let text = format!(
            "Time [min]\tAbs 535 nm\n{}",
            lines(&d.times, &d.values, |t, a| format!(
                "{}\t{}\n",
                point(t / 60.0, 1),
                point(a, 4)
            ))
        );
        shelf.put(&path, "tab, all else in the file name", text, &d.truth);
    }
    for (temperature, number) in [(30.0, 4), (40.0, 5), (50.0, 6)] {
        let path = format!("2019/fading/run_{number:03}.dat");
        let d = decay(
            &path,
            0.85,
            0.03,
            fading_constant(temperature),
            axis(0.0, 3000.0, 50.0),
        );
        let mut text = format!(
            "; invented demonstration data\nSample = betanin\nTemperature = {} K\nWavelength = 535 nm\npH = 5.0\n\
             Date = 2019-03-{:02}\nOperator = m. n.\n\n     Time    Absorbance\n       s            AU\n",
            point(temperature + 273.15, 2),
            number + 10
        );
        text += &lines(&d.times, &d.values, |t, a| {
            format!("{:>9}{:>14}\n", point(t, 1), point(a, 4))
        });
        shelf.put(
            &path,
            "fixed columns, units in a row of their own",
            text,
            &d.truth,
        );
    }
}

fn fading_by_the_clock(shelf: &mut Shelf) {
    for temperature in [42.0, 48.0] {
        let path = format!("2023/fading/jacket {temperature}.txt");
        let d = decay(
            &path,
            0.87,
            0.04,
            fading_constant(temperature),
            axis(0.0, 4500.0, 75.0),
        );
        let clock = |t: f64| {
            let t = whole(t);
            format!("{:02}:{:02}:{:02}", t / 3600, t / 60 % 60, t % 60)
        };
        let text = format!(
            "invented demonstration data\nsample: betanin\njacket: {temperature} °C\nwavelength: 535 nm\ndate: 2023-02-{temperature}\n\n\
             time (hh:mm:ss)\tabsorbance\n{}",
            lines(&d.times, &d.values, |t, a| format!("{}\t{}\n", clock(t), point(a, 4)))
        )
        .replace("2023-02-4", "2023-02-0");
        shelf.put(&path, "clock times, a word of the house", text, &d.truth);
    }
}

fn fading_in_four_cells(shelf: &mut Shelf) {
    let path = "2020/fading/four cells.csv";
    let times = axis(0.0, 2400.0, 40.0);
    let cells = [37.0, 45.0, 52.0, 60.0].map(|t| {
        decay(
            &format!("{path}{t}"),
            0.9,
            0.04,
            fading_constant(t),
            times.clone(),
        )
    });
    let mut text = String::from(
        "invented demonstration data\nsample,betanin\nwavelength,535 nm\npath length,1 cm\ndate,2020-10-07\n\n\
         time (s),A (37 °C),A (45 °C),A (52 °C),A (60 °C)\n",
    );
    for (index, time) in times.iter().enumerate() {
        let row: Vec<String> = cells.iter().map(|cell| point(cell.values[index], 4)).collect();
        let _ = writeln!(text, "{},{}", point(*time, 0), row.join(","));
    }
    let constants: Vec<f64> = [37.0, 45.0, 52.0, 60.0].map(fading_constant).to_vec();
    shelf.put(
        path,
        "one time, many absorbances",
        text,
        &json!({ "model": "first-order", "k_of_columns": constants, "k_unit": "/s" }),
    );
}

/// Crystal violet and lye: pseudo first order in excess of lye.
pub(super) fn dye_and_lye(shelf: &mut Shelf) {
    let second_order = 0.11; // L/mol/s, invented
    for (lye, day) in [(0.02, 5), (0.04, 6), (0.06, 7), (0.08, 8)] {
        let path = format!("2018/tinte/tinte_{}.txt", point(lye, 2).replace('.', "p"));
        let d = decay(&path, 1.05, 0.01, second_order * lye, axis(0.0, 600.0, 10.0));
        let text = format!(
            "Erfundene Vorführdaten\nFarbstoff\tKristallviolett\nNatronlauge\t{} mol/L\nTemperatur\t25,0 °C\n\
             Messwellenlänge\t590 nm\nDatum\t{day:02}.06.2018\n\nt / s\tA\n{}",
            comma(lye, 2),
            lines(&d.times, &d.values, |t, a| format!(
                "{}\t{}\n",
                comma(t, 0),
                comma(a, 4)
            ))
        );
        let shape = "tab, decimal comma, UTF-16, key TAB value";
        shelf.put(&path, shape, utf_16(&text), &d.truth);
    }
    let path = "2022/dye/lye-series.csv";
    let mut text = String::from(
        "\"invented demonstration data\"\n\"sample: crystal violet\"\n\"temperature: 25.0 °C\"\n\"wavelength: 590 nm\"\n\
         \"t1 (s)\",\"A 0.02 mol/L\",\"t2 (s)\",\"A 0.04 mol/L\"\n",
    );
    let a = decay("lye a", 1.02, 0.01, second_order * 0.02, axis(0.0, 600.0, 12.0));
    let b = decay("lye b", 1.01, 0.01, second_order * 0.04, axis(0.0, 400.0, 10.0));
    for index in 0..a.times.len().max(b.times.len()) {
        let cell = |d: &Decay| match d.times.get(index) {
            Some(time) => format!("{},{}", point(*time, 0), point(d.values[index], 4)),
            None => ",".to_owned(),
        };
        let _ = writeln!(text, "{},{}", cell(&a), cell(&b));
    }
    shelf.put(path, "pairs of unequal length", text, &json!({ "model": "first-order", "k_of_columns": [second_order * 0.02, second_order * 0.04], "k_unit": "/s" }));
}

/// An enzyme and its substrate: progress at several concentrations, and rates against concentration.
pub(super) fn phosphatase(shelf: &mut Shelf) {
    // Invented: absorbance units per second, and mmol/L.
    let (limit, constant) = (0.0042, 0.85);
    let rate = |s: f64| limit * s / (constant + s);
    let levels = [0.1, 0.2, 0.4, 0.8, 1.6, 3.2];
    // Invented too: 18 absorbance units per mmol/L of product. The substrate is used up as the absorbance rises, so that
    // the courses bend; by the rule of Runge and Kutta, a second at a time.
    let formed = |level: f64, seconds: f64| {
        let slope = |formed: f64| rate((level - formed / 18.0).max(0.0));
        (0..seconds as usize).fold(0.0, |y, _| {
            let first = slope(y);
            let second = slope(y + first / 2.0);
            let third = slope(y + second / 2.0);
            y + (first + 2.0 * second + 2.0 * third + slope(y + third)) / 6.0
        })
    };
    for (year, day) in [(2019, 14), (2021, 18), (2023, 9)] {
        let path = format!("{year}/enzyme/phosphatase series.csv");
        let mut dice = Dice::new(&path);
        let mut text = format!(
            "# invented demonstration data\n# enzyme: phosphatase (invented preparation)\n# substrate: p-nitrophenyl phosphate\n\
             # wavelength: 405 nm\n# temperature: 37.0 °C\n# pH: 9.8\n# date: {year}-11-{day}\ntime (s)"
        );
        for level in levels {
            let _ = write!(text, ",A ({} mM)", point(level, 1));
        }
        text.push('\n');
        for time in axis(0.0, 600.0, 25.0) {
            text += &point(time, 0);
            for level in levels {
                let _ = write!(
                    text,
                    ",{}",
                    point(0.02 + formed(level, time) + NOISE * dice.normal(), 4)
                );
            }
            text.push('\n');
        }
        let truth = json!({ "model": "michaelis-menten", "km": constant, "km_unit": "mmol/L", "vmax": limit, "vmax_unit": "{AU}/s" });
        shelf.put(
            &path,
            "one time, many absorbances, concentrations in the heads",
            text,
            &truth,
        );
    }
    let path = "2020/enzyme/rates.txt";
    let mut dice = Dice::new(path);
    let mut text = String::from(
        "Datos de demostración inventados\nenzima: fosfatasa\nsustrato: fosfato de p-nitrofenilo\ntemperatura: 37,0 °C\n\
         fecha: 12/11/2020\n\n[S] (mmol/L)\tv (mAU/min)\n",
    );
    for level in levels {
        let _ = writeln!(
            text,
            "{}\t{}",
            comma(level, 2),
            comma(rate(level) * 60_000.0 * (1.0 + 0.01 * dice.normal()), 2)
        );
    }
    let truth = json!({ "model": "michaelis-menten", "km": constant, "km_unit": "mmol/L", "vmax": limit * 60_000.0, "vmax_unit": "m{AU}/min" });
    shelf.put(path, "rates against concentration, Spanish", text, &truth);
    let path = "2022/enzyme/long form.csv";
    let mut dice = Dice::new(path);
    let mut text = String::from(
        "# invented demonstration data, phosphatase, 37 °C, pH 9.8\nsample,time_s,wavelength_nm,absorbance\n",
    );
    for (name, level) in [("S1", 0.2), ("S2", 0.8), ("S3", 3.2)] {
        for time in axis(0.0, 100.0, 10.0) {
            let _ = writeln!(
                text,
                "{name},{},405,{}",
                point(time, 0),
                point(0.02 + rate(level) * time + NOISE * dice.normal(), 4)
            );
        }
    }
    shelf.put(
        path,
        "long form",
        text,
        &json!({ "rates_per_s": [rate(0.2), rate(0.8), rate(3.2)] }),
    );
}
