//! The greatest memory that the built program takes: a small multiple of what it is given, or a refusal by a stated limit.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;

use curvary_tests::call;

/// What the program itself takes, with its tables of words and its threads, in bytes.
const ITSELF: u64 = 48 << 20;

/// Runs the program and gives its greatest memory in bytes, its exit status, and what it said.
fn peak(folder: &Path, arguments: &[&str]) -> (u64, Option<i32>, String) {
    let said = folder.join("said.txt");
    let file = File::create(&said).expect("a file");
    let mut child = call(folder, arguments)
        .stdout(file.try_clone().expect("a file"))
        .stderr(file)
        .stdin(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut most = 0;
    let status = loop {
        if let Some(status) = child.try_wait().expect("it can be waited for") {
            break status;
        }
        let told = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let line = told.lines().find(|line| line.starts_with("VmHWM:"));
        let kilobytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<u64>().ok());
        most = most.max(kilobytes.unwrap_or(0) * 1024);
        std::thread::sleep(Duration::from_millis(1));
    };
    let said = fs::read_to_string(said).unwrap_or_default();
    (most, status.code(), said)
}

fn length(path: &Path) -> u64 {
    fs::metadata(path).expect("it is there").len()
}

#[test]
fn a_line_without_an_end_is_refused_and_kept() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("line.csv");
    let mut file = BufWriter::new(File::create(&path).expect("a file"));
    file.write_all(b"time (s),absorbance\n").expect("it is written");
    let piece = "0.1234,".repeat(10_000);
    for _ in 0..1_200 {
        file.write_all(piece.as_bytes()).expect("it is written");
    }
    file.flush().expect("it is written");
    let (peak, status, said) = peak(folder.path(), &["add", "line.csv", "--archive", "lab"]);
    assert_eq!(status, Some(3), "{said}");
    assert!(said.contains("line-too-long"), "{said}");
    let allowed = ITSELF + length(&path) * 2;
    assert!(peak < allowed, "{peak} of {allowed}");
    // Refused is not lost.
    let (_, status, said) = self::peak(folder.path(), &["verify", "--archive", "lab"]);
    assert_eq!(status, Some(0), "{said}");
    assert!(said.contains("1 original"), "{said}");
}

/// A collection of small blocks, as programs write that put all spectra of a library into one file.
fn collection(path: &Path, blocks: u32) {
    let mut text = format!(
        "##TITLE=invented collection\n##JCAMP-DX=5.00\n##DATA TYPE=LINK\n##BLOCKS={}\n##ORIGIN=invented\n##OWNER=nobody\n",
        blocks + 1
    );
    for block in 0..blocks {
        let _ = write!(
            text,
            "##TITLE=sample {block}\n##JCAMP-DX=5.00\n##DATA TYPE=UV/VIS SPECTRUM\n##BLOCK_ID={}\n##ORIGIN=invented\n\
             ##OWNER=nobody\n##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE\n##XFACTOR=1\n##YFACTOR=0.0001\n##FIRSTX=300\n\
             ##LASTX=399\n##NPOINTS=100\n##FIRSTY=0.1\n##DELTAX=1\n##XYDATA=(X++(Y..Y))\n",
            block + 1
        );
        for line in 0..10 {
            let _ = write!(text, "{}", 300 + line * 10);
            for point in 0..10 {
                let value = 1_000 + (block * 7919 + line * 997 + point * 131) % 8_999;
                let value = if line + point == 0 { 1_000 } else { value };
                let _ = write!(text, " {value}");
            }
            text.push('\n');
        }
        text.push_str("##END=\n");
    }
    text.push_str("##END=\n");
    fs::write(path, text).expect("a file");
}

#[test]
fn many_small_blocks_take_a_small_multiple() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("collection.jdx");
    collection(&path, 12_000);
    let (peak, status, said) = peak(folder.path(), &["add", "collection.jdx", "--archive", "lab"]);
    assert_eq!(status, Some(0), "{said}");
    assert!(said.contains("12,000 runs"), "{said}");
    let allowed = ITSELF + length(&path) * BLOCKS;
    assert!(peak < allowed, "{peak} of {allowed}");
    let (written, status, said) = self::peak(
        folder.path(),
        &[
            "export",
            "spectrum",
            "--to",
            "json",
            "--out",
            "all.json",
            "--archive",
            "lab",
        ],
    );
    assert_eq!(status, Some(0), "{said}");
    let allowed = ITSELF + length(&folder.path().join("all.json")) * 4;
    assert!(written < allowed, "{written} of {allowed}");
}

/// A collection is read and made ready run by run: in memory are its text, and of each run what is filed for searching, packed.
/// 3.6 to 4.4 times were measured in debug builds; 4 is the aim.
const BLOCKS: u64 = 5;

/// A matrix of times and wavelengths with a page for each time.
#[test]
fn many_pages_take_a_small_multiple() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("pages.jdx");
    let (pages, points) = (24_000_u32, 100_u32);
    let mut text = format!(
        "##TITLE=invented matrix\n##JCAMP-DX=5.00\n##DATA TYPE=UV/VIS SPECTRUM\n##DATA CLASS=NTUPLES\n##ORIGIN=invented\n\
         ##OWNER=nobody\n##NTUPLES=UV/VIS SPECTRUM\n##VAR_NAME=WAVELENGTH, ABSORBANCE, TIME\n##SYMBOL=X, Y, T\n\
         ##VAR_TYPE=INDEPENDENT, DEPENDENT, INDEPENDENT\n##VAR_FORM=AFFN, AFFN, AFFN\n##VAR_DIM={points}, {points}, {pages}\n\
         ##UNITS=NANOMETERS, ABSORBANCE, SECONDS\n##FIRST=300, 0.1, 0\n##LAST=399, 0.9, {}\n##FACTOR=1, 0.0001, 1\n",
        pages - 1
    );
    for page in 0..pages {
        let _ = write!(text, "##PAGE=T={page}\n##DATA TABLE=(X++(Y..Y)), XYDATA\n");
        for line in 0..10 {
            let _ = write!(text, "{}", 300 + line * 10);
            for point in 0..10 {
                let _ = write!(
                    text,
                    " {}",
                    1_000 + (page * 7919 + line * 997 + point * 131) % 8_999
                );
            }
            text.push('\n');
        }
    }
    text.push_str("##END NTUPLES=UV/VIS SPECTRUM\n##END=\n");
    fs::write(&path, text).expect("a file");
    let (peak, status, said) = peak(folder.path(), &["add", "pages.jdx", "--archive", "lab"]);
    assert_eq!(status, Some(0), "{said}");
    assert!(said.contains("2,400,000 points"), "{said}");
    let allowed = ITSELF + length(&path) * PAGES;
    assert!(peak < allowed, "{peak} of {allowed}");
}

/// The curves of all pages are one run, and held together: of each point two numbers, while the wavelengths of a page are not
/// known to be those of the others. 6.7 times was measured; 4 is the aim.
const PAGES: u64 = 7;

#[test]
fn many_small_blocks_that_ask_take_a_small_multiple() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("collection.jdx");
    collection(&path, 12_000);
    let text = fs::read_to_string(&path).expect("it is there");
    fs::write(&path, text.replace("##XUNITS=NANOMETERS", "##XUNITS=")).expect("it is written");
    let (peak, status, said) = peak(folder.path(), &["add", "collection.jdx", "--archive", "lab"]);
    assert_eq!(status, Some(0), "{said}");
    assert!(
        said.contains("12,000 runs") && said.contains("axis-unknown"),
        "{said}"
    );
    let allowed = ITSELF + length(&path) * BLOCKS;
    assert!(peak < allowed, "{peak} of {allowed}");
}

#[test]
fn one_large_run_is_written_as_json_in_a_small_multiple() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("large.csv");
    let mut text = String::from("sample: invented\nwavelength: 340 nm\n\ntime (s),absorbance\n");
    for point in 0..200_000_u64 {
        let _ = writeln!(text, "{point},0.{:04}", point * 7919 % 10_000);
    }
    fs::write(&path, text).expect("a file");
    let (_, status, said) = peak(folder.path(), &["add", "large.csv", "--archive", "lab"]);
    assert_eq!(status, Some(0), "{said}");
    let arguments = [
        "export",
        "sample:invented",
        "--to",
        "json",
        "--out",
        "large.json",
        "--archive",
        "lab",
    ];
    let (peak, status, said) = peak(folder.path(), &arguments);
    assert_eq!(status, Some(0), "{said}");
    let allowed = ITSELF + length(&folder.path().join("large.json")) * 6;
    assert!(peak < allowed, "{peak} of {allowed}");
}
