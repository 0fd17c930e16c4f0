//! Containers made by the `zip` and `flate2` crates, whole and damaged.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::io::{Cursor, Write};

use curvary_formats::container::{Limits, Member, is_container, members};
use flate2::Compression;
use flate2::write::GzEncoder;
use proptest::prelude::*;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

fn zip(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (index, (name, bytes)) in files.iter().enumerate() {
        let method = if index % 2 == 0 {
            CompressionMethod::Deflated
        } else {
            CompressionMethod::Stored
        };
        let options = SimpleFileOptions::default().compression_method(method);
        writer.start_file(*name, options).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn gz(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

fn unpacked(path: &str, bytes: Vec<u8>, limits: Limits) -> (Vec<Member>, Vec<String>) {
    let (mut found, mut codes) = (Vec::new(), Vec::new());
    for item in members(path, bytes, limits) {
        match item {
            Ok(member) => found.push(member),
            Err(remark) => codes.push(remark.code.to_string()),
        }
    }
    (found, codes)
}

fn paths(found: &[Member]) -> Vec<&str> {
    found.iter().map(|member| member.path.as_str()).collect()
}

#[test]
fn members_come_with_their_paths_and_bytes() {
    let bytes = zip(&[
        ("2019/a.txt", b"400 0.1\n"),
        ("2019\\b.txt", b"400 0.2\n"),
        ("./c.txt", b""),
    ]);
    let (found, codes) = unpacked("old.zip", bytes, Limits::default());
    assert_eq!(
        paths(&found),
        ["old.zip!/2019/a.txt", "old.zip!/2019/b.txt", "old.zip!/c.txt"]
    );
    assert_eq!(found[0].bytes, b"400 0.1\n");
    assert!(codes.is_empty());
}

#[test]
fn gzip_holds_one_file_however_many_members() {
    let mut bytes = gz(b"one ");
    bytes.extend(gz(b"two"));
    bytes.extend([0; 8]);
    let (found, codes) = unpacked("x/Run.TXT.GZ", bytes, Limits::default());
    assert_eq!(paths(&found), ["x/Run.TXT.GZ!/Run.TXT"]);
    assert_eq!(found[0].bytes, b"one two");
    assert!(codes.is_empty());
    let mut trailing = gz(b"one");
    trailing.extend(b"garbage");
    assert_eq!(
        unpacked("a.gz", trailing, Limits::default()).1,
        ["container-damaged"]
    );
}

#[test]
fn containers_inside_containers_are_opened_to_a_depth() {
    let inner = zip(&[("a.txt", b"a")]);
    let packed = gz(b"g");
    let deepest = zip(&[("deep.zip", &inner)]);
    let outer = zip(&[
        ("in.zip", &inner),
        ("g.txt.gz", &packed),
        ("d.zip", &deepest),
        ("z.txt", b"z"),
    ]);
    let (found, codes) = unpacked("o.zip", outer, Limits::default());
    assert_eq!(
        paths(&found),
        ["o.zip!/in.zip!/a.txt", "o.zip!/g.txt.gz!/g.txt", "o.zip!/z.txt"]
    );
    assert_eq!(codes, ["container-nested"]);
}

#[test]
fn documents_are_files_of_their_own() {
    let sheet = zip(&[("xl/workbook.xml", b"<x/>"), ("[Content_Types].xml", b"<x/>")]);
    let open = zip(&[
        ("mimetype", b"application/vnd.oasis.opendocument.spreadsheet"),
        ("content.xml", b""),
    ]);
    assert!(!is_container(&sheet) && !is_container(&open));
    let outer = zip(&[("s.xlsx", &sheet), ("t.ods", &open)]);
    assert!(is_container(&outer));
    let (found, codes) = unpacked("o.zip", outer, Limits::default());
    assert_eq!(paths(&found), ["o.zip!/s.xlsx", "o.zip!/t.ods"]);
    assert_eq!(found[0].bytes, sheet);
    assert!(codes.is_empty());
    assert!(!is_container(b"PK said nothing") && !is_container(b""));
    assert_eq!(
        unpacked("a.txt", b"a".to_vec(), Limits::default()).1,
        ["container-unknown"]
    );
}

#[test]
fn bombs_are_refused_and_the_rest_is_read() {
    let zeros = vec![b'0'; 4 << 20];
    let bytes = zip(&[("bomb.txt", &zeros), ("a.txt", b"a")]);
    let (found, codes) = unpacked("o.zip", bytes, Limits::default());
    assert_eq!(
        (paths(&found), codes),
        (vec!["o.zip!/a.txt"], vec!["container-limit".to_owned()])
    );
    let packed = gz(&zeros);
    assert_eq!(unpacked("o.gz", packed, Limits::default()).1, ["container-limit"]);
    let limits = Limits {
        member: 3,
        total: 5,
        count: 5,
        ..Limits::default()
    };
    let bytes = zip(&[
        ("a", b"aaa"),
        ("b", b"bbbb"),
        ("c", b"cc"),
        ("d", b"d"),
        ("e", b""),
        ("f", b""),
    ]);
    let (found, codes) = unpacked("o.zip", bytes, limits);
    assert_eq!(paths(&found), ["o.zip!/a", "o.zip!/c", "o.zip!/e"]);
    assert_eq!(codes, ["container-limit"; 3]);
}

#[test]
fn paths_that_climb_are_refused() {
    for name in [
        "../a.txt",
        "/a.txt",
        "x/../../a.txt",
        "C:\\a.txt",
        "..\\a.txt",
        "a\u{1}.txt",
        "in.zip!/a.txt",
    ] {
        let (found, codes) = unpacked("o.zip", zip(&[(name, b"a")]), Limits::default());
        assert!(found.is_empty(), "{name:?} {found:?}");
        assert_eq!(codes, ["container-path"], "{name:?}");
    }
}

#[test]
fn an_archive_without_its_end_gives_what_is_certain() {
    let text = b"400 0.1\n".repeat(100);
    let whole = zip(&[("a.txt", &text), ("b.txt", &text), ("c.txt", &text)]);
    let cut = whole[..whole.len() - 300].to_vec();
    let (found, codes) = unpacked("o.zip", cut, Limits::default());
    assert!(!found.is_empty() && found.len() < 3);
    assert!(found.iter().all(|member| member.bytes == text));
    assert!(
        codes.iter().all(|code| code == "container-damaged") && codes.len() == 2,
        "{codes:?}"
    );
}

#[test]
fn a_wrong_check_sum_loses_that_member_alone() {
    let mut bytes = zip(&[("a.txt", b"first"), ("b.txt", b"second"), ("c.txt", b"third")]);
    let at = bytes.windows(6).position(|w| w == b"second").unwrap();
    bytes[at] = b'S';
    let (found, codes) = unpacked("o.zip", bytes, Limits::default());
    assert_eq!(paths(&found), ["o.zip!/a.txt", "o.zip!/c.txt"]);
    assert_eq!(codes, ["container-damaged"]);
    let mut packed = gz(b"some text");
    packed.truncate(packed.len() - 4);
    assert_eq!(
        unpacked("a.gz", packed, Limits::default()).1,
        ["container-damaged"]
    );
}

/// Bit 0 of the general purpose flags says that a member is encrypted (APPNOTE 4.4.4).
#[test]
fn encrypted_members_are_told() {
    let mut bytes = zip(&[("a.txt", b"first"), ("b.txt", b"second")]);
    let local = 0;
    let central = bytes.windows(4).position(|w| w == b"PK\x01\x02").unwrap();
    bytes[local + 6] |= 1;
    bytes[central + 8] |= 1;
    let (found, codes) = unpacked("o.zip", bytes, Limits::default());
    assert_eq!(paths(&found), ["o.zip!/b.txt"]);
    assert_eq!(codes, ["container-encrypted"]);
}

proptest! {
    /// Whatever is broken: an end, no panic, and nothing but the bytes that were packed.
    #[test]
    fn damage_never_makes_up_bytes(cut in 0_usize..600, flips in prop::collection::vec((0_usize..600, 0_u8..8), 0..3), packed in any::<bool>()) {
        let a = b"400 0.1\n".repeat(20);
        let mut bytes = if packed { gz(&a) } else { zip(&[("a.txt", &a), ("b.txt", b"400 0.2\n"), ("c.txt", &a)]) };
        bytes.truncate(bytes.len().saturating_sub(cut % 300));
        for (at, bit) in flips {
            if let Some(byte) = bytes.get_mut(at) {
                *byte ^= 1 << bit;
            }
        }
        let (found, _) = unpacked("o", bytes, Limits::default());
        prop_assert!(found.len() <= 3);
        for member in found {
            prop_assert!(member.bytes == a || member.bytes == b"400 0.2\n" || member.bytes.is_empty(), "{:?}", member);
        }
    }
}
