//! Several amounts in one head, each with the name of what it is of: `S 0.1 mM, I 10 uM`, `A340 ([S] = 0.1 mM; [I] = 0 µM)`.

use super::*;

/// What an amount in a head is of.
#[derive(Clone, Copy, PartialEq)]
enum LevelRole {
    Substrate,
    Inhibitor,
    Enzyme,
}

impl LevelRole {
    /// By a symbol, as it stands in the equations of enzyme kinetics (IUBMB 1981), or by a word.
    fn of(name: &str) -> Option<Self> {
        match name {
            "S" | "[S]" | "S0" | "[S]0" => return Some(Self::Substrate),
            "I" | "[I]" => return Some(Self::Inhibitor),
            "E" | "[E]" | "E0" | "[E]0" => return Some(Self::Enzyme),
            _ => {}
        }
        match crate::words::field_of(name)? {
            "substrate" | "substrate-concentration" => Some(Self::Substrate),
            "inhibitor" | "inhibitor-concentration" => Some(Self::Inhibitor),
            "enzyme" | "enzyme-concentration" => Some(Self::Enzyme),
            _ => None,
        }
    }

    fn quantity(self) -> Quantity {
        match self {
            Self::Substrate => Quantity::CONCENTRATION,
            Self::Inhibitor => Quantity::named("inhibitor-concentration"),
            Self::Enzyme => Quantity::named("enzyme-concentration"),
        }
    }
}

/// A head of several amounts: of a substrate, an inhibitor, an enzyme. None for everything else, and where it is not plain which is which.
pub(super) fn of_several_amounts(text: &str) -> Option<ColumnHeader> {
    let numbers = text.split(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')));
    if numbers
        .filter(|part| !part.trim_matches(['.', ',']).is_empty())
        .count()
        < 2
    {
        return None;
    }
    let behind = |front: &str, inner| {
        let head = understand(front);
        let of_light = head.quantity.as_ref().is_some_and(Quantity::is_of_light);
        of_light.then_some((head, inner))
    };
    let bracket = text.strip_suffix(')').and_then(|text| text.split_once(" ("));
    let ways = [
        bracket.and_then(|(front, inner)| behind(front, inner)),
        // `A340 S=0.1 mM I=0 uM`: what was measured in front.
        text.split_once(' ')
            .and_then(|(front, inner)| behind(front, inner)),
        Some((ColumnHeader::default(), text)),
    ];
    for (mut head, inner) in ways.into_iter().flatten() {
        if let Some(held) = amounts(inner) {
            head.held.extend(held);
            head.label = Some(match head.label {
                Some(own) => format!("{own}, {inner}"),
                None => inner.to_owned(),
            });
            return Some(head);
        }
    }
    None
}

/// The amounts of a text that is made of nothing else, two at least.
fn amounts(text: &str) -> Option<Vec<Coordinate>> {
    let spaced = text.replace(['=', ':', '(', ')'], " ");
    let mut names: Vec<Option<LevelRole>> = Vec::new();
    let mut found: Vec<Coordinate> = Vec::new();
    // Whether names stand in front of their amounts: as the first word says.
    let mut in_front: Option<bool> = None;
    let words: Vec<&str> = spaced
        .split_whitespace()
        .filter(|word| !matches!(*word, "+" | "/" | "&" | "," | ";" | "|" | "with" | "and"))
        .map(|word| word.trim_end_matches([',', ';']))
        .collect();
    let mut at = 0;
    let mut waiting: Option<LevelRole> = None;
    while at < words.len() {
        let two = words.get(at + 1).map(|next| format!("{} {next}", words[at]));
        let amount = piece::measured(words[at])
            .map(|amount| (amount, 1))
            .or_else(|| Some((piece::measured(&two?)?, 2)))
            .filter(|(amount, _)| amount.quantity == Quantity::CONCENTRATION);
        if let Some((amount, length)) = amount {
            in_front.get_or_insert(false);
            found.push(amount);
            names.push(waiting.take());
            at += length;
            continue;
        }
        let role = LevelRole::of(words[at])?;
        if *in_front.get_or_insert(true) {
            if waiting.replace(role).is_some() {
                return None;
            }
        } else {
            let last = names.last_mut()?;
            if last.replace(role).is_some() {
                return None;
            }
        }
        at += 1;
    }
    // `0.1 mM + 10 uM inhibitor`: one that is named tells what the other is.
    let roles: Vec<LevelRole> = match names.as_slice() {
        [None, Some(other)] if *other != LevelRole::Substrate => vec![LevelRole::Substrate, *other],
        names => names.iter().copied().collect::<Option<_>>()?,
    };
    let twice = |(at, role): (usize, &LevelRole)| roles[..at].contains(role);
    if waiting.is_some() || roles.len() < 2 || roles.iter().enumerate().any(twice) {
        return None;
    }
    let held = found.into_iter().zip(roles);
    Some(
        held.map(|(amount, role)| Coordinate {
            quantity: role.quantity(),
            ..amount
        })
        .collect(),
    )
}
