//! Readings of a table that give different numbers, and that nothing in the block decides: asked, never chosen.

use curvary_jcamp_dx::{self as dx, Choice, Choices, ReadOptions};
use curvary_record::{Alternative, Code, Label, Place, Question, Span};

use crate::{Assumptions, Source, assume};

/// How a choice is asked and settled.
struct ChoiceTexts {
    choice: Choice,
    code: Code,
    message: &'static str,
    /// What `--assume` calls it, and the answers: the reading of the standard and the other one, each with what it
    /// means.
    about: &'static str,
    standard: (&'static str, &'static str),
    other: (&'static str, &'static str),
    /// The remark of the codec that points at the place.
    remark: dx::Code,
}

/// Every choice that the codec leaves open.
static ASKED: [ChoiceTexts; Choice::ALL.len()] = [
    ChoiceTexts {
        choice: Choice::XFactor,
        code: Code::new("x-factor-or-labels"),
        message: "XFACTOR is not 1, but FIRSTX, LASTX and the like hold the X as printed, without it",
        about: "x-factor",
        standard: ("stated", "XFACTOR holds, and the labels forgot it"),
        other: ("labels", "the labels hold, and XFACTOR is left over"),
        remark: dx::Code::FirstXScaled,
    },
    ChoiceTexts {
        choice: Choice::YFactor,
        code: Code::new("y-factor-or-labels"),
        message: "FIRSTY, MAXY and MINY ask for another factor than YFACTOR, or it is stated twice, or not at all",
        about: "y-factor",
        standard: ("stated", "YFACTOR holds as it is stated first, or as 1"),
        other: ("labels", "the other labels hold"),
        remark: dx::Code::FirstYScaled,
    },
    ChoiceTexts {
        choice: Choice::Exponent,
        code: Code::new("exponent-or-squeezed-digit"),
        message: "an E without sign stands behind a digit: an exponent, or the squeezed digit 5 of the standard",
        about: "exponent",
        standard: ("squeezed", "E3 is the number 53, as the standard says"),
        other: ("power", "E3 is the exponent of the number before it"),
        remark: dx::Code::ExponentOrSqueezed,
    },
    ChoiceTexts {
        choice: Choice::Form,
        code: Code::new("pairs-or-even-spacing"),
        message: "the form says even spacing, but each line holds one ordinate, and the X printed there are uneven",
        about: "form",
        standard: ("spaced", "the points are evenly spaced, and some X are misprints"),
        other: ("pairs", "the lines are pairs of X and ordinate"),
        remark: dx::Code::FormReadAsPairs,
    },
    ChoiceTexts {
        choice: Choice::Spacing,
        code: Code::new("spacing-undecided"),
        message: "the labels and the X at the line starts do not give one certain spacing",
        about: "spacing",
        standard: ("labels", "the labels hold"),
        other: ("lines", "the X at the line starts hold"),
        remark: dx::Code::GridFromLines,
    },
    ChoiceTexts {
        choice: Choice::YChecks,
        code: Code::new("check-values-or-points"),
        message: "the first ordinate of each line repeats the one before, and both the standard's check values and \
                  new points fit",
        about: "y-check",
        standard: ("present", "they are check values"),
        other: ("absent", "they are points"),
        remark: dx::Code::YCheckAbsent,
    },
];

/// What is asked about JCAMP-DX.
pub(crate) fn asked() -> impl Iterator<Item = assume::QuestionKind> {
    ASKED
        .iter()
        .map(|asked| assume::QuestionKind::one_of(asked.about, [asked.standard.0, asked.other.0]))
}

/// What a person has settled.
pub(super) fn settled(assume: &Assumptions) -> Choices {
    ASKED.iter().fold(Choices::default(), |choices, asked| {
        match assume.get(asked.about) {
            Some(answer) if answer == asked.standard.0 => choices.with(asked.choice, true),
            Some(answer) if answer == asked.other.0 => choices.with(asked.choice, false),
            _ => choices,
        }
    })
}

/// The tables of a block and its pages.
pub(super) fn tables(block: &dx::Block) -> impl Iterator<Item = &dx::Table> {
    let pages = block.ntuples.iter().flat_map(|ntuples| &ntuples.pages);
    block
        .tables
        .iter()
        .chain(pages.filter_map(|page| page.table.as_deref()))
}

/// What has to be asked about a block of a document that was read with `options` and these remarks.
pub(super) fn questions(
    source: &Source,
    options: &ReadOptions,
    remarks: &[dx::Remark],
    block: &dx::Block,
) -> Vec<Question> {
    let open = |asked: &&ChoiceTexts| tables(block).any(|table| table.doubts.contains(&asked.choice));
    ASKED
        .iter()
        .filter(open)
        .filter_map(|asked| {
            let at = tables(block).position(|table| table.doubts.contains(&asked.choice))?;
            let read = |standard: bool| {
                let choices = options.choices.with(asked.choice, standard);
                let options = ReadOptions { choices, ..*options };
                let alone = dx::read(source.text().get(block.span.start..block.span.end)?, &options);
                tables(alone.blocks.first()?)
                    .nth(at)
                    .map(points)
                    .filter(|points| !points.is_empty())
            };
            let readings = [(asked.standard, read(true)), (asked.other, read(false))];
            // Factors that both are one say that no factor is stated: that still needs an answer. All else that gives the
            // same numbers does not.
            let same = matches!(&readings, [(_, Some(one)), (_, Some(other))] if one == other);
            if same && asked.choice != Choice::YFactor {
                return None;
            }
            let apart = match &readings {
                [(_, Some(one)), (_, Some(other))] => one.iter().zip(other).position(|(a, b)| a != b),
                _ => None,
            };
            let readings = readings
                .into_iter()
                .take(if same { 1 } else { 2 })
                .filter_map(|((answer, means), points)| {
                    Some(Alternative {
                        assume: format!("{}={answer}", asked.about),
                        says: format!("{means}: {}", described(&points?, apart)),
                    })
                })
                .collect();
            let table = tables(block).nth(at)?;
            Some(Question {
                code: asked.code.clone(),
                message: asked.message.to_owned(),
                readings,
                labels: vec![Label {
                    place: place(source, remarks, block, table, asked.remark),
                    text: String::new(),
                }],
            })
        })
        .collect()
}

/// Where the codec remarked on it, or the table.
fn place(
    source: &Source,
    remarks: &[dx::Remark],
    block: &dx::Block,
    table: &dx::Table,
    code: dx::Code,
) -> Place {
    let remark = remarks.iter().find(|remark| {
        remark.code == code && (block.span.start..block.span.end).contains(&remark.place.span.start)
    });
    match remark {
        Some(remark) => super::told::place_of(&remark.place),
        None => source.place(Span::new(table.span.start, table.span.end)),
    }
}

/// The points of a table, of whichever kind.
fn points(table: &dx::Table) -> Vec<(f64, f64)> {
    match &table.data {
        dx::Data::Peaks(peaks) => peaks
            .rows
            .iter()
            .filter_map(|row| Some((row.x, row.y?)))
            .collect(),
        dx::Data::Assignments(list) => list.rows.iter().filter_map(|row| Some((row.x, row.y?))).collect(),
        data => data.curve().map_or_else(Vec::new, |curve| {
            curve.x.iter().copied().zip(curve.y.iter().copied()).collect()
        }),
    }
}

/// `4 points, x from 400 to 403, the first is 0.125`, with the first point that another reading gives otherwise, unless
/// that is the first of all.
fn described(points: &[(f64, f64)], apart: Option<usize>) -> String {
    match points {
        [] => "no points".to_owned(),
        [(x, y)] => format!("one point, {y} at {x}"),
        [(first, y), .., (last, _)] => {
            let mut says = format!(
                "{} points, x from {first} to {last}, the first is {y}",
                points.len()
            );
            if let Some(at) = apart.filter(|at| *at > 0)
                && let Some((x, y)) = points.get(at)
            {
                says.push_str(&format!(", point {} is {y} at {x}", at + 1));
            }
            says
        }
    }
}
