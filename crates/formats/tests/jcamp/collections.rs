//! Collections of many blocks, read run by run.

use super::*;

/// Collections in which blocks are nested, merely joined, in percent, of one axis and of several tables.
fn collections() -> Vec<String> {
    let block = |n: u32, units: &str, more: &str| {
        format!(
            "##TITLE=sample {n}\n##JCAMP-DX=5.01\n##DATA TYPE=UV/VIS SPECTRUM\n##ORIGIN=lab\n##OWNER=us\n##XUNITS=NANOMETERS\n\
             ##YUNITS={units}\n##XFACTOR=1\n##YFACTOR=0.001\n##FIRSTX=400\n##LASTX=403\n##NPOINTS=4\n##FIRSTY=0.1\n{more}\
             ##XYDATA=(X++(Y..Y))\n400 100 {} 300 {}\n##END=\n",
            150 + n,
            200 + n * 7
        )
    };
    let link = |blocks: &str| {
        format!(
            "##TITLE=all\n##JCAMP-DX=5.01\n##DATA TYPE=LINK\n##BLOCKS=4\n##ORIGIN=lab\n##OWNER=us\n{blocks}##END=\n"
        )
    };
    let all = |units: &str, more: &str| (0..4).map(|n| block(n, units, more)).collect::<String>();
    vec![
        link(&all("ABSORBANCE", "")),
        link(&all("TRANSMITTANCE", "##$LAMP HOURS=12\n")),
        link(&all(
            "PERCENT TRANSMITTANCE",
            "##TEMPERATURE=25 C\n##DATE=2020/03/04\n",
        )),
        all("ABSORBANCE", "##XYDATA=(X++(Y..Y))\n400 1 2 3 4\n"),
        link(&format!(
            "{}{}",
            link(&all("ABSORBANCE", "")),
            all("ARBITRARY UNITS", "")
        )),
        link(&format!(
            "{}##XYPOINTS=(XY..XY)\n1,2\n2,3\n3,4\n",
            all("ABSORBANCE", "")
        )),
    ]
}

#[test]
fn run_by_run_the_same_comes_out() {
    let reader = JcampDx::default();
    let mut texts = collections();
    let written = write(&[scans(true), scans(false)], &JcampDxOptions::default()).unwrap();
    texts.push(written.text);
    let mut seed = 1_u64;
    let mut dice = |sides: usize| {
        // Constants of Knuth's MMIX generator.
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(seed >> 33).unwrap() % sides.max(1)
    };
    let (mut tried, mut could) = (0, 0);
    for text in &texts {
        for damage in 0..300 {
            let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
            for _ in 0..damage.min(1 + damage / 100) {
                let (at, other) = (dice(lines.len()), dice(lines.len()));
                match dice(5) {
                    0 => drop(lines.remove(at)),
                    1 => lines.swap(at, other),
                    2 => lines.insert(at, lines[other].clone()),
                    3 => {
                        let mut signs: Vec<char> = lines[at].chars().collect();
                        let sign = dice(signs.len());
                        if let Some(sign) = signs.get_mut(sign) {
                            *sign = [',', '#', '9', ' ', '='][dice(5)];
                        }
                        lines[at] = signs.into_iter().collect();
                    }
                    _ => lines.truncate(at.max(1)),
                }
                if lines.is_empty() {
                    lines.push(String::new());
                }
            }
            let source = Source::new("a.jdx", lines.join("\n").into_bytes());
            tried += 1;
            could += u32::from(in_turn(&source, &reader.read(&source)));
        }
    }
    assert!(could * 2 > tried, "{could} of {tried} were read run by run");
}
