//! Answers where they were asked for, and nowhere else.
//!
//! A source is read without any answer first. What is in no doubt then stays as it is, whatever was answered. An answer
//! comes into force only when a question of this very source is about the same thing, and offers it or leaves room for
//! what a person writes out; the runs that did not ask are kept from the reading before. Answers may raise further
//! questions, so this goes on until none of the answers left is asked for.

use curvary_record::{
    Alternative, Column, Diagnostic, Quantity, Question, Run, Topic, TopicAnswer, Unit, code,
};

use crate::assume::is_word;
use crate::vocabulary::LocalWord;
use crate::{Assumptions, Reading};

/// A reading with the answers that it asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SettledReading {
    /// The reading.
    pub reading: Reading,
    /// The answers that were asked for, as `about=answer`, in the order in which they came into force.
    pub met: Vec<String>,
}

/// Reads with as many of the answers as are asked for; `read` reads the source under some answers.
pub(crate) fn settled(given: &Assumptions, mut read: impl FnMut(Assumptions) -> Reading) -> SettledReading {
    let mut reading = read(Assumptions::none());
    let mut force = Assumptions::none();
    let (mut words, mut left): (Vec<_>, Vec<_>) =
        given.answers().partition(|answer| is_word(answer.topic.as_str()));
    let mut met = Vec::new();
    loop {
        let asked = |answer: &TopicAnswer| {
            let precise = given.is_precise(answer.topic.as_str());
            questions(&reading).any(|question| takes(question, answer, precise))
                || reading.runs.is_empty() && precise
        };
        let (mut now, later): (Vec<_>, Vec<_>) = left.into_iter().partition(asked);
        left = later;
        // What was answered about this question weighs more than what a word means everywhere.
        if now.is_empty() && is_open(&reading) {
            now = std::mem::take(&mut words);
            // Each is tried alone, so that only those that the source has are told.
            now.retain(|word| now_differs(&reading, &force, word, &mut read));
        }
        if now.is_empty() {
            break;
        }
        let trial = with(&force, &now);
        let again = read(trial.clone());
        if reading.runs.is_empty() && again.runs.is_empty() {
            continue;
        }
        match merged(&reading, again, &now, given) {
            Ok(better) => {
                reading = better;
                force = trial;
                met.extend(now.iter().map(TopicAnswer::to_string));
            }
            Err(why) => reading.remarks.push(*why),
        }
    }
    SettledReading { reading, met }
}

fn with(force: &Assumptions, more: &[TopicAnswer]) -> Assumptions {
    let mut trial = force.clone();
    for answer in more {
        trial.put(answer.clone());
    }
    trial
}

fn now_differs(
    reading: &Reading,
    force: &Assumptions,
    word: &TopicAnswer,
    read: &mut impl FnMut(Assumptions) -> Reading,
) -> bool {
    let again = read(with(force, std::slice::from_ref(word)));
    // A refusal in other words settles nothing.
    again.runs != reading.runs
}

/// Whether something is asked, or nothing could be read.
fn is_open(reading: &Reading) -> bool {
    reading.runs.is_empty() || reading.runs.iter().any(Run::in_question)
}

fn questions(reading: &Reading) -> impl Iterator<Item = &Question> {
    reading.runs.iter().flat_map(|run| run.questions.iter())
}

/// Whether a question is about the thing, and offers the answer. What a person writes out for this very file, or for
/// files written like it, need not be offered where an axis is asked about.
fn takes(question: &Question, answer: &TopicAnswer, precise: bool) -> bool {
    let offered = || {
        question
            .readings
            .iter()
            .filter_map(Alternative::answer)
            .filter(|own| own.topic == answer.topic)
            .map(|offered| offered.value)
    };
    if offered().any(|offered| offered == answer.value) {
        return true;
    }
    if !answer.topic.is_axis() || answer.value.starts_with("new:") && !precise {
        return false;
    }
    // A quantity alone is enough where it is offered in one unit.
    let mut same = offered().filter(|offered| offered.split(':').next() == Some(answer.value.as_str()));
    let one = same.next().is_some() && same.next().is_none();
    // Where no quantity that we know fits the numbers, the axis is asked about without an offer for it.
    one || precise && (question.axis().as_ref() == Some(&answer.topic) || offered().next().is_some())
}

/// The newer reading, with the runs that did not ask kept as they were; why not, where that cannot be.
fn merged(
    old: &Reading,
    new: Reading,
    answers: &[TopicAnswer],
    given: &Assumptions,
) -> Result<Reading, Box<Diagnostic>> {
    let told = || {
        answers
            .iter()
            .map(|answer| format!("`{answer}`"))
            .collect::<Vec<_>>()
            .join(" and ")
    };
    // A word may be in any column, whatever the question is about.
    let word = answers.iter().any(|answer| is_word(answer.topic.as_str()));
    let asked = |run: &Run| {
        word && run.in_question()
            || run.questions.iter().any(|question| {
                answers
                    .iter()
                    .any(|answer| takes(question, answer, given.is_precise(answer.topic.as_str())))
            })
    };
    let meant: Vec<Quantity> = answers
        .iter()
        .filter_map(|answer| LocalWord::read(&answer.to_string()))
        .map(|word| word.axis().0)
        .collect();
    for axis in [Topic::X, Topic::Y] {
        for trace in new.runs.iter().flat_map(|run| run.traces.iter()) {
            let column = if axis == Topic::X { &trace.x } else { &trace.y };
            let settled = meant.contains(&column.quantity)
                || answers
                    .iter()
                    .any(|answer| answer.topic == axis && answer.value.contains(column.quantity.as_str()));
            if settled && let Some(why) = misfit(column) {
                let message = format!("{} was not used: {why}", told());
                return Err(Box::new(
                    Diagnostic::warning(code::ANSWER_DOES_NOT_FIT, message)
                        .help("answer this file on its own, or take the answer back"),
                ));
            }
        }
    }
    let sure: Vec<&Run> = old.runs.iter().filter(|run| !asked(run)).collect();
    if sure.is_empty() {
        return Ok(new);
    }
    let same_runs =
        old.runs.len() == new.runs.len() && old.runs.iter().zip(&new.runs).all(|(a, b)| a.id == b.id);
    if same_runs {
        let runs = old
            .runs
            .iter()
            .zip(new.runs)
            .map(|(old, new)| if asked(old) { new } else { old.clone() })
            .collect();
        return Ok(Reading { runs, ..new });
    }
    if sure
        .iter()
        .all(|run| new.runs.iter().any(|other| other.traces == run.traces))
    {
        return Ok(new);
    }
    let message = format!(
        "{} was not used: it would change a part of the file that is in no doubt",
        told()
    );
    Err(Box::new(
        Diagnostic::warning(code::ANSWER_DOES_NOT_FIT, message)
            .help("split the file, or describe it in a layout"),
    ))
}

/// Why numbers cannot be what an answer says they are. Only what cannot be is told, not what is rare.
fn misfit(column: &Column) -> Option<String> {
    let values = column.values.iter().copied();
    let (least, most) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), value| {
        (least.min(value), most.max(value))
    });
    if least > most {
        return None;
    }
    let told = |what: &str| Some(format!("the values run from {least} to {most}, and {what}"));
    let quantity = &column.quantity;
    if *quantity == Quantity::TIME {
        let falls = column.values.windows(2).all(|two| two[0] > two[1]) && column.values.len() > 1;
        return if falls {
            told("a time does not run backwards")
        } else {
            None
        };
    }
    if *quantity == Quantity::WAVELENGTH {
        let nanometres = |value: f64| column.unit.convert(value, &Unit::NANOMETRE).ok();
        return match (nanometres(least), nanometres(most)) {
            (Some(least), _) if least <= 0.0 => told("a wavelength is above zero"),
            (_, Some(most)) if most < 10.0 => told("light of less than 10 nm is none that was measured here"),
            _ => None,
        };
    }
    if matches!(quantity.as_str(), "wavenumber" | "energy" | "frequency") && least <= 0.0 {
        return told("none of them can be zero or less");
    }
    if matches!(quantity.as_str(), "transmittance" | "reflectance") {
        let whole = if column.unit == Unit::ONE { 1.0 } else { 100.0 };
        if most > whole * 2.0 {
            return told("no more light comes out than went in");
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Readers, Source};

    fn read(text: &str, answers: &[&str], precise: bool) -> SettledReading {
        let mut assume = Assumptions::none();
        for answer in answers {
            assume.add(answer).expect("an answer");
        }
        if precise {
            assume = assume.precise();
        }
        let source = Source::new("a.txt", text.as_bytes().to_vec()).assuming(assume);
        Readers::built_in().settle(&source, None).1
    }

    const SURE: &str = "Wavelength (nm)\tAbsorbance\n400\t0.100\n410\t0.200\n420\t0.300\n430\t0.200\n";
    const ASKED: &str = "Time\tAbsorbance\n0\t0.100\n5\t0.200\n10\t0.300\n15\t0.400\n";

    #[test]
    fn what_is_in_no_doubt_stays() {
        let plain = read(SURE, &[], false);
        assert!(plain.reading.runs.iter().all(|run| !run.in_question()));
        for answer in ["x=time:s", "y=transmittance:%", "decimal=comma", "date=day-first"] {
            for precise in [false, true] {
                assert_eq!(read(SURE, &[answer], precise), plain, "{answer}");
            }
        }
    }

    #[test]
    fn what_was_asked_is_settled_and_told() {
        let open = read(ASKED, &[], false);
        assert!(open.reading.runs[0].in_question(), "{:?}", open.reading);
        let settled = read(
            ASKED,
            &["x=time:min", "y=transmittance:%", "decimal=comma"],
            false,
        );
        assert_eq!(settled.met, ["x=time:min"]);
        let run = &settled.reading.runs[0];
        assert!(!run.in_question(), "{:?}", run.questions);
        assert_eq!(run.traces[0].x.unit.code(), "min");
        assert_eq!(run.traces[0].y.quantity, Quantity::ABSORBANCE);
    }

    #[test]
    fn what_was_not_offered_is_taken_only_for_this_very_file() {
        let open = read(ASKED, &[], false);
        assert_eq!(read(ASKED, &["x=temperature:Cel"], false), open);
        let settled = read(ASKED, &["x=temperature:Cel"], true);
        assert_eq!(
            settled.reading.runs[0].traces[0].x.quantity,
            Quantity::TEMPERATURE
        );
    }
}
