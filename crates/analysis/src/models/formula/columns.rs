//! A formula over whole columns of doubles, where a fit spends its time.
//!
//! Instructions run over fixed blocks of points, so that plain arithmetic becomes vector instructions. What is the same at
//! every point (numbers, parameters, and what follows from these alone) is computed once for all blocks, and the room
//! for intermediate results is kept from call to call.

use std::cell::Cell;

use multiversion::multiversion;

use super::tape::{FormulaTape, Op, handed_on};
use crate::courses::exponentials_inline;

use crate::double::Real;

/// Points that are worked on together.
const BLOCK: usize = 64;

type ValueBlock = [f64; BLOCK];

thread_local! {
    /// Room for intermediate results.
    static ROOM: Cell<Vec<ValueBlock>> = const { Cell::new(Vec::new()) };
}

#[inline(always)]
fn each(out: &mut ValueBlock, a: &ValueBlock, f: impl Fn(f64) -> f64) {
    for (o, a) in out.iter_mut().zip(a) {
        *o = f(*a);
    }
}

#[inline(always)]
fn pairs(out: &mut ValueBlock, a: &ValueBlock, b: &ValueBlock, f: impl Fn(f64, f64) -> f64) {
    for ((o, a), b) in out.iter_mut().zip(a).zip(b) {
        *o = f(*a, *b);
    }
}

/// Adds `slope` times a factor to the slope of an input; where nothing else uses that input, it is all of its slope. `still`: see
/// [`handed_on`].
#[inline(always)]
fn pass(
    to: &mut ValueBlock,
    only: bool,
    slope: &ValueBlock,
    still: impl Fn(usize) -> bool,
    f: impl Fn(usize) -> f64,
) {
    if only {
        for (k, (o, s)) in to.iter_mut().zip(slope).enumerate() {
            *o = handed_on(*s, f(k), still(k));
        }
    } else {
        for (k, (o, s)) in to.iter_mut().zip(slope).enumerate() {
            *o += handed_on(*s, f(k), still(k));
        }
    }
}

#[inline(always)]
fn exponential(out: &mut ValueBlock, a: &ValueBlock) {
    // Beyond this the quick way would give a finite number for what is zero or too large to hold.
    let largest = a
        .iter()
        .fold(0.0, |all, v| if v.abs() <= all { all } else { v.abs() });
    if largest < 700.0 {
        exponentials_inline(1.0, a, out);
    } else {
        each(out, a, f64::exp);
    }
}

#[inline(always)]
fn integer_power(out: &mut ValueBlock, a: &ValueBlock, n: i32) {
    match n {
        1 => *out = *a,
        2 => each(out, a, |a| a * a),
        -1 => each(out, a, |a| 1.0 / a),
        _ => each(out, a, |a| a.powi(n)),
    }
}

/// Slopes of the instructions before one, which hands its own on to them.
struct SlopesBefore<'a> {
    before: &'a mut [ValueBlock],
    slope: &'a ValueBlock,
    tape: &'a FormulaTape,
}

impl SlopesBefore<'_> {
    /// Hands `slope` times a factor on to an input, where that depends on a parameter.
    #[inline(always)]
    fn give(&mut self, input: usize, f: impl Fn(usize) -> f64) {
        self.give_where(input, |_| false, f);
    }

    /// The same with what [`handed_on`] must know.
    #[inline(always)]
    fn give_where(&mut self, input: usize, still: impl Fn(usize) -> bool, f: impl Fn(usize) -> f64) {
        if self.tape.active[input] {
            let only = self.tape.uses[input] == 1;
            pass(&mut self.before[input], only, self.slope, still, f);
        }
    }
}

/// Points that are worked on together: where they begin, and how many they are.
#[derive(Clone, Copy)]
struct Lanes {
    first: usize,
    count: usize,
}

impl FormulaTape {
    /// The value of one instruction at the points of a block, from those before it.
    #[inline(always)]
    fn step(&self, place: usize, (x, p): (&[&[f64]], &[f64]), lanes: Lanes, registers: &mut [ValueBlock]) {
        let (before, rest) = registers.split_at_mut(place);
        let Some(out) = rest.first_mut() else { return };
        let at = |i: usize| &before[i];
        match self.ops[place] {
            Op::Constant(bits) => out.fill(f64::from_bits(bits)),
            Op::Pi => out.fill(f64::PI),
            Op::Variable(i) => {
                // The last block is filled up with its first point.
                let Lanes { first, count } = lanes;
                out[..count].copy_from_slice(&x[i][first..first + count]);
                out[count..].fill(x[i][first]);
            }
            Op::Parameter(j) => out.fill(p[j]),
            Op::Add(a, b) => pairs(out, at(a), at(b), |a, b| a + b),
            Op::Subtract(a, b) => pairs(out, at(a), at(b), |a, b| a - b),
            Op::Multiply(a, b) => pairs(out, at(a), at(b), |a, b| a * b),
            Op::Divide(a, b) => pairs(out, at(a), at(b), |a, b| a / b),
            Op::Power(a, b) => pairs(out, at(a), at(b), f64::powf),
            Op::Negate(a) => each(out, at(a), |a| -a),
            Op::Integer(a, n) => integer_power(out, at(a), n),
            Op::Exp(a) => exponential(out, at(a)),
            Op::Ln(a) => each(out, at(a), f64::ln),
            Op::Log10(a) => each(out, at(a), |a| a.ln() / f64::LN_10),
            Op::Sqrt(a) => each(out, at(a), f64::sqrt),
            Op::Sin(a) => each(out, at(a), f64::sin),
            Op::Cos(a) => each(out, at(a), f64::cos),
            Op::Tan(a) => each(out, at(a), |a| a.sin() / a.cos()),
            Op::Atan(a) => each(out, at(a), f64::atan),
            Op::Abs(a) => each(out, at(a), f64::abs),
        }
    }

    /// Hands the slope of one instruction on to its inputs.
    #[inline(always)]
    fn step_back(&self, place: usize, registers: &[ValueBlock], slopes: &mut [ValueBlock]) {
        let (before, rest) = slopes.split_at_mut(place);
        let Some(slope) = rest.first() else { return };
        let own = &registers[place];
        let value = |i: usize| &registers[i];
        let rests = |i: usize| !self.active[i];
        let mut to = SlopesBefore {
            before,
            slope,
            tape: self,
        };
        match self.ops[place] {
            Op::Constant(_) | Op::Pi | Op::Variable(_) | Op::Parameter(_) | Op::Integer(_, 0) => {}
            Op::Add(a, b) => {
                to.give(a, |_| 1.0);
                to.give(b, |_| 1.0);
            }
            Op::Subtract(a, b) => {
                to.give(a, |_| 1.0);
                to.give(b, |_| -1.0);
            }
            Op::Multiply(a, b) => {
                let (va, vb) = (value(a), value(b));
                let (first, second) = (rests(a), rests(b));
                to.give_where(a, |_| second, |k| vb[k]);
                to.give_where(b, |_| first, |k| va[k]);
            }
            Op::Divide(a, b) => {
                let (va, vb) = (value(a), value(b));
                let (first, second) = (rests(a), rests(b));
                to.give_where(a, |_| second, |k| 1.0 / vb[k]);
                to.give_where(b, |k| first && va[k] == 0.0, |k| -(own[k] / vb[k]));
            }
            Op::Negate(a) => to.give(a, |_| -1.0),
            Op::Integer(a, n) => {
                let mut power = [0.0; BLOCK];
                if n == 1 {
                    power.fill(1.0);
                } else {
                    integer_power(&mut power, value(a), n - 1);
                }
                to.give(a, |k| f64::from(n) * power[k]);
            }
            Op::Power(a, b) => {
                let (va, vb) = (value(a), value(b));
                to.give(a, |k| vb[k] * va[k].powf(vb[k] - 1.0));
                // 0 to a positive power stays 0 whatever the power.
                to.give_where(
                    b,
                    |k| own[k] == 0.0,
                    |k| if own[k] == 0.0 { 0.0 } else { own[k] * va[k].ln() },
                );
            }
            Op::Exp(a) => {
                let divides = self.divides[place];
                to.give_where(a, |k| divides && own[k].is_infinite(), |k| own[k]);
            }
            Op::Ln(a) => to.give(a, |k| 1.0 / value(a)[k]),
            Op::Log10(a) => to.give(a, |k| 1.0 / (value(a)[k] * f64::LN_10)),
            Op::Sqrt(a) => to.give(a, |k| 0.5 / own[k]),
            Op::Sin(a) => to.give(a, |k| value(a)[k].cos()),
            Op::Cos(a) => to.give(a, |k| -value(a)[k].sin()),
            Op::Tan(a) => to.give(a, |k| 1.0 + own[k] * own[k]),
            Op::Atan(a) => to.give(a, |k| 1.0 / (1.0 + value(a)[k] * value(a)[k])),
            Op::Abs(a) => to.give(a, |k| if value(a)[k] < 0.0 { -1.0 } else { 1.0 }),
        }
    }

    pub(super) fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        along(self, (x, p), values, None);
    }

    pub(super) fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        // Every parameter of a formula is an instruction of it, unless a number of them is handed in that it does not have.
        if self
            .ops
            .iter()
            .filter(|op| matches!(op, Op::Parameter(_)))
            .count()
            < p.len()
        {
            columns.fill(0.0);
        }
        along(self, (x, p), values, Some(columns));
    }
}

/// The values of a formula at all points, and where columns are handed in, its derivatives.
#[multiversion(targets("x86_64+avx2"))]
fn along(tape: &FormulaTape, of: (&[&[f64]], &[f64]), values: &mut [f64], columns: Option<&mut [f64]>) {
    let mut columns = columns;
    let (n, count) = (values.len(), tape.ops.len());
    let mut room = ROOM.take();
    room.resize(room.len().max(2 * count), [0.0; BLOCK]);
    let (registers, slopes) = room.split_at_mut(count);
    for varying in [false, true] {
        // What is the same at every point is computed once.
        let blocks = if varying { n.div_ceil(BLOCK) } else { n.min(1) };
        for first in (0..blocks).map(|block| block * BLOCK) {
            let lanes = Lanes {
                first,
                count: BLOCK.min(n - first),
            };
            for place in (0..count).filter(|place| tape.varies[*place] == varying) {
                tape.step(place, of, lanes, registers);
            }
            if !varying {
                continue;
            }
            let here = first..first + lanes.count;
            values[here.clone()].copy_from_slice(&registers[tape.root][..lanes.count]);
            let Some(columns) = columns.as_deref_mut() else {
                continue;
            };
            for place in (0..=tape.root).filter(|place| tape.active[*place] && tape.uses[*place] != 1) {
                slopes[place] = [0.0; BLOCK];
            }
            slopes[tape.root] = [1.0; BLOCK];
            for place in (0..=tape.root).rev().filter(|place| tape.active[*place]) {
                match tape.ops[place] {
                    Op::Parameter(j) => {
                        columns[j * n..][here.clone()].copy_from_slice(&slopes[place][..lanes.count]);
                    }
                    _ => tape.step_back(place, registers, slopes),
                }
            }
        }
    }
    ROOM.set(room);
}
