//! One unit for each quantity of an export, where that changes no number.
//!
//! A conversion counts as exact when the decimal that was written becomes a decimal of at most fifteen digits, which
//! every double keeps, and comes back as the very number it was. Minutes become seconds exactly, degrees Fahrenheit
//! mostly do not become degrees Celsius. What does not convert exactly stays in its own unit, and is told.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use curvary_record::{
    Claim, Column, Decimals, Fields, Run, Unit, UnitConversion, Value, ValueKind, known_field, unit,
};

/// What becomes of the units.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Units {
    /// A quantity that was met in several units is brought to one, and everything else stays as it was read.
    #[default]
    OneEach,
    /// Everything stays as it was read: a quantity has as many columns as units were met.
    AsRead,
    /// Every quantity is in its customary unit: nm, s, °C, mol/L, fractions.
    Canonical,
}

/// The first pass: in which units was each quantity met?
#[derive(Clone, Debug, Default)]
pub struct UnitSurvey(BTreeMap<String, BTreeMap<String, Met>>);

/// What is known of the numbers of a quantity in one unit.
#[derive(Clone, Debug, Default)]
struct Met {
    /// How often it was met.
    times: u64,
    /// The different numbers, by their bits; none where there are too many of them, as in curves.
    numbers: Option<BTreeSet<u64>>,
}

/// So many different numbers of conditions are each tried out.
const TRIED: usize = 256;

impl Met {
    fn add(&mut self, numbers: Option<&[f64]>) {
        let first = self.times == 0;
        self.times += 1;
        match (numbers, &mut self.numbers) {
            (Some(numbers), known @ None) if first => {
                *known = Some(numbers.iter().map(|n| n.to_bits()).collect())
            }
            (Some(numbers), Some(known)) => known.extend(numbers.iter().map(|n| n.to_bits())),
            (None, known) => *known = None,
            _ => {}
        }
        if self.numbers.as_ref().is_some_and(|known| known.len() > TRIED) {
            self.numbers = None;
        }
    }

    fn merge(&mut self, other: Self) {
        self.numbers = match (self.numbers.take(), other.numbers) {
            (None, theirs) if self.times == 0 => theirs,
            (Some(mut ours), Some(theirs)) => {
                ours.extend(theirs);
                Some(ours).filter(|all| all.len() <= TRIED)
            }
            _ => None,
        };
        self.times += other.times;
    }

    /// Whether all numbers convert exactly, as far as they are known, else numbers as people write them.
    fn converts(&self, from: &Unit, to: &Unit) -> bool {
        match &self.numbers {
            Some(numbers) => numbers
                .iter()
                .all(|&bits| exactly(f64::from_bits(bits), from, to).is_some()),
            None => usually_exact(from, to),
        }
    }
}

/// What is brought to which unit.
#[derive(Clone, Debug, Default)]
pub struct UnitPlan {
    /// The target by quantity and by the code of the unit that was met.
    targets: BTreeMap<String, BTreeMap<String, Unit>>,
    told: BTreeSet<String>,
}

impl UnitSurvey {
    /// Looks at one run.
    pub fn see(&mut self, run: &Run) {
        self.fields(&run.fields);
        for trace in run.traces.iter().filter(|trace| !trace.is_empty()) {
            for column in [&trace.x, &trace.y] {
                self.met(column.quantity.as_str(), &column.unit, None);
            }
            for held in &trace.held {
                self.met(held.quantity.as_str(), &held.unit, Some(&[held.value]));
            }
            self.fields(&trace.fields);
        }
    }

    fn fields(&mut self, fields: &Fields) {
        for (key, claims) in fields.iter() {
            let Some(Claim {
                unit: Some(unit),
                value,
                ..
            }) = claims.first()
            else {
                continue;
            };
            match value {
                Value::Number(number) => self.met(key.as_str(), unit, Some(&[*number])),
                Value::Range { from, to } => self.met(key.as_str(), unit, Some(&[*from, *to])),
                Value::Text(_) => {}
            }
        }
    }

    fn met(&mut self, name: &str, unit: &Unit, numbers: Option<&[f64]>) {
        if !self.0.contains_key(name) {
            self.0.insert(name.to_owned(), BTreeMap::new());
        }
        let Some(units) = self.0.get_mut(name) else { return };
        match units.get_mut(unit.code()) {
            Some(met) => met.add(numbers),
            None => {
                let mut met = Met::default();
                met.add(numbers);
                units.insert(unit.code().to_owned(), met);
            }
        }
    }

    /// What to bring to which unit.
    #[must_use]
    pub fn plan(&self, units: Units) -> UnitPlan {
        let mut plan = UnitPlan::default();
        if units == Units::AsRead {
            return plan;
        }
        for (name, codes) in &self.0 {
            let met: Vec<Unit> = codes.keys().filter_map(|code| Unit::ucum(code).ok()).collect();
            let customary = customary(name);
            // Units that measure different things are never brought together.
            let mut groups: Vec<Vec<&Unit>> = Vec::new();
            for unit in &met {
                match groups.iter_mut().find(|group| group[0].converts_to(unit)) {
                    Some(group) => group.push(unit),
                    None => groups.push(vec![unit]),
                }
            }
            if groups.len() > 1 && units == Units::Canonical {
                let list: Vec<&str> = codes.keys().map(String::as_str).collect();
                plan.told.insert(format!(
                    "`{name}` is in units that measure different things, each in its own column: {}",
                    list.join(", ")
                ));
            }
            for group in groups {
                let wanted = customary.as_ref().filter(|unit| unit.converts_to(group[0]));
                if units == Units::Canonical && wanted.is_none() && group[0].code() != "1" {
                    plan.told.insert(format!(
                        "`{name}` has no customary unit for `{}` and stays in it",
                        group[0]
                    ));
                }
                let several = group.iter().any(|unit| unit.slug() != group[0].slug());
                if !several && units == Units::OneEach {
                    continue;
                }
                let times = |unit: &Unit| codes.get(unit.code()).map_or(0, |met| met.times);
                let converts = |unit: &Unit, to: &Unit| {
                    codes
                        .get(unit.code())
                        .is_some_and(|met| unit.code() == to.code() || met.converts(unit, to))
                };
                let target = if units == Units::Canonical {
                    wanted
                } else {
                    // The one of the trade, else the one that most runs have, else any that holds all numbers.
                    let mut usual: Vec<&Unit> = group.clone();
                    usual.sort_by_key(|unit| std::cmp::Reverse(times(unit)));
                    wanted
                        .into_iter()
                        .chain(usual)
                        .find(|target| group.iter().all(|unit| converts(unit, target)))
                };
                let Some(target) = target else { continue };
                for unit in group.iter().filter(|unit| unit.code() != target.code()) {
                    plan.targets
                        .entry(name.clone())
                        .or_default()
                        .insert(unit.code().to_owned(), target.clone());
                }
            }
        }
        plan
    }

    /// Adds what another survey saw.
    pub fn merge(&mut self, other: Self) {
        for (name, units) in other.0 {
            let ours = self.0.entry(name).or_default();
            for (unit, met) in units {
                ours.entry(unit).or_default().merge(met);
            }
        }
    }
}

/// The unit that the trade uses for a quantity or a field of this name.
fn customary(name: &str) -> Option<Unit> {
    let code = match name {
        "wavelength" => "nm",
        "wavenumber" => "/cm",
        "energy" => "eV",
        "time" => "s",
        "absorbance" | "transmittance" | "reflectance" => "1",
        _ => match known_field(name)?.kind {
            ValueKind::Number(code) | ValueKind::Range(code) => code,
            _ => return None,
        },
    };
    Unit::ucum(code).ok()
}

/// Whether numbers as people write them convert exactly.
fn usually_exact(from: &Unit, to: &Unit) -> bool {
    [1.0, 0.1, 7.0, 0.0123, 36.6]
        .iter()
        .all(|&value| exactly(value, from, to).is_some())
}

/// `value` in the other unit, when the conversion is exact.
pub(super) fn exactly(value: f64, from: &Unit, to: &Unit) -> Option<f64> {
    Exactly::between(from, to)?.apply(value)
}

/// Exact conversions between two units, for many values.
struct Exactly {
    there: UnitConversion,
    back: UnitConversion,
}

impl Exactly {
    fn between(from: &Unit, to: &Unit) -> Option<Self> {
        Some(Self {
            there: from.conversion(to).ok()?,
            back: to.conversion(from).ok()?,
        })
    }

    /// Whether every number stays as it is.
    fn keeps_numbers(&self) -> bool {
        self.there.keeps_numbers() && self.back.keeps_numbers()
    }

    fn apply(&self, value: f64) -> Option<f64> {
        if self.keeps_numbers() {
            return Some(value).filter(|value| value.is_finite());
        }
        let there = self.there.apply(value);
        if !there.is_finite() || self.back.apply(there).to_bits() != value.to_bits() {
            return None;
        }
        let text = format!("{there:e}");
        let digits = text.split('e').next()?.bytes().filter(u8::is_ascii_digit).count();
        (digits <= 15).then_some(there)
    }
}

/// By how many places the decimal point moves, when that is all that the conversion does.
fn shift(from: &Unit, to: &Unit) -> Option<i32> {
    if from.convert(0.0, to).ok()? != 0.0 {
        return None;
    }
    let factor = from.convert(1.0, to).ok()?;
    (-24..=24).find(|places| format!("1e{places}").parse() == Ok(factor))
}

impl UnitPlan {
    /// Whether nothing is converted.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.targets.is_empty()
    }

    /// The run in the units of the plan; what does not convert exactly stays as it is, with a word on why in `told`.
    #[must_use]
    pub fn apply<'r>(&self, run: &'r Run, told: &mut BTreeSet<String>) -> Cow<'r, Run> {
        told.extend(self.told.iter().cloned());
        if self.is_empty() || !self.touches(run) {
            return Cow::Borrowed(run);
        }
        let mut run = run.clone();
        let id = run.id.clone();
        let mut stays = |name: &str, from: &Unit, to: &Unit| {
            told.insert(format!(
                "`{name}` of run {id} stays in `{from}`: it does not convert to `{to}` exactly"
            ));
        };
        self.fields(&mut run.fields, &mut stays);
        let mut kept: Option<(Column, Column)> = None;
        for trace in &mut run.traces {
            // Curves share their axes: what was one column of numbers stays one.
            match &kept {
                Some((from, to)) if from.values.is_shared_with(&trace.x.values) && *from == trace.x => {
                    trace.x = to.clone();
                }
                _ => {
                    let from = trace.x.clone();
                    self.column(&mut trace.x, &mut stays);
                    kept = Some((from, trace.x.clone()));
                }
            }
            let from = trace.y.unit.clone();
            self.column(&mut trace.y, &mut stays);
            trace.label = trace
                .label
                .take()
                .map(|label| renamed(label, &from, &trace.y.unit));
            for held in &mut trace.held {
                let Some(to) = self.target(held.quantity.as_str(), &held.unit) else {
                    continue;
                };
                match exactly(held.value, &held.unit, to) {
                    Some(value) => (held.value, held.unit) = (value, to.clone()),
                    None => stays(held.quantity.as_str(), &held.unit, to),
                }
            }
            self.fields(&mut trace.fields, &mut stays);
        }
        Cow::Owned(run)
    }

    fn target(&self, name: &str, unit: &Unit) -> Option<&Unit> {
        self.targets.get(name)?.get(unit.code())
    }

    fn touches(&self, run: &Run) -> bool {
        let fields = |fields: &Fields| {
            fields.iter().any(|(key, claims)| {
                let unit = claims.first().and_then(|claim| claim.unit.as_ref());
                unit.is_some_and(|unit| self.target(key.as_str(), unit).is_some())
            })
        };
        let column = |column: &Column| self.target(column.quantity.as_str(), &column.unit).is_some();
        fields(&run.fields)
            || run.traces.iter().any(|trace| {
                column(&trace.x)
                    || column(&trace.y)
                    || fields(&trace.fields)
                    || trace
                        .held
                        .iter()
                        .any(|held| self.target(held.quantity.as_str(), &held.unit).is_some())
            })
    }

    fn column(&self, column: &mut Column, stays: &mut impl FnMut(&str, &Unit, &Unit)) {
        let Some(to) = self.target(column.quantity.as_str(), &column.unit) else {
            return;
        };
        let exactly = Exactly::between(&column.unit, to);
        if exactly.as_ref().is_some_and(Exactly::keeps_numbers) {
            // Absorbance and pure numbers: nothing but the name of the unit changes.
            column.unit = to.clone();
            return;
        }
        let values: Option<Vec<f64>> =
            exactly.and_then(|exactly| column.values.iter().map(|&value| exactly.apply(value)).collect());
        let Some(values) = values else {
            stays(column.quantity.as_str(), &column.unit, to);
            return;
        };
        column.decimals = moved(&column.decimals, shift(&column.unit, to).unwrap_or(0));
        column.values = values.into();
        column.name = column.name.take().map(|name| renamed(name, &column.unit, to));
        column.unit = to.clone();
    }

    fn fields(&self, fields: &mut Fields, stays: &mut impl FnMut(&str, &Unit, &Unit)) {
        let wanted: Vec<String> = fields
            .iter()
            .filter(|(_, claims)| claims.first().is_some_and(|claim| claim.unit.is_some()))
            .map(|(key, _)| key.as_str().to_owned())
            .collect();
        for key in wanted {
            let Some(to) = fields
                .get(&key)
                .and_then(|claim| self.target(&key, claim.unit.as_ref()?))
            else {
                continue;
            };
            let mut claims = fields.remove(&key);
            if let Some(first) = claims.first_mut() {
                match converted(first, to) {
                    Some(claim) => *first = claim,
                    None => stays(&key, first.unit.as_ref().unwrap_or(to), to),
                }
            }
            // Their order is kept: they are put back from the weakest kind of origin to the strongest.
            for claim in claims {
                put_back(fields, &key, claim);
            }
        }
    }
}

/// The head of a column or the label of a curve, with the unit that its numbers have now: `Transmittance (%)` over fractions
/// would be read as percent.
fn renamed(text: String, from: &Unit, to: &Unit) -> String {
    if from == to || Exactly::between(from, to).is_some_and(|exactly| exactly.keeps_numbers()) {
        return text;
    }
    let shown = match to.display() {
        shown if shown.is_empty() => "fraction".to_owned(),
        shown => shown,
    };
    let means = |spelling: &str| unit::spelled(spelling.trim()).units().contains(from);
    for (open, close) in [('(', ')'), ('[', ']')] {
        let mut start = 0;
        while let Some(begin) = text[start..].find(open).map(|at| start + at + 1) {
            let Some(end) = text[begin..].find(close).map(|at| begin + at) else {
                break;
            };
            if means(&text[begin..end]) {
                return format!("{}{shown}{}", &text[..begin], &text[end..]);
            }
            start = begin;
        }
    }
    for (at, sign) in text.char_indices().rev() {
        let rest = &text[at + sign.len_utf8()..];
        if matches!(sign, '/' | ' ' | ',') && means(rest) {
            return format!("{} ({shown})", text[..at].trim_end_matches([' ', '/', ',']));
        }
    }
    if means(&text) || text.contains('%') && from.code() == "%" {
        return format!("{text}, here as {shown}");
    }
    text
}

/// Claims come in their order, and notes, of which the newest goes first, must come last first.
fn put_back(fields: &mut Fields, key: &str, claim: Claim) {
    let notes = fields
        .all(key)
        .iter()
        .filter(|other| other.origin.rank() == 0)
        .count();
    if claim.origin.rank() == 0 && notes > 0 {
        // Behind the notes that are there: taken out, added after this one.
        let before = fields.remove(key);
        fields.claim(key, claim);
        for earlier in before.into_iter().rev() {
            fields.claim(key, earlier);
        }
        return;
    }
    fields.claim(key, claim);
}

fn converted(claim: &Claim, to: &Unit) -> Option<Claim> {
    let from = claim.unit.as_ref()?;
    let value = match &claim.value {
        Value::Number(number) => Value::Number(exactly(*number, from, to)?),
        Value::Range { from: low, to: high } => Value::Range {
            from: exactly(*low, from, to)?,
            to: exactly(*high, from, to)?,
        },
        Value::Text(_) => return None,
    };
    // An uncertainty is a difference: where the zero lies does not count.
    let plus_minus = match claim.plus_minus {
        None => None,
        Some(plus_minus) if from.convert(0.0, to).ok()? == 0.0 => Some(exactly(plus_minus, from, to)?),
        Some(plus_minus) => {
            let kelvin = |unit: &Unit| matches!(unit.code(), "K" | "Cel");
            Some(plus_minus)
                .filter(|_| kelvin(from) && kelvin(to))
                .map(Some)?
        }
    };
    Some(Claim {
        value,
        plus_minus,
        unit: Some(to.clone()),
        ..claim.clone()
    })
}

fn moved(decimals: &Decimals, places: i32) -> Decimals {
    let mut moved = Decimals::default();
    for digits in decimals.iter() {
        let digits = (i32::from(digits) - places).clamp(0, i32::from(u8::MAX));
        moved.push(u8::try_from(digits).unwrap_or(0));
    }
    moved
}

#[cfg(test)]
mod tests {
    use curvary_record::{Digest, Origin, Place, Quantity, RunId, SourceRef, Technique, Trace};

    use super::*;

    fn unit(code: &str) -> Unit {
        Unit::ucum(code).expect("a unit")
    }

    #[test]
    fn names_have_the_unit_that_the_numbers_have() {
        let (percent, minute) = (unit("%"), unit("min"));
        for (name, from, to, now) in [
            (
                "Transmittance (%)",
                &percent,
                &Unit::ONE,
                "Transmittance (fraction)",
            ),
            (
                "T [%] of dye (a)",
                &percent,
                &Unit::ONE,
                "T [fraction] of dye (a)",
            ),
            ("%T", &percent, &Unit::ONE, "%T, here as fraction"),
            ("Time (min)", &minute, &Unit::SECOND, "Time (s)"),
            ("time / min", &minute, &Unit::SECOND, "time (s)"),
            ("min", &minute, &Unit::SECOND, "min, here as s"),
            ("dye (a)", &minute, &Unit::SECOND, "dye (a)"),
            ("Time (min)", &minute, &minute, "Time (min)"),
        ] {
            assert_eq!(renamed(name.to_owned(), from, to), now);
        }
        // Absorbance is a pure number, and every decimal of it stays.
        let mut run = course("s", vec![0.0], 0);
        run.traces[0].y = Column::new(Quantity::ABSORBANCE, unit("{AU}"), vec![0.123_456_789_012_345_67]);
        let (canonical, told) = planned(std::slice::from_ref(&run), Units::Canonical);
        assert!(told.is_empty(), "{told:?}");
        assert_eq!(canonical[0].traces[0].y.unit, Unit::ONE);
        assert_eq!(canonical[0].traces[0].y.values, run.traces[0].y.values);
    }

    fn course(code: &str, times: Vec<f64>, decimals: u8) -> Run {
        let count = times.len();
        let x =
            Column::new(Quantity::TIME, unit(code), times).with_decimals(Decimals::uniform(decimals, count));
        let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, vec![0.5; count]);
        Run {
            id: RunId::named(code),
            source: SourceRef {
                path: "a.txt".into(),
                digest: Digest::of(b""),
                reader: "r".into(),
                reader_version: "1".into(),
                encoding: None,
                ordinal: 0,
                lines: None,
            },
            technique: Technique::TIME_COURSE,
            because: Vec::new(),
            fields: Fields::default(),
            traces: vec![Trace::new(x, y).expect("one length")],
            questions: Vec::new(),
            remarks: Vec::new(),
        }
    }

    fn planned(runs: &[Run], units: Units) -> (Vec<Run>, BTreeSet<String>) {
        let mut survey = UnitSurvey::default();
        runs.iter().for_each(|run| survey.see(run));
        let plan = survey.plan(units);
        let mut told = BTreeSet::new();
        let runs = runs
            .iter()
            .map(|run| plan.apply(run, &mut told).into_owned())
            .collect();
        (runs, told)
    }

    #[test]
    fn several_units_become_one_that_is_exact() {
        let runs = [course("min", vec![0.0, 0.5, 1.25], 2), course("s", vec![30.0], 0)];
        let (one, told) = planned(&runs, Units::OneEach);
        assert_eq!(one[0].traces[0].x.values.as_ref(), [0.0, 30.0, 75.0]);
        assert_eq!(one[0].traces[0].x.unit, Unit::SECOND);
        assert!(told.is_empty(), "{told:?}");
        // One unit alone stays, unless it is asked for.
        let (alone, _) = planned(&runs[..1], Units::OneEach);
        assert_eq!(alone[0], runs[0]);
        let (as_read, _) = planned(&runs, Units::AsRead);
        assert_eq!(as_read, runs);
        let (canonical, _) = planned(&runs[..1], Units::Canonical);
        assert_eq!(canonical[0].traces[0].x.unit, Unit::SECOND);
    }

    #[test]
    fn digits_move_with_the_point() {
        let runs = [course("ms", vec![1500.0, 20.0], 0), course("s", vec![30.0], 0)];
        let (one, _) = planned(&runs, Units::OneEach);
        assert_eq!(one[0].traces[0].x.texts().collect::<Vec<_>>(), ["1.500", "0.020"]);
    }

    #[test]
    fn what_is_not_exact_stays_and_is_told() {
        let mut run = course("s", vec![1.0], 0);
        let said = |line| Origin::Source(Place::line(line));
        run.fields.claim(
            "temperature",
            Claim::number(98.7, Some(unit("[degF]")), "98.7 F", said(1)),
        );
        let (canonical, told) = planned(std::slice::from_ref(&run), Units::Canonical);
        assert_eq!(
            canonical[0].fields.get("temperature"),
            run.fields.get("temperature")
        );
        assert!(told.iter().any(|line| line.contains("[degF]")), "{told:?}");
        // 98.6 °F is 37 °C, and kelvins with an uncertainty are degrees with the same.
        let mut run = course("s", vec![1.0], 0);
        run.fields.claim(
            "temperature",
            Claim::number(98.6, Some(unit("[degF]")), "98.6 F", said(1)),
        );
        let (canonical, _) = planned(std::slice::from_ref(&run), Units::Canonical);
        assert_eq!(
            canonical[0]
                .fields
                .get("temperature")
                .map(|claim| claim.value.clone()),
            Some(Value::Number(37.0))
        );
        let mut kelvin = Claim::number(310.15, Some(Unit::KELVIN), "310.15(10) K", said(1));
        kelvin.plus_minus = Some(0.1);
        let mut run = course("s", vec![1.0], 0);
        run.fields.claim("temperature", kelvin);
        let (canonical, _) = planned(std::slice::from_ref(&run), Units::Canonical);
        let claim = canonical[0].fields.get("temperature").expect("it is kept");
        assert_eq!(
            (&claim.value, claim.plus_minus),
            (&Value::Number(37.0), Some(0.1))
        );
    }

    #[test]
    fn claims_keep_their_order() {
        let mut run = course("s", vec![1.0], 0);
        let note = |at: &str| Origin::Note {
            at: Some(at.into()),
            author: None,
        };
        for (value, origin) in [
            (310.15, Origin::Source(Place::line(1))),
            (300.15, note("1")),
            (305.15, note("2")),
        ] {
            run.fields.claim(
                "temperature",
                Claim::number(value, Some(Unit::KELVIN), "x", origin),
            );
        }
        let (canonical, _) = planned(std::slice::from_ref(&run), Units::Canonical);
        let origins = |run: &Run| {
            run.fields
                .all("temperature")
                .iter()
                .map(|claim| claim.origin.clone())
                .collect::<Vec<_>>()
        };
        assert_eq!(origins(&canonical[0]), origins(&run));
        assert_eq!(
            canonical[0]
                .fields
                .get("temperature")
                .map(|claim| claim.value.clone()),
            Some(Value::Number(32.0))
        );
    }
}
