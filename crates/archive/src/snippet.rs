//! Text around the words that were found.

use curvary_record::Value;

use crate::{Summary, words};

/// Some text around the first word that was looked for, with such words between brackets.
pub(crate) fn snippet(summary: &Summary, sought: &[&str]) -> Option<String> {
    const AROUND: usize = 48;
    if sought.is_empty() {
        return None;
    }
    let fields = summary.fields.iter().filter_map(|(key, fact)| match &fact.value {
        Value::Text(text) => Some((key.as_str(), text.as_str())),
        _ => None,
    });
    let others = summary.paths.iter().map(|path| ("path", path.as_str()));
    let results = summary.results.iter().map(|model| ("result", model.as_str()));
    for (key, text) in fields.chain(others).chain(results) {
        let found: Vec<_> = words::words(text)
            .into_iter()
            .filter(|word| sought.contains(&word.0.as_str()))
            .collect();
        let Some(first) = found.first() else {
            continue;
        };
        let from = text.floor_char_boundary(first.1.start.saturating_sub(AROUND));
        let to = text.ceil_char_boundary((first.1.end + AROUND).min(text.len()));
        let mut cut = format!("{key}: {}", if from > 0 { "…" } else { "" });
        let mut at = from;
        for (_, place) in found.iter().filter(|word| word.1.end <= to) {
            cut.push_str(&text[at..place.start]);
            cut.push('[');
            cut.push_str(&text[place.clone()]);
            cut.push(']');
            at = place.end;
        }
        cut.push_str(&text[at..to]);
        if to < text.len() {
            cut.push('…');
        }
        return Some(cut);
    }
    None
}
