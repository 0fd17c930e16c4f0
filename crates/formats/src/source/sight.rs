//! What the first bytes of a file show without decoding any.

/// What the files begin with that are documents and no text: zip archives, compound files, PDF.
const DOCUMENTS: [&[u8]; 3] = [b"PK\x03\x04", &[0xD0, 0xCF, 0x11, 0xE0], b"%PDF-"];

/// Whether the bytes are a document of a known kind and no text.
pub(super) fn is_document(bytes: &[u8]) -> bool {
    DOCUMENTS.iter().any(|start| bytes.starts_with(start))
}

/// Whether bytes may be a text in some encoding: by the first two thousand no more than one in twenty is a control
/// character that texts do not have. Zeros tell nothing, since old systems pad texts with them; and what stands further
/// on tells nothing either, since a text may have remnants of other files behind its end.
pub(super) fn may_be_text(bytes: &[u8]) -> bool {
    if is_document(bytes) {
        return false;
    }
    let head = bytes.get(..2048).unwrap_or(bytes);
    // In UTF-16 any byte may stand for a part of a letter; Japanese in seven bits and the codes of terminals have escapes.
    let marked = head.starts_with(b"\xFF\xFE") || head.starts_with(b"\xFE\xFF");
    let escapes = || {
        head.windows(2)
            .any(|two| matches!(two, [0x1B, b'$' | b'(' | b'[']))
    };
    let odd = head.iter().filter(|&&byte| is_control(byte)).count();
    let odd = if odd > 0 {
        odd.saturating_sub(frames(head))
    } else {
        0
    };
    odd * 20 <= head.len() || marked || escapes() || bare_utf16(bytes).is_some()
}

/// Whether a byte is a control character that texts do not have.
pub(crate) fn is_control(byte: u8) -> bool {
    // The control characters that text has are the bits of this mask.
    const IN_TEXT: u32 = 1 | 1 << b'\t' | 1 << b'\n' | 1 << 0x0C | 1 << b'\r' | 1 << 0x1A;
    byte < 0x20 && IN_TEXT >> byte & 1 == 0 || byte == 0x7F
}

/// How many signs frame the lines of a serial line's capture: STX in front of one, ETX behind it (ISO/IEC 646).
pub(crate) fn frames(bytes: &[u8]) -> usize {
    const STX: u8 = 0x02;
    const ETX: u8 = 0x03;
    let ends = |byte: Option<&u8>| byte.is_none_or(|byte| matches!(byte, b'\n' | b'\r'));
    memchr::memchr2_iter(STX, ETX, bytes)
        .filter(|&at| match bytes[at] {
            STX => ends(at.checked_sub(1).and_then(|before| bytes.get(before))),
            _ => ends(bytes.get(at + 1)),
        })
        .count()
}

/// UTF-16 without a mark shows itself by zeros in every other byte of Latin text.
pub(super) fn bare_utf16(bytes: &[u8]) -> Option<&'static encoding_rs::Encoding> {
    let head = &bytes[..bytes.len().min(4096) & !1];
    if head.len() < 8 {
        return None;
    }
    let pairs = head.len() / 2;
    let zeros = |offset: usize| {
        head.iter()
            .skip(offset)
            .step_by(2)
            .filter(|&&byte| byte == 0)
            .count()
    };
    let (even, odd) = (zeros(0), zeros(1));
    if odd * 10 >= pairs * 7 && even * 10 < pairs {
        return Some(encoding_rs::UTF_16LE);
    }
    (even * 10 >= pairs * 7 && odd * 10 < pairs).then_some(encoding_rs::UTF_16BE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_of_every_encoding_may_be_texts() {
        let words = "Probe 1; Küvette 1 cm; 37 °C\n400;0,123\n";
        let cyrillic = "Длина волны, нм\n400\t0,123\n";
        let utf16 = |text: &str| {
            text.encode_utf16()
                .flat_map(u16::to_le_bytes)
                .collect::<Vec<u8>>()
        };
        let marked = |text: &str| [b"\xFF\xFE".to_vec(), utf16(text)].concat();
        for bytes in [
            words.as_bytes().to_vec(),
            words.chars().map(|c| c as u8).collect(),
            utf16(words),
            marked(words),
            marked(cyrillic),
            encoding_rs::WINDOWS_1251.encode(cyrillic).0.into_owned(),
            encoding_rs::ISO_2022_JP
                .encode("波長(nm),吸光度\n405,0.1\n")
                .0
                .into_owned(),
            [b"400 0.1\n".to_vec(), vec![0; 3000]].concat(),
            b"400 0.1\n\x1A".to_vec(),
            b"\x1B[1m4\x1B[0m \x1B[1m5\x1B[0m\n".to_vec(),
            Vec::new(),
        ] {
            assert!(may_be_text(&bytes), "{:?}", String::from_utf8_lossy(&bytes));
        }
    }

    #[test]
    fn bytes_that_are_no_text_show_it() {
        // All bytes one after another, and numbers in eight bytes each.
        let all: Vec<u8> = (0..=255).cycle().take(5000).collect();
        let numbers: Vec<u8> = (1..400).flat_map(|n| f64::from(n).sqrt().to_le_bytes()).collect();
        let document = b"%PDF-1.7\n1 0 obj".to_vec();
        for bytes in [all, numbers, document] {
            assert!(!may_be_text(&bytes), "{:?}", &bytes[..16]);
        }
    }
}
