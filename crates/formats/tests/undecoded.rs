//! Bytes are decoded when a reader asks for their text, and not before.

use curvary_formats::manifest::PluginManifest;
use curvary_formats::{Reader, ReaderInfo, Readers, Reading, Recognition, Source, SourcePreview, family};
use curvary_record::{Code, Diagnostic};

/// Two million bytes of numbers in eight bytes each.
fn numbers() -> Vec<u8> {
    (0..250_000_u32)
        .flat_map(|n| f64::from(n).sin().to_le_bytes())
        .collect()
}

/// A reader that wants bytes.
struct Sampler {
    card: ReaderInfo,
    start: &'static [u8],
}

impl Reader for Sampler {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        if glimpse.start.starts_with(self.start) {
            Recognition::Yes("it begins as those do".to_owned())
        } else {
            Recognition::No("it begins otherwise".to_owned())
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let length = source.bytes().len().to_string();
        Reading::refused(Diagnostic::note(Code::new("seen"), length))
    }
}

#[test]
fn a_reader_that_wants_bytes_costs_no_decoding() {
    // The second looks like a text for a long while, in no encoding that is known.
    let headed = [
        b"NUMBERS, eight bytes each\n".repeat(3000),
        vec![0xFF; 300],
        numbers(),
    ]
    .concat();
    for (bytes, start) in [(numbers(), &[0_u8; 8][..]), (headed, b"NUMBERS")] {
        let source = Source::new("a.num", bytes);
        let mut readers = Readers::built_in();
        readers.add(Box::new(Sampler {
            card: ReaderInfo {
                id: "plugin/sampler".to_owned(),
                version: "1".to_owned(),
                title: "numbers in eight bytes".to_owned(),
            },
            start,
        }));
        for _ in 0..2 {
            let (card, reading) = readers.read(&source, None);
            assert_eq!(card.map(|card| card.id.as_str()), Some("plugin/sampler"));
            let said = &reading.remarks;
            assert_eq!(said.len(), 1, "nothing is said of an encoding: {said:?}");
        }
        assert!(!source.is_decoded());
        assert!(!source.text().is_empty());
        assert!(source.is_decoded());
    }
}

#[test]
fn a_plugin_for_bytes_knows_its_files_without_decoding() {
    let text = "contract = 1\nname = \"pegs\"\ntitle = \"pegs\"\nversion = \"1\"\ninput = \"bytes\"\n\
        [library]\nlinux = \"libpegs.so\"\n[recognise]\nbegins = \"02504547\"\ncontains = [\"PEGS\"]\n\
        [[example]]\ntext = \"PEGS\"\npoints = 1\nfirst = [1.0, 2.0]\nlast = [1.0, 2.0]\n";
    let manifest = PluginManifest::parse("plugin.toml", text).expect("it is sound");
    let source = Source::new("a.peg", [b"\x02PEGS\x1E".to_vec(), numbers()].concat());
    let says = manifest.recognise(&source.glimpse());
    assert!(matches!(says, Recognition::Yes(_)), "{says:?}");
    assert!(!source.is_decoded());
}

#[test]
fn bytes_that_are_plainly_no_text_are_refused_without_decoding() {
    let source = Source::new("a.num", numbers());
    for (asked, code) in [
        (None, "not-recognised"),
        (Some("built-in/text-table"), "not-a-text-table"),
    ] {
        let (_, reading) = Readers::built_in().read(&source, asked);
        let codes: Vec<&str> = reading
            .remarks
            .iter()
            .map(|remark| remark.code.as_str())
            .collect();
        assert_eq!(codes, [code]);
    }
    assert_eq!(source.encoding(), "binary");
    assert!(family::of(&source).is_none());
    assert!(!source.is_decoded());
}

/// Recognition sees of a long file what reading sees.
#[test]
fn the_beginning_of_a_long_file_is_decoded_as_the_whole_is() {
    let rows = "Küvette;37 °C;Prüfer\n400,5;0,123;ü\n".repeat(20_000);
    let utf16 = |order: fn(u16) -> [u8; 2]| rows.encode_utf16().flat_map(order).collect::<Vec<u8>>();
    let japanese = "試料,吸光度\n405,0.1\n".repeat(9000);
    for bytes in [
        rows.chars().map(|c| c as u8).collect(),
        utf16(u16::to_le_bytes),
        utf16(u16::to_be_bytes),
        [b"\xEF\xBB\xBF".to_vec(), rows.clone().into_bytes()].concat(),
        encoding_rs::SHIFT_JIS.encode(&japanese).0.into_owned(),
    ] {
        let source = Source::new("a.csv", bytes);
        let head = source.glimpse().head();
        assert!(!source.is_decoded() && head.len() > 8000);
        assert!(source.text().starts_with(head), "{}", &head[..60]);
    }
}
