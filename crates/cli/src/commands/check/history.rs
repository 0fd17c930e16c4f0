//! Kept checks over the years: each item's values by date, and whether they drift.

use std::collections::BTreeMap;
use std::io::Write;

use curvary_analysis::checks::{HistoryPoint, Trend, TrendVerdict, trend};
use curvary_record::{Code, Diagnostic, OutcomeKind};
use serde::Serialize;

use crate::Environment;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{ASKED, FAINT, STRONG, Screen, StyledText, plural};
use crate::subject::{ReadingDemand, Subject, Subjects};
use crate::table::one_line;
use crate::telling;

/// One value of a kept check.
#[derive(Serialize)]
struct CheckValue {
    date: String,
    #[serde(skip)]
    day: f64,
    /// What is followed: the value, or its distance from what was expected.
    value: f64,
    /// What was expected, where `value` is the distance from it.
    #[serde(skip_serializing_if = "Option::is_none")]
    expected: Option<f64>,
    verdict: String,
    #[serde(skip)]
    unit: String,
    #[serde(skip)]
    limits: [Option<f64>; 2],
}

/// The history of one item, as `--json` shows it.
#[derive(Serialize)]
struct History {
    check: String,
    item: String,
    unit: String,
    /// Limits of the last check.
    limits: [Option<f64>; 2],
    values: Vec<CheckValue>,
    #[serde(skip_serializing_if = "Option::is_none")]
    trend: Option<Trend>,
    /// Why there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    no_trend: Option<String>,
}

/// Days are counted from here.
const FIRST_DAY: jiff::civil::Date = jiff::civil::date(2000, 1, 1);

/// Shows the kept checks of runs.
pub(super) fn show(subjects: &Subjects, setting: &Environment, screen: &mut Screen) -> CommandResult {
    let asked = subjects.asked(setting)?;
    let mut series: BTreeMap<(String, String), Vec<CheckValue>> = BTreeMap::new();
    let (mut undated, mut undetermined) = (0_u64, 0_u64);
    let compute = |subjects: &[Subject]| {
        let all: Vec<_> = subjects.iter().flat_map(kept).collect();
        (all, Vec::new())
    };
    subjects.each(
        &asked,
        ReadingDemand::Whole,
        "curvary check",
        compute,
        |_, given| {
            for (key, kept) in given.into_iter().flatten() {
                match kept {
                    KeptCheck::Value(kept) => series.entry(key).or_default().push(kept),
                    KeptCheck::Undated => undated += 1,
                    KeptCheck::Undetermined => undetermined += 1,
                }
            }
            Ok(())
        },
    )?;
    let histories: Vec<History> = series.into_iter().map(History::of).collect();
    if subjects.json {
        screen.json(&histories)?;
    } else {
        histories.iter().try_for_each(|history| history.print(screen))?;
    }
    if undated > 0 {
        let values = plural(undated, "value");
        screen.say(format_args!(
            "left out, because their runs have no date: {values}"
        ));
    }
    if undetermined > 0 {
        let items = plural(undetermined, "item");
        screen.say(format_args!(
            "left out, because their checks gave no number: {items}"
        ));
    }
    if histories.is_empty() {
        return Err(Failure::nothing(
            Diagnostic::error(Code::new("no-run"), "no check of these runs is kept")
                .help("`curvary check RUN` checks a run and keeps the result"),
        ));
    }
    Ok(Ending::Done)
}

/// What a kept check has of an item.
enum KeptCheck {
    Value(CheckValue),
    /// The run has no date.
    Undated,
    /// The check was not decided, and gave no number.
    Undetermined,
}

/// Every value of a run's kept checks, under check and item; nothing to place where the run has no date.
fn kept(subject: &Subject) -> Vec<((String, String), KeptCheck)> {
    let date = subject.run.fields.text("date").unwrap_or_default();
    let day = date
        .get(..10)
        .and_then(|text| text.parse::<jiff::civil::Date>().ok())
        .map(|date| f64::from((date - FIRST_DAY).get_days()));
    let mut all = Vec::new();
    for outcome in subject
        .outcomes
        .iter()
        .filter(|outcome| outcome.kind == OutcomeKind::Check)
    {
        for (number, parameter) in (1..).zip(&outcome.parameters) {
            // The reason begins with the item and its verdict: `holmium band at 241.15 nm: pass; …`.
            let reason = parameter.reason.as_deref().unwrap_or_default();
            let (item, rest) = reason.split_once(": ").unwrap_or((&parameter.name, reason));
            let verdict = rest.split(';').next().unwrap_or_default().to_owned();
            let limit = |end: &str| outcome.statistics.get(&format!("limit_{end}_{number}")).copied();
            let Some(value) = parameter.value else {
                all.push(((outcome.model.clone(), item.to_owned()), KeptCheck::Undetermined));
                continue;
            };
            let kept = day.map_or(KeptCheck::Undated, |day| {
                KeptCheck::Value(CheckValue {
                    date: date.to_owned(),
                    day,
                    value,
                    expected: outcome.statistics.get(&format!("expected_{number}")).copied(),
                    verdict,
                    unit: parameter
                        .unit
                        .as_ref()
                        .map(|unit| unit.display())
                        .unwrap_or_default(),
                    limits: [limit("low"), limit("high")],
                })
            });
            all.push(((outcome.model.clone(), item.to_owned()), kept));
        }
    }
    all
}

impl History {
    fn of(((check, item), mut values): ((String, String), Vec<CheckValue>)) -> Self {
        values.sort_by(|a, b| a.day.total_cmp(&b.day));
        let (unit, limits) = values
            .last()
            .map(|last| (last.unit.clone(), last.limits))
            .unwrap_or_default();
        let points: Vec<HistoryPoint> = values
            .iter()
            .map(|kept| HistoryPoint {
                day: kept.day,
                value: kept.value,
            })
            .collect();
        let (trend, no_trend) = match trend(&points, limits, 0.95) {
            Ok(trend) => (Some(trend), None),
            Err(refusal) => (None, Some(format!("{}: {refusal}", refusal.code()))),
        };
        Self {
            check,
            item,
            unit,
            limits,
            values,
            trend,
            no_trend,
        }
    }

    fn print(&self, screen: &mut Screen) -> Result<(), Failure> {
        let place = format!("{}, in {}", self.check, self.unit);
        writeln!(
            screen,
            "{}  {}",
            StyledText(STRONG, one_line(&self.item)),
            StyledText(FAINT, place)
        )?;
        for kept in &self.values {
            let style = if kept.verdict == "pass" { FAINT } else { ASKED };
            let verdict = StyledText(style, one_line(&kept.verdict));
            let sign = if kept.value > 0.0 { "+" } else { "" };
            let value = match kept.expected {
                Some(expected) => format!(
                    "{} ({sign}{} from {})",
                    telling::significant(expected + kept.value),
                    telling::significant(kept.value),
                    telling::significant(expected)
                ),
                None => telling::significant(kept.value),
            };
            writeln!(screen, "  {}  {value}  {verdict}", kept.date)?;
        }
        if let [.., before, last] = self.values.as_slice()
            && last.verdict == "fail"
            && before.verdict != "fail"
        {
            let step = telling::significant((last.value - before.value).abs());
            let words = format!(
                "the last one fails: it lies {step} {} from the one before",
                self.unit
            );
            writeln!(screen, "  {}", StyledText(ASKED, words))?;
        }
        if let Some(why) = &self.no_trend {
            writeln!(screen, "  {}", StyledText(FAINT, format!("no trend: {why}")))?;
        }
        let Some(trend) = &self.trend else { return Ok(()) };
        let words = match trend.verdict {
            TrendVerdict::Rising => "it rises",
            TrendVerdict::Falling => "it falls",
            TrendVerdict::NoDriftSeen => "no steady drift is seen; a straight line through all gives",
            TrendVerdict::Constant => "all values are equal",
        };
        let (slope, error) = telling::rounded(trend.per_year.value, trend.per_year.standard_error);
        let error = if error.is_empty() {
            error
        } else {
            format!(" ± {error}")
        };
        writeln!(screen, "  {words}: {slope}{error} {} a year", self.unit)?;
        for reach in &trend.reaches {
            let date = i64::try_from(reach.day.round() as i128)
                .ok()
                .and_then(|days| jiff::Span::new().try_days(days).ok())
                .and_then(|span| FIRST_DAY.checked_add(span).ok());
            if let Some(date) = date {
                let words = format!(
                    "if it goes on so, it meets its limit {} about {date}",
                    reach.limit
                );
                writeln!(screen, "  {}", StyledText(ASKED, words))?;
            }
        }
        Ok(())
    }
}
