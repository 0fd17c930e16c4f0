//! Every reader and decoder under attack: the targets of `fuzz/`, run here on stable Rust for a bounded number of
//! seeded mutations of the corpus. No panic, no number that is not finite, every place inside the text.
//!
//! `CURVARY_ATTACKS=100000` makes it longer.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

#[path = "../../../fuzz/targets.rs"]
mod targets;

/// A small generator of pseudo-random numbers (Knuth's MMIX constants), so that every run attacks alike.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap_or(0) % sides.max(1)
    }
}

fn seeds() -> Vec<Vec<u8>> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut files = Vec::new();
    let mut folders = vec![
        root.join("tests/corpus"),
        root.join("demo-data"),
        root.join("plugins/layouts"),
    ];
    while let Some(folder) = folders.pop() {
        let Ok(entries) = std::fs::read_dir(&folder) else {
            continue;
        };
        let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
        paths.sort();
        for path in paths {
            if path.is_dir() {
                folders.push(path);
            } else if is_seed(&path) {
                files.push(std::fs::read(&path).expect("a seed can be read"));
            }
        }
    }
    assert!(files.len() > 100, "the corpus is there");
    files.push(b"##TITLE=a\n##JCAMP-DX=5.01\n##DATA TYPE=UV/VIS SPECTRUM\n##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##FIRSTX=400\n##LASTX=403\n##NPOINTS=4\n##XFACTOR=1\n##YFACTOR=0.001\n##XYDATA=(X++(Y..Y))\n400A23K%j\n##END=\n".to_vec());
    files.push(b"run,trace,sample,technique,wavelength_nm,temperature_Cel,label,source,absorbance,saturated\r\na1,0,betanin,spectrum,400,37,Abs,a.txt,0.1200,\r\na1,0,betanin,spectrum,401,37,Abs,a.txt,3.2000,true\r\n".to_vec());
    files
}

fn is_seed(path: &Path) -> bool {
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or("");
    !name.ends_with(".py")
        && !name.ends_with(".json")
        && std::fs::metadata(path).is_ok_and(|data| data.len() < 60_000)
}

fn mutate(dice: &mut Dice, bytes: &mut Vec<u8>) {
    const SIGNS: &[u8] = b"0123456789.,;:\t |-+eE#%?@ABJKST\"\n\r\x00\x1a=$()<>\xff\xc3\xb0";
    for _ in 0..=dice.roll(6) {
        let length = bytes.len();
        match dice.roll(7) {
            0 if length > 0 => bytes[dice.roll(length)] = SIGNS[dice.roll(SIGNS.len())],
            1 => bytes.insert(dice.roll(length + 1), SIGNS[dice.roll(SIGNS.len())]),
            2 if length > 0 => {
                bytes.remove(dice.roll(length));
            }
            3 => bytes.truncate(dice.roll(length + 1)),
            4 if length > 1 => {
                let (start, end) = (dice.roll(length), dice.roll(length));
                let piece = bytes[start.min(end)..start.max(end)].to_vec();
                let at = dice.roll(bytes.len());
                bytes.splice(at..at, piece.into_iter().take(400));
            }
            5 if length > 0 => {
                let at = dice.roll(length);
                let run = vec![bytes[at]; dice.roll(200)];
                bytes.splice(at..at, run);
            }
            _ => bytes.extend_from_slice(&[SIGNS[dice.roll(SIGNS.len())]; 3]),
        }
    }
}

#[test]
fn mutated_files_do_no_harm() {
    let rounds: usize = std::env::var("CURVARY_ATTACKS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(4_000);
    let seeds = seeds();
    let mut dice = Dice(2021);
    for seed in &seeds {
        targets::all(seed);
    }
    for _ in 0..rounds {
        let mut bytes = seeds[dice.roll(seeds.len())].clone();
        mutate(&mut dice, &mut bytes);
        targets::all(&bytes);
    }
}

#[test]
fn files_cut_at_any_length_do_no_harm() {
    let seeds = seeds();
    for seed in seeds.iter().step_by(seeds.len() / 40) {
        let step = (seed.len() / 60).max(1);
        for length in (0..seed.len()).step_by(step) {
            targets::all(&seed[..length]);
        }
    }
}

/// The library behind old workbooks panics where a sector is cut; each such length is refused instead.
#[test]
fn old_workbooks_cut_within_a_sector_are_refused() {
    const SECTOR: usize = 512;
    let path = "../../tests/corpus/documents/sheets/old-workbook/input.xls";
    let whole = std::fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path)).expect("a workbook");
    for length in (SECTOR / 2..whole.len()).step_by(SECTOR / 4) {
        targets::all(&whole[..length]);
    }
}
