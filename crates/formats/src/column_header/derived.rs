//! Heads of what was computed from a quantity: logarithms, derivatives, complements and shares of the light.

use super::*;
use crate::words::{WordList, begins, words_of};

/// A logarithm or a derivative, `ln(A500)`, `dA/dλ`, `1st derivative`: what was computed from a quantity is another one,
/// and is called as its head calls it. A change per time (`dA/dt`) is a rate and is read as such.
pub(super) fn derived(text: &str) -> Option<ColumnHeader> {
    if let Some(head) = super::computed::computed(text) {
        return Some(head);
    }
    let of = logarithm_of(text).or_else(|| (is_derivative(text) || is_complement(text)).then_some(""))?;
    // The `(A)` of `ln(A)` is no unit of a `ln`.
    let parted = split_unit(text)
        .filter(|(name, _)| logarithm_of(name).is_some() || is_derivative(name) || is_complement(name));
    let (name, unit) = parted.map_or((text, None), |(name, unit)| (name, spelled(unit).one().cloned()));
    let quantity = with_words(name);
    Some(ColumnHeader {
        unit,
        held: if of.is_empty() {
            Vec::new()
        } else {
            understand(of).held
        },
        quantity: Some(quantity),
        ..ColumnHeader::default()
    })
}

/// A quantity under the words of its header.
pub(super) fn with_words(name: &str) -> Quantity {
    Quantity::named(name.to_lowercase().replace('%', "").replace(" - ", "-"))
}

/// `1/A`: the reciprocal of what was measured, under its own name.
pub(super) fn reciprocal_of_light(text: &str) -> Option<ColumnHeader> {
    let of = text.strip_prefix('1')?.trim_start().strip_prefix('/')?.trim();
    let of = of.trim_matches(['(', ')', '[', ']']);
    // `1/24 (%T)` is a name.
    if of.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let head = understand(of);
    let of_light = head.quantity.as_ref().is_some_and(Quantity::is_of_light) && head.label.is_none();
    of_light.then(|| ColumnHeader {
        quantity: Some(Quantity::named(text.to_lowercase())),
        held: head.held,
        ..ColumnHeader::default()
    })
}

/// `% absorption`: the share of the light that was absorbed, the absorptance of the IUPAC, and no absorbance.
pub(super) fn absorbed(text: &str) -> Option<ColumnHeader> {
    // Most heads have no such sign and need not be folded.
    if !text.contains(['%', 'p', 'P']) {
        return None;
    }
    // `Absorption in %`, `A (%)`: no absorbance is in per cent.
    if let Some((name, _)) = split_unit(text).filter(|(_, unit)| {
        // `Abs / %T` names two quantities.
        *unit == "%" || unit.chars().count() > 2 && spelled(unit).one() == Some(&Unit::PERCENT)
    }) {
        let symbol = matches!(name, "A" | "E");
        let word = name.chars().count() >= 3 && quantity_of(name) == Some(Quantity::ABSORBANCE);
        let absorptance = Quantity::named("absorptance");
        let open = if symbol {
            vec![absorptance.clone(), Quantity::UNKNOWN]
        } else {
            Vec::new()
        };
        return (symbol || word).then(|| ColumnHeader {
            quantity: (!symbol).then_some(absorptance),
            quantities_possible: open,
            unit: Some(Unit::PERCENT),
            ..ColumnHeader::default()
        });
    }
    let folded = fold(text);
    let name = folded
        .strip_prefix("% ")
        .or_else(|| folded.strip_suffix(" %"))
        .or_else(|| folded.strip_prefix("percent "))
        .or_else(|| folded.strip_prefix('%'))?;
    let absorbance = name.len() >= 3 && quantity_of(name) == Some(Quantity::ABSORBANCE);
    absorbance.then(|| ColumnHeader {
        quantity: Some(Quantity::named("absorptance".to_owned())),
        unit: Some(Unit::PERCENT),
        ..ColumnHeader::default()
    })
}

/// Whether a head is of a logarithm, a derivative or a complement of something.
pub(crate) fn is_derived(text: &str) -> bool {
    let text = trimmed(text);
    text.len() <= LONGEST && derived(text).is_some()
}

/// Whether a head is of a logarithm or a derivative of what spectrometers measure: never a running axis.
pub(crate) fn is_derived_of_light(text: &str) -> bool {
    let text = trimmed(text);
    text.len() <= LONGEST
        && (is_derivative(text)
            || is_complement(text)
            || logarithm_of(text).is_some_and(|of| {
                let head = understand(of);
                head.quantity
                    .iter()
                    .chain(&head.quantities_possible)
                    .any(Quantity::is_of_light)
            }))
}

/// What a logarithm or a root is of: the `A500` of `ln(A500)`, `log A500` or `-lg A500`.
pub(super) fn logarithm_of(text: &str) -> Option<&str> {
    let bare = text.trim_start_matches(['-', '−', '–']).trim_start();
    let end = bare
        .find(|c: char| !c.is_ascii_alphabetic())
        .unwrap_or(bare.len());
    let (word, rest) = bare.split_at(end);
    let rest = rest.trim_start_matches(['₁', '₀', '_']);
    let rest = rest.strip_prefix("10").unwrap_or(rest);
    let is_log = |word: &str| {
        matches!(
            word,
            "ln" | "Ln" | "LN" | "log" | "Log" | "LOG" | "lg" | "sqrt" | "Sqrt" | "SQRT" | "exp"
        )
    };
    if is_log(word) {
        let of = rest.trim_start();
        let inner = of.trim_matches(['(', ')', '[', ']']).trim();
        // `Log 7` and `log file` are names.
        let said = || {
            let head = understand(inner);
            let other = matches!(crate::words::word(inner), crate::words::HeaderWord::Other(_));
            other || head.quantity.is_some() || !head.quantities_possible.is_empty()
        };
        return (!inner.is_empty() && (of.starts_with(['(', '[']) || said())).then_some(inner);
    }
    // `lnA`, `logE`, `lnA500`.
    let of = ["ln", "log", "Ln", "Log"]
        .iter()
        .find_map(|log| bare.strip_prefix(log))
        .filter(|of| of.starts_with(['A', 'E', 'T', 'O']))?;
    let head = understand(of);
    head.quantity
        .as_ref()
        .is_some_and(Quantity::is_of_light)
        .then_some(of)
}

/// `1 - T`, `100 - %T`: what is left of the light.
pub(super) fn is_complement(text: &str) -> bool {
    ["100", "1"].iter().any(|whole| {
        let rest = text.strip_prefix(whole).map_or("", str::trim_start);
        let of = rest.trim_start_matches(['-', '−', '–']);
        of.len() < rest.len()
            && (matches!(of.trim(), "T" | "R")
                || quantity_of(of)
                    .is_some_and(|q| q == Quantity::TRANSMITTANCE || q == Quantity::REFLECTANCE))
    })
}

/// `dA/dλ`, `d²A/dλ²`, `dA/dT`, `1st derivative of A`.
pub(super) fn is_derivative(text: &str) -> bool {
    let folded = fold(text);
    let stems = || words_of(WordList::Derivative).iter().map(String::as_str);
    // Signs of Chinese and Japanese stand in the middle of words.
    let inside = |word: &str| {
        !word.is_ascii() && stems().any(|stem| !stem.chars().any(|c| c < '\u{2E80}') && word.contains(stem))
    };
    if folded
        .split(' ')
        .any(|word| begins(WordList::Derivative, word) || inside(word))
    {
        return true;
    }
    if !text.contains('/') {
        return false;
    }
    let squeezed: String = text
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '²' | '^' | '2' | '(' | ')' | '[' | ']'))
        .collect();
    let differential = |part: &str| -> Option<String> {
        let mut signs = part.chars();
        matches!(signs.next(), Some('d' | 'δ' | 'Δ' | '∆' | '∂')).then(|| signs.collect())
    };
    let Some((over, under)) = squeezed.split_once('/') else {
        return false;
    };
    let (Some(over), Some(under)) = (differential(over), differential(under)) else {
        return false;
    };
    let measured = |name: &str| {
        let letters = name.trim_end_matches(|c: char| c.is_ascii_digit());
        matches!(letters, "A" | "E" | "T" | "D" | "R")
            || quantity_of(letters).is_some_and(|quantity| quantity.is_of_light())
    };
    let end = under
        .find(|c: char| !c.is_alphabetic() && c != '\u{303}')
        .unwrap_or(under.len());
    measured(&over)
        && matches!(
            &under[..end],
            "λ" | "lambda" | "nm" | "wl" | "WL" | "ν" | "ν̃" | "T"
        )
}
