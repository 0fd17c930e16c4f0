//! The words of a column without repetition: most columns of words hold few names in many rows.

use hashbrown::HashMap;

use super::*;

/// Which of the different words of a column stands in each row. Blanks about a word are none of it.
#[derive(Clone, Debug, Default)]
pub(in crate::readers::text_table) struct Distinct {
    of_row: Vec<u32>,
    /// For each different word the first row in which it stands, and where.
    first: Vec<(u32, Span)>,
}

impl Distinct {
    fn of(text: &str, words: &[Span]) -> Self {
        let mut places: HashMap<&str, u32> = HashMap::new();
        let mut found = Self {
            of_row: Vec::with_capacity(words.len()),
            first: Vec::new(),
        };
        // What stood in the row before, with the blanks about it.
        let mut last: Option<(&[u8], u32)> = None;
        for (row, span) in words.iter().enumerate() {
            // Rows of one name mostly stand together.
            let whole = text.as_bytes().get(span.range()).unwrap_or_default();
            if let Some((_, place)) = last.filter(|(before, _)| *before == whole) {
                found.of_row.push(place);
                continue;
            }
            let word = text[span.range()].trim();
            let place = *places.entry(word).or_insert_with(|| {
                let start = span.start as usize + text[span.range()].find(word).unwrap_or(0);
                found.first.push((
                    u32::try_from(row).unwrap_or(u32::MAX),
                    Span::new(start, start + word.len()),
                ));
                u32::try_from(found.first.len() - 1).unwrap_or(u32::MAX)
            });
            found.of_row.push(place);
            last = Some((whole, place));
        }
        found
    }

    /// For each row the place of its word among the different ones.
    pub(in crate::readers::text_table) fn of_row(&self) -> &[u32] {
        &self.of_row
    }

    /// The different words in the order in which they come first, each with its first row.
    pub(in crate::readers::text_table) fn words<'t>(
        &self,
        text: &'t str,
    ) -> impl ExactSizeIterator<Item = (usize, &'t str)> + use<'_, 't> {
        self.first
            .iter()
            .map(move |&(row, span)| (row as usize, &text[span.range()]))
    }
}

impl Grid {
    /// The different words of a column of words, found when they are first asked for. None are looked for before all
    /// rows have been read.
    pub(in crate::readers::text_table) fn distinct(&self, text: &str, column: usize) -> &Distinct {
        static NONE: Distinct = Distinct {
            of_row: Vec::new(),
            first: Vec::new(),
        };
        let place = self.place[column];
        match (self.kinds[column], self.distinct.get(place)) {
            (ColumnKind::Words, Some(distinct)) => {
                distinct.get_or_init(|| Distinct::of(text, &self.words[place]))
            }
            _ => &NONE,
        }
    }
}
