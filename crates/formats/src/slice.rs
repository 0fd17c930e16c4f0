//! Where a part of a text stands in it, for parts that were cut out of it by splitting and trimming.

use std::ops::Range;

/// The byte of `whole` at which `part` begins, which is a slice of it.
pub(crate) fn offset_in(whole: &str, part: &str) -> usize {
    let offset = part.as_ptr().addr().wrapping_sub(whole.as_ptr().addr());
    debug_assert!(
        offset + part.len() <= whole.len(),
        "`{part}` is no slice of `{whole}`"
    );
    offset
}

/// The bytes of `whole` that `part` is, which is a slice of it.
pub(crate) fn range_in(whole: &str, part: &str) -> Range<usize> {
    let start = offset_in(whole, part);
    start..start + part.len()
}

/// The lines of a text with their ends, as `split_inclusive('\n')` gives them; their ends are sought many bytes at a time.
pub(crate) fn lines_with_ends(text: &str) -> impl Iterator<Item = &str> {
    let ends = memchr::memchr_iter(b'\n', text.as_bytes()).map(|end| end + 1);
    let last = (!text.is_empty() && !text.ends_with('\n')).then_some(text.len());
    ends.chain(last).scan(0, move |start, end| {
        let line = &text[*start..end];
        *start = end;
        Some(line)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_keep_their_ends() {
        for text in ["", "\n", "a", "a\n", "a\nb", "\n\na\r\nµ\n"] {
            let plainly: Vec<&str> = text.split_inclusive('\n').collect();
            assert_eq!(lines_with_ends(text).collect::<Vec<_>>(), plainly, "{text:?}");
        }
    }

    #[test]
    fn a_part_is_found_where_it_was_cut_out_though_it_stands_there_twice() {
        let whole = "A420 = 0.1; A420 = 0.2";
        let part = whole.split(';').nth(1).unwrap_or_default().trim();
        assert_eq!(range_in(whole, part), 12..22);
        assert_eq!(offset_in(whole, &whole[whole.len()..]), whole.len());
        assert_eq!(range_in("", ""), 0..0);
    }
}
