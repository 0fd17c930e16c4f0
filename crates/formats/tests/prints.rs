//! Documents that were made to exhaust a reader of printed reports are refused quickly, each with its reason.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fmt::Write as _;
use std::io::Write as _;
use std::time::{Duration, Instant};

use curvary_formats::{Readers, Reading, Source};

/// A document of these objects, numbered from 1, the first of which is the catalogue.
fn document(objects: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = b"%PDF-1.7\n".to_vec();
    let mut places = Vec::new();
    for (at, object) in objects.iter().enumerate() {
        places.push(bytes.len());
        writeln!(bytes, "{} 0 obj", at + 1).unwrap();
        bytes.extend(object);
        bytes.extend(b"\nendobj\n");
    }
    let directory = bytes.len();
    let count = objects.len() + 1;
    write!(bytes, "xref\n0 {count}\n0000000000 65535 f \n").unwrap();
    for place in places {
        writeln!(bytes, "{place:010} 00000 n ").unwrap();
    }
    write!(
        bytes,
        "trailer << /Root 1 0 R /Size {count} >>\nstartxref\n{directory}\n%%EOF\n"
    )
    .unwrap();
    bytes
}

fn object(text: impl Into<String>) -> Vec<u8> {
    text.into().into_bytes()
}

fn stream(dictionary: &str, data: &[u8]) -> Vec<u8> {
    let head = format!("<< {dictionary} /Length {} >>\nstream\n", data.len());
    [head.as_bytes(), data, b"\nendstream"].concat()
}

const FONT: &str = "/Font << /F << /Type /Font /Subtype /Type1 /BaseFont /Helvetica >> >>";

/// A document of one page with this content, and with further objects from number 5 on.
fn page(content: Vec<u8>, resources: &str, others: Vec<Vec<u8>>) -> Vec<u8> {
    let mut objects = vec![
        object("<< /Type /Catalog /Pages 2 0 R >>"),
        object("<< /Type /Pages /Kids [3 0 R] /Count 1 >>"),
        object(format!(
            "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R /Resources << {FONT} {resources} >> >>"
        )),
        content,
    ];
    objects.extend(others);
    document(&objects)
}

fn table() -> String {
    let mut content = "BT /F 10 Tf 14 TL 60 780 Td (Wavelength \\(nm\\)      Absorbance) Tj\n".to_owned();
    for row in 0..10 {
        let _ = writeln!(content, "T* ({}          0.{}) Tj", 400 + 10 * row, 123 + 7 * row);
    }
    content.push_str("ET\n");
    content
}

/// The reading, which must not take long.
fn read(bytes: Vec<u8>, within: Duration) -> Reading {
    let start = Instant::now();
    let source = Source::new("report.pdf", bytes);
    let (_, reading) = Readers::built_in().read(&source, None);
    let took = start.elapsed();
    assert!(took < within, "it took {took:?}");
    reading
}

fn refused(bytes: Vec<u8>, code: &str) {
    // Bare builds on a machine with other work are slow; nothing here may take minutes.
    let reading = read(bytes, Duration::from_secs(30));
    assert!(reading.runs.is_empty());
    let codes: Vec<&str> = reading
        .remarks
        .iter()
        .map(|remark| remark.code.as_str())
        .collect();
    assert!(codes.contains(&code), "{codes:?}");
}

#[test]
fn a_small_document_is_read() {
    let reading = read(
        page(stream("", table().as_bytes()), "", vec![]),
        Duration::from_secs(10),
    );
    assert_eq!(reading.runs.len(), 1, "{:?}", reading.remarks);
    let run = &reading.runs[0];
    assert_eq!(run.points(), 10);
    assert_eq!(run.fields.text("recovered-from"), Some("print"));
}

#[test]
fn a_million_objects() {
    let mut objects = vec![object("<< /Type /Catalog /Pages 2 0 R >>")];
    objects.resize(1_000_000, object("null"));
    refused(document(&objects), "file-too-large");
}

#[test]
fn streams_that_unfold_to_gigabytes() {
    let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
    writer.write_all(&vec![b' '; 64 << 20]).unwrap();
    let packed = writer.finish().unwrap();
    let stream = stream("/Filter /FlateDecode", &packed);
    assert!(stream.len() < 100_000);
    refused(page(stream.clone(), "", vec![stream; 40]), "file-too-large");
}

#[test]
fn pages_that_share_a_large_stream() {
    let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
    writer.write_all(&vec![b' '; 32 << 20]).unwrap();
    let content = stream("/Filter /FlateDecode", &writer.finish().unwrap());
    let kids: String = (5..205).map(|number| format!("{number} 0 R ")).collect();
    let mut objects = vec![
        object("<< /Type /Catalog /Pages 2 0 R >>"),
        object(format!("<< /Type /Pages /Kids [{kids}] /Count 200 >>")),
        object("null"),
        content,
    ];
    objects.resize(204, object("<< /Type /Page /Parent 2 0 R /Contents 4 0 R >>"));
    refused(document(&objects), "file-too-large");
}

#[test]
fn deep_and_circular_page_trees() {
    let mut objects = vec![object("<< /Type /Catalog /Pages 2 0 R >>")];
    for number in 2..100_000 {
        objects.push(object(format!(
            "<< /Type /Pages /Kids [{} 0 R] /Count 1 >>",
            number + 1
        )));
    }
    objects.push(object("<< /Type /Page >>"));
    refused(document(&objects), "no-table");
    let circle = document(&[
        object("<< /Type /Catalog /Pages 2 0 R >>"),
        object("<< /Type /Pages /Kids [3 0 R] /Count 1 >>"),
        object("<< /Type /Pages /Kids [2 0 R] /Count 1 >>"),
    ]);
    refused(circle, "no-table");
}

#[test]
fn too_many_pages() {
    let kids: String = (3..6_003).map(|number| format!("{number} 0 R ")).collect();
    let mut objects = vec![
        object("<< /Type /Catalog /Pages 2 0 R >>"),
        object(format!("<< /Type /Pages /Kids [{kids}] /Count 6000 >>")),
    ];
    objects.resize(6_002, object("<< /Type /Page /Parent 2 0 R >>"));
    refused(document(&objects), "file-too-large");
}

/// Each form draws the next a hundred times, ten deep: 10²⁰ times the innermost.
#[test]
fn forms_that_draw_forms() {
    let form = |next: Option<usize>| {
        let resources = next.map_or(String::new(), |next| format!("/XObject << /X {next} 0 R >>"));
        let content = next.map_or(String::new(), |_| "/X Do\n".repeat(100));
        stream(
            &format!("/Type /XObject /Subtype /Form /BBox [0 0 9 9] /Resources << {resources} >>"),
            content.as_bytes(),
        )
    };
    let mut forms: Vec<Vec<u8>> = (6..15).map(|next| form(Some(next))).collect();
    forms.push(form(None));
    let content = stream("", b"/X Do");
    refused(page(content, "/XObject << /X 5 0 R >>", forms), "file-too-large");
}

#[test]
fn brackets_without_end() {
    let deep = [b"[".repeat(300_000), table().into_bytes()].concat();
    let reading = read(page(stream("", &deep), "", vec![]), Duration::from_secs(10));
    assert!(reading.runs.len() <= 1);
    let deep = page(
        stream("", b""),
        "",
        vec![b"[".repeat(300_000), b"<</A".repeat(300_000)],
    );
    refused(deep, "no-table");
}

/// A directory of objects that take no bytes, and a font with the widths of thousands of millions of signs.
#[test]
fn lists_that_are_said_to_be_endless() {
    let directory = stream("/Type /XRef /Size 4000000000 /W [ 0 0 0 ] /Root 1 0 R", b"");
    let mut bytes = b"%PDF-1.7\n1 0 obj\n".to_vec();
    bytes.extend(&directory);
    bytes.extend(b"\nendobj\nstartxref\n9\n%%EOF\n");
    refused(bytes, "file-too-large");
    let font =
        "<< /Type /Font /Subtype /CIDFontType2 /BaseFont /A /CIDSystemInfo << >> /W [0 4000000000 500] >>";
    let resources = "/Font << /F << /Type /Font /Subtype /Type0 /BaseFont /A /Encoding /Identity-H /DescendantFonts [5 0 R] >> >>";
    let content = stream("", table().as_bytes());
    refused(page(content, resources, vec![object(font)]), "file-too-large");
}

#[test]
fn an_empty_document() {
    refused(page(stream("", b""), "", vec![]), "no-table");
    refused(b"%PDF-1.7\n".to_vec(), "document-damaged");
}
