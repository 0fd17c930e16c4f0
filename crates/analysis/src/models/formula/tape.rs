//! A formula as a list of instructions, each of which refers to earlier ones; run forwards for values and backwards
//! for all derivatives at once. Here point by point in any arithmetic; whole columns of doubles are in `columns`.

use std::collections::BTreeMap;

use crate::double::Real;

/// A slope times a factor. Zero times something without bound is zero only where it is certain: where the instruction is `still`, that
/// is, where what it gives at this point is the same whatever the input is.
///
/// `k*x` at x = 0 is zero for every k, so that `sqrt(k*x)` and `(k*x)^b` do not move with k, though their slope in the base has no bound.
/// `k*log(x)` at x = 0 is without bound for every k, and what is finite beyond it does not move. A zero that comes of a parameter says
/// nothing: `sqrt(k)^2*x` at k = 0 has the slope x. It stays undefined here; a search that begins there may end there, as if it had
/// found a minimum.
#[inline(always)]
pub(super) fn handed_on<T: Real>(slope: T, factor: T, still: bool) -> T {
    let nothing = factor.value() == 0.0 || slope.value() == 0.0 && factor.value().is_infinite();
    if still && nothing {
        T::exactly(0.0)
    } else {
        slope * factor
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Op {
    /// The bits of a double.
    Constant(u64),
    Pi,
    Variable(usize),
    Parameter(usize),
    Add(usize, usize),
    Subtract(usize, usize),
    Multiply(usize, usize),
    Divide(usize, usize),
    Negate(usize),
    Integer(usize, i32),
    Power(usize, usize),
    Exp(usize),
    Ln(usize),
    Log10(usize),
    Sqrt(usize),
    Sin(usize),
    Cos(usize),
    Tan(usize),
    Atan(usize),
    Abs(usize),
}

#[derive(Clone, Debug, Default)]
pub(super) struct FormulaTape {
    pub(super) ops: Vec<Op>,
    /// Where each instruction stands, so that none is repeated.
    known: BTreeMap<Op, usize>,
    /// Whether the instruction depends on a parameter.
    pub(super) active: Vec<bool>,
    /// Whether the instruction depends on a variable, and so differs from point to point.
    pub(super) varies: Vec<bool>,
    /// How many inputs of instructions that depend on a parameter each instruction is, up to the root.
    pub(super) uses: Vec<u32>,
    /// Whether the instruction is nothing but a divisor, or a part of one beside what moves with no parameter: where it is too large to
    /// hold, the quotient is zero, and so are its slopes, which fall with its square. Powers of it are not looked through.
    pub(super) divides: Vec<bool>,
    pub(super) root: usize,
}

impl Op {
    fn inputs(self) -> (Option<usize>, Option<usize>) {
        match self {
            Self::Constant(_) | Self::Pi | Self::Variable(_) | Self::Parameter(_) => (None, None),
            Self::Add(a, b)
            | Self::Subtract(a, b)
            | Self::Multiply(a, b)
            | Self::Divide(a, b)
            | Self::Power(a, b) => (Some(a), Some(b)),
            Self::Negate(a)
            | Self::Integer(a, _)
            | Self::Exp(a)
            | Self::Ln(a)
            | Self::Log10(a)
            | Self::Sqrt(a)
            | Self::Sin(a)
            | Self::Cos(a)
            | Self::Tan(a)
            | Self::Atan(a)
            | Self::Abs(a) => (Some(a), None),
        }
    }
}

impl FormulaTape {
    /// Adds an instruction, or finds it where it stands already.
    pub(super) fn push(&mut self, op: Op) -> usize {
        // The sign of a number belongs to the number: this makes x^-2 an integer power.
        if let Op::Negate(a) = op
            && let Op::Constant(bits) = self.ops[a]
        {
            return self.push(Op::Constant((-f64::from_bits(bits)).to_bits()));
        }
        if let Some(place) = self.known.get(&op) {
            return *place;
        }
        let place = self.ops.len();
        let (a, b) = op.inputs();
        let active = matches!(op, Op::Parameter(_))
            || a.is_some_and(|a| self.active[a])
            || b.is_some_and(|b| self.active[b]);
        self.ops.push(op);
        self.active.push(active);
        self.varies.push(
            matches!(op, Op::Variable(_))
                || a.is_some_and(|a| self.varies[a])
                || b.is_some_and(|b| self.varies[b]),
        );
        self.known.insert(op, place);
        place
    }

    pub(super) fn finish(&mut self, root: usize) {
        self.root = root;
        self.uses = vec![0; self.ops.len()];
        for (place, op) in self.ops.iter().enumerate().take(root + 1) {
            // What a power of zero is taken of gets no slope.
            if !self.active[place] || matches!(op, Op::Integer(_, 0)) {
                continue;
            }
            let (a, b) = op.inputs();
            for input in a.into_iter().chain(b) {
                self.uses[input] += 1;
            }
        }
        self.divides = vec![true; self.ops.len()];
        self.divides[root] = false;
        for place in (0..=root).rev() {
            let own = self.divides[place];
            match self.ops[place] {
                Op::Divide(a, _) => self.divides[a] = false,
                Op::Add(a, b) | Op::Subtract(a, b) => {
                    self.divides[a] &= own && !self.active[b];
                    self.divides[b] &= own && !self.active[a];
                }
                Op::Negate(a) => self.divides[a] &= own,
                other => {
                    let (a, b) = other.inputs();
                    for input in a.into_iter().chain(b) {
                        self.divides[input] = false;
                    }
                }
            }
        }
    }

    /// The value of an instruction that is a plain number.
    pub(super) fn constant(&self, place: usize) -> Option<f64> {
        match self.ops[place] {
            Op::Constant(bits) => Some(f64::from_bits(bits)),
            _ => None,
        }
    }

    /// Parameters in which the formula is linear together, the others held fixed.
    pub(super) fn linear_parameters(&self, count: usize) -> Vec<usize> {
        let mut chosen: Vec<usize> = Vec::new();
        for j in 0..count {
            chosen.push(j);
            if !self.is_linear_in(&chosen) {
                chosen.pop();
            }
        }
        chosen
    }

    fn is_linear_in(&self, chosen: &[usize]) -> bool {
        // 0: does not depend, 1: linear, 2: anything else.
        let mut degree = vec![0_u8; self.ops.len()];
        for (place, op) in self.ops.iter().enumerate() {
            let of = |i: usize| degree[i];
            degree[place] = match *op {
                Op::Parameter(j) => u8::from(chosen.contains(&j)),
                Op::Add(a, b) | Op::Subtract(a, b) => of(a).max(of(b)),
                Op::Multiply(a, b) => (of(a) + of(b)).min(2),
                Op::Divide(a, b) => {
                    if of(b) == 0 {
                        of(a)
                    } else {
                        2
                    }
                }
                Op::Negate(a) => of(a),
                Op::Integer(a, 1) => of(a),
                other => {
                    let (a, b) = other.inputs();
                    let depends = a.is_some_and(|a| of(a) > 0) || b.is_some_and(|b| of(b) > 0);
                    if depends { 2 } else { 0 }
                }
            };
        }
        degree[self.root] <= 1
    }

    /// Runs the instructions for `lanes` points; registers are `lanes` wide.
    fn forward<T: Real>(
        &self,
        variable: impl Fn(usize, usize) -> T,
        number: impl Fn(f64) -> T,
        p: &[T],
        registers: &mut [T],
        lanes: usize,
    ) {
        for (place, op) in self.ops.iter().enumerate() {
            let (before, rest) = registers.split_at_mut(place * lanes);
            let out = &mut rest[..lanes];
            let at = |i: usize| &before[i * lanes..(i + 1) * lanes];
            let one = |out: &mut [T], a: usize, f: &dyn Fn(T) -> T| {
                for (o, a) in out.iter_mut().zip(at(a)) {
                    *o = f(*a);
                }
            };
            match *op {
                Op::Constant(bits) => out.fill(number(f64::from_bits(bits))),
                Op::Pi => out.fill(T::PI),
                Op::Variable(i) => {
                    for (lane, o) in out.iter_mut().enumerate() {
                        *o = variable(i, lane);
                    }
                }
                Op::Parameter(j) => out.fill(p[j]),
                Op::Add(a, b) => {
                    for ((o, a), b) in out.iter_mut().zip(at(a)).zip(at(b)) {
                        *o = *a + *b;
                    }
                }
                Op::Subtract(a, b) => {
                    for ((o, a), b) in out.iter_mut().zip(at(a)).zip(at(b)) {
                        *o = *a - *b;
                    }
                }
                Op::Multiply(a, b) => {
                    for ((o, a), b) in out.iter_mut().zip(at(a)).zip(at(b)) {
                        *o = *a * *b;
                    }
                }
                Op::Divide(a, b) => {
                    for ((o, a), b) in out.iter_mut().zip(at(a)).zip(at(b)) {
                        *o = *a / *b;
                    }
                }
                Op::Power(a, b) => {
                    for ((o, a), b) in out.iter_mut().zip(at(a)).zip(at(b)) {
                        *o = a.powf(*b);
                    }
                }
                Op::Negate(a) => one(out, a, &|a| -a),
                Op::Integer(a, n) => one(out, a, &|a| a.powi(n)),
                Op::Exp(a) => one(out, a, &|a| a.exp()),
                Op::Ln(a) => one(out, a, &|a| a.ln()),
                Op::Log10(a) => one(out, a, &|a| a.ln() / T::LN_10),
                Op::Sqrt(a) => one(out, a, &|a| a.sqrt()),
                Op::Sin(a) => one(out, a, &|a| a.sin()),
                Op::Cos(a) => one(out, a, &|a| a.cos()),
                Op::Tan(a) => one(out, a, &|a| a.sin() / a.cos()),
                Op::Atan(a) => one(out, a, &|a| a.atan()),
                Op::Abs(a) => one(out, a, &|a| if a.value() < 0.0 { -a } else { a }),
            }
        }
    }

    /// Runs backwards from the root: afterwards each register of `slopes` holds the derivative of the root by it.
    fn backward<T: Real>(&self, registers: &[T], slopes: &mut [T], lanes: usize) {
        let zero = T::exactly(0.0);
        slopes.fill(zero);
        slopes[self.root * lanes..(self.root + 1) * lanes].fill(T::exactly(1.0));
        for place in (0..=self.root).rev() {
            if !self.active[place] {
                continue;
            }
            let (before, rest) = slopes.split_at_mut(place * lanes);
            let from = &rest[..lanes];
            let value = |i: usize| &registers[i * lanes..(i + 1) * lanes];
            let own = value(place);
            let mut pass = |i: usize, still: &dyn Fn(usize) -> bool, f: &dyn Fn(usize) -> T| {
                if self.active[i] {
                    for (lane, s) in before[i * lanes..(i + 1) * lanes].iter_mut().enumerate() {
                        *s = *s + handed_on(from[lane], f(lane), still(lane));
                    }
                }
            };
            let rests = |i: usize| !self.active[i];
            let never = |_: usize| false;
            match self.ops[place] {
                Op::Constant(_) | Op::Pi | Op::Variable(_) | Op::Parameter(_) => {}
                Op::Add(a, b) => {
                    pass(a, &never, &|_| T::exactly(1.0));
                    pass(b, &never, &|_| T::exactly(1.0));
                }
                Op::Subtract(a, b) => {
                    pass(a, &never, &|_| T::exactly(1.0));
                    pass(b, &never, &|_| T::exactly(-1.0));
                }
                Op::Multiply(a, b) => {
                    pass(a, &|_| rests(b), &|k| value(b)[k]);
                    pass(b, &|_| rests(a), &|k| value(a)[k]);
                }
                Op::Divide(a, b) => {
                    pass(a, &|_| rests(b), &|k| T::exactly(1.0) / value(b)[k]);
                    let nothing = |k: usize| rests(a) && value(a)[k].value() == 0.0;
                    pass(b, &nothing, &|k| -(own[k] / value(b)[k]));
                }
                Op::Negate(a) => pass(a, &never, &|_| T::exactly(-1.0)),
                Op::Integer(a, n) => {
                    if n != 0 {
                        pass(a, &never, &|k| T::exactly(f64::from(n)) * value(a)[k].powi(n - 1));
                    }
                }
                Op::Power(a, b) => {
                    let one = T::exactly(1.0);
                    pass(a, &never, &|k| value(b)[k] * value(a)[k].powf(value(b)[k] - one));
                    // 0 to a positive power stays 0 whatever the power.
                    pass(b, &|k| own[k].value() == 0.0, &|k| {
                        if own[k].value() == 0.0 {
                            zero
                        } else {
                            own[k] * value(a)[k].ln()
                        }
                    });
                }
                Op::Exp(a) => {
                    let divides = self.divides[place];
                    pass(a, &|k| divides && own[k].value().is_infinite(), &|k| own[k]);
                }
                Op::Ln(a) => pass(a, &never, &|k| T::exactly(1.0) / value(a)[k]),
                Op::Log10(a) => pass(a, &never, &|k| T::exactly(1.0) / (value(a)[k] * T::LN_10)),
                Op::Sqrt(a) => pass(a, &never, &|k| T::exactly(0.5) / own[k]),
                Op::Sin(a) => pass(a, &never, &|k| value(a)[k].cos()),
                Op::Cos(a) => pass(a, &never, &|k| -value(a)[k].sin()),
                Op::Tan(a) => pass(a, &never, &|k| T::exactly(1.0) + own[k] * own[k]),
                Op::Atan(a) => pass(a, &never, &|k| {
                    T::exactly(1.0) / (T::exactly(1.0) + value(a)[k] * value(a)[k])
                }),
                Op::Abs(a) => pass(a, &never, &|k| {
                    T::exactly(if value(a)[k].value() < 0.0 { -1.0 } else { 1.0 })
                }),
            }
        }
    }

    /// Values at a few points.
    pub(super) fn at_few(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        let lanes = values.len();
        let mut registers = vec![0.0; self.ops.len() * lanes];
        self.forward(|i, k| x[i][k], |v| v, p, &mut registers, lanes);
        values.copy_from_slice(&registers[self.root * lanes..(self.root + 1) * lanes]);
    }

    /// Value and gradient at one point in any arithmetic; `number` says how the formula's own numbers are taken.
    pub(super) fn at_point<T: Real>(
        &self,
        x: &[T],
        number: impl Fn(f64) -> T,
        p: &[T],
        scratch: &mut Vec<T>,
        gradient: &mut [T],
    ) -> T {
        let count = self.ops.len();
        scratch.resize(2 * count, T::exactly(0.0));
        let (registers, slopes) = scratch.split_at_mut(count);
        self.forward(|i, _| x[i], number, p, registers, 1);
        self.backward(registers, slopes, 1);
        for (place, op) in self.ops.iter().enumerate() {
            if let Op::Parameter(j) = *op {
                gradient[j] = slopes[place];
            }
        }
        registers[self.root]
    }

    /// Why the formula has no value at a point: the first instruction that fails, with its numbers.
    pub(super) fn trouble(&self, x: &[&[f64]], p: &[f64], point: usize) -> Option<String> {
        let mut registers = vec![0.0; self.ops.len()];
        self.forward(|i, _| x[i][point], |v| v, p, &mut registers, 1);
        if registers[self.root].is_finite() {
            return None;
        }
        let r = |i: usize| registers[i];
        let place = (0..self.ops.len()).find(|i| !registers[*i].is_finite())?;
        Some(match self.ops[place] {
            Op::Divide(a, b) if r(b) == 0.0 => format!("{} divided by zero", r(a)),
            Op::Ln(a) | Op::Log10(a) => format!("the logarithm of {}", r(a)),
            Op::Sqrt(a) => format!("the square root of {}", r(a)),
            Op::Power(a, b) if r(a) < 0.0 => format!("the negative number {} to the power {}", r(a), r(b)),
            Op::Power(a, b) if r(a) == 0.0 => format!("zero to the power {}", r(b)),
            Op::Power(a, b) => format!("{} to the power {}, which is too large a number", r(a), r(b)),
            Op::Integer(a, n) => format!("{} to the power {n}", r(a)),
            Op::Exp(a) => format!("exp({}), which is too large a number", r(a)),
            _ => "a number too large to hold".into(),
        })
    }
}
