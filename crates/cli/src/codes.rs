//! What each diagnostic code means: one page a code.
//!
//! The pages stand in `codes.md`. Those of the JCAMP-DX standard come from the crate that finds the deviations, which
//! has a sentence of advice for each.

use std::borrow::Cow;

use curvary_jcamp_dx::{Code, Weight};

/// All pages but those of JCAMP-DX, one after another, each under a heading that is its code.
const PAGES: &str = include_str!("codes.md");
/// What codes of the JCAMP-DX reader begin with.
const JCAMP: &str = "jcamp-dx-";

/// The codes that have a page, by name.
pub(crate) fn all() -> Vec<Cow<'static, str>> {
    let own = PAGES
        .lines()
        .filter_map(|line| line.strip_prefix("## "))
        .map(Cow::Borrowed);
    let standard = Code::ALL.iter().map(|code| Cow::Owned(format!("{JCAMP}{code}")));
    let mut all: Vec<Cow<'static, str>> = own.chain(standard).collect();
    all.sort();
    all
}

/// The page of a code, without its heading.
pub(crate) fn page(code: &str) -> Option<Cow<'static, str>> {
    own_page(code).map(Cow::Borrowed).or_else(|| {
        let standard = Code::ALL
            .iter()
            .find(|standard| code.strip_prefix(JCAMP) == Some(standard.as_str()))?;
        Some(Cow::Owned(format!(
            "In a JCAMP-DX file. {}\n\n{}",
            standard.advice(),
            meaning(standard.weight())
        )))
    })
}

fn own_page(code: &str) -> Option<&'static str> {
    let heading = format!("## {code}\n");
    let start = match PAGES.strip_prefix(&heading) {
        Some(_) => heading.len(),
        None => PAGES.find(&format!("\n{heading}"))? + heading.len() + 1,
    };
    let rest = &PAGES[start..];
    Some(rest.find("\n## ").map_or(rest, |end| &rest[..end]).trim())
}

fn meaning(weight: Weight) -> &'static str {
    match weight {
        Weight::Note => "What was read is certain.",
        Weight::Doubt => "What was read rests on a choice between readings; a person should look at it.",
        Weight::Loss => "Something in the file was left out; what was read is right.",
    }
}

/// The codes that are spelled most like a text, nearest first.
pub(crate) fn nearest(text: &str) -> Vec<Cow<'static, str>> {
    let mut near: Vec<(usize, Cow<'static, str>)> = all()
        .into_iter()
        .map(|code| (distance(text, &code), code))
        .filter(|(distance, _)| *distance <= 3)
        .collect();
    near.sort_unstable();
    near.into_iter().map(|(_, code)| code).take(3).collect()
}

/// How many letters must be changed, added or left out to make one text the other (Levenshtein's distance).
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let change = corner + usize::from(ca != *cb);
            corner = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(corner + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_has_a_page_that_says_something() {
        let headings: Vec<&str> = PAGES
            .lines()
            .filter_map(|line| line.strip_prefix("## "))
            .collect();
        assert!(headings.is_sorted(), "the pages stand by name");
        for code in all() {
            assert!(page(&code).is_some_and(|page| page.len() > 40), "{code}");
        }
        assert_eq!(page("no such code"), None);
    }

    #[test]
    fn codes_of_the_standard_have_their_own_advice() {
        let page = page("jcamp-dx-npoints-differs").expect("it is one of the standard's");
        assert!(
            page.contains("NPOINTS") && page.contains("a person should look at it"),
            "{page}"
        );
    }

    #[test]
    fn misspelt_codes_find_their_nearest() {
        assert_eq!(
            nearest("file-unusabel").first().map(AsRef::as_ref),
            Some("file-unusable")
        );
        assert_eq!(distance("kitten", "sitting"), 3);
    }
}
