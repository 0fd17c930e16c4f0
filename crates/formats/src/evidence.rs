//! Evidence for what the columns of a table are, and the ledger that weighs it.
//!
//! Each rule looks at one sign (a word, a unit, how numbers run) and says what it speaks for or against, and how much.
//! No rule decides. The ledger adds up what was said, and since adding has no order, neither has the ledger: the same
//! signs give the same outcome whichever rule is asked first.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::fmt;

use curvary_record::{Place, Quantity};
use serde::Serialize;

/// Where a sign stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignPlace {
    /// A word or a symbol in a header.
    Textual,
    /// A unit in a header, in a row of units or in the cells.
    Unit,
    /// A column beside this one.
    Neighbour,
    /// The lines around the table.
    Preamble,
    /// The numbers themselves.
    Numeric,
    /// The form of the table.
    Layout,
    /// A person, or a layout that a person wrote.
    Answer,
}

impl SignPlace {
    /// The word for it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Textual => "textual",
            Self::Unit => "unit",
            Self::Neighbour => "neighbour",
            Self::Preamble => "preamble",
            Self::Numeric => "numeric",
            Self::Layout => "layout",
            Self::Answer => "answer",
        }
    }
}

/// How much a sign weighs. Four steps and no numbers: a step outweighs any count of the steps below it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignWeight {
    /// It fits, and so would other things.
    Weak,
    /// It is usual.
    Moderate,
    /// It would be odd otherwise.
    Strong,
    /// It says so.
    Decisive,
}

impl SignWeight {
    /// The word for it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Weak => "weak",
            Self::Moderate => "moderate",
            Self::Strong => "strong",
            Self::Decisive => "decisive",
        }
    }
}

/// What a piece of evidence is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum EvidenceTarget {
    /// The table as a whole.
    Table,
    /// A column, from 1.
    Column(usize),
}

/// What a table or a column may be.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TableRole {
    /// The curves run over it. Of [`Quantity::UNKNOWN`] where the sign does not say which quantity.
    Axis(Quantity),
    /// It was measured.
    Measured(Quantity),
    /// It is of a quantity that is none of absorbed light, nor one that such measurements run over.
    Other(Quantity),
    /// It counts the rows.
    Counter,
    /// It names the rows, or the curves.
    Names,
    /// The table holds a measurement of light absorbed.
    Measurement,
    /// The table holds its curves in this way.
    Template(Template),
}

/// A way in which a table may hold its curves. Of two that are as likely the earlier one is tried first: it says more of
/// the cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Template {
    /// One curve whose values go on from line to line.
    Packed,
    /// What runs, or what curves are told apart by, stands across the headers.
    Matrix,
    /// Several axes side by side, each with its own measured columns.
    SideBySide,
    /// One observation a row, with its coordinates in columns.
    LongForm,
    /// One column runs, the others were measured over it.
    OneAxis,
    /// Each row is a reading of its own.
    Readings,
}

impl Template {
    /// All of them, in their order.
    pub const ALL: [Self; 6] = [
        Self::Packed,
        Self::Matrix,
        Self::SideBySide,
        Self::LongForm,
        Self::OneAxis,
        Self::Readings,
    ];

    /// The words for it, as the ledger shows them.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            Self::Packed => "layout: values that go on from line to line",
            Self::Matrix => "layout: numbers across the headers",
            Self::SideBySide => "layout: tables side by side",
            Self::LongForm => "layout: one observation a row",
            Self::OneAxis => "layout: curves over one column",
            Self::Readings => "layout: single readings",
        }
    }
}

impl fmt::Display for TableRole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let of = |f: &mut fmt::Formatter<'_>, role: &str, quantity: &Quantity| {
            if *quantity == Quantity::UNKNOWN {
                f.write_str(role)
            } else {
                write!(f, "{role}: {quantity}")
            }
        };
        match self {
            Self::Axis(quantity) => of(f, "x axis", quantity),
            Self::Measured(quantity) => of(f, "measured", quantity),
            Self::Other(quantity) => of(f, "another quantity", quantity),
            Self::Counter => f.write_str("counts the rows"),
            Self::Names => f.write_str("names"),
            Self::Measurement => f.write_str("a measurement of light absorbed"),
            Self::Template(template) => f.write_str(template.says()),
        }
    }
}

/// One sign, and what it speaks for or against.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Evidence {
    /// The name of the rule that found it.
    pub rule: &'static str,
    /// Where the sign stands.
    pub kind: SignPlace,
    /// What it is about.
    pub about: EvidenceTarget,
    /// What it speaks for, or against.
    pub speaks_for: TableRole,
    /// Whether it speaks against it.
    pub against: bool,
    /// How much it weighs.
    pub weight: SignWeight,
    /// The line it stands on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
}

impl Evidence {
    fn key(
        &self,
    ) -> (
        EvidenceTarget,
        &TableRole,
        bool,
        std::cmp::Reverse<SignWeight>,
        &'static str,
    ) {
        (
            self.about,
            &self.speaks_for,
            self.against,
            std::cmp::Reverse(self.weight),
            self.rule,
        )
    }
}

/// How much speaks for something, less what speaks against it, by weight.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Balance([i32; 4]);

impl Balance {
    fn add(&mut self, weight: SignWeight, against: bool) {
        let step = match weight {
            SignWeight::Decisive => 0,
            SignWeight::Strong => 1,
            SignWeight::Moderate => 2,
            SignWeight::Weak => 3,
        };
        self.0[step] += if against { -1 } else { 1 };
    }

    /// The balance in words, heaviest first: `2 strong, 1 weak against`; `nothing` where nothing was said.
    #[must_use]
    pub fn says(&self) -> String {
        let steps = [
            SignWeight::Decisive,
            SignWeight::Strong,
            SignWeight::Moderate,
            SignWeight::Weak,
        ];
        let said: Vec<String> = steps
            .iter()
            .zip(self.0)
            .filter(|(_, count)| *count != 0)
            .map(|(weight, count)| {
                let side = if count < 0 { " against" } else { "" };
                format!("{} {}{side}", count.abs(), weight.as_str())
            })
            .collect();
        if said.is_empty() {
            "nothing".to_owned()
        } else {
            said.join(", ")
        }
    }

    /// Whether more speaks for it than against it.
    #[must_use]
    pub fn is_for(&self) -> bool {
        *self > Self::default()
    }
}

impl Ord for Balance {
    /// By the heaviest step in which two differ.
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.cmp(&other.0)
    }
}

impl PartialOrd for Balance {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// All the evidence on a table, by what it is about.
#[derive(Clone, Debug, Default)]
pub struct Ledger(BTreeMap<EvidenceTarget, Vec<Evidence>>);

impl Ledger {
    /// Adds a sign. The same sign said twice counts once.
    pub fn note(&mut self, evidence: Evidence) {
        let known = self.0.entry(evidence.about).or_default();
        if !known.contains(&evidence) {
            known.push(evidence);
        }
    }

    /// The evidence on one thing, in an order of its own: that for comes before that against, and the heavier first.
    #[must_use]
    pub fn on(&self, about: EvidenceTarget) -> Vec<Evidence> {
        let mut found: Vec<Evidence> = self.about(about).to_vec();
        found.sort_by(|a, b| a.key().cmp(&b.key()));
        found
    }

    /// All of it.
    pub fn iter(&self) -> impl Iterator<Item = &Evidence> {
        self.0.values().flatten()
    }

    fn about(&self, about: EvidenceTarget) -> &[Evidence] {
        self.0.get(&about).map_or(&[], Vec::as_slice)
    }

    /// How much speaks for a role. What speaks for an axis of no quantity, or for a measured column of none, speaks for
    /// each quantity.
    #[must_use]
    pub fn balance(&self, about: EvidenceTarget, role: &TableRole) -> Balance {
        let mut balance = Balance::default();
        let meant = |said: &TableRole| match (said, role) {
            (TableRole::Axis(said), TableRole::Axis(_))
            | (TableRole::Measured(said), TableRole::Measured(_))
                if *said == Quantity::UNKNOWN =>
            {
                true
            }
            (said, role) => said == role,
        };
        for one in self.about(about).iter().filter(|one| meant(&one.speaks_for)) {
            balance.add(one.weight, one.against);
        }
        balance
    }

    /// What something may be, likeliest first; of two alike the one whose name comes first.
    #[must_use]
    pub fn hypotheses(&self, about: EvidenceTarget) -> Vec<(TableRole, Balance)> {
        let mut roles: BTreeMap<&TableRole, Balance> = BTreeMap::new();
        for one in self.about(about) {
            roles.insert(&one.speaks_for, self.balance(about, &one.speaks_for));
        }
        let mut all: Vec<(TableRole, Balance)> = roles
            .into_iter()
            .map(|(role, balance)| (role.clone(), balance))
            .collect();
        all.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        all
    }
}

/// A rule, for those who ask which there are.
#[derive(Clone, Debug, Serialize)]
pub struct RuleTold {
    /// Its name.
    pub id: &'static str,
    /// Where its sign stands.
    pub kind: SignPlace,
    /// How much it weighs.
    pub weight: SignWeight,
    /// Whether it speaks against something.
    pub against: bool,
    /// What it says, one sentence.
    pub says: &'static str,
    /// A small table in which it finds its sign.
    pub example: &'static str,
    /// What the sign is about there.
    pub about: EvidenceTarget,
    /// What it speaks for, or against, there.
    pub speaks_for: &'static str,
}

/// The rules by which tables of text are weighed.
#[must_use]
pub fn rules() -> Vec<RuleTold> {
    crate::readers::text_table::shape::rules::rules()
}

/// What a rule says.
#[must_use]
pub fn rule(id: &str) -> Option<&'static str> {
    crate::readers::text_table::shape::rules::says(id)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn evidence(rule: &'static str, role: TableRole, weight: SignWeight, against: bool) -> Evidence {
        Evidence {
            rule,
            kind: SignPlace::Textual,
            about: EvidenceTarget::Column(1),
            speaks_for: role,
            against,
            weight,
            place: None,
        }
    }

    #[test]
    fn a_heavier_step_outweighs_any_count_of_lighter_ones() {
        let mut ledger = Ledger::default();
        for rule in ["a", "b", "c", "d"] {
            ledger.note(evidence(rule, TableRole::Counter, SignWeight::Weak, false));
        }
        ledger.note(evidence("e", TableRole::Names, SignWeight::Moderate, false));
        let order: Vec<TableRole> = ledger
            .hypotheses(EvidenceTarget::Column(1))
            .into_iter()
            .map(|(role, _)| role)
            .collect();
        assert_eq!(order, [TableRole::Names, TableRole::Counter]);
        ledger.note(evidence("f", TableRole::Names, SignWeight::Decisive, true));
        let balance = ledger.balance(EvidenceTarget::Column(1), &TableRole::Names);
        assert!(!balance.is_for() && balance < Balance::default());
    }

    #[test]
    fn what_speaks_for_an_axis_speaks_for_every_axis() {
        let mut ledger = Ledger::default();
        ledger.note(evidence(
            "a",
            TableRole::Axis(Quantity::UNKNOWN),
            SignWeight::Moderate,
            false,
        ));
        let axis = |quantity| ledger.balance(EvidenceTarget::Column(1), &TableRole::Axis(quantity));
        assert!(axis(Quantity::TIME).is_for() && axis(Quantity::WAVELENGTH).is_for());
        assert!(
            !ledger
                .balance(EvidenceTarget::Column(1), &TableRole::Measured(Quantity::TIME))
                .is_for()
        );
    }
}
