//! Containers, damaged and odd files.

use super::*;

/// Exports that somebody packed.
pub(super) fn containers(shelf: &mut Shelf) {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    // The same bytes on every day: a fixed date in the container.
    let options = zip::write::SimpleFileOptions::default().last_modified_time(zip::DateTime::default());
    let mut constants = Vec::new();
    for temperature in [35.0, 50.0] {
        let name = format!("group-b/betanin_{temperature}C.csv");
        let d = decay(
            &name,
            0.86,
            0.04,
            fading_constant(temperature),
            axis(0.0, 2700.0, 45.0),
        );
        let text = format!(
            "# invented demonstration data\n# sample: betanin, group B\n# temperature: {temperature} °C\n# wavelength: 535 nm\n\
             # date: 2022-06-02\ntime (s),absorbance\n{}",
            lines(&d.times, &d.values, |t, a| format!(
                "{},{}\n",
                point(t, 0),
                point(a, 4)
            ))
        );
        constants.push(fading_constant(temperature));
        let written = zip
            .start_file(name, options)
            .and_then(|()| Ok(zip.write_all(text.as_bytes())?));
        debug_assert!(written.is_ok());
    }
    let bytes = zip.finish().map(std::io::Cursor::into_inner).unwrap_or_default();
    shelf.put(
        "2022/packed/group-b.zip",
        "zip",
        bytes,
        &json!({ "model": "first-order", "k_of_members": constants, "k_unit": "/s" }),
    );

    let d = decay(
        "packed",
        0.91,
        0.04,
        fading_constant(55.0),
        axis(0.0, 1800.0, 30.0),
    );
    let text = format!(
        "# invented demonstration data\n# sample: betanin\n# temperature: 55 °C\n# wavelength: 535 nm\n# date: 2023-03-15\n\
         time (s),absorbance\n{}",
        lines(&d.times, &d.values, |t, a| format!(
            "{},{}\n",
            point(t, 0),
            point(a, 4)
        ))
    );
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    let written = gzip.write_all(text.as_bytes());
    debug_assert!(written.is_ok());
    shelf.put(
        "2023/packed/betanin_55C.csv.gz",
        "gzip",
        gzip.finish().unwrap_or_default(),
        &d.truth,
    );
}

/// What is damaged, cannot be decided, or is no measurement.
pub(super) fn odd(shelf: &mut Shelf) {
    let none = json!({});
    let d = decay("bare", 0.9, 0.04, 2e-3, axis(0.0, 300.0, 10.0));
    let text = lines(&d.times, &d.values, |t, a| {
        format!("{},{}\n", point(t, 0), point(a, 4))
    });
    shelf.put(
        "2021/undecided/two-columns.csv",
        "in question: two columns without a word",
        text,
        &none,
    );
    let text = lines(&d.times, &d.values, |t, a| {
        format!("{},{}\n", comma(t, 1), comma(a, 4))
    });
    shelf.put(
        "2021/undecided/comma-comma.txt",
        "in question: comma between and within the numbers",
        text,
        &none,
    );
    // In seconds it agrees with the others at 45 °C, as it should once that is answered.
    let slow = decay("bare", 0.9, 0.04, fading_constant(45.0), axis(0.0, 5400.0, 180.0));
    let text = format!(
        "invented demonstration data\nsample: betanin\ndate: 03/04/2021\nwavelength: 535 nm\ntemperature: 45 °C\n\ntime\tabsorbance\n{}",
        lines(&slow.times, &slow.values, |t, a| format!(
            "{}\t{}\n",
            point(t, 0),
            point(a, 4)
        ))
    );
    shelf.put(
        "2021/undecided/time-without-unit.txt",
        "in question: time without a unit, day or month",
        text,
        &none,
    );
    let path = "2020/damaged/torn off.csv";
    let mut dice = Dice::new(path);
    let mut text =
        String::from("# invented demonstration data\n# sample: beet juice\nwavelength (nm),absorbance\n");
    for (index, x) in axis(400.0, 500.0, 2.0).into_iter().enumerate() {
        let y = point(betanin(x) + NOISE * dice.normal(), 4);
        let y = match index {
            11 => y.replacen('.', ".1.", 1),
            17 => y.replace('0', "o"),
            _ => y,
        };
        let _ = writeln!(text, "{},{y}", point(x, 0));
    }
    text.truncate(text.len() - 3);
    shelf.put(
        "2020/damaged/torn off.csv",
        "damaged numbers, cut off",
        text,
        &none,
    );
    let path = "2022/damaged/wrong check.jdx";
    let text = "##TITLE= damaged on purpose (invented demonstration data)\n##JCAMP-DX= 4.24\n##DATA TYPE= UV/VIS SPECTRUM\n\
                ##ORIGIN= invented teaching laboratory\n##OWNER= invented teaching laboratory\n##XUNITS= NANOMETERS\n##YUNITS= ABSORBANCE\n\
                ##FIRSTX= 400\n##LASTX= 418\n##DELTAX= 2\n##NPOINTS= 10\n##XFACTOR= 1\n##YFACTOR= 0.001\n##XYDATA= (X++(Y..Y))\n\
                400 101 102 104 107\n408 111 116 122\n416 129 137 146\n##END=\n";
    shelf.put(path, "JCAMP-DX, an x that does not fit", text, &none);
    shelf.put(
        "2019/notes/instructions.txt",
        "refused: prose",
        INSTRUCTIONS,
        &none,
    );
    shelf.put(
        "2020/notes/water bath.csv",
        "refused: a log of something else",
        water_bath(),
        &none,
    );
    shelf.put("2021/notes/empty.txt", "refused: empty", "", &none);
    let noise: Vec<u8> = {
        let mut dice = Dice::new("binary");
        (0..2048).map(|_| dice.bits().to_le_bytes()[0]).collect()
    };
    shelf.put("2016/notes/settings.bin", "refused: no text", noise, &none);
}

const INSTRUCTIONS: &str = "\
Instructions for practical 3 (invented demonstration data)

Wear goggles and gloves. Never look into the lamp: its light harms the eyes. Keep water away from the mains. Lye burns
the skin; rinse at once with much water and call for help. The rules of your own laboratory come first.

Dilute the beet juice until the absorbance at 535 nm is below 1. Wait until the cell is as warm as the bath, then begin.
";

fn water_bath() -> String {
    let mut dice = Dice::new("bath");
    let mut text = String::from("water bath log (invented demonstration data)\nday,set (°C),found (°C)\n");
    for day in 1..=20 {
        let _ = writeln!(
            text,
            "2020-03-{day:02},37.0,{}",
            point(37.0 + 0.1 * dice.normal(), 1)
        );
    }
    text
}
