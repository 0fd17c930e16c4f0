//! What each diagnostic code means: one page a code, in `codes.md`.

/// All pages, one after another, each under a heading that is its code.
const PAGES: &str = include_str!("codes.md");

/// The codes that have a page, in the order of the file.
pub(crate) fn all() -> impl Iterator<Item = &'static str> {
    PAGES.lines().filter_map(|line| line.strip_prefix("## "))
}

/// The page of a code, without its heading.
pub(crate) fn page(code: &str) -> Option<&'static str> {
    let heading = format!("## {code}\n");
    let start = match PAGES.strip_prefix(&heading) {
        Some(_) => heading.len(),
        None => PAGES.find(&format!("\n{heading}"))? + heading.len() + 1,
    };
    let rest = &PAGES[start..];
    Some(rest.find("\n## ").map_or(rest, |end| &rest[..end]).trim())
}

/// The codes that are spelled most like a text, nearest first.
pub(crate) fn nearest(text: &str) -> Vec<&'static str> {
    let mut near: Vec<(usize, &str)> = all()
        .map(|code| (distance(text, code), code))
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
        let codes: Vec<&str> = all().collect();
        assert!(codes.is_sorted(), "the pages stand by name");
        for code in codes {
            assert!(page(code).is_some_and(|page| page.len() > 40), "{code}");
        }
        assert_eq!(page("no such code"), None);
    }

    #[test]
    fn misspelt_codes_find_their_nearest() {
        assert_eq!(nearest("file-unusabel").first(), Some(&"file-unusable"));
        assert_eq!(distance("kitten", "sitting"), 3);
    }
}
