//! How texts become words: split where no letter or digit stands, lower case, accents folded away.
//!
//! The same cutting serves the index, the query and the snippets.

use tantivy::tokenizer::{AsciiFoldingFilter, LowerCaser, TextAnalyzer, Token, TokenStream, Tokenizer};

/// Longer words are cut here, on both sides alike.
const LONGEST: usize = 200;

/// Cuts at everything that is no letter or digit. Combining accents belong to their letter and are left out, so that
/// names from file systems that take letters apart (Unicode form D) are found too.
#[derive(Clone, Default)]
pub(crate) struct Cutter {
    token: Token,
}

pub(crate) struct Cuts<'a> {
    text: &'a str,
    at: usize,
    token: &'a mut Token,
}

fn combining(sign: char) -> bool {
    ('\u{300}'..='\u{36f}').contains(&sign)
}

impl Tokenizer for Cutter {
    type TokenStream<'a> = Cuts<'a>;

    fn token_stream<'a>(&'a mut self, text: &'a str) -> Cuts<'a> {
        self.token.reset();
        Cuts {
            text,
            at: 0,
            token: &mut self.token,
        }
    }
}

impl TokenStream for Cuts<'_> {
    fn advance(&mut self) -> bool {
        self.token.text.clear();
        let mut start = None;
        for (at, sign) in self.text[self.at..].char_indices() {
            let at = self.at + at;
            if sign.is_alphanumeric() {
                start.get_or_insert(at);
                if self.token.text.len() < LONGEST {
                    self.token.text.push(sign);
                }
            } else if let Some(start) = start.filter(|_| !combining(sign)) {
                return self.end(start, at);
            }
        }
        match start {
            Some(start) => self.end(start, self.text.len()),
            None => {
                self.at = self.text.len();
                false
            }
        }
    }

    fn token(&self) -> &Token {
        self.token
    }

    fn token_mut(&mut self) -> &mut Token {
        self.token
    }
}

impl Cuts<'_> {
    fn end(&mut self, start: usize, end: usize) -> bool {
        self.token.offset_from = start;
        self.token.offset_to = end;
        self.token.position = self.token.position.wrapping_add(1);
        self.at = end;
        true
    }
}

/// The whole way from text to words.
pub(crate) fn analyzer() -> TextAnalyzer {
    TextAnalyzer::builder(Cutter::default())
        .filter(LowerCaser)
        .filter(AsciiFoldingFilter)
        .build()
}

/// The words of a text, each with the bytes it stands on.
pub(crate) fn words(text: &str) -> Vec<(String, std::ops::Range<usize>)> {
    thread_local! {
        static ANALYZER: std::cell::RefCell<TextAnalyzer> = std::cell::RefCell::new(analyzer());
    }
    ANALYZER.with_borrow_mut(|analyzer| {
        let mut all = Vec::new();
        analyzer
            .token_stream(text)
            .process(&mut |token| all.push((token.text.clone(), token.offset_from..token.offset_to)));
        all
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn accents_case_and_marks_do_not_matter() {
        let of = |text| words(text).into_iter().map(|word| word.0).collect::<Vec<_>>();
        assert_eq!(of("Résumé_2, Größe (37°C)"), ["resume", "2", "grosse", "37", "c"]);
        assert_eq!(of("Re\u{301}se\u{301}da"), ["reseda"]);
        assert_eq!(words("a  bc")[1].1, 3..5);
        assert!(of("-- \u{301}").is_empty());
    }
}
