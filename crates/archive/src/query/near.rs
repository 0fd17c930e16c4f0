//! What a word was meant to be, when it is none that is known.

use curvary_record::Unit;

use super::quantity::meanings;

/// Units that are offered where a spelling is not known.
const COMMON_UNITS: [&str; 32] = [
    "nm", "um", "mm", "cm", "m", "ms", "s", "min", "h", "C", "K", "M", "mM", "uM", "nM", "mol/L", "mmol/L",
    "umol/L", "g/L", "mg/mL", "ug/mL", "%", "/s", "/min", "/h", "/cm", "nm/min", "L", "mL", "uL", "rpm",
    "L/mol/cm",
];

pub(super) fn did_you_mean<'a>(wrong: &str, right: impl Iterator<Item = &'a str>) -> Option<String> {
    nearest(wrong, right).map(|near| format!("did you mean `{near}`?"))
}

pub(super) fn nearest_unit(wrong: &str, customary: Option<&Unit>) -> Option<String> {
    let fits = |unit: &&str| {
        customary.is_none_or(|like| {
            !meanings(unit, None).is_empty()
                && meanings(unit, Some(like)).iter().all(|one| one.converts_to(like))
        })
    };
    let near = nearest(wrong, COMMON_UNITS.iter().copied().filter(fits));
    match (near, customary) {
        (Some(near), _) => Some(format!("did you mean `{near}`?")),
        (None, Some(unit)) => Some(format!("this field is customarily in `{}`", unit.display())),
        (None, None) => None,
    }
}

/// The word that differs in the fewest letters, when that is no more than a third of it.
pub(super) fn nearest<'a>(wrong: &str, right: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let wrong: Vec<char> = wrong.to_lowercase().chars().take(64).collect();
    right
        .map(|word| (distance(&wrong, word), word))
        // A slip that leaves nothing of what was written is another word: `F` is not meant for `C`.
        .filter(|&(steps, word)| steps < wrong.len() || word.to_lowercase().chars().eq(wrong.iter().copied()))
        .filter(|&(steps, word)| steps <= (word.chars().count().max(wrong.len()) / 3).max(1))
        .min_by_key(|&(steps, word)| (steps, word))
        .map(|(_, word)| word)
}

/// How many letters must be put in, taken out, changed or swapped with their neighbour.
pub(crate) fn distance(wrong: &[char], right: &str) -> usize {
    let right: Vec<char> = right.to_lowercase().chars().take(64).collect();
    let mut rows = vec![(0..=right.len()).collect::<Vec<usize>>()];
    for (i, &sign) in wrong.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, &other) in right.iter().enumerate() {
            let mut steps = (rows[i][j] + usize::from(sign != other))
                .min(rows[i][j + 1] + 1)
                .min(row[j] + 1);
            if i > 0 && j > 0 && sign == right[j - 1] && wrong[i - 1] == other {
                steps = steps.min(rows[i - 1][j - 1] + 1);
            }
            row.push(steps);
        }
        rows.push(row);
    }
    rows[wrong.len()][right.len()]
}
