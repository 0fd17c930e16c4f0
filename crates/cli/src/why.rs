//! Why a query finds nothing, in words.

use curvary_archive::{Archive, Near, NoMatchReason};
use curvary_record::Value;

use crate::commands::find::fact;
use crate::last;
use crate::screen::plural;

/// One sentence for each term of a query that is to blame; none where nothing can be said.
pub(crate) fn nothing(archive: &Archive, query: &str) -> Vec<String> {
    let Ok(query) = last::put_in(archive, query) else {
        return Vec::new();
    };
    // What cannot be found out is no reason to stop.
    let lacks = archive.why_nothing(&query).unwrap_or_default();
    lacks.iter().map(sentence).collect()
}

fn sentence(lack: &NoMatchReason) -> String {
    let term = if lack.term.starts_with("run:") {
        "these runs"
    } else {
        lack.term.as_str()
    };
    let mut text = if lack.alone == 0 {
        format!("0 runs with `{term}`")
    } else {
        format!(
            "{} with `{term}`, {} with the rest of the query, none with both",
            plural(lack.alone as u64, "run"),
            lack.without
        )
    };
    let exact = lack.near.iter().any(is_word);
    if let Some(within) = lack.within_five_degrees.filter(|within| *within > 0) {
        text.push_str(&format!(", {within} within 5 °C"));
    }
    let near: Vec<String> = lack
        .near
        .iter()
        .map(|near| {
            let value = fact(&near.value);
            let value = if is_word(near) {
                format!("`{value}`")
            } else {
                value
            };
            format!("{value} ({})", near.runs)
        })
        .collect();
    match (near.is_empty(), exact) {
        (true, _) => {}
        (false, true) => text.push_str(&format!("; did you mean {}?", near.join(", "))),
        (false, false) => text.push_str(&format!("; nearest: {}", near.join(", "))),
    }
    text
}

fn is_word(near: &Near) -> bool {
    matches!(&near.value.value, Value::Text(text) if !text.bytes().all(|byte| byte.is_ascii_digit()))
}
