//! The open standard, in the forms of its numbers.

use super::*;

/// The same kind of data in the open standard.
pub(super) fn open_standard(shelf: &mut Shelf) {
    for (year, difference) in [(2016, false), (2018, true), (2021, true)] {
        let path = format!("{year}/open/beet juice.jdx");
        let mut dice = Dice::new(&path);
        let x = axis(400.0, 700.0, 2.0);
        let counts: Vec<i64> = x
            .iter()
            .map(|w| whole((betanin(*w) + NOISE * dice.normal()) * 1e4))
            .collect();
        let table = if difference {
            difdup(&x, &counts)
        } else {
            affn(&x, &counts)
        };
        let text = format!(
            "##TITLE= beet juice (invented demonstration data)\n##JCAMP-DX= 4.24\n##DATA TYPE= UV/VIS SPECTRUM\n##ORIGIN= invented teaching laboratory\n\
             ##OWNER= invented teaching laboratory\n##LONGDATE= {year}/10/12\n##SAMPLE DESCRIPTION= beet juice, 1 to 50 in citrate buffer\n\
             ##TEMPERATURE= 25.0\n##PATHLENGTH= 1.0\n##XUNITS= NANOMETERS\n##YUNITS= ABSORBANCE\n##FIRSTX= {}\n##LASTX= {}\n##DELTAX= 2\n##NPOINTS= {}\n\
             ##FIRSTY= {}e-4\n##XFACTOR= 1\n##YFACTOR= 0.0001\n##XYDATA= (X++(Y..Y))\n{table}##END=\n",
            x[0],
            x[x.len() - 1],
            x.len(),
            counts[0],
        );
        let shape = if difference {
            "JCAMP-DX, DIFDUP"
        } else {
            "JCAMP-DX, AFFN"
        };
        shelf.put(
            &path,
            shape,
            text,
            &json!({ "maximum_nm": maximum(&betanin, 500..570) }),
        );
    }
    let path = "2023/open/dyes.jdx";
    let mut text = String::from(
        "##TITLE= two dyes (invented demonstration data)\n##JCAMP-DX= 4.24\n##DATA TYPE= LINK\n##BLOCKS= 2\n\
         ##ORIGIN= invented teaching laboratory\n##OWNER= invented teaching laboratory\n",
    );
    for (name, of) in [
        ("beet juice", &betanin as &dyn Fn(f64) -> f64),
        ("food blue", &food_blue),
    ] {
        let mut dice = Dice::new(name);
        let x = axis(450.0, 700.0, 5.0);
        let pairs: String = x
            .iter()
            .map(|w| format!("{}, {}\n", point(*w, 1), point(of(*w) + NOISE * dice.normal(), 4)))
            .collect();
        let _ = write!(
            text,
            "##TITLE= {name}\n##JCAMP-DX= 4.24\n##DATA TYPE= UV/VIS SPECTRUM\n##ORIGIN= invented teaching laboratory\n\
             ##OWNER= invented teaching laboratory\n##LONGDATE= 2023/05/11\n##XUNITS= NANOMETERS\n##YUNITS= ABSORBANCE\n##XFACTOR= 1\n##YFACTOR= 1\n##FIRSTX= {}\n##LASTX= {}\n\
             ##NPOINTS= {}\n##XYPOINTS= (XY..XY)\n{pairs}##END=\n",
            x[0],
            x[x.len() - 1],
            x.len()
        );
    }
    text.push_str("##END=\n");
    shelf.put(
        path,
        "JCAMP-DX, two linked blocks",
        text,
        &json!({ "maxima_nm": [535.0, 630.0] }),
    );
}

/// Ten plain numbers a line behind their first x.
fn affn(x: &[f64], counts: &[i64]) -> String {
    let mut text = String::new();
    for (x, row) in x.chunks(10).zip(counts.chunks(10)) {
        let _ = write!(text, "{}", x[0]);
        for count in row {
            let _ = write!(text, " {count}");
        }
        text.push('\n');
    }
    text
}

/// The compressed form DIFDUP: the first value of a line squeezed, then differences, equal ones counted. Each line but
/// the first begins with the last value of the line before, as a check.
fn difdup(x: &[f64], counts: &[i64]) -> String {
    const PER_LINE: usize = 20;
    let mut text = String::new();
    let mut from = 0;
    while from + 1 < counts.len() {
        let to = (from + PER_LINE).min(counts.len() - 1);
        let _ = write!(
            text,
            "{}{}",
            x[from],
            squeezed(counts[from], "@ABCDEFGHI", "@abcdefghi")
        );
        let mut steps: Vec<(i64, usize)> = Vec::new();
        for pair in counts[from..=to].windows(2) {
            let step = pair[1] - pair[0];
            match steps.last_mut() {
                Some((last, times)) if *last == step => *times += 1,
                _ => steps.push((step, 1)),
            }
        }
        for (step, times) in steps {
            text += &squeezed(step, "%JKLMNOPQR", "%jklmnopqr");
            if times > 1 {
                text += &squeezed(i64::try_from(times).unwrap_or(0), "?STUVWXYZs", "");
            }
        }
        text.push('\n');
        from = to;
    }
    // A last line with the check value alone.
    let last = counts.len() - 1;
    let _ = writeln!(
        text,
        "{}{}",
        x[last],
        squeezed(counts[last], "@ABCDEFGHI", "@abcdefghi")
    );
    text
}

/// A number whose first digit also tells the sign and the kind.
fn squeezed(value: i64, positive: &str, negative: &str) -> String {
    let digits = value.unsigned_abs().to_string();
    let table = if value < 0 { negative } else { positive };
    let first = usize::from(digits.as_bytes()[0] - b'0');
    let sign = table.chars().nth(first).unwrap_or('@');
    format!("{sign}{}", &digits[1..])
}
