//! Errors that stand in a column of their own, in the unit of what they are of.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use curvary_record::unit::spelled;
use curvary_record::{Column, Quantity, Trace, Unit};

use serde::Deserialize;

use crate::refusal::Refusal;
use crate::study::label_of;

/// What a column of values is in the run, and in which unit.
#[derive(Clone, Debug)]
pub(in crate::study) struct Recorded {
    quantity: Quantity,
    unit: Unit,
    /// What stands over it.
    head: String,
}

impl Recorded {
    /// What stands in a column.
    pub(in crate::study) fn of(column: &Column) -> Self {
        Self {
            quantity: column.quantity.clone(),
            unit: column.unit.clone(),
            head: column.name.clone().unwrap_or_default(),
        }
    }
}

/// The errors that a trace holds of values that were recorded as `of`, in the unit of `y`, which is what they were turned into.
///
/// A head without a unit, such as `SD`, means that of the values as they stand in the run. An error is a difference: where the zero
/// of two units is not the same, as of °C and K, only its size changes.
///
/// # Errors
/// `unsuitable`, with the head of the column: where its unit does not convert into that of `y`, where something stands in the head that
/// may be a unit or a factor and is not understood, and where the errors may be parts of each value.
pub(in crate::study) fn errors_in(errors: &Trace, of: &Recorded, y: &Column) -> Result<Vec<f64>, Refusal> {
    let head = errors.y.name.clone().unwrap_or_else(|| label_of(errors));
    let refused = |why: &str| Refusal::unsuitable(format!("the errors in the column `{head}` {why}"));
    let stated = &errors.y.unit;
    let bare = *stated == Unit::ONE;
    if (bare || is_part(stated)) && is_relative(&head, of) {
        return Err(refused(
            "are relative by its head, and errors in the unit of the values are wanted (`--weights relative` counts every point by a \
             part of its value)",
        ));
    }
    if bare && let Some(what) = not_understood(&head, of) {
        return Err(refused(&format!(
            "may be in a unit of their own: `{what}` in its head is not understood; in a copy of the file whose head is `SD`, or `SD ({})` \
             with the unit they are in, they count",
            named(&of.unit)
        )));
    }
    let own = if bare { &of.unit } else { stated };
    let is_light = |unit: &Unit| unit.convert(1.0, &Unit::ONE).is_ok() && *unit != Unit::ABSORBANCE;
    let turned = of.quantity == Quantity::TRANSMITTANCE && y.quantity != Quantity::TRANSMITTANCE;
    if turned && errors.y.quantity != Quantity::ABSORBANCE && is_light(own) {
        return Err(refused(
            "are of transmittance, and what they are wanted of is absorbance",
        ));
    }
    // Nobody states a relative error in parts of a million of a content that is in such parts itself.
    if is_part(stated) && (*stated == Unit::PERCENT || !is_part(&of.unit)) {
        return Err(refused(&format!(
            "are in {}, and it is not known of what: of each value, or an absolute part of one; a head without a unit means that of the \
             values",
            named(stated)
        )));
    }
    let conversion = own.conversion(&y.unit).map_err(|_| {
        refused(&format!(
            "are in {}, and the values they are of in {}: these do not convert",
            named(own),
            named(&y.unit)
        ))
    })?;
    let all = errors.y.values.iter();
    Ok(all.map(|error| conversion.of_difference(*error)).collect())
}

/// Whether a unit is a part of one, as per cent is, and no absorbance.
fn is_part(unit: &Unit) -> bool {
    *unit != Unit::ONE && unit.converts_to(&Unit::ONE) && !unit.code().contains(Unit::ABSORBANCE.code())
}

/// The words of a head, in small letters.
fn words(head: &str) -> impl Iterator<Item = String> {
    head.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
}

/// Words of one language.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct LanguageWords {
    words: Vec<String>,
    /// Beginnings of words.
    beginnings: Vec<String>,
    /// What may stand anywhere, in scripts without blanks.
    parts: Vec<String>,
}

/// What `words.toml` says, by language.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct ErrorWords {
    relative: BTreeMap<String, LanguageWords>,
    harmless: BTreeMap<String, LanguageWords>,
}

/// The words, read once; a test sees that the file is one.
static WORDS: LazyLock<ErrorWords> =
    LazyLock::new(|| toml::from_str(include_str!("words.toml")).unwrap_or_default());

/// Whether errors are parts of each value, by the head over them; what stands over the values too, such as relative fluorescence, is no
/// word about the errors.
fn is_relative(head: &str, of: &Recorded) -> bool {
    let over_values: Vec<String> = words(&of.head).collect();
    let own = |word: &String| !over_values.contains(word);
    let means = |word: String| {
        own(&word)
            && WORDS.relative.values().any(|language| {
                language.words.contains(&word)
                    || language
                        .beginnings
                        .iter()
                        .any(|begun| word.starts_with(begun.as_str()))
                    || language.parts.iter().any(|part| word.contains(part.as_str()))
            })
    };
    words(head).any(means)
}

/// Whether words say nothing of a unit or of a factor.
fn is_harmless(text: &str) -> bool {
    let text = text.to_lowercase();
    WORDS
        .harmless
        .values()
        .any(|language| language.words.contains(&text))
}

/// Whether words name absorbance, which has no unit of its own: they then name its plain unit too.
fn names_absorbance(text: &str) -> bool {
    matches!(text.to_lowercase().as_str(), "abs" | "abs." | "absorbance")
}

/// What stands in a head that was read as one without a unit, and may all the same say one, or a factor: behind a slash, in brackets, by
/// signs of powers and products, or as a unit of the values behind the name. What stands over the values as well is understood alike,
/// and how many readings an error is of (`n = 3`) is none.
fn not_understood(head: &str, of: &Recorded) -> Option<String> {
    let stands_over_values = |text: &str| {
        of.head.match_indices(text).any(|(at, _)| {
            let ends = |c: Option<char>| c.is_none_or(|c| !c.is_alphanumeric());
            ends(of.head[..at].chars().next_back()) && ends(of.head[at + text.len()..].chars().next())
        })
    };
    let harmless = |text: &str| {
        // Beside values in mAU, or of anything else, such errors are in a unit of their own.
        if names_absorbance(text) {
            return of.quantity == Quantity::ABSORBANCE && of.unit == Unit::ABSORBANCE;
        }
        let counts = text.strip_prefix(['n', 'N']).map(str::trim_start);
        matches!(text, "" | "1" | "-" | "–" | "—")
            || counts.is_some_and(|rest| rest.starts_with('='))
            || stands_over_values(text)
            || is_harmless(text)
    };
    let mut name = String::new();
    let mut rest = head;
    while let Some(open) = rest.find(['(', '[', '{']) {
        let inside = &rest[open + 1..];
        let close = inside.find([')', ']', '}']).unwrap_or(inside.len());
        let text = inside[..close].trim();
        if !harmless(text) {
            return Some(text.to_owned());
        }
        name.push_str(&rest[..open]);
        name.push(' ');
        rest = inside.get(close + 1..).unwrap_or_default();
    }
    name.push_str(rest);
    if let Some((_, behind)) = name.split_once('/')
        && !harmless(behind.trim())
    {
        return Some(format!("/{behind}"));
    }
    let is_factor = |c: char| matches!(c, '×' | '·' | '*' | '^' | '²' | '³' | '¹' | '⁰' | '⁴'..='⁹' | '⁻');
    let pieces = || {
        name.split([' ', '_', ',', ';', '\t'])
            .filter(|piece| !piece.is_empty())
    };
    let mut before: Option<&str> = None;
    for piece in pieces() {
        let times = piece
            .strip_prefix(['x', 'X'])
            .or_else(|| piece.strip_suffix(['x', 'X']));
        let factor = piece.contains(is_factor)
            || times.is_some_and(|number| number.parse::<f64>().is_ok())
            // Two standard deviations are no standard deviation.
            || before.is_none() && is_multiple(piece, pieces().nth(1));
        let scaled = || {
            let unit = spelled(piece);
            let unit = unit.like(&of.unit)?;
            unit.conversion(&of.unit).ok().filter(|way| !way.keeps_numbers())
        };
        if (factor || before.is_some() && scaled().is_some()) && !stands_over_values(piece) {
            return Some(piece.to_owned());
        }
        before = Some(piece);
    }
    None
}

/// Whether a head begins with so many times a measure of spread: `2 SD`, `2σ`.
fn is_multiple(first: &str, second: Option<&str>) -> bool {
    let number = first.trim_start_matches(['±', '+', '-']);
    let end = number
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(number.len());
    let spread = match &number[end..] {
        "" => second.unwrap_or_default(),
        behind => behind,
    };
    let spread = spread.to_lowercase();
    let measures = ["sd", "s", "σ", "sigma", "se", "sem", "std", "stdev", "s.d."];
    number[..end].parse::<f64>().is_ok_and(|times| times != 1.0) && measures.contains(&spread.as_str())
}

/// A unit for a sentence.
fn named(unit: &Unit) -> String {
    match unit.display() {
        empty if empty.is_empty() => "pure numbers".to_owned(),
        shown => shown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The error 2 from a column with this head and unit, of values in `of`.
    fn two(head: &str, code: &str, of: (Quantity, &str)) -> Result<f64, String> {
        let unit = |code: &str| Unit::ucum(code).map_err(|error| error.to_string());
        let x = Column::new(Quantity::INDEX, Unit::ONE, vec![0.0]);
        let mut y = Column::new(Quantity::UNKNOWN, unit(code)?, vec![2.0]);
        y.name = Some(head.to_owned());
        let mut errors = Trace::new(x, y).map_err(|error| error.to_string())?;
        errors.label = Some("SD".to_owned());
        let mut values = Column::new(of.0, unit(of.1)?, vec![0.5]);
        values.name = Some("A340/A280 (a.u.)".to_owned());
        let all = errors_in(&errors, &Recorded::of(&values), &values);
        all.map(|all| all[0]).map_err(|refusal| refusal.to_string())
    }

    const LIGHT: (Quantity, &str) = (Quantity::ABSORBANCE, "{AU}");

    #[test]
    fn the_words_are_read() {
        let read: ErrorWords = toml::from_str(include_str!("words.toml")).expect("words.toml reads");
        assert!(read.relative.len() >= 20 && !read.harmless.is_empty());
    }

    #[test]
    fn parts_of_one_are_no_errors_of_absorbance() {
        for (head, code) in [
            ("SD (ppm)", "[ppm]"),
            ("SD (ppb)", "[ppb]"),
            ("SD (‰)", "[ppth]"),
            ("SD (%)", "%"),
            ("SD (10^-3)", "10*-3"),
            ("SD (mg/g)", "mg/g"),
        ] {
            let why = two(head, code, LIGHT).expect_err(head);
            assert!(why.contains(&format!("`{head}`")), "{why}");
        }
        assert_eq!(two("SD (mAU)", "10*-3.{AU}", LIGHT), Ok(0.002));
        assert_eq!(two("SD (AU)", "{AU}", LIGHT), Ok(2.0));
        assert_eq!(two("SD", "1", LIGHT), Ok(2.0));
        // A content in parts of a million has errors in such parts.
        let content = (Quantity::CONCENTRATION, "[ppm]");
        assert_eq!(two("SD (ppm)", "[ppm]", content.clone()), Ok(2.0));
        assert_eq!(two("SD (ppb)", "[ppb]", content), Ok(0.002));
    }

    #[test]
    fn a_unit_that_is_not_understood_is_not_taken_for_none() {
        for head in [
            "SD (10^-3)",
            "SD (x1000)",
            "SD (mA)",
            "SD / mA",
            "SD [m]",
            "SD x1000",
            "SD ×10³",
            "SD*1000",
            "10^3 SD",
        ] {
            let why = two(head, "1", LIGHT).expect_err(head);
            assert!(why.contains(&format!("`{head}`")), "{why}");
        }
        for head in [
            "SD_mAU",
            "SD, mAU",
            "2 SD",
            "2σ of A340",
            "SD (2s)",
            "SD (k=2)",
            "SD (percent)",
        ] {
            let why = two(head, "1", LIGHT).expect_err(head);
            assert!(why.contains(&format!("`{head}`")), "{why}");
            assert!(why.contains("in a copy of the file"), "{why}");
        }
        for head in [
            "SD",
            "SD (n=3)",
            "SD [n = 12]",
            "SD A340",
            "SD (1)",
            "std. dev.",
            "SD_2",
            "1 SD",
            "340 nm SD",
            "SD (A340)",
            "SD (a.u.)",
            "SD A340/A280",
            "SD (±)",
            "SD (1s)",
            "SD (corrected)",
            "SD (absorbance)",
            "SD [k = 1]",
        ] {
            assert_eq!(two(head, "1", LIGHT), Ok(2.0), "{head}");
        }
    }

    #[test]
    fn absorbance_is_the_unit_of_values_in_absorbance_only() {
        let scaled = (Quantity::ABSORBANCE, "10*-3.{AU}");
        let rate = (Quantity::RATE, "umol/L/min");
        let passed = (Quantity::TRANSMITTANCE, "%");
        for head in ["SD (Abs)", "SD (abs.)", "SD (absorbance)", "SD [Absorbance]"] {
            assert_eq!(two(head, "1", LIGHT), Ok(2.0), "{head}");
            for of in [scaled.clone(), rate.clone(), passed.clone()] {
                let why = two(head, "1", of).expect_err(head);
                assert!(why.contains("is not understood"), "{why}");
            }
        }
        // Of values that were corrected or diluted these are no errors.
        for head in ["SD (raw)", "SD (uncorrected)", "SD (unkorrigiert)"] {
            for of in [LIGHT, scaled.clone(), rate.clone()] {
                let why = two(head, "1", of).expect_err(head);
                assert!(why.contains("is not understood"), "{why}");
            }
        }
    }

    #[test]
    fn relative_errors_are_no_absolute_ones() {
        let passed = (Quantity::TRANSMITTANCE, "%");
        for (head, code, of) in [
            ("RSD (%)", "%", passed.clone()),
            ("SD (%)", "%", passed.clone()),
            ("RSD", "1", LIGHT),
            ("CV", "1", LIGHT),
            ("CV %", "%", LIGHT),
            ("rel. SD", "1", LIGHT),
            ("relative error", "1", LIGHT),
            ("SD rel", "1", LIGHT),
            ("SD_rel", "1", LIGHT),
            ("coefficient of variation", "1", LIGHT),
            ("RSD", "1", (Quantity::RATE, "{AU}/min")),
            ("相对标准偏差", "1", LIGHT),
            ("相対標準偏差", "1", LIGHT),
            ("relatieve SD", "1", LIGHT),
            ("écart type relatif", "1", LIGHT),
            ("ОСКО", "1", LIGHT),
            ("относительное СКО", "1", LIGHT),
            ("odchylenie względne", "1", LIGHT),
        ] {
            let why = two(head, code, of).expect_err(head);
            assert!(why.contains(&format!("`{head}`")), "{why}");
        }
        // Without a unit it is that of the values.
        assert_eq!(two("SD", "1", passed), Ok(2.0));
        // What has the unit of the values is no part of them, whatever its name.
        assert_eq!(two("CV (mAU)", "10*-3.{AU}", LIGHT), Ok(0.002));
    }
}
