//! Whole numbers of which most are small: seven bits a byte, the low ones first, the last byte below 128.

/// Writes a number behind what is there.
pub(super) fn put(bytes: &mut Vec<u8>, mut number: u64) {
    while number >= 128 {
        bytes.push((number & 127) as u8 | 128);
        number >>= 7;
    }
    bytes.push(number as u8);
}

/// Takes a number from bytes; none where they end before it does, or it is larger than any.
pub(super) fn take(mut byte: impl FnMut() -> Option<u8>) -> Option<u64> {
    let (mut number, mut shift) = (0_u64, 0_u32);
    loop {
        let byte = byte()?;
        let bits = u64::from(byte & 127);
        let moved = bits.checked_shl(shift).filter(|moved| moved >> shift == bits)?;
        number |= moved;
        if byte < 128 {
            return Some(number);
        }
        shift += 7;
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn numbers_come_back() {
        let all = [0, 1, 127, 128, 16_383, 16_384, u64::from(u32::MAX), u64::MAX];
        let mut bytes = Vec::new();
        for number in all {
            super::put(&mut bytes, number);
        }
        let mut from = bytes.iter().copied();
        for number in all {
            assert_eq!(super::take(|| from.next()), Some(number));
        }
        assert_eq!(super::take(|| from.next()), None);
        assert_eq!(super::take(|| Some(255)), None);
        // Of the tenth byte one bit has room.
        for (last, number) in [(1, Some(u64::MAX)), (2, None), (127, None)] {
            let mut ten = [255; 9].into_iter().chain([last]);
            assert_eq!(super::take(|| ten.next()), number, "{last}");
        }
    }
}
