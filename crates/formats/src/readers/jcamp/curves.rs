//! Curves and the pages of NTUPLES as traces.

use std::collections::BTreeMap;

use curvary_jcamp_dx as dx;
use curvary_record::{
    Code, Column, Coordinate, Decimals, Diagnostic, Fields, Key, Lines, Numbers, Origin, Place, Quantity,
    Trace, Unit,
};

use super::axes::Axes;
use super::axis::{UnitMeaning, abscissa};
use super::claim::{page_value, private_claim};
use super::gathering::{Gathering, technique_of};
use super::ours::Ours;
use super::told::span_of;

impl Gathering<'_> {
    pub(super) fn curves(&mut self, block: &dx::Block, curves: &[(&dx::Table, &dx::Curve)], ours: &Ours) {
        let x_units = block.value("XUNITS").unwrap_or("").trim().to_owned();
        let y_units = block.value("YUNITS").unwrap_or("").trim().to_owned();
        let greatest = || {
            curves
                .iter()
                .flat_map(|(_, curve)| curve.y.iter().copied())
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let Some(axes) = self.axes(block, ours, &x_units, &y_units, &greatest) else {
            return;
        };
        // The blocks of a collection mostly have one axis, which need not be kept for each.
        let earlier = self.runs.last().and_then(|run| run.traces.last());
        let earlier = earlier.map(|trace| trace.x.values.clone());
        let mut traces: Vec<Trace> = Vec::with_capacity(curves.len());
        for (table, curve) in curves {
            let shared = traces.last().map(|trace| &trace.x.values).or(earlier.as_ref());
            let Ok(mut trace) = trace(curve, &axes, shared) else {
                continue;
            };
            trace.label.clone_from(&ours.label);
            trace.held.clone_from(&ours.held);
            if table.left_out.is_empty() {
                trace.saturated.clone_from(&ours.saturated);
            } else if !ours.saturated.is_empty() {
                let message =
                    "points were lost, so it is not known which of the others are marked as saturated";
                let place = self.source.place(span_of(table.span));
                self.remarks
                    .push(Diagnostic::error(Code::new("saturation-lost"), message).at(place, ""));
            }
            trace.absent += ours.absent;
            trace_fields(&mut trace.fields, ours);
            if matches!(table.data, dx::Data::Points(_)) {
                self.remarks.extend(disorder(&trace));
            }
            traces.push(trace);
        }
        let technique = technique_of(&axes, &traces);
        self.run(block, ours, axes, traces, technique);
    }

    /// The pages of NTUPLES, each of which is let go when its trace is made: there may be thousands.
    pub(super) fn ntuples(&mut self, block: &dx::Block, mut ntuples: dx::Ntuples, ours: &Ours) {
        let of_kind = |kind: &str| {
            ntuples
                .variables
                .iter()
                .find(|v| v.kind.eq_ignore_ascii_case(kind))
        };
        let curves: Vec<(&dx::Page, &dx::Curve, &str)> = ntuples.pages.iter().filter_map(curve_of).collect();
        let Some((_, _, form)) = curves.first() else {
            return;
        };
        let x = of_kind("INDEPENDENT").or(ntuples.variables.first());
        let y = dependent(&ntuples, form).or_else(|| of_kind("DEPENDENT"));
        let units =
            |variable: Option<&dx::NtupleVariable>| variable.map_or("", |v| v.units.trim()).to_owned();
        let greatest = || {
            curves
                .iter()
                .flat_map(|(_, curve, _)| curve.y.iter().copied())
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let Some(axes) = self.axes(block, ours, &units(x), &units(y), &greatest) else {
            return;
        };
        let mut traces: Vec<Trace> = Vec::with_capacity(curves.len());
        let held = held_by_pages(&ntuples, &curves);
        let symbol = y.map(|v| v.symbol.clone());
        drop(curves);
        let pages = std::mem::take(&mut ntuples.pages);
        let mut unread = 0_usize;
        for (index, page) in pages
            .into_iter()
            .filter(|page| curve_of(page).is_some())
            .enumerate()
        {
            let Some((page, curve, form)) = curve_of(&page) else {
                continue;
            };
            let of = dependent(&ntuples, form).map(|v| &v.symbol);
            if of.is_some() && of != symbol.as_ref() {
                unread += 1;
                continue;
            }
            let shared = traces.last().map(|trace: &Trace| &trace.x.values);
            let Ok(mut trace) = trace(curve, &axes, shared) else {
                continue;
            };
            // As much room as they need and no more: there may be thousands of pages.
            trace.held = Vec::with_capacity(ours.held.len() + page.held.len());
            trace.held.extend(ours.held.iter().cloned());
            for (symbol, value) in &page.held {
                let variable = ntuples.variable(symbol);
                let factor = held.get(symbol.as_str()).copied().unwrap_or(Some(1.0));
                match (page_value(value), factor, page_unit(ours, variable)) {
                    (Some((number, _)), Some(factor), (quantity, unit)) => trace.held.push(Coordinate {
                        raw: Some(value.trim().to_owned()),
                        line: Some(page.line),
                        ..Coordinate::new(quantity, unit, times(number, factor))
                    }),
                    _ => trace.label = Some(format!("{symbol}={value}")),
                }
            }
            if let Some(label) = ours.labels.get(index) {
                trace.label.clone_from(label);
            }
            traces.push(trace);
        }
        for (symbol, _) in held.iter().filter(|(_, factor)| factor.is_none()) {
            let message = format!(
                "the FACTOR of {symbol} is not 1, and FIRST and LAST do not show whether the pages hold {symbol} with or \
                 without it; its values were left out"
            );
            self.remarks.push(
                Diagnostic::error(Code::new("page-factor"), message)
                    .help("state FIRST and LAST in true units"),
            );
        }
        if unread > 0 {
            let message =
                format!("{unread} pages hold another variable than the first page and were left out");
            self.remarks
                .push(Diagnostic::error(Code::new("pages-of-another-variable"), message));
        }
        let technique = technique_of(&axes, &traces);
        self.run(block, ours, axes, traces, technique);
    }
}

/// A page with its curve and the form that its table states; nothing of a page without a curve.
fn curve_of(page: &dx::Page) -> Option<(&dx::Page, &dx::Curve, &str)> {
    let table = page.table.as_ref()?;
    Some((page, table.data.curve()?, table.form.as_str()))
}

/// With several dependent variables the form of the page tells which one it holds.
fn dependent<'n>(ntuples: &'n dx::Ntuples, form: &str) -> Option<&'n dx::NtupleVariable> {
    ntuples.variables.iter().find(|variable| {
        variable.kind.eq_ignore_ascii_case("DEPENDENT")
            && !variable.symbol.is_empty()
            && form
                .to_uppercase()
                .contains(&format!("({0}..{0})", variable.symbol.to_uppercase()))
    })
}

/// For each symbol that the pages hold, by what its values are to be multiplied; nothing where its FACTOR is not 1 and
/// FIRST and LAST, which are true values, do not tell whether the pages hold true values too.
fn held_by_pages(
    ntuples: &dx::Ntuples,
    curves: &[(&dx::Page, &dx::Curve, &str)],
) -> BTreeMap<String, Option<f64>> {
    let mut values: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for (page, ..) in curves {
        for (symbol, value) in &page.held {
            let number = page_value(value).map(|(number, _)| number);
            values.entry(symbol).or_default().extend(number);
        }
    }
    let decided = |symbol: &str, values: &[f64]| {
        let Some(variable) = ntuples.variable(symbol) else {
            return Some(1.0);
        };
        let number = |text: &str| page_value(text).map(|(number, _)| number);
        let Some(factor) = number(&variable.factor).filter(|factor| *factor != 1.0) else {
            return Some(1.0);
        };
        let ends = [
            (number(&variable.first), values.first()),
            (number(&variable.last), values.last()),
        ];
        let ends: Vec<(f64, f64)> = ends
            .into_iter()
            .filter_map(|(stated, value)| Some((stated?, *value?)))
            .collect();
        let fits = |factor: f64| {
            ends.iter()
                .all(|(stated, value)| times(*value, factor) == *stated)
        };
        match (fits(1.0), fits(factor)) {
            (true, false) => Some(1.0),
            (false, true) => Some(factor),
            _ => None,
        }
    };
    values
        .into_iter()
        .map(|(symbol, values)| (symbol.to_owned(), decided(symbol, &values)))
        .collect()
}

/// The product of two printed numbers, rounded to 15 digits, which both survive.
fn times(value: f64, factor: f64) -> f64 {
    if factor == 1.0 {
        return value;
    }
    let product = value * factor;
    format!("{product:.14e}").parse().unwrap_or(product)
}

/// What the pages of NTUPLES hold.
fn page_unit(ours: &Ours, variable: Option<&dx::NtupleVariable>) -> (Quantity, Unit) {
    if let Some(page) = &ours.page {
        return page.clone();
    }
    let Some(variable) = variable else {
        return (Quantity::UNKNOWN, Unit::ONE);
    };
    match abscissa(&variable.units) {
        UnitMeaning::Sure(quantity, unit) | UnitMeaning::Own(quantity, unit) => (quantity, unit),
        _ => (
            Quantity::named(variable.name.trim().to_lowercase().replace(' ', "-")),
            Unit::ONE,
        ),
    }
}

fn trace(
    curve: &dx::Curve,
    axes: &Axes,
    shared: Option<&Numbers>,
) -> Result<Trace, curvary_record::LengthMismatch> {
    let values: Numbers = match shared {
        Some(before) if **before == *curve.x => before.clone(),
        _ => curve.x.as_slice().into(),
    };
    let mut x = Column::new(axes.x.0.clone(), axes.x.1.clone(), values);
    x.decimals = decimals(&curve.x_decimals, curve.x.len());
    x.name.clone_from(&axes.x_name);
    let mut y = Column::new(axes.y.0.clone(), axes.y.1.clone(), curve.y.as_slice());
    y.decimals = decimals(&curve.y_decimals, curve.y.len());
    y.name.clone_from(&axes.y_name);
    let mut trace = Trace::new(x, y)?;
    trace.lines = lines(&curve.lines, curve.len());
    trace.absent = u32::try_from(curve.missing.len()).unwrap_or(u32::MAX);
    Ok(trace)
}

pub(super) fn narrow(count: u16) -> u8 {
    u8::try_from(count).unwrap_or(u8::MAX)
}

fn decimals(decimals: &dx::Decimals, count: usize) -> Decimals {
    let mut all = Decimals::default();
    match decimals {
        dx::Decimals::Same(digits) => all.push_run(narrow(*digits), count),
        dx::Decimals::Each(each) => each.iter().for_each(|&digits| all.push(narrow(digits))),
        dx::Decimals::Unlimited => {}
    }
    all.fit();
    all
}

/// A remark, if a wavelength, wavenumber or time of listed points goes back here and there: a damaged number, or a
/// second run appended. Sweeps there and back, and points in no order at all, are none of that.
fn disorder(trace: &Trace) -> Option<Diagnostic> {
    let x = &trace.x.values;
    if x.len() < 4 || !matches!(trace.x.quantity.as_str(), "wavelength" | "wavenumber" | "time") {
        return None;
    }
    let rises = x.windows(2).filter(|pair| pair[1] > pair[0]).count();
    let up = rises * 2 >= x.len();
    let back = |pair: &[f64]| {
        if up {
            pair[1] <= pair[0]
        } else {
            pair[1] >= pair[0]
        }
    };
    let breaks: Vec<usize> = x
        .windows(2)
        .enumerate()
        .filter(|(_, pair)| back(pair))
        .map(|(at, _)| at + 1)
        .collect();
    let first = *breaks.first().filter(|_| breaks.len() * 3 <= x.len())?;
    let times = if breaks.len() == 1 {
        "once".to_owned()
    } else {
        format!("{} times", breaks.len())
    };
    let message = format!(
        "the {} is not in order: it jumps back or repeats {times}; a damaged number, or a second run appended",
        trace.x.quantity
    );
    let remark = Diagnostic::warning(Code::new("x-goes-back"), message);
    Some(match trace.lines.get(first) {
        Some(line) => remark.at(Place::line(line as usize), "out of order here"),
        None => remark,
    })
}

/// The source lines of the points. Points mostly stand as many on a line as on the line before, so two look-ups a
/// line are enough.
fn lines(map: &dx::LineMap, count: usize) -> Lines {
    let mut lines = Lines::default();
    let (mut at, mut per_line) = (0, 1);
    while at < count {
        let Some(line) = map.line_of(at) else { break };
        let on_line = |index: usize| index < count && map.line_of(index) == Some(line);
        if !on_line(at + per_line - 1) || on_line(at + per_line) {
            per_line = (1..).find(|&n| !on_line(at + n)).unwrap_or(1);
        }
        if per_line == 1 {
            lines.push(line as usize);
        } else {
            lines.push_run(line as usize, 0, per_line);
        }
        at += per_line;
    }
    lines.fit();
    lines
}

pub(super) fn trace_fields(fields: &mut Fields, ours: &Ours) {
    for (key, text, place) in &ours.trace_fields {
        let key = Key::new(key.as_str());
        let said = private_claim(&key, text, Origin::Source(place.clone()));
        fields.claim(key, said);
    }
}
