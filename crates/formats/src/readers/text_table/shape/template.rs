//! How a table holds its curves: each way that may fit is a hypothesis, and the signs of the table weigh them.
//!
//! The likeliest way is built first. Where its builder finds that the cells do not go into it, the next one has its turn.
//! Of two that weigh the same the one that says more of the cells comes first, which is their order in [`Template`].

use super::*;
use crate::evidence::{Balance, RuleTold, SignPlace as From, SignWeight, TableRole as Says, Template};

/// What the columns of a table show at a glance, looked at once for all rules.
pub(super) struct Glance<'g> {
    roles: &'g [ShapeRole],
    /// The columns that may run by their headers.
    coordinates: &'g [usize],
}

impl<'g> Glance<'g> {
    pub(super) fn of(roles: &'g [ShapeRole], coordinates: &'g [usize]) -> Self {
        Self { roles, coordinates }
    }
}

/// A sign of the way in which a table holds its curves.
struct TemplateSign {
    id: &'static str,
    from: From,
    weight: SignWeight,
    against: bool,
    of: Template,
    says: &'static str,
    example: &'static str,
    shows: fn(&Shaper<'_>, &Glance<'_>) -> bool,
}

/// The signs as they are told.
pub(super) fn rules() -> impl Iterator<Item = RuleTold> {
    SIGNS.iter().map(|sign| RuleTold {
        id: sign.id,
        kind: sign.from,
        weight: sign.weight,
        against: sign.against,
        says: sign.says,
        example: sign.example,
        about: EvidenceTarget::Table,
        speaks_for: sign.of.says(),
    })
}

/// What a sign says.
pub(super) fn says(id: &str) -> Option<&'static str> {
    SIGNS.iter().find(|sign| sign.id == id).map(|sign| sign.says)
}

impl Shaper<'_> {
    /// The ways in which the table may hold its curves, the likeliest first.
    pub(super) fn templates(&self, glance: &Glance<'_>) -> Vec<(Template, Balance)> {
        let ledger = self.weigh_templates(glance);
        let mut ranked: Vec<(Template, Balance)> = Template::ALL
            .into_iter()
            .map(|template| {
                (
                    template,
                    ledger.balance(EvidenceTarget::Table, &Says::Template(template)),
                )
            })
            .collect();
        // The sort is stable.
        ranked.sort_by_key(|(_, balance)| std::cmp::Reverse(*balance));
        ranked
    }

    /// What all signs say of the ways in which the table may hold its curves.
    pub(super) fn weigh_templates(&self, glance: &Glance<'_>) -> Ledger {
        let mut ledger = Ledger::default();
        for sign in SIGNS.iter().filter(|sign| (sign.shows)(self, glance)) {
            ledger.note(Evidence {
                rule: sign.id,
                kind: sign.from,
                about: EvidenceTarget::Table,
                speaks_for: Says::Template(sign.of),
                against: sign.against,
                weight: sign.weight,
                place: None,
            });
        }
        ledger
    }

    /// Whether a column behind the measured ones that may run by its header goes to and fro and hardly ever has a value
    /// twice: no coordinate that rows share.
    fn shares_no_rows(&self, place: usize, roles: &[ShapeRole]) -> bool {
        let column = &self.columns[place];
        let behind = roles
            .iter()
            .rposition(|role| *role == ShapeRole::Measured)
            .is_some_and(|last| last < place);
        if !behind || column.kind != ColumnKind::Figures || column.stats.orderly() || column.stats.count < 4 {
            return false;
        }
        let mut values: Vec<u64> = self
            .table
            .grid
            .column(column.index)
            .filter(|value| !value.is_nan())
            .map(f64::to_bits)
            .collect();
        let count = values.len();
        values.sort_unstable();
        values.dedup();
        values.len() * 3 > count
    }
}

static SIGNS: &[TemplateSign] = &[
    TemplateSign {
        id: "values-go-on",
        from: From::Preamble,
        weight: SignWeight::Decisive,
        against: false,
        of: Template::Packed,
        says: "the columns have no headers, and each line goes on from its first number in the step that the words state",
        example: "Absorbance of beet, in steps of 2 nm\n400 0.1 0.12 0.13 0.15 0.16\n410 0.2 0.22 0.25 0.26 0.27\n420 0.1 0.11 0.12 0.14 0.15\n",
        shows: |shaper, _| shaper.may_be_packed(),
    },
    TemplateSign {
        id: "numbers-across",
        from: From::Layout,
        weight: SignWeight::Strong,
        against: false,
        of: Template::Matrix,
        says: "numbers stand over nearly all columns but the first",
        example: "nm\t0 min\t5 min\t10 min\n400\t0.1\t0.2\t0.3\n410\t0.2\t0.3\t0.4\n420\t0.3\t0.4\t0.5\n",
        shows: |shaper, _| shaper.has_numbers_across(),
    },
    TemplateSign {
        id: "columns-that-run",
        from: From::Textual,
        weight: SignWeight::Strong,
        against: false,
        of: Template::SideBySide,
        says: "several columns may run, by their headers",
        example: "nm\tA\tnm\tA\n400\t0.1\t500\t0.2\n410\t0.2\t510\t0.3\n420\t0.3\t520\t0.4\n",
        shows: |_, glance| glance.coordinates.len() >= 2,
    },
    TemplateSign {
        id: "several-coordinates",
        from: From::Textual,
        weight: SignWeight::Strong,
        against: false,
        of: Template::LongForm,
        says: "each row has several coordinates",
        example: "Time (min)\tWavelength (nm)\tA\n0\t400\t0.1\n0\t410\t0.2\n5\t400\t0.3\n5\t410\t0.4\n",
        shows: |_, glance| glance.coordinates.len() >= 2,
    },
    TemplateSign {
        id: "coordinate-of-no-rows",
        from: From::Numeric,
        weight: SignWeight::Decisive,
        against: true,
        of: Template::LongForm,
        says: "a column behind the measured ones goes to and fro and hardly has a value twice: rows share no such coordinate",
        example: "Wavelength (nm)\tA\tt (s)\n400\t0.1\t0.31\n410\t0.2\t0.29\n420\t0.3\t0.35\n430\t0.3\t0.33\n440\t0.2\t0.38\n",
        shows: |shaper, glance| {
            let mut coordinates = glance.coordinates.iter();
            glance.coordinates.len() >= 2 && coordinates.any(|&i| shaper.shares_no_rows(i, glance.roles))
        },
    },
    TemplateSign {
        id: "column-that-runs",
        from: From::Textual,
        weight: SignWeight::Strong,
        against: false,
        of: Template::OneAxis,
        says: "a column may run, by its header",
        example: "Wavelength (nm)\tA\n400\t0.1\n410\t0.3\n420\t0.2\n",
        shows: |_, glance| !glance.coordinates.is_empty(),
    },
    TemplateSign {
        id: "computed-from-readings",
        from: From::Numeric,
        weight: SignWeight::Decisive,
        against: true,
        of: Template::OneAxis,
        says: "the only column that may run was computed from the readings in front of it",
        example: "Sample\tA260\tA280\tng/µl\np1\t0.121\t0.069\t6.05\np2\t0.177\t0.102\t8.85\np3\t0.933\t0.477\t46.65\n",
        shows: |shaper, glance| shaper.is_computed(glance.coordinates, glance.roles),
    },
    TemplateSign {
        id: "names-in-front",
        from: From::Layout,
        weight: SignWeight::Moderate,
        against: false,
        of: Template::Readings,
        says: "names stand in front of the rows, and no column may run by its header",
        example: "Sample\tA405\nbeet\t0.1\nchard\t0.3\nspinach\t0.2\n",
        shows: |_, glance| glance.coordinates.is_empty() && glance.roles.first() == Some(&ShapeRole::Names),
    },
];
