//! How much the streams of a report unfold to, measured before anything is unfolded.
//!
//! The library unfolds a stream into memory as a whole. A stream of a few kilobytes can unfold to gigabytes, so each is
//! measured first, with a limit over all of them. Filters of pictures are not measured: pictures are never decoded.

use std::io::Read as _;

use flate2::read::{DeflateDecoder, ZlibDecoder};

/// The bytes that all streams of a report may unfold to together.
pub(super) const MOST_UNFOLDED: u64 = 512 << 20;
/// The objects that a report may have.
pub(super) const MOST_OBJECTS: usize = 400_000;
/// How far in front of a stream its dictionary is looked for.
const DICTIONARY: usize = 4096;

/// Which limit a report breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Excess {
    Objects,
    Unfolded,
}

/// Whether the report keeps the limits.
pub(super) fn check(bytes: &[u8]) -> Result<(), Excess> {
    let objects = memchr::memmem::find_iter(bytes, b" obj").take(MOST_OBJECTS + 1);
    if objects.count() > MOST_OBJECTS {
        return Err(Excess::Objects);
    }
    let mut left = MOST_UNFOLDED;
    for at in memchr::memmem::find_iter(bytes, b"stream") {
        let front = bytes.get(at.saturating_sub(DICTIONARY)..at).unwrap_or_default();
        if front.ends_with(b"end") {
            continue;
        }
        if is_directory_of_nothing(front) {
            return Err(Excess::Objects);
        }
        let rest = bytes.get(at + b"stream".len()..).unwrap_or_default();
        let rest = rest
            .strip_prefix(b"\r\n")
            .or_else(|| rest.strip_prefix(b"\n"))
            .or_else(|| rest.strip_prefix(b"\r"))
            .unwrap_or(rest);
        let size = unfolded(&filters(front), rest, left).ok_or(Excess::Unfolded)?;
        left = left.checked_sub(size).ok_or(Excess::Unfolded)?;
    }
    Ok(())
}

/// Whether a stream says that it lists objects in no bytes each, and so any number of them.
fn is_directory_of_nothing(front: &[u8]) -> bool {
    let front = memchr::memmem::rfind(front, b" obj").map_or(front, |at| &front[at..]);
    memchr::memmem::find_iter(front, b"/W").any(|at| {
        let digits = front[at + 2..]
            .iter()
            .skip_while(|byte| byte.is_ascii_whitespace() || **byte == b'[')
            .take_while(|byte| byte.is_ascii_digit() || byte.is_ascii_whitespace());
        let mut widths = digits.filter(|byte| byte.is_ascii_digit()).peekable();
        widths.peek().is_some() && widths.all(|digit| *digit == b'0')
    })
}

/// The names behind `/Filter` in the dictionary that ends here.
fn filters(front: &[u8]) -> Vec<&[u8]> {
    // Of several dictionaries the last one is the stream's.
    let front = memchr::memmem::rfind(front, b" obj").map_or(front, |at| &front[at..]);
    let Some(at) = memchr::memmem::rfind(front, b"/Filter") else {
        return Vec::new();
    };
    let mut rest = front[at + b"/Filter".len()..].trim_ascii_start();
    let listed = rest.first() == Some(&b'[');
    if listed {
        rest = &rest[1..];
    }
    let mut names = Vec::new();
    loop {
        rest = rest.trim_ascii_start();
        let Some(name) = rest.strip_prefix(b"/") else {
            break;
        };
        let length = name
            .iter()
            .take_while(|byte| byte.is_ascii_alphanumeric())
            .count();
        names.push(&name[..length]);
        rest = &name[length..];
        if !listed {
            break;
        }
    }
    names
}

/// The bytes that a stream unfolds to, counting those between its filters; `None` beyond `most`.
fn unfolded(filters: &[&[u8]], data: &[u8], most: u64) -> Option<u64> {
    let Some((first, others)) = filters.split_first() else {
        return Some(0);
    };
    // What another filter unfolds further must be at hand; else counting is enough.
    match *first {
        b"FlateDecode" | b"Fl" => {
            if others.is_empty() {
                return inflated(data, most);
            }
            let mut between = Vec::new();
            // A damaged stream unfolds as far as it goes.
            let _ = ZlibDecoder::new(data).take(most + 1).read_to_end(&mut between);
            let size = u64::try_from(between.len()).ok()?;
            Some(size + unfolded(others, &between, most.checked_sub(size)?)?)
        }
        b"ASCII85Decode" | b"A85" => unfolded(others, &of_base_85(data), most),
        b"ASCIIHexDecode" | b"AHx" => unfolded(others, &of_hexadecimal(data), most),
        b"LZWDecode" | b"LZW" => {
            let end = memchr::memmem::find(data, b"endstream").unwrap_or(data.len());
            let size = of_codes(&data[..end]);
            // What is packed twice is nobody's report.
            (others.is_empty() && size <= most).then_some(size)
        }
        b"RunLengthDecode" | b"RL" => {
            let end = memchr::memmem::find(data, b"endstream").unwrap_or(data.len());
            let size = u64::try_from(end).ok()?.saturating_mul(64);
            (others.is_empty() && size <= most).then_some(size)
        }
        _ => Some(0),
    }
}

/// The bytes that a deflated stream unfolds to, with or without the header of zlib.
fn inflated(data: &[u8], most: u64) -> Option<u64> {
    let count = |reader: &mut dyn std::io::Read| {
        let mut block = vec![0; 1 << 16];
        let mut size = 0_u64;
        while let Ok(read @ 1..) = reader.read(&mut block) {
            size += u64::try_from(read).unwrap_or(u64::MAX);
            if size > most {
                return None;
            }
        }
        Some(size)
    };
    let size = count(&mut ZlibDecoder::new(data))?;
    if size > 0 {
        return Some(size);
    }
    let bare = count(&mut DeflateDecoder::new(data))?;
    let behind = count(&mut DeflateDecoder::new(data.get(2..).unwrap_or_default()))?;
    Some(bare.max(behind))
}

/// Bytes of base 85 as reports write them (ISO 32000-1, 7.4.3), up to `~>`.
fn of_base_85(data: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let (mut group, mut count) = (0_u32, 0_usize);
    for &sign in data {
        match sign {
            b'z' if count == 0 => bytes.extend([0; 4]),
            b'!'..=b'u' => {
                group = group.wrapping_mul(85).wrapping_add(u32::from(sign - b'!'));
                count += 1;
                if count == 5 {
                    bytes.extend(group.to_be_bytes());
                    (group, count) = (0, 0);
                }
            }
            b'~' => break,
            _ => {}
        }
    }
    if count > 1 {
        for _ in count..5 {
            group = group.wrapping_mul(85).wrapping_add(84);
        }
        bytes.extend(group.to_be_bytes().iter().take(count - 1));
    }
    bytes
}

/// Bytes of hexadecimal digits, up to `>`.
fn of_hexadecimal(data: &[u8]) -> Vec<u8> {
    let digits = data
        .iter()
        .take_while(|&&sign| sign != b'>')
        .filter_map(|&sign| char::from(sign).to_digit(16));
    let digits: Vec<u8> = digits.filter_map(|digit| u8::try_from(digit).ok()).collect();
    digits
        .chunks(2)
        .map(|pair| pair[0] << 4 | pair.get(1).copied().unwrap_or(0))
        .collect()
}

/// The bytes that codes of LZW unfold to (ISO 32000-1, 7.4.4). Only the lengths of the entries are kept.
fn of_codes(data: &[u8]) -> u64 {
    const CLEAR: usize = 256;
    const END: usize = 257;
    let mut lengths: Vec<u64> = vec![1; 258];
    let (mut buffer, mut bits, mut width) = (0_u32, 0_u32, 9_u32);
    let (mut size, mut before) = (0_u64, None::<u64>);
    for &byte in data {
        buffer = buffer << 8 | u32::from(byte);
        bits += 8;
        if bits < width {
            continue;
        }
        bits -= width;
        let code = (buffer >> bits) as usize & ((1 << width) - 1);
        buffer &= (1 << bits) - 1;
        match code {
            CLEAR => {
                lengths.truncate(258);
                (width, before) = (9, None);
                continue;
            }
            END => break,
            _ => {}
        }
        let length = lengths
            .get(code)
            .copied()
            .unwrap_or_else(|| before.map_or(1, |before| before + 1));
        size = size.saturating_add(length);
        if let Some(before) = before
            && lengths.len() < 4096
        {
            lengths.push(before + 1);
        }
        before = Some(length);
        width = match lengths.len() + 1 {
            ..=511 => 9,
            512..=1023 => 10,
            1024..=2047 => 11,
            _ => 12,
        };
    }
    size
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use super::*;

    fn deflated(size: usize) -> Vec<u8> {
        let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
        writer.write_all(&vec![0; size]).unwrap();
        writer.finish().unwrap()
    }

    fn stream(dictionary: &str, data: &[u8]) -> Vec<u8> {
        let head = format!("4 0 obj << {dictionary} >>\nstream\n");
        [head.as_bytes(), data, b"\nendstream endobj"].concat()
    }

    #[test]
    fn streams_are_measured_through_their_filters() {
        assert_eq!(check(&stream("/Filter /FlateDecode", &deflated(1 << 20))), Ok(()));
        let packed = deflated(100_000);
        assert_eq!(unfolded(&[b"FlateDecode"], &packed, 1 << 20), Some(100_000));
        assert_eq!(unfolded(&[b"FlateDecode"], &packed, 99_999), None);
        let digits: String = packed.iter().map(|byte| format!("{byte:02X}")).collect();
        let listed = [&b"ASCIIHexDecode"[..], b"FlateDecode"];
        assert_eq!(unfolded(&listed, digits.as_bytes(), 1 << 20), Some(100_000));
        assert_eq!(
            filters(b"3 0 obj << /Filter [ /ASCII85Decode /FlateDecode ] /Length 5 >>"),
            [&b"ASCII85Decode"[..], b"FlateDecode"]
        );
    }

    #[test]
    fn what_unfolds_to_gigabytes_is_told_quickly() {
        let many = stream("/Filter/FlateDecode", &deflated(64 << 20)).repeat(9);
        assert_eq!(check(&many), Err(Excess::Unfolded));
        let twice = {
            let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
            writer.write_all(&deflated(600 << 20)).unwrap();
            writer.finish().unwrap()
        };
        assert!(twice.len() < 10_000);
        assert_eq!(
            check(&stream("/Filter [/FlateDecode /FlateDecode]", &twice)),
            Err(Excess::Unfolded)
        );
        assert_eq!(
            check(&b"1 0 obj\n".repeat(MOST_OBJECTS + 1)),
            Err(Excess::Objects)
        );
    }

    /// The example of ISO 32000-1, 7.4.4.2: these codes stand for `2D 2D 2D 2D 2D 41 2D 2D 2D 42`, from memory.
    #[test]
    fn codes_are_counted() {
        let codes = [256_u32, 45, 258, 258, 65, 259, 66, 257];
        let bits: String = codes.iter().map(|code| format!("{code:09b}")).collect();
        let bytes: Vec<u8> = bits
            .as_bytes()
            .chunks(8)
            .map(|byte| byte.iter().fold(0, |whole, bit| whole << 1 | (bit - b'0')))
            .collect();
        assert_eq!(of_codes(&bytes), 10);
    }

    #[test]
    fn base_85() {
        // `Man ` and `sure.` of the usual example (RFC 1924's ancestor, btoa), from memory.
        assert_eq!(of_base_85(b"9jqo^~>"), b"Man ");
        assert_eq!(of_base_85(b"F*2M7~>"), b"sure");
    }
}
