//! Which points of a curve are fitted, in which unit, and what goes with them.

use curvary_record::{Code, Column, Diagnostic, Outcome, Quantity, Run, Technique, Trace, Unit, code};

use super::column_errors::{Recorded, errors_in};
use super::model::Chosen;
use crate::courses::{Conversion, Preparation, PreparedTrace, prepare};
use crate::refusal::Refusal;
use crate::study::plan::{AxisSpan, FitPlan};
use crate::study::spectrum::labels_of;
use crate::study::{TRUSTED_ABSORBANCE, is_absorbance, label_of, level_of, stated};

/// What a model needs to run along, where it minds.
pub(super) fn needs(chosen: &Chosen) -> Option<Quantity> {
    match chosen {
        Chosen::Course(_) => Some(Quantity::TIME),
        Chosen::Law(law) => match law.variables[0] {
            "t" => Some(Quantity::TIME),
            "T" => Some(Quantity::TEMPERATURE),
            "pH" => Some(Quantity::PH),
            // A part of a total has no dimension, and no name of its own among the quantities.
            "f" => None,
            _ => Some(Quantity::CONCENTRATION),
        },
        Chosen::Formula(_) => None,
    }
}

/// Refuses a law over numbers of rows: they are no times and no concentrations, and a constant per row would pass for one.
fn refuse_counts(
    plan: &FitPlan,
    chosen: &Chosen,
    trace: &Trace,
    needed: Option<&Quantity>,
) -> Result<(), Refusal> {
    if trace.x.quantity != Quantity::INDEX || matches!(chosen, Chosen::Formula(_)) {
        return Ok(());
    }
    let what = needed.map_or("another axis", Quantity::as_str);
    Err(Refusal::Unsuitable {
        why: format!(
            "the x axis only counts the readings (index), and {} needs {what}",
            plan.model
        ),
    })
}

pub(in crate::study) fn preparation(
    plan: &FitPlan,
    chosen: &Chosen,
    run: &Run,
    trace: &Trace,
) -> Result<Preparation, Refusal> {
    let needed = needs(chosen);
    refuse_counts(plan, chosen, trace, needed.as_ref())?;
    let known = trace.x.quantity != Quantity::UNKNOWN && trace.x.unit != Unit::ONE;
    if let Some(needed) = &needed
        && known
        && trace.x.quantity != *needed
    {
        return Err(Refusal::Unsuitable {
            why: format!(
                "the x axis is {}, and {} needs {needed}",
                trace.x.quantity, plan.model
            ),
        });
    }
    // What another technique measures, a chromatogram or a fluorescence, follows no law of absorbance and concentration.
    let of_ours = trace.y.quantity.is_of_light()
        || [Quantity::CONCENTRATION, Quantity::RATE].contains(&trace.y.quantity);
    if needed.is_some() && !Technique::ALL.contains(&run.technique) && !of_ours {
        return Err(Refusal::Unsuitable {
            why: format!(
                "the run is a {}, and {} is a law of absorbance or concentration; `--formula` fits anything",
                run.technique.as_str().replace('-', " "),
                plan.model
            ),
        });
    }
    let is_time = needed == Some(Quantity::TIME);
    if is_time && [Quantity::TEMPERATURE, Quantity::PH].contains(&trace.y.quantity) {
        return Err(Refusal::Unsuitable {
            why: format!(
                "a course of absorbance or concentration is needed; this is {}",
                trace.y.quantity
            ),
        });
    }
    let stretch = |span: &AxisSpan, what: &str| -> Result<(f64, f64), Refusal> {
        let own = |value: f64| match &span.unit {
            None => Ok(value),
            Some(unit) => unit
                .convert(value, &trace.x.unit)
                .map_err(|_| Refusal::Unsuitable {
                    why: format!(
                        "the {what} is in {}, the axis in {}",
                        unit.display(),
                        trace.x.unit.display()
                    ),
                }),
        };
        Ok((own(span.from)?, own(span.to)?))
    };
    let window = plan
        .window
        .as_ref()
        .map(|span| stretch(span, "window"))
        .transpose()?;
    let leave_out: Vec<(f64, f64)> = plan
        .leave_out
        .iter()
        .map(|span| stretch(span, "stretch that is left out"))
        .collect::<Result<_, _>>()?;
    let dead_time = if is_time {
        let seconds = plan
            .dead_time
            .or_else(|| stated(run, Some(trace), "dead-time", &Unit::SECOND));
        seconds.map_or(0.0, |seconds| {
            Unit::SECOND.convert(seconds, &trace.x.unit).unwrap_or(seconds)
        })
    } else {
        0.0
    };
    // The limit is one of absorbance; a formula may be fitted to thousandths of it.
    let limit = plan.trusted_absorbance.unwrap_or(TRUSTED_ABSORBANCE);
    let saturated_above =
        is_absorbance(&trace.y).then(|| Unit::ABSORBANCE.convert(limit, &trace.y.unit).unwrap_or(limit));
    let conversion = if plan.concentration || plan.coefficient.is_some() {
        let missing = |what: &str| Refusal::Unsuitable {
            why: format!("no {what} is known, so absorbance cannot be turned into concentration"),
        };
        let coefficient = Unit::ucum("L/mol/cm").ok();
        let coefficient = plan.coefficient.or_else(|| {
            stated(
                run,
                Some(trace),
                "molar-absorption-coefficient",
                coefficient.as_ref()?,
            )
        });
        let centimetre = Unit::ucum("cm").ok();
        let path = plan
            .path
            .or_else(|| stated(run, Some(trace), "path-length", centimetre.as_ref()?));
        Some(Conversion {
            coefficient: coefficient.ok_or_else(|| missing("molar absorption coefficient"))?,
            path: path.ok_or_else(|| missing("path length"))?,
        })
    } else {
        None
    };
    if conversion.is_some() && !is_absorbance(&trace.y) {
        return Err(Refusal::Unsuitable {
            why: format!(
                "only absorbance is turned into concentration; this is {}",
                trace.y.quantity
            ),
        });
    }
    Ok(Preparation {
        window,
        leave_out,
        saturated_above,
        dead_time,
        conversion,
        concentration: false,
        // Readings at one time are replicates of each other.
        equal_times: true,
        resolution: None,
    })
}

/// Checks and cuts a trace; points that were marked as saturated are left out first.
pub(in crate::study) fn prepared(
    how: &Preparation,
    trace: &Trace,
    ordered: bool,
    outcome: &mut Outcome,
) -> Result<PreparedTrace, Refusal> {
    let marked: Vec<usize> = trace.saturated.iter().map(|at| *at as usize).collect();
    let kept: Vec<usize> = (0..trace.len()).filter(|i| !marked.contains(i)).collect();
    let pick = |column: &Column| -> Vec<f64> { kept.iter().map(|i| column.values[*i]).collect() };
    let (x, y) = (pick(&trace.x), pick(&trace.y));
    if kept.is_empty() && !marked.is_empty() {
        return Err(Refusal::AllSaturated {
            limit: how.saturated_above.unwrap_or(f64::INFINITY),
            count: marked.len(),
        });
    }
    let mut found = if ordered {
        prepare(&x, &y, how)?
    } else {
        // Order means nothing to a law of concentrations or a formula.
        let mut order: Vec<usize> = (0..x.len()).collect();
        order.sort_by(|a, b| x[*a].total_cmp(&x[*b]));
        let sorted = |column: &[f64]| -> Vec<f64> { order.iter().map(|i| column[*i]).collect() };
        let mut found = prepare(&sorted(&x), &sorted(&y), how)?;
        // Back into the order of the source, which decides nothing but is what people know.
        let mut places: Vec<(usize, f64, f64)> = found
            .used
            .iter()
            .zip(found.time.iter().zip(&found.signal))
            .map(|(at, (x, y))| (order[*at], *x, *y))
            .collect();
        places.sort_by_key(|place| place.0);
        found.used = places.iter().map(|place| place.0).collect();
        found.time = places.iter().map(|place| place.1).collect();
        found.signal = places.iter().map(|place| place.2).collect();
        found
    };
    found.used = found.used.iter().map(|i| kept[*i]).collect();
    let mut say = |count: usize, why: String| {
        if count > 0 {
            outcome.remarks.push(Diagnostic::warning(
                code::POINTS_LEFT_OUT,
                format!(
                    "{count} {} left out: {why}",
                    if count == 1 { "point was" } else { "points were" }
                ),
            ));
        }
    };
    say(
        marked.len(),
        "marked as beyond the range of the instrument".into(),
    );
    if let Some(limit) = how.saturated_above {
        say(
            found.saturated,
            format!("an absorbance above {limit}, where stray light rules"),
        );
    }
    say(trace.absent as usize, "no number stood there".into());
    let asked = x
        .iter()
        .filter(|x| how.leave_out.iter().any(|(from, to)| (*from..=*to).contains(*x)))
        .count();
    say(asked, "they stand where the person asked to leave out".into());
    let doubled = found.time.windows(2).filter(|pair| pair[0] == pair[1]).count();
    if ordered && doubled > 0 {
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            format!(
                "{doubled} {} at the time of another: they count as replicates",
                if doubled == 1 {
                    "reading stands"
                } else {
                    "readings stand"
                }
            ),
        ));
    }
    Ok(found)
}

pub(super) fn negative(what: &str, column: &[f64]) -> Result<(), Refusal> {
    match column.iter().position(|value| *value < 0.0) {
        None => Ok(()),
        Some(index) => Err(Refusal::Negative {
            what: format!("the {what}"),
            index,
            value: column[index],
        }),
    }
}

/// The inhibitor concentration of each point of these traces together.
pub(super) fn levels(run: &Run, traces: &[&Trace], used: &[usize]) -> Result<Vec<f64>, Refusal> {
    let mut unit = None;
    let mut all = Vec::new();
    for trace in traces {
        let (value, own) = level_of(run, trace).ok_or_else(|| Refusal::Unsuitable {
            why: format!(
                "no inhibitor concentration is known for the trace `{}`",
                label_of(trace)
            ),
        })?;
        let unit = unit.get_or_insert_with(|| own.clone());
        let value = own.convert(value, unit).map_err(|_| Refusal::Unsuitable {
            why: "the inhibitor concentrations have units that do not convert into each other".into(),
        })?;
        all.extend(std::iter::repeat_n(value, trace.len()));
    }
    negative("inhibitor concentration", &all)?;
    Ok(used.iter().filter_map(|i| all.get(*i).copied()).collect())
}

/// The traces of a label that stand at the points of `trace`: one, or where several were joined to it as many, in their order.
fn at_its_points<'a>(run: &'a Run, trace: &Trace, label: &str) -> Result<Vec<&'a Trace>, Refusal> {
    let is_meant = |other: &&Trace| label_of(other) == label || other.y.name.as_deref() == Some(label);
    let others: Vec<&Trace> = run.traces.iter().filter(is_meant).collect();
    if others.is_empty() {
        let labels = labels_of(run).join(", ");
        return Err(Refusal::Unsuitable {
            why: format!("no column is called `{label}`; there are {labels}"),
        });
    }
    // The axis of the trace may have been brought into another unit.
    let places = |others: &[&Trace]| -> Option<Vec<f64>> {
        let mut all = Vec::new();
        for other in others {
            let conversion = other.x.unit.conversion(&trace.x.unit).ok()?;
            let same = other.x.unit == trace.x.unit;
            let values = other.x.values.iter();
            all.extend(values.map(|x| if same { *x } else { conversion.apply(*x) }));
        }
        Some(all)
    };
    let stand = |others: &[&Trace]| places(others).is_some_and(|all| all[..] == trace.x.values[..]);
    // The one at the same points; or all of them, one behind the other.
    if let Some(alone) = others.iter().find(|other| stand(&[**other])) {
        return Ok(vec![*alone]);
    }
    if !stand(&others) {
        return Err(Refusal::Unsuitable {
            why: format!("the column `{label}` does not stand at the same points"),
        });
    }
    Ok(others)
}

/// The values that another trace of the run has at the same x, for the points used, as they stand.
pub(super) fn beside(run: &Run, trace: &Trace, label: &str, used: &[usize]) -> Result<Vec<f64>, Refusal> {
    let others = at_its_points(run, trace, label)?;
    let values: Vec<f64> = others
        .iter()
        .flat_map(|other| other.y.values.iter().copied())
        .collect();
    Ok(used.iter().map(|i| values[*i]).collect())
}

/// The standard deviations that another trace of the run holds of the values of this one, for the points used, in the unit of what is
/// fitted. They have no sign, whatever that of the factor to concentration.
pub(super) fn errors_beside(
    run: &Run,
    (trace, recorded): (&Trace, &Recorded),
    label: &str,
    points: &PreparedTrace,
) -> Result<Vec<f64>, Refusal> {
    Ok(moves_beside(run, (trace, recorded), label, points)?
        .into_iter()
        .map(|moved| moved * points.factor.unwrap_or(1.0).signum())
        .collect())
}

/// The same with its sign: what one standard deviation of an error does to each point.
pub(super) fn moves_beside(
    run: &Run,
    (trace, recorded): (&Trace, &Recorded),
    label: &str,
    points: &PreparedTrace,
) -> Result<Vec<f64>, Refusal> {
    let mut all = Vec::new();
    for other in at_its_points(run, trace, label)? {
        all.extend(errors_in(other, recorded, &trace.y)?);
    }
    // Concentration is the absorbance divided by this.
    let scale = points.factor.unwrap_or(1.0);
    Ok(points.used.iter().map(|i| all[*i] / scale).collect())
}
