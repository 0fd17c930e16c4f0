//! Words with `*` and `?` in them.

/// The shape of a word: letters as they are filed, `*` for any number of them, `?` for one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Pattern(String);

impl Pattern {
    /// Whether a text has a `*` or `?` beside letters or digits.
    pub(crate) fn is_in(text: &str) -> bool {
        text.contains(['*', '?']) && text.chars().any(char::is_alphanumeric)
    }

    /// The shapes and words of a text, folded as words are filed.
    pub(crate) fn parts(text: &str) -> Vec<Result<Self, String>> {
        let cut = |sign: char| !sign.is_alphanumeric() && !matches!(sign, '*' | '?');
        text.split(cut)
            .filter(|part| part.chars().any(char::is_alphanumeric))
            .map(|part| {
                let folded: String = pieces(part)
                    .map(|piece| match piece {
                        "*" | "?" => piece.to_owned(),
                        letters => crate::words::words(letters)
                            .into_iter()
                            .map(|word| word.0)
                            .collect(),
                    })
                    .collect();
                if folded.contains(['*', '?']) {
                    Ok(Self(folded))
                } else {
                    Err(folded)
                }
            })
            .collect()
    }

    /// What every such word begins with.
    pub(crate) fn beginning(&self) -> &str {
        let end = self.0.find(['*', '?']).unwrap_or(self.0.len());
        &self.0[..end]
    }

    /// Whether a word has this shape.
    pub(crate) fn fits(&self, word: &str) -> bool {
        let (shape, word): (Vec<char>, Vec<char>) = (self.0.chars().collect(), word.chars().collect());
        let (mut at, mut from) = (0, 0);
        // Where the last `*` stands, and what it has swallowed up to.
        let mut star: Option<(usize, usize)> = None;
        while from < word.len() {
            match shape.get(at) {
                Some('*') => {
                    star = Some((at, from));
                    at += 1;
                }
                Some(sign) if *sign == '?' || *sign == word[from] => {
                    at += 1;
                    from += 1;
                }
                _ => match &mut star {
                    Some((stood, swallowed)) => {
                        *swallowed += 1;
                        from = *swallowed;
                        at = *stood + 1;
                    }
                    None => return false,
                },
            }
        }
        shape[at..].iter().all(|sign| *sign == '*')
    }
}

/// A word cut before and after each `*` and `?`.
fn pieces(part: &str) -> impl Iterator<Item = &str> {
    let mut rest = part;
    std::iter::from_fn(move || {
        let end = match rest.find(['*', '?'])? {
            0 => 1,
            end => end,
        };
        let (piece, after) = rest.split_at(end);
        rest = after;
        Some(piece)
    })
    .chain(last_letters(part))
}

fn last_letters(part: &str) -> Option<&str> {
    let last = part.rsplit(['*', '?']).next()?;
    (!last.is_empty()).then_some(last)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_fit_words() {
        let of = |text: &str| Pattern::parts(text).remove(0).expect("a shape");
        for (shape, word, fits) in [
            ("betan*", "betanin", true),
            ("betan*", "betacyanin", false),
            ("*violet*", "kristallviolett", true),
            ("?etanin", "betanin", true),
            ("?etanin", "etanin", false),
            ("Größ*", "grosse", true),
            ("*a*b", "xaxbxb", true),
            ("*a*b", "xaxbx", false),
        ] {
            assert_eq!(of(shape).fits(word), fits, "{shape} {word}");
        }
        assert_eq!(of("betan*").beginning(), "betan");
        assert_eq!(Pattern::parts("citr* phosphate")[1], Err("phosphate".to_owned()));
    }
}
