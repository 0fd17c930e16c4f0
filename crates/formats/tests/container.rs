//! Containers made by the `zip` and `flate2` crates, whole and damaged.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::io::{Cursor, Write};

use curvary_formats::container::{ContainerMember, UnpackLimits, is_container, members};
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

fn unpacked(path: &str, bytes: Vec<u8>, limits: UnpackLimits) -> (Vec<ContainerMember>, Vec<String>) {
    let (mut found, mut codes) = (Vec::new(), Vec::new());
    for item in members(path, bytes, limits) {
        match item {
            Ok(member) => found.push(member),
            Err(remark) => codes.push(remark.code.to_string()),
        }
    }
    (found, codes)
}

fn paths(found: &[ContainerMember]) -> Vec<&str> {
    found.iter().map(|member| member.path.as_str()).collect()
}

#[test]
fn members_come_with_their_paths_and_bytes() {
    let bytes = zip(&[
        ("2019/a.txt", b"400 0.1\n"),
        ("2019\\b.txt", b"400 0.2\n"),
        ("./c.txt", b""),
    ]);
    let (found, codes) = unpacked("old.zip", bytes, UnpackLimits::default());
    assert_eq!(
        paths(&found),
        ["old.zip!/2019/a.txt", "old.zip!/2019/b.txt", "old.zip!/c.txt"]
    );
    assert_eq!(found[0].bytes, b"400 0.1\n");
    assert!(codes.is_empty());
}

/// The packer takes no name twice, so that the second is given afterwards: in the member's head and in the table of contents.
#[test]
fn members_of_one_name_are_all_read() {
    let mut bytes = zip(&[
        ("same.csv", b"400 0.1\n"),
        ("none.csv", b"400 0.2\n"),
        ("last.csv", b""),
    ]);
    while let Some(at) = bytes.windows(8).position(|name| name == b"none.csv") {
        bytes[at..at + 8].copy_from_slice(b"same.csv");
    }
    let (found, codes) = unpacked("a.zip", bytes, UnpackLimits::default());
    assert_eq!(
        paths(&found),
        ["a.zip!/same.csv", "a.zip!/same~2.csv", "a.zip!/last.csv"]
    );
    assert_eq!(
        (found[0].bytes.as_slice(), found[1].bytes.as_slice()),
        (&b"400 0.1\n"[..], &b"400 0.2\n"[..])
    );
    assert_eq!(codes, ["container-duplicate"]);
}

#[test]
fn gzip_holds_one_file_however_many_members() {
    let mut bytes = gz(b"one ");
    bytes.extend(gz(b"two"));
    bytes.extend([0; 8]);
    let (found, codes) = unpacked("x/Run.TXT.GZ", bytes, UnpackLimits::default());
    assert_eq!(paths(&found), ["x/Run.TXT.GZ!/Run.TXT"]);
    assert_eq!(found[0].bytes, b"one two");
    assert!(codes.is_empty());
    let mut trailing = gz(b"one");
    trailing.extend(b"garbage");
    assert_eq!(
        unpacked("a.gz", trailing, UnpackLimits::default()).1,
        ["container-damaged"]
    );
}

/// The bytes that hexadecimal digits stand for.
fn hex(digits: &str) -> Vec<u8> {
    (0..digits.len() / 2)
        .map(|at| u8::from_str_radix(&digits[2 * at..2 * at + 2], 16).unwrap())
        .collect()
}

/// Packed by the bz2, lzma and tarfile modules of Python 3.11: `400 0.1`, `410 0.2`; the tar archive holds that as
/// `runs/a.txt`, then `../out.txt`, a link to `/etc/passwd` and `Größe/b.txt`.
#[test]
fn other_packings_and_tar_are_opened() {
    let text = b"400 0.1\n410 0.2\n";
    let bzip2 = hex(
        "425a6839314159265359da5384de0000075800001040017400200021a68da4218003138ad6eaf177245385090da5384d\
         e0",
    );
    let xz = hex(
        "fd377a585a000004e6d6b4460200210116000000742fe5a301000f34303020302e310a34313020302e320a00e15ea979\
         cd56147400012810e50b6c601fb6f37d010000000004595a",
    );
    let tape = hex(
        "fd377a585a000004e6d6b446020021011c00000010cf58cce027ff00e75d00391d4a00edc7369fbd0bf20aba3d5f9609\
         3ae538b61aaa12c59c5c86e591eb408cb2de3c2c288e30667a93afe074f6154ade634ecdebd86d9d7b9efd7544c86210\
         0dc73e960731ef9afc6fc1f3b43e44626dbbfaddd9db774eb50b992671dcdf27fb3750841dfdc5ae2ff700526c3c70db\
         3e695651a08afd5375a727cc8aba14076ab0581194ff7ea5827c6765a9ced9fe36b746300ad46b02e84e8e19ade6e8c7\
         0d0e7ffed5331ebed0e6326f8b36685eb85207b62836d97de523df40f07d2c8d9551aa4db9ddcdf3c1dac03d66d79a75\
         e56c2bce4d3333b3ac6870fad7137a4d54d2f90022c0000083e5f597be35a17b0001830280500000407954a0b1c467fb\
         020000000004595a",
    );
    for (name, bytes) in [("r.txt.bz2", bzip2.clone()), ("r.txt.xz", xz)] {
        let (found, codes) = unpacked(name, bytes, UnpackLimits::default());
        assert_eq!((found[0].path.clone(), codes), (format!("{name}!/r.txt"), vec![]));
        assert_eq!(found[0].bytes, text);
    }
    let zstd = zstd::stream::encode_all(&text[..], 3).unwrap();
    let (found, codes) = unpacked("r.zst", zstd, UnpackLimits::default());
    assert_eq!((found[0].bytes.as_slice(), codes), (&text[..], vec![]));
    let (found, codes) = unpacked("all.txz", tape, UnpackLimits::default());
    assert_eq!(
        paths(&found),
        ["all.txz!/all.tar!/runs/a.txt", "all.txz!/all.tar!/Größe/b.txt"]
    );
    assert_eq!(found[0].bytes, text);
    assert_eq!(codes, ["container-path", "container-link"]);
    for cut in 4..bzip2.len() {
        let (found, codes) = unpacked("r.bz2", bzip2[..cut].to_vec(), UnpackLimits::default());
        assert!(found.is_empty() && codes.len() == 1, "cut at {cut}");
    }
}

#[test]
fn bombs_of_other_packings_are_refused() {
    let zeros = vec![b'0'; 64 << 20];
    let zstd = zstd::stream::encode_all(&zeros[..], 3).unwrap();
    let (found, codes) = unpacked("bomb.zst", zstd, UnpackLimits::default());
    assert!(found.is_empty());
    assert_eq!(codes, ["container-limit"]);
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
    let limits = UnpackLimits {
        depth: 2,
        ..UnpackLimits::default()
    };
    let (found, codes) = unpacked("o.zip", outer, limits);
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
    let (found, codes) = unpacked("o.zip", outer, UnpackLimits::default());
    assert_eq!(paths(&found), ["o.zip!/s.xlsx", "o.zip!/t.ods"]);
    assert_eq!(found[0].bytes, sheet);
    assert!(codes.is_empty());
    assert!(!is_container(b"PK said nothing") && !is_container(b""));
    assert_eq!(
        unpacked("a.txt", b"a".to_vec(), UnpackLimits::default()).1,
        ["container-unknown"]
    );
}

#[test]
fn bombs_are_refused_and_the_rest_is_read() {
    let zeros = vec![b'0'; 4 << 20];
    let bytes = zip(&[("bomb.txt", &zeros), ("a.txt", b"a")]);
    let (found, codes) = unpacked("o.zip", bytes, UnpackLimits::default());
    assert_eq!(
        (paths(&found), codes),
        (vec!["o.zip!/a.txt"], vec!["container-limit".to_owned()])
    );
    let packed = gz(&zeros);
    assert_eq!(
        unpacked("o.gz", packed, UnpackLimits::default()).1,
        ["container-limit"]
    );
    let limits = UnpackLimits {
        member: 3,
        total: 5,
        count: 5,
        ..UnpackLimits::default()
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
        let (found, codes) = unpacked("o.zip", zip(&[(name, b"a")]), UnpackLimits::default());
        assert!(found.is_empty(), "{name:?} {found:?}");
        assert_eq!(codes, ["container-path"], "{name:?}");
    }
}

#[test]
fn an_archive_without_its_end_gives_what_is_certain() {
    let text = b"400 0.1\n".repeat(100);
    let whole = zip(&[("a.txt", &text), ("b.txt", &text), ("c.txt", &text)]);
    let cut = whole[..whole.len() - 300].to_vec();
    let (found, codes) = unpacked("o.zip", cut, UnpackLimits::default());
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
    let (found, codes) = unpacked("o.zip", bytes, UnpackLimits::default());
    assert_eq!(paths(&found), ["o.zip!/a.txt", "o.zip!/c.txt"]);
    assert_eq!(codes, ["container-damaged"]);
    let mut packed = gz(b"some text");
    packed.truncate(packed.len() - 4);
    assert_eq!(
        unpacked("a.gz", packed, UnpackLimits::default()).1,
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
    let (found, codes) = unpacked("o.zip", bytes, UnpackLimits::default());
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
        let (found, _) = unpacked("o", bytes, UnpackLimits::default());
        prop_assert!(found.len() <= 3);
        for member in found {
            prop_assert!(member.bytes == a || member.bytes == b"400 0.2\n" || member.bytes.is_empty(), "{:?}", member);
        }
    }
}

#[test]
fn a_mail_is_its_words_and_its_attached_files() {
    let mail = "From: a.n@lab.example\r\nTo: b@lab.example\r\nSubject: =?utf-8?Q?K=C3=BCvette_3?=\r\n\
        Date: Tue, 5 Apr 2022 14:03:11 +0200\r\nMIME-Version: 1.0\r\n\
        Content-Type: multipart/mixed; boundary=\"xyz\"\r\n\r\n--xyz\r\nContent-Type: text/plain; charset=utf-8\r\n\
        Content-Transfer-Encoding: quoted-printable\r\n\r\n25=C2=B0C\r\n\r\n--xyz\r\n\
        Content-Type: text/csv; name=\"run5.csv\"\r\nContent-Transfer-Encoding: base64\r\n\
        Content-Disposition: attachment; filename=\"run5.csv\"\r\n\r\ndCxBCjAsMC4x\r\n--xyz--\r\n";
    assert!(is_container(mail.as_bytes()));
    let found: Vec<ContainerMember> = members("m.eml", mail.as_bytes().to_vec(), UnpackLimits::USUAL)
        .collect::<Result<_, _>>()
        .unwrap();
    let text = |at: usize| String::from_utf8(found[at].bytes.clone()).unwrap();
    assert_eq!(found.len(), 2);
    assert_eq!(found[0].path, "m.eml!/message.txt");
    assert!(
        text(0).contains("Subject: Küvette 3\n") && text(0).contains("25°C"),
        "{}",
        text(0)
    );
    assert_eq!(
        (found[1].path.as_str(), text(1).as_str()),
        ("m.eml!/run5.csv", "t,A\n0,0.1")
    );
    // A plain mail is read as it stands, and keys that look like those of a mail make none.
    assert!(!is_container(b"From: a@b.c\nDate: today\n\nnm,A\n400,0.1\n"));
    assert!(!is_container(b"Date: 2020-01-02\nSubject: leaf\n400,0.1\n"));
    // A name that climbs out of its folder is refused.
    let climbing = mail.replace("run5.csv", "../run5.csv");
    let told = members("m.eml", climbing.into_bytes(), UnpackLimits::USUAL)
        .filter(Result::is_err)
        .count();
    assert_eq!(told, 1);
}
