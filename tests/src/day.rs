//! Twenty years of exports of an invented teaching laboratory: fifty files, the same bytes on every run, for the literate
//! day in `tests/cases/day.md`. People, instruments, samples and numbers are invented.

use std::fmt::Write as _;

use crate::laboratory::{
    Dice, NOISE, axis, bell, betanin, comma, fading_constant, food_blue, lines, point, windows_1252,
};

/// Every file: its path below the folder of exports and its bytes, by path.
#[must_use]
pub fn files() -> Vec<(String, Vec<u8>)> {
    let mut all: Vec<(String, Vec<u8>)> = Vec::new();
    german(&mut all);
    without_unit(&mut all);
    jacket(&mut all);
    spectra(&mut all);
    enzyme(&mut all);
    french(&mut all);
    nameless(&mut all);
    all.push(("2019/notes/safety.txt".to_owned(), SAFETY.as_bytes().to_vec()));
    all.push(("2022/notes/lamp hours.csv".to_owned(), LAMP.as_bytes().to_vec()));
    all.sort();
    all
}

const SAFETY: &str = "Invented teaching laboratory. Wear goggles: the lamp of the instrument emits ultraviolet light.\nKeep water \
    away from the mains. Local rules come first.\n";
const LAMP: &str = "invented lamp log\nday,lamp hours,air (°C)\n2022-01-10,812,21.5\n2022-02-14,840,21.0\n2022-03-07,861,22.0\n";

/// The fading of beet red: times in seconds and absorbances.
fn fading(seed: &str, celsius: f64, start: f64, times: &[f64]) -> Vec<f64> {
    let mut dice = Dice::new(seed);
    let constant = fading_constant(celsius);
    let value = |t: &f64| 0.04 + (start - 0.04) * (-constant * t).exp() + NOISE * dice.normal();
    times.iter().map(value).collect()
}

/// 2004 to 2007: semicolons, decimal commas, an old encoding; and two copies.
fn german(all: &mut Vec<(String, Vec<u8>)>) {
    let courses = [
        (2004, 40.0, 1),
        (2004, 50.0, 1),
        (2005, 45.0, 1),
        (2005, 55.0, 1),
        (2006, 60.0, 1),
        (2006, 60.0, 2),
        (2007, 65.0, 1),
        (2007, 70.0, 1),
    ];
    for (at, (year, celsius, number)) in courses.into_iter().enumerate() {
        let path = format!("{year}/Praktikum/Betanin {celsius} Grad {number}.txt");
        let times = axis(0.0, 5400.0, 90.0);
        let y = fading(&path, celsius, 0.9, &times);
        let text = format!(
            "Erfundene Daten eines erfundenen Praktikums\r\nProbe: Betanin\r\nTemperatur: {} °C\r\nWellenlänge: 535 nm\r\n\
             Schichtdicke: 1,00 cm\r\nDatum: {:02}.11.{year}\r\nBearbeiter: k. l.\r\n\r\nZeit (s);Extinktion\r\n{}",
            comma(celsius, 1),
            14 + at,
            lines(&times, &y, |t, a| format!("{};{}\r\n", comma(t, 0), comma(a, 4)))
        );
        let bytes = windows_1252(&text);
        if year == 2007 {
            all.push((
                format!("2008/Sicherung/Betanin {celsius} Grad {number} Kopie.txt"),
                bytes.clone(),
            ));
        }
        all.push((path, bytes));
    }
}

/// 2008 to 2010: times without a unit, and dates that can be read in two ways.
fn without_unit(all: &mut Vec<(String, Vec<u8>)>) {
    for (year, number, celsius) in [
        (2008, 1, 50.0),
        (2008, 2, 55.0),
        (2009, 3, 60.0),
        (2009, 4, 65.0),
        (2010, 5, 60.0),
        (2010, 6, 70.0),
    ] {
        let path = format!("{year}/kinetics/beet_{number}.txt");
        let times = axis(0.0, 3600.0, 60.0);
        let y = fading(&path, celsius, 0.85, &times);
        let text = format!(
            "invented data\nsample: betanin\ntemperature: {celsius} °C\nwavelength: 535 nm\ndate: {:02}/03/{year}\n\ntime\tabsorbance\n{}",
            number + 2,
            lines(&times, &y, |t, a| format!("{}\t{}\n", point(t, 0), point(a, 4)))
        );
        all.push((path, text.into_bytes()));
    }
}

/// 2011 to 2013: a key that only this laboratory uses.
fn jacket(all: &mut Vec<(String, Vec<u8>)>) {
    for (year, number, celsius) in [
        (2011, 1, 45.0),
        (2011, 2, 50.0),
        (2012, 3, 55.0),
        (2012, 4, 60.0),
        (2013, 5, 65.0),
        (2013, 6, 70.0),
    ] {
        let path = format!("{year}/fading/run {number}.csv");
        let times = axis(0.0, 4500.0, 75.0);
        let y = fading(&path, celsius, 0.88, &times);
        let text = format!(
            "# invented data\n# sample: betanin\n# jacket: {celsius} °C\n# wavelength: 535 nm\n# date: {year}-05-{:02}\n\
             time (s),absorbance\n{}",
            number + 10,
            lines(&times, &y, |t, a| format!("{},{}\n", point(t, 0), point(a, 4)))
        );
        all.push((path, text.into_bytes()));
    }
}

/// 2014 to 2017: spectra, some of them in the open standard.
fn spectra(all: &mut Vec<(String, Vec<u8>)>) {
    let x = axis(400.0, 700.0, 2.0);
    for (year, name, part) in [
        (2014, "beet juice", 1.0),
        (2014, "food blue", 0.0),
        (2015, "beet juice and blue", 0.5),
        (2015, "old beet juice", 0.7),
        (2016, "beet juice", 0.9),
        (2016, "food blue", 0.05),
    ] {
        let path = format!("{year}/spectra/{name}.csv");
        let mut dice = Dice::new(&path);
        let y: Vec<f64> = x
            .iter()
            .map(|w| part * betanin(*w) + (1.0 - part) * food_blue(*w) + NOISE * dice.normal())
            .collect();
        let text = format!(
            "invented data\nsample,{name}\ndate,{year}-09-21\npath length,10 mm\nwavelength (nm),absorbance\n{}",
            lines(&x, &y, |x, y| format!("{},{}\n", point(x, 0), point(y, 4)))
        );
        all.push((path, text.into_bytes()));
    }
    for number in 1..=4 {
        let path = format!("2017/spectra/glass {number}.jdx");
        let mut dice = Dice::new(&path);
        let centre = 480.0 + 20.0 * f64::from(number);
        let y: Vec<f64> = x
            .iter()
            .map(|w| bell(*w, centre, 25.0, 0.8) + NOISE * dice.normal())
            .collect();
        let mut text = format!(
            "##TITLE=coloured glass {number} (invented)\n##JCAMP-DX=4.24\n##DATA TYPE=UV-VIS SPECTRUM\n##ORIGIN=invented laboratory\n\
             ##OWNER=public domain\n##LONGDATE=2017/02/0{number}\n##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##FIRSTX=400\n\
             ##LASTX=700\n##NPOINTS={}\n##XFACTOR=1\n##YFACTOR=0.0001\n##FIRSTY={}\n##XYDATA=(X++(Y..Y))\n",
            x.len(),
            point(y[0], 4)
        );
        for (x, y) in x.chunks(8).zip(y.chunks(8)) {
            let row: Vec<String> = y.iter().map(|y| point(y * 10_000.0, 0)).collect();
            let _ = writeln!(text, "{} {}", point(x[0], 0), row.join(" "));
        }
        text.push_str("##END=\n");
        all.push((path, text.into_bytes()));
    }
}

/// 2018 to 2021: courses of an enzyme at six concentrations in each file.
fn enzyme(all: &mut Vec<(String, Vec<u8>)>) {
    // Invented: absorbance units per second, mmol/L, and absorbance units per mmol/L of product.
    let (limit, constant, per_product) = (0.0042, 0.85, 18.0);
    for (year, ph) in [(2018, 9.0), (2019, 9.4), (2020, 9.8), (2021, 9.8)] {
        let path = format!("{year}/enzyme/phosphatase pH {ph}.csv");
        let mut dice = Dice::new(&path);
        let levels = [0.1, 0.2, 0.4, 0.8, 1.6, 3.2];
        let times = axis(0.0, 600.0, 25.0);
        let head: Vec<String> = levels
            .iter()
            .map(|level| format!("A ({} mM)", point(*level, 1)))
            .collect();
        let mut text = format!(
            "invented data\nenzyme,phosphatase\nsubstrate,4-nitrophenyl phosphate\ntemperature,37.0 °C\npH,{}\nwavelength,405 nm\n\
             date,{year}-11-18\n\ntime (s),{}\n",
            point(ph, 1),
            head.join(",")
        );
        let strength = (-0.5 * ((ph - 9.8) / 0.7_f64).powi(2)).exp();
        let mut formed = levels.map(|_| 0.0);
        for (at, time) in times.iter().enumerate() {
            if at > 0 {
                // A second at a time, by the slope in the middle of it.
                for (formed, level) in formed.iter_mut().zip(levels) {
                    let slope = |formed: f64| {
                        let left: f64 = (level - formed / per_product).max(0.0);
                        strength * limit * left / (constant + left)
                    };
                    for _ in 0..25 {
                        let middle = *formed + slope(*formed) / 2.0;
                        *formed += slope(middle);
                    }
                }
            }
            let row: Vec<String> = formed
                .iter()
                .map(|y| point(0.05 + y + NOISE * dice.normal(), 4))
                .collect();
            let _ = writeln!(text, "{},{}", point(*time, 0), row.join(","));
        }
        all.push((path, text.into_bytes()));
    }
}

/// 2018: a guest writes in French.
fn french(all: &mut Vec<(String, Vec<u8>)>) {
    for (number, celsius) in [(1, 40.0), (2, 50.0), (3, 60.0), (4, 70.0)] {
        let path = format!("2018/stage/décoloration {number}.txt");
        let times = axis(0.0, 60.0, 1.0);
        let seconds: Vec<f64> = times.iter().map(|t| t * 60.0).collect();
        let y = fading(&path, celsius, 0.95, &seconds);
        let text = format!(
            "Données inventées\néchantillon : bétanine\ntempérature : {} °C\nlongueur d'onde : 535 nm\ndate : {}/06/2018\n\n\
             temps (min) ; absorbance\n{}",
            comma(celsius, 1),
            17 + number,
            lines(&times, &y, |t, a| format!("{} ; {}\n", comma(t, 1), comma(a, 4)))
        );
        all.push((path, text.into_bytes()));
    }
}

/// 2022 and 2023: nobody wrote down what the sample was.
fn nameless(all: &mut Vec<(String, Vec<u8>)>) {
    for (year, number, celsius) in [
        (2022, 1, 45.0),
        (2022, 2, 50.0),
        (2022, 3, 55.0),
        (2023, 4, 60.0),
        (2023, 5, 65.0),
        (2023, 6, 70.0),
        (2023, 7, 60.0),
        (2023, 8, 65.0),
    ] {
        let path = format!("{year}/course/group {number}.csv");
        let times = axis(0.0, 3000.0, 50.0);
        let y = fading(&path, celsius, 0.92, &times);
        let text = format!(
            "invented data\ntemperature,{} °C\nwavelength,535 nm\ndate,{year}-04-{:02}\n\ntime (s),absorbance\n{}",
            point(celsius, 1),
            number + 9,
            lines(&times, &y, |t, a| format!("{},{}\n", point(t, 0), point(a, 4)))
        );
        all.push((path, text.into_bytes()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fifty_files_are_the_same_every_time() {
        let all = files();
        assert_eq!(all.len(), 50);
        assert!(all.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert_eq!(all, files());
    }
}
