//! Several axes side by side: pairs, tables beside each other, newspaper columns.

use super::axis::runs_over_light;
use super::*;

impl Shaper<'_> {
    /// Pairs, tables side by side, and newspaper columns.
    pub(super) fn several_axes(&mut self, xs: &[usize], roles: &[ShapeRole]) -> Option<Vec<RunDraft>> {
        let xs: Vec<usize> = if xs.len() >= 2 {
            xs.to_vec()
        } else {
            self.pairs_of_conditions(xs, roles)
                .or_else(|| self.pairs_by_values(roles))?
        };
        let xs = self.without_lone_axis(xs, roles);
        let quantity = |i: usize| self.columns[i].quantity.clone();
        // Each axis must have measured columns of its own between it and the next axis.
        let measured_between = |from: usize, to: usize| -> Vec<usize> {
            (from..to)
                .filter(|&i| {
                    !matches!(
                        roles[i],
                        ShapeRole::Coordinate | ShapeRole::Counter | ShapeRole::Names
                    )
                })
                .filter(|i| !xs.contains(i))
                .collect()
        };
        let mut groups: Vec<(usize, Vec<usize>)> = Vec::new();
        let y_first = xs[0] > 0 && !measured_between(0, xs[0]).is_empty();
        for (n, &x) in xs.iter().enumerate() {
            let ys = if y_first {
                measured_between(if n == 0 { 0 } else { xs[n - 1] + 1 }, x)
            } else {
                measured_between(x + 1, xs.get(n + 1).copied().unwrap_or(self.columns.len()))
            };
            if ys.is_empty() {
                return None;
            }
            groups.push((x, ys));
        }
        // A time beside a wavelength with measured columns between them is another matter unless the lengths differ.
        let first = quantity(xs[0]);
        let mixed = xs.iter().any(|&x| quantity(x) != first);
        if mixed && self.table.grid.rows > 0 && groups.iter().any(|(x, _)| !self.columns[*x].stats.orderly())
        {
            return None;
        }
        let mut drafts: Vec<RunDraft> = Vec::new();
        let beside = &self.context.beside;
        if beside.len() == groups.len() {
            for ((x, ys), fields) in groups.into_iter().zip(beside) {
                let (quantity, unit) = self.x_meaning(x);
                let mut traces: Vec<Trace> = Vec::with_capacity(ys.len());
                for &y in &ys {
                    traces.push(self.trace(x, &quantity, &unit, y, roles, None));
                }
                if !runs_over_light(&quantity) {
                    self.hold_wavelength(&mut traces);
                }
                let technique = self.technique_of(&quantity, &ys);
                let mut draft = self.finish(technique, traces);
                for (key, claims) in fields.iter() {
                    for claim in claims {
                        draft.fields.claim(key.as_str(), claim.clone());
                    }
                }
                drafts.push(draft);
            }
            return Some(drafts);
        }
        let mut by_quantity: Vec<(Quantity, Vec<Trace>)> = Vec::new();
        for (x, ys) in groups {
            let (quantity, unit) = self.x_meaning(x);
            for y in ys {
                let trace = self.trace(x, &quantity, &unit, y, roles, None);
                match by_quantity.iter_mut().find(|(q, _)| *q == quantity) {
                    Some((_, traces)) => traces.push(trace),
                    None => by_quantity.push((quantity.clone(), vec![trace])),
                }
            }
        }
        for (quantity, traces) in by_quantity {
            let mut traces = newspaper(traces);
            if !runs_over_light(&quantity) {
                self.hold_wavelength(&mut traces);
            }
            let ys: Vec<usize> = (0..self.columns.len())
                .filter(|&i| roles[i] == ShapeRole::Measured)
                .collect();
            let technique = self.technique_of(&quantity, &ys);
            drafts.push(self.finish(technique, traces));
        }
        Some(drafts)
    }

    /// Tells of an x column that no curve was read over.
    pub(super) fn tell_second_axis(&mut self, column: usize, why: &str) {
        let number = self.columns[column].index + 1;
        let head = match self.name(column) {
            Some(name) => format!("`{name}` (column {number})"),
            None => format!("column {number}"),
        };
        self.remarks.push(
            Diagnostic::note(Code::new("second-axis"), format!("{head} {why}"))
                .at(Place::line(self.table.first_line as usize), "")
                .help("the numbers of that column are left out; the original keeps them"),
        );
    }

    /// The axes without a last one that has nothing measured behind it, where the others are two or more of one kind: the times of day behind `nm,A,nm,A,clock`.
    fn without_lone_axis(&mut self, mut xs: Vec<usize>, roles: &[ShapeRole]) -> Vec<usize> {
        let [others @ .., last] = xs.as_slice() else {
            return xs;
        };
        let (last, kind) = (*last, |i: usize| self.columns[i].quantity.clone());
        let of_one_kind = others.len() >= 2 && others.iter().all(|&x| kind(x) == kind(others[0]));
        let measured = roles[last + 1..]
            .iter()
            .any(|role| matches!(role, ShapeRole::Measured | ShapeRole::Open | ShapeRole::Beside));
        // `A,nm,A,nm`: the last x column belongs to the curve in front of it.
        let y_first = || {
            roles[..others[0]]
                .iter()
                .any(|role| matches!(role, ShapeRole::Measured | ShapeRole::Open | ShapeRole::Beside))
        };
        if of_one_kind && !measured && (kind(last) != kind(others[0]) || !y_first()) {
            xs.pop();
            self.tell_second_axis(
                last,
                "stands behind the last curve; the x columns in front of the curves were taken",
            );
        }
        xs
    }

    /// Temperatures or pH values of which each column has measured ones behind it: `T (C),A268,T (C),A268`.
    fn pairs_of_conditions(&self, xs: &[usize], roles: &[ShapeRole]) -> Option<Vec<usize>> {
        let conditions: Vec<usize> = (0..roles.len())
            .filter(|&i| roles[i] == ShapeRole::Beside && self.columns[i].stats.orderly())
            .collect();
        let alike = conditions
            .iter()
            .all(|&i| self.columns[i].quantity == self.columns[conditions[0]].quantity);
        let each_measured = conditions
            .iter()
            .all(|&i| roles.get(i + 1) == Some(&ShapeRole::Measured));
        let first = roles.iter().position(|role| *role != ShapeRole::Names);
        (xs.is_empty()
            && conditions.len() >= 2
            && alike
            && each_measured
            && conditions.first() == first.as_ref())
        .then_some(conditions)
    }

    /// Columns 0, 2, 4, … that all rise or all fall, without heads: pairs of x and y.
    fn pairs_by_values(&self, roles: &[ShapeRole]) -> Option<Vec<usize>> {
        let n = self.columns.len();
        let bare = roles.iter().all(|role| *role == ShapeRole::Open);
        if n < 4 || n % 2 == 1 || !bare {
            return None;
        }
        let xs: Vec<usize> = (0..n).step_by(2).collect();
        let stats = |i: usize| self.columns[i].stats;
        let falling = stats(0).falling;
        let axes = xs.iter().all(|&i| {
            stats(i).orderly() && stats(i).falling == falling && stats(i).count >= 3 && stats(i).min >= 100.0
        });
        let measured = xs.iter().all(|&i| {
            stats(i + 1).max.abs() <= 20.0 && !(stats(i + 1).orderly() && stats(i + 1).step.is_some())
        });
        (axes && measured).then_some(xs)
    }
}

/// Points written across the page before down it: each curve takes every k-th point, so they are laced together.
fn laced(traces: &[Trace]) -> Option<Trace> {
    let k = traces.len();
    let first = traces.first().filter(|first| k >= 2 && first.len() >= 2)?;
    let step = first.x.values[1] - first.x.values[0];
    let fine = step / k as f64;
    let fits = traces.iter().enumerate().all(|(n, trace)| {
        let same = trace.y.quantity == first.y.quantity
            && trace.y.unit == first.y.unit
            && trace.label == first.label;
        let length = trace.len() == first.len() || trace.len() + 1 == first.len();
        let at = trace
            .x
            .values
            .first()
            .is_some_and(|&x| ((x - first.x.values[0]) - n as f64 * fine).abs() <= 1e-6 * step.abs());
        same && length && at
    });
    if !fits || step == 0.0 {
        return None;
    }
    let mut order: Vec<(usize, usize)> = Vec::new();
    for point in 0..first.len() {
        order.extend((0..k).filter(|&n| point < traces[n].len()).map(|n| (n, point)));
    }
    let column = |pick: fn(&Trace) -> &Values| {
        let digits: Vec<Vec<u8>> = traces
            .iter()
            .map(|trace| pick(trace).decimals.iter().collect())
            .collect();
        let mut decimals = Decimals::default();
        for &(n, point) in &order {
            decimals.push(digits[n].get(point).copied().unwrap_or(0));
        }
        let values: Vec<f64> = order
            .iter()
            .map(|&(n, point)| pick(&traces[n]).values[point])
            .collect();
        Values {
            values: values.into(),
            decimals,
            ..pick(first).clone()
        }
    };
    let mut whole = Trace::new(column(|trace| &trace.x), column(|trace| &trace.y)).ok()?;
    // One curve goes as smoothly through all points as through each k-th of them; two curves side by side zigzag.
    let way = |y: &[f64]| y.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<f64>();
    let ways = traces.iter().map(|trace| way(&trace.y.values));
    if way(&whole.y.values) > 1.5 * ways.fold(0.0, f64::max) + 1e-9 {
        return None;
    }
    let x = &whole.x.values;
    if !(x.windows(2).all(|w| w[0] < w[1]) || x.windows(2).all(|w| w[0] > w[1])) {
        return None;
    }
    whole.label.clone_from(&first.label);
    whole.held.clone_from(&first.held);
    for &(n, point) in &order {
        whole.lines.push(traces[n].lines.get(point).unwrap_or(0) as usize);
    }
    whole.absent = traces.iter().map(|trace| trace.absent).sum();
    Some(whole)
}

/// Whether a curve goes on in the step of another one behind its end, give or take this share of a step.
pub(crate) fn goes_on(last: &Trace, next: &Trace, slack: f64) -> bool {
    let (a, b) = (&last.x.values, &next.x.values);
    let same = last.x.quantity == next.x.quantity
        && last.x.unit == next.x.unit
        && last.y.quantity == next.y.quantity
        && last.y.unit == next.y.unit
        && last.label == next.label;
    match (a.len(), a.last(), b.first()) {
        (n, Some(&end), Some(&start)) if n >= 2 && same => {
            let step = end - a[n - 2];
            step != 0.0 && ((start - end) / step - 1.0).abs() < slack
        }
        _ => false,
    }
}

/// Puts the points of a curve behind those of another.
pub(crate) fn put_behind(last: &mut Trace, next: &Trace) {
    let chain = |a: &Values, b: &Values| {
        let mut decimals = Decimals::default();
        for digits in a.decimals.iter().chain(b.decimals.iter()) {
            decimals.push(digits);
        }
        let values: Vec<f64> = a.values.iter().chain(b.values.iter()).copied().collect();
        Values {
            values: values.into(),
            decimals,
            ..a.clone()
        }
    };
    last.x = chain(&last.x, &next.x);
    last.y = chain(&last.y, &next.y);
    let mut lines = std::mem::take(&mut last.lines);
    for index in 0..next.len() {
        lines.push(next.lines.get(index).unwrap_or(0) as usize);
    }
    last.lines = lines;
    last.absent += next.absent;
}

/// Columns of a newspaper put together: where one curve goes on in the step of the one before it.
fn newspaper(traces: Vec<Trace>) -> Vec<Trace> {
    if let Some(whole) = laced(&traces) {
        return vec![whole];
    }
    let mut joined: Vec<Trace> = Vec::new();
    for trace in traces {
        match joined.last_mut() {
            Some(last) if goes_on(last, &trace, 0.5) => put_behind(last, &trace),
            _ => joined.push(trace),
        }
    }
    joined
}
